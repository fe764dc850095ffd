"""Balancing: what each terminal's damper has to spend, where it stands, its angle."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from elbowroom.layout import (
    BadInput,
    BoolArray,
    DuctGraph,
    FanSpec,
    FloatArray,
    IntArray,
    Shape,
    TakeoffEntry,
)

from .analysis import Analysis
from .coefficient import Credit, Note
from .dampers import butterfly, butterfly_angle, butterfly_credit
from .operate import settle_at
from .settling import side_of, starved
from .takeoff_entries import has_own_entry

WORTH = 1.0  # Pa: less than this needs no damper
_COLLAR, _ENTRY = "in a rigid collar", "in its entry"
_DAMPED = (int(TakeoffEntry.PLAIN_DAMPER), int(TakeoffEntry.ENTRY_45_DAMPER))
_SETTLED = 1e-6  # largest relative change of an airflow


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
    open_loss
        What a single-blade damper spends there when it is open, Pa.
    duct
        Duct that the damper stands in.
    branch
        First duct, from the source, of those whose air goes to this terminal alone.
    coefficient
        Loss coefficient of the damper on the velocity in its duct.
    angle
        Blade angle of a single-blade damper from open, rad; None where there is none,
        and of the damper of an entry, whose angles no table has.
    credit
        What the angle is read from; None where there is none.
    too_much
        Whether no angle of the table that `angle` is read from spends as much.
    open_share
        Airflow over design airflow with every damper open, at the fan pressure that
        the critical path needs; NaN where no airflows settle.
    in_collar
        Whether all of the branch is flexible, so that the damper needs a rigid collar
        at its takeoff: where `duct`, which is `branch` then, begins.
    in_entry
        Whether it is the damper that the branch's entry has, where that begins.
    """

    terminal: int
    order: int
    excess: float
    open_loss: float
    duct: int
    branch: int
    coefficient: float
    angle: float | None
    credit: Credit | None
    too_much: bool
    open_share: float
    in_collar: bool
    in_entry: bool


@dataclass(frozen=True, eq=False)
class Blades:
    """What `Setting` holds of each terminal's damper, arrays of shape (t,).

    `angle` is given where none is needed too; `notes` are those of its table;
    `open_loss` is what a single blade spends when it is open, Pa.
    """

    branch: IntArray
    duct: IntArray
    excess: FloatArray
    open_loss: FloatArray
    coefficient: FloatArray
    angle: FloatArray
    notes: IntArray
    in_entry: BoolArray

    @property
    def is_needed(self) -> BoolArray:
        """Which terminals get a damper: none that spends too much even when open."""
        spends_less = self.in_entry | (self.open_loss <= self.excess * (1.0 + 1e-9))
        return np.asarray((self.excess >= WORTH) & spends_less)


def balance(analysis: Analysis) -> list[Setting]:
    """Work out the dampers that give every terminal its design airflow.

    Parameters
    ----------
    analysis
        The analysis at design airflow.

    Returns
    -------
    settings
        In the order of work. The critical path has no damper; the others stand at the
        takeoff, in the first rigid duct whose air goes to their terminal alone. Where
        all of those are flexible, in a rigid collar where the first begins: a blade
        cannot turn in a flexible one. Where the entry of the branch has a damper, it is
        that one.

    Notes
    -----
    At the takeoff a damper can be reached, and is quieter than at the terminal: common
    practice, no published source.

    A single-blade damper that is open loses a little already: where that is more than
    the excess there is none, and the terminal gets a little more than its share. With
    one its path would lose more than the critical one.
    """
    set_to, share = blades(analysis), open_shares(analysis)
    excess, angle, notes = set_to.excess, set_to.angle, set_to.notes
    is_needed = set_to.is_needed
    order = np.argsort(excess, kind="stable")
    is_round = analysis.graph.ducts.shape[set_to.duct] == Shape.ROUND
    is_flexible = analysis.conditions.is_flexible
    found = []
    for place, row in enumerate(order.tolist(), start=1):
        needed = bool(is_needed[row])
        in_entry = needed and bool(set_to.in_entry[row])
        read = needed and not in_entry
        shut = bool(notes[row] & int(Note.CLAMPED)) and float(angle[row]) > 0.1
        found.append(
            Setting(
                row,
                place,
                float(excess[row]),
                float(set_to.open_loss[row]),
                int(set_to.duct[row]),
                int(set_to.branch[row]),
                float(set_to.coefficient[row]),
                float(angle[row]) if read else None,
                butterfly_credit(bool(is_round[row])) if read else None,
                read and shut,
                float(share[row]),
                read and bool(is_flexible[set_to.duct[row]]),
                in_entry,
            )
        )
    return found


def blades(analysis: Analysis) -> Blades:
    """Dampers of all terminals as arrays, without how the air goes when they are open.

    Parameters and notes are those of `balance`.
    """
    graph = analysis.graph
    branch, duct = _own_ducts(graph, analysis.conditions.is_flexible)
    legs = graph.legs
    damped = legs.duct[has_own_entry(legs) & np.isin(legs.entry, _DAMPED)]
    in_entry = np.isin(branch, damped)
    duct[in_entry] = branch[in_entry]
    excess = analysis.critical_loss - analysis.path_loss
    pv = analysis.state.velocity_pressure[duct]
    wanted = np.maximum(excess, 0.0) / pv
    is_round = graph.ducts.shape[duct] == Shape.ROUND
    angle, lost = np.zeros((2, len(duct)))
    notes = np.zeros(len(duct), dtype=np.int64)
    for section in (True, False):
        mine = is_round == section
        if mine.any():
            angle[mine], notes[mine] = butterfly_angle(
                np.maximum(wanted[mine], 1e-9), section
            )
            lost[mine] = butterfly(0.0, section).value * pv[mine]
    return Blades(branch, duct, excess, lost, wanted, angle, notes, in_entry)


def _own_ducts(graph: DuctGraph, is_flexible: BoolArray) -> tuple[IntArray, IntArray]:
    """First duct of each terminal's own, and the first rigid one, shape (t,).

    Where none of them is rigid, the first stands for both.
    """
    parent = graph.ducts.parent
    children = np.bincount(parent[parent >= 0], minlength=len(parent))
    goes_on = (parent >= 0) & (children[parent] == 1)
    if graph.loops is not None:  # before a meeting a duct has a part of the air only
        goes_on &= ~np.isin(graph.ducts.start, graph.ducts.finish[graph.meetings.duct])
    first, place = graph.terminals.duct.copy(), graph.terminals.duct.copy()
    for row, duct in enumerate(first.tolist()):
        rigid = -1 if is_flexible[duct] else duct
        while goes_on[duct]:
            duct = int(parent[duct])
            rigid = rigid if is_flexible[duct] else duct
        first[row], place[row] = duct, duct if rigid < 0 else rigid
    return first, place


def damper_words(graph: DuctGraph, settings: Sequence[Setting]) -> list[str]:
    """Where along its run each damper stands: "behind the takeoff of 'store'".

    Parameters
    ----------
    graph
        The classified graph.
    settings
        Settings of its terminals.

    Returns
    -------
    words
        Empty where the whole run serves the one terminal, unless the damper needs a
        collar or is that of the entry. In a return in the direction of the air too:
        before what joins.
    """
    ducts, names, back = graph.ducts, graph.drawing.names, graph.is_return
    order = np.argsort(ducts.parent, kind="stable")
    parents = ducts.parent[order]
    words = []
    for one in settings:
        inside = _COLLAR if one.in_collar else _ENTRY if one.in_entry else ""
        before = int(ducts.parent[one.branch])
        if before < 0 or ducts.run[before] != ducts.run[one.duct]:
            words.append(inside)
            continue
        first, last = np.searchsorted(parents, [before, before + 1])
        runs = np.unique(ducts.run[np.setdiff1d(order[first:last], [one.branch])])
        said = " and ".join(f"'{names[run]}'" for run in runs.tolist())
        if not said:
            verb = "before it parts into" if back else "behind where it meets"
            words.append(f"{verb} the air of a loop")
        elif back:
            words.append(f"before {said} join{'s' * (len(runs) == 1)}")
        else:
            words.append(f"behind the takeoff of {said}")
        words[-1] += f", {inside}" if inside else ""
    return words


def open_shares(analysis: Analysis) -> FloatArray:
    """Airflow over design airflow at each terminal with no damper, shape (t,).

    The fan gives what the critical path needs at design, whatever the airflow; losses
    are taken anew at the airflows until they settle, as `operate` does it. 0 for a
    terminal that the others leave next to none, all NaN where none settle.
    """
    design = analysis.graph.terminals.flow
    # What is lost outside the ducts is no part of the critical path's loss.
    if not analysis.critical_loss > 0.0:  # no fan gives that
        return np.full(len(design), np.nan)
    side = replace(side_of(analysis, "open"), outside=0.0)
    fan = FanSpec(total_pressure=analysis.critical_loss)
    try:
        settling = settle_at(fan, [side], _SETTLED)
    except BadInput:  # the air of a loop may find no way to go
        return np.full(len(design), np.nan)
    (flow,) = settling.flows
    if settling.change >= _SETTLED:
        return np.full(len(design), np.nan)
    return np.asarray(np.where(starved(side, flow), 0.0, flow / design))
