"""Fractions of an inch, as the trade writes them: 3 1/4, 3-1/4, 3¼, 1/2."""

import re
import unicodedata

_SIGNS = "¼½¾⅛⅜⅝⅞"
_RULER = (2, 4, 8, 16, 32, 64)
# With the whole inches before it, or alone.
MIXED = rf"\d+(?:(?: +|-)\d+/\d+|[ -]?[{_SIGNS}])"
FRACTION = rf"(?:{MIXED}|\d+/\d+|[{_SIGNS}])"
_PARTS = re.compile(rf"(?:(\d+)(?: *|-)(?=[\d{_SIGNS}]))??(?:(\d+)/(\d+)|([{_SIGNS}]))")
_SEEN = re.compile(rf"[/{_SIGNS}]")


def seen_in(text: str) -> bool:
    """Whether a text may hold a fraction at all."""
    return _SEEN.search(text) is not None


def inches(text: str) -> float | None:
    """Value of a number with a fraction, as a rule divides an inch; None for others.

    Examples
    --------
    >>> inches("3 1/4"), inches("3-1/4"), inches("3¼"), inches("1/2"), inches("12 5/16")
    (3.25, 3.25, 3.25, 0.5, 12.3125)
    >>> [inches(text) for text in ("3 1/3", "3 5/4", "7/4", "1/200", "3")]
    [None, None, None, None, None]
    """
    match = _PARTS.fullmatch(text)
    if match is None:
        return None
    whole, above, below, sign = match.groups()
    if sign:
        return float(whole or 0) + unicodedata.numeric(sign)
    if int(below) not in _RULER or not 0 < int(above) < int(below):
        return None
    return float(whole or 0) + int(above) / int(below)
