"""What a field may be that somebody writes: the words and the ranges of each class.

The readers refuse by the same ranges, in their own words of the file and its keys;
`check_fields` and `check_value` refuse what is made in Python.
"""

import math
import os
import sys
from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum
from itertools import pairwise
from numbers import Integral, Real
from typing import Any, TypeVar

import numpy as np

_FINITE = sys.float_info.max
_LONGEST = 80  # signs of a value in a message
Triple = tuple[float, float, float]
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


Kind = Range | tuple[Any, ...] | type
T = TypeVar("T")
# By class: each checked field, what it has by itself, what it may be; kept for speed.
_CHECKED: dict[type, tuple[tuple[str, object, Kind], ...]] = {}


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
_COORDINATE = Range("length")
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
    "flexible_length": above_zero("length"),
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


def check_fields(made: Any, ranges: Mapping[str, Range], **words: Kind) -> None:
    """Refuse an object with a field that is not what it may be.

    What a field has by itself is taken, as None mostly is.

    Parameters
    ----------
    made
        The object; all of its class are checked as the first one was.
    ranges
        What numbers may be, by field.
    **words
        What others may be, by field: one of some words, or of a class; a text that is
        not blank where that is `str`.

    Raises
    ------
    ValueError
        In one sentence: the field, its value, what it may be.
    """
    checked = _CHECKED.get(type(made))
    if checked is None:
        fields = made.__dataclass_fields__
        checked = tuple(
            (name, fields[name].default, may_be)
            for name, may_be in {**ranges, **words}.items()
        )
        _CHECKED[type(made)] = checked
    for name, default, may_be in checked:
        value = getattr(made, name)
        if value is not default and not fits(value, may_be):
            check_value(f"{type(made).__name__}: {name}", value, may_be)


def check_value(what: str, value: object, may_be: Kind) -> None:
    """Refuse a value that is not what it may be, as `check_fields`.

    Examples
    --------
    >>> check_value("AirSpec: pressure", 101.3, AIR["pressure"])
    Traceback (most recent call last):
        ...
    ValueError: AirSpec: pressure is 101.3 Pa; it must be 30000 to 120000 Pa
    """
    if fits(value, may_be):
        return
    said, must_be = _shown(value), _words(may_be)
    if isinstance(may_be, Range):
        is_number = isinstance(value, Real) and not isinstance(value, bool)
        unit = f" {_SI[may_be.dimension]}" if may_be.dimension in _SI else ""
        said = f"{value}{unit}" if is_number else f"{said}, no number"
    elif may_be is str and isinstance(value, str):
        must_be += " that is not blank"
    raise ValueError(f"{what} is {said}; it must be {must_be}")


def fits(value: object, may_be: Kind) -> bool:
    """Whether a value is what it may be; the usual ones first, for speed."""
    kind = type(value)
    if kind is may_be and kind is not str:
        return True
    if isinstance(may_be, Range):
        if kind is float:
            return may_be.holds(value)  # type: ignore[arg-type]
        if kind is bool or not isinstance(value, Real):
            return False
        try:
            return may_be.holds(float(value))
        except OverflowError:  # an integer of 400 digits
            return may_be.holds(math.inf)
    if isinstance(may_be, tuple):
        return kind is not bool and any(_is_one(value, word) for word in may_be)
    if may_be is bool:
        return isinstance(value, np.bool_)
    if may_be is str:
        return isinstance(value, str) and bool(value.strip())
    return isinstance(value, may_be)


def _is_one(value: object, word: object) -> bool:
    """Whether a value is a word, of its kind too: a 2 is no member of an enum."""
    if value is word:
        return True
    kind = Integral if type(word) is int else type(word)
    return isinstance(value, kind) and value == word


def _words(may_be: Kind) -> str:
    """What a value may be, in words."""
    if isinstance(may_be, Range):
        return may_be.words
    if isinstance(may_be, tuple):
        *others, last = map(_shown, may_be)
        return f"{', '.join(others)} or {last}" if others else last
    named: dict[type, str] = {bool: "True or False", str: "a text"}
    return named.get(may_be, f"of the class {may_be.__name__}")


def _shown(value: object) -> str:
    """A word as it is written in Python, on one line and cut short."""
    if isinstance(value, Enum):
        return f"{type(value).__name__}.{value.name}"
    text = " ".join(repr(value).split())
    return text if len(text) <= _LONGEST else f"{text[: _LONGEST - 3]}..."


def path_text(value: Any) -> Any:
    """Take the name of a file from a path too; what is neither as it is."""
    return os.fspath(value) if isinstance(value, os.PathLike) else value


def several(what: str, value: Any, of: type[T]) -> tuple[T, ...]:
    """Take objects of a class, one after the other, from whatever holds some.

    Raises
    ------
    ValueError
        In one sentence, if it holds none that way, or others.

    Examples
    --------
    >>> several("Drawing: notices", [1, 2], int)
    (1, 2)
    """
    try:
        taken = None if isinstance(value, str | Mapping) else tuple(value)
    except TypeError:
        taken = None
    if taken is None:
        raise ValueError(
            f"{what} is {_shown(value)}; it must be a list of {of.__name__}"
        )
    for number, one in enumerate(taken):
        if not isinstance(one, of):
            check_value(f"{what}[{number}]", one, of)
    return taken


def place(what: str, value: Any) -> Triple:
    """Take a place, m, from anything that holds three numbers.

    Raises
    ------
    ValueError
        In one sentence, if it holds something else.

    Examples
    --------
    >>> place("SourceSpec: at", np.array([0, 0, 3]))
    (0.0, 0.0, 3.0)
    """
    try:
        x, y, z = value
    except (TypeError, ValueError):
        x = y = z = None
    if not all(fits(part, _COORDINATE) for part in (x, y, z)):
        raise ValueError(f"{what} is {_shown(value)}; it must be three finite numbers")
    return float(x), float(y), float(z)


def direction(what: str, value: Any) -> Triple:
    """Take a direction, as `place`, of a length that no sum overflows.

    Its largest part is then from 1 to 2, not rounded: the square of a part may else be
    beyond all numbers, or nothing.

    Examples
    --------
    >>> direction("RunWords: up", (0, 0, 3e200))[:2]
    (0.0, 0.0)
    """
    parts = place(what, value)
    if not any(parts):
        raise ValueError(f"{what} is {_shown(value)}; it must not be all zeros")
    power = math.frexp(max(map(abs, parts)))[1] - 1
    x, y, z = (math.ldexp(part, -power) for part in parts)
    return x, y, z


def pairs(what: str, value: Any) -> tuple[tuple[float, float], ...]:
    """Take the points of a fan's curve, also from an array; ValueError for others."""
    try:
        points = tuple((flow, pressure) for flow, pressure in value)
    except (TypeError, ValueError):
        points = ((None, None),)
    if all(
        isinstance(one, Real) and not isinstance(one, bool)
        for point in points
        for one in point
    ):
        return tuple((float(flow), float(pressure)) for flow, pressure in points)
    raise ValueError(
        f"{what} is {_shown(value)}; it must be pairs of an airflow, m³/s, and a "
        "pressure, Pa"
    )


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
