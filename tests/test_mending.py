"""A mended copy has nothing left to mend, also when it is read again."""

import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from routes import about_z

from elbowroom.layout import (
    TOLERANCE,
    Drawing,
    drawing_from_runs,
    join,
    mended,
    near_misses,
    read,
    rectangular,
    write,
)

CUT = rectangular(0.1, 0.1)
Lines = dict[str, list[list[float]]]

WAYS = np.array([*np.eye(3), *-np.eye(3), [0.6, 0.64, 0.48], [-0.36, 0.48, 0.8]])


def offsets(reach: float) -> st.SearchStrategy[Any]:
    """A step of up to a few tolerances in each direction."""
    return st.tuples(*[st.floats(-reach, reach)] * 3).map(np.array)


@st.composite
def slips(draw: st.DrawFn) -> tuple[Drawing, float]:
    """Runs that nearly meet, lie on each other, or hardly have a length."""
    tolerance = draw(st.sampled_from([1e-3, 5e-3, 0.02, 0.03]))

    def share() -> float:
        return draw(st.floats(-0.1, 1.1))

    def way() -> Any:
        return WAYS[draw(st.integers(0, len(WAYS) - 1))]

    def on() -> Any:
        host = lines[draw(st.integers(0, len(lines) - 1))]
        row = draw(st.integers(0, len(host) - 2))
        at = host[row] + share() * (host[row + 1] - host[row])
        return at + tolerance * draw(offsets(3.0))

    lines = [np.array([[0, 0, 3], [5.0, 0, 3], [5, 4, 3]])]
    for _ in range(draw(st.integers(2, 9))):
        kind = draw(st.sampled_from(["leaves", "chain", "lies on", "stub", "between"]))
        if kind == "leaves":
            begin = on()
            bend = begin + way() * draw(st.floats(0.3, 4.0))
            lines.append(np.array([begin, bend, bend + way() * 0.7]))
        elif kind == "chain":
            end, step = lines[-1][-1], tolerance * draw(offsets(0.55))
            for _ in range(draw(st.integers(2, 4))):
                end = end + step
                lines.append(np.array([end, end + way() * draw(st.floats(0.3, 3.0))]))
        elif kind == "lies on":
            host = lines[draw(st.integers(0, len(lines) - 1))]
            along = host[1] - host[0]
            places = [host[0] + share() * along for _ in range(2)]
            lines.append(np.array([p + tolerance * draw(offsets(3.0)) for p in places]))
        elif kind == "stub":
            begin = on()
            length = tolerance * draw(st.floats(0.3, 6.0))
            lines.append(np.array([begin, begin + way() * length]))
        else:
            lines.append(np.array([on(), on()]))
    shift = np.array(draw(st.sampled_from([(0, 0, 0), (120, 110, 0), (4e5, 5e6, 90)])))
    runs = [(f"r{row}", line + shift, CUT) for row, line in enumerate(lines)]
    return drawing_from_runs(runs), tolerance


@pytest.mark.parametrize("suffix", [".glb", ".obj", ".dxf", ".vtp"])
@settings(
    max_examples=60,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(made=slips())
def test_a_mended_copy_has_nothing_left_to_mend(
    made: tuple[Drawing, float], suffix: str, tmp_path: Path
) -> None:
    drawing, tolerance = made
    copy, changes = mended(join(drawing, tolerance))
    assert not [change for change in changes if "mending ended" in change]
    again, more = mended(join(copy, tolerance))
    assert more == []
    assert np.array_equal(again.points, copy.points)
    if copy.run_count == 0:
        return
    write(copy, tmp_path / f"a{suffix}")
    seen = read(tmp_path / f"a{suffix}")
    # As it is used without --tolerance too.
    for distance in {tolerance, TOLERANCE}:
        again, more = mended(join(seen, distance))
        assert more == []
        assert np.array_equal(again.points, seen.points)


def test_an_end_follows_the_end_that_it_leads_to() -> None:
    """Both are drawn on; it used to stop where the other one was before."""
    drawing = drawing_from_runs(
        [
            ("main", np.array([[0, 0, 0], [8, 0, 0]], float), CUT),
            ("branch", np.array([[4, 0.06, 0], [4, 3, 0]], float), CUT),
            ("riser", np.array([[4, 0.06, 0.07], [4, 0.06, 3]], float), CUT),
        ]
    )
    copy, changes = mended(join(drawing))
    assert len(changes) == 2
    assert join(copy, 1e-4).component_count == 1
    assert copy.run(1).points[0] == pytest.approx([4, 0, 0])
    assert copy.run(2).points[0] == pytest.approx([4, 0, 0])


def test_where_mending_does_not_settle_it_says_so(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(sys.modules[mended.__module__], "_REPEATS", 1)
    drawing = drawing_from_runs(
        [
            ("main", np.array([[0, 0, 0], [8, 0, 0]], float), CUT),
            ("branch", np.array([[4, 0.06, 0], [4, 3, 0]], float), CUT),
            ("riser", np.array([[4, 0.06, 0.07], [4, 0.06, 3]], float), CUT),
        ]
    )
    _, changes = mended(join(drawing))
    assert changes[-1].startswith("mending ended after 1 round")


def test_single_precision_far_from_the_origin_moves_no_end() -> None:
    """At 125 m it holds steps of 7.6 µm, IEEE 754: an end and its line are both off."""
    steps = np.random.default_rng(3).uniform(0.0, 1.0, (200, 6))
    for step in steps:
        begin, end = 125.0 + step[:3], 127.0 + step[3:]
        way = np.array([step[1], -step[0], 1.0])
        at = begin + (0.2 + 0.6 * step[5]) * (end - begin)
        lines = [[begin, end], [at, at + way]]
        runs = [
            (f"r{row}", np.array(line, dtype=np.float32).astype(float), CUT)
            for row, line in enumerate(lines)
        ]
        topology = join(drawing_from_runs(runs))
        assert topology.component_count == 1
        assert topology.notices == ()
        assert mended(topology)[1] == []


def test_an_end_that_would_move_its_own_aim_is_left_and_told() -> None:
    """A step of the main's end takes 'side' along, that takes 'back', and so on."""
    drawing = drawing_from_runs(
        [
            ("main", np.array([[0, 0, 0], [8, 0, 0]], float), CUT),
            ("side", np.array([[4, 0, 0], [4, 3, 0]], float), CUT),
            ("back", np.array([[4, 2, 0], [9, -0.4375, 0]], float), CUT),
        ]
    )
    copy, changes = mended(join(drawing))
    assert changes == []
    assert np.array_equal(copy.points, drawing.points)
    (said,) = near_misses(join(copy))
    assert "short of run 'back'" in said.what


# On a trunk along x: a tee, a cross, a takeoff at 45 degrees, a riser, a branch that
# ends there, one with a bend, and one on the side of another.
BRANCHES: Lines = {
    "tee": [[2, 0, 0], [2, 3, 0]],
    "north": [[4, 0, 0], [4, 3, 0]],
    "south": [[4, 0, 0], [4, -3, 0]],
    "slanted": [[6, 0, 0], [8, 2, 0]],
    "up": [[3, 0, 0], [3, 0, 2]],
    "comes": [[5, -2, 0], [5, 0, 0]],
    "side": [[4, 2, 0], [3, 2, 0]],
    "last": [[7, 0, 0], [7, 0.5, 0], [7, 0.5, 1]],
}
TURNS = [np.eye(3), about_z(0.7), np.array([[0.6, 0.64, 0.48], [-0.8, 0.48, 0.36]])]
TURNS[2] = np.vstack([TURNS[2], np.cross(*TURNS[2])])


@pytest.mark.parametrize("turn", TURNS)
@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("way", [0.03, -0.03])
def test_branches_stay_where_they_are_on_a_line_that_is_drawn_on(
    turn: Any, seed: int, way: float
) -> None:
    """Or cut back; the tees used to go along it by their share of its length."""
    lines: Lines = BRANCHES | {"main": [[8, -3, 0], [8, 1, 0]]}
    lines["trunk"] = [[0, 0, 0], [8 - way, 0, 0]]
    copy, changes = _mended_anyhow(lines, turn, seed)
    (said,) = changes
    assert said.startswith("run 'trunk' was ")
    lines["trunk"] = [[0, 0, 0], [8, 0, 0]]
    _assert_at(copy, lines, turn)


@pytest.mark.parametrize("turn", TURNS)
@pytest.mark.parametrize("seed", range(4))
def test_branches_go_along_their_own_lines_with_a_line_that_is_turned(
    turn: Any, seed: int
) -> None:
    """None is slanted that was not; the riser cannot but be, and moves the least."""
    lines: Lines = BRANCHES | {"main": [[8, 0.03, -3], [8, 0.03, 1]]}
    lines["trunk"] = [[0, 0, 0], [7.99, 0, 0]]
    copy, changes = _mended_anyhow(lines, turn, seed)
    assert len(changes) == 1 + 6  # the tee, the cross once, and so on, but not 'side'
    slope = 0.03 / 8

    def on(x: float) -> list[float]:
        return [x, slope * x, 0]

    lines["trunk"] = [[0, 0, 0], on(8)]
    for name in ("tee", "north", "south", "last"):
        lines[name] = [on(lines[name][0][0]), *lines[name][1:]]
    lines["comes"] = [[5, -2, 0], on(5)]
    lines["slanted"] = [on(6 / (1 - slope)), [8, 2, 0]]  # x - 6 = slope x
    lines["up"] = [on(3 / (1 + slope**2)), [3, 0, 2]]  # the foot of (3, 0, 0)
    _assert_at(copy, lines, turn)
    assert join(copy).component_count == 1


def test_a_riser_where_two_lines_cross_stays_where_they_cross() -> None:
    lines: Lines = {
        "trunk": [[0, 0, 0], [7.99, 0, 0]],
        "main": [[8, 0.03, -3], [8, 0.03, 1]],
        "across": [[4, -2, 0], [4, 3, 0]],
        "up": [[4, 0, 0], [4, 0, 2]],
    }
    copy, _ = _mended_anyhow(lines)
    lines["trunk"][1], lines["up"][0] = [8, 0.03, 0], [4, 0.015, 0]
    _assert_at(copy, lines)
    assert join(copy).component_count == 1


def test_a_branch_behind_where_a_line_is_cut_back_goes_to_its_end() -> None:
    lines: Lines = {
        "trunk": [[0, 0, 0], [8.05, 0, 0]],
        "main": [[8, -3, 0], [8, 3, 0]],
        "tee": [[8.02, 0, 0], [8.02, 0, 2]],
    }
    copy, _ = _mended_anyhow(lines)
    lines["trunk"][1] = lines["tee"][0] = [8, 0, 0]
    _assert_at(copy, lines)
    assert join(copy).component_count == 1


def test_what_was_mended_at_a_larger_tolerance_is_joined_by_default() -> None:
    """At 20 mm 'tee' meets two lines there, which are 6 mm apart, and was left."""
    lines: Lines = {
        "trunk": [[0, 0, 0], [8, 0, 0]],
        "double": [[2, 0.006, 0], [12, 0.006, 0]],
        "tee": [[5, 0.006, 0.008], [5, 0.006, 2]],
    }
    runs = [(name, np.array(line, float), CUT) for name, line in lines.items()]
    drawing = drawing_from_runs(runs)
    copy, _ = mended(join(drawing, 0.02))
    assert near_misses(join(copy)) == []
    assert mended(join(copy))[1] == []


def _mended_anyhow(
    lines: Lines, turn: Any = TURNS[0], seed: int = 0
) -> tuple[Drawing, list[str]]:
    """Mend runs in some order, each drawn from either end."""
    random = np.random.default_rng(seed)
    runs = [
        (name, (np.array(lines[name], float) @ turn.T)[:: random.choice([-1, 1])], CUT)
        for name in random.permutation(list(lines)).tolist()
    ]
    return mended(join(drawing_from_runs(runs)))


def _assert_at(copy: Drawing, lines: Lines, turn: Any = TURNS[0]) -> None:
    for row, name in enumerate(copy.names):
        points = copy.run(row).points @ turn
        is_back = np.linalg.norm(points[0] - lines[name][0]) > 0.1
        points = points[::-1] if is_back else points
        assert points == pytest.approx(np.array(lines[name]), abs=1e-6)
