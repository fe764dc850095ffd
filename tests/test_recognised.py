"""Each kind of fitting, drawn small at a random rotation, ends at its own table."""

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from routes import about_z

from elbowroom.layout import (
    ELBOW_CONSTRUCTIONS,
    TAKEOFF_ENTRIES,
    Attributes,
    BadInput,
    Drawing,
    ElbowConstruction,
    ElbowRule,
    Schedule,
    Section,
    SourceSpec,
    TerminalSpec,
    TransitionRule,
    build,
    drawing_from_runs,
    flat_oval,
    rectangular,
    round_section,
)
from elbowroom.physics import (
    Analysis,
    Coefficient,
    Kind,
    Note,
    analyse,
    elbows,
    junctions,
    transitions,
)

FLAT, ROUND = rectangular(0.6, 0.3), round_section(0.3)
SPLIT = {"a": Attributes(source=True, source_at_end=False)}
DEGREE = np.pi / 180
RANDOM = np.random.default_rng(20)
TURN = float(RANDOM.uniform(-np.pi, np.pi))
HIGH_RE = 1e9


def turned(runs: Any, flows: dict[str, float] | None = None) -> Drawing:
    """Draw runs, turned about the vertical by a random angle and moved."""
    shift = RANDOM.uniform(-50, 50, 3)
    return drawing_from_runs(
        [
            (name, np.asarray(points, dtype=float) @ about_z(TURN).T + shift, cut)
            for name, points, cut in runs
        ],
        flows=flows,
        attributes=SPLIT,
    )


def of_kind(found: Analysis, kind: Kind) -> list[int]:
    return np.flatnonzero(found.elements.kind == kind).tolist()


def same(found: Analysis, row: int, wanted: Coefficient) -> None:
    e = found.elements
    assert e.credits[e.credit[row]].first_table == wanted.table
    assert float(e.coefficient[row]) == pytest.approx(float(wanted.value[0]))


# --- elbows


def elbow(section: Section, points: Any, words: str, **rule: Any) -> Analysis:
    making = ElbowRule(construction=ELBOW_CONSTRUCTIONS[words], **rule)
    plan = Schedule(terminals={"a": TerminalSpec(0.9, 0.0)}, elbow_default=making)
    return analyse(build(turned([("a", points, section)]), plan))


def corner(degrees: float, drop: bool) -> list[list[float]]:
    c, s = 5 * np.cos(degrees * DEGREE), 5 * np.sin(degrees * DEGREE)
    end = [5 + c, 0, -s] if drop else [5 + c, s, 0]
    return [[0, 0, 0], [5, 0, 0], end]


@pytest.mark.parametrize(
    "words",
    [
        "square throat, radius heel",
        "radius throat, square heel",
        "smooth radius with splitters",
        "mitred with single vanes",
    ],
)
def test_a_round_elbow_is_not_taken_for_a_smooth_one(words: str) -> None:
    with pytest.raises(BadInput, match=r"run 'a', bend 1: .*round"):
        elbow(ROUND, corner(90.0, False), words)


@pytest.mark.parametrize(("ratio", "off"), [(1.0, True), (1.5, False), (2.5, True)])
def test_a_pleated_elbow_of_an_untested_radius_is_noted(
    ratio: float, off: bool
) -> None:
    # ASHRAE Handbook Fundamentals 2009, pp. 21.26-21.27: pleated at r/D 1.5 alone.
    found = elbow(ROUND, corner(90.0, False), "pleated", radius_ratio=ratio)
    (row,) = of_kind(found, Kind.BEND)
    assert bool(found.elements.notes[row] & int(Note.CLAMPED)) == off
    said = [flag.sentence for flag in found.flags if "pleated elbows" in flag.what]
    assert len(said) == off
    if off:
        assert "run 'a', bend 1" in said[0]
        assert f"r/D {ratio:g}" in said[0]
        assert "radius_ratio = 1.5" in said[0]


RECT: list[tuple[str, Callable[[float, float, float, float], Coefficient]]] = [
    ("smooth radius", lambda w, h, a, re: elbows.rect_smooth(1.0, h / w, a, re)),
    ("mitred", lambda w, h, a, re: elbows.rect_mitred(h / w, a, re)),
    (
        "square throat, radius heel",
        lambda w, h, a, re: elbows.rect_smooth(0.5, h / w, a, re),
    ),
    (
        "radius throat, square heel",
        lambda w, h, a, re: elbows.rect_square_heel(0.5, h / w, a),
    ),
    (
        "smooth radius with splitters",
        lambda w, h, a, re: elbows.rect_splitters(1, 0.5, h / w, a),
    ),
    (
        "mitred with single vanes",
        lambda w, h, a, re: elbows.rect_vaned(False, 0.038, a),
    ),
    (
        "mitred with double vanes",
        lambda w, h, a, re: elbows.rect_vaned(True, 0.038, a),
    ),
]


@pytest.mark.parametrize("drop", [False, True], ids=["plan", "drop"])
@pytest.mark.parametrize("degrees", [37.0, 90.0])
@pytest.mark.parametrize(("words", "table"), RECT, ids=[row[0] for row in RECT])
def test_rectangular_elbows(
    words: str,
    table: Callable[[float, float, float, float], Coefficient],
    degrees: float,
    drop: bool,
) -> None:
    """In plan the width lies in the plane of the bend, in a drop the height."""
    if words.endswith("vanes") and degrees != 90.0:
        with pytest.raises(BadInput, match="tabled for 90 degrees alone"):
            elbow(FLAT, corner(degrees, drop), words)
        return
    found = elbow(FLAT, corner(degrees, drop), words)
    (row,) = of_kind(found, Kind.BEND)
    w, h = (0.3, 0.6) if drop else (0.6, 0.3)
    re = float(found.state.reynolds[0])
    same(found, row, table(w, h, degrees * DEGREE, re))
    assert ("the easy way" in found.words(row)) == drop
    assert ("the hard way" in found.words(row)) == (not drop)


@pytest.mark.parametrize("degrees", [37.0, 90.0])
@pytest.mark.parametrize("pieces", [3, 4, 5])
def test_segmented_round_elbows(pieces: int, degrees: float) -> None:
    found = elbow(
        ROUND, corner(degrees, True), "segmented", pieces=pieces, radius_ratio=1.5
    )
    (row,) = of_kind(found, Kind.BEND)
    same(found, row, elbows.round_segmented(pieces, 1.5, degrees * DEGREE))


OVAL: list[tuple[str, Callable[[float, float, float], Coefficient]]] = [
    ("smooth radius", lambda w, h, re: elbows.flat_oval_smooth(1.0, np.pi / 2)),
    ("segmented", lambda w, h, re: elbows.flat_oval_segmented(5, 1.0, np.pi / 2)),
    ("mitred", lambda w, h, re: elbows.flat_oval_mitred(h / w, np.pi / 2, re)),
]


@pytest.mark.parametrize("drop", [False, True], ids=["hard", "easy"])
@pytest.mark.parametrize(("words", "table"), OVAL, ids=[row[0] for row in OVAL])
def test_flat_oval_elbows_take_their_stand_in(
    words: str, table: Callable[[float, float, float], Coefficient], drop: bool
) -> None:
    found = elbow(flat_oval(0.6, 0.3), corner(90.0, drop), words)
    (row,) = of_kind(found, Kind.BEND)
    w, h = (0.3, 0.6) if drop else (0.6, 0.3)
    same(found, row, table(w, h, float(found.state.reynolds[0])))
    credit = found.elements.credits[found.elements.credit[row]]
    assert credit.confidence == "low"


def test_a_rolled_offset_lies_between_the_easy_and_the_hard_way() -> None:
    """Turned askew by about 45 degrees: between the two pure cases."""
    pure = [elbow(FLAT, corner(30.0, drop), "mitred") for drop in (True, False)]
    low, high = sorted(
        float(found.elements.loss[of_kind(found, Kind.BEND)[0]]) for found in pure
    )
    s, c = 5 * np.sin(30 * DEGREE) / np.sqrt(2), 5 * np.cos(30 * DEGREE)
    rolled = elbow(FLAT, [[0, 0, 0], [5, 0, 0], [5 + c, s, s]], "mitred")
    (row,) = of_kind(rolled, Kind.BEND)
    loss = rolled.elements.loss[row]
    assert low < loss < high
    assert "askew" in rolled.words(row) or "rolled" in rolled.words(row)


@pytest.mark.parametrize(
    "rule",
    [
        ElbowRule(),
        ElbowRule(throat_radius=0.1),
        ElbowRule(centreline_radius=0.5),
        ElbowRule(ElbowConstruction.MITRED),
    ],
    ids=["ratio", "throat", "centreline", "mitred"],
)
def test_a_rolled_elbow_goes_from_one_pure_case_to_the_other(rule: ElbowRule) -> None:
    """No jump where the other side becomes the nearer one, and never outside both."""

    def coefficient(roll: float) -> float:
        drawing = drawing_from_runs(
            [("a", corner(90.0, False), FLAT)],
            attributes={"a": Attributes(source=True, roll=roll * DEGREE)},
        )
        plan = Schedule(terminals={"a": TerminalSpec(0.5)}, elbow_default=rule)
        found = analyse(build(drawing, plan)).elements
        (row,) = np.flatnonzero(found.kind == Kind.BEND)
        return float(found.coefficient[row] * found.reynolds_factor[row])

    every = [coefficient(roll) for roll in (0, 10, 30, 44.999, 45.001, 60, 80, 90)]
    assert every[3] == pytest.approx(every[4], rel=1e-3)
    steps = np.diff(every)
    assert (steps >= -1e-12).all() or (steps <= 1e-12).all()


# --- transitions


@pytest.mark.parametrize(("before", "after"), [
    (round_section(0.3048), round_section(0.305)),
    (rectangular(0.3, 0.3), rectangular(0.301, 0.301)),
    (flat_oval(0.508, 0.254), flat_oval(0.51, 0.255)),
])  # fmt: skip
def test_the_rounding_of_a_size_costs_nothing(before: Section, after: Section) -> None:
    found = transitions.transition(
        [int(before.shape)] * 2, [before.width, after.width],
        [before.height, after.height], [int(after.shape)] * 2,
        [after.width, before.width], [after.height, before.height], 0.3,
    )  # fmt: skip
    assert found.value.tolist() == [0.0, 0.0]


@pytest.mark.parametrize(
    ("before", "after"),
    [
        (rectangular(0.6, 0.3), rectangular(0.3, 0.3)),
        (rectangular(0.3, 0.3), rectangular(0.6, 0.3)),
        (rectangular(0.3, 0.3), rectangular(0.6, 0.6)),
        (rectangular(0.6, 0.4), rectangular(0.3, 0.2)),
        (round_section(0.2), round_section(0.3)),
        (round_section(0.4), round_section(0.25)),
        (rectangular(0.4, 0.3), round_section(0.25)),
        (round_section(0.25), rectangular(0.4, 0.3)),
        (rectangular(0.6, 0.3), rectangular(0.9, 0.2)),
        (flat_oval(0.6, 0.3), round_section(0.3)),
    ],
)
@pytest.mark.parametrize("degrees", [20.0, 60.0])
def test_transitions(before: Section, after: Section, degrees: float) -> None:
    drawing = turned(
        [("a", [[0, 0, 0], [5, 0, 0]], before), ("b", [[5, 0, 0], [9, 0, 0]], after)],
        {"b": 0.4},
    )
    rule = TransitionRule(degrees * DEGREE)
    found = analyse(build(drawing, Schedule(transition_default=rule)))
    (row,) = of_kind(found, Kind.TRANSITION)
    length = float(found.graph.transitions.length[0])
    (shape1, w1, h1), (shape2, w2, h2) = (
        ([cut.shape], [cut.width], [cut.height]) for cut in (before, after)
    )
    wanted = transitions.transition(shape1, w1, h1, shape2, w2, h2, [length])
    e = found.elements
    credit = wanted.credits[int(wanted.credit[0])]
    assert e.credits[e.credit[row]].table == credit.table
    assert float(e.coefficient[row]) == pytest.approx(float(wanted.value[0]))
    size = [cut.width * cut.height for cut in (before, after)]
    if before.shape == after.shape and abs(size[0] / size[1] - 1) > 0.02:
        word = "expansion" if size[1] > size[0] else "contraction"
        assert word in found.words(row)


# --- junctions


def branch(
    main: Section,
    side: Section,
    degrees: float,
    *,
    entry: str = "plain",
    flow: float = 0.2,
    rest: float = 0.4,
    after: Section | None = None,
) -> Analysis:
    c, s = 4 * np.cos(degrees * DEGREE), 4 * np.sin(degrees * DEGREE)
    runs = [
        ("a", [[0, 0, 0], [5, 0, 0]], main),
        ("c", [[5, 0, 0], [9, 0, 0]], after or main),
        ("b", [[5, 0, 0], [5 + c, s, 0]], side),
    ]
    plan = Schedule(takeoff_default=TAKEOFF_ENTRIES[entry])
    return analyse(build(turned(runs, {"b": flow, "c": rest}), plan))


SIDES = {
    "round off round": (round_section(0.4), round_section(0.25)),
    "round off rectangular": (rectangular(0.5, 0.3), round_section(0.25)),
    "rectangular off rectangular": (rectangular(0.5, 0.3), rectangular(0.3, 0.2)),
}


@pytest.mark.parametrize("degrees", [35.0, 45.0, 72.0, 90.0])
@pytest.mark.parametrize("which", SIDES)
@pytest.mark.parametrize("entry", ["plain", "45 degree entry", "conical"])
def test_branches_take_the_table_of_their_sections_angle_and_entry(
    which: str, entry: str, degrees: float
) -> None:
    main, side = SIDES[which]
    found = branch(main, side, degrees, entry=entry)
    (row,) = of_kind(found, Kind.BRANCH)
    areas = [
        np.pi / 4 * cut.width**2 if cut.shape == 1 else cut.width * cut.height
        for cut in (main, side)
    ]
    wanted = junctions.dividing_legs(
        junctions.JunctionLegs(
            is_branch=np.array([True]),
            is_symmetrical=np.array([False]),
            angle=np.array([degrees * DEGREE]),
            entry=np.array([int(TAKEOFF_ENTRIES[entry])]),
            common_shape=np.array([int(main.shape)]),
            branch_shape=np.array([int(side.shape)]),
            flow_ratio=np.array([0.2 / 0.6]),
            area_ratio=np.array([areas[1] / areas[0]]),
            main_area_ratio=np.array([1.0]),
        )
    )
    e = found.elements
    credit = wanted.credits[int(wanted.credit[0])]
    assert e.credits[e.credit[row]].table == credit.table
    assert float(e.coefficient[row]) == pytest.approx(float(wanted.value[0]))


def test_tables_differ_between_entries_and_sections() -> None:
    tables = set()
    for main, side in SIDES.values():
        for entry in ("plain", "conical"):
            found = branch(main, side, 90.0, entry=entry)
            (row,) = of_kind(found, Kind.BRANCH)
            e = found.elements
            tables.add((e.credits[e.credit[row]].table, float(e.coefficient[row])))
    assert len(tables) >= 5


def test_a_bend_right_before_a_junction_is_both() -> None:
    runs = [
        ("a", [[0, 0, 0], [4, 0, 0], [4, 0.9, 0]], FLAT),
        ("c", [[4, 0.9, 0], [4, 5, 0]], FLAT),
        ("b", [[4, 0.9, 0], [7, 0.9, 0]], ROUND),
    ]
    found = analyse(build(turned(runs, {"b": 0.2, "c": 0.4})))
    assert len(of_kind(found, Kind.BEND)) == 1
    assert len(of_kind(found, Kind.BRANCH)) == 1


def test_a_branch_larger_than_its_main_is_noted() -> None:
    found = branch(rectangular(0.3, 0.2), rectangular(0.5, 0.3), 90.0)
    (row,) = of_kind(found, Kind.BRANCH)
    assert np.isfinite(found.elements.loss[row])
    assert found.elements.notes[row] != 0


@pytest.mark.parametrize("legs", [4, 5])
def test_four_and_five_legs_at_a_point(legs: int) -> None:
    ends = [[9, 0, 0], [5, 4, 0], [5, -4, 0], [5, 0, 4]][: legs - 1]
    runs: list[Any] = [("a", [[0, 0, 0], [5, 0, 0]], rectangular(0.6, 0.4))]
    flows = {}
    for number, end in enumerate(ends):
        cut = rectangular(0.6, 0.4) if number == 0 else ROUND
        runs.append((f"leg {number}", [[5, 0, 0], end], cut))
        flows[f"leg {number}"] = 0.2
    found = analyse(build(turned(runs, flows)))
    branches = of_kind(found, Kind.BRANCH)
    assert len(branches) == legs - 2
    assert len(of_kind(found, Kind.MAIN)) == 1  # the main counts once
    assert (found.elements.notes[branches] != 0).all()  # no table of its own: noted
    by_name = dict(zip(found.graph.terminals.name, found.path_loss, strict=True))
    if legs == 4:
        assert by_name["leg 1"] == pytest.approx(by_name["leg 2"])


@pytest.mark.parametrize("degrees", [30.0, 45.0, 90.0])
def test_a_wye_or_bullhead_of_equal_legs_has_no_main(degrees: float) -> None:
    c, s = 4 * np.cos(degrees * DEGREE), 4 * np.sin(degrees * DEGREE)
    runs = [
        ("a", [[0, 0, 0], [5, 0, 0]], rectangular(0.6, 0.3)),
        ("b", [[5, 0, 0], [5 + c, s, 0]], rectangular(0.3, 0.3)),
        ("c", [[5, 0, 0], [5 + c, -s, 0]], rectangular(0.3, 0.3)),
    ]
    found = analyse(build(turned(runs, {"b": 0.3, "c": 0.3})))
    assert of_kind(found, Kind.MAIN) == []
    rows = of_kind(found, Kind.BRANCH)
    wanted = junctions.symmetrical(np.array([1.0]), np.array([degrees * DEGREE]))
    for row in rows:
        same(found, row, wanted)


def _forked(right: float, left: float, joining: bool) -> list[float]:
    """Losses of both legs of a fork of 0.4 m into twice 0.3 m, Pa."""
    runs = [("a", [[0, 0, 0], [5, 0, 0]], round_section(0.4))]
    for name, degrees in (("b", right), ("c", -left)):
        c, s = 4 * np.cos(degrees * DEGREE), 4 * np.sin(degrees * DEGREE)
        runs.append((name, [[5, 0, 0], [5 + c, s, 0]], round_section(0.3)))
    plan = Schedule(source=SourceSpec(is_return=joining))
    found = analyse(build(turned(runs, {"b": 0.3, "c": 0.3}), plan))
    rows = [*of_kind(found, Kind.BRANCH), *of_kind(found, Kind.MAIN)]
    run = found.graph.ducts.run[found.elements.duct[rows]]
    loss = dict(zip(run.tolist(), found.elements.loss[rows].tolist(), strict=True))
    return [loss[number] for number in sorted(loss)]


@pytest.mark.parametrize("joining", [False, True])
@pytest.mark.parametrize("straighter", [25.0, 45.0])
def test_a_fork_goes_evenly_from_a_wye_to_a_main_with_a_branch(
    straighter: float, joining: bool
) -> None:
    """No half degree of difference between its legs makes a jump in either."""
    turns = straighter + np.arange(0.0, 30.1, 0.5)
    losses = np.array([_forked(straighter, turn, joining) for turn in turns])
    assert len(losses.T) == 2
    step = np.abs(np.diff(losses, axis=0))
    assert (step < 0.12 * np.ptp(losses, axis=0) + 0.02 * np.abs(losses[1:])).all()


def test_both_readings_of_a_fork_stand_where_each_is_sure() -> None:
    """To 10 degrees of difference it is a wye, from 20 on a main with a branch."""
    for left, kind in ((45.0, 0), (54.0, 0), (66.0, 1)):
        runs = [("a", [[0, 0, 0], [5, 0, 0]], round_section(0.4))]
        for name, degrees in (("b", 45.0), ("c", -left)):
            c, s = 4 * np.cos(degrees * DEGREE), 4 * np.sin(degrees * DEGREE)
            runs.append((name, [[5, 0, 0], [5 + c, s, 0]], round_section(0.3)))
        found = analyse(build(turned(runs, {"b": 0.3, "c": 0.3})))
        assert len(of_kind(found, Kind.MAIN)) == kind
        assert set(found.graph.legs.likeness.tolist()) == {1.0 - kind}
        if kind == 0:
            v = 0.5 / 0.75**2
            for row, turn in zip(
                of_kind(found, Kind.BRANCH), (45.0, left), strict=True
            ):
                wanted = junctions.symmetrical(np.array([v]), np.array([turn * DEGREE]))
                same(found, row, wanted)


@pytest.mark.parametrize("degrees", [8.0, 30.0])
def test_a_main_that_bends_at_its_branch_pays_for_its_bend(degrees: float) -> None:
    """Own rule: a mitred elbow on the straight leg's velocity, as for any bend."""
    c, s = 4 * np.cos(degrees * DEGREE), 4 * np.sin(degrees * DEGREE)
    losses = []
    for end in ([9, 0, 0], [5 + c, s, 0]):
        runs = [
            ("a", [[0, 0, 0], [5, 0, 0]], round_section(0.4)),
            ("c", [[5, 0, 0], end], round_section(0.4)),
            ("b", [[5, 0, 0], [5, -4, 0]], round_section(0.25)),
        ]
        found = analyse(build(turned(runs, {"b": 0.2, "c": 0.4})))
        (row,) = of_kind(found, Kind.MAIN)
        losses.append(float(found.elements.loss[row]))
    added = losses[1] - losses[0]
    turn = elbows.round_mitred(degrees * DEGREE)
    velocity = 0.4 / (np.pi / 4 * 0.4**2)
    pv = 0.5 * found.conditions.air.density * velocity**2
    assert added == pytest.approx(float(turn.value[0]) * pv)
    assert found.elements.notes[row] != 0
