"""One fan has one outlet, whichever of several options it blows into."""

import json
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from routes import FLOWS, ROUTE, SOURCE, Run, drawn
from schemas import validate

from elbowroom.layout import (
    FanSpec,
    Schedule,
    SourceSpec,
    TerminalSpec,
    build,
    drawing_from_runs,
    rectangular,
    write_gltf,
)
from elbowroom.physics import Option, analyse, compare, with_one_outlet
from elbowroom.viewer import main

STATIC = FanSpec(external_static_pressure=60.0)
SUPPLY = SourceSpec(is_supply=True)
NARROW: list[Run] = [("T1", ROUTE[0][1], rectangular(0.4, 0.3)), *ROUTE[1:]]
PLAN = """[fan]
external_static_pressure = "60 Pa"
{more}
[source]
side = "supply"
"""


def option(
    name: str,
    runs: Sequence[Run] = ROUTE,
    flow: float = 1.0,
    fan: FanSpec = STATIC,
    source: SourceSpec = SUPPLY,
) -> Option:
    """The shared route, or one with another first duct, behind a fan."""
    given = {end: TerminalSpec(flow * share) for end, share in FLOWS.items()}
    plan = Schedule(fan=fan, source=source, terminals=given)
    lines = [(run, np.array(points, dtype=float), cut) for run, points, cut in runs]
    drawing = drawing_from_runs(lines, attributes=SOURCE)
    return Option(name, analyse(build(drawing, plan)))


def left(one: Option) -> float:
    """What the fan leaves to an option's ducts, Pa."""
    available = one.analysis.system.available
    assert available is not None
    return available


def test_a_narrower_first_duct_makes_no_stronger_fan() -> None:
    wide, narrow = option("wide"), option("narrow", NARROW)
    own = narrow.analysis.system
    assert (
        own.outlet_velocity_pressure > 2 * wide.analysis.system.outlet_velocity_pressure
    )
    found = compare([wide, narrow])
    one, other = (each.analysis.system for each in found.options)
    # 0.75 m3/s through 600x300 mm: 1.2041 / 2 * (0.75 / 0.18)^2 Pa.
    assert one.outlet_velocity_pressure == pytest.approx(10.45, abs=0.02)
    assert other.outlet_velocity_pressure == one.outlet_velocity_pressure
    assert left(found.options[1]) == left(found.options[0]) < left(narrow)
    assert other.required == own.required
    (said,) = found.options[0].notices
    assert found.options[1].notices == (said,)
    assert "outlet is taken in 'narrow' as in 'wide', 600×300 mm" in said.what
    assert "velocity pressure of 10.5 Pa" in said.what
    assert 'outlet_velocity_pressure = "10.5 Pa"' in said.remedy
    assert said.what[1:] in found.verdict
    assert "one fan has one outlet" in found.verdict
    assert "in another order of the options another outlet would count" in found.verdict
    (listed,) = [a for a in found.options[1].analysis.assumptions if "fast" in a.what]
    assert "as in 'wide': a velocity pressure of 10.5 Pa" in listed.what
    assert found.options[0].analysis is wide.analysis
    assert with_one_outlet(found.options) == list(found.options)


def test_the_first_option_says_it() -> None:
    found = compare([option("narrow", NARROW), option("wide")])
    one, other = map(left, found.options)
    assert one == other == left(option("narrow", NARROW))


def test_what_carries_more_air_leaves_the_same_outlet_faster() -> None:
    one, other = with_one_outlet([option("wide"), option("narrow", NARROW, flow=1.2)])
    pressures = [each.analysis.system.outlet_velocity_pressure for each in (one, other)]
    assert pressures[1] == pytest.approx(1.44 * pressures[0])


@pytest.mark.parametrize(
    "pair",
    [
        [option("a"), option("b")],
        [option("a"), option("b", flow=1.2)],
        [option("a"), option("b", NARROW, fan=FanSpec(external_static_pressure=80.0))],
        [
            option(n, r, fan=FanSpec(total_pressure=60.0))
            for n, r in (("a", ROUTE), ("b", NARROW))
        ],
        [option(n, r, fan=FanSpec()) for n, r in (("a", ROUTE), ("b", NARROW))],
        [
            option(
                n,
                r,
                fan=FanSpec(
                    external_static_pressure=60.0, outlet_velocity_pressure=8.0
                ),
            )
            for n, r in (("a", ROUTE), ("b", NARROW))
        ],
        [
            option(n, r, source=SourceSpec(kind="plenum", is_supply=True))
            for n, r in (("a", ROUTE), ("b", NARROW))
        ],
    ],
    ids=["alike", "other air", "other fan", "total", "no fan", "declared", "plenum"],
)
def test_where_it_is_said_or_alike_or_does_not_count_nothing_changes(
    pair: list[Option],
) -> None:
    assert [a is b for a, b in zip(with_one_outlet(pair), pair, strict=True)] == [
        True
    ] * 2


SAID = replace(STATIC, outlet_velocity_pressure=8.0)


@pytest.mark.parametrize(
    "declared",
    [
        SAID,
        replace(SAID, efficiency=0.6, drive_efficiency=0.9, hours=3.6e6),
        replace(SAID, pressure_at="site"),
        replace(SAID, outlet_velocity_pressure=0.0),
    ],
    ids=["outlet", "efficiency", "its air", "still"],
)
@pytest.mark.parametrize("place", [0, 1, 2])
def test_one_declared_outlet_is_that_of_all_with_the_fan(
    declared: FanSpec, place: int
) -> None:
    fans = [STATIC, STATIC]
    fans.insert(place, declared)
    names = "abc"
    ducts = (ROUTE, NARROW, ROUTE)
    options = [
        option(*said, fan=fan)
        for said, fan in zip(zip(names, ducts, strict=True), fans, strict=True)
    ]
    outlet = declared.outlet_velocity_pressure
    assert outlet is not None
    found = with_one_outlet(options)
    assert [left(one) for one in found] == [60.0 + outlet] * 3
    (said,) = found[0].notices
    assert all(one.notices == (said,) for one in found)
    silent = [name for name in names if name != names[place]]
    told = ", ".join(f"'{name}'" for name in silent)
    assert (
        f"outlet is taken in {told} as declared for '{names[place]}', with" in said.what
    )
    assert "another order" not in str(said.effect)
    each = " and in ".join(f"the schedule of '{name}'" for name in silent)
    assert said.remedy == (
        f'write outlet_velocity_pressure = "{outlet:.1f} Pa" under [fan] in {each} '
        "if so"
    )
    for one in found:
        listed = [a for a in one.analysis.assumptions if "as fast at the" in a.what]
        assert [f"as in '{names[place]}': a" in a.what for a in listed] == [True] * (
            one.name in silent
        )
    assert with_one_outlet(found) == found


def test_two_declared_outlets_of_one_fan_are_said_and_kept() -> None:
    other = replace(SAID, outlet_velocity_pressure=30.0)
    trio = [
        option("a", fan=SAID),
        option("b", NARROW, fan=other),
        option("c", NARROW),  # takes that of the first that declares one
    ]
    found = compare(trio)
    assert [left(one) for one in found.options] == [68.0, 90.0, 68.0]
    words = (
        "velocity pressure at the fan's outlet is declared as 8 Pa (0.0321 in.wg) for "
        "'a' and as 30 Pa (0.1204 in.wg) for 'b', and each counts"
    )
    for one in found.options:
        (said,) = [notice for notice in one.notices if words in notice.what]
        assert said.remedy.startswith("write the same outlet_velocity_pressure under")
    assert words in found.verdict
    assert "what it leaves to these differs by as much" in found.verdict
    assert with_one_outlet(found.options) == list(found.options)


@pytest.mark.parametrize(
    ("flow", "outlet", "pressure"),
    [
        (1.0, 8.1, 60.0),  # what was rounded
        (1.2, 8.0, 60.0),  # one schedule for other air
        (1.2, 11.5, 60.0),  # or that outlet with the other air
        (1.0, 30.0, 80.0),  # another fan
    ],
)
def test_outlets_that_may_be_one_are_not_called_two(
    flow: float, outlet: float, pressure: float
) -> None:
    fan = FanSpec(external_static_pressure=pressure, outlet_velocity_pressure=outlet)
    pair = [option("a", fan=SAID), option("b", NARROW, flow, fan=fan)]
    assert [one.notices for one in with_one_outlet(pair)] == [(), ()]


def test_what_is_to_be_written_is_said_of_each_airflow() -> None:
    one, _ = with_one_outlet([option("wide"), option("narrow", NARROW, flow=1.2)])
    # 1.2041 / 2 * (0.9 / 0.18)^2 = 15.05 Pa for the fifth more.
    assert (
        "velocity_pressure = \"10.5 Pa\" under [fan] in the schedule of 'wide', and "
        'outlet_velocity_pressure = "15.1 Pa" under [fan] in the schedule of '
        "'narrow' if so"
    ) in one.notices[0].remedy


def test_each_schedule_is_named_and_writing_it_in_one_serves_all(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    files = [tmp_path / "wide.glb", tmp_path / "narrow.glb"]
    for file, runs in zip(files, (ROUTE, NARROW), strict=True):
        write_gltf(drawn(runs), file)
    plans = [file.with_suffix(".schedule.toml") for file in files]

    def told(*more: str) -> tuple[list[float], list[str]]:
        for plan, line in zip(plans, more, strict=True):
            plan.write_text(PLAN.format(more=line))
        assert main(["compare", *map(str, files), "--json"]) == 0
        options = json.loads(capsys.readouterr().out)["options"]
        said = [
            flag["remedy"]
            for flag in options[0]["flags"]
            if "outlet is taken" in flag["what"]
        ]
        return [one["system"]["available_pa"] for one in options], said

    line = 'outlet_velocity_pressure = "10.5 Pa"'
    _, said = told("", "")
    assert said == [
        f"write {line} under [fan] in wide.schedule.toml and in narrow.schedule.toml "
        "if so"
    ]
    for lines in (line, ""), ("", line):
        left, said = told(*lines)
        assert left == pytest.approx([70.5, 70.5])
        assert said == [f"write {line} under [fan] if so"]
    left, said = told(line, line)
    assert left == pytest.approx([70.5, 70.5])
    assert said == []


def test_returns_have_one_inlet_of_the_fan() -> None:
    back = SourceSpec(is_return=True)
    pair = [option("wide", source=back), option("narrow", NARROW, source=back)]
    one, other = with_one_outlet(pair)
    assert left(other) == left(one) > left(pair[1])
    assert "the fan's inlet is taken in 'narrow' as in 'wide'" in one.notices[0].what


def test_all_commands_on_several_options_say_it(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    files = [tmp_path / "wide.glb", tmp_path / "narrow.glb"]
    for file, runs in zip(files, (ROUTE, NARROW), strict=True):
        write_gltf(drawn(runs), file)
    plan = tmp_path / "plan.toml"
    plan.write_text(PLAN.format(more=""))
    words = [*map(str, files), "--schedule", str(plan)]
    assert main(["compare", *words, "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    validate(found, "comparison")
    left = [one["system"]["available_pa"] for one in found["options"]]
    assert left[0] == left[1] == pytest.approx(60.0 + 10.45, abs=0.02)
    for one in found["options"]:
        assert sum("the fan's outlet is taken" in f["what"] for f in one["flags"]) == 1
    assert main(["compare", *words]) == 0
    assert (
        capsys.readouterr().out.replace("\n", " ").count("the fan's outlet is taken")
        == 1
    )
    out = tmp_path / "report.html"
    assert main(["report", *words, "--out", str(out)]) == 0
    text = out.read_text(encoding="utf-8")
    assert text.count("outlet is taken in") == 3  # the verdict, and of each option
    assert "outlet as in &#x27;wide&#x27;: a" in text
    # With a drawn return the budget of both sides has it too.
    write_gltf(drawn(turn=None, shift=(0, 50, 0)), tmp_path / "back.glb")
    back = ["--return", str(tmp_path / "back.glb")]
    assert main(["compare", *words, *back, "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    validate(found, "comparison")
    whole = [one["budget"]["outlet_velocity_pressure_pa"] for one in found["options"]]
    assert whole[0] == whole[1] == pytest.approx(10.45, abs=0.02)
    plan.write_text(PLAN.format(more='outlet_velocity_pressure = "8 Pa"'))
    assert main(["compare", *words]) == 0
    assert "outlet is taken" not in capsys.readouterr().out
