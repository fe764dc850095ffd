"""Terminals, such as hoods, whose loss is declared by its coefficient."""

from dataclasses import fields, replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from routes import drawn

from elbowroom.layout import (
    AirSpec,
    BadInput,
    Basis,
    ComponentSpec,
    FanSpec,
    Schedule,
    SourceSpec,
    TerminalSpec,
    build,
    read_schedule,
)
from elbowroom.physics import Analysis, Kind, analyse, checks, operate
from elbowroom.viewer import budget, display, results

BACK, FORTH = SourceSpec(is_return=True), SourceSpec(is_supply=True)
AREA = np.pi * 0.25**2 / 4  # of B1, at 300 L/s


def found(end: TerminalSpec | None = None, **said: Any) -> Analysis:
    """The route of the tests with one thing said of the terminal 'B1'."""
    ends = {} if end is None else {"B1": end}
    return analyse(build(drawn(), Schedule(terminals=ends, **said)))


@pytest.mark.parametrize("source", [BACK, FORTH])
def test_a_coefficient_counts_on_the_velocity_in_the_duct_of_its_terminal(
    source: SourceSpec,
) -> None:
    """Loss = C rho V²/2, the definition; in place of the opening, not beside it."""
    hood = found(TerminalSpec(0.3, coefficient=0.35), source=source)
    pv = 0.5 * hood.conditions.air.density * (0.3 / AREA) ** 2
    same = found(TerminalSpec(0.3, loss=0.35 * pv), source=source)
    assert hood.path_loss == pytest.approx(same.path_loss, rel=1e-12)
    e = hood.elements
    (row,) = (e.kind == int(Kind.TERMINAL)).nonzero()[0].tolist()
    assert hood.name(row) == "B1"
    assert e.loss[row] == pytest.approx(0.35 * pv, rel=1e-12)
    assert e.coefficient[row] == 0.35
    assert e.basis[row] == int(Basis.DECLARED)
    assert e.credits[e.credit[row]].confidence == "declared"
    assert hood.words(row) == "terminal with its declared coefficient"
    others = found(source=source)
    (bare,) = [
        a.elements for a in others.assumptions if "terminals that lose" in a.what
    ]
    (fewer,) = [a.elements for a in hood.assumptions if "terminals that lose" in a.what]
    assert fewer == bare - 1
    (said,) = [flag for flag in hood.flags if "no loss of a grille" in flag.what]
    assert "'B1'" not in said.where


@pytest.mark.parametrize("source", [BACK, FORTH])
@pytest.mark.parametrize("coefficient", [0.5, 40.0])  # the second on the critical path
def test_a_loss_and_its_coefficient_are_one_thing(
    source: SourceSpec, coefficient: float
) -> None:
    """The fan pays for both before the friction rate is worked out; no length has it.

    Common practice: terminal devices are taken off the fan's pressure.
    """
    fan = FanSpec(external_static_pressure=400.0)
    pv = 0.5 * found().conditions.air.density * (0.3 / AREA) ** 2
    one, other = (
        found(end, source=source, fan=fan)
        for end in (
            TerminalSpec(0.3, coefficient=coefficient),
            TerminalSpec(0.3, loss=coefficient * pv),
        )
    )
    critical = coefficient if one.critical_terminal == "B1" else 0.0
    assert one.system.terminal_loss == pytest.approx(critical * pv)
    for field in fields(one.system):
        mine, its = (getattr(each.system, field.name) for each in (one, other))
        assert mine == (its if isinstance(its, str) else pytest.approx(its)), field.name
    assert one.ids == other.ids
    np.testing.assert_allclose(one.equivalent_length, other.equivalent_length)
    for mine, its in zip(*map(results.paths, (one, other)), strict=True):
        for key, value in its.items():
            near = pytest.approx(value) if isinstance(value, float) else value
            assert mine[key] == near, key
    np.testing.assert_allclose(operate(one, "open").flow, operate(other, "open").flow)


def test_a_coefficient_is_not_thinned_with_the_air_and_settles_with_it() -> None:
    fan = FanSpec(total_pressure=300.0)
    air = AirSpec(293.15, 2438.4, losses_at="standard air")
    hood = found(TerminalSpec(0.3, coefficient=2.0), source=BACK, fan=fan, air=air)
    row = hood.graph.terminals.name.index("B1")
    assert hood.critical == row
    lines = [name for name, _ in budget.pressure_lines(hood, display.METRIC)]
    assert "less the terminal" in lines
    flow = operate(hood, "open").flow
    again = Schedule(
        source=BACK,
        air=air,
        terminals={
            name: TerminalSpec(float(one), coefficient=2.0 if name == "B1" else None)
            for name, one in zip(hood.graph.terminals.name, flow, strict=True)
        },
    )
    bare = replace(drawn(), flow=np.full(5, np.nan))
    settled = analyse(build(bare, again))
    assert flow[row] != pytest.approx(0.3, rel=0.05)
    assert settled.path_loss == pytest.approx(300.0, rel=1e-6)


def test_what_a_terminal_needs_of_the_fan_is_by_its_coefficient() -> None:
    fan = FanSpec(total_pressure=80.0)
    words = "total pressure that the fan leaves at the terminals"
    (one,) = [
        check
        for check in checks(
            found(TerminalSpec(0.3, coefficient=9.0), source=FORTH, fan=fan)
        )
        if check.rule.startswith(words)
    ]
    density = found().conditions.air.density
    assert one.at == "B1"
    assert one.limit == pytest.approx(9.0 * 0.5 * density * (0.3 / AREA) ** 2)


@pytest.mark.parametrize("source", [BACK, FORTH])
def test_a_component_that_may_stand_for_a_terminal_is_named(source: SourceSpec) -> None:
    entry = ComponentSpec("B1", "hood entry", coefficient=0.35)
    for components, named in (((entry,), True), ((), False)):
        flags = found(source=source, components=components).flags
        (said,) = [flag for flag in flags if "no loss of a grille" in flag.what]
        assert ('loss = "0 Pa" where' in said.remedy) == named
        assert ("'hood entry' in run 'B1'" in said.remedy) == named
        assert "coefficient = ..." in said.remedy
    # Of a run that does not end in such a terminal nothing is said.
    trunk = ComponentSpec("T1", "coil", coefficient=0.35)
    told = found(source=source, components=(trunk,)).flags
    assert not [flag for flag in told if '"0 Pa" where' in flag.remedy]
    shut = found(TerminalSpec(0.3, 0.0), source=source, components=(entry,)).flags
    assert not [flag for flag in shut if '"0 Pa" where' in flag.remedy]


def _read(folder: Path, lines: str) -> Schedule:
    path = folder / "s.toml"
    path.write_text(f"[terminals.B1]\n{lines}\n")
    return read_schedule(path)


def test_the_key_is_read_beside_an_airflow_or_alone(tmp_path: Path) -> None:
    said = _read(tmp_path, 'flow = "300 L/s"\ncoefficient = 0.35').terminals["B1"]
    assert said == TerminalSpec(0.3, coefficient=0.35)
    drawn_flow = _read(tmp_path, "coefficient = 0.35").terminals["B1"]
    assert drawn_flow.is_drawn
    assert drawn_flow.coefficient == 0.35


@pytest.mark.parametrize(
    ("lines", "said"),
    [
        ('loss = "3 Pa"\ncoefficient = 1', "loss and coefficient are both given"),
        ('flow = "1 L/s"\ncoefficient = "3 Pa"', "is no number from 0"),
        ('flow = "1 L/s"\ncoefficient = -0.5', "not within 0"),
        ("closed = true\ncoefficient = 1", "the end is closed"),
    ],
)
def test_what_is_refused(tmp_path: Path, lines: str, said: str) -> None:
    with pytest.raises(BadInput) as caught:
        _read(tmp_path, lines)
    assert said in str(caught.value)
