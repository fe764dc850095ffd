"""Joining by position: which vertices of a drawing are one point."""

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from .sections import FloatArray, IntArray

# 1 mm: wider than the rounding of float32 files within 8 km of the origin, and
# narrower than any gap that is meant.
TOLERANCE = 1e-3

# A direction along which few points of a building share a coordinate.
_SKEW = np.array([0.6180339887, 0.5436890127, 0.5682409113])
_SKEW /= np.linalg.norm(_SKEW)
_MOST_PAIRS = 32  # for a point: beyond this they crowd along the sweep, use a tree


def snap(points: FloatArray, tolerance: float) -> tuple[FloatArray, IntArray, bool]:
    """Join the points that lie within a tolerance of each other.

    Parameters
    ----------
    points
        Points, m, shape (n, 3).
    tolerance
        Largest distance of two points that are one, m. Joining is transitive.

    Returns
    -------
    nodes
        Mean of the points of each node, m, shape (k, 3).
    node
        Node of each point, shape (n,).
    moved
        Whether points were joined that are not in exactly the same place.

    Examples
    --------
    >>> points = np.array([[0.0, 0, 0], [1, 0, 0], [1, 0, 1e-4]])
    >>> nodes, node, moved = snap(points, 1e-3)
    >>> len(nodes), node.tolist(), moved
    (2, [0, 1, 1], True)
    """
    count = len(points)
    index = np.arange(count)
    label, moved = _labels(points, tolerance)
    # A node stands where its first point does among the points.
    leader = np.empty(count, dtype=np.int64)
    leader[label[::-1]] = index[::-1]
    leader = leader.take(label)
    leads = leader == index
    node = (leads.cumsum() - 1).take(leader)
    anchor = points.take(leads.nonzero()[0], axis=0)
    if not moved:
        return anchor, node, False
    # Relative to each node's first point, so that equal points give that very point.
    away = points - anchor.take(node, axis=0)
    total = len(anchor)
    shift = np.stack(
        [np.bincount(node, away[:, axis], minlength=total) for axis in range(3)], axis=1
    )
    return anchor + shift / np.bincount(node, minlength=total)[:, None], node, True


def _labels(points: FloatArray, tolerance: float) -> tuple[IntArray, bool]:
    """A number below n for each point, the same for the points of one node.

    And whether the points of any node are apart.
    Found by a sweep along a skew line, in which the points of a node are neighbours.
    """
    count = len(points)
    # Not by `@`, whose threads would go on spinning beside what follows.
    along = np.einsum("ij,j->i", points, _SKEW)
    order = along.argsort()
    along, swept = along.take(order), points.take(order, axis=0)
    beside = along[1:] - along[:-1] <= tolerance
    square = _square(swept[1:] - swept[:-1])
    joined = beside & (square <= tolerance * tolerance)
    moved = bool((square[joined] > 0.0).any())
    # Hardly ever does another node lie between the points of one on the line, so these
    # chains are the nodes already but for a few links, across breaks between them.
    chain = np.zeros(count, dtype=np.int64)
    (~joined).cumsum(out=chain[1:])
    breaks = (beside > joined).nonzero()[0]
    if len(breaks):
        begin = along.searchsorted(along.take(breaks + 1) - tolerance)
        end = along.searchsorted(along.take(breaks) + tolerance, "right")
        behind, ahead = breaks + 1 - begin, end - breaks - 1
        if (behind * ahead).sum() > _MOST_PAIRS * count:
            pairs = cKDTree(points).query_pairs(tolerance, output_type="ndarray")
            return _merged(np.arange(count), pairs.T), True
        here = np.arange(len(breaks)).repeat(behind * ahead)
        pair = np.arange(len(here)) - ((behind * ahead).cumsum() - behind * ahead)[here]
        one = begin[here] + pair // ahead[here]
        two = breaks[here] + 1 + pair % ahead[here]
        square = _square(swept.take(two, axis=0) - swept.take(one, axis=0))
        near = square <= tolerance * tolerance
        if near.any():
            moved = moved or bool((square[near] > 0.0).any())
            chain = _merged(chain, np.stack([chain[one[near]], chain[two[near]]]))
    label = np.empty(count, dtype=np.int64)
    label[order] = chain
    return label, moved


def _square(apart: FloatArray) -> FloatArray:
    """Square of the length of each difference of two points."""
    square: FloatArray = np.einsum("ij,ij->i", apart, apart)
    return square


def _merged(label: IntArray, links: IntArray) -> IntArray:
    """Labels, with those that hang together by links, shape (2, l), made one."""
    linked, place = np.unique(links, return_inverse=True)
    ones = np.ones(links.shape[1], dtype=np.int8)
    graph = coo_array((ones, place.reshape(2, -1)), shape=(len(linked),) * 2)
    total, part = connected_components(graph, directed=False)
    one_of = np.empty(total, dtype=np.int64)
    one_of[part] = linked
    name = np.arange(len(label))
    name[linked] = one_of[part]
    return name[label]
