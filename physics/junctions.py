"""Loss coefficients of junctions that divide the flow.

Every coefficient is on the velocity in the common duct. Letters: q branch flow over
common flow, f branch area over common area, v branch velocity over common velocity
(q / f). Negative coefficients are real: one leg gains what the other pays.
"""

from functools import cache

import numpy as np
import numpy.typing as npt

from elbowroom.layout import BoolArray, FloatArray, Shape, TakeoffEntry

from .coefficient import Coefficient, Gathered, Note, make
from .tables import Curve, Grid, chosen, curve, grid

_REFERENCE = "common"
_SLIGHTEST = np.radians(15.0)
_TEE_FROM = np.radians(60.0)  # between this and a right angle C goes straight
_BULLHEAD_FROM = np.radians(80.0)
_AS_WIDE = 0.95  # a main within 5 % of the common area counts as unchanged
_IDELCHIK = "Idelchik, Handbook of Hydraulic Resistance, section VII"

_PLAIN = "90 deg tee, rectangular branch off rectangular main"
_TAP = "90 deg round tap off rectangular main"
_CONICAL_TAP = "conical (expanded) round tap off rectangular main"
_RECT_BRANCH = {
    TakeoffEntry.PLAIN: _PLAIN,
    TakeoffEntry.ENTRY_45: "45 deg entry, rectangular branch off rectangular main",
    TakeoffEntry.PLAIN_DAMPER: "90 deg tee rectangular with balancing damper",
    TakeoffEntry.ENTRY_45_DAMPER: "45 deg entry with balancing damper",
    TakeoffEntry.EXTRACTOR: "90 deg tee rectangular with extractor",
}
_OBSTRUCTED = (
    TakeoffEntry.PLAIN_DAMPER,
    TakeoffEntry.ENTRY_45_DAMPER,
    TakeoffEntry.EXTRACTOR,
)


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

    Notes
    -----
    A steps at f = 0.35; it is blended over f 0.30 to 0.40 so that a sweep has no
    jump. Between 60 and 90 degrees C goes straight. A branch larger than the common
    duct is outside every table: A is taken at f = 1 with the real v, and that is
    noted.

    References
    ----------
    Idelchik, 2006, section 7-16, table 7-4.
    """
    q, f, a = np.broadcast_arrays(
        *(
            np.atleast_1d(np.asarray(x, np.float64))
            for x in (flow_ratio, area_ratio, angle)
        )
    )
    v = q / f
    small = np.where(q <= 0.4, 1.1 - 0.7 * q, 0.85)
    large = np.where(q <= 0.6, 1.0 - 0.6 * q, 0.6)
    share = ((f - 0.30) / 0.10).clip(0.0, 1.0)
    factor = small + (large - small) * share

    def at(cosine: FloatArray | float) -> FloatArray:
        return np.asarray(factor * (1.0 + v * v - 2.0 * v * cosine))

    steep = ((a - _TEE_FROM) / (np.pi / 2 - _TEE_FROM)).clip(0.0, 1.0)
    value = np.where(
        a <= _TEE_FROM, at(np.cos(a)), at(0.5) + (at(0.0) - at(0.5)) * steep
    )
    notes = np.where(a > np.pi / 2 + 1e-6, int(Note.CLAMPED), 0)
    notes |= np.where((a < _SLIGHTEST) | (f > 1.0 + 1e-9), int(Note.EXTENDED), 0)
    return make(
        value,
        notes,
        reference=_REFERENCE,
        table="formula: dividing branch",
        source=f"{_IDELCHIK}, 2006, table 7-4",
        confidence="cross-checked",
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
        to q = 0.5 and 0.3 (2 q - 1) beyond), else 0.4 (1 - Vs/Vc)².

    References
    ----------
    Idelchik, diagram 7-20 and 1986, section VII.
    """
    q, f, s = np.broadcast_arrays(
        *(
            np.atleast_1d(np.asarray(x, np.float64))
            for x in (flow_ratio, area_ratio, main_area_ratio)
        )
    )
    large = np.where(q <= 0.5, 2.0, 0.3) * (2.0 * q - 1.0)
    kept = np.where(f <= 0.4 + 1e-9, 0.4, large) * q * q
    reduced = 0.4 * (1.0 - (1.0 - q) / s) ** 2
    return make(
        np.where(s >= _AS_WIDE, kept, reduced),
        np.where(s > 1.0 / _AS_WIDE, int(Note.EXTENDED), 0),
        reference=_REFERENCE,
        table="formula: dividing main",
        source=f"{_IDELCHIK}, diagram 7-20",
        confidence="cross-checked",
    )


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
    SMACNA HVAC Systems Duct Design 1990, table 14-14 (from memory).
    """
    v, a = np.broadcast_arrays(
        *(np.atleast_1d(np.asarray(x, np.float64)) for x in (velocity_ratio, angle))
    )
    wye, tee = _conical("wye 45 deg conical"), _conical("tee 90 deg conical")
    (low, bits), (high, _) = wye.at(v), tee.at(v)
    share = (np.degrees(a) / 45.0 - 1.0).clip(0.0, 1.0)
    growth, beyond = _growth(v, 2.0)
    out = (a < np.radians(45.0) - 1e-6) | (a > np.pi / 2 + 1e-6)
    notes = np.where(beyond, int(Note.EXTENDED), bits) | np.where(
        out, int(Note.CLAMPED), 0
    )
    return make(
        (low + (high - low) * share) * growth,
        notes,
        reference=_REFERENCE,
        table=wye.name,
        source=wye.source,
        confidence=wye.confidence,
    )


def _growth(v: FloatArray, end: float) -> tuple[FloatArray, BoolArray]:
    """Growth with v² beyond the end of a table, and where that is needed."""
    beyond: BoolArray = v > end + 1e-9
    return np.where(beyond, (v / end) ** 2, 1.0), beyond


@cache
def _rect_branch(fitting: str) -> Grid:
    """Table of a rectangular branch over v and q, filled beyond its triangle.

    The print ends where f would pass 0.5; the last q at the same v stands in there.
    At v = 0 a plain branch recovers nothing of the main's velocity pressure: C = 1.
    """
    read = chosen("junction_rect_diverging_branch", {"fitting": fitting})
    v = sorted({float(row["velocity_ratio_Vb_Vc"]) for row in read})
    q = sorted({float(row["flow_ratio_Qb_Qc"]) for row in read})
    values = np.empty((len(v) + 1, len(q)))
    for i, speed in enumerate(v, start=1):
        known = {
            float(row["flow_ratio_Qb_Qc"]): float(row["C"])
            for row in read
            if float(row["velocity_ratio_Vb_Vc"]) == speed
        }
        for j, flow in enumerate(q):
            values[i, j] = known.get(flow, known[max(known)])
    values[0] = 1.0 if fitting in (_PLAIN, _TAP) else values[1]
    return Grid(
        "junction_rect_diverging_branch",
        read[0]["source"],
        read[0]["confidence"],
        np.array([0.0, *v]),
        np.array(q),
        values,
    )


def rect_branch(
    fitting: str, flow_ratio: npt.ArrayLike, area_ratio: npt.ArrayLike
) -> Coefficient:
    """Branch at a right angle off a rectangular main, from its table.

    Parameters
    ----------
    fitting
        The table's words for it.
    flow_ratio, area_ratio
        q and f; shapes that broadcast.

    Returns
    -------
    coefficient
        Straight in v, then in q. The tables end at f = 0.5: beyond, the nearest q at
        the same v is taken; above v = 1.8 the value grows with v²; both are noted.

    References
    ----------
    SMACNA HVAC Systems Duct Design 1990, table 14-14 (from memory).
    """
    q, f = np.broadcast_arrays(
        *(np.atleast_1d(np.asarray(x, np.float64)) for x in (flow_ratio, area_ratio))
    )
    v = q / f
    if fitting == _CONICAL_TAP:
        book: Grid | Curve = _conical_tap()
        value, bits = _conical_tap().at(v)
        growth, beyond = _growth(v, float(_conical_tap().x[-1]))
    else:
        book = _rect_branch(fitting)
        value, bits = _rect_branch(fitting).at(v, q)
        growth, beyond = _growth(v, 1.8)
        beyond = beyond | (f > 0.5 + 1e-6)
    return make(
        value * growth,
        np.where(beyond, int(Note.EXTENDED), 0)
        | (bits & ~int(Note.CLAMPED))
        | np.where((q < 0.1) & ~beyond, bits & int(Note.CLAMPED), 0),
        reference=_REFERENCE,
        table=book.name,
        source=book.source,
        confidence=book.confidence,
    )


@cache
def _conical_tap() -> Curve:
    return curve(
        "junction_rect_diverging_branch",
        "velocity_ratio_Vb_Vc",
        where={"fitting": _CONICAL_TAP},
    )


@cache
def _rect_main(argument: str) -> Curve:
    return curve("junction_rect_diverging_main", "value", where={"argument": argument})


def rect_main(main_velocity_ratio: npt.ArrayLike) -> Coefficient:
    """Straight leg past a plain branch off a rectangular main.

    Parameters
    ----------
    main_velocity_ratio
        Velocity in the straight leg over that in the common duct; above 1 nothing is
        lost, by the table's end.

    References
    ----------
    SMACNA HVAC Systems Duct Design 1990, table 14-14 (from memory).
    """
    return _from_curve(_rect_main("Vs_Vc"), main_velocity_ratio)


def rect_main_obstructed(velocity_ratio: npt.ArrayLike) -> Coefficient:
    """Straight leg past a branch with a damper or an extractor, over v.

    References
    ----------
    SMACNA HVAC Systems Duct Design 1990, table 14-14 (from memory).
    """
    return _from_curve(_rect_main("Vb_Vc"), velocity_ratio)


def _from_curve(book: Curve, argument: npt.ArrayLike) -> Coefficient:
    value, bits = book.at(np.atleast_1d(argument))
    return make(
        value,
        bits,
        reference=_REFERENCE,
        table=book.name,
        source=book.source,
        confidence=book.confidence,
    )


@cache
def _radius_rows(leg: str) -> tuple[FloatArray, tuple[Curve, ...]]:
    """Area ratios (f and branch over main) and curves over q of radius wyes."""
    read = chosen("junction_rect_wye_radius_branch", {"flow": "diverging", "leg": leg})
    pairs = sorted({(r["area_ratio_Ab_Ac"], r["area_ratio_Ab_As"]) for r in read})
    curves = tuple(
        curve(
            "junction_rect_wye_radius_branch",
            "flow_ratio_Qb_Qc",
            where={
                "flow": "diverging",
                "leg": leg,
                "area_ratio_Ab_Ac": of_common,
                "area_ratio_Ab_As": of_main,
            },
        )
        for of_common, of_main in pairs
    )
    return np.array(pairs, dtype=np.float64), curves


def radius_wye(
    leg: str,
    flow_ratio: npt.ArrayLike,
    area_ratio: npt.ArrayLike,
    main_area_ratio: npt.ArrayLike,
) -> Coefficient:
    """Rectangular wye with a radius branch, r/Wb 1.0, 90 degrees.

    Parameters
    ----------
    leg
        'branch' or 'main'.
    flow_ratio, area_ratio, main_area_ratio
        q, f, and main area over common area.

    Returns
    -------
    coefficient
        From the nearest row of area ratios, straight in q, as the published example
        does; noted where the areas are not those of the row.

    References
    ----------
    SMACNA HVAC Systems Duct Design 1990, table 14-14 (from memory; two points seen).
    """
    q, f, s = np.broadcast_arrays(
        *(
            np.atleast_1d(np.asarray(x, np.float64))
            for x in (flow_ratio, area_ratio, main_area_ratio)
        )
    )
    pairs, curves = _radius_rows(leg)
    apart = (np.log(f)[:, None] - np.log(pairs[:, 0])) ** 2
    apart = apart + (np.log(f / s)[:, None] - np.log(pairs[:, 1])) ** 2
    nearest = np.argmin(apart, axis=1)
    value, notes = np.empty(len(q)), np.empty(len(q), dtype=np.int64)
    for row in np.unique(nearest).tolist():
        mine = nearest == row
        value[mine], notes[mine] = curves[row].at(q[mine])
    off = apart[np.arange(len(q)), nearest] > 1e-4
    return make(
        value,
        notes | np.where(off, int(Note.CLAMPED), 0),
        reference=_REFERENCE,
        table=curves[0].name,
        source=curves[0].source,
        confidence=curves[0].confidence,
    )


@cache
def _symmetrical() -> Grid:
    return grid(
        "junction_symmetrical_wye_and_bullhead",
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
        Bullhead in sheet metal: 1 + 0.3 v².

    References
    ----------
    Wye: SMACNA HVAC Systems Duct Design 1990, table 14-14 (from memory). Bullhead:
    Idelchik, diagram 7-29.
    """
    v, a = np.broadcast_arrays(
        *(np.atleast_1d(np.asarray(x, np.float64)) for x in (velocity_ratio, angle))
    )
    book = _symmetrical()
    wye, bits = book.at(np.minimum(np.degrees(a), 60.0), v)
    growth, beyond = _growth(v, float(book.y[-1]))
    bullhead = 1.0 + 0.3 * v * v
    share = ((a - _TEE_FROM) / (_BULLHEAD_FROM - _TEE_FROM)).clip(0.0, 1.0)
    notes = np.where(beyond, int(Note.EXTENDED), bits)
    only = share >= 1.0
    return make(
        wye * growth * (1.0 - share) + bullhead * share,
        np.where(only, 0, notes)
        | np.where(a > np.radians(100.0), int(Note.CLAMPED), 0),
        reference=_REFERENCE,
        table="formula: bullhead" if only.all() else book.name,
        source=f"{_IDELCHIK}, diagram 7-29" if only.all() else book.source,
        confidence="cross-checked" if only.all() else book.confidence,
    )


def dividing_legs(
    *,
    is_branch: BoolArray,
    is_symmetrical: BoolArray,
    angle: FloatArray,
    entry: npt.NDArray[np.int64],
    common_shape: npt.NDArray[np.int64],
    branch_shape: npt.NDArray[np.int64],
    flow_ratio: FloatArray,
    area_ratio: FloatArray,
    main_area_ratio: FloatArray,
) -> Gathered:
    """Coefficients of the legs of junctions, each from the table that fits it.

    Parameters
    ----------
    is_branch, is_symmetrical
        Whether a leg is a branch, and whether its junction has no main, shape (n,).
    angle
        Deflection of the branch, rad: of the leg itself, or for a straight leg of the
        branch opposite.
    entry
        `TakeoffEntry` codes of that branch.
    common_shape, branch_shape
        `Shape` codes.
    flow_ratio, area_ratio, main_area_ratio
        q and f of that branch, and straight area over common area.

    Returns
    -------
    gathered
        Coefficients on the common velocity.
    """
    out = Gathered(len(angle))
    q, f, s, a = flow_ratio, area_ratio, main_area_ratio, angle
    speed = q / f
    shared = is_symmetrical
    for bullhead in (True, False):
        mine = shared & ((a >= _BULLHEAD_FROM) == bullhead)
        if mine.any():
            out.put(mine, symmetrical(speed[mine], a[mine]))
    rect = (common_shape == Shape.RECTANGULAR) & ~shared
    bent = (common_shape != Shape.RECTANGULAR) & ~shared
    conical = np.isin(entry, (int(TakeoffEntry.CONICAL), int(TakeoffEntry.RADIUS)))

    mine = bent & is_branch & ~conical
    if mine.any():
        out.put(mine, diverging_branch(q[mine], f[mine], a[mine]))
    mine = bent & is_branch & conical
    if mine.any():
        out.put(mine, round_conical_branch(speed[mine], a[mine]))
    mine = bent & ~is_branch
    if mine.any():
        out.put(mine, diverging_main(q[mine], f[mine], s[mine]))

    radius = entry == TakeoffEntry.RADIUS
    for leg, branch in (("branch", True), ("main", False)):
        mine = rect & radius & (is_branch == branch)
        if mine.any():
            out.put(mine, radius_wye(leg, q[mine], f[mine], s[mine]))
    tapped = branch_shape == Shape.ROUND
    for code in TakeoffEntry:
        if code == TakeoffEntry.RADIUS:
            continue
        for tap in (True, False):
            mine = rect & is_branch & (entry == code) & (tapped == tap)
            if mine.any():
                found = _right_angled(code, tap, q[mine], f[mine], a[mine])
                out.put(mine, found)
    obstructed = np.isin(entry, [int(code) for code in _OBSTRUCTED])
    mine = rect & ~is_branch & ~radius & obstructed
    if mine.any():
        out.put(mine, rect_main_obstructed(speed[mine]))
    mine = rect & ~is_branch & ~radius & ~obstructed
    if mine.any():
        out.put(mine, rect_main((1.0 - q[mine]) / s[mine]))
    # Flat oval has no tables of its own, nor has a radius branch off a round main.
    stands_in = (bent & (common_shape == Shape.OVAL)) | (bent & is_branch & radius)
    out.notes[stands_in] |= int(Note.FALLBACK)
    return out


def _right_angled(
    entry: TakeoffEntry, tap: bool, q: FloatArray, f: FloatArray, a: FloatArray
) -> Coefficient:
    """Branch off a rectangular main: its table at 90°, the formula below 60°."""
    if tap:
        fitting = _CONICAL_TAP if entry == TakeoffEntry.CONICAL else _TAP
    else:
        fitting = _RECT_BRANCH.get(entry, _PLAIN)
    tabled = rect_branch(fitting, q, f)
    slanting = a < np.pi / 2 - 1e-6
    notes = tabled.notes | np.where(a > np.pi / 2 + 1e-6, int(Note.CLAMPED), 0)
    if tap and entry not in (TakeoffEntry.PLAIN, TakeoffEntry.CONICAL):
        notes = notes | int(Note.FALLBACK)
    if not slanting.any():
        return make(
            tabled.value,
            notes,
            reference=tabled.reference,
            table=tabled.table,
            source=tabled.source,
            confidence=tabled.confidence,
        )
    formula = diverging_branch(q, f, np.minimum(a, _TEE_FROM))
    share = ((a - _TEE_FROM) / (np.pi / 2 - _TEE_FROM)).clip(0.0, 1.0)
    return make(
        np.where(
            slanting,
            formula.value + (tabled.value - formula.value) * share,
            tabled.value,
        ),
        np.where(slanting, formula.notes | int(Note.INTERPOLATED), notes),
        reference=tabled.reference,
        table=tabled.table,
        source=f"{tabled.source}; below 90 degrees {formula.source}",
        confidence=tabled.confidence,
    )
