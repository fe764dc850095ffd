"""Sizes of one duct: for a friction rate, or with the friction of another duct."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq

from elbowroom.layout import (
    FloatArray,
    Section,
    Shape,
    allowed,
    flat_oval,
    length_words,
    rectangular,
    round_section,
    sections,
    units,
)

from .air import Air
from .coefficient import check_word
from .flexible import compression_factor
from .friction import GALVANISED, pressure_gradient
from .tables import rows

# Longer over shorter side: to this a size is offered, beyond it a duct is flagged.
FLATTEST = 4.0  # common practice, no published source
WINDOW_OF_SIZES = (0.02, 20.0)  # m: no duct is sought outside it
LONGEST = 3.0  # m: no longer side is offered; it smells of another unit
# Series of `standard_sizes`; sides of rectangles are stepped: common practice.
SERIES = {"mm": "EN 1506", "in": "US inch practice"}
_STEPS = {"mm": 0.05, "in": 2 * units.INCH}
_SMALL_STEPS = {"mm": 0.05, "in": units.INCH}
_SMALL = {"mm": 0.0, "in": 12 * units.INCH}  # up to here the small step is kept
SMALLEST = "smallest of the series"


class NoSize(ValueError):
    """No size that is sought keeps the limits."""


@dataclass(frozen=True, slots=True)
class Size:
    """One size and what the air does in it.

    Parameters
    ----------
    section
        The section.
    exact
        The section before it was rounded up to the series.
    velocity
        m/s.
    gradient
        Friction, Pa/m.
    limit
        What bound it: 'friction rate' or 'velocity', which the next smaller step of
        the series would not keep; `SMALLEST` where the series has none; 'square' where
        a narrower one would, but it is not made narrower than it is high.
    """

    section: Section
    exact: Section
    velocity: float
    gradient: float
    limit: str

    @property
    def aspect(self) -> float:
        """Longer side over shorter side."""
        sides = self.section.width, self.section.height
        return max(sides) / min(sides)


def equivalent_diameter(section: Section) -> float:
    """Diameter of the round duct with the same friction at the same airflow, m.

    References
    ----------
    Rectangular: Huebscher 1948, 1.30 (ab)^0.625 / (a + b)^0.25; flat oval: Heyt and
    Diaz 1975, 1.55 A^0.625 / P^0.25; both as in ASHRAE Handbook Fundamentals.

    Examples
    --------
    >>> round(equivalent_diameter(rectangular(12 * 0.0254, 12 * 0.0254)) / 0.0254, 2)
    13.12
    """
    a, b = section.width, section.height
    if section.shape == Shape.ROUND:
        return a
    if section.shape == Shape.OVAL:
        area = float(sections.area(section.shape, a, b))
        around = float(sections.perimeter(section.shape, a, b))
        return float(1.55 * area**0.625 / around**0.25)
    return float(1.30 * (a * b) ** 0.625 / (a + b) ** 0.25)


def width_for(diameter: float, height: float) -> float:
    """Width at which a rectangular duct of a height has an equivalent diameter, m.

    Raises
    ------
    NoSize
        If no width up to 20 m has it.
    ValueError
        If the diameter is not above 0 m.
    """
    allowed.check_value("diameter", diameter, allowed.above_zero("length"))

    def short_of(width: float) -> float:
        return equivalent_diameter(rectangular(width, height)) - diameter

    return _root(short_of, WINDOW_OF_SIZES[0])


def gradient_of(
    section: Section,
    flow: float,
    air: Air,
    roughness: float = GALVANISED,
    compression: float = 0.0,
) -> float:
    """Friction of an airflow, m³/s, in a section, Pa/m, on its own velocity.

    Flexible duct may be compressed, by a share of its length.

    Raises
    ------
    ValueError
        If the airflow is not above 0, or as `compression_factor`.
    """
    shape, w, h = section.shape, section.width, section.height
    area = float(sections.area(shape, w, h))
    diameter = float(sections.hydraulic_diameter(shape, w, h))
    found = pressure_gradient(
        flow / area, diameter, roughness, air.density, air.viscosity
    )
    factor = compression_factor(diameter, compression)[0] if compression else 1.0
    return float(found * factor)


def round_size(
    flow: float,
    rate: float,
    air: Air,
    *,
    series: str = "mm",
    fastest: float | None = None,
    roughness: float = GALVANISED,
) -> Size:
    """Smallest round size that keeps a friction rate, Pa/m, and a velocity, m/s.

    Raises
    ------
    NoSize
        If none of the series does.
    """
    exact, limit = _exact_round(flow, rate, air, fastest, roughness)
    ladder = diameters(series)
    larger = ladder[ladder >= exact * (1 - 1e-9)]
    if not len(larger):
        raise NoSize(
            "no round duct of the series is large enough: its largest is "
            + round_section(float(ladder[-1])).words_in(series)
        )
    if len(larger) == len(ladder):
        limit = SMALLEST
    return _size(
        round_section(float(larger[0])),
        round_section(exact),
        flow,
        air,
        roughness,
        limit,
    )


def _exact_round(
    flow: float, rate: float, air: Air, fastest: float | None, roughness: float
) -> tuple[float, str]:
    """Diameter, m, before it is rounded up to a series, and what bound it."""

    def over(diameter: float) -> float:
        return rate - gradient_of(round_section(diameter), flow, air, roughness)

    exact = _root(over, WINDOW_OF_SIZES[0])
    if fastest is not None and flow / (np.pi / 4 * exact**2) > fastest:
        return float(np.sqrt(flow / fastest * 4 / np.pi)), "velocity"
    return exact, "friction rate"


def sided_sizes(
    flow: float,
    rate: float,
    air: Air,
    *,
    highest: float | None = None,
    widest: float | None = None,
    shape: Shape = Shape.RECTANGULAR,
    series: str = "mm",
    fastest: float | None = None,
    roughness: float = GALVANISED,
) -> list[Size]:
    """Rectangular or flat oval sizes that keep a friction rate, one for each height.

    Parameters
    ----------
    flow, rate, air
        m³/s, Pa/m and the air.
    highest, widest
        Limits of the sides, m. The longer side lies; where it is wider than `widest`
        it stands.
    shape
        `Shape.RECTANGULAR` or `Shape.OVAL`.
    series
        'mm' or 'in': steps of the sides.
    fastest
        Largest velocity, m/s.
    roughness
        m.

    Returns
    -------
    sizes
        From the squarest to the flattest.
    """
    make = flat_oval if shape == Shape.OVAL else rectangular
    tallest, _ = _exact_round(flow, rate, air, fastest, roughness)
    upright, level = highest or np.inf, widest or np.inf
    longest = max(upright, level)
    top = min(upright, level, 1.2 * tallest)
    found = []
    for height in sides(top, series)[::-1]:

        def over(width: float, height: float = height) -> float:
            return rate - gradient_of(make(width, height), flow, air, roughness)

        try:
            exact = _root(over, height if shape == Shape.OVAL else WINDOW_OF_SIZES[0])
        except NoSize:
            continue
        limit = "friction rate"
        if fastest is not None:
            least = _width_of_area(flow / fastest, height, shape)
            if least > exact:
                exact, limit = least, "velocity"
        width = up_to_step(exact, series)
        if width < height * (1 - 1e-9):
            width, limit = height, "square"
        if width > FLATTEST * height * (1 + 1e-9):
            break
        if width > longest * (1 + 1e-9):
            continue
        if shape == Shape.OVAL and width <= height * (1 + 1e-9):
            continue  # that is a round duct
        size, unrounded = make(width, height), make(exact, height)
        if width > level * (1 + 1e-9):
            size, unrounded = make(height, width), make(height, exact)
        found.append(_size(size, unrounded, flow, air, roughness, limit))
    return found


def diameters(series: str) -> FloatArray:
    """Round sizes of a series, 'mm' or 'in', that are kept, m, rising.

    Raises
    ------
    LookupRefused
        If there is no such series.
    """
    check_word("series", series, SERIES)
    kept = [
        row
        for row in rows("standard_sizes")
        if row["shape"] == "round"
        and row["series"] == SERIES[series]
        and row["status"] != "additional"
    ]
    column, factor = (
        ("diameter_or_width_mm", 1e-3)
        if series == "mm"
        else ("diameter_or_width_in", units.INCH)
    )
    return np.array(sorted({float(row[column]) * factor for row in kept}))


def sides(top: float, series: str) -> FloatArray:
    """Sides of rectangles of a series, 'mm' or 'in', up to a size, m, rising.

    Raises
    ------
    LookupRefused
        If there is no such series.
    """
    check_word("series", series, SERIES)
    small = np.arange(1, 400) * _SMALL_STEPS[series]
    steps = np.arange(1, 400) * _STEPS[series]
    every = np.concatenate([small[small < _SMALL[series]], steps])
    every = np.unique(every.round(9))
    least = 0.1 if series == "mm" else 4 * units.INCH
    return np.asarray(every[(every >= least - 1e-9) & (every <= top * (1 + 1e-9))])


def widening(
    shape: Shape, height: float, widest: float, series: str, stands: bool = False
) -> list[Section]:
    """Sizes of one height, m, and rising width, up to `FLATTEST` either way.

    A flat oval that stands is higher than it is wide, and one that lies is not.
    """
    every = sides(min(widest, FLATTEST * height), series)
    return _offered(shape, [(float(width), height) for width in every], stands)


def squarest(
    shape: Shape, highest: float, widest: float, series: str, stands: bool = False
) -> list[Section]:
    """Ever larger sizes within limits, m, each as nearly square as they allow.

    Where the sides differ the longer one lies, or stands. Only where a limit leaves no
    other way, a rectangle turns; a flat oval does not. Nothing is flatter than
    `FLATTEST`. Heights are those of the series and the limit itself.

    Examples
    --------
    >>> [s.words for s in squarest(Shape.RECTANGULAR, 0.15, 0.25, "mm")]
    ['100×100 mm', '150×100 mm', '150×150 mm', '200×150 mm', '250×150 mm']
    """
    if highest == widest == np.inf:
        highest = widest = LONGEST
    high, wide = min(highest, FLATTEST * widest), min(widest, FLATTEST * highest)
    heights = np.unique([*sides(high, series), round(high, 9)])
    widths = sides(wide, series)
    short, long = (widths, heights) if stands else (heights, widths)
    gap = 1e-9 if shape == Shape.OVAL else -1e-9  # round is no flat oval
    i = j = 0
    found = []
    while i < len(short) and j < len(long):
        found.append((float(long[j]), float(short[i])))
        is_last = j + 1 == len(long)
        if is_last or (i + 1 < len(short) and long[j] - short[i + 1] > gap):
            i += 1
        else:
            j += 1
    pairs = [pair[::-1] for pair in found] if stands else found
    return _offered(shape, pairs, stands)


def _offered(
    shape: Shape, pairs: list[tuple[float, float]], stands: bool
) -> list[Section]:
    """Sections of widths and heights, those that are not too flat."""
    most, least = FLATTEST * (1 + 1e-9), 1 / FLATTEST * (1 - 1e-9)
    if shape == Shape.OVAL:  # one of equal sides would be round
        most, least = (1 - 1e-9, least) if stands else (most, 1 + 1e-9)
    return [Section(shape, w, h) for w, h in pairs if least <= w / h <= most]


def up_to_step(side: float, series: str) -> float:
    """Next side of a series that is not below a side, m."""
    every = sides(WINDOW_OF_SIZES[1], series)
    larger = every[every >= side * (1 - 1e-9)]
    return float(larger[0]) if len(larger) else side


def _size(
    section: Section,
    exact: Section,
    flow: float,
    air: Air,
    roughness: float,
    limit: str,
) -> Size:
    gradient = gradient_of(section, flow, air, roughness)
    return Size(section, exact, flow / section.area, gradient, limit)


def _width_of_area(area: float, height: float, shape: Shape) -> float:
    if shape == Shape.OVAL:
        return max((area - np.pi / 4 * height**2) / height + height, height)
    return area / height


def _root(short_of: Callable[[float], float], low: float) -> float:
    """Where a function of a size that rises through zero crosses it, m."""
    high = WINDOW_OF_SIZES[1]
    if short_of(low) >= 0.0:
        return low
    if short_of(high) < 0.0:
        raise NoSize(f"no size up to {length_words(WINDOW_OF_SIZES[1])} does")
    return float(brentq(short_of, low, high, xtol=1e-9, rtol=1e-12))
