"""Bends drawn as many short chords: one radius fitted to each."""

from dataclasses import dataclass

import numpy as np

from .frames import rotate, turn_between
from .sections import FloatArray, IntArray
from .stretches import is_first
from .strokes import (
    EXACT,
    LARGEST_TURN,
    ROUNDED,
    SAME_PLANE,
    SMALLEST_TURN,
    BoolArray,
    Fit,
    Strokes,
    linked_strokes,
)
from .tree import Tree

_NO_CORNER = np.radians(150.0)  # beyond this the tangents meet too far away to use
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
class Arcs:
    """Arcs of a tree: a of them.

    Parameters
    ----------
    before, after
        Segment that stands for the duct before each, and for the one after it, (a,).
    angle
        Whole turn, rad.
    radius
        Radius of the centreline, m.
    misfit
        Largest relative difference of the chords from that radius.
    setback
        How far before the first vertex (and after the last) the arc begins, m.
    axis
        Unit vector about which it turns, shape (a, 3).
    inner
        For each segment of the tree, whether it is a chord that no duct stands for,
        shape (e,).
    member
        For each segment, whether the vertex before it lies on an arc, shape (e,).
    bare
        Chords that stand for a duct without length: where an arc has no tangent, (z,).
    point, direction
        Where each such duct is, m, and the arc's tangent there, unit vectors, (z, 3).
    uneven
        First segments of chains of small turns that are no arc, shape (u,).
    few
        Chains of so few turns that they may or may not be one arc.
    """

    before: IntArray
    after: IntArray
    angle: FloatArray
    radius: FloatArray
    misfit: FloatArray
    setback: FloatArray
    axis: FloatArray
    inner: BoolArray
    member: BoolArray
    bare: IntArray
    point: FloatArray
    direction: FloatArray
    uneven: IntArray
    few: FewChords


@dataclass(frozen=True, eq=False)
class _Groups:
    """Equal strokes with equal turns between them: g of them."""

    first: IntArray  # places of the first and of the last stroke
    last: IntArray
    step: FloatArray  # mean turn between two of its strokes, rad
    axis: FloatArray
    chord: FloatArray  # mean length of its strokes, m
    misfit: FloatArray
    even: BoolArray
    into: FloatArray  # tangents of the circle at its ends
    away: FloatArray


@dataclass(frozen=True, eq=False)
class _Chains:
    """Chords of each arc, arcs in the order of the strokes: arrays of shape (a,)."""

    first: IntArray  # places of the first and of the last stroke
    last: IntArray
    around: BoolArray  # whether the chords lie around the circle
    drawn: tuple[BoolArray, BoolArray]  # whether a tangent is before, behind it
    touched: BoolArray  # whether it goes on from the arc before


@dataclass(frozen=True, eq=False)
class _Ends:
    """How each group may end on one side: arrays of shape (g,)."""

    half: BoolArray  # by half a step onto a tangent: chords inside the circle
    whole: BoolArray  # by a whole step: chords around it
    touching: BoolArray  # the group beside it goes on along the circle's tangent
    bare: BoolArray  # with the duct or its section, or at a sharp corner


def find_arcs(
    tree: Tree, nodes: FloatArray, turn: FloatArray, same_duct: BoolArray
) -> Arcs:
    """Find chains of equal chords with small equal turns, and fit a radius to each.

    Parameters
    ----------
    tree
        The segments.
    nodes
        Node positions, m, shape (k, 3).
    turn
        Turn from the parent into each segment, rad, shape (e,).
    same_duct
        Whether the segment goes on its parent alone and with the same section.

    Returns
    -------
    arcs
        The arcs found, of at least three turns each.

    Notes
    -----
    Chords lie either inside the circle (the turns onto the tangents are half of the
    inner ones) or around it (all turns equal). Where an arc inside the circle begins
    or ends without a tangent, at an end of the duct, a junction, a change of section,
    a corner or another arc, the tangent is the circle's own: half a step from the
    chord.

    Both tangent lines are held, and the radius is that of the circle that touches
    both: tangent length / tan(angle / 2).
    """
    found = linked_strokes(tree, nodes, turn, same_duct)
    if found is None:
        return _no_arcs(len(turn))
    strokes, head = found
    chains, few = _best(strokes)
    first, last, around = chains.first, chains.last, chains.around
    if len(first) == 0:
        uneven = _uneven(strokes, np.zeros(len(strokes.turn), dtype=bool))
        return _no_arcs(len(turn), uneven, few)
    drawn, touched = chains.drawn, chains.touched
    measured = _measured(strokes, first, last, ROUNDED)
    step, axis, into, away = measured.step, measured.axis, measured.into, measured.away

    after_touch = touched.nonzero()[0]
    joint = into[after_touch] + away[after_touch - 1]
    joint /= np.linalg.norm(joint, axis=1)[:, None]
    into[after_touch], away[after_touch - 1] = joint, joint
    rows = drawn[0].nonzero()[0]
    into[rows] = strokes.direction[first[rows] - 1]
    rows = drawn[1].nonzero()[0]
    onto = np.where(drawn[1], last + 1, last)  # the stroke after, if it is a tangent
    away[rows] = strokes.direction[onto[rows]]

    begin = np.where(drawn[0], first, first + 1)  # the turns that were drawn
    spun = strokes.axis * strokes.turn[:, None]
    half = step / 2
    angle = _sums(strokes.turn, begin, onto) + half * (~drawn[0] + 0.0 + ~drawn[1])
    whole = _sums(spun, begin, onto)
    whole += axis * (half * (~drawn[0] + 0.0 + ~drawn[1]))[:, None]
    outside = np.where(around, step, 0.0)
    by_chord = measured.chord / np.where(around, 2.0 * np.tan(half), 2.0 * np.sin(half))
    by_tangent, difference = _tangent_radius(
        strokes.end[last] - strokes.begin[first], into, away, angle, outside
    )
    radius = np.where(angle < _NO_CORNER, by_tangent, by_chord)

    # The ducts beside the arcs: tangents, or chords that stand for one without length.
    before, after = strokes.first[first], strokes.last[last]
    before[drawn[0]] = tree.parent[before[drawn[0]]]
    before[after_touch] = after[after_touch - 1]
    after[drawn[1]] = strokes.first[onto[drawn[1]]]
    source_side = (~drawn[0] & ~touched).nonzero()[0]
    far_side = (~drawn[1]).nonzero()[0]
    bare = np.concatenate([before[source_side], after[far_side]])

    is_chord = _spans(len(strokes.turn), first, last)
    of_arc = np.zeros(len(turn), dtype=bool)
    of_arc[strokes.first[is_chord]] = True
    inner = of_arc[head]
    member = inner.copy()
    inner[bare] = False
    member[before[source_side]] = False
    member[after[drawn[1]]] = True
    is_turn = _spans(len(strokes.turn), begin, onto)
    return Arcs(
        before,
        after,
        angle,
        radius,
        np.maximum(measured.misfit, difference),
        radius * np.tan(outside / 2),
        whole / np.linalg.norm(whole, axis=1)[:, None],
        inner,
        member,
        bare,
        np.concatenate(
            [strokes.begin[first[source_side]], strokes.end[last[far_side]]]
        ),
        np.concatenate([into[source_side], away[far_side]]),
        _uneven(strokes, is_turn),
        few,
    )


def _no_arcs(
    count: int, uneven: IntArray | None = None, few: FewChords | None = None
) -> Arcs:
    none, real = np.empty(0, dtype=np.int64), np.empty(0)
    flat, nowhere = np.empty((0, 3)), np.zeros(count, dtype=bool)
    return Arcs(
        before=none,
        after=none,
        angle=real,
        radius=real,
        misfit=real,
        setback=real,
        axis=flat,
        inner=nowhere,
        member=nowhere,
        bare=none,
        point=flat,
        direction=flat,
        uneven=none if uneven is None else uneven,
        few=FewChords(none, none, real, real) if few is None else few,
    )


def _best(strokes: Strokes) -> tuple[_Chains, FewChords]:
    """Arcs of each chain of linked strokes by the fit that finds more of it in arcs."""
    exact, rounded = _fitted(strokes, EXACT), _fitted(strokes, ROUNDED)
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
        _Chains(first[order], last, around, (before, behind), touched),
        FewChords(strokes.first[place], turns, chord, radius),
    )


def _fitted(strokes: Strokes, fit: Fit) -> tuple[_Chains, FewChords]:
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
    return _Chains(first[rows], last[rows], around, (before, behind), touched), few


def _groups(strokes: Strokes, fit: Fit) -> _Groups:
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
    return _measured(strokes, begins[kept] - 1, ends[kept], fit)


def _measured(strokes: Strokes, first: IntArray, last: IntArray, fit: Fit) -> _Groups:
    """Mean turn and chord of strokes that follow each other, from first to last."""
    size = last - first
    step = _sums(strokes.turn, first + 1, last) / size
    axis = _sums(strokes.axis * strokes.turn[:, None], first + 1, last)
    axis /= np.maximum(np.linalg.norm(axis, axis=1), 1e-12)[:, None]
    chord = _sums(strokes.length, first, last) / (size + 1)
    place, group = _places(first, last)
    misfit, uneven = np.zeros(len(first)), np.zeros(len(first), dtype=bool)
    np.maximum.at(misfit, group, np.abs(strokes.length[place] / chord[group] - 1.0))
    off = (place > first[group]) & ~fit.near(
        strokes.turn[place], step[group], step[group], chord[group]
    )
    uneven[group[off]] = True
    half = step / 2
    return _Groups(
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


def _all_ends(strokes: Strokes, groups: _Groups, fit: Fit) -> tuple[_Ends, _Ends]:
    """How the groups may begin, and how they may end."""
    beside = np.zeros(len(groups.first), dtype=bool)  # on the group before, touching it
    if len(beside) > 1:
        step = np.maximum(groups.step[1:], groups.step[:-1])
        chord = np.minimum(groups.chord[1:], groups.chord[:-1])
        kink, _ = turn_between(groups.away[:-1], groups.into[1:])
        beside[1:] = (
            (groups.first[1:] == groups.last[:-1] + 1)
            & strokes.linked[groups.first[1:]]
            & fit.near(step + kink, step, step, chord)
        )
    return (
        _ends(strokes, groups, groups.first, beside, fit),
        _ends(strokes, groups, groups.last + 1, np.append(beside[1:], False), fit),
    )


def _ends(
    strokes: Strokes, groups: _Groups, place: IntArray, touching: BoolArray, fit: Fit
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
        ~linked | (turn >= LARGEST_TURN),
    )


def _settled(
    groups: _Groups, start: _Ends, finish: _Ends
) -> tuple[BoolArray, BoolArray, tuple[_Ends, _Ends]]:
    """Which groups are arcs inside a circle, which around one, and how they end.

    An arc touches another only where that is one too: repeated until nothing changes.
    """
    size = groups.last - groups.first
    inside = groups.even & (groups.step < LARGEST_TURN)
    while True:
        before = np.append(False, inside[:-1])[: len(inside)]
        behind = np.append(inside[1:], False)[: len(inside)]
        sides = _beside(start, before), _beside(finish, behind)
        one, two = sides
        around = (one.whole | two.whole) & ~one.half & ~two.half
        held = one.half + 0 + two.half + one.touching + two.touching
        stays = inside & ~around & (size + held >= _LEAST)
        for side in sides:
            stays &= side.half | side.touching | side.bare
        if (stays == inside).all():
            break
        inside = stays
    around &= groups.even & (groups.step < LARGEST_TURN)
    return inside, around, sides


def _beside(ends: _Ends, is_arc: BoolArray) -> _Ends:
    """The ends with what stands beside each group known to be an arc or not."""
    touching = ends.touching & is_arc & ~ends.half
    return _Ends(ends.half, ends.whole & ~touching, touching, ends.bare & ~touching)


def _few(groups: _Groups, is_arc: BoolArray, start: _Ends, finish: _Ends) -> FewChords:
    """Groups that fit a circle, but by too few chords or too large turns.

    They have the place of the stroke after their first turn in place of its segment.
    """
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


def _uneven(strokes: Strokes, of_arc: BoolArray) -> IntArray:
    """First segments of chains of at least four small turns that are on no arc."""
    turn = strokes.turn
    small = strokes.linked & (turn > SMALLEST_TURN) & (turn < LARGEST_TURN) & ~of_arc
    rows = (small[1:] & small[:-1]).nonzero()[0] + 1
    ratio = turn[rows] / turn[rows - 1]
    dot = np.einsum("ij,ij->i", strokes.axis[rows], strokes.axis[rows - 1])
    rows = rows[(dot > SAME_PLANE) & (ratio > 0.45) & (ratio < 2.2)]
    chain = rows - np.arange(len(rows))  # the same for rows that follow each other
    begin = is_first(chain).nonzero()[0]
    size = np.diff(np.append(begin, len(rows))) + 1
    return np.asarray(strokes.first[rows[begin[size >= 4]] - 1])


def _sums(values: FloatArray, first: IntArray, last: IntArray) -> FloatArray:
    """Sums of values from each first place to the last, both included."""
    total = np.concatenate([np.zeros_like(values[:1]), np.cumsum(values, axis=0)])
    return np.asarray(total[last + 1] - total[first])


def _places(first: IntArray, last: IntArray) -> tuple[IntArray, IntArray]:
    """Every place from each first to the last, and the row that it belongs to."""
    size = last - first + 1
    row = np.repeat(np.arange(len(first)), size)
    return np.arange(len(row)) - (np.cumsum(size) - size - first)[row], row


def _spans(count: int, first: IntArray, last: IntArray) -> BoolArray:
    inside = np.zeros(count, dtype=bool)
    inside[_places(first, last)[0]] = True
    return inside


def _tangent_radius(
    apart: FloatArray,
    into: FloatArray,
    out: FloatArray,
    angle: FloatArray,
    step: FloatArray,
) -> tuple[FloatArray, FloatArray]:
    """Radius of the circle that touches both tangents, and how far the sides differ."""
    # Corner on each line: closest approach of begin + s into and end - t out.
    dot = np.einsum("ij,ij->i", into, out)
    a = np.einsum("ij,ij->i", apart, into)
    b = np.einsum("ij,ij->i", apart, out)
    sine = np.maximum(1.0 - dot * dot, 1e-12)
    s = (a - dot * b) / sine
    t = (b - dot * a) / sine
    beyond = np.tan(angle / 2) - np.tan(step / 2)
    radius = (s + t) / (2.0 * beyond)
    with np.errstate(divide="ignore", invalid="ignore"):
        difference = np.where(angle < _NO_CORNER, np.abs(s - t) / np.abs(s + t), 0.0)
    return radius, difference
