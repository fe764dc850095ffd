"""What the pressure budget says, and what is missing from it."""

from collections.abc import Iterable

import numpy as np

from elbowroom.layout import (
    DuctGraph,
    IntArray,
    Notice,
    Schedule,
    airflow_words,
    listed,
    note,
    pressure_words,
    warning,
    words_apart,
)

from .elements import DuctState, Elements, Kind
from .flows import way_back
from .system import System, outside_window

_COSTLIEST, _MUCH = 3, 0.1  # runs named where the fan is too weak, and least share
# What a fan usually pays for outside the ducts, and words that name it in a schedule.
_FILTER = "filter"
_USUAL = {
    _FILTER: ("filter",),
    "coil or heat exchanger": ("coil", "exchanger", "heater", "cooler"),
}
# What names in a schedule the side that is not drawn: of a supply, and of a return or
# an exhaust.
_OTHER_SIDE = (
    ("return",),
    ("supply", "discharge", "outlet", "stack", "louv", "cowl"),
)


def budget_flags(
    graph: DuctGraph,
    state: DuctState,
    system: System,
    elements: Elements,
    critical: int,
) -> list[Notice]:
    """Flag what the pressure budget says, and what is missing from it.

    Parameters
    ----------
    graph, state, system, elements
        The graph, the air in its ducts, the budget, and what spends of it.
    critical
        Terminal of the largest loss.
    """
    fan = graph.schedule.fan
    flags = []
    if system.available is None and fan.curve:
        first, last = fan.curve[0], fan.curve[-1]
        flags.append(
            warning(
                "budget",
                f"the fan's curve, from {airflow_words(first[0])} to "
                f"{airflow_words(last[0])}, does not reach the design airflow, so it "
                "is not known what the ducts may spend",
                "add its points, or choose another fan",
            )
        )
    elif system.available is None and not graph.is_return:
        flags.append(
            warning(
                "budget",
                "no fan pressure is declared, so it is not known what the ducts may "
                "spend",
                "write external_static_pressure under [fan] in the schedule",
            )
        )
    elif system.available is not None:
        flags += _short_flags(
            graph, state, system, system.available, elements, critical
        )
    if system.fan_kind is not None:
        flags += _undeclared_flags(graph, system.fan_kind == "total")
    if system.fan_kind == "external static" and not graph.is_return:
        flags += _inlet_flags(graph, state)
    rate = system.friction_rate_available
    # The window is that of ducts for comfort, slower than dust would bear.
    comfort = not graph.schedule.may_carry_dust
    if rate is not None and system.available and system.available > 0 and comfort:
        flags += outside_window(
            "budget",
            rate,
            "the fan leaves a friction rate of",
            below="shorten the critical path, spend less in its fittings, or choose a "
            "stronger fan",
            above="the fan has pressure to spare: watch velocities and noise",
        )
    bare = graph.terminals.bare
    if len(bare):
        flags.append(_bare_terminals(graph, bare))
    return flags


def _short_flags(
    graph: DuctGraph,
    state: DuctState,
    system: System,
    available: float,
    elements: Elements,
    critical: int,
) -> list[Notice]:
    """Say where what the fan leaves to the ducts, Pa, is not enough.

    Other parameters are those of `budget_flags`.
    """
    if system.fan_pressure is not None and system.fan_pressure <= 0:
        flow = float(state.flow[graph.ducts.parent < 0].sum())
        return [
            warning(
                "budget",
                f"at the design airflow of {airflow_words(flow)} the fan's curve has "
                f"{pressure_words(system.fan_pressure)}: the fan cannot move that much",
                "choose a fan that gives pressure at this airflow",
            )
        ]
    if available <= 0:
        more = f" and {pressure_words(-available)} more" if available < 0.0 else ""
        return [
            warning(
                "budget",
                f"the declared losses use up the whole pressure of the fan{more}: no "
                "duct can work with it",
                "choose a stronger fan or components that lose less",
            )
        ]
    if not system.is_short:
        return []
    larger = "" if graph.schedule.may_carry_dust else ", or enlarge its ducts"
    needs, leaves = words_apart(pressure_words, system.required, available)
    return [
        warning(
            "budget",
            f"the critical path needs {needs}, the fan leaves {leaves}",
            f"spend less in the fittings of the critical path{larger}: of that it "
            f"spends {_costliest(graph, elements, critical)}",
        )
    ]


def _costliest(graph: DuctGraph, elements: Elements, critical: int) -> str:
    """Runs of the critical path in which most is spent, beside its terminal."""
    ducts = graph.ducts
    way = np.zeros(len(ducts.run), dtype=bool)
    way[way_back(graph, int(graph.terminals.duct[critical]))] = True
    mine = way[elements.duct] & (elements.kind != Kind.TERMINAL)
    spent = np.bincount(ducts.run[elements.duct[mine]], elements.loss[mine])
    first = np.argsort(-spent, kind="stable")[:_COSTLIEST]
    return " and ".join(
        f"{pressure_words(float(spent[run]))} in run '{graph.drawing.names[run]}'"
        for run in first.tolist()
        if spent[run] > _MUCH * spent.sum()
    )


def _undeclared_flags(graph: DuctGraph, is_total: bool) -> list[Notice]:
    """Say what a fan usually pays for and nobody declared, on its other side too.

    A total pressure is commonly that of a bare fan, which may have neither filter nor
    coil: of these it is asked softly, and of the coil of an exhaust not at all.
    """
    plan = graph.schedule
    unsaid = not_declared(
        [*plan.losses, *(c.name for c in plan.components), *terminal_kinds(plan)]
    )
    side, drawn = "return side", "name a drawn one behind --return"
    if graph.is_return:
        side = "supply or discharge side"
        drawn = "name its supply, and this route behind --return"
    named = " ".join(plan.losses).lower()
    sides = [side] * (not any(w in named for w in _OTHER_SIDE[graph.is_return]))
    if is_total:
        unsaid = [what for what in unsaid if what == _FILTER or not graph.is_return]
    if not sides + unsaid:
        return []
    what = f"the {', '.join(sides + unsaid)}"
    if is_total and unsaid:
        what = f"a {', '.join(unsaid)}, should there be one"
        if sides:
            what = f"the {side}, nor of {what}"
    say = warning if sides or not is_total else note
    return [
        say(
            "budget",
            f"nothing is said of {what}, so what the fan leaves may be far less",
            "declare it under [losses]" + f", or {drawn}" * len(sides),
        )
    ]


def _inlet_flags(graph: DuctGraph, state: DuctState) -> list[Notice]:
    """Say that a declared return tells nothing of the velocity at the fan's inlet."""
    names = [name.lower() for name in graph.schedule.losses]
    told = graph.schedule.fan.inlet_velocity_pressure is not None
    told |= any("velocity pressure" in name for name in names)
    if told or not any("return" in name for name in names):
        return []
    roots = graph.ducts.parent < 0
    alike = float(state.velocity_pressure[roots].max())
    return [
        warning(
            "budget",
            "an external static pressure lacks the velocity pressure at the fan's "
            "inlet; beside the declared loss of the return nobody says it, so none "
            f"was taken off: {pressure_words(alike)} were the inlet as wide as the "
            "first duct",
            'write inlet_velocity_pressure = "..." under [fan]; "0 Pa" where the loss '
            "has it in, as the static pressure measured at the inlet has",
        )
    ]


def _bare_terminals(graph: DuctGraph, bare: IntArray) -> Notice:
    """Say which terminals, by their rows, have no declared loss."""
    missing = len(bare)
    beside = graph.schedule.components
    if beside:
        names, runs = graph.drawing.names, graph.ducts.run[graph.terminals.duct[bare]]
        ends = {names[run] for run in runs.tolist()}
        beside = tuple(one for one in beside if one.run in ends)
    stands = "".join(
        f"{'' if number == 0 else ','} '{one.name}' in run '{one.run}'"
        for number, one in enumerate(beside[:3])
    )
    shown = listed([graph.terminals.name[row] for row in bare], 6)
    return warning(
        f"terminal{'s' * (missing > 1)} {shown}",
        "no loss of a grille or diffuser is declared, so only "
        + (
            "a plain opening in a wall is counted"
            if graph.is_return
            else "what an open end loses is counted"
        ),
        'write loss = "..." or coefficient = ... at the terminal in the schedule'
        + f', or loss = "0 Pa" where what counts in its run stands for it:{stands}'
        * bool(beside),
    )


def terminal_kinds(schedule: Schedule) -> list[str]:
    """What the terminals of a declared loss are: a filter grille is a filter too."""
    specs = schedule.terminals.values()
    return [spec.kind for spec in specs if spec.kind and spec.is_told]


def not_declared(names: Iterable[str]) -> list[str]:
    """What a fan usually pays for, and no name of a declared loss says."""
    named = " ".join(names).lower()
    return [
        what
        for what, words in _USUAL.items()
        if not any(word in named for word in words)
    ]
