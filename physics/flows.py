"""Airflow in every duct, by continuity from the terminals to the source."""

import numpy as np

from elbowroom.layout import (
    BadInput,
    DuctGraph,
    FloatArray,
    IntArray,
    Notice,
    error,
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
    flow = np.zeros(len(graph.ducts.parent))
    np.add.at(flow, graph.terminals.duct, graph.terminals.flow)
    total = flow.tolist()
    parent = graph.ducts.parent.tolist()
    for duct in range(len(total) - 1, -1, -1):  # children stand after their parents
        before = parent[duct]
        if before >= 0:
            total[before] += total[duct]
    return np.array(total)


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


def downstream_sum(parent: IntArray, own: FloatArray) -> FloatArray:
    """Sum of a quantity along the way from the source to each duct, itself included.

    Parameters
    ----------
    parent
        Duct before each, earlier in the order; negative at the source, shape (d,).
    own
        What each duct adds, shape (d,).

    Returns
    -------
    total
        Shape (d,).

    Examples
    --------
    >>> downstream_sum(np.array([-1, 0, 1, 0]), np.array([1.0, 2.0, 3.0, 4.0]))
    array([1., 3., 6., 5.])
    """
    total = own.tolist()
    for duct, before in enumerate(parent.tolist()):
        if before >= 0:
            total[duct] += total[before]
    return np.array(total)
