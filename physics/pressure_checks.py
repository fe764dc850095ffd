"""Checks of static pressure: at the terminals, and what leaks by it."""

import numpy as np

from elbowroom.layout import (
    FloatArray,
)
from elbowroom.layout import sections as geometry

from .analysis import Analysis
from .checked import Check, run_of
from .elements import Kind
from .flows import goes_on
from .leakage import leakage

_MOST_LEAKAGE = 0.05  # of the airflow, the whole system
# The state that leakage rests on: the dampers set, by whether no fan is declared.
_PRESSED = {
    False: "a damper at the fan taking what it has to spare",
    True: "no more pressure than the layout needs",
}


def static_pressure(analysis: Analysis) -> FloatArray:
    """Mean static pressure of each duct against the room, Pa, shape (d,).

    Of the layout at design airflow, its dampers set: total pressure at a point is what
    is still spent from there to the room at the end of the costliest path through it.
    """
    graph, elements = analysis.graph, analysis.elements
    parent = graph.ducts.parent
    own = np.bincount(elements.duct, elements.loss, len(parent))
    ahead = np.zeros(len(parent))
    other = goes_on(graph)
    for duct in range(len(parent) - 1, -1, -1):  # children come after their parents
        before = int(parent[duct])
        if duct in other:
            ahead[duct] = ahead[other[duct]]
        if before >= 0:
            ahead[before] = max(ahead[before], ahead[duct] + own[duct])
    rub = analysis.state.gradient * graph.ducts.length
    ends = elements.kind >= int(Kind.MEETING)
    after = np.bincount(elements.duct[ends], elements.loss[ends], len(parent))
    total = ahead + after + rub / 2
    if graph.is_return:  # below the room by what was spent on the way
        total = -total
    return np.asarray(total - analysis.state.velocity_pressure)


def terminal_static(analysis: Analysis) -> FloatArray | None:
    """Static pressure that the fan leaves at each terminal, Pa, shape (t,).

    Against the room, where the last duct meets the terminal, at design airflow and
    with every damper open. None without a fan's pressure, and on a return side.
    """
    system, graph = analysis.system, analysis.graph
    if system.available is None or graph.is_return:
        return None
    ends = np.isin(analysis.elements.kind, (int(Kind.EXIT), int(Kind.TERMINAL)))
    count = len(graph.ducts.parent)
    own = np.bincount(analysis.elements.duct[ends], analysis.elements.loss[ends], count)
    last = graph.terminals.duct
    spent = analysis.path_loss - own[last]
    at_fan = system.available + system.terminal_loss
    return np.asarray(at_fan - spent - analysis.state.velocity_pressure[last])


def static_at_terminals(analysis: Analysis) -> list[Check]:
    """Static pressure left at each terminal, where its loss is declared."""
    left = terminal_static(analysis)
    if left is None:
        return []
    terminals, pv = analysis.graph.terminals, analysis.state.velocity_pressure
    # In total pressure, as losses are declared; an open end needs its velocity's.
    own = pv[terminals.duct]
    left = left + own
    declared = terminals.loss * analysis.conditions.loss_ratio
    needed = np.where(np.isnan(declared), own, declared)
    for row, coefficient in terminals.coefficient.items():
        needed[row] = coefficient * own[row]
    short = np.flatnonzero(left < needed - 1e-9)
    worst = int(np.argmin(left - needed))
    return [
        Check(
            "total pressure that the fan leaves at the terminals, at least, no damper "
            "taking what it has to spare",
            "pressure",
            float(left[worst]),
            float(needed[worst]),
            terminals.name[worst],
            tuple(terminals.name[row] for row in short.tolist()),
            len(short) == 0,
            "declared losses of the terminals",
            "declared",
            "lower the losses on the way, or take a fan with more pressure"
            if len(short)
            else "",
        )
    ]


def surface_of(analysis: Analysis, wrapped: float = 0.0) -> FloatArray:
    """Surface of each duct with its bends, m², with insulation of a thickness, m."""
    ducts = analysis.graph.ducts
    around = geometry.perimeter(
        ducts.shape, ducts.width + 2 * wrapped, ducts.height + 2 * wrapped
    )
    return np.asarray(around * ducts.length)


def leaking(analysis: Analysis) -> list[Check]:
    """Leakage by the class that the schedule asks for."""
    kind = analysis.graph.schedule.checks.leakage
    if kind is None:
        return []
    rub = analysis.state.gradient * analysis.graph.ducts.length
    lost = leakage(kind, surface_of(analysis), static_pressure(analysis), rub)
    share = float(lost.sum()) / analysis.flow
    worst = int(np.argmax(lost))
    kept = share <= _MOST_LEAKAGE
    words = f"class {kind}" if isinstance(kind, str) else f"class number {kind:g}"
    return [
        Check(
            f"leakage of the whole system, {words}, over its airflow, with "
            + _PRESSED[analysis.system.available is None],
            "share",
            share,
            _MOST_LEAKAGE,
            f"most of it: {run_of(analysis, worst)}",
            () if kept else (run_of(analysis, worst),),
            kept,
            "ASHRAE system leakage limit, as quoted",
            "seen",
            "" if kept else "seal to a tighter class; the fan must carry the rest",
        )
    ]
