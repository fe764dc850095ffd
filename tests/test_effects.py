"""What each assumption does to the critical path."""

from dataclasses import replace

import numpy as np
import pytest
from routes import drawn

from elbowroom.layout import (
    Attributes,
    ElbowConstruction,
    ElbowRule,
    Schedule,
    build,
    drawing_from_runs,
    round_section,
)
from elbowroom.physics import Analysis, analyse, effects


def bare() -> Analysis:
    return analyse(build(drawn()))


def test_largest_effect_first_and_the_unknown_last() -> None:
    found = effects(bare())
    losses = [effect.loss for effect in found]
    known = [abs(loss) for loss in losses if loss is not None]
    assert known == sorted(known, reverse=True)
    assert losses[len(known) :] == [None] * (len(losses) - len(known))
    assert len(known) > 5


def test_an_effect_is_what_the_change_itself_gives() -> None:
    nominal = bare()
    rule = ElbowRule(construction=ElbowConstruction.MITRED)
    mitred = analyse(build(drawn(), Schedule(elbow_default=rule)))
    (effect,) = (e for e in effects(nominal) if e.assumption.instead == "mitred elbows")
    assert effect.loss == pytest.approx(mitred.critical_loss - nominal.critical_loss)
    assert effect.loss is not None
    assert effect.loss > 1.0


def test_an_alternative_that_cannot_be_made_is_left_out_with_its_reason() -> None:
    """A mitred round elbow of 120 degrees has no table; nobody asked for one."""
    turn = np.radians(120.0)
    points = [[0, 0, 3], [4, 0, 3], [4 + 3 * np.cos(turn), 3 * np.sin(turn), 3]]
    drawing = drawing_from_runs(
        [("duct", np.array(points), round_section(0.2))],
        flows={"duct": 0.15},
        attributes={"duct": Attributes(source=True)},
    )
    found = {e.assumption.instead: e for e in effects(analyse(build(drawing)))}
    mitred = found.pop("mitred elbows")
    assert mitred.loss is None
    assert "run 'duct', bend 1: mitred round elbows" in mitred.refused
    assert not any(effect.refused for effect in found.values())
    assert found["0.75 times"].loss is not None


def test_colder_air_and_no_reynolds_factor_go_the_way_they_must() -> None:
    found = {e.assumption.instead: e.loss or 0.0 for e in effects(bare())}
    assert found["10 °C"] > 0  # denser
    assert found["500 m above it"] < 0
    assert found["without it"] <= 0
    assert found["0.15 mm"] > 0


def test_what_is_declared_leaves_the_ledger() -> None:
    air = replace(Schedule().air, temperature=293.15, altitude=0.0)
    declared = analyse(build(drawn(), Schedule(air=air, roughness=9e-5)))
    words = {effect.assumption.instead for effect in effects(declared)}
    assert not words & {"10 °C", "500 m above it", "0.15 mm"}
    assert declared.critical_loss == pytest.approx(bare().critical_loss)
