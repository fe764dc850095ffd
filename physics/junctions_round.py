"""Loss coefficients of round junctions that divide the flow.

Every coefficient is on the velocity in the common duct. Letters: q branch flow over
common flow, f branch area over common area, v branch velocity over common velocity
(q / f). Negative coefficients are real: one leg gains what the other pays.
"""

from functools import cache

import numpy as np
import numpy.typing as npt

from elbowroom.layout import FloatArray

from .axes import alike
from .coefficient import Coefficient, Note, check_word, make
from .junction_terms import (
    AS_WIDE,
    IDELCHIK,
    REFERENCE,
    SQUARE_TO,
    TEE_FROM,
    check_ratios,
    from_curve,
    growth_beyond,
    share_of_tee,
)
from .shares import share_between
from .tables import Curve, curve, from_table

_SLIGHTEST = np.radians(15.0)


def diverging_branch(
    flow_ratio: npt.ArrayLike, area_ratio: npt.ArrayLike, angle: npt.ArrayLike
) -> Coefficient:
    """Branch of a dividing tee or wye, by formula: round, or rectangular off 90°.

    Parameters
    ----------
    flow_ratio, area_ratio
        q and f; shapes that broadcast.
    angle
        Deflection of the branch, rad; above a right angle that of 90° is taken.

    Returns
    -------
    coefficient
        C = A (1 + v² - 2 v cos angle).

    Raises
    ------
    LookupRefused
        If q is not 0 to 1, or f not above 0.

    Notes
    -----
    A steps at f = 0.35, and at q = 0.4 (from 0.82 to 0.85) and 0.6 (from 0.64 to 0.6);
    it is blended over f 0.30 to 0.40 and q 0.40 to 0.45, and goes on to 0.6 as it
    falls, so that a sweep has no jump. Between 60 and 90 degrees C goes straight. A
    branch larger than the common duct is outside every table: A is taken at f = 1 with
    the real v, and that is noted.

    References
    ----------
    Idelchik, 2006, section 7-16, table 7-4. Other prints differ by a third and more
    (see `second_prints`), so its class is that of one print.
    """
    q, f, a = alike(flow_ratio, area_ratio, angle)
    check_ratios(q, f)
    v = q / f
    small = np.where(
        q <= 0.4, 1.1 - 0.7 * q, 0.82 + 0.03 * ((q - 0.4) / 0.05).clip(0, 1)
    )
    large = np.maximum(1.0 - 0.6 * q, 0.6)
    share = ((f - 0.30) / 0.10).clip(0.0, 1.0)
    factor = small + (large - small) * share

    def at(cosine: FloatArray | float) -> FloatArray:
        return np.asarray(factor * (1.0 + v * v - 2.0 * v * cosine))

    steep = share_of_tee(a)
    value = np.where(
        a <= TEE_FROM, at(np.cos(a)), at(0.5) + (at(0.0) - at(0.5)) * steep
    )
    notes = np.where(a > np.pi / 2 + SQUARE_TO, int(Note.CLAMPED), 0)
    notes |= np.where((a < _SLIGHTEST) | (f > 1.0 + 1e-9), int(Note.EXTENDED), 0)
    return make(
        value,
        notes,
        reference=REFERENCE,
        table="formula: dividing branch",
        source=f"{IDELCHIK}, 2006, table 7-4",
        confidence="seen",
    )


def diverging_main(
    flow_ratio: npt.ArrayLike,
    area_ratio: npt.ArrayLike,
    main_area_ratio: npt.ArrayLike,
) -> Coefficient:
    """Straight leg of a dividing round junction, by formula.

    Parameters
    ----------
    flow_ratio, area_ratio
        q and f of the branch; shapes that broadcast.
    main_area_ratio
        Area of the straight leg over that of the common duct.

    Returns
    -------
    coefficient
        M q² where the main keeps its area (M = 0.4 to f = 0.4; above that 2 (2 q - 1)
        to q = 0.5 and 0.3 (2 q - 1) beyond), or grows, noted; else 0.4 (1 - Vs/Vc)²,
        and nothing where Vs is larger than Vc, by the print's end, noted.

    Raises
    ------
    LookupRefused
        If q is not 0 to 1, or an area not above 0.

    Notes
    -----
    M steps at f = 0.4 and the two forms do not quite meet: M goes straight over f 0.40
    to 0.50 and the forms over main areas of 0.90 to 0.95, so that a sweep has no jump.
    Our own choice.

    References
    ----------
    Idelchik, diagram 7-20 and 1986, section VII.
    """
    q, f, s = alike(flow_ratio, area_ratio, main_area_ratio)
    check_ratios(q, f, s)
    large = np.where(q <= 0.5, 2.0, 0.3) * (2.0 * q - 1.0)
    to_large = ((f - 0.40) / 0.10).clip(0.0, 1.0)
    kept = (0.4 + (large - 0.4) * to_large) * q * q
    past = (1.0 - q) / s
    reduced = 0.4 * (1.0 - np.minimum(past, 1.0)) ** 2
    to_kept = share_between(s, 0.90, AS_WIDE)
    between = ((to_large > 0.0) & (to_large < 1.0) & (to_kept > 0.0)) | (
        (to_kept > 0.0) & (to_kept < 1.0)
    )
    return make(
        reduced + (kept - reduced) * to_kept,
        np.where(s > 1.0 / AS_WIDE, int(Note.EXTENDED), 0)
        | np.where((past > 1.0 + 1e-9) & (to_kept < 1.0), int(Note.CLAMPED), 0)
        | np.where(between, int(Note.INTERPOLATED), 0),
        reference=REFERENCE,
        table="formula: dividing main",
        source=f"{IDELCHIK}, diagram 7-20",
        confidence="cross-checked" if (to_kept >= 1.0).all() else "seen",
    )


@cache
def _handbook_main() -> Curve:
    return curve(
        "junction_round_diverging_main",
        "velocity_ratio_Vs_Vc",
        where={"form": "handbook table, any branch angle"},
    )


def round_main_handbook(main_velocity_ratio: npt.ArrayLike) -> Coefficient:
    """Straight leg past a conical or elbowed round branch, from the same handbook.

    Parameters
    ----------
    main_velocity_ratio
        Velocity in the straight leg over that in the common duct; above 1 nothing is
        lost, by the table's end.

    References
    ----------
    SMACNA HVAC Systems Duct Design 1990, table 14-14 (from memory; its worked example
    seen).
    """
    return from_curve(_handbook_main(), main_velocity_ratio)


@cache
def _conical(section: str) -> Curve:
    return curve(
        "junction_round_diverging_conical_and_elbowed_branch",
        "velocity_ratio_Vb_Vc",
        where={"fitting": section},
    )


def round_conical_branch(
    velocity_ratio: npt.ArrayLike, angle: npt.ArrayLike
) -> Coefficient:
    """Conical branch of a round junction, 45 to 90 degrees.

    Parameters
    ----------
    velocity_ratio
        v; above 2 the value grows with v², noted.
    angle
        Deflection, rad; outside 45 to 90 degrees the nearer end is taken, noted.

    References
    ----------
    SMACNA HVAC Systems Duct Design 1990, table 14-14 (from memory). As it comes from 45
    to 90 degrees its class is low: another print has there three times as much (see
    `second_prints`).
    """
    v, a = alike(velocity_ratio, angle)
    wye, tee = _conical("wye 45 deg conical"), _conical("tee 90 deg conical")
    (low, bits), (high, _) = wye.at(v), tee.at(v)
    share = (np.degrees(a) / 45.0 - 1.0).clip(0.0, 1.0)
    growth, beyond = growth_beyond(v, 2.0)
    out = (a < np.radians(45.0) - 1e-6) | (a > np.pi / 2 + SQUARE_TO)
    notes = np.where(beyond, int(Note.EXTENDED), bits) | np.where(
        out, int(Note.CLAMPED), 0
    )
    return from_table(
        wye,
        (low + (high - low) * share) * growth,
        notes,
        REFERENCE,
        confidence="low" if (share > 0.0).any() else None,
    )


# Round branches with an elbow right behind the takeoff: the print's words by ours.
ELBOWED = {
    "tee-45-elbow": "tee 90 deg rolled 45 with 45 deg elbow, branch 90 to main",
    "tee-90-elbow": "tee 90 deg with 90 deg elbow, branch 90 to main",
    "tee-60-elbow": "tee 90 deg rolled 45 with 60 deg elbow, branch 45 to main",
    "conical-tee-45-elbow": (
        "tee 90 deg conical rolled 45 with 45 deg elbow, branch 90 to main"
    ),
    "conical-tee-60-elbow": (
        "tee 90 deg conical rolled 45 with 60 deg elbow, branch 45 to main"
    ),
    "wye-60-elbow": "wye 45 deg rolled 45 with 60 deg elbow, branch 90 to main",
    "conical-wye-60-elbow": (
        "wye 45 deg conical rolled 45 with 60 deg elbow, branch 90 to main"
    ),
    "wye-30-elbow": "wye 45 deg rolled 45 with 30 deg elbow, branch 45 to main",
    "conical-wye-30-elbow": (
        "wye 45 deg conical rolled 45 with 30 deg elbow, branch 45 to main"
    ),
}


def round_elbowed_branch(fitting: str, velocity_ratio: npt.ArrayLike) -> Coefficient:
    """Round branch with an elbow right behind it, both in one coefficient.

    Parameters
    ----------
    fitting
        One of `ELBOWED`.
    velocity_ratio
        v; above 2 the value grows with v², noted.

    Raises
    ------
    LookupRefused
        If there is no such fitting.

    References
    ----------
    SMACNA HVAC Systems Duct Design 1990, table 14-14 (from memory).
    """
    check_word("elbowed branch", fitting, ELBOWED)
    book = _conical(ELBOWED[fitting])
    (v,) = alike(velocity_ratio)
    value, bits = book.at(v)
    growth, beyond = growth_beyond(v, float(book.x[-1]))
    return from_table(
        book, value * growth, np.where(beyond, int(Note.EXTENDED), bits), REFERENCE
    )
