"""Places in words, as messages and tables give them: in the unit that was drawn in."""

from collections.abc import Iterable

from .units import LENGTHS, UNITS

NEAR = 0.05  # m: a place written by hand is this near to the end that it means
# Decimals that tell a millimetre, or a hundredth of an inch.
_DECIMALS = {"m": 3, "cm": 1, "mm": 0, "ft": 3, "in": 2}


def place_unit(unit: str) -> str:
    """The unit that places of a drawing in some unit are given in: m for a rare one."""
    return unit if unit in LENGTHS else "m"


def coordinates(point: Iterable[float], unit: str) -> list[str]:
    """Coordinates of a point, each to about a millimetre and as short as it can be.

    Parameters
    ----------
    point
        m.
    unit
        That of the drawing.

    Examples
    --------
    >>> coordinates([500003.25, 4.5e6, -0.0], "m")
    ['500003.25', '4500000', '0']
    >>> coordinates([0.3048, 3.048, -0.0], "in")
    ['12', '120', '0']
    """
    word = place_unit(unit)
    factor, decimals = UNITS[word].factor, _DECIMALS[word]
    texts = [f"{float(part) / factor:.{decimals}f}" for part in point]
    texts = [text.rstrip("0").rstrip(".") if "." in text else text for text in texts]
    return ["0" if text == "-0" else text for text in texts]


def place_words(point: Iterable[float], unit: str) -> str:
    """A point, m, for a message about a drawing in some unit.

    Examples
    --------
    >>> place_words([1.5, 0.0, 3.0], "m")
    '(1.5, 0, 3) m'
    >>> place_words([1.5, 0.0, 3.0], "mm")
    '(1500, 0, 3000) mm'
    """
    return f"({', '.join(coordinates(point, unit))}) {place_unit(unit)}"


def at_key(point: Iterable[float], unit: str) -> str:
    """The key of a schedule that means a place, m, of a drawing in some unit.

    Examples
    --------
    >>> at_key([1.5, 0.0, 3.0], "m")
    'at = ["1.5 m", "0 m", "3 m"]'
    """
    word = place_unit(unit)
    return "at = [" + ", ".join(f'"{p} {word}"' for p in coordinates(point, unit)) + "]"
