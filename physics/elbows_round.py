"""Loss coefficients of round and flat oval elbows, on the velocity in the duct."""

from functools import cache

import numpy as np
import numpy.typing as npt

from elbowroom.layout import FloatArray, IntArray

from .coefficient import Coefficient, LookupRefused, Note
from .elbow_factors import angle_factor, mitred_reynolds_factor
from .elbows_rect import rect_mitred
from .tables import Curve, Grid, chosen, curve, from_table, grid, rows


@cache
def _round(detail: str) -> Curve:
    return curve(
        "round_elbow",
        "r_over_D",
        where={"detail": detail},
        log_x=True,
        log_y=True,
    )


def round_smooth(radius_ratio: npt.ArrayLike, angle: npt.ArrayLike) -> Coefficient:
    """Smooth round elbow.

    Parameters
    ----------
    radius_ratio
        r/D; outside 0.5 to 2.5 the nearest end is taken and noted.
    angle
        rad, 0 to pi.

    Returns
    -------
    coefficient
        On the upstream velocity.

    References
    ----------
    SMACNA HVAC Systems Duct Design, 4th ed., table A-7 A (Locklin 1950).
    """
    return _round_elbow("stamped", radius_ratio, angle)


def round_segmented(
    pieces: int, radius_ratio: npt.ArrayLike, angle: npt.ArrayLike
) -> Coefficient:
    """Round elbow of mitred pieces: 3, 4 or 5 of them.

    Raises
    ------
    LookupRefused
        If there is no such number of pieces.

    References
    ----------
    SMACNA HVAC Systems Duct Design, 4th ed., table A-7 B (Locklin 1950).
    """
    if pieces not in (3, 4, 5):
        raise LookupRefused(
            f"round elbows are tabled in 3, 4 or 5 pieces, not in {pieces}"
        )
    return _round_elbow(f"{pieces}_piece", radius_ratio, angle)


def _round_elbow(
    detail: str, radius_ratio: npt.ArrayLike, angle: npt.ArrayLike
) -> Coefficient:
    book = _round(detail)
    value, bits = book.at(np.atleast_1d(radius_ratio))
    turn, turn_bits = angle_factor("round_smooth").at(np.degrees(angle))
    return make(
        value * turn,
        bits | turn_bits,
        reference="upstream",
        table=book.name,
        source=book.source,
        confidence=book.confidence,
    )


@cache
def _round_mitred() -> Curve:
    return curve("round_elbow_mitred", "angle_deg", through_zero=True)


def round_mitred(
    angle: npt.ArrayLike, reynolds: npt.ArrayLike | None = None
) -> Coefficient:
    """Mitred round elbow, to 90 degrees.

    Raises
    ------
    LookupRefused
        If it turns farther.

    References
    ----------
    SMACNA HVAC Systems Duct Design, 4th ed., table A-7 C (Idelchik).
    """
    degrees = np.degrees(np.atleast_1d(np.asarray(angle, dtype=np.float64)))
    if (degrees > 90.0 + 1e-6).any():
        raise LookupRefused(
            "mitred round elbows are tabled to 90 degrees, not for "
            f"{degrees.max():.0f}; make the turn of two elbows"
        )
    book = _round_mitred()
    value, bits = book.at(np.minimum(degrees, 90.0))
    factor, slow = (1.0, 0) if reynolds is None else _mitred_factor(reynolds)
    return make(
        value,
        bits | slow,
        factor=factor,
        reference="upstream",
        table=book.name,
        source=book.source,
        confidence=book.confidence,
    )
