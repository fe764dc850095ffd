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
_MADE = np.isin(  # by the code of a construction
    list(ElbowConstruction), [ElbowConstruction.SMOOTH, ElbowConstruction.SEGMENTED]
)
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
    legs, bends, ducts = graph.legs, graph.bends, graph.ducts
    is_round = ducts.shape == int(Shape.ROUND)
    between = between[is_round[between]]
    if graph.is_return or len(between) == 0:
        return []
    count = len(ducts.parent)
    mains = (~legs.is_branch).nonzero()[0]
    main_of = _once(legs.common[mains], count)
    leg, turn = _once(legs.duct, count)[between], _once(graph.bend_duct, count)[between]
    kept = (leg >= 0) & (turn >= 0)
    leg, turn, between = leg[kept], turn[kept], between[kept]
    common = legs.common[leg]
    fits = legs.is_branch[leg] & (legs.leg_count[leg] == 3) & (main_of[common] >= 0)
    fits &= (legs.likeness[leg] <= 0.0) & (legs.straight_angle[leg] <= _ALIKE)
    fits &= is_round[common]
    fits &= np.isin(legs.entry[leg], list(_CONICAL))
    fits &= _MADE[bends.construction[turn]]
    fits &= ~np.isin(bends.duct[turn], graph.transitions.duct)
    if not fits.any():  # as nearly everywhere
        return []
    branch_of, elbow_of = (
        elements.of(kind, len(rows.duct))
        for kind, rows in ((Kind.BRANCH, legs), (Kind.BEND, bends))
    )
    found = []
    for place in fits.nonzero()[0].tolist():
        duct, row, turn_row = int(between[place]), int(leg[place]), int(turn[place])
        wall = ducts.width[common[place]] / 2 / np.sin(legs.angle[row])
        if ducts.straight[duct] > wall + _BEHIND * ducts.width[duct]:
            continue
        main = legs.away[mains[main_of[common[place]]]]
        angle = float(bends.angle[turn_row])
        away = _turned(legs.away[row], bends.axis[turn_row], angle)
        off_main = np.arccos(np.clip(away @ main, -1.0, 1.0))
        turns = np.array([legs.angle[row], angle, off_main])
        for name, printed in _TURNS.items():
            fitting = _CONICAL[int(legs.entry[row])] + name
            alike = np.abs(turns - np.radians(printed)) <= _ALIKE
            if alike.all() and fitting in ELBOWED:
                branch, elbow = int(branch_of[row]), int(elbow_of[turn_row])
                found += _beside(elements, duct, branch, elbow, fitting)
    return found


def _once(at: IntArray, count: int) -> IntArray:
    """Row in `at` of each of so many ducts; -1 of one that is not there just once."""
    rows = np.full(count, -1)
    rows[at] = np.arange(len(at))
    rows[np.bincount(at, minlength=count) != 1] = -1
    return rows


def _turned(along: FloatArray, axis: FloatArray, angle: float) -> FloatArray:
    """A direction turned about an axis across it, shape (3,)."""
    return np.asarray(along * np.cos(angle) + np.cross(axis, along) * np.sin(angle))


def _beside(
    elements: Elements, duct: int, branch: int, elbow: int, fitting: str
) -> list[ElbowedBranch]:
    """Both losses of one, by their elements; none where no air flows."""
    common = float(elements.velocity_pressure[branch])
    own = float(elements.velocity_pressure[elbow])
    if common <= 0.0 or own <= 0.0:
        return []
    # Velocity pressures go with the square of the velocity.
    value = round_elbowed_branch(fitting, np.sqrt(own / common)).value[0]
    plain = float(elements.loss[branch] + elements.loss[elbow])
    return [ElbowedBranch(duct, fitting, plain, float(value) * common)]
