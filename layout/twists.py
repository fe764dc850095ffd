"""Which sections are said to stand across those that arrive, before all is known."""

import numpy as np

from .duct_frames import Chains, duct_frames
from .legs import meeting_legs, outgoing_legs
from .pieces import Pieces, with_sections_compared
from .schedule import Schedule
from .topology import Topology
from .tree import Tree

# rad: half way to a quarter turn a section counts as it is written, however rounded.
_ACROSS = np.pi / 4 + 1e-6


def with_twists(
    topology: Topology, tree: Tree, pieces: Pieces, schedule: Schedule
) -> Pieces:
    """Compare the sections on both sides of each joint in space.

    Which way round a section is written says little: 300x400 carried round a corner is
    the 400x300 of a run whose `up` says that it stands so, and 600x300 is no 600x300
    that stands turned by a quarter. What a run does not say it has of the one before.

    Parameters
    ----------
    topology, tree, pieces
        The joined drawing, the walk over it and its segments, compared as written.
    schedule
        Says which branches are taps.

    Returns
    -------
    pieces
        The segments, compared as they stand. Of a twist that is no quarter turn the
        nearer of the two readings counts: our own choice, as no loss is published.
    """
    said = topology.drawing.attributes.values()
    if all(one.roll is None and one.up is None for one in said):
        return pieces
    every = np.arange(len(pieces.run))
    twist = duct_frames(
        topology,
        tree,
        pieces,
        None,
        Chains(every, every, every, tree.parent, every),
        outgoing_legs(topology, tree, pieces, every, schedule),
        meeting_legs(topology, tree, pieces, every, schedule),
    ).twist
    crossed = np.abs(twist) > _ACROSS
    return with_sections_compared(pieces, crossed) if crossed.any() else pieces
