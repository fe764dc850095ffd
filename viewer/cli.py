"""The command line: `elbowroom analyse`, `compare`, `check`, `view` and the desk.

The rooms are imported inside the commands, so that --help is quick.
"""

import json
import sys
from collections.abc import Iterable, Sequence
from contextvars import ContextVar
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from .outlet import patient

if TYPE_CHECKING:
    from elbowroom.layout import Drawing, FloatArray, Notice, Obstacle, Schedule
    from elbowroom.physics import Analysis, Option

    from .display import Display
    from .gaps import Gap
    from .layout_view import By
    from .scene import Panel

_QUIET: ContextVar[bool] = ContextVar("quiet", default=False)
app = typer.Typer(
    name="elbowroom",
    help="Find where a duct layout spends its pressure, from its 3D geometry.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
)

_Route = Annotated[
    Path, typer.Argument(help="The drawn route: GLB, OBJ, DXF, VTP, TOML.")
]
_ScheduleOption = Annotated[
    Path | None,
    typer.Option(
        "--schedule",
        help="Airflows, air, constructions, declared losses (TOML). Without it "
        "NAME.schedule.toml or schedule.toml beside the route.",
    ),
]
_Unit = Annotated[
    str | None,
    typer.Option("--unit", help="Unit of the coordinates: m, mm, cm, in, ft."),
]
_Up = Annotated[str | None, typer.Option("--up", help="Axis that is up: y or z.")]
_Tolerance = Annotated[
    str, typer.Option("--tolerance", help="Ends nearer than this are joined.")
]
_Json = Annotated[bool, typer.Option("--json", help="Only JSON on standard output.")]
_Units = Annotated[str, typer.Option("--units", help="metric or inch-pound.")]
_By = Annotated[
    str, typer.Option("--by", help="What the colours show: loss or per-metre.")
]
_Png = Annotated[Path | None, typer.Option("--png", help="Write a picture there.")]
_Xlsx = Annotated[
    Path | None, typer.Option("--xlsx", help="Write the tables as a workbook there.")
]
_Page = Annotated[
    Path | None, typer.Option("--page", help="Write the review page there, as HTML.")
]
_Obstacles = Annotated[
    list[Path] | None,
    typer.Option(
        "--obstacles", help="Solids to stay clear of: GLB, OBJ, STL, PLY, IFC."
    ),
]
_ObstaclesUnit = Annotated[
    str | None,
    typer.Option("--obstacles-unit", help="Unit of those solids: m, mm, in, ft."),
]
_ObstaclesUp = Annotated[
    str | None, typer.Option("--obstacles-up", help="Up axis of those solids: y or z.")
]
_Returns = Annotated[
    list[Path] | None,
    typer.Option("--return", help="Return side of the same fan; may be repeated."),
]
_Strict = Annotated[
    bool,
    typer.Option(
        "--strict",
        help="Exit code 1: fan too weak, a check not kept, or not to be built.",
    ),
]
_MOST_LISTED = 200  # losses beside the live view
_COLOURINGS = {"loss": "loss", "per-metre": "per-metre"}


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command line.

    Parameters
    ----------
    arguments
        Words after the program's name; those it was started with if None.

    Returns
    -------
    code
        0 done, 1 done with a failed check when asked to be strict, 2 bad input.
    """
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(encoding="utf-8", errors="replace")
    words = list(sys.argv[1:] if arguments is None else arguments)
    with patient(sys.stdout, sys.stderr):
        return _run(words)


def _run(words: list[str]) -> int:
    """Do what the words say; the exit code."""
    try:
        code = app(args=words, prog_name="elbowroom", standalone_mode=False)
    except typer.Exit as done:
        return done.exit_code
    except typer.Abort:
        return 130
    except Exception as problem:
        from elbowroom.layout import BadInput

        if isinstance(problem, BadInput):
            for fault in problem.faults:
                _say(fault.sentence)
        elif hasattr(problem, "format_message"):  # a word that no command knows
            message = " ".join(str(problem.format_message()).split())
            _say(message.rstrip(".") + "; see elbowroom --help.")
        else:
            raise
        return 2
    return code if isinstance(code, int) else 0


def _say(sentence: str) -> None:
    print(f"elbowroom: {sentence}", file=sys.stderr)


def _tell(sentence: str) -> None:
    """Say what went well, unless nobody wants to hear it."""
    if not _QUIET.get():
        _say(sentence)


def _watched(work: Iterable[Any], what: str) -> Iterable[Any]:
    """Go through work of seconds with a bar on a terminal's standard error."""
    if _QUIET.get() or not sys.stderr.isatty():
        return work
    from rich.console import Console
    from rich.progress import track

    return track(list(work), what, console=Console(stderr=True), transient=True)


@app.callback(invoke_without_command=True)
def _program(
    version: Annotated[
        bool, typer.Option("--version", help="Print the version and end.")
    ] = False,
    quiet: Annotated[
        bool,
        typer.Option("--quiet", help="Say only what went wrong on standard error."),
    ] = False,
) -> None:
    _QUIET.set(quiet)
    if version:
        from importlib.metadata import version as version_of

        print(version_of("elbowroom"))
        raise typer.Exit


@app.command()
def analyse(
    route: _Route,
    schedule: _ScheduleOption = None,
    unit: _Unit = None,
    up: _Up = None,
    tolerance: _Tolerance = "1 mm",
    as_json: _Json = False,
    csv: Annotated[
        Path | None, typer.Option("--csv", help="Write CSV tables in this folder.")
    ] = None,
    xlsx: _Xlsx = None,
    png: _Png = None,
    page: _Page = None,
    by: _By = "loss",
    units: _Units = "metric",
    obstacles: _Obstacles = None,
    obstacles_unit: _ObstaclesUnit = None,
    obstacles_up: _ObstaclesUp = None,
    returns: _Returns = None,
    strict: _Strict = False,
) -> int:
    """Say where the pressure of a route goes."""
    from dataclasses import replace

    from elbowroom.physics import budget, checks, power_of, with_returns

    from .checks import print_cautions, print_checks
    from .display import DISPLAYS
    from .layout_view import panel, summary, values
    from .plan import budget_row, print_budget
    from .results import analysis_result, return_row
    from .sheets import write_csv_tables, write_workbook
    from .tables import flat_tables, print_analysis

    display = _choice(units, DISPLAYS, "--units")
    chosen: By = _choice(by, _COLOURINGS, "--by")
    inputs = [*(obstacles or []), *([schedule] if schedule else [])]
    _not_over_inputs([route], inputs, png, csv, fix=_html(page))
    _not_over_inputs([route], inputs, None, fix=_xlsx(xlsx))
    found = _schedule(route, schedule)
    solids, notices = _solids(obstacles, [route], unit, obstacles_unit, obstacles_up)
    option, room = _option(route, found, unit, up, tolerance, solids, notices)
    back = _return_sides(returns, route, found, unit, up, tolerance)
    whole = budget(option.analysis, back) if back else None
    option = replace(option, analysis=with_returns(option.analysis, back))
    plain = option.analysis
    analysis = replace(plain, flags=(*option.notices, *plain.flags))
    if as_json:
        inputs_used = _inputs([route], schedule, obstacles, returns or [])
        result = analysis_result(analysis, inputs_used, room)
        result["returns"] = [return_row(side) for side in back]
        result["budget"] = None if whole is None else budget_row(whole)
        _print_json(result)
    else:
        console = _console()
        print_analysis(analysis, display, console, room)
        for side in back:
            print_analysis(side, display, console)
        if whole is not None:
            print_budget(plain, back, whole, display, console)
        print_checks(checks(analysis), power_of(analysis), display, console)
        for side in back:
            title = f"Checks of {side.graph.drawing.file}"
            print_checks(checks(side), None, display, console, title)
        print_cautions(console)
    flat = flat_tables(analysis, room) if csv is not None or xlsx is not None else {}
    if csv is not None:
        _wrote(*write_csv_tables(flat, csv))
    if xlsx is not None:
        write_workbook(flat, xlsx)
        _wrote(xlsx)
    if png is not None:
        said = summary(analysis, display)
        if option.clearance is not None:
            said += f" · {display.gaps(option.clearance)} clear"
        one, _ = panel(analysis, chosen, display, _title(option, display), said, solids)
        _draw([one], [values(analysis, chosen, display)], chosen, display, png)
    if page is not None:
        _write_page(page, [option], solids, display.name)
    return _verdict(strict, [option], back)


@app.command()
def compare(
    routes: Annotated[list[Path], typer.Argument(help="Two routes or more.")],
    schedule: _ScheduleOption = None,
    obstacles: _Obstacles = None,
    obstacles_unit: _ObstaclesUnit = None,
    obstacles_up: _ObstaclesUp = None,
    unit: _Unit = None,
    up: _Up = None,
    tolerance: _Tolerance = "1 mm",
    as_json: _Json = False,
    csv: Annotated[
        Path | None,
        typer.Option("--csv", help="Write CSV tables in a folder for each option."),
    ] = None,
    png: _Png = None,
    page: _Page = None,
    by: _By = "loss",
    units: _Units = "metric",
    strict: _Strict = False,
) -> int:
    """Compare routes: which spends less, and which stays clear of what is there."""
    from elbowroom.layout import refusal
    from elbowroom.physics import compare as compare_options

    from .display import DISPLAYS
    from .layout_view import panel, summary, values
    from .results import comparison_result
    from .sheets import write_csv_tables
    from .tables import flat_tables, print_comparison

    display = _choice(units, DISPLAYS, "--units")
    chosen: By = _choice(by, _COLOURINGS, "--by")
    inputs = [*(obstacles or []), *([schedule] if schedule else [])]
    _not_over_inputs(routes, inputs, png, csv, fix=_html(page))
    if len(routes) < 2:
        raise refusal("compare", "only one route is given", "give two routes or more")
    schedules = _schedules(routes, schedule)
    solids, notices = _solids(obstacles, routes, unit, obstacles_unit, obstacles_up)
    options = _options(routes, schedules, unit, up, tolerance, solids, notices)
    comparison = compare_options(options, "Pa" if as_json else display.pressure)
    if as_json:
        _print_json(comparison_result(comparison, _inputs(routes, schedule, obstacles)))
    else:
        print_comparison(comparison, display, _console())
    if csv is not None:
        for option in options:
            tables = flat_tables(option.analysis)
            _wrote(*write_csv_tables(tables, csv / option.name))
    if png is not None:
        shown = []
        for place, option in enumerate(options):
            analysis = option.analysis
            title = _title(option, display)
            said = summary(analysis, display)
            if option.clearance is not None:
                said += f" · {display.gaps(option.clearance)} clear"
            if place not in comparison.ranking:
                said += " · cannot be built as drawn"
            others = [other.analysis for other in options if other is not option]
            made = panel(analysis, chosen, display, title, said, solids, others)
            shown.append(made[0])
        every = [values(option.analysis, chosen, display) for option in options]
        _draw(shown, every, chosen, display, png, comparison.verdict)
    if page is not None:
        _write_page(page, options, solids, display.name, comparison.verdict)
    return _verdict(strict, options)


@app.command()
def check(
    route: _Route,
    schedule: _ScheduleOption = None,
    unit: _Unit = None,
    up: _Up = None,
    tolerance: _Tolerance = "1 mm",
    as_json: _Json = False,
    png: _Png = None,
    fix: Annotated[
        Path | None,
        typer.Option("--fix", help="Write a mended copy there, as GLB."),
    ] = None,
    strict: _Strict = False,
) -> int:
    """Say what is in a drawing, and what is odd about it, before any number."""
    from elbowroom.layout import Severity, audit, mended, read, refusal, write
    from elbowroom.physics import settled_audit, with_airflows

    from .check import audit_picture, print_check
    from .display import counted
    from .preflight import why_not
    from .results import check_result

    if fix is not None and fix.suffix.lower() != ".glb":
        raise refusal("--fix", f"'{fix.name}' is no GLB", "name it NAME.glb")
    _not_over_inputs([route], [schedule] if schedule else [], png, fix=fix)
    found = _schedule(route, schedule, quiet=True)
    drawing = read(route, unit=unit, up=up)
    metres = _length(tolerance)
    found, _ = with_airflows(found)
    seen = audit(drawing, found, metres)
    changes: list[str] | None = None
    if fix is not None:
        copy, changes = mended(seen.topology)
        write(copy, fix)
        left = len(audit(read(fix), found, metres).findings)
    seen, by_duct = settled_audit(seen)
    result = check_result(seen, by_duct, changes)
    if as_json:
        _print_json(result)
    else:
        print_check(result, seen.findings, _console())
    if changes is not None and fix is not None:
        _wrote(fix)
        if not as_json:
            for change in changes or ["nothing had to be changed"]:
                print(f"  {change}")
            said = f"{counted(left, 'finding')} {'is' if left == 1 else 'are'}"
            print(f"{said} left in the copy; the original is untouched.")
    if png is not None:
        problem = why_not()
        if problem is not None:
            _say(problem + ".")
        else:
            audit_picture(seen, png)
            _wrote(png)
    failed = any(problem.severity == Severity.ERROR for problem in seen.findings)
    return 1 if strict and failed else 0


@app.command()
def view(
    route: _Route,
    others: Annotated[
        list[Path] | None, typer.Argument(help="More routes, side by side.")
    ] = None,
    schedule: _ScheduleOption = None,
    obstacles: _Obstacles = None,
    obstacles_unit: _ObstaclesUnit = None,
    obstacles_up: _ObstaclesUp = None,
    unit: _Unit = None,
    up: _Up = None,
    tolerance: _Tolerance = "1 mm",
    png: _Png = None,
    browser: Annotated[
        bool, typer.Option("--browser", help="Show it in a browser on this machine.")
    ] = False,
    port: Annotated[
        int, typer.Option("--port", help="Port of --browser; any free one if 0.")
    ] = 0,
    by: _By = "loss",
    units: _Units = "metric",
) -> int:
    """Show where the pressure goes: in a window, in a browser, or with --png."""
    import numpy as np

    from elbowroom.layout import refusal

    from .colours import scale_for
    from .display import DISPLAYS
    from .layout_view import bar_title, panel, summary, values
    from .limits import check_port
    from .preflight import why_no_window, why_not
    from .tables import row_text
    from .window import window

    check_port(port)
    display = _choice(units, DISPLAYS, "--units")
    chosen: By = _choice(by, _COLOURINGS, "--by")
    routes = [route, *(others or [])]
    inputs = [*(obstacles or []), *([schedule] if schedule else [])]
    _not_over_inputs(routes, inputs, png)
    schedules = _schedules(routes, schedule)
    solids, notices = _solids(obstacles, routes, unit, obstacles_unit, obstacles_up)
    options = _options(routes, schedules, unit, up, tolerance, solids, notices)
    made = [
        panel(
            option.analysis,
            chosen,
            display,
            _title(option, display),
            summary(option.analysis, display),
            solids,
        )
        for option in options
    ]
    every = [values(option.analysis, chosen, display) for option in options]
    title = bar_title(chosen, display)
    if png is not None:
        _draw([one for one, _ in made], every, chosen, display, png)
        return 0
    problem = why_not() or (None if browser else why_no_window())
    if problem is not None:
        what, _, remedy = problem.partition("; ")
        raise refusal("view", what, remedy)

    def picked(number: int, piece: int) -> str:
        element = int(made[number][1][piece])
        return row_text(options[number].analysis, element, display)

    losses = [option.analysis.elements.loss for option in options]
    ranked = sorted(
        (
            (number, piece)
            for number, (_, of_piece) in enumerate(made)
            for piece in range(len(of_piece))
        ),
        key=lambda at: -float(losses[at[0]][made[at[0]][1][at[1]]]),
    )
    panels, scale = [one for one, _ in made], scale_for(np.concatenate(every))
    if browser:
        from .live import live

        ranked = ranked[:_MOST_LISTED]
        rows = []
        for number, piece in ranked:
            analysis, element = options[number].analysis, int(made[number][1][piece])
            name = f"{analysis.name(element)}: {analysis.words(element, display.side)}"
            if len(options) > 1:
                name = f"{options[number].name}, {name}"
            lost = display.pressures(losses[number][element])
            rows.append((name, f"{lost} {display.pressure}"))
        live(panels, scale, title, picked, ranked, rows, port=port, announce=_say)
    else:
        window(panels, scale, title, picked, ranked)
    return 0


@app.command()
def fitting(
    kind: Annotated[
        str | None, typer.Argument(help="Kind in words, such as rect-elbow-smooth.")
    ] = None,
    settings: Annotated[
        list[str] | None,
        typer.Option("--set", help="A parameter of the kind: NAME=VALUE, no unit."),
    ] = None,
    width: Annotated[
        str | None,
        typer.Option("--width", help="Of the duct; of an elbow, in its plane."),
    ] = None,
    height: Annotated[
        str | None, typer.Option("--height", help="Of an elbow, along its axis.")
    ] = None,
    diameter: Annotated[str | None, typer.Option("--diameter")] = None,
    outlet_width: Annotated[
        str | None,
        typer.Option("--outlet-width", help="Of the other end, or of the branch."),
    ] = None,
    outlet_height: Annotated[str | None, typer.Option("--outlet-height")] = None,
    outlet_diameter: Annotated[str | None, typer.Option("--outlet-diameter")] = None,
    radius: Annotated[
        str | None, typer.Option("--radius", help="Throat radius.")
    ] = None,
    centreline_radius: Annotated[
        str | None, typer.Option("--centreline-radius")
    ] = None,
    length: Annotated[
        str | None,
        typer.Option("--length", help="Of a transition or cone; duct behind an elbow."),
    ] = None,
    thickness: Annotated[
        str | None, typer.Option("--thickness", help="Of a wall.")
    ] = None,
    spacing: Annotated[
        str | None, typer.Option("--spacing", help="Of turning vanes.")
    ] = None,
    angle: Annotated[str | None, typer.Option("--angle", help="45 deg")] = None,
    flow: Annotated[
        str | None, typer.Option("--flow", help="Airflow, such as 900 cfm.")
    ] = None,
    branch_flow: Annotated[str | None, typer.Option("--branch-flow")] = None,
    velocity: Annotated[
        str | None,
        typer.Option(
            "--velocity", help="Instead of the airflow: in the duct before the fitting."
        ),
    ] = None,
    rate: Annotated[
        str | None,
        typer.Option("--rate", help="Friction rate, such as '0.1 in.wg/100 ft'."),
    ] = None,
    temperature: Annotated[str | None, typer.Option("--temperature")] = None,
    altitude: Annotated[str | None, typer.Option("--altitude")] = None,
    as_list: Annotated[
        bool, typer.Option("--list", help="Show every kind and its parameters.")
    ] = False,
    versus: Annotated[
        bool, typer.Option("--versus", help="Compare other ways to make the same turn.")
    ] = False,
    draw: Annotated[
        Path | None,
        typer.Option("--draw", help="Draw a dimensioned sketch there: PNG or SVG."),
    ] = None,
    as_json: _Json = False,
    units: _Units = "metric",
) -> int:
    """Work out one fitting at the desk, without a drawing."""
    from elbowroom.layout import refusal

    from .desk import (
        MEASURES,
        desk_result,
        print_desk,
        print_kinds,
        print_versus,
        versus_result,
    )
    from .display import DISPLAYS

    words = dict(locals())
    display = _choice(units, DISPLAYS, "--units")
    if as_list:
        print_kinds(_console(), as_json)
        return 0
    if kind is None:
        raise refusal("fitting", "no kind is given", "see elbowroom fitting --list")
    if draw is not None:
        _drawable(draw)
    written = {name: words[name] for name in MEASURES if words[name] is not None}
    work = versus_result if versus else desk_result
    result = work(kind, settings or [], written)
    if as_json:
        _print_json(result)
    else:
        print_desk(result, display, _console())
        if versus:
            print_versus(result["versus"], display, _console())
    if draw is not None:
        from .sketch import sketch

        sketch(result, written, draw)
        _wrote(draw)
    return 0


@app.command()
def convert(
    route: _Route,
    output: Annotated[
        Path, typer.Argument(help="File to write: .glb, .obj, .dxf or .vtp.")
    ],
    unit: _Unit = None,
    up: _Up = None,
) -> int:
    """Write a route again in another open format, in metres and with its extras."""
    from elbowroom.layout import read, refusal, write

    if output.resolve() == route.resolve():
        raise refusal(
            str(output), "this is the input and is not written over", "name another"
        )
    _in_a_folder(output)
    drawing = read(route, unit=unit, up=up)
    for said in (*drawing.notices, *write(drawing, output)):
        _say(said.sentence)
    _wrote(output)
    return 0


@app.command()
def size(
    flow: Annotated[
        str | None, typer.Option("--flow", help="Airflow, such as 900 cfm.")
    ] = None,
    rate: Annotated[
        str | None, typer.Option("--rate", help="Friction rate that is not exceeded.")
    ] = None,
    like: Annotated[
        str | None,
        typer.Option("--like", help="Instead of a rate: a duct, such as 12x12in."),
    ] = None,
    max_height: Annotated[str | None, typer.Option("--max-height")] = None,
    max_width: Annotated[str | None, typer.Option("--max-width")] = None,
    max_velocity: Annotated[str | None, typer.Option("--max-velocity")] = None,
    series: Annotated[
        str | None,
        typer.Option("--series", help="Steps of sizes: mm or in; that of --units."),
    ] = None,
    temperature: Annotated[str | None, typer.Option("--temperature")] = None,
    altitude: Annotated[str | None, typer.Option("--altitude")] = None,
    as_json: _Json = False,
    units: _Units = "metric",
) -> int:
    """Find the sizes of one duct for an airflow and a friction rate."""
    from elbowroom.layout import units as table

    from .desk import MEASURES, site_air
    from .display import DISPLAYS
    from .size import SIZE_MEASURES, print_size, size_result

    words = dict(locals())
    display = _choice(units, DISPLAYS, "--units")
    usual = "in" if display.name == "inch-pound" else "mm"
    steps = _choice(series or usual, {"mm": "mm", "in": "in"}, "--series")
    given = {}
    for name, dimension in SIZE_MEASURES.items():
        if words[name] is not None:
            where = f"size, --{name.replace('_', '-')}"
            given[name] = _above_zero(words[name], dimension, where)
    site = {
        name: table.quantity(words[name], MEASURES[name], f"size, --{name}")
        for name in ("temperature", "altitude")
        if words[name] is not None
    }
    other = None if like is None else table.section(like, "size, --like")
    medium = site_air("size", site)
    result = size_result(given, other, steps, medium)
    if as_json:
        _print_json(result)
    else:
        print_size(result, display, _console())
    return 0


@app.command()
def report(
    routes: Annotated[list[Path], typer.Argument(help="One route or more.")],
    out: Annotated[Path, typer.Option("--out", help="OUT.html or OUT.pdf.")],
    schedule: _ScheduleOption = None,
    obstacles: _Obstacles = None,
    obstacles_unit: _ObstaclesUnit = None,
    obstacles_up: _ObstaclesUp = None,
    returns: _Returns = None,
    remarks: Annotated[
        Path | None,
        typer.Option("--remarks", help="Remarks that a review page has saved."),
    ] = None,
    unit: _Unit = None,
    up: _Up = None,
    tolerance: _Tolerance = "1 mm",
    units: _Units = "metric",
) -> int:
    """Write the report: budget, paths, fittings with sources, checks, quantities."""
    from dataclasses import replace

    from elbowroom.layout import refusal
    from elbowroom.physics import budget, with_returns
    from elbowroom.physics import compare as compare_options

    from .display import DISPLAYS
    from .gaps import gaps
    from .preflight import why_not
    from .report import read_remarks, report_html, write_report

    display = _choice(units, DISPLAYS, "--units")
    if out.suffix.lower() not in (".html", ".htm", ".pdf"):
        raise refusal("--out", f"'{out.name}' is no report", "name it .html or .pdf")
    others = [*(obstacles or []), *(returns or []), *([schedule] if schedule else [])]
    _not_over_inputs(routes, others, None, fix=out)
    if returns and len(routes) > 1:
        raise refusal("--return", "a return belongs to one supply", "give one route")
    said = [] if remarks is None else read_remarks(remarks)
    schedules = _schedules(routes, schedule)
    solids, notices = _solids(obstacles, routes, unit, obstacles_unit, obstacles_up)
    options = _options(routes, schedules, unit, up, tolerance, solids, notices)
    back = _return_sides(returns, routes[0], schedules[0], unit, up, tolerance)
    whole = budget(options[0].analysis, back) if back else None
    if back:
        options = [
            replace(options[0], analysis=with_returns(options[0].analysis, back))
        ]
    problem = why_not()
    if problem is not None:
        _say(problem + ".")
    html = report_html(
        options,
        [gaps(option.analysis, solids)[1] for option in options],
        solids,
        display,
        _inputs(routes, schedule, obstacles, returns or []),
        comparison=compare_options(options, display.pressure)
        if len(options) > 1
        else None,
        returns=back,
        budget=whole,
        remarks=said,
        picture=problem is None,
    )
    write_report(out, html)
    _wrote(out)
    return 0


@app.command()
def operate(
    route: _Route,
    schedule: _ScheduleOption = None,
    dampers: Annotated[
        str, typer.Option("--dampers", help="open, or set as the balance sets them.")
    ] = "open",
    returns: _Returns = None,
    unit: _Unit = None,
    up: _Up = None,
    tolerance: _Tolerance = "1 mm",
    as_json: _Json = False,
    units: _Units = "metric",
) -> int:
    """Say which airflows settle between the fan and the layout."""
    from elbowroom.physics import operate as settle

    from .display import DISPLAYS
    from .plan import operation_result, print_operation

    display = _choice(units, DISPLAYS, "--units")
    chosen = _choice(dampers, {"open": "open", "set": "set"}, "--dampers")
    plan = _schedule(route, schedule)
    analysis = _analysed(route, plan, unit, up, tolerance)
    back = _return_sides(returns, route, plan, unit, up, tolerance)
    found = settle(analysis, chosen, back)
    if as_json:
        _print_json(operation_result(analysis, found, back))
    else:
        print_operation(analysis, found, display, _console(), back)
    return 0


@app.command()
def proportion(
    route: _Route,
    schedule: _ScheduleOption = None,
    obstacles: _Obstacles = None,
    obstacles_unit: _ObstaclesUnit = None,
    obstacles_up: _ObstaclesUp = None,
    returns: _Returns = None,
    method: Annotated[
        str,
        typer.Option("--method", help="equal friction, velocity, or static regain."),
    ] = "equal friction",
    rate: Annotated[
        str | None,
        typer.Option("--rate", help="Friction rate; what the fan leaves if not said."),
    ] = None,
    main_velocity: Annotated[
        str | None, typer.Option("--main-velocity", help="Largest in mains.")
    ] = None,
    branch_velocity: Annotated[
        str | None, typer.Option("--branch-velocity", help="Largest in branches.")
    ] = None,
    max_height: Annotated[str | None, typer.Option("--max-height")] = None,
    max_width: Annotated[str | None, typer.Option("--max-width")] = None,
    shape: Annotated[
        str | None,
        typer.Option("--shape", help="round, rectangular or oval; as drawn if not."),
    ] = None,
    series: Annotated[
        str | None,
        typer.Option("--series", help="Steps of sizes: mm or in; that of --units."),
    ] = None,
    may_grow: Annotated[
        bool, typer.Option("--may-grow", help="Sizes may grow away from the fan.")
    ] = False,
    out: Annotated[
        Path | None,
        typer.Option("--out", help="Write the route with its sizes there."),
    ] = None,
    unit: _Unit = None,
    up: _Up = None,
    tolerance: _Tolerance = "1 mm",
    as_json: _Json = False,
    units: _Units = "metric",
) -> int:
    """Size every duct of a layout."""
    from elbowroom.layout import (
        Shape,
        overruling_notices,
        read,
        refusal,
        with_sections,
        write,
    )
    from elbowroom.physics import METHODS, Aim, plan_with_returns, with_airflows
    from elbowroom.physics import proportion as size_layout

    from .display import DISPLAYS
    from .plan import print_proportions, proportions_result

    display = _choice(units, DISPLAYS, "--units")
    how = _choice(method, {word: word for word in METHODS}, "--method")
    usual = "in" if display.name == "inch-pound" else "mm"
    steps = _choice(series or usual, {"mm": "mm", "in": "in"}, "--series")
    shapes = {
        "round": Shape.ROUND,
        "rectangular": Shape.RECTANGULAR,
        "oval": Shape.OVAL,
    }
    made = None if shape is None else _choice(shape, shapes, "--shape")

    def limit(text: str | None, dimension: str, where: str) -> float | None:
        return None if text is None else _above_zero(text, dimension, where)

    aim = Aim(
        how,
        limit(rate, "friction rate", "--rate"),
        limit(main_velocity, "velocity", "--main-velocity"),
        limit(branch_velocity, "velocity", "--branch-velocity"),
        limit(max_height, "length", "--max-height"),
        limit(max_width, "length", "--max-width"),
        made,
        steps,
        may_grow,
    )
    if how == "velocity" and (aim.main is None or aim.branch is None):
        raise refusal(
            "proportion",
            "sizing by velocity needs the velocities",
            'write --main-velocity "5 m/s" --branch-velocity "3.5 m/s"',
        )
    _not_over_inputs([route], [schedule] if schedule else [], None, fix=out)
    drawing = read(route, unit=unit, up=up)
    asked, _ = with_airflows(_schedule(route, schedule))
    back = _return_sides(returns, route, asked, unit, up, tolerance)
    asked = plan_with_returns(asked, back)
    solids, _ = _solids(obstacles, [route], unit, obstacles_unit, obstacles_up)
    found = size_layout(drawing, asked, aim, _length(tolerance), solids)
    if as_json:
        _print_json(proportions_result(found, how))
    else:
        print_proportions(found, how, display, _console())
    if out is not None:
        chosen = {choice.run: choice.chosen for choice in found.choices}
        for said in (
            *write(with_sections(drawing, chosen), out),
            *overruling_notices(drawing, asked, chosen),
        ):
            _say(said.sentence)
        _wrote(out)
    return 0


@app.command()
def improve(
    route: _Route,
    schedule: _ScheduleOption = None,
    obstacles: _Obstacles = None,
    obstacles_unit: _ObstaclesUnit = None,
    obstacles_up: _ObstaclesUp = None,
    unit: _Unit = None,
    up: _Up = None,
    tolerance: _Tolerance = "1 mm",
    as_json: _Json = False,
    units: _Units = "metric",
) -> int:
    """Say which changes win pressure on the critical path."""
    from elbowroom.physics import remedies

    from .display import DISPLAYS
    from .gaps import gaps
    from .plan import print_remedies, remedies_result

    display = _choice(units, DISPLAYS, "--units")
    solids, _ = _solids(obstacles, [route], unit, obstacles_unit, obstacles_up)
    option, _ = _option(
        route, _schedule(route, schedule), unit, up, tolerance, solids, []
    )

    def clashes(analysis: "Analysis") -> int:
        return sum(not gap.is_kept for gap in gaps(analysis, solids)[1])

    series = "in" if display.name == "inch-pound" else "mm"
    found = remedies(
        option.analysis, clashes, series, lambda work: _watched(work, "changes tried")
    )
    if as_json:
        _print_json(remedies_result(option.analysis, found))
    else:
        print_remedies(option.analysis, found, display, _console())
    return 0


@app.command()
def quantities(
    route: _Route,
    schedule: _ScheduleOption = None,
    csv: Annotated[
        Path | None, typer.Option("--csv", help="Write CSV tables in this folder.")
    ] = None,
    xlsx: _Xlsx = None,
    unit: _Unit = None,
    up: _Up = None,
    tolerance: _Tolerance = "1 mm",
    as_json: _Json = False,
    units: _Units = "metric",
) -> int:
    """Count what a layout is made of: lengths, fittings, sheet, insulation."""
    from elbowroom.physics import quantities as count

    from .checks import print_quantities, quantities_result, quantity_tables
    from .display import DISPLAYS
    from .sheets import write_csv_tables, write_workbook

    display = _choice(units, DISPLAYS, "--units")
    others = [schedule] if schedule else []
    _not_over_inputs([route], others, None, csv, fix=_xlsx(xlsx))
    analysis = _analysed(route, _schedule(route, schedule), unit, up, tolerance)
    found = count(analysis)
    if as_json:
        _print_json(quantities_result(analysis, found))
    else:
        shown = count(analysis, display.side)
        print_quantities(analysis, shown, display, _console())
    if csv is not None:
        _wrote(*write_csv_tables(quantity_tables(found), csv))
    if xlsx is not None:
        write_workbook(quantity_tables(found), xlsx)
        _wrote(xlsx)
    return 0


def _above_zero(text: str, dimension: str, where: str) -> float:
    from elbowroom.layout import refusal, units

    from .limits import check_range

    value = units.quantity(text, dimension, where)
    if value <= 0.0:
        raise refusal(where, f"{text} is not above zero", "correct it")
    check_range(value, text, dimension, where)
    return value


@app.command()
def sources(
    missing: Annotated[
        bool,
        typer.Option("--missing", help="What has no published data, and its stand-in."),
    ] = False,
    as_json: _Json = False,
) -> int:
    """Say where the numbers come from: every table, its sources, range, checksum."""
    from elbowroom.physics import missing as missing_data
    from elbowroom.physics import table_sources

    from .sources import print_missing, print_sources, sources_result

    if as_json:
        _print_json(sources_result(table_sources(), missing_data()))
    elif missing:
        print_missing(missing_data(), _console())
    else:
        print_sources(table_sources(), _console())
    return 0


def _option(
    route: Path,
    schedule: "Schedule",
    unit: str | None,
    up: str | None,
    tolerance: str,
    obstacles: "Sequence[Obstacle]",
    notices: "Sequence[Notice]",
    name: str | None = None,
    drawing: "Drawing | None" = None,
    other_runs: "set[str] | None" = None,
) -> "tuple[Option, tuple[Gap, ...]]":
    """Read, build, analyse and measure one route."""
    from elbowroom.layout import build, read
    from elbowroom.physics import Option, analyse, with_airflows

    from .gaps import gaps

    schedule, worked = with_airflows(schedule)
    notices = [*notices, *worked]
    drawing = drawing or read(route, unit=unit, up=up)
    graph = build(
        drawing,
        schedule,
        tolerance=_length(tolerance),
        other_runs=other_runs or set(),
    )
    analysis = analyse(graph)
    clearance, found = gaps(analysis, obstacles)
    clashes = tuple(gap.sentence for gap in found if not gap.is_kept)
    option = Option(name or route.stem, analysis, clearance, clashes, tuple(notices))
    return option, found


def _analysed(
    route: Path,
    schedule: "Schedule",
    unit: str | None,
    up: str | None,
    tolerance: str,
) -> "Analysis":
    """Analyse one route, with nothing around it."""
    option, _ = _option(route, schedule, unit, up, tolerance, [], [])
    return option.analysis


def _return_sides(
    returns: Sequence[Path] | None,
    route: Path,
    supply: "Schedule",
    unit: str | None,
    up: str | None,
    tolerance: str,
) -> "list[Analysis]":
    """Analyse the returns of a supply."""
    from elbowroom.layout import refusal

    seen = {route.resolve()}
    for path in returns or []:
        if path.resolve() in seen:
            raise refusal(
                f"--return {path.name}",
                "the same drawing is given twice",
                "name the drawing of the return, once",
            )
        seen.add(path.resolve())
    return [_return_side(path, supply, unit, up, tolerance) for path in returns or []]


def _return_side(
    route: Path,
    supply: "Schedule",
    unit: str | None,
    up: str | None,
    tolerance: str,
) -> "Analysis":
    """Analyse a return: with NAME.schedule.toml, else as the supply is made."""
    from dataclasses import replace

    from elbowroom.layout import SourceSpec, find_schedule

    own = find_schedule(route)
    if own is not None and own.name != "schedule.toml":
        schedule = _schedule(route, own)
    else:
        schedule = replace(
            supply,
            source=SourceSpec(),
            fan=type(supply.fan)(),
            losses={},
            terminals={},
            sections={},
            run_materials={},
            run_roughness={},
            run_compression={},
            elbow_exceptions={},
            takeoff_exceptions={},
            closed_ends={},
            transition_exceptions={},
        )
    schedule = replace(schedule, source=replace(schedule.source, is_return=True))
    return _analysed(route, schedule, unit, up, tolerance)


def _options(
    routes: Sequence[Path],
    schedules: "Sequence[Schedule]",
    unit: str | None,
    up: str | None,
    tolerance: str,
    obstacles: "Sequence[Obstacle]",
    notices: "Sequence[Notice]",
) -> "list[Option]":
    """Options side by side; a schedule may name runs of any of them."""
    from elbowroom.layout import read

    drawings = [read(route, unit=unit, up=up) for route in routes]
    runs = {name for drawing in drawings for name in drawing.names}
    return [
        _option(
            route, found, unit, up, tolerance, obstacles, notices, name, drawing, runs
        )[0]
        for route, found, name, drawing in zip(
            routes, schedules, _names(routes), drawings, strict=True
        )
    ]


def _schedule(route: Path, given: Path | None, quiet: bool = False) -> "Schedule":
    from elbowroom.layout import Schedule, find_schedule, read_schedule

    path = given or find_schedule(route)
    if path is None:
        return Schedule()
    if given is None and not quiet:
        _tell(f"using the schedule {path.name}")
    return read_schedule(path)


def _schedules(routes: Sequence[Path], given: Path | None) -> "list[Schedule]":
    """Schedule of each route; one that several share is read and named once."""
    from elbowroom.layout import find_schedule

    read: dict[Path | None, Schedule] = {}
    out = []
    for route in routes:
        path = given or find_schedule(route)
        if path not in read:
            read[path] = _schedule(route, given)
        out.append(read[path])
    return out


def _solids(
    paths: list[Path] | None,
    routes: Sequence[Path],
    unit: str | None,
    solid_unit: str | None,
    solid_up: str | None,
) -> "tuple[list[Obstacle], list[Notice]]":
    """Solids of the files named and of the routes' own files, each of them once."""
    from elbowroom.layout import read_obstacles, refusal, structure_in

    for option, word in (("unit", solid_unit), ("up", solid_up)):
        if word is not None and not paths:
            raise refusal(
                f"--obstacles-{option}", "there are no --obstacles", "leave it out"
            )
    solids: list[Obstacle] = []
    notices: list[Notice] = []
    seen: set[tuple[str, bytes]] = set()
    for found, said in [
        *(read_obstacles(path, unit=solid_unit, up=solid_up) for path in paths or []),
        *(structure_in(route, unit=unit) for route in routes if route.is_file()),
    ]:
        notices += said
        for solid in found:
            key = (solid.name, solid.vertices.tobytes())
            if key not in seen:
                seen.add(key)
                solids.append(solid)
    return solids, notices


def _names(routes: Sequence[Path]) -> list[str]:
    """Name of each option: the file's stem, with its folder where stems repeat."""
    stems = [route.stem for route in routes]
    if len(set(stems)) == len(stems):
        return stems
    return [f"{route.parent.name}-{route.stem}" for route in routes]


def _inputs(
    routes: Sequence[Path],
    given: Path | None,
    obstacles: list[Path] | None,
    returns: Sequence[Path] = (),
) -> dict[str, Any]:
    """Every file that goes in, with its checksum."""
    from hashlib import sha256

    from elbowroom.layout import find_schedule

    def named(path: Path) -> dict[str, str]:
        return {"file": path.name, "sha256": sha256(path.read_bytes()).hexdigest()}

    plans = [given or find_schedule(route) for route in routes]
    plans += [find_schedule(route) for route in returns]
    return {
        "routes": [named(route) for route in [*routes, *returns]],
        "schedules": [named(plan) for plan in dict.fromkeys(plans) if plan is not None],
        "obstacles": [named(path) for path in obstacles or []],
    }


def _length(text: str) -> float:
    from elbowroom.layout import refusal, units

    metres = units.quantity(text, "length", "--tolerance")
    if not 0.0 < metres <= 1.0:
        raise refusal("--tolerance", f"'{text}' is not above 0 to 1 m", "correct it")
    return metres


def _choice(word: str, choices: dict[str, Any], where: str) -> Any:
    from elbowroom.layout import refusal

    if word in choices:
        return choices[word]
    raise refusal(where, f"'{word}' is not known", f"write {' or '.join(choices)}")


def _not_over_inputs(
    routes: Sequence[Path],
    others: Sequence[Path],
    png: Path | None,
    csv: Path | None = None,
    fix: Path | None = None,
) -> None:
    """Refuse to write over what is read, or where there is no folder."""
    from elbowroom.layout import find_schedule, refusal

    found = [find_schedule(route) for route in routes]
    read = {path.resolve() for path in (*routes, *others, *found) if path is not None}
    if png is not None and png.suffix.lower() != ".png":
        raise refusal(str(png), "a picture's name ends in .png", "name it so")
    for output in (png, csv, fix):
        if output is None:
            continue
        if output.resolve() in read:
            raise refusal(
                str(output), "this is an input and is not written over", "name another"
            )
        _in_a_folder(output)
    if csv is not None and csv.exists() and not csv.is_dir():
        raise refusal(str(csv), "this is a file, not a folder", "name another")


def _xlsx(book: Path | None) -> Path | None:
    from elbowroom.layout import refusal

    if book is not None and book.suffix.lower() != ".xlsx":
        raise refusal("--xlsx", f"'{book.name}' is no workbook", "name it NAME.xlsx")
    return book


def _html(page: Path | None) -> Path | None:
    from elbowroom.layout import refusal

    if page is not None and page.suffix.lower() not in (".html", ".htm"):
        raise refusal("--page", f"'{page.name}' is no page", "name it NAME.html")
    return page


def _write_page(
    page: Path,
    options: "Sequence[Option]",
    solids: "Sequence[Obstacle]",
    units: str,
    verdict: str = "",
) -> None:
    from .gaps import gaps
    from .page import write_page

    rooms = [gaps(option.analysis, solids)[1] for option in options]
    write_page(page, options, rooms, solids, verdict, units)
    _wrote(page)


def _drawable(path: Path) -> None:
    from elbowroom.layout import refusal

    if path.suffix.lower() not in (".png", ".svg"):
        raise refusal(str(path), "a sketch's name ends in .png or .svg", "name it so")
    _in_a_folder(path)


def _in_a_folder(output: Path) -> None:
    from elbowroom.layout import refusal

    if not output.resolve().parent.is_dir():
        raise refusal(str(output), "its folder is not there", "make the folder first")


def _title(option: "Option", display: "Display") -> str:
    analysis = option.analysis
    loss = f"{display.pressures(analysis.critical_loss)} {display.pressure}"
    return f"{option.name}: {loss} to {analysis.critical_terminal}"


def _draw(
    panels: "Sequence[Panel]",
    values: "Sequence[FloatArray]",
    by: "By",
    display: "Display",
    png: Path,
    verdict: str = "",
) -> None:
    import numpy as np

    from .colours import scale_for
    from .layout_view import bar_title
    from .preflight import why_not
    from .scene import picture

    problem = why_not()
    if problem is not None:
        _say(problem + ".")
        return
    picture(
        panels,
        scale_for(np.concatenate(values)),
        bar_title(by, display),
        png,
        verdict=verdict,
        length_unit=display.length,
    )
    _wrote(png)


def _wrote(*paths: Path) -> None:
    for path in paths:
        _tell(f"wrote {path}")


def _verdict(
    strict: bool, options: "Sequence[Option]", returns: "Sequence[Analysis]" = ()
) -> int:
    from elbowroom.physics import checks

    if not strict:
        return 0
    sides = [*(option.analysis for option in options), *returns]
    failed = any(not check.is_kept for side in sides for check in checks(side))
    failed = failed or any(
        option.faults
        or (
            option.analysis.system.available is not None
            and option.analysis.system.required > option.analysis.system.available
        )
        for option in options
    )
    return 1 if failed else 0


def _console() -> Any:
    from rich.console import Console

    return Console(highlight=False, soft_wrap=not sys.stdout.isatty())


def _print_json(content: Any) -> None:
    # For people by lines; for programs without, which is ten times as fast.
    indent = 1 if sys.stdout.isatty() else None
    print(json.dumps(content, ensure_ascii=False, indent=indent, allow_nan=False))
