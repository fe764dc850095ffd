"""Arguments of a table, made ready to be looked up on whole arrays."""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from elbowroom.layout import BoolArray, FloatArray, IntArray

_MOST_BINS = 1 << 14
_FEW = 1 << 10  # arguments, for which a search takes less time than bins
# Of its size, what a ratio or an angle may be off by rounding: GLB is single precision.
ROUNDING = 1e-5


@dataclass(frozen=True, slots=True, eq=False)
class Axis:
    """Rising arguments of a table, made ready to be looked up.

    Parameters
    ----------
    first, last
        Its ends.
    log
        Whether shares are on the logarithm.
    nodes
        Arguments, or their logarithms, shape (k,).
    above, inverse
        Of each interval: its upper node, infinite for the last, and one over its
        width, shape (k - 1,).
    bins
        Interval at the lower edge of each of many equal bins, none of which holds
        more than one node: faster on whole arrays than a search. Empty where the
        nodes are too uneven for that.
    scale
        Bins per unit.
    """

    first: float
    last: float
    log: bool
    nodes: FloatArray
    above: FloatArray
    inverse: FloatArray
    bins: IntArray
    scale: float

    def locate(self, x: FloatArray) -> tuple[IntArray, FloatArray, BoolArray]:
        """Interval, share of the way through it, and whether x was off the ends.

        Off by more than `ROUNDING`, as no turn of a plan may change what is said.
        """
        inside = np.maximum(x, self.first, out=np.empty(x.shape))
        np.minimum(inside, self.last, out=inside)
        outside = np.asarray(inside != x)
        if outside.any():
            outside &= ~(np.abs(inside - x) <= ROUNDING * np.abs(inside))
        if self.log:
            np.log(inside, out=inside)
        if len(self.bins) and x.size > _FEW:
            # NaN goes to the first bin; its share, and so its value, stays NaN.
            binned = np.fmax(inside - self.nodes[0], 0.0) * self.scale
            low = self.bins.take(binned.astype(np.int64), mode="clip")
            low += inside >= self.above.take(low)
        else:
            low = self.above.searchsorted(inside, side="right")
            low = np.minimum(low, len(self.above) - 1)
        inside -= self.nodes.take(low)
        inside *= self.inverse.take(low)
        return low, inside, outside


def alike(*values: npt.ArrayLike) -> tuple[FloatArray, ...]:
    """Numbers and arrays as arrays of one shape."""
    arrays = [np.atleast_1d(np.asarray(value, np.float64)) for value in values]
    if len({array.shape for array in arrays}) > 1:
        return tuple(np.broadcast_arrays(*arrays))
    return tuple(arrays)


def axis(points: FloatArray, log: bool = False) -> Axis:
    """Make an axis of rising points, at least two."""
    nodes = np.log(points) if log else np.asarray(points, dtype=np.float64)
    widths = np.diff(nodes)
    count = math.ceil(2.0 * (nodes[-1] - nodes[0]) / widths.min())
    bins, scale = np.zeros(0, dtype=np.int64), 0.0
    if count <= _MOST_BINS:
        scale = count / (nodes[-1] - nodes[0])
        edges = nodes[0] + np.arange(count + 1) / scale
        bins = np.searchsorted(nodes[1:-1], edges, side="right").astype(np.int64)
    return Axis(
        float(points[0]),
        float(points[-1]),
        log,
        nodes,
        np.append(nodes[1:-1], np.inf),
        1.0 / widths,
        bins,
        float(scale),
    )
