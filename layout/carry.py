"""Ends on the side of a line of which an end is moved: where they go with it."""

import numpy as np

from .drawing import Drawing
from .sections import BoolArray, FloatArray, IntArray
from .topology import Topology

_ROUNDS = 10  # of moving what lies on what was moved
_FARTHEST = 2.0  # of the way to the line, along an own line: 30 degrees to it


def carry(
    topology: Topology,
    straight: FloatArray,
    points: FloatArray,
    beside: IntArray,
    fine: float,
) -> None:
    """Move on to its line again what lay on it before an end of the line was moved.

    What still lies on the line stays. The rest goes along its own line, so that it is
    not slanted, where that leads to the moved one about as near as can be; else to the
    nearest place on it.

    Parameters
    ----------
    topology
        The drawing as it was joined.
    straight
        Its points before ends were moved, m, shape (n, 3).
    points
        Its points now, m, shape (n, 3); they are changed.
    beside
        For each point the run on to whose side it was moved, shape (n,); changed too.
    fine
        The `rounding` of the drawing, m: what lies nearer to its line is on it.
    """
    inner = (topology.order % 1.0 > 0.0).nonzero()[0]
    sides = topology.order[inner].astype(np.int64)[:, None] + np.arange(2)
    node = topology.ends[inner, 0]
    place = topology.nodes[node]
    on = np.linalg.norm(_feet(place, straight[sides], 0.0) - place, axis=1) <= 2 * fine
    for _ in range(_ROUNDS):
        feet = _feet(place, points[sides], topology.tolerance)
        away = on & (np.linalg.norm(feet - place, axis=1) > fine)
        _, first = np.unique(node[away], return_index=True)
        moves = []
        for row in away.nonzero()[0][first].tolist():
            mine = on & (node == node[row])
            here = at_place(points, place[row])
            others = sides[mine & (sides[:, 0] != sides[row, 0])]
            if len(others) == 0:
                others = _own_sides(topology.drawing, points, here)
            slid = _slid(feet[row], points[sides[row]], points[others])
            farthest = _FARTHEST * np.linalg.norm(feet[row] - place[row])
            for goes in (slid, feet[row]):
                held = _feet(goes, points[sides[mine]], topology.tolerance)
                apart = float(np.linalg.norm(held - goes, axis=1).max())
                far = float(np.linalg.norm(goes - place[row]))
                if apart <= fine and far <= farthest:
                    moves.append((mine, here, goes, topology.run[inner[row]]))
                    break
            else:  # two lines of it do not meet any more
                on &= ~mine
        if not moves:
            break
        for mine, here, goes, run in moves:
            points[here], beside[here], place[mine] = goes, run, goes


def at_place(points: FloatArray, place: FloatArray) -> BoolArray:
    """Which points are at a place."""
    return np.asarray(np.linalg.norm(points - place, axis=1) < 1e-12)


def _feet(points: FloatArray, lines: FloatArray, tolerance: float) -> FloatArray:
    """The place on each line, shape (n, 2, 3), that is nearest to a point.

    Its end where that is within the tolerance of it, as the two would be one.
    """
    begin, way = lines[:, 0], lines[:, 1] - lines[:, 0]
    length = np.linalg.norm(way, axis=1).clip(1e-300)  # where both ends are one
    along = np.einsum("ij,ij->i", points - begin, way) / length
    along = np.where(along <= tolerance, 0.0, along)
    share = np.where(length - along <= tolerance, 1.0, along / length)[:, None]
    return np.asarray(begin * (1.0 - share) + lines[:, 1] * share)


def _own_sides(drawing: Drawing, points: FloatArray, here: BoolArray) -> IntArray:
    """First and last point of each side of a run that ends at a place, shape (m, 2)."""
    inside = np.ones(len(points) - 1, dtype=bool)
    inside[drawing.offsets[1:-1] - 1] = False  # from one run to the next
    inside &= here[1:] != here[:-1]
    return np.asarray(inside.nonzero()[0][:, None] + np.arange(2))


def _slid(place: FloatArray, line: FloatArray, others: FloatArray) -> FloatArray:
    """The place on a line that is nearest to other lines, shape (m, 2, 3).

    `place` is on the line; it stays where the others run along it.
    """
    way = (line[1] - line[0]) / max(float(np.linalg.norm(line[1] - line[0])), 1e-300)
    across = others[:, 1] - others[:, 0]
    across /= np.linalg.norm(across, axis=1)[:, None]
    miss = place - others[:, 0]
    miss -= np.einsum("ij,ij->i", miss, across)[:, None] * across
    turned = way - np.einsum("ij,j->i", across, way)[:, None] * across
    square = float((turned * turned).sum())
    if square < 1e-9:
        return place
    return np.asarray(place - way * (miss * turned).sum() / square)
