"""The schedule of ducts: what each one is, what it carries and what binds it."""

from dataclasses import dataclass

import numpy as np

from elbowroom.layout import Section

from .analysis import Analysis
from .conditions import material_of
from .elements import Kind
from .sizes import equivalent_diameter
from .velocity_checks import velocity_limits


@dataclass(frozen=True, slots=True)
class DuctRow:
    """One straight duct.

    Parameters
    ----------
    element
        Its element in the analysis.
    section
        Its section.
    equivalent_diameter
        Of the round duct with the same friction at the same airflow, m.
    hydraulic_diameter
        Four times the area over the perimeter, m.
    length
        With its half of the arcs at its ends, m.
    flow, velocity, gradient
        m³/s, m/s, Pa/m.
    velocity_limit
        The lowest that the schedule's checks ask for, m/s; None where none does.
    material
        In words, as declared or assumed.
    insulation
        Thickness, m.
    place
        Middle between its ends, m.
    compression
        Share by which flexible duct is shorter than pulled tight; None of rigid duct.
    """

    element: int
    section: Section
    equivalent_diameter: float
    hydraulic_diameter: float
    length: float
    flow: float
    velocity: float
    gradient: float
    velocity_limit: float | None
    material: str
    insulation: float
    place: tuple[float, float, float]
    compression: float | None

    @property
    def is_kept(self) -> bool:
        """Whether its velocity is within its limit."""
        limit = self.velocity_limit
        return limit is None or self.velocity <= limit * (1 + 1e-9)


def duct_schedule(analysis: Analysis) -> list[DuctRow]:
    """List every duct of a layout in walking order.

    Parameters
    ----------
    analysis
        The analysed layout.
    """
    graph, state, elements = analysis.graph, analysis.state, analysis.elements
    ducts = graph.ducts
    limits = velocity_limits(analysis)
    pressed = analysis.conditions.compression
    middle = ((ducts.begin + ducts.end) / 2).round(6) + 0.0
    found = []
    for element in np.flatnonzero(elements.kind == Kind.DUCT).tolist():
        duct = int(elements.duct[element])
        section = graph.section(duct)
        found.append(
            DuctRow(
                element,
                section,
                equivalent_diameter(section),
                float(ducts.diameter[duct]),
                float(ducts.length[duct]),
                float(state.flow[duct]),
                float(state.velocity[duct]),
                float(state.gradient[duct]),
                float(limits[duct]) if np.isfinite(limits[duct]) else None,
                material_of(graph, int(ducts.run[duct])),
                graph.schedule.insulation,
                tuple(middle[duct].tolist()),
                None if np.isnan(pressed[duct]) else float(pressed[duct]),
            )
        )
    return found
