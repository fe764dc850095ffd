"""A joined drawing as a tree, walked from the source."""

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from .sections import FloatArray, IntArray
from .topology import Topology


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
    meeting
        Nodes at which the air of a loop meets: several segments lead into each. The
        tree goes on from one of them, as if the others ended there.
    """

    segment: IntArray
    start: IntArray
    finish: IntArray
    parent: IntArray
    children: IntArray
    forward: IntArray
    direction: FloatArray
    length: FloatArray
    meeting: IntArray = field(default_factory=lambda: np.empty(0, dtype=np.int64))


def tree_from(topology: Topology, order: IntArray, before: IntArray) -> Tree:
    """Every segment that hangs together with the source, in the order of a walk.

    Parameters
    ----------
    topology
        The joined drawing, without loops in the part that was walked.
    order, before
        Nodes in walking order, the source first, and the node that each node of the
        topology was reached from; as `walk` gives them.

    Returns
    -------
    tree
        The segments in walking order.
    """
    far = order[1:]
    near = before.take(far)
    rank = np.full(len(topology.nodes), -1)
    rank[order] = np.arange(len(order))
    # Every node but the root is the far end of one segment: walking rank less one.
    one, two = topology.ends.T
    place = np.maximum(rank.take(one), rank.take(two)) - 1
    here = np.flatnonzero(place >= 0)
    segment = np.empty(len(far), dtype=np.int64)
    segment[place[here]] = here
    parent = rank.take(near) - 1
    point = topology.nodes.take(order, axis=0)
    apart = point[1:] - point.take(parent + 1, axis=0)
    length = np.sqrt(np.einsum("ij,ij->i", apart, apart))
    return Tree(
        segment,
        near,
        far,
        parent,
        np.bincount(parent + 1, minlength=len(order))[1:],
        two.take(segment) == far,
        apart / length[:, None],
        length,
    )


def heads(follows: npt.NDArray[np.bool_], parent: IntArray) -> IntArray:
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


def tails(head: IntArray, follows: npt.NDArray[np.bool_]) -> IntArray:
    """Last member of the chain that each segment belongs to, where none part.

    Parameters
    ----------
    head
        First member of each chain, as `heads` finds it, shape (e,).
    follows
        Whether each segment goes on the chain of its parent, shape (e,).
    """
    last = np.arange(len(head))
    rows = follows.nonzero()[0]
    last[head[rows]] = rows  # in walking order: the farthest one stays
    return np.asarray(last[head])
