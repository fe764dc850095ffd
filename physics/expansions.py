"""Loss coefficients of expansions, on the velocity in the small area.

Angles are the full included ones, wall to wall.
"""

from collections.abc import Mapping
from functools import cache

import numpy as np
import numpy.typing as npt

from elbowroom.layout import FloatArray, IntArray

from .axes import ROUNDING, axis
from .coefficient import Coefficient, LookupRefused, Note
from .contractions import area_share, by_formula
from .tables import Grid, from_table, grid, rows

_LAST = 0.6  # small over large area of the last cones that are printed


def _of_sudden(share: FloatArray, last: float) -> FloatArray:
    """Loss of a sudden expansion over that of another, by Borda and Carnot.

    What a table's last row takes of it is carried on to smaller changes, as at one
    angle the loss of an expansion is a part of it: straight to nothing, it would exceed
    the sudden one.
    """
    return np.asarray(((1.0 - share) / (1.0 - last)) ** 2)


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
        Small area over large area, 0 to 1; above 0.6 the share of a sudden expansion
        that is lost at 0.6 is carried on, and friction as (1 - s²): our own choice.
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
    held = np.minimum(ratio, _LAST)
    value, bits = expansion.at(held, degrees)
    # The friction table ends at 20 degrees, where it has come down to 0.01; it fades
    # out to 30, so that no degree makes a jump: our own choice.
    rubbing, _ = rubs.at(held, degrees)
    rubbing = rubbing * float(friction) * (3.0 - degrees / 10.0).clip(0.0, 1.0)
    beyond = np.maximum(ratio, _LAST)
    value = value * _of_sudden(beyond, _LAST)
    rubbing = rubbing * (1.0 - beyond**2) / (1.0 - _LAST**2)
    bits = bits | np.where(ratio > _LAST, int(Note.EXTENDED), 0)
    return from_table(
        expansion,
        value + rubbing,
        bits,
        "small area",
    )


def _opening(name: str, where: Mapping[str, str] | None = None) -> Grid:
    return grid(name, "A_large_over_A_small", "angle_deg", where=where)


@cache
def _by_reynolds() -> tuple[tuple[float, Grid], ...]:
    name = "expansion_round_conical"
    texts = dict.fromkeys(row["Re"] for row in rows(name))
    return tuple(
        (float(re), _opening(name, where={"Re": re})) for re in sorted(texts, key=float)
    )


def expansion_round_by_reynolds(
    area_ratio: npt.ArrayLike, angle: npt.ArrayLike, reynolds: npt.ArrayLike
) -> Coefficient:
    """Conical expansion in round duct by another publication, for comparison.

    Below Reynolds 1e5 it has up to twice the loss of `expansion_round`.

    Parameters
    ----------
    area_ratio
        Large area over small area, 1 to 16, else the nearer end, noted; below 2 as
        `expansion_rect`.
    angle
        Included angle, rad; from 16 degrees on.
    reynolds
        In the small area; 5e4 to 6e5, else the nearer end, noted. On its logarithm.

    Raises
    ------
    LookupRefused
        If the angle is below 16 degrees, where `expansion_round` is for.

    References
    ----------
    ASHRAE Handbook Fundamentals 1977-1989; SMACNA, table 14-11 (from memory). One
    value, ratio 6 at 45 degrees and Reynolds 2e5, breaks the trend; near it the
    coefficient is noted.
    """
    ratio, degrees, re = np.broadcast_arrays(
        np.atleast_1d(np.asarray(area_ratio, np.float64)),
        np.degrees(np.asarray(angle, np.float64)),
        np.asarray(reynolds, np.float64),
    )
    if not (degrees >= 16.0 - 1e-6).all():
        raise LookupRefused(
            f"this table of cones begins at 16 degrees, not at {degrees.min():.3g}; "
            "take expansion_round"
        )
    numbers, books = zip(*_by_reynolds(), strict=True)
    found = [_from_one(book, ratio, degrees) for book in books]
    whole = axis(np.array(numbers), log=True)
    low, share, off = whole.locate(re)
    values = [value for value, _ in found]
    below, above = np.choose(low, values), np.choose(low + 1, values)
    bits = np.choose(low, [b for _, b in found]) | off * np.int64(Note.CLAMPED)
    doubted = [book.doubted(ratio, degrees) for book in books]
    bits |= np.where(share < 1.0 - ROUNDING, np.choose(low, doubted), 0)
    bits |= np.where(share > ROUNDING, np.choose(low + 1, doubted), 0)
    between = (share > ROUNDING) & (share < 1.0 - ROUNDING)
    bits |= between * np.int64(Note.INTERPOLATED)
    return from_table(books[0], below + (above - below) * share, bits, "small area")


def expansion_abrupt(small_over_large: npt.ArrayLike) -> Coefficient:
    """Sudden expansion: (1 - s)², s small area over large area.

    Raises
    ------
    LookupRefused
        If s is not 0 to 1.

    References
    ----------
    Borda and Carnot; Idelchik 1986, diagram 4-1, even profile.
    """
    s = area_share(small_over_large)
    return by_formula((1.0 - s) ** 2, "sudden expansion", "Idelchik diagram 4-1")


@cache
def _pyramid() -> Grid:
    return _opening("expansion_rect_pyramidal")


@cache
def _one_plane() -> Grid:
    return _opening("expansion_rect_one_plane")


def _from_one(
    book: Grid, ratio: FloatArray, degrees: FloatArray
) -> tuple[FloatArray, IntArray]:
    """Values and notes over the area ratio, large over small, from 1 on."""
    first = float(book.x[0])
    value, bits = book.at(np.maximum(ratio, first), degrees)
    value = value * _of_sudden(1.0 / ratio.clip(1.0, first), 1.0 / first)
    bits = bits | np.where(ratio < 1.0, int(Note.CLAMPED), 0)
    return value, bits | np.where(
        (ratio > 1.0) & (ratio < first), int(Note.EXTENDED), 0
    )


def expansion_rect(
    area_ratio: npt.ArrayLike, angle: npt.ArrayLike, one_plane: npt.ArrayLike = False
) -> Coefficient:
    """Rectangular expansion: with all sides open, or with two sides parallel.

    Parameters
    ----------
    area_ratio
        Large area over small area, from 1 on; below 2 the share of a sudden expansion
        that is lost at 2 is carried on: our own choice.
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
    open_value, open_bits = _from_one(pyramid, ratio, degrees)
    flat_value, flat_bits = _from_one(plane, ratio, degrees)
    return from_table(
        plane if flat.all() else pyramid,
        np.where(flat, flat_value, open_value),
        np.where(flat, flat_bits, open_bits),
        "small area",
    )
