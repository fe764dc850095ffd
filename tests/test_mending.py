"""A mended copy has nothing left to mend, also when it is read again."""

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from elbowroom.layout import (
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
    again, more = mended(join(seen, tolerance))
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
    monkeypatch.setattr("elbowroom.layout.mend._REPEATS", 1)
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
