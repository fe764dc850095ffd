"""Turns of a drawing that may be meant otherwise than they count."""

import numpy as np

from .arcs import Arcs
from .faults import Notice, warning
from .fittings import Bends, Ducts, Legs
from .near_misses import REACH
from .offsets import SLIP_ASIDE, Offsets, kink_words
from .pieces import Pieces
from .quantity_words import angle_words, length_words
from .sections import FloatArray, IntArray
from .topology import Topology
from .tree import Tree

STRAIGHT_ON = np.radians(1.0)  # less of a turn is the drawing's rounding
FOLDED = np.radians(170.0)  # a sharp turn beyond this lays the duct on itself
_AS_MITRED = "counted as mitred (own choice, no published source)"
_NEAR = 2.0  # sides of the section between turns that may be one bend


def chain_notices(
    topology: Topology, tree: Tree, arcs: Arcs, width: FloatArray, height: FloatArray
) -> list[Notice]:
    """Say which chains of small turns count as many elbows.

    Parameters
    ----------
    topology, tree
        The joined drawing and the walk over it.
    arcs
        The arcs found in it, and what is none.
    width, height
        Section of each segment of the walk, m, shape (e,).
    """
    return [
        *_uneven_notices(topology, tree, arcs),
        *_few_notices(topology, tree, arcs, width, height),
    ]


def folded_notices(
    topology: Topology, tree: Tree, segments: IntArray, turn: FloatArray
) -> list[Notice]:
    """Say where a line goes back along itself.

    Parameters
    ----------
    topology, tree
        The joined drawing and the walk over it.
    segments, turn
        Segments of the walk after such a vertex, and the turn there, rad.
    """
    return [
        warning(
            _start(topology, tree, row),
            "the line folds back on itself: a turn of "
            f"{angle_words(angle)} at one vertex, counted as an "
            "elbow, puts the duct after it inside the one before",
            "delete the vertex if it is a slip; else draw the return beside the duct, "
            "with an arc or two corners between",
            effect="a length and an elbow that cannot be built",
            place=topology.nodes[int(tree.start[row])],
        )
        for row, angle in zip(segments.tolist(), turn.tolist(), strict=True)
    ]


def transition_notices(
    topology: Topology, tree: Tree, pieces: Pieces, offsets: Offsets | None
) -> list[Notice]:
    """Say which drawn transitions turn or shift the duct, and what counts of it.

    The kinks of one that slants cancel; those of one drawn along an arc add up, in
    each stretch between the corners that count as elbows.

    Parameters
    ----------
    topology, tree, pieces
        The joined drawing, the walk over it and its segments.
    offsets
        The drawn transitions; None where there are none.
    """
    if offsets is None:
        return []
    told = (offsets.turn > STRAIGHT_ON) | offsets.kink.any(axis=0)
    notices = []
    for row in told.nonzero()[0].tolist():
        first = int(offsets.first[row])
        kinks = kink_words(offsets.kink[:, row], " degrees")
        if offsets.turn[row] > STRAIGHT_ON:
            what, remedy, effect = _bent(float(offsets.turn[row]), kinks)
        else:
            aside, beyond = float(offsets.aside[row]), float(offsets.beyond[row])
            what, remedy, effect = _slanted(aside, beyond, kinks)
        notices.append(
            warning(
                topology.drawing.place(int(pieces.run[first])),
                f"this transition {what}",
                remedy,
                effect=effect,
                place=topology.nodes[int(tree.start[first])],
            )
        )
    return notices


def _bent(angle: float, kinks: str) -> tuple[str, str, str]:
    """What a transition does that turns the duct, the remedy and the effect."""
    return (
        f"turns the duct by {angle_words(angle)} in small steps, for which "
        + (f"{kinks} {_AS_MITRED}" if kinks else "no elbow is counted"),
        "draw the elbow before or behind it, and the transition straight",
        "a bend's loss is another" if kinks else "an elbow's loss is left out",
    )


def _slanted(aside: float, beyond: float, kinks: str) -> tuple[str, str, str]:
    """What one does that goes further to one side than a flat side, or steeply."""
    more = f"{length_words(beyond)} more than one with a flat side does"
    if beyond <= SLIP_ASIDE:
        more = "steeply for a flat side"
    return (
        f"goes {length_words(aside)} to one side, {more}: {kinks} {_AS_MITRED}",
        "draw it as two elbows beside a straight transition if it is made so",
        "what the kinks lose is an estimate",
    )


def corner_notices(
    topology: Topology, ducts: Ducts, bends: Bends, legs: Legs
) -> list[Notice]:
    """Say which branches leave so close before a corner that a tee may be meant.

    Within half a side of it a branch opens into the elbow.

    Parameters
    ----------
    topology, ducts, bends, legs
        The joined drawing, its ducts, their bends, and the legs of its junctions.
    """
    if len(bends.duct) == 0 or len(legs.duct) == 0:
        return []
    is_main = np.zeros(len(ducts.parent), dtype=bool)
    is_main[legs.straight[legs.is_branch]] = True
    before = ducts.parent.take(bends.duct)
    first = ducts.stretch_of(before)
    behind = is_main.take(first).nonzero()[0]  # bends that a main with a branch meets
    before, first = before.take(behind), first.take(behind)
    start, corner = ducts.start.take(first), ducts.start.take(bends.duct[behind])
    way = topology.nodes.take(corner, axis=0) - topology.nodes.take(start, axis=0)
    apart = np.sqrt(np.einsum("ij,ij->i", way, way))
    side = np.maximum(ducts.width.take(before), ducts.height.take(before))
    near = apart <= np.minimum(side / 2, REACH)
    near &= corner == ducts.finish.take(before)  # no arc, which has two ends
    return [
        warning(
            topology.place_in(int(ducts.run[leg]), int(start[bend])),
            f"this branch begins {length_words(float(apart[bend]))} before the corner "
            f"of run '{topology.drawing.names[ducts.run[before[bend]]]}', so it counts "
            "as a branch of that, and the corner as an elbow behind it",
            "begin it at the corner if the air parts there, as in a tee or wye; else "
            "leave room for the elbow",
            effect="a branch and an elbow count in place of a tee or wye",
            place=topology.nodes[int(start[bend])],
        )
        for bend in near.nonzero()[0].tolist()
        for leg in legs.duct[legs.is_branch & (legs.straight == first[bend])].tolist()
    ]


def even_notices(
    topology: Topology, ducts: Ducts, legs: Legs, meetings: Legs
) -> list[Notice]:
    """Say at which junctions it is open which leg is the main, or which are a pair.

    Parameters
    ----------
    topology, ducts
        The joined drawing and its ducts.
    legs, meetings
        Legs that lead away from junctions, and those that lead to meetings.
    """
    notices = []
    for every, node in ((legs, ducts.start), (meetings, ducts.finish)):
        if not (every.evenness.any() or every.pairing.any()):  # as nearly everywhere
            continue
        is_open = (every.evenness > 0.0) & (every.likeness < 1.0)
        is_open &= every.pairing == 0.0  # else two of several are a pair
        for common in np.unique(every.common[is_open]).tolist():
            beside = (every.common == common).nonzero()[0]
            notices.append(_even_notice(topology, ducts, every, beside, node))
        is_open = (every.pairing > 0.0) & (every.pairing < 1.0)
        for common in np.unique(every.common[is_open]).tolist():
            beside = (every.common == common).nonzero()[0]
            notices.append(_pair_notice(topology, ducts, every, beside, node))
    return notices


def _pair_notice(
    topology: Topology, ducts: Ducts, legs: Legs, beside: IntArray, node: IntArray
) -> Notice:
    """Say that two of the several legs of a junction are a pair in part."""
    at = int(node[legs.duct[beside[0]]])
    return warning(
        topology.place_in(int(ducts.run[legs.duct[beside[0]]]), at),
        f"the legs {_turned(topology, ducts, legs, beside)} degrees, and two are "
        "nearly, but not clearly, alike and opposite: they count as those of a "
        "symmetrical wye or bullhead tee by "
        f"{_percent(float(legs.pairing[beside[0]]))} %, and for the rest as if no two "
        "were (own choice, no published source)",
        "divide the air at two junctions, one behind the other; or turn the legs some "
        "degrees further from such a pair, or nearer to one",
        effect="it decides which table each leg takes",
        place=topology.nodes[at],
    )


def _turned(topology: Topology, ducts: Ducts, legs: Legs, beside: IntArray) -> str:
    """Words for which legs turn away, and by how much."""
    run = ducts.run[legs.duct[beside]].tolist()
    names = [f"'{topology.drawing.names[leg]}'" for leg in run]
    turns = [f"{turn:.3g}" for turn in np.degrees(legs.angle[beside]).tolist()]
    return f"{_listed(names)} turn away by {_listed(turns)}"


def _even_notice(
    topology: Topology, ducts: Ducts, legs: Legs, beside: IntArray, node: IntArray
) -> Notice:
    """Say of one junction, of the legs of some rows, that none is wholly its main.

    `node` is that of the junction of each duct.
    """
    mains = beside[legs.duct[beside] == legs.straight[beside]].tolist()
    row = (mains or beside.tolist())[0]
    own, at = int(ducts.run[legs.duct[row]]), int(node[legs.duct[row]])
    likeness = float(legs.likeness[row])
    counts = []
    if mains:
        part = (1.0 - float(legs.evenness[row])) * (1.0 - likeness)
        counts.append(
            f"'{topology.drawing.names[own]}' counts as it by {_percent(part)} %"
        )
    if likeness > 0.0:
        counts.append(
            "the junction counts as a symmetrical wye or bullhead tee by "
            f"{_percent(likeness)} %"
        )
    counted = ", ".join(counts) + (", and for the rest " if counts else "")
    remedy = (
        "let the main turn 10 degrees less than any other leg or, if it turns as much, "
        "be larger in area by a quarter"
    )
    if len(beside) == 2:
        remedy += (
            "; or let both turn by the same angle, 15 degrees or more, to opposite "
            "sides, as in a symmetrical wye"
        )
    return warning(
        topology.place_in(own, at),
        f"the legs {_turned(topology, ducts, legs, beside)} degrees, too nearly "
        f"alike in turn and size to tell which is the main: {counted}all are branches "
        "(own choice, no published source)",
        remedy,
        effect="it decides which leg loses as a branch does",
        place=topology.nodes[at],
    )


def _percent(part: float) -> str:
    """A part that is neither none nor the whole, in words of whole percents."""
    return f"{min(max(100.0 * part, 1.0), 99.0):.0f}"


def _listed(words: list[str]) -> str:
    return f"{', '.join(words[:-1])} and {words[-1]}"


def _start(topology: Topology, tree: Tree, row: int) -> str:
    """Place of the vertex at which a segment of the walk begins."""
    run = int(topology.run[tree.segment[row]])
    return topology.place_in(run, int(tree.start[row]))


def _uneven_notices(topology: Topology, tree: Tree, arcs: Arcs) -> list[Notice]:
    return [
        warning(
            _start(topology, tree, row),
            "a chain of small turns is not one even arc, so each turn counts as an "
            "elbow of its own",
            "draw the bend as an arc of equal chords or as one sharp corner",
            effect="several small elbows in place of one large",
            place=topology.nodes[int(tree.start[row])],
        )
        for row in arcs.uneven.tolist()
    ]


def _few_notices(
    topology: Topology, tree: Tree, arcs: Arcs, width: FloatArray, height: FloatArray
) -> list[Notice]:
    """Turns that may be one bend of too few chords: those that stand close together."""
    few = arcs.few
    side = np.maximum(width[few.segment], height[few.segment])
    return [
        warning(
            _start(topology, tree, row),
            f"{turns} turns close together lie on one arc of radius "
            f"{length_words(radius)}, but so few do not show that they are one bend, "
            "so each counts as an elbow of its own",
            "if they are one, draw it with turns of less than 30 degrees, three or "
            "more, or as one sharp corner with that radius",
            effect="several small elbows in place of one large",
            place=topology.nodes[int(tree.start[row])],
        )
        for row, turns, radius, close in zip(
            few.segment.tolist(),
            few.turns.tolist(),
            few.radius.tolist(),
            (few.chord <= _NEAR * side).tolist(),
            strict=True,
        )
        if close
    ]
