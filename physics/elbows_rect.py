"""Loss coefficients of rectangular elbows, smooth or mitred, on the duct's velocity.

W is the side of the section in the plane of the bend, H the side along its axis;
aspect is H / W; a radius is that of the centreline. Friction along the elbow is not
in the coefficient: it is counted with the length of the duct.
"""

from collections.abc import Callable
from functools import cache, partial

import numpy as np
import numpy.typing as npt

from elbowroom.layout import FloatArray, IntArray

from .axes import ROUNDING, alike
from .coefficient import Coefficient, LookupRefused, Note, worst
from .elbow_factors import (
    angle_factor,
    mitred_reynolds_factor,
    reynolds_factor,
    slowed,
    slowed_mitred,
    turned,
)
from .shares import share_between
from .tables import Grid, from_table, grid

TIGHTEST = 0.5  # r/W at which the throat radius is nothing
_NONE = np.ones(1)  # factor where none applies


@cache
def _smooth() -> Grid:
    return grid(
        "rect_elbow_smooth",
        "r_over_W",
        "H_over_W",
        log_x=True,
        log_y=True,
        log_values=True,
    )


@cache
def _smooth_fine() -> Grid:
    return grid(
        "rect_elbow_smooth_fine",
        "r_over_W",
        "H_over_W",
        log_x=True,
        log_y=True,
        log_values=True,
    )


def rect_smooth(
    radius_ratio: npt.ArrayLike,
    aspect: npt.ArrayLike,
    angle: npt.ArrayLike,
    reynolds: npt.ArrayLike | None = None,
) -> Coefficient:
    """Smooth rectangular elbow without vanes.

    Parameters
    ----------
    radius_ratio
        r/W, from 0.5 on.
    aspect
        H/W.
    angle
        rad, 0 to pi.
    reynolds
        On the hydraulic diameter; None leaves the Reynolds factor at 1.

    Returns
    -------
    coefficient
        On the upstream velocity.

    Raises
    ------
    LookupRefused
        If r/W is below 0.5, which cannot be built.

    References
    ----------
    ASHRAE Handbook Fundamentals 2005, p. 35.52 (Idelchik 1986, diagram 6-1). Beyond
    r/W 2 the finer table of the same diagram goes on, led from what the other has
    there, up to 2.5 % off, over r/W 2 to 3. Interpolation: ln C on ln r/W, C on ln H/W.
    """
    ratio, h, a = alike(radius_ratio, aspect, angle)
    if not (ratio >= TIGHTEST - 1e-9).all():  # written so that NaN is caught too
        raise LookupRefused(
            f"a smooth elbow cannot have r/W {ratio.min():.3g}: at 0.5 its throat "
            "radius is nothing already; take r/W 0.5 or more, or a mitred elbow"
        )
    value, bits, credited = _led_over(_smooth(), _smooth_fine(), ratio, h, 2.0, 1.0)
    turn, turn_bits = angle_factor("rect_smooth").at(np.degrees(a))
    factor, slow = (_NONE, 0) if reynolds is None else reynolds_factor(ratio, reynolds)
    return credited(
        value * turn,
        bits | turn_bits | slow,
        "upstream",
        factor=factor,
        factors=turned("rect_smooth", turn) + slowed(ratio, factor),
    )


def _led_over(
    book: Grid, far: Grid, x: FloatArray, y: FloatArray, end: float, stretch: float
) -> tuple[FloatArray, IntArray, Callable[..., Coefficient]]:
    """Values of one table up to an end, and of another beyond it.

    Over a stretch they are led over from what the first has at its end. Also their
    notes, and a `from_table` for them: it names the other if that gave every value.
    """
    value, bits = book.at(x, y)
    beyond = x > end * (1.0 + ROUNDING)
    any_beyond = beyond.any()
    if any_beyond:
        further, bits[beyond] = far.at(x[beyond], y[beyond])
        both = (table.at(end, y[beyond])[0] for table in (book, far))
        left = share_between(x[beyond], end + stretch, end)
        value[beyond] = further * (1.0 + (np.divide(*both) - 1.0) * left)
    named = far if any_beyond and beyond.all() else book
    credited = partial(
        from_table,
        named,
        confidence=worst(named.confidence, "seen") if any_beyond else None,
    )
    return value, bits, credited


@cache
def _mitred() -> Grid:
    return grid(
        "rect_elbow_mitred", "angle_deg", "H_over_W", through_zero=True, log_y=True
    )


@cache
def _mitred_formula() -> Grid:
    return grid(
        "rect_elbow_mitred_formula",
        "angle_deg",
        "H_over_W",
        through_zero=True,
        log_y=True,
    )


def rect_mitred(
    aspect: npt.ArrayLike,
    angle: npt.ArrayLike,
    reynolds: npt.ArrayLike | None = None,
) -> Coefficient:
    """Mitred rectangular elbow without vanes: square throat and square heel.

    Parameters
    ----------
    aspect
        H/W.
    angle
        rad, 0 to pi.
    reynolds
        On the hydraulic diameter; None leaves the Reynolds factor at 1.

    Returns
    -------
    coefficient
        On the upstream velocity.

    References
    ----------
    SMACNA HVAC Systems Duct Design, 4th ed., table A-7 D, to 90 degrees; beyond,
    Idelchik 1986, diagram 6-5, in closed form, led from what the other has at 90, up to
    3 % off, over 90 to 110 degrees: our own choice. Linear in the angle, C on ln H/W.
    """
    h, a = alike(aspect, angle)
    degrees = np.degrees(a)
    value, bits, credited = _led_over(
        _mitred(), _mitred_formula(), degrees, h, 90.0, 20.0
    )
    factor, slow = (_NONE, 0) if reynolds is None else mitred_reynolds_factor(reynolds)
    return credited(
        value, bits | slow, "upstream", factor=factor, factors=slowed_mitred(factor)
    )


@cache
def _area_change() -> Grid:
    return grid("rect_elbow_mitred_area_change", "H_over_W_in", "W_out_over_W_in")


def rect_mitred_area_change(
    width_ratio: npt.ArrayLike,
    aspect: npt.ArrayLike,
    reynolds: npt.ArrayLike | None = None,
) -> Coefficient:
    """Mitred rectangular elbow of 90 degrees whose outlet has another width.

    Parameters
    ----------
    width_ratio
        Width of the outlet over that of the inlet, both in the plane of the bend;
        0.6 to 2, else the nearer end, noted.
    aspect
        H over the width of the inlet; from 0.25 on. The row that is printed for
        infinity is stored at 1000.
    reynolds
        On the hydraulic diameter of the inlet; None leaves the Reynolds factor at 1.

    Returns
    -------
    coefficient
        On the upstream velocity.

    References
    ----------
    Idelchik, sharp bend with a changed outlet width; SMACNA HVAC Systems Duct Design,
    4th ed., table A-7 E (from memory). The Reynolds factor is that of mitred elbows.
    """
    h, ratio = alike(aspect, width_ratio)
    book = _area_change()
    value, bits = book.at(h, ratio)
    factor, slow = (_NONE, 0) if reynolds is None else mitred_reynolds_factor(reynolds)
    return from_table(
        book,
        value,
        bits | slow,
        "upstream",
        factor=factor,
        factors=slowed_mitred(factor),
    )


def rect_square_throat(
    aspect: npt.ArrayLike,
    angle: npt.ArrayLike,
    reynolds: npt.ArrayLike | None = None,
) -> Coefficient:
    """Rectangular elbow with a square throat and a radius heel.

    By geometry the smooth elbow of r/W 0.5: the throat radius is nothing and the heel
    has the radius W. Parameters are those of `rect_smooth`.
    """
    return rect_smooth(TIGHTEST, aspect, angle, reynolds)


@cache
def _square_heel() -> Grid:
    return grid(
        "rect_elbow_mixed_bounds",
        "throat_R_over_W",
        "H_over_W",
        "C_high",
        where={"construction": "radius_throat_square_heel"},
        log_y=True,
    )


def rect_square_heel(
    throat_ratio: npt.ArrayLike, aspect: npt.ArrayLike, angle: npt.ArrayLike
) -> Coefficient:
    """Rectangular elbow with a radius throat and a square heel: its upper bound.

    No table was found; it loses no less than the smooth elbow of its throat and no
    more than a mitred one.

    Parameters
    ----------
    throat_ratio
        Throat radius over W.
    aspect
        H/W.
    angle
        rad; the angle factor of smooth elbows is applied.

    Returns
    -------
    coefficient
        On the upstream velocity.
    """
    turn, _ = angle_factor("rect_smooth").at(np.degrees(angle))
    book = _square_heel()
    value, bits = book.at(throat_ratio, aspect)
    return from_table(
        book,
        value * turn,
        bits | int(Note.FALLBACK),
        "upstream",
        confidence="low",
        factors=turned("rect_smooth", turn),
    )
