"""Quantities of a layout: sheet, lengths by size, fittings in words, insulation."""

import re
from collections import Counter
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from elbowroom.layout import (
    FloatArray,
    IntArray,
    Section,
    Shape,
    heads,
    node_kinds,
    units,
)

from .analysis import Analysis
from .coefficient import check_word
from .elements import Kind
from .pressure_checks import surface_of
from .tables import chosen, rows

_NO_SHEET = -1
ALLOWANCE = 0.15  # on the mass for seams, joints and waste: 0.10 to 0.20 in practice
_RECTANGULAR = "rectangular, low and medium velocity practice"
_ROUND = "round, general ventilation"


class Stock(NamedTuple):
    """Lengths that duct comes in, and spacing of hangers, m."""

    flat_piece: float
    round_piece: float
    flat_hangers: float
    round_hangers: float


# By the unit of sizes, as each half of the trade has them: common practice, no
# published source; the local code and the maker decide.
STOCK = {
    "mm": Stock(1.2, 3.0, 2.4, 3.0),
    "in": Stock(4 * units.FOOT, 10 * units.FOOT, 8 * units.FOOT, 10 * units.FOOT),
}


@dataclass(frozen=True, slots=True)
class SheetRow:
    """Sheet metal of one gauge."""

    gauge: int
    area: float  # m²
    mass: float  # kg, with the allowance


@dataclass(frozen=True, slots=True)
class LengthRow:
    """Duct of one section: length, m, surface, m², and insulation, m².

    `gauge` and `surface`, which is that of sheet, are None for flexible duct;
    `stretched` is what its length is when it is pulled tight, as it is bought, and that
    of rigid duct again.
    """

    section: Section
    gauge: int | None
    length: float
    surface: float | None
    insulation: float
    stretched: float


@dataclass(frozen=True, slots=True)
class FittingRow:
    """Fittings of one kind and size, or what else is ordered by number.

    Terminals of one kind have no section; components and balancing dampers are no
    fittings, as no shop makes them of sheet.
    """

    what: str
    section: Section | None
    count: int
    is_fitting: bool = True


@dataclass(frozen=True, slots=True)
class Quantities:
    """What a layout is made of.

    `joints` are those of the pieces that straight duct comes in, with one at each end
    of a stretch without a fitting; `hangers` carry straight duct.
    """

    lengths: tuple[LengthRow, ...]
    fittings: tuple[FittingRow, ...]
    sheet: tuple[SheetRow, ...]
    joints: int
    hangers: int

    @property
    def fitting_count(self) -> int:
        """Number of fittings, without terminals, components and dampers."""
        return sum(row.count for row in self.fittings if row.is_fitting)


def quantities(analysis: Analysis, unit: str = "mm") -> Quantities:
    """Count what a layout is made of.

    Parameters
    ----------
    analysis
        The analysed layout.
    unit
        Of the sizes in the names of fittings, 'mm' or 'in'; it chooses the `STOCK` that
        pieces and hangers are counted by too.

    Returns
    -------
    quantities
        Straight duct with the arcs of its bends counts by length along the
        centreline; transitions, taps and end caps are counted as fittings, and their
        sheet with the duct, but for that of the caps. Flexible duct is no sheet; no
        stiffeners. Terminals, components and the dampers that `balance` sets are
        counted beside the fittings, but for the damper of an entry, which is part of
        it.

    References
    ----------
    Gauge by longest side or diameter and mass of sheet: `gauge.csv`.
    """
    graph, ducts = analysis.graph, analysis.graph.ducts
    gauge = gauges(ducts.shape, ducts.width, ducts.height)
    surface = surface_of(analysis)
    thick = graph.schedule.insulation
    wrapped = surface_of(analysis, thick) if thick > 0.0 else np.zeros(len(surface))
    sections = [graph.section(duct) for duct in range(len(gauge))]
    flexible = analysis.conditions.is_flexible
    gauge[flexible] = _NO_SHEET
    shorter = np.where(flexible, analysis.conditions.compression, 0.0)
    stretched = ducts.length / (1.0 - shorter)
    named = np.array([section.words for section in sections])
    lengths = []
    kinds = set(zip(named.tolist(), flexible.tolist(), strict=True))
    for words, soft in sorted(kinds, key=lambda kind: (_by_size(kind[0]), kind[1])):
        mine = (named == words) & (flexible == soft)
        first = int(np.argmax(mine))
        lengths.append(
            LengthRow(
                sections[first],
                None if soft else int(gauge[first]),
                float(ducts.length[mine].sum()),
                None if soft else float(surface[mine].sum()),
                float(wrapped[mine].sum()),
                float(stretched[mine].sum()),
            )
        )
    sheet = []
    for number in sorted(set(gauge[~flexible].tolist()), reverse=True):
        area = float(surface[gauge == number].sum())
        mass = area * sheet_mass(int(number)) * (1.0 + ALLOWANCE)
        sheet.append(SheetRow(int(number), area, mass))
    counted: Counter[tuple[str, Section | None, bool]] = Counter()
    e = analysis.elements
    for element, kind in enumerate(e.kind.tolist()):
        duct = int(e.duct[element])
        section, what = sections[int(analysis.section_duct[element])], ""
        if kind == Kind.MAIN:
            before = ducts.arriving(duct)
            if section != before:  # its loss is that of the main past the branch
                what = f"change of size past a branch, from {before.words_in(unit)}"
        elif (
            kind in (Kind.TRANSITION, Kind.BRANCH)
            or (kind == Kind.BEND and not flexible[duct])  # flexible duct bends itself
            or (kind == Kind.MEETING and graph.meetings.is_branch[e.row[element]])
        ):
            what = analysis.words(element, unit, counted=False)
        elif kind == Kind.COMPONENT:
            counted[analysis.words(element, unit, counted=False), section, False] += 1
        if what:
            counted[what, section, True] += 1
    for duct in _capped(analysis):
        counted["end cap", sections[duct], True] += 1
    dampers = analysis.blades
    to_set = dampers.is_needed & ~dampers.in_entry
    for duct in dampers.duct[to_set].tolist():
        collar = ", in a rigid collar" * bool(flexible[duct])
        counted[f"balancing damper{collar}", sections[duct], False] += 1
    of_kind = [spec.kind for spec in graph.schedule.terminals.values() if spec.kind]
    for what in of_kind:
        counted[what, None, False] += 1
    if len(graph.terminals.name) > len(of_kind):
        rest = len(graph.terminals.name) - len(of_kind)
        counted["terminal, kind not declared", None, False] += rest
    fittings = [
        FittingRow(what, section, count, is_fitting)
        for (what, section, is_fitting), count in sorted(
            counted.items(),
            key=lambda row: (_by_size(row[0][0]), _by_size(_words(row[0][1]))),
        )
    ]
    begins, length = _stretches(analysis)
    is_round = ducts.shape[begins] == Shape.ROUND
    stock = STOCK[unit]
    piece = np.where(is_round, stock.round_piece, stock.flat_piece)
    apart = np.where(is_round, stock.round_hangers, stock.flat_hangers)
    return Quantities(
        tuple(lengths),
        tuple(fittings),
        tuple(sheet),
        int((np.ceil(length / piece - 1e-9) + 1).sum()),
        int(np.ceil(length / apart - 1e-9).sum()),
    )


def _stretches(analysis: Analysis) -> tuple[IntArray, FloatArray]:
    """First duct of each stretch that no fitting parts, and its length, m.

    A drawn transition is part of what lies beside it, whose ends have its joints.
    """
    graph, ducts = analysis.graph, analysis.graph.ducts
    kinds, soft = node_kinds(graph), analysis.conditions.is_flexible
    bare = np.array([kinds[node] == "joint" for node in ducts.start.tolist()])
    goes_on = bare & (soft == soft[ducts.parent])
    first = (~goes_on).nonzero()[0]
    return first, np.bincount(heads(goes_on, ducts.parent), ducts.length)[first]


def _capped(analysis: Analysis) -> list[int]:
    """Ducts that are shut at their end: as is declared, or behind a tap at the end."""
    graph, legs = analysis.graph, analysis.graph.legs
    at_end = legs.is_branch & (legs.leg_count == 2)
    return [*graph.terminals.closed.tolist(), *legs.common[at_end].tolist()]


def _by_size(words: str) -> list[tuple[str, float]]:
    """Key that sorts words by the numbers in them: 300x200 before 1200x150."""
    parts = re.split(r"(\d+(?:\.\d+)?)", words)
    numbers = [float(number) for number in parts[1::2]] + [0.0]
    return list(zip(parts[::2], numbers, strict=True))


def _words(section: Section | None) -> str:
    return "" if section is None else section.words


def sheet_mass(gauge: int) -> float:
    """Mass of galvanised sheet of a US gauge, kg/m².

    Raises
    ------
    LookupRefused
        If there is no such gauge.

    Examples
    --------
    >>> sheet_mass(26)
    4.42
    """
    sheets = chosen("gauge", {"item": "sheet"})
    masses = {row["gauge_US"]: row["mass_kg_m2"] for row in sheets}
    check_word("gauge", f"{gauge:g}", masses)
    return float(masses[f"{gauge:g}"])


def gauges(shape: IntArray, width: FloatArray, height: FloatArray) -> IntArray:
    """US gauge that practice takes for each section, shape (d,).

    References
    ----------
    `gauge.csv`: rectangular by the longest side, round by the diameter, at low and
    medium pressure. Reinforcement and joints decide too; secondary sources. Where it
    has a limit in inches that the metric one is rounded from, that counts.
    """
    longest = np.maximum(width, height) * 1e3
    out = np.zeros(len(shape), dtype=np.int64)
    for name, mine in (
        (_ROUND, shape == Shape.ROUND),
        (_RECTANGULAR, shape != Shape.ROUND),
    ):
        ladder = [
            (
                float(row["size_in"]) * 25.4
                if row["size_in"]
                else _largest(row["size_mm"]),
                int(row["gauge_US"]),
            )
            for row in rows("gauge")
            if row["item"] == name
        ]
        ladder.sort()
        limits = np.array([limit for limit, _ in ladder])
        numbers = np.array([number for _, number in ladder])
        # Sizes in inches are written in whole millimetres too.
        place = np.searchsorted(limits, longest - 0.5)
        out[mine] = numbers[np.minimum(place, len(numbers) - 1)][mine]
    return out


def _largest(size: str) -> float:
    """Largest side that a row of the table is for, mm: '300', '152-483', '1270-up'."""
    if size.startswith("above") or size.endswith("up"):
        return float("inf")
    return float(size.rpartition("-")[2])
