"""Chords of the arcs in a drawing: equal strokes with equal turns between them."""

from dataclasses import dataclass, replace

import numpy as np

from .frames import rotate, turn_between
from .recurrences import is_first
from .sections import BoolArray, FloatArray, IntArray
from .strokes import (
    EXACT,
    LARGEST_TURN,
    ROUNDED,
    SAME_PLANE,
    SMALLEST_TURN,
    Fit,
    Strokes,
)

_LEAST = 3  # turns of an arc, those onto its tangents included


@dataclass(frozen=True, eq=False)
class FewChords:
    """Turns that lie on one circle, with too few chords to tell an arc: f of them.

    Parameters
    ----------
    segment
        Segment after the first turn of each, shape (f,).
    turns
        How many turns each has.
    chord, radius
        Length of its chords, and radius of the circle through their ends, m.
    """

    segment: IntArray
    turns: IntArray
    chord: FloatArray
    radius: FloatArray


@dataclass(frozen=True, eq=False)
class ArcChords:
    """Chords of each arc, arcs in the order of the strokes: a of them.

    Parameters
    ----------
    first, last
        Places of the first and of the last stroke of each, shape (a,).
    around
        Whether the chords lie around the circle and not inside it, shape (a,).
    drawn
        Whether a tangent was drawn before each, and behind it, shape (a,) each.
    touched
        Whether it goes on from the arc before it in this order, shape (a,).
    """

    first: IntArray
    last: IntArray
    around: BoolArray
    drawn: tuple[BoolArray, BoolArray]
    touched: BoolArray


@dataclass(frozen=True, eq=False)
class Measured:
    """Groups of strokes that follow each other, as chords of a circle: g of them.

    Parameters
    ----------
    first, last
        Places of the first and of the last stroke, shape (g,).
    step
        Mean turn between two of its strokes, rad, shape (g,).
    axis
        Unit vector about which it turns, shape (g, 3).
    chord
        Mean length of its strokes, m, shape (g,).
    misfit
        Largest relative difference of a stroke from that, shape (g,).
    even
        Whether its strokes and its turns are all alike, shape (g,).
    into, away
        Tangents of the circle at its beginning and its end, unit vectors, (g, 3).
    """

    first: IntArray
    last: IntArray
    step: FloatArray
    axis: FloatArray
    chord: FloatArray
    misfit: FloatArray
    even: BoolArray
    into: FloatArray
    away: FloatArray


@dataclass(frozen=True, eq=False)
class _Ends:
    """How each group may end on one side: arrays of shape (g,)."""

    half: BoolArray  # by half a step onto a tangent: chords inside the circle
    whole: BoolArray  # by a whole step: chords around it
    touching: BoolArray  # the group beside it goes on along the circle's tangent
    shared: BoolArray  # its last stroke is one of the group beside it too
    bare: BoolArray  # with the duct or its section, or at a sharp corner


def arc_chords(strokes: Strokes) -> tuple[ArcChords, FewChords]:
    """Find the strokes that are chords of arcs.

    Parameters
    ----------
    strokes
        Strokes in chains. Each chain is taken by the fit that finds more of it in arcs.

    Returns
    -------
    chords, few
        The arcs, and what fits a circle but does not tell an arc: with the place of
        the stroke after its first turn in place of the segment.
    """
    exact = _fitted(strokes, EXACT)
    if not (_small(strokes) & ~turns_of(len(strokes.turn), exact[0])).any():
        return exact
    rounded = _fitted(strokes, ROUNDED)
    chain = np.cumsum(~strokes.linked)
    covered = [
        np.bincount(
            chain[found.first], found.last - found.first + 1, minlength=chain[-1] + 1
        )
        for found, _ in (exact, rounded)
    ]
    by_exact = (covered[0] >= covered[1]) & (covered[0] > 0)
    parts = []
    for (found, few), mine in ((exact, by_exact), (rounded, ~by_exact)):
        here, doubtful = mine[chain[found.first]], mine[chain[few.segment]]
        parts.append(
            (
                *(values[here] for values in (found.first, found.last, found.around)),
                *(values[here] for values in (*found.drawn, found.touched)),
                *(values[doubtful] for values in (few.segment, few.turns)),
                *(values[doubtful] for values in (few.chord, few.radius)),
            )
        )
    first, *rest = (np.concatenate(both) for both in zip(*parts, strict=True))
    order = first.argsort()
    last, around, before, behind, touched = (values[order] for values in rest[:5])
    place, turns, chord, radius = rest[5:]
    return (
        ArcChords(first[order], last, around, (before, behind), touched),
        FewChords(place, turns, chord, radius),
    )


def _fitted(strokes: Strokes, fit: Fit) -> tuple[ArcChords, FewChords]:
    """Arcs by one fit, and what fits a circle but does not tell an arc."""
    groups = _groups(strokes, fit)
    inside, around, sides = _settled(groups, *_all_ends(strokes, groups, fit))
    few = _few(groups, inside | around, *sides)
    # Around a circle the last chord before anything but a turn is the tangent itself.
    first = groups.first + (around & ~sides[0].whole)
    last = groups.last - (around & ~sides[1].whole)
    rows = (inside | around & (last > first)).nonzero()[0]
    around = around[rows]
    before, behind = (around | side.half[rows] for side in sides)
    touched = ~around & sides[0].touching[rows]
    return ArcChords(first[rows], last[rows], around, (before, behind), touched), few


def _groups(strokes: Strokes, fit: Fit) -> Measured:
    """Longest chains of strokes alike; a single turn between two others is none."""
    turn, axis, length = strokes.turn, strokes.axis, strokes.length
    inner = strokes.linked & (turn > SMALLEST_TURN) & (turn < 2 * LARGEST_TURN)
    inner[1:] &= fit.alike(length[1:], length[:-1])
    mean = (turn[1:] + turn[:-1]) / 2  # as far from each as they may be from an arc's
    goes_on = np.zeros(len(turn), dtype=bool)
    goes_on[1:] = (
        inner[1:]
        & inner[:-1]
        & fit.near(turn[1:], mean, mean, length[:-1])
        & (np.einsum("ij,ij->i", axis[1:], axis[:-1]) > SAME_PLANE)
    )
    begins = (inner & ~goes_on).nonzero()[0]
    ends = (inner & ~np.append(goes_on[1:], False)).nonzero()[0]
    # A turn onto a tangent as long as the chords, or from one arc to the next.
    beside = begins[1:] == ends[:-1] + 1
    several = ends > begins
    lesser = ~several[1:] & (several[:-1] | (turn[begins[1:]] < turn[begins[:-1]]))
    other = ~several[:-1] & (several[1:] | (turn[begins[:-1]] < turn[begins[1:]]))
    kept = np.ones(len(begins), dtype=bool)
    kept[1:] &= ~(beside & lesser)
    kept[:-1] &= ~(beside & other)
    return measured(strokes, begins[kept] - 1, ends[kept], fit)


def measured(strokes: Strokes, first: IntArray, last: IntArray, fit: Fit) -> Measured:
    """Measure groups of at least two strokes.

    Parameters
    ----------
    strokes
        The strokes.
    first, last
        Places of the first and of the last stroke of each group, shape (g,).
    fit
        What counts as even.

    Returns
    -------
    measured
        The groups in this order.
    """
    size = last - first
    step = sums(strokes.turn, first + 1, last) / size
    axis = sums(strokes.axis * strokes.turn[:, None], first + 1, last)
    axis /= np.maximum(np.linalg.norm(axis, axis=1), 1e-12)[:, None]
    chord = sums(strokes.length, first, last) / (size + 1)
    place, group = _places(first, last)
    misfit, uneven = np.zeros(len(first)), np.zeros(len(first), dtype=bool)
    np.maximum.at(misfit, group, np.abs(strokes.length[place] / chord[group] - 1.0))
    off = (place > first[group]) & ~fit.near(
        strokes.turn[place], step[group], step[group], chord[group]
    )
    uneven[group[off]] = True
    half = step / 2
    return Measured(
        first,
        last,
        step,
        axis,
        chord,
        misfit,
        ~uneven & (misfit <= fit.share),
        rotate(strokes.direction[first], axis, -half),
        rotate(strokes.direction[last], axis, half),
    )


def _all_ends(strokes: Strokes, groups: Measured, fit: Fit) -> tuple[_Ends, _Ends]:
    """How the groups may begin, and how they may end."""
    # Of the group before: whether it is touched, whether it ends with the same stroke.
    beside, shared = np.zeros((2, len(groups.first)), dtype=bool)
    if len(beside) > 1:
        shared[1:] = groups.first[1:] == groups.last[:-1]
        step = np.maximum(groups.step[1:], groups.step[:-1])
        chord = np.minimum(groups.chord[1:], groups.chord[:-1])
        kink, _ = turn_between(groups.away[:-1], groups.into[1:])
        beside[1:] = (
            (groups.first[1:] == groups.last[:-1] + 1)
            & strokes.linked[groups.first[1:]]
            & fit.near(step + kink, step, step, chord)
        )
    return (
        _ends(strokes, groups, fit, groups.first, beside, shared),
        _ends(
            strokes,
            groups,
            fit,
            groups.last + 1,
            np.append(beside[1:], False),
            np.append(shared[1:], False),
        ),
    )


def _ends(
    strokes: Strokes,
    groups: Measured,
    fit: Fit,
    place: IntArray,
    touching: BoolArray,
    shared: BoolArray,
) -> _Ends:
    """Judge the turns into strokes at some places, beyond which a group does not go."""
    linked = np.append(strokes.linked, False)[place]
    turn = np.append(strokes.turn, 0.0)[place]
    axis = np.concatenate([strokes.axis, np.zeros((1, 3))])[place]
    on = linked & (np.einsum("ij,ij->i", axis, groups.axis) > SAME_PLANE)
    return _Ends(
        on & fit.near(turn, groups.step / 2, groups.step, groups.chord),
        on & fit.near(turn, groups.step, groups.step, groups.chord),
        touching,
        shared,
        ~linked | (turn >= LARGEST_TURN),
    )


def _settled(
    groups: Measured, start: _Ends, finish: _Ends
) -> tuple[BoolArray, BoolArray, tuple[_Ends, _Ends]]:
    """Which groups are arcs inside a circle, which around one, and how they end.

    An arc inside a circle touches another only where that is one too, and where arcs
    around circles meet they share a tangent: repeated until nothing changes.
    """
    size = groups.last - groups.first
    fair = groups.even & (groups.step < LARGEST_TURN)
    inside, around = fair, np.zeros(len(fair), dtype=bool)
    while True:
        sides = (
            _beside(start, np.append(False, inside)[:-1]),
            _beside(finish, np.append(inside, False)[1:]),
        )
        one, two = sides
        by_next = (one.shared & np.append(False, around)[:-1]) | (
            two.shared & np.append(around, False)[1:]
        )
        circles = one.whole & (~two.half | two.shared)
        circles |= two.whole & (~one.half | one.shared)
        circles |= by_next & ~one.half & ~two.half
        circles &= fair
        held = one.half + 0 + two.half + one.touching + two.touching
        stays = inside & ~circles & (size + held >= _LEAST)
        for side in sides:
            stays &= side.half | side.touching | side.bare
        if (stays == inside).all() and (circles == around).all():
            return inside, around, sides
        inside, around = stays, circles | around


def _beside(ends: _Ends, is_arc: BoolArray) -> _Ends:
    """The ends with what stands beside each group known to be an arc or not."""
    touching = ends.touching & is_arc & ~ends.half
    return replace(
        ends,
        whole=ends.whole & ~touching,
        touching=touching,
        bare=ends.bare & ~touching,
    )


def _few(groups: Measured, is_arc: BoolArray, start: _Ends, finish: _Ends) -> FewChords:
    """Groups that fit a circle, but by too few chords or too large turns."""
    held = start.half + 0 + finish.half
    size = groups.last - groups.first
    doubt = ~is_arc & groups.even & (held + size >= 2)
    doubt &= (held > 0) | (groups.step < LARGEST_TURN)
    for side in (start, finish):
        doubt &= side.half | side.bare
    rows = doubt.nonzero()[0]
    place = groups.first[rows] + ~start.half[rows]
    chord = groups.chord[rows]
    return FewChords(
        place,
        (held + size)[rows],
        chord,
        chord / (2.0 * np.sin(groups.step[rows] / 2)),
    )


def turns_of(count: int, arcs: ArcChords) -> BoolArray:
    """Whether the turn into each stroke is of an arc.

    Parameters
    ----------
    count
        How many strokes there are.
    arcs
        The arcs.

    Returns
    -------
    of_arc
        Shape (count,); turns onto tangents included.
    """
    before, behind = arcs.drawn
    return spans(count, arcs.first + ~before, arcs.last + behind)


def _small(strokes: Strokes) -> BoolArray:
    """Whether a small turn leads into each stroke, shape (m,)."""
    turn = strokes.turn
    return np.asarray(strokes.linked & (turn > SMALLEST_TURN) & (turn < LARGEST_TURN))


def uneven_chains(strokes: Strokes, of_arc: BoolArray) -> IntArray:
    """Chains of at least four small turns that are on no arc.

    Parameters
    ----------
    strokes
        The strokes.
    of_arc
        Whether the turn into each is of an arc, shape (m,).

    Returns
    -------
    segment
        Segment after the first turn of each chain, shape (u,).
    """
    turn, small = strokes.turn, _small(strokes) & ~of_arc
    rows = (small[1:] & small[:-1]).nonzero()[0] + 1
    ratio = turn[rows] / turn[rows - 1]
    dot = np.einsum("ij,ij->i", strokes.axis[rows], strokes.axis[rows - 1])
    rows = rows[(dot > SAME_PLANE) & (ratio > 0.45) & (ratio < 2.2)]
    chain = rows - np.arange(len(rows))  # the same for rows that follow each other
    begin = is_first(chain).nonzero()[0]
    size = np.diff(np.append(begin, len(rows))) + 1
    return np.asarray(strokes.first[rows[begin[size >= 4]] - 1])


def sums(values: FloatArray, first: IntArray, last: IntArray) -> FloatArray:
    """Sums of values over some spans.

    Parameters
    ----------
    values
        Shape (m,) or (m, 3).
    first, last
        Places at which each span begins and ends, both included, shape (g,).

    Returns
    -------
    sums
        Shape (g,) or (g, 3).
    """
    total = np.concatenate([np.zeros_like(values[:1]), np.cumsum(values, axis=0)])
    return np.asarray(total[last + 1] - total[first])


def _places(first: IntArray, last: IntArray) -> tuple[IntArray, IntArray]:
    """Every place from each first to the last, and the row that it belongs to."""
    size = last - first + 1
    row = np.repeat(np.arange(len(first)), size)
    return np.arange(len(row)) - (np.cumsum(size) - size - first)[row], row


def spans(count: int, first: IntArray, last: IntArray) -> BoolArray:
    """Whether each place is in one of some spans.

    Parameters
    ----------
    count
        How many places there are.
    first, last
        Places at which each span begins and ends, both included, shape (g,).

    Returns
    -------
    inside
        Shape (count,).
    """
    inside = np.zeros(count, dtype=bool)
    inside[_places(first, last)[0]] = True
    return inside
