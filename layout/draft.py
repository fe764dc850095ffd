"""A schedule to fill in: what a drawing leaves open, in the words that are read."""

from collections import Counter
from collections.abc import Collection, Sequence

import numpy as np
from scipy.spatial import cKDTree

from .drawing import NOTHING_SAID, Drawing
from .faults import BadInput
from .graph import unread_sections
from .names import toml_key, without_number
from .near_misses import Gap, gap_words
from .pieces import RunSections
from .places import NEAR
from .quantity_words import airflow_words, length_words
from .run_names import goes_by, labels, with_drawn_names
from .run_words import flexible_runs
from .schedule import FLEXIBLE, Schedule
from .sections import Shape
from .shared_lines import end_flows, shared_lines
from .source import between_runs, find_source, named_sources
from .terminals import divided_runs
from .toml_tables import OPEN
from .topology import Topology

_OPEN = f'"{OPEN}"'
_BESIDE = 1.1  # of a gap: how far its two ends may be apart where they lie askew
_AT_GAPS = (
    "# Ends that nearly meet another duct: close these gaps in the drawing first, and",
    "# take the # off only where one is a terminal all the same.",
)
End = tuple[int, int, tuple[str, ...]]  # a free end: node, run, names of the run


def draft_schedule(
    topology: Topology,
    sections: RunSections,
    schedule: Schedule | None = None,
    gaps: Sequence[Gap] = (),
    *,
    whole: bool = False,
) -> str:
    """Write a schedule that asks for what a drawing leaves open.

    Parameters
    ----------
    topology
        The joined drawing.
    sections
        Section of each run.
    schedule
        What is said already, which is not asked again; nothing if None.
    gaps
        Where free ends nearly meet another duct: these are no terminals to fill in,
        and stand there as comments.
    whole
        Whether what no drawing says is offered, as comments, also where nothing is
        wanting; not beside what is said already.

    Returns
    -------
    text
        TOML, in which "..." stands where a value is wanted: read as it is, it is
        refused at each of these. Empty where nothing is wanting, unless `whole`.
    """
    schedule = schedule or Schedule()
    source = _source_node(topology, schedule)
    ends = [
        (node, run, labels(topology.drawing, run))
        for node, run in zip(
            topology.free_ends.tolist(),
            topology.run[topology.segment_at(topology.free_ends)].tolist(),
            strict=True,
        )
        if node != source
    ]
    asked, drawn = _terminals(topology, schedule, ends, source, gaps)
    parts = [
        asked,
        _sections(topology, sections, unread_sections(topology.drawing, schedule)),
    ]
    if source is None:
        parts.insert(0, _source(topology, ends))
    wanted = [part for part in parts if part]
    nothing_said = schedule == Schedule()
    if not wanted and not (whole and nothing_said):
        return ""
    if nothing_said:
        # Where the source is asked for, so is its side: a table is written once.
        side = f"# [source]\n{_SIDE}\n" if source is not None else ""
        soft = _flexible(topology.drawing, schedule)
        wanted.append(f"{_HEAD}{side}{_BEYOND}{drawn}{soft}")
    head = (
        f'# For {_comment(topology.drawing.file)}: write a value for each "...", as\n'
        '# "150 L/s" or "320 cfm", "400x250 mm", "D250 mm" or "12x8 in".\n'
    )
    return "\n".join([head, *wanted])


_HEAD = "# What the drawing cannot say; take off the # where it is known.\n"
_SIDE = '# side = "return"  # of a return or an exhaust: its air flows to the source'
_BEYOND = """\
# [fan]
# external_static_pressure = "..."
# [losses]
# filter = "..."
# [air]
# temperature = "..."
# altitude = "..."
# [checks]
# use = "..."  # residential, commercial or industrial
# [elbows]
# construction = "..."  # smooth radius, mitred, segmented ...
# [duct]
# material = "..."  # elbowroom sources --materials lists them
# [runs.NAME]
# roll = "..."  # of a run whose section stands turned, or up = [0, 0, 1]
"""


def _source(topology: Topology, ends: list[End]) -> str:
    """Every free end as what the source may be, and the few places between two runs."""
    lines = ["[source]  # the end at the fan: take the # off one of these"]
    for node, run, _ in ends:
        name = _comment(topology.drawing.names[run])
        lines.append(f"# {topology.place_key(node)}  # run '{name}'")
    names = topology.drawing.names
    for node, runs in between_runs(topology).items():
        two = " and ".join(f"'{_comment(names[run])}'" for run in runs)
        lines.append(f"# {topology.place_key(node)}  # between {two}")
    if not ends:
        lines.append('# at = ["...", "...", "..."]  # no duct has a free end')
    lines.append(_SIDE)
    return "\n".join(lines) + "\n"


def _flexible(drawing: Drawing, schedule: Schedule) -> str:
    """Comments that ask of the runs drawn flexible what they are of."""
    names = dict.fromkeys(
        drawing.names[run] for run in flexible_runs(drawing, schedule)
    )
    return "".join(
        f"# [duct.runs.{toml_key(name)}]  # drawn flexible\n"
        f'# material = "{FLEXIBLE}"\n# compression = {_OPEN}\n'
        for name in names
    )


def _terminals(
    topology: Topology,
    schedule: Schedule,
    ends: list[End],
    source: int | None,
    gaps: Sequence[Gap],
) -> tuple[str, str]:
    """A table for each free end without an airflow, those at a gap as comments.

    Behind it comments that ask of each of the others its loss.
    """
    drawing = topology.drawing
    known = goes_by(
        drawing,
        [spec.run or n for n, spec in schedule.terminals.items() if spec.at is None],
        [run for _, run, _ in ends],
    )
    at = _said_by_place(topology, [node for node, _, _ in ends], schedule)
    nodes = np.array([node for node, _, _ in ends], dtype=np.int64)
    last = np.array([run for _, run, _ in ends], dtype=np.int64)
    drawn = drawing.flow[last]
    drawn[divided_runs(topology, source)[last]] = np.nan
    if source is not None:
        drawn = end_flows(topology, shared_lines(topology, source), nodes, last, drawn)
    unsaid = [
        (end, flow)
        for end, flow in zip(ends, drawn.tolist(), strict=True)
        if end[0] not in at and known.isdisjoint(end[2])
    ]
    wanting = [end for end, flow in unsaid if np.isnan(flow)]
    shared = Counter(names[0] for _, _, names in ends)
    # An end that is not asked for leaves the name of others in doubt.
    alike, asked = (
        Counter(without_number(names[0]) for _, _, names in those)
        for those in (ends, wanting)
    )
    runs = Counter(
        label for run in range(drawing.run_count) for label in labels(drawing, run)
    )
    taken = set(schedule.terminals)
    lines, slips, with_flow = [], [], []
    at_gap = _at_gaps(topology, gaps)
    unsaid.sort(key=lambda end: not np.isnan(end[1]))  # names go to those asked first
    for (node, run, names), flow in unsaid:
        name = names[0]
        # Without its section a name goes on fitting when the sizes change.
        if name == drawing.names[run] and runs[names[-1]] == 1:
            name = names[-1]
        number, key = 1, name
        while key in taken:
            number += 1
            key = f"{name} {number}"
        taken.add(key)
        table = [f"[terminals.{toml_key(key)}]"]
        table.append(f"flow = {_OPEN}  # at {topology.place(node)}")
        plain = without_number(names[0])
        told = asked[plain] if np.isnan(flow) else 1
        if shared[names[0]] > 1 or alike[plain] > told:
            table.append(topology.place_key(node))
        elif key != name:
            table.append(f"run = {toml_key(name)}")
        if not np.isnan(flow):
            said = f"at {topology.place(node)}, {airflow_words(flow)} as drawn"
            table[1] = f"loss = {_OPEN}  # of its grille, {said}"
            with_flow += [f"# {line}\n" for line in table]
        elif node in at_gap:
            table[1] += f", {_comment(at_gap[node])}"
            slips += [f"# {line}" for line in table]
        else:
            lines += table
    if lines:
        lines.insert(0, "# closed = true in place of flow at an end that is shut.")
    if lines and source is None:
        lines.insert(0, "# The one at the source is none: delete it.")
    if lines and slips:
        lines += [*_AT_GAPS, *slips]
    return "\n".join([*lines, ""]) if lines else "", "".join(with_flow)


def _at_gaps(topology: Topology, gaps: Sequence[Gap]) -> dict[int, str]:
    """What is said of the free ends on both sides of each gap, by node."""
    names, free = topology.drawing.names, topology.free_ends
    last = topology.run[topology.segment_at(free)]
    said: dict[int, str] = {}
    for gap in gaps:
        if gap.at_side or gap.past or gap.inside:
            continue  # an end of the other run that is near is its own
        apart = np.linalg.norm(topology.nodes[free] - topology.nodes[gap.node], axis=1)
        near = (last == gap.other) & (apart <= _BESIDE * gap.width)
        words = f"where run '{names[gap.run]}' ends {length_words(gap.width)} off"
        said |= dict.fromkeys(free[near].tolist(), words)
    for gap in gaps:
        said[gap.node] = gap_words(topology, gap)[0]
    return said


def _sections(
    topology: Topology, sections: RunSections, written: Collection[int]
) -> str:
    """A line for each run without a section, but those written in the schedule."""
    drawing = topology.drawing
    bare = [
        run
        for run in np.flatnonzero(sections.shape == Shape.NONE).tolist()
        if run not in written
        and not drawing.attributes.get(run, NOTHING_SAID).transition
    ]
    if not bare:
        return ""
    names = dict.fromkeys(drawing.names[run] for run in bare)
    lines = [f"{toml_key(n)} = {_OPEN}" for n in names]
    head = (
        "[sections]  # of one that is a transition: transition = true under [runs.NAME]"
    )
    return "\n".join([head, *lines, ""])


def _source_node(topology: Topology, schedule: Schedule) -> int | None:
    drawing = topology.drawing
    schedule, *_ = with_drawn_names(schedule, drawing)
    if schedule.source.run is not None and not named_sources(drawing, schedule):
        return None
    try:
        return find_source(topology, schedule).node
    except BadInput:
        return None


def _said_by_place(
    topology: Topology, nodes: list[int], schedule: Schedule
) -> set[int]:
    """Those of some nodes at which a schedule has a terminal by its place."""
    places = [spec.at for spec in schedule.terminals.values() if spec.at is not None]
    if not places or not nodes:
        return set()
    near, _ = cKDTree(places).query(topology.nodes[nodes])
    return set(np.array(nodes)[np.asarray(near) <= NEAR].tolist())


def _comment(text: str) -> str:
    """Text for a comment: no sign in it ends the line."""
    return "".join(sign if sign.isprintable() else " " for sign in text)
