"""Colours by value: a banded, perceptual map and the bands to use with it."""

import math
from dataclasses import dataclass

import numpy as np

from elbowroom.layout import FloatArray, IntArray

# Eight steps of matplotlib's viridis (CC0), which keeps its order in grey and for
# readers who do not tell red from green.
BANDS = (
    "#440154",
    "#46327e",
    "#365c8d",
    "#277f8e",
    "#1fa187",
    "#4ac16d",
    "#a0da39",
    "#fde725",
)
NOTHING = "#b8b8b8"  # no value


@dataclass(frozen=True)
class Scale:
    """Bands of value and their colours: n bands between n + 1 edges."""

    edges: tuple[float, ...]
    colours: tuple[str, ...]

    def band(self, values: FloatArray) -> IntArray:
        """Band of each value, clamped to the ends; -1 for NaN."""
        place = np.searchsorted(self.edges, values, side="right") - 1
        place = np.clip(place, 0, len(self.colours) - 1)
        return np.where(np.isnan(values), -1, place)


def scale_for(values: FloatArray) -> Scale:
    """Bands with round edges, each two to three times the one below.

    A few fittings spend ten times what the rest do; bands of one width would show
    nothing but these.

    Parameters
    ----------
    values
        What is to be coloured; NaN counts as no value.

    Returns
    -------
    scale
        Edges in steps of 1, 2, 5 down from the largest value to zero; where there are
        negative values, one band below zero.

    Examples
    --------
    >>> scale_for(np.array([0.0, 17.0])).edges
    (0.0, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0)
    """
    known = values[~np.isnan(values)]
    high = float(known.max()) if len(known) else 0.0
    low = float(known.min()) if len(known) else 0.0
    edges = [_step_above(high if high > 1e-12 else 1.0)]
    while len(edges) < len(BANDS) - 1:
        edges.append(_step_below(edges[-1]))
    edges = [0.0, *reversed(edges)]
    if low < -1e-12:
        edges.insert(0, -_step_above(-low))
    count = len(edges) - 1
    places = np.linspace(0, len(BANDS) - 1, count).round().astype(int)
    return Scale(tuple(edges), tuple(BANDS[place] for place in places))


def even_scale_for(values: FloatArray) -> Scale:
    """Bands of one width between the least and the largest value, with round edges.

    For what differs by less than two or three times, as velocities do.

    Parameters
    ----------
    values
        What is to be coloured; NaN counts as no value.

    Returns
    -------
    scale
        At most as many bands as there are colours, the fewest being four.

    Examples
    --------
    >>> even_scale_for(np.array([2.1, 6.4])).edges
    (2.0, 3.0, 4.0, 5.0, 6.0, 7.0)
    """
    known = values[~np.isnan(values)]
    low, high = (float(known.min()), float(known.max())) if len(known) else (0.0, 1.0)
    if high - low <= 1e-3 * abs(high):  # all alike
        low, high = 0.0, high or 1.0
    step = _step_above((high - low) / len(BANDS))
    first = math.floor(low / step + 1e-9)
    while math.ceil(high / step - 1e-9) - first > len(BANDS):
        step = _step_above(step * 1.01)
        first = math.floor(low / step + 1e-9)
    count = max(math.ceil(high / step - 1e-9) - first, 1)
    edges = tuple(float(f"{(first + k) * step:.6g}") for k in range(count + 1))
    places = np.linspace(0, len(BANDS) - 1, count).round().astype(int)
    return Scale(edges, tuple(BANDS[place] for place in places))


def _step_above(value: float) -> float:
    """Smallest of 1, 2, 5 times a power of ten that is not below a value."""
    power = 10.0 ** math.floor(math.log10(value))
    step = next(step for step in (1, 2, 5, 10) if step * power >= value * (1 - 1e-9))
    return float(f"{step * power:.6g}")


def _step_below(value: float) -> float:
    """Next lower of 1, 2, 5 times a power of ten."""
    power = 10.0 ** math.floor(math.log10(value) + 1e-9)
    lead = round(value / power)
    return float(f"{value * (0.4 if lead == 5 else 0.5):.6g}")
