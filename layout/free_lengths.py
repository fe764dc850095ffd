"""Where along their straights ducts are free for what is to stand in them."""

from typing import TYPE_CHECKING

import numpy as np

from .fit import transition_parts
from .sections import FloatArray, IntArray
from .within_mains import within_mains

if TYPE_CHECKING:
    from .graph import DuctGraph

_FAR = 1e9  # m: no wall is so far


def between_walls(
    graph: "DuctGraph", duct: IntArray, needed: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """From where to where some ducts lie outside the mains that they leave or end at.

    Parameters
    ----------
    graph
        The classified graph.
    duct
        Which ducts, each once, shape (n,).
    needed
        Length of what is to stand in the middle of each, m, shape (n,).

    Returns
    -------
    first, last
        Along the straight of each from its beginning, m, shape (n,). A wall that stands
        clear of what is needed may be left out; `last` is before `first` where a duct
        lies within its mains.
    """
    straight = graph.ducts.straight[duct]
    first, last = np.zeros(len(duct)), straight.copy()
    count = len(graph.ducts.parent)
    room, row = np.full(count, _FAR), np.full(count, -1)
    room[duct], row[duct] = (straight - needed) / 2, np.arange(len(duct))
    within = within_mains(graph.ducts, graph.legs, graph.meetings, room)
    mine = row[within.duct]
    for at, walls, way in ((first, ~within.is_behind, 1), (last, within.is_behind, -1)):
        rows = walls & (mine >= 0)
        np.add.at(at, mine[rows], way * within.length[rows])
    return first, last


def between_pieces(
    graph: "DuctGraph", duct: IntArray, first: FloatArray, last: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """The same without the transitions that are not drawn, where they leave anything.

    Parameters and returns are those of `between_walls`.
    """
    parts = transition_parts(graph.bends, graph.transitions, graph.ducts.parent)
    straight = graph.ducts.straight[duct]
    start = np.maximum(first, parts[0][duct])
    end = np.minimum(last, straight - parts[1][duct])
    leaves = start < end
    return np.where(leaves, start, first), np.where(leaves, end, last)
