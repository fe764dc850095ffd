"""Where labels stand beside what they name: off the ducts, and none on another."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.ndimage import distance_transform_edt

from elbowroom.layout import FloatArray, IntArray

NEAR = 26.0  # pixels: a label that is further from its point has a leader
_APART = 4.0  # pixels between labels
_REACHES = (14.0, 22.0, 34.0, 48.0, 66.0, 90.0, 120.0, 160.0, 210.0, 270.0, 340.0)
_ANGLES = np.radians(np.arange(0.0, 360.0, 15.0))
_GRID = (60, 30)  # pixels: places tried all over the picture
# What a place costs, in pixels further away.
_ON_DUCTS = 0.3  # for each pixel of ducts under the label
_BITES = 16.0  # where any of them is: a corner of a label would look cut out of a duct
_ON_A_POINT = 150.0  # for each other labelled point under it or under its leader
_WIDE = 5.0  # pixels round a point
_OFF_OUTLINE = 4.0  # pixels from it, where a label points at what is half hidden
Bools = npt.NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Place:
    """Place of one label.

    Parameters
    ----------
    corner
        Lower left corner, pixels.
    foot
        Point of its edge that is nearest to what it names, pixels.
    reach
        Distance of the two, pixels.
    """

    corner: tuple[float, float]
    foot: tuple[float, float]
    reach: float


def places(
    points: FloatArray,
    sizes: FloatArray,
    least: FloatArray,
    most: FloatArray,
    room: tuple[int, int],
    drawn: Bools,
) -> list[Place | None]:
    """Find a place for each label, the first of them first.

    Parameters
    ----------
    points
        What the labels name, pixels from the lower left, shape (n, 2).
    sizes
        Width and height of the labels, pixels, shape (n, 2).
    least, most
        Distance that each keeps from its point, pixels, shape (n,) each.
    room
        Width and height of the picture, pixels.
    drawn
        Where something is drawn, rows upwards, shape (height, width) about.

    Returns
    -------
    places
        None for a label that finds none: no label lies on another, and no leader runs
        through a label or across another leader.
    """
    inked = np.zeros((drawn.shape[0] + 1, drawn.shape[1] + 1), dtype=np.int64)
    inked[1:, 1:] = drawn.cumsum(axis=0).cumsum(axis=1)
    out: list[Place | None] = []
    boxes = np.empty((0, 4))  # left, low, right, top
    leaders = np.empty((0, 4))  # of each box: from its foot to its point
    for point, size, low, high in zip(points, sizes, least, most, strict=True):
        corner = _candidates(point, size, float(low), room)
        mine = np.hstack([corner, corner + size])
        foot = np.clip(point, mine[:, :2], mine[:, 2:])
        reach = np.hypot(*(foot - point).T)
        line = np.hstack([foot, np.broadcast_to(point, foot.shape)])
        good = (reach >= 0.6 * low) & (reach <= high)
        good &= ~_overlap(mine, boxes, _APART).any(axis=1)
        good &= ~_cuts(line, boxes).any(axis=1)
        good &= ~_cuts(leaders, mine).any(axis=0)
        good &= ~_cross(line, leaders).any(axis=1)
        if not good.any():
            out.append(None)
            continue
        other = points[np.hypot(*(points - point).T) > 2 * _WIDE]
        around = np.hstack([other - _WIDE, other + _WIDE])
        met = _overlap(mine, around, 0.0) | _cuts(line, around)
        hidden = _hidden(inked, mine)
        cost = reach + _ON_A_POINT * met.sum(axis=1)
        cost += _ON_DUCTS * hidden + _BITES * (hidden > 0)
        best = int(np.argmin(np.where(good, cost, np.inf)))
        x, y = corner[best].tolist()
        at = foot[best].tolist()
        out.append(Place((x, y), (at[0], at[1]), float(reach[best])))
        boxes = np.vstack([boxes, mine[best]])
        leaders = np.vstack([leaders, line[best]])
    return out


def in_sight(
    point: FloatArray, pieces: Sequence[int], seen: IntArray
) -> FloatArray | None:
    """Find where a label points so that what it names is seen there.

    Parameters
    ----------
    point
        Where it is, pixels from the lower left, shape (2,).
    pieces
        Pieces that may be seen there.
    seen
        Piece that each pixel shows, rows upwards, shape (height, width).

    Returns
    -------
    point
        The same if one of the pieces is seen there; else the nearest place where one
        is, off its outline where it is wide enough; None where all are hidden.
    """
    x, y = (np.clip(point, 0, np.array(seen.shape[::-1]) - 1)).astype(int)
    if seen[y, x] in pieces:
        return point
    mine = np.isin(seen, pieces)
    rows, columns = np.flatnonzero(mine.any(axis=1)), np.flatnonzero(mine.any(axis=0))
    if not rows.size:
        return None
    low, left = rows[0], columns[0]
    mine = np.pad(mine[low : rows[-1] + 1, left : columns[-1] + 1], 1)
    within = distance_transform_edt(mine)[1:-1, 1:-1]
    up, right = np.nonzero(within >= min(_OFF_OUTLINE, within.max()))
    found = np.stack([right + left, up + low], axis=1) + 0.5
    return np.asarray(found[np.hypot(*(found - point).T).argmin()])


def _candidates(
    point: FloatArray, size: FloatArray, least: float, room: tuple[int, int]
) -> FloatArray:
    """Lower left corners to be tried, within the room, shape (m, 2)."""
    far = np.array([reach for reach in _REACHES if reach >= least])[:, None, None]
    way = np.stack([np.cos(_ANGLES), np.sin(_ANGLES)], axis=1)
    round_it = point + way * (far + size / 2) - size / 2
    x, y = np.meshgrid(*(np.arange(4, r, s) for r, s in zip(room, _GRID, strict=True)))
    over_all = np.stack([x, y], axis=-1).reshape(-1, 2).astype(float)
    corner = np.concatenate([round_it.reshape(-1, 2), over_all])
    inside = (corner >= 4).all(axis=1) & (corner + size <= np.array(room) - 4).all(1)
    return np.asarray(corner[inside])


def _overlap(one: FloatArray, other: FloatArray, apart: float) -> Bools:
    """Whether boxes come nearer than a distance, shape (m, k)."""
    a, b = one[:, None], other[None]
    return np.asarray(
        ((a[..., :2] < b[..., 2:] + apart) & (b[..., :2] < a[..., 2:] + apart)).all(-1)
    )


def _cuts(line: FloatArray, box: FloatArray) -> Bools:
    """Whether segments run through boxes, shape (lines, boxes)."""
    begin, step = line[:, None, :2], (line[:, 2:] - line[:, :2])[:, None]
    step = np.where(np.abs(step) < 1e-9, 1e-9, step)
    one = (box[None, :, :2] - begin) / step
    two = (box[None, :, 2:] - begin) / step
    enters, leaves = np.minimum(one, two).max(-1), np.maximum(one, two).min(-1)
    return np.asarray(np.maximum(enters, 0.0) < np.minimum(leaves, 1.0))


def _cross(one: FloatArray, other: FloatArray) -> Bools:
    """Whether segments cross segments, shape (m, k); to meet at an end is no cross."""

    def side(a: FloatArray, b: FloatArray, c: FloatArray) -> FloatArray:
        u, v = b - a, c - a
        return np.asarray(u[..., 0] * v[..., 1] - u[..., 1] * v[..., 0])

    p, q = one[:, None, :2], one[:, None, 2:]
    r, s = other[None, :, :2], other[None, :, 2:]
    apart = side(p, q, r) * side(p, q, s) < -1e-6
    return np.asarray(apart & (side(r, s, p) * side(r, s, q) < -1e-6))


def _hidden(inked: IntArray, box: FloatArray) -> IntArray:
    """Pixels in each box that are drawn on, by sums over corners."""
    last = np.array(inked.shape)[::-1] - 1
    whole = np.minimum(box, np.tile(last, 2)).astype(int)
    left, low, right, top = whole.T
    above = inked[top, right] - inked[top, left]
    return np.asarray(above - inked[low, right] + inked[low, left])


def cut(text: str, letters: int) -> str:
    """Text cut to a number of letters, the last an ellipsis if it was longer.

    Examples
    --------
    >>> cut("diffuser in the hall", 9), cut("hall", 9)
    ('diffuser…', 'hall')
    """
    return text if len(text) <= letters else text[: letters - 1].rstrip(" ,") + "…"
