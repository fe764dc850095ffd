"""Loss coefficients of the legs of junctions and of where air meets."""

from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from elbowroom.layout import (
    Basis,
    BoolArray,
    DuctGraph,
    Ducts,
    FloatArray,
    IntArray,
    Legs,
    Shape,
    TakeoffEntry,
    legs_among,
)

from . import elbows
from .axes import ROUNDING
from .coefficient import Gathered
from .converging import joining_legs
from .entries import entry_in_wall
from .exits import exit_abrupt
from .junction_terms import JunctionLegs, share_of_bullhead
from .junctions import dividing_legs
from .losses import own_changes
from .own_changes import OwnChanges, count_own_changes
from .readings import (
    STRAIGHT_LEG,
    as_branches,
    as_wyes,
    branch_rows,
    some_legs,
    with_main,
)
from .several_legs import (
    WEAK,
    keep_energy,
    mean_past,
    momentum_lacking,
    pairs,
    past_each,
    without_idle,
)
from .takeoff_entries import Taken, taken_at


@dataclass(frozen=True, slots=True, eq=False)
class Streams:
    """The air whose legs are looked up, and in which ducts, d of them.

    Parameters
    ----------
    graph
        The classified graph.
    size, flow, velocity
        Area of each duct, m², airflow in it, m³/s, and velocity, m/s, shape (d,).
    joining
        Whether the air of legs joins in their common duct, or divides from it.
    """

    graph: DuctGraph
    size: FloatArray
    flow: FloatArray
    velocity: FloatArray
    joining: bool


def leg_coefficients(
    air: Streams,
    legs: Legs,
    rests: BoolArray | None = None,
    own: OwnChanges | None = None,
) -> Gathered:
    """Coefficients of the legs of junctions, on the velocity in the common duct.

    A junction may be read in two ways: as a wye (no leg is the main) or as a main with
    a branch; as a main with branches or as branches alone. Between two readings C is
    interpolated linearly, by `likeness` and by `evenness`, so that no degree and no
    millimetre makes a jump: our own choice. Where three legs or more leave, one with
    less than a tenth of the air counts in part, and none makes energy; see
    `several_legs`.

    Parameters
    ----------
    air, legs
        The air in the ducts, and legs or meetings of its graph.
    rests
        Legs whose air counts as none, and that of the one beside them as all, shape
        (l,); None where each counts with its airflow.
    own
        Changes of section of mains among the legs, which are counted too; None for
        meetings.

    Returns
    -------
    gathered
        Shape (l,). Where several ducts lead in and several out no coefficients are
        published: each counts as if it opened into a box, on its own velocity.
    """
    boxed = legs.common == legs.duct
    if boxed.any():
        return _with_boxed(air, legs, boxed, rests, own)
    found = _as_told_apart(air, legs, rests, own)
    several = legs.leg_count > 3
    if several.any():
        rows = several.nonzero()[0]
        some, share = some_legs(legs, rows), _shares(legs, air.flow, rests)[rows]
        fixed = None if rests is None else rests[rows]
        read = found.part(rows)
        _put_without_idle(air, some, share, read, fixed)
        if rests is None:
            keep_energy(some.common, share, read)
        found.take_over(rows, read)
    return found


def _with_boxed(
    air: Streams,
    legs: Legs,
    boxed: BoolArray,
    rests: BoolArray | None,
    own: OwnChanges | None,
) -> Gathered:
    """Coefficients of legs of which some, `boxed`, lead to or from joints as boxes.

    What goes on from such a joint may be what the legs of the next have in common.
    """
    out = Gathered(len(boxed))
    out.put(boxed, exit_abrupt() if air.joining else entry_in_wall())
    out.stand_in(boxed)
    rows = (~boxed).nonzero()[0]
    if len(rows):
        fixed = None if rests is None else rests[rows]
        if own is not None:
            own = replace(own, rows=np.searchsorted(rows, own.rows))
        some = some_legs(legs, rows)
        found = leg_coefficients(air, some, fixed, own)
        out.take_over(rows, found)
    return out


def _put_without_idle(
    air: Streams,
    legs: Legs,
    share: FloatArray,
    found: Gathered,
    rests: BoolArray | None,
) -> None:
    """Let idle legs of three or more, all of which count in `found`, do so in part.

    Of that as `without_idle` says, with what each junction's other legs are then.
    """
    for kept, part in without_idle(legs.common, share):
        some = legs_among(legs, kept, air.size)
        fixed = None if rests is None else rests[kept]
        # Where legs do not lead away from the source none are counted.
        graph = air.graph
        own = own_changes(graph, some) if air.joining == graph.is_return else None
        read = _as_told_apart(air, some, fixed, own)
        found.put_between(kept, found.part(kept), read, part)


def _as_told_apart(
    air: Streams,
    legs: Legs,
    rests: BoolArray | None,
    own: OwnChanges | None,
) -> Gathered:
    """Coefficients of legs that all count in full."""
    found = _legs_as_read(air, legs, rests)
    between = legs.is_between | (legs.likeness > 0.0) & (legs.likeness < 1.0)
    if between.any():  # with all that leaves there
        rows = np.isin(legs.common, legs.common[between]).nonzero()[0]
        some = None if rests is None else rests[rows]
        found.take_over(rows, _between(air, some_legs(legs, rows), some))
    if own is not None and len(own.rows):
        count_own_changes(air.graph.ducts, legs, air.size, air.flow, own, found)
    return found


def _between(
    air: Streams,
    legs: Legs,
    rests: BoolArray | None,
) -> Gathered:
    """Coefficients of legs of which some lie between two readings or all three."""
    found = _legs_as_read(air, with_main(legs), rests)
    for reading, share, where in (
        (as_branches, legs.evenness, legs.is_between),
        (as_wyes, legs.likeness, legs.likeness > 0.0),
    ):
        rows = where.nonzero()[0]
        if len(rows):
            other = _legs_as_read(air, reading(legs), rests)
            found.put_between(rows, found.part(rows), other.part(rows), share[rows])
    return found


def _legs_as_read(
    air: Streams,
    legs: Legs,
    rests: BoolArray | None,
) -> Gathered:
    """Coefficients of legs whose junctions are each read in one way."""
    ducts, common, size = air.graph.ducts, legs.common, air.size
    share = _shares(legs, air.flow, rests)
    # Past several branches a main is charged once, for all that leaves.
    area_leaving = size[legs.branch]
    for_one = legs.is_branch | (legs.leg_count == 3)
    if not for_one.all():
        area_leaving = np.where(for_one, area_leaving, _other_areas(legs, size))
    flow_ratio = np.where(legs.is_branch, share, 1.0 - share)
    at = branch_rows(legs)
    junction = JunctionLegs(
        is_branch=legs.is_branch,
        is_symmetrical=legs.is_symmetrical,
        # A main past one branch feels that branch's angle and entry.
        angle=legs.angle[at],
        entry=legs.entry[at],
        common_shape=ducts.shape[common],
        branch_shape=ducts.shape[legs.branch],
        flow_ratio=flow_ratio,
        area_ratio=area_leaving / size[common],
        main_area_ratio=size[legs.straight] / size[common],
    )
    # No table has branches alone but for those that are alike and opposite, and none
    # has several beside each other.
    told_apart = ~legs.is_symmetrical
    unprinted = told_apart & (legs.straight == common) | (legs.leg_count > 3)
    if air.joining:
        legs_area = np.bincount(common, size[legs.duct], len(size))[common]
        beside = legs_area / size[common] - junction.area_ratio
        crowded = unprinted & told_apart & legs.is_branch
        if crowded.any():  # what comes beside such a leg is as wide as the others
            whole = np.where(crowded, beside, junction.main_area_ratio)
            junction = replace(junction, main_area_ratio=whole)
    else:
        beside = junction.area_ratio
        crowded = np.zeros(len(share), dtype=bool)
    several = ~legs.is_branch & (legs.leg_count > 3)
    if several.any():
        row, other = pairs(legs, several.nonzero()[0])
        of = np.append(np.arange(len(share)), row)
        junction = past_each(junction, legs, ducts, of, other)
        found = _looked_up(junction, air.velocity[common[of]], beside[of], air.joining)
        found = mean_past(found, row, share[other])
    else:
        found = _looked_up(junction, air.velocity[common], beside, air.joining)
    if crowded.any():
        found.value[crowded] += momentum_lacking(legs, share, size, crowded, beside)
    if unprinted.any():
        found.stand_in(unprinted)
    bent = told_apart & (legs.straight_angle > STRAIGHT_LEG)
    bent &= ~crowded if air.joining else ~legs.is_branch
    if bent.any():
        _add_own_bend(air, legs, bent, found)
    return found


def meeting_coefficients(air: Streams) -> Gathered:
    """Coefficients of the legs that lead to where air meets, as `leg_coefficients`.

    Notes
    -----
    Two legs that meet head on share a loss: the mean by their airflow, so that both
    together spend what the print says. There each has a factor of its own, up to half
    as much again for the weaker one, which then would take no air from a pressure as
    high as the other's: our own choice. It fades in with that reading of them.

    The tables of joining air and those of dividing air do not agree where a leg's air
    stands still. So, once one leg brings nine tenths of the air, C is led linearly to
    what the other tables give at the same joint with all its air along that leg;
    there the weak leg, if its air turned round, would lead away. Then no loss jumps as
    the air of a leg changes direction: our own choice.
    """
    graph, size, flow = air.graph, air.size, air.flow
    legs = graph.meetings
    air = replace(air, joining=not graph.is_return)
    found = leg_coefficients(air, legs)
    if air.joining:
        share = flow[legs.duct] / flow[legs.common]
        share[legs.common == legs.duct] = 0.0  # into a box
        mean = np.bincount(legs.common, share * found.value, len(size))[legs.common]
        opposed = legs.likeness * share_of_bullhead(legs.angle)
        found.value += (mean - found.value) * opposed
    near = lone_rows(graph, flow)
    if len(near.row):
        found.put_between(
            near.row,
            found.part(near.row),
            _as_lone(replace(air, joining=graph.is_return), near),
            near.part,
        )
    return found


class Lone(NamedTuple):
    """Legs of meetings to which one leg alone brings nearly all of the air: n of them.

    `row` are those of `graph.meetings`, `on` that of `graph.lone` along which the air
    goes on, `own` that of the leg itself, or -1 for the one that brings the air, and
    `part` how much it counts as lone, 0 to 1.
    """

    row: IntArray
    on: IntArray
    own: IntArray
    part: FloatArray


def lone_rows(graph: DuctGraph, flow: FloatArray) -> Lone:
    """Find the meetings that count, in part or wholly, as if one duct alone led there.

    Parameters
    ----------
    graph
        The classified graph.
    flow
        Airflow in each duct, m³/s, shape (d,).
    """
    meet, lone = graph.meetings, graph.lone
    share = flow[meet.duct] / flow[meet.common]
    share[meet.common == meet.duct] = 0.0  # into a box, where no leg is lone
    most = np.zeros(len(flow))
    np.maximum.at(most, meet.common, share)
    part = 1.0 - (1.0 - most[meet.common]) / WEAK
    rows = ((part > 0.0) & (share > 0.0)).nonzero()[0]
    place = {
        pair: row
        for row, pair in enumerate(
            zip(lone.common.tolist(), lone.duct.tolist(), strict=True)
        )
    }
    strong = {}
    for row in rows[share[rows] == most[meet.common[rows]]].tolist():
        strong[int(meet.common[row])] = int(meet.duct[row])
    on, own = np.full((2, len(rows)), -1)
    for at, row in enumerate(rows.tolist()):
        onward, leg = int(meet.common[row]), int(meet.duct[row])
        on[at] = place[strong[onward], onward]
        if leg != strong[onward]:
            own[at] = place[strong[onward], leg]
    return Lone(rows, on, own, part[rows])


def _as_lone(
    air: Streams,
    near: Lone,
) -> Gathered:
    """Coefficients of legs of meetings as if one of each alone brought its air.

    On the velocity of what goes on, like those of a meeting. Air of another leg has,
    where it comes to rest, what the lone air has beside the leg if that led away.
    """
    graph, velocity = air.graph, air.velocity
    kept = np.isin(graph.lone.common, graph.lone.common[near.on]).nonzero()[0]
    legs = some_legs(graph.lone, kept)
    # As they lead away: what does not go on takes nothing.
    rests = graph.ducts.finish[legs.duct] == graph.ducts.finish[legs.common]
    found = leg_coefficients(air, legs, rests, own_changes(graph, legs))
    on, beside = np.searchsorted(kept, near.on), near.own >= 0
    out, own_row = found.part(on), np.searchsorted(kept, near.own[beside])
    out.value[beside] -= found.value[own_row]
    out.credit_also(beside.nonzero()[0], found.part(own_row))
    out.value *= (velocity[legs.common[on]] / velocity[legs.duct[on]]) ** 2
    return out


def _add_own_bend(
    air: Streams,
    legs: Legs,
    bent: BoolArray,
    found: Gathered,
) -> None:
    """Add what the main's own turn at a junction spends, on the common velocity.

    Our own rule, as no table of wyes whose main bends too was found: a mitred elbow of
    that angle on the main's velocity behind it. Where air joins, the main then brings
    less momentum along the common duct, so that every leg loses
    2 (1 - q)² (1 - cos) / s more; the straight one does from q = 0.3 on, to which it
    goes straight from the elbow that it is at q = 0.
    """
    rows = bent.nonzero()[0]
    own, common = legs.straight[rows], legs.common[rows]
    turn = np.minimum(legs.straight_angle[rows], np.pi / 2)
    boxy = air.graph.ducts.shape[own] == Shape.RECTANGULAR
    flat, curved = elbows.rect_mitred(1.0, turn), elbows.round_mitred(turn)
    share, wide = air.flow[own] / air.flow[common], air.size[own] / air.size[common]
    added = np.where(boxy, flat.value, curved.value) * (share / wide) ** 2
    if air.joining:
        momentum = 2.0 * share**2 * (1.0 - np.cos(turn)) / wide
        whole = ((1.0 - share) / 0.3).clip(0.0, 1.0)
        whole = np.where(legs.is_branch[rows], 1.0, whole)
        added += (momentum - added) * whole
    found.value[rows] += added
    found.join(rows[boxy], flat.credit)
    found.join(rows[~boxy], curved.credit)
    found.stand_in(rows)


def _looked_up(
    junction: JunctionLegs, velocity: FloatArray, beside: FloatArray, joining: bool
) -> Gathered:
    if joining:
        return joining_legs(junction, velocity, beside)
    return dividing_legs(junction)


def touching(ducts: Ducts, legs: Legs) -> IntArray:
    """Ducts between two junctions that stand less than one diameter apart.

    Of a stretch in several runs the first.
    """
    divides = np.zeros(len(ducts.parent), dtype=bool)
    divides[legs.duct] = True
    begins = ducts.stretch_of(legs.common)
    return short_ducts(ducts, begins[divides[begins]], 1.0)


def short_ducts(ducts: Ducts, rows: IntArray, diameters: float) -> IntArray:
    """Those of some ducts whose stretch is straight for less than so many diameters."""
    if len(rows) == 0:
        return rows
    least = diameters * ducts.diameter[rows] * (1.0 - ROUNDING)
    return np.asarray(np.unique(rows[ducts.reach[rows] < least]))


def doubt_touching(ducts: Ducts, legs: Legs, found: Gathered) -> None:
    """Give the lowest class to junctions that touch: tables know each of them alone."""
    between = touching(ducts, legs)
    if len(between) == 0:
        return
    first = np.isin(legs.common, legs.common[np.isin(legs.duct, between)])
    second = np.isin(ducts.stretch_of(legs.common), between)
    found.doubt((first | second).nonzero()[0])


def _shares(legs: Legs, flow: FloatArray, rests: BoolArray | None) -> FloatArray:
    """Airflow of each leg over that of the common duct."""
    if rests is not None:
        return np.where(rests, 0.0, 1.0)
    return np.asarray(flow[legs.duct] / flow[legs.common])


def _other_areas(legs: Legs, size: FloatArray) -> FloatArray:
    """Area of all legs but the main at the junction of each leg, m²."""
    beside = np.where(legs.duct == legs.straight, 0.0, size[legs.duct])
    total = np.bincount(legs.common, beside.astype(np.float64), len(size))
    return total.astype(np.float64)[legs.common]


def leg_basis(ducts: Ducts, legs: Legs, joining: bool) -> npt.NDArray[np.int64]:
    """`Basis` of each leg: what the entry of its branch rests on.

    Parameters are those of `taken_at`. Of an entry without a table another one is
    assumed.
    """
    entered = legs.is_branch & ~legs.is_symmetrical
    entered |= legs.is_symmetrical & (legs.entry == int(TakeoffEntry.RADIUS))
    basis = np.where(entered, legs.entry_basis, int(Basis.DRAWN))
    basis[taken_at(ducts, legs, joining) != int(Taken.ITSELF)] = int(Basis.ASSUMED)
    return basis
