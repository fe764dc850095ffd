"""Loss coefficients of contractions; angles are the full included ones."""

from functools import cache

import numpy as np
import numpy.typing as npt

from elbowroom.layout import FloatArray

from .coefficient import Coefficient, LookupRefused, make
from .tables import Grid, from_table, rows


@cache
def _contraction() -> Grid:
    """Contraction table; each band of angles gives a point at both of its ends."""
    read = rows("contraction")
    ratio = np.array(sorted({float(row["A_large_over_A_small"]) for row in read}))
    ends: dict[float, dict[float, float]] = {}
    for row in read:
        for end in (row["angle_min_deg"], row["angle_max_deg"]):
            at = ends.setdefault(float(end), {})
            at[float(row["A_large_over_A_small"])] = float(row["C"])
    angle = np.array(sorted(ends))
    values = np.array([[ends[a][r] for a in angle] for r in ratio])
    first = read[0]
    return Grid(
        "contraction", first["source"], first["confidence"], ratio, angle, values
    )


def contraction(area_ratio: npt.ArrayLike, angle: npt.ArrayLike) -> Coefficient:
    """Contraction, round or rectangular.

    Parameters
    ----------
    area_ratio
        Large area over small area, from 1 on; below 2 the value at 2 is held, as the
        published example does, and noted, but no more than a sudden contraction of
        those areas loses: our own choice.
    angle
        Included angle, rad.

    Returns
    -------
    coefficient
        On the downstream velocity. Constant within a printed band of angles, straight
        between bands.

    References
    ----------
    SMACNA HVAC Systems Duct Design 1990, table 14-12 A.
    """
    book = _contraction()
    ratio = np.atleast_1d(np.asarray(area_ratio, dtype=np.float64))
    degrees = np.degrees(angle)
    value, bits = book.at(ratio, degrees)
    at_most = np.minimum(value, _sudden(1.0 / ratio))
    value = np.where(ratio < book.x[0], at_most, value)
    return from_table(book, value, bits, "downstream")


def contraction_abrupt(small_over_large: npt.ArrayLike) -> Coefficient:
    """Sudden contraction: 0.5 (1 - s)^0.75, s small area over large area.

    Raises
    ------
    LookupRefused
        If s is not 0 to 1.

    References
    ----------
    Idelchik 1986, diagram 4-9.
    """
    s = area_share(small_over_large)
    return by_formula(_sudden(s), "sudden contraction", "Idelchik diagram 4-9")


def _sudden(share: FloatArray) -> FloatArray:
    return np.asarray(0.5 * np.maximum(1.0 - share, 0.0) ** 0.75)


def area_share(small_over_large: npt.ArrayLike) -> FloatArray:
    """Small area over large area, checked; LookupRefused unless it is 0 to 1."""
    s = np.atleast_1d(np.asarray(small_over_large, np.float64))
    if not ((s >= 0.0) & (s <= 1.0)).all():
        raise LookupRefused(
            "small area over large area goes from 0 to 1; change the two areas round"
        )
    return s


def by_formula(value: FloatArray, what: str, source: str) -> Coefficient:
    """Coefficient on the velocity in the small area that a closed form gives."""
    return make(
        value,
        0,
        reference="small area",
        table=f"formula: {what}",
        source=source,
        confidence="seen",
    )
