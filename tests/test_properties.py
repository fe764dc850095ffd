"""What changes no loss: where a drawing stands and how its lines were drawn."""

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from routes import ROUTE, Run, about_z, drawn, line, straight

from elbowroom.layout import (
    Attributes,
    ChecksSpec,
    Drawing,
    Schedule,
    Section,
    build,
    drawing_from_runs,
    flat_oval,
    rectangular,
    round_section,
)
from elbowroom.physics import analyse, checks

SAME = 1e-9
PLAIN = settings(max_examples=40, deadline=None, derandomize=True)


def losses(drawing: Drawing) -> dict[str, float]:
    """Loss along the path to each terminal, and of each fitting on it."""
    found = analyse(build(drawing))
    graph = found.graph
    out = {}
    for place, name in enumerate(graph.terminals.name):
        out[name] = float(found.path_loss[place])
        kinds = [found.words(int(row)) for row in found.path(place)]
        turns = [
            float(found.elements.loss[row])
            for row, kind in zip(found.path(place), kinds, strict=True)
            if kind != "straight duct"
        ]
        for number, loss in enumerate(turns):
            out[f"{name} {number}"] = loss
    return out


def _with_arcs() -> list[Run]:
    """The names of the route, with arcs that end without tangents or touch.

    T1 ends with an arc at the takeoff B1, T2 with an S where the section changes, T3
    at its terminal; B1 begins with one, B2 is one altogether.
    """
    left, right = (0, 0, 1), (0, 0, -1)
    sine = float(np.sqrt(0.75))
    onward, away = (0.5, sine, 0.0), (-sine, 0.5, 0.0)  # behind the arc of T1
    t1 = line(straight(2), (0.9, 60.0, 5, left))
    s_bend = (0.6, 45.0, 4, right), (0.7, 45.0, 5, left)
    t2 = line(straight(3), *s_bend, start=t1[-1].tolist(), heading=onward)
    fork = t2[-1].tolist()
    t3 = line(straight(2), (0.5, 90.0, 6, right), start=fork, heading=onward)
    b1 = line((0.4, 90.0, 6, left), straight(2), start=t1[-1].tolist(), heading=away)
    b2 = line((0.7, 80.0, 7, left), start=fork, heading=away)
    drawn_so = [t1, t2, t3, b1, b2]
    return [
        (name, points.tolist(), cut)
        for (name, _, cut), points in zip(ROUTE, drawn_so, strict=True)
    ]


ARCS = _with_arcs()
ROUTES = {"corners": ROUTE, "arcs": ARCS}
WANTED = {name: losses(drawn(route)) for name, route in ROUTES.items()}
BASE = WANTED["corners"]
either_route = pytest.mark.parametrize("name", list(ROUTES))


def same(found: dict[str, float], name: str = "corners") -> None:
    assert found == pytest.approx(WANTED[name], rel=SAME, abs=SAME)


def test_the_route_has_losses_to_compare() -> None:
    assert set(BASE) >= {"T3", "B1", "B2"}
    assert min(BASE[name] for name in ("T3", "B1", "B2")) > 1.0
    assert len(BASE) > 12


def test_the_arcs_of_the_route_are_what_was_drawn() -> None:
    bends = build(drawn(ARCS)).bends
    pairs = np.stack([np.degrees(bends.angle), bends.radius], axis=1).round(6)
    wanted = [(45, 0.6), (45, 0.7), (60, 0.9), (80, 0.7), (90, 0.4), (90, 0.5)]
    assert sorted(map(tuple, pairs.tolist())) == wanted


@either_route
@PLAIN
@given(st.floats(-np.pi, np.pi), st.tuples(*[st.floats(-500.0, 500.0)] * 3))
def test_rotation_about_the_vertical_and_translation(
    name: str, angle: float, shift: tuple[float, float, float]
) -> None:
    same(losses(drawn(ROUTES[name], turn=about_z(angle), shift=shift)), name)


# A riser at the source, a drop as a takeoff and a riser behind a bend, each with flat
# sides and bends behind it; then what a roll carries on into.
RISERS: list[Run] = [
    ("foot", [[0, 0, 0], [0, 0, 3]], rectangular(0.6, 0.3)),
    ("trunk", [[0, 0, 3], [8, 0, 3], [8, 5, 3]], rectangular(0.6, 0.3)),
    ("drop", [[4, 0, 3], [4, 0, 1], [4, -3, 1], [7, -3, 1]], rectangular(0.4, 0.15)),
    ("up", [[8, 5, 3], [8, 5, 6], [5, 5, 6], [5, 9, 6]], rectangular(0.6, 0.3)),
    ("on", [[5, 9, 6], [2, 9, 6]], rectangular(0.6, 0.3)),
]


@PLAIN
@given(
    st.floats(-np.pi, np.pi),
    st.dictionaries(
        st.sampled_from([name for name, _, _ in RISERS]),
        st.sampled_from([-90.0, 0.0, 30.0, 45.0, 90.0, 180.0]),
        min_size=1,
    ),
)
def test_rotation_about_the_vertical_where_risers_have_a_roll(
    angle: float, rolls: dict[str, float]
) -> None:
    """A roll says the same of a riser whichever way the plan is turned."""

    def found(turn: float) -> dict[str, float]:
        said = {name: Attributes(roll=np.radians(roll)) for name, roll in rolls.items()}
        said["foot"] = replace(
            said.get("foot", Attributes()), source=True, source_at_end=False
        )
        runs = [(name, np.array(at) @ about_z(turn).T, cut) for name, at, cut in RISERS]
        flows = {"drop": 0.2, "on": 0.6}
        return losses(drawing_from_runs(runs, flows=flows, attributes=said))

    assert found(angle) == pytest.approx(found(0.0), rel=1e-6)


@either_route
@PLAIN
@given(st.permutations(range(len(ROUTE))))
def test_order_of_the_lines(name: str, order: list[int]) -> None:
    same(losses(drawn([ROUTES[name][index] for index in order])), name)


@either_route
@PLAIN
@given(st.tuples(*[st.booleans()] * len(ROUTE)))
def test_direction_of_the_lines(name: str, turned: tuple[bool, ...]) -> None:
    runs: list[Run] = [
        (run, points[::-1] if back else points, cut)
        for (run, points, cut), back in zip(ROUTES[name], turned, strict=True)
    ]
    same(losses(drawn(runs)), name)


@PLAIN
@given(
    st.dictionaries(
        st.integers(0, 4), st.sets(st.integers(1, 99), min_size=1, max_size=4)
    )
)
def test_vertices_along_a_straight(splits: dict[int, set[int]]) -> None:
    """Vertices at hundredths of the first straight: farther apart than they snap."""
    runs: list[Run] = []
    for number, (name, points, cut) in enumerate(ROUTE):
        a, b = np.array(points[0], float), np.array(points[1], float)
        between = [
            (a + share / 100 * (b - a)).tolist()
            for share in sorted(splits.get(number, ()))
        ]
        runs.append((name, [points[0], *between, *points[1:]], cut))
    same(losses(drawn(runs)))


@PLAIN
@given(st.lists(st.tuples(st.integers(0, 40), st.floats(0.1, 0.9)), max_size=12))
def test_vertices_along_chords(splits: list[tuple[int, float]]) -> None:
    """On straights and on chords of arcs, where some are so short that none fits."""
    runs: list[Run] = []
    for number, (name, points, cut) in enumerate(ARCS):
        ends = np.array(points)
        shares = {at // 5: share for at, share in splits if at % 5 == number}
        more = [at + share for at, share in shares.items() if at < len(ends) - 1]
        place = np.sort(np.concatenate([np.arange(len(ends)), more]))
        at = np.arange(len(ends))
        cut_up = np.stack([np.interp(place, at, axis) for axis in ends.T], axis=1)
        runs.append((name, cut_up.tolist(), cut))
    found, wanted = losses(drawn(runs)), WANTED["arcs"]
    assert found == pytest.approx(wanted, rel=1e-7, abs=1e-7)


@PLAIN
@given(st.integers(1, 4), st.booleans())
def test_an_arc_in_two_runs(at: int, back: bool) -> None:
    """The first is cut at a vertex of its arc; what lies nearer is another run."""
    name, points, cut = ARCS[0]
    nearer, farther = list(points[: at + 2]), list(points[at + 1 :])
    runs: list[Run] = [(name, nearer, cut), ("T1 end", farther, cut), *ARCS[1:]]
    if back:
        runs[1] = ("T1 end", farther[::-1], cut)
    same(losses(drawn(runs)), "arcs")


@PLAIN
@given(st.floats(0.1, 0.9))
def test_a_straight_in_two_runs(share: float) -> None:
    """The branch in two pieces; the first has another name and the same section."""
    same(losses(drawn(_with_branch_cut(share))))


@PLAIN
@given(st.floats(0.1, 0.9))
def test_leakage_of_a_straight_in_two_runs(share: float) -> None:
    """Its static pressure goes from above that of the room to below it."""

    def leaks(runs: Sequence[Run]) -> float:
        plan = Schedule(checks=ChecksSpec(leakage="B"))
        found = checks(analyse(build(drawn(runs), plan)))
        (value,) = (one.value for one in found if one.rule.startswith("leakage"))
        return value

    assert leaks(_with_branch_cut(share)) == pytest.approx(leaks(ROUTE), rel=SAME)


def _with_branch_cut(share: float) -> list[Run]:
    runs: list[Run] = []
    for name, points, cut in ROUTE:
        if name == "B2":
            a, b = (np.array(point, float) for point in points)
            middle = (a + share * (b - a)).tolist()
            runs += [("B2 begin", [points[0], middle], cut)]
            runs += [("B2", [middle, points[1]], cut)]
        else:
            runs.append((name, points, cut))
    return runs


@PLAIN
@given(st.lists(st.floats(-4e-4, 4e-4), min_size=15, max_size=15))
def test_ends_within_the_tolerance_join_as_if_exact(noise: list[float]) -> None:
    """Losses move by no more than the millimetre does."""
    runs: list[Run] = []
    for index, (name, points, cut) in enumerate(ROUTE):
        moved = [np.array(point, float) for point in points]
        moved[0] = moved[0] + np.array(noise[3 * index : 3 * index + 3])
        runs.append((name, [point.tolist() for point in moved], cut))
    found = losses(drawn(runs))
    for name in ("T3", "B1", "B2"):
        assert found[name] == pytest.approx(BASE[name], rel=2e-3)


@PLAIN
@given(
    st.permutations(range(4)),
    st.lists(st.floats(-7e-4, 7e-4), min_size=4, max_size=4),
    st.floats(-np.pi, np.pi),
)
def test_an_end_beside_a_main_within_the_tolerance_is_as_one_on_it(
    order: list[int], off: list[float], turn: float
) -> None:
    """It goes to the main, which stays straight, from both sides to one cross."""

    def found(left: list[float], right: list[float]) -> dict[str, float]:
        runs: list[Run] = [
            ("T1", [[0, 0, 3], [9, 0, 3]], rectangular(0.6, 0.3)),
            ("T3", [[9, 0, 3], [12, 0, 3]], rectangular(0.6, 0.3)),
            ("B1", [[4, *left], [4, -3, 3]], round_section(0.25)),
            ("B2", [[4, *right], [4, 2, 3]], rectangular(0.3, 0.2)),
        ]
        flows = {"T3": 0.4, "B1": 0.3, "B2": 0.2}
        chosen = [runs[index] for index in order]
        turned = [(n, np.array(p) @ about_z(turn).T, c) for n, p, c in chosen]
        marks = {"T1": Attributes(source=True, source_at_end=False)}
        return losses(drawing_from_runs(turned, flows=flows, attributes=marks))

    y, z, y2, z2 = off
    beside = found([y, 3 + z], [y2, 3 + z2])
    assert beside == pytest.approx(found([0, 3], [0, 3]), rel=1e-5)


TRUNK, HALF = rectangular(0.5, 0.25), rectangular(0.4, 0.25)
SMALLER, LAST = rectangular(0.3, 0.25), round_section(0.2)
# A straight transition, one with a flat side, one around a corner, and two at branches.
PIECES: list[Run] = [
    ("one", [[0, 0, 3], [4, 0, 3]], TRUNK),
    ("straight", [[4, 0, 3], [4.6, 0, 3]], None),
    ("two", [[4.6, 0, 3], [8, 0, 3]], HALF),
    ("slanted", [[8, 0, 3], [8.5, 0.05, 3]], None),
    ("three", [[8.5, 0.05, 3], [12, 0.05, 3]], SMALLER),
    ("around", [[12, 0.05, 3], [13, 0.05, 3], [13, 1.05, 3]], None),
    ("four", [[13, 1.05, 3], [13, 5, 3]], TRUNK),
    ("opening", [[2, 0, 3], [2, 0.7, 3]], rectangular(0.4, 0.2)),
    ("branch", [[2, 0.7, 3], [2, 4, 3]], LAST),
    ("unsaid", [[6, 0, 3], [6, -0.5, 3]], None),
    ("other", [[6, -0.5, 3], [6, -4, 3]], LAST),
]
MARKED = {"straight", "slanted", "around", "opening", "unsaid"}


def _pieces(runs: list[Run]) -> dict[str, float]:
    """Losses where every run that is named after a marked one is a transition."""
    drawing = drawing_from_runs(
        [(name, np.array(points, float), cut) for name, points, cut in runs],
        flows={"four": 0.5, "branch": 0.1, "other": 0.1},
        attributes={
            name: Attributes(
                transition=name.split()[0] in MARKED,
                source=name == "one",
                source_at_end=False if name == "one" else None,
            )
            for name, _, _ in runs
        },
    )
    return losses(drawing)


def _with_vertices(
    points: Sequence[Sequence[float]], shares: list[float]
) -> list[Sequence[float]]:
    """A line with a vertex at some shares of each of its segments."""
    out = [points[0]]
    for a, b in pairwise(points):
        step = np.subtract(b, a)
        out += [(np.array(a) + share * step).tolist() for share in sorted(shares)]
        out.append(b)
    return out


PIECES_WANTED = _pieces(PIECES)
shares_of_lines = st.lists(st.integers(1, 19), max_size=3, unique=True).map(
    lambda found: [number / 20 for number in found]
)


@PLAIN
@given(
    st.lists(shares_of_lines, min_size=len(PIECES), max_size=len(PIECES)),
    st.tuples(*[st.booleans()] * len(PIECES)),
)
def test_vertices_along_transitions(
    shares: list[list[float]], turned: tuple[bool, ...]
) -> None:
    runs: list[Run] = []
    for (name, points, cut), split, back in zip(PIECES, shares, turned, strict=True):
        line = _with_vertices(points, split)
        runs.append((name, line[::-1] if back and name != "one" else line, cut))
    assert _pieces(runs) == pytest.approx(PIECES_WANTED, rel=1e-7, abs=1e-7)


@pytest.mark.parametrize("name", sorted(MARKED))
@pytest.mark.parametrize("share", [0.2, 0.7])
def test_a_transition_in_two_runs(name: str, share: float) -> None:
    runs: list[Run] = []
    for run, points, cut in PIECES:
        if run == name:
            line = _with_vertices(points, [share])
            nearer, farther = line[:2], line[1:]
            runs += [(f"{name} begin", nearer, cut), (f"{name} end", farther, cut)]
        else:
            runs.append((run, points, cut))
    assert _pieces(runs) == pytest.approx(PIECES_WANTED, rel=1e-7, abs=1e-7)


def test_every_path_is_the_sum_of_its_elements() -> None:
    found = analyse(build(drawn()))
    for place in range(len(found.graph.terminals.name)):
        rows = found.path(place)
        assert found.elements.loss[rows].sum() == pytest.approx(found.path_loss[place])
        for before, after in pairwise(rows.tolist()):
            assert before != after


def test_rotation_of_a_bend_that_lies_midway_between_the_sides() -> None:
    """A diagonal trunk, a riser, and off along an axis: 45 degrees askew."""
    points = np.array([[0, 0, 3], [3, 3, 3], [3, 3, 5], [3, 6, 5]], dtype=float)
    found = []
    for degrees in range(0, 360, 15):
        turned = points @ about_z(np.radians(degrees)).T
        drawing = drawing_from_runs(
            [("run", turned, rectangular(0.6, 0.25))],
            flows={"run": 0.6},
            attributes={"run": Attributes(source=True, source_at_end=False)},
        )
        found.append(losses(drawing))
    assert len(found[0]) == 4  # the path, two bends and the open end
    for turned_loss in found[1:]:
        assert turned_loss == pytest.approx(found[0], rel=SAME, abs=SAME)


def test_no_degree_of_a_skew_makes_a_jump_in_the_length_of_the_bend() -> None:
    """Own rule: the radius goes evenly between those of the two sides."""
    around = np.radians(np.linspace(0.0, 90.0, 181))
    setback = []
    for angle in around:
        away = [3 * np.cos(angle), 3 * np.sin(angle), 5]
        points = [[-5, 0, 0], [0, 0, 0], [0, 0, 5], away]
        drawing = drawing_from_runs(
            [("run", np.array(points), rectangular(0.6, 0.25))],
            flows={"run": 0.6},
            attributes={"run": Attributes(source=True, source_at_end=False)},
        )
        setback.append(float(build(drawing).bends.setback[1]))
    assert sorted({round(setback[0], 9), round(setback[-1], 9)}) == [0.25, 0.6]
    # At most the half degree's share of a sine's swing, and the step of a skew below 1.
    assert np.abs(np.diff(setback)).max() < 0.35 * np.radians(0.5) * 1.1


CUTS = [round_section(0.3), rectangular(0.5, 0.25), flat_oval(0.6, 0.2)]


@pytest.mark.parametrize("before", CUTS, ids=lambda cut: cut.shape.name)
@pytest.mark.parametrize("after", CUTS, ids=lambda cut: cut.shape.name)
@pytest.mark.parametrize("larger", [False, True])
def test_width_and_height_of_all_sections_swapped_and_rolled(
    before: Section, after: Section, larger: bool
) -> None:
    """The same ducts said otherwise, with a change of section and an elbow."""
    factor = 1.4 if larger else 1.0
    after = Section(after.shape, factor * after.width, factor * after.height)
    found = []
    for rolled in (False, True):
        cuts = [
            Section(cut.shape, cut.height, cut.width) if rolled else cut
            for cut in (before, after)
        ]
        said = Attributes(roll=np.pi / 2 * rolled)
        lines = ([[0, 0, 3], [4, 0, 3]], [[4, 0, 3], [8, 0, 3], [8, 4, 3]])
        drawing = drawing_from_runs(
            [
                (name, np.array(points, float), cut)
                for name, points, cut in zip("ab", lines, cuts, strict=True)
            ],
            flows={"b": 0.6},
            attributes={
                "a": replace(said, source=True, source_at_end=False),
                "b": said,
            },
        )
        found.append(losses(drawing))
    assert len(found[0]) >= 3
    assert found[1] == pytest.approx(found[0], rel=SAME, abs=SAME)


TURNS = [0.0, 3.0, 6.0, 14.0, 15.0, 36.0, 42.0, 63.0]  # degrees; sines are rounded


def _said(runs: list[Run], flows: dict[str, float], degrees: float) -> list[str]:
    """Tables, notes and flags of a layout that stands turned."""
    turn = about_z(np.radians(degrees)).T
    found = analyse(
        build(
            drawing_from_runs(
                [(name, np.asarray(points) @ turn, cut) for name, points, cut in runs],
                flows=flows,
                attributes={"a": Attributes(source=True, source_at_end=False)},
            )
        )
    )
    elements = found.elements
    return [
        *(elements.credits[credit].table for credit in elements.credit.tolist()),
        *(str(notes) for notes in elements.notes.tolist()),
        *(flag.sentence for flag in found.flags),
    ]


@pytest.mark.parametrize(
    ("cut", "radius"),
    [
        pytest.param(rectangular(0.4, 0.2), 0.8, id="r/W 2"),
        pytest.param(rectangular(0.1, 0.2), 1.0, id="r/W 10"),
        pytest.param(round_section(0.2), 0.5, id="r/D 2.5"),
    ],
)
def test_no_turn_of_the_plan_moves_an_elbow_off_the_row_it_is_on(
    cut: Section, radius: float
) -> None:
    runs: list[Run] = [
        (
            "a",
            line(straight(2), (radius, 90.0, 6, (0, 0, 1)), straight(3)).tolist(),
            cut,
        )
    ]
    assert all(
        _said(runs, {"a": 0.3}, d) == _said(runs, {"a": 0.3}, 0.0) for d in TURNS
    )


def test_no_turn_of_the_plan_shortens_a_straight_of_five_diameters() -> None:
    main, side = round_section(0.3), round_section(0.2)
    flows = {"c": 0.2, "b": 0.1}
    for length, is_short in ((1.8, False), (1.79, True)):
        runs: list[Run] = [
            ("a", [[0, 0, 3], [2, 0, 3]], main),
            ("c", [[2, 0, 3], [2 + length, 0, 3], [2 + length, 3, 3]], main),
            ("b", [[2, 0, 3], [2, -2, 3]], side),
        ]
        for degrees in TURNS:
            said = " ".join(_said(runs, flows, degrees))
            assert ("within 5 diameters" in said) == is_short


def test_points_in_single_precision_are_not_between_rows() -> None:
    runs: list[Run] = [
        ("a", [[0, 0, 3], [4, 0, 3], [4, 3, 3]], rectangular(0.4, 0.3)),
        ("b", [[2, 0, 3], [2, -2, 3]], rectangular(0.2, 0.3)),
        ("c", [[4, 3, 3], [4, 5, 3]], rectangular(0.4, 0.3)),
    ]
    flows = {"c": 0.3, "b": 0.1}
    for degrees in TURNS:
        turn = about_z(np.radians(degrees)).T
        rounded: list[Run] = [
            (name, (np.asarray(points) @ turn).astype(np.float32).tolist(), cut)
            for name, points, cut in runs
        ]
        assert _said(rounded, flows, 0.0) == _said(runs, flows, 0.0)
