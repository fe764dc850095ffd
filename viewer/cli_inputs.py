"""What the commands read: routes, schedules, solids, values of options."""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from .cli_outputs import say, tell

if TYPE_CHECKING:
    from elbowroom.layout import Drawing, Notice, Obstacle, Schedule
    from elbowroom.physics import Analysis, Budget, Option

    from .display import Display
    from .gaps import Gap


@dataclass(frozen=True)
class Inputs:
    """What a command reads, and how it is read and joined, as its options say.

    Parameters
    ----------
    routes, schedule
        The layouts, and the schedule of all of them; found beside each if None.
    unit, up, tolerance
        How they are read and joined.
    returns, return_unit, return_up
        Return sides beside each.
    obstacles, obstacles_unit, obstacles_up
        Solids to stay clear of.
    """

    routes: Sequence[Path]
    schedule: Path | None
    unit: str | None
    up: str | None
    tolerance: str
    returns: Sequence[Path] = ()
    return_unit: str | None = None
    return_up: str | None = None
    obstacles: Sequence[Path] = ()
    obstacles_unit: str | None = None
    obstacles_up: str | None = None

    def __post_init__(self) -> None:
        """Refuse a unit or an axis that is not known, by the name of its option."""
        from elbowroom.layout import units

        units.check_frame(self.unit, self.up, "--")
        units.check_frame(self.obstacles_unit, self.obstacles_up, "--obstacles-")

    @property
    def drawings(self) -> list[Path]:
        """The layouts, then the returns."""
        return [*self.routes, *self.returns]

    @property
    def others(self) -> list[Path | None]:
        """What is read besides."""
        return [self.schedule, *self.obstacles]

    def read(self, route: Path) -> "Drawing":
        """Read a drawing."""
        from elbowroom.layout import read

        return read(route, unit=self.unit, up=self.up)

    def read_return(self, route: Path) -> "Drawing":
        """Read a return: as its own options say, else as the file, else as the supply.

        An option for the supply does not overrule what the file of a return states.
        """
        from elbowroom.layout import BadInput, read

        unit, up = self.return_unit, self.return_up
        try:
            drawing = read(route, unit=unit, up=up)
        except BadInput:
            if (self.unit, self.up) == (None, None):
                raise
            # A route by hand that says no unit is refused without one.
            return read(route, unit=unit or self.unit, up=up or self.up)
        if drawing.is_unit_assumed:
            unit = self.unit
        if drawing.is_up_assumed:
            up = self.up
        if (unit, up) == (self.return_unit, self.return_up):
            return drawing
        return read(route, unit=unit, up=up)

    @property
    def joining_distance(self) -> float:
        """Largest distance of ends that are joined, m."""
        from elbowroom.layout import refusal, units

        text = self.tolerance
        metres = units.quantity(text, "length", "--tolerance")
        if not 0.0 < metres <= 1.0:
            what = f"'{text}' is not above 0 to 1 m (39.4 in)"
            raise refusal("--tolerance", what, "correct it")
        return metres


@dataclass(frozen=True)
class Layouts:
    """Layouts as a command has read and analysed them, and what stands around.

    Parameters
    ----------
    shown
        Of each layout the supply, with what its returns spend, and these behind it.
    rooms
        Room around every side of each.
    budgets
        Of each with its returns; empty without returns.
    solids
        What the room was measured to besides the ducts.
    """

    shown: "list[list[Option]]"
    rooms: "list[list[tuple[Gap, ...]]]"
    budgets: "list[Budget]"
    solids: "list[Obstacle]"

    @property
    def options(self) -> "list[Option]":
        """The supplies."""
        return [sides[0] for sides in self.shown]


def opened(inputs: Inputs, display: "Display", *, is_drawn: bool) -> Layouts:
    """Read, analyse and measure layouts with their returns, as all commands do.

    Parameters
    ----------
    inputs
        What is read.
    display
        Whose units clashes are said in.
    is_drawn
        Whether one picture is to show them, so that it is said if none can.
    """
    from elbowroom.physics import budget, with_one_outlet

    from .layout_view import far_apart

    schedules = schedules_for(inputs.routes, inputs.schedule)
    solids, notices = solids_around(inputs)
    names = option_names(inputs.drawings)
    found, around = _read_options(inputs, names, schedules, solids, notices, display)
    options = with_one_outlet(found)
    backs = returns_of_each(inputs, schedules)
    behind = names[len(inputs.routes) :]
    sides = [
        _with_sides(option, room, [option.name, *behind], back, solids, display)
        for option, room, back in zip(options, around, backs, strict=True)
    ]
    budgets = [
        budget(option.analysis, back)
        for option, back in zip(options, backs, strict=True)
        if back
    ]
    layouts = Layouts(
        [shown for shown, _ in sides], [rooms for _, rooms in sides], budgets, solids
    )
    if is_drawn:
        supplies = [option.analysis for option in layouts.options]
        for said in far_apart([*supplies, *backs[0]]):
            say(said.sentence)
    return layouts


@dataclass(frozen=True)
class Plan:
    """What a layout is designed with, before it is analysed.

    Parameters
    ----------
    schedule
        With an airflow at each terminal, and what the returns spend as a loss.
    returns
        The returns beside it, by what to call each.
    solids
        What to stay clear of.
    notices
        What is to be said of the airflows and of the solids.
    """

    schedule: "Schedule"
    returns: "dict[str, Analysis]"
    solids: "list[Obstacle]"
    notices: "tuple[Notice, ...]"


def planned(inputs: Inputs) -> Plan:
    """Read what a layout is designed with."""
    from elbowroom.physics import plan_with_returns, with_airflows

    (route,) = inputs.routes
    schedule, worked = with_airflows(schedule_for(route, inputs.schedule))
    sides = return_sides(inputs, schedule)
    solids, notices = solids_around(inputs)
    names = option_names(inputs.drawings)[1:]
    return Plan(
        plan_with_returns(schedule, sides),
        dict(zip(names, sides, strict=True)),
        solids,
        (*notices, *worked),
    )


def _read_options(
    inputs: Inputs,
    names: Sequence[str],
    schedules: "Sequence[Schedule]",
    obstacles: "Sequence[Obstacle]",
    notices: "Sequence[Notice]",
    display: "Display",
) -> "tuple[list[Option], list[tuple[Gap, ...]]]":
    """Options side by side, and room around each.

    A schedule may name runs of any option that it is for, of the others not.
    """
    from elbowroom.layout import build
    from elbowroom.physics import Option, analyse, with_airflows

    from .gaps import clashes, gaps

    drawings = [inputs.read(route) for route in inputs.routes]
    called = [_names_in(drawing) for drawing in drawings]
    options, rooms = [], []
    for place, (name, drawing) in enumerate(zip(names, drawings, strict=False)):
        plan = schedules[place]
        others = [
            runs
            for other, runs in enumerate(called)
            if other != place and schedules[other] is plan
        ]
        schedule, worked = with_airflows(plan)
        distance = inputs.joining_distance
        graph = build(drawing, schedule, tolerance=distance, other_drawings=others)
        analysis = analyse(graph)
        clearance, room = gaps(analysis, obstacles)
        told = clashes(room, display)
        options.append(Option(name, analysis, clearance, told, (*notices, *worked)))
        rooms.append(room)
    return options, rooms


def _names_in(drawing: "Drawing") -> set[str]:
    """Names of a drawing's runs and terminals."""
    said = (attributes.terminal for attributes in drawing.attributes.values())
    return {*drawing.names, *(name for name in said if name)}


def analysed(inputs: Inputs, schedule: "Schedule") -> "Analysis":
    """Analyse the one route, with nothing around it."""
    (route,) = inputs.routes
    return _analysed(inputs, inputs.read(route), schedule)[0]


def _analysed(
    inputs: Inputs, drawing: "Drawing", schedule: "Schedule"
) -> "tuple[Analysis, tuple[Notice, ...]]":
    """Analyse a drawing; with what is to be said of the airflows of its rooms."""
    from elbowroom.layout import build
    from elbowroom.physics import analyse, with_airflows

    schedule, worked = with_airflows(schedule)
    tolerance = inputs.joining_distance
    return analyse(build(drawing, schedule, tolerance=tolerance)), worked


def return_sides(inputs: Inputs, supply: "Schedule") -> "list[Analysis]":
    """Analyse the returns of the one supply."""
    return returns_of_each(inputs, [supply])[0]


def returns_of_each(
    inputs: Inputs, supplies: "Sequence[Schedule]"
) -> "list[list[Analysis]]":
    """Analyse the returns beside each of several supplies, by the schedules of these.

    A return with a schedule of its own has of theirs the limits and the site that it
    does not state.
    """
    from elbowroom.layout import AirSpec, ChecksSpec

    for route, supply in zip(inputs.routes, supplies, strict=True):
        _check_returns(inputs, route, supply)
    made: dict[tuple[Path, object], Analysis] = {}
    sides: list[list[Analysis]] = [[] for _ in supplies]
    for path in inputs.returns:
        plan = _own_schedule(path)
        own = None if plan is None else schedule_for(path, plan)
        if plan is not None:
            tell(f"using the schedule {plan.name}")
        for supply, found in zip(supplies, sides, strict=True):
            taken = supply.checks.beside(ChecksSpec()), supply.air.beside(AirSpec())
            key = path, id(supply) if own is None else taken
            if key not in made:
                made[key] = _return_side(inputs, path, own, supply)
            found.append(made[key])
    return sides


def _check_returns(inputs: Inputs, route: Path, supply: "Schedule") -> None:
    """Refuse returns that cannot stand beside a supply."""
    from elbowroom.layout import real_path, refusal, units

    returns = inputs.returns
    said = {"unit": inputs.return_unit, "up": inputs.return_up}
    for option, word in said.items():
        if word is not None and not returns:
            raise refusal(f"--return-{option}", "there is no --return", "leave it out")
    units.check_frame(inputs.return_unit, inputs.return_up, "--return-")
    seen = {real_path(route)}
    if returns and supply.source.is_return:
        raise refusal(
            f"{supply.file}, [source] side",
            f"it says that {route.name} is a return, and --return {returns[0].name} "
            "needs a supply before it",
            "name the supply first and the return behind --return, or correct the side",
        )
    if returns and supply.fan.inlet_velocity_pressure is not None:
        raise refusal(
            f"{supply.file}, [fan] inlet_velocity_pressure",
            "it is declared, and the drawn return says it too",
            "delete it, or leave --return out",
        )
    for path in returns:
        if real_path(path) in seen:
            raise refusal(
                f"--return {path.name}",
                "the same drawing is given twice",
                "name the drawing of the return, once",
            )
        seen.add(real_path(path))


def _with_sides(
    option: "Option",
    room: "tuple[Gap, ...]",
    names: Sequence[str],
    returns: "Sequence[Analysis]",
    obstacles: "Sequence[Obstacle]",
    display: "Display",
) -> "tuple[list[Option], list[tuple[Gap, ...]]]":
    """A supply and its returns as layouts to show, and the room around each.

    The supply has what its returns spend among its losses, and is the one that ducts of
    two sides stand too near to; `names` are those of all sides, the supply's first.
    """
    from dataclasses import replace
    from itertools import combinations

    from elbowroom.physics import Option, with_returns

    from .gaps import gaps, gaps_between, in_units

    analysis = with_returns(option.analysis, returns)
    options, rooms = [replace(option, name=names[0], analysis=analysis)], [room]
    for name, side in zip(names[1:], returns, strict=True):
        clearance, around = gaps(side, obstacles)
        options.append(Option(name, side, clearance))
        rooms.append(around)
    for one, other in combinations(range(len(options)), 2):
        near = gaps_between(
            options[one].analysis, options[other].analysis, names[other]
        )
        every = (*rooms[one], *near)
        rooms[one] = tuple(sorted(every, key=lambda gap: (gap.is_kept, gap.distance)))
    return in_units(options, rooms, display), rooms


def told_together(layouts: Layouts) -> Layouts:
    """Layouts of which each supply has what is to be said of its budget and returns.

    It stands for all of them where options are compared.
    """
    from dataclasses import replace

    if not layouts.budgets:
        return layouts
    every = zip(layouts.shown, layouts.rooms, layouts.budgets, strict=True)
    return replace(layouts, shown=[_told_together(*one) for one in every])


def _told_together(
    shown: "Sequence[Option]", rooms: "Sequence[tuple[Gap, ...]]", whole: "Budget"
) -> "list[Option]":
    from dataclasses import replace

    from .failings import clash_flags

    supply, *returns = shown
    said = [*supply.analysis.flags, *whole.notices]
    for side, around in zip([one.analysis for one in returns], rooms[1:], strict=True):
        said += _with_file(side, side.flags)
        said += clash_flags(around, side.graph.drawing.file)
    analysis = replace(supply.analysis, flags=tuple(said))
    return [replace(supply, analysis=analysis), *returns]


def of_drawings(
    sides: "Sequence[Analysis]", *, will_change: bool = False
) -> "list[Notice]":
    """What is to be said of the drawings that a design rests on.

    Parameters
    ----------
    sides
        A layout, and any returns beside it.
    will_change
        Whether the layout gets other sizes, so that the fit of those drawn is nothing
        to know.
    """
    from elbowroom.layout import fit_notices

    supply, *returns = sides
    fit = set(fit_notices(supply.graph)) if will_change else ()
    said = [one for one in supply.graph.notices if one not in fit]
    for side in returns:
        said += _with_file(side, side.graph.notices)
    return said


def _with_file(side: "Analysis", notices: "Iterable[Notice]") -> "list[Notice]":
    """Notices of a side that stands beside others, each with its file."""
    from dataclasses import replace

    file, said = side.graph.drawing.file, []
    for one in notices:
        told = any(
            name and name in one.where for name in (file, side.graph.schedule.file)
        )
        where = one.where if told else ", ".join(filter(None, (file, one.where)))
        said.append(replace(one, where=where))
    return said


def _return_side(
    inputs: Inputs, route: Path, own: "Schedule | None", supply: "Schedule"
) -> "Analysis":
    """Analyse a return: with its own schedule, else as the supply is made.

    The supply's site and checks are those of the job: they hold where its own schedule
    is silent.
    """
    from dataclasses import replace

    from elbowroom.layout import FanSpec, warning
    from elbowroom.physics import sites_apart

    drawing = inputs.read_return(route)
    if own is None:
        return _analysed(inputs, drawing, supply.for_return())[0]
    schedule, said = own, []
    if schedule.source.is_supply:
        said.append(
            warning(
                f"{schedule.file}, [source] side",
                f"it says that {route.name} is a supply, and --return takes it for a "
                "return",
                "name the drawing of the return, or correct the side",
                effect="its air counts as flowing to the fan",
            )
        )
    if schedule.fan != FanSpec():
        said.append(
            warning(
                f"{schedule.file}, [fan]",
                "the fan of a return is not counted beside a supply: one fan serves "
                "both",
                "declare that one under [fan] in the schedule of the supply",
                effect="the budget of both sides has the supply's fan, or none",
            )
        )
    source = replace(schedule.source, is_return=True, feeds_supply=True)
    schedule = replace(
        schedule,
        source=source,
        fan=FanSpec(),
        air=supply.air.beside(schedule.air),
        checks=supply.checks.beside(schedule.checks),
    )
    said += sites_apart(supply, schedule)
    found, worked = _analysed(inputs, drawing, schedule)
    return replace(found, flags=(*said, *worked, *found.flags))


def _own_schedule(route: Path) -> Path | None:
    """Schedule of a return alone; one that all routes share is of the supply."""
    from elbowroom.layout import find_schedule

    own = find_schedule(route)
    return None if own is None or own.name == "schedule.toml" else own


def schedule_for(
    route: Path, given: Path | None, *, so_far: bool = False
) -> "Schedule":
    """Schedule given, or found beside a route, or an empty one.

    With `so_far` what is wrong in it is among its faults, else refused.
    """
    from elbowroom.layout import Schedule, find_schedule, read_schedule, read_so_far

    path = given or find_schedule(route)
    if path is None:
        return Schedule()
    if given is None:
        tell(f"using the schedule {path.name}")
    return read_so_far(path) if so_far else read_schedule(path)


def schedules_for(routes: Sequence[Path], given: Path | None) -> "list[Schedule]":
    """Schedule of each route; one that several share is read and named once."""
    from elbowroom.layout import find_schedule

    read: dict[Path | None, Schedule] = {}
    out = []
    for route in routes:
        path = given or find_schedule(route)
        if path not in read:
            read[path] = schedule_for(route, given)
        out.append(read[path])
    return out


def solids_around(inputs: Inputs) -> "tuple[list[Obstacle], list[Notice]]":
    """Solids of the files named and of the routes' own files, each of them once."""
    from elbowroom.layout import found_at, read_obstacles, refusal, structure_in

    unit, up = inputs.obstacles_unit, inputs.obstacles_up
    for option, word in (("unit", unit), ("up", up)):
        if word is not None and not inputs.obstacles:
            raise refusal(
                f"--obstacles-{option}", "there are no --obstacles", "leave it out"
            )
    solids: list[Obstacle] = []
    notices: list[Notice] = []
    seen: set[tuple[str, bytes]] = set()
    for found, said in [
        *(read_obstacles(path, unit=unit, up=up) for path in inputs.obstacles),
        *(
            structure_in(path, unit=stated)
            for paths, stated in (
                (inputs.routes, inputs.unit),
                (inputs.returns, inputs.return_unit),
            )
            for path in paths
            if found_at(path) == "file"
        ),
    ]:
        notices += said
        for solid in found:
            key = (solid.name, solid.vertices.tobytes())
            if key not in seen:
                seen.add(key)
                solids.append(solid)
    return solids, notices


def option_names(routes: Sequence[Path]) -> list[str]:
    """Name of each option: its file's stem, with ending or folder where stems repeat.

    Raises
    ------
    BadInput
        If a drawing is given twice.
    """
    from elbowroom.layout import real_path, refusal

    paths = [real_path(route) for route in routes]
    for place, path in enumerate(paths):
        if path in paths[:place]:
            raise refusal(
                str(routes[place]),
                "the same drawing is given twice",
                "name each option once",
            )
    stems = [route.stem for route in routes]
    files = [route.name for route in routes]
    around = [path.parent.name for path in paths]
    folders = [f"{name}-{stem}" for name, stem in zip(around, stems, strict=True)]
    for names in (stems, files, folders):
        if len(set(names)) == len(names):
            return names
    return [f"{place}-{stem}" for place, stem in enumerate(stems, 1)]


def input_files(inputs: Inputs) -> dict[str, Any]:
    """Every file that goes in, with its checksum.

    That of a glTF is of the file and then of those that hold its buffers: without
    these, other points would have the same one.
    """
    from hashlib import sha256

    from elbowroom.layout import files_beside, find_schedule

    def named(path: Path) -> dict[str, str]:
        digest = sha256()
        for part in (path, *files_beside(path)):
            digest.update(part.read_bytes())
        return {"file": path.name, "sha256": digest.hexdigest()}

    plans = [inputs.schedule or find_schedule(route) for route in inputs.routes]
    plans += [_own_schedule(route) for route in inputs.returns]
    return {
        "routes": [named(route) for route in inputs.drawings],
        "schedules": [named(plan) for plan in dict.fromkeys(plans) if plan is not None],
        "obstacles": [named(path) for path in inputs.obstacles],
    }


def display_of(units: str) -> "Display":
    """The way to show quantities that --units asks for."""
    from .display import DISPLAYS

    return DISPLAYS[one_of(units, DISPLAYS, "--units")]


def one_of(word: str, choices: Collection[str], where: str) -> Any:
    """The word, if it is one of those that there are; another is refused."""
    from elbowroom.layout import refusal

    if word in choices:
        return word
    raise refusal(where, f"'{word}' is not known", f"write {' or '.join(choices)}")


def above_zero(text: str, dimension: str, where: str) -> float:
    """Read a quantity that must be above zero and within what is reasonable, SI."""
    from elbowroom.layout import refusal, units

    from .limits import check_range

    value = units.quantity(text, dimension, where)
    if value <= 0.0:
        raise refusal(where, f"{text} is not above zero", "correct it")
    check_range(value, text, dimension, where)
    return value
