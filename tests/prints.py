"""The printed rows of tables: those of the book, and others that it is checked against.

A table is one of `physics/data`, or else of `tests/data`.
"""

import csv
from collections.abc import Callable, Mapping
from pathlib import Path

import numpy as np

from elbowroom.layout import FloatArray
from elbowroom.physics import Coefficient, Note, tables

DATA = Path(__file__).parent / "data"
Rows = list[Mapping[str, str]]


def rows_of(name: str, **where: str) -> Rows:
    """Rows of a table whose columns have the given texts: there must be some."""
    rows = list(tables.rows(name) if name in tables.table_names() else _beside(name))
    found = [row for row in rows if all(row[k] == v for k, v in where.items())]
    assert found, f"no rows in {name} for {where}"
    return found


def _beside(name: str) -> Rows:
    with open(DATA / f"{name}.csv", encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def column(rows: Rows, name: str) -> FloatArray:
    """Numbers of a column."""
    return np.array([float(row[name]) for row in rows])


def columns(name: str, where: Mapping[str, str], *names: str) -> tuple[FloatArray, ...]:
    """Numbers of some columns of the rows that `rows_of` finds."""
    rows = rows_of(name, **where)
    return tuple(column(rows, each) for each in names)


def read_back(
    reference: str,
    name: str,
    where: Mapping[str, str],
    names: tuple[str, ...],
    work: Callable[..., Coefficient],
    *,
    atol: float = 0.0,
) -> None:
    """Check that every row of a table comes out of the function that looks it up."""
    *arguments, printed = columns(name, where, *names, "C")
    found = work(*arguments)
    # What is left is the rounding of degrees to radians and of one logarithm.
    np.testing.assert_allclose(found.value, printed, rtol=1e-9, atol=atol)
    assert not (found.notes & int(Note.INTERPOLATED | Note.CLAMPED)).any()
    assert found.reference == reference
