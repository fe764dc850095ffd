"""The centrelines of an IFC model's elements, joined at their ports or by position."""

import heapq
import math
from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np

from .collected import Found
from .faults import note, warning
from .ifc_elements import FLEXIBLE_SEGMENT, IN_LINE, JOINS, Element, End, alike
from .ifc_kernel import make_shapes
from .ifc_model import IfcModel
from .quantity_words import counted, length_words
from .sections import FloatArray, Section
from .snap import snap

STRAIGHT = math.cos(math.radians(1.0))
_TOUCHES = 0.02  # m: how far a fitting's faces may be from the end that it takes


@dataclass
class Edge:
    """One straight piece of centreline between two spots."""

    spots: tuple[int, int]
    element: Element
    section: Section | None
    up: tuple[float, float, float] | None
    origin: str
    made: str  # predefined type of its duct; of a fitting that of the nearest
    radius: float | None = None
    is_transition: bool = False

    @property
    def is_flexible(self) -> bool:
        """Whether it is a piece of flexible duct."""
        return self.made == FLEXIBLE_SEGMENT

    def far(self, spot: int) -> int:
        """The spot at its other end."""
        return self.spots[0] if self.spots[1] == spot else self.spots[1]


@dataclass
class Network:
    """Spots and the pieces between them."""

    points: list[FloatArray] = field(default_factory=list)
    edges: list[Edge] = field(default_factory=list)

    def spot(self, point: FloatArray) -> int:
        """A new spot at a point."""
        self.points.append(point)
        return len(self.points) - 1

    def at(self) -> dict[int, list[Edge]]:
        """Pieces that meet at each spot."""
        out: dict[int, list[Edge]] = {}
        for edge in self.edges:
            for spot in edge.spots:
                out.setdefault(spot, []).append(edge)
        return out

    def away(self, edge: Edge, spot: int) -> FloatArray:
        """Unit vector along a piece, away from one of its spots."""
        way = self.points[edge.far(spot)] - self.points[spot]
        return np.asarray(way / (np.sqrt(way @ way) or 1.0))

    def across(self, one: Edge, two: Edge, spot: int) -> bool:
        """Whether two pieces that meet at a spot lie in line."""
        return float(self.away(one, spot) @ self.away(two, spot)) < -STRAIGHT


def join(
    model: IfcModel, elements: list[Element], network: Network, found: Found
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
    if gaps > JOINS:
        found.notices.append(
            warning(
                found.file,
                f"ports that the file joins stand up to {length_words(gaps)} apart",
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
    places, spot, _ = snap(np.array([end.point for _, end in loose]), JOINS)
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
                f"within {length_words(JOINS)}, as no ports are connected there",
                "connect the ports in the model if a joint is not meant",
            )
        )


def take_near_ends(
    model: IfcModel, elements: list[Element], network: Network, found: Found
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
            element.ends.append(End(end.point, way, spot=end.spot))
            taken += 1
    if taken:
        found.notices.append(
            warning(
                found.file,
                f"{counted(taken, 'duct end')} met portless fittings or "
                "terminals at their faces and were joined to them",
                "give the fittings ports to be sure",
            )
        )


def pieces_of(element: Element, network: Network, found: Found) -> Iterator[Edge]:
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
    own = element.section, element.up, element.origin, element.made
    if element.kind in ("source", "device"):
        if element.kind == "source":
            return  # the network begins at it
        found.notices.append(
            warning(
                f"{found.file}, {element.words}",
                "it stands in the duct, and its own loss is not in the file",
                "declare it in the schedule under [[component]]",
            )
        )
    if element.kind == "segment":
        yield from _segment_pieces(element, network)
        return
    corner, radius, straight = _meeting(element)
    if straight:
        yield Edge((ends[0].spot, ends[1].spot), element, *own)
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
        yield Edge((end.spot, middle), element, *own, radius)


def _segment_pieces(element: Element, network: Network) -> Iterator[Edge]:
    own = element.section, element.up, element.origin, element.made
    one, two = element.ends
    body = element.body
    if body is not None and body.radius is not None:
        corner, radius, straight = _meeting(element)
        if corner is not None and not straight:
            middle = network.spot(corner)
            yield Edge((one.spot, middle), element, *own, radius)
            yield Edge((middle, two.spot), element, *own, radius)
            return
    if element.line is None and not element.taps:
        yield Edge((one.spot, two.spot), element, *own)
        return
    line = _centreline(element, network.points[one.spot], network.points[two.spot])
    corners = range(1, len(line) - 1)
    between = [(float(corner), line[corner], -1) for corner in corners]
    for number, tap in enumerate(element.taps):
        between.append((*_foot(line, tap.point), number))
    at = [one.spot]
    for _, point, number in sorted(between, key=lambda stop: stop[0]):
        at.append(network.spot(point))
        if number < 0:
            continue
        tap = element.taps[number]
        if np.linalg.norm(tap.point - point) > IN_LINE:
            yield Edge((at[-1], tap.spot), element, None, None, "", "")
    at.append(two.spot)
    for a, b in pairwise(at):
        yield Edge((a, b), element, *own)


def _centreline(element: Element, begin: FloatArray, finish: FloatArray) -> FloatArray:
    """Points of a segment from one end to the other, by its line if it has one."""
    line = element.line if element.line is not None else np.zeros((0, 3))
    if len(line) and np.linalg.norm(line[0] - begin) > np.linalg.norm(line[-1] - begin):
        line = line[::-1]
    return np.concatenate([begin[None], line[1:-1], finish[None]])


def _foot(line: FloatArray, point: FloatArray) -> tuple[float, FloatArray]:
    """Nearest to a point on a line: number of the segment and share; the place."""
    way = np.diff(line, axis=0)
    square = np.maximum((way**2).sum(axis=1), 1e-30)
    share = ((point - line[:-1]) * way).sum(axis=1) / square
    share = np.minimum(np.maximum(share, 0.0), 1.0)
    feet = line[:-1] + share[:, None] * way
    nearest = int(np.argmin(np.linalg.norm(feet - point, axis=1)))
    return nearest + float(share[nearest]), feet[nearest]


def _meeting(element: Element) -> tuple[FloatArray | None, float | None, bool]:
    """Where the axes of an element's ends meet; radius of a bend; whether straight."""
    ends = element.ends
    points = np.array([end.point for end in ends])
    ways = [end.outward for end in ends]
    if any(way is None for way in ways):
        return None, None, False
    outward = np.array(ways)
    if len(ends) == 2:
        cosine = float(outward[0] @ outward[1])
        if cosine < -STRAIGHT:
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
    if apart > max(IN_LINE, 0.05 * np.linalg.norm(np.ptp(points, axis=0))):
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


def fill_sections(network: Network) -> None:
    """Give pieces of fittings the section of the nearest duct, and how that is made.

    A duct at the end counts before the leg across the same fitting, and that before
    the fitting next to it. A bend is flexible only between two flexible ducts.
    """
    at = network.at()
    for edge in network.edges:
        if edge.element.kind != "segment":
            edge.section, edge.up, edge.origin = None, None, ""
    known = [(0, row) for row, e in enumerate(network.edges) if e.section is not None]
    rows = {id(edge): row for row, edge in enumerate(network.edges)}
    heap = [(cost, network.edges[row].is_flexible, row, row) for cost, row in known]
    heapq.heapify(heap)
    while heap:
        cost, _, row, giver = heapq.heappop(heap)
        edge = network.edges[row]
        if edge.section is None:
            given = network.edges[giver]
            edge.section, edge.up = given.section, given.up
            edge.made = edge.made or given.made
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
                to = rows[id(other)]
                heapq.heappush(heap, (cost + more, edge.is_flexible, to, row))
    for edge in network.edges:
        if edge.is_flexible and len(edge.element.ends) == 2:
            for other in (o for spot in edge.spots for o in at[spot]):
                if other.element is edge.element and not other.is_flexible:
                    edge.made = other.made


def mark_transitions(network: Network) -> None:
    """Mark straight two-ended fittings between two sections."""
    at = network.at()
    for edge in network.edges:
        if edge.element.kind != "fitting" or len(edge.element.ends) != 2:
            continue
        met = [other for spot in edge.spots for other in at[spot] if other is not edge]
        sections = [other.section for other in met if other.section is not None]
        straight = all(other.element is not edge.element for other in met)
        if straight and len(sections) == 2 and not alike(*sections):
            edge.is_transition = True
