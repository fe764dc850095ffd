"""Bends drawn as many short chords: one radius fitted to each."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from .sections import FloatArray, IntArray
from .tree import Tree, heads

BoolArray = npt.NDArray[np.bool_]

_SMALLEST_TURN = np.radians(0.02)  # below this float32 rounding makes the turns
_LARGEST_TURN = np.radians(31.0)  # two turns of 45 degrees are two elbows, not chords
_EVEN = 0.03  # how far turns and chords of one arc may differ from each other
_SAME_PLANE = 0.985  # cosine of the angle between the axes of neighbouring turns
_NO_CORNER = np.radians(150.0)  # beyond this the tangents meet too far away to use


@dataclass(frozen=True, eq=False)
class Arcs:
    """Arcs of a tree: a of them.

    Parameters
    ----------
    first, last
        Segment after the first turn and segment after the last turn, shape (a,).
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
        For each segment of the tree, whether it is a chord of an arc, shape (e,).
    member
        For each segment, whether the turn before it belongs to an arc, shape (e,).
    uneven
        First segments of chains of small turns that are no arc, shape (u,).
    """

    first: IntArray
    last: IntArray
    angle: FloatArray
    radius: FloatArray
    misfit: FloatArray
    setback: FloatArray
    axis: FloatArray
    inner: BoolArray
    member: BoolArray
    uneven: IntArray


def find_arcs(
    tree: Tree,
    nodes: FloatArray,
    turn: FloatArray,
    axis: FloatArray,
    same_duct: BoolArray,
) -> Arcs:
    """Find chains of at least three small equal turns, and fit one radius to each.

    Parameters
    ----------
    tree
        The segments.
    nodes
        Node positions, m, shape (k, 3).
    turn
        Turn from the parent into each segment, rad, shape (e,).
    axis
        Unit vector about which that turn goes, shape (e, 3).
    same_duct
        Whether the segment goes on its parent alone and with the same section.

    Returns
    -------
    arcs
        The arcs found.

    Notes
    -----
    The two tangent lines are held, and the radius is that of the circle that touches
    both: tangent length / tan(angle / 2). Chords lie either inside the circle (the
    turns at both ends are half of the inner ones) or around it (all turns equal).
    """
    count = len(turn)
    small = same_duct & (turn > _SMALLEST_TURN) & (turn < _LARGEST_TURN)
    before = np.maximum(tree.parent, 0)
    pair = (small & small[before] & (tree.parent >= 0)).nonzero()[0]
    if len(pair) == 0:
        return _no_arcs(count)
    ahead = before[pair]
    ratio = turn[pair] / turn[ahead]
    dot = np.einsum("ij,ij->i", axis.take(pair, axis=0), axis.take(ahead, axis=0))
    follows = np.zeros(count, dtype=bool)
    follows[pair[(dot > _SAME_PLANE) & (ratio > 0.45) & (ratio < 2.2)]] = True
    if not follows.any():
        return _no_arcs(count)
    member = np.zeros(count, dtype=bool)
    head = heads(follows, tree.parent)
    rows = small.nonzero()[0]
    rows = rows[np.lexsort((rows, head[rows]))]
    begin = np.append(True, head[rows[1:]] != head[rows[:-1]]).nonzero()[0]
    size = np.diff(np.append(begin, len(rows)))
    long = size >= 3
    begin, size = begin[long], size[long]

    first = rows[begin]
    last = rows[begin + size - 1]
    angle = np.add.reduceat(np.append(turn[rows], 0.0), _bounds(begin, size))[::2]
    ends = turn[first], turn[last]
    step = (angle - ends[0] - ends[1]) / (size - 2)
    inside = _near(ends[0], step / 2) & _near(ends[1], step / 2)
    around = _near(ends[0], step) & _near(ends[1], step)
    arc_of = np.repeat(np.arange(len(begin)), size)
    place = np.arange(len(arc_of)) - np.repeat(np.cumsum(size) - size, size)
    chain = rows[np.repeat(begin, size) + place]
    at_end = (place == 0) | (place == size[arc_of] - 1)
    uneven_turn = ~at_end & ~_near(turn[chain], step[arc_of])
    # The last member's own segment is the tangent after the arc, not a chord.
    is_chord = place < size[arc_of] - 1
    chord = tree.length[chain]
    mean = np.bincount(arc_of[is_chord], chord[is_chord]) / (size - 1)
    spread = np.where(is_chord, np.abs(chord / mean[arc_of] - 1.0), 0.0)
    misfit = np.zeros(len(begin))
    np.maximum.at(misfit, arc_of, spread)
    even = np.bincount(arc_of, uneven_turn, minlength=len(begin)) == 0
    is_arc = even & (inside | around) & (misfit <= _EVEN)

    uneven = first[~is_arc & (size >= 4)]
    chosen = is_arc.nonzero()[0]
    kept = is_arc[arc_of]
    inner = np.zeros(count, dtype=bool)
    inner[chain[kept & is_chord]] = True
    member[chain[kept]] = True
    first, last, angle, step = first[chosen], last[chosen], angle[chosen], step[chosen]
    outside = ~inside[chosen]
    by_chord = mean[chosen] / np.where(
        outside, 2.0 * np.tan(step / 2), 2.0 * np.sin(step / 2)
    )
    by_tangent, difference = _tangent_radius(
        tree, nodes, first, last, angle, np.where(outside, step, 0.0)
    )
    radius = np.where(angle < _NO_CORNER, by_tangent, by_chord)
    whole = np.stack(
        [
            np.bincount(arc_of, axis[chain][:, xyz] * turn[chain], minlength=len(size))
            for xyz in range(3)
        ],
        axis=1,
    )[chosen]
    return Arcs(
        first,
        last,
        angle,
        radius,
        np.maximum(misfit[chosen], difference),
        np.where(outside, radius * np.tan(step / 2), 0.0),
        whole / np.linalg.norm(whole, axis=1)[:, None],
        inner,
        member,
        uneven,
    )


def _no_arcs(count: int) -> Arcs:
    none, real = np.empty(0, dtype=np.int64), np.empty(0)
    flat, nowhere = np.empty((0, 3)), np.zeros(count, dtype=bool)
    return Arcs(none, none, real, real, real, real, flat, nowhere, nowhere, none)


def _near(turn: FloatArray, wanted: FloatArray) -> BoolArray:
    near: BoolArray = np.abs(turn - wanted) <= _EVEN * wanted + np.radians(0.05)
    return near


def _bounds(begin: IntArray, size: IntArray) -> IntArray:
    return np.stack([begin, begin + size], axis=1).ravel()


def _tangent_radius(
    tree: Tree,
    nodes: FloatArray,
    first: IntArray,
    last: IntArray,
    angle: FloatArray,
    step: FloatArray,
) -> tuple[FloatArray, FloatArray]:
    """Radius of the circle that touches both tangents, and how far the sides differ."""
    into = tree.direction[tree.parent[first]]
    out = tree.direction[last]
    begin, end = nodes[tree.start[first]], nodes[tree.start[last]]
    # Corner on each line: closest approach of begin + s into and end - t out.
    apart = end - begin
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
