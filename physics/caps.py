"""Loss coefficients of shafts under a hood, on the velocity in the shaft."""

from functools import cache

import numpy as np
import numpy.typing as npt

from .coefficient import Coefficient
from .tables import Curve, curve, from_table


@cache
def _book(table: str, flared: bool) -> Curve:
    skirt = "15_deg_flare" if flared else "straight"
    return curve(table, "L_over_D", where={"skirt": skirt})


def _under_hood(table: str, gap_ratio: npt.ArrayLike, flared: bool) -> Coefficient:
    book = _book(table, flared)
    gap = np.atleast_1d(np.asarray(gap_ratio, np.float64))
    value, bits = book.at(gap)
    return from_table(book, value, bits, "duct")


def entry_cap(gap_ratio: npt.ArrayLike, flared: bool = False) -> Coefficient:
    """Intake shaft under a hood.

    Parameters
    ----------
    gap_ratio
        Gap between the shaft and the hood over the diameter; 0.1 to 1, else the
        nearer end, noted.
    flared
        Whether the shaft opens at its end by 15 degrees.

    References
    ----------
    Idelchik, intake shafts; SMACNA HVAC Systems Duct Design, table 14-16 F (from
    memory).
    """
    return _under_hood("entry_intake_cap", gap_ratio, flared)


def exit_cap(gap_ratio: npt.ArrayLike, flared: bool = False) -> Coefficient:
    """Exhaust shaft under a hood, the velocity pressure that leaves it included.

    Parameters are those of `entry_cap`.

    References
    ----------
    Idelchik, exhaust shafts; SMACNA HVAC Systems Duct Design, table 14-17 (from
    memory).
    """
    return _under_hood("exit_cap", gap_ratio, flared)
