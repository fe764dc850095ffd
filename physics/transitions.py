"""Loss coefficients of changes of section along a duct.

Angles are the full included ones, wall to wall.
"""

from functools import cache

import numpy as np
import numpy.typing as npt

from elbowroom.layout import FloatArray, IntArray

from .coefficient import Coefficient, Note, make
from .tables import Grid, grid, rows

SAME_AREA = 0.05  # taken for a change of shape alone: no coefficient is published
_STEEPEST = np.pi


@cache
def _contraction() -> Grid:
    """Contraction table; each band of angles gives a point at both of its ends."""
    read = rows("contraction")
    ratio = np.array(sorted({float(row["A_large_over_A_small"]) for row in read}))
    ends: dict[float, dict[float, float]] = {}
    for row in read:
        for end in (row["angle_min_deg"], row["angle_max_deg"]):
            at = ends.setdefault(float(end), {})
            at[float(row["A_large_over_A_small"])] = float(row["C"])
    angle = np.array(sorted(ends))
    values = np.array([[ends[a][r] for a in angle] for r in ratio])
    first = read[0]
    return Grid(
        "contraction", first["source"], first["confidence"], ratio, angle, values
    )


def contraction(area_ratio: npt.ArrayLike, angle: npt.ArrayLike) -> Coefficient:
    """Contraction, round or rectangular.

    Parameters
    ----------
    area_ratio
        Large area over small area, from 1 on; below 2 the value at 2 is held, as the
        published example does.
    angle
        Included angle, rad.

    Returns
    -------
    coefficient
        On the downstream velocity. Constant within a printed band of angles, straight
        between bands.

    References
    ----------
    SMACNA HVAC Systems Duct Design 1990, table 14-12 A.
    """
    book = _contraction()
    ratio = np.atleast_1d(np.asarray(area_ratio, dtype=np.float64))
    value, bits = book.at(np.maximum(ratio, 2.0), np.degrees(angle))
    return make(
        value,
        bits,
        reference="downstream",
        table=book.name,
        source=book.source,
        confidence=book.confidence,
    )


@cache
def _cone() -> tuple[Grid, Grid]:
    expansion = grid(
        "expansion_round_conical_idelchik", "A_small_over_A_large", "angle_deg"
    )
    return expansion, grid(
        "cone_friction_idelchik", "A_small_over_A_large", "angle_deg"
    )


def expansion_round(
    small_over_large: npt.ArrayLike, angle: npt.ArrayLike, *, friction: bool = True
) -> Coefficient:
    """Conical expansion in round duct.

    Parameters
    ----------
    small_over_large
        Small area over large area, 0 to 1; above 0.6 the value goes straight to 0 at
        1.
    angle
        Included angle, rad; below 3 degrees that at 3.
    friction
        Whether to count the cone's own friction; not where the length of the duct
        holds it already.

    Returns
    -------
    coefficient
        On the velocity in the small area.

    References
    ----------
    Idelchik 1986, diagram 5-2, even profile at the inlet; friction at a factor of
    0.02.
    """
    ratio = np.atleast_1d(np.asarray(small_over_large, dtype=np.float64))
    degrees = np.degrees(np.asarray(angle, dtype=np.float64))
    expansion, rubs = _cone()
    held = np.minimum(ratio, 0.6)
    value, bits = expansion.at(held, degrees)
    # The friction table ends at 20 degrees, where it has come down to 0.01.
    rubbing, _ = rubs.at(held, degrees)
    rubbing = np.where((degrees > 20.0) | (not friction), 0.0, rubbing)
    fade = np.where(ratio > 0.6, (1.0 - ratio) / 0.4, 1.0)
    bits = bits | np.where(ratio > 0.6, int(Note.INTERPOLATED), 0)
    return make(
        (value + rubbing) * fade,
        bits,
        reference="small area",
        table=expansion.name,
        source=expansion.source,
        confidence=expansion.confidence,
    )


@cache
def _pyramid() -> Grid:
    return _from_one("expansion_rect_pyramidal")


@cache
def _one_plane() -> Grid:
    return _from_one("expansion_rect_one_plane")


def _from_one(name: str) -> Grid:
    """Expansion table over the area ratio, with the row of no change added."""
    book = grid(name, "A_large_over_A_small", "angle_deg")
    still = np.zeros((1, len(book.y)))
    return Grid(
        book.name,
        book.source,
        book.confidence,
        np.concatenate([[1.0], book.x]),
        book.y,
        np.concatenate([still, book.values]),
    )


def expansion_rect(
    area_ratio: npt.ArrayLike, angle: npt.ArrayLike, one_plane: npt.ArrayLike = False
) -> Coefficient:
    """Rectangular expansion: with all sides open, or with two sides parallel.

    Parameters
    ----------
    area_ratio
        Large area over small area, from 1 on.
    angle
        Included angle of the wider opening pair of sides, rad.
    one_plane
        Whether two sides stay parallel; a shape that broadcasts.

    Returns
    -------
    coefficient
        On the velocity in the small area.

    References
    ----------
    ASHRAE Handbook Fundamentals 1977-1989 (pyramidal) and 1993-2009 (two sides
    parallel), both from memory.
    """
    ratio = np.atleast_1d(np.asarray(area_ratio, dtype=np.float64))
    degrees = np.degrees(np.asarray(angle, dtype=np.float64))
    flat = np.asarray(one_plane, dtype=bool)
    pyramid, plane = _pyramid(), _one_plane()
    open_value, open_bits = pyramid.at(ratio, degrees)
    flat_value, flat_bits = plane.at(ratio, degrees)
    book = plane if flat.all() else pyramid
    return make(
        np.where(flat, flat_value, open_value),
        np.where(flat, flat_bits, open_bits),
        reference="small area",
        table=book.name,
        source=book.source,
        confidence=book.confidence,
    )


def included_angles(
    width_in: npt.ArrayLike,
    height_in: npt.ArrayLike,
    width_out: npt.ArrayLike,
    height_out: npt.ArrayLike,
    length: npt.ArrayLike,
) -> tuple[FloatArray, FloatArray]:
    """Included angles of a straight transition in both planes, rad.

    Lengths in m, in shapes that broadcast; a piece of no length opens at once, by pi.
    """
    wide = np.abs(np.subtract(width_out, width_in))
    tall = np.abs(np.subtract(height_out, height_in))
    run = np.asarray(length, dtype=np.float64)
    return 2.0 * np.arctan2(wide / 2, run), 2.0 * np.arctan2(tall / 2, run)


def round_to_rect_angle(
    diameter: npt.ArrayLike,
    width: npt.ArrayLike,
    height: npt.ArrayLike,
    length: npt.ArrayLike,
) -> FloatArray:
    """Equivalent angle of an expansion between round and rectangular, rad.

    References
    ----------
    ASHRAE Handbook Fundamentals 1977-1989: tan(angle/2) = |D - 1.13 sqrt(H W)| / (2 L)
    (from memory).
    """
    twin = 1.13 * np.sqrt(np.multiply(width, height))
    return np.asarray(2.0 * np.arctan2(np.abs(np.subtract(diameter, twin)) / 2, length))


def same_area(count: int) -> Coefficient:
    """Change of shape at the same area: an allowance, as nothing is published."""
    notes: IntArray = np.full(count, int(Note.FALLBACK))
    return make(
        np.full(count, SAME_AREA),
        notes,
        reference="downstream",
        table="allowance",
        source="no published coefficient; an allowance of 0.05",
        confidence="low",
    )
