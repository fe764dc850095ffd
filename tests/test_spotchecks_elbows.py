"""Printed single values of elbows, transitions and ends, each with its tolerance.

The rows name their publication. A table with one wrong number must make them fail.
"""

import csv
import functools
import gc
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from elbowroom.physics import (
    Coefficient,
    elbows,
    entries,
    equipment,
    exits,
    flexible,
    interaction,
    tables,
    transitions,
)

SPOTS = Path(__file__).parent / "data" / "spotchecks_elbows.csv"
Parameters = Mapping[str, str]


def _rows() -> list[dict[str, str]]:
    with SPOTS.open(newline="", encoding="utf-8") as stream:
        return list(csv.DictReader(stream))


def _rad(p: Parameters) -> float:
    return float(np.radians(float(p["angle_deg"])))


def _round(p: Parameters) -> Coefficient:
    ratio, angle = float(p["r_over_D"]), np.radians(float(p.get("angle_deg", 90)))
    if p["construction"] == "smooth":
        return elbows.round_smooth(ratio, angle)
    return elbows.round_segmented(int(p["pieces"]), ratio, angle)


# The value of each fitting of the list; a factor stands for itself.
COMPUTED: dict[str, Callable[[Parameters], Any]] = {
    "rect_elbow_smooth": lambda p: elbows.rect_smooth(
        float(p["r_over_W"]), float(p["H_over_W"]), _rad(p)
    ),
    "rect_elbow_smooth_K_Re": lambda p: elbows.reynolds_factor(
        float(p["r_over_W"]), float(p["Re"])
    )[0],
    "rect_elbow_mitred": lambda p: elbows.rect_mitred(float(p["H_over_W"]), _rad(p)),
    "rect_elbow_splitters": lambda p: elbows.rect_splitters(
        int(p["splitter_count"]),
        float(p["throat_R_over_W"]),
        float(p["H_over_W"]),
        np.pi / 2,
    ),
    "round_elbow": _round,
    "round_elbow_by_diameter": lambda p: elbows.round_by_diameter(
        p["construction"], float(p["diameter_mm"]) / 1000, _rad(p)
    ),
    "round_elbow_mitred": lambda p: elbows.round_mitred(_rad(p)),
    "contraction": lambda p: transitions.contraction(
        float(p["A_large_over_A_small"]), _rad(p)
    ),
    "abrupt_expansion": lambda p: transitions.expansion_abrupt(
        float(p["A_small_over_A_large"])
    ),
    "expansion_round_conical_idelchik": lambda p: transitions.expansion_round(
        float(p["A_small_over_A_large"]), _rad(p)
    ),
    "entry_duct_in_wall": lambda p: entries.entry_in_wall(
        float(p["t_over_D"]), float(p["L_over_D"])
    ),
    "entry_bellmouth": lambda p: entries.entry_bellmouth(
        float(p["r_over_D"]), p["mounting"] == "end_wall"
    ),
    "entry_conical": lambda p: entries.entry_conical(
        float(p["L_over_D"]), _rad(p), p["mounting"] == "end_wall"
    ),
    "exit_diffuser": lambda p: exits.exit_diffuser(
        p["kind"].removesuffix("_diffuser"), float(p["A_out_over_A_duct"]), _rad(p)
    ),
    "flexible_bend": lambda p: flexible.bend_factor(_rad(p), float(p["r_over_D"]))[0],
    "pair_s_bend_smooth": lambda p: interaction.s_pair_factor(
        _rad(p), float(p["L_over_D"])
    )[0],
    "equipment_screen": lambda p: equipment.screen(float(p["free_area_ratio"])),
}


def _value(row: dict[str, str]) -> float:
    parameters = dict(part.split("=") for part in row["parameters"].split(";"))
    found = COMPUTED[row["fitting"]](parameters)
    whole = found.value if isinstance(found, Coefficient) else found
    return float(np.atleast_1d(whole)[0])


def _is_right(row: dict[str, str]) -> bool:
    printed, allowed = float(row["expected_C"]), float(row["tolerance"])
    if row["tolerance_kind"] == "rel":
        allowed *= printed
    # The tolerances are printed, so their last digit is not to fail by a rounding.
    return abs(_value(row) - printed) <= allowed + 1e-12


def test_the_list_is_whole() -> None:
    assert len(_rows()) == 39
    assert {row["fitting"] for row in _rows()} == set(COMPUTED)


@pytest.mark.parametrize(
    "row", [pytest.param(r, id=f"{r['fitting']} {r['parameters']}") for r in _rows()]
)
def test_printed_value_is_met(row: dict[str, str]) -> None:
    assert _is_right(row), f"{_value(row)} for {row['expected_C']}"


def _forget() -> None:
    """Forget every table that was read."""
    for thing in gc.get_objects():
        if isinstance(thing, functools._lru_cache_wrapper) and str(
            getattr(thing, "__module__", "")
        ).startswith("elbowroom.physics"):
            thing.cache_clear()


@pytest.fixture
def misprint(monkeypatch: pytest.MonkeyPatch) -> Iterator[Callable[..., None]]:
    """Put one wrong number in a table, for the length of one test."""
    read = tables.numbered_rows

    def put(name: str, where: Mapping[str, str], column: str, wrong: str) -> None:
        changed = 0

        def forged(wanted: str) -> tuple[tuple[int, tables.Row], ...]:
            nonlocal changed
            out = []
            for line, row in read(wanted):
                mine = wanted == name and all(row[k] == v for k, v in where.items())
                changed += mine
                out.append((line, {**row, column: wrong} if mine else row))
            return tuple(out)

        monkeypatch.setattr(tables, "numbered_rows", forged)
        forged(name)
        assert changed == 1, f"{name}: one row, not {changed}"
        _forget()

    yield put
    monkeypatch.undo()
    _forget()


@pytest.mark.parametrize(
    ("name", "where", "column", "wrong"),
    [
        # The first two are real misprints of reprints of the handbook.
        ("rect_elbow_smooth", {"r_over_W": "1.0", "H_over_W": "6.0"}, "C", "0.27"),
        ("rect_elbow_mitred", {"angle_deg": "30", "H_over_W": "3.0"}, "C", "0.23"),
        ("rect_elbow_smooth", {"r_over_W": "0.75", "H_over_W": "1.0"}, "C", "0.48"),
        ("rect_elbow_smooth", {"r_over_W": "2.0", "H_over_W": "0.75"}, "C", "0.25"),
        (
            "elbow_angle_factor",
            {"elbow_kind": "rect_smooth", "angle_deg": "45"},
            "K_angle",
            "0.66",
        ),
        ("round_elbow", {"detail": "3_piece", "r_over_D": "1.5"}, "C", "0.43"),
        ("round_elbow_mitred", {"angle_deg": "60"}, "C", "0.65"),
        (
            "contraction",
            {"A_large_over_A_small": "4", "angle_max_deg": "180"},
            "C",
            "0.14",
        ),
        ("entry_duct_in_wall", {"t_over_D": "0.02", "L_over_D": "0.2"}, "C", "0.56"),
    ],
)
def test_a_misprint_in_a_table_is_noticed(
    misprint: Callable[..., None],
    name: str,
    where: Mapping[str, str],
    column: str,
    wrong: str,
) -> None:
    assert all(_is_right(row) for row in _rows())
    misprint(name, where, column, wrong)
    assert not all(_is_right(row) for row in _rows())
