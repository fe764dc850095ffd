"""Short names of what has long ones, so that each is still told from the others."""

from collections import Counter
from collections.abc import Sequence

_KEPT = 3  # letters of what all begin with, before what sets them apart


def cut_middle(text: str, letters: int) -> str:
    """Text of so many letters at most: what is longer loses its middle.

    Names begin with what they belong to and end with what sets them apart.

    Examples
    --------
    >>> cut_middle("diffuser in the hall", 13), cut_middle("hall", 13)
    ('diffus…e hall', 'hall')
    """
    if len(text) <= letters:
        return text
    tail = (letters - 1) // 2
    head = text[: letters - 1 - tail].rstrip(" ,")
    return f"{head}…{text[len(text) - tail :].lstrip(' ,')}"


def told_apart(names: Sequence[str], letters: int) -> list[str]:
    """Names of so many letters at most, of which different ones stay different.

    Those that a cut in the middle makes alike lose what they begin with; where that
    does not help either, each begins with its number.

    Examples
    --------
    >>> told_apart(["attic, past the beam, low", "attic, past the duct, low"], 12)
    ['…he be…low', '…he du…low']
    """
    out = [cut_middle(name, letters) for name in names]
    for word in [word for word, count in Counter(out).items() if count > 1]:
        mine = [at for at, name in enumerate(out) if name == word]
        alike = _begin_alike([names[at] for at in mine])
        if alike > _KEPT and len({names[at] for at in mine}) > 1:
            for at in mine:
                out[at] = cut_middle(f"…{names[at][alike - _KEPT :]}", letters)
    return out if len(set(out)) == len(set(names)) else numbered(names, letters)


def numbered(names: Sequence[str], letters: int) -> list[str]:
    """Names of so many letters at most, each behind its number.

    Examples
    --------
    >>> numbered(["under", "Under"], 12)
    ['1 under', '2 Under']
    """
    room = letters - len(f"{len(names)} ")
    return [f"{at} {cut_middle(name, room)}" for at, name in enumerate(names, 1)]


def _begin_alike(names: Sequence[str]) -> int:
    """How many letters all names begin with."""
    least, most = min(names), max(names)  # all others begin as these two do
    alike = [one == other for one, other in zip(least, most, strict=False)]
    return [*alike, False].index(False)
