"""Parts of a drawing that hang together with nothing that the source reaches."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from .faults import Notice, warning
from .fittings import Ducts
from .near_misses import (
    MOST_PAIRS,
    REACH,
    Gap,
    few_gaps,
    gap_words,
    nearest,
    nearest_ends,
    parts_at,
    tolerance_for,
)
from .pieces import RunSections
from .places import place_words
from .quantity_words import length_words
from .sections import BoolArray, FloatArray
from .topology import JOIN_CROSSING, Topology


@dataclass(frozen=True, eq=False)
class Island:
    """A part of a drawing that hangs together with nothing that is reached.

    Parameters
    ----------
    run
        Name of its first run.
    length
        Of all its ducts, m.
    gap
        The near miss that leads on to what is reached; None where there is none.
    notice
        What is to be said of it, with the nearest gap.
    effect
        What its air comes to, in words.
    crossing
        The notice of two lines that cross without a joint in place of which this one
        is told, as they part it from what is reached; None where none does.
    """

    run: str
    length: float
    gap: Gap | None
    notice: Notice
    effect: str
    crossing: Notice | None = None


def with_islands(topology: Topology, apart: Iterable[Island]) -> list[Notice]:
    """Notices of a drawing that was joined, with those of its separate parts.

    Parameters
    ----------
    topology
        The joined drawing.
    apart
        Its separate parts: where lines that cross part one off, both are told as one.
    """
    every = list(apart)
    instead = {id(one.crossing): one.notice for one in every if one.crossing}
    return [
        *(instead.get(id(said), said) for said in topology.notices),
        *(one.notice for one in every if one.crossing is None),
    ]


def islands(
    topology: Topology,
    reached: BoolArray,
    sections: RunSections | None = None,
    *,
    from_source: bool = True,
) -> list[Island]:
    """Find the parts of a drawing that hang together with nothing that is reached.

    Parameters
    ----------
    topology
        The joined drawing.
    reached
        Whether each node is reached from the source, shape (k,).
    sections
        Section of each run; as drawn if None.
    from_source
        Whether it is known where the source is; where not, what is reached is the
        longest part.
    """
    if reached.all():
        return []
    drawing = topology.drawing
    part_of = topology.component[topology.ends[:, 0]]
    slips = few_gaps(topology, sections)
    apart, rest = "that the source does not reach", "what the source reaches"
    lost, effect = " and its losses are not counted", "its terminals get no air"
    if not from_source:
        apart, rest = "beside the longest one", "the longest one"
        lost, effect = "", "what the source does not reach gets no air"
    found: list[Island] = []
    told: list[Notice] = []  # crossings
    onward = _onward(topology, int(topology.component[reached][0]), slips)
    for part in np.unique(part_of[~reached[topology.ends[:, 0]]]).tolist():
        mine = (part_of == part).nonzero()[0]
        length = float(topology.length[mine].sum())
        slip = onward.get(part)
        said, mend, place = _part_words(topology, part, reached, slip, rest)
        first = int(topology.run[mine[0]])
        run, where = drawing.names[first], drawing.place(first)
        what = f"a separate part of {length_words(length)} {apart}"
        crossing = None
        if slip is None:
            crossing = _crossing_at(topology, place, told)
        if crossing is not None:  # the cause first
            told.append(crossing)
            where, mend = crossing.where, JOIN_CROSSING
            place = np.array(crossing.place)
            what = f"{crossing.what}, which leaves '{run}' in {what}"
        else:
            what = f"{what}; {said}"
        notice = warning(
            where, what, mend, effect=f"{effect}{lost} in the result", place=place
        )
        found.append(Island(run, length, slip, notice, effect, crossing))
    return found


def _crossing_at(
    topology: Topology, place: FloatArray, told: Sequence[Notice]
) -> Notice | None:
    """Lines that cross without a joint at a place, m, if not told yet, or None."""
    for one in topology.crossings:
        apart = np.linalg.norm(np.array(one.place) - place)
        if apart <= 2 * topology.tolerance and one not in told:
            return one
    return None


def loose_words(topology: Topology, part: int, ducts: Ducts) -> tuple[str, str]:
    """What keeps a part from what the source reaches, and what would join it.

    Parameters
    ----------
    topology
        The joined drawing.
    part
        A part of it, as in `Topology.component`.
    ducts
        What the source reaches.
    """
    main = int(topology.component[ducts.start[0]])
    drawing = topology.drawing
    made = drawing.shape.copy(), drawing.width.copy(), drawing.height.copy()
    for of_run, of_duct in zip(
        made, (ducts.shape, ducts.width, ducts.height), strict=True
    ):
        of_run[ducts.run] = of_duct
    sections = RunSections(*made, drawing.section_basis)
    slip = _onward(topology, main, few_gaps(topology, sections)).get(part)
    rest = "what the source reaches"
    reached = topology.component == main
    said, mend, _ = _part_words(topology, part, reached, slip, rest)
    return said, mend


def _onward(topology: Topology, main: int, slips: Iterable[Gap]) -> dict[int, Gap]:
    """For each part the gap that leads on to the main one, over other parts or not.

    Of parts that are joined so with each other alone, the gap to the longest of them.
    """
    beside: dict[int, list[tuple[int, Gap]]] = {}
    for slip in slips:
        here, there = parts_at(topology, slip)
        beside.setdefault(here, []).append((there, slip))
        beside.setdefault(there, []).append((here, slip))
    part_of = topology.component[topology.ends[:, 0]]
    length = np.bincount(part_of, topology.length, topology.component_count)
    onward: dict[int, Gap] = {}
    seen: set[int] = set()
    for first in [main, *sorted(beside, key=lambda part: -length[part])]:
        waiting = [] if first in seen else [first]
        seen.add(first)
        while waiting:
            for other, slip in beside.get(waiting.pop(0), ()):
                if other not in seen:
                    seen.add(other)
                    onward[other] = slip
                    waiting.append(other)
    return onward


def _part_words(
    topology: Topology,
    part: int,
    reached: BoolArray,
    slip: Gap | None,
    rest: str,
) -> tuple[str, str, FloatArray]:
    """What parts one part from the rest, what would join it, and the place, (3,)."""
    if slip is not None:
        run = f"run '{topology.drawing.names[slip.run]}'"
        what, mend = gap_words(topology, slip, run)
        place = topology.nodes[slip.node]
        return f"{what}, at {place_words(place, topology.drawing.unit)}", mend, place
    part_of = topology.component[topology.ends[:, 0]]
    mine = (part_of == part).nonzero()[0]
    others = reached[topology.ends[:, 0]].nonzero()[0]
    few = len(mine) * len(others) <= MOST_PAIRS
    gap, place = (nearest if few else nearest_ends)(topology, mine, others)
    said = (
        f"the nearest gap to {rest} is {length_words(gap)}"
        if gap > topology.tolerance
        else f"it crosses {rest} without a joint,"
    )
    mend = f"close the gap if it belongs to this system{_closing(topology, gap, place)}"
    return f"{said} at {place_words(place, topology.drawing.unit)}", mend, place


def _closing(topology: Topology, gap: float, place: FloatArray) -> str:
    """The tolerance that would close a gap, if there is one at a free end."""
    if not topology.tolerance < gap <= REACH:
        return ""
    away = topology.nodes[np.asarray(topology.free_ends)] - place
    # The end is of this part, at the place itself, or of the other, a gap away.
    if not (np.linalg.norm(away, axis=1) <= gap * (1 + 1e-6)).any():
        return ""
    return f", or say --tolerance '{tolerance_for(gap)}'"
