"""Loss coefficients of round and flat oval elbows, on the velocity in the duct."""

from dataclasses import replace
from functools import cache

import numpy as np
import numpy.typing as npt

from elbowroom.layout import ELBOW_PIECES

from .coefficient import Coefficient, LookupRefused, Note
from .elbow_factors import (
    RIGHT_ANGLE,
    angle_factor,
    mitred_reynolds_factor,
    slowed_mitred,
    turned,
)
from .elbows_rect import rect_mitred
from .shares import share_between
from .tables import Curve, Grid, curve, from_table, grid, where_used


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
        r/D; outside 0.5 to 2.5 the nearest end is taken and noted. At 0.5 another
        publication has 1.00 for 0.71.
    angle
        rad, 0 to pi.

    Returns
    -------
    coefficient
        On the upstream velocity; without a Reynolds factor, as the elbows were tested.

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
    if pieces not in ELBOW_PIECES:
        *few, most = ELBOW_PIECES
        raise LookupRefused(
            f"round elbows are tabled in {', '.join(map(str, few))} or {most} pieces, "
            f"not in {pieces}; take the nearest of these"
        )
    return _round_elbow(f"{int(pieces)}_piece", radius_ratio, angle)


def _round_elbow(
    detail: str, radius_ratio: npt.ArrayLike, angle: npt.ArrayLike
) -> Coefficient:
    book = _round(detail)
    value, bits = book.at(np.atleast_1d(radius_ratio))
    turn, turn_bits = angle_factor("round_smooth").at(np.degrees(angle))
    return from_table(
        book,
        value * turn,
        bits | turn_bits,
        "upstream",
        factors=turned("round_smooth", turn),
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
        If it turns farther by more than a degree, which is a drawing's rounding.

    References
    ----------
    SMACNA HVAC Systems Duct Design, 4th ed., table A-7 C (Idelchik).
    """
    degrees = np.degrees(np.atleast_1d(np.asarray(angle, dtype=np.float64)))
    if not (degrees <= RIGHT_ANGLE).all():
        raise LookupRefused(
            "mitred round elbows are tabled to 90 degrees, not for "
            f"{degrees.max():.4g}; make the turn of two elbows"
        )
    book = _round_mitred()
    value, bits = book.at(np.minimum(degrees, 90.0))
    factor, slow = (
        (np.ones(1), 0) if reynolds is None else mitred_reynolds_factor(reynolds)
    )
    return from_table(
        book,
        value,
        bits | slow,
        "upstream",
        factor=factor,
        factors=slowed_mitred(factor),
    )


PLEATED_RATIO = 1.5  # r/D at which pleated elbows were tested
# Radius ratio at which each was tested, and the angles that are tabled.
_BY_DIAMETER = {
    "stamped": (1.5, (45, 90)),
    "pleated": (PLEATED_RATIO, (45, 90)),
    "3_gore": (1.5, (45, 60)),
    "5_gore": (1.5, (90,)),
    "7_gore": (2.5, (90,)),
}


@cache
def _by_diameter(construction: str, angle: int) -> Curve:
    return curve(
        "round_elbow_by_diameter",
        "diameter_mm",
        where={"construction": construction, "angle_deg": str(angle)},
        log_x=True,
    )


def round_by_diameter(
    construction: str, diameter: npt.ArrayLike, angle: npt.ArrayLike
) -> Coefficient:
    """Round elbow as it was tested size by size.

    Parameters
    ----------
    construction
        'stamped', 'pleated', '3_gore', '5_gore' (all r/D 1.5) or '7_gore' (r/D 2.5).
    diameter
        m; outside the sizes tested the nearest is taken, noted.
    angle
        rad, 0 to pi. A turn that is not tabled takes the angle factor of round elbows
        from the tabled ones, noted; the factor gives the tabled turns of 45 and 60
        degrees back within their rounding.

    Returns
    -------
    coefficient
        On the upstream velocity.

    Raises
    ------
    LookupRefused
        If there is no such construction.

    References
    ----------
    ASHRAE Handbook Fundamentals 2009, ch. 21, pp. 21.26-21.27.
    """
    if construction not in _BY_DIAMETER:
        raise LookupRefused(
            f"no elbow '{construction}' is tabled by diameter; take one of "
            f"{', '.join(_BY_DIAMETER)}"
        )
    millimetres, degrees = np.broadcast_arrays(
        np.atleast_1d(np.asarray(diameter, np.float64)) * 1e3,
        np.degrees(np.asarray(angle, np.float64)),
    )
    tabled = np.array(_BY_DIAMETER[construction][1], dtype=np.float64)
    books = [_by_diameter(construction, int(own)) for own in tabled]
    turn = angle_factor("round_smooth")
    # Loss over the angle factor is nearly one number; what little it differs between
    # two tabled turns is bridged, so that no turn loses less than a smaller one.
    share = share_between(degrees, tabled[0], max(tabled[-1], tabled[0] + 1.0))
    per_turn = [
        book.at(millimetres)[0] / turn.at(own)[0]
        for book, own in zip(books, tabled, strict=True)
    ]
    factor, off = turn.at(degrees)
    level = per_turn[0] + (per_turn[-1] - per_turn[0]) * share
    as_tabled = np.abs(degrees[..., None] - tabled).min(axis=-1) < 1e-6
    bits = books[0].at(millimetres)[1]
    return from_table(
        books[0],
        level * factor,
        np.where(as_tabled, bits, bits | off | int(Note.EXTENDED)),
        "upstream",
        factors=where_used(turn, ~as_tabled),
    )


@cache
def _with_friction() -> Grid:
    return grid("round_elbow_smooth_check", "r_over_D", "angle_deg")


def round_smooth_with_friction(
    radius_ratio: npt.ArrayLike, angle: npt.ArrayLike
) -> Coefficient:
    """Very smooth round bend by another publication, for comparison.

    It holds the friction along the bend, which every other elbow here leaves to the
    length of the duct; so it is never the default.

    Parameters
    ----------
    radius_ratio
        r/D, 0.5 to 10, else the nearer end, noted.
    angle
        rad, 10 to 180 degrees, else the nearer end, noted.

    References
    ----------
    Miller, Internal Flow Systems, 1978, digitised chart, Reynolds number 1e6.
    """
    ratio, degrees = np.broadcast_arrays(
        np.atleast_1d(np.asarray(radius_ratio, np.float64)), np.degrees(angle)
    )
    book = _with_friction()
    value, bits = book.at(ratio, degrees)
    return from_table(book, value, bits, "upstream")


def flat_oval_smooth(radius_ratio: npt.ArrayLike, angle: npt.ArrayLike) -> Coefficient:
    """Smooth flat oval elbow: the round elbow on its side in the bend's plane.

    Parameters and source are those of `flat_oval_segmented`.
    """
    return standing_in(round_smooth(radius_ratio, angle))


def flat_oval_segmented(
    pieces: int, radius_ratio: npt.ArrayLike, angle: npt.ArrayLike
) -> Coefficient:
    """Flat oval elbow of pieces: the round elbow on its side in the bend's plane.

    A stand-in: flat oval elbows were measured, but those tables were not seen.

    Parameters
    ----------
    pieces
        3, 4 or 5.
    radius_ratio
        Centreline radius over the side in the plane of the bend: the minor one the
        easy way, the major one the hard way.
    angle
        rad, 0 to pi.

    References
    ----------
    Common practice, no published source; easy and hard as in the papers of ASHRAE
    research project RP-1319.
    """
    return standing_in(round_segmented(pieces, radius_ratio, angle))


def flat_oval_mitred(
    aspect: npt.ArrayLike,
    angle: npt.ArrayLike,
    reynolds: npt.ArrayLike | None = None,
) -> Coefficient:
    """Mitred flat oval elbow: the rectangular one of the same sides stands in.

    Parameters and source are those of `rect_mitred` and `flat_oval_segmented`.
    """
    return standing_in(rect_mitred(aspect, angle, reynolds))


def standing_in(found: Coefficient) -> Coefficient:
    """Say that it is another fitting's: noted, in the lowest class."""
    return replace(found, notes=found.notes | int(Note.FALLBACK), confidence="low")
