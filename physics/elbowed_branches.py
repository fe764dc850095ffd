"""Round takeoffs with an elbow right behind them, of which the print has both in one.

Their plain sum counts; what the print has of both stands beside it in a flag.
"""

from dataclasses import dataclass

import numpy as np

from elbowroom.layout import (
    DuctGraph,
    ElbowConstruction,
    FloatArray,
    IntArray,
    Shape,
    TakeoffEntry,
)

from .elements import Elements, Kind
from .junctions_round import ELBOWED, round_elbowed_branch

_ALIKE = np.radians(3.0)  # what an angle may be off that of the print, own choice
_BEHIND = 1.0  # diameters from the main's wall to the elbow, own choice
_MADE = (int(ElbowConstruction.SMOOTH), int(ElbowConstruction.SEGMENTED))
_CONICAL = {int(TakeoffEntry.PLAIN): "", int(TakeoffEntry.CONICAL): "conical-"}
# Turn of the takeoff, of the elbow, and from the main to the duct behind, degrees:
# these three tell the roll.
_TURNS = {
    "tee-90-elbow": (90.0, 90.0, 90.0),
    "tee-45-elbow": (90.0, 45.0, 90.0),
    "tee-60-elbow": (90.0, 60.0, 45.0),
    "wye-60-elbow": (45.0, 60.0, 90.0),
    "wye-30-elbow": (45.0, 30.0, 45.0),
}


@dataclass(frozen=True, slots=True)
class ElbowedBranch:
    """A takeoff and an elbow that the print has as one fitting.

    Parameters
    ----------
    duct
        The duct between the two.
    fitting
        One of `ELBOWED`.
    plain
        What the two lose as they count, Pa.
    together
        What the print has of both, Pa.
    """

    duct: int
    fitting: str
    plain: float
    together: float


def elbowed_branches(
    graph: DuctGraph, elements: Elements, between: IntArray
) -> list[ElbowedBranch]:
    """Find those of some ducts that lie between the takeoff and the elbow of a print.

    Parameters
    ----------
    graph, elements
        The graph, and what each element spends.
    between
        Ducts with an elbow at one end and a junction near it at the other.

    Returns
    -------
    found
        Round takeoffs of a supply whose elbow, smooth or segmented, begins within a
        diameter of the wall of a main that goes straight on, with turns within 3
        degrees of the print, in the order of `between`. The print says neither how far
        behind the elbow stands nor how it is made: our own choice.
    """
    if graph.is_return:
        return []
    legs, bends, ducts = graph.legs, graph.bends, graph.ducts
    found = []
    for duct in between.tolist():
        leg = np.flatnonzero(legs.duct == duct)
        bend = np.flatnonzero(graph.bend_duct == duct)
        if len(leg) != 1 or len(bend) != 1:
            continue
        row, turn = int(leg[0]), int(bend[0])
        common = int(legs.common[row])
        main = np.flatnonzero((legs.common == common) & ~legs.is_branch)
        if (
            not legs.is_branch[row]
            or legs.leg_count[row] != 3
            or legs.likeness[row] > 0.0
            or len(main) != 1
            or legs.straight_angle[row] > _ALIKE
            or int(legs.entry[row]) not in _CONICAL
            or int(bends.construction[turn]) not in _MADE
            or (ducts.shape[[common, duct]] != int(Shape.ROUND)).any()
            or (graph.transitions.duct == bends.duct[turn]).any()
        ):
            continue
        wall = ducts.width[common] / 2 / np.sin(legs.angle[row])
        if ducts.straight[duct] > wall + _BEHIND * ducts.width[duct]:
            continue
        away = _turned(legs.away[row], bends.axis[turn], float(bends.angle[turn]))
        off_main = np.arccos(np.clip(away @ legs.away[main[0]], -1.0, 1.0))
        turns = np.array([legs.angle[row], bends.angle[turn], off_main])
        for name, printed in _TURNS.items():
            fitting = _CONICAL[int(legs.entry[row])] + name
            alike = np.abs(turns - np.radians(printed)) <= _ALIKE
            if alike.all() and fitting in ELBOWED:
                found += _beside(elements, duct, row, turn, fitting)
    return found


def _turned(along: FloatArray, axis: FloatArray, angle: float) -> FloatArray:
    """A direction turned about an axis across it, shape (3,)."""
    return np.asarray(along * np.cos(angle) + np.cross(axis, along) * np.sin(angle))


def _beside(
    elements: Elements, duct: int, leg: int, bend: int, fitting: str
) -> list[ElbowedBranch]:
    """Both losses of one; none where no air flows."""
    of = elements.kind, elements.row
    (branch,) = np.flatnonzero((of[0] == int(Kind.BRANCH)) & (of[1] == leg))
    (elbow,) = np.flatnonzero((of[0] == int(Kind.BEND)) & (of[1] == bend))
    common = float(elements.velocity_pressure[branch])
    own = float(elements.velocity_pressure[elbow])
    if common <= 0.0 or own <= 0.0:
        return []
    # Velocity pressures go with the square of the velocity.
    value = round_elbowed_branch(fitting, np.sqrt(own / common)).value[0]
    plain = float(elements.loss[branch] + elements.loss[elbow])
    return [ElbowedBranch(duct, fitting, plain, float(value) * common)]
