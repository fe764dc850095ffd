"""Bends drawn as chords: the same elbow however the arc begins and ends.

What is compared with is the circle itself, and the same arc between two tangents.
"""

import networkx as nx
import numpy as np
import pytest
from routes import line, straight

from elbowroom.layout import (
    Attributes,
    Basis,
    DuctGraph,
    FloatArray,
    Notice,
    Schedule,
    Section,
    TerminalSpec,
    build,
    drawing_from_runs,
    rectangular,
    round_section,
    solids,
)
from elbowroom.physics import Analysis, Kind, analyse

DEGREE = np.pi / 180
MAIN, SMALLER, ROUND = rectangular(0.4, 0.3), rectangular(0.3, 0.3), round_section(0.2)
LEFT, RIGHT = (0, 0, 1), (0, 0, -1)  # axes of turns in plan
RISING = (1, 0, 0)  # of a turn upwards from a line along y
Piece = tuple[float, float, int, tuple[int, int, int]]


def arc(
    radius: float = 0.6,
    degrees: float = 90.0,
    count: int = 6,
    about: tuple[int, int, int] = LEFT,
) -> Piece:
    return radius, degrees, count, about


def found(
    *runs: tuple[str, FloatArray, Section],
    flows: dict[str, float],
    at_end: bool = False,
) -> Analysis:
    """Analyse runs of which the first begins at the source."""
    drawing = drawing_from_runs(
        list(runs),
        attributes={runs[0][0]: Attributes(source=True, source_at_end=at_end)},
    )
    terminals = {name: TerminalSpec(flow) for name, flow in flows.items()}
    return analyse(build(drawing, Schedule(terminals=terminals)))


def alone(
    points: FloatArray, section: Section = MAIN, at_end: bool = False
) -> Analysis:
    return found(("a", points, section), flows={"a": 0.5}, at_end=at_end)


def elbows(analysis: Analysis) -> list[tuple[float, float]]:
    """Angle in degrees and radius in m of each bend, all of them drawn as arcs."""
    bends = analysis.graph.bends
    assert (bends.radius_basis == Basis.DRAWN).all()
    return list(zip(np.degrees(bends.angle), bends.radius, strict=True))


def elbow_losses(analysis: Analysis) -> list[float]:
    elements = analysis.elements
    return [float(loss) for loss in elements.loss[elements.kind == Kind.BEND]]


def said(graph: DuctGraph, part: str) -> list[Notice]:
    return [notice for notice in graph.notices if part in notice.what]


def no_doubt(graph: DuctGraph) -> bool:
    return not said(graph, "small turns") and not said(graph, "close together")


BETWEEN_TANGENTS = alone(line(straight(3), arc(), straight(3)))


def test_the_arc_to_compare_with() -> None:
    assert elbows(BETWEEN_TANGENTS) == [pytest.approx((90.0, 0.6))]
    assert len(elbow_losses(BETWEEN_TANGENTS)) == 1
    assert elbow_losses(BETWEEN_TANGENTS)[0] > 1.0


def like_between_tangents(analysis: Analysis, count: int = 1) -> None:
    assert elbows(analysis) == [pytest.approx((90.0, 0.6))] * count
    wanted = elbow_losses(BETWEEN_TANGENTS) * count
    assert elbow_losses(analysis) == pytest.approx(wanted)
    assert no_doubt(analysis.graph)


@pytest.mark.parametrize("around", [False, True])
@pytest.mark.parametrize("at_end", [False, True])
@pytest.mark.parametrize(
    ("before", "after"), [(3.0, 0.0), (0.0, 3.0), (0.0, 0.0), (3.0, 3.0)]
)
def test_an_arc_at_the_source_or_at_a_terminal(
    before: float, after: float, at_end: bool, around: bool
) -> None:
    """Nothing is lost or counted twice: the length is that of the drawn curve."""
    pieces = [straight(before)] if before else []
    pieces += [arc()] + ([straight(after)] if after else [])
    analysis = alone(line(*pieces, around=around), at_end=at_end)
    like_between_tangents(analysis)
    length = before + after + 0.6 * np.pi / 2
    assert analysis.graph.ducts.length.sum() == pytest.approx(length)
    straights = [after, before] if at_end else [before, after]
    assert analysis.graph.ducts.straight.tolist() == pytest.approx(straights, abs=1e-9)


@pytest.mark.parametrize("count", [4, 6, 12])
def test_an_arc_where_the_section_changes(count: int) -> None:
    points = line(straight(3), arc(count=count))
    after = line(straight(3), start=points[-1], heading=(0, 1, 0))
    analysis = found(("a", points, MAIN), ("b", after, SMALLER), flows={"b": 0.5})
    like_between_tangents(analysis)
    assert len(analysis.graph.transitions.duct) == 1


def test_an_arc_whose_section_changes_on_the_way() -> None:
    points = line(straight(3), arc(), straight(3))
    analysis = found(
        ("a", points[:5], MAIN), ("b", points[4:], SMALLER), flows={"b": 0.5}
    )
    assert elbows(analysis) == [pytest.approx((45.0, 0.6))] * 2
    assert no_doubt(analysis.graph)


def test_a_takeoff_at_the_end_of_an_arc_leaves_from_its_tangent() -> None:
    points = line(straight(3), arc(), straight(3))
    side = np.array([points[-2], points[-2] + [2.0, 0.0, 0.0]])
    analysis = found(
        ("a", points, MAIN), ("b", side, ROUND), flows={"a": 0.45, "b": 0.05}
    )
    like_between_tangents(analysis)
    legs = analysis.graph.legs
    assert legs.angle[legs.is_branch] == pytest.approx(90 * DEGREE)
    assert legs.angle[~legs.is_branch] == pytest.approx(0.0, abs=1e-9)


def test_a_takeoff_that_begins_as_an_arc_leaves_along_its_tangent() -> None:
    """At a right angle, and at once round a bend of 90 degrees."""
    side = line(arc(0.3, about=RIGHT), straight(4), start=(4, 0, 3), heading=(0, 1, 0))
    beside = line(
        straight(1e-2),
        arc(0.3, about=RIGHT),
        straight(4),
        start=(4, 0, 3),
        heading=(0, 1, 0),
    )
    main = np.array([[0.0, 0, 3], [9, 0, 3]])
    one, two = (
        found(("a", main, MAIN), ("b", points, ROUND), flows={"a": 0.5, "b": 0.1})
        for points in (side, beside)
    )
    for analysis in (one, two):
        assert elbows(analysis) == [pytest.approx((90.0, 0.3))]
    assert elbow_losses(one) == pytest.approx(elbow_losses(two))
    for analysis in (one, two):
        legs = analysis.graph.legs
        assert legs.angle[legs.is_branch] == pytest.approx(90 * DEGREE)


def test_a_takeoff_on_an_arc_parts_it_in_two() -> None:
    points = line(straight(3), arc(count=8), straight(3))
    side = np.array([points[5], points[5] + [0.0, 0.0, 2.0]])
    analysis = found(
        ("a", points, MAIN), ("b", side, ROUND), flows={"a": 0.45, "b": 0.05}
    )
    assert elbows(analysis) == [pytest.approx((45.0, 0.6))] * 2
    legs = analysis.graph.legs
    assert legs.angle[~legs.is_branch] == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize("around", [False, True])
@pytest.mark.parametrize(
    "arcs",
    [
        (arc(0.6, 45), arc(0.6, 45, about=RIGHT)),
        (arc(0.6, 45, 3), arc(0.9, 60, 5, RIGHT)),
        (arc(0.6, 45, 3), arc(1.2, 45, 6)),
        (arc(0.6, 45, 3), arc(0.6, 45, 4)),
        (arc(1.2, 77, 6), arc(1.4, 101, 9)),
        (arc(0.6, 90), arc(0.7, 90, about=RISING)),
        (arc(0.6, 45), arc(0.6, 90, 12, RIGHT), arc(0.6, 45)),
    ],
    ids=["S", "unlike S", "wider", "finer", "nearly alike", "twisted", "three"],
)
@pytest.mark.parametrize("tangents", [True, False])
def test_arcs_that_touch(arcs: tuple[Piece, ...], tangents: bool, around: bool) -> None:
    """Each keeps its radius, and loses what it does with straight duct between."""
    end = [straight(3)] if tangents else []
    apart = [piece for one in arcs for piece in (straight(3), one)]
    touching = alone(line(*end, *arcs, *end, around=around))
    parted = alone(line(*apart, straight(3)))
    wanted = [pytest.approx((degrees, radius)) for radius, degrees, *_ in arcs]
    assert elbows(touching) == wanted
    assert elbow_losses(touching) == pytest.approx(elbow_losses(parted))
    assert no_doubt(touching.graph)
    length = sum(radius * degrees * DEGREE for radius, degrees, *_ in arcs)
    assert touching.graph.ducts.length.sum() == pytest.approx(length + 3 * 2 * tangents)


def test_an_s_of_two_arcs_is_a_close_pair_of_elbows() -> None:
    points = line(
        straight(3), arc(degrees=45), arc(degrees=45, about=RIGHT), straight(3)
    )
    pair = alone(points).pairs[0]
    assert (pair.arrangement, pair.together is not None) == ("S", True)
    assert pair.spacing == pytest.approx(0.0, abs=1e-9)


def test_arcs_of_one_sense_with_a_straight_between_stay_two() -> None:
    """Chords of one turn by as much as those of the other."""
    points = line(
        straight(3), arc(degrees=45), straight(1), arc(degrees=45), straight(3)
    )
    assert elbows(alone(points)) == [pytest.approx((45.0, 0.6))] * 2


def test_vertices_along_chords_and_the_place_of_touching_change_nothing() -> None:
    points = line(
        straight(3), arc(degrees=45), arc(degrees=45, about=RIGHT), straight(3)
    )
    more = np.sort(np.concatenate([np.arange(len(points)), np.arange(12) + 0.4]))
    at = np.arange(len(points))
    cut = np.stack([np.interp(more, at, axis) for axis in points.T], axis=1)
    merged = np.delete(points, 7, axis=0)  # the vertex at which the arcs touch
    base = alone(points)
    for drawn in (cut, merged):
        analysis = alone(drawn)
        assert elbows(analysis) == [pytest.approx((45.0, 0.6))] * 2
        assert analysis.path_loss == pytest.approx(base.path_loss)


@pytest.mark.parametrize("count", [4, 6, 9, 12])
@pytest.mark.parametrize("end", [0.0, 3.0])
def test_ends_rounded_to_the_millimetre(count: int, end: float) -> None:
    pieces = [straight(3), arc(count=count)] + ([straight(end)] if end else [])
    points = line(*pieces, start=(0.1234, 0.4321, 3), heading=(0.6, 0.8, 0)).round(3)
    angle, radius = elbows(alone(points))[0]
    assert angle == pytest.approx(90.0, abs=1.0)
    assert radius == pytest.approx(0.6, rel=0.02)


def test_a_corner_behind_an_arc_turns_from_its_tangent() -> None:
    points = line(straight(3), arc(degrees=45))
    points = np.vstack([points, points[-1] + [0.0, 0.0, 3.0]])
    bends = alone(points).graph.bends
    assert np.degrees(bends.angle).tolist() == pytest.approx([45.0, 90.0])
    assert bends.radius_basis.tolist() == [Basis.DRAWN, Basis.ASSUMED]


def test_the_section_is_carried_round_arcs_as_with_straight_duct_between() -> None:
    arcs = arc(), arc(about=RISING), arc(degrees=60, about=(0, 1, 0))
    one = alone(line(*arcs)).graph
    two = alone(line(straight(2), *(p for a in arcs for p in (a, straight(2))))).graph
    for name in ("in_plane", "along_axis", "skew"):
        assert getattr(one.bends, name) == pytest.approx(getattr(two.bends, name))
    assert one.ducts.roll == pytest.approx(two.ducts.roll)


# --- what does not tell an arc


@pytest.mark.parametrize(
    ("pieces", "turns"),
    [
        ((straight(3), arc(count=2), straight(3)), [22.5, 45.0, 22.5]),
        ((straight(3), arc(degrees=40, count=2)), [10.0, 20.0]),
    ],
)
def test_two_chords_stay_elbows_and_it_is_said(
    pieces: tuple[Piece, ...], turns: list[float]
) -> None:
    graph = alone(line(*pieces)).graph
    assert np.degrees(graph.bends.angle).tolist() == pytest.approx(turns)
    (notice,) = said(graph, "close together")
    assert f"{len(turns)} turns" in notice.what
    assert "radius 600 mm" in notice.what


def test_turns_far_apart_are_elbows_without_a_word() -> None:
    graph = alone(line(straight(3), arc(radius=6.0, count=2), straight(3))).graph
    assert len(graph.bends.duct) == 3
    assert no_doubt(graph)


def test_an_offset_of_two_equal_elbows_is_no_pair_of_arcs() -> None:
    rise = np.tan(20 * DEGREE)
    points = np.array([[0, 0, 3], [3, 0, 3], [9, 6 * rise, 3], [12, 6 * rise, 3]])
    graph = alone(points).graph
    assert np.degrees(graph.bends.angle).tolist() == pytest.approx([20.0, 20.0])
    assert (graph.bends.radius_basis == Basis.ASSUMED).all()
    assert no_doubt(graph)


def test_a_chain_of_uneven_turns_is_said_to_be_none() -> None:
    points = line(straight(3), *(arc(0.3 * k, 10.0 + k, 1) for k in range(1, 7)))
    graph = alone(points).graph
    assert len(graph.bends.duct) >= 4
    assert said(graph, "not one even arc")


def test_a_line_that_folds_back_on_itself_is_said() -> None:
    graph = alone(np.array([[0.0, 0, 3], [8, 0, 3], [7, 0, 3]])).graph
    (notice,) = said(graph, "folds back")
    assert notice.place == (8.0, 0.0, 3.0)
    back = alone(line(straight(3), arc(degrees=180, count=12), straight(3))).graph
    assert not said(back, "folds back")


# --- the true shape


@pytest.mark.parametrize(
    "pieces",
    [
        (straight(3), arc()),
        (arc(), straight(3)),
        (arc(),),
        (straight(1), arc(degrees=45), arc(degrees=45, about=RIGHT), straight(1)),
        (arc(), arc(about=RISING)),
    ],
)
def test_tubes_follow_the_drawn_arc_to_its_ends(pieces: tuple[Piece, ...]) -> None:
    """No ring is farther from the chords than the circle is, and the ends are met."""
    points = line(*pieces)
    tubes = solids(alone(points).graph)
    begin, along = points[:-1], np.diff(points, axis=0)
    share = np.einsum("rsk,sk->rs", tubes.tubes.centre[:, None] - begin, along)
    share = np.clip(share / np.einsum("sk,sk->s", along, along), 0.0, 1.0)
    nearest = begin + share[..., None] * along
    off = np.linalg.norm(tubes.tubes.centre[:, None] - nearest, axis=2).min(axis=1)
    assert off.max() < 0.6 * (1 - np.cos(7.5 * DEGREE)) + 1e-6
    for end in (points[0], points[-1]):
        assert np.linalg.norm(tubes.tubes.centre - end, axis=1).min() < 1e-6
    assert {"terminal", "bend"} <= set(tubes.kind)


TAP = ("tap", line(straight(3), start=(2, 0, 3), heading=(0, 1, 0)), ROUND)


@pytest.mark.parametrize(
    "pieces",
    [
        (straight(3), arc(), straight(3)),
        (straight(3), arc(), arc(about=RIGHT), straight(3)),
        (straight(3), arc()),
        (straight(3), straight(1), arc(count=12), straight(1), arc(), straight(3)),
    ],
)
def test_the_networkx_view_goes_on_behind_an_arc(pieces: tuple[Piece, ...]) -> None:
    main = ("a", line(*pieces), MAIN)
    analysis = found(main, TAP, flows={"a": 0.4, "tap": 0.1})
    graph = analysis.graph
    view = graph.nx
    assert nx.is_arborescence(view)
    assert view.number_of_edges() == len(graph.ducts.run)
    ends = graph.ducts.finish[graph.terminals.duct].tolist()
    ways = nx.single_source_dijkstra_path_length(
        view, graph.source.node, weight="length"
    )
    assert [ways[end] for end in ends] == pytest.approx(analysis.path_length.tolist())
    kinds = nx.get_node_attributes(view, "kind").values()
    assert list(kinds).count("bend") == len(graph.bends.duct)


def test_the_networkx_view_of_a_ring_with_an_arc_is_a_ring() -> None:
    over = line(arc(2.0, 180.0, 24), start=(6, 0, 3), heading=(0, 1, 0))
    analysis = found(
        ("feed", line(straight(2)), MAIN),
        ("flat", line(straight(4), start=(2, 0, 3)), MAIN),
        ("over", over, MAIN),
        ("out", line(straight(2), start=(6, 0, 3)), MAIN),
        flows={"out": 0.3},
    )
    assert len(nx.cycle_basis(analysis.graph.nx.to_undirected())) == 1
