"""Notices and refusals: place, fault, remedy, in one sentence each."""

from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from enum import Enum
from pathlib import Path

Place = tuple[float, float, float]
# What Python says of an integer of thousands of digits speaks of its own settings.
TOO_LONG = "an integer in it has thousands of digits"


class Severity(str, Enum):
    """How far a notice reaches."""

    NOTE = "note"  # said for completeness: a choice that was made
    WARNING = "warning"  # the result stands, but the reader should look
    ERROR = "error"  # no result until it is mended

    def __str__(self) -> str:
        return self.value


@dataclass(frozen=True, slots=True)
class Notice:
    """One thing to tell the user about the input.

    Parameters
    ----------
    severity
        How far it reaches.
    where
        Place: file, run, vertex (counted from 1).
    what
        What is so, without a full stop.
    remedy
        How to mend it, without a full stop; empty when nothing needs mending.
    effect
        What it does to the result, without a full stop; empty where that is plain.
    place
        Where it is in the drawing, m; None where it has no one place.
    """

    severity: Severity
    where: str
    what: str
    remedy: str = ""
    effect: str = ""
    place: Place | None = None

    @property
    def sentence(self) -> str:
        """The notice as one sentence: place, fault, remedy."""
        text = f"{self.where}: {self.what}" if self.where else self.what
        return f"{text}; {self.remedy}." if self.remedy else f"{text}."


def and_more(count: int) -> str:
    """What stands behind a list that leaves so many out; nothing if it is whole.

    Examples
    --------
    >>> f"'a', 'b'{and_more(3)}", f"'a', 'b'{and_more(0)}", f"'a'{and_more(-4)}"
    ("'a', 'b' and 3 more", "'a', 'b'", "'a'")
    """
    return f" and {count} more" if count > 0 else ""


def some(words: Sequence[str], most: int, by: str = ", ") -> str:
    """The first few of some words for a sentence, and how many more.

    Examples
    --------
    >>> some(["a", "b", "c"], 2), some(["a", "b"], 2, by="; ")
    ('a, b and 1 more', 'a; b')
    """
    return by.join(words[:most]) + and_more(len(words) - most)


def listed(names: Sequence[str], most: int = 5) -> str:
    """The same of names in quotation marks.

    Examples
    --------
    >>> listed(["a", "b", "c"], 2)
    "'a', 'b' and 1 more"
    """
    return some([f"'{name}'" for name in names], most)


class BadInput(Exception):
    """Input that gives no result: every fault found in it, each with its remedy.

    Parameters
    ----------
    faults
        The faults, at least one, all of severity ERROR.
    """

    def __init__(self, faults: Iterable[Notice]) -> None:
        self.faults = tuple(faults)
        super().__init__("\n".join(fault.sentence for fault in self.faults))

    def __reduce__(self) -> tuple[type["BadInput"], tuple[tuple[Notice, ...]]]:
        """Copy it with its faults: an exception else begins anew from its text."""
        return type(self), (self.faults,)


def note(
    where: str,
    what: str,
    remedy: str = "",
    *,
    effect: str = "",
    place: Iterable[float] | None = None,
) -> Notice:
    """Make a notice that is only said for completeness."""
    return Notice(Severity.NOTE, where, what, remedy, effect, _three(place))


def warning(
    where: str,
    what: str,
    remedy: str = "",
    *,
    effect: str = "",
    place: Iterable[float] | None = None,
) -> Notice:
    """Make a notice that the reader should look at."""
    return Notice(Severity.WARNING, where, what, remedy, effect, _three(place))


def error(
    where: str,
    what: str,
    remedy: str,
    *,
    effect: str = "",
    place: Iterable[float] | None = None,
) -> Notice:
    """Make a notice that stops the work."""
    return Notice(Severity.ERROR, where, what, remedy, effect, _three(place))


def refusal(where: str, what: str, remedy: str) -> BadInput:
    """Make the refusal of an input for a single fault."""
    return BadInput([error(where, what, remedy)])


@contextmanager
def writing(path: Path) -> Iterator[None]:
    """Say in one sentence why a file cannot be written, where the system refuses it.

    Raises
    ------
    BadInput
        For each `OSError` inside.
    """
    try:
        yield
    except IsADirectoryError:
        raise refusal(
            str(path), "a folder has that name", "name a file that is none"
        ) from None
    except FileExistsError:
        raise refusal(
            str(path), "a file has that name", "name another folder"
        ) from None
    except PermissionError:
        raise refusal(
            str(path),
            "you have no right to write there",
            "name another place or change its rights",
        ) from None
    except OSError as problem:
        why = (problem.strerror or str(problem)).lower()
        raise refusal(
            str(path), f"it cannot be written ({why})", "name another place"
        ) from None


def _three(place: Iterable[float] | None) -> Place | None:
    if place is None:
        return None
    x, y, z = map(float, place)
    return round(x, 6) + 0.0, round(y, 6) + 0.0, round(z, 6) + 0.0
