"""What stands in a duct with a loss that is declared: coils, silencers, dampers."""

import numpy as np

from elbowroom.layout import DuctGraph, FloatArray, refusal

from .air import Air
from .flows import duct_flows, loops_of


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
    ducts = graph.components.duct
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
