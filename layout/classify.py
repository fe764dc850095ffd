"""Recognise ducts, bends, transitions and junctions in a walked drawing."""

from collections.abc import Container
from dataclasses import dataclass, replace

import numpy as np

from .arcs import Arcs, find_arcs
from .basis import Basis
from .drawing import Drawing
from .elbow_rules import build_bends
from .faults import Notice, refusal
from .fit import TAP_FROM
from .fittings import NONE, Bends, Ducts, Legs, Transitions
from .frames import (
    carried_roll,
    is_plumb,
    level_frame,
    levelled,
    rolls,
    turn_between,
)
from .odd_turns import (
    FOLDED,
    STRAIGHT_ON,
    bent_notices,
    chain_notices,
    folded_notices,
    slanted_notices,
)
from .schedule import Schedule
from .sections import BoolArray, FloatArray, IntArray, area
from .standing import idle_up_notices, is_lengthwise, roll_notices, twist_notices
from .stretches import is_first
from .strokes import LARGEST_TURN
from .topology import Topology
from .tree import Tree, heads

# Two legs share a turn where both are turned away, by about the same, to opposite
# sides. Each counts in full up to one angle, and no more at the other.
_TURNED_AWAY = np.radians([10.0, 15.0])  # the straighter one; of the print about 15
_UNLIKE = np.radians([20.0, 10.0])  # difference of their deflections; about 10
_BESIDE = np.radians([30.0, 20.0])  # how far they are from opposite sides
_LARGEST_KINK = np.radians(20.0)  # of the centreline where a transition slants
_SAME_TURN = 1e-3  # rad: a millimetre of a drawing over a metre
_SAME_SIZE = 1e-5  # m: a hundredth of the rounding of sizes in millimetres

_NO_ROWS = np.empty(0, dtype=np.int64)
_NO_FLAGS = np.empty(0, dtype=bool)
_NO_LEGS = Legs(
    duct=_NO_ROWS,
    common=_NO_ROWS,
    straight=_NO_ROWS,
    is_branch=_NO_FLAGS,
    angle=np.empty(0),
    straight_angle=np.empty(0),
    likeness=np.empty(0),
    branch=_NO_ROWS,
    leg_count=_NO_ROWS,
    entry=_NO_ROWS,
    entry_basis=_NO_ROWS,
)


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


@dataclass(frozen=True, eq=False)
class _Pieces:
    """Segments with their sections, and how each goes on its parent."""

    run: IntArray
    shape: IntArray
    width: FloatArray
    height: FloatArray
    is_transition: BoolArray
    before: IntArray
    alone: BoolArray
    same_section: BoolArray
    is_tap: BoolArray
    turn: FloatArray
    axis: FloatArray


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
    pieces = _pieces(topology, tree, sections, schedule)
    arcs = find_arcs(
        tree,
        topology.nodes,
        pieces.turn,
        pieces.alone & pieces.same_section & ~pieces.is_transition,
    )
    if len(arcs.bare):
        tree, pieces = _along_tangents(tree, pieces, arcs)
    # The kink at an end of a transition with one flat side is no elbow.
    at_piece = pieces.is_transition | pieces.is_transition[pieces.before]
    kink = at_piece & (pieces.turn < _LARGEST_KINK)
    sharp = pieces.alone & (pieces.turn > STRAIGHT_ON) & ~arcs.member & ~kink
    follows = (
        pieces.alone
        & pieces.same_section
        & ~sharp
        & ~arcs.member
        & ~pieces.is_transition
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
    parent = duct_of[into[first]]
    legs = _dividing(topology, tree, pieces, duct_of, schedule)
    meetings = _meeting(topology, tree, pieces, duct_of, schedule)
    across, upright, roll = _frames(
        topology, tree, pieces, arcs, first, last, parent, legs, meetings
    )
    drawn: FloatArray = np.bincount(head, tree.length, len(head))[first].astype(float)
    # Air rubs along a drawn transition in its larger and in its smaller section.
    piece = pieces.is_transition[first]
    slope = np.where(piece, drawn / 2, 0.0)
    after = ((parent >= 0) & piece[np.maximum(parent, 0)]).nonzero()[0]
    slope[after] += slope[parent[after]]
    drawn[piece] = 0.0

    folded = (sharp & (pieces.turn > FOLDED)).nonzero()[0]
    sharp[arcs.after] = True
    at = sharp.nonzero()[0]
    angle, axis = pieces.turn.take(at), pieces.axis.take(at, axis=0)
    radius, setback, misfit = np.full((3, len(at)), np.nan)
    curved = at.searchsorted(arcs.after)
    angle[curved], axis[curved] = arcs.angle, arcs.axis
    radius[curved], setback[curved] = arcs.radius, arcs.setback
    misfit[:] = 0.0
    misfit[curved] = arcs.misfit
    bend_duct = duct_of[at]
    before = parent[bend_duct]
    came = first[before]
    bends = build_bends(
        duct=bend_duct,
        run=pieces.run[at],
        place=topology.order[tree.segment[at]] + np.where(tree.forward[at], 0.0, 0.5),
        angle=angle,
        axis=axis,
        drawn_radius=radius,
        drawn_setback=setback,
        misfit=misfit,
        shape=pieces.shape[came],
        width=pieces.width[came],
        height=pieces.height[came],
        across=across.take(before, axis=0),
        drawing=topology.drawing,
        schedule=schedule,
    )
    ducts, bends = _with_lengths(
        topology,
        tree,
        pieces,
        first,
        last,
        (duct_of[arcs.bare], arcs.point),
        parent,
        drawn,
        slope,
        across,
        upright,
        roll,
        bends,
    )
    transitions = _transitions(tree, pieces, duct_of, topology, schedule)
    notices = [
        *chain_notices(topology, tree, arcs, pieces.width, pieces.height),
        *folded_notices(topology, tree, folded, pieces.turn[folded]),
        *bent_notices(topology, tree, pieces.is_transition, sharp),
        *slanted_notices(
            topology, tree, pieces.is_transition, sharp, pieces.width, pieces.height
        ),
        *roll_notices(topology, ducts, tree.direction.take(first, axis=0), legs, bends),
        *twist_notices(topology, ducts, legs, bends),
        *idle_up_notices(topology, ducts, tree.direction.take(first, axis=0)),
    ]
    return Classified(
        ducts,
        bends,
        transitions,
        legs,
        meetings,
        _lone(topology, tree, pieces, duct_of, schedule),
        duct_of[:-1],
        tuple(notices),
    )


def _pieces(
    topology: Topology, tree: Tree, sections: RunSections, schedule: Schedule
) -> _Pieces:
    drawing = topology.drawing
    run = topology.run[tree.segment]
    shape = sections.shape[run]
    width, height = sections.width[run], sections.height[run]
    before = np.maximum(tree.parent, 0)
    marked = [i for i, said in drawing.attributes.items() if said.transition]
    is_transition = np.isin(run, marked) if marked else np.zeros(len(run), dtype=bool)
    for row in is_transition.nonzero()[0].tolist():
        # A transition begins with the section that comes to it.
        alone = tree.children[row] == 1 and tree.finish[row] not in tree.meeting
        if not alone or tree.parent[row] < 0:
            raise refusal(
                drawing.place(int(run[row])),
                "this run is marked as a transition but does not lie between two ducts",
                "draw it between the end of one duct and the start of another",
            )
        shape[row] = shape[before[row]]
        width[row], height[row] = width[before[row]], height[before[row]]
    same = (
        (shape == shape[before])
        & (np.abs(width - width[before]) < _SAME_SIZE)
        & (np.abs(height - height[before]) < _SAME_SIZE)
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
        is_tap &= np.isin(run, _named(drawing, closed)) & (run != run[before])
        if is_tap.any() and schedule.source.is_return:
            raise refusal(
                drawing.place(int(run[is_tap.nonzero()[0][0]])),
                "no value is published for a tap at the closed end of a return",
                "delete closed_end for it under [[takeoffs.exception]]",
            )
        alone &= ~is_tap
    return _Pieces(
        run,
        shape,
        width,
        height,
        is_transition,
        before,
        alone,
        same,
        is_tap,
        turn,
        axis,
    )


def _along_tangents(tree: Tree, pieces: _Pieces, arcs: Arcs) -> tuple[Tree, _Pieces]:
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


def _dividing(
    topology: Topology,
    tree: Tree,
    pieces: _Pieces,
    duct_of: IntArray,
    schedule: Schedule,
) -> Legs:
    """Legs of junctions that lead away from the source."""
    divided = (tree.parent >= 0) & (tree.children[pieces.before] > 1)
    rows = (divided | pieces.is_tap).nonzero()[0]
    common = pieces.before.take(rows)
    if len(tree.meeting):
        common = np.where(np.isin(tree.start[rows], tree.meeting), rows, common)
    return _legs(
        topology,
        tree.direction.take(rows, axis=0),
        pieces,
        rows,
        tree.parent.take(rows),
        common,
        pieces.turn.take(rows),
        duct_of,
        schedule,
    )


def _meeting(
    topology: Topology,
    tree: Tree,
    pieces: _Pieces,
    duct_of: IntArray,
    schedule: Schedule,
) -> Legs:
    """Legs that lead to where the air of a loop meets."""
    if len(tree.meeting) == 0:
        return _NO_LEGS
    rows = np.flatnonzero(np.isin(tree.finish, tree.meeting))
    node = tree.finish[rows]
    onward = np.flatnonzero(np.isin(tree.start, tree.meeting))
    onward = onward[np.argsort(tree.start[onward], kind="stable")]
    at = tree.start[onward]
    common = onward[np.searchsorted(at, node)]
    turn, _ = turn_between(tree.direction[rows], tree.direction[common])
    several = np.isin(node, at[~is_first(at)])
    return _legs(
        topology,
        -tree.direction[rows],
        pieces,
        rows,
        node,
        np.where(several, rows, common),
        turn,
        duct_of,
        schedule,
    )


def _lone(
    topology: Topology,
    tree: Tree,
    pieces: _Pieces,
    duct_of: IntArray,
    schedule: Schedule,
) -> Legs:
    """Legs of meetings as if all air came along one duct: once for each that leads in.

    What stands still leads away from it, like the dead leg of a junction that divides.
    """
    into: dict[int, list[int]] = {}
    onward: dict[int, list[int]] = {}
    for row in np.flatnonzero(np.isin(tree.finish, tree.meeting)).tolist():
        into.setdefault(int(tree.finish[row]), []).append(row)
    for row in np.flatnonzero(np.isin(tree.start, tree.meeting)).tolist():
        onward.setdefault(int(tree.start[row]), []).append(row)
    leg, common = [], []
    for node, arriving in into.items():
        if len(onward[node]) > 1:  # no coefficients are published for that
            continue
        for row in arriving:
            others = [other for other in arriving if other != row]
            leg += [*onward[node], *others]
            common += [row] * (1 + len(others))
    if not leg:
        return _NO_LEGS
    rows, before = np.array(leg), np.array(common)
    leads_on = tree.start[rows] == tree.finish[before]
    away = np.where(leads_on[:, None], 1.0, -1.0) * tree.direction[rows]
    turn, _ = turn_between(tree.direction[before], away)
    return _legs(topology, away, pieces, rows, before, before, turn, duct_of, schedule)


def _legs(
    topology: Topology,
    away: FloatArray,
    pieces: _Pieces,
    rows: IntArray,
    junction: IntArray,
    common: IntArray,
    turn: FloatArray,
    duct_of: IntArray,
    schedule: Schedule,
) -> Legs:
    """Tell branches from straight legs.

    `rows` are the legs and `common` what they share, as segments of the walk; `away`
    is the direction of each leg, `turn` how far that is from straight on, `junction`
    a number that the legs of one share.
    """
    size = area(pieces.shape[rows], pieces.width[rows], pieces.height[rows])
    # Equal deflections are told apart by size, so that the order of drawing is not
    # what decides.
    order = np.lexsort((-size, (turn / _SAME_TURN).round(), junction))
    rows, common, turn = rows[order], common[order], turn[order]
    first = is_first(junction[order])
    begin, group = first.nonzero()[0], first.cumsum() - 1
    count = np.bincount(group)
    straight = begin[group]
    widest = (begin + count - 1)[group]
    every = np.arange(len(rows))
    is_tap = pieces.is_tap[rows]
    is_branch = (every != straight) | is_tap
    straight_turn = turn[straight]
    likeness, tied = np.zeros(len(rows)), np.zeros(len(rows), dtype=bool)
    turned = (count[group] > 1) & (straight_turn > STRAIGHT_ON) & (common != rows)
    if turned.any():
        likeness, tied = _without_main(
            away.take(order, axis=0), turn, size[order], turned, group, straight, widest
        )
        is_branch |= tied
        straight_turn = np.where(tied, 0.0, straight_turn)
    symmetrical = likeness > 0.5
    branch = np.where(is_branch | symmetrical, every, widest)
    drawing = topology.drawing
    default, default_basis = schedule.takeoff_entry("")
    entry = np.full(len(rows), int(default))
    basis = np.full(len(rows), int(default_basis))
    special = schedule.takeoff_exceptions
    if special:
        run = pieces.run[rows[branch]]
        for row in np.flatnonzero(np.isin(run, _named(drawing, special))).tolist():
            rule, rule_basis = schedule.takeoff_entry(drawing.names[run[row]])
            entry[row], basis[row] = int(rule), int(rule_basis)
    basis[is_tap] = int(Basis.DECLARED)
    return Legs(
        duct_of[rows],
        duct_of[common],
        np.where(tied, duct_of[common], duct_of[rows[straight]]),
        is_branch | symmetrical,
        turn,
        straight_turn,
        likeness,
        duct_of[rows[branch]],
        count[group] + 1,
        entry,
        basis,
    )


def _without_main(
    away: FloatArray,
    turn: FloatArray,
    size: FloatArray,
    turned: BoolArray,
    group: IntArray,
    straight: IntArray,
    widest: IntArray,
) -> tuple[FloatArray, BoolArray]:
    """Likeness of junctions to such without a main, and whether no leg is straight.

    `turned` are the legs of several where the straightest turns away too; `straight`
    and `widest` are the legs of each one's junction that turn least and most.
    """
    likeness, several = np.zeros(len(turn)), widest - straight > 1
    away_too = turned & (turn[straight] > _TURNED_AWAY[0])
    alike = (away_too & ~several).nonzero()[0]
    likeness[alike] = _likeness(away, turn, straight[alike], widest[alike])
    for leg in np.unique(straight[away_too & several]).tolist():
        here = np.arange(leg, widest[leg] + 1)
        one, other = (part.ravel() for part in np.meshgrid(here, here))
        found = _likeness(away, turn, one, other).reshape(len(here), -1)
        np.fill_diagonal(found, 0.0)
        # Where another goes much nearer straight on, that is the main of two branches.
        found *= turn[here] <= turn[leg] + _UNLIKE[1]
        # Of more than two legs it is all or nothing: there is no print between.
        likeness[here] = found.max(axis=1) > 0.5
    # Where two legs tie for the straight one, or two of several are a pair, none is
    # straight: else the order of drawing would tell which.
    second = np.minimum(straight + 1, len(turn) - 1)
    tied = turned & (np.abs(turn[second] - turn[straight]) < _SAME_TURN)
    tied &= np.abs(size[second] - size[straight]) < _SAME_SIZE * size[straight]
    tied |= np.bincount(group, (likeness > 0.5) & several)[group] > 0
    return likeness, tied


def _likeness(
    away: FloatArray, turn: FloatArray, one: IntArray, other: IntArray
) -> FloatArray:
    """How much two legs count as those of a junction without a main, 0 to 1."""
    between, _ = turn_between(away.take(one, axis=0), away.take(other, axis=0))
    both = turn[one] + turn[other]
    # On opposite sides the angle between them is the sum of their deflections.
    apart = np.abs(between - np.minimum(both, 2 * np.pi - both))
    return (
        _share(np.minimum(turn[one], turn[other]), *_TURNED_AWAY)
        * _share(np.abs(turn[other] - turn[one]), *_UNLIKE)
        * _share(apart, *_BESIDE)
    )


def _share(angle: FloatArray, none: float, whole: float) -> FloatArray:
    """How much counts: 0 at one angle, 1 at the other, straight between."""
    return np.asarray(((angle - none) / (whole - none)).clip(0.0, 1.0))


def _named(drawing: Drawing, names: Container[str]) -> list[int]:
    """Runs that go by one of some names."""
    return [run for run, name in enumerate(drawing.names) if name in names]


def _frames(
    topology: Topology,
    tree: Tree,
    pieces: _Pieces,
    arcs: Arcs,
    first: IntArray,
    last: IntArray,
    parent: IntArray,
    legs: Legs,
    meetings: Legs,
) -> tuple[FloatArray, FloatArray, FloatArray]:
    after = tree.direction.take(first, axis=0)
    begins = np.where(parent >= 0, np.nan, 0.0)
    away = legs.duct[legs.is_branch]
    if len(meetings.duct):  # what goes on from a meeting as from a branch
        onward = meetings.common[meetings.is_branch]
        before = meetings.duct[meetings.is_branch]
        away = np.concatenate([away, onward[parent[onward] == before]])
    plumb = is_plumb(after)
    begins[away[~plumb[away]]] = 0.0
    is_head = parent < 0
    is_head[away] = True
    free = is_head & plumb
    across, upright = level_frame(after)
    for run, said in topology.drawing.attributes.items():
        if said.roll is None and said.up is None:
            continue
        mine = pieces.run[first] == run
        entering = mine & ~((parent >= 0) & mine[parent])
        for duct in entering.nonzero()[0].tolist():
            if said.roll is not None:
                begins[duct] = said.roll
            elif said.up is not None and not is_lengthwise(said.up, after[duct]):
                up = np.array(said.up)
                begins[duct] = np.arctan2(-up @ across[duct], up @ upright[duct])
            else:
                continue
            free[duct] = False
    angle, axis = pieces.turn.take(first), pieces.axis.take(first, axis=0)
    where = first.searchsorted(arcs.after)
    angle[where], axis[where] = arcs.angle, arcs.axis
    added = np.zeros(len(first))
    goes_level = ~(plumb | is_head) & plumb[parent]
    turning = ((angle > 1e-12) & (np.isnan(begins) | goes_level)).nonzero()[0]
    added[turning] = carried_roll(
        tree.direction.take(last[parent[turning]], axis=0),
        axis.take(turning, axis=0),
        angle[turning],
        across.take(turning, axis=0),
        upright.take(turning, axis=0),
    )
    behind = goes_level.nonzero()[0]
    if len(behind):
        begins = levelled(parent, plumb, free, behind, begins, added)
    roll = rolls(parent, added, begins)
    # Quarter turns come out a rounding away from where they belong.
    quarter = (roll / (np.pi / 2)).round() * (np.pi / 2)
    roll = np.where(np.abs(roll - quarter) < 1e-6, quarter, roll)
    rolled = roll.nonzero()[0]
    cosine, sine = np.cos(roll[rolled])[:, None], np.sin(roll[rolled])[:, None]
    level, erect = across.take(rolled, axis=0), upright.take(rolled, axis=0)
    across[rolled] = level * cosine + erect * sine
    upright[rolled] = erect * cosine - level * sine
    return across, upright, roll


def _with_lengths(
    topology: Topology,
    tree: Tree,
    pieces: _Pieces,
    first: IntArray,
    last: IntArray,
    bare: tuple[IntArray, FloatArray],
    parent: IntArray,
    drawn: FloatArray,
    slope: FloatArray,
    across: FloatArray,
    upright: FloatArray,
    roll: FloatArray,
    bends: Bends,
) -> tuple[Ducts, Bends]:
    """Take the bends' tangents off the ducts and give them half of each arc.

    That shows where the bends' corners are and which bends do not fit.
    `bare` are the ducts without length at the ends of arcs, and where they are.
    """
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
    if (straight < 0.0).any():
        plain = _goes_straight_on(pieces, first)
        plain[bends.duct] = False
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
    far = bends.angle > np.radians(150.0)
    reach = bends.radius * np.tan(np.where(far, 0.0, bends.angle) / 2)
    corner = (arriving + leaving + reach[:, None] * (into - away)) / 2
    run = pieces.run[first]
    found = Ducts(
        parent,
        start,
        finish,
        run,
        pieces.shape[first],
        pieces.width[first],
        pieces.height[first],
        np.maximum(straight, 0.0) + arc + slope,
        straight,
        begin,
        end,
        across,
        upright,
        roll,
        topology.drawing.flow[run],
    )
    return found, replace(bends, short_by=short_by, corner=corner)


def _goes_straight_on(pieces: _Pieces, first: IntArray) -> BoolArray:
    """Whether a duct, by its first segment, may be the same duct in another run."""
    before = pieces.before[first]
    return np.asarray(
        pieces.alone[first]
        & pieces.same_section[first]
        & ~pieces.is_transition[first]
        & ~pieces.is_transition[before]
    )


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


def _transitions(
    tree: Tree,
    pieces: _Pieces,
    duct_of: IntArray,
    topology: Topology,
    schedule: Schedule,
) -> Transitions:
    rows = (pieces.alone & ~pieces.same_section).nonzero()[0]
    before = pieces.before[rows]
    drawn = pieces.is_transition[before]
    step_w = np.abs(pieces.width[rows] - pieces.width[before])
    step_h = np.abs(pieces.height[rows] - pieces.height[before])
    step = np.maximum(step_w, step_h)
    # Between shapes of the same sides there is no slope: one side long.
    step = np.where(step < _SAME_SIZE, pieces.width[before], step)
    rule, rule_basis = schedule.transition_rule("")
    length = rule.length_for(step)
    basis = np.full(len(rows), int(rule_basis))
    for name in schedule.transition_exceptions:
        rule, rule_basis = schedule.transition_rule(name)
        named = np.isin(pieces.run[rows], _named(topology.drawing, (name,)))
        length[named] = rule.length_for(step[named])
        basis[named] = int(rule_basis)
    return Transitions(
        duct_of[rows],
        np.where(drawn, tree.length[before], length),
        np.where(drawn, int(Basis.DRAWN), basis),
    )
