"""What a fan loses to the ducts next to it."""

import numpy as np
import pytest
from prints import column, columns, rows_of

from elbowroom.physics import LookupRefused, Note, fan_effect, tables


def test_effective_duct_length_agrees_with_both_printed_forms() -> None:
    # AMCA Publication 201, from memory: below 13 m/s sqrt(A)/350 m with A in mm², above
    # V sqrt(A)/4500; the forms in diameters are rounded, 2 %.
    area = 0.3
    root = np.sqrt(area * 1e6)
    slow = fan_effect.effective_duct_length(8.0, area)
    assert float(slow) == pytest.approx(root / 350.0, rel=0.02)
    fast = fan_effect.effective_duct_length(20.0, area)
    assert float(fast) == pytest.approx(20.0 * root / 4500.0, rel=0.05)


def test_effective_duct_length_in_diameters() -> None:
    # AMCA Publication 201, from memory: 2.5 to 12.7 m/s, 1 more for each 5.08 m/s.
    area = np.pi / 4.0
    found = fan_effect.effective_duct_length([0.0, 12.7, 17.78, 22.86], area)
    np.testing.assert_allclose(found, [2.5, 2.5, 3.5, 4.5])


@pytest.mark.parametrize(("velocity", "area"), [(5.0, 0.0), (-1.0, 0.2), (np.nan, 0.2)])
def test_fan_outlets_that_cannot_be_are_refused(velocity: float, area: float) -> None:
    with pytest.raises(ValueError, match="fan outlet"):
        fan_effect.effective_duct_length(velocity, area)


def test_outlet_elbow_is_the_worst_of_the_four_that_are_printed_and_noted() -> None:
    # AMCA Publication 201, outlet duct elbows, from memory.
    blast, percent, printed = np.stack(
        [
            columns(
                "fan_outlet_elbow",
                {"elbow_position": position},
                "blast_area_over_outlet_area",
                "percent_effective_duct",
                "C",
            )
            for position in fan_effect.POSITIONS
        ],
        axis=1,
    )
    assert (blast == blast[0]).all()
    assert (percent == percent[0]).all()
    found = fan_effect.outlet_elbow(blast[0], percent[0] / 100.0)
    np.testing.assert_allclose(found.value, printed.max(axis=0), atol=1e-12)
    noted = (found.notes & int(Note.FALLBACK)).astype(bool)
    np.testing.assert_array_equal(noted, percent[0] < 100.0)
    assert found.reference == "fan outlet"


def test_outlet_elbow_counts_for_less_the_further_it_stands() -> None:
    share = np.linspace(0.0, 1.2, 121)
    for blast in (0.4, 0.65, 1.0):
        value = fan_effect.outlet_elbow(blast, share).value
        assert (np.diff(value) <= 1e-12).all()
        np.testing.assert_array_equal(value[share >= 1.0], 0.0)


@pytest.mark.parametrize("elbow", sorted(fan_effect.INLET_ELBOWS))
def test_inlet_elbow_is_read_back(elbow: str) -> None:
    # ASHRAE 1988, fan inlet elbows (square, seen); ASHRAE Fundamentals appendix (round,
    # from memory).
    name = fan_effect.INLET_ELBOWS[elbow]
    rows = rows_of("fan_inlet_elbow", elbow=name)
    ratio = column(rows, "radius_ratio") if elbow != "round-mitred" else None
    straight = column(rows, "straight_length_diameters")
    found = fan_effect.inlet_elbow(elbow, straight, ratio)
    np.testing.assert_allclose(found.value, column(rows, "C"), atol=1e-12)
    assert found.reference == "fan inlet"


def test_inlet_elbow_beyond_five_diameters_is_held_and_noted() -> None:
    found = fan_effect.inlet_elbow("square", [5.0, 9.0], 1.0)
    assert found.value[1] == found.value[0]
    assert found.notes.tolist() == [0, int(Note.CLAMPED)]


def test_unknown_elbows_are_refused() -> None:
    with pytest.raises(LookupRefused, match="inlet elbow 'oval'"):
        fan_effect.inlet_elbow("oval", 1.0, 1.0)
    with pytest.raises(LookupRefused, match="needs its radius"):
        fan_effect.inlet_elbow("round", 1.0)


def _curves(column: str) -> dict[str, float]:
    rows = rows_of("fan_system_effect_curves")
    return {row["curve"]: float(row[column]) for row in rows}


def test_both_editions_of_the_system_effect_curves_agree() -> None:
    # AMCA Publication 201, from memory: the older column as the tables of 1988 use it.
    old, new = _curves("C_ashrae_1988"), _curves("C_amca_201_02_memory")
    for letter, value in old.items():
        # The editions differ by no more than the print's second figure.
        assert new[letter] == pytest.approx(value, rel=0.07)


def test_letters_and_numbers_of_outlet_elbows_agree() -> None:
    # Where the table gives one letter its number is that of the curve; where it gives
    # two, their mean.
    curves = _curves("C_ashrae_1988")
    for row in tables.rows("fan_outlet_elbow"):
        if row["curve"] == "none":
            assert float(row["C"]) == 0.0
            continue
        each = [curves[letter] for letter in row["curve"].split("-")]
        assert float(row["C"]) == pytest.approx(np.mean(each), abs=1e-9)
