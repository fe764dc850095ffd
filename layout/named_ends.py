"""Which free end each terminal of a schedule means, or why there is none."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from pathlib import PurePath
from typing import NamedTuple

import numpy as np

from .drawing import Drawing
from .faults import Notice, error, note, some
from .fittings import Ducts
from .islands import loose_words
from .names import bare_name, numbered, toml_key, without_number
from .nearest import nearest
from .places import NEAR
from .quantity_words import length_words
from .run_names import FIRST, RunNames, labels
from .schedule import Schedule
from .sections import FloatArray
from .topology import Topology, loops

_LISTED = 8


class NamedEnds(NamedTuple):
    """What the terminals of a schedule mean.

    Parameters
    ----------
    terminal
        Name of the terminal at each duct whose free end one means.
    disputed
        Ducts at whose ends several may be meant by one name.
    apart
        Parts, as in `Topology.component`, of terminals that the source does not reach.
    """

    terminal: dict[int, str]
    disputed: set[int]
    apart: set[int]


def without_lent(
    schedule: Schedule, drawing: Drawing, others: Sequence[Collection[str]]
) -> tuple[Schedule, list[Notice]]:
    """Leave out terminals of other drawings whose ends here have one by their own name.

    Parameters
    ----------
    schedule
        Several drawings share it.
    drawing
        The one that it is wanted for.
    others
        Names of the runs and terminals in each other.

    Returns
    -------
    schedule, notices
        The same object where nothing is left out, else what is said of that.
    """
    if not others or not schedule.terminals:
        return schedule, []
    find = RunNames(drawing, others)
    keys = {
        name: spec.run or name
        for name, spec in schedule.terminals.items()
        if spec.at is None
    }
    lent = {name: key for name, key in keys.items() if find.is_lent(key)}
    own = {run for name in keys.keys() - lent for run in find(keys[name])}
    out = {
        name: runs
        for name, key in lent.items()
        if own.issuperset(runs := find.with_other_section(key)) and runs
    }
    if not out:
        return schedule, []
    kept = {name: spec for name, spec in schedule.terminals.items() if name not in out}
    words = [f"'{name}' for '{run}'" for name, runs in out.items() for run in runs]
    what = f"terminals that {schedule.file} has from another drawing are left out, as "
    what += f"it has others by the names here: {_some(words)}"
    remedy = "give this drawing a schedule of its own if they are meant here"
    return replace(schedule, terminals=kept), [note(drawing.file, what, remedy)]


def named_ends(
    topology: Topology,
    ducts: Ducts,
    leaf: list[int],
    schedule: Schedule,
    elsewhere: Collection[str],
    faults: list[Notice],
) -> NamedEnds:
    """Find the free end that each terminal of a schedule means.

    Parameters
    ----------
    topology, ducts
        The joined drawing and its ducts.
    leaf
        Ducts with a free end.
    schedule
        Its terminals go by the name of the run that ends there, by the run that they
        name, or by their place.
    elsewhere
        Names of runs of other drawings that the schedule is for as well.
    faults
        List that a fault is added to for each terminal that means no end, several, or
        that of another.

    Returns
    -------
    ends
        The ends that are meant by one terminal each, and what else is known of others.
    """
    if not schedule.terminals:
        return NamedEnds({}, set(), set())
    keys = [spec.run or name for name, spec in schedule.terminals.items()]
    ends = _free_ends(topology, ducts, leaf, elsewhere, keys)
    loose = _loose_runs(topology, ducts)
    chosen: dict[int, str] = {}
    disputed: set[int] = set()
    behind: dict[int, list[tuple[str, str]]] = {}  # keys and names, by their part
    meant = {
        name: _called(ends, spec.run or name)
        if spec.at is None
        else _near(ends, spec.at)
        for name, spec in schedule.terminals.items()
    }
    alone = {found[0] for found in meant.values() if len(found) == 1}
    for name, spec in schedule.terminals.items():
        where = f"{schedule.file}, [terminals.{toml_key(name)}]"
        key, found = spec.run or name, meant[name]
        if len(found) > 1:  # by a name of several: that which no other one means
            left = [duct for duct in found if duct not in alone]
            found = left if len(left) == 1 else found
        if len(found) == 1 and found[0] not in chosen:
            chosen[found[0]] = name
        elif len(found) == 1:
            what = f"it is the same end of the drawing as '{chosen[found[0]]}'"
            remedy = "delete one of the two"
            if key in elsewhere:
                run = topology.drawing.names[int(ducts.run[found[0]])]
                remedy = f"say it of '{run}' by that name"
            faults.append(error(where, what, remedy))
        elif found:
            places = [topology.place_key(int(ducts.finish[duct])) for duct in found[:4]]
            names = [topology.drawing.names[int(ducts.run[duct])] for duct in found]
            shown = _some([f"'{one}'" for one in names])
            apart = _names_apart(ends, found)
            faults.append(
                error(
                    where,
                    f"{len(found)} free ends of the drawing go by that name"
                    + f": {shown}" * (len(set(names)) == len(names)),
                    f"write a terminal for each, with {' and '.join(places)}"
                    + " and so on" * (len(found) > 4)
                    + (f", or named {apart}" if apart else ""),
                )
            )
            disputed.update(found)
        elif spec.at is not None:
            faults.append(error(where, *_none_near(ends, spec.at)))
        elif key in loose:
            behind.setdefault(loose[key], []).append((toml_key(name), key))
        else:
            faults.append(error(where, *_none_called(ends, key)))
    faults += [
        _unreached(topology, ducts, schedule.file, part, those)
        for part, those in behind.items()
    ]
    return NamedEnds(chosen, disputed, set(behind))


@dataclass(frozen=True, eq=False)
class _FreeEnds:
    """Free ends of a drawing, by their ducts and labels, and the names of all runs."""

    topology: Topology
    ducts: Ducts
    leaf: list[int]
    by_label: dict[str, list[int]]
    drawn: set[str]
    elsewhere: Collection[str]
    runs_called: RunNames | None  # None where no number of a copy is in question

    @property
    def drawing(self) -> Drawing:
        return self.topology.drawing

    @property
    def file(self) -> PurePath:
        return PurePath(self.drawing.file)


def _free_ends(
    topology: Topology,
    ducts: Ducts,
    leaf: list[int],
    elsewhere: Collection[str],
    keys: Collection[str],
) -> _FreeEnds:
    by_label: dict[str, list[int]] = {}
    for duct in leaf:
        for label in labels(topology.drawing, int(ducts.run[duct])):
            by_label.setdefault(label, []).append(duct)
    drawn = set(topology.drawing.names)
    runs_called = None
    has_copies = any(without_number(label) != label for label in by_label)
    if has_copies or any(FIRST in key for key in keys):
        runs_called = RunNames(topology.drawing)
    return _FreeEnds(topology, ducts, leaf, by_label, drawn, elsewhere, runs_called)


def _names_apart(ends: _FreeEnds, found: list[int]) -> str:
    """Names that mean one of some free ends each, in words; empty if one has none."""
    drawing = ends.drawing
    find = RunNames(drawing)
    ends = replace(ends, runs_called=find)
    names = [find.alone(drawing.names[int(ends.ducts.run[duct])]) for duct in found]
    if any(
        _called(ends, name) != [duct] for name, duct in zip(names, found, strict=True)
    ):
        return ""
    return _some([f"'{name}'" for name in names])


def _near(ends: _FreeEnds, at: tuple[float, float, float]) -> list[int]:
    """Ducts that end at a place, m."""
    apart = _distances(ends, at)
    return [ends.leaf[row] for row in np.flatnonzero(apart <= NEAR).tolist()]


def _distances(ends: _FreeEnds, at: tuple[float, float, float]) -> FloatArray:
    """How far each free end is from a place, m."""
    points = ends.topology.nodes[ends.ducts.finish[ends.leaf]]
    return np.asarray(np.linalg.norm(points - np.array(at), axis=1))


def _none_near(ends: _FreeEnds, at: tuple[float, float, float]) -> tuple[str, str]:
    """Fault and remedy of a place, m, at which no duct ends."""
    ducts, nodes = ends.ducts, ends.topology.nodes
    fault = f"no duct of {ends.file.name} ends at that place; the nearest end is "
    fault += f"{length_words(float(_distances(ends, at).min()))} away"
    remedy = "correct the coordinates in at = [...]"
    source = nodes[ducts.start[ducts.parent < 0]]
    if (np.linalg.norm(source - np.array(at), axis=1) <= NEAR).any():
        fault = "the air enters at that place, so that it cannot leave there"
        remedy = "correct at = [...], or say under [source] where it enters"
    if ends.elsewhere:
        remedy += f", or, if it is of another drawing, {_schedule_apart(ends)}"
    return fault, remedy


def _called(ends: _FreeEnds, key: str) -> list[int]:
    """Ducts whose free ends go by a name."""
    found = ends.by_label.get(key, [])
    if not found and key not in ends.drawn and not numbered(key)[1]:
        found = ends.by_label.get(bare_name(key), [])  # its section was changed
    if ends.runs_called is None:
        return found
    runs = ends.runs_called(key)
    alike = (duct for run in runs for duct in ends.by_label.get(run, []))
    return sorted({*found, *alike})


def _none_called(ends: _FreeEnds, key: str) -> tuple[str, str]:
    """Fault and remedy of a name that no free end goes by."""
    topology, ducts = ends.topology, ends.ducts
    fault, remedy = f"{ends.file.name} has no free end '{key}'", ""
    if key in ends.elsewhere:
        fault += ", as another drawing has"
        remedy = _schedule_apart(ends)
    called = (r for r, name in enumerate(ends.drawing.names) if name == key)
    by_label = (
        run for run in range(ends.drawing.run_count) if key in labels(ends.drawing, run)
    )
    run = next(called, next(by_label, None))
    if run is not None:
        if run in ducts.run[ducts.parent < 0]:
            fault += ": the source is at the free end of that run"
            remedy = "name another run under [source], or delete this terminal"
        elif run in ducts.run:
            fault += f": that run {_lies_on(topology, run)}"
            if _is_around(topology, run):
                fault += ", in a loop"
                remedy = "part the runs that should not meet there, or delete "
                remedy += "this terminal if the loop is meant"
        elif run not in topology.run:
            fault += ": all of that run lies on others, or it has no length"
            remedy = "delete this terminal, or draw the run apart from the others"
        else:
            fault += ": the source does not reach that run"
    if not remedy:
        mine = [labels(ends.drawing, int(ducts.run[duct]))[0] for duct in ends.leaf]
        remedy = _instead(key, list(ends.by_label), mine)
    return fault, remedy


def _schedule_apart(ends: _FreeEnds) -> str:
    """How to give a drawing a schedule without the terminal of another."""
    return (
        f"give {ends.file.name} a schedule without this terminal, "
        f"{ends.file.stem}.schedule.toml beside it, and leave --schedule out if it is "
        "given"
    )


def _unreached(
    topology: Topology,
    ducts: Ducts,
    file: str,
    part: int,
    those: list[tuple[str, str]],
) -> Notice:
    """Say of terminals, keys and names, that a part has them without the source."""
    between, remedy = loose_words(topology, part, ducts)
    what = _some([f"'{key}'" for _, key in those])
    what += ": the source does not reach "
    what += "them" if len(those) > 1 else "that run"
    name = PurePath(topology.drawing.file).name
    return error(
        f"{file}, {_some([f'[terminals.{key}]' for key, _ in those])}",
        f"{name} has no free end{'s' * (len(those) > 1)} {what}, as {between}",
        remedy,
    )


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
    """The same as `some`, with an 'and' before the last where all are shown."""
    if len(words) > _LISTED:
        return some(words, _LISTED)
    return " and ".join(filter(None, (", ".join(words[:-1]), words[-1])))


def _instead(name: str, known: list[str], ends: list[str]) -> str:
    """What to write instead of a name, of all labels or of one for each free end."""
    plain = numbered(name)[0]
    near = plain if plain in known else nearest(name, known)
    if near:
        return f"did you mean '{near}'"
    if not ends:
        return "rename it"
    return "the free ends are " + _some([f"'{label}'" for label in ends])
