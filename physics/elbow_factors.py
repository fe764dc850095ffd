"""Factors on the loss of elbows: for the angle of turn and the Reynolds number."""

from dataclasses import replace
from functools import cache

import numpy as np
import numpy.typing as npt

from elbowroom.layout import FloatArray, IntArray

from .coefficient import Factors, Note
from .shares import share_between
from .tables import Curve, curve, where_used

RIGHT_ANGLE = 91.0  # degrees: with the rounding of a drawing, counted as 90
_LOWEST_REYNOLDS = 1e4
_TIGHT, _WIDE = "0.5", "0.7"  # where two of the three classes of r/W begin
_NO_CHANGE = 1e-6  # of a factor: what rounding leaves of a right angle


@cache
def angle_factor(kind: str) -> Curve:
    """Factor for the angle of turn, degrees: 'rect_smooth', 'round_smooth', ..."""
    return curve(
        "elbow_angle_factor", "angle_deg", "K_angle", where={"elbow_kind": kind}
    )


def turned(kind: str, factor: FloatArray) -> Factors:
    """What is credited to the angle factor: nothing at right angles, where it is 1."""
    return where_used(angle_factor(kind), np.abs(factor - 1.0) > _NO_CHANGE)


@cache
def _reynolds_class(low: str) -> Curve:
    return curve(
        "elbow_reynolds_factor", "Re", "K_Re", where={"r_over_W_min": low}, log_x=True
    )


@cache
def _reynolds_classes() -> Curve:
    """Factors of the three classes of r/W, which are printed over the same numbers."""
    classes = [_reynolds_class(low) for low in (_TIGHT, "0.55", _WIDE)]
    return replace(classes[0], y=np.stack([one.y for one in classes]))


def reynolds_factor(
    radius_ratio: npt.ArrayLike, reynolds: npt.ArrayLike
) -> tuple[FloatArray, IntArray]:
    """Reynolds factor of smooth rectangular elbows.

    Parameters
    ----------
    radius_ratio, reynolds
        r/W and the Reynolds number on the hydraulic diameter; shapes that broadcast.

    Returns
    -------
    factor, notes
        In the broadcast shape; 1 from Reynolds 4e5 on, the value at 1e4 below that,
        noted.

    Notes
    -----
    The three classes of r/W are printed with steps at 0.55 and 0.70. They are joined
    here by straight lines over r/W 0.50, 0.625 and 0.75, so that a sweep of radii has
    no jump: our own choice. Whether the factor applies at all is disputed between
    editions of the handbook; it is listed as an assumption.

    References
    ----------
    Idelchik, Handbook of Hydraulic Resistance, 1986, diagram 6-1.
    """
    ratio = np.asarray(radius_ratio, dtype=np.float64)
    re = np.asarray(reynolds, dtype=np.float64)
    (tight, middle, wide), bits = _reynolds_classes().at(re)
    low = share_between(ratio, 0.5, 0.625)
    high = share_between(ratio, 0.625, 0.75)
    factor = tight + (middle - tight) * low + (wide - middle) * high
    notes = _slow(re, bits)
    if notes.shape != factor.shape:
        notes = np.broadcast_to(notes, factor.shape).copy()
    return factor, notes


def slowed(radius_ratio: FloatArray, factor: FloatArray) -> Factors:
    """What is credited to the Reynolds factor of smooth rectangular elbows.

    Its class of r/W 0.5 is better known than what lies beyond.
    """
    raised = factor > 1.0
    if not raised.any():
        return ()
    tight = raised & (radius_ratio <= float(_TIGHT) + _NO_CHANGE)
    return where_used(_reynolds_class(_TIGHT), tight) + where_used(
        _reynolds_class(_WIDE), raised & ~tight
    )


@cache
def _mitred_reynolds() -> Curve:
    return curve("rect_elbow_mitred_reynolds", "Re", "K_Re", log_x=True)


def mitred_reynolds_factor(reynolds: npt.ArrayLike) -> tuple[FloatArray, IntArray]:
    """Reynolds factor of mitred elbows, rectangular and round.

    Parameters
    ----------
    reynolds
        On the hydraulic diameter.

    Returns
    -------
    factor, notes
        1 from Reynolds 1.4e5 on, the value at 1e4 below that, noted.

    References
    ----------
    SMACNA HVAC Systems Duct Design, 4th ed., table A-7; Idelchik 1986.
    """
    re = np.asarray(reynolds, dtype=np.float64)
    factor, bits = _mitred_reynolds().at(re)
    return factor, _slow(re, bits)


def slowed_mitred(factor: FloatArray) -> Factors:
    """What is credited to the Reynolds factor of mitred elbows."""
    return where_used(_mitred_reynolds(), factor > 1.0)


def _slow(re: FloatArray, bits: IntArray) -> IntArray:
    # Above the table the factor has come down to 1, which is no clamping.
    slow = (re < _LOWEST_REYNOLDS) * np.int64(Note.LOW_REYNOLDS)
    return np.asarray(slow | (bits & int(Note.INTERPOLATED)))
