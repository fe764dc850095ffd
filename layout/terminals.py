"""Where the air leaves: free ends matched with what the schedule says of them."""

import numpy as np

from .basis import Basis
from .faults import BadInput, Notice, error
from .fittings import Ducts, Legs, Terminals
from .names import toml_key
from .nearest import nearest
from .run_names import labels
from .schedule import Schedule
from .sections import IntArray
from .topology import Topology

_NEAR = 0.05  # m: a place written by hand is this near to the end that it means


def match_terminals(
    topology: Topology,
    ducts: Ducts,
    legs: Legs,
    schedule: Schedule,
    meeting: IntArray,
) -> Terminals:
    """Give each free end away from the source its name, airflow and declared loss.

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

    Returns
    -------
    terminals
        In order of their ducts.

    Raises
    ------
    BadInput
        If a terminal of the schedule is not in the drawing, or a free end has no
        airflow.
    """
    drawing = topology.drawing
    has_child = np.zeros(len(ducts.run), dtype=bool)
    has_child[ducts.parent[ducts.parent >= 0]] = True
    leaf = np.flatnonzero(~has_child)
    if len(meeting):
        leaf = leaf[~np.isin(ducts.finish[leaf], meeting)]
    faults: list[Notice] = []
    chosen = _chosen(topology, ducts, leaf.tolist(), schedule, faults)

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
    for duct, name in chosen.items():
        place = int(np.searchsorted(leaf, duct))
        spec = schedule.terminals[name]
        names[place] = name
        flow[place] = spec.flow  # NaN until a load or a share is worked out
        basis[place] = int(Basis.DECLARED)
        if spec.loss is not None:
            loss[place] = spec.loss
    for place in np.flatnonzero(np.isnan(flow)).tolist():
        node = int(ducts.finish[leaf[place]])
        faults.append(
            error(
                f"{drawing.place(int(runs[place]))}, at {topology.place(node)}",
                "this open end has no airflow",
                "its load or share gives none until `physics.with_airflows` has worked "
                "it out"
                if names[place] in schedule.terminals
                else f"add [terminals.{toml_key(names[place])}] with "
                'flow = "..." to the schedule, or write flow_m3s at the run',
                effect="no result",
                place=topology.nodes[node],
            )
        )
    if faults:
        raise BadInput(faults)
    return Terminals(leaf, _unique(names), flow, basis, loss)


def _chosen(
    topology: Topology,
    ducts: Ducts,
    leaf: list[int],
    schedule: Schedule,
    faults: list[Notice],
) -> dict[int, str]:
    """Duct of each terminal that the schedule names."""
    if not schedule.terminals:
        return {}
    drawing = topology.drawing
    by_label: dict[str, list[int]] = {}
    for duct in leaf:
        for label in labels(drawing, int(ducts.run[duct])):
            by_label.setdefault(label, []).append(duct)
    chosen: dict[int, str] = {}
    for name, spec in schedule.terminals.items():
        where = f"{schedule.file}, [terminals.{toml_key(name)}]"
        if spec.at is not None:
            ends = topology.nodes[ducts.finish[leaf]]
            apart = np.linalg.norm(ends - np.array(spec.at), axis=1)
            found = [leaf[row] for row in np.flatnonzero(apart <= _NEAR).tolist()]
            fault = (
                f"no duct ends at that place; the nearest end is {apart.min():.3g} m"
            )
            fault += " away"
            remedy = "correct the coordinates in at = [...]"
        else:
            key = spec.run or name
            found = by_label.get(key, [])
            fault = f"the drawing has no free end '{key}'"
            if key in drawing.names:
                reached = list(drawing.names).index(key) in ducts.run
                fault += (
                    ": both ends of that run lie on others"
                    if reached
                    else ": the source does not reach that run"
                )
            remedy = "" if found else _instead(key, list(by_label))
        if not found:
            faults.append(error(where, fault, remedy))
        elif len(found) > 1:
            faults.append(
                error(
                    where,
                    f"{len(found)} free ends of the drawing go by that name",
                    "tell them apart with at = [x, y, z]",
                )
            )
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
    return chosen


def _instead(name: str, known: list[str]) -> str:
    near = nearest(name, known)
    if near:
        return f"did you mean '{near}'"
    if not known:
        return "rename it"
    return "the free ends are " + ", ".join(f"'{label}'" for label in known[:8])


def _unique(names: list[str]) -> tuple[str, ...]:
    if len(set(names)) == len(names):
        return tuple(names)
    seen: dict[str, int] = {}
    out = []
    for name in names:
        seen[name] = seen.get(name, 0) + 1
        out.append(name if seen[name] == 1 else f"{name} ({seen[name]})")
    return tuple(out)
