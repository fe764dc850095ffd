"""Loss coefficients where air enters and leaves a duct."""

from functools import cache

import numpy as np
import numpy.typing as npt

from .coefficient import Coefficient, make
from .tables import Curve, Grid, chosen, curve, grid


@cache
def _in_wall() -> Grid:
    return grid("entry_duct_in_wall", "t_over_D", "L_over_D")


def entry_in_wall(
    thickness_ratio: npt.ArrayLike = 0.05, projection_ratio: npt.ArrayLike = 0.0
) -> Coefficient:
    """Plain duct end at or through a wall, air coming in from rest.

    Parameters
    ----------
    thickness_ratio
        Wall thickness over diameter; from 0.05 on the edge counts as thick.
    projection_ratio
        Projection beyond the wall over diameter; 0 is flush.

    Returns
    -------
    coefficient
        On the velocity in the duct: 0.50 when flush.

    References
    ----------
    Idelchik 1986, diagram 3-1.
    """
    book = _in_wall()
    thickness, projection = np.broadcast_arrays(
        np.atleast_1d(np.asarray(thickness_ratio, np.float64)), projection_ratio
    )
    value, bits = book.at(thickness, projection)
    return make(
        value,
        bits,
        reference="duct",
        table=book.name,
        source=book.source,
        confidence=book.confidence,
    )


@cache
def _bellmouth(mounting: str) -> Curve:
    return curve("entry_bellmouth", "r_over_D", where={"mounting": mounting})


def entry_bellmouth(radius_ratio: npt.ArrayLike, in_wall: bool) -> Coefficient:
    """Bellmouth entry; radius over diameter, in an end wall or free.

    References
    ----------
    Idelchik 1986, diagram 3-4.
    """
    book = _bellmouth("end_wall" if in_wall else "no_wall")
    value, bits = book.at(np.atleast_1d(radius_ratio))
    return make(
        value,
        bits,
        reference="duct",
        table=book.name,
        source=book.source,
        confidence=book.confidence,
    )


@cache
def _conical(mounting: str) -> Grid:
    return grid(
        "entry_conical",
        "L_over_D",
        "angle_deg",
        where={"mounting": mounting},
        log_x=True,
    )


def entry_conical(
    length_ratio: npt.ArrayLike, angle: npt.ArrayLike, in_wall: bool
) -> Coefficient:
    """Conical converging entry; length over diameter, included angle in rad.

    References
    ----------
    Idelchik 1986, diagrams 3-6 and 3-7.
    """
    book = _conical("end_wall" if in_wall else "no_wall")
    value, bits = book.at(np.atleast_1d(length_ratio), np.degrees(angle))
    return make(
        value,
        bits,
        reference="duct",
        table=book.name,
        source=book.source,
        confidence=book.confidence,
    )


def exit_abrupt(count: int = 1) -> Coefficient:
    """Plain duct end that discharges into a room: the velocity pressure is lost.

    References
    ----------
    Idelchik, even profile; the whole velocity pressure.
    """
    (row,) = chosen("exit_diffuser", {"kind": "abrupt"})
    return make(
        np.full(count, float(row["C"])),
        0,
        reference="duct",
        table="exit_diffuser",
        source=row["source"],
        confidence=row["confidence"],
    )
