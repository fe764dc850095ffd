"""An invented system of any size, for the benchmarks: riser, floors, branches."""

import numpy as np
import numpy.typing as npt

from elbowroom.layout import Attributes, Basis, Drawing, Shape

TAKEOFFS = 20  # on each floor
FLOOR = 1 + 3 * TAKEOFFS  # segments of a floor: riser piece, trunk pieces, branches
Array = npt.NDArray[np.float64]


def tree_drawing(segments: int) -> Drawing:
    """Draw a riser with floors of 61 segments each; every segment is its own run.

    A trunk runs along each floor and shrinks half-way; a round branch leaves each of
    its twenty takeoffs, goes to one side and drops to a terminal. No two spacings are
    alike, as in a building that people use. The order of the runs is shuffled.
    """
    floors = max(1, round(segments / FLOOR))
    random = np.random.default_rng(7)

    def between(low: float, high: float, *shape: int) -> Array:
        return np.asarray(random.uniform(low, high, shape))

    top = np.cumsum(between(3.2, 4.2, floors))[:, None]
    below = np.concatenate([[[0.0]], top[:-1]])
    ahead = np.cumsum(between(1.2, 2.4, floors, TAKEOFFS), axis=1)
    behind = np.concatenate([np.zeros((floors, 1)), ahead[:, :-1]], axis=1)
    even = np.arange(TAKEOFFS) % 2 == 0
    side = np.where(even, 1.0, -1.0) * between(2.0, 5.0, floors, TAKEOFFS)
    fall = between(0.4, 0.9, floors, TAKEOFFS)
    z, none = np.broadcast_arrays(top, ahead)[0], np.zeros_like(ahead)
    flat = np.zeros_like(top)
    pieces = np.concatenate(
        [
            _pairs(flat, flat, below, flat, flat, top),
            _pairs(behind, none, z, ahead, none, z),
            _pairs(ahead, none, z, ahead, side, z),
            _pairs(ahead, side, z, ahead, side, z - fall),
        ]
    )
    count = len(pieces)
    trunk = slice(floors, floors + floors * TAKEOFFS)
    shape = np.full(count, int(Shape.ROUND))
    width, height = np.full(count, 0.2), np.full(count, 0.2)
    shape[: trunk.stop] = Shape.RECTANGULAR
    width[:floors], height[:floors] = 1.2, 0.8
    halves = np.where(np.arange(TAKEOFFS) < TAKEOFFS // 2, 0.6, 0.4)
    width[trunk], height[trunk] = np.tile(halves, floors), 0.3
    flow = np.full(count, np.nan)
    flow[-floors * TAKEOFFS :] = 0.05
    order = random.permutation(count)
    return Drawing(
        file="benchmark tree",
        points=pieces[order].reshape(-1, 3),
        offsets=np.arange(count + 1) * 2,
        names=[f"run {index}" for index in order.tolist()],
        where=[""] * count,
        shape=shape[order],
        width=width[order],
        height=height[order],
        flow=flow[order],
        section_basis=np.full(count, int(Basis.DRAWN)),
        attributes={int(np.argmin(order)): Attributes(source=True)},
    )


def _pairs(*columns: Array) -> Array:
    """Segments between two points each, given by columns of coordinates."""
    flat = [column.ravel() for column in np.broadcast_arrays(*columns)]
    return np.stack(flat, axis=1).reshape(-1, 2, 3)
