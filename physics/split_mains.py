"""Loss coefficients where a wall parts a round main in two: As + Ab = Ac.

Every coefficient is on the velocity in the common duct. Letters: q branch flow over
common flow, f branch area over common area, v branch velocity over common velocity
(q / f), s = 1 - f.
"""

from functools import cache

import numpy as np
import numpy.typing as npt

from elbowroom.layout import FloatArray, IntArray

from .axes import alike
from .coefficient import Coefficient, Note, check_word
from .junction_terms import (
    CHOKING,
    LEGS,
    REFERENCE,
    check_ratios,
    check_velocity,
    share_of_tee,
)
from .tables import Curve, Grid, chosen, curve, from_table

_SPLIT = "junction_split_main_wye"
SPLIT_AREAS = (0.1, 0.5)  # least and largest f of the print


@cache
def _split_terms(leg: str) -> Grid:
    """The term K by which the table exceeds the formula, over angles, degrees, and f.

    K depends on angle and f alone, so it is read back as the mean over q. The main at
    a right angle has a table of its own and no formula.
    """
    read = chosen(_SPLIT, {"flow": "converging", "leg": leg})
    if leg == "main":
        read = [row for row in read if row["angle_deg"] != "90"]
    angles = sorted({float(row["angle_deg"]) for row in read})
    areas = sorted({float(row["area_ratio_Ab_Ac"]) for row in read})
    total = np.zeros((len(angles), len(areas)))
    count = np.zeros_like(total)
    for row in read:
        f, q = float(row["area_ratio_Ab_Ac"]), float(row["value"])
        i, j = angles.index(float(row["angle_deg"])), areas.index(f)
        cosine = np.cos(np.radians(angles[i]))
        total[i, j] += float(row["C"]) - float(
            joining_momentum(leg, q, f, 1.0 - f, cosine)
        )
        count[i, j] += 1.0
    source, confidence = read[0]["source"], read[0]["confidence"]
    known = np.array(angles), np.array(areas), total / count
    return Grid(_SPLIT, source, confidence, *known)


def joining_momentum(
    leg: str,
    q: FloatArray | float,
    f: FloatArray | float,
    s: FloatArray | float,
    cosine: FloatArray | float,
) -> FloatArray:
    """Coefficient of a leg where flows join, by momentum alone.

    Parameters
    ----------
    leg
        'branch' or 'main'.
    q, f, s, cosine
        Flow ratio, area ratios of branch and main, and the cosine of the branch's
        deflection; shapes that broadcast.

    Notes
    -----
    Both legs have one pressure where they meet, and walls bear no force along the
    common duct: what the printed formulas correct by their terms K and factors A.

    References
    ----------
    Idelchik, 1986, diagrams 7-1 to 7-9.
    """
    own = (q / f) ** 2 if leg == "branch" else ((1.0 - q) / s) ** 2
    return np.asarray(1.0 + own - 2.0 * (1.0 - q) ** 2 / s - 2.0 * q * q / f * cosine)


@cache
def _split_tee_main() -> tuple[FloatArray, tuple[Curve, ...]]:
    """Main of the right-angled split: a curve over q at each f, as far as printed."""
    where = {"flow": "converging", "leg": "main", "angle_deg": "90"}
    texts = {row["area_ratio_Ab_Ac"] for row in chosen(_SPLIT, where)}
    ordered = sorted(texts, key=float)
    curves = tuple(
        curve(_SPLIT, "value", where={**where, "area_ratio_Ab_Ac": text})
        for text in ordered
    )
    return np.array([float(text) for text in ordered]), curves


def split_main(
    leg: str,
    flow_ratio: npt.ArrayLike,
    area_ratio: npt.ArrayLike,
    angle: npt.ArrayLike,
) -> Coefficient:
    """Joining flows from the two sides of a wall in the main: As + Ab = Ac.

    Parameters
    ----------
    leg
        'branch' or 'main'.
    flow_ratio, area_ratio, angle
        Those of the branch: q, f, and its deflection, rad. The table has f 0.1 to 0.5
        (0.06 for the main at a right angle) and 15 to 90 degrees; outside the nearer
        end is taken, noted.

    Returns
    -------
    coefficient
        C = 1 + v² - 2 (1 - q)²/s - 2 q²/f cos angle + K with v the leg's own velocity
        ratio and K from the table; the main at a right angle from its own table.

    Raises
    ------
    LookupRefused
        If there is no such leg, or q is not 0 to 1.

    References
    ----------
    Idelchik, 1986, diagrams 7-5 to 7-9.
    """
    check_word("leg", leg, LEGS)
    q, f, a = alike(flow_ratio, area_ratio, angle)
    check_ratios(q, f)
    terms = _split_terms(leg)
    angles, areas = terms.x, terms.y
    degrees = np.degrees(a)
    last = 90.0 if leg == "main" else angles[-1]
    turn = degrees.clip(angles[0], last)
    inside = f.clip(areas[0], areas[-1])
    slant = np.minimum(turn, angles[-1])
    term, _ = terms.at(slant, inside)
    cosine = np.cos(np.radians(slant))
    value = joining_momentum(leg, q, inside, 1.0 - inside, cosine) + term
    notes = np.zeros(len(value), dtype=np.int64)
    if leg == "main":
        tee, beyond = _tee_main(q, f)
        share = share_of_tee(np.radians(turn))
        value = value + (tee - value) * share
        notes |= np.where(share > 0.0, beyond, 0)
        outside = (np.abs(f - inside) > 1e-9) & (share < 1.0)
    else:
        outside = np.abs(f - inside) > 1e-9
    off = ~np.isclose(turn[:, None], np.append(angles, last), atol=1e-6).any(axis=1)
    off |= ~np.isclose(inside[:, None], areas, atol=1e-6).any(axis=1)
    notes |= np.where(outside | (np.abs(degrees - turn) > 1e-6), int(Note.CLAMPED), 0)
    notes |= np.where(off, int(Note.INTERPOLATED), 0)
    notes |= np.where(value > CHOKING, int(Note.SUSPECT), 0)
    return from_table(terms, value, notes, REFERENCE)


def _tee_main(q: FloatArray, f: FloatArray) -> tuple[FloatArray, IntArray]:
    areas, curves = _split_tee_main()
    inside = f.clip(areas[0], areas[-1])
    values = np.empty((len(areas), len(q)))
    bits = np.empty((len(areas), len(q)), dtype=np.int64)
    for row, book in enumerate(curves):
        values[row], bits[row] = book.at(q)
    low = np.minimum(np.searchsorted(areas, inside, side="right") - 1, len(areas) - 2)
    share = (inside - areas[low]) / (areas[low + 1] - areas[low])
    here = np.arange(len(q))
    value = values[low, here] + (values[low + 1, here] - values[low, here]) * share
    notes = np.where(share < 1.0 - 1e-9, bits[low, here], 0)
    notes |= np.where(share > 1e-9, bits[low + 1, here], 0)
    notes |= np.where(np.abs(f - inside) > 1e-9, int(Note.CLAMPED), 0)
    return value, np.asarray(notes, dtype=np.int64)


@cache
def _split() -> tuple[Curve, FloatArray]:
    """Table of a split main's branch at a right angle, and K over the angles.

    The print is 1 + v² - 2 v cos angle - K v²; K is read back from its rows at v = 1.
    """
    read = chosen(_SPLIT, {"flow": "diverging", "leg": "branch"})
    angles = sorted({float(row["angle_deg"]) for row in read})
    loss = {
        float(row["angle_deg"]): float(row["C"])
        for row in read
        if float(row["value"]) == 1.0
    }
    k = [2.0 - 2.0 * np.cos(np.radians(angle)) - loss[angle] for angle in angles]
    tee = curve(
        _SPLIT,
        "value",
        where={"flow": "diverging", "leg": "branch", "angle_deg": "90"},
    )
    return tee, np.array([angles, k])


def split_main_branch(
    velocity_ratio: npt.ArrayLike, angle: npt.ArrayLike
) -> Coefficient:
    """Branch where a wall parts the main in two: As + Ab = Ac, dividing.

    Parameters
    ----------
    velocity_ratio
        v; shapes that broadcast.
    angle
        Deflection of the branch, rad; the table has 15 to 90 degrees, and the nearer
        end is taken outside, noted.

    Returns
    -------
    coefficient
        C = 1 + v² - 2 v cos angle - K v², with K over the angle from the table.

    Raises
    ------
    LookupRefused
        If v is below 0.

    References
    ----------
    Idelchik, 2006, section 7-16, table 7-5.
    """
    v, a = alike(velocity_ratio, angle)
    check_velocity(v)
    book, (angles, k) = _split()
    degrees = np.degrees(a)
    inside = degrees.clip(angles[0], angles[-1])
    cosine = np.cos(np.radians(inside))
    lost = np.interp(inside, angles, k)
    on_row = np.isclose(inside[:, None], angles, atol=1e-6).any(axis=1)
    return from_table(
        book,
        1.0 + v * v - 2.0 * v * cosine - lost * v * v,
        np.where(np.abs(degrees - inside) > 1e-6, int(Note.CLAMPED), 0)
        | np.where(on_row, 0, int(Note.INTERPOLATED))
        | np.where(v > book.x[-1] + 1e-9, int(Note.EXTENDED), 0),
        REFERENCE,
    )
