"""Bodies of IFC elements: the axis that they were swept along, and the section.

What is only faces is in `ifc_faces`.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from .frames import is_plumb, level_frame, rotate
from .ifc_curves import curve_points, line_of
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
_ASIDE = 0.01  # m: bodies whose axes stand this far apart are not within each other
_DEEPEST = 100  # boolean results of boolean results
_CUT = "a part is cut off it that is not read: it counts as whole"
_TAPERED = "its section changes along it, and that at its start was taken"
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
    doubt
        What was assumed of it, in words; empty if nothing was.
    """

    shape: Shape
    sides: FloatArray
    centre: FloatArray
    axes: FloatArray
    doubt: str = ""


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
        Whether it was found from a heap of faces.
    line
        Points of its centreline, m, shape (n, 3); None if that follows from the rest.
    doubt
        What was assumed of it, in words; empty if nothing was.
    """

    ends: FloatArray
    outward: FloatArray
    shape: Shape
    sides: FloatArray
    axes: FloatArray
    radius: float | None = None
    is_meshed: bool = False
    line: FloatArray | None = None
    doubt: str = ""


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
        if item.is_a("IfcExtrudedAreaSolid"):  # most are
            body = _extruded(model, placements, item, matrix)
            if body is not None:
                yield body
        else:
            yield from _solid(model, placements, item, matrix)


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
        elif item.is_a("IfcMappedItem") and depth < 20:
            source = item.MappingSource
            inner = matrix @ placements.operator(item.MappingTarget)
            inner = inner @ np.linalg.inv(placements.axes(source.MappingOrigin))
            heap += [
                (inner, one, depth + 1) for one in source.MappedRepresentation.Items
            ]
        elif depth < 20:
            yield matrix, item


def _solid(
    model: IfcModel,
    placements: Placements,
    item: Entity,
    matrix: FloatArray,
    depth: int = 0,
) -> Iterator[Body]:
    """Bodies of a solid: one if it is swept, none or more if it is a boolean result."""
    body = None
    if item.is_a("IfcExtrudedAreaSolid"):
        body = _extruded(model, placements, item, matrix)
    elif item.is_a("IfcRevolvedAreaSolid"):
        body = _revolved(model, placements, item, matrix)
    elif item.is_a("IfcSweptDiskSolid"):
        body = _disk(model, placements, item, matrix)
    elif item.is_a("IfcBooleanResult") and depth < _DEEPEST:
        yield from _combined(model, placements, item, matrix, depth)
    elif item.is_a("IfcCsgPrimitive3D"):
        body = _primitive(placements, item, matrix)
    elif item.is_a("IfcCsgSolid"):
        yield from _solid(model, placements, item.TreeRootExpression, matrix, depth)
    if body is not None:
        yield body


def _primitive(placements: Placements, item: Entity, matrix: FloatArray) -> Body | None:
    """A cylinder or a block along its own Z; None for what is no duct."""
    own, metre = matrix @ placements.axes(item.Position), placements.metre
    if item.is_a("IfcRightCircularCylinder"):
        shape, across, depth = Shape.ROUND, [2 * item.Radius] * 2, item.Height
        corner = [0.0, 0.0]
    elif item.is_a("IfcBlock"):
        shape, across, depth = (
            Shape.RECTANGULAR,
            [item.XLength, item.YLength],
            item.ZLength,
        )
        corner = [item.XLength / 2, item.YLength / 2]
    else:
        return None
    low = own[:3, 3] + own[:3, :2] @ np.array(corner) * metre
    way = own[:3, 2] * depth * metre
    stretched, axes = _in_space(np.eye(2).tobytes(), own[:3, :2].tobytes())
    out = way / math.sqrt(way @ way)
    sides = np.array(across) * metre * stretched
    return Body(np.stack([low, low + way]), np.stack([-out, out]), shape, sides, axes)


def _combined(
    model: IfcModel,
    placements: Placements,
    item: Entity,
    matrix: FloatArray,
    depth: int,
) -> Iterator[Body]:
    """Bodies of a union, and of one body what is cut off or hollowed out of it."""
    first, second = (
        list(_solid(model, placements, operand, matrix, depth + 1))
        for operand in (item.FirstOperand, item.SecondOperand)
    )
    if item.Operator == "UNION":
        yield from (*first, *second)
        return
    for body in first:
        if item.Operator == "DIFFERENCE" and item.SecondOperand.is_a(
            "IfcHalfSpaceSolid"
        ):
            yield _halved(placements, body, item.SecondOperand, matrix)
        elif item.Operator == "DIFFERENCE" and len(second) == 1:
            yield _less(body, second[0])
        else:
            yield replace(body, doubt=_CUT)


def _halved(
    placements: Placements, body: Body, half: Entity, matrix: FloatArray
) -> Body:
    """A body without what lies on one side of a plane."""
    plane = half.BaseSurface
    if (
        half.is_a("IfcPolygonalBoundedHalfSpace")
        or not plane.is_a("IfcPlane")
        or body.radius is not None
        or body.line is not None
    ):
        return replace(body, doubt=_CUT)
    own = matrix @ placements.axes(plane.Position)
    # The normal looks away from what the half space fills, or into it.
    above = (
        (body.ends - own[:3, 3]) @ own[:3, 2] * (1.0 if half.AgreementFlag else -1.0)
    )
    out = np.flatnonzero(above < 0.0)
    if len(out) == 0:
        return body
    if len(out) == 2:
        return replace(body, doubt=_CUT)
    share = above[out[0]] / (above[out[0]] - above[1 - out[0]])
    ends = body.ends.copy()
    ends[out[0]] += share * (ends[1 - out[0]] - ends[out[0]])
    return replace(body, ends=ends)


def _less(body: Body, other: Body) -> Body:
    """A body hollowed out by another along its axis; a hole in its side is nothing."""
    if body.radius != other.radius and not (
        body.radius and other.radius and math.isclose(body.radius, other.radius)
    ):
        return replace(body, doubt=_CUT)
    way = body.outward[1]
    length = float(np.linalg.norm(body.ends[1] - body.ends[0]))
    gaps = np.linalg.norm(body.ends[:, None] - other.ends, axis=2)
    hollows = body.radius is not None and min(np.trace(gaps), np.trace(gaps[::-1])) < (
        2 * _ASIDE
    )
    if body.radius is None:
        from_axis = other.ends - body.ends[0]
        at = from_axis @ way
        aside = np.linalg.norm(from_axis - at[:, None] * way, axis=1).max()
        hollows = aside < _ASIDE and at.min() < _ASIDE and at.max() > length - _ASIDE
    if hollows and (np.sort(other.sides) < np.sort(body.sides)).all():
        return replace(
            body, shape=other.shape, sides=other.sides, axes=other.axes,
            doubt=other.doubt,
        )  # fmt: skip
    # Does it take an end away, or the air's way?
    along = other.outward[1]
    from_other = body.ends - other.ends[0]
    deep = from_other @ along
    reach = float(np.linalg.norm(other.ends[1] - other.ends[0]))
    across = np.abs((from_other - deep[:, None] * along) @ other.axes.T)
    inside = (across < other.sides / 2).all(axis=1)
    inside &= (deep > -_ASIDE) & (deep < reach + _ASIDE)
    return replace(body, doubt=_CUT) if inside.any() else body


def _extruded(
    model: IfcModel, placements: Placements, item: Entity, matrix: FloatArray
) -> Body | None:
    profile = _profile(model, placements, item.get_argument(_SWEPT_AREA))
    if profile is None:
        return None
    own = placed(matrix, placements.axes(item.get_argument(_POSITION)))
    turn = own[:3, :3]
    along = placements.direction(item.get_argument(_EXTRUDED_DIRECTION), UPWARDS)
    way, outward, is_oblique = _swept(turn.tobytes(), along.tobytes())
    ends = np.empty((2, 3))
    ends[0] = own[:3, 3]
    if profile.centre.any():
        ends[0] += turn[:, :2] @ profile.centre
    ends[1] = ends[0] + way * (item.get_argument(_DEPTH) * model.metre)
    stretched, axes = _in_space(profile.axes.tobytes(), turn[:, :2].tobytes())
    sides, doubt = profile.sides * stretched, profile.doubt
    if is_oblique:  # square to its way a section is narrower than its profile
        lean = axes @ outward[1]
        flat = profile.shape == Shape.ROUND  # an ellipse: the circle of its area
        sides = sides * (
            (1.0 - lean @ lean) ** 0.25 if flat else np.sqrt(1.0 - lean**2)
        )
        axes = axes - lean[:, None] * outward[1]
        axes /= np.linalg.norm(axes, axis=1)[:, None]
        doubt = doubt or "it is swept aslant, and its section is that square to its way"
    if item.is_a() != "IfcExtrudedAreaSolid":
        doubt = _TAPERED
    return Body(ends, outward, profile.shape, sides, axes, doubt=doubt)


@lru_cache(maxsize=10_000)  # ducts mostly go the same few ways
def _swept(turn: bytes, along: bytes) -> tuple[FloatArray, FloatArray, bool]:
    """Way of a sweep in space, the unit vectors that look out of its two ends.

    And whether it goes aslant to its profile.
    """
    turned = np.frombuffer(turn).reshape(3, 3)
    way = turned @ np.frombuffer(along)
    out = way / math.sqrt(way @ way)  # mapped items may be scaled
    square = np.cross(turned[:, 0], turned[:, 1])
    upright = abs(float(out @ square)) / math.sqrt(square @ square)
    return way, np.stack([-out, out]), upright < _LEVEL


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
    angle = np.array([placements.angle(item.Angle)])
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
        doubt=profile.doubt if item.is_a() == "IfcRevolvedAreaSolid" else _TAPERED,
    )


def _disk(
    model: IfcModel, placements: Placements, item: Entity, matrix: FloatArray
) -> Body | None:
    points, doubt = _directrix(placements, item)
    radius = float(item.InnerRadius or item.Radius) * model.metre
    if points is None or not radius > 0.0:
        return None
    radius *= float(np.cbrt(abs(np.linalg.det(matrix[:3, :3]))))  # scaled when mapped
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
        doubt=doubt,
    )


def _directrix(placements: Placements, item: Entity) -> tuple[FloatArray | None, str]:
    """Points of the curve that a disk is swept along, and what was assumed of it."""
    curve, limits = item.Directrix, (item.StartParam, item.EndParam)
    if curve.is_a("IfcLine") and None not in limits:
        origin, way = line_of(placements, curve)
        return origin + np.array(limits)[:, None] * way, ""
    points = curve_points(placements, curve)
    # Trimmed once more; the whole of a polyline goes from 0 to its number of pieces.
    if points is None or limits in ((None, None), (0.0, len(points) - 1.0)):
        return points, ""
    return (
        points,
        "its StartParam and EndParam were left out: it is as long as its curve",
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
            inner.doubt,
        )
    if kind.startswith("IfcArbitrary"):
        if attribute(profile, "OuterCurve") is None:
            return None  # open: a plate and no duct
        curves = attribute(profile, "InnerCurves") or [profile.OuterCurve]
        lines = [curve_points(placements, curve) for curve in curves]
        known = [outline(points[:, :2]) for points in lines if points is not None]
        found = [one for one in known if one is not None]
        if len(found) < len(curves):
            return None
        largest = max(found, key=lambda one: float(np.prod(one.sides)))
        if len(found) == 1:
            return largest
        return replace(
            largest,
            doubt=f"its profile has {len(found)} openings, and the largest was taken",
        )
    if kind == "IfcCompositeProfileDef":
        parts = [_profile(model, placements, one) for one in profile.Profiles]
        inner = min(
            (part for part in parts if part is not None),
            key=lambda part: float(np.prod(part.sides)),
            default=None,
        )
        words = f"its profile has {len(parts)} parts, and the smallest was taken"
        return None if inner is None else replace(inner, doubt=words)
    if kind == "IfcEllipseProfileDef":
        sides = placements.metre * np.array([profile.SemiAxis1, profile.SemiAxis2])
        turns = np.radians(np.arange(0.0, 360.0, 5.0))[:, None]
        own = placements.axes(profile.Position)
        points = np.hstack([np.cos(turns), np.sin(turns)]) * sides
        return outline(points @ own[:2, :2].T + own[:2, 3])
    # A wall's thickness is taken off both sides: the sizes of ducts are inside ones.
    wall, doubt = 2 * float(attribute(profile, "WallThickness") or 0.0), ""
    if profile.is_a("IfcCircleProfileDef"):
        shape, raw = Shape.ROUND, [2 * profile.Radius - wall] * 2
    elif profile.is_a("IfcRectangleProfileDef"):
        raw = [profile.XDim - wall, profile.YDim - wall]
        name = "InnerFilletRadius" if wall else "RoundingRadius"
        rounding = float(attribute(profile, name) or 0.0)
        full = rounding > 0.49 * min(raw)
        shape = Shape.OVAL if full else Shape.RECTANGULAR
        if full and abs(raw[0] - raw[1]) < _NEAR * raw[0]:
            shape = Shape.ROUND
        elif not full and rounding**2 * (4 - np.pi) > _NEAR * raw[0] * raw[1]:
            doubt = _no_figure(shape)
    else:
        return None
    sides = np.array(raw) * metre
    if not (sides > 0.0).all():
        return None
    own = placements.axes(profile.Position)
    return Profile(shape, sides, own[:2, 3], own[:2, :2].T, doubt)


def outline(points: FloatArray) -> Profile | None:
    """Rectangle, circle or flat oval that a closed outline is.

    Parameters
    ----------
    points
        Corners, m, shape (n, 2).

    Returns
    -------
    profile
        The figure of the same box and area; where it is none of the three, the nearest
        around it, which its doubt says; None if it crosses itself.
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
    nearest = Shape.RECTANGULAR
    if len(points) >= 10 and abs(share - oval) < abs(share - 1.0):
        nearest = Shape.OVAL
    return Profile(nearest, sides, centre, axes, _no_figure(nearest))


def _no_figure(nearest: Shape) -> str:
    word = "flat oval" if nearest == Shape.OVAL else "rectangle"
    return (
        "its section is no rectangle, circle or flat oval, and the "
        f"{word} around it was taken"
    )
