"""How words are drawn: as they are written, in whatever installed font has them."""

import logging
import re
import warnings
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from functools import cache
from html import escape
from typing import Any

from .outlet import printable

_ISOLATE, _ISOLATE_END = "\u2068", "\u2069"
_LEFT = "\u0590-\u08ff\ufb1d-\ufdff\ufe70-\ufefc"  # Hebrew, Arabic and others
# From a letter to the last before one of the other direction, with a number behind it
# where the line or the name ends there.
_LEFTWARD = re.compile(
    rf"[{_LEFT}](?:[^\n\w]|[_\d{_LEFT}])*(?<=[{_LEFT}])(?:[ _-]?\d+(?=$|:))?", re.M
)


@contextmanager
def lettering(words: str, **look: Any) -> Iterator[None]:
    """Draw within so that names stay as they are written.

    Parameters
    ----------
    words
        All that will be written: other fonts are sought for what the usual one lacks.
    look
        More settings of matplotlib.

    Notes
    -----
    Between two dollar signs matplotlib would read mathematics. Letters that no font
    has are boxes: `unwritable` says so in a sentence, in place of a warning each.
    """
    from matplotlib import rc_context, rcParams

    fonts, _ = _fonts_for(_letters(words))
    settings: Any = {
        "text.parse_math": False,
        "font.family": [*rcParams["font.family"], *fonts],
        **look,
    }
    finder = logging.getLogger("matplotlib.font_manager")
    level = finder.level
    finder.setLevel(logging.ERROR)  # a font without a bold face is good enough
    try:
        with rc_context(settings), warnings.catch_warnings():
            for said in ("Glyph .* missing from", ".* does not support .* natively"):
                warnings.filterwarnings("ignore", message=said)
            yield
    finally:
        finder.setLevel(level)


def as_drawn(words: str) -> str:
    r"""Words as they are to be drawn: what reads from right to left turns no number.

    Parameters
    ----------
    words
        What is written; its controls are escaped as where it is printed.

    Returns
    -------
    words
        Each stretch that reads from right to left between an isolate and its end, as
        Unicode Standard Annex 9 has them, where matplotlib lays out such text at all.
    """
    from matplotlib import ft2font

    words = printable(words)
    if not hasattr(ft2font, "__libraqm_version__"):  # it draws letters as they come
        return words
    return _LEFTWARD.sub(f"{_ISOLATE}\\g<0>{_ISOLATE_END}", words)


def as_markup(words: str) -> str:
    """Words as HTML, each stretch that reads from right to left in a `bdi`.

    Examples
    --------
    >>> as_markup("of 'א' < 3")
    'of &#x27;<bdi>א</bdi>&#x27; &lt; 3'
    """
    out, done = [], 0
    for found in _LEFTWARD.finditer(words):
        out += [escape(words[done : found.start()]), f"<bdi>{escape(found[0])}</bdi>"]
        done = found.end()
    return "".join([*out, escape(words[done:])])


def unwritable(words: str, shows: str = "the picture shows") -> str:
    """Say which letters no installed font has; empty if there is none.

    Parameters
    ----------
    words
        What is written.
    shows
        What has boxes in their place.
    """
    _, lacking = _fonts_for(_letters(words))
    if not lacking:
        return ""
    shown = " ".join(sorted(lacking)[:8])
    return (
        f"no font on this machine has {shown}{' and more' * (len(lacking) > 8)}, and "
        f"{shows} boxes instead; install a font that has them"
    )


def _letters(words: Iterable[str]) -> frozenset[str]:
    return frozenset(letter for letter in words if ord(letter) > 127)


@cache
def _fonts_for(letters: frozenset[str]) -> tuple[tuple[str, ...], frozenset[str]]:
    """Families to write letters with beside the usual one, and letters of none."""
    from matplotlib.font_manager import (
        FontProperties,
        findfont,
        findSystemFonts,
        fontManager,
    )

    lacking = letters - _has(findfont(FontProperties()), letters)
    chosen: list[str] = []
    if lacking:  # the list that matplotlib keeps may be older than a font
        listed = {font.fname for font in fontManager.ttflist}
        for path in sorted(set(findSystemFonts()) - listed):
            with suppress(OSError, RuntimeError):  # one that cannot be read
                fontManager.addfont(path)
    for font in sorted(fontManager.ttflist, key=lambda font: (font.name, font.fname)):
        if not lacking:
            break
        if font.name.startswith("Last Resort"):  # it has a box for every letter
            continue
        # The plain face alone: of a family, it is the one that is sure to be taken.
        plain = font.style == "normal" and font.weight in (400, "normal", "regular")
        found = _has(font.fname, lacking) if plain else frozenset()
        if found:
            chosen.append(font.name)
            lacking -= found
    return tuple(chosen), lacking


def _has(path: str, letters: frozenset[str]) -> frozenset[str]:
    from matplotlib.font_manager import get_font

    try:
        known = get_font(path).get_charmap()
    except (OSError, RuntimeError):  # a font that is damaged, or gone since
        return frozenset()
    return frozenset(letter for letter in letters if ord(letter) in known)
