"""A schedule to fill in: what a drawing leaves open, in the words that are read."""

from collections import Counter

import numpy as np

from .drawing import NOTHING_SAID
from .faults import BadInput
from .names import toml_key
from .pieces import RunSections
from .places import NEAR, coordinates, place_words
from .run_names import labels
from .schedule import Schedule
from .sections import Shape
from .source import find_source
from .topology import Topology

_OPEN = '"..."'


def draft_schedule(
    topology: Topology, sections: RunSections, schedule: Schedule | None = None
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

    Returns
    -------
    text
        TOML, in which "..." stands where a value is wanted: read as it is, it is
        refused at each of these. Empty where nothing is wanting.
    """
    schedule = schedule or Schedule()
    parts = [
        _source(topology, schedule),
        _terminals(topology, schedule),
        _sections(topology, sections),
    ]
    wanted = [part for part in parts if part]
    if not wanted:
        return ""
    if schedule == Schedule():
        wanted.append(_BEYOND)
    head = (
        f'# For {_comment(topology.drawing.file)}: write a value for each "...", as\n'
        '# "150 L/s" or "320 cfm", "400x250 mm", "D250 mm" or "12x8 in".\n'
    )
    return "\n".join([head, *wanted])


_BEYOND = """\
# What the drawing cannot say either; take off the # where it is known.
# [fan]
# external_static_pressure = "..."
# [losses]
# filter = "..."
# [air]
# temperature = "..."
# altitude = "..."
"""


def _source(topology: Topology, schedule: Schedule) -> str:
    """What there is to say of the source where it cannot be told."""
    if _source_node(topology, schedule) is not None:
        return ""
    lines = ["[source]  # the end at the fan: take the # off one of these"]
    for node in topology.free_ends.tolist():
        run = _run_at(topology, node)
        name = _comment(topology.drawing.names[run])
        lines.append(f"# {_at(topology, node)}  # run '{name}'")
    if len(topology.free_ends) == 0:
        lines.append('# at = ["...", "...", "..."]  # no duct has a free end')
    return "\n".join(lines) + "\n"


def _terminals(topology: Topology, schedule: Schedule) -> str:
    """A table for each free end without an airflow, but for the source."""
    drawing = topology.drawing
    source = _source_node(topology, schedule)
    ends = [node for node in topology.free_ends.tolist() if node != source]
    runs = [_run_at(topology, node) for node in ends]
    shared = Counter(labels(drawing, run)[0] for run in runs)
    taken = set(schedule.terminals)
    lines = []
    for node, run in zip(ends, runs, strict=True):
        name = labels(drawing, run)[0]
        drawn = not np.isnan(drawing.flow[run]) and not _is_divided(topology, run)
        if drawn or _is_said(topology, node, run, schedule):
            continue
        number, key = 1, name
        while key in taken:
            number += 1
            key = f"{name} {number}"
        taken.add(key)
        lines.append(f"[terminals.{toml_key(key)}]")
        lines.append(f"flow = {_OPEN}  # at {place_words(topology.nodes[node])}")
        if shared[name] > 1:
            lines.append(_at(topology, node))
        elif key != name:
            lines.append(f"run = {toml_key(name)}")
    if lines and source is None:
        lines.insert(0, "# The one at the source is none: delete it.")
    return "\n".join([*lines, ""]) if lines else ""


def _sections(topology: Topology, sections: RunSections) -> str:
    """A line for each run without a section."""
    drawing = topology.drawing
    bare = [
        run
        for run in np.flatnonzero(sections.shape == Shape.NONE).tolist()
        if not drawing.attributes.get(run, NOTHING_SAID).transition
    ]
    if not bare:
        return ""
    names = dict.fromkeys(drawing.names[run] for run in bare)
    return "\n".join(["[sections]", *(f"{toml_key(n)} = {_OPEN}" for n in names), ""])


def _source_node(topology: Topology, schedule: Schedule) -> int | None:
    try:
        return find_source(topology, schedule).node
    except BadInput:
        return None


def _is_said(topology: Topology, node: int, run: int, schedule: Schedule) -> bool:
    """Whether a schedule has a terminal for a free end."""
    mine = labels(topology.drawing, run)
    for name, spec in schedule.terminals.items():
        if spec.at is not None:
            if np.linalg.norm(topology.nodes[node] - np.array(spec.at)) <= NEAR:
                return True
        elif (spec.run or name) in mine:
            return True
    return False


def _is_divided(topology: Topology, run: int) -> bool:
    """Whether others branch off along a run: its airflow is that before them."""
    ends = topology.ends[topology.run == run].ravel()
    inner, count = np.unique(ends, return_counts=True)
    return bool((topology.degree[inner[count > 1]] > 2).any())


def _run_at(topology: Topology, node: int) -> int:
    return int(topology.run[topology.segment_at(np.array([node]))[0]])


def _at(topology: Topology, node: int) -> str:
    place = ", ".join(f'"{part} m"' for part in coordinates(topology.nodes[node]))
    return f"at = [{place}]"


def _comment(text: str) -> str:
    """Text for a comment: no sign in it ends the line."""
    return "".join(sign if sign.isprintable() else " " for sign in text)
