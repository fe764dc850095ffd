"""Loss coefficients of things that stand in a duct, on the velocity before them."""

from functools import cache

import numpy as np
import numpy.typing as npt

from elbowroom.layout import FloatArray

from .coefficient import Coefficient, LookupRefused, Note, check_word
from .tables import Curve, curve, from_table

_NAME = "obstruction_in_duct"
OBSTRUCTIONS = {
    "pipe": "round (pipe across the duct)",
    "bar": "rectangular (bar across the duct)",
    "streamlined": "streamlined (easement around the obstruction)",
    "cylinder": "smooth cylinder on the axis",
}


@cache
def _curve(kind: str) -> Curve:
    """Curve of one kind without its row of zeros, which a logarithm cannot hold."""
    name = OBSTRUCTIONS[kind]
    whole = curve(_NAME, "blockage_ratio", where={"obstruction": name})
    keep = whole.x > 0.0
    return Curve(
        whole.name,
        whole.source,
        whole.confidence,
        whole.x[keep],
        whole.y[keep],
        True,
        True,
    )


def obstruction(kind: str, blockage: npt.ArrayLike) -> Coefficient:
    """Pipe, bar, or cylinder in a duct.

    Parameters
    ----------
    kind
        'pipe', 'bar' or 'streamlined' right across the duct, or 'cylinder' on its
        axis.
    blockage
        Height of the thing over that of the duct; for the cylinder its frontal area
        over the area of the duct. Shape (n,).

    Returns
    -------
    coefficient
        Straight in ln C over ln blockage. Below the first row its slope is carried on
        to nothing at 0, noted.

    Raises
    ------
    LookupRefused
        If there is no such kind, or the blockage is negative or beyond the last row:
        0.5, for the cylinder 0.2.

    References
    ----------
    SMACNA HVAC Systems Duct Design and ASHRAE Fundamentals appendix (from memory).
    """
    check_word("obstruction", kind, OBSTRUCTIONS)
    book = _curve(kind)
    share = np.atleast_1d(np.asarray(blockage, np.float64))
    end = float(book.x[-1])
    wrong = ~((share >= 0.0) & (share <= end + 1e-9))
    if wrong.any():
        raise LookupRefused(
            f"it blocks {share[wrong][0]:g} of the duct, and the table goes from 0 to "
            f"{end:g}; move it out of the duct or widen the duct there"
        )
    value, bits = book.at(share)
    slope = np.log(book.y[1] / book.y[0]) / np.log(book.x[1] / book.x[0])
    below = share < book.x[0] * (1.0 - 1e-9)
    small: FloatArray = (share / book.x[0]).clip(0.0, 1.0) ** slope
    none = share == 0.0
    return from_table(
        book,
        np.where(below, book.y[0] * small, value),
        np.where(none, 0, np.where(below, int(Note.EXTENDED), bits)),
        "duct",
    )
