"""Straight duct behind each element, in however many runs it is drawn."""

import numpy as np

from elbowroom.layout import DuctGraph, FloatArray, IntArray, straights

from .analysis import Analysis
from .elements import Kind


def straight_after(analysis: Analysis) -> FloatArray:
    """Straight duct behind each element, m, shape (n,); of a component from its place.

    In however many runs it is drawn. NaN where the place that it begins or ends at is
    assumed: it would look measured. 0 behind a bend that does not fit, which is said
    by itself.
    """
    e, graph = analysis.elements, analysis.graph
    ducts = graph.ducts
    after = ducts.reach[e.duct]
    rows = (e.kind == Kind.COMPONENT).nonzero()[0]
    if len(rows):
        duct, share = e.duct[rows], graph.components.share[e.row[rows]]
        straight = np.maximum(ducts.straight[duct], 0.0)
        specs = graph.schedule.components
        said = np.array([specs[row].at is not None for row in e.row[rows].tolist()])
        share = np.where(said, share, np.nan)
        ends = np.append(np.where(duct[1:] == duct[:-1], share[1:], 1.0), 1.0)
        after[rows] = straight * (ends - share)
        if ducts.continues.any():
            after[rows] += _straight_on(graph, duct, share)
    return after


def _straight_on(graph: DuctGraph, duct: IntArray, share: FloatArray) -> FloatArray:
    """Straight length from the ducts of components on, to the next one or the end, m.

    0 for one with another behind it in its own duct; `share` is where each stands.
    """
    ducts = graph.ducts
    stretch, straight = ducts.stretch, np.maximum(ducts.straight, 0.0)
    begins = straights(ducts, np.zeros(len(straight), bool)).begins  # of any kind
    order = np.lexsort((np.arange(len(duct)), duct, stretch[duct]))
    one, other = order[:-1], order[1:]
    to = ducts.reach[duct]
    along = stretch[duct[one]] == stretch[duct[other]]
    behind = begins[duct] + share * straight[duct]
    to[one[along]] = behind[other[along]]
    from_end = to - begins[duct] - straight[duct]
    last = np.append(duct[1:] != duct[:-1], True)
    return np.asarray(np.where(last, from_end, 0.0))
