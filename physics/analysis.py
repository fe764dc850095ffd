"""The analysis of a layout: losses, paths, the pressure budget."""

from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np

from elbowroom.layout import (
    DuctGraph,
    FloatArray,
    IntArray,
    Notice,
    Section,
    kink_words,
    place_words,
    pressure_words,
    sum_from_root,
)

from .budget_flags import budget_flags
from .changing_corners import CORNER
from .close_pairs import ClosePair, close_pairs, corrected
from .coefficient import Note
from .conditions import Conditions, conditions_of
from .elements import (
    DuctState,
    Elements,
    Kind,
    duct_state,
    elements_of,
    terminal_losses,
)
from .fan_curve import pressure_of
from .flags import (
    component_flags,
    dust_flags,
    end_tap_flags,
    fan_flags,
    fast_flags,
    flexible_bend_flags,
    flow_flags,
    gaining_flags,
    takeoff_flags,
)
from .flows import check_drawn_flows, way_back
from .ledger import Assumption, assumptions_of
from .leg_losses import lone_rows
from .loops import dead_ducts, settled, still_notices, unused_flows
from .notebook import analysis_html, element_rows, frame_of, picture_of
from .open_ends import AFTER_ELBOW
from .site_air import fan_at_site
from .system import System, system_of
from .transitions import NO_CHANGE, SHAPE_ALONE
from .words import bend_words, leg_words

if TYPE_CHECKING:
    from .balance import Blades
    from .check import Check
    from .effects import Effect

# Transitions whose change of area is not what they lose by, by their tables.
_UNCHANGED = {
    SHAPE_ALONE: "change of shape",
    NO_CHANGE: "change of size below 1 %",
}


@dataclass(frozen=True, eq=False)
class Analysis:
    """Losses of a layout at its design airflow.

    Parameters
    ----------
    graph, conditions
        What was analysed, and under which conditions.
    state
        The air in each duct.
    elements
        Everything that spends pressure.
    path_loss, path_length
        Loss of total pressure, Pa, and length of duct, m, from the source to each
        terminal, shape (t,).
    critical
        The terminal of the largest loss.
    system
        The pressure budget.
    flags
        What a reader should look at.
    alone
        The elements as if each stood in undisturbed air: the same unless elbows close
        together count as pairs.
    """

    graph: DuctGraph
    conditions: Conditions
    state: DuctState
    elements: Elements
    path_loss: FloatArray
    path_length: FloatArray
    critical: int
    system: System
    flags: tuple[Notice, ...]
    alone: Elements

    @property
    def flow(self) -> float:
        """Airflow at the fan, m³/s."""
        return float(self.state.flow[self.graph.ducts.parent < 0].sum())

    @property
    def critical_loss(self) -> float:
        """Loss of the critical path, Pa."""
        return float(self.path_loss[self.critical])

    @property
    def critical_terminal(self) -> str:
        """Name of the terminal at the end of the critical path."""
        return self.graph.terminals.name[self.critical]

    @property
    def critical_words(self) -> str:
        """Where the critical path leads: 'to' that terminal, of a return 'from' it."""
        way = "from" if self.graph.is_return else "to"
        return f"{way} {self.critical_terminal}"

    def path(self, terminal: int) -> IntArray:
        """Elements from the source to a terminal, in order."""
        way = way_back(self.graph, int(self.graph.terminals.duct[terminal]))[::-1]
        first = np.searchsorted(self.elements.duct, way, "left")
        last = np.searchsorted(self.elements.duct, way, "right")
        return np.concatenate(
            [np.arange(a, b) for a, b in zip(first, last, strict=True)]
        )

    @cached_property
    def ids(self) -> tuple[str, ...]:
        """Identifier of each element: its noun and a number in walking order."""
        kind = self.elements.kind
        number = np.zeros(len(kind), dtype=np.int64)
        for code in Kind:
            mine = kind == code
            number[mine] = np.arange(1, int(mine.sum()) + 1)
        nouns = [code.noun for code in Kind]
        return tuple(
            f"{nouns[k]}-{n}"
            for k, n in zip(kind.tolist(), number.tolist(), strict=True)
        )

    @cached_property
    def section_duct(self) -> IntArray:
        """Duct whose section each element has, shape (n,).

        The one that pays for it, but for an elbow at whose corner the section changes.
        """
        out, bend = self.elements.duct.copy(), self.elements.kind == Kind.BEND
        out[bend] = self.graph.bend_duct[self.elements.row[bend]]
        return out

    def section(self, element: int) -> Section:
        """Section of an element; of a transition and of a leg that of its run."""
        return self.graph.section(int(self.section_duct[element]))

    def name(self, element: int) -> str:
        """Name of an element in the words of the drawing."""
        graph, kind = self.graph, Kind(self.elements.kind[element])
        names, ducts = graph.drawing.names, graph.ducts
        duct, row = int(self.elements.duct[element]), int(self.elements.row[element])
        run: str = names[int(ducts.run[duct])]
        if kind == Kind.DUCT:
            return run
        if kind == Kind.BEND:
            return f"{run}, bend {graph.bends.number[row]}"
        if kind == Kind.COMPONENT:
            return run
        if kind in (Kind.EXIT, Kind.TERMINAL):
            return graph.terminals.name[row]
        if kind == Kind.ENTRY:
            return f"{run}, entry"
        if kind == Kind.MEETING:
            common = int(graph.meetings.common[row])
            if common == duct:  # several lead in and several out
                return f"{run}, at {graph.topology.place(int(ducts.finish[duct]))}"
            word = "from" if graph.is_return else "into"
            return f"{run} {word} {names[int(ducts.run[common])]}"
        before = names[ducts.run[ducts.parent[duct]]]
        if kind == Kind.TRANSITION:
            return f"{before} to {run}"
        return f"{run} from {before}"

    def words(self, element: int, unit: str = "mm", counted: bool = True) -> str:
        """What an element is, in the trade's words; sizes in 'mm' or 'in'.

        With what it is `counted` as, where that is something else than is to be made.
        """
        graph, kind = self.graph, Kind(self.elements.kind[element])
        row, duct = int(self.elements.row[element]), int(self.elements.duct[element])
        if kind == Kind.BEND:
            return bend_words(
                graph, row, unit, counted, bool(self.conditions.is_flexible[duct])
            )
        if kind in (Kind.BRANCH, Kind.MAIN, Kind.MEETING):
            lone = self._lone.get(row) if kind == Kind.MEETING else None
            said = leg_words(graph, row, kind, lone, counted)
            elbowed = counted and int(self.elements.notes[element]) & Note.ELBOWED
            return said + ", counted with the elbow behind it" * bool(elbowed)
        if kind == Kind.TRANSITION:
            before = int(graph.ducts.parent[duct])
            grows = self.state.area[duct] > self.state.area[before]
            grows = grows != graph.is_return
            credit = self.elements.credits[self.elements.credit[element]]
            what = "expansion" if grows else "contraction"
            what = _UNCHANGED.get(credit.first_table, what)
            arriving = graph.ducts.arriving(duct)
            if arriving == graph.section(duct):
                what = "offset"
            into = "to" if graph.is_return else "from"
            said = f"{what} {into} {arriving.words_in(unit)}"
            if counted and credit.first_table == CORNER:
                said += ", counted in its elbow"
            kinks = kink_words(graph.transitions.kink[:, row], "°")
            return said + (f", {kinks}" + " counted as mitred" * counted) * bool(kinks)
        if kind == Kind.COMPONENT:
            spec = graph.schedule.components[row]
            there = counted and spec.at is not None
            where = f" at {place_words(spec.at or (), graph.drawing.unit)}" * there
            return f"{spec.name}{where}, as declared"
        if kind == Kind.TERMINAL and row in graph.terminals.coefficient:
            return "terminal with its declared coefficient"
        at_fan, at_room = "entry flush with a wall", "open end into the room"
        if kind == Kind.EXIT and self.elements.coefficient[element] != 1.0:
            credit = self.elements.credits[self.elements.credit[element]]
            is_bent = credit.first_table == AFTER_ELBOW
            other = "elbow" if is_bent else "widening"
            at_room += f", and what it adds to the {other} before it" * counted
        if graph.is_return:
            at_fan, at_room = "exit into the plenum", "opening flush with a wall"
        return {
            Kind.DUCT: "straight duct",
            Kind.ENTRY: at_fan,
            Kind.EXIT: at_room,
            Kind.TERMINAL: "terminal with its declared loss",
        }[kind]

    @cached_property
    def _lone(self) -> dict[int, int]:
        """Row of `graph.lone` for each meeting past air that stands still."""
        near = lone_rows(self.graph, self.state.flow)
        still = (near.own < 0) & (near.part > 1.0 - 1e-4)
        return dict(zip(near.row[still].tolist(), near.on[still].tolist(), strict=True))

    @cached_property
    def share_of_path(self) -> FloatArray:
        """Share of the critical path's loss that each element spends; NaN beside it."""
        out = np.full(len(self.elements.loss), np.nan)
        way = self.path(self.critical)
        out[way] = self.elements.loss[way] / self.critical_loss
        return out

    def to_frame(self) -> Any:
        """Every duct and fitting as a pandas DataFrame, SI units; needs pandas."""
        return frame_of(element_rows(self))

    def plot(self, **how: Any) -> Any:
        """Picture of it; takes what `elbowroom.viewer.notebook.plot` takes.

        Raises
        ------
        RuntimeError
            If there is no OpenGL here, with what to install.
        """
        return picture_of(self, **how)

    def __repr__(self) -> str:
        """In short, as all its arrays would fill the screen."""
        file, loss = self.graph.drawing.file, pressure_words(self.critical_loss)
        return f"<Analysis of {file}: {loss} {self.critical_words}>"

    def _repr_html_(self) -> str:
        return analysis_html(self)

    @cached_property
    def terminal_loss(self) -> FloatArray:
        """Declared loss of each terminal, Pa, shape (t,); NaN where nothing is said."""
        return terminal_losses(self.graph, self.elements)

    @cached_property
    def pairs(self) -> tuple[ClosePair, ...]:
        """Elbows that stand close together, in walking order."""
        return tuple(close_pairs(self.graph, self.state, self.alone))

    @cached_property
    def critical_loss_as_pairs(self) -> float:
        """Critical loss with elbows close together counted as pairs, Pa."""
        paired = corrected(self.alone, self.pairs)
        paid = _paid(self.graph, paired.duct, paired.loss)
        whole = sum_from_root(self.graph.ducts.parent, paid)
        return float(whole[self.graph.terminals.duct].max())

    @cached_property
    def assumptions(self) -> tuple[Assumption, ...]:
        """What was taken because nobody said it."""
        return tuple(assumptions_of(self))

    # What the next three stand on needs an analysis itself.
    @cached_property
    def effects(self) -> "tuple[Effect, ...]":
        """What each assumption does, the largest first."""
        from .effects import effects

        return effects(self)

    @cached_property
    def blades(self) -> "Blades":
        """Dampers of all terminals."""
        from .balance import blades

        return blades(self)

    @cached_property
    def checks(self) -> "tuple[Check, ...]":
        """Its checks, those that are not kept first."""
        from .checks import checks

        return tuple(checks(self))

    @cached_property
    def equivalent_length(self) -> FloatArray:
        """Length of duct that would lose as much at the system's rate, m, shape (n,).

        A duct counts with its own length; a declared terminal loss has none (NaN), as
        it is taken off the fan's pressure.
        """
        elements = self.elements
        length = elements.loss / self.system.rate
        length = np.where(elements.kind == Kind.DUCT, elements.length, length)
        return np.where(elements.kind == Kind.TERMINAL, np.nan, length)


def analyse(graph: DuctGraph, conditions: Conditions | None = None) -> Analysis:
    """Work out where the pressure of a layout goes.

    Parameters
    ----------
    graph
        The classified graph, with an airflow at each terminal.
    conditions
        Air, roughness, fan; those of the graph's schedule if None.

    Returns
    -------
    analysis
        Losses, paths and the pressure budget.

    Raises
    ------
    BadInput
        If drawn airflows do not add up, or a fitting cannot be made as it is said.

    Notes
    -----
    Total pressure is counted along every path: the loss of a path is the sum over its
    own elements. In a tree each duct pays for the fitting at its upstream end.
    """
    conditions = conditions or conditions_of(graph)
    graph, conditions, flow = settled(graph, conditions)
    check_drawn_flows(graph, flow)
    conditions = _at_design(
        graph, conditions, float(flow[graph.ducts.parent < 0].sum())
    )
    state = duct_state(graph, flow, conditions)
    dead = dead_ducts(graph, flow)
    alone, notices = elements_of(graph, state, conditions)
    elements = alone
    if conditions.corrected_pairs:
        elements = corrected(alone, close_pairs(graph, state, alone))
    own = np.array([_paid(graph, elements.duct, elements.loss), graph.ducts.length])
    path_loss, path_length = sum_from_root(graph.ducts.parent, own).take(
        graph.terminals.duct, axis=1
    )
    critical = int(path_loss.argmax())
    system = system_of(
        graph,
        conditions,
        state,
        path_loss,
        path_length,
        critical,
        float(terminal_losses(graph, elements)[critical]),
    )
    flags = (
        *graph.notices,
        *notices,
        *still_notices(graph, conditions, flow),
        *unused_flows(graph, flow),
        *component_flags(graph, flow),
        *takeoff_flags(graph),
        *end_tap_flags(graph, state, elements),
        *flexible_bend_flags(graph, state, elements, conditions.compression, critical),
        *flow_flags(graph, state, elements, dead),
        *fast_flags(graph, state.velocity),
        *dust_flags(graph),
        *budget_flags(graph, state, system, elements, critical),
        *fan_flags(graph, state),
        *gaining_flags(graph, path_loss),
    )
    return Analysis(
        graph,
        conditions,
        state,
        elements,
        path_loss,
        path_length,
        critical,
        system,
        flags,
        alone,
    )


def _at_design(graph: DuctGraph, conditions: Conditions, flow: float) -> Conditions:
    """Conditions with the pressure that the fan's curve gives at the design airflow."""
    fan = fan_at_site(graph.schedule.fan, conditions.air)
    said = conditions.fan_total, conditions.fan_static
    if not fan.curve or said != (None, None):
        return conditions
    pressure = pressure_of(fan.curve, flow)
    if fan.curve_is_total:
        return replace(conditions, fan_total=pressure)
    return replace(conditions, fan_static=pressure)


def _paid(graph: DuctGraph, duct: IntArray, loss: FloatArray) -> FloatArray:
    """What each duct pays, Pa, from the losses of elements and their ducts."""
    return np.bincount(duct, loss, len(graph.ducts.parent)).astype(np.float64)
