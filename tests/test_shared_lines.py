"""Lines that share a stretch: whose airflow is whose, in whatever order they come."""

import re
import tracemalloc
from collections.abc import Mapping
from dataclasses import replace
from itertools import permutations

import numpy as np
import pytest

from elbowroom.layout import (
    Attributes,
    BadInput,
    Drawing,
    Schedule,
    TerminalSpec,
    audit,
    build,
    draft_schedule,
    drawing_from_runs,
    join,
    rectangular,
)
from elbowroom.physics import analyse

WIDE = rectangular(0.4, 0.3)
LINES = {
    "hall": [(0, 0, 3), (6, 0, 3), (6, 4, 3)],
    "bath": [(0, 0, 3), (3, 0, 3), (3, -4, 3)],
    "attic": [(0, 0, 3), (10, 0, 3)],
    "main": [(0, 0, 3), (8, 0, 3)],
    "side": [(2, 0, 3), (5, 0, 3), (5, 4, 3)],
    "to six": [(0, 0, 3), (6, 0, 3)],
    "tap": [(1, 0, 3), (1, 2, 3)],
    "late tap": [(6, 2, 3), (9, 2, 3)],
    "end": [(5, 0, 3), (8, 0, 3)],
    "main again": [(0, 0, 3), (5, 0, 3), (8, 0, 3)],
}


def drawn(flows: Mapping[str, float], source: str, mark: str = "") -> list[Drawing]:
    """Some of the lines with airflows, m3/s, in every order."""
    said = {name: Attributes(terminal="room") for name in [mark] if mark}
    said[source] = replace(
        said.get(source, Attributes()), source=True, source_at_end=False
    )
    return [
        replace(
            drawing_from_runs(
                [(name, np.array(LINES[name], float), WIDE) for name in names],
                attributes=said,
            ),
            flow=np.array([flows[name] for name in names]),
        )
        for names in permutations(flows)
    ]


@pytest.mark.parametrize(
    "flows",
    [
        {"hall": 0.2, "bath": 0.05, "attic": 0.15},
        {"hall": 0.2, "bath": 0.05},
        {"hall": 0.2, "bath": 0.05, "tap": 0.02},
    ],
)
def test_the_airflow_of_a_line_from_the_fan_is_that_of_its_end(
    flows: dict[str, float],
) -> None:
    losses = []
    for drawing in drawn(flows, "hall"):
        graph = build(drawing)
        ends = dict(zip(graph.terminals.name, graph.terminals.flow, strict=True))
        assert ends == flows
        said = [n for n in graph.notices if "that of its free end alone" in n.what]
        assert len(said) == 1
        assert "'hall'" in said[0].what
        losses.append(analyse(graph).critical_loss)
    assert losses == pytest.approx([losses[0]] * len(losses), rel=1e-9)


@pytest.mark.parametrize(
    ("flows", "source", "other"),
    [
        ({"main": 0.4, "side": 0.1}, "main", "side"),
        ({"hall": 0.2, "bath": 0.05, "late tap": 0.02}, "hall", "bath"),
    ],
)
def test_an_airflow_that_may_be_a_total_is_refused_with_the_stretch(
    flows: dict[str, float], source: str, other: str
) -> None:
    for drawing in drawn(flows, source):
        with pytest.raises(BadInput) as caught:
            build(drawing)
        assert f"run '{source}'" in str(caught.value)
        assert f"shares a stretch with run '{other}'" in str(caught.value)
        assert f'[terminals."{source}"]' in str(caught.value)


@pytest.mark.parametrize(
    ("flows", "source", "asked"),
    [
        ({"hall": 0.2, "bath": 0.05, "attic": 0.15}, "hall", []),
        ({"main": 0.4, "side": 0.1}, "main", ["main"]),
    ],
)
def test_a_draft_asks_for_the_airflows_that_an_analysis_lacks(
    flows: dict[str, float], source: str, asked: list[str]
) -> None:
    for drawing in drawn(flows, source):
        seen = audit(drawing)
        text = draft_schedule(seen.topology, seen.sections)
        found = re.findall(r'^\[terminals\."(.*)"\]', text, re.MULTILINE)
        assert found == asked
        assert (seen.graph is None) == bool(asked)


def test_a_total_at_the_start_of_a_line_is_checked_there() -> None:
    ends = Schedule(terminals={"main": TerminalSpec(0.3)})
    for drawing in drawn({"main": 0.4, "side": 0.1}, "main"):
        analyse(build(drawing, ends))
    for drawing in drawn({"main": 0.5, "side": 0.1}, "main"):
        with pytest.raises(BadInput, match="'main': the drawing writes 500 L/s"):
            analyse(build(drawing, ends))


def test_a_schedule_against_the_airflow_of_a_shared_line_is_refused() -> None:
    ends = Schedule(terminals={"hall": TerminalSpec(0.3)})
    for drawing in drawn({"hall": 0.2, "bath": 0.05}, "hall"):
        with pytest.raises(BadInput, match="'hall': the drawing writes 200 L/s"):
            analyse(build(drawing, ends))


@pytest.mark.parametrize("flow", [0.05, 0.15])
def test_an_airflow_of_a_line_that_lies_wholly_on_another_is_refused(
    flow: float,
) -> None:
    """Also where both say the same: each was meant for a terminal of its own."""
    for drawing in drawn({"attic": 0.15, "to six": flow}, "attic"):
        with pytest.raises(BadInput) as caught:
            build(drawing)
        assert "run 'to six': all of this run lies on run 'attic'" in str(caught.value)
        assert f"its airflow of {flow * 1000:.0f} L/s" in str(caught.value)
    for drawing in drawn({"attic": 0.15, "to six": np.nan}, "attic", "to six"):
        with pytest.raises(BadInput, match="its terminal 'room' would be lost"):
            build(drawing)


def test_a_copy_that_says_nothing_or_the_same_is_counted_once() -> None:
    for copy, flow in (("end", np.nan), ("main again", 0.4)):
        for drawing in drawn({"main": 0.4, copy: flow}, "main"):
            assert build(drawing).terminals.flow.tolist() == [0.4]
    for drawing in drawn({"main": 0.4, "main again": 0.3}, "main"):
        with pytest.raises(BadInput, match="would be lost"):
            build(drawing)


def test_a_line_that_lies_on_many_is_told_once_with_all_of_them() -> None:
    """Each a metre longer than the one before, which so keeps a metre for itself."""
    runs = [
        (f"to {x}", np.array([(0, 0, 3), (x, 0, 3), (x, 2, 3.0)]), WIDE)
        for x in range(1, 9)
    ]
    marks = {"to 1": Attributes(source=True, source_at_end=False)}
    flows = {name: 0.1 for name, _, _ in runs}
    graph = build(drawing_from_runs(runs, flows=flows, attributes=marks))
    assert graph.terminals.flow.tolist() == [0.1] * 8
    said = [n.sentence for n in graph.notices if "was counted once" in n.sentence]
    assert len(said) == 7
    assert "runs 'to 1' and 'to 2': they lie on each other for 1 m" in said[0]
    assert (
        "run 'to 8': it lies on 'to 1', 'to 2', 'to 3', 'to 4', 'to 5' and 2 more "
        "for 7 m"
    ) in said[-1]


def test_each_two_of_many_lines_along_a_trunk_are_looked_at_once() -> None:
    """They meet in every place that they pass; the room needed shows how often."""
    runs = [
        (f"to {x}", np.array([(0, 0, 3), (x, 0, 3), (x, 2, 3.0)]), WIDE)
        for x in range(1, 101)
    ]
    drawing = drawing_from_runs(runs)
    join(drawing)
    tracemalloc.start()
    topology = join(drawing)
    _, most = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert len(topology.ends) == 200  # a hundred stretches of trunk, a hundred ends
    pairs = len(topology.doubled)
    assert pairs == 4950  # 100 * 99 / 2
    assert most / pairs < 1200  # bytes: 770, where each came up four times 1900


def test_an_airflow_of_a_run_without_length_is_refused() -> None:
    drawing = replace(
        drawing_from_runs(
            [
                ("main", np.array([(0, 0, 3), (8, 0, 3.0)]), WIDE),
                ("dot", np.array([(4, 0, 3), (4, 0.0001, 3.0)]), WIDE),
            ],
            attributes={"main": Attributes(source=True, source_at_end=False)},
        ),
        flow=np.array([0.4, 0.1]),
    )
    with pytest.raises(BadInput, match="'dot': all of this run lies on others, or it"):
        build(drawing)
