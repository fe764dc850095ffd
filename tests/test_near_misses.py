"""Ends that stop short of another duct."""

import itertools

import numpy as np
import pytest
from routes import Run, about_z, drawn

from elbowroom.layout import (
    Attributes,
    BadInput,
    Schedule,
    TerminalSpec,
    audit,
    build,
    drawing_from_runs,
    islands,
    join,
    length_words,
    mended,
    near_misses,
    rectangular,
    round_section,
)

CUT = rectangular(0.4, 0.3)


def gaps(*runs: tuple[str, list[list[float]]]) -> list[str]:
    turn = about_z(0.7)
    drawing = drawing_from_runs(
        [(name, np.array(points, dtype=float) @ turn.T, CUT) for name, points in runs]
    )
    return [notice.sentence for notice in near_misses(join(drawing))]


@pytest.mark.parametrize("gap", [0.003, 0.02, 0.09])
def test_an_end_short_of_the_side_of_a_run(gap: float) -> None:
    (said,) = gaps(
        ("main", [[0, 0, 0], [8, 0, 0]]), ("branch", [[4, gap, 0], [4, 3, 0]])
    )
    assert "run 'branch'" in said
    assert f"{length_words(gap)} short of run 'main'" in said
    assert f"--tolerance '{np.ceil(gap * 1e3 + 0.1):.0f} mm'" in said


@pytest.mark.parametrize(
    ("begin", "end", "said"),
    [
        ([4, 0.02, 0], [4, 3, 0], "--tolerance '21 mm'"),  # short of the main's side
        ([8.02, -2, 0], [8.02, 3, 0], "--tolerance '21 mm'"),  # its end, of this side
        ([4, 0.25, 0], [4, 3, 0], None),  # too far to be a slip
        ([4, -3, 0.02], [4, 3, 0.02], None),  # no end is near
    ],
)
def test_what_the_source_does_not_reach_names_the_tolerance_that_joins_it(
    begin: list[float], end: list[float], said: str | None
) -> None:
    drawing = drawing_from_runs(
        [
            ("main", np.array([[0, 0, 0], [8, 0, 0]]), CUT),
            ("branch", np.array([begin, end]), CUT),
        ]
    )
    topology = join(drawing)
    reached = topology.component == topology.component[0]
    (notice,) = (one.notice for one in islands(topology, reached))
    assert ("--tolerance" in notice.sentence) == (said is not None)
    if said is not None:
        assert said in notice.sentence
        assert join(drawing, 0.021).component_count == 1


def test_the_tolerance_that_is_named_closes_the_gap() -> None:
    drawing = drawing_from_runs(
        [
            ("main", np.array([[0, 0, 0], [8, 0, 0]]), CUT),
            ("branch", np.array([[4, 0.0042, 0], [4, 3, 0]]), CUT),
        ]
    )
    assert len(near_misses(join(drawing))) == 1
    assert join(drawing, 0.005).component_count == 1


def test_an_end_as_far_as_the_box_of_a_run_whatever_its_digits() -> None:
    (said,) = gaps(
        ("main", [[0, -3, 0], [0, 0, 0]]),
        ("branch", [[0.02, 0.022, 0.029], [0.52, 1.522, 2.529]]),
    )
    assert "ends 41.5 mm (1.6 in) short of run 'branch'" in said


def test_two_ends_that_miss_each_other_are_one_gap() -> None:
    assert (
        len(gaps(("a", [[0, 0, 0], [4, 0, 0]]), ("b", [[4.01, 0, 0], [8, 0, 0]]))) == 1
    )


def test_ends_that_meet_or_are_far_are_no_gap() -> None:
    assert gaps(("a", [[0, 0, 0], [4, 0, 0]]), ("b", [[4, 0, 0], [8, 0, 0]])) == []
    assert gaps(("a", [[0, 0, 0], [4, 0, 0]]), ("b", [[4.2, 0, 0], [8, 0, 0]])) == []
    assert near_misses(join(drawn())) == []


def test_an_end_past_a_run_is_not_said_to_be_short_of_it() -> None:
    main: list[list[float]] = [[0, 0, 0], [8, 0, 0]]
    office: list[list[float]] = [[4, -0.05, 0], [4, 3, 0]]
    (said,) = gaps(("main", main), ("office", office))
    assert "50 mm (2 in) past run 'main'" in said
    assert "--tolerance" not in said
    drawing = drawing_from_runs(
        [("main", np.array(main), CUT), ("office", np.array(office), CUT)]
    )
    copy, changes = mended(join(drawing))
    assert changes == [
        "run 'office' was cut back by 50 mm (2 in) to run 'main' at (4, 0, 0) m"
    ]
    assert join(copy).component_count == 1


def test_an_end_beside_a_duct_that_it_runs_along_is_no_gap() -> None:
    main: list[list[float]] = [[0, 0, 0], [8, 0, 0]]
    beside: list[list[float]] = [[4.05, 0, 0], [4.05, 3, 0]]
    for end in (3.0, 2.0):
        branch: list[list[float]] = [[4, 0, 0], [4, end, 0]]
        assert gaps(("main", main), ("a", branch), ("b", beside)) == []


@pytest.mark.parametrize("lap", [0.0, 0.05])
def test_two_ducts_in_line_that_miss_each_other_sideways_are_a_gap(lap: float) -> None:
    ahead = ("b", [[4 - lap, 0.02, 0], [8, 0.02, 0]])
    (said,) = gaps(("a", [[0, 0, 0], [4, 0, 0]]), ahead)
    assert "20 mm (0.79 in) short" in said


@pytest.mark.parametrize(
    ("begin", "end", "distance", "target"),
    [
        ([4, 0.2, 0], [4, 3, 0], 0.2, (4, 0, 0)),
        ([4.15, 0.15, 0], [6, 2, 0], 0.15 * 2**0.5, (4, 0, 0)),  # at 45 degrees
        ([4, 0.15, 0], [4, 3, 0], 0.15, (4, 0, 0)),  # in the middle of its half
    ],
)
def test_a_branch_drawn_from_the_side_of_a_duct_is_led_to_its_centreline(
    begin: list[float], end: list[float], distance: float, target: tuple[float, ...]
) -> None:
    runs = [
        ("main", np.array([[0, 0, 0], [8, 0, 0]], float), CUT),
        ("branch", np.array([begin, end], float), CUT),
    ]
    source = {"main": Attributes(source=True, source_at_end=False)}
    drawing = drawing_from_runs(runs, attributes=source)
    (said,) = near_misses(join(drawing))
    wide = f"{length_words(distance)} from its centreline"
    assert f"it ends at the side of run 'main', {wide}" in said.sentence
    copy, _ = mended(join(drawing))
    assert join(copy).component_count == 1
    ends = {name: TerminalSpec(0.1) for name in ("main", "branch")}
    with pytest.raises(BadInput) as bad:
        build(drawing, Schedule(terminals=ends))
    assert f"run 'branch' ends at the side of run 'main', {wide}" in str(bad.value)
    assert f"draw it on to the centreline of 'main', to {target} m" in str(bad.value)
    assert build(copy, Schedule(terminals=ends)).terminals.name == ("main", "branch")


@pytest.mark.parametrize(("beyond", "is_at_wall"), [(0.004, True), (0.006, False)])
def test_an_end_begins_at_a_wall_within_5_mm(beyond: float, is_at_wall: bool) -> None:
    """Own choice: what sheet and rounding make of a section."""
    away = CUT.width / 2 + beyond
    found = gaps(
        ("main", [[0, 0, 0], [8, 0, 0]]), ("branch", [[4, away, 0], [4, 3, 0]])
    )
    assert len(found) == is_at_wall


@pytest.mark.parametrize(
    "points",
    [
        [[4, 0.3, 0], [4, 3, 0]],  # outside the section
        [[4, 0.2, 0], [4, 0.2, 3]],  # it leads past the line
        [[8.2, 0, 0], [12, 0, 0]],  # ahead of its end, in line with it
    ],
)
def test_other_ends_near_a_duct_do_not_begin_at_its_side(
    points: list[list[float]],
) -> None:
    assert gaps(("main", [[0, 0, 0], [8, 0, 0]]), ("other", points)) == []


def test_a_terminal_that_is_not_reached_names_the_gap_and_its_place() -> None:
    there = np.array([500000.0, 4500000.0, 0.0])  # coordinates of a survey
    runs = [
        ("main", np.array([[0, 0, 0], [8, 0, 0]]) + there, CUT),
        ("branch", np.array([[3, 1.05, 0], [3, 3, 0]]) + there, CUT),
    ]
    source = {"main": Attributes(source=True, source_at_end=False)}
    drawing = drawing_from_runs(runs, attributes=source)
    ends = {name: TerminalSpec(0.1) for name in ("main", "branch")}
    with pytest.raises(BadInput) as bad:
        build(drawing, Schedule(terminals=ends))
    place = "the source reaches is 1.05 m (3.4 ft) at (500003, 4500001.05, 0) m"
    assert place in str(bad.value)
    assert "close the gap" in str(bad.value)


@pytest.mark.parametrize("is_known", [False, True])
@pytest.mark.parametrize("backwards", [False, True])
def test_each_part_names_the_gap_that_leads_on(backwards: bool, is_known: bool) -> None:
    """Whether to what the source reaches, or to a part that is loose itself."""
    runs = [
        ("trunk", np.array([[0.0, 0, 3], [6, 0, 3]]), CUT),
        ("next", np.array([[6.02, 0, 3], [9, 0, 3]]), CUT),
        ("branch", np.array([[8.0, 0.03, 3], [8, 2, 3]]), CUT),
        ("far", np.array([[0.0, 9, 3], [2, 9, 3]]), CUT),
        ("by it", np.array([[1.0, 9.04, 3], [1, 10, 3]]), CUT),
    ]
    source = {"trunk": Attributes(source=True, source_at_end=False)}
    drawing = drawing_from_runs(
        runs[::-1] if backwards else runs, attributes=source if is_known else {}
    )
    rest = "what the source reaches" if is_known else "the longest one"
    for run, gap in (
        ("next", "20 mm (0.79 in) short of run "),
        ("branch", "30 mm (1.2 in) short of run 'next'"),
        ("far", f"the nearest gap to {rest} is 9 m (29.5 ft)"),
        ("by it", "40 mm (1.6 in) short of run 'far'"),
    ):
        (loose,) = (
            one.sentence
            for one in audit(drawing).findings
            if f"run '{run}': a separate part" in one.sentence
            or f"parts off run '{run}' with a separate part" in one.effect
        )
        assert gap in loose


@pytest.mark.parametrize("backwards", [False, True])
@pytest.mark.parametrize(("source", "flows", "said"), [
    (Attributes(source=True), {}, "marked as the source, but nothing joins it: "),
    (
        Attributes(source=True, source_at_end=False),
        {},
        """[terminals."out"] and [terminals."branch"]: """,
    ),
    (
        Attributes(source=True, source_at_end=False),
        {"next": 0.3, "branch": 0.1},
        "this open end has no airflow: ",
    ),
])  # fmt: skip
def test_a_gap_in_the_trunk_is_said_once_and_before_all_else(
    source: Attributes, flows: dict[str, float], said: str, backwards: bool
) -> None:
    runs = [
        ("first", np.array([[0.0, 0, 3], [6, 0, 3]]), CUT),
        ("next", np.array([[6.03, 0, 3], [14, 0, 3]]), CUT),
        ("branch", np.array([[9.0, 0, 3], [9, 3, 3]]), CUT),
    ]
    drawing = drawing_from_runs(
        runs[::-1] if backwards else runs,
        flows=flows,
        attributes={"first": source, "next": Attributes(terminal="out")},
    )
    ends = {} if flows else {name: TerminalSpec(0.1) for name in ("out", "branch")}
    with pytest.raises(BadInput) as bad:
        build(drawing, Schedule(terminals=ends))
    (fault,) = bad.value.faults
    assert said in fault.sentence
    assert "30 mm (1.2 in) short of run " in fault.sentence
    assert "--tolerance '31 mm'" in fault.sentence
    # The longer part is not the one with the source.
    found = audit(drawing, Schedule(terminals=ends)).findings
    (loose,) = (one.effect for one in found if "a separate part" in str(one))
    assert "a separate part of 11 m (36 ft)" in loose
    assert sum("30 mm (1.2 in) short" in one.sentence for one in found) == 1


@pytest.mark.parametrize(
    ("before", "side", "is_told"),
    [
        (0.0, 0.4, False),  # a tee
        (0.002, 0.4, True),
        (0.099, 0.4, True),
        (0.101, 0.4, False),  # farther than a slip
        (0.049, 0.1, True),
        (0.051, 0.1, False),  # the elbow begins behind the opening
    ],
)
@pytest.mark.parametrize("away", [(0, -3, 0), (-2, -3, 0)])
def test_a_branch_that_leaves_just_before_a_corner_is_told_of_the_tee(
    before: float, side: float, is_told: bool, away: tuple[float, float, float]
) -> None:
    """A tee whose stem is fed, its legs not at one point."""
    start = np.array([4.0 - before, 0, 3])
    drawing = drawing_from_runs(
        [
            ("stem", [[0, 0, 3], [4, 0, 3]], rectangular(side, 0.1)),
            ("left", [[4, 0, 3], [4, 3, 3]], round_section(0.1)),
            ("right", [start, start + away], round_section(0.1)),
        ],
        attributes={"stem": Attributes(source=True, source_at_end=False)},
        flows={"left": 0.1, "right": 0.1},
    )
    graph = build(drawing)
    told = [n for n in graph.notices if "before the corner of run 'stem'" in n.what]
    assert len(told) == is_told
    if told:
        assert told[0].where.endswith(f"run 'right', at ({4 - before:g}, 0, 3) m")
        assert f"begins {before * 1e3:g} mm" in told[0].what


def test_a_branch_just_before_a_drawn_arc_is_no_tee() -> None:
    turn = np.radians(np.linspace(0, 90, 10))
    arc = np.stack([4 + np.sin(turn), 1 - np.cos(turn), 3 + 0 * turn], axis=1)
    drawing = drawing_from_runs(
        [
            ("stem", [[0, 0, 3], *arc, [5, 4, 3]], rectangular(0.4, 0.1)),
            ("right", [[3.95, 0, 3], [3.95, -3, 3]], round_section(0.1)),
        ],
        attributes={"stem": Attributes(source=True, source_at_end=False)},
        flows={"right": 0.1},
    )
    graph = build(drawing, Schedule(terminals={"stem": TerminalSpec(0.1)}))
    assert not any("before the corner" in n.what for n in graph.notices)


@pytest.mark.parametrize("tail", [0.0, 3.0])  # what lies behind the main's end
@pytest.mark.parametrize("aside", [0.005, 0.02, 0.0299, 0.031])
@pytest.mark.parametrize("along", [-0.04, -0.029, -0.0212, -0.01, 0, 0.0212, 0.029])
@pytest.mark.parametrize("is_turned", [False, True])
def test_an_end_at_the_end_of_a_main_is_joined_within_the_tolerance_or_told(
    along: float, aside: float, tail: float, is_turned: bool
) -> None:
    """Beyond it or just before: the distance from the main's end counts."""
    lines = [
        np.array([[0, 0, 0], [8, 0, 0]], float),
        np.array([[8 + along, aside, 0], [8 + along, 3, tail]]),
    ]
    if is_turned:
        turn, shift = about_z(2.3), np.array([40.0, -7, 3])
        lines = [line @ turn.T + shift for line in lines]
    joined = np.hypot(along, aside) <= 0.03 or (along < -0.03 and aside <= 0.03)
    for order in (0, 1), (1, 0):
        for steps in itertools.product((1, -1), repeat=2):
            runs = [(f"{row}", lines[row][:: steps[row]], CUT) for row in order]
            drawing = drawing_from_runs(runs)
            topology = join(drawing, 0.03)
            assert (topology.component_count == 1) == joined
            said = near_misses(topology)
            assert len(said) == (not joined)
            if joined:
                continue
            assert "short of" in said[0].what
            words = said[0].remedy.split("--tolerance '")[1].split(" mm'")[0]
            closing = float(words) / 1e3
            assert closing > 0.03
            assert join(drawing, closing).component_count == 1
            assert join(drawing, closing - 0.0021).component_count == 2
            assert join(mended(topology)[0]).component_count == 1


BESIDE: Run = ("beside", [[2, 0, 3], [2, 3, 3], [9, 3, 3]], rectangular(0.6, 0.3))
AHEAD: Run = ("a", [[0, 0, 3], [8, 0, 3]], CUT)


def stub_to(*end: float) -> Run:
    x, _, z = end
    return "stub", [[x, 0, 3], [x, 0.8, z], list(end)], round_section(0.2)


@pytest.mark.parametrize(
    ("end", "off"),
    [
        ((6, 3, 3.12), 0.12),  # as high as its top, say
        ((6, 2.8, 3.12), (0.2**2 + 0.12**2) ** 0.5),  # not as far as the middle
        ((6, 2.7, 3.12), (0.3**2 + 0.12**2) ** 0.5),  # up to the wall
        ((6, 3, 3.16), None),  # above it
        ((6, 2.6, 3.12), None),  # before its wall
        ((6, 3.4, 3.12), None),  # through it
        ((1.95, 2.0, 3.12), 0.13),  # the piece that goes the other way
    ],
)
@pytest.mark.parametrize("is_reached", [True, False])
def test_an_end_within_a_duct_is_told_of_with_its_run_and_its_line(
    end: tuple[float, float, float], off: float | None, is_reached: bool
) -> None:
    name, points, cut = stub_to(*end)
    if not is_reached:
        points = points[1:]
    if end[0] < 2:  # it comes from above, where it would meet the main
        points = [[-1, 2, 3.12], list(end)]
        is_reached = False
    drawing = drawing_from_runs(
        [
            (n, np.array(p, float), s)
            for n, p, s in (AHEAD, BESIDE, (name, points, cut))
        ],
        attributes={"a": Attributes(source=True, source_at_end=False)},
    )
    ends = {"a": TerminalSpec(0.1), "beside": TerminalSpec(0.1)}
    if is_reached:
        ends["stub"] = TerminalSpec(0.1)
    schedule = Schedule(terminals=ends)
    found = audit(drawing, schedule).findings
    told = [one.sentence for one in found if "inside run 'beside'" in one.sentence]
    if off is None:
        assert told == []
        return
    (said,) = told  # once
    assert f"inside run 'beside', {length_words(off)} from its centreline" in said
    assert "end it on the line of 'beside', at (" in said
    assert "--tolerance" not in said
    # What it asks for joins them, and moving an end aside is left to the designer.
    _, changes = mended(join(drawing))
    assert changes == []
    foot = [end[0], 3.0, 3.0] if end[0] > 2 else [2.0, 2.0, 3.0]
    runs: list[Run] = [AHEAD, BESIDE, (name, [*points[:-1], foot], cut)]
    topology = join(drawing_from_runs([(n, np.array(p, float), s) for n, p, s in runs]))
    assert topology.degree[np.linalg.norm(topology.nodes - foot, axis=1).argmin()] == 3


def test_an_end_within_its_own_main_or_along_a_duct_is_no_end_inside_another() -> None:
    wide = rectangular(1.0, 0.3)
    main: list[list[float]] = [[0, 0, 3], [8, 0, 3]]
    for other in (
        [[4, 0, 3], [4.2, 0.3, 3.05]],  # not out of its main
        [[3, 0.15, 3.12], [6, 0.15, 3.12]],  # along it
    ):
        drawing = drawing_from_runs(
            [
                ("main", np.array(main), wide),
                ("other", np.array(other, float), CUT),
            ]
        )
        said = near_misses(join(drawing))
        assert [one for one in said if "inside" in one.what] == []
