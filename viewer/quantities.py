"""What a layout is made of, as tables and plain data."""

import math
from collections.abc import Sequence
from typing import Any

from elbowroom.layout import Notice, counted, units
from elbowroom.physics import ALLOWANCE, STOCK, Analysis, LengthRow, Quantities

from .display import Display
from .outlet import plain
from .results import notice
from .terminal import TerminalTable, right


def quantity_tables(found: Quantities) -> dict[str, list[dict[str, Any]]]:
    """Tables of a layout's quantities, in SI units."""
    return {
        "lengths": [
            {
                "section": row.section.words,
                "gauge": row.gauge,
                "length_m": row.length,
                "stretched_length_m": row.stretched,
                "surface_m2": row.surface,
                "insulation_m2": row.insulation,
            }
            for row in found.lengths
        ],
        "fittings": [
            {
                "fitting": row.what,
                "section": "" if row.section is None else row.section.words,
                "count": row.count,
            }
            for row in found.fittings
        ],
        "sheet": [
            {"gauge": row.gauge, "area_m2": row.area, "mass_kg": row.mass}
            for row in found.sheet
        ],
    }


def quantities_result(
    sides: Sequence[Analysis],
    found: Sequence[Quantities],
    told: Sequence[Sequence[Notice]],
) -> dict[str, Any]:
    """Result of `quantities` as plain data, as `quantities.schema.json` says.

    Of a layout, or of a supply and the returns behind it, with what is to be said of
    each drawing.
    """
    supply, *returns = map(_quantities_row, sides, found, told)
    return {"schema": "elbowroom.quantities/1", **supply, "returns": returns}


def _quantities_row(
    analysis: Analysis, found: Quantities, told: Sequence[Notice]
) -> dict[str, Any]:
    return {
        "file": analysis.graph.drawing.file,
        **quantity_tables(found),
        "joints": found.joints,
        "hangers": found.hangers,
        "flags": [notice(said) for said in told],
    }


def gauge_words(row: LengthRow, display: Display) -> str:
    """Gauge of a row of straight duct, or how long its flexible duct is when tight."""
    if row.gauge is not None:
        return str(row.gauge)
    # Rounded up, as less than it would not reach.
    tenths = math.ceil(10 * units.to_unit(row.stretched, display.length) - 1e-6)
    return f"flexible, {tenths / 10:.1f} {display.length} pulled tight"


def length_cells(row: LengthRow, display: Display) -> list[str]:
    """A row of straight duct as it is printed; flexible duct is no sheet."""
    return [
        display.size(row.section),
        gauge_words(row, display),
        display.lengths(row.length, 1),
        "–" if row.surface is None else display.areas(row.surface),
        display.areas(row.insulation) if row.insulation else "–",
    ]


def quantity_totals(found: Quantities, display: Display) -> tuple[list[str], list[str]]:
    """Last rows of the tables of duct and of sheet: what they come to in all."""
    insulation = sum(row.insulation for row in found.lengths)
    long = display.lengths(sum(row.length for row in found.lengths), 1)
    sheet = display.areas(sum(row.area for row in found.sheet))
    mass = display.masses(sum(row.mass for row in found.sheet))
    wrapped = display.areas(insulation) if insulation else "–"
    return ["in all", "", long, sheet, wrapped], ["in all", sheet, mass]


def joints_words(found: Quantities, display: Display) -> str:
    """Joints and hangers, with what was taken for them."""
    flat, round_, flat_hangers, round_hangers = (
        f"{units.to_unit(length, display.length):g} {display.length}"
        for length in STOCK[display.side]
    )
    return (
        f"About {counted(found.joints, 'joint')}, rectangular duct in pieces of {flat} "
        f"and round duct of {round_}, and {counted(found.hangers, 'hanger')}, every "
        f"{flat_hangers} and {round_hangers} (common practice, no published source)."
    )


def print_quantities(
    analysis: Analysis, found: Quantities, display: Display, console: Any
) -> None:
    """Print what a layout is made of."""
    area = display.area
    numbers = display.length, f"sheet, {area}", f"insulation, {area}"
    title = f"Duct of {plain(analysis.graph.drawing.file)}"
    table = TerminalTable(title, "section", "gauge", *map(right, numbers))
    for row in found.lengths:
        table.add_row(*length_cells(row, display))
    of_duct, of_sheet = quantity_totals(found, display)
    table.add_row(*of_duct)
    console.print(table)
    title = "Fittings, components, dampers and terminals"
    table = TerminalTable(title, "what", "section", right("count"))
    for fitting in found.fittings:
        size = "" if fitting.section is None else display.size(fitting.section)
        table.add_row(plain(fitting.what), size, str(fitting.count))
    console.print(table)
    table = TerminalTable(
        f"Sheet metal; the mass with {100 * ALLOWANCE:g} % for seams, joints and waste",
        "gauge",
        right(area),
        right(display.mass),
    )
    for sheet in found.sheet:
        table.add_row(
            str(sheet.gauge), display.areas(sheet.area), display.masses(sheet.mass)
        )
    table.add_row(*of_sheet)
    console.print(table)
    console.print(
        "Gauges are US practice at low and medium pressure, from secondary sources; "
        "pressure class, reinforcement and joints decide. Without stiffeners, "
        "and without the sheet of terminals, components and dampers."
    )
    console.print(joints_words(found, display))
