"""How far ducts lie within their mains, where bends and transitions have no room."""

from dataclasses import replace
from typing import NamedTuple

import numpy as np

from .fittings import NONE, Bends, Ducts, Legs
from .sections import BoolArray, FloatArray, IntArray, Shape

_STRAIGHT_ON = np.radians(1.0)  # less of a turn is the drawing's rounding
_ROUNDING = 1e-6


class WithinMains(NamedTuple):
    """Ducts at junctions that are short, against the mains that they leave or end at.

    Parameters
    ----------
    duct
        Legs, and ducts that end at the side of a main, shape (n,).
    length
        How much of each, from the axis of its main, lies within the main, m.
    is_behind
        Whether the main is at the end of the duct: one that it ends at, or where the
        air of a loop meets.
    """

    duct: IntArray
    length: FloatArray
    is_behind: BoolArray


def within_mains(
    ducts: Ducts, legs: Legs, meetings: Legs, room: FloatArray
) -> WithinMains:
    """Measure to the wall of the main from its axis, along ducts that are short.

    Parameters
    ----------
    ducts, legs, meetings
        As classified.
    room
        Straight length that each duct has to spare from the axes on, m, shape (d,):
        ducts with more than any wall takes are left out.

    Notes
    -----
    Along a leg the wall is half of the main's extent in the leg's direction away, over
    the sine of the angle between them. A main that does not go straight on ends at the
    far wall of its legs: those that turn less come out of its end. A duct whose legs go
    off along one line ends at the side of their main. What the branch's own entry takes
    is not counted: our own choice, no published source.
    """
    widest = float(np.hypot(ducts.width.max(), ducts.height.max())) / 2
    found = [_along(ducts, some, room, widest) for some in (legs, meetings)]
    found.append(_to_sides(ducts, legs, room, widest))
    behind = np.repeat([False, True, True], [len(duct) for duct, _ in found])
    duct, length = map(np.concatenate, zip(*found, strict=True))
    return WithinMains(duct, length, behind)


def _along(
    ducts: Ducts, legs: Legs, room: FloatArray, widest: float
) -> tuple[IntArray, FloatArray]:
    """Short legs, and how much of each lies within its main, m."""
    rows = _near(ducts, legs, legs.duct, legs.common, room, widest)
    if len(rows) == 0:
        return rows, np.zeros(0)
    own, main, angle = legs.duct[rows], legs.common[rows], legs.angle[rows]
    length = _to_wall(ducts, main, legs.away[rows])
    onward = legs.straight[rows]
    ends = (
        (onward == main) | (onward == own) | (legs.straight_angle[rows] > _STRAIGHT_ON)
    )
    ends &= angle < np.pi / 2
    half = np.minimum(ducts.width[own], ducts.height[own]) / 2
    to_end = half * np.tan(np.where(ends, angle, 0.0))
    return own, np.where(ends, np.minimum(length, to_end), length)


def _near(
    ducts: Ducts,
    legs: Legs,
    duct: IntArray,
    main: IntArray,
    room: FloatArray,
    widest: float,
) -> IntArray:
    """Rows of legs that turn, where a duct ends nearer than its main's wall may be."""
    # Most are further away than the widest wall of all.
    sine = legs.sine
    rows = ((room[duct] * sine < widest) & (sine > np.sin(_STRAIGHT_ON))).nonzero()[0]
    main, duct = main[rows], duct[rows]
    wall = np.hypot(ducts.width[main], ducts.height[main]) / 2
    return np.asarray(rows[(room[duct] * sine[rows] < wall) & (main != duct)])


def _to_sides(
    ducts: Ducts, legs: Legs, room: FloatArray, widest: float
) -> tuple[IntArray, FloatArray]:
    """Short ducts that end at the side of a main, and how much of each lies in it."""
    of_duct: dict[int, list[int]] = {}
    for row in _near(ducts, legs, legs.common, legs.duct, room, widest).tolist():
        of_duct.setdefault(int(legs.common[row]), []).append(row)
    within: dict[int, float] = {}
    for duct, rows in of_duct.items():
        opposite = legs.away[rows] @ legs.away[rows].T < -np.cos(_STRAIGHT_ON)
        main = legs.duct[rows][opposite.any(axis=1)]
        if len(main):
            along = np.cross(ducts.across[duct], ducts.upright[duct])
            away = np.broadcast_to(along, (len(main), 3))
            within[duct] = float(_to_wall(ducts, main, away).max())
    return np.array([*within], dtype=np.int64), np.array([*within.values()])


def _to_wall(ducts: Ducts, main: IntArray, away: FloatArray) -> FloatArray:
    """Distance from a main's axis to its wall along unit vectors, m, shape (n,).

    An oval counts as the ellipse in it, which is no more askew and the same along its
    axes.
    """
    half = np.array([ducts.width[main], ducts.height[main]]) / 2
    part = np.abs(
        [np.einsum("ij,ij->i", a[main], away) for a in (ducts.across, ducts.upright)]
    )
    share = part / half  # of the half, for each metre of the way
    rectangular = ducts.shape[main] == int(Shape.RECTANGULAR)
    return np.asarray(
        1.0 / np.where(rectangular, share.max(axis=0), np.hypot(share[0], share[1]))
    )


class Way(NamedTuple):
    """Ducts in line from a main on, up to a bend, a junction or an end.

    Parameters
    ----------
    ducts
        The nearest to the main first.
    within
        How much of it lies within the main, m.
    is_behind
        Whether the main is at the far end of its ducts, as in `WithinMains`.
    bend
        Row of the bend that it leads to; `NONE` without one.
    """

    ducts: list[int]
    within: float
    is_behind: bool
    bend: int


def ways_from_mains(
    ducts: Ducts, bends: Bends, legs: Legs, meetings: Legs
) -> list[Way]:
    """Ways that begin within a main and are short: parameters as classified."""
    within = within_mains(ducts, legs, meetings, ducts.straight)
    if len(within.duct) == 0:
        return []
    before = ducts.parent[bends.duct]
    at_start = dict(zip(bends.duct.tolist(), range(len(before)), strict=True))
    at_end = dict(zip(before.tolist(), range(len(before)), strict=True))
    divided, joined = set(legs.duct.tolist()), set(meetings.duct.tolist())
    alone = np.ones(len(ducts.parent), dtype=bool)
    alone[legs.duct] = False
    alone &= ducts.parent != NONE
    child = np.full(len(ducts.parent), NONE)
    child[ducts.parent[alone]] = alone.nonzero()[0]
    found = []
    for duct, length, is_behind in zip(*(one.tolist() for one in within), strict=True):
        way, onward = [duct], NONE
        ending = at_start if is_behind else at_end
        while way[-1] not in ending:
            here = way[-1]
            if is_behind:
                onward = NONE if here in divided else int(ducts.parent[here])
            else:
                onward = NONE if here in joined else int(child[here])
            if onward == NONE:
                break
            way.append(onward)
        found.append(Way(way, length, is_behind, ending.get(way[-1], NONE)))
    return found


def _straight(ducts: Ducts, way: list[int]) -> float:
    """Straight length of ducts in line, m.

    Ducts that lack something together all have the same, which counts once. A drawn
    transition has no straight, and half of it for its length: it counts in full.
    """
    total, before = 0.0, 0.0
    for duct in way:
        straight = float(ducts.straight[duct])
        if straight == 0.0:
            drawn = float(np.linalg.norm(ducts.end[duct] - ducts.begin[duct]))
            whole = 2.0 * float(ducts.length[duct])
            total += whole if abs(whole - drawn) < _ROUNDING else 0.0
        elif straight > 0.0 or straight != before:
            total += straight
        before = straight
    return total


def with_room_in_mains(
    ducts: Ducts, bends: Bends, ways: list[Way], tolerance: float
) -> Bends:
    """Bends with what they lack where their tangents reach into a main.

    Parameters
    ----------
    ducts, bends
        As classified, with what bends lack to the axes of mains.
    ways
        Those from mains on.
    tolerance
        Less is not lacking, m.
    """
    short_by, mains = bends.short_by.copy(), dict[int, bool]()
    for way in ways:
        if way.bend == NONE:
            continue
        lacking = way.within - _straight(ducts, way.ducts)
        if lacking > tolerance and lacking >= short_by[way.bend]:
            short_by[way.bend] = lacking
            mains[way.bend] = way.is_behind
    return replace(bends, short_by=short_by, mains=mains) if mains else bends


def pieces_in_mains(
    ducts: Ducts,
    last: IntArray,
    is_piece: BoolArray,
    nodes: FloatArray,
    ways: list[Way],
) -> FloatArray:
    """How far drawn transitions lie with both ends within a main.

    Parameters
    ----------
    ducts, ways
        As classified, and those from mains on.
    last
        Last duct of each transition, shape (t,).
    is_piece
        Which ducts are of one, shape (d,).
    nodes
        Of the topology, m, shape (n, 3).

    Returns
    -------
    lacking
        From the end away from the main to its wall, m; 0 beyond it; shape (t,).
    """
    past: dict[int, list[Way]] = {}
    for way in ways:
        for duct in way.ducts:
            if is_piece[duct]:
                past.setdefault(duct, []).append(way)
    lacking = np.zeros(len(last))
    for row, duct in enumerate(last.tolist()):
        first = duct
        while is_piece[ducts.parent[first]]:
            first = int(ducts.parent[first])
        for way in past.get(duct, []):
            near, far = ducts.start[way.ducts[0]], ducts.finish[duct]
            if way.is_behind:
                near, far = ducts.finish[way.ducts[0]], ducts.start[first]
            inside = way.within - float(np.linalg.norm(nodes[far] - nodes[near]))
            lacking[row] = max(lacking[row], inside)
    return lacking
