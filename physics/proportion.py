"""Sizes of a whole layout: equal friction, a velocity, or static regain."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from elbowroom.layout import (
    BadInput,
    Drawing,
    Notice,
    Obstacle,
    RunLimits,
    Schedule,
    Section,
    Shape,
    build,
    clearances,
    length_words,
    note,
    piece_ducts,
    pressure_words,
    rate_words,
    refusal,
    section_words,
    solids,
    warning,
    with_drawn_names,
)

from . import sizes
from .analysis import Analysis, analyse
from .elements import Kind
from .flows import terminals_fed
from .site_air import fan_air_notices
from .system import WINDOW
from .velocity_checks import velocity_limits

METHODS = ("equal friction", "velocity", "static regain")
REGAIN = 0.75  # share of the fall of velocity pressure that comes back: from memory
_NO_SIZE = "no size within the limits: left as it was"
_LARGEST = "largest that the limits allow"
_ROUNDS = 25
_LOWERINGS = 4  # times that runs are made lower under obstacles
_LOWEST = 0.1  # m: no duct is made lower than this


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
        Limits of the sides, m; None keeps the height drawn.
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
    """Size chosen for one run, and what bound it."""

    run: str
    drawn: Section | None
    chosen: Section
    flow: float
    velocity: float
    gradient: float
    limit: str


@dataclass(frozen=True, eq=False)
class Proportions:
    """Sizes of a layout.

    Parameters
    ----------
    choices
        One for each run with air, from the source outwards.
    before, after
        The layout as drawn and with the sizes; `before` is None where it has no
        sections to be analysed with.
    rounds
        How often sizes and losses were worked out in turn.
    rate
        Friction rate that was sized to, Pa/m: the lowest where it went round in a
        circle; None by another method.
    notices
        What to look at.
    """

    choices: tuple[Choice, ...]
    before: Analysis | None
    after: Analysis
    rounds: int
    rate: float | None
    notices: tuple[Notice, ...]


def proportion(
    drawing: Drawing,
    schedule: Schedule,
    aim: Aim,
    tolerance: float = 1e-3,
    obstacles: Sequence[Obstacle] = (),
) -> Proportions:
    """Size every run of a drawing.

    Parameters
    ----------
    drawing, schedule
        The layout; runs that have no section are begun with 300 mm.
    aim
        What it is sized for.
    tolerance
        As for `build`, m.
    obstacles
        What to stay clear of: a run that comes too near, its centreline where it is
        drawn, is made lower until it does not.

    Returns
    -------
    proportions
        Sizes that do not change any more when the losses are worked out with them; a
        cycle of sizes ends with the larger of each.

    Raises
    ------
    BadInput
        If the layout cannot be analysed, no friction rate is known, or none is left.
    """
    schedule, faults = with_drawn_names(schedule, drawing)
    if faults:
        raise BadInput(faults)
    found = _proportion(drawing, schedule, aim, tolerance)
    for _ in range(_LOWERINGS):
        limits = _lowered(found.after, obstacles, schedule, aim)
        if limits == schedule.limits:
            break
        schedule = replace(schedule, limits=limits)
        found = _proportion(drawing, schedule, aim, tolerance)
    tight = sorted({run for run, _, _ in _too_near(found.after, obstacles, schedule)})
    if not tight:
        return found
    near = "runs into an obstacle"
    if schedule.clearance > 0.0:
        room = length_words(schedule.clearance)
        near = f"comes nearer to an obstacle than {room}"
    said = warning(
        drawing.file,
        f"with these sizes {_shown(tight)} still {near}",
        "lead it another way: no lower section mends that",
    )
    return replace(found, notices=(*found.notices, said))


def _too_near(
    analysis: Analysis, obstacles: Sequence[Obstacle], schedule: Schedule
) -> list[tuple[str, int, float]]:
    """Run and duct of what stands too near an obstacle, and how much it lacks, m."""
    if not obstacles:
        return []
    graph = analysis.graph
    shapes = solids(graph)
    near = clearances(
        shapes,
        obstacles,
        insulation=schedule.insulation,
        required=schedule.clearance,
    )
    ducts = piece_ducts(graph, shapes)[near.piece].tolist()
    names = [graph.drawing.names[int(graph.ducts.run[duct])] for duct in ducts]
    lacking = (schedule.clearance - near.distance).tolist()
    return [one for one in zip(names, ducts, lacking, strict=True) if one[2] > 1e-6]


def _lowered(
    analysis: Analysis, obstacles: Sequence[Obstacle], schedule: Schedule, aim: Aim
) -> dict[str, RunLimits]:
    """Limits of the runs, those that stand too near an obstacle made lower."""
    limits, ducts = dict(schedule.limits), analysis.graph.ducts
    for run, duct, lacking in _too_near(analysis, obstacles, schedule):
        height = float(ducts.height[duct]) - 2.0 * lacking
        own = limits.get(run, RunLimits(aim.highest, aim.widest))
        if height >= _LOWEST and (own.highest is None or height < own.highest):
            limits[run] = replace(own, highest=height)
    return limits


def _proportion(
    drawing: Drawing, schedule: Schedule, aim: Aim, tolerance: float
) -> Proportions:
    begun, said = _begun(drawing, schedule), schedule.fan.outlet_velocity_pressure
    for run in begun:
        if schedule.limits.get(run, RunLimits()).is_kept:
            raise refusal(
                f"{schedule.file}, [limits] '{run}'",
                "the run is to stay as drawn and has no section",
                "give it one, or delete as_drawn",
            )
    current: dict[str, Section] = dict(begun)

    def analysed(chosen: Mapping[str, Section]) -> Analysis:
        every = {**schedule.sections, **chosen}
        return analyse(
            build(drawing, replace(schedule, sections=every), tolerance=tolerance)
        )

    before = analysed(current)
    at_fan = int(before.graph.ducts.run[0])
    outlet = before.system.outlet_velocity_pressure
    is_static = before.system.fan_kind == "external static"
    held = is_static and before.graph.drawing.names[at_fan] not in begun
    if held:  # or a smaller first duct would seem to make the fan stronger
        fan = replace(schedule.fan, outlet_velocity_pressure=outlet)
        schedule = replace(schedule, fan=fan)
    analysis, seen = before, [dict(current)]
    notices: list[Notice] = []
    choices: list[Choice] = []
    rates: list[float | None] = []  # of each round
    rounds = 0
    while rounds < _ROUNDS:
        rounds += 1
        aimed = _aimed(analysis, aim)
        rates.append(aimed.rate)
        choices = _round(analysis, aimed)
        current = {choice.run: choice.chosen for choice in choices}
        if current in seen:
            if current != seen[-1]:
                tried = [r for r in rates[seen.index(current) :] if r is not None]
                between = ""
                if tried:
                    aimed = replace(aimed, rate=min(tried))
                    between = f", between {rate_words(min(tried))} and "
                    between += rate_words(max(tried))
                current = _larger(seen[seen.index(current) :])
                choices = [
                    replace(c, chosen=current[c.run], limit=c.limit) for c in choices
                ]
                notices.append(
                    note(
                        drawing.file,
                        "the sizes and the friction rate chase each other in a circle"
                        f"{between}; the larger sizes of it were taken",
                    )
                )
            break
        seen.append(dict(current))
        analysis = analysed(current)
    else:
        notices.append(
            warning(
                drawing.file,
                f"the sizes still change after {_ROUNDS} rounds",
                "give a friction rate",
            )
        )
    after = analysed(current)
    drawn = {run.name: run.section for run in drawing.runs} | dict(schedule.sections)
    final = [
        replace(_with_air(after, choice), drawn=drawn.get(choice.run))
        for choice in choices
    ]
    if held and outlet > 0.0 and said is None:
        notices += _new_outlet(before, after, outlet)
    notices += _unsized(drawing, final) + _airless(after, final)
    notices += fan_air_notices(schedule.fan, after.conditions.air)
    if aim.method == "equal friction" and aimed.rate is not None:
        notices += _too_small(drawing, final, aimed.rate)
    system = after.system
    if system.available is not None and system.required > system.available:
        lacking = pressure_words(system.required - system.available)
        notices.append(
            warning(
                drawing.file,
                f"the fan does not carry the layout with these sizes: {lacking} are "
                "lacking on the critical path",
                "take a stronger fan or a lower rate, or allow more height",
            )
        )
    rate = after.system.friction_rate_available
    if rate is not None and rate <= 0.0 and aim.rate is None:
        assert system.available is not None  # no rate is left without it
        over = system.fitting_loss - system.available
        more = f", and {pressure_words(over)} more" if over > 0.0 else ""
        raise refusal(
            drawing.file,
            "also with larger ducts the fan leaves nothing for straight duct: fittings "
            f"and declared losses spend it all{more}",
            "give better fittings, a stronger fan, or a rate",
        )
    if rate is not None and not WINDOW[0] <= rate <= WINDOW[1]:
        notices.append(
            warning(
                drawing.file,
                f"the fan leaves {rate_words(rate)} with these sizes, outside the "
                f"window {rate_words(WINDOW[0])} to {rate_words(WINDOW[1])} that "
                "practice works in",
                "above it, noise and throttling; below it, mend the path or the "
                "equipment first, and not the sizes alone",
            )
        )
    return Proportions(
        tuple(final),
        before if not begun else None,
        after,
        rounds,
        aimed.rate if aim.method == "equal friction" else None,
        tuple(notices),
    )


def _unsized(drawing: Drawing, choices: list[Choice]) -> list[Notice]:
    """Say which runs kept their size because the limits allow none.

    Raises
    ------
    BadInput
        If one of them has no size that it could keep.
    """
    runs = [choice for choice in choices if choice.limit == _NO_SIZE]
    if not runs:
        return []
    shown = _shown([choice.run for choice in runs])
    bare = [choice.run for choice in runs if choice.drawn is None]
    if bare:
        raise refusal(
            drawing.file,
            f"the limits allow no size for run '{bare[0]}', which has none drawn",
            "allow more height, width or velocity, or give it a section",
        )
    return [
        warning(
            drawing.file,
            f"the limits allow no size for {shown}, left as drawn",
            "allow more height, width or velocity there",
        )
    ]


def _new_outlet(before: Analysis, after: Analysis, outlet: float) -> list[Notice]:
    """Say that the first duct no longer is as wide as it is drawn at the fan."""
    drawn, sized = before.graph.section(0), after.graph.section(0)
    if drawn == sized:
        return []
    return [
        warning(
            before.graph.drawing.file,
            "the fan's outlet was taken as wide as the first duct is drawn, "
            f"{section_words(drawn)}, with a velocity pressure of "
            f"{pressure_words(outlet)}; the transition from there to "
            f"{section_words(sized)} is not counted",
            f'write outlet_velocity_pressure = "{outlet:.1f} Pa" under [fan] if so',
        )
    ]


def _airless(analysis: Analysis, choices: list[Choice]) -> list[Notice]:
    """Say which runs lead to closed ends alone, so that no size follows."""
    ducts, drawing = analysis.graph.ducts, analysis.graph.drawing
    sized = {choice.run for choice in choices}
    still = np.unique(ducts.run[analysis.state.flow == 0.0]).tolist()
    runs = [name for name in (drawing.names[run] for run in still) if name not in sized]
    if not runs:
        return []
    return [
        note(
            drawing.file,
            f"no air flows in {_shown(runs)}, behind closed ends: left as drawn",
        )
    ]


def _too_small(drawing: Drawing, choices: list[Choice], rate: float) -> list[Notice]:
    """Say which runs have the largest size within the limits, and rub more."""
    runs = [
        choice.run
        for choice in choices
        if choice.limit == _LARGEST and choice.gradient > rate * (1 + 1e-9)
    ]
    if not runs:
        return []
    return [
        warning(
            drawing.file,
            f"no size within the limits keeps {rate_words(rate)} in {_shown(runs)}: "
            "the largest was taken",
            "allow more height or width there, or a higher rate",
        )
    ]


def _shown(runs: list[str]) -> str:
    names = ", ".join(f"'{run}'" for run in runs[:5])
    return names + (f" and {len(runs) - 5} more" if len(runs) > 5 else "")


def _begun(drawing: Drawing, schedule: Schedule) -> dict[str, Section]:
    """A section to begin with for each run that has none."""
    wanted = {}
    for run in drawing.runs:
        is_bare = run.section is None and run.name not in schedule.sections
        if is_bare and not run.attributes.transition:
            wanted[run.name] = Section(Shape.ROUND, 0.3, 0.3)
    return wanted


def _larger(seen: list[dict[str, Section]]) -> dict[str, Section]:
    return {run: max((one[run] for one in seen), key=_size) for run in seen[0]}


def _size(section: Section) -> float:
    return section.area


def _aimed(analysis: Analysis, aim: Aim) -> Aim:
    """An aim with the friction rate that the fan leaves, where it says none."""
    if aim.method != "equal friction" or aim.rate is not None:
        return aim
    rate = analysis.system.friction_rate_available
    if rate is None:
        raise refusal(
            analysis.graph.drawing.file,
            "no fan is declared, so that no friction rate follows",
            "give a rate, or external_static_pressure under [fan]",
        )
    # Larger ducts have fittings that lose less: nothing left is not the end yet.
    return replace(aim, rate=max(rate, WINDOW[0]))


def _round(analysis: Analysis, aim: Aim) -> list[Choice]:
    """Choose the size of every run from the losses as they are now."""
    graph = analysis.graph
    ducts, drawing = graph.ducts, graph.drawing
    limits = velocity_limits(analysis)
    feeds = terminals_fed(graph)
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
        is_main = bool(feeds[duct] > 1.5)
        fastest = aim.main if is_main else aim.branch
        if fastest is None and np.isfinite(limits[duct]):
            fastest = float(limits[duct])  # else the layout would fail its own check
        chosen[run] = _choice(analysis, duct, aim, fastest, is_main, before)
    return list(chosen.values())


def _run_before(
    analysis: Analysis, duct: int, chosen: Mapping[int, Choice]
) -> Choice | None:
    parent, flow = int(analysis.graph.ducts.parent[duct]), analysis.state.flow
    while parent >= 0:
        run = int(analysis.graph.ducts.run[parent])
        # Behind a meeting the ducts that join carry less: they are no limit.
        if run in chosen and flow[parent] >= flow[duct] * (1 - 1e-9):
            return chosen[run]
        parent = int(analysis.graph.ducts.parent[parent])
    return None


def _choice(
    analysis: Analysis,
    duct: int,
    aim: Aim,
    fastest: float | None,
    is_main: bool,
    before: Choice | None,
) -> Choice:
    graph = analysis.graph
    drawn = graph.section(duct)
    flow = float(analysis.state.flow[duct])
    own = graph.schedule.limits.get(
        graph.drawing.names[int(graph.ducts.run[duct])], RunLimits()
    )
    aim = replace(
        aim,
        highest=own.highest if own.highest is not None else aim.highest,
        widest=own.widest if own.widest is not None else aim.widest,
    )
    shape = aim.shape or drawn.shape
    every = _ladder(analysis, aim, shape, drawn, flow, fastest, duct, before)
    ladder = len(every)
    if before is not None and not aim.may_grow:
        most = before.chosen.area * (1 + 1e-9)
        every = [size for size in every if size.section.area <= most]
    found, limit = None, "velocity"
    if own.is_kept:
        found, limit = _sized(analysis, drawn, flow, duct), "as drawn, as is said"
    elif aim.method == "static regain" and before is not None and is_main:
        found = _paid_by_regain(analysis, duct, every, before)
        limit = "static regain"
    elif aim.method == "equal friction":
        found = next((s for s in every if s.gradient <= (aim.rate or 0.0)), None)
        limit = "friction rate"
        if found is not None and fastest is not None and found is every[0]:
            limit = "velocity"
    elif every and fastest is not None:
        found = every[0]
    if found is None and every:
        found = every[-1]
        limit = "no larger than the duct before it" if len(every) < ladder else _LARGEST
    if found is None:
        found = _sized(analysis, drawn, flow, duct)
        limit = _NO_SIZE
    return Choice(
        graph.drawing.names[int(graph.ducts.run[duct])],
        drawn,
        found.section,
        flow,
        found.velocity,
        found.gradient,
        limit,
    )


def _sized(analysis: Analysis, section: Section, flow: float, duct: int) -> sizes.Size:
    conditions = analysis.conditions
    roughness = float(conditions.roughness[duct])
    pressed = float(np.nan_to_num(conditions.compression[duct]))
    gradient = sizes.gradient_of(section, flow, conditions.air, roughness, pressed)
    return sizes.Size(section, section, flow / section.area, gradient, "")


def _ladder(
    analysis: Analysis,
    aim: Aim,
    shape: Shape,
    drawn: Section,
    flow: float,
    fastest: float | None,
    duct: int,
    before: Choice | None,
) -> list[sizes.Size]:
    """Sizes of the ladder within the limits, the smallest first."""
    if shape == Shape.ROUND:
        # A round duct is as wide as it is high: both limits bind it.
        most = min(aim.highest or np.inf, aim.widest or np.inf)
        every = [
            Section(Shape.ROUND, float(d), float(d))
            for d in sizes.diameters(aim.series)
            if d <= most * (1 + 1e-9)
        ]
    else:
        height = aim.highest or (
            before.chosen.height
            if drawn.shape == Shape.ROUND and before is not None
            else drawn.height
        )
        if aim.highest is not None and drawn.shape == shape:
            height = min(aim.highest, max(drawn.height, 0.0) or aim.highest)
        widest = min(aim.widest or np.inf, sizes.FLATTEST * height)
        every = [
            Section(shape, float(width), float(height))
            for width in sizes.sides(widest, aim.series)
            if width >= height / sizes.FLATTEST * (1 - 1e-9)
            and (shape != Shape.OVAL or width >= height)
        ]
    fits = [
        section
        for section in every
        if fastest is None or flow / section.area <= fastest * (1 + 1e-9)
    ]
    return [_sized(analysis, section, flow, duct) for section in fits]


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


def _paid_by_regain(
    analysis: Analysis, duct: int, every: list[sizes.Size], before: Choice
) -> sizes.Size | None:
    """Smallest size at which the regain pays for the run's own loss.

    R (pv1 - pv2) = friction and fittings of the run, with the coefficients as they
    are now: the definition of static regain.
    """
    graph, elements = analysis.graph, analysis.elements
    run = graph.ducts.run[duct]
    mine = np.flatnonzero(graph.ducts.run == run)
    length = float(graph.ducts.length[mine].sum())
    fittings = np.isin(elements.duct, mine) & ~np.isin(
        elements.kind, [int(Kind.DUCT), int(Kind.EXIT), int(Kind.TERMINAL)]
    )
    pv = analysis.state.velocity_pressure[duct]
    whole = float(elements.loss[fittings].sum() / pv)  # in velocity pressures
    density = analysis.conditions.air.density
    for size in every:
        pv_now = density / 2 * size.velocity**2
        lost = size.gradient * length + max(whole, 0.0) * pv_now
        if regained(before.velocity, size.velocity, density) >= lost:
            return size
    return None


def _with_air(analysis: Analysis, choice: Choice) -> Choice:
    """A choice with the air that flows in it in the end."""
    graph = analysis.graph
    run = list(graph.drawing.names).index(choice.run)
    duct = int(np.flatnonzero(graph.ducts.run == run)[0])
    return replace(
        choice,
        velocity=float(analysis.state.velocity[duct]),
        gradient=float(analysis.state.gradient[duct]),
    )
