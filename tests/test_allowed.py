"""What is made in Python is held to the same words and ranges as what is read."""

import copy
import math
import pickle
import re
from collections.abc import Callable
from dataclasses import fields, replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from routes import NOTHING, drawn

from elbowroom.layout import (
    AirSpec,
    Attributes,
    BadInput,
    ChecksSpec,
    ComponentSpec,
    Drawing,
    ElbowConstruction,
    ElbowRule,
    FanSpec,
    Obstacle,
    RoomsSpec,
    RunLimits,
    RunWords,
    Schedule,
    Section,
    Shape,
    SourceSpec,
    TakeoffEntry,
    TerminalSpec,
    TransitionRule,
    build,
    clearances,
    drawing_from_runs,
    error,
    note,
    read_schedule,
    rectangular,
    refusal,
    round_section,
    solids,
)
from elbowroom.physics import (
    Aim,
    air,
    analyse,
    fan_power,
    open_shares,
    operate,
    plan_with_returns,
    proportion,
    regained,
    sizes,
    solve_network,
    with_airflows,
)

NAN, INF = math.nan, math.inf
DEGREE = math.radians(1.0)
CURVE = ((0.0, 400.0), (0.3, 300.0), (0.6, 50.0))


def component(**said: Any) -> ComponentSpec:
    return ComponentSpec("office", "damper", **said)


def component_at(airflow: Any) -> ComponentSpec:
    return component(loss=5.0, airflow=airflow)


def terminal(**said: Any) -> TerminalSpec:
    return TerminalSpec(**{"flow": NAN, **said})


def of(make: Callable[..., Any], field: str) -> Callable[[Any], Any]:
    return lambda value: make(**{field: value})


def of_run(field: str) -> Callable[[Any], Any]:
    return lambda value: of(Schedule, field)({"office": value})


def flow_of_run(value: Any) -> Drawing:
    return drawing_from_runs([("a", [[0, 0, 0], [1, 0, 0]], None)], flows={"a": value})


# What is made, by one of its values; its least and largest value; whether the least
# itself is refused. The largest is None where any finite number will do.
RANGES: list[tuple[str, Callable[[Any], Any], float, float | None, bool]] = [
    ("temperature", of(AirSpec, "temperature"), 213.15 - 1e-9, 423.15 + 1e-9, False),
    ("altitude", of(AirSpec, "altitude"), -500.0, 6000.0, False),
    ("pressure", of(AirSpec, "pressure"), 3e4, 1.2e5, False),
    ("humidity", of(AirSpec, "humidity"), 0.0, 1.0, False),
    ("external_static", of(FanSpec, "external_static_pressure"), 0.0, None, False),
    ("total_pressure", of(FanSpec, "total_pressure"), 0.0, None, False),
    ("efficiency", of(FanSpec, "efficiency"), 0.0, 1.0, True),
    ("drive_efficiency", of(FanSpec, "drive_efficiency"), 0.0, 1.0, True),
    ("hours", of(FanSpec, "hours"), 0.0, 8784 * 3600.0, False),
    ("inlet_velocity", of(FanSpec, "inlet_velocity_pressure"), 0.0, None, False),
    ("outlet_velocity", of(FanSpec, "outlet_velocity_pressure"), 0.0, None, False),
    ("around", of(ChecksSpec, "around"), 213.15 - 1e-9, 423.15 + 1e-9, False),
    ("dew_point", of(ChecksSpec, "dew_point"), 213.15 - 1e-9, 423.15 + 1e-9, False),
    ("transmission", of(ChecksSpec, "transmission"), 0.0, 50.0, False),
    ("flexible_length", of(ChecksSpec, "flexible_length"), 0.0, None, True),
    ("least_flow", of(ChecksSpec, "least_flow"), 0.0, None, True),
    ("most_flow", of(ChecksSpec, "most_flow"), 0.0, None, True),
    ("cooling", of(ChecksSpec, "cooling"), 0.0, None, True),
    ("leakage", of(ChecksSpec, "leakage"), 0.0, 500.0, True),
    ("difference", of(RoomsSpec, "difference"), 0.0, None, True),
    ("total", of(RoomsSpec, "total"), 0.0, None, True),
    ("radius_ratio", of(ElbowRule, "radius_ratio"), 0.5, 20.0, False),
    ("throat_radius", of(ElbowRule, "throat_radius"), 0.0, 20.0, False),
    ("centreline_radius", of(ElbowRule, "centreline_radius"), 0.0, None, True),
    ("vane_spacing", of(ElbowRule, "vane_spacing"), 0.02, 0.12, False),
    ("included_angle", of(TransitionRule, "included_angle"), DEGREE, math.pi, False),
    ("length", of(TransitionRule, "length"), 0.0, None, True),
    ("flow", TerminalSpec, 0.0, None, True),
    ("loss", of(terminal, "loss"), 0.0, 1e5, False),
    ("load", of(terminal, "load"), 0.0, None, True),
    ("share", of(terminal, "share"), 0.0, 1.0, True),
    ("loss", of(component, "loss"), 0.0, 1e5, False),
    ("airflow", component_at, 0.0, None, True),
    ("coefficient", of(component, "coefficient"), 0.0, 1e6, False),
    ("highest", of(RunLimits, "highest"), 0.0, None, True),
    ("widest", of(RunLimits, "widest"), 0.0, None, True),
    ("roughness", of(Attributes, "roughness"), 0.0, 0.02, False),
    ("bend_radius", of(Attributes, "bend_radius"), 0.0, None, True),
    ("roughness", of(Schedule, "roughness"), 0.0, 0.02, False),
    ("compression", of(Schedule, "compression"), 0.0, 0.5, False),
    ("clearance", of(Schedule, "clearance"), 0.0, 10.0, False),
    ("insulation", of(Schedule, "insulation"), 0.0, 1.0, False),
    ("losses", of_run("losses"), 0.0, None, False),
    ("run_roughness", of_run("run_roughness"), 0.0, 0.02, False),
    ("run_compression", of_run("run_compression"), 0.0, 0.5, False),
    ("flows", flow_of_run, 0.0, None, True),
    ("rate", of(Aim, "rate"), 0.0, None, True),
    ("main", of(Aim, "main"), 0.0, None, True),
    ("branch", of(Aim, "branch"), 0.0, None, True),
    ("efficiency", lambda one: fan_power(0.3, 300.0, efficiency=one), 0.0, 1.0, True),
    (
        "drive_efficiency",
        lambda one: fan_power(0.3, 300.0, drive_efficiency=one),
        0.0,
        1.0,
        True,
    ),
    ("share", lambda one: regained(8.0, 5.0, 1.2, one), 0.0, 1.0, False),
    ("pressure", lambda one: air(pressure=one), 3e4, 1.2e5, False),
    ("altitude", lambda one: air(altitude=one), -500.0, 6000.0, False),
]
NOT_SAID = {"flow", "flows"}  # NaN is an airflow that is left to others


@pytest.mark.parametrize(("field", "make", "low", "high", "is_above"), RANGES)
def test_a_number_is_taken_within_its_range_alone(
    field: str,
    make: Callable[[Any], Any],
    low: float,
    high: float | None,
    is_above: bool,
) -> None:
    make(math.nextafter(low, INF) if is_above else low)
    make(1e7 if high is None else high)
    beyond = INF if high is None else math.nextafter(high, INF)
    refused = [low if is_above else math.nextafter(low, -INF), beyond, -INF]
    for value in (*refused, *([] if field in NOT_SAID else [NAN])):
        with pytest.raises(ValueError, match=field) as found:
            make(value)
        assert len(str(found.value).splitlines()) == 1
        shown = str(value), f"{value:.10g}"
        assert any(one in str(found.value) for one in shown)


def test_a_refusal_names_the_field_the_value_and_what_it_may_be() -> None:
    for make, sentence in (
        (
            lambda: TransitionRule(included_angle=30.0),
            "TransitionRule: included_angle is 30.0 rad; it must be 0.01745329252 to "
            "3.141592654 rad",
        ),
        (
            lambda: ChecksSpec(around=np.float64(35.0)),
            "ChecksSpec: around is 35.0 K; it must be 213.15 to 423.15 K",
        ),
        (
            lambda: FanSpec(efficiency=60),
            "FanSpec: efficiency is 60; it must be above 0 and at most 1",
        ),
        (
            lambda: TerminalSpec(0.0),
            "TerminalSpec: flow is 0.0 m³/s; it must be above 0 m³/s and finite",
        ),
        (
            lambda: RunWords(roll=INF),
            "RunWords: roll is inf rad; it must be a finite number",
        ),
        (
            lambda: Schedule(run_roughness={"office": 0.09}),
            "Schedule: run_roughness['office'] is 0.09 m; it must be 0 to 0.02 m",
        ),
        (
            lambda: ElbowRule(construction="mitred"),  # type: ignore[arg-type]
            "ElbowRule: construction is 'mitred'; it must be ElbowConstruction.SMOOTH,",
        ),
        (
            lambda: Aim(highest=-1.0),
            "Aim: highest is -1.0 m; it must be above 0 m",
        ),
    ):
        with pytest.raises(ValueError, match=r"it must be") as found:
            make()
        assert str(found.value).startswith(sentence)


# What is made of a word; every word that is known; some that are not.
WORDS: list[tuple[Callable[[Any], Any], tuple[Any, ...], tuple[Any, ...]]] = [
    (
        of(Aim, "method"),
        ("equal friction", "velocity", "static regain"),
        ("equalfriction", "Velocity", ""),
    ),
    (of(Aim, "series"), ("mm", "in"), ("cm",)),
    (
        of(Aim, "shape"),
        (None, Shape.ROUND, Shape.RECTANGULAR, Shape.OVAL),
        ("round", Shape.NONE, 7),
    ),
    (of(SourceSpec, "kind"), (None, "fan", "plenum"), ("Plenum", "blower")),
    (of(FanSpec, "pressure_at"), (None, "site", "standard air"), ("sea level",)),
    (of(AirSpec, "losses_at"), (None, "site", "standard air"), ("sea level",)),
    (
        of(ChecksSpec, "use"),
        (None, "residential", "commercial", "industrial"),
        ("homes",),
    ),
    (of(ChecksSpec, "noise"), (None, "RC 25", "RC 35", "RC 45"), ("RC 99", "RC25")),
    (
        of(ChecksSpec, "stands"),
        (None, "in the room", "above a ceiling", "in a shaft"),
        ("attic",),
    ),
    (of(ChecksSpec, "leakage"), (None, "A", "B", "C", "D"), ("Z", "b", True)),
    (of(ElbowRule, "construction"), tuple(ElbowConstruction), ("mitred", 99)),
    (of(ElbowRule, "pieces"), (None, 3, 4, 5), (0, 2, 6)),
    (of(ElbowRule, "splitters"), (None, 1, 2, 3), (0, 4)),
    (of(Schedule, "takeoff_default"), (None, *TakeoffEntry), ("conical", 99)),
    (of_run("takeoff_exceptions"), tuple(TakeoffEntry), ("conical", None)),
    (of(Aim, "highest"), (None, 0.3, INF), (-1.0, 0.0, NAN)),
    (of(Aim, "widest"), (None, 0.3, INF), (-1.0, 0.0, NAN)),
    (of(Aim, "rate"), (np.float32(1.0), np.int64(1), 1), (10**400, np.float32(0.0))),
    (TerminalSpec, (NAN, 0.1), ("0.1", None, True)),
    (lambda one: TerminalSpec(one, is_closed=True), (0.0, NAN), ()),
    (lambda one: terminal(loss=one), (None, 5.0, np.float32(5.0), 5), ("5 Pa", [5.0])),
]


@pytest.mark.parametrize(("make", "known", "others"), WORDS)
def test_a_word_is_taken_if_it_is_known_and_refused_with_those_that_are(
    make: Callable[[Any], Any], known: tuple[Any, ...], others: tuple[Any, ...]
) -> None:
    for word in known:
        make(word)
    for word in others:
        with pytest.raises(ValueError, match="it must be ") as found:
            make(word)
        for one in known:
            if isinstance(one, str) and isinstance(word, str):
                assert repr(one) in str(found.value)


def test_dampers_are_open_or_set() -> None:
    analysis = analyse(build(drawn(), Schedule(fan=FanSpec(total_pressure=100.0))))
    for word in ("open", "set"):
        assert operate(analysis, word).dampers == word
    for word in ("xx", "Set"):
        with pytest.raises(ValueError, match=r"dampers is .*; it must be 'open' or"):
            operate(analysis, word)


@pytest.mark.parametrize(
    ("said", "has"),
    [({}, "neither"), ({"loss": 5.0, "coefficient": 0.2}, "both")],
)
def test_a_component_declares_one_loss(said: dict[str, float], has: str) -> None:
    with pytest.raises(ValueError, match=f"'damper' in 'office' has {has} of loss"):
        component(**said)


@pytest.mark.parametrize(
    ("curve", "fault"),
    [
        (CURVE[::-1], "its airflows do not rise"),
        ((CURVE[0], CURVE[2], CURVE[1]), "its airflows do not rise"),
        (((0.0, 400.0), (0.3, 300.0), (0.3, 200.0)), "its airflows do not rise"),
        (((-0.1, 400.0), (0.3, 300.0)), "its airflows do not rise"),
        (CURVE[:1], "two points or more"),
        (((0.0, 400.0), (0.3, NAN)), "no finite number"),
        (((0.0, 400.0), (INF, 50.0)), "no finite number"),
        (((0.0, 400.0), (0.3, -1.0)), "point 2 has a pressure below zero"),
        (((0.0, 50.0), (0.3, 300.0)), "its pressure rises all along"),
        ((0.0, 400.0), "pairs of an airflow"),
        (None, "pairs of an airflow"),
    ],
)
def test_a_curve_that_no_fan_has_is_refused(curve: Any, fault: str) -> None:
    with pytest.raises(ValueError, match=rf"^FanSpec: curve.*{fault}"):
        FanSpec(curve=curve)


def test_a_curve_may_come_as_an_array() -> None:
    made = FanSpec(curve=np.array(CURVE))  # type: ignore[arg-type]
    assert made == FanSpec(curve=CURVE) == FanSpec(curve=[list(p) for p in CURVE])  # type: ignore[arg-type]
    assert FanSpec(curve=((0.0, 100.0), (0.2, 100.0))).curve  # level is no rise


def test_a_section_is_one_that_can_be_drawn() -> None:
    assert Section(Shape.ROUND, 0.25, 0.25) == round_section(0.25)
    with pytest.raises(ValueError, match="as wide as it is high"):
        Section(Shape.ROUND, 0.25, np.nextafter(0.25, 1.0))
    for shape in (7, Shape.NONE):
        with pytest.raises(ValueError, match=r"Shape\.ROUND, Shape\.RECTANGULAR or"):
            Section(shape, 0.25, 0.25)  # type: ignore[arg-type]


def test_a_fan_draws_nothing_where_air_flows_back_or_helps() -> None:
    assert fan_power(-0.3, 300.0, efficiency=0.6).air is None
    assert fan_power(0.3, -300.0, efficiency=0.6).air is None
    assert fan_power(0.0, 300.0, efficiency=0.6).shaft == 0.0
    assert fan_power(0.3, 300.0, efficiency=1.0).shaft == pytest.approx(90.0)


def test_no_width_makes_a_duct_of_less_than_nothing() -> None:
    with pytest.raises(ValueError, match=r"diameter is -0\.3 m; it must be above 0 m"):
        sizes.width_for(-0.3, 0.2)
    assert sizes.width_for(0.3, 0.2) > 0.2


NO_KIND = (object(), b"x", 1j, [None, None], np.zeros(2), {3: None}, (0.0, NAN, 0.0))
ONE_RUN = drawing_from_runs([("a", [[0, 0, 0], [1, 0, 0]], None)])
MADE: dict[type, dict[str, Any]] = {
    AirSpec: {},
    SourceSpec: {},
    FanSpec: {},
    ChecksSpec: {},
    RoomsSpec: {},
    ElbowRule: {},
    TransitionRule: {},
    TerminalSpec: {"flow": 0.1},
    ComponentSpec: {"run": "a", "name": "b", "loss": 5.0},
    RunLimits: {},
    RunWords: {},
    Schedule: {},
    Attributes: {},
    Aim: {},
    Section: {"shape": Shape.ROUND, "width": 0.2, "height": 0.2},
    Drawing: {one.name: getattr(ONE_RUN, one.name) for one in fields(Drawing)},
    Obstacle: {
        "name": "a",
        "vertices": np.eye(3),
        "faces": [[0, 1, 2]],
        "is_closed": True,
    },
}
# What the program alone says.
OWN = {
    "of_supply",
    "shared",
    "section_origin",
    "unit_origin",
    "up_origin",
    "flow_key",
}


@pytest.mark.parametrize("made", MADE, ids=lambda made: made.__name__)
def test_what_is_of_no_kind_of_a_field_is_refused_in_one_sentence(made: Any) -> None:
    made(**MADE[made])
    for one in fields(made):
        if one.name in OWN:
            continue
        empty = () if one.name in ("kind", "curve") else ("",)
        bare = () if one.name in ("flow", "at") else (NAN, -INF)
        left_open = () if one.default is None else (None,)
        for value in (*NO_KIND, *empty, *bare, *left_open):
            with pytest.raises(ValueError, match=r"must (be|have|go)") as said:
                made(**{**MADE[made], one.name: value})
            assert len(str(said.value).splitlines()) == 1


@pytest.mark.parametrize(
    ("make", "value", "said"),
    [
        (of(ElbowRule, "construction"), 2, "construction is 2; it must be ElbowCon"),
        (of(ElbowRule, "splitters"), True, "splitters is True; it must be 1, 2 or 3"),
        (of(ElbowRule, "pieces"), 3.0, "pieces is 3.0; it must be 3, 4 or 5"),
        (of(Attributes, "up"), (0, 0, 0), "up is (0, 0, 0); it must not be all zeros"),
        (of(RunWords, "up"), (1, 2), "up is (1, 2); it must be three finite numbers"),
        (of(Attributes, "source"), "yes", "source is 'yes'; it must be True or False"),
        (of_run("sections"), 3, "sections['office'] is 3; it must be of the class Sec"),
        (of_run("closed_ends"), 1, "closed_ends['office'] is 1; it must be True or F"),
        (of(Schedule, "sections"), {3: None}, "sections[3]: its key must be a text"),
        (
            of(Schedule, "elbow_exceptions"),
            {"a": ElbowRule()},
            "elbow_exceptions['a']: its key must be a run and the number of a bend",
        ),
        (of(Schedule, "components"), ["coil"], "components[0] is 'coil'; it must be"),
        (of(FanSpec, "curve"), (("0", "9"), ("1", "3")), "it must be pairs of an air"),
        (of(SourceSpec, "run"), " ", "run is ' '; it must be a text that is not blank"),
        (of(Schedule, "file"), 3, "file is 3; it must be a text"),
        (of(Schedule, "components"), "coil", "is 'coil'; it must be a list of Compo"),
        (of(SourceSpec, "at"), "abc", "at is 'abc'; it must be three finite numbers"),
    ],
)
def test_what_passed_for_something_else(
    make: Callable[[Any], Any], value: Any, said: str
) -> None:
    with pytest.raises(ValueError, match=re.escape(said)):
        make(value)


def test_a_place_and_a_direction_may_come_as_arrays() -> None:
    assert SourceSpec(at=np.array([1, 2, 3])).at == (1.0, 2.0, 3.0)  # type: ignore[arg-type]
    assert Attributes(up=[0, 0, 1]) == Attributes(up=(0.0, 0.0, 1.0))  # type: ignore[arg-type]
    for size in (1e-300, 1e300):
        up = RunWords(up=(0.0, size, size)).up
        assert up is not None
        assert 1.0 <= up[1] == up[2] < 2.0


def test_a_file_may_be_a_path_and_a_list_whatever_holds_its_parts() -> None:
    path: Any = Path("a") / "b.glb"
    parts: Any = (ComponentSpec("a", name, loss=5.0) for name in "xy")
    plan = Schedule(file=path, components=parts)
    assert (plan.file, [one.name for one in plan.components]) == (str(path), ["x", "y"])
    said: Any = [note("a", "b", "c")]
    names: Any = np.array(["hall"])
    drawn = replace(ONE_RUN, file=path, names=names, notices=said, tidied=said)
    assert (drawn.file, drawn.names) == (str(path), ["hall"])
    assert drawn.notices == drawn.tidied == tuple(said)
    runs = [("a", [[0, 0, 0], [1, 0, 0]], None)]
    assert drawing_from_runs(runs, file=path).file == str(path)


# --- drawings


def two(**said: Any) -> Drawing:
    runs = [
        ("hall", [[0, 0, 0], [4, 0, 0]], rectangular(0.4, 0.25)),
        ("office", [[4, 0, 0], [4, 3, 0]], round_section(0.25)),
    ]
    return drawing_from_runs(runs, **said)


@pytest.mark.parametrize("what", ["flows", "attributes"])
def test_nothing_is_said_of_a_run_that_is_not_there(what: str) -> None:
    value: Any = 0.1 if what == "flows" else Attributes(roughness=0.003)
    two(**{what: {"office": value}})
    for name, hint in (("offic", "did you mean 'office'"), ("xyz", "one of the runs")):
        with pytest.raises(ValueError, match=f"^{what}: .* '{name}'; .*{hint}"):
            two(**{what: {name: value}})


def test_an_airflow_is_written_at_one_run() -> None:
    twice: Any = [(n, [[0, 0, k], [1, 0, k]], None) for k, n in enumerate("aab")]
    assert drawing_from_runs(twice, flows={"b": 0.1}).flow[2] == 0.1
    with pytest.raises(ValueError, match=r"flows\['a'\] is of several runs"):
        drawing_from_runs(twice, flows={"a": 0.1})
    same = drawing_from_runs(twice, attributes={"a": Attributes(roughness=1e-4)})
    assert sorted(same.attributes) == [0, 1]


def test_a_nan_leaves_the_airflow_of_a_run_open() -> None:
    assert np.isnan(two(flows={"office": NAN}).flow).all()


# --- the readers' own words come first


@pytest.mark.parametrize(
    ("text", "value", "beyond", "words"),
    [
        ("[air]\npressure = '{} Pa'", "30000", "29999", "[air] pressure"),
        ("[duct]\nroughness = '{} m'", "0.02", "0.0201", "[duct] roughness"),
        ("[duct]\ncompression = '{} %'", "50", "51", "[duct] compression"),
        ("[clearance]\nrequired = '{} m'", "10", "10.1", "[clearance] required"),
        ("[elbows]\nradius_ratio = {}", "0.5", "0.49", "[elbows] radius_ratio"),
        (
            "[transitions]\nincluded_angle = '{} deg'",
            "180",
            "181",
            "[transitions] included_angle",
        ),
        ("[losses]\nfilter = '{} Pa'", "0", "-45", "[losses] filter"),
        ("[terminals.a]\nshare = {}", "1", "0.0", "[terminals.a] share"),
        ("[air]\nhumidity = {}", "0", "1.1", "[air] humidity"),
        ("[fan]\nefficiency = {}", "1", "0.0", "[fan] efficiency"),
        ("[fan]\ndrive_efficiency = '{} %'", "1", "150", "[fan] drive_efficiency"),
        ("[duct]\ncompression = {}", "0.5", "0.51", "[duct] compression"),
        ("[duct]\nroughness = '{} mm'", "0", "-1", "[duct] roughness"),
        (
            "[fan]\nexternal_static_pressure = '9 Pa'\n"
            "inlet_velocity_pressure = '{} Pa'",
            "10000",
            "10001",
            "[fan] inlet_velocity_pressure",
        ),
        (
            "[[component]]\nrun = 'a'\nname = 'coil'\n{}",
            "loss = '5 Pa'",
            "",
            "[component] 1",
        ),
        (
            "[[component]]\nrun = 'a'\nloss = '5 Pa'\n{}",
            "name = 'coil'",
            "coefficient = 0.2",
            "[component] 1",
        ),
        (
            "[fan]\ncurve_pressure = 'total'\ncurve = [['0 m3/s', '400 Pa'], {}]",
            "['0.3 m3/s', '300 Pa']",
            "['0 m3/s', '300 Pa']",
            "[fan] curve",
        ),
    ],
)
def test_a_schedule_names_the_file_and_the_key(
    tmp_path: Path, text: str, value: str, beyond: str, words: str
) -> None:
    path = tmp_path / "a.schedule.toml"
    path.write_text(text.format(value), encoding="utf-8")
    read_schedule(path)
    path.write_text(text.format(beyond), encoding="utf-8")
    with pytest.raises(BadInput) as found:
        read_schedule(path)
    (fault,) = found.value.faults
    assert fault.where == f"a.schedule.toml, {words}"


# --- what is worked out is no slip of whoever wrote the schedule


def test_a_duct_of_any_velocity_can_be_sized() -> None:
    """Its velocity pressure is that of the fan's outlet, beyond what files declare."""
    fast = drawing_from_runs(
        [("a", [[0, 0, 0], [5, 0, 0]], round_section(0.04))],
        flows={"a": 0.3},
        attributes={"a": Attributes(source=True, source_at_end=False)},
    )
    plan = Schedule(fan=FanSpec(external_static_pressure=50.0))
    found = proportion(fast, plan, Aim(rate=1.0))
    assert found.before is not None
    assert found.before.system.outlet_velocity_pressure > 1e4
    assert found.choices[0].chosen.width > 0.2


def test_an_airflow_that_no_load_has_is_refused_with_its_terminal() -> None:
    plan = Schedule(
        file="a.toml",
        terminals={"a": terminal(load=1e10), "b": terminal(share=0.5)},
        rooms=RoomsSpec(difference=1e-310, total=1.0),
    )
    with pytest.raises(BadInput, match=r'a\.toml, \[terminals\."a"\]: .* inf m3/s;'):
        with_airflows(plan)


def test_what_gains_pressure_stands_for_no_fan_and_no_loss() -> None:
    one = analyse(build(drawn(), NOTHING))
    gaining = copy.copy(one)
    object.__setattr__(gaining, "path_loss", one.path_loss - 1e4)
    assert np.isnan(open_shares(gaining)).all()
    assert plan_with_returns(NOTHING, [one]).losses
    with pytest.raises(BadInput, match="no path of this return loses any pressure"):
        plan_with_returns(NOTHING, [gaining])


# --- networks


def network(**said: Any) -> dict[str, Any]:
    duct = {"length_m": 5.0, "diameter_m": 0.3, "roughness_m": 9e-5, "sum_C": 1.0}
    return {
        "ducts": [
            {**duct, "id": "a", "from": "n0", "to": "n1"},
            {**duct, "id": "b", "from": "n1", "to": "n2", **said},
            {**duct, "id": "c", "from": "n1", "to": "n3"},
        ],
        "fixed_node_pressures_Pa": {"n0": 100.0, "n2": 0.0, "n3": 0.0},
    }


def test_a_pressure_at_a_node_that_is_not_there_is_refused() -> None:
    case = network()
    assert solve_network(case)["ducts"]["b"]["flow_m3_s"] > 0.1
    case["fixed_node_pressures_Pa"] = {"n0": 100.0, "n2x": 0.0, "n3": 0.0}
    with pytest.raises(BadInput, match=r"node 'n2x': .* no duct goes there; name"):
        solve_network(case)


def test_no_duct_of_a_network_is_rougher_than_any() -> None:
    for rough in (0.0, 0.02):
        solve_network(network(roughness_m=rough))
    for rough in (-1e-9, 0.0201, 90.0):
        with pytest.raises(BadInput, match=r"'b': roughness_m is .* 0 to 0.02 m"):
            solve_network(network(roughness_m=rough))


# --- copies of a refusal


def test_a_refusal_is_copied_with_its_faults() -> None:
    """As a pool of processes does with what its work raises."""
    many = BadInput([error("a.toml", "one", "mend it"), error("b", "two", "too")])
    for bad in (refusal("a.toml, [fan]", "no fan", "write one"), many):
        for again in (pickle.loads(pickle.dumps(bad)), copy.deepcopy(bad)):
            assert type(again) is BadInput
            assert again.faults == bad.faults
            assert str(again) == str(bad)


# --- solids

CORNERS = np.array([[0, 0, 3.5], [1, 0, 3.5], [0, 1, 3.5], [0, 0, 4.5]], dtype=float)
SIDES = np.array([[0, 2, 1], [0, 1, 3], [1, 2, 3], [0, 3, 2]])


def test_a_solid_that_names_its_last_corner_is_measured_to() -> None:
    found = clearances(
        solids(build(drawn(), NOTHING)), [Obstacle("a", CORNERS, SIDES, True)]
    )
    assert len(found.distance)


@pytest.mark.parametrize(
    ("vertices", "faces", "fault"),
    [
        (CORNERS, [[0, 1, 4]], "names the vertex 4; it must be 0 to 3"),
        (CORNERS, [[0, 1, 10**6]], "names the vertex 1000000"),
        (CORNERS, [[0, 1, -1]], "names the vertex -1"),
        (CORNERS, np.zeros((0, 3), np.int64), r"faces have the shape \(0, 3\)"),
        (CORNERS, [[0, 1, 2, 3]], r"faces have the shape \(1, 4\)"),
        (CORNERS, [0, 1, 2], r"faces have the shape \(3,\)"),
        (np.zeros((0, 3)), [[0, 1, 2]], r"vertices have the shape \(0, 3\)"),
        (CORNERS[:, :2], [[0, 1, 2]], r"vertices have the shape \(4, 2\)"),
        (np.where(CORNERS == 4.5, NAN, CORNERS), SIDES, "a vertex is nowhere"),
        (np.where(CORNERS == 4.5, INF, CORNERS), SIDES, "a vertex is nowhere"),
    ],
)
def test_a_solid_that_is_none_is_refused(vertices: Any, faces: Any, fault: str) -> None:
    with pytest.raises(ValueError, match=f"^Obstacle 'a': .*{fault}"):
        Obstacle("a", vertices, np.asarray(faces), True)
