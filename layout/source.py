"""Where the air comes from: the end of the drawing that is the source."""

import numpy as np

from .drawing import NOTHING_SAID, Drawing
from .faults import BadInput, Notice, refusal, some, warning
from .fittings import Source
from .names import toml_key
from .near_misses import few_gaps, gap_at, gap_words
from .places import NEAR, place_words
from .quantity_words import length_words
from .run_names import RunNames, goes_by, labels, told_apart
from .schedule import Schedule, is_contaminated
from .topology import Topology

# What the kind of a terminal is called where it draws air in, and what an exhaust alone
# pays for, beside what draws contaminated air. A return may stand among the losses of a
# supply, and so may its louvres.
_DRAWS_AIR = ("exhaust", "extract", "return")
_IN_EXHAUSTS = ("exhaust", "extract", "cowl")
_FEW = 3
_HOW = (
    'say it in the schedule ([source] run = "..." or at = ["0 m", "0 m", '
    '"3 m"]) or give one run the attribute source = true'
)


def find_source(topology: Topology, schedule: Schedule) -> Source:
    """Find the node at which the air enters.

    Parameters
    ----------
    topology
        The joined drawing.
    schedule
        The schedule, which may name the source.

    Returns
    -------
    source
        In this order: what the schedule says; the run that is marked in the drawing;
        the free end with the largest drawn airflow; the only free end that is no
        terminal. Of a run with two free ends the one that no terminal has by its place,
        where its own words do not say which.

    Raises
    ------
    BadInput
        If the source is not there, marked twice, or cannot be told.
    """
    node, reason = _find_node(topology, schedule)
    kind = schedule.source.kind
    return Source(node, kind or "fan", kind is None, reason)


def side_notices(schedule: Schedule, drawing: Drawing) -> list[Notice]:
    """Say where a layout counts as a supply whose schedule speaks as of an exhaust."""
    if schedule.source.is_return and drawing.is_supply:
        return [
            warning(
                drawing.file,
                "its ports say that the air flows from the source, as in a supply",
                "correct side under [source] in the schedule, or the drawing",
                effect="it counts as a return or an exhaust, as is said beside it",
            )
        ]
    if schedule.source.is_return or schedule.source.is_supply:
        return []
    kinds = dict.fromkeys([spec.kind for spec in schedule.terminals.values()])
    stands_in = [one.name for one in schedule.components]
    losses = dict.fromkeys([*schedule.losses, *stands_in])
    odd = [
        f"'{name}'"
        for names, words in ((kinds, _DRAWS_AIR), (losses, _IN_EXHAUSTS))
        for name in names
        if is_contaminated(name) or any(word in name.lower() for word in words)
    ]
    if not odd:
        return []
    return [
        warning(
            f"{schedule.file or drawing.file}, [source]",
            f"the side is not said, and the schedule speaks of {some(odd, 3)}, "
            "as of a return or an exhaust",
            'write side = "return" where the air flows to the source, else "supply"',
            effect="it counts as a supply, whose air flows from the source to the "
            "terminals, with the tables of diverging air",
        )
    ]


def source_part(topology: Topology, schedule: Schedule) -> int | None:
    """Part of the drawing with the source, as in `Topology.component`.

    It may be known where the end at which the air enters is not; None if it is not.
    Parameters are those of `find_source`.
    """
    drawing, said = topology.drawing, schedule.source
    if said.run is not None and not named_sources(drawing, schedule):
        return None
    try:
        return int(topology.component[find_source(topology, schedule).node])
    except BadInput:
        if said.at is not None:
            return None
    runs = [run for run, words in drawing.attributes.items() if words.source]
    if said.run is not None:
        runs = named_sources(drawing, schedule)
    rows = np.flatnonzero(np.isin(topology.run, runs))
    if len(runs) != 1 or len(rows) == 0:
        return None
    return int(topology.component[topology.ends[rows[0], 0]])


def _find_node(topology: Topology, schedule: Schedule) -> tuple[int, str]:
    drawing = topology.drawing
    said = schedule.source
    if said.at is not None:
        apart = np.linalg.norm(topology.nodes - np.array(said.at), axis=1)
        nearest = int(np.argmin(apart))
        if apart[nearest] > NEAR:
            raise refusal(
                f"{schedule.file}, [source] at",
                "there is no end of a duct there; the nearest point of the drawing is "
                f"{topology.place(nearest)}, "
                f"{length_words(float(apart[nearest]))} away",
                "write the coordinates of the end at which the air enters",
            )
        return nearest, "the schedule names the place"
    if said.run is not None:
        run = _run_with_free_end(topology, schedule, said.run)
        node, why = _end_of_run(topology, run, schedule)
        return node, f"the schedule names the run{why}"
    marked = [run for run, a in drawing.attributes.items() if a.source]
    if len(marked) > 1:
        places = " and ".join(
            f"run '{drawing.names[run]}' at "
            + place_words(drawing.points[drawing.offsets[run]], drawing.unit)
            for run in marked
        )
        raise refusal(
            drawing.file,
            f"{len(marked)} sources are marked, {places}",
            "mark one, or name the one that counts in the schedule under [source]",
        )
    if marked:
        node, why = _end_of_run(topology, marked[0], schedule)
        return node, f"the drawing marks the run{why}"
    free = topology.free_ends
    if len(free) == 0:
        raise refusal(
            drawing.file,
            "no duct has a free end, so there is no place where the air enters",
            _HOW,
        )
    runs = topology.run[topology.segment_at(free)]
    flow = drawing.flow[runs]
    known = np.flatnonzero(~np.isnan(flow))
    if len(known) > 1 and len(topology.doubled) == 0:  # there it may be another's
        largest = known[int(np.argmax(flow[known]))]
        rest = float(flow[known].sum() - flow[largest])
        # As much as all the others together: then it feeds them.
        if flow[largest] > 0.99 * rest and (flow[known] < flow[largest]).sum() == (
            len(known) - 1
        ):
            return int(free[largest]), "its airflow is that of all the other ends"
    said_of = [spec.run or name for name, spec in schedule.terminals.items()]
    named = goes_by(drawing, said_of, runs.tolist())
    open_ends = [
        node
        for node, run in zip(free.tolist(), runs.tolist(), strict=True)
        if np.isnan(drawing.flow[run])
        and drawing.attributes.get(run, NOTHING_SAID).terminal is None
        and not named.intersection(labels(drawing, run))
    ]
    if len(open_ends) == 1:
        return open_ends[0], "it is the only free end that is no terminal"
    places = ", ".join(
        f"run '{drawing.names[run]}' at {topology.place(node)}"
        for node, run in list(zip(free.tolist(), runs.tolist(), strict=True))[:6]
    )
    if len(free) == 1:
        raise refusal(
            drawing.file,
            f"the only free end is {places}, and nothing says whether the air enters "
            "there",
            _HOW,
        )
    raise refusal(
        drawing.file,
        f"nothing says which of the {len(free)} free ends is the source ({places}"
        f"{', ...' if len(free) > 6 else ''})",
        _HOW + between_words(topology),
    )


def between_words(topology: Topology) -> str:
    """Where the fan may stand between two runs, as a remedy goes on; often nothing."""
    places = [topology.place_key(node) for node in between_runs(topology)]
    if not places:
        return ""
    return f"; of a fan that stands between two runs {' or '.join(places)}"


def between_runs(topology: Topology) -> dict[int, tuple[int, int]]:
    """Two runs at each node at which no other meets, where the fan may stand.

    None where there are more than a few: they are pieces of long ducts.
    """
    ends, run = topology.ends.ravel(), topology.run.repeat(2)
    order = ends.argsort(kind="stable")
    nodes, first, count = np.unique(ends[order], return_index=True, return_counts=True)
    first, run = first[count == 2], run[order]
    found = {
        node: (one, other)
        for node, one, other in zip(
            nodes[count == 2].tolist(),
            run[first].tolist(),
            run[first + 1].tolist(),
            strict=True,
        )
        if one != other
    }
    return found if len(found) <= _FEW else {}


def named_sources(drawing: Drawing, schedule: Schedule) -> list[int]:
    """Runs that a schedule may mean by that of its source, once it has drawn names."""
    name = schedule.source.run or ""
    names = (schedule.shared or {}).get(("[source]", name), (name,))
    return [run for run, called in enumerate(drawing.names) if called in names]


def _run_with_free_end(topology: Topology, schedule: Schedule, name: str) -> int:
    """That of the runs of one name at whose free end the air may enter."""
    drawing = topology.drawing
    runs = named_sources(drawing, schedule)  # `with_drawn_names` has seen to it
    if len(runs) == 1:
        return runs[0]
    keys = {spec.run or key for key, spec in schedule.terminals.items()}
    free = topology.free_ends
    taken = _taken_by_a_terminal(topology, free.tolist(), schedule)
    last = topology.run[topology.segment_at(free)].tolist()
    open_ends = {
        run: node
        for run, node in zip(last, free.tolist(), strict=True)
        if run in runs and node not in taken and drawing.names[run] not in keys - {name}
    }
    if len(open_ends) == 1:
        return int(next(iter(open_ends)))
    where = [
        f"'{drawing.names[run]}' at {topology.place(node)}"
        for run, node in open_ends.items()
    ]
    raise refusal(
        f"{schedule.file}, [source]",
        f"{len(runs)} runs of the drawing were given the name '{name}', and "
        + (
            f"{len(open_ends)} of them have a free end: {some(where, 4, ' and ')}"
            if open_ends
            else "the air can enter at none of them"
        ),
        "write "
        + (
            told_apart(RunNames(drawing), [drawing.names[run] for run in open_ends])
            or "the name of a run whose free end is at the fan, or "
        )
        + 'the place, at = ["0 m", "0 m", "3 m"]',
    )


def _end_of_run(topology: Topology, run: int, schedule: Schedule) -> tuple[int, str]:
    """Free end of a run at which it can begin, and what else tells it, if need be."""
    drawing = topology.drawing
    shared = topology.doubled[topology.doubled[:, 1] == run, 0]
    rows = np.flatnonzero(topology.run == run)
    if len(shared):
        rows = np.union1d(rows, shared)
    if len(rows) == 0:
        raise refusal(drawing.place(run), "the source run has no length", "draw it")
    ends = topology.ends[rows].ravel()
    free = sorted(set(ends[topology.degree[ends] == 1].tolist()))
    at_end = drawing.attributes.get(run, NOTHING_SAID).source_at_end
    taken = _taken_by_a_terminal(topology, free, schedule) if at_end is None else {}
    left = [node for node in free if node not in taken]
    if taken and not left:
        raise refusal(
            drawing.place(run),
            "it is marked as the source, but no air can enter: "
            + " and ".join(
                f"{topology.place(node)} is {word} by {where}"
                for node, (where, word) in taken.items()
            ),
            "delete the terminal, or closed, at the end that is at the fan",
        )
    if taken and len(left) == 1:
        ((where, word),) = set(taken.values())
        return left[0], f", and {where} says that its other end is {word}"
    # Without branches no other run is in doubt: the first end is taken, and said.
    if (free and at_end is not None) or len(free) == len(topology.free_ends) == 2:
        first, last = drawing.offsets[run], drawing.offsets[run + 1] - 1
        apart = np.linalg.norm(
            topology.nodes[ends] - drawing.points[last if at_end else first], axis=1
        )
        node = int(ends[int(np.argmin(apart))])
        if node in free and at_end is None:
            return node, ', at its first point: source = "end" turns the air'
        if node in free:
            return node, ""
        word, other = ("end", "start") if at_end else ("start", "end")
        raise refusal(
            drawing.place(run),
            f'it says source = "{word}", but its {word} at {topology.place(node)} is '
            "not free: the air cannot enter where other ducts join",
            f'write source = "{other}" if it enters at {topology.place(free[0])}, or '
            "mark the run whose free end is at the fan",
        )
    if len(free) == 1:
        return int(free[0]), ""
    if not free:
        raise refusal(
            drawing.place(run),
            "it is marked as the source, but none of its ends is free",
            "mark the run whose free end is at the fan, or give the place in the "
            'schedule: [source] at = ["0 m", "0 m", "3 m"]',
        )
    gap = gap_at(topology, few_gaps(topology), free)
    if gap is not None:  # once it is closed, one end is left
        what, mend = gap_words(topology, gap, f"run '{drawing.names[gap.run]}'")
        raise refusal(
            drawing.place(run),
            "it is marked as the source, but nothing joins it: "
            f"{what}, at {topology.place(gap.node)}",
            mend,
        )
    places = " or ".join(topology.place(node) for node in free)
    raise refusal(
        drawing.place(run),
        f"it is marked as the source, but the air could enter at either end: {places}",
        'write source = "start" or "end" there, or [source] at = ["0 m", "0 m", "3 m"] '
        "in the schedule; or say there at which place it is shut, "
        f"[terminals.{toml_key(drawing.names[run])}] with closed = true and at = [...]",
    )


def _taken_by_a_terminal(
    topology: Topology, nodes: list[int], schedule: Schedule
) -> dict[int, tuple[str, str]]:
    """Which of these nodes are terminals by their place: where it is said, and what.

    A name alone tells no end from the other end of the same run.
    """
    found = {}
    for name, spec in schedule.terminals.items():
        if spec.at is None:
            continue
        word = "closed" if spec.is_closed else "where the air leaves"
        apart = np.linalg.norm(topology.nodes[nodes] - np.array(spec.at), axis=1)
        for row in np.flatnonzero(apart <= NEAR).tolist():
            found[nodes[row]] = f"[terminals.{toml_key(name)}]", word
    return found
