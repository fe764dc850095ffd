"""Cross sections: round, rectangular, flat oval, one at a time or as arrays."""

from dataclasses import dataclass
from enum import IntEnum

import numpy as np
import numpy.typing as npt

from .allowed import above_zero, check_value

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]
BoolArray = npt.NDArray[np.bool_]

SMALLEST_SIDE = 1e-6  # m: what is written less is a slip of an exponent
LARGEST_SIDE = 10.0  # m: no duct is wider; beyond it a unit is wrong
_SIDE = above_zero("length")
_INCH = 0.0254  # m; `units` stands on this module


class Shape(IntEnum):
    """Shape of a cross section; NONE where the drawing gives none.

    Arrays are compared with `int(Shape.ROUND)`: numpy takes four times as long to make
    an array of the member itself.
    """

    NONE = 0
    ROUND = 1
    RECTANGULAR = 2
    OVAL = 3


DRAWN_SHAPES = (Shape.ROUND, Shape.RECTANGULAR, Shape.OVAL)
# By code of shape: share of its rectangle that a round section fills, what round ends
# cut off the square of the shorter side, and the way round both ends over that side.
_FILLS = np.array([1.0, np.pi / 4.0, 1.0, 1.0])
_CUT_OFF = np.array([0.0, 0.0, 0.0, 1.0 - np.pi / 4.0])
_AROUND = np.array([4.0, np.pi, 4.0, np.pi])


@dataclass(frozen=True, slots=True)
class Section:
    """One cross section, inside dimensions.

    Parameters
    ----------
    shape
        Its shape.
    width
        Diameter, or the side that lies level in a level duct, m.
    height
        Diameter, or the side that stands upright in a level duct, m. A flat oval
        has its round ends on the shorter of the two sides.

    Raises
    ------
    ValueError
        If a dimension is not a finite number greater than zero, the two of a round
        section differ, or the shape is none that is drawn.
    """

    shape: Shape
    width: float
    height: float

    def __post_init__(self) -> None:
        check_value("Section: shape", self.shape, DRAWN_SHAPES)
        check_value("Section: width", self.width, _SIDE)
        check_value("Section: height", self.height, _SIDE)
        if self.shape == Shape.ROUND and self.width != self.height:
            raise ValueError(
                "a round section must be as wide as it is high, got "
                f"{self.width:g} m and {self.height:g} m"
            )

    @property
    def area(self) -> float:
        """Inside area, m²."""
        return float(area(self.shape, self.width, self.height))

    @property
    def words(self) -> str:
        """Size as the trade writes it, in millimetres."""
        return words(self.shape, self.width, self.height)

    def words_in(self, unit: str) -> str:
        """Size as the trade writes it, in 'mm' or 'in'."""
        return words(self.shape, self.width, self.height, unit)


def round_section(diameter: float) -> Section:
    """Round section of a diameter in m; ValueError unless it is above zero."""
    return Section(Shape.ROUND, diameter, diameter)


def rectangular(width: float, height: float) -> Section:
    """Rectangular section of two sides in m; ValueError unless they are above zero."""
    return Section(Shape.RECTANGULAR, width, height)


def flat_oval(width: float, height: float) -> Section:
    """Flat oval section of two sides in m; ValueError unless they are above zero."""
    return Section(Shape.OVAL, width, height)


def area(
    shape: npt.ArrayLike, width: npt.ArrayLike, height: npt.ArrayLike
) -> FloatArray:
    """Inside area of each section.

    Parameters
    ----------
    shape
        `Shape` codes.
    width, height
        Sides, m, in shapes that broadcast with `shape`.

    Returns
    -------
    area
        m², in the broadcast shape; that of the rectangle where the shape is NONE.

    Notes
    -----
    Flat oval of major side A and minor side a: pi a²/4 + a (A - a), a definition.

    Examples
    --------
    >>> area([Shape.ROUND, Shape.RECTANGULAR, Shape.OVAL], 0.6, 0.3).round(4)
    array([0.1414, 0.18  , 0.1607])
    """
    kind, w, h = _prepare(shape, width, height)
    short = np.minimum(w, h)
    filled = _FILLS.take(kind) * (w * h)
    return np.asarray(filled - _CUT_OFF.take(kind) * (short * short))


def perimeter(
    shape: npt.ArrayLike, width: npt.ArrayLike, height: npt.ArrayLike
) -> FloatArray:
    """Inside perimeter of each section.

    Parameters and shapes are those of `area`; the result is in m.

    Examples
    --------
    >>> perimeter([Shape.RECTANGULAR, Shape.OVAL], 0.6, 0.3).round(4)
    array([1.8   , 1.5425])
    """
    kind, w, h = _prepare(shape, width, height)
    return np.asarray(_AROUND.take(kind) * np.minimum(w, h) + 2.0 * np.abs(w - h))


def hydraulic_diameter(
    shape: npt.ArrayLike, width: npt.ArrayLike, height: npt.ArrayLike
) -> FloatArray:
    """Hydraulic diameter 4 A / P of each section, m; a definition.

    Parameters and shapes are those of `area`.

    Examples
    --------
    >>> hydraulic_diameter([Shape.ROUND, Shape.RECTANGULAR], [0.2, 0.6], [0.2, 0.3])
    array([0.2, 0.4])
    """
    return 4.0 * area(shape, width, height) / perimeter(shape, width, height)


def words(
    shape: int, width: float, height: float, unit: str = "mm", more: int = 0
) -> str:
    """Size as the trade writes it, in 'mm' or 'in'; 'no section' where there is none.

    `more` digits than usual.

    Examples
    --------
    >>> words(Shape.RECTANGULAR, 0.6, 0.3), words(Shape.ROUND, 0.2, 0.2)
    ('600×300 mm', 'Ø200 mm')
    >>> words(Shape.RECTANGULAR, 12.0, 0.3)
    '12000×300 mm'
    """
    if shape == Shape.NONE:
        return "no section"
    if unit == "mm":
        w, h = (_digits(side * 1e3, 4 + more) for side in (width, height))
    else:
        w, h = (_digits(side / _INCH, 3 + more) for side in (width, height))
    if shape == Shape.ROUND:
        return f"Ø{w} {unit}"
    size = f"{w}×{h} {unit}"
    return f"{size} flat oval" if shape == Shape.OVAL else size


def _digits(value: float, count: int) -> str:
    """A number to so many digits, never with an exponent."""
    return f"{float(f'{value:.{count}g}'):.15g}"


def _prepare(
    shape: npt.ArrayLike, width: npt.ArrayLike, height: npt.ArrayLike
) -> tuple[IntArray, FloatArray, FloatArray]:
    return (
        np.asarray(shape, dtype=np.int64),
        np.asarray(width, dtype=np.float64),
        np.asarray(height, dtype=np.float64),
    )
