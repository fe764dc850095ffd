"""What does not fit where it is drawn, and what a corner leaves open."""

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest
from routes import about_z

from elbowroom.layout import (
    Attributes,
    BadInput,
    Basis,
    Drawing,
    DuctGraph,
    ElbowConstruction,
    ElbowRule,
    Notice,
    RunLimits,
    Schedule,
    Section,
    Severity,
    SourceSpec,
    TakeoffEntry,
    TerminalSpec,
    TransitionRule,
    audit,
    build,
    drawing_from_runs,
    flat_oval,
    length_words,
    read_schedule,
    rectangular,
    round_section,
)
from elbowroom.physics import (
    Aim,
    Analysis,
    Kind,
    Note,
    Option,
    analyse,
    elbows,
    junctions,
    proportion,
    remedies,
    straight_after,
)

SMALL, LARGE = round_section(0.3), round_section(0.5)
TRUNK = rectangular(0.5, 0.3)
END = {"a": TerminalSpec(0.3)}
Runs = Sequence[tuple[str, Any, Section]]


def graph_of(runs: Runs, **plan: Any) -> DuctGraph:
    drawing = drawing_from_runs(
        [(name, np.asarray(points, float), cut) for name, points, cut in runs],
        attributes={runs[0][0]: Attributes(source=True, source_at_end=False)},
    )
    ends = {runs[-1][0]: TerminalSpec(0.3)} if "terminals" not in plan else {}
    return build(drawing, Schedule(**{"terminals": ends, **plan}))


def said(graph: DuctGraph, words: str) -> list[Notice]:
    return [notice for notice in graph.notices if words in notice.what]


# --- transitions


@pytest.mark.parametrize(
    ("length", "before", "after", "lacking", "run"),
    [
        (10.0, 4.0, 6.0, "1 m (3.3 ft)", "a"),
        (10.0, 6.0, 4.0, "1 m (3.3 ft)", "b"),
        (8.0, 4.0, 4.0, "", ""),
    ],
)
def test_a_transition_longer_than_its_ducts_is_told(
    length: float, before: float, after: float, lacking: str, run: str
) -> None:
    """Half of it on either side of the vertex: 5 m do not go into 4 m."""
    graph = graph_of(
        [
            ("a", [[0, 0, 0], [before, 0, 0]], SMALL),
            ("b", [[before, 0, 0], [before + after, 0, 0]], LARGE),
        ],
        transition_default=TransitionRule(length=length),
    )
    found = said(graph, "transition does not fit")
    assert len(found) == bool(lacking)
    if lacking:
        assert "run 'b', transition at" in found[0].where
        assert found[0].what.endswith(f"run '{run}' lacks {lacking}")
        assert "included_angle" in found[0].remedy
    assert graph.transitions.short_by == pytest.approx([1.0 if lacking else 0.0])
    option = Option("one", analyse(graph))
    short = {"mm": "1000 mm", "in": "39.4 in"}
    for unit, words in short.items():
        told = (f"transition of 'b' lacks {words}",) if lacking else ()
        assert option.faults_in(unit) == told


def test_two_transitions_share_the_duct_between_them() -> None:
    """Each of 0.2 m over 2 tan 15°: 373 mm, half of both on 100 mm; 273 mm lack."""
    graph = graph_of(
        [
            ("a", [[0, 0, 0], [2, 0, 0]], LARGE),
            ("b", [[2, 0, 0], [2.1, 0, 0]], SMALL),
            ("c", [[2.1, 0, 0], [6, 0, 0]], LARGE),
        ]
    )
    found = said(graph, "transition does not fit")
    assert [notice.where.split("'")[1] for notice in found] == ["b", "c"]
    for notice in found:
        assert (
            "lacks 273 mm (10.8 in) for it and for the one at its other end"
            in notice.what
        )


def test_a_transition_that_is_drawn_fits() -> None:
    runs = [
        ("a", np.array([[0.0, 0, 0], [0.2, 0, 0]]), SMALL),
        ("t", np.array([[0.2, 0, 0], [4.2, 0, 0]]), SMALL),
        ("b", np.array([[4.2, 0, 0], [4.4, 0, 0]]), LARGE),
    ]
    drawing = drawing_from_runs(
        runs,
        attributes={
            "a": Attributes(source=True, source_at_end=False),
            "t": Attributes(transition=True),
        },
    )
    graph = build(drawing, Schedule(terminals={"b": TerminalSpec(0.3)}))
    assert len(graph.transitions.duct) == 1
    assert not said(graph, "does not fit")


def turned_transition(points: Any, ahead: Any) -> DuctGraph:
    drawing = drawing_from_runs(
        [
            ("a", np.array([[-3.0, 0, 0], [0, 0, 0]]), SMALL),
            ("t", np.asarray(points, float), SMALL),
            ("b", np.array([points[-1], np.add(points[-1], ahead)]), LARGE),
        ],
        attributes={
            "a": Attributes(source=True, source_at_end=False),
            "t": Attributes(transition=True),
        },
    )
    return build(drawing, Schedule(terminals={"b": TerminalSpec(0.3)}))


def test_a_transition_along_an_arc_says_what_counts_for_its_elbow() -> None:
    """From end to end it lies 1 m ahead and 1 m aside, 0.1 m of that a flat side."""
    angle = np.radians(np.linspace(0, 90, 7))
    arc = np.stack([np.sin(angle), 1 - np.cos(angle), 0 * angle], axis=1)
    graph = turned_transition(arc, [0, 3, 0])
    assert len(graph.bends.duct) == 0
    kink = graph.transitions.kink[:, 0]
    assert np.tan(kink).tolist() == pytest.approx([0.9, 0.9])
    (found,) = said(graph, "turns the duct by 90 degrees")
    assert found.where.endswith("run 't'")
    assert "two kinks of 42 degrees counted as mitred" in found.what


def test_a_transition_that_turns_at_its_start_alone_has_one_kink() -> None:
    slope = np.tan(np.radians(15.0))
    graph = turned_transition([[0, 0, 0], [1, slope, 0]], [3, 3 * slope, 0])
    first, second = graph.transitions.kink[:, 0].tolist()
    assert np.tan(first) == pytest.approx(slope - 0.1)
    assert second == 0.0
    (found,) = said(graph, "turns the duct by 15 degrees")
    assert "a kink of 9.5 degrees counted as mitred" in found.what


def test_a_slanted_transition_and_one_with_a_counted_corner_are_not_told() -> None:
    graph = turned_transition([[0, 0, 0], [1, 0.1, 0]], [3, 0, 0])
    assert not said(graph, "turns the duct")
    graph = turned_transition([[0, 0, 0], [1, 0, 0], [1, 1, 0]], [0, 3, 0])
    assert len(graph.bends.duct) == 1
    assert not said(graph, "turns the duct")


def test_what_turns_in_small_steps_beside_a_counted_corner_is_told() -> None:
    """60 degrees of an arc and a corner of 30: the arc alone is left out."""
    angle = np.radians(np.linspace(0, 60, 7))
    arc = np.stack([np.sin(angle), 1 - np.cos(angle), 0 * angle], axis=1)
    graph = turned_transition([*arc, arc[-1] + [0.0, 1.0, 0.0]], [0, 3, 0])
    (corner,) = np.degrees(graph.bends.angle)
    assert corner == pytest.approx(35.0)  # from the last chord
    (found,) = said(graph, "turns the duct by 55 degrees")
    assert found.where.endswith("run 't'")


@pytest.mark.parametrize(("degrees", "bends"), [(19.0, 0), (21.0, 2)])
def test_a_kink_of_a_slanted_transition_is_an_elbow_from_20_degrees_on(
    degrees: float, bends: int
) -> None:
    """Own choice."""
    aside = np.tan(np.radians(degrees))
    graph = turned_transition([[0, 0, 0], [1, aside, 0]], [3, 0, 0])
    assert len(graph.bends.duct) == bends


@pytest.mark.parametrize(
    ("points", "length"),
    [
        ([[0, 0, 0], [1, 0, 0]], 1.0),
        ([[0, 0, 0], [0.3, 0, 0], [0.9, 0, 0], [1, 0, 0]], 1.0),
        ([[0, 0, 0], [1, 0, 0], [1, 0.5, 0], [1, 1, 0]], 2.0),  # an elbow in it
        (
            [[0, 0, 0], [0.6, 0, 0], [1.4, 0.1, 0], [2, 0.1, 0]],
            1.2 + np.hypot(0.8, 0.1),
        ),
    ],
)
def test_a_transition_is_as_long_as_its_line(points: Any, length: float) -> None:
    ahead = 2 * np.subtract(points[-1], points[-2])
    graph = turned_transition(points, ahead)
    assert graph.transitions.length.tolist() == pytest.approx([length])
    # Half of it rubs in either section, beside the arc of an elbow.
    names = np.array(graph.drawing.names)[graph.ducts.run]
    arcs = np.bincount(
        graph.bends.duct, graph.bends.radius * graph.bends.angle / 2, len(names)
    )
    behind = float(np.linalg.norm(ahead))
    rubbing = graph.ducts.length - arcs
    assert rubbing[names == "b"].sum() == pytest.approx(behind + length / 2)


WIDE, TALL = rectangular(1.2, 0.2), rectangular(0.6, 0.35)


def offset_piece(
    aside: npt.ArrayLike,
    cuts: tuple[Section, Section],
    shares: Sequence[float] = (),
    up: tuple[float, float, float] | None = None,
) -> DuctGraph:
    """A piece of 1.1 m length between two level ducts that also goes aside, m."""
    end = np.array([1.1, *np.asarray(aside)])
    between = [share * end for share in shares]
    drawing = drawing_from_runs(
        [
            ("a", np.array([[-3.0, 0, 0], [0, 0, 0]]), cuts[0]),
            ("t", np.array([np.zeros(3), *between, end]), cuts[0]),
            ("b", np.array([end, end + np.array([4.0, 0, 0])]), cuts[1]),
        ],
        attributes={
            "a": Attributes(source=True, source_at_end=False, up=up),
            "t": Attributes(transition=True),
        },
    )
    return build(drawing, Schedule(terminals={"b": TerminalSpec(1.2)}))


@pytest.mark.parametrize("shares", [[], [0.4], [0.3, 0.8]])
@pytest.mark.parametrize(
    ("way", "cuts", "explained"),
    [
        ([1, 0], (SMALL, LARGE), 0.1),
        ([0, 1], (SMALL, LARGE), 0.1),
        ([0.6, 0.8], (SMALL, LARGE), 0.1),  # any direction is a side of a round one
        ([1, 0], (WIDE, TALL), 0.3),
        ([0, 1], (WIDE, TALL), 0.075),
        ([0, -1], (TALL, WIDE), 0.075),
        ([0, 1], (TRUNK, SMALL), 0.0),
        ([1, 0], (SMALL, TRUNK), 0.1),
        ([0, 1], (TALL, TALL), 0.0),
    ],
)
def test_a_transition_turns_by_what_goes_aside_beyond_a_flat_side(
    way: list[float], cuts: tuple[Section, Section], explained: float, shares: Any
) -> None:
    """Half of the change of the side in the direction of the offset: own choice."""
    for more, told in ((0.0, False), (0.001, False), (0.005, True), (0.014, True)):
        aside = (explained + more) * np.array(way)
        if aside.any():
            graph = offset_piece(aside, cuts, shares)
            assert len(graph.bends.duct) == 0
            found = said(graph, "to one side")
            assert len(found) == told
            (kink,) = graph.transitions.kink.T if told else [np.zeros(2)]
            assert (np.tan(kink) * 1.1).tolist() == pytest.approx(
                [more * told] * 2, abs=1e-9
            )
    assert f"{length_words(0.014)} more than one with a flat side" in found[0].what


def test_a_skew_offset_is_compared_side_by_side() -> None:
    """0.2 and 0.095 m, of which flat sides explain 0.1 and 0.075."""
    graph = offset_piece([0.2, 0.095], (WIDE, rectangular(1.0, 0.35)))
    (kink,) = graph.transitions.kink.T
    assert (np.tan(kink) * 1.1).tolist() == pytest.approx([np.hypot(0.1, 0.02)] * 2)
    (share,) = graph.transitions.kink_share.T
    assert share.tolist() == pytest.approx([0.01 / (0.01 + 0.0004)] * 2)


def test_a_section_on_its_side_is_measured_as_it_stands() -> None:
    """Turned on its side a width of 1.2 m is upright; going up 0.3 m keeps a side."""
    for aside, told in (([0, 0.3], False), ([0.3, 0], True), ([0, 0.31], True)):
        graph = offset_piece(aside, (WIDE, TALL), up=(0.0, 1.0, 0.0))
        assert bool(said(graph, "to one side")) == told


@pytest.mark.parametrize("cut", [TALL, SMALL])
def test_a_piece_that_only_goes_aside_is_a_fitting(cut: Section) -> None:
    straight = offset_piece([0.0, 0.0], (cut, cut))
    assert len(straight.transitions.duct) == 0
    analysis = analyse(offset_piece([0.0, 0.2], (cut, cut)))
    (row,) = np.flatnonzero(analysis.elements.kind == Kind.TRANSITION)
    assert analysis.words(int(row)).startswith(
        f"offset from {cut.words}, two kinks of 10°"
    )
    kink = np.arctan(0.2 / 1.1)
    elbow = (
        elbows.round_mitred(kink, analysis.state.reynolds[:1])
        if cut is SMALL
        else elbows.rect_mitred(0.6 / 0.35, kink, analysis.state.reynolds[:1])
    )
    each = elbow.value * elbow.reynolds_factor * analysis.state.velocity_pressure[0]
    assert analysis.elements.loss[row] == pytest.approx(2 * each[0])


def test_each_kink_counts_in_the_section_and_at_the_velocity_of_its_end() -> None:
    slope, straight = (
        analyse(offset_piece(aside, (WIDE, TALL))) for aside in ([0, 0.275], [0, 0.075])
    )
    (row,) = np.flatnonzero(slope.elements.kind == Kind.TRANSITION)
    kink = np.arctan(0.2 / 1.1)
    more = 0.0
    for duct, aspect in ((0, 1.2 / 0.2), (-1, 0.6 / 0.35)):
        reynolds = slope.state.reynolds[[duct]]
        elbow = elbows.rect_mitred(aspect, kink, reynolds)
        factor = elbow.value * elbow.reynolds_factor
        more += float(factor[0] * slope.state.velocity_pressure[duct])
    plain = straight.elements.loss[row]
    assert slope.elements.loss[row] == pytest.approx(plain + more)
    credit = slope.elements.credits[slope.elements.credit[row]]
    assert credit.confidence == "low"
    assert "rect_elbow_mitred" in credit.table
    assert slope.elements.notes[row] & int(Note.KINKS)
    assert not straight.elements.notes[row] & int(Note.KINKS)
    without = analyse(
        slope.graph, replace(slope.conditions, reynolds_factor=False)
    ).elements
    assert without.loss[row] < slope.elements.loss[row]


@pytest.mark.parametrize("cuts", [(WIDE, TALL), (SMALL, LARGE), (SMALL, TALL)])
def test_the_kinks_are_the_same_in_a_plan_that_is_turned(
    cuts: tuple[Section, Section],
) -> None:
    drawing = offset_piece([0.35, 0.15], cuts).drawing
    kinks = []
    for turn in (0.0, 1.0, 2.5, np.pi):
        points = drawing.points @ about_z(turn).T
        turned = replace(drawing, points=points)
        graph = build(turned, Schedule(terminals={"b": TerminalSpec(1.2)}))
        kinks.append([*graph.transitions.kink, *graph.transitions.kink_share])
    assert kinks[0][0] > 0.01
    np.testing.assert_allclose(kinks, [kinks[0]] * 4, atol=1e-9)


def test_a_skew_kink_lies_between_the_two_ways_of_turning() -> None:
    cuts = TALL, TALL
    ways = np.array([[1.0, 0.0], [0.8, 0.6], [0.0, 1.0]]) * 0.2
    one, askew, other = (
        found.elements.loss[found.elements.kind == Kind.TRANSITION][0]
        for found in (analyse(offset_piece(way, cuts)) for way in ways)
    )
    assert askew == pytest.approx(0.64 * one + 0.36 * other)


def test_no_millimetre_of_an_offset_makes_a_jump() -> None:
    aside = np.arange(0.07, 0.09, 0.00025)
    total = [analyse(offset_piece([0, z], (WIDE, TALL))).critical_loss for z in aside]
    step = np.diff(total)
    assert total[-1] > total[0]
    assert np.abs(step - step.mean()).max() < 0.01


@pytest.mark.parametrize("cuts", [(WIDE, TALL), (TALL, WIDE)])
def test_an_elbow_at_the_far_end_of_a_piece_has_the_section_there(
    cuts: tuple[Section, Section],
) -> None:
    """A kink that grows to 20 degrees becomes an elbow of the same duct and air."""
    slope = np.tan(np.radians(21.0))
    analysis = analyse(offset_piece([0, 1.1 * slope], cuts))
    graph = analysis.graph
    first, second = (graph.section(duct) for duct in graph.bend_duct.tolist())
    assert (first, second) == cuts
    assert graph.bends.in_plane.tolist() == [cut.height for cut in cuts]
    elements = analysis.elements
    pressure = elements.velocity_pressure[elements.kind == Kind.BEND]
    ends = analysis.state.velocity_pressure[[0, -1]]
    assert pressure.tolist() == pytest.approx(ends.tolist())


@pytest.mark.parametrize("cuts", [(TALL, TALL), (WIDE, TALL), (TALL, WIDE)])
def test_kinks_lead_to_the_elbows_of_20_degrees(cuts: tuple[Section, Section]) -> None:
    """From 16 degrees on, also of a piece with a flat side: own choice."""
    turns = np.radians(np.arange(14.0, 21.0, 0.25))
    graphs = [offset_piece([0, 1.1 * np.tan(turn)], cuts) for turn in turns]
    kinked = [graph for graph in graphs if len(graph.bends.duct) == 0]
    assert len(kinked) == 24
    kinks = np.array([graph.transitions.kink[:, 0] for graph in kinked])
    assert kinks[-1] == pytest.approx(turns[[23, 23]], abs=np.radians(0.7))
    assert np.abs(np.diff(kinks, axis=0)).max() < np.radians(1.5)
    bent = graphs[-1].bends.angle
    assert bent.tolist() == pytest.approx([turns[-1]] * 2)


def test_a_steep_piece_with_a_flat_side_says_that_it_has_kinks() -> None:
    run = 0.075 / 1.1 / np.tan(np.radians(18.0))  # of a piece this much shorter
    end = np.array([1.1 * run, 0.0, 0.075])
    drawing = drawing_from_runs(
        [
            ("a", np.array([[-3.0, 0, 0], [0, 0, 0]]), WIDE),
            ("t", np.array([np.zeros(3), end]), WIDE),
            ("b", np.array([end, end + np.array([4.0, 0, 0])]), TALL),
        ],
        attributes={
            "a": Attributes(source=True, source_at_end=False),
            "t": Attributes(transition=True),
        },
    )
    graph = build(drawing, Schedule(terminals={"b": TerminalSpec(1.2)}))
    (found,) = said(graph, "steeply for a flat side")
    assert "two kinks of 9 degrees counted as mitred" in found.what


def test_what_is_an_elbow_at_an_end_of_a_transition_is_no_kink_too() -> None:
    slope = np.tan(np.radians([19.0, 21.0]))
    for rise, kinks in zip(slope, (2, 0), strict=True):
        graph = offset_piece([0, 1.1 * rise], (TALL, TALL))
        assert len(graph.bends.duct) == 2 - kinks
        assert np.count_nonzero(graph.transitions.kink) == kinks
    # One corner counts at its start, and at its end what is left to turn.
    back = np.radians(21.0 - 15.0)
    graph = turned_transition([[0, 0, 0], [1, slope[1], 0]], [3, 3 * np.tan(back), 0])
    assert len(graph.bends.duct) == 1
    first, second = graph.transitions.kink[:, 0].tolist()
    assert first == 0.0
    turn = np.radians(15.0)
    assert np.tan(second) == pytest.approx(
        np.tan(turn) - 0.1 / (np.cos(turn) / np.cos(np.radians(21.0)))
    )


# --- bends


AROUND = [[0, 0, 0], [5, 0, 0], [5, 6, 0]]


@pytest.mark.parametrize(
    ("cut", "radius", "lacking"),
    [
        (rectangular(0.6, 0.3), 0.1, 200),
        (rectangular(0.6, 0.3), 0.298, 2),
        (rectangular(0.6, 0.3), 0.2995, None),
        (rectangular(0.6, 0.3), 0.3, None),
        (flat_oval(0.6, 0.3), 0.2, 100),
        (round_section(0.4), 0.1, 100),
        (round_section(0.4), 0.2, None),
    ],
)
def test_a_bend_tighter_than_half_its_side_cannot_be_built(
    cut: Section, radius: float, lacking: int | None
) -> None:
    """It counts as the tightest of its table, which that says, not the drawing."""
    rule = ElbowRule(centreline_radius=radius)
    graph = graph_of([("a", AROUND, cut)], terminals=END, elbow_default=rule)
    found = said(graph, "too tight")
    assert len(found) == (lacking is not None)
    analysis = analyse(graph)
    told = Option("one", analysis).faults
    (row,) = np.flatnonzero(analysis.elements.kind == Kind.BEND)
    tightest = analyse(
        graph_of(
            [("a", AROUND, cut)],
            terminals=END,
            elbow_default=ElbowRule(radius_ratio=0.5),
        )
    )
    assert analysis.elements.coefficient[row] == pytest.approx(
        tightest.elements.coefficient[row], rel=1e-2
    )
    if lacking is None:
        assert told == ()
        return
    assert told == (f"bend 1 of 'a' lacks {lacking} mm of radius",)
    assert f"{length_words(max(cut.width, cut.height) / 2)} or more" in found[0].remedy
    assert found[0].severity == Severity.WARNING
    assert "its loss" not in found[0].effect
    assert "nearest end was taken" in " ".join(
        Note(int(analysis.elements.notes[row])).words
    )


@pytest.mark.parametrize(("radius", "is_told"), [(0.29, True), (0.31, False)])
def test_a_drawn_arc_may_be_too_tight(radius: float, is_told: bool) -> None:
    turn = np.linspace(0, np.pi / 2, 13)
    arc = np.stack([np.sin(turn), 1 - np.cos(turn), 0 * turn], axis=1) * radius
    points = np.vstack([[-5, 0, 0], arc, arc[-1] + [0, 5, 0]])
    graph = graph_of([("a", points, rectangular(0.6, 0.3))], terminals=END)
    assert bool(said(graph, "too tight")) == is_told
    assert bool(Option("one", analyse(graph)).faults) == is_told


@pytest.mark.parametrize(
    "made",
    [
        ElbowConstruction.SQUARE_THROAT,
        ElbowConstruction.MITRED,
        ElbowConstruction.SINGLE_VANES,
    ],
)
@pytest.mark.parametrize("away", [[5, 6, 0], [5, 3, 5]])  # along a side, and askew
def test_an_elbow_without_a_radius_is_not_too_tight(
    made: ElbowConstruction, away: list[float]
) -> None:
    points = [[0, 0, 0], [5, 0, 0], away]
    graph = graph_of(
        [("a", points, rectangular(0.6, 0.3))],
        terminals=END,
        elbow_default=ElbowRule(made, centreline_radius=0.1),
    )
    assert not said(graph, "too tight")


def test_no_remedy_makes_a_bend_too_tight() -> None:
    """With a fixed radius of 160 mm, 320 mm are as wide as it can get."""
    graph = graph_of(
        [("a", AROUND, rectangular(0.3, 0.15))],
        terminals=END,
        elbow_default=ElbowRule(centreline_radius=0.16, radius_basis=Basis.DECLARED),
    )
    found = remedies(analyse(graph))
    assert found
    for remedy in found:
        assert not said(build(graph.drawing, remedy.schedule), "too tight")


@pytest.mark.parametrize(
    ("further", "words"),
    [
        ([("s", [[3, 0.1, 0], [5, 0.1, 0]], round_section(0.2))], "the next junction"),
        ([("s", [[3, 0.1, 0], [3, 2, 0]], LARGE)], "the next change of section"),
        ([], "the end of the duct"),
    ],
)
def test_a_bend_without_room_names_what_stands_in_its_way(
    further: Runs, words: str
) -> None:
    last = [3, 3, 0] if further and further[0][2].width < 0.3 else [3, 0.1, 0]
    runs: Runs = [("a", [[0, 0, 0], [3, 0, 0], last], SMALL), *further]
    names = [name for name, _, _ in runs if not (name == "a" and "change" in words)]
    graph = graph_of(runs, terminals={name: TerminalSpec(0.1) for name in names})
    (found,) = said(graph, "bend does not fit")
    assert found.what.endswith(f"lack 200 mm (7.9 in) to {words}")


def test_between_two_bends_each_names_the_other() -> None:
    graph = graph_of([("a", [[0, 0, 0], [3, 0, 0], [3, 0.4, 0], [6, 0.4, 0]], SMALL)])
    found = said(graph, "bend does not fit")
    assert [notice.what.rpartition(" in) to ")[2] for notice in found] == [
        "the next bend",
        "the bend before it",
    ]


@pytest.mark.parametrize("slant", [0.0, 0.01, 0.3])
@pytest.mark.parametrize(
    ("shift", "is_slip"), [(0.005, True), (0.02, True), (0.07, True), (0.1, False)]
)
def test_a_jog_that_is_small_beside_the_section_is_told_once(
    shift: float, is_slip: bool, slant: float
) -> None:
    points = [[0, 0, 0], [3, 0, 0], [3 + slant, 0, shift], [6, 0, shift]]
    graph = graph_of([("a", points, TRUNK)])
    found = said(graph, "shift the duct by")
    assert len(said(graph, "bend does not fit")) == 0 or not is_slip
    if slant > 0.1:  # drawn as a slope, it is no jog
        assert found == []
    else:
        assert len(found) == is_slip
        assert not found or f"by no more than {length_words(shift)}" in found[0].what
        # A tolerance that closes it is offered where it closes little else.
        offered = "--tolerance '6 mm'" if slant == 0.0 else "--tolerance '12 mm'"
        is_offered = shift == 0.005 and slant == 0.0
        assert not found or (offered in found[0].remedy) == is_offered


def test_a_bend_without_room_behind_the_source_says_so() -> None:
    graph = graph_of([("a", [[0, 0, 0], [0.1, 0, 0], [0.1, 3, 0]], SMALL)])
    (found,) = said(graph, "bend does not fit")
    assert found.what.endswith("lack 200 mm (7.9 in) to the start of the duct")


@pytest.mark.parametrize("made", list(ElbowConstruction))
def test_a_radius_of_the_drawing_that_is_not_used_is_told(
    made: ElbowConstruction,
) -> None:
    drawing = drawing_from_runs(
        [("a", np.array([[0.0, 0, 0], [3, 0, 0], [3, 3, 0]]), TRUNK)],
        attributes={"a": Attributes(source=True, source_at_end=False, bend_radius=0.7)},
    )
    rule = ElbowRule(made, Basis.DECLARED)
    graph = build(drawing, Schedule(elbow_default=rule, terminals=END))
    told = said(graph, "bend radius of 700 mm")
    assert bool(told) == (graph.bends.radius[0] != 0.7)
    assert all("run 'a', bend 1" in notice.where for notice in told)


@pytest.mark.parametrize(
    ("made", "told"),
    [(ElbowConstruction.MITRED, True), (ElbowConstruction.SEGMENTED, False)],
)
def test_a_drawn_arc_that_overrules_the_schedule_is_told(
    made: ElbowConstruction, told: bool
) -> None:
    a = np.radians(np.linspace(-90.0, 0.0, 7))
    arc = np.stack([3 + 0.6 * np.cos(a), 0.6 + 0.6 * np.sin(a), 0 * a], axis=1)
    points = [[0, 0, 0], *arc.tolist(), [3.6, 4, 0]]
    rule = ElbowRule(made, Basis.DECLARED)
    graph = graph_of([("a", points, SMALL)], elbow_default=rule)
    assert len(graph.bends.duct) == 1
    found = said(graph, "drawn as an arc")
    assert len(found) == told
    assert graph.bends.construction[0] == (ElbowConstruction.SMOOTH if told else made)


# --- corners


@pytest.mark.parametrize("is_return", [False, True])
def test_a_section_that_changes_at_a_corner_is_told(is_return: bool) -> None:
    graph = graph_of(
        [
            ("a", [[0, 0, 0], [4, 0, 0]], rectangular(0.6, 0.3)),
            ("b", [[4, 0, 0], [4, 5, 0]], rectangular(0.45, 0.3)),
        ],
        source=SourceSpec(is_return=is_return),
    )
    (found,) = said(graph, "section changes at the corner")
    assert found.severity == Severity.NOTE
    assert "run 'b', bend 1 at (4, 0, 0) m" in found.where
    assert "the side of the source, and a transition behind it" in found.what
    assert found.what.endswith(
        "600×300 mm (23.6×11.8 in) and 450×300 mm (17.7×11.8 in)"
    )
    assert ("closed_end = true" in found.remedy) != is_return
    # So it is: the elbow's side in its plane is that of the trunk.
    assert graph.bends.in_plane[0] == pytest.approx(0.6)


@pytest.mark.parametrize("made", [ElbowConstruction.SMOOTH, ElbowConstruction.MITRED])
def test_a_round_duct_that_turns_into_a_stack_may_be_a_boot(
    made: ElbowConstruction,
) -> None:
    graph = graph_of(
        [
            ("round", [[0, 0, 0], [4, 0, 0]], round_section(0.15)),
            ("stack", [[4, 0, 0], [4, 0, 3]], rectangular(0.254, 0.0826)),
        ],
        elbow_default=ElbowRule(made),
    )
    (found,) = said(graph, "section changes at the corner")
    assert ("a boot is nearer to" in found.remedy) == (made.words != "mitred")


# --- taps at the closed end of a duct


def end_tap(
    section: Section, turn: float = 90.0, name: str = "tap", **plan: Any
) -> Analysis:
    a = np.radians(turn)
    away = [4 + 3 * np.cos(a), 3 * np.sin(a), 0]
    runs: Runs = [
        ("trunk", [[0, 0, 0], [4, 0, 0]], TRUNK),
        (name, [[4, 0, 0], away], section),
    ]
    return analyse(graph_of(runs, **plan))


def asked(found: Analysis) -> list[str]:
    return [flag.sentence for flag in found.flags if "the closed end" in flag.what]


@pytest.mark.parametrize(
    ("section", "turn", "told"),
    [
        (round_section(0.2), 90.0, True),
        (round_section(0.2), 60.0, True),
        (round_section(0.2), 45.0, False),
        (rectangular(0.2, 0.2), 90.0, True),  # 0.27 of the area
        (rectangular(0.3, 0.3), 90.0, True),  # 0.6 of it
        (rectangular(0.345, 0.3), 90.0, True),  # 0.69 of it: own choice, 0.7
        (rectangular(0.355, 0.3), 90.0, False),  # 0.71 of it
        (rectangular(0.4, 0.3), 90.0, False),  # 0.8 of it
        (flat_oval(0.5, 0.25), 90.0, True),
        (round_section(0.6), 90.0, False),  # larger: a tap would not fit
        (TRUNK, 90.0, False),
    ],
)
def test_a_corner_that_may_be_an_end_tap_is_asked_about(
    section: Section, turn: float, told: bool
) -> None:
    found = end_tap(section, turn)
    assert len(asked(found)) == told


def test_both_figures_of_an_end_tap_are_given() -> None:
    found = end_tap(round_section(0.2))
    (flag,) = asked(found)
    e = found.elements
    elbow = e.loss[(e.kind == Kind.BEND) | (e.kind == Kind.TRANSITION)].sum()
    # SMACNA HVAC Systems Duct Design 1990, section 8: 1.2 on the tap's velocity.
    speed = 0.3 / (np.pi * 0.1**2)
    tap = 1.2 * 0.5 * found.conditions.air.density * speed**2
    assert f"{elbow:.1f} Pa" in flag
    assert f"{tap:.1f} Pa" in flag
    assert 'run = "tap" and closed_end = true' in flag


def test_of_two_corners_that_may_be_end_taps_one_is_named() -> None:
    drop, last = round_section(0.25), round_section(0.12)
    runs: Runs = [
        ("trunk", [[0, 0, 0], [4, 0, 0]], TRUNK),
        ("mid", [[4, 0, 0], [4, 4, 0]], drop),
        ("last", [[4, 4, 0], [8, 4, 0]], last),
    ]
    (flag,) = asked(analyse(graph_of(runs)))
    assert "in run 'last', where it matters most, it loses" in flag


def test_a_declared_end_tap_counts_as_one() -> None:
    found = end_tap(round_section(0.2), closed_ends={"tap": True})
    e = found.elements
    assert not asked(found)
    assert not ((e.kind == Kind.BEND) | (e.kind == Kind.TRANSITION)).any()
    (row,) = np.flatnonzero(e.kind == Kind.BRANCH)
    on_own = float(e.loss[row] / found.state.velocity_pressure[1])
    assert on_own == pytest.approx(1.2)
    assert on_own == pytest.approx(float(junctions.last_tap(1.0).value[0]))
    assert found.words(int(row)) == "tap at the closed end of a duct, 90°"
    assert not [a for a in found.assumptions if "plain opening" in a.what]
    assert found.path_length[0] == pytest.approx(7.0)  # no arc is taken off


def test_an_end_tap_may_have_an_entry_that_is_not_its_loss() -> None:
    exceptions = {"tap": TakeoffEntry.EXTRACTOR}
    found = end_tap(
        round_section(0.2), closed_ends={"tap": True}, takeoff_exceptions=exceptions
    )
    assert not [flag for flag in found.flags if "declared entry" in flag.what]


def test_a_corner_declared_no_end_tap_is_asked_about_no_more() -> None:
    open_, declared = (
        end_tap(round_section(0.2), closed_ends=said) for said in ({}, {"tap": False})
    )
    assert asked(open_)
    assert not asked(declared)
    np.testing.assert_array_equal(open_.elements.loss, declared.elements.loss)


def test_a_declared_end_tap_stays_one_when_the_sections_become_alike() -> None:
    """As they may when a layout is sized: no elbow takes its place unseen."""
    found = end_tap(TRUNK, 90.0, closed_ends={"tap": True})
    (row,) = np.flatnonzero(found.elements.kind == Kind.BRANCH)
    assert found.words(int(row)) == "tap at the closed end of a duct, 90°"
    assert not (found.elements.kind == Kind.BEND).any()


def test_what_cannot_be_an_end_tap_is_not_made_one() -> None:
    found = end_tap(round_section(0.2), 45.0, closed_ends={"tap": True})
    assert not (found.elements.kind == Kind.BRANCH).any()
    (flag,) = asked(found)
    assert "run 'tap': it is declared a tap" in flag


def test_an_end_tap_of_a_return_has_no_value() -> None:
    plan: dict[str, Any] = {"source": SourceSpec(is_return=True)}
    assert not asked(end_tap(round_section(0.2), **plan))
    with pytest.raises(BadInput, match="run 'tap': no value is published"):
        end_tap(round_section(0.2), closed_ends={"tap": True}, **plan)


def test_the_schedule_says_which_it_is(tmp_path: Path) -> None:
    path = tmp_path / "s.toml"
    path.write_text('[[takeoffs.exception]]\nrun = "x"\nclosed_end = true\n')
    plan = read_schedule(path)
    assert (plan.closed_ends, plan.takeoff_exceptions) == ({"x": True}, {})
    assert ("[[takeoffs.exception]]", "x") in plan.named_runs
    path.write_text('[[takeoffs.exception]]\nrun = "x"\nclosed_end = "yes"\n')
    with pytest.raises(BadInput, match="closed_end: 'yes' is no yes or no"):
        read_schedule(path)


def sized(main: Section, branch: Section) -> list[str]:
    """What is said of the sizes of a main and a branch, by check and by analyse."""
    drawing = drawing_from_runs(
        [
            ("main", [[0, 0, 3], [4, 0, 3], [8, 0, 3]], main),
            ("tap", [[4, 0, 3], [4, 3, 3]], branch),
        ],
        attributes={"main": Attributes(source=True, source_at_end=False)},
    )
    plan = Schedule(terminals={"main": TerminalSpec(0.2), "tap": TerminalSpec(0.1)})
    said = [n.sentence for n in build(drawing, plan).notices]
    every = [n.sentence for n in audit(drawing, plan).findings]
    assert len(every) == len(set(every))
    words = ("larger in every direction", "large for a duct", " where the side")
    return [one for one in said if any(w in one for w in words) and one in every]


@pytest.mark.parametrize(
    ("branch", "told"),
    [
        (round_section(2.0), True),
        (rectangular(0.35, 0.65), True),
        (round_section(0.35), True),  # higher than the side of 0.3 m
        (round_section(0.3), False),
        (rectangular(0.9, 0.2), False),
        (rectangular(0.25, 0.35), True),
        (rectangular(0.6, 0.3), False),
    ],
)
def test_a_branch_that_its_main_cannot_hold_is_told(
    branch: Section, told: bool
) -> None:
    said = sized(rectangular(0.6, 0.3), branch)
    assert bool(said) == told
    if told:
        assert "run 'tap', at (4, 0, 3) m: the branch of" in said[0]


def off_a_riser(width: float) -> Drawing:
    """A level branch of a width that leaves a square riser of 400 mm."""
    return drawing_from_runs(
        [
            ("riser", np.array([[0.0, 0, 0], [0, 0, 2]]), SQUARE),
            ("top", np.array([[0.0, 0, 2], [0, 0, 5]]), SQUARE),
            ("tap", np.array([[0.0, 0, 2], [6, 0, 2]]), rectangular(width, 0.25)),
        ],
        attributes={"riser": Attributes(source=True, source_at_end=False)},
        flows={"top": 0.4, "tap": 0.9},
    )


SQUARE = rectangular(0.4, 0.4)


def test_what_lies_across_a_riser_is_the_width_of_a_branch() -> None:
    (said,) = (n.what for n in build(off_a_riser(0.5)).notices if "the side" in n.what)
    assert "is 500 mm (19.7 in) wide where the side of its main is 400 mm" in said
    drawing = off_a_riser(0.4)
    assert not [n for n in build(drawing).notices if "the side" in n.what]


def test_no_remedy_makes_a_branch_wider_than_what_it_leaves() -> None:
    def widths(drawing: Drawing) -> list[str]:
        found = remedies(analyse(build(drawing)))
        return [one.what for one in found if one.at == "tap" and "larger" in one.what]

    assert any("400×250 mm" in one for one in widths(off_a_riser(0.35)))
    for drawing in (off_a_riser(0.35), off_a_riser(0.4)):
        assert widths(drawing)  # higher ones fit
        assert not [one for one in widths(drawing) if "450×" in one or "500×" in one]


def test_sizes_of_a_layout_that_do_not_fit_their_main_are_said() -> None:
    drawing = off_a_riser(0.4)
    plan = Schedule(limits={one: RunLimits(is_kept=True) for one in ("riser", "top")})
    found = proportion(drawing, plan, Aim(rate=0.5, may_grow=True))
    (size,) = (one.chosen for one in found.choices if one.run == "tap")
    assert size.width > 0.41
    (said,) = (n.sentence for n in found.notices if "larger than the side" in n.what)
    assert "with these sizes 'tap' is larger than the side of the duct that" in said
    found = proportion(drawing, plan, Aim(rate=4.0, may_grow=True))
    assert not [n for n in found.notices if "larger than the side" in n.what]


def test_a_section_of_many_metres_is_in_another_unit() -> None:
    thirty_feet = 30 * 0.3048
    (said,) = sized(rectangular(thirty_feet, thirty_feet), round_section(0.2))
    assert (
        "run 'main': its section is 9144×9144 mm (360×360 in), large for a duct" in said
    )
    assert sized(rectangular(2.5, 2.0), round_section(0.2)) == []


def test_behind_a_bend_that_does_not_fit_is_no_straight_below_nothing() -> None:
    points = np.array([[0, 0, 0], [3, 0, 0], [3, 0.3, 0], [6, 0.3, 0]])
    drawing = drawing_from_runs(
        [("a", points, round_section(0.5))],
        attributes={"a": Attributes(source=True, source_at_end=False)},
    )
    analysis = analyse(build(drawing, Schedule(terminals={"a": TerminalSpec(0.3)})))
    assert analysis.graph.ducts.straight.min() < 0.0
    after = straight_after(analysis)[analysis.elements.kind == Kind.BEND]
    assert after[0] == 0.0
    assert after[1] > 2.0
