"""Printed single values of junctions, dampers and pairs, each with its own tolerance.

The rows name their publication; a row that is marked memory was recalled.
"""

import csv
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from elbowroom.physics import air, dampers, fan_effect, interaction, junctions

SPOTS = Path(__file__).parent / "data" / "spotchecks_junctions.csv"
TEE, WYE = np.pi / 2, np.pi / 4


def _wye(leg: str) -> float:
    return float(junctions.radius_wye(leg, 0.25, 0.5, 1.0).value[0])


def _branch(angle: float, f: float, q: float) -> float:
    return float(junctions.diverging_branch(q, f, angle).value[0])


def _joining(angle: float, f: float, q: float) -> float:
    return float(junctions.converging_branch(q, f, angle).value[0])


def _joining_main(angle: float, f: float, q: float) -> float:
    return float(junctions.converging_main(q, f, angle).value[0])


# Keyed by the fitting and the first words of its parameters.
COMPUTED: dict[tuple[str, str], Callable[[], float]] = {
    ("rect wye 90 deg, r/Wb 1.0, diverging, branch", "Ab/As=0.5"): (
        lambda: _wye("branch")
    ),
    ("rect wye 90 deg, r/Wb 1.0, diverging, main", "Ab/As=0.5"): lambda: _wye("main"),
    ("round wye 45 deg conical, main", "Vs/Vc=0.96"): (
        lambda: float(junctions.round_main_handbook(0.96).value[0])
    ),
    # The page does not name the type; the only open damper of 0.04 is this one.
    ("open volume damper (type not named on the page seen)", "open"): (
        lambda: float(dampers.butterfly(0.0, is_round=False).value[0])
    ),
    ("round tee 90 deg, converging, branch", "Ab/Ac=1"): (
        lambda: _joining(TEE, 1.0, 0.25071)
    ),
    ("round tee 90 deg, converging, main", "Qb/Qc=0.25071"): (
        lambda: _joining_main(TEE, 1.0, 0.25071)
    ),
    ("round tee 90 deg, converging, branch", "Ab/Ac=0.2"): (
        lambda: _joining(TEE, 0.2, 0.3)
    ),
    ("round wye 45 deg, converging, branch", "Ab/Ac=0.2"): (
        lambda: _joining(WYE, 0.2, 0.7)
    ),
    ("round wye 45 deg, converging, main", "Ab/Ac=0.3"): (
        lambda: _joining_main(WYE, 0.3, 0.6)
    ),
    ("round wye 45 deg, converging, branch", "Ab/Ac=0.5"): (
        lambda: _joining(WYE, 0.5, 0.7)
    ),
    ("round wye 45 deg, diverging, branch", "Ab/Ac=0.5"): lambda: _branch(
        WYE, 0.5, 0.7
    ),
    ("round wye 30 deg, diverging, branch", "Ab/Ac=0.4"): (
        lambda: _branch(np.pi / 6, 0.4, 0.2)
    ),
    ("round tee 90 deg, diverging, branch", "Ab/Ac=0.2"): (
        lambda: _branch(TEE, 0.2, 0.3)
    ),
    # By definition: the same pressure on the branch's own velocity pressure.
    ("same, referred to branch velocity", "Ab/Ac=0.2"): (
        lambda: _branch(TEE, 0.2, 0.3) * (0.2 / 0.3) ** 2
    ),
    ("bullhead, welded, diverging", "Vb/Vc=0.5"): (
        lambda: float(junctions.symmetrical(0.5, TEE).value[0])
    ),
    ("bullhead, converging", "Ab/Ac=1"): (
        lambda: float(junctions.symmetrical_joining(0.5, 1.0, TEE).value[0])
    ),
    ("split main wye 90 deg, As+Ab=Ac, converging, main", "Ab/Ac=0.33"): (
        lambda: float(junctions.split_main("main", 1.0, 0.33, TEE).value[0])
    ),
    ("S pair of smooth 45 deg bends", "L/D=2"): (
        lambda: float(interaction.s_pair_factor(WYE, 2.0)[0][0])
    ),
    ("fan inlet square elbow, no vanes", "R/H=0.75"): (
        lambda: float(fan_effect.inlet_elbow("square", 2.0, 0.75).value[0])
    ),
    ("velocity pressure check", "7.7 m/s standard air"): (
        lambda: 0.5 * air(293.15).density * 7.7**2
    ),
}


def _spots() -> list[dict[str, str]]:
    with open(SPOTS, newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def _key(row: dict[str, str]) -> tuple[str, str]:
    first = row["parameters"].partition(";")[0].partition(" (")[0]
    return row["fitting"], first


def test_every_spot_has_a_computation_and_none_is_left_over() -> None:
    assert {_key(row) for row in _spots()} == set(COMPUTED)


@pytest.mark.parametrize("row", _spots(), ids=lambda row: " ".join(_key(row)))
def test_printed_value_is_met(row: dict[str, str]) -> None:
    expected, tolerance = float(row["expected"]), float(row["tolerance"])
    assert COMPUTED[_key(row)]() == pytest.approx(expected, abs=tolerance), row[
        "source"
    ]
