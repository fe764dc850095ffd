"""In which duct each component of a schedule stands."""

from typing import TYPE_CHECKING

import numpy as np

from .faults import refusal
from .quantity_words import length_words
from .schedule import ComponentSpec
from .sections import FloatArray, IntArray

if TYPE_CHECKING:
    from .graph import DuctGraph


def component_ducts(graph: "DuctGraph") -> IntArray:
    """Duct in which each component of a graph's schedule stands, shape (c,).

    The first of its run from the source on, or that which is nearest to its place.
    """
    found = []
    for spec in graph.schedule.components:
        ducts = _of_run(graph, spec)
        if spec.at is not None:
            begin = graph.nodes[graph.ducts.start[ducts]]
            apart = line_distance(begin, graph.ducts.end[ducts], np.array(spec.at))
            nearest = int(apart.argmin())
            ducts, off = ducts[[nearest]], float(apart[nearest])
            if off > graph.ducts.width[ducts[0]] / 2 + graph.ducts.height[ducts[0]] / 2:
                raise refusal(
                    f"{graph.schedule.file}, [[component]] '{spec.name}' at",
                    f"no piece of run '{spec.run}' is there; the nearest is "
                    f"{length_words(off)} away",
                    "correct the coordinates",
                )
        found.append(int(ducts[0]))
    return np.array(found, dtype=np.int64)


def _of_run(graph: "DuctGraph", spec: ComponentSpec) -> IntArray:
    """Ducts of the run in which a component stands; BadInput if air reaches none."""
    names = graph.drawing.names
    runs = [run for run, name in enumerate(names) if name == spec.run]
    ducts = np.isin(graph.ducts.run, runs).nonzero()[0]
    if len(ducts) == 0:
        raise refusal(
            f"{graph.schedule.file}, [[component]] '{spec.name}'",
            f"the air does not come through run '{spec.run}'",
            "name a run that the source reaches",
        )
    return ducts


def line_distance(begin: FloatArray, end: FloatArray, point: FloatArray) -> FloatArray:
    """Distance of a point from each of some straight lines, m, shape (n,).

    Parameters
    ----------
    begin, end
        Where each line begins and ends, m, shape (n, 3).
    point
        m, shape (3,).
    """
    along = end - begin
    square = np.maximum(np.einsum("ij,ij->i", along, along), 1e-12)
    share = (np.einsum("ij,ij->i", point - begin, along) / square).clip(0.0, 1.0)
    return np.asarray(np.linalg.norm(begin + share[:, None] * along - point, axis=1))
