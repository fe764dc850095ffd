"""Segments of a walk with their sections, and how each goes on the one before."""

from collections.abc import Container
from dataclasses import dataclass, replace

import numpy as np

from .arcs import Arcs
from .drawing import Drawing
from .faults import refusal
from .fit import TAP_FROM
from .frames import turn_between
from .schedule import Schedule
from .sections import BoolArray, FloatArray, IntArray
from .strokes import LARGEST_TURN
from .topology import Topology
from .tree import Tree

SAME_SIZE = 1e-5  # m: a hundredth of the rounding of sizes in millimetres


@dataclass(frozen=True, eq=False)
class RunSections:
    """Section of each run after the schedule had its say: arrays of shape (r,)."""

    shape: IntArray
    width: FloatArray
    height: FloatArray
    basis: IntArray

    @property
    def larger_side(self) -> FloatArray:
        """The larger side of each section, m; NaN where there is none."""
        return np.fmax(self.width, self.height)


@dataclass(frozen=True, eq=False)
class Pieces:
    """Segments with their sections, and how each goes on its parent: e of them.

    Parameters
    ----------
    run, shape, width, height
        Its run and section, m, shape (e,).
    is_transition
        Whether it was drawn as a transition.
    before
        The segment before it; 0 for those at the source.
    alone
        Whether it is the only one to go on from there, and no tap.
    crossed
        Whether its width lies along the height of the one before, as that arrives.
    same_section
        Whether its section is that of the one before, as both stand.
    is_tap
        Whether it leaves a closed end from the side.
    turn, axis
        Turn from the one before, rad, and its axis, shape (e, 3).
    """

    run: IntArray
    shape: IntArray
    width: FloatArray
    height: FloatArray
    is_transition: BoolArray
    before: IntArray
    alone: BoolArray
    crossed: BoolArray
    same_section: BoolArray
    is_tap: BoolArray
    turn: FloatArray
    axis: FloatArray


def pieces_of(
    topology: Topology, tree: Tree, sections: RunSections, schedule: Schedule
) -> Pieces:
    """Give the segments of a walk their sections and turns.

    Parameters
    ----------
    topology, tree
        The joined drawing and the walk over it, e segments.
    sections
        Section of each run.
    schedule
        Says which corners are taps at closed ends.

    Returns
    -------
    pieces
        A row for each segment, in walking order.

    Raises
    ------
    BadInput
        If a run marked as a transition does not lie between two ducts, or a tap is
        declared in a return.
    """
    drawing = topology.drawing
    run = topology.run[tree.segment]
    shape = sections.shape[run]
    width, height = sections.width[run], sections.height[run]
    before = np.maximum(tree.parent, 0)
    marked = [i for i, said in drawing.attributes.items() if said.transition]
    is_transition = np.isin(run, marked) if marked else np.zeros(len(run), dtype=bool)
    for row in is_transition.nonzero()[0].tolist():
        alone = tree.children[row] == 1 and tree.finish[row] not in tree.meeting
        if not alone or tree.parent[row] < 0:
            raise refusal(
                drawing.place(int(run[row])),
                "this run is marked as a transition but does not lie between two ducts",
                "draw it between the end of one duct and the start of another",
            )
    alone = (tree.parent >= 0) & (tree.children[before] == 1)
    if len(tree.meeting):
        alone &= ~np.isin(tree.start, tree.meeting)
    turn, axis = turn_between(tree.direction.take(before, axis=0), tree.direction)
    is_tap = np.zeros(len(run), dtype=bool)
    closed = [name for name, is_so in schedule.closed_ends.items() if is_so]
    if closed:
        # At the end of an arc the last chord lies half a turn off the tangent.
        bent = turn[before]
        bent = np.where(bent < LARGEST_TURN, bent / 2, 0.0)
        is_tap = alone & (turn >= TAP_FROM - bent - 1e-6)
        is_tap &= np.isin(run, runs_named(drawing, closed)) & (run != run[before])
        if is_tap.any() and schedule.source.is_return:
            raise refusal(
                drawing.place(int(run[is_tap.nonzero()[0][0]])),
                "no value is published for a tap at the closed end of a return",
                "delete closed_end for it under [[takeoffs.exception]]",
            )
        alone &= ~is_tap
    unknown = np.zeros(len(run), dtype=bool)
    found = Pieces(
        run,
        shape,
        width,
        height,
        is_transition,
        before,
        alone,
        unknown,
        unknown,
        is_tap,
        turn,
        axis,
    )
    return with_sections_compared(found, unknown)


def with_sections_compared(pieces: Pieces, crossed: BoolArray) -> Pieces:
    """Segments with their sections compared as they stand.

    Parameters
    ----------
    pieces
        The segments, e of them.
    crossed
        Whether the width of each lies along the height of the one before, shape (e,).

    Returns
    -------
    pieces
        A drawn transition begins with the section that comes to it, its sides named as
        it stands itself; at a branch see `openings`.
    """
    shape, before = pieces.shape, pieces.before
    width, height = pieces.width, pieces.height
    starts = pieces.is_transition.nonzero()[0].tolist()
    if starts:
        shape, width, height = shape.copy(), width.copy(), height.copy()
    for row in starts:
        shape[row] = shape[before[row]]
        width[[row]], height[[row]] = sides_before(
            width, height, before[[row]], crossed[[row]]
        )
    same = same_sections(shape, width, height, before, crossed)
    return replace(
        pieces,
        shape=shape,
        width=width,
        height=height,
        crossed=crossed,
        same_section=same,
    )


def sides_before(
    width: FloatArray, height: FloatArray, before: IntArray, crossed: BoolArray
) -> tuple[FloatArray, FloatArray]:
    """Sides of sections along the width and the height of those that follow them.

    Parameters
    ----------
    width, height
        Sides of all sections, m, shape (e,).
    before
        The section wanted for each joint, shape (n,).
    crossed
        Whether its width lies along the height of what follows, shape (n,).

    Returns
    -------
    wide, high
        m, shape (n,) each.
    """
    wide, high = width[before], height[before]
    rows = crossed.nonzero()[0]
    if len(rows):
        wide[rows], high[rows] = high[rows], wide[rows]
    return wide, high


def same_sections(
    shape: IntArray,
    width: FloatArray,
    height: FloatArray,
    before: IntArray,
    crossed: BoolArray,
) -> BoolArray:
    """Whether the section of each segment is that of the one before it, shape (e,)."""
    wide, high = sides_before(width, height, before, crossed)
    return np.asarray(
        (shape == shape[before])
        & (np.abs(width - wide) < SAME_SIZE)
        & (np.abs(height - high) < SAME_SIZE)
    )


def along_tangents(tree: Tree, pieces: Pieces, arcs: Arcs) -> tuple[Tree, Pieces]:
    """Tree whose chords at ends of arcs without tangents are tangents, without length.

    What stands there, as a takeoff, then turns away from the arc's own direction.
    """
    direction, length = tree.direction.copy(), tree.length.copy()
    direction[arcs.bare], length[arcs.bare] = arcs.direction, 0.0
    beside = np.isin(tree.parent, arcs.bare)
    beside[arcs.bare] = True
    rows = beside.nonzero()[0]
    turn, axis = pieces.turn.copy(), pieces.axis.copy()
    before = pieces.before[rows]
    turn[rows], axis[rows] = turn_between(direction[before], direction[rows])
    return (
        replace(tree, direction=direction, length=length),
        replace(pieces, turn=turn, axis=axis),
    )


def goes_straight_on(pieces: Pieces, first: IntArray) -> BoolArray:
    """Whether a duct, by its first segment, may be the same duct in another run."""
    alone = (pieces.alone & pieces.same_section)[first]
    if not pieces.is_transition.any():  # as in most drawings
        return np.asarray(alone)
    before = pieces.before[first]
    return np.asarray(
        alone & ~pieces.is_transition[first] & ~pieces.is_transition[before]
    )


def runs_named(drawing: Drawing, names: Container[str]) -> list[int]:
    """Runs that go by one of some names."""
    return [run for run, name in enumerate(drawing.names) if name in names]
