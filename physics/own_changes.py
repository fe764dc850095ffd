"""A main that changes its section where a branch leaves it."""

from dataclasses import dataclass

import numpy as np

from elbowroom.layout import (
    DuctGraph,
    Ducts,
    FloatArray,
    IntArray,
    Legs,
    Shape,
    TakeoffEntry,
    sides_before,
    transition_lengths,
)

from .coefficient import Gathered, Note


@dataclass(frozen=True, eq=False)
class OwnChanges:
    """Changes of section of mains where a branch leaves them: rows of the legs.

    Parameters
    ----------
    rows
        The mains that have one.
    found
        What a transition behind the branch would spend, on the velocity in its smaller
        area, one for each of `rows`.
    shape
        What of that is the allowance for a change of shape alone, shape as `rows`.
    basis
        `Basis` codes of its length; shape as `rows`.
    note
        `Note` bits that legs with one are noted with; shape as `rows`.
    """

    rows: IntArray
    found: Gathered
    shape: FloatArray
    basis: IntArray
    note: IntArray

    def joined(self, other: "OwnChanges") -> "OwnChanges":
        """Put those of other mains behind these."""
        count = len(self.rows)
        found = Gathered(count + len(other.rows))
        found.take_over(np.arange(count), self.found)
        found.take_over(np.arange(count, len(found.value)), other.found)
        return OwnChanges(
            np.append(self.rows, other.rows),
            found,
            np.append(self.shape, other.shape),
            np.append(self.basis, other.basis),
            np.append(self.note, other.note),
        )


def own_change_lengths(
    graph: DuctGraph, main: IntArray, rest: IntArray
) -> tuple[FloatArray, IntArray]:
    """Length of the transition that a main's change of section counts as, m.

    Also what that rests on: `Basis` codes.
    """
    ducts = graph.ducts
    return transition_lengths(
        graph.drawing,
        graph.schedule,
        ducts.run[rest],
        sides_before(ducts.width, ducts.height, main, ducts.crossed[rest]),
        (ducts.width[rest], ducts.height[rest]),
    )


def own_part(wide: FloatArray, share: FloatArray) -> FloatArray:
    """Part of a transition behind the branch that a main's change of section counts as.

    Parameters
    ----------
    wide
        Area of the main behind the branch over that before it.
    share
        Its airflow over that before; of the shape of `wide`.
    """
    shrinks = wide < 1.0
    part = np.where(shrinks, (share - wide) / np.where(shrinks, 1.0 - wide, 1.0), 1.0)
    return np.asarray(part.clip(0.0, 1.0))


def count_own_changes(
    ducts: Ducts,
    legs: Legs,
    size: FloatArray,
    flow: FloatArray,
    own: OwnChanges,
    found: Gathered,
) -> None:
    """Add to the legs what a main's change of section spends that no table has.

    Parameters
    ----------
    ducts, legs, size, flow
        Ducts and legs of junctions; area of each duct, m², and airflow, m³/s.
    own
        The changes, as `transition_coefficients` gives them.
    found
        Coefficients of the legs, which are added to, noted, and credited to
        the table of the transition too.

    Notes
    -----
    Our own rule, as the tables end with a main that keeps its area or its velocity. One
    that grows counts as a transition behind the branch. One in which the air grows
    faster does in part: in full where the branch takes no air, and not at all where the
    main shrinks as its airflow does, with a straight line between. So a small branch
    changes little of what the change of section spends without it. The allowance for a
    change of shape counts in full. Of several branches those that leave a rectangular
    main by a radius, whose table has mains of other areas but of one shape, have their
    share of the air in the rest. Past such alone, and where air joins, in a return,
    that allowance counts alone: the tables there have mains of other areas.
    """
    rows = own.rows
    main, rest = legs.common[rows], legs.straight[rows]
    wide, share = size[rest] / size[main], flow[rest] / flow[main]
    part = own_part(wide, share)
    if (legs.entry == int(TakeoffEntry.RADIUS)).any():
        part *= 1.0 - _by_radius(ducts, legs, flow)[rows]
    added = own.shape + (own.found.value - own.shape) * part
    added *= (share / np.minimum(wide, 1.0)) ** 2  # the speed in the smaller area
    added *= (1.0 - legs.likeness[rows]) * (1.0 - legs.evenness[rows])
    counts = (added > 0.0).nonzero()[0]
    if len(counts):
        rows = rows[counts]
        found.value[rows] += added[counts]
        found.credit_also(rows, own.found.part(counts))
        note = own.note[counts]
        instead = int(Note.FALLBACK | Note.CLAMPED | Note.EXTENDED)
        found.notes[rows[note == int(Note.OWN_CHANGE)]] &= ~instead
        found.notes[rows] |= note


def _by_radius(ducts: Ducts, legs: Legs, flow: FloatArray) -> FloatArray:
    """Share of the air beside each leg that goes by a radius off a rectangle."""
    swept = legs.entry == int(TakeoffEntry.RADIUS)
    swept &= ducts.shape[legs.common] == int(Shape.RECTANGULAR)
    air = flow[legs.duct]
    beside = np.bincount(legs.common, air)[legs.common] - air
    curved = np.bincount(legs.common, air * swept)[legs.common] - air * swept
    return np.asarray((curved / np.maximum(beside, 1e-12)).clip(0.0, 1.0))
