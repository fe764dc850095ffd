"""Where a declared takeoff entry has no table, and what is taken in its place."""

from enum import IntEnum

import numpy as np
import numpy.typing as npt

from elbowroom.layout import (
    BoolArray,
    Ducts,
    FloatArray,
    IntArray,
    Legs,
    Shape,
    TakeoffEntry,
)

from .junction_terms import BULLHEAD_FROM, SQUARE_TO, TEE_FROM


class Taken(IntEnum):
    """What a branch's coefficient is of, where it is not of the declared entry."""

    ITSELF = 0
    PLAIN = 1
    CONICAL = 2
    WYE = 3
    WITHOUT_DAMPER = 4
    MIXED = 5
    SWEPT_IN_PART = 6

    @property
    def words(self) -> str:
        """The words that a notice prints."""
        return _WORDS[self]

    @property
    def counted(self) -> str:
        """The words behind those of a fitting; empty where it is itself."""
        return _COUNTED[self]


_WORDS = {
    Taken.ITSELF: "the entry itself",
    Taken.PLAIN: "a plain entry",
    Taken.CONICAL: "a conical entry",
    Taken.WYE: "a rectangular wye of 90 degrees with a radius branch",
    Taken.WITHOUT_DAMPER: "the entry without its damper",
    Taken.MIXED: "a value between the entry at 90 degrees and a plain one at 60",
    Taken.SWEPT_IN_PART: "a value between radius legs at 80 degrees and plain ones at "
    "60",
}
_COUNTED = {
    Taken.ITSELF: "",
    Taken.PLAIN: ", counted as plain",
    Taken.CONICAL: ", counted as conical",
    Taken.WYE: ", counted as a wye of 90° with a radius branch",
    Taken.WITHOUT_DAMPER: ", counted without its damper",
    Taken.MIXED: ", counted between it at 90° and plain at 60°",
    Taken.SWEPT_IN_PART: ", counted between radius legs at 80° and plain ones at 60°",
}


def taken(
    entry: npt.NDArray[np.int64],
    common_shape: npt.NDArray[np.int64],
    branch_shape: npt.NDArray[np.int64],
    angle: FloatArray,
    symmetrical: BoolArray,
    joining: bool,
) -> IntArray:
    """What the coefficient of each branch is of.

    Parameters
    ----------
    entry, common_shape, branch_shape
        `TakeoffEntry` and `Shape` codes, shape (n,).
    angle
        Deflection of the branch, rad.
    symmetrical
        Whether its junction has no main.
    joining
        Whether the flows join.

    Returns
    -------
    codes
        `Taken` codes, shape (n,).
    """
    itself, plain = int(Taken.ITSELF), int(Taken.PLAIN)
    boxy = common_shape == int(Shape.RECTANGULAR)
    tap = branch_shape == int(Shape.ROUND)
    is_radius = entry == int(TakeoffEntry.RADIUS)
    is_square = np.abs(angle - np.pi / 2) <= SQUARE_TO
    damped = entry == int(TakeoffEntry.ENTRY_45_DAMPER)
    # At a right angle off a rectangular main.
    if joining:
        tabled = ~tap & (entry == int(TakeoffEntry.ENTRY_45))
        square = np.where(tabled, itself, plain)
        square[~tap & damped] = int(Taken.WITHOUT_DAMPER)
    else:
        tabled = tap == (entry == int(TakeoffEntry.CONICAL))
        square = np.where(tabled, itself, plain)
    # Off it: less and less of that to 60 degrees, below which the formula knows none.
    slanting = (angle < np.pi / 2) & ~is_square
    found = np.where(
        slanting & (square != plain),
        np.where(angle > TEE_FROM, int(Taken.MIXED), plain),
        square,
    )
    wye = np.where(is_square & ~tap, itself, int(Taken.WYE))
    found = np.where(is_radius, wye, found)
    # Round mains have tables of conical branches alone, and of none that join.
    around = np.full(len(entry), plain)
    if not joining:
        around[is_radius] = int(Taken.CONICAL)
        around[entry == int(TakeoffEntry.CONICAL)] = itself
    found = np.where(boxy, found, around)
    if symmetrical.any():
        # Radius legs back to back, of a bullhead tee: its only entry with a table.
        swept = np.where(angle > TEE_FROM, int(Taken.SWEPT_IN_PART), plain)
        swept = np.where(angle >= BULLHEAD_FROM, itself, swept)
        found = np.where(symmetrical, np.where(is_radius, swept, plain), found)
    found[entry == int(TakeoffEntry.PLAIN)] = itself
    return np.asarray(found)


def has_own_entry(legs: Legs) -> BoolArray:
    """Whether each leg is a branch made with the entry that it has, shape (l,).

    Not the legs of bullhead tees and symmetrical wyes, which have none but a radius,
    nor taps at a closed end, nor legs where several ducts lead in and several out.
    """
    is_one = legs.is_branch & ~legs.is_symmetrical & (legs.common != legs.duct)
    return np.asarray(is_one & (legs.leg_count > 2))


def taken_at(
    ducts: Ducts, legs: Legs, joining: bool, row: int | None = None
) -> IntArray:
    """What the coefficient of each leg is of, of one whose entry has no table.

    Parameters
    ----------
    ducts, legs
        The ducts, and legs of their junctions or meetings.
    joining
        Whether the flows of these legs join.
    row
        The leg that is asked for; None for all.

    Returns
    -------
    codes
        `Taken` codes, shape (l,), or (1,); those of mains and of taps at a closed end
        are always `ITSELF`.
    """
    entry = legs.entry if row is None else legs.entry[[row]]
    codes = np.zeros(len(entry), dtype=np.int64)
    rows = (entry != int(TakeoffEntry.PLAIN)).nonzero()[0]
    if len(rows):  # plain entries, which most are, cost no look
        leg = rows + (row or 0)
        is_one = legs.is_branch[leg] & (legs.common[leg] != legs.duct[leg])
        rows, leg = (each[is_one & (legs.leg_count[leg] > 2)] for each in (rows, leg))
        codes[rows] = taken(
            legs.entry[leg],
            ducts.shape[legs.common[leg]],
            ducts.shape[legs.duct[leg]],
            legs.angle[leg],
            legs.is_symmetrical[leg],
            joining,
        )
    return codes


def tabled_entries(
    common_shape: npt.NDArray[np.int64],
    branch_shape: npt.NDArray[np.int64],
    angle: FloatArray,
    symmetrical: BoolArray,
    joining: bool,
) -> BoolArray:
    """Which entries have a value of their own at each branch.

    Parameters are those of `taken`.

    Returns
    -------
    tabled
        Shape (n, e): a column for each `TakeoffEntry`, in the order of their codes.
    """
    return np.stack(
        [
            taken(
                np.full(len(angle), int(entry)),
                common_shape,
                branch_shape,
                angle,
                symmetrical,
                joining,
            )
            == int(Taken.ITSELF)
            for entry in TakeoffEntry
        ],
        axis=1,
    )


def entries_taken(
    entry: npt.NDArray[np.int64],
    common_shape: npt.NDArray[np.int64],
    branch_shape: npt.NDArray[np.int64],
    angle: FloatArray,
    symmetrical: BoolArray,
    joining: bool,
) -> IntArray:
    """What the coefficient of each branch is of, as `taken` has it.

    Plain entries, which most are, cost no look.
    """
    found = np.zeros(len(entry), dtype=np.int64)
    rows = (entry != int(TakeoffEntry.PLAIN)).nonzero()[0]
    if len(rows):
        found[rows] = taken(
            entry[rows],
            common_shape[rows],
            branch_shape[rows],
            angle[rows],
            symmetrical[rows],
            joining,
        )
    return found
