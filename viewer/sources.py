"""Print where the numbers come from."""

from collections.abc import Mapping, Sequence
from dataclasses import asdict
from typing import Any

from elbowroom.physics import Missing, TableSource

from .outlet import plain
from .tables import print_more

_SHOWN = 3  # sources of one table


def sources_result(
    tables: Sequence[TableSource],
    missing: Sequence[Missing],
    materials: Mapping[str, float],
) -> dict[str, Any]:
    """Plain data of `sources`, as `sources.schema.json` says."""
    return {
        "schema": "elbowroom.sources/1",
        "tables": [asdict(table) for table in tables],
        "missing": [asdict(entry) for entry in missing],
        "materials": [
            {"name": name, "roughness_m": rough} for name, rough in materials.items()
        ],
    }


def print_sources(tables: Sequence[TableSource], console: Any) -> None:
    """Print each table: its class, rows, range, checksum and publications."""
    for table in tables:
        console.print(
            f"[bold]{table.name}[/bold]  {table.confidence}, {table.rows} rows, "
            f"sha256 {table.checksum[:12]}"
        )
        ranges = ", ".join(
            f"{plain(column)} {low:g} to {high:g}"
            for column, (low, high) in table.ranges.items()
        )
        if ranges:
            console.print(f"    {ranges}")
        for source in table.sources[:_SHOWN]:
            console.print(f"    {plain(source)}")
        print_more(len(table.sources) - _SHOWN, console, indent="    ")
        for said in table.notes[:_SHOWN]:
            console.print(f"    {plain(said)}")
        if len(table.notes) > _SHOWN:
            more = len(table.notes) - _SHOWN
            console.print(f"    and {more} notes more, with --json")


def print_materials(materials: Mapping[str, float], console: Any) -> None:
    """Print each material that a schedule may name, the smoothest first."""
    console.print(
        "[bold]material, as a schedule names it under \\[duct][/bold]  roughness, mm"
    )
    for name, rough in sorted(materials.items(), key=lambda row: row[1]):
        console.print(f"    {plain(name)}  {rough * 1e3:.3g}")


def print_missing(missing: Sequence[Missing], console: Any) -> None:
    """Print what has no published data, and what is taken instead."""
    for entry in missing:
        note = f" ({entry.note})" if entry.note else ""
        console.print(f"[bold]{plain(entry.what)}[/bold]: {plain(entry.source)}")
        console.print(f"    taken: {plain(entry.taken_instead)}{plain(note)}")
