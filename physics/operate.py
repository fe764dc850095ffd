"""What a layout really gives: the airflow of each terminal that settles at its fan."""

from dataclasses import dataclass

import numpy as np

from elbowroom.layout import (
    FloatArray,
    IntArray,
    Notice,
    refusal,
    sum_of_subtree,
    warning,
)

from .analysis import Analysis
from .balance import balance
from .elements import Kind, duct_state, elements_of
from .fan_curve import crossings, slope_at

_STEPS = 200
_SETTLED = 1e-10  # largest relative change of an airflow
_LEAST = 1e-6  # of the velocity pressure: what a path loses at the least


@dataclass(frozen=True, eq=False)
class Operation:
    """Airflows that settle between a fan and a layout.

    Parameters
    ----------
    flow
        Airflow at each terminal, m³/s, shape (t,).
    duct_flow
        Airflow in each duct, m³/s, shape (d,); what enters a joint leaves it.
    total_flow
        At the fan, m³/s.
    fan_pressure
        Total pressure that the fan gives there, Pa.
    crossings
        Every airflow at which the fan's curve crosses that of the layout, m³/s.
    dampers
        'open' or 'set': as the balance sets them.
    steps
        How many times the coefficients were taken anew.
    notices
        What to look at.
    """

    flow: FloatArray
    duct_flow: FloatArray
    total_flow: float
    fan_pressure: float
    crossings: tuple[float, ...]
    dampers: str
    steps: int
    notices: tuple[Notice, ...]


def operate(analysis: Analysis, dampers: str = "open") -> Operation:
    """Find the airflows that settle.

    Parameters
    ----------
    analysis
        The layout at its design airflow.
    dampers
        'open': no dampers; 'set': as the balance sets them at design airflow.

    Returns
    -------
    operation
        The airflows. Coefficients and friction are taken anew at them until nothing
        changes: junctions depend on how the air divides.

    Raises
    ------
    BadInput
        If no fan is declared, or its curve ends before it meets the layout.

    Notes
    -----
    Between two rounds every duct has a fixed resistance k with loss = k Q². In a tree
    these reduce exactly: parallel ones add as 1/sqrt(k), series ones as k. Declared
    losses of terminals and components go with the square of their airflow.
    """
    graph, conditions = analysis.graph, analysis.conditions
    fan, parent = graph.schedule.fan, graph.ducts.parent
    where = f"{graph.schedule.file}, [fan]"
    if (
        not fan.curve
        and fan.total_pressure is None
        and (fan.external_static_pressure is None)
    ):
        raise refusal(
            where,
            "no fan is declared, so that no airflow settles",
            'write curve = [["0 m3/s", "480 Pa"], ...] or a pressure',
        )
    design = graph.terminals.flow
    whole = float(analysis.state.flow[parent < 0].sum())
    ends = graph.terminals.duct
    extra = np.zeros(len(parent))  # resistance of terminals and dampers
    declared = np.nan_to_num(graph.terminals.loss)
    np.add.at(extra, ends, declared / design**2)
    if dampers == "set":
        for setting in balance(analysis):
            flow = design[setting.terminal]
            extra[ends[setting.terminal]] += setting.excess / flow**2
    outside = sum((conditions.declared_losses or {}).values()) / whole**2
    first = int(np.flatnonzero(parent < 0)[0])
    own_pv = analysis.state.velocity_pressure[first] / whole**2
    flow = design.copy()
    met: tuple[float, ...] = (whole,)
    for steps in range(1, _STEPS + 1):
        duct_flow = _continued(parent, ends, flow)
        state = duct_state(graph, duct_flow, conditions)
        elements, _ = elements_of(graph, state, conditions)
        counts = elements.kind != Kind.TERMINAL
        lost = np.bincount(elements.duct[counts], elements.loss[counts], len(parent))
        k = lost / duct_flow**2 + extra
        least = _LEAST * state.velocity_pressure / duct_flow**2
        share, resistance = _reduced(parent, k, least)
        # An external static pressure has the outlet's velocity pressure on top.
        on_top = 0.0 if _is_total(analysis) else own_pv
        met = _meeting(analysis, resistance + outside - on_top, where)
        total = met[-1]  # the one on the falling side of the curve
        new = total * share[ends]
        change = float(np.abs(new / flow - 1.0).max())
        flow = new if steps < 20 else np.sqrt(new * flow)  # damped if it swings
        if change < _SETTLED:
            break
    notices = list(_stall(analysis, met, where))
    if change >= _SETTLED:
        notices.append(
            warning(
                graph.schedule.file,
                f"the airflows still change by {change:.1e} after {steps} rounds",
                "look for a junction that feeds on its own airflow",
            )
        )
    duct_flow = _continued(parent, ends, flow)
    total = float(duct_flow[first])
    return Operation(
        flow,
        duct_flow,
        total,
        (resistance + outside) * total * total,
        met,
        dampers,
        steps,
        tuple(notices),
    )


def _continued(parent: IntArray, ends: IntArray, flow: FloatArray) -> FloatArray:
    leaving = np.zeros(len(parent))
    np.add.at(leaving, ends, flow)
    return sum_of_subtree(parent, leaving)


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
    share = np.ones(len(k))
    for duct in range(len(k)):
        before = int(parent[duct])
        if before >= 0:
            share[duct] = share[before] * conductance[duct] / below[before]
    first = int(np.flatnonzero(parent < 0)[0])
    return share, float(1.0 / conductance[first] ** 2)


def _is_total(analysis: Analysis) -> bool:
    fan = analysis.graph.schedule.fan
    if fan.curve:
        return fan.curve_is_total
    return fan.total_pressure is not None


def _meeting(analysis: Analysis, resistance: float, where: str) -> tuple[float, ...]:
    fan = analysis.graph.schedule.fan
    if not fan.curve:
        pressure = fan.total_pressure or fan.external_static_pressure or 0.0
        return (float(np.sqrt(pressure / max(resistance, 1e-12))),)
    met = crossings(fan.curve, resistance)
    if not met:
        last = fan.curve[-1]
        raise refusal(
            f"{where} curve",
            f"it ends at {last[0]:.4g} m3/s and {last[1]:.4g} Pa, before it meets the "
            "layout",
            "add the points of the fan at larger airflows",
        )
    return met


def _stall(
    analysis: Analysis, met: tuple[float, ...], where: str
) -> tuple[Notice, ...]:
    """Say where the fan stands on the rising side of its curve."""
    fan = analysis.graph.schedule.fan
    if not fan.curve:
        return ()
    found = []
    if slope_at(fan.curve, met[-1]) > 0.0:
        found.append(
            warning(
                f"{where} curve",
                f"the fan works at {met[-1]:.4g} m3/s, on the rising side of its "
                "curve, where it may stall and surge",
                "choose a smaller fan, or lower the pressure that the layout needs",
            )
        )
    if len(met) > 1:
        shown = ", ".join(f"{q:.4g}" for q in met)
        found.append(
            warning(
                f"{where} curve",
                f"it meets the layout at {len(met)} airflows ({shown} m3/s)",
                "the airflow may jump between them; the largest was taken",
            )
        )
    return tuple(found)
