"""Bends are counted from the end of a run nearer to the source, however it is drawn."""

from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from routes import Run

from elbowroom.layout import (
    Attributes,
    DuctGraph,
    ElbowConstruction,
    ElbowRule,
    Schedule,
    SourceSpec,
    build,
    directed,
    drawing_from_runs,
    read_schedule,
    rectangular,
    round_section,
)
from elbowroom.physics import analyse

PLAIN = settings(max_examples=20, deadline=None, derandomize=True)
SIDE, ROUND = rectangular(0.4, 0.25), round_section(0.3)
SOURCE = {"in": Attributes(source=True)}
# A run with a corner at its start and three of its own, which a branch leaves between.
TREE: list[Run] = [
    ("in", [[0, 0, 3], [4, 0, 3]], SIDE),
    ("main", [[4, 0, 3], [4, 5, 3], [9, 5, 3], [9, 9, 3], [13, 9, 3]], SIDE),
    ("side", [[7, 5, 3], [7, 2, 3], [10, 2, 3], [10, -1, 3]], ROUND),
    ("out", [[13, 9, 3], [15, 9, 3]], SIDE),
]
# A run that another one feeds on the way, 8 m from one end and 12 m from the other.
FED: list[Run] = [
    ("in", [[0, -3, 3], [0, 0, 3]], SIDE),
    ("main", [[-4, 4, 3], [-4, 0, 3], [8, 0, 3], [8, 4, 3]], ROUND),
    ("out", [[-4, 4, 3], [-4, 6, 3]], ROUND),
    ("off", [[8, 4, 3], [8, 6, 3]], ROUND),
]
# A ring in two runs, with corners where they meet; each has a branch.
RING: list[Run] = [
    ("in", [[0, 0, 3], [2, 0, 3]], SIDE),
    ("one", [[2, 0, 3], [2, 5, 3], [9, 5, 3], [9, 2, 3]], ROUND),
    ("two", [[9, 2, 3], [7, 2, 3], [7, -5, 3], [2, -5, 3], [2, 0, 3]], ROUND),
    ("out", [[5, 5, 3], [5, 8, 3]], ROUND),
    ("off", [[5, -5, 3], [5, -8, 3]], ROUND),
]
WHOLE: list[Run] = [
    RING[0],
    (
        "all",
        [[2, 0, 3], [2, 5, 3], [9, 5, 3], [9, -5, 3], [2, -5, 3], [2, 0, 3]],
        ROUND,
    ),
    *RING[3:],
]
ROUTES = {"tree": TREE, "fed": FED, "ring": RING, "whole": WHOLE}
WANTED = {
    "tree": {
        (4, 0): "main 1",
        (4, 5): "main 2",
        (9, 5): "main 3",
        (9, 9): "main 4",
        (7, 2): "side 1",
        (10, 2): "side 2",
    },
    "fed": {(-4, 0): "main 1", (8, 0): "main 2"},
    "ring": {
        (2, 5): "one 1",
        (9, 5): "one 2",
        (2, -5): "two 1",
        (7, -5): "two 2",
        (7, 2): "two 3",
    },
    "whole": {(2, -5): "all 1", (9, -5): "all 2", (9, 5): "all 3", (2, 5): "all 4"},
}


MITRED = {
    "tree": [("main", 2), ("side", 1)],
    "fed": [("main", 2)],
    "ring": [("two", 1)],
    "whole": [("all", 1)],
}
SAID = {
    name: Schedule(
        elbow_exceptions=dict.fromkeys(bends, ElbowRule(ElbowConstruction.MITRED))
    )
    for name, bends in MITRED.items()
}


def built(runs: list[Run], schedule: Schedule | None = None) -> DuctGraph:
    lines = [(name, np.array(points, float), cut) for name, points, cut in runs]
    names = {name for name, _, _ in runs}
    flows = {"side": 0.1, "out": 0.1, "off": 0.2}
    flows = {name: flow for name, flow in flows.items() if name in names}
    return build(drawing_from_runs(lines, flows=flows, attributes=SOURCE), schedule)


def numbered(graph: DuctGraph) -> dict[tuple[float, ...], str]:
    """Run and number of each bend, by where it stands."""
    names, bends = graph.drawing.names, graph.bends
    return {
        tuple(corner[:2]): f"{names[run]} {number}"
        for corner, run, number in zip(
            graph.topology.nodes[graph.ducts.start[bends.duct]].round(6).tolist(),
            graph.ducts.run[bends.duct].tolist(),
            bends.number.tolist(),
            strict=True,
        )
    }


def losses(graph: DuctGraph) -> dict[str, float]:
    found = analyse(graph)
    names = found.graph.terminals.name
    return dict(zip(names, found.path_loss.tolist(), strict=True))


LOSSES = {name: losses(built(runs, SAID[name])) for name, runs in ROUTES.items()}


def redrawn(runs: list[Run], data: st.DataObject) -> list[Run]:
    """The same ducts with lines turned round, in another order, with more vertices."""
    out: list[Run] = []
    for name, points, cut in data.draw(st.permutations(runs)):
        line = [points[0]]
        for a, b in pairwise(points):
            shares = data.draw(st.sets(st.integers(1, 9), max_size=2))
            step = np.subtract(b, a)
            line += [(a + n / 10 * step).tolist() for n in sorted(shares)]
            line.append(b)
        out.append((name, line[:: data.draw(st.sampled_from([1, -1]))], cut))
    return out


@pytest.mark.parametrize("name", list(ROUTES))
@PLAIN
@given(st.data())
def test_bends_keep_their_numbers_however_lines_are_drawn(
    name: str, data: st.DataObject
) -> None:
    runs = redrawn(ROUTES[name], data)
    found = numbered(built(runs))
    assert {at: found[at] for at in WANTED[name]} == WANTED[name]
    wanted = pytest.approx(LOSSES[name], rel=1e-6)
    assert losses(built(runs, SAID[name])) == wanted


@pytest.mark.parametrize("name", list(ROUTES))
def test_what_is_said_of_one_bend_counts(name: str) -> None:
    """So that the losses above are a test."""
    assert losses(built(ROUTES[name])) != pytest.approx(LOSSES[name], rel=1e-3)


@pytest.mark.parametrize("name", ["ring", "whole"])
def test_bends_of_a_ring_keep_their_numbers_where_its_air_turns_round(
    name: str,
) -> None:
    """A corner where two runs meet is of the run behind it, as the air goes."""
    graph = built(ROUTES[name])
    assert graph.loops is not None
    seen = set()
    for flow in np.random.default_rng(1).normal(size=(20, len(graph.loops.forward))):
        found = numbered(directed(graph, flow))
        seen.add(found.get((9, 2)))
        assert {at: found[at] for at in WANTED[name]} == WANTED[name]
    assert name == "whole" or seen == {"one 3", "two 4"}


@pytest.mark.parametrize("first", range(5))
@pytest.mark.parametrize("step", [1, -1])
def test_a_ring_is_counted_alike_wherever_its_line_begins(
    first: int, step: int
) -> None:
    points = [(2, 0, 3), (2, 5, 3), (9, 5, 3), (9, -5, 3), (2, -5, 3)]
    order = [(first + step * n) % 5 for n in range(6)]
    line: Run = ("all", [points[n] for n in order], ROUND)
    assert numbered(built([RING[0], line, *RING[3:]])) == WANTED["whole"]


@pytest.mark.parametrize("is_return", [False, True])
@pytest.mark.parametrize("step", [1, -1])
def test_a_return_is_counted_from_its_fan_too(is_return: bool, step: int) -> None:
    runs = [(name, points[::step], cut) for name, points, cut in TREE]
    said = Schedule(source=SourceSpec(is_return=is_return))
    assert numbered(built(runs, said)) == WANTED["tree"]


@pytest.mark.parametrize("step", [1, -1])
def test_a_bend_that_a_schedule_names_is_that_nearer_to_the_source(
    step: int, tmp_path: Path
) -> None:
    plan = tmp_path / "plan.toml"
    plan.write_text(
        '[[elbows.exception]]\nrun = "side"\nbend = 1\nconstruction = "mitred"\n'
    )
    runs = [(name, points[::step], cut) for name, points, cut in TREE]
    bends = built(runs, read_schedule(plan)).bends
    mitred = bends.corner[bends.construction == int(ElbowConstruction.MITRED)]
    np.testing.assert_allclose(mitred, [[7, 2, 3]], atol=1e-9)


def test_a_corner_keeps_its_number_where_it_is_a_tap_at_a_closed_end() -> None:
    runs: list[Run] = [
        ("in", [[0, 0, 0], [0, 0, 2]], rectangular(0.5, 0.5)),
        ("out", [[0, 0, 2], [3, 0, 2], [3, 2, 2], [5, 2, 2]], SIDE),
    ]
    elbow, tap = (built(runs, Schedule(closed_ends={"out": t})) for t in (False, True))
    assert numbered(elbow) == {(0, 0): "out 1", (3, 0): "out 2", (3, 2): "out 3"}
    assert numbered(tap) == {(3, 0): "out 2", (3, 2): "out 3"}
    said = dict.fromkeys([("out", 1)], ElbowRule(ElbowConstruction.MITRED))
    graph = built(runs, Schedule(closed_ends={"out": True}, elbow_exceptions=said))
    (told,) = (n.what for n in graph.notices if "its bend 1" in n.what)
    assert "bends 2, 3 only (the tap at its start" in told
