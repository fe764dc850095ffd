"""In which duct each component of a schedule stands, and where in it."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from .faults import refusal
from .quantity_words import length_words
from .schedule import ComponentSpec
from .sections import FloatArray, IntArray

if TYPE_CHECKING:
    from .graph import DuctGraph


@dataclass(frozen=True, eq=False)
class Components:
    """Where the components of a schedule stand: arrays of shape (c,), in its order.

    Parameters
    ----------
    duct
        Duct of each: the first of its run from the source on, or that which is nearest
        to its place.
    share
        Where it is along the straight part of that, from 0 to 1; in the middle where
        nobody says.
    order
        Rows of them all in walking order, along each duct by their place.
    """

    duct: IntArray
    share: FloatArray
    order: IntArray


def components_of(graph: "DuctGraph") -> Components:
    """Find where the components of a graph's schedule stand.

    BadInput where one stands in no duct.
    """
    specs, ducts = graph.schedule.components, graph.ducts
    runs: dict[str, list[int]] = {}
    for run, name in enumerate(graph.drawing.names if specs else ()):
        runs.setdefault(name, []).append(run)
    found, share = np.zeros(len(specs), dtype=np.int64), np.full(len(specs), 0.5)
    for row, spec in enumerate(specs):
        mine = _of_run(graph, spec, runs.get(spec.run, []))
        if spec.at is not None:
            place = np.array(spec.at)
            begin = graph.nodes[ducts.start[mine]]
            apart, _ = nearest_on_lines(begin, ducts.end[mine], place)
            nearest = int(apart.argmin())
            mine, off = mine[[nearest]], float(apart[nearest])
            if off > ducts.width[mine[0]] / 2 + ducts.height[mine[0]] / 2:
                raise refusal(
                    f"{graph.schedule.file}, [[component]] '{spec.name}' at",
                    f"no piece of run '{spec.run}' is there; the nearest is "
                    f"{length_words(off)} away",
                    "correct the coordinates",
                )
            _, (share[row],) = nearest_on_lines(
                ducts.begin[mine], ducts.end[mine], place
            )
        found[row] = mine[0]
    return Components(found, share, np.lexsort((share, found)))


def _of_run(graph: "DuctGraph", spec: ComponentSpec, runs: list[int]) -> IntArray:
    """Ducts of the runs that a component names; BadInput if air reaches none."""
    ducts = np.isin(graph.ducts.run, runs).nonzero()[0]
    if len(ducts) == 0:
        raise refusal(
            f"{graph.schedule.file}, [[component]] '{spec.name}'",
            f"the air does not come through run '{spec.run}'",
            "name a run that the source reaches",
        )
    return ducts


def nearest_on_lines(
    begin: FloatArray, end: FloatArray, point: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Distance of points from straight lines, and where along each they are nearest.

    Parameters
    ----------
    begin, end
        Where each line begins and ends, m, shape (n, 3).
    point
        One for all, m, shape (3,), or one for each, (n, 3).

    Returns
    -------
    distance, share
        In m, and from 0 at the beginning to 1 at the end, shape (n,).
    """
    along = end - begin
    square = np.maximum(np.einsum("ij,ij->i", along, along), 1e-12)
    share = (np.einsum("ij,ij->i", point - begin, along) / square).clip(0.0, 1.0)
    apart = np.linalg.norm(begin + share[:, None] * along - point, axis=1)
    return np.asarray(apart), np.asarray(share)
