"""Ends that nearly meet something: gaps that a larger tolerance would close."""

import numpy as np

from .faults import Notice, warning
from .sections import FloatArray, IntArray
from .topology import Topology

REACH = 0.1  # m: a gap below this is more likely a slip than a meaning
_AT_ONCE = 2_000_000  # pairs of ends and segments measured together


def near_misses(topology: Topology, reach: float = REACH) -> list[Notice]:
    """Find free ends that stop just short of another duct.

    Parameters
    ----------
    topology
        The joined drawing.
    reach
        Largest gap that is remarked on, m.

    Returns
    -------
    notices
        One for each gap: where, how wide, and the tolerance that would close it.
    """
    free = np.asarray(topology.free_ends)
    if len(free) == 0 or len(topology.ends) < 2:
        return []
    gap, other = _nearest(topology, free)
    found: list[Notice] = []
    said: set[frozenset[int]] = set()
    for row in np.flatnonzero(gap <= reach).tolist():
        node, segment = int(free[row]), int(other[row])
        own = int(topology.segment_at(np.array([node]))[0])
        pair = frozenset((own, segment))
        if pair in said:
            continue  # two ends that miss each other are one gap
        said.add(pair)
        mine = int(topology.run[own])
        tolerance = np.ceil(gap[row] * 1e3 + 0.1)
        found.append(
            warning(
                f"{topology.drawing.place(mine)}, at {topology.place(node)}",
                f"it ends {gap[row] * 1e3:.3g} mm short of run "
                f"'{topology.drawing.names[int(topology.run[segment])]}'",
                f"draw it to the end, or say --tolerance '{tolerance:.0f} mm'",
            )
        )
    return found


def _nearest(topology: Topology, free: IntArray) -> tuple[FloatArray, IntArray]:
    """Distance of each free end from the nearest segment that is not its own."""
    start = topology.nodes[topology.ends[:, 0]]
    along = topology.nodes[topology.ends[:, 1]] - start
    square = np.einsum("ij,ij->i", along, along)
    gap, other = np.empty(len(free)), np.empty(len(free), dtype=np.int64)
    step = max(1, _AT_ONCE // len(start))
    for begin in range(0, len(free), step):
        part = free[begin : begin + step]
        away = topology.nodes[part][:, None] - start
        share = np.clip(np.einsum("ijk,jk->ij", away, along) / square, 0.0, 1.0)
        miss = away - share[..., None] * along
        apart = np.sqrt(np.einsum("ijk,ijk->ij", miss, miss))
        own = (topology.ends[:, 0] == part[:, None]) | (
            topology.ends[:, 1] == part[:, None]
        )
        apart[own] = np.inf
        near = np.argmin(apart, axis=1)
        gap[begin : begin + step] = apart[np.arange(len(part)), near]
        other[begin : begin + step] = near
    return gap, other
