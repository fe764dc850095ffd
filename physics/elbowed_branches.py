"""Round takeoffs with an elbow right behind them, of which one print has both in one.

The row of the elbow stays as it is, and that of the takeoff has what both together lose
beyond it.
"""

from dataclasses import replace

import numpy as np

from elbowroom.layout import (
    DuctGraph,
    ElbowConstruction,
    FloatArray,
    IntArray,
    Notice,
    Shape,
    TakeoffEntry,
    listed,
    note,
    pressure_words,
)

from .coefficient import Coefficient, Gathered, Note
from .junctions_round import ELBOWED, round_elbowed_branch
from .leg_losses import Streams
from .losses import SAME_RADIUS
from .open_ends import slight_changes, stretches
from .shares import share_between

_ALIKE, _UNLIKE = np.radians([3.0, 20.0])  # an angle off the print's: as it, unlike it
_BEHIND, _FAR = 1.0, 5.0  # diameters from the main's wall to the elbow: as it, unlike
_RADII = 1.0, 2.0  # r/D of elbows as shops make them, which the print does not say
_TIGHT, _WIDE = 0.5, 4.0  # and those from which on none of it counts
_FASTEST = 2.0  # v where the print ends; at twice that none of it counts
_LARGEST = 1.25  # f from which on a branch is no takeoff off its main
_NEARLY_ALL = 0.9  # of the air: from there on a takeoff leads to the end of its main
_MADE = np.array([made.is_smooth for made in ElbowConstruction])  # by its code
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


def count_elbowed(
    air: Streams,
    pressure: FloatArray,
    bends: Gathered,
    legs: Gathered,
    *,
    by_reynolds: bool,
) -> list[Notice]:
    """Let round takeoffs with an elbow right behind them lose what one print has.

    Parameters
    ----------
    air, pressure
        The air of a graph, and the velocity pressure in its ducts, Pa, shape (d,).
    bends
        Coefficients of its bends.
    legs
        Coefficients of its legs, changed in place: takeoffs have what both lose beyond
        the elbow, on the velocity in the main.
    by_reynolds
        Whether the Reynolds factors of elbows count.

    Returns
    -------
    notices
        What is to be said of them, one for each fitting of the print.

    Notes
    -----
    It is the print of a fitting, as that of a bare takeoff is, and not of how two feel
    each other: so it counts where it has less than the plain sum too. For takeoffs of a
    quarter to a half of the main's area and elbows of r/D 1 to 1.5 it has 0.6 to 1.9 of
    that, no further off than its class may be when low. But no takeoff gives energy to
    the air: where the print has less than the elbow alone, as of a conical wye, the
    elbow alone counts (own choice). The print has no Reynolds factor, and says nothing
    of the elbow's radius and making, of how far behind it stands, and of the branch's
    area. It is taken for smooth and segmented elbows from r/D 1 to 2 that begin within
    a diameter of the main's wall, behind branches no larger than a main that goes
    straight on, with the three turns within 3 degrees of the print.

    All of that gives way straight to the plain sum, in the lowest class: to 20 degrees
    off in any turn, to 5 diameters, down to r/D 0.5 and up to 4, from a velocity ratio
    of 2 to 4, as the branch takes 90 to 100 % of the air and grows to 1.25 of the main,
    as a section between them changes by 1 to 5 %, and as the junction becomes one
    without a main. Our own choice. The five sets of turns lie 45 degrees apart in at
    least one, so no two prints meet. What stands between with a declared loss, or as a
    junction, ends that; returns have no such print.

    References
    ----------
    SMACNA HVAC Systems Duct Design 1990, table 14-14 (from memory).
    """
    graph = air.graph
    if graph.is_return or len(graph.legs.duct) == 0:
        return []
    leg, turn, share = _takeoffs(air)
    if len(leg) == 0:  # as nearly everywhere
        return []
    common, duct = graph.legs.common[leg], graph.legs.duct[leg]
    turns = _turns(graph, leg, turn)
    v = air.velocity[duct] / air.velocity[common]
    alone = bends.part(turn)
    elbow = alone.value * alone.reynolds_factor if by_reynolds else alone.value
    elbow = elbow * (air.velocity[graph.bend_duct[turn]] / air.velocity[common]) ** 2
    notices = []
    for name, of in _TURNS.items():
        off = np.abs(turns - np.radians(of)[:, None])
        alike = share * share_between(off, _UNLIKE, _ALIKE).prod(axis=0)
        for entry, prefix in _CONICAL.items():
            mine = (alike > 0.0) & (graph.legs.entry[leg] == entry)
            mine &= pressure[duct] > 0.0  # still air loses nothing
            if not mine.any() or prefix + name not in ELBOWED:
                continue
            rows, counts, fitting = leg[mine], alike[mine], prefix + name
            plain = legs.value[rows] + elbow[mine]
            printed = round_elbowed_branch(fitting, v[mine])
            least = elbow[mine]
            found = replace(printed, value=np.maximum(printed.value, least))
            _enter(legs, rows, found, least, counts, alone.part(mine.nonzero()[0]))
            sums = np.array([printed.value, plain, least]) * pressure[common[mine]]
            notices.append(_notice(graph, duct[mine], fitting, sums, counts))
    return notices


def _takeoffs(air: Streams) -> tuple[IntArray, IntArray, FloatArray]:
    """Rows of legs and of the elbows behind them, and how much of a print counts.

    By all but their turns; those of which none does are left out.
    """
    graph, size = air.graph, air.size
    ducts, bends, legs = graph.ducts, graph.bends, graph.legs
    is_round = ducts.shape == int(Shape.ROUND)
    turn = (_MADE[bends.construction] & is_round[graph.bend_duct]).nonzero()[0]
    if len(turn) == 0:
        return turn, turn, np.empty(0)
    of_leg, of_bend = graph.leg_of, graph.bend_of
    fits = legs.is_branch & (legs.straight != legs.common) & (legs.leg_count > 2)
    fits &= (legs.straight != legs.duct) & (legs.common != legs.duct)
    fits &= (of_leg[legs.straight] >= 0) & np.isin(legs.entry, list(_CONICAL))
    fits &= is_round[legs.duct] & is_round[legs.common]
    if not fits.any():
        return turn[:0], turn[:0], np.empty(0)
    slight = slight_changes(graph)
    duct, behind, part, parted = stretches(
        graph, graph.bend_before[turn], (of_bend >= 0) | (slight <= 0.0), slight
    )
    leg = of_leg[duct]
    kept = (leg >= 0) & (of_bend[duct] < 0) & ~parted
    kept[kept] = fits[leg[kept]]
    leg, turn, behind, part = leg[kept], turn[kept], behind[kept], part[kept]
    duct, common = legs.duct[leg], legs.common[leg]
    width = ducts.width[duct]
    wall = ducts.width[common] / 2 / np.maximum(np.sin(legs.angle[leg]), 0.1)
    radius = bends.radius[turn] / bends.in_plane[turn]
    share = part * slight[bends.duct[turn]]
    share = share * share_between((behind - wall) / width, _FAR, _BEHIND)
    share *= share_between(radius, _TIGHT, _RADII[0] - SAME_RADIUS)
    share *= share_between(radius, _WIDE, _RADII[1] + SAME_RADIUS)
    share *= share_between(air.flow[duct] / air.flow[common], 1.0, _NEARLY_ALL)
    share *= share_between(size[duct] / size[common], _LARGEST, 1.0)
    v = air.velocity[duct] / air.velocity[common]
    share *= share_between(v, 2.0 * _FASTEST, _FASTEST)
    share *= share_between(legs.straight_angle[leg], _UNLIKE, _ALIKE)
    share *= (1.0 - legs.likeness[leg]) * (1.0 - legs.evenness[leg])
    felt = share > 0.0
    return leg[felt], turn[felt], share[felt]


def _turns(graph: DuctGraph, leg: IntArray, turn: IntArray) -> FloatArray:
    """The turns that `_TURNS` has of some takeoffs and their elbows, rad, (3, n)."""
    legs, bends = graph.legs, graph.bends
    main, along = legs.away[graph.leg_of[legs.straight[leg]]], legs.away[leg]
    angle = bends.angle[turn]
    across = np.cross(bends.axis[turn], along)
    behind = along * np.cos(angle)[:, None] + across * np.sin(angle)[:, None]
    cosine = np.einsum("ij,ij->i", behind, main).clip(-1.0, 1.0)
    return np.array([legs.angle[leg], angle, np.arccos(cosine)])


def _enter(
    legs: Gathered,
    rows: IntArray,
    found: Coefficient,
    elbow: FloatArray,
    share: FloatArray,
    alone: Gathered,
) -> None:
    """Enter for some takeoffs what a print has beyond the elbow, of which a share.

    `elbow` is what the elbow has, on the velocity in the main, and `alone` its
    coefficient: they are credited to its table too, and in part to their own.
    """
    value = legs.value[rows]
    value += (found.value - elbow - value) * share
    part = (share < 1.0).nonzero()[0]
    before = legs.part(rows[part])
    legs.put(rows, replace(found, value=value, notes=found.notes | int(Note.ELBOWED)))
    for number in np.unique(alone.credit).tolist():
        legs.join(rows[alone.credit == number], alone.credits[number])
    legs.notes[rows[part]] |= before.notes | int(Note.INTERPOLATED)
    legs.credit_also(rows[part], before)


def _notice(
    graph: DuctGraph,
    duct: IntArray,
    fitting: str,
    sums: FloatArray,
    share: FloatArray,
) -> Notice:
    """Say how takeoffs count that have one fitting of the print behind them.

    `sums` is what the print has, their plain sum and the elbow alone, Pa, shape (3, n).
    """
    names = [graph.drawing.names[run] for run in graph.ducts.run[duct].tolist()]
    printed, plain, least = sums
    whole = np.maximum(printed, least)
    most = int(np.abs((whole - plain) * share).argmax())
    where = f"in run '{names[most]}', where it matters most,"
    counted = pressure_words(plain[most] + (whole[most] - plain[most]) * share[most])
    would, alone = pressure_words(plain[most]), pressure_words(least[most])
    has = f"its {pressure_words(printed[most])}"
    if printed[most] < least[most]:
        has = (
            f"the elbow's own {alone}, as no takeoff gives energy and the print has "
            f"{pressure_words(printed[most])} (own choice)"
        )
    how = f"they count with {has}, where their plain sum would be {would}"
    if share[most] < 1.0:
        how = (
            f"they count with {counted}, as they are not quite as printed: between "
            f"{has} and their plain sum, {would} (own choice)"
        )
    runs = list(dict.fromkeys(names))
    return note(
        f"run{'s' * (len(runs) > 1)} {listed(runs, 6)}",
        "an elbow stands right behind a round takeoff, and one print has both as one "
        f"fitting ({ELBOWED[fitting]}; from memory): "
        f"{where if len(duct) > 1 else 'here'} {how}",
        "look at the print for other airflows: elbowroom fitting "
        f"junction-round-diverging-{fitting}",
    )
