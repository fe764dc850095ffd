"""Curves of an IFC file as points: lines, conics, splines, and what they compose."""

import math

import numpy as np

from .ifc_model import Entity, Placements, attribute
from .sections import FloatArray

_CHORD = math.radians(7.5)  # of an arc between two of its points
_DEEPEST = 20  # curves within curves
_PER_SPAN = 12  # points of a spline from one knot to the next
_NO_TURN = 1e-6  # of an arc, rad: what is less is a whole turn, rounded
_SAME = 1e-6  # m: where one part of a curve ends and the next begins


def curve_points(
    placements: Placements, curve: Entity, depth: int = 0
) -> FloatArray | None:
    """Points of a curve, m, shape (n, 3), or None for a curve of another kind.

    An arc has a point every 7.5 degrees or less; a circle or an ellipse is gone round
    once. Source: ISO 16739, from memory.
    """
    if curve.is_a("IfcPolyline"):
        return np.array([placements.point(point) for point in curve.Points])
    if curve.is_a("IfcIndexedPolyCurve"):
        return _indexed(curve) * placements.metre
    if curve.is_a("IfcTrimmedCurve"):
        return _trimmed(placements, curve)
    if curve.is_a("IfcConic"):
        axes = _radii(placements, curve)
        return None if axes is None else _arc(*axes, 2 * math.pi)
    if curve.is_a("IfcBSplineCurve"):
        return _spline(placements, curve)
    if curve.is_a("IfcCompositeCurve") and depth < _DEEPEST:
        parts = []
        for segment in curve.Segments:
            if not segment.is_a("IfcCompositeCurveSegment"):
                return None
            part = curve_points(placements, segment.ParentCurve, depth + 1)
            if part is None:
                return None
            parts.append(part if segment.SameSense else part[::-1])
        return _joined(parts)
    return None


def _joined(parts: list[FloatArray]) -> FloatArray:
    """Parts one after the other, the point between two of them once."""
    out = parts[:1]
    for part in parts[1:]:
        meets = np.abs(out[-1][-1] - part[0]).max() < _SAME
        out.append(part[1:] if meets else part)
    return np.concatenate(out)


def _indexed(curve: Entity) -> FloatArray:
    raw = np.array(curve.Points.CoordList, dtype=np.float64)
    points = np.zeros((len(raw), 3))
    points[:, : raw.shape[1]] = raw
    if not curve.Segments:
        return points
    parts = []
    for segment in curve.Segments:
        part = points[np.array(segment.wrappedValue) - 1]
        parts.append(_through(*part) if segment.is_a("IfcArcIndex") else part)
    return _joined(parts)


def _through(begin: FloatArray, middle: FloatArray, end: FloatArray) -> FloatArray:
    """Arc through three points; the three where they lie in line."""
    a, b = begin - middle, end - middle
    normal = np.cross(a, b)
    square = float(normal @ normal)
    if square <= 1e-18 * float((a @ a) * (b @ b)):
        return np.stack([begin, middle, end])
    centre = middle + np.cross((a @ a) * b - (b @ b) * a, normal) / (2 * square)
    x = begin - centre
    y = np.cross(x, normal / math.sqrt(square))  # the way that leads by the middle
    to_end = end - centre
    return _arc(centre, x, y, math.atan2(to_end @ y, to_end @ x) % (2 * math.pi))


def _arc(
    centre: FloatArray, x: FloatArray, y: FloatArray, sweep: float, start: float = 0.0
) -> FloatArray:
    """Points of an arc, of which `x` and `y` are two radii square to each other."""
    count = max(2, math.ceil(abs(sweep) / _CHORD) + 1)
    angle = start + np.linspace(0.0, sweep, count)[:, None]
    return np.asarray(centre + np.cos(angle) * x + np.sin(angle) * y)


def _trimmed(placements: Placements, curve: Entity) -> FloatArray | None:
    basis = curve.BasisCurve
    if basis.is_a("IfcLine"):
        origin, way = line_of(placements, basis)
        ends = []
        for trim in (curve.Trim1, curve.Trim2):
            value, point = _trim(placements, trim)
            ends.append(origin + way * value if point is None else point)
        return np.stack(ends)
    axes = _radii(placements, basis)
    if axes is None:
        return None
    centre, x, y = axes
    angles = []
    for trim in (curve.Trim1, curve.Trim2):
        value, point = _trim(placements, trim)
        if point is None:
            angles.append(placements.angle(value))
        else:
            arm = point - centre
            angles.append(math.atan2(arm @ y / (y @ y), arm @ x / (x @ x)))
    start, sense = angles[0], 1.0 if curve.SenseAgreement else -1.0
    sweep = sense * (angles[1] - start) % (2 * math.pi)
    if min(sweep, 2 * math.pi - sweep) < _NO_TURN:  # it ends where it begins
        sweep = 2 * math.pi
    return _arc(centre, x, y, sense * sweep, start)


def line_of(placements: Placements, line: Entity) -> tuple[FloatArray, FloatArray]:
    """Where an endless line begins and how far one of its parameter leads, m."""
    way = placements.direction(line.Dir.Orientation, np.array([1.0, 0.0, 0.0]))
    way = way * (line.Dir.Magnitude * placements.metre)
    return placements.point(line.Pnt), way


def _radii(
    placements: Placements, conic: Entity
) -> tuple[FloatArray, FloatArray, FloatArray] | None:
    """Centre of a circle or an ellipse and two radii square to each other, m."""
    place = placements.axes(conic.Position)
    if conic.is_a("IfcCircle"):
        sizes = [conic.Radius, conic.Radius]
    elif conic.is_a("IfcEllipse"):
        sizes = [conic.SemiAxis1, conic.SemiAxis2]
    else:
        return None
    x, y = (place[:3, axis] * sizes[axis] * placements.metre for axis in (0, 1))
    return place[:3, 3], x, y


def _spline(placements: Placements, curve: Entity) -> FloatArray | None:
    """Points of a B-spline, rational or not; None if it states no knots."""
    from scipy.interpolate import BSpline

    if not curve.is_a("IfcBSplineCurveWithKnots"):
        return None
    poles = np.array([placements.point(point) for point in curve.ControlPointsList])
    weights = np.array(attribute(curve, "WeightsData") or [1.0] * len(poles))
    knots = np.repeat(curve.Knots, curve.KnotMultiplicities)
    whole = np.column_stack([poles * weights[:, None], weights])
    spans = np.unique(knots[curve.Degree : len(poles) + 1])
    at = np.linspace(spans[:-1], spans[1:], _PER_SPAN, endpoint=False).T.ravel()
    points = BSpline(knots, whole, curve.Degree)(np.append(at, spans[-1]))
    return np.asarray(points[:, :3] / points[:, 3:])


def _trim(
    placements: Placements, trim: tuple[Entity, ...]
) -> tuple[float, FloatArray | None]:
    """Parameter and point, if there is one, of an end of a trimmed curve."""
    value, point = 0.0, None
    for one in trim:
        if one.is_a("IfcCartesianPoint"):
            point = placements.point(one)
        else:
            value = float(one.wrappedValue)
    return value, point
