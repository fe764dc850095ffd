"""Airflows that settle: against a solved network, the fan's curve, and by hand."""

import re
import sys
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from routes import Run, drawn

from elbowroom.layout import (
    Attributes,
    BadInput,
    FanSpec,
    FloatArray,
    Schedule,
    SourceSpec,
    TerminalSpec,
    build,
    drawing_from_runs,
    flat_oval,
    rectangular,
    round_section,
)
from elbowroom.physics import (
    Analysis,
    analyse,
    crossings,
    open_shares,
    operate,
    pressure_of,
    solve_network,
)
from elbowroom.viewer import cli_outputs, designs, display

# Invented: p = 480 + 260 Q - 700 Q², Pa and m³/s; it rises up to 0.186 m³/s.
CURVE = tuple((q / 10, 480 + 26 * q - 7.0 * q * q) for q in range(0, 11))


settling = sys.modules[operate.__module__.replace("operate", "settling")]  # private


def layout(fan: FanSpec, **said: Any) -> Analysis:
    return analyse(build(drawn(), Schedule(fan=fan, **said)))


def test_the_balanced_layout_keeps_its_shares_at_any_pressure() -> None:
    for pressure in (60.0, 250.0):
        analysis = layout(FanSpec(total_pressure=pressure))
        found = operate(analysis, "set")
        of_design = found.flow / analysis.graph.terminals.flow
        assert np.ptp(of_design) < 0.02 * of_design.mean()


def test_mass_is_kept_at_every_joint() -> None:
    analysis = layout(FanSpec(total_pressure=120.0))
    found = operate(analysis)
    parent = analysis.graph.ducts.parent
    inner = np.bincount(parent[parent >= 0], found.duct_flow[parent >= 0], len(parent))
    feeding = np.flatnonzero(inner > 0)
    apart = np.abs(inner[feeding] - found.duct_flow[feeding])
    assert apart.max() <= 1e-12 * found.total_flow


def test_every_open_path_loses_what_the_fan_gives() -> None:
    """At the airflows that settle, all terminals need the same pressure."""
    analysis = layout(FanSpec(total_pressure=120.0))
    found = operate(analysis)
    graph = analysis.graph
    flows = replace(graph.terminals, flow=found.flow)
    free = replace(graph.drawing, flow=np.full(graph.drawing.run_count, np.nan))
    ducts = replace(graph.ducts, drawn_flow=np.full(len(graph.ducts.parent), np.nan))
    again = analyse(
        replace(
            graph,
            terminals=flows,
            ducts=ducts,
            topology=replace(graph.topology, drawing=free),
        )
    )
    assert again.path_loss == pytest.approx(np.full(3, 120.0), rel=1e-6)


def test_a_bare_pipe_against_the_network_solver() -> None:
    """One straight duct: Darcy, Colebrook and an exit of C = 1, solved two ways."""
    drawing = drawing_from_runs(
        [("a", np.array([[0.0, 0, 0], [30, 0, 0]]), round_section(0.25))],
        attributes={"a": Attributes(source=True, source_at_end=False)},
    )
    plan = Schedule(
        terminals={"a": TerminalSpec(0.2)},
        fan=FanSpec(total_pressure=200.0),
        roughness=0.09e-3,
    )
    found = operate(analyse(build(drawing, plan)))
    case = {
        "fluid": {"density_kg_m3": 1.2041, "viscosity_Pa_s": 1.8134e-5},
        "fixed_node_pressures_Pa": {"in": 200.0, "out": 0.0},
        "ducts": [
            {
                "id": "a",
                "from": "in",
                "to": "out",
                "length_m": 30.0,
                "diameter_m": 0.25,
                "roughness_m": 0.09e-3,
                "sum_C": 1.0,
            }
        ],
    }
    solved = solve_network(case)
    assert found.total_flow == pytest.approx(
        solved["ducts"]["a"]["flow_m3_s"], rel=1e-5
    )


def test_the_operating_point_lies_on_the_curve() -> None:
    found = operate(layout(FanSpec(curve=CURVE)))
    q = found.total_flow
    assert found.fan_pressure == pytest.approx(480 + 260 * q - 700 * q * q, rel=2e-3)
    assert found.crossings[-1] == pytest.approx(q, rel=1e-6)


def test_the_rising_side_of_a_curve_is_warned_about() -> None:
    rising = operate(
        layout(FanSpec(curve=((0.0, 50.0), (1.0, 80.0), (2.0, 100.0), (3.0, 0.0))))
    )
    assert any("rising side" in said.what for said in rising.notices)
    assert not operate(layout(FanSpec(curve=CURVE))).notices


# Invented, with a dip and a peak behind it.
Points = tuple[tuple[float, float], ...]
DIP: Points = (
    (0.0, 300.0),
    (0.2, 20.0),
    (0.4, 10.0),
    (0.6, 150.0),
    (0.7, 90.0),
    (1.2, 0.0),
)


@pytest.mark.parametrize("more", [(), ((100.0, 0.0),)])
def test_of_three_crossings_two_last_however_long_the_curve(more: Points) -> None:
    """176 q² and the curve: at 0.456 m³/s the air would only go on to run faster."""
    assert crossings(DIP + more, 176.0) == pytest.approx((0.27938, 0.70670), abs=1e-5)


def test_a_narrow_peak_of_a_curve_is_met() -> None:
    peak = ((0.0, 300.0), (0.3, 14.0), (0.499, 30.0), (0.5, 80.0), (0.501, 30.0))
    low, high = crossings((*peak, (10.0, 0.0)), 176.0)
    assert low == pytest.approx(0.288, abs=1e-3)
    assert 0.5 < high < 0.501


def test_a_curve_is_met_between_its_points_alone() -> None:
    """At each of its points the layout takes more than the fan gives."""
    curve = ((1.0, 100.0), (2.0, 400.0), (3.0, 420.0))
    (flow,) = crossings(curve, 101.0)
    assert 1.9 < flow < 2.0
    assert not crossings(curve, 140.0)


def test_a_curve_may_be_met_at_its_end() -> None:
    flat = ((0.0, 300.0), (1.0, 300.0))
    assert crossings(flat, 300.0) == (1.0,)
    assert not crossings(flat, 299.9)
    (flow,) = crossings(flat, 300.1)
    assert 0.999 < flow < 1.0


def test_airflows_that_may_last_are_all_named() -> None:
    weaker = tuple((flow, 0.35 * pressure) for flow, pressure in DIP)
    found = operate(layout(FanSpec(curve=weaker)))
    assert len(found.crossings) == 2
    assert found.total_flow == pytest.approx(found.crossings[-1])
    assert any("at 2 airflows that may last" in said.what for said in found.notices)


RISING = ((0.2, 0.0), (0.9, 300.0), (1.2, 290.0))


def test_an_airflow_that_runs_away_is_no_result() -> None:
    """From where the curve rises more steeply a little more air goes on to more."""
    with pytest.raises(BadInput, match=r"ends at 1,?200 L/s .*before it meets"):
        operate(layout(FanSpec(curve=RISING)))
    found = operate(layout(FanSpec(curve=(*RISING, (3.0, 0.0)))))
    assert found.total_flow > 1.2
    assert len(found.crossings) == 1
    assert not found.notices


def test_a_curve_that_ends_above_what_is_taken_may_be_left() -> None:
    curve = ((0.0, 2.0), (0.3, 2.0), (0.9, 300.0), (1.2, 290.0))
    found = operate(layout(FanSpec(curve=curve)))
    assert found.total_flow == pytest.approx(found.crossings[0])
    assert found.total_flow < 0.5
    (said,) = (said for said in found.notices if "beyond the curve" in said.what)
    assert "ends at 1200 L/s (2543 cfm) and 290 Pa" in said.what
    longer = operate(layout(FanSpec(curve=(*curve, (3.0, 0.0)))))
    assert longer.total_flow > 1.2
    assert not [said for said in longer.notices if "beyond" in said.what]


def test_a_curve_may_end_at_the_design_airflow() -> None:
    """Three times 0.1 m3/s add up to 0.30000000000000004 in binary arithmetic."""
    curve = ((0.1, 200.0), (0.3, 150.0))
    assert 0.1 + 0.1 + 0.1 > 0.3
    assert pressure_of(curve, 0.1 + 0.1 + 0.1) == 150.0
    assert pressure_of(curve, 0.1 * (1.0 - 1e-15)) == 200.0
    assert pressure_of(curve, 0.3001) is None
    assert pressure_of(curve, 0.0999) is None


@pytest.mark.parametrize("off", [-5e-7, -1e-12, 0.0, 1e-15, 1e-12, 5e-7])
def test_rounding_does_not_decide_whether_a_curve_ends_where_it_is_met(
    off: float,
) -> None:
    """A curve that ends, or begins, at the airflow that settles."""
    at = operate(layout(FanSpec(total_pressure=100.0))).total_flow
    end = FanSpec(curve=((0.0, 200.0), (at, 100.0 * (1.0 + off))))
    found = operate(layout(end))
    assert found.total_flow == pytest.approx(at, rel=1e-6)
    said = [one.what for one in found.notices if "ends" in one.what]
    assert all("ends where it meets the layout" in one for one in said)
    assert bool(said) == (off > -5e-7)
    begin = FanSpec(curve=((at, 100.0 * (1.0 + off)), (2.0 * at, 0.0)))
    assert operate(layout(begin)).total_flow == pytest.approx(at, rel=1e-6)
    assert crossings(((0.0, 200.0), (1.0, 100.0 * (1.0 + off))), 100.0)
    assert crossings(((1.0, 100.0 * (1.0 + off)), (2.0, 0.0)), 100.0)


def test_a_curve_that_misses_by_more_than_rounding_is_refused() -> None:
    assert not crossings(((0.0, 200.0), (1.0, 100.001)), 100.0)
    assert not crossings(((1.0, 99.999), (2.0, 0.0)), 100.0)


def bare(fan: FanSpec, loss: float, length: float = 3.0) -> Analysis:
    """A straight duct, with a declared loss at its end."""
    ends = {"a": TerminalSpec(0.2, loss=loss)}
    points = np.array([[0.0, 0.0, 0.0], [length, 0.0, 0.0]])
    drawing = drawing_from_runs(
        [("a", points, round_section(0.3))],
        attributes={"a": Attributes(source=True, source_at_end=False)},
    )
    return analyse(build(drawing, Schedule(terminals=ends, fan=fan)))


def test_a_fan_that_nothing_resists_is_refused() -> None:
    """Its outlet's velocity pressure is more than the duct takes, at any airflow."""
    static = FanSpec(external_static_pressure=50.0)
    with pytest.raises(BadInput, match=r"\[fan\]: the layout takes no more than the"):
        operate(bare(static, 0.0))
    assert operate(bare(static, 0.0, length=30.0)).total_flow < 2.0
    assert operate(bare(FanSpec(total_pressure=50.0), 0.0)).total_flow < 2.0


def test_a_layout_that_gains_on_every_path_is_refused() -> None:
    for fan in (FanSpec(total_pressure=50.0), FanSpec(external_static_pressure=50.0)):
        one = bare(fan, 0.0)
        gaining = replace(one, path_loss=one.path_loss - 100.0)
        with pytest.raises(BadInput, match="no path to a terminal loses any pressure"):
            operate(gaining)


def test_a_curve_that_ends_too_soon_is_refused() -> None:
    with pytest.raises(BadInput, match=r"ends at 200 L/s \(424 cfm\)"):
        operate(layout(FanSpec(curve=((0.0, 500.0), (0.2, 490.0)))))
    with pytest.raises(BadInput, match="no fan is declared"):
        operate(layout(FanSpec()))


def test_a_curve_that_begins_too_late_is_refused() -> None:
    """Where it begins the layout takes more than the fan gives: less air settles."""
    with pytest.raises(BadInput, match=r"begins at 2,?000 L/s") as refused:
        operate(layout(FanSpec(curve=((2.0, 90.0), (3.0, 20.0)))))
    assert "add the points of the fan at smaller airflows" in str(refused.value)


@settings(max_examples=20, deadline=None, derandomize=True)
@given(st.floats(30.0, 400.0), st.floats(1.01, 2.0))
def test_more_pressure_gives_more_air_everywhere(pressure: float, more: float) -> None:
    weak = operate(layout(FanSpec(total_pressure=pressure)))
    strong = operate(layout(FanSpec(total_pressure=pressure * more)))
    assert (strong.flow > weak.flow).all()


def test_what_does_not_settle_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(settling, "_MIXED", 1)
    monkeypatch.setattr(settling, "_DRIFTS", 0)
    with pytest.raises(BadInput, match="no airflows were found that settle: after 2 "):
        operate(layout(FanSpec(total_pressure=60.0)))


def at_fan(runs: list[Run], flows: dict[str, float], pressure: float) -> Analysis:
    """Runs from the origin with open dampers at a fan that keeps its pressure."""
    plan = Schedule(
        terminals={name: TerminalSpec(flow) for name, flow in flows.items()},
        fan=FanSpec(total_pressure=pressure),
        source=SourceSpec(at=(0.0, 0.0, 3.0)),
    )
    arrays = [(name, np.array(points, float), cut) for name, points, cut in runs]
    return analyse(build(drawing_from_runs(arrays), plan))


def settled_flows(
    runs: list[Run], flows: dict[str, float], pressure: float
) -> tuple[dict[str, float], list[str]]:
    """Airflows by name, m³/s, of which every path that moves air takes the pressure."""
    analysis = at_fan(runs, flows, pressure)
    found = operate(analysis)
    names = analysis.graph.terminals.name
    flow = dict(zip(names, found.flow.tolist(), strict=True))
    again = at_fan(runs, flow, pressure)
    said = [one.sentence for one in found.notices]
    # What is left to an end without air comes on top.
    near = 1e-3 if any("gets next to no air" in one for one in said) else 1e-6
    for name, loss in zip(again.graph.terminals.name, again.path_loss, strict=True):
        if any(f"'{name}' gets next to no air" in sentence for sentence in said):
            assert loss > pressure * (1 - near)
        else:
            assert loss == pytest.approx(pressure, rel=near)
    return flow, said


# Invented: nothing but ducts, so that the airflows hang on the junctions alone.
TAP: list[Run] = [
    ("R1", [[0, 0, 3], [4.54, 0, 3], [7.06, 0, 3]], rectangular(0.6, 0.3)),
    ("R2", [[4.54, 0, 3], [8.01897, 0, 6.47897]], rectangular(0.28, 0.28)),
]
OPPOSED: list[Run] = [
    (
        "main",
        [[0, 0, 3], [4, 0, 3], [10.5, 0, 3], [13.5, -3, 3]],
        rectangular(0.61, 0.61),
    ),
    ("north", [[4, 0, 3], [7.4641, 2, 3], [7.4641, 2, 13]], flat_oval(0.765, 0.51)),
    ("south", [[4, 0, 3], [5.7321, -1, 3], [5.7321, -1, 0.2]], rectangular(0.76, 0.38)),
    ("far", [[13.5, -3, 3], [16, -5.5, 3]], flat_oval(0.645, 0.43)),
]


@pytest.mark.parametrize("main", [0.3, 1.0, 3.0])
@pytest.mark.parametrize("tap", [0.3, 1.0, 3.0])
def test_design_airflows_do_not_decide_what_settles(main: float, tap: float) -> None:
    flow, said = settled_flows(TAP, {"R1": 0.884 * main, "R2": 0.343 * tap}, 32.9)
    assert flow["R1"] == pytest.approx(1.112, abs=5e-4)
    assert flow["R2"] == pytest.approx(0.249, abs=5e-4)
    assert not said
    assert not np.isnan(
        open_shares(at_fan(TAP, {"R1": 0.884 * main, "R2": 0.343 * tap}, 32.9))
    ).any()


def test_where_takeoffs_take_the_air_of_each_other_both_ends_are_told() -> None:
    """Where both have air, the one that takes more of it loses less, and takes more."""
    starts = [(0.786, 1.084, 1.012), (0.8, 1.8, 0.5), (0.4, 0.3, 0.9)]
    found = []
    for start in starts:
        design = dict(zip(("far", "north", "south"), start, strict=True))
        flow, said = settled_flows(OPPOSED, design, 27.54)
        found.append([flow[name] for name in sorted(flow)])
        assert flow["north"] < 1e-3 * flow["south"]
        assert any("'north' gets next to no air" in one for one in said)
        assert any(
            "other airflows settle too: 'north' gets 1442" in one
            and "'south' next to none" in one
            for one in said
        )
    np.testing.assert_allclose(found[1:], found[:-1], rtol=1e-6)


def random_runs(seed: int) -> tuple[list[Run], list[str], float]:
    """A trunk of one section with two to five takeoffs, its ends, a pressure in Pa."""
    random = np.random.default_rng(seed)
    taps = int(random.integers(1, 5))
    along = np.cumsum(random.uniform(2, 6, taps + 1))
    side = round(random.uniform(0.3, 0.6), 2)
    runs: list[Run] = [
        ("T", [[0, 0, 3], [along[-1], 0, 3]], rectangular(side, 0.8 * side))
    ]
    for number, x in enumerate(along[:-1].tolist()):
        angle = np.deg2rad(random.choice([45, 60, 90]))
        way = np.array([np.cos(angle), random.choice([-1, 1]) * np.sin(angle), 0.0])
        end = np.array([x, 0, 3]) + random.uniform(2, 9) * way
        cut = round(random.uniform(0.4, 0.8) * side, 2)
        section = round_section(cut) if random.random() < 0.5 else rectangular(cut, cut)
        runs.append((f"B{number}", [[x, 0, 3], end.tolist()], section))
    return runs, [name for name, _, _ in runs], float(random.uniform(10, 100))


@pytest.mark.parametrize("seed", range(40))
def test_small_layouts_settle_in_one_way(seed: int) -> None:
    runs, names, pressure = random_runs(seed)
    random = np.random.default_rng([seed, 1])
    found = []
    for _ in range(3):
        design = np.exp(random.uniform(-2.5, 0.5, len(names))).tolist()
        flow, _ = settled_flows(runs, dict(zip(names, design, strict=True)), pressure)
        found.append([flow[name] for name in names])
    np.testing.assert_allclose(found[1:], found[:-1], rtol=1e-6)


def roots(at: FloatArray) -> FloatArray:
    """Comes to rest at -2 and 3, is driven away from 0.5."""
    return np.asarray(-0.02 * (at + 2.0) * (at - 0.5) * (at - 3.0))


def slow_place(at: FloatArray) -> FloatArray:
    """Comes to rest at -6; is all but at rest at -2 already."""
    return np.maximum(-1e-4 - 0.1 * (at + 2.0) ** 2, -6.0 - at)


@pytest.mark.parametrize(
    ("away", "begin", "wanted"),
    [(roots, 0.45, -2.0), (roots, 0.55, 3.0), (slow_place, 0.0, -6.0)],
)
def test_air_comes_to_rest_where_it_stays(
    away: Callable[[FloatArray], FloatArray], begin: float, wanted: float
) -> None:
    last = np.zeros(1)

    def noted(at: FloatArray) -> FloatArray:
        nonlocal last
        last = at
        return away(at)

    left, _ = settling.settle(noted, np.exp([begin]), 1e-9)
    assert abs(left[0]) < 1e-9
    assert last == pytest.approx(wanted, abs=1e-6)


def test_what_jumps_has_no_place_to_rest() -> None:
    left, _ = settling.settle(
        lambda at: np.where(at < 0.3, 0.2, -0.1), np.array([1.0]), 1e-9
    )
    assert abs(left[0]) >= 0.1


@pytest.mark.parametrize(
    ("share", "is_told"), [(0.89, True), (0.91, False), (1.09, False), (1.11, True)]
)
def test_one_sentence_says_that_all_are_off_alike(
    share: float, is_told: bool, capsys: pytest.CaptureFixture[str]
) -> None:
    """10 % of design: common practice in balancing, no published source."""
    found = layout(FanSpec(curve=CURVE))
    settled = operate(found)
    settled = replace(settled, flow=found.graph.terminals.flow * share)
    designs.print_operation(found, settled, display.METRIC, cli_outputs.new_console())
    shown = " ".join(capsys.readouterr().out.split())
    count = len(settled.flow)
    assert shown.count("off by more than 10 %") == is_told
    how = "above" if share > 1.0 else "below"
    said = f"{count} of {count} terminals settle off by more than 10 % of design, "
    assert (said + f"{count} {how}: all within 1 %" in shown) == is_told
    assert ("a damper at it" in shown) == (share > 1.1)
    assert shown.count(how) == is_told  # and no row is marked


def test_the_square_law_is_said_where_other_airflows_settle() -> None:
    def said(analysis: Analysis) -> list[str]:
        notices = operate(analysis, "set").notices
        return [n.what for n in notices if "square of their airflow" in n.what]

    analysis = layout(FanSpec(total_pressure=60.0))
    assert np.isnan(analysis.graph.terminals.loss).all()
    assert not said(analysis)
    lossy = layout(FanSpec(total_pressure=60.0), losses={"filter": 20.0})
    assert len(said(lossy)) == 1
    # With the pressure that the design needs the design settles.
    needs = lossy.critical_loss + 20.0
    assert not said(layout(FanSpec(total_pressure=needs), losses={"filter": 20.0}))
    assert said(layout(FanSpec(total_pressure=1.05 * needs), losses={"filter": 20.0}))


def test_terminals_off_by_more_than_a_tenth_are_marked(
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Just within a tenth of design, and beyond; the largest loss stands first."""
    analysis = layout(FanSpec(total_pressure=120.0))
    design = analysis.graph.terminals.flow
    found = operate(analysis)
    shares = np.full(len(design), 1.0998)
    shares[:2] = 1.1204, 0.85
    designs.print_operation(
        analysis,
        replace(found, flow=design * shares),
        display.METRIC,
        cli_outputs.new_console(),
    )
    shown = capsys.readouterr().out
    assert "112 %  above" in shown
    assert "85 %  below" in shown
    assert len(re.findall(r"110 % *$", shown, re.MULTILINE)) == len(design) - 2
    said = f"2 of {len(design)} terminals settle off by more than 10 % of design"
    assert f"{said}, 1 above and 1 below, and are marked." in " ".join(shown.split())
    rows = designs.operation_result(analysis, found)["terminals"]
    losses = dict(zip(analysis.graph.terminals.name, analysis.path_loss, strict=True))
    told = [losses[row["terminal"]] for row in rows]
    assert told == sorted(told, reverse=True)
