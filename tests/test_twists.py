"""Sections on both sides of a joint are compared as they stand, not as written."""

from typing import Any

import numpy as np
import pytest

from elbowroom.layout import (
    Attributes,
    DuctGraph,
    FloatArray,
    Schedule,
    Section,
    SourceSpec,
    build,
    drawing_from_runs,
    flat_oval,
    rectangular,
    round_section,
    solids,
)
from elbowroom.physics import Kind, analyse, quantities

DEGREE = np.pi / 180.0
FLAT, TALL = rectangular(0.6, 0.3), rectangular(0.3, 0.6)
ALONG: list[list[float]] = [[0, 0, 3], [5, 0, 3]]
ONWARD: list[list[float]] = [[5, 0, 3], [9, 0, 3]]
UPWARDS: list[list[float]] = [[5, 0, 3], [5, 0, 9]]


def built(
    runs: list[Any],
    said: dict[str, Attributes],
    last: str = "b",
    is_return: bool = False,
) -> DuctGraph:
    drawing = drawing_from_runs(
        runs,
        flows={last: 0.5},
        attributes={**said, "a": said.get("a", Attributes(source=True))},
    )
    return build(drawing, Schedule(source=SourceSpec(is_return=is_return)))


def pair(
    one: Section,
    two: Section,
    points: list[list[float]] = ONWARD,
    is_return: bool = False,
    **said: Any,
) -> DuctGraph:
    runs = [("a", ALONG, one), ("b", points, two)]
    return built(runs, {"b": Attributes(**said)}, is_return=is_return)


def spent(graph: DuctGraph) -> float:
    return float(analyse(graph).elements.loss.sum())


def remarks(graph: DuctGraph) -> list[str]:
    return [str(one) for one in graph.notices if "turned by" in one.what]


def corners(graph: DuctGraph, kind: str, ring: int) -> FloatArray:
    """Corners of the section at a ring of the first piece of a kind, sorted."""
    shapes = solids(graph)
    tubes = shapes.tubes
    at = int(tubes.offsets[shapes.kind.index(kind) + (ring < 0)]) + ring
    sides = [
        (one * tubes.across[at] * tubes.width[at], two * tubes.upright[at])
        for one in (-0.5, 0.5)
        for two in (-0.5, 0.5)
    ]
    found = [tubes.centre[at] + wide + tubes.height[at] * tall for wide, tall in sides]
    return np.array(sorted(np.round(found, 9).tolist())) + 0.0


@pytest.mark.parametrize("is_return", [False, True])
@pytest.mark.parametrize("order", [1, -1])
@pytest.mark.parametrize("drawn", [1, -1])
def test_a_section_said_the_other_way_round_behind_a_corner_is_the_same(
    order: int, drawn: int, is_return: bool
) -> None:
    one, other = rectangular(0.3, 0.4), rectangular(0.4, 0.3)
    runs = [("a", ALONG, one), ("b", UPWARDS[::drawn], other)][::order]
    up = {"b": Attributes(up=(0.0, 1.0, 0.0))}
    graph = built(runs, up, is_return=is_return)
    assert len(graph.transitions.duct) == 0
    assert graph.bends.in_plane.tolist() == [0.4]  # it turns about the level width
    assert not any("corner" in one.what for one in graph.notices)
    assert remarks(graph) == []
    plain = pair(one, one, UPWARDS, is_return)
    assert spent(graph) == pytest.approx(spent(plain), rel=1e-12)


def test_its_pieces_fit_together() -> None:
    graph = pair(rectangular(0.3, 0.4), rectangular(0.4, 0.3), UPWARDS, up=(0, 1, 0))
    plain = pair(rectangular(0.3, 0.4), rectangular(0.3, 0.4), UPWARDS)
    for kind, ring in (("bend", -1), ("duct", 0)):
        assert corners(graph, kind, ring) == pytest.approx(corners(plain, kind, ring))


def test_a_section_said_to_stand_across_behind_a_corner_changes() -> None:
    graph = pair(FLAT, FLAT, UPWARDS, up=(0.0, 1.0, 0.0))
    assert len(graph.transitions.duct) == 1
    (said,) = remarks(graph)
    assert "turned by 90 degrees against the run before it, and no fitting" in said
    assert "300×600 mm (11.8×23.6 in) to 600×300 mm" in said
    (corner,) = (n.what for n in graph.notices if "at the corner" in n.what)
    assert "300×600 mm (11.8×23.6 in) and 600×300 mm" in corner


@pytest.mark.parametrize("said", [{"roll": np.pi / 2}, {"up": (0.0, 1.0, 0.0)}])
@pytest.mark.parametrize("oval", [False, True])
def test_a_quarter_twist_in_a_straight_line_is_a_change_of_shape(
    said: dict[str, Any], oval: bool
) -> None:
    make = flat_oval if oval else rectangular
    flat, tall = make(0.6, 0.3), make(0.3, 0.6)
    graph, written = pair(flat, flat, **said), pair(flat, tall)
    found, other = analyse(graph), analyse(written)
    assert remarks(written) == []
    (row,) = np.flatnonzero(found.elements.kind == Kind.TRANSITION).tolist()
    assert found.words(row) == f"change of shape from {tall.words}"
    assert found.section(row) == flat
    assert found.elements.loss == pytest.approx(other.elements.loss, rel=1e-12)
    assert found.elements.coefficient[row] == pytest.approx(0.05)
    assert graph.transitions.length == pytest.approx(written.transitions.length)
    assert len(remarks(graph)) == 1


@pytest.mark.parametrize("is_return", [False, True])
def test_its_sides_are_paired_as_they_stand(is_return: bool) -> None:
    """600x300 that goes on in 200x500 on its edge narrows its 300 to 200 only."""
    on_edge = pair(FLAT, rectangular(0.2, 0.5), is_return=is_return, roll=np.pi / 2)
    written = pair(FLAT, rectangular(0.5, 0.2), is_return=is_return)
    assert spent(on_edge) == pytest.approx(spent(written), rel=1e-12)
    assert corners(on_edge, "transition", 1) == pytest.approx(
        corners(written, "transition", 1)
    )
    assert corners(on_edge, "transition", 0) == pytest.approx(
        corners(written, "transition", 0)
    )


def test_what_stands_across_and_says_its_sides_the_other_way_goes_on() -> None:
    graph = pair(FLAT, TALL, roll=np.pi / 2)
    assert len(graph.transitions.duct) == 0
    assert remarks(graph) == []
    assert spent(graph) == pytest.approx(spent(pair(FLAT, FLAT)), rel=1e-12)


@pytest.mark.parametrize(
    ("degrees", "changes", "said"),
    [
        (0.5, 0, 0), (2.0, 0, 1), (45.0, 0, 1), (45.1, 1, 1), (88.0, 1, 1),
        (89.5, 1, 1), (135.0, 0, 1), (134.9, 1, 1), (180.0, 0, 0), (-45.0, 0, 1),
    ],
)  # fmt: skip
def test_a_twist_counts_as_the_nearer_quarter_turn_and_is_said(
    degrees: float, changes: int, said: int
) -> None:
    graph = pair(FLAT, FLAT, roll=degrees * DEGREE)
    assert len(graph.transitions.duct) == changes
    assert len(remarks(graph)) == said
    # The same section, said the other way round and a quarter turn further on.
    other = pair(FLAT, TALL, roll=(degrees + 90.0) * DEGREE)
    off = abs(degrees % 90.0 - 45.0) > 1e-6
    assert len(other.transitions.duct) == (changes if off else 1)
    assert not any("turned by 88" in one for one in remarks(other))
    assert len(remarks(other)) == (min(degrees % 90.0, -degrees % 90.0) > 1.0)


def test_a_square_may_stand_as_it_will() -> None:
    square = rectangular(0.4, 0.4)
    for degrees in (45.0, 90.0):
        graph = pair(square, square, roll=degrees * DEGREE)
        assert len(graph.transitions.duct) == 0
        assert remarks(graph) == []


def test_a_run_that_says_nothing_follows_the_one_before() -> None:
    runs = [("a", ALONG, FLAT), ("b", ONWARD, FLAT)]
    graph = built(runs, {"a": Attributes(source=True, roll=np.pi / 2)})
    assert len(graph.transitions.duct) == 0


@pytest.mark.parametrize("own", [{}, {"roll": np.pi / 2}])
@pytest.mark.parametrize(("behind", "changes"), [(FLAT, True), (TALL, False)])
def test_a_drawn_transition_may_turn_the_section(
    own: dict[str, Any], behind: Section, changes: bool
) -> None:
    runs = [
        ("a", ALONG, FLAT),
        ("t", [[5, 0, 3], [5.5, 0, 3]], None),
        ("b", [[5.5, 0, 3], [9, 0, 3]], behind),
    ]
    said = {
        "t": Attributes(transition=True, **own),
        "b": Attributes(roll=np.pi / 2),
    }
    graph = built(runs, said)
    assert len(graph.transitions.duct) == changes
    if changes:
        assert graph.transitions.length == pytest.approx([0.5])
    assert remarks(graph) == []


def test_a_joint_within_an_arc_is_compared_as_it_stands() -> None:
    step = np.linspace(0.0, np.pi / 2, 13)
    arc = np.stack([3 + 0.9 * np.sin(step), 0 * step, 0.9 - 0.9 * np.cos(step)], axis=1)
    points = np.concatenate([[[0, 0, 0]], arc, [[3.9, 0, 4.0]]]).tolist()
    runs = [
        ("a", points[:7], rectangular(0.3, 0.4)),
        ("b", points[6:], rectangular(0.4, 0.3)),
    ]
    graph = built(runs, {"b": Attributes(up=(0.0, 1.0, 0.0))})
    assert len(graph.bends.duct) == 1
    assert graph.bends.radius == pytest.approx([0.9], rel=0.01)
    assert len(graph.transitions.duct) == 0


@pytest.mark.parametrize(("behind", "changes"), [(FLAT, True), (TALL, False)])
def test_a_main_past_a_branch_is_compared_as_it_stands(
    behind: Section, changes: bool
) -> None:
    runs: list[Any] = [
        ("a", ALONG, FLAT),
        ("b", ONWARD, behind),
        ("side", [[5, 0, 3], [5, 4, 3]], rectangular(0.2, 0.2)),
    ]
    drawing = drawing_from_runs(
        runs,
        flows={"b": 0.5, "side": 0.1},
        attributes={"a": Attributes(source=True), "b": Attributes(roll=np.pi / 2)},
    )
    graph = build(drawing)
    assert len(remarks(graph)) == changes
    counted = [r.what for r in quantities(analyse(graph)).fittings if "past" in r.what]
    assert len(counted) == changes


@pytest.mark.parametrize(("roll", "drawn"), [(0.0, 0), (np.pi / 2, 1)])
def test_the_opening_of_a_branch_is_compared_with_the_duct_behind(
    roll: float, drawn: int
) -> None:
    """Its opening is written, 600x300; the duct behind it too, and how that stands."""
    runs: list[Any] = [
        ("a", ALONG, rectangular(0.8, 0.6)),
        ("c", ONWARD, rectangular(0.8, 0.6)),
        ("t", [[5, 0, 3], [5, 0.5, 3]], FLAT),
        ("b", [[5, 0.5, 3], [5, 4, 3]], FLAT),
    ]
    drawing = drawing_from_runs(
        runs,
        flows={"b": 0.5, "c": 0.5},
        attributes={
            "a": Attributes(source=True),
            "t": Attributes(transition=True),
            "b": Attributes(roll=roll),
        },
    )
    assert len(build(drawing).transitions.duct) == drawn


def test_a_riser_at_the_source_stands_as_what_it_leads_to_says() -> None:
    runs = [("a", [[0, 0, 0], [0, 0, 4]], FLAT), ("b", [[0, 0, 4], [5, 0, 4]], FLAT)]
    for roll in (0.0, np.pi / 2):
        graph = built(runs, {"b": Attributes(roll=roll)})
        assert len(graph.transitions.duct) == 0
        assert remarks(graph) == []


@pytest.mark.parametrize("heading", [0.0, 30.0, 45.0, 90.0])
def test_a_riser_at_the_source_stands_as_the_one_above_it_says(heading: float) -> None:
    """Whichever way the plan is turned."""
    x, y = np.cos(np.radians(heading)), np.sin(np.radians(heading))
    away = [4 * x, 4 * y, 9]
    runs = [
        ("a", [[0, 0, 0], [0, 0, 4]], FLAT),
        ("b", [[0, 0, 4], [0, 0, 9], away], FLAT),
    ]
    for across, hard in ((False, False), (True, True)):
        up = (-y, x, 0.0) if across else (x, y, 0.0)
        graph = built(runs, {"b": Attributes(up=up)})
        assert len(graph.transitions.duct) == 0
        assert remarks(graph) == []
        in_plane = FLAT.width if hard else FLAT.height
        assert graph.bends.in_plane.tolist() == pytest.approx([in_plane])


@pytest.mark.parametrize("heading", [0.0, 30.0, 45.0, 90.0])
@pytest.mark.parametrize("section", [FLAT, flat_oval(0.6, 0.3)])
def test_a_level_run_behind_a_round_one_begins_level(
    heading: float, section: Section
) -> None:
    """What a circle was carried round cannot be seen."""
    turn = np.radians(heading)
    plan = np.array([[np.cos(turn), np.sin(turn), 0], [-np.sin(turn), np.cos(turn), 0]])
    plan = np.vstack([plan, [0, 0, 1]])
    twisted = np.array([[0, 0, 0], [0, 3, 0], [0, 3, 4], [0, 0, 4], [0, 0, 8]])
    behind = np.array([[0, 0, 8], [6, 0, 8], [6, 6, 8]])
    runs = [("a", twisted @ plan, round_section(0.45)), ("b", behind @ plan, section)]
    silent, said = (
        built(runs, {"b": words}) for words in (Attributes(), Attributes(up=(0, 0, 1)))
    )
    assert silent.ducts.roll[silent.ducts.run == 1].tolist() == [0.0, 0.0]
    assert spent(silent) == spent(said)
    assert not [one for one in silent.notices if "level" in one.what]


@pytest.mark.parametrize("heading", [0.0, 30.0, 45.0, 90.0])
def test_a_riser_behind_a_round_run_stands_as_what_it_leads_to(heading: float) -> None:
    x, y = np.cos(np.radians(heading)), np.sin(np.radians(heading))
    runs = [
        ("a", [[4, 0, 0], [0, 0, 0], [0, 0, 3]], round_section(0.45)),
        ("b", [[0, 0, 3], [0, 0, 8], [4 * x, 4 * y, 8]], FLAT),
    ]
    graph = built(runs, {})
    assert graph.ducts.roll[-1] == 0.0
    assert graph.bends.in_plane[-1] == FLAT.height
    (told,) = [one.what for one in graph.notices if "no level side" in one.what]
    assert told.startswith("a vertical run behind a round duct has no level side")


def test_each_end_of_a_run_that_closes_a_ring_is_said_once_with_its_place() -> None:
    square = rectangular(0.3, 0.3)
    runs = [
        ("a", [[0, -4, 0], [0, 0, 0]], FLAT),
        ("right", [[0, 0, 0], [5, 0, 0], [5, 5, 0]], FLAT),
        ("left", [[0, 0, 0], [-5, 0, 0], [-5, 5, 0]], FLAT),
        ("far", [[5, 5, 0], [0, 5, 0], [-5, 5, 0]], FLAT),
        ("out", [[0, 5, 0], [0, 8, 0]], square),
    ]
    said = {"far": Attributes(roll=np.pi / 2), "out": Attributes(roll=0.0)}
    found = remarks(analyse(built(runs, said, "out")).graph)
    assert len(set(found)) == len(found) == 2
    for place in ("at (5, 5, 0) m it stands turned", "at (-5, 5, 0) m it stands"):
        assert sum(place in one for one in found) == 1


def test_a_run_that_another_carries_on_from_at_both_ends_is_said_once() -> None:
    near = [[5, 5, 0], [5, 0, 0], [0, 0, 0], [-5, 0, 0], [-5, 5, 0]]
    runs = [
        ("a", [[0, -4, 0], [0, 0, 0]], FLAT),
        ("near", near, FLAT),
        ("far", [[5, 5, 0], [0, 5, 0], [-5, 5, 0]], FLAT),
        ("out", [[0, 5, 0], [0, 8, 0]], rectangular(0.3, 0.3)),
    ]
    said = {"near": Attributes(roll=np.pi / 2)}
    graph = analyse(built(runs, said, "out")).graph
    found = [one for one in graph.notices if "as it says, and run" in one.what]
    assert len(found) == 1
    assert "run 'far' with it" in found[0].what


@pytest.mark.parametrize("seed", range(12))
def test_how_a_line_is_drawn_and_written_changes_nothing(seed: int) -> None:
    """Runs in any order and sense, each section said either way round."""
    chance = np.random.default_rng(seed)
    axes = np.concatenate([np.eye(3), -np.eye(3)])
    here, way, runs = np.zeros(3), axes[chance.integers(6)], []
    for number in range(5):
        beside = axes[np.abs(axes @ way) < 0.5]
        there = here + 8.0 * way
        sides = chance.choice([0.3, 0.4, 0.5], 2)
        up = beside[chance.integers(4)]
        runs.append((f"r{number}", np.array([here, there]), sides, up, way))
        here, way = there, beside[chance.integers(4)] if number % 2 == 0 else way

    def found(
        order: list[int], drawn: FloatArray, written: FloatArray
    ) -> tuple[float, int]:
        lines: list[Any] = []
        said = {}
        for at in order:
            name, points, sides, up, way = runs[at]
            if written[at] > 0.5:
                sides, up = sides[::-1], np.cross(way, up)
            is_back = bool(drawn[at] > 0.5)
            lines.append((name, points[:: 1 - 2 * is_back], rectangular(*sides)))
            words: Any = {"source": True, "source_at_end": is_back} if at == 0 else {}
            said[name] = Attributes(up=(up[0], up[1], up[2]), **words)
        graph = build(drawing_from_runs(lines, flows={"r4": 0.4}, attributes=said))
        return spent(graph), len(graph.transitions.duct)

    loss, changes = found(list(range(5)), np.zeros(5), np.zeros(5))
    order: list[int] = chance.permutation(5).tolist()
    again, count = found(order, chance.random(5), chance.random(5))
    assert again == pytest.approx(loss, rel=1e-12)
    assert count == changes
