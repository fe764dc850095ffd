"""Which table each leg of a junction takes where the flow is divided.

Every coefficient is on the velocity in the common duct. Letters: q branch flow over
common flow, f branch area over common area, v branch velocity over common velocity
(q / f). Negative coefficients are real: one leg gains what the other pays.
"""

import numpy as np
import numpy.typing as npt

from elbowroom.layout import BoolArray, FloatArray, IntArray, Shape, TakeoffEntry

from .axes import alike
from .coefficient import Coefficient, Gathered, Note, make
from .converging import converging_branch as converging_branch
from .converging import converging_main as converging_main
from .converging import joining_legs as joining_legs
from .converging import rect_converging_branch as rect_converging_branch
from .converging import rect_converging_main as rect_converging_main
from .junction_terms import (
    AS_WIDE,
    REFERENCE,
    SQUARE_TO,
    TEE_FROM,
    check_velocity,
    share_of_tee,
    thirds,
)
from .junction_terms import JunctionLegs as JunctionLegs
from .junctions_rect import OBSTRUCTED
from .junctions_rect import radius_wye as radius_wye
from .junctions_rect import rect_branch as rect_branch
from .junctions_rect import rect_branch_by_entry as rect_branch_by_entry
from .junctions_rect import rect_main as rect_main
from .junctions_rect import rect_main_obstructed as rect_main_obstructed
from .junctions_round import ELBOWED as ELBOWED
from .junctions_round import diverging_branch as diverging_branch
from .junctions_round import diverging_main as diverging_main
from .junctions_round import round_conical_branch as round_conical_branch
from .junctions_round import round_elbowed_branch as round_elbowed_branch
from .junctions_round import round_main_handbook as round_main_handbook
from .junctions_symmetrical import dovetail as dovetail
from .junctions_symmetrical import put_without_main
from .junctions_symmetrical import symmetrical as symmetrical
from .junctions_symmetrical import symmetrical_joining as symmetrical_joining
from .several_legs import keep_energy, without_idle
from .shares import share_between
from .split_mains import split_main as split_main
from .split_mains import split_main_branch as split_main_branch
from .tables import chosen
from .takeoff_entries import Taken, entries_taken

LAST_TAP = 1.2  # on the velocity of the tap itself
_CONICAL_FROM = np.radians(45.0)  # where the table of conical round branches begins
_PLAIN_ENTRIES = np.isin(  # by the code of an entry
    list(TakeoffEntry), [TakeoffEntry.PLAIN, TakeoffEntry.PLAIN_DAMPER]
)
_TURNS_FROM = np.radians(45.0)  # up to this a wye; a tap at a closed end from 60 on
_NEARLY_ALL = 0.9  # from there on a branch's share of the flow leads to the last tap


def dividing_legs(legs: JunctionLegs) -> Gathered:
    """Coefficients of the legs of junctions, each from the table that fits it.

    Returns
    -------
    gathered
        Coefficients on the common velocity. C is defined where nothing flows in a leg
        (q = 0 for the branch, 1 for the main), but there is no loss to report there.

    Notes
    -----
    At q = 1 the main is dead and a plain branch an elbow: 1.2 on its own velocity, from
    60 degrees on; C goes straight there from q = 0.9 and from 45 degrees, our own
    choice. So does what counts as plain, in part where it counts so in part, and the
    leg of a wye or a bullhead tee beside one that is nearly idle, but for those with a
    radius. Of other entries no value is known at a closed end: their tables' last one
    is held. Where a wall parts the main its table goes that far by itself.

    A branch larger than its main has the tables' C at its real velocity, and what air
    spends that opens out behind a hole as large as the main.

    An entry that is better than a plain opening costs no more than that at the angles
    below its own table, from 30 degrees on where that begins at 45: our own rule.

    What another fitting stands in for is noted, and its class is low: flat ovals,
    branches of another shape than a round main or, off a right angle, a rectangular
    one, and entries without a table (see `takeoff_entries`). So is, as extended, a main
    that grows past a branch, and as clamped one in which the air grows faster: the
    tables end where it keeps its area and its velocity. What such a change of section
    spends is not in C (see `own_changes`).
    """
    out = Gathered(len(legs.angle))
    a, q, f, s = legs.angle, legs.flow_ratio, legs.area_ratio, legs.main_area_ratio
    v, entry, shared = legs.velocity_ratio, legs.entry, legs.is_symmetrical
    boxy = legs.common_shape == int(Shape.RECTANGULAR)
    rect, bent = boxy & ~shared, ~boxy & ~shared
    wall = legs.shared_wall
    walled = np.zeros(len(a), dtype=bool) if wall is None else bent & wall
    conical = (legs.is_swept | (entry == int(TakeoffEntry.CONICAL))) & ~walled
    put_without_main(out, legs, lambda rows: symmetrical(v[rows], a[rows]), "diverging")
    if bent.any():
        _put_of_round(out, legs, bent, walled, conical)
    _put_of_rect(out, legs, rect)

    out.notes[~legs.is_branch & ~shared & (s > 1.0 / AS_WIDE)] |= int(Note.EXTENDED)
    oval, branch = int(Shape.OVAL), legs.is_branch & ~shared
    common, side = legs.common_shape, legs.branch_shape
    foreign = bent & (common == oval)
    foreign |= (
        branch
        & (side != common)
        & (bent | (side == oval) | (a < np.pi / 2 - SQUARE_TO))
    )
    as_what = entries_taken(entry, common, side, a, shared, joining=False)
    foreign |= ~walled & (as_what != int(Taken.ITSELF))
    eased = branch & conical & (boxy & legs.is_swept | bent)
    eased &= a < np.where(boxy, np.pi / 2, _CONICAL_FROM)
    if eased.any():
        _hold_to_plain(out, legs, eased.nonzero()[0], boxy)
    wider = branch & (f > 1.0)
    if wider.any():  # it opens from a hole as large as the main: Borda and Carnot
        out.value[wider] += (q[wider] * (1.0 - 1.0 / f[wider])) ** 2
        out.notes[wider] |= int(Note.EXTENDED)
    last = ~walled & (q > _NEARLY_ALL) & (a > _TURNS_FROM + 1e-6)
    last &= legs.is_branch | shared
    if last.any():
        _lead_to_last_tap(out, legs, last.nonzero()[0], as_what)
    if foreign.any():  # last, as what a branch is led to is another fitting's too
        out.stand_in(foreign)
    return out


def _put_of_round(
    out: Gathered,
    legs: JunctionLegs,
    bent: BoolArray,
    walled: BoolArray,
    conical: BoolArray,
) -> None:
    """Enter legs off round mains and what counts as one; `walled` are parted in two."""
    q, f, a = legs.flow_ratio, legs.area_ratio, legs.angle
    s, v = legs.main_area_ratio, legs.velocity_ratio
    branch, main = bent & legs.is_branch, bent & ~legs.is_branch
    mine = branch & walled
    if mine.any():
        out.put(mine, split_main_branch(v[mine], a[mine]))
    mine = branch & ~conical & ~walled
    if mine.any():
        out.put(mine, diverging_branch(q[mine], f[mine], a[mine]))
    for steep in (True, False):  # each has a class of its own
        mine = branch & conical & ((a > _CONICAL_FROM) == steep)
        if mine.any():
            out.put(mine, round_conical_branch(v[mine], a[mine]))
    mine = main & conical
    if mine.any():
        out.put(mine, round_main_handbook(legs.past[mine]))
    for wide in (True, False):  # each form has a class of its own
        mine = main & ~conical & ((s >= AS_WIDE) == wide)
        if mine.any():
            out.put(mine, diverging_main(q[mine], f[mine], s[mine]))


def _put_of_rect(out: Gathered, legs: JunctionLegs, rect: BoolArray) -> None:
    """Enter legs off rectangular mains."""
    q, f, s = legs.flow_ratio, legs.area_ratio, legs.main_area_ratio
    a, is_branch, radius = legs.angle, legs.is_branch, legs.is_swept
    for leg, branch in (("branch", is_branch), ("main", ~is_branch)):
        mine = rect & radius & branch
        if mine.any():
            out.put(mine, radius_wye(leg, q[mine], f[mine], s[mine]))
    rows = (rect & is_branch & ~radius).nonzero()[0]
    kind = legs.entry[rows] * 2 + (legs.branch_shape[rows] != int(Shape.ROUND))
    for number in np.bincount(kind).nonzero()[0].tolist():
        same = rows[kind == number]
        code, tap = TakeoffEntry(number // 2), number % 2 == 0
        for part in map(same.__getitem__, thirds(share_of_tee(a[same]))):
            if len(part):
                found = rect_branch_by_entry(code, tap, q[part], f[part], a[part])
                out.put(part, found)
    rows = (rect & ~is_branch & ~radius).nonzero()[0]
    obstructed = OBSTRUCTED[legs.entry[rows]]
    part = rows[obstructed]
    if len(part):
        out.put(part, rect_main_obstructed(legs.velocity_ratio[part]))
    part = rows[~obstructed]
    if len(part):
        out.put(part, rect_main(legs.past[part]))


def _hold_to_plain(
    out: Gathered, legs: JunctionLegs, rows: IntArray, boxy: BoolArray
) -> None:
    """Let better entries, by rows, cost no more than plain ones below their table.

    That of round mains begins at 45 degrees: of those, fully from 30 degrees down.
    """
    a = legs.angle[rows]
    opening = diverging_branch(legs.flow_ratio[rows], legs.area_ratio[rows], a)
    over = np.maximum(out.value[rows] - opening.value, 0.0)
    below = (_CONICAL_FROM - a) / np.radians(15.0)
    out.value[rows] -= over * np.where(boxy[rows], 1.0, below.clip(0.0, 1.0))


def _lead_to_last_tap(
    out: Gathered, legs: JunctionLegs, rows: IntArray, as_what: IntArray
) -> None:
    """Lead branches, by rows, that take nearly all of the air to a tap at a closed end.

    `as_what` are the `Taken` codes of all legs.
    """
    share = share_between(legs.flow_ratio[rows], _NEARLY_ALL, 1.0)
    share *= share_between(legs.angle[rows], _TURNS_FROM, TEE_FROM)
    share *= _plain_part(legs, rows, as_what)
    tap = last_tap(legs.velocity_ratio[rows])
    part = (share > 0.0) & (share < 1.0 - 1e-7)
    if part.any():
        led = rows[part]
        out.value[led] += (tap.value[part] - out.value[led]) * share[part]
        out.notes[led] |= int(Note.INTERPOLATED)
        out.join(led, tap.table_credit)
    whole = rows[share >= 1.0 - 1e-7]
    if len(whole):
        out.put(whole, last_tap(legs.velocity_ratio[whole]))


def _plain_part(legs: JunctionLegs, rows: IntArray, as_what: IntArray) -> FloatArray:
    """How much some branches, by rows, count as plain: 0 to 1.

    Off a rectangular main those with a table at a right angle do so more and more, to
    60 degrees. A leg of a wye does so whatever its entry, unless it has a radius.
    """
    entry, of = legs.entry[rows], as_what[rows]
    plain = _PLAIN_ENTRIES[entry] | (of == int(Taken.PLAIN))
    boxy = legs.common_shape[rows] == int(Shape.RECTANGULAR)
    fading = boxy & (entry != int(TakeoffEntry.RADIUS))
    slanting = np.where(fading, 1.0 - share_of_tee(legs.angle[rows]), 0.0)
    alone = np.where(plain, 1.0, slanting)
    return np.where(legs.is_symmetrical[rows], ~legs.is_swept[rows], alone)


def last_tap(velocity_ratio: npt.ArrayLike) -> Coefficient:
    """Tap that takes the whole flow at the closed end of a run.

    Parameters
    ----------
    velocity_ratio
        v: 1.2 on the tap's velocity is 1.2 v² on the common one.

    Raises
    ------
    LookupRefused
        If v is below 0.

    References
    ----------
    SMACNA HVAC Systems Duct Design 1990, section 8.
    """
    (v,) = alike(velocity_ratio)
    check_velocity(v)
    name = "junction_cross_and_manifold"
    (row,) = chosen(name, {"case": "end of run: tap takes all of the flow"})
    return make(
        LAST_TAP * v * v,
        0,
        reference=REFERENCE,
        table=name,
        source=row["source"],
        confidence=row["confidence"],
    )


def cross(
    flow_ratio: FloatArray,
    area_ratio: FloatArray,
    main_area_ratio: FloatArray,
    angle: FloatArray,
    common_shape: Shape,
    branch_shape: Shape,
    entry: TakeoffEntry = TakeoffEntry.PLAIN,
) -> tuple[Gathered, Gathered]:
    """Cross that divides the flow: two branches opposite each other and a main.

    Parameters
    ----------
    flow_ratio, area_ratio
        q and f of the two branches, shape (2, n).
    main_area_ratio, angle
        Straight area over common area, and deflection of both branches, rad, shape
        (n,).
    common_shape, branch_shape, entry
        Of both branches.

    Returns
    -------
    branches, main
        Coefficients of the branches, shape (2 n,), those of the first branch before
        those of the second, and of the main, shape (n,).

    Notes
    -----
    An approximation, noted as such: no coefficients of a cross are published openly.
    Each branch counts as that of a tee of its own; the main is charged once, for the
    flow and area of both branches together (common practice, no published source). A
    leg with less than a tenth of the air counts in part, and no cross gives energy, as
    in a drawn layout: see `several_legs`.
    """
    # The legs of a cross beside each other: both branches, then the main.
    count = flow_ratio.shape[1]
    every, common = np.arange(3 * count), np.arange(count).repeat(3)
    leaves, wide = flow_ratio.sum(axis=0), area_ratio.sum(axis=0)
    q = np.stack([*flow_ratio, leaves], axis=1).ravel()
    f = np.stack([*area_ratio, wide], axis=1).ravel()
    share = np.stack([*flow_ratio, 1.0 - leaves], axis=1).ravel()
    is_main = every % 3 == 2

    def legs(rows: IntArray, area: FloatArray, symmetrical: BoolArray) -> Gathered:
        straight = np.where(symmetrical, 1.0, main_area_ratio[rows // 3])
        found = dividing_legs(
            JunctionLegs(
                is_branch=~is_main[rows],
                is_symmetrical=symmetrical,
                angle=angle[rows // 3],
                entry=np.full(len(rows), int(entry)),
                common_shape=np.full(len(rows), int(common_shape)),
                branch_shape=np.full(len(rows), int(branch_shape)),
                flow_ratio=q[rows],
                area_ratio=area,
                main_area_ratio=straight,
            )
        )
        found.stand_in(np.arange(len(rows)))
        return found

    found = legs(every, f, np.zeros(len(every), dtype=bool))
    for kept, part in without_idle(common, share):
        other = kept.reshape(-1, 2)[:, ::-1].ravel()
        past = np.where(is_main[kept], f[other], f[kept])
        read = legs(kept, past, ~(is_main[kept] | is_main[other]))
        found.put_between(kept, found.part(kept), read, part)
    keep_energy(common, share, found)
    branches = np.concatenate([every[0::3], every[1::3]])
    return found.part(branches), found.part(every[2::3])
