"""Elements of an IFC model's duct system: what each is, its ends, its section.

Ports and placements give the ends. Where there are no ports, the swept bodies give
them; where there are only faces, these do, and that is said.
"""

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field

import numpy as np

from .collected import Found
from .faults import Notice, error, note, some, warning
from .ifc_bodies import (
    Body,
    axis_line,
    represented,
    section_of,
    swept_bodies,
)
from .ifc_faces import body_from_faces
from .ifc_kernel import make_shapes
from .ifc_model import (
    Entity,
    IfcModel,
    Placements,
    assigned_factor,
    attribute,
    properties,
    types,
    unit_factor,
)
from .names import section_in_name
from .quantity_words import length_words, section_words
from .sections import FloatArray, Section, Shape, flat_oval, rectangular
from .sections import round_section as round_

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
ASSUMED_ORIGINS = ("near its profile", "faces of its body")
JOINS = 0.01  # m: ends this near are one where no port says so
IN_LINE = 1e-3  # m: axes that pass each other by less meet
_SHORT = 0.02  # of its length that a body may lack where it reaches from end to end
_IN_LINE = 0.999  # cosine of an angle of 2.6 degrees
_MOST = 0.75  # of the longest body: how far a duct within its insulation reaches
_MOST_BODIES = 20  # of a fitting without ports
_NAME = 2  # place of the name among the attributes of whatever has one
_PREDEFINED = {"IfcDuctSegment": 8, "IfcDuctSegmentType": 9}  # that of the type there
FLEXIBLE_SEGMENT = "FLEXIBLESEGMENT"  # of IfcDuctSegmentTypeEnum, ISO 16739-1


@dataclass
class End:
    """One open end of an element."""

    point: FloatArray
    outward: FloatArray | None
    flow: str = ""  # 'SINK': air enters the element here; 'SOURCE': it leaves
    port: int = -1
    spot: int = -1  # place in the network, the same for ends that are joined


@dataclass
class Element:
    """One element of the duct system."""

    entity: Entity
    kind: str
    made: str = ""  # predefined type of a segment
    ends: list[End] = field(default_factory=list)
    taps: list[End] = field(default_factory=list)  # ports on a segment's side
    body: Body | None = None
    line: FloatArray | None = None  # its axis, if drawn or swept bent
    section: Section | None = None
    up: tuple[float, float, float] | None = None
    origin: str = ""
    flow: float = math.nan
    fault: Notice | None = None  # of its section, which a swept body mends
    doubt: str = ""  # what was assumed of its body
    is_short: bool = False  # shorter than wide, and its sweep alone tells how it goes

    @property
    def name(self) -> str:
        """What the model calls it, else its class."""
        return str(self.entity.get_argument(_NAME) or self.entity.is_a()).strip()

    @property
    def words(self) -> str:
        """Name and identifier, for messages."""
        return f"'{self.name}' ({self.entity.GlobalId})"


def duct_elements(
    model: IfcModel, placements: Placements, found: Found
) -> list[Element]:
    """Segments, fittings, terminals, fans and devices that have a place or ports."""
    type_of, said = types(model), properties(model)
    rate = assigned_factor(model, "VOLUMETRICFLOWRATEUNIT")
    out: dict[int, Element] = {}
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
            made = _made(entity, own_type) if kind == "segment" else ""
            out[entity.id()] = Element(entity, kind, made)
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
        element.ends.append(End(matrix[:3, 3], matrix[:3, 2], flow, port.id()))
    if lost:
        found.notices.append(
            warning(
                found.file,
                f"{lost} port{'s have' if lost > 1 else ' has'} no place and "
                f"{'were' if lost > 1 else 'was'} passed over",
                "the ducts there were joined by position",
            )
        )
    airflows = _Airflows(rate)
    for number, element in out.items():
        _say(model, element, said.get(number, {}), airflows, found)
    airflows.tell(found)
    return list(out.values())


def _made(entity: Entity, own_type: Entity | None) -> str:
    """Predefined type of a segment; that of its type goes first, as by the standard."""
    for one in (entity,) if own_type is None else (own_type, entity):
        place = _PREDEFINED.get(one.is_a())
        if place is not None and (said := one[place]) not in (None, "NOTDEFINED"):
            return str(said)
    return "NOTDEFINED"


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


class _Airflows:
    """Reads airflow properties; collects what was assumed and what is left out."""

    def __init__(self, rate: float | None) -> None:
        self.rate = rate  # one of the file's units in m3/s; None where it states none
        self.assumed = 0
        self.unread: list[Element] = []

    def read(self, element: Element, said: dict[str, tuple[Entity, Entity]]) -> float:
        """Airflow of an element, m3/s; NaN if none of its properties is one."""
        is_left_out = False
        for name in _FLOWS:
            if name not in said:
                continue
            value, item = said[name]
            number = value.wrappedValue
            if not value.is_a("IfcVolumetricFlowRateMeasure"):
                is_left_out = True
                continue
            if number > 0.0 and math.isfinite(number):
                own = attribute(item, "Unit")
                self.assumed += own is None and self.rate is None
                return _in_si(value, item, self.rate or 1.0)
            is_left_out |= number != 0.0  # writers leave 0 where nothing was said
            break
        if is_left_out:
            self.unread.append(element)
        return math.nan

    def tell(self, found: Found) -> None:
        """Say what was assumed and what was left out."""
        if self.assumed:
            many = self.assumed > 1
            found.notices.append(
                warning(
                    found.file,
                    "it states no unit of airflow; the airflow"
                    f"{'s' * many} of {self.assumed} element{'s' * many} "
                    f"{'were' if many else 'was'} taken as m3/s",
                    "state the unit in the model, or say the airflows in the schedule, "
                    "if they are not",
                )
            )
        if self.unread:
            names = some([element.words for element in self.unread], 3)
            found.notices.append(
                warning(
                    found.file,
                    f"an airflow property of {names} is no volume flow above 0 and was "
                    "left out",
                    "write it as IfcVolumetricFlowRateMeasure, or say the airflow in "
                    "the schedule",
                )
            )


def _say(
    model: IfcModel,
    element: Element,
    said: dict[str, tuple[Entity, Entity]],
    airflows: _Airflows,
    found: Found,
) -> None:
    """Airflow and section from properties and the name."""
    if not said:
        element.section, element.origin = section_in_name(element.name) or (None, "")
        return
    flows = {}
    for name, one in said.items():
        key = name.replace(" ", "").lower()
        if key in _FLOWS:
            flows[key] = one
    if flows:
        element.flow = airflows.read(element, flows)

    def length(names: Iterable[str]) -> float | None:
        for name in names:
            one = said.get(name)
            if one is not None and "LengthMeasure" in one[0].is_a():
                value = _in_si(*one, model.metre)
                if value > 0.0 and math.isfinite(value):
                    return value
        return None

    width, height, diameter = map(length, (_WIDTHS, _HEIGHTS, _DIAMETERS))
    shape_said = said.get("CrossSectionShape") or said.get("Shape")
    shape = str(shape_said[0].wrappedValue).upper() if shape_said else ""
    if width and height and "ROUND" in shape:
        if math.isclose(width, height, rel_tol=1e-6):
            element.section, element.origin = round_(width), "properties"
        else:
            element.fault = error(
                f"{found.file}, {element.words}",
                f"its properties say that it is round, with a width of "
                f"{length_words(width)} and a height of {length_words(height)}",
                "correct its shape or one of the two in the model",
            )
    elif width and height:
        make = flat_oval if "OVAL" in shape else rectangular
        element.section, element.origin = make(width, height), "properties"
    elif diameter or width:
        element.section, element.origin = round_(diameter or width or 0.0), "properties"
    else:
        named = section_in_name(element.name)
        if named is not None:
            element.section, element.origin = named


def _in_si(value: Entity, item: Entity, otherwise: float) -> float:
    """Value of a property in SI units; `otherwise` is the unit where it has none."""
    unit = attribute(item, "Unit")
    return float(value.wrappedValue) * (unit_factor(unit) if unit else otherwise)


def find_bodies(
    model: IfcModel, placements: Placements, segments: list[Element], found: Found
) -> None:
    """Bodies of segments: swept ones, and for want of these those of their faces."""
    lacking: dict[int, Element] = {}
    for element in segments:
        items = represented(element.entity)
        if len(element.ends) < 2:
            element.line = axis_line(placements, element.entity, items.get("Axis", []))
        elif len(element.ends) > 2:
            _part_taps(element)
        bodies = list(
            swept_bodies(model, placements, element.entity, items.get("Body", []))
        )
        if bodies:
            element.body = bodies[0]
        if len(bodies) > 1:
            element.body = _duct_among(bodies, element, found)
        if element.line is None and element.body is not None:
            element.line = element.body.line
        placed = len(element.ends) > 1 or element.line is not None
        if element.body is None and (element.section is None or not placed):
            lacking[element.entity.id()] = element
    for number, (vertices, faces) in make_shapes(model.path, list(lacking)).items():
        element = lacking[number]
        element.body = body_from_faces(
            vertices * model.geometry_factor, faces, _way(element), element.section
        )


def _way(element: Element) -> FloatArray | None:
    """Unit vector along an element as its ports or its axis say it; None if neither."""
    if len(element.ends) == 1 and element.line is None:
        return element.ends[0].outward
    if len(element.ends) == 2:
        way = element.ends[1].point - element.ends[0].point
    elif element.line is not None:
        way = element.line[-1] - element.line[0]
    else:
        return None
    length = math.sqrt(way @ way)
    return way / length if length > 0.0 else None


def _duct_among(bodies: list[Body], element: Element, found: Found) -> Body:
    """Of several bodies the one that reaches from end to end, of two the inner one.

    The others are flanges, insulation, hangers. Insulation may go on beyond the ends:
    without ports and an axis the innermost around one axis counts that reaches most of
    the way. Said where none is the duct for sure.
    """
    ends = np.stack([body.ends for body in bodies])
    if not np.isfinite(ends).all():
        return bodies[0]  # which is refused with its place
    span = None
    if len(element.ends) == 2:
        span = np.stack([end.point for end in element.ends])
    elif element.line is not None:
        span = element.line[[0, -1]]
    longest = int(np.argmax(np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1)))
    start, finish = ends[longest] if span is None else span
    length = float(np.linalg.norm(finish - start))
    along = (finish - start) / (length or 1.0)
    # A duct extruded upwards from its plan reaches as far as its plan does.
    half = np.array([body.sides / 2 @ np.abs(body.axes @ along) for body in bodies])
    at = (ends - start) @ along
    low, high = at.min(axis=1) - half, at.max(axis=1) + half
    reach = np.minimum(high, length) - np.maximum(low, 0.0) if length else high - low
    aside = ends.mean(axis=1) - start
    aside -= (aside @ along)[:, None] * along
    least = (1.0 - _SHORT) * reach.max()
    whole = np.flatnonzero(reach >= least)
    if span is None:
        apart = np.linalg.norm(aside - aside[longest], axis=1)
        around = (reach >= least) | ((reach >= _MOST * reach.max()) & (apart <= JOINS))
        whole = np.flatnonzero(around)
    else:
        centred = whole[np.linalg.norm(aside[whole], axis=1) <= JOINS]
        whole = centred if len(centred) else whole
    row = int(whole[np.argmin([np.prod(bodies[one].sides) for one in whole])])
    off = np.linalg.norm(aside[whole] - aside[row], axis=1).max()
    short = max(_SHORT * length, 2 * JOINS)
    if (
        off > JOINS
        or low[row] > min(low.min(), 0.0) + short
        or high[row] < max(high.max(), length) - short
    ):
        found.notices.append(
            warning(
                f"{found.file}, {element.words}",
                f"it has {len(bodies)} swept bodies, and none is plainly the duct from "
                "end to end; the longest was used, of several about one axis the "
                "innermost",
                "check its section and length, or export each duct as one body",
            )
        )
    return bodies[row]


def measure_segment(element: Element, found: Found) -> None:
    """Ends and section of a segment from its ports, its axis line and its body."""
    body, line = element.body, element.line
    as_placed = len(element.ends) > 1 or line is not None
    as_swept = body is not None and body.radius is None and line is None
    as_swept = as_swept and not element.ends
    if body is not None and body.line is not None:
        as_swept = True  # bent: how it goes does not follow from its ends
    if len(element.ends) < 2:
        if line is not None:
            ends, outward = (
                line[[0, -1]],
                np.stack([line[0] - line[1], line[-1] - line[-2]]),
            )
            outward = outward / np.linalg.norm(outward, axis=1)[:, None]
        elif body is not None:
            ends, outward = body.ends, body.outward
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
            (_nearest_port(ports, point) if ports else None) or End(point, way)
            for point, way in zip(ends, outward, strict=True)
        ]
    if element.fault is not None and (body is None or body.doubt):
        found.faults.append(element.fault)
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
    if (
        as_swept
        and element.section is None
        and body.shape == Shape.RECTANGULAR
        and not body.is_meshed
    ):
        length = math.dist(*body.ends.tolist())
        element.is_short = length < max(drawn.width, drawn.height)
    is_sure = not body.doubt
    if body.doubt and (element.section is None or not as_placed):
        element.doubt = body.doubt
    if element.section is None or is_sure:
        if element.section is not None and not alike(element.section, drawn):
            found.notices.append(
                warning(
                    f"{found.file}, {element.words}",
                    f"its body is {section_words(drawn)} and its {element.origin} "
                    f"say{'s' * ('name' in element.origin)} "
                    f"{section_words(element.section)}",
                    "the body was used; correct the one that is wrong",
                )
            )
        element.section, element.up = drawn, up
        element.origin = "its profile" if is_sure else ASSUMED_ORIGINS[body.is_meshed]


def say_doubts(elements: list[Element], found: Found) -> None:
    """Say what was assumed of bodies, of all of one kind at once."""
    alike_: dict[tuple[bool, str], list[Element]] = {}
    for element in elements:
        if element.doubt:
            meshed = element.body is not None and element.body.is_meshed
            alike_.setdefault((meshed, element.doubt), []).append(element)
    for (meshed, doubt), every in alike_.items():
        names = some([element.words for element in every], 3)
        why = "it has no swept body that is read, and " * meshed
        many = "of each of them: " if len(every) > 1 else ""
        found.notices.append(
            warning(
                f"{found.file}, {names}",
                f"{many}{why}{doubt}",
                "check it" + ", or export it as a swept solid" * meshed,
            )
        )

    short = [element for element in elements if element.is_short]
    if short:
        names = some([element.words for element in short], 3)
        found.notices.append(
            note(
                f"{found.file}, {names}",
                "without ports, and shorter than wide: the way of its sweep counts as "
                "its length",
                "give it ports if it goes another way, as where it is swept upwards "
                "from its plan",
            )
        )


def alike(one: Section, two: Section) -> bool:
    """Whether two sections are the same, whichever side is called the width."""
    if (one.shape == Shape.ROUND) != (two.shape == Shape.ROUND):
        return False
    sides = sorted((one.width, one.height)), sorted((two.width, two.height))
    return all(math.isclose(*pair, rel_tol=0.01) for pair in zip(*sides, strict=True))


def _nearest_port(ports: list[End], point: FloatArray) -> End | None:
    for port in ports:
        if np.linalg.norm(port.point - point) < JOINS:
            return port
    return None


def _part_taps(element: Element) -> None:
    """Of more than two ports, the two furthest apart are the ends."""
    points = np.array([end.point for end in element.ends])
    apart = np.linalg.norm(points[:, None] - points, axis=2)
    one, two = np.unravel_index(int(np.argmax(apart)), apart.shape)
    ends = [element.ends[one], element.ends[two]]
    element.taps = [end for end in element.ends if end not in ends]
    element.ends = ends


def ends_from_sweep(model: IfcModel, placements: Placements, element: Element) -> None:
    """Ends of a fitting without ports: those of its swept bodies that lie open."""
    items = represented(element.entity).get("Body", [])
    bodies = list(swept_bodies(model, placements, element.entity, items))[:_MOST_BODIES]
    if len(bodies) == 1:
        element.body = bodies[0]
    for number, body in enumerate(bodies):
        others = bodies[:number] + bodies[number + 1 :]
        for point, way in zip(body.ends, body.outward, strict=True):
            if not any(_closes(other, point) for other in others):
                element.ends.append(End(point, way))


def find_bend(model: IfcModel, placements: Placements, element: Element) -> None:
    """Give an elbow with ports its revolved body, which states the radius.

    Collars between the bend and the ports make the radius of the ports too large.
    """
    ways = [end.outward for end in element.ends]
    if (
        ways[0] is None
        or ways[1] is None
        or abs(cosine := ways[0] @ ways[1]) > _IN_LINE
    ):
        return
    items = represented(element.entity).get("Body", [])
    bends = [
        body
        for body in swept_bodies(model, placements, element.entity, items)
        if body.radius is not None
        and abs(body.outward[0] @ body.outward[1] - cosine) < 1.0 - _IN_LINE
    ]
    radii = [body.radius for body in bends if body.radius is not None]
    if radii and math.isclose(min(radii), max(radii), rel_tol=1e-3):
        element.body = bends[0]


def _closes(body: Body, point: FloatArray) -> bool:
    """Whether the end of another body lies at one of a body's ends, or inside it."""
    if np.linalg.norm(body.ends - point, axis=1).min() < IN_LINE:
        return True
    way = body.ends[1] - body.ends[0]
    share = float((point - body.ends[0]) @ way / ((way @ way) or 1.0))
    aside = np.abs(body.axes @ (point - body.ends[0] - share * way))
    return 0.01 < share < 0.99 and bool((aside < 0.55 * body.sides).all())
