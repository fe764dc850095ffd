"""Tubes as one mesh: every duct and fitting in its true section."""

from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from elbowroom.layout import IntArray, Shape, Tubes

# Points around a tube that is not rectangular throughout: a multiple of 8, so that the
# corners of a rectangle are among them.
ROUND_SIDES = 24
_CHUNK = 1 << 10  # rings at a time, so that their outlines stay in cache
_FAR = 1000.0  # m from the origin: single precision holds 0.06 mm there
_Points: TypeAlias = "npt.NDArray[np.float32] | npt.NDArray[np.float64]"


@dataclass(frozen=True, eq=False)
class Mesh:
    """One surface of quadrilaterals: p points, c cells.

    Parameters
    ----------
    points
        m, shape (p, 3); in single precision unless a building stands far from the
        origin, as on a map.
    quads
        Points of each cell, seen anticlockwise from outside, shape (c, 4).
    element
        Piece that each cell belongs to, shape (c,).
    """

    points: _Points
    quads: npt.NDArray[np.int32]
    element: IntArray

    @property
    def vtk_faces(self) -> IntArray:
        """Cells in VTK's form: each with its number of points before it, flat."""
        faces = np.empty((len(self.quads), 5), dtype=np.int64)
        faces[:, 0] = 4
        faces[:, 1:] = self.quads
        return faces.ravel()


def sweep(tubes: Tubes) -> Mesh:
    """Make one mesh of all tubes.

    Parameters
    ----------
    tubes
        Rings along tubes.

    Returns
    -------
    mesh
        Rectangular tubes have four points a ring; where the shape changes along a
        tube, points go to points at the same angle. Tubes are open at their ends.
    """
    ring = np.arange(len(tubes.centre))
    tube = np.repeat(np.arange(len(tubes.offsets) - 1), np.diff(tubes.offsets))
    other = np.bincount(
        tube, tubes.shape != Shape.RECTANGULAR, minlength=len(tubes.offsets) - 1
    )
    boxy = other[tube] == 0
    goes_on = np.append(tube[1:] == tube[:-1], False) if len(ring) else boxy
    groups = [
        (rows, sides)
        for rows, sides in ((ring[boxy], 4), (ring[~boxy], ROUND_SIDES))
        if len(rows)
    ]
    # Written where they belong at once: these arrays are too large to be copied.
    cells = [int(goes_on[rows].sum()) * sides for rows, sides in groups]
    centre = tubes.centre
    is_far = max(centre.max(initial=0.0), -centre.min(initial=0.0)) > _FAR
    total = sum(len(rows) * sides for rows, sides in groups)
    points: _Points = np.empty((total, 3), np.float32)
    if is_far:
        points = np.empty((total, 3), np.float64)
    quads = np.empty((sum(cells), 4), dtype=np.int32)
    element = np.empty(sum(cells), dtype=np.int64)
    point = cell = 0
    for (rows, sides), count in zip(groups, cells, strict=True):
        out = points[point : point + len(rows) * sides].reshape(-1, sides, 3)
        for begin in range(0, len(rows), _CHUNK):
            part = slice(begin, begin + _CHUNK)
            _rings(tubes, rows[part], out[part])
        here = slice(cell, cell + count)
        first = np.flatnonzero(goes_on[rows])
        _quads(first * sides + point, quads[here].reshape(-1, sides, 4))
        element[here].reshape(-1, sides)[:] = tubes.element[rows[first], None]
        point, cell = point + len(rows) * sides, cell + count
    return Mesh(points, quads, element)


def _rings(tubes: Tubes, rows: IntArray, out: _Points) -> None:
    """Points of rings into `out`, shape (rings, sides, 3)."""
    sides = out.shape[1]
    half_w = (tubes.width[rows] / 2).astype(np.float32)[:, None]
    half_h = (tubes.height[rows] / 2).astype(np.float32)[:, None]
    if sides == 4:
        x = half_w * np.array([1, -1, -1, 1], dtype=np.float32)
        y = half_h * np.array([1, 1, -1, -1], dtype=np.float32)
    else:
        x, y = _outline(tubes.shape[rows], half_w, half_h, sides)
    centre = tubes.centre.take(rows, axis=0).astype(out.dtype)
    across = tubes.across.take(rows, axis=0).astype(np.float32)
    upright = tubes.upright.take(rows, axis=0).astype(np.float32)
    for axis in range(3):
        place = x * across[:, axis, None]
        place += y * upright[:, axis, None]
        np.add(place, centre[:, axis, None], out=out[:, :, axis])


def _outline(
    shape: IntArray,
    half_w: npt.NDArray[np.float32],
    half_h: npt.NDArray[np.float32],
    sides: int,
) -> tuple[npt.NDArray[np.float32], npt.NDArray[np.float32]]:
    """Outline of each section at the same angles: circle, rectangle or flat oval."""
    angle = np.arange(sides) * (2 * np.pi / sides)
    cos, sin = np.cos(angle).astype(np.float32), np.sin(angle).astype(np.float32)
    x, y = half_w * cos, half_h * sin
    boxy = np.flatnonzero(shape == Shape.RECTANGULAR)
    if len(boxy):
        to_square = 1.0 / np.maximum(np.abs(cos), np.abs(sin))
        x[boxy] = half_w[boxy] * (cos * to_square)
        y[boxy] = half_h[boxy] * (sin * to_square)
    oval = np.flatnonzero(shape == Shape.OVAL)
    if len(oval):
        w, h = half_w[oval], half_h[oval]
        radius = np.minimum(w, h)
        x[oval] = radius * cos + np.sign(cos.round(6)) * (w - radius)
        y[oval] = radius * sin + np.sign(sin.round(6)) * (h - radius)
    return x, y


def _quads(base: IntArray, out: npt.NDArray[np.int32]) -> None:
    """Cells from rings to the next ones into `out`, shape (rings, sides, 4).

    `base` is the first point of each of those rings.
    """
    sides = out.shape[1]
    side = np.arange(sides, dtype=np.int32)
    after = np.roll(side, -1)
    corners = np.stack([side, after, after + sides, side + sides], axis=1)
    np.add(base.astype(np.int32)[:, None, None], corners, out=out)
