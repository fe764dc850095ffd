"""Quantities as a reader wants them: metric or inch-pound."""

import math
from dataclasses import dataclass

from elbowroom.layout import Section, short_length, units
from elbowroom.physics import CheckDimension

TOUCH = 1e-6  # m: bodies no farther apart than this, nor deeper in each other, touch

# Decimals of a quantity in each unit, where these show two significant digits of it.
DIGITS = {
    "Pa": 1, "Pa/m": 2, "m/s": 1, "L/s": 0, "m": 2, "mm": 0, "m2": 1, "kg": 1,
    "in.wg": 4, "in.wg/100 ft": 3, "fpm": 0, "cfm": 0, "ft": 1, "in": 1, "ft2": 1,
    "lb": 1,
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Display:
    """One way to show quantities.

    Parameters
    ----------
    name
        'metric' or 'inch-pound'.
    length, flow, velocity, pressure, rate
        Unit of each.
    """

    name: str
    length: str
    flow: str
    velocity: str
    pressure: str
    rate: str

    def lengths(self, value: float, digits: int = DIGITS["m"]) -> str:
        """A length, without its unit, in two significant digits or more."""
        shown = units.to_unit(value, self.length)
        fewer = max(digits + DIGITS[self.length] - DIGITS["m"], 0)
        least = 1 - int(f"{shown:.1e}".partition("e")[2])  # of the rounded one
        is_small = abs(shown) > 1e-6 * 10.0**-fewer  # and not the rounding of a sum
        return shown_number(shown, max(fewer, least) if is_small else fewer)

    def gaps(self, value: float) -> str:
        """A short distance with its unit."""
        return short_length(value, self.side)

    def apart(self, distance: float) -> str:
        """Distance of two bodies with its unit, below zero where they overlap."""
        if abs(distance) <= TOUCH:
            return "touching"
        if distance < 0.0:
            return f"overlaps by {self.gaps(-distance)}"
        return self.gaps(distance)

    def flows(self, value: float) -> str:
        """An airflow, without its unit."""
        return shown_number(units.to_unit(value, self.flow), DIGITS[self.flow])

    def velocities(self, value: float, more: int = 0) -> str:
        """A velocity, without its unit, with so many more digits than usual."""
        shown = units.to_unit(value, self.velocity)
        return shown_number(shown, DIGITS[self.velocity] + more)

    def pressures(self, value: float, more: int = 0) -> str:
        """A pressure, without its unit, with so many more digits than usual."""
        shown = units.to_unit(value, self.pressure) + 0.0
        return shown_number(shown, DIGITS[self.pressure] + more)

    def rates(self, value: float) -> str:
        """A friction rate with its unit."""
        shown = units.to_unit(value, self.rate)
        return f"{shown_number(shown, DIGITS[self.rate])} {self.rate}"

    def size(self, section: Section) -> str:
        """A section with its unit: width × height."""
        return section.words_in(self.side)

    def led(self, words: str) -> str:
        """A quantity in both units, 'metric (inch-pound)', its own first."""
        if self.name == "metric":
            return words
        metric, _, own = words.removesuffix(")").partition(" (")
        return f"{own} ({metric})"

    @property
    def side(self) -> str:
        """Unit of the sides of sections."""
        return "mm" if self.length == "m" else "in"

    def side_words(self, value: float) -> str:
        """A side or diameter, without its unit."""
        scaled = units.to_unit(value, self.side)
        return shown_number(scaled, DIGITS[self.side])

    def areas(self, value: float) -> str:
        """An area, without its unit."""
        unit = f"{self.length}2"
        return shown_number(units.to_unit(value, unit), DIGITS[unit])

    @property
    def area(self) -> str:
        """Unit of areas."""
        return f"{self.length}²"

    def masses(self, value: float) -> str:
        """A mass, without its unit."""
        shown = value if self.mass == "kg" else value / units.POUND
        return shown_number(shown, DIGITS[self.mass])

    @property
    def mass(self) -> str:
        """Unit of masses."""
        return "kg" if self.length == "m" else "lb"


METRIC = Display("metric", "m", "L/s", "m/s", "Pa", "Pa/m")
INCH_POUND = Display("inch-pound", "ft", "cfm", "fpm", "in.wg", "in.wg/100 ft")
DISPLAYS = {display.name: display for display in (METRIC, INCH_POUND)}


@dataclass(frozen=True, slots=True)
class CheckUnits:
    """Units of what checks measure: in files, and for a reader.

    Parameters
    ----------
    files
        SI unit.
    metric, inch_pound
        Unit and decimals for a reader; as a number alone where the unit is empty.
    """

    files: str
    metric: tuple[str, int]
    inch_pound: tuple[str, int]


CHECK_UNITS: dict[CheckDimension, CheckUnits] = {
    "velocity": CheckUnits("m/s", ("m/s", 1), ("fpm", 0)),
    "length": CheckUnits("m", ("m", 1), ("ft", 1)),
    "pressure": CheckUnits("Pa", ("Pa", 1), ("in.wg", 4)),
    "airflow": CheckUnits("m3/s", ("L/s", 0), ("cfm", 0)),
    "airflow for cooling": CheckUnits(
        "m3/s per W", ("L/s per kW", 1), ("cfm per ton", 0)
    ),
    "temperature": CheckUnits("K", ("°C", 1), ("°F", 1)),
    "temperature difference": CheckUnits("K", ("K", 1), ("°F", 1)),
    "share": CheckUnits("1", ("%", 0), ("%", 0)),
    "ratio": CheckUnits("1", ("", 3), ("", 3)),
    "level": CheckUnits("dB", ("dB", 0), ("dB", 0)),
}


def shown_number(value: float, digits: int) -> str:
    """A number with so many decimals; two significant digits where these show none.

    What is below a millionth of the last decimal is the rounding of a sum, and 0.

    Examples
    --------
    >>> shown_number(2.345, 1), shown_number(0.0123, 1), shown_number(-1e-12, 1)
    ('2.3', '0.012', '0.0')
    """
    shown = f"{value:.{digits}f}"
    if float(shown) != 0.0:
        return shown
    if abs(value) < 1e-6 * 10.0**-digits:
        return f"{0.0:.{digits}f}"  # never below it
    decimals = 1 - math.floor(math.log10(abs(value)))
    return f"{value:.{decimals}f}"


def energy_words(energy: float, seconds: float) -> str:
    """Energy of a fan, kWh, with the time in which it is used, s.

    Examples
    --------
    >>> energy_words(412.3, 3000 * 3600.0)
    '412 kWh in 3000 h'
    """
    return f"{energy:.0f} kWh in {units.to_unit(seconds, 'h'):.0f} h"
