"""Loss coefficients of rectangular elbows with splitters or turning vanes."""

from dataclasses import dataclass
from functools import cache

import numpy as np
import numpy.typing as npt

from elbowroom.layout import length_words

from .coefficient import Coefficient, LookupRefused, Note, make
from .elbow_factors import RIGHT_ANGLE, angle_factor, turned
from .tables import Grid, Row, chosen, curve, from_table, grid, rows

_PRINTED = 0.5  # mm: the table has whole ones
_ROUNDING = 1e-6  # mm


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
        rad, 0 to pi/2; up to a degree more, a drawing's rounding, counts as that.

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
        raise LookupRefused(
            f"splitters are tabled for 1 to 3 vanes, not for {count}; take 3"
        )
    ratio = np.atleast_1d(np.asarray(throat_ratio, dtype=np.float64))
    degrees = np.degrees(np.asarray(angle, dtype=np.float64))
    if not (ratio >= 0.05 - 1e-9).all():
        raise LookupRefused(
            f"splitters are tabled from a throat radius of 0.05 W on, not for "
            f"{ratio.min():.3g} W; take a larger radius or a vaned mitred elbow"
        )
    if not (degrees <= RIGHT_ANGLE).all():
        raise LookupRefused(
            "splitters are tabled for turns to 90 degrees, not for "
            f"{degrees.max():.4g}; make the turn of two elbows"
        )
    book = _splitters(count)
    value, bits = book.at(ratio, aspect)
    turn, turn_bits = angle_factor("rect_smooth_splitter").at(np.minimum(degrees, 90.0))
    return from_table(
        book,
        value * turn,
        bits | turn_bits,
        "upstream",
        factors=turned("rect_smooth_splitter", turn),
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


def rect_vaned(
    double: bool, spacing: float, angle: npt.ArrayLike, shape: tuple[int, ...] = (1,)
) -> Coefficient:
    """Mitred rectangular elbow with turning vanes, 90 degrees.

    Parameters
    ----------
    double
        Double-thickness vanes instead of single ones.
    spacing
        Distance of the vanes, m: straight between those retested (single 38 and 80 mm,
        double 56 and 80 mm), our own choice, noted; outside the nearer, noted beyond
        the half millimetre that the print rounds by.
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
    _only_right_angles(angle)
    tested = sorted(_retested(double), key=lambda r: float(r["vane_spacing_mm"]))
    at = [float(row["vane_spacing_mm"]) for row in tested]
    off = np.abs(np.array(at) - spacing * 1000)
    row, note = tested[int(off.argmin())], Note.NOTHING
    if at[0] < spacing * 1000 < at[-1]:
        note = Note.INTERPOLATED if off.min() > _ROUNDING else Note.NOTHING
    elif off.min() > _PRINTED:
        note = Note.NEAREST_ROW
    return make(
        np.full(shape, np.interp(spacing * 1000, at, [float(r["C"]) for r in tested])),
        int(note),
        reference="upstream",
        table="rect_elbow_mitred_vanes",
        source=row["source"],
        confidence=row["confidence"],
    )


def vane_spacings(double: bool) -> tuple[float, ...]:
    """Distances of turning vanes that were retested, m, the closest first."""
    return tuple(
        sorted(float(row["vane_spacing_mm"]) / 1000 for row in _retested(double))
    )


def _retested(double: bool) -> list[Row]:
    kind = "double" if double else "single"
    return chosen(
        "rect_elbow_mitred_vanes", {"vane_thickness": kind, "runner": "retest"}
    )


def _only_right_angles(angle: npt.ArrayLike) -> None:
    degrees = np.degrees(np.atleast_1d(np.asarray(angle, dtype=np.float64)))
    off = np.abs(degrees - 90.0)
    if not (off <= 3.0).all():
        raise LookupRefused(
            "turning vanes are tabled for 90 degrees alone, not for "
            f"{degrees[int(np.argmax(off))]:.0f}; take a smooth elbow or a plain "
            "mitred one"
        )


@dataclass(frozen=True, slots=True)
class VaneRail:
    """A rail of turning vanes as the older tables have it.

    Parameters
    ----------
    thickness
        'single' or 'double'.
    runner
        'none', 'embossed_runner' or 'push_on_runner'.
    radius, spacing
        Of the vanes, mm as they are named by the trade.
    """

    thickness: str
    runner: str
    radius: int
    spacing: int


def older_vane_rails() -> tuple[VaneRail, ...]:
    """Rails of turning vanes that were tabled before the retest."""
    read = [r for r in rows("rect_elbow_mitred_vanes") if r["runner"] != "retest"]
    return tuple(
        dict.fromkeys(
            VaneRail(
                r["vane_thickness"],
                r["runner"],
                int(r["vane_radius_mm"]),
                int(r["vane_spacing_mm"]),
            )
            for r in read
        )
    )


def rect_vaned_older(
    rail: VaneRail, velocity: npt.ArrayLike, angle: npt.ArrayLike
) -> Coefficient:
    """Mitred rectangular elbow with turning vanes, from the tables before the retest.

    For comparison: `rect_vaned` has the later figures, up to twice as large.

    Parameters
    ----------
    rail
        One of `older_vane_rails`.
    velocity
        m/s, 5.08 to 20.32, else the nearer end, noted; without effect for single vanes.
    angle
        rad; only 90 degrees is published.

    Raises
    ------
    LookupRefused
        If there is no such rail, or the angle is not 90 degrees within 3.

    References
    ----------
    ASHRAE Handbook Fundamentals 1985-1989; SMACNA HVAC Systems Duct Design 1990, table
    14-10 H (from memory).
    """
    _only_right_angles(angle)
    name = "rect_elbow_mitred_vanes"
    where = {
        "vane_thickness": rail.thickness,
        "runner": rail.runner,
        "vane_radius_mm": str(rail.radius),
        "vane_spacing_mm": str(rail.spacing),
    }
    read = chosen(name, where)
    if not read:
        raise LookupRefused(
            f"no {rail.thickness} vanes of {length_words(rail.radius / 1e3)} radius, "
            f"{length_words(rail.spacing / 1e3)} apart with runner "
            f"'{rail.runner}' are tabled; take one of the rails of older_vane_rails"
        )
    speed = np.atleast_1d(np.asarray(velocity, dtype=np.float64))
    if read[0]["velocity_m_s"] == "any":
        return make(
            np.full(speed.shape, float(read[0]["C"])),
            0,
            reference="upstream",
            table=name,
            source=read[0]["source"],
            confidence=read[0]["confidence"],
        )
    book = curve(name, "velocity_m_s", where=where)
    value, bits = book.at(speed)
    return from_table(book, value, bits, "upstream")
