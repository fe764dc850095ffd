"""Read centrelines from DXF: lines, polylines, arcs, splines, and blocks of them.

ezdxf parses the file; what counts as a duct, and how pieces join to runs, is ours. A
layer's name may hold the section, and XDATA of any application may hold extras as pairs
of a text and a value.
"""

import logging
import math
import re
from collections import Counter
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from io import StringIO
from pathlib import Path
from typing import Any

import numpy as np

from .collected import (
    Collected,
    Found,
    check_finite,
    collected_drawing,
    describe,
    say_what_was_taken,
    upright,
)
from .drawing import Drawing
from .extras import KEYS
from .faults import BadInput, listed, note, refusal, warning
from .frames import z_up
from .names import section_in_name, unread_in_name
from .polylines import chains
from .sections import FloatArray
from .snap import snap
from .units import UNITS

# $INSUNITS: name and metres. Source: ezdxf.units for the codes; a US survey foot
# is 1200/3937 m by definition, from memory.
_HEADER_UNITS = {
    1: ("in", 0.0254),
    2: ("ft", 0.3048),
    4: ("mm", 1e-3),
    5: ("cm", 1e-2),
    6: ("m", 1.0),
    7: ("km", 1e3),
    10: ("yd", 0.9144),
    14: ("dm", 0.1),
    21: ("US survey ft", 1200 / 3937),
}
_MOST_PIECES = 1_000_000
_MOST_OPENED = 100_000  # entities of blocks, each of which is copied
_DEEPEST = 32  # blocks within blocks
_CHORD = math.radians(7.5)  # of an arc between two of its points
_SPAN = 24  # chords of a spline from knot to knot: off by 1/1000 of its size at most
_TOUCH = 1e-4  # m: ends of loose lines nearer than this are one
_SKIPPED_LAYERS = ("defpoints",)
# What no duct is drawn as: nobody misses it.
_WORDS = (
    *("TEXT", "MTEXT", "ATTDEF", "ATTRIB", "TOLERANCE", "ACAD_TABLE", "IMAGE"),
    *("DIMENSION", "ARC_DIMENSION", "LARGE_RADIAL_DIMENSION", "LEADER", "MULTILEADER"),
    *("HATCH", "MPOLYGON", "WIPEOUT", "POINT", "VIEWPORT", "OLE2FRAME", "SEQEND"),
)
# What layers are named after that hold no duct: common practice, no published source.
_BUILDING = {
    *("axis", "beam", "beams", "ceiling", "column", "columns", "dim", "door", "doors"),
    *("foundation", "grid", "joist", "joists", "partition", "partitions", "roof"),
    *("slab", "slabs", "stair", "stairs", "steel", "structure", "truss", "wall"),
    *("walls", "window", "windows"),
}
_LETTERS = re.compile(r"[^\W\d_]+")
_OF_SIZES = {"cm", "dn", "ft", "in", "inch", "mm"}
_AT_LINE = re.compile(r"\bline:? (\d+)")
_VALUE = re.compile(r'value="([^"]*)"')
_UNENDED = ("missing ENDSEC", "missing EOF", "end of file")  # as the parser says it
_HIDDEN, _OUTSIDE = " (frozen or off)", " (not in this file)"


@dataclass(frozen=True, eq=False)
class _Piece:
    """One entity as points, with what stands for its name and extras."""

    points: FloatArray
    layer: str
    extras: Mapping[str, object]
    where: str
    loose: bool  # a line or an arc: joined to others of its layer


def read_dxf(path: Path, *, unit: str | None, up: str | None) -> Drawing:
    """Read a route from DXF, R12 to R2018, text or binary.

    Parameters
    ----------
    path
        The file.
    unit, up
        Instead of what the file says: its header's unit, and Z up.

    Returns
    -------
    drawing
        Every run, in metres with Z up.

    Raises
    ------
    BadInput
        If it is damaged, or holds no line that can be a duct.
    """
    found = Found(path.name)
    passed_over: Counter[tuple[str, str, str]] = Counter()
    with _remarks(found):
        document = _opened(path)
        said, factor = _unit(document, path.name, unit)
        try:
            pieces = list(_pieces(document.modelspace(), path.name, passed_over))
        except BadInput:
            raise
        except Exception as problem:  # damage that shows only when it is used
            raise _damaged(path, problem) from None
    if not pieces:
        held = ", ".join(
            f"{count} {kind}{' on a hidden layer' * bool(why)}"
            for (kind, _, why), count in passed_over.items()
        )
        raise refusal(
            path.name,
            f"there is no line in it that can be a duct ({held or 'it is empty'})",
            "draw centrelines as LINE, POLYLINE, ARC or SPLINE in model space",
        )
    _say_what_was_passed_over(passed_over, pieces, found)
    pieces = _ducts(pieces, found)
    for piece in pieces:
        check_finite(piece.points, f"{path.name}, {piece.where}", found.faults)
    if found.faults:
        raise BadInput(found.faults)
    for layer, extras, where, points in _runs(pieces, factor):
        if up == "y":
            points = z_up(points)
        name, section, origin, more = describe(
            found,
            f"{path.name}, {where}",
            [extras],
            [layer] if layer != "0" else [],
            "line",
        )
        found.runs.append(
            Collected(
                name, points, section, origin, where, more.flow,
                upright(more.attributes, up),
            )
        )  # fmt: skip
    if found.faults:
        raise BadInput(found.faults)
    say_what_was_taken(found, "the DXF states", unit or said, "z")
    return collected_drawing(
        found,
        unit=unit or said or "m",
        unit_origin="option" if unit else "the file" if said else "assumed",
        up=up or "z",
        up_origin="option" if up else "the format",
        stated=(said, "z"),
    )


def _opened(path: Path) -> Any:
    from ezdxf.filemanagement import read, readfile
    from ezdxf.lldxf.const import DXFVersionError

    try:
        with path.open("rb") as stream:
            is_marked = stream.read(3) == b"\xef\xbb\xbf"  # a byte order mark
        if is_marked:
            return read(StringIO(path.read_text(encoding="utf-8-sig")))
        return readfile(path)
    except DXFVersionError:
        raise refusal(
            path.name, "its DXF version is not read", "save it as R12 to R2018"
        ) from None
    except Exception as problem:  # a damaged file fails in the parser in many ways
        raise _damaged(path, problem) from None


def _unit(document: Any, file: str, unit: str | None) -> tuple[str | None, float]:
    """Unit that the header states, if any, and the metres of that which counts."""
    code = int(document.units or 0)
    said, factor = _HEADER_UNITS.get(code, (None, 1.0))
    if unit is not None:
        return said, UNITS[unit].factor
    if said is None and code != 0:
        raise refusal(
            file,
            f"its header states a unit that is not read ($INSUNITS {code})",
            "say --unit, or save it in millimetres or metres",
        )
    return said, factor


def _damaged(path: Path, problem: Exception) -> BadInput:
    from ezdxf.lldxf.const import DXFError

    what, said = "it is damaged or cut short", str(problem)
    # Only what the library says in its own words names the line of the file.
    if isinstance(problem, DXFError) and (line := _AT_LINE.search(said)):
        value = _VALUE.search(said)
        seen = f": '{value[1]}' is out of place there" if value and value[1] else ""
        what = f"it is damaged near line {line[1]}{seen}"
    elif any(mark in said for mark in _UNENDED):
        what = "it is cut short: it ends within a section"
    return refusal(path.name, what, "ask for a complete copy, or save it again")


@contextmanager
def _remarks(found: Found) -> Iterator[None]:
    """Turn what the parser logs into one warning."""
    said: list[str] = []
    handler = logging.Handler(logging.WARNING)
    handler.emit = lambda record: said.append(record.getMessage())  # type: ignore[method-assign]
    log = logging.getLogger("ezdxf")
    log.addHandler(handler)
    spreads, log.propagate = log.propagate, False
    try:
        yield
    finally:
        log.removeHandler(handler)
        log.propagate = spreads
    if said:
        more = f", and {len(said) - 1} more" if len(said) > 1 else ""
        found.notices.append(
            warning(
                found.file,
                f"it is damaged in places: {said[0].rstrip('.')}{more}",
                "save it again with the program that made it",
            )
        )


def _pieces(
    layout: Any, file: str, passed_over: Counter[tuple[str, str, str]]
) -> Iterator[_Piece]:
    """Every entity of model space as points in the file's unit, blocks opened.

    What is not read is counted by its kind, its layer and why beyond its kind.
    """
    from ezdxf.lldxf.encoding import decode_dxf_unicode

    hidden = {
        layer.dxf.name.lower()
        for layer in layout.doc.layers
        if layer.is_off() or layer.is_frozen()
    }
    stack: list[tuple[Any, str, Mapping[str, object], tuple[str, ...]]] = [
        (entity, "", {}, ()) for entity in reversed(list(layout))
    ]
    count = opened = 0
    while stack:
        entity, layer_of_block, extras, blocks = stack.pop()
        count += 1
        if count > _MOST_PIECES:
            raise refusal(file, "it holds more than a million entities", "split it")
        layer = decode_dxf_unicode(entity.dxf.get("layer", "0"))
        if layer == "0" and layer_of_block:
            layer = layer_of_block
        kind = entity.dxftype()
        if layer.lower() in hidden or layer.lower() in _SKIPPED_LAYERS:
            passed_over[kind, layer, _HIDDEN] += 1
            continue
        own = {**extras, **_xdata(entity, f"{file}, {_where(entity, kind, layer)}")}
        if kind == "INSERT":
            name = entity.dxf.name
            if name in blocks or len(blocks) >= _DEEPEST:
                raise refusal(
                    file, f"the block '{name}' holds itself", "take it out of itself"
                )
            block = layout.doc.blocks.get(name)
            if block is None or block.block.is_xref or block.block.is_xref_overlay:
                passed_over[f"INSERT of '{name}'", layer, _OUTSIDE] += 1
                continue
            opened += (
                max(len(block), 1) * entity.dxf.row_count * entity.dxf.column_count
            )
            if opened > _MOST_OPENED:
                raise refusal(
                    file,
                    f"with the block '{name}' more than {_MOST_OPENED} entities "
                    "stand in its blocks",
                    "draw the ducts outside of blocks, or fewer rows and columns",
                )
            parts = [
                part for one in entity.multi_insert() for part in one.virtual_entities()
            ]
            stack += [(part, layer, own, (*blocks, name)) for part in reversed(parts)]
            continue
        points = _points(entity, kind)
        if points is None or len(points) < 2:
            passed_over[kind, layer, ""] += 1
            continue
        where = _where(entity, kind, layer)
        loose = kind in ("LINE", "ARC") and not own
        yield _Piece(points, layer, own, where, loose)


def _where(entity: Any, kind: str, layer: str) -> str:
    """An entity in words, with its handle if it has one."""
    handle = entity.dxf.get("handle")
    return f"{kind} on layer '{layer}'" + (f", handle {handle}" if handle else "")


def _points(entity: Any, kind: str) -> FloatArray | None:
    """Points of an entity in world coordinates; None for what is no line."""
    if kind == "LINE":
        return np.array([entity.dxf.start, entity.dxf.end], dtype=np.float64)
    if kind == "ARC":
        return _arc(entity)
    if kind == "LWPOLYLINE" or (kind == "POLYLINE" and entity.is_2d_polyline):
        return _with_bulges(entity)
    if kind == "POLYLINE" and entity.is_3d_polyline:
        points = [vertex.dxf.location for vertex in entity.vertices]
        if entity.is_closed and points:
            points.append(points[0])
        return np.array(points, dtype=np.float64).reshape(-1, 3)
    if kind == "SPLINE" and (free := _free_ended(entity)) is not None:
        return free
    if kind in ("SPLINE", "ELLIPSE"):
        curve = list(entity.flattening(_sag(entity, kind)))
        return np.array(curve, dtype=np.float64).reshape(-1, 3)
    return None


def _free_ended(entity: Any) -> FloatArray | None:
    """Points of a spline whose knots do not stop at its ends; None for any other.

    The curve is that between the knots number p and n, of degree p and n control
    points; the parser also follows it where it is none.
    """
    control = np.array(list(entity.control_points), dtype=np.float64).reshape(-1, 3)
    knots, degree = np.array(list(entity.knots)), int(entity.dxf.degree)
    if not 0 < degree < len(control) or len(knots) != len(control) + degree + 1:
        return None
    first, last = knots[degree], knots[len(control)]
    if knots[0] == first and knots[-1] == last:
        return None
    from scipy.interpolate import BSpline

    weight = np.array(list(entity.weights) or np.ones(len(control)))[:, None]
    stops = np.unique(knots[degree : len(control) + 1])
    steps = np.arange(len(stops) * _SPAN - _SPAN + 1) / _SPAN
    at = np.interp(steps, np.arange(len(stops)), stops)
    curve = BSpline(knots, np.hstack([control * weight, weight]), degree)(at)
    return np.asarray(curve[:, :3] / curve[:, 3:], dtype=np.float64)


def _sag(entity: Any, kind: str) -> float:
    """Distance of chords from the curve: a fraction of its size."""
    if kind == "ELLIPSE":
        return float(entity.dxf.major_axis.magnitude) * (1 - math.cos(_CHORD / 2))
    control = np.array(list(entity.control_points) or list(entity.fit_points))
    extent = float(np.ptp(control.reshape(-1, 3), axis=0).max()) if len(control) else 0
    return max(extent * 1e-3, 1e-9)


def _arc(entity: Any) -> FloatArray:
    start = math.radians(entity.dxf.start_angle)
    sweep = (math.radians(entity.dxf.end_angle) - start) % (2 * math.pi)
    sweep = sweep or 2 * math.pi
    count = max(2, math.ceil(sweep / _CHORD) + 1)
    angle = start + np.linspace(0.0, sweep, count)
    centre, radius = entity.dxf.center, entity.dxf.radius
    flat = [
        (centre[0] + radius * math.cos(a), centre[1] + radius * math.sin(a), centre[2])
        for a in angle
    ]
    return np.array(list(entity.ocs().points_to_wcs(flat)), dtype=np.float64)


def _with_bulges(entity: Any) -> FloatArray:
    """Points of a polyline with arcs between some of its vertices."""
    points: list[FloatArray] = []
    for part in entity.virtual_entities():
        piece = _points(part, part.dxftype())
        if piece is None:
            continue
        if points and np.linalg.norm(points[-1][-1] - piece[-1]) < np.linalg.norm(
            points[-1][-1] - piece[0]
        ):
            piece = piece[::-1]  # an arc to the right is drawn from its other end
        elif not points and part.dxftype() == "ARC":
            begin = np.array(next(iter(entity.vertices_in_wcs())))
            if np.linalg.norm(begin - piece[-1]) < np.linalg.norm(begin - piece[0]):
                piece = piece[::-1]
        points.append(piece if not points else piece[1:])
    if not points:
        return np.zeros((0, 3))
    return np.concatenate(points)


def _xdata(entity: Any, where: str) -> dict[str, object]:
    """Extras of an entity: pairs of a known key and a value, of any application.

    BadInput if a key has two values that differ.
    """
    out: dict[str, object] = {}
    data = entity.xdata.data if entity.xdata else {}
    for tags in data.values():
        key = None
        for tag in list(tags)[1:]:
            if key is None:
                key = str(tag.value) if tag.code == 1000 else None
                key = key if key in KEYS else None
                continue
            if out.setdefault(key, tag.value) != tag.value:
                what = f"{key} is given twice, as {out[key]!r} and {tag.value!r}"
                raise refusal(where, what, "delete one of the two")
            key = None
    return out


def _say_what_was_passed_over(
    passed_over: Counter[tuple[str, str, str]], pieces: list[_Piece], found: Found
) -> None:
    """Say what was not read of the layers that hold ducts, and of other drawings."""
    layers = {layer for _, layer, _ in passed_over} | {p.layer for p in pieces}
    sized = {layer for layer in layers if section_in_name(layer)}
    said = [
        f"{count} {kind} on layer '{layer}'{why}"
        for (kind, layer, why), count in passed_over.items()
        if layer.lower() not in _SKIPPED_LAYERS
        and kind not in _WORDS
        and (not sized or layer in sized or why == _OUTSIDE)
    ]
    if said:
        more = f" and {len(said) - 8} more kinds" if len(said) > 8 else ""
        found.notices.append(
            warning(
                found.file,
                f"not read: {', '.join(said[:8])}{more}",
                "if they are ducts, show their layers, bind other drawings, and draw "
                "centrelines as LINE, POLYLINE, ARC or SPLINE",
            )
        )


def _ducts(pieces: list[_Piece], found: Found) -> list[_Piece]:
    """Leave out layers that say no section where others do: beams, grids, notes."""
    sized = {p.layer for p in pieces if p.extras or section_in_name(p.layer)}
    others = list(dict.fromkeys(p.layer for p in pieces if p.layer not in sized))
    if not sized or not others:
        return pieces
    plain = []
    for layer in others:
        unread = unread_in_name(layer)
        if unread is None or _is_of_building(layer):
            plain.append(layer)
            continue
        what, remedy = unread
        where, what = (
            f"{found.file}, layer '{layer}'",
            f"its lines were left out: {what}",
        )
        found.notices.append(warning(where, what, remedy))
    if plain:
        found.notices.append(
            note(
                found.file,
                "layers without a section in their name were left out: "
                + listed(plain, 8),
                "name a layer like 'main 600x300' if its lines are ducts",
            )
        )
    return [piece for piece in pieces if piece.layer in sized]


def _is_of_building(layer: str) -> bool:
    """Whether a layer is named after a part of a building and nothing else.

    Whatever else is in the name, as in 'wall stack 8in', leaves it to the reader.

    Examples
    --------
    >>> _is_of_building("A-WALL 100mm"), _is_of_building("wall stack 8in")
    (True, False)
    """
    words = {word.lower() for word in _LETTERS.findall(layer)} - _OF_SIZES
    words = {word for word in words if len(word) > 1}  # one of a discipline, A-WALL
    return bool(words) and words <= _BUILDING


def _runs(
    pieces: list[_Piece], factor: float
) -> Iterator[tuple[str, Mapping[str, object], str, FloatArray]]:
    """Polylines as they are, loose lines and arcs of one layer chained, in metres."""
    for piece in pieces:
        if not piece.loose:
            yield piece.layer, piece.extras, piece.where, piece.points * factor
    loose = [piece for piece in pieces if piece.loose]
    if not loose:
        return
    whole = [piece.points[[0, -1]] * factor for piece in pieces if not piece.loose]
    own = [piece.points * factor for piece in loose]
    nodes, node, _ = snap(np.concatenate([*own, *whole]), _TOUCH)
    size = [len(points) for points in own]
    begins = np.cumsum([0, *size])
    edges, layer = [], []
    names = list(dict.fromkeys(piece.layer for piece in loose))
    for number, piece in enumerate(loose):
        mine = node[begins[number] : begins[number + 1]]
        edges.append(np.stack([mine[:-1], mine[1:]], axis=1))
        layer.append(np.full(len(mine) - 1, names.index(piece.layer)))
    edge, on = np.concatenate(edges), np.concatenate(layer)
    moving = edge[:, 0] != edge[:, 1]
    edge, on = edge[moving], on[moving]
    touched = np.bincount(
        np.concatenate([edge.ravel(), node[begins[-1] :]]), minlength=len(nodes)
    )
    for number, name in enumerate(names):
        mine = edge[on == number]
        degree = np.bincount(mine.ravel(), minlength=len(nodes))
        for chain in chains(mine, len(nodes), np.flatnonzero(touched != degree)):
            yield name, {}, f"layer '{name}'", nodes[chain]
