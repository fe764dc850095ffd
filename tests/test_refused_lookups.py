"""What look-ups do with words and numbers that no table has, when called by hand."""

import re
from collections.abc import Callable

import numpy as np
import pytest

from elbowroom.physics import (
    LookupRefused,
    elbows,
    flexible,
    friction,
    junctions,
    leakage,
    obstructions,
    sheet_mass,
    sizes,
)

NAN = float("nan")


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (
            lambda: junctions.radius_wye("xx", 0.5, 0.5, 0.5),
            "leg 'xx'; take 'branch' or 'main'",
        ),
        (
            lambda: junctions.radius_wye("main", 0.5, 0.5, 0.5, "xx"),
            "flow 'xx'; take 'diverging' or 'converging'",
        ),
        (lambda: junctions.rect_branch("xx", 0.5, 0.5), "fitting 'xx'; take '90 deg"),
        (
            lambda: junctions.rect_converging_branch("xx", 0.5, 0.5, 5.0),
            "entry 'xx'; take 'tap', 'tee' or '45-entry'",
        ),
        (
            lambda: junctions.split_main("xx", 0.5, 0.5, 1.0),
            "leg 'xx'; take 'branch' or 'main'",
        ),
        (lambda: junctions.dovetail(0.5, 0.5, "xx"), "flow 'xx'"),
        (
            lambda: junctions.round_elbowed_branch("xx", 0.5),
            "elbowed branch 'xx'; take 'tee-45-elbow'",
        ),
        (
            lambda: obstructions.obstruction("xx", 0.1),
            "obstruction 'xx'; take 'pipe', 'bar'",
        ),
        (
            lambda: leakage.leakage_coefficient("b"),
            "leakage class 'b'; take 'A', 'B', 'C' or 'D'",
        ),
        (lambda: sheet_mass(25), "gauge '25'; take '30'"),
        (lambda: sizes.diameters("cm"), "series 'cm'; take 'mm' or 'in'"),
        (lambda: sizes.up_to_step(0.1, "cm"), "series 'cm'; take 'mm' or 'in'"),
    ],
)
def test_a_word_that_no_table_has_is_refused_with_those_there_are(
    call: Callable[[], object], said: str
) -> None:
    with pytest.raises(LookupRefused, match=re.escape(f"there is no {said}")):
        call()


def test_pieces_may_be_a_whole_number_of_any_kind() -> None:
    whole = elbows.round_segmented(4, 1.0, 1.0)
    assert elbows.round_segmented(4.0, 1.0, 1.0).value == whole.value  # type: ignore[arg-type]


@pytest.mark.parametrize("share", [30.0, 1.3, -0.3, np.inf])
@pytest.mark.parametrize(
    "formula",
    [
        lambda q: junctions.converging_branch(q, 0.5, 0.8),
        lambda q: junctions.converging_main([0.5, q], 0.5, 0.8),
        lambda q: junctions.diverging_branch(q, 0.5, 1.0),
        lambda q: junctions.diverging_main([0.5, q], 0.5, 1.0),
        lambda q: junctions.dovetail(q, 0.5),
        lambda q: junctions.symmetrical_joining(q, 0.5, 0.8),
        lambda q: junctions.split_main("main", q, 0.3, 0.8),
    ],
)
def test_a_share_of_the_airflow_beyond_all_of_it_is_refused(
    formula: Callable[[float], object], share: float
) -> None:
    with pytest.raises(LookupRefused, match=f"0 to 1, not {share:g}; divide"):
        formula(share)


@pytest.mark.parametrize("area", [0.0, -0.5, np.inf])
@pytest.mark.parametrize(
    "formula",
    [
        lambda f: junctions.converging_branch(0.3, f, 0.8),
        lambda f: junctions.converging_main(0.3, f, 0.8),
        lambda f: junctions.diverging_branch(0.3, f, 1.0),
        lambda f: junctions.diverging_main(0.3, f, 1.0),
        lambda f: junctions.diverging_main(0.3, 0.5, f),
        lambda f: junctions.symmetrical_joining(0.3, f, 0.8),
        lambda f: junctions.symmetrical_joining(0.3, 0.5, 0.8, f),
    ],
)
def test_an_area_that_is_none_is_refused(
    formula: Callable[[float], object], area: float
) -> None:
    with pytest.raises(LookupRefused, match=f"is more than 0, not {area:g}"):
        formula(area)


@pytest.mark.parametrize(
    "formula",
    [junctions.last_tap, lambda v: junctions.split_main_branch(v, 0.8)],
)
def test_a_velocity_below_zero_is_refused(formula: Callable[[float], object]) -> None:
    with pytest.raises(LookupRefused, match=r"from 0 up, not -0\.5"):
        formula(-0.5)


def test_the_whole_airflow_and_none_of_it_are_shares() -> None:
    ends = [0.0, 1.0, 1.0 + 1e-9]  # as rounding leaves it
    for formula in (junctions.converging_branch, junctions.diverging_branch):
        assert np.isfinite(formula(ends, 0.5, 0.8).value).all()


def test_what_is_not_known_gives_no_number() -> None:
    assert np.isnan(junctions.converging_branch(NAN, 0.5, 0.8).value).all()
    assert np.isnan(junctions.diverging_branch(0.5, NAN, 0.8).value).all()
    assert np.isnan(junctions.dovetail(NAN, 0.5).value).all()
    assert np.isnan(flexible.bend_factor(1.0, NAN)[0]).all()
    assert np.isnan(flexible.bend_extra_length(1.0, 0.3, NAN)[0]).all()
    with pytest.raises(ValueError, match="Reynolds number is NaN"):
        friction.regime([1e5, NAN])
    for areas in ((NAN, 0.5), (0.5, NAN), (-0.5, 0.5)):
        with pytest.raises(LookupRefused, match="areas of a wye"):
            junctions.radius_wye("branch", 0.5, *areas)


def test_notes_of_the_reynolds_factor_have_its_shape() -> None:
    factor, notes = elbows.reynolds_factor([[0.5], [1.0], [2.0]], [5e3, 1e5, 1e6])
    assert factor.shape == notes.shape == (3, 3)
    assert (notes == notes[0]).all()
