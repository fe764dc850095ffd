"""Loss coefficient of every fitting of a graph, each kind as one array."""

from dataclasses import replace
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from elbowroom.layout import (
    Basis,
    BoolArray,
    DuctGraph,
    Ducts,
    ElbowConstruction,
    FloatArray,
    IntArray,
    Legs,
    Notice,
    Shape,
    TakeoffEntry,
    and_more,
    angle_words,
    changed_mains,
    legs_among,
    sides_before,
    warning,
)

from . import elbows, ends, transitions
from .coefficient import Coefficient, Gathered, LookupRefused, Note, make
from .junction_terms import share_of_bullhead
from .junctions import JunctionLegs, dividing_legs, joining_legs
from .own_changes import OwnChanges, count_own_changes, own_change_lengths
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
            raise problem.at(
                bend_place(graph, int(mine[0])), "choose another elbow"
            ) from None
    for row in (bends.skew > 0.0).nonzero()[0].tolist():
        notices.append(
            warning(
                bend_place(graph, row),
                "the duct turns askew, "
                f"{angle_words(bends.skew[row])} off its nearer side; the "
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
    rows = (pleated & off_ratio(bends.radius, bends.in_plane)).nonzero()[0].tolist()
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


def off_ratio(radius: FloatArray, diameter: FloatArray) -> BoolArray:
    """Whether pleated elbows have another radius than the tested ones."""
    wanted = elbows.tested_ratio("pleated") * diameter
    return np.asarray(np.abs(radius - wanted) > SAME_RADIUS * diameter)


def bend_place(graph: DuctGraph, row: int) -> str:
    """Name the place of a bend for a message."""
    duct = int(graph.bends.duct[row])
    return f"{graph.place(duct)}, bend {graph.bends.number[row]}"


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
    return between_ways(near, far, np.sin(bends.skew[mine]) ** 2)


def between_ways(near: Coefficient, far: Coefficient, share: FloatArray) -> Coefficient:
    """Between two ways of turning askew: `share` is how much the far one counts."""
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
            found.notes[off_ratio(radius, w)] |= int(Note.CLAMPED)
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
        What mains would spend that change their section at a junction; in a return,
        and past radii alone off a rectangle, for a change of shape alone, as the tables
        of joining air and of radius wyes have that of area.
    """
    found = graph.transitions
    after, before = found.duct, graph.ducts.parent[found.duct]
    if graph.is_return:
        every = transitions.transition(
            *_as_they_stand(graph.ducts, after, before), found.length
        )
        return every, _own_changes(graph, graph.legs)
    return _with_own_changes(graph, graph.legs, before, after, found.length)


def _own_changes(graph: DuctGraph, legs: Legs) -> OwnChanges:
    """Those of mains among some legs, as `transition_coefficients` gives them."""
    if not graph.is_return:
        none, length = np.zeros(0, dtype=np.int64), np.zeros(0)
        return _with_own_changes(graph, legs, none, none, length)[1]
    rows = np.concatenate(changed_mains(graph.ducts, legs))
    return _reshaped(graph.ducts, legs, rows, joining=True)


def _reshaped(ducts: Ducts, legs: Legs, rows: IntArray, joining: bool) -> OwnChanges:
    """Changes of shape alone of some mains, those that have one."""
    main, rest = legs.common[rows], legs.straight[rows]
    way = (rest, main) if joining else (main, rest)
    shape = transitions.shape_allowance(*_as_they_stand(ducts, *way))
    rows, shape = rows[shape > 0.0], shape[shape > 0.0]
    found = Gathered(len(rows))
    found.put(np.arange(len(rows)), transitions.shape_alone(shape))
    drawn = np.full(len(rows), int(Basis.DRAWN))  # no length goes into it
    note = np.full(len(rows), int(Note.RESHAPED))
    return OwnChanges(rows, found, shape, drawn, note)


def _with_own_changes(
    graph: DuctGraph,
    legs: Legs,
    before: IntArray,
    after: IntArray,
    length: FloatArray,
) -> tuple[Gathered, OwnChanges]:
    """Transitions of a supply, and its mains' own changes: looked up in one pass."""
    ducts, count = graph.ducts, len(length)
    rows, swept = changed_mains(ducts, legs)
    main, rest = legs.common[rows], legs.straight[rows]
    basis, shape = rows, np.zeros(len(rows))
    if len(rows):
        before, after = np.append(before, main), np.append(after, rest)
        own_length, basis = own_change_lengths(graph, main, rest)
        length = np.append(length, own_length)
        shape = transitions.shape_allowance(*_as_they_stand(ducts, main, rest))
    every = transitions.transition(*_as_they_stand(ducts, before, after), length)
    if len(rows) == 0 and len(swept) == 0:
        return every, OwnChanges(rows, every, shape, basis, rows)
    mine, others = np.split(np.arange(len(length)), [count])
    note = np.full(len(rows), int(Note.OWN_CHANGE))
    own = OwnChanges(rows, every.part(others), shape, basis, note)
    if len(swept):
        own = own.joined(_reshaped(ducts, legs, swept, joining=False))
    return every.part(mine), own


def _as_they_stand(
    ducts: Ducts, before: IntArray, after: IntArray
) -> tuple[IntArray, FloatArray, FloatArray, IntArray, FloatArray, FloatArray]:
    """Shape, width and height of some ducts, and of those behind them."""
    # Farther from the source: later in the order.
    crossed = ducts.crossed[np.maximum(before, after)]
    wide, high = sides_before(ducts.width, ducts.height, before, crossed)
    came = ducts.shape[before], wide, high
    return *came, ducts.shape[after], ducts.width[after], ducts.height[after]


def leg_coefficients(
    graph: DuctGraph,
    legs: Legs,
    size: FloatArray,
    flow: FloatArray,
    velocity: FloatArray,
    joining: bool,
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
    graph, legs
        The classified graph, and its legs or its meetings.
    size, flow, velocity
        Area of each duct, m², airflow in it, m³/s, and velocity, m/s, shape (d,).
    joining
        Whether the air of the legs joins in the common duct, or divides from it.
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
    air = size, flow, velocity, joining
    boxed = legs.common == legs.duct
    if boxed.any():
        return _with_boxed(graph, legs, boxed, *air, rests, own)
    found = _as_told_apart(graph, legs, *air, rests, own)
    several = legs.leg_count > 3
    if several.any():
        rows = several.nonzero()[0]
        some, share = some_legs(legs, rows), _shares(legs, flow, rests)[rows]
        fixed = None if rests is None else rests[rows]
        read = found.part(rows)
        _put_without_idle(graph, some, share, read, *air, fixed)
        if rests is None:
            keep_energy(some.common, share, read)
        found.take_over(rows, read)
    return found


def _with_boxed(
    graph: DuctGraph,
    legs: Legs,
    boxed: BoolArray,
    size: FloatArray,
    flow: FloatArray,
    velocity: FloatArray,
    joining: bool,
    rests: BoolArray | None,
    own: OwnChanges | None,
) -> Gathered:
    """Coefficients of legs of which some, `boxed`, lead to or from joints as boxes.

    What goes on from such a joint may be what the legs of the next have in common.
    """
    out = Gathered(len(boxed))
    out.put(boxed, ends.exit_abrupt() if joining else ends.entry_in_wall())
    out.stand_in(boxed)
    rows = (~boxed).nonzero()[0]
    if len(rows):
        fixed = None if rests is None else rests[rows]
        if own is not None:
            own = replace(own, rows=np.searchsorted(rows, own.rows))
        some, air = some_legs(legs, rows), (size, flow, velocity)
        found = leg_coefficients(graph, some, *air, joining, fixed, own)
        out.take_over(rows, found)
    return out


def _put_without_idle(
    graph: DuctGraph,
    legs: Legs,
    share: FloatArray,
    found: Gathered,
    size: FloatArray,
    flow: FloatArray,
    velocity: FloatArray,
    joining: bool,
    rests: BoolArray | None,
) -> None:
    """Let idle legs of three or more, all of which count in `found`, do so in part.

    Of that as `without_idle` says, with what each junction's other legs are then.
    """
    for kept, part in without_idle(legs.common, share):
        some = legs_among(legs, kept, size)
        fixed = None if rests is None else rests[kept]
        # Where legs do not lead away from the source none are counted.
        own = _own_changes(graph, some) if joining == graph.is_return else None
        air = size, flow, velocity, joining
        read = _as_told_apart(graph, some, *air, fixed, own)
        found.put_between(kept, found.part(kept), read, part)


def _as_told_apart(
    graph: DuctGraph,
    legs: Legs,
    size: FloatArray,
    flow: FloatArray,
    velocity: FloatArray,
    joining: bool,
    rests: BoolArray | None,
    own: OwnChanges | None,
) -> Gathered:
    """Coefficients of legs that all count in full."""
    air = size, flow, velocity, joining
    found = _legs_as_read(graph, legs, *air, rests)
    between = legs.is_between | (legs.likeness > 0.0) & (legs.likeness < 1.0)
    if between.any():  # with all that leaves there
        rows = np.isin(legs.common, legs.common[between]).nonzero()[0]
        some = None if rests is None else rests[rows]
        found.take_over(rows, _between(graph, some_legs(legs, rows), *air, some))
    if own is not None and len(own.rows):
        count_own_changes(graph.ducts, legs, size, flow, own, found)
    return found


def _between(
    graph: DuctGraph,
    legs: Legs,
    size: FloatArray,
    flow: FloatArray,
    velocity: FloatArray,
    joining: bool,
    rests: BoolArray | None,
) -> Gathered:
    """Coefficients of legs of which some lie between two readings or all three."""
    air = size, flow, velocity, joining
    found = _legs_as_read(graph, with_main(legs), *air, rests)
    for reading, share, where in (
        (as_branches, legs.evenness, legs.is_between),
        (as_wyes, legs.likeness, legs.likeness > 0.0),
    ):
        rows = where.nonzero()[0]
        if len(rows):
            other = _legs_as_read(graph, reading(legs), *air, rests)
            found.put_between(rows, found.part(rows), other.part(rows), share[rows])
    return found


def _legs_as_read(
    graph: DuctGraph,
    legs: Legs,
    size: FloatArray,
    flow: FloatArray,
    velocity: FloatArray,
    joining: bool,
    rests: BoolArray | None,
) -> Gathered:
    """Coefficients of legs whose junctions are each read in one way."""
    ducts, common = graph.ducts, legs.common
    share = _shares(legs, flow, rests)
    # Past several branches a main is charged once, for all that leaves.
    area_leaving = np.where(
        legs.is_branch | (legs.leg_count == 3),
        size[legs.branch],
        _other_areas(legs, size),
    )
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
    if joining:
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
        found = _looked_up(junction, velocity[common[of]], beside[of], joining)
        found = mean_past(found, row, share[other])
    else:
        found = _looked_up(junction, velocity[common], beside, joining)
    if crowded.any():
        found.value[crowded] += momentum_lacking(legs, share, size, crowded, beside)
    if unprinted.any():
        found.stand_in(unprinted)
    bent = told_apart & (legs.straight_angle > STRAIGHT_LEG)
    bent &= ~crowded if joining else ~legs.is_branch
    if bent.any():
        _add_own_bend(graph, legs, flow, size, bent, joining, found)
    return found


def meeting_coefficients(
    graph: DuctGraph, size: FloatArray, flow: FloatArray, velocity: FloatArray
) -> Gathered:
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
    legs = graph.meetings
    joining = not graph.is_return
    found = leg_coefficients(graph, legs, size, flow, velocity, joining)
    if joining:
        share = flow[legs.duct] / flow[legs.common]
        mean = np.bincount(legs.common, share * found.value, len(size))[legs.common]
        opposed = legs.likeness * share_of_bullhead(legs.angle)
        found.value += (mean - found.value) * opposed
    near = lone_rows(graph, flow)
    if len(near.row):
        found.put_between(
            near.row,
            found.part(near.row),
            _as_lone(graph, size, flow, velocity, near),
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
    most = np.zeros(len(flow))
    np.maximum.at(most, meet.common, share)
    part = 1.0 - (1.0 - most[meet.common]) / WEAK
    rows = ((part > 0.0) & (meet.common != meet.duct)).nonzero()[0]
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
    graph: DuctGraph,
    size: FloatArray,
    flow: FloatArray,
    velocity: FloatArray,
    near: Lone,
) -> Gathered:
    """Coefficients of legs of meetings as if one of each alone brought its air.

    On the velocity of what goes on, like those of a meeting. Air of another leg has,
    where it comes to rest, what the lone air has beside the leg if that led away.
    """
    kept = np.isin(graph.lone.common, graph.lone.common[near.on]).nonzero()[0]
    legs = some_legs(graph.lone, kept)
    # As they lead away: what does not go on takes nothing.
    rests = graph.ducts.finish[legs.duct] == graph.ducts.finish[legs.common]
    own, air = _own_changes(graph, legs), (size, flow, velocity)
    found = leg_coefficients(graph, legs, *air, graph.is_return, rests, own)
    on, beside = np.searchsorted(kept, near.on), near.own >= 0
    out, own_row = found.part(on), np.searchsorted(kept, near.own[beside])
    out.value[beside] -= found.value[own_row]
    out.credit_also(beside.nonzero()[0], found.part(own_row))
    out.value *= (velocity[legs.common[on]] / velocity[legs.duct[on]]) ** 2
    return out


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


def _looked_up(
    junction: JunctionLegs, velocity: FloatArray, beside: FloatArray, joining: bool
) -> Gathered:
    if joining:
        return joining_legs(junction, velocity, beside)
    return dividing_legs(junction)


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
    drawn = np.full(len(legs.duct), int(Basis.DRAWN))
    entered = legs.is_branch & ~legs.is_symmetrical
    entered |= legs.is_symmetrical & (legs.entry == int(TakeoffEntry.RADIUS))
    basis = np.where(entered, legs.entry_basis, drawn)
    basis[taken_at(ducts, legs, joining) != int(Taken.ITSELF)] = int(Basis.ASSUMED)
    return basis
