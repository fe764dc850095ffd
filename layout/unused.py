"""What a schedule declares of fittings that the drawing does not have."""

from collections.abc import Collection, Mapping
from typing import TYPE_CHECKING

import numpy as np

from .basis import Basis
from .drawing import Drawing
from .faults import Notice, warning
from .fit import end_tap_corners
from .run_names import CLOSED_ENDS, shared_place
from .run_words import flexible_runs
from .schedule import Schedule
from .sections import IntArray
from .transition_rules import changed_mains

if TYPE_CHECKING:
    from .graph import DuctGraph


def unused_notices(graph: "DuctGraph") -> list[Notice]:
    """Say which exceptions and marks of terminals change nothing, each with its run.

    Returns
    -------
    notices
        Warnings, one for each exception that finds no fitting, for each run that is
        marked as a terminal and ends at none, and for a compression of no duct.
    """
    schedule, transitions = graph.schedule, graph.transitions
    said = _marks(graph)
    if schedule.elbow_exceptions:
        said += _elbows(graph)
    if schedule.takeoff_exceptions:
        said += _takeoffs(graph)
    if schedule.closed_ends:
        said += _closed_ends(graph)
    if schedule.transition_exceptions:
        changes = transitions.duct[transitions.length_basis != int(Basis.DRAWN)]
        if not graph.is_return:  # there the tables of junctions have it
            own = graph.legs.duct[changed_mains(graph.ducts, graph.legs)[0]]
            changes = np.concatenate([changes, own])
        said += [
            (
                name,
                "a transition is declared for it, but no change of section that is "
                "not drawn as a run of its own lies at its start",
                "delete it under [[transitions.exception]], or name the run behind "
                "the change",
            )
            for name in _others(
                graph,
                schedule.transition_exceptions,
                _alike(schedule, "[[transitions.exception]]"),
                changes,
            )
        ]
    drawing = graph.drawing
    number = {name: run for run, name in enumerate(drawing.names)} if said else {}
    return [
        *_compression(drawing, schedule),
        *(
            warning(
                drawing.place(number[name]),
                what,
                remedy,
                place=drawing.first_middle(number[name]),
            )
            for name, what, remedy in said
            if name in number
        ),
    ]


def _compression(drawing: Drawing, schedule: Schedule) -> list[Notice]:
    """That of all flexible ducts, where there is none."""
    if schedule.compression is None or flexible_runs(drawing, schedule):
        return []
    return [
        warning(
            f"{schedule.file}, [duct] compression",
            f"it is declared, but no run of {drawing.file} is of flexible duct",
            "write a flexible material for the runs that are, under [duct] or "
            "[duct.runs.NAME], or delete it",
            effect="none: no friction is multiplied for it",
        )
    ]


def _marks(graph: "DuctGraph") -> list[tuple[str, str, str]]:
    drawing, ducts, terminals = graph.drawing, graph.ducts, graph.terminals
    marked = {run for run, a in drawing.attributes.items() if a.terminal is not None}
    if not marked:
        return []
    marked &= set(ducts.run.tolist())  # of parts not reached something is said already
    marked -= set(ducts.run[terminals.duct].tolist())
    marked -= set(ducts.run[terminals.closed].tolist())
    return [
        (
            drawing.names[run],
            f"it is marked as the terminal '{drawing.attributes[run].terminal}', but "
            "none of its ends is one",
            "put the mark on the run that ends there, or delete it",
        )
        for run in sorted(marked)
    ]


def _alike(schedule: Schedule, place: str) -> dict[str, tuple[str, ...]]:
    """Runs of which a place says something by one name, by each of them."""
    shared = schedule.shared or {}
    return {
        run: runs
        for (where, _), runs in shared.items()
        if where == place
        for run in runs
    }


def _others(
    graph: "DuctGraph",
    names: Collection[str],
    alike: Mapping[str, tuple[str, ...]],
    duct: IntArray,
) -> list[str]:
    """Names of runs that none of some ducts belongs to; of runs alike the first."""
    runs = np.unique(graph.ducts.run[duct]).tolist()
    used = {graph.drawing.names[run] for run in runs}
    groups = dict.fromkeys(alike.get(name, (name,)) for name in names)
    return [group[0] for group in groups if used.isdisjoint(group)]


def _elbows(graph: "DuctGraph") -> list[tuple[str, str, str]]:
    names, bends = graph.drawing.names, graph.bends
    by_run: dict[str, set[int]] = {}
    runs = graph.ducts.run[bends.duct].tolist()
    for run, number in zip(runs, bends.number.tolist(), strict=True):
        by_run.setdefault(names[run], set()).add(number)
    legs = graph.legs
    taps = {names[run] for run in graph.ducts.run[legs.duct[legs.leg_count == 2]]}
    said = []
    wanted = graph.schedule.elbow_exceptions
    alike = {
        bend: _alike(graph.schedule, shared_place("[[elbows.exception]]", bend))
        for bend in {bend for _, bend in wanted}
    }
    for group, bend in dict.fromkeys((alike[b].get(r, (r,)), b) for r, b in wanted):
        those = [by_run[run] for run in group if run in by_run]
        if any(bend == 0 or bend in there for there in those):
            continue
        # Of several runs alike another may have no bend.
        name = max(group, key=lambda run: len(by_run.get(run, ())))
        there = by_run.get(name, set())
        which = f"its bend {bend}" if bend else "it"
        if there:
            shown = ", ".join(map(str, sorted(there)))
            has = f"the run has {'bend' if len(there) == 1 else 'bends'} {shown} only"
            remedy = "correct the number under [[elbows.exception]]"
        else:
            has = "no elbow lies in it or at its start"
            remedy = "delete it under [[elbows.exception]]"
        if name in taps:
            has += " (the tap at its start, counted as a bend, is no elbow)"
        said.append((name, f"an elbow is declared for {which}, but {has}", remedy))
    return said


def _takeoffs(graph: "DuctGraph") -> list[tuple[str, str, str]]:
    sides, wanted = (graph.legs, graph.meetings), graph.schedule.takeoff_exceptions
    branches = np.concatenate([side.duct[side.is_branch] for side in sides])
    return [
        (
            name,
            "a takeoff entry is declared for it, but it is no branch: it does not "
            "begin at a junction, or goes straight on there",
            "delete it under [[takeoffs.exception]], or name "
            + _branch_before(graph, branches, name),
        )
        for name in _others(
            graph, wanted, _alike(graph.schedule, "[[takeoffs.exception]]"), branches
        )
    ]


def _branch_before(graph: "DuctGraph", branches: IntArray, name: str) -> str:
    """The run with which the branch begins that a run goes on, in words."""
    names, ducts = graph.drawing.names, graph.ducts
    mine = [duct for duct, run in enumerate(ducts.run.tolist()) if names[run] == name]
    begun = {*graph.legs.duct.tolist(), *graph.meetings.duct.tolist()}
    duct = mine[0] if mine else -1
    while duct >= 0 and duct not in begun:
        duct = int(ducts.parent[duct])
    if duct < 0 or duct not in branches:
        return "the branch"
    return f"'{names[ducts.run[duct]]}', with which its branch begins"


def _closed_ends(graph: "DuctGraph") -> list[tuple[str, str, str]]:
    declared = graph.schedule.closed_ends
    wanted = [name for name, is_closed in declared.items() if is_closed]
    unwanted = [name for name, is_closed in declared.items() if not is_closed]
    taps = graph.legs.duct[graph.legs.leg_count == 2]
    corners = graph.bends.duct[end_tap_corners(graph)]
    alike = _alike(graph.schedule, CLOSED_ENDS)
    return [
        *(
            (
                name,
                "it is declared a tap at the closed end of a duct, but it does not "
                "begin alone at the end of one at 60 degrees or more",
                "delete closed_end for it under [[takeoffs.exception]], or draw it so",
            )
            for name in _others(graph, wanted, alike, taps)
        ),
        *(
            (
                name,
                "closed_end = false is declared for it, but it does not begin where "
                "a tap at the closed end of a duct might be meant",
                "delete closed_end for it under [[takeoffs.exception]]",
            )
            for name in _others(graph, unwanted, alike, corners)
        ),
    ]
