"""Read centrelines from OBJ files: `v` and `l` elements."""

import math
import re
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from .collected import (
    Collected,
    Found,
    check_finite,
    collected_drawing,
    describe,
    say_what_was_taken,
)
from .drawing import Drawing
from .faults import BadInput, Notice, error, refusal, warning
from .frames import z_up
from .plain_text import AS_UTF8, plain_number, plain_whole
from .polylines import chains
from .quantity_words import counted
from .sections import IntArray
from .units import UNITS

_MOST_FAULTS = 20
_UNDECODED = re.compile("[\\udc80-\\udcff]")  # what is no UTF-8, as Python keeps it
_LEAST = {"line": 2, "face": 3}  # vertices
# A line with a comment, which ends with it; in the name of an object '#' is a letter.
_COMMENT = re.compile(r"(?!\s*[og]\s)[^#]*#")
_CURVES = ("curv", "curv2", "surf")


@dataclass
class _Object:
    """Lines of one object or group."""

    name: str
    where: str
    lines: list[list[int]] = field(default_factory=list)


def read_obj(path: Path, *, unit: str | None, up: str | None) -> Drawing:
    """Read the lines of an OBJ file.

    Parameters
    ----------
    path
        The file.
    unit
        Unit of its coordinates; the format has none, so metres are taken if None.
    up
        'y' or 'z'; the format does not say, so 'z' is taken if None.

    Returns
    -------
    drawing
        Every polyline a run, in metres with Z up. Lines of two points in one object
        are joined where two of them meet.

    Raises
    ------
    BadInput
        With every fault found, by line of the file.
    """
    found = Found(path.name)
    vertices, objects, faces = _parse(path, found)
    if found.faults:
        raise BadInput(found.faults[:_MOST_FAULTS])
    if not any(thing.lines for thing in objects):
        held = f"it holds {counted(faces, 'face')}" if faces else "it holds none"
        raise refusal(
            path.name,
            f"there is no line element in the file: {held}",
            "export the centreline as loose edges, not the surface of the duct",
        )
    factor = UNITS[unit].factor if unit else 1.0
    points = np.array(vertices, dtype=np.float64).reshape(-1, 3) * factor
    if up == "y":
        points = z_up(points)
    check_finite(points, path.name, found.faults)
    if found.faults:
        raise BadInput(found.faults)
    touched = _touched(objects, len(points))
    for thing in objects:
        if not thing.lines:
            continue
        name, section, origin, said = describe(
            found, f"{path.name}, {thing.where}", [], [thing.name], "line"
        )
        for line in _joined(thing.lines, len(points), touched):
            found.runs.append(
                Collected(
                    name,
                    points[line],
                    section,
                    origin,
                    thing.where,
                    said.flow,
                    said.attributes,
                )
            )
    say_what_was_taken(found, "OBJ states", unit, up)
    return collected_drawing(
        found,
        unit=unit or "m",
        unit_origin="option" if unit else "assumed: the format has none",
        up=up or "z",
        up_origin="option" if up else "assumed: the format does not say",
    )


def _parse(
    path: Path, found: Found
) -> tuple[list[tuple[float, float, float]], list[_Object], int]:
    # What is no UTF-8 matters in a name alone.
    text = path.read_text(encoding="utf-8-sig", errors="surrogateescape")
    vertices: list[tuple[float, float, float]] = []
    objects = [_Object("", "the file")]
    faces = curves = 0
    number, carried = 0, ""
    # LF, CR LF and CR end a line, as read; `splitlines` has other letters that do.
    for raw in text.split("\n"):
        number += 1
        line = carried + raw
        if line.endswith("\\") and not _COMMENT.match(line):
            carried = line[:-1] + " "
            continue
        carried = ""
        keyword, rest = (*line.split(None, 1), "", "")[:2]
        if keyword == "v":
            where = f"{path.name}, line {number}"
            vertices.append(vertex(rest, where, found.faults))
        elif keyword == "l":
            where = f"{path.name}, line {number}"
            count = len(vertices)
            objects[-1].lines.append(indices(rest, count, where, found.faults))
        elif keyword in ("o", "g") and rest.strip():
            name = rest.strip()
            if _UNDECODED.search(name):
                where = f"{path.name}, line {number}"
                found.faults.append(error(where, "the name there is no UTF-8", AS_UTF8))
            objects.append(_Object(name, f"object '{name}'"))
        elif keyword == "f":
            faces += 1
        elif keyword in _CURVES:
            curves += 1
    if curves:
        found.notices.append(
            warning(
                path.name,
                f"free-form curves or surfaces in it ({curves}) were not read",
                "export the centrelines as lines",
            )
        )
    return vertices, objects, faces


def vertex(rest: str, where: str, faults: list[Notice]) -> tuple[float, float, float]:
    """Coordinates of a `v`; zeros where it has none, with the fault added."""
    words = rest.partition("#")[0].split()
    values = []
    for word in words[:3]:
        try:
            value = plain_number(word)
        except ValueError:
            what, remedy = f"'{word}' is no number", "write plain digits, such as 12.5"
            if re.fullmatch(r"-?\d+,\d+", word):
                what, remedy = f"{what} (a decimal comma)", "write a decimal point"
            faults.append(error(where, what, remedy))
            return (0.0, 0.0, 0.0)
        if not math.isfinite(value):
            faults.append(
                error(where, f"the coordinate '{word}' is not finite", "correct it")
            )
            return (0.0, 0.0, 0.0)
        values.append(value)
    if len(values) < 3:
        faults.append(
            error(where, "a vertex has fewer than three coordinates", "add the missing")
        )
        return (0.0, 0.0, 0.0)
    return (values[0], values[1], values[2])


def indices(
    rest: str, count: int, where: str, faults: list[Notice], element: str = "line"
) -> list[int]:
    """Vertices of an element among so many, from 0; a fault is added to `faults`."""
    out = []
    for word in rest.partition("#")[0].split():
        try:
            index = plain_whole(word.partition("/")[0])
        except ValueError:
            faults.append(
                error(where, f"'{word}' is no vertex number", "write whole numbers")
            )
            return []
        if index == 0:
            faults.append(
                error(
                    where, "vertex 0 does not exist, as OBJ counts from 1", "renumber"
                )
            )
            return []
        place = index - 1 if index > 0 else count + index
        if not 0 <= place < count:
            faults.append(
                error(where, f"vertex {index} of {count} does not exist", "correct it")
            )
            return []
        out.append(place)
    if len(out) < _LEAST[element]:
        what = f"a {element} needs {_LEAST[element]} vertices or more"
        faults.append(error(where, what, "delete or complete it"))
    return out


def _joined(lines: list[list[int]], count: int, touched: IntArray) -> list[list[int]]:
    """Polylines of an object: long lines as they are, lines of two points chained.

    `touched` counts the lines of the whole file at each vertex: a chain stops where
    another line meets it.
    """
    long = [line for line in lines if len(line) > 2]
    short = np.array([line for line in lines if len(line) == 2], dtype=np.int64)
    short = short.reshape(-1, 2)
    short = short[short[:, 0] != short[:, 1]]
    own = np.bincount(short.ravel(), minlength=count)
    joined = chains(short, count, np.flatnonzero(touched != own))
    return long + [chain.tolist() for chain in joined]


def _touched(objects: list[_Object], count: int) -> IntArray:
    """How many lines of the file touch each vertex, with those that it ends."""
    every = [np.array(line) for thing in objects for line in thing.lines]
    moving = [line for line in every if len(line) != 2 or line[0] != line[1]]
    if not moving:
        return np.zeros(count, dtype=np.int64)
    return np.bincount(np.concatenate(moving), minlength=count)
