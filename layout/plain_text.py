"""Text of drawings as their formats have it, not as Python is lenient with it."""

from .faults import BadInput, refusal

AS_UTF8 = "save it with the encoding UTF-8"
_WIDE = ([False, True] * 2, [True, False] * 2)


def utf16_refusal(file: str, head: bytes) -> BadInput | None:
    """Refusal of a file whose first bytes are text in UTF-16; None for others.

    It has a byte order mark, or a zero beside each of its first letters.
    """
    is_marked = head[:2] in (b"\xff\xfe", b"\xfe\xff")
    if not is_marked and [byte == 0 for byte in head[:4]] not in _WIDE:
        return None
    return refusal(file, "it is text in UTF-16, which is not read", AS_UTF8)


def plain_number(text: str) -> float:
    """Number in ASCII digits; ValueError for others, which Python reads.

    Examples
    --------
    >>> plain_number("-2.5e-1")
    -0.25
    """
    check_digits(text)
    return float(text)


def plain_whole(text: str) -> int:
    """Whole number in ASCII digits; ValueError for others, which Python reads."""
    check_digits(text)
    return int(text)


def check_digits(text: str) -> None:
    """Raise ValueError where a text of numbers has what only Python reads."""
    if "_" in text or not text.isascii():
        raise ValueError(
            "a number with an underscore, or in the digits of another script"
        )
