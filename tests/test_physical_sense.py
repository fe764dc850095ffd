"""Coefficients rise, fall and vanish where the physics says so, between rows too.

Common sense of fluid mechanics rather than a print: more turn, less radius, less free
area lose more; nothing that happens loses nothing.
"""

from collections.abc import Callable

import numpy as np
import pytest

from elbowroom.layout import FloatArray
from elbowroom.physics import dampers, elbows, equipment, exits, junctions, transitions

DEGREE = np.pi / 180
TURNS = np.linspace(0.0, 90.0, 61) * DEGREE
RADII = np.linspace(0.5, 2.0, 61)
FREE = np.linspace(0.35, 0.95, 61)
HIGH_RE = 1e6

RISING: dict[str, Callable[[], FloatArray]] = {
    "smooth rectangular elbow by its turn": lambda: (
        elbows.rect_smooth(1.0, 0.7, TURNS, HIGH_RE).value
    ),
    "mitred rectangular elbow by its turn": lambda: (
        elbows.rect_mitred(0.7, TURNS, HIGH_RE).value
    ),
    "smooth round elbow by its turn": lambda: elbows.round_smooth(1.2, TURNS).value,
    "mitred round elbow by its turn": lambda: elbows.round_mitred(TURNS, HIGH_RE).value,
    "smooth rectangular elbow by tightness": lambda: elbows.rect_smooth(
        RADII, 1.0, np.pi / 2, HIGH_RE
    ).value[::-1],
    "smooth round elbow by tightness": lambda: elbows.round_smooth(
        RADII, np.pi / 2
    ).value[::-1],
    "single-blade damper by its angle": lambda: (
        dampers.butterfly(np.linspace(0.0, 60.0, 61) * DEGREE).value
    ),
    "screen by what it covers": lambda: equipment.screen(FREE).value[::-1],
    "abrupt expansion by its step": lambda: transitions.expansion_abrupt(
        np.linspace(0.05, 1.0, 40)
    ).value[::-1],
    "abrupt contraction by its step": lambda: transitions.contraction_abrupt(
        np.linspace(0.05, 1.0, 40)
    ).value[::-1],
}


@pytest.mark.parametrize("what", RISING)
def test_more_of_it_loses_more(what: str) -> None:
    value = RISING[what]()
    assert (np.diff(value) >= -1e-9).all()
    assert value[-1] > value[0]


NOTHING: dict[str, Callable[[], FloatArray]] = {
    "smooth elbow of no turn": lambda: elbows.rect_smooth(1.0, 1.0, 0.0, HIGH_RE).value,
    "mitred elbow of no turn": lambda: elbows.rect_mitred(1.0, 0.0, HIGH_RE).value,
    "round elbow of no turn": lambda: elbows.round_smooth(1.0, 0.0).value,
    "mitred round elbow of no turn": lambda: elbows.round_mitred(0.0, HIGH_RE).value,
    "expansion of equal areas": lambda: transitions.expansion_abrupt(1.0).value,
    "contraction of equal areas": lambda: transitions.contraction_abrupt(1.0).value,
}


@pytest.mark.parametrize("what", NOTHING)
def test_nothing_that_happens_loses_nothing(what: str) -> None:
    assert NOTHING[what]() == pytest.approx(0.0, abs=1e-9)


def test_air_that_leaves_an_open_end_loses_its_velocity_pressure() -> None:
    assert exits.exit_abrupt().value == pytest.approx(1.0)


@pytest.mark.parametrize("rectangular", [True, False])
def test_a_main_whose_branch_takes_nothing_loses_next_to_nothing(
    rectangular: bool,
) -> None:
    shape = np.array([2 if rectangular else 1])
    found = junctions.dividing_legs(
        junctions.JunctionLegs(
            is_branch=np.array([False]),
            is_symmetrical=np.array([False]),
            angle=np.array([np.pi / 2]),
            entry=np.array([0]),
            common_shape=shape,
            branch_shape=shape,
            flow_ratio=np.array([0.0]),
            area_ratio=np.array([0.5]),
            main_area_ratio=np.array([1.0]),
        )
    )
    assert abs(float(found.value[0])) <= 0.06


@pytest.mark.parametrize("seed", range(5))
def test_between_rows_a_value_stays_between_the_rows(seed: int) -> None:
    """Rectangular elbows at 90 degrees: inside the cell's smallest and largest row."""
    random = np.random.default_rng(seed)
    radii = np.array([0.5, 0.75, 1.0, 1.5, 2.0])
    aspects = np.array([0.25, 0.5, 0.75, 1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0])
    i, j = random.integers(len(radii) - 1), random.integers(len(aspects) - 1)
    corners = elbows.rect_smooth(
        radii[[i, i, i + 1, i + 1]], aspects[[j, j + 1, j, j + 1]], np.pi / 2, HIGH_RE
    ).value
    inside = elbows.rect_smooth(
        random.uniform(radii[i], radii[i + 1], 50),
        random.uniform(aspects[j], aspects[j + 1], 50),
        np.pi / 2,
        HIGH_RE,
    ).value
    assert inside.min() >= corners.min() - 1e-9
    assert inside.max() <= corners.max() + 1e-9
