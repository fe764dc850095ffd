"""Loss coefficients of rectangular junctions that divide the flow.

Every coefficient is on the velocity in the common duct. Letters: q branch flow over
common flow, f branch area over common area, v branch velocity over common velocity
(q / f). Negative coefficients are real: one leg gains what the other pays.
"""

from functools import cache

import numpy as np
import numpy.typing as npt

from elbowroom.layout import BoolArray, FloatArray, IntArray, TakeoffEntry

from .axes import ROUNDING, alike
from .coefficient import Coefficient, Factors, LookupRefused, Note, check_word
from .contractions import contraction_abrupt
from .junction_terms import (
    CHOKING,
    FLOWS,
    LEGS,
    REFERENCE,
    SQUARE_TO,
    TEE_FROM,
    from_curve,
    growth_beyond,
    mixed,
    share_of_tee,
    thirds,
)
from .junctions_round import diverging_branch
from .split_mains import joining_momentum
from .tables import Curve, Grid, chosen, curve, from_table

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
_RATIO = 0.02  # of itself, what an area ratio printed as 0.33 may be off
_FITTINGS = (*_RECT_BRANCH.values(), _TAP, _CONICAL_TAP)
# Whether the branch's entry stands in the main's way, to be looked up by its code.
OBSTRUCTED = np.isin(
    list(TakeoffEntry),
    [
        TakeoffEntry.PLAIN_DAMPER,
        TakeoffEntry.ENTRY_45_DAMPER,
        TakeoffEntry.EXTRACTOR,
    ],
)


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

    Raises
    ------
    LookupRefused
        If there is no such fitting.

    References
    ----------
    SMACNA HVAC Systems Duct Design 1990, table 14-14 (from memory).
    """
    check_word("fitting", fitting, _FITTINGS)
    q, f = alike(flow_ratio, area_ratio)
    v = q / f
    if fitting == _CONICAL_TAP:
        book: Grid | Curve = _conical_tap()
        value, bits = _conical_tap().at(v)
        growth, beyond = growth_beyond(v, float(_conical_tap().x[-1]))
    else:
        book = _rect_branch(fitting)
        value, bits = _rect_branch(fitting).at(v, q)
        growth, beyond = growth_beyond(v, 1.8)
        beyond = beyond | (f > 0.5 + 1e-6)
    # Off its table is noted as extended; as clamped, only where q is below the first.
    clamped = (q < 0.1) & ~beyond
    bits = np.where(clamped, bits, bits & ~int(Note.CLAMPED))
    bits[beyond] |= int(Note.EXTENDED)
    return from_table(book, value * growth, bits, REFERENCE)


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
    return from_curve(_rect_main("Vs_Vc"), main_velocity_ratio)


def rect_main_obstructed(velocity_ratio: npt.ArrayLike) -> Coefficient:
    """Straight leg past a branch with a damper or an extractor, over v.

    References
    ----------
    SMACNA HVAC Systems Duct Design 1990, table 14-14 (from memory).
    """
    return from_curve(_rect_main("Vb_Vc"), velocity_ratio)


@cache
def _radius_rows(
    flow: str, leg: str
) -> tuple[FloatArray, FloatArray, tuple[Curve, ...]]:
    """Radius wyes in print: f and s of each, shape (m,), and its curve over q."""
    name = "junction_rect_wye_radius_branch"
    read = chosen(name, {"flow": flow, "leg": leg})
    pairs = sorted({(row["area_ratio_Ab_Ac"], row["area_ratio_Ab_As"]) for row in read})
    curves = tuple(
        curve(
            name,
            "flow_ratio_Qb_Qc",
            where={
                "flow": flow,
                "leg": leg,
                "area_ratio_Ab_Ac": of_common,
                "area_ratio_Ab_As": of_main,
            },
        )
        for of_common, of_main in pairs
    )
    branch, over_main = np.array(pairs, dtype=np.float64).T
    return branch, branch / over_main, curves


def _radius_weights(
    printed: tuple[FloatArray, FloatArray], f: FloatArray, s: FloatArray
) -> tuple[FloatArray, BoolArray]:
    """How much each of m printed rows counts, shape (m, n), and where areas lie off.

    At each printed f between those of its s, then between the f: both straight in
    1 / area², in which velocity pressures are. What lies off has the shape (2, 2, n):
    f and s, below and above.
    """
    branch, main = printed
    weight, off = np.zeros((len(branch), len(f))), np.zeros((2, 2, len(f)), dtype=bool)
    across, along = -1.0 / f**2, -1.0 / s**2  # minus, so that they rise
    every = np.unique(branch)
    off[0] = _off(f, every)
    for area in every:
        share = np.interp(across, -1.0 / every**2, every == area)
        rows = (branch == area).nonzero()[0]
        rows = rows[main[rows].argsort()]
        for row in rows:
            part = np.interp(along, -1.0 / main[rows] ** 2, rows == row)
            weight[row] = share * part
        off[1] |= (share > ROUNDING) & _off(s, main[rows])
    return weight, off


def _off(area: FloatArray, printed: FloatArray) -> BoolArray:
    """Whether ratios lie below and above the printed ones by more than rounding.

    Shape (2, n).
    """
    low, high = printed.min() * (1.0 - _RATIO), printed.max() * (1.0 + _RATIO)
    return np.stack([area < low, area > high])


def _small_branch(
    book: Curve, flow: str, q: FloatArray, f: FloatArray, ends: tuple[float, float]
) -> tuple[FloatArray, IntArray]:
    """Branch smaller than that of the least printed f; `ends` are the row's f and s."""
    least, main = ends
    small = np.minimum(f, least)
    if flow == "diverging":
        return _dividing_branch(book, q * (least / small))  # there it has the same v
    value, bits = book.at(q)
    grown = value + q * q * (1.0 / small**2 - 1.0 / least**2)
    plain = joining_momentum("branch", q, small, main, 0.0)
    # No dearer than a plain opening where the row, which begins at q = 0.1, is so.
    return np.minimum(grown, np.maximum(value, plain)), bits


def _dividing_branch(book: Curve, q: FloatArray) -> tuple[FloatArray, IntArray]:
    """Branch of a printed f that divides, grown with v² beyond the last q."""
    value, bits = book.at(q)
    growth, beyond = growth_beyond(q, float(book.x[-1]))
    bits = np.where(beyond, bits & ~int(Note.CLAMPED) | int(Note.EXTENDED), bits)
    return value * growth, bits


def _other_main(
    flow: str, q: FloatArray, s: FloatArray, ends: tuple[float, float]
) -> FloatArray:
    """What a main whose s lies beyond the printed ones adds to C."""
    held = s.clip(*ends)
    if flow == "converging":
        there, here = (joining_momentum("main", q, 1.0, x, 0.0) for x in (held, s))
        return here - there
    tight = np.minimum(s, ends[0])
    first, last = (contraction_abrupt(x).value / x**2 for x in (tight, ends[0]))
    wide = 1.0 - 1.0 / np.maximum(s, 1.0)
    return np.asarray((1.0 - q) ** 2 * (first - last + wide**2))


def radius_wye(
    leg: str,
    flow_ratio: npt.ArrayLike,
    area_ratio: npt.ArrayLike,
    main_area_ratio: npt.ArrayLike,
    flow: str = "diverging",
) -> Coefficient:
    """Rectangular wye with a radius branch, r/Wb 1.0, 90 degrees.

    Parameters
    ----------
    leg
        'branch' or 'main'.
    flow_ratio, area_ratio, main_area_ratio
        q, f, and main area over common area.
    flow
        'diverging' or 'converging'.

    Returns
    -------
    coefficient
        Straight in q, as the published example does; between the printed rows straight
        in 1 / f² and in 1 / (main area ratio)². A branch below the least f, one that
        divides beyond the last q, and a main beyond the ratios of its own are carried
        on, noted as extended; all else is held at the nearest end, noted as clamped.

    Notes
    -----
    How to go between rows is our own choice: the print has eight pairs of areas (of
    mains that join, seven), and with the nearest of them C would jump by up to a half
    at a millimetre of a size. Velocity pressures go with 1 / area², and the print does
    too: its branches of f = 0.5 lie far nearer to what those of 0.25 and 1 make of them
    straight in 1 / f² than straight in f (on average 0.04 against 0.8; joining 0.2
    against 1.8).

    How they are carried on is our own choice too; each joins the row without a jump.
    A dividing branch has the C of the least f at the same v, as the other tables of
    such branches go, and beyond the last q of a row it grows with v², as theirs
    does. One that joins loses on top
    of the row the velocity pressure that it has more, as in a duct so much wider hardly
    anything of a jet is won back, but below the row's q of 0.1 no more than momentum
    gives a plain one. A main that divides loses on top what a sudden contraction to it
    loses more than one to the last printed area, or, wider than the common duct, what
    Borda and Carnot say; one that joins, what momentum alone says. Mains tell how well
    that holds: a dividing one of 0.5, made so of that of 0.75, is off by 0.1. What one
    leg gains from the other's jet, and what has bounds, as where a branch is larger
    than the duct, is held. Joining legs above C = 20 are noted as suspect.

    Raises
    ------
    LookupRefused
        If there is no such leg or flow, or an area is not above 0.

    References
    ----------
    SMACNA HVAC Systems Duct Design 1990, table 14-14 (from memory; two points seen).
    """
    q, f, s = alike(flow_ratio, area_ratio, main_area_ratio)
    check_word("leg", leg, LEGS)
    check_word("flow", flow, FLOWS)
    if not ((f > 0.0) & (s > 0.0)).all():  # NaN too: no row is near it
        raise LookupRefused("the areas of a wye over the common one are more than 0")
    branch, main, curves = _radius_rows(flow, leg)
    weight, off = _radius_weights((branch, main), f, s)
    least = float(branch.min())
    value, notes = np.zeros(len(q)), np.zeros(len(q), dtype=np.int64)
    for row in (weight.max(axis=1) > 0.0).nonzero()[0].tolist():
        mine = weight[row].nonzero()[0]
        share = weight[row, mine]
        book, of = curves[row], float(branch[row])
        if leg == "branch" and of == least:
            ends = least, float(main[row])
            found, bits = _small_branch(book, flow, q[mine], f[mine], ends)
        elif leg == "branch" and flow == "diverging":
            found, bits = _dividing_branch(book, q[mine])
        else:
            found, bits = book.at(q[mine])
        if leg == "main":
            same = main[branch == of]
            ends = float(same.min()), float(same.max())
            found = found + _other_main(flow, q[mine], s[mine], ends)
        value[mine] += share * found
        notes[mine] |= np.where(share > ROUNDING, bits, 0)
    if leg == "branch":
        carried, held = off[0, 0], off[0, 1] | off[1, 0] | off[1, 1]
    else:
        carried, held = off[1, 0] | off[1, 1], off[0, 0] | off[0, 1]
    notes |= carried * np.int64(Note.EXTENDED) | held * np.int64(Note.CLAMPED)
    if flow == "converging":  # as of the formulas
        notes |= (value > CHOKING) * np.int64(Note.SUSPECT)
    between = weight.max(axis=0) < 1.0 - ROUNDING
    notes |= between * np.int64(Note.INTERPOLATED)
    factors: Factors = ()
    if leg == "main" and flow == "diverging" and off[1, 0].any():
        factors = ((off[1, 0], contraction_abrupt(1.0).table_credit),)
    return from_table(curves[0], value, notes, REFERENCE, factors=factors)


def rect_branch_by_entry(
    entry: TakeoffEntry, tap: bool, q: FloatArray, f: FloatArray, a: FloatArray
) -> Coefficient:
    """Branch off a rectangular main: its table at 90°, the formula to 60°.

    Parameters
    ----------
    entry
        How the branch leaves; where it has no table, a plain one is taken (see
        `takeoff_entries`).
    tap
        Whether the branch is round.
    q, f, a
        Letters, and the deflection in rad, shape (n,). All at 90 degrees and more, all
        between, or all to 60 degrees, or else the credit names what only some need.

    Returns
    -------
    coefficient
        Straight in the angle between the formula at 60 degrees and the table.
    """
    share = share_of_tee(a)
    none, _, whole = thirds(share)
    if none.all():
        return diverging_branch(q, f, a)
    if tap:
        fitting = _CONICAL_TAP if entry == TakeoffEntry.CONICAL else _TAP
    else:
        fitting = _RECT_BRANCH.get(entry, _PLAIN)
    tabled = rect_branch(fitting, q, f)
    tabled.notes[a > np.pi / 2 + SQUARE_TO] |= int(Note.CLAMPED)
    if whole.all():
        return tabled
    return mixed(diverging_branch(q, f, np.minimum(a, TEE_FROM)), tabled, share)
