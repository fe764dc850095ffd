"""Checks of static pressure: at the terminals, and what leaks by it."""

from typing import NamedTuple

import numpy as np

from elbowroom.layout import (
    FloatArray,
    IntArray,
    sum_from_root,
)
from elbowroom.layout import sections as geometry

from .analysis import Analysis
from .check import Check, run_of
from .elements import Kind
from .leakage import leakage

_MOST_LEAKAGE = 0.05  # of the airflow, the whole system
# The state that leakage rests on, by whether no fan is declared.
_BALANCED = "the dampers set where the balance has them, and "
_PRESSED = {
    False: _BALANCED + "one at the fan taking what it has to spare",
    True: _BALANCED + "no more pressure than the layout needs",
}


class Pieces(NamedTuple):
    """Pieces of ducts between what stands in them, along which the pressure is even.

    The duct of each, its share of that one's length, its mean static pressure against
    the room, Pa, and by how much that changes from end to end, Pa; shape (p,).
    """

    duct: IntArray
    share: FloatArray
    static: FloatArray
    change: FloatArray


def static_pressure(analysis: Analysis) -> FloatArray:
    """Mean static pressure of each duct against the room, Pa, shape (d,).

    Of the layout at design airflow with the dampers of `balance` set: total pressure is
    what the critical path needs, less what is spent on the way, the dampers included.
    It steps where a component or a damper stands or is assumed to: see `Components`
    and `Blades`.
    """
    found = pieces_of(analysis)
    count = len(analysis.graph.ducts.parent)
    return np.asarray(np.bincount(found.duct, found.share * found.static, count))


def pieces_of(analysis: Analysis) -> Pieces:
    """Static pressure of `static_pressure` along all ducts, piece by piece."""
    graph, elements = analysis.graph, analysis.elements
    parent = graph.ducts.parent
    count, stand, dampers = len(parent), graph.components, analysis.blades
    rows = (elements.kind == int(Kind.COMPONENT)).nonzero()[0]
    component = elements.row[rows]
    duct = np.concatenate([elements.duct[rows], dampers.duct])
    share = np.concatenate([stand.share[component], dampers.share])
    place = _places(analysis, duct, share)
    loss = np.concatenate([elements.loss[rows], dampers.spent])
    order = np.lexsort((place, duct))
    duct, place, loss = duct[order], place[order], loss[order]

    own = np.asarray(np.bincount(elements.duct, elements.loss, count), np.float64)
    own += np.bincount(dampers.duct, dampers.spent, count)
    left = analysis.critical_loss - sum_from_root(parent, own)  # behind each duct
    ends = elements.kind >= int(Kind.MEETING)
    at_end = left + np.bincount(elements.duct[ends], elements.loss[ends], count)
    rub = analysis.state.gradient * graph.ducts.length
    # A piece before each that stands in a duct, and one behind them all.
    ducts = np.concatenate([duct, np.arange(count)])
    end = np.concatenate([place, np.ones(count)])
    step = np.concatenate([loss, np.zeros(count)])
    along = np.lexsort((np.arange(len(ducts)), ducts))
    ducts, end, step = ducts[along], end[along], step[along]
    is_first = np.diff(ducts, prepend=-1) > 0
    begin = np.where(is_first, 0.0, np.roll(end, 1))
    # What steps from each piece on to the end of its duct.
    behind = np.cumsum(step[::-1])[::-1]
    ahead = np.append(behind, 0.0)[np.searchsorted(ducts, ducts, side="right")]
    total = at_end[ducts] + behind - ahead + rub[ducts] * (1.0 - (begin + end) / 2)
    if graph.is_return:  # below the room by what was spent on the way
        total = -total
    static = total - analysis.state.velocity_pressure[ducts]
    return Pieces(ducts, end - begin, static, rub[ducts] * (end - begin))


def _places(analysis: Analysis, duct: IntArray, share: FloatArray) -> FloatArray:
    """Where shares of the straights of ducts are along their length, 0 to 1, (n,)."""
    ducts, bends = analysis.graph.ducts, analysis.graph.bends
    arc = np.zeros(len(ducts.length))  # at the beginning of each
    np.add.at(arc, bends.duct, bends.radius * bends.angle / 2)
    place = arc[duct] + share * np.maximum(ducts.straight[duct], 0.0)
    length = ducts.length[duct]
    along = np.divide(place, length, out=np.full(len(place), 0.5), where=length > 0.0)
    return np.asarray(along.clip(0.0, 1.0))


def terminal_static(analysis: Analysis) -> FloatArray | None:
    """Static pressure that the fan leaves at each terminal, Pa, shape (t,).

    Against the room, where the last duct meets the terminal, at design airflow and
    with every damper open. None without a fan's pressure, and on a return side.
    """
    system, graph = analysis.system, analysis.graph
    if system.available is None or graph.is_return:
        return None
    spent = analysis.path_loss - _end_losses(analysis)
    at_fan = system.available + system.terminal_loss
    velocity_pressure = analysis.state.velocity_pressure[graph.terminals.duct]
    return np.asarray(at_fan - spent - velocity_pressure)


def _end_losses(analysis: Analysis) -> FloatArray:
    """What the ends of the paths lose, declared or not, Pa, shape (t,)."""
    found, graph = analysis.elements, analysis.graph
    ends = np.isin(found.kind, (int(Kind.EXIT), int(Kind.TERMINAL)))
    own = np.bincount(found.duct[ends], found.loss[ends], len(graph.ducts.parent))
    return np.asarray(own[graph.terminals.duct])


def static_at_terminals(analysis: Analysis) -> list[Check]:
    """Static pressure left at each terminal, where its loss is declared."""
    left = terminal_static(analysis)
    if left is None:
        return []
    terminals, pv = analysis.graph.terminals, analysis.state.velocity_pressure
    # In total pressure, as losses are declared; an open end needs what it loses.
    left = left + pv[terminals.duct]
    needed = _end_losses(analysis)
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
    pieces = pieces_of(analysis)
    surface = surface_of(analysis)[pieces.duct] * pieces.share
    lost = np.bincount(
        pieces.duct, leakage(kind, surface, pieces.static, pieces.change)
    )
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
