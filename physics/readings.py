"""Junctions that are in part one thing, in part another: their legs read as each."""

from dataclasses import fields, replace

import numpy as np

from elbowroom.layout import IntArray, Legs

STRAIGHT_LEG = np.radians(1.0)  # a main that turns further at its branch bends too


def some_legs(legs: Legs, rows: IntArray) -> Legs:
    """Some of the legs, by their rows; those of a junction stay beside each other."""
    return Legs(*(getattr(legs, part.name)[rows] for part in fields(legs)))


def branch_rows(legs: Legs) -> IntArray:
    """Row of the branch that each main of two legs passes; of all others their own.

    By rows and not by ducts, as one may lead away from a joint and rest at the next.
    """
    every = np.arange(len(legs.duct))
    passes = ~legs.is_branch & (legs.leg_count == 3)
    both = np.bincount(legs.common, every)[legs.common].astype(np.int64)
    return np.where(passes, both - every, every)


def with_main(legs: Legs) -> Legs:
    """Legs read as mains with branches; where no leg is a main all are branches."""
    read = replace(
        legs,
        is_branch=legs.duct != legs.straight,
        likeness=np.zeros(len(legs.duct)),
    )
    return replace(read, branch=legs.duct[branch_rows(read)])


def as_branches(legs: Legs) -> Legs:
    """Legs read as branches, none of which is the main: as where two tie for it."""
    return replace(
        legs,
        straight=legs.common,
        is_branch=np.ones(len(legs.duct), dtype=bool),
        straight_angle=np.zeros(len(legs.duct)),
        likeness=np.zeros(len(legs.duct)),
        branch=legs.duct,
    )


def as_wyes(legs: Legs) -> Legs:
    """Legs read as those of wyes, or of bullhead tees, which have no main."""
    return replace(
        legs,
        is_branch=np.ones(len(legs.duct), dtype=bool),
        likeness=np.ones(len(legs.duct)),
        branch=legs.duct,
    )
