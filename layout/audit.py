"""The audit of a drawing before any number: what is odd in it, and what that does."""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from .basis import Basis
from .drawing import Drawing
from .faults import Notice, note, warning
from .fit import size_notice, tight_bends
from .graph import (
    DuctGraph,
    attempted,
    loop_notices,
    run_sections,
    unread_sections,
)
from .islands import Island, islands, with_islands
from .names import no_section, without_section
from .near_misses import Gap, every_gap, near_misses
from .odd_lengths import length_notices
from .pieces import RunSections
from .quantity_words import length_words, section_words, size_words
from .run_names import with_drawn_names
from .run_words import with_run_words
from .schedule import Schedule
from .sections import BoolArray, Shape
from .snap import TOLERANCE
from .source import source_part
from .toml_tables import table_at
from .topology import Topology, join

_PARTS = 3  # whose lengths are each told
# Tables of a schedule without which fittings are what and where they are.
_BESIDE = {
    "air",
    "fan",
    "losses",
    "duct",
    "sections",
    "terminals",
    "rooms",
    "checks",
    "clearance",
    "limits",
    "component",
}
_WIDE, _NARROW = 3.0, 0.04  # m: these sides and beyond smell of another unit


@dataclass(frozen=True, eq=False)
class Audit:
    """What was found in a drawing.

    Parameters
    ----------
    topology
        The joined drawing.
    sections
        Section of each run, after the schedule.
    graph
        The classified graph; None where an error stands in its way.
    findings
        What is odd, errors first, each with its effect and, where it has one, its
        place.
    gaps
        Free ends that stop just short of another duct, or just past it.
    partial
        Where an error stands in the way of `graph`, what there is of it: with any
        section at runs without one, and NaN for an airflow that is wanting. None where
        there is none.
    is_bare
        Whether a run that the air reaches has no section, as all but transitions need.
    """

    topology: Topology
    sections: RunSections
    graph: DuctGraph | None
    findings: tuple[Notice, ...]
    gaps: tuple[Gap, ...] = ()
    partial: DuctGraph | None = None
    is_bare: bool = False


def audit(
    drawing: Drawing, schedule: Schedule | None = None, tolerance: float = TOLERANCE
) -> Audit:
    """Look a drawing through without analysing it.

    Parameters
    ----------
    drawing
        The drawing.
    schedule
        What it cannot say; an empty one if None.
    tolerance
        Largest distance of ends that are joined, m.

    Returns
    -------
    audit
        Everything that can be said of it: also where no source or no airflow is known
        and nothing can be analysed.

    Raises
    ------
    ValueError
        If the tolerance is not above zero and finite.
    """
    schedule = schedule or Schedule()
    # What is wrong with its names is said when the graph is built.
    named, *_ = with_drawn_names(schedule, drawing)
    whole, faults, bare = attempted(drawing, schedule, tolerance)
    drawing = with_run_words(drawing, named)
    topology = join(drawing, tolerance)
    sections = run_sections(drawing, named)
    side = sections.larger_side
    slips = every_gap(topology, sections)
    parts, apart = _parts(topology, named, sections)
    misses, repeated = _with_parts(slips, near_misses(topology, found=slips), apart)
    is_shaped = _is_shaped(named, faults)
    faults, misses = _without_misses(faults, misses)
    found = [
        *drawing.notices,
        *with_islands(topology, apart),
        *misses,
        *_bare(drawing, sections, unread_sections(drawing, named)),
        *_sizes(drawing, sections),
        *parts,
    ]
    graph = whole
    if faults:
        graph = None
        what = {fault.what for fault in faults}  # a missing section is one too
        found = [said for said in found if said.what not in what]
        found += faults
        whole = whole if is_shaped else None
        if whole is None or bare.any():
            found += loop_notices(topology)
            if len(topology.run):
                rows = np.arange(len(topology.run))
                found += length_notices(topology, rows, topology.length, side)
    if whole is not None:
        found += (
            tight_bends(whole, _surely_tight(whole, bare))
            if bare.any()
            else [*whole.notices, *_steps(whole)]
        )
    told_once = [said for said in found if said.sentence not in repeated]
    partial = None if graph is not None else whole
    findings, is_bare = ranked(told_once), bool(bare.any())
    return Audit(topology, sections, graph, findings, tuple(slips), partial, is_bare)


def ranked(found: Iterable[Notice]) -> tuple[Notice, ...]:
    """Notices with each sentence once, the gravest first."""
    by_sentence: dict[str, Notice] = {}
    for notice in found:
        by_sentence.setdefault(notice.sentence, notice)
    order = ["error", "warning", "note"]
    return tuple(
        sorted(by_sentence.values(), key=lambda n: order.index(n.severity.value))
    )


def _with_parts(
    slips: Sequence[Gap],
    misses: Sequence[Notice],
    apart: Iterable[Island],
) -> tuple[list[Notice], set[str]]:
    """Near misses that tell of the part behind them, and what they say so for.

    Parameters
    ----------
    slips, misses
        The gaps of a drawing, and a notice of each.
    apart
        Its separate parts.
    """
    behind: dict[tuple[int, int], list[Island]] = {}
    for part in apart:
        if part.gap is not None:
            behind.setdefault((part.gap.node, part.gap.other), []).append(part)
    told, repeated = [], set()
    for slip, miss in zip(slips, misses, strict=True):
        for part in behind.get((slip.node, slip.other), ()):
            repeated.add(part.notice.sentence)
            effect = (
                f"it parts off run '{part.run}' with a separate part of "
                f"{length_words(part.length)}: {part.effect}"
            )
            miss = replace(miss, effect=effect)
        told.append(miss)
    return told, repeated


def _without_misses(
    faults: Iterable[Notice], misses: Sequence[Notice]
) -> tuple[list[Notice], list[Notice]]:
    """Faults, with what follows from a gap that they say, and the other near misses."""
    told, said = [], set[int]()
    by_remedy: dict[str, list[Notice]] = {}
    for miss in misses:
        by_remedy.setdefault(miss.remedy, []).append(miss)
    for fault in faults:
        same = by_remedy.get(fault.remedy, [])
        # It may be said of the end on the other side of the gap.
        same = [miss for miss in same if miss.place == fault.place] or same
        if len(same) == 1:
            said.add(id(same[0]))
            effects = dict.fromkeys([fault.effect, same[0].effect])
            fault = replace(fault, effect="; ".join(filter(None, effects)))
        told.append(fault)
    return told, [miss for miss in misses if id(miss) not in said]


def _is_shaped(schedule: Schedule, faults: Iterable[Notice]) -> bool:
    """Whether no fault of a schedule lies in what the shape of fittings hangs on."""
    unread = {table for table, _ in schedule.unread}
    named = {table_at(one.where) for one in faults if one not in schedule.faults}
    return unread | (named - {""}) <= _BESIDE


def _surely_tight(graph: DuctGraph, bare: BoolArray) -> BoolArray:
    """Bends between known sections that are too tight whichever way they stand, (b,).

    How a section stands may be carried on from a run whose section is not known.
    """
    bends, ducts = graph.bends, graph.ducts
    side = np.fmin(ducts.width, ducts.height)[bends.duct]
    known = ~bare[ducts.run[bends.duct]] & ~bare[ducts.run[graph.bend_before]]
    is_tight = bends.lacks_radius > 0.0
    return np.asarray(is_tight & known & (bends.side_radius[0] < side / 2))


def _bare(
    drawing: Drawing, sections: RunSections, written: Collection[int]
) -> list[Notice]:
    """Runs without a section, but those that the schedule's file has one for."""
    return [
        warning(
            drawing.place(run),
            no_section(drawing.names[run]),
            without_section(
                drawing.names[run],
                "a line under [sections] in the schedule",
                drawing.file,
            ),
            effect="no result",
            place=drawing.first_middle(run),
        )
        for run in np.flatnonzero(sections.shape == Shape.NONE).tolist()
        if run not in written
        and not (run in drawing.attributes and drawing.attributes[run].transition)
    ]


def _sizes(drawing: Drawing, sections: RunSections) -> list[Notice]:
    """Sizes that no duct is likely to have: the unit may be another."""
    found = []
    large = np.fmax(sections.width, sections.height) >= _WIDE
    small = np.fmin(sections.width, sections.height) < _NARROW
    for run in np.flatnonzero(large | small).tolist():
        size = size_words(
            int(sections.shape[run]),
            float(sections.width[run]),
            float(sections.height[run]),
        )
        found.append(
            size_notice(drawing, run, size, "large" if large[run] else "small")
        )
    return found


def _parts(
    topology: Topology, schedule: Schedule, sections: RunSections
) -> tuple[list[Notice], list[Island]]:
    """Parts that do not hang together, and the nearest gap to that of the source.

    Where nothing says where the source is, it is taken to be in the largest.
    """
    if topology.component_count < 2:
        return [], []
    part = topology.component[topology.ends[:, 0]]
    sizes = np.bincount(part, topology.length, topology.component_count)
    main = source_part(topology, schedule)
    is_known = main is not None
    if main is None:
        main = int(np.argmax(sizes))
    shown = " and ".join(map(length_words, sizes.tolist()))
    if len(sizes) > _PARTS:
        rest = length_words(float(sizes.sum() - sizes[main]))
        which = "with the source" if is_known else "in the longest one"
        shown = (
            f"{length_words(float(sizes[main]))} {which}, {rest} in the "
            f"{len(sizes) - 1} others"
        )
    apart = islands(
        topology, topology.component == main, sections, from_source=is_known
    )
    said = warning(
        topology.drawing.file,
        f"{len(sizes)} separate parts: {shown}",
        "close the gaps between what belongs together",
        effect="only the part with the source is analysed",
    )
    return [said], apart


def _steps(graph: DuctGraph) -> list[Notice]:
    """Sections that change at a point, with no transition drawn or declared."""
    changed = graph.transitions
    ducts = graph.ducts
    found = []
    for row in np.flatnonzero(changed.length_basis == Basis.ASSUMED).tolist():
        after = int(changed.duct[row])
        found.append(
            note(
                f"{graph.drawing.place(int(ducts.run[after]))}, at "
                f"{graph.topology.place(int(ducts.start[after]))}",
                f"the section jumps from {section_words(ducts.arriving(after))} to "
                f"{section_words(graph.section(after))} with no transition drawn",
                "draw the transition as a run with the attribute transition = true, "
                "or declare it under [transitions]",
                effect=f"a piece of {length_words(float(changed.length[row]))} was "
                "assumed, and its loss follows from that",
                place=graph.topology.nodes[int(ducts.start[after])],
            )
        )
    return found
