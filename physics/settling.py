"""Airflows that settle in one side: each round with the coefficients at the last."""

from dataclasses import dataclass

import numpy as np

from elbowroom.layout import FloatArray, IntArray, sum_from_root

from .analysis import Analysis
from .elements import Kind, duct_state, elements_of
from .flows import resistances
from .loops import dead_ducts, flows_at, settled, terminal_rows
from .system import at_fan

_LEAST = 1e-6  # of the velocity pressure: what a path loses at the least
STEPS = 400  # rounds at the most
NEXT_TO_NONE = 1e-3  # of design: what a terminal is left with that gets no air
_DEPTH = 8  # rounds that a mixed one looks back
_TURN = 50  # rounds that are mixed before as many are damped, and so on
_FARTHEST = 1.0  # of the logarithm of an airflow in a round


@dataclass(frozen=True, eq=False)
class Side:
    """A supply or return side at its design airflow, with what does not change.

    `added` is the resistance of each terminal and its damper, Pa s²/m⁶, shape (t,);
    `outside` that of the losses declared outside the ducts; `inlet` and `outlet` the
    velocity pressure at the fan over the square of the airflow; `design` that airflow.
    """

    analysis: Analysis
    added: FloatArray
    outside: float
    inlet: float
    outlet: float
    design: float


def side_of(analysis: Analysis, dampers: str) -> Side:
    """A side as it is at its design airflow, with its dampers 'open' or 'set'."""
    graph, state = analysis.graph, analysis.state
    design = graph.terminals.flow
    declared = np.nan_to_num(graph.terminals.loss) * analysis.conditions.loss_ratio
    added = declared / design**2
    if dampers == "set":  # each spends what its path has to spare
        added += (analysis.critical_loss - analysis.path_loss) / design**2
    roots = graph.ducts.parent < 0
    whole = float(state.flow[roots].sum())
    inlet, outlet = at_fan(graph, analysis.conditions, state)
    outside = sum((analysis.conditions.declared_losses or {}).values())
    return Side(
        analysis, added, outside / whole**2, inlet / whole**2, outlet / whole**2, whole
    )


def ways_of(analysis: Analysis) -> FloatArray | None:
    """Airflow along the ways of a layout's loops at design; None without loops."""
    loops = analysis.graph.loops
    return None if loops is None else loops.signed(analysis.state.flow)


def shares(
    side: Side, flow: FloatArray, way: FloatArray | None
) -> tuple[FloatArray, float, FloatArray | None]:
    """Share of each terminal in a side's airflow, and the side's resistance.

    Given and returned with them is the airflow along the ways of its loops.
    """
    analysis = side.analysis
    graph, conditions, duct_flow = settled(
        analysis.graph, analysis.conditions, flow, way
    )
    state = duct_state(graph, duct_flow, conditions)
    elements, _ = elements_of(graph, state, conditions, dead_ducts(graph, duct_flow))
    counts = elements.kind != Kind.TERMINAL
    lost = np.bincount(
        elements.duct[counts], elements.loss[counts], len(graph.ducts.parent)
    ).astype(np.float64)
    ends = graph.terminals.duct[terminal_rows(analysis.graph, graph)]
    lost[ends] += side.added * flow**2
    if graph.loops is None:
        k = resistances(lost, duct_flow)
        least = resistances(_LEAST * state.velocity_pressure, duct_flow)
        share, resistance = _reduced(graph.ducts.parent, k, least)
    else:
        # Losses that do not go with the square stay as they are at this pressure.
        paid = sum_from_root(graph.ducts.parent, lost)[ends]
        pressure = float(paid @ flow / flow.sum())
        share = flows_at(graph, pressure, lost, duct_flow)
        whole = float(share[graph.ducts.parent < 0].sum())
        share, resistance = share / whole, pressure / whole**2
        way = graph.loops.signed(duct_flow)
    return share[ends], resistance + side.outside, way


def change_of(before: FloatArray, after: FloatArray, design: FloatArray) -> FloatArray:
    """How far airflows have changed in a round, over themselves, shape (t,).

    Over a tenth of design at the least: how little a starved terminal gets is no
    matter.
    """
    return np.asarray(np.abs(after - before) / np.maximum(before, 0.1 * design))


class Rounds:
    """Rounds of airflows that settle, each begun from what the last ones taught.

    Anderson mixing of the logarithms, so that no airflow turns round: of Walker and Ni,
    Anderson acceleration for fixed-point iterations, 2011 (from memory). A takeoff's
    loss hardly hangs on its own airflow, and plain rounds then come near by a few per
    cent each. Where that does not help, as where a table has a step or a branch gets
    next to none, rounds are damped in turn: each begins at the mean of the last two.
    """

    def __init__(self) -> None:
        self.count = 0
        self._before: list[FloatArray] = []
        self._away: list[FloatArray] = []

    def begin_next(self, flow: FloatArray, found: FloatArray) -> FloatArray:
        """Airflows to begin the next round at, m³/s, shape (t,).

        `flow` are those at which a round began, `found` those that came out of it.
        """
        turn = self.count // _TURN % 2
        self.count += 1
        before, away = np.log(flow), np.log(found / flow)
        if turn:
            self._before, self._away = [], []
            return np.asarray(np.sqrt(flow * found))
        self._before = [*self._before[-_DEPTH:], before]
        self._away = [*self._away[-_DEPTH:], away]
        step = away
        if len(self._away) > 1:
            changes = np.diff(self._away, axis=0)
            moves = np.diff(self._before, axis=0) + changes
            weight, *_ = np.linalg.lstsq(changes.T, away, rcond=1e-8)
            step = away - weight @ moves
        return np.asarray(flow * np.exp(step.clip(-_FARTHEST, _FARTHEST)))


def _reduced(
    parent: IntArray, k: FloatArray, least: FloatArray
) -> tuple[FloatArray, float]:
    """Share of the airflow that each duct carries, and resistance of the whole tree."""
    conductance = np.zeros(len(k))  # of what a duct feeds, then of the duct with it
    below = np.zeros(len(k))
    for duct in range(len(k) - 1, -1, -1):  # children come after their parents
        series = k[duct] + (1.0 / below[duct] ** 2 if below[duct] > 0.0 else 0.0)
        conductance[duct] = 1.0 / np.sqrt(max(series, least[duct]))
        if parent[duct] >= 0:
            below[int(parent[duct])] += conductance[duct]
    whole = float(conductance[parent < 0].sum())
    share = conductance / whole  # of those at the fan
    for duct in range(len(k)):
        before = int(parent[duct])
        if before >= 0:
            share[duct] = share[before] * conductance[duct] / below[before]
    return share, 1.0 / whole**2
