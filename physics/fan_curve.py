"""A fan's curve: what it gives at an airflow, and where it meets a layout."""

from typing import Any

import numpy as np
from scipy.interpolate import PchipInterpolator
from scipy.optimize import brentq

Points = tuple[tuple[float, float], ...]
_ROUNDING = 1e-6  # what airflows and pressures may be off, as a share of them


def _curve(points: Points) -> Any:
    flow, pressure = np.array(points).T
    return PchipInterpolator(flow, pressure)


def pressure_of(points: Points, flow: float) -> float | None:
    """Pressure that a fan gives at an airflow, Pa; None beyond its curve.

    Parameters
    ----------
    points
        Airflow, m³/s, and pressure, Pa, of the curve, the airflow rising; between
        them a monotone cubic runs (no overshoot; Fritsch and Carlson 1980).
    flow
        m³/s.
    """
    first, last = points[0][0], points[-1][0]
    if not first * (1.0 - _ROUNDING) <= flow <= last * (1.0 + _ROUNDING):
        return None
    return float(_curve(points)(min(max(flow, first), last)))


def slope_at(points: Points, flow: float) -> float:
    """Slope of a fan's curve at an airflow, Pa s/m³; above zero it may stall there."""
    return float(_curve(points).derivative()(flow))


def crossings(points: Points, resistance: float) -> tuple[float, ...]:
    """Airflows that last where a fan's curve meets a resistance, m³/s.

    Parameters
    ----------
    points
        Airflow, m³/s, and pressure, Pa, of the curve, the airflow rising; between
        them a monotone cubic runs (no overshoot; Fritsch and Carlson 1980).
    resistance
        Loss over airflow squared, Pa s²/m⁶.

    Returns
    -------
    flows
        Rising; only where a little more air takes more than the fan gives, since from
        any other meeting the airflow runs away. None where the curve ends before such
        a one; one within a millionth of its first or last point is at that point. More
        than one means that the airflow may jump between them.
    """
    curve = _curve(points)

    def surplus(q: Any) -> Any:
        return curve(q) - resistance * q * q

    # From one of these to the next the surplus only rises or only falls.
    slope = curve.derivative()
    slope.c[-2] -= 2.0 * resistance
    slope.c[-1] -= 2.0 * resistance * slope.x[:-1]
    turns = slope.roots(discontinuity=False, extrapolate=False)
    tried = np.union1d(slope.x, turns[np.isfinite(turns)])
    left, near = surplus(tried), _ROUNDING * np.abs(curve(tried))
    over = left > 0.0
    over[0], over[-1] = left[0] > -near[0], left[-1] > near[-1]
    met = []
    for row in np.flatnonzero(over[:-1] & ~over[1:]).tolist():
        low, high = tried[row], tried[row + 1]
        if left[row] <= 0.0:  # the first point
            met.append(float(low))
        elif left[row + 1] >= 0.0:  # the last one
            met.append(float(high))
        else:
            met.append(float(brentq(surplus, low, high, xtol=1e-14)))
    return tuple(met)


def ends_early(points: Points, resistance: float) -> bool:
    """Whether a fan's curve, as of `crossings`, ends where it gives more than taken."""
    last, pressure = points[-1]
    return pressure * (1.0 - _ROUNDING) > resistance * last * last
