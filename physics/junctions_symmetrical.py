"""Loss coefficients of junctions without a main: wyes, bullheads, dovetails.

Every coefficient is on the velocity in the common duct. Letters: q flow of the leg over
common flow, f area of the leg over common area, v its velocity over common velocity
(q / f). Negative coefficients are real: one leg gains what the other pays.
"""

from collections.abc import Callable
from functools import cache

import numpy as np
import numpy.typing as npt

from elbowroom.layout import FloatArray, IntArray

from .axes import alike
from .coefficient import Coefficient, Gathered, Note, check_word, make
from .junction_terms import (
    FLOWS,
    IDELCHIK,
    REFERENCE,
    TEE_FROM,
    JunctionLegs,
    check_ratios,
    growth_beyond,
    joining_factor,
    mixed,
    share_of_bullhead,
    thirds,
)
from .tables import Curve, Grid, curve, from_table, grid

_NAME = "junction_symmetrical_wye_and_bullhead"


@cache
def _symmetrical() -> Grid:
    return grid(
        _NAME,
        "angle_deg",
        "value",
        where={
            "fitting": "angled symmetrical wye, rect or round",
            "flow": "diverging",
        },
    )


def symmetrical(velocity_ratio: npt.ArrayLike, angle: npt.ArrayLike) -> Coefficient:
    """Leg of a symmetrical wye, or of a bullhead tee, that divides the flow.

    Parameters
    ----------
    velocity_ratio
        v of this leg.
    angle
        Its deflection, rad: wye to 60 degrees, bullhead from 80 on, straight between.

    Returns
    -------
    coefficient
        Bullhead in sheet metal: 1 + 0.3 v². Both prints end at v = 2; beyond it is
        noted that they are carried on.

    References
    ----------
    Wye: SMACNA HVAC Systems Duct Design 1990, table 14-14 (from memory). Bullhead:
    Idelchik, diagram 7-29; of class low, as another print of a T with two equal
    outlets has a third of it (see `second_prints`).
    """
    v, a = alike(velocity_ratio, angle)
    book = _symmetrical()
    wye, bits = book.at(np.minimum(np.degrees(a), 60.0), v)
    growth, beyond = growth_beyond(v, float(book.y[-1]))
    notes = np.where(beyond, int(Note.EXTENDED), bits)
    bullhead = make(
        1.0 + 0.3 * v * v,
        np.where(beyond, int(Note.EXTENDED), 0)
        | np.where(a > np.radians(100.0), int(Note.CLAMPED), 0),
        reference=REFERENCE,
        table="formula: bullhead",
        source=f"{IDELCHIK}, diagram 7-29",
        confidence="low",
    )
    share = share_of_bullhead(a)
    return mixed(from_table(book, wye * growth, notes, REFERENCE), bullhead, share)


@cache
def _dovetail(flow: str) -> Curve:
    return curve(
        _NAME,
        "area_ratio_Ab_Ac",
        where={
            "fitting": "dovetail (two radius elbows back to back), r/Wc=1.5, "
            "equal split",
            "flow": flow,
        },
    )


def dovetail(
    flow_ratio: npt.ArrayLike, area_ratio: npt.ArrayLike, flow: str = "diverging"
) -> Coefficient:
    """Leg of a dovetail: two radius elbows back to back, r/Wc 1.5.

    Parameters
    ----------
    flow_ratio, area_ratio
        q and f of this leg; shapes that broadcast.
    flow
        'diverging' or 'converging'.

    Returns
    -------
    coefficient
        The print has an equal split alone, at f = 0.5 and f = 1: straight in f, and
        noted where the split is not equal.

    Raises
    ------
    LookupRefused
        If there is no such flow, q is not 0 to 1, or f not above 0.

    References
    ----------
    SMACNA HVAC Systems Duct Design 1990, tables 14-13 and 14-14 (from memory).
    """
    check_word("flow", flow, FLOWS)
    q, f = alike(flow_ratio, area_ratio)
    check_ratios(q, f)
    book = _dovetail(flow)
    value, bits = book.at(f)
    return from_table(
        book,
        np.where(np.isnan(q), np.nan, value),
        bits | np.where(np.abs(q - 0.5) > 1e-6, int(Note.CLAMPED), 0),
        REFERENCE,
    )


def _momentum(
    q: FloatArray, f: FloatArray, other: FloatArray, angle: FloatArray
) -> FloatArray:
    """Coefficient of a leg of a joining wye by the balance of momentum.

    Notes
    -----
    1 + v² - 2 cos a (f v² + g w²), v and w the velocities of this leg and the other
    over the common one, f and g their areas over the common one; with one static
    pressure where they join. Idelchik, section VII, from memory.
    """
    v, w = q / f, (1.0 - q) / other
    along = np.cos(np.minimum(angle, np.pi / 2))
    return np.asarray(1.0 + v * v - 2.0 * along * (f * v * v + other * w * w))


@cache
def _joining() -> Grid:
    return grid(
        _NAME,
        "angle_deg",
        "value",
        where={
            "fitting": "angled symmetrical wye, rect or round",
            "flow": "converging",
        },
    )


def symmetrical_joining(
    flow_ratio: npt.ArrayLike,
    area_ratio: npt.ArrayLike,
    angle: npt.ArrayLike,
    other_area_ratio: npt.ArrayLike | None = None,
) -> Coefficient:
    """Leg of a symmetrical wye, or of a bullhead tee, that joins flows.

    Parameters
    ----------
    flow_ratio, area_ratio
        q and f of this leg; shapes that broadcast.
    angle
        Its deflection, rad. The wye's table ends at 45 degrees and is held to 60;
        the bullhead counts from 80 on, straight between.
    other_area_ratio
        Area of the other leg over common area; that of this leg if None.

    Returns
    -------
    coefficient
        The wye's table is for f = 0.5 alone, noted elsewhere. Bullhead:
        A (1 + 1/f² + 3 (q² - q)/f²), A = 1 to f = 0.35, above that 0.9 (1 - q) to
        q = 0.4 and 0.55 beyond; noted where f is below 0.1 or above 1.

    Raises
    ------
    LookupRefused
        If q is not 0 to 1, or an area not above 0.

    Notes
    -----
    The bracket is 1 + v² + w² - v w in the velocities v and w of the two legs over the
    common one. In that form it is carried on to legs of different areas, and noted:
    our own choice, as the print has equal ones alone. A leg with little air then meets
    the jet of the other as it is. The wye's table is carried on to other areas by what
    the balance of momentum adds for them, see `_momentum`, which from an equal split on
    comes within 0.15 of the table itself.

    References
    ----------
    Wye: SMACNA HVAC Systems Duct Design 1990, table 14-13 (from memory). Bullhead:
    Idelchik, diagram 7-29; of class low, as another print of a T with two equal
    inlets has a fifth of it (see `second_prints`).
    """
    q, f, a = alike(flow_ratio, area_ratio, angle)
    other = f if other_area_ratio is None else np.asarray(other_area_ratio)
    check_ratios(q, f, np.atleast_1d(other))
    book = _joining()
    degrees = np.degrees(a)
    wye, bits = book.at(degrees, q)
    half = np.full_like(f, 0.5)
    wye = wye + _momentum(q, f, other, a) - _momentum(q, half, half, a)
    unlike = (np.abs(f - 0.5) > 1e-6) | (np.abs(other - 0.5) > 1e-6)
    bits = bits | np.where(unlike, int(Note.EXTENDED), 0)
    v, w = q / f, (1.0 - q) / other
    beyond = (np.abs(other / f - 1.0) > 0.05) | (f < 0.1 - 1e-9) | (f > 1.0 + 1e-9)
    bullhead = make(
        joining_factor(q, f) * (1.0 + v * v + w * w - v * w),
        np.where(beyond, int(Note.EXTENDED), 0)
        | np.where(degrees > 100.0 + 1e-6, int(Note.CLAMPED), 0),
        reference=REFERENCE,
        table="formula: bullhead, joining",
        source=f"{IDELCHIK}, diagram 7-29",
        confidence="low",
    )
    share = share_of_bullhead(a)
    return mixed(from_table(book, wye, bits, REFERENCE), bullhead, share)


def put_without_main(
    out: Gathered,
    legs: JunctionLegs,
    plain: Callable[[IntArray], Coefficient],
    flow: str,
) -> None:
    """Enter legs of wyes and bullhead tees, which have no main.

    `plain` gives those of plain ones, by rows; with a radius they go to a
    dovetail of a `flow`.
    """
    shared, a = legs.is_symmetrical, legs.angle
    if not shared.any():
        return
    rows = shared.nonzero()[0]
    for part in map(rows.__getitem__, thirds(share_of_bullhead(a[rows]))):
        if len(part):
            out.put(part, plain(part))
    swept = (shared & legs.is_swept & (a > TEE_FROM)).nonzero()[0]
    for part in map(swept.__getitem__, thirds(share_of_bullhead(a[swept]))):
        if len(part):
            found = dovetail(legs.flow_ratio[part], legs.area_ratio[part], flow)
            out.put(part, mixed(plain(part), found, share_of_bullhead(a[part])))
