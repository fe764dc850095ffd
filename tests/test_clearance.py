"""How far ducts stay from obstacles, by hand and against boxes known exactly."""

import json
from dataclasses import replace
from pathlib import Path

import manifold3d
import numpy as np
import pytest
import trimesh
from routes import about_z

from elbowroom.layout import (
    Attributes,
    Boxes,
    DuctGraph,
    FloatArray,
    Obstacle,
    Schedule,
    Section,
    Shape,
    Solids,
    SourceSpec,
    TerminalSpec,
    boxes_of,
    build,
    clearances,
    drawing_from_runs,
    duct_clearances,
    overlap_depth,
    read,
    read_obstacles,
    rectangular,
    round_section,
    side_clearances,
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


@pytest.mark.parametrize(("at", "gap"), [(0.12, 0.0197), (0.16, 0.0763)])
def test_a_corner_beside_the_round_end_of_an_oval(at: float, gap: float) -> None:
    """The end of a 600x300 oval is a half circle of 150 mm about y = 0.15: a corner
    that stands `at` beyond its centre on both axes is sqrt(2) at - 0.15 m away."""
    solid = box((2, 0.15 + at, 3 + at), (4, 2, 5))
    found = clearances(duct(Section(Shape.OVAL, 0.6, 0.3)), [solid])
    assert found.nearest is not None
    assert gap - 0.0015 <= found.nearest <= gap + 1e-4
    assert found.nearest == pytest.approx(np.sqrt(2) * at - 0.15, abs=1.5e-3)


def joined(*bodies: Obstacle) -> Obstacle:
    """Boxes that overlap as one closed body."""
    first, *rest = (
        manifold3d.Manifold(
            manifold3d.Mesh(
                one.vertices.astype(np.float32), one.faces.astype(np.uint32)
            )
        )
        for one in bodies
    )
    for one in rest:
        first += one
    mesh = first.to_mesh()
    corners = np.asarray(mesh.vert_properties[:, :3], dtype=np.float64)
    return Obstacle("joined", corners, np.asarray(mesh.tri_verts, np.int64), True)


@pytest.mark.parametrize("section", [rectangular(0.6, 0.3), round_section(0.3)])
@pytest.mark.parametrize(
    ("body", "way"),
    [
        # A deep plate across the duct: down by 0.15 + 0.13, never along it.
        (box((4, -2, 2.87), (4.02, 2, 4)), 0.28),
        # An I-beam, its web across the duct: past the lower flange, not the web.
        (
            joined(
                box((3.95, -2, 2.8), (4.05, 2, 2.82)),
                box((3.995, -2, 2.81), (4.005, 2, 3.59)),
                box((3.95, -2, 3.58), (4.05, 2, 3.6)),
            ),
            0.35,
        ),
        # Deep within a block of 4 m: out by the nearest face.
        (box((-5, -2, 1), (15, 2, 5)), 2.15),
        # A channel open to below, the duct in its web's lower end.
        (
            joined(
                box((3, -2, 2.9), (3.1, 2, 4)),
                box((3, -2, 3.9), (5, 2, 4)),
                box((4.9, -2, 2.9), (5, 2, 4)),
            ),
            0.25,
        ),
    ],
)
def test_an_overlap_is_how_far_the_duct_must_move(
    section: Section, body: Obstacle, way: float
) -> None:
    found = clearances(duct(section), [body])
    assert found.nearest == pytest.approx(-way, abs=2e-3)
    up = np.array([0.0, 0.0, way + 2.5e-3])
    moved = replace(body, vertices=body.vertices + up)
    if body.vertices[:, 2].min() > 2.0:
        after = clearances(duct(section), [moved]).nearest
        assert after is not None
        assert after > 0.0


def test_a_reducing_elbow_stands_where_the_plain_one_does() -> None:
    """900x200 turning at (0, 8) into 600x200: the elbow is that of 900x200, radius 0.9
    about (0.9, 7.1), heel 1.35; a column's corner at (0.1, 8.1) is 1.281 from there.
    The change of section begins at the elbow's end, on the line of the duct behind."""
    column = box((-0.2, 8.1, 2), (0.1, 8.4, 4))
    found = {}
    for width in (0.9, 0.6):
        drawing = drawing_from_runs(
            [
                ("a", [[0, 0, 3], [0, 8, 3]], rectangular(0.9, 0.2)),
                ("b", [[0, 8, 3], [6, 8, 3]], rectangular(width, 0.2)),
            ],
            attributes={"a": Attributes(source=True, source_at_end=False)},
        )
        graph = build(drawing, Schedule(terminals={"b": TerminalSpec(0.5)}))
        shapes = solids(graph)
        found[width] = clearances(shapes, [column]).nearest
    assert found[0.6] == pytest.approx(found[0.9], abs=1e-6)
    assert found[0.6] == pytest.approx(-(1.35 - np.hypot(0.8, 1.0)), abs=5e-3)
    tubes = shapes.tubes
    at = {}
    for number, kind in enumerate(shapes.kind):
        begin, end = tubes.offsets[number], tubes.offsets[number + 1] - 1
        at[kind] = tubes.centre[[begin, end]], tubes.width[[begin, end]]
    assert at["bend"][0] == pytest.approx(np.array([[0, 7.1, 3], [0.9, 8, 3]]))
    length = float(graph.transitions.length[0])
    assert at["transition"][0] == pytest.approx(
        np.array([[0.9, 8, 3], [0.9 + length, 8, 3]])
    )
    assert at["transition"][1].tolist() == [0.9, 0.6]
    assert at["bend"][1].tolist() == [0.9, 0.9]


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
    assert found.other.tolist() == [0, 1]


def branched(side: float, height: float) -> DuctGraph:
    """A main along x, and a branch that turns to run beside it."""
    away = [[6, 0, 3], [6, side, 3], [11, side, 3], [11, side, 3 + height]]
    drawing = drawing_from_runs(
        [
            ("main", [[0, 0, 3], [6, 0, 3]], rectangular(0.6, 0.3)),
            ("on", [[6, 0, 3], [12, 0, 3]], rectangular(0.6, 0.3)),
            ("branch", np.array(away), rectangular(0.3, 0.3)),
        ],
        attributes={"main": Attributes(source=True)},
    )
    flows = {"on": TerminalSpec(0.3), "branch": TerminalSpec(0.3)}
    return build(drawing, Schedule(terminals=flows))


@pytest.mark.parametrize(
    ("side", "required", "gap"),
    [(0.9, 0.0, None), (0.9, 0.5, 0.45), (0.4, 0.0, -0.05), (0.47, 0.05, 0.02)],
)
def test_a_branch_that_runs_beside_its_main(
    side: float, required: float, gap: float | None
) -> None:
    """The main reaches 0.3 m aside and the branch 0.15 m: side - 0.45 m between."""
    found = between_straight_ducts(branched(side, 1.0), required=required)
    assert found == ({} if gap is None else {"on, branch": pytest.approx(gap)})


def between_straight_ducts(graph: DuctGraph, **room: float) -> dict[str, float]:
    """Smallest distance of straight ducts, by the names of the two runs."""
    shapes = solids(graph)
    found = duct_clearances(graph, shapes, **room)
    run = graph.ducts.run
    names = graph.drawing.names
    out: dict[str, float] = {}
    for one, two, distance in zip(
        found.piece.tolist(), found.other.tolist(), found.distance.tolist(), strict=True
    ):
        if shapes.kind[one] == shapes.kind[two] == "duct":
            pair = sorted((run[shapes.row[one]], run[shapes.row[two]]))
            out.setdefault(", ".join(names[row] for row in pair), distance)
    return out


@pytest.mark.parametrize(("along", "is_told"), [(0.54, False), (0.58, True)])
def test_two_sides_may_touch_at_their_fan_within_one_and_a_half_sides(
    along: float, is_told: bool
) -> None:
    """Own choice; a thin duct begins 50 mm beside one that is 0.4 m wide.

    It is nearest about 0.22 m aside of the line: 0.58 m and 0.62 m from the fan.
    """
    supply, back = (
        build(
            drawing_from_runs(
                [("a", line, section)],
                flows={"a": 0.01},
                attributes={"a": Attributes(source=True, source_at_end=False)},
            )
        )
        for line, section in (
            ([[0, 0, 3], [8, 0, 3]], rectangular(0.4, 0.3)),
            ([[along, 0.25, 3], [along, 4, 3]], round_section(0.05)),
        )
    )
    found = side_clearances(supply, solids(supply), back, solids(back), required=0.1)
    assert len(found.distance) == is_told


def test_insulation_counts_on_both_ducts() -> None:
    found = between_straight_ducts(branched(0.6, 1.0), insulation=0.1, required=0.01)
    assert found == {"on, branch": pytest.approx(0.15 - 0.2)}


def boxes(*bodies: FloatArray) -> Boxes:
    offsets = np.cumsum([0, *map(len, bodies)])
    return boxes_of(np.concatenate(bodies), offsets, np.ones(len(bodies), dtype=bool))


def test_overlaps_of_turned_boxes_against_a_solid_modeller() -> None:
    """Which boxes overlap: manifold3d's volume of what they share. How deep: no axis
    parts them by less, and moving one by the depth along some axis parts them."""
    random = np.random.default_rng(7)
    count = 300
    turns = trimesh.transformations.random_rotation_matrix
    pairs = []
    for _ in range(2):
        frames = np.array([turns(random.random(3))[:3, :3] for _ in range(count)])
        half = random.uniform(0.1, 1.0, (count, 3))
        centre = random.uniform(-1.2, 1.2, (count, 3))
        signs = np.array([[i, j, k] for i in (-1, 1) for j in (-1, 1) for k in (-1, 1)])
        corners = centre[:, None] + (signs * half[:, None]) @ frames
        pairs.append((boxes(*corners), corners))
    (one, first), (other, second) = pairs
    assert not np.isnan(one.half).any()
    depth = overlap_depth(one, other)
    for row in range(count):
        bodies = [
            manifold3d.Manifold.hull_points(corners[row].astype(np.float32))
            for corners in (first, second)
        ]
        volume = (bodies[0] ^ bodies[1]).volume()
        if abs(depth[row]) > 1e-5:
            assert (volume > 0.0) == (depth[row] > 0.0)
    deep = depth > 0.0
    way = np.array([turns(random.random(3))[:3, 0] for _ in range(200)])
    moved = []
    for step in way:
        there = replace(other, centre=other.centre + 0.98 * depth[:, None] * step)
        moved.append(overlap_depth(one, there) > 0.0)
    assert np.array(moved)[:, deep].all()


def test_what_is_no_box_is_left_to_the_solid_modeller() -> None:
    corners = np.array(
        [[0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0], [0, 0, 1], [1, 0, 1], [1, 1, 1.2]]
    )
    wedge = np.concatenate([corners, [[0.0, 1.0, 1.0]]])
    assert np.isnan(boxes(wedge, corners).half).all()


def test_a_solid_in_another_unit(tmp_path: Path) -> None:
    """The example's beam in millimetres, in a format that states no unit."""
    (beam, *_), _ = read_obstacles(ROOM / "beam.glb")
    path = tmp_path / "beam.stl"
    trimesh.Trimesh(beam.vertices * 1e3, beam.faces).export(path)
    _, misread = read_obstacles(path)
    assert any("ft) long" in notice.what for notice in misread)
    told = "say the unit of these solids (unit, or --obstacles-unit of a command)"
    assert sum(told in notice.remedy for notice in misread) == 2
    (again,), said = read_obstacles(path, unit="mm")
    assert said == ()
    low, high = again.vertices.min(axis=0), again.vertices.max(axis=0)
    assert low == pytest.approx(beam.vertices.min(axis=0), abs=1e-6)
    assert high == pytest.approx(beam.vertices.max(axis=0), abs=1e-6)


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


@pytest.mark.parametrize("key", ["insulation", "required", "enough"])
@pytest.mark.parametrize("value", [float("nan"), -0.1])
def test_a_thickness_or_distance_that_is_none_is_refused(
    key: str, value: float
) -> None:
    solid = duct(rectangular(0.4, 0.3))
    beam = box((1.0, -1.0, 3.5), (2.0, 1.0, 3.7))
    with pytest.raises(ValueError, match=f"{key} must be 0 m or more, got {value:g} m"):
        clearances(solid, [beam], **{key: value})
