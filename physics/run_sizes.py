"""Size of each run of a layout: by friction, velocity or static regain."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from elbowroom.layout import (
    BoolArray,
    RunLimits,
    Section,
    Shape,
    refusal,
    round_section,
)

from . import sizes
from .analysis import Analysis
from .elements import Kind
from .flows import feeds_several
from .velocity_checks import velocity_limits

METHODS = ("equal friction", "velocity", "static regain")
REGAIN = 0.75  # share of the fall of velocity pressure that comes back: from memory
BY_REGAIN = "static regain"
NO_SIZE = "no size within the limits: left as it was"
LARGEST = "largest that the limits allow"
NARROWEST = "narrowest at its height"
SMALLEST = sizes.SMALLEST


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
        the limit of the schedule's checks, if any. The first duct of a static regain
        has the velocity `main`.
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
        Whether a duct may be larger than the one before it.
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
    limits = velocity_limits(analysis)
    several = feeds_several(graph)
    chosen: dict[int, Choice] = {}
    for duct in range(len(ducts.parent)):  # parents come first
        run = int(ducts.run[duct])
        said = drawing.attributes.get(run)
        if run in chosen or (said is not None and said.transition):
            continue
        if graph.loops is not None:  # a run may begin at a meeting, with little air
            mine = np.flatnonzero(ducts.run == run)
            duct = int(mine[np.argmax(analysis.state.flow[mine])])
        if analysis.state.flow[duct] == 0.0:
            continue  # behind closed ends no size follows from the air
        before = _run_before(analysis, duct, chosen)
        is_main = bool(several[duct])
        fastest = aim.main if is_main else aim.branch
        if fastest is None and np.isfinite(limits[duct]):
            fastest = float(limits[duct])  # else the layout would fail its own check
        was = drawn[drawing.names[run]]
        chosen[run] = _choice(analysis, duct, aim, was, fastest, is_main, before)
    return [chosen[run] for run in sorted(chosen)]  # as they are drawn


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
    duct: int,
    aim: Aim,
    drawn: Section,
    fastest: float | None,
    is_main: bool,
    before: Choice | None,
) -> Choice:
    graph = analysis.graph
    name = graph.drawing.names[int(graph.ducts.run[duct])]
    flow = float(analysis.state.flow[duct])
    own = graph.schedule.limits.get(name, RunLimits())
    aim = replace(
        aim,
        highest=own.highest if own.highest is not None else aim.highest,
        widest=own.widest if own.widest is not None else aim.widest,
    )
    found, limit = None, "as drawn, as is said"
    if not own.is_kept:
        found, limit = _found(analysis, duct, aim, drawn, fastest, is_main, before)
    found = found or _sized(analysis, drawn, flow, duct)
    return Choice(
        name, drawn, found.section, flow, found.velocity, found.gradient, limit
    )


def _found(
    analysis: Analysis,
    duct: int,
    aim: Aim,
    drawn: Section,
    fastest: float | None,
    is_main: bool,
    before: Choice | None,
) -> tuple[sizes.Size | None, str]:
    """The first size that keeps the aim, else the largest, and what bound it."""
    flow = float(analysis.state.flow[duct])
    least = 0.0 if fastest is None else flow / fastest * (1 - 1e-9)  # m²
    most = np.inf
    if before is not None and not aim.may_grow:
        most = before.chosen.area * (1 + 1e-9)
    largest, limit = [], LARGEST
    for ladder in _ladders(aim, drawn, before):
        slow = [section for section in ladder if section.area >= least]
        fits = [section for section in slow if section.area <= most]
        every = (_sized(analysis, section, flow, duct) for section in fits)
        found, bound = None, "velocity"
        if aim.method == "static regain" and before is not None and is_main:
            found, bound = _paid_by_regain(analysis, duct, every, before), BY_REGAIN
        elif aim.method == "equal friction":
            found = next((s for s in every if s.gradient <= (aim.rate or 0.0)), None)
            if found is not None and found.section != slow[0]:
                bound = "friction rate"
        elif fastest is None:
            raise refusal(
                analysis.graph.drawing.file,
                f"sizing by {aim.method} needs the largest velocity of "
                f"{'mains' if is_main else 'branches'}",
                f"write --{'main' if is_main else 'branch'}-velocity, or a use under "
                "[checks]",
            )
        else:
            found = next(every, None)
        if found is not None:
            if bound == "velocity" and found.section == ladder[0]:  # so is any smaller
                bound = (
                    NARROWEST if ladder[-1].height == found.section.height else SMALLEST
                )
            return found, bound
        largest += [_sized(analysis, section, flow, duct) for section in fits[-1:]]
        if len(fits) < len(slow):
            limit = "no larger than the duct before it"
    if not largest:
        return None, NO_SIZE
    return min(largest, key=lambda size: size.gradient), limit


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
        Of the fall of velocity pressure, that which comes back.
    """
    return share * density / 2 * (before**2 - after**2)


def unpaid_by_regain(analysis: Analysis, choices: Sequence[Choice]) -> list[str]:
    """Runs sized by static regain that lose more than comes back before them.

    Sizes and losses are worked out in turn and may end in a circle, or a size may be
    made larger or lower after it was chosen.
    """
    graph = analysis.graph
    by_name = {choice.run: choice for choice in choices}
    chosen = {
        run: by_name[name]
        for run, name in enumerate(graph.drawing.names)
        if name in by_name
    }
    unpaid = []
    for run, choice in chosen.items():
        (mine,) = (graph.ducts.run == run).nonzero()
        duct = int(mine[np.argmax(analysis.state.flow[mine])])
        before = _run_before(analysis, duct, chosen)
        if choice.limit != BY_REGAIN or before is None:
            continue
        speed, density = analysis.state.velocity[duct], analysis.conditions.air.density
        lost = analysis.elements.loss[_on_the_way(analysis, duct)].sum()
        if lost > regained(before.velocity, float(speed), density) + 1e-6:
            unpaid.append(choice.run)
    return unpaid


def _on_the_way(analysis: Analysis, duct: int) -> BoolArray:
    """Which elements lose pressure along the run of a duct, not where it ends."""
    ducts, elements = analysis.graph.ducts, analysis.elements
    ends = [int(Kind.EXIT), int(Kind.TERMINAL)]
    mine = ducts.run[elements.duct] == ducts.run[duct]
    return np.asarray(mine & ~np.isin(elements.kind, ends))


def _paid_by_regain(
    analysis: Analysis, duct: int, every: Iterable[sizes.Size], before: Choice
) -> sizes.Size | None:
    """Smallest size at which the regain pays for the run's own loss.

    R (pv1 - pv2) = friction and fittings of the run, with the coefficients as they
    are now: the definition of static regain.
    """
    graph, elements = analysis.graph, analysis.elements
    mine = np.flatnonzero(graph.ducts.run == graph.ducts.run[duct])
    length = float(graph.ducts.length[mine].sum())
    fittings = _on_the_way(analysis, duct) & (elements.kind != int(Kind.DUCT))
    pv = analysis.state.velocity_pressure[duct]
    whole = float(elements.loss[fittings].sum() / pv)  # in velocity pressures
    density = analysis.conditions.air.density
    for size in every:
        pv_now = density / 2 * size.velocity**2
        lost = size.gradient * length + max(whole, 0.0) * pv_now
        if regained(before.velocity, size.velocity, density) >= lost:
            return size
    return None
