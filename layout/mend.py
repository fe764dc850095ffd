"""Mend what can be mended in a drawing without guessing what was meant."""

from dataclasses import replace

import numpy as np
from scipy.sparse import csr_array
from scipy.sparse.csgraph import breadth_first_order

from .carry import at_place, carry
from .drawing import NOTHING_SAID, Drawing
from .landings import rounding
from .near_misses import Gap, gaps
from .places import place_words
from .quantity_words import counted, length_words
from .sections import FloatArray, IntArray
from .snap import TOLERANCE, snap
from .topology import Landing, Topology, join, passed
from .write_gltf import held

_ROUNDS = 10  # of moving ends to runs: each is nearer, the third nearly never needed
_REPEATS = 20  # of mending what is mended: harsh drawings take up to five


def mended(
    topology: Topology, width: FloatArray | None = None
) -> tuple[Drawing, list[str]]:
    """Mend a drawing: a copy with its slips put right, and what was changed.

    Parameters
    ----------
    topology
        The joined drawing; it is not changed.
    width
        Larger side of each run's section, m, shape (r,); as drawn if None.

    Returns
    -------
    drawing, changes
        The mended drawing, and a sentence for each change in it: ends that nearly
        meet are moved together, free ends to the duct that they stop short of or
        just pass, or at whose side they begin, and with a run what lay on its side,
        where it no longer does;
        vertices at one place become one, runs that lie on others are left out, as what
        the reader left out already, and so is the way back of one that lies on itself.
        Loops, crossings, missing sections and airflows are left as they are: only
        their designer knows what was meant. What was moved may now nearly meet
        something else: that is mended too, until nothing is left to change, at a
        larger tolerance than the default one by that too; where something is all the
        same, the last sentence says so.
    """
    changes = [f"{notice.where}: {notice.what}" for notice in topology.drawing.tidied]
    copy, kept, more = _mended_once(topology, width)
    changes += more
    # Where nothing is left to change, nor may it be as single precision holds it, nor
    # as it is joined by default, as the copy is used.
    distance = [topology.tolerance, topology.tolerance]
    if topology.tolerance > TOLERANCE:
        distance.append(TOLERANCE)
    settled = 0 if more else 1  # of these, in a row
    for _ in range(_REPEATS):
        width = None if width is None else width[kept]
        points = copy.points if settled == 0 else held(copy.points)
        again = join(replace(copy, points=points), distance[settled])
        found, kept, more = _mended_once(again, width)
        copy = found if more else copy
        changes += more
        settled = 0 if more else settled + 1
        if settled == len(distance):
            return copy, changes
    changes.append(
        f"mending ended after {counted(_REPEATS, 'round')} with more to mend: draw "
        "anew what is named again and again, and mend the copy"
    )
    return copy, changes


def _mended_once(
    topology: Topology, width: FloatArray | None
) -> tuple[Drawing, IntArray, list[str]]:
    """Mend what can be at once: the copy, which of the runs it has, and the changes."""
    drawing = topology.drawing
    fine = rounding(drawing.points, topology.tolerance)
    nodes, node, _ = snap(drawing.points, topology.tolerance)
    points = nodes[node].copy()
    changes = []
    moved = np.linalg.norm(points - drawing.points, axis=1)
    for place in np.unique(node[moved > fine]).tolist():
        farthest = float(moved[node == place].max())
        changes.append(
            f"the ends that meet at {place_words(nodes[place], drawing.unit)} were "
            f"moved together, by up to {length_words(farthest)}"
        )
    before, beside = points.copy(), np.full(len(points), -1)
    _land(points, beside, topology.landings)
    straight = points.copy()
    closed = []
    for gap in _at_once(topology, gaps(topology, width)):
        here = at_place(points, topology.nodes[gap.node])
        target = _vertex_near(topology, gap)
        points[here] = before[here] = target
        far = float(np.linalg.norm(target - topology.nodes[gap.node]))
        if far <= fine:
            continue
        way = "cut back" if gap.past else "drawn on"
        closed.append(
            f"run '{drawing.names[gap.run]}' was {way} by {length_words(far)} to run "
            f"'{drawing.names[gap.other]}' at {place_words(target, drawing.unit)}"
        )
    if closed:
        carry(topology, straight, points, beside, fine)
    joined = join(replace(drawing, points=points, notices=()), topology.tolerance)
    for _ in range(_ROUNDS):  # what lies on a run of which an end was moved
        if not joined.landings:
            break
        _land(points, beside, joined.landings)
        joined = join(replace(drawing, points=points, notices=()), topology.tolerance)
    apart = np.linalg.norm(points - before, axis=1)
    _, rows = np.unique(node, return_index=True)
    onto = [
        f"the end at {place_words(before[row], drawing.unit)} was moved by "
        f"{length_words(float(apart[row]))} on to run '{drawing.names[beside[row]]}'"
        for row in rows[(beside[rows] >= 0) & (apart[rows] > fine)].tolist()
    ]
    changes += [*dict.fromkeys(onto), *closed]
    covered, twice, steps = _covered(joined), _twice(joined), passed(joined)
    keep_runs, parts = [], []
    for run in range(drawing.run_count):
        mine = points[drawing.offsets[run] : drawing.offsets[run + 1]]
        once = _once(joined.drawing, steps, run) if run in twice - covered else None
        if once is not None:
            back = _length(mine) - _length(once)
            mine = once
            changes.append(
                f"run '{drawing.names[run]}' was cut back by {length_words(back)}, "
                "which lay on the rest of it"
            )
        real = np.append(True, (np.diff(mine, axis=0) != 0.0).any(axis=1))
        if real.sum() < 2:
            changes.append(
                f"run '{drawing.names[run]}' was left out: it is shorter than the "
                "joining tolerance"
            )
        elif run in covered:
            changes.append(
                f"run '{drawing.names[run]}' was left out: other runs lie along all "
                "of it"
            )
        else:
            dropped = int((~real).sum())
            if dropped:
                changes.append(
                    f"{dropped} vert{'ices' if dropped > 1 else 'ex'} of run "
                    f"'{drawing.names[run]}' at the place of the one before "
                    f"{'were' if dropped > 1 else 'was'} left out"
                )
            keep_runs.append(run)
            parts.append(mine[real])
    kept = np.array(keep_runs, dtype=np.int64)
    return _with_runs(drawing, keep_runs, parts), kept, changes


def _at_once(topology: Topology, found: list[Gap]) -> list[Gap]:
    """Gaps of which none leads to what another one moves; the narrow ones first.

    The others would lead to where something was. One that would move its own aim is
    left out for good.
    """
    if not found:
        return []
    carried = _carried(topology)
    led: set[int] = set()
    moved: set[int] = set()
    chosen: set[Gap] = set()
    for gap in sorted(found, key=lambda gap: gap.width):
        ends = topology.ends[gap.segment]
        is_end = (topology.nodes[ends] == gap.target).all(axis=1)
        aim = set((ends[is_end] if is_end.any() else ends).tolist())
        goes = set(breadth_first_order(carried, gap.node, True, False).tolist())
        if gap.node in moved or aim & (goes | moved) or led & goes:
            continue
        led |= aim
        moved |= goes
        chosen.add(gap)
    return [gap for gap in found if gap in chosen]


def _carried(topology: Topology) -> csr_array:
    """From each end of a segment as drawn to the nodes on its side: what it moves."""
    drawn = topology.order.astype(np.int64)
    is_first = np.append(True, drawn[1:] != drawn[:-1])
    piece = is_first.cumsum() - 1
    head, tail = topology.ends[is_first, 0], topology.ends[np.roll(is_first, -1), 1]
    inner = (~is_first).nonzero()[0]
    on, of = topology.ends[inner, 0], piece[inner]
    ways = np.concatenate([head[of], tail[of]]), np.concatenate([on, on])
    size = len(topology.nodes)
    return csr_array((np.ones(len(ways[0])), ways), shape=(size, size))


def _covered(topology: Topology) -> set[int]:
    """Runs of which nothing is left once what is drawn twice is counted once."""
    every = set(range(topology.drawing.run_count))
    return every - set(np.unique(topology.run).tolist())


def _vertex_near(topology: Topology, gap: Gap) -> FloatArray:
    """Where a gap leads: a vertex within the tolerance of it, with which it is one."""
    apart = np.linalg.norm(topology.nodes - gap.target, axis=1)
    apart[gap.node] = np.inf
    near = int(apart.argmin())
    found = topology.nodes[near] if apart[near] <= topology.tolerance else gap.target
    return np.asarray(found)


def _land(points: FloatArray, beside: IntArray, landings: tuple[Landing, ...]) -> None:
    """Move the points that land beside a run to it; `beside` becomes that run."""
    for landing in landings:
        here = at_place(points, landing.drawn)
        points[here] = landing.foot
        beside[here] = landing.run


def _length(points: FloatArray) -> float:
    return float(np.linalg.norm(np.diff(points, axis=0), axis=1).sum())


def _twice(topology: Topology) -> set[int]:
    """Runs that lie on themselves for a part of their way."""
    kept, run = topology.doubled.T
    return set(run[topology.run[kept] == run].tolist())


def _once(
    drawing: Drawing, way: tuple[IntArray, IntArray, FloatArray], run: int
) -> FloatArray | None:
    """A run that lies on itself without its way back, (n, 3); None where it forks.

    Also where the way back holds the end at which the drawing says the source is.
    `way` is what all runs pass, as `passed` gives it.
    """
    along, segment, order = way
    mine = along == run
    steps, order = segment[mine], order[mine]
    count = len(set(steps.tolist()))
    for first in range(len(steps) - count + 1):
        if len(set(steps[first : first + count].tolist())) == count:
            break
    else:
        return None
    said = drawing.attributes.get(run, NOTHING_SAID).source_at_end
    last = first + count
    if (said is True and last < len(steps)) or (said is False and first > 0):
        return None
    stop = float(drawing.offsets[run + 1] - 1)
    cut = (order[first], order[last] if last < len(steps) else stop)
    inner = np.arange(np.floor(cut[0]) + 1, np.ceil(cut[1]))
    places = np.concatenate([cut[:1], inner, cut[1:]])
    begin = np.minimum(places.astype(np.int64), len(drawing.points) - 2)
    share = (places - begin)[:, None]
    points = drawing.points
    return np.asarray(points[begin] * (1.0 - share) + points[begin + 1] * share)


def _with_runs(drawing: Drawing, runs: list[int], parts: list[FloatArray]) -> Drawing:
    kept = np.array(runs, dtype=np.int64)
    new = {run: row for row, run in enumerate(runs)}
    return replace(
        drawing,
        points=np.concatenate(parts) if parts else np.zeros((0, 3)),
        offsets=np.cumsum([0, *map(len, parts)]),
        names=[drawing.names[run] for run in runs],
        where=[drawing.where[run] for run in runs],
        shape=drawing.shape[kept],
        width=drawing.width[kept],
        height=drawing.height[kept],
        flow=drawing.flow[kept],
        section_basis=drawing.section_basis[kept],
        attributes={new[r]: a for r, a in drawing.attributes.items() if r in new},
        section_origin={
            new[r]: o for r, o in drawing.section_origin.items() if r in new
        },
        notices=(),
        tidied=(),
    )
