"""Write a drawing in an open format: `write`, by the ending of the name."""

import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any
from xml.sax.saxutils import escape, quoteattr

import numpy as np

from .drawing import Drawing, Run
from .extras import extras_of
from .faults import Notice, note, refusal, some, warning, writing
from .frames import y_up
from .names import section_in_name, unique, unsized
from .quantity_words import length_words
from .run_names import RunNames
from .sections import FloatArray, Section, Shape
from .snap import TOLERANCE
from .units import INCH, UNITS, check_frame
from .write_gltf import FINE, write_gltf

# What ends a line for a reader of lines, and other signs that are not printed.
_BREAK = re.compile(r"[\x00-\x1f\x7f-\x9f\u2028\u2029]+")
_DECIMALS = 9  # of a coordinate: what its unit's factor leaves behind them is noise
_SAME = 1e-6  # of a sixteenth of an inch
APPLICATION = "ELBOWROOM"  # under which DXF holds our extras
_NUMBERS = (
    "width_m",
    "height_m",
    "diameter_m",
    "flow_m3s",
    "roughness_m",
    "bend_radius_m",
    "roll_deg",
)
_WORDS = ("source", "terminal", "transition", "shape", "role", "up", "flexible")


def write(
    drawing: Drawing,
    path: Path | str,
    *,
    unit: str | None = None,
    up: str | None = None,
) -> list[Notice]:
    """Write a drawing as GLB, OBJ, DXF or VTP.

    Parameters
    ----------
    drawing
        The drawing.
    path
        File to write; its ending says the format. One that is there is replaced.
    unit, up
        Unit of the coordinates and axis that is up, of OBJ and VTP, which state
        neither. If None an OBJ has those that the drawing was read with by an option;
        else they are metres and Z. GLB and DXF state theirs: metres and their own axis.

    Returns
    -------
    notices
        What the format cannot carry, and what was changed for it.

    Raises
    ------
    BadInput
        If the ending is of no format that is written, or the file cannot be; if the
        unit or the axis is not known, or the format states its own.
    """
    path = Path(path)
    check_ending(path)
    check_frame(unit, up)
    suffix = path.suffix.lower()
    if (unit or up) and suffix not in _WITHOUT_UNIT:
        raise refusal(
            path.name,
            f"a {suffix[1:].upper()} states itself that it is in metres, and its axis",
            "leave the unit and the axis away, or write an OBJ or a VTP",
        )
    with writing(path):
        if suffix in _WITHOUT_UNIT:
            notices = _WITHOUT_UNIT[suffix](drawing, path, unit, up)
        else:
            notices = _FORMATS[suffix](drawing, path)
    if drawing.is_supply:  # no format has a place for it
        notices.append(
            note(
                path.name,
                f"that it is a supply, as the ports of {drawing.file} say, is left out",
                'write side = "supply" under [source] in its schedule',
            )
        )
    return notices


def check_ending(path: Path) -> None:
    """Refuse a name whose ending is of no format that `write` knows, as BadInput."""
    if path.suffix.lower() not in (known := (*_FORMATS, *_WITHOUT_UNIT)):
        raise refusal(
            str(path),
            f"'{path.suffix}' is no format that is written",
            f"end the name in {', '.join(known)}",
        )


def _one_line(name: str) -> str:
    """Name with a space for each line break in it."""
    return _BREAK.sub(" ", name).strip() if _BREAK.search(name) else name


def _on_one_line(drawing: Drawing, path: Path) -> tuple[Drawing, list[Notice]]:
    """Drawing with names that a format of lines can hold, and what was changed."""
    names = tuple(_one_line(name) for name in drawing.names)
    changed = [old for old, new in zip(drawing.names, names, strict=True) if old != new]
    terminals = {
        run: replace(said, terminal=_one_line(said.terminal))
        for run, said in drawing.attributes.items()
        if said.terminal and _BREAK.search(said.terminal)
    }
    changed += [drawing.attributes[run].terminal or "" for run in terminals]
    if not changed:
        return drawing, []
    cleaned = replace(
        drawing, names=names, attributes={**drawing.attributes, **terminals}
    )
    return cleaned, [
        warning(
            path.name,
            f"the name {some([*map(repr, changed)], 1)} has a line break or a "
            "control character, which this format cannot hold; a space stands for it",
            "rename it in the drawing",
        )
    ]


def _glb(drawing: Drawing, path: Path) -> list[Notice]:
    moved = write_gltf(drawing, path)
    if moved <= FINE:
        return []
    say = warning if moved > TOLERANCE else note
    return [
        say(
            path.name,
            "GLB holds points in single precision, which moves some by up to "
            + length_words(moved),
            "write DXF or VTP where that matters",
        )
    ]


def _placed(points: FloatArray, unit: str, up: str) -> FloatArray:
    """Points, m with Z up, as a file of another unit or axis has them, (n, 3)."""
    points = y_up(points) if up == "y" else points
    return points if unit == "m" else (points / UNITS[unit].factor).round(_DECIMALS)


def _obj(
    drawing: Drawing, path: Path, unit: str | None, up: str | None
) -> list[Notice]:
    drawing, said_of_names = _on_one_line(drawing, path)
    # In the frame that an option says, so that the same option reads it again.
    unit = unit or (drawing.unit if drawing.unit_origin == "option" else "m")
    up = up or (drawing.up if drawing.up_origin == "option" else "z")
    drawing = replace(drawing, points=_placed(drawing.points, unit, up))
    lines = [f"# {'metres' if unit == 'm' else unit}, {up.upper()} up"]
    number = 1
    lost = False
    names = unique([_name_with_section(run) for run in drawing.runs])
    for run, name in zip(drawing.runs, names, strict=True):
        lines.append(f"o {name}")
        lines += [f"v {x!r} {y!r} {z!r}" for x, y, z in run.points.tolist()]
        count = len(run.points)
        lines.append("l " + " ".join(str(number + place) for place in range(count)))
        number += count
        known = ("width_m", "height_m", "diameter_m", "shape")
        lost |= any(key not in known for key in extras_of(run))
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    said_of_names += _renamed(drawing, names, path)
    if not lost:
        return said_of_names
    return [
        *said_of_names,
        note(
            path.name,
            "OBJ holds names and points alone: airflows, the source and other extras "
            "are left out",
            "say them in a schedule, or write GLB, DXF or VTP",
        ),
    ]


def _name_with_section(run: Run) -> str:
    """Name of a run that says its section."""
    said = section_in_name(run.name)
    if run.section is None or (said is not None and said[0] == run.section):
        return run.name
    return f"{unsized(run.name)} {_sized(run.section)}".strip()


def _renamed(drawing: Drawing, names: list[str], path: Path) -> list[Notice]:
    """Say which names mean other runs, or none, where they were written otherwise."""
    changed = dict(zip(drawing.names, names, strict=True))
    if all(old == new for old, new in changed.items()):
        return []
    before, after = RunNames(drawing), RunNames(replace(drawing, names=names))
    lost = [
        f"'{old}' is written as '{new}'"
        for old, new in changed.items()
        if [changed[run] for run in before(old)] != after(old)
    ]
    if not lost:
        return []
    return [
        warning(
            path.name,
            f"{some(lost, 1)}, as OBJ has sections in names alone: "
            "a schedule does not find what it calls by the old name",
            "write the new name there, or write GLB, DXF or VTP",
        )
    ]


def _sized(section: Section) -> str:
    """Section as a name of a run says it; one in inches by their sixteenths as such."""
    sides = np.array([section.width, section.height])
    sixteenths = sides / INCH * 16
    in_inches = np.abs(sixteenths - sixteenths.round()).max() < _SAME
    unit, factor = ("in", INCH) if in_inches else ("mm", 1e-3)
    wide, high = (f"{side / factor:.10g}" for side in sides.tolist())
    if section.shape == Shape.ROUND:
        return f"D{wide}{unit}"
    oval = " oval" if section.shape == Shape.OVAL else ""
    return f"{wide}x{high}{unit}{oval}"


def _dxf(drawing: Drawing, path: Path) -> list[Notice]:
    from ezdxf.filemanagement import new

    drawing, notices = _on_one_line(drawing, path)
    document = new("R2010", setup=False)
    document.units = 6  # metres, by the DXF reference
    document.appids.add(APPLICATION)
    space = document.modelspace()
    for run in drawing.runs:
        layer = _layer(run.name)
        if layer not in document.layers:
            document.layers.add(layer)
        entity = space.add_polyline3d(run.points.tolist(), dxfattribs={"layer": layer})
        tags: list[tuple[int, object]] = [(1000, "name"), (1000, run.name)]
        for key, value in _carried(run).items():
            tags.append((1000, key))
            tags.append((1040, value) if isinstance(value, float) else (1000, value))
        entity.set_xdata(APPLICATION, tags)
    document.saveas(path)
    return notices


def _layer(name: str) -> str:
    """Name without the signs that a layer may not have."""
    return "".join("-" if sign in '<>/\\":;?*|=`' else sign for sign in name) or "run"


def _vtp(
    drawing: Drawing, path: Path, unit: str | None, up: str | None
) -> list[Notice]:
    placed = _placed(drawing.points, unit or "m", up or "z")
    said = [_carried(run, up) for run in drawing.runs]
    size = [len(run.points) for run in drawing.runs]
    cells = "\n".join(
        [
            _words_array("name", [run.name for run in drawing.runs]),
            *(
                _array(key, [row.get(key, float("nan")) for row in said])
                for key in _NUMBERS
                if any(key in row for row in said)
            ),
            *(
                _words_array(key, [str(row.get(key, "")) for row in said])
                for key in _WORDS
                if any(key in row for row in said)
            ),
        ]
    )
    points = placed.ravel().tolist()
    path.write_text(
        '<?xml version="1.0"?>\n'
        '<VTKFile type="PolyData" version="0.1" byte_order="LittleEndian">\n'
        f'<PolyData><Piece NumberOfPoints="{sum(size)}" NumberOfVerts="0" '
        f'NumberOfLines="{len(size)}" NumberOfStrips="0" NumberOfPolys="0">\n'
        f"<CellData>\n{cells}\n</CellData>\n<Points>\n"
        + _array("Points", points, components=3)
        + "\n</Points>\n<Lines>\n"
        + _array("connectivity", list(range(sum(size))), "Int64")
        + "\n"
        + _array("offsets", np.cumsum(size).tolist(), "Int64")
        + "\n</Lines>\n</Piece></PolyData>\n</VTKFile>\n",
        encoding="utf-8",
    )
    return []


def _array(
    name: str, values: list[Any], kind: str = "Float64", components: int = 1
) -> str:
    text = " ".join(map(repr, values))
    return (
        f"<DataArray type={quoteattr(kind)} Name={quoteattr(name)} "
        f'NumberOfComponents="{components}" format="ascii">{escape(text)}</DataArray>'
    )


def _words_array(name: str, values: list[str]) -> str:
    codes = b"".join(value.encode("utf-8") + b"\0" for value in values)
    text = " ".join(map(str, codes))
    return f'<Array type="String" Name={quoteattr(name)} format="ascii">{text}</Array>'


def _carried(run: Run, up: str | None = None) -> dict[str, Any]:
    """Extras as numbers and words, the only things that these formats hold.

    The direction of the height in the axes of a file with `up` up.
    """
    out: dict[str, Any] = {}
    for key, value in extras_of(run).items():
        if key in _NUMBERS:
            out[key] = float(value)
        elif key == "up":
            (way,) = _placed(np.array([value]), "m", up or "z").tolist()
            out[key] = " ".join(map(repr, way))
        elif key in _WORDS:
            out[key] = "true" if value is True else str(value)
    return out


_FORMATS: dict[str, Callable[[Drawing, Path], list[Notice]]] = {
    ".glb": _glb,
    ".dxf": _dxf,
}
# Of those that state no unit and no axis, which may so be any.
_WITHOUT_UNIT: dict[
    str, Callable[[Drawing, Path, str | None, str | None], list[Notice]]
] = {".obj": _obj, ".vtp": _vtp}
