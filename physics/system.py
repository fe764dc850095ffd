"""The pressure budget of a layout, and the friction rate that its fan leaves."""

import math
from dataclasses import dataclass

import numpy as np

from elbowroom.layout import DuctGraph, FloatArray, Notice, rate_words, units, warning

from .conditions import Conditions
from .elements import DuctState
from .flows import way_back
from .site_air import density_ratio

# The window that practice works in; common practice, no published source.
WINDOW = tuple(
    units.quantity(f"{rate} in.wg/100 ft", "friction rate", "") for rate in (0.06, 0.18)
)

# Where no fan leaves a rate, and nobody says one; common practice, no published source.
USUAL_RATE = units.quantity("0.1 in.wg/100 ft", "friction rate", "")
SAME = 0.05  # share by which supply and return may differ before it is said


# Of what a fan has to give: less may be missing where its pressure was declared by what
# is needed. Own choice, no published source.
_ROUNDING = 1e-6


def spare_of(available: float | None, required: float, outside: float) -> float | None:
    """What a fan leaves beyond what is required, Pa; None without a fan.

    Parameters
    ----------
    available, required
        What is left for ducts and fittings, and what they spend.
    outside
        What the fan pays for besides.

    Returns
    -------
    spare
        Below zero where it lacks; 0 for what rounding makes of as much as is needed.
    """
    if available is None:
        return None
    spare = available - required
    return 0.0 if abs(spare) <= _ROUNDING * abs(required + outside) else spare


def outside_window(
    where: str, rate: float | None, leaves: str, *, below: str, above: str
) -> list[Notice]:
    """Say of the friction rate that a fan leaves if practice has another.

    Parameters
    ----------
    where
        What it is said of.
    rate
        Pa/m. Of one that is not above zero nothing is said: there the fan does not
        carry the layout, which is another warning.
    leaves
        Who leaves it, in words.
    below, above
        What mends it on either side of the window.
    """
    low, high = WINDOW
    if rate is None or rate <= 0.0 or low <= rate <= high:
        return []
    side = "below" if rate < low else "above"
    return [
        warning(
            where,
            f"{leaves} {rate_words(rate)}, {side} the window of {rate_words(low)} to "
            f"{rate_words(high)} that practice works in",
            f"{below if rate < low else above} (common practice, no published source)",
        )
    ]


@dataclass(frozen=True, kw_only=True, slots=True)
class System:
    """Pressure budget of a layout at its design airflow, Pa and Pa/m.

    Parameters
    ----------
    fan_pressure, fan_kind
        What the fan gives, and whether that is 'external static' or 'total'; None
        where nothing is declared.
    fan_density_ratio
        What the tabulated pressure was multiplied by to give `fan_pressure`: density
        of the air over that of standard air, 1 where it is not said to be one in that.
    outlet_velocity_pressure, inlet_velocity_pressure
        Velocity pressure at the fan's outlet, which an external static pressure has on
        top of it, and at its inlet, which it lacks (see `at_fan`).
    declared_losses
        Sum of the losses declared outside the drawn ducts.
    terminal_loss
        Declared loss of the terminal at the end of the critical path; 0 if none is.
    available
        What is left for ducts and fittings on the critical path; None without a fan.
    required
        What ducts and fittings on the critical path spend.
    critical_loss
        Loss of the critical path with its terminal.
    length
        Length of duct on the critical path, m.
    fitting_loss
        Loss of its fittings.
    friction_rate
        Mean friction of its ducts.
    friction_rate_available
        Friction rate that the fan leaves: (available - fittings) / length; None
        without a fan.
    rate
        The rate at which equivalent lengths are shown: the one available where it is
        above zero, else the mean.
    effective_length
        Length plus the equivalent lengths of the fittings at `rate`, m.
    """

    fan_pressure: float | None
    fan_kind: str | None
    fan_density_ratio: float
    outlet_velocity_pressure: float
    inlet_velocity_pressure: float
    declared_losses: float
    terminal_loss: float
    available: float | None
    required: float
    critical_loss: float
    length: float
    fitting_loss: float
    friction_rate: float
    friction_rate_available: float | None
    rate: float
    effective_length: float

    def effective_length_at(self, rate: float) -> float:
        """Length plus the equivalent lengths of the fittings at a rate, Pa/m, in m."""
        return self.length + self.fitting_loss / rate

    @property
    def spare(self) -> float | None:
        """What the fan leaves beyond what the critical path spends, Pa."""
        outside = self.declared_losses + self.terminal_loss
        return spare_of(self.available, self.required, outside)

    @property
    def is_short(self) -> bool:
        """Whether a fan is declared and does not carry the layout."""
        return self.spare is not None and self.spare < 0.0


def at_fan(
    graph: DuctGraph, conditions: Conditions, state: DuctState
) -> tuple[float, float]:
    """Velocity pressure at the fan's inlet and at its outlet, Pa.

    As declared; else that of the ducts at the fan, the mean by their airflows, on the
    side that is drawn, and none on the other. A static pressure measured in a plenum is
    a total one, as the air stands still there.
    """
    here = 0.0
    if graph.source.kind != "plenum":
        first = (graph.ducts.parent < 0).nonzero()[0]
        flow = state.flow[first]
        here = float(state.velocity_pressure[first] @ flow / flow.sum())
    inlet, outlet = (here, 0.0) if graph.is_return else (0.0, here)
    said = conditions.inlet_velocity_pressure, conditions.outlet_velocity_pressure
    return (
        inlet if said[0] is None else said[0],
        outlet if said[1] is None else said[1],
    )


def system_of(
    graph: DuctGraph,
    conditions: Conditions,
    state: DuctState,
    path_loss: FloatArray,
    path_length: FloatArray,
    critical: int,
    terminal_loss: float,
) -> System:
    """Work out the budget of the critical path.

    Parameters
    ----------
    graph, conditions, state
        What was analysed, and the air in its ducts.
    path_loss, path_length
        Of each terminal, Pa and m, shape (t,).
    critical
        The terminal whose path is critical.
    terminal_loss
        What that loses as declared, Pa; NaN if nothing is.

    Notes
    -----
    In total pressure the friction rate needs no equivalent length: it is what the fan
    leaves less the fittings of the path, over its length. That is the fixed point of
    dividing the available pressure by the effective length at the rate itself.
    """
    way = way_back(graph, int(graph.terminals.duct[critical]))
    friction = float((state.gradient[way] * graph.ducts.length[way]).sum())
    declared = 0.0 if math.isnan(terminal_loss) else terminal_loss
    loss, length = float(path_loss[critical]), float(path_length[critical])
    fittings = loss - friction - declared
    outside = float(sum(conditions.declared_losses.values()))
    inlet, outlet = at_fan(graph, conditions, state)
    pressure, kind, available, left = None, None, None, None
    if conditions.fan_total is not None:
        pressure, kind = conditions.fan_total, "total"
        available = pressure - outside - declared
    elif conditions.fan_static is not None:
        pressure, kind = conditions.fan_static, "external static"
        available = pressure + outlet - inlet - outside - declared
    if available is not None and length > 0:
        left = (available - fittings) / length
    mean = friction / length if length > 0 else np.nan
    rate = left if left is not None and left > 0 else mean
    scaled = pressure is not None and graph.schedule.fan.pressure_at == "standard air"
    return System(
        fan_pressure=pressure,
        fan_kind=kind,
        fan_density_ratio=density_ratio(conditions.air) if scaled else 1.0,
        outlet_velocity_pressure=outlet,
        inlet_velocity_pressure=inlet,
        declared_losses=outside,
        terminal_loss=declared,
        available=available,
        required=loss - declared,
        critical_loss=loss,
        length=length,
        fitting_loss=fittings,
        friction_rate=mean,
        friction_rate_available=left,
        rate=rate,
        effective_length=length + fittings / rate,
    )
