"""Sizes of a whole layout: equal friction, a velocity, or static regain."""

from collections.abc import Callable, Mapping, Sequence
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
    rate_words,
    refusal,
    solids,
    warning,
    with_drawn_names,
    with_run_words,
)

from .analysis import Analysis, analyse
from .run_sizes import Aim, Choice, chosen_sizes
from .sizing_notices import few_names, new_outlet, sizing_notices
from .system import WINDOW

_ROUNDS = 25
_NEAR = 0.01  # share within which the highest rate of a circle is sought
_LOWERINGS = 4  # times that runs are made lower under obstacles
_LOWEST = 0.1  # m: no duct is made lower than this


@dataclass(frozen=True, eq=False)
class Proportions:
    """Sizes of a layout.

    Parameters
    ----------
    choices
        One for each run with air, in the order drawn.
    before, after
        The layout as drawn and with the sizes; `before` is None where it has no
        sections to be analysed with.
    rounds
        How often sizes and losses were worked out in turn.
    rate
        Friction rate that was sized to, Pa/m: the highest that the fan carries where
        it went round in a circle; None by another method.
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
        Sizes that do not change any more when the losses are worked out with them.
        Where they and the rate go round in a circle, those at the highest rate of it,
        to 1 %, that the fan still leaves with them; the larger of each if it is none.

    Raises
    ------
    BadInput
        If the layout cannot be analysed, no friction rate is known, or none is left,
        or a velocity is needed that nothing says.
    """
    schedule, faults = with_drawn_names(schedule, drawing)
    if faults:
        raise BadInput(faults)
    drawing = with_run_words(drawing, schedule)
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
        f"with these sizes {few_names(tight)} still {near}",
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
    """Size every run, as `proportion`, without a look at obstacles."""
    begun, said = _begun(drawing, schedule), schedule.fan.outlet_velocity_pressure
    current: dict[str, Section] = dict(begun)
    said_sections = {run.name: run.section for run in drawing.runs if run.section}
    drawn = {**said_sections, **schedule.sections}

    def analysed(chosen: Mapping[str, Section]) -> Analysis:
        every = {**schedule.sections, **chosen}
        return analyse(
            build(drawing, replace(schedule, sections=every), tolerance=tolerance)
        )

    def sized(rate: float) -> Proportions:
        return _proportion(drawing, schedule, replace(aim, rate=rate), tolerance)

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
        choices = chosen_sizes(analysis, aimed, drawn | begun)
        current = {choice.run: choice.chosen for choice in choices}
        if current not in seen:
            seen.append(dict(current))
            analysis = analysed(current)
            continue
        if current != seen[-1]:
            since = seen.index(current)
            tried = [rate for rate in rates[since:] if rate is not None]
            carried = None
            if tried and aim.rate is None:
                carried = _highest_carried(sized, min(tried), max(tried))
            if carried is not None:
                aimed = replace(aimed, rate=carried.rate)
                choices = list(carried.choices)
            else:
                aimed = replace(aimed, rate=min(tried, default=aimed.rate))
                larger = _larger(seen[since:])
                choices = [replace(c, chosen=larger[c.run]) for c in choices]
            current = {choice.run: choice.chosen for choice in choices}
            notices.append(_circle_notice(drawing, tried, carried))
        break
    else:
        notices.append(
            warning(
                drawing.file,
                f"the sizes still change after {_ROUNDS} rounds",
                "give a friction rate",
            )
        )
    after = analysed(current)
    final = [
        replace(_with_air(after, choice), drawn=drawn.get(choice.run))
        for choice in choices
    ]
    if held and outlet > 0.0 and said is None:
        notices += new_outlet(before, after, outlet)
    kept = aimed.rate if aim.method == "equal friction" else None
    notices += sizing_notices(after, final, aim, kept)
    return Proportions(
        tuple(final),
        before if not begun else None,
        after,
        rounds,
        kept,
        tuple(notices),
    )


def _circle_notice(
    drawing: Drawing, tried: Sequence[float], carried: Proportions | None
) -> Notice:
    """Say that sizes and rates, Pa/m, go round in a circle, and what was taken of it.

    `carried` are the sizes at the highest rate that the fan leaves; None for the
    larger ones of the circle.
    """
    between, taken = "", "the larger sizes of it were taken"
    if tried:
        between = f", between {rate_words(min(tried))} and {rate_words(max(tried))}"
    if carried is not None and carried.rate is not None:
        taken = "taken was the highest rate that the fan leaves with the sizes it "
        taken += f"gives, {rate_words(carried.rate)}"
    return note(
        drawing.file,
        "the sizes and the friction rate chase each other in a circle"
        f"{between}; {taken}",
    )


def _highest_carried(
    sized: Callable[[float], Proportions], low: float, high: float
) -> Proportions | None:
    """Sizes at the highest of some rates, Pa/m, that the fan leaves with them.

    By halves, as sizes come in steps: what the fan leaves jumps with them. None where
    it does not leave the lowest rate either.
    """

    def carries(found: Proportions, rate: float) -> bool:
        left = found.after.system.friction_rate_available
        return left is not None and left >= rate

    best, most = sized(low), sized(high)
    if carries(most, high):
        return most
    if not carries(best, low):
        return None
    while high > low * (1.0 + _NEAR):
        middle = (low * high) ** 0.5
        found = sized(middle)
        if carries(found, middle):
            best, low = found, middle
        else:
            high = middle
    return best


def _begun(drawing: Drawing, schedule: Schedule) -> dict[str, Section]:
    """A section to begin with for each run that has none; BadInput if it is to stay."""
    wanted = {}
    for run in drawing.runs:
        is_bare = run.section is None and run.name not in schedule.sections
        if is_bare and not run.attributes.transition:
            wanted[run.name] = Section(Shape.ROUND, 0.3, 0.3)
    for name in wanted:
        if schedule.limits.get(name, RunLimits()).is_kept:
            raise refusal(
                f"{schedule.file}, [limits] '{name}'",
                "the run is to stay as drawn and has no section",
                "give it one, or delete as_drawn",
            )
    return wanted


def _larger(seen: list[dict[str, Section]]) -> dict[str, Section]:
    """The section of the largest area of each run."""
    return {
        run: max((one[run] for one in seen), key=lambda section: section.area)
        for run in seen[0]
    }


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
