"""The audit of a drawing, and the copy of it with its slips put right."""

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from schemas import validate

from elbowroom.layout import (
    Attributes,
    BadInput,
    Drawing,
    FloatArray,
    Notice,
    Schedule,
    Section,
    Severity,
    TerminalSpec,
    audit,
    build,
    drawing_from_runs,
    join,
    length_words,
    mended,
    near_misses,
    read,
    rectangular,
    round_section,
    write_gltf,
)
from elbowroom.physics import analyse, settled_audit
from elbowroom.viewer import audit_shown, main, preflight

WIDE, SMALL = rectangular(0.6, 0.3), rectangular(0.3, 0.2)


def line(*points: tuple[float, float, float]) -> FloatArray:
    return np.array(points, dtype=np.float64)


def slips() -> Drawing:
    """A main drawn twice, a branch 40 mm short of it, a run that only crosses it."""
    return drawing_from_runs(
        [
            ("main", line((0, 0, 3), (4, 0, 3), (8, 0.0004, 3)), WIDE),
            ("copy", line((0, 0, 3), (4, 0, 3)), WIDE),
            ("branch", line((4, 0.04, 3), (4, 3, 3), (4, 3, 2.6)), SMALL),
            ("on", line((8, 0, 3), (10, 0, 3)), SMALL),
            ("cross", line((6, -2, 3), (6, 2, 3)), None),
            ("tiny", line((10, 0, 3), (10, 2, 3)), round_section(0.02)),
        ],
        file="slips.glb",
    )


def one(findings: tuple[Notice, ...], words: str) -> Notice:
    (found,) = [notice for notice in findings if words in notice.sentence]
    return found


def test_each_slip_has_its_place_its_effect_and_its_remedy() -> None:
    found = audit(slips()).findings
    for words, place in (
        ("drawn twice over the same stretch: 'copy'", (2, 0, 3)),
        ("it ends 40 mm (1.6 in) short of run 'main'", (4, 0.04, 3)),
        ("cross at (6, 0, 3) m", (6, 0, 3)),
        ("no section", (6, 0, 3)),
        ("Ø20 mm (0.787 in), small for a duct", (10, 1, 3)),
    ):
        notice = one(found, words)
        assert notice.place == pytest.approx(place, abs=1e-3)
        assert notice.effect
        assert notice.remedy
    assert found[0].severity == Severity.ERROR  # nothing says which end is the source


def overlapping() -> Drawing:
    return drawing_from_runs(
        [
            ("trunk", line((0, 0, 3), (8, 0, 3)), WIDE),
            ("t2", line((6, 0, 3), (10, 0, 3)), WIDE),
            ("there and back", line((10, 0, 3), (12, 0, 3), (10, 0, 3)), WIDE),
        ]
    )


def test_a_partial_overlap_is_to_be_shortened_and_not_deleted() -> None:
    found = audit(overlapping()).findings
    lap = one(found, "runs 'trunk' and 't2'")
    assert "lie on each other for 2 m (6.6 ft), about (7, 0, 3) m" in lap.what
    assert "shorten one of them" in lap.remedy
    assert lap.place == (7.0, 0.0, 3.0)
    assert "'there and back'" in one(found, "lies on itself for 2 m").where
    assert not any("delete the copy" in notice.remedy for notice in found)


def test_what_is_drawn_twice_counts_once_in_the_length_of_all(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "lap.glb"
    write_gltf(overlapping(), path)
    assert main(["check", str(path), "--json"]) == 0
    result = json.loads(capsys.readouterr().out)
    assert result["total_length_m"] == pytest.approx(12.0)
    assert sum(run["length_m"] for run in result["runs"]) == pytest.approx(16.0)


def test_a_section_that_jumps_is_said_with_what_was_assumed() -> None:
    drawing = drawing_from_runs(
        [
            ("a", [[0, 0, 3], [4, 0, 3]], WIDE),
            ("b", [[4, 0, 3], [8, 0, 3]], SMALL),
        ],
        attributes={"a": Attributes(source=True)},
    )
    found = audit(drawing, Schedule(terminals={"b": TerminalSpec(0.3)}))
    jump = one(
        found.findings,
        "jumps from 600×300 mm (23.6×11.8 in) to 300×200 mm (11.8×7.87 in)",
    )
    assert jump.place == (4.0, 0.0, 3.0)
    # 30 degrees included: half of 600 - 300 over tan 15 degrees.
    assert f"{150 / np.tan(np.radians(15)):.0f} mm (22 in) was assumed" in jump.effect


def test_a_route_that_is_a_hand_wide_is_in_another_unit() -> None:
    drawing = drawing_from_runs([("a", line((0, 0, 0), (0.008, 0, 0)), WIDE)])
    assert (
        "8 mm (0.31 in) long" in one(audit(drawing).findings, "all ducts together").what
    )
    drawing = drawing_from_runs([("a", line((0, 0, 0), (8000, 0, 0)), WIDE)])
    assert (
        "8000 m (26247 ft) long" in one(audit(drawing).findings, "straight piece").what
    )


@pytest.mark.parametrize("flows", [{}, {"end": 0.1, "den": 0.05, "bath": 0.05}])
@pytest.mark.parametrize("chords", [1, 12])
@pytest.mark.parametrize(
    ("unit", "said"),
    [
        (0.0254, ""),
        (0.001, "straight pieces shorter than the duct is wide"),
    ],
)
def test_lengths_that_do_not_go_with_the_sections_are_in_another_unit(
    unit: float, said: str, chords: int, flows: dict[str, float]
) -> None:
    """A small invented layout in inches, its elbows corners or arcs."""
    turn = np.linspace(0.0, np.pi / 2, chords + 1)
    bend = 12 * np.stack([1 - np.cos(turn), np.sin(turn), 0 * turn], axis=1)
    if chords == 1:
        bend = line((0, 12, 0))
    branch = np.concatenate([line((0, -100, 0)), bend, line((70, 12, 0))])
    branch[:, 1] += 100
    drawing = drawing_from_runs(
        [
            ("trunk", line((0, 0, 0), (230, 0, 0)) * unit, rectangular(0.3, 0.2)),
            ("end", line((230, 0, 0), (260, 0, 0)) * unit, rectangular(0.3, 0.2)),
            ("den", (branch + np.array([140, 0, 0])) * unit, round_section(0.2)),
            ("bath", (branch * [1, -1, 1] + [200, 0, 0]) * unit, round_section(0.2)),
        ],
        flows=flows,
        attributes={"trunk": Attributes(source=True, source_at_end=False)},
    )
    told = audit(drawing)
    assert (told.graph is not None) == bool(flows)
    found = [one.sentence for one in told.findings if "the unit of" in one.sentence]
    assert len(found) == bool(said)
    assert not said or said in found[0]


Points = list[list[float]]
PLANT: Points = [[0, 0, 0], [0, 0, 1.8], [1.5, 0, 1.8], [1.5, 1.2, 1.8], [3, 1.2, 1.8]]


@pytest.mark.parametrize(
    ("section", "lines"),
    [
        # Two of a plant room; a box and its collars; a main of a hall; a riser.
        (rectangular(2.0, 1.5), [PLANT, [[x, y + 9, z] for x, y, z in PLANT]]),
        (rectangular(0.4, 0.4), [[[0, 0, 3], [0.4, 0, 3]], [[0.2, 0, 3], [0.2, 1, 3]]]),
        (rectangular(0.5, 0.3), [[[0, 0, 3], [0.4, 0, 3], [0.4, 0.3, 3]]]),
        (round_section(0.6), [[[0, 0, 6], [65, 0, 6], [65, 0, 3]]]),
        (round_section(0.1), [[[0, 0, 0], [0, 0, 33]]]),
    ],
)
def test_a_few_short_wide_ducts_or_a_long_main_are_in_their_unit(
    section: Section, lines: list[Points]
) -> None:
    runs = [(f"{at}", np.array(points), section) for at, points in enumerate(lines)]
    assert "the unit of" not in str(audit(drawing_from_runs(runs)).findings)


@pytest.mark.parametrize(
    ("scale", "sizes", "option", "asked"),
    [
        (1.0, "20x10 in,D8 in", [], True),  # inches read as metres
        (1.0, "20x10 in,D8 in", ["--unit", "in"], False),
        (1.0, "20x10 in,D8 in", ["--unit", "m"], False),  # who says so is not asked
        (2.54, "20x10 in,D8 in", [], True),  # centimetres
        (25.4, "20x10 in,D8 in", [], True),  # millimetres
        (0.0254, "20x10 in,D8 in", [], False),  # metres
        (0.0025, "D60 mm,D50 mm", [], False),  # metres, of a model on a bench
        (0.5, "D2000 mm,D1500 mm", [], False),  # of a tunnel
    ],
)
def test_what_a_file_without_a_unit_is_drawn_in_is_asked_for(
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    scale: float,
    sizes: str,
    option: list[str],
    asked: bool,
) -> None:
    main_size, size = sizes.split(",")
    lines = [(f"trunk {main_size}", line((0, 0, 0), (240, 0, 0)))]
    for x in (60, 120, 180):
        down = line((x, 0, 0), (x, 96, 0), (x, 96, -24))
        lines.append((f"b{x} {size}", down))
    text = []
    for name, points in lines:
        text.append(f"o {name}")
        text += [f"v {x} {y} {z}" for x, y, z in points * scale]
        text.append("l " + " ".join(f"{-n}" for n in range(len(points), 0, -1)))
    route = tmp_path / "a.obj"
    route.write_text("\n".join(text) + "\n")
    assert main(["check", str(route), *option]) == 0  # nothing is refused
    said = " ".join(capsys.readouterr().out.split())
    assert ("check the unit of the coordinates; say --unit mm, cm" in said) == asked


def test_a_duct_in_many_pieces_or_chords_is_not_one_shorter_than_wide() -> None:
    """A flexible one drawn as a curve, a wide one in the lengths that it comes in."""
    turn = np.linspace(0.0, 6.0, 300)
    curve = np.stack([turn, 0.5 * np.sin(2 * turn), 0 * turn], axis=1)
    wide = [
        (f"{at}", line((0.5 * at, 9, 0), (0.5 * at + 0.5, 9, 0)), WIDE)
        for at in range(20)
    ]
    drawing = drawing_from_runs([("f", curve, round_section(0.2)), *wide])
    assert "the unit of" not in str(audit(drawing).findings)


def test_a_section_of_three_metres_is_asked_about() -> None:
    cut = rectangular(3.0, 3.0)
    drawing = drawing_from_runs([("a", line((0, 0, 0), (9, 0, 0)), cut)])
    assert "3000×3000 mm" in one(audit(drawing).findings, "large for a duct").what


def test_a_short_last_piece_is_no_near_miss_of_the_one_before_it() -> None:
    points = np.array([[0, 0, 3], [4, 0, 3], [4, 0, 2.95]])
    found = audit(drawing_from_runs([("a", points, WIDE)])).findings
    assert not [notice for notice in found if "short of" in notice.what]


def test_a_free_end_on_an_arc_is_no_near_miss_of_the_arc() -> None:
    """24 chords of 10 mm: those a little way back lie within the reach of a gap."""
    step = np.linspace(0.0, np.pi / 2, 25)
    arc = np.stack([2 + 0.15 * np.sin(step), 0.15 - 0.15 * np.cos(step)], axis=1)
    points = np.insert(np.insert(arc, 0, [0.0, 0.0], axis=0), 2, 3.0, axis=1)
    topology = join(drawing_from_runs([("a", points, round_section(0.1))]))
    assert near_misses(topology) == []
    assert mended(topology)[1] == []


def test_the_mended_copy_has_only_what_its_designer_must_decide() -> None:
    topology = join(slips())
    copy, changes = mended(topology)
    assert len(changes) == 3
    assert any(
        "'branch' was drawn on by 40 mm (1.6 in)" in change for change in changes
    )
    assert any("'copy' was left out" in change for change in changes)
    assert any("(8, 0, 3) m were moved together" in change for change in changes)
    assert list(copy.names) == ["main", "branch", "on", "cross", "tiny"]
    assert join(copy).component_count == topology.component_count - 1
    left = [notice.sentence for notice in audit(copy).findings]
    assert not [said for said in left if "short of" in said or "twice" in said]
    assert [said for said in left if "cross at" in said]
    again, more = mended(join(copy))
    assert more == []
    assert again.points == pytest.approx(copy.points)


@pytest.mark.parametrize(
    ("end", "tolerance"), [(0.0008, 1e-3), (0.03, 0.031), (-0.03, 0.031), (0.15, 0.151)]
)
def test_an_end_joined_to_a_side_within_the_tolerance_is_drawn_on_to_it(
    end: float, tolerance: float
) -> None:
    """So the copy needs no tolerance any more."""
    branch = line((4, end, 3), (4, 3, 3))
    main = line((0, 0, 3), (8, 0, 3))
    drawing = drawing_from_runs([("main", main, WIDE), ("branch", branch, SMALL)])
    topology = join(drawing, tolerance)
    copy, (change,) = mended(topology)
    assert change.endswith(f"by {length_words(abs(end))} on to run 'main'")
    assert copy.points == pytest.approx(line(*main, (4, 0, 3), (4, 3, 3)))
    assert join(copy, 1e-5).component_count == 1
    assert mended(join(copy, tolerance))[1] == []


CHAIN = [
    ("C", [(0, 0, 3), (8, 0, 3)]),
    ("B", [(4, 0, 3.025), (4, 6, 3.025)]),
    ("A", [(4.02, 0.2, 3.025), (7, 0.2, 3.025)]),
]
ON_BOTH_SIDES = [  # of a line that moves, and an end on the line near them
    ("C", [(0, 0, 3), (8, 0, 3)]),
    ("B", [(4, 0, 3.025), (4, 6, 3.025)]),
    ("left", [(3.98, 2.01, 3.025), (2, 2.01, 3)]),
    ("right", [(4.025, 2, 3.025), (6, 2, 3)]),
    ("on", [(4, 3, 3.025), (4, 3, 5)]),
    ("beside it", [(4.025, 3.02, 3.025), (6, 3.02, 3)]),
]
SHORT_OF_THE_NEXT = [  # and aside, with a branch on the piece that is drawn on
    ("main", [(0, 0, 3), (8, 0, 3)]),
    ("next", [(8.04, 0.06, 3), (12, 0.06, 3)]),
    ("branch", [(4, 0, 3), (4, 3, 3)]),
    ("off it", [(4.02, 1, 3), (6, 1, 3)]),
]


@pytest.mark.parametrize("backwards", [False, True])
@pytest.mark.parametrize("drawn", [CHAIN, ON_BOTH_SIDES, SHORT_OF_THE_NEXT])
def test_ends_on_a_run_of_which_an_end_is_moved_go_with_it(
    drawn: list[tuple[str, list[tuple[float, float, float]]]], backwards: bool
) -> None:
    runs = [(name, line(*points), SMALL) for name, points in drawn]
    topology = join(drawing_from_runs(runs[::-1] if backwards else runs), 0.03)
    copy, changes = mended(topology)
    assert changes
    assert join(copy, 1e-4).component_count == 1
    assert mended(join(copy, 0.03))[1] == []


@pytest.mark.parametrize(
    "runs",
    [
        [((0, 0, 3), (4, 0, 3)), ((3.9, 0.02, 3), (8, 0.02, 3))],
        [((0, 0, 3), (4, 0, 3), (0.5, 0.6, 3)), ((3.8, 0.017, 3), (3.8, 0.017, 6))],
    ],
    ids=["two that wait for each other", "beside both sides of a corner"],
)
def test_an_end_that_cannot_lie_on_the_line_stays_until_it_is_mended(
    runs: list[tuple[tuple[float, float, float], ...]],
) -> None:
    """Then one end is led to one line, so that the copy is joined by default too."""
    drawing = drawing_from_runs(
        [(f"r{number}", line(*points), SMALL) for number, points in enumerate(runs)]
    )
    topology = join(drawing, 0.03)
    assert topology.component_count == 1
    assert topology.landings == ()
    assert not any("moved on" in notice.what for notice in topology.notices)
    copy, (change,) = mended(topology)
    assert "was drawn on by" in change
    assert join(copy).component_count == 1
    assert mended(join(copy))[1] == mended(join(copy, 0.03))[1] == []


@pytest.mark.parametrize("backwards", [False, True])
@pytest.mark.parametrize(
    ("drawn", "left"),
    [
        ([(0, 0), (8, 0), (0, 0)], [(0, 0), (8, 0)]),  # a loose line twice
        ([(0, 0), (5, 0), (8, 0), (4, 0)], [(0, 0), (5, 0), (8, 0)]),
        (  # more than once around
            [(2, 0), (8, 0), (8, 3), (1, 3), (1, 0), (5, 0)],
            [(2, 0), (8, 0), (8, 3), (1, 3), (1, 0), (2, 0)],
        ),
    ],
)
def test_a_way_back_on_the_run_itself_is_taken_out(
    drawn: list[tuple[float, float]], left: list[tuple[float, float]], backwards: bool
) -> None:
    points = line(*((x, y, 3) for x, y in drawn))[:: -1 if backwards else 1]
    runs = [("main", points, WIDE), ("branch", line((4, 0, 3), (4, -3, 3)), SMALL)]
    topology = join(drawing_from_runs(runs))
    copy, (change,) = mended(topology)
    assert "'main' was cut back by" in change
    found = join(copy)
    assert not found.notices
    assert found.length.sum() == pytest.approx(topology.length.sum())
    assert len(copy.run(0).points) == len(left)


def test_a_run_that_forks_on_itself_or_marks_its_way_back_is_left() -> None:
    fork = line((0, 0, 3), (8, 0, 3), (4, 0, 3), (4, 5, 3))
    drawing = drawing_from_runs([("a", fork, WIDE)])
    assert mended(join(drawing))[1] == []
    back = line((0, 0, 3), (8, 0, 3), (4, 0, 3))
    said = {"a": Attributes(source=True, source_at_end=True)}
    drawing = drawing_from_runs([("a", back, WIDE)], attributes=said)
    assert mended(join(drawing))[1] == []


@settings(max_examples=60, deadline=None, derandomize=True)
@given(
    st.lists(st.floats(-0.09, 0.09), min_size=3, max_size=3),
    st.floats(0.0, 2 * np.pi),
)
def test_any_gap_below_the_reach_is_closed(slip: list[float], turn: float) -> None:
    """A branch whose end missed its main's end by any small step."""
    end = np.array([4.0, 0.0, 3.0])
    away = np.array([np.cos(turn), np.sin(turn), 1.0])
    begin = end + np.array(slip) * 0.5
    drawing = drawing_from_runs(
        [
            ("main", np.array([[0.0, 0.0, 3.0], end]), WIDE),
            ("on", np.array([begin, begin + 3 * away]), SMALL),
        ]
    )
    copy, _ = mended(join(drawing))
    assert join(copy).component_count == 1
    moved = np.linalg.norm(copy.points - drawing.points, axis=1)
    assert moved.max() < 0.1


def test_the_command_leaves_the_original_alone(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    route, out = tmp_path / "slips.glb", tmp_path / "mended.glb"
    write_gltf(slips(), route)
    before = route.read_bytes()
    assert main(["check", str(route), "--json", "--fix", str(out)]) == 0
    result = json.loads(capsys.readouterr().out)
    validate(result, "check")
    assert any("'branch'" in change for change in result["changes"])
    assert route.read_bytes() == before
    assert list(read(out).names) == ["main", "branch", "on", "cross", "tiny"]
    placed = [p for p in result["problems"] if p["place_m"] is not None]
    assert len(placed) >= 5


def test_the_copy_is_counted_as_it_will_be_read_and_without_what_was_left_out(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    main_line = line((0, 0, 3), (8, 0, 3))
    drawing = drawing_from_runs(
        [
            ("main", main_line, WIDE),
            ("copy", main_line, WIDE),
            ("branch", line((4, 0.03, 3), (4, 3, 3)), SMALL),
        ],
        flows={"main": 0.3, "branch": 0.1},
        attributes={"main": Attributes(source=True, source_at_end=False)},
    )
    route, out = tmp_path / "a.glb", tmp_path / "mended.glb"
    write_gltf(drawing, route)
    assert main(["check", str(route), "--tolerance", "31 mm", "--fix", str(out)]) == 0
    printed = " ".join(capsys.readouterr().out.split())
    assert printed.count("'copy': this run is the same line as") == 2
    assert "was moved by 30 mm (1.2 in) on to run 'main'" in printed
    assert "2 findings are left in the copy" in printed
    assert len(audit(read(out)).findings) == 2  # the source, and an end's airflow


@pytest.mark.parametrize(
    ("name", "said"),
    [("slips.glb", "not written over"), ("mended.obj", "NAME.glb")],
)
def test_the_copy_never_takes_the_place_of_the_original(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], name: str, said: str
) -> None:
    route = tmp_path / "slips.glb"
    write_gltf(slips(), route)
    assert main(["check", str(route), "--fix", str(tmp_path / name)]) == 2
    assert said in capsys.readouterr().err


@pytest.mark.parametrize(
    ("numbers", "said"),
    [
        ((1, 1, 1), "1 error or warning; 1 has a place, and its number there"),
        ((3, 2, 0), "2 errors or warnings; none has a place in the drawing"),
        ((30, 2, 30), "2 errors or warnings; 30 have a place, and their number there"),
        ((0, 0, 0), "nothing odd was found"),
    ],
)
def test_the_picture_counts_its_findings(
    numbers: tuple[int, int, int], said: str
) -> None:
    assert audit_shown.caption(*numbers).startswith(said)


def riser(source: bool, **said: float | tuple[float, float, float]) -> Drawing:
    """A riser of 600 by 200 mm from which a level duct leaves along X."""
    up = line((0, 0, 0), (0, 0, 3))
    flat = line((0, 0, 3), (2, 0, 3), (5, 0, 3), (5, 3, 3))
    attributes = {"riser": Attributes(source=source, **said)}  # type: ignore[arg-type]
    cut = rectangular(0.6, 0.2)
    runs = [("riser", up, cut), ("flat", flat, cut)]
    return drawing_from_runs(
        runs, flows={"flat": 0.5} if source else {}, attributes=attributes
    )


@pytest.mark.parametrize(
    ("said", "width"),
    [
        ({}, (0, 1, 0)),  # so that the level duct stands level
        ({"up": (0.0, 1.0, 0.0)}, (1, 0, 0)),
        ({"roll": np.pi / 4}, (2**-0.5, -(2**-0.5), 0)),  # from how it would stand
    ],
)
def test_ducts_stand_in_the_picture_as_they_are_analysed(
    said: dict[str, float | tuple[float, float, float]], width: tuple[float, ...]
) -> None:
    found = audit(riser(True, **said))
    assert found.graph is not None
    tubes = audit_shown._as_drawn(found)
    shown = tubes.across[tubes.offsets[:-1]]
    assert abs(shown[0] @ width) == pytest.approx(1.0)
    ducts = found.graph.ducts  # one each, but two segments in a row are one
    for row, duct in enumerate((0, 1, 1, 2)):
        assert abs(shown[row] @ ducts.across[duct]) == pytest.approx(1.0)


@pytest.mark.parametrize(
    ("said", "width"),
    [
        ({"up": (0.0, 1.0, 0.0)}, (1, 0, 0)),
        ({"up": (1.0, 0.0, 0.0)}, (0, 1, 0)),
        ({"up": (0.0, 0.0, 1.0)}, (1, 0, 0)),  # it points along the duct
        ({"roll": np.pi / 4}, (2**-0.5, 2**-0.5, 0)),
    ],
)
def test_where_nothing_can_be_analysed_a_run_stands_as_it_says(
    said: dict[str, float | tuple[float, float, float]], width: tuple[float, ...]
) -> None:
    found = audit(riser(False, **said))
    assert found.graph is None
    tubes = audit_shown._as_drawn(found)
    assert abs(tubes.across[0] @ width) == pytest.approx(1.0)
    assert abs(tubes.upright[0] @ np.cross(width, (0, 0, 1))) == pytest.approx(1.0)


@pytest.mark.skipif(preflight.why_not() is not None, reason="there is no OpenGL here")
def test_the_picture_marks_the_places(tmp_path: Path) -> None:
    import matplotlib.image

    route, out = tmp_path / "slips.glb", tmp_path / "slips.png"
    write_gltf(slips(), route)
    assert main(["check", str(route), "--png", str(out)]) == 0
    image = matplotlib.image.imread(out)
    assert image.shape[:2] == (900, 1600)
    inked = (image[100:800, :, :3].max(axis=2) < 0.9).mean()
    assert 0.01 < inked < 0.5


def test_a_drawn_airflow_that_does_not_add_up_is_found_before_the_analysis() -> None:
    runs = [
        ("main", np.array([[0.0, 0, 0], [8, 0, 0]]), rectangular(0.4, 0.3)),
        ("branch", np.array([[4.0, 0, 0], [4, 3, 0]]), rectangular(0.2, 0.2)),
    ]
    drawing = drawing_from_runs(
        runs,
        flows={"branch": 0.1},
        attributes={"main": Attributes(source=True, source_at_end=False)},
    )
    plan = Schedule(terminals={"main": TerminalSpec(0.3), "branch": TerminalSpec(0.2)})
    seen, flow = settled_audit(audit(drawing, plan))
    with pytest.raises(BadInput) as refused:
        analyse(build(drawing, plan))
    assert seen.findings[0] == refused.value.faults[0]
    assert (
        "the terminals behind it add up to 200 L/s (424 cfm)" in seen.findings[0].what
    )
    assert flow is not None


@pytest.mark.parametrize(
    ("flow", "said"),
    [
        (0.07, None),
        (0.10, "the air is at 12.7 m/s (2506 fpm) in this branch, 3.8 times as fast"),
        (0.50, "the velocity is 63.7 m/s (12532 fpm), more than any duct carries"),
    ],
)
def test_air_too_fast_for_its_branch_is_found_where_the_airflows_are_known(
    flow: float, said: str | None
) -> None:
    """Through 100 mm 70 L/s are 8.9 m/s, 100 are 12.7 and 500 are 63.7."""
    drawing = drawing_from_runs(
        [
            ("main", np.array([[0.0, 0, 0], [8, 0, 0]]), rectangular(0.4, 0.3)),
            ("side", np.array([[4.0, 0, 0], [4, 3, 0]]), round_section(0.1)),
        ],
        attributes={"main": Attributes(source=True, source_at_end=False)},
    )
    ends = {"main": TerminalSpec(0.3), "side": TerminalSpec(flow)}
    seen, _ = settled_audit(audit(drawing, Schedule(terminals=ends)))
    fast = [one for one in seen.findings if " m/s " in one.what]
    assert len(fast) == (said is not None)
    if said is not None:
        assert said in fast[0].what
        assert fast[0] in analyse(build(drawing, Schedule(terminals=ends))).flags
    # Without airflows nothing is known of a velocity.
    bare, flows = settled_audit(audit(drawing, Schedule()))
    assert flows is None
    assert not [one for one in bare.findings if " m/s" in one.sentence]


@pytest.mark.parametrize("is_marked", [True, False])
def test_of_a_separate_part_the_source_is_named_only_where_it_is_known(
    is_marked: bool,
) -> None:
    """A part 0.3 m off, and one that crosses without a joint."""
    cut = rectangular(0.3, 0.2)
    drawing = drawing_from_runs(
        [
            ("main", np.array([[0.0, 0, 0], [8, 0, 0]]), cut),
            ("next", np.array([[8.3, 0, 0], [12, 0, 0]]), cut),
            ("over", np.array([[4.0, -1, 0], [4, 1, 0]]), cut),
        ],
        attributes={"main": Attributes(source=True, source_at_end=False)}
        if is_marked
        else {},
    )
    found = audit(drawing, Schedule()).findings
    said = [one for one in found if "a separate part of" in one.what]
    assert len(said) == 2
    for one in said:
        words = f"{one.sentence} {one.effect}"
        assert ("that the source does not reach" in words) == is_marked
        assert ("its terminals get no air" in words) == is_marked
        assert ("its losses are not counted" in words) == is_marked
        assert ("beside the longest one" in words) != is_marked
    assert sum("lines cross at (4, 0, 0) m without" in one.what for one in said) == 1


def test_a_missing_section_is_said_once() -> None:
    runs = [("main", np.array([[0.0, 0, 0], [8, 0, 0]]), None)]
    source = {"main": Attributes(source=True, source_at_end=False)}
    drawing = drawing_from_runs(runs, attributes=source)
    found = audit(drawing, Schedule(terminals={"main": TerminalSpec(0.3)})).findings
    (said,) = [one for one in found if "section" in one.what]
    assert said.severity == Severity.ERROR


def test_what_is_in_a_drawing_is_listed_in_either_unit(
    capsys: pytest.CaptureFixture[str],
) -> None:
    """The riser of the house: 7.5 ft of 20 by 8 in, as its script draws it."""
    house = Path(__file__).parents[1] / "examples" / "hillside_house" / "house.glb"
    for option, row, total in (
        ("inch-pound", "20×8 in 7.50", "ft in all"),
        ("metric", "508×203.2 mm 2.286", "m in all"),
    ):
        assert main(["check", str(house), "--units", option]) == 0
        printed = " ".join(capsys.readouterr().out.split())
        assert f"riser {row}" in printed
        assert total in printed


@pytest.mark.parametrize("stretch", [1.0, 1.0001, 0.4])
@pytest.mark.parametrize(
    "copy",
    [
        [(8, 0, 3), (4, 0, 3), (0, 0, 3)],  # against the air, with a vertex more
        [(0, 0, 3), (5, 0, 3)],  # a part of it, from the same start
        [(2, 0, 3), (3, 0, 3), (8, 0, 3)],
        [(8, 0, 3), (5, 0, 3)],
    ],
)
def test_a_run_that_lies_on_another_is_no_loop_and_no_branch(
    copy: list[tuple[float, float, float]], stretch: float
) -> None:
    """Whatever vertices the two of them have."""
    drawing = drawing_from_runs(
        [
            ("stem", line((-3, 0, 3), (0, 0, 3)), WIDE),
            ("main", line((0, 0, 3), (8, 0, 3)), WIDE),
            ("copy", line(*copy), WIDE),
            ("on", line((8, 0, 3), (8, 4, 3)), WIDE),
        ],
        attributes={"stem": Attributes(source=True)},
    )
    moved = replace(drawing, points=drawing.points * [stretch, 1.0, 1.0])
    graph = build(moved, Schedule(terminals={"on": TerminalSpec(0.3)}))
    assert graph.loops is None
    assert len(graph.legs.duct) == 0
    assert graph.ducts.length.sum() == pytest.approx(11 * stretch + 4, abs=0.5)
    said = one(graph.notices, "drawn twice over the same stretch")
    assert "'copy'" in said.what


def test_lines_drawn_from_the_fan_to_each_terminal_share_their_trunk() -> None:
    drawing = drawing_from_runs(
        [
            ("far", line((0, 0, 3), (8, 0, 3)), WIDE),
            ("near", line((0, 0, 3), (5, 0, 3), (5, 4, 3)), WIDE),
        ],
        attributes={"far": Attributes(source=True, source_at_end=False)},
    )
    ends = {"far": TerminalSpec(0.3), "near": TerminalSpec(0.1)}
    graph = build(drawing, Schedule(terminals=ends))
    assert graph.ducts.length.tolist() == pytest.approx([5, 3, 4])
    assert sorted(graph.legs.duct.tolist()) == [1, 2]
    assert "for 5 m" in one(graph.notices, "lie on each other").what
    copied = drawing_from_runs(
        [
            ("far", line((0, 0, 3), (8, 0, 3)), WIDE),
            ("near", line((0, 0, 3), (5, 0, 3)), WIDE),
        ],
        attributes={"far": Attributes(source=True, source_at_end=False)},
    )
    with pytest.raises(BadInput, match="'near': all of that run lies on others"):
        build(copied, Schedule(terminals=ends))


@pytest.mark.parametrize(("degrees", "is_on"), [(0.3, True), (1.0, False)])
def test_a_branch_that_leaves_almost_along_its_main_stays_one(
    degrees: float, is_on: bool
) -> None:
    """The first chord of a fine curve, 20 mm long, lies within the tolerance."""
    turn = np.radians([degrees, degrees, 20.0])
    chords = np.stack([np.cos(turn), np.sin(turn), 0 * turn], axis=1)
    chords *= [[0.02], [0.02], [4.0]]
    curve = np.concatenate([[[2.0, 0, 3]], chords]).cumsum(axis=0)
    drawing = drawing_from_runs(
        [
            ("stem", line((0, 0, 3), (2, 0, 3)), WIDE),
            ("main", line((2, 0, 3), (9, 0, 3)), WIDE),
            ("curve", curve, WIDE),
        ],
        attributes={"stem": Attributes(source=True)},
    )
    assert any("on each other" in n.what for n in join(drawing).notices) == is_on


def drop(at: float, rise: float, level: float) -> list[list[float]]:
    """A branch of a main along X at a height of 3 m: so far up, then so far along Y."""
    return [[at, 0, 3], [at, 0, 3 + rise], [at, level, 3 + rise]]


def lying(*ways: list[list[float]], up: str = "the format") -> list[str]:
    """What is said of branches whose file has Y up, as the reader turned them."""
    runs = {f"branch {row}": np.array(way, float) for row, way in enumerate(ways)}
    drawing = drawing_from_runs(
        [
            ("main", line((0, 0, 3), (9, 0, 3)), WIDE),
            *((name, way, SMALL) for name, way in runs.items()),
        ],
        flows=dict.fromkeys(runs, 0.1),
        attributes={"main": Attributes(source=True, source_at_end=False)},
    )
    shut = Schedule(terminals={"main": TerminalSpec(0.0, is_closed=True)})
    seen = build(replace(drawing, up="y", up_origin=up), shut).notices
    return [one.sentence for one in seen if "lies on its side" in one.what]


BOTH_SIDES = [drop(1, 2, 0.5), drop(2, -2, 0.5), drop(3, 2, 0.5)]
LEVEL = [
    [[at, 0.0, 3], [at, y, 3], [at + 0.5, y, 3]] for at, y in ((5, 3.0), (7, -3.0))
]


def test_a_layout_that_lies_on_its_side_is_told_of() -> None:
    (said,) = lying(*BOTH_SIDES)
    assert "3 ends run level to one side and 3 branches leave upward and down" in said
    assert "if it was written with Z up, say --up z" in said
    assert lying(drop(1, 2, -0.5), drop(2, -2, -0.5), drop(3, 2, -0.5))
    # Three of four ends are enough, three of five are not, nor are two.
    assert lying(*BOTH_SIDES, LEVEL[0])
    assert not lying(*BOTH_SIDES, *LEVEL)
    assert not lying(*BOTH_SIDES[:2])
    # All to one side, where the ends are not at the heights of storeys.
    lengths = enumerate((2, 2.6, 3.4), 1)
    (said,) = lying(*(drop(at, length, 0.5) for at, length in lengths))
    assert "leave upward to ends at three heights within 2 m (6.6 ft)" in said
    # Said by the option, or read with Z up unless it is said otherwise.
    assert not lying(*BOTH_SIDES, up="option")


def test_a_glb_that_a_script_wrote_with_z_up_is_told_of(tmp_path: Path) -> None:
    """The format has Y up: what the writer turns, turned once more before."""
    runs: list[Any] = [("main", line((0, 0, 3), (9, 0, 3)), WIDE)]
    for at, side in ((1.0, 2.0), (2.0, -2.0), (3.0, 2.0)):
        way = line((at, 0, 3), (at, side, 3), (at, side, 2.5))
        runs.append((f"branch {at:g}", way, SMALL))
    flows = dict.fromkeys([name for name, _, _ in runs[1:]], 0.1)
    source = {"main": Attributes(source=True, source_at_end=False)}
    write_gltf(
        drawing_from_runs(
            [(name, way[:, [0, 2, 1]] * [1, -1, 1], cut) for name, way, cut in runs],
            flows=flows,
            attributes=source,
        ),
        tmp_path / "script.glb",
    )

    def said(up: str | None) -> bool:
        drawing = read(tmp_path / "script.glb", up=up)
        assert (drawing.points[:, 2].min() == 2.5) == (up == "z")
        seen = audit(drawing, Schedule(terminals={"main": TerminalSpec(0.1)}))
        return any("lies on its" in one.what for one in seen.findings)

    assert said(None)
    assert not said("z")


@pytest.mark.parametrize(
    "ways",
    [
        [drop(at, 2, 0.5) for at in (1, 2, 3, 4)],  # stacks in a wall
        [drop(at, -2, -0.5) for at in (1, 2, 3, 4)],
        # The same on three storeys, and low and high on one.
        [drop(at, rise, 0.5) for at, rise in ((1, 0.8), (2, 3.5), (3, 6.2), (4, 3.6))],
        [drop(at, rise, 0.5) for at, rise in ((1, 0.6), (2, 2.4), (3, 0.7))],
        [drop(at, side * 2, side * 0.5) for at, side in enumerate((1, -1, 1, -1), 1)],
        # Level branches to both sides with a drop to a diffuser, or as they are.
        [[[at, 0, 3], [at, y, 3], [at, y, 2.5]] for at, y in enumerate((3, -3, 3), 1)],
        [[[at, 0.0, 3], [at, 3, 3]] for at in (1, 2, 3, 4)],
    ],
)
def test_ordinary_layouts_do_not_lie(ways: list[list[list[float]]]) -> None:
    assert not lying(*ways)


@pytest.mark.parametrize(("angle", "told"), [(30.0, True), (28.0, False)])
def test_only_steep_branches_tell_that_a_layout_lies(angle: float, told: bool) -> None:
    x, z = np.cos(np.radians(angle)), np.sin(np.radians(angle))
    ways = [
        [[at, 0, 3], [at + x, 0, 3 + side * z], [at + x, 0.5, 3 + side * z]]
        for at, side in ((1.0, 1), (3.0, -1), (5.0, 1))
    ]
    assert bool(lying(*ways)) == told


@pytest.mark.parametrize("is_known", [True, False])
def test_a_crossing_that_parts_off_a_run_is_told_once_with_its_cause_first(
    is_known: bool,
) -> None:
    cut = rectangular(0.4, 0.3)
    lines: dict[str, list[list[float]]] = {
        "a": [[0, 0, 3], [30, 0, 3]],
        "b": [[4, -3, 3], [4, 3, 3]],  # crosses it, once and again further on
        "c": [[6, 0.5, 2], [6, 0.5, 4]],  # crosses nothing
    }
    lines["b"] += [[7, 3, 3], [7, -3, 3]]
    attributes = {"a": Attributes(source=True, source_at_end=False)}
    drawing = drawing_from_runs(
        [(name, np.array(points, float), cut) for name, points in lines.items()],
        attributes=attributes if is_known else {},
    )
    found = audit(drawing, Schedule(terminals={"a": TerminalSpec(0.1)})).findings
    first, second = (one for one in found if "the lines cross" in one.what)
    parts = [one for one in found if "a separate part" in one.what]
    assert len(parts) == 2  # that of 'c' tells of the gap
    (crossing,) = (one for one in parts if one in (first, second))
    assert crossing.what.startswith("the lines cross at (")
    assert "in a separate part of 15 m (49.2 ft)" in crossing.what
    assert "put a vertex there" in crossing.remedy
    assert "in the result" in crossing.effect
