"""Airflow in every duct, by continuity from the terminals to the source."""

import numpy as np

from elbowroom.layout import (
    BadInput,
    DuctGraph,
    FloatArray,
    Notice,
    error,
    sum_of_subtree,
)

# A drawing rounds its airflows; more than this is another system.
_AGREES = 0.01


def duct_flows(graph: DuctGraph) -> FloatArray:
    """Airflow in each duct.

    Parameters
    ----------
    graph
        The classified graph, with an airflow at each terminal.

    Returns
    -------
    flow
        m³/s, shape (d,): the sum of the terminals behind each duct.
    """
    parent, terminals = graph.ducts.parent, graph.terminals
    leaving = np.bincount(terminals.duct, terminals.flow, len(parent))
    return sum_of_subtree(parent, leaving.astype(np.float64))


def check_drawn_flows(graph: DuctGraph, flow: FloatArray) -> None:
    """Refuse airflows that do not add up to those in the drawing.

    Parameters
    ----------
    graph
        The classified graph.
    flow
        Airflow in each duct by continuity, m³/s, shape (d,).

    Raises
    ------
    BadInput
        If a run's drawn airflow differs by more than 1 % from the sum of the
        terminals behind its start: every such run.
    """
    ducts = graph.ducts
    before = ducts.parent
    # A drawn airflow is the one at the start of its run.
    begins = (before < 0) | (ducts.run != ducts.run[before])
    off = np.abs(ducts.drawn_flow - flow) > _AGREES * flow
    faults: list[Notice] = []
    for duct in np.flatnonzero(begins & off).tolist():
        faults.append(
            error(
                graph.place(duct),
                f"the drawing writes {ducts.drawn_flow[duct]:.4g} m3/s there, but the "
                f"terminals behind it add up to {flow[duct]:.4g} m3/s",
                "correct the airflow of the run or of its terminals",
            )
        )
    if faults:
        raise BadInput(faults)
