"""Tubes as one mesh: every duct and fitting in its true section."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from elbowroom.layout import IntArray, Shape, Tubes

ROUND_SIDES = 24  # a multiple of 8, so that the corners of a rectangle are among them


@dataclass(frozen=True, eq=False)
class Mesh:
    """One surface of quadrilaterals: p points, c cells.

    Parameters
    ----------
    points
        m, shape (p, 3).
    quads
        Points of each cell, seen anticlockwise from outside, shape (c, 4).
    element
        Piece that each cell belongs to, shape (c,).
    """

    points: npt.NDArray[np.float32]
    quads: npt.NDArray[np.int32]
    element: IntArray

    @property
    def vtk_faces(self) -> IntArray:
        """Cells in VTK's form: each with its number of points before it, flat."""
        faces = np.empty((len(self.quads), 5), dtype=np.int64)
        faces[:, 0] = 4
        faces[:, 1:] = self.quads
        return faces.ravel()


def sweep(tubes: Tubes, *, round_sides: int = ROUND_SIDES) -> Mesh:
    """Make one mesh of all tubes.

    Parameters
    ----------
    tubes
        Rings along tubes.
    round_sides
        Points around a tube that is not rectangular throughout, a multiple of 8.

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
    parts = []
    begin = 0
    for rows, sides in ((ring[boxy], 4), (ring[~boxy], round_sides)):
        if len(rows) == 0:
            continue
        points = _rings(tubes, rows, sides)
        parts.append((points, *_quads(rows, goes_on, sides, begin), tubes.element))
        begin += len(points)
    if not parts:
        none = np.zeros((0, 4), dtype=np.int32)
        return Mesh(np.zeros((0, 3), np.float32), none, np.zeros(0, dtype=np.int64))
    return Mesh(
        np.concatenate([part[0] for part in parts]),
        np.concatenate([part[1] for part in parts]),
        np.concatenate([part[3][part[2]] for part in parts]),
    )


def _rings(tubes: Tubes, rows: IntArray, sides: int) -> npt.NDArray[np.float32]:
    half_w = (tubes.width[rows] / 2).astype(np.float32)[:, None]
    half_h = (tubes.height[rows] / 2).astype(np.float32)[:, None]
    if sides == 4:
        x = half_w * np.array([1, -1, -1, 1], dtype=np.float32)
        y = half_h * np.array([1, 1, -1, -1], dtype=np.float32)
    else:
        x, y = _outline(tubes.shape[rows], half_w, half_h, sides)
    centre = tubes.centre[rows].astype(np.float32)
    across = tubes.across[rows].astype(np.float32)
    upright = tubes.upright[rows].astype(np.float32)
    out = np.empty((len(rows), sides, 3), dtype=np.float32)
    for axis in range(3):
        np.multiply(x, across[:, axis, None], out=out[:, :, axis])
        out[:, :, axis] += y * upright[:, axis, None]
        out[:, :, axis] += centre[:, axis, None]
    return out.reshape(-1, 3)


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
    if (shape == Shape.ROUND).all():
        return x, y
    to_square = 1.0 / np.maximum(np.abs(cos), np.abs(sin))
    boxy = (shape == Shape.RECTANGULAR)[:, None]
    oval = (shape == Shape.OVAL)[:, None]
    radius = np.minimum(half_w, half_h)
    x = np.where(boxy, half_w * (cos * to_square), x)
    y = np.where(boxy, half_h * (sin * to_square), y)
    x = np.where(oval, radius * cos + np.sign(cos.round(6)) * (half_w - radius), x)
    y = np.where(oval, radius * sin + np.sign(sin.round(6)) * (half_h - radius), y)
    return x, y


def _quads(
    rows: IntArray, goes_on: npt.NDArray[np.bool_], sides: int, begin: int
) -> tuple[npt.NDArray[np.int32], IntArray]:
    """Cells between rings that follow each other, and the ring that each begins at."""
    first = np.flatnonzero(goes_on[rows])
    base = (first * sides + begin).astype(np.int32)[:, None]
    side = np.arange(sides, dtype=np.int32)
    after = np.roll(side, -1)
    quads = np.empty((len(first), sides, 4), dtype=np.int32)
    np.add(base, side, out=quads[:, :, 0])
    np.add(base, after, out=quads[:, :, 1])
    np.add(base, after + sides, out=quads[:, :, 2])
    np.add(base, side + sides, out=quads[:, :, 3])
    return quads.reshape(-1, 4), np.repeat(rows[first], sides)
