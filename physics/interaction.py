"""What fittings that stand close together lose beyond, or below, their plain sum.

A single penalty for close fittings would be wrong in sign for half of the cases: a
smooth S loses much less than its two elbows, a mitred Z much more. The plain sum is
what counts by default; these figures stand beside it.
"""

from functools import cache

import numpy as np
import numpy.typing as npt

from elbowroom.layout import FloatArray, IntArray

from .coefficient import Coefficient, Note
from .tables import Curve, Grid, curve, from_table, grid

_FAR_APART = 10.0  # L/W from which a mitred pair counts as two elbows


@cache
def _s_pair() -> Grid:
    return grid("pair_s_bend_smooth_factor", "angle_deg", "L_over_D", "pair_factor")


def s_pair_factor(
    angle: npt.ArrayLike, spacing: npt.ArrayLike
) -> tuple[FloatArray, IntArray]:
    """Loss of a smooth S over that of one of its two bends.

    Parameters
    ----------
    angle
        Turn of each bend, rad; 15 to 120 degrees, else the nearer end, noted.
    spacing
        Straight length between them over the diameter, or the hydraulic diameter; from
        40 on the bends do not feel each other.

    Returns
    -------
    factor, notes
        2 is the plain sum.

    References
    ----------
    Idelchik, section VI, S-shaped bends, r/D from 1 on, round; by the hydraulic
    diameter for other sections (our own choice). Radius and section are not looked at
    here: see `close_pairs`.
    """
    book = _s_pair()
    value, bits = book.at(np.degrees(angle), np.atleast_1d(spacing))
    far = np.atleast_1d(spacing) >= book.y[-1]
    turned = np.degrees(angle)
    off = (turned < book.x[0] - 1e-6) | (turned > book.x[-1] + 1e-6)
    bits = np.where(off, int(Note.CLAMPED), bits & ~int(Note.CLAMPED))
    return value, np.where(far, 0, bits)


def s_pair(
    single: Coefficient, angle: npt.ArrayLike, spacing: npt.ArrayLike
) -> Coefficient:
    """Both of two smooth elbows that turn one way and back, in one plane.

    Parameters
    ----------
    single
        Coefficient of one of the two, which are alike.
    angle, spacing
        As of `s_pair_factor`.
    """
    factor, notes = s_pair_factor(angle, spacing)
    value = single.value * single.reynolds_factor * factor
    return from_table(_s_pair(), value, single.notes | notes, "duct")


@cache
def _mitred(arrangement: str) -> Curve:
    return curve("rect_pair_mitred_90", "L_over_W", where={"arrangement": arrangement})


@cache
def _aspect() -> Curve:
    return curve("rect_pair_mitred_aspect_factor", "H_over_W", "K_aspect")


def mitred_pair(
    spacing: npt.ArrayLike, aspect: npt.ArrayLike = 1.0, twisted: bool = False
) -> Coefficient:
    """Two mitred right-angled elbows, axis to axis.

    Parameters
    ----------
    spacing
        Distance of the two axes over W, the side in the plane of the bends. Beyond 10
        the pair goes to its value far apart.
    aspect
        H/W; 0.25 to 8, else the nearer end, noted.
    twisted
        Whether the second turns in the plane across that of the first; else it turns
        back into the first direction, a Z.

    Returns
    -------
    coefficient
        On the velocity in the duct, without a Reynolds factor.

    References
    ----------
    Idelchik, section VI (from memory; the aspect factor is that of one mitred elbow).
    """
    book = _mitred(
        "two_planes_perpendicular" if twisted else "z_same_plane_opposite_turn"
    )
    value, bits = book.at(np.atleast_1d(spacing))
    factor, off = _aspect().at(aspect)
    # Beyond the last row, which stands for far apart, nothing changes any more.
    far = np.atleast_1d(spacing) > _FAR_APART
    bits = np.where(far, bits & ~int(Note.CLAMPED), bits)
    return from_table(book, value * factor, bits | off, "duct")


@cache
def _u_pair() -> Grid:
    return grid("rect_pair_u_mitred", "back_width_over_W", "L_over_W")


def mitred_u_pair(spacing: npt.ArrayLike, back_width: npt.ArrayLike) -> Coefficient:
    """Two mitred right-angled elbows that turn the same way: a U.

    Parameters
    ----------
    spacing
        Length between them over W; to 1.8, else clamped, noted.
    back_width
        Width of the leg between them over W; 0.5 to 2, else clamped, noted.

    References
    ----------
    Idelchik, section VI, U-shaped elbow (from memory).
    """
    book = _u_pair()
    back, length = np.broadcast_arrays(
        np.atleast_1d(np.asarray(back_width, np.float64)),
        np.asarray(spacing, np.float64),
    )
    value, bits = book.at(back, length)
    return from_table(book, value, bits, "duct", confidence="low")


def offset_30(spacing: npt.ArrayLike, is_round: bool) -> Coefficient:
    """Two sharp 30-degree elbows that make an offset.

    Parameters
    ----------
    spacing
        Length between them over the diameter or side; to 3, else clamped, noted.
    is_round
        Whether the duct is round, else square.

    References
    ----------
    Idelchik, section VI (from memory).
    """
    section = "round" if is_round else "rect_square"
    book = curve("pair_offset_30", "L_over_D", where={"section": section})
    value, bits = book.at(np.atleast_1d(spacing))
    return from_table(book, value, bits, "duct", confidence="low")
