"""Colours by value: a banded, perceptual map and the bands to use with it."""

import math
from collections.abc import Sequence
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
CHOSEN = "#ff2d95"
# Of words and lines; those of the style sheets are the same.
INK, QUIET, ALARM = "#1b1e23", "#5c636e", "#b3261e"


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


# Round numbers of a decade in steps of about one ratio, the finest first: 1.12, 1.26,
# 1.58 and 2.15. The first three are the more rounded preferred numbers of ISO 3, from
# memory.
_SERIES = (
    (1, 1.1, 1.2, 1.4, 1.6, 1.8, 2, 2.2, 2.5, 2.8, 3, 3.5, 4, 4.5, 5, 5.5, 6, 7, 8, 9),
    (1, 1.2, 1.5, 2, 2.5, 3, 4, 5, 6, 8),
    (1, 1.5, 2.5, 4, 6),
    (1, 2, 5),
)
_FEWEST = 4  # bands above zero
_MOST = len(BANDS) - 1  # the same: one is kept for what is below zero
_ZERO = 1e-12


def scale_for(values: FloatArray) -> Scale:
    """Bands with round edges, each by about one ratio above the one below.

    A few fittings spend ten times what the rest do; bands of one width would show
    nothing but these.

    Parameters
    ----------
    values
        What is to be coloured; NaN counts as no value.

    Returns
    -------
    scale
        Edges from the least to the largest value above zero, in the finest of four
        ratios, 1.12 to 2.15, with which the bands suffice. That hangs on how many times
        the least the largest is, so it is the same ratio in every unit. Where they do
        not suffice, the lowest band goes down to zero, and so it does where there are
        values of zero; where there are negative values, one band below zero.

    Examples
    --------
    >>> scale_for(np.array([0.01, 0.3, 17.0])).edges
    (0.0, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0)
    >>> scale_for(np.array([0.89, 1.63])).edges
    (0.8, 0.9, 1.0, 1.1, 1.2, 1.4, 1.6, 1.8)
    """
    known = values[~np.isnan(values)]
    above = known[known > _ZERO]
    most = float(above.max()) if len(above) else 1.0
    least = float(above.min()) if len(above) else _ZERO
    low = float(known.min()) if len(known) else 0.0
    steps = most / least
    series = next(
        # Of ends that lie anywhere within bands: two bands more than there are steps.
        (one for one in _SERIES if steps <= 10 ** ((_MOST - 1) / len(one))),
        _SERIES[-1],
    )
    edges = _edges(series, least, most)
    if edges[0] > least * (1 + 1e-9) or low <= _ZERO:
        edges[0] = 0.0
    if low < -_ZERO:
        edges.insert(0, -_step_above(-low))
    count = len(edges) - 1
    places = np.linspace(0, len(BANDS) - 1, count).round().astype(int)
    return Scale(tuple(edges), tuple(BANDS[place] for place in places))


def _edges(series: Sequence[float], least: float, most: float) -> list[float]:
    """Numbers of a series from below the least value to above the largest, if enough.

    The largest of them, for at most as many bands as there may be, and at least for the
    fewest.
    """
    decade = math.floor(math.log10(most))
    count = len(series)
    # Numbers of the series by their place in it, counted from 1.
    at = count * decade + next(
        place
        for place, step in enumerate((*series, 10.0))
        if step * 10.0**decade >= most * (1 - 1e-9)
    )
    found: list[float] = []
    while len(found) <= _MOST and not (
        len(found) > _FEWEST and found[0] <= least * (1 + 1e-9)
    ):
        tens, place = divmod(at, count)
        found.insert(0, float(f"{series[place] * 10.0**tens:.6g}"))
        at -= 1
    return found


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
