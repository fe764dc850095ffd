"""Friction in straight duct: Darcy-Weisbach with the Colebrook friction factor."""

from collections.abc import Iterable
from difflib import SequenceMatcher, get_close_matches
from enum import IntEnum
from functools import cache

import numpy as np
import numpy.typing as npt

from elbowroom.layout import FloatArray, IntArray, folded, nearest

from .coefficient import Credit, LookupRefused
from .tables import Row, rows

LAMINAR_BELOW = 2000.0
TURBULENT_FROM = 4000.0
STEEL = "galvanised steel"  # taken where nobody says what a duct is made of
GALVANISED = 9e-5  # m, its roughness, 0.0003 ft
COLEBROOK = Credit(
    "duct",
    "formula: Colebrook",
    "ASHRAE Handbook Fundamentals, duct design chapter (Darcy-Weisbach, Colebrook)",
    "cross-checked",
)
_SPELT = 0.8  # of its letters: a word that is misspelt, not another
_CHUNK = 1 << 14  # elements at a time, so that every array of a pass stays in cache
_LOG10 = 2.0 / np.log(10.0)
_BEGIN = 6.0  # 1 / sqrt(f) that stands within at first: ducts have about 7


class Regime(IntEnum):
    """Regime of the flow in a duct."""

    TURBULENT = 0
    TRANSITION = 1  # between 2000 and 4000: no agreed formula
    LAMINAR = 2


def regime(reynolds: npt.ArrayLike) -> IntArray:
    """Regime of each flow, `Regime` codes in the shape of `reynolds`.

    Raises
    ------
    ValueError
        If a Reynolds number is NaN.
    """
    re = np.asarray(reynolds, dtype=np.float64)
    if np.isnan(re).any():
        raise ValueError("a Reynolds number is NaN, which no flow has")
    return np.where(
        re < LAMINAR_BELOW,
        int(Regime.LAMINAR),
        np.where(re < TURBULENT_FROM, int(Regime.TRANSITION), int(Regime.TURBULENT)),
    )


def friction_factor(
    reynolds: npt.ArrayLike, relative_roughness: npt.ArrayLike
) -> FloatArray:
    """Darcy friction factor.

    Parameters
    ----------
    reynolds
        Reynolds number on the hydraulic diameter, above 0.
    relative_roughness
        Roughness over hydraulic diameter, 0 to 0.05; a shape that broadcasts.

    Returns
    -------
    factor
        Darcy's factor (four times Fanning's), in the broadcast shape; within 1e-10
        of the root of Colebrook's equation from Reynolds 4000 on.

    Raises
    ------
    ValueError
        If a Reynolds number is not above 0 or a roughness is negative.

    Notes
    -----
    Colebrook, with x = 1 / sqrt(f): x + 2 log10(eps / (3.7 D) + 2.51 x / Re) = 0. From
    what follows where x = 6 stands inside, within 6 per cent, one step of Halley's
    method and one of Newton's lead to a few 1e-13, so that whole arrays go through
    together. Laminar 64 / Re below 2000; between 2000 and 4000 a straight line
    in Re joins the two, as there is no agreed formula.

    References
    ----------
    .. [1] ASHRAE Handbook Fundamentals, duct design chapter, Colebrook's equation.

    Examples
    --------
    >>> friction_factor(1e5, [1e-4, 1e-3]).round(6)
    array([0.018514, 0.022175])
    """
    re = np.atleast_1d(np.asarray(reynolds, dtype=np.float64))
    rough = np.atleast_1d(np.asarray(relative_roughness, dtype=np.float64))
    if re.shape != rough.shape:
        re, rough = np.broadcast_arrays(re, rough)
    shape = re.shape
    re, rough = re.ravel(), rough.ravel()
    factor = np.empty(len(re))
    for begin in range(0, len(re), _CHUNK):
        part = slice(begin, begin + _CHUNK)
        lowest, smoothest = re[part].min(), rough[part].min()
        if not lowest > 0.0:  # written so that NaN is caught too
            raise ValueError(f"a Reynolds number must be above 0, got {lowest:g}")
        if not smoothest >= 0.0:
            raise ValueError(f"a roughness must not be negative, got {smoothest:g}")
        if lowest >= TURBULENT_FROM:
            _turbulent(re[part], rough[part], factor[part])
        else:
            # The formula has no root for a trickle; that is overwritten anyway.
            fast = np.maximum(re[part], TURBULENT_FROM)
            _turbulent(fast, rough[part], factor[part])
            _slow_flow(re[part], rough[part], factor[part])
    whole = factor.reshape(shape)
    return whole[0] if np.ndim(reynolds) == np.ndim(relative_roughness) == 0 else whole


def _turbulent(re: FloatArray, rough: FloatArray, out: FloatArray) -> None:
    """Colebrook's factor into `out`; three logarithms an element and no power.

    For y = ln(10) / 2 x the equation is y + ln(a + b y) = 0, and `n` is -y.
    """
    a = rough * (1.0 / 3.7)
    b = (2.51 * _LOG10) / re
    n = b * (_BEGIN / _LOG10)
    n += a
    np.log(n, out=n)
    # Halley: F F' / (F'² - F F'' / 2), with F'' = -(b / inner)².
    inner = b * n
    np.subtract(a, inner, out=inner)
    bend = b / inner
    np.log(inner, out=inner)
    inner -= n
    slope = bend + 1.0
    bend *= bend
    bend *= inner
    bend *= 0.5
    inner *= slope
    slope *= slope
    slope += bend
    inner /= slope
    n += inner
    # Newton: F / F', with one division.
    np.multiply(b, n, out=inner)
    np.subtract(a, inner, out=inner)
    np.log(inner, out=slope)
    slope -= n
    slope *= inner
    inner += b
    slope /= inner
    n += slope
    n *= n
    np.divide(1.0 / (_LOG10 * _LOG10), n, out=out)


def _slow_flow(re: FloatArray, rough: FloatArray, out: FloatArray) -> None:
    slow = np.flatnonzero(re < TURBULENT_FROM)
    if len(slow) == 0:
        return
    at_end = np.empty(len(slow))
    _turbulent(np.full(len(slow), TURBULENT_FROM), rough[slow], at_end)
    begin = 64.0 / LAMINAR_BELOW
    share = (re[slow] - LAMINAR_BELOW) / (TURBULENT_FROM - LAMINAR_BELOW)
    out[slow] = np.where(share < 0.0, 64.0 / re[slow], begin + (at_end - begin) * share)


def pressure_gradient(
    velocity: npt.ArrayLike,
    hydraulic_diameter: npt.ArrayLike,
    roughness: npt.ArrayLike,
    density: float,
    viscosity: float,
) -> FloatArray:
    """Friction loss per length of straight duct.

    Parameters
    ----------
    velocity
        Mean velocity in the real section, m/s, above 0.
    hydraulic_diameter, roughness
        m; shapes that broadcast.
    density, viscosity
        Of the air, kg/m³ and Pa s.

    Returns
    -------
    gradient
        Pa/m.

    Raises
    ------
    ValueError
        If a velocity or a diameter is not above 0, or a roughness is negative.

    Notes
    -----
    Darcy-Weisbach: f / D times rho V² / 2, on the hydraulic diameter with the real
    velocity. (The equivalent diameter goes with its own velocity; the two are never
    mixed.)
    """
    v = np.asarray(velocity, dtype=np.float64)
    d = np.asarray(hydraulic_diameter, dtype=np.float64)
    eps = np.asarray(roughness, dtype=np.float64)
    factor = friction_factor(density * v * d / viscosity, eps / d)
    return np.asarray(factor / d * 0.5 * density * v * v)


def material_roughness(material: str) -> float:
    """Roughness of a material of the table, m.

    Raises
    ------
    ValueError
        If the material is not in the table; the message names what comes close.
    """
    return material_roughnesses()[_known(material)]


def _known(material: str) -> str:
    """Name of a material in the table, however it is written."""
    known = _rows()
    asked = folded(material)
    by_fold = {folded(name): name for name in known}
    if asked in by_fold:
        return by_fold[asked]
    words = asked.replace(",", "").split()
    alike = [
        name
        for fold, name in by_fold.items()
        if words and set(words) <= set(fold.replace(",", "").split())
    ]
    if nearest(material, known) is not None:
        hint = f"did you mean '{by_fold[_best(asked, by_fold)]}'"
    elif alike:
        hint = "it has " + ", ".join(f"'{name}'" for name in alike)
    else:
        hint = (
            "write its roughness instead, or one of its materials, which "
            "elbowroom sources --materials lists"
        )
    raise LookupRefused(f"the material '{material}' is not in the table; {hint}")


def _best(asked: str, known: Iterable[str]) -> str:
    """The one of some names that has most of the words asked for, then the nearest."""

    def rank(name: str) -> tuple[int, float]:
        there = name.replace(",", "").split()
        words = asked.replace(",", "").split()
        has = sum(bool(get_close_matches(word, there, 1, _SPELT)) for word in words)
        return has, SequenceMatcher(None, asked, name).ratio()

    return max(known, key=rank)


def material_roughnesses() -> dict[str, float]:
    """Roughness of every material that a schedule may name, m."""
    return {name: float(row["absolute_roughness_m"]) for name, row in _rows().items()}


@cache
def material_credit(material: str) -> Credit:
    """What the roughness of a material is credited to; raises as its roughness does."""
    row = _rows()[_known(material)]
    low, high = row["range_low_m"], row["range_high_m"]
    span = float(np.log2(float(high) / float(low))) if low and high else 1.0
    return Credit("duct", "roughness", row["source"], row["confidence"], max(span, 1.0))


@cache
def _rows() -> dict[str, Row]:
    return {row["material"]: row for row in rows("roughness")}
