"""What the coefficients of all junctions share."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from elbowroom.layout import BoolArray, FloatArray, IntArray, TakeoffEntry

from .axes import ROUNDING
from .coefficient import Coefficient, LookupRefused, Note, make, worst
from .shares import share_between
from .tables import Curve, from_table

REFERENCE = "common"
TEE_FROM = np.radians(60.0)  # between this and a right angle C goes straight
SQUARE_TO = np.radians(1.0)  # off a right angle, less is the drawing's rounding
LEGS = ("branch", "main")
FLOWS = ("diverging", "converging")
BULLHEAD_FROM = np.radians(80.0)
AS_WIDE = 0.95  # a main within 5 % of the common area counts as unchanged
CHOKING = 20.0  # above this coefficient the branch is choking: nobody designs there
_WHOLE = 1.0 - ROUNDING  # a share above it is whole
IDELCHIK = "Idelchik, Handbook of Hydraulic Resistance, section VII"


@dataclass(frozen=True, eq=False)
class JunctionLegs:
    """Legs of junctions to be looked up: arrays of shape (n,).

    Parameters
    ----------
    is_branch, is_symmetrical
        Whether a leg is a branch, and whether its junction has no main.
    angle
        Deflection of the branch, rad: of the leg itself, or for a main of the
        branch opposite.
    entry
        `TakeoffEntry` codes of that branch.
    common_shape, branch_shape
        `Shape` codes.
    flow_ratio, area_ratio, main_area_ratio
        q and f of that branch, and straight area over common area.
    shared_wall
        Whether a wall parts the main in two (As + Ab = Ac), which a centreline does
        not show; None: nowhere.
    """

    is_branch: BoolArray
    is_symmetrical: BoolArray
    angle: FloatArray
    entry: IntArray
    common_shape: IntArray
    branch_shape: IntArray
    flow_ratio: FloatArray
    area_ratio: FloatArray
    main_area_ratio: FloatArray
    shared_wall: BoolArray | None = None

    @cached_property
    def velocity_ratio(self) -> FloatArray:
        """v: branch velocity over common velocity."""
        return self.flow_ratio / self.area_ratio

    @cached_property
    def past(self) -> FloatArray:
        """Velocity past the branch over that before it, in no wider main."""
        return (1.0 - self.flow_ratio) / np.minimum(self.main_area_ratio, 1.0)

    @cached_property
    def is_swept(self) -> BoolArray:
        """Whether the branch has an entry with a radius."""
        return np.asarray(self.entry == int(TakeoffEntry.RADIUS))


def share_of_tee(angle: FloatArray) -> FloatArray:
    """How much of a right angle's coefficient counts: 0 at 60 degrees, 1 at 90."""
    return share_between(angle, TEE_FROM, np.pi / 2)


def share_of_bullhead(angle: FloatArray) -> FloatArray:
    """How much of a bullhead counts against a wye: 0 at 60 degrees, 1 from 80 on."""
    return share_between(angle, TEE_FROM, BULLHEAD_FROM)


def joining_factor(q: FloatArray, f: FloatArray) -> FloatArray:
    """Factor A of joining tees and bullheads over q and f.

    Notes
    -----
    The print has 1 to f = 0.35, above that 0.9 (1 - q) to q = 0.4 and 0.55 beyond. It
    is blended over f 0.30 to 0.40 and over q 0.40 to 0.45, so that a sweep has no
    jump: our own choice.

    References
    ----------
    Idelchik, diagrams 7-4 and 7-29; Crane TP-410, 2009.
    """
    late = 0.54 + 0.01 * ((q - 0.40) / 0.05).clip(0.0, 1.0)
    wide = np.where(q <= 0.4, 0.9 * (1.0 - q), late)
    return np.asarray(1.0 + (wide - 1.0) * ((f - 0.30) / 0.10).clip(0.0, 1.0))


def check_ratios(q: FloatArray, *areas: FloatArray) -> None:
    """Refuse what a formula would carry on to without an end; NaN stays NaN.

    Parameters
    ----------
    q, areas
        Branch flow, and areas, over those of the common duct, shape (n,) each.

    Raises
    ------
    LookupRefused
        If a share of the flow is not 0 to 1, or an area is not above 0.
    """
    wrong = (q < -ROUNDING) | (q > 1.0 + ROUNDING)
    if wrong.any():
        raise LookupRefused(
            "the branch has a share of the common airflow of 0 to 1, not "
            f"{q[wrong][0]:g}; divide its airflow by that of the common duct"
        )
    for area in areas:
        wrong = (area <= 0.0) | (area == np.inf)
        if wrong.any():
            raise LookupRefused(
                "the area of a leg over that of the common duct is more than 0, not "
                f"{area[wrong][0]:g}; divide its area by that of the common duct"
            )


def check_velocity(v: FloatArray) -> None:
    """Refuse a velocity over the common one, shape (n,), that is below zero.

    Raises
    ------
    LookupRefused
        If there is any.
    """
    wrong = v < -ROUNDING
    if wrong.any():
        raise LookupRefused(
            f"velocities in a junction are counted from 0 up, not {v[wrong][0]:g}; "
            "take the table of flows that join, or turn the sign"
        )


def growth_beyond(
    v: FloatArray, end: FloatArray | float
) -> tuple[FloatArray, BoolArray]:
    """Growth with v² beyond the end of a table, and where that is needed."""
    beyond: BoolArray = v > end + 1e-9
    return np.where(beyond, (v / end) ** 2, 1.0), beyond


def mixed(one: Coefficient, other: Coefficient, share: FloatArray) -> Coefficient:
    """Straight between two coefficients; credited to both, or to the one that counts.

    `share` is that of the other, 0 to 1, shape (n,).
    """
    if (share >= _WHOLE).all():
        return other
    if (share <= 1.0 - _WHOLE).all():
        return one
    notes = np.where(share < _WHOLE, one.notes, 0)
    notes |= np.where(share > 1.0 - _WHOLE, other.notes, 0)
    between = (share > 1.0 - _WHOLE) & (share < _WHOLE)
    return make(
        np.where(
            share < _WHOLE, one.value + (other.value - one.value) * share, other.value
        ),
        notes | np.where(between, int(Note.INTERPOLATED), 0),
        reference=one.reference,
        table=f"{other.table} and {one.table}",
        source=f"{other.source}; {one.source}",
        confidence=worst(one.confidence, other.confidence),
    )


def thirds(share: FloatArray) -> tuple[BoolArray, BoolArray, BoolArray]:
    """Where a share is 0, between, and 1: each is credited to something else."""
    none, whole = share <= 1.0 - _WHOLE, share >= _WHOLE
    return none, ~(none | whole), whole


def from_curve(book: Curve, argument: npt.ArrayLike) -> Coefficient:
    """Coefficient that is read off one published curve."""
    value, bits = book.at(np.atleast_1d(argument))
    return from_table(book, value, bits, REFERENCE)
