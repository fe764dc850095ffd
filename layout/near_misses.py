"""Ends that nearly meet something: just short of it, just past it, or at its side."""

from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.spatial import cKDTree

from .drawing import Drawing
from .faults import Notice, warning
from .frames import is_plumb, level_frame
from .joints import closest
from .places import place_words
from .quantity_words import length_words
from .sections import BoolArray, FloatArray, IntArray, Shape
from .topology import Topology

if TYPE_CHECKING:
    from .pieces import RunSections

REACH = 0.1  # m: a gap below this is more likely a slip than a meaning
_BESIDE = 2 * REACH  # an end beside a duct for longer than this runs alongside it
_ALONG = float(np.cos(np.radians(15.0)))
_WALL = 0.005  # m: an end this far outside a section still begins at its wall
_SHORT_WAY = 2 * REACH  # round half a circle an end is as near to where it comes from
MOST_PAIRS = 5_000_000  # of segments: beyond this only ends are measured
_AT_ONCE = 2_000_000  # pairs of ends and segments measured together
_NEAR_JOINT = 1.5  # of a duct's larger side: what joins it so near lies in it
_ROUNDING = 1e-6  # m


@dataclass(frozen=True, eq=False)
class Gap:
    """A free end that stops just short of another duct's line.

    Parameters
    ----------
    node, run
        The free end and its run.
    other, segment
        Run that it stops short of, and which segment of it.
    width
        Distance, m.
    target
        Point of the other run that is meant: its end if that is as near, else the
        nearest point of its side, m, shape (3,).
    past
        Whether its line crosses the other and ends beyond it.
    at_side
        Whether it is farther off than a slip, but no farther than the other's side, to
        whose line it leads.
    closing
        Distance that a tolerance must have to close a gap that is just short, m.
    inside
        Whether it stands farther off than a slip within the other's body, and its line
        does not lead to the other's.
    """

    node: int
    run: int
    other: int
    segment: int
    width: float
    target: FloatArray
    past: bool
    at_side: bool = False
    closing: float = np.nan
    inside: bool = False


def gaps(topology: Topology, width: FloatArray | None = None) -> list[Gap]:
    """Find free ends that stop just short of another duct, or just past it.

    Parameters
    ----------
    topology
        The joined drawing.
    width
        Larger side of each run's section, m, shape (r,), NaN where it has none; as
        drawn if None.

    Returns
    -------
    gaps
        Two ends that miss each other are one gap. An end that its line leads to beside
        another duct, along it, is none.
    """
    free = np.asarray(topology.free_ends)
    if len(free) == 0 or len(topology.ends) < 2:
        return []
    apart, other = _nearest(topology, free)
    found: list[Gap] = []
    said: set[frozenset[int]] = set()
    rows = np.flatnonzero(apart <= REACH)
    # Of two ends that miss each other the nearer; the first if digits alone differ.
    for row in rows[apart[rows].round(9).argsort(kind="stable")].tolist():
        node, segment = int(free[row]), int(other[row])
        own = int(topology.segment_at(np.array([node]))[0])
        pair = frozenset((own, segment))
        if pair in said:
            continue
        said.add(pair)
        found.append(
            Gap(
                node,
                int(topology.run[own]),
                int(topology.run[segment]),
                segment,
                float(apart[row]),
                _target(topology, node, segment),
                _is_past(topology, node, own, segment),
                closing=_closing(topology, node, segment, float(apart[row])),
            )
        )
    found.sort(key=lambda gap: gap.node)
    drawing = topology.drawing
    if width is None:
        width = np.fmax(drawing.width, drawing.height)
    return [*found, *_at_sides(topology, free[apart > REACH], width)]


def _is_past(topology: Topology, node: int, own: int, other: int) -> bool:
    """Whether one segment crosses another, away from its free end and from its ends."""
    gap, place = nearest(topology, np.array([own]), np.array([other]))
    ends = topology.nodes[[node, *topology.ends[other].tolist()]]
    away = np.linalg.norm(ends - place, axis=1)
    return bool(gap <= topology.tolerance < away.min())


def _closing(topology: Topology, node: int, segment: int, width: float) -> float:
    """Tolerance that joins a free end to a segment, m.

    At the end of the segment, as far along it as the tolerance, it must reach that end.
    """
    ends = topology.nodes[topology.ends[segment]] - topology.nodes[node]
    apart = float(np.linalg.norm(ends, axis=1).min())
    along = np.sqrt(max(apart**2 - width**2, 0.0))
    return width if along > _rounded_up(width) else apart


def every_gap(
    topology: Topology, sections: "RunSections | Drawing | None" = None
) -> list[Gap]:
    """Find `gaps`, and free ends that stand within another duct.

    Parameters
    ----------
    topology
        The joined drawing.
    sections
        Section of each run; as drawn if None.
    """
    sections = topology.drawing if sections is None else sections
    found = gaps(topology, np.fmax(sections.width, sections.height))
    free = np.asarray(topology.free_ends)
    places = topology.nodes[free]
    rest = np.ones(len(free), dtype=bool)
    for gap in found:  # at both sides of it
        rest &= np.linalg.norm(places - gap.target, axis=1) > topology.tolerance
    rest[np.isin(free, [gap.node for gap in found])] = False
    inside = [
        Gap(
            node,
            int(topology.run[topology.segment_at(np.array([node]))[0]]),
            int(topology.run[segment]),
            segment,
            off,
            _target(topology, node, segment),
            False,
            inside=True,
        )
        for node, segment, off in _inside(topology, sections, free[rest])
    ]
    return [*found, *inside]


def few_gaps(
    topology: Topology, sections: "RunSections | Drawing | None" = None
) -> list[Gap]:
    """As `every_gap`; none where there are too many ends to look beside other work."""
    if len(topology.free_ends) * len(topology.ends) > MOST_PAIRS:
        return []
    return every_gap(topology, sections)


def _inside(
    topology: Topology, sections: "RunSections | Drawing", free: IntArray
) -> Iterator[tuple[int, int, float]]:
    """Free ends within another duct, the segment, and how far off its line, m.

    Of several the nearest one. A duct counts as level, but for one that is plumb or of
    which it is said how it stands: of that what is within its smaller side.
    """
    p, p2 = topology.nodes[topology.ends].swapaxes(0, 1)
    wide, high = sections.width[topology.run], sections.height[topology.run]
    reach = np.fmax(wide, high)
    row, segment = _in_boxes(
        topology.nodes[free],
        np.minimum(p, p2) - reach[:, None],
        np.maximum(p, p2) + reach[:, None],
    )
    if len(row) == 0:
        return
    own = topology.segment_at(free)
    other = topology.run[own[row]] != topology.run[segment]
    row, segment = row[other], segment[other]
    if len(row) == 0:
        return
    node = free[row]
    ends = topology.ends[own[row]]
    behind = np.where(ends[:, 0] == node, ends[:, 1], ends[:, 0])
    ahead = topology.nodes[node] - topology.nodes[behind]
    ahead /= np.linalg.norm(ahead, axis=1)[:, None]
    # An end at a wall that leads into the duct is within it too.
    away = topology.nodes[node] + _WALL * ahead - p[segment]
    along = (p2 - p)[segment]
    length = np.linalg.norm(along, axis=1)
    along /= length[:, None]
    at = np.einsum("ij,ij->i", away, along)
    across, upright = level_frame(along)
    half = np.stack([wide, high], axis=1)[segment] / 2
    off = np.abs([np.einsum("ij,ij->i", away, side) for side in (across, upright)]).T
    said = [
        run
        for run, words in topology.drawing.attributes.items()
        if words.roll is not None or words.up is not None
    ]
    unsure = is_plumb(along) | np.isin(topology.run[segment], said)
    half[unsure] = half[unsure].min(axis=1)[:, None]
    shape = sections.shape[topology.run[segment]]
    boxy = (shape == int(Shape.RECTANGULAR)) & ~unsure
    # How far beyond the middle of a section from which its corners are rounded.
    corner = np.where(boxy, 0.0, half.min(axis=1))
    beyond = off - half + corner[:, None]
    within = np.where(
        boxy,
        beyond.max(axis=1),
        np.linalg.norm(beyond.clip(0.0), axis=1) - corner,
    )
    inner = (at > 0.0) & (at < length) & (within < -_ROUNDING)
    inner &= ~_alongside(topology, node, segment)
    row, segment = row[inner], segment[inner]
    away = topology.nodes[free[row]] - p[segment]
    away -= np.einsum("ij,ij->i", away, along[inner])[:, None] * along[inner]
    apart = np.linalg.norm(away, axis=1)
    order = np.lexsort((apart, row))
    beside = _segments_at(topology) if len(row) else []
    told = -1
    for place in order.tolist():
        end, there = int(free[row[place]]), int(segment[place])
        joint = _NEAR_JOINT * float(reach[there])
        if end != told and there not in _behind(topology, beside, end, joint):
            told = end
            yield end, there, float(apart[place])


def parts_at(topology: Topology, gap: Gap) -> tuple[int, int]:
    """The parts of a drawing on both sides of a gap, as in `Topology.component`."""
    component = topology.component
    there = component[topology.ends[topology.run == gap.other][0, 0]]
    return int(component[gap.node]), int(there)


def gap_at(
    topology: Topology, found: Iterable[Gap], nodes: Collection[int]
) -> Gap | None:
    """The first gap between two parts, of those at one of some nodes, or None."""
    for gap in found:
        here, there = parts_at(topology, gap)
        ends = topology.nodes[list(nodes)]
        if here != there and (
            gap.node in nodes
            or (np.linalg.norm(ends - gap.target, axis=1) <= topology.tolerance).any()
        ):
            return gap
    return None


def _at_sides(topology: Topology, free: IntArray, width: FloatArray) -> list[Gap]:
    """Free ends that begin at the side of a duct, and lead to its line."""
    found = []
    side = width[topology.run]
    q, q2 = topology.nodes[topology.ends].swapaxes(0, 1)
    across = (q2 - q) / topology.length[:, None]
    own = topology.segment_at(free)
    for node, mine in zip(free.tolist(), own.tolist(), strict=True):
        here = topology.nodes[node]
        one, two = topology.ends[mine]
        ahead = here - topology.nodes[two if one == node else one]
        ahead /= np.linalg.norm(ahead)
        away = here - q
        off = np.linalg.norm(
            away - (away * across).sum(axis=1)[:, None] * across, axis=1
        )
        near = (off <= side / 2 + _WALL) & (np.abs(across @ ahead) < _ALONG)
        near &= topology.run != topology.run[mine]
        rows = near.nonzero()[0]
        p = np.broadcast_to(here, (len(rows), 3))
        share, gap = closest(p, p + side[rows, None] * ahead, q[rows], q2[rows])
        for row in rows[gap <= topology.tolerance][:1].tolist():
            on = share[rows == row][0] * side[row]
            found.append(
                Gap(
                    node,
                    int(topology.run[mine]),
                    int(topology.run[row]),
                    row,
                    float(on),
                    here + on * ahead,
                    False,
                    True,
                )
            )
    return found


def nearest(
    topology: Topology, segments: IntArray, others: IntArray
) -> tuple[float, FloatArray]:
    """Distance between two sets of segments, m, and where on the first it is, (3,).

    Parameters
    ----------
    topology
        The joined drawing.
    segments, others
        Its segments: those of a part, and those that it may belong to.
    """
    p, p2 = topology.nodes[topology.ends[segments]].swapaxes(0, 1)
    q, q2 = topology.nodes[topology.ends[others]].swapaxes(0, 1)
    low, high = np.minimum(q, q2), np.maximum(q, q2)
    best, place = np.inf, p[0]
    step = max(1, _AT_ONCE // len(others))
    for begin in range(0, len(segments), step):
        part = slice(begin, begin + step)
        under = low - np.maximum(p, p2)[part, None]
        over = np.minimum(p, p2)[part, None] - high
        apart = np.linalg.norm(np.maximum(np.maximum(under, over), 0.0), axis=2)
        # No segment is nearer than its box, nor any pair than the nearest one so far.
        mine = apart.argmin(axis=1)
        rows = np.arange(begin, begin + len(mine))
        _, gap = closest(p[rows], p2[rows], q[mine], q2[mine])
        # Those pairs themselves too, whatever their boxes' distances round to.
        maybe = apart <= min(best, float(gap.min()))
        maybe[rows - begin, mine] = True
        one, two = maybe.nonzero()
        one += begin
        share, gap = closest(p[one], p2[one], q[two], q2[two])
        least = int(gap.argmin())
        if gap[least] < best:
            row = one[least]
            best = float(gap[least])
            place = p[row] + share[least] * (p2[row] - p[row])
    return best, place


def nearest_ends(
    topology: Topology, segments: IntArray, others: IntArray
) -> tuple[float, FloatArray]:
    """As `nearest`, but between ends alone: quick where there are very many."""
    here = np.unique(topology.ends[segments])
    inside = cKDTree(topology.nodes[np.unique(topology.ends[others])])
    gap = np.asarray(inside.query(topology.nodes[here])[0])
    least = int(gap.argmin())
    return float(gap[least]), topology.nodes[here[least]]


def _target(topology: Topology, node: int, segment: int) -> FloatArray:
    here = topology.nodes[node]
    begin, end = topology.nodes[topology.ends[segment]]
    for point in (begin, end):
        if np.linalg.norm(point - here) <= REACH:
            return np.asarray(point)
    along = end - begin
    share = float((here - begin) @ along / (along @ along))
    return np.asarray(begin + min(max(share, 0.0), 1.0) * along)


def near_misses(
    topology: Topology,
    sections: "RunSections | Drawing | None" = None,
    found: Iterable[Gap] | None = None,
) -> list[Notice]:
    """Say where free ends stop just short of another duct, or just past it.

    Parameters
    ----------
    topology, sections
        As for `every_gap`.
    found
        What `every_gap` found there, if it was asked already.

    Returns
    -------
    notices
        One for each gap: where, how wide, and what would close it.
    """
    return [
        warning(
            topology.place_in(gap.run, gap.node),
            *gap_words(topology, gap),
            effect="the duct counts as an open end, and the two share no air"
            if gap.past or len({*parts_at(topology, gap)}) == 1
            else "the duct counts as an open end, and what lies behind the gap is "
            "not reached",
            place=topology.nodes[gap.node],
        )
        for gap in (every_gap(topology, sections) if found is None else found)
    ]


def gap_words(topology: Topology, gap: Gap, it: str = "it") -> tuple[str, str]:
    """What is wrong with a free end that misses another run, and what would mend it."""
    other = topology.drawing.names[gap.other]
    wide = length_words(gap.width)
    if gap.at_side:
        target = place_words(gap.target, topology.drawing.unit)
        return (
            f"{it} ends at the side of run '{other}', {wide} from its centreline",
            f"draw it on to the centreline of '{other}', to {target}",
        )
    remedy = f"if the two are to meet, end it on the line of '{other}'"
    if gap.inside:
        target = place_words(gap.target, topology.drawing.unit)
        return (
            f"{it} ends inside run '{other}', {wide} from its centreline",
            f"{remedy}, at {target}, else keep it clear",
        )
    if gap.past:
        what = f"{it} ends {wide} past run '{other}', which its line crosses without a"
        return f"{what} joint", remedy
    return (
        f"{it} ends {wide} short of run '{other}'",
        f"{remedy}, or say --tolerance '{tolerance_for(gap.closing)}'",
    )


def tolerance_for(width: float) -> str:
    """The tolerance that closes a gap of a width in m, in words.

    Examples
    --------
    >>> tolerance_for(0.02)
    '21 mm'
    """
    return f"{_rounded_up(width) * 1e3:.0f} mm"


def _rounded_up(width: float) -> float:
    """Width, m, as a tolerance that closes it in whole millimetres."""
    return float(np.ceil(width * 1e3 + 0.1)) / 1e3


def _nearest(topology: Topology, free: IntArray) -> tuple[FloatArray, IntArray]:
    """Distance of each free end from the nearest segment that it may mean to meet."""
    start = topology.nodes[topology.ends[:, 0]]
    along = topology.nodes[topology.ends[:, 1]] - start
    square = np.einsum("ij,ij->i", along, along)
    gap, other = np.empty(len(free)), np.empty(len(free), dtype=np.int64)
    beside = _segments_at(topology)
    step = max(1, _AT_ONCE // len(start))
    for begin in range(0, len(free), step):
        part = free[begin : begin + step]
        away = topology.nodes[part][:, None] - start
        share = np.clip(np.einsum("ijk,jk->ij", away, along) / square, 0.0, 1.0)
        miss = away - share[..., None] * along
        apart = np.sqrt(np.einsum("ijk,ijk->ij", miss, miss))
        # A short last piece is near the one before it, and means to be.
        ends = topology.ends[topology.segment_at(part)].T[..., None]
        for end in ends:
            own = (topology.ends[:, 0] == end) | (topology.ends[:, 1] == end)
            apart[own] = np.inf
        for row, node in enumerate(part.tolist()):
            apart[row, _behind(topology, beside, node)] = np.inf
        here, there = (apart <= REACH).nonzero()
        side = _alongside(topology, part[here], there)
        apart[here[side], there[side]] = np.inf
        # So near and yet free: it lies at the end of the other, where the distance from
        # that end counts.
        here, there = (apart <= topology.tolerance).nonzero()
        to_ends = topology.nodes[topology.ends[there]]
        to_ends = to_ends - topology.nodes[part[here], None]
        apart[here, there] = np.linalg.norm(to_ends, axis=2).min(axis=1)
        near = np.argmin(apart, axis=1)
        gap[begin : begin + step] = apart[np.arange(len(part)), near]
        other[begin : begin + step] = near
    return gap, other


def _alongside(topology: Topology, node: IntArray, segment: IntArray) -> BoolArray:
    """Whether the line to each free end runs along a segment beside it, shape (n,)."""
    here = topology.nodes[node]
    own = topology.ends[topology.segment_at(node)]
    behind = topology.nodes[np.where(own[:, 0] == node, own[:, 1], own[:, 0])]
    back = behind - here
    length = np.linalg.norm(back, axis=1)
    back /= length[:, None]
    ends = topology.nodes[topology.ends[segment]]
    along = ends[:, 1] - ends[:, 0]
    cosine = np.einsum("ij,ij->i", along, back) / np.linalg.norm(along, axis=1)
    # How far back from the end the segment goes on beside it.
    far = np.einsum("ijk,ik->ij", ends - here[:, None], back).max(axis=1)
    return np.asarray((np.abs(cosine) > _ALONG) & (np.minimum(far, length) > _BESIDE))


def _segments_at(topology: Topology) -> list[IntArray]:
    """Segments that end at each node."""
    flat = topology.ends.ravel()
    count = np.bincount(flat, minlength=len(topology.nodes))
    return np.split(flat.argsort(kind="stable") // 2, count.cumsum())


def _in_boxes(
    points: FloatArray, low: FloatArray, high: FloatArray
) -> tuple[IntArray, IntArray]:
    """Points within upright boxes, and which; corners of shape (n, 3), NaN of none."""
    axis = int(np.ptp(points, axis=0).argmax()) if len(points) else 0
    order = points[:, axis].argsort()
    along = points[order, axis]
    begin = along.searchsorted(low[:, axis])
    count = (along.searchsorted(high[:, axis]) - begin).clip(0)
    total = count.cumsum()
    cuts = total.searchsorted(np.arange(_AT_ONCE, total[-1:].sum(), _AT_ONCE))
    found = []
    for boxes in np.split(np.arange(len(low)), cuts):
        box, mine = boxes.repeat(count[boxes]), count[boxes]
        place = np.arange(len(box)) - (mine.cumsum() - mine).repeat(mine)
        point = order[begin[box] + place]
        at = points[point]
        inner = ((low[box] < at) & (at < high[box])).all(axis=1)
        found.append((point[inner], box[inner]))
    one, other = (np.concatenate(part) for part in zip(*found, strict=True))
    return one, other


def _behind(
    topology: Topology,
    beside: list[IntArray],
    free: int,
    short: float = _SHORT_WAY,
) -> list[int]:
    """Segments a short way along the lines from a free end: an arc's last chords."""
    found: set[int] = set()
    waiting = [(free, 0.0)]
    while waiting:
        node, way = waiting.pop()
        for segment in beside[node].tolist():
            if segment in found:
                continue
            found.add(segment)
            one, two = topology.ends[segment].tolist()
            apart = float(np.linalg.norm(topology.nodes[two] - topology.nodes[one]))
            if way + apart <= short:
                waiting.append((two if one == node else one, way + apart))
    return list(found)
