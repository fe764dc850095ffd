"""Which way up a section stands: frames carried along the duct."""

import numpy as np
import numpy.typing as npt

from .recurrences import sum_from_root
from .sections import FloatArray, IntArray

# Within 5 degrees of plumb a duct has no level side of its own.
_PLUMB = float(np.cos(np.radians(5.0)))
_CHUNK = 1 << 13  # vectors at a time, so that every part of a product stays in cache


def z_up(points: FloatArray) -> FloatArray:
    """Points of a drawing with Y up, turned so that Z is, shape (n, 3)."""
    return np.asarray(points[:, [0, 2, 1]] * np.array([1.0, -1.0, 1.0]))


def y_up(points: FloatArray) -> FloatArray:
    """Points with Z up, turned so that Y is, shape (n, 3)."""
    return np.asarray(points[:, [0, 2, 1]] * np.array([1.0, 1.0, -1.0]))


def is_plumb(direction: FloatArray) -> npt.NDArray[np.bool_]:
    """Whether each direction is within 5 degrees of vertical, shape (n,)."""
    return np.asarray(np.abs(direction[:, 2]) > _PLUMB)


def level_frame(direction: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Frame of a section that stands level.

    Parameters
    ----------
    direction
        Unit vectors along the duct, shape (n, 3).

    Returns
    -------
    across, upright
        Unit vectors along the width and the height, shape (n, 3) each: the width is
        horizontal; in a vertical duct it is as near as can be to the world's X axis.
    """
    across = _level_across(direction)
    return across, cross(direction, across)


def _level_across(direction: FloatArray) -> FloatArray:
    across = np.zeros(direction.shape)
    across[:, 0], across[:, 1] = -direction[:, 1], direction[:, 0]
    plumb = is_plumb(direction).nonzero()[0]
    if len(plumb):
        steep = direction.take(plumb, axis=0)
        across[plumb] = np.array([1.0, 0.0, 0.0]) - steep[:, :1] * steep
    across /= np.sqrt(np.einsum("ij,ij->i", across, across))[:, None]
    return across


def cross(first: FloatArray, second: FloatArray) -> FloatArray:
    """Cross products of vectors, shape (n, 3); numpy's own takes five times as long."""
    out = np.empty(first.shape)
    for begin in range(0, len(out), _CHUNK):
        part = slice(begin, begin + _CHUNK)
        (ax, ay, az), (bx, by, bz), (x, y, z) = (
            first[part].T,
            second[part].T,
            out[part].T,
        )
        np.subtract(ay * bz, az * by, out=x)
        np.subtract(az * bx, ax * bz, out=y)
        np.subtract(ax * by, ay * bx, out=z)
    return out


def turn_between(
    before: FloatArray, after: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Angle and axis of the turn from one direction to the next.

    Parameters
    ----------
    before, after
        Unit vectors, shape (n, 3).

    Returns
    -------
    angle
        rad, 0 to pi, shape (n,).
    axis
        Unit vectors, shape (n, 3); zero where there is no turn.
    """
    axis = cross(before, after)
    sine = np.sqrt(np.einsum("ij,ij->i", axis, axis))
    cosine = np.einsum("ij,ij->i", before, after)
    axis /= np.where(sine > 1e-12, sine, np.inf)[:, None]
    return np.asarray(np.arctan2(sine, cosine)), axis


def rotate(vector: FloatArray, axis: FloatArray, angle: FloatArray) -> FloatArray:
    """Rotate vectors about unit axes, shape (n, 3); Rodrigues' formula."""
    cosine, sine = np.cos(angle)[:, None], np.sin(angle)[:, None]
    along = np.einsum("ij,ij->i", axis, vector)[:, None]
    turned = vector * cosine
    turned += cross(axis, vector) * sine
    turned += axis * along * (1.0 - cosine)
    return np.asarray(turned)


def carried_roll(
    before: FloatArray,
    axis: FloatArray,
    angle: FloatArray,
    across: FloatArray,
    upright: FloatArray,
) -> FloatArray:
    """Roll that a level section has after it was carried round a bend.

    Parameters
    ----------
    before
        Unit vectors along the duct before the bend, shape (n, 3).
    axis, angle
        The turn.
    across, upright
        The level frame of the duct after it, shape (n, 3) each.

    Returns
    -------
    roll
        rad, shape (n,): how far the carried frame is turned from that level one. Rolls
        add up along a run, whatever the section's roll before.

    References
    ----------
    Minimal rotation at each bend is what the double-reflection method gives for a
    circular arc: Wang et al., Computation of Rotation Minimizing Frames, 2008 (from
    memory).
    """
    carried = rotate(_level_across(before), axis, angle)
    return np.asarray(
        np.arctan2(
            np.einsum("ij,ij->i", carried, upright),
            np.einsum("ij,ij->i", carried, across),
        )
    )


def levelled(
    parent: IntArray,
    plumb: npt.NDArray[np.bool_],
    free: npt.NDArray[np.bool_],
    behind: IntArray,
    begins: FloatArray,
    added: FloatArray,
) -> FloatArray:
    """Let vertical ducts stand so that the first duct behind them stands as it should.

    Parameters
    ----------
    parent
        As for `rolls`.
    plumb, free
        Whether each duct is vertical, and whether it is one of whose stand nothing is
        said and which carries no other's on, shape (d,).
    behind
        Ducts to which vertical ones lead that are not vertical, or of which it is said
        how they stand, in walking order.
    begins, added
        As for `rolls`: where a duct begins anew, and what each adds, rad, shape (d,).

    Returns
    -------
    begins
        With those of free ducts such that what they lead to stands as is said of it,
        else level; the others as they were. Our own choice: a vertical duct has no
        level side, and the first side of a section that is written is its level one.
    """
    out = begins.copy()
    for row in behind[::-1].tolist():  # the first one counts
        duct, picked_up = int(parent[row]), float(added[row])
        while plumb[duct] and not free[duct] and np.isnan(begins[duct]):
            picked_up += float(added[duct])
            duct = int(parent[duct])
        if free[duct]:
            wanted = 0.0 if np.isnan(begins[row]) else float(begins[row])
            out[duct] = wanted - picked_up
    return out


def rolls(parent: IntArray, roll: FloatArray, begins: FloatArray) -> FloatArray:
    """Roll of each duct from the rolls picked up on the way.

    Parameters
    ----------
    parent
        Parent of each duct, earlier in the order; -1 at the source, shape (d,).
    roll
        What each duct adds to its parent's roll, rad, shape (d,).
    begins
        Roll at which a duct begins anew, rad; NaN where it carries its parent's on.

    Returns
    -------
    roll
        rad, shape (d,), -pi to pi.
    """
    fresh = ~np.isnan(begins)
    whole = sum_from_root(np.where(fresh, -1, parent), np.where(fresh, begins, roll))
    rolled = whole.nonzero()[0]
    turn = whole[rolled]
    whole[rolled] = np.arctan2(np.sin(turn), np.cos(turn))
    return whole
