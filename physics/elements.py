"""Where the pressure goes: ducts and fittings, a row each, in walking order."""

from dataclasses import dataclass
from enum import IntEnum
from typing import Any

import numpy as np
import numpy.typing as npt

from elbowroom.layout import Basis, DuctGraph, FloatArray, IntArray, Notice, sections

from . import ends
from .coefficient import Credit, Gathered
from .conditions import Conditions
from .flexible import compression_factor
from .friction import pressure_gradient
from .losses import (
    bend_coefficients,
    leg_basis,
    leg_coefficients,
    transition_coefficients,
)


class Kind(IntEnum):
    """Kind of an element, in the order in which the air meets them at a duct."""

    ENTRY = 0
    MAIN = 1
    BRANCH = 2
    BEND = 3
    TRANSITION = 4
    DUCT = 5
    EXIT = 6
    TERMINAL = 7

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
    Kind.EXIT: "exit",
    Kind.TERMINAL: "terminal",
}


@dataclass(frozen=True, eq=False)
class Elements:
    """Everything that spends pressure: n rows in walking order from the source.

    Parameters
    ----------
    kind
        `Kind` codes, shape (n,).
    duct
        Duct whose air pays for it.
    row
        Its row in the graph's table of that kind.
    length
        Length of duct, m; 0 for fittings.
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
        `Basis` code of the weakest parameter.
    credit
        Row in `credits`.
    credits
        What coefficients are credited to.
    """

    kind: IntArray
    duct: IntArray
    row: IntArray
    length: FloatArray
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


_FRICTION = Credit(
    "duct",
    "formula: Colebrook",
    "ASHRAE Handbook Fundamentals, duct design chapter (Darcy-Weisbach, Colebrook)",
    "cross-checked",
)
_COMPRESSED = Credit(
    "duct",
    "flexible_compression_factor",
    "Colebrook 1939 with Darcy-Weisbach, times the factor of compressed flexible duct "
    "of the ASHRAE Handbook Fundamentals 2009",
    "memory",
)
_DECLARED = Credit("duct", "schedule", "declared in the schedule", "seen")


@dataclass(frozen=True, eq=False)
class DuctState:
    """Air in each duct: arrays of shape (d,), SI units."""

    area: FloatArray
    flow: FloatArray
    velocity: FloatArray
    velocity_pressure: FloatArray
    reynolds: FloatArray
    gradient: FloatArray
    notes: IntArray  # of the friction


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
    size = sections.area(ducts.shape, ducts.width, ducts.height)
    diameter = 4.0 * size / sections.perimeter(ducts.shape, ducts.width, ducts.height)
    velocity = flow / size
    air = conditions.air
    gradient = pressure_gradient(
        velocity, diameter, conditions.roughness, air.density, air.viscosity
    )
    notes = np.zeros(len(velocity), dtype=np.int64)
    pressed = np.flatnonzero(conditions.compression > 0.0)
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


@dataclass(frozen=True, eq=False)
class _Rows:
    """Elements of one kind before they are put in order, one a duct at most."""

    kind: Kind
    duct: IntArray
    row: IntArray  # in the graph's table of that kind
    at: IntArray  # duct whose velocity the coefficient refers to
    coefficient: FloatArray | float
    factor: FloatArray | float
    loss: FloatArray
    notes: IntArray | int
    basis: IntArray | int
    credit: IntArray | int
    length: FloatArray | float = 0.0


def elements_of(
    graph: DuctGraph, state: DuctState, conditions: Conditions
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
    ducts = graph.ducts
    every = Gathered(0)
    parts: list[_Rows] = []
    notices: list[Notice] = []
    before = ducts.parent

    def fittings(
        kind: Kind,
        duct: IntArray,
        row: IntArray,
        at: IntArray,
        found: Gathered,
        basis: IntArray | int,
    ) -> None:
        if len(duct) == 0:
            return
        numbers = np.array([every.number(credit) for credit in found.credits])
        factor = found.reynolds_factor
        if not conditions.reynolds_factor:
            factor = np.ones_like(factor)
        loss = found.value * factor * state.velocity_pressure[at]
        parts.append(
            _Rows(
                kind,
                duct,
                row,
                at,
                found.value,
                factor,
                loss,
                found.notes,
                basis,
                numbers[found.credit],
            )
        )

    every_duct = np.arange(len(before))
    friction: IntArray | int = every.number(_FRICTION)
    pressed = conditions.compression > 0.0
    if pressed.any():
        friction = np.where(pressed, every.number(_COMPRESSED), friction)
    parts.append(
        _Rows(
            Kind.DUCT,
            *(every_duct,) * 3,
            np.nan,
            1.0,
            state.gradient * ducts.length,
            state.notes,
            graph.section_basis,
            friction,
            ducts.length,
        )
    )
    bends = graph.bends
    found, said = bend_coefficients(graph, state.reynolds[before[bends.duct]])
    notices += said
    basis = np.maximum(bends.radius_basis, bends.construction_basis)
    rows = np.arange(len(bends.duct))
    fittings(Kind.BEND, bends.duct, rows, before[bends.duct], found, basis)

    changes = graph.transitions
    smaller = np.where(
        state.area[changes.duct] > state.area[before[changes.duct]],
        before[changes.duct],
        changes.duct,
    )
    found = transition_coefficients(graph)
    rows = np.arange(len(changes.duct))
    basis = changes.length_basis
    fittings(Kind.TRANSITION, changes.duct, rows, smaller, found, basis)

    legs = graph.legs
    found = leg_coefficients(graph, state.area, state.flow, state.velocity)
    basis = leg_basis(graph)
    for kind, mine in ((Kind.BRANCH, legs.is_branch), (Kind.MAIN, ~legs.is_branch)):
        rows = np.flatnonzero(mine)
        at = before[legs.duct[rows]]
        fittings(kind, legs.duct[rows], rows, at, found.some(rows), basis[rows])

    if graph.source.kind == "plenum":
        roots = np.flatnonzero(before < 0)
        into = Gathered(len(roots))
        at_fan = ends.exit_abrupt() if graph.is_return else ends.entry_in_wall()
        into.put(np.arange(len(roots)), at_fan)
        fittings(Kind.ENTRY, roots, roots, roots, into, int(Basis.DECLARED))
    terminals = graph.terminals
    plain = np.isnan(terminals.loss)
    rows = np.flatnonzero(plain)
    open_ends = terminals.duct[rows]
    out = Gathered(len(open_ends))
    if graph.is_return:
        flush = np.zeros(len(open_ends))
        out.put(np.arange(len(open_ends)), ends.entry_in_wall(0.05, flush))
    else:
        out.put(np.arange(len(open_ends)), ends.exit_abrupt(len(open_ends)))
    fittings(Kind.EXIT, open_ends, rows, open_ends, out, int(Basis.ASSUMED))
    told = np.flatnonzero(~plain)
    if len(told):
        declared = every.number(_DECLARED)
        at = terminals.duct[told]
        parts.append(
            _Rows(
                Kind.TERMINAL,
                at,
                told,
                at,
                np.nan,
                1.0,
                terminals.loss[told],
                0,
                int(Basis.DECLARED),
                declared,
            )
        )
    return _ordered(graph, state, parts, tuple(every.credits)), notices


def _ordered(
    graph: DuctGraph,
    state: DuctState,
    parts: list[_Rows],
    credits_: tuple[Credit, ...],
) -> Elements:
    """Put the parts together in the order in which the air meets them."""
    parts = sorted(parts, key=lambda part: part.kind)
    # Places without a sort: no duct has two elements of one kind.
    count = np.zeros(len(graph.ducts.parent) + 1, dtype=np.int64)
    for part in parts:
        count[part.duct + 1] += 1
    begins = np.cumsum(count)
    places = []
    for part in parts:
        place = begins.take(part.duct)
        places.append(place)
        begins[part.duct] = place + 1

    def column(name: str, kind: type) -> npt.NDArray[Any]:
        out: npt.NDArray[Any] = np.empty(sum(map(len, places)), dtype=kind)
        for part, place in zip(parts, places, strict=True):
            out[place] = getattr(part, name)
        return out

    kind, duct, at = (column(name, np.int64) for name in ("kind", "duct", "at"))
    return Elements(
        kind,
        duct,
        column("row", np.int64),
        column("length", np.float64),
        state.flow[duct],
        state.velocity[at],
        state.velocity_pressure[at],
        column("coefficient", np.float64),
        column("factor", np.float64),
        column("loss", np.float64),
        column("notes", np.int64),
        column("basis", np.int64),
        column("credit", np.int64),
        credits_,
    )
