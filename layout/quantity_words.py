"""Quantities in words, metric with inch-pound behind it, as messages give them.

A message says both, since who reads it may think in either.
"""

import math
from collections.abc import Callable
from typing import TypeVar

from . import sections
from .sections import Section
from .units import FOOT, POUND, UNITS, to_unit

T = TypeVar("T")
_METRE = 0.9995  # m: from here on a length is said in metres and feet
_FAR = 99999.5  # m: from here on in kilometres and miles
# Beyond these a number with an exponent is the shorter one to read.
_SMALLEST, _LARGEST = 1e-5, 1e7
_NOISE = 6  # decimals of a degree beyond which there is but rounding
_MILE = 5280 * FOOT  # m
# One heat capacity of mass in inch-pound units, J/(kg K): 4186.8.
_BTU_PER_POUND = UNITS["Btu/h"].factor * UNITS["h"].factor * 9 / 5 / POUND


def _number(value: float, decimals: int, digits: int) -> str:
    """A number with so many decimals at most, and so many digits in all.

    Two significant digits at least and all before the point are kept; zeros at the end
    and '-0' are not.

    Examples
    --------
    >>> [_number(value, 1, 3) for value in (1234.5, 15.31, 0.984, 0.126, 0.0)]
    ['1234', '15.3', '1', '0.13', '0']
    """
    if value == 0.0:
        return "0"
    if not _SMALLEST <= abs(value) < _LARGEST:  # so written that it holds for NaN
        return f"{value:.3g}"
    near = round(abs(value), decimals) or abs(value)
    whole = math.floor(math.log10(near)) + 1  # digits before the point
    shown = max(min(decimals, digits - whole), 2 - whole, 0)
    text = f"{value:.{shown}f}"
    return text.rstrip("0").rstrip(".") if shown else text


def _both(value: float, *ways: tuple[str, int, int]) -> str:
    """A value in two units of the table, each with its decimals and digits."""
    one, other = (
        f"{_number(to_unit(value, unit), decimals, digits)} {unit}"
        for unit, decimals, digits in ways
    )
    return f"{one} ({other})"


def counted(number: int, noun: str) -> str:
    """A number and what is counted: '1 loop', '2 loops'.

    Examples
    --------
    >>> counted(1, "loop"), counted(0, "loop")
    ('1 loop', '0 loops')
    """
    return f"{number} {noun}{'s' * (number != 1)}"


def angle_words(angle: float, more: int = 0) -> str:
    """An angle, rad, in degrees, with so many more digits than usual.

    Examples
    --------
    >>> angle_words(math.radians(1.2)), angle_words(math.radians(30.4))
    ('1.2 degrees', '30 degrees')
    """
    number = _number(round(math.degrees(angle), _NOISE), 1 + more, 2 + more)
    return f"{number} degree{'s' * (number != '1')}"


def length_words(length: float, more: int = 0) -> str:
    """A length, m: in mm and inches below a metre, in km and miles from 100 km on.

    `more` digits than usual.

    Examples
    --------
    >>> length_words(0.3), length_words(0.0032), length_words(1.2)
    ('300 mm (11.8 in)', '3.2 mm (0.13 in)', '1.2 m (3.9 ft)')
    """
    if not abs(length) >= _METRE:
        return _both(length, ("mm", 1 + more, 3 + more), ("in", 1 + more, 3 + more))
    if abs(length) < _FAR:
        return _both(length, ("m", 2 + more, 3 + more), ("ft", 1 + more, 3 + more))
    far, miles = (_number(length / one, more, 3 + more) for one in (1e3, _MILE))
    return f"{far} km ({miles} mi)"


def short_length(length: float, unit: str) -> str:
    """A short length, m, in 'mm' or 'in' alone; what is above 0 is not said to be 0.

    Examples
    --------
    >>> short_length(0.02, "mm"), short_length(0.0004, "mm"), short_length(0.001, "in")
    ('20 mm', 'less than 1 mm', 'less than 0.1 in')
    """
    digits = 0 if unit == "mm" else 1
    text = f"{to_unit(length, unit) + 0.0:.{digits}f}"
    if length > 0.0 and float(text) == 0.0:
        text = f"less than {10.0**-digits:g}"
    return f"{text} {unit}"


def size_words(shape: int, width: float, height: float, more: int = 0) -> str:
    """A section of a shape and two sides, m, as the trade writes it.

    `more` digits than usual.

    Examples
    --------
    >>> size_words(sections.Shape.RECTANGULAR, 0.6, 0.3)
    '600×300 mm (23.6×11.8 in)'
    >>> size_words(sections.Shape.ROUND, 0.2, 0.2)
    'Ø200 mm (7.87 in)'
    """
    said = sections.words(shape, width, height, more=more)
    if shape == sections.Shape.NONE:
        return said
    inches = sections.words(shape, width, height, "in", more)
    return f"{said} ({inches.removeprefix('Ø').removesuffix(' flat oval')})"


def section_words(section: Section, more: int = 0) -> str:
    """A section, as `size_words` has it."""
    return size_words(section.shape, section.width, section.height, more)


def pressure_words(pressure: float, more: int = 0) -> str:
    """A pressure, Pa, with so many more digits than usual.

    Examples
    --------
    >>> pressure_words(85.0), pressure_words(0.0)
    ('85 Pa (0.3412 in.wg)', '0 Pa (0 in.wg)')
    """
    return _both(pressure, ("Pa", 1 + more, 7 + more), ("in.wg", 4 + more, 5 + more))


def words_apart(words: Callable[[T, int], str], one: T, other: T) -> tuple[str, str]:
    """Two values in words with digits enough to tell them apart, in both units.

    Parameters
    ----------
    words
        Says a value with so many more digits than usual.
    one, other
        The values.

    Examples
    --------
    >>> words_apart(pressure_words, 32.84, 32.8)
    ('32.84 Pa (0.13184 in.wg)', '32.8 Pa (0.13168 in.wg)')
    """
    said = "", ""
    for more in range(7):
        said = words(one, more), words(other, more)
        parts = zip(*(text.split(" (") for text in said), strict=True)
        if all(first != second for first, second in parts):
            break
    return said


def rate_words(rate: float) -> str:
    """A friction rate, Pa/m.

    Examples
    --------
    >>> rate_words(0.8172)
    '0.817 Pa/m (0.1 in.wg/100 ft)'
    """
    return _both(rate, ("Pa/m", 3, 3), ("in.wg/100 ft", 3, 3))


def airflow_words(flow: float, more: int = 0) -> str:
    """An airflow, m³/s, with so many more digits than usual.

    Examples
    --------
    >>> airflow_words(0.0472), airflow_words(0.001)
    ('47.2 L/s (100 cfm)', '1 L/s (2.1 cfm)')
    """
    return _both(flow, ("L/s", 1 + more, 7 + more), ("cfm", more, 7 + more))


def velocity_words(velocity: float, more: int = 0) -> str:
    """A velocity, m/s, with so many more digits than usual.

    Examples
    --------
    >>> velocity_words(5.0)
    '5 m/s (984 fpm)'
    """
    return _both(velocity, ("m/s", 1 + more, 3 + more), ("fpm", more, 3 + more))


def temperature_words(temperature: float) -> str:
    """A temperature, K.

    Examples
    --------
    >>> temperature_words(293.15), temperature_words(273.15)
    ('20 °C (68 °F)', '0 °C (32 °F)')
    """
    celsius, fahrenheit = (
        _number(round(to_unit(temperature, unit), _NOISE), 1, 4)
        for unit in ("°C", "°F")
    )
    return f"{celsius} °C ({fahrenheit} °F)"


def difference_words(difference: float) -> str:
    """A difference of temperatures, K; one of degrees F, without their zero.

    Examples
    --------
    >>> difference_words(10.0)
    '10 K (18 °F)'
    """
    return f"{_number(difference, 1, 3)} K ({_number(difference * 9 / 5, 1, 3)} °F)"


def density_words(density: float, more: int = 0) -> str:
    """A density, kg/m³, with so many more digits than usual.

    Examples
    --------
    >>> density_words(1.2041)
    '1.204 kg/m³ (0.075 lb/ft³)'
    """
    return _both(density, ("kg/m³", 3 + more, 4 + more), ("lb/ft³", 3 + more, 3 + more))


def power_words(power: float) -> str:
    """A power of a fan or a motor, W.

    Examples
    --------
    >>> power_words(746.0)
    '746 W (1 hp)'
    """
    return _both(power, ("W", 0, 3), ("hp", 2, 3))


def heat_words(power: float) -> str:
    """A power of heating or cooling, W.

    Examples
    --------
    >>> heat_words(1000.0)
    '1000 W (3412 Btu/h)'
    """
    return _both(power, ("W", 0, 3), ("Btu/h", 0, 3))


def heat_capacity_words(capacity: float) -> str:
    """Heat that a mass takes up, J/(kg K).

    Examples
    --------
    >>> heat_capacity_words(4186.8)
    '4187 J/kg·K (1 Btu/lb·°F)'
    """
    pounds = _number(capacity / _BTU_PER_POUND, 2, 3)
    return f"{_number(capacity, 0, 4)} J/kg·K ({pounds} Btu/lb·°F)"


def transmission_words(transmission: float) -> str:
    """Heat that passes through an area, W/(m² K).

    Examples
    --------
    >>> transmission_words(8.0)
    '8 W/m²·K (1.41 Btu/h·ft²·°F)'
    """
    feet = _number(to_unit(transmission, "Btu/h ft2 F"), 2, 3)
    return f"{_number(transmission, 2, 3)} W/m²·K ({feet} Btu/h·ft²·°F)"


def mass_words(mass: float) -> str:
    """A mass, kg.

    Examples
    --------
    >>> mass_words(10.0)
    '10 kg (22 lb)'
    """
    return f"{_number(mass, 1, 4)} kg ({_number(mass / POUND, 1, 4)} lb)"
