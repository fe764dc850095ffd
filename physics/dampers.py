"""Loss coefficients of dampers, on the velocity in the duct, and blade angles.

What the maker declares beats every table here. Fire and smoke dampers are only
charged with their loss: where they stand, their size, and whether one may be left out
are for the local code and a licensed person to say.
"""

from functools import cache

import numpy as np
import numpy.typing as npt

from elbowroom.layout import BoolArray, FloatArray, IntArray

from .coefficient import Coefficient, Credit, LookupRefused, Note, make
from .shares import share_between
from .tables import Curve, Grid, chosen, curve, from_table, grid

FIRE_CAUTION = (
    "where fire and smoke dampers stand, their size, and whether one may be left out "
    "is for the local code and a licensed person"
)
_BUTTERFLY = "damper_butterfly"
_MULTIBLADE = "damper_multiblade"
_GATE = "damper_gate"
_FIRE = "damper_fire_and_smoke"
# Above these a blade is too near to shut for balancing: a print repeats nobody's duct.
BUTTERFLY_END = np.radians(60.0)
_MULTIBLADE_END = np.radians(70.0)
_SHUT = np.radians(80.0)


@cache
def _butterfly(is_round: bool) -> Curve:
    section = "round, full bore" if is_round else "rectangular"
    return curve(
        _BUTTERFLY,
        "blade_angle_deg",
        where={"fitting": f"butterfly, thin plate, {section}"},
        log_y=True,
    )


def butterfly(blade_angle: npt.ArrayLike, is_round: bool = True) -> Coefficient:
    """Single-blade damper: a thin plate that turns in the duct.

    Parameters
    ----------
    blade_angle
        Angle of the blade from open, rad, shape (n,).
    is_round
        Whether the duct is round, else rectangular.

    Returns
    -------
    coefficient
        Straight in ln C over the angle. Above 60 degrees, where the table ends, the
        last slope is carried on, noted as suspect: nobody balances there.

    Raises
    ------
    LookupRefused
        If an angle is below 0 or above 70 degrees.

    References
    ----------
    SMACNA HVAC Systems Duct Design 1990, damper tables (from memory).
    """
    angle = _angles(blade_angle, np.radians(70.0))
    book = _butterfly(is_round)
    degrees = np.degrees(angle)
    value, bits = book.at(degrees)
    slope = np.log(book.y[-1] / book.y[-2]) / (book.x[-1] - book.x[-2])
    beyond = angle > BUTTERFLY_END + 1e-9
    value = value * np.exp(slope * np.maximum(degrees - book.x[-1], 0.0))
    steep = int(Note.EXTENDED) | int(Note.SUSPECT)
    bits = np.where(beyond, steep, bits)
    return from_table(book, value, bits, "duct")


@cache
def _multiblade(opposed: bool) -> Grid:
    return grid(
        _MULTIBLADE,
        "blade_angle_deg",
        "L_over_R",
        where={"blades": "opposed" if opposed else "parallel"},
        log_values=True,
    )


def multiblade(
    blade_angle: npt.ArrayLike, ratio: npt.ArrayLike, opposed: bool
) -> Coefficient:
    """Damper of several blades that turn alike or against each other.

    Parameters
    ----------
    blade_angle
        Angle of the blades from open, rad.
    ratio
        L/R: length of all blades over the duct's perimeter; 0.3 to 1.5, else the nearer
        end, noted.
    opposed
        Whether neighbouring blades turn against each other.

    Returns
    -------
    coefficient
        Straight in ln C over the angle; above 70 degrees noted as suspect.

    Raises
    ------
    LookupRefused
        If an angle is below 0 or above 80 degrees.

    References
    ----------
    SMACNA HVAC Systems Duct Design 1990, damper tables (from memory).
    """
    angle = _angles(blade_angle, _SHUT)
    book = _multiblade(opposed)
    angle, lengths = np.broadcast_arrays(angle, np.asarray(ratio, np.float64))
    degrees = np.degrees(angle)
    value, bits = book.at(degrees, lengths)
    steep = np.where(angle > _MULTIBLADE_END + 1e-9, int(Note.SUSPECT), 0)
    return from_table(book, value, bits | steep, "duct")


@cache
def _round_gate() -> Curve:
    return curve(
        _GATE,
        "open_height_ratio_h_over_H_or_D",
        where={"fitting": "gate, round"},
        log_y=True,
    )


@cache
def _rect_gate() -> Grid:
    return grid(
        _GATE,
        "open_height_ratio_h_over_H_or_D",
        "aspect_H_W",
        where={"fitting": "gate, rectangular"},
        log_values=True,
    )


def gate(opening: npt.ArrayLike, aspect: npt.ArrayLike | None = None) -> Coefficient:
    """Gate that slides into the duct.

    Parameters
    ----------
    opening
        Open height over the height of the duct, or over its diameter; 1 is open.
    aspect
        H/W of a rectangular duct, 0.5 to 2, else the nearer end, noted; None: round.

    Returns
    -------
    coefficient
        Straight in ln C over the opening; from the last row, 0.9, straight to nothing
        at 1.

    Raises
    ------
    LookupRefused
        If the opening is below the table (0.2 round, 0.3 rectangular) or above 1.

    References
    ----------
    SMACNA HVAC Systems Duct Design 1990, damper tables (from memory).
    """
    book: Curve | Grid = _round_gate() if aspect is None else _rect_gate()
    opened = np.atleast_1d(np.asarray(opening, np.float64))
    low, high = float(book.x[0]), float(book.x[-1])
    if not ((opened >= low - 1e-9) & (opened <= 1.0 + 1e-9)).all():
        raise LookupRefused(
            f"a gate is published for openings of {low:g} to 1, not for "
            f"{_outside(opened, low, 1.0):g}; open it further or take a smaller duct"
        )
    if isinstance(book, Curve):
        value, bits = book.at(opened)
    else:
        opened, sides = np.broadcast_arrays(opened, np.asarray(aspect, np.float64))
        value, bits = book.at(opened, sides)
    last = opened > high
    rest = share_between(opened, 1.0, high)
    bits = np.where(last, int(Note.INTERPOLATED), bits)
    value = np.where(last, value * rest, value)
    return from_table(book, value, bits, "duct")


def fire_curtain(in_airstream: npt.ArrayLike) -> Coefficient:
    """Open curtain-type fire damper.

    Parameters
    ----------
    in_airstream
        Whether the folded curtain hangs in the airstream, shape (n,).

    Notes
    -----
    Its loss alone: `FIRE_CAUTION`.

    References
    ----------
    ASHRAE Fundamentals appendix (from memory).
    """
    inside: BoolArray = np.atleast_1d(np.asarray(in_airstream, dtype=bool))
    (out,), (within,) = (
        chosen(_FIRE, {"case": f"open curtain-type fire damper, blades {place}"})
        for place in ("out of the airstream", "in the airstream")
    )
    value = np.where(inside, float(within["C_or_rule"]), float(out["C_or_rule"]))
    return make(
        value,
        0,
        reference="duct",
        table=_FIRE,
        source=out["source"],
        confidence=out["confidence"],
    )


def fire_and_smoke() -> Coefficient:
    """Open multiblade fire and smoke damper whose maker declares nothing.

    Notes
    -----
    An open multiblade control damper stands in, noted. Its loss alone:
    `FIRE_CAUTION`.

    References
    ----------
    Common practice, no published source.
    """
    stand_in = multiblade(np.zeros(1), 1.0, opposed=False)
    return make(
        stand_in.value,
        int(Note.FALLBACK),
        reference="duct",
        table=_FIRE,
        source="common practice, no published source for the fallback",
        confidence="low",
    )


def butterfly_angle(
    coefficient: npt.ArrayLike, is_round: bool = True
) -> tuple[FloatArray, IntArray]:
    """Blade angle at which a single-blade damper has a wanted coefficient.

    Parameters
    ----------
    coefficient
        C on the velocity in the duct, shape (n,).
    is_round
        Whether the duct is round.

    Returns
    -------
    angle, notes
        rad from open. A damper that loses more than is wanted when open stays open,
        and one that cannot lose as much stands at 60 degrees: both noted as clamped.
    """
    book = _butterfly(is_round)
    wanted = np.atleast_1d(np.asarray(coefficient, np.float64))
    return _blade(book.x, np.broadcast_to(book.y, (len(wanted), len(book.y))), wanted)


def butterfly_credit(is_round: bool = True) -> Credit:
    """What the angle of a single-blade damper is credited to."""
    book = _butterfly(is_round)
    return Credit("duct", book.name, book.source, book.confidence)


def _blade(
    degrees: FloatArray, values: FloatArray, wanted: FloatArray
) -> tuple[FloatArray, IntArray]:
    """Angle in rad at which each row of rising values meets what is wanted."""
    inside = wanted.clip(values[:, 0], values[:, -1])
    low = (values <= inside[:, None]).sum(axis=1) - 1
    low = np.minimum(low, len(degrees) - 2)
    here = np.arange(len(wanted))
    below, above = values[here, low], values[here, low + 1]
    share = np.log(inside / below) / np.log(above / below)
    angle = degrees[low] + (degrees[low + 1] - degrees[low]) * share
    short = np.abs(wanted - inside) > 1e-12 * np.abs(wanted)
    return np.radians(angle), np.where(short, int(Note.CLAMPED), 0).astype(np.int64)


def _angles(blade_angle: npt.ArrayLike, end: float) -> FloatArray:
    angle = np.atleast_1d(np.asarray(blade_angle, np.float64))
    if not ((angle >= -1e-9) & (angle <= end + 1e-9)).all():
        worst_angle = np.degrees(_outside(angle, 0.0, end))
        raise LookupRefused(
            f"the blade angle is {worst_angle:g} degrees, and tables go from 0, open, "
            f"to {np.degrees(end):g}; open the damper or take a smaller duct"
        )
    return angle


def _outside(values: FloatArray, low: float, high: float) -> float:
    """The first of the values that is not within the range."""
    out = ~((values >= low - 1e-9) & (values <= high + 1e-9))
    return float(values[out][0])
