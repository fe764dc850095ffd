"""Loss coefficients of screens and perforated plates across a duct.

Filters, coils, terminals and attenuators have no coefficient here: what their maker
declares is charged, and what nobody declares is said to be missing.
"""

from functools import cache

import numpy as np
import numpy.typing as npt

from elbowroom.layout import FloatArray

from .coefficient import Coefficient, LookupRefused, Note, make
from .tables import Grid, curve, from_table, grid, rows

_SCREEN = "equipment_screen"
_PLATE = "equipment_perforated_plate"


def screen(free_area_ratio: npt.ArrayLike) -> Coefficient:
    """Wire screen across a duct.

    Parameters
    ----------
    free_area_ratio
        Free area over the area of the duct, 0.3 to 1.

    Returns
    -------
    coefficient
        On the velocity in the duct, by the formula behind the table, whose rows are
        what it is checked against: with n the free area ratio,
        1.3 (1 - n) + (1/n - 1)².

    Raises
    ------
    LookupRefused
        If the ratio is outside the table.

    References
    ----------
    Idelchik; ASHRAE Handbook Fundamentals 1977-1989 (from memory).
    """
    n = np.atleast_1d(np.asarray(free_area_ratio, np.float64))
    _within(n, 0.3, 1.0, "a screen")
    book = curve(_SCREEN, "free_area_ratio")
    value = 1.3 * (1.0 - n) + (1.0 / n - 1.0) ** 2
    return from_table(book, value, 0, "duct")


@cache
def _plate() -> Grid:
    return grid(_PLATE, "free_area_ratio", "t_over_d", log_values=True)


def perforated_plate(
    free_area_ratio: npt.ArrayLike, thickness_ratio: npt.ArrayLike = 0.015
) -> Coefficient:
    """Perforated plate across a duct.

    Parameters
    ----------
    free_area_ratio
        Free area over the area of the duct, 0.2 to 0.9.
    thickness_ratio
        Thickness of the plate over the diameter of its holes; 0.015 to 0.6, else the
        nearer end, noted.

    Returns
    -------
    coefficient
        On the velocity in the duct; straight in ln C over the free area.

    Raises
    ------
    LookupRefused
        If the free area is outside the table.

    References
    ----------
    Idelchik; ASHRAE Handbook Fundamentals 1977-1989.
    """
    n, t = np.broadcast_arrays(
        np.atleast_1d(np.asarray(free_area_ratio, np.float64)),
        np.asarray(thickness_ratio, np.float64),
    )
    _within(n, 0.2, 0.9, "a perforated plate")
    book = _plate()
    value, bits = book.at(n, t)
    return from_table(book, value, bits, "duct")


_EDGE = (0.0, 0.2, 0.4, 0.6)
_EDGE_TERM = (1.35, 1.22, 1.10, 0.84)


def perforated_plate_by_formula(
    free_area_ratio: npt.ArrayLike, thickness_ratio: npt.ArrayLike = 0.0
) -> Coefficient:
    """Perforated plate by Idelchik's formula, a second opinion on the table.

    Parameters
    ----------
    free_area_ratio
        0.01 to 1.
    thickness_ratio
        0 to 0.6, else the nearer end, noted.

    Raises
    ------
    LookupRefused
        If the free area is not 0.01 to 1.

    References
    ----------
    Idelchik, thick-edged orifices: (0.5 + tau sqrt(1 - n) + 1 - n) (1 - n) / n², tau
    1.35, 1.22, 1.10, 0.84 at thickness ratios of 0, 0.2, 0.4, 0.6.
    """
    n, t = np.broadcast_arrays(
        np.atleast_1d(np.asarray(free_area_ratio, np.float64)),
        np.asarray(thickness_ratio, np.float64),
    )
    _within(n, 0.01, 1.0, "a perforated plate")
    tau = np.interp(t, _EDGE, _EDGE_TERM)
    shut = 1.0 - n
    off = (t < _EDGE[0]) | (t > _EDGE[-1])
    return make(
        (0.5 + tau * np.sqrt(shut) + shut) * shut / n**2,
        off * np.int64(Note.CLAMPED),
        reference="duct",
        table="formula: perforated plate",
        source="Idelchik, thick-edged orifices",
        confidence="seen",
    )


def _within(ratio: FloatArray, low: float, high: float, what: str) -> None:
    wrong = ~((ratio >= low - 1e-9) & (ratio <= high + 1e-9))
    if wrong.any():
        raise LookupRefused(
            f"{what} with a free area of {ratio[wrong][0]:g} is not tabled, only "
            f"{low:g} to {high:g}; take the loss that its maker declares"
        )


def declared_only() -> dict[str, str]:
    """Equipment that is charged by its declared loss alone, and the rule for it."""
    return {row["item"]: row["rule"] for row in rows("equipment_declared")}
