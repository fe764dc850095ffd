"""Bends and transitions of branches have room from the wall of the main on."""

from collections.abc import Sequence
from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose
from routes import FLOWS, ROUTE, SOURCE, about_z, line, straight

from elbowroom.layout import (
    Attributes,
    DuctGraph,
    ElbowConstruction,
    ElbowRule,
    Notice,
    Schedule,
    Section,
    Severity,
    SourceSpec,
    TerminalSpec,
    TransitionRule,
    build,
    drawing_from_runs,
    flat_oval,
    rectangular,
    round_section,
)
from elbowroom.physics import unbuildable

WIDE, BRANCH = rectangular(0.6, 0.2), round_section(0.1)
Runs = Sequence[tuple[str, Any, Section]]
TILT = np.array([[2.0, -2, 1], [1, 2, 2], [-2, -1, 2]]) / 3  # orthonormal


def graph_of(
    runs: Runs, ends: Sequence[str], turn: Any = None, **plan: Any
) -> DuctGraph:
    """Runs of which the first begins at the fan; elbows of r/D 1 for 90 degrees."""
    matrix = np.eye(3) if turn is None else turn
    attributes = {runs[0][0]: Attributes(source=True, source_at_end=False)}
    drawing = drawing_from_runs(
        [(name, np.array(points, float) @ matrix.T, cut) for name, points, cut in runs],
        attributes=attributes,
    )
    terminals = {end: TerminalSpec(0.05) for end in ends}
    elbow = ElbowRule(radius_ratio=1.0)
    return build(drawing, Schedule(terminals=terminals, elbow_default=elbow, **plan))


def behind_main(
    main: Section, away: Sequence[float], leg: float, up: Any = None
) -> DuctGraph:
    """A main along x, and a branch of 0.1 m that turns after `leg` of its way."""
    way = np.array(away, dtype=float)
    corner = np.array([5, 0, 3]) + leg * way / np.linalg.norm(way)
    side = np.cross(way, [1.0, 0, 0])
    aside = corner + 2 * side / np.linalg.norm(side)
    runs = [
        ("m", [[0, 0, 3], [5, 0, 3]], main),
        ("n", [[5, 0, 3], [9, 0, 3]], main),
        ("b", [[5, 0, 3], corner, aside], BRANCH),
    ]
    return graph_of(runs, ["n", "b"], up)


@pytest.mark.parametrize(
    ("main", "away", "wall"),
    [
        (round_section(0.4), (0, 1, 0), 0.2),
        (round_section(0.4), (0, 0, -1), 0.2),
        (round_section(0.4), (1, 1, 0), 0.2 * np.sqrt(2)),
        (round_section(0.4), (-1, 1, 0), 0.2 * np.sqrt(2)),  # back along the main
        (WIDE, (0, 1, 0), 0.3),  # at the short side, half of the width away
        (WIDE, (0, 0, 1), 0.1),
        (WIDE, (np.sqrt(3), 0, 1), 0.2),  # at 30 degrees
        (WIDE, (0, 3, 4), 0.125),  # askew: out of the top
        (flat_oval(0.6, 0.2), (0, 1, 0), 0.3),
        (flat_oval(0.6, 0.2), (0, 0, 1), 0.1),
    ],
)
def test_a_bend_has_room_from_the_wall_of_the_main_on(
    main: Section, away: Sequence[float], wall: float
) -> None:
    """Half of the main's extent that way, over the sine of the angle, by hand."""
    for turn in (np.eye(3), about_z(0.7)):
        tangent = 0.1  # of r/D 1, all corners being of 90 degrees
        spare = behind_main(main, away, wall + tangent + 0.002, turn)
        assert spare.bends.short_by.tolist() == [0.0]
        short = behind_main(main, away, wall + tangent - 0.03, turn)
        assert_allclose(short.bends.short_by, [0.03], atol=1e-9)
        (said,) = [n for n in short.notices if "does not fit" in n.what]
        assert "the tangents lack 30 mm (1.2 in) to the junction before it" in said.what
        assert unbuildable(short) == ("bend 1 of 'b' lacks 30 mm",)
    # So near that it lacks room to the axis too: both add up.
    nearest = behind_main(main, away, 0.08)
    assert_allclose(nearest.bends.short_by, [wall + tangent - 0.08], atol=1e-9)
    # Nothing that is counted follows from it.
    assert_allclose(short.ducts.straight[2:], [wall - 0.03, 1.9], atol=1e-9)
    assert_allclose(short.ducts.length.sum(), spare.ducts.length.sum() - 0.032)


def test_a_round_main_is_as_far_in_a_tilted_layout() -> None:
    graph = behind_main(round_section(0.4), (1, 1, 0), 0.2 * np.sqrt(2), TILT)
    assert_allclose(graph.bends.short_by, [0.1], atol=1e-9)


MAIN = round_section(0.4)
AHEAD = [("m", [[0, 0, 3], [5, 0, 3]], MAIN), ("n", [[5, 0, 3], [9, 0, 3]], MAIN)]
ONE = ("m", [[0, 0, 3], [9, 0, 3]], MAIN)


@pytest.mark.parametrize(
    ("runs", "ends", "lacking"),
    [
        # Ends on the side of a run, without a vertex there.
        ([ONE, ("b", [[5, 0, 3], [5, 0.25, 3], [7, 0.25, 3]], BRANCH)], "mb", [0.05]),
        # A collar of its own, and one with a piece drawn that changes the section.
        (
            [
                *AHEAD,
                ("s", [[5, 0, 3], [5, 0.12, 3]], BRANCH),
                ("b", [[5, 0.12, 3], [5, 0.25, 3], [7, 0.25, 3]], BRANCH),
            ],
            "nb",
            [0.05],
        ),
        # The tangent reaches back into the collar: 0.2 + 0.1 - 0.18 m.
        (
            [
                *AHEAD,
                ("s", [[5, 0, 3], [5, 0.12, 3]], BRANCH),
                ("b", [[5, 0.12, 3], [5, 0.18, 3], [7, 0.18, 3]], BRANCH),
            ],
            "nb",
            [0.12],
        ),
        # And beyond it: 0.2 + 0.1 - 0.08 m.
        (
            [
                *AHEAD,
                ("s", [[5, 0, 3], [5, 0.05, 3]], BRANCH),
                ("b", [[5, 0.05, 3], [5, 0.08, 3], [7, 0.08, 3]], BRANCH),
            ],
            "nb",
            [0.22],
        ),
        # Two branches opposite each other: each from its own wall.
        (
            [
                *AHEAD,
                ("a", [[5, 0, 3], [5, -0.4, 3], [7, -0.4, 3]], BRANCH),
                ("b", [[5, 0, 3], [5, 0.25, 3], [7, 0.25, 3]], BRANCH),
            ],
            "nab",
            [0.0, 0.05],
        ),
        # Straight through there is no wall, before the junction none either.
        (
            [
                ("m", [[4.7, -4, 3], [4.7, 0, 3], [5.15, 0, 3]], MAIN),
                ("n", [[5.15, 0, 3], [5.6, 0, 3], [5.6, 4, 3]], MAIN),
                ("b", [[5.15, 0, 3], [5.15, 3, 3]], BRANCH),
            ],
            "nb",
            [0.0, 0.0],
        ),
        # A bullhead: out of the sides of the duct that arrives, 0.2 m from its axis.
        (
            [
                AHEAD[0],
                ("a", [[5, 0, 3], [5, -0.4, 3], [7, -0.4, 3]], BRANCH),
                ("b", [[5, 0, 3], [5, 0.25, 3], [7, 0.25, 3]], BRANCH),
            ],
            "ab",
            [0.0, 0.05],
        ),
        # A wye at the end of it: 0.05 m at 45 degrees, where the main has ended.
        (
            [
                AHEAD[0],
                ("a", [[5, 0, 3], [5.2, -0.2, 3], [7, -0.2, 3]], BRANCH),
                ("b", [[5, 0, 3], [5.05, 0.05, 3], [7, 0.05, 3]], BRANCH),
            ],
            "ab",
            [0.0, 0.05 + 0.1 * np.tan(np.pi / 8) - 0.05 * np.sqrt(2)],
        ),
        # An arc that begins at the axis.
        (
            [
                *AHEAD,
                (
                    "b",
                    line(
                        (0.3, 90.0, 9, (0, 0, 1)),
                        straight(2.0),
                        start=(5, 0, 3),
                        heading=(0, 1, 0),
                    ),
                    BRANCH,
                ),
            ],
            "nb",
            [0.2],
        ),
    ],
    ids=[
        "side of a run",
        "collar",
        "into the collar",
        "beyond the collar",
        "cross",
        "through",
        "bullhead",
        "wye",
        "arc",
    ],
)
def test_what_stands_between_the_main_and_the_bend(
    runs: Runs, ends: str, lacking: list[float]
) -> None:
    graph = graph_of(runs, list(ends))
    assert_allclose(graph.bends.short_by, lacking, atol=1e-4)
    said = [n.what for n in graph.notices if "does not fit" in n.what]
    assert len(said) == sum(one > 0.0 for one in lacking)
    assert all("to the junction before it" in one for one in said)


@pytest.mark.parametrize("piece", [0.12, 0.3])
def test_a_drawn_reducer_takes_the_place_in_the_main_too(piece: float) -> None:
    attributes = {
        "m": Attributes(source=True, source_at_end=False),
        "r": Attributes(transition=True),
    }
    corner = piece + 0.13
    runs = [
        *AHEAD,
        ("r", [[5, 0, 3], [5, piece, 3]], None),
        ("b", [[5, piece, 3], [5, corner, 3], [7, corner, 3]], BRANCH),
    ]
    lines = [(name, np.array(points, float), cut) for name, points, cut in runs]
    drawing = drawing_from_runs(lines, attributes=attributes)
    plan = Schedule(
        terminals={end: TerminalSpec(0.05) for end in "nb"},
        elbow_default=ElbowRule(radius_ratio=1.0),
    )
    short = max(0.2 + 0.1 - corner, 0.0)
    assert_allclose(build(drawing, plan).bends.short_by, [short], atol=1e-9)


@pytest.mark.parametrize("is_return", [True, False])
@pytest.mark.parametrize(
    ("collar", "pieces", "lacking"),
    [
        (0.0, [0.12], 0.08),
        (0.0, [0.201], 0.0),  # it ends beyond the wall: the rest is the opening
        (0.05, [0.1], 0.05),
        (0.05, [0.06, 0.06], 0.03),  # one piece of two lines
        (0.21, [0.1], 0.0),
    ],
)
def test_a_drawn_transition_that_lies_within_a_main_is_said(
    collar: float, pieces: list[float], lacking: float, is_return: bool
) -> None:
    """0.2 m from the axis to the wall; by hand."""
    at = collar + np.concatenate([[0.0], np.cumsum(pieces)])
    opening = round_section(0.15)
    lines: list[Any] = [
        ("m", [[0, 0, 3], [9, 0, 3]], MAIN),
        *(("s", [[5, 0, 3], [5, collar, 3]], opening) for _ in range(collar > 0.0)),
        ("r", [[5, place, 3] for place in at], None if collar else opening),
        ("b", [[5, at[-1], 3], [5, 3, 3]], BRANCH),
    ]
    attributes = {
        "m": Attributes(source=True, source_at_end=False),
        "r": Attributes(transition=True),
    }
    plan = Schedule(
        source=SourceSpec(is_return=is_return),
        terminals={end: TerminalSpec(0.05) for end in "mb"},
    )
    graph = build(drawing_from_runs(lines, attributes=attributes), plan)
    assert_allclose(graph.transitions.short_by, [lacking], atol=1e-9)
    said = [n for n in graph.notices if "lies within a main" in n.what]
    assert len(said) == len(unbuildable(graph)) == (lacking > 0.0)
    for one in said:
        assert f"lacks {1000 * lacking:g} mm" in one.what
        assert one.place == pytest.approx((5, at[-1], 3))


def test_a_drawn_transition_is_within_the_main_that_its_duct_ends_at() -> None:
    """A riser of 0.1 m into the side of a header, 0.2 m from the axis to its wall."""
    lines: list[Any] = [
        ("m", [[5, -4, 3], [5, -0.15, 3]], BRANCH),
        ("r", [[5, -0.15, 3], [5, -0.05, 3]], None),
        ("s", [[5, -0.05, 3], [5, 0, 3]], round_section(0.15)),
        ("k", [[1, 0, 3], [9, 0, 3]], MAIN),
    ]
    attributes = {
        "m": Attributes(source=True, source_at_end=False),
        "r": Attributes(transition=True),
    }
    ends = {
        "near": TerminalSpec(0.05, at=(1, 0, 3)),
        "far": TerminalSpec(0.05, at=(9, 0, 3)),
    }
    drawing = drawing_from_runs(lines, attributes=attributes)
    graph = build(drawing, Schedule(terminals=ends))
    assert_allclose(graph.transitions.short_by, [0.05], atol=1e-9)


@pytest.mark.parametrize(("leg", "lacking"), [(0.31, 0.0), (0.27, 0.03), (0.15, 0.15)])
def test_a_transition_has_room_from_the_wall_too(leg: float, lacking: float) -> None:
    """Half of its piece of 0.2 m, and 0.2 m to the wall."""
    runs = [
        *AHEAD,
        ("s", [[5, 0, 3], [5, leg, 3]], BRANCH),
        ("b", [[5, leg, 3], [5, 3, 3]], round_section(0.15)),
    ]
    graph = graph_of(runs, ["n", "b"], transition_default=TransitionRule(length=0.2))
    assert_allclose(graph.transitions.short_by, [lacking], atol=1e-9)
    said = [n.what for n in graph.notices if "transition does not fit" in n.what]
    assert len(said) == (lacking > 0.0)
    assert all("straight of run 's' lacks" in one for one in said)


def test_where_the_air_of_a_loop_meets_the_main_is_behind_the_bend() -> None:
    """A duct beside the main that comes back into it: 0.25 m from axis to axis."""
    runs = [
        ("m", [[0, 0, 3], [3, 0, 3]], MAIN),
        ("n", [[3, 0, 3], [6, 0, 3]], MAIN),
        ("o", [[6, 0, 3], [9, 0, 3]], MAIN),
        ("b", [[3, 0, 3], [3, 0.25, 3], [6, 0.25, 3], [6, 0, 3]], BRANCH),
    ]
    graph = graph_of(runs, ["o"])
    assert_allclose(graph.bends.short_by, [0.05, 0.05], atol=1e-9)
    said = [n.what for n in graph.notices if "does not fit" in n.what]
    assert [one.rpartition("lack ")[2] for one in said] == [
        "50 mm (2 in) to the junction before it",
        "50 mm (2 in) to the next junction",
    ]


def test_layouts_with_room_are_as_they_were() -> None:
    lines = [(run, np.array(points, float), cut) for run, points, cut in ROUTE]
    drawing = drawing_from_runs(lines, flows=FLOWS, attributes=SOURCE)
    assert not build(drawing, Schedule()).bends.short_by.any()


@pytest.mark.parametrize("one_line", [True, False])
@pytest.mark.parametrize("is_return", [True, False])
@pytest.mark.parametrize(
    ("leg", "lacking"),
    [(0.299, 1.0), (0.301, 0.0), (0.1, 200.0)],  # the last has no straight at all
)
def test_what_ends_at_the_side_of_a_main_has_room_to_its_wall(
    one_line: bool, is_return: bool, leg: float, lacking: float
) -> None:
    """A header of 0.4 m, 0.2 m to its wall; an elbow of 0.1 m; 1 mm more or less."""
    main = round_section(0.4)
    header: Runs = [("k", [[1, leg, 3], [9, leg, 3]], main)]
    if not one_line:
        header = [
            ("k1", [[5, leg, 3], [9, leg, 3]], main),
            ("k2", [[5, leg, 3], [1, leg, 3]], main),
        ]
    riser: Any = ("m", [[0, 0, 3], [5, 0, 3], [5, leg, 3]], BRANCH)
    terminals = {
        "near": TerminalSpec(0.05, at=(1, leg, 3)),
        "far": TerminalSpec(0.05, at=(9, leg, 3)),
    }
    attributes = {"m": Attributes(source=True, source_at_end=False)}
    drawing = drawing_from_runs([riser, *header], attributes=attributes)
    schedule = Schedule(
        terminals=terminals,
        source=SourceSpec(is_return=is_return),
        elbow_default=ElbowRule(radius_ratio=1.0),
    )
    graph = build(drawing, schedule)
    assert_allclose(graph.bends.short_by, [lacking / 1000], atol=1e-9)


def test_a_mitred_elbow_in_a_main_is_to_be_drawn_further_away() -> None:
    rule = ElbowRule(construction=ElbowConstruction.MITRED)
    runs: Runs = [
        ("m", [[0, 0, 3], [9, 0, 3]], round_section(0.4)),
        ("b", [[5, 0, 3], [5, 0.1, 3], [8, 0.1, 3]], rectangular(0.1, 0.1)),
    ]
    attributes = {"m": Attributes(source=True, source_at_end=False)}
    schedule = Schedule(
        terminals={end: TerminalSpec(0.05) for end in ("m", "b")}, elbow_default=rule
    )
    graph = build(drawing_from_runs(runs, attributes=attributes), schedule)
    (found,) = [one for one in graph.notices if "does not fit" in one.what]
    assert "its corner lacks 100 mm (3.9 in) to the junction before it" in found.what
    assert found.remedy == "draw it that much further away"


def ending(
    *points: Sequence[float], main: Section = WIDE, is_return: bool = False, **said: Any
) -> DuctGraph:
    """A main along x, and a branch of 0.1 m through some points."""
    runs: Runs = [
        ("m", [[0, 0, 3], [5, 0, 3], [9, 0, 3]], main),
        ("b", list(points), BRANCH),
    ]
    attributes = {"m": Attributes(source=True, source_at_end=False)}
    schedule = Schedule(
        terminals={"m": TerminalSpec(0.5), "b": TerminalSpec(0.05), **said},
        source=SourceSpec(is_return=is_return),
        elbow_default=ElbowRule(radius_ratio=1.0),
    )
    return build(drawing_from_runs(runs, attributes=attributes), schedule)


def ends_said(graph: DuctGraph) -> list[Notice]:
    return [one for one in graph.notices if "ends within its main" in one.what]


@pytest.mark.parametrize("is_return", [False, True])
@pytest.mark.parametrize(
    ("end", "wall"),
    [
        ((5.0, 0.2, 3.0), "300 mm (11.8 in)"),  # to the side of 600 by 200 mm
        ((5.0, 0.003, 3.0), "300 mm (11.8 in)"),
        ((5.0, 0.0, 3.05), "100 mm (3.9 in)"),  # to its top
        ((5.2, 0.2, 3.0), "424 mm (16.7 in)"),  # askew
    ],
)
def test_a_branch_that_ends_within_its_main_is_said(
    end: tuple[float, float, float], wall: str, is_return: bool
) -> None:
    graph = ending((5, 0, 3), end, is_return=is_return)
    (found,) = ends_said(graph)
    assert found.severity == Severity.WARNING
    assert "run 'b', at" in found.where
    assert found.what.startswith("it ends within its main, run 'm', ")
    assert found.what.endswith(f"where the wall is at {wall}")
    assert "draw it on to the wall" in found.remedy
    assert 'closed = true in place of an airflow under [terminals."b"]' in found.remedy
    assert found.place is not None
    assert_allclose(found.place, end)
    (fault,) = unbuildable(graph)
    assert fault.startswith("end of 'b' lacks ")


def test_it_is_said_by_the_name_of_the_terminal() -> None:
    runs: Runs = [
        ("m", [[0, 0, 3], [5, 0, 3], [9, 0, 3]], WIDE),
        ("b", [[5, 0, 3], [5, 0.2, 3]], BRANCH),
    ]
    attributes = {"m": Attributes(source=True, source_at_end=False)}
    ends = {"m": TerminalSpec(0.5), "desk": TerminalSpec(0.05, run="b")}
    drawing = drawing_from_runs(runs, attributes=attributes)
    (found,) = ends_said(build(drawing, Schedule(terminals=ends)))
    assert '[terminals."desk"]' in found.remedy
    (fault,) = unbuildable(build(drawing, Schedule(terminals=ends)))
    assert fault == "end of 'b' lacks 100 mm"


@pytest.mark.parametrize(
    "way",
    [
        [(5, 0, 3), (5, 0.3, 3)],  # a grille in the side of the main
        [(5, 0, 3), (5, 0.295, 3)],  # so too, sizes being nominal
        [(5, 0, 3), (5, 0.4, 3)],
        [(5, 0, 3), (5, 0, 3.15)],  # out of its top, nearer than its side is
        [(5, 0, 3), (5, 1, 3), (5.5, 1, 3), (5.5, 0.4, 3)],  # back beside the main
        [(9, 0, 3), (9.05, 0, 3)],  # on from its end
    ],
)
def test_a_branch_that_is_out_of_its_main_is_not_said(way: Any) -> None:
    if way[0][0] == 9:
        runs: Runs = [("m", [[0, 0, 3], [9, 0, 3]], WIDE), ("b", way, WIDE)]
        assert not ends_said(graph_of(runs, ["b"]))
    else:
        assert not ends_said(ending(*way))


def test_a_closed_stub_within_a_main_is_not_said() -> None:
    """Nobody has to build it, and no air is to leave there."""
    graph = ending((5, 0, 3), (5, 0.2, 3), b=TerminalSpec(0.0, is_closed=True))
    assert not ends_said(graph)
    assert not unbuildable(graph)


def test_legs_that_leave_the_end_of_a_main_are_out_of_it_sooner() -> None:
    """A wye of 30 degrees, at which its main ends: to its side it would be 0.6 m."""
    away = 0.3 * np.array([np.cos(np.pi / 6), np.sin(np.pi / 6), 0.0])
    start = np.array([5.0, 0, 3])
    runs: Runs = [
        ("m", [[0, 0, 3], start], WIDE),
        ("b", [start, start + away], BRANCH),
        ("c", [start, start + away * [1, -1, 1] * 9], BRANCH),
    ]
    assert not ends_said(graph_of(runs, ["b", "c"]))
