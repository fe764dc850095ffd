"""Commands that need no drawing: fitting, size, sources."""

from pathlib import Path
from typing import Annotated

import typer

from .cli_arguments import (
    AltitudeOption,
    FlowOption,
    JsonOption,
    MaxHeightOption,
    MaxWidthOption,
    SeriesOption,
    TemperatureOption,
    UnitsOption,
    rate_option,
)
from .cli_inputs import above_zero, display_of, one_of
from .cli_outputs import new_console, print_json, sketch_file, written


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
        typer.Option(
            "--width", help="Of the duct, such as 12in; of an elbow, in its plane."
        ),
    ] = None,
    height: Annotated[
        str | None,
        typer.Option(
            "--height", help="Of the duct, such as 12in; of an elbow, along its axis."
        ),
    ] = None,
    diameter: Annotated[
        str | None,
        typer.Option("--diameter", help="Of the round duct, such as 8in or '200 mm'."),
    ] = None,
    outlet_width: Annotated[
        str | None,
        typer.Option("--outlet-width", help="Of the other end, or of the branch: 6in."),
    ] = None,
    outlet_height: Annotated[
        str | None,
        typer.Option(
            "--outlet-height", help="Of the other end, or of the branch: 6in."
        ),
    ] = None,
    outlet_diameter: Annotated[
        str | None,
        typer.Option(
            "--outlet-diameter", help="Of the other end, or of the branch: 6in."
        ),
    ] = None,
    radius: Annotated[
        str | None,
        typer.Option("--radius", help="Of an elbow's throat, or of a bellmouth: 4in."),
    ] = None,
    centreline_radius: Annotated[
        str | None,
        typer.Option(
            "--centreline-radius", help="Instead of that of the throat: 12in."
        ),
    ] = None,
    length: Annotated[
        str | None,
        typer.Option(
            "--length",
            help="Of a transition or cone, such as 18in; duct behind an elbow.",
        ),
    ] = None,
    thickness: Annotated[
        str | None, typer.Option("--thickness", help="Of a wall, such as 1mm.")
    ] = None,
    spacing: Annotated[
        str | None, typer.Option("--spacing", help="Of turning vanes, such as 2in.")
    ] = None,
    angle: Annotated[
        str | None,
        typer.Option("--angle", help="Of turn or of the sides, such as '45 deg'."),
    ] = None,
    flow: FlowOption = None,
    branch_flow: Annotated[
        str | None,
        typer.Option("--branch-flow", help="Airflow of the branch, such as 200 cfm."),
    ] = None,
    velocity: Annotated[
        str | None,
        typer.Option(
            "--velocity",
            help="Instead of the airflow: in the duct before the fitting, '5 m/s'.",
        ),
    ] = None,
    rate: Annotated[str | None, rate_option(" or '0.1 in.wg/100 ft'")] = None,
    temperature: TemperatureOption = None,
    altitude: AltitudeOption = None,
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
    as_json: JsonOption = False,
    units: UnitsOption = "metric",
) -> int:
    """Work out one fitting at the desk, without a drawing."""
    from elbowroom.layout import refusal

    from .desk import (
        desk_result,
        print_desk,
        print_kinds,
        print_versus,
        versus_result,
    )

    display = display_of(units)
    if as_list:
        if kind is not None or draw is not None:
            what = "--list shows every kind, works out none and draws none"
            raise refusal("fitting", what, "leave out --list, or the kind and --draw")
        print_kinds(new_console(), as_json)
        return 0
    if kind is None:
        raise refusal("fitting", "no kind is given", "see elbowroom fitting --list")
    if draw is not None:
        sketch_file(draw)
    options = {
        "width": width,
        "height": height,
        "diameter": diameter,
        "outlet_width": outlet_width,
        "outlet_height": outlet_height,
        "outlet_diameter": outlet_diameter,
        "radius": radius,
        "centreline_radius": centreline_radius,
        "length": length,
        "thickness": thickness,
        "spacing": spacing,
        "angle": angle,
        "flow": flow,
        "branch_flow": branch_flow,
        "velocity": velocity,
        "rate": rate,
        "temperature": temperature,
        "altitude": altitude,
    }
    given = {name: text for name, text in options.items() if text is not None}
    work = versus_result if versus else desk_result
    result = work(kind, settings or [], given)
    if draw is not None:
        from .sketch import sketch

        with written(draw):
            sketch(result, given, draw)
    if as_json:
        print_json(result)
    else:
        print_desk(result, display, new_console())
        if versus:
            print_versus(result["versus"], display, new_console())
    return 0


def size(
    flow: FlowOption = None,
    rate: Annotated[str | None, rate_option(", that is not exceeded")] = None,
    like: Annotated[
        str | None,
        typer.Option(
            "--like",
            help="Instead of a rate: a duct, such as 12x12in; needs --max-height, and "
            "without --flow 4.6 m/s (900 fpm) is taken in it.",
        ),
    ] = None,
    max_height: MaxHeightOption = None,
    max_width: MaxWidthOption = None,
    max_velocity: Annotated[
        str | None,
        typer.Option("--max-velocity", help="No faster, such as '4 m/s' or '800 fpm'."),
    ] = None,
    series: SeriesOption = None,
    temperature: TemperatureOption = None,
    altitude: AltitudeOption = None,
    as_json: JsonOption = False,
    units: UnitsOption = "metric",
) -> int:
    """Find the sizes of one duct for an airflow and a friction rate."""
    from elbowroom.layout import units as table

    from .desk import MEASURES, site_air
    from .limits import option_of
    from .size import SIZE_MEASURES, print_size, size_result

    display = display_of(units)
    steps = one_of(series or display.side, ("mm", "in"), "--series")
    options = {
        "flow": flow,
        "rate": rate,
        "max_height": max_height,
        "max_width": max_width,
        "max_velocity": max_velocity,
    }
    given = {
        name: above_zero(text, SIZE_MEASURES[name], f"size, {option_of(name)}")
        for name, text in options.items()
        if text is not None
    }
    air = {"temperature": temperature, "altitude": altitude}
    site = {
        name: table.quantity(text, MEASURES[name], f"size, --{name}")
        for name, text in air.items()
        if text is not None
    }
    other = None if like is None else table.section(like, "size, --like")
    medium = site_air("size", site)
    result = size_result(given, other, steps, medium)
    if as_json:
        print_json(result)
    else:
        print_size(result, display, new_console())
    return 0


def sources(
    missing: Annotated[
        bool,
        typer.Option("--missing", help="What has no published data, and its stand-in."),
    ] = False,
    materials: Annotated[
        bool,
        typer.Option("--materials", help="Materials of ducts, and their roughness."),
    ] = False,
    as_json: JsonOption = False,
) -> int:
    """Say where the numbers come from: every table, its sources, range, checksum."""
    from elbowroom.layout import refusal
    from elbowroom.physics import friction, table_sources
    from elbowroom.physics import missing as missing_data

    from .sources import print_materials, print_missing, print_sources, sources_result

    if missing and materials:
        what = "--missing and --materials are both given"
        raise refusal("sources", what, "keep one of them")
    rough = friction.material_roughnesses()
    if as_json:
        print_json(sources_result(table_sources(), missing_data(), rough))
    elif materials:
        print_materials(rough, new_console())
    elif missing:
        print_missing(missing_data(), new_console())
    else:
        print_sources(table_sources(), new_console())
    return 0


def reference(
    word: Annotated[
        str | None,
        typer.Argument(
            help="What is looked for: radius_ratio; of options without dashes."
        ),
    ] = None,
) -> int:
    """Print the reference, or what it and the guides say of a word."""
    from .reference import reference as text_of

    print(text_of(word or ""), end="")
    return 0
