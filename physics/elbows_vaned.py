"""Loss coefficients of rectangular elbows with splitters or turning vanes."""

from dataclasses import dataclass
from functools import cache

import numpy as np
import numpy.typing as npt

from elbowroom.layout import FloatArray

from .coefficient import Coefficient, LookupRefused, make
from .elbow_factors import angle_factor
from .tables import Grid, chosen, from_table, grid, rows


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
