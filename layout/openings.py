"""How large the opening is of a branch that begins with a drawn transition."""

from dataclasses import replace

import numpy as np

from .faults import Notice, note
from .legs import meeting_legs, outgoing_legs
from .names import toml_key
from .pieces import Pieces, RunSections, same_sections, sides_before
from .quantity_words import size_words
from .schedule import Schedule
from .sections import Shape
from .topology import Topology
from .tree import Tree


def with_openings(
    topology: Topology,
    tree: Tree,
    pieces: Pieces,
    sections: RunSections,
    schedule: Schedule,
) -> tuple[Pieces, list[Notice]]:
    """Give transitions at which a branch begins the section of its opening.

    Where the duct before goes straight on in it a transition begins with the section of
    that. A branch has an opening of its own: the section written at the transition, or
    else that of the duct behind, and then the piece is straight duct.

    Parameters
    ----------
    topology, tree, pieces
        The joined drawing, the walk over it and its segments.
    sections
        Section of each run, and whether it has one.
    schedule
        Says which branches are taps.

    Returns
    -------
    pieces, notices
        The segments, with what is taken for openings of which nothing is said.
    """
    if not pieces.is_transition.any():
        return pieces, []
    starts = (pieces.is_transition & ~pieces.alone).nonzero()[0].tolist()
    if not starts:
        return pieces, []
    run, is_transition = pieces.run, pieces.is_transition.copy()
    crossed = pieces.crossed
    shape = pieces.shape.copy()
    width, height = pieces.width.copy(), pieces.height.copy()
    unsaid = sections.shape[run] == int(Shape.NONE)
    child = dict(zip(tree.parent.tolist(), range(len(run)), strict=True))
    parts: dict[int, list[int]] = {}
    for row in starts:
        part = parts[row] = [row]
        while is_transition[behind := child[part[-1]]]:
            part.append(behind)
        own = run[[behind if unsaid[row] else row]]
        shape[part] = sections.shape[own]
        width[part], height[part] = sides_before(
            sections.width, sections.height, own, crossed[[behind]] & unsaid[row]
        )
    opened = replace(pieces, shape=shape, width=width, height=height)
    onward = _onward(topology, tree, opened, schedule)
    for row in onward.keys() & parts.keys():
        part, main = parts.pop(row), onward[row]
        shape[part] = shape[main]
        width[part], height[part] = sides_before(
            width, height, np.array([main]), crossed[[row]]
        )
    same = same_sections(shape, width, height, pieces.before, crossed)
    for part in parts.values():
        is_transition[part] = not same[child[part[-1]]]
    return (
        replace(opened, is_transition=is_transition, same_section=same),
        [_unsaid(topology, tree, opened, row) for row in parts if unsaid[row]],
    )


def _onward(
    topology: Topology, tree: Tree, pieces: Pieces, schedule: Schedule
) -> dict[int, int]:
    """Segments that go straight on at a junction or a meeting, from which one each."""
    every = np.arange(len(pieces.run))
    out = outgoing_legs(topology, tree, pieces, every, schedule)
    met = meeting_legs(topology, tree, pieces, every, schedule)
    return {
        goes: came
        for legs, before, behind in (
            (out, out.common, out.duct),
            (met, met.duct, met.common),
        )
        for came, goes, is_branch in zip(
            before.tolist(), behind.tolist(), legs.is_branch.tolist(), strict=True
        )
        if not is_branch and came != goes
    }


def _unsaid(topology: Topology, tree: Tree, pieces: Pieces, row: int) -> Notice:
    """Say what was taken for an opening."""
    run, start = int(pieces.run[row]), int(tree.start[row])
    size = size_words(
        int(pieces.shape[row]), float(pieces.width[row]), float(pieces.height[row])
    )
    name = topology.drawing.names[run]
    return note(
        f"{topology.drawing.place(run)}, at {topology.place(start)}",
        "a branch begins with this transition, and nothing says how large its opening "
        f"is: the {size} of the duct behind was taken, and the piece for straight duct",
        f'write the size of the opening at the run, or {toml_key(name)} = "600x300 mm" '
        "under [sections] in the schedule",
        effect="the loss of the branch follows from it",
        place=topology.nodes[start],
    )
