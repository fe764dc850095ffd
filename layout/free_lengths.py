"""Where along their straights ducts are free for what is to stand in them."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from .components import nearest_on_lines
from .fit import transition_parts
from .fittings import Ducts
from .recurrences import sum_from_root
from .sections import BoolArray, FloatArray, IntArray
from .tree import heads, tails
from .within_mains import within_mains

if TYPE_CHECKING:
    from .graph import DuctGraph

_FAR = 1e9  # m: no wall is so far
_ROUNDING = 1e-9  # m: no piece begins so near behind a place


@dataclass(frozen=True, eq=False)
class Straights:
    """Straight duct of one kind, in as many pieces as it is drawn, by each piece.

    Parameters
    ----------
    first, last
        First and last duct of the straight that each is part of, shape (d,).
    begins
        From where it begins to where each does, m, shape (d,).
    length
        Straight length of all of it, m; below zero where its bends do not fit; (d,).
    """

    first: IntArray
    last: IntArray
    begins: FloatArray
    length: FloatArray


def straights(ducts: Ducts, is_flexible: BoolArray) -> Straights:
    """Put together the ducts that plainly continue others as flexible, or as rigid.

    Parameters
    ----------
    ducts
        As classified.
    is_flexible
        Whether each is flexible duct, shape (d,).
    """
    every = np.arange(len(ducts.parent))
    follows = ducts.continues & (is_flexible == is_flexible[ducts.parent])
    if not follows.any():  # as in most drawings
        return Straights(every, every, np.zeros(len(every)), ducts.straight)
    first = heads(follows, ducts.parent)
    last = tails(first, follows)
    own = np.maximum(ducts.straight, 0.0)
    begins = sum_from_root(np.where(follows, ducts.parent, -1), own) - own
    whole = begins[last] + own[last]
    # Pieces that lack something together all have the same.
    length = np.where((first == last) | (whole <= 0.0), ducts.straight[first], whole)
    return Straights(first, last, begins, length)


def between_walls(
    graph: "DuctGraph", along: Straights, duct: IntArray, needed: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """From where to where some straights lie outside the mains at their ends.

    Parameters
    ----------
    graph
        The classified graph.
    along
        Its straights.
    duct
        First duct of some, each once, shape (n,).
    needed
        Length of what is to stand in the middle of each, m, shape (n,).

    Returns
    -------
    first, last
        Along each from its beginning, m, shape (n,). A wall that stands clear of what
        is needed may be left out; `last` is before `first` where a straight lies
        within its mains.
    """
    straight = along.length[duct]
    first, last = np.zeros(len(duct)), straight.copy()
    count = len(graph.ducts.parent)
    room, row = np.full(count, _FAR), np.full(count, -1)
    for ends in (duct, along.last[duct]):
        room[ends], row[ends] = (straight - needed) / 2, np.arange(len(duct))
    within = within_mains(graph.ducts, graph.legs, graph.meetings, room)
    mine = row[within.duct]
    for at, walls, way in ((first, ~within.is_behind, 1), (last, within.is_behind, -1)):
        rows = walls & (mine >= 0)
        np.add.at(at, mine[rows], way * within.length[rows])
    return first, last


def between_pieces(
    graph: "DuctGraph",
    along: Straights,
    duct: IntArray,
    first: FloatArray,
    last: FloatArray,
) -> tuple[FloatArray, FloatArray]:
    """The same without the transitions that are not drawn, where they leave anything.

    Parameters and returns are those of `between_walls`.
    """
    parts = transition_parts(graph.bends, graph.transitions, graph.ducts.parent)
    start = np.maximum(first, parts[0][duct])
    end = np.minimum(last, along.length[duct] - parts[1][along.last[duct]])
    leaves = start < end
    return np.where(leaves, start, first), np.where(leaves, end, last)


def piece_at(
    ducts: Ducts, along: Straights, duct: IntArray, place: FloatArray
) -> tuple[IntArray, FloatArray]:
    """Which duct of a straight a place along it lies in, and where in that.

    Parameters
    ----------
    ducts, along
        As classified, and put together.
    duct
        First duct of some straights, each once, shape (n,).
    place
        A place along each, m, shape (n,).

    Returns
    -------
    piece
        The duct, shape (n,); at a joint the one before it.
    share
        Share of the straight of that, 0 to 1; shape (n,). Where all of the straight
        has no length it is that of the middle between its ends.
    """
    piece = duct
    if not np.array_equal(along.last[duct], duct):
        row = np.full(len(along.first), -1)
        row[duct] = np.arange(len(duct))
        mine = row[along.first]
        here = (mine >= 0).nonzero()[0]
        here = here[along.begins[here] < place[mine[here]] - _ROUNDING]
        piece = duct.copy()
        piece[mine[here]] = here  # in walking order: the farthest one stays
    straight = np.maximum(ducts.straight[piece], 0.0)
    share = np.divide(
        place - along.begins[piece],
        straight,
        out=np.full(len(piece), 0.5),
        where=straight > 0.0,
    )
    lacks = along.length[duct] <= 0.0
    if lacks.any():
        piece = np.where(lacks, duct, piece)
        middle = (ducts.begin[duct] + ducts.end[along.last[duct]]) / 2
        _, nearest = nearest_on_lines(ducts.begin[piece], ducts.end[piece], middle)
        share = np.where(lacks, nearest, share)
    return piece, np.asarray(share.clip(0.0, 1.0))
