"""What a layout really gives: the airflow of each terminal that settles at its fan."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from elbowroom.layout import (
    BadInput,
    FanSpec,
    FloatArray,
    IntArray,
    Notice,
    airflow_words,
    note,
    pressure_words,
    refusal,
    sum_from_root,
    warning,
)

from .analysis import Analysis
from .balance import balance
from .elements import Kind, duct_state, elements_of
from .fan_curve import crossings, slope_at
from .flows import resistances
from .loops import (
    dead_ducts,
    flows_at,
    settled,
    still_notices,
    terminal_rows,
    way_words,
)
from .site_air import fan_air_notices, fan_at_site
from .system import SAME, at_fan

_STEPS = 400
_SETTLED = 1e-10  # largest relative change of an airflow
_CLOSE = 1e-4  # what still changes more is no result
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
    return_flow
        Airflow at each terminal of each return side, m³/s.
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
    return_flow: tuple[FloatArray, ...]
    total_flow: float
    fan_pressure: float
    crossings: tuple[float, ...]
    dampers: str
    steps: int
    notices: tuple[Notice, ...]


@dataclass(frozen=True, eq=False)
class _Side:
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


def operate(
    analysis: Analysis, dampers: str = "open", returns: Sequence[Analysis] = ()
) -> Operation:
    """Find the airflows that settle.

    Parameters
    ----------
    analysis
        The layout at its design airflow.
    dampers
        'open': no dampers; 'set': as the balance sets them at design airflow.
    returns
        Return sides that join at the fan's inlet. They draw the share of what it blows
        that they draw at design: the rest is outdoor air, or leaves by other ways.

    Returns
    -------
    operation
        The airflows. Coefficients and friction are taken anew at them until nothing
        changes: junctions depend on how the air divides.

    Raises
    ------
    BadInput
        If no fan is declared, its curve ends before it meets the layout, or the
        airflows do not settle.

    Notes
    -----
    Between two rounds every duct has a fixed resistance k with loss = k Q². In a tree
    these reduce exactly: parallel ones add as 1/sqrt(k), series ones as k. Declared
    losses of terminals and components go with the square of their airflow.
    """
    fan = fan_at_site(analysis.graph.schedule.fan, analysis.conditions.air)
    where = f"{analysis.graph.schedule.file}, [fan]"
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
    sides = [_side(one, dampers) for one in (analysis, *returns)]
    flows = [one.graph.terminals.flow for one in (analysis, *returns)]
    ways: list[FloatArray | None] = [_ways(one) for one in (analysis, *returns)]
    # What comes to the fan by no drawn return does so in the same share as at design.
    drawn = sum(side.design for side in sides[1:]) / sides[0].design
    met: tuple[float, ...] = ()
    for steps in range(1, _STEPS + 1):
        found = [_shares(*each) for each in zip(sides, flows, ways, strict=True)]
        ways = [way for _, _, way in found]
        resistance = found[0][1]
        of_return = np.array([1.0 / np.sqrt(one) for _, one, _ in found[1:]])
        inlet = sides[0].inlet
        if returns:
            resistance += (drawn / of_return.sum()) ** 2
            of_return /= of_return.sum()
            parts = zip(sides[1:], of_return, strict=True)
            inlet = drawn**2 * sum(side.inlet * q**3 for side, q in parts)
            of_return *= drawn
        # An external static pressure has the outlet's velocity pressure on top, and
        # lacks the inlet's.
        on_top = 0.0 if _is_total(fan) else sides[0].outlet - inlet
        met = _meeting(fan, resistance - on_top, where)
        total = met[-1]  # the one on the falling side of the curve
        into = total * np.append(1.0, of_return)
        new = [q * one[0] for q, one in zip(into, found, strict=True)]
        changes = [
            np.abs(after / before - 1.0)
            for after, before in zip(new, flows, strict=True)
        ]
        change = max(float(one.max()) for one in changes)
        # Damped if it swings.
        flows = (
            new
            if steps < 20
            else [np.sqrt(a * b) for a, b in zip(new, flows, strict=True)]
        )
        if change < _SETTLED:
            break
    notices = fan_air_notices(analysis.graph.schedule.fan, analysis.conditions.air)
    notices += _stall(fan, met, where)
    if change > _CLOSE:
        raise _unsettled((analysis, *returns), changes, flows, ways)
    if change >= _SETTLED:
        notices.append(
            warning(
                analysis.graph.schedule.file,
                f"the airflows still change by {change:.1e} after {steps} rounds",
                "look for a junction that feeds on its own airflow",
            )
        )
    mass = [side.design * side.analysis.conditions.air.density for side in sides]
    alike = sum(mass[1:]) / mass[0]  # what is kept is mass
    if returns and abs(alike - 1.0) > SAME:
        notices.append(
            note(
                where,
                f"the returns draw {100 * alike:.0f} % of what the supply carries, by "
                "mass, as at design: the rest comes or goes by ways that are not drawn",
            )
        )
    duct_flow, still = _continued(analysis, flows[0], ways[0])
    notices += still
    total = float(duct_flow[analysis.graph.ducts.parent < 0].sum())
    return Operation(
        flows[0],
        duct_flow,
        tuple(flows[1:]),
        total,
        resistance * total * total,
        met,
        dampers,
        steps,
        tuple(notices),
    )


def _unsettled(
    sides: Sequence[Analysis],
    changes: Sequence[FloatArray],
    flows: Sequence[FloatArray],
    ways: Sequence[FloatArray | None],
) -> BadInput:
    """Refusal of airflows that go on changing, by a share, from round to round."""
    side = int(np.argmax([one.max() for one in changes]))
    graph, way = sides[side].graph, ways[side]
    row = int(changes[side].argmax())
    remedy = (
        "look at the junctions on the way there: by its table one may leave it no air; "
        "take a wider duct to it"
    )
    if way is not None:
        weakest = way_words(graph, int(np.abs(way).argmin()))
        remedy += f"; or open the loop at {weakest}, which carries the least"
    return refusal(
        graph.drawing.file,
        f"no airflows settle: after {_STEPS} rounds that of "
        f"'{graph.terminals.name[row]}', {airflow_words(float(flows[side][row]))}, "
        f"still changes by {100 * float(changes[side][row]):.2g} %",
        remedy,
    )


def _side(analysis: Analysis, dampers: str) -> _Side:
    graph, state = analysis.graph, analysis.state
    design = graph.terminals.flow
    declared = np.nan_to_num(graph.terminals.loss) * analysis.conditions.loss_ratio
    added = declared / design**2
    if dampers == "set":
        for setting in balance(analysis):
            added[setting.terminal] += setting.excess / design[setting.terminal] ** 2
    roots = graph.ducts.parent < 0
    whole = float(state.flow[roots].sum())
    inlet, outlet = at_fan(graph, analysis.conditions, state)
    outside = sum((analysis.conditions.declared_losses or {}).values())
    return _Side(
        analysis, added, outside / whole**2, inlet / whole**2, outlet / whole**2, whole
    )


def _ways(analysis: Analysis) -> FloatArray | None:
    """Airflow along the ways of a layout's loops at design; None without loops."""
    loops = analysis.graph.loops
    return None if loops is None else loops.signed(analysis.state.flow)


def _shares(
    side: _Side, flow: FloatArray, way: FloatArray | None
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


def _continued(
    analysis: Analysis, flow: FloatArray, way: FloatArray | None
) -> tuple[FloatArray, list[Notice]]:
    """Airflow in each duct, m³/s, from that at each terminal; where it stands still.

    Below zero where air goes the other way round a loop than at design.
    """
    graph = analysis.graph
    other, conditions, duct_flow = settled(graph, analysis.conditions, flow, way)
    if graph.loops is None or other.loops is None:
        return duct_flow, []
    signed = other.loops.signed(duct_flow)[graph.loops.of_duct]
    along = np.where(graph.loops.forward[graph.loops.of_duct], signed, -signed)
    return along, still_notices(other, conditions, duct_flow)


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


def _is_total(fan: FanSpec) -> bool:
    if fan.curve:
        return fan.curve_is_total
    return fan.total_pressure is not None


def _meeting(fan: FanSpec, resistance: float, where: str) -> tuple[float, ...]:
    if not fan.curve:
        pressure = fan.total_pressure or fan.external_static_pressure or 0.0
        return (float(np.sqrt(pressure / max(resistance, 1e-12))),)
    met = crossings(fan.curve, resistance)
    if not met:
        last = fan.curve[-1]
        raise refusal(
            f"{where} curve",
            f"it ends at {airflow_words(last[0])} and {pressure_words(last[1])}, "
            "before it meets the layout",
            "add the points of the fan at larger airflows",
        )
    return met


def _stall(fan: FanSpec, met: tuple[float, ...], where: str) -> tuple[Notice, ...]:
    """Say where the fan stands on the rising side of its curve."""
    if not fan.curve:
        return ()
    found = []
    if slope_at(fan.curve, met[-1]) > 0.0:
        found.append(
            warning(
                f"{where} curve",
                f"the fan works at {airflow_words(met[-1])}, on the rising side of its "
                "curve, where it may stall and surge",
                "choose a smaller fan, or lower the pressure that the layout needs",
            )
        )
    if len(met) > 1:
        *first, last = map(airflow_words, met)
        found.append(
            warning(
                f"{where} curve",
                f"it meets the layout at {len(met)} airflows, {', '.join(first)} and "
                f"{last}",
                "the airflow may jump between them; the largest was taken",
            )
        )
    return tuple(found)
