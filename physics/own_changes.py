"""A main that changes its section where a branch leaves it."""

from dataclasses import dataclass

import numpy as np

from elbowroom.layout import (
    DuctGraph,
    FloatArray,
    IntArray,
    Legs,
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
    basis
        `Basis` codes of its length; shape as `rows`.
    """

    rows: IntArray
    found: Gathered
    basis: IntArray


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
    legs: Legs,
    size: FloatArray,
    flow: FloatArray,
    own: OwnChanges,
    found: Gathered,
) -> tuple[IntArray, IntArray]:
    """Add to the legs what a main's change of section spends that no table has.

    Parameters
    ----------
    legs, size, flow
        Legs of junctions; area of each duct, m², and airflow, m³/s.
    own
        The changes, as `transition_coefficients` gives them.
    found
        Coefficients of the legs, which are added to, noted, and credited to
        the table of the transition too.

    Returns
    -------
    rows, basis
        The legs to which something was added, and what it rests on: `Basis` codes of
        the transitions' lengths.

    Notes
    -----
    Our own rule, as the tables end with a main that keeps its area or its velocity. One
    that grows counts as a transition behind the branch. One in which the air grows
    faster does in part: in full where the branch takes no air, and not at all where the
    main shrinks as its airflow does, with a straight line between. So a small branch
    changes little of what the change of section spends without it.
    """
    rows = own.rows
    main, rest = legs.common[rows], legs.straight[rows]
    wide, share = size[rest] / size[main], flow[rest] / flow[main]
    main_part = (1.0 - legs.likeness[rows]) * (1.0 - legs.evenness[rows])
    part = own_part(wide, share) * main_part
    speed = share / np.minimum(wide, 1.0)  # in the smaller area
    added = own.found.value * speed**2 * part
    counts = (added > 0.0).nonzero()[0]
    if len(counts):
        rows = rows[counts]
        found.value[rows] += added[counts]
        found.credit_also(rows, own.found.part(counts))
        instead = int(Note.FALLBACK | Note.CLAMPED | Note.EXTENDED)
        found.notes[rows] = found.notes[rows] & ~instead | int(Note.OWN_CHANGE)
    return rows[: len(counts)], own.basis[counts]
