"""Bodies of IFC elements: the axis that they were swept along, and the section."""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np

from .frames import is_plumb, level_frame, rotate
from .ifc_curves import curve_points
from .ifc_model import (
    UPWARDS,
    Entity,
    IfcModel,
    Placements,
    attribute,
    placed,
)
from .sections import FloatArray, Section, Shape

# Places of attributes, the same in every schema.
_OBJECT_PLACEMENT, _REPRESENTATION = 5, 6  # of IfcProduct
_REPRESENTATIONS = 2  # of IfcProductDefinitionShape
_IDENTIFIER, _ITEMS = 1, 3  # of IfcShapeRepresentation
_SWEPT_AREA, _POSITION, _EXTRUDED_DIRECTION, _DEPTH = range(4)  # IfcExtrudedAreaSolid
_ROUND_SHARE = np.pi / 4  # of the box around it that a circle fills
_NEAR = 0.01  # of a share
_LEVEL = float(np.cos(np.radians(1.0)))
STANDS_LEVEL = (0.0, 0.0, 1.0)


@dataclass(frozen=True, eq=False)
class Profile:
    """A closed outline in its own plane.

    Parameters
    ----------
    shape
        Round, rectangular or flat oval.
    sides
        Inside lengths along its own two axes, m, shape (2,).
    centre
        Middle of it, m, shape (2,).
    axes
        Its two axes in the plane, unit vectors as rows, shape (2, 2).
    """

    shape: Shape
    sides: FloatArray
    centre: FloatArray
    axes: FloatArray


@dataclass(frozen=True, eq=False)
class Body:
    """A duct-shaped body.

    Parameters
    ----------
    ends
        Middles of its two open ends, m, shape (2, 3).
    outward
        Unit vectors that look out of them, shape (2, 3).
    shape, sides
        Section, and its lengths along `axes`, m, shape (2,).
    axes
        Unit vectors of the section at the first end, shape (2, 3).
    radius
        Centreline radius if it is a bend, m; None if it is straight.
    is_meshed
        Whether it was found from a heap of faces by its principal axis.
    line
        Points of its centreline, m, shape (n, 3); None if that follows from the rest.
    """

    ends: FloatArray
    outward: FloatArray
    shape: Shape
    sides: FloatArray
    axes: FloatArray
    radius: float | None = None
    is_meshed: bool = False
    line: FloatArray | None = None


def represented(element: Entity) -> dict[str, list[Entity]]:
    """Items that represent a product, as the file has them: its 'Body', its 'Axis'."""
    out: dict[str, list[Entity]] = {}
    shape = element.get_argument(_REPRESENTATION)
    for one in shape.get_argument(_REPRESENTATIONS) if shape else ():
        kind = one.get_argument(_IDENTIFIER) or "Body"
        out.setdefault(kind, []).extend(one.get_argument(_ITEMS))
    return out


def swept_bodies(
    model: IfcModel, placements: Placements, element: Entity, items: list[Entity]
) -> Iterator[Body]:
    """Swept solids of an element, in world coordinates.

    Parameters
    ----------
    model, placements
        The file and its placements.
    element, items
        A product and what its body consists of.

    Returns
    -------
    bodies
        Each extruded, revolved or disk-swept solid whose profile is a round,
        rectangular or flat oval outline.
    """
    world = placements.world(element.get_argument(_OBJECT_PLACEMENT))
    if world is None:
        return
    for matrix, item in _opened(placements, items, world):
        body = None
        if item.is_a("IfcExtrudedAreaSolid"):
            body = _extruded(model, placements, item, matrix)
        elif item.is_a("IfcRevolvedAreaSolid"):
            body = _revolved(model, placements, item, matrix)
        elif item.is_a("IfcSweptDiskSolid"):
            body = _disk(model, placements, item, matrix)
        if body is not None:
            yield body


def axis_line(
    placements: Placements, element: Entity, items: list[Entity]
) -> FloatArray | None:
    """Points of the axis of an element, m, shape (n, 3); None if it has no axis."""
    world = placements.world(element.get_argument(_OBJECT_PLACEMENT)) if items else None
    if world is None:
        return None
    for matrix, item in _opened(placements, items, world):
        points = curve_points(placements, item)
        if points is not None and len(points) > 1:
            return points @ matrix[:3, :3].T + matrix[:3, 3]
    return None


def body_from_mesh(vertices: FloatArray) -> Body | None:
    """Duct that fills the box around a mesh, along the box's longest side.

    Parameters
    ----------
    vertices
        m, shape (n, 3).

    Returns
    -------
    body
        The duct, with the section that the mesh shows when looked at along it; None
        if the mesh is flat.
    """
    import shapely
    import trimesh.bounds

    bounds: Any = trimesh.bounds

    if np.ptp(vertices, axis=0).min() <= 0.0:
        return None
    to_box, sides = bounds.oriented_bounds(vertices)
    turned = np.linalg.inv(to_box)
    long = int(np.argmax(sides))
    if np.max(np.ptp(vertices, axis=0)) > 0.99 * sides[long]:
        # Along an axis of the model, and not by a rounding beside it.
        turned, long = np.eye(4), int(np.argmax(np.ptp(vertices, axis=0)))
    local = (vertices - turned[:3, 3]) @ turned[:3, :3]
    across = [side for side in range(3) if side != long]
    hull = shapely.MultiPoint(local[:, across]).convex_hull
    found = outline(np.array(hull.exterior.coords)[:-1])
    if found is None:
        low, high = local[:, across].min(axis=0), local[:, across].max(axis=0)
        found = Profile(Shape.RECTANGULAR, high - low, (low + high) / 2, np.eye(2))
    frame = turned[:3, :3].T
    middle = turned[:3, 3] + found.centre @ frame[across]
    reach = np.array([local[:, long].min(), local[:, long].max()])
    return Body(
        middle + reach[:, None] * frame[long],
        np.stack([-frame[long], frame[long]]),
        found.shape,
        found.sides,
        found.axes @ frame[across],
        is_meshed=True,
    )


def section_of(
    shape: Shape, sides: FloatArray, axes: FloatArray, along: FloatArray
) -> tuple[Section, tuple[float, float, float] | None]:
    """Section with its width level and its height upright.

    Parameters
    ----------
    shape, sides, axes
        The section, its lengths along its axes, m, and the axes, shape (2, 3).
    along
        Unit vector along the duct, shape (3,).

    Returns
    -------
    section, up
        The section, and the way its height looks: `STANDS_LEVEL` of any duct that lies
        level or slopes, so that it is not carried round from the duct before; None
        where nothing follows from it.
    """
    if shape == Shape.ROUND:
        return Section(shape, float(sides[0]), float(sides[0])), None
    plumb, upright = _upright(along.tobytes())
    tall = 1 if plumb or abs(axes[1, 2]) >= abs(axes[0, 2]) else 0
    section = Section(shape, float(sides[1 - tall]), float(sides[tall]))
    up = axes[tall] if axes[tall, 2] >= 0.0 else -axes[tall]
    if not plumb and abs(float(up @ upright)) > _LEVEL:
        return section, None if sides[0] == sides[1] else STANDS_LEVEL
    x, y, z = (round(float(part), 9) + 0.0 for part in up)
    return section, (x, y, z)


@lru_cache(maxsize=10_000)
def _upright(along: bytes) -> tuple[bool, FloatArray]:
    """Whether a direction is plumb, and the upright of a level section along it."""
    direction = np.frombuffer(along)[None]
    return bool(is_plumb(direction)[0]), level_frame(direction)[1][0]


# --- representations


def _opened(
    placements: Placements, items: list[Entity], world: FloatArray
) -> Iterator[tuple[FloatArray, Entity]]:
    """Matrix and item of each item of a representation; mapped items are opened."""
    heap = [(world, item, 0) for item in items]
    while heap:
        matrix, item, depth = heap.pop(0)
        if item.is_a("IfcSweptAreaSolid"):
            yield matrix, item
        elif item.is_a("IfcBooleanResult"):  # what was cut off does not turn the duct
            heap.append((matrix, item.FirstOperand, depth + 1))
        elif item.is_a("IfcMappedItem") and depth < 20:
            source = item.MappingSource
            inner = matrix @ placements.operator(item.MappingTarget)
            inner = inner @ np.linalg.inv(placements.axes(source.MappingOrigin))
            heap += [
                (inner, one, depth + 1) for one in source.MappedRepresentation.Items
            ]
        elif depth < 20:
            yield matrix, item


def _extruded(
    model: IfcModel, placements: Placements, item: Entity, matrix: FloatArray
) -> Body | None:
    profile = _profile(model, placements, item.get_argument(_SWEPT_AREA))
    if profile is None:
        return None
    own = placed(matrix, placements.axes(item.get_argument(_POSITION)))
    turn = own[:3, :3]
    along = placements.direction(item.get_argument(_EXTRUDED_DIRECTION), UPWARDS)
    way, outward = _swept(turn.tobytes(), along.tobytes())
    ends = np.empty((2, 3))
    ends[0] = own[:3, 3]
    if profile.centre.any():
        ends[0] += turn[:, :2] @ profile.centre
    ends[1] = ends[0] + way * (item.get_argument(_DEPTH) * model.metre)
    stretched, axes = _in_space(profile.axes.tobytes(), turn[:, :2].tobytes())
    return Body(ends, outward, profile.shape, profile.sides * stretched, axes)


@lru_cache(maxsize=10_000)  # ducts mostly go the same few ways
def _swept(turn: bytes, along: bytes) -> tuple[FloatArray, FloatArray]:
    """Way of a sweep in space, and the unit vectors that look out of its two ends."""
    way = np.frombuffer(turn).reshape(3, 3) @ np.frombuffer(along)
    out = way / math.sqrt(way @ way)  # mapped items may be scaled
    return way, np.stack([-out, out])


def _revolved(
    model: IfcModel, placements: Placements, item: Entity, matrix: FloatArray
) -> Body | None:
    profile = _profile(model, placements, item.SweptArea)
    if profile is None:
        return None
    own = matrix @ placements.axes(item.Position)
    turn = own[:3, :3] @ _ratios(item.Axis.Axis)
    turn /= np.sqrt(turn @ turn)
    if np.linalg.det(own[:3, :3]) < 0.0:
        turn = -turn  # mirrored, it turns the other way
    hub = own[:3, :3] @ placements.point(item.Axis.Location) + own[:3, 3]
    start = own[:3, :2] @ profile.centre + own[:3, 3]
    arm = start - hub
    arm -= (arm @ turn) * turn
    radius = float(np.sqrt(arm @ arm))
    if not radius > 0.0:
        return None
    angle = np.array([float(item.Angle) * placements.radian])
    end = start - arm + rotate(arm[None], turn[None], angle)[0]
    begin = np.cross(turn, arm) / radius  # the way in which the profile sets out
    finish = rotate(begin[None], turn[None], angle)[0]
    stretched, axes = _in_space(profile.axes.tobytes(), own[:3, :2].tobytes())
    return Body(
        np.stack([start, end]),
        np.stack([-begin, finish]),
        profile.shape,
        profile.sides * stretched,
        axes,
        radius,
    )


def _disk(
    model: IfcModel, placements: Placements, item: Entity, matrix: FloatArray
) -> Body | None:
    points = curve_points(placements, item.Directrix)
    radius = float(item.InnerRadius or item.Radius) * model.metre
    if points is None or not radius > 0.0:
        return None
    line = points @ matrix[:3, :3].T + matrix[:3, 3]
    line = line[np.append(True, (np.diff(line, axis=0) != 0.0).any(axis=1))]
    if len(line) < 2:
        return None
    ways = np.stack([line[0] - line[1], line[-1] - line[-2]])
    ways /= np.sqrt((ways**2).sum(axis=1))[:, None]
    across, upright = level_frame(ways[1:])
    return Body(
        line[[0, -1]],
        ways,
        Shape.ROUND,
        np.array([2 * radius, 2 * radius]),
        np.concatenate([across, upright]),
        line=line if len(line) > 2 else None,
    )


@lru_cache(maxsize=10_000)  # ducts of a profile mostly look the same few ways
def _in_space(axes: bytes, turn: bytes) -> tuple[FloatArray, FloatArray]:
    """Axes of a profile in space, and how much longer they get there."""
    turned = np.frombuffer(axes).reshape(2, 2) @ np.frombuffer(turn).reshape(3, 2).T
    length = np.sqrt((turned**2).sum(axis=1))
    return length, turned / length[:, None]


def _ratios(direction: Entity | None) -> FloatArray:
    return np.array((0.0, 0.0, 1.0) if direction is None else direction.DirectionRatios)


# --- profiles


def _profile(
    model: IfcModel, placements: Placements, profile: Entity
) -> Profile | None:
    """Inside outline of a profile, or None if it is no duct's; each made once."""
    number = profile.id()
    if number not in placements.profiles:
        placements.profiles[number] = _new_profile(model, placements, profile)
    found: Profile | None = placements.profiles[number]
    return found


def _new_profile(
    model: IfcModel, placements: Placements, profile: Entity
) -> Profile | None:
    kind, metre = profile.is_a(), model.metre
    if kind == "IfcDerivedProfileDef":
        inner = _profile(model, placements, profile.ParentProfile)
        if inner is None:
            return None
        matrix = placements.operator(profile.Operator)[:2, :]
        axes = inner.axes @ matrix[:, :2].T
        length = np.sqrt((axes**2).sum(axis=1))
        return Profile(
            inner.shape,
            inner.sides * length,
            matrix[:, :2] @ inner.centre + matrix[:, 3],
            axes / length[:, None],
        )
    if kind.startswith("IfcArbitrary"):
        curves = attribute(profile, "InnerCurves") or [profile.OuterCurve]
        points = curve_points(placements, curves[0])
        return None if points is None else outline(points[:, :2])
    # A wall's thickness is taken off both sides: the sizes of ducts are inside ones.
    wall = 2 * float(attribute(profile, "WallThickness") or 0.0)
    if profile.is_a("IfcCircleProfileDef"):
        shape, raw = Shape.ROUND, [2 * profile.Radius - wall] * 2
    elif profile.is_a("IfcRectangleProfileDef"):
        raw = [profile.XDim - wall, profile.YDim - wall]
        rounding = float(attribute(profile, "RoundingRadius") or 0.0)
        full = rounding > 0.49 * min(raw)
        shape = Shape.OVAL if full else Shape.RECTANGULAR
        if full and abs(raw[0] - raw[1]) < _NEAR * raw[0]:
            shape = Shape.ROUND
    else:
        return None
    sides = np.array(raw) * metre
    if not (sides > 0.0).all():
        return None
    own = placements.axes(profile.Position)
    return Profile(shape, sides, own[:2, 3], own[:2, :2].T)


def outline(points: FloatArray) -> Profile | None:
    """Rectangle, circle or flat oval that a closed outline is.

    Parameters
    ----------
    points
        Corners, m, shape (n, 2).

    Returns
    -------
    profile
        The figure of the same box and area, or None if it is none of the three.
    """
    import shapely

    polygon = shapely.Polygon(points if len(points) >= 3 else None)
    if not polygon.is_valid or not polygon.area > 0.0:
        return None
    corners = np.array(polygon.minimum_rotated_rectangle.exterior.coords)[:4]
    edges = np.diff(corners, axis=0)[:2]
    sides = np.sqrt((edges**2).sum(axis=1))
    centre = corners.mean(axis=0)
    axes = edges / sides[:, None]
    share = polygon.area / float(np.prod(sides))
    apart = np.sqrt(((points - centre) ** 2).sum(axis=1))
    short = float(sides.min())
    oval = 1.0 - short**2 * (1 - _ROUND_SHARE) / float(np.prod(sides))
    if abs(share - 1.0) < _NEAR:
        return Profile(Shape.RECTANGULAR, sides, centre, axes)
    if len(points) >= 8 and np.ptp(apart) < _NEAR * apart.max():
        return Profile(Shape.ROUND, np.full(2, 2 * apart.max()), centre, axes)
    if len(points) >= 10 and abs(share - oval) < 2 * _NEAR:
        return Profile(Shape.OVAL, sides, centre, axes)
    return None
