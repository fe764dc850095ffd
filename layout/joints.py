"""Where segments meet without a common vertex: ends on a side, crossings, overlaps."""

from dataclasses import dataclass

import numpy as np

from .sections import BoolArray, FloatArray, IntArray
from .touching import joined, neighbours, touch

_ALONG = 1.0 - 5e-5  # cosine of 0.57 degrees: an arc's first chord turns by more
_MANY = 10  # pairs for each segment: so many come more than once


@dataclass(frozen=True, eq=False)
class Meetings:
    """Pairs of segments that meet away from common nodes.

    Parameters
    ----------
    landing_node, landing_segment, landing_at
        Ends of runs that land on the inside of a segment: the node, the segment and
        the share of its length at which the node lies on it, or beside it.
    landing_off
        How far off it lies, m, shape (l,).
    crossing
        Pairs of segments that cross or touch without a common point, shape (c, 2).
    crossing_point
        Where they do, m, shape (c, 3).
    """

    landing_node: IntArray
    landing_segment: IntArray
    landing_at: FloatArray
    landing_off: FloatArray
    crossing: IntArray
    crossing_point: FloatArray


def meetings(
    nodes: FloatArray,
    ends: IntArray,
    run: IntArray,
    is_run_end: BoolArray,
    tolerance: float,
) -> Meetings:
    """Find where segments meet without a common node, or lie on each other.

    Parameters
    ----------
    nodes
        Node positions, m, shape (k, 3).
    ends, run
        First and last node of each segment, shape (s, 2), and its run, shape (s,).
    is_run_end
        For each node, whether a run ends there, shape (k,). An end that lies on the
        side of a segment is a joint; an inner vertex that does is a crossing, unless
        its own segment runs along the other.
    tolerance
        Largest distance of two segments that meet, m.

    Returns
    -------
    meetings
        Landings and crossings.
    """
    first, second, beside = _candidates(nodes, ends, run, tolerance)
    if len(first) == 0 and beside.size == 0:
        return Meetings(
            *(np.empty(0, dtype=np.int64),) * 2,
            np.empty(0),
            np.empty(0),
            np.empty((0, 2), dtype=np.int64),
            np.empty((0, 3)),
        )
    start, stop = nodes[ends[:, 0]], nodes[ends[:, 1]]
    s, gap = closest(start[first], stop[first], start[second], stop[second])
    meet = gap <= tolerance
    first, second = first[meet], second[meet]
    node, segment, at, off = _landings(
        nodes, ends, is_run_end, first, second, beside, tolerance
    )
    landed = np.isin(
        _pair_key(first, second, len(ends)),
        _pair_key(*_landing_pairs(node, segment, ends), len(ends)),
    )
    point = start[first] + s[meet, None] * (stop[first] - start[first])
    return Meetings(
        node,
        segment,
        at,
        off,
        np.stack([first[~landed], second[~landed]], axis=1),
        point[~landed],
    )


def _landings(
    nodes: FloatArray,
    ends: IntArray,
    is_run_end: BoolArray,
    first: IntArray,
    second: IntArray,
    beside: IntArray,
    tolerance: float,
) -> tuple[IntArray, IntArray, FloatArray, FloatArray]:
    """Nodes on the inside of segments, of pairs that are near or lie `beside`.

    The node, the segment, the share of its length, and how far off.
    """
    # Landings are asked from each end of each of the two segments: when they overlap,
    # more than one end lies on the other's inside.
    owner = np.concatenate([first, beside[0], second, beside[1]] * 2)
    segment = np.concatenate([second, beside[1], first, beside[0]] * 2)
    one, two = ends.T
    half = len(owner) // 2
    node = np.concatenate([one.take(owner[:half]), two.take(owner[half:])])
    inner = (node != one.take(segment)) & (node != two.take(segment))
    owner, segment, node = owner[inner], segment[inner], node[inner]
    begin = nodes[one]
    way = nodes[two] - begin
    length = np.sqrt(np.einsum("ij,ij->i", way, way))
    along, far = way.take(segment, 0), length.take(segment)
    away = nodes.take(node, 0) - begin.take(segment, 0)
    at = np.einsum("ij,ij->i", away, along) / far**2
    away -= at[:, None] * along
    off = np.einsum("ij,ij->i", away, away)
    found = (at * far > tolerance) & ((1.0 - at) * far > tolerance)
    found &= off <= tolerance**2
    inner = (found & ~is_run_end.take(node)).nonzero()[0]
    if len(inner):
        cosine = np.einsum("ij,ij->i", way[owner[inner]], along[inner])
        cosine /= length[owner[inner]] * far[inner]
        found[inner] = np.abs(cosine) > _ALONG
    rows = found.nonzero()[0]
    key = segment[rows] * len(nodes) + node[rows]
    rows = rows[np.unique(key, return_index=True)[1]]
    return node[rows], segment[rows], at[rows], np.sqrt(off[rows])


def _landing_pairs(
    node: IntArray, segment: IntArray, ends: IntArray
) -> tuple[IntArray, IntArray]:
    """Every segment that ends at a landing node, paired with the one it lands on."""
    owner = np.repeat(np.arange(len(ends)), 2)
    flat = ends.ravel()
    order = np.argsort(flat, kind="stable")
    low = np.searchsorted(flat[order], node, "left")
    high = np.searchsorted(flat[order], node, "right")
    count = high - low
    inner = np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count)
    return owner[order[np.repeat(low, count) + inner]], np.repeat(segment, count)


def _pair_key(first: IntArray, second: IntArray, count: int) -> IntArray:
    return np.minimum(first, second) * count + np.maximum(first, second)


def _candidates(
    nodes: FloatArray, ends: IntArray, run: IntArray, tolerance: float
) -> tuple[IntArray, IntArray, IntArray]:
    """Pairs of segments whose boxes touch and which share no node.

    And those of two runs that share one, shape (2, p).
    """
    one, two = np.ascontiguousarray(ends.T)
    low, high = _boxes(nodes, one, two, tolerance)
    pairs, joints = [], []
    for first, second in neighbours(low, high):
        a, b = one.take(first), two.take(first)
        c, d = one.take(second), two.take(second)
        apart = (a != c) & (a != d) & (b != c) & (b != d)
        far = apart.nonzero()[0]
        pairs.append(touch(low, high, first.take(far), second.take(far)))
        near = ((run.take(first) != run.take(second)) > apart).nonzero()[0]
        joints.append((first.take(near), second.take(near)))
    first, second = joined(pairs)
    beside = _alongside(nodes, one, two, *joined(joints))
    if len(first) > 0:
        # The one drawn first comes first, whatever the order in which they were found.
        first, second = _once(first, second, len(ends))
    return first, second, beside


def _once(first: IntArray, second: IntArray, count: int) -> tuple[IntArray, IntArray]:
    """Pairs without those that come again, of `count` segments; one or more."""
    key = _pair_key(first, second, count)
    key.sort()
    first, second = np.divmod(key[np.append(True, key[1:] != key[:-1])], count)
    return first, second


def _alongside(
    nodes: FloatArray, one: IntArray, two: IntArray, first: IntArray, second: IntArray
) -> IntArray:
    """Those pairs of segments that share a node and run along each other from it."""
    if len(first) == 0:
        return np.empty((2, 0), dtype=np.int64)
    if len(first) > _MANY * len(one):  # lines that share a stretch meet in every cell
        first, second = _once(first, second, len(one))
    way = nodes.take(two, 0) - nodes.take(one, 0)
    way /= np.sqrt(np.einsum("ij,ij->i", way, way))[:, None]
    cosine = np.einsum("ij,ij->i", way.take(first, 0), way.take(second, 0))
    near = (np.abs(cosine) > _ALONG).nonzero()[0]
    first, second, cosine = first[near], second[near], cosine[near]
    forks = (one[first] == one[second]) | (two[first] == two[second])
    return np.stack([first, second])[:, forks == (cosine > 0.0)]


def _boxes(
    nodes: FloatArray, one: IntArray, two: IntArray, tolerance: float
) -> tuple[FloatArray, FloatArray]:
    """Lowest and highest corner of each segment, wider by a tolerance, (3, s)."""
    across = np.ascontiguousarray(nodes.T)
    begin, end = across.take(one, axis=1), across.take(two, axis=1)
    return np.minimum(begin, end) - tolerance, np.maximum(begin, end) + tolerance


def closest(
    p: FloatArray, p2: FloatArray, q: FloatArray, q2: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Share along the first of two segments of its closest point, and the distance.

    Parameters
    ----------
    p, p2, q, q2
        Ends of the first segments and of the second ones, m, shape (n, 3).

    References
    ----------
    Ericson, Real-Time Collision Detection, 2005, section 5.1.9 (from memory).
    """
    d1, d2, r = p2 - p, q2 - q, p - q
    a = np.einsum("ij,ij->i", d1, d1)
    e = np.einsum("ij,ij->i", d2, d2)
    b = np.einsum("ij,ij->i", d1, d2)
    c = np.einsum("ij,ij->i", d1, r)
    f = np.einsum("ij,ij->i", d2, r)
    denominator = a * e - b * b
    skew = denominator > 1e-12 * a * e
    s = np.where(skew, (b * f - c * e) / np.where(skew, denominator, 1.0), 0.0)
    s = s.clip(0.0, 1.0)
    t = ((b * s + f) / e).clip(0.0, 1.0)
    s = ((b * t - c) / a).clip(0.0, 1.0)
    gap = r + s[:, None] * d1 - t[:, None] * d2
    return s, np.linalg.norm(gap, axis=1)
