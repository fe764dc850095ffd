"""How far ducts stay from obstacles and from each other."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from heapq import heapify, heapreplace
from typing import Any

import numpy as np

from .boxes import Boxes, boxes_of, overlap_depth
from .graph import DuctGraph
from .obstacles import Obstacle
from .sections import BoolArray, FloatArray, IntArray, Shape
from .solids import Solids
from .touching import touching

_ROUND_SIDES = 24
_OUT = 1.0 / np.cos(np.pi / _ROUND_SIDES)  # of the prism that holds a circle
_LEAST = 1e-12  # m³: less than this is no overlap
_INSIDE = 0.999  # of a stretch of duct: it lies within the body
_MOST_MOVES = 200  # tried to clear one body of another
_ANGLES = (np.arange(_ROUND_SIDES) + 0.5) * (2 * np.pi / _ROUND_SIDES)
_CIRCLE = _OUT * np.stack([np.cos(_ANGLES), np.sin(_ANGLES)], axis=1)
_CORNERS = np.array([[1.0, 1.0], [-1.0, 1.0], [-1.0, -1.0], [1.0, -1.0]])
_NEAR_JOINT = 1.5  # of the wider duct's side
_NEVER_MORE = 1.0 - 1e-6  # so that single precision never overstates a bound
_LITTLE = 1e-6  # m: what single precision needs to tell clear from touching
_FIRST_REACH = 100.0  # m: farther solids are of no interest to a duct


@dataclass(frozen=True, eq=False)
class Clearances:
    """Distances of pieces of duct from something: c pairs, nearest first.

    Parameters
    ----------
    piece
        Piece of the solids, shape (c,).
    other
        Number of the obstacle, or the other piece of duct.
    distance
        m, between the outer surfaces. Below zero where they overlap: how far the piece
        of duct must move, straight out by the shortest way, to be clear.
    place
        Where they are next to each other, m, shape (c, 3): the middle of what lies in
        both boxes around them, or between these.
    """

    piece: IntArray
    other: IntArray
    distance: FloatArray
    place: FloatArray

    @property
    def nearest(self) -> float | None:
        """Smallest distance, m; None where there is nothing to be near to."""
        return float(self.distance[0]) if len(self.distance) else None


_NOTHING = Clearances(
    np.zeros(0, np.int64), np.zeros(0, np.int64), np.zeros(0), np.zeros((0, 3))
)


def clearances(
    solids: Solids,
    obstacles: Sequence[Obstacle],
    *,
    insulation: float = 0.0,
    required: float = 0.0,
    enough: float = np.inf,
) -> Clearances:
    """Measure how far ducts stay from obstacles.

    Parameters
    ----------
    solids
        The ducts in their true shape.
    obstacles
        What to stay clear of.
    insulation
        Thickness of insulation around the ducts, m.
    required
        Distance to keep, m: every pair nearer than this is reported, and where there
        is none the nearest one that is nearer than about 100 m.
    enough
        Depth of an overlap, m, beyond which it is not asked how much deeper it is: by
        far the longest work. `distance` is then anything below minus that.

    Returns
    -------
    clearances
        For each piece and obstacle within reach, the distance of their surfaces.

    Raises
    ------
    ValueError
        If a thickness or a distance is not 0 or more.

    Notes
    -----
    Boxes around the pieces sort out what cannot be near; the distance itself is that
    of the convex hull of each stretch of duct from the solid (or from its convex hull
    where it is not closed). Round ducts and the ends of ovals are taken as prisms that
    hold the circle, so that their distance is never overstated: by less than 1 % of the
    radius.
    """
    _check(insulation=insulation, required=required, enough=enough)
    if not obstacles or not len(solids.row):
        return _NOTHING
    hulls = _Hulls(solids, insulation)
    bodies = _Obstacles(obstacles, hulls.origin)
    row, number = _candidates(hulls, bodies, required)
    distance = _measured(hulls, bodies, row, number, required, enough)
    if not (distance <= required).any():
        row, number, distance = _nearest(hulls, bodies)
    else:
        near = distance <= required
        row, number, distance = row[near], number[near], distance[near]
    return _ranked(hulls, bodies, row, number, distance)


def duct_clearances(
    graph: DuctGraph,
    solids: Solids,
    *,
    insulation: float = 0.0,
    required: float = 0.0,
    enough: float = np.inf,
) -> Clearances:
    """Find ducts that overlap each other, or come nearer than required.

    Parameters
    ----------
    graph, solids
        The ducts and their true shape.
    insulation
        Thickness of insulation around each of them, m.
    required
        Distance to keep, m.
    enough
        As for `clearances`.

    Returns
    -------
    clearances
        Every pair of pieces nearer than that. Ducts that meet at a joint, also past
        a duct that is shorter than it is wide, are left out.

    Raises
    ------
    ValueError
        If a thickness or a distance is not 0 or more.
    """
    _check(insulation=insulation, required=required, enough=enough)
    if not len(solids.row):
        return _NOTHING
    hulls = _Hulls(solids, insulation)
    margin = required / 2 + 1e-9
    first, second = touching(
        np.ascontiguousarray((hulls.low - margin).T),
        np.ascontiguousarray((hulls.high + margin).T),
    )
    duct = piece_ducts(graph, solids)[hulls.piece]
    far = ~_neighbours(graph, duct[first], duct[second])
    low, high = np.minimum(first[far], second[far]), np.maximum(first[far], second[far])
    row, other = np.divmod(np.unique(low * len(duct) + high), len(duct))
    place = hulls.between(hulls, row, other)
    apart = ~_meet(graph, duct[row], duct[other], place)
    row, other = row[apart], other[apart]
    return _too_near(hulls, hulls, row, other, required, enough)


def side_clearances(
    graph: DuctGraph,
    solids: Solids,
    other: DuctGraph,
    others: Solids,
    *,
    insulation: tuple[float, float] = (0.0, 0.0),
    required: float = 0.0,
    enough: float = np.inf,
) -> Clearances:
    """Find ducts of two layouts that overlap, or come nearer than required.

    Parameters
    ----------
    graph, solids
        The ducts of one layout, a supply say, and their true shape.
    other, others
        Those of the other one, a return say.
    insulation
        Thickness of insulation around the ducts of each, m.
    required
        Distance to keep, m.
    enough
        As for `clearances`.

    Returns
    -------
    clearances
        Every pair of pieces nearer than that; `other` counts those of the other layout.
        Left out is what lies at the sources of both, as at one fan.

    Raises
    ------
    ValueError
        If a thickness or a distance is not 0 or more.
    """
    for thickness in insulation:
        _check(insulation=thickness, required=required, enough=enough)
    if not len(solids.row) or not len(others.row):
        return _NOTHING
    hulls = _Hulls(solids, insulation[0])
    bodies = _Hulls(others, insulation[1], hulls.origin)
    row, number = _candidates(hulls, bodies, required)
    place = hulls.between(bodies, row, number)
    at_fan = np.ones(len(row), dtype=bool)
    for ducts in (graph.ducts, other.ducts):
        first = int(np.argmax(ducts.parent < 0))
        reach = _NEAR_JOINT * max(ducts.width[first], ducts.height[first])
        at_fan &= np.linalg.norm(place - ducts.begin[first], axis=1) < reach
    return _too_near(hulls, bodies, row[~at_fan], number[~at_fan], required, enough)


def _check(**metres: float) -> None:
    """Refuse a thickness or a distance that is not 0 or more, by its name."""
    for name, value in metres.items():
        if not value >= 0.0:  # written so that NaN is caught too
            raise ValueError(f"{name} must be 0 m or more, got {value:g} m")


def piece_ducts(graph: DuctGraph, solids: Solids) -> IntArray:
    """Duct of a graph that each piece of its solids belongs to, shape (p,)."""
    duct = {
        "duct": np.arange(len(graph.ducts.parent)),
        "bend": graph.bends.duct,
        "transition": graph.transitions.duct,
        "leg": graph.legs.duct,
        "meeting": graph.meetings.duct,
        "terminal": graph.terminals.duct,
    }
    kind = np.array(solids.kind)
    out = np.zeros(len(kind), dtype=np.int64)
    for name, of_row in duct.items():
        mine = kind == name
        out[mine] = of_row[solids.row[mine]]
    return out


def _meet(
    graph: DuctGraph, one: IntArray, two: IntArray, place: FloatArray
) -> BoolArray:
    """Whether two ducts have to touch where they do, past a short duct between them.

    That is near a joint that both lead to past ducts that are shorter than they are
    wide: a branch that turns beside its main at once may still lie in it elsewhere.
    A straight stretch in several runs is one duct.
    """
    ducts = graph.ducts
    side = np.maximum(ducts.width, ducts.height)
    far_end = ducts.end[ducts.stretch_end]

    @cache
    def before(duct: int) -> frozenset[int]:
        out = [duct]
        while (parent := int(ducts.parent[out[-1]])) >= 0:
            parent = int(ducts.stretch[parent])
            out.append(parent)
            if ducts.reach[parent] > side[parent]:
                break
        return frozenset(out)

    met = np.zeros(len(one), dtype=bool)
    pairs = (ducts.stretch[rows].tolist() for rows in (one, two))
    for row, (a, b) in enumerate(zip(*pairs, strict=True)):
        if before(a) & before(b):
            ends = np.stack([ends[duct] for ends in (ducts.begin, far_end)
                             for duct in (a, b)])  # fmt: skip
            near = np.linalg.norm(ends - place[row], axis=1).min()
            met[row] = near < _NEAR_JOINT * max(side[a], side[b])
    return met


def _neighbours(graph: DuctGraph, one: IntArray, two: IntArray) -> BoolArray:
    """Whether two ducts are the same, or follow each other, or leave one joint.

    A straight stretch in several runs is one duct.
    """
    ducts = graph.ducts
    one, two = ducts.stretch[one], ducts.stretch[two]
    parent = np.where(ducts.parent < 0, ducts.parent, ducts.stretch[ducts.parent])
    start, finish = ducts.start, ducts.finish[ducts.stretch_end]
    follow = (
        (one == two)
        | (parent[one] == two)
        | (parent[two] == one)
        | ((parent[one] == parent[two]) & (parent[one] >= 0))
    )
    if graph.loops is not None:  # several lead into one joint
        follow |= (finish[one] == finish[two]) | (finish[one] == start[two])
        follow |= start[one] == finish[two]
    return np.asarray(follow)


def _too_near(
    hulls: "_Hulls",
    bodies: "_Hulls",
    row: IntArray,
    number: IntArray,
    required: float,
    enough: float,
) -> Clearances:
    """Pairs of stretches of duct that overlap or are nearer than required."""
    distance = _measured(hulls, bodies, row, number, required, enough)
    near = (distance < required - _LITTLE) | (distance < 0.0)
    return _ranked(hulls, bodies, row[near], number[near], distance[near])


def _ranked(
    hulls: "_Hulls", bodies: Any, row: IntArray, number: IntArray, distance: FloatArray
) -> Clearances:
    """Smallest distance of each piece and body, nearest first."""
    piece, other = hulls.piece[row], bodies.piece[number]
    order = np.lexsort((other, piece, distance))
    key = piece[order] * (int(other.max(initial=0)) + 1) + other[order]
    _, first = np.unique(key, return_index=True)
    kept = order[np.sort(first)]
    place = hulls.between(bodies, row[kept], number[kept])
    return Clearances(piece[kept], other[kept], distance[kept], place)


def _candidates(
    hulls: "_Hulls", bodies: Any, reach: float
) -> tuple[IntArray, IntArray]:
    """Rows of the two whose upright boxes are no farther apart than `reach`."""
    import shapely

    def plan(low: FloatArray, high: FloatArray) -> Any:
        return shapely.box(low[:, 0], low[:, 1], high[:, 0], high[:, 1])

    tree = shapely.STRtree(plan(bodies.low, bodies.high))
    row, number = tree.query(plan(hulls.low - reach, hulls.high + reach))
    near = (
        np.maximum(hulls.low[row], bodies.low[number])
        - np.minimum(hulls.high[row], bodies.high[number])
    )[:, 2] <= reach
    return row[near], number[near]


def _measured(
    hulls: "_Hulls",
    bodies: Any,
    row: IntArray,
    number: IntArray,
    reach: float,
    enough: float,
) -> FloatArray:
    """Distance of each pair, m, shape (n,); infinite beyond `reach`."""
    found = np.full(len(row), np.inf)
    depth = overlap_depth(hulls.boxes.take(row), bodies.boxes.take(number))
    overlap = depth > 0.0  # not for what is no box: comparing NaN is false
    found[overlap] = -depth[overlap]
    # Boxes that do not overlap need no more unless a distance is to be kept.
    rest = ~overlap & (np.isnan(depth) | (depth > -reach))
    for place in np.flatnonzero(rest).tolist():
        duct, body = hulls.body(int(row[place])), bodies.body(int(number[place]))
        found[place] = _distance(duct, body, reach + 1e-6, enough)
    return found


def _nearest(
    hulls: "_Hulls", bodies: "_Obstacles"
) -> tuple[IntArray, IntArray, FloatArray]:
    """Row, body and distance of the nearest pair where none is within reach."""
    # Distances of boxes, a row for each obstacle: no pair is nearer than its boxes.
    bound = np.empty((len(bodies.low), len(hulls.low)), dtype=np.float32)
    for number in range(len(bodies.low)):
        apart = np.maximum(
            np.maximum(
                bodies.low[number] - hulls.high, hulls.low - bodies.high[number]
            ),
            0.0,
        )
        bound[number] = np.sqrt(np.einsum("ij,ij->i", apart, apart)) * _NEVER_MORE
    best = _FIRST_REACH
    pair: list[int] = []
    for place in np.argsort(bound, axis=None, kind="stable").tolist():
        number, row = divmod(place, len(hulls.low))
        if bound[number, row] > best:
            break
        distance = _distance(hulls.body(row), bodies.body(number), best + 1e-6)
        if distance < best:
            best, pair = distance, [row, number]
    found = np.array(pair, dtype=np.int64).reshape(-1, 2)
    return found[:, 0], found[:, 1], np.full(len(found), best)


class _Hulls:
    """Convex stretches of duct between two rings that follow each other.

    Coordinates are from `origin`, as the bodies are measured in single precision.
    """

    def __init__(
        self, solids: Solids, insulation: float, origin: FloatArray | None = None
    ) -> None:
        tubes = solids.tubes
        last = np.zeros(len(tubes.centre), dtype=bool)
        last[tubes.offsets[1:] - 1] = True
        rows = np.flatnonzero(~last)
        half = np.stack([tubes.width, tubes.height], axis=1) / 2 + insulation
        self.origin = tubes.centre.mean(axis=0) if origin is None else origin
        centre = tubes.centre - self.origin
        is_round = (tubes.shape == Shape.ROUND)[:, None]
        sides = half[:, :, None] * np.stack([tubes.across, tubes.upright], axis=1)
        reach = np.where(  # of a ring; an oval counts as its box
            is_round,
            _OUT * np.sqrt(np.einsum("nij,nij->nj", sides, sides)),
            np.abs(sides).sum(axis=1),
        )
        low, high = centre - reach, centre + reach
        self.piece = tubes.element[rows]
        self.low = np.minimum(low[rows], low[rows + 1])
        self.high = np.maximum(high[rows], high[rows + 1])
        self.boxes = _straight_boxes(tubes, rows, centre, half)
        self._rows, self._shape = rows, tubes.shape
        self._centre, self._sides = centre, sides
        self.body = cache(self._hull)

    def between(self, bodies: Any, row: IntArray, number: IntArray) -> FloatArray:
        """Middle of what lies in both upright boxes or between them, shape (n, 3)."""
        low = np.maximum(self.low[row], bodies.low[number])
        high = np.minimum(self.high[row], bodies.high[number])
        return np.asarray((low + high) / 2 + self.origin)

    def _hull(self, row: int) -> Any:
        from manifold3d import Manifold

        corners = []
        for ring in (self._rows[row], self._rows[row] + 1):
            outline = _outline(int(self._shape[ring]), self._sides[ring])
            corners.append(self._centre[ring] + outline @ self._sides[ring])
        return Manifold.hull_points(np.ascontiguousarray(np.concatenate(corners)))


def _outline(shape: int, sides: FloatArray) -> FloatArray:
    """Points around a section, in shares of half its width and half its height."""
    if shape != Shape.OVAL:
        return np.asarray(_CIRCLE if shape == Shape.ROUND else _CORNERS)
    half = np.sqrt(np.einsum("ij,ij->i", sides, sides))
    radius = half.min()  # of the ends, around which the flat sides are straight
    return np.asarray((radius * _CIRCLE + np.sign(_CIRCLE) * (half - radius)) / half)


def _straight_boxes(
    tubes: Any, rows: IntArray, centre: FloatArray, half: FloatArray
) -> Boxes:
    """Boxes that stretches of unchanging rectangular duct are; NaN for the others."""
    nxt = rows + 1
    way = centre[nxt] - centre[rows]
    length = np.sqrt(np.einsum("ij,ij->i", way, way))
    along = way / np.where(length > 0.0, length, 1.0)[:, None]
    across, upright = tubes.across[rows], tubes.upright[rows]
    same = (
        (tubes.shape[rows] == Shape.RECTANGULAR)
        & (length > 0.0)
        & (np.abs(half[rows] - half[nxt]).max(axis=1) < 1e-9)
        & (np.abs(across - tubes.across[nxt]).max(axis=1) < 1e-9)
        & (np.abs(np.einsum("ij,ij->i", along, across)) < 1e-6)
        & (np.abs(np.einsum("ij,ij->i", along, upright)) < 1e-6)
    )
    sides = np.concatenate([half[rows], length[:, None] / 2], axis=1)
    return Boxes(
        (centre[rows] + centre[nxt]) / 2,
        np.stack([across, upright, along], axis=1),
        np.where(same[:, None], sides, np.nan),
    )


class _Obstacles:
    """Obstacles in the coordinates of the hulls."""

    def __init__(self, obstacles: Sequence[Obstacle], origin: FloatArray) -> None:
        self._obstacles = obstacles
        count = [len(obstacle.vertices) for obstacle in obstacles]
        every = np.concatenate([obstacle.vertices for obstacle in obstacles]) - origin
        self._every, self._first = every, np.cumsum([0, *count])
        self.piece = np.arange(len(obstacles))
        self.low = np.minimum.reduceat(every, self._first[:-1])
        self.high = np.maximum.reduceat(every, self._first[:-1])
        closed = np.array([obstacle.is_closed for obstacle in obstacles])
        self.boxes = boxes_of(every, self._first, closed)
        self.body = cache(self._solid)

    def _solid(self, number: int) -> Any:
        from manifold3d import Manifold, Mesh

        vertices = self._every[self._first[number] : self._first[number + 1]]
        if self._obstacles[number].is_closed:
            faces = self._obstacles[number].faces.astype(np.uint32)
            mesh = Mesh(vertices.astype(np.float32), faces)
            mesh.merge()
            body = Manifold(mesh)
            if not body.is_empty():
                return body
        return Manifold.hull_points(np.ascontiguousarray(vertices))


def _distance(duct: Any, body: Any, reach: float, enough: float = np.inf) -> float:
    """Distance of a convex stretch of duct from a body, m, as in `Clearances`."""
    gap = float(duct.min_gap(body, reach))
    if gap > 0.0:
        return gap
    overlap = duct ^ body
    if overlap.volume() <= _LEAST:
        return 0.0
    return -_way_out(duct, body, overlap, enough)


def _way_out(duct: Any, body: Any, overlap: Any, enough: float) -> float:
    """How far a convex body must move to be clear of another one, m.

    Along the normals of what both share, which are those of the faces that meet: the
    shortest of the ways that clear it. Each step takes the body past what it overlaps,
    so that it may come upon the next part of a body that is not convex. Where the first
    of the shortest way is more than `enough`, that is given, and none is tried.
    """
    corners = _corners(duct)
    mesh = overlap.to_mesh()
    points = np.asarray(mesh.vert_properties[:, :3], dtype=np.float64)
    ways = _normals(points, np.asarray(mesh.tri_verts))
    begin = (corners @ ways.T).min(axis=0)
    past = (points @ ways.T).max(axis=0)
    if (first := float((past - begin).min())) > enough:
        return first
    if overlap.volume() > _INSIDE * duct.volume():  # else it would creep out
        size = np.ptp(np.array(body.bounding_box()).reshape(2, 3), axis=0).sum()
        swept = (_swept(duct, way * size) ^ body for way in ways)
        past = np.array([float((_corners(one) @ way).max())
                         for one, way in zip(swept, ways, strict=True)])  # fmt: skip
    steps = [(step, way) for way, step in enumerate((past - begin).tolist())]
    heapify(steps)
    for _ in range(_MOST_MOVES):
        step, place = steps[0]
        way = ways[place]
        rest = duct.translate((way * (step + _LITTLE)).tolist()) ^ body
        if rest.volume() <= _LEAST:
            break
        farther = float((_corners(rest) @ way).max() - begin[place])
        heapreplace(steps, (max(farther, step + _LITTLE), place))
    return float(steps[0][0])


def _swept(duct: Any, way: FloatArray) -> Any:
    """What a convex body passes through on a straight way."""
    corners = _corners(duct)
    return duct.hull_points(np.concatenate([corners, corners + way]))


def _corners(body: Any) -> FloatArray:
    return np.asarray(body.to_mesh().vert_properties[:, :3], dtype=np.float64)


def _normals(points: FloatArray, faces: IntArray) -> FloatArray:
    """Directions square to triangles, either way, each of them once, shape (n, 3)."""
    one, two, three = points[faces].transpose(1, 0, 2)
    normal = np.cross(two - one, three - one)
    size = np.linalg.norm(normal, axis=1)
    large = size > 1e-6 * size.max()
    normal = normal[large] / size[large, None]
    _, first = np.unique(np.round(normal, 4), axis=0, return_index=True)
    return np.concatenate([normal[first], -normal[first]])
