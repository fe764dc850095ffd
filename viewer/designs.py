"""What commands that design give: what settles, what size, what would mend it."""

from collections.abc import Sequence
from typing import Any

import numpy as np

from elbowroom.layout import (
    BoolArray,
    FloatArray,
    Notice,
    counted,
    pressure_words,
)
from elbowroom.physics import LEAST_WON, Analysis, Operation, Proportions, Remedy

from .budget import spare_words
from .display import Display
from .outlet import plain
from .results import notice, section_result
from .tables import print_notices
from .terminal import TerminalTable, right

_FAR_OFF = 0.10  # of design, from which an airflow is told; common practice, no print
_ALIKE = 0.01  # of design: within it airflows are off by one and the same share


def operation_result(
    analysis: Analysis, found: Operation, returns: Sequence[Analysis] = ()
) -> dict[str, Any]:
    """Result of `operate` as plain data, as `operation.schema.json` says."""
    return {
        "schema": "elbowroom.operation/1",
        "file": analysis.graph.drawing.file,
        "dampers": found.dampers,
        "flow_m3_s": found.total_flow,
        "fan_total_pressure_pa": found.fan_pressure,
        "crossings_m3_s": list(found.crossings),
        "rounds": found.steps,
        "terminals": _settled(analysis, found.flow),
        "returns": [
            {"file": side.graph.drawing.file, "terminals": _settled(side, flow)}
            for side, flow in zip(returns, found.return_flow, strict=True)
        ],
        "flags": [notice(said) for said in found.notices],
    }


def _settled(analysis: Analysis, flow: FloatArray) -> list[dict[str, Any]]:
    """Airflow of each terminal of a side, m³/s, the largest loss by design first."""
    terminals = analysis.graph.terminals
    return [
        {
            "terminal": terminals.name[row],
            "design_m3_s": float(terminals.flow[row]),
            "flow_m3_s": float(flow[row]),
            "of_design": float(flow[row] / terminals.flow[row]),
        }
        for row in np.argsort(-analysis.path_loss, kind="stable").tolist()
    ]


def _is_far_off(share: FloatArray) -> BoolArray:
    """Which shares of the design airflow are far from it; rounding apart."""
    return np.asarray(np.abs(share - 1.0) > _FAR_OFF + 1e-6)


def off_words(share: FloatArray) -> str:
    """How many airflows are far from design, in a sentence; '' if none is.

    Where all of them settle alike it is the fan that is off, and no terminal.

    Parameters
    ----------
    share
        Airflow over design airflow of every terminal, of the returns too.
    """
    far = _is_far_off(share)
    if not far.any():
        return ""
    sides = (
        (int((far & (share > 1.0)).sum()), "above"),
        (int((far & (share < 1.0)).sum()), "below"),
    )
    how = " and ".join(f"{count} {side}" for count, side in sides if count)
    text = (
        f"{far.sum()} of {counted(len(share), 'terminal')} settle off by more than "
        f"{100 * _FAR_OFF:.0f} % of design, {how}"
    )
    if not _is_alike(share):
        return f"{text}, and {'is' if far.sum() == 1 else 'are'} marked."
    why = (
        "more than the layout needs: a slower fan, or a damper at it, takes that"
        if share.mean() > 1.0
        else "less than the layout needs"
    )
    return f"{text}: all within 1 % of each other, as the fan gives {why}."


def _is_alike(share: FloatArray) -> bool:
    """Whether all airflows are off by the same share, nearly."""
    return bool(len(share) > 1 and np.ptp(share) <= _ALIKE)


def print_operation(
    analysis: Analysis,
    found: Operation,
    display: Display,
    console: Any,
    returns: Sequence[Analysis] = (),
) -> None:
    """Print the airflows that settle."""
    dampers = "every damper open" if found.dampers == "open" else "the dampers set"
    console.print(
        f"[bold]{plain(analysis.graph.drawing.file)}[/bold]  with {dampers} the fan "
        f"gives {display.flows(found.total_flow)} {display.flow} at "
        f"{display.pressures(found.fan_pressure)} {display.pressure} of total pressure"
    )
    table = TerminalTable(
        f"Airflow at the terminals, {display.flow}, the largest loss by design first",
        *["side"] * bool(returns),
        "terminal",
        *map(right, ("design", "settles", "of design")),
        "",
    )
    flows = [found.flow, *found.return_flow]
    sides = (analysis, *returns)
    share = np.concatenate(
        [
            flow / side.graph.terminals.flow
            for side, flow in zip(sides, flows, strict=True)
        ]
    )
    is_alike = _is_alike(share)
    for side, flow in zip(sides, flows, strict=True):
        for row in _settled(side, flow):
            of = row["of_design"]
            is_marked = _is_far_off(np.array(of)) and not is_alike
            table.add_row(
                *([plain(side.graph.drawing.file)] if returns else []),
                plain(row["terminal"]),
                display.flows(row["design_m3_s"]),
                display.flows(row["flow_m3_s"]),
                f"{100 * of:.0f} %",
                ("above" if of > 1.0 else "below") if is_marked else "",
            )
        table.add_section()
    console.print(table)
    if off := off_words(share):
        console.print(off)
    if not analysis.graph.schedule.fan.curve:
        console.print(
            "No fan curve is declared: the fan was taken to keep its pressure at any "
            "airflow."
        )
    else:
        console.print("Between the points of the fan's curve a monotone cubic runs.")
    print_notices(found.notices, console)


def proportions_result(found: Proportions, method: str) -> dict[str, Any]:
    """Result of `proportion` as plain data, as `proportions.schema.json` says."""
    after, before = found.after, found.before
    return {
        "schema": "elbowroom.proportions/1",
        "file": after.graph.drawing.file,
        "method": method,
        "rounds": found.rounds,
        "friction_rate_pa_m": found.rate,
        "critical_loss_before_pa": None if before is None else before.critical_loss,
        "critical_loss_after_pa": after.critical_loss,
        "friction_rate_available_pa_m": after.system.friction_rate_available,
        "runs": [
            {
                "run": choice.run,
                "drawn": None
                if choice.drawn is None
                else section_result(
                    choice.drawn.shape, choice.drawn.width, choice.drawn.height
                ),
                "chosen": section_result(
                    choice.chosen.shape, choice.chosen.width, choice.chosen.height
                ),
                "flow_m3_s": choice.flow,
                "velocity_m_s": choice.velocity,
                "friction_pa_m": choice.gradient,
                "bound_by": choice.limit,
            }
            for choice in found.choices
        ],
        "flags": [notice(said) for said in found.notices],
    }


def print_proportions(
    found: Proportions, method: str, display: Display, console: Any
) -> None:
    """Print the sizes of a layout and what bound each."""
    after, p = found.after, display.pressures
    change = f"{p(after.critical_loss)} {display.pressure} on the critical path"
    if found.before is not None:
        change = f"{p(found.before.critical_loss)} as drawn, " + change
    rate = "" if found.rate is None else f" at {display.rates(found.rate)}"
    console.print(
        f"[bold]{plain(after.graph.drawing.file)}[/bold]  sized by {method}{rate} in "
        f"{found.rounds} rounds: {change}"
    )
    table = TerminalTable(
        "Sizes",
        "run",
        "drawn",
        "chosen",
        right(display.flow),
        right(display.velocity),
        right(display.rate),
        "bound by",
    )
    for choice in found.choices:
        table.add_row(
            plain(choice.run),
            "none" if choice.drawn is None else display.size(choice.drawn),
            display.size(choice.chosen),
            display.flows(choice.flow),
            display.velocities(choice.velocity),
            display.rates(choice.gradient).removesuffix(f" {display.rate}"),
            choice.limit,
        )
    console.print(table)
    print_notices(found.notices, console)


def remedies_result(
    analysis: Analysis, found: Sequence[Remedy], notices: Sequence[Notice]
) -> dict[str, Any]:
    """Result of `improve` as plain data, as `remedies.schema.json` says."""
    return {
        "schema": "elbowroom.remedies/1",
        "file": analysis.graph.drawing.file,
        "critical_loss_pa": analysis.critical_loss,
        "available_pa": analysis.system.available,
        "required_pa": analysis.system.required,
        "remedies": [
            {
                "run": remedy.at,
                "what": remedy.what,
                "won_pa": remedy.won,
                "critical_loss_pa": remedy.critical,
                "spare_pa": remedy.spare,
                "side_effects": list(remedy.side_effects),
            }
            for remedy in found
        ],
        "flags": [notice(said) for said in notices],
    }


def print_remedies(
    analysis: Analysis,
    found: Sequence[Remedy],
    display: Display,
    console: Any,
    notices: Sequence[Notice],
) -> None:
    """Print the changes that win pressure on the critical path."""
    p, spare = display.pressures, spare_words(analysis.system, display)
    console.print(
        f"[bold]{plain(analysis.graph.drawing.file)}[/bold]  "
        f"{p(analysis.critical_loss)} {display.pressure} "
        f"{plain(analysis.critical_words)}{spare and f', {spare}'}"
    )
    if not found:
        console.print(
            f"No single change that was tried wins {pressure_words(LEAST_WON)} or more "
            "and can be built without a clash."
        )
        print_notices(notices, console)
        return
    has_fan = analysis.system.available is not None
    table = TerminalTable(
        f"What would mend it, each change alone, {display.pressure}",
        right("wins"),
        right("leaves"),
        *[right("fan spares")] * has_fan,
        "run",
        "change",
        "and besides",
    )
    for remedy in found:
        table.add_row(
            p(remedy.won),
            p(remedy.critical),
            *([] if remedy.spare is None else [p(remedy.spare)]),
            plain(remedy.at),
            plain(remedy.what),
            plain("; ".join(remedy.side_effects)),
        )
    console.print(table)
    console.print(
        f"Each was analysed anew in full; changes that win less than "
        f"{pressure_words(LEAST_WON)}, clash, leave a bend or a transition without "
        "room or do not fit the side that they leave are left out. Gains do not add "
        "up."
    )
    print_notices(notices, console)
