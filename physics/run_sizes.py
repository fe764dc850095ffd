"""Size of each run of a layout: by friction, velocity or static regain."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np

from elbowroom.layout import (
    BoolArray,
    FloatArray,
    RunLimits,
    Section,
    Shape,
    allowed,
    refusal,
    remade,
    round_section,
    sections,
)

from . import sizes
from .analysis import Analysis, analyse
from .elements import Kind
from .flows import feeds_several
from .velocity_checks import velocity_limits

METHODS = ("equal friction", "velocity", "static regain")
REGAIN = 0.75  # share of the fall of velocity pressure that comes back: from memory
BY_REGAIN = "static regain"
UNPAID = "no size is paid for by static regain"
NO_SIZE = "no size within the limits: left as it was"
NO_ROOM = "needs more than the duct before it: left as it was"
LARGEST = "largest that the limits allow"
BEFORE = "no larger than the duct before it"
DRAWN = "no larger than drawn, as it may carry dust"
BEHIND = "the flexible duct behind it"
KEPT = "as drawn, as is said"
# What may be allowed to a run that keeps not what it is to.
MAY_GROW, HEIGHT, WIDTH, VELOCITY = "may grow", "height", "width", "velocity"
BEFORE_AS_DRAWN, BEFORE_FIRST = "the duct before it as drawn", "that one first"
BEGUN = round_section(0.3)  # of what has no section
# Limits of what does not keep the aim.
_HELD = (NO_SIZE, NO_ROOM, LARGEST, BEFORE, DRAWN)  # other limits may help
UNMET = (*_HELD, UNPAID)
_HARDLY = 0.05  # of all that can come back: for less no larger size is taken
NARROWEST = "narrowest at its height"
SMALLEST = sizes.SMALLEST
_SHARE = allowed.Range("share", 0.0, 1.0)
_RANGES = {
    "rate": allowed.above_zero("friction rate"),
    "main": allowed.above_zero("velocity"),
    "branch": allowed.above_zero("velocity"),
    "highest": allowed.above_zero("length", np.inf),
    "widest": allowed.above_zero("length", np.inf),
}


@dataclass(frozen=True, slots=True)
class Aim:
    """What a layout is sized for.

    Parameters
    ----------
    method
        One of `METHODS`.
    rate
        Friction rate, Pa/m; None for what the fan leaves (equal friction).
    main, branch
        Largest velocity where more than one terminal, and one, is fed, m/s; None for
        the limit of the schedule's checks, if any, of ducts that carry no dust. The
        first duct of a static regain has the velocity `main`.
    highest, widest
        Limits of the sides, m. The height drawn is kept where a width of up to 4 : 1
        serves there; elsewhere, and where a round duct gets sides, the size is as
        nearly square as the limits allow. Without `highest` no duct that is drawn with
        sides gets higher.
    shape
        `Shape` of every duct; None keeps the shapes drawn.
    series
        'mm' or 'in': the ladder of sizes.
    may_grow
        Whether a duct may be larger than the one before it, by area and by what it
        carries.

    Raises
    ------
    ValueError
        If a word is none of these, or a number not above zero; the sides alone may be
        infinite.
    """

    method: str = "equal friction"
    rate: float | None = None
    main: float | None = None
    branch: float | None = None
    highest: float | None = None
    widest: float | None = None
    shape: Shape | None = None
    series: str = "mm"
    may_grow: bool = False

    def __post_init__(self) -> None:
        """Refuse a value that its field cannot have."""
        allowed.check_fields(
            self,
            _RANGES,
            method=METHODS,
            shape=sections.DRAWN_SHAPES,
            series=tuple(sizes.SERIES),
            may_grow=bool,
        )


@dataclass(frozen=True, slots=True)
class Choice:
    """Size chosen for one run, and what bound it.

    Airflow (m³/s), velocity (m/s) and friction rate (Pa/m) are those where it begins.
    """

    run: str
    drawn: Section | None
    chosen: Section
    flow: float
    velocity: float
    gradient: float
    limit: str


def chosen_sizes(
    analysis: Analysis, aim: Aim, drawn: Mapping[str, Section]
) -> list[Choice]:
    """Choose the size of every run from the losses as they are now.

    `drawn` has the section of each run by its name: in the analysis it may be one that
    was chosen before. BadInput if a velocity is needed that nothing says.
    """
    graph = analysis.graph
    ducts, drawing = graph.ducts, graph.drawing
    several = feeds_several(graph)
    limits = _largest_velocities(analysis, aim)
    least = _least_areas(analysis, limits)
    behind = _flexible_behind(analysis)
    chosen: dict[int, Choice] = {}
    for duct in range(len(ducts.parent)):  # parents come first
        run = int(ducts.run[duct])
        said = drawing.attributes.get(run)
        if run in chosen or (said is not None and said.transition):
            continue
        if graph.loops is not None:  # a run may begin at a meeting, with little air
            duct = _fullest(analysis, run)
        if analysis.state.flow[duct] == 0.0:
            continue  # behind closed ends no size follows from the air
        before = _run_before(analysis, duct, chosen)
        is_main = bool(several[duct])
        was = drawn[drawing.names[run]]
        is_lost = np.isinf(limits[duct]) and _needs_velocity(aim, is_main, before)
        area = None if is_lost else float(least[run])
        at = duct, is_main, before
        found = _choice(analysis, aim, was, area, *at)
        if run in behind and found.chosen.area < was.area and not is_lost:
            soft = behind[run]
            needed = _needed(analysis, soft, aim, drawn, float(least[ducts.run[soft]]))
            if needed > found.chosen.area * (1 + 1e-9):
                # No smaller than drawn for it, and larger for itself alone.
                area = min(needed, was.area)
                other = _choice(analysis, aim, was, area, *at)
                if other.limit not in UNMET:
                    found = replace(other, limit=BEHIND)
        chosen[run] = found
    return [chosen[run] for run in sorted(chosen)]  # as they are drawn


def _flexible_behind(analysis: Analysis) -> dict[int, int]:
    """First flexible duct behind each run that feeds nothing else, as a collar does.

    By the numbers of the runs.
    """
    graph, flow = analysis.graph, analysis.state.flow
    run, parent, of_run = graph.ducts.run, graph.ducts.parent, {}
    changes = {
        number for number, said in graph.drawing.attributes.items() if said.transition
    }
    for duct in analysis.conditions.is_flexible.nonzero()[0].tolist():
        before = int(parent[duct])
        while before >= 0 and int(run[before]) in changes:
            before = int(parent[before])
        if before < 0 or run[before] == run[duct]:
            continue
        first = int((run == run[before]).argmax())
        if flow[duct] > 0.0 and flow[duct] >= flow[first] * (1 - 1e-9):
            of_run[int(run[before])] = duct
    return of_run


def _needed(
    analysis: Analysis, duct: int, aim: Aim, drawn: Mapping[str, Section], least: float
) -> float:
    """Area that the run of a duct would have behind one of any size, m²."""
    graph = analysis.graph
    name = graph.drawing.names[int(graph.ducts.run[duct])]
    own = graph.schedule.limits.get(name, RunLimits())
    found = None
    if not own.is_kept:
        is_main = bool(feeds_several(graph)[duct])
        free = _of_run(aim, own)
        found, _ = _found(analysis, duct, free, drawn[name], least, is_main, None)
    return (drawn[name] if found is None else found.section).area


def _largest_velocities(analysis: Analysis, aim: Aim) -> FloatArray:
    """Largest velocity of each duct, m/s, shape (d,); infinite where nothing says it.

    That of the schedule's checks, which the sizes would fail else, where the aim says
    none; not where ducts may carry dust, which settles at velocities for comfort.
    """
    fastest, several = velocity_limits(analysis), feeds_several(analysis.graph)
    if analysis.graph.schedule.may_carry_dust:
        fastest = np.full(len(several), np.inf)
    for said, mine in ((aim.main, several), (aim.branch, ~several)):
        if said is not None:
            fastest[mine] = said
    return fastest


def _least_areas(analysis: Analysis, fastest: FloatArray) -> FloatArray:
    """Area of each run at which all its ducts keep their velocities, m², shape (r,).

    One section serves them all, and behind a branch or a bend a run may go on in a
    duct with a lower limit.
    """
    least = np.zeros(len(analysis.graph.drawing.names))
    np.maximum.at(least, analysis.graph.ducts.run, analysis.state.flow / fastest)
    return least


def _needs_velocity(aim: Aim, is_main: bool, before: Choice | None) -> bool:
    """Whether a method can size a run by nothing but its velocity."""
    if aim.method == "static regain":
        return before is None or not is_main
    return aim.method == "velocity"


def _run_before(
    analysis: Analysis, duct: int, chosen: Mapping[int, Choice]
) -> Choice | None:
    """The run before a duct, with the air at its end."""
    parent, flow = int(analysis.graph.ducts.parent[duct]), analysis.state.flow
    while parent >= 0:
        run = int(analysis.graph.ducts.run[parent])
        # Behind a meeting the ducts that join carry less: they are no limit.
        if run in chosen and flow[parent] >= flow[duct] * (1 - 1e-9):
            carried, before = float(flow[parent]), chosen[run]
            return replace(before, flow=carried, velocity=carried / before.chosen.area)
        parent = int(analysis.graph.ducts.parent[parent])
    return None


def _choice(
    analysis: Analysis,
    aim: Aim,
    drawn: Section,
    least: float | None,
    duct: int,
    is_main: bool,
    before: Choice | None,
) -> Choice:
    graph = analysis.graph
    name = graph.drawing.names[int(graph.ducts.run[duct])]
    flow = float(analysis.state.flow[duct])
    own = graph.schedule.limits.get(name, RunLimits())
    found, limit = None, KEPT
    if not own.is_kept:
        aim = _of_run(aim, own)
        found, limit = _found(analysis, duct, aim, drawn, least, is_main, before)
        is_largest = limit in (LARGEST, BEFORE)
        if aim.method == BY_REGAIN and before and is_main and found and is_largest:
            free = _freed(aim)
            of_any = _found(analysis, duct, free, drawn, least, is_main, before)
            if of_any[1] in UNMET:  # what grows in vain is not made the largest
                fits = [
                    _sized(analysis, section, flow, duct)
                    for section in next(_ladders(aim, drawn, before))
                    if section.shape == found.section.shape
                    and (least or 0.0) <= section.area <= found.section.area
                ]
                nearest = _least_lacking(analysis, duct, fits, before)
                found, limit = nearest or (found, limit)
    found = found or _sized(analysis, drawn, flow, duct)
    return Choice(
        name, drawn, found.section, flow, found.velocity, found.gradient, limit
    )


def _of_run(aim: Aim, own: RunLimits) -> Aim:
    """An aim with the limits that a run has of its own."""
    return replace(
        aim,
        highest=own.highest if own.highest is not None else aim.highest,
        widest=own.widest if own.widest is not None else aim.widest,
    )


def _freed(aim: Aim) -> Aim:
    """An aim without limits of size."""
    return replace(aim, highest=np.inf, widest=np.inf, may_grow=True)


def what_helps(
    analysis: Analysis, choices: Sequence[Choice], aim: Aim
) -> dict[str, tuple[tuple[str, ...], ...]]:
    """What each run that does not keep the aim must be allowed to keep it.

    Parameters
    ----------
    analysis, choices
        The layout with its sizes, and how they were chosen.
    aim
        What it is sized for, with its rate.

    Returns
    -------
    helps
        By the name of the run: of `MAY_GROW`, `HEIGHT`, `WIDTH` and `VELOCITY` the
        smallest sets with which a size is found. Before them, with the name of the
        run before, `BEFORE_AS_DRAWN` where that alone does; in place of them
        `BEFORE_FIRST` where that one, which does not keep the aim, is all that is in
        the way. Empty where nothing helps.
    """
    graph = analysis.graph
    chosen = _by_run(analysis, choices)
    several, helps = feeds_several(graph), {}
    least = _least_areas(analysis, _largest_velocities(analysis, aim))
    for run, choice in chosen.items():
        if choice.limit not in _HELD:
            continue
        duct = _fullest(analysis, run)
        before = _run_before(analysis, duct, chosen)
        own = _of_run(aim, graph.schedule.limits.get(choice.run, RunLimits()))
        drawn, is_main = choice.drawn or BEGUN, bool(several[duct])
        ways: list[tuple[str, ...]] = []
        area, every = float(least[run]), [MAY_GROW, HEIGHT, WIDTH, VELOCITY]
        if before is not None and before.limit in _HELD:  # it will be larger then
            own, every = replace(own, may_grow=True), every[1:]
            found = _found(analysis, duct, own, drawn, area, is_main, before)
            if found[1] not in UNMET:
                ways.append((BEFORE_FIRST, before.run))
        elif before is not None and before.drawn is not None and before.limit != KEPT:
            speed = before.flow / before.drawn.area
            larger = replace(before, chosen=before.drawn, velocity=speed)
            found = _found(analysis, duct, own, drawn, area, is_main, larger)
            if found[1] not in UNMET:
                ways.append((BEFORE_AS_DRAWN, before.run))
        for count in range(1, 1 + len(every)):
            if ways and (count > 1 or ways[0][0] == BEFORE_FIRST):
                break
            for freedoms in combinations(every, count):
                freed = replace(
                    own,
                    may_grow=own.may_grow or MAY_GROW in freedoms,
                    highest=np.inf if HEIGHT in freedoms else own.highest,
                    widest=np.inf if WIDTH in freedoms else own.widest,
                )
                slow = 0.0 if VELOCITY in freedoms else area
                found = _found(analysis, duct, freed, drawn, slow, is_main, before)
                if found[1] not in UNMET:
                    ways.append(freedoms)
        helps[choice.run] = tuple(ways)
    return helps


def serves_within(
    analysis: Analysis, choices: Sequence[Choice], aim: Aim, run: int, side: float
) -> bool:
    """Whether a size of a run, its number, keeps the aim with no side above one, m.

    The others as of `what_helps`.
    """
    chosen = _by_run(analysis, choices)
    if run not in chosen:
        return False
    duct, choice = _fullest(analysis, run), chosen[run]
    least = _least_areas(analysis, _largest_velocities(analysis, aim))[run]
    before, drawn = _run_before(analysis, duct, chosen), choice.drawn or BEGUN
    is_main = bool(feeds_several(analysis.graph)[duct])
    held = replace(aim, highest=side, widest=side)
    bound = _found(analysis, duct, held, drawn, float(least), is_main, before)[1]
    return bound not in UNMET


def _by_run(analysis: Analysis, choices: Sequence[Choice]) -> dict[int, Choice]:
    """Choices by the numbers of their runs."""
    by_name = {choice.run: choice for choice in choices}
    names = enumerate(analysis.graph.drawing.names)
    return {run: by_name[name] for run, name in names if name in by_name}


def _fullest(analysis: Analysis, run: int) -> int:
    """The duct of a run with the most air: where there are no loops, its first."""
    (mine,) = (analysis.graph.ducts.run == run).nonzero()
    return int(mine[np.argmax(analysis.state.flow[mine])])


def _found(
    analysis: Analysis,
    duct: int,
    aim: Aim,
    drawn: Section,
    least: float | None,
    is_main: bool,
    before: Choice | None,
) -> tuple[sizes.Size | None, str]:
    """The first size that keeps the aim, else the largest, and what bound it.

    `least` is the area that its velocities need, m²; None where nothing says one and
    the method has nothing else to go by.
    """
    if least is None:
        use = ", or a use under [checks]"
        if analysis.graph.schedule.may_carry_dust:
            use = ", as the local code and licensed practice have it"
        raise refusal(
            analysis.graph.drawing.file,
            f"sizing by {aim.method} needs the largest velocity of "
            f"{'mains' if is_main else 'branches'}",
            f"write --{'main' if is_main else 'branch'}-velocity{use}",
        )
    if aim.shape is not None and analysis.conditions.is_flexible[duct]:
        aim = replace(aim, shape=Shape.ROUND)  # no other flexible duct is made
    flow = float(analysis.state.flow[duct])
    least *= 1 - 1e-9
    bound_by = None if before is None or aim.may_grow else before.chosen
    dusty = analysis.graph.schedule.may_carry_dust and drawn is not BEGUN
    as_drawn = drawn.area * (1 + 1e-9)
    # As dust settles in a larger one.
    held = dusty and (bound_by is None or as_drawn < bound_by.area * (1 + 1e-9))
    largest, too_fast, is_cut = list[sizes.Size](), list[sizes.Size](), False
    for ladder in _ladders(aim, drawn, before):
        slow = [section for section in ladder if section.area >= least]
        room = ladder if bound_by is None else _no_larger(ladder, bound_by)
        room = [one for one in room if one.area <= as_drawn] if dusty else room
        fits = [section for section in slow if section in room]
        every = (_sized(analysis, section, flow, duct) for section in fits)
        found, bound = None, "velocity"
        if aim.method == BY_REGAIN and before is not None and is_main:
            found, bound = _paid_by_regain(analysis, duct, [*every], before), BY_REGAIN
        elif aim.method == "equal friction":
            found = next((s for s in every if s.gradient <= (aim.rate or 0.0)), None)
            if found is not None and found.section != slow[0]:
                bound = "friction rate"
        else:
            found = next(every, None)
        if found is not None:
            if bound == "velocity" and found.section == ladder[0]:  # so is any smaller
                if largest:  # of a ladder before
                    bound = "friction rate"
                elif not too_fast:
                    is_flat = ladder[-1].height == found.section.height
                    bound = NARROWEST if is_flat else SMALLEST
            return found, bound
        largest += [_sized(analysis, section, flow, duct) for section in fits[-1:]]
        small = [section for section in room if section.area <= least]
        too_fast += [_sized(analysis, section, flow, duct) for section in small[-1:]]
        is_cut |= len(fits) < len(slow)
    own = _sized(analysis, drawn, flow, duct)
    if held and is_cut:
        stays = _is_within(aim, drawn) and (aim.shape or drawn.shape) == drawn.shape
        return (own if stays or not largest else min(largest, key=_steepness)), DRAWN
    if analysis.conditions.is_flexible[duct] and is_cut:
        keeps = drawn.area >= least and own.gradient <= (aim.rate or np.inf)
        if keeps and _is_within(aim, drawn):  # better than one that does not
            return None, NO_ROOM
    if not largest:  # nearer to what it needs than the one drawn, if it is larger
        largest = [
            size
            for size in too_fast
            if drawn is BEGUN or size.section.area > drawn.area
        ]
    if not largest:
        return None, NO_ROOM if is_cut else NO_SIZE
    limit = BEFORE if is_cut else LARGEST
    return min(largest, key=_steepness), limit


def _no_larger(ladder: Sequence[Section], before: Section) -> list[Section]:
    """Sizes of a ladder of no more area than a section, or that carry no more.

    That is at the same friction, by equivalent diameter; to half a step of a ladder of
    another shape, which has none that carries just as much.
    """
    most, less, found = sizes.equivalent_diameter(before), 0.0, list[Section]()
    for section in ladder:
        here = sizes.equivalent_diameter(section)
        is_alike = section.shape == before.shape or less == 0.0
        carries_more = here > (most if is_alike else most**2 / less) * (1 + 1e-9)
        if section.area <= before.area * (1 + 1e-9) or not carries_more:
            found.append(section)
        less = here
    return found


def _steepness(size: sizes.Size) -> float:
    return size.gradient


def _is_within(aim: Aim, section: Section) -> bool:
    """Whether a section keeps the limits of its sides."""
    highest, widest = aim.highest or np.inf, aim.widest or np.inf
    return section.height <= highest + 1e-9 and section.width <= widest + 1e-9


def _sized(analysis: Analysis, section: Section, flow: float, duct: int) -> sizes.Size:
    conditions = analysis.conditions
    roughness = float(conditions.roughness[duct])
    pressed = float(np.nan_to_num(conditions.compression[duct]))
    gradient = sizes.gradient_of(section, flow, conditions.air, roughness, pressed)
    return sizes.Size(section, section, flow / section.area, gradient, "")


def _ladders(
    aim: Aim, drawn: Section, before: Choice | None
) -> Iterator[list[Section]]:
    """Sizes within the limits, the smallest first, in the order to be tried."""
    shape = aim.shape or drawn.shape
    highest, widest = aim.highest or np.inf, aim.widest or np.inf
    if shape == Shape.ROUND:
        # A round duct is as wide as it is high: both limits bind it.
        most = min(highest, widest) * (1 + 1e-9)
        series = sizes.diameters(aim.series)
        yield [round_section(float(d)) for d in series if d <= most]
        return
    stands = drawn.width < drawn.height
    if drawn.shape != Shape.ROUND:
        highest = aim.highest or drawn.height
        height = min(highest, drawn.height)
        yield sizes.widening(shape, height, widest, aim.series, stands)
    elif before is not None:  # else it would not fit the side of the duct before it
        height = min(highest, before.chosen.height)
        yield sizes.squarest(shape, height, widest, aim.series)
    yield sizes.squarest(shape, highest, widest, aim.series, stands)
    if before is not None and before.chosen.shape == shape:
        # Its own size, turned where the run is: between the steps of the others.
        sides = sorted((before.chosen.width, before.chosen.height), reverse=not stands)
        own = replace(before.chosen, width=sides[0], height=sides[1])
        if own.width <= widest * (1 + 1e-9) and own.height <= highest * (1 + 1e-9):
            yield [own]
    if shape == Shape.OVAL:
        yield sizes.squarest(shape, highest, widest, aim.series, not stands)


def regained(
    before: float, after: float, density: float, share: float = REGAIN
) -> float:
    """Static pressure that comes back where a main slows down, Pa.

    Parameters
    ----------
    before, after
        Velocities in one length of the main and in the next, m/s.
    density
        kg/m³.
    share
        Of the fall of velocity pressure, that which comes back, 0 to 1.

    Raises
    ------
    ValueError
        If the share is none.
    """
    allowed.check_value("share", share, _SHARE)
    return share * density / 2 * (before**2 - after**2)


def unpaid_by_regain(
    analysis: Analysis, choices: Sequence[Choice], aim: Aim
) -> dict[str, bool]:
    """Runs sized by static regain that lose more than comes back before them.

    Sizes and losses are worked out in turn and may end in a circle, or a size may be
    made larger or lower after it was chosen. By the name of each run, whether it pays
    for a larger one.
    """
    chosen, several = _by_run(analysis, choices), feeds_several(analysis.graph)
    least = _least_areas(analysis, _largest_velocities(analysis, aim))
    unpaid = {}
    for run, choice in chosen.items():
        duct = _fullest(analysis, run)
        before = _run_before(analysis, duct, chosen)
        if choice.limit != BY_REGAIN or before is None:
            continue
        if _lacking(analysis, duct, before) > 1e-6:
            at = float(least[run]), bool(several[duct]), before
            drawn = choice.drawn or BEGUN
            found, bound = _found(analysis, duct, _freed(aim), drawn, *at)
            larger = found is not None and found.section.area > choice.chosen.area
            unpaid[choice.run] = larger and bound not in UNMET
    return unpaid


def _on_the_way(analysis: Analysis, duct: int) -> BoolArray:
    """Which elements lose pressure along the run of a duct, not where it ends."""
    ducts, elements = analysis.graph.ducts, analysis.elements
    ends = [int(Kind.EXIT), int(Kind.TERMINAL)]
    mine = ducts.run[elements.duct] == ducts.run[duct]
    return np.asarray(mine & ~np.isin(elements.kind, ends))


def _paid_by_regain(
    analysis: Analysis, duct: int, every: Sequence[sizes.Size], before: Choice
) -> sizes.Size | None:
    """Smallest size at which the regain pays for the run's own loss.

    With the coefficients that it has at that size, and that a step less would have.
    """
    run, tried = int(analysis.graph.ducts.run[duct]), list[Section]()
    while found := _first_paid(analysis, duct, every, before):
        if found.section in (analysis.graph.section(duct), *tried):
            break
        tried.append(found.section)
        other = _with_size(analysis, run, found.section)
        if other is None:
            break
        analysis, duct = other, _fullest(other, run)
    smaller = every[: every.index(found)] if found else ()
    for size in reversed(smaller):
        other = _with_size(analysis, run, size.section)
        if other is None or _lacking(other, _fullest(other, run), before) > 0.0:
            break
        found = size
    return found


def _least_lacking(
    analysis: Analysis, duct: int, every: Sequence[sizes.Size], before: Choice
) -> tuple[sizes.Size, str] | None:
    """Smallest size at which the regain lacks hardly more than at any.

    The loss of a branch may grow with its size for as long as the regain does.
    """
    run, lacking = int(analysis.graph.ducts.run[duct]), list[float]()
    for size, now in zip(
        every, _lacking_now(analysis, duct, every, before), strict=True
    ):
        other = _with_size(analysis, run, size.section)
        exact = now if other is None else _lacking(other, _fullest(other, run), before)
        lacking.append(exact)
    least = min(lacking, default=np.inf)
    whole = regained(before.velocity, 0.0, analysis.conditions.air.density)
    most = 0.0 if least <= 0.0 else least + _HARDLY * whole
    limit = BY_REGAIN if least <= 0.0 else UNPAID
    near = (size for size, one in zip(every, lacking, strict=True) if one <= most)
    return next(((size, limit) for size in near), None)


def _with_size(analysis: Analysis, run: int, section: Section) -> Analysis | None:
    """The layout with another section of one run; None where the air may turn round."""
    graph = analysis.graph
    if graph.loops is not None:
        return None
    cut = {**graph.schedule.sections, graph.drawing.names[run]: section}
    return analyse(remade(graph, replace(graph.schedule, sections=cut)))


def _lacking(analysis: Analysis, duct: int, before: Choice) -> float:
    """Loss of the run of a duct that the regain before it does not pay for, Pa."""
    speed, density = analysis.state.velocity[duct], analysis.conditions.air.density
    lost = float(analysis.elements.loss[_on_the_way(analysis, duct)].sum())
    return lost - regained(before.velocity, float(speed), density)


def _first_paid(
    analysis: Analysis, duct: int, every: Sequence[sizes.Size], before: Choice
) -> sizes.Size | None:
    """Smallest size that the regain pays for, with the coefficients as they are now.

    R (pv1 - pv2) = friction and fittings of the run: the definition of static regain.
    """
    lacking = _lacking_now(analysis, duct, every, before)
    return next((s for s, one in zip(every, lacking, strict=True) if one <= 0.0), None)


def _lacking_now(
    analysis: Analysis, duct: int, every: Sequence[sizes.Size], before: Choice
) -> list[float]:
    """`_lacking` at each size with the coefficients as they are now, Pa."""
    graph, elements, state = analysis.graph, analysis.elements, analysis.state
    components, run = graph.schedule.components, graph.ducts.run
    mine, straight = _on_the_way(analysis, duct), elements.kind == int(Kind.DUCT)
    # A leg's loss is of the air before it, and a declared one of the airflow alone.
    own = run[elements.reference] == run[duct]
    for row in (mine & (elements.kind == int(Kind.COMPONENT))).nonzero()[0].tolist():
        own[row] = components[int(elements.row[row])].coefficient is not None
    rubs, turns, stays = (
        float(elements.loss[mine & some].sum())
        for some in (straight, own & ~straight, ~own)
    )
    density, out = analysis.conditions.air.density, []
    for size in every:
        lost = stays + rubs * size.gradient / float(state.gradient[duct])
        lost += turns * (size.velocity / float(state.velocity[duct])) ** 2
        out.append(lost - regained(before.velocity, size.velocity, density))
    return out
