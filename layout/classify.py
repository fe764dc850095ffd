"""Recognise ducts, bends, transitions and junctions in a walked drawing."""

from dataclasses import dataclass, replace

import numpy as np

from .arcs import Arcs, find_arcs
from .basis import Basis
from .bend_numbers import bend_numbers
from .duct_frames import Chains, duct_frames
from .elbow_rules import build_bends
from .faults import Notice
from .fit import lacking_for_transitions
from .fittings import NONE, Bends, Ducts, Legs, Transitions
from .legs import lone_legs, meeting_legs, outgoing_legs
from .lengths import with_lengths
from .odd_turns import (
    FOLDED,
    STRAIGHT_ON,
    chain_notices,
    corner_notices,
    even_notices,
    folded_notices,
    transition_notices,
)
from .offsets import LARGEST_KINK, Offsets, find_offsets
from .openings import idle_section_notices, with_openings
from .pieces import (
    Pieces,
    RunSections,
    along_tangents,
    pieces_of,
    sides_before,
)
from .schedule import Schedule
from .sections import BoolArray, FloatArray, IntArray
from .standing import idle_up_notices, roll_notices, twist_notices
from .topology import Topology
from .transition_rules import transition_lengths
from .tree import Tree, heads
from .twists import with_twists
from .within_mains import Way, pieces_in_mains, ways_from_mains, with_room_in_mains


@dataclass(frozen=True, eq=False)
class Classified:
    """Ducts and fittings of a drawing, with what is to be said of them."""

    ducts: Ducts
    bends: Bends
    transitions: Transitions
    legs: Legs
    meetings: Legs
    lone: Legs
    duct_of: IntArray  # of each segment of the walk; `NONE` within an arc
    notices: tuple[Notice, ...]


def classify(
    topology: Topology, tree: Tree, sections: RunSections, schedule: Schedule
) -> Classified:
    """Recognise what stands at each node.

    Parameters
    ----------
    topology, tree
        The joined drawing and the walk over it from the source.
    sections
        Section of each run.
    schedule
        Constructions that the drawing cannot show.

    Returns
    -------
    classified
        Ducts and fittings in walking order.

    Raises
    ------
    BadInput
        If a transition run leads nowhere.
    """
    pieces = pieces_of(topology, tree, sections, schedule)
    pieces = with_twists(topology, tree, pieces, schedule)
    pieces, unsaid = with_openings(topology, tree, pieces, sections, schedule)
    arcs = find_arcs(
        tree,
        topology.nodes,
        pieces.turn,
        pieces.alone & pieces.same_section & ~pieces.is_transition,
    )
    if len(arcs.bare):
        tree, pieces = along_tangents(tree, pieces, arcs)
    # A smaller kink at an end of a transition is no elbow: see `offsets`.
    at_piece = pieces.is_transition | pieces.is_transition[pieces.before]
    kink = at_piece & (pieces.turn < LARGEST_KINK)
    sharp = pieces.alone & (pieces.turn > STRAIGHT_ON) & ~arcs.member & ~kink
    chains = _chains(tree, pieces, arcs, sharp)
    first, duct_of = chains.first, chains.of
    legs = outgoing_legs(topology, tree, pieces, duct_of, schedule)
    meetings = meeting_legs(topology, tree, pieces, duct_of, schedule)
    frames = duct_frames(topology, tree, pieces, arcs, chains, legs, meetings)
    folded = (sharp & (pieces.turn > FOLDED)).nonzero()[0]
    sharp[arcs.after] = True
    bends = _bends(topology, tree, pieces, arcs, chains, sharp, frames.across, schedule)
    drawn, slope, whole = _drawn_lengths(tree, pieces, chains)
    ducts, bends = with_lengths(
        topology,
        tree,
        pieces,
        chains,
        (duct_of[arcs.bare], arcs.point),
        drawn,
        slope,
        frames,
        bends,
    )
    ways: list[Way] = []
    if len(bends.duct) or whole.any():
        ways = ways_from_mains(ducts, bends, legs, meetings)
        bends = with_room_in_mains(ducts, bends, ways, topology.tolerance)
    offsets = find_offsets(topology, tree, pieces, sharp, duct_of, frames)
    transitions = _transitions(
        pieces,
        duct_of,
        whole,
        topology,
        schedule,
        ducts,
        bends,
        legs,
        meetings,
        offsets,
        ways,
    )
    notices = [
        *unsaid,
        *chain_notices(topology, tree, arcs, pieces.width, pieces.height),
        *folded_notices(topology, tree, folded, pieces.turn[folded]),
        *transition_notices(topology, tree, pieces, offsets),
        *idle_section_notices(topology, tree, pieces, sections),
        *corner_notices(topology, ducts, bends, legs),
        *even_notices(topology, ducts, legs, meetings),
        *roll_notices(topology, ducts, tree.direction.take(first, axis=0), legs, bends),
        *twist_notices(topology, ducts, transitions),
        *idle_up_notices(topology, ducts, tree.direction.take(first, axis=0)),
    ]
    return Classified(
        ducts,
        bends,
        transitions,
        legs,
        meetings,
        lone_legs(topology, tree, pieces, duct_of, schedule),
        duct_of[:-1],
        tuple(notices),
    )


def _chains(tree: Tree, pieces: Pieces, arcs: Arcs, sharp: BoolArray) -> Chains:
    """Chain the segments that go on straight, or nearly, in their run and section.

    `sharp` are those that begin with a corner, shape (e,).
    """
    follows = (
        pieces.alone
        & pieces.same_section
        & ~sharp
        & ~arcs.member
        & ~(pieces.is_transition & (pieces.turn > STRAIGHT_ON))
        & (pieces.run == pieces.run[pieces.before])
    )
    head = heads(follows, tree.parent)
    every = np.arange(len(head))
    first = ((head == every) & ~arcs.inner).nonzero()[0]
    duct_of = np.full(len(head) + 1, NONE)  # the last: of no segment
    duct_of[first] = every[: len(first)]
    duct_of[:-1] = duct_of[head]
    last, rows = every, follows.nonzero()[0]
    last[head[rows]] = rows  # in walking order: the farthest one stays
    last = last[first]
    into = tree.parent.copy()  # the segment before each, past the chords of an arc
    into[arcs.after] = arcs.before
    return Chains(head, first, last, duct_of[into[first]], duct_of)


def _bends(
    topology: Topology,
    tree: Tree,
    pieces: Pieces,
    arcs: Arcs,
    chains: Chains,
    turning: BoolArray,
    across: FloatArray,
    schedule: Schedule,
) -> Bends:
    """Bends at the segments that turn, from corners and from arcs.

    Parameters
    ----------
    topology, tree, pieces, arcs, chains
        The walk, its segments, and the arcs and ducts in it.
    turning
        Segments that begin with a bend, shape (e,).
    across
        Unit vector along the width of each duct, shape (d, 3).
    schedule
        How elbows are made.
    """
    at = turning.nonzero()[0]
    angle, axis = pieces.turn.take(at), pieces.axis.take(at, axis=0)
    radius, setback, misfit = np.full((3, len(at)), np.nan)
    curved = at.searchsorted(arcs.after)
    angle[curved], axis[curved] = arcs.angle, arcs.axis
    radius[curved], setback[curved] = arcs.radius, arcs.setback
    misfit[:] = 0.0
    misfit[curved] = arcs.misfit
    duct = chains.of[at]
    before = chains.parent[duct]
    # A tap's corner is counted too: no number hangs on what a corner is taken for.
    counted = (turning | pieces.is_tap).nonzero()[0]
    ends = chains.last[chains.parent[chains.of[counted]]]
    number = bend_numbers(topology, tree, pieces.run, counted, ends)
    # At the far end of a drawn transition an elbow has the section there.
    far = pieces.is_transition[pieces.before[at]] & pieces.alone[at]
    far &= ~pieces.same_section[at]
    own = np.where(far, duct, before)
    came = chains.first[own]
    return build_bends(
        duct=duct,
        run=pieces.run[at],
        number=number[counted.searchsorted(at)],
        angle=angle,
        axis=axis,
        drawn_radius=radius,
        drawn_setback=setback,
        misfit=misfit,
        shape=pieces.shape[came],
        width=pieces.width[came],
        height=pieces.height[came],
        across=across.take(own, axis=0),
        drawing=topology.drawing,
        schedule=schedule,
    )


def _drawn_lengths(
    tree: Tree, pieces: Pieces, chains: Chains
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Length of each duct as drawn, its share of drawn transitions, and these so far.

    Air rubs along a drawn transition in its larger and in its smaller section: half of
    it counts in the duct before and half behind, and it has no length of its own. One
    that bends is of several ducts, and as long as they all. In m, shape (d,) each.
    """
    head, first, parent = chains.head, chains.first, chains.parent
    drawn: FloatArray = np.bincount(head, tree.length, len(head))[first].astype(float)
    piece = pieces.is_transition[first]
    if not piece.any():
        return drawn, np.zeros(len(first)), np.zeros(len(first))
    slope = np.where(piece, drawn / 2, 0.0)
    whole = np.where(piece, drawn, 0.0)
    for duct in ((parent >= 0) & piece[np.maximum(parent, 0)]).nonzero()[0].tolist():
        if piece[duct]:
            whole[duct] += whole[parent[duct]]
        else:
            slope[duct] = whole[parent[duct]] / 2
    drawn[piece] = 0.0
    return drawn, slope, whole


def _transitions(
    pieces: Pieces,
    duct_of: IntArray,
    whole: FloatArray,
    topology: Topology,
    schedule: Schedule,
    ducts: Ducts,
    bends: Bends,
    legs: Legs,
    meetings: Legs,
    offsets: Offsets | None,
    ways: list[Way],
) -> Transitions:
    changes = pieces.alone & ~pieces.same_section
    if offsets is not None:  # a piece that only goes aside is one too
        changes[offsets.row[offsets.kink.any(axis=0)]] = True
    rows = changes.nonzero()[0]
    kinks = np.zeros((2, 2, len(changes)))
    if offsets is not None:
        kinks[..., offsets.row] = offsets.kink, offsets.kink_share
    before = pieces.before[rows]
    drawn = pieces.is_transition[before]
    length, basis = transition_lengths(
        topology.drawing,
        schedule,
        pieces.run[rows],
        sides_before(pieces.width, pieces.height, before, pieces.crossed[rows]),
        (pieces.width[rows], pieces.height[rows]),
    )
    found = Transitions(
        duct_of[rows],
        np.where(drawn, whole[duct_of[before]], length),
        np.where(drawn, int(Basis.DRAWN), basis),
        np.zeros(len(rows)),
        *kinks[..., rows],
    )
    lacking = lacking_for_transitions(ducts, bends, found, legs, meetings)
    worse = np.maximum(lacking[found.duct], lacking[ducts.parent[found.duct]])
    if drawn.any():
        last = duct_of[before[drawn]]
        worse[drawn] = pieces_in_mains(ducts, last, whole > 0.0, topology.nodes, ways)
    short = worse > topology.tolerance
    return replace(found, short_by=np.where(short, worse, 0.0))
