"""A joined drawing as a tree, walked from the source."""

from dataclasses import dataclass

import numpy as np

from .sections import FloatArray, IntArray
from .topology import Topology, walk


@dataclass(frozen=True, eq=False)
class Tree:
    """Segments of a drawing in walking order from the source: e of them.

    Parameters
    ----------
    segment
        Index of each in the topology, shape (e,).
    start, finish
        Its node nearer to the source, and the farther one.
    parent
        Place in this order of the segment before it; -1 for those at the source.
    children
        How many segments go on from its far end.
    forward
        Whether it was drawn in the direction of the walk.
    direction
        Unit vector away from the source, shape (e, 3).
    length
        Length, m.
    """

    segment: IntArray
    start: IntArray
    finish: IntArray
    parent: IntArray
    children: IntArray
    forward: IntArray
    direction: FloatArray
    length: FloatArray


def tree_from(topology: Topology, root: int) -> Tree:
    """Walk from the source over every segment that hangs together with it.

    Parameters
    ----------
    topology
        The joined drawing, without loops in the part that holds the root.
    root
        Node of the source.

    Returns
    -------
    tree
        The segments in walking order.
    """
    order, before = walk(topology, root)
    rank = np.full(len(topology.nodes), -1)
    rank[order] = np.arange(len(order))
    here = np.flatnonzero(rank[topology.ends[:, 0]] >= 0)
    one, two = topology.ends[here].T
    forward = before[two] == one
    far = np.where(forward, two, one)
    sort = np.argsort(rank[far])
    here, forward, far = here[sort], forward[sort], far[sort]
    near = np.where(forward, topology.ends[here, 0], topology.ends[here, 1])
    # Every node but the root is the far end of one segment: walking rank less one.
    parent = rank[near] - 1
    apart = topology.nodes[far] - topology.nodes[near]
    length = np.sqrt(np.einsum("ij,ij->i", apart, apart))
    return Tree(
        here,
        near,
        far,
        parent,
        np.bincount(parent[parent >= 0], minlength=len(here)),
        forward,
        apart / length[:, None],
        length,
    )


def heads(follows: IntArray, parent: IntArray) -> IntArray:
    """First member of the chain that each segment belongs to.

    Parameters
    ----------
    follows
        Whether each segment goes on the chain of its parent, shape (e,).
    parent
        Parent of each segment, shape (e,).

    Returns
    -------
    head
        The segment that begins its chain, shape (e,): itself where it follows none.
    """
    head = np.where(follows, parent, np.arange(len(parent)))
    moving = np.flatnonzero(follows)
    while len(moving):
        farther = head[head[moving]]
        changed = farther != head[moving]
        head[moving] = farther
        moving = moving[changed]
    return head
