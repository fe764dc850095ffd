"""The schedule: what a drawing cannot say, as plain data."""

import math
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from numbers import Integral, Real
from typing import Any, TypeVar

import numpy as np
import numpy.typing as npt

from . import allowed
from .allowed import check_fields, check_value, curve_fault, fits, path_text, several
from .basis import Basis
from .constructions import ELBOW_PIECES, ElbowConstruction, TakeoffEntry
from .faults import Notice
from .names import composed
from .sections import FloatArray, Section

N = TypeVar("N")
T = TypeVar("T")
Point = tuple[float, float, float]
# What draws dust, fume or grease; not a hood that keeps rain out, nor a filter for the
# little dust of any return, nor 'industrial'.
_CONTAMINATED = re.compile(
    r"(?<!rain )(?<!weather )(?<!roof )(?<!intake )hood|fume|(?<!in)dust(?![ -]?filter)"
    r"|grease|cyclone|welding|spray booth|\blint"
)


_CONSTRUCTIONS, _ENTRIES = tuple(ElbowConstruction), tuple(TakeoffEntry)
# Of `roughness.csv`: taken where a run is drawn flexible and nobody says of what.
FLEXIBLE = "flexible duct, nonmetallic with wire, fully extended"


def is_flexible(material: str | None) -> bool:
    """Whether a material, in words, is that of flexible duct; None is none."""
    return material is not None and "flexible" in material.lower()


def is_contaminated(name: str) -> bool:
    """Whether a terminal's kind or a loss is named as of dust, fume or grease."""
    return _CONTAMINATED.search(name.lower()) is not None


@dataclass(frozen=True, slots=True)
class AirSpec:
    """Air as the schedule writes it; None where it is silent.

    Temperature in K, altitude in m, pressure in Pa, humidity as a share of
    saturation; `losses_at` is 'site' or 'standard air', the air for which the losses
    that are declared of components and terminals hold. `site_of_supply` where a
    return has the altitude or the pressure from the schedule of its supply.

    Raises
    ------
    ValueError
        If a field has a value that it cannot have (`allowed`).
    """

    temperature: float | None = None
    altitude: float | None = None
    pressure: float | None = None
    humidity: float | None = None
    losses_at: str | None = None
    site_of_supply: bool = False

    def __post_init__(self) -> None:
        """Refuse a value that its field cannot have."""
        check_fields(
            self, allowed.AIR, losses_at=allowed.DECLARED_AIRS, site_of_supply=bool
        )

    def beside(self, own: "AirSpec") -> "AirSpec":
        """That of a return that says `own`: of a supply's site where it is silent.

        Temperature and humidity stay its own: it carries the air of the rooms.
        """
        said = own.altitude, own.pressure, self.altitude, self.pressure
        if said[:2] != (None, None) or said[2:] == (None, None):
            return own
        return replace(
            own, altitude=self.altitude, pressure=self.pressure, site_of_supply=True
        )


@dataclass(frozen=True, slots=True)
class SourceSpec:
    """The end at the fan: a run, or a place in m; 'fan' or 'plenum'.

    `is_return` where the air flows to it from the terminals, and not to these;
    `is_supply` where the schedule says in so many words that it flows to these;
    `feeds_supply` where a supply's fan draws its air, which is then no exhaust.

    Raises
    ------
    ValueError
        If a field has a value that it cannot have (`allowed`).
    """

    run: str | None = None
    at: Point | None = None
    kind: str | None = None
    is_return: bool = False
    is_supply: bool = False
    feeds_supply: bool = False

    def __post_init__(self) -> None:
        """Compose the accents of its run; refuse values that fields cannot have."""
        check_fields(
            self,
            {},
            run=str,
            kind=allowed.SOURCES,
            is_return=bool,
            is_supply=bool,
            feeds_supply=bool,
        )
        _take_place(self)


@dataclass(frozen=True, slots=True)
class FanSpec:
    """The fan: its pressure at the design airflow, Pa, or its curve, or neither.

    Parameters
    ----------
    external_static_pressure, total_pressure
        Pa at the design airflow: one of the two, or neither.
    curve
        Airflow, m³/s, and pressure, Pa, of points of its curve, the airflow rising.
    curve_is_total
        Whether the curve is of total pressure, and not of external static pressure.
    efficiency, drive_efficiency
        Of the fan, air power over shaft power, and of motor and drive; None where
        nobody says.
    hours
        Time that it runs in a year, s; None where nobody says.
    pressure_at
        'site' or 'standard air': the air for which the pressure or the curve holds;
        None where nobody says.
    inlet_velocity_pressure, outlet_velocity_pressure
        Velocity pressure at its inlet and outlet at design airflow, Pa: an external
        static pressure lacks the one and has the other on top; None where nobody says.

    Raises
    ------
    ValueError
        If a field has a value that it cannot have (`allowed`).
    """

    external_static_pressure: float | None = None
    total_pressure: float | None = None
    curve: tuple[tuple[float, float], ...] = ()
    curve_is_total: bool = True
    efficiency: float | None = None
    drive_efficiency: float | None = None
    hours: float | None = None
    pressure_at: str | None = None
    inlet_velocity_pressure: float | None = None
    outlet_velocity_pressure: float | None = None

    def __post_init__(self) -> None:
        """Refuse a value that its field cannot have; take a curve from an array too."""
        check_fields(
            self,
            allowed.FAN,
            pressure_at=allowed.DECLARED_AIRS,
            curve_is_total=bool,
        )
        points = allowed.pairs("FanSpec: curve", self.curve)
        if points and (fault := curve_fault(points)) is not None:
            raise ValueError(f"FanSpec: curve: {fault[0]}; {fault[1]}")
        object.__setattr__(self, "curve", points)


_WARMING = {
    "around": "temperature_around",
    "transmission": "heat_transmission",
    "dew_point": "dew_point_around",
}


@dataclass(frozen=True, slots=True)
class ChecksSpec:
    """What a layout is checked against; None where the schedule is silent.

    Parameters
    ----------
    use
        'residential', 'commercial' or 'industrial'.
    flexible_length
        Longest piece of flexible duct, m.
    noise
        Room noise criterion: 'RC 25', 'RC 35' or 'RC 45'.
    stands
        Where the ducts are, for that criterion.
    leakage
        Class of EN 12237 and EN 1507, or a class number, cfm/100 ft² at 1 in.wg.
    around
        Temperature around the ducts, K.
    transmission
        Heat transmission of their wall and insulation, W/(m²K).
    dew_point
        Dew point of the air around them, K.
    least_flow, most_flow
        Airflow that the equipment allows, m³/s.
    cooling
        Cooling or heating of the equipment, W.
    of_supply
        Keys of the schedule that a return has from its supply's.

    Raises
    ------
    ValueError
        If a field has a value that it cannot have (`allowed`).
    """

    use: str | None = None
    flexible_length: float | None = None
    noise: str | None = None
    stands: str | None = None
    leakage: str | float | None = None
    around: float | None = None
    transmission: float | None = None
    dew_point: float | None = None
    least_flow: float | None = None
    most_flow: float | None = None
    cooling: float | None = None
    of_supply: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        """Refuse a value that its field cannot have."""
        check_fields(
            self,
            allowed.CHECKS,
            use=allowed.USES,
            noise=allowed.NOISE_TARGETS,
            stands=allowed.STANDS,
        )
        if self.leakage is not None:
            by_number = not isinstance(self.leakage, str)
            known = allowed.LEAKAGE_NUMBER if by_number else allowed.LEAKAGE_CLASSES
            check_value("ChecksSpec: leakage", self.leakage, known)

    def beside(self, own: "ChecksSpec") -> "ChecksSpec":
        """Those of a return that asks for `own`: of the rest these, a supply's.

        Temperatures around it are its own together or not at all, as one of them may
        contradict another's. The airflow of the equipment is measured at the supply.
        """
        keys = {
            "use": "use",
            "flexible_length": "flexible_length",
            "noise": "noise",
            "stands": "ducts_stand",
            "leakage": "leakage_class",
            **(_WARMING if own.around is None else {}),
        }
        taken = {
            field: getattr(self, field)
            for field in keys
            if getattr(own, field) is None and getattr(self, field) is not None
        }
        return replace(own, of_supply=tuple(keys[field] for field in taken), **taken)


@dataclass(frozen=True, slots=True)
class RoomsSpec:
    """How airflows follow from loads and shares.

    Parameters
    ----------
    difference
        Temperature of the room less that of the supply air, K, either way.
    total
        Airflow that the shares are of, m³/s.

    Raises
    ------
    ValueError
        If a field has a value that it cannot have (`allowed`).
    """

    difference: float | None = None
    total: float | None = None

    def __post_init__(self) -> None:
        """Refuse a value that its field cannot have."""
        check_fields(self, allowed.ROOMS)


@dataclass(frozen=True, slots=True)
class ElbowRule:
    """How elbows are made.

    Parameters
    ----------
    construction, construction_basis
        The construction, and what that rests on.
    radius_ratio
        Centreline radius over the side in the plane of the bend; 1 where neither it nor
        another radius is given.
    throat_radius, centreline_radius
        Either instead of `radius_ratio`, m.
    radius_basis
        What the radius rests on.
    pieces
        Pieces of a segmented elbow.
    splitters
        Splitter vanes of an elbow that has them.
    vane_spacing
        Distance of the turning vanes of a mitred elbow that has them, m; this and the
        numbers before are None where nobody says them.
    own_radius
        Whether a radius that an exception gives is its own. One that it only takes
        over, or none, leaves a bend the radius that its run has in the drawing, else
        that of all elbows.
    own_construction
        Whether the construction of an exception is its own, as only such a one reaches
        flexible duct.

    Raises
    ------
    ValueError
        If a field has a value that it cannot have (`allowed`).
    """

    construction: ElbowConstruction = ElbowConstruction.SMOOTH
    construction_basis: Basis = Basis.ASSUMED
    radius_ratio: float | None = None
    throat_radius: float | None = None
    centreline_radius: float | None = None
    radius_basis: Basis = Basis.ASSUMED
    pieces: int | None = None
    splitters: int | None = None
    vane_spacing: float | None = None
    own_radius: bool = True
    own_construction: bool = True

    def __post_init__(self) -> None:
        """Refuse a value that its field cannot have."""
        check_fields(
            self,
            allowed.ELBOW,
            construction=_CONSTRUCTIONS,
            construction_basis=Basis,
            radius_basis=Basis,
            pieces=ELBOW_PIECES,
            splitters=allowed.SPLITTERS,
            own_radius=bool,
            own_construction=bool,
        )

    @property
    def says_radius(self) -> bool:
        """Whether an exception gives its elbows a radius of their own."""
        given = (self.radius_ratio, self.throat_radius, self.centreline_radius)
        return self.own_radius and given != (None, None, None)

    @property
    def parts_basis(self) -> Basis:
        """What its pieces, its splitters or its vanes rest on; drawn if it has none."""
        kinds = ElbowConstruction
        said: float | None
        match self.construction:
            case kinds.SEGMENTED:
                said = self.pieces
            case kinds.SPLITTERS:
                said = self.splitters
            case kinds.SINGLE_VANES | kinds.DOUBLE_VANES:
                said = self.vane_spacing
            case _:
                return Basis.DRAWN
        return Basis.ASSUMED if said is None else Basis.DECLARED

    def radius_for(self, in_plane: npt.ArrayLike) -> FloatArray:
        """Centreline radius for sides in the plane of the bend, m, same shape."""
        side = np.asarray(in_plane, dtype=np.float64)
        if self.throat_radius is not None:
            return self.throat_radius + side / 2
        if self.centreline_radius is not None:
            return np.full(side.shape, self.centreline_radius)
        ratio = 1.0 if self.radius_ratio is None else self.radius_ratio
        return np.asarray(ratio * side)


@dataclass(frozen=True, slots=True)
class TransitionRule:
    """How long transitions are: by included angle, rad, or by length, m.

    Raises
    ------
    ValueError
        If a field has a value that it cannot have (`allowed`).
    """

    included_angle: float = float(np.radians(30.0))
    length: float | None = None

    def __post_init__(self) -> None:
        """Refuse a value that its field cannot have."""
        check_fields(self, allowed.TRANSITION)

    def length_for(self, step: npt.ArrayLike) -> FloatArray:
        """Length of a piece whose larger side changes by `step`, m, same shape."""
        change = np.asarray(step, dtype=np.float64)
        if self.length is not None:
            return np.full(change.shape, self.length)
        return np.asarray(change / (2.0 * np.tan(self.included_angle / 2)))


@dataclass(frozen=True, slots=True)
class TerminalSpec:
    """A terminal.

    Parameters
    ----------
    flow
        Airflow, m³/s; NaN where it follows from `load` or `share`, or is drawn.
    loss
        Declared loss with its discharge, Pa.
    kind
        What it is, in words.
    run, at
        Where it is.
    load
        Sensible load of its room, W.
    share
        Share of the total airflow.
    is_closed
        Whether the end is shut and no air leaves by it.
    coefficient
        Declared loss coefficient of it with its discharge, on the velocity in its
        duct, in place of a loss.

    Raises
    ------
    ValueError
        If a field has a value that it cannot have (`allowed`).
    """

    flow: float
    loss: float | None = None
    kind: str = ""
    run: str | None = None
    at: Point | None = None
    load: float | None = None
    share: float | None = None
    is_closed: bool = False
    coefficient: float | None = None

    def __post_init__(self) -> None:
        """Compose the accents of its run; refuse values that fields cannot have."""
        check_fields(self, allowed.TERMINAL, run=str, is_closed=bool)
        if not isinstance(self.kind, str):  # it may be empty
            check_value("TerminalSpec: kind", self.kind, str)
        is_nan = isinstance(self.flow, Real) and math.isnan(self.flow)
        if not self.is_closed and not is_nan:
            check_value("TerminalSpec: flow", self.flow, allowed.AIRFLOW)
        _take_place(self)

    @property
    def is_drawn(self) -> bool:
        """Whether its airflow is left to the drawing."""
        unsaid = self.load is None and self.share is None
        return unsaid and math.isnan(self.flow)

    @property
    def is_told(self) -> bool:
        """Whether what it loses is declared."""
        return self.loss is not None or self.coefficient is not None


@dataclass(frozen=True, slots=True)
class ComponentSpec:
    """Something that stands in a run: a coil, a silencer, a damper.

    Parameters
    ----------
    run, name
        The run, and what it is in words.
    loss, airflow
        Loss of total pressure, Pa, at an airflow, m³/s; None for the airflow of its
        duct at design.
    coefficient
        Loss coefficient on the velocity in its duct, in place of a loss.
    at
        Place in the run, m; None for its first duct from the source on.

    Raises
    ------
    ValueError
        If a field has a value that it cannot have (`allowed`), or of loss and
        coefficient it has neither or both.
    """

    run: str
    name: str
    loss: float | None = None
    airflow: float | None = None
    coefficient: float | None = None
    at: Point | None = None

    def __post_init__(self) -> None:
        """Compose the accents of its run; refuse values that fields cannot have."""
        check_fields(self, allowed.COMPONENT, run=str, name=str)
        if (self.loss is None) == (self.coefficient is None):
            raise ValueError(
                f"ComponentSpec: {self.name!r} in {self.run!r} has "
                f"{'neither' if self.loss is None else 'both'} of loss and "
                "coefficient; it must have one of the two"
            )
        _take_place(self)


@dataclass(frozen=True, slots=True)
class RunLimits:
    """Largest height and width of a run, m, None for no limit; whether it is sized.

    Raises
    ------
    ValueError
        If a field has a value that it cannot have (`allowed`).
    """

    highest: float | None = None
    widest: float | None = None
    is_kept: bool = False

    def __post_init__(self) -> None:
        """Refuse a value that its field cannot have."""
        check_fields(self, allowed.LIMITS, is_kept=bool)


@dataclass(frozen=True, slots=True)
class RunWords:
    """What a schedule says of a run where its drawing cannot; None for nothing.

    Parameters
    ----------
    transition
        Whether it is the transition between its neighbours.
    roll
        Turn of its section, rad, as extras have it.
    up
        Direction along its height, with Z up.

    Raises
    ------
    ValueError
        If a field has a value that it cannot have (`allowed`).
    """

    transition: bool | None = None
    roll: float | None = None
    up: Point | None = None

    def __post_init__(self) -> None:
        """Refuse a value that its field cannot have."""
        check_fields(self, allowed.RUN_WORDS, transition=bool)
        if self.up is not None:
            object.__setattr__(self, "up", allowed.direction("RunWords: up", self.up))


# What is said by name of runs or terminals, and of losses.
_BY_NAME: dict[str, allowed.Kind] = {
    "run_materials": str,
    "run_roughness": allowed.ROUGHNESS,
    "run_compression": allowed.COMPRESSION,
    "sections": Section,
    "run_words": RunWords,
    "takeoff_exceptions": _ENTRIES,
    "closed_ends": bool,
    "transition_exceptions": TransitionRule,
    "terminals": TerminalSpec,
    "limits": RunLimits,
}
_EACH = {**_BY_NAME, "losses": allowed.PRESSURE, "elbow_exceptions": ElbowRule}


def _take_place(spec: "SourceSpec | TerminalSpec | ComponentSpec") -> None:
    """Compose the accents of its run, and take its place from an array too."""
    if spec.run is not None:
        object.__setattr__(spec, "run", composed(spec.run))
    if spec.at is not None:
        what = f"{type(spec).__name__}: at"
        object.__setattr__(spec, "at", allowed.place(what, spec.at))


def _check_entries(held: str, entries: Any, may_be: allowed.Kind) -> None:
    """Refuse what is no mapping, or has a key or a value that it cannot have."""
    if type(entries) is dict and not entries:
        return
    check_value(f"Schedule: {held}", entries, Mapping)
    of_bends = held == "elbow_exceptions"
    # All of them at once, for speed; a text is to be looked at.
    kinds = {*map(type, entries.values())}
    is_plain = {*map(type, entries)} <= {str} and kinds <= {may_be}
    if is_plain and may_be is not str and not of_bends:
        return
    for key, value in entries.items():
        if not (_is_bend(key) if of_bends else isinstance(key, str)):
            must_be = "a run and the number of a bend" if of_bends else "a text"
            raise ValueError(f"Schedule: {held}[{key!r}]: its key must be {must_be}")
        if not fits(value, may_be):
            check_value(f"Schedule: {held}[{key!r}]", value, may_be)


def _is_bend(key: object) -> bool:
    """Whether a key is a run and the number of a bend, 0 for all of them."""
    match key:
        case (str(), bend):
            return isinstance(bend, Integral) and int(bend) >= 0
    return False


def _named(entries: Mapping[N, T], form: Callable[[N], N]) -> Mapping[N, T]:
    """Entries by their keys in one form; the same object where they have it."""
    named = {form(key): value for key, value in entries.items()}
    if named.keys() == entries.keys():
        return entries
    if len(named) < len(entries):
        twice = next(key for key in entries if form(key) != key)
        raise ValueError(f"a schedule says {twice!r} twice, its accents in two forms")
    return named


@dataclass(frozen=True)
class Schedule:
    """Everything that a schedule may say; an empty one says nothing.

    It has its names of runs and terminals as drawings have them, however their accents
    were written.

    Parameters
    ----------
    file
        Name of the file, for messages.
    air, source, fan
        See their classes.
    losses
        Declared losses outside the drawn ducts, Pa, by name.
    components
        What stands in single runs.
    material, roughness
        Of every duct: a material in words, or a roughness in m.
    run_materials, run_roughness
        Exceptions by run.
    compression, run_compression
        How much shorter flexible duct is than fully stretched, as a share; of every
        one, None where nobody says, and of single runs.
    sections
        Section by run.
    run_words
        What else a drawing may say of a run, by run.
    elbow_default, elbow_exceptions
        How elbows are made; exceptions by (run, bend), bend 0 for the whole run.
    takeoff_default, takeoff_exceptions
        How branches leave their main; exceptions by the branch's run. None where the
        schedule is silent.
    closed_ends
        By run: whether it is a tap at the closed end of the duct before it, or goes on
        from that by an elbow and a transition. Nothing where the schedule is silent.
    transition_default, transition_exceptions
        How long transitions are; exceptions by the run after the transition.
    terminals
        By name.
    rooms, checks
        See their classes.
    limits
        How large runs may become that are sized.
    clearance, insulation
        Distance to keep from obstacles and thickness of insulation, m.
    corrected_pairs
        Whether elbows close together count as pairs and not by their plain sum.
    shared
        Runs that each name of several means, by where it stands and the name; None as
        long as no drawing was asked, after that each name means one run.
    faults, unread
        What is wrong in its file; and by table and name the sections and terminals
        whose value could not be read, and by table alone where anything could not.
        Nothing of a schedule to analyse with.

    Raises
    ------
    ValueError
        If it says something twice of one name whose accents are in two forms, or a
        field is not what it may be (`allowed`).
    """

    file: str = "no schedule"
    air: AirSpec = field(default_factory=AirSpec)
    source: SourceSpec = field(default_factory=SourceSpec)
    fan: FanSpec = field(default_factory=FanSpec)
    losses: Mapping[str, float] = field(default_factory=dict)
    components: tuple[ComponentSpec, ...] = ()
    material: str | None = None
    roughness: float | None = None
    run_materials: Mapping[str, str] = field(default_factory=dict)
    run_roughness: Mapping[str, float] = field(default_factory=dict)
    compression: float | None = None
    run_compression: Mapping[str, float] = field(default_factory=dict)
    sections: Mapping[str, Section] = field(default_factory=dict)
    run_words: Mapping[str, RunWords] = field(default_factory=dict)
    elbow_default: ElbowRule = field(default_factory=ElbowRule)
    elbow_exceptions: Mapping[tuple[str, int], ElbowRule] = field(default_factory=dict)
    takeoff_default: TakeoffEntry | None = None
    takeoff_exceptions: Mapping[str, TakeoffEntry] = field(default_factory=dict)
    closed_ends: Mapping[str, bool] = field(default_factory=dict)
    transition_default: TransitionRule | None = None
    transition_exceptions: Mapping[str, TransitionRule] = field(default_factory=dict)
    terminals: Mapping[str, TerminalSpec] = field(default_factory=dict)
    rooms: RoomsSpec = field(default_factory=RoomsSpec)
    checks: ChecksSpec = field(default_factory=ChecksSpec)
    limits: Mapping[str, RunLimits] = field(default_factory=dict)
    clearance: float = 0.0
    insulation: float = 0.0
    corrected_pairs: bool = False
    shared: Mapping[tuple[str, str], tuple[str, ...]] | None = None
    faults: tuple[Notice, ...] = ()
    unread: frozenset[tuple[str, str]] = frozenset()

    def __post_init__(self) -> None:
        """Compose the accents of its names; refuse values that fields cannot have."""
        object.__setattr__(self, "file", path_text(self.file))
        check_fields(
            self,
            allowed.SCHEDULE,
            file=str,
            air=AirSpec,
            source=SourceSpec,
            fan=FanSpec,
            material=str,
            elbow_default=ElbowRule,
            takeoff_default=_ENTRIES,
            transition_default=TransitionRule,
            rooms=RoomsSpec,
            checks=ChecksSpec,
            corrected_pairs=bool,
        )
        parts = several("Schedule: components", self.components, ComponentSpec)
        object.__setattr__(self, "components", parts)
        faults = several("Schedule: faults", self.faults, Notice)
        object.__setattr__(self, "faults", faults)
        unread = several("Schedule: unread", self.unread, tuple)
        object.__setattr__(self, "unread", frozenset(unread))
        for held, may_be in _EACH.items():
            _check_entries(held, getattr(self, held), may_be)
        for held in _BY_NAME:
            object.__setattr__(self, held, _named(getattr(self, held), composed))
        elbows = _named(self.elbow_exceptions, lambda at: (composed(at[0]), at[1]))
        object.__setattr__(self, "elbow_exceptions", elbows)

    def elbow_rule(self, run: str = "", bend: int = 0) -> ElbowRule:
        """How the elbows of a run are made, or one of them."""
        return self.elbow_exceptions.get((run, bend), self.elbow_default)

    def takeoff_entry(self, run: str = "") -> tuple[TakeoffEntry, Basis]:
        """How the branch leaves its main, and what that rests on; assumed: plain."""
        if run in self.takeoff_exceptions:
            return self.takeoff_exceptions[run], Basis.DECLARED
        if self.takeoff_default is not None:
            return self.takeoff_default, Basis.DECLARED
        return TakeoffEntry.PLAIN, Basis.ASSUMED

    def transition_rule(self, run: str = "") -> tuple[TransitionRule, Basis]:
        """Length of the transition before a run, and its basis; assumed: 30 degrees."""
        if run in self.transition_exceptions:
            return self.transition_exceptions[run], Basis.DECLARED
        if self.transition_default is not None:
            return self.transition_default, Basis.DECLARED
        return TransitionRule(), Basis.ASSUMED

    def for_return(self) -> "Schedule":
        """What it says of how ducts are made, without what names a run or the fan."""
        return Schedule(
            file=self.file,
            air=self.air,
            source=SourceSpec(is_return=True, feeds_supply=True),
            material=self.material,
            roughness=self.roughness,
            # That of the supply's runs of flexible duct says nothing of a rigid return.
            compression=self.compression if is_flexible(self.material) else None,
            elbow_default=self.elbow_default,
            takeoff_default=self.takeoff_default,
            transition_default=self.transition_default,
            rooms=self.rooms,
            checks=self.checks.beside(ChecksSpec()),
            clearance=self.clearance,
            insulation=self.insulation,
            corrected_pairs=self.corrected_pairs,
        )

    def called(self, file: str) -> str:
        """What to call the schedule in which something of a drawing is to be written.

        A return takes nothing from that of its supply which names its runs or ends.
        """
        if not self.source.feeds_supply:
            return "the schedule"
        return f"{file.rpartition('.')[0]}.schedule.toml beside it"

    @property
    def may_carry_dust(self) -> bool:
        """Whether dust, fume or grease may settle: of hoods, industrial exhausts."""
        return bool(self.dust_from)

    @property
    def dust_from(self) -> str:
        """What says that dust, fume or grease may settle, in words; empty if nothing.

        Components before terminals and losses.
        """
        if self.source.is_supply:
            return ""
        is_exhaust = self.source.is_return and not self.source.feeds_supply
        if is_exhaust and self.checks.use == "industrial":
            return "an industrial exhaust"
        names = {("component", one.name) for one in self.components}
        kinds = {("terminal of the kind", one.kind) for one in self.terminals.values()}
        losses = {("loss", name) for name in self.losses}
        for what, name in (*sorted(names), *sorted(kinds), *sorted(losses)):
            if is_contaminated(name):
                return f"{what} '{name}'"
        return ""

    @property
    def named_runs(self) -> tuple[tuple[str, str], ...]:
        """Every run that the schedule names outside its terminals: (place, run)."""
        return (
            *(("[sections]", run) for run in self.sections),
            *(("[limits]", run) for run in self.limits),
            *(("[runs]", run) for run in self.run_words),
            *(("[[component]]", one.run) for one in self.components),
            *(("[duct.runs]", run) for run in self.run_materials),
            *(("[duct.runs]", run) for run in self.run_roughness),
            *(("[duct.runs]", run) for run in self.run_compression),
            *(("[[elbows.exception]]", run) for run, _ in self.elbow_exceptions),
            *(
                ("[[takeoffs.exception]]", run)
                for run in {**self.takeoff_exceptions, **self.closed_ends}
            ),
            *(("[[transitions.exception]]", run) for run in self.transition_exceptions),
        )
