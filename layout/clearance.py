"""How far ducts stay from obstacles."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np

from .obstacles import Obstacle
from .sections import FloatArray, IntArray, Shape
from .solids import Solids

_ROUND_SIDES = 24
_NEVER_MORE = 1.0 - 1e-6  # so that single precision never overstates a bound
_FIRST_REACH = 100.0  # m: farther solids are of no interest to a duct


@dataclass(frozen=True, eq=False)
class Clearances:
    """Distances of pieces of duct from obstacles: c pairs, nearest first.

    Parameters
    ----------
    piece
        Piece of the solids, shape (c,).
    obstacle
        Number of the obstacle.
    distance
        m, between the outer surfaces; below zero where they overlap, by the smallest
        extent of the overlap.
    """

    piece: IntArray
    obstacle: IntArray
    distance: FloatArray

    @property
    def nearest(self) -> float | None:
        """Smallest distance, m; None where there is nothing to be near to."""
        return float(self.distance[0]) if len(self.distance) else None


def clearances(
    solids: Solids,
    obstacles: Sequence[Obstacle],
    *,
    insulation: float = 0.0,
    required: float = 0.0,
) -> Clearances:
    """Measure how far ducts stay from obstacles.

    Parameters
    ----------
    solids
        The ducts in their true shape.
    obstacles
        What to stay clear of.
    insulation
        Thickness of insulation around the ducts, m.
    required
        Distance to keep, m: every pair nearer than this is reported, and the nearest
        one in any case.

    Returns
    -------
    clearances
        For each piece and obstacle within reach, the distance of their surfaces.

    Notes
    -----
    Boxes around the pieces sort out what cannot be near; the distance itself is that
    of the convex hull of each stretch of duct from the solid (or from its convex hull
    where it is not closed). Round ducts are taken as prisms that hold the circle, so
    that their distance is never overstated: by less than 1 % of the radius.
    """
    hulls = _Hulls(solids, insulation)
    low, high = hulls.low, hulls.high
    # Distances of boxes, a row for each obstacle: no pair is nearer than its boxes.
    bound = np.empty((len(obstacles), len(low)), dtype=np.float32)
    for number, obstacle in enumerate(obstacles):
        near, far = obstacle.vertices.min(axis=0), obstacle.vertices.max(axis=0)
        apart = np.maximum(np.maximum(near - high, low - far), 0.0)
        bound[number] = np.sqrt(np.einsum("ij,ij->i", apart, apart)) * _NEVER_MORE
    body = cache(lambda number: _body(obstacles[number]))
    best = _FIRST_REACH
    nearest: dict[tuple[int, int], float] = {}
    for place in np.argsort(bound, axis=None, kind="stable").tolist():
        number, row = divmod(place, len(low))
        if bound[number, row] > max(best, required):
            break
        distance = _distance(hulls.hull(row), body(number), max(best, required) + 1e-6)
        best = min(best, distance)
        key = (int(hulls.piece[row]), number)
        if distance <= max(best, required):
            nearest[key] = min(distance, nearest.get(key, np.inf))
    ranked = sorted(
        (distance, *key)
        for key, distance in nearest.items()
        if distance <= max(best, required)
    )
    return Clearances(
        np.array([piece for _, piece, _ in ranked], dtype=np.int64),
        np.array([number for _, _, number in ranked], dtype=np.int64),
        np.array([distance for distance, _, _ in ranked]),
    )


class _Hulls:
    """Convex stretches of duct between two rings that follow each other."""

    def __init__(self, solids: Solids, insulation: float) -> None:
        tubes = solids.tubes
        last = np.zeros(len(tubes.centre), dtype=bool)
        last[tubes.offsets[1:] - 1] = True
        rows = np.flatnonzero(~last)
        angle = (np.arange(_ROUND_SIDES) + 0.5) * (2 * np.pi / _ROUND_SIDES)
        out = 1.0 / np.cos(np.pi / _ROUND_SIDES)  # the prism that holds the circle
        corner = np.resize(np.array([[1, 1], [-1, 1], [-1, -1], [1, -1]]), (24, 2))
        circle = np.stack([np.cos(angle), np.sin(angle)], axis=1) * out
        boxy = (tubes.shape != Shape.ROUND)[:, None, None]
        outline = np.where(boxy, corner, circle)  # an oval counts as its box
        half = np.stack([tubes.width, tubes.height], axis=1) / 2 + insulation
        flat = outline * half[:, None, :]
        ring = (
            tubes.centre[:, None]
            + flat[:, :, :1] * tubes.across[:, None]
            + flat[:, :, 1:] * tubes.upright[:, None]
        )
        self._points = np.concatenate([ring[rows], ring[rows + 1]], axis=1)
        self.piece = tubes.element[rows]
        self.low = self._points.min(axis=1)
        self.high = self._points.max(axis=1)
        self.hull = cache(self._hull)

    def _hull(self, row: int) -> Any:
        from manifold3d import Manifold

        return Manifold.hull_points(np.ascontiguousarray(self._points[row]))


def _body(obstacle: Obstacle) -> Any:
    from manifold3d import Manifold, Mesh

    if obstacle.is_closed:
        mesh = Mesh(
            obstacle.vertices.astype(np.float32), obstacle.faces.astype(np.uint32)
        )
        mesh.merge()
        body = Manifold(mesh)
        if not body.is_empty():
            return body
    return Manifold.hull_points(np.ascontiguousarray(obstacle.vertices))


def _distance(duct: Any, body: Any, reach: float) -> float:
    gap = float(duct.min_gap(body, reach))
    if gap > 0.0:
        return gap
    overlap = duct ^ body
    if overlap.is_empty() or overlap.volume() <= 1e-12:
        return 0.0
    box = np.array(overlap.bounding_box()).reshape(2, 3)
    return -float((box[1] - box[0]).min())
