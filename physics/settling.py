"""Airflows that settle: a round in one side, and rounds until nothing changes."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from elbowroom.layout import (
    BoolArray,
    FloatArray,
    IntArray,
    sum_from_root,
)

from .analysis import Analysis
from .elements import Kind, duct_state, elements_of
from .flows import resistances
from .loops import flows_at, settled, terminal_rows
from .system import at_fan

_LEAST = 1e-6  # of the velocity pressure: what a path loses at the least
NEXT_TO_NONE = 1e-3  # of the mean velocity: what an end is left with that gets no air
_DEPTH = 8  # rounds that a mixed one looks back
_MIXED = 60  # rounds that are mixed at the most
_DRIFTS = 150  # steps that follow the air at the most
_DIRECTIONS = 30  # that such a step looks in at the most
_LEFT_OUT = 0.1  # of the airflows' speeds: what those directions may miss
_NUDGE = 1e-6  # of the logarithm of an airflow, to look in a direction
_LONGEST = 1e6  # rounds that a step spans
_FARTHEST = 1.0  # of the logarithm of an airflow in a round
_BEGIN = 20.0  # Pa between the fan and the rooms, where the first round begins


@dataclass(frozen=True, eq=False)
class Side:
    """A supply or return side at its design airflow, with what does not change.

    `added` is the resistance of each terminal and its damper, Pa s²/m⁶, shape (t,);
    `size` the share of each in the areas of their ends, shape (t,); `begin` the
    airflows at which rounds begin, m³/s, shape (t,): of each terminal as if it stood at
    the fan, whatever its design airflow; `outside` the resistance of the losses
    declared outside the ducts; `inlet` and `outlet` the velocity pressure at the fan
    over the square of the airflow; `design` that airflow.
    """

    analysis: Analysis
    added: FloatArray
    size: FloatArray
    begin: FloatArray
    outside: float
    inlet: float
    outlet: float
    design: float


def side_of(analysis: Analysis, dampers: str) -> Side:
    """A side as it is at its design airflow, with its dampers 'open' or 'set'."""
    graph, state = analysis.graph, analysis.state
    design = graph.terminals.flow
    declared = np.nan_to_num(analysis.terminal_loss)
    added = declared / design**2
    if dampers == "set":  # each spends what its path has to spare
        added += analysis.blades.spent / design**2
    roots = graph.ducts.parent < 0
    whole = float(state.flow[roots].sum())
    inlet, outlet = at_fan(graph, analysis.conditions, state)
    outside = sum(analysis.conditions.declared_losses.values())
    ducts, ends = graph.ducts, graph.terminals.duct
    area = ducts.area[ends]
    leaving = 0.5 * analysis.conditions.air.density / area**2
    return Side(
        analysis,
        added,
        area / area.sum(),
        np.sqrt(_BEGIN / (leaving + added)),
        outside / whole**2,
        inlet / whole**2,
        outlet / whole**2,
        whole,
    )


def starved(side: Side, flow: FloatArray) -> BoolArray:
    """Which terminals the others leave no air, from their airflow, shape (t,)."""
    return np.asarray(flow <= NEXT_TO_NONE * side.size * flow.sum())


def shares(
    side: Side, flow: FloatArray, way: FloatArray | None
) -> tuple[FloatArray, float, FloatArray | None]:
    """Share of each terminal in a side's airflow, and the side's resistance.

    Given and returned with them is the airflow along the ways of its loops; None where
    there are none, or for the first round. The share of a starved terminal is not less
    than what makes `NEXT_TO_NONE`.
    """
    analysis = side.analysis
    graph, conditions, duct_flow = settled(
        analysis.graph, analysis.conditions, flow, way
    )
    state = duct_state(graph, duct_flow, conditions)
    elements, _ = elements_of(graph, state, conditions)
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
    share = np.maximum(share[ends], NEXT_TO_NONE * side.size)
    return share, resistance + side.outside, way


def settle(
    away: Callable[[FloatArray], FloatArray], begin: FloatArray, close: float
) -> tuple[FloatArray, int]:
    """Airflows that come out of a round as they went in.

    Parameters
    ----------
    away
        A round: from the logarithms of the airflows, shape (n,), to how far those that
        come out of it are from them, shape (n,). Its last call is at what is returned.
    begin
        Airflows to begin at, m³/s, shape (n,).
    close
        What the largest of `away` has to be less than.

    Returns
    -------
    left, count
        `away` where the rounds ended, shape (n,), not close if nothing settled; and
        how many rounds there were.

    Notes
    -----
    Mixed rounds are the quickest where they help. Where they do not, as where a table
    bends or a branch gets next to none, or where they end at airflows that the least
    change would drive away for good, the air is followed from where it began: it comes
    to rest where it would in a duct.
    """
    left, count, is_stable = _mixed(away, np.log(begin), close)
    if is_stable and _largest(left) < close:
        return left, count
    left, more = _followed(away, np.log(begin), close)
    return left, count + more


def _mixed(
    away: Callable[[FloatArray], FloatArray], at: FloatArray, close: float
) -> tuple[FloatArray, int, bool]:
    """Rounds that each begin from what the last ones taught.

    As `settle`, with whether the airflows come back after a small change: told from
    how the last rounds answered each other.

    Anderson mixing of the logarithms, so that no airflow turns round: of Walker and Ni,
    Anderson acceleration for fixed-point iterations, 2011 (from memory). A takeoff's
    loss hardly hangs on its own airflow, and plain rounds then come near by a few per
    cent each.
    """
    before: list[FloatArray] = []
    lefts: list[FloatArray] = []
    for count in range(1, _MIXED + 1):
        left = away(at)
        before, lefts = [*before[-_DEPTH:], at], [*lefts[-_DEPTH:], left]
        moves, changes = np.diff(before, axis=0), np.diff(lefts, axis=0)
        if _largest(left) < close:
            return left, count, _comes_back(moves, changes)
        step = left
        if len(changes):
            weight, *_ = np.linalg.lstsq(changes.T, left, rcond=1e-8)
            step = left - weight @ (moves + changes)
        at = at + step.clip(-_FARTHEST, _FARTHEST)
    return left, count, False


def _comes_back(moves: FloatArray, changes: FloatArray) -> bool:
    """Whether what moves shrinks again, from how `away` changed with it, shape (m, n).

    Told within the span of the moves, from the eigenvalues of the derivative there.
    """
    length = np.linalg.norm(moves, axis=1)
    told = length > 1e-7  # of shorter ones rounding is seen
    if not told.any():
        return True
    scale = length[told, None]
    u, size, v = np.linalg.svd((moves[told] / scale).T, full_matrices=False)
    kept = size > 1e-2 * size[0]
    answer = (changes[told] / scale).T @ (v[kept].T / size[kept])
    return bool(np.linalg.eigvals(u[:, kept].T @ answer).real.max() < 0.0)


def _followed(
    away: Callable[[FloatArray], FloatArray], at: FloatArray, close: float
) -> tuple[FloatArray, int]:
    """As `settle`: airflows that change at the speed `away`, until they rest.

    Notes
    -----
    Each step solves dx/dt = away(x), made linear where it begins, for a time that
    doubles from step to step: so that it ends as one of Newton's method where the air
    comes to rest, and leads away from where it would not stay. The exponential is taken
    in the few directions in which `away` and its changes lie (Krylov): Hochbruck and
    Ostermann, Exponential integrators, 2010 (from memory).
    """
    left, count, time = away(at), 1, 1.0
    for _ in range(_DRIFTS):
        if _largest(left) < close:
            break
        speed = float(np.linalg.norm(left))
        basis, answer = [left / speed], np.zeros((_DIRECTIONS + 1, _DIRECTIONS))
        for last in range(min(len(at), _DIRECTIONS)):
            turned = (away(at + _NUDGE * basis[last]) - left) / _NUDGE
            count += 1
            for row in range(last + 1):
                answer[row, last] = basis[row] @ turned
                turned = turned - answer[row, last] * basis[row]
            rest = answer[last + 1, last] = float(np.linalg.norm(turned))
            along = _risen(answer[: last + 1, : last + 1], time)
            if rest * abs(along[-1]) < _LEFT_OUT or rest < _NUDGE:
                break
            basis.append(turned / rest)
        step = speed * along @ np.array(basis[: len(along)])
        at = at + step * min(1.0, _FARTHEST / _largest(step))
        left = away(at)
        count += 1
        time = min(2.0 * time, _LONGEST)
    return left, count


def _risen(answer: FloatArray, time: float) -> FloatArray:
    """What dx/dt = A x + e rises to from zero, with e the first axis, shape (m,).

    `answer` is A, shape (m, m).
    """
    value, vector = np.linalg.eig(answer.astype(complex))
    value = np.where(np.abs(value) > 1e-12, value, 1e-12)
    # What grows without end leads all the rest long before it overflows.
    grown = np.minimum(value.real * time, 30.0) + 1j * value.imag * time
    first = np.linalg.solve(vector, np.eye(len(answer), dtype=complex)[0])
    return np.asarray((vector @ (np.expm1(grown) / value * first)).real)


def _largest(values: FloatArray) -> float:
    return float(np.abs(values).max())


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
