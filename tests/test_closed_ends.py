"""Ends that the schedule declares closed: no air, no loss, but duct to be made."""

import warnings
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from elbowroom.layout import (
    AirSpec,
    Attributes,
    BadInput,
    ChecksSpec,
    Drawing,
    FanSpec,
    Schedule,
    SourceSpec,
    TerminalSpec,
    build,
    drawing_from_runs,
    read_schedule,
    rectangular,
    round_section,
    write_gltf,
)
from elbowroom.physics import (
    Aim,
    Analysis,
    analyse,
    checks,
    open_shares,
    operate,
    proportion,
    quantities,
)
from elbowroom.viewer import main

TRUNK, SIDE = rectangular(0.6, 0.3), round_section(0.25)
CLOSED = TerminalSpec(0.0, is_closed=True)
FAN = FanSpec(external_static_pressure=60.0)
STUBS = ("stub", "bent", "askew")
SCHEDULE = """
[terminals.trunk]
closed = true
[fan]
external_static_pressure = "60 Pa"
[checks]
use = "commercial"
noise = "RC 35"
ducts_stand = "above a ceiling"
temperature_around = "35 C"
heat_transmission = "1 W/m2K"
dew_point_around = "18 C"
"""


def route(end: float = 10.0, stubs: bool = False) -> Drawing:
    """A trunk with two branches, the last at 9.5 m; stubs hang between them."""
    runs = [
        ("trunk", np.array([[0.0, 0, 0], [end, 0, 0]]), TRUNK),
        ("one", np.array([[4.0, 0, 0], [4, 4, 0]]), SIDE),
        ("two", np.array([[9.5, 0, 0], [9.5, -4, 0]]), SIDE),
    ]
    if stubs:
        runs += [
            ("stub", np.array([[6.0, 0, 0], [6, 2, 0], [8, 2, 0]]), SIDE),
            ("bent", np.array([[6.0, 1, 0], [5, 1, 0], [5, 1, -1]]), SIDE),
            ("askew", np.array([[7.0, 0, 0], [7, 0, -1], [7, 1, -1]]), TRUNK),
        ]
    return drawing_from_runs(
        runs,
        file="trunk.toml",
        flows={"one": 0.2, "two": 0.2},
        attributes={"trunk": Attributes(source=True, source_at_end=False)},
    )


def found(drawing: Drawing, *closed: str, **said: object) -> Analysis:
    plan = Schedule(
        terminals=dict.fromkeys(closed, CLOSED),
        fan=FAN,
        **said,  # type: ignore[arg-type]
    )
    return analyse(build(drawing, plan))


def test_a_trunk_closed_past_its_last_branch_is_a_tap_at_a_closed_end() -> None:
    """The same air turns into the same branch, whether or not a stub goes on."""
    stub = found(route(), "trunk")
    tap = found(route(9.5), closed_ends={"two": True})
    assert stub.graph.terminals.name == tap.graph.terminals.name == ("one", "two")
    np.testing.assert_allclose(stub.path_loss, tap.path_loss, rtol=1e-12)
    np.testing.assert_allclose(stub.path_length, tap.path_length, rtol=1e-12)


def test_behind_closed_ends_nothing_is_lost_but_sheet_is_needed() -> None:
    shut = found(route(stubs=True), "trunk", *STUBS)
    still = shut.state.flow[shut.elements.duct] == 0.0
    assert still.sum() > 12
    assert (shut.elements.loss[still] == 0.0).all()
    assert np.isfinite(shut.elements.coefficient[shut.elements.kind != 5]).all()
    with_stubs = sum(line.area for line in quantities(shut).sheet)
    without = sum(line.area for line in quantities(found(route(), "trunk")).sheet)
    assert with_stubs > without + 2.0


def test_each_shut_end_has_a_cap() -> None:
    def caps(analysis: Analysis) -> dict[str, int]:
        rows = [row for row in quantities(analysis).fittings if row.what == "end cap"]
        return {row.section.words: row.count for row in rows if row.section is not None}

    assert caps(found(route(stubs=True), "trunk", *STUBS)) == {
        TRUNK.words: 2,  # the trunk's own, and that of the stub askew
        SIDE.words: 2,
    }
    assert caps(found(route(9.5), closed_ends={"two": True})) == {TRUNK.words: 1}
    assert caps(found(route(9.5))) == {}


@pytest.mark.parametrize("dampers", ["open", "set"])
def test_the_air_settles_as_without_the_stub(dampers: str) -> None:
    shut, tap = found(route(), "trunk"), found(route(9.5), closed_ends={"two": True})
    np.testing.assert_allclose(open_shares(shut), open_shares(tap), rtol=1e-9)
    one, other = (operate(each, dampers).flow for each in (shut, tap))
    np.testing.assert_allclose(one, other, rtol=1e-9)


@pytest.mark.parametrize("is_return", [False, True])
def test_every_command_goes_through(
    tmp_path: Path, is_return: bool, capsys: pytest.CaptureFixture[str]
) -> None:
    from elbowroom.layout import write_gltf

    file = str(tmp_path / "trunk.glb")
    write_gltf(route(stubs=True), file)
    plan = SCHEDULE + "".join(f"[terminals.{name}]\nclosed = true\n" for name in STUBS)
    plan += '[source]\nside = "return"\n' if is_return else ""
    (tmp_path / "trunk.schedule.toml").write_text(plan)
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        for words in (
            ["analyse", file],
            ["analyse", file, "--json"],
            ["check", file],
            ["operate", file],
            ["improve", file],
            ["quantities", file],
            ["proportion", file, "--rate", "0.8 Pa/m"],
        ):
            assert main(words) == 0, words
    out = capsys.readouterr().out
    assert "NaN" not in out
    assert " nan" not in out
    assert "no air flows in 'stub', 'bent', 'askew', behind closed ends" in out


def test_runs_without_air_keep_their_sections() -> None:
    plan = Schedule(terminals=dict.fromkeys(("trunk", *STUBS), CLOSED), fan=FAN)
    drawing = route(stubs=True)
    sized = proportion(drawing, plan, Aim(rate=0.8))
    assert {choice.run for choice in sized.choices} == {"trunk", "one", "two"}
    ducts = sized.after.graph.ducts
    stub = list(drawing.names).index("stub")
    assert (ducts.width[ducts.run == stub] == SIDE.width).all()


def ring(spare: bool) -> Analysis:
    around = np.array([[2.0, 0, 0], [2, 5, 0], [8, 5, 0], [8, -5, 0], [2, -5, 0]])
    runs = [
        ("in", np.array([[0.0, 0, 0], [2, 0, 0]]), round_section(0.4)),
        ("ring", np.vstack([around, around[:1]]), round_section(0.3)),
        ("one", np.array([[5.0, 5, 0], [5, 8, 0]]), SIDE),
        ("two", np.array([[8.0, -2, 0], [10, -2, 0]]), SIDE),
    ]
    if spare:
        runs.append(("spare", np.array([[8.0, -1, 0], [10, -1, 0]]), SIDE))
    drawing = drawing_from_runs(
        runs,
        flows={"one": 0.1, "two": 0.15},
        attributes={"in": Attributes(source=True)},
    )
    return found(drawing, *(["spare"] if spare else []))


def test_a_closed_end_may_hang_on_a_ring() -> None:
    """It costs what passes it no more than a straight leg past a branch does."""
    plain, other = ring(False), ring(True)
    assert plain.graph.terminals.name == other.graph.terminals.name
    assert (other.state.flow == 0.0).sum() == 1
    np.testing.assert_allclose(other.path_loss, plain.path_loss, rtol=0.05)


@pytest.mark.parametrize(
    ("lines", "said"),
    [
        ('closed = true\nflow = "1 m3/s"', "flow: the end is closed; delete this"),
        ("closed = true\nloss = '3 Pa'", "loss: the end is closed; delete this"),
        ("closed = 1", "closed: '1' is no yes or no"),
        ("closed = false", "the terminal has no airflow"),
        ("closd = true", "closed"),
    ],
)
def test_what_is_refused(tmp_path: Path, lines: str, said: str) -> None:
    plan = tmp_path / "s.toml"
    plan.write_text(f"[terminals.trunk]\n{lines}\n")
    with pytest.raises(BadInput) as caught:
        read_schedule(plan)
    assert said in str(caught.value)


@pytest.mark.parametrize("is_ring", [False, True])
def test_still_air_takes_the_temperature_around_it(is_ring: bool) -> None:
    spec = ChecksSpec(around=308.0, transmission=1.0, dew_point=291.0)
    air = AirSpec(temperature=287.0)
    if is_ring:
        closed = ring(True)
        plan = replace(closed.graph.schedule, checks=spec, air=air)
        shut = analyse(build(closed.graph.drawing, plan))
    else:
        shut = found(route(stubs=True), "trunk", *STUBS, checks=spec, air=air)
    (skin,) = [check for check in checks(shut) if "dew point" in check.rule]
    assert skin.value < 308.0
    assert np.isfinite(skin.value)


def test_a_drawn_airflow_at_a_closed_end_is_told() -> None:
    with pytest.raises(BadInput, match="delete its airflow, or open an end"):
        found(route(), "one", "trunk")


def test_a_terminal_may_add_its_loss_to_a_drawn_airflow() -> None:
    plan = Schedule(terminals={"trunk": CLOSED, "one": TerminalSpec(np.nan, 12.0)})
    graph = build(route(), plan)
    assert graph.terminals.flow.tolist() == [0.2, 0.2]
    assert graph.terminals.loss[0] == 12.0
    bare = drawing_from_runs(
        [("a", np.array([[0.0, 0, 0], [4, 0, 0]]), SIDE)],
        attributes={"a": Attributes(source=True, source_at_end=False)},
    )
    with pytest.raises(BadInput, match="this open end has no airflow"):
        build(bare, Schedule(terminals={"a": TerminalSpec(np.nan, 12.0)}))


def test_one_end_stays_open() -> None:
    with pytest.raises(BadInput, match="every end is closed; leave one of them open"):
        found(route(), "trunk", "one", "two")


def test_an_open_end_is_told_that_it_may_be_closed() -> None:
    with pytest.raises(BadInput, match="closed = true if it is shut"):
        found(route())


def two_ended(**said: object) -> Drawing:
    """The trunk marked as the source, and not at which of its free ends."""
    drawing = route()
    return replace(drawing, attributes={0: Attributes(source=True, **said)})  # type: ignore[arg-type]


def shut_at(x: float) -> dict[str, TerminalSpec]:
    return {"cap": TerminalSpec(0.0, at=(x, 0.0, 0.0), is_closed=True)}


@pytest.mark.parametrize("named", [False, True])
@pytest.mark.parametrize(("shut", "enters"), [(10.0, 0.0), (0.0, 10.0)])
def test_a_closed_end_says_that_the_air_enters_at_the_other(
    shut: float, enters: float, named: bool
) -> None:
    source = SourceSpec(run="trunk") if named else SourceSpec()
    drawing = replace(two_ended(), attributes={}) if named else two_ended()
    plan = Schedule(terminals=shut_at(shut), source=source, fan=FAN)
    graph = build(drawing, plan)
    assert graph.nodes[graph.source.node].tolist() == [enters, 0.0, 0.0]
    assert sorted(graph.terminals.name) == ["one", "two"]
    (said,) = (n for n in graph.notices if "the source is taken at" in n.what)
    assert said.what.endswith('[terminals."cap"] says that its other end is closed')


def test_a_duct_without_branches_does_not_begin_at_its_closed_end() -> None:
    """Of one with two free ends the first is meant, unless that is said to be shut."""
    drawing = drawing_from_runs(
        [
            ("trunk", np.array([[0.0, 0, 0], [10, 0, 0]]), TRUNK),
            ("ring", np.array([[4.0, 0, 0], [4, 4, 0], [8, 4, 0], [8, 0, 0]]), SIDE),
        ],
        attributes={"trunk": Attributes(source=True)},
    )
    graph = build(drawing, Schedule(terminals={"trunk": TerminalSpec(0.2)}))
    assert graph.nodes[graph.source.node].tolist() == [0.0, 0.0, 0.0]
    # Its other end alone is left for the air to leave by, and that is shut.
    with pytest.raises(BadInput, match="every end is closed"):
        build(drawing, Schedule(terminals=shut_at(0.0)))
    with pytest.raises(BadInput, match="every end is closed"):
        build(drawing, Schedule(terminals=shut_at(10.0)))


def test_a_name_alone_and_two_closed_ends_tell_nothing() -> None:
    with pytest.raises(BadInput, match=r"either end: .* or .*closed = true and at = "):
        build(two_ended(), Schedule(terminals={"trunk": CLOSED}))
    both = shut_at(0.0) | {"lid": replace(shut_at(10.0)["cap"])}
    with pytest.raises(
        BadInput, match=r"no air can enter: .* is closed by .* and .*\.\"lid\"\]"
    ):
        build(two_ended(), Schedule(terminals=both))


def test_where_the_drawing_says_the_end_it_counts() -> None:
    with pytest.raises(BadInput, match="the air enters at that place"):
        build(two_ended(source_at_end=True), Schedule(terminals=shut_at(10.0)))


@pytest.mark.parametrize("place", [0.0, 10.0])
def test_a_terminal_at_one_end_of_the_marked_run_puts_the_source_at_the_other(
    place: float,
) -> None:
    out = TerminalSpec(0.1, at=(place, 0.0, 0.0))
    graph = build(two_ended(), Schedule(terminals={"out": out}))
    assert graph.nodes[graph.source.node].tolist() == [10.0 - place, 0.0, 0.0]
    assert "out" in graph.terminals.name
    assert "its other end is where the air leaves" in graph.source.reason


def test_of_a_lone_run_the_first_point_is_the_source_and_that_is_said() -> None:
    lone = drawing_from_runs(
        [("run", np.array([[0.0, 0, 0], [5, 0, 0]]), SIDE)],
        flows={"run": 0.1},
        attributes={"run": Attributes(source=True)},
    )
    assert "at its first point" in build(lone).source.reason


def test_the_command_says_by_what_the_source_was_found(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    write_gltf(two_ended(), tmp_path / "trunk.glb")
    plan = tmp_path / "trunk.schedule.toml"
    plan.write_text('[terminals.cap]\nclosed = true\nat = ["10 m", "0 m", "0 m"]\n')
    assert main(["analyse", str(tmp_path / "trunk.glb")]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert (
        "the source is taken at (0, 0, 0) m: the drawing marks the run, and "
        '[terminals."cap"] says that its other end is closed' in said
    )
    plan.unlink()
    assert main(["analyse", str(tmp_path / "trunk.glb")]) == 2
    assert "closed = true and at = [...]" in capsys.readouterr().err
