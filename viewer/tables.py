"""Results as tables: in the terminal, and as rows for files (`sheets.py`)."""

import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from elbowroom.layout import Basis, Notice, place_words, ranked, some
from elbowroom.physics import (
    WORTH,
    Analysis,
    Budget,
    Comparison,
    Kind,
    Option,
    critical_band,
    dampers,
)

from .budget import pressure_lines, rate_lines, system_lines
from .display import CHECK_UNITS, Display, energy_words
from .failings import unkept_checks
from .gaps import Gap
from .outlet import plain
from .results import (
    assumption_rows,
    balancing,
    check_rows,
    ducts,
    elements,
    notice,
    pairs,
    paths,
    room_rows,
    system_row,
    totals,
)
from .terminal import TerminalTable, places, right, unbroken
from .told_of_options import told_of

TOP = 5
_MOST_PATHS = 40  # printed; of dampers those too that no angle of their table sets
AS_NEW = "Losses are those of new, clean ducts made and installed as drawn."
CAUTION = (
    f"{AS_NEW} Combustion air, fire and smoke separation, equipment limits and safe "
    "work at height are for the local code and licensed practice to decide."
)
_MARK = {Basis.DRAWN: "", Basis.DECLARED: "d", Basis.ASSUMED: "a"}
_OPEN = (
    "Single-blade dampers, angles from open; 'open' is the airflow that settles with "
    "no damper at what the critical path needs by design, declared losses going with "
    "the square of theirs: `operate` follows the fan."
)
_IN_COLLARS = (
    " No blade turns in flexible duct: where none but that of a main is rigid before "
    "it, a rigid collar with the damper in it is needed where it begins (common "
    "practice, no published source)."
)
_IN_ENTRIES = (
    " Where the entry of a branch has a damper, that is the one to set; no table has "
    "its angles."
)
# Where no angle of the table suffices.
BEYOND = f"beyond {math.degrees(dampers.BUTTERFLY_END):.0f}°"


def print_analysis(
    option: Option,
    display: Display,
    console: Any,
    room: Sequence[Gap],
    failing: Sequence[str] = (),
) -> None:
    """Print an analysis: budget, paths, the critical path, what it rests on.

    Parameters
    ----------
    option
        What to print.
    display
        Units.
    console
        A rich console.
    room
        Gaps between the ducts and what is next to them.
    failing
        Why it fails, in sentences for the head.
    """
    analysis = option.analysis
    graph = analysis.graph
    band = critical_band(analysis)
    p = display.pressures
    (_, flow), *air = system_lines(analysis, display)
    # A path's own band is narrower: in a draw another path may lose more.
    of_all = ", the largest of all paths," if len(graph.terminals.duct) > 1 else ""
    console.print(f"[bold]{plain(graph.drawing.file)}[/bold]  {flow}")
    console.print(
        "Worked out with " + "; ".join(f"{words}: {value}" for words, value in air)
    )
    console.print(
        f"Critical path: [bold]{plain(analysis.critical_words)}[/bold], "
        f"[bold]{p(analysis.critical_loss)} {display.pressure}[/bold] "
        f"({p(band.low)} to {p(band.high)}{of_all} in nine draws of ten of what the "
        "tables may have wrong)"
    )
    for line in failing:
        console.print(f"[bold red]{plain(line)}[/bold red]")
    console.print()
    console.print(_budget(analysis, display))
    console.print(_paths(analysis, display))
    print_more(len(graph.terminals.duct) - _MOST_PATHS, console, "--csv")
    console.print(_critical(analysis, display))
    console.print(
        "Basis: blank drawn, d declared, a assumed. C is on the velocity shown and "
        "includes the Reynolds factor."
    )
    print_balance(analysis, display, console)
    print_pairs(analysis, display, console)
    print_room(room, display, console)
    print_ledger(analysis, display, console)
    print_notices(option.flags, console)
    console.print(f"\n[dim]{AS_NEW}[/dim]")


def print_more(
    count: int, console: Any, option: str = "--json", *, indent: str = ""
) -> None:
    """Print below a table how many rows it leaves out, if any, and what has them."""
    if count > 0:
        console.print(f"{indent}and {count} more, with {option}")


def print_comparison(
    comparison: Comparison,
    display: Display,
    console: Any,
    budgets: Sequence[Budget],
) -> None:
    """Print a comparison: the options side by side, the verdict.

    Parameters are those of `print_analysis`, and the budget of each option with its
    returns, where there are any.
    """
    table = TerminalTable(
        f"Options, losses in {display.pressure}",
        "option",
        right("whole path"),
        "",
        right("in fittings"),
        right("ducts need"),
        right("left by fan"),
        right("clear by"),
        "rank",
    )
    for option, rank in zip(comparison.options, rank_words(comparison), strict=True):
        system = option.analysis.system
        table.add_row(
            plain(option.name),
            display.pressures(option.analysis.critical_loss),
            plain(option.analysis.critical_words),
            display.pressures(system.fitting_loss),
            display.pressures(system.required),
            "–" if system.available is None else display.pressures(system.available),
            "–" if option.clearance is None else display.apart(option.clearance),
            rank,
        )
    console.print(table)
    for part in _apart(comparison, display, budgets, console.width):
        console.print(part)
    console.print(f"\n[bold]{plain(comparison.verdict)}[/bold]")
    for option in comparison.options:
        if failed := unkept_checks(option.analysis)[0]:
            console.print(plain(f"'{option.name}': {failed}"))
    for names, said in told_of(comparison.options):
        of = ", ".join(f"'{name}'" for name in names)
        if len(names) == len(comparison.options):
            of = "all options"
        print_notices(said, console, f"What to know of {of}")
    console.print(f"\n[dim]{CAUTION}[/dim]")


def rank_words(comparison: Comparison) -> list[str]:
    """Rank of each option, or why it has none."""
    ranks = comparison.ranks
    out = []
    for option, number in zip(comparison.options, ranks, strict=True):
        if option.faults:
            words = "cannot be built as drawn"
        elif number is None:
            words = "not ranked"  # the verdict says why
        else:
            words = f"no. {number}" + (", shared" if ranks.count(number) > 1 else "")
        if option.analysis.system.is_short and not option.faults:
            words += ", too much for the fan"
        out.append(words)
    return out


def apart_columns(comparison: Comparison, display: Display) -> list[list[str]]:
    """What else sets the options apart, in words: its head, and a value of each.

    The change is against the first one. What none has, as energy where no hours of use
    are declared, is left out. Effective lengths are all at one rate.
    """
    p = display.pressures
    options = [option.analysis for option in comparison.options]
    found = [totals(one, options[0], comparison.rate) for one in options]
    hours = [one.graph.schedule.fan.hours or 0.0 for one in options]
    every: list[list[str]] = [
        ["option", *(option.name for option in comparison.options)],
        [f"change, {display.pressure}", "–", *(p(a["change_pa"]) for a in found[1:])],
        [
            "nine draws of ten",
            *(" – ".join(map(p, a["critical_loss_band_pa"])) for a in found),
        ],
        [
            f"effective, {display.length}, at {display.rates(comparison.rate)}",
            *(display.lengths(a["effective_length_m"], 1) for a in found),
        ],
        [
            f"sheet, {display.mass}",
            *(display.masses(a["sheet_mass_kg"]) for a in found),
        ],
        ["fittings to make", *(str(a["fitting_count"]) for a in found)],
        [
            f"fastest, {display.velocity}",
            *(display.velocities(a["largest_velocity_m_s"]) for a in found),
        ],
        [
            "energy a year",
            *(
                "–" if energy is None else energy_words(energy, time)
                for energy, time in zip(
                    [a["energy_kwh_per_year"] for a in found], hours, strict=True
                )
            ),
        ],
    ]
    return with_values(every)


def with_values(columns: Sequence[Sequence[str]]) -> list[list[str]]:
    """Columns, or lines, that begin with a head and have a value, not dashes alone."""
    return [list(one) for one in columns if {*one[1:]} - {"–"}]


def _apart(
    comparison: Comparison, display: Display, budgets: Sequence[Budget], width: int
) -> list[TerminalTable]:
    """What else sets the options apart: in tables that keep to a width."""
    # A column for each option: the heads of so many columns would not fit.
    head, *lines = apart_columns(comparison, display)
    if budgets:
        left = [one.friction_rate_available for one in budgets]
        rates = ["–" if one is None else display.rates(one) for one in left]
        lines += with_values([["friction rate left, supply and return", *rates]])

    def table(first: int, last: int) -> TerminalTable:
        title = "What else sets them apart" + ", further options" * (first > 1)
        made = TerminalTable(title, "", *[right(plain(n)) for n in head[first:last]])
        for name, *values in lines:
            made.add_row(plain(name), *map(plain, values[first - 1 : last - 1]))
        return made

    out, first = [], 1
    while first < len(head):
        last = len(head)
        while last > first + 1 and table(first, last).least_width > width:
            last -= 1
        out.append(table(first, last))
        first = last
    return out


def print_balance(analysis: Analysis, display: Display, console: Any) -> None:
    """Print the dampers in the order of work."""
    settings, unit = balancing(analysis), analysis.graph.drawing.unit
    if len(settings) < 2:
        return
    table = TerminalTable(
        "Balancing, the least favoured terminal first",
        "terminal",
        "damper in",
        places("at"),
        right(f"to spend, {display.pressure}"),
        right("C"),
        right("blade"),
        right("open, of design"),
    )
    rest = [row for row in settings[_MOST_PATHS:] if not row["can_be_balanced"]]
    shown = [*settings[:_MOST_PATHS], *rest]
    for row in shown:
        table.add_row(
            plain(row["terminal"]),
            plain(damper_place(row)),
            damper_point(row, unit),
            display.pressures(row["excess_pa"]),
            damper_coefficient(row),
            blade_words(row),
            open_share(row),
        )
    console.print(table)
    print_more(len(settings) - len(shown), console, "--csv, or in the report")
    rests = {row["table"]: row["confidence"] for row in settings if row["table"]}
    said = "; ".join(f"{name} ({how})" for name, how in rests.items())
    console.print(
        plain(balance_note(settings, display))
        + f" The angles are those of {said}." * bool(said)
    )


def balance_note(settings: Sequence[dict[str, Any]], display: Display) -> str:
    """What dampers are taken, what 'open' means, and of collars, entries and none."""
    said = _OPEN + _IN_COLLARS * any(row["rigid_collar"] for row in settings)
    said += _IN_ENTRIES * any(row["entry_damper"] for row in settings)
    too_much = [
        f"{display.pressures(row['open_blade_pa'])} {display.pressure} for "
        f"'{row['terminal']}'"
        for row in settings
        if row["excess_pa"] >= WORTH and blade_words(row) == "none"
    ]
    if too_much:
        said += (
            " Where there is pressure to spend and no damper, an open blade alone "
            f"would spend more: {some(too_much, TOP)}."
        )
    return said


def blade_words(row: Mapping[str, Any]) -> str:
    """Blade angle of `balancing` in words."""
    if not row["can_be_balanced"]:
        return BEYOND
    if row["blade_angle_deg"] is None:
        return "no table" if row["entry_damper"] else "none"
    return f"{row['blade_angle_deg']:.0f}°"


def damper_point(row: Mapping[str, Any], unit: str) -> str:
    """Coordinates of a damper of `balancing`; empty where none stands."""
    place = row["damper_place_m"]
    return "" if place is None else place_words(place, unit)


def damper_coefficient(row: Mapping[str, Any]) -> str:
    """Loss coefficient of a damper of `balancing`; empty where none stands."""
    value = row["damper_coefficient"]
    return "" if value is None else f"{value:.1f}"


def open_share(row: dict[str, Any]) -> str:
    """Airflow with every damper open over design, of `balancing`, in words."""
    share = row["open_share_of_design"]
    return "none settles" if share is None else f"{100 * share:.0f} %"


def damper_place(row: dict[str, Any]) -> str:
    """Where a damper of `balancing` stands, in words; empty where none does."""
    run: str = row["damper_in"] or ""
    return f"{run}, {row['damper_at']}" if row["damper_at"] else run


def pair_rows(analysis: Analysis, display: Display) -> list[list[str]]:
    """Elbows close together in words: names, spacing, plain sum, as a pair, class."""
    return [
        [
            f"{pair['first']}, {pair['second']} ({pair['arrangement']})",
            f"{pair['spacing_diameters']:.1f} D",
            display.pressures(pair["plain_sum_pa"]),
            "–"
            if pair["together_pa"] is None
            else display.pressures(pair["together_pa"]),
            pair["confidence"]
            or "; ".join(pair["notes"])
            or "no table: the plain sum stands",
        ]
        for pair in pairs(analysis)
    ]


def pairs_sentence(analysis: Analysis, display: Display) -> str:
    """Which loss of elbows close together counts."""
    if analysis.conditions.corrected_pairs:
        return "They count as pairs where a table has them."
    return (
        "The plain sum counts; as pairs the critical path would lose "
        f"{display.pressures(analysis.critical_loss_as_pairs)} {display.pressure}. "
        'To count them so: close_elbows = "as pairs" under [interaction].'
    )


def print_pairs(analysis: Analysis, display: Display, console: Any) -> None:
    """Print the elbows that stand close together: plain sum beside the pair's loss."""
    rows = pair_rows(analysis, display)
    if not rows:
        return
    table = TerminalTable(
        f"Elbows close together, losses in {display.pressure}",
        "elbows",
        right("spacing"),
        right("plain sum"),
        right("as a pair"),
        "confidence",
    )
    for row in rows[:TOP]:
        table.add_row(*map(plain, row))
    console.print(table)
    print_more(len(rows) - TOP, console)
    console.print(plain(pairs_sentence(analysis, display)))


def print_room(room: Sequence[Gap], display: Display, console: Any) -> None:
    """Print what is too near the ducts, or the nearest thing where nothing is."""
    if not room:
        return
    table = TerminalTable(
        "Room around the ducts, less their insulation",
        "duct",
        "beside",
        right("gap"),
        right("to keep"),
        "at",
    )
    for gap in room[:TOP]:
        table.add_row(
            plain(gap.duct),
            plain(gap.beside),
            display.apart(gap.distance),
            display.gaps(gap.required) if gap.required else "–",
            place_words(gap.place, gap.unit),
        )
    console.print(table)
    print_more(len(room) - TOP, console)


def print_ledger(analysis: Analysis, display: Display, console: Any) -> None:
    """Print what was assumed and what it does: the first few, and how many more."""
    found = analysis.effects
    if not found:
        return
    console.print("\n[bold]Assumed, because nobody said it[/bold]")
    for effect in found[:TOP]:
        said = effect.assumption
        count = f" ({said.elements} elements)" if said.elements > 1 else ""
        change = "effect not known"
        if effect.refused:
            change += f" ({plain(f'{said.instead}: {effect.refused}')})"
        if effect.loss is not None:
            sign = "+" if effect.loss >= 0 else "-"
            change = (
                f"{plain(said.instead)}: {sign}{display.pressures(abs(effect.loss))} "
                f"{display.pressure} on the {said.acts_on}"
            )
        console.print(f"  – {plain(said.what)}{count}; {change}; {plain(said.remedy)}")
    print_more(len(found) - TOP, console, indent="  ")


def print_notices(
    notices: Sequence[Notice], console: Any, title: str = "What to know"
) -> None:
    """Print warnings, then what is only said for completeness."""
    if not notices:
        return
    console.print(f"\n[bold]{plain(title)}[/bold]")
    for line in notice_lines(notices):
        console.print(f"  {plain(line)}")


def notice_lines(notices: Sequence[Notice]) -> list[str]:
    """What is to be said, each once, the gravest first."""
    return [f"{said.severity}: {said.sentence}" for said in ranked(notices)]


def flat_tables(
    option: Option, room: Sequence[Gap] = ()
) -> dict[str, list[dict[str, Any]]]:
    """Every table of a layout in SI units, each row without lists in it.

    Parameters
    ----------
    option
        What to write.
    room
        Gaps between the ducts and what is next to them.

    Returns
    -------
    tables
        System, elements, paths, ducts, pairs, balance, checks, room, assumptions,
        flags: rows by name.
    """
    analysis = option.analysis
    return {
        "system": [_flat(system_row(analysis))],
        "elements": [_flat(row) for row in elements(analysis)],
        "paths": [
            {**_flat(row), "elements": " ".join(row["elements"])}
            for row in paths(analysis)
        ],
        "ducts": [_flat(row) for row in ducts(analysis)],
        "pairs": [_flat(row) for row in pairs(analysis)],
        "balance": [_flat(row) for row in balancing(analysis)],
        "checks": [_flat(row) for row in check_rows(analysis.checks)],
        "room": [_flat(row) for row in room_rows(room)],
        "assumptions": assumption_rows(analysis),
        "flags": [_flat(notice(said)) for said in option.flags],
    }


def result_tables(
    result: Mapping[str, Any], *names: str
) -> dict[str, list[dict[str, Any]]]:
    """Tables of a result as plain data: those named, and what stands once in 'summary'.

    Parameters
    ----------
    result
        As JSON has it.
    names
        Its keys that hold rows.
    """
    summary = {
        key: value
        for key, value in result.items()
        if key not in (*names, "schema", "returns")
    }
    tables = {name: [_flat(row) for row in result[name]] for name in names}
    return {"summary": [_flat(summary)], **tables}


def flag_table(result: Mapping[str, Any]) -> dict[str, list[dict[str, Any]]]:
    """What is to be said of a result as plain data, or of a side of it, as a table."""
    return {"flags": [_flat(row) for row in result["flags"]]}


def comparison_tables(
    result: Mapping[str, Any],
) -> dict[str, list[dict[str, Any]]]:
    """Tables of a comparison as plain data: a row for each option, and the verdict."""
    rows = []
    for option in result["options"]:
        said = {
            key: option[key]
            for key in ("name", "rank", "clearance_m", "clashes", "faults")
        }
        row = _flat({**said, **option["system"], **option["totals"]})
        if "budget" in option:
            row |= _of_both_sides(option)
        rows.append(row)
    return {"options": rows, "verdict": [{"verdict": result["verdict"]}]}


def _of_both_sides(option: Mapping[str, Any]) -> dict[str, Any]:
    """What the fan gives to an option and its return together, and what that spends."""
    both = option["budget"]
    keys = "declared_losses_pa", "available_pa", "required_pa"
    # The last is what the ducts of the return spend: see `with_returns`.
    *names, _ = option["system"]["declared_losses_pa"]
    return {
        **{key: both[key] for key in (*keys, "friction_rate_available_pa_m")},
        "declared_losses": "; ".join(names),
        "terminal_loss_pa": both["terminal_losses_pa"],
    }


def _flat(row: Mapping[str, Any]) -> dict[str, Any]:
    """A row of plain data without lists or tables in it.

    A place has three columns and a range two; declared losses stand as their sum, a
    section as its words, any other table with a column for each of its keys.
    """
    out: dict[str, Any] = {}
    for key, value in row.items():
        if key.endswith("place_m"):
            out |= zip(("x_m", "y_m", "z_m"), value or [None] * 3, strict=True)
        elif key in _RANGES:
            for end, limit in zip(("low", "high"), value or (None, None), strict=True):
                out[_RANGES[key].format(end)] = limit
        elif key == "declared_losses_pa" and isinstance(value, dict):
            out[key] = sum(value.values())
            out["declared_losses"] = "; ".join(value)
        elif isinstance(value, dict) and "words" in value:
            out[key] = value["words"]
        elif isinstance(value, dict):
            out |= value
        elif isinstance(value, list):
            out[key] = "; ".join(map(str, value))
        else:
            out[key] = value
        if key == "dimension":
            out["unit"] = CHECK_UNITS[value].files
    return out


_RANGES = {  # names of the columns of the two ends
    "loss_band_pa": "loss_{}_pa",
    "critical_loss_band_pa": "critical_loss_{}_pa",
    "equivalent_length_window_m": "equivalent_length_{}_m",
    "window_pa_m": "window_{}_pa_m",
}


def row_text(analysis: Analysis, element: int, display: Display) -> str:
    """One line on an element, for the window."""
    e = analysis.elements
    text = (
        f"{analysis.ids[element]}  {analysis.name(element)}: "
        f"{analysis.words(element, display.side)}, "
        f"{display.velocities(e.velocity[element])} {display.velocity}, "
    )
    if not np.isnan(e.coefficient[element]):
        c = e.coefficient[element] * e.reynolds_factor[element]
        text += f"C {c:.3f} ({e.credits[e.credit[element]].table}), "
    return text + f"{display.pressures(e.loss[element])} {display.pressure}"


def _budget(analysis: Analysis, display: Display) -> Any:
    title = f"Pressure budget of the critical path, {display.pressure}"
    table = TerminalTable(title, "", right(""))
    for lines in (pressure_lines(analysis, display), rate_lines(analysis, display)):
        for words, value in lines:
            table.add_row(plain(words), value)
        table.add_section()
    return table


def _paths(analysis: Analysis, display: Display) -> Any:
    rate = display.rates(analysis.system.rate)
    table = TerminalTable(
        f"Paths, the largest loss first, effective lengths at {rate}",
        "terminal",
        right(display.flow),
        right(f"loss, {display.pressure}"),
        right("excess"),
        right(f"length, {display.length}"),
        right("effective"),
    )
    for row in paths(analysis, _MOST_PATHS):
        table.add_row(
            plain(row["terminal"]),
            display.flows(row["flow_m3_s"]),
            display.pressures(row["loss_pa"]),
            "critical" if row["critical"] else display.pressures(row["excess_pa"]),
            display.lengths(row["length_m"], 1),
            display.lengths(row["effective_length_m"], 1),
        )
    return table


def _critical(analysis: Analysis, display: Display) -> Any:
    e = analysis.elements
    rate = display.rates(analysis.system.rate)
    table = TerminalTable(
        f"Along the critical path, lengths at {rate}",
        unbroken("element"),
        "what",
        unbroken("size"),
        right(display.velocity),
        right("C"),
        right(display.pressure),
        right(f"equals {display.length}"),
        "",
    )
    for row in analysis.path(analysis.critical).tolist():
        c = e.coefficient[row] * e.reynolds_factor[row]
        longer = analysis.equivalent_length[row]
        is_duct = e.kind[row] == Kind.DUCT
        table.add_row(
            plain(analysis.ids[row]),
            plain(f"{analysis.name(row)}: {analysis.words(row, display.side)}"),
            # The column does not wrap by itself, and this would leave none for "what".
            display.size(analysis.section(row)).replace(" flat oval", "\nflat oval"),
            display.velocities(e.velocity[row]),
            "" if np.isnan(c) else f"{c:.3f}",
            display.pressures(e.loss[row]),
            "" if np.isnan(longer) else display.lengths(longer, 2 if is_duct else 1),
            _MARK[Basis(int(e.basis[row]))],
        )
    return table
