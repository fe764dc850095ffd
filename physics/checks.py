"""Checks of an analysed layout, each with its limit, its source and its places."""

from dataclasses import replace

import numpy as np

from elbowroom.layout import sum_from_root, units

from .analysis import Analysis
from .check import Check, of_ducts
from .power import NO_FAN, OFF_CURVE, OWN, TOO_WEAK, FanPower, fan_power
from .pressure_checks import leaking, static_at_terminals
from .rooms import SPECIFIC_HEAT
from .sizes import FLATTEST
from .velocity_checks import made_noise, noise_criterion, square_throats, velocities
from .warmth_checks import warmth

_PRACTICE = "common practice, no published source"
_PER_TON = 350.0, 450.0  # cfm
_FLEXIBLE_MOST = 5 * units.FOOT  # and 1.5 m, which rounds to it, is within
_FLEXIBLE_SOURCE = "Uniform Mechanical Code 603.4.1, which sets residences none"
_MOST_COMPRESSION = 0.04  # what is left of it when it is put up with care


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
        *velocities(analysis),
        *noise_criterion(analysis),
        *square_throats(analysis),
        _aspect(analysis),
        *_flexible(analysis),
        *made_noise(analysis),
        *static_at_terminals(analysis),
        *leaking(analysis),
        *warmth(analysis),
        *_equipment(analysis),
    ]
    return sorted(found, key=lambda check: check.is_kept)


def power_of(analysis: Analysis) -> FanPower:
    """Power of the fan at the design airflow and its total pressure there.

    A fan that does not give what the layout needs would not carry the airflow, and the
    weaker it is the smaller its bill would look: there, and where its pressure is not
    known, the power is that of a fan which gives just what the layout needs.

    Parameters
    ----------
    analysis
        The layout; with its returns where it has any (see `with_returns`).
    """
    fan = analysis.graph.schedule.fan
    system, air = analysis.system, analysis.conditions.air
    pressure = system.critical_loss + system.declared_losses
    basis = OFF_CURVE if fan.curve else NO_FAN
    if system.fan_pressure is not None:
        own = system.fan_pressure
        if system.fan_kind == "external static":
            own += system.outlet_velocity_pressure
            own -= system.inlet_velocity_pressure
        basis = TOO_WEAK
        if own >= 0.0 and not system.is_short:
            pressure, basis = own, OWN
    return fan_power(
        analysis.flow,
        pressure,
        efficiency=fan.efficiency,
        drive_efficiency=fan.drive_efficiency,
        seconds=fan.hours,
        heat_capacity=air.density * SPECIFIC_HEAT,
        basis=basis,
    )


def _aspect(analysis: Analysis) -> Check:
    ducts = analysis.graph.ducts
    long = np.maximum(ducts.width, ducts.height)
    return of_ducts(
        analysis,
        "longer side over shorter side",
        "ratio",
        long / np.minimum(ducts.width, ducts.height),
        np.full(len(long), FLATTEST),
        _PRACTICE,
        "common practice",
        "take a squarer section: it weighs less and is quieter",
    )


def _flexible(analysis: Analysis) -> list[Check]:
    ducts, flexible = analysis.graph.ducts, analysis.conditions.is_flexible
    if not flexible.any():
        return []
    # A piece is as long as what is flexible before it with it, bends and all; what is
    # rigid is never the worst.
    goes_on = flexible & flexible[ducts.parent]
    length = sum_from_root(np.where(goes_on, ducts.parent, -1), ducts.length)
    pressed = np.where(flexible, analysis.conditions.compression, -1.0)
    spec = analysis.graph.schedule.checks
    said = spec.flexible_length
    longest = of_ducts(
        analysis,
        "length of flexible duct",
        "length",
        np.where(flexible, length, 0.0),
        np.full(len(flexible), said or _FLEXIBLE_MOST),
        "declared in the schedule" if said else _FLEXIBLE_SOURCE,
        "declared" if said else "memory",
        "run rigid duct further, and pull the flexible piece tight: pushed "
        "together by a tenth it rubs about twice as much; where the local code "
        "allows more, write flexible_length under [checks]",
    )
    if said is None and spec.use == "residential":
        longest = replace(longest, limit=None, failing=(), is_kept=True, remedy="")
    return [
        longest,
        of_ducts(
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


def _equipment(analysis: Analysis) -> list[Check]:
    spec, flow = analysis.graph.schedule.checks, analysis.flow
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
                "declared",
                "" if fine else "keep to the maker's limits",
            )
        )
    if spec.cooling is not None:
        least, most = (many * units.UNITS["cfm per ton"].factor for many in _PER_TON)
        share = flow / spec.cooling
        fine = least <= share <= most
        found.append(
            Check(
                "airflow for cooling, 47 to 60.4 L/s per kW (350 to 450 cfm per ton)",
                "airflow for cooling",
                share,
                most if share > (least + most) / 2 else least,
                "at the fan",
                () if fine else ("at the fan",),
                fine,
                "practice, by climate and coil: " + _PRACTICE,
                "common practice",
                "" if fine else "ask the maker of the coil; heating has other limits",
            )
        )
    return found
