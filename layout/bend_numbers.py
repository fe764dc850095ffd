"""Which bend of its run each is, counted from the end nearer to the source."""

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import dijkstra

from .recurrences import is_first
from .sections import FloatArray, IntArray
from .topology import Topology
from .tree import Tree


def bend_numbers(
    topology: Topology, tree: Tree, run: IntArray, at: IntArray, before: IntArray
) -> IntArray:
    """Number the bends of each run from 1, however its line was drawn.

    Parameters
    ----------
    topology, tree
        The joined drawing and the walk over it from the source, e segments.
    run
        Run of each segment of the walk, shape (e,).
    at, before
        Segment of the walk behind each bend, rising, and the one before it, shape (b,);
        the corner of a tap at a closed end is counted too.

    Returns
    -------
    number
        Shape (b,). Counted from that end of the run which is nearer to the source
        along the ducts; of two as near from the one with the smaller coordinates. In
        loops a bend at an end counts for both runs, so that no number changes where
        the air turns round.
    """
    ways = np.bincount(2 * run + tree.forward, minlength=2 * topology.drawing.run_count)
    if len(tree.meeting) or ways.reshape(-1, 2).all(axis=1).any():
        return _from_nearer_ends(topology, tree, run, at, before)
    # Entered at an end, each run is walked along: its bends are in order already.
    mine = run[at]
    order = mine.argsort(kind="stable")
    begins = is_first(mine[order])
    count = np.arange(len(order))
    number = np.empty(len(order), dtype=np.int64)
    number[order] = count - np.maximum.accumulate(np.where(begins, count, 0)) + 1
    return number


def _from_nearer_ends(
    topology: Topology, tree: Tree, run: IntArray, at: IntArray, before: IntArray
) -> IntArray:
    """The same where air enters a run on the way, or from both of its ends."""
    away = _distances(topology, int(tree.start[0]))
    # Vertices of the drawing, each numbered as the segment that begins at it.
    vertex = tree.segment[at] + ~tree.forward[at]
    sides = [(run[at].tolist(), vertex.tolist(), True)]
    if len(tree.meeting):
        vertex = tree.segment[before] + tree.forward[before]
        sides.append((run[before].tolist(), vertex.tolist(), False))
    found: dict[int, list[tuple[int, int, bool]]] = {}
    for runs, vertices, is_own in sides:
        for bend, (one, place) in enumerate(zip(runs, vertices, strict=True)):
            if is_own or one != sides[0][0][bend]:
                found.setdefault(one, []).append((place, bend, is_own))
    number = np.zeros(len(at), dtype=np.int64)
    for one, bends in found.items():
        rank = _ranks(topology, one, away)
        bends.sort(key=lambda bend: rank[bend[0]])
        for count, (_, bend, is_own) in enumerate(bends, 1):
            if is_own:
                number[bend] = count
    return number


def _ranks(topology: Topology, run: int, away: FloatArray) -> dict[int, int]:
    """Rank of each vertex of a run from its nearer end.

    A vertex goes by the segment that begins at it, the last one by that after the last.
    """
    begin, end = np.searchsorted(topology.run, [run, run + 1]).tolist()
    nodes = [*topology.ends[begin:end, 0].tolist(), int(topology.ends[end - 1, 1])]
    place = np.round(topology.nodes[nodes] / topology.tolerance).tolist()
    far = np.round(away[nodes] / topology.tolerance).tolist()
    count = end - begin
    ways = [list(range(count + 1)), list(range(count, -1, -1))]
    if nodes[0] == nodes[-1]:  # a ring begins wherever it is nearest
        first = min(range(count), key=lambda vertex: (far[vertex], place[vertex]))
        ways = [[(first + step * n) % count for n in range(count)] for step in (1, -1)]
    best = min(ways, key=lambda way: (far[way[0]], [place[vertex] for vertex in way]))
    rank = {begin + vertex: number for number, vertex in enumerate(best)}
    rank.setdefault(begin + count, rank[begin])  # that of a ring
    return rank


def _distances(topology: Topology, source: int) -> FloatArray:
    """Least distance of each node from the source along the ducts, m, shape (k,)."""
    count = len(topology.nodes)
    ends = topology.ends.T.astype(np.int32)  # dijkstra of SciPy 1.13 takes no others
    links = coo_array((topology.length, tuple(ends)), shape=(count, count))
    return np.asarray(dijkstra(links.tocsr(), directed=False, indices=[source])[0])
