"""What a layout really gives: the airflow of each terminal that settles at its fan."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from elbowroom.layout import (
    BadInput,
    FanSpec,
    FloatArray,
    Notice,
    airflow_words,
    allowed,
    note,
    pressure_words,
    refusal,
    warning,
)

from .analysis import Analysis
from .fan_curve import crossings, ends_early, slope_at
from .ledger import OTHER_FLOW
from .loops import (
    settled,
    still_notices,
    way_words,
)
from .settling import Side, settle, shares, side_of, starved
from .site_air import fan_air_notices, fan_at_site
from .system import SAME

_SETTLED = 1e-10  # largest relative change of an airflow
DAMPER_STATES = ("open", "set")
_CLOSE = 1e-4  # what still changes more is no result
_NOTHING = 1e-4  # of the velocity pressure at the fan: a layout that takes none
_BEHIND = 0.1  # of an airflow: where others are the first to have air


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
        Every airflow that lasts where the fan's curve crosses that of the layout, m³/s.
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
    ValueError
        If `dampers` is neither word.
    BadInput
        If no fan is declared, its curve does not meet the layout, the layout takes no
        pressure, or the airflows do not settle.

    Notes
    -----
    Between two rounds every duct has a fixed resistance k with loss = k Q². In a tree
    these reduce exactly: parallel ones add as 1/sqrt(k), series ones as k. Declared
    losses of terminals and components go with the square of their airflow. Rounds do
    not begin at the design airflows, so that these decide nothing but what they scale:
    declared losses, dampers, and what the returns draw. Airflows at which the least
    change would grow are none that settle.
    """
    allowed.check_value("dampers", dampers, DAMPER_STATES)
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
    for one in (analysis, *returns):
        if one.critical_loss <= 0.0:
            raise _gaining(one.graph.drawing.file)
    sides = [side_of(one, dampers) for one in (analysis, *returns)]
    settling = settle_at(fan, sides, _SETTLED)
    met, change = settling.met, settling.change
    if settling.resistance - settling.on_top <= _NOTHING * sides[0].outlet:
        if settling.on_top <= 0.0:
            raise _gaining(analysis.graph.drawing.file)
        raise _unresisted(where)
    if not met:
        raise _missed(fan, settling.resistance - settling.on_top, where)
    notices = fan_air_notices(analysis.graph.schedule.fan, analysis.conditions.air)
    notices += _stall(fan, met, settling.resistance - settling.on_top, where)
    if change > _CLOSE:
        raise _unsettled(sides, settling)
    if change >= _SETTLED:
        notices.append(
            warning(
                analysis.graph.schedule.file,
                f"the airflows still change by {change:.1e} after {settling.steps} "
                "rounds",
                "look for a junction that feeds on its own airflow",
            )
        )
    notices += _left_without(sides, settling.flows)
    notices += _square_law(sides, settling.flows)
    notices += _otherwise(fan, sides, settling)
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
    flow, *of_returns = settling.flows
    duct_flow, still = _continued(analysis, flow, settling.ways[0])
    notices += still
    total = float(duct_flow[analysis.graph.ducts.parent < 0].sum())
    return Operation(
        flow,
        duct_flow,
        tuple(of_returns),
        total,
        settling.resistance * total * total,
        met,
        dampers,
        settling.steps,
        tuple(notices),
    )


@dataclass(frozen=True, eq=False)
class _Round:
    """What comes out of a round.

    Parameters
    ----------
    flows
        Airflow at each terminal, of the supply and of each return, m³/s.
    ways
        Where there are loops, what each way carries, as `shares` gives it.
    resistance
        Of all sides together, on the airflow at the fan, Pa s²/m⁶.
    on_top
        What an external static pressure has on top of itself, in the same unit; 0 of
        a total pressure.
    met
        Airflows at which the fan gives what that takes, m³/s; none where it does not.
    """

    flows: list[FloatArray]
    ways: list[FloatArray | None]
    resistance: float
    on_top: float
    met: tuple[float, ...]


@dataclass(frozen=True, eq=False)
class Settling(_Round):
    """The round in which airflows settled, or the last of all.

    Parameters
    ----------
    changes
        By what share it changed each airflow, as `flows`.
    steps
        How many rounds there were.
    """

    changes: list[FloatArray]
    steps: int

    @property
    def change(self) -> float:
        """Largest of the changes."""
        return max(float(one.max()) for one in self.changes)


def settle_at(fan: FanSpec, sides: Sequence[Side], close: float) -> Settling:
    """Take airflows and coefficients in turn until the airflows of all sides settle.

    Parameters
    ----------
    fan
        For the air of the site.
    sides
        The supply and its returns.
    close
        Share by which a round may still change an airflow that has settled.

    Raises
    ------
    BadInput
        If the air of a loop finds no way to go.
    """
    last = _Round([], [None] * len(sides), 0.0, 0.0, ())
    ends = np.cumsum([len(side.size) for side in sides])[:-1]

    def away(at: FloatArray) -> FloatArray:
        nonlocal last
        last = _round(fan, sides, np.split(np.exp(at), ends), last.ways)
        return np.asarray(np.log(np.concatenate(last.flows)) - at)

    left, steps = settle(away, np.concatenate([side.begin for side in sides]), close)
    changes = np.split(np.abs(np.expm1(left)), ends)
    return Settling(**vars(last), changes=changes, steps=steps)


def _round(
    fan: FanSpec,
    sides: Sequence[Side],
    flows: Sequence[FloatArray],
    ways: Sequence[FloatArray | None],
) -> _Round:
    """Airflows that the fan moves with the coefficients at some others."""
    # What comes to the fan by no drawn return does so in the same share as at design.
    drawn = sum(side.design for side in sides[1:]) / sides[0].design
    found = [shares(*each) for each in zip(sides, flows, ways, strict=True)]
    resistance = found[0][1]
    of_return = np.array([1.0 / np.sqrt(one) for _, one, _ in found[1:]])
    inlet = sides[0].inlet
    if len(of_return):
        resistance += (drawn / of_return.sum()) ** 2
        of_return /= of_return.sum()
        parts = zip(sides[1:], of_return, strict=True)
        inlet = drawn**2 * sum(side.inlet * q**3 for side, q in parts)
        of_return *= drawn
    # An external static pressure has the outlet's velocity pressure on top, and lacks
    # the inlet's.
    on_top = 0.0 if _is_total(fan) else sides[0].outlet - inlet
    met = _meeting(fan, resistance - on_top)
    # The largest; for a round on the way that has none, the end that lies nearer.
    total = met[-1] if met else _nearer_end(fan, resistance - on_top)[0]
    into = total * np.append(1.0, of_return)
    new = [q * share for q, (share, _, _) in zip(into, found, strict=True)]
    return _Round(new, [way for _, _, way in found], resistance, on_top, met)


def _gaining(file: str) -> BadInput:
    """Refusal of a layout in which air gains as much as it loses on every path."""
    return refusal(
        file,
        "no path to a terminal loses any pressure, so that no airflow settles at a fan",
        "check the sizes at its junctions, and declare what its terminals lose",
    )


def _unresisted(where: str) -> BadInput:
    """Refusal of an external static pressure that nothing is there to take."""
    return refusal(
        where,
        "the layout takes no more than the velocity pressure that the fan's outlet has "
        "on top of its external static pressure, however much air there is, so that no "
        "airflow settles",
        "write the total pressure of the fan in its place, or declare what stands in "
        "the ducts and what the terminals lose",
    )


def _missed(fan: FanSpec, resistance: float, where: str) -> BadInput:
    """Refusal of a curve that does not meet a resistance, Pa s²/m⁶."""
    flow, pressure = end = _nearer_end(fan, resistance)
    at = f"at {airflow_words(flow)} and {pressure_words(pressure)}"
    is_first = end == fan.curve[0]
    return refusal(
        f"{where} curve",
        f"it begins {at}, where the layout takes more already"
        if is_first
        else f"it ends {at}, before it meets the layout",
        f"add the points of the fan at {'smaller' if is_first else 'larger'} airflows",
    )


def _unsettled(sides: Sequence[Side], settling: Settling) -> BadInput:
    """Refusal of airflows that go on changing, by a share, from round to round."""
    changes, flows = settling.changes, settling.flows
    side = int(np.argmax([one.max() for one in changes]))
    graph, way = sides[side].analysis.graph, settling.ways[side]
    row = int(changes[side].argmax())
    remedy = (
        "how the air divides at a junction on the way there may change back and forth "
        "with the air itself: draw one of them otherwise, or declare what the "
        "terminals lose, which steadies it"
    )
    if way is not None:
        weakest = way_words(graph, int(np.abs(way).argmin()))
        remedy += f"; or open the loop at {weakest}, which carries the least"
    return refusal(
        graph.drawing.file,
        f"no airflows were found that settle: after {settling.steps} rounds that of "
        f"'{graph.terminals.name[row]}', {airflow_words(float(flows[side][row]))}, "
        f"still changes by {100 * float(changes[side][row]):.2g} %",
        remedy,
    )


def _square_law(sides: Sequence[Side], flows: Sequence[FloatArray]) -> list[Notice]:
    """Say how declared losses were taken to airflows that they were not declared at."""
    for side, flow in zip(sides, flows, strict=True):
        graph = side.analysis.graph
        plan, ends = graph.schedule, graph.terminals
        declared = plan.losses or any(one.loss is not None for one in plan.components)
        declared = declared or not np.isnan(ends.loss).all()
        if declared and (np.abs(flow / ends.flow - 1.0) > OTHER_FLOW).any():
            return [
                note(
                    plan.file,
                    "declared losses were taken to go with the square of their airflow",
                    "declare those of filters and coils, which may rise less steeply, "
                    "at the airflow that settles",
                )
            ]
    return []


def _left_without(sides: Sequence[Side], flows: Sequence[FloatArray]) -> list[Notice]:
    """Say which terminals the others leave no air."""
    found = []
    for side, flow in zip(sides, flows, strict=True):
        graph = side.analysis.graph
        for row in starved(side, flow).nonzero()[0].tolist():
            found.append(
                warning(
                    graph.drawing.file,
                    f"'{graph.terminals.name[row]}' gets next to no air: the air of "
                    "the others leaves no pressure at its branch to move any",
                    "set the dampers of the others, or widen the duct that it leaves",
                    effect="a thousandth of the others' velocity, or it turns round",
                    place=graph.topology.nodes[
                        graph.ducts.finish[graph.terminals.duct[row]]
                    ],
                )
            )
    return found


def _otherwise(fan: FanSpec, sides: Sequence[Side], settling: Settling) -> list[Notice]:
    """Say what settles too where those that get no air are the first to have some."""
    left = [starved(*each) for each in zip(sides, settling.flows, strict=True)]
    if not any(one.any() for one in left):
        return []
    first = [
        replace(side, begin=np.where(one, side.begin, _BEHIND * side.begin))
        for side, one in zip(sides, left, strict=True)
    ]
    try:
        other = settle_at(fan, first, _SETTLED)
    except BadInput:  # the air of a loop may find no way to go
        return []
    if not other.met or other.change >= _SETTLED:
        return []
    found = []
    for side, before, flow in zip(sides, left, other.flows, strict=True):
        names, none = side.analysis.graph.terminals.name, starved(side, flow)
        gains = [
            f"'{names[row]}' gets {airflow_words(float(flow[row]))}"
            for row in (before & ~none).nonzero()[0].tolist()
        ]
        lacks = [
            f"'{names[row]}' next to none"
            for row in (none & ~before).nonzero()[0].tolist()
        ]
        if gains:
            found.append(
                warning(
                    side.analysis.graph.drawing.file,
                    f"other airflows settle too: {', '.join([*gains, *lacks])}; which "
                    "of them hangs on where the air went first",
                    "set dampers, or declare what the terminals lose, so that the air "
                    "divides in one way",
                    effect="the airflows may jump from these to those",
                )
            )
    return found


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


def _is_total(fan: FanSpec) -> bool:
    if fan.curve:
        return fan.curve_is_total
    return fan.total_pressure is not None


def _meeting(fan: FanSpec, resistance: float) -> tuple[float, ...]:
    """Airflows that last where a fan gives what a resistance takes, m³/s."""
    if not fan.curve:
        pressure = fan.total_pressure or fan.external_static_pressure or 0.0
        return (float(np.sqrt(pressure / max(resistance, 1e-12))),)
    return crossings(fan.curve, resistance)


def _nearer_end(fan: FanSpec, resistance: float) -> tuple[float, float]:
    """First or last point of a curve that a resistance does not meet."""
    return fan.curve[-1 if ends_early(fan.curve, resistance) else 0]


def _stall(
    fan: FanSpec, met: tuple[float, ...], resistance: float, where: str
) -> list[Notice]:
    """Say where the fan stands on the rising side of its curve, or may leave it."""
    if not fan.curve:
        return []
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
                f"it meets the layout at {len(met)} airflows that may last, "
                f"{', '.join(first)} and {last}",
                "the airflow may jump between them; the largest was taken",
            )
        )
    if met[-1] >= fan.curve[-1][0] * (1.0 - _SETTLED):
        found.append(
            note(
                f"{where} curve",
                f"it ends where it meets the layout, at {airflow_words(met[-1])}",
                "add the points of the fan at larger airflows: a layout that takes "
                "any less meets none of these",
            )
        )
    if ends_early(fan.curve, resistance):
        flow, pressure = fan.curve[-1]
        found.append(
            warning(
                f"{where} curve",
                f"it ends at {airflow_words(flow)} and {pressure_words(pressure)}, "
                "above what the layout takes there: the airflow may jump from "
                f"{airflow_words(met[-1])} to beyond the curve",
                "add the points of the fan at larger airflows",
            )
        )
    return found
