"""Chains of edges: which edges of a heap of lines make one polyline."""

import numpy as np

from .sections import IntArray


def chains(
    edges: IntArray, count: int, ends_at: IntArray | None = None
) -> list[IntArray]:
    """Join edges that meet two by two into polylines.

    Parameters
    ----------
    edges
        Vertices of each edge, shape (n, 2).
    count
        How many vertices there are.
    ends_at
        Vertices at which a polyline ends in any case: other lines meet it there.

    Returns
    -------
    chains
        Vertices along each polyline, in the order of their first edge. A polyline
        ends where one edge or more than two meet; a ring ends where it begins.
    """
    if len(edges) == 0:
        return []
    degree = np.bincount(edges.ravel(), minlength=count)
    ends = edges.ravel()
    order = np.argsort(ends, kind="stable")
    first = np.concatenate([[0], np.cumsum(degree)])
    # At a vertex with two edges, the other one; half-edges are numbered 2 e + side.
    partner = np.full(len(ends), -1)
    passes = degree == 2
    if ends_at is not None:
        passes[ends_at] = False
    middle = np.flatnonzero(passes)
    one, two = order[first[middle]], order[first[middle] + 1]
    partner[one], partner[two] = two, one
    if (partner < 0).all():
        return list(edges)  # nothing joins: every edge is a polyline
    target = ends.tolist()
    follow = partner.tolist()
    used = [False] * len(edges)
    found = []
    for loose in (True, False):  # rings have no loose end: they come last
        for half in range(len(ends)):
            if used[half >> 1] or (loose and follow[half] >= 0):
                continue
            chain = [target[half]]
            here = half
            while here >= 0 and not used[here >> 1]:
                used[here >> 1] = True
                far = here ^ 1
                chain.append(target[far])
                here = follow[far]
            found.append((half >> 1, np.array(chain)))
    if len(found) == 1:
        return [found[0][1]]
    found.sort(key=lambda item: item[0])
    return [chain for _, chain in found]
