"""Lengths that no duct is likely to have: the coordinates may be in another unit."""

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from .faults import Notice, warning
from .quantity_words import length_words
from .sections import BoolArray, FloatArray, IntArray
from .topology import Topology

_LONG, _SHORT = 500.0, 0.5  # m, of one duct and of all: beyond lies another unit
# A plant room has straights shorter than its ducts are wide, but few, or longer ones.
_FEW, _SHORT_PIECE = 5, 1.0  # so many, and m; own choice, no published source
# Ducts that long between corners and junctions are few: a tunnel's, a riser's. So only
# where nobody says the unit: read as metres, inches come out 39 times as long.
_LONG_PIECE, _SLIM = 20.0, 100.0  # m, and sides; own choice, no published source
_STRAIGHT_ON = float(np.cos(np.radians(40.0)))  # a corner turns by more


def length_notices(
    topology: Topology, rows: IntArray, length: FloatArray, side: FloatArray
) -> list[Notice]:
    """Say that the coordinates smell of another unit.

    Parameters
    ----------
    topology
        The joined drawing.
    rows, length
        Those of its segments that count, and their lengths, m, shape (s,).
    side
        Larger side of each run's section, m, shape (r,); NaN where it has none.
    """
    drawing, run = topology.drawing, topology.run.take(rows)
    side = side.take(run)
    total = float(length.sum())
    row = int(length.argmax())
    longest, run_of = float(length[row]), int(run[row])
    where = drawing.file
    if longest >= _LONG:
        where = drawing.place(run_of)
        what = f"a straight piece is {length_words(longest)} long"
    elif total <= _SHORT:
        what = f"all ducts together are {length_words(total)} long"
    elif _are_short(topology, rows, length, side):
        what = (
            f"most of the {length_words(total)} of duct is in straight pieces "
            "shorter than the duct is wide"
        )
    elif drawing.is_unit_assumed and _are_long(topology, rows, length, side):
        what = (
            f"most of the {length_words(total)} of duct is in straight pieces longer "
            f"than {_SLIM:g} times the side of the duct"
        )
    else:
        return []
    mend = "say --unit if the file is wrong"
    if drawing.is_unit_assumed:
        mend = "say --unit mm, cm, in or ft, or m if they are metres"
    return [
        warning(
            where,
            what,
            f"check the unit of the coordinates; {mend}",
            effect="all lengths follow from it",
            place=drawing.first_middle(run_of),
        )
    ]


def _are_short(
    topology: Topology, rows: IntArray, length: FloatArray, side: FloatArray
) -> bool:
    """Whether several straights, shorter than wide, are most of some segments."""
    longest = np.minimum(side, _SHORT_PIECE)  # NaN: no section
    if not _most(length, length < longest):
        return False
    piece = _straights(topology).take(rows)
    short = np.bincount(piece, length).take(piece) < longest
    return len(np.unique(piece[short])) >= _FEW and _most(length, short)


def _are_long(
    topology: Topology, rows: IntArray, length: FloatArray, side: FloatArray
) -> bool:
    """Whether straights much longer than wide are most of some segments."""
    if length.sum() < _LONG_PIECE:
        return False
    piece = _straights(topology).take(rows)
    shortest = np.maximum(_SLIM * side, _LONG_PIECE)  # NaN: no section
    return _most(length, np.bincount(piece, length).take(piece) > shortest)


def _most(length: FloatArray, which: BoolArray) -> bool:
    """Whether some segments are more than half of the length."""
    return float(length[which].sum()) > float(length.sum()) / 2


def _straights(topology: Topology) -> IntArray:
    """Number of the straight that each segment is part of, shape (s,).

    From one junction or corner to the next, in however many pieces or chords.
    """
    one, two = topology.ends.T
    along = (topology.nodes[two] - topology.nodes[one]) / topology.length[:, None]
    pairs = topology.ends.ravel().argsort(kind="stable")
    passed = (topology.degree == 2).nonzero()[0]
    first = (topology.degree.cumsum() - topology.degree)[passed]
    before, behind = pairs[first], pairs[first + 1]
    cosine = np.einsum("ij,ij->i", along[before // 2], along[behind // 2])
    cosine[before % 2 == behind % 2] *= -1.0
    on = cosine > _STRAIGHT_ON
    links = (np.ones(on.sum()), (before[on] // 2, behind[on] // 2))
    graph = coo_array(links, shape=(len(one),) * 2)
    _, piece = connected_components(graph, directed=False)
    return piece.astype(np.int64)
