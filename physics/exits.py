"""Loss coefficients where air leaves a duct, on the velocity in the duct.

They hold the velocity pressure that is lost with the air: a plain end has 1.
"""

from functools import cache

import numpy as np
import numpy.typing as npt

from .axes import alike
from .coefficient import Coefficient, LookupRefused, make
from .tables import Grid, chosen, curve, from_table, grid

_DIFFUSER = "exit_diffuser"
_NOZZLE = "exit_nozzle"
_NOZZLE_LOSS = 1.05  # of the velocity pressure at its mouth: 0.05 is the nozzle's own
DIFFUSERS = ("conical", "plane", "pyramidal")


@cache
def _abrupt() -> tuple[float, str, str]:
    """Value, source and class of the plain end."""
    (row,) = chosen(_DIFFUSER, {"kind": "abrupt"})
    return float(row["C"]), row["source"], row["confidence"]


def exit_abrupt() -> Coefficient:
    """Plain duct end that discharges into a room: the velocity pressure is lost.

    References
    ----------
    Idelchik, even profile; the whole velocity pressure.
    """
    value, source, confidence = _abrupt()
    return make(
        np.array([value]),
        0,
        reference="duct",
        table=_DIFFUSER,
        source=source,
        confidence=confidence,
    )


@cache
def _diffuser(kind: str) -> Grid:
    """Table of a diffuser, with the row of no change of area added: a plain end."""
    book = grid(
        _DIFFUSER,
        "A_out_over_A_duct",
        "angle_deg",
        where={"kind": f"{kind}_diffuser"},
    )
    plain = np.ones((1, len(book.y)))
    none = np.zeros((1, len(book.y)), dtype=bool)
    return Grid(
        book.name,
        book.source,
        book.confidence,
        np.concatenate([[1.0], book.x]),
        book.y,
        np.concatenate([plain, book.values]),
        suspect=np.concatenate([none, book.suspect]),
    )


def exit_diffuser(
    kind: str, area_ratio: npt.ArrayLike, angle: npt.ArrayLike
) -> Coefficient:
    """Diffuser at the end of a duct.

    Parameters
    ----------
    kind
        One of `DIFFUSERS`; a plane one opens between two parallel sides.
    area_ratio
        Area of its mouth over that of the duct, from 1 on; beyond the table the last
        row, noted.
    angle
        Included angle, rad; outside the table the nearer end, noted.

    Returns
    -------
    coefficient
        The diffuser and what leaves it, on the velocity in the duct.

    Raises
    ------
    LookupRefused
        If there is no such kind, or the mouth is smaller than the duct.

    References
    ----------
    ASHRAE Handbook Fundamentals 1977-1989; SMACNA HVAC Systems Duct Design, table
    14-17 (from memory, but for the conical one of ratio 2 at 14 degrees).
    """
    if kind not in DIFFUSERS:
        raise LookupRefused(
            f"there is no diffuser '{kind}'; take one of {', '.join(DIFFUSERS)}"
        )
    ratio, degrees = np.broadcast_arrays(
        np.atleast_1d(np.asarray(area_ratio, np.float64)), np.degrees(angle)
    )
    if not (ratio >= 1.0 - 1e-9).all():
        raise LookupRefused(
            f"a diffuser's mouth cannot have {np.min(ratio):g} of the duct's area; "
            "take 1 or more, or a nozzle"
        )
    book = _diffuser(kind)
    value, bits = book.at(ratio, degrees)
    bits = bits | book.doubted(ratio, degrees)
    return from_table(book, value, bits, "duct")


def exit_nozzle(diameter_ratio: npt.ArrayLike) -> Coefficient:
    """Converging nozzle at the end of a duct.

    Parameters
    ----------
    diameter_ratio
        Diameter of its mouth over that of the duct, 0.3 to 1.

    Returns
    -------
    coefficient
        1.05 over the fourth power of the ratio; at 1 there is no nozzle, and 1. The
        formula counts; the rows of the table are what it is checked against.

    Raises
    ------
    LookupRefused
        If the ratio is below 0.3 or above 1.

    References
    ----------
    ASHRAE Handbook Fundamentals, stack heads (from memory).
    """
    ratio = np.atleast_1d(np.asarray(diameter_ratio, np.float64))
    if not ((ratio >= 0.3 - 1e-9) & (ratio <= 1.0 + 1e-9)).all():
        raise LookupRefused(
            "a nozzle's mouth is tabled from 0.3 to 1 of the duct's diameter, not for "
            f"{ratio[np.argmax(np.abs(ratio - 0.65))]:g}; take a wider mouth"
        )
    book = curve(_NOZZLE, "D_exit_over_D")
    value = np.where(ratio >= 1.0, 1.0, _NOZZLE_LOSS / ratio**4)
    return from_table(book, value, 0, "duct")


@cache
def _after_elbow() -> Grid:
    return grid("exit_after_elbow_90", "r_over_W", "L_after_over_W")


def exit_after_elbow(
    radius_ratio: npt.ArrayLike, length_ratio: npt.ArrayLike
) -> Coefficient:
    """Elbow of 90 degrees near the open end of a duct: elbow and exit together.

    Parameters
    ----------
    radius_ratio
        r/W; 0 for a mitred elbow, to 2.5, else clamped, noted.
    length_ratio
        Straight length behind the elbow over W; beyond 12 nothing changes.

    Returns
    -------
    coefficient
        In place of the elbow's and the exit's own.

    References
    ----------
    Idelchik, discharge from a bend (from memory).
    """
    ratio, length = alike(radius_ratio, length_ratio)
    book = _after_elbow()
    value, bits = book.at(ratio, np.minimum(length, book.y[-1]))
    return from_table(book, value, bits, "duct")
