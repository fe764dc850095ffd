"""Prints beside the book: what its formulas are checked against."""

import csv
from collections.abc import Mapping
from pathlib import Path

DATA = Path(__file__).parent / "data"


def rows_of(name: str, **where: str) -> list[Mapping[str, str]]:
    """Rows of a CSV in `tests/data` whose columns have the given texts."""
    with open(DATA / f"{name}.csv", encoding="utf-8", newline="") as file:
        rows: list[Mapping[str, str]] = list(csv.DictReader(file))
    found = [row for row in rows if all(row[k] == v for k, v in where.items())]
    assert found, f"no rows in {name} for {where}"
    return found
