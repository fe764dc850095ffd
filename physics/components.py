"""What stands in a duct with a loss that is declared: coils, silencers, dampers."""

import numpy as np

from elbowroom.layout import (
    ComponentSpec,
    DuctGraph,
    FloatArray,
    IntArray,
    refusal,
)

from .air import Air
from .flows import duct_flows, loops_of


def component_ducts(graph: DuctGraph) -> IntArray:
    """Duct in which each component of a graph's schedule stands, shape (c,).

    The first of its run from the source on, or that which is nearest to its place.
    """
    found = []
    for spec in graph.schedule.components:
        ducts = ducts_of_run(graph, spec)
        if spec.at is not None:
            apart = _distance(graph, ducts, np.array(spec.at))
            nearest = int(apart.argmin())
            ducts, off = ducts[[nearest]], float(apart[nearest])
            if off > graph.ducts.width[ducts[0]] / 2 + graph.ducts.height[ducts[0]] / 2:
                raise refusal(
                    f"{graph.schedule.file}, [[component]] '{spec.name}' at",
                    f"no piece of run '{spec.run}' is there; the nearest is "
                    f"{off:.3g} m away",
                    "correct the coordinates",
                )
        found.append(int(ducts[0]))
    return np.array(found, dtype=np.int64)


def ducts_of_run(graph: DuctGraph, spec: ComponentSpec) -> IntArray:
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


def _distance(graph: DuctGraph, ducts: IntArray, point: FloatArray) -> FloatArray:
    """Distance of a point from the straight line through each of some ducts, m."""
    begin = graph.nodes[graph.ducts.start[ducts]]
    along = graph.ducts.end[ducts] - begin
    square = np.maximum(np.einsum("ij,ij->i", along, along), 1e-12)
    share = (np.einsum("ij,ij->i", point - begin, along) / square).clip(0.0, 1.0)
    return np.asarray(np.linalg.norm(begin + share[:, None] * along - point, axis=1))


def component_coefficients(graph: DuctGraph, air: Air, loss_ratio: float) -> FloatArray:
    """Loss coefficient of each component, on the velocity in its duct, shape (c,).

    Parameters
    ----------
    graph
        The classified graph, with an airflow at each terminal.
    air
        The air in its ducts.
    loss_ratio
        What a declared loss is multiplied by for one in this air.

    Raises
    ------
    BadInput
        If a loss is declared without its airflow where that follows from loops, or
        for a run that the air does not reach or a place where that is not.

    References
    ----------
    C = loss / (ρ V²/2), the definition: the loss goes with the square of the airflow.
    """
    specs = graph.schedule.components
    if not specs:
        return np.empty(0)
    ducts = component_ducts(graph)
    flow = duct_flows(graph)
    on_loop = np.zeros(len(flow), dtype=bool)
    if graph.loops is not None:
        on_loop |= loops_of(graph)[1].any(axis=0)
    found = np.zeros(len(specs))
    for row, (spec, duct) in enumerate(zip(specs, ducts.tolist(), strict=True)):
        if spec.coefficient is not None:
            found[row] = spec.coefficient
            continue
        if spec.airflow is None and on_loop[duct]:
            raise refusal(
                f"{graph.schedule.file}, [[component]] '{spec.name}'",
                "the airflow of its duct follows from the loops of the drawing",
                "write the airflow at which it has that loss, or a coefficient",
            )
        at = float(flow[duct]) if spec.airflow is None else spec.airflow
        speed = at / graph.section(duct).area
        if speed > 0.0:  # behind a closed end it loses nothing
            pressure = 0.5 * air.density * speed**2
            found[row] = (spec.loss or 0.0) * loss_ratio / pressure
    return found


def component_names(graph: DuctGraph) -> dict[int, str]:
    """What stands in each duct that has components, in words."""
    names: dict[int, list[str]] = {}
    for spec, duct in zip(
        graph.schedule.components, component_ducts(graph).tolist(), strict=True
    ):
        names.setdefault(duct, []).append(spec.name)
    return {duct: " and ".join(there) for duct, there in sorted(names.items())}
