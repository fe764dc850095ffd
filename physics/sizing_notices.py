"""What to look at in the sizes chosen for a layout."""

from collections.abc import Sequence

import numpy as np

from elbowroom.layout import (
    Drawing,
    Notice,
    RunLimits,
    Shape,
    and_more,
    branches_beyond,
    length_words,
    note,
    pressure_words,
    rate_words,
    refusal,
    section_words,
    warning,
)

from .analysis import Analysis
from .flags import dust_flags
from .run_sizes import LARGEST, NO_SIZE, Aim, Choice, unpaid_by_regain
from .site_air import fan_air_notices
from .sizes import FLATTEST, diameters, sides
from .system import WINDOW


def sizing_notices(
    after: Analysis, choices: Sequence[Choice], aim: Aim, rate: float | None
) -> list[Notice]:
    """Say which runs found no size, and whether the fan carries the layout.

    Parameters
    ----------
    after
        The layout with its sizes.
    choices
        Those of its runs.
    aim
        What it is sized for.
    rate
        Friction rate that the sizes keep, Pa/m; None by another method.

    Raises
    ------
    BadInput
        If a run has no size that it could keep, or the fan leaves nothing for straight
        duct and equal friction is sought without a rate.
    """
    drawing = after.graph.drawing
    notices = _unsized(drawing, choices) + _airless(after, choices)
    notices += _beyond_their_mains(after)
    notices += fan_air_notices(after.graph.schedule.fan, after.conditions.air)
    if rate is not None:
        notices += _too_small(after, choices, aim, rate)
    notices += dust_flags(after.graph)
    notices += _unpaid(after, choices)
    return notices + _of_the_fan(after, choices, aim)


def _beyond_their_mains(after: Analysis) -> list[Notice]:
    """Say which branches do not fit in the side of the main that they leave."""
    graph = after.graph
    beyond = branches_beyond(graph.ducts, graph.legs)
    names = [graph.drawing.names[int(graph.ducts.run[duct])] for duct in beyond]
    if not names:
        return []
    plural = len(set(names)) > 1
    them = "them" if plural else "it"
    return [
        warning(
            graph.drawing.file,
            f"with these sizes {few_names(sorted(set(names)))} "
            f"{'are' if plural else 'is'} larger than the side of the duct that "
            f"{'they leave' if plural else 'it leaves'}, by up to "
            f"{length_words(max(beyond.values()))}",
            f"give {them} a max_width or max_height under [limits], or a larger duct "
            "before",
            effect="such a takeoff needs a piece that changes shape, which is counted "
            "nowhere",
        )
    ]


def _of_the_fan(after: Analysis, choices: Sequence[Choice], aim: Aim) -> list[Notice]:
    """Say whether the fan carries the layout, and whether its rate is a usual one.

    Where limits of size bind, they are what to relax before fan and fittings.
    """
    system, file = after.system, after.graph.drawing.file
    bound, first = _binding(after, choices, aim)
    slower = "rate" if aim.method == "equal friction" else "velocity"
    notices = []
    if system.spare is not None and system.spare < 0.0:
        lacking = pressure_words(-system.spare)
        notices.append(
            warning(
                file,
                f"the fan does not carry the layout with these sizes{bound}: {lacking} "
                "are lacking on the critical path",
                f"{first}, or take a stronger fan"
                if bound
                else f"take a stronger fan or a lower {slower}, or allow more height",
            )
        )
    rate = system.friction_rate_available
    seeks_rate = aim.method == "equal friction" and aim.rate is None
    if rate is not None and rate <= 0.0 and seeks_rate:
        assert system.available is not None  # no rate is left without it
        over = system.fitting_loss - system.available
        more = f", and {pressure_words(over)} more" if over > 0.0 else ""
        raise refusal(
            file,
            f"{f'with these sizes{bound},' if bound else 'also with larger ducts'} the "
            "fan leaves nothing for straight duct: fittings and declared losses spend "
            f"it all{more}",
            f"{first}, or give a rate, better fittings or a stronger fan"
            if bound
            else "give better fittings, a stronger fan, or a rate",
        )
    # With nothing left the fan does not carry the layout, as is said already.
    comfort = not after.graph.schedule.may_carry_dust
    if comfort and rate and rate > 0.0 and not WINDOW[0] <= rate <= WINDOW[1]:
        notices.append(
            warning(
                file,
                f"the fan leaves {rate_words(rate)} with these sizes, outside the "
                f"window {rate_words(WINDOW[0])} to {rate_words(WINDOW[1])} that "
                "practice works in",
                f"{first}: with larger ducts the fan leaves more"
                if bound and rate < WINDOW[0]
                else "above it, noise and throttling; below it, mend the path or the "
                "equipment first, and not the sizes alone",
            )
        )
    return notices


def _binding(after: Analysis, choices: Sequence[Choice], aim: Aim) -> tuple[str, str]:
    """Which limits hold sizes of the critical path down, and what to allow.

    Nothing where none does.
    """
    graph = after.graph
    way = graph.ducts.run[after.elements.duct[after.path(after.critical)]]
    critical = {graph.drawing.names[run] for run in way.tolist()}
    runs, held = _held(
        after, [choice for choice in choices if choice.run in critical], aim
    )
    if not held:
        return "", ""
    most = " and ".join(
        f"a {side} of at most {length_words(least)}" for side, least in held.items()
    )
    words = f", where {most} hold{'s' * (len(held) == 1)} down {few_names(runs)}"
    return words, f"allow more {' and '.join(held)} there"


def _held(
    after: Analysis, choices: Sequence[Choice], aim: Aim
) -> tuple[list[str], dict[str, float]]:
    """Runs that a limit of a side holds down, and the least limit of each side, m."""
    runs, least = [], dict[str, float]()
    for choice in choices:
        if choice.limit not in (LARGEST, NO_SIZE):
            continue
        own = after.graph.schedule.limits.get(choice.run, RunLimits())
        chosen, drawn = choice.chosen, choice.drawn
        highest = aim.highest if own.highest is None else own.highest
        widest = aim.widest if own.widest is None else own.widest
        is_round = chosen.shape == Shape.ROUND
        if highest is None and not is_round and drawn and drawn.shape != Shape.ROUND:
            highest = drawn.height
        steps = diameters(aim.series) if is_round else sides(np.inf, aim.series)
        held = {}
        for name, side, limit in (
            ("height", chosen.height, highest),
            ("width", chosen.width, widest),
        ):
            larger = steps[steps > side * (1 + 1e-9)][:1]
            is_met = choice.limit == NO_SIZE or (larger > (limit or np.inf)).any()
            if limit is not None and is_met:
                held[name] = min(limit, least.get(name, np.inf))
        runs += [choice.run] if held else []
        least |= held
    return runs, least


def _unsized(drawing: Drawing, choices: Sequence[Choice]) -> list[Notice]:
    """Say which runs kept their size because the limits allow none.

    Raises
    ------
    BadInput
        If one of them has no size that it could keep.
    """
    runs = [choice for choice in choices if choice.limit == NO_SIZE]
    if not runs:
        return []
    shown = few_names([choice.run for choice in runs])
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


def new_outlet(before: Analysis, after: Analysis, outlet: float) -> list[Notice]:
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


def _airless(analysis: Analysis, choices: Sequence[Choice]) -> list[Notice]:
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
            f"no air flows in {few_names(runs)}, behind closed ends: left as drawn",
        )
    ]


def _too_small(
    after: Analysis, choices: Sequence[Choice], aim: Aim, rate: float
) -> list[Notice]:
    """Say which runs have the largest size within the limits, and rub more."""
    small = [
        choice
        for choice in choices
        if choice.limit == LARGEST and choice.gradient > rate * (1 + 1e-9)
    ]
    if not small:
        return []
    runs = few_names([choice.run for choice in small])
    has_sides = any(choice.chosen.shape != Shape.ROUND for choice in small)
    flattest = f" and {FLATTEST:g} to 1" if has_sides else ""
    more = " or ".join(_held(after, small, aim)[1])
    return [
        warning(
            after.graph.drawing.file,
            f"no size within the limits{flattest} keeps {rate_words(rate)} in {runs}: "
            "the largest was taken",
            f"allow more {more} there, or a higher rate"
            if more
            else "allow a higher rate, or share the airflow among several ducts",
        )
    ]


def _unpaid(after: Analysis, choices: Sequence[Choice]) -> list[Notice]:
    """Say for which runs the regain before them does not pay after all."""
    runs = unpaid_by_regain(after, choices)
    if not runs:
        return []
    return [
        warning(
            after.graph.drawing.file,
            "with these sizes the static regain does not pay for what is lost in "
            f"{few_names(runs)}",
            "take a larger size there",
        )
    ]


def few_names(runs: Sequence[str]) -> str:
    """Names of runs for a sentence, no more than five."""
    names = ", ".join(f"'{run}'" for run in runs[:5])
    return names + and_more(len(runs) - 5)
