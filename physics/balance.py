"""Balancing: what a damper in each terminal's own duct has to spend, and its angle."""

from dataclasses import dataclass

import numpy as np

from elbowroom.layout import FloatArray, Shape

from .analysis import Analysis
from .coefficient import Note
from .dampers import butterfly_angle
from .flows import resistances
from .loops import flows_at

_WORTH = 1.0  # Pa: less than this needs no damper


@dataclass(frozen=True, slots=True)
class Setting:
    """Setting of one terminal's damper.

    Parameters
    ----------
    terminal
        Row of the graph's terminals.
    order
        Place in the order of work, from 1: the least favoured first.
    excess
        What its path has to spare against the critical one, Pa.
    coefficient
        Loss coefficient of the damper on the velocity in its duct.
    angle
        Blade angle of a single-blade damper from open, rad; None where none is needed.
    too_much
        Whether no angle of the table spends as much.
    open_share
        Airflow over design airflow with every damper open, at the fan pressure that
        the critical path needs.
    """

    terminal: int
    order: int
    excess: float
    coefficient: float
    angle: float | None
    too_much: bool
    open_share: float


def balance(analysis: Analysis) -> list[Setting]:
    """Work out the dampers that give every terminal its design airflow.

    Parameters
    ----------
    analysis
        The analysis at design airflow.

    Returns
    -------
    settings
        In the order of work. The critical path has no damper; the others stand in the
        last duct before their terminal.

    Notes
    -----
    A single-blade damper that is open loses a little already: where that is more than
    the excess, it stays open and the terminal gets a little less than its share.
    """
    graph = analysis.graph
    duct = graph.terminals.duct
    excess = analysis.critical_loss - analysis.path_loss
    pv = analysis.state.velocity_pressure[duct]
    wanted = np.maximum(excess, 0.0) / pv
    is_round = graph.ducts.shape[duct] == Shape.ROUND
    angle = np.zeros(len(duct))
    notes = np.zeros(len(duct), dtype=np.int64)
    for section in (True, False):
        mine = is_round == section
        if mine.any():
            angle[mine], notes[mine] = butterfly_angle(
                np.maximum(wanted[mine], 1e-9), section
            )
    share = open_shares(analysis)
    order = np.argsort(excess, kind="stable")
    found = []
    for place, row in enumerate(order.tolist(), start=1):
        needed = bool(excess[row] >= _WORTH)
        shut = bool(notes[row] & int(Note.CLAMPED)) and float(angle[row]) > 0.1
        found.append(
            Setting(
                row,
                place,
                float(excess[row]),
                float(wanted[row]),
                float(angle[row]) if needed else None,
                needed and shut,
                float(share[row]),
            )
        )
    return found


def open_shares(analysis: Analysis) -> FloatArray:
    """Airflow over design airflow at each terminal with no damper, shape (t,).

    Every loss is taken to go with the square of its duct's airflow from its value at
    design; the fan gives what the critical path needs. In a tree that has a closed
    form: resistances in series add, conductances of branches add.
    """
    graph, elements = analysis.graph, analysis.elements
    parent = graph.ducts.parent
    count = len(parent)
    design = analysis.state.flow
    ends = graph.terminals.duct
    lost = np.bincount(elements.duct, elements.loss, count).astype(np.float64)
    if graph.loops is not None:
        flow = flows_at(graph, analysis.critical_loss, lost, design)
        return np.asarray(flow[ends] / design[ends])
    own = resistances(lost, design)
    children = np.zeros(count)  # conductance of all that hangs on a duct
    conductance = np.zeros(count)
    smallest = resistances(np.full(count, 1e-12 * analysis.critical_loss), design)
    for row in range(count - 1, -1, -1):
        resistance = own[row]
        if children[row] > 0.0:
            resistance += 1.0 / children[row] ** 2
        conductance[row] = 1.0 / np.sqrt(max(resistance, smallest[row]))
        if parent[row] >= 0:
            children[parent[row]] += conductance[row]
    pressure = np.full(count, analysis.critical_loss)  # before each duct
    flow = np.zeros(count)
    for row in range(count):
        if parent[row] >= 0:
            above = parent[row]
            pressure[row] = pressure[above] - own[above] * flow[above] ** 2
        flow[row] = conductance[row] * np.sqrt(max(pressure[row], 0.0))
    return np.asarray(flow[ends] / design[ends])
