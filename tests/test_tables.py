"""The tables themselves, and how they are looked up."""

import csv
import time
from collections.abc import Callable
from importlib.resources import files
from pathlib import Path

import numpy as np
import prints
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.interpolate import RegularGridInterpolator

from elbowroom.physics import Note, table_sources, tables

PHYSICS = Path(__file__).parents[1] / "physics"
NAMES = tables.table_names()
CLASSES = {"cross-checked", "seen", "memory", "low", "common practice"}
# Columns that may be empty: remarks, ranges, second opinions, and arguments that not
# every kind of a table has.
MAY_BE_EMPTY = {
    "height_mm",
    "height_in",
    "diameter_or_width_in",
    "diameter_or_width_mm",
    "note",
    "range_low_m",
    "range_high_m",
    "reference_velocity",
    "flow_ratio_Qb_Qc",
    "area_ratio_Ab_Ac",
    "area_ratio_As_Ac",
    "area_ratio_Ab_Ac_implied",
    "aspect_H_W",
    "radius_ratio",
    "seal_class",
    "coefficient_m3_s_m2_Pa065",
    "equivalent_CL_cfm_100ft2_inwg065",
    "pressure_exponent",
    "pressure_range",
    "size_mm",
    "size_in",
    "pressure_class",
    "gauge_US",
    "thickness_mm",
    "minimum_thickness_mm",
    "mass_kg_m2",
}
LINEAR = tables.grid(
    "expansion_round_conical_idelchik", "A_small_over_A_large", "angle_deg"
)
LOGS = tables.grid(
    "rect_elbow_smooth",
    "r_over_W",
    "H_over_W",
    log_x=True,
    log_y=True,
    log_values=True,
)


def _cells(name: str) -> list[list[str]]:
    data = files("elbowroom.physics") / "data" / f"{name}.csv"
    return list(csv.reader(data.read_text("utf-8").splitlines()))


@pytest.mark.parametrize("name", NAMES)
def test_every_row_of_a_table_is_as_long_as_its_header_and_filled(name: str) -> None:
    head, *rows = _cells(name)
    assert rows
    assert len(set(head)) == len(head)
    for line, row in enumerate(rows, start=2):
        assert len(row) == len(head), f"{name}.csv, line {line}"
        for column, cell in zip(head, row, strict=True):
            empty = not cell.strip() and column not in MAY_BE_EMPTY
            assert not empty, f"{name}.csv, line {line}: {column} is empty"
            assert cell == cell.strip(), f"{name}.csv, line {line}: {column}"


@pytest.mark.parametrize("name", [name for name in NAMES if name != "uncertainty"])
def test_every_row_of_a_table_names_its_source_and_its_class(name: str) -> None:
    for line, row in enumerate(tables.rows(name), start=2):
        assert row["source"], f"{name}.csv, line {line}"
        assert row["confidence"] in CLASSES, f"{name}.csv, line {line}"


def test_every_table_is_looked_up_by_somebody() -> None:
    """`sources` lists each as what the numbers rest on."""
    code = "".join(path.read_text("utf-8") for path in PHYSICS.glob("*.py"))
    assert [name for name in NAMES if f'"{name}"' not in code] == []


def test_rows_that_no_table_has_are_never_read_back() -> None:
    for name in ("entry_bellmouth", "junction_round_converging"):
        with pytest.raises(AssertionError, match="no rows"):
            prints.rows_of(name, source="nobody")


@pytest.mark.parametrize("name", [n for n in NAMES if "C" in _cells(n)[0]])
def test_no_table_gives_two_values_for_one_fitting(name: str) -> None:
    head = _cells(name)[0]
    others = {"C", "source", "confidence", "reference_velocity"}
    keys = [tuple(row[k] for k in head if k not in others) for row in tables.rows(name)]
    assert len(set(keys)) == len(keys)


@pytest.mark.parametrize("name", [n for n in NAMES if "C" in _cells(n)[0]])
def test_every_coefficient_is_a_number_that_a_fitting_can_have(name: str) -> None:
    values = np.array([float(row["C"]) for row in tables.rows(name)])
    # Only the leg of a junction can gain, and most where next to nothing flows in the
    # common duct; only a damper that is nearly shut loses a thousand and more.
    lowest = -20.0 if name.startswith("junction") else 0.0
    assert np.isfinite(values).all()
    assert values.min() >= lowest
    assert values.max() < (2000.0 if name.startswith("damper") else 150.0)


@pytest.mark.parametrize("book", [LINEAR, LOGS], ids=["linear", "logarithmic"])
def test_every_point_of_a_grid_is_given_back(book: tables.Grid) -> None:
    x, y = np.meshgrid(book.x, book.y, indexing="ij")
    value, bits = book.at(x, y)
    # Only the roundings of one subtraction and one product are left.
    np.testing.assert_allclose(value, book.values, rtol=1e-13)
    assert not bits.any()


def test_linear_lookup_agrees_with_a_library() -> None:
    # scipy's interpolator on a rectilinear grid, linear.
    random = np.random.default_rng(1)
    x = random.uniform(LINEAR.x[0], LINEAR.x[-1], 40_000)
    y = random.uniform(LINEAR.y[0], LINEAR.y[-1], 40_000)
    there = RegularGridInterpolator((LINEAR.x, LINEAR.y), LINEAR.values)
    ours, bits = LINEAR.at(x, y)
    np.testing.assert_allclose(ours, there(np.column_stack([x, y])), atol=1e-13)
    assert (bits == int(Note.INTERPOLATED)).all()


def test_logarithmic_lookup_agrees_with_a_library() -> None:
    # On one row of H/W, scipy's linear interpolator of ln C over ln r/W.
    random = np.random.default_rng(2)
    x = np.exp(random.uniform(np.log(LOGS.x[0]), np.log(LOGS.x[-1]), 1000))
    for column, aspect in enumerate(LOGS.y):
        there = RegularGridInterpolator(
            (np.log(LOGS.x),), np.log(LOGS.values[:, column])
        )
        expected = np.exp(there(np.log(x)[:, None]))
        np.testing.assert_allclose(LOGS.at(x, aspect)[0], expected, rtol=1e-12)


@given(st.floats(-10.0, 10.0), st.floats(-10.0, 400.0))
def test_a_value_off_the_table_is_that_of_its_edge_and_noted(
    x: float, y: float
) -> None:
    value, bits = LINEAR.at(x, y)
    inside_x = min(max(x, LINEAR.x[0]), LINEAR.x[-1])
    inside_y = min(max(y, LINEAR.y[0]), LINEAR.y[-1])
    assert value == LINEAR.at(inside_x, inside_y)[0]
    off = (x, y) != (inside_x, inside_y)
    assert bool(bits & int(Note.CLAMPED)) == off
    assert LINEAR.values.min() <= value <= LINEAR.values.max()


def test_what_is_no_number_stays_none() -> None:
    assert np.isnan(LINEAR.at(np.nan, 20.0)[0])
    assert np.isnan(LOGS.at([1.0, np.nan], 1.0)[0]).tolist() == [False, True]


def test_arrays_of_any_shape_are_looked_up() -> None:
    value, bits = LINEAR.at(np.full((3, 1), 0.3), np.full((1, 4), 33.0))
    assert value.shape == bits.shape == (3, 4)
    assert LINEAR.at([], [])[0].shape == (0,)
    long = LINEAR.at(np.full((200, 200), 0.3), 33.0)[0]
    np.testing.assert_array_equal(long, value[0, 0])


def test_curve_is_given_back_and_bridged() -> None:
    # SMACNA HVAC Systems Duct Design, 4th ed., table A-7 C: 0.16 at 30, 0.34 at 45
    # degrees; half-way is 0.25.
    book = tables.curve("round_elbow_mitred", "angle_deg", through_zero=True)
    value, bits = book.at([0.0, 30.0, 37.5, 45.0, 120.0])
    np.testing.assert_allclose(value, [0.0, 0.16, 0.25, 0.34, 1.2], rtol=1e-12)
    between, off = int(Note.INTERPOLATED), int(Note.CLAMPED)
    assert bits.tolist() == [0, 0, between, 0, off]


def test_very_uneven_arguments_are_found_as_well() -> None:
    x = np.array([0.0, 1e-6, 2e-6, 1.0, 50.0])
    book = tables.Curve(
        "made up", "none", "low", x, np.array([0.0, 1.0, 3.0, 4.0, 9.0])
    )
    wanted = np.array([-1.0, 0.0, 5e-7, 1e-6, 0.5, 1.0, 2.0, 50.0, 60.0])
    np.testing.assert_allclose(
        book.at(wanted)[0], np.interp(wanted, book.x, book.y), rtol=1e-12
    )


def test_a_grid_with_a_gap_is_refused() -> None:
    with pytest.raises(ValueError, match="has gaps"):
        tables.grid(
            "flexible_bend_factor",
            "angle_deg",
            "length_loss_multiplier",
            "length_loss_multiplier",
        )


def test_a_grid_that_says_a_thing_twice_is_refused() -> None:
    with pytest.raises(ValueError, match="is there twice"):
        tables.grid("rect_elbow_splitters", "throat_R_over_W", "splitter_count")


def _seconds(work: Callable[[], object]) -> float:
    begin = time.perf_counter()
    work()
    return time.perf_counter() - begin


def test_a_million_fittings_are_looked_up_faster_than_by_a_library() -> None:
    random = np.random.default_rng(3)
    x = random.uniform(LINEAR.x[0], LINEAR.x[-1], 1_000_000)
    y = random.uniform(LINEAR.y[0], LINEAR.y[-1], 1_000_000)
    pairs = np.column_stack([x, y])
    there = RegularGridInterpolator((LINEAR.x, LINEAR.y), LINEAR.values)
    # In turn, so that what else the machine does slows both.
    rounds = [
        (_seconds(lambda: LINEAR.at(x, y)), _seconds(lambda: there(pairs)))
        for _ in range(7)
    ]
    mine, theirs = np.array(rounds).min(axis=0)
    assert mine < 0.7 * theirs


@pytest.mark.parametrize(
    "name", ["exit_nozzle", "equipment_screen", "flexible_compression_factor"]
)
def test_a_table_that_a_formula_stands_for_says_so(name: str) -> None:
    (table,) = [table for table in table_sources() if table.name == name]
    assert all("formula" in source for source in table.sources)
    assert any("checked against" in note for note in table.notes)


def test_a_single_number_is_looked_up_on_logarithms_too() -> None:
    x = np.array([0.0, 1.0, 2.0])
    curve = tables.Curve("n", "s", "seen", x, np.array([1.0, 2.0, 8.0]), log_y=True)
    assert curve.at(1.5)[0] == pytest.approx(4.0)  # the mean of the logarithms
    values = np.array([[1.0, 2.0], [4.0, 8.0]])
    grid = tables.Grid("n", "s", "seen", x[:2], x[:2], values, log_values=True)
    assert grid.at(0.5, 0.5)[0] == pytest.approx(3.0)  # of 1.5 and 6


def test_nobody_can_change_what_all_look_ups_read() -> None:
    row = tables.rows("roughness")[0]
    with pytest.raises(TypeError):
        row["absolute_roughness_m"] = "0.5"  # type: ignore[index]
