"""Checks and the fan's power in words and as a table; cautions."""

from collections.abc import Sequence
from typing import Any

from elbowroom.layout import (
    listed,
    power_words,
    pressure_words,
    units,
    words_apart,
)
from elbowroom.physics import Check, CheckDimension, FanPower, power

from .display import CHECK_UNITS, Display, energy_words
from .outlet import plain
from .terminal import TerminalTable, right

CAUTIONS = (
    "Combustion air and venting: a changed supply, return or exhaust can draw flue "
    "gas into the room; test appliances with natural draught for spillage afterwards.",
    "No return opening in a garage, kitchen, bathroom, mechanical room or furnace "
    "closet, nor near a draught hood.",
    "Rated walls, floors and shafts need fire or smoke dampers with access to them; "
    "grease, dryer and fume exhaust follow rules of their own and share no duct.",
    "Keep to the equipment's limits: airflow, temperature rise, static pressure, "
    "freezing of coils, water carried over at high face velocity.",
    "Insulate and close the vapour barrier outside conditioned space; old white wrap, "
    "tape or paper on ducts may be asbestos: do not cut or sand it, have it tested.",
    "Work at height, cuts into structure, gas, electricity and refrigerant belong to "
    "licensed people. The local code and the makers' instructions decide.",
)
_POWER_OF = {  # what a power is of, and from whose pressure
    power.OWN: ("Fan at design airflow", "that it gives"),
    power.NO_FAN: (
        "Fan at design airflow",
        "that the layout needs, as none is declared",
    ),
    power.TOO_WEAK: (
        "The fan cannot give the design airflow; of one that can",
        "that the layout needs there",
    ),
    power.OFF_CURVE: (
        "The fan's curve does not reach the design airflow; of a fan that gives it",
        "that the layout needs there",
    ),
}


def limit_words(check: Check, display: Display) -> tuple[str, str]:
    """Value and limit of a check, with digits enough to tell a missed limit apart."""

    def words(value: float | None, more: int = 0) -> str:
        return value_words(value, check.dimension, display, more)

    if check.is_kept or check.limit is None:
        return words(check.value), words(check.limit)
    return words_apart(words, check.value, check.limit)


def value_words(
    value: float | None, dimension: CheckDimension, display: Display, more: int = 0
) -> str:
    """A value of a check with its unit, with so many more digits than usual."""
    if value is None:
        return "–"
    of = CHECK_UNITS[dimension]
    unit, digits = of.metric if display.name == "metric" else of.inch_pound
    digits += more
    if dimension == "share":
        digits_of = f".{digits}f" if value >= 0.1 else f".{2 + digits}g"
        return f"{100 * value:{digits_of}} %"
    if dimension == "ratio":
        return f"{value:.{digits}g}"
    if dimension == "level":
        return f"{value:.{digits}f} {unit}"
    if dimension == "temperature difference":
        return f"{value if unit == 'K' else value * 9 / 5:+.{digits}f} {unit}"
    return f"{units.to_unit(value, unit) + 0.0:.{digits}f} {unit}"


def source_words(check: Check) -> str:
    """Where the limit of a check is from, and its class unless that says as much."""
    if check.source.startswith(check.confidence):
        return check.source
    return f"{check.source} ({check.confidence})"


def print_checks(
    found: Sequence[Check],
    of_fan: FanPower | None,
    display: Display,
    console: Any,
    title: str = "Checks",
) -> None:
    """Print checks, those that are not kept first, and the fan's power, if asked."""
    heads = "what", right("worst"), right("limit"), "at", ""
    table = TerminalTable(plain(title), *heads)
    for check in found:
        verdict = "not kept" if not check.is_kept else ""
        if check.is_kept and check.limit is not None:
            verdict = "kept"
        table.add_row(
            plain(check.rule),
            *limit_words(check, display),
            plain(check.at),
            verdict,
        )
    console.print(table)
    for check in found:
        if not check.is_kept:
            console.print(
                plain(
                    f"  – {check.rule}: {listed(check.failing, 6)}; {check.remedy}. "
                    f"Limit: {source_words(check)}."
                )
            )
    if of_fan is None:
        return
    console.print(power_sentence(of_fan, display))


def power_sentence(found: FanPower, display: Display) -> str:
    """Power of the fan at the design airflow, in words."""
    head, whose = _POWER_OF[found.basis]
    if found.air is None:
        return (
            f"{head}: the layout gains "
            f"{display.led(pressure_words(-found.total_pressure))} there, so that no "
            "power is given."
        )
    head += f", from the {display.led(pressure_words(found.total_pressure))} {whose}"
    parts = [f"{display.led(power_words(found.air))} in the air"]
    if found.shaft is not None:
        parts.append(f"{display.led(power_words(found.shaft))} at the shaft")
    if found.electric is not None:
        parts.append(f"{display.led(power_words(found.electric))} electric")
    if found.energy is not None and found.seconds is not None:
        parts.append(energy_words(found.energy / 3.6e6, found.seconds) + " a year")
    if found.warming is not None:
        warmer = value_words(found.warming, "temperature difference", display)
        parts.append(f"warming the air by {warmer.lstrip('+')} if it stands in it")
    return f"{head}: " + ", ".join(parts) + "."


def print_cautions(console: Any) -> None:
    """Print what no calculation decides."""
    console.print("\n[bold]Before anything is built[/bold]")
    for caution in CAUTIONS:
        console.print(f"  – {caution}")
