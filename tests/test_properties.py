"""What changes no loss: where a drawing stands and how its lines were drawn."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from routes import ROUTE, Run, about_z, drawn

from elbowroom.layout import Drawing, build
from elbowroom.physics import analyse

SAME = 1e-9
PLAIN = settings(max_examples=40, deadline=None, derandomize=True)


def losses(drawing: Drawing) -> dict[str, float]:
    """Loss along the path to each terminal, and of each fitting on it."""
    found = analyse(build(drawing))
    graph = found.graph
    out = {}
    for place, name in enumerate(graph.terminals.name):
        out[name] = float(found.path_loss[place])
        kinds = [found.words(int(row)) for row in found.path(place)]
        turns = [
            float(found.elements.loss[row])
            for row, kind in zip(found.path(place), kinds, strict=True)
            if kind != "straight duct"
        ]
        for number, loss in enumerate(turns):
            out[f"{name} {number}"] = loss
    return out


BASE = losses(drawn())


def same(found: dict[str, float]) -> None:
    assert found == pytest.approx(BASE, rel=SAME, abs=SAME)


def test_the_route_has_losses_to_compare() -> None:
    assert set(BASE) >= {"T3", "B1", "B2"}
    assert min(BASE[name] for name in ("T3", "B1", "B2")) > 1.0
    assert len(BASE) > 12


@PLAIN
@given(st.floats(-np.pi, np.pi), st.tuples(*[st.floats(-500.0, 500.0)] * 3))
def test_rotation_about_the_vertical_and_translation(
    angle: float, shift: tuple[float, float, float]
) -> None:
    same(losses(drawn(turn=about_z(angle), shift=shift)))


@PLAIN
@given(st.permutations(range(len(ROUTE))))
def test_order_of_the_lines(order: list[int]) -> None:
    same(losses(drawn([ROUTE[index] for index in order])))


@PLAIN
@given(st.tuples(*[st.booleans()] * len(ROUTE)))
def test_direction_of_the_lines(turned: tuple[bool, ...]) -> None:
    runs: list[Run] = [
        (name, points[::-1] if back else points, cut)
        for (name, points, cut), back in zip(ROUTE, turned, strict=True)
    ]
    same(losses(drawn(runs)))


@PLAIN
@given(
    st.dictionaries(
        st.integers(0, 4), st.sets(st.integers(1, 99), min_size=1, max_size=4)
    )
)
def test_vertices_along_a_straight(splits: dict[int, set[int]]) -> None:
    """Vertices at hundredths of the first straight: farther apart than they snap."""
    runs: list[Run] = []
    for number, (name, points, cut) in enumerate(ROUTE):
        a, b = np.array(points[0], float), np.array(points[1], float)
        between = [
            (a + share / 100 * (b - a)).tolist()
            for share in sorted(splits.get(number, ()))
        ]
        runs.append((name, [points[0], *between, *points[1:]], cut))
    same(losses(drawn(runs)))


@PLAIN
@given(st.floats(0.1, 0.9))
def test_a_straight_in_two_runs(share: float) -> None:
    """The branch in two pieces; the first has another name and the same section."""
    runs: list[Run] = []
    for name, points, cut in ROUTE:
        if name == "B2":
            a, b = (np.array(point, float) for point in points)
            middle = (a + share * (b - a)).tolist()
            runs += [("B2 begin", [points[0], middle], cut)]
            runs += [("B2", [middle, points[1]], cut)]
        else:
            runs.append((name, points, cut))
    same(losses(drawn(runs)))


@PLAIN
@given(st.lists(st.floats(-4e-4, 4e-4), min_size=15, max_size=15))
def test_ends_within_the_tolerance_join_as_if_exact(noise: list[float]) -> None:
    """Losses move by no more than the millimetre does."""
    runs: list[Run] = []
    for index, (name, points, cut) in enumerate(ROUTE):
        moved = [np.array(point, float) for point in points]
        moved[0] = moved[0] + np.array(noise[3 * index : 3 * index + 3])
        runs.append((name, [point.tolist() for point in moved], cut))
    found = losses(drawn(runs))
    for name in ("T3", "B1", "B2"):
        assert found[name] == pytest.approx(BASE[name], rel=2e-3)


def test_every_path_is_the_sum_of_its_elements() -> None:
    found = analyse(build(drawn()))
    for place in range(len(found.graph.terminals.name)):
        rows = found.path(place)
        assert found.elements.loss[rows].sum() == pytest.approx(found.path_loss[place])
        for before, after in pairwise(rows.tolist()):
            assert before != after
