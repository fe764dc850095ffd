"""Loss coefficients of rectangular elbows, on the velocity in the duct.

W is the side of the section in the plane of the bend, H the side along its axis;
aspect is H / W; a radius is that of the centreline. Friction along the elbow is not
in the coefficient: it is counted with the length of the duct.
"""

from functools import cache

import numpy as np
import numpy.typing as npt

from elbowroom.layout import FloatArray

from .coefficient import Coefficient, LookupRefused, Note, worst
from .elbow_factors import angle_factor, mitred_reynolds_factor, reynolds_factor
from .tables import Grid, from_table, grid

TIGHTEST = 0.5  # r/W at which the throat radius is nothing


@cache
def _smooth() -> Grid:
    return grid(
        "rect_elbow_smooth",
        "r_over_W",
        "H_over_W",
        log_x=True,
        log_y=True,
        log_values=True,
    )


@cache
def _smooth_fine() -> Grid:
    return grid(
        "rect_elbow_smooth_fine",
        "r_over_W",
        "H_over_W",
        log_x=True,
        log_y=True,
        log_values=True,
    )


def rect_smooth(
    radius_ratio: npt.ArrayLike,
    aspect: npt.ArrayLike,
    angle: npt.ArrayLike,
    reynolds: npt.ArrayLike | None = None,
) -> Coefficient:
    """Smooth rectangular elbow without vanes.

    Parameters
    ----------
    radius_ratio
        r/W, from 0.5 on.
    aspect
        H/W.
    angle
        rad, 0 to pi.
    reynolds
        On the hydraulic diameter; None leaves the Reynolds factor at 1.

    Returns
    -------
    coefficient
        On the upstream velocity.

    Raises
    ------
    LookupRefused
        If r/W is below 0.5, which cannot be built.

    References
    ----------
    ASHRAE Handbook Fundamentals 2005, p. 35.52 (Idelchik 1986, diagram 6-1). Beyond
    r/W 2 the finer table of the same diagram goes on. Interpolation: ln C on ln r/W,
    C on ln H/W.
    """
    ratio, h, a = np.broadcast_arrays(
        *(
            np.atleast_1d(np.asarray(v, np.float64))
            for v in (radius_ratio, aspect, angle)
        )
    )
    if (ratio < TIGHTEST - 1e-9).any():
        raise LookupRefused(
            f"a smooth elbow cannot have r/W {ratio.min():.3g}: at 0.5 its throat "
            "radius is nothing already; take r/W 0.5 or more, or a mitred elbow"
        )
    book = _smooth()
    value, bits = book.at(ratio, h)
    wide = ratio > 2.0
    if wide.any():
        fine, fine_bits = _smooth_fine().at(ratio[wide], h[wide])
        value[wide], bits[wide] = fine, fine_bits
    turn, turn_bits = angle_factor("rect_smooth").at(np.degrees(a))
    factor, slow = (1.0, 0) if reynolds is None else reynolds_factor(ratio, reynolds)
    return make(
        value * turn,
        bits | turn_bits | slow,
        factor=factor,
        reference="upstream",
        table=book.name,
        source=book.source,
        confidence=worst(book.confidence, "seen") if wide.any() else book.confidence,
    )


@cache
def _mitred() -> Grid:
    return grid(
        "rect_elbow_mitred", "angle_deg", "H_over_W", through_zero=True, log_y=True
    )


@cache
def _mitred_formula() -> Grid:
    return grid(
        "rect_elbow_mitred_formula",
        "angle_deg",
        "H_over_W",
        through_zero=True,
        log_y=True,
    )


def rect_mitred(
    aspect: npt.ArrayLike,
    angle: npt.ArrayLike,
    reynolds: npt.ArrayLike | None = None,
) -> Coefficient:
    """Mitred rectangular elbow without vanes: square throat and square heel.

    Parameters
    ----------
    aspect
        H/W.
    angle
        rad, 0 to pi.
    reynolds
        On the hydraulic diameter; None leaves the Reynolds factor at 1.

    Returns
    -------
    coefficient
        On the upstream velocity.

    References
    ----------
    SMACNA HVAC Systems Duct Design, 4th ed., table A-7 E, to 90 degrees; beyond,
    Idelchik 1986, diagram 6-5, in closed form. Linear in the angle, C on ln H/W.
    """
    h, a = np.broadcast_arrays(
        *(np.atleast_1d(np.asarray(v, np.float64)) for v in (aspect, angle))
    )
    degrees = np.degrees(a)
    # A right angle computed from coordinates may come out a rounding too large.
    degrees = np.where(np.abs(degrees - 90.0) < 1e-6, 90.0, degrees)
    book = _mitred()
    value, bits = book.at(degrees, h)
    beyond = degrees > 90.0
    if beyond.any():
        far, far_bits = _mitred_formula().at(degrees[beyond], h[beyond])
        value[beyond], bits[beyond] = far, far_bits
    factor, slow = (1.0, 0) if reynolds is None else _mitred_factor(reynolds)
    return make(
        value,
        bits | slow,
        factor=factor,
        reference="upstream",
        table=book.name,
        source=book.source,
        confidence=worst(book.confidence, "seen") if beyond.any() else book.confidence,
    )
