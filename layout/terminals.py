"""Where the air leaves: free ends matched with what the schedule says of them."""

from collections.abc import Collection, Mapping

import numpy as np

from .faults import Notice, error
from .fittings import Ducts, Terminals
from .named_ends import named_ends
from .names import bare_name, toml_key, unique
from .near_misses import Gap, few_gaps, gap_at, gap_words, parts_at
from .quantity_words import airflow_words
from .run_names import labels
from .schedule import Schedule, TerminalSpec
from .sections import BoolArray, IntArray
from .shared_lines import SharedLine, end_flows, shared_words
from .topology import Topology


def match_terminals(
    topology: Topology,
    ducts: Ducts,
    schedule: Schedule,
    meeting: IntArray,
    other_runs: Collection[str],
    lines: Mapping[int, SharedLine],
) -> tuple[Terminals, list[Notice]]:
    """Give each open end away from the source its name, airflow and declared loss.

    Parameters
    ----------
    topology
        The joined drawing.
    ducts
        What the classifier found.
    schedule
        The schedule; its terminals are matched by the name of the run that ends
        there, by the run they name, or by their place.
    meeting
        Nodes at which the air of a loop meets: no terminals.
    other_runs
        Names of runs and terminals in other drawings that share the schedule.
    lines
        The runs that share a stretch with others, from `shared_lines`.

    Returns
    -------
    terminals, faults
        In order of their ducts; without the ends that are declared closed. A fault for
        each terminal of the schedule that is not in the drawing and each free end
        without an airflow, which has NaN, and one if all are closed.
    """
    drawing = topology.drawing
    has_child = np.zeros(len(ducts.run), dtype=bool)
    has_child[ducts.parent[ducts.parent >= 0]] = True
    leaf = np.flatnonzero(~has_child)
    if len(meeting):
        leaf = leaf[~np.isin(ducts.finish[leaf], meeting)]
    faults: list[Notice] = []
    elsewhere = {*other_runs, *map(bare_name, other_runs)}
    if elsewhere:
        for run in range(drawing.run_count):
            elsewhere.difference_update(labels(drawing, run))
    named = named_ends(topology, ducts, leaf.tolist(), schedule, elsewhere, faults)

    divided = divided_runs(topology, int(ducts.start[0]))
    runs = ducts.run[leaf]
    drawn = np.where(divided[runs], np.nan, drawing.flow[runs])
    for run in lines:
        divided[run] = not lines[run].is_of_end
    drawn = end_flows(topology, lines, ducts.finish[leaf], runs, drawn)
    flow = drawn.copy()
    loss, coefficient = np.full(len(leaf), np.nan), dict[int, float]()
    names = list(map(drawing.names.__getitem__, runs.tolist()))
    for run, said in drawing.attributes.items():
        if said.terminal is not None:
            for place in np.flatnonzero(runs == run).tolist():
                names[place] = said.terminal
    shut = np.zeros(len(leaf), dtype=bool)
    for duct, name in named.terminal.items():
        place = int(np.searchsorted(leaf, duct))
        spec = schedule.terminals[name]
        shut[place] = spec.is_closed
        names[place] = name
        if not spec.is_drawn:
            flow[place] = spec.flow  # NaN until a load or a share is worked out
        if spec.loss is not None:
            loss[place] = spec.loss
        if spec.coefficient is not None:
            coefficient[place] = spec.coefficient
    missing = np.flatnonzero(np.isnan(flow)).tolist()
    slips = few_gaps(topology) if missing else []
    for place in missing:
        duct, run = int(leaf[place]), int(runs[place])
        node = int(ducts.finish[duct])
        if duct in named.disputed:
            continue  # that is said already
        gap = gap_at(topology, slips, [node])
        if gap is not None and named.apart.intersection(parts_at(topology, gap)):
            continue  # the gap is said of a terminal behind it
        named_so = named.terminal.get(duct, "")
        if ("terminals", named_so) in schedule.unread:
            continue  # a fault of the schedule's file
        spec_of = schedule.terminals.get(named_so)
        is_divided = bool(divided[run])
        faults.append(
            _without_airflow(
                topology,
                schedule,
                run,
                node,
                names[place],
                spec_of,
                gap,
                is_divided,
                lines,
            )
        )
    if not shut.any():
        names_of = tuple(unique(names))
        return Terminals(leaf, names_of, flow, loss, leaf[:0], coefficient), faults
    if shut.all():
        remedy = "leave one of them open"
        faults.append(error(schedule.file, "every end is closed", remedy))
    kept = np.flatnonzero(~shut)
    terminals = Terminals(
        leaf[kept],
        tuple(unique([names[place] for place in kept.tolist()])),
        flow[kept],
        loss[kept],
        leaf[shut],
        {
            row: coefficient[p]
            for row, p in enumerate(kept.tolist())
            if p in coefficient
        },
    )
    return terminals, faults


def divided_runs(topology: Topology, source: int | None) -> BoolArray:
    """Runs that air joins or leaves between their ends, shape (r,).

    An airflow written there need not be that of an end, whichever way the air goes
    around loops. `source` is the node at which the air enters, None if not known.
    """
    count = len(topology.nodes)
    keys = topology.run.repeat(2) * count + topology.ends.ravel()
    inner, times = np.unique(keys, return_counts=True)
    run, node = np.divmod(inner[times > 1], count)
    out = np.zeros(topology.drawing.run_count, dtype=bool)
    out[run[(topology.degree[node] > 2) | (node == source)]] = True
    return out


def _without_airflow(
    topology: Topology,
    schedule: Schedule,
    run: int,
    node: int,
    name: str,
    spec: TerminalSpec | None,
    gap: Gap | None,
    is_divided: bool,
    lines: Mapping[int, SharedLine],
) -> Notice:
    """Say of a free end that it has no airflow.

    Parameters
    ----------
    topology, schedule
        The joined drawing and its schedule.
    run, node, name
        Run that ends there, the node of its end, and the name of the terminal.
    spec
        The terminal of the schedule that it is, if any.
    gap
        The gap to what may have to be joined there, if any.
    is_divided
        Whether air joins or leaves the run on the way.
    lines
        The runs that share a stretch with others.
    """
    drawing = topology.drawing
    what = "this open end has no airflow"
    if gap is not None and spec is None:
        short, remedy = gap_words(topology, gap, f"run '{drawing.names[gap.run]}'")
        what += f": {short}"
    elif spec is not None and not spec.is_drawn:
        remedy = (
            "its load or share gives none until `physics.with_airflows` has worked it "
            "out"
        )
    elif spec is None and name in schedule.terminals:
        remedy = (
            f"[terminals.{toml_key(name)}] is another end: add a terminal with "
            f'{topology.place_key(node)} and flow = "..." to '
            + schedule.called(drawing.file)
        )
    else:
        remedy = (
            f"add [terminals.{toml_key(name)}] with "
            'flow = "...", or closed = true if it is shut, to '
            + schedule.called(drawing.file)
        )
        if not is_divided:
            remedy += f", or write {drawing.flow_key}" if drawing.flow_key else ""
        elif np.isnan(drawing.flow[run]):
            pass
        elif run in lines:
            what += shared_words(drawing, lines, run)
        else:
            # Taken for the end it would change the system if a branch were added.
            what += (
                f": the {airflow_words(float(drawing.flow[run]))} written at the "
                "run need not be those of this end, as air joins or leaves it on the "
                "way"
            )
    return error(
        topology.place_in(run, node),
        what,
        remedy,
        effect="no result",
        place=topology.nodes[node],
    )
