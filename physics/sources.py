"""Where the numbers come from: every table of the book, its sources and its range."""

import csv
from dataclasses import dataclass
from hashlib import sha256
from importlib.resources import files
from itertools import takewhile

from .coefficient import worst
from .tables import numbered_rows, rows, table_names

MISSING = "missing_data"
# Not tables of fittings: judgement of the tables, and what there is no table for.
_OTHERS = (MISSING, "uncertainty")
_WORDS = ("source", "confidence", "reference_velocity", "note")
# A table is asked by what stands before the first of these; behind it are results too.
_RESULTS = (
    "C",
    "C_low",
    "C_or_rule",
    "K_angle",
    "K_Re",
    "K_aspect",
    "pair_factor",
    "length_loss_multiplier",
    "friction_multiplier",
    "absolute_roughness_m",
    "coefficient_m3_s_m2_Pa065",
    "thickness_mm",
)


@dataclass(frozen=True, slots=True)
class TableSource:
    """A table of `physics/data`.

    Parameters
    ----------
    name
        Its name.
    sources
        Every publication that a row names, in the order of the rows.
    confidence
        The lowest class of its rows.
    ranges
        Smallest and largest number of each column that is asked by, by column.
    rows
        How many rows it has.
    checksum
        SHA-256 of the file as shipped.
    notes
        What is noted at its rows, each once and with its first line.
    """

    name: str
    sources: tuple[str, ...]
    confidence: str
    ranges: dict[str, tuple[float, float]]
    rows: int
    checksum: str
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Missing:
    """A fitting with no published data, and what is taken instead."""

    what: str
    taken_instead: str
    note: str
    source: str


def table_sources() -> list[TableSource]:
    """Every table of the book, by name."""
    return [_source(name) for name in table_names() if name not in _OTHERS]


def missing() -> list[Missing]:
    """Every fitting with no published data."""
    return [
        Missing(row["what"], row["taken_instead"], row["note"], row["source"])
        for row in rows(MISSING)
    ]


def _source(name: str) -> TableSource:
    content = (files("elbowroom.physics") / "data" / f"{name}.csv").read_bytes()
    every = rows(name)
    head = next(csv.reader([content.decode("utf-8").splitlines()[0]]))
    before = takewhile(lambda column: column not in _RESULTS, head)
    asked = [column for column in before if column not in _WORDS]
    return TableSource(
        name,
        tuple(dict.fromkeys(row["source"] for row in every)),
        worst(*(row["confidence"] for row in every)),
        {
            column: (min(numbers), max(numbers))
            for column in asked
            if (numbers := _numbers([row[column] for row in every]))
        },
        len(every),
        sha256(content).hexdigest(),
        _notes(name),
    )


def _notes(name: str) -> tuple[str, ...]:
    first: dict[str, int] = {}
    for line, row in numbered_rows(name):
        first.setdefault(row.get("note", ""), line)
    return tuple(f"line {line}: {note}" for note, line in first.items() if note)


def _numbers(cells: list[str]) -> list[float]:
    """Numbers of a column; empty where it holds words."""
    out = []
    for cell in cells:
        try:
            out.append(float(cell))
        except ValueError:
            if cell:
                return []
    return out
