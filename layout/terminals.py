"""Where the air leaves: free ends matched with what the schedule says of them."""

from collections.abc import Collection
from pathlib import PurePath

import numpy as np

from .basis import Basis
from .faults import BadInput, Notice, and_more, error, refusal
from .fittings import Ducts, Legs, Terminals
from .islands import loose_words
from .names import bare_name, toml_key, unique
from .near_misses import few_gaps, gap_at, gap_words, parts_at
from .nearest import nearest
from .places import NEAR
from .quantity_words import airflow_words, length_words
from .run_names import labels
from .schedule import Schedule
from .sections import IntArray
from .topology import Topology, loops

# How a run's airflow is written in the drawing itself, by the ending of its name.
_IN_DRAWING = {
    ".toml": 'flow = "..." at the run',
    ".glb": "flow_m3s in the extras of the run",
    ".gltf": "flow_m3s in the extras of the run",
    ".vtp": "a cell array flow_m3s",
    ".vtk": "a cell array flow_m3s",
}
_LISTED = 8


def match_terminals(
    topology: Topology,
    ducts: Ducts,
    legs: Legs,
    schedule: Schedule,
    meeting: IntArray,
    other_runs: Collection[str] = (),
) -> Terminals:
    """Give each open end away from the source its name, airflow and declared loss.

    Parameters
    ----------
    topology
        The joined drawing.
    ducts, legs
        What the classifier found.
    schedule
        The schedule; its terminals are matched by the name of the run that ends
        there, by the run they name, or by their place.
    meeting
        Nodes at which the air of a loop meets: no terminals.
    other_runs
        Names of runs and terminals in other drawings that share the schedule.

    Returns
    -------
    terminals
        In order of their ducts; without the ends that are declared closed.

    Raises
    ------
    BadInput
        If a terminal of the schedule is not in the drawing, a free end has no
        airflow, or all are closed.
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
    chosen, disputed, apart = _chosen(
        topology, ducts, leaf.tolist(), schedule, elsewhere, faults
    )

    # A run with a junction along it carries its drawn airflow only before that.
    divided = np.zeros(drawing.run_count, dtype=bool)
    parent = ducts.parent[legs.duct]
    same = ducts.run[legs.duct] == ducts.run[parent]
    divided[ducts.run[legs.duct[same]]] = True
    runs = ducts.run[leaf]
    drawn = np.where(divided[runs], np.nan, drawing.flow[runs])

    flow = drawn.copy()
    basis = np.full(len(leaf), int(Basis.DRAWN))
    loss = np.full(len(leaf), np.nan)
    names = list(map(drawing.names.__getitem__, runs.tolist()))
    for run, said in drawing.attributes.items():
        if said.terminal is not None:
            for place in np.flatnonzero(runs == run).tolist():
                names[place] = said.terminal
    shut = np.zeros(len(leaf), dtype=bool)
    for duct, name in chosen.items():
        place = int(np.searchsorted(leaf, duct))
        spec = schedule.terminals[name]
        shut[place] = spec.is_closed
        names[place] = name
        if not spec.is_drawn:
            flow[place] = spec.flow  # NaN until a load or a share is worked out
            basis[place] = int(Basis.DECLARED)
        if spec.loss is not None:
            loss[place] = spec.loss
    missing = np.flatnonzero(np.isnan(flow)).tolist()
    slips = few_gaps(topology) if missing else []
    for place in missing:
        node = int(ducts.finish[leaf[place]])
        if int(leaf[place]) in disputed:
            continue  # that is said already
        what = "this open end has no airflow"
        spec_of = schedule.terminals.get(chosen.get(int(leaf[place]), ""))
        gap = gap_at(topology, slips, [node])
        if gap is not None and apart.intersection(parts_at(topology, gap)):
            continue  # the gap is said of a terminal behind it
        if gap is not None and spec_of is None:
            short, remedy = gap_words(topology, gap, f"run '{drawing.names[gap.run]}'")
            what += f": {short}"
        elif spec_of is not None and not spec_of.is_drawn:
            remedy = (
                "its load or share gives none until `physics.with_airflows` has worked "
                "it out"
            )
        elif spec_of is None and names[place] in schedule.terminals:
            remedy = (
                f"[terminals.{toml_key(names[place])}] is another end: add a terminal "
                f'with {topology.place_key(node)} and flow = "..." to the schedule'
            )
        else:
            run = int(runs[place])
            remedy = (
                f"add [terminals.{toml_key(names[place])}] with "
                'flow = "...", or closed = true if it is shut, to the schedule'
            )
            written = _IN_DRAWING.get(PurePath(drawing.file).suffix.lower())
            if not divided[run]:
                remedy += f", or write {written}" if written else ""
            elif not np.isnan(drawing.flow[run]):
                # Taken for the end it would change the system if a branch were added.
                what += (
                    f": the {airflow_words(float(drawing.flow[run]))} written at the "
                    "run are its total, with what its branches take"
                )
        faults.append(
            error(
                f"{drawing.place(int(runs[place]))}, at {topology.place(node)}",
                what,
                remedy,
                effect="no result",
                place=topology.nodes[node],
            )
        )
    if faults:
        raise BadInput(faults)
    if not shut.any():
        return Terminals(leaf, tuple(unique(names)), flow, basis, loss, leaf[:0])
    if shut.all():
        raise refusal(schedule.file, "every end is closed", "leave one of them open")
    kept = np.flatnonzero(~shut)
    return Terminals(
        leaf[kept],
        tuple(unique([names[place] for place in kept.tolist()])),
        flow[kept],
        basis[kept],
        loss[kept],
        leaf[shut],
    )


def _chosen(
    topology: Topology,
    ducts: Ducts,
    leaf: list[int],
    schedule: Schedule,
    elsewhere: Collection[str],
    faults: list[Notice],
) -> tuple[dict[int, str], set[int], set[int]]:
    """Duct of each terminal that the schedule names, and ducts that it may mean.

    Last the parts, as in `Topology.component`, of terminals that are not reached.

    `elsewhere` are runs of other drawings that the schedule is for as well.
    """
    if not schedule.terminals:
        return {}, set(), set()
    drawing = topology.drawing
    file, drawn = PurePath(drawing.file), set(drawing.names)
    apart_from = (
        f"give {file.name} a schedule without this terminal, {file.stem}.schedule.toml "
        "beside it, and leave --schedule out if it is given"
    )
    disputed: set[int] = set()
    begins = set(ducts.run[ducts.parent < 0].tolist())
    by_label: dict[str, list[int]] = {}
    for duct in leaf:
        for label in labels(drawing, int(ducts.run[duct])):
            by_label.setdefault(label, []).append(duct)
    chosen: dict[int, str] = {}
    loose = _loose_runs(topology, ducts)
    behind: dict[int, list[tuple[str, str]]] = {}  # keys and names, by their part
    for name, spec in schedule.terminals.items():
        where = f"{schedule.file}, [terminals.{toml_key(name)}]"
        if spec.at is not None:
            ends = topology.nodes[ducts.finish[leaf]]
            apart = np.linalg.norm(ends - np.array(spec.at), axis=1)
            found = [leaf[row] for row in np.flatnonzero(apart <= NEAR).tolist()]
            fault = f"no duct of {file.name} ends at that place; the nearest end is "
            fault += f"{length_words(float(apart.min()))} away"
            remedy = "correct the coordinates in at = [...]"
            source = topology.nodes[ducts.start[ducts.parent < 0]]
            if (np.linalg.norm(source - np.array(spec.at), axis=1) <= NEAR).any():
                fault = "the air enters at that place, so that it cannot leave there"
                remedy = "correct at = [...], or say under [source] where it enters"
            if elsewhere:
                remedy += f", or, if it is of another drawing, {apart_from}"
        else:
            key = spec.run or name
            found = by_label.get(key, [])
            if not found and key not in drawn:
                found = by_label.get(bare_name(key), [])  # its section was changed
            fault, remedy = f"{file.name} has no free end '{key}'", ""
            if key in elsewhere:
                fault += ", as another drawing has"
                remedy = apart_from
            if not found and key in loose:
                behind.setdefault(loose[key], []).append((toml_key(name), key))
                continue
            if not found and key in drawn:
                run = list(drawing.names).index(key)
                if run in begins:
                    fault += ": the source is at the free end of that run"
                    remedy = "name another run under [source], or delete this terminal"
                elif run in ducts.run:
                    fault += f": that run {_lies_on(topology, run)}"
                    if _is_around(topology, run):
                        fault += ", in a loop"
                        remedy = "part the runs that should not meet there, or delete "
                        remedy += "this terminal if the loop is meant"
                else:
                    fault += ": the source does not reach that run"
            if not found and not remedy:
                mine = [labels(drawing, int(ducts.run[duct]))[0] for duct in leaf]
                remedy = _instead(key, list(by_label), mine)
        if not found:
            faults.append(error(where, fault, remedy))
        elif len(found) > 1:
            faults.append(
                error(
                    where,
                    f"{len(found)} free ends of the drawing go by that name",
                    "write a terminal for each, with "
                    + " and ".join(
                        topology.place_key(int(ducts.finish[duct]))
                        for duct in found[:4]
                    )
                    + (" and so on" if len(found) > 4 else ""),
                )
            )
            disputed.update(found)
        elif found[0] in chosen:
            faults.append(
                error(
                    where,
                    f"it is the same end of the drawing as '{chosen[found[0]]}'",
                    "delete one of the two",
                )
            )
        else:
            chosen[found[0]] = name
    for part, those in behind.items():
        between, remedy = loose_words(topology, part, ducts)
        what = _some([f"'{key}'" for _, key in those])
        what += ": the source does not reach "
        what += "them" if len(those) > 1 else "that run"
        faults.append(
            error(
                f"{schedule.file}, {_some([f'[terminals.{key}]' for key, _ in those])}",
                f"{file.name} has no free end{'s' * (len(those) > 1)} {what}, as "
                f"{between}",
                remedy,
            )
        )
    return chosen, disputed, set(behind)


def _lies_on(topology: Topology, run: int) -> str:
    """On which other runs a run without a free end ends, and where."""
    mine = topology.run == run
    nodes, times = np.unique(topology.ends[mine], return_counts=True)
    on = []
    for node in nodes[times == 1].tolist():
        others = np.unique(topology.run[~mine & (topology.ends == node).any(axis=1)])
        names = [f"'{topology.drawing.names[other]}'" for other in others.tolist()]
        if names:
            on.append(f"on {_some(names)} at {topology.place(node)}")
    return f"ends {' and '.join(on)}" if on else "has no end that is free"


def _is_around(topology: Topology, run: int) -> bool:
    """Whether a run is a part of a loop."""
    ends = topology.ends[topology.run == run]
    return topology.cycle_count > 0 and any(
        np.isin(ends, loop).all(axis=1).any() for loop in loops(topology)
    )


def _loose_runs(topology: Topology, ducts: Ducts) -> dict[str, int]:
    """Part of each run that the source does not reach, by each of its labels."""
    part = topology.component[topology.ends[:, 0]]
    loose = part != topology.component[ducts.start[0]]
    return {
        label: int(at)
        for run, at in zip(topology.run[loose], part[loose], strict=True)
        for label in labels(topology.drawing, int(run))
    }


def _some(words: list[str]) -> str:
    """The first few of some words, and how many more."""
    more = and_more(len(words) - _LISTED)
    if more:
        return ", ".join(words[:_LISTED]) + more
    return " and ".join(filter(None, (", ".join(words[:-1]), words[-1])))


def _instead(name: str, known: list[str], ends: list[str]) -> str:
    """What to write instead of a name, of all labels or of one for each free end."""
    near = nearest(name, known)
    if near:
        return f"did you mean '{near}'"
    if not ends:
        return "rename it"
    return "the free ends are " + _some([f"'{label}'" for label in ends])
