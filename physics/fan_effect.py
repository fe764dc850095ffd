"""What a fan loses when the duct at its outlet or inlet is too short or bent.

These losses come on top of those of the elbow itself, on the velocity pressure at the
fan. They do not replace the maker's data, nor a licensed person's judgement of a fan
installation.
"""

from functools import cache

import numpy as np
import numpy.typing as npt

from elbowroom.layout import FloatArray

from .coefficient import Coefficient, LookupRefused, Note
from .tables import Curve, Grid, curve, from_table, grid

POSITIONS = ("A", "B", "C", "D")
INLET_ELBOWS = {
    "square": "square elbow with inlet transition, no vanes",
    "square-three-vanes": "square elbow with inlet transition, three long vanes",
    "square-short-vanes": "square elbow with inlet transition, short vanes",
    "round": "round smooth radius elbow",
    "round-mitred": "round mitred elbow, two piece",
}
_SLOW = 12.7  # m/s, 2500 fpm
_STEP = 5.08  # m/s, 1000 fpm


def effective_duct_length(
    velocity: npt.ArrayLike, outlet_area: npt.ArrayLike
) -> FloatArray:
    """Straight duct behind a fan in which its outlet flow becomes even.

    Parameters
    ----------
    velocity
        Mean velocity in the outlet duct, m/s.
    outlet_area
        Area of the outlet, m²; shapes that broadcast.

    Returns
    -------
    length
        m: 2.5 diameters of equal area to 12.7 m/s, one more for each 5.08 m/s beyond.

    Raises
    ------
    ValueError
        If an area is not above zero, or a velocity is negative.

    References
    ----------
    AMCA Publication 201 (from memory).

    Examples
    --------
    >>> effective_duct_length([10.0, 15.24], 0.25).round(3)
    array([1.41 , 1.693])
    """
    speed, area = np.asarray(velocity, np.float64), np.asarray(outlet_area, np.float64)
    if not ((area > 0.0).all() and (speed >= 0.0).all()):
        raise ValueError("a fan outlet needs an area above 0 m² and no negative flow")
    diameters = 2.5 + np.maximum(speed - _SLOW, 0.0) / _STEP
    return np.asarray(diameters * np.sqrt(4.0 * area / np.pi))


@cache
def _outlet(position: str) -> Grid:
    return grid(
        "fan_outlet_elbow",
        "blast_area_over_outlet_area",
        "percent_effective_duct",
        where={"elbow_position": position},
    )


def outlet_elbow(blast_ratio: npt.ArrayLike, share: npt.ArrayLike) -> Coefficient:
    """Elbow close behind a centrifugal fan with one inlet, beyond the elbow's own loss.

    Parameters
    ----------
    blast_ratio
        Blast area over outlet area of the fan; 0.4 to 1, else the nearer end, noted.
    share
        Straight duct before the elbow over `effective_duct_length`; nothing is lost
        from 1 on. Shapes that broadcast.

    Returns
    -------
    coefficient
        On the velocity at the fan outlet: how the elbow turns against the wheel is not
        known, so it is the worst of the four ways that are printed, noted.

    References
    ----------
    AMCA Publication 201, outlet duct elbows (from memory).
    """
    blast, part = np.broadcast_arrays(
        np.atleast_1d(np.asarray(blast_ratio, np.float64)),
        np.asarray(share, np.float64),
    )
    percent = 100.0 * np.minimum(part, 1.0)
    found = [_outlet(place).at(blast, percent) for place in POSITIONS]
    value = np.max([one for one, _ in found], axis=0)
    bits = np.where(part >= 1.0, 0, found[0][1] | int(Note.FALLBACK))
    return from_table(_outlet(POSITIONS[0]), value, bits, "fan outlet")


@cache
def _inlet(elbow: str) -> Grid:
    return grid(
        "fan_inlet_elbow",
        "radius_ratio",
        "straight_length_diameters",
        where={"elbow": INLET_ELBOWS[elbow]},
    )


@cache
def _mitred_inlet() -> Curve:
    where = {"elbow": INLET_ELBOWS["round-mitred"]}
    return curve("fan_inlet_elbow", "straight_length_diameters", where=where)


def inlet_elbow(
    elbow: str, straight: npt.ArrayLike, radius_ratio: npt.ArrayLike | None = None
) -> Coefficient:
    """Elbow close before a fan inlet, beyond the elbow's own loss.

    Parameters
    ----------
    elbow
        One of `INLET_ELBOWS`.
    straight
        Straight duct between elbow and inlet over the diameter. The table ends at 5;
        its last value is held beyond, noted.
    radius_ratio
        R/H of a square elbow, R/D of a round one; not for a mitred one.

    Returns
    -------
    coefficient
        On the velocity at the fan inlet.

    Raises
    ------
    LookupRefused
        If there is no such elbow, or its radius is missing.

    References
    ----------
    ASHRAE 1988 (square) and ASHRAE Fundamentals appendix (round, from memory).
    """
    if elbow not in INLET_ELBOWS:
        raise LookupRefused(
            f"there is no inlet elbow '{elbow}'; take one of {', '.join(INLET_ELBOWS)}"
        )
    length = np.atleast_1d(np.asarray(straight, np.float64))
    if elbow == "round-mitred":
        curved = _mitred_inlet()
        value, bits = curved.at(length)
        return from_table(curved, value, bits, "fan inlet")
    if radius_ratio is None:
        raise LookupRefused(f"the inlet elbow '{elbow}' needs its radius; give it")
    book = _inlet(elbow)
    value, bits = book.at(radius_ratio, length)
    return from_table(book, value, bits, "fan inlet")
