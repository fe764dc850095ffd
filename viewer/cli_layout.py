"""Commands on a drawn layout: analyse, compare, check, view, convert."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from .cli_arguments import (
    COLOURINGS,
    ByOption,
    CheckStrictOption,
    CsvOption,
    JsonOption,
    ObstaclesOption,
    ObstaclesUnitOption,
    ObstaclesUpOption,
    PageOption,
    PngOption,
    ReturnsOption,
    ReturnUnitOption,
    ReturnUpOption,
    RouteArgument,
    ScheduleOption,
    StrictOption,
    ToleranceOption,
    UnitOption,
    UnitsOption,
    UpOption,
    XlsxOption,
    csv_option,
)
from .cli_inputs import (
    Inputs,
    Layouts,
    display_of,
    input_files,
    one_of,
    opened,
    option_names,
    schedule_for,
    told_together,
)
from .cli_outputs import (
    can_be_written,
    check_outputs,
    draw_if_possible,
    draw_picture,
    exit_code,
    new_console,
    print_json,
    say,
    tell,
    whole_or_nothing,
    write_folders,
    write_review_page,
    write_tables,
    written,
    wrote,
)
from .outlet import printable

if TYPE_CHECKING:
    from collections.abc import Sequence

    from elbowroom.layout import Notice
    from elbowroom.physics import Option

    from .display import Display
    from .layout_view import By


_MOST_LISTED = 200  # losses beside the live view


def analyse(
    route: RouteArgument,
    schedule: ScheduleOption = None,
    unit: UnitOption = None,
    up: UpOption = None,
    tolerance: ToleranceOption = "1 mm",
    as_json: JsonOption = False,
    csv: CsvOption = None,
    xlsx: XlsxOption = None,
    png: PngOption = None,
    page: PageOption = None,
    by: ByOption = "loss",
    units: UnitsOption = "metric",
    obstacles: ObstaclesOption = None,
    obstacles_unit: ObstaclesUnitOption = None,
    obstacles_up: ObstaclesUpOption = None,
    returns: ReturnsOption = None,
    return_unit: ReturnUnitOption = None,
    return_up: ReturnUpOption = None,
    strict: StrictOption = False,
) -> int:
    """Say where the pressure of a route goes."""
    from .layout_view import panels, scale_of, side_by_side
    from .results import analysis_result
    from .sides import layout_tables, print_layout, with_clashes

    display = display_of(units)
    inputs = Inputs(
        [route], schedule, unit, up, tolerance, returns or (), return_unit, return_up,
        obstacles or (), obstacles_unit, obstacles_up,
    )  # fmt: skip
    chosen: By = one_of(by, COLOURINGS, "--by")
    check_outputs(
        inputs.drawings, inputs.others, png=png, csv=csv, xlsx=xlsx, page=page
    )
    is_drawn = png is not None or page is not None
    layouts = opened(inputs, display, is_drawn=is_drawn)
    (shown,), (rooms,), solids = layouts.shown, layouts.rooms, layouts.solids
    whole = layouts.budgets[0] if returns else None
    sides = with_clashes(shown, rooms)
    if as_json:
        print_json(analysis_result(sides, input_files(inputs), whole))
    else:
        console = new_console()
        with whole_or_nothing(console):
            print_layout(shown, rooms, whole, display, console)
    if csv is not None or xlsx is not None:
        write_tables(layout_tables(sides, whole), csv, xlsx)
    if png is not None:
        seen, _ = side_by_side(layouts.shown, layouts.rooms, solids)
        made, _ = panels(seen, [], chosen, display, solids)
        draw_picture(made, scale_of(shown, chosen, display), chosen, display, png)
    if page is not None:
        back = [one.analysis for one in shown[1:]]
        write_review_page(
            page, shown, rooms, solids, display.name, whole, [back], by=chosen
        )
    return exit_code(strict, shown)


def compare(
    routes: Annotated[list[Path], typer.Argument(help="Two routes or more.")],
    schedule: ScheduleOption = None,
    obstacles: ObstaclesOption = None,
    obstacles_unit: ObstaclesUnitOption = None,
    obstacles_up: ObstaclesUpOption = None,
    unit: UnitOption = None,
    up: UpOption = None,
    tolerance: ToleranceOption = "1 mm",
    returns: ReturnsOption = None,
    return_unit: ReturnUnitOption = None,
    return_up: ReturnUpOption = None,
    as_json: JsonOption = False,
    csv: Annotated[
        Path | None,
        csv_option("Write CSV tables of all, and in a folder for each option."),
    ] = None,
    xlsx: XlsxOption = None,
    png: PngOption = None,
    page: PageOption = None,
    by: ByOption = "loss",
    units: UnitsOption = "metric",
    strict: StrictOption = False,
) -> int:
    """Compare routes: which spends less, and which stays clear of what is there."""
    from elbowroom.layout import refusal
    from elbowroom.physics import compare as compare_options

    from .display import METRIC
    from .gaps import in_units
    from .layout_view import panels, scale_of, side_by_side
    from .results import beside_row, comparison_result
    from .tables import print_comparison

    display = display_of(units)
    inputs = Inputs(
        routes, schedule, unit, up, tolerance, returns or (), return_unit, return_up,
        obstacles or (), obstacles_unit, obstacles_up,
    )  # fmt: skip
    chosen: By = one_of(by, COLOURINGS, "--by")
    check_outputs(
        inputs.drawings,
        inputs.others,
        png=png,
        csv=csv,
        csv_folders=option_names(inputs.drawings)[: len(routes)],
        xlsx=xlsx,
        page=page,
    )
    if len(routes) < 2:
        raise refusal("compare", "only one route is given", "give two routes or more")
    said_in = METRIC if as_json else display
    is_drawn = png is not None or page is not None
    layouts = opened(inputs, said_in, is_drawn=is_drawn)
    together = told_together(layouts)
    sides, seen = side_by_side(together.shown, layouts.rooms, layouts.solids)
    options, rooms, backs = map(list, zip(*sides, strict=True))
    comparison = compare_options(options, "Pa" if as_json else display.pressure)
    if as_json or csv is not None or xlsx is not None:
        each = zip(layouts.shown, layouts.budgets, strict=False)
        beside = [beside_row(shown[1:], whole) for shown, whole in each]
        result = comparison_result(comparison, input_files(inputs), beside)
    if as_json:
        print_json(result)
    else:
        print_comparison(comparison, display, new_console(), layouts.budgets)
    if csv is not None or xlsx is not None:
        _write_compared(layouts, result, csv, xlsx)
    if png is not None:
        made, _ = panels(sides, options, chosen, display, seen)
        scale = scale_of(options, chosen, display)
        verdict = compare_options(
            in_units(options, rooms, display), display.pressure
        ).verdict
        draw_picture(made, scale, chosen, display, png, verdict)
    if page is not None:
        write_review_page(
            page, options, rooms, seen, display.name, returns=backs, by=chosen
        )
    return exit_code(strict, [option for shown in layouts.shown for option in shown])


def _write_compared(
    layouts: Layouts, result: dict[str, Any], csv: Path | None, xlsx: Path | None
) -> None:
    """Write tables of a comparison and of each layout, whose sides have own flags."""
    from .sheets import sheet_prefixes
    from .sides import layout_tables
    from .tables import comparison_tables

    book = comparison_tables(result)
    names = [shown[0].name for shown in layouts.shown]
    each = []
    for place, shown in enumerate(layouts.shown):
        whole = layouts.budgets[place] if layouts.budgets else None
        sides = list(zip(shown, layouts.rooms[place], strict=True))
        each.append(layout_tables(sides, whole))
    if csv is not None:
        folders = {csv / name: flat for name, flat in zip(names, each, strict=True)}
        write_folders({csv: dict(book), **folders}, csv)
    # A name may be too long for one of a sheet: the first sheet says how each begins.
    begins = sheet_prefixes(names, {table for flat in each for table in flat})
    book["options"] = [
        {"name": row["name"], "sheets": f"{begin}-", **row}
        for row, begin in zip(book["options"], begins, strict=True)
    ]
    for begin, flat in zip(begins, each, strict=True):
        book |= {f"{begin}-{table}": rows for table, rows in flat.items()}
    write_tables(book, xlsx=xlsx)


def check(
    route: RouteArgument,
    schedule: ScheduleOption = None,
    unit: UnitOption = None,
    up: UpOption = None,
    tolerance: ToleranceOption = "1 mm",
    as_json: JsonOption = False,
    png: PngOption = None,
    fix: Annotated[
        Path | None,
        typer.Option("--fix", help="Write a mended copy there, as GLB."),
    ] = None,
    draft: Annotated[
        Path | None,
        typer.Option("--draft", help="Write a schedule to fill in there, as TOML."),
    ] = None,
    strict: CheckStrictOption = False,
    units: UnitsOption = "metric",
) -> int:
    """Say what is in a drawing, and what is odd about it, before any number."""
    from dataclasses import replace

    from elbowroom.layout import (
        BadInput,
        Severity,
        audit,
        counted,
        draft_schedule,
        mended,
        read,
        refusal,
        write,
    )
    from elbowroom.physics import settled_audit, unbuildable, with_airflows

    from .audit_shown import audit_picture, print_check
    from .failings import drawing_failings
    from .results import check_result

    display = display_of(units)
    if fix is not None and fix.suffix.lower() != ".glb":
        raise refusal("--fix", f"'{fix.name}' is no GLB", "name it NAME.glb")
    check_outputs([route], [schedule], png=png, out=fix)
    if draft is not None:
        _check_draft(draft)
    inputs = Inputs([route], schedule, unit, up, tolerance)
    found = schedule_for(route, schedule, so_far=True)
    drawing = inputs.read(route)
    metres = inputs.joining_distance
    worked: tuple[Notice, ...] = ()
    try:
        found, worked = with_airflows(found)
    except BadInput as bad:
        waiting = [
            ("terminals", name)
            for name, spec in found.terminals.items()
            if spec.load is not None or spec.share is not None
        ]
        found = replace(
            found,
            faults=(*found.faults, *bad.faults),
            unread=found.unread.union(waiting),
        )
    seen = audit(drawing, found, metres)
    changes: list[str] | None = None
    there = fix is not None and fix.exists()
    if fix is not None:
        copy, changes = mended(seen.topology, seen.sections.larger_side)
        for notice in write(copy, fix):
            say(notice.sentence)
        left = len(audit(read(fix), found).findings)  # read without --tolerance
    wanting = draft_schedule(
        seen.topology, seen.sections, found, seen.gaps, whole=draft is not None
    )
    if draft is not None:
        _write_draft(wanting, draft)
    seen, by_duct = settled_audit(seen)
    seen = replace(seen, findings=(*seen.findings, *worked))
    result = check_result(seen, by_duct, changes)
    if as_json:
        print_json(result)
    else:
        print_check(result, seen.findings, display, new_console())
        if wanting and draft is None:
            tell(_draft_words(route, schedule))
    if changes is not None and fix is not None:
        wrote(fix, replaced=there)
        if not as_json:
            for change in changes or ["nothing had to be changed"]:
                print(f"  {printable(change, one_line=True)}")
            said = f"{counted(left, 'finding')} {'is' if left == 1 else 'are'}"
            print(f"{said} left in the copy; the original is untouched.")
    if png is not None:
        draw_if_possible(png, lambda: audit_picture(seen, png, display))
    if found.faults:
        count = counted(len(found.faults), "error")
        say(f"{found.file} cannot be used as it stands: see {count} in it above.")
        return 2
    if not strict:
        return 0
    faults = sum(problem.severity == Severity.ERROR for problem in seen.findings)
    lacking = () if seen.graph is None else unbuildable(seen.graph)
    if reasons := drawing_failings(faults, len(lacking)):
        say(reasons)
    return 1 if reasons else 0


def _draft_words(route: Path, given: Path | None) -> str:
    """Say how to get a schedule to fill in, under a name that nothing has."""
    from elbowroom.layout import find_schedule, found_at

    used = given or find_schedule(route)
    if used is None and not found_at(Path(f"{route.stem}.schedule.toml")):
        return f"--draft {route.stem}.schedule.toml writes what is open, to fill in"
    free = (f"{route.stem}-open{number}.toml" for number in ("", *range(2, 1000)))
    name = next(name for name in free if not found_at(Path(name)))
    into = f"copy into {used.name}" if used else "use as the schedule"
    return f"--draft {name} writes what is open, to fill in and to {into}"


def _check_draft(path: Path) -> None:
    """Refuse a place for a draft where something stands already: it may be filled in.

    Raises
    ------
    BadInput
        Also where it is no TOML by its name.
    """
    from elbowroom.layout import found_at, refusal

    if path.suffix.lower() != ".toml":
        raise refusal("--draft", f"'{path.name}' is no TOML", "name it NAME.toml")
    if found_at(path):
        what = "it is there already and is not written over"
        raise refusal(str(path), what, "name another, or delete it")
    can_be_written(path)


def _write_draft(text: str, path: Path) -> None:
    """Write a schedule to fill in, if there is anything to ask for."""
    from elbowroom.layout import writing

    if not text:
        tell(f"nothing is left open, so {path.name} was not written")
        return
    with writing(path):
        path.write_text(text, encoding="utf-8")
    wrote(path)


def view(
    route: RouteArgument,
    others: Annotated[
        list[Path] | None, typer.Argument(help="More routes, side by side.")
    ] = None,
    schedule: ScheduleOption = None,
    obstacles: ObstaclesOption = None,
    obstacles_unit: ObstaclesUnitOption = None,
    obstacles_up: ObstaclesUpOption = None,
    unit: UnitOption = None,
    up: UpOption = None,
    tolerance: ToleranceOption = "1 mm",
    png: PngOption = None,
    browser: Annotated[
        bool, typer.Option("--browser", help="Show it in a browser on this machine.")
    ] = False,
    port: Annotated[
        int, typer.Option("--port", help="Port of --browser; any free one if 0.")
    ] = 0,
    by: ByOption = "loss",
    units: UnitsOption = "metric",
    returns: ReturnsOption = None,
    return_unit: ReturnUnitOption = None,
    return_up: ReturnUpOption = None,
) -> int:
    """Show where the pressure goes: in a window, in a browser, or with --png."""
    from elbowroom.layout import refusal

    from .layout_view import bar_title, panels, scale_of, side_by_side
    from .limits import check_port
    from .preflight import why_no_window, why_not
    from .tables import row_text
    from .window import window

    check_port(port)
    display = display_of(units)
    routes = [route, *(others or [])]
    inputs = Inputs(
        routes, schedule, unit, up, tolerance, returns or (), return_unit, return_up,
        obstacles or (), obstacles_unit, obstacles_up,
    )  # fmt: skip
    chosen: By = one_of(by, COLOURINGS, "--by")
    check_outputs(inputs.drawings, inputs.others, png=png)
    layouts = opened(inputs, display, is_drawn=True)
    shown, seen = side_by_side(layouts.shown, layouts.rooms, layouts.solids)
    compared = layouts.options if others else []
    made, of_piece = panels(shown, compared, chosen, display, seen)
    options = [option for option, _, _ in shown]
    scale = scale_of(options, chosen, display)
    problem = why_not()
    if problem is None and png is None and not browser:
        problem = why_no_window()
    if problem is not None:  # nothing else is asked for
        what, _, remedy = problem.partition("; ")
        raise refusal("view", what, remedy)
    if png is not None:
        draw_picture(made, scale, chosen, display, png)
        return 0

    def picked(number: int, piece: int) -> str:
        element = int(of_piece[number][piece])
        line = row_text(options[number].analysis, element, display)
        return printable(line, one_line=True)

    measure = bar_title(chosen, display)
    losses = [
        option.analysis.elements.loss[rows]
        for option, rows in zip(options, of_piece, strict=True)
    ]
    every = [
        (number, p) for number, mine in enumerate(losses) for p in range(len(mine))
    ]
    ranked = sorted(every, key=lambda at: -float(losses[at[0]][at[1]]))
    if not browser:
        window(made, scale, measure, picked, ranked)
        return 0
    from .live import live

    ranked = ranked[:_MOST_LISTED]
    rows = [
        _listed_loss(options, number, int(of_piece[number][piece]), display)
        for number, piece in ranked
    ]
    live(made, scale, measure, picked, ranked, rows, port=port, announce=say)
    return 0


def _listed_loss(
    options: "Sequence[Option]", number: int, element: int, display: "Display"
) -> tuple[str, str]:
    """Name and loss of an element, as the live view lists them."""
    analysis = options[number].analysis
    name = f"{analysis.name(element)}: {analysis.words(element, display.side)}"
    if len(options) > 1:
        name = f"{options[number].name}, {name}"
    lost = f"{display.pressures(analysis.elements.loss[element])} {display.pressure}"
    return printable(name, one_line=True), lost


def convert(
    route: RouteArgument,
    output: Annotated[
        Path, typer.Argument(help="File to write: .glb, .obj, .dxf or .vtp.")
    ],
    unit: UnitOption = None,
    up: UpOption = None,
    out_unit: Annotated[
        str | None,
        typer.Option(
            "--out-unit",
            help="Unit of an OBJ or a VTP: m, mm, cm, in, ft; else metres.",
        ),
    ] = None,
    out_up: Annotated[
        str | None,
        typer.Option("--out-up", help="Axis that is up in an OBJ or a VTP: y or z."),
    ] = None,
) -> int:
    """Write a route again in another open format, with its extras.

    In metres, but for an OBJ or a VTP with --out-unit. An OBJ without it has the unit
    and the axis that --unit and --up give to ROUTE, where these are needed to read it.
    """
    from elbowroom.layout import read, units, write

    units.check_frame(unit, up, "--")
    units.check_frame(out_unit, out_up, "--out-")
    check_outputs([route], [], out=output)
    drawing = read(route, unit=unit, up=up)
    with written(output):
        said = write(drawing, output, unit=out_unit, up=out_up)
        for notice in (*drawing.notices, *said):
            say(notice.sentence)
    return 0
