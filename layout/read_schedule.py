"""Read a schedule from TOML: every key known, every quantity with its unit."""

import math
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import replace
from pathlib import Path
from typing import Any, NamedTuple, TypeVar

from . import units
from .allowed import (
    AIR,
    CHECKS,
    COMPONENT,
    COMPRESSION,
    DECLARED_AIRS,
    ELBOW,
    FAN,
    LEAKAGE_CLASSES,
    LEAKAGE_NUMBER,
    NOISE_TARGETS,
    ROUGHNESS,
    SCHEDULE,
    SOURCES,
    SPLITTERS,
    STANDS,
    TERMINAL,
    TRANSITION,
    USES,
    VELOCITY_PRESSURE,
    curve_fault,
)
from .basis import Basis
from .constructions import (
    ELBOW_CONSTRUCTIONS,
    ELBOW_PIECES,
    TAKEOFF_ENTRIES,
    ElbowConstruction,
    TakeoffEntry,
)
from .faults import BadInput, Notice, error, refusal, some
from .paths import found_at
from .schedule import (
    AirSpec,
    ChecksSpec,
    ComponentSpec,
    ElbowRule,
    FanSpec,
    RoomsSpec,
    RunLimits,
    RunWords,
    Schedule,
    SourceSpec,
    TerminalSpec,
    TransitionRule,
)
from .toml_tables import OPEN, STILL_OPEN, Table, direction, load_toml, table_at

_TIGHTEST = ELBOW["radius_ratio"].low  # r/W of a throat radius of nothing
# Constructions that leave no choice of a radius; one of nothing fits them.
_WITHOUT_RADIUS = {
    ElbowConstruction.MITRED: "a mitred elbow has no radius",
    ElbowConstruction.SINGLE_VANES: "a mitred elbow with vanes has no radius",
    ElbowConstruction.DOUBLE_VANES: "a mitred elbow with vanes has no radius",
    ElbowConstruction.SQUARE_THROAT: "a square throat has a radius of nothing, which "
    "makes a centreline radius of 0.5 sides",
}
_VANED = {made for made in ElbowConstruction if made.is_vaned}
_ELBOW_KEYS = (
    "construction",
    "radius_ratio",
    "throat_radius",
    "centreline_radius",
    "pieces",
    "splitters",
    "vane_spacing",
)
NO_AIR = (
    "correct it, or write closed = true in its place under [terminals.NAME] of the "
    "schedule where that end is shut"
)
_LISTED = 10  # places that are still to fill in
CLOSE_ELBOWS = {"plain sum": False, "as pairs": True}
T = TypeVar("T")


def read_schedule(path: Path | str) -> Schedule:
    """Read a schedule.

    Parameters
    ----------
    path
        The TOML file.

    Returns
    -------
    schedule
        What it says, in SI units.

    Raises
    ------
    BadInput
        With every fault of the file: unknown keys with the nearest known one, missing
        units, impossible values.
    """
    schedule = read_so_far(path)
    if schedule.faults:
        raise BadInput(schedule.faults)
    return schedule


def read_so_far(path: Path | str) -> Schedule:
    """Read a schedule as far as it can be, such as one that is half filled in.

    Parameters
    ----------
    path
        The TOML file.

    Returns
    -------
    schedule
        What it says, in SI units; its `faults` say what could not be read, those that
        are still to fill in together.

    Raises
    ------
    BadInput
        If it is no TOML.
    """
    path = Path(path)
    content = load_toml(path)
    faults: list[Notice] = []
    top = Table(content, f"{path.name}", faults)
    walls, walls_of = _walls(top.table("duct"))
    losses = _losses(top)
    sized = top.table("sections")
    sections = sized.values(lambda t, k: t.get(k, units.section))
    unread = {("sections", name) for name in sized.named() if name not in sections}
    elbow_default, elbow_exceptions = _elbows(top.table("elbows"))
    takeoff_default, takeoff_exceptions, closed_ends = _takeoffs(top)
    transition_default, transition_exceptions = _transitions(top.table("transitions"))
    terminals: dict[str, TerminalSpec] = {}
    for name, (terminal, is_read) in _terminals(top.table("terminals")):
        terminals[name] = terminal
        if not is_read:
            unread.add(("terminals", name))
    clearance, insulation = _clearance(top.table("clearance"))
    corrected_pairs = _corrected_pairs(top.table("interaction"))
    schedule = Schedule(
        file=path.name,
        air=_air(top.table("air")),
        source=_source(top.table("source")),
        fan=_fan(top.table("fan")),
        losses=losses,
        components=tuple(_components(top.tables("component"))),
        material=walls.material,
        roughness=walls.roughness,
        run_materials=_said(walls_of, lambda wall: wall.material),
        run_roughness=_said(walls_of, lambda wall: wall.roughness),
        compression=walls.compression,
        run_compression=_said(walls_of, lambda wall: wall.compression),
        sections=sections,
        elbow_default=elbow_default,
        elbow_exceptions=elbow_exceptions,
        takeoff_default=takeoff_default,
        takeoff_exceptions=takeoff_exceptions,
        closed_ends=closed_ends,
        transition_default=transition_default,
        transition_exceptions=transition_exceptions,
        terminals=terminals,
        rooms=_rooms(top.table("rooms")),
        limits=dict(_limits(top.table("limits"))),
        run_words=dict(_run_words(top.table("runs"))),
        checks=_checks(top),
        clearance=clearance,
        insulation=insulation,
        corrected_pairs=corrected_pairs,
    )
    top.finish()
    if faults:
        told = tuple(_open_together(faults, path.name))
        tables = {table_at(fault.where) for fault in faults}
        unread |= {(table, "") for table in tables}
        schedule = replace(schedule, faults=told, unread=frozenset(unread))
    return schedule


def _open_together(faults: Sequence[Notice], file: str) -> list[Notice]:
    """Faults with all that is still to fill in told in one of them, the first."""
    places = [fault.where for fault in faults if fault.what == STILL_OPEN]
    rest = [fault for fault in faults if fault.what != STILL_OPEN]
    if len(places) < 2:
        return list(faults)
    named = [place.removeprefix(f"{file}, ") for place in places]
    shown = some(named, _LISTED)
    what = (
        f'{len(named)} values are still to fill in, as "{OPEN}" stands there: {shown}'
    )
    return [error(file, what, "write a value for each"), *rest]


def find_schedule(route: Path | str) -> Path | None:
    """Schedule that belongs to a route: NAME.schedule.toml, else schedule.toml.

    Parameters
    ----------
    route
        Path of the route; the schedule is looked for in its folder.

    Returns
    -------
    path
        None if there is neither; a folder or a pipe of that name, which
        `read_schedule` refuses.
    """
    route = Path(route)
    for name in (f"{route.stem}.schedule.toml", "schedule.toml"):
        with suppress(BadInput):  # a name may be too long that has this ending
            # What is no file is refused when it is read, rather than passed over.
            if found_at(route.parent / name):
                return route.parent / name
    return None


def _needed_run(table: Table) -> str | None:
    run = table.text("run")
    if run is None and "run" not in table:
        table.fault(
            "", "an exception needs the run that it is for", 'write run = "..."'
        )
    return run


class _Walls(NamedTuple):
    """What is said of the walls of ducts: a material or a roughness, m; a share."""

    material: str | None
    roughness: float | None
    compression: float | None


def _walls(table: Table) -> tuple[_Walls, dict[str, _Walls]]:
    """Walls of all ducts, and of those of single runs."""
    material, roughness = _material(table)
    of_runs = {}
    for name, entry in table.table("runs").each():
        of_runs[name] = _Walls(*_material(entry), _compression(entry))
        entry.says("the run", "material", "roughness", "compression")
        entry.finish()
    compression = _compression(table)
    table.finish()
    return _Walls(material, roughness, compression), of_runs


def _said(
    walls: Mapping[str, _Walls], what: Callable[[_Walls], T | None]
) -> dict[str, T]:
    """One thing that is said of walls, by run, where it is."""
    every = {run: what(wall) for run, wall in walls.items()}
    return {run: value for run, value in every.items() if value is not None}


def _material(table: Table) -> tuple[str | None, float | None]:
    material = table.text("material")
    roughness = table.within("roughness", ROUGHNESS)
    if material is not None and roughness is not None:
        table.fault("", "material and roughness are both given", "delete one")
    return material, roughness


def _compression(table: Table) -> float | None:
    return table.within("compression", COMPRESSION)


def _losses(top: Table) -> dict[str, float]:
    table = top.table("losses")
    losses = table.values(lambda t, k: t.quantity(k, "pressure"))
    for name in [name for name, loss in losses.items() if loss < 0.0]:
        table.fault(name, "a loss is not negative", "write it above zero")
        del losses[name]
    return losses


def _takeoffs(
    top: Table,
) -> tuple[TakeoffEntry | None, dict[str, TakeoffEntry], dict[str, bool]]:
    """Entry of all branches, of single runs, and which runs are taps at closed ends."""
    table = top.table("takeoffs")
    default = table.choice("entry", TAKEOFF_ENTRIES)
    entries: dict[str, Any] = {}
    closed_ends: dict[str, Any] = {}
    for entry in table.tables("exception"):
        run, rule = _needed_run(entry), entry.choice("entry", TAKEOFF_ENTRIES)
        closed = entry.yes_or_no("closed_end")
        entry.finish()
        if run is not None and "entry" not in entry and "closed_end" not in entry:
            what = f"it says nothing of the run '{run}'"
            entry.fault("", what, "write entry or closed_end")
        for said, value in ((entries, rule), (closed_ends, closed)):
            if run is not None and value is not None:
                if run in said:
                    what = f"the run '{run}' has two of them"
                    entry.fault("", what, "delete one of the two")
                said[run] = value
    table.finish()
    return default, entries, closed_ends


def _clearance(table: Table) -> tuple[float, float]:
    """Room that is to be left around ducts, and the insulation on them, m."""
    required = table.within("required", SCHEDULE["clearance"])
    insulation = table.within("insulation", SCHEDULE["insulation"])
    table.finish()
    return required or 0.0, insulation or 0.0


def _corrected_pairs(table: Table) -> bool:
    counted = table.choice("close_elbows", CLOSE_ELBOWS)
    table.finish()
    return bool(counted)


def _air(table: Table) -> AirSpec:
    temperature = table.within("temperature", AIR["temperature"])
    altitude = table.within("altitude", AIR["altitude"])
    pressure = table.within("pressure", AIR["pressure"])
    humidity = table.within("humidity", AIR["humidity"])
    if altitude is not None and pressure is not None:
        table.fault("", "altitude and pressure are both given", "delete one")
    losses_at = table.choice("losses_at", {word: word for word in DECLARED_AIRS})
    table.finish()
    return AirSpec(temperature, altitude, pressure, humidity, losses_at)


def _source(table: Table) -> SourceSpec:
    run, at = table.text("run"), table.point("at")
    if run is not None and at is not None:
        table.fault("", "run and at are both given", "delete one")
    kind = table.choice("kind", {word: word for word in SOURCES})
    side = table.choice("side", {"supply": False, "return": True})
    table.finish()
    return SourceSpec(run, at, kind, side is True, side is False)


def _fan(table: Table) -> FanSpec:
    static = table.positive("external_static_pressure", "pressure")
    total = table.positive("total_pressure", "pressure")
    if static is not None and total is not None:
        table.fault(
            "",
            "external_static_pressure and total_pressure are both given",
            "keep the one that the fan's data state",
        )
    curve = table.get("curve", _curve)
    if curve and (static is not None or total is not None):
        table.fault("", "a curve and a pressure are both given", "keep one of them")
    kind = table.choice("curve_pressure", {"total": True, "external static": False})
    if curve and "curve_pressure" not in table:
        table.fault(
            "",
            "it is not said which pressure the curve is of",
            'write curve_pressure = "total" or "external static"',
        )
    efficiency = table.within("efficiency", FAN["efficiency"])
    drive = table.within("drive_efficiency", FAN["drive_efficiency"])
    hours = table.within("hours_per_year", FAN["hours"])
    at = table.choice("pressure_at", {word: word for word in DECLARED_AIRS})
    moving = {}
    for side in ("inlet", "outlet"):
        key = f"{side}_velocity_pressure"
        moving[key] = table.within(key, VELOCITY_PRESSURE)
        if moving[key] is not None and (total is not None or kind is True):
            table.fault(
                key,
                f"a total pressure has the velocity pressure at the fan's {side} in it",
                "delete it, or declare the external static pressure",
            )
    table.finish()
    return FanSpec(
        static,
        total,
        curve or (),
        kind is not False,
        efficiency,
        drive,
        hours,
        at,
        **moving,
    )


def _curve(value: object, where: str) -> tuple[tuple[float, float], ...]:
    """Points of a fan's curve, the airflow rising."""
    if not isinstance(value, list) or len(value) < 2:
        raise refusal(
            where,
            "a curve is a list of two points or more",
            'write it like [["0 m3/s", "480 Pa"], ["0.5 m3/s", "435 Pa"]]',
        )
    points = []
    for number, pair in enumerate(value, 1):
        at = f"{where}, point {number}"
        if not isinstance(pair, list) or len(pair) != 2:
            raise refusal(
                at, "a point is an airflow and a pressure", 'as ["1 m3/s", "300 Pa"]'
            )
        points.append(
            (
                units.quantity(pair[0], "airflow", at),
                units.quantity(pair[1], "pressure", at),
            )
        )
    fault = curve_fault(tuple(points))
    if fault is not None:
        raise refusal(where, *fault)
    return tuple(points)


def _checks(top: Table) -> ChecksSpec:
    table = top.table("checks")

    def temperature(key: str) -> float | None:
        return table.within(key, CHECKS["around"])

    found = ChecksSpec(
        use=table.choice("use", {word: word for word in USES}),
        flexible_length=table.positive("flexible_length", "length"),
        noise=table.choice("noise", {word: word for word in NOISE_TARGETS}),
        stands=table.choice("ducts_stand", {word: word for word in STANDS}),
        leakage=table.get("leakage_class", _leakage_class),
        around=temperature("temperature_around"),
        transmission=table.within("heat_transmission", CHECKS["transmission"]),
        dew_point=temperature("dew_point_around"),
        least_flow=table.positive("least_airflow", "airflow"),
        most_flow=table.positive("most_airflow", "airflow"),
        cooling=table.positive("cooling_or_heating", "power"),
    )
    if found.noise is not None and found.stands is None:
        table.fault(
            "noise",
            "velocities for a noise criterion depend on where the ducts stand",
            f'write ducts_stand = "{STANDS[0]}", "{STANDS[1]}" or "{STANDS[2]}"',
        )
    _check_warming(table, found)
    if found.least_flow and found.most_flow and found.least_flow > found.most_flow:
        table.fault(
            "least_airflow", "it is more than most_airflow", "correct one of the two"
        )
    table.finish()
    return found


def _check_warming(table: Table, spec: ChecksSpec) -> None:
    """Add faults where the checks of temperatures lack what they need."""
    needed = ("temperature_around", "heat_transmission")
    written = [key for key in (*needed, "dew_point_around") if key in table]
    missing = [key for key in needed if key not in table]
    if written and missing:
        others = " and ".join(missing)
        table.fault(
            "",
            f"{' and '.join(written)} {'are' if written[1:] else 'is'} written, but "
            f"the air in the ducts warms or cools by {' and '.join(needed)}",
            f"write {others} too, or delete {' and '.join(written)}",
        )
    if None not in (spec.dew_point, spec.around) and (
        (spec.dew_point or 0.0) > (spec.around or 0.0)
    ):
        table.fault(
            "dew_point_around",
            "the dew point is above temperature_around, which no air can have",
            "correct one of the two",
        )


def _leakage_class(value: object, where: str) -> str | float:
    if isinstance(value, str) and value.upper() in LEAKAGE_CLASSES:
        return value.upper()
    if not isinstance(value, bool):
        with suppress(ValueError):  # a number may stand in quotes too
            number = float(str(value))
            if LEAKAGE_NUMBER.holds(number):
                return number
    raise refusal(
        where,
        f"'{value}' is no leakage class",
        'write "A" to "D" (EN 12237, EN 1507), or a class number in cfm/100 ft2 at '
        "1 in.wg",
    )


def _components(entries: Iterable[Table]) -> Iterator[ComponentSpec]:
    for entry in entries:
        run, name = entry.text("run"), entry.text("name")
        loss = entry.within("loss", COMPONENT["loss"])
        airflow = entry.positive("airflow", "airflow")
        coefficient = entry.number("coefficient", COMPONENT["coefficient"])
        at = entry.point("at")
        if "run" not in entry:
            entry.fault("", "it needs the run that it stands in", 'write run = "..."')
        if "loss" in entry and "coefficient" in entry:
            entry.fault("", "loss and coefficient are both given", "delete one")
        elif "loss" not in entry and "coefficient" not in entry:
            entry.fault(
                "",
                "it says nothing of what it loses",
                'write loss = "20 Pa" or coefficient = 0.5',
            )
        elif "airflow" in entry and "loss" not in entry:
            entry.fault("airflow", "a coefficient holds at any airflow", "delete it")
        entry.finish()
        if run is not None and (loss is None) != (coefficient is None):
            yield ComponentSpec(
                run, name or "component", loss, airflow, coefficient, at
            )


def _limits(table: Table) -> Iterator[tuple[str, RunLimits]]:
    for run, entry in table.each():
        limits = RunLimits(
            entry.positive("max_height", "length"),
            entry.positive("max_width", "length"),
            entry.yes_or_no("as_drawn") or False,
        )
        entry.says("the run", "max_height", "max_width", "as_drawn")
        if limits.is_kept and (limits.highest or limits.widest):
            entry.fault("as_drawn", "a run as drawn takes no other size", "delete one")
        entry.finish()
        yield run, limits


def _run_words(table: Table) -> Iterator[tuple[str, RunWords]]:
    for run, entry in table.each():
        words = RunWords(
            entry.yes_or_no("transition"),
            entry.quantity("roll", "angle"),
            entry.get("up", direction),
        )
        if "roll" in entry and "up" in entry:
            entry.fault("", "roll and up are both given", "delete one of them")
        entry.says("the run", "transition", "roll", "up")
        entry.finish()
        yield run, words


def _rooms(table: Table) -> RoomsSpec:
    difference = table.get("temperature_difference", units.difference)
    total = table.positive("total_airflow", "airflow")
    table.finish()
    return RoomsSpec(difference, total)


def _elbows(table: Table) -> tuple[ElbowRule, dict[tuple[str, int], ElbowRule]]:
    default = _elbow_rule(table, ElbowRule())
    exceptions: dict[tuple[str, int], ElbowRule] = {}
    whole_runs: dict[str, ElbowRule] = {}
    of_all = replace(default, own_radius=False, own_construction=False)
    made = {default.construction}
    # Whole runs first: what is said of one bend goes on from what is said of its run.
    for entry in sorted(table.tables("exception"), key=lambda entry: "bend" in entry):
        run = _needed_run(entry)
        bend = entry.count("bend", 10000)
        rule = _elbow_rule(entry, whole_runs.get(run or "", of_all))
        entry.says("the elbow", *_ELBOW_KEYS)
        entry.finish()
        made.add(rule.construction)
        _check_counts(entry, {rule.construction})
        if run is None or (bend is None and "bend" in entry):
            continue
        if (run, bend or 0) in exceptions:
            which = f"bend {bend} of run" if bend else "the run"
            entry.fault("", f"{which} '{run}' has two of them", "delete one of the two")
        exceptions[run, bend or 0] = rule
        if bend is None:
            whole_runs[run] = rule
    table.finish()
    _check_counts(table, made)  # what is said for all may be meant for the exceptions
    return default, exceptions


def _check_counts(table: Table, made: set[ElbowConstruction]) -> None:
    """Add a fault for a count of what no elbow there has."""
    for key, noun, kinds in (
        ("pieces", "segmented elbows have pieces", {ElbowConstruction.SEGMENTED}),
        ("splitters", "elbows with splitters have them", {ElbowConstruction.SPLITTERS}),
        ("vane_spacing", "mitred elbows with vanes have it", _VANED),
    ):
        if key in table and not kinds & made:
            words = " or ".join(f'"{kind.words}"' for kind in sorted(kinds))
            table.fault(
                key,
                f"only {noun}, and none is made so here",
                f"write construction = {words}, or delete {key}",
            )


def _elbow_rule(table: Table, default: ElbowRule) -> ElbowRule:
    construction = table.choice("construction", ELBOW_CONSTRUCTIONS)
    ratio = table.number("radius_ratio", ELBOW["radius_ratio"])
    throat = table.within("throat_radius", ELBOW["throat_radius"])
    centre = table.positive("centreline_radius", "length")
    pieces = table.whole("pieces", ELBOW_PIECES)
    splitters = table.whole("splitters", SPLITTERS)
    spacing = table.within("vane_spacing", ELBOW["vane_spacing"])
    given = [value for value in (ratio, throat, centre) if value is not None]
    if len(given) > 1:
        table.fault("", "the radius is given more than once", "keep one of them")
    kind = default.construction if construction is None else construction
    if given and kind in _WITHOUT_RADIUS:
        square = kind == ElbowConstruction.SQUARE_THROAT
        if throat != 0.0 and not (square and ratio == _TIGHTEST):
            remedy = "delete the radius, or write a construction that has one"
            table.fault("", _WITHOUT_RADIUS[kind], remedy)
        given = []  # what it says is so by construction
    return ElbowRule(
        kind,
        default.construction_basis if construction is None else Basis.DECLARED,
        ratio if given else default.radius_ratio,
        throat if given else default.throat_radius,
        centre if given else default.centreline_radius,
        Basis.DECLARED if given else default.radius_basis,
        pieces or default.pieces,
        splitters or default.splitters,
        spacing or default.vane_spacing,
        bool(given) or default.own_radius,
        construction is not None or default.own_construction,
    )


def _transitions(
    table: Table,
) -> tuple[TransitionRule | None, dict[str, TransitionRule]]:
    default = _transition_rule(table)
    exceptions = {}
    for entry in table.tables("exception"):
        run, rule = _needed_run(entry), _transition_rule(entry)
        entry.says("the transition", "included_angle", "length")
        entry.finish()
        if run is not None and rule is not None:
            if run in exceptions:
                entry.fault(
                    "", f"the run '{run}' has two of them", "delete one of the two"
                )
            exceptions[run] = rule
    table.finish()
    return default, exceptions


def _transition_rule(table: Table) -> TransitionRule | None:
    angle = table.within("included_angle", TRANSITION["included_angle"])
    length = table.positive("length", "length")
    if angle is not None and length is not None:
        table.fault("", "included_angle and length are both given", "delete one")
    if length is not None:
        return TransitionRule(length=length)
    return TransitionRule(angle) if angle is not None else None


def _terminals(table: Table) -> Iterator[tuple[str, tuple[TerminalSpec, bool]]]:
    for name, entry in table.each():
        yield name, _terminal(entry)


def _terminal(table: Table) -> tuple[TerminalSpec, bool]:
    """A terminal, and whether what is said of its airflow could be read."""
    if table.yes_or_no("closed"):
        run, at = table.text("run"), table.point("at")
        for key in ("flow", "load", "share", "loss", "coefficient", "kind"):
            if key in table:
                table.get(key, lambda value, where: value)
                table.fault(key, "the end is closed", "delete this, or closed")
        table.finish()
        return TerminalSpec(0.0, run=run, at=at, is_closed=True), True
    flow = table.positive("flow", "airflow", NO_AIR)
    load = table.positive("load", "power")
    share = table.within("share", TERMINAL["share"])
    given = [key for key in ("flow", "load", "share") if key in table]
    said_of = any(
        key in table for key in ("loss", "coefficient", "kind")
    )  # of one that is drawn
    if not given and not said_of:
        table.fault(
            "",
            "the terminal has no airflow",
            'write flow = "100 L/s", the load of its room, or a share of the total',
        )
    elif len(given) > 1:
        table.fault("", f"{' and '.join(given)} are given together", "keep one of them")
    loss = table.within("loss", TERMINAL["loss"])
    coefficient = table.number("coefficient", TERMINAL["coefficient"])
    if "loss" in table and "coefficient" in table:
        table.fault("", "loss and coefficient are both given", "delete one")
    kind, run, at = table.text("kind"), table.text("run"), table.point("at")
    table.finish()
    spec = TerminalSpec(
        math.nan if flow is None else flow,
        loss,
        kind or "",
        run,
        at,
        load,
        share,
        coefficient=coefficient,
    )
    return spec, not spec.is_drawn or (said_of and not given)
