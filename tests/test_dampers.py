"""Dampers against their prints, and the way back from a coefficient to an angle."""

import numpy as np
import pytest
from prints import column, columns, rows_of

from elbowroom.layout import FloatArray
from elbowroom.physics import LookupRefused, Note, book, dampers, tables


def degrees(*values: float) -> FloatArray:
    return np.asarray(np.radians(np.array(values)))


@pytest.mark.parametrize(("is_round", "section"), [(True, "round"), (False, "rect")])
def test_single_blade_damper_is_read_back(is_round: bool, section: str) -> None:
    # SMACNA HVAC Systems Duct Design 1990, damper tables, from memory.
    rows = [
        row
        for row in tables.rows("damper_butterfly")
        if row["fitting"].startswith(f"butterfly, thin plate, {section}")
    ]
    assert len(rows) == 7
    angle = np.radians([float(row["blade_angle_deg"]) for row in rows])
    found = dampers.butterfly(angle, is_round)
    np.testing.assert_allclose(found.value, [float(r["C"]) for r in rows], rtol=1e-12)
    assert not found.notes.any()


def test_round_single_blade_damper_is_near_the_older_measurements() -> None:
    # Weisbach, butterfly valve in a round pipe, 10 to 60 degrees by tens (seen and
    # cross-checked): another plate in another pipe, within 15 %.
    printed = [0.52, 1.54, 3.91, 10.8, 32.6, 118.0]
    found = dampers.butterfly(degrees(10, 20, 30, 40, 50, 60)).value
    np.testing.assert_allclose(found, printed, rtol=0.16)


@pytest.mark.parametrize("opposed", [False, True])
def test_multiblade_damper_is_read_back(opposed: bool) -> None:
    # SMACNA HVAC Systems Duct Design 1990, damper tables, from memory.
    where = {"blades": "opposed" if opposed else "parallel"}
    angle, ratio, printed = columns(
        "damper_multiblade", where, "blade_angle_deg", "L_over_R", "C"
    )
    found = dampers.multiblade(np.radians(angle), ratio, opposed)
    np.testing.assert_allclose(found.value, printed, rtol=1e-12)
    assert not (found.notes & ~int(Note.SUSPECT)).any()


@pytest.mark.parametrize("shape", ["round", "rectangular"])
def test_gate_is_read_back(shape: str) -> None:
    # SMACNA HVAC Systems Duct Design 1990, damper tables, from memory.
    rows = rows_of("damper_gate", fitting=f"gate, {shape}")
    aspect = column(rows, "aspect_H_W") if shape == "rectangular" else None
    found = dampers.gate(column(rows, "open_height_ratio_h_over_H_or_D"), aspect)
    np.testing.assert_allclose(found.value, column(rows, "C"), rtol=1e-12)


def test_half_open_round_gate_is_near_the_older_measurement() -> None:
    # Weisbach: 2.06 half open (seen); the handbook has 2.1, two figures.
    assert dampers.gate(0.5).value[0] == pytest.approx(2.06, abs=0.05)


def test_gate_that_is_drawn_out_loses_nothing() -> None:
    opening = np.linspace(0.85, 1.0, 301)
    value = dampers.gate(opening).value
    assert value[-1] == 0.0
    assert (np.diff(value) < 0.0).all()
    assert np.abs(np.diff(value)).max() < 0.01


def test_closing_a_damper_always_loses_more() -> None:
    angle = np.radians(np.linspace(0.0, 70.0, 281))
    for value in (
        dampers.butterfly(angle).value,
        dampers.butterfly(angle, is_round=False).value,
        dampers.multiblade(angle, 0.9, opposed=True).value,
        dampers.multiblade(angle, 0.9, opposed=False).value,
    ):
        assert (np.diff(value) > 0.0).all()
        # On a log scale the steps are alike: 0.25 degrees, at most a few percent.
        assert np.diff(np.log(value)).max() < 0.06


def test_between_two_rows_a_damper_loses_their_geometric_mean() -> None:
    found = dampers.butterfly(degrees(25.0))
    assert found.value[0] == pytest.approx(np.sqrt(1.5 * 4.5))
    assert found.notes[0] == int(Note.INTERPOLATED)


@pytest.mark.parametrize("is_round", [True, False])
def test_blade_angle_of_a_single_blade_damper_comes_back(is_round: bool) -> None:
    angle = degrees(0, 3, 10, 27, 44, 60)
    found, notes = dampers.butterfly_angle(
        dampers.butterfly(angle, is_round).value, is_round
    )
    np.testing.assert_allclose(found, angle, atol=1e-12)
    assert not notes.any()


def test_damper_that_cannot_meet_a_coefficient_says_so() -> None:
    found, notes = dampers.butterfly_angle([0.05, 0.2, 5000.0])
    np.testing.assert_allclose(found, degrees(0, 0, 60), atol=1e-12)
    assert notes.tolist() == [int(Note.CLAMPED), 0, int(Note.CLAMPED)]


def test_nearly_shut_dampers_are_called_suspect() -> None:
    assert dampers.butterfly(degrees(61.0)).notes[0] & int(Note.SUSPECT)
    assert not dampers.butterfly(degrees(60.0)).notes[0]
    steep = dampers.multiblade(degrees(70.0, 71.0), 1.0, opposed=True).notes
    assert not steep[0] & int(Note.SUSPECT)
    assert steep[1] & int(Note.SUSPECT)
    # Beyond the table the slope of its last two rows, 29 and 108, goes on.
    beyond = dampers.butterfly(degrees(60.0, 65.0, 70.0)).value
    np.testing.assert_allclose(beyond, 108.0 * (108.0 / 29.0) ** np.array([0, 0.5, 1]))


@pytest.mark.parametrize("angle", [-5.0, 75.0, np.nan])
def test_blade_angles_that_no_table_reaches_are_refused(angle: float) -> None:
    with pytest.raises(LookupRefused, match="blade angle is"):
        dampers.butterfly(degrees(10.0, angle))


@pytest.mark.parametrize(("opening", "aspect"), [(0.1, None), (0.25, 1.0), (1.2, None)])
def test_gate_openings_that_no_table_reaches_are_refused(
    opening: float, aspect: float | None
) -> None:
    with pytest.raises(LookupRefused, match="published for openings"):
        dampers.gate(opening, aspect)


def test_fire_dampers_are_charged_with_their_loss_and_carry_the_caution() -> None:
    # ASHRAE Fundamentals appendix, from memory: 0.12 and 0.19.
    np.testing.assert_array_equal(
        dampers.fire_curtain([False, True]).value, [0.12, 0.19]
    )
    stand_in = dampers.fire_and_smoke()
    assert stand_in.value[0] == pytest.approx(0.52)
    assert stand_in.notes[0] & int(Note.FALLBACK)
    for name in ("damper-fire-curtain", "damper-fire-and-smoke"):
        assert "local code and a licensed person" in book.find_kind(name).what


DAMPERS = [name for name in book.KINDS if name.startswith("damper")]


@pytest.mark.parametrize("name", DAMPERS)
def test_every_damper_of_the_book_gives_a_coefficient_on_its_duct(name: str) -> None:
    kind = book.find_kind(name)
    middle = {
        p.name: (p.low + p.high) / 2 for p in kind.parameters if p.default is None
    }
    values, _ = book.complete(kind, middle)
    (found,) = kind.evaluate(values, float("nan")).values()
    assert found.reference == "duct"
    assert found.value[0] > 0.0
    assert not kind.has_legs


def test_wanted_damper_by_name_in_the_book() -> None:
    kind = book.find_kind("damper multiblade opposed")
    values, assumed = book.complete(kind, {"blade_angle_deg": 30.0})
    assert assumed == ("L_over_R",)
    assert kind.evaluate(values, float("nan"))[""].value[0] == pytest.approx(7.3)
