"""Drawings become ducts and fittings: joints, bends, transitions, branches, flows."""

import re
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from typing import Any

import networkx as nx
import numpy as np
import pytest
import pyvista
from routes import Run, about_z, drawn

from elbowroom.layout import (
    Attributes,
    BadInput,
    Basis,
    Drawing,
    DuctGraph,
    ElbowConstruction,
    ElbowRule,
    Schedule,
    SourceSpec,
    TerminalSpec,
    build,
    drawing_from_runs,
    join,
    length_words,
    read,
    read_schedule,
    rectangular,
    round_section,
    solids,
    write,
)
from elbowroom.physics import analyse, duct_flows

FLAT = rectangular(0.6, 0.2)
DEGREE = np.pi / 180
SOURCE = {"a": Attributes(source=True, source_at_end=False)}


def one_run(points: Any, section: Any = FLAT, **said: Any) -> DuctGraph:
    drawing = drawing_from_runs(
        [("a", points, section)],
        attributes={"a": Attributes(source=True, **said)},
    )
    return build(drawing, Schedule(terminals={"a": TerminalSpec(0.5)}))


def tee(**schedule: Any) -> DuctGraph:
    """A main with a branch that ends on its side, where it has no vertex."""
    drawing = drawing_from_runs(
        [
            ("a", [[0, 0, 3], [8, 0, 3]], rectangular(0.4, 0.3)),
            ("b", [[4, 0, 3], [4, 3, 3]], round_section(0.2)),
        ],
        flows={"b": 0.2},
        attributes=SOURCE,
    )
    flows = {"a": TerminalSpec(0.3)}
    return build(drawing, Schedule(terminals=flows, **schedule))


# --- joints


@pytest.mark.parametrize("lengths", [[1e-3], [1e-3, 5e-4]])
def test_a_run_within_the_tolerance_is_named(lengths: list[float]) -> None:
    drawing = drawing_from_runs(
        [
            (name, np.array([[0, 0, 0], [length, 0, 0]]), FLAT)
            for name, length in zip("ab", lengths, strict=False)
        ]
    )
    with pytest.raises(BadInput) as told:
        build(drawing, tolerance=1e-3)
    said = str(told.value)
    assert "run 'a'" in said
    assert "is 1 mm (0.039 in) long" in said
    assert "tolerance of 1 mm" in said
    assert "--tolerance" in said


def test_an_end_on_the_side_of_a_run_divides_it() -> None:
    graph = tee()
    assert len(graph.ducts.run) == 3
    assert len(graph.topology.junctions) == 1
    assert graph.nodes[graph.topology.junctions[0]].tolist() == [4.0, 0.0, 3.0]
    assert graph.legs.is_branch.tolist().count(True) == 1


@pytest.mark.parametrize(("gap", "tolerance", "parts"), [
    (9e-4, 1e-3, 1),
    (1.1e-3, 1e-3, 2),
    (9e-3, 1e-2, 1),
])  # fmt: skip
def test_snapping_keeps_its_tolerance(gap: float, tolerance: float, parts: int) -> None:
    drawing = drawing_from_runs(
        [
            ("a", [[0, 0, 0], [4, 0, 0]], FLAT),
            ("b", np.array([[4, gap, 0], [4, 3, 0]]), FLAT),
        ]
    )
    assert join(drawing, tolerance).component_count == parts


@pytest.mark.parametrize("branches", [
    [[[4, 0.03, 3], [4, 3, 3]]],  # short of it
    [[[4, -0.03, 3], [4, 3, 3]]],  # past it
    [[[4, 0, 3.03], [4, 3, 3.03]]],  # over it
    [[[4, 0.03, 3], [4, 3, 3]]] * 2,  # drawn twice
    [[[4, 0.03, 3], [4, 3, 3]], [[4, 0.03, 3], [4, 0.03, 5]]],  # two, from one point
    [[[4, 0.03, 3], [4, 3, 3]], [[4.02, -0.03, 3], [4.02, -3, 3]]],  # on both sides
])  # fmt: skip
@pytest.mark.parametrize("is_twice", [False, True])
def test_an_end_beside_a_run_goes_to_it_and_the_run_stays_straight(
    branches: list[list[list[float]]], is_twice: bool
) -> None:
    lines: list[Any] = [[[0, 0, 3], [8, 0, 3]], *branches, [[0, 0, 3], [8, 0, 3]]]
    runs = [(f"{row}", points, FLAT) for row, points in enumerate(lines)]
    drawing = drawing_from_runs(runs if is_twice else runs[:-1])
    topology = join(drawing, 0.031)
    (at,) = topology.junctions.tolist()
    assert topology.nodes[at] == pytest.approx([4, 0, 3], abs=0.0101)
    assert topology.nodes[at][1:].tolist() == [0, 3]
    assert topology.degree[at] == 2 + len({str(points) for points in branches})
    (said,) = [one.what for one in topology.notices if "beside another run" in one.what]
    ends = len({str(points[0]) for points in branches})
    was = "1 end beside another run was" if ends == 1 else f"{ends} ends beside"
    assert said.startswith(was)
    away = drawing.points - topology.nodes[at]
    moved = np.linalg.norm(away, axis=1)
    assert said.endswith(length_words(float(moved[moved < 0.1].max())))


def test_ends_beside_a_run_that_moves_are_told_by_how_far_they_really_went() -> None:
    """More than the tolerance: aside with the branch, and on to its line."""
    lines: list[Any] = [
        [[0, 0, 0], [8, 0, 0]],
        [[4, 0.029, 0], [4, 0.4, 6]],
        [[4.029, 0.031, 0.06], [8, 0.031, 0.06]],
    ]
    runs = [(f"{row}", points, FLAT) for row, points in enumerate(lines)]
    drawing = drawing_from_runs(runs)
    topology = join(drawing, 0.03)
    (said,) = [one.what for one in topology.notices if "beside another run" in one.what]
    away = [end.foot - drawing.points[[2, 4]] for end in topology.landings]
    farthest = max(float(np.linalg.norm(step, axis=1).min()) for step in away)
    assert farthest > 0.035
    assert said.endswith(f"by up to {length_words(farthest)}")


def test_lines_that_cross_in_mid_air_are_not_joined_and_it_is_said() -> None:
    drawing = drawing_from_runs(
        [
            ("a", [[0, 0, 3], [8, 0, 3]], FLAT),
            ("b", [[4, -3, 3], [4, 3, 3]], FLAT),
        ]
    )
    topology = join(replace(drawing, unit="mm"))
    assert topology.component_count == 2
    (said,) = (one.what for one in topology.notices if "cross" in one.what)
    assert "the lines cross at (4000, 0, 3000) mm without" in said


@pytest.mark.parametrize(("points", "said"), [
    ([[4, 0.02, 3], [4, 3, 3]], "20 mm (0.79 in) short of run 'a', at (4, 0.02, 3) m"),
    ([[4, 1, 2], [4, 1, 5]], "the source reaches is 1 m (3.3 ft) at (4, 1, 3) m"),
    ([[9, 3, 7], [9, 5, 7]], "the source reaches is 5.1 m (16.7 ft) at (9, 3, 7) m"),
    ([[4, -3, 3], [4, 3, 3]], "the lines cross at (4, 0, 3) m without a common point"),
])  # fmt: skip
def test_a_loose_part_is_measured_from_the_side_of_what_it_misses(
    points: Any, said: str
) -> None:
    drawing = drawing_from_runs(
        [("a", [[0, 0, 3], [8, 0, 3]], FLAT), ("b", points, FLAT)], attributes=SOURCE
    )
    notices = build(drawing, Schedule(terminals={"a": TerminalSpec(0.3)})).notices
    (loose,) = (notice.what for notice in notices if "separate part" in notice.what)
    assert said in loose
    assert sum("cross" in notice.what for notice in notices) == ("cross" in said)


def test_lines_that_pass_over_each_other_are_left_in_peace() -> None:
    drawing = drawing_from_runs(
        [
            ("a", [[0, 0, 3], [8, 0, 3]], FLAT),
            ("b", [[4, -3, 3.5], [4, 3, 3.5]], FLAT),
        ]
    )
    assert not join(drawing).notices


# --- bends


def test_a_flat_duct_that_turns_sideways_turns_the_easy_or_the_hard_way() -> None:
    """The side in the plane of the bend: the width in plan, the height in a drop."""
    plan = one_run([[0, 0, 0], [3, 0, 0], [3, 3, 0]]).bends
    assert (plan.in_plane[0], plan.along_axis[0]) == pytest.approx((0.6, 0.2))
    drop = one_run([[0, 0, 0], [3, 0, 0], [3, 0, -3]]).bends
    assert (drop.in_plane[0], drop.along_axis[0]) == pytest.approx((0.2, 0.6))


@pytest.mark.parametrize("degrees", [12, 30, 45, 60, 90, 120, 150])
@pytest.mark.parametrize("heading", [0.0, 0.7, 2.9])
def test_angles_of_bends(degrees: float, heading: float) -> None:
    turn = np.radians(degrees)
    points = np.array(
        [[0, 0, 0], [5, 0, 0], [5 + 5 * np.cos(turn), 5 * np.sin(turn), 0]]
    )
    bends = one_run(points @ about_z(heading).T).bends
    assert bends.angle.tolist() == pytest.approx([turn])
    assert bends.skew[0] == pytest.approx(0.0, abs=1e-9)


def test_the_section_is_carried_through_a_drop_and_a_turn_below() -> None:
    """Down and then sideways, across the first plane: the width lies in the plane.

    The 0.6 m width is level across the first run. After a drop in the plane of x and z
    it is still along y; a turn towards y then has it in its plane.
    """
    bends = one_run([[0, 0, 0], [4, 0, 0], [4, 0, -4], [4, 4, -4]]).bends
    assert bends.in_plane.tolist() == pytest.approx([0.2, 0.6])


def test_a_rolled_bend_says_so_by_its_skew() -> None:
    bends = one_run([[0, 0, 0], [4, 0, 0], [8, 2, 2]]).bends
    assert abs(bends.skew[0]) == pytest.approx(45 * DEGREE, abs=5 * DEGREE)


@pytest.mark.parametrize(("degrees", "skew"), [(0.9, 0.0), (1.1, 1.1)])
def test_less_than_a_degree_of_skew_is_the_rounding_of_the_drawing(
    degrees: float, skew: float
) -> None:
    """Own choice."""
    away = [4, 4 * np.cos(degrees * DEGREE), 4 * np.sin(degrees * DEGREE)]
    bends = one_run([[0, 0, 0], [4, 0, 0], away]).bends
    assert bends.skew.tolist() == pytest.approx([skew * DEGREE])


def test_a_roll_in_the_drawing_turns_the_section() -> None:
    points = [[0, 0, 0], [3, 0, 0], [3, 3, 0]]
    bends = one_run(points, roll=np.pi / 2).bends
    assert bends.in_plane.tolist() == pytest.approx([0.2])


@pytest.mark.parametrize(
    ("told", "asked"),
    [
        ({}, ["riser"]),
        ({"one": Attributes(roll=0.0)}, ["riser"]),
        ({"one": Attributes(roll=np.pi / 2)}, ["riser"]),
        ({"two": Attributes(roll=0.7)}, ["riser"]),
        ({"riser": Attributes(source=True, up=(0.0, 1.0, 0.0))}, ["one"]),
        ({"riser": Attributes(source=True, up=(1.0, 0.0, 0.0))}, []),
    ],
)
def test_how_a_duct_stands_is_asked_once_where_it_comes_to_stand_so(
    told: dict[str, Attributes], asked: list[str]
) -> None:
    """Of a riser and the trunk on its top, drawn in three runs, the last one smaller.

    Where nothing else is said the riser stands so that the trunk's width lies level;
    with its height along y the width stands upright in the trunk.
    """
    points = np.array([[0, 0, 0], [0, 0, 3], [4, 0, 3], [8, 0, 3], [12, 0, 3]])
    cuts = {"riser": FLAT, "one": FLAT, "two": FLAT, "three": rectangular(0.4, 0.2)}
    drawing = drawing_from_runs(
        [(name, points[i : i + 2], cut) for i, (name, cut) in enumerate(cuts.items())],
        attributes={"riser": Attributes(source=True)} | told,
    )
    graph = build(drawing, Schedule(terminals={"three": TerminalSpec(0.5)}))
    where = [n.where for n in graph.notices if "stands otherwise" in n.remedy]
    assert where == [f"drawing in memory, run '{name}'" for name in asked]


@pytest.mark.parametrize(("width", "said"), [(0.3, True), (0.2, False)])
def test_a_vertical_branch_that_turns_says_how_it_was_taken_to_stand(
    width: float, said: bool
) -> None:
    drawing = drawing_from_runs(
        [
            ("a", [[0, 0, 5], [8, 0, 5]], FLAT),
            ("turns", [[4, 0, 5], [4, 0, 2], [4, 3, 2]], rectangular(width, 0.2)),
            ("ends", [[6, 0, 5], [6, 0, 2]], rectangular(width, 0.2)),
        ],
        attributes=SOURCE,
    )
    flows = {name: TerminalSpec(0.2) for name in ("a", "turns", "ends")}
    found = build(drawing, Schedule(terminals=flows)).notices
    where = [n.where for n in found if "no level side" in n.what]
    assert where == ["drawing in memory, run 'turns'"] * said


@pytest.mark.parametrize(("degrees", "said"), [(90, True), (0, False), (180, False)])
def test_a_twist_between_two_runs_is_remarked_on(degrees: float, said: bool) -> None:
    drawing = drawing_from_runs(
        [
            ("a", [[0, 0, 3], [4, 0, 3]], FLAT),
            ("b", [[4, 0, 3], [9, 0, 3]], FLAT),
        ],
        attributes=SOURCE | {"b": Attributes(roll=degrees * DEGREE)},
    )
    found = build(drawing, Schedule(terminals={"b": TerminalSpec(0.2)})).notices
    assert any("turned by 90 degrees" in notice.what for notice in found) == said


@pytest.mark.parametrize(
    ("told", "said"),
    [
        ({"a": Attributes(source=True, roll=np.pi / 2)}, "runs 'b', 'c' with it"),
        ({"a": Attributes(source=True, up=(0.0, 1.0, 0.0))}, "runs 'b', 'c' with it"),
        (
            {"a": Attributes(source=True, roll=np.pi / 2), "c": Attributes(roll=0.0)},
            "run 'b' with it",
        ),
        ({"a": Attributes(source=True, roll=np.pi)}, None),
        ({"c": Attributes(roll=np.pi / 2)}, None),  # the twist is said
    ],
)
def test_a_turn_that_is_carried_on_into_other_runs_is_said(
    told: dict[str, Attributes], said: str | None
) -> None:
    drawing = drawing_from_runs(
        [
            ("a", [[0, 0, 3], [4, 0, 3]], FLAT),
            ("b", [[4, 0, 3], [9, 0, 3]], rectangular(0.3, 0.2)),
            ("c", [[9, 0, 3], [9, 3, 3]], FLAT),
            ("side", [[6, 0, 3], [6, 4, 3]], rectangular(0.2, 0.1)),
        ],
        attributes=SOURCE | told,
    )
    flows = {name: TerminalSpec(0.2) for name in ("c", "side")}
    found = build(drawing, Schedule(terminals=flows)).notices
    whats = [one.what for one in found if "with it, of which" in one.what]
    assert len(whats) == (said is not None)
    if said is not None:
        assert f"turned 90 degrees from level as it says, and {said}," in whats[0]


@pytest.mark.parametrize("pieces", [6, 12, 48])
def test_an_arc_of_many_vertices_is_one_bend(pieces: int) -> None:
    """A quarter of radius 0.9 m, drawn as chords of the circle."""
    step = np.linspace(0.0, np.pi / 2, pieces + 1)
    arc = np.stack([3 + 0.9 * np.sin(step), 0.9 - 0.9 * np.cos(step), 0 * step], axis=1)
    graph = one_run(np.concatenate([[[0, 0, 0]], arc, [[3.9, 4.0, 0]]]))
    assert len(graph.bends.duct) == 1
    assert graph.bends.angle[0] == pytest.approx(np.pi / 2, abs=0.5 * DEGREE)
    assert graph.bends.radius[0] == pytest.approx(0.9, rel=0.01)
    assert graph.bends.radius_basis[0] == Basis.DRAWN


def test_a_corner_takes_the_radius_of_the_schedule_and_says_its_basis() -> None:
    drawing = drawing_from_runs(
        [("a", [[0, 0, 0], [3, 0, 0], [3, 3, 0]], FLAT)], attributes=SOURCE
    )
    rule = ElbowRule(ElbowConstruction.SMOOTH, Basis.DECLARED, 1.5)
    flows = {"a": TerminalSpec(0.5)}
    for plan, radius, basis in (
        (Schedule(terminals=flows), 0.6, Basis.ASSUMED),
        (Schedule(terminals=flows, elbow_default=rule), 0.9, Basis.ASSUMED),
    ):
        bends = build(drawing, plan).bends
        assert bends.radius[0] == pytest.approx(radius)
        assert bends.radius_basis[0] == basis


@pytest.mark.parametrize(
    ("words", "radius", "basis"),
    [
        ("[[elbows.exception]]", 0.9, Basis.DECLARED),
        ("[elbows]\nradius_ratio = 1.75\n[[elbows.exception]]", 0.9, Basis.DECLARED),
        ("[[elbows.exception]]\nradius_ratio = 2.0", 1.2, Basis.DECLARED),
        (
            '[[elbows.exception]]\nrun = "a"\nradius_ratio = 2.0\n'
            "[[elbows.exception]]\nbend = 1",
            1.2,
            Basis.DECLARED,
        ),
    ],
)
def test_an_exception_without_a_radius_leaves_that_of_the_drawing(
    words: str, radius: float, basis: Basis, tmp_path: Path
) -> None:
    plan = tmp_path / "plan.toml"
    plan.write_text(
        f'[terminals.a]\nflow = "500 L/s"\n{words}\nrun = "a"\n'
        'construction = "radius throat, square heel"\n'
    )
    drawing = drawing_from_runs(
        [("a", [[0, 0, 0], [3, 0, 0], [3, 3, 0]], FLAT)],
        attributes={"a": replace(SOURCE["a"], bend_radius=0.9)},
    )
    bends = build(drawing, read_schedule(plan)).bends
    assert bends.construction.tolist() == [int(ElbowConstruction.SQUARE_HEEL)]
    assert bends.radius.tolist() == pytest.approx([radius])
    assert bends.radius_basis.tolist() == [basis]


@pytest.mark.parametrize(
    ("rule", "radius"),
    [
        (ElbowRule(radius_ratio=2.0), 1.2),
        (ElbowRule(radius_ratio=1.0), 0.6),
        (ElbowRule(centreline_radius=0.8), 0.8),
        (ElbowRule(throat_radius=0.2), 0.5),
        (ElbowRule(ElbowConstruction.SQUARE_HEEL), 0.9),
        (ElbowRule(radius_ratio=2.0, own_radius=False), 0.9),
    ],
)
def test_an_exception_made_in_python_has_the_radius_that_it_gives(
    rule: ElbowRule, radius: float
) -> None:
    """Also where it says nothing of what the radius rests on."""
    drawing = drawing_from_runs(
        [("a", [[0, 0, 0], [3, 0, 0], [3, 3, 0], [6, 3, 0]], FLAT)],
        attributes={"a": replace(SOURCE["a"], bend_radius=0.9)},
    )
    plan = Schedule(
        terminals={"a": TerminalSpec(0.5)}, elbow_exceptions={("a", 2): rule}
    )
    assert build(drawing, plan).bends.radius == pytest.approx([0.9, radius])


def test_one_schedule_may_speak_of_the_runs_of_other_options() -> None:
    """An elbow that another way round has; where no option has it, it is refused."""
    said = Schedule(
        terminals={"a": TerminalSpec(0.5)},
        elbow_exceptions={("detour", 2): ElbowRule(ElbowConstruction.MITRED)},
    )
    drawing = drawing_from_runs(
        [("a", [[0, 0, 0], [3, 0, 0], [3, 3, 0]], FLAT)], attributes=SOURCE
    )
    bends = build(drawing, said, other_drawings=[{"detour"}]).bends
    assert bends.construction.tolist() == [int(ElbowConstruction.SMOOTH)]
    with pytest.raises(BadInput, match="no run 'detour'"):
        build(drawing, said)


def test_a_straight_vertex_is_no_bend() -> None:
    graph = one_run([[0, 0, 0], [1, 0, 0], [2, 0, 0], [6, 0, 0]])
    assert len(graph.bends.duct) == 0
    assert graph.ducts.length.sum() == pytest.approx(6.0)


@pytest.mark.parametrize("between", [3.0, 0.5])
@pytest.mark.parametrize("cuts", [
    [1.0], [3.9], [3.8, 3.9], [4.0, 4.1], [3.6, 3.9, 4.1, 4.3], [4.2, 4.25, 4.3],
])  # fmt: skip
def test_a_new_run_on_the_tangent_of_a_bend_changes_nothing(
    cuts: list[float], between: float
) -> None:
    """Two bends of 0.6 m, on 3 m of duct where they fit, and on 0.5 m where not."""
    corners = np.array([[0, 0, 0], [4, 0, 0], [4, between, 0], [8, between, 0]])
    along = np.array([0.0, 4.0, 4.0 + between, 8.0 + between])

    def bent(cuts: list[float]) -> DuctGraph:
        stops = [0.0, *cuts, along[-1]]
        runs = [
            (
                f"r{number}",
                np.stack(
                    [
                        np.interp([low, *along[(along > low) & (along < high)], high],
                                  along, corners[:, axis])
                        for axis in range(3)
                    ],
                    axis=1,
                ),
                FLAT,
            )
            for number, (low, high) in enumerate(pairwise(stops))
        ]  # fmt: skip
        drawing = drawing_from_runs(
            runs, attributes={"r0": Attributes(source=True, source_at_end=False)}
        )
        return build(drawing, Schedule(terminals={runs[-1][0]: TerminalSpec(0.5)}))

    whole, split = bent([]), bent(cuts)
    assert split.ducts.length.sum() == pytest.approx(
        whole.ducts.length.sum(), rel=1e-12
    )
    assert split.bends.short_by == pytest.approx(whole.bends.short_by, abs=1e-12)
    assert (whole.bends.short_by > 0).all() == (between < 1.0)
    one, two = solids(whole).tubes, solids(split).tubes
    assert one.centre.max(axis=0) == pytest.approx(two.centre.max(axis=0), abs=1e-9)


def test_bends_without_room_are_remarked_on() -> None:
    graph = one_run([[0, 0, 0], [3, 0, 0], [3, 0.3, 0], [6, 0.3, 0]])
    assert (graph.bends.short_by > 0).any()
    assert any("does not fit" in notice.what for notice in graph.notices)


# --- transitions, legs, ends


def test_a_change_of_section_is_a_transition() -> None:
    graph = build(drawn())
    ducts, found = graph.ducts, graph.transitions
    names = [graph.drawing.names[run] for run in ducts.run[found.duct].tolist()]
    assert "T2" not in names or names.count("T2") <= 1
    single = drawing_from_runs(
        [
            ("a", [[0, 0, 0], [4, 0, 0]], rectangular(0.6, 0.3)),
            ("b", [[4, 0, 0], [8, 0, 0]], rectangular(0.3, 0.3)),
        ],
        flows={"b": 0.4},
        attributes=SOURCE,
    )
    reduced = build(single)
    assert len(reduced.transitions.duct) == 1
    # Assumed 30 degrees: the larger change of side over 2 tan 15°.
    length = 0.3 / (2 * np.tan(15 * DEGREE))
    assert reduced.transitions.length[0] == pytest.approx(length)
    assert reduced.transitions.length_basis[0] == Basis.ASSUMED


@pytest.mark.parametrize("degrees", [30, 45, 60, 90])
def test_angle_of_a_branch(degrees: float) -> None:
    turn = np.radians(degrees)
    drawing = drawing_from_runs(
        [
            ("a", [[0, 0, 0], [8, 0, 0]], rectangular(0.4, 0.3)),
            (
                "b",
                [[4, 0, 0], [4 + 3 * np.cos(turn), 3 * np.sin(turn), 0]],
                rectangular(0.3, 0.2),
            ),
        ],
        flows={"b": 0.2},
        attributes=SOURCE,
    )
    legs = build(drawing, Schedule(terminals={"a": TerminalSpec(0.3)})).legs
    branch = np.flatnonzero(legs.is_branch)
    assert legs.angle[branch].tolist() == pytest.approx([turn])


def test_a_wye_of_two_equal_legs_is_symmetrical() -> None:
    c = np.cos(np.pi / 4) * 3
    drawing = drawing_from_runs(
        [
            ("a", [[0, 0, 0], [4, 0, 0]], rectangular(0.6, 0.3)),
            ("b", [[4, 0, 0], [4 + c, c, 0]], rectangular(0.3, 0.3)),
            ("c", [[4, 0, 0], [4 + c, -c, 0]], rectangular(0.3, 0.3)),
        ],
        flows={"b": 0.2, "c": 0.2},
        attributes=SOURCE,
    )
    legs = build(drawing).legs
    assert legs.is_symmetrical.all()


def test_airflow_follows_from_the_terminals() -> None:
    graph = build(drawn())
    flow = duct_flows(graph)
    by_run = {graph.drawing.names[run]: 0.0 for run in graph.ducts.run.tolist()}
    for duct, run in enumerate(graph.ducts.run.tolist()):
        name = graph.drawing.names[run]
        by_run[name] = max(by_run[name], float(flow[duct]))
    assert by_run == pytest.approx(
        {"T1": 0.75, "T2": 0.45, "T3": 0.25, "B1": 0.3, "B2": 0.2}
    )


def test_the_schedule_wins_over_the_drawing_and_flows_that_disagree_are_said() -> None:
    graph = build(drawn(), Schedule(terminals={"B2": TerminalSpec(0.4)}))
    place = graph.terminals.name.index("B2")
    assert graph.terminals.flow[place] == 0.4


def test_a_source_at_an_end_that_is_not_free_is_refused() -> None:
    drawing = drawing_from_runs(
        [
            ("a", [[0, 0, 0], [4, 0, 0]], round_section(0.3)),
            ("b", [[4, 0, 0], [8, 0, 0]], round_section(0.3)),
            ("c", [[4, 0, 0], [4, 4, 0]], round_section(0.2)),
        ],
        attributes={"a": Attributes(source=True, source_at_end=True)},
    )
    plan = Schedule(terminals={"b": TerminalSpec(0.1), "c": TerminalSpec(0.1)})
    with pytest.raises(BadInput, match=r"its end at \(4, 0, 0\) m is not free") as bad:
        build(drawing, plan)
    assert 'write source = "start" if it enters at (0, 0, 0) m' in str(bad.value)


def test_a_terminal_of_another_drawing_says_which_lacks_it_and_how_to_mend_it() -> None:
    plan = Schedule(terminals={"wye end": TerminalSpec(0.1)}, file="schedule.toml")
    short = replace(drawn(), file="short.glb")
    with pytest.raises(BadInput) as bad:
        build(short, plan, other_drawings=[{*short.names, "wye end", "B9"}])
    assert (
        """[terminals."wye end"]: short.glb has no free end 'wye end', as another """
        "drawing has; give short.glb a schedule without this terminal, "
        "short.schedule.toml beside it"
    ) in str(bad.value)
    with pytest.raises(BadInput) as bad:
        build(short, plan, other_drawings=[short.names])
    assert "short.glb has no free end 'wye end'; " in str(bad.value)
    assert "another" not in str(bad.value)


def test_the_source_is_the_largest_drawn_airflow_where_none_is_marked() -> None:
    drawing = drawing_from_runs(
        [
            ("a", [[8, 0, 0], [4, 0, 0]], FLAT),
            ("b", [[4, 0, 0], [0, 0, 0]], FLAT),
            ("c", [[4, 0, 0], [4, 3, 0]], FLAT),
        ],
        flows={"a": 0.5, "b": 0.3, "c": 0.2},
    )
    graph = build(drawing)
    assert graph.nodes[graph.source.node].tolist() == [8.0, 0.0, 0.0]


@pytest.mark.parametrize(
    ("plan", "said"),
    [
        (Schedule(terminals={"nowhere": TerminalSpec(0.1)}), "no free end 'nowhere'"),
        (Schedule(sections={"T22": FLAT}), "did you mean 'T2'"),
        (Schedule(terminals={"T2": TerminalSpec(0.1)}), "no free end 'T2'"),
        (
            Schedule(terminals={"x": TerminalSpec(0.1, at=(0.0, 9.0, 0.0))}),
            "ends at that place; the nearest",
        ),
    ],
)
def test_a_schedule_that_does_not_fit_the_drawing(plan: Schedule, said: str) -> None:
    with pytest.raises(BadInput) as caught:
        build(drawn(), plan)
    assert any(said in fault.sentence for fault in caught.value.faults)


def test_an_end_without_airflow_is_refused_by_its_place() -> None:
    drawing = drawing_from_runs(
        [("a", [[0, 0, 0], [4, 0, 0]], FLAT)], attributes=SOURCE
    )
    with pytest.raises(BadInput, match=r"run 'a', at \(4, 0, 0\) m.*no airflow"):
        build(drawing)


@pytest.mark.parametrize(
    ("file", "remedy"),
    [
        ("a.toml", ', or write flow = "..." at the run.'),
        ("a.glb", ", or write flow_m3s in the extras of the run."),
        ("a.vtp", ", or write a cell array flow_m3s."),
        ("a.vtu", ", or write a cell array flow_m3s."),
        ("a.txt", ", or write a cell array flow_m3s."),  # told from its content
        ("a.obj", " if it is shut, to the schedule."),
        ("a.dxf", " if it is shut, to the schedule."),
    ],
)
def test_the_remedy_names_the_key_of_the_file_s_own_format(
    file: str, remedy: str, tmp_path: Path
) -> None:
    path, points = tmp_path / file, [[0, 0, 0], [4, 0, 0]]
    if file == "a.toml":
        path.write_text(
            f'unit = "m"\n[[run]]\nname = "a"\nsection = "400x250 mm"\n'
            f'source = "start"\npoints = {points}\n'
        )
    elif file == "a.vtu":
        lines = pyvista.MultipleLines(points).cast_to_unstructured_grid()
        lines.save(path)
    elif file == "a.txt":
        path.write_text(
            "# vtk DataFile Version 3.0\na\nASCII\nDATASET POLYDATA\n"
            "POINTS 2 float\n0 0 0 4 0 0\nLINES 1 3\n2 0 1\n"
        )
    else:
        write(drawing_from_runs([("a", points, FLAT)], attributes=SOURCE), path)
    drawing = read(path, unit=None if file == "a.toml" else "m", up="z")
    plan = Schedule(
        source=SourceSpec(at=(0.0, 0.0, 0.0)), sections={drawing.names[0]: FLAT}
    )
    with pytest.raises(BadInput) as caught:
        build(drawing, plan)
    assert str(caught.value).endswith(remedy)


@pytest.mark.parametrize("up", [(1.0, 0.0, 0.0), (-2.0, 0.01, 0.0)])
def test_an_up_along_the_duct_has_no_effect_and_is_said(
    up: tuple[float, float, float],
) -> None:
    points = [[0, 0, 0], [4, 0, 0], [4, 3, 0]]
    plain, idle = one_run(points), one_run(points, up=up)
    assert idle.ducts.roll.tolist() == plain.ducts.roll.tolist()
    (said,) = [n for n in idle.notices if "'up' points along" in n.what]
    assert "has no effect" in said.what
    across = one_run(points, up=(0.0, 1.0, 0.0))
    assert across.ducts.roll[0] != 0.0
    assert not [n for n in across.notices if "'up' points along" in n.what]


def branched(**flows: float) -> Drawing:
    return drawing_from_runs(
        [
            ("a", [[0, 0, 0], [4, 0, 0], [8, 0, 0]], FLAT),
            ("b", [[4, 0, 0], [4, 3, 0]], FLAT),
        ],
        attributes=SOURCE,
        flows=flows,
        file="a.toml",
    )


def test_a_total_at_a_run_is_not_taken_for_the_end_beyond_its_branches() -> None:
    with pytest.raises(BadInput) as caught:
        build(branched(a=0.5, b=0.2))
    (fault,) = caught.value.faults
    assert "the 500 L/s (1059 cfm) written at the run need not be" in fault.what
    assert "at the run" not in fault.remedy  # it would be the total again


@pytest.mark.parametrize("fed", ["by a run", "at a place"])
def test_an_airflow_of_a_run_with_two_ends_is_not_taken_for_each(fed: str) -> None:
    """It may be that of each or of both."""
    runs: list[Run] = [("head", [[4, -3, 0], [4, 0, 0], [4, 3, 0]], FLAT)]
    source = SourceSpec(at=(4.0, 0.0, 0.0))
    if fed == "by a run":
        runs.append(("a", [[0, 0, 0], [4, 0, 0]], FLAT))
        source = SourceSpec(run="a")
    drawing = drawing_from_runs(runs, flows={"head": 0.2}, file="a.toml")
    with pytest.raises(BadInput) as caught:
        build(drawing, Schedule(source=source))
    assert len(caught.value.faults) == 2
    for fault in caught.value.faults:
        assert "the 200 L/s (424 cfm) written at the run need not be" in fault.what


def test_airflows_that_do_not_add_up_are_told_with_what_would() -> None:
    graph = build(branched(a=0.5, b=0.2), Schedule(terminals={"a": TerminalSpec(0.4)}))
    with pytest.raises(BadInput) as caught:
        analyse(graph)
    (fault,) = caught.value.faults
    assert "write 600 L/s (1271 cfm) there" in fault.remedy
    assert fault.remedy.endswith("'a' 400 L/s (848 cfm), 'b' 200 L/s (424 cfm)")


def crossed(terminals: dict[str, TerminalSpec]) -> list[str]:
    """What is refused of a trunk and a run 'x' that crosses it, both ends open."""
    drawing = drawing_from_runs(
        [
            ("a", [[0, 0, 3], [4, 0, 3], [8, 0, 3]], FLAT),
            ("x", [[4, -3, 3], [4, 0, 3], [4, 3, 3]], FLAT),
        ],
        attributes=SOURCE,
        flows={"a": 0.3},
    )
    every = {"a end": TerminalSpec(0.2, run="a"), **terminals}
    with pytest.raises(BadInput) as caught:
        build(drawing, Schedule(terminals=every))
    return [fault.sentence for fault in caught.value.faults]


def test_two_ends_of_one_name_are_told_apart_by_a_key_that_works(
    tmp_path: Path,
) -> None:
    (said,) = crossed({"x": TerminalSpec(0.1)})
    assert "physics" not in said
    keys = re.findall(r"at = \[[^]]*\]", said)
    assert keys == ['at = ["4 m", "3 m", "3 m"]', 'at = ["4 m", "-3 m", "3 m"]']
    plan = tmp_path / "plan.toml"
    plan.write_text(f'[terminals.one]\n{keys[0]}\nflow = "50 L/s"')
    assert read_schedule(plan).terminals["one"].at == (4.0, 3.0, 3.0)


def test_the_other_end_of_a_run_whose_name_is_taken_has_a_remedy() -> None:
    (said,) = crossed({"x": TerminalSpec(0.1, at=(4.0, 3.0, 3.0))})
    assert "[terminals.x] is another end" in said or '[terminals."x"]' in said
    assert 'at = ["4 m", "-3 m", "3 m"]' in said


def test_the_free_ends_are_listed_once_each_and_the_rest_counted() -> None:
    runs = [("main", [[0, 0, 0], [24, 0, 0]], FLAT)]
    runs += [(f"b{n}", [[2 * n, 0, 0], [2 * n, 3, 0]], FLAT) for n in range(1, 11)]
    drawing = drawing_from_runs(
        runs,
        attributes={"main": Attributes(source=True, source_at_end=False)}
        | {f"b{n}": Attributes(terminal=f"room {n}") for n in range(1, 11)},
    )
    with pytest.raises(BadInput) as bad:
        build(drawing, Schedule(terminals={"elsewhere": TerminalSpec(0.1)}))
    said = bad.value.faults[0].remedy
    assert said.startswith("the free ends are 'room 1', 'room 2'")
    assert said.endswith("'room 8' and 3 more")  # the main's end is the eleventh


@pytest.mark.parametrize(("end", "said"), [
    ([8, 3, 3], "'c' at (5, 3, 3) m, in a loop; part the runs"),
    ([5, 6, 3], "'c' at (5, 3, 3) m; the free ends are 'a', 'b' and 'c'"),
])  # fmt: skip
def test_a_run_that_others_go_on_from_names_them(end: list[float], said: str) -> None:
    drawing = drawing_from_runs(
        [
            ("a", [[0, 0, 3], [9, 0, 3]], FLAT),
            ("b", [[8, 0, 3], [8, 3, 3]], FLAT),
            ("d", [[5, 0, 3], [5, 3, 3]], FLAT),
            ("c", np.array([[5, 3, 3], end]), FLAT),
        ],
        attributes=SOURCE,
    )
    flows = {name: TerminalSpec(0.2) for name in ("a", "d")}
    with pytest.raises(BadInput) as bad:
        build(drawing, Schedule(terminals=flows))
    what = "no free end 'd': that run ends on 'a' at (5, 0, 3) m and on "
    assert what + said in str(bad.value)


@pytest.mark.parametrize("name", ["T1", "T1 600x300"])
def test_a_terminal_at_the_source_is_said_to_be_there(name: str) -> None:
    drawing = drawn()
    names = [name if run == "T1" else run for run in drawing.names]
    plan = Schedule(terminals={"T1": TerminalSpec(0.1)})
    with pytest.raises(BadInput, match="the source is at the free end of that run"):
        build(replace(drawing, names=names), plan)


def test_a_single_free_end_is_not_called_one_of_several() -> None:
    ring = [[0, 0, 3], [4, 0, 3], [4, 4, 3], [0, 4, 3], [0, 0, 3]]
    drawing = drawing_from_runs(
        [("ring", ring, FLAT), ("out", [[4, 2, 3], [6, 2, 3]], FLAT)],
        flows={"out": 0.1},
    )
    with pytest.raises(BadInput, match="the only free end is run 'out'"):
        build(drawing)


def test_the_networkx_view() -> None:
    graph = build(drawn())
    view = graph.nx
    assert nx.is_arborescence(view)
    assert view.number_of_edges() == len(graph.ducts.run)
    assert {data["duct"] for _, _, data in view.edges(data=True)} == set(
        range(len(graph.ducts.run))
    )
    kinds = nx.get_node_attributes(view, "kind")
    assert sorted(kinds.values()).count("terminal") == 3
    assert kinds[graph.source.node] == "source"
    assert graph.nx is view  # built once


@pytest.mark.parametrize("heading", [0.0, 30.0, 90.0, 200.0])
@pytest.mark.parametrize(
    ("as_one_run", "said"), [(True, None), (False, None), (False, 0.0), (False, 90.0)]
)
def test_a_riser_at_the_source_stands_as_what_it_leads_to(
    heading: float, as_one_run: bool, said: float | None
) -> None:
    """The trunk's first side lies level, or as the trunk's own roll has it.

    So the bend at the top turns over the height, wherever the trunk goes to.
    """
    away = np.array([np.cos(heading * DEGREE), np.sin(heading * DEGREE), 0.0])
    foot, top = np.zeros(3), np.array([0.0, 0.0, 3.0])
    told = {} if said is None else {"trunk": Attributes(roll=said * DEGREE)}
    if as_one_run:
        runs = [("riser", np.array([foot, top, top + 5 * away]), FLAT)]
    else:
        runs = [
            ("riser", np.array([foot, top]), FLAT),
            ("trunk", np.array([top, top + 5 * away]), FLAT),
        ]
    drawing = drawing_from_runs(
        runs,
        flows={runs[-1][0]: 0.5},
        attributes={"riser": Attributes(source=True, source_at_end=False)} | told,
    )
    graph = build(drawing)
    on_edge = said == 90.0
    level = np.abs(graph.ducts.across[-1][2])
    assert level == pytest.approx(float(on_edge), abs=1e-9)
    in_plane = FLAT.width if on_edge else FLAT.height
    assert graph.bends.in_plane.tolist() == pytest.approx([in_plane])
    assert graph.bends.skew.tolist() == pytest.approx([0.0], abs=1e-9)


@pytest.mark.parametrize("heading", [0.0, 30.0, 90.0])
@pytest.mark.parametrize(("roll", "hard"), [(0.0, False), (90.0, True)])
@pytest.mark.parametrize("behind_a_bend", [False, True])
def test_the_roll_of_a_riser_counts_from_how_it_would_stand_without(
    heading: float, roll: float, hard: bool, behind_a_bend: bool
) -> None:
    """Own choice: without a roll each of these bends turns over the height.

    What follows carries the roll on, and both are said.
    """
    foot, top = [0.0, 0.0, 0.0], [0.0, 0.0, 3.0]
    runs = [("riser", [foot, top, [5.0, 0.0, 3.0]], FLAT)]
    if behind_a_bend:
        runs = [("level", [[-5.0, 0.0, 0.0], foot], FLAT), *runs]
    turn = about_z(heading * DEGREE).T
    source = Attributes(source=True, source_at_end=False)
    said = {runs[0][0]: source}
    said["riser"] = replace(said.get("riser", Attributes()), roll=roll * DEGREE)
    drawing = drawing_from_runs(
        [(name, np.array(points) @ turn, cut) for name, points, cut in runs],
        flows={"riser": 0.5},
        attributes=said,
    )
    graph = build(drawing)
    assert np.abs(graph.ducts.across[-1][2]) == pytest.approx(float(hard), abs=1e-9)
    in_plane = FLAT.width if hard else FLAT.height
    assert graph.bends.in_plane[-1] == pytest.approx(in_plane)
    (what,) = (n.what for n in graph.notices if "how this vertical run" in n.what)
    along = (heading + 90.0 + roll) % 180
    words = {0.0: "along X", 90.0: "along Y"}.get(along, f"{along:.0f} degrees from X")
    assert f"its roll of {roll:.0f} degrees counts from" in what
    assert what.endswith(f"so its width was taken {words}")


def test_up_of_a_riser_is_absolute() -> None:
    for heading in (0.0, 90.0):
        away = (about_z(heading * DEGREE) @ [5.0, 0.0, 0.0]) + [0.0, 0.0, 3.0]
        points = [[0, 0, 0], [0, 0, 3], away.tolist()]
        graph = one_run(points, source_at_end=False, up=(1.0, 0.0, 0.0))
        assert np.abs(graph.ducts.across[0]) == pytest.approx([0.0, 1.0, 0.0])


def test_a_drop_stands_so_that_what_it_leads_to_lies_level() -> None:
    drawing = drawing_from_runs(
        [
            ("a", [[0, 0, 5], [8, 0, 5]], FLAT),
            ("one", [[4, 0, 5], [4, 0, 2], [4, 3, 2]], FLAT),
            ("two", [[6, 0, 5], [6, 0, 2], [9, 0, 2]], FLAT),
        ],
        attributes=SOURCE,
    )
    flows = {name: TerminalSpec(0.2) for name in ("a", "one", "two")}
    graph = build(drawing, Schedule(terminals=flows))
    assert graph.ducts.across[:, 2].tolist() == pytest.approx([0.0] * 7, abs=1e-9)
    assert graph.bends.in_plane.tolist() == pytest.approx([FLAT.height] * 2)
