"""Arguments and options that several commands share."""

from pathlib import Path
from typing import Annotated, Any

import typer

RouteArgument = Annotated[
    Path,
    typer.Argument(
        help="The drawn route: GLB, glTF, OBJ, DXF, IFC, VTP, VTU, VTK or TOML."
    ),
]


ScheduleOption = Annotated[
    Path | None,
    typer.Option(
        "--schedule",
        help="Airflows, air, constructions, declared losses (TOML). Without it "
        "NAME.schedule.toml or schedule.toml beside the route.",
    ),
]


UnitOption = Annotated[
    str | None,
    typer.Option("--unit", help="Unit of the coordinates: m, mm, cm, in, ft."),
]


UpOption = Annotated[str | None, typer.Option("--up", help="Axis that is up: y or z.")]


ToleranceOption = Annotated[
    str, typer.Option("--tolerance", help="Ends nearer than this are joined.")
]


JsonOption = Annotated[
    bool, typer.Option("--json", help="Only JSON on standard output.")
]


UnitsOption = Annotated[str, typer.Option("--units", help="metric or inch-pound.")]


ByOption = Annotated[
    str, typer.Option("--by", help="What the colours show: loss or per-metre.")
]


PngOption = Annotated[Path | None, typer.Option("--png", help="Write a picture there.")]


def folder(text: str) -> Path:
    """Path of a folder; an empty one, as of a variable not set, is not the present one.

    Raises
    ------
    typer.BadParameter
        If it is empty.
    """
    if not text:
        raise typer.BadParameter("it is empty; name a folder")
    return Path(text)


def csv_option(words: str) -> Any:
    """Option for a folder of CSV tables, with its help."""
    return typer.Option("--csv", parser=folder, metavar="FOLDER", help=words)


CsvOption = Annotated[Path | None, csv_option("Write CSV tables in this folder.")]


XlsxOption = Annotated[
    Path | None, typer.Option("--xlsx", help="Write the tables as a workbook there.")
]


PageOption = Annotated[
    Path | None, typer.Option("--page", help="Write the review page there, as HTML.")
]


ObstaclesOption = Annotated[
    list[Path] | None,
    typer.Option(
        "--obstacles", help="Solids to stay clear of: GLB, glTF, OBJ, STL, PLY, IFC."
    ),
]


ObstaclesUnitOption = Annotated[
    str | None,
    typer.Option("--obstacles-unit", help="Unit of those solids: m, mm, cm, in, ft."),
]


ObstaclesUpOption = Annotated[
    str | None, typer.Option("--obstacles-up", help="Up axis of those solids: y or z.")
]


ReturnsOption = Annotated[
    list[Path] | None,
    typer.Option("--return", help="Return side of the same fan; may be repeated."),
]


ReturnUnitOption = Annotated[
    str | None,
    typer.Option(
        "--return-unit",
        help="Unit of the returns; that of --unit if they state none.",
    ),
]


ReturnUpOption = Annotated[
    str | None,
    typer.Option(
        "--return-up",
        help="Axis that is up in the returns; that of --up if they state none.",
    ),
]


StrictOption = Annotated[
    bool,
    typer.Option(
        "--strict",
        help="Exit code 1: fan too weak, a check not kept, or not to be built.",
    ),
]


CheckStrictOption = Annotated[
    bool,
    typer.Option(
        "--strict",
        help="Exit code 1: an error in the drawing, or a bend or a transition that "
        "cannot be built.",
    ),
]


MaxHeightOption = Annotated[
    str | None,
    typer.Option("--max-height", help="No duct is higher, such as '250 mm' or 10in."),
]


MaxWidthOption = Annotated[
    str | None,
    typer.Option("--max-width", help="No duct is wider, such as '600 mm' or 24in."),
]


FlowOption = Annotated[
    str | None, typer.Option("--flow", help="Airflow, such as 900 cfm.")
]


SeriesOption = Annotated[
    str | None,
    typer.Option("--series", help="Steps of sizes: mm or in; that of --units."),
]


def rate_option(words: str) -> Any:
    """Option for a friction rate, with what its help says of it."""
    return typer.Option("--rate", help=f"Friction rate, such as '0.8 Pa/m'{words}.")


TemperatureOption = Annotated[
    str | None,
    typer.Option("--temperature", help="Of the air, such as '16 C' or 60F; else 20 C."),
]


AltitudeOption = Annotated[
    str | None,
    typer.Option(
        "--altitude", help="Of the site, such as '400 ft' or '120 m'; else 0."
    ),
]


COLOURINGS = ("loss", "per-metre")
