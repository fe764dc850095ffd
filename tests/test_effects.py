"""What each assumption does to the critical path."""

from dataclasses import replace

import numpy as np
import pytest
from routes import drawn

from elbowroom.layout import (
    AirSpec,
    Attributes,
    BadInput,
    Basis,
    ElbowConstruction,
    ElbowRule,
    Schedule,
    TerminalSpec,
    build,
    drawing_from_runs,
    rectangular,
    round_section,
)
from elbowroom.physics import Analysis, Kind, Note, analyse, effects, elbows

HIGHER = "500 m (1640 ft) above it"


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
    assert found["10 °C (50 °F)"] > 0  # denser
    assert found[HIGHER] < 0
    assert found["without it"] <= 0
    assert found["0.15 mm (0.0059 in)"] > 0


def test_what_is_declared_leaves_the_ledger() -> None:
    air = replace(Schedule().air, temperature=293.15, altitude=0.0)
    declared = analyse(build(drawn(), Schedule(air=air, roughness=9e-5)))
    words = {effect.assumption.instead for effect in effects(declared)}
    assert not words & {"10 °C (50 °F)", HIGHER, "0.15 mm (0.0059 in)"}
    assert declared.critical_loss == pytest.approx(bare().critical_loss)


@pytest.mark.parametrize(
    ("construction", "closest", "widest"),
    [  # C of the retest of vane rails, ASHRAE Fundamentals 1997-2009, from memory
        (ElbowConstruction.SINGLE_VANES, 0.11, 0.33),
        (ElbowConstruction.DOUBLE_VANES, 0.25, 0.41),
    ],
)
def test_vanes_of_which_nobody_says_how_far_apart_are_assumed(
    construction: ElbowConstruction, closest: float, widest: float
) -> None:
    def run(spacing: float | None) -> Analysis:
        rule = ElbowRule(construction, Basis.DECLARED, vane_spacing=spacing)
        return analyse(
            build(
                drawing_from_runs(
                    [("a", [[0, 0, 0], [5, 0, 0], [5, 5, 0]], rectangular(0.4, 0.3))],
                    attributes={"a": Attributes(source=True, source_at_end=False)},
                ),
                Schedule(elbow_default=rule, terminals={"a": TerminalSpec(0.4)}),
            )
        )

    silent, said, wide = run(None), run(0.038 if closest == 0.11 else 0.056), run(0.08)
    for found, wanted in ((silent, closest), (said, closest), (wide, widest)):
        (row,) = np.flatnonzero(found.elements.kind == Kind.BEND)
        assert found.elements.coefficient[row] == pytest.approx(wanted)
    told = [e for e in effects(silent) if "vanes" in e.assumption.what]
    assert [e.loss for e in told] == [
        pytest.approx(wide.critical_loss - silent.critical_loss)
    ]
    assert not [e for e in effects(said) if "apart" in e.assumption.what]


def test_vanes_between_two_that_were_tested_are_noted() -> None:
    """Single vanes 38 mm apart lose 0.11, 80 mm apart 0.33: straight between them."""
    angle = np.radians([90.0])
    for spacing, value, note in (
        (0.02, 0.11, Note.NEAREST_ROW),
        (0.0374, 0.11, Note.NEAREST_ROW),
        (0.0376, 0.11, Note.NOTHING),  # the print has whole mm
        (0.038, 0.11, Note.NOTHING),
        (0.0381, 0.11 + 0.22 * 0.1 / 42, Note.INTERPOLATED),
        (0.0399, 0.11 + 0.22 * 1.9 / 42, Note.INTERPOLATED),
        (0.059, 0.22, Note.INTERPOLATED),
        (0.0799, 0.33 - 0.22 * 0.1 / 42, Note.INTERPOLATED),
        (0.08, 0.33, Note.NOTHING),
        (0.0804, 0.33, Note.NOTHING),
        (0.0806, 0.33, Note.NEAREST_ROW),
        (0.1, 0.33, Note.NEAREST_ROW),
    ):
        found = elbows.rect_vaned(False, spacing, angle)
        assert found.value[0] == pytest.approx(value)
        assert found.notes[0] == note
    apart = np.linspace(0.03, 0.09, 601)
    lost = [elbows.rect_vaned(False, one, angle).value[0] for one in apart]
    assert np.abs(np.diff(lost)).max() < 0.001


@pytest.mark.parametrize("celsius", [99.0, 120.0])
def test_air_that_cannot_be_is_refused_or_left_out(celsius: float) -> None:
    """99 °C and saturated is air at sea level, and all vapour 500 m above it."""
    spec = AirSpec(temperature=celsius + 273.15, humidity=1.0)
    schedule = Schedule(file="a.schedule.toml", air=spec)
    graph = build(drawn(), schedule)
    if celsius > 100.0:
        with pytest.raises(
            BadInput, match=r"a\.schedule\.toml, \[air\]: .* all vapour"
        ):
            analyse(graph)
        return
    (left_out,) = (e for e in effects(analyse(graph)) if e.assumption.instead == HIGHER)
    assert left_out.loss is None
