"""Loss coefficients of elbows, on the velocity in the duct.

W is the side of the section in the plane of the bend, H the side along its axis;
aspect is H / W; a radius is that of the centreline. Friction along the elbow is not
in the coefficient: it is counted with the length of the duct.
"""

from functools import cache

import numpy as np
import numpy.typing as npt

from elbowroom.layout import FloatArray, IntArray

from .coefficient import Coefficient, LookupRefused, Note, make, worst
from .tables import Curve, Grid, chosen, curve, grid

TIGHTEST = 0.5  # r/W at which the throat radius is nothing
_LOWEST_REYNOLDS = 1e4


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


@cache
def angle_factor(kind: str) -> Curve:
    """Factor for the angle of turn, degrees: 'rect_smooth', 'round_smooth', ..."""
    return curve(
        "elbow_angle_factor", "angle_deg", "K_angle", where={"elbow_kind": kind}
    )


@cache
def _reynolds_classes() -> tuple[Curve, Curve, Curve]:
    tight, middle, wide = (
        curve(
            "elbow_reynolds_factor",
            "Re",
            "K_Re",
            where={"r_over_W_min": low},
            log_x=True,
        )
        for low in ("0.5", "0.55", "0.7")
    )
    return tight, middle, wide


def reynolds_factor(
    radius_ratio: npt.ArrayLike, reynolds: npt.ArrayLike
) -> tuple[FloatArray, IntArray]:
    """Reynolds factor of smooth rectangular elbows.

    Parameters
    ----------
    radius_ratio, reynolds
        r/W and the Reynolds number on the hydraulic diameter; shapes that broadcast.

    Returns
    -------
    factor, notes
        In the broadcast shape; 1 from Reynolds 4e5 on, the value at 1e4 below that,
        noted.

    Notes
    -----
    The three classes of r/W are printed with steps at 0.55 and 0.70. They are joined
    here by straight lines over r/W 0.50, 0.625 and 0.75, so that a sweep of radii has
    no jump: our own choice. Whether the factor applies at all is disputed between
    editions of the handbook; it is listed as an assumption.

    References
    ----------
    Idelchik, Handbook of Hydraulic Resistance, 1986, diagram 6-1.
    """
    ratio = np.asarray(radius_ratio, dtype=np.float64)
    re = np.asarray(reynolds, dtype=np.float64)
    (tight, bits), (middle, _), (wide, _) = (c.at(re) for c in _reynolds_classes())
    low = ((ratio - 0.5) / 0.125).clip(0.0, 1.0)
    high = ((ratio - 0.625) / 0.125).clip(0.0, 1.0)
    factor = tight + (middle - tight) * low + (wide - middle) * high
    return factor, _slow(re, bits)


def _slow(re: FloatArray, bits: IntArray) -> IntArray:
    # Above the table the factor has come down to 1, which is no clamping.
    slow = (re < _LOWEST_REYNOLDS) * np.int64(Note.LOW_REYNOLDS)
    return np.asarray(slow | (bits & int(Note.INTERPOLATED)))


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


@cache
def _mitred_reynolds() -> Curve:
    return curve("rect_elbow_mitred_reynolds", "Re", "K_Re", log_x=True)


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


def _mitred_factor(reynolds: npt.ArrayLike) -> tuple[FloatArray, IntArray]:
    re = np.asarray(reynolds, dtype=np.float64)
    factor, bits = _mitred_reynolds().at(re)
    return factor, _slow(re, bits)


def rect_splitters(
    count: int,
    throat_ratio: npt.ArrayLike,
    aspect: npt.ArrayLike,
    angle: npt.ArrayLike,
) -> Coefficient:
    """Smooth rectangular elbow with full-length splitter vanes.

    Parameters
    ----------
    count
        1, 2 or 3 splitters.
    throat_ratio
        Throat radius over W, from 0.05 on; above 0.5 the value at 0.5 is taken.
    aspect
        H/W.
    angle
        rad, 0 to pi/2.

    Returns
    -------
    coefficient
        On the upstream velocity.

    Raises
    ------
    LookupRefused
        If there is no such count, a tighter throat, or a wider turn.

    References
    ----------
    ASHRAE Handbook Fundamentals 2005, p. 35.52 (Idelchik 1986).
    """
    if count not in (1, 2, 3):
        raise LookupRefused(f"splitters are tabled for 1 to 3 vanes, not for {count}")
    ratio = np.atleast_1d(np.asarray(throat_ratio, dtype=np.float64))
    degrees = np.degrees(np.asarray(angle, dtype=np.float64))
    if (ratio < 0.05 - 1e-9).any():
        raise LookupRefused(
            f"splitters are tabled from a throat radius of 0.05 W on, not for "
            f"{ratio.min():.3g} W; take a larger radius or a vaned mitred elbow"
        )
    if (degrees > 90.0 + 1e-6).any():
        raise LookupRefused(
            "splitters are tabled for turns to 90 degrees; make the turn of two elbows"
        )
    book = _splitters(count)
    value, bits = book.at(ratio, aspect)
    turn, turn_bits = angle_factor("rect_smooth_splitter").at(degrees)
    return make(
        value * turn,
        bits | turn_bits,
        reference="upstream",
        table=book.name,
        source=book.source,
        confidence=book.confidence,
    )


@cache
def _splitters(count: int) -> Grid:
    return grid(
        "rect_elbow_splitters",
        "throat_R_over_W",
        "H_over_W",
        where={"splitter_count": str(count)},
        log_x=True,
        log_y=True,
        log_values=True,
    )


def rect_square_heel(
    throat_ratio: npt.ArrayLike, aspect: npt.ArrayLike, angle: npt.ArrayLike
) -> Coefficient:
    """Rectangular elbow with a radius throat and a square heel.

    No table was found; between the bounds of a smooth elbow and a mitred one, the
    upper is taken.

    Parameters
    ----------
    throat_ratio
        Throat radius over W.
    aspect
        H/W.
    angle
        rad; the angle factor of smooth elbows is applied.
    """
    book = grid(
        "rect_elbow_mixed_bounds",
        "throat_R_over_W",
        "H_over_W",
        "C_high",
        where={"construction": "radius_throat_square_heel"},
        log_y=True,
    )
    value, bits = book.at(throat_ratio, aspect)
    turn, _ = angle_factor("rect_smooth").at(np.degrees(angle))
    return make(
        value * turn,
        bits | int(Note.FALLBACK),
        reference="upstream",
        table=book.name,
        source=book.source,
        confidence="low",
    )


def rect_vaned(
    double: bool, spacing: float, angle: npt.ArrayLike, shape: tuple[int, ...] = (1,)
) -> Coefficient:
    """Mitred rectangular elbow with turning vanes, 90 degrees.

    Parameters
    ----------
    double
        Double-thickness vanes instead of single ones.
    spacing
        Distance of the vanes, m: the nearest of those retested is taken (single 38
        and 80 mm, double 56 and 80 mm).
    angle
        rad; only 90 degrees is published.
    shape
        Shape of the result.

    Raises
    ------
    LookupRefused
        If the angle is not 90 degrees within 3.

    References
    ----------
    ASHRAE Handbook Fundamentals 1997-2009, retest of vane rails (from memory).
    """
    off = np.abs(np.degrees(np.asarray(angle, dtype=np.float64)) - 90.0)
    if (off > 3.0).any():
        raise LookupRefused(
            "turning vanes are tabled for 90 degrees alone, not for "
            f"{np.degrees(np.atleast_1d(angle))[int(np.argmax(off))]:.0f}; take a "
            "smooth elbow or a plain mitred one"
        )
    kind = "double" if double else "single"
    read = chosen(
        "rect_elbow_mitred_vanes", {"vane_thickness": kind, "runner": "retest"}
    )
    row = min(read, key=lambda r: abs(float(r["vane_spacing_mm"]) - spacing * 1000))
    return make(
        np.full(shape, float(row["C"])),
        0,
        reference="upstream",
        table="rect_elbow_mitred_vanes",
        source=row["source"],
        confidence=row["confidence"],
    )


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
