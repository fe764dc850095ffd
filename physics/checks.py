"""Checks of an analysed layout, each with its limit, its source and its places."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from elbowroom.layout import (
    BoolArray,
    ElbowConstruction,
    FloatArray,
    Shape,
    transmission_words,
    units,
)
from elbowroom.layout import sections as geometry

from . import noise
from .analysis import Analysis
from .balance import balance
from .elements import Kind
from .flows import goes_on, terminals_fed
from .leakage import leakage
from .power import FanPower, fan_power
from .rooms import SPECIFIC_HEAT
from .tables import chosen
from .warming import OUTSIDE_FILM, surface_temperature, temperatures_in, transfer_units

_LEAST_CARRIED = 0.9  # of a load: own choice, no published source
_MOST_LEAKAGE = 0.05  # of the airflow, the whole system
_PRACTICE = "common practice, no published source"
_FLATTEST = 4.0
# Rows of `velocity_limits` by use: context, main, branch, kind.
_USES = {
    "residential": (
        "residential (Manual D)",
        "supply trunk",
        "supply branch",
        "maximum",
        "rigid",
    ),
    "commercial": (
        "commercial or institutional",
        "main duct",
        "branch duct",
        "recommended high",
        "any",
    ),
    "industrial": ("industrial", "main duct", "branch duct", "recommended high", "any"),
}
_STANDS = {
    "in the room": "main inside occupied space",
    "above a ceiling": "main above suspended acoustic ceiling",
    "in a shaft": "main in shaft or above drywall ceiling",
}
_SHARES = {"main": 1.0, "branch": 0.8, "last duct": 0.5}
_FLEXIBLE_MOST = 1.5  # m
# The state that leakage rests on: the dampers set, by whether no fan is declared.
_PRESSED = {
    False: "a damper at the fan taking what it has to spare",
    True: "no more pressure than the layout needs",
}
_MOST_COMPRESSION = 0.04  # what is left of it when it is put up with care


@dataclass(frozen=True, slots=True)
class Check:
    """One check.

    Parameters
    ----------
    rule
        What is looked at, in words.
    dimension
        What the value measures, as in the table of units; 'level' in dB, 'ratio'.
    value, limit
        The worst value, and its limit in SI units; None where there is no limit.
    at
        Where the worst value is.
    failing
        Every place beyond its limit.
    is_kept
        Whether no place is beyond it.
    source, confidence
        Of the limit.
    remedy
        What to do, without a full stop; empty if it is kept.
    """

    rule: str
    dimension: str
    value: float
    limit: float | None
    at: str
    failing: tuple[str, ...]
    is_kept: bool
    source: str
    confidence: str
    remedy: str = ""


def checks(analysis: Analysis) -> list[Check]:
    """Check a layout against what its schedule asks for and against practice.

    Parameters
    ----------
    analysis
        The layout at its design airflow.

    Returns
    -------
    checks
        Those that are not kept first. What the schedule does not say is not checked:
        no use, no velocity limits; no class, no leakage.
    """
    found = [
        *_velocities(analysis),
        *_noise_criterion(analysis),
        *_square_throats(analysis),
        _aspect(analysis),
        *_flexible(analysis),
        *_made_noise(analysis),
        *_terminal_static(analysis),
        *_leakage(analysis),
        *_warmth(analysis),
        *_equipment(analysis),
    ]
    return sorted(found, key=lambda check: check.is_kept)


def power_of(analysis: Analysis) -> FanPower:
    """Power of the fan at the design airflow and its total pressure there.

    Where no pressure is declared, at that which the layout needs.

    Parameters
    ----------
    analysis
        The layout; with its returns where it has any (see `with_returns`).
    """
    fan = analysis.graph.schedule.fan
    system, air = analysis.system, analysis.conditions.air
    pressure = system.critical_loss + system.declared_losses
    if system.fan_pressure is not None:
        pressure = system.fan_pressure
        if system.fan_kind == "external static":
            pressure += system.outlet_velocity_pressure
            pressure -= system.inlet_velocity_pressure
    return fan_power(
        _total_flow(analysis),
        pressure,
        efficiency=fan.efficiency,
        drive_efficiency=fan.drive_efficiency,
        seconds=fan.hours,
        heat_capacity=air.density * SPECIFIC_HEAT,
    )


def _total_flow(analysis: Analysis) -> float:
    return float(analysis.state.flow[analysis.graph.ducts.parent < 0].sum())


def _role(analysis: Analysis) -> tuple[BoolArray, BoolArray]:
    """Whether each duct is a main, feeding more than one terminal, and is the last."""
    ducts, ends = analysis.graph.ducts, analysis.graph.terminals.duct
    last = np.zeros(len(ducts.parent), dtype=bool)
    last[ends] = True
    return terminals_fed(analysis.graph) > 1.5, last


def _of_ducts(
    analysis: Analysis,
    rule: str,
    dimension: str,
    value: FloatArray,
    limit: FloatArray,
    source: str,
    confidence: str,
    remedy: str,
) -> Check:
    """A check of every duct: its worst place, by share of the limit."""
    over = np.flatnonzero(value > limit * (1 + 1e-9))
    worst = int(np.argmax(value / limit))
    return Check(
        rule,
        dimension,
        float(value[worst]),
        float(limit[worst]),
        _short(analysis, worst),
        tuple(dict.fromkeys(_short(analysis, int(duct)) for duct in over)),
        len(over) == 0,
        source,
        confidence,
        remedy if len(over) else "",
    )


def _short(analysis: Analysis, duct: int) -> str:
    name: str = analysis.graph.drawing.names[int(analysis.graph.ducts.run[duct])]
    return name


def velocity_limits(analysis: Analysis) -> FloatArray:
    """Lowest velocity limit that the schedule's checks set for each duct, m/s.

    Shape (d,); infinite where they set none.
    """
    limit = np.full(len(analysis.graph.ducts.parent), np.inf)
    for _, mine, row in _limits_by_use(analysis):
        limit[mine] = float(row["velocity_m_s"])
    quiet = _limits_by_noise(analysis)
    return limit if quiet is None else np.minimum(limit, quiet[0])


def _limits_by_use(
    analysis: Analysis,
) -> Iterator[tuple[str, BoolArray, Mapping[str, str]]]:
    """Words, ducts and row of the table: mains, branches, flexible ones apart."""
    use = analysis.graph.schedule.checks.use
    if use is None:
        return
    context, main, branch, kind, shape = _USES[use]
    is_main, _ = _role(analysis)
    flexible = analysis.conditions.is_flexible
    if analysis.graph.is_return:
        main, branch = (word.replace("supply", "return") for word in (main, branch))
    if shape != "rigid":  # this use has one limit for all
        flexible[:] = False
    for words, element, mine, made in (
        ("mains", main, is_main & ~flexible, shape),
        ("branches", branch, ~is_main & ~flexible, shape),
        ("flexible mains", main, is_main & flexible, "flexible"),
        ("flexible branches", branch, ~is_main & flexible, "flexible"),
    ):
        if mine.any():
            (row,) = chosen(
                "velocity_limits",
                {"context": context, "element": element, "kind": kind, "shape": made},
            )
            side = " of the return" if analysis.graph.is_return else ""
            yield f"velocity in {words}{side}, {use}", mine, row


def _limits_by_noise(
    analysis: Analysis,
) -> tuple[FloatArray, Mapping[str, str]] | None:
    """Limit of each duct, m/s, for the room's noise criterion, and a row it is from."""
    spec = analysis.graph.schedule.checks
    if spec.noise is None or spec.stands is None:
        return None
    ducts = analysis.graph.ducts
    is_main, last = _role(analysis)
    share = np.where(is_main, _SHARES["main"], _SHARES["branch"])
    share[last] = _SHARES["last duct"]
    limit = np.zeros(len(share))
    row: Mapping[str, str] = {}
    for is_round in (True, False):
        (row,) = chosen(
            "velocity_limits",
            {
                "context": f"noise criterion {spec.noise}",
                "element": _STANDS[spec.stands],
                "shape": "round" if is_round else "rectangular",
            },
        )
        mine = (ducts.shape == Shape.ROUND) == is_round
        limit[mine] = float(row["velocity_m_s"]) * share[mine]
    return limit, row


def _velocities(analysis: Analysis) -> list[Check]:
    return [
        _of_ducts(
            analysis,
            words,
            "velocity",
            analysis.state.velocity,
            np.where(mine, float(row["velocity_m_s"]), np.inf),
            row["source"],
            row["confidence"],
            "take a larger section",
        )
        for words, mine, row in _limits_by_use(analysis)
    ]


def _noise_criterion(analysis: Analysis) -> list[Check]:
    found = _limits_by_noise(analysis)
    if found is None:
        return []
    limit, row = found
    spec = analysis.graph.schedule.checks
    return [
        _of_ducts(
            analysis,
            f"velocity for {spec.noise}, ducts {spec.stands}",
            "velocity",
            analysis.state.velocity,
            limit,
            row["source"] + f"; branches {100 * _SHARES['branch']:g} %, last ducts "
            f"{100 * _SHARES['last duct']:g} % of it",
            row["confidence"],
            "take a larger section, or silence the duct",
        )
    ]


def _square_throats(analysis: Analysis) -> list[Check]:
    """Elbows without a radius in the throat, which are heard."""
    bends, state = analysis.graph.bends, analysis.state
    mitred = bends.construction == int(ElbowConstruction.MITRED)
    square = mitred | (bends.construction == int(ElbowConstruction.SQUARE_THROAT))
    rows = np.flatnonzero(square & (bends.angle > np.radians(60.0)))
    if len(rows) == 0:
        return []
    (row,) = chosen(
        "velocity_limits", {"element": "square-throat elbow audible above about"}
    )
    limit = float(row["velocity_m_s"])
    velocity = state.velocity[bends.duct[rows]]
    names = [
        f"{_short(analysis, int(bends.duct[r]))}, bend {bends.number[r]}" for r in rows
    ]
    over = velocity > limit
    worst = int(np.argmax(velocity))
    return [
        Check(
            "velocity in elbows with a square throat",
            "velocity",
            float(velocity[worst]),
            limit,
            names[worst],
            tuple(name for name, bad in zip(names, over, strict=True) if bad),
            not over.any(),
            row["source"],
            row["confidence"],
            "give them a radius in the throat, or turning vanes" if over.any() else "",
        )
    ]


def _aspect(analysis: Analysis) -> Check:
    ducts = analysis.graph.ducts
    long = np.maximum(ducts.width, ducts.height)
    return _of_ducts(
        analysis,
        "longer side over shorter side",
        "ratio",
        long / np.minimum(ducts.width, ducts.height),
        np.full(len(long), _FLATTEST),
        _PRACTICE,
        "common practice",
        "take a squarer section: it weighs less and is quieter",
    )


def _flexible(analysis: Analysis) -> list[Check]:
    ducts, flexible = analysis.graph.ducts, analysis.conditions.is_flexible
    if not flexible.any():
        return []
    pressed = np.nan_to_num(analysis.conditions.compression)
    return [
        _of_ducts(
            analysis,
            "length of flexible duct",
            "length",
            np.where(flexible, ducts.length, 0.0),
            np.full(len(flexible), _FLEXIBLE_MOST),
            _PRACTICE,
            "common practice",
            "run rigid duct further, and pull the flexible piece tight: pushed "
            "together by a tenth it rubs about twice as much",
        ),
        _of_ducts(
            analysis,
            "compression of flexible duct",
            "share",
            pressed,
            np.full(len(flexible), _MOST_COMPRESSION),
            _PRACTICE,
            "common practice",
            "cut it to length and pull it tight",
        ),
    ]


def _made_noise(analysis: Analysis) -> list[Check]:
    """Loudest of what the air makes itself, A-weighted where there are bands."""
    graph, state = analysis.graph, analysis.state
    ducts, bends = graph.ducts, graph.bends
    source = "practice formulas, wrong by 5 dB and more; terminals are the maker's"
    moving = state.velocity > 0.1
    level = np.where(
        moving,
        noise.straight_duct(np.where(moving, state.velocity, 1.0), state.area),
        0,
    )
    found = [_loudest("noise made in straight duct, dB", level, [
        _short(analysis, duct) for duct in range(len(level))], source)]  # fmt: skip
    boxy = ducts.shape[bends.duct] == Shape.RECTANGULAR
    mitred = np.flatnonzero(
        (bends.construction == int(ElbowConstruction.MITRED)) & boxy
    )
    if len(mitred):
        duct = bends.duct[mitred]
        bands = noise.mitred_elbow(
            state.velocity[duct], state.area[duct], ducts.height[duct]
        )
        names = [
            f"{_short(analysis, int(bends.duct[r]))}, bend {bends.number[r]}"
            for r in mitred
        ]
        found.append(
            _loudest(
                "noise made in mitred elbows, dB(A)",
                noise.level_sum(bands + noise.A_WEIGHTING),
                names,
                source,
            )
        )
    settings = [s for s in balance(analysis) if s.angle and s.excess > 1.0]
    if settings:
        duct = np.array([s.duct for s in settings])
        bands = noise.damper(
            state.flow[duct],
            state.area[duct],
            ducts.height[duct],
            np.array([s.excess for s in settings]),
        )
        found.append(
            _loudest(
                "noise made in balancing dampers, dB(A)",
                noise.level_sum(bands + noise.A_WEIGHTING),
                [_short(analysis, int(d)) for d in duct],
                source,
            )
        )
    return found


def _loudest(rule: str, level: FloatArray, names: Sequence[str], source: str) -> Check:
    worst = int(np.argmax(level))
    return Check(
        rule,
        "level",
        float(level[worst]),
        None,
        names[worst],
        (),
        True,
        source,
        "memory",
    )


def surface_of(analysis: Analysis, wrapped: float = 0.0) -> FloatArray:
    """Surface of each duct with its bends, m², with insulation of a thickness, m."""
    ducts = analysis.graph.ducts
    around = geometry.perimeter(
        ducts.shape, ducts.width + 2 * wrapped, ducts.height + 2 * wrapped
    )
    return np.asarray(around * ducts.length)


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


def _terminal_static(analysis: Analysis) -> list[Check]:
    left = terminal_static(analysis)
    if left is None:
        return []
    terminals, pv = analysis.graph.terminals, analysis.state.velocity_pressure
    # In total pressure, as losses are declared; an open end needs its velocity's.
    own = pv[terminals.duct]
    left = left + own
    declared = terminals.loss * analysis.conditions.loss_ratio
    needed = np.where(np.isnan(declared), own, declared)
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


def _leakage(analysis: Analysis) -> list[Check]:
    kind = analysis.graph.schedule.checks.leakage
    if kind is None:
        return []
    lost = leakage(kind, surface_of(analysis), static_pressure(analysis))
    share = float(lost.sum()) / _total_flow(analysis)
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
            f"most of it: {_short(analysis, worst)}",
            () if kept else (_short(analysis, worst),),
            kept,
            "ASHRAE system leakage limit, as quoted",
            "seen",
            "" if kept else "seal to a tighter class; the fan must carry the rest",
        )
    ]


def _warmth(analysis: Analysis) -> list[Check]:
    spec, air = analysis.graph.schedule.checks, analysis.conditions.air
    if spec.around is None or spec.transmission is None:
        return []
    graph, state = analysis.graph, analysis.state
    surface = surface_of(analysis, graph.schedule.insulation)
    ntu = transfer_units(
        spec.transmission, surface, state.flow * air.density, SPECIFIC_HEAT
    )
    start, end = temperatures_in(graph, ntu, state.flow, air.temperature, spec.around)
    at_end = end[graph.terminals.duct]
    worst = int(np.argmax(np.abs(at_end - air.temperature)))
    change = float(at_end[worst] - air.temperature)
    found = [
        Check(
            "change of the air's temperature up to the terminal",
            "temperature difference",
            change,
            None,
            graph.terminals.name[worst],
            (),
            True,
            "exponential form; ASHRAE Handbook Fundamentals",
            "cross-checked",
        )
    ]
    found += _loads_carried(analysis, at_end - air.temperature)
    if spec.dew_point is not None:
        skin = surface_temperature(start, spec.around, spec.transmission)
        coldest = int(np.argmin(skin))
        wet = skin < spec.dew_point
        found.append(
            Check(
                "temperature of the ducts' surface against the dew point around them",
                "temperature",
                float(skin[coldest]),
                spec.dew_point,
                _short(analysis, coldest),
                tuple(_short(analysis, int(d)) for d in np.flatnonzero(wet)),
                not wet.any(),
                f"film of {transmission_words(OUTSIDE_FILM)} outside, from memory",
                "memory",
                "insulate more, with a closed vapour barrier" if wet.any() else "",
            )
        )
    return found


def _loads_carried(analysis: Analysis, change: FloatArray) -> list[Check]:
    """Whether the air still carries the loads that the airflows follow from."""
    schedule, names = analysis.graph.schedule, analysis.graph.terminals.name
    specs = schedule.terminals
    rows = [
        row
        for row, name in enumerate(names)
        if name in specs and specs[name].load is not None
    ]
    if schedule.rooms.difference is None or not rows:
        return []
    # Whatever the ducts give away or take up on the way brings the air nearer the room.
    left = 1.0 - np.abs(change[rows]) / schedule.rooms.difference
    worst = int(np.argmin(left))
    short = [
        names[row]
        for row, share in zip(rows, left.tolist(), strict=True)
        if share < _LEAST_CARRIED
    ]
    return [
        Check(
            "share of its room's load that the air brings, after its way",
            "share",
            float(left[worst]),
            _LEAST_CARRIED,
            names[rows[worst]],
            tuple(short),
            not short,
            "own choice, no published source",
            "low",
            "insulate the way, or add the loss to the load of the room"
            if short
            else "",
        )
    ]


def _equipment(analysis: Analysis) -> list[Check]:
    spec, flow = analysis.graph.schedule.checks, _total_flow(analysis)
    found = []
    for rule, limit, kept in (
        ("airflow, least of the equipment", spec.least_flow, 1.0),
        ("airflow, most of the equipment", spec.most_flow, -1.0),
    ):
        if limit is None:
            continue
        fine = (flow - limit) * kept >= 0.0
        found.append(
            Check(
                rule,
                "airflow",
                flow,
                limit,
                "at the fan",
                () if fine else ("at the fan",),
                fine,
                "declared in the schedule",
                "seen",
                "" if fine else "keep to the maker's limits",
            )
        )
    if spec.cooling is not None:
        per_ton = units.to_unit(flow, "cfm") / units.to_unit(spec.cooling, "ton")
        fine = 350.0 <= per_ton <= 450.0
        found.append(
            Check(
                "airflow for each ton of cooling, cfm (350 to 450)",
                "ratio",
                per_ton,
                450.0 if per_ton > 400.0 else 350.0,
                "at the fan",
                () if fine else ("at the fan",),
                fine,
                "practice, by climate and coil: " + _PRACTICE,
                "common practice",
                "" if fine else "ask the maker of the coil; heating has other limits",
            )
        )
    return found
