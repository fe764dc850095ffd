"""Balancing: what each terminal's damper has to spend, where it stands, its angle."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from elbowroom.layout import (
    BadInput,
    BoolArray,
    DuctGraph,
    FanSpec,
    FloatArray,
    IntArray,
    Shape,
    Straights,
    TakeoffEntry,
    between_pieces,
    between_walls,
    piece_at,
    straights,
)

from .analysis import Analysis
from .coefficient import Credit, Note
from .dampers import butterfly, butterfly_angle, butterfly_credit
from .operate import settle_at
from .readings import STRAIGHT_LEG
from .settling import side_of, starved
from .takeoff_entries import has_own_entry

WORTH = 1.0  # Pa: less than this needs no damper
_COLLAR, _ENTRY = "in a rigid collar", "in its entry"
_DAMPED = (int(TakeoffEntry.PLAIN_DAMPER), int(TakeoffEntry.ENTRY_45_DAMPER))
_SAME_AREA = 1.04  # what nominal sizes of one duct may differ by
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
    share
        Where it is along the straight part of that, from 0 to 1.
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
        Whether `duct` is flexible, so that the damper needs a rigid collar where that
        begins.
    in_entry
        Whether it is the damper that the branch's entry has, where that begins.
    """

    terminal: int
    order: int
    excess: float
    open_loss: float
    duct: int
    share: float
    branch: int
    coefficient: float
    angle: float | None
    credit: Credit | None
    too_much: bool
    open_share: float
    in_collar: bool
    in_entry: bool

    @property
    def stands(self) -> bool:
        """Whether there is a damper; `duct` is where one would stand if not."""
        return self.in_entry or self.angle is not None


@dataclass(frozen=True, eq=False)
class Blades:
    """What `Setting` holds of each terminal's damper, arrays of shape (t,).

    `angle` is given where none is needed too; `notes` are those of its table;
    `open_loss` is what a single blade spends when it is open, Pa.
    """

    branch: IntArray
    duct: IntArray
    share: FloatArray
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

    @property
    def spent(self) -> FloatArray:
        """What each damper spends, Pa: nothing where there is none."""
        return np.where(self.is_needed, self.excess, 0.0)


def balance(analysis: Analysis) -> list[Setting]:
    """Work out the dampers that give every terminal its design airflow.

    Parameters
    ----------
    analysis
        The analysis at design airflow.

    Returns
    -------
    settings
        In the order of work. The critical path has no damper; the others stand where
        `blades` puts them.

    Notes
    -----
    A single-blade damper that is open loses a little already: where that is more than
    the excess there is none, and the terminal gets a little more than its share. With
    one its path would lose more than the critical one.
    """
    set_to, share = analysis.blades, open_shares(analysis)
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
                float(set_to.share[row]),
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

    Parameters are those of `balance`.

    Notes
    -----
    A damper stands in rigid duct whose air goes to its terminal alone, and that has as
    much straight outside its main as the blade's chord, its smaller side: in the
    smallest such section, where the air is fastest. Of several as small it takes that
    of a run all of which is the terminal's, then the nearest to the takeoff, where it
    can be reached and is quieter than at the terminal. In what is left of a main,
    where that is larger than what follows, it stands only where there is nothing else.
    A straight in several runs counts as one, and its runs as one run, as do those of a
    main that goes straight on past a branch; rigid duct ends where flexible begins.
    No blade turns in flexible duct: with no rigid duct before it but that of a main,
    the damper stands in a rigid collar where the flexible duct begins. Where the entry
    of the branch has a damper, it is that one. Common practice, no published source;
    the room that a blade needs is our own choice.
    """
    graph = analysis.graph
    branch, duct, share = _own_ducts(graph, analysis.conditions.is_flexible)
    legs = graph.legs
    damped = legs.duct[has_own_entry(legs) & np.isin(legs.entry, _DAMPED)]
    in_entry = np.isin(branch, damped)
    duct[in_entry], share[in_entry] = branch[in_entry], 0.0
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
    return Blades(branch, duct, share, excess, lost, wanted, angle, notes, in_entry)


def _own_ducts(
    graph: DuctGraph, is_flexible: BoolArray
) -> tuple[IntArray, IntArray, FloatArray]:
    """First duct of each terminal's own, that of its damper, and where in it, (t,)."""
    ducts = graph.ducts
    along = straights(ducts, is_flexible)
    terminal, duct = _reserved(graph)
    whose = np.full(len(ducts.run), -1)
    whose[duct] = terminal
    is_head = along.first[duct] == duct
    terminal, duct = terminal[is_head], duct[is_head]
    width, height = ducts.width[duct], ducts.height[duct]
    area = ducts.area[duct]
    side = np.minimum(width, height)
    has_box = np.isin(duct, along.first[graph.components.duct])
    taken = np.where(has_box, np.maximum(along.length[duct], 0.0), side)
    start, end = between_walls(graph, along, duct, taken)
    begins = np.searchsorted(terminal, np.arange(len(graph.terminals.duct)))

    def least(values: FloatArray) -> FloatArray:
        return np.asarray(np.minimum.reduceat(values, begins)[terminal])

    # A run that has other air too is what is left of a main.
    run = _whole_runs(graph, along, is_flexible)
    low, high = np.full((2, len(graph.drawing.names)), -1)
    low[run] = high[run] = whose
    np.minimum.at(low, run, whose)
    np.maximum.at(high, run, whose)
    is_rest = (low != high)[run[duct]]

    rigid = ~is_flexible[duct]
    fits = rigid & (end - start >= side)
    main = is_rest & (area > _SAME_AREA * least(area))
    ranked = [fits & ~main, ~rigid, ~main, fits]
    kind = np.select(ranked, [0.0, 1.0, 2.0, 3.0], 4.0)
    best = kind == least(kind)
    larger = area > _SAME_AREA * least(np.where(best, area, np.inf))
    order = np.lexsort((np.arange(len(duct)), is_rest, larger, kind, terminal))
    chosen = order[begins]
    found = duct[chosen]
    place = _clear(graph, along, found, start[chosen], end[chosen], side[chosen])
    soft = is_flexible[found]
    place[soft] = 0.0
    piece, share = piece_at(ducts, along, found, place)
    share[soft] = 0.0
    return duct[begins], piece, share


def _whole_runs(graph: DuctGraph, along: Straights, is_flexible: BoolArray) -> IntArray:
    """Run of each duct, those that part a straight between them as one, shape (d,).

    Also those that part a main where a branch takes off and it goes on as it was.
    """
    ducts, run, count = graph.ducts, graph.ducts.run, len(graph.drawing.names)
    pairs = [np.array([run[along.first], run])]
    for legs in (graph.legs, graph.meetings):
        goes_on = (legs.duct == legs.straight) & (legs.common != legs.duct)
        goes_on &= legs.angle <= STRAIGHT_LEG
        both = np.array([legs.common[goes_on], legs.duct[goes_on]])
        alike = [same[both] for same in (ducts.shape, ducts.area, is_flexible)]
        both = both[:, np.all([np.isclose(one, two) for one, two in alike], axis=0)]
        pairs.append(run[both])
    before, after = np.concatenate(pairs, axis=1)
    if np.array_equal(before, after):
        return run
    links = coo_matrix((np.ones(len(before)), (before, after)), (count, count))
    _, whole = connected_components(links, directed=False)
    return np.asarray(whole[run])


def _reserved(graph: DuctGraph) -> tuple[IntArray, IntArray]:
    """Ducts whose air goes to one terminal alone, from the source on: that, and each.

    Shape (n,) both; each terminal has its last duct at least.
    """
    parent = graph.ducts.parent
    children = np.bincount(parent[parent >= 0], minlength=len(parent))
    goes_on = (parent >= 0) & (children[parent] == 1)
    if graph.loops is not None:  # before a meeting a duct has a part of the air only
        goes_on &= ~np.isin(graph.ducts.start, graph.ducts.finish[graph.meetings.duct])
    pairs = []
    for row, duct in enumerate(graph.terminals.duct.tolist()):
        way = [duct]
        while goes_on[way[-1]]:
            way.append(int(parent[way[-1]]))
        pairs += [(row, one) for one in reversed(way)]
    terminal, ducts = np.array(pairs, dtype=np.int64).T
    return terminal, ducts


def _clear(
    graph: DuctGraph,
    along: Straights,
    duct: IntArray,
    start: FloatArray,
    end: FloatArray,
    side: FloatArray,
) -> FloatArray:
    """Where along each straight a blade stands, from its beginning, m, shape (n,).

    In the middle, or as near to it as walls of mains and transitions let it; beside
    components in the middle of the longest part that they leave.
    """
    straight = np.maximum(along.length[duct], 0.0)
    start, end = between_pieces(graph, along, duct, start, end)
    stand = graph.components
    own = np.maximum(graph.ducts.straight[stand.duct], 0.0)
    stands_in = along.first[stand.duct]
    at = along.begins[stand.duct] + stand.share * own
    for row in np.isin(duct, stands_in).nonzero()[0].tolist():
        mine = np.sort(at[stands_in == duct[row]])
        edges = np.array([start[row], *mine.clip(start[row], end[row]), end[row]])
        widest = int(np.diff(edges).argmax())
        start[row], end[row] = edges[widest], edges[widest + 1]
    first, last = start + side / 2, end - side / 2
    middle = np.where(
        first <= last, np.clip(straight / 2, first, last), (start + end) / 2
    )
    return np.asarray(np.where(np.isin(duct, stands_in), (start + end) / 2, middle))


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
