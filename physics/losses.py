"""Loss coefficient of every fitting of a graph, each kind as one array."""

from dataclasses import replace

import numpy as np
import numpy.typing as npt

from elbowroom.layout import (
    Basis,
    BoolArray,
    DuctGraph,
    ElbowConstruction,
    FloatArray,
    IntArray,
    Legs,
    Notice,
    Shape,
    TakeoffEntry,
    and_more,
    own_change_rows,
    refusal,
    sides_before,
    warning,
)

from . import elbows, ends, transitions
from .coefficient import Coefficient, Gathered, LookupRefused, Note, make
from .junction_terms import BULLHEAD_FROM
from .junctions import JunctionLegs, dividing_legs, joining_legs
from .own_changes import OwnChanges, own_change_lengths
from .readings import STRAIGHT_LEG, as_branches, as_wyes, some_legs, with_main

SAME_RADIUS = 0.02  # diameters: what a radius measured in a drawing is off


def bend_coefficients(
    graph: DuctGraph, reynolds: FloatArray
) -> tuple[Gathered, list[Notice]]:
    """Coefficients of the bends, on the velocity in their duct.

    Parameters
    ----------
    graph
        The classified graph.
    reynolds
        Reynolds number in the duct before each bend, shape (b,).

    Returns
    -------
    gathered, notices
        The coefficients, and what is to be said of the elbows that stand in for
        others.

    Raises
    ------
    BadInput
        If an elbow cannot be made as it is said, with its run and number.
    """
    bends, ducts = graph.bends, graph.ducts
    shape = ducts.shape[graph.bend_duct]
    out = Gathered(len(bends.duct))
    notices: list[Notice] = []
    turned = bends.in_plane, bends.along_axis, bends.radius
    # Beyond r/W 2 another table goes on, with a class of its own.
    near = ~(bends.radius > 2.0 * bends.in_plane)
    kind = (bends.construction * len(Shape) + shape) * 2 + near
    # Tables of other pieces, splitters or vanes have sources of their own too.
    _, spacing = np.unique(np.nan_to_num(bends.vane_spacing), return_inverse=True)
    for part in (bends.pieces, bends.splitters, spacing):
        kind = kind * (part.max(initial=0) + 1) + part
    for number in np.unique(kind).tolist():
        mine = (kind == number).nonzero()[0]
        code = ElbowConstruction(bends.construction[mine[0]])
        section = Shape(shape[mine[0]])
        try:
            out.put(mine, _elbow(graph, mine, section, code, reynolds, *turned))
            skewed = mine[bends.skew[mine] > 0.0]
            if len(skewed):
                out.put(skewed, _skewed(graph, skewed, section, code, reynolds))
        except LookupRefused as problem:
            raise _refused(graph, mine, problem) from None
    for row in (bends.skew > 0.0).nonzero()[0].tolist():
        notices.append(
            warning(
                bend_place(graph, row),
                "the duct turns askew, "
                f"{np.degrees(bends.skew[row]):.0f} degrees off its nearer side; the "
                "loss is taken between the two ways of turning",
                "turn the section, or make the turn of two elbows",
            )
        )
    notices.extend(_pleated_notices(graph))
    return out, notices


def _pleated_notices(graph: DuctGraph) -> list[Notice]:
    """Say of pleated elbows that they have another radius than the tested ones."""
    bends = graph.bends
    pleated = bends.construction == int(ElbowConstruction.PLEATED)
    rows = (pleated & _off_ratio(bends.radius, bends.in_plane)).nonzero()[0].tolist()
    if not rows:
        return []
    places = "; ".join(bend_place(graph, row) for row in rows[:3])
    tested = elbows.tested_ratio("pleated")
    return [
        warning(
            f"{places}{and_more(len(rows) - 3)}",
            f"pleated elbows were tested with r/D {tested:g} alone, and that value was "
            f"taken for r/D {bends.radius[rows[0]] / bends.in_plane[rows[0]]:.3g}",
            f"write radius_ratio = {tested:g} under [elbows] if they are made so, or "
            "take a smooth or a segmented elbow",
        )
    ]


def _off_ratio(radius: FloatArray, diameter: FloatArray) -> BoolArray:
    """Whether pleated elbows have another radius than the tested ones."""
    wanted = elbows.tested_ratio("pleated") * diameter
    return np.asarray(np.abs(radius - wanted) > SAME_RADIUS * diameter)


def bend_place(graph: DuctGraph, row: int) -> str:
    """Name the place of a bend for a message."""
    duct = int(graph.bends.duct[row])
    return f"{graph.place(duct)}, bend {graph.bends.number[row]}"


def _refused(graph: DuctGraph, mine: IntArray, problem: LookupRefused) -> Exception:
    row = int(mine[0])
    what, _, remedy = str(problem).partition("; ")
    return refusal(bend_place(graph, row), what, remedy or "choose another elbow")


def _skewed(
    graph: DuctGraph,
    mine: IntArray,
    section: Shape,
    code: ElbowConstruction,
    reynolds: FloatArray,
) -> Coefficient:
    """Between the easy and the hard way, by the square of the cosine of the skew.

    Our own rule: no coefficient is published for a bend that turns a flat section
    askew. It is even in the skew and meets both pure cases.
    """
    bends = graph.bends
    one, other = bends.in_plane, bends.along_axis
    near = _elbow(
        graph, mine, section, code, reynolds, one, other, bends.side_radius[0]
    )
    far = _elbow(graph, mine, section, code, reynolds, other, one, bends.side_radius[1])
    share = np.sin(bends.skew[mine]) ** 2
    factor = near.reynolds_factor
    return make(
        near.value + (far.value - near.value) * share,
        near.notes | far.notes | int(Note.FALLBACK),
        factor=factor + (far.reynolds_factor - factor) * share,
        reference=near.reference,
        table=near.table,
        source=near.source,
        confidence="low",
        factors=near.factors,
    )


def _elbow(
    graph: DuctGraph,
    mine: IntArray,
    section: Shape,
    code: ElbowConstruction,
    reynolds: FloatArray,
    in_plane: FloatArray,
    along_axis: FloatArray,
    radii: FloatArray,
) -> Coefficient:
    """Coefficients of elbows alike in pieces, splitters and vanes."""
    bends = graph.bends
    w, h = in_plane[mine], along_axis[mine]
    angle, radius, re = bends.angle[mine], radii[mine], reynolds[mine]
    kinds, pieces = ElbowConstruction, int(bends.pieces[mine[0]])
    if section == Shape.OVAL:
        if code == kinds.MITRED:
            return elbows.flat_oval_mitred(h / w, angle, re)
        if code == kinds.SEGMENTED:
            return elbows.flat_oval_segmented(pieces, radius / w, angle)
        if code == kinds.SMOOTH:
            return elbows.flat_oval_smooth(radius / w, angle)
        raise LookupRefused(
            f"no value is published for flat oval elbows made {code.words}; take a "
            "smooth, a segmented or a mitred one"
        )
    if section == Shape.ROUND:
        if code in (kinds.MITRED, kinds.SINGLE_VANES, kinds.DOUBLE_VANES):
            if code != kinds.MITRED:
                raise LookupRefused(
                    "no value is published for round mitred elbows with vanes; take a "
                    "plain mitred or a smooth elbow"
                )
            return elbows.round_mitred(angle, re)
        if code == kinds.SEGMENTED:
            return elbows.round_segmented(pieces, radius / w, angle)
        if code == kinds.PLEATED:
            found = elbows.round_by_diameter("pleated", w, angle)
            found.notes[_off_ratio(radius, w)] |= int(Note.CLAMPED)
            return found
        if code != kinds.SMOOTH:
            raise LookupRefused(
                f"a round elbow is not made {code.words}; take a smooth, a segmented, "
                "a pleated or a mitred one"
            )
        return elbows.round_smooth(radius / w, angle)
    if code == kinds.MITRED:
        return elbows.rect_mitred(h / w, angle, re)
    if code in (kinds.SINGLE_VANES, kinds.DOUBLE_VANES):
        double = code == kinds.DOUBLE_VANES
        spacing = vane_spacing(double, float(bends.vane_spacing[mine[0]]))
        return elbows.rect_vaned(double, spacing, angle, angle.shape)
    if code == kinds.SQUARE_HEEL:
        return elbows.rect_square_heel(radius / w - 0.5, h / w, angle)
    if code == kinds.SPLITTERS:
        vanes = int(bends.splitters[mine[0]])
        return elbows.rect_splitters(vanes, radius / w - 0.5, h / w, angle)
    if code in (kinds.SEGMENTED, kinds.PLEATED):
        raise LookupRefused(
            f"a rectangular elbow is not made {code.words}; take a smooth, a mitred or "
            "a vaned elbow"
        )
    # A square throat with a radius heel is the smooth elbow of r/W 0.5 by geometry.
    # A tighter one cannot be built, as the drawing is told, and counts as that.
    ratio = radius / w
    found = elbows.rect_smooth(np.maximum(ratio, elbows.TIGHTEST), h / w, angle, re)
    found.notes[ratio < elbows.TIGHTEST - 1e-9] |= int(Note.CLAMPED)
    return found


def vane_spacing(double: bool, said: float) -> float:
    """How far apart vanes are, m: the closest that were tested where nobody says it."""
    return elbows.vane_spacings(double)[0] if np.isnan(said) else said


def transition_coefficients(graph: DuctGraph) -> tuple[Gathered, OwnChanges]:
    """Coefficients of the transitions, each on the velocity in its smaller area.

    Parameters
    ----------
    graph
        The classified graph; in a return the air flows towards the source.

    Returns
    -------
    gathered
        Shape (t,). The downstream duct of a contraction and the upstream duct of an
        expansion are their smaller areas.
    own
        What mains would spend that change their section at a junction; none in a
        return, whose tables of joining air have it.
    """
    ducts, found, legs = graph.ducts, graph.transitions, graph.legs
    after, before = found.duct, ducts.parent[found.duct]
    length = found.length
    if graph.is_return:
        after, before = before, after
        rows = after[:0]
    else:
        rows = own_change_rows(ducts, legs)
    if len(rows):
        main, rest = legs.common[rows], legs.straight[rows]
        before, after = np.append(before, main), np.append(after, rest)
        own_length, basis = own_change_lengths(graph, main, rest)
        length = np.append(length, own_length)
    # Farther from the source: later in the order.
    crossed = ducts.crossed[np.maximum(before, after)]
    wide, high = sides_before(ducts.width, ducts.height, before, crossed)
    every = transitions.transition(
        ducts.shape[before],
        wide,
        high,
        ducts.shape[after],
        ducts.width[after],
        ducts.height[after],
        length,
    )
    if len(rows) == 0:
        return every, OwnChanges(rows, every, rows)
    mine, others = np.split(np.arange(len(length)), [len(found.duct)])
    return every.part(mine), OwnChanges(rows, every.part(others), basis)


def leg_coefficients(
    graph: DuctGraph,
    legs: Legs,
    size: FloatArray,
    flow: FloatArray,
    velocity: FloatArray,
    joining: bool,
    dead: BoolArray | None = None,
) -> Gathered:
    """Coefficients of the legs of junctions, on the velocity in the common duct.

    Between a wye without a main and a main with a branch it goes straight from the one
    reading to the other, and so between a main with branches and branches alone, so
    that no degree and no millimetre makes a jump where two legs leave: our own choice.
    Of more than two a pair counts as a wye or not at all (see `Legs.pairing`).

    Parameters
    ----------
    graph, legs
        The classified graph, and its legs or its meetings.
    size, flow, velocity
        Area of each duct, m², airflow in it, m³/s, and velocity, m/s, shape (d,).
    joining
        Whether the air of the legs joins in the common duct, or divides from it.
    dead
        Ducts of loops in which the air stands still, shape (d,); None for none. What
        they carry to let the tables be read counts as nothing.

    Returns
    -------
    gathered
        Shape (l,). Where several ducts lead in and several out no coefficients are
        published: each counts as if it opened into a box, on its own velocity.
    """
    air = size, flow, velocity, joining, dead
    found = _legs_as_read(graph, legs, *air)
    between = legs.is_between | (legs.likeness > 0.0) & (legs.likeness < 1.0)
    rows = between.nonzero()[0]
    if len(rows):
        found.take_over(rows, _between(graph, some_legs(legs, rows), *air))
    return found


def _between(
    graph: DuctGraph,
    legs: Legs,
    size: FloatArray,
    flow: FloatArray,
    velocity: FloatArray,
    joining: bool,
    dead: BoolArray | None,
) -> Gathered:
    """Coefficients of legs of which each lies between two readings or all three."""
    air = size, flow, velocity, joining, dead
    found = _legs_as_read(graph, with_main(legs), *air)
    for reading, share, where in (
        (as_branches, legs.evenness, legs.is_between),
        (as_wyes, legs.likeness, legs.likeness > 0.0),
    ):
        rows = where.nonzero()[0]
        if len(rows):
            other = _legs_as_read(graph, reading(some_legs(legs, rows)), *air)
            found.put_between(rows, found.part(rows), other, share[rows])
    return found


def _legs_as_read(
    graph: DuctGraph,
    legs: Legs,
    size: FloatArray,
    flow: FloatArray,
    velocity: FloatArray,
    joining: bool,
    dead: BoolArray | None,
) -> Gathered:
    """Coefficients of legs whose junctions are each read in one way."""
    ducts, common = graph.ducts, legs.common
    boxed = common == legs.duct
    # Past several branches a main is charged once, for all that leaves.
    leaving = np.where(
        legs.is_branch, flow[legs.branch], flow[common] - flow[legs.straight]
    )
    area_leaving = np.where(
        legs.is_branch | (legs.leg_count == 3),
        size[legs.branch],
        _other_areas(legs, size),
    )
    if dead is not None and dead.any():
        moving = np.bincount(common, ~dead[legs.duct], len(size))[common]
        alone = ~dead[legs.duct] & (moving == 1)
        leaving = np.where(alone, np.where(legs.is_branch, flow[common], 0.0), leaving)
    if boxed.any():  # what is read from the tables there does not count
        leaving[boxed], area_leaving[boxed] = flow[common[boxed]], size[common[boxed]]
    angle_of = np.zeros(len(size))
    angle_of[legs.duct] = legs.angle
    junction = JunctionLegs(
        is_branch=legs.is_branch,
        is_symmetrical=legs.is_symmetrical,
        # A main past one branch feels that branch's angle.
        angle=np.where(legs.is_branch, legs.angle, angle_of[legs.branch]),
        entry=legs.entry,
        common_shape=ducts.shape[common],
        branch_shape=ducts.shape[legs.branch],
        flow_ratio=leaving / flow[common],
        area_ratio=area_leaving / size[common],
        main_area_ratio=size[legs.straight] / size[common],
    )
    # No table has branches alone but for those that are alike and opposite.
    told_apart = ~(legs.is_symmetrical | boxed)
    alone = told_apart & (legs.straight == common)
    if joining:
        legs_area = np.bincount(common, size[legs.duct], len(size))[common]
        beside = legs_area / size[common] - junction.area_ratio
        if alone.any():  # what comes beside such a leg is as wide as the others
            whole = np.where(alone, beside, junction.main_area_ratio)
            junction = replace(junction, main_area_ratio=whole)
        found = joining_legs(junction, velocity[common], beside)
        if alone.any():
            found.value[alone] += _momentum_lacking(legs, flow, size, alone, beside)
    else:
        found = dividing_legs(junction)
    unprinted = (alone | (legs.leg_count > 3)).nonzero()[0]
    if len(unprinted):
        found.stand_in(unprinted)
    bent = told_apart & (legs.straight_angle > STRAIGHT_LEG)
    if not joining:
        bent &= ~legs.is_branch
    if bent.any():
        _add_own_bend(graph, legs, flow, size, bent, joining, found)
    if boxed.any():
        found.put(boxed, ends.exit_abrupt() if joining else ends.entry_in_wall())
        found.stand_in(boxed)
    return found


def meeting_coefficients(
    graph: DuctGraph,
    size: FloatArray,
    flow: FloatArray,
    velocity: FloatArray,
    dead: BoolArray | None = None,
) -> Gathered:
    """Coefficients of the legs that lead to where air meets, as `leg_coefficients`.

    Notes
    -----
    Two legs that meet head on share a loss: the mean by their airflow, so that both
    together spend what the print says. There each has a factor of its own, up to half
    as much again for the weaker one, which then would take no air from a pressure as
    high as the other's: our own choice.

    Where the air of all ducts but one stands still, nothing meets: that one counts as
    if they led away, as they do at their other end. So both ends of a dead way are
    told alike, whichever way it happens to be turned.
    """
    legs = graph.meetings
    joining = not graph.is_return
    found = leg_coefficients(graph, legs, size, flow, velocity, joining)
    if joining:
        share = flow[legs.duct] / flow[legs.common]
        mean = np.bincount(legs.common, share * found.value, len(size))[legs.common]
        opposed = legs.is_symmetrical & (legs.angle >= BULLHEAD_FROM)
        found.value[opposed] = mean[opposed]
    if dead is not None and dead.any():
        _go_on_alone(graph, size, flow, velocity, dead, found)
    return found


def lone_rows(graph: DuctGraph, dead: BoolArray) -> dict[int, int]:
    """Meetings at which one duct alone brings air, past others where it stands still.

    Parameters
    ----------
    graph
        The classified graph.
    dead
        Ducts in which the air stands still, shape (d,).

    Returns
    -------
    rows
        For such a row of `graph.meetings`, that of `graph.lone` which counts.
    """
    meet, lone = graph.meetings, graph.lone
    alive = ~dead[meet.duct]
    brings = np.bincount(meet.common, alive, len(dead))[meet.common]
    every = np.bincount(meet.common, minlength=len(dead))[meet.common]
    single = alive & (brings == 1) & (every > 1) & (meet.common != meet.duct)
    goes_on = {
        (common, duct): row
        for row, (common, duct) in enumerate(
            zip(lone.common.tolist(), lone.duct.tolist(), strict=True)
        )
    }
    return {
        row: goes_on[int(meet.duct[row]), int(meet.common[row])]
        for row in np.flatnonzero(single).tolist()
    }


def _go_on_alone(
    graph: DuctGraph,
    size: FloatArray,
    flow: FloatArray,
    velocity: FloatArray,
    dead: BoolArray,
    found: Gathered,
) -> None:
    """Put what a duct loses that brings air alone to where others stand still."""
    rows = lone_rows(graph, dead)
    if not rows:
        return
    wanted = np.isin(graph.lone.common, graph.lone.common[list(rows.values())])
    kept = np.flatnonzero(wanted)
    legs = some_legs(graph.lone, kept)
    alone = leg_coefficients(graph, legs, size, flow, velocity, graph.is_return, dead)
    at = np.searchsorted(kept, list(rows.values()))
    # A meeting's coefficient is on the velocity of what goes on from it.
    alone.value[at] *= (velocity[legs.common[at]] / velocity[legs.duct[at]]) ** 2
    found.take_over(np.array(list(rows)), alone.part(at))


def _add_own_bend(
    graph: DuctGraph,
    legs: Legs,
    flow: FloatArray,
    size: FloatArray,
    bent: BoolArray,
    joining: bool,
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
    boxy = graph.ducts.shape[own] == Shape.RECTANGULAR
    flat, curved = elbows.rect_mitred(1.0, turn), elbows.round_mitred(turn)
    share, wide = flow[own] / flow[common], size[own] / size[common]
    added = np.where(boxy, flat.value, curved.value) * (share / wide) ** 2
    if joining:
        momentum = 2.0 * share**2 * (1.0 - np.cos(turn)) / wide
        whole = ((1.0 - share) / 0.3).clip(0.0, 1.0)
        whole = np.where(legs.is_branch[rows], 1.0, whole)
        added += (momentum - added) * whole
    found.value[rows] += added
    found.join(rows[boxy], flat.credit)
    found.join(rows[~boxy], curved.credit)
    found.stand_in(rows)


def _momentum_lacking(
    legs: Legs,
    flow: FloatArray,
    size: FloatArray,
    alone: BoolArray,
    beside: FloatArray,
) -> FloatArray:
    """What some legs lose more as the others turn too, on the common velocity.

    Our own rule, that of `_add_own_bend` for any number of legs: the tables have the
    air beside a branch come straight along the common duct, and it gives back
    2 (1 - q)² / s, s (`beside`) the area of the other legs over the common one; of legs
    that turn it is the sum of their 2 q² cos / f. One for each of `alone`.
    """
    common = legs.common
    share, wide = flow[legs.duct] / flow[common], size[legs.duct] / size[common]
    along = 2.0 * share**2 / wide * np.cos(np.minimum(legs.angle, np.pi / 2))
    others = np.bincount(common, along, len(size))[common] - along
    straight = 2.0 * (1.0 - share[alone]) ** 2 / beside[alone]
    return np.asarray(straight - others[alone])


def _other_areas(legs: Legs, size: FloatArray) -> FloatArray:
    """Area of all legs but the main at the junction of each leg, m²."""
    beside = np.where(legs.duct == legs.straight, 0.0, size[legs.duct])
    total = np.bincount(legs.common, beside.astype(np.float64), len(size))
    return total.astype(np.float64)[legs.common]


def leg_basis(legs: Legs) -> npt.NDArray[np.int64]:
    """`Basis` of each leg: what the entry of its branch rests on."""
    drawn = np.full(len(legs.duct), int(Basis.DRAWN))
    entered = legs.is_branch & ~legs.is_symmetrical
    entered |= legs.is_symmetrical & (legs.entry == int(TakeoffEntry.RADIUS))
    return np.where(entered, legs.entry_basis, drawn)
