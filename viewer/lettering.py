"""How words are drawn: as they are written, in whatever installed font has them."""

import logging
import warnings
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from functools import cache
from typing import Any


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


def unwritable(words: str) -> str:
    """Say which letters no installed font has; empty if there is none.

    Parameters
    ----------
    words
        What is written.
    """
    _, lacking = _fonts_for(_letters(words))
    if not lacking:
        return ""
    shown = " ".join(sorted(lacking)[:8])
    return (
        f"no font on this machine has {shown}{' and more' * (len(lacking) > 8)}, and "
        "the picture shows boxes instead; install a font that has them"
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
