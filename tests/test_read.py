"""Drawings by other writers read to what was drawn.

`data/routes/EXPECTED.json` says what each file holds; it was written with the files and
read back edge by edge with an independent reader.
"""

import json
import shutil
from pathlib import Path
from typing import Any

import ezdxf.filemanagement
import ezdxf.units
import numpy as np
import pytest

from elbowroom.layout import (
    BadInput,
    Drawing,
    Schedule,
    Shape,
    SourceSpec,
    TerminalSpec,
    Topology,
    build,
    join,
    loops,
    read,
    read_obstacles,
)

READING_ROOM = Path(__file__).parents[1] / "examples" / "reading_room"
ROUTES = Path(__file__).parent / "data" / "routes"
EXPECTED: dict[str, Any] = json.loads((ROUTES / "EXPECTED.json").read_text())
FILES = sorted(
    name
    for name in EXPECTED["files"]
    if name.endswith((".glb", ".gltf", ".obj", ".dxf", ".vtp", ".vtk", ".vtu"))
)
# Its bends are drawn as arcs: tested by themselves.
FILES.remove("plan_bulge_arc_r2000.dxf")
NEAR = EXPECTED["tolerance_m"]
# What the file does not say and its user must: unit, axis.
TOLD = {
    "library_mm_unscaled.glb": {"unit": "mm"},
    "library_blender_zup.obj": {"unit": "mm", "up": "z"},
    "library_blender.obj": {"up": "y"},
    "library_vtk.obj": {"up": "z"},
    "library_r12_mm.dxf": {"unit": "mm"},
    "library_legacy_mm.vtk": {"unit": "mm"},
}


def expected(name: str) -> dict[str, Any]:
    content: dict[str, Any] = EXPECTED["files"][name]
    return content


def read_as_told(name: str) -> tuple[Drawing, Topology]:
    drawing = read(ROUTES / name, **TOLD.get(name, {}))
    return drawing, join(drawing, NEAR)


def matched(drawing: Drawing, polyline: dict[str, Any]) -> int:
    """Run with the points of an expected polyline, forward or backward."""
    wanted = np.array(polyline["points_m"])
    if polyline.get("closed"):
        for run in range(drawing.run_count):
            points = drawing.run(run).points
            if len(points) == len(wanted) and np.allclose(points[0], points[-1]):
                near = np.abs(points[:, None] - wanted).max(axis=2).min(axis=1)
                if near.max() <= NEAR:
                    return run
    for run in range(drawing.run_count):
        points = drawing.run(run).points
        for way in (points, points[::-1]):
            if way.shape == wanted.shape and np.abs(way - wanted).max() <= NEAR:
                return run
    raise AssertionError(f"no run follows {polyline['points_m']}")


@pytest.mark.parametrize("name", FILES)
def test_every_polyline_is_there_once(name: str) -> None:
    drawing, _ = read_as_told(name)
    polylines = expected(name)["polylines"]
    runs = [matched(drawing, polyline) for polyline in polylines]
    assert sorted(runs) == list(range(drawing.run_count))
    for run, polyline in zip(runs, polylines, strict=True):
        assert drawing.run(run).length == pytest.approx(polyline["length_m"], abs=NEAR)


@pytest.mark.parametrize("name", FILES)
def test_sections_and_airflows(name: str) -> None:
    drawing, _ = read_as_told(name)
    if expected(name).get("sections_known") is False:
        assert set(drawing.shape.tolist()) == {int(Shape.NONE)}
        return
    for polyline in expected(name)["polylines"]:
        run, section = matched(drawing, polyline), polyline["section"]
        if section["shape"] == "round":
            assert drawing.shape[run] == Shape.ROUND
            assert drawing.width[run] == pytest.approx(section["diameter_m"])
        else:
            assert drawing.shape[run] == Shape.RECTANGULAR
            assert drawing.width[run] == pytest.approx(section["width_m"])
            assert drawing.height[run] == pytest.approx(section["height_m"])
        if expected(name).get("flows_known") is not False and polyline.get("flow_m3s"):
            assert drawing.flow[run] == pytest.approx(polyline["flow_m3s"])


@pytest.mark.parametrize("name", FILES)
def test_joints_ends_and_parts(name: str) -> None:
    drawing, topology = read_as_told(name)
    wanted = expected(name)
    assert len(topology.junctions) == wanted["junction_count"]
    places = topology.nodes[topology.junctions]
    for point in wanted["junctions_m"]:
        assert np.linalg.norm(places - np.array(point), axis=1).min() <= NEAR
    assert len(topology.free_ends) == wanted["free_end_count"]
    assert topology.component_count == wanted["component_count"]
    assert topology.cycle_count == wanted.get("cycle_count", 0)
    length = sum(drawing.run(run).length for run in range(drawing.run_count))
    assert length == pytest.approx(wanted["total_length_m"], abs=NEAR)


def test_bends_are_those_of_the_drawing() -> None:
    """Vertices at which a polyline turns, and by how much."""
    for name in FILES:
        drawing, _ = read_as_told(name)
        for polyline in expected(name)["polylines"]:
            if polyline.get("closed"):
                continue
            points = drawing.run(matched(drawing, polyline)).points
            along = np.diff(points, axis=0)
            along /= np.linalg.norm(along, axis=1)[:, None]
            cosine = np.clip((along[:-1] * along[1:]).sum(axis=1), -1.0, 1.0)
            turns = np.degrees(np.arccos(cosine))
            found = sorted(turns[turns > 0.5])
            wanted = sorted(bend["angle_deg"] for bend in polyline["bends"])
            assert found == pytest.approx(wanted, abs=EXPECTED["tolerance_deg"])


def test_bulges_arcs_and_a_mirrored_entity_of_a_plan() -> None:
    """Arcs come back as bends of their radius; points stand for tangents' meetings."""
    wanted = expected("plan_bulge_arc_r2000.dxf")
    drawing = read(ROUTES / "plan_bulge_arc_r2000.dxf")
    source = SourceSpec(at=(0.0, 0.0, 3.2))
    flows = {name: TerminalSpec(0.3) for name in drawing.names}
    graph = build(drawing, Schedule(source=source, terminals=flows))
    assert len(graph.topology.junctions) == wanted["junction_count"]
    assert len(graph.topology.free_ends) == wanted["free_end_count"]
    bends = [bend for line in wanted["polylines"] for bend in line["bends"]]
    assert len(graph.bends.duct) == len(bends)
    for bend in bends:
        apart = np.linalg.norm(graph.bends.corner - np.array(bend["at_m"]), axis=1)
        row = int(np.argmin(apart))
        assert apart[row] <= NEAR
        assert np.degrees(graph.bends.angle[row]) == pytest.approx(
            bend["angle_deg"], abs=EXPECTED["tolerance_deg"]
        )
        assert graph.bends.radius[row] == pytest.approx(bend["radius_m"], rel=3e-3)
    length = float(graph.ducts.length.sum())
    assert length == pytest.approx(wanted["total_length_m"], rel=1e-4)
    ends = graph.nodes[graph.topology.free_ends]
    assert np.linalg.norm(ends - np.array([8.0, 5.0, 3.2]), axis=1).min() <= NEAR


@pytest.mark.parametrize(
    ("name", "runs", "length", "free"),
    [
        # mozman/ezdxf, MIT: examples/edgeminer/1_polylines.dxf, length and chains by
        # ezdxf.edgeminer; integration_tests/data: bin_dxf_r14.dxf, ASCII_R12.dxf.
        ("lines_arcs_chains.dxf", 10, 1961.1711, 4),
        ("binary_r14.dxf", 1, 619.1506, 2),
        ("r12_insert_unicode_layer.dxf", None, None, None),
    ],
)
def test_drawings_by_other_people(
    name: str, runs: int | None, length: float | None, free: int | None
) -> None:
    drawing = read(ROUTES.parent / "dxf" / name, unit="m")
    total = sum(run.length for run in drawing.runs)
    if runs is None:
        assert total == pytest.approx(14.9269, abs=1e-3)
        assert drawing.names == ["ΛΑΓΕΡÄÜÖ"]
        return
    assert drawing.run_count == runs
    assert total == pytest.approx(length, rel=2e-3)
    assert len(join(drawing, NEAR).free_ends) == free


@pytest.mark.parametrize("name", [
    "library_ascii.vtp",
    "library_legacy_mm.vtk",
    "library_ifc4_mm.ifc",
    "library_r2018_blocks_m.dxf",
    "library_vtk.obj",
    "ring_loop_datauri.gltf",
])  # fmt: skip
def test_a_byte_order_mark_changes_nothing(name: str, tmp_path: Path) -> None:
    """Text editors write one; `data/bad/ifc_with_bom.ifc` has another test."""
    (tmp_path / name).write_bytes(b"\xef\xbb\xbf" + (ROUTES / name).read_bytes())
    plain, marked = read(ROUTES / name), read(tmp_path / name)
    assert np.array_equal(plain.points, marked.points)
    assert list(plain.names) == list(marked.names)
    assert plain.notices == marked.notices


def test_layers_that_are_no_ducts_are_left_out_and_named() -> None:
    drawing = read(ROUTES / "library_r12_mm.dxf", unit="mm")
    said = " ".join(notice.sentence for notice in drawing.notices)
    assert "'STEEL'" in said
    assert "STEEL" not in drawing.names


def test_a_dxf_without_a_unit_is_warned_about() -> None:
    said = [n.sentence for n in read(ROUTES / "library_r12_mm.dxf").notices]
    assert any("states no unit" in sentence for sentence in said)
    assert any("--unit mm" in sentence for sentence in said)


def test_the_loop_is_named_by_its_corners() -> None:
    _, topology = read_as_told("ring_loop.gltf")
    (loop,) = loops(topology)
    assert len(set(loop)) == 4


def test_metres_that_must_be_millimetres_are_remarked_on() -> None:
    said = [n.sentence for n in read(ROUTES / "library_mm_unscaled.glb").notices]
    assert any("--unit mm" in sentence for sentence in said), said


def test_sections_from_names_say_the_unit_that_was_taken() -> None:
    drawing = read(ROUTES / "library_trimesh.glb")
    said = " ".join(notice.sentence for notice in drawing.notices)
    assert "taken as millimetres" in said
    assert drawing.section_origin[0] == "'600x300' in the name, taken as millimetres"


def test_obj_without_unit_and_axis_lists_what_was_taken() -> None:
    drawing = read(ROUTES / "library_vtk.obj")
    assert "assumed" in drawing.unit_origin
    assert "assumed" in drawing.up_origin


@pytest.mark.parametrize(
    ("name", "stated", "up"),
    [
        ("library_trimesh.glb", "m", "z"),
        ("library_ifc4_mm.ifc", "mm", None),
        ("library_ifc2x3_ft.ifc", "ft", None),
        ("header.dxf", "cm", "y"),
        ("route.toml", "m", "y"),
    ],
)
def test_an_option_that_contradicts_the_file_is_said(
    name: str, stated: str, up: str | None, tmp_path: Path
) -> None:
    path = ROUTES / name
    if name.endswith(".dxf"):
        path = tmp_path / name
        document = ezdxf.filemanagement.new()
        document.units = ezdxf.units.CM
        document.modelspace().add_line((0, 0), (100, 0))
        document.saveas(path)
    elif name.endswith(".toml"):
        path = tmp_path / name
        path.write_text(
            f'unit = "{stated}"\nup = "z"\n[[run]]\nname = "a"\n'
            'section = "300x200 mm"\npoints = [[0, 0, 0], [3, 0, 0]]\n'
        )
    drawing = read(path, unit="in", up=up)
    said = [n.sentence for n in drawing.notices if "--" in n.sentence]
    assert any(f"says {stated}; in was taken from --unit" in one for one in said), said
    if up is not None:
        words = f"is up; {up.upper()} was taken from --up"
        assert any(words in one for one in said), said
    # Who says the same as the file, or nothing, hears nothing.
    for unit in (stated, None):
        kept = read(path, unit=unit).notices
        assert not any("was taken from" in n.sentence for n in kept)


def test_all_primitive_modes_of_the_public_sample() -> None:
    """KhronosGroup/glTF-Sample-Models, MeshPrimitiveModes (CC0): figures by hand.

    Spokes of a hexagon of radius 1 as LINES, its rim as LINE_LOOP and LINE_STRIP;
    points and triangles are no ducts.
    """
    drawing = read(ROUTES.parent / "gltf" / "MeshPrimitiveModes.gltf")
    topology = join(drawing, NEAR)
    length = sum(drawing.run(run).length for run in range(drawing.run_count))
    assert length == pytest.approx(5.9999 + 6.9999 + 5.9999, abs=2e-3)
    degree = np.bincount(topology.ends.ravel())
    assert degree.max() == 6
    assert topology.component_count == 3


def test_files_are_told_by_content_and_not_by_name(tmp_path: Path) -> None:
    for name, given in (
        ("library_lines.glb", "route.obj"),
        ("library_vtk.obj", "route.glb"),
        ("ring_loop_datauri.gltf", "route.txt"),
    ):
        shutil.copy(ROUTES / name, tmp_path / given)
        assert read(tmp_path / given).run_count == read(ROUTES / name).run_count


def test_a_route_by_hand(tmp_path: Path) -> None:
    path = tmp_path / "route.toml"
    path.write_text(
        """
unit = "mm"
[[run]]
name = "trunk"
section = "600x300"
points = [[0, 0, 3200], [4000, 0, 3200], [8000, 0, 3200]]
source = true
[[run]]
name = "branch"
section = "D10 in"
points = [[4000, 0, 3200], [4000, 3000, 3200]]
flow = "200 L/s"
[[run]]
name = "end"
section = "400x300"
points = [[8000, 0, 3200], [9000, 0, 3200]]
terminal = "far room"
flow = "500 cfm"
"""
    )
    drawing = read(path)
    assert drawing.names == ["trunk", "branch", "end"]
    assert drawing.run(0).points[-1] == pytest.approx([8.0, 0.0, 3.2])
    assert drawing.width.tolist() == pytest.approx([0.6, 0.254, 0.4])
    assert drawing.flow[1:].tolist() == pytest.approx([0.2, 500 * 0.3048**3 / 60])
    topology = join(drawing, NEAR)
    assert (len(topology.junctions), len(topology.free_ends)) == (1, 3)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ('[[run]]\nname="a"\nsection="D200"\npoints=[[0,0,0],[1,0,0]]', "unit"),
        (
            'unit="mm"\n[[run]]\nname="a"\nsecton="D200"\npoints=[[0,0,0],[1,0,0]]',
            "'section'",
        ),
        ('unit="mm"\n[[run]]\nname="a"\nsection="D200"\npoints=[[0,0,0]]', "point"),
        ('unit="mm"\n[[run]]\nname="a"\nsection="D200"\npoints=[[0,0],[1,0]]', "point"),
        (
            'unit="mm"\n[[run]]\nname="a"\nsection="large"\npoints=[[0,0,0],[1,0,0]]',
            "large",
        ),
        ('unit="furlong"\n[[run]]\nname="a"\npoints=[[0,0,0],[1,0,0]]', "furlong"),
        ('unit="mm"\n', "run"),
        ('unit="mm"\n[[run]\n', "line"),
        (
            'unit="mm"\n[[run]]\nname="a"\nsection="D200"\nflow="3"\npoints=[[0,0,0],[9,0,0]]',
            "unit",
        ),
        (
            'unit="mm"\n[[run]]\nname="a"\nsection="D200"\npoints=[[0,0,nan],[9,0,0]]',
            "finite",
        ),
    ],
)
def test_a_route_by_hand_with_a_fault(tmp_path: Path, text: str, said: str) -> None:
    path = tmp_path / "route.toml"
    path.write_text(text)
    with pytest.raises(BadInput) as caught:
        read(path)
    sentences = [fault.sentence for fault in caught.value.faults]
    assert any(said in sentence for sentence in sentences), sentences
    assert all(sentence.startswith("route.toml") for sentence in sentences)


def test_a_spline_and_blocks_within_blocks_of_a_dxf(tmp_path: Path) -> None:
    """Written here with ezdxf: a spline through a quarter circle, nested blocks."""
    import ezdxf.filemanagement

    document = ezdxf.filemanagement.new("R2018", setup=False)
    document.units = 4
    space = document.modelspace()
    step = np.linspace(0.0, np.pi / 2, 9)
    curve = [(1000 * np.sin(a), 1000 - 1000 * np.cos(a), 0) for a in step]
    space.add_spline(curve, dxfattribs={"layer": "bend D200"})
    inner = document.blocks.new("inner")
    inner.add_line((0, 0), (1, 0))
    outer = document.blocks.new("outer")
    outer.add_blockref("inner", (1, 0), dxfattribs={"xscale": 2.0, "rotation": 90})
    space.add_blockref(
        "outer", (5000, 0), dxfattribs={"layer": "main 600x300", "xscale": 1000,
        "yscale": 1000},
    )  # fmt: skip
    path = tmp_path / "a.dxf"
    document.saveas(path)
    drawing = read(path)
    by_name = dict(zip(drawing.names, drawing.runs, strict=True))
    assert by_name["bend D200"].length == pytest.approx(np.pi / 2, rel=2e-3)
    assert by_name["main 600x300"].length == pytest.approx(2.0)
    ends = by_name["main 600x300"].points[[0, -1]]
    assert ends[np.argsort(ends[:, 1])] == pytest.approx(
        np.array([[6.0, 0.0, 0.0], [6.0, 2.0, 0.0]])
    )


def test_a_block_that_holds_itself_is_refused(tmp_path: Path) -> None:
    import ezdxf.filemanagement

    document = ezdxf.filemanagement.new("R2018", setup=False)
    block = document.blocks.new("snake")
    block.add_line((0, 0), (1, 0))
    block.add_blockref("snake", (1, 0))
    document.modelspace().add_blockref("snake", (0, 0))
    path = tmp_path / "a.dxf"
    document.saveas(path)
    with pytest.raises(BadInput, match="holds itself"):
        read(path)


def test_a_unit_that_is_not_known_is_named_as_the_caller_gave_it() -> None:
    """In Python it is a parameter, and no option."""
    under = READING_ROOM / "under.glb"
    with pytest.raises(BadInput, match=r"^unit: 'yd' is not known"):
        read(under, unit="yd")
    with pytest.raises(BadInput, match=r"^up: 'x' is not known"):
        read(under, up="x")
    with pytest.raises(BadInput, match=r"^unit: 'yd' is not known"):
        read_obstacles(READING_ROOM / "beam.glb", unit="yd")


def test_a_route_that_does_not_say_its_axis_is_told_how(tmp_path: Path) -> None:
    path = tmp_path / "r.toml"
    route = 'unit = "m"\n[[run]]\nname = "a"\npoints = [[0, 0, 0], [1, 0, 0]]\n'
    path.write_text(route, encoding="utf-8")
    (said,) = [one for one in read(path).notices if "axis" in one.what]
    assert 'write up = "z"' in said.remedy
    path.write_text('up = "z"\n' + route, encoding="utf-8")
    assert not [one for one in read(path).notices if "axis" in one.what]


def test_what_a_run_of_no_length_says_is_told_as_it_is_lost(tmp_path: Path) -> None:
    route = tmp_path / "a.toml"
    route.write_text(
        """
        unit = "m"
        up = "z"
        [[run]]
        name = "dot"
        section = "D200 mm"
        flow = "50 L/s"
        terminal = "hall"
        points = [[4, 0, 3], [4, 0, 3]]
        [[run]]
        name = "a"
        section = "D200 mm"
        points = [[0, 0, 3], [8, 0, 3]]
        """,
        encoding="utf-8",
    )
    first, count = (said.sentence for said in read(route).notices)
    assert "a.toml, run 'dot': this run has no length and was left out" in first
    assert "its airflow of 50 L/s (106 cfm) and its terminal 'hall';" in first
    assert "1 edge of no length left out" in count
