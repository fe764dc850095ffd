"""Ends beside segments: where on their lines they come to lie."""

import numpy as np
from scipy.spatial import cKDTree

from .joints import Meetings
from .sections import BoolArray, FloatArray, IntArray
from .snap import snap

ROUNDING = 2e-5  # m: an end that near to a side lies on it but for its file's digits
_SINGLE = 3.0**0.5 * 2.0**-24  # share of a distance that single precision may lose


def rounding(points: FloatArray, tolerance: float) -> float:
    """How far an end may be from its line for the digits of a file alone, m.

    Parameters
    ----------
    points
        All points of a drawing, m, shape (n, 3).
    tolerance
        Largest distance of what is joined, m.

    Notes
    -----
    The digits may move an end and its line, each by up to half of `ROUNDING`. In a
    layout more than 190 m wide it is what single precision loses of half of its width,
    as `write_gltf` counts from its middle; but at most a quarter of the tolerance.
    """
    half = float(np.ptp(points, axis=0).max()) / 2 + 0.5 if len(points) else 0.0
    return max(ROUNDING, min(2.0 * _SINGLE * half, tolerance / 4.0))


def settled(
    nodes: FloatArray, ends: IntArray, met: Meetings, tolerance: float, fine: float
) -> tuple[FloatArray, IntArray, FloatArray]:
    """Move the nodes that lie beside segments to their lines.

    Those first whose segments stay where they are, then, a round at a time, those that
    lie beside what has moved. Left where they are: ends that wait for each other, ends
    beside two lines that do not meet there, and ends that would come within the
    tolerance of what is not on the same line.

    Parameters
    ----------
    nodes
        Node positions, m, shape (k, 3).
    ends
        First and last node of each segment, shape (s, 2).
    met
        Where the segments meet: l landings.
    tolerance
        Largest distance of what is joined, m.
    fine
        The `rounding` of the drawing, m: what lies nearer to its line is on it.

    Returns
    -------
    nodes, same, at
        Their positions now, m, shape (k, 3); for each node the one that it is now,
        shape (k,); the share of its segment at which each landing is, shape (l,).
    """
    nodes, same = nodes.copy(), np.arange(len(nodes))
    node, hosts = met.landing_node, ends[met.landing_segment]
    waiting = np.zeros(len(nodes), dtype=bool)
    waiting[node[met.landing_off > fine]] = True
    count = 0
    while count < waiting.sum():  # and what lies on a line of which an end moves
        count = int(waiting.sum())
        waiting[node[waiting[hosts].any(axis=1)]] = True
    while waiting.any():
        ready = waiting.copy()
        ready[node[waiting[hosts].any(axis=1)]] = False
        if not ready.any():
            break
        rows = ready[node].nonzero()[0]
        _settle(nodes, same, node[rows], hosts[rows], tolerance, fine)
        waiting &= ~ready
    at, _, _ = _feet(nodes[node], nodes[hosts])
    return nodes, same, at


def _settle(
    nodes: FloatArray,
    same: IntArray,
    node: IntArray,
    hosts: IntArray,
    tolerance: float,
    fine: float,
) -> None:
    """Move nodes to the lines of their hosts, where they stay; one landing a row.

    `nodes` and `same` are changed.
    """
    lines = nodes[hosts]
    moving, which = np.unique(node, return_inverse=True)
    _, foot, _ = _feet(nodes[node], lines)
    place = np.zeros((len(moving), 3))
    np.add.at(place, which, foot - nodes[node])
    place /= np.bincount(which)[:, None]
    near = np.linalg.norm(place, axis=1) <= fine
    place = nodes[moving] + np.where(near[:, None], 0.0, place)
    good = np.ones(len(moving), dtype=bool)
    good[which[~_on(place[which], lines, tolerance, fine)]] = False
    if not good.any():
        return
    # From both sides they may come to one place.
    members = moving[good]
    placed, part, _ = snap(place[good], tolerance)
    one = members[np.unique(part, return_index=True)[1]]
    part_at = np.full(len(nodes), -1)
    part_at[members] = part
    after = nodes.copy()
    after[members] = placed[part]
    fits = np.ones(len(placed), dtype=bool)
    near_by = cKDTree(placed).query_ball_tree(cKDTree(after), tolerance)
    for new, there in enumerate(near_by):
        others = {int(same[near]) for near in there if part_at[near] != new}
        if not others:
            continue
        other = others.pop()
        if others or other in moving:
            fits[new] = False
        else:
            placed[new], one[new] = nodes[other], other
    of = part_at[node]
    off = (of >= 0) & ~_on(placed[of], lines, tolerance, fine)
    fits[of[off]] = False
    goes = fits[part]
    nodes[members[goes]] = placed[part[goes]]
    same[members[goes]] = one[part[goes]]


def _feet(
    points: FloatArray, lines: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Share and nearest point on each line, shape (n, 2, 3), and each one's length."""
    begin, way = lines[:, 0], lines[:, 1] - lines[:, 0]
    square = np.einsum("ij,ij->i", way, way).clip(1e-300)  # where both ends are one
    at = np.einsum("ij,ij->i", points - begin, way) / square
    return at, begin + at[:, None] * way, np.sqrt(square)


def _on(
    points: FloatArray, lines: FloatArray, tolerance: float, fine: float
) -> BoolArray:
    """Whether each point lies on the inside of its line, away from its ends."""
    at, foot, length = _feet(points, lines)
    off = np.linalg.norm(points - foot, axis=1)
    inside = np.minimum(at, 1.0 - at) * length > tolerance
    return np.asarray(inside & (off <= 2.0 * fine))
