"""Mitred corners at which a rectangular duct changes its width: one print of both."""

import numpy as np

from elbowroom.layout import (
    Basis,
    DuctGraph,
    ElbowConstruction,
    FloatArray,
    Shape,
)

from .coefficient import Gathered
from .elbows_rect import rect_mitred_area_change
from .losses import as_they_stand, both_ways, ways_of_turning
from .shares import share_between
from .transitions import CHANGED, SAME_SIDE

CORNER = "rect_elbow_mitred_area_change"
_SQUARE, _ASKEW = np.radians([3.0, 15.0])  # off 90 degrees: as printed, and unlike it


def count_corners(
    graph: DuctGraph,
    area: FloatArray,
    reynolds: FloatArray,
    bends: Gathered,
    changes: Gathered,
) -> FloatArray:
    """Let corners take the print of an elbow whose outlet has another width.

    Parameters
    ----------
    graph
        The classified graph.
    area, reynolds
        Area, m², and Reynolds number of its ducts, shape (d,).
    bends, changes
        Coefficients of its bends and its transitions, changed in place: the elbow's
        row has what is printed, and that of the change of section nothing.

    Returns
    -------
    counted
        How much of each transition is in its elbow, shape (t,).

    Notes
    -----
    The print is of a mitred elbow of 90 degrees that keeps its height. It counts in
    full to 3 degrees off and gives way to the sum of elbow and transition at 15, as the
    width comes from 5 % of change down to 1 %, and as the height comes from 1 % to 5 %;
    askew each way of turning counts: our own choice. A transition that is drawn, or
    whose length is declared, is a piece behind the elbow and counts as one.
    """
    ducts, every = graph.ducts, graph.transitions
    counted = np.zeros(len(every.duct))
    mitred = graph.bends.construction == int(ElbowConstruction.MITRED)
    if not mitred.any():
        return counted
    bend, after = graph.bend_of[every.duct], every.duct
    rows = (bend >= 0) & (every.length_basis == int(Basis.ASSUMED))
    rows[rows] = mitred[bend[rows]]
    boxy = ducts.shape == int(Shape.RECTANGULAR)
    rows &= boxy[after] & boxy[ducts.parent[after]]
    if not rows.any():  # as nearly everywhere
        return counted
    row, bend, after = rows.nonzero()[0], bend[rows], after[rows]
    near = ducts.parent[after]
    turn = np.abs(np.einsum("ij,ij->i", graph.bends.axis[bend], ducts.across[after]))
    ways = ways_of_turning(graph.bends.skew[bend])
    ways = np.where(turn > np.sqrt(0.5), ways, ways[::-1])  # about the width, or not
    _, w1, h1, _, w2, h2 = as_they_stand(ducts, near, after)
    width, other = np.stack([h1, w1]), np.stack([h2, w2])  # in the plane, either way
    off = np.abs(graph.bends.angle[bend] - np.pi / 2)
    wide = share_between(np.abs(other / width - 1.0), SAME_SIDE, CHANGED)
    ways *= share_between(off, _ASKEW, _SQUARE) * wide * (1.0 - wide[::-1])
    ratio, inlet, upstream = other / width, width, near
    if graph.is_return:
        ratio, inlet, upstream = 1.0 / ratio, other, after
    found = rect_mitred_area_change(ratio, inlet[::-1] / inlet, reynolds[upstream])
    found.value[:] *= (area[near] / area[upstream]) ** 2  # on the bend's velocity
    found, share = both_ways(found, ways), ways.sum(axis=0)
    whole = share >= 1.0
    part = (share > 0.0) & ~whole
    value, factor = bends.value[bend], bends.reynolds_factor[bend]
    notes = bends.notes[bend] | found.notes
    lost = value * factor
    lost += found.value * found.reynolds_factor - lost * share
    value += found.value - value * share
    felt = whole | part
    counted[row] = share
    if whole.any():
        bends.credit[bend[whole]] = bends.number(found.credit)
        changes.credit[row[whole]] = changes.number(found.table_credit)
        changes.notes[row[whole]] = 0
    if part.any():
        bends.join(bend[part], found.credit)
        changes.join(row[part], found.table_credit)
    bends.value[bend[felt]] = value[felt]
    bends.reynolds_factor[bend[felt]] = (lost / value)[felt]
    bends.notes[bend[felt]] = np.where(whole, found.notes, notes)[felt]
    changes.value[row] *= 1.0 - share
    return counted
