"""Open ends close behind an elbow or a widening, which feel them: the print of both.

The row of the elbow or the widening stays as it is, and that of the open end has what
both together lose beyond it.
"""

from dataclasses import replace
from functools import cache

import numpy as np

from elbowroom.layout import (
    Basis,
    BoolArray,
    DuctGraph,
    ElbowConstruction,
    FloatArray,
    IntArray,
    Shape,
)

from .coefficient import Coefficient, Gathered, Note
from .exits import exit_abrupt, exit_after_elbow, exit_diffuser
from .junction_terms import mixed, thirds
from .losses import as_they_stand, both_ways, ways_of_turning
from .shares import share_between
from .transitions import (
    CHANGED,
    NO_CHANGE,
    SAME_SIDE,
    changed_sides,
    included_angles,
    round_to_rect_angle,
)

AFTER_ELBOW = "exit_after_elbow_90"
_LAST, _UNFELT = 12.0, 16.0  # widths behind the elbow: the print ends, and is gone
_SQUARE, _ASKEW = np.radians([3.0, 45.0])  # off 90 degrees: as printed, and unlike it
_FAR = 5.0  # hydraulic diameters behind a widening, from where on it is not felt
# By the code of a construction: those of the print, and all that do not even the air.
_PRINTED = np.isin(
    list(ElbowConstruction),
    [
        ElbowConstruction.SMOOTH,
        ElbowConstruction.MITRED,
        ElbowConstruction.SQUARE_THROAT,
    ],
)
_BARE = np.array(
    [
        not made.is_vaned and made != ElbowConstruction.SPLITTERS
        for made in ElbowConstruction
    ]
)


@cache
def _plain() -> Coefficient:
    """What an open end has that feels nothing before it."""
    return exit_abrupt()


def at_open_ends(
    graph: DuctGraph,
    area: FloatArray,
    bends: Gathered,
    changes: Gathered,
    corners: FloatArray,
    *,
    by_reynolds: bool,
) -> tuple[IntArray, Gathered]:
    """Coefficients of the open ends of a supply that feel what stands before them.

    Parameters
    ----------
    graph
        The classified graph of a supply.
    area
        Area of its ducts, m², shape (d,).
    bends, changes
        Coefficients of its bends and its transitions, these without their kinks.
    corners
        How much of the transitions counts in the elbow before them, shape (t,): no
        print of these and an open end is known.
    by_reynolds
        Whether the Reynolds factors of elbows count.

    Returns
    -------
    rows, gathered
        Rows of the terminals, shape (n,), none of which declares a loss, and their
        coefficients, on the velocity in their ducts.

    Notes
    -----
    An elbow and the end together lose what is printed, but no less than their plain
    sum; a widening and the end what is printed. What comes between with a declared
    loss, or as a junction, ends that. All that follows is our own choice: behind an
    elbow the print goes straight over into the plain sum from its last straight length,
    12 widths, to 16, from 3 to 45 degrees off a right angle, and as a section between
    them changes by 1 to 5 % of a side, and askew each way of turning counts; behind a
    widening over 5 hydraulic diameters of its mouth. The print is of rectangular
    elbows, smooth or mitred: it stands in for others, by r over the side in the plane
    of the bend; not for vanes and splitters, which even the air out. Those of widenings
    are conical, with two sides parallel, or pyramidal, and the last stands in likewise
    between shapes and for flat ovals. Up to the first printed ratio of areas, 2, what
    one has less than the plain sum comes in by degrees.
    """
    ducts = graph.ducts
    of_bend, of_change = graph.bend_of, np.full(len(ducts.parent), -1)
    kept = np.array([credit.table == NO_CHANGE for credit in changes.credits], bool)
    other = (~kept[changes.credit] | graph.transitions.kink.any(axis=0)).nonzero()[0]
    of_change[graph.transitions.duct[other]] = other
    slight = slight_changes(graph)
    rows = graph.terminals.bare
    more, out = np.zeros(len(rows)), Gathered(len(rows))
    ends = graph.terminals.duct[rows]
    duct, behind, _, parted = stretches(
        graph, ends, (of_bend >= 0) | (of_change >= 0), slight
    )
    change = of_change[duct]
    opens = ~parted & (change >= 0)
    opens[opens] = (area[duct] > area[ducts.parent[duct]])[opens]
    opens[opens] = corners[change[opens]] < 1.0
    if opens.any():
        more[opens] = _behind_widenings(
            graph, area, changes, opens, change[opens], behind[opens], out
        ) * (1.0 - corners[change[opens]])
    duct, behind, part, parted = stretches(
        graph, ends, (of_bend >= 0) | (slight <= 0.0), slight
    )
    bend = of_bend[duct]
    turns = ~parted & (bend >= 0) & (part > 0.0)
    turns[turns] = _BARE[graph.bends.construction[bend[turns]]]
    if turns.any():
        more[turns] += part[turns] * _behind_elbows(
            graph, bends, turns, bend[turns], behind[turns], out, by_reynolds
        )
        out.notes[turns & (part < 1.0)] |= int(Note.INTERPOLATED)
    felt = more.nonzero()[0]
    out.value = _plain().value[0] + more
    return rows[felt], out.part(felt)


def slight_changes(graph: DuctGraph) -> FloatArray:
    """How slight the transition before each duct is, shape (d,).

    1 where there is none or no side changes by more than 1 %, 0 from 5 % on, or where
    the shape changes or it has kinks: how much an elbow is felt through it.
    """
    every = graph.transitions
    after = every.duct
    came, w1, h1, goes, w2, h2 = as_they_stand(
        graph.ducts, graph.ducts.parent[after], after
    )
    most = np.maximum(np.abs(w2 / w1 - 1.0), np.abs(h2 / h1 - 1.0))
    share = share_between(most, CHANGED, SAME_SIDE)
    slight = np.ones(len(graph.ducts.parent))
    slight[after] = np.where((came == goes) & ~every.kink.any(axis=0), share, 0.0)
    return slight


def stretches(
    graph: DuctGraph, end: IntArray, changed: BoolArray, slight: FloatArray
) -> tuple[IntArray, FloatArray, FloatArray, BoolArray]:
    """Follow straight stretches of duct back to what they begin with.

    Parameters
    ----------
    graph
        The classified graph.
    end
        Ducts that end the stretches, shape (n,).
    changed
        Ducts that begin one, besides those behind a junction or the source, shape (d,).
    slight
        From `slight_changes`.

    Returns
    -------
    duct, length, part, parted
        Duct that begins each, its straight length, m, how much is felt through the
        slight changes in it, and whether a component stands in it, shape (n,).
    """
    ducts = graph.ducts
    begins = changed | (ducts.parent < 0)
    begins[graph.legs.duct] = begins[graph.meetings.common] = True
    straight = np.maximum(ducts.straight, 0.0)
    duct = end.copy()
    length, part = straight[duct], slight[duct]
    holds = np.zeros(len(begins), dtype=bool)
    holds[graph.components.duct] = True
    parted = holds[duct]
    while True:
        onward = (~begins[duct]).nonzero()[0]
        if len(onward) == 0:
            break
        duct[onward] = ducts.parent[duct[onward]]
        length[onward] += straight[duct[onward]]
        part[onward] *= slight[duct[onward]]
        parted[onward] |= holds[duct[onward]]
    return duct, length, part, parted


def _enter(
    out: Gathered,
    where: IntArray,
    found: Coefficient,
    share: FloatArray,
    beside: Gathered,
    odd: BoolArray,
) -> None:
    """Credit some ends to a print, of which a share counts, and to what it is over.

    `beside` is that, and `odd` is where another fitting's print stands in.
    """
    part = np.where(share < 1.0, int(Note.INTERPOLATED), 0)
    out.put(where, replace(found, notes=found.notes | part))
    for number in np.bincount(beside.credit).nonzero()[0].tolist():
        out.join(where[beside.credit == number], beside.credits[number])
    out.join(where[share < 1.0], _plain().credit)
    if odd.any():
        out.stand_in(where[odd])


def _behind_elbows(
    graph: DuctGraph,
    bends: Gathered,
    mine: BoolArray,
    row: IntArray,
    behind: FloatArray,
    out: Gathered,
    by_reynolds: bool,
) -> FloatArray:
    """What open ends lose behind some bends beyond their velocity pressure."""
    every = graph.bends
    width = np.stack([every.in_plane[row], every.along_axis[row]])
    found = exit_after_elbow(every.side_radius[:, row] / width, behind / width)
    off = np.abs(every.angle[row] - np.pi / 2)
    alike = share_between(off, _ASKEW, _SQUARE)
    ways = share_between(behind / width, _UNFELT, _LAST) * alike
    ways *= ways_of_turning(every.skew[row])
    other = graph.ducts.shape[every.duct[row]] != int(Shape.RECTANGULAR)
    other |= ~_PRINTED[every.construction[row]] | (every.skew[row] > 0.0)
    beside = bends.part(row)
    alone = beside.value * beside.reynolds_factor if by_reynolds else beside.value
    more = ((found.value - _plain().value - alone) * ways).sum(axis=0)
    found, share = both_ways(found, ways), ways.sum(axis=0)
    _enter(out, mine.nonzero()[0], found, share, beside, other | (alike < 1.0))
    return np.asarray(np.maximum(more, 0.0))


def _behind_widenings(
    graph: DuctGraph,
    area: FloatArray,
    changes: Gathered,
    mine: BoolArray,
    row: IntArray,
    behind: FloatArray,
    out: Gathered,
) -> FloatArray:
    """What open ends lose behind some transitions beyond their velocity pressure."""
    ducts, every = graph.ducts, graph.transitions
    after, length = every.duct[row], every.length[row]
    before = ducts.parent[after]
    # Half of a piece that nobody drew lies behind its vertex; behind an elbow all.
    own = np.where(np.isin(after, graph.bends.duct), length, length / 2)
    own = np.where(every.length_basis[row] == int(Basis.DRAWN), 0.0, own)
    near = np.maximum(behind - own, 0.0) / ducts.diameter[after]
    share = 1.0 - (near / _FAR).clip(0.0, 1.0)
    ratio = area[after] / area[before]
    beside = changes.part(row)
    where = mine.nonzero()[0]
    more = np.zeros(len(row))
    for part, found, other in _diffusers(graph, before, after, ratio, length):
        r = ratio[part]
        over = found.value - beside.value[part] - _plain().value / r**2
        less = 0.0 if other else share_between(r, 1.0, 2.0)
        over = np.where(over < 0.0, over * less, over)
        more[part] = over * share[part] * r**2
        odd = np.full(len(part), other)
        _enter(out, where[part], found, share[part], beside.part(part), odd)
    return more


def _diffusers(
    graph: DuctGraph,
    before: IntArray,
    after: IntArray,
    ratio: FloatArray,
    length: FloatArray,
) -> list[tuple[IntArray, Coefficient, bool]]:
    """Rows of widenings, their print, and whether it only stands in for theirs.

    Which print it is, as `transitions.transition` has it for the widening alone.
    """
    came, w1, h1, goes, w2, h2 = as_they_stand(graph.ducts, before, after)
    angle = np.maximum(*included_angles(w1, h1, w2, h2, length))
    second, _, _ = changed_sides(came == goes, w1, h1, w2, h2)
    was_round, is_round = came == int(Shape.ROUND), goes == int(Shape.ROUND)
    flat = (came == int(Shape.RECTANGULAR)) & (goes == int(Shape.RECTANGULAR))
    found: list[tuple[IntArray, Coefficient, bool]] = []
    part = (was_round & is_round).nonzero()[0]
    if len(part):
        found.append((part, exit_diffuser("conical", ratio[part], angle[part]), False))
    part = (was_round != is_round).nonzero()[0]
    if len(part):
        diameter = np.where(was_round, w1, w2)[part]
        side = np.sqrt(np.where(was_round, w2 * h2, w1 * h1)[part])
        turn = round_to_rect_angle(diameter, side, side, length[part])
        found.append((part, exit_diffuser("pyramidal", ratio[part], turn), True))
    for other in (False, True):
        rows = (~was_round & ~is_round & (flat != other)).nonzero()[0]
        for part in map(rows.__getitem__, thirds(second[rows])):
            if len(part):
                plane, pyramid = (
                    exit_diffuser(kind, ratio[part], angle[part])
                    for kind in ("plane", "pyramidal")
                )
                found.append((part, mixed(plane, pyramid, second[part]), other))
    return found
