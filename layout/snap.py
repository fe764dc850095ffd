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
_MOST_NEIGHBOURS = 32  # beyond this the points crowd along the sweep: use a tree


def snap(points: FloatArray, tolerance: float) -> tuple[FloatArray, IntArray]:
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

    Examples
    --------
    >>> nodes, node = snap(np.array([[0.0, 0, 0], [1, 0, 0], [1, 0, 1e-4]]), 1e-3)
    >>> len(nodes), node.tolist()
    (2, [0, 1, 1])
    """
    count = len(points)
    first, second = _close_pairs(points, tolerance)
    if len(first) == 0:
        return points.copy(), np.arange(count)
    links = coo_array(
        (np.ones(len(first), dtype=np.int8), (first, second)), shape=(count, count)
    )
    total, label = connected_components(links, directed=False)
    node = label.astype(np.int64)
    size = np.bincount(node, minlength=total)
    # Relative to each node's first point, so that equal points give that very point.
    anchor = np.empty((total, 3))
    anchor[node[::-1]] = points[::-1]
    away = points - anchor[node]
    if not away.any():
        return anchor, node
    shift = np.stack(
        [np.bincount(node, away[:, axis], minlength=total) for axis in range(3)], axis=1
    )
    return anchor + shift / size[:, None], node


def _close_pairs(points: FloatArray, tolerance: float) -> tuple[IntArray, IntArray]:
    """Pairs of points within a tolerance, found by a sweep along a skew line."""
    along = points @ _SKEW
    order = np.argsort(along)
    along = along[order]
    swept = points[order]
    limit = tolerance * tolerance
    first: list[IntArray] = []
    second: list[IntArray] = []
    here = np.arange(len(points) - 1)
    for step in range(1, len(points)):
        here = here[here < len(points) - step]
        here = here[along[here + step] - along[here] <= tolerance]
        if len(here) == 0:
            break
        if step > _MOST_NEIGHBOURS:
            pairs = cKDTree(points).query_pairs(tolerance, output_type="ndarray")
            return pairs[:, 0].astype(np.int64), pairs[:, 1].astype(np.int64)
        apart = swept[here + step] - swept[here]
        near = here[np.einsum("ij,ij->i", apart, apart) <= limit]
        first.append(order[near])
        second.append(order[near + step])
    if not first:
        none = np.empty(0, dtype=np.int64)
        return none, none
    return np.concatenate(first), np.concatenate(second)
