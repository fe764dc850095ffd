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
_STEPS = (1.0, 2.0, 2.5, 5.0, 10.0)


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
    """Bands with round edges that cover all values.

    Parameters
    ----------
    values
        What is to be coloured; NaN counts as no value.

    Returns
    -------
    scale
        Four to eight bands of one width; zero is an edge where values have both
        signs.

    Examples
    --------
    >>> scale_for(np.array([0.0, 37.0])).edges
    (0.0, 5.0, 10.0, 15.0, 20.0, 25.0, 30.0, 35.0, 40.0)
    """
    known = values[~np.isnan(values)]
    low = min(0.0, float(known.min())) if len(known) else 0.0
    high = max(0.0, float(known.max())) if len(known) else 0.0
    if high - low < 1e-12:
        high = low + 1.0
    power = 10.0 ** math.floor(math.log10((high - low) / len(BANDS)))
    for step in (*_STEPS, 20.0, 25.0, 50.0):
        width = step * power
        first, last = math.floor(low / width + 1e-9), math.ceil(high / width - 1e-9)
        if last - first <= len(BANDS):
            break
    count = last - first
    edges = tuple(float(f"{edge * width:.10g}") for edge in range(first, last + 1))
    places = np.linspace(0, len(BANDS) - 1, count).round().astype(int)
    return Scale(edges, tuple(BANDS[place] for place in places))
