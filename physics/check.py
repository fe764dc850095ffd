"""One check of an analysed layout: its worst place, its limit, its source."""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from elbowroom.layout import (
    BoolArray,
    FloatArray,
)

from .analysis import Analysis
from .flows import feeds_several

CheckDimension = Literal[
    "velocity",
    "length",
    "pressure",
    "airflow",
    "airflow for cooling",
    "temperature",
    "temperature difference",
    "share",
    "ratio",
    "level",
]
"""What a check may measure; `viewer.display` has the units and digits of each."""


@dataclass(frozen=True, slots=True)
class Check:
    """One check.

    Parameters
    ----------
    rule
        What is looked at, in words.
    dimension
        What the value measures, as in the table of units; 'level' in dB.
    value, limit
        The worst value, and its limit in SI units; None where there is no limit.
    at
        Where the worst value is.
    failing
        Every place beyond its limit.
    is_kept
        Whether no place is beyond it.
    source, confidence
        Of the limit.
    remedy
        What to do, without a full stop; empty if it is kept.
    """

    rule: str
    dimension: CheckDimension
    value: float
    limit: float | None
    at: str
    failing: tuple[str, ...]
    is_kept: bool
    source: str
    confidence: str
    remedy: str = ""


def of_ducts(
    analysis: Analysis,
    rule: str,
    dimension: CheckDimension,
    value: FloatArray,
    limit: FloatArray,
    source: str,
    confidence: str,
    remedy: str,
) -> Check:
    """A check of every duct: its worst place, by share of the limit."""
    over = np.flatnonzero(value > limit * (1 + 1e-9))
    worst = int(np.argmax(value / limit))
    return Check(
        rule,
        dimension,
        float(value[worst]),
        float(limit[worst]),
        run_of(analysis, worst),
        tuple(dict.fromkeys(run_of(analysis, int(duct)) for duct in over)),
        len(over) == 0,
        source,
        confidence,
        remedy if len(over) else "",
    )


def run_of(analysis: Analysis, duct: int) -> str:
    """Name of the run of a duct."""
    name: str = analysis.graph.drawing.names[int(analysis.graph.ducts.run[duct])]
    return name


def roles(analysis: Analysis) -> tuple[BoolArray, BoolArray]:
    """Whether each duct feeds several terminals, as a main, and whether it ends at one.

    That ends at one too which goes on to it straight as another run. Shape (d,) each.
    """
    ducts, ends = analysis.graph.ducts, analysis.graph.terminals.duct
    last = np.zeros(len(ducts.parent), dtype=bool)
    last[ducts.stretch[ends]] = True
    return feeds_several(analysis.graph), last[ducts.stretch]
