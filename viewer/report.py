"""The report: everything that a client or an inspector asks for, on paper or screen."""

import base64
import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import replace
from html import escape
from importlib.metadata import version
from importlib.resources import files
from pathlib import Path
from string import ascii_lowercase
from typing import Any

import numpy as np

from elbowroom.layout import (
    Basis,
    Obstacle,
    coordinates,
    place_unit,
    place_words,
    refusal,
    some,
    words_apart,
    writing,
)
from elbowroom.physics import (
    ALLOWANCE,
    CRITICAL_PATH,
    Analysis,
    Budget,
    Comparison,
    Credit,
    DuctRow,
    Kind,
    Note,
    Option,
    critical_band,
    duct_schedule,
    power_of,
    quantities,
    straight_after,
)

from .budget import joint_lines, pressure_lines, rate_lines, system_lines
from .charts import kinds_chart, options_chart, pressure_chart
from .check_words import CAUTIONS, limit_words, power_sentence, source_words
from .display import Display
from .failings import MOST_NAMED, unkept_checks
from .gaps import Gap
from .lettering import as_markup
from .outlet import printable
from .quantities import joints_words, length_cells, quantity_totals
from .results import balancing, paths
from .tables import (
    AS_NEW,
    apart_columns,
    balance_note,
    blade_words,
    damper_coefficient,
    damper_place,
    damper_point,
    notice_lines,
    open_share,
    pair_rows,
    pairs_sentence,
    rank_words,
    with_values,
)

_LONGEST_WHOLE = 20  # letters of a name that stand on one line beside its numbers
_MOST_HEADS = 9  # of a table in the usual type
_MOST_UPRIGHT = 40  # rows of a wide table on upright sheets
# Of the picture, in its own pixels: small, so that its words can be read on paper.
_ONE_LAYOUT, _TWO_LAYOUTS, _MORE_LAYOUTS = (860, 640), (860, 900), (860, 1000)
_DENSITY = 2  # dots for each of those, so that it prints sharply
Print = tuple[str, str, str]  # table, source and confidence of a coefficient
Cell = str | tuple[str, str]  # a text, or a text and its class


def pdf_library(path: Path) -> Any:
    """The library that makes a PDF of a page.

    Raises
    ------
    BadInput
        If it is not installed.
    """
    try:
        import weasyprint
    except (ImportError, OSError):
        raise refusal(
            str(path),
            "PDF is made with WeasyPrint, which is not installed or lacks Pango",
            "install it with: pip install weasyprint, or write HTML and print that",
        ) from None
    return weasyprint


def write_report(path: Path, html: str) -> None:
    """Write a report as HTML, or as PDF where the name ends so.

    Raises
    ------
    BadInput
        If the file cannot be written, or a PDF is wanted and the library that makes
        it is missing.
    """
    if path.suffix.lower() != ".pdf":
        with writing(path):
            path.write_text(html, encoding="utf-8")
        return
    page: Any = pdf_library(path).HTML(
        string=html
    )  # it refers to nothing outside itself
    content = page.write_pdf()
    with writing(path):
        path.write_bytes(content)


def report_html(
    layouts: Sequence[Sequence[Option]],
    rooms: Sequence[Sequence[Sequence[Gap]]],
    obstacles: Sequence[Obstacle],
    display: Display,
    inputs: Mapping[str, Any],
    *,
    comparison: Comparison | None = None,
    budgets: Sequence[Budget] = (),
    remarks: Sequence[Mapping[str, str]] = (),
    doubts: Sequence[str] = (),
    picture: bool = True,
) -> str:
    """Make the report.

    Parameters
    ----------
    layouts
        One or more, each with its return sides behind it.
    rooms
        Gaps around the ducts of every side of each.
    obstacles
        Solids to draw.
    display
        Units.
    inputs
        Files that went in, with their checksums.
    comparison
        The verdict over several layouts.
    budgets
        Of each layout with its returns; empty where there are none.
    remarks
        Remarks of reviewers, as the page saves them.
    doubts
        Why each of them is of no piece of these layouts, '' where it is of one.
    picture
        Whether to draw; not where there is no OpenGL.

    Returns
    -------
    html
        One page without scripts that asks for nothing from elsewhere; the same input
        gives the same text.
    """
    numbers = _numbered([one.analysis for shown in layouts for one in shown])
    first = _summary(layouts, display, comparison, budgets)
    if picture:
        first += _picture(layouts, rooms, obstacles, display, comparison)
    parts = [
        f'<section class="first">{first}</section>',
        *_supplies(layouts, rooms, budgets, display, numbers),
        *_returns(layouts, rooms, display, numbers),
        _remarks(remarks, doubts),
        _list("Before anything is built", [AS_NEW, *CAUTIONS]),
        _sources(numbers),
        _made_from(inputs),
    ]
    return _page(", ".join(shown[0].name for shown in layouts), "".join(parts))


def _page(title: str, body: str) -> str:
    """A page that runs no script and asks for nothing from elsewhere."""
    style = files("elbowroom.viewer").joinpath("static/report.css").read_text("utf-8")
    policy = "default-src 'none'; style-src 'unsafe-inline'; img-src data:"
    return printable(
        "<!DOCTYPE html>\n"
        '<html lang="en"><head><meta charset="utf-8">'
        f'<meta http-equiv="Content-Security-Policy" content="{policy}">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{escape(title)} – report</title><style>{style}</style></head>\n"
        f"<body>{body}</body></html>\n"
    )


def _supplies(
    layouts: Sequence[Sequence[Option]],
    rooms: Sequence[Sequence[Sequence[Gap]]],
    budgets: Sequence[Budget],
    display: Display,
    numbers: dict[Print, int],
) -> list[str]:
    """What is told of the first side of each layout."""
    parts = []
    for place, (shown, around) in enumerate(zip(layouts, rooms, strict=True)):
        if len(layouts) > 1:
            parts.append(f"<h1>{as_markup(shown[0].name)}</h1>")
            parts.append(_spent(shown, budgets[place : place + 1], display))
        parts.append(_side(shown[0], around[0], display, numbers))
    return parts


def _returns(
    layouts: Sequence[Sequence[Option]],
    rooms: Sequence[Sequence[Sequence[Gap]]],
    display: Display,
    numbers: dict[Print, int],
) -> list[str]:
    """What is told of the returns: once of one that is the same beside several."""
    parts = []
    returns: dict[int, tuple[Option, Sequence[Gap], list[str]]] = {}
    for shown, around in zip(layouts, rooms, strict=True):
        for one, beside in zip(shown[1:], around[1:], strict=True):
            told = returns.setdefault(id(one.analysis), (one, beside, []))
            told[2].append(shown[0].name)
    for side, room, names in returns.values():
        title = f"Return: {side.analysis.graph.drawing.file}"
        if len(names) < len(layouts):
            title += f" beside {', '.join(names)}"
        parts.append(f"<h1>{as_markup(title)}</h1>")
        parts.append(_worked_with(side.analysis, display))
        parts.append(_side(side, room, display, numbers))
    return parts


def _summary(
    layouts: Sequence[Sequence[Option]],
    display: Display,
    comparison: Comparison | None,
    budgets: Sequence[Budget],
) -> str:
    options = [shown[0] for shown in layouts]
    first = options[0].analysis
    out = [f"<h1>{as_markup(', '.join(o.name for o in options))}</h1>"]
    if comparison is not None:
        out.append(f'<p class="verdict">{as_markup(comparison.verdict)}</p>')
        out.append(options_chart(options, display))
        names, *rest = apart_columns(comparison, display)
        clear = ["clear by", *(_clear(option, display) for option in options)]
        top, *lines = zip(names, *with_values([clear]), *rest, strict=True)
        rest_of = [[_unbroken(name), *map(_n, line)] for name, *line in lines]
        out.append(_table(top, rest_of))
    else:
        said = as_markup(_verdict(first, budgets[0] if budgets else None, display))
        out.append(f'<p class="verdict">{said}</p>')
    for option in {one.name: one for shown in layouts for one in shown}.values():
        failing = []
        if faults := option.faults_in(display.side):
            why = some(faults, MOST_NAMED, "; ")
            failing.append(f"{option.name} cannot be built as drawn: {why}.")
        if failed := unkept_checks(option.analysis)[0]:
            failing.append(f"{option.name}: {failed}")
        out += [f'<p class="bad">{as_markup(line)}</p>' for line in failing]
    out.append(_options(options, display, comparison, bool(budgets)))
    if len(options) == 1:
        out.append(_spent(layouts[0], budgets, display))
    return "".join(out)


def _options(
    options: Sequence[Option],
    display: Display,
    comparison: Comparison | None,
    has_returns: bool,
) -> str:
    """A row for each layout: what it loses, and what the fan leaves."""
    p = display.pressures
    ranks = [] if comparison is None else rank_words(comparison)
    # One rate, so that lengths in one column can be compared.
    rate = options[0].analysis.system.rate if comparison is None else comparison.rate
    rows: list[list[Cell]] = []
    for place, option in enumerate(options):
        system, band = option.analysis.system, critical_band(option.analysis)
        left = system.friction_rate_available
        rows.append(
            [
                _unbroken(option.name),
                option.analysis.critical_words,
                _n(p(system.critical_loss)),
                _n(f"{p(band.low)} – {p(band.high)}"),
                _n("–" if system.available is None else p(system.available)),
                _n(p(system.required)),
                _n(display.lengths(system.effective_length_at(rate), 1)),
                _n("–" if left is None else display.rates(left)),
                *ranks[place : place + 1],
            ]
        )
    heads = [
        "layout",
        "critical path",
        f"loss, {display.pressure}",
        "nine draws of ten",
        "fan leaves",
        "ducts spend",
        f"effective, {display.length}, at {display.rates(rate)}",
        "friction rate left" + (" to the supply alone" if has_returns else ""),
        *(["rank"] if ranks else []),
    ]
    return _table(heads, rows)


def _spent(
    layout: Sequence[Option], budgets: Sequence[Budget], display: Display
) -> str:
    """Budget of a layout and where most of it goes; with returns, of both sides."""
    supply, *returns = (option.analysis for option in layout)
    worked_with = _worked_with(supply, display)
    if not budgets:
        return worked_with + _budget(supply, display) + _largest(supply, display)
    (whole,) = budgets
    side = returns[whole.critical_return]
    return (
        worked_with
        + _joint_budget(supply, returns, whole, display)
        + _largest(supply, display, ", supply")
        + _largest(side, display, f", {side.graph.drawing.file}")
    )


def _worked_with(analysis: Analysis, display: Display) -> str:
    """Airflow and air of a layout, as its numbers were worked out with."""
    rows: list[list[Cell]] = [[*line] for line in system_lines(analysis, display)]
    return _table(["worked out with", ""], rows)


def _clear(option: Option, display: Display) -> str:
    return "–" if option.clearance is None else display.apart(option.clearance)


def _verdict(analysis: Analysis, budget: Budget | None, display: Display) -> str:
    of = analysis.system if budget is None else budget
    spent = f"{display.pressures(of.required)} {display.pressure}"
    what = "Ducts and fittings of the critical path spend"
    if budget is not None:
        what = "Ducts and fittings of the critical supply and return spend"
    if of.available is None or of.spare is None:
        return f"{what} {spent}. No fan is declared, so nothing is said of it."
    if of.spare >= 0.0:
        return (
            f"The fan carries this layout: {what.lower()} {spent}, and "
            f"{display.pressures(of.available)} {display.pressure} are left for them."
        )
    spent, left = words_apart(display.pressures, of.required, of.available)
    return (
        f"The fan does not carry this layout: {what.lower()} {spent} "
        f"{display.pressure}, and only {left} {display.pressure} are left for them."
    )


def _budget(analysis: Analysis, display: Display) -> str:
    lines = [*pressure_lines(analysis, display), *rate_lines(analysis, display)]
    rows: list[list[Cell]] = [[words, _n(value)] for words, value in lines]
    return _table([f"budget of the critical path, {display.pressure}", ""], rows)


def _joint_budget(
    supply: Analysis, returns: Sequence[Analysis], budget: Budget, display: Display
) -> str:
    rows: list[list[Cell]] = [
        [words, _n(value)]
        for words, value in joint_lines(supply, returns, budget, display)
    ]
    text = _table([f"supply and return, {display.pressure}", ""], rows)
    return text + _list("What to know of the budget", notice_lines(budget.notices))


def _largest(analysis: Analysis, display: Display, of: str = "") -> str:
    e = analysis.elements
    way = analysis.path(analysis.critical)
    order = way[np.argsort(-e.loss[way], kind="stable")][:5].tolist()
    rows: list[list[Cell]] = [
        [
            _s(analysis.ids[row]),
            f"{analysis.name(row)}: {analysis.words(row, display.side)}",
            _n(display.pressures(e.loss[row])),
            _n(f"{100 * e.loss[row] / analysis.critical_loss:.0f} %"),
        ]
        for row in order
    ]
    heads = ["piece", "what", display.pressure, "of the path"]
    return f"<h3>Where most of it goes{as_markup(of)}</h3>{_table(heads, rows)}"


def _picture(
    layouts: Sequence[Sequence[Option]],
    rooms: Sequence[Sequence[Sequence[Gap]]],
    obstacles: Sequence[Obstacle],
    display: Display,
    comparison: Comparison | None,
) -> str:
    from .layout_view import bar_title, panels, scale_of, side_by_side
    from .scene import picture

    shown, seen = side_by_side(layouts, rooms, obstacles)
    options = [option for option, _, _ in shown]
    compared = [] if comparison is None else options
    made, _ = panels(shown, compared, "loss", display, seen)
    width, height = {1: _ONE_LAYOUT, 2: _TWO_LAYOUTS}.get(len(made), _MORE_LAYOUTS)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "picture.png"
        picture(
            made,
            scale_of(options, "loss", display),
            bar_title("loss", display, is_compared=len(compared) > 1),
            path,
            size=(_DENSITY * width, _DENSITY * height),
            density=_DENSITY,
            is_trimmed=True,
            length_unit=display.length,
        )
        data = base64.b64encode(path.read_bytes()).decode()
    alt = 'alt="the ducts, coloured by loss"'
    return f'<div class="table"><img {alt} src="data:image/png;base64,{data}"></div>'


def _side(
    option: Option, room: Sequence[Gap], display: Display, numbers: dict[Print, int]
) -> str:
    analysis = option.analysis
    return "".join(
        (
            "<h2>Pressure along the critical path</h2>",
            pressure_chart(analysis, display),
            kinds_chart(analysis, display),
            # What decides stands before the tables that may go on for pages.
            _checks(analysis, display),
            _room(room, display),
            _list("What to know", notice_lines(option.flags)),
            _assumed(analysis, display),
            _paths(analysis, display),
            _fittings(analysis, display, numbers),
            _pairs(analysis, display),
            _ducts(analysis, display, numbers),
            _balance(analysis, display, numbers),
            _quantities(analysis, display),
        )
    )


def _paths(analysis: Analysis, display: Display) -> str:
    p = display.pressures
    rows: list[list[Cell]] = [
        [
            row["terminal"],
            _n(display.flows(row["flow_m3_s"])),
            _n(p(row["loss_pa"])),
            _n(p(row["straight_loss_pa"])),
            _n(p(row["fitting_loss_pa"])),
            _n("critical" if row["critical"] else p(row["excess_pa"])),
            _n(p(row["terminal_loss_pa"])),
            _n(
                "–"
                if row["static_available_pa"] is None
                else p(row["static_available_pa"])
            ),
            _n(display.lengths(row["length_m"], 1)),
            _n(display.lengths(row["effective_length_m"], 1)),
        ]
        for row in paths(analysis)
    ]
    heads = [
        "terminal",
        display.flow,
        f"loss, {display.pressure}",
        "straight",
        "fittings",
        "excess",
        "terminal itself",
        "static left at it",
        f"length, {display.length}",
        f"effective at {display.rates(analysis.system.rate)}",
    ]
    return "<h2>Paths</h2>" + _table(heads, rows)


def _fittings(
    analysis: Analysis, display: Display, numbers: Mapping[Print, int]
) -> str:
    e, p = analysis.elements, display.pressures
    on_path = set(analysis.path(analysis.critical).tolist())
    rows: list[list[Cell]] = []
    doubts: dict[str, str] = {}  # each by its letter below the table
    share, equal = analysis.share_of_path, analysis.equivalent_length
    after = straight_after(analysis)
    for row in np.flatnonzero(e.kind != Kind.DUCT).tolist():
        at_end = e.kind[row] in (Kind.EXIT, Kind.TERMINAL)
        credit = e.credits[e.credit[row]]
        c = float(e.coefficient[row])
        mine = [
            doubts.setdefault(doubt, ascii_lowercase[len(doubts)])
            for doubt in _doubts(int(e.notes[row]))
        ]
        formula = "declared"
        if not np.isnan(c):
            formula = (
                f"{c:.3f} × {e.reynolds_factor[row]:.2f} × "
                f"{p(e.velocity_pressure[row])}"
            )
        rows.append(
            [
                _s(analysis.ids[row] + (" *" if row in on_path else "")),
                (f"{analysis.name(row)}: {analysis.words(row, display.side)}", "w"),
                _s(display.size(analysis.section(row))),
                _n(display.velocities(e.velocity[row])),
                _n(formula),
                _n(p(e.loss[row])),
                _n("" if row not in on_path else f"{100 * share[row]:.0f} %"),
                _n("" if np.isnan(c) else display.lengths(equal[row], 1)),
                _n(
                    ""
                    if at_end or np.isnan(after[row])
                    else display.lengths(after[row], 1)
                ),
                (f"[{numbers[_print(credit)]}] {credit.confidence}", "k"),
                (", ".join([Basis(int(e.basis[row])).word, *mine]), "k"),
            ]
        )
    heads = [
        "piece",
        "what",
        "size",
        display.velocity,
        "C × K × pv",
        display.pressure,
        "of path",
        f"equals, {display.length}",
        f"{display.length} to next",
        "coefficient from",
        "rests on",
    ]
    said = "".join(f" {letter}: {doubt}." for doubt, letter in doubts.items())
    return _on_sheets(
        "<h2>Fittings</h2>"
        + _table(heads, rows)
        + '<p class="quiet">* on the critical path. pv is the velocity pressure that '
        "the coefficient refers to, K the Reynolds factor; it equals so much straight "
        f"duct at {display.rates(analysis.system.rate)}, and stands so far before the "
        f"next fitting or end. [Numbers] are those under Sources.{as_markup(said)}</p>",
        len(rows),
    )


def _pairs(analysis: Analysis, display: Display) -> str:
    rows: list[list[Cell]] = [
        [
            words,
            *map(_n, numbers),
            "; ".join([f"{pair.source} ({known})", *Note(pair.notes).words])
            if pair.source
            else known,
        ]
        for pair, (words, *numbers, known) in zip(
            analysis.pairs, pair_rows(analysis, display), strict=True
        )
    ]
    if not rows:
        return ""
    unit = display.pressure
    heads = ["elbows", "apart", f"plain sum, {unit}", f"as a pair, {unit}", "pair from"]
    return (
        "<h2>Elbows close together</h2>"
        + _table(heads, rows)
        + f"<p>{as_markup(pairs_sentence(analysis, display))}</p>"
    )


def _ducts(analysis: Analysis, display: Display, numbers: Mapping[Print, int]) -> str:
    e, unit = analysis.elements, analysis.graph.drawing.unit
    rows: list[list[Cell]] = []
    materials: dict[str, str] = {}  # each by its number, as above the table
    for alike in _joined(analysis, duct_schedule(analysis)):
        row = alike[0]
        credit = e.credits[e.credit[row.element]]
        limit = row.velocity_limit
        speed, most, verdict = display.velocities(row.velocity), "–", ""
        if limit is not None:
            most, verdict = display.velocities(limit), "kept"
        if limit is not None and not row.is_kept:
            speed, most = words_apart(display.velocities, row.velocity, limit)
            verdict = "not kept"
        long = " + ".join(display.lengths(one.length, 2) for one in alike)
        middles = [", ".join(coordinates(one.place, unit)) for one in alike]
        material = (
            row.material
            + f", compressed by {100 * (row.compression or 0.0):.3g} %"
            * bool(row.compression)
        )
        rows.append(
            [
                (", ".join(analysis.ids[one.element] for one in alike), "k"),
                analysis.name(row.element),
                ("; ".join(middles), "k"),
                _s(display.size(row.section)),
                _n(display.side_words(row.equivalent_diameter)),
                _n(display.side_words(row.hydraulic_diameter)),
                (long, "n l"),
                _n(display.flows(row.flow)),
                _n(speed),
                _n(most),
                (verdict, "k" if row.is_kept else "k bad"),
                _n(display.rates(row.gradient).removesuffix(f" {display.rate}")),
                (f"[{numbers[_print(credit)]}] {credit.confidence}", "k"),
                _s(materials.setdefault(material, f"M{len(materials) + 1}")),
            ]
        )
    heads = [
        "piece",
        "duct",
        f"middle, {place_unit(unit)}",
        "size",
        f"De, {display.side}",
        f"Dh, {display.side}",
        display.length,
        display.flow,
        display.velocity,
        "limit",
        "",
        display.rate,
        "friction from",
        "material",
    ]
    thick = analysis.graph.schedule.insulation
    named = "; ".join(f"{number}: {words}" for words, number in materials.items())
    said = f"{display.side_words(thick)} {display.side}" if thick else "none"
    return _on_sheets(
        f'<h2>Ducts</h2><p class="quiet">Materials: {as_markup(named)}.</p>'
        + _table(heads, rows)
        + '<p class="quiet">De: round duct with the same friction at the same airflow; '
        "Dh: four times the area over the perimeter; limit: the lowest that the "
        "schedule\u2019s checks ask for; middle: between its ends, in the drawing; "
        "ducts of one run that are alike in all else stand in one row, with the length "
        f"of each; insulation: {said}.</p>",
        len(rows),
    )


def _joined(analysis: Analysis, rows: Sequence[DuctRow]) -> list[list[DuctRow]]:
    """Rows of the duct schedule, those together that differ in length and place alone.

    They are of one run and carry one airflow, so that no branch lies between them.
    """
    run = analysis.graph.ducts.run[analysis.elements.duct]
    credit = analysis.elements.credit
    out: dict[tuple[object, ...], list[DuctRow]] = {}
    for row in rows:
        plain = replace(
            row,
            element=0,
            length=0.0,
            place=(0.0, 0.0, 0.0),
            # What is summed may differ in its last bit.
            flow=round(row.flow, 9),
            velocity=round(row.velocity, 9),
            gradient=round(row.gradient, 9),
        )
        of = int(run[row.element]), int(credit[row.element]), plain
        out.setdefault(of, []).append(row)
    return list(out.values())


def _balance(analysis: Analysis, display: Display, numbers: dict[Print, int]) -> str:
    settings = balancing(analysis)
    if len(settings) < 2:
        return ""
    rows: list[list[Cell]] = [
        [
            str(row["order"]),
            row["terminal"],
            damper_place(row),
            damper_point(row, analysis.graph.drawing.unit),
            _n(display.pressures(row["excess_pa"])),
            _n(damper_coefficient(row)),
            _n(blade_words(row)),
            _s(_angle_from(row, numbers)),
            _n(open_share(row)),
        ]
        for row in settings
    ]
    heads = [
        "order",
        "terminal",
        "damper in",
        "at",
        f"to spend, {display.pressure}",
        "C",
        "blade from open",
        "angle from",
        "open, of design",
    ]
    text = "<h2>Balancing</h2>" + _table(heads, rows)
    note = f'<p class="quiet">{as_markup(balance_note(settings, display))}</p>'
    return text + note


def _angle_from(row: Mapping[str, Any], numbers: dict[Print, int]) -> str:
    """Number of the print that a damper's angle is from, entered if it is new."""
    if row["table"] is None:
        return ""
    named = row["table"], row["source"], row["confidence"]
    number = numbers.setdefault(named, len(numbers) + 1)
    return f"[{number}] {row['confidence']}"


def _checks(analysis: Analysis, display: Display) -> str:
    rows: list[list[Cell]] = []
    found = analysis.checks
    for check in found:
        verdict = "" if check.limit is None else "kept" if check.is_kept else "not kept"
        rows.append(
            [
                (check.rule, "w"),
                *map(_n, limit_words(check, display)),
                check.at,
                (verdict, "bad") if verdict == "not kept" else verdict,
                *([(check.remedy, "w")] * any(one.remedy for one in found)),
                (source_words(check), "w"),
            ]
        )
    heads = ["check", "worst", "limit", "at", "verdict", "limit from"]
    if len(rows[0]) > len(heads):
        heads.insert(-1, "what to do")
    text = "<h2>Checks</h2>" + _table(heads, rows)
    if analysis.graph.is_return:
        return text  # the supply side tells of the fan
    return f"{text}<p>{as_markup(power_sentence(power_of(analysis), display))}</p>"


def _quantities(analysis: Analysis, display: Display) -> str:
    found = quantities(analysis, display.side)
    area = display.area
    lengths: list[list[Cell]] = [
        [*cells[:2], *map(_n, cells[2:])]
        for cells in (length_cells(row, display) for row in found.lengths)
    ]
    fittings: list[list[Cell]] = [
        [
            row.what,
            "" if row.section is None else display.size(row.section),
            _n(str(row.count)),
        ]
        for row in found.fittings
    ]
    sheet: list[list[Cell]] = [
        [str(row.gauge), _n(display.areas(row.area)), _n(display.masses(row.mass))]
        for row in found.sheet
    ]
    for table, total in zip(
        (lengths, sheet), quantity_totals(found, display), strict=True
    ):
        table.append([total[0], *(_n(cell) for cell in total[1:])])
    return (
        "<h2>Quantities</h2>"
        + _table(
            [
                "section",
                "gauge",
                display.length,
                f"sheet, {area}",
                f"insulation, {area}",
            ],
            lengths,
        )
        + _table(["what", "section", "count"], fittings)
        + _table(
            [
                "gauge",
                area,
                f"{display.mass}, with {100 * ALLOWANCE:g} % for seams and waste",
            ],
            sheet,
        )
        + f"<p>{as_markup(joints_words(found, display))}</p>"
    )


def _assumed(analysis: Analysis, display: Display) -> str:
    rows: list[list[Cell]] = []
    for effect in analysis.effects:
        said = effect.assumption
        change = "not known"
        if effect.refused:
            change = f"not known; {said.instead}: {effect.refused}"
        if effect.loss is not None:
            sign = "+" if effect.loss >= 0 else "-"
            change = f"{said.instead}: {sign}{display.pressures(abs(effect.loss))}"
            if said.acts_on != CRITICAL_PATH:
                change += f" on the {said.acts_on}"
        rows.append([said.what, _n(str(said.elements)), change, said.remedy])
    if not rows:
        return ""
    heads = ["assumed", "pieces", f"effect, {display.pressure}", "how to say it"]
    return "<h2>Assumed, because nobody said it</h2>" + _table(heads, rows)


def _room(room: Sequence[Gap], display: Display) -> str:
    rows: list[list[Cell]] = [
        [
            gap.duct,
            gap.beside,
            (display.apart(gap.distance), "n" if gap.is_kept else "n bad"),
            _n(display.gaps(gap.required) if gap.required else "–"),
            place_words(gap.place, gap.unit),
        ]
        for gap in room
    ]
    if not rows:
        return ""
    heads = ["duct", "beside", "gap", "to keep", "at"]
    return "<h2>Room around the ducts</h2>" + _table(heads, rows)


def _remarks(remarks: Sequence[Mapping[str, str]], doubts: Sequence[str]) -> str:
    rows: list[list[Cell]] = []
    for number, one in enumerate(remarks):
        why = doubts[number] if number < len(doubts) else ""
        on = f"{one['element']} {one['name']}" + (f" ({why})" if why else "")
        rows.append([one["option"], (on, "bad") if why else on, one["text"]])
    if not rows:
        return ""
    return "<h2>Remarks of the review</h2>" + _table(["layout", "on", "remark"], rows)


def _doubts(notes: int) -> list[str]:
    """What is to be said of a coefficient, but that it stands between two rows."""
    return Note(notes & ~int(Note.INTERPOLATED)).words


def _numbered(analyses: Sequence[Analysis]) -> dict[Print, int]:
    """Number of each print that the losses rest on."""
    prints = {
        _print(found.elements.credits[used])
        for found in analyses
        for used in np.unique(found.elements.credit).tolist()
    }
    return {one: number for number, one in enumerate(sorted(prints), start=1)}


def _print(credit: Credit) -> Print:
    return credit.table, credit.source, credit.confidence


def _sources(numbers: Mapping[Print, int]) -> str:
    rows: list[list[Cell]] = [
        [_s(f"[{n}]"), (table, "k"), source, confidence]
        for (table, source, confidence), n in numbers.items()
    ]
    return "<h2>Sources</h2>" + _table(["", "table", "source", "confidence"], rows)


def _made_from(inputs: Mapping[str, Any]) -> str:
    rows: list[list[Cell]] = [["elbowroom", version("elbowroom")]]
    for what in ("routes", "obstacles", "schedules"):
        rows += [[one["file"], one["sha256"]] for one in inputs.get(what, [])]
    return "<h2>Made from</h2>" + _table(["file", "SHA-256 or version"], rows)


def _list(title: str, lines: Sequence[str]) -> str:
    if not lines:
        return ""
    items = "".join(f"<li>{as_markup(line)}</li>" for line in lines)
    return f"<h2>{as_markup(title)}</h2><ul>{items}</ul>"


def _on_sheets(text: str, count: int) -> str:
    """A part of wide rows: if these are many, on sheets that are wide too."""
    return f'<section class="long">{text}</section>' if count > _MOST_UPRIGHT else text


def _n(text: str) -> Cell:
    """A number: set to the right."""
    return text, "n"


def _unbroken(name: str) -> Cell:
    """A name that is broken within its words only if it is long."""
    return _s(name) if len(name) <= _LONGEST_WHOLE else name


def _s(text: str) -> Cell:
    """A short text that is not broken over two lines."""
    return text, "s"


def _table(heads: Sequence[str], rows: Sequence[Sequence[Cell]]) -> str:
    def cell(tag: str, content: Cell) -> str:
        text, kind = content if isinstance(content, tuple) else (content, "")
        mark = f' class="{kind}"' if kind else ""
        shown = as_markup(text)
        if tag == "th" and "/" in text:  # a unit is not broken at its stroke
            *what, unit = text.rpartition(" ")
            shown = (
                f'{as_markup("".join(what))}<span class="s">{as_markup(unit)}</span>'
            )
        scope = ' scope="col"' if tag == "th" else ""
        return f"<{tag}{scope}{mark}>{shown}</{tag}>"

    right = [False] * len(heads)
    if rows:
        right = [isinstance(c, tuple) and c[1].startswith("n") for c in rows[0]]
    head = "".join(
        cell("th", (text, "n") if is_number else text)
        for text, is_number in zip(heads, right, strict=True)
    )
    body = "".join(
        f"<tr>{''.join(cell('td', one) for one in row)}</tr>" for row in rows
    )
    wide = ' class="wide"' if len(heads) > _MOST_HEADS else ""
    return (
        f'<div class="table"><table{wide}><thead><tr>{head}</tr></thead>'
        f"<tbody>{body}</tbody></table></div>"
    )
