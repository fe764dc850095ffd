"""Flexible duct: how much more it rubs when it is pushed together or bent.

Roughness is that of `roughness.csv`; the factors here go on the friction of that
duct, fully stretched. Support and stretch decide more than any table: a length that
sags or is left loose can lose many times what is drawn.
"""

from functools import cache

import numpy as np
import numpy.typing as npt

from elbowroom.layout import FloatArray, IntArray

from .coefficient import LookupRefused, Note
from .tables import Curve, curve, rows

_BEND = "flexible_bend_factor"
_SMALLEST, _LARGEST = 0.152, 0.406  # m, the sizes of the table
_MOST = 0.30  # shortened by this share; beyond, the factor may pass 10


def compression_factor(
    diameter: npt.ArrayLike, shortened: npt.ArrayLike
) -> tuple[FloatArray, IntArray]:
    """Factor on the friction of flexible duct that is not stretched.

    Parameters
    ----------
    diameter
        m; the sizes tested are 0.152 to 0.406, other sizes are noted.
    shortened
        How much shorter than fully stretched, as a share: 0 is stretched; above 0.30
        noted.

    Returns
    -------
    factor, notes
        In the broadcast shape.

    Raises
    ------
    LookupRefused
        If it is shortened by less than nothing or by more than a half.

    Notes
    -----
    1 + 0.58 r exp(-0.00496 D), r in percent, D in mm; `flexible_compression_factor.csv`
    has its values as they are printed, which it is checked against.

    References
    ----------
    ASHRAE Handbook Fundamentals 2009, after Abushakra, Walker and Sherman 2004 (from
    memory).

    Examples
    --------
    >>> factor, _ = compression_factor([0.152, 0.406], 0.15)
    >>> factor.round(2)
    array([5.09, 2.16])
    """
    d, r = np.broadcast_arrays(
        np.asarray(diameter, np.float64), np.asarray(shortened, np.float64)
    )
    wrong = ~((r >= 0.0) & (r <= 0.5))
    if wrong.any():
        raise LookupRefused(
            f"flexible duct is shortened by 0 to 0.5 of its length, not by "
            f"{np.atleast_1d(r)[np.atleast_1d(wrong)][0]:g}; stretch it, or cut it"
        )
    factor = 1.0 + 0.58 * (100.0 * r) * np.exp(-0.00496 * (1000.0 * d))
    off = (d < _SMALLEST - 1e-9) | (d > _LARGEST + 1e-9) | (r > _MOST + 1e-9)
    return np.asarray(factor), np.asarray(off * np.int64(Note.EXTENDED))


@cache
def _bend() -> Curve:
    """Multiplier of the bent length over the angle; 1 where there is no bend."""
    book = curve(_BEND, "angle_deg", "length_loss_multiplier")
    return Curve(
        book.name,
        book.source,
        book.confidence,
        np.concatenate([[0.0], book.x]),
        np.concatenate([[1.0], book.y]),
    )


def bend_factor(
    angle: npt.ArrayLike, radius_ratio: npt.ArrayLike = 1.0
) -> tuple[FloatArray, IntArray]:
    """Factor on the friction along the bent length of stretched flexible duct.

    Parameters
    ----------
    angle
        rad, 0 to pi/2.
    radius_ratio
        r/D; the bends tested have 1 to 1.5, others are noted. A tighter bend loses
        more than this factor.

    Returns
    -------
    factor, notes
        In the broadcast shape.

    Raises
    ------
    LookupRefused
        If the duct turns farther.

    References
    ----------
    Abstract of an experimental study of stretched nonmetallic flexible duct with a
    bend, 203 to 356 mm, by the method of ASHRAE Standard 120-2008.
    """
    degrees, ratio = np.broadcast_arrays(
        np.degrees(np.asarray(angle, np.float64)), np.asarray(radius_ratio, np.float64)
    )
    wrong = ~((degrees >= 0.0) & (degrees <= 90.0 + 1e-6))
    if wrong.any():
        raise LookupRefused(
            "bends of flexible duct are published to 90 degrees, not for "
            f"{np.atleast_1d(degrees)[np.atleast_1d(wrong)][0]:.0f}; make the turn of "
            "a rigid elbow"
        )
    book = _bend()
    value, bits = book.at(np.minimum(degrees, 90.0))
    row = rows(_BEND)[0]
    low, high = float(row["r_over_D_min"]), float(row["r_over_D_max"])
    off = (ratio < low - 1e-9) | (ratio > high + 1e-9)
    value = np.where(np.isnan(ratio), np.nan, value)
    return value, np.asarray(bits | off * np.int64(Note.EXTENDED))


def bend_extra_length(
    angle: npt.ArrayLike, radius: npt.ArrayLike, diameter: npt.ArrayLike
) -> tuple[FloatArray, IntArray]:
    """Length of the same straight duct that loses what a bend adds to its own length.

    Parameters
    ----------
    angle
        rad, 0 to pi/2.
    radius, diameter
        Centreline radius and diameter, m.

    Returns
    -------
    length, notes
        m, in the broadcast shape.

    Raises
    ------
    LookupRefused
        See `bend_factor`.
    """
    r = np.asarray(radius, np.float64)
    factor, notes = bend_factor(angle, r / np.asarray(diameter, np.float64))
    return np.asarray((factor - 1.0) * r * np.asarray(angle, np.float64)), notes
