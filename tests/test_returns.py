"""Return sides: by hand, against the tables of joining junctions, and the budget."""

import csv
import html
import json
import os
import re
import zipfile
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import trimesh
from schemas import validate

from elbowroom import layout
from elbowroom.layout import (
    AirSpec,
    Attributes,
    ChecksSpec,
    ComponentSpec,
    Drawing,
    DuctGraph,
    ElbowRule,
    FanSpec,
    Schedule,
    SourceSpec,
    TakeoffEntry,
    TerminalSpec,
    build,
    drawing_from_runs,
    read,
    rectangular,
    round_section,
    units,
    write,
    write_gltf,
)
from elbowroom.physics import (
    WINDOW,
    Aim,
    Analysis,
    Kind,
    Option,
    air,
    analyse,
    budget,
    checks,
    compare,
    effects,
    entries,
    junctions,
    operate,
    outside_window,
    plan_with_returns,
    power_of,
    proportion,
    remedies,
    static_pressure,
    with_returns,
)
from elbowroom.viewer import budget as budget_words
from elbowroom.viewer import display, layout_view, main, preflight, scene

DATA = Path(__file__).parent / "data"
needs_opengl = pytest.mark.skipif(
    preflight.why_not() is not None, reason="no OpenGL: the message is tested instead"
)
MAIN, SIDE = round_section(0.4), round_section(0.25)
WARMING = ["temperature_around", "heat_transmission", "dew_point_around"]


def back(angle: float = 90.0) -> Drawing:
    """A main that takes in a branch half-way, drawn from the fan outwards."""
    away = np.radians(angle)
    tip = [4 + 3 * np.cos(away), 3 * np.sin(away), 0]
    return drawing_from_runs(
        [
            ("fan", np.array([[0.0, 0, 0], [4, 0, 0]]), MAIN),
            ("far", np.array([[4.0, 0, 0], [9, 0, 0]]), MAIN),
            ("side", np.array([[4.0, 0, 0], tip]), SIDE),
        ],
        file="back.glb",
        flows={"far": 0.5, "side": 0.25},
        attributes={"fan": Attributes(source=True)},
    )


def found(drawing: Drawing, is_return: bool = True, **said: Any) -> Analysis:
    plan = Schedule(source=SourceSpec(is_return=is_return), **said)
    return analyse(build(drawing, plan))


def of_kind(
    analysis: Analysis, kind: Kind
) -> np.ndarray[tuple[int], np.dtype[np.intp]]:
    return np.flatnonzero(analysis.elements.kind == kind)


def test_a_bare_duct_pays_for_its_opening_and_its_friction() -> None:
    """Idelchik, diagram 3-1: C = 0.50 flush with a wall; supply leaves with C = 1."""
    one = drawing_from_runs(
        [("a", np.array([[0.0, 0, 0], [10, 0, 0]]), MAIN)],
        flows={"a": 0.5},
        attributes={"a": Attributes(source=True, source_at_end=False)},
    )
    pv = found(one).state.velocity_pressure[0]
    rub = found(one).state.gradient[0] * 10.0
    assert found(one).critical_loss == pytest.approx(rub + 0.5 * pv)
    assert found(one, is_return=False).critical_loss == pytest.approx(rub + pv)


@pytest.mark.parametrize("angle", [45.0, 90.0])
def test_junctions_are_those_that_join_air(angle: float) -> None:
    """The coefficients are of the joining tables, on the common velocity."""
    analysis = found(back(angle))
    q, f = 0.25 / 0.75, SIDE.area / MAIN.area
    one = np.ones(1)
    for kind, is_branch in ((Kind.BRANCH, True), (Kind.MAIN, False)):
        wanted = junctions.joining_legs(
            junctions.JunctionLegs(
                is_branch=np.array([is_branch]),
                is_symmetrical=np.array([False]),
                angle=np.radians([angle]),
                entry=np.array([int(TakeoffEntry.PLAIN)]),
                common_shape=np.array([1]),
                branch_shape=np.array([1]),
                flow_ratio=q * one,
                area_ratio=f * one,
                main_area_ratio=one,
            ),
            analysis.state.velocity[:1],
        ).value[0]
        (row,) = of_kind(analysis, kind)
        assert analysis.elements.coefficient[row] == pytest.approx(wanted)
    supply = found(back(angle), is_return=False)
    (row,) = of_kind(supply, Kind.MAIN)
    (other,) = of_kind(analysis, Kind.MAIN)
    assert supply.elements.coefficient[row] != pytest.approx(
        float(analysis.elements.coefficient[other]), abs=0.05
    )


def test_a_return_warms_from_its_grilles_to_the_fan() -> None:
    """By hand: T = Ta + (T0 - Ta) exp(-U A / (m cp)) along each, mixed by mass."""
    runs = {
        "main": (([0, 0, 0], [4, 0, 0]), rectangular(0.4, 0.3), 0.45),
        "hall": (([4, 0, 0], [6, 0, 0]), rectangular(0.4, 0.3), 0.43),
        "attic": (([4, 0, 0], [4, 20, 0]), round_section(0.125), 0.02),
    }
    drawing = drawing_from_runs(
        [(name, np.array(ends), section) for name, (ends, section, _) in runs.items()],
        flows={"hall": 0.43, "attic": 0.02},
        attributes={"main": Attributes(source=True)},
    )
    taken_in, around, film, dew = 297.15, 323.15, 3.0, 312.0
    spec = ChecksSpec(around=around, transmission=film, dew_point=dew)
    analysis = found(drawing, checks=spec, air=AirSpec(temperature=taken_in))
    left: dict[str, float] = {}
    capacity = analysis.conditions.air.density * 1006.0
    for name in ("attic", "hall", "main"):
        ends, _, flow = runs[name]
        begun = taken_in
        if name == "main":
            begun = (0.43 * left["hall"] + 0.02 * left["attic"]) / 0.45
        around_it = np.pi * 0.125 if name == "attic" else 1.4
        area = around_it * np.linalg.norm(np.subtract(*ends))
        ntu = film * area / (flow * capacity)
        left[name] = around + (begun - around) * float(np.exp(-ntu))
    change, surface = (c for c in checks(analysis) if "temperature" in c.rule)
    if change.limit is not None:
        change, surface = surface, change
    rule = "change of the air's temperature up to the fan, by the surface"
    assert change.rule == f"{rule} of the bare duct"
    assert change.at == "main"
    assert change.value == pytest.approx(left["main"] - taken_in, rel=2e-3)
    assert change.value == pytest.approx(1.89, abs=0.02)
    # The surface is coldest at the grilles, where the air is.
    assert surface.value == pytest.approx(around - film / 8.0 * (around - taken_in))
    assert surface.at in ("hall", "attic")


def test_what_widens_away_from_the_fan_narrows_for_the_air() -> None:
    drawing = drawing_from_runs(
        [
            ("a", np.array([[0.0, 0, 0], [4, 0, 0]]), rectangular(0.3, 0.3)),
            ("b", np.array([[4.0, 0, 0], [9, 0, 0]]), rectangular(0.6, 0.3)),
        ],
        flows={"b": 0.5},
        attributes={"a": Attributes(source=True)},
    )
    (row,) = of_kind(found(drawing), Kind.TRANSITION)
    (other,) = of_kind(found(drawing, is_return=False), Kind.TRANSITION)
    assert found(drawing).words(int(row)).startswith("contraction to")
    assert found(drawing, is_return=False).words(int(other)).startswith("expansion")
    ours, theirs = (
        found(drawing, is_return=side).elements.loss[at]
        for side, at in ((True, row), (False, other))
    )
    assert ours < theirs  # a contraction loses less than an expansion of that angle


def test_the_critical_path_of_a_return_comes_from_its_terminal(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    side, supply = found(back()), found(back(), is_return=False)
    assert side.critical_words == f"from {side.critical_terminal}"
    assert supply.critical_words == f"to {side.critical_terminal}"
    assert f"{side.critical_words}, " in side._repr_html_()
    both = compare([Option("a", side), Option("b", supply)])._repr_html_()
    assert f"<td>{side.critical_words}</td>" in both
    assert f"<td>{supply.critical_words}</td>" in both
    write_gltf(back(), tmp_path / "a.glb")
    write_gltf(back(), tmp_path / "b.glb")
    (tmp_path / "schedule.toml").write_text('[source]\nside = "return"\n')
    monkeypatch.setattr(preflight, "why_not", lambda: "no picture")
    monkeypatch.setenv("COLUMNS", "200")
    words, out = [str(tmp_path / f"{name}.glb") for name in "ab"], tmp_path / "r.html"
    assert main(["report", *words, "--out", str(out)]) == 0
    assert out.read_text("utf-8").count(f"<td>{side.critical_words}</td>") == 2
    assert main(["compare", *words]) == 0
    assert capsys.readouterr().out.count(side.critical_words) == 2


def test_a_return_stands_below_the_room() -> None:
    analysis = found(back())
    static = static_pressure(analysis)
    assert (static < 0.0).all()
    rub = analysis.state.gradient[0] * analysis.graph.ducts.length[0]
    wanted = -(analysis.critical_loss - rub / 2) - analysis.state.velocity_pressure[0]
    assert static[0] == pytest.approx(wanted)


def test_w18_the_rise_of_static_pressure_is_not_the_fan_static_pressure() -> None:
    """W18 of worked_examples.json: Brooks, review for ASHRAE TC 5.2."""
    cases = json.loads((DATA / "worked_examples.json").read_text())["examples"]
    case = next(one for one in cases if one["id"] == "W18")
    given, wanted = case["inputs"], case["expected"]
    inch = units.UNITS["in.wg"].factor

    def side(is_return: bool, velocity_pressure: float, **said: Any) -> Analysis:
        velocity = np.sqrt(2.0 * velocity_pressure * inch / air().density)
        duct = drawing_from_runs(
            [("duct", np.array([[0.0, 0, 0], [5, 0, 0]]), MAIN)],
            flows={"duct": np.pi / 4 * 0.4**2 * velocity},
            attributes={"duct": Attributes(source=True, source_at_end=False)},
        )
        return found(duct, is_return, **said)

    fan = FanSpec(external_static_pressure=wanted["static_rise_across_fan_inwg"] * inch)
    supply = side(False, given["outlet_velocity_inwg"], fan=fan)
    suction = side(True, given["inlet_velocity_inwg"])
    total = budget(supply, [suction]).available
    assert total == pytest.approx(wanted["fan_total_inwg"] * inch, rel=1e-9)


def test_the_budget_of_both_sides_by_hand() -> None:
    """FR = ASP / TEL with both critical paths, as the worksheet of W10 has it."""
    losses = {"filter": 30.0, "cooling coil": 25.0}
    supply = found(
        back(), False, losses=losses, fan=FanSpec(external_static_pressure=250.0)
    )
    sides = [found(back()), found(back(45.0), losses={"silencer": 10.0})]
    whole = budget(supply, sides)
    with_losses = [s.critical_loss + d for s, d in zip(sides, (0, 10), strict=True)]
    assert whole.critical_return == int(np.argmax(with_losses))
    worst = sides[whole.critical_return].critical_loss
    pv = [supply.system.outlet_velocity_pressure, sides[0].state.velocity_pressure[0]]
    silencer = 10.0 * whole.critical_return
    available = 250.0 - 30.0 - 25.0 - silencer + pv[0] - pv[1]
    assert whole.available == pytest.approx(available)
    assert whole.required == pytest.approx(supply.critical_loss + worst)
    fittings = supply.system.fitting_loss
    fittings += sides[whole.critical_return].system.fitting_loss
    rate = (available - fittings) / whole.length
    assert whole.friction_rate_available == pytest.approx(rate)
    # The same by equivalent lengths: the fixed point of available / TEL.
    assert available / whole.effective_length == pytest.approx(rate)
    assert [word for word in whole.missing if "grille" in word]
    assert not [word for word in whole.missing if "filter" in word or "coil" in word]


def test_the_lines_of_the_budget_add_up(capsys: pytest.CaptureFixture[str]) -> None:
    house = Path(__file__).parents[1] / "examples" / "hillside_house"
    files = [str(house / "house.glb"), "--return", str(house / "return.glb")]
    assert main(["analyse", *files]) == 0
    whole = capsys.readouterr().out
    # The rate that is the supply's own is not taken for that of both.
    assert "friction rate left to the supply alone" in whole
    assert "friction rate left, supply and return" in whole
    table = whole.split("Budget of supply and return")[1]
    lines = table.split("left for ducts and fittings")
    before = [float(found) for found in re.findall(r"(-?\d+\.\d) *\n", lines[0])]
    left = float(lines[1].split()[0])
    # The fan, two velocity pressures, three declared losses, two terminals.
    assert len(before) == 8
    assert sum(before) == pytest.approx(left, abs=0.2)


def test_the_supply_with_its_returns_spares_what_the_budget_spares() -> None:
    losses = {"filter": 30.0, "cooling coil": 25.0}
    supply = found(
        back(), False, losses=losses, fan=FanSpec(external_static_pressure=250.0)
    )
    sides = [found(back()), found(back(45.0), losses={"silencer": 10.0})]
    whole, one = budget(supply, sides), with_returns(supply, sides)
    assert whole.available is not None
    assert one.system.available is not None
    spare = whole.available - whole.required
    assert one.system.available - one.system.required == pytest.approx(spare)
    assert with_returns(supply, []) is supply
    # The same through a schedule, for what changes the supply.
    plan = plan_with_returns(supply.graph.schedule, sides)
    again = analyse(build(supply.graph.drawing, plan))
    assert again.system.available == pytest.approx(one.system.available)
    assert plan_with_returns(plan, []) is plan
    # Power is airflow times the fan's total pressure, definition: of equal velocity
    # pressures at its outlet and its inlet it is the static one.
    assert power_of(one).air == pytest.approx(0.75 * 250.0)


@pytest.mark.parametrize("order", [1, -1])
def test_air_passes_the_filter_of_one_return_only(order: int) -> None:
    """A filter in [losses] of a return counts as one drawn in each of its ducts does.

    The way that costs most with what stands on it is the critical one, definition.
    """
    supply = found(back(), False, fan=FanSpec(total_pressure=250.0))
    # That of the longer ducts has the cheaper filter, and is the cheaper of the two.
    longer, shorter = found(back(), losses={"filter": 5.0}), found(back(45.0))
    apart = longer.critical_loss - shorter.critical_loss
    assert apart > 0.0
    shorter = found(back(45.0), losses={"filter": 20.0 + apart, "silencer": 2.0})
    sides = [longer, shorter][::order]
    whole = budget(supply, sides)
    assert sides[whole.critical_return] is shorter
    on_its_way = shorter.critical_loss + 22.0 + apart
    assert whole.declared_losses == pytest.approx(22.0 + apart)
    assert whole.available is not None
    spare = 250.0 - supply.critical_loss - on_its_way
    assert whole.available - whole.required == pytest.approx(spare)
    metric = display.DISPLAYS["metric"]
    lines = dict(budget_words.joint_lines(supply, sides, whole, metric))
    assert len([words for words in lines if words.startswith("less filter")]) == 1
    one = with_returns(supply, sides)
    assert (one.system.available or 0.0) - one.system.required == pytest.approx(spare)
    plan = plan_with_returns(supply.graph.schedule, sides)
    assert sum(plan.losses.values()) == pytest.approx(on_its_way)
    shown = f"return {metric.pressures(shorter.critical_loss)} Pa"
    assert shown in layout_view.summary(one, metric, returns=sides)


def test_a_component_that_the_critical_return_lacks_is_missing() -> None:
    supply = found(back(), False)
    sides = [found(back(), losses={"coil": 40.0}), found(back(), losses={"filter": 9})]
    whole = budget(supply, sides)
    assert whole.critical_return == 0
    assert [word for word in whole.missing if "filter" in word]


@pytest.mark.parametrize(
    ("kind", "loss", "is_missing"),
    [
        ("filter grille", 18.0, False),
        ("filter grille", None, True),
        ("grille", 18, True),
    ],
)
def test_a_filter_grille_is_a_filter(
    kind: str, loss: float | None, is_missing: bool
) -> None:
    ends = {
        "far": TerminalSpec(0.5, loss, kind),
        "side": TerminalSpec(0.25, loss, kind),
    }
    whole = budget(found(back(), False), [found(back(), terminals=ends)])
    assert any("filter" in word for word in whole.missing) == is_missing
    # As it is told of a supply alone.
    fan = FanSpec(external_static_pressure=250.0)
    flags = found(back(), False, fan=fan, terminals=ends).flags
    told = " ".join(flag.sentence for flag in flags if flag.where == "budget")
    assert ("filter" in told) == is_missing


@pytest.mark.parametrize(
    ("losses", "missing", "of_total"),
    [
        (
            {},
            "the supply or discharge side, filter, coil or heat exchanger",
            "the supply or discharge side, nor of a filter, should there be one",
        ),
        (
            {"bag filter": 5.0},
            "the supply or discharge side, coil or heat exchanger",
            "the supply or discharge side",
        ),
        (
            {"return louvre at the roof": 9.0},
            "the filter, coil or heat exchanger",
            "a filter, should there be one",
        ),
        ({"discharge stack": 9.0, "filter": 5.0}, "the coil or heat exchanger", ""),
        ({"discharge stack": 9.0, "filter": 5.0, "coil": 1.0}, "", ""),
    ],
)
def test_an_exhaust_alone_says_what_its_budget_lacks(
    losses: dict[str, float], missing: str, of_total: str
) -> None:
    fan = FanSpec(external_static_pressure=250.0)

    def told(is_return: bool, **said: Any) -> list[str]:
        flags = found(back(), is_return, losses=losses, **said).flags
        return [f.sentence for f in flags if "nothing is said of" in f.what]

    bare = told(True, fan=FanSpec(total_pressure=250.0))
    for said, wanted in ((told(True, fan=fan), missing), (bare, of_total)):
        assert len(said) == bool(wanted)
        assert all(f"nothing is said of {wanted}, so" in one for one in said)
        assert all("return side" not in one for one in said)
    # With the supply's fan it is one side of a budget that says it.
    assert not told(True)
    # As it is told of a supply alone.
    asked = told(False, fan=fan)
    assert any("return side" in one for one in asked) == ("return" not in str(losses))


def test_an_exhaust_alone_lists_that_its_outlet_has_no_velocity() -> None:
    fan = FanSpec(external_static_pressure=250.0)
    side = found(back(), fan=fan)
    (told,) = (e for e in effects(side) if "fan's outlet" in e.assumption.what)
    as_wide = replace(fan, outlet_velocity_pressure=side.system.inlet_velocity_pressure)
    more = found(back(), fan=as_wide)
    assert more.system.available is not None
    assert side.system.available is not None
    assert told.loss == pytest.approx(more.system.available - side.system.available)
    assert told.loss is not None
    assert told.loss > 1.0
    for other in (more, found(back()), found(back(), False, fan=fan)):
        words = [a.what for a in other.assumptions]
        assert "no velocity pressure at the fan's outlet" not in words


def test_airflows_settle_on_both_sides() -> None:
    """A fan that gives what both sides need at design, with every damper set."""
    supply, sides = found(back(), False), [found(back())]
    needed = supply.critical_loss + sides[0].critical_loss
    fan = FanSpec(total_pressure=needed)
    settled = operate(found(back(), False, fan=fan), "set", sides)
    assert settled.total_flow == pytest.approx(0.75, rel=1e-6)
    np.testing.assert_allclose(settled.flow, supply.graph.terminals.flow, rtol=1e-6)
    np.testing.assert_allclose(
        settled.return_flow[0], sides[0].graph.terminals.flow, rtol=1e-6
    )
    assert settled.fan_pressure == pytest.approx(needed)


def test_two_equal_returns_share_the_air() -> None:
    fan = FanSpec(total_pressure=200.0)
    supply = found(back(), False, fan=fan)
    one = operate(supply, "open", [found(back())])
    half = replace(back(), flow=back().flow / 2)
    two = operate(supply, "open", [found(half), found(half)])
    assert two.total_flow > one.total_flow
    halves = [float(flow.sum()) for flow in two.return_flow]
    assert halves == pytest.approx([two.total_flow / 2] * 2)
    assert float(one.return_flow[0].sum()) == pytest.approx(one.total_flow)


def test_an_external_static_pressure_lacks_the_inlet_velocity_pressure() -> None:
    """Total = static + outlet velocity pressure - inlet, by definition (AMCA 210)."""
    supply, side = found(back(), False), found(back())
    total = supply.critical_loss + side.critical_loss
    outlet = supply.system.outlet_velocity_pressure
    inlet = side.system.inlet_velocity_pressure
    fan = FanSpec(external_static_pressure=total - outlet + inlet)
    settled = operate(found(back(), False, fan=fan), "set", [side])
    assert settled.total_flow == pytest.approx(0.75, rel=1e-6)


def test_a_return_with_a_fan_of_its_own_has_its_duct_at_the_inlet() -> None:
    """Total = static + outlet velocity pressure - inlet, by definition (AMCA 210)."""
    side = found(back(), fan=FanSpec(external_static_pressure=100.0))
    pv = float(side.state.velocity_pressure[0])
    assert pv > 5.0
    assert side.system.available == pytest.approx(100.0 - pv)
    needed = side.critical_loss + pv
    fan = FanSpec(external_static_pressure=needed)
    settled = operate(found(back(), fan=fan), "set")
    assert settled.total_flow == pytest.approx(0.75, rel=1e-6)
    # What it blows into is not drawn: its velocity pressure may be declared.
    fan = FanSpec(external_static_pressure=100.0, outlet_velocity_pressure=3.0)
    assert found(back(), fan=fan).system.available == pytest.approx(103.0 - pv)


def test_a_declared_outlet_counts_in_place_of_the_first_duct_s() -> None:
    fan = FanSpec(external_static_pressure=100.0, outlet_velocity_pressure=3.0)
    supply = found(back(), False, fan=fan)
    assert supply.system.available == pytest.approx(103.0)
    assert power_of(supply).air == pytest.approx(0.75 * 103.0)
    pressure = supply.critical_loss - 3.0
    needed = FanSpec(external_static_pressure=pressure, outlet_velocity_pressure=3.0)
    settled = operate(found(back(), False, fan=needed), "set")
    assert settled.total_flow == pytest.approx(0.75, rel=1e-6)


def test_outdoor_air_keeps_its_share_where_the_airflows_settle() -> None:
    """By hand: of what the supply carries the return draws 80 %, as at design."""
    less = found(replace(back(), flow=back().flow * 0.8))
    supply = found(back(), False)
    needed = supply.critical_loss + less.critical_loss
    fan = FanSpec(total_pressure=needed)
    settled = operate(found(back(), False, fan=fan), "set", [less])
    assert settled.total_flow == pytest.approx(0.75, rel=1e-6)
    assert float(settled.return_flow[0].sum()) == pytest.approx(0.6, rel=1e-6)
    assert any("80 % of what the supply" in said.what for said in settled.notices)
    stronger = FanSpec(total_pressure=2.0 * needed)
    more = operate(found(back(), False, fan=stronger), "set", [less])
    share = float(more.return_flow[0].sum()) / more.total_flow
    assert share == pytest.approx(0.8, rel=1e-6)


def test_sides_of_different_air_are_compared_by_mass() -> None:
    """By the ideal gas: at 60 °C 333.15 / 293.15 as much room as at 20 °C."""
    warm, cool = AirSpec(temperature=333.15), AirSpec(temperature=293.15)
    supply = found(back(), False, air=warm)
    alike = replace(back(), flow=back().flow * 293.15 / 333.15)
    kept, more = (
        [one.what for one in budget(supply, [found(side, air=cool)]).notices]
        for side in (alike, back())
    )
    assert not any("and the returns" in what for what in kept)
    (said,) = [what for what in more if "and the returns" in what]
    assert f"by mass as much as {750 * 333.15 / 293.15:.1f} L/s" in said


def test_what_nobody_declared_is_said_and_not_filled_in() -> None:
    whole = budget(found(back(), False), [found(back())])
    assert whole.available is None
    assert {"filter", "coil or heat exchanger"} <= set(whole.missing)


def test_sides_of_different_airflow_are_remarked_on() -> None:
    less = drawing_from_runs(
        [("a", np.array([[0.0, 0, 0], [10, 0, 0]]), MAIN)],
        flows={"a": 0.4},
        attributes={"a": Attributes(source=True, source_at_end=False)},
    )
    whole = budget(found(back(), False), [found(less)])
    assert any("returns 400 L/s (848 cfm)" in said.what for said in whole.notices)


@pytest.mark.parametrize(
    ("rate", "said"),
    [
        (None, ""),
        (-1.0, ""),
        (0.0, ""),
        (1e-9, "below"),
        (0.999 * WINDOW[0], "below"),
        (WINDOW[0], ""),
        (WINDOW[1], ""),
        (1.001 * WINDOW[1], "above"),
    ],
)
def test_a_rate_is_in_the_window_or_said_to_be_outside(
    rate: float | None, said: str
) -> None:
    mends = {"below": "less", "above": "more"}
    notices = outside_window("budget", rate, "left are", **mends)
    assert [f", {said} the window" in one.what for one in notices] == [True] * bool(
        said
    )
    for one in notices:
        assert one.remedy == mends[said] + " (common practice, no published source)"


def test_no_rate_is_said_where_the_fan_leaves_none() -> None:
    """Of one below zero it is said that the fan does not carry the layout."""
    for pressure in (3.0, 3000.0):
        fan = FanSpec(external_static_pressure=pressure)
        supply = found(back(), False, fan=fan)
        both = budget(supply, [found(back())])
        for whole, flags in ((both, both.notices), (supply.system, supply.flags)):
            rate, spare = whole.friction_rate_available, whole.spare
            assert rate is not None
            assert spare is not None
            words = "".join(said.what for said in flags)
            assert ("friction rate" in words) == (pressure == 3000.0)
            assert (rate > 0.0) == (pressure == 3000.0)
            assert ("the fan leaves" in words) or spare > 0.0


@pytest.mark.parametrize(("flow", "said"), [(0.716, False), (0.709, True)])
def test_sides_may_differ_by_a_twentieth(flow: float, said: bool) -> None:
    """5 % of 0.75 m³/s: own choice, no published source."""
    side = drawing_from_runs(
        [("a", np.array([[0.0, 0, 0], [10, 0, 0]]), MAIN)],
        flows={"a": flow},
        attributes={"a": Attributes(source=True, source_at_end=False)},
    )
    notices = budget(found(back(), False), [found(side)]).notices
    assert any("and the returns" in notice.what for notice in notices) == said


@pytest.mark.parametrize(
    ("supply", "side", "said"),
    [
        ({"Return duct": 30.0}, {}, "beside the drawn return"),
        ({"filter": 30.0}, {"filter": 30.0}, "is declared on both sides"),
        ({"filter": 30.0}, {"filter": 25.0}, ""),
    ],
)
def test_a_loss_that_seems_to_count_twice_is_said(
    supply: dict[str, float], side: dict[str, float], said: str
) -> None:
    notices = budget(
        found(back(), False, losses=supply), [found(back(), losses=side)]
    ).notices
    of_losses = [notice for notice in notices if "the loss '" in notice.what]
    assert bool(of_losses) == bool(said)
    assert any(said in notice.what for notice in notices) or not said


def test_the_command(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for name in ("supply.glb", "return.glb"):
        write_gltf(back(), tmp_path / name)
    (tmp_path / "supply.schedule.toml").write_text(
        '[fan]\nexternal_static_pressure = "0.8 in.wg"\n[losses]\nfilter = "30 Pa"\n'
        '[terminals.far]\nflow = "0.5 m3/s"\nloss = "20 Pa"\n'
    )
    words = ["analyse", str(tmp_path / "supply.glb"), "--return"]
    words.append(str(tmp_path / "return.glb"))
    assert main([*words, "--json"]) == 0
    result = json.loads(capsys.readouterr().out)
    validate(result, "result")
    assert len(result["returns"]) == 1
    assert result["budget"]["required_pa"] > result["system"]["required_pa"]
    assert main(words) == 0
    out = capsys.readouterr().out
    assert "Budget of supply and return" in out
    assert "0.75 m3/s" not in out
    assert "not filled in" in out
    assert main([*words[:3], words[1]]) == 2
    assert "the same drawing is given twice" in capsys.readouterr().err


def test_a_return_takes_of_the_supply_s_schedule_how_ducts_are_made_alone(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Limits of a run of the supply are none of the return's; nor is its folder's."""
    write_gltf(back(), tmp_path / "supply.glb")
    (tmp_path / "other").mkdir()
    write_gltf(back(), tmp_path / "other" / "return.glb")
    (tmp_path / "other" / "schedule.toml").write_text('[air]\ntemperature = "9 C"\n')
    run = back().names[0]
    (tmp_path / "supply.schedule.toml").write_text(
        f"[limits.'{run}']\nmax_height = '2 m'\n[elbows]\nradius_ratio = 1.5\n"
        f"[[elbows.exception]]\nrun = '{run}'\nconstruction = 'mitred'\n"
    )
    words = ["analyse", str(tmp_path / "supply.glb"), "--json", "--return"]
    assert main([*words, str(tmp_path / "other" / "return.glb")]) == 0
    result = json.loads(capsys.readouterr().out)
    files = [file["file"] for file in result["inputs"]["schedules"]]
    assert files == ["supply.schedule.toml"]
    plan = Schedule(elbow_default=ElbowRule(radius_ratio=1.5)).for_return()
    assert plan.source.is_return
    assert plan.elbow_default.radius_ratio == 1.5


def test_a_schedule_may_say_that_its_route_is_a_return(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    write_gltf(back(), tmp_path / "r.glb")
    (tmp_path / "r.schedule.toml").write_text('[source]\nside = "return"\n')
    assert main(["analyse", str(tmp_path / "r.glb")]) == 0
    assert "750 L/s from 2 terminals" in capsys.readouterr().out
    assert main(["analyse", str(tmp_path / "r.glb"), "--json"]) == 0
    result = json.loads(capsys.readouterr().out)
    kinds = {element["kind"] for element in result["elements"]}
    assert "opening flush with a wall" in kinds


def test_swapped_sides_are_refused_and_a_second_fan_is_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    supply, other = tmp_path / "supply.glb", tmp_path / "return.glb"
    for path in (supply, other):
        write_gltf(back(), path)
    supply.with_suffix(".schedule.toml").write_text('[source]\nside = "return"\n')
    words = ["analyse", str(supply), "--return", str(other)]
    for command in ("analyse", "operate", "proportion", "improve"):
        assert main([command, *words[1:]]) == 2
        said = capsys.readouterr().err
        assert "it says that supply.glb is a return, and --return return.glb" in said
        assert "name the supply first" in said
    supply.with_suffix(".schedule.toml").write_text('[source]\nside = "supply"\n')
    other.with_suffix(".schedule.toml").write_text(
        '[source]\nside = "supply"\n[fan]\ntotal_pressure = "300 Pa"\n'
    )
    assert main([*words, "--json"]) == 0
    result = json.loads(capsys.readouterr().out)
    (side,) = result["returns"]
    told = [flag["sentence"] for flag in side["flags"]]
    assert any("it says that return.glb is a supply" in one for one in told)
    assert any("the fan of a return is not counted" in one for one in told)
    assert result["budget"]["fan_pressure_pa"] is None


def test_a_supply_beside_its_return_is_no_assumption() -> None:
    def assumed(analysis: Analysis) -> bool:
        return any("a supply" in one.what for one in analysis.assumptions)

    supply = found(back(), False)
    assert assumed(supply)
    assert not assumed(with_returns(supply, [found(back())]))
    planned = plan_with_returns(supply.graph.schedule, [found(back())])
    assert planned.source.is_supply
    assert not assumed(found(back()))


@pytest.mark.parametrize(
    ("kind", "loss", "told"),
    [
        ("hood", "bag filter", "'hood'"),
        ("Return grille", "filter", "'Return grille'"),
        ("grille", "exhaust cowl", "'exhaust cowl'"),
        # A supply pays for its return too, and for the outdoor air.
        ("grille", "return", ""),
        ("diffuser", "weather hood", ""),
        ("industrial diffuser", "dust filter", ""),
        ("grille", "cyclone", "'cyclone'"),
        ("fume cupboard", "filter", "'fume cupboard'"),
        ("", "filter", ""),
    ],
)
def test_words_of_an_exhaust_are_told_where_the_side_is_not_said(
    kind: str, loss: str, told: str
) -> None:
    ends = {"far": TerminalSpec(0.5, kind=kind), "side": TerminalSpec(0.25)}

    def said(source: SourceSpec) -> list[str]:
        plan = Schedule(
            source=source, losses={loss: 9.0}, terminals=ends, file="s.toml"
        )
        seen = build(back(), plan).notices
        return [one.sentence for one in seen if "side is not said" in one.what]

    # What stands in a run is looked at too, and named once.
    stands_in = tuple(ComponentSpec(run, loss, loss=9.0) for run in ("far", "side"))
    plan = Schedule(components=stands_in, terminals=ends, file="s.toml")
    seen = [one.sentence for one in build(back(), plan).notices]
    assert any(f"speaks of {told}, as" in one for one in seen) == bool(told)

    nothing = said(SourceSpec())
    assert len(nothing) == bool(told)
    assert all(
        f"s.toml, [source]: the side is not said, and the schedule speaks of "
        f"{told}, as of" in one
        for one in nothing
    )
    assert not said(SourceSpec(is_return=True))
    assert not said(SourceSpec(is_supply=True))


@pytest.mark.parametrize(
    ("source", "kind", "use", "dusty"),
    [
        (SourceSpec(is_return=True), "hood", "commercial", True),
        (SourceSpec(is_return=True), "grille", "industrial", True),
        (SourceSpec(), "Slotted hood", "industrial", True),
        (SourceSpec(is_return=True), "grille", "commercial", False),
        (SourceSpec(is_supply=True), "hood", "industrial", False),
        (SourceSpec(), "grille", "industrial", False),
        (SourceSpec(is_return=True), "fume cupboard", "commercial", True),
        (SourceSpec(is_return=True), "dust pick-up", "commercial", True),
        (SourceSpec(is_return=True), "industrial extract", "commercial", False),
        (SourceSpec(is_return=True, feeds_supply=True), "grille", "industrial", False),
        (SourceSpec(is_return=True, feeds_supply=True), "hood", "commercial", True),
    ],
)
def test_no_advice_lets_dust_settle(
    source: SourceSpec, kind: str, use: str, dusty: bool
) -> None:
    """What dust needs is a least velocity, and what is looked at is a largest."""
    ends = {"far": TerminalSpec(0.5, 20.0, kind), "side": TerminalSpec(0.25, 20.0)}
    drawing = replace(back(), flow=9.0 * back().flow)

    def of_fan(pressure: float) -> Analysis:
        plan = Schedule(
            source=source,
            fan=FanSpec(total_pressure=pressure),
            terminals={n: replace(t, flow=9.0 * t.flow) for n, t in ends.items()},
            checks=ChecksSpec(use=use, noise="RC 25", stands="in the room"),
        )
        return analyse(build(drawing, plan))

    rich, poor = of_fan(1e5), of_fan(30.0)
    told = [one.sentence for one in rich.flags]
    assert any("transport velocity" in one for one in told) == dusty
    assert any("window" in one for one in told) != dusty
    (short,) = (one for one in poor.flags if "critical path needs" in one.what)
    assert ("enlarge its ducts" in short.remedy) != dusty
    advice = [one for one in checks(rich) if one.rule.startswith("velocity in")]
    assert not any(one.is_kept for one in advice if "elbows" not in one.rule)
    for one in advice:
        assert (
            "a larger section is taken: ducts that carry dust" in one.remedy
        ) == dusty
        assert one.remedy.startswith("take a larger section") != dusty
    larger = [one for one in remedies(rich) if "larger" in one.what]
    assert bool(larger) != dusty
    sized = proportion(drawing, rich.graph.schedule, Aim(rate=1.0))
    said = [one.sentence for one in sized.notices]
    assert any("transport velocity" in one for one in said) == dusty
    assert any("window" in one for one in said) != dusty


@pytest.mark.parametrize(
    ("loss", "dusty"),
    [
        ("cyclone", True),
        ("Grease filter", True),
        ("dust collector", True),
        ("dust filter", False),
        ("rain hood", False),
        ("industrial silencer", False),
        ("exhaust louvre", False),
    ],
)
def test_what_stands_in_the_way_of_dust_tells_of_it(loss: str, dusty: bool) -> None:
    source = SourceSpec(is_return=True)
    one = ComponentSpec("main", loss, loss=5.0)
    for plan in (
        Schedule(source=source, losses={loss: 5.0}),
        Schedule(source=source, components=(one,)),
    ):
        assert plan.may_carry_dust == dusty
        assert not replace(plan, source=SourceSpec(is_supply=True)).may_carry_dust


@pytest.mark.parametrize("own", ["", '[source]\nside = "return"\n'])
@pytest.mark.parametrize("kind", ["grille", "hood"])
def test_what_returns_to_an_industrial_supply_is_no_exhaust(
    own: str, kind: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    words = two_sides(tmp_path)
    supply = tmp_path / "supply.schedule.toml"
    checks = '[checks]\nuse = "industrial"\n'
    supply.write_text(f"{supply.read_text()}{checks}")
    if own or kind == "hood":
        (tmp_path / "left.schedule.toml").write_text(
            f'{own}[terminals.far]\nloss = "9 Pa"\nkind = "{kind}"\n{checks}'
        )
    assert main(["analyse", *words]) == 0
    said = capsys.readouterr().out
    assert ("transport velocity" in said) == (kind == "hood")
    # Alone it blows its air out.
    alone = Schedule(
        source=SourceSpec(is_return=True), checks=ChecksSpec(use="industrial")
    )
    assert alone.may_carry_dust


def test_terminals_with_a_declared_loss_have_no_opening() -> None:
    flows = {"far": TerminalSpec(0.5, 12.0), "side": TerminalSpec(0.25, 15.0)}
    analysis = found(back(), terminals=flows)
    assert len(of_kind(analysis, Kind.EXIT)) == 0
    assert len(of_kind(analysis, Kind.TERMINAL)) == 2
    flush = float(entries.entry_in_wall(0.05, np.zeros(1)).value[0])
    assert flush == pytest.approx(0.5)


def two_sides(folder: Path) -> list[str]:
    """A supply with two returns as files, and the words that name them."""
    for name in ("supply", "left", "right"):
        write_gltf(back(), folder / f"{name}.glb")
    (folder / "supply.schedule.toml").write_text(
        '[fan]\nexternal_static_pressure = "0.8 in.wg"\n[losses]\nfilter = "30 Pa"\n'
    )
    sides = [str(folder / f"{name}.glb") for name in ("supply", "left", "right")]
    return [sides[0], "--return", sides[1], "--return", sides[2]]


def rows_of(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8-sig", newline="") as stream:
        return list(csv.DictReader(stream))


def test_the_tables_hold_every_side(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    words, out = two_sides(tmp_path), tmp_path / "tables"
    book = tmp_path / "a.xlsx"
    files = ["--csv", str(out), "--xlsx", str(book)]
    assert main(["analyse", *words, "--json", *files]) == 0
    shown, said = capsys.readouterr()
    result = json.loads(shown)
    validate(result, "result")
    assert "replaced" not in said
    plain = ["elements", "paths", "ducts", "pairs", "balance", "checks", "room"]
    plain += ["assumptions", "flags"]
    names = ["system", *plain, "sides", "budget"]
    names += [f"return-{n}-{name}" for n in (1, 2) for name in ("system", *plain)]
    assert sorted(path.stem for path in out.iterdir()) == sorted(names)
    with zipfile.ZipFile(book) as archive:
        text = archive.read("xl/workbook.xml").decode()
    assert re.findall('<sheet name="([^"]*)"', text) == names
    # Each side as the JSON has it, named by its file.
    (whole,) = rows_of(out / "budget.csv")
    assert float(whole["required_pa"]) == result["budget"]["required_pa"]
    sides = rows_of(out / "sides.csv")
    assert [(row["side"], row["file"]) for row in sides] == [
        ("supply", "supply.glb"),
        ("return-1", "left.glb"),
        ("return-2", "right.glb"),
    ]
    wanted = [result, *result["returns"]]
    for row, side, before in zip(
        sides, wanted, ["", "return-1-", "return-2-"], strict=True
    ):
        assert float(row["critical_loss_pa"]) == side["system"]["critical_loss_pa"]
        (whole,) = rows_of(out / f"{before}system.csv")
        density = side["system"]["air"]["density_kg_m3"]
        assert float(whole["density_kg_m3"]) == density
        for name in plain:
            found = rows_of(out / f"{before}{name}.csv")
            assert len(found) == len(side[name])
        losses = [
            float(one["loss_pa"]) for one in rows_of(out / f"{before}elements.csv")
        ]
        assert losses == [one["loss_pa"] for one in side["elements"]]
    kinds = {one["kind"] for one in rows_of(out / "return-1-elements.csv")}
    assert "opening flush with a wall" in kinds
    assert kinds != {one["kind"] for one in rows_of(out / "elements.csv")}
    # Tables written over those of before are said to be.
    assert main(["analyse", *words, "--json", *files]) == 0
    assert capsys.readouterr().err.count("replaced") == len(names) + 1


def test_one_return_needs_no_number_and_none_no_sides(tmp_path: Path) -> None:
    words = two_sides(tmp_path)
    for count, folder in ((3, "one"), (1, "none")):
        out = ["--csv", str(tmp_path / folder)]
        assert main(["analyse", *words[:count], *out]) == 0
    assert (tmp_path / "one" / "return-elements.csv").is_file()
    alone = {path.stem for path in (tmp_path / "none").iterdir()}
    assert {"system", "flags"} < alone
    assert not {name for name in alone if "return" in name or name == "sides"}


def test_a_table_of_a_return_is_written_over_no_input(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    words, out = two_sides(tmp_path), tmp_path / "tables"
    out.mkdir()
    plan = (tmp_path / "supply.schedule.toml").rename(out / "return-1-paths.csv")
    before = plan.read_bytes()
    words += ["--schedule", str(plan), "--csv", str(out)]
    assert main(["analyse", *words]) == 2
    assert "'return-1-paths.csv' in it is an input" in capsys.readouterr().err
    assert plan.read_bytes() == before


def test_the_room_around_a_return_counts(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A post that stands in the return's branch, 2 m and more above the supply."""
    write_gltf(back(), tmp_path / "supply.glb")
    drawing = back()
    moved = replace(drawing, points=drawing.points + np.array([0.0, 0.0, 3.0]))
    write_gltf(moved, tmp_path / "return.glb")
    post = trimesh.creation.box(extents=[0.2, 0.2, 1.0])
    post.apply_translation([4.0, 2.0, 3.0])
    post.export(tmp_path / "post.stl")
    words = [str(tmp_path / "supply.glb"), "--return", str(tmp_path / "return.glb")]
    words += ["--obstacles", str(tmp_path / "post.stl")]
    assert main(["analyse", *words, "--json", "--csv", str(tmp_path / "t")]) == 0
    result = json.loads(capsys.readouterr().out)
    validate(result, "result")
    assert all(gap["is_kept"] for gap in result["room"])
    (gap,) = (gap for gap in result["returns"][0]["room"] if not gap["is_kept"])
    assert (gap["duct"], gap["beside"]) == ("side", "post.stl")
    (row,) = rows_of(tmp_path / "t" / "return-room.csv")
    assert row["is_kept"] == "False"
    assert [float(row[at]) for at in ("x_m", "y_m", "z_m")] == gap["place_m"]
    assert main(["analyse", *words, "--strict"]) == 1
    assert "overlap" in capsys.readouterr().out
    out = tmp_path / "r.html"
    assert main(["report", *words, "--out", str(out)]) == 0
    text = out.read_text("utf-8")
    assert "return cannot be built as drawn: &#x27;side&#x27; overlaps" in text
    assert "Room around the ducts" in text.partition("Return: return.glb")[2]


@needs_opengl
@pytest.mark.parametrize("command", ["analyse", "view", "report"])
def test_pictures_show_every_side(
    command: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    seen: list[str] = []

    def kept(panels: Sequence[scene.Panel], *_: Any, **__: Any) -> str:
        seen.extend(panel.title for panel in panels)
        return ""

    monkeypatch.setattr(scene, "picture", kept)
    words = [*two_sides(tmp_path)[:3], "--return", str(tmp_path / "right.glb")]
    out = "--out" if command == "report" else "--png"
    path = tmp_path / ("a.html" if command == "report" else "a.png")
    with suppress(FileNotFoundError):  # a report reads the picture that was not made
        assert main([command, *words, out, str(path)]) == 0
    assert [title.partition(":")[0] for title in seen] == ["supply", "left", "right"]
    assert re.search(" to (far|side)$", seen[0])
    assert re.search(" from (far|side)$", seen[1])


def test_what_is_to_be_said_is_ranked_alike_and_said_once(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Terminal, page and report: warnings first, and of the budget what is missing."""
    monkeypatch.setattr(preflight, "why_not", lambda: "no picture")
    monkeypatch.setenv("COLUMNS", "2000")
    words, page, out = two_sides(tmp_path), tmp_path / "p.html", tmp_path / "r.html"
    assert main(["analyse", *words, "--page", str(page)]) == 0
    shown = capsys.readouterr().out
    assert main(["report", *words, "--out", str(out)]) == 0
    report = html.unescape(out.read_text("utf-8"))
    data = re.search(r'id="data">(.*?)</script>', page.read_text("utf-8"), re.DOTALL)
    assert data
    content = json.loads(data[1])
    for title, lines in (
        ("What to know of the budget", content["budget"]["flags"]),
        ("What to know", content["options"][1]["flags"]),
    ):
        assert [line.partition(":")[0] for line in lines] == sorted(
            (line.partition(":")[0] for line in lines), reverse=True
        )
        assert f"{title}\n  " + "\n  ".join(lines) + "\n" in shown
        items = "".join(f"<li>{line}</li>" for line in lines)
        assert f"<h2>{title}</h2><ul>{items}</ul>" in report
    assert sum("not filled in" in one for one in content["budget"]["flags"]) == 1
    assert shown.count("not filled in") == 1
    assert len({line.partition(":")[0] for line in content["options"][1]["flags"]}) > 1


def test_the_report_says_what_there_is_to_know_of_both_sides(tmp_path: Path) -> None:
    out = tmp_path / "r.html"
    assert main(["report", *two_sides(tmp_path), "--out", str(out)]) == 0
    text = out.read_text("utf-8")
    assert "What to know of the budget" in text
    assert "the supply carries 750 L/s" in text  # and each return as much again
    assert "Where most of it goes, supply" in text
    assert "Where most of it goes, left.glb" in text


def test_a_larger_first_duct_has_less_velocity_pressure_at_either_end_of_the_fan() -> (
    None
):
    """At the inlet that is gained, at the outlet it is lost."""
    for is_return, end in ((True, "inlet"), (False, "outlet")):
        ends = {"far": TerminalSpec(3.0, 1.0), "side": TerminalSpec(0.25, 1.0)}
        drawing = replace(back(), flow=np.full(3, np.nan))
        fan = FanSpec(external_static_pressure=400.0)
        before = found(drawing, is_return, fan=fan, terminals=ends)
        tried = [
            one
            for one in remedies(before)
            if one.at == "fan" and "one run larger" in one.what
        ]
        assert tried
        for one in tried:
            after = analyse(build(drawing, one.schedule))
            sides = [
                getattr(a.system, f"{end}_velocity_pressure") for a in (before, after)
            ]
            lower = sides[0] - sides[1]
            assert lower > 1.0
            saved = before.critical_loss - after.critical_loss
            assert one.won == pytest.approx(saved + (lower if is_return else -lower))
            said = " ".join(one.side_effects)
            told = f"{lower:.1f} Pa .* less of velocity pressure at the fan's {end}"
            assert re.search(told, said)
            assert said.count("velocity pressure") == 1


def test_settled_airflows_name_their_side(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "200")
    assert main(["operate", *two_sides(tmp_path)]) == 0
    lines = capsys.readouterr().out.splitlines()
    for file in ("supply.glb", "left.glb", "right.glb"):
        shown = [line.split()[:2] for line in lines if line.split()[:1] == [file]]
        assert [file, "far"] in shown
        assert [file, "side"] in shown


def test_returns_beside_new_sizes_are_said_to_stay(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    words = two_sides(tmp_path)
    assert main(["proportion", *words, "--json"]) == 0
    flags = json.loads(capsys.readouterr().out)["flags"]
    said = [
        flag["sentence"] for flag in flags if "stays as it is drawn" in flag["what"]
    ]
    assert [one.partition(":")[0] for one in said] == ["left.glb", "right.glb"]


def test_remedies_count_what_the_returns_spend() -> None:
    """What is spared is what the budget of both sides spares, by its definition."""
    losses = {"silencer": 4.0}
    sides = [found(back()), found(back(45.0), losses=losses)]

    def supply(pressure: float) -> Analysis:
        return found(back(), False, fan=FanSpec(external_static_pressure=pressure))

    needed = budget(supply(0.0), sides)
    assert needed.available is not None
    # A fan that lacks 1 Pa for both sides, and has plenty for the supply alone.
    alone = supply(needed.required - needed.available - 1.0)
    joint = analyse(
        build(alone.graph.drawing, plan_with_returns(alone.graph.schedule, sides))
    )
    assert joint.system.spare == pytest.approx(-1.0)
    assert supply(0.0).system.spare == pytest.approx(
        supply(0.0).system.outlet_velocity_pressure - supply(0.0).critical_loss
    )
    one, both = remedies(alone), remedies(joint)
    assert len(both) > 2
    # What a change wins is the supply's own.
    assert [r.what for r in both] == [r.what for r in one]
    assert [r.won for r in both] == pytest.approx([r.won for r in one])
    for remedy in both:
        assert remedy.spare == pytest.approx(remedy.won - 1.0)
        again = budget(analyse(_without(remedy.schedule, alone)), sides)
        assert again.available is not None
        assert remedy.spare == pytest.approx(again.available - again.required)
        carries = "the fan then carries the layout" in remedy.side_effects
        assert carries == (remedy.won >= 1.0)
    assert not any("then carries" in " ".join(r.side_effects) for r in one)


def _without(schedule: Schedule, supply: Analysis) -> DuctGraph:
    """A supply changed as a schedule says, with no return counted in it."""
    plain = supply.graph.schedule
    plan = replace(schedule, losses=plain.losses, fan=plain.fan)
    return build(supply.graph.drawing, plan)


def test_improve_takes_returns(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "200")
    words = two_sides(tmp_path)
    assert main(["analyse", *words, "--json"]) == 0
    whole = json.loads(capsys.readouterr().out)
    assert main(["improve", *words, "--json"]) == 0
    result = json.loads(capsys.readouterr().out)
    validate(result, "remedies")
    before = result["available_pa"] - result["required_pa"]
    spare = whole["budget"]["available_pa"] - whole["budget"]["required_pa"]
    assert before == pytest.approx(spare)
    assert result["remedies"]
    for remedy in result["remedies"]:
        assert remedy["spare_pa"] - before == pytest.approx(remedy["won_pa"])
    said = [one for one in result["flags"] if "stays as it is" in one["what"]]
    assert [one["where"] for one in said] == ["left.glb", "right.glb"]
    assert main(["improve", *words]) == 0
    shown = capsys.readouterr().out
    assert f"{spare:.1f} Pa to spare" in shown
    assert "fan spares" in shown
    assert "left.glb: this return stays as it is drawn" in shown
    assert main(["improve", *words[:2], words[0]]) == 2
    assert "the same drawing is given twice" in capsys.readouterr().err
    # Without a fan there is nothing to spare, and nothing is said of it.
    (tmp_path / "supply.schedule.toml").unlink()
    assert main(["improve", words[0], "--json"]) == 0
    result = json.loads(capsys.readouterr().out)
    validate(result, "remedies")
    assert result["available_pa"] is None
    assert {one["spare_pa"] for one in result["remedies"]} == {None}
    assert main(["improve", words[0]]) == 0
    assert "spare" not in capsys.readouterr().out


@pytest.mark.parametrize(
    "command", ["analyse", "proportion", "improve", "report", "compare", "view"]
)
def test_the_structure_in_a_return_s_own_file_counts(
    command: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A model that holds the return holds beams that the supply runs into too."""
    looked: list[str] = []

    def kept(path: Path, unit: str | None = None) -> tuple[list[Any], list[Any]]:
        looked.append(path.name)
        return [], []

    monkeypatch.setattr(layout, "structure_in", kept)
    monkeypatch.setattr(preflight, "why_not", lambda: "no picture")
    words = two_sides(tmp_path)[:3]
    drawn = ["supply.glb", "left.glb"]
    if command == "compare":
        words, drawn = options_and_return(tmp_path), ["low.glb", "high.glb"]
        drawn.append("return.glb")
    words += ["--rate", "1 Pa/m"] if command == "proportion" else []
    words += ["--out", str(tmp_path / "r.html")] if command == "report" else []
    words += ["--png", str(tmp_path / "v.png")] if command == "view" else []
    assert main([command, *words]) == 2 * (command == "view")  # it can show nothing
    assert looked == drawn


def test_how_a_return_s_airflows_were_worked_out_is_said(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    words = two_sides(tmp_path)[:3]
    bare = replace(back(), flow=np.full(3, np.nan))
    write_gltf(bare, tmp_path / "left.glb")
    (tmp_path / "left.schedule.toml").write_text(
        '[rooms]\ntotal_airflow = "750 L/s"\n[terminals.far]\nshare = "60 %"\n'
        '[terminals.side]\nshare = "40 %"\n'
    )
    assert main(["analyse", *words, "--json"]) == 0
    (side,) = json.loads(capsys.readouterr().out)["returns"]
    said = [flag["sentence"] for flag in side["flags"]]
    (one,) = (one for one in said if "airflows by share of 750 L/s" in one)
    assert "'far' 450 L/s (953 cfm) for 60.0%; 'side' 300 L/s (636 cfm) for 40" in one


def _obj(path: Path, scale: float, points: str, name: str) -> None:
    rows = [[float(part) * scale for part in row.split()] for row in points.split(",")]
    lines = "".join(f"v {x:.9g} {y:.9g} {z:.9g}\n" for x, y, z in rows)
    path.write_text(f"o {name}\n{lines}l {' '.join('1234'[: len(rows)])}\n")


@pytest.mark.parametrize(
    ("scale", "file", "options"),
    [
        (1 / 0.0254, "return.obj", []),  # inches, as the supply
        (1.0, "return.obj", ["--return-unit", "m"]),
        (1.0, "return.glb", []),  # what its format states holds
        (1 / 0.0254, "return.toml", []),
    ],
)
def test_a_return_has_a_unit_of_its_own(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    scale: float,
    file: str,
    options: list[str],
) -> None:
    monkeypatch.chdir(tmp_path)
    _obj(Path("supply.obj"), 1 / 0.0254, "0 0 0,6 0 0,6 5 0", "S 12x10in")
    _obj(Path("return.obj"), scale, "0 0 0,-3 0 0,-3 4 0", "R 14x10in")
    if file == "return.glb":
        write(read("return.obj"), "return.glb")
    if file == "return.toml":  # that says no unit
        points = [[0, 0, 0], [-3 * scale, 0, 0], [-3 * scale, 4 * scale, 0]]
        Path(file).write_text(
            f'[[run]]\nname = "R"\nsection = "14x10 in"\npoints = {points}\n'
        )
    plan = '[terminals.{}]\nflow = "300 cfm"\n[source]\nat = ["0 m", "0 m", "0 m"]\n'
    for side, name in (("supply", "S"), ("return", "R")):
        text = plan.format(name) + f'side = "{side}"\n'
        Path(f"{side}.schedule.toml").write_text(text)
    command = ["analyse", "supply.obj", "--unit", "in", "--return", file, *options]
    assert main([*command, "--json"]) == 0
    (back_side,) = json.loads(capsys.readouterr().out)["returns"]
    assert back_side["system"]["length_m"] == pytest.approx(7.0, rel=0.05)


def test_a_unit_of_returns_needs_a_return(capsys: pytest.CaptureFixture[str]) -> None:
    house = str(Path(__file__).parents[1] / "examples" / "hillside_house" / "house.glb")
    for words in (["--return-unit", "in"], ["--return-up", "y"]):
        assert main(["operate", house, *words]) == 2
        assert f"{words[0]}: there is no --return" in capsys.readouterr().err
    back_file = house.replace("house.glb", "return.glb")
    assert main(["operate", house, "--return", back_file, "--return-unit", "yd"]) == 2
    assert "--return-unit: 'yd' is not known" in capsys.readouterr().err


def options_and_return(folder: Path, **plans: str) -> list[str]:
    """Two supplies with schedules of their own, and a return, 3 m apart in height."""
    for rise, name in ((0.0, "low"), (6.0, "high"), (3.0, "return")):
        drawing = back(45.0 if name == "high" else 90.0)
        moved = replace(drawing, points=drawing.points + np.array([0.0, 0.0, rise]))
        write_gltf(moved, folder / f"{name}.glb")
    fan = '[fan]\nexternal_static_pressure = "0.8 in.wg"\n[losses]\nfilter = "30 Pa"\n'
    for name in ("low", "high"):
        plan = plans.get(name, fan)
        (folder / f"{name}.schedule.toml").write_text(plan)
    names = [str(folder / f"{name}.glb") for name in ("low", "high", "return")]
    return [*names[:2], "--return", names[2]]


def result_of(capsys: pytest.CaptureFixture[str], command: str, *words: str) -> Any:
    capsys.readouterr()
    assert main([command, *words, "--json"]) == 0
    result = json.loads(capsys.readouterr().out)
    validate(result, {"compare": "comparison", "analyse": "result"}[command])
    return result


def test_options_beside_a_return_have_the_budget_of_an_analysis_with_it(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The return has no schedule: beside the warm supply its air is as warm."""
    warm = '[air]\ntemperature = "45 C"\n[fan]\nexternal_static_pressure = "200 Pa"\n'
    words, out = options_and_return(tmp_path, high=warm), tmp_path / "tables"
    compared = result_of(capsys, "compare", *words, "--csv", str(out))
    assert [one["file"] for one in compared["inputs"]["routes"]][2] == "return.glb"
    for option, route in zip(compared["options"], words[:2], strict=True):
        tables = tmp_path / f"{option['name']}-alone"
        alone = result_of(capsys, "analyse", route, *words[2:], "--csv", str(tables))
        assert option["budget"] == alone["budget"]
        assert option["system"].items() <= alone["system"].items()
        (side,), (other,) = option["returns"], alone["returns"]
        assert (side["file"], side["system"]) == (other["file"], other["system"])
        said = [one["what"] for one in option["flags"]]
        for one in (*alone["budget"]["flags"], *other["flags"]):
            assert one["what"] in said
        missing = ", ".join(alone["budget"]["missing"])
        assert f"not declared, and not filled in: {missing}" in said
        mine = out / option["name"]
        assert {p.name for p in mine.iterdir()} == {p.name for p in tables.iterdir()}
        for table in tables.iterdir():
            assert (mine / table.name).read_bytes() == table.read_bytes()
    lost = [one["returns"][0]["system"] for one in compared["options"]]
    assert lost[0]["critical_loss_pa"] != lost[1]["critical_loss_pa"]


def test_the_columns_of_options_beside_a_return_add_up(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Pressure of the fan less what is declared of both sides is what it leaves."""
    fan = '[fan]\nexternal_static_pressure = "200 Pa"\n[losses]\nfilter = "30 Pa"\n'
    words, out = options_and_return(tmp_path, low=fan, high=fan), tmp_path / "tables"
    (tmp_path / "return.schedule.toml").write_text(
        '[losses]\nlouvre = "7 Pa"\n'
        + "".join(f'[terminals.{end}]\nloss = "5 Pa"\n' for end in ("far", "side"))
    )
    compared = result_of(capsys, "compare", *words, "--csv", str(out))
    rows = rows_of(out / "options.csv")
    for row, option in zip(rows, compared["options"], strict=True):
        both = option["budget"]
        assert float(row["declared_losses_pa"]) == both["declared_losses_pa"] == 37.0
        assert row["declared_losses"] == "filter; louvre, return.glb"
        assert float(row["terminal_loss_pa"]) == both["terminal_losses_pa"] == 5.0
        leaves, *pays = (
            float(row[f"{key}_pa"])
            for key in (
                "fan_pressure",
                "inlet_velocity_pressure",
                "declared_losses",
                "terminal_loss",
                "available",
            )
        )
        leaves += float(row["outlet_velocity_pressure_pa"])
        assert leaves == pytest.approx(sum(pays))


def test_what_is_said_of_options_has_their_return_in(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    house = Path(__file__).parents[1] / "examples" / "hillside_house"
    for file in house.glob("*.*"):
        (tmp_path / file.name).write_bytes(file.read_bytes())
        if file.name.startswith("house."):
            other = file.name.replace("house", "other")
            (tmp_path / other).write_bytes(file.read_bytes())
    words = ["compare", *(str(tmp_path / f"{n}.glb") for n in ("house", "other"))]
    words += ["--units", "inch-pound"]
    assert main(words) == 0
    before = capsys.readouterr().out
    assert main([*words, "--return", str(tmp_path / "return.glb")]) == 0
    shown, said = capsys.readouterr()
    assert said.count("using the schedule return.schedule.toml") == 1
    (left,) = re.findall("friction rate left, supply and return +(.*)", shown)
    assert left.split() == ["0.096", "in.wg/100", "ft"] * 2
    assert "0.1649" in before
    assert "0.0767" in shown
    assert "0.1649" not in shown
    assert "friction rate left" not in before
    # The budget is that of both sides, and which run is the return's is told.
    assert "nothing is said of the return side" in before
    assert "nothing is said of the return side" not in shown
    shared = shown.partition("What to know of all options")[2].partition("What to")[0]
    assert "warning: return.glb, run 'stairs': no table" in shared
    assert "warning: return.glb, run 'return drop', bend 1" in shared


def test_a_clash_with_the_return_is_a_fault_of_the_option(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    words = options_and_return(tmp_path)
    clear = result_of(capsys, "compare", *words)
    assert [one["faults"] for one in clear["options"]] == [[], []]
    assert main(["compare", *words, "--strict"]) == 0
    low = [words[0], words[1], "--return", str(tmp_path / "near.glb")]
    moved = replace(back(), points=back().points + np.array([0.0, 0.3, 0.3]))
    write_gltf(moved, tmp_path / "near.glb")
    found = result_of(capsys, "compare", *low)
    first, second = found["options"]
    assert any("of near' by" in fault for fault in first["clashes"])
    assert (first["rank"], second["rank"], second["faults"]) == (None, 1, [])
    assert "'low' cannot be built" in found["verdict"]
    assert main(["compare", *low[:2], "--strict"]) == 0
    capsys.readouterr()
    assert main(["compare", *low, "--strict"]) == 1
    assert "of near' by" in capsys.readouterr().out


@pytest.mark.parametrize(("share", "is_carried"), [(1.01, True), (0.99, False)])
def test_a_fan_that_the_return_overtaxes_carries_no_option(
    share: float,
    is_carried: bool,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    words = options_and_return(tmp_path, low="", high="")
    spent = [
        one["budget"]["required_pa"]
        for one in result_of(capsys, "compare", *words)["options"]
    ]
    plan = f'[fan]\ntotal_pressure = "{share * max(spent)} Pa"\n'
    words = options_and_return(tmp_path, low=plan, high=plan)
    worst = ("low", "high")[int(np.argmax(spent))]
    assert main(["compare", *words, "--strict"]) == 1 - is_carried
    carried = f"The fan does not carry '{worst}'" not in capsys.readouterr().out
    assert carried == is_carried
    assert main(["compare", *words[:2], "--strict"]) == 0


def test_a_fault_of_the_return_is_told_beside_all_options(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A post that stands in the return's branch alone leaves the options their rank."""
    words = options_and_return(tmp_path)
    post = trimesh.creation.box(extents=[0.2, 0.2, 1.0])
    post.apply_translation([4.0, 2.0, 3.0])
    post.export(tmp_path / "post.stl")
    words += ["--obstacles", str(tmp_path / "post.stl")]
    for option in result_of(capsys, "compare", *words)["options"]:
        assert option["rank"] is not None
        assert option["faults"] == []
        (side,) = option["returns"]
        assert side["clearance_m"] < 0.0
        assert len(side["faults"]) == 1
        assert any("'side' overlaps 'post.stl'" in f["what"] for f in option["flags"])
    assert main(["compare", *words, "--strict"]) == 1
    said = "return.glb: it cannot be built as drawn: 'side' overlaps"
    assert capsys.readouterr().out.count(said) == 1


def test_a_comparison_without_a_return_says_nothing_of_one(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    words = options_and_return(tmp_path)[:2]
    for option in result_of(capsys, "compare", *words)["options"]:
        assert {"returns", "budget"}.isdisjoint(option)
    assert main(["compare", *words, "--csv", str(tmp_path / "t")]) == 0
    assert "friction rate left" not in capsys.readouterr().out
    assert not list((tmp_path / "t" / "low").glob("return-*"))


def test_returns_that_belong_beside_no_option_are_refused(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    own = '[fan]\nexternal_static_pressure = "90 Pa"\ninlet_velocity_pressure = "4 Pa"'
    words = options_and_return(tmp_path, high=own)
    for given, what in (
        (words, "high.schedule.toml, [fan] inlet_velocity_pressure"),
        ([*words[:3], words[1]], "high.glb: the same drawing is given twice"),
        ([*words[:2], "--return-unit", "ft"], "there is no --return"),
        ([words[0], *words[2:]], "only one route is given"),
    ):
        assert main(["compare", *given]) == 2
        assert what in capsys.readouterr().err


@needs_opengl
@pytest.mark.parametrize("command", ["compare", "view", "report"])
def test_a_picture_of_options_shows_the_return_beside_each(
    command: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    seen: list[scene.Panel] = []

    def kept(panels: Sequence[scene.Panel], *_: Any, **__: Any) -> str:
        seen.extend(panels)
        return ""

    monkeypatch.setattr(scene, "picture", kept)
    words = options_and_return(tmp_path)
    out = "--out" if command == "report" else "--png"
    path = tmp_path / ("a.html" if command == "report" else "a.png")
    with suppress(FileNotFoundError):  # a report reads the picture that was not made
        assert main([command, *words, out, str(path)]) == 0
    assert [one.title.partition(":")[0] for one in seen] == ["low", "high"]
    for panel in seen:
        assert "return" in panel.subtitle
        points = np.concatenate([vertices for vertices, _ in panel.beside])
        # The main is 0.4 m wide, 9 m long and at a height of 3 m.
        assert points.min(axis=0) == pytest.approx([0.0, -0.2, 2.8], abs=1e-3)
        assert points.max(axis=0) == pytest.approx([9.0, 3.0, 3.2], abs=1e-3)


def test_ducts_as_solids_stand_where_they_are_also_on_a_map() -> None:
    away = np.array([500_000.0, 4_000_000.0, 0.0])
    near = layout_view.duct_solids(found(back()))
    far = layout_view.duct_solids(found(replace(back(), points=back().points + away)))
    for one, other in zip(near, far, strict=True):
        np.testing.assert_array_equal(one.faces, other.faces)
        np.testing.assert_allclose(one.vertices + away, other.vertices, atol=1e-5)
        edges = np.sort(one.faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2), axis=1)
        assert np.unique(edges, axis=0, return_counts=True)[1].max() == 2


def test_a_return_beside_options_shows_its_components_too() -> None:
    """As of the supply: a collar stands out of its duct by a tenth of its side."""
    silencer = ComponentSpec("far", "silencer", loss=20.0)
    plain = layout_view.duct_solids(found(back()))
    *rest, collar = layout_view.duct_solids(found(back(), components=(silencer,)))
    assert len(rest) == len(plain)
    main = min(float(one.vertices[:, 1].min()) for one in plain)
    # Of 24 corners of a circle of 400 mm, one lies across.
    assert main - collar.vertices[:, 1].min() == pytest.approx(0.04, abs=1e-3)


def test_a_review_page_of_options_holds_their_return(tmp_path: Path) -> None:
    words, out = options_and_return(tmp_path), tmp_path / "a.html"
    assert main(["compare", *words, "--page", str(out)]) == 0
    text = out.read_text("utf-8")
    (data,) = re.findall(r'<script type="application/json" id="data">(.*?)</', text)
    page = json.loads(data)
    assert {one["name"] for one in page["obstacles"]} == {"return.glb"}
    assert [one["name"] for one in page["options"]] == ["low", "high"]
    assert page["budget"] is None
    assert set(page["verdicts"]) == {"metric", "inch-pound"}


def test_a_report_of_options_has_the_budget_of_each_with_its_return(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(preflight, "why_not", lambda: "no picture")
    words, out = options_and_return(tmp_path), tmp_path / "a.html"

    def text_of(*given: str) -> str:
        assert main(["report", *given, "--out", str(out)]) == 0
        return out.read_text("utf-8")

    def budget_of(text: str) -> str:
        return text.partition("supply and return, Pa")[2].partition("</table>")[0]

    both = text_of(*words)
    assert both.count("Where most of it goes, return.glb") == 2
    assert "return side" not in both
    for name, route in zip(("low", "high"), words[:2], strict=True):
        alone = budget_of(text_of(route, *words[2:]))
        assert alone
        assert budget_of(both.partition(f"<h1>{name}</h1>")[2]) == alone
    # By a schedule that the options share the return is one, by two of them two.
    heads = re.findall("<h1>(Return: .*?)</h1>", both)
    assert heads == [f"Return: return.glb beside {name}" for name in ("low", "high")]
    plan = ["--schedule", words[0].replace(".glb", ".schedule.toml")]
    assert text_of(*words, *plan).count("<h1>Return: return.glb</h1>") == 1


@pytest.mark.parametrize(
    ("own", "taken", "use"),
    [
        (None, ["use", "leakage_class", *WARMING], "residential"),
        ("", ["use", "leakage_class", *WARMING], "residential"),
        ('use = "commercial"\n', ["leakage_class", *WARMING], "commercial"),
        (
            'temperature_around = "10 C"\nheat_transmission = "1 W/m2K"\n',
            ["use", "leakage_class"],
            "residential",
        ),
    ],
)
def test_the_checks_of_the_supply_hold_for_its_returns(
    own: str | None, taken: list[str], use: str, tmp_path: Path
) -> None:
    """What the return says itself counts; the equipment's airflow is the supply's."""
    limits = (
        'use = "residential"\nleakage_class = "B"\ntemperature_around = "35 C"\n'
        'heat_transmission = "0.7 W/m2K"\ndew_point_around = "18 C"\n'
        'least_airflow = "1 m3/s"\nmost_airflow = "2 m3/s"\n'
    )
    words = two_sides(tmp_path)[:3]
    with (tmp_path / "supply.schedule.toml").open("a") as plan:
        plan.write(f"[checks]\n{limits}")
    if own is not None:
        (tmp_path / "left.schedule.toml").write_text(f"[checks]\n{own}")
    assert main(["analyse", *words, "--csv", str(tmp_path / "t")]) == 0
    said = {
        row["what"]: row for row in rows_of(tmp_path / "t" / "return-assumptions.csv")
    }
    limits = ", ".join(taken).replace("_", " ")
    mine = said[f"the supply's limits for this return too: {limits}"]
    assert mine["instead"] == mine["effect_pa"] == ""  # no pressure hangs on them
    rules = {row["rule"] for row in rows_of(tmp_path / "t" / "return-checks.csv")}
    assert not any("of the equipment" in rule for rule in rules)
    assert any(use in rule for rule in rules)
    assert any("class B" in rule for rule in rules)
    assert any("dew point" in rule for rule in rules) == ("dew_point_around" in taken)
    first = {row["rule"] for row in rows_of(tmp_path / "t" / "checks.csv")}
    assert "airflow, least of the equipment" in first


def test_a_return_beside_a_supply_without_checks_assumes_none(tmp_path: Path) -> None:
    words = two_sides(tmp_path)[:3]
    assert main(["analyse", *words, "--csv", str(tmp_path / "t")]) == 0
    said = [row["what"] for row in rows_of(tmp_path / "t" / "return-assumptions.csv")]
    assert not any("the supply's" in one for one in said)


def test_tables_of_an_earlier_run_are_told_from_those_of_this(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Beside those of a supply alone the return's would pass for its own."""
    words, out = two_sides(tmp_path)[:3], tmp_path / "t"
    assert main(["analyse", *words, "--csv", str(out)]) == 0
    assert "not of this run" not in capsys.readouterr().err
    before = {path.name: path.read_bytes() for path in out.iterdir()}
    assert main(["--quiet", "analyse", words[0], "--csv", str(out)]) == 0
    (line,) = capsys.readouterr().err.splitlines()
    assert line.startswith(
        f"elbowroom: not of this run, and left as they were in {out}:"
    )
    stale = line.partition(f"{out}: ")[2].removesuffix(".").split(", ")
    left = {name for name in before if re.match("return-|sides|budget", name)}
    assert set(stale) == left
    for name in left:
        assert (out / name).read_bytes() == before[name]
    (out / "mine.csv").write_text("a")
    for number in range(9):
        (out / f"z{number}.csv").write_text("")
    assert main(["--quiet", "analyse", words[0], "--csv", str(out)]) == 0
    (line,) = capsys.readouterr().err.splitlines()
    assert "mine.csv" in line
    assert line.endswith(f" and {len(left) + 10 - 12} more.")


def test_folders_of_an_earlier_comparison_are_told_from_those_of_this(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    supply, out = Path(two_sides(tmp_path)[0]), tmp_path / "t"
    for name in ("one", "two", "three"):
        (tmp_path / f"{name}{supply.suffix}").write_bytes(supply.read_bytes())
        for plan in tmp_path.glob(f"{supply.stem}.schedule.toml"):
            (tmp_path / f"{name}.schedule.toml").write_bytes(plan.read_bytes())
    one, two, three = (
        str(tmp_path / f"{name}{supply.suffix}") for name in ("one", "two", "three")
    )

    def said(*words: str) -> list[str]:
        assert main(["--quiet", *words, "--csv", str(out)]) == 0
        return capsys.readouterr().err.splitlines()

    left = "elbowroom: not of this run, and left as they were in"
    assert said("compare", one, two) == []
    assert said("compare", one, two) == []
    (out / "notes").mkdir()
    (out / "notes" / "mine.csv").write_text("a")
    assert said("compare", one, three) == [f"{left} {out}: two{os.sep}."]
    folders = ", ".join(f"{name}{os.sep}" for name in ("one", "three", "two"))
    files = "options.csv, verdict.csv"
    assert said("analyse", one) == [f"{left} {out}: {files}, {folders}."]
    (out / "one" / "old.csv").write_text("a")
    for table in out.glob("*.csv"):
        table.rename(table.with_name("from one route.csv"))
    assert said("compare", one, two, three) == [
        f"{left} {out}: from one route.csv.",
        f"{left} {out / 'one'}: old.csv.",
    ]


def _site_of_return(words: list[str], out: Path) -> list[str]:
    assert main(["analyse", *words, "--csv", str(out)]) == 0
    rows = rows_of(out / "return-assumptions.csv")
    return [row["what"] for row in rows if "site" in row["what"]]


@pytest.mark.parametrize(
    ("supply", "own", "said"),
    [
        ('altitude = "1500 m"', "", "the supply's site for this return too: 1500 m"),
        ('pressure = "85 kPa"', "", "the supply's site for this return too: 85000 Pa"),
        ('altitude = "1500 m"', '[air]\naltitude = "0 m"\n', None),
        ("", "", "the site at sea level"),
    ],
)
def test_a_return_stands_where_its_supply_does(
    supply: str, own: str, said: str | None, tmp_path: Path
) -> None:
    """The supply's air is not the return's: its temperature stays its own."""
    words = two_sides(tmp_path)[:3]
    with (tmp_path / "supply.schedule.toml").open("a") as plan:
        plan.write(f'[air]\ntemperature = "14 C"\n{supply}\n')
    (tmp_path / "left.schedule.toml").write_text(own)
    found = _site_of_return(words, tmp_path / "t")
    assert [one.startswith(said or "nothing") for one in found] == [True] * bool(said)
    rows = rows_of(tmp_path / "t" / "return-assumptions.csv")
    assert any(row["what"].startswith("air at 20 ") for row in rows)
    (mine,) = rows_of(tmp_path / "t" / "return-system.csv")
    height = 0.0 if own or not supply else 1500.0
    wanted = air(293.15, altitude=height).density
    assert float(mine["density_kg_m3"]) == pytest.approx(wanted, rel=0.01)


@pytest.mark.parametrize(
    ("supply", "own", "sites"),
    [
        (
            'altitude = "1500 m"',
            'altitude = "0 m"',
            "stands at sea level and its supply at 1500 m (4921 ft) above",
        ),
        ("", 'altitude = "1500 m"', "its supply at sea level, as its schedule says"),
        (
            'altitude = "1500 m"',
            'pressure = "90 kPa"',
            "of air pressure and its supply",
        ),
        ('altitude = "1500 m"', 'altitude = "1505 m"', None),
        ('altitude = "1500 m"', 'pressure = "84.6 kPa"', None),
        ("", 'altitude = "0 m"', None),
    ],
)
def test_two_sites_of_one_fan_are_said(
    supply: str,
    own: str,
    sites: str | None,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    words = two_sides(tmp_path)[:3]
    with (tmp_path / "supply.schedule.toml").open("a") as plan:
        plan.write(f"[air]\n{supply}\n")
    (tmp_path / "left.schedule.toml").write_text(f"[air]\n{own}\n")
    found = result_of(capsys, "analyse", *words)["returns"][0]
    said = [flag for flag in found["flags"] if "the return stands at" in flag["what"]]
    assert len(said) == (sites is not None)
    for one in said:
        assert sites is not None
        assert sites in one["what"]
        assert one["where"] == "left.schedule.toml, [air]"


def test_a_return_with_its_own_schedule_stands_at_the_site_of_each_option(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    fan = '[fan]\nexternal_static_pressure = "200 Pa"\n'
    high = f'[air]\naltitude = "2000 m"\n{fan}'
    words = options_and_return(tmp_path, low=fan, high=high)
    (tmp_path / "return.schedule.toml").write_text('[air]\ntemperature = "22 C"\n')
    compared = result_of(capsys, "compare", *words)
    lost = [one["returns"][0]["system"] for one in compared["options"]]
    assert lost[0]["critical_loss_pa"] > 1.1 * lost[1]["critical_loss_pa"]


def test_a_return_without_airflows_is_told_which_schedule_can_hold_them(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    words = two_sides(tmp_path)[:3]
    left = read(tmp_path / "left.glb")
    write_gltf(replace(left, flow=np.full(left.run_count, np.nan)), words[2])
    (tmp_path / "left.schedule.toml").unlink(missing_ok=True)
    assert main(["analyse", *words]) == 2
    said = capsys.readouterr().err
    assert "or closed = true if it is shut, to left.schedule.toml beside it" in said
    assert "to the schedule" not in said
