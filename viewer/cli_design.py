"""Commands that design with a layout: proportion, improve, operate and their papers."""

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from .cli_arguments import (
    CsvOption,
    JsonOption,
    MaxHeightOption,
    MaxWidthOption,
    ObstaclesOption,
    ObstaclesUnitOption,
    ObstaclesUpOption,
    ReturnsOption,
    ReturnUnitOption,
    ReturnUpOption,
    RouteArgument,
    ScheduleOption,
    SeriesOption,
    ToleranceOption,
    UnitOption,
    UnitsOption,
    UpOption,
    XlsxOption,
    rate_option,
)
from .cli_inputs import (
    Inputs,
    above_zero,
    analysed,
    display_of,
    input_files,
    of_drawings,
    one_of,
    opened,
    planned,
    return_sides,
    schedule_for,
)
from .cli_outputs import (
    check_outputs,
    new_console,
    print_json,
    say,
    watched,
    write_tables,
    written,
)

if TYPE_CHECKING:
    from collections.abc import Iterable

    from elbowroom.layout import Drawing, Notice, Schedule, Section
    from elbowroom.physics import Aim, Analysis, Proportions


def proportion(
    route: RouteArgument,
    schedule: ScheduleOption = None,
    obstacles: ObstaclesOption = None,
    obstacles_unit: ObstaclesUnitOption = None,
    obstacles_up: ObstaclesUpOption = None,
    returns: ReturnsOption = None,
    return_unit: ReturnUnitOption = None,
    return_up: ReturnUpOption = None,
    method: Annotated[
        str,
        typer.Option(
            "--method",
            help="equal friction, velocity, or static regain; the last two need both "
            "velocities, or a use or noise among the checks of the schedule.",
        ),
    ] = "equal friction",
    rate: Annotated[
        str | None, rate_option("; what the fan leaves if not said")
    ] = None,
    main_velocity: Annotated[
        str | None,
        typer.Option("--main-velocity", help="Largest in mains, such as '5 m/s'."),
    ] = None,
    branch_velocity: Annotated[
        str | None,
        typer.Option(
            "--branch-velocity", help="Largest in branches, such as '3.5 m/s'."
        ),
    ] = None,
    max_height: MaxHeightOption = None,
    max_width: MaxWidthOption = None,
    shape: Annotated[
        str | None,
        typer.Option("--shape", help="round, rectangular or oval; as drawn if not."),
    ] = None,
    series: SeriesOption = None,
    may_grow: Annotated[
        bool, typer.Option("--may-grow", help="Sizes may grow away from the fan.")
    ] = False,
    out: Annotated[
        Path | None,
        typer.Option("--out", help="Write the route with its sizes there."),
    ] = None,
    unit: UnitOption = None,
    up: UpOption = None,
    tolerance: ToleranceOption = "1 mm",
    as_json: JsonOption = False,
    csv: CsvOption = None,
    xlsx: XlsxOption = None,
    units: UnitsOption = "metric",
) -> int:
    """Size every duct of a layout."""
    from dataclasses import replace

    from elbowroom.layout import check_ending
    from elbowroom.physics import proportion as size_layout

    from .designs import print_proportions, proportions_result
    from .tables import result_tables

    display = display_of(units)
    inputs = Inputs(
        [route], schedule, unit, up, tolerance, returns or (), return_unit, return_up,
        obstacles or (), obstacles_unit, obstacles_up,
    )  # fmt: skip
    limits = {
        "--rate": rate,
        "--main-velocity": main_velocity,
        "--branch-velocity": branch_velocity,
        "--max-height": max_height,
        "--max-width": max_width,
    }
    aim = _aim(method, limits, shape, series or display.side, may_grow)
    check_outputs(inputs.drawings, inputs.others, csv=csv, xlsx=xlsx, out=out)
    if out is not None:
        check_ending(out)  # rather than after all the work
    drawing = inputs.read(route)
    plan = planned(inputs)
    metres = inputs.joining_distance
    found = size_layout(drawing, plan.schedule, aim, metres, plan.solids)
    sides = [found.before or found.after, *plan.returns.values()]
    told = (
        *of_drawings(sides, will_change=True),
        *plan.notices,
        *found.notices,
        *_too_near(found.after, plan.returns),
        *_as_drawn(plan.returns.values()),
    )
    found = replace(found, notices=told)
    result = proportions_result(found, aim.method)
    if as_json:
        print_json(result)
    else:
        print_proportions(found, aim.method, display, new_console())
    write_tables(result_tables(result, "runs", "flags"), csv, xlsx)
    if out is not None:
        _write_sized(found, drawing, plan.schedule, out)
    return 0


def _aim(
    method: str,
    limits: Mapping[str, str | None],
    shape: str | None,
    series: str,
    may_grow: bool,
) -> "Aim":
    """What the options of `proportion` ask for; limits are those of option names."""
    from elbowroom.layout import Shape, refusal
    from elbowroom.physics import METHODS, Aim

    how = one_of(method, METHODS, "--method")
    steps = one_of(series, ("mm", "in"), "--series")
    shapes = {
        "round": Shape.ROUND,
        "rectangular": Shape.RECTANGULAR,
        "oval": Shape.OVAL,
    }
    made = None if shape is None else shapes[one_of(shape, shapes, "--shape")]

    def limit(where: str, dimension: str) -> float | None:
        text = limits[where]
        return None if text is None else above_zero(text, dimension, where)

    aim = Aim(
        how,
        limit("--rate", "friction rate"),
        limit("--main-velocity", "velocity"),
        limit("--branch-velocity", "velocity"),
        limit("--max-height", "length"),
        limit("--max-width", "length"),
        made,
        steps,
        may_grow,
    )
    if aim.rate is not None and how != "equal friction":
        raise refusal(
            "proportion, --rate",
            f"sizing by {how} keeps no friction rate",
            'leave it out, or size with --method "equal friction"',
        )
    return aim


def _write_sized(
    found: "Proportions", drawing: "Drawing", asked: "Schedule", out: Path
) -> None:
    """Write the route with its sizes, and say what of its schedule they overrule."""
    from elbowroom.layout import overruling_notices, with_sections, write

    chosen = {choice.run: choice.chosen for choice in found.choices}
    graph, theirs = found.after.graph, dict[str, "Section"]()
    for duct, run in enumerate(graph.ducts.run.tolist()):
        words = drawing.attributes.get(run)
        if words is not None and words.transition:  # what it begins with follows
            theirs.setdefault(drawing.names[run], graph.section(duct))
    with written(out):
        for said in (
            *write(with_sections(drawing, theirs | chosen), out),
            *overruling_notices(drawing, asked, chosen),
        ):
            say(said.sentence)


def _too_near(supply: "Analysis", returns: Mapping[str, "Analysis"]) -> "list[Notice]":
    """Say which ducts of a sized supply have no room beside its returns, by name."""
    from elbowroom.layout import length_words, warning

    from .gaps import gaps_between

    found = []
    for name, side in returns.items():
        for gap in gaps_between(supply, side, name):
            found.append(
                warning(
                    supply.graph.drawing.file,
                    f"with these sizes {gap.words(length_words)}",
                    "give its run a max_height or max_width under [limits], or lead "
                    "it another way",
                    place=gap.place,
                )
            )
    return found


def _as_drawn(returns: "Iterable[Analysis]") -> "list[Notice]":
    """Say that returns stay as they are while their supply changes."""
    from elbowroom.layout import note

    return [
        note(
            side.graph.drawing.file,
            "this return stays as it is drawn; what it spends counts in what the fan "
            "leaves to the supply",
        )
        for side in returns
    ]


def improve(
    route: RouteArgument,
    schedule: ScheduleOption = None,
    obstacles: ObstaclesOption = None,
    obstacles_unit: ObstaclesUnitOption = None,
    obstacles_up: ObstaclesUpOption = None,
    returns: ReturnsOption = None,
    return_unit: ReturnUnitOption = None,
    return_up: ReturnUpOption = None,
    unit: UnitOption = None,
    up: UpOption = None,
    tolerance: ToleranceOption = "1 mm",
    as_json: JsonOption = False,
    csv: CsvOption = None,
    xlsx: XlsxOption = None,
    units: UnitsOption = "metric",
) -> int:
    """Say which changes win pressure on the critical path."""
    from elbowroom.physics import dust_flags, kept_from_trying, remedies

    from .designs import print_remedies, remedies_result
    from .display import TOUCH
    from .gaps import gaps, gaps_between
    from .tables import result_tables

    display = display_of(units)
    inputs = Inputs(
        [route], schedule, unit, up, tolerance, returns or (), return_unit, return_up,
        obstacles or (), obstacles_unit, obstacles_up,
    )  # fmt: skip
    check_outputs(inputs.drawings, inputs.others, csv=csv, xlsx=xlsx)
    plan = planned(inputs)
    analysis = analysed(inputs, plan.schedule)

    def clashes(changed: "Analysis") -> int:
        # How deep an overlap is counts for nothing here, and costs most to know.
        room = list(gaps(changed, plan.solids, TOUCH)[1])
        for name, side in plan.returns.items():
            room += gaps_between(changed, side, name, TOUCH)
        return sum(not gap.is_kept for gap in room)

    found = remedies(analysis, clashes, display.side, watched)
    told = [
        *of_drawings([analysis, *plan.returns.values()]),
        *kept_from_trying(analysis, display.side),
        *plan.notices,
        *_as_drawn(plan.returns.values()),
        *dust_flags(analysis.graph),
    ]
    result = remedies_result(analysis, found, told)
    if as_json:
        print_json(result)
    else:
        print_remedies(analysis, found, display, new_console(), told)
    write_tables(result_tables(result, "remedies", "flags"), csv, xlsx)
    return 0


def operate(
    route: RouteArgument,
    schedule: ScheduleOption = None,
    dampers: Annotated[
        str, typer.Option("--dampers", help="open, or set: as the balance sets them.")
    ] = "open",
    returns: ReturnsOption = None,
    return_unit: ReturnUnitOption = None,
    return_up: ReturnUpOption = None,
    unit: UnitOption = None,
    up: UpOption = None,
    tolerance: ToleranceOption = "1 mm",
    as_json: JsonOption = False,
    csv: CsvOption = None,
    xlsx: XlsxOption = None,
    units: UnitsOption = "metric",
) -> int:
    """Say which airflows settle between the fan and the layout."""
    from dataclasses import replace

    from elbowroom.physics import DAMPER_STATES, with_airflows
    from elbowroom.physics import operate as settle

    from .designs import operation_result, print_operation
    from .sides import tables_of_sides
    from .tables import result_tables

    display = display_of(units)
    inputs = Inputs(
        [route], schedule, unit, up, tolerance, returns or (), return_unit, return_up
    )
    chosen = one_of(dampers, DAMPER_STATES, "--dampers")
    check_outputs(inputs.drawings, inputs.others, csv=csv, xlsx=xlsx)
    plan, worked = with_airflows(schedule_for(route, schedule))
    analysis = analysed(inputs, plan)
    back = return_sides(inputs, plan)
    found = settle(analysis, chosen, back)
    told = of_drawings([analysis, *back])
    found = replace(found, notices=(*told, *worked, *found.notices))
    result = operation_result(analysis, found, back)
    if as_json:
        print_json(result)
    else:
        print_operation(analysis, found, display, new_console(), back)
    sides = [result_tables(result, "terminals", "flags")]
    sides += [result_tables(side, "terminals") for side in result["returns"]]
    write_tables(tables_of_sides(sides), csv, xlsx)
    return 0


def quantities(
    route: RouteArgument,
    schedule: ScheduleOption = None,
    csv: CsvOption = None,
    xlsx: XlsxOption = None,
    returns: ReturnsOption = None,
    return_unit: ReturnUnitOption = None,
    return_up: ReturnUpOption = None,
    unit: UnitOption = None,
    up: UpOption = None,
    tolerance: ToleranceOption = "1 mm",
    as_json: JsonOption = False,
    units: UnitsOption = "metric",
) -> int:
    """Count what a layout is made of: lengths, fittings, sheet, insulation."""
    from elbowroom.physics import quantities as count

    from .display import METRIC
    from .quantities import print_quantities, quantities_result, quantity_tables
    from .sides import tables_of_sides
    from .tables import flag_table, print_notices

    display = display_of(units)
    inputs = Inputs(
        [route], schedule, unit, up, tolerance, returns or (), return_unit, return_up
    )
    check_outputs(inputs.drawings, inputs.others, csv=csv, xlsx=xlsx)
    plan = schedule_for(route, schedule)
    sides = [analysed(inputs, plan)]
    sides += return_sides(inputs, plan)
    found = [count(side) for side in sides]
    told = [of_drawings([side]) for side in sides]
    result = quantities_result(sides, found, told)
    if as_json:
        print_json(result)
    else:
        # Fittings have sizes in their names, and files are metric.
        shown = found
        if display is not METRIC:
            shown = [count(side, display.side) for side in sides]
        for side, made, said in zip(sides, shown, told, strict=True):
            print_quantities(side, made, display, new_console())
            title = f"What to know of {side.graph.drawing.file}"
            print_notices(said, new_console(), title)
    tables = [
        quantity_tables(one) | flag_table(row)
        for one, row in zip(found, (result, *result["returns"]), strict=True)
    ]
    write_tables(tables_of_sides(tables), csv, xlsx)
    return 0


def report(
    routes: Annotated[list[Path], typer.Argument(help="One route or more.")],
    out: Annotated[Path, typer.Option("--out", help="OUT.html or OUT.pdf.")],
    schedule: ScheduleOption = None,
    obstacles: ObstaclesOption = None,
    obstacles_unit: ObstaclesUnitOption = None,
    obstacles_up: ObstaclesUpOption = None,
    returns: ReturnsOption = None,
    return_unit: ReturnUnitOption = None,
    return_up: ReturnUpOption = None,
    remarks: Annotated[
        Path | None,
        typer.Option("--remarks", help="Remarks that a review page has saved."),
    ] = None,
    unit: UnitOption = None,
    up: UpOption = None,
    tolerance: ToleranceOption = "1 mm",
    units: UnitsOption = "metric",
) -> int:
    """Write the report: budget, paths, fittings with sources, checks, quantities."""
    from elbowroom.layout import refusal
    from elbowroom.physics import compare as compare_options

    from .lettering import unwritable
    from .preflight import why_not
    from .remarks import astray, read_remarks
    from .report import pdf_library, report_html, write_report

    display = display_of(units)
    inputs = Inputs(
        routes, schedule, unit, up, tolerance, returns or (), return_unit, return_up,
        obstacles or (), obstacles_unit, obstacles_up,
    )  # fmt: skip
    if out.suffix.lower() not in (".html", ".htm", ".pdf"):
        raise refusal("--out", f"'{out.name}' is no report", "name it .html or .pdf")
    check_outputs(inputs.drawings, [*inputs.others, remarks], out=out)
    if out.suffix.lower() == ".pdf":
        pdf_library(out)  # rather than after all the work
    said = [] if remarks is None else read_remarks(remarks)
    layouts = opened(inputs, display, is_drawn=True)
    named = {one.name: one.analysis for sides in layouts.shown for one in sides}
    doubts = astray(said, named)
    for remark, why in zip(said, doubts, strict=True):
        if why:
            on = f"{remark['element']} {remark['name']}"
            say(f"a remark on '{on}': {why}; it is in the report all the same.")
    problem = why_not()
    if problem is not None:
        say(problem + ".")
    html = report_html(
        layouts.shown,
        layouts.rooms,
        layouts.solids,
        display,
        input_files(inputs),
        comparison=compare_options(layouts.options, display.pressure)
        if len(routes) > 1
        else None,
        budgets=layouts.budgets,
        remarks=said,
        doubts=doubts,
        picture=problem is None,
    )
    with written(out):
        write_report(out, html)
    is_pdf = out.suffix.lower() == ".pdf"
    if is_pdf or problem is None:  # all else in HTML has the reader's own fonts
        shows = "the report shows" if is_pdf else "the picture in the report shows"
        if lacking := unwritable(html, shows):
            say(f"{lacking}.")
    return 0
