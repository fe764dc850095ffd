"""A fan's curve: what it gives at an airflow, and where it meets a layout."""

from typing import Any

import numpy as np
from scipy.interpolate import PchipInterpolator
from scipy.optimize import brentq

Points = tuple[tuple[float, float], ...]
_SAMPLES = 400  # along a curve, to find where it is crossed
_ROUNDING = 1e-9  # what a sum of airflows may be off, as a share of it


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
    """Airflows at which a fan's curve meets a resistance, m³/s.

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
        Rising; none where the curve ends before it is met. More than one means that
        the airflow may jump between them.
    """
    curve = _curve(points)

    def surplus(q: float) -> float:
        return float(curve(q)) - resistance * q * q

    tried = np.linspace(points[0][0], points[-1][0], _SAMPLES)
    left = np.array([surplus(q) for q in tried])
    found = []
    for row in np.flatnonzero((left[:-1] > 0.0) != (left[1:] > 0.0)).tolist():
        found.append(float(brentq(surplus, tried[row], tried[row + 1], xtol=1e-14)))
    return tuple(found)
