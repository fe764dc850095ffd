"""A drawing written in another format is the same drawing."""

from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest
from routes import drawn

from elbowroom.layout import (
    Attributes,
    BadInput,
    Drawing,
    Obstacle,
    Schedule,
    Section,
    Severity,
    SourceSpec,
    build,
    drawing_from_runs,
    flat_oval,
    length_words,
    read,
    read_obstacles,
    read_schedule,
    rectangular,
    round_section,
    write,
    write_gltf,
)
from elbowroom.physics import analyse, with_airflows
from elbowroom.viewer import main

EXAMPLES = Path(__file__).parents[1] / "examples"
ROUTES = [
    EXAMPLES / "reading_room" / "under.glb",
    EXAMPLES / "reading_room" / "sidestep.glb",
    EXAMPLES / "hillside_house" / "house.glb",
]
PLANS = ["schedule.toml", "schedule.toml", "house.schedule.toml"]


def losses(drawing: Drawing, plan: Path) -> dict[str, float]:
    said, _ = with_airflows(read_schedule(plan))
    found = analyse(build(drawing, said, other_drawings=_others(plan)))
    return dict(zip(found.graph.terminals.name, found.path_loss.tolist(), strict=True))


def _others(plan: Path) -> list[Sequence[str]]:
    paths = plan.parent.glob("*.glb")
    return [read(path).names for path in paths if path.stem != "beam"]


@pytest.mark.parametrize("suffix", ["glb", "dxf", "vtp"])
@pytest.mark.parametrize(("route", "plan"), [*zip(ROUTES, PLANS, strict=True)])
def test_the_analysis_is_the_same(
    route: Path, plan: str, suffix: str, tmp_path: Path
) -> None:
    before = read(route)
    path = tmp_path / f"again.{suffix}"
    assert write(before, path) == []
    after = read(path, unit="m", up=None if suffix == "glb" else "z")
    assert after.names == before.names
    found = losses(after, route.parent / plan)
    assert found == pytest.approx(losses(before, route.parent / plan), rel=1e-9)


@pytest.mark.parametrize("suffix", ["glb", "dxf", "vtp"])
def test_everything_that_is_said_of_a_run_comes_back(
    suffix: str, tmp_path: Path
) -> None:
    before = drawing_from_runs(
        [
            ("main & <more>", [[0, 0, 0], [4, 0, 0], [4, 0, 3]], flat_oval(0.6, 0.3)),
            ("b", [[2, 0, 0], [2, 3, 0]], round_section(0.2)),
        ],
        flows={"b": 0.2},
        attributes={
            "main & <more>": Attributes(
                source=True, source_at_end=False, roughness=1e-3, roll=0.5
            ),
            "b": Attributes(
                terminal="hall, north",
                bend_radius=0.25,
                up=(0.0, 1.0, 0.0),
                flexible=True,
            ),
        },
    )
    path = tmp_path / f"a.{suffix}"
    write(before, path)
    after = read(path)
    assert after.names == before.names
    assert after.points == pytest.approx(before.points)
    assert after.shape.tolist() == before.shape.tolist()
    assert after.width == pytest.approx(before.width)
    assert after.height == pytest.approx(before.height)
    np.testing.assert_allclose(after.flow, before.flow)
    for run, said in before.attributes.items():
        found = after.attributes[run]
        assert found.source == said.source
        assert found.source_at_end == said.source_at_end
        assert found.terminal == said.terminal
        assert found.up == said.up
        assert found.roughness == said.roughness
        assert found.bend_radius == said.bend_radius
        assert found.flexible == said.flexible
        assert (found.roll is None) == (said.roll is None)
        if said.roll is not None:
            assert found.roll == pytest.approx(said.roll)


def test_obj_keeps_points_and_sections_and_says_what_it_loses(tmp_path: Path) -> None:
    before = drawn()
    path = tmp_path / "a.obj"
    (said,) = write(before, path)
    assert "left out" in said.what
    after = read(path, up="z")
    assert after.points == pytest.approx(before.points, abs=0.0)
    assert after.width == pytest.approx(before.width)
    assert after.shape.tolist() == before.shape.tolist()


def test_convert(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "room.dxf"
    assert main(["convert", str(ROUTES[0]), str(path)]) == 0
    assert "wrote" in capsys.readouterr().err
    assert main(["check", str(path)]) == 0
    assert "T1" in capsys.readouterr().out
    for words in (
        ["convert", str(path), str(path)],
        ["convert", str(path), str(tmp_path / "a.docx")],
        ["convert", str(path), str(tmp_path / "none" / "a.glb")],
    ):
        assert main(words) == 2


def test_an_unknown_ending_is_refused(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="no format that is written"):
        write(drawn(), tmp_path / "a.step")


@pytest.mark.parametrize("unit", ["in", "ft", "mm", None])
@pytest.mark.parametrize("up", ["y", "z", None])
def test_the_options_that_read_an_obj_read_it_again(
    tmp_path: Path, unit: str | None, up: str | None
) -> None:
    path, again = tmp_path / "a.obj", tmp_path / "b.obj"
    path.write_text(
        "o trunk 24x8in\nv 0 0 0.1\nv 100.3 7 0\nl 1 2\n"
        "o side 600x200\nv 100.3 7 0\nv 100.3 7 30\nl 3 4\n"
    )
    drawing = read(path, unit=unit, up=up)
    write(drawing, again)
    lines = again.read_text().splitlines()
    assert lines[0] == f"# {unit or 'metres'}, {(up or 'z').upper()} up"
    assert "v 100.3 7.0 30.0" in lines
    np.testing.assert_allclose(
        read(again, unit=unit, up=up).points, drawing.points, rtol=1e-12
    )


@pytest.mark.parametrize("suffix", ["obj", "vtp"])
@pytest.mark.parametrize(("unit", "up"), [("mm", None), ("in", "y"), (None, "y")])
def test_what_states_no_unit_is_written_in_any(
    tmp_path: Path, suffix: str, unit: str | None, up: str | None
) -> None:
    """From a file that states metres; read back so it is the same layout."""
    upright = Attributes(up=(0.0, 0.6, 0.8))
    corners = np.array([[0, 0, 3], [4, 0, 3], [4, 2.5, 3.1]])
    before = drawing_from_runs(
        [("a", corners, rectangular(0.4, 0.2))], attributes={"a": upright}
    )
    path, again = tmp_path / "a.glb", tmp_path / f"b.{suffix}"
    write(before, path)
    said = [f"--out-unit={unit}"] * bool(unit) + [f"--out-up={up}"] * bool(up)
    assert main(["convert", str(path), str(again), *said]) == 0
    after = read(again, unit=unit, up=up)
    assert after.points == pytest.approx(read(path).points, abs=1e-9)
    assert (after.width[0], after.height[0]) == (0.4, 0.2)
    if suffix == "vtp":
        found = after.attributes[0].up
        assert found == pytest.approx(read(path).attributes[0].up, abs=1e-12)


def test_up_of_a_run_is_in_the_axes_of_its_file(tmp_path: Path) -> None:
    level, path = Attributes(up=(0.0, 0.0, 1.0)), tmp_path / "a.dxf"
    line = np.array([[0.0, 3, 0], [4, 3, 0]])
    # As DXF has it, whose reader takes Y for up where it is told so.
    write(drawing_from_runs([("a", line, None)], attributes={"a": level}), path)
    assert read(path, up="y").attributes[0].up == (0.0, -1.0, 0.0)
    path = tmp_path / "a.toml"
    path.write_text(
        'unit = "m"\nup = "y"\n[[run]]\nup = [0, 1, 0]\n'
        "points = [[0, 3, 0], [4, 3, 0]]\n"
    )
    assert read(path).attributes[0].up == (0.0, 0.0, 1.0)


def test_what_states_its_unit_is_written_in_no_other(tmp_path: Path) -> None:
    for name in ("a.glb", "a.dxf"):
        with pytest.raises(BadInput, match="states itself that it is in metres"):
            write(drawn(), tmp_path / name, unit="mm")
    with pytest.raises(BadInput, match="'yd' is not known"):
        write(drawn(), tmp_path / "a.obj", unit="yd")


@pytest.mark.parametrize(
    ("section", "words"),
    [
        (rectangular(24 * 0.0254, 8 * 0.0254), "24x8in"),
        (rectangular(12 * 0.0254, 3.25 * 0.0254), "12x3.25in"),
        (round_section(6.5 * 0.0254), "D6.5in"),
        (round_section(0.16), "D160mm"),
        (rectangular(0.6, 0.3), "600x300mm"),
        (rectangular(0.6, 0.254), "600x254mm"),
    ],
)
def test_an_obj_names_a_size_as_it_was_made(
    tmp_path: Path, section: Section, words: str
) -> None:
    path = tmp_path / "a.obj"
    write(drawing_from_runs([("a", np.array([[0.0, 0, 0], [4, 0, 0]]), section)]), path)
    assert f"o a {words}" in path.read_text().splitlines()
    (run,) = read(path).runs
    assert run.section is not None
    assert run.section.width == pytest.approx(section.width, rel=1e-12)


# At coordinates of a map, in steps that single precision does not hold there.
ON_A_MAP = np.array([691234.12, 5334567.31, 503.2])
BENT = np.array([[0.0, 0, 0], [4, 0, 0], [4, 0.74, 0], [8, 0.74, 0]])


@pytest.mark.parametrize("up", [None, (0.0, 1.0, 0.0)])
def test_a_glb_keeps_points_at_map_coordinates(
    up: tuple[float, float, float] | None, tmp_path: Path
) -> None:
    branch = BENT[:2, [1, 0, 2]] + BENT[1]
    before = drawing_from_runs(
        [
            ("a", BENT + ON_A_MAP, rectangular(0.4, 0.2)),
            ("b", branch + ON_A_MAP, rectangular(0.2, 0.2)),
        ],
        attributes={"a": Attributes(up=up)} if up else None,
    )
    path = tmp_path / "a.glb"
    assert write(before, path) == []
    after = read(path)
    np.testing.assert_allclose(after.points, before.points, rtol=0.0, atol=1e-6)
    assert after.points[1].tolist() == after.points[4].tolist()  # they still meet
    if up:
        assert after.attributes[0].up == up


def test_a_solid_beside_it_stays_there_too(tmp_path: Path) -> None:
    corners = np.array([[0.0, 0, 0], [0.3, 0, 0], [0, 0.74, 0], [0, 0, 1]]) + ON_A_MAP
    faces = np.array([[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]])
    path = tmp_path / "a.glb"
    drawing = drawing_from_runs([("a", BENT + ON_A_MAP, None)])
    assert write_gltf(drawing, path, [Obstacle("b", corners, faces, True)]) < 1e-6
    (solid,), _ = read_obstacles(path)
    assert np.ptp(solid.vertices, axis=0) == pytest.approx([0.3, 0.74, 1], abs=1e-6)
    assert solid.vertices.min(axis=0) == pytest.approx(ON_A_MAP, rel=0.0, abs=1e-6)


@pytest.mark.parametrize(
    ("long", "severity"),
    [(150.0, None), (1000.0, Severity.NOTE), (150_000.0, Severity.WARNING)],
)
def test_how_far_a_glb_moves_points_is_said(
    long: float, severity: Severity | None, tmp_path: Path
) -> None:
    # A single number has 24 digits, so half a step of the last one is 2^-25 of it.
    points = [[0.1, 0.1, 0.1], [long + 0.3, 0.7, 0.3]]
    before = drawing_from_runs([("a", points, rectangular(0.4, 0.2))])
    path = tmp_path / "a.glb"
    said = write(before, path)
    moved = np.linalg.norm(read(path).points - before.points, axis=1).max()
    assert [one.severity for one in said] == ([severity] if severity else [])
    for notice in said:
        assert f"by up to {length_words(moved)}" in notice.what
    assert (moved > 1e-5) == (severity is not None)
    assert (moved > 1e-3) == (severity is Severity.WARNING)


def test_near_the_origin_a_glb_has_no_translation(tmp_path: Path) -> None:
    path = tmp_path / "a.glb"
    assert write(drawing_from_runs([("a", BENT + 0.1, None)]), path) == []
    assert b"translation" not in path.read_bytes()


def test_a_mended_copy_says_how_far_its_points_move(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "a.toml"
    path.write_text(
        'unit = "m"\n[[run]]\nname = "a"\nsection = "400x200"\nsource = "start"\n'
        "points = [[0.1, 0, 3], [150000.3, 0, 3], [150000.3, 7.7, 3]]\n"
    )
    assert main(["check", str(path), "--fix", str(tmp_path / "m.glb")]) == 0
    assert "single precision" in capsys.readouterr().err


def test_a_unit_that_overrules_the_file_says_what_it_does_to_lengths(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    route = tmp_path / "a.glb"
    points = [[0, 0, 3], [5, 0, 3]]
    write(drawing_from_runs([("T1", points, rectangular(0.4, 0.3))]), route)
    out = str(tmp_path / "b.obj")
    assert main(["convert", str(route), out, "--unit", "mm"]) == 0
    said = capsys.readouterr().err
    assert "mm was taken from --unit, which makes all lengths 0.001 times" in said
    assert main(["convert", str(route), out, "--unit", "m"]) == 0
    assert "times" not in capsys.readouterr().err


def test_a_run_without_a_section_is_told_keys_that_its_format_has(
    tmp_path: Path,
) -> None:
    """A route by hand refuses those of extras, and an OBJ has names alone."""
    for name, text, has in (
        ("a.obj", "v 0 0 3\nv 5 0 3\no T1\nl 1 2\n", False),
        (
            "a.toml",
            'unit="m"\n[[run]]\nname="T1"\npoints=[[0,0,3],[5,0,3]]\nsource="start"\n',
            True,
        ),
    ):
        route = tmp_path / name
        route.write_text(text)
        with pytest.raises(BadInput) as caught:
            build(read(route), Schedule(source=SourceSpec(at=(0.0, 0.0, 3.0))))
        said = str(caught.value)
        assert "width_m" not in said
        assert ('give it section = "600x300 mm", ' in said) == has
        assert '"600x300 mm" under [sections] in the schedule' in said
