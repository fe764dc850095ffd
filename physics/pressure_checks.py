"""Checks of static pressure: at the terminals, and what leaks by it."""

from typing import NamedTuple

import numpy as np

from elbowroom.layout import (
    FloatArray,
    IntArray,
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

    Of the layout at design airflow, its dampers set: total pressure at a point is what
    is still spent from there to the room at the end of the costliest path through it.
    At a component it steps, where that stands or is assumed to: see `Components`.
    """
    found = pieces_of(analysis)
    count = len(analysis.graph.ducts.parent)
    return np.asarray(np.bincount(found.duct, found.share * found.static, count))


def pieces_of(analysis: Analysis) -> Pieces:
    """Static pressure of `static_pressure` along all ducts, piece by piece."""
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
    at_end = ahead + after
    pieces, cut = [], np.zeros(len(parent))  # up to where each duct is in pieces
    rows = (elements.kind == int(Kind.COMPONENT)).nonzero()[0]
    if len(rows):
        places = _places(analysis)
        still = np.bincount(elements.duct[rows], elements.loss[rows], len(parent))
        for row in rows.tolist():  # along each duct in their order
            duct, to = int(elements.duct[row]), float(places[elements.row[row]])
            pieces.append((duct, cut[duct], to, still[duct]))
            cut[duct], still[duct] = to, still[duct] - elements.loss[row]
    before_it = np.array(pieces).reshape(-1, 4)
    ducts = np.append(before_it[:, 0].astype(np.int64), np.arange(len(parent)))
    begin = np.append(before_it[:, 1], cut)
    end = np.append(before_it[:, 2], np.ones(len(parent)))
    step = np.append(before_it[:, 3], np.zeros(len(parent)))
    total = at_end[ducts] + step + rub[ducts] * (1.0 - (begin + end) / 2)
    if graph.is_return:  # below the room by what was spent on the way
        total = -total
    static = total - analysis.state.velocity_pressure[ducts]
    share = end - begin
    return Pieces(ducts, share, static, rub[ducts] * share)


def _places(analysis: Analysis) -> FloatArray:
    """Where each component stands along the length of its duct, 0 to 1, shape (c,)."""
    graph = analysis.graph
    ducts, bends, stand = graph.ducts, graph.bends, graph.components
    arc = np.zeros(len(ducts.length))  # at the beginning of each
    np.add.at(arc, bends.duct, bends.radius * bends.angle / 2)
    straight = np.maximum(ducts.straight[stand.duct], 0.0)
    place = arc[stand.duct] + stand.share * straight
    length = ducts.length[stand.duct]
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
