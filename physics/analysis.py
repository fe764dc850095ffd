"""The analysis of a layout: losses, paths, the pressure budget."""

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from elbowroom.layout import (
    Basis,
    DuctGraph,
    ElbowConstruction,
    FloatArray,
    IntArray,
    Notice,
    Shape,
    TakeoffEntry,
    units,
    warning,
)

from .coefficient import Note
from .conditions import Conditions, conditions_of
from .elements import DuctState, Elements, Kind, duct_state, elements_of
from .flows import check_drawn_flows, downstream_sum, duct_flows
from .friction import Regime, regime

# The window that practice works in; common practice, no published source.
WINDOW = tuple(
    units.quantity(f"{rate} in.wg/100 ft", "friction rate", "") for rate in (0.06, 0.18)
)
_FLATTEST = 4.0  # aspect ratio above which a duct is flagged


@dataclass(frozen=True, slots=True)
class System:
    """Pressure budget of a layout at its design airflow, Pa and Pa/m.

    Parameters
    ----------
    fan_pressure, fan_kind
        What the fan gives, and whether that is 'external static' or 'total'; None
        where nothing is declared.
    outlet_velocity_pressure
        Velocity pressure in the first duct, which an external static pressure has on
        top of it.
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
    outlet_velocity_pressure: float
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


@dataclass(frozen=True, slots=True)
class Assumption:
    """Something that was taken because nobody said it.

    Parameters
    ----------
    what
        What was taken, in a sentence without a full stop.
    remedy
        How to say it.
    elements
        How many elements rest on it.
    """

    what: str
    remedy: str
    elements: int


@dataclass(frozen=True, eq=False)
class Analysis:
    """Losses of a layout at its design airflow.

    Parameters
    ----------
    graph, conditions
        What was analysed, and under which conditions.
    state
        The air in each duct.
    elements
        Everything that spends pressure.
    path_loss, path_length
        Loss of total pressure, Pa, and length of duct, m, from the source to each
        terminal, shape (t,).
    critical
        The terminal of the largest loss.
    system
        The pressure budget.
    flags
        What a reader should look at.
    assumptions
        What was taken because nobody said it.
    """

    graph: DuctGraph
    conditions: Conditions
    state: DuctState
    elements: Elements
    path_loss: FloatArray
    path_length: FloatArray
    critical: int
    system: System
    flags: tuple[Notice, ...]
    assumptions: tuple[Assumption, ...]

    @property
    def critical_loss(self) -> float:
        """Loss of the critical path, Pa."""
        return float(self.path_loss[self.critical])

    @property
    def critical_terminal(self) -> str:
        """Name of the terminal at the end of the critical path."""
        return self.graph.terminals.name[self.critical]

    def path(self, terminal: int) -> IntArray:
        """Elements from the source to a terminal, in order."""
        parent = self.graph.ducts.parent
        duct = int(self.graph.terminals.duct[terminal])
        way = []
        while duct >= 0:
            way.append(duct)
            duct = int(parent[duct])
        first = np.searchsorted(self.elements.duct, way[::-1], "left")
        last = np.searchsorted(self.elements.duct, way[::-1], "right")
        return np.concatenate(
            [np.arange(a, b) for a, b in zip(first, last, strict=True)]
        )

    @cached_property
    def ids(self) -> tuple[str, ...]:
        """Identifier of each element: its noun and a number in walking order."""
        kind = self.elements.kind
        number = np.zeros(len(kind), dtype=np.int64)
        for code in Kind:
            mine = kind == code
            number[mine] = np.arange(1, int(mine.sum()) + 1)
        nouns = [code.noun for code in Kind]
        return tuple(
            f"{nouns[k]}-{n}"
            for k, n in zip(kind.tolist(), number.tolist(), strict=True)
        )

    def identifier(self, element: int) -> str:
        """Identifier of one element, as in `ids`."""
        kind = self.elements.kind
        number = int((kind[: element + 1] == kind[element]).sum())
        return f"{Kind(kind[element]).noun}-{number}"

    def name(self, element: int) -> str:
        """Name of an element in the words of the drawing."""
        graph, kind = self.graph, Kind(self.elements.kind[element])
        names, ducts = graph.drawing.names, graph.ducts
        duct, row = int(self.elements.duct[element]), int(self.elements.row[element])
        run = names[ducts.run[duct]]
        if kind == Kind.DUCT:
            return run
        if kind == Kind.BEND:
            return f"{run}, bend {graph.bends.number[row]}"
        if kind in (Kind.EXIT, Kind.TERMINAL):
            return graph.terminals.name[row]
        if kind == Kind.ENTRY:
            return f"{run}, entry"
        before = names[ducts.run[ducts.parent[duct]]]
        if kind == Kind.TRANSITION:
            return f"{before} to {run}"
        return f"{run} from {before}"

    def words(self, element: int) -> str:
        """What an element is, in the trade's words."""
        graph, kind = self.graph, Kind(self.elements.kind[element])
        row, duct = int(self.elements.row[element]), int(self.elements.duct[element])
        if kind == Kind.BEND:
            return _bend_words(graph, row)
        if kind in (Kind.BRANCH, Kind.MAIN):
            return _leg_words(graph, row, kind)
        if kind == Kind.TRANSITION:
            before = int(graph.ducts.parent[duct])
            grows = self.state.area[duct] > self.state.area[before]
            same = abs(self.state.area[duct] / self.state.area[before] - 1) < 0.02
            what = (
                "change of shape" if same else "expansion" if grows else "contraction"
            )
            return f"{what} from {graph.section(before).words}"
        return {
            Kind.DUCT: "straight duct",
            Kind.ENTRY: "entry flush with a wall",
            Kind.EXIT: "open end into the room",
            Kind.TERMINAL: "terminal with its declared loss",
        }[kind]

    @cached_property
    def equivalent_length(self) -> FloatArray:
        """Length of duct that would lose as much at the system's rate, m, shape (n,).

        A duct counts with its own length; a declared terminal loss has none (NaN), as
        it is taken off the fan's pressure.
        """
        elements = self.elements
        length = elements.loss / self.system.rate
        length = np.where(elements.kind == Kind.DUCT, elements.length, length)
        return np.where(elements.kind == Kind.TERMINAL, np.nan, length)


def analyse(graph: DuctGraph, conditions: Conditions | None = None) -> Analysis:
    """Work out where the pressure of a layout goes.

    Parameters
    ----------
    graph
        The classified graph, with an airflow at each terminal.
    conditions
        Air, roughness, fan; those of the graph's schedule if None.

    Returns
    -------
    analysis
        Losses, paths and the pressure budget.

    Raises
    ------
    BadInput
        If drawn airflows do not add up, or a fitting cannot be made as it is said.

    Notes
    -----
    Total pressure is counted along every path: the loss of a path is the sum over its
    own elements. In a tree each duct pays for the fitting at its upstream end.
    """
    conditions = conditions or conditions_of(graph)
    flow = duct_flows(graph)
    check_drawn_flows(graph, flow)
    state = duct_state(graph, flow, conditions)
    elements, notices = elements_of(graph, state, conditions)
    count = len(graph.ducts.parent)
    spent = downstream_sum(
        graph.ducts.parent, np.bincount(elements.duct, elements.loss, minlength=count)
    )
    run = downstream_sum(graph.ducts.parent, graph.ducts.length)
    path_loss = spent[graph.terminals.duct]
    path_length = run[graph.terminals.duct]
    critical = int(np.argmax(path_loss))
    analysis = Analysis(
        graph,
        conditions,
        state,
        elements,
        path_loss,
        path_length,
        critical,
        _system(graph, conditions, state, elements, path_loss, path_length, critical),
        (),
        (),
    )
    return replace(
        analysis,
        flags=(*graph.notices, *notices, *_flags(analysis), *_budget_flags(analysis)),
        assumptions=tuple(_assumptions(analysis)),
    )


def _system(
    graph: DuctGraph,
    conditions: Conditions,
    state: DuctState,
    elements: Elements,
    path_loss: FloatArray,
    path_length: FloatArray,
    critical: int,
) -> System:
    way = [int(graph.terminals.duct[critical])]
    while graph.ducts.parent[way[-1]] >= 0:
        way.append(int(graph.ducts.parent[way[-1]]))
    friction = float((state.gradient[way] * graph.ducts.length[way]).sum())
    declared = float(np.nan_to_num(graph.terminals.loss[critical]))
    loss, length = float(path_loss[critical]), float(path_length[critical])
    fittings = loss - friction - declared
    outside = float(sum((conditions.declared_losses or {}).values()))
    outlet = float(state.velocity_pressure[way[-1]])
    pressure, kind, available, left = None, None, None, None
    if conditions.fan_total is not None:
        pressure, kind = conditions.fan_total, "total"
        available = pressure - outside - declared
    elif conditions.fan_static is not None:
        pressure, kind = conditions.fan_static, "external static"
        available = pressure + outlet - outside - declared
    if available is not None and length > 0:
        left = (available - fittings) / length
    mean = friction / length if length > 0 else np.nan
    rate = left if left is not None and left > 0 else mean
    return System(
        pressure,
        kind,
        outlet,
        outside,
        declared,
        available,
        loss - declared,
        loss,
        length,
        fittings,
        mean,
        left,
        rate,
        length + fittings / rate,
    )


def _bend_words(graph: DuctGraph, row: int) -> str:
    bends = graph.bends
    construction = ElbowConstruction(bends.construction[row])
    angle = np.degrees(bends.angle[row])
    duct = int(graph.ducts.parent[bends.duct[row]])
    text = f"{construction.words} elbow {angle:.3g}°"
    if bends.radius[row] > 0:
        over = "D" if graph.ducts.shape[duct] == Shape.ROUND else "W"
        text += f", r/{over} {bends.radius[row] / bends.in_plane[row]:.3g}"
    if graph.ducts.shape[duct] != Shape.ROUND:
        if bends.skew[row] > 0:
            text += ", askew"
        elif bends.along_axis[row] > bends.in_plane[row] * 1.001:
            text += ", the easy way"
        elif bends.along_axis[row] < bends.in_plane[row] * 0.999:
            text += ", the hard way"
    return text


def _leg_words(graph: DuctGraph, row: int, kind: Kind) -> str:
    legs = graph.legs
    angle = np.degrees(legs.angle[row])
    if legs.is_symmetrical[row]:
        what = "bullhead tee" if angle >= 80 else "symmetrical wye"
        return f"leg of a {what}, {angle:.3g}°"
    if kind == Kind.MAIN:
        return "straight leg past a branch"
    entry = TakeoffEntry(legs.entry[row])
    return f"branch at {angle:.3g}°, {entry.words} entry".replace(
        "entry entry", "entry"
    )


def _flags(analysis: Analysis) -> list[Notice]:
    graph, elements, ducts = analysis.graph, analysis.elements, analysis.graph.ducts
    flags = []
    codes = regime(analysis.state.reynolds)
    for code, words in (
        (Regime.LAMINAR, "laminar (Reynolds below 2000)"),
        (
            Regime.TRANSITION,
            "in the transition from laminar (Reynolds 2000 to 4000), for which there "
            "is no agreed friction formula",
        ),
    ):
        rows = np.flatnonzero(codes == code)
        if len(rows):
            flags.append(
                warning(
                    _places(graph, rows),
                    f"the flow is {words}",
                    "check the airflow and the size",
                )
            )
    flat = (ducts.shape != Shape.ROUND) & (
        np.maximum(ducts.width, ducts.height)
        > _FLATTEST * np.minimum(ducts.width, ducts.height) * (1 + 1e-9)
    )
    if flat.any():
        flags.append(
            warning(
                _places(graph, np.flatnonzero(flat)),
                f"the section is flatter than {_FLATTEST:g} to 1",
                "expect more weight, noise and uneven flow than for a squarer one "
                "(common practice, no published source)",
            )
        )
    for note in Note:
        if note in (Note.NOTHING, Note.INTERPOLATED):
            continue
        rows = np.flatnonzero(elements.notes & int(note))
        if len(rows):
            shown = ", ".join(analysis.identifier(int(row)) for row in rows[:6])
            more = f" and {len(rows) - 6} more" if len(rows) > 6 else ""
            flags.append(warning(f"{shown}{more}", note.words[0]))
    return flags


def _places(graph: DuctGraph, rows: IntArray) -> str:
    names = list(
        dict.fromkeys(
            graph.drawing.names[run] for run in graph.ducts.run[rows].tolist()
        )
    )
    shown = ", ".join(f"'{name}'" for name in names[:6])
    more = f" and {len(names) - 6} more" if len(names) > 6 else ""
    return f"run{'s' * (len(names) > 1)} {shown}{more}"


def _budget_flags(analysis: Analysis) -> list[Notice]:
    system, graph = analysis.system, analysis.graph
    flags = []
    if system.available is None:
        flags.append(
            warning(
                "budget",
                "no fan pressure is declared, so it is not known what the ducts may "
                "spend",
                "write external_static_pressure under [fan] in the schedule",
            )
        )
    elif system.available <= 0:
        flags.append(
            warning(
                "budget",
                "the declared losses use up the whole pressure of the fan "
                f"({system.available:.0f} Pa left): no duct can work with it",
                "choose a stronger fan or components that lose less",
            )
        )
    elif system.required > system.available:
        flags.append(
            warning(
                "budget",
                f"the critical path needs {system.required:.1f} Pa, the fan leaves "
                f"{system.available:.1f} Pa",
                "spend less in the fittings of the critical path, or enlarge its ducts",
            )
        )
    rate = system.friction_rate_available
    if rate is not None and system.available and system.available > 0:
        low, high = WINDOW
        shown = units.to_unit(rate, "in.wg/100 ft")
        window = "the window of 0.06 to 0.18 in.wg/100 ft that practice works in"
        if rate < low:
            flags.append(
                warning(
                    "budget",
                    f"the fan leaves a friction rate of {shown:.3f} in.wg/100 ft, below "
                    f"{window}",
                    "shorten the critical path, spend less in its fittings, or choose a "
                    "stronger fan (common practice, no published source)",
                )
            )
        elif rate > high:
            flags.append(
                warning(
                    "budget",
                    f"the fan leaves a friction rate of {shown:.3f} in.wg/100 ft, above "
                    f"{window}",
                    "the fan has pressure to spare: watch velocities and noise (common "
                    "practice, no published source)",
                )
            )
    bare = np.flatnonzero(np.isnan(graph.terminals.loss))
    missing = len(bare)
    if missing:
        shown = ", ".join(f"'{graph.terminals.name[row]}'" for row in bare[:6])
        more = f" and {missing - 6} more" if missing > 6 else ""
        flags.append(
            warning(
                f"terminal{'s' * (missing > 1)} {shown}{more}",
                "no loss of a grille or diffuser is declared, so only the velocity "
                "pressure of the open end is counted",
                'write loss = "..." at the terminal in the schedule',
            )
        )
    return flags


def _assumptions(analysis: Analysis) -> list[Assumption]:
    graph, schedule = analysis.graph, analysis.graph.schedule
    bends, legs, found = graph.bends, graph.legs, []

    def assume(count: int, what: str, remedy: str) -> None:
        if count:
            found.append(Assumption(what, remedy, int(count)))

    assumed = int(Basis.ASSUMED)
    air = schedule.air
    if air.temperature is None:
        assume(1, "air at 20 °C", "write temperature under [air]")
    if air.altitude is None and air.pressure is None:
        assume(1, "the site at sea level", "write altitude under [air]")
    assume(
        int((analysis.conditions.roughness_basis == assumed).sum()),
        "ducts of galvanised steel, roughness 0.09 mm",
        "write material or roughness under [duct]",
    )
    assume(
        int((bends.construction_basis == assumed).sum()),
        "elbows with a smooth radius throat and heel",
        "write construction under [elbows], or [[elbows.exception]]",
    )
    assume(
        int((bends.radius_basis == assumed).sum()),
        "elbows with a centreline radius of 1.0 times the side in the plane of the bend",
        "write radius_ratio, throat_radius or centreline_radius under [elbows]",
    )
    smooth = analysis.elements.reynolds_factor > 1.0
    assume(
        int(smooth.sum()),
        "the Reynolds factor on rectangular and mitred elbows, which editions of the "
        "handbook dispute",
        "compare C with and without it in the result",
    )
    branches = legs.is_branch & ~legs.is_symmetrical
    assume(
        int((branches & (legs.entry_basis == assumed)).sum()),
        "branches that leave their main by a plain opening, the worse kind",
        "write entry under [takeoffs]",
    )
    assume(
        int((graph.transitions.length_basis == assumed).sum()),
        "transitions with an included angle of 30 degrees",
        "write included_angle or length under [transitions], or draw them",
    )
    assume(
        int(np.isnan(graph.terminals.loss).sum()),
        "terminals that lose no more than the velocity pressure of an open end",
        "write loss at each terminal",
    )
    if graph.source.kind_is_assumed:
        assume(
            1,
            "the first duct begins at the fan's outlet, with no entry loss and no "
            "system effect",
            'write kind = "plenum" or "fan" under [source]',
        )
    drawing = graph.drawing
    if drawing.unit_origin.startswith("assumed"):
        assume(1, f"coordinates in {drawing.unit}", "say --unit")
    if drawing.up_origin.startswith("assumed"):
        assume(1, f"{drawing.up.upper()} as the axis that is up", "say --up")
    unsaid = [o for o in drawing.section_origin.values() if "millimetres" in o]
    assume(len(unsaid), "sizes in names in millimetres", "write a unit in the names")
    return found
