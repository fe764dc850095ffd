"""Where segments meet without a common vertex: ends on a side, crossings, overlaps."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from .sections import FloatArray, IntArray

BoolArray = npt.NDArray[np.bool_]
_CELL_BITS = 20


@dataclass(frozen=True, eq=False)
class Meetings:
    """Pairs of segments that meet away from common nodes.

    Parameters
    ----------
    landing_node, landing_segment, landing_at
        Ends of runs that land on the inside of a segment: the node, the segment and
        the share of its length at which the node lies on it.
    crossing
        Pairs of segments that cross or touch without a common point, shape (c, 2).
    crossing_point
        Where they do, m, shape (c, 3).
    """

    landing_node: IntArray
    landing_segment: IntArray
    landing_at: FloatArray
    crossing: IntArray
    crossing_point: FloatArray


def meetings(
    nodes: FloatArray, ends: IntArray, is_run_end: BoolArray, tolerance: float
) -> Meetings:
    """Find where segments meet without a common node.

    Parameters
    ----------
    nodes
        Node positions, m, shape (k, 3).
    ends
        First and last node of each segment, shape (s, 2).
    is_run_end
        For each node, whether a run ends there, shape (k,). An end that lies on the
        side of a segment is a joint; an inner vertex that does is a crossing.
    tolerance
        Largest distance of two segments that meet, m.

    Returns
    -------
    meetings
        Landings and crossings.
    """
    start, stop = nodes[ends[:, 0]], nodes[ends[:, 1]]
    first, second = _candidates(start, stop, ends, tolerance)
    if len(first) == 0:
        return Meetings(
            *(np.empty(0, dtype=np.int64),) * 2,
            np.empty(0),
            np.empty((0, 2), dtype=np.int64),
            np.empty((0, 3)),
        )
    s, gap = _closest(start[first], stop[first], start[second], stop[second])
    meet = gap <= tolerance
    first, second = first[meet], second[meet]
    # Landings are asked from each end of each of the two segments: when they overlap,
    # more than one end lies on the other's inside.
    landing_node, landing_segment, landing_at = _landings(
        nodes, ends, is_run_end, first, second, tolerance
    )
    landed = np.isin(
        _pair_key(first, second, len(ends)),
        _pair_key(*_landing_pairs(landing_node, landing_segment, ends), len(ends)),
    )
    point = start[first] + s[meet, None] * (stop[first] - start[first])
    return Meetings(
        landing_node,
        landing_segment,
        landing_at,
        np.stack([first[~landed], second[~landed]], axis=1),
        point[~landed],
    )


def _landings(
    nodes: FloatArray,
    ends: IntArray,
    is_run_end: BoolArray,
    first: IntArray,
    second: IntArray,
    tolerance: float,
) -> tuple[IntArray, IntArray, FloatArray]:
    node = np.concatenate([ends[first].T.ravel(), ends[second].T.ravel()])
    segment = np.concatenate([second, second, first, first])
    keep = is_run_end[node]
    node, segment = node[keep], segment[keep]
    begin = nodes[ends[segment, 0]]
    along = nodes[ends[segment, 1]] - begin
    away = nodes[node] - begin
    length = np.linalg.norm(along, axis=1)
    at = np.einsum("ij,ij->i", away, along) / length**2
    off = np.linalg.norm(away - at[:, None] * along, axis=1)
    inside = (at * length > tolerance) & ((1.0 - at) * length > tolerance)
    found = inside & (off <= tolerance)
    node, segment, at = node[found], segment[found], at[found]
    _, unique = np.unique(segment * len(nodes) + node, return_index=True)
    return node[unique], segment[unique], at[unique]


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
    start: FloatArray, stop: FloatArray, ends: IntArray, tolerance: float
) -> tuple[IntArray, IntArray]:
    """Pairs of segments whose boxes touch and which share no node.

    A grid for each size of segment, each twice as wide as the one before: a segment
    is entered in the few cells of its own size that its box covers, and asks every
    coarser grid too.
    """
    begin, end = np.ascontiguousarray(start.T), np.ascontiguousarray(stop.T)
    low = np.minimum(begin, end) - tolerance
    high = np.maximum(begin, end) + tolerance
    size = (high - low).max(axis=0)
    level = np.ceil(np.log2(size)).astype(np.int64)
    level -= level.min()
    per_cell = 2.0 ** -np.ceil(np.log2(size.min()))
    origin = low.min(axis=1)[:, None]
    first_cell = ((low - origin) * per_cell).astype(np.int64)
    # In the order of space, so that what is near in the building is near in memory.
    order = np.argsort(_key(first_cell >> np.int64(level.max())))
    low, high, level = low[:, order], high[:, order], level[order]
    first_cell = first_cell[:, order]
    last_cell = ((high - origin) * per_cell).astype(np.int64)
    found: list[tuple[IntArray, IntArray]] = []
    for shift in np.flatnonzero(np.bincount(level)).tolist():
        own = np.flatnonzero(level == shift)
        key, owner = _cells(
            first_cell[:, own] >> shift, last_cell[:, own] >> shift, own
        )
        sort = np.argsort(key, kind="stable")
        key, owner = key[sort], owner[sort]
        found.append(_same_cell(key, owner))
        guests = np.flatnonzero(level < shift)
        if len(guests):
            asked, guest = _cells(
                first_cell[:, guests] >> shift, last_cell[:, guests] >> shift, guests
            )
            found.append(_match(asked, guest, key, owner))
    first = np.concatenate([pair[0] for pair in found])
    second = np.concatenate([pair[1] for pair in found])
    for axis in range(3):
        near, far = low[axis], high[axis]
        touch = (near[first] <= far[second]) & (near[second] <= far[first])
        first, second = first[touch], second[touch]
    first, second = order[first], order[second]
    one, two = ends[:, 0], ends[:, 1]
    a, b, c, d = one[first], two[first], one[second], two[second]
    apart = (a != c) & (a != d) & (b != c) & (b != d)
    first, second = first[apart], second[apart]
    _, unique = np.unique(_pair_key(first, second, len(ends)), return_index=True)
    return first[unique], second[unique]


def _key(cell: IntArray) -> IntArray:
    """One number for each cell; cells far apart that share one cost a comparison."""
    return np.asarray(cell[0] + (cell[1] << _CELL_BITS) + (cell[2] << 2 * _CELL_BITS))


def _cells(
    first: IntArray, last: IntArray, owner: IntArray
) -> tuple[IntArray, IntArray]:
    """Key of every cell that each box covers, with the box's owner.

    A box is no larger than a cell, so it covers one or two cells along each axis.
    """
    key = _key(first)
    keys, owners = [key], [owner]
    span = last - first
    covers = span[0] + (span[1] << 1) + (span[2] << 2)
    for corner in range(1, 8):
        reach = np.flatnonzero((covers & corner) == corner)
        if len(reach):
            step = np.array([[corner & 1], [corner >> 1 & 1], [corner >> 2 & 1]])
            keys.append(key[reach] + _key(step))
            owners.append(owner[reach])
    return np.concatenate(keys), np.concatenate(owners)


def _same_cell(key: IntArray, owner: IntArray) -> tuple[IntArray, IntArray]:
    """Pairs within runs of equal keys; the keys are sorted."""
    first: list[IntArray] = []
    second: list[IntArray] = []
    here = np.arange(len(key))
    for step in range(1, len(key)):
        here = here[: np.searchsorted(here, len(key) - step)]
        here = here[key[here] == key[here + step]]
        if len(here) == 0:
            break
        first.append(owner[here])
        second.append(owner[here + step])
    if not first:
        none = np.empty(0, dtype=np.int64)
        return none, none
    return np.concatenate(first), np.concatenate(second)


def _match(
    key: IntArray, guest: IntArray, own_key: IntArray, own_id: IntArray
) -> tuple[IntArray, IntArray]:
    """Pairs of guests and owners with the same key; the owners' keys are sorted."""
    begins = np.flatnonzero(np.append(True, own_key[1:] != own_key[:-1]))
    size = np.diff(np.append(begins, len(own_key)))
    cell = own_key[begins]
    place = np.minimum(np.searchsorted(cell, key), len(cell) - 1)
    met = np.flatnonzero(cell[place] == key)
    low, count = begins[place[met]], size[place[met]]
    inner = np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count)
    return np.repeat(guest[met], count), own_id[np.repeat(low, count) + inner]


def _closest(
    p: FloatArray, p2: FloatArray, q: FloatArray, q2: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Share along the first of two segments of its closest point, and the distance.

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
