"""An invented system of any size, for the benchmarks: riser, floors, branches."""

import numpy as np

from elbowroom.layout import Attributes, Basis, Drawing, Shape

FLOOR = (
    61  # segments of a floor: its riser piece, 20 trunk pieces, 20 two-piece branches
)


def tree_drawing(segments: int) -> Drawing:
    """Draw a riser with floors of 61 segments each; every segment is its own run.

    A trunk runs along each floor and shrinks half-way; a round branch leaves each of
    its twenty takeoffs, goes three metres to one side and drops to a terminal.
    """
    floors = max(1, round(segments / FLOOR))
    level = np.arange(floors)[:, None] * 3.5
    step = np.arange(20)[None, :]
    z = level + 0 * step
    x0, x1 = step * 1.5 + 0 * level, (step + 1) * 1.5 + 0 * level
    side = np.where(step % 2 == 0, 3.0, -3.0) + 0 * level
    zero = np.zeros_like(z)
    trunk = _pairs(x0, zero, z, x1, zero, z)
    branch = _pairs(x1, zero, z, x1, side, z)
    drop = _pairs(x1, side, z, x1, side, z - 0.6)
    below = np.maximum(level - 3.5, -3.5)
    flat = np.zeros_like(level)
    riser = _pairs(flat, flat, below, flat, flat, level)
    points = np.concatenate([riser, trunk, branch, drop])
    count = len(points)
    parts = np.cumsum([0, floors, 20 * floors, 20 * floors, 20 * floors])
    shape = np.full(count, int(Shape.ROUND))
    width = np.full(count, 0.2)
    height = np.full(count, 0.2)
    shape[: parts[2]] = Shape.RECTANGULAR
    width[: parts[1]], height[: parts[1]] = 1.2, 0.8
    width[parts[1] : parts[2]] = np.where(step < 10, 0.6, 0.4).repeat(floors, 0).ravel()
    height[parts[1] : parts[2]] = 0.3
    flow = np.full(count, np.nan)
    flow[parts[3] :] = 0.05
    return Drawing(
        file="benchmark tree",
        points=points.reshape(-1, 3),
        offsets=np.arange(count + 1) * 2,
        names=[f"run {index}" for index in range(count)],
        where=[""] * count,
        shape=shape,
        width=width,
        height=height,
        flow=flow,
        section_basis=np.full(count, int(Basis.DRAWN)),
        attributes={0: Attributes(source=True)},
    )


def _pairs(*columns: np.ndarray) -> np.ndarray:
    flat = [column.ravel() for column in np.broadcast_arrays(*columns)]
    return np.stack(flat, axis=1).reshape(-1, 2, 3)
