"""A supply and its returns: the budget of both, and whose each table of a file is."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from elbowroom.physics import Analysis, Budget, Option, power_of

from .budget import joint_lines
from .check_words import print_cautions, print_checks
from .display import Display
from .failings import clash_flags, failing_lines
from .gaps import Gap
from .outlet import plain
from .results import Side, budget_row
from .tables import flat_tables, print_analysis, print_notices
from .terminal import TerminalTable, right


def with_clashes(shown: Sequence[Option], rooms: Sequence[Sequence[Gap]]) -> list[Side]:
    """Sides with what has no room among their flags, which printed text says first."""
    sides = []
    for one, room in zip(shown, rooms, strict=True):
        said = clash_flags(room, one.analysis.graph.drawing.file)
        sides.append((replace(one, notices=(*said, *one.notices)), room))
    return sides


def print_layout(
    shown: Sequence[Option],
    rooms: Sequence[Sequence[Gap]],
    found: Budget | None,
    display: Display,
    console: Any,
) -> None:
    """Print the analysis of a supply and of any returns, budget, checks and cautions.

    Parameters
    ----------
    shown, rooms
        The supply and any returns, and the room around each.
    found, display, console
        The budget of all sides, or None; units; where to.
    """
    supply, *returns = (one.analysis for one in shown)
    failing = [failing_lines(one, display) for one in shown]
    for one, lines in zip(shown[1:], failing[1:], strict=True):
        failing[0] += [f"{one.name}: {line}" for line in lines]  # the head of all
    for one, room, lines in zip(shown, rooms, failing, strict=True):
        print_analysis(one, display, console, room, lines)
    if found is not None:
        title = f"Budget of supply and return, {display.pressure}"
        table = TerminalTable(title, "", right(""))
        for words, value in joint_lines(supply, returns, found, display):
            table.add_row(plain(words), value)
        console.print(table)
        print_notices(found.notices, console, "What to know of the budget")
    print_checks(supply.checks, power_of(supply), display, console)
    for side in returns:
        title = f"Checks of {side.graph.drawing.file}"
        print_checks(side.checks, None, display, console, title)
    print_cautions(console)


def layout_tables(
    sides: Sequence[Side], found: Budget | None
) -> dict[str, list[dict[str, Any]]]:
    """Every table of a layout in SI units.

    Parameters
    ----------
    sides
        The supply, and any returns behind it.
    found
        The budget of all sides; None of a layout without returns.

    Returns
    -------
    tables
        As `flat_tables` makes them; with returns those of all sides as
        `tables_of_sides` names them, with 'sides', the file of each side, and 'budget'.
    """
    first, *behind = [flat_tables(*side) for side in sides]
    if found is None:
        return first
    row = budget_row(found)
    row["missing"] = "; ".join(found.missing)
    row["flags"] = " ".join(said.sentence for said in found.notices)
    named = zip(["supply", *_return_names(behind)], sides, strict=True)
    first["sides"] = [_side_row(name, side.analysis) for name, (side, _) in named]
    first["budget"] = [row]
    return tables_of_sides([first, *behind])


def tables_of_sides(
    tables: Sequence[Mapping[str, list[dict[str, Any]]]],
) -> dict[str, list[dict[str, Any]]]:
    """Tables of a supply and of its returns by one name each.

    The supply's under their own; those of a return as 'return-elements' and so on, of
    several as 'return-1-elements' in the order given.
    """
    supply, *returns = tables
    out = dict(supply)
    for name, side in zip(_return_names(returns), returns, strict=True):
        out |= {f"{name}-{table}": rows for table, rows in side.items()}
    return out


def _return_names(returns: Sequence[object]) -> list[str]:
    if len(returns) == 1:
        return ["return"]
    return [f"return-{number}" for number in range(1, len(returns) + 1)]


def _side_row(name: str, side: Analysis) -> dict[str, Any]:
    graph, system = side.graph, side.system
    return {
        "side": name,
        "file": graph.drawing.file,
        "flow_m3_s": side.flow,
        "terminals": len(graph.terminals.name),
        "critical_terminal": side.critical_terminal,
        "critical_loss_pa": system.critical_loss,
        "fitting_loss_pa": system.fitting_loss,
        "terminal_loss_pa": system.terminal_loss,
        "required_pa": system.required,
        "length_m": system.length,
    }
