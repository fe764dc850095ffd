"""Data tables: read from CSV, looked up on whole arrays."""

import csv
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from importlib.resources import files
from types import MappingProxyType

import numpy as np
import numpy.typing as npt

from elbowroom.layout import BoolArray, FloatArray, IntArray

from .axes import ROUNDING, Axis, axis
from .coefficient import Coefficient, Credit, Factors, Note, make, worst

Row = Mapping[str, str]
_SUSPECT = "SUSPECT: "  # begins the note of a print that breaks the trend
_CHUNK = 1 << 14  # elements at a time, so that every array of a pass stays in cache


@cache
def numbered_rows(name: str) -> tuple[tuple[int, Row], ...]:
    """Rows of a table with the line of the CSV on which each stands."""
    text = (files("elbowroom.physics") / "data" / f"{name}.csv").read_text("utf-8")
    # Nobody may change what all look-ups read.
    read = map(MappingProxyType, csv.DictReader(text.splitlines()))
    return tuple(enumerate(read, start=2))


@cache
def rows(name: str) -> tuple[Row, ...]:
    """Rows of a table of `physics/data`.

    Parameters
    ----------
    name
        Name of the CSV without its ending.

    Returns
    -------
    rows
        Each row by column name, as text, to be read only. The first stands on line 2 of
        the file.
    """
    return tuple(row for _, row in numbered_rows(name))


def table_names() -> tuple[str, ...]:
    """Name of every table in `physics/data`."""
    folder = files("elbowroom.physics") / "data"
    return tuple(
        sorted(p.name[:-4] for p in folder.iterdir() if p.name.endswith(".csv"))
    )


def chosen(name: str, where: Mapping[str, str]) -> list[Row]:
    """Rows of a table whose columns have the given texts."""
    return [row for row in rows(name) if all(row[k] == v for k, v in where.items())]


def _is_doubted(row: Row) -> bool:
    return row.get("note", "").startswith(_SUSPECT)


def doubts(name: str) -> tuple[str, ...]:
    """What is said of the prints of a table that break its trend, with their lines."""
    every = dict(numbered_rows(name)) if name in table_names() else {}
    return tuple(
        f"line {line} of {name}: {row['note'].removeprefix(_SUSPECT)}"
        for line, row in every.items()
        if _is_doubted(row)
    )


@dataclass(frozen=True, slots=True, eq=False)
class Curve:
    """A published curve: k values over one argument.

    Parameters
    ----------
    name, source, confidence
        Table, document and class.
    x, y
        Arguments, rising, and values, shape (k,); values of m curves over the same
        arguments have the shape (m, k) and come out one before the other.
    log_x, log_y
        Whether to interpolate on the logarithm of either.
    """

    name: str
    source: str
    confidence: str
    x: FloatArray
    y: FloatArray
    log_x: bool = False
    log_y: bool = False
    _axis: Axis = field(init=False, repr=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "_axis", axis(self.x, self.log_x))

    def at(self, argument: npt.ArrayLike) -> tuple[FloatArray, IntArray]:
        """Values and `Note` bits at arguments, in their shape; clamped at the ends."""
        low, share, outside = self._axis.locate(np.asarray(argument, dtype=np.float64))
        value = _between(
            self.y.take(low, axis=-1), self.y.take(low + 1, axis=-1), share, self.log_y
        )
        return np.asarray(value), _bits(outside, _is_between(share))


@dataclass(frozen=True, slots=True, eq=False)
class Grid:
    """A published table of two arguments.

    Parameters
    ----------
    name, source, confidence
        Table, document and class.
    x, y
        Arguments, rising, shape (k,) and (m,).
    values
        Values, shape (k, m).
    log_x, log_y
        Whether to interpolate on the logarithm of either argument.
    log_values
        Whether to interpolate on the logarithm of the values along x.
    suspect
        Prints that break the trend of the table, shape (k, m); False: none.
    """

    name: str
    source: str
    confidence: str
    x: FloatArray
    y: FloatArray
    values: FloatArray
    log_x: bool = False
    log_y: bool = False
    log_values: bool = False
    suspect: npt.ArrayLike = False
    _axes: tuple[Axis, Axis] = field(init=False, repr=False)

    def __post_init__(self) -> None:
        both = axis(self.x, self.log_x), axis(self.y, self.log_y)
        object.__setattr__(self, "_axes", both)

    def at(
        self, first: npt.ArrayLike, second: npt.ArrayLike
    ) -> tuple[FloatArray, IntArray]:
        """Values and `Note` bits at pairs of arguments, clamped at the edges."""
        x, y = (np.asarray(value, dtype=np.float64) for value in (first, second))
        if x.shape != y.shape:
            x, y = np.broadcast_arrays(x, y)
        if x.size <= _CHUNK:
            return self._at(x, y)
        shape, x, y = x.shape, x.ravel(), y.ravel()
        value, bits = np.empty(len(x)), np.empty(len(x), dtype=np.int64)
        for begin in range(0, len(x), _CHUNK):
            part = slice(begin, begin + _CHUNK)
            value[part], bits[part] = self._at(x[part], y[part])
        return value.reshape(shape), bits.reshape(shape)

    def _at(self, x: FloatArray, y: FloatArray) -> tuple[FloatArray, IntArray]:
        i, s, off_x = self._axes[0].locate(x)
        j, t, off_y = self._axes[1].locate(y)
        flat, across = self.values.ravel(), len(self.y)
        corner = i * across + j
        below = _between(flat.take(corner), flat.take(corner + 1), t, False)
        corner += across
        above = _between(flat.take(corner), flat.take(corner + 1), t, False)
        value = _between(below, above, s, self.log_values)
        return np.asarray(value), _bits(off_x | off_y, _is_between(s) | _is_between(t))

    def doubted(self, first: npt.ArrayLike, second: npt.ArrayLike) -> IntArray:
        """`Note` bit where a print that breaks the trend of the table counts."""
        x, y = np.broadcast_arrays(
            np.asarray(first, np.float64), np.asarray(second, np.float64)
        )
        bad = np.broadcast_to(self.suspect, self.values.shape)
        i, s, _ = self._axes[0].locate(x)
        j, t, _ = self._axes[1].locate(y)
        counts = np.zeros(x.shape, dtype=bool)
        for row, of_row in ((i, 1.0 - s), (i + 1, s)):
            for column, of_column in ((j, 1.0 - t), (j + 1, t)):
                counts |= bad[row, column] & (of_row * of_column > 1e-9)
        return np.asarray(counts * np.int64(Note.SUSPECT_PRINT))


def curve(
    name: str,
    x: str,
    y: str = "C",
    *,
    where: Mapping[str, str] | None = None,
    through_zero: bool = False,
    log_x: bool = False,
    log_y: bool = False,
) -> Curve:
    """Read a curve.

    Parameters
    ----------
    name
        Table.
    x, y
        Columns of the argument and the value.
    where
        Columns and the texts that pick the rows.
    through_zero
        Whether to add the point (0, 0), which the print leaves out.
    log_x, log_y
        See `Curve`.
    """
    read = chosen(name, where or {})
    points = sorted((float(row[x]), float(row[y])) for row in read)
    if through_zero:
        points.insert(0, (0.0, 0.0))
    first, second = (np.array(column) for column in zip(*points, strict=True))
    return Curve(name, *_credits(read), first, second, log_x, log_y)


def grid(
    name: str,
    x: str,
    y: str,
    value: str = "C",
    *,
    where: Mapping[str, str] | None = None,
    through_zero: bool = False,
    log_x: bool = False,
    log_y: bool = False,
    log_values: bool = False,
) -> Grid:
    """Read a table of two arguments; every pair of them must be there.

    Parameters are those of `curve` and `Grid`; with `through_zero` a row of zeros is
    added at x = 0.

    Raises
    ------
    ValueError
        If a pair is missing, or there twice.
    """
    read = chosen(name, where or {})
    first = np.array(sorted({float(row[x]) for row in read}))
    second = np.array(sorted({float(row[y]) for row in read}))
    values = np.full((len(first), len(second)), np.nan)
    suspect = np.zeros(values.shape, dtype=bool)
    for row in read:
        i = np.searchsorted(first, float(row[x]))
        j = np.searchsorted(second, float(row[y]))
        if not np.isnan(values[i, j]):
            raise ValueError(f"{name}: {x} {row[x]}, {y} {row[y]} is there twice")
        values[i, j], suspect[i, j] = float(row[value]), _is_doubted(row)
    if np.isnan(values).any():
        raise ValueError(f"{name}: the grid over {x} and {y} has gaps")
    if through_zero:
        first = np.concatenate([[0.0], first])
        values = np.concatenate([np.zeros((1, len(second))), values])
        suspect = np.concatenate([np.zeros((1, len(second)), dtype=bool), suspect])
    logs = log_x, log_y, log_values
    return Grid(name, *_credits(read), first, second, values, *logs, suspect)


def from_table(
    book: Curve | Grid,
    value: FloatArray,
    notes: npt.ArrayLike,
    reference: str,
    *,
    factor: npt.ArrayLike = 1.0,
    confidence: str | None = None,
    factors: Factors = (),
) -> Coefficient:
    """Make a coefficient that is credited to a table.

    Parameters
    ----------
    book
        The table.
    value, notes, reference, factor
        See `Coefficient`.
    confidence
        Class, where it is not that of the table.
    factors
        See `Coefficient`.
    """
    return make(
        value,
        notes,
        reference=reference,
        table=book.name,
        source=book.source,
        confidence=book.confidence if confidence is None else confidence,
        factor=factor,
        factors=factors,
    )


def where_used(book: Curve | Grid, changed: BoolArray) -> Factors:
    """Credit a factor to its table where it changed a value; nothing if nowhere."""
    if not changed.any():
        return ()
    return ((changed, Credit("", book.name, book.source, book.confidence)),)


def _credits(read: list[Row]) -> tuple[str, str]:
    sources = list(dict.fromkeys(row["source"] for row in read))
    classes = {_class(row["confidence"]) for row in read}
    return "; ".join(sources), worst(*classes)


def _class(words: str) -> str:
    """Class of a row; a longer remark counts by the lowest class that it names."""
    for name in ("low", "memory", "common practice", "seen", "cross-checked"):
        if name in words:
            return name
    return "low"


def _between(
    one: FloatArray, two: FloatArray, share: FloatArray, log: bool
) -> FloatArray:
    if log:
        # one (two / one)^share: numpy's exp and log take less time than its power.
        way = np.asarray(two / one)  # of single numbers it is none
        np.log(way, out=way)
        way *= share
        np.exp(way, out=way)
        way *= one
        return way
    way = two - one
    way *= share
    way += one
    return way


def _is_between(share: FloatArray) -> BoolArray:
    """Whether a share lies off both rows, whatever rounding did to it."""
    return np.asarray((share > ROUNDING) & (share < 1.0 - ROUNDING))


def _bits(outside: BoolArray, between: BoolArray) -> IntArray:
    bits = np.multiply(outside, int(Note.CLAMPED), dtype=np.int64)
    bits += between  # the bit of 1, `Note.INTERPOLATED`
    return np.asarray(bits)
