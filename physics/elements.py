"""Where the pressure goes: ducts and fittings, a row each, in walking order."""

from dataclasses import dataclass
from enum import IntEnum
from typing import NamedTuple

import numpy as np

from elbowroom.layout import (
    Basis,
    DuctGraph,
    FloatArray,
    IntArray,
    Notice,
)

from .changing_corners import count_corners
from .coefficient import AS_DECLARED, Credit, Gathered, Note
from .conditions import Conditions
from .elbowed_branches import count_elbowed
from .entries import entry_in_wall
from .exits import exit_abrupt
from .flexible import compression_factor
from .friction import COLEBROOK, pressure_gradient
from .kinks import count_kinks
from .leg_losses import (
    Streams,
    doubt_touching,
    leg_basis,
    leg_coefficients,
    meeting_coefficients,
)
from .losses import bend_coefficients, transition_coefficients
from .open_ends import at_open_ends


class Kind(IntEnum):
    """Kind of an element, in the order in which the air meets them at a duct."""

    ENTRY = 0
    MAIN = 1
    BRANCH = 2
    BEND = 3
    TRANSITION = 4
    DUCT = 5
    COMPONENT = 6
    MEETING = 7
    EXIT = 8
    TERMINAL = 9

    @property
    def noun(self) -> str:
        """The word in identifiers."""
        return _NOUNS[self]


_NOUNS: dict[int, str] = {
    Kind.ENTRY: "entry",
    Kind.MAIN: "main",
    Kind.BRANCH: "branch",
    Kind.BEND: "elbow",
    Kind.TRANSITION: "transition",
    Kind.DUCT: "duct",
    Kind.COMPONENT: "component",
    Kind.MEETING: "meeting",
    Kind.EXIT: "exit",
    Kind.TERMINAL: "terminal",
}


@dataclass(frozen=True, kw_only=True, eq=False)
class Elements:
    """Everything that spends pressure: n rows in walking order from the source.

    Parameters
    ----------
    kind
        `Kind` codes, shape (n,).
    duct
        Duct whose air pays for it.
    row
        Its row in the graph's table of that kind; of a component in the schedule.
    length
        Length of duct, m; 0 for fittings.
    reference
        Duct whose velocity the coefficient refers to.
    flow, velocity, velocity_pressure
        Airflow, m³/s, velocity, m/s, and velocity pressure, Pa, at the section that
        the coefficient refers to.
    coefficient, reynolds_factor
        Loss coefficient without and factor with which it counts; NaN and 1 for
        ducts and declared losses.
    loss
        Loss of total pressure, Pa; may be negative.
    notes
        `Note` bits.
    basis
        `Basis` code of the weakest parameter; a duct's roughness is one.
    credit
        Row in `credits`.
    credits
        What coefficients are credited to.
    """

    kind: IntArray
    duct: IntArray
    row: IntArray
    length: FloatArray
    reference: IntArray
    flow: FloatArray
    velocity: FloatArray
    velocity_pressure: FloatArray
    coefficient: FloatArray
    reynolds_factor: FloatArray
    loss: FloatArray
    notes: IntArray
    basis: IntArray
    credit: IntArray
    credits: tuple[Credit, ...]

    def identifier(self, element: int) -> str:
        """Noun of an element and its number among those of its kind."""
        kind = self.kind[element]
        number = np.count_nonzero(self.kind[: element + 1] == kind)
        return f"{_NOUNS[int(kind)]}-{number}"

    def of(self, kind: Kind, count: int) -> IntArray:
        """Element of each row of a kind in the graph, shape (count,); -1 of none."""
        mine = (self.kind == int(kind)).nonzero()[0]
        found = np.full(count, -1)
        found[self.row[mine]] = mine
        return found


_COMPRESSED = Credit(
    "duct",
    "flexible_compression_factor",
    "ASHRAE Handbook Fundamentals 2009, formula for compressed flexible duct",
    "memory",
)
_HARDLY = 1e-9  # of the largest airflow: what stands in for none behind closed ends
_NONE = np.empty(0, dtype=np.int64)


@dataclass(frozen=True, eq=False)
class DuctState:
    """Air in each duct: arrays of shape (d,), SI units.

    Parameters
    ----------
    area
        Inside area of its section, m².
    flow
        Airflow, m³/s.
    velocity, velocity_pressure
        Mean velocity, m/s, and its pressure, Pa.
    reynolds
        Reynolds number on the hydraulic diameter.
    gradient
        Friction, Pa/m.
    notes
        `Note` bits of the friction.
    """

    area: FloatArray
    flow: FloatArray
    velocity: FloatArray
    velocity_pressure: FloatArray
    reynolds: FloatArray
    gradient: FloatArray
    notes: IntArray


def duct_state(graph: DuctGraph, flow: FloatArray, conditions: Conditions) -> DuctState:
    """Velocity, Reynolds number and friction in each duct.

    Parameters
    ----------
    graph
        The classified graph.
    flow
        Airflow in each duct, m³/s, shape (d,).
    conditions
        Air and roughness.

    Returns
    -------
    state
        Friction in Pa/m on the hydraulic diameter and the real velocity; more where
        a flexible duct is not stretched (see `flexible.compression_factor`).
    """
    ducts = graph.ducts
    size, diameter = ducts.area, ducts.diameter
    velocity = flow / size
    air = conditions.air
    moving = velocity
    if len(graph.terminals.closed):  # no friction factor is known of air that is still
        moving = np.where(flow == 0.0, 1.0, velocity)
    gradient = pressure_gradient(
        moving, diameter, conditions.roughness, air.density, air.viscosity
    )
    if moving is not velocity:
        gradient[flow == 0.0] = 0.0
    notes = np.zeros(len(velocity), dtype=np.int64)
    pressed = (conditions.compression > 0.0).nonzero()[0]
    if len(pressed):
        factor, notes[pressed] = compression_factor(
            diameter[pressed], conditions.compression[pressed]
        )
        gradient[pressed] *= factor
    return DuctState(
        size,
        flow,
        velocity,
        0.5 * air.density * velocity * velocity,
        velocity * diameter / air.kinematic_viscosity,
        gradient,
        notes,
    )


class _Table(NamedTuple):
    """Elements of one table of the graph.

    No duct is twice in one but for components, of which `rank` counts those before
    each in its duct.
    """

    duct: IntArray
    kind: IntArray | int
    basis: IntArray | int
    rank: IntArray | int = 0


def elements_of(
    graph: DuctGraph,
    state: DuctState,
    conditions: Conditions,
) -> tuple[Elements, list[Notice]]:
    """Work out what every duct and fitting spends.

    Parameters
    ----------
    graph, state, conditions
        The graph, the air in its ducts, and the conditions.

    Returns
    -------
    elements, notices
        The elements in walking order, and what is to be said of them.
    """
    ducts, terminals = graph.ducts, graph.terminals
    tables = _tables(graph, conditions)
    duct, places = _in_walking_order(tables, len(ducts.run))
    kind, row, basis = np.empty((3, len(duct)), dtype=np.int64)
    for place, table in zip(places, tables, strict=True):
        kind[place], basis[place] = table.kind, table.basis
        row[place] = np.arange(len(place))
    entry, leg, bend, change, straight, component, meeting, terminal = places
    row[entry] = duct[entry]
    if len(component):
        row[component] = graph.components.order
    found, notices = _coefficients(graph, state, conditions, places, basis)

    at = duct.copy()
    before, changed = ducts.parent, graph.transitions.duct
    at[leg], at[bend] = graph.legs.common, graph.bend_duct
    at[meeting] = graph.meetings.common
    opens = state.area[changed] > state.area[before[changed]]
    at[change] = np.where(opens, before[changed], changed)
    pressure = state.velocity_pressure[at]
    loss = found.value * found.reynolds_factor * pressure
    loss[straight] = state.gradient * ducts.length
    if len(terminals.closed):  # what leads to a closed end no air pays for
        still = state.flow[duct] == 0.0
        loss[still] = 0.0
        found.value[still] *= 0.0  # NaN, of ducts, stays NaN
    told = (~np.isnan(terminals.loss)).nonzero()[0]
    loss[terminal[told]] = terminals.loss[told] * conditions.loss_ratio
    length = np.zeros(len(duct))
    length[straight] = ducts.length
    return Elements(
        kind=kind,
        duct=duct,
        row=row,
        length=length,
        reference=at,
        flow=state.flow[duct],
        velocity=state.velocity[at],
        velocity_pressure=pressure,
        coefficient=found.value,
        reynolds_factor=found.reynolds_factor,
        loss=loss,
        notes=found.notes,
        basis=basis,
        credit=found.credit,
        credits=tuple(found.credits),
    ), notices


def terminal_losses(graph: DuctGraph, elements: Elements) -> FloatArray:
    """What each terminal loses as declared, Pa, NaN where nothing is; shape (t,).

    Whether a loss or a coefficient says it: the fan pays for both before the ducts.
    """
    lost = np.full(len(graph.terminals.duct), np.nan)
    declared = elements.kind == int(Kind.TERMINAL)
    lost[elements.row[declared]] = elements.loss[declared]
    return lost


def _duct_basis(graph: DuctGraph, conditions: Conditions) -> IntArray:
    """`Basis` of each duct: of its section, its roughness, or how it is stretched."""
    made = np.maximum(graph.section_basis, conditions.roughness_basis)
    return np.asarray(np.maximum(made, conditions.compression_basis))


def _tables(graph: DuctGraph, conditions: Conditions) -> tuple[_Table, ...]:
    """Elements as the air meets them at a duct: in the order of `Kind`."""
    legs, bends, terminals = graph.legs, graph.bends, graph.terminals
    parent = graph.ducts.parent
    end_kind = np.full(len(terminals.duct), int(Kind.TERMINAL))
    end_basis = np.full(len(terminals.duct), int(Basis.DECLARED))
    end_kind[terminals.bare] = int(Kind.EXIT)
    end_basis[terminals.bare] = int(Basis.ASSUMED)
    return (
        _Table(
            ((parent < 0) & (graph.source.kind == "plenum")).nonzero()[0],
            int(Kind.ENTRY),
            int(Basis.ASSUMED),  # the plenum may be declared, the form is not
        ),
        _Table(
            legs.duct,
            np.where(legs.is_branch, int(Kind.BRANCH), int(Kind.MAIN)),
            leg_basis(graph.ducts, legs, graph.is_return),
        ),
        _Table(
            bends.duct,
            int(Kind.BEND),
            np.maximum(
                np.maximum(bends.radius_basis, bends.construction_basis),
                bends.parts_basis,
            ),
        ),
        _Table(
            graph.transitions.duct,
            int(Kind.TRANSITION),
            graph.transitions.length_basis,
        ),
        _Table(np.arange(len(parent)), int(Kind.DUCT), _duct_basis(graph, conditions)),
        _components(graph),
        _Table(
            graph.meetings.duct,
            int(Kind.MEETING),
            leg_basis(graph.ducts, graph.meetings, not graph.is_return),
        ),
        _Table(
            terminals.duct,
            end_kind,
            end_basis,
        ),
    )


def _components(graph: DuctGraph) -> _Table:
    """Components in walking order, each an element of its own."""
    duct, rank = _NONE, _NONE
    if graph.schedule.components:
        duct = graph.components.duct[graph.components.order]
        rank = np.arange(len(duct)) - duct.searchsorted(duct)
    return _Table(duct, int(Kind.COMPONENT), int(Basis.DECLARED), rank)


def _in_walking_order(
    tables: tuple[_Table, ...], count: int
) -> tuple[IntArray, list[IntArray]]:
    """Duct of each element in walking order, and the places of each table's rows.

    At a duct the tables keep their order. No sort is needed, as each table says which
    of its duct's a row is.
    """
    every = np.concatenate([table.duct for table in tables])
    here = np.bincount(every, minlength=count)
    begins = here.cumsum() - here
    places = []
    for table in tables:
        place = begins.take(table.duct) + table.rank
        begins[table.duct] = place + 1  # of a duct's several the last one counts
        places.append(place)
    return np.arange(count).repeat(here), places


def _coefficients(
    graph: DuctGraph,
    state: DuctState,
    conditions: Conditions,
    places: list[IntArray],
    basis: IntArray,
) -> tuple[Gathered, list[Notice]]:
    """Coefficients of the elements of `_tables`, at their places; NaN for ducts.

    In `basis` a main whose change of section counts as a transition has that one's too,
    where it is the weaker: of a main in part its branch's entry may be.
    """
    entry, leg, bend, change, straight, component, meeting, terminal = places
    every = Gathered(sum(map(len, places)))
    every.notes[straight] = state.notes
    rubs = [every.number(COLEBROOK.joined(c)) for c in conditions.roughness_credits]
    every.credit[straight] = np.array(rubs)[conditions.roughness_credit]
    pressed = conditions.compression > 0.0
    if pressed.any():
        every.join(straight[pressed], _COMPRESSED)
    found, notices = bend_coefficients(graph, state.reynolds[graph.bend_duct])
    changes, own = transition_coefficients(graph)
    corners = count_corners(graph, state.area, state.reynolds, found, changes)
    every.take_over(bend, found)
    felt, at_end = _NONE, changes
    if len(graph.terminals.bare) and not graph.is_return:
        felt, at_end = at_open_ends(
            graph,
            state.area,
            found,
            changes,
            corners,
            by_reynolds=conditions.reynolds_factor,
        )
    count_kinks(graph, state.area, state.reynolds, changes)
    every.take_over(change, changes)
    flow, velocity = state.flow, state.velocity
    if len(graph.terminals.closed):  # no share of nothing is defined
        flow = np.where(flow == 0.0, _HARDLY * flow.max(), flow)
        velocity = flow / state.area
    air = Streams(graph, state.area, flow, velocity, graph.is_return)
    divided = leg_coefficients(air, graph.legs, own=own)
    if len(own.rows):
        counts = (divided.notes[own.rows] & int(Note.OWN_CHANGE)) > 0
        place = leg[own.rows[counts]]
        basis[place] = np.maximum(basis[place], own.basis[counts])
    notices += count_elbowed(
        air,
        state.velocity_pressure,
        found,
        divided,
        by_reynolds=conditions.reynolds_factor,
    )
    doubt_touching(graph.ducts, graph.legs, divided)
    every.take_over(leg, divided)
    if len(component):
        every.value[component] = conditions.components[graph.components.order]
        every.credit[component] = every.number(AS_DECLARED)
    if len(meeting):
        every.take_over(meeting, meeting_coefficients(air))
    if len(entry):
        at_fan = exit_abrupt() if graph.is_return else entry_in_wall()
        every.put(entry, at_fan)
    open_end = np.isnan(graph.terminals.loss)
    if open_end.any():
        at_room = entry_in_wall() if graph.is_return else exit_abrupt()
        every.put(terminal[open_end], at_room)
        for number, said in graph.terminals.coefficient.items():
            every.value[terminal[number]] = said
            every.credit[terminal[number]] = every.number(AS_DECLARED)
    if len(felt):
        every.take_over(terminal[felt], at_end)
    if not open_end.all():
        every.credit[terminal[~open_end]] = every.number(AS_DECLARED)
    if not conditions.reynolds_factor:
        every.reynolds_factor[:] = 1.0
    return every, notices
