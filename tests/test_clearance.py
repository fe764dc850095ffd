"""How far ducts stay from obstacles, by hand and against boxes known exactly."""

import json
from pathlib import Path

import numpy as np
import pytest
import trimesh
from routes import about_z

from elbowroom.layout import (
    Attributes,
    Obstacle,
    Schedule,
    Section,
    Solids,
    SourceSpec,
    TerminalSpec,
    build,
    clearances,
    drawing_from_runs,
    read,
    read_obstacles,
    rectangular,
    round_section,
    solids,
    write_gltf,
)

DATA = Path(__file__).parent / "data"
ROOM = Path(__file__).parents[1] / "examples" / "reading_room"


def duct(section: Section, turn: float = 0.0) -> Solids:
    """A straight duct along x at a height of 3 m."""
    points = np.array([[0, 0, 3], [8, 0, 3]]) @ about_z(turn).T
    drawing = drawing_from_runs(
        [("a", points, section)],
        attributes={"a": Attributes(source=True, source_at_end=False)},
    )
    return solids(build(drawing, Schedule(terminals={"a": TerminalSpec(0.3)})))


def box(low: tuple[float, ...], high: tuple[float, ...], turn: float = 0.0) -> Obstacle:
    mesh = trimesh.creation.box(bounds=[low, high])
    vertices = np.asarray(mesh.vertices) @ about_z(turn).T
    return Obstacle("box", vertices, np.asarray(mesh.faces), True)


def test_the_beam_of_the_library_route() -> None:
    """EXPECTED.json: beam 0.2 x 0.4 m about z 3.15; the trunk's top is at 2.85."""
    expected = json.loads((DATA / "routes" / "EXPECTED.json").read_text())
    beam = expected["beam"]
    y = sorted((beam["from_m"][1], beam["to_m"][1]))
    x, z = beam["from_m"][0], beam["from_m"][2]
    w, d = beam["width_m"], beam["depth_m"]
    solid = box((x - w / 2, y[0], z - d / 2), (x + w / 2, y[1], z + d / 2))
    drawing = read(DATA / "routes" / "library_lines.glb")
    plan = Schedule(
        source=SourceSpec(at=(0.0, 0.0, 3.2)), terminals={"T4": TerminalSpec(0.3)}
    )
    found = clearances(solids(build(drawing, plan)), [solid])
    assert found.nearest == pytest.approx(0.10, abs=1e-6)


@pytest.mark.parametrize("turn", [0.0, 0.4, 1.9])
@pytest.mark.parametrize("gap", [0.5, 0.05, 0.001, -0.02])
def test_a_box_over_a_rectangular_duct(gap: float, turn: float) -> None:
    solid = box((3, -1, 3.15 + gap), (3.3, 1, 4.5), turn)
    found = clearances(duct(rectangular(0.6, 0.3), turn), [solid])
    assert found.nearest == pytest.approx(gap, abs=1e-6)


@pytest.mark.parametrize("gap", [0.2, 0.01])
def test_a_box_over_a_round_duct_is_never_overstated(gap: float) -> None:
    found = clearances(duct(round_section(0.4)), [box((3, -1, 3.2 + gap), (3.3, 1, 5))])
    assert found.nearest is not None
    assert gap - 0.002 <= found.nearest <= gap + 1e-6


def test_a_corner_in_space_by_pythagoras() -> None:
    """From the duct's edge at (y 0.3, z 3.15) to a box 0.3 and 0.4 m away: 0.5 m."""
    solid = box((2, 0.6, 3.55), (4, 2, 5))
    found = clearances(duct(rectangular(0.6, 0.3)), [solid])
    assert found.nearest == pytest.approx(0.5, abs=1e-6)


def test_insulation_takes_its_thickness() -> None:
    solid = box((3, -1, 3.25), (3.3, 1, 4.5))
    found = clearances(duct(rectangular(0.6, 0.3)), [solid], insulation=0.04)
    assert found.nearest == pytest.approx(0.06, abs=1e-6)


def test_a_solid_that_is_not_closed_is_still_answered() -> None:
    solid = box((3, -1, 3.35), (3.3, 1, 4.5))
    open_solid = Obstacle("open box", solid.vertices, solid.faces[:-2], False)
    found = clearances(duct(rectangular(0.6, 0.3)), [open_solid])
    assert found.nearest == pytest.approx(0.2, abs=1e-6)


def test_every_pair_within_the_required_distance_is_reported() -> None:
    near = box((3, -1, 3.2), (3.3, 1, 4))
    far = box((6, -1, 3.5), (6.3, 1, 4))
    ducts = duct(rectangular(0.6, 0.3))
    found = clearances(ducts, [near, far], required=0.5)
    assert found.distance.tolist() == pytest.approx([0.05, 0.35], abs=1e-6)
    assert found.obstacle.tolist() == [0, 1]


def test_nothing_to_be_near_to() -> None:
    assert clearances(duct(rectangular(0.6, 0.3)), []).nearest is None


def test_the_examples_beam_is_read_with_z_up() -> None:
    found, said = read_obstacles(ROOM / "beam.glb")
    assert found
    assert not [notice for notice in said if notice.severity == "error"]
    heights = np.concatenate([solid.vertices for solid in found])[:, 2]
    assert 2.0 < heights.max() < 5.0


def test_a_written_drawing_reads_back(tmp_path: Path) -> None:
    before = read(ROOM / "under.glb")
    path = tmp_path / "again.glb"
    write_gltf(before, path)
    after = read(path)
    assert after.names == before.names
    for one, other in zip(before.runs, after.runs, strict=True):
        assert one.points == pytest.approx(other.points, abs=1e-6)
        assert one.section == other.section
