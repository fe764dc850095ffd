"""Airflows that settle: against a solved network, the fan's curve, and by hand."""

import sys
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from routes import drawn

from elbowroom.layout import (
    Attributes,
    BadInput,
    FanSpec,
    Schedule,
    TerminalSpec,
    build,
    drawing_from_runs,
    round_section,
)
from elbowroom.physics import (
    Analysis,
    analyse,
    crossings,
    operate,
    pressure_of,
    solve_network,
)
from elbowroom.viewer import cli_outputs, display, plan

# Invented: p = 480 + 260 Q - 700 Q², Pa and m³/s; it rises up to 0.186 m³/s.
CURVE = tuple((q / 10, 480 + 26 * q - 7.0 * q * q) for q in range(0, 11))


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
    rising = operate(layout(FanSpec(curve=((0.0, 50.0), (1.0, 80.0), (2.0, 100.0)))))
    assert any("rising side" in said.what for said in rising.notices)
    assert not operate(layout(FanSpec(curve=CURVE))).notices


def test_three_crossings_are_all_named() -> None:
    dip = ((0.0, 100.0), (0.3, 20.0), (0.6, 90.0), (0.9, 10.0))
    assert len(crossings(dip, 240.0)) == 3


def test_a_curve_may_end_at_the_design_airflow() -> None:
    """Three times 0.1 m3/s add up to 0.30000000000000004 in binary arithmetic."""
    curve = ((0.1, 200.0), (0.3, 150.0))
    assert 0.1 + 0.1 + 0.1 > 0.3
    assert pressure_of(curve, 0.1 + 0.1 + 0.1) == 150.0
    assert pressure_of(curve, 0.1 * (1.0 - 1e-15)) == 200.0
    assert pressure_of(curve, 0.3001) is None
    assert pressure_of(curve, 0.0999) is None


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
    monkeypatch.setattr(sys.modules[operate.__module__], "STEPS", 2)
    with pytest.raises(BadInput, match="no airflows settle: after 2 rounds"):
        operate(layout(FanSpec(total_pressure=60.0)))


@pytest.mark.parametrize(
    ("share", "is_told"), [(0.89, True), (0.91, False), (1.09, False), (1.11, True)]
)
def test_a_terminal_off_by_more_than_a_tenth_is_marked(
    share: float, is_told: bool, capsys: pytest.CaptureFixture[str]
) -> None:
    """10 % of design: common practice in balancing, no published source."""
    found = layout(FanSpec(curve=CURVE))
    settled = operate(found)
    settled = replace(settled, flow=found.graph.terminals.flow * share)
    plan.print_operation(found, settled, display.METRIC, cli_outputs.new_console())
    marked = capsys.readouterr().out.count("off by more than 10 %")
    assert marked == is_told * len(settled.flow)


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
