"""The desk calculation: one fitting, its dimensions, its loss."""

import json
import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from elbowroom.layout import BadInput, refusal, sections, units
from elbowroom.physics import WINDOW, Coefficient, LookupRefused, Note, air, book

from .display import Display

STANDARD_RATE = "0.1 in.wg/100 ft"


@dataclass(frozen=True, slots=True)
class Dimensions:
    """What was written on the command line, with units; None where nothing was."""

    width: str | None = None
    height: str | None = None
    diameter: str | None = None
    radius: str | None = None
    centreline_radius: str | None = None
    angle: str | None = None
    flow: str | None = None
    velocity: str | None = None
    rate: str | None = None
    temperature: str | None = None
    altitude: str | None = None


@dataclass(frozen=True, slots=True)
class _Sizes:
    """Dimensions in SI units."""

    width: float | None
    height: float | None
    diameter: float | None
    radius: float | None
    centreline_radius: float | None
    angle: float | None
    flow: float | None
    velocity: float | None
    rate: float | None


def desk_result(name: str, settings: list[str], written: Dimensions) -> dict[str, Any]:
    """Work out one fitting.

    Parameters
    ----------
    name
        Kind, in words.
    settings
        Parameters as NAME=VALUE.
    written
        Dimensions, airflow, air and friction rate as written.

    Returns
    -------
    result
        Plain data in SI units, as `fitting.schema.json` says.

    Raises
    ------
    BadInput
        If the kind is not known, a parameter is missing, unknown or out of range, or
        a quantity has no unit.
    """
    sizes, faults = _sizes(written)
    given: dict[str, float] = {}
    for setting in settings:
        key, _, value = setting.partition("=")
        try:
            given[key.strip()] = float(value)
        except ValueError:
            faults.append(
                refusal(
                    "fitting, --set",
                    f"'{setting}' is no setting",
                    "write NAME=VALUE with a bare number, like r_over_W=1.0",
                )
            )
    if faults:
        raise BadInput([fault for bad in faults for fault in bad.faults])
    try:
        kind = book.find_kind(name)
        derived = _derived(kind, sizes)
        values, assumed = book.complete(kind, {**derived, **given})
    except LookupRefused as problem:
        what, _, remedy = str(problem).partition("; ")
        raise refusal("fitting", what, remedy or "correct it") from None
    medium = _air(written)
    speed, area, diameter = _velocity(sizes)
    reynolds = given.get("Re", math.nan)
    if math.isnan(reynolds) and speed is not None and diameter is not None:
        reynolds = speed * diameter / medium.kinematic_viscosity
    try:
        legs = kind.evaluate(values, reynolds)
    except LookupRefused as problem:
        what, _, remedy = str(problem).partition("; ")
        raise refusal("fitting", what, remedy or "correct it") from None
    pv = None if speed is None else 0.5 * medium.density * speed * speed
    rate = sizes.rate or units.quantity(STANDARD_RATE, "friction rate", "")
    rows = [_leg(leg, found, pv, rate) for leg, found in legs.items()]
    first = rows[0]
    notes = [f"{name} was not given; its usual value was taken" for name in assumed]
    if kind.name.startswith("rect-elbow") and math.isnan(reynolds):
        notes.append("no airflow and size: the Reynolds factor was left at 1")
    if sizes.rate is None and pv is not None:
        notes.append(f"equivalent length at {STANDARD_RATE}, as no rate was given")
    return {
        "schema": "elbowroom.fitting/1",
        "kind": kind.name,
        "what": kind.what,
        "parameters": values,
        **{key: value for key, value in first.items() if key not in ("leg", "notes")},
        "velocity_m_s": speed,
        "velocity_pressure_pa": pv,
        "area_m2": area,
        "reynolds": None if math.isnan(reynolds) else reynolds,
        "rate_pa_m": rate,
        "air_density_kg_m3": medium.density,
        "notes": [*notes, *first["notes"]],
        "legs": rows if kind.has_legs else [],
    }


def _leg(leg: str, found: Coefficient, pv: float | None, rate: float) -> dict[str, Any]:
    c, factor = float(found.value[0]), float(found.reynolds_factor[0])
    loss = None if pv is None else c * factor * pv
    low, high = WINDOW
    window = None
    if loss is not None:
        window = [loss / high, loss / low, (loss / high + loss / low) / 2]
    return {
        "leg": leg,
        "coefficient": c,
        "reynolds_factor": factor,
        "reference_velocity": found.reference,
        "loss_pa": loss,
        "equivalent_length_m": None if loss is None else loss / rate,
        "equivalent_length_window_m": window,
        "table": found.table,
        "source": found.source,
        "confidence": found.confidence,
        "notes": Note(int(found.notes[0])).words,
    }


def _sizes(written: Dimensions) -> tuple[_Sizes, list[BadInput]]:
    faults: list[BadInput] = []

    def read(text: str | None, dimension: str, option: str) -> float | None:
        if text is None:
            return None
        try:
            value = units.quantity(text, dimension, f"fitting, --{option}")
            if value < 0.0 or (value == 0.0 and option not in ("radius", "angle")):
                raise refusal(
                    f"fitting, --{option}", f"{text} is not above zero", "correct it"
                )
        except BadInput as bad:
            faults.append(bad)
            return None
        return value

    return (
        _Sizes(
            read(written.width, "length", "width"),
            read(written.height, "length", "height"),
            read(written.diameter, "length", "diameter"),
            read(written.radius, "length", "radius"),
            read(written.centreline_radius, "length", "centreline-radius"),
            read(written.angle, "angle", "angle"),
            read(written.flow, "airflow", "flow"),
            read(written.velocity, "velocity", "velocity"),
            read(written.rate, "friction rate", "rate"),
        ),
        faults,
    )


def _derived(kind: book.Kind, sizes: _Sizes) -> dict[str, float]:
    """Parameters of the table that follow from dimensions as a shop gives them."""
    names = {parameter.name for parameter in kind.parameters}
    out: dict[str, float] = {}
    if sizes.angle is not None and "angle_deg" in names:
        out["angle_deg"] = math.degrees(sizes.angle)
    across = sizes.width if sizes.diameter is None else sizes.diameter
    radius = sizes.centreline_radius
    if across is not None:
        if radius is None and sizes.radius is not None:
            radius = sizes.radius + across / 2
        if radius is not None:
            for name in ("r_over_W", "r_over_D"):
                if name in names:
                    out[name] = radius / across
            if "throat_R_over_W" in names:
                out["throat_R_over_W"] = radius / across - 0.5
        if sizes.height is not None and "H_over_W" in names:
            out["H_over_W"] = sizes.height / across
    return out


def _velocity(sizes: _Sizes) -> tuple[float | None, float | None, float | None]:
    """Velocity, area and hydraulic diameter, where they follow."""
    shape = sections.Shape
    if sizes.diameter is not None:
        kind, w, h = shape.ROUND, sizes.diameter, sizes.diameter
    elif sizes.width is not None and sizes.height is not None:
        kind, w, h = shape.RECTANGULAR, sizes.width, sizes.height
    else:
        return sizes.velocity, None, None
    area = float(np.asarray(sections.area(kind, w, h)))
    diameter = float(np.asarray(sections.hydraulic_diameter(kind, w, h)))
    if sizes.velocity is not None:
        return sizes.velocity, area, diameter
    return (None if sizes.flow is None else sizes.flow / area), area, diameter


def _air(written: Dimensions) -> Any:
    where = "fitting"
    try:
        return air(
            293.15
            if written.temperature is None
            else units.quantity(written.temperature, "temperature", where),
            altitude=0.0
            if written.altitude is None
            else units.quantity(written.altitude, "length", where),
        )
    except ValueError as problem:
        raise refusal(where, str(problem), "correct --temperature") from None


def print_desk(result: dict[str, Any], display: Display, console: Any) -> None:
    """Print the desk calculation of one fitting."""
    console.print(f"[bold]{result['kind']}[/bold]: {result['what']}")
    given = ", ".join(f"{k} {v:g}" for k, v in result["parameters"].items())
    if given:
        console.print(f"  parameters   {given}")
    for row in result["legs"] or [result]:
        lead = f"  {row['leg']}: " if row.get("leg") else "  "
        total = row["coefficient"] * row["reynolds_factor"]
        line = f"{lead}C {row['coefficient']:.3f}"
        if row["reynolds_factor"] != 1.0:
            line += f" × Reynolds factor {row['reynolds_factor']:.3f} = {total:.3f}"
        console.print(f"{line} on the {row['reference_velocity']} velocity")
        if row["loss_pa"] is not None:
            low, high, mean = row["equivalent_length_window_m"]
            console.print(
                f"  loss         {display.pressures(row['loss_pa'])} {display.pressure}"
            )
            console.print(
                f"  equals       {display.lengths(row['equivalent_length_m'], 2)} "
                f"{display.length} of duct at {display.rates(result['rate_pa_m'])}; "
                f"{display.lengths(low, 2)} to {display.lengths(high, 2)} over 0.18 to "
                f"0.06 in.wg/100 ft, mean {display.lengths(mean, 2)}"
            )
        console.print(f"  source       {row['source']} ({row['confidence']})")
    if result["velocity_m_s"] is not None:
        console.print(
            f"  velocity     {display.velocities(result['velocity_m_s'])} "
            f"{display.velocity}, velocity pressure "
            f"{display.pressures(result['velocity_pressure_pa'])} {display.pressure}"
        )
    for note in result["notes"]:
        console.print(f"  note         {note}")


def print_kinds(console: Any, as_json: bool) -> None:
    """Print every kind of the book with its parameters."""
    if as_json:
        kinds = [
            {
                "kind": kind.name,
                "what": kind.what,
                "parameters": [
                    {"name": p.name, "what": p.what, "low": p.low, "high": p.high}
                    for p in kind.parameters
                ],
            }
            for kind in book.KINDS.values()
        ]
        print(json.dumps(kinds, ensure_ascii=False, indent=1))
        return
    for kind in book.KINDS.values():
        console.print(f"[bold]{kind.name}[/bold]  {kind.what}")
        for p in kind.parameters:
            usual = "" if p.default is None else f", usually {p.default:g}"
            console.print(f"    {p.name}  {p.what}, {p.low:g} to {p.high:g}{usual}")
