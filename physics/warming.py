"""Air that warms or cools along its ducts, and surfaces that sweat."""

import numpy as np

from elbowroom.layout import DuctGraph, FloatArray, IntArray, sum_from_root

from .flows import goes_on

OUTSIDE_FILM = 8.0  # W/(m² K), still air on the outside; 6 to 10 from memory
_STILL = 50.0  # transfer units: nothing is left of a difference


def transfer_units(
    transmission: float,
    surface: FloatArray,
    mass_flow: FloatArray,
    specific_heat: float,
) -> FloatArray:
    """Transfer units of ducts, U A / (m cp), shape (d,).

    Parameters
    ----------
    transmission
        W/(m² K).
    surface
        m², shape (d,).
    mass_flow
        kg/s, shape (d,).
    specific_heat
        J/(kg K).

    Returns
    -------
    ntu
        Air that stands still takes the temperature around it: as good as endless.
    """
    moves = mass_flow > 0.0
    carried = np.where(moves, mass_flow, 1.0) * specific_heat
    return np.where(moves, transmission * surface / carried, _STILL)


def temperatures(
    parent: IntArray, ntu: FloatArray, supply: float, around: float
) -> tuple[FloatArray, FloatArray]:
    """Temperature of the air at the start and the end of each duct, K, shape (d,).

    Parameters
    ----------
    parent
        Duct before each, earlier in the order; -1 at the source, shape (d,).
    ntu
        Transfer units of each.
    supply, around
        Temperature at the source and around the ducts, K.

    Notes
    -----
    T = Ta + (T0 - Ta) exp(-NTU) along each duct: exact where the transmission and the
    surroundings are the same throughout; ASHRAE Handbook Fundamentals has the same
    with the mean temperature. Transfer units add up along a path.
    """
    whole = sum_from_root(parent, ntu)
    end = around + (supply - around) * np.exp(-whole)
    start = around + (supply - around) * np.exp(-(whole - ntu))
    return np.asarray(start), np.asarray(end)


def temperatures_in(
    graph: DuctGraph, ntu: FloatArray, flow: FloatArray, supply: float, around: float
) -> tuple[FloatArray, FloatArray]:
    """Temperature of the air where it enters and leaves each duct of a graph, K.

    As `temperatures`, with the airflow in m³/s, shape (d,): where the air of a loop
    meets, or that of the branches of a return, it goes on with the mean temperature of
    what comes. A return takes its air in at the terminals, at `supply`.
    """
    parent = graph.ducts.parent
    if graph.is_return:
        return _towards_the_fan(graph, ntu, flow, supply, around)
    if graph.loops is None:
        return temperatures(parent, ntu, supply, around)
    arriving: dict[int, list[int]] = {}
    for duct, kept in goes_on(graph).items():
        arriving.setdefault(kept, [kept]).append(duct)
    start, end = np.empty_like(ntu), np.empty_like(ntu)
    for duct, before in enumerate(parent.tolist()):  # what arrives comes before
        ducts = arriving.get(before, [before])
        start[duct] = supply
        if before >= 0:
            weights = flow[ducts] if flow[ducts].any() else None
            start[duct] = np.average(end[ducts], weights=weights)
        end[duct] = around + (start[duct] - around) * np.exp(-ntu[duct])
    return start, end


def _towards_the_fan(
    graph: DuctGraph, ntu: FloatArray, flow: FloatArray, taken_in: float, around: float
) -> tuple[FloatArray, FloatArray]:
    parent = graph.ducts.parent
    # The air of a loop parts there.
    kept = {} if graph.loops is None else goes_on(graph)
    behind: dict[int, list[int]] = {}
    for duct, before in enumerate(parent.tolist()):
        behind.setdefault(before, []).append(duct)
    at_end = np.bincount(graph.terminals.duct, graph.terminals.flow, len(parent))
    enters, leaves = np.empty_like(ntu), np.empty_like(ntu)
    for duct in range(len(parent) - 1, -1, -1):  # what comes is behind
        node = kept.get(duct, duct)
        joins = behind.get(node, [])
        weights = np.append(flow[joins], at_end[node])
        enters[duct] = taken_in
        if weights.any():
            mixing = np.append(leaves[joins], taken_in)
            enters[duct] = np.average(mixing, weights=weights)
        leaves[duct] = around + (enters[duct] - around) * np.exp(-ntu[duct])
    return enters, leaves


def surface_temperature(
    air: FloatArray, around: float, transmission: float
) -> FloatArray:
    """Temperature of the outer surface of ducts, K, shape (n,).

    Notes
    -----
    Ta - U / h (Ta - T), with the film `OUTSIDE_FILM`: common practice, the film from
    memory.
    """
    return np.asarray(around - transmission / OUTSIDE_FILM * (around - air))
