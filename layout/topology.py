"""A drawing joined into nodes and segments, with what is odd about it."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.sparse import coo_array, csr_array
from scipy.sparse.csgraph import breadth_first_order, connected_components

from .drawing import Drawing
from .faults import Notice, listed, note, warning
from .joints import meetings
from .landings import rounding, settled
from .places import at_key, place_words
from .quantity_words import counted, length_words
from .sections import BoolArray, FloatArray, IntArray
from .snap import TOLERANCE, snap

JOIN_CROSSING = "put a vertex there in one of them and end the other on it to join them"
_NONE_DOUBLED = np.empty((0, 2), dtype=np.int64), np.empty(0)


@dataclass(frozen=True, eq=False)
class Landing:
    """An end that was joined to the side of a run beside which it was drawn.

    Parameters
    ----------
    run
        The run on whose side it lies.
    drawn, foot
        Where the end was before, joined with others, and where it is now, m, shape
        (3,).
    """

    run: int
    drawn: FloatArray
    foot: FloatArray


@dataclass(frozen=True, eq=False)
class Topology:
    """Nodes and segments of a drawing: k nodes, s segments.

    Parameters
    ----------
    drawing
        The drawing that was joined.
    tolerance
        Largest distance of ends that were joined, m.
    nodes
        Node positions, m, shape (k, 3).
    ends
        First and last node of each segment as drawn, shape (s, 2).
    run
        Run of each segment, shape (s,).
    order
        Place of each segment along its run as drawn, shape (s,), rising.
    degree
        How many segments meet at each node, shape (k,).
    notices
        What was joined, dropped, or left apart.
    doubled, doubled_order
        Stretches that several lines share, counted once: the segment that was kept and
        the run that lies on it, shape (p, 2), and the place along that run, shape (p,).
    landings
        Ends that were moved to the side of a run.
    crossings
        Those of the notices that tell of lines which cross without a joint.
    """

    drawing: Drawing
    tolerance: float
    nodes: FloatArray
    ends: IntArray
    run: IntArray
    order: FloatArray
    degree: IntArray
    notices: tuple[Notice, ...]
    doubled: IntArray
    doubled_order: FloatArray
    landings: tuple[Landing, ...] = ()
    crossings: tuple[Notice, ...] = ()

    @cached_property
    def component(self) -> IntArray:
        """Connected part of each node, shape (k,); found at the first use."""
        count = len(self.nodes)
        ones = np.ones(len(self.ends), dtype=np.int8)
        links = coo_array((ones, tuple(self.ends.T)), shape=(count, count))
        _, component = connected_components(links, directed=False)
        return component.astype(np.int64)

    @property
    def component_count(self) -> int:
        """How many parts hang together."""
        return int(self.component.max(initial=-1)) + 1

    @property
    def cycle_count(self) -> int:
        """How many independent loops there are."""
        return len(self.ends) - len(self.nodes) + self.component_count

    @property
    def free_ends(self) -> IntArray:
        """Nodes at which a single segment ends."""
        return np.flatnonzero(self.degree == 1)

    @property
    def junctions(self) -> IntArray:
        """Nodes at which three or more segments meet."""
        return np.flatnonzero(self.degree >= 3)

    @property
    def length(self) -> FloatArray:
        """Length of each segment, m, shape (s,)."""
        apart = self.nodes[self.ends[:, 1]] - self.nodes[self.ends[:, 0]]
        return np.asarray(np.linalg.norm(apart, axis=1))

    def segment_at(self, nodes: IntArray) -> IntArray:
        """One segment that ends at each of some nodes: the only one at a free end."""
        last = np.zeros(len(self.nodes), dtype=np.int64)
        for side in (0, 1):
            last[self.ends[:, side]] = np.arange(len(self.ends))
        return last[nodes]

    def place(self, node: int) -> str:
        """Name a node for a message: its coordinates."""
        return place_words(self.nodes[node], self.drawing.unit)

    def place_in(self, run: int, node: int) -> str:
        """Name a node of a run for a message: file, run and coordinates."""
        return f"{self.drawing.place(run)}, at {self.place(node)}"

    def place_key(self, node: int) -> str:
        """Name a node for a schedule: the key `at` with its coordinates."""
        return at_key(self.nodes[node], self.drawing.unit)


def join(drawing: Drawing, tolerance: float = TOLERANCE) -> Topology:
    """Join a drawing's runs where they meet.

    Ends, and vertices in the same place, are one node. An end that lies on the side
    of another run divides that run there, and is moved to it: the run stays straight.
    Runs that only cross are not joined; that is said.

    Parameters
    ----------
    drawing
        The drawing.
    tolerance
        Largest distance of what is joined, m, above 0.

    Returns
    -------
    topology
        Nodes and segments.

    Raises
    ------
    ValueError
        If the tolerance is not above zero and finite.
    """
    if not 0.0 < tolerance < np.inf:
        raise ValueError(f"the tolerance must be above 0 m and finite, got {tolerance}")
    nodes, node, moved = snap(drawing.points, tolerance)
    notices = _shift_notices(drawing, nodes, node, tolerance) if moved else []
    first = np.ones(len(drawing.points), dtype=bool)
    first[drawing.offsets[1:] - 1] = False  # the last vertex begins no segment
    begin = np.flatnonzero(first)
    count = drawing.offsets[1:] - drawing.offsets[:-1]
    run = np.arange(drawing.run_count).repeat(count - 1)
    ends = node.take(begin[:, None] + np.arange(2))
    order = begin.astype(np.float64)

    is_run_end = np.zeros(len(nodes), dtype=bool)
    is_run_end[node[drawing.offsets[:-1]]] = True
    is_run_end[node[drawing.offsets[1:] - 1]] = True

    real = ends[:, 0] != ends[:, 1]
    if not real.all():
        dropped = int((~real).sum())
        notices.append(
            warning(
                drawing.file,
                f"{counted(dropped, 'piece')} shorter than the joining "
                f"tolerance of {length_words(tolerance)} left out",
                "give a smaller --tolerance if they are meant",
                effect="bends and steps within them are not counted",
            )
        )
        ends, run, order = ends[real], run[real], order[real]

    met = meetings(nodes, ends, run, is_run_end, tolerance)
    crossings = _crossing_notices(drawing, run[met.crossing], met.crossing_point)
    notices += crossings
    landings: tuple[Landing, ...] = ()
    if len(met.landing_node):
        landed, at = met.landing_node, met.landing_at
        fine = rounding(drawing.points, tolerance)
        if met.landing_off.max() > fine:
            drawn = nodes
            nodes, same, at = settled(nodes, ends, met, tolerance, fine)
            moved = np.linalg.norm(nodes - drawn, axis=1) > fine
            landings = _landings(drawn, nodes, moved, landed, run[met.landing_segment])
            if landings:
                rows = moved[node].nonzero()[0]
                away = nodes[node[rows]] - drawing.points[rows]
                farthest = float(np.linalg.norm(away, axis=1).max())
                notices.append(_landing_notice(drawing, len(landings), farthest))
            ends, landed = same[ends], same[landed]
        ends, run, order = _divide(ends, run, order, met.landing_segment, at, landed)

    one, two = ends.T
    key = np.minimum(one, two) * len(nodes) + np.maximum(one, two)
    ranked = np.sort(key)
    shared, shared_order = _NONE_DOUBLED
    if (ranked[1:] == ranked[:-1]).any():
        _, kept = np.unique(key, return_index=True)
        is_doubled = np.ones(len(ends), dtype=bool)
        is_doubled[kept] = False
        doubled = is_doubled.nonzero()[0]
        first_drawn = kept[np.searchsorted(key[kept], key[doubled])]
        notices += _doubled_notices(drawing, nodes, ends, run, doubled, first_drawn)
        kept.sort()
        shared = np.stack([kept.searchsorted(first_drawn), run[doubled]], axis=1)
        shared_order = order[doubled]
        ends, run, order = ends[kept], run[kept], order[kept]

    total = len(nodes)
    degree = np.bincount(ends.ravel(), minlength=total)
    used = degree > 0
    if not used.all():
        renumber = np.cumsum(used) - 1
        nodes, degree, ends = nodes[used], degree[used], renumber[ends]
    return Topology(
        drawing,
        tolerance,
        nodes,
        ends,
        run,
        order,
        degree,
        tuple(notices),
        shared,
        shared_order,
        landings,
        tuple(crossings),
    )


def walk(topology: Topology, root: int) -> tuple[IntArray, IntArray]:
    """Walk outwards from a node over what hangs together with it.

    Parameters
    ----------
    topology
        The joined drawing; its loops are walked as if opened.
    root
        Node to begin at.

    Returns
    -------
    order
        Nodes in walking order, nearest first.
    before
        For each node of the topology, the node that it was reached from; negative
        where there is none.
    """
    count = len(topology.nodes)
    one, two = topology.ends.T
    # Both ways of each segment: the neighbours of a node, those first that it was
    # drawn towards. From and to are one number, so that a plain sort orders both.
    bits = (2 * count).bit_length()
    ways = np.concatenate([one << bits | two, two << bits | one + count])
    ways.sort()
    to = ways & (1 << bits) - 1
    to -= count * (to >= count)
    begins = np.zeros(count + 1, dtype=np.int64)
    topology.degree.cumsum(out=begins[1:])
    links = csr_array((np.ones(len(to)), to, begins), shape=(count, count))
    order, before = breadth_first_order(links, root)
    return order.astype(np.int64), before.astype(np.int64)


def passed(topology: Topology) -> tuple[IntArray, IntArray, FloatArray]:
    """Every segment along each run, in the order in which it passes them.

    Also those that were kept of another run, or earlier on the way.

    Returns
    -------
    run, segment, order
        Rising in run and then in the place along it, shape (n,).
    """
    run = np.append(topology.run, topology.doubled[:, 1])
    segment = np.append(np.arange(len(topology.ends)), topology.doubled[:, 0])
    order = np.append(topology.order, topology.doubled_order)
    along = np.lexsort((order, run))
    return run[along], segment[along], order[along]


def loops(topology: Topology) -> list[IntArray]:
    """List each independent loop as the nodes along it.

    Parameters
    ----------
    topology
        The joined drawing.

    Returns
    -------
    loops
        One array of nodes a loop, found by walking back from both ends of each
        segment that closes one.
    """
    found: list[IntArray] = []
    seen: set[int] = set()
    for root in range(len(topology.nodes)):
        if int(topology.component[root]) in seen:
            continue
        seen.add(int(topology.component[root]))
        _, before = walk(topology, root)
        here = topology.component[topology.ends[:, 0]] == topology.component[root]
        one, two = topology.ends[here].T
        closing = (before[one] != two) & (before[two] != one)
        for a, b in zip(one[closing].tolist(), two[closing].tolist(), strict=True):
            back_a, back_b = _way_back(before, a), _way_back(before, b)
            while len(back_a) > 1 and len(back_b) > 1 and back_a[-2] == back_b[-2]:
                back_a.pop()
                back_b.pop()
            found.append(np.array(back_a + back_b[-2::-1]))
    return found


def _way_back(before: IntArray, node: int) -> list[int]:
    way = [node]
    while before[node] >= 0:
        node = int(before[node])
        way.append(node)
    return way


def _landings(
    drawn: FloatArray,
    nodes: FloatArray,
    moved: BoolArray,
    landed: IntArray,
    beside: IntArray,
) -> tuple[Landing, ...]:
    """Which nodes were moved to the side of a run, of those that landed on one."""
    node, first = np.unique(landed, return_index=True)
    goes = moved[node]
    return tuple(
        Landing(run, drawn[at], nodes[at])
        for at, run in zip(
            node[goes].tolist(), beside[first[goes]].tolist(), strict=True
        )
    )


def _divide(
    ends: IntArray,
    run: IntArray,
    order: FloatArray,
    segment: IntArray,
    at: FloatArray,
    node: IntArray,
) -> tuple[IntArray, IntArray, FloatArray]:
    """Divide segments at the nodes that land on their side."""
    # Each piece begins either at a segment's own start (at 0) or at a landing.
    owner = np.concatenate([np.arange(len(ends)), segment])
    begins = np.concatenate([ends[:, 0], node])
    share = np.concatenate([np.zeros(len(ends)), at])
    sort = np.lexsort((share, owner))
    owner, begins, share = owner[sort], begins[sort], share[sort]
    last = np.append(owner[1:] != owner[:-1], True)
    finishes = np.where(last, ends[owner, 1], np.append(begins[1:], 0))
    # Two landings in one place, and a landing on a node of the segment itself.
    real = begins != finishes
    pieces = np.stack([begins, finishes], axis=1)
    return pieces[real], run[owner][real], (order[owner] + share)[real]


def _crossing_notices(
    drawing: Drawing, runs: IntArray, points: FloatArray
) -> list[Notice]:
    return [
        warning(
            f"{drawing.file}, runs '{drawing.names[a]}' and '{drawing.names[b]}'",
            f"the lines cross at {place_words(point, drawing.unit)} without a common "
            "point and are not joined",
            f"{JOIN_CROSSING}, or draw them at different heights",
            effect="the two ducts pass through each other and share no air",
            place=point,
        )
        for (a, b), point in zip(runs.tolist(), points, strict=True)
    ]


def _doubled_notices(
    drawing: Drawing,
    nodes: FloatArray,
    ends: IntArray,
    run: IntArray,
    doubled: IntArray,
    first: IntArray,
) -> list[Notice]:
    """Say which runs are copies, and which lie on others for a part of their way."""
    rest = np.bincount(run, minlength=drawing.run_count)
    rest -= np.bincount(run[doubled], minlength=drawing.run_count)
    whole = rest[run[doubled]] == 0
    effect = "none, unless their sections or airflows differ: those of the first count"
    notices = []
    if whole.any():
        names = sorted({drawing.names[run[segment]] for segment in doubled[whole]})
        notices.append(
            warning(
                drawing.file,
                "drawn twice over the same stretch: " + listed(names),
                "delete the copy; it was counted once",
                effect=effect,
                place=nodes[ends[doubled[whole][0]]].mean(axis=0),
            )
        )
    # A part of a run: deleting it would lose the rest.
    of_part = (~whole).nonzero()[0]
    if len(of_part) == 0:
        return notices
    under, over = run[doubled[of_part]], run[first[of_part]]
    key = 2 * under + (under == over)
    rows = key.argsort(kind="stable")
    for part in np.split(rows, np.diff(key[rows]).nonzero()[0] + 1):
        two, others = int(under[part[0]]), list(dict.fromkeys(over[part].tolist()))
        along = nodes[ends[doubled[of_part[part]]]]
        length = float(np.linalg.norm(along[:, 1] - along[:, 0], axis=1).sum())
        about = place_words(along[0].mean(axis=0), drawing.unit)
        stretch = f"for {length_words(length)}, about {about}"
        names = [drawing.names[other] for other in others]
        where, what, remedy = (
            drawing.place(two),
            f"it lies on {listed(names)} {stretch}",
            "let it begin or end where the others do not lie",
        )
        if others == [two]:
            what, remedy = f"it lies on itself {stretch}", "take out the way back"
        elif len(others) == 1:
            where = f"{drawing.file}, runs '{names[0]}' and '{drawing.names[two]}'"
            what = f"they lie on each other {stretch}"
            remedy = "shorten one of them to end where the other begins"
        notices.append(
            warning(
                where,
                what,
                f"{remedy}; the stretch was counted once",
                effect=effect,
                place=along[0].mean(axis=0),
            )
        )
    return notices


def _shift_notices(
    drawing: Drawing, nodes: FloatArray, node: IntArray, tolerance: float
) -> list[Notice]:
    """Say so when ends were joined that are not in exactly the same place."""
    shifted = drawing.points != nodes.take(node, axis=0)
    if not shifted.any():
        return []
    places = len(np.unique(node[shifted.any(axis=1)]))
    return [
        note(
            drawing.file,
            f"ends up to {length_words(tolerance)} apart were joined at "
            f"{counted(places, 'place')}",
        )
    ]


def _landing_notice(drawing: Drawing, count: int, farthest: float) -> Notice:
    """Say how many ends were moved to the side of a run, and how far at most."""
    verb = "was" if count == 1 else "were"
    by = "by" if count == 1 else "by up to"
    return note(
        drawing.file,
        f"{counted(count, 'end')} beside another run {verb} moved on to its line, "
        f"{by} {length_words(farthest)}",
    )
