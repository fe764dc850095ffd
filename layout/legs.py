"""Legs of junctions: which go straight on, which branch off, which share a turn."""

import numpy as np

from .basis import Basis
from .fittings import Legs
from .frames import turn_between
from .odd_turns import STRAIGHT_ON
from .pieces import SAME_SIZE, Pieces, runs_named
from .recurrences import is_first
from .schedule import Schedule
from .sections import BoolArray, FloatArray, IntArray, area
from .topology import Topology
from .tree import Tree

# Two legs share a turn where both are turned away, by about the same, to opposite
# sides. Each counts in full up to one angle, and no more at the other.
_TURNED_AWAY = np.radians([10.0, 15.0])  # the straighter one; of the print about 15
_UNLIKE = np.radians([20.0, 10.0])  # difference of their deflections; about 10
_BESIDE = np.radians([30.0, 20.0])  # how far they are from opposite sides
# A leg is the main of another where it turns so much less or, turning as much, is so
# much larger; between these and an exact tie it counts as one in part.
_SAME_TURN = 1e-3  # rad: a millimetre of a drawing over a metre
_LESS_TURN = np.radians(10.0)
_LARGER = 0.2  # of the larger area

_NO_ROWS = np.empty(0, dtype=np.int64)
_NO_FLAGS = np.empty(0, dtype=bool)
_NO_LEGS = Legs(
    duct=_NO_ROWS,
    common=_NO_ROWS,
    straight=_NO_ROWS,
    is_branch=_NO_FLAGS,
    away=np.empty((0, 3)),
    angle=np.empty(0),
    straight_angle=np.empty(0),
    likeness=np.empty(0),
    evenness=np.empty(0),
    pairing=np.empty(0),
    branch=_NO_ROWS,
    leg_count=_NO_ROWS,
    entry=_NO_ROWS,
    entry_basis=_NO_ROWS,
)


def outgoing_legs(
    topology: Topology,
    tree: Tree,
    pieces: Pieces,
    duct_of: IntArray,
    schedule: Schedule,
) -> Legs:
    """Legs of junctions that lead away from the source.

    Parameters
    ----------
    topology, tree, pieces
        The walk and its segments, e of them.
    duct_of
        Duct of each segment, shape (e,) or longer.
    schedule
        Says the entries of the branches.

    Returns
    -------
    legs
        Those of a junction beside each other, the straightest first.

    Notes
    -----
    The main is the leg that turns least, and of those that turn as much the largest.
    Where two tie in both, neither is: all are branches. Between the two it goes evenly,
    over 10 degrees of difference (or as much as the straighter one turns, where that is
    less) and over a fifth of the larger area, so that no rounding of a drawing tells
    which is the main: our own choice, no published source.
    """
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


def meeting_legs(
    topology: Topology,
    tree: Tree,
    pieces: Pieces,
    duct_of: IntArray,
    schedule: Schedule,
) -> Legs:
    """Legs that lead to where the air of a loop meets.

    Parameters and what comes back are those of `outgoing_legs`.
    """
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


def lone_legs(
    topology: Topology,
    tree: Tree,
    pieces: Pieces,
    duct_of: IntArray,
    schedule: Schedule,
) -> Legs:
    """Legs of meetings as if all air came along one duct: once for each that leads in.

    What stands still leads away from it, like the dead leg of a junction that divides.
    Parameters and what comes back are those of `outgoing_legs`.
    """
    if len(tree.meeting) == 0:
        return _NO_LEGS
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
    pieces: Pieces,
    rows: IntArray,
    junction: IntArray,
    common: IntArray,
    turn: FloatArray,
    duct_of: IntArray,
    schedule: Schedule,
) -> Legs:
    """Tell branches from mains.

    `rows` are the legs and `common` what they share, as segments of the walk; `away`
    is the direction of each leg, `turn` how far that is from straight on, `junction`
    a number that the legs of one share.
    """
    size = area(pieces.shape[rows], pieces.width[rows], pieces.height[rows])
    # Equal deflections are told apart by size, so that the order of drawing is not
    # what decides.
    order = np.lexsort((-size, (turn / _SAME_TURN).round(), junction))
    rows, is_tap = rows[order], pieces.is_tap[rows[order]]
    default, default_basis = schedule.takeoff_entry("")
    entry = np.full(len(rows), int(default))
    basis = np.full(len(rows), int(default_basis))
    drawing, special = topology.drawing, schedule.takeoff_exceptions
    if special:
        run = pieces.run[rows]
        for row in np.flatnonzero(np.isin(run, runs_named(drawing, special))).tolist():
            rule, rule_basis = schedule.takeoff_entry(drawing.names[run[row]])
            entry[row], basis[row] = int(rule), int(rule_basis)
    basis[is_tap] = int(Basis.DECLARED)
    return _told_apart(
        duct_of[rows],
        duct_of[common[order]],
        away.take(order, axis=0),
        turn[order],
        size[order],
        junction[order],
        is_tap,
        entry,
        basis,
    )


def legs_among(legs: Legs, rows: IntArray, size: FloatArray) -> Legs:
    """Some legs of junctions, told apart as if no others were there.

    Parameters
    ----------
    legs, rows
        With all legs of each junction, and the rows of some, in that order; none of
        joints where several ducts lead in and several out.
    size
        Area of each duct, m², shape (d,).
    """
    return _told_apart(
        legs.duct[rows],
        legs.common[rows],
        legs.away[rows],
        legs.angle[rows],
        size[legs.duct[rows]],
        legs.common[rows],
        np.zeros(len(rows), dtype=bool),
        legs.entry[rows],
        legs.entry_basis[rows],
    )


def _told_apart(
    duct: IntArray,
    common: IntArray,
    away: FloatArray,
    turn: FloatArray,
    size: FloatArray,
    junction: IntArray,
    is_tap: BoolArray,
    entry: IntArray,
    basis: IntArray,
) -> Legs:
    """Tell branches from mains: legs beside each other, the straightest first."""
    first = is_first(junction)
    begin, group = first.nonzero()[0], first.cumsum() - 1
    count = np.bincount(group)
    straight = begin[group]
    widest = (begin + count - 1)[group]
    every = np.arange(len(duct))
    likeness, evenness, pairing = np.zeros((3, len(duct)))
    turned = (count[group] > 1) & (turn[straight] > STRAIGHT_ON) & (common != duct)
    if turned.any():
        likeness, evenness, pairing, straight = _without_main(
            away, turn, size, turned, straight, widest
        )
        widest = np.where(turned & (widest == straight), widest - 1, widest)
    tied = evenness == 1.0
    is_branch = (every != straight) | is_tap | (evenness > 0.0)
    symmetrical = likeness > 0.5
    return Legs(
        duct,
        common,
        np.where(tied, common, duct[straight]),
        is_branch | symmetrical,
        away,
        turn,
        np.where(tied, 0.0, turn[straight]),
        likeness,
        evenness,
        pairing,
        np.where(is_branch | symmetrical, duct, duct[widest]),
        count[group] + 1,
        entry,
        basis,
    )


def _without_main(
    away: FloatArray,
    turn: FloatArray,
    size: FloatArray,
    turned: BoolArray,
    straight: IntArray,
    widest: IntArray,
) -> tuple[FloatArray, FloatArray, FloatArray, IntArray]:
    """Likeness, evenness and pairing, and the leg that is the main if one is.

    `turned` are the legs of several where the straightest turns away too; `straight`
    and `widest` are the legs of each one's junction that turn least and most.
    """
    likeness, evenness, pairing = np.zeros((3, len(turn)))
    main, several = straight.copy(), widest - straight > 1
    two = (turned & ~several).nonzero()[0]
    one, other = straight[two], widest[two]
    likeness[two] = _likeness(away, turn, one, other)
    lead = _lead(turn, size, one, other)
    evenness[two] = 1.0 - np.abs(lead)
    main[two] = np.where(lead < 0.0, other, one)
    for leg in np.unique(straight[turned & several]).tolist():
        here = np.arange(leg, widest[leg] + 1)
        one, other = (part.ravel() for part in np.meshgrid(here, here, indexing="ij"))
        found = _likeness(away, turn, one, other).reshape(len(here), -1)
        np.fill_diagonal(found, 0.0)
        # Where another goes much nearer straight on, that is the main of two branches.
        found *= _share(turn[here] - turn[leg], *_UNLIKE)
        found *= _share(turn[leg], *_TURNED_AWAY)
        likeness[here] = found.max(axis=1)
        pairing[here] = found.max()
        lead = _lead(turn, size, one, other).reshape(len(here), -1)
        np.fill_diagonal(lead, 1.0)
        least = lead.min(axis=1)  # at most one leads all others
        main[here] = leg + least.argmax()
        # As far as there is a pair none beside it is straight.
        evenness[here] = 1.0 - max(least.max(), 0.0) * (1.0 - found.max())
    return likeness, evenness, pairing, main


def _lead(
    turn: FloatArray, size: FloatArray, one: IntArray, other: IntArray
) -> FloatArray:
    """How much one leg counts as the main beside another, 1 to -1 for the reverse.

    By the lesser turn, and as far as that leaves it open by the larger area.
    """
    least = np.minimum(turn[one], turn[other])
    less = turn[other] - turn[one]
    more = (size[one] - size[other]) / np.maximum(size[one], size[other])
    whole = np.minimum(_LESS_TURN, least) - _SAME_TURN  # the drawing's rounding too
    by_turn = np.sign(less) * _share(np.abs(less), _SAME_TURN, whole)
    by_size = np.sign(more) * _share(np.abs(more), SAME_SIZE, _LARGER)
    return np.asarray(by_turn + (1.0 - np.abs(by_turn)) * by_size)


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


def _share(value: FloatArray, none: float, whole: float | FloatArray) -> FloatArray:
    """How much counts: 0 at one value, 1 at the other, straight between."""
    return np.asarray(((value - none) / (whole - none)).clip(0.0, 1.0))
