"""Entries, exits, screens and plates against print, limits, and a library."""

from collections.abc import Callable
from functools import partial

import fluids.fittings
import numpy as np
import numpy.typing as npt
import pytest
from prints import columns, read_back

from elbowroom.physics import (
    LookupRefused,
    Note,
    caps,
    entries,
    equipment,
    exits,
)

Array = npt.NDArray[np.float64]


_read_back = partial(read_back, "duct")


def test_duct_end_in_a_wall_is_read_back() -> None:
    # Idelchik 1986, diagram 3-1.
    _read_back(
        "entry_duct_in_wall", {}, ("t_over_D", "L_over_D"), entries.entry_in_wall
    )


@pytest.mark.parametrize("thickness", [0.0, 0.01, 0.02, 0.04])
@pytest.mark.parametrize("projection", [0.0, 0.02, 0.1, 0.3])
def test_duct_end_in_a_wall_agrees_with_a_library(
    thickness: float, projection: float
) -> None:
    # fluids, digitised from Idelchik's diagram 3-1.
    there = fluids.fittings.entrance_distance(
        1.0, thickness, projection, method="Idelchik"
    )
    ours = entries.entry_in_wall(thickness, projection).value[0]
    assert ours == pytest.approx(there, abs=0.005)


def test_flush_entry_loses_half_a_velocity_pressure() -> None:
    # Idelchik 1986, diagram 3-1; every handbook has it.
    assert entries.entry_in_wall().value[0] == 0.5
    thick = entries.entry_in_wall(0.3, 0.0)
    assert thick.value[0] == 0.5
    assert not thick.notes[0] & int(Note.CLAMPED)


@pytest.mark.parametrize("mounting", ["end_wall", "no_wall"])
def test_bellmouth_is_read_back(mounting: str) -> None:
    # Idelchik 1986, diagram 3-4.
    _read_back(
        "entry_bellmouth",
        {"mounting": mounting},
        ("r_over_D",),
        lambda r: entries.entry_bellmouth(r, mounting == "end_wall"),
    )


@pytest.mark.parametrize("ratio", [0.01, 0.02, 0.05, 0.1, 0.15, 0.2])
def test_bellmouth_agrees_with_a_library(ratio: float) -> None:
    # fluids, Idelchik's table for rounded entrances.
    there = fluids.fittings.entrance_rounded(1.0, ratio, method="Idelchik")
    ours = entries.entry_bellmouth(ratio, True).value[0]
    assert ours == pytest.approx(there, abs=0.01)


@pytest.mark.parametrize("mounting", ["end_wall", "no_wall"])
def test_conical_entry_is_read_back(mounting: str) -> None:
    # Idelchik 1986, diagrams 3-6 and 3-7.
    _read_back(
        "entry_conical",
        {"mounting": mounting},
        ("L_over_D", "angle_deg"),
        lambda x, a: entries.entry_conical(x, np.radians(a), mounting == "end_wall"),
    )


@pytest.mark.parametrize("length", [0.025, 0.1, 0.6])
@pytest.mark.parametrize("degrees", [40.0, 60.0, 120.0])
def test_conical_entry_agrees_with_a_library(length: float, degrees: float) -> None:
    # fluids, from Idelchik's diagram 3-7; it takes half the included angle. 0.01 is
    # how the two fill the gaps of the diagram.
    there = fluids.fittings.entrance_beveled(1.0, length, degrees / 2, "Idelchik")
    ours = entries.entry_conical(length, np.radians(degrees), True).value[0]
    assert ours == pytest.approx(there, abs=0.01)


@pytest.mark.parametrize("section", ["round", "rect"])
def test_tapered_hood_is_read_back(section: str) -> None:
    # ASHRAE Handbook Fundamentals 1977-1989 (from memory).
    _read_back(
        "entry_hood_tapered",
        {"section": section},
        ("major_angle_deg",),
        lambda a: entries.entry_hood(np.radians(a), section == "round"),
    )


@pytest.mark.parametrize("skirt", ["straight", "15_deg_flare"])
@pytest.mark.parametrize("name", ["entry_intake_cap", "exit_cap"])
def test_shaft_under_a_hood_is_read_back_and_the_wider_gap_is_better(
    name: str, skirt: str
) -> None:
    # Idelchik; SMACNA HVAC Systems Duct Design, tables 14-16 F and 14-17 (from memory).
    work = caps.entry_cap if name.startswith("entry") else caps.exit_cap
    flared = skirt != "straight"
    _read_back(name, {"skirt": skirt}, ("L_over_D",), lambda x: work(x, flared))
    loss = work(np.linspace(0.1, 1.0, 50), flared).value
    assert (np.diff(loss) <= 0.0).all()


@pytest.mark.parametrize("kind", exits.DIFFUSERS)
def test_diffuser_at_the_end_is_read_back(kind: str) -> None:
    # ASHRAE Handbook Fundamentals 1977-1989; SMACNA, table 14-17 (from memory).
    _read_back(
        "exit_diffuser",
        {"kind": f"{kind}_diffuser"},
        ("A_out_over_A_duct", "angle_deg"),
        lambda r, a: exits.exit_diffuser(kind, r, np.radians(a)),
    )


def test_diffuser_that_does_not_open_is_a_plain_end() -> None:
    for kind in exits.DIFFUSERS:
        found = exits.exit_diffuser(kind, 1.0, np.radians(20.0))
        assert found.value[0] == exits.exit_abrupt().value[0] == 1.0


def test_diffuser_never_gains_more_than_the_air_has() -> None:
    # What leaves the mouth keeps (1/ratio)² of the velocity pressure.
    ratio = np.linspace(1.0, 10.0, 40)
    for kind in exits.DIFFUSERS:
        loss = exits.exit_diffuser(kind, ratio, np.radians(14.0)).value
        assert (loss >= 1.0 / ratio**2 - 1e-12).all()


def test_doubtful_print_of_a_diffuser_is_noted() -> None:
    notes = exits.exit_diffuser("conical", [10.0, 4.0], np.radians(60.0)).notes
    doubted = int(Note.SUSPECT_PRINT)
    assert ((notes & doubted) > 0).tolist() == [True, False]
    # Between rows it counts with a small share too.
    beside = exits.exit_diffuser("conical", [6.1, 10.0, 6.0], np.radians([60, 46, 46]))
    assert ((beside.notes & doubted) > 0).tolist() == [True, True, False]
    assert not (exits.exit_diffuser("plane", 10.0, np.radians(60.0)).notes & doubted)


def test_nozzle_follows_its_formula_and_its_table() -> None:
    # ASHRAE Handbook Fundamentals, stack heads (from memory), two decimals.
    _read_back("exit_nozzle", {}, ("D_exit_over_D",), exits.exit_nozzle, atol=0.0051)


def test_elbow_at_the_open_end_is_read_back() -> None:
    # Idelchik, discharge from a bend (from memory).
    _read_back(
        "exit_after_elbow_90",
        {},
        ("r_over_W", "L_after_over_W"),
        exits.exit_after_elbow,
    )


def test_plain_end_loses_the_whole_velocity_pressure() -> None:
    found = exits.exit_abrupt()
    assert found.value.tolist() == [1.0]


def test_screen_follows_its_formula_and_its_table() -> None:
    # ASHRAE Handbook Fundamentals 1977-1989 (from memory); the print is rounded to two
    # figures, and at 0.3 it has 6.2 where the formula has 6.35.
    share, printed = columns("equipment_screen", {}, "free_area_ratio", "C")
    np.testing.assert_allclose(
        equipment.screen(share).value, printed, rtol=0.035, atol=0.01
    )
    assert equipment.screen(1.0).value[0] == 0.0


def test_perforated_plate_is_read_back() -> None:
    # ASHRAE Handbook Fundamentals 1977-1989 (Idelchik).
    _read_back(
        "equipment_perforated_plate",
        {},
        ("free_area_ratio", "t_over_d"),
        equipment.perforated_plate,
    )


def test_perforated_plate_meets_idelchiks_formula() -> None:
    # Idelchik, thick-edged orifices; the print has two figures. At a free area of 0.9
    # it has 0.13 for every thickness, where the formula falls from 0.126 to 0.107.
    share, printed, thickness = columns(
        "equipment_perforated_plate", {}, "free_area_ratio", "C", "t_over_d"
    )
    found = equipment.perforated_plate_by_formula(share, thickness).value
    open_ = share > 0.85
    np.testing.assert_allclose(found[~open_], printed[~open_], rtol=0.05, atol=0.006)
    np.testing.assert_allclose(found[open_], printed[open_], atol=0.025)


def test_what_only_its_maker_knows_has_no_coefficient() -> None:
    rules = equipment.declared_only()
    assert set(rules) >= {"filter", "heating_or_cooling_coil"}
    assert all("declared loss only" in rule for rule in rules.values())


@pytest.mark.parametrize(
    ("work", "message"),
    [
        (lambda: exits.exit_diffuser("oval", 2.0, 0.3), "conical, plane, pyramidal"),
        (lambda: exits.exit_diffuser("plane", 0.5, 0.3), "or a nozzle"),
        (lambda: exits.exit_nozzle([0.8, 0.1]), "not for 0.1"),
        (lambda: exits.exit_nozzle(1.2), "not for 1.2"),
        (lambda: equipment.screen(0.1), "maker declares"),
        (lambda: equipment.screen(np.nan), "maker declares"),
        (lambda: equipment.perforated_plate(0.95), "0.2 to 0.9"),
    ],
)
def test_end_that_no_table_knows_is_refused_with_a_way_out(
    work: Callable[[], object], message: str
) -> None:
    with pytest.raises(LookupRefused, match=message) as refused:
        work()
    assert "; " in str(refused.value)
