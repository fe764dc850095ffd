"""Oriented boxes: which of them overlap, and how deep."""

from dataclasses import dataclass
from itertools import combinations

import numpy as np

from .sections import BoolArray, FloatArray, IntArray

_SQUARE = 1e-6  # share of a length within which a corner is where a box has it
_NO_AXIS = 1e-6  # edges that run side by side have no common normal


@dataclass(frozen=True, eq=False)
class Boxes:
    """Oriented boxes, n of them.

    Parameters
    ----------
    centre
        m, shape (n, 3).
    axes
        Unit vectors along the edges, as rows, shape (n, 3, 3).
    half
        Half of each edge, m, shape (n, 3); NaN where a body is no box.
    """

    centre: FloatArray
    axes: FloatArray
    half: FloatArray

    def take(self, rows: IntArray) -> "Boxes":
        """Some of the boxes."""
        return Boxes(self.centre[rows], self.axes[rows], self.half[rows])


def overlap_depth(one: Boxes, other: Boxes) -> FloatArray:
    """How far one box of each pair must move to be clear of the other.

    Parameters
    ----------
    one, other
        The boxes of n pairs.

    Returns
    -------
    depth
        m, shape (n,); zero or less where the boxes do not overlap, NaN where one of
        the two is no box.

    References
    ----------
    Separating axes of two oriented boxes: three of each and the nine products of
    their edges. Gottschalk, Lin, Manocha, OBBTree, SIGGRAPH 1996 (from memory).
    """
    between = (other.centre - one.centre)[:, :, None]
    cosine = one.axes @ other.axes.transpose(0, 2, 1)  # of edge i with edge k
    size = np.abs(cosine)
    at = (one.axes @ between)[:, :, 0]
    a, b = one.half, other.half
    far = np.abs((other.axes @ between)[:, :, 0])
    depth = np.minimum(
        (a + (size @ b[:, :, None])[:, :, 0] - np.abs(at)).min(axis=1),
        (b + (a[:, None] @ size)[:, 0] - far).min(axis=1),
    )
    # The edges' products matter only where no face parts the boxes.
    rows = np.flatnonzero(depth > 0.0)
    size, cosine, at, a, b = size[rows], cosine[rows], at[rows], a[rows], b[rows]
    deep = depth[rows]
    for i in range(3):
        i1, i2 = (i + 1) % 3, (i + 2) % 3
        for k in range(3):
            k1, k2 = (k + 1) % 3, (k + 2) % 3
            reach = a[:, i1] * size[:, i2, k] + a[:, i2] * size[:, i1, k]
            reach += b[:, k1] * size[:, i, k2] + b[:, k2] * size[:, i, k1]
            gap = np.abs(at[:, i2] * cosine[:, i1, k] - at[:, i1] * cosine[:, i2, k])
            sine = np.sqrt(np.maximum(1.0 - size[:, i, k] ** 2, 0.0))
            crossing = sine > _NO_AXIS
            sine[~crossing] = 1.0
            np.minimum(deep, (reach - gap) / sine, out=deep, where=crossing)
    depth[rows] = deep
    return np.asarray(depth)


def boxes_of(vertices: FloatArray, offsets: IntArray, closed: BoolArray) -> Boxes:
    """Boxes that bodies of eight corners are.

    Parameters
    ----------
    vertices
        Corners of all bodies one after the other, m, shape (k, 3).
    offsets
        Where each of n bodies begins, shape (n + 1,).
    closed
        Which of them enclose something, shape (n,).

    Returns
    -------
    boxes
        One for each body; `half` is NaN where the body is no box.
    """
    count = len(closed)
    centre, half = np.zeros((count, 3)), np.full((count, 3), np.nan)
    axes = np.broadcast_to(np.eye(3), (count, 3, 3)).copy()
    eight = np.flatnonzero((np.diff(offsets) == 8) & closed)
    corners = vertices[offsets[eight, None] + np.arange(8)]
    out = corners[:, 1:] - corners[:, :1]  # from the first corner to the others
    length = np.sqrt(np.einsum("nij,nij->ni", out, out))
    far = out[np.arange(len(eight)), np.argmax(length, axis=1)]
    dot = out @ out.transpose(0, 2, 1)
    square = np.abs(dot) < _SQUARE * length[:, :, None] * length[:, None]
    found = np.zeros(len(eight), dtype=bool)
    for i, j, k in combinations(range(7), 3):
        fits = square[:, i, j] & square[:, i, k] & square[:, j, k] & ~found
        rows = np.flatnonzero(fits)
        edges = out[rows][:, [i, j, k]]
        whole = np.abs(edges.sum(axis=1) - far[rows]).max(axis=1, initial=0.0)
        rows = rows[whole < _SQUARE * length[rows].max(axis=1, initial=0.0)]
        edges = out[rows][:, [i, j, k]]
        sides = length[rows][:, [i, j, k]]
        centre[eight[rows]] = corners[rows, 0] + far[rows] / 2
        half[eight[rows]] = sides / 2
        axes[eight[rows]] = edges / sides[:, :, None]
        found[rows] = True
    return Boxes(centre, axes, half)
