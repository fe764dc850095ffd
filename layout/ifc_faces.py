"""Ducts that an IFC file draws as faces: their axis, and the section inside them."""

import math
from typing import Any

import numpy as np

from .ifc_bodies import Body, Profile, outline
from .sections import FloatArray, IntArray, Section, Shape

_ALONG = 0.02  # sine of the angle between a wall and the way along it
_END = 1e-4  # of the length: how far from an end what closes it may stand
_PRISM = 0.9  # share of the faces that are walls along a way or close its ends
_ALIKE = 0.05  # shares of what is closed that differ by less are alike
_LARGEST = 12  # faces whose normals may be the axis
_OFF_MIDDLE = 0.0137  # of the length: few corners stand where it is cut
_GRID = 1e-6  # m: corners of a cut that stand nearer are one
_SAME = 0.01  # of a side
_ALL = 0.999  # of the faces: what counts as each of them


def body_from_faces(
    vertices: FloatArray,
    faces: IntArray,
    along: FloatArray | None,
    section: Section | None,
) -> Body | None:
    """Duct that a mesh draws.

    It is cut across, half-way: what the cut has around its middle is the section, so
    that of a hollow duct it is the inside.

    Parameters
    ----------
    vertices, faces
        m, shape (n, 3), and triangles, shape (m, 3).
    along
        Unit vector along the duct, if its ports say it. Else its axis is the way along
        which the section stays the same; of several the one that is open at its ends,
        or that `section` is square to, or the longest.
    section
        Its section, if that is known otherwise.

    Returns
    -------
    body
        The duct, and in its doubt what was assumed; None if the mesh is flat.
    """
    if len(faces) == 0 or np.ptp(vertices, axis=0).min() <= 0.0:
        return None
    origin = vertices.mean(axis=0)
    vertices = vertices - origin
    normals, areas = _normals(vertices[faces])
    if along is not None:
        way = along
        is_even = _fit(vertices, faces, normals, areas, way)[0] >= _PRISM
        doubt = "its section was taken from its faces"
    else:
        way, is_even, by_length = _axis(vertices, faces, normals, areas, section)
        how = "taken from its faces"
        if by_length:
            how = "assumed along the longest side of its faces"
        elif is_even:
            how += ", along the one way in which that stays the same"
        doubt = f"its centreline and section were {how}"
    frame = _frame(way)
    local = vertices @ frame.T
    found, is_inside, length = _section(local, faces)
    if is_even:
        doubt += ", from inside" if is_inside else ", from outside"
    else:
        doubt += (
            ", cut half-way, as if it were straight and of one section, which it is not"
        )
    if found.doubt:
        doubt += f"; {found.doubt}"
    middle = origin + found.centre @ frame[:2]
    return Body(
        middle + length[:, None] * way,
        np.stack([-way, way]),
        found.shape,
        found.sides,
        found.axes @ frame[:2],
        is_meshed=True,
        doubt=doubt,
    )


def _normals(corners: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Unit normals of triangles, zero where there is none, and their areas."""
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    size = np.linalg.norm(normals, axis=1)
    return normals / np.where(size > 0.0, size, 1.0)[:, None], size / 2


def _axis(
    vertices: FloatArray,
    faces: IntArray,
    normals: FloatArray,
    areas: FloatArray,
    section: Section | None,
) -> tuple[FloatArray, bool, bool]:
    """Way along a duct; whether its section stays the same; whether length decided."""
    # The walls of a prism are square to its axis and its ends lie across: the axis is
    # an eigenvector of the areas, or, where these are alike, the normal of an end.
    spread = np.einsum("n,ni,nj->ij", areas, normals, normals)
    rows = np.argsort(areas)[::-1]
    largest: list[FloatArray] = []
    for row in [*np.linalg.eigh(spread)[1].T, *normals[rows[: 50 * _LARGEST]]]:
        if not np.any(row) or len(largest) > _LARGEST:
            continue
        if all(abs(float(row @ other)) < 1.0 - 1e-6 for other in largest):
            largest.append(_plain(row))
    fits = [_fit(vertices, faces, normals, areas, way) for way in largest]
    open_ = min((closed for share, closed in fits if share >= _PRISM), default=None)
    if open_ is None:
        # Collars stand across a duct: only a round one's axis is square to all of it.
        square = [
            way
            for way, lean in zip(
                largest, np.abs(np.array(largest) @ normals.T), strict=True
            )
            if areas[(lean < _ALONG) | (lean > 1.0 - _ALONG)].sum() > _ALL * areas.sum()
        ]
        if len(square) == 1:
            return square[0], False, False
        return _longest(vertices), False, True
    ways = [
        way
        for way, (share, closed) in zip(largest, fits, strict=True)
        if share >= _PRISM and closed <= open_ + _ALIKE
    ]
    if len(ways) == 1:
        return ways[0], True, False
    if section is not None:
        fitting = [way for way in ways if _has(vertices, faces, way, section)]
        if len(fitting) == 1:
            return fitting[0], True, False
    reach = [float(np.ptp(vertices @ way)) for way in ways]
    return ways[int(np.argmax(reach))], True, True


def _plain(way: FloatArray) -> FloatArray:
    """A way, along an axis of the model where it goes but a rounding beside it."""
    nearest = int(np.argmax(np.abs(way)))
    exact = np.eye(3)[nearest] * np.sign(way[nearest])
    return exact if np.abs(way - exact).max() < 1e-6 else way


def _fit(
    vertices: FloatArray,
    faces: IntArray,
    normals: FloatArray,
    areas: FloatArray,
    way: FloatArray,
) -> tuple[float, float]:
    """Share of the faces that a prism along a way has, and how closed its ends are."""
    import shapely

    at = vertices @ way
    low, high = float(at.min()), float(at.max())
    near = _END * (high - low) + _GRID
    lean = np.abs(normals @ way)
    corners = at[faces]
    ends = (corners < low + near).all(axis=1) | (corners > high - near).all(axis=1)
    caps = ends & (lean > 1.0 - _ALONG)
    walls = lean < _ALONG
    whole = shapely.MultiPoint(vertices @ _frame(way)[:2].T).convex_hull.area
    return (
        float(areas[caps | walls].sum() / areas.sum()),
        float(areas[caps].sum() / (2 * whole)) if whole > 0.0 else 1.0,
    )


def _has(
    vertices: FloatArray, faces: IntArray, way: FloatArray, section: Section
) -> bool:
    """Whether a mesh shows a section when it is cut across a way."""
    found = _section(vertices @ _frame(way).T, faces)[0]
    wanted = sorted((section.width, section.height))
    return bool(np.allclose(np.sort(found.sides), wanted, rtol=_SAME))


def _longest(vertices: FloatArray) -> FloatArray:
    """The longest side of the box around points."""
    import trimesh.bounds

    bounds: Any = trimesh.bounds
    to_box, sides = bounds.oriented_bounds(vertices)
    long, reach = int(np.argmax(sides)), np.ptp(vertices, axis=0)
    if np.max(reach) > 0.99 * sides[long]:
        # Along an axis of the model, and not by a rounding beside it.
        return np.asarray(np.eye(3)[int(np.argmax(reach))])
    return np.array(to_box[long, :3], dtype=np.float64)


def _frame(way: FloatArray) -> FloatArray:
    """Three unit vectors as rows, of which the last is the way."""
    across = np.cross(way, np.eye(3)[int(np.argmin(np.abs(way)))])
    across /= math.sqrt(across @ across)
    return np.stack([across, np.cross(way, across), way])


def _section(local: FloatArray, faces: IntArray) -> tuple[Profile, bool, FloatArray]:
    """What is around the middle of a mesh that is cut across its third axis.

    Returns
    -------
    section, is_inside, reach
        The section; whether more is around it; from where to where its walls go along
        the third axis, m, shape (2,).
    """
    import shapely

    around = shapely.MultiPoint(local[:, :2]).convex_hull
    low, high = local[:, 2].min(), local[:, 2].max()
    level = (low + high) / 2 + _OFF_MIDDLE * (high - low)
    corners = local[faces]
    above = corners[:, :, 2] > level
    crossed = above != np.roll(above, -1, axis=1)  # the three edges of each
    rows = np.flatnonzero(crossed.any(axis=1))
    begin, end = corners[rows], np.roll(corners[rows], -1, axis=1)
    rise = end[:, :, 2] - begin[:, :, 2]
    share = (level - begin[:, :, 2]) / np.where(crossed[rows], rise, 1.0)
    points = begin + share[:, :, None] * (end - begin)
    lines = shapely.linestrings(points[crossed[rows]][:, :2].reshape(-1, 2, 2))
    noded = shapely.union_all(lines, grid_size=_GRID)
    middle = around.centroid
    parts = list(shapely.polygonize([noded]).geoms)
    here = next((part for part in parts if part.contains(middle)), None)
    reach = np.array([low, high])
    found = None
    is_inside = False
    if here is not None:
        edge = shapely.LinearRing(here.exterior)
        found = outline(_corners(np.array(edge.coords)[:-1]))
        walls = rows[shapely.distance(lines, edge) < 2 * _GRID]
        reach = _reach(local, faces, walls) if len(walls) else reach
        # It lies inside where something else is all around it.
        others = [part.boundary for part in parts if part is not here]
        left = edge.difference(shapely.union_all(others).buffer(2 * _GRID))
        is_inside = found is not None and left.length < _SAME * edge.length
    if found is None:
        found = outline(np.array(around.exterior.coords)[:-1])
    if found is None:
        low2, high2 = local[:, :2].min(axis=0), local[:, :2].max(axis=0)
        found = Profile(Shape.RECTANGULAR, high2 - low2, (low2 + high2) / 2, np.eye(2))
    return found, is_inside, reach


def _corners(points: FloatArray) -> FloatArray:
    """Corners of a closed line, without what lies on its straight sides."""
    import shapely

    apart = np.linalg.norm(points - points.mean(axis=0), axis=1)
    turned = np.roll(points, -int(np.argmax(apart)), axis=0)  # it begins at a corner
    return np.array(shapely.LinearRing(turned).simplify(2 * _GRID).coords)[:-1]


def _reach(local: FloatArray, faces: IntArray, walls: IntArray) -> FloatArray:
    """From where to where the innermost that hangs together with walls goes, (2,)."""
    import shapely
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    _, spot = np.unique(np.round(local / _GRID), axis=0, return_inverse=True)
    ends = spot.ravel()[faces]
    pairs = np.concatenate([ends[:, :2], ends[:, 1:]])
    count = int(spot.max()) + 1
    net = coo_array((np.ones(len(pairs)), pairs.T), (count, count))
    _, label = connected_components(net, directed=False)
    # Insulation may touch the duct with its inside, and go on beyond its ends.
    parts = [
        local[label[spot.ravel()] == part] for part in np.unique(label[ends[walls, 0]])
    ]
    around = [float(shapely.MultiPoint(part[:, :2]).convex_hull.area) for part in parts]
    least = min(around) * (1.0 + 2 * _SAME)
    at = [part[:, 2] for part, area in zip(parts, around, strict=True) if area <= least]
    return np.array([min(part.min() for part in at), max(part.max() for part in at)])
