"""The budget of a whole system: one fan, its supply and its return sides."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from elbowroom.layout import (
    Notice,
    Schedule,
    airflow_words,
    pressure_words,
    refusal,
    warning,
    words_apart,
)

from .air import air_of
from .analysis import Analysis, analyse
from .budget_flags import not_declared, terminal_kinds
from .site_air import loss_ratio
from .system import SAME, outside_window, spare_of


@dataclass(frozen=True, kw_only=True, slots=True)
class Budget:
    """Pressure budget of a supply with its returns, Pa, m and Pa/m.

    Parameters
    ----------
    fan_pressure, fan_kind
        What the fan gives, 'total' or 'external static'; None where nothing is
        declared.
    outlet_velocity_pressure, inlet_velocity_pressure
        At the fan; an external static pressure has the one on top of it and lacks the
        other. 0 where the fan's pressure is total or not declared.
    declared_losses
        Losses outside the drawn ducts, of the supply and of the critical return: air
        comes through one return only, so what the others declare is not on its way.
    terminal_losses
        Declared at the ends of the two critical paths.
    available
        What is left for ducts and fittings of both critical paths; None without a fan.
    required
        What they spend.
    length, effective_length
        Of the two critical paths together; the effective one at `rate`.
    effective_lengths
        Of the supply's and of the return's, at `rate`: together that above.
    friction_rate_available
        What the fan leaves after all fittings, over the length; None without a fan.
    rate
        Rate of the effective length: the one available where it is above zero, else
        the mean friction.
    critical_return
        Which of the returns is critical: that of the largest loss, with what it
        declares outside its ducts.
    missing
        Usual components that nobody declared on the way of the critical return.
    notices
        What to look at.
    """

    fan_pressure: float | None
    fan_kind: str | None
    outlet_velocity_pressure: float
    inlet_velocity_pressure: float
    declared_losses: float
    terminal_losses: float
    available: float | None
    required: float
    length: float
    effective_length: float
    effective_lengths: tuple[float, float]
    friction_rate_available: float | None
    rate: float
    critical_return: int
    missing: tuple[str, ...]
    notices: tuple[Notice, ...]

    @property
    def spare(self) -> float | None:
        """What the fan leaves beyond what both critical paths spend, Pa."""
        outside = self.declared_losses + self.terminal_losses
        return spare_of(self.available, self.required, outside)


def budget(supply: Analysis, returns: Sequence[Analysis]) -> Budget:
    """Add up what one fan has to pay for.

    Parameters
    ----------
    supply
        The supply side; its schedule declares the fan.
    returns
        One or more return sides that join at the fan's inlet.

    Returns
    -------
    budget
        In total pressure. An external static pressure is the rise of static pressure
        from inlet to outlet, so the velocity pressures there are added and taken off.

    Raises
    ------
    ValueError
        If there is no return.
    """
    if not returns:
        raise ValueError("a budget of two sides needs a return")
    worst = critical_return(returns)
    one, other = supply.system, returns[worst].system
    outside = one.declared_losses + other.declared_losses
    terminals = one.terminal_loss + other.terminal_loss
    required = one.required + other.required
    fittings = one.fitting_loss + other.fitting_loss
    length = one.length + other.length
    outlet = inlet = 0.0
    if one.fan_kind == "external static":
        outlet, inlet = one.outlet_velocity_pressure, other.inlet_velocity_pressure
    available = None
    if one.fan_pressure is not None:
        available = one.fan_pressure + outlet - inlet - outside - terminals
    left = None if available is None else (available - fittings) / length
    mean = (required - fittings) / length
    rate = left if left is not None and left > 0.0 else mean
    missing = not_declared(
        name
        for side in (supply, returns[worst])
        for name in (
            *side.conditions.declared_losses,
            *(component.name for component in side.graph.schedule.components),
            *terminal_kinds(side.graph.schedule),
        )
    )
    for side, words in ((supply, "supply"), (returns[worst], "return")):
        if side.critical in side.graph.terminals.bare:
            missing.append(f"grille at the end of the critical {words} path")
    notices = _notices(supply, returns, available, required, outside + terminals, left)
    if missing:
        what = f"not declared, and not filled in: {', '.join(missing)}"
        notices.append(warning("budget", what))
    return Budget(
        fan_pressure=one.fan_pressure,
        fan_kind=one.fan_kind,
        outlet_velocity_pressure=outlet,
        inlet_velocity_pressure=inlet,
        declared_losses=outside,
        terminal_losses=terminals,
        available=available,
        required=required,
        length=length,
        effective_length=length + fittings / rate,
        effective_lengths=(
            one.length + one.fitting_loss / rate,
            other.length + other.fitting_loss / rate,
        ),
        friction_rate_available=left,
        rate=rate,
        critical_return=worst,
        missing=tuple(missing),
        notices=tuple(notices),
    )


def critical_return(returns: Sequence[Analysis]) -> int:
    """Number of the return on whose way air loses most, with what that declares."""
    lost = [one.critical_loss + one.system.declared_losses for one in returns]
    return int(np.argmax(lost))


def with_returns(supply: Analysis, returns: Sequence[Analysis]) -> Analysis:
    """A supply side with what its returns spend as a declared loss.

    Parameters
    ----------
    supply
        The supply side; its schedule declares the fan.
    returns
        Its return sides; the costliest counts.

    Returns
    -------
    supply
        With the pressure that the fan leaves to it, and what follows from that.

    Raises
    ------
    BadInput
        As `analyse`.
    """
    if not returns:
        return supply
    losses, inlet = _spent(returns)
    conditions = replace(
        supply.conditions,
        declared_losses={**supply.conditions.declared_losses, **losses},
        inlet_velocity_pressure=inlet,
    )
    source = replace(supply.graph.schedule.source, is_supply=True)
    schedule = replace(supply.graph.schedule, source=source)
    # What `budget` says of both sides is not said again of one.
    flags = tuple(said for said in supply.flags if said.where != "budget")
    graph = replace(supply.graph, schedule=schedule)
    return replace(analyse(graph, conditions), flags=flags)


def plan_with_returns(schedule: Schedule, returns: Sequence[Analysis]) -> Schedule:
    """A supply's schedule with what its returns spend among the declared losses.

    For what changes the supply while the returns stay as they are. The fan has the
    velocity pressure at its inlet from them, which an external static pressure lacks.
    BadInput if the air gains on every way through them.
    """
    if not returns:
        return schedule
    losses, inlet = _spent(returns)
    if min(losses.values()) < 0.0:
        raise refusal(
            returns[critical_return(returns)].graph.drawing.file,
            "no path of this return loses any pressure",
            "check the sizes at its junctions, and declare what its terminals lose",
        )
    # They are losses in this air, whatever the supply's are said to be in.
    ratio = loss_ratio(schedule.air, air_of(schedule))
    spent = {name: loss / ratio for name, loss in losses.items()}
    return replace(
        schedule,
        source=replace(schedule.source, is_supply=True),
        losses={**schedule.losses, **spent},
        fan=replace(schedule.fan, inlet_velocity_pressure=inlet),
    )


def _spent(returns: Sequence[Analysis]) -> tuple[dict[str, float], float]:
    """Losses of the costliest return by name, and its inlet's velocity pressure, Pa."""
    worst = returns[critical_return(returns)]
    file = worst.graph.drawing.file
    declared = worst.conditions.declared_losses.items()
    losses = {f"{name}, {file}": loss for name, loss in declared}
    losses[f"the return from {worst.critical_terminal}, {file}"] = worst.critical_loss
    return losses, worst.system.inlet_velocity_pressure


def _notices(
    supply: Analysis,
    returns: Sequence[Analysis],
    available: float | None,
    required: float,
    outside: float,
    left: float | None,
) -> list[Notice]:
    found = _twice(supply, returns)
    blown = float(supply.graph.terminals.flow.sum())
    drawn = float(sum(one.graph.terminals.flow.sum() for one in returns))
    # What is kept is mass: warm air takes more room than the cooler one that returns.
    mass = sum(
        float(one.graph.terminals.flow.sum()) * one.conditions.air.density
        for one in returns
    )
    alike = mass / supply.conditions.air.density
    if abs(alike - blown) > SAME * blown:
        found.append(
            warning(
                "budget",
                f"the supply carries {airflow_words(blown)} and the returns "
                f"{airflow_words(drawn)}"
                + (
                    f", by mass as much as {airflow_words(alike)} of the supply's air"
                    if abs(alike - drawn) > 0.01 * drawn
                    else ""
                ),
                "say where the rest comes from or goes: outdoor air, leaks, transfer",
            )
        )
    spare = spare_of(available, required, outside)
    if available is not None and spare is not None and spare < 0.0:
        spent, leaves = words_apart(pressure_words, required, available)
        found.append(
            warning(
                "budget",
                f"supply and return spend {spent} and the fan leaves {leaves}",
                "better fittings, larger ducts, a lower component loss, or another fan",
            )
        )
    return found + outside_window(
        "budget",
        left,
        "supply and return are left a friction rate of",
        below="mend the paths or the equipment first, and not the sizes alone",
        above="watch velocities and noise: the fan has pressure to spare",
    )


def _twice(supply: Analysis, returns: Sequence[Analysis]) -> list[Notice]:
    """Losses that seem to be declared twice, or both declared and drawn."""
    declared = supply.conditions.declared_losses
    found = []
    for name, loss in declared.items():
        if "return" in name.lower():
            problem = f"the loss '{name}' of the supply counts beside the drawn return"
            mend = "take it from [losses] if the drawing holds what it stands for"
        elif any(r.conditions.declared_losses.get(name) == loss for r in returns):
            problem = (
                f"the loss '{name}' of {pressure_words(loss)} is declared on both sides"
            )
            mend = "declare it on one side if it is one component"
        else:
            continue
        found.append(warning("budget", problem, mend))
    return found
