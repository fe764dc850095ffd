"""The audit of a drawing before any number: what is odd in it, and what that does."""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from .basis import Basis
from .drawing import Drawing
from .faults import BadInput, Notice, note, warning
from .fit import size_notice
from .graph import (
    DuctGraph,
    build,
    loop_notices,
    run_sections,
)
from .islands import island_notices
from .names import no_section, without_section
from .near_misses import near_misses
from .odd_lengths import length_notices
from .pieces import RunSections
from .quantity_words import length_words, section_words, size_words
from .run_names import with_drawn_names
from .run_words import with_run_words
from .schedule import Schedule
from .sections import Shape
from .snap import TOLERANCE
from .source import source_part
from .topology import Topology, join

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
    """

    topology: Topology
    sections: RunSections
    graph: DuctGraph | None
    findings: tuple[Notice, ...]


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
    drawing = with_run_words(drawing, named)
    topology = join(drawing, tolerance)
    sections = run_sections(drawing, named)
    found = [
        *drawing.notices,
        *topology.notices,
        *near_misses(topology, sections.larger_side),
        *_bare(drawing, sections),
        *_sizes(drawing, sections),
        *_parts(topology, named, sections),
    ]
    graph = None
    try:
        graph = build(drawing, schedule, tolerance=tolerance)
        found += [*graph.notices, *_steps(graph)]
    except BadInput as bad:
        faults = {fault.what for fault in bad.faults}  # a missing section is one too
        found = [said for said in found if said.what not in faults]
        found += [*loop_notices(topology), *bad.faults]
        if len(topology.run):
            rows = np.arange(len(topology.run))
            found += length_notices(
                topology, rows, topology.length, sections.larger_side
            )
    return Audit(topology, sections, graph, ranked(found))


def ranked(found: Iterable[Notice]) -> tuple[Notice, ...]:
    """Notices with each sentence once, the gravest first."""
    by_sentence: dict[str, Notice] = {}
    for notice in found:
        by_sentence.setdefault(notice.sentence, notice)
    order = ["error", "warning", "note"]
    return tuple(
        sorted(by_sentence.values(), key=lambda n: order.index(n.severity.value))
    )


def _bare(drawing: Drawing, sections: RunSections) -> list[Notice]:
    """Runs without a section."""
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
        if not (run in drawing.attributes and drawing.attributes[run].transition)
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
) -> list[Notice]:
    """Parts that do not hang together, and the nearest gap to that of the source.

    Where nothing says where the source is, it is taken to be in the largest.
    """
    if topology.component_count < 2:
        return []
    part = topology.component[topology.ends[:, 0]]
    sizes = np.bincount(part, topology.length, topology.component_count)
    shown = " and ".join(map(length_words, sizes[:6].tolist()))
    main = source_part(topology, schedule)
    is_known = main is not None
    if main is None:
        main = int(np.argmax(sizes))
    return [
        warning(
            topology.drawing.file,
            f"{len(sizes)} separate parts: {shown}",
            "close the gaps between what belongs together",
            effect="only the part with the source is analysed",
        ),
        *island_notices(
            topology,
            topology.component == main,
            sections.larger_side,
            from_source=is_known,
        ),
    ]


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
