"""Loss coefficients where air enters a duct, on the velocity in the duct."""

from functools import cache

import numpy as np
import numpy.typing as npt

from .coefficient import Coefficient, Note
from .tables import Curve, Grid, curve, from_table, grid


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
    # Neither a thicker edge nor a longer projection changes anything any more.
    beyond = int(Note.CLAMPED)
    bits = np.where((thickness >= 0.0) & (projection >= 0.0), bits & ~beyond, bits)
    return from_table(book, value, bits, "duct")


@cache
def _bellmouth(mounting: str) -> Curve:
    return curve("entry_bellmouth", "r_over_D", where={"mounting": mounting})


def entry_bellmouth(radius_ratio: npt.ArrayLike, in_wall: bool) -> Coefficient:
    """Bellmouth entry; radius over diameter, in an end wall or free.

    From a radius of 0.2 diameters on a bellmouth has its least loss; a larger one is
    noted as outside the table.

    References
    ----------
    Idelchik 1986, diagram 3-4.
    """
    book = _bellmouth("end_wall" if in_wall else "no_wall")
    ratio = np.atleast_1d(radius_ratio)
    value, bits = book.at(ratio)
    return from_table(book, value, bits, "duct")


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
    return from_table(book, value, bits, "duct")


@cache
def _hood(section: str) -> Curve:
    return curve("entry_hood_tapered", "major_angle_deg", where={"section": section})


def entry_hood(angle: npt.ArrayLike, is_round: bool = True) -> Coefficient:
    """Tapered hood before a duct, with a flange or without.

    Parameters
    ----------
    angle
        Included angle of the hood, rad, the larger of the two of a rectangular one; 0
        is the plain end of a duct, pi a flange alone.
    is_round
        Whether the hood is round, else rectangular or square.

    Returns
    -------
    coefficient
        On the velocity in the duct.

    References
    ----------
    ASHRAE Handbook Fundamentals 1977-1989 (from memory).
    """
    book = _hood("round" if is_round else "rect")
    degrees = np.degrees(np.atleast_1d(np.asarray(angle, np.float64)))
    value, bits = book.at(degrees)
    return from_table(book, value, bits, "duct")
