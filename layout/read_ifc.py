"""Read a route from IFC: duct segments and fittings, joined at their ports.

Ports and placements give the centrelines. Where there are no ports, the swept bodies
give them; where there are only faces, the principal axis does, and that is said.
"""

import heapq
import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path

import numpy as np

from .basis import Basis
from .collected import Collected, Found, check_finite, collected_drawing
from .drawing import Attributes, Drawing
from .faults import BadInput, note, refusal, warning
from .frames import level_frame, rotate, turn_between
from .ifc_bodies import (
    Body,
    axis_line,
    body_from_mesh,
    represented,
    section_of,
    swept_bodies,
)
from .ifc_kernel import make_shapes
from .ifc_model import (
    Entity,
    IfcModel,
    Placements,
    assigned_factor,
    open_ifc,
    properties,
    types,
    unit_factor,
)
from .names import section_in_name
from .polylines import chains
from .sections import FloatArray, IntArray, Section, Shape, flat_oval, rectangular
from .sections import round_section as round_
from .snap import snap
from .units import LENGTHS, UNITS

_KINDS = {  # what a class, or the class of its type, is to a duct system
    "IfcDuctSegment": "segment",
    "IfcDuctFitting": "fitting",
    "IfcAirTerminal": "terminal",
    "IfcFan": "source",
    "IfcUnitaryEquipment": "source",
    "IfcAirTerminalBox": "device",
    "IfcAirToAirHeatRecovery": "device",
    "IfcCoil": "device",
    "IfcDamper": "device",
    "IfcDuctSilencer": "device",
    "IfcFilter": "device",
    "IfcHumidifier": "device",
}
_UNTYPED = {"IfcFlowSegment": "segment", "IfcFlowFitting": "fitting"}
_FLOWS = ("airflowrate", "flowrate", "nominalairflowrate", "airflow")
_WIDTHS = ("NominalDiameterOrWidth", "NominalWidth", "Width")
_HEIGHTS = ("NominalHeight", "Height")
_DIAMETERS = ("NominalDiameter", "Diameter")
_MOST_BODIES = 20  # of a fitting without ports
_JOINS = 0.01  # m: ends this near are one where no port says so
_TOUCHES = 0.02  # m: how far a fitting's faces may be from the end that it takes
_STRAIGHT = math.cos(math.radians(1.0))
_SLIGHT = math.radians(0.05)  # a turn smaller than this is a joint in line
_IN_LINE = 1e-3  # m: axes that pass each other by less meet
_NAME = 2  # place of the name among the attributes of whatever has one


@dataclass
class _End:
    """One open end of an element."""

    point: FloatArray
    outward: FloatArray | None
    flow: str = ""  # 'SINK': air enters the element here; 'SOURCE': it leaves
    port: int = -1
    spot: int = -1  # place in the network, the same for ends that are joined


@dataclass
class _Element:
    """One element of the duct system."""

    entity: Entity
    kind: str
    ends: list[_End] = field(default_factory=list)
    taps: list[_End] = field(default_factory=list)  # ports on a segment's side
    body: Body | None = None
    line: FloatArray | None = None  # its axis, where the file has one
    section: Section | None = None
    up: tuple[float, float, float] | None = None
    origin: str = ""
    flow: float = math.nan

    @property
    def name(self) -> str:
        return str(self.entity.get_argument(_NAME) or self.entity.is_a()).strip()

    @property
    def words(self) -> str:
        return f"'{self.name}' ({self.entity.GlobalId})"


@dataclass
class _Edge:
    """One straight piece of centreline between two spots."""

    spots: tuple[int, int]
    element: _Element
    section: Section | None
    up: tuple[float, float, float] | None
    origin: str
    radius: float | None = None
    is_transition: bool = False

    def far(self, spot: int) -> int:
        return self.spots[0] if self.spots[1] == spot else self.spots[1]


@dataclass
class _Network:
    """Spots and the pieces between them."""

    points: list[FloatArray] = field(default_factory=list)
    edges: list[_Edge] = field(default_factory=list)

    def spot(self, point: FloatArray) -> int:
        self.points.append(point)
        return len(self.points) - 1

    def at(self) -> dict[int, list[_Edge]]:
        """Pieces that meet at each spot."""
        out: dict[int, list[_Edge]] = {}
        for edge in self.edges:
            for spot in edge.spots:
                out.setdefault(spot, []).append(edge)
        return out

    def away(self, edge: _Edge, spot: int) -> FloatArray:
        """Unit vector along a piece, away from one of its spots."""
        way = self.points[edge.far(spot)] - self.points[spot]
        return np.asarray(way / (np.sqrt(way @ way) or 1.0))

    def across(self, one: _Edge, two: _Edge, spot: int) -> bool:
        """Whether two pieces that meet at a spot lie in line."""
        return float(self.away(one, spot) @ self.away(two, spot)) < -_STRAIGHT


def read_ifc(path: Path, *, unit: str | None = None, up: str | None = None) -> Drawing:
    """Read a route from IFC2x3, IFC4 or IFC4x3 in STEP text.

    Parameters
    ----------
    path
        The file.
    unit
        Length unit where the file states none or states it wrongly.
    up
        Must be None or 'z': IFC has Z up.

    Returns
    -------
    drawing
        Every duct, in metres with Z up. Site, building and storey placements are
        applied; the conversion to map coordinates is not.

    Raises
    ------
    BadInput
        If it is damaged, states no length unit, or holds no duct.

    References
    ----------
    ISO 16739-1, Industry Foundation Classes: ports, placements, swept solids.
    """
    if up == "y":
        raise refusal("--up", "IFC has Z up", "leave --up away")
    model = open_ifc(path, unit)
    found = Found(path.name)
    try:
        with np.errstate(all="ignore"):  # what is not finite is looked for at the end
            _collect(model, found)
    except BadInput:
        raise
    except (
        ArithmeticError, AttributeError, LookupError, RuntimeError, TypeError,
        ValueError, np.linalg.LinAlgError,
    ) as problem:  # what an attribute left empty leads to  # fmt: skip
        raise refusal(
            path.name, f"its data cannot be read ({problem})", "export it again"
        ) from None
    if found.faults:
        raise BadInput(found.faults)
    if not found.runs:
        raise refusal(
            path.name,
            "there is no duct segment with a place in it",
            "export the mechanical model with its duct segments and fittings",
        )
    return collected_drawing(
        found,
        unit=unit or _unit_word(model.metre),
        unit_origin=model.metre_origin,
        up="z",
        up_origin="the format says so",
    )


def _unit_word(metre: float) -> str:
    for word in LENGTHS:
        if math.isclose(UNITS[word].factor, metre, rel_tol=1e-9):
            return word
    return f"{metre:g} m"


def _collect(model: IfcModel, found: Found) -> None:
    placements = Placements(model)
    elements = _elements(model, placements, found)
    segments = [e for e in elements if e.kind == "segment"]
    _find_bodies(model, placements, segments)
    for element in segments:
        _measure_segment(element, found)
    for element in elements:
        if element.kind == "fitting" and not element.ends:
            _ends_from_sweep(model, placements, element)
    network = _Network()
    _join(model, elements, network, found)
    _take_near_ends(model, elements, network, found)
    for element in elements:
        network.edges += _pieces(element, network, found)
    _fill_sections(network)
    _mark_transitions(network)
    _runs(network, elements, found)
    for run in found.runs:
        check_finite(run.points, f"{found.file}, {run.where}", found.faults)


# --- elements and what they say


def _elements(model: IfcModel, placements: Placements, found: Found) -> list[_Element]:
    type_of, said = types(model), properties(model)
    rate = assigned_factor(model, "VOLUMETRICFLOWRATEUNIT")
    out: dict[int, _Element] = {}
    untyped = 0
    for entity in model.content.by_type("IfcDistributionElement"):
        kind = _KINDS.get(entity.is_a())
        own_type = type_of.get(entity.id())
        if kind is None and own_type is not None:
            kind = _KINDS.get(own_type.is_a().removesuffix("Type"))
        elif kind is None:
            kind = _UNTYPED.get(entity.is_a())
            untyped += kind is not None
        if kind is not None:
            out[entity.id()] = _Element(entity, kind)
    if untyped:
        found.notices.append(
            note(
                found.file,
                f"{untyped} flow segments and fittings without a type were taken as "
                "ducts",
                "give them a duct type if some are pipes",
            )
        )
    lost = 0
    for owner, port in _ports(model):
        element = out.get(owner)
        if element is None:
            continue
        matrix = placements.world(port.ObjectPlacement)
        if matrix is None:
            lost += 1
            continue
        flow = str(port.FlowDirection or "")
        element.ends.append(_End(matrix[:3, 3], matrix[:3, 2], flow, port.id()))
    if lost:
        found.notices.append(
            warning(
                found.file,
                f"{lost} port{'s have' if lost > 1 else ' has'} no place and "
                f"{'were' if lost > 1 else 'was'} passed over",
                "the ducts there were joined by position",
            )
        )
    for number, element in out.items():
        _say(model, element, said.get(number, {}), rate, found)
    return list(out.values())


def _ports(model: IfcModel) -> Iterator[tuple[int, Entity]]:
    """Number of an element and one of its ports, in the order of the file."""
    seen = set()
    for relation in model.content.by_type("IfcRelNests"):
        for port in relation.RelatedObjects or ():
            if port.is_a("IfcDistributionPort") and port.id() not in seen:
                seen.add(port.id())
                yield relation.RelatingObject.id(), port
    for relation in model.content.by_type("IfcRelConnectsPortToElement"):
        port = relation.RelatingPort
        if port.is_a("IfcDistributionPort") and port.id() not in seen:
            seen.add(port.id())
            yield relation.RelatedElement.id(), port


def _say(
    model: IfcModel,
    element: _Element,
    said: dict[str, Entity],
    rate: float,
    found: Found,
) -> None:
    """Airflow and section from properties and the name."""
    if not said:
        element.section, element.origin = section_in_name(element.name) or (None, "")
        return
    flows = {
        name.replace(" ", "").lower(): item
        for name, item in said.items()
        if item.NominalValue.is_a("IfcVolumetricFlowRateMeasure")
    }
    for name in _FLOWS:
        if name in flows:
            item = flows[name]
            factor = unit_factor(item.Unit) if item.Unit else rate
            value = float(item.NominalValue.wrappedValue) * factor
            if value > 0.0 and math.isfinite(value):
                element.flow = value
            break

    def length(names: Iterable[str]) -> float | None:
        for name in names:
            item = said.get(name)
            if item is not None and "LengthMeasure" in item.NominalValue.is_a():
                factor = unit_factor(item.Unit) if item.Unit else model.metre
                value = float(item.NominalValue.wrappedValue) * factor
                if value > 0.0 and math.isfinite(value):
                    return value
        return None

    width, height, diameter = map(length, (_WIDTHS, _HEIGHTS, _DIAMETERS))
    shape_item = said.get("CrossSectionShape") or said.get("Shape")
    shape = str(shape_item.NominalValue.wrappedValue) if shape_item else ""
    if width and height:
        make = flat_oval if "OVAL" in shape.upper() else rectangular
        element.section, element.origin = make(width, height), "properties"
    elif diameter or width:
        element.section, element.origin = round_(diameter or width or 0.0), "properties"
    else:
        named = section_in_name(element.name)
        if named is not None:
            element.section, element.origin = named


def _find_bodies(
    model: IfcModel, placements: Placements, segments: list[_Element]
) -> None:
    """Bodies of segments: swept ones, and for want of these those of their faces."""
    lacking: dict[int, _Element] = {}
    for element in segments:
        items = represented(element.entity)
        bodies = swept_bodies(model, placements, element.entity, items.get("Body", []))
        element.body = next(bodies, None)
        if len(element.ends) < 2:
            element.line = axis_line(placements, element.entity, items.get("Axis", []))
        placed = len(element.ends) > 1 or element.line is not None
        if element.body is None and (element.section is None or not placed):
            lacking[element.entity.id()] = element
    for number, (vertices, _) in make_shapes(model.path, list(lacking)).items():
        lacking[number].body = body_from_mesh(vertices * model.geometry_factor)


def _measure_segment(element: _Element, found: Found) -> None:
    """Ends and section of a segment from its ports, its axis line and its body."""
    body, line = element.body, element.line
    as_swept = body is not None and body.radius is None and line is None
    as_swept = as_swept and not element.ends
    if len(element.ends) < 2:
        if line is not None:
            ends, outward = (
                line[[0, -1]],
                np.stack([line[0] - line[1], line[-1] - line[-2]]),
            )
            outward = outward / np.linalg.norm(outward, axis=1)[:, None]
        elif body is not None:
            ends, outward = body.ends, body.outward
            if body.is_meshed:
                found.notices.append(
                    warning(
                        f"{found.file}, {element.words}",
                        "it has neither ports nor a swept body; its centreline and "
                        "section were assumed along the longest side of its faces",
                        "check them, or export it as a swept solid",
                    )
                )
        else:
            found.notices.append(
                warning(
                    f"{found.file}, {element.words}",
                    "it has no ports and no body, so it was left out",
                    "export the model with geometry",
                )
            )
            element.ends = []
            return
        ports = element.ends
        element.ends = [
            (_nearest_port(ports, point) if ports else None) or _End(point, way)
            for point, way in zip(ends, outward, strict=True)
        ]
    elif len(element.ends) > 2:
        _part_taps(element)
    if body is None:
        return
    sides, axes, along = body.sides, body.axes, body.outward[1]
    if not as_swept:
        along = element.ends[1].point - element.ends[0].point
        length = math.sqrt(along @ along)
        if not length > 0.0:
            return
        along = along / length
    is_square = (
        not as_swept and body.radius is None and abs(body.outward[1] @ along) < 0.7
    )
    if is_square and (body.ends[0] != body.ends[1]).any():
        # Extruded upwards from its plan: the extrusion is one side of the section.
        way = body.ends[1] - body.ends[0]
        three = np.concatenate([axes, body.outward[1:]])
        sizes = np.append(sides, math.sqrt(way @ way))
        keep = [i for i in range(3) if i != int(np.argmax(np.abs(three @ along)))]
        sides, axes = sizes[keep], three[keep]
    drawn, up = section_of(body.shape, sides, axes, along)
    if element.section is None or not body.is_meshed:
        if element.section is not None and not _alike(element.section, drawn):
            found.notices.append(
                warning(
                    f"{found.file}, {element.words}",
                    f"its body is {drawn.words} and its {element.origin} "
                    f"say{'s' * ('name' in element.origin)} {element.section.words}",
                    "the body was used; correct the one that is wrong",
                )
            )
        element.section, element.up = drawn, up
        element.origin = "faces of its body" if body.is_meshed else "its profile"


def _alike(one: Section, two: Section) -> bool:
    """Whether two sections are the same, whichever side is called the width."""
    if (one.shape == Shape.ROUND) != (two.shape == Shape.ROUND):
        return False
    sides = sorted((one.width, one.height)), sorted((two.width, two.height))
    return all(math.isclose(*pair, rel_tol=0.01) for pair in zip(*sides, strict=True))


def _nearest_port(ports: list[_End], point: FloatArray) -> _End | None:
    for port in ports:
        if np.linalg.norm(port.point - point) < _JOINS:
            return port
    return None


def _part_taps(element: _Element) -> None:
    """Of more than two ports, the two furthest apart are the ends."""
    points = np.array([end.point for end in element.ends])
    apart = np.linalg.norm(points[:, None] - points, axis=2)
    one, two = np.unravel_index(int(np.argmax(apart)), apart.shape)
    ends = [element.ends[one], element.ends[two]]
    element.taps = [end for end in element.ends if end not in ends]
    element.ends = ends


def _ends_from_sweep(
    model: IfcModel, placements: Placements, element: _Element
) -> None:
    """Ends of a fitting without ports: those of its swept bodies that lie open."""
    items = represented(element.entity).get("Body", [])
    bodies = list(swept_bodies(model, placements, element.entity, items))[:_MOST_BODIES]
    if len(bodies) == 1:
        element.body = bodies[0]
    for number, body in enumerate(bodies):
        others = bodies[:number] + bodies[number + 1 :]
        for point, way in zip(body.ends, body.outward, strict=True):
            if not any(_closes(other, point) for other in others):
                element.ends.append(_End(point, way))


def _closes(body: Body, point: FloatArray) -> bool:
    """Whether the end of another body lies at one of a body's ends, or inside it."""
    if np.linalg.norm(body.ends - point, axis=1).min() < _IN_LINE:
        return True
    way = body.ends[1] - body.ends[0]
    share = float((point - body.ends[0]) @ way / ((way @ way) or 1.0))
    aside = np.abs(body.axes @ (point - body.ends[0] - share * way))
    return 0.01 < share < 0.99 and bool((aside < 0.55 * body.sides).all())


# --- joining


def _join(
    model: IfcModel, elements: list[_Element], network: _Network, found: Found
) -> None:
    """Give ends that are joined one spot: by their ports, then by position."""
    by_port = {end.port: end for e in elements for end in (*e.ends, *e.taps)}
    by_port.pop(-1, None)
    gaps = 0.0
    for relation in model.content.by_type("IfcRelConnectsPorts"):
        one = by_port.get(relation.RelatingPort.id())
        two = by_port.get(relation.RelatedPort.id())
        if one is None or two is None or one is two:
            continue
        gap = float(np.linalg.norm(one.point - two.point))
        gaps = max(gaps, gap)
        if one.spot < 0 and two.spot < 0:
            one.spot = two.spot = network.spot((one.point + two.point) / 2)
        else:
            one.spot = two.spot = max(one.spot, two.spot)
    if gaps > _JOINS:
        found.notices.append(
            warning(
                found.file,
                f"ports that the file joins stand up to {gaps:.3g} m apart",
                "they were joined half-way; check the lengths there",
            )
        )
    loose = [
        (element, end)
        for element in elements
        for end in (*element.ends, *element.taps)
        if end.spot < 0
    ]
    if not loose:
        return
    places, spot = snap(np.array([end.point for _, end in loose]), _JOINS)
    first = len(network.points)
    network.points += list(places)
    met = np.bincount(spot)
    for (_, end), at in zip(loose, spot.tolist(), strict=True):
        end.spot = first + at
    joined = int((met > 1).sum())
    if joined:
        found.notices.append(
            note(
                found.file,
                f"{joined} joint{'s are' if joined > 1 else ' is'} made by position, "
                f"within {_JOINS * 1e3:g} mm, as no ports are connected there",
                "connect the ports in the model if a joint is not meant",
            )
        )


def _take_near_ends(
    model: IfcModel, elements: list[_Element], network: _Network, found: Found
) -> None:
    """Give portless fittings and terminals the free duct ends at their faces."""
    seekers = [
        e
        for e in elements
        if not e.ends and e.kind in ("fitting", "terminal", "source")
    ]
    if not seekers:
        return
    count = np.bincount(
        [end.spot for e in elements for end in e.ends], minlength=len(network.points)
    )
    free = [
        end
        for e in elements
        if e.kind == "segment"
        for end in e.ends
        if count[end.spot] == 1
    ]
    if not free:
        return
    places = np.array([end.point for end in free])
    taken = 0
    by_number = {element.entity.id(): element for element in seekers}
    shapes = make_shapes(model.path, list(by_number))
    for number, (vertices, _) in shapes.items():
        element, vertices = by_number[number], vertices * model.geometry_factor
        low, high = vertices.min(axis=0) - _TOUCHES, vertices.max(axis=0) + _TOUCHES
        for row in np.flatnonzero(((places >= low) & (places <= high)).all(axis=1)):
            end = free[int(row)]
            way = None if end.outward is None else -end.outward
            element.ends.append(_End(end.point, way, spot=end.spot))
            taken += 1
    if taken:
        found.notices.append(
            warning(
                found.file,
                f"{taken} duct end{'s' * (taken > 1)} met portless fittings or "
                "terminals at their faces and were joined to them",
                "give the fittings ports to be sure",
            )
        )


# --- pieces


def _pieces(element: _Element, network: _Network, found: Found) -> Iterator[_Edge]:
    """Centreline pieces of an element."""
    ends = element.ends
    if element.kind == "terminal" or (element.kind == "source" and len(ends) != 2):
        return
    if len(ends) < 2:
        if element.kind == "fitting" and len(ends) == 0:
            found.notices.append(
                warning(
                    f"{found.file}, {element.words}",
                    "it has no ports, and no duct ends at its faces: it was left out",
                    "give it ports, or join the ducts by hand",
                )
            )
        return
    own = element.section, element.up, element.origin
    if element.kind in ("source", "device"):
        if element.kind == "source":
            return  # the network begins at it
        found.notices.append(
            warning(
                f"{found.file}, {element.words}",
                "it stands in the duct, and its own loss is not in the file",
                "declare it in the schedule under [losses]",
            )
        )
    if element.kind == "segment":
        yield from _segment_pieces(element, network)
        return
    corner, radius, straight = _meeting(element)
    if straight:
        yield _Edge((ends[0].spot, ends[1].spot), element, *own)
        return
    if corner is None:
        found.notices.append(
            warning(
                f"{found.file}, {element.words}",
                "the axes of its ports do not meet; its centreline was assumed to run "
                "through the middle of the ports",
                "check the fitting",
            )
        )
        corner = np.mean([end.point for end in ends], axis=0)
    middle = network.spot(corner)
    for end in ends:
        yield _Edge((end.spot, middle), element, *own, radius)


def _segment_pieces(element: _Element, network: _Network) -> Iterator[_Edge]:
    own = element.section, element.up, element.origin
    one, two = element.ends
    body = element.body
    if body is not None and body.radius is not None:
        corner, radius, straight = _meeting(element)
        if corner is not None and not straight:
            middle = network.spot(corner)
            yield _Edge((one.spot, middle), element, *own, radius)
            yield _Edge((middle, two.spot), element, *own, radius)
            return
    begin, finish = network.points[one.spot], network.points[two.spot]
    way = finish - begin
    at = [one.spot]
    for share, tap in sorted(
        (float((tap.point - begin) @ way / (way @ way)), index)
        for index, tap in enumerate(element.taps)
    ):
        foot = network.spot(begin + min(max(share, 0.0), 1.0) * way)
        at.append(foot)
        if np.linalg.norm(element.taps[tap].point - network.points[foot]) > _IN_LINE:
            yield _Edge((foot, element.taps[tap].spot), element, None, None, "")
    at.append(two.spot)
    for a, b in pairwise(at):
        yield _Edge((a, b), element, *own)


def _meeting(element: _Element) -> tuple[FloatArray | None, float | None, bool]:
    """Where the axes of an element's ends meet; radius of a bend; whether straight."""
    ends = element.ends
    points = np.array([end.point for end in ends])
    ways = [end.outward for end in ends]
    if any(way is None for way in ways):
        return None, None, False
    outward = np.array(ways)
    if len(ends) == 2:
        cosine = float(outward[0] @ outward[1])
        if cosine < -_STRAIGHT:
            return None, None, True  # also where the two axes stand apart
        if cosine > 1.0 - 1e-9:
            return None, None, False
    # Least squares: the point nearest to all axes.
    across = np.eye(3) - outward[:, :, None] * outward[:, None, :]
    corner, *_ = np.linalg.lstsq(
        across.reshape(-1, 3),
        np.einsum("nij,nj->ni", across, points).ravel(),
        rcond=None,
    )
    apart = np.linalg.norm(
        np.einsum("nij,nj->ni", across, corner - points), axis=1
    ).max()
    if apart > max(_IN_LINE, 0.05 * np.linalg.norm(np.ptp(points, axis=0))):
        return None, None, False
    if len(ends) != 2:
        return corner, None, False
    angle = math.acos(min(max(-float(outward[0] @ outward[1]), -1.0), 1.0))
    tangents = np.linalg.norm(points - corner, axis=1)
    radius = float(tangents.mean()) / math.tan(angle / 2)
    if element.body is not None and element.body.radius is not None:
        radius = element.body.radius
    elif np.ptp(tangents) > 0.05 * tangents.max():
        return corner, None, False  # a collar on one side: the radius is not known
    return corner, radius, False


def _fill_sections(network: _Network) -> None:
    """Give pieces of fittings the section of the nearest duct.

    A duct at the end counts before the leg across the same fitting, and that before
    the fitting next to it.
    """
    at = network.at()
    for edge in network.edges:
        if edge.element.kind != "segment":
            edge.section, edge.up, edge.origin = None, None, ""
    known = [(0, row) for row, e in enumerate(network.edges) if e.section is not None]
    rows = {id(edge): row for row, edge in enumerate(network.edges)}
    heap = [(cost, row, row) for cost, row in known]
    while heap:
        cost, row, giver = heapq.heappop(heap)
        edge = network.edges[row]
        if edge.section is None:
            given = network.edges[giver]
            edge.section, edge.up = given.section, given.up
            edge.origin = "the duct that it is joined to"
        elif row != giver:
            continue
        for spot in edge.spots:
            for other in at[spot]:
                if other.section is not None or other is edge:
                    continue
                if other.element is not edge.element:
                    more = 0 if edge.element.kind == "segment" else 2
                elif len(at[spot]) == 2 or network.across(edge, other, spot):
                    more = 1
                else:
                    continue
                heapq.heappush(heap, (cost + more, rows[id(other)], row))


def _mark_transitions(network: _Network) -> None:
    """Mark straight two-ended fittings between two sections."""
    at = network.at()
    for edge in network.edges:
        if edge.element.kind != "fitting" or len(edge.element.ends) != 2:
            continue
        met = [other for spot in edge.spots for other in at[spot] if other is not edge]
        sections = [other.section for other in met if other.section is not None]
        straight = all(other.element is not edge.element for other in met)
        if straight and len(sections) == 2 and not _alike(*sections):
            edge.is_transition = True


# --- runs


def _runs(network: _Network, elements: list[_Element], found: Found) -> None:
    """Chain pieces of one section into runs, from one joint to the next."""
    network.edges = [edge for edge in network.edges if edge.spots[0] != edge.spots[1]]
    at = network.at()
    outside = _outside(elements)
    marked = _source_spots(elements, at, outside, found)
    stops = [
        spot
        for spot, met in at.items()
        if len(met) == 2 and not _goes_on(network, at, marked, spot)
    ]
    by_spots = {edge.spots: edge for edge in network.edges}
    by_spots |= {edge.spots[::-1]: edge for edge in network.edges}
    ends = np.array([edge.spots for edge in network.edges], dtype=np.int64)
    for chain in chains(
        ends.reshape(-1, 2), len(network.points), np.array(stops, dtype=np.int64)
    ):
        for part in _one_radius(chain, by_spots):
            along = [by_spots[pair] for pair in pairwise(part)]
            _add_run(part, along, network, outside, marked, found)


def _goes_on(
    network: _Network, at: dict[int, list[_Edge]], marked: set[int], spot: int
) -> bool:
    """Whether a run goes on through a spot at which two pieces meet."""
    one, two = at[spot]
    if one.is_transition or two.is_transition:
        return False
    flows = one.element.flow, two.element.flow
    if not any(map(math.isnan, flows)) and not math.isclose(*flows, rel_tol=1e-6):
        return False
    if one.section is None or two.section is None:
        return one.section is two.section
    a, b = one.section, two.section
    if not (
        a.shape == b.shape
        and math.isclose(a.width, b.width, rel_tol=1e-6)
        and math.isclose(a.height, b.height, rel_tol=1e-6)
    ):
        return False
    if one.up == two.up:
        return True
    # A level duct that turns up or down to a free end carries its section with it.
    level, plumb = (one, two) if one.up is None else (two, one)
    if level.up is not None or plumb.up is None:
        return False
    before, after = -network.away(level, spot), network.away(plumb, spot)
    angle, axis = turn_between(before[None], after[None])
    carried = rotate(level_frame(before[None])[1], axis, angle)[0]
    if abs(float(carried @ np.array(plumb.up))) < _STRAIGHT:
        return False
    here = spot
    while len(at[here]) == 2:
        here, last = plumb.far(here), plumb
        plumb = next((e for e in at[here] if e is not last), last)
        if plumb.up != last.up:
            return False
    return len(at[here]) == 1 and here not in marked


def _one_radius(
    chain: IntArray, by_spots: dict[tuple[int, int], _Edge]
) -> Iterator[list[int]]:
    """Parts of a chain whose bends have one radius."""
    part, radius = [int(chain[0])], None
    for a, b in pairwise(chain.tolist()):
        own = by_spots[a, b].radius
        if (
            own is not None
            and radius is not None
            and not math.isclose(own, radius, rel_tol=1e-3)
        ):
            yield part
            part, radius = [a], None
        radius = own if radius is None else radius
        part.append(b)
    yield part


def _add_run(
    part: list[int],
    along: list[_Edge],
    network: _Network,
    outside: dict[int, _Element],
    marked: set[int],
    found: Found,
) -> None:
    ducts = [edge for edge in along if edge.element.kind == "segment"]
    lead = min(ducts or along, key=lambda edge: int(edge.element.entity.id()))
    more = len({id(edge.element) for edge in along}) - 1
    flow = next((e.element.flow for e in along if e.element.flow > 0.0), math.nan)
    terminal = None
    for spot in (part[0], part[-1]):
        stands = outside.get(spot)
        if stands is not None and stands.kind == "terminal":
            terminal = stands.name
            if math.isnan(flow):
                flow = stands.flow
    radii = [edge.radius for edge in along if edge.radius is not None]
    section, radius = lead.section, radii[0] if radii else None
    at_source = [spot in marked for spot in (part[0], part[-1])]
    said = Attributes(
        source=any(at_source),
        source_at_end=at_source[1] if any(at_source) else None,
        terminal=terminal,
        transition=lead.is_transition,
        up=None if any(edge.up is None for edge in along) else lead.up,
        bend_radius=_real_radius(radius, section, along, network, found),
    )
    found.runs.append(
        Collected(
            lead.element.name,
            _corners(np.array([network.points[spot] for spot in part])),
            section,
            lead.origin,
            f"element {lead.element.entity.GlobalId}"
            + (f" and {more} more" if more else ""),
            flow,
            said,
            Basis.ASSUMED if lead.origin == "faces of its body" else Basis.DRAWN,
        )
    )


def _corners(points: FloatArray) -> FloatArray:
    """Ends of a polyline and the points at which it turns, shape (n, 3)."""
    way = np.diff(points, axis=0)
    way /= np.linalg.norm(way, axis=1)[:, None]
    turns = np.linalg.norm(np.diff(way, axis=0), axis=1) > _SLIGHT
    return np.asarray(points[np.concatenate([[True], turns, [True]])])


def _real_radius(
    radius: float | None,
    section: Section | None,
    along: list[_Edge],
    network: _Network,
    found: Found,
) -> float | None:
    """Radius of a run's bends; None where the ports leave no room for one."""
    if radius is None or section is None:
        return radius
    bend = next(edge for edge in along if edge.radius is not None)
    legs = [edge for edge in along if edge.element is bend.element]
    side = min(section.width, section.height)
    if len(legs) == 2:
        ways = [network.away(edge, edge.spots[0]) for edge in legs]
        axis = np.cross(ways[0], ways[1])
        level = abs(axis[2]) > 0.7 * float(np.sqrt(axis @ axis) or 1.0)
        side = section.width if level else section.height
    if radius > 0.51 * side:
        return radius
    found.notices.append(
        note(
            f"{found.file}, {bend.element.words}",
            "its ports stand where the two ducts meet, as on a mitred elbow",
            "say its construction in the schedule",
        )
    )
    return None


def _outside(elements: list[_Element]) -> dict[int, _Element]:
    """Terminal or fan at each spot."""
    return {
        end.spot: element
        for element in elements
        if element.kind in ("terminal", "source")
        for end in element.ends
    }


def _source_spots(
    elements: list[_Element],
    at: dict[int, list[_Edge]],
    outside: dict[int, _Element],
    found: Found,
) -> set[int]:
    """Free ends at which the air enters: at the fan, or as the ports say."""
    free = {spot for spot, met in at.items() if len(met) == 1}
    flow = {
        end.spot: end.flow
        for element in elements
        if element.kind not in ("terminal", "source")
        for end in element.ends
        if end.spot in free
    }
    enters = {spot for spot, way in flow.items() if way == "SINK"}
    leaves = {spot for spot, way in flow.items() if way == "SOURCE"}
    fans = {spot for spot, one in outside.items() if one.kind == "source"} & free
    blown = fans & enters or fans - leaves
    if blown:
        return blown
    if len(enters) == 1 and leaves:
        return enters
    if len(leaves) == 1 and len(enters) > 1:
        found.notices.append(
            warning(
                found.file,
                f"its ports say that the air leaves at one end and enters at "
                f"{len(enters)}: this is an extract system, and it was taken as a "
                "supply system",
                "losses at junctions of joining air differ; check them",
            )
        )
        return leaves
    return set()
