"""The desk calculation: one fitting, its dimensions, its loss."""

import math
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from typing import Any

import numpy as np

from elbowroom.layout import (
    BadInput,
    Notice,
    error,
    rate_words,
    refusal,
    sections,
    units,
    velocity_words,
)
from elbowroom.physics import (
    USUAL_RATE,
    WINDOW,
    Air,
    Coefficient,
    LookupRefused,
    Note,
    air,
    book,
    doubts,
    own_part,
    too_fast,
)

from .cli_outputs import print_json
from .display import Display
from .limits import check_range, option_of

# What may be written, and what it measures; the book's own dimensions come first.
LENGTHS = (
    "width",
    "height",
    "diameter",
    "outlet_width",
    "outlet_height",
    "outlet_diameter",
    "radius",
    "centreline_radius",
    "length",
    "thickness",
    "spacing",
)
MEASURES = {
    **dict.fromkeys(LENGTHS, "length"),
    "angle": "angle",
    "flow": "airflow",
    "branch_flow": "airflow",
    "velocity": "velocity",
    "rate": "friction rate",
    "temperature": "temperature",
    "altitude": "length",
}
_NOT_OF_THE_FITTING = ("rate", "temperature", "altitude")
_OF_ANY_FITTING = (
    *_NOT_OF_THE_FITTING,
    "width",
    "height",
    "diameter",
    "flow",
    "velocity",
)
_ONE_OF = (  # either says it alone
    ("velocity", "flow"),
    ("diameter", "width"),
    ("diameter", "height"),
    ("outlet_diameter", "outlet_width"),
    ("outlet_diameter", "outlet_height"),
    ("radius", "centreline_radius"),
)
# Constructions of one turn that `versus` compares: kind, settings, words.
_Making = tuple[str, dict[str, float], str]
_RECTANGULAR: tuple[_Making, ...] = (
    ("rect-elbow-square-throat", {}, "square throat, radius heel"),
    ("rect-elbow-mitred", {}, "mitred: square throat and heel"),
    ("rect-elbow-smooth", {"r_over_W": 1.0}, "smooth radius, r/W 1.0"),
    ("rect-elbow-smooth", {"r_over_W": 1.5}, "smooth radius, r/W 1.5"),
    ("rect-elbow-single-vanes", {}, "mitred, single vanes"),
    ("rect-elbow-double-vanes", {}, "mitred, double vanes"),
    ("rect-elbow-splitters", {"splitter_count": 1}, "smooth radius, one splitter"),
    ("rect-elbow-splitters", {"splitter_count": 2}, "smooth radius, two splitters"),
)
_ROUND: tuple[_Making, ...] = (
    ("round-elbow", {"r_over_D": 1.0}, "smooth, r/D 1.0"),
    ("round-elbow", {"r_over_D": 1.5}, "smooth, r/D 1.5"),
    ("round-elbow-segmented", {"pieces": 5, "r_over_D": 1.5}, "5 pieces, r/D 1.5"),
    ("round-elbow-segmented", {"pieces": 3, "r_over_D": 1.5}, "3 pieces, r/D 1.5"),
    ("round-elbow-pleated-by-diameter", {}, "pleated, r/D 1.5"),
    ("round-elbow-mitred", {}, "mitred"),
)
_OF_A_MAKING = (
    "kind",
    "coefficient",
    "reynolds_factor",
    "loss_pa",
    "equivalent_length_m",
    "source",
    "confidence",
    "notes",
)
_MOST_REYNOLDS = 1e12
_SLOW = 2e4  # Reynolds number at which a factor, where there is one, is not 1
_SPLITTER_THROAT = 0.25  # R/W of the elbows with splitters that are compared


def desk_result(
    name: str, settings: Sequence[str], written: Mapping[str, str]
) -> dict[str, Any]:
    """Work out one fitting.

    Parameters
    ----------
    name
        Kind, in words.
    settings
        Parameters as NAME=VALUE.
    written
        Dimensions, airflow, air and friction rate as written, by the names of
        `MEASURES`.

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
    given, sizes = _read(settings, written)
    with _refusing():
        kind = book.find_kind(name)
    _check_once(kind, given, sizes)
    return _worked(kind, given, sizes)


def versus_result(
    name: str, settings: Sequence[str], written: Mapping[str, str]
) -> dict[str, Any]:
    """Work out a turn, and the other ways to make it, the least loss first.

    Parameters and errors are those of `desk_result`; the result has `versus` as well.
    """
    given, sizes = _read(settings, written)
    with _refusing():
        kind = book.find_kind(name)
    if "elbow" not in kind.name.split("-")[:3] or kind.has_legs:
        raise refusal("fitting, --versus", f"{kind.name} is no elbow", "name an elbow")
    if kind.name.startswith("exit"):
        raise refusal(
            "fitting, --versus",
            f"{kind.name} has an open end in it, which the other ways to make the turn "
            "have not",
            "name the elbow alone; the open end is exit-abrupt",
        )
    _check_once(kind, given, sizes)
    result = _worked(kind, given, sizes)
    turn = {"angle_deg": result["parameters"].get("angle_deg", 90.0)}
    for aspect in ("H_over_W", "H_over_W_in"):
        if aspect in result["parameters"]:
            turn["H_over_W"] = result["parameters"][aspect]
    rows: list[dict[str, Any]] = []
    for other, fixed, words in _ROUND if "round" in kind.name else _RECTANGULAR:
        found = book.KINDS[other]
        names = {parameter.name for parameter in found.parameters}
        known = {**turn, **fixed, "throat_R_over_W": _SPLITTER_THROAT}
        values = {key: float(value) for key, value in known.items() if key in names}
        try:
            made = _worked(found, values, _bare(sizes))
        except BadInput as bad:
            rows.append({"what": words, "kind": other, "why_not": bad.faults[0].what})
            continue
        rows.append({"what": words, **{key: made[key] for key in _OF_A_MAKING}})
    rows.sort(
        key=lambda row: (
            row.get("coefficient", math.inf) * row.get("reynolds_factor", 1.0)
        )
    )
    if kind.shape == sections.Shape.OVAL:
        said = "the other ways are those of a rectangular duct of the same sides"
        result["notes"].append(said)
    return {**result, "versus": rows}


def _bare(sizes: Mapping[str, float]) -> dict[str, float]:
    """Sizes without those that describe one making of the turn."""
    making = ("radius", "centreline_radius", "angle", "spacing", "length")
    return {key: value for key, value in sizes.items() if key not in making}


def _read(
    settings: Sequence[str], written: Mapping[str, str]
) -> tuple[dict[str, float], dict[str, float]]:
    """Settings and quantities in SI units."""
    sizes: dict[str, float] = {}
    faults: list[Notice] = []
    for one, other in _ONE_OF:
        if one in written and other in written:
            one, other = option_of(one), option_of(other)
            what = f"{one} and {other} are both given"
            faults.append(error("fitting", what, "keep one of them"))
    for name, text in written.items():
        where = f"fitting, {option_of(name)}"
        try:
            value = units.quantity(text, MEASURES[name], where)
            if value > 0.0 and name != "altitude":
                check_range(value, text, MEASURES[name], where)
        except BadInput as bad:
            faults += bad.faults
            continue
        may_be_nothing = ("radius", "angle", "branch_flow", "temperature", "altitude")
        # A temperature has a range of its own, in kelvin, which `site_air` tells.
        if value < 0.0 and name not in ("altitude", "temperature"):
            faults.append(error(where, f"{text} is below zero", "correct it"))
        elif value == 0.0 and name not in may_be_nothing:
            faults.append(error(where, f"{text} is not above zero", "correct it"))
        sizes[name] = value
    given: dict[str, float] = {}
    for setting in settings:
        key, _, text = setting.partition("=")
        key = key.strip()
        if key in given:
            faults.append(error("fitting, --set", f"{key} is set twice", "keep one"))
        try:
            given[key] = float(text)
            if key == "Re" and not 0.0 < given[key] < _MOST_REYNOLDS:
                what = f"the Reynolds number is {text}"
                faults.append(error("fitting, --set", what, "write it like Re=1e5"))
        except ValueError:
            faults.append(
                error(
                    "fitting, --set",
                    f"'{setting}' is no setting",
                    "write NAME=VALUE with a bare number, like r_over_W=1.0",
                )
            )
    if faults:
        raise BadInput(faults)
    return given, sizes


def _check_once(
    kind: book.FittingKind, given: Mapping[str, float], sizes: Mapping[str, float]
) -> None:
    """Refuse a parameter that is set twice, and dimensions that the kind has not."""
    with _refusing():
        derived = book.from_dimensions(kind, _dimensions(sizes))
    used = book.dimensions_of(kind)
    idle = [name for name in sizes if name not in (*used, *_OF_ANY_FITTING)]
    if idle:
        options = ", ".join(option_of(name) for name in idle)
        takes = ", ".join(option_of(name) for name in used) or "none"
        raise refusal(
            "fitting",
            f"{kind.name} has no {options}",
            "leave out what it has not; beside the size of its duct and the airflow it "
            f"takes {takes}",
        )
    twice = [name for name in given if name in derived]
    end = book.reference_end(kind, "duct", _dimensions(sizes))
    if "Re" in given and end is not None and ("flow" in sizes or "velocity" in sizes):
        twice.append("Re")
    if twice:
        raise refusal(
            "fitting, --set",
            f"{twice[0]} is set, and follows from the other options too",
            "keep one of them",
        )


def _dimensions(sizes: Mapping[str, float]) -> book.Dimensions:
    return book.Dimensions(
        **{k: v for k, v in sizes.items() if k not in _NOT_OF_THE_FITTING}
    )


@contextmanager
def _refusing() -> Iterator[None]:
    """Turn what a look-up refuses into bad input."""
    try:
        yield
    except LookupRefused as problem:
        raise problem.at("fitting", "correct it") from None


def _worked(
    kind: book.FittingKind, given: Mapping[str, float], sizes: Mapping[str, float]
) -> dict[str, Any]:
    medium = site_air("fitting", sizes)
    own = _dimensions(sizes)
    with _refusing():
        values, assumed = book.complete(
            kind, {**book.from_dimensions(kind, own), **given}
        )
        found = kind.evaluate(values, given.get("Re", math.nan))
    # The velocity and its Reynolds number are those where the coefficients refer to.
    reference = next(iter(found.values())).reference
    end, share = (
        book.reference_end(kind, reference, own),
        book.reference_share(kind, values, own),
    )
    speed, area, diameter = _velocity(end, share, own)
    reynolds = given.get("Re", math.nan)
    if math.isnan(reynolds) and speed is not None and diameter is not None:
        reynolds = speed * diameter / medium.kinematic_viscosity
    with _refusing():
        legs = kind.evaluate(values, reynolds)
    if (drawn := book.as_drawn(kind, values, own)) is not None:
        legs = {"": drawn}
    pv = None if speed is None else 0.5 * medium.density * speed * speed
    rate = sizes.get("rate") or USUAL_RATE
    rows = [_leg(leg, found, pv, rate) for leg, found in legs.items()]
    first = rows[0]
    notes = [f"{name} was not given; its usual value was taken" for name in assumed]
    if math.isnan(reynolds) and any(
        leg.reynolds_factor[0] != 1.0 for leg in kind.evaluate(values, _SLOW).values()
    ):
        notes.append("no airflow and size: the Reynolds factor was left at 1")
    notes += _own_change(kind, values)
    second = book.second_prints(
        kind.name, values, reynolds, math.nan if speed is None else speed
    )
    if speed is not None:
        fastest = max(speed, own.velocity or 0.0, *_in_legs(kind, values, speed))
        notes += [
            f"{fast.what}; {fast.remedy}" for fast in too_fast("fitting", fastest)
        ]
    if own.velocity is not None and speed is not None and share != 1.0:
        notes.append(
            "the velocity that was given is that before the fitting; the one that is "
            f"said is the {reference} velocity, {velocity_words(speed)}"
        )
    if "rate" not in sizes and pv is not None:
        notes.append(f"equivalent length at {rate_words(rate)}, as no rate was given")
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
        "second_prints": [_second(one) for one in second],
    }


def _second(one: book.SecondPrint) -> dict[str, Any]:
    """The same fitting by another publication, for comparison alone."""
    notes = Note(int(one.found.notes[0]))
    return {
        "what": one.what,
        "coefficient": float(one.found.value[0]),
        "table": one.found.credit.table,
        "source": one.found.credit.source,
        "confidence": one.found.credit.confidence,
        "notes": notes.words,
    }


def _in_legs(
    kind: book.FittingKind, values: Mapping[str, float], speed: float
) -> list[float]:
    """Velocities in the branches of a junction, and behind it, from the common one."""
    if not kind.has_legs:
        return []
    first, second = values["Qb_over_Qc"], values.get("Qb2_over_Qc", 0.0)
    shares = [(first, "Ab_over_Ac"), (second, "Ab2_over_Ac")]
    shares.append((1.0 - first - second, "As_over_Ac"))
    return [speed * share / values[name] for share, name in shares if name in values]


def _own_change(kind: book.FittingKind, values: Mapping[str, float]) -> list[str]:
    """Say what of a main's change of section a drawn layout would count beside this.

    Its length, and so its coefficient, is not among a junction's parameters.
    """
    wide = values.get("As_over_Ac", 1.0)
    divides = kind.name.startswith("junction") and "converging" not in kind.name
    if not divides or wide == 1.0 or kind.name.endswith("diverging-radius"):
        return []
    share = 1.0 - values["Qb_over_Qc"] - values.get("Qb2_over_Qc", 0.0)
    part = float(own_part(np.array([wide]), np.array([share]))[0])
    if part <= 0.0:
        return []
    factor = part * (share / min(wide, 1.0)) ** 2
    shape = "round-conical" if kind.shape == sections.Shape.ROUND else "rect-pyramidal"
    other = "contraction" if wide < 1.0 else f"expansion-{shape}"
    return [
        "the main's own change of section is left out; a drawn layout adds "
        f"{factor:.3g} times the coefficient of a transition behind the branch, on the "
        f"common velocity: work that out as {other}"
    ]


def _leg(leg: str, found: Coefficient, pv: float | None, rate: float) -> dict[str, Any]:
    c, factor = float(found.value[0]), float(found.reynolds_factor[0])
    loss = None if pv is None else c * factor * pv
    notes = Note(int(found.notes[0]))
    doubted = Note.SUSPECT_PRINT in notes
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
        "table": found.credit.table,
        "source": found.credit.source,
        "confidence": found.credit.confidence,
        "notes": [*notes.words, *(doubts(found.table) if doubted else ())],
    }


def _velocity(
    end: tuple[sections.Shape, float, float] | None,
    share: float,
    sizes: book.Dimensions,
) -> tuple[float | None, float | None, float | None]:
    """Velocity, area and hydraulic diameter at an end, where they follow.

    `share` is its area over that of the duct before, where alone a velocity is given.
    """
    area = diameter = None
    if end is not None:
        area = float(sections.area(*end))
        diameter = float(sections.hydraulic_diameter(*end))
    elif (duct := book.duct_area(sizes)) is not None:
        area = duct * share
    if sizes.velocity is not None:
        return (sizes.velocity / share if share else None), area, diameter
    if sizes.flow is None or not area:
        return None, area, diameter
    return sizes.flow / area, area, diameter


def site_air(where: str, sizes: Mapping[str, float]) -> Air:
    """Air at `temperature`, K, and `altitude`, m; 20 °C at sea level if not given.

    Raises
    ------
    BadInput
        If no formula holds for it.
    """
    try:
        return air(
            sizes.get("temperature", 293.15), altitude=sizes.get("altitude", 0.0)
        )
    except ValueError as problem:
        raise refusal(
            where, str(problem), "correct --temperature or --altitude"
        ) from None


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
                f"{display.lengths(low, 2)} to {display.lengths(high, 2)} over "
                f"{display.rates(WINDOW[1])} to {display.rates(WINDOW[0])}, "
                f"mean {display.lengths(mean, 2)}"
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
    for one in result["second_prints"]:
        console.print(
            f"  elsewhere    C {one['coefficient']:.3f}, {one['what']}: "
            f"{one['source']} ({one['confidence']})"
        )


def print_versus(
    rows: Sequence[dict[str, Any]], display: Display, console: Any
) -> None:
    """Print ways to make the same turn, the least loss first."""
    from .terminal import TerminalTable, right

    table = TerminalTable(
        "The same turn, made otherwise",
        "made",
        right("C"),
        right(f"loss, {display.pressure}"),
        right(f"equals, {display.length}"),
        "confidence",
    )
    for row in rows:
        if "why_not" in row:
            table.add_row(row["what"], "–", "–", "–", row["why_not"])
            continue
        loss, length = row["loss_pa"], row["equivalent_length_m"]
        table.add_row(
            row["what"],
            f"{row['coefficient'] * row['reynolds_factor']:.3f}",
            "–" if loss is None else display.pressures(loss),
            "–" if length is None else display.lengths(length, 2),
            row["confidence"],
        )
    console.print(table)


def print_kinds(console: Any, as_json: bool) -> None:
    """Print every kind of the book, as `kinds.schema.json` says if as JSON."""
    if as_json:
        kinds = [
            {
                "kind": kind.name,
                "what": kind.what,
                "parameters": [
                    {
                        "name": p.name,
                        "what": p.what,
                        "low": p.low,
                        "high": p.high,
                        "default": p.default,
                    }
                    for p in kind.parameters
                ],
            }
            for kind in book.KINDS.values()
        ]
        print_json({"schema": "elbowroom.kinds/1", "kinds": kinds})
        return
    for kind in book.KINDS.values():
        console.print(f"[bold]{kind.name}[/bold]  {kind.what}")
        for p in kind.parameters:
            usual = "" if p.default is None else f", usually {p.default:g}"
            console.print(f"    {p.name}  {p.what}, {p.low:g} to {p.high:g}{usual}")
