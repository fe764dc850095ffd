"""How long transitions are that nobody drew, and which mains have one of their own."""

import numpy as np

from .constructions import TakeoffEntry
from .drawing import Drawing
from .fittings import Ducts, Legs
from .pieces import SAME_SIZE, runs_named, sides_before
from .schedule import Schedule
from .sections import FloatArray, IntArray, Shape

Sides = tuple[FloatArray, FloatArray]


def transition_lengths(
    drawing: Drawing, schedule: Schedule, run: IntArray, before: Sides, after: Sides
) -> tuple[FloatArray, IntArray]:
    """Length of transitions, and what it rests on.

    Parameters
    ----------
    drawing, schedule
        The drawing, and the schedule with its rules for transitions.
    run
        Run behind each, which the rules name, shape (t,).
    before, after
        Width and height before and behind each, m, shape (t,) each.

    Returns
    -------
    length, basis
        m, and `Basis` codes, shape (t,) each.
    """
    step = np.maximum(np.abs(after[0] - before[0]), np.abs(after[1] - before[1]))
    # Between shapes of the same sides there is no slope: one side long.
    step = np.where(step < SAME_SIZE, before[0], step)
    rule, rule_basis = schedule.transition_rule("")
    length = rule.length_for(step)
    basis = np.full(len(run), int(rule_basis))
    for name in schedule.transition_exceptions:
        rule, rule_basis = schedule.transition_rule(name)
        named = np.isin(run, runs_named(drawing, (name,)))
        length[named] = rule.length_for(step[named])
        basis[named] = int(rule_basis)
    return length, basis


def changed_mains(ducts: Ducts, legs: Legs) -> tuple[IntArray, IntArray]:
    """Mains whose section is not that of the common duct: rows of the legs.

    Those past radii alone, off a rectangle, stand apart, as the table of radius wyes
    has rows of other areas: the second array. Legs that are mains in part are counted.
    """
    main, rest = legs.common, legs.straight
    wide, high = sides_before(ducts.width, ducts.height, main, ducts.crossed[rest])
    found = (wide != ducts.width[rest]) | (high != ducts.height[rest])
    found |= ducts.shape[main] != ducts.shape[rest]
    found &= (legs.duct == rest) & (legs.duct != main)
    found &= legs.leg_count > 2  # no taps
    rows = found.nonzero()[0]
    alone = rows[:0]
    by_radius = legs.entry == int(TakeoffEntry.RADIUS)
    if by_radius.any():
        plain = ~by_radius & (legs.duct != legs.common)
        other = np.bincount(legs.common, plain)[legs.common] - plain
        boxy = ducts.shape[legs.common[rows]] == int(Shape.RECTANGULAR)
        swept = boxy & (other[rows] == 0)
        rows, alone = rows[~swept], rows[swept]
    return rows, alone
