"""A supply and its returns: the budget of both, and whose each table of a file is."""

from collections.abc import Mapping, Sequence
from typing import Any

from elbowroom.physics import Analysis, Budget

from .budget import joint_lines
from .display import Display
from .gaps import Gap
from .outlet import plain
from .results import budget_row
from .tables import flat_tables, print_notices
from .terminal import TerminalTable, right


def print_budget(
    supply: Analysis,
    returns: Sequence[Analysis],
    found: Budget,
    display: Display,
    console: Any,
) -> None:
    """Print the budget of supply and returns together."""
    title = f"Budget of supply and return, {display.pressure}"
    table = TerminalTable(title, "", right(""))
    for words, value in joint_lines(supply, returns, found, display):
        table.add_row(plain(words), value)
    console.print(table)
    print_notices(found.notices, console, "What to know of the budget")


def tables_with_returns(
    supply_tables: Mapping[str, list[dict[str, Any]]],
    supply: Analysis,
    returns: Sequence[Analysis],
    rooms: Sequence[Sequence[Gap]],
    found: Budget,
) -> dict[str, list[dict[str, Any]]]:
    """Every table of a supply and of its returns in SI units.

    Parameters
    ----------
    supply_tables
        Those of the supply, by name, as `flat_tables` makes them.
    supply, returns
        The sides.
    rooms
        Gaps around the ducts of each return.
    found
        The budget of all sides.

    Returns
    -------
    tables
        Those of all sides as `tables_of_sides` names them, with 'sides', the file of
        each side, and 'budget'.
    """
    row = budget_row(found)
    row["missing"] = "; ".join(found.missing)
    row["flags"] = " ".join(said.sentence for said in found.notices)
    sides = zip(["supply", *_return_names(returns)], [supply, *returns], strict=True)
    first = {
        **supply_tables,
        "sides": [_side_row(name, side) for name, side in sides],
        "budget": [row],
    }
    behind = [flat_tables(*one) for one in zip(returns, rooms, strict=True)]
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
