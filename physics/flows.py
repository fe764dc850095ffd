"""Airflow in every duct, by continuity from the terminals to the source."""

import numpy as np

from elbowroom.layout import (
    BadInput,
    BoolArray,
    DuctGraph,
    FloatArray,
    IntArray,
    Notice,
    airflow_words,
    error,
    sum_of_subtree,
)

# A drawing rounds its airflows; more than this is another system.
_AGREES = 0.01
_SHUT = 1e24  # Pa s²/m⁶: a million pascals would drive a billionth of a litre a second


def duct_flows(graph: DuctGraph, leaving: FloatArray | None = None) -> FloatArray:
    """Airflow in each duct of a layout without loops.

    Parameters
    ----------
    graph
        The classified graph.
    leaving
        Airflow at each terminal, m³/s, shape (t,); that of the graph if None.

    Returns
    -------
    flow
        m³/s, shape (d,): the sum of the terminals behind each duct. Where there are
        loops, as if no air came to a meeting but along the tree (see `loops.settled`).
    """
    parent, terminals = graph.ducts.parent, graph.terminals
    leaving = terminals.flow if leaving is None else leaving
    own = np.bincount(terminals.duct, leaving, len(parent))
    return sum_of_subtree(parent, own.astype(np.float64))


def resistances(lost: FloatArray, flow: FloatArray) -> FloatArray:
    """Loss over the square of the airflow, Pa s²/m⁶, shape (d,).

    As good as endless where no air flows, as behind closed ends.
    """
    out = np.full(len(flow), _SHUT)
    return np.asarray(np.divide(lost, flow**2, where=flow != 0.0, out=out))


def openings(graph: DuctGraph) -> tuple[IntArray, IntArray]:
    """Ducts at whose end a graph's loops are opened, and the one that goes on there.

    Shape (l,) each: both end at the same node.
    """
    ducts, meets = graph.ducts, graph.meetings.duct
    goes_on = np.isin(meets, ducts.parent)
    kept, closing = meets[goes_on], np.sort(meets[~goes_on])
    kept = kept[np.argsort(ducts.finish[kept])]
    return closing, kept[np.searchsorted(ducts.finish[kept], ducts.finish[closing])]


def goes_on(graph: DuctGraph) -> dict[int, int]:
    """Where each closing duct's air goes on: the duct that ends there in the tree."""
    closing, kept = openings(graph)
    return dict(zip(closing.tolist(), kept.tolist(), strict=True))


def feeds_several(graph: DuctGraph) -> BoolArray:
    """Whether each duct feeds more than one terminal, shape (d,).

    One that several ways lead to is one terminal.
    """
    parent, terminals = graph.ducts.parent, graph.terminals
    if graph.loops is None:
        fed = np.bincount(terminals.duct, minlength=len(parent)).astype(float)
        return np.asarray(sum_of_subtree(parent, fed) > 1.5)
    several, one = np.zeros(len(parent), dtype=bool), np.full(len(parent), -1)
    one[terminals.duct] = np.arange(len(terminals.duct))
    other = goes_on(graph)
    for duct in range(len(parent) - 1, -1, -1):  # what goes on from a meeting is later
        if duct in other:
            one[duct], several[duct] = one[other[duct]], several[other[duct]]
        before = int(parent[duct])
        if before >= 0 and one[duct] >= 0:
            several[before] |= several[duct] or one[before] not in (-1, one[duct])
            one[before] = one[duct]
    return several


def loops_of(graph: DuctGraph) -> tuple[IntArray, FloatArray]:
    """Ducts at whose end a graph's loops are opened, and the ways round from there.

    Parameters
    ----------
    graph
        The classified graph.

    Returns
    -------
    closing, around
        Shape (l,), and (l, d): 1 for the ducts on the path to the closing duct's end,
        -1 for those on the path along which the tree goes on, 0 where both go or none.
    """
    closing, other = openings(graph)
    return closing, paths_to(graph, closing) - paths_to(graph, other)


def way_back(graph: DuctGraph, duct: int) -> list[int]:
    """Ducts from one back to the source, that one first."""
    way, parent = [], graph.ducts.parent
    while duct >= 0:
        way.append(duct)
        duct = int(parent[duct])
    return way


def paths_to(graph: DuctGraph, last: IntArray) -> FloatArray:
    """1 for the ducts on the path from the source to the end of each, shape (n, d)."""
    out = np.zeros((len(last), len(graph.ducts.parent)))
    for row, duct in enumerate(last.tolist()):
        out[row, way_back(graph, duct)] = 1.0
    return out


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
    faults: list[Notice] = []
    off = against_drawn(graph, flow)[1]
    if graph.loops is not None:
        off &= ~loops_of(graph)[1].any(axis=0)  # nobody can know it there
    for duct in off.nonzero()[0].tolist():
        faults.append(
            error(
                graph.place(duct),
                "the drawing writes "
                f"{airflow_words(float(ducts.drawn_flow[duct]))} there, but the "
                f"terminals behind it add up to {airflow_words(float(flow[duct]))}",
                "no air leaves behind it: delete its airflow, or open an end"
                if flow[duct] == 0.0
                else "the airflow of a run is its total, with what its branches take: "
                f"write {airflow_words(float(flow[duct]))} there, or leave it out, or "
                f"correct those of its terminals, {_terminals_behind(graph, duct)}",
            )
        )
    if faults:
        raise BadInput(faults)


def against_drawn(graph: DuctGraph, flow: FloatArray) -> tuple[BoolArray, BoolArray]:
    """Ducts at which an airflow of the drawing begins, and those with another one.

    Parameters are those of `check_drawn_flows`.
    """
    ducts, before = graph.ducts, graph.ducts.parent
    # A drawn airflow is the one at the start of its run, or behind what it shares.
    begins = (before < 0) | (ducts.run != ducts.run[before])
    if len(graph.topology.doubled):
        begins |= np.isnan(ducts.drawn_flow[before])
    begins &= ~np.isnan(ducts.drawn_flow)
    return begins, begins & (np.abs(ducts.drawn_flow - flow) > _AGREES * flow)


def _terminals_behind(graph: DuctGraph, duct: int) -> str:
    """The first five terminals that a duct feeds, with their airflows, in words."""
    terminals, parent = graph.terminals, graph.ducts.parent
    fed: list[str] = []
    for row, last in enumerate(terminals.duct.tolist()):
        while last > duct:  # parents come first
            last = int(parent[last])
        if last != duct:
            continue
        if len(fed) == 5:
            return ", ".join(fed) + " and others"
        fed.append(
            f"'{terminals.name[row]}' {airflow_words(float(terminals.flow[row]))}"
        )
    return ", ".join(fed)
