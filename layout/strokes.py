"""Straight lines of a drawing that small turns link, whatever vertices cut them."""

from dataclasses import dataclass

import numpy as np

from .frames import turn_between
from .sections import BoolArray, FloatArray, IntArray
from .tree import Tree, heads

SMALLEST_TURN = np.radians(0.02)  # below this float32 rounding makes the turns
LARGEST_TURN = np.radians(31.0)  # two turns of 45 degrees are two elbows, not chords
SAME_PLANE = 0.985  # cosine of the angle between the axes of neighbouring turns


@dataclass(frozen=True)
class Fit:
    """How far turns and chords of one arc may differ from each other.

    Parameters
    ----------
    share
        Of a turn or of a chord.
    slack
        Of a turn besides, rad.
    rounding
        Length by which the ends of chords may be off, m: of a turn, over the chord.
    """

    share: float
    slack: float
    rounding: float

    def near(
        self, found: FloatArray, wanted: FloatArray, step: FloatArray, chord: FloatArray
    ) -> BoolArray:
        """Whether turns are what they should be.

        Parameters
        ----------
        found, wanted
            The turns, rad, shape (n,).
        step, chord
            Turn from chord to chord of the arc, rad, and length of its chords, m.

        Returns
        -------
        near
            Shape (n,).
        """
        spare = np.minimum(self.rounding / chord, 0.2 * step) + self.slack
        return np.asarray(np.abs(found - wanted) <= self.share * wanted + spare)

    def alike(self, one: FloatArray, two: FloatArray) -> BoolArray:
        """Whether two lengths may both be of one arc, in either order, shape (n,)."""
        return np.asarray(np.abs(one - two) <= self.share * (one + two))


EXACT = Fit(0.003, np.radians(0.02), 0.0)  # as computed: by other steps another arc
ROUNDED = Fit(0.03, np.radians(0.05), 2e-3)  # as drawn by hand, or to the millimetre


@dataclass(frozen=True, eq=False)
class Strokes:
    """Strokes, those of one chain behind each other from the source: m of them.

    A line that vertices cut is one stroke; one on which two arcs touch is two.

    Parameters
    ----------
    first, last
        First and last segment of each, shape (m,).
    linked
        Whether it goes on the one before it by a turn below twice the largest, (m,).
    turn, axis
        That turn, rad, and the unit vector about which it goes, (m,) and (m, 3).
    begin, end
        Its ends, m, shape (m, 3).
    direction, length
        Unit vector along it, (m, 3), and its length, m, (m,).
    """

    first: IntArray
    last: IntArray
    linked: BoolArray
    turn: FloatArray
    axis: FloatArray
    begin: FloatArray
    end: FloatArray
    direction: FloatArray
    length: FloatArray


def linked_strokes(
    tree: Tree, nodes: FloatArray, turn: FloatArray, same_duct: BoolArray
) -> tuple[Strokes, IntArray] | None:
    """Strokes of a tree that stand at small turns.

    Parameters are those of `arcs.find_arcs`.

    Returns
    -------
    strokes, head
        The strokes, and the first segment of the stroke of each segment, shape (e,);
        None where no two small turns follow each other.
    """
    bent = same_duct & (turn > SMALLEST_TURN)
    small = bent & (turn < LARGEST_TURN)
    if np.count_nonzero(small) < 2:
        return None
    every = np.arange(len(turn))
    is_along = same_duct & ~bent
    along = is_along.nonzero()[0]
    fair = bent & (turn < 2 * LARGEST_TURN)
    rows = fair.nonzero()[0]
    head = heads(is_along, tree.parent) if len(along) else every
    ahead = head[tree.parent[rows]]
    if not ((small[rows] & fair[ahead]) | (fair[rows] & small[ahead])).any():
        return None
    last = every.copy()
    last[head[along]] = along  # in walking order: the farthest one stays
    place = np.zeros(len(turn), dtype=np.int64)
    place[rows], place[ahead] = 1, 1
    first = place.nonzero()[0]
    place[first] = np.arange(len(first))
    before = np.full(len(first), -1)
    before[place[rows]] = place[ahead]
    chain = heads(before >= 0, before)
    order = np.lexsort((first, chain))
    first, linked = first[order], (before >= 0)[order]
    begin = nodes.take(tree.start[first], axis=0)
    end = nodes.take(tree.finish[last[first]], axis=0)
    length = np.linalg.norm(end - begin, axis=1)
    direction = (end - begin) / length[:, None]
    angle, axis = turn_between(np.roll(direction, 1, axis=0), direction)
    strokes = Strokes(
        first, last[first], linked, angle, axis, begin, end, direction, length
    )
    return _halved(strokes), head


def _halved(strokes: Strokes) -> Strokes:
    """Cut strokes at which an arc ends and one the other way round begins.

    There the last chord of one and the first of the next lie in one line, with or
    without a vertex between them.
    """
    if len(strokes.first) < 3:
        return strokes
    turn, axis, length = strokes.turn, strokes.axis, strokes.length
    middle = np.arange(1, len(turn) - 1)
    small = strokes.linked & (turn < LARGEST_TURN)
    opposite = np.einsum("ij,ij->i", axis[1:-1], axis[2:]) < -SAME_PLANE
    both = length[:-2] + length[2:]
    cut = middle[
        small[1:-1]
        & small[2:]
        & opposite
        & ROUNDED.alike(turn[1:-1], turn[2:])
        & ROUNDED.alike(length[1:-1], both)
    ]
    if len(cut) == 0:
        return strokes
    share = length[cut - 1] / (length[cut - 1] + length[cut + 1])
    second = cut + np.arange(1, len(cut) + 1)  # places of the second halves
    row = np.insert(np.arange(len(turn)), cut + 1, cut)
    begin, end = strokes.begin[row], strokes.end[row]
    length, turn, axis = length[row], turn[row], axis[row]
    linked = strokes.linked[row]
    touch = strokes.begin[cut] + share[:, None] * (
        strokes.end[cut] - strokes.begin[cut]
    )
    begin[second], end[second - 1] = touch, touch
    length[second] *= 1.0 - share
    length[second - 1] *= share
    linked[second], turn[second], axis[second] = True, 0.0, 0.0
    return Strokes(
        strokes.first[row],
        strokes.last[row],
        linked,
        turn,
        axis,
        begin,
        end,
        strokes.direction[row],
        length,
    )
