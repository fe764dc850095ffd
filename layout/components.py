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
            apart = _distance(graph, ducts, np.array(spec.at))
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


def _distance(graph: "DuctGraph", ducts: IntArray, point: FloatArray) -> FloatArray:
    """Distance of a point from the straight line through each of some ducts, m."""
    begin = graph.nodes[graph.ducts.start[ducts]]
    along = graph.ducts.end[ducts] - begin
    square = np.maximum(np.einsum("ij,ij->i", along, along), 1e-12)
    share = (np.einsum("ij,ij->i", point - begin, along) / square).clip(0.0, 1.0)
    return np.asarray(np.linalg.norm(begin + share[:, None] * along - point, axis=1))
