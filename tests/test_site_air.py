"""Fans and declared losses in a site's air; what a static pressure lacks."""

import json
from pathlib import Path

import numpy as np
import pytest
from routes import drawn

from elbowroom.layout import (
    AirSpec,
    Attributes,
    BadInput,
    FanSpec,
    Schedule,
    SourceSpec,
    TerminalSpec,
    build,
    drawing_from_runs,
    read_schedule,
    round_section,
    write_gltf,
)
from elbowroom.physics import (
    Aim,
    Analysis,
    air,
    analyse,
    budget,
    effects,
    operate,
    plan_with_returns,
    power_of,
    proportion,
)
from elbowroom.viewer import main

DATA = Path(__file__).parent / "data"
HIGH = AirSpec(temperature=293.15, altitude=2438.4)  # 8000 ft
# By hand: 101325 (1 - 2.25577e-5 * 2438.4)^5.2559 = 75262 Pa (US Standard Atmosphere,
# 1976), over 287.055 * 293.15 = 0.8944 kg/m³, over 1.2 of standard air.
RATIO = 0.8944 / 1.2
CURVE = ((0.0, 480.0), (0.5, 435.0), (2.0, 40.0))


def layout(fan: FanSpec, spec: AirSpec = HIGH, **said: object) -> Analysis:
    return analyse(build(drawn(), Schedule(fan=fan, air=spec, **said)))  # type: ignore[arg-type]


def pipe(fan: FanSpec, spec: AirSpec, loss: float) -> Analysis:
    """A duct so short and wide that it loses hardly more than what is declared."""
    drawing = drawing_from_runs(
        [("a", np.array([[0.0, 0, 0], [0.1, 0, 0]]), round_section(2.0))],
        attributes={"a": Attributes(source=True, source_at_end=False)},
    )
    plan = Schedule(fan=fan, air=spec, terminals={"a": TerminalSpec(2.4, loss)})
    return analyse(build(drawing, plan))


def unsaid(analysis: Analysis) -> list[float | None]:
    return [e.loss for e in effects(analysis) if "site's air" in e.assumption.what]


def test_w12_the_same_fan_in_warmer_air() -> None:
    """W12 of worked_examples.json: Stoecker and Jones, ch. 6; fan laws.

    340 Pa at 2.4 m³/s in air of 20 °C are 318.3 Pa in air of 40 °C. The print's air of
    20 °C is ours of 1.2041 kg/m³, so the pressure for standard air is 340 / 1.00342.
    """
    cases = json.loads((DATA / "worked_examples.json").read_text())["examples"]
    case = next(one for one in cases if one["id"] == "W12")
    standard = case["inputs"]["pressure_Pa"] * 1.2 / air().density
    wanted = case["expected"]["pressure_Pa"]
    warm = AirSpec(temperature=313.15, altitude=0.0)
    for fan in (
        FanSpec(total_pressure=standard, pressure_at="standard air"),
        FanSpec(curve=((1.0, standard), (9.0, standard)), pressure_at="standard air"),
    ):
        analysis = pipe(fan, warm, wanted)
        assert analysis.system.fan_pressure == pytest.approx(wanted, abs=0.1)
        # And what it moves against that pressure is what the print says.
        settled = operate(analysis)
        assert settled.total_flow == pytest.approx(2.4, rel=1e-3)
        assert power_of(analysis).air == pytest.approx(2.4 * wanted, rel=1e-3)


@pytest.mark.parametrize(
    "declared",
    [
        {"external_static_pressure": 250.0},
        {"total_pressure": 250.0},
        {"curve": CURVE},
        {"curve": CURVE, "curve_is_total": False},
    ],
)
def test_a_fan_tabulated_for_standard_air_gives_less_up_there(
    declared: dict[str, object],
) -> None:
    site = layout(FanSpec(**declared, pressure_at="site"))  # type: ignore[arg-type]
    thin = layout(FanSpec(**declared, pressure_at="standard air"))  # type: ignore[arg-type]
    one, other = site.system, thin.system
    assert one.fan_pressure is not None
    assert other.fan_pressure == pytest.approx(RATIO * one.fan_pressure, rel=1e-3)
    assert other.available is not None
    assert one.available is not None
    lacking = one.fan_pressure - (other.fan_pressure or 0.0)
    assert one.available - other.available == pytest.approx(lacking)
    assert other.fan_density_ratio == pytest.approx(RATIO, rel=1e-3)
    assert one.fan_density_ratio == 1.0
    assert operate(thin).total_flow < 0.97 * operate(site).total_flow
    # Nothing else hangs on it.
    np.testing.assert_array_equal(site.path_loss, thin.path_loss)


def test_the_budget_and_the_sizes_have_it_too() -> None:
    side = analyse(build(drawn(), Schedule(air=HIGH)))
    found, sized = [], []
    for word in ("site", "standard air"):
        fan = FanSpec(external_static_pressure=150.0, pressure_at=word)
        found.append(budget(layout(fan), [side]).available or 0.0)
        plan = Schedule(fan=fan, air=HIGH)
        rate = proportion(drawn(), plan, Aim()).after.system
        sized.append(rate.fan_pressure)
    assert found[0] - found[1] == pytest.approx(150.0 * (1.0 - RATIO), rel=1e-3)
    assert sized == [150.0, pytest.approx(150.0 * RATIO, rel=1e-3)]


def test_what_was_taken_is_said_with_its_effect() -> None:
    for declared, at_design in (
        (FanSpec(external_static_pressure=120.0), 120.0),
        (FanSpec(curve=CURVE), layout(FanSpec(curve=CURVE)).system.fan_pressure),
    ):
        (change,) = unsaid(layout(declared))
        assert change == pytest.approx(-(1.0 - RATIO) * (at_design or 0.0), rel=1e-3)
        assert any(
            "standard air" in said.what for said in operate(layout(declared)).notices
        )


def test_what_is_said_or_near_standard_or_no_fan_is_not_assumed() -> None:
    for word in ("site", "standard air"):
        said = layout(FanSpec(total_pressure=120.0, pressure_at=word))
        assert unsaid(said) == []
        assert not operate(said).notices
    # 1.2041 kg/m³, and 1.17 kg/m³: 0.3 % and 2.8 % from standard air.
    at_sea = AirSpec(temperature=293.15, altitude=0.0)
    assert unsaid(layout(FanSpec(total_pressure=120.0), at_sea)) == []
    warm = AirSpec(temperature=302.0, altitude=0.0)
    assert len(unsaid(layout(FanSpec(total_pressure=120.0), warm))) == 1
    assert unsaid(layout(FanSpec())) == []


def test_the_key_and_the_words(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    write_gltf(drawn(), tmp_path / "a.glb")
    plan = tmp_path / "a.schedule.toml"

    def told(*keys: str) -> str:
        lines = ['[air]\naltitude = "8000 ft"\ntemperature = "20 C"\n[fan]', *keys]
        plan.write_text("\n".join(lines))
        assert main(["analyse", str(tmp_path / "a.glb")]) == 0
        return capsys.readouterr().out

    static = 'external_static_pressure = "200 Pa"'
    out = told(static)
    assert "the fan's pressure as one in the site's air of 0.894 kg/m³" in out
    assert "-50.9 Pa on the fan's pressure" in out
    out = told(static, 'pressure_at = "standard air"')
    assert "0.745" in out
    assert "149.1" in out
    assert "the fan's pressure as one" not in out
    plan.write_text(
        '[air]\naltitude = "8000 ft"\nlosses_at = "standard air"\n'
        f'[losses]\nfilter = "80 Pa"\n[fan]\n{static}\n'
    )
    assert main(["analyse", str(tmp_path / "a.glb")]) == 0
    assert "less filter (standard air's × 0.745)" in capsys.readouterr().out
    plan.write_text(f'[fan]\n{static}\npressure_at = "sea level"')
    with pytest.raises(BadInput, match="sea level"):
        read_schedule(plan)


STANDARD = AirSpec(HIGH.temperature, HIGH.altitude, losses_at="standard air")


def with_losses(spec: AirSpec) -> Analysis:
    drawing = drawn()
    name = build(drawing).terminals.name[0]
    flow = float(build(drawing).terminals.flow[0])
    return layout(
        FanSpec(total_pressure=300.0, pressure_at="site"),
        spec,
        losses={"filter": 80.0},
        terminals={name: TerminalSpec(flow, 30.0)},
    )


def test_losses_tabulated_for_standard_air_go_with_the_density() -> None:
    """Loss = C rho V2/2 at the same airflow, so by the ratio of densities alone."""
    here, there = with_losses(HIGH), with_losses(STANDARD)
    assert there.system.declared_losses == pytest.approx(80.0 * RATIO, rel=1e-3)
    # Of the path of the first terminal, 30 Pa there become 30 RATIO; no other changes.
    fall = here.path_loss - there.path_loss
    assert fall[0] == pytest.approx(30.0 * (1.0 - RATIO), rel=1e-3)
    np.testing.assert_allclose(fall[1:], 0.0, atol=1e-9)
    assert operate(there).total_flow > operate(here).total_flow
    assert (
        len([e for e in effects(here) if "declared losses" in e.assumption.what]) == 1
    )
    for said in (there, with_losses(AirSpec(293.15, 2438.4, losses_at="site"))):
        assert not [e for e in effects(said) if "declared losses" in e.assumption.what]


def test_what_a_return_spends_is_scaled_but_once() -> None:
    side = analyse(build(drawn(), Schedule(air=STANDARD, losses={"coil": 50.0})))
    supply = Schedule(air=STANDARD, losses={"filter": 80.0})
    plan = plan_with_returns(supply, [side])
    whole = budget(analyse(build(drawn(), supply)), [side])
    spent = analyse(build(drawn(), plan)).system.declared_losses
    assert spent == pytest.approx(whole.declared_losses + side.critical_loss)
    assert whole.declared_losses == pytest.approx(130.0 * RATIO, rel=1e-3)


# A return of which only the loss is known.


def static_fan(inlet: float | None = None, **losses: float) -> Analysis:
    fan = FanSpec(external_static_pressure=150.0, inlet_velocity_pressure=inlet)
    return analyse(build(drawn(), Schedule(fan=fan, losses=losses)))


def return_side() -> Analysis:
    return analyse(build(drawn(), Schedule(source=SourceSpec(is_return=True))))


def inlet_notices(analysis: Analysis) -> list[str]:
    return [flag.what for flag in analysis.flags if "fan's inlet" in flag.what]


def test_a_declared_return_and_a_drawn_one_leave_the_same() -> None:
    """Total = static + outlet velocity pressure - inlet's, definition (AMCA 210)."""
    side = return_side()
    whole = budget(static_fan(), [side])
    inlet = side.system.inlet_velocity_pressure
    assert inlet > 1.0
    declared = static_fan(inlet, **{"return": side.critical_loss})
    assert whole.available is not None
    assert declared.system.available is not None
    spare = whole.available - whole.required
    left = declared.system.available - declared.system.required
    assert left == pytest.approx(spare)
    # Where nobody says it, the inlet's velocity pressure was not taken off.
    bare = static_fan(**{"return": side.critical_loss})
    assert (bare.system.available or 0.0) - bare.system.required == pytest.approx(
        spare + inlet
    )
    # By hand for all three: what leaves the fan is 150 + pv - pv of the inlet.
    by_hand = 150.0 + declared.system.outlet_velocity_pressure - inlet
    assert power_of(declared).air == pytest.approx(
        by_hand * float(declared.graph.terminals.flow.sum())
    )


def test_what_a_declared_return_cannot_tell_is_said_once() -> None:
    (said,) = inlet_notices(static_fan(**{"return": 20.0}))
    alike = static_fan().system.outlet_velocity_pressure
    assert f"{alike:.1f} Pa" in said
    for other in (
        static_fan(),  # that the return is missing is said already
        static_fan(0.0, **{"return": 20.0}),
        static_fan(4.0, **{"return": 20.0}),
        static_fan(**{"return": 20.0, "velocity pressure at the inlet": 4.0}),
        analyse(
            build(
                drawn(),
                Schedule(fan=FanSpec(total_pressure=150.0), losses={"return": 20.0}),
            )
        ),
    ):
        assert inlet_notices(other) == []


def test_the_inlet_counts_where_airflows_settle() -> None:
    """With the fan's pressure at design flow, dampers set, the design flow settles."""
    plain = static_fan()
    needed = plain.critical_loss + 20.0 - plain.system.outlet_velocity_pressure + 7.0
    fan = FanSpec(external_static_pressure=needed, inlet_velocity_pressure=7.0)
    plan = Schedule(fan=fan, losses={"return": 20.0})
    settled = operate(analyse(build(drawn(), plan)), "set")
    design = float(plain.graph.terminals.flow.sum())
    assert settled.total_flow == pytest.approx(design, rel=1e-6)


def test_a_schedule_with_returns_has_their_inlet() -> None:
    side = return_side()
    plan = plan_with_returns(static_fan().graph.schedule, [side])
    inlet = side.system.inlet_velocity_pressure
    assert plan.fan.inlet_velocity_pressure == pytest.approx(inlet)
    assert inlet_notices(analyse(build(drawn(), plan))) == []


def test_a_total_pressure_or_a_drawn_return_has_its_inlet(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for name in ("s", "r"):
        write_gltf(drawn(), tmp_path / f"{name}.glb")
    plan = tmp_path / "s.schedule.toml"
    key = 'inlet_velocity_pressure = "4 Pa"'
    plan.write_text(f'[fan]\ntotal_pressure = "200 Pa"\n{key}')
    with pytest.raises(BadInput, match="has the velocity pressure"):
        read_schedule(plan)
    plan.write_text(f'[fan]\nexternal_static_pressure = "200 Pa"\n{key}')
    words = ["analyse", str(tmp_path / "s.glb")]
    assert main(words) == 0
    assert "less velocity pressure at its inlet" in capsys.readouterr().out
    assert main([*words, "--return", str(tmp_path / "r.glb")]) == 2
    assert "the drawn return says it too" in capsys.readouterr().err
