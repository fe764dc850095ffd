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
    transition_lengths,
)

from .coefficient import Gathered, Note
from .readings import branch_opposite


@dataclass(frozen=True, eq=False)
class OwnChanges:
    """Changes of section of mains where a branch leaves them: rows of the legs.

    Parameters
    ----------
    rows
        The mains that have one.
    value
        What a transition behind the branch would spend, on the velocity in its smaller
        area; shape as `rows`.
    """

    rows: IntArray
    value: FloatArray


def own_change_rows(ducts: Ducts, legs: Legs) -> IntArray:
    """Mains whose section is not that of the common duct; no radius wyes.

    The table of these has rows of other areas. Legs that are mains in part are counted.
    """
    main, rest = legs.common, legs.straight
    found = (ducts.width[main] != ducts.width[rest]) | (
        ducts.height[main] != ducts.height[rest]
    )
    found |= ducts.shape[main] != ducts.shape[rest]
    found &= (legs.duct == rest) & (legs.duct != main)
    found &= legs.leg_count > 2  # no taps
    rows = found.nonzero()[0]
    # Of a main it is that of the branch, but not where it is one in part only.
    entry = legs.entry[rows]
    partly = legs.is_branch[rows].nonzero()[0]
    if len(partly):
        entry[partly] = legs.entry[branch_opposite(legs, rows[partly])]
    curved = entry == int(TakeoffEntry.RADIUS)
    curved &= ducts.shape[legs.common[rows]] == Shape.RECTANGULAR
    return np.asarray(rows[~curved])


def own_change_lengths(graph: DuctGraph, main: IntArray, rest: IntArray) -> FloatArray:
    """Length of the transition that a main's change of section counts as, m."""
    ducts = graph.ducts
    length, _ = transition_lengths(
        graph.drawing,
        graph.schedule,
        ducts.run[rest],
        (ducts.width[main], ducts.height[main]),
        (ducts.width[rest], ducts.height[rest]),
    )
    return length


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
    graph: DuctGraph,
    size: FloatArray,
    flow: FloatArray,
    own: OwnChanges,
    found: Gathered,
) -> None:
    """Add to the legs what a main's change of section spends that no table has.

    Parameters
    ----------
    graph, size, flow
        The graph; area of its ducts, m², and airflow, m³/s.
    own
        The changes, as `transition_coefficients` gives them.
    found
        Coefficients of the graph's legs, which are added to and noted.

    Notes
    -----
    Our own rule, as the tables end with a main that keeps its area or its velocity. One
    that grows counts as a transition behind the branch. One in which the air grows
    faster does in part: in full where the branch takes no air, and not at all where the
    main shrinks as its airflow does, with a straight line between. So a small branch
    changes little of what the change of section spends without it.
    """
    legs, rows = graph.legs, own.rows
    main, rest = legs.common[rows], legs.straight[rows]
    wide, share = size[rest] / size[main], flow[rest] / flow[main]
    main_part = (1.0 - legs.likeness[rows]) * (1.0 - legs.evenness[rows])
    part = own_part(wide, share) * main_part
    speed = share / np.minimum(wide, 1.0)  # in the smaller area
    added = own.value * speed**2 * part
    counts = added > 0.0
    if not counts.any():
        return
    rows = rows[counts]
    found.value[rows] += added[counts]
    found.stand_in(rows)
    instead = int(Note.FALLBACK | Note.CLAMPED | Note.EXTENDED)
    found.notes[rows] = found.notes[rows] & ~instead | int(Note.OWN_CHANGE)
