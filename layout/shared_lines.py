"""Runs that lie on others for a part of their way, and whose their airflow is."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from .drawing import NOTHING_SAID, Drawing
from .faults import Notice, error, listed, note
from .quantity_words import airflow_words
from .sections import BoolArray, FloatArray, IntArray
from .topology import Topology, passed

_LISTED = 5


@dataclass(frozen=True)
class SharedLine:
    """A run that shares a stretch with others.

    Parameters
    ----------
    path
        Segments of the topology along it, also those kept of another run; they lead
        to its free end if it has one.
    is_shared
        Whether each lies on another run too.
    is_of_end
        Whether an airflow written at it is that of its free end: there is one, and air
        leaves the run on the way only within or at the end of what it shares from its
        start on. Else it is the total at its start.
    last_joint
        Place in the path behind the last joint with others; 0 where there is none.
    """

    path: tuple[int, ...]
    is_shared: tuple[bool, ...]
    is_of_end: bool
    last_joint: int


def shared_lines(topology: Topology, source: int) -> dict[int, SharedLine]:
    """Find the runs that share a stretch with others; none where nothing was doubled.

    Parameters
    ----------
    topology
        The joined drawing.
    source
        Node at which the air enters: no free end of a line.

    Returns
    -------
    lines
        By run. None of it hangs on the order in which the runs were drawn.
    """
    count = len(topology.ends)
    if len(topology.doubled) == 0:
        return {}
    run, segment, _ = passed(topology)
    _, once = np.unique(run * count + segment, return_index=True)
    is_shared = np.bincount(segment[once], minlength=count) > 1
    lined = np.unique(run[is_shared[segment]])
    begins, ends = run.searchsorted(lined), run.searchsorted(lined, "right")
    return {
        row: _line(topology, source, segment[begin:end], is_shared)
        for row, begin, end in zip(
            lined.tolist(), begins.tolist(), ends.tolist(), strict=True
        )
    }


def _line(
    topology: Topology, source: int, path: IntArray, is_shared: BoolArray
) -> SharedLine:
    ends = topology.ends[path]
    tips = set(ends[topology.degree[ends] == 1].tolist()) - {source}
    tip = tips.pop() if len(tips) == 1 else None
    if tip is not None and tip in ends[0]:
        path, ends = path[::-1], ends[::-1]
    steps, shared = path.tolist(), is_shared[path].tolist()
    leading = [*shared, False].index(False)
    before, behind = ends[:-1], ends[1:]
    is_first = (before[:, :1] == behind).any(axis=1)
    between = np.where(is_first, before[:, 0], before[:, 1])
    joints = (topology.degree[between] > 2).nonzero()[0] + 1
    last = int(joints.max(initial=0))
    once = len(set(steps)) == len(steps)
    return SharedLine(
        tuple(steps),
        tuple(shared),
        once and tip is not None and tip in ends[-1] and last <= leading,
        last,
    )


def lost_faults(topology: Topology, lines: Mapping[int, SharedLine]) -> list[Notice]:
    """Refuse what is written at runs of which nothing is left, or nothing of their own.

    But for the copy of a run that says the same.
    """
    drawing = topology.drawing
    left = set(topology.run.tolist())
    faults = []
    for run in range(drawing.run_count):
        line = lines.get(run)
        if run in left and (line is None or not all(line.is_shared)):
            continue
        mark = drawing.attributes.get(run, NOTHING_SAID).terminal
        flow = float(drawing.flow[run])
        said = [f"its airflow of {airflow_words(flow)}"] * (not np.isnan(flow))
        said += [f"its terminal '{mark}'"] * (mark is not None)
        if not said or (line is not None and _has_twin(topology, lines, run)):
            continue
        on = "lies on others, or it has no length"
        if line is not None:
            on = f"lies on {_named(drawing, _others(lines, run))}"
        faults.append(
            error(
                drawing.place(run),
                f"all of this run {on}: {' and '.join(said)} would be lost",
                "delete the run if it is a copy; else draw its end apart from the "
                "others, or leave out what it says",
                effect="no result",
                place=drawing.first_middle(run),
            )
        )
    return faults


def _has_twin(topology: Topology, lines: Mapping[int, SharedLine], run: int) -> bool:
    """Whether another run lies on all of this one, is no longer, and says the same."""
    drawing, mine = topology.drawing, set(lines[run].path)

    def said(of: int) -> tuple[str, str | None]:
        mark = drawing.attributes.get(of, NOTHING_SAID).terminal
        return f"{drawing.flow[of]:.9g}", mark

    return any(
        other != run and said(other) == said(run) and set(line.path) == mine
        for other, line in lines.items()
    )


def _others(lines: Mapping[int, SharedLine], run: int) -> list[int]:
    """Runs with which one shares a stretch."""
    mine = set(lines[run].path)
    return [
        other
        for other, line in lines.items()
        if other != run and not mine.isdisjoint(line.path)
    ]


def drawn_flows(
    lines: Mapping[int, SharedLine],
    run: IntArray,
    first: IntArray,
    drawn: FloatArray,
) -> FloatArray:
    """Airflow written for each duct where runs share a stretch, m³/s, shape (d,).

    Parameters
    ----------
    lines
        The runs that share a stretch.
    run, first
        Run of each duct and its first segment, shape (d,), in walking order.
    drawn
        What is written at its run, m³/s, shape (d,).

    Returns
    -------
    flow
        NaN where it is not of that duct: a line drawn to its terminal says that of its
        free end alone, any other the total at its own start, if it does not share it.
    """
    out = drawn.copy()
    for number, line in lines.items():
        rows = (run == number).nonzero()[0]
        if line.is_of_end:
            says = np.isin(first[rows], line.path[line.last_joint :])
        else:
            tips = [line.path[at] for at in (0, -1) if not line.is_shared[at]]
            says = (rows == rows[:1]) & np.isin(first[rows], tips)
        out[rows[~says]] = np.nan
    return out


def end_flows(
    topology: Topology,
    lines: Mapping[int, SharedLine],
    nodes: IntArray,
    run: IntArray,
    drawn: FloatArray,
) -> FloatArray:
    """Airflow written for each free end where runs share a stretch, m³/s, shape (t,).

    Parameters
    ----------
    topology, lines
        The joined drawing and its runs that share a stretch.
    nodes, run
        Node of each free end, and the run that was kept there, shape (t,).
    drawn
        What is written for it where nothing is shared, m³/s, shape (t,).

    Returns
    -------
    flow
        NaN where it is in doubt which airflow is that of the end.
    """
    out = drawn.copy()
    if not lines:
        return out
    flow = topology.drawing.flow
    over: dict[int, set[int]] = {}  # lines by the segments at their ends
    for number, line in lines.items():
        for tip in (line.path[0], line.path[-1]):
            over.setdefault(tip, set()).add(number)
    last = topology.segment_at(nodes).tolist()
    for at, own in enumerate(run.tolist()):
        those = {own, *over.get(last[at], ())} & lines.keys()
        if those:
            said = {float(flow[one]) for one in those if lines[one].is_of_end}
            said = {one for one in said if not np.isnan(one)}
            out[at] = said.pop() if len(said) == 1 else np.nan
    return out


def shared_words(drawing: Drawing, lines: Mapping[int, SharedLine], run: int) -> str:
    """Why the airflow of a run that shares a stretch is not that of its free end."""
    flow = airflow_words(float(drawing.flow[run]))
    others = _named(drawing, _others(lines, run))
    return (
        f": the line shares a stretch with {others}, so that "
        f"the {flow} written at it may be its total, with what leaves on the way"
    )


def end_flow_notices(drawing: Drawing, lines: Mapping[int, SharedLine]) -> list[Notice]:
    """List the lines whose airflow was taken for that of their free end."""
    runs = [
        run
        for run, line in lines.items()
        if line.is_of_end and line.last_joint and not np.isnan(drawing.flow[run])
    ]
    if not runs:
        return []
    return [
        note(
            drawing.file,
            f"{_named(drawing, runs)}: the airflow written at a line that shares a "
            "stretch from its start on was taken for that of its free end alone",
            "write it for a terminal in the schedule where another is meant",
        )
    ]


def _named(drawing: Drawing, runs: Sequence[int]) -> str:
    names = [drawing.names[run] for run in runs]
    return f"run{'s' * (len(runs) > 1)} {listed(names, _LISTED)}"
