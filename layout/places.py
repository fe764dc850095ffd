"""Places in words, as messages and tables give them."""

from collections.abc import Iterable

NEAR = 0.05  # m: a place written by hand is this near to the end that it means


def coordinates(point: Iterable[float]) -> list[str]:
    """Coordinates of a point in m, each to the millimetre and as short as it can be.

    Examples
    --------
    >>> coordinates([500003.25, 4.5e6, -0.0])
    ['500003.25', '4500000', '0']
    """
    texts = [f"{float(part):.3f}".rstrip("0").rstrip(".") for part in point]
    return ["0" if text == "-0" else text for text in texts]


def place_words(point: Iterable[float]) -> str:
    """A point for a message.

    Examples
    --------
    >>> place_words([1.5, 0.0, 3.0])
    '(1.5, 0, 3) m'
    """
    return f"({', '.join(coordinates(point))}) m"


def at_key(point: Iterable[float]) -> str:
    """The key of a schedule that means a place.

    Examples
    --------
    >>> at_key([1.5, 0.0, 3.0])
    'at = ["1.5 m", "0 m", "3 m"]'
    """
    return "at = [" + ", ".join(f'"{part} m"' for part in coordinates(point)) + "]"
