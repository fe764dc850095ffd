"""Data tables: read from CSV, looked up on whole arrays."""

import csv
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

import numpy as np
import numpy.typing as npt

from elbowroom.layout import FloatArray, IntArray

from .coefficient import Note, worst

Row = Mapping[str, str]


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
        Each row by column name, as text.
    """
    text = (files("elbowroom.physics") / "data" / f"{name}.csv").read_text("utf-8")
    return tuple(csv.DictReader(text.splitlines()))


def table_names() -> tuple[str, ...]:
    """Name of every table in `physics/data`."""
    folder = files("elbowroom.physics") / "data"
    return tuple(
        sorted(p.name[:-4] for p in folder.iterdir() if p.name.endswith(".csv"))
    )


def chosen(name: str, where: Mapping[str, str]) -> list[Row]:
    """Rows of a table whose columns have the given texts."""
    return [r for r in rows(name) if all(r[k] == v for k, v in where.items())]


@dataclass(frozen=True, slots=True, eq=False)
class Curve:
    """A published curve: k values over one argument.

    Parameters
    ----------
    name, source, confidence
        Table, document and class.
    x, y
        Arguments, rising, and values, shape (k,).
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

    def at(self, argument: npt.ArrayLike) -> tuple[FloatArray, IntArray]:
        """Values and `Note` bits at arguments, in their shape; clamped at the ends."""
        wanted = np.asarray(argument, dtype=np.float64)
        inside = np.clip(wanted, self.x[0], self.x[-1])
        low, share = _share(self.x, inside, self.log_x)
        value = _between(self.y[low], self.y[low + 1], share, self.log_y)
        return value, _bits(share, wanted != inside)


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

    def at(
        self, first: npt.ArrayLike, second: npt.ArrayLike
    ) -> tuple[FloatArray, IntArray]:
        """Values and `Note` bits at pairs of arguments, clamped at the edges."""
        x, y = (np.asarray(value, dtype=np.float64) for value in (first, second))
        in_x, in_y = (
            np.clip(x, self.x[0], self.x[-1]),
            np.clip(y, self.y[0], self.y[-1]),
        )
        i, s = _share(self.x, in_x, self.log_x)
        j, t = _share(self.y, in_y, self.log_y)
        flat = self.values.ravel()
        corner = i * len(self.y) + j
        below = _between(flat.take(corner), flat.take(corner + 1), t, False)
        corner = corner + len(self.y)
        above = _between(flat.take(corner), flat.take(corner + 1), t, False)
        value = _between(below, above, s, self.log_values)
        bits = _bits(s, x != in_x) | _bits(t, y != in_y)
        return value, bits


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
    both = np.array(points)
    return Curve(name, *_credits(read), both[:, 0], both[:, 1], log_x, log_y)


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
        If a pair is missing.
    """
    read = chosen(name, where or {})
    first = np.array(sorted({float(row[x]) for row in read}))
    second = np.array(sorted({float(row[y]) for row in read}))
    values = np.full((len(first), len(second)), np.nan)
    for row in read:
        i = np.searchsorted(first, float(row[x]))
        j = np.searchsorted(second, float(row[y]))
        values[i, j] = float(row[value])
    if np.isnan(values).any():
        raise ValueError(f"{name}: the grid over {x} and {y} has gaps")
    if through_zero:
        first = np.concatenate([[0.0], first])
        values = np.concatenate([np.zeros((1, len(second))), values])
    return Grid(name, *_credits(read), first, second, values, log_x, log_y, log_values)


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


def _share(axis: FloatArray, x: FloatArray, log: bool) -> tuple[IntArray, FloatArray]:
    """Place below each x on an axis, and the share of the way to the next."""
    low = np.minimum(np.searchsorted(axis, x, side="right") - 1, len(axis) - 2)
    if log:
        # On rows the logarithms cancel exactly.
        logs = np.log(axis)
        return low, (np.log(x) - logs.take(low)) / np.diff(logs).take(low)
    return low, (x - axis.take(low)) / np.diff(axis).take(low)


def _between(
    one: FloatArray, two: FloatArray, share: FloatArray, log: bool
) -> FloatArray:
    if log:
        return np.asarray(one * (two / one) ** share)
    return np.asarray(one + (two - one) * share)


def _bits(share: FloatArray, outside: npt.NDArray[np.bool_]) -> IntArray:
    between = (share > 1e-12) & (share < 1.0 - 1e-12)
    clamped = outside.astype(np.int64) * int(Note.CLAMPED)
    return np.asarray(clamped | between.astype(np.int64) * int(Note.INTERPOLATED))
