"""Tables of a TOML file, read key by key: what is wrong in them is collected."""

import math
import re
import sys
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any, TypeVar

from . import allowed, units
from .allowed import Range
from .faults import TOO_LONG, BadInput, Notice, error, refusal
from .names import composed
from .nearest import nearest
from .paths import check_file
from .quantity_words import (
    length_words,
    pressure_words,
    temperature_words,
    transmission_words,
)
from .schedule import Point

if sys.version_info >= (3, 11):
    import tomllib
else:
    import tomli as tomllib

T = TypeVar("T")
_WORDS: dict[str, Callable[[float], str]] = {
    "length": length_words,
    "pressure": pressure_words,
    "temperature": temperature_words,
    "heat transmission": transmission_words,
    "time": lambda seconds: f"{seconds / 3600:g} h",
    "angle": lambda angle: f"{math.degrees(angle):.3g}°",
    "share": lambda share: f"{100 * share:g} %",
}
OPEN = "..."  # where a schedule to fill in wants a value
STILL_OPEN = f'it is still to fill in, as "{OPEN}" stands there'
_LARGEST = 2_000_000  # bytes: what is written by hand is smaller


class Table:
    """One table of a TOML file, read key by key; faults are collected.

    Parameters
    ----------
    content
        The table.
    where
        Its place, for messages.
    faults
        List that every fault is added to.
    """

    def __init__(self, content: object, where: str, faults: list[Notice]) -> None:
        self.where = where
        self.faults = faults
        self._asked: list[str] = []
        self.is_table = isinstance(content, Mapping)
        self._content: dict[str, Any] = {}
        if isinstance(content, Mapping):
            for key, value in content.items():
                name = composed(key)
                if name in self._content:
                    what = f"the key '{name}' is there twice, its accents written"
                    self.fault("", f"{what} in two ways", "delete one of the two")
                self._content[name] = value
        else:
            what = f"this must be a table, not {_shown(content)}"
            faults.append(error(where, what, "write { key = value }"))

    def __contains__(self, key: str) -> bool:
        return key in self._content

    def fault(self, key: str, what: str, remedy: str) -> None:
        """Add a fault at a key."""
        self.faults.append(error(f"{self.where} {key}".strip(), what, remedy))

    def get(self, key: str, read: Callable[[object, str], T]) -> T | None:
        """Read a key; None if it is absent or at fault."""
        self._asked.append(key)
        if key not in self._content:
            return None
        value = self._content[key]
        if value == OPEN or (isinstance(value, list) and OPEN in value):
            self.fault(key, STILL_OPEN, "write a value there")
            return None
        with gathered(self.faults):
            return read(value, f"{self.where} {key}".strip())
        return None

    def quantity(self, key: str, dimension: str) -> float | None:
        """Read a quantity in SI; None if it is absent or at fault."""
        return self.get(key, lambda text, at: units.quantity(text, dimension, at))

    def positive(
        self, key: str, dimension: str, remedy: str = "correct it"
    ) -> float | None:
        """Read a quantity that must be above zero."""
        value = self.quantity(key, dimension)
        if value is not None and value <= 0.0:
            self.fault(key, f"the {dimension} must be above zero", remedy)
            return None
        return value

    def within(self, key: str, limits: Range) -> float | None:
        """Read a quantity that must lie in a range."""
        dimension = limits.dimension
        is_share = dimension == "share"
        value = (
            self.get(key, units.share) if is_share else self.quantity(key, dimension)
        )
        if value is not None and not limits.holds(value):
            words = _WORDS[dimension]
            least = words(limits.low) if limits.low else "0"
            ends = f"lies outside {least} to"
            if limits.is_above:
                ends = f"is not above {least} and at most"
            what = f"the {dimension} {words(value)} {ends} {words(limits.high)}"
            self.fault(key, what, "correct it")
            return None
        return value

    def text(self, key: str) -> str | None:
        """Read words."""
        return self.get(key, _text)

    def choice(self, key: str, choices: Mapping[str, T]) -> T | None:
        """Read one of several words."""

        def read(value: object, where: str) -> T:
            if isinstance(value, str) and value in choices:
                return choices[value]
            near = nearest(str(value), choices)
            if near and re.findall(r"\d+", str(value)) != re.findall(r"\d+", near):
                near = None  # another number is no slip of spelling
            known = ", ".join(f'"{word}"' for word in choices)
            raise refusal(
                where,
                f"'{value}' is not known there",
                f'did you mean "{near}"' if near else f"write one of {known}",
            )

        return self.get(key, read)

    def yes_or_no(self, key: str) -> bool | None:
        """Read true or false."""
        return self.get(key, _yes_or_no)

    def number(self, key: str, limits: Range) -> float | None:
        """Read a bare number within a range."""
        low, high = limits.low, limits.high

        def read(value: object, where: str) -> float:
            bare = isinstance(value, (int, float)) and not isinstance(value, bool)
            if not bare:
                raise refusal(
                    where,
                    f"'{value}' is no number from {low:g} to {high:g}",
                    "write a bare number in that range",
                )
            if not limits.holds(float(str(value))):
                what = f"{value} is not within {low:g} to {high:g}"
                raise refusal(where, what, "write a number in that range")
            return float(str(value))

        return self.get(key, read)

    def whole(self, key: str, choices: tuple[int, ...]) -> int | None:
        """Read one of several whole numbers."""

        def read(value: object, where: str) -> int:
            whole = isinstance(value, int) and not isinstance(value, bool)
            if isinstance(value, int) and whole and value in choices:
                return value
            known = ", ".join(map(str, choices))
            raise refusal(
                where, f"'{value}' is not known there", f"write one of {known}"
            )

        return self.get(key, read)

    def count(self, key: str, most: int) -> int | None:
        """Read a whole number from 1."""

        def read(value: object, where: str) -> int:
            whole = isinstance(value, int) and not isinstance(value, bool)
            if isinstance(value, int) and whole and 1 <= value <= most:
                return value
            raise refusal(
                where,
                f"'{value}' is no whole number from 1 to {most}",
                "write a whole number",
            )

        return self.get(key, read)

    def says(self, what: str, *keys: str) -> bool:
        """Whether any of some keys is there; a fault if none is."""
        said = any(key in self._content for key in keys)
        if not said and self.is_table:
            known = f"{', '.join(keys[:-1])} or {keys[-1]}" if keys[1:] else keys[0]
            self.fault("", f"it says nothing of {what}", f"write {known}")
        return said

    def point(self, key: str) -> Point | None:
        """Read a place: three lengths with their units."""

        def read(value: object, where: str) -> Point:
            if not isinstance(value, list) or len(value) != 3:
                raise refusal(
                    where,
                    "a place is three lengths",
                    'write it like ["0 m", "0 m", "3.2 m"]',
                )
            x, y, z = (units.quantity(part, "length", where) for part in value)
            return x, y, z

        return self.get(key, read)

    def table(self, key: str) -> "Table":
        """Go into a table; an empty one if it is absent."""
        self._asked.append(key)
        return Table(self._content.get(key, {}), self._inner(key), self.faults)

    def tables(self, key: str) -> Iterator["Table"]:
        """Go into each of an array of tables."""
        self._asked.append(key)
        content = self._content.get(key, [])
        if not isinstance(content, list):
            within = (
                f"{self.where.rpartition('[')[2][:-1]}." if "[" in self.where else ""
            )
            self.fault(
                key, "this must be an array of tables", f"write [[{within}{key}]]"
            )
            return
        for number, entry in enumerate(content, start=1):
            table = Table(entry, f"{self._inner(key)} {number}", self.faults)
            if table.is_table:
                yield table

    def named(self) -> Iterator[str]:
        """Every key of a table whose keys are names."""
        yield from self._content

    def each(self) -> Iterator[tuple[str, "Table"]]:
        """Go into each table of a table whose keys are names."""
        for name in list(self.named()):
            entry = self.table(name)
            if entry.is_table:
                yield name, entry

    def values(self, read: Callable[["Table", str], T | None]) -> dict[str, T]:
        """Read each value of a table whose keys are names, with one of its methods."""
        found = {}
        for name in list(self.named()):
            value = read(self, name)
            if value is not None:
                found[name] = value
        return found

    def finish(self) -> None:
        """Add a fault for each key that nobody asked for."""
        known = list(dict.fromkeys(self._asked))
        for key in self._content:
            if key in known:
                continue
            near = nearest(key, known)
            self.fault(
                "",
                f"the key '{key}' is not known there",
                f"did you mean '{near}'"
                if near
                else f"the keys are {', '.join(known)}",
            )

    def _inner(self, key: str) -> str:
        if self.where.endswith("]"):
            return f"{self.where[:-1]}.{key}]"
        return (
            f"{self.where}[{key}]"
            if self.where.endswith(" ")
            else (f"{self.where}, [{key}]")
        )


def table_at(where: str) -> str:
    """The table of a schedule that the place of a fault lies in; empty without one.

    Examples
    --------
    >>> table_at("a.toml, [[elbows.exception]]"), table_at("a.glb, run 'B'")
    ('elbows', '')
    """
    found = re.search(r", \[+(\w+)", where)
    return found[1] if found else ""


@contextmanager
def gathered(faults: list[Notice]) -> Iterator[None]:
    """Add the faults of a refusal to a list, and go on."""
    try:
        yield
    except BadInput as bad:
        faults.extend(bad.faults)


def load_toml(path: Path) -> dict[str, Any]:
    """Read a TOML file.

    Raises
    ------
    BadInput
        If it is no file, too large, not text, or not TOML. An integer of more than
        64 bits is none (TOML 1.0.0, Integer).
    """
    check_file(path)
    try:
        if path.stat().st_size > _LARGEST:
            raise refusal(
                path.name,
                "it is larger than 2 MB",
                "give the file that you wrote by hand",
            )
        text = path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError:
        what = "it is no text in UTF-8, as TOML is"
        raise refusal(path.name, what, "save it with the encoding UTF-8") from None
    except OSError as problem:
        what = f"it cannot be read: {problem.strerror}"
        raise refusal(path.name, what, "check its rights") from None
    try:
        content = tomllib.loads(text)
    except RecursionError:
        what = "its brackets are nested too deep for any schedule or route"
        raise refusal(path.name, what, "write lists of numbers or of points") from None
    except ValueError as problem:
        # Python's own limit is a plain ValueError, in words that help nobody here.
        why = TOO_LONG if type(problem) is ValueError else problem
        raise refusal(
            path.name, f"it is not valid TOML: {why}", "correct that line"
        ) from None
    _check_integers(content, path.name)
    return content


def _check_integers(content: dict[str, Any], file: str) -> None:
    """Refuse an integer that no 64 bits hold, as Python alone goes on with it."""
    left: list[tuple[str, Any]] = [("", content)]
    while left:  # no recursion: dotted keys may go deeper than Python
        where, value = left.pop()
        inner: Iterable[tuple[object, Any]] = ()
        if isinstance(value, dict):
            inner = value.items()
        elif isinstance(value, list):
            inner = enumerate(value, start=1)
        for key, part in inner:
            if isinstance(part, (dict, list)):
                left.append((f"{where} {key}", part))
            elif isinstance(part, int) and not -(2**63) <= part < 2**63:
                raise refusal(
                    f"{file},{where} {key}",
                    "the integer there is too large to be a number of TOML",
                    "correct it",
                )


def _shown(value: object) -> str:
    """Value as it stands in the file, or nearly so, cut short."""
    text = str(value).lower() if isinstance(value, bool) else str(value)
    return f"'{text}'" if len(text) <= 40 else f"'{text[:37]}...'"


def _text(value: object, where: str) -> str:
    if isinstance(value, str) and value.strip():
        return composed(value)
    raise refusal(where, f"{_shown(value)} is no text", "write it in quotation marks")


def _yes_or_no(value: object, where: str) -> bool:
    if isinstance(value, bool):
        return value
    raise refusal(where, f"{_shown(value)} is no yes or no", "write true or false")


def direction(value: object, where: str) -> Point:
    """Read a direction: three bare numbers, not all of them nothing."""
    if isinstance(value, list):
        with suppress(ValueError):
            return allowed.direction("up", value)
    raise refusal(where, f"'{value}' is no direction", "write three numbers: [0, 0, 1]")
