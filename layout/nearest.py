"""What a word that is not known may have meant: only where it comes really close."""

import difflib
from collections.abc import Iterable

_CLOSE = 0.7  # 'mitered' for 'mitred'; at less, other words with letters in common
_SPELT = {"galvanized": "galvanised", "aluminum": "aluminium", "fiber": "fibre"}


def folded(text: str) -> str:
    """Text without case, the number of its blanks and what is spelt in two ways.

    Examples
    --------
    >>> folded("Galvanized  Steel")
    'galvanised steel'
    """
    plain = " ".join(text.casefold().split())
    for other, usual in _SPELT.items():
        plain = plain.replace(other, usual)
    return plain


def nearest(text: str, known: Iterable[str], close: float = _CLOSE) -> str | None:
    """Find what was meant, in whichever case it was written.

    Parameters
    ----------
    text
        What was written.
    known
        What it may be.
    close
        Least share of letters in common, as `difflib` counts it.

    Returns
    -------
    word
        One of them; None where none is close, so that nothing misleads.

    Examples
    --------
    >>> nearest("Ofice", ["office", "hall"])
    'office'
    >>> nearest("sheet metal", ["smoothed cement"]) is None
    True
    """
    by_fold = {folded(word): word for word in known}
    near = difflib.get_close_matches(folded(text), by_fold, n=1, cutoff=close)
    return by_fold[near[0]] if near else None
