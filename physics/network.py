"""Airflow in a network of ducts between known pressures: trees and loops, with a fan.

Newton's method on all flows and free pressures at once: each step solves the weighted
Laplacian of the free nodes, so that mass is conserved at every step.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from numbers import Real
from typing import Any

import numpy as np
from scipy.sparse import coo_array, csr_array
from scipy.sparse.csgraph import connected_components
from scipy.sparse.linalg import splu

from elbowroom.layout import (
    BadInput,
    FloatArray,
    IntArray,
    Notice,
    allowed,
    error,
    refusal,
)

from .friction import friction_factor

_DENSITY, _VISCOSITY = 1.2041, 1.8134e-5  # air at 20 °C and sea level
_STEPS = 100
_TOLERANCE = 1e-13  # of the largest pressure
_STILL = 1e-9  # m/s: below it the loss is taken as linear
_NUDGE = 1e-6
_LEAST = 1e-6  # C of a duct that loses nothing: its flow would be anything


@dataclass(frozen=True, eq=False)
class RoundDucts:
    """Ducts of a network in arrays of shape (d,); `ids` name them in what is said."""

    ids: tuple[str, ...]
    start: IntArray
    finish: IntArray
    length: FloatArray
    diameter: FloatArray
    roughness: FloatArray
    loss_sum: FloatArray


@dataclass(frozen=True, slots=True)
class _Fan:
    """Rise of total pressure along one duct: polynomial in the airflow, or none."""

    duct: int
    powers: tuple[float, ...]

    def rise(self, flow: float) -> float:
        return float(np.polynomial.polynomial.polyval(flow, self.powers))

    def slope(self, flow: float) -> float:
        terms = np.polynomial.polynomial.polyder(self.powers)
        return float(np.polynomial.polynomial.polyval(flow, terms))


def solve_network(case: Mapping[str, Any]) -> dict[str, Any]:
    """Solve the airflow of a network of round ducts.

    Parameters
    ----------
    case
        `ducts`: mappings with `id`, `from`, `to`, `length_m`, `diameter_m`,
        `roughness_m`, 0 to 0.02, and `sum_C`, the sum of the duct's loss coefficients
        on its own velocity. `fixed_node_pressures_Pa`: total gauge pressure by node;
        every other node conserves mass. Optional: `fluid` with `density_kg_m3` and
        `viscosity_Pa_s`, both above 0 (air of 20 °C at sea level where they are not
        given); `fan_curve` with `a0`, `a1`, `a2`, `a3` (rise in Pa by powers of the
        flow in m³/s, those left out 0, at `reference_density_kg_m3`, above 0) along
        the duct named by `duct`, else the first; `node_flows_m3_s`, what enters at
        free nodes. Numbers are finite; a number in words, as '100', is none. Other
        keys are passed over.

    Returns
    -------
    result
        `ducts`: by id `flow_m3_s` (positive from `from` to `to`), `velocity_m_s`,
        `reynolds`, `friction_factor`, `velocity_pressure_Pa`, `friction_loss_Pa`,
        `fitting_loss_Pa`, `total_loss_Pa`. `node_total_pressure_Pa` by node.
        `operating_point` of the fan, or None. `mass_residual`: the largest imbalance
        of a free node over the largest flow, 0 where nothing flows. `notes`:
        warnings in words.

    Raises
    ------
    BadInput
        If the mapping is not of that form, with every fault of its ducts and nodes, or
        its flows cannot be settled.

    References
    ----------
    Darcy-Weisbach with Colebrook's factor, as in `friction`; the global gradient
    method of Todini and Pilati, 1988 (from memory).
    """
    if not isinstance(case, Mapping):
        raise refusal("the network", f"{case!r} is no mapping", "give one with ducts")
    ducts, nodes, fixed, entering = _read(case)
    fluid, where = _mapping(case, "fluid"), "the network, fluid"
    density = _above_zero(fluid, "density_kg_m3", _DENSITY, where)
    viscosity = _above_zero(fluid, "viscosity_Pa_s", _VISCOSITY, where)
    fan = _fan(_mapping(case, "fan_curve"), ducts, density)
    flow, pressure = solved(ducts, fixed, entering, fan, density, viscosity)
    return _result(
        ducts, nodes, fixed, entering, flow, pressure, fan, density, viscosity
    )


def solved(
    ducts: RoundDucts,
    fixed: FloatArray,
    entering: FloatArray,
    fan: _Fan | None,
    density: float,
    viscosity: float,
) -> tuple[FloatArray, FloatArray]:
    """Flow of each duct, m³/s, and total pressure at each node, Pa.

    `fixed` is that pressure where it is known, else NaN, and `entering` what enters at
    each node, m³/s.
    """
    count, free = len(ducts.start), np.flatnonzero(np.isnan(fixed))
    row = np.arange(count)
    incidence = coo_array(
        (
            np.concatenate([np.ones(count), -np.ones(count)]),
            (np.concatenate([row, row]), np.concatenate([ducts.start, ducts.finish])),
        ),
        shape=(count, len(fixed)),
    ).tocsr()
    known = np.where(np.isnan(fixed), 0.0, fixed)
    of_free = csr_array(incidence[:, free])
    drive = incidence @ known
    area = np.pi / 4 * ducts.diameter**2
    pressure = known.copy()
    scale = max(float(np.abs(known).max()), abs(fan.rise(0.0)) if fan else 0.0, 1.0)

    def step(slope: FloatArray, constant: FloatArray) -> FloatArray:
        """Flow that conserves mass where each duct's loss is a straight line."""
        weight = 1.0 / slope
        if len(free):
            laplacian = of_free.T @ (of_free * weight[:, None])
            right = entering[free] - of_free.T @ (constant + weight * drive)
            # Symmetric: minimum degree keeps a tree a tree, with no fill at all.
            factors = splu(
                laplacian.tocsc(),
                permc_spec="MMD_AT_PLUS_A",
                diag_pivot_thresh=0.0,
                options={"SymmetricMode": True},
            )
            pressure[free] = factors.solve(right)
        return np.asarray(constant + weight * (incidence @ pressure))

    # First a line through the origin, so that every duct may flow either way.
    guess = 3.0 * area
    slope = _loss(ducts, guess, density, viscosity)[0] / guess
    constant = np.zeros(count)
    if fan is not None:
        constant[fan.duct] = fan.rise(0.0) / slope[fan.duct]
    flow = step(slope, constant)
    worst = np.inf

    def loss_at(flow: FloatArray) -> tuple[FloatArray, FloatArray]:
        loss, slope = _loss(ducts, flow, density, viscosity)
        if fan is not None:
            steep = fan.slope(flow[fan.duct])
            loss[fan.duct] -= fan.rise(flow[fan.duct])
            slope[fan.duct] = max(slope[fan.duct] - steep, 0.1 * slope[fan.duct])
        return loss, slope

    loss, slope = loss_at(flow)
    for _ in range(_STEPS):
        new = step(slope, flow - loss / slope)
        change, flow = new - flow, new
        loss, slope = loss_at(flow)
        before, worst = worst, float(np.abs(incidence @ pressure - loss).max()) / scale
        if worst <= _TOLERANCE or (worst < 1e-10 and worst >= before):
            return flow, pressure
        if worst > before:  # where flows turn round, a whole step leaps to and fro
            flow = flow - change / 2
            loss, slope = loss_at(flow)
    if worst < 1e-9:
        return flow, pressure
    raise refusal(
        "the network",
        f"its airflow does not settle (residual {worst:.1e} of the pressure)",
        "check the fan's curve and the sizes",
    )


def _loss(
    ducts: RoundDucts, flow: FloatArray, density: float, viscosity: float
) -> tuple[FloatArray, FloatArray]:
    """Loss of each duct, signed, Pa, and its slope by the flow."""

    def at(speed: FloatArray) -> FloatArray:
        re = density * speed * ducts.diameter / viscosity
        f = friction_factor(re, ducts.roughness / ducts.diameter)
        total = np.maximum(f * ducts.length / ducts.diameter + ducts.loss_sum, _LEAST)
        return np.asarray(total * 0.5 * density * speed**2)

    area = np.pi / 4 * ducts.diameter**2
    speed = np.maximum(np.abs(flow) / area, _STILL)
    loss = at(speed)
    slope = (at(speed * (1 + _NUDGE)) - loss) / (_NUDGE * speed * area)
    ratio = np.abs(flow) / area / speed  # below the slowest the loss is linear
    return np.sign(flow) * loss * ratio, slope


def _result(
    ducts: RoundDucts,
    nodes: Sequence[str],
    fixed: FloatArray,
    entering: FloatArray,
    flow: FloatArray,
    pressure: FloatArray,
    fan: _Fan | None,
    density: float,
    viscosity: float,
) -> dict[str, Any]:
    area = np.pi / 4 * ducts.diameter**2
    velocity = flow / area
    speed = np.maximum(np.abs(velocity), _STILL)
    re = density * speed * ducts.diameter / viscosity
    factor = friction_factor(re, ducts.roughness / ducts.diameter)
    pv = 0.5 * density * velocity**2
    way = np.sign(flow)  # losses are signed as the flow is
    rubbed = way * factor * ducts.length / ducts.diameter * pv
    fitted = way * ducts.loss_sum * pv
    free = np.isnan(fixed)
    balance = entering.copy()
    np.add.at(balance, ducts.finish, flow)
    np.add.at(balance, ducts.start, -flow)
    most = max(np.abs(flow).max(), _STILL * area.max())  # of none, rounding is no share
    residual = float(np.abs(balance[free]).max(initial=0.0) / most)
    notes, point = [], None
    if fan is not None:
        through = float(flow[fan.duct])
        rise = fan.rise(through)
        point = {"flow_m3_s": through, "rise_Pa": rise}
        if fan.slope(through) > 0.0:
            notes.append(
                "the fan works where its pressure rises with the airflow: it may stall "
                "or surge there; choose a smaller fan or lower the resistance"
            )
        if rise < 0.0 or through < 0.0:
            notes.append("the fan is driven by the network: its curve does not hold")
    columns = {
        "flow_m3_s": flow,
        "velocity_m_s": velocity,
        "reynolds": re,
        "friction_factor": factor,
        "velocity_pressure_Pa": pv,
        "friction_loss_Pa": rubbed,
        "fitting_loss_Pa": fitted,
        "total_loss_Pa": rubbed + fitted,
    }
    rows = zip(*(column.tolist() for column in columns.values()), strict=True)
    return {
        "ducts": {
            name: dict(zip(columns, row, strict=True))
            for name, row in zip(ducts.ids, rows, strict=True)
        },
        "node_total_pressure_Pa": dict(zip(nodes, pressure.tolist(), strict=True)),
        "operating_point": point,
        "mass_residual": residual,
        "notes": notes,
    }


# --- reading the mapping


def _read(
    case: Mapping[str, Any],
) -> tuple[RoundDucts, list[str], FloatArray, FloatArray]:
    entries = case.get("ducts")
    if not isinstance(entries, Sequence) or isinstance(entries, str) or not entries:
        raise refusal("the network", "it has no ducts", "give a list of them in ducts")
    for number, entry in enumerate(entries, start=1):
        if not isinstance(entry, Mapping):
            raise refusal(
                f"the network, duct {number}",
                f"{entry!r} is no mapping",
                "give its id, from, to, length_m, diameter_m, roughness_m and sum_C",
            )
    ids = [str(e.get("id", f"duct {n}")) for n, e in enumerate(entries, start=1)]
    faults = _id_faults(ids)
    rows = {key: _numbers(entries, ids, key, faults) for key in _NUMBERS}
    starts = [str(entry.get("from")) for entry in entries]
    finishes = [str(entry.get("to")) for entry in entries]
    for name, start, finish in zip(ids, starts, finishes, strict=True):
        if start == finish or "None" in (start, finish):
            faults.append(
                error(
                    f"the network, duct '{name}'",
                    f"it goes from {start!r} to {finish!r}",
                    "name two nodes",
                )
            )
    fixed_by_name = _by_node(case, "fixed_node_pressures_Pa", "pressure in Pa", faults)
    nodes = list(dict.fromkeys([*fixed_by_name, *starts, *finishes]))
    place = {name: number for number, name in enumerate(nodes)}
    fixed = np.full(len(nodes), np.nan)
    for name, value in fixed_by_name.items():
        fixed[place[name]] = value
    entering = np.zeros(len(nodes))
    at_ducts = {*starts, *finishes}
    for name in fixed_by_name:
        if name not in at_ducts:
            faults.append(
                error(
                    f"the network, node '{name}'",
                    "its pressure is given, but no duct goes there",
                    "name a node of a duct, or leave it out",
                )
            )
    flows = _by_node(case, "node_flows_m3_s", "airflow in m3/s", faults)
    for name, value in flows.items():
        if name not in place or not np.isnan(fixed[place[name]]):
            faults.append(
                error(
                    f"the network, node '{name}'",
                    "its airflow is given, but it is no free node",
                    "name a node of a duct whose pressure is not fixed",
                )
            )
            continue
        entering[place[name]] = value
    begin = np.array([place[name] for name in starts])
    end = np.array([place[name] for name in finishes])
    links = coo_array((np.ones(len(begin)), (begin, end)), shape=(len(nodes),) * 2)
    _, part = connected_components(links, directed=False)
    held = set(part[~np.isnan(fixed)].tolist())
    loose = [
        name for name, of in zip(nodes, part.tolist(), strict=True) if of not in held
    ]
    if loose and not faults:  # a pressure at fault is none that is missing
        faults.append(
            error(
                "the network",
                f"no pressure is fixed anywhere near node '{loose[0]}'",
                "fix the pressure of one node of each part",
            )
        )
    if faults:
        raise BadInput(faults)
    return (
        RoundDucts(tuple(ids), begin, end, *(rows[key] for key in _NUMBERS)),
        nodes,
        fixed,
        entering,
    )


def _id_faults(ids: Sequence[str]) -> list[Notice]:
    if len(set(ids)) == len(ids):
        return []
    seen: set[str] = set()
    faults = []
    for name in ids:
        if name in seen:
            faults.append(
                error(
                    f"the network, duct '{name}'",
                    "two ducts go by that id",
                    "rename one",
                )
            )
        seen.add(name)
    return faults


def _numbers(
    entries: Sequence[Mapping[str, Any]],
    ids: Sequence[str],
    key: str,
    faults: list[Notice],
) -> FloatArray:
    """A number of every duct; a fault for each that is none."""
    low, high, words = _NUMBERS[key]
    values = [entry.get(key) for entry in entries]
    if set(map(type, values)) == {float}:
        numbers = np.array(values, dtype=np.float64)
        if (np.isfinite(numbers) & (numbers >= low) & (numbers <= high)).all():
            return numbers
    before = len(faults)
    for name, value in zip(ids, values, strict=True):
        number = _finite(value)
        if number is None or not low <= number <= high:
            where = f"the network, duct '{name}'"
            faults.append(error(where, f"{key} is {value!r}", f"write {words}"))
    if len(faults) > before:
        return np.ones(len(values))
    return np.array(values, dtype=np.float64)  # numbers of other types, as numpy's


_NUMBERS = {
    "length_m": (0.0, np.inf, "a length in m, 0 or more"),
    "diameter_m": (1e-6, np.inf, "a diameter in m, above 0"),
    "roughness_m": (
        allowed.ROUGHNESS.low,
        allowed.ROUGHNESS.high,
        f"a roughness of {allowed.ROUGHNESS.words}",
    ),
    "sum_C": (0.0, np.inf, "the sum of loss coefficients, 0 or more"),
}


def _finite(value: object) -> float | None:
    """A finite number, Python's or numpy's; None if it is none."""
    if isinstance(value, (bool, np.bool_)) or not isinstance(value, Real):
        return None
    try:
        number = float(value)
    except OverflowError:  # an integer of 400 digits
        return None
    return number if np.isfinite(number) else None


def _mapping(case: Mapping[str, Any], key: str) -> Mapping[str, Any]:
    """What the case has under a key; empty where that is nothing."""
    found = case.get(key)
    if found is None:
        return {}
    if not isinstance(found, Mapping):
        raise refusal(f"the network, {key}", f"{found!r} is no mapping", "give one")
    return found


def _by_node(
    case: Mapping[str, Any], key: str, what: str, faults: list[Notice]
) -> dict[str, float]:
    """A number by node; a fault for each that is none."""
    found = {}
    for name, value in _mapping(case, key).items():
        number = _finite(value)
        if number is None:
            faults.append(
                error(
                    f"the network, node '{name}'",
                    f"{value!r} in {key} is no finite number",
                    f"write a {what}, or leave the node out",
                )
            )
        found[str(name)] = 0.0 if number is None else number
    return found


def _number_of(table: Mapping[str, Any], key: str, usual: float, where: str) -> float:
    number = _finite(table.get(key, usual))
    if number is None:
        raise refusal(
            where, f"{key} is {table[key]!r}, no finite number", "write a number"
        )
    return number


def _above_zero(table: Mapping[str, Any], key: str, usual: float, where: str) -> float:
    number = _number_of(table, key, usual, where)
    if number <= 0.0:
        raise refusal(where, f"{key} is {number:g}", "write a number above 0")
    return number


def _fan(curve: Mapping[str, Any], ducts: RoundDucts, density: float) -> _Fan | None:
    if not curve:
        return None
    where = "the network, fan_curve"
    name = str(curve.get("duct", ducts.ids[0]))
    if name not in ducts.ids:
        raise refusal(
            where,
            f"there is no duct '{name}'",
            f"name one of {', '.join(ducts.ids[:8])}",
        )
    ratio = density / _above_zero(curve, "reference_density_kg_m3", density, where)
    powers = tuple(
        _number_of(curve, f"a{power}", 0.0, where) * ratio for power in range(4)
    )
    return _Fan(ducts.ids.index(name), powers)
