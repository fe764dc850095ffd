"""Bends drawn as many short chords: one radius fitted to each."""

from dataclasses import dataclass

import numpy as np

from .frames import rotate
from .sections import FloatArray, IntArray
from .stretches import is_first
from .strokes import (
    EVEN,
    LARGEST_TURN,
    SAME_PLANE,
    SMALLEST_TURN,
    BoolArray,
    Strokes,
    linked_strokes,
    near,
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
    groups = _groups(strokes)
    inside, around, sides = _settled(groups, *_all_ends(strokes, groups))
    few = _few(strokes, groups, inside | around, *sides)
    # Around a circle the last chord before anything but a turn is the tangent itself.
    first = groups.first + (around & ~sides[0].whole)
    last = groups.last - (around & ~sides[1].whole)
    around &= last > first
    chosen = (inside | around).nonzero()[0]
    if len(chosen) == 0:
        uneven = _uneven(strokes, np.zeros(len(strokes.turn), dtype=bool))
        return _no_arcs(len(turn), uneven, few)
    around, first, last = around[chosen], first[chosen], last[chosen]
    # Whether a tangent was drawn on each side, and whether another arc touches there.
    drawn = [around | side.half[chosen] for side in sides]
    touched = [~around & side.touching[chosen] for side in sides]
    measured = _measured(strokes, first, last)
    step, axis, into, away = measured.step, measured.axis, measured.into, measured.away

    after_touch = touched[0].nonzero()[0]
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
    source_side = (~drawn[0] & ~touched[0]).nonzero()[0]
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


def _groups(strokes: Strokes) -> _Groups:
    """Longest chains of strokes alike; a single turn between two others is none."""
    turn, axis, length = strokes.turn, strokes.axis, strokes.length
    ratio = np.zeros(len(length))
    ratio[1:] = length[1:] / length[:-1]
    inner = strokes.linked & (turn > SMALLEST_TURN) & (turn < 2 * LARGEST_TURN)
    inner &= np.abs(ratio - 1.0) < 2 * EVEN
    goes_on = np.zeros(len(turn), dtype=bool)
    goes_on[1:] = (
        inner[1:]
        & inner[:-1]
        & near(turn[1:], turn[:-1], 2 * EVEN)
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
    return _measured(strokes, begins[kept] - 1, ends[kept])


def _measured(strokes: Strokes, first: IntArray, last: IntArray) -> _Groups:
    """Mean turn and chord of strokes that follow each other, from first to last."""
    size = last - first
    step = _sums(strokes.turn, first + 1, last) / size
    axis = _sums(strokes.axis * strokes.turn[:, None], first + 1, last)
    axis /= np.maximum(np.linalg.norm(axis, axis=1), 1e-12)[:, None]
    chord = _sums(strokes.length, first, last) / (size + 1)
    place, group = _places(first, last)
    misfit, uneven = np.zeros(len(first)), np.zeros(len(first), dtype=bool)
    np.maximum.at(misfit, group, np.abs(strokes.length[place] / chord[group] - 1.0))
    off = (place > first[group]) & ~near(strokes.turn[place], step[group])
    uneven[group[off]] = True
    half = step / 2
    return _Groups(
        first,
        last,
        step,
        axis,
        chord,
        misfit,
        ~uneven & (misfit <= EVEN),
        rotate(strokes.direction[first], axis, -half),
        rotate(strokes.direction[last], axis, half),
    )


def _all_ends(strokes: Strokes, groups: _Groups) -> tuple[_Ends, _Ends]:
    """How the groups may begin, and how they may end."""
    beside = np.zeros(len(groups.first), dtype=bool)  # on the group before, touching it
    if len(beside) > 1:
        larger = np.maximum(groups.step[1:], groups.step[:-1])
        cosine = np.einsum("ij,ij->i", groups.away[:-1], groups.into[1:])
        kink = np.arccos(np.minimum(cosine, 1.0))
        beside[1:] = (
            (groups.first[1:] == groups.last[:-1] + 1)
            & strokes.linked[groups.first[1:]]
            & near(kink, np.zeros(len(kink)), 0.0, EVEN * larger + np.radians(0.1))
        )
    return (
        _ends(strokes, groups, groups.first, beside),
        _ends(strokes, groups, groups.last + 1, np.append(beside[1:], False)),
    )


def _ends(
    strokes: Strokes, groups: _Groups, place: IntArray, touching: BoolArray
) -> _Ends:
    """Judge the turns into strokes at some places, beyond which a group does not go."""
    linked = np.append(strokes.linked, False)[place]
    turn = np.append(strokes.turn, 0.0)[place]
    axis = np.concatenate([strokes.axis, np.zeros((1, 3))])[place]
    on = linked & (np.einsum("ij,ij->i", axis, groups.axis) > SAME_PLANE)
    return _Ends(
        on & near(turn, groups.step / 2),
        on & near(turn, groups.step),
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


def _few(
    strokes: Strokes, groups: _Groups, is_arc: BoolArray, start: _Ends, finish: _Ends
) -> FewChords:
    """Groups that fit a circle, but by too few chords or too large turns."""
    held = start.half + 0 + finish.half
    size = groups.last - groups.first
    doubt = ~is_arc & groups.even & (held + size >= 2)
    doubt &= (held > 0) | (groups.step < LARGEST_TURN)
    for side in (start, finish):
        doubt &= side.half | side.bare
    rows = doubt.nonzero()[0]
    first = groups.first[rows] + ~start.half[rows]
    chord = groups.chord[rows]
    return FewChords(
        strokes.first[first],
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
