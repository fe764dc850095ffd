"""Noise that the air makes itself: straight ducts, mitred elbows, dampers.

Practice formulas, wrong by 5 dB and more: good for telling a loud fitting from a quiet
one, not for promising a level in a room. Terminals are the maker's to state.
"""

import numpy as np
import numpy.typing as npt

from elbowroom.layout import FloatArray, units

BANDS = np.array([63.0, 125.0, 250.0, 500.0, 1000.0, 2000.0, 4000.0, 8000.0])  # Hz
# A-weighting at the octave bands: IEC 61672-1.
A_WEIGHTING = np.array([-26.2, -16.1, -8.6, -3.2, 0.0, 1.2, 1.0, -1.1])


def level_sum(levels: FloatArray) -> FloatArray:
    """Sum of levels, dB, along the last axis.

    Examples
    --------
    >>> round(float(level_sum(np.array([50.0, 50.0]))), 2)
    53.01
    """
    return np.asarray(10.0 * np.log10((10.0 ** (levels / 10.0)).sum(axis=-1)))


def straight_duct(velocity: npt.ArrayLike, area: npt.ArrayLike) -> FloatArray:
    """Sound power level made in straight ducts, dB re 1 pW, shape (n,).

    Parameters
    ----------
    velocity
        m/s, shape (n,).
    area
        m².

    References
    ----------
    Lw = 10 + 50 log V + 10 log S: the form of VDI 2081, from memory.
    """
    v, s = np.asarray(velocity, np.float64), np.asarray(area, np.float64)
    return np.asarray(10.0 + 50.0 * np.log10(v) + 10.0 * np.log10(s))


def mitred_elbow(
    velocity: npt.ArrayLike,
    area: npt.ArrayLike,
    height: npt.ArrayLike,
) -> FloatArray:
    """Sound power level made in mitred elbows, dB re 1 pW in each band, shape (n, 8).

    Without turning vanes.

    Parameters
    ----------
    velocity
        m/s, shape (n,).
    area
        m².
    height
        Height of the duct, m.

    References
    ----------
    Older ASHRAE method as a public laboratory-control guide prints it: Lw = K +
    10 log f + 50 log U + 10 log S + 10 log D - 107, in ft/min, ft² and ft.
    """
    u = units.to_unit(1.0, "fpm") * np.asarray(velocity, np.float64)[..., None]
    s = units.to_unit(1.0, "ft2") * np.asarray(area, np.float64)[..., None]
    d = units.to_unit(1.0, "ft") * np.asarray(height, np.float64)[..., None]
    strouhal = np.log10(60.0 * BANDS * d / u)
    k = -9.22 - 16.48 * strouhal - 5.05 * strouhal**2
    return np.asarray(
        k
        + 10.0 * np.log10(BANDS)
        + 50.0 * np.log10(u)
        + 10.0 * np.log10(s)
        + 10.0 * np.log10(d)
        - 107.0
    )


def damper(
    flow: npt.ArrayLike,
    area: npt.ArrayLike,
    height: npt.ArrayLike,
    loss: npt.ArrayLike,
) -> FloatArray:
    """Sound power level made in single-blade dampers, dB re 1 pW, shape (n, 8).

    Parameters
    ----------
    flow
        m³/s, shape (n,).
    area
        Of the duct, m².
    height
        Of the duct, m, across the axis of the blade.
    loss
        What the damper spends, Pa, above zero.

    References
    ----------
    Public help page on damper regenerated noise (seen): C = 1.67 dp / (Q/S)²; the
    speed in the gap is Q / (S BF), with BF = (sqrt C - 1) / (C - 1) up to C = 4 and
    0.68 C^-0.15 - 0.22 above for a single blade.
    """
    q, s = np.asarray(flow, np.float64), np.asarray(area, np.float64)
    c = np.asarray(1.67 * np.asarray(loss, np.float64) / (q / s) ** 2)
    near = np.abs(c - 1.0) < 1e-6
    small = np.where(near, 0.5, (np.sqrt(c) - 1.0) / np.where(near, 1.0, c - 1.0))
    gap = np.where(c > 4.0, np.maximum(0.68 * c**-0.15 - 0.22, 0.01), small)
    speed = (q / (s * gap))[..., None]
    d = np.asarray(height, np.float64)[..., None]
    strouhal = BANDS * d / speed
    log = np.log10(strouhal)
    k = np.where(strouhal < 25.0, 5.0 - 10.7 * log, 40.2 - 35.9 * log)
    return np.asarray(
        k
        - 18.0
        + 10.0 * np.log10(BANDS)
        + 50.0 * np.log10(speed)
        + 10.0 * np.log10(s[..., None])
        + 10.0 * np.log10(d)
    )
