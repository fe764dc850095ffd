"""Read a route written by hand: runs and their points in TOML.

    unit = "mm"                     # of every point, not of a section
    [[run]]
    name = "trunk"
    section = "600x300"             # mm, whatever the unit of the points, unless a
                                    # unit is written: "24x12 in"
    points = [[0, 0, 3200], [4000, 0, 3200]]
    flow = "0.4 m3/s"               # airflow at its start; may be left out
    source = true                   # the air enters at its free end

Further keys of a run: terminal, transition, roll, up, bend_radius, roughness, flexible.
"""

from pathlib import Path

import numpy as np

from . import units
from .allowed import ROUGHNESS
from .collected import (
    Collected,
    Found,
    check_finite,
    collected_drawing,
    named_section,
    upright,
)
from .drawing import Attributes, Drawing
from .faults import BadInput, note, refusal
from .frames import z_up
from .names import bare_section_fault, whole_section
from .read_schedule import NO_AIR
from .sections import FloatArray, Section
from .toml_tables import Table, direction, load_toml


def read_route(path: Path, *, unit: str | None, up: str | None) -> Drawing:
    """Read a route from TOML.

    Parameters
    ----------
    path
        The file.
    unit, up
        Instead of what the file says.

    Returns
    -------
    drawing
        Every run, in metres with Z up.

    Raises
    ------
    BadInput
        With every fault of the file: unknown keys, missing units, bad points.
    """
    found = Found(path.name)
    top = Table(load_toml(path), path.name, found.faults)
    written = top.choice("unit", units.LENGTHS)
    axis = top.choice("up", {"y": "y", "z": "z"})
    if written is None and unit is None and "unit" not in top:
        top.fault(
            "", "the route does not say the unit of its points", 'write unit = "mm"'
        )
    length = unit or written or "m"
    upright = up or axis or "z"
    for number, entry in enumerate(top.tables("run"), start=1):
        _read_run(entry, number, length, upright, found)
    top.finish()
    if not found.runs and not found.faults:
        top.fault("", "there is no run in it", "write [[run]] with its points")
    if found.faults:
        raise BadInput(found.faults)
    if axis is None and up is None:
        found.notices.append(
            note(
                path.name,
                "the route does not say which axis is up; Z was taken",
                'write up = "z" in it if that is so, or "y"',
            )
        )
    return collected_drawing(
        found,
        unit=length,
        unit_origin="option" if unit else "the file",
        up=upright,
        up_origin="option" if up else "the file" if axis else "assumed",
        flow_key='flow = "..." at the run',
        stated=(written, axis),
    )


def _read_run(entry: Table, number: int, unit: str, up: str, found: Found) -> None:
    name = entry.text("name") or f"run {number}"
    entry.where = f"{found.file}, run '{name}'"
    section = entry.get("section", _section)
    flow = entry.positive("flow", "airflow", NO_AIR)
    source = entry.get("source", _source)
    attributes = Attributes(
        source=bool(source),
        source_at_end={"start": False, "end": True}.get(str(source)),
        terminal=entry.text("terminal"),
        transition=entry.get("transition", _truth) or False,
        roughness=entry.within("roughness", ROUGHNESS),
        roll=entry.quantity("roll", "angle"),
        up=entry.get("up", direction),
        bend_radius=entry.positive("bend_radius", "length"),
        flexible=entry.get("flexible", _truth) or False,
    )
    if "roll" in entry and "up" in entry:
        entry.fault("", "roll and up are both given", "delete one of them")
    if attributes.flexible and attributes.roughness is not None:
        entry.fault("", "roughness and flexible are both given", "delete one of them")
    points = entry.get("points", _points)
    if points is None and "points" not in entry:
        entry.fault("", "the run has no points", "write points = [[0, 0, 0], ...]")
    entry.finish()
    if points is None or not check_finite(points, entry.where, found.faults):
        return
    points = points * units.UNITS[unit].factor
    if up == "y":
        points = z_up(points)
    size, origin = named_section(
        found,
        entry.where,
        section or (None, ""),
        [name],
        attributes.transition,
        "its keys",
    )
    found.runs.append(
        Collected(
            name,
            points,
            size,
            origin,
            entry.where.partition(", ")[2],
            np.nan if flow is None else flow,
            upright(attributes, up),
        )
    )


def _section(value: object, where: str) -> tuple[Section, str]:
    bare = whole_section(value) if isinstance(value, str) else None
    if bare is not None:
        return bare[0], bare[1].replace("in the name", "in the section")
    if isinstance(value, str) and (fault := bare_section_fault(value)) is not None:
        raise refusal(where, *fault)
    return units.section(value, where), "the file"


def _points(value: object, where: str) -> FloatArray:
    example = "write two or more points, like [[0, 0, 3], [4, 0, 3]]"
    if not isinstance(value, list) or len(value) < 2:
        raise refusal(where, "a run needs two points or more", example)
    for number, point in enumerate(value, start=1):
        good = isinstance(point, list) and len(point) == 3
        if not good or not all(
            isinstance(x, (int, float)) and not isinstance(x, bool) for x in point
        ):
            raise refusal(
                f"{where}, vertex {number}", "a point is three bare numbers", example
            )
    return np.array(value, dtype=np.float64)


def _truth(value: object, where: str) -> bool:
    if isinstance(value, bool):
        return value
    raise refusal(where, f"'{value}' is neither true nor false", "write true or false")


def _source(value: object, where: str) -> bool | str:
    if isinstance(value, bool):
        return value
    if value in ("start", "end"):
        return str(value)
    raise refusal(
        where, f"'{value}' is not known there", 'write true, "start" or "end"'
    )
