"""What a sentence says in two units: whether both are there, and agree."""

import re

# Exact: inch, foot, mile and pound of 1959 (NIST Special Publication 811, appendix B);
# the conventional inch of water, 249.0889 Pa there, as the tool has it; horsepower of
# 550 foot pounds-force a second; Btu of the International Table.
INCH, POUND = 0.0254, 0.45359237
FOOT = 12 * INCH
WATER = 249.08891
SI = {
    "mm": 1e-3,
    "m": 1.0,
    "km": 1e3,
    "in": INCH,
    "ft": FOOT,
    "mi": 5280 * FOOT,
    "Pa": 1.0,
    "kPa": 1e3,
    "in.wg": WATER,
    "Pa/m": 1.0,
    "in.wg/100 ft": WATER / (100 * FOOT),
    "L/s": 1e-3,
    "m3/s": 1.0,
    "cfm": FOOT**3 / 60,
    "m/s": 1.0,
    "fpm": FOOT / 60,
    "kg/m³": 1.0,
    "lb/ft³": POUND / FOOT**3,
    "kg": 1.0,
    "lb": POUND,
    "W": 1.0,
    "hp": 550 * FOOT * POUND * 9.80665,
    "Btu/h": 1055.05585262 / 3600,
    "K": 1.0,
    "°F": 5 / 9,  # of differences; `agree` sees to temperatures
    "°C": 1.0,
    "J/kg·K": 1.0,
    "Btu/lb·°F": 1055.05585262 / POUND * 9 / 5,
    "W/m²·K": 1.0,
    "Btu/h·ft²·°F": 1055.05585262 / 3600 / FOOT**2 * 9 / 5,
    "W/m2K": 1.0,
    "Btu/h ft2 F": 1055.05585262 / 3600 / FOOT**2 * 9 / 5,
}
_OTHERS = [
    "in",
    "ft",
    "mi",
    "in.wg",
    "in.wg/100 ft",
    "cfm",
    "fpm",
    "lb/ft³",
    "lb",
    "hp",
]
_OTHERS += ["Btu/h", "°F", "Btu/lb·°F", "Btu/h·ft²·°F", "Btu/h ft2 F"]
NUMBER = r"-?\d+(?:\.\d+)?(?:e[-+]?\d+)?"


def _one_of(units: list[str]) -> str:
    return "|".join(re.escape(unit) for unit in sorted(units, key=len, reverse=True))


_UNIT = rf"(?:{_one_of([unit for unit in SI if unit not in _OTHERS])})(?![\w/·³²])"
_OTHER = _one_of(_OTHERS)
# Two of a range or of a section, the first with a unit of its own or without.
_SAID = re.compile(
    rf"(?:({NUMBER})(?: ({_UNIT}))?(?:×| to | and ))?({NUMBER}) ({_UNIT})"
    rf"(?: flat oval)? "
    rf"\((?:({NUMBER})(?: ({_OTHER}))?(?:×| to | and ))?({NUMBER}) ({_OTHER})\)"
)
_ALONE = re.compile(rf"{NUMBER} ?{_UNIT}")
# Places are in metres, the unit of the drawing; in quotes stands what is to be written.
_PLACE = re.compile(r"\([^()]*\) m\b")
_QUOTED = re.compile(r"'[^']*'|\"[^\"]*\"")


def pairs(sentence: str) -> list[tuple[str, str, str, str]]:
    """Quantities that are said both ways: metric number and unit, then the others."""
    found = []
    for low, low_unit, high, unit, least, least_unit, most, other in _SAID.findall(
        sentence
    ):
        found.append((high, unit, most, other))
        if low and least:
            found.append((low, low_unit or unit, least, least_unit or other))
    return found


def alone(sentence: str) -> list[str]:
    """Metric quantities of a sentence that have no other unit behind them."""
    return _ALONE.findall(_SAID.sub("", _QUOTED.sub("", _PLACE.sub("", sentence))))


def _half_a_step(number: str) -> float:
    mantissa, _, power = number.partition("e")
    decimals = len(mantissa.partition(".")[2])
    return float(0.5 * 10.0 ** (int(power or 0) - decimals))


def agree(number: str, unit: str, other: str, other_unit: str) -> bool:
    """Whether one value may be shown as both numbers, each to its last digit."""
    low, high = (
        (float(number) + sign * _half_a_step(number)) * SI[unit] for sign in (-1, 1)
    )
    zero = 32.0 if unit == "°C" else 0.0
    least, most = (
        (float(other) - zero + sign * _half_a_step(other)) * SI[other_unit]
        for sign in (-1, 1)
    )
    slack = 1e-7 * max(map(abs, (low, high)))  # the tool's table has seven digits
    return low <= most + slack and least <= high + slack
