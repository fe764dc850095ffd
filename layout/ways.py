"""Loops: the ways between joints, and the direction in which the air takes each."""

from collections import defaultdict
from dataclasses import dataclass

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.linalg import spsolve

from .faults import Notice, error
from .sections import BoolArray, FloatArray, IntArray
from .topology import Topology
from .tree import Tree


@dataclass(frozen=True, eq=False)
class Ways:
    """Stretches between the nodes at which ducts divide, meet or end: w of them.

    Parameters
    ----------
    ends
        First and last node of each, shape (w, 2).
    segment
        Segments of the topology along them, way after way.
    offsets
        Where each way begins in `segment`, shape (w + 1,).
    """

    ends: IntArray
    segment: IntArray
    offsets: IntArray

    def along(self, way: int) -> IntArray:
        """Segments of one way, in order."""
        return self.segment[self.offsets[way] : self.offsets[way + 1]]


@dataclass(frozen=True, eq=False)
class Loops:
    """A graph with loops: which way each duct lies on, and how the air goes there.

    Parameters
    ----------
    ways
        The ways between joints.
    forward
        Whether the air goes along each way as listed, shape (w,).
    of_duct
        The way of each duct, shape (d,).
    """

    ways: Ways
    forward: BoolArray
    of_duct: IntArray

    def signed(self, flow: FloatArray) -> FloatArray:
        """Airflow of each way, m³/s, shape (w,), from that of each duct, shape (d,)."""
        out = np.zeros(len(self.forward))
        out[self.of_duct] = flow
        return np.where(self.forward, out, -out)


def find_ways(topology: Topology, source: int) -> Ways:
    """Follow the segments from joint to joint.

    Parameters
    ----------
    topology
        The joined drawing.
    source
        Node at which the air enters: a way ends there too.

    Returns
    -------
    ways
        Those that hang together with the source, in the order of a walk from it.
    """
    at: dict[int, list[int]] = defaultdict(list)
    ends = topology.ends.tolist()
    for segment, (one, two) in enumerate(ends):
        at[one].append(segment)
        at[two].append(segment)
    joint = topology.degree != 2
    joint[source] = True
    pairs, segments, offsets = [], [], [0]
    used: set[int] = set()
    seen, waiting = {source}, [source]
    for start in waiting:
        for first in at[start]:
            if first in used:
                continue
            node, segment = start, first
            while True:
                used.add(segment)
                segments.append(segment)
                node = sum(ends[segment]) - node
                if joint[node]:
                    break
                segment = sum(at[node]) - segment
            pairs.append((start, node))
            offsets.append(len(segments))
            if node not in seen:
                seen.add(node)
                waiting.append(node)
    return Ways(np.array(pairs), np.array(segments), np.array(offsets))


def first_guess(topology: Topology, ways: Ways, source: int) -> FloatArray:
    """Airflow that each way might carry: enough to tell where loops meet at first.

    Parameters
    ----------
    topology, ways
        The joined drawing and its ways.
    source
        Node at which the air enters.

    Returns
    -------
    flow
        Shape (w,), below zero against the way; in free ends that take one each.

    Notes
    -----
    As if resistance went with length and with the airflow: a linear network, whose
    pressures fall away from the source, so that no air runs in a circle.
    """
    nodes, ends = np.unique(ways.ends, return_inverse=True)
    one, two = ends.reshape(-1, 2).T
    length = np.add.reduceat(topology.length[ways.segment], ways.offsets[:-1])
    ease = 1.0 / length
    count = len(nodes)
    laplacian = coo_array(
        (
            np.concatenate([ease, ease, -ease, -ease]),
            (
                np.concatenate([one, two, one, two]),
                np.concatenate([one, two, two, one]),
            ),
        ),
        shape=(count, count),
    ).tocsc()
    free = nodes != source
    leaving = (topology.degree[nodes] == 1).astype(np.float64)
    pressure = np.zeros(count)
    pressure[free] = np.atleast_1d(spsolve(laplacian[free][:, free], -leaving[free]))
    return np.asarray((pressure[one] - pressure[two]) * ease)


def directions(
    ways: Ways, source: int, flow: FloatArray
) -> tuple[BoolArray, list[int]]:
    """Direction of the air along each way, without a circle.

    Parameters
    ----------
    ways
        The ways.
    source
        Node at which the air enters.
    flow
        Airflow along each, shape (w,), below zero against the way. Where they would
        make a circle, the weakest that leads into a joint of it is turned.

    Returns
    -------
    forward, joints
        Whether the air goes along each way as listed, shape (w,), and the joints in
        an order in which everything that leads into one comes before it.
    """
    forward = flow > 0.0
    touching: dict[int, list[int]] = defaultdict(list)
    for way, (one, two) in enumerate(ways.ends.tolist()):
        touching[one].append(way)
        touching[two].append(way)
        if source in (one, two):  # at the source all air leaves
            forward[way] = one == source
    into = dict.fromkeys(touching, 0)
    for way, (one, two) in enumerate(ways.ends.tolist()):
        into[two if forward[way] else one] += 1
    done = np.zeros(len(forward), dtype=bool)
    order: list[int] = []
    ready, reached = [source], {source}
    while len(order) < len(touching):
        if not ready:
            ready = [
                _weakest(
                    ways, touching, forward, flow, into, reached.difference(order), done
                )
            ]
        joint = ready.pop(0)
        order.append(joint)
        for way in touching[joint]:
            one, two = ways.ends[way].tolist()
            if (joint == one) != bool(forward[way]):
                continue
            done[way] = True
            other = one + two - joint
            reached.add(other)
            into[other] -= 1
            if into[other] == 0:
                ready.append(other)
    return forward, order


def _weakest(
    ways: Ways,
    touching: dict[int, list[int]],
    forward: BoolArray,
    flow: FloatArray,
    into: dict[int, int],
    waiting: set[int],
    done: BoolArray,
) -> int:
    """Take the joint that waits for the least, and turn what still had to come."""
    late = {
        joint: [
            way
            for way in touching[joint]
            if (ways.ends[way, 1] == joint) == bool(forward[way]) and not done[way]
        ]
        for joint in sorted(waiting)
    }
    best = min(late, key=lambda joint: float(np.abs(flow[late[joint]]).sum()))
    for way in late[best]:
        forward[way] = not forward[way]
        into[int(ways.ends[way].sum()) - best] += 1
    into[best] = 0
    return best


def tree_along(
    topology: Topology, ways: Ways, source: int, flow: FloatArray
) -> tuple[Tree, IntArray, BoolArray]:
    """Every segment that hangs together with the source, in the direction of the air.

    Parameters
    ----------
    topology, ways
        The joined drawing and its ways.
    source
        Node at which the air enters.
    flow
        Airflow along each way, below zero against it, shape (w,).

    Returns
    -------
    tree, way, forward
        The segments, where several lead into one node all but the strongest as if
        they ended there; the way of each, shape (e,); and whether the air goes along
        each way as listed, shape (w,).
    """
    forward, joints = directions(ways, source, flow)
    leaving: dict[int, list[int]] = defaultdict(list)
    arriving: dict[int, list[int]] = defaultdict(list)
    for way, (one, two) in enumerate(ways.ends.tolist()):
        start, finish = (one, two) if forward[way] else (two, one)
        leaving[start].append(way)
        arriving[finish].append(way)
    segment: list[int] = []
    start, parent, of_way = [], [], []
    last: dict[int, int] = {}  # row of the last segment of each way
    for joint in joints:
        before = -1
        if joint != source:
            before = last[max(arriving[joint], key=lambda way: abs(float(flow[way])))]
        for way in leaving[joint]:
            along = ways.along(way)
            node, row = joint, before
            for piece in (along if forward[way] else along[::-1]).tolist():
                parent.append(row)
                start.append(node)
                row = len(segment)
                segment.append(piece)
                of_way.append(way)
                node = int(topology.ends[piece].sum()) - node
            last[way] = row
    order = np.array(segment)
    near = np.array(start)
    far = topology.ends[order].sum(axis=1) - near
    apart = topology.nodes[far] - topology.nodes[near]
    length = np.linalg.norm(apart, axis=1)
    before_each = np.array(parent)
    tree = Tree(
        order,
        near,
        far,
        before_each,
        np.bincount(before_each + 1, minlength=len(order) + 1)[1:],
        topology.ends[order, 1] == far,
        apart / length[:, None],
        length,
        np.flatnonzero(np.bincount(far) > 1),
    )
    return tree, np.array(of_way), forward


def still_faults(topology: Topology, nodes: IntArray) -> list[Notice]:
    """Refuse loops that nothing leaves, at a node of each."""
    return [
        error(
            topology.drawing.file,
            f"the ducts form a loop through {topology.place(node)}, but no branch "
            "draws air around it",
            "draw the branches that it feeds, or delete the loop",
            effect="no result",
            place=topology.nodes[node],
        )
        for node in nodes.tolist()
    ]
