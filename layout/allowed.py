"""What a field may be that somebody writes: the words and the ranges of each class.

The readers refuse by the same ranges, in their own words of the file and its keys;
`check_fields` and `check_value` refuse what is made in Python.
"""

import math
import sys
from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum
from itertools import pairwise
from numbers import Real
from typing import Any

_FINITE = sys.float_info.max
_SAME = 1e-9  # share by which one airflow may differ in two units
# How a message writes a field, as it stands there; other quantities have no unit.
_SI = {
    "length": "m",
    "airflow": "m³/s",
    "velocity": "m/s",
    "pressure": "Pa",
    "friction rate": "Pa/m",
    "temperature": "K",
    "heat transmission": "W/(m²K)",
    "power": "W",
    "angle": "rad",
    "time": "s",
}


@dataclass(frozen=True, slots=True)
class Range:
    """What a number may be, in SI; NaN never is, and infinity only where it is said.

    Parameters
    ----------
    dimension
        What it measures.
    low, high
        Its ends.
    is_above
        Whether it must be above `low`, and not only no less.
    """

    dimension: str
    low: float = -_FINITE
    high: float = _FINITE
    is_above: bool = False

    def holds(self, value: float) -> bool:
        """Whether a number lies within."""
        return self.low <= value <= self.high and not (
            self.is_above and value == self.low
        )

    @property
    def words(self) -> str:
        """The range in words, with its unit.

        Examples
        --------
        >>> Range("length", 0.0, 0.02).words, above_zero("airflow").words
        ('0 to 0.02 m', 'above 0 m³/s and finite')
        """
        unit = f" {_SI[self.dimension]}" if self.dimension in _SI else ""
        above = "above " if self.is_above else ""
        if self.high < _FINITE:
            joint = "and at most" if above else "to"
            return f"{above}{self.low:.10g} {joint} {self.high:.10g}{unit}"
        if self.low == -_FINITE:
            return "a finite number"
        least = f"{above or 'at least '}{self.low:.10g}{unit}"
        return least if math.isinf(self.high) else f"{least} and finite"


def above_zero(dimension: str, high: float = _FINITE) -> Range:
    """Range of what must be more than nothing."""
    return Range(dimension, 0.0, high, is_above=True)


DECLARED_AIRS = ("site", "standard air")
SOURCES = ("fan", "plenum")
USES = ("residential", "commercial", "industrial")
NOISE_TARGETS = ("RC 25", "RC 35", "RC 45")
STANDS = ("in the room", "above a ceiling", "in a shaft")
LEAKAGE_CLASSES = ("A", "B", "C", "D")
LEAKAGE_NUMBER = above_zero("class number", 500.0)
SPLITTERS = (1, 2, 3)
ROUGHNESS = Range("length", 0.0, 0.02)  # the walls of no duct are rougher
COMPRESSION = Range("share", 0.0, 0.5)
PRESSURE = Range("pressure", 0.0)
AIRFLOW = above_zero("airflow")
# What a file may declare of it; that of a duct at hand, worked out, has no end.
VELOCITY_PRESSURE = Range("pressure", 0.0, 1e4)
_ROUNDING = 1e-9  # K: -60 °C and 150 °C in K, whichever unit they were written in
_TEMPERATURE = Range("temperature", 213.15 - _ROUNDING, 423.15 + _ROUNDING)
_LOSS = Range("pressure", 0.0, 1e5)
_COEFFICIENT = Range("coefficient", 0.0, 1e6)
_EFFICIENCY = above_zero("share", 1.0)

AIR = {
    "temperature": _TEMPERATURE,
    "altitude": Range("length", -500.0, 6000.0),
    "pressure": Range("pressure", 3e4, 1.2e5),
    "humidity": Range("share", 0.0, 1.0),
}
FAN = {
    # A file declares no fan of 0 Pa; a study of fans may begin at one.
    "external_static_pressure": PRESSURE,
    "total_pressure": PRESSURE,
    "efficiency": _EFFICIENCY,
    "drive_efficiency": _EFFICIENCY,
    "hours": Range("time", 0.0, 8784 * 3600.0),
    "inlet_velocity_pressure": PRESSURE,
    "outlet_velocity_pressure": PRESSURE,
}
CHECKS = {
    "around": _TEMPERATURE,
    "transmission": Range("heat transmission", 0.0, 50.0),
    "dew_point": _TEMPERATURE,
    "least_flow": AIRFLOW,
    "most_flow": AIRFLOW,
    "cooling": above_zero("power"),
}
ROOMS = {"difference": above_zero("temperature"), "total": AIRFLOW}
ELBOW = {
    "radius_ratio": Range("ratio", 0.5, 20.0),  # of a throat radius of nothing, and up
    "throat_radius": Range("length", 0.0, 20.0),
    "centreline_radius": above_zero("length"),
    "vane_spacing": Range("length", 0.02, 0.12),
}
TRANSITION = {
    "included_angle": Range("angle", math.radians(1.0), math.pi),
    "length": above_zero("length"),
}
TERMINAL = {
    "loss": _LOSS,
    "coefficient": _COEFFICIENT,
    "load": above_zero("power"),
    "share": above_zero("share", 1.0),
}
COMPONENT = {
    "loss": _LOSS,
    "airflow": AIRFLOW,
    "coefficient": _COEFFICIENT,
}
LIMITS = {"highest": above_zero("length"), "widest": above_zero("length")}
RUN_WORDS = {"roll": Range("angle")}
ATTRIBUTES = {
    "roughness": ROUGHNESS,
    "roll": Range("angle"),
    "bend_radius": above_zero("length"),
}
SCHEDULE = {
    "roughness": ROUGHNESS,
    "compression": COMPRESSION,
    "clearance": Range("length", 0.0, 10.0),
    "insulation": Range("length", 0.0, 1.0),
}


def check_fields(
    made: object, ranges: Mapping[str, Range], **words: tuple[Any, ...]
) -> None:
    """Refuse an object with a field that is not None and not what it may be.

    Parameters
    ----------
    made
        The object.
    ranges
        What numbers may be, by field.
    **words
        What others may be, by field.

    Raises
    ------
    ValueError
        In one sentence: the field, its value, what it may be.
    """
    for allowed in (ranges, words):
        for name, may_be in allowed.items():
            value = getattr(made, name)
            if value is not None:
                check_value(f"{type(made).__name__}: {name}", value, may_be)


def check_value(what: str, value: object, may_be: Range | tuple[Any, ...]) -> None:
    """Refuse a value that is not what it may be, as `check_fields`.

    Examples
    --------
    >>> check_value("AirSpec: pressure", 101.3, AIR["pressure"])
    Traceback (most recent call last):
        ...
    ValueError: AirSpec: pressure is 101.3 Pa; it must be 30000 to 120000 Pa
    """
    if isinstance(may_be, tuple):
        if value in may_be:
            return
        *others, last = map(_shown, may_be)
        known = f"{', '.join(others)} or {last}" if others else last
        raise ValueError(f"{what} is {_shown(value)}; it must be {known}")
    if isinstance(value, bool) or not isinstance(value, Real):
        raise ValueError(
            f"{what} is {_shown(value)}, no number; it must be {may_be.words}"
        )
    try:
        number = float(value)
    except OverflowError:  # an integer of 400 digits
        number = math.inf
    if not may_be.holds(number):
        unit = f" {_SI[may_be.dimension]}" if may_be.dimension in _SI else ""
        raise ValueError(f"{what} is {value}{unit}; it must be {may_be.words}")


def _shown(value: object) -> str:
    """A word as it is written in Python."""
    if isinstance(value, Enum):
        return f"{type(value).__name__}.{value.name}"
    return repr(value)


def curve_fault(points: tuple[tuple[float, float], ...]) -> tuple[str, str] | None:
    """What is wrong with the points of a fan's curve, and how to mend it, or None.

    Parameters
    ----------
    points
        Airflow, m³/s, and pressure, Pa, of each.
    """
    if len(points) < 2:
        return "a curve has two points or more", "write more"
    flows, pressures = zip(*points, strict=True)
    if not all(map(math.isfinite, (*flows, *pressures))):
        return "a point is no finite number", "correct it"
    # 700 L/s is 0.7 m3/s, though not to the last digit.
    if flows[0] < 0.0 or any(b - a <= _SAME * b for a, b in pairwise(flows)):
        return "its airflows do not rise from point to point", "sort them"
    if min(pressures) < 0.0:
        return (
            f"point {pressures.index(min(pressures)) + 1} has a pressure below zero, "
            "where the fan holds the air back",
            "correct it, or end the curve where its pressure is nothing",
        )
    if pressures[-1] > pressures[0] and all(b >= a for a, b in pairwise(pressures)):
        return (
            "its pressure rises all along, and a fan gives less the more air it moves",
            "correct the points, or add those beyond its highest pressure",
        )
    return None
