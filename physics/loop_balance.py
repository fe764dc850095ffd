"""Airflow around loops whose directions are known: what each closing duct carries.

A closing duct ends at a meeting, where the tree goes on from another. Its airflow is
right where the way through it loses as much as the other. What each duct loses is taken
anew at every trial, with all its fittings; near the end Newton's method leads there,
before that the square law, which knows the direction even where a junction's table
falls with the airflow.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from elbowroom.layout import (
    BoolArray,
    DuctGraph,
    FloatArray,
    IntArray,
    refusal,
    sum_from_root,
)

from .close_pairs import close_pairs, corrected
from .conditions import Conditions
from .elements import duct_state, elements_of
from .flows import duct_flows, loops_of, openings

STILL = 1e-6  # of the whole airflow: as good as none
_SETTLED = 1e-11  # of the largest loss of a path
_STEPS = 300
_HALVES = 60
_SLOW = 0.02  # of the whole airflow: below it the square law is too steep
_LEAST = 1e-6  # of the velocity pressure: what a duct loses at the least


@dataclass(frozen=True, eq=False)
class _Trial:
    """Closing airflows, shape (l,), and what they lead to.

    `flow`, `paid` and `square`, the slope of what is paid by the square law, have the
    shape (d,); `off` has (l,): Pa that the way to each closing duct loses too much.
    """

    q: FloatArray
    flow: FloatArray
    paid: FloatArray
    square: FloatArray
    off: FloatArray


def balanced(
    graph: DuctGraph,
    conditions: Conditions,
    taken: FloatArray,
    way: FloatArray,
    held: BoolArray,
) -> tuple[FloatArray, FloatArray | None]:
    """Airflow of each duct with the air in the directions of the graph.

    Parameters
    ----------
    graph, conditions
        A graph with loops, and the conditions of its ducts.
    taken
        Airflow that leaves at each node, m³/s, shape (k,).
    way
        Airflow along each way to begin from, m³/s, shape (w,).
    held
        Ways in which the air is known to stand still, shape (w,).

    Returns
    -------
    flow, off
        Airflow in m³/s, shape (d,), and the pressure that the way to each closing duct
        loses too much, Pa, shape (l,): above zero where one would rather carry less
        than next to nothing. None for it if another duct than a closing one brings
        next to nothing: the tree should not go on from there.

    Raises
    ------
    BadInput
        If it does not settle.
    """
    assert graph.loops is not None
    closing, around = loops_of(graph)
    tree = duct_flows(graph, taken[graph.ducts.finish[graph.terminals.duct]])
    whole, lower = float(taken.sum()), least_flows(graph, taken)
    least = lower[closing]
    ends_there = graph.loops.of_duct[closing]
    inner = ~np.isin(graph.loops.of_duct, ends_there)

    def tried(q: FloatArray) -> _Trial:
        flow = tree + q @ around
        paid, pv = spent(graph, conditions, flow)
        square = 2.0 * np.maximum(paid, _LEAST * pv) / np.maximum(flow, _SLOW * whole)
        return _Trial(q, flow, paid, square, around @ paid)

    def carries(q: FloatArray) -> bool:
        return bool(((tree + q @ around)[inner] >= lower[inner] / 4.0).all())

    q = np.maximum(np.abs(way[ends_there]), least)
    for _ in range(_HALVES):  # with the least ones every duct carries something
        if carries(q):
            break
        q = (q + least) / 2.0
    here: _Trial | None = None
    slopes: FloatArray | None = None
    pace, last, before = 1.0, np.zeros(len(q)), 0.0
    failed, rest = 0, 0  # how often Newton's method did in a row; steps without it
    for _ in range(_STEPS):
        if not carries(q):
            return np.maximum(tree + q @ around, lower / 4.0), None
        here = tried(q) if here is None else here
        free = np.flatnonzero(~held[ends_there] & ((q > least) | (here.off < 0.0)))
        scale = float(np.abs(sum_from_root(graph.ducts.parent, here.paid)).max())
        worst = _worst(here, free)
        if worst <= _SETTLED * scale:
            return here.flow, here.off
        by_square = (around * here.square) @ around.T
        rest -= 1
        if worst < before and rest < 0:  # near enough for Newton's method
            fixed = _slopes(tried, here, around) if slopes is None else slopes
            new = q + _step(fixed, around, here, least, free)
            if _agree(fixed, by_square, free) and carries(new):
                then = tried(new)
                if _worst(then, free) < worst:
                    moved, changed = new - q, then.off - here.off
                    # What the step really changed corrects good slopes.
                    more = np.outer(changed - fixed @ moved, moved) / (moved @ moved)
                    good = _worst(then, free) < worst / 2.0
                    slopes = fixed + more if good else None
                    q, here, before, failed = new, then, worst, 0
                    continue
            failed += 1
            rest = 2 ** min(failed, 4)
        step = _step(by_square, around, here, least, free)
        pace = pace / 2.0 if step @ last < 0.0 else min(1.3 * pace, 1.0)
        q = np.maximum(q + pace * step, np.minimum(q, least))
        last, before, here, slopes = step, worst, None, None
    raise refusal(
        graph.drawing.file,
        f"the airflow in its loops still changes after {_STEPS} rounds",
        "check the sizes of the ducts around the loop",
    )


def _worst(trial: _Trial, free: IntArray) -> float:
    return float(np.abs(trial.off[free]).max(initial=0.0))


def _agree(slopes: FloatArray, by_square: FloatArray, free: IntArray) -> bool:
    """Whether Newton's method would lead where the square law would."""
    part = np.ix_(free, free)
    ratio = np.linalg.solve(by_square[part], slopes[part])
    return bool(np.linalg.eigvals(ratio).real.min() > 0.0)


def _slopes(
    tried: Callable[[FloatArray], _Trial], here: _Trial, around: FloatArray
) -> FloatArray:
    """Change of what each way loses too much with each closing airflow, Pa s/m³."""
    out = np.empty((len(here.q), len(here.q)))
    for column, ways in enumerate(around):
        room = float(here.flow[ways < 0.0].min(initial=np.inf)) / 2.0
        more = min(max(1e-4 * here.q[column], 1e-5 * float(here.flow.max())), room)
        new = here.q.copy()
        new[column] += more
        out[:, column] = (tried(new).off - here.off) / more
    return out


def _step(
    slopes: FloatArray,
    around: FloatArray,
    here: _Trial,
    least: FloatArray,
    free: IntArray,
) -> FloatArray:
    """Change of the closing airflows, with none below its least one, shape (l,)."""

    def solved() -> FloatArray:
        part = slopes[np.ix_(free, free)]
        return np.asarray(-np.linalg.lstsq(part, here.off[free], rcond=None)[0])

    change, q = solved(), here.q
    while ((change < 0.0) & (q[free] <= least[free])).any():
        free = free[(change >= 0.0) | (q[free] > least[free])]
        change = solved()
    # None loses more than nine tenths of its airflow at once.
    lost, moves = -(change @ around[free]), here.flow > 0.0
    most = float((lost[moves] / here.flow[moves]).max(initial=0.0))
    out = np.zeros(len(q))
    out[free] = change * min(1.0, 0.9 / max(most, 1e-12))
    return out


def least_flows(graph: DuctGraph, taken: FloatArray) -> FloatArray:
    """Airflow that each duct carries if every closing one carries next to nothing.

    Parameters
    ----------
    graph
        The classified graph.
    taken
        Airflow that leaves at each node, m³/s, shape (k,).

    Returns
    -------
    flow
        m³/s, shape (d,). At a node from which little leaves closing ducts carry even
        less, so that the one along which the tree goes on always carries something.
    """
    ducts = graph.ducts
    whole, out = float(taken.sum()), np.zeros(len(ducts.run))
    leaves = taken.copy()
    closing = set(openings(graph)[0].tolist())
    count = np.bincount(ducts.finish[sorted(closing)], minlength=len(taken))
    for duct in range(len(out) - 1, -1, -1):  # what goes on from a node comes later
        node, before = int(ducts.finish[duct]), int(ducts.parent[duct])
        share = min(STILL * whole, leaves[node] / (2.0 * max(count[node], 1)))
        if duct in closing:
            out[duct] = share
        else:
            out[duct] = leaves[node] - count[node] * share
        if before >= 0:
            leaves[ducts.finish[before]] += out[duct]
    return out


def spent(
    graph: DuctGraph,
    conditions: Conditions,
    flow: FloatArray,
) -> tuple[FloatArray, FloatArray]:
    """What each duct spends with all that stands at it, and its velocity pressure.

    Pa, shape (d,) each, at an airflow in m³/s.
    """
    state = duct_state(graph, flow, conditions)
    elements, _ = elements_of(graph, state, conditions)
    if conditions.corrected_pairs:
        elements = corrected(elements, close_pairs(graph, state, elements))
    paid = np.bincount(elements.duct, elements.loss, len(flow)).astype(np.float64)
    return paid, state.velocity_pressure
