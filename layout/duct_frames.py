"""How the section of each duct stands: level where it begins, else carried along."""

from typing import NamedTuple

import numpy as np

from .arcs import Arcs
from .fittings import Legs
from .frames import carried_roll, is_plumb, level_frame, levelled, rolls
from .pieces import Pieces
from .sections import FloatArray, IntArray, Shape
from .standing import is_lengthwise
from .topology import Topology
from .tree import Tree


class Chains(NamedTuple):
    """Segments of a walk, e of them, chained into ducts, d of them.

    Parameters
    ----------
    head
        First segment of the chain of each, shape (e,).
    first, last
        First and last segment of each duct, shape (d,).
    parent
        The duct before each, past the chords of an arc; -1 at the source.
    of
        Duct of each segment, `NONE` within an arc, and once more at the end, shape
        (e + 1,).
    """

    head: IntArray
    first: IntArray
    last: IntArray
    parent: IntArray
    of: IntArray


class Frames(NamedTuple):
    """How the sections of ducts stand, d of them.

    Parameters
    ----------
    across, upright
        Unit vectors along the width and the height, shape (d, 3) each.
    roll
        How far each stands from level, rad, shape (d,).
    twist
        How far each is said to stand from how the one before it arrives, carried round
        what lies between, rad, -pi/2 to pi/2, as half a turn changes no section; 0
        where nothing is said of it and for branches. Shape (d,).
    """

    across: FloatArray
    upright: FloatArray
    roll: FloatArray
    twist: FloatArray


def duct_frames(
    topology: Topology,
    tree: Tree,
    pieces: Pieces,
    arcs: Arcs | None,
    chains: Chains,
    legs: Legs,
    meetings: Legs,
) -> Frames:
    """Carry the sections along the ducts, d of them.

    Parameters
    ----------
    topology, tree, pieces, arcs
        The walk, its segments and the arcs in it; None where each chord of one counts
        as a duct.
    chains
        Its segments as ducts.
    legs, meetings
        Legs of junctions; a branch that is not vertical begins level, as does what
        follows a round duct, of which nobody can see how it stands.

    Returns
    -------
    frames
        A row for each duct.

    Notes
    -----
    What is said of a run holds from where the air enters it. A roll counts from level,
    but in a vertical duct, which has no level side, from how that would stand without
    one: counted from an axis of the drawing it would say another thing in a plan that
    is turned. Our own choice; `up` is the absolute way to say it.
    """
    first, last, parent = chains.first, chains.last, chains.parent
    after = tree.direction.take(first, axis=0)
    begins = np.where(parent >= 0, np.nan, 0.0)
    away = legs.duct[legs.is_branch]
    if len(meetings.duct):  # what goes on from a meeting as from a branch
        onward = meetings.common[meetings.is_branch]
        before = meetings.duct[meetings.is_branch]
        away = np.concatenate([away, onward[parent[onward] == before]])
    plumb = is_plumb(after)
    is_head = parent < 0
    is_head[away] = True
    is_round = pieces.shape.take(first) == int(Shape.ROUND)
    is_head |= is_round.take(parent)  # -1 at the source, which is a head anyway
    begins[is_head & ~plumb] = 0.0
    free = is_head & plumb
    across, upright = level_frame(after)
    turned: dict[int, float] = {}  # vertical ducts, and their roll
    told: list[int] = []
    attributes = topology.drawing.attributes
    saying = {
        run: said
        for run, said in attributes.items()
        if said.roll is not None or said.up is not None
    }
    if saying:
        of = pieces.run[first]
        enters = (parent < 0) | (of != of[parent])
        entering = (enters & np.isin(of, list(saying))).nonzero()[0]
        runs = of[entering].tolist()
        for duct, run in zip(entering.tolist(), runs, strict=True):
            said = saying[run]
            if said.roll is not None:
                told.append(duct)
                if plumb[duct]:
                    turned[duct] = said.roll
                    continue
                begins[duct] = said.roll
            elif said.up is not None and not is_lengthwise(said.up, after[duct]):
                told.append(duct)
                up = np.array(said.up)
                begins[duct] = np.arctan2(-up @ across[duct], up @ upright[duct])
            else:
                continue
            free[duct] = False
    told = [duct for duct in told if not is_head[duct]]
    angle, axis = pieces.turn.take(first), pieces.axis.take(first, axis=0)
    if arcs is not None:
        where = first.searchsorted(arcs.after)
        angle[where], axis[where] = arcs.angle, arcs.axis
    added = np.zeros(len(first))
    goes_level = ~(plumb | is_head) & plumb[parent]
    carried = np.isnan(begins) | goes_level
    if told:
        carried[told] = True
    turning = ((angle > 1e-12) & carried).nonzero()[0]
    added[turning] = carried_roll(
        tree.direction.take(last[parent[turning]], axis=0),
        axis.take(turning, axis=0),
        angle[turning],
        across.take(turning, axis=0),
        upright.take(turning, axis=0),
    )
    if told:  # a vertical duct that says how it stands settles those before it too
        saying_so = np.array(told)
        goes_level[saying_so[plumb[parent[told]] & ~np.isnan(begins[told])]] = True
    behind = goes_level.nonzero()[0]
    if len(behind):
        begins = levelled(parent, plumb, free, behind, begins, added)
    arrives = added.copy() if told else added
    for duct, by in turned.items():
        (added if np.isnan(begins[duct]) else begins)[duct] += by
    roll = rolls(parent, added, begins)
    twist = np.zeros(len(first))
    if told:
        by_turns = roll[told] - roll[parent[told]] - arrives[told]
        twist[told] = by_turns - np.pi * np.round(by_turns / np.pi)
    # Quarter turns come out a rounding away from where they belong.
    quarter = (roll / (np.pi / 2)).round() * (np.pi / 2)
    roll = np.where(np.abs(roll - quarter) < 1e-6, quarter, roll)
    rolled = roll.nonzero()[0]
    cosine, sine = np.cos(roll[rolled])[:, None], np.sin(roll[rolled])[:, None]
    level, erect = across.take(rolled, axis=0), upright.take(rolled, axis=0)
    across[rolled] = level * cosine + erect * sine
    upright[rolled] = erect * cosine - level * sine
    return Frames(across, upright, roll, twist)
