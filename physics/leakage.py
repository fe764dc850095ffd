"""Leakage of ducts by their class."""

import numpy as np
import numpy.typing as npt

from elbowroom.layout import FloatArray, units

from .coefficient import LookupRefused, check_word
from .tables import chosen

EXPONENT = 0.65
_WHOLE = EXPONENT + 1.0
_EVEN = 1e-4  # of a pressure: a change by less leaves the mean power that of the mean
_EN = "EN 12237 / EN 1507"


def leakage_coefficient(leakage_class: str | float) -> float:
    """Coefficient c of leakage = c p^0.65, m³/(s m² Pa^0.65).

    Parameters
    ----------
    leakage_class
        'A' to 'D' of EN 12237 and EN 1507, or a class number: cfm per 100 ft² of
        surface at 1 in.wg.

    Raises
    ------
    LookupRefused
        If there is no such class, or a number is not above 0.

    References
    ----------
    EN 12237:2003, EN 1507:2006, as in `leakage_classes.csv`; class number: SMACNA
    HVAC Air Duct Leakage Test Manual, 1985: F = CL P^0.65.

    Examples
    --------
    >>> leakage_coefficient("D")
    1e-06
    """
    if isinstance(leakage_class, str):
        check_word("leakage class", leakage_class, "ABCD")
        (row,) = chosen("leakage_classes", {"scheme": _EN, "class": leakage_class})
        return float(row["coefficient_m3_s_m2_Pa065"])
    if not 0.0 < leakage_class < np.inf:
        raise LookupRefused(f"a class number is above 0, not {leakage_class:g}")
    flow = units.quantity("1 cfm", "airflow", "")
    area = units.quantity("100 ft2", "area", "")
    inch = units.quantity("1 in.wg", "pressure", "")
    return float(leakage_class * flow / area / inch**EXPONENT)


def leakage(
    leakage_class: str | float,
    surface: npt.ArrayLike,
    static: npt.ArrayLike,
    change: npt.ArrayLike = 0.0,
) -> FloatArray:
    """Air that leaks from ducts, m³/s, shape (n,).

    Parameters
    ----------
    leakage_class
        As for `leakage_coefficient`.
    surface
        m², shape (n,).
    static
        Mean static pressure against the room, Pa, of either sign.
    change
        By how much that changes, evenly, from one end of each to the other, Pa.

    Notes
    -----
    The law holds at each place, so that a duct leaks as much as its pieces together:
    from p₁ to p₂ the mean of |p|^n is that power's integral over p₂ - p₁.
    """
    coefficient = leakage_coefficient(leakage_class)
    pressure = np.asarray(static, dtype=np.float64)
    fall = np.asarray(change, dtype=np.float64)
    first, last = pressure - fall / 2, pressure + fall / 2
    changes = np.abs(fall) > _EVEN * np.abs(pressure)
    mean = np.where(
        changes,
        (_integral(last) - _integral(first)) / np.where(changes, fall, 1.0),
        np.abs(pressure) ** EXPONENT,
    )
    return np.asarray(coefficient * mean * np.asarray(surface))


def _integral(pressure: FloatArray) -> FloatArray:
    """Integral of |p|^n from none to a pressure of either sign, Pa^(n + 1)."""
    return np.asarray(np.sign(pressure) * np.abs(pressure) ** _WHOLE / _WHOLE)
