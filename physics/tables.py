"""Data tables: read from CSV, looked up on whole arrays."""

import csv
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import cache, partial
from importlib.resources import files

import numpy as np
import numpy.typing as npt

from elbowroom.layout import BoolArray, FloatArray, IntArray

from .axes import Axis, axis
from .coefficient import Coefficient, Credit, Factors, Note, make, worst

Row = Mapping[str, str]
_SUSPECT = "SUSPECT: "  # begins the note of a print that breaks the trend
_CHUNK = 1 << 14  # elements at a time, so that every array of a pass stays in cache


def _no_lines() -> IntArray:
    return np.zeros(0, dtype=np.int64)


@cache
def numbered_rows(name: str) -> tuple[tuple[int, Row], ...]:
    """Rows of a table with the line of the CSV on which each stands."""
    text = (files("elbowroom.physics") / "data" / f"{name}.csv").read_text("utf-8")
    return tuple(enumerate(csv.DictReader(text.splitlines()), start=2))


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
        Each row by column name, as text. The first stands on line 2 of the file.
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
    return [row for _, row in _chosen(name, where)]


def _chosen(name: str, where: Mapping[str, str]) -> list[tuple[int, Row]]:
    return [
        (line, row)
        for line, row in numbered_rows(name)
        if all(row[k] == v for k, v in where.items())
    ]


@cache
def _doubted(name: str) -> tuple[int, ...]:
    return tuple(
        line
        for line, row in numbered_rows(name)
        if row.get("note", "").startswith(_SUSPECT)
    )


def doubts(name: str) -> tuple[str, ...]:
    """What is said of the prints of a table that break its trend, with their lines."""
    every = dict(numbered_rows(name)) if name in table_names() else {}
    return tuple(
        f"line {line} of {name}: {row['note'].removeprefix(_SUSPECT)}"
        for line, row in every.items()
        if row.get("note", "").startswith(_SUSPECT)
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
    lines
        Line of the CSV of each value, 0 where none is printed, shape (k,).
    """

    name: str
    source: str
    confidence: str
    x: FloatArray
    y: FloatArray
    log_x: bool = False
    log_y: bool = False
    lines: IntArray = field(default_factory=_no_lines)
    _axis: Axis = field(init=False, repr=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "_axis", axis(self.x, self.log_x))
        if len(self.lines) == 0:
            object.__setattr__(self, "lines", np.zeros(len(self.x), dtype=np.int64))

    def at(self, argument: npt.ArrayLike) -> tuple[FloatArray, IntArray]:
        """Values and `Note` bits at arguments, in their shape; clamped at the ends."""
        low, share, outside = self._axis.locate(np.asarray(argument, dtype=np.float64))
        value = _between(
            self.y.take(low, axis=-1), self.y.take(low + 1, axis=-1), share, self.log_y
        )
        return np.asarray(value), _bits(outside, _is_between(share))

    def nearest(self, argument: npt.ArrayLike) -> IntArray:
        """Line of the CSV whose argument is nearest."""
        low, share, _ = self._axis.locate(np.asarray(argument, dtype=np.float64))
        return np.asarray(self.lines.take(low + (share > 0.5)))


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
    lines
        Line of the CSV of each value, 0 where none is printed, shape (k, m).
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
    lines: IntArray = field(default_factory=_no_lines)
    _axes: tuple[Axis, Axis] = field(init=False, repr=False)

    def __post_init__(self) -> None:
        both = axis(self.x, self.log_x), axis(self.y, self.log_y)
        object.__setattr__(self, "_axes", both)
        if self.lines.size == 0:
            none = np.zeros(self.values.shape, dtype=np.int64)
            object.__setattr__(self, "lines", none)

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

    def nearest(self, first: npt.ArrayLike, second: npt.ArrayLike) -> IntArray:
        """Line of the CSV whose arguments are nearest."""
        x, y = np.broadcast_arrays(
            np.asarray(first, np.float64), np.asarray(second, np.float64)
        )
        i, s, _ = self._axes[0].locate(x)
        j, t, _ = self._axes[1].locate(y)
        flat = (i + (s > 0.5)) * len(self.y) + j + (t > 0.5)
        return np.asarray(self.lines.ravel().take(flat))

    def doubted(self, first: npt.ArrayLike, second: npt.ArrayLike) -> IntArray:
        """`Note` bit where a print that breaks the trend of the table counts.

        Only tables whose rows have notes are asked.
        """
        x, y = np.broadcast_arrays(
            np.asarray(first, np.float64), np.asarray(second, np.float64)
        )
        bad = np.isin(self.lines, _doubted(self.name))
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
    read = _chosen(name, where or {})
    points = sorted((float(row[x]), float(row[y]), line) for line, row in read)
    if through_zero:
        points.insert(0, (0.0, 0.0, 0))
    first, second, lines = (np.array(column) for column in zip(*points, strict=True))
    return Curve(name, *_credits(read), first, second, log_x, log_y, lines)


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
    read = _chosen(name, where or {})
    first = np.array(sorted({float(row[x]) for _, row in read}))
    second = np.array(sorted({float(row[y]) for _, row in read}))
    values = np.full((len(first), len(second)), np.nan)
    lines = np.zeros(values.shape, dtype=np.int64)
    for line, row in read:
        i = np.searchsorted(first, float(row[x]))
        j = np.searchsorted(second, float(row[y]))
        if lines[i, j]:
            raise ValueError(f"{name}: lines {lines[i, j]} and {line} say it twice")
        values[i, j], lines[i, j] = float(row[value]), line
    if np.isnan(values).any():
        raise ValueError(f"{name}: the grid over {x} and {y} has gaps")
    if through_zero:
        first = np.concatenate([[0.0], first])
        values = np.concatenate([np.zeros((1, len(second))), values])
        lines = np.concatenate([np.zeros((1, len(second)), dtype=np.int64), lines])
    logs = log_x, log_y, log_values
    return Grid(name, *_credits(read), first, second, values, *logs, lines)


def from_table(
    book: Curve | Grid,
    value: FloatArray,
    notes: npt.ArrayLike,
    reference: str,
    *,
    factor: npt.ArrayLike = 1.0,
    at: tuple[npt.ArrayLike, ...] = (),
    lines: Callable[[], npt.ArrayLike] | None = None,
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
    at
        Arguments at which the table was looked up, for the line that is nearest.
    lines
        In place of `at`, see `Coefficient`.
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
        lines=lines or partial(book.nearest, *at),
        factors=factors,
    )


def where_used(book: Curve | Grid, changed: BoolArray) -> Factors:
    """Credit a factor to its table where it changed a value; nothing if nowhere."""
    if not changed.any():
        return ()
    return ((changed, Credit("", book.name, book.source, book.confidence)),)


def _credits(read: list[tuple[int, Row]]) -> tuple[str, str]:
    sources = list(dict.fromkeys(row["source"] for _, row in read))
    classes = {_class(row["confidence"]) for _, row in read}
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
        way = two / one
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
    return np.asarray((share > 1e-12) & (share < 1.0 - 1e-12))


def _bits(outside: BoolArray, between: BoolArray) -> IntArray:
    bits = np.multiply(outside, int(Note.CLAMPED), dtype=np.int64)
    bits += between  # the bit of 1, `Note.INTERPOLATED`
    return np.asarray(bits)
