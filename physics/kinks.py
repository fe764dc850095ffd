"""The kinks of a transition that goes further to one side than a flat side explains."""

import numpy as np

from elbowroom.layout import DuctGraph, Ducts, FloatArray, IntArray, Shape

from . import elbows
from .coefficient import Gathered, Note
from .losses import between_ways


def count_kinks(
    graph: DuctGraph, size: FloatArray, reynolds: FloatArray, found: Gathered
) -> None:
    """Add to the transitions what their kinks spend.

    Parameters
    ----------
    graph, size, reynolds
        The graph; area of its ducts, m², and Reynolds number in them, shape (d,).
    found
        Coefficients of the graph's transitions, each on the velocity in its smaller
        area, which are added to, noted, and credited to the tables of the kinks too, in
        the lowest class.

    Notes
    -----
    Our own rule, no published source: at each end a mitred elbow of the angle there
    (see `layout.offsets`), in the section and at the velocity of the duct there; askew
    between the two ways of turning, as drawn elbows are. Beyond a right angle that.
    """
    changes, ducts = graph.transitions, graph.ducts
    if not changes.kink.any():  # as nearly everywhere
        return
    rows = np.flatnonzero(changes.kink.any(axis=0))
    after = changes.duct
    before = ducts.parent[after]
    small = np.minimum(size[before], size[after])
    whole = found.value * found.reynolds_factor
    for end, duct in enumerate((before, after)):
        kink, share = changes.kink[end], changes.kink_share[end]
        mine = kink.nonzero()[0]
        at, turn = duct[mine], np.minimum(kink[mine], np.pi / 2)
        here = _mitred(ducts, at, turn, share[mine], reynolds[at])
        value = here.value * (small[mine] / size[at]) ** 2
        found.value[mine] += value
        whole[mine] += value * here.reynolds_factor
        found.credit_also(mine, here)
    found.notes[rows] |= int(Note.KINKS)
    value = found.value[rows]
    factor = np.divide(whole[rows], value, out=np.ones(len(rows)), where=value > 0.0)
    found.reynolds_factor[rows] = factor


def _mitred(
    ducts: Ducts, at: IntArray, turn: FloatArray, share: FloatArray, re: FloatArray
) -> Gathered:
    """Mitred elbows in some ducts, of which a share turns in the plane of the width."""
    out = Gathered(len(at))
    shape, aspect = ducts.shape[at], ducts.height[at] / ducts.width[at]
    for code in np.unique(shape).tolist():
        mine = (shape == code).nonzero()[0]
        if code == int(Shape.ROUND):
            out.put(mine, elbows.round_mitred(turn[mine], re[mine]))
            continue
        flat = elbows.flat_oval_mitred if code == Shape.OVAL else elbows.rect_mitred
        one, other = (
            flat(ratio[mine], turn[mine], re[mine]) for ratio in (aspect, 1 / aspect)
        )
        out.put(mine, between_ways(one, other, 1.0 - share[mine]))
    return out
