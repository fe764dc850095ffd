"""Units at the edge: one strict table, so that no bare number is ever guessed at."""

import math
import re
from dataclasses import dataclass

from . import fractions
from .faults import refusal
from .nearest import nearest
from .sections import (
    LARGEST_SIDE,
    SMALLEST_SIDE,
    Section,
    flat_oval,
    rectangular,
    round_section,
)

INCH = 0.0254
FOOT = 0.3048
POUND = 0.45359237
INCH_WATER = 249.08891  # Pa, the conventional inch of water at 4 °C
STANDARD_GRAVITY = 9.80665


LENGTHS = {"m": "m", "mm": "mm", "cm": "cm", "in": "in", "ft": "ft"}  # of coordinates


def check_frame(unit: str | None, up: str | None, option: str = "") -> None:
    """Refuse a unit of coordinates or an axis that is not known.

    Parameters
    ----------
    unit, up
        What was said; None where nothing was.
    option
        How the names of the options that say it begin; empty for parameters.

    Raises
    ------
    BadInput
        In one sentence.
    """
    if unit is not None and unit not in LENGTHS:
        raise refusal(
            f"{option}unit", f"'{unit}' is not known", "write m, mm, cm, in or ft"
        )
    if up is not None and up not in ("y", "z"):
        raise refusal(f"{option}up", f"'{up}' is not known", "write y or z")


@dataclass(frozen=True, slots=True)
class Unit:
    """One way to write a quantity.

    Parameters
    ----------
    dimension
        What it measures.
    factor
        SI value of one of it.
    offset
        Added before the factor is applied; only temperatures have one.
    """

    dimension: str
    factor: float
    offset: float = 0.0


def _table() -> dict[str, Unit]:
    table: dict[str, Unit] = {}

    def put(dimension: str, factor: float, *names: str, offset: float = 0.0) -> None:
        for name in names:
            table[name] = Unit(dimension, factor, offset)

    put("length", 1.0, "m", "metre", "metres")
    put("length", 1e-3, "mm")
    put("length", 1e-2, "cm")
    put("length", INCH, "in", "in.", "inch", "inches", '"', "″", "”", "''")
    put("length", FOOT, "ft", "foot", "feet", "'", "′", "’")
    put("area", 1.0, "m2", "m²")
    put("area", FOOT**2, "ft2", "ft²")
    put("airflow", 1.0, "m3/s", "m³/s")
    put("airflow", 1 / 3600, "m3/h", "m³/h", "m3/hr", "m³/hr", "cmh")
    put("airflow", 1 / 60, "m3/min", "m³/min")
    put("airflow", 1e-3, "L/s", "l/s", "lps")
    put("airflow", FOOT**3 / 60, "cfm", "ft3/min", "ft³/min")
    put("velocity", 1.0, "m/s")
    put("velocity", FOOT / 60, "fpm", "ft/min")
    put("velocity", FOOT, "ft/s")
    put("pressure", 1.0, "Pa")
    put("pressure", 1e3, "kPa")
    put("pressure", 100.0, "hPa", "mbar")
    put("pressure", INCH_WATER, "in.wg", "in. wg", "in wg", "inwg", "in.wc", "in wc")
    put("pressure", INCH_WATER, '" wg', '"wg', "in w.g.", "inH2O", "in H2O")
    put("pressure", STANDARD_GRAVITY, "mm.wg", "mm wg", "mmwg")
    put("friction rate", 1.0, "Pa/m")
    per_100_ft = INCH_WATER / (100 * FOOT)
    put("friction rate", per_100_ft, "in.wg/100 ft", "in.wg/100ft", "in wg/100 ft")
    put("temperature", 1.0, "K")
    put("temperature", 1.0, "C", "°C", "degC", offset=273.15)
    put("temperature", 5 / 9, "F", "°F", "degF", offset=459.67)
    put("angle", 1.0, "rad")
    put("angle", math.pi / 180, "deg", "°", "degree", "degrees")
    put("density", 1.0, "kg/m3", "kg/m³")
    put("density", POUND / FOOT**3, "lb/ft3", "lb/ft³")
    put("power", 1.0, "W")
    put("power", 1e3, "kW")
    put("power", 745.699872, "hp")
    put("power", 0.29307107, "Btu/h", "BTU/h")
    ton = 3516.8528
    put("power", ton, "ton", "tons", "ton of refrigeration")
    put("airflow for cooling", 1.0, "m3/s per W", "m³/s per W")
    put("airflow for cooling", 1e-6, "L/s per kW", "l/s per kW")
    put("airflow for cooling", FOOT**3 / 60 / ton, "cfm per ton")
    put("share", 0.01, "%", "percent")
    put("heat transmission", 1.0, "W/m2K", "W/m²K", "W/(m²K)", "W/(m2K)")
    put("heat transmission", 5.678263, "Btu/h ft2 F", "Btu/(h ft2 F)")
    put("time", 3600.0, "h", "hours")
    return table


UNITS = _table()
# One metric way to write each, and one in inch-pound units where there is another.
_EXAMPLES = {
    "length": '"300 mm" or "12 in"',
    "area": '"0.5 m2" or "5 ft2"',
    "airflow": '"0.2 m3/s" or "400 cfm"',
    "velocity": '"5 m/s" or "1000 fpm"',
    "pressure": '"25 Pa" or "0.1 in.wg"',
    "friction rate": '"0.8 Pa/m" or "0.1 in.wg/100 ft"',
    "temperature": '"20 C" or "68 F"',
    "angle": '"30 deg"',
    "density": '"1.2 kg/m3" or "0.075 lb/ft3"',
    "power": '"400 W" or "0.5 hp"',
    "airflow for cooling": '"50 L/s per kW" or "400 cfm per ton"',
    "share": '"50 %"',
    "heat transmission": '"0.7 W/m2K" or "0.12 Btu/h ft2 F"',
    "time": '"3000 h"',
}
# Beyond these, in SI, a value is a slip and its sums overflow; own rule, far above any
# building: survey coordinates are millions of metres, a year has 3.2e7 seconds.
_LARGEST = {
    "length": 1e8,
    "area": 1e8,
    "airflow": 1e5,
    "velocity": 1e4,
    "pressure": 1e7,
    "friction rate": 1e6,
    "temperature": 1e5,
    "angle": 1e4,
    "density": 1e5,
    "power": 1e10,
    "airflow for cooling": 1e5,
    "share": 1e4,
    "heat transmission": 1e5,
    "time": 1e9,
}
_LEAST = {
    "airflow": 1e-12
}  # less is a slip too, but nothing at all; lengths may be tiny
_NUMBER = r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?"
_QUANTITY = re.compile(rf"\s*({_NUMBER})\s*(.*?)\s*")
_MARK = re.compile(r"\d[,'’\s]\d")  # within a number, of which only one is read
_IN = r"(?:in\.?|inch|inches|\"|″|”|'')"
_FEET_INCHES = re.compile(
    rf"\s*(-?\d+)\s*(?:ft|feet|foot|'|′)\s*({fractions.FRACTION}|{_NUMBER})\s*{_IN}\s*"
)
# Inches alone are written with fractions; in another unit 1/2 is refused.
_BROKEN_INCHES = re.compile(rf"\s*([+-]?)({fractions.FRACTION})\s*{_IN}\s*")


def quantity(text: object, dimension: str, where: str) -> float:
    """Read a quantity with its unit.

    Parameters
    ----------
    text
        What was written, such as '0.4 m3/s', '12 in', '3 1/4 in' or '1 ft 6 in'.
    dimension
        What it has to measure: one of those of `UNITS`.
    where
        Place of the text, for the message.

    Returns
    -------
    value
        In SI units.

    Raises
    ------
    BadInput
        If it is no number, has no unit or one that measures something else, is not
        finite, or more than any building has.

    Examples
    --------
    >>> round(quantity("100 cfm", "airflow", "a schedule"), 6)
    0.047195
    >>> round(quantity("1 ft 6 in", "length", "a schedule"), 4)
    0.4572
    >>> round(quantity("3 1/4 in", "length", "a schedule"), 5)
    0.08255
    """
    example = _EXAMPLES[dimension]
    if isinstance(text, bool) or not isinstance(text, (str, int, float)):
        kinds = {bool: "true or false", list: "a list", dict: "a table"}
        said = kinds.get(type(text), f"'{text}'")
        raise refusal(where, f"{said} is no {dimension}", f"write it like {example}")
    if not isinstance(text, str):
        raise refusal(
            where,
            f"the {dimension} {text} has no unit",
            f"write the unit too, like {example}",
        )
    is_length = dimension == "length"
    if is_length and (both := _FEET_INCHES.fullmatch(text)):
        feet, inches = float(both[1]), _inches(both[2], text, where)
        # By the sign as it is written: -0 ft has one too.
        value = feet * FOOT + math.copysign(inches, feet) * INCH
    elif is_length and (part := _BROKEN_INCHES.fullmatch(text)):
        value = _inches(part[2], text, where) * INCH
        value = -value if part[1] == "-" else value
    else:
        if broken := re.match(rf"\s*[+-]?{fractions.FRACTION}", text):
            way = f"write a decimal number, like {example}"
            raise refusal(
                where,
                f"'{text.strip()}' has the fraction '{broken[0].strip()}', and "
                "fractions are read of lengths in inches alone",
                f'{way}, or inches, like "3 1/4 in"' if is_length else way,
            )
        match = _QUANTITY.fullmatch(text)
        if match is None or _MARK.search(text):
            raise refusal(
                where,
                f"'{text}' is no {dimension}{_of_comma(text)}",
                f"write it like {example}",
            )
        unit = _unit(match[2], dimension, text, where)
        value = (float(match[1]) + unit.offset) * unit.factor
    if not math.isfinite(value):
        raise refusal(where, f"'{text}' is not finite", f"write it like {example}")
    if slip := beyond_buildings(value, dimension):
        raise refusal(
            where, f"'{text}' is {slip}", f"correct it; write it like {example}"
        )
    return value


def beyond_buildings(value: float, dimension: str) -> str:
    """How a value in SI is a slip, in words; empty where it may be meant."""
    size = abs(value)
    if size > _LARGEST[dimension]:
        return f"more {dimension} than any building has"
    if 0.0 < size < _LEAST.get(dimension, 0.0):
        return f"less {dimension} than any building has"
    return ""


def _of_comma(text: str) -> str:
    """Say of a comma or another mark within a number that it is not read."""
    match = re.search(r"[\d,]*\d,\d[\d,]*", text)
    if match is None and _MARK.search(text):
        return " (no blank or apostrophe is read within a number)"
    if match is None:
        return ""
    whole = match[0].replace(",", "")
    if re.fullmatch(r"\d{1,3}(,\d{3})+", match[0]):
        if match[0].count(",") > 1:
            return f" (a comma is not read; write {whole})"
        as_point = match[0].replace(",", ".")
        return (
            f" (a comma is not read: write {whole} if it parts the thousands, "
            f"{as_point} if it is a decimal comma)"
        )
    return " (a decimal comma is not read)"


def _inches(number: str, text: str, where: str) -> float:
    """Value of a number that may have a fraction."""
    if not fractions.seen_in(number):
        return float(number)
    value = fractions.inches(number)
    if value is None:
        raise refusal(
            where,
            f"'{number}' in '{text.strip()}' is no fraction of an inch by halves, "
            "quarters and so on to 64ths, less than one",
            'write it like "3 1/4 in", or as a decimal number',
        )
    return value


def _unit(name: str, dimension: str, text: str, where: str) -> Unit:
    name = re.sub(r"\s+", " ", name)
    mine = [key for key, unit in UNITS.items() if unit.dimension == dimension]
    if not name:
        raise refusal(
            where,
            f"the {dimension} '{text.strip()}' has no unit",
            f"write the unit too, like {_EXAMPLES[dimension]}",
        )
    found = UNITS.get(name)
    if found is None:
        folded = [key for key in mine if key.casefold() == name.casefold()]
        found = UNITS[folded[0]] if folded else None
    if found is None:
        near = nearest(name, mine, close=0.65)  # 'cfn' for 'cfm'
        every = f"one of {', '.join(mine)}"
        hint = f"did you mean '{near}' or {every}" if near else f"write {every}"
        raise refusal(
            where, f"'{name}' in '{text.strip()}' is no unit of {dimension}", hint
        )
    if found.dimension != dimension:
        raise refusal(
            where,
            f"'{text.strip()}' measures {found.dimension} and not {dimension}",
            f"write it like {_EXAMPLES[dimension]}",
        )
    return found


def difference(text: object, where: str) -> float:
    """Read a difference of temperatures, K: '8 K' or '15 F', of which 15 are 8.3 K.

    Raises
    ------
    BadInput
        If it is no number with a unit of temperature, or not above zero.

    Examples
    --------
    >>> round(difference("18 F", "a schedule"), 6)
    10.0
    """
    nothing = str(text).strip().lstrip("+-0123456789.eE ") or "K"
    value = quantity(text, "temperature", where)
    found = value - quantity(f"0 {nothing}", "temperature", where)
    if not found > 0.0:
        raise refusal(where, f"the difference '{text}' is not above zero", "correct it")
    return found


def share(text: object, where: str) -> float:
    """Read a share: '50 %', or a bare number such as 0.5.

    Raises
    ------
    BadInput
        If it is neither.
    """
    if isinstance(text, (int, float)) and not isinstance(text, bool):
        return float(text)
    return quantity(text, "share", where)


def to_unit(value: float, name: str) -> float:
    """Turn an SI value into a unit of the table.

    Examples
    --------
    >>> round(to_unit(249.08891, "in.wg"), 6)
    1.0
    """
    unit = UNITS[name]
    return value / unit.factor - unit.offset


_SIDE = rf"({fractions.FRACTION}|{_NUMBER})"
_SECTION = re.compile(
    rf"\s*{_SIDE}\s*([^\d/]*?)\s*[xX×*]\s*{_SIDE}\s*([^\d\s/]*?)"
    r"\s*(oval|flat oval)?\s*"
)
_ROUND = re.compile(rf"\s*(?:[DdØø⌀]|DN|dn|round)\s*({_SIDE}\s*[^\d/]*?)\s*")
_LONE = re.compile(
    rf"\s*({_SIDE}\s*(?:mm|cm|m|in(?:ch(?:es)?)?|\"|″|”|''))(?:\s+round)?\s*", re.I
)


def section(text: object, where: str) -> Section:
    """Read a section with its unit: '600x300 mm', 'D8 in', '3 1/4x12 in'.

    Raises
    ------
    BadInput
        If it is none of these, has no unit, or a side that is not above zero.
    """
    example = 'write it like "600x300 mm", "24x12 in" or "D200 mm"'
    if not isinstance(text, str):
        raise refusal(where, f"'{text}' is no section", example)
    if match := _ROUND.fullmatch(text):
        diameter = quantity(match[1], "length", where)
        _check_side(diameter, text, where)
        return round_section(diameter)
    match = _SECTION.fullmatch(text)
    if match is None and (lone := _LONE.fullmatch(text)):
        raise refusal(
            where,
            f"'{text}' is no section: no D before it says that it is a diameter",
            f"write 'D{lone[1]}' if it is one",
        )
    if match is None:
        raise refusal(where, f"'{text}' is no section", example)
    last = match[4]
    first = match[2] or last
    width = quantity(f"{match[1]} {first}", "length", where)
    height = quantity(f"{match[3]} {last}", "length", where)
    _check_side(min(width, height), text, where)
    _check_side(max(width, height), text, where)
    return flat_oval(width, height) if match[5] else rectangular(width, height)


def _check_side(side: float, text: str, where: str) -> None:
    if side <= 0.0:
        raise refusal(
            where, f"a side in '{text}' is not above zero", "correct the size"
        )
    if side < SMALLEST_SIDE:
        raise refusal(
            where,
            f"a side in '{text}' is less than 0.001 mm (0.00004 in)",
            "check the number and the unit",
        )
    if side > LARGEST_SIDE:
        raise refusal(
            where,
            f"a side in '{text}' is more than 10 m (32.8 ft)",
            "check the unit; no duct is that wide",
        )
