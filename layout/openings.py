"""What a section that is written at a drawn transition says: of a branch's opening."""

from dataclasses import replace

import numpy as np

from .faults import Notice, note, warning
from .legs import meeting_legs, outgoing_legs
from .names import toml_key
from .pieces import SAME_SIZE, Pieces, RunSections, same_sections, sides_before
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
        topology.place_in(run, start),
        "a branch begins with this transition, and nothing says how large its opening "
        f"is: the {size} of the duct behind was taken, and the piece for straight duct",
        f'write the size of the opening at the run, or {toml_key(name)} = "600x300 mm" '
        "under [sections] in the schedule",
        effect="the loss of the branch follows from it",
        place=topology.nodes[start],
    )


def idle_section_notices(
    topology: Topology, tree: Tree, pieces: Pieces, sections: RunSections
) -> list[Notice]:
    """Say which transitions have a section written that neither of their ends has.

    Parameters
    ----------
    topology, tree, pieces
        The joined drawing, the walk over it, and its segments as `with_openings` has
        them.
    sections
        Section of each run, and whether it has one.
    """
    if not pieces.is_transition.any():
        return []
    drawing, said = topology.drawing, {}
    behind = pieces.is_transition[tree.parent] & (tree.parent >= 0)
    for last in (behind & ~pieces.is_transition).nonzero()[0].tolist():
        ends, row = [last], int(tree.parent[last])
        ends.append(row)  # the whole of it has the section that it begins with
        while row >= 0 and pieces.is_transition[row]:
            run, row = int(pieces.run[row]), int(tree.parent[row])
            own = sections.width[run], sections.height[run]
            if sections.shape[run] == int(Shape.NONE) or any(
                sections.shape[run] == pieces.shape[end]
                and abs(own[0] - pieces.width[end]) < SAME_SIZE
                and abs(own[1] - pieces.height[end]) < SAME_SIZE
                for end in ends
            ):
                continue
            before, after = (
                size_words(
                    int(pieces.shape[end]),
                    float(pieces.width[end]),
                    float(pieces.height[end]),
                )
                for end in reversed(ends)
            )
            size = size_words(int(sections.shape[run]), float(own[0]), float(own[1]))
            said[run] = warning(
                drawing.place(run),
                f"the {size} that is written at this transition is not used: it goes "
                f"from the {before} before it to the {after} behind it",
                "delete the section there, or unmark the run if it is a duct between "
                "two transitions",
                place=drawing.first_middle(run),
            )
    return list(said.values())
