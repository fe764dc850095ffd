"""Bends drawn as many short chords: one radius fitted to each."""

from dataclasses import dataclass, replace

import numpy as np

from .chords import (
    ArcChords,
    FewChords,
    Measured,
    arc_chords,
    measured,
    spans,
    sums,
    turns_of,
    uneven_chains,
)
from .sections import BoolArray, FloatArray, IntArray
from .strokes import ROUNDED, Strokes, linked_strokes
from .tree import Tree

NO_CORNER = np.radians(150.0)  # beyond this the tangents meet too far away to use


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
    chords, few = arc_chords(strokes)
    few = replace(few, segment=strokes.first[few.segment])
    first, last, around = chords.first, chords.last, chords.around
    if len(first) == 0:
        uneven = uneven_chains(strokes, turns_of(len(strokes.turn), chords))
        return _no_arcs(len(turn), uneven, few)
    drawn = chords.drawn
    fitted = measured(strokes, first, last, ROUNDED)
    into, away = _tangents(strokes, chords, fitted)

    begin = first + ~drawn[0]  # the turns that were drawn
    end = last + drawn[1]
    spun = strokes.axis * strokes.turn[:, None]
    half = fitted.step / 2
    bare_ends = 2.0 - drawn[0] - drawn[1]
    angle = sums(strokes.turn, begin, end) + bare_ends * half
    whole = sums(spun, begin, end) + fitted.axis * (bare_ends * half)[:, None]
    outside = np.where(around, fitted.step, 0.0)
    by_chord = fitted.chord / np.where(around, 2.0 * np.tan(half), 2.0 * np.sin(half))
    by_tangent, difference = _tangent_radius(
        strokes.end[last] - strokes.begin[first], into, away, angle, outside
    )
    radius = np.where(angle < NO_CORNER, by_tangent, by_chord)

    before, after = _beside(tree, strokes, chords)
    source_side = (~drawn[0] & ~chords.touched).nonzero()[0]
    far_side = (~drawn[1]).nonzero()[0]
    bare = np.concatenate([before[source_side], after[far_side]])
    is_chord = spans(len(strokes.turn), first, last)
    of_arc = np.zeros(len(turn), dtype=bool)
    of_arc[strokes.first[is_chord]] = True
    inner = of_arc[head]
    member = inner.copy()
    inner[bare] = False
    member[before[source_side]] = False
    member[after[drawn[1]]] = True
    return Arcs(
        before,
        after,
        angle,
        radius,
        np.maximum(fitted.misfit, difference),
        radius * np.tan(outside / 2),
        whole / np.linalg.norm(whole, axis=1)[:, None],
        inner,
        member,
        bare,
        np.concatenate(
            [strokes.begin[first[source_side]], strokes.end[last[far_side]]]
        ),
        np.concatenate([into[source_side], away[far_side]]),
        uneven_chains(strokes, turns_of(len(strokes.turn), chords)),
        few,
    )


def _tangents(
    strokes: Strokes, chords: ArcChords, fitted: Measured
) -> tuple[FloatArray, FloatArray]:
    """Tangents at the beginning and the end of each arc, unit vectors, (a, 3) each.

    Those that were drawn; where two arcs touch, the mean of their circles' own; else
    the circle's.
    """
    into, away = fitted.into, fitted.away
    touching = chords.touched.nonzero()[0]
    joint = into[touching] + away[touching - 1]
    joint /= np.linalg.norm(joint, axis=1)[:, None]
    into[touching], away[touching - 1] = joint, joint
    drawn = chords.drawn[0].nonzero()[0]
    into[drawn] = strokes.direction[chords.first[drawn] - 1]
    drawn = chords.drawn[1].nonzero()[0]
    away[drawn] = strokes.direction[chords.last[drawn] + 1]
    return into, away


def _beside(
    tree: Tree, strokes: Strokes, chords: ArcChords
) -> tuple[IntArray, IntArray]:
    """Segments that stand for the ducts before and after each arc, shape (a,) each.

    They are drawn tangents, or chords that stand for a duct without length.
    """
    before, after = strokes.first[chords.first], strokes.last[chords.last]
    drawn = chords.drawn[0]
    before[drawn] = tree.parent[before[drawn]]
    touching = chords.touched.nonzero()[0]
    before[touching] = after[touching - 1]
    drawn = chords.drawn[1]
    after[drawn] = strokes.first[chords.last[drawn] + 1]
    return before, after


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
        difference = np.where(angle < NO_CORNER, np.abs(s - t) / np.abs(s + t), 0.0)
    return radius, difference
