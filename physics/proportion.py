"""Sizes of a whole layout: equal friction, a velocity, or static regain."""

import math
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
    build,
    clearances,
    length_words,
    listed,
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
from .run_sizes import BEGUN, KEPT, LARGEST, UNMET, Aim, Choice, chosen_sizes
from .sizing_notices import new_outlet, sizing_notices
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
        Friction rate that was sized to, Pa/m: the highest that the fan leaves where
        none was given; None by another method.
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
        Where they and the rate go round in a circle, those at the highest rate, to 1 %,
        that the fan still leaves with them.

        Without a rate to size for, that of what the fan leaves, below the window that
        practice works in too.

    Raises
    ------
    BadInput
        If the layout cannot be analysed, no friction rate is known, or none is left
        with the largest sizes that the limits allow either, or a velocity is needed
        that nothing says.
    """
    schedule, faults, _ = with_drawn_names(schedule, drawing)
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
        f"with these sizes {listed(tight)} still {near}",
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
    highest, widest = (
        None if limit is None or math.isinf(limit) else limit
        for limit in (aim.highest, aim.widest)
    )
    for run, duct, lacking in _too_near(analysis, obstacles, schedule):
        height = float(ducts.height[duct]) - 2.0 * lacking
        own = limits.get(run, RunLimits(highest, widest))
        if height >= _LOWEST and (own.highest is None or height < own.highest):
            limits[run] = replace(own, highest=height)
    return limits


@dataclass(frozen=True, eq=False)
class _Settled:
    """Sizes that losses and rates were worked out with in turn until they stayed.

    `circle` has the rates, Pa/m, at which they go round in a circle; None where they do
    not, and none where the rate is given.
    """

    choices: list[Choice]
    after: Analysis
    rate: float | None
    rounds: int
    circle: tuple[float, ...] | None = None
    is_settled: bool = True

    @property
    def is_left(self) -> bool:
        """Whether the fan leaves the rate with these sizes."""
        left = self.after.system.friction_rate_available
        return self.rate is None or (left is not None and left >= self.rate)

    @property
    def is_carried(self) -> bool:
        """Whether it carries the layout too, where limits hold runs above the rate."""
        return self.is_left and not self.after.system.is_short


def _proportion(
    drawing: Drawing, schedule: Schedule, aim: Aim, tolerance: float
) -> Proportions:
    """Size every run, as `proportion`, without a look at obstacles."""
    begun, said = _begun(drawing, schedule), schedule.fan.outlet_velocity_pressure
    said_sections = {run.name: run.section for run in drawing.runs if run.section}
    drawn = {**said_sections, **schedule.sections}
    before = _analysed(drawing, schedule, begun, tolerance)
    at_fan = int(before.graph.ducts.run[0])
    outlet = before.system.outlet_velocity_pressure
    is_static = before.system.fan_kind == "external static"
    held = is_static and before.graph.drawing.names[at_fan] not in begun
    if held:  # or a smaller first duct would seem to make the fan stronger
        fan = replace(schedule.fan, outlet_velocity_pressure=outlet)
        schedule = replace(schedule, fan=fan)
    known: dict[tuple[tuple[str, Section], ...], Analysis] = {}

    def analysed(chosen: Mapping[str, Section]) -> Analysis:
        key = tuple(chosen.items())
        if key not in known:
            known[key] = _analysed(drawing, schedule, chosen, tolerance)
        return known[key]

    def settled(rate: float | None) -> _Settled:
        aimed = replace(aim, rate=rate)
        return _settled(before, begun, aimed, drawn | begun, analysed)

    found, notices = settled(aim.rate), list[Notice]()
    is_sought = aim.method == "equal friction" and aim.rate is None
    if is_sought and (found.circle or not found.is_carried):
        rates = found.circle or (found.rate or 0.0,)
        best = _highest(settled, min(rates), max(rates))
        if found.circle:
            notices.append(_circle_notice(drawing, found.circle, best.rate))
        found = replace(best, rounds=found.rounds)
    elif found.circle is not None:
        notices.append(_circle_notice(drawing))
    if not found.is_settled:
        mend = f"give {'a' if aim.rate is None else 'another'} friction rate"
        if aim.method != "equal friction":  # which keeps none
            mend = 'size with --method "equal friction"'
        notices.append(
            warning(
                drawing.file,
                f"the sizes still change after {_ROUNDS} rounds",
                mend,
            )
        )
    after = found.after
    final = [
        replace(_with_air(after, choice), drawn=drawn.get(choice.run))
        for choice in found.choices
    ]
    if held and outlet > 0.0 and said is None:
        notices += new_outlet(before, after, outlet)
    kept = found.rate if aim.method == "equal friction" else None
    as_drawn = None if begun else before
    lower = None
    if aim.rate is not None and after.system.is_short:
        lower = _carried_rate(settled, aim.rate)
    larger = _larger_as_drawn(final, analysed) if after.system.is_short else ()
    notices += sizing_notices(after, final, aim, kept, as_drawn, lower, larger)
    return Proportions(
        tuple(final), as_drawn, after, found.rounds, kept, tuple(notices)
    )


def _analysed(
    drawing: Drawing,
    schedule: Schedule,
    chosen: Mapping[str, Section],
    tolerance: float,
) -> Analysis:
    every = {**schedule.sections, **chosen}
    return analyse(
        build(drawing, replace(schedule, sections=every), tolerance=tolerance)
    )


def _settled(
    before: Analysis,
    begun: Mapping[str, Section],
    aim: Aim,
    drawn: Mapping[str, Section],
    analysed: Callable[[Mapping[str, Section]], Analysis],
) -> _Settled:
    """Choose sizes and work out their losses in turn until they stay as they are.

    The larger of each where they go round in a circle, at the lowest rate of it.
    """
    analysis, seen = before, [dict(begun)]
    rates: list[float | None] = []  # of each round
    choices: list[Choice] = []
    for rounds in range(1, _ROUNDS + 1):
        aimed = _aimed(analysis, aim)
        rates.append(aimed.rate)
        choices = chosen_sizes(analysis, aimed, drawn)
        current = {choice.run: choice.chosen for choice in choices}
        if current == seen[-1]:
            return _Settled(choices, analysis, aimed.rate, rounds)
        if current in seen:
            since = seen.index(current)
            tried = [rate for rate in rates[since:] if rate is not None]
            larger = _larger(seen[since:])
            choices = [replace(c, chosen=larger[c.run]) for c in choices]
            rate = min(tried, default=aimed.rate)
            circle = tuple(tried) if aim.rate is None else ()
            after = analysed(larger)
            return _Settled(choices, after, rate, rounds, circle)
        seen.append(current)
        analysis = analysed(current)
    return _Settled(choices, analysis, rates[-1], _ROUNDS, is_settled=False)


def _circle_notice(
    drawing: Drawing, tried: Sequence[float] = (), rate: float | None = None
) -> Notice:
    """Say that sizes and rates, Pa/m, go round in a circle, and what was taken of it.

    `rate` is the highest that the fan leaves; None for the larger sizes of the circle.
    """
    between, taken = "", "the larger sizes of it were taken"
    if tried:
        between = f", between {rate_words(min(tried))} and {rate_words(max(tried))}"
    if rate is not None:
        taken = "taken was the highest rate that the fan leaves with the sizes it "
        taken += f"gives, {rate_words(rate)}"
    return note(
        drawing.file,
        "the sizes and the friction rate chase each other in a circle"
        f"{between}; {taken}",
    )


def _highest(settled: Callable[[float], _Settled], low: float, high: float) -> _Settled:
    """Sizes at the highest rate, Pa/m, at which the fan carries the layout.

    Those at the highest that it leaves with them where limits hold runs so far down
    that it carries it at none.
    """
    found = _sought(settled, low, high, lambda one: one.is_carried)
    if found.is_carried:
        return found
    return _sought(settled, low, high, lambda one: one.is_left)


def _carried_rate(settled: Callable[[float], _Settled], rate: float) -> float | None:
    """A round rate below one, Pa/m, at which the fan carries the layout, if any."""
    best = _sought(settled, rate / 2, rate, lambda one: not one.after.system.is_short)
    if best.after.system.is_short or best.rate is None:
        return None
    step = 10.0 ** (np.floor(np.log10(best.rate)) - 1)
    rounded = round(float(np.floor(best.rate / step) * step), 9)
    return None if settled(rounded).after.system.is_short else rounded


def _larger_as_drawn(
    choices: Sequence[Choice], analysed: Callable[[Mapping[str, Section]], Analysis]
) -> tuple[str, ...]:
    """Held runs that are larger as drawn, if the fan carries the layout with these.

    Those behind them that may be no larger than they are get their size by themselves.
    """
    chosen = {choice.run: choice.chosen for choice in choices}
    larger = {
        choice.run: choice.drawn
        for choice in choices
        if choice.limit in UNMET and choice.drawn is not None
        if choice.drawn.area > choice.chosen.area * (1 + 1e-9)
    }
    is_short = not larger or analysed({**chosen, **larger}).system.is_short
    if is_short:
        return ()
    return tuple(
        one.run for one in choices if one.limit == LARGEST and one.run in larger
    )


def _sought(
    settled: Callable[[float], _Settled],
    low: float,
    high: float,
    serves: Callable[[_Settled], bool],
) -> _Settled:
    """Sizes at the highest rate, Pa/m, with which they serve.

    By halves, as sizes come in steps: what the fan leaves jumps with them. Between two
    rates, and below where the lower one does not serve either, down to the largest
    sizes that the limits allow; those where none serves.
    """
    most = settled(high)
    if serves(most):
        return most
    best, step = settled(low), 2.0
    while not serves(best):
        system = best.after.system
        left, available = system.friction_rate_available, system.available
        if all(choice.limit in (*UNMET, KEPT) for choice in best.choices):
            return replace(best, rate=left) if left and left > 0.0 else best
        if available is None or available <= 0.0:  # no duct changes that
            return best
        high, low, step = low, low / step, step**2
        best = settled(low)
    while high > low * (1.0 + _NEAR):
        middle = (low * high) ** 0.5
        found = settled(middle)
        if serves(found):
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
            wanted[run.name] = BEGUN
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
    # What is below the window is sought where the sizes do not leave it either.
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
