"""Lengths and ends of ducts beside their bends: what the tangents leave of each."""

from dataclasses import replace

import numpy as np

from .arcs import NO_CORNER
from .duct_frames import Chains, Frames
from .fittings import NONE, Bends, Ducts
from .pieces import Pieces, goes_straight_on
from .sections import BoolArray, FloatArray, IntArray
from .topology import Topology
from .tree import Tree, heads


def with_lengths(
    topology: Topology,
    tree: Tree,
    pieces: Pieces,
    chains: Chains,
    bare: tuple[IntArray, FloatArray],
    drawn: FloatArray,
    slope: FloatArray,
    frames: Frames,
    bends: Bends,
) -> tuple[Ducts, Bends]:
    """Take the bends' tangents off the ducts and give them half of each arc.

    That shows where the bends' corners are and which bends do not fit.

    Parameters
    ----------
    topology, tree, pieces
        The walk and its segments.
    chains
        Its segments as ducts, d of them.
    bare
        Ducts without length at the ends of arcs, and where they are, m.
    drawn, slope
        Length of each as drawn, and what it has of drawn transitions, m, shape (d,).
    frames
        How the section of each stands.
    bends
        The bends, with the lengths of their tangents.

    Returns
    -------
    ducts, bends
        The ducts; the bends with their corners and what they lack in length.
    """
    first, last, parent = chains.first, chains.last, chains.parent
    count = len(first)
    before = parent[bends.duct]
    cut_start, cut_end = np.zeros(count), np.zeros(count)
    cut_start[bends.duct] = bends.setback
    # A duct that ends at a bend ends at that one alone.
    cut_end[before] = bends.setback
    arc = np.zeros(count)
    half = bends.radius * bends.angle / 2
    arc[bends.duct] += half
    arc[before] += half
    straight = drawn - cut_start - cut_end
    plain = goes_straight_on(pieces, first)
    plain[bends.duct] = False
    if (straight < 0.0).any():
        straight = _passed_on(drawn, cut_start, cut_end, parent, plain)
    lacking = np.maximum(-straight, 0.0)
    lacking[lacking < topology.tolerance] = 0.0
    short_by = np.maximum(lacking[bends.duct], lacking[before])
    start, finish = tree.start[first], tree.finish[last]
    begin, end = topology.nodes.take(start, axis=0), topology.nodes.take(finish, axis=0)
    begin[bare[0]], end[bare[0]] = bare[1], bare[1]
    into = tree.direction.take(last[before], axis=0)
    away = tree.direction.take(first[bends.duct], axis=0)
    arriving = end.take(before, axis=0) - bends.setback[:, None] * into
    leaving = begin.take(bends.duct, axis=0) + bends.setback[:, None] * away
    end[before], begin[bends.duct] = arriving, leaving
    for at, cut, sign, row, known in (
        (begin, cut_start, 1.0, first, bends.duct),
        (end, cut_end, -1.0, last, before),
    ):
        moved = cut > 0.0  # for a bend that is not its own
        moved[known] = False
        if moved.any():
            at[moved] += sign * cut[moved, None] * tree.direction[row[moved]]
    # The tangents of a bend that turns far meet nowhere near it.
    far = bends.angle > NO_CORNER
    reach = bends.radius * np.tan(np.where(far, 0.0, bends.angle) / 2)
    corner = (arriving + leaving + reach[:, None] * (into - away)) / 2
    run = pieces.run[first]
    found = Ducts(
        parent=parent,
        continues=plain,
        start=start,
        finish=finish,
        run=run,
        shape=pieces.shape[first],
        width=pieces.width[first],
        height=pieces.height[first],
        length=np.maximum(straight, 0.0) + arc + slope,
        straight=straight,
        begin=begin,
        end=end,
        crossed=pieces.crossed[first],
        twist=frames.twist,
        across=frames.across,
        upright=frames.upright,
        roll=frames.roll,
        drawn_flow=topology.drawing.flow[run],
    )
    return found, replace(bends, short_by=short_by, corner=corner)


def _passed_on(
    drawn: FloatArray,
    cut_start: FloatArray,
    cut_end: FloatArray,
    parent: IntArray,
    plain: BoolArray,
) -> FloatArray:
    """Straight length left to each duct where tangents reach past its ends, m.

    What a bend takes beyond the duct beside it, it takes from the next one in line:
    upstream of a bend at the end, downstream of one at the start, so that this comes
    to an end. `plain` are the ducts that go on the one before with nothing between.
    Where all of a stretch does not do, each of its ducts lacks what the stretch lacks.
    """
    child = np.full(len(parent), NONE)
    child[parent[plain]] = plain.nonzero()[0]
    for cut, onward in ((cut_end, np.where(plain, parent, NONE)), (cut_start, child)):
        while True:
            lacking = cut_start + cut_end - drawn
            rows = ((lacking > 1e-9) & (cut > 0.0) & (onward != NONE)).nonzero()[0]
            if len(rows) == 0:
                break
            moved = np.minimum(lacking[rows], cut[rows])
            cut[rows] -= moved
            cut[onward[rows]] += moved
    straight = drawn - cut_start - cut_end
    stretch = heads(plain, parent)
    left = np.bincount(stretch, straight, len(parent))[stretch]
    return np.asarray(np.where(left < 0.0, left, straight))
