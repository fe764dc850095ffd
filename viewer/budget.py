"""The pressure budget line by line, in words: of one side, and of both together."""

from collections.abc import Sequence

from elbowroom.layout import (
    counted,
    density_words,
    length_words,
    pressure_words,
    temperature_words,
)
from elbowroom.physics import WINDOW, Analysis, Budget, System

from .display import Display

Line = tuple[str, str]


def system_lines(analysis: Analysis, display: Display) -> list[Line]:
    """What the numbers were worked out with: the design airflow, the air, its site."""
    graph, air = analysis.graph, analysis.conditions.air
    said, led = graph.schedule.air, display.led
    ends = counted(len(graph.terminals.duct), "terminal")
    way = "from" if graph.is_return else "to"
    assumed = "" if said.temperature else " (assumed)"
    words = [led(temperature_words(air.temperature)) + assumed]
    if said.humidity:
        words.append(f"{100 * said.humidity:g} % humid")
    site = "sea level (assumed)"
    if said.pressure is not None:
        site = f"{led(pressure_words(said.pressure))} of air pressure"
    elif said.altitude is not None:
        site = f"{led(length_words(said.altitude))} above sea level"
    return [
        (
            "design airflow",
            f"{display.flows(analysis.flow)} {display.flow} {way} {ends}",
        ),
        ("air in the ducts", ", ".join([*words, led(density_words(air.density, 1))])),
        ("site", site),
    ]


def fan_words(system: System) -> str:
    """Kind of a fan's pressure, and by how much the site's air changes it."""
    ratio = _ratio_words(system.fan_density_ratio)
    return f"fan, {system.fan_kind} pressure{ratio}"


def _ratio_words(ratio: float) -> str:
    """By how much the site's air changes what is tabulated for standard air."""
    return "" if ratio == 1.0 else f" (standard air's × {ratio:.3f})"


def _terminal_ratio(analysis: Analysis) -> str:
    """By how much the site's air changes the loss declared of the critical terminal."""
    if analysis.critical in analysis.graph.terminals.coefficient:
        return ""  # of a coefficient the air is that of the site already
    return _ratio_words(analysis.conditions.loss_ratio)


def _fan_line(analysis: Analysis, display: Display) -> Line:
    """What the fan gives at the design airflow, or why that is not known."""
    system = analysis.system
    if system.fan_pressure is not None:
        return fan_words(system), display.pressures(system.fan_pressure)
    if analysis.graph.schedule.fan.curve:
        return "fan, its curve does not reach the design airflow", "not known"
    return "fan", "not declared"


def pressure_lines(analysis: Analysis, display: Display) -> list[Line]:
    """Where the fan's pressure goes on the critical path, and what is to spare."""
    system, p = analysis.system, display.pressures
    ratio = _ratio_words(analysis.conditions.loss_ratio)
    lines = [_fan_line(analysis, display)]
    if system.fan_kind == "external static" and system.available is not None:
        outlet = p(system.outlet_velocity_pressure)
        lines.append(("velocity pressure at its outlet", outlet))
        if system.inlet_velocity_pressure:
            inlet = p(-system.inlet_velocity_pressure)
            lines.append(("less velocity pressure at its inlet", inlet))
    # Those of a fan whose pressure is not known have to be paid for all the same.
    for name, loss in analysis.conditions.declared_losses.items():
        own = ratio if name in analysis.graph.schedule.losses else ""
        lines.append((f"less {name}{own}", p(-loss)))
    if system.terminal_loss:
        of = _terminal_ratio(analysis)
        lines.append((f"less the terminal{of}", p(-system.terminal_loss)))
    if system.available is not None:
        lines.append(("left for ducts and fittings", p(system.available)))
    lines.append(("spent in straight duct", p(system.friction_rate * system.length)))
    lines.append(("spent in fittings", p(system.fitting_loss)))
    if system.spare is not None:
        lines.append(_spare(system.spare, display))
    return lines


def rate_lines(analysis: Analysis, display: Display) -> list[Line]:
    """Effective length of the critical path, and its friction rates."""
    system = analysis.system
    # With a return, `with_returns` adds to what the schedule declares.
    drawn = analysis.conditions.declared_losses.keys()
    alone = drawn - analysis.graph.schedule.losses.keys()
    left = system.friction_rate_available
    of = ", the supply's own" if alone else ""
    lines = _lengths(
        system.effective_length, system.length, system.rate, left, display, of
    )
    if left is not None:
        which = "left to the supply alone" if alone else "that the fan leaves"
        lines.append((f"friction rate {which}", display.rates(left)))
    lines.append(("mean friction of the ducts", display.rates(system.friction_rate)))
    return lines


def joint_lines(
    supply: Analysis, returns: Sequence[Analysis], found: Budget, display: Display
) -> list[Line]:
    """Budget of supply and returns together."""
    p = display.pressures
    back = returns[found.critical_return]
    lines = [_fan_line(supply, display)]
    if found.fan_kind == "external static":
        outlet, inlet = found.outlet_velocity_pressure, found.inlet_velocity_pressure
        lines.append(("velocity pressure at its outlet", p(outlet)))
        lines.append(("less velocity pressure at its inlet", p(-inlet)))
    for side in (supply, back):
        ratio = _ratio_words(side.conditions.loss_ratio)
        for name, loss in side.conditions.declared_losses.items():
            # What `with_returns` has added to the supply is listed with its return.
            if name in side.graph.schedule.losses:
                of = "" if side is supply else f", {side.graph.drawing.file}"
                lines.append((f"less {name}{of}{ratio}", p(-loss)))
    for side in (supply, back):
        if side.system.terminal_loss:
            end = f"less the terminal {side.critical_terminal}{_terminal_ratio(side)}"
            lines.append((end, p(-side.system.terminal_loss)))
    if found.available is not None:
        lines.append(("left for ducts and fittings", p(found.available)))
    for side, words in ((supply, "supply to"), (back, "return from")):
        end = f"spent by the {words} {side.critical_terminal}"
        lines.append((end, p(side.system.required)))
    if found.spare is not None:
        lines.append(_spare(found.spare, display))
    left = found.friction_rate_available
    lines += _lengths(found.effective_length, found.length, found.rate, left, display)
    for part, words in zip(found.effective_lengths, ("supply", "return"), strict=True):
        shown = f"{display.lengths(part, 1)} {display.length}"
        lines.append((f"of it the {words}", shown))
    if left is not None:
        lines.append(("friction rate left, supply and return", display.rates(left)))
    return lines


def spare_words(system: System, display: Display) -> str:
    """What the fan leaves beyond what is spent, with its unit; empty without a fan."""
    if system.spare is None:
        return ""
    word = "more than the fan leaves" if system.is_short else "to spare"
    return f"{display.pressures(abs(system.spare))} {display.pressure} {word}"


def _spare(spare: float, display: Display) -> Line:
    return "to spare" if spare >= 0 else "lacking", display.pressures(spare)


def _lengths(
    effective: float,
    straight: float,
    rate: float,
    left: float | None,
    display: Display,
    of: str = "",
) -> list[Line]:
    """Effective length at a rate: the one left, or the mean where none is left.

    A rate outside the window that practice works in makes one that nobody would size
    by: then also what it is at the ends of that.
    """
    if left is None or left <= 0.0:
        of = ", the mean friction"
    shown = f"{display.lengths(effective, 1)} {display.length}, of which"
    lines = [
        (
            f"effective length at {display.rates(rate)}{of}",
            f"{shown} {display.lengths(straight, 1)} straight",
        )
    ]
    low, high = WINDOW
    if not low <= rate <= high:
        fittings = (effective - straight) * rate  # Pa
        most, least = (display.lengths(straight + fittings / r, 1) for r in WINDOW)
        side = "below" if rate < low else "above"
        lines.append(
            (
                f"that rate is {side} what practice works in; at {display.rates(high)} "
                f"to {display.rates(low)}",
                f"{least} to {most} {display.length}",
            )
        )
    return lines
