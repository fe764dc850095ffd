"""Commands on a drawn layout: analyse, compare, check, view, convert."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

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
    Reading,
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
    from dataclasses import replace

    from elbowroom.physics import checks, power_of

    from .checks import print_cautions, print_checks
    from .display import DISPLAYS
    from .failings import clash_flags, failing_lines
    from .layout_view import panels, side_by_side, values
    from .plan import print_budget, tables_with_returns
    from .results import analysis_result
    from .tables import flat_tables, print_analysis

    display = one_of(units, DISPLAYS, "--units")
    reading = Reading(
        unit, up, tolerance, return_unit, return_up, obstacles_unit, obstacles_up
    )
    chosen: By = one_of(by, COLOURINGS, "--by")
    read = [schedule, *(obstacles or [])]
    drawn = [route, *(returns or [])]
    check_outputs(drawn, read, png=png, csv=csv, xlsx=xlsx, page=page)
    is_drawn = png is not None or page is not None
    layouts = opened(
        [route], schedule, reading, obstacles, returns, display, is_drawn=is_drawn
    )
    (shown,), (rooms,), solids = layouts.shown, layouts.rooms, layouts.solids
    option, back = shown[0], [one.analysis for one in shown[1:]]
    whole = layouts.budgets[0] if back else None
    plain, room = shown[0].analysis, rooms[0]
    analysis = replace(plain, flags=(*option.notices, *plain.flags))
    sides = [analysis, *back]
    told = [
        replace(
            side, flags=(*clash_flags(around, side.graph.drawing.file), *side.flags)
        )
        for side, around in zip(sides, rooms, strict=True)
    ]
    if as_json:
        inputs_used = input_files([route], schedule, obstacles, returns)
        behind = list(zip(told[1:], rooms[1:], strict=True))
        print_json(analysis_result(told[0], inputs_used, room, behind, whole))
    else:
        console = new_console()
        found = [checks(side) for side in sides]
        failing = [
            failing_lines(side, one.faults_in(display.side), checked, display)
            for side, one, checked in zip(sides, shown, found, strict=True)
        ]
        with whole_or_nothing(console):
            for place, (side, around) in enumerate(zip(sides, rooms, strict=True)):
                said = list(failing[place])
                if place == 0:  # its head is that of all
                    for one, lines in zip(shown[1:], failing[1:], strict=True):
                        said += [f"{one.name}: {line}" for line in lines]
                print_analysis(side, display, console, around, said)
            if whole is not None:
                print_budget(plain, back, whole, display, console)
            print_checks(found[0], power_of(analysis), display, console)
            for side, checked in zip(back, found[1:], strict=True):
                title = f"Checks of {side.graph.drawing.file}"
                print_checks(checked, None, display, console, title)
            print_cautions(console)
    if csv is not None or xlsx is not None:
        flat = flat_tables(told[0], room)
        if whole is not None:
            flat = tables_with_returns(flat, plain, told[1:], rooms[1:], whole)
        write_tables(flat, csv, xlsx)
    if png is not None:
        beside, _ = side_by_side(layouts.shown, layouts.rooms, solids)
        made = panels(beside, [], chosen, display, solids)
        every = [values(one.analysis, chosen, display) for one in shown]
        draw_picture([one for one, _ in made], every, chosen, display, png)
    if page is not None:
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
    from dataclasses import replace

    from elbowroom.layout import refusal
    from elbowroom.physics import compare as compare_options

    from .display import DISPLAYS, METRIC
    from .gaps import in_units
    from .layout_view import panels, side_by_side, values
    from .plan import tables_with_returns
    from .results import beside_row, comparison_result
    from .tables import comparison_tables, flat_tables, print_comparison

    display = one_of(units, DISPLAYS, "--units")
    reading = Reading(
        unit, up, tolerance, return_unit, return_up, obstacles_unit, obstacles_up
    )
    chosen: By = one_of(by, COLOURINGS, "--by")
    drawn = [*routes, *(returns or [])]
    check_outputs(
        drawn,
        [schedule, *(obstacles or [])],
        png=png,
        csv=csv,
        csv_folders=option_names(drawn)[: len(routes)],
        xlsx=xlsx,
        page=page,
    )
    if len(routes) < 2:
        raise refusal("compare", "only one route is given", "give two routes or more")
    said_in = METRIC if as_json else display
    is_drawn = png is not None or page is not None
    layouts = opened(
        routes, schedule, reading, obstacles, returns, said_in, is_drawn=is_drawn
    )
    supplies = layouts.options  # each side has its own flags in the files
    layouts = told_together(layouts)
    sides, seen = side_by_side(layouts.shown, layouts.rooms, layouts.solids)
    options, rooms, backs = map(list, zip(*sides, strict=True))
    comparison = compare_options(options, "Pa" if as_json else display.pressure)
    if as_json or csv is not None or xlsx is not None:
        inputs_used = input_files(routes, schedule, obstacles, returns)
        each = zip(layouts.shown, layouts.budgets, strict=False)
        beside = [beside_row(shown[1:], whole) for shown, whole in each]
        result = comparison_result(comparison, inputs_used, beside)
    if as_json:
        print_json(result)
    else:
        print_comparison(comparison, display, new_console(), layouts.budgets)
    if csv is not None or xlsx is not None:
        book, folders = comparison_tables(result), {}
        if csv is not None:
            folders[csv] = dict(book)
        for place, (option, back) in enumerate(zip(supplies, backs, strict=True)):
            supply, (room, *around) = option.analysis, layouts.rooms[place]
            flags = (*option.notices, *supply.flags)
            flat = flat_tables(replace(supply, flags=flags), room)
            if back:
                whole = layouts.budgets[place]
                flat = tables_with_returns(flat, supply, back, around, whole)
            if csv is not None:
                folders[csv / option.name] = flat
            # By the number of its row: a name may be too long for one of a sheet.
            book |= {f"{place + 1}-{name}": rows for name, rows in flat.items()}
        if csv is not None:
            write_folders(folders, csv)
        write_tables(book, xlsx=xlsx)
    if png is not None:
        made = panels(sides, options, chosen, display, seen)
        spent = [values(option.analysis, chosen, display) for option in options]
        verdict = compare_options(
            in_units(options, rooms, display), display.pressure
        ).verdict
        drawn_all = [one for one, _ in made]
        draw_picture(drawn_all, spent, chosen, display, png, verdict)
    if page is not None:
        write_review_page(
            page, options, rooms, seen, display.name, returns=backs, by=chosen
        )
    return exit_code(strict, [option for shown in layouts.shown for option in shown])


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

    from .check import audit_picture, print_check
    from .display import DISPLAYS
    from .failings import drawing_failings
    from .results import check_result

    display = one_of(units, DISPLAYS, "--units")
    if fix is not None and fix.suffix.lower() != ".glb":
        raise refusal("--fix", f"'{fix.name}' is no GLB", "name it NAME.glb")
    check_outputs([route], [schedule], png=png, out=fix)
    if draft is not None:
        _check_draft(draft)
    reading = Reading(unit, up, tolerance)
    found = schedule_for(route, schedule)
    drawing = reading.read(route)
    metres = reading.joining_distance
    found, worked = with_airflows(found)
    seen = audit(drawing, found, metres)
    changes: list[str] | None = None
    there = fix is not None and fix.exists()
    if fix is not None:
        copy, changes = mended(seen.topology, seen.sections.larger_side)
        for notice in write(copy, fix):
            say(notice.sentence)
        left = len(audit(read(fix), found).findings)  # read without --tolerance
    wanting = draft_schedule(seen.topology, seen.sections, found)
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
    """Write a schedule to fill in, if anything is wanting."""
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
    import numpy as np

    from elbowroom.layout import refusal

    from .colours import scale_for
    from .display import DISPLAYS
    from .layout_view import bar_title, panels, side_by_side, values
    from .limits import check_port
    from .preflight import why_no_window, why_not
    from .tables import row_text
    from .window import window

    check_port(port)
    display = one_of(units, DISPLAYS, "--units")
    reading = Reading(
        unit, up, tolerance, return_unit, return_up, obstacles_unit, obstacles_up
    )
    chosen: By = one_of(by, COLOURINGS, "--by")
    routes = [route, *(others or [])]
    drawn = [*routes, *(returns or [])]
    check_outputs(drawn, [schedule, *(obstacles or [])], png=png)
    layouts = opened(
        routes, schedule, reading, obstacles, returns, display, is_drawn=True
    )
    shown, seen = side_by_side(layouts.shown, layouts.rooms, layouts.solids)
    compared = layouts.options if others else []
    made = panels(shown, compared, chosen, display, seen)
    options = [option for option, _, _ in shown]
    every = [values(option.analysis, chosen, display) for option in options]
    measure = bar_title(chosen, display)
    problem = why_not()
    if problem is None and png is None and not browser:
        problem = why_no_window()
    if problem is not None:  # nothing else is asked for
        what, _, remedy = problem.partition("; ")
        raise refusal("view", what, remedy)
    if png is not None:
        draw_picture([one for one, _ in made], every, chosen, display, png)
        return 0

    def picked(number: int, piece: int) -> str:
        element = int(made[number][1][piece])
        line = row_text(options[number].analysis, element, display)
        return printable(line, one_line=True)

    losses = [option.analysis.elements.loss for option in options]
    ranked = sorted(
        (
            (number, piece)
            for number, (_, of_piece) in enumerate(made)
            for piece in range(len(of_piece))
        ),
        key=lambda at: -float(losses[at[0]][made[at[0]][1][at[1]]]),
    )
    drawn_all, scale = [one for one, _ in made], scale_for(np.concatenate(every))
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
            plain = printable(name, one_line=True)
            rows.append((plain, f"{lost} {display.pressure}"))
        live(drawn_all, scale, measure, picked, ranked, rows, port=port, announce=say)
    else:
        window(drawn_all, scale, measure, picked, ranked)
    return 0


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
