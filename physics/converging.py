"""Loss coefficients of junctions that join flows.

Every coefficient is on the velocity in the common duct, which carries both flows
away. Letters: q branch flow over common flow, f branch area over common area, s main
area over common area. Negative coefficients are real: the fast stream drags the slow
one, and pays for it.
"""

from dataclasses import replace
from functools import cache, partial

import numpy as np
import numpy.typing as npt

from elbowroom.layout import BoolArray, FloatArray, IntArray, Shape, TakeoffEntry

from .axes import alike
from .coefficient import Coefficient, Gathered, Note, check_word, make
from .junction_terms import (
    AS_WIDE,
    CHOKING,
    IDELCHIK,
    REFERENCE,
    SQUARE_TO,
    TEE_FROM,
    JunctionLegs,
    check_ratios,
    from_curve,
    joining_factor,
    mixed,
    share_of_tee,
    thirds,
)
from .junctions_rect import radius_wye
from .junctions_symmetrical import put_without_main, symmetrical_joining
from .shares import share_between
from .split_mains import SPLIT_AREAS, joining_momentum, split_main
from .tables import Curve, curve, from_table
from .takeoff_entries import Taken, entries_taken

_LEAST_AREA = 0.1
_SLIGHTEST = np.radians(15.0)
_RECT = "junction_rect_converging"
_SLOW, _FAST = 5.6, 6.6  # m/s around the 6.1 (1200 fpm) between the two printed bands
_BANDS = ("Vc < 6.1 m/s (1200 fpm)", "Vc > 6.1 m/s (1200 fpm)")
_RECT_BRANCH = {
    "tap": "round tap into rectangular main",
    "tee": "90 deg tee, rectangular into rectangular main",
    "45-entry": "45 deg entry, rectangular into rectangular main",
}


def _notes(value: FloatArray, f: FloatArray, a: FloatArray) -> IntArray:
    """Bits that every joining formula shares."""
    notes = np.where((f < _LEAST_AREA - 1e-9) | (f > 1.0 + 1e-9), int(Note.EXTENDED), 0)
    notes |= np.where(a < _SLIGHTEST - 1e-6, int(Note.EXTENDED), 0)
    notes |= np.where(a > np.pi / 2 + SQUARE_TO, int(Note.CLAMPED), 0)
    notes |= np.where(value > CHOKING, int(Note.SUSPECT), 0)
    notes |= np.where(
        (a > TEE_FROM + 1e-6) & (a < np.pi / 2 - 1e-6), int(Note.INTERPOLATED), 0
    )
    return np.asarray(notes, dtype=np.int64)


def converging_branch(
    flow_ratio: npt.ArrayLike, area_ratio: npt.ArrayLike, angle: npt.ArrayLike
) -> Coefficient:
    """Branch of a round tee or wye that joins a main of unchanged area.

    Parameters
    ----------
    flow_ratio, area_ratio
        q and f; shapes that broadcast.
    angle
        Deflection of the branch, rad; above a right angle that of 90° is taken.

    Returns
    -------
    coefficient
        C = A (1 + (q/f)² - 2 (1 - q)² - 2 q²/f cos angle); A counts at a right angle
        alone, and C goes straight between 60 and 90 degrees. Noted where f is below
        0.1 and where C is above 20.

    Raises
    ------
    LookupRefused
        If q is not 0 to 1, or f not above 0.

    Notes
    -----
    Editions differ: in that of 2006 A counts at every angle, which at 45 degrees,
    f = 0.5, q = 0.7 makes 0.77 of 1.39; in that of 1986 it follows f alone.

    References
    ----------
    Idelchik, diagrams 7-1 to 7-4; Crane TP-410, 2009.
    """
    q, f, a = alike(flow_ratio, area_ratio, angle)
    check_ratios(q, f)

    def bare(cosine: FloatArray | float) -> FloatArray:
        main = 2.0 * (1.0 - q) ** 2
        return np.asarray(1.0 + (q / f) ** 2 - main - 2.0 * q * q / f * cosine)

    tee, steep = joining_factor(q, f) * bare(0.0), share_of_tee(a)
    # At 60 degrees the cosine is one half; written so that the ends meet exactly.
    slanting = bare(np.maximum(np.cos(a), 0.5))
    value = slanting + (tee - slanting) * steep
    return make(
        value,
        _notes(value, f, a),
        reference=REFERENCE,
        table="formula: joining branch",
        source=f"{IDELCHIK}, diagrams 7-1 to 7-4",
        confidence="cross-checked" if _editions_agree(f, a).all() else "seen",
    )


def _editions_agree(f: FloatArray, angle: FloatArray) -> BoolArray:
    """Whether editions have one factor A: 1 to f = 0.35, or at a right angle to 0.2.

    From there the older one has another, of f alone, a fifth to a third apart.
    """
    return np.asarray(f <= np.where(share_of_tee(angle) > 0.0, 0.2, 0.35))


def converging_main(
    flow_ratio: npt.ArrayLike, area_ratio: npt.ArrayLike, angle: npt.ArrayLike
) -> Coefficient:
    """Straight leg of a round tee or wye that joins flows, main of unchanged area.

    Parameters
    ----------
    flow_ratio, area_ratio, angle
        Those of the branch: q, f, and its deflection, rad.

    Returns
    -------
    coefficient
        C = 1 - (1 - q)² - 2 q²/f cos angle to 60 degrees, 1.55 q - q² at a right
        angle, straight between.

    Raises
    ------
    LookupRefused
        If q is not 0 to 1, or f not above 0.

    References
    ----------
    Idelchik, diagrams 7-1 to 7-4; Crane TP-410, 2009.
    """
    q, f, a = alike(flow_ratio, area_ratio, angle)
    check_ratios(q, f)
    slanting = 1.0 - (1.0 - q) ** 2 - 2.0 * q * q / f * np.maximum(np.cos(a), 0.5)
    tee = 1.55 * q - q * q
    value = slanting + (tee - slanting) * share_of_tee(a)
    return make(
        value,
        _notes(value, f, a),
        reference=REFERENCE,
        table="formula: joining main",
        source=f"{IDELCHIK}, diagrams 7-1 to 7-4",
        confidence="cross-checked",
    )


@cache
def _rect_curves(entry: str) -> tuple[Curve, Curve]:
    slow, fast = (
        curve(
            _RECT,
            "flow_ratio_Qb_Qc",
            where={"fitting": _RECT_BRANCH[entry], "velocity_band": band},
        )
        for band in _BANDS
    )
    return slow, fast


def rect_converging_branch(
    entry: str,
    flow_ratio: npt.ArrayLike,
    area_ratio: npt.ArrayLike,
    common_velocity: npt.ArrayLike,
) -> Coefficient:
    """Branch that joins a rectangular main of unchanged area at a right angle.

    Parameters
    ----------
    entry
        'tap' (round), 'tee', or '45-entry'.
    flow_ratio, area_ratio
        q and f; shapes that broadcast.
    common_velocity
        m/s.

    Returns
    -------
    coefficient
        The print is for f = 0.5 alone. It is taken from f 0.4 to 0.6 and gives way to
        the round formula over 0.1 more on either side, noted.

    Raises
    ------
    LookupRefused
        If there is no such entry, q is not 0 to 1, or f not above 0.

    Notes
    -----
    The print has a step at 6.1 m/s; it is blended over 5.6 to 6.6 m/s, so that a solver
    does not see it: our own choice.

    References
    ----------
    SMACNA HVAC Systems Duct Design 1990, table 14-13 (from memory).
    """
    q, f, velocity = alike(flow_ratio, area_ratio, common_velocity)
    check_word("entry", entry, _RECT_BRANCH)
    slow, fast = _rect_curves(entry)
    (low, bits), (high, _) = slow.at(q), fast.at(q)
    share = share_between(velocity, _SLOW, _FAST)
    printed = low + (high - low) * share
    formula = converging_branch(q, f, np.pi / 2)
    stands_in = _off_print(f)
    off = (np.abs(f - 0.5) > 1e-6) & (stands_in == 0.0)
    tabled = from_table(
        slow, printed, bits | np.where(off, int(Note.CLAMPED), 0), REFERENCE
    )
    found = mixed(tabled, formula, stands_in)
    borrowed = stands_in > 0.0
    return replace(
        found,
        notes=found.notes | np.where(borrowed, int(Note.FALLBACK), 0),
        confidence="low" if borrowed.any() else found.confidence,
    )


def _off_print(f: FloatArray) -> FloatArray:
    """How much of the formula counts where f is not the 0.5 of the print."""
    share = share_between(np.abs(f - 0.5), 0.1, 0.2)
    return np.where(share < 1e-9, 0.0, share)


@cache
def _rect_main() -> Curve:
    return curve(_RECT, "flow_ratio_Qb_Qc", where={"leg": "main"}, through_zero=True)


def rect_converging_main(flow_ratio: npt.ArrayLike) -> Coefficient:
    """Straight leg past a branch that joins a rectangular main at a right angle.

    Parameters
    ----------
    flow_ratio
        q; nothing is lost at q = 0.

    References
    ----------
    SMACNA HVAC Systems Duct Design 1990, table 14-13 (from memory).
    """
    return from_curve(_rect_main(), flow_ratio)


def joining_legs(
    legs: JunctionLegs,
    common_velocity: FloatArray,
    other_area_ratio: FloatArray | None = None,
) -> Gathered:
    """Coefficients of the legs of junctions that join flows.

    Parameters
    ----------
    legs
        n of them.
    common_velocity
        m/s, shape (n,).
    other_area_ratio
        Area of the other leg over common area where a junction has no main; that of
        the leg itself if None.

    Returns
    -------
    gathered
        Coefficients on the common velocity. C is defined where nothing flows in a leg
        (q = 0 for the branch, 1 for the main), but there is no loss to report there.
    """
    out = Gathered(len(legs.angle))
    a, q, f, s = legs.angle, legs.flow_ratio, legs.area_ratio, legs.main_area_ratio
    is_branch, entry, radius = legs.is_branch, legs.entry, legs.is_swept
    is_symmetrical, wall = legs.is_symmetrical, legs.shared_wall
    common_shape, branch_shape = legs.common_shape, legs.branch_shape
    rect = common_shape == Shape.RECTANGULAR
    other = f if other_area_ratio is None else other_area_ratio
    put_without_main(
        out,
        legs,
        lambda rows: symmetrical_joining(q[rows], f[rows], a[rows], other[rows]),
        "converging",
    )
    walled = np.zeros(len(a), dtype=bool) if wall is None else wall & ~is_symmetrical
    curved = rect & radius & ~is_symmetrical & ~walled
    square = rect & ~radius & (a > TEE_FROM + 1e-6) & ~is_symmetrical & ~walled
    rest = ~(is_symmetrical | walled | curved | square)
    agreed = _editions_agree(f, a)
    for leg, branch in (("branch", True), ("main", False)):
        own = is_branch == branch
        mine = walled & own
        if mine.any():
            out.put(mine, split_main(leg, q[mine], f[mine], a[mine]))
        mine = curved & own
        if mine.any():
            out.put(mine, radius_wye(leg, q[mine], f[mine], s[mine], "converging"))
        formula = converging_branch if branch else converging_main
        for agree in (True, False):  # each has a class of its own
            mine = rest & own & (agreed == agree)
            if mine.any():
                out.put(mine, formula(q[mine], f[mine], a[mine]))
    _put_square(out, legs, square, common_velocity)
    changed = ((s != 1.0) & (rest | square)).nonzero()[0]
    if len(changed):
        out.value[changed] += _of_other_area(legs, changed, out.value[changed])
    # The formulas are of round tees, as are those that the tables give way to.
    foreign = (rest | square) & (np.abs(s - 1.0) > 1.0 - AS_WIDE + 1e-9)
    foreign |= rest & ((common_shape != Shape.ROUND) | (entry != TakeoffEntry.PLAIN))
    foreign |= is_branch & rest & (branch_shape != Shape.ROUND)
    foreign |= square & (a < np.pi / 2 - SQUARE_TO)
    foreign |= square & is_branch & (branch_shape == Shape.OVAL)
    as_what = entries_taken(
        entry, common_shape, branch_shape, a, is_symmetrical, joining=True
    )
    foreign |= ~walled & (as_what != int(Taken.ITSELF))
    if foreign.any():
        out.stand_in(foreign)
    return out


def _of_other_area(
    legs: JunctionLegs, rows: IntArray, unchanged: FloatArray
) -> FloatArray:
    """What a main of another area than the common duct adds to C, our own rule.

    Published are a main that keeps its area, s = 1, of which C is given here, and one
    that a wall parts, s = 1 - f. Momentum alone tells how C changes with s; by how much
    the prints differ from it goes straight from the one to the other, and is kept
    beyond them.
    """
    added, is_branch = np.empty(len(rows)), legs.is_branch[rows]
    for leg, own in (("branch", is_branch), ("main", ~is_branch)):
        mine = rows[own]
        if not len(mine):
            continue
        q, f = legs.flow_ratio[mine], legs.area_ratio[mine]
        s, turn = legs.main_area_ratio[mine], np.minimum(legs.angle[mine], np.pi / 2)
        bare = partial(joining_momentum, leg, q, cosine=np.cos(turn))
        off = unchanged[own] - bare(f, 1.0)
        inside = f.clip(*SPLIT_AREAS)
        parted = split_main(leg, q, inside, turn).value - bare(inside, 1.0 - inside)
        share = ((1.0 - s) / f).clip(0.0, 1.0)
        added[own] = bare(f, s) - bare(f, 1.0) + (parted - off) * share
    return added


def _put_square(
    out: Gathered, legs: JunctionLegs, square: BoolArray, velocity: FloatArray
) -> None:
    """Legs at more than 60 degrees to a rectangular main."""
    q, f, a, is_branch = legs.flow_ratio, legs.area_ratio, legs.angle, legs.is_branch
    tapped = legs.branch_shape == Shape.ROUND
    slanted = np.isin(legs.entry, (TakeoffEntry.ENTRY_45, TakeoffEntry.ENTRY_45_DAMPER))
    for name, own in (
        ("tap", tapped),
        ("45-entry", ~tapped & slanted),
        ("tee", ~tapped & ~slanted),
    ):
        mine = (square & is_branch & own).nonzero()[0]
        # Each in a class of its own: print, formula, and what lies between.
        for band in map(mine.__getitem__, thirds(_off_print(f[mine]))):
            for part in map(band.__getitem__, thirds(share_of_tee(a[band]))):
                if len(part):
                    found = rect_converging_branch(
                        name, q[part], f[part], velocity[part]
                    )
                    slanting = converging_branch(q[part], f[part], TEE_FROM)
                    out.put(part, _turned(found, slanting, a[part]))
    mine = (square & ~is_branch).nonzero()[0]
    for part in map(mine.__getitem__, thirds(share_of_tee(a[mine]))):
        if len(part):
            slanting = converging_main(q[part], f[part], TEE_FROM)
            out.put(part, _turned(rect_converging_main(q[part]), slanting, a[part]))


def _turned(square: Coefficient, slanting: Coefficient, a: FloatArray) -> Coefficient:
    """Straight between the formula at 60 degrees and the table at a right angle."""
    found = mixed(slanting, square, share_of_tee(a))
    far = np.where(a > np.pi / 2 + SQUARE_TO, int(Note.CLAMPED), 0)
    return replace(found, notes=found.notes | far)
