"""IFC: routes through ports and bodies, structure as obstacles, and what is refused.

`data/routes/EXPECTED.json` was written with the two routes by ifcopenshell; the figures
of the real files are what ifcopenshell reads there.
"""

import json
import math
import re
import subprocess
import sys
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from elbowroom.layout import (
    BadInput,
    Basis,
    Drawing,
    DuctGraph,
    Schedule,
    Shape,
    SourceSpec,
    TerminalSpec,
    build,
    clearances,
    join,
    read,
    read_obstacles,
    solids,
    write,
)
from elbowroom.physics import analyse
from elbowroom.viewer import main

DATA = Path(__file__).parent / "data"
EXPECTED: dict[str, Any] = json.loads((DATA / "routes/EXPECTED.json").read_text())
ROUTES = ("library_ifc4_mm.ifc", "library_ifc2x3_ft.ifc")
MODEL = DATA / "routes" / ROUTES[0]
NEAR = EXPECTED["tolerance_m"]
# Here the file has a piece of the tee, 600x300, and the transition after it.
BETWEEN_TEE_AND_DUCT = (8.0, 8.6)


def stretches(points: Any) -> Any:
    corners = np.array(points)
    return pairwise(corners)


def graph_of(path: Path) -> DuctGraph:
    return build(read(path), Schedule())


@pytest.mark.parametrize("name", ROUTES)
def test_every_stretch_has_its_section_and_airflow(name: str) -> None:
    drawing = read(DATA / "routes" / name)
    lines = [
        (run, a, b) for run in drawing.runs for a, b in stretches(run.points)
    ]  # fmt: skip
    for polyline in EXPECTED["files"][name]["polylines"]:
        for begin, end in stretches(polyline["points_m"]):
            for share in (0.1, 0.5, 0.9):
                point = begin + share * (end - begin)
                on = []
                for run, a, b in lines:
                    along = (point - a) @ (b - a) / ((b - a) @ (b - a))
                    foot = a + min(max(along, 0.0), 1.0) * (b - a)
                    if np.linalg.norm(foot - point) < NEAR:
                        on.append(run)
                assert len(on) == 1, (polyline["name"], point)
                low, high = BETWEEN_TEE_AND_DUCT
                if polyline["name"] == "T3" and low < point[0] < high:
                    continue
                section, wanted = on[0].section, polyline["section"]
                assert section is not None
                assert on[0].flow == pytest.approx(polyline["flow_m3s"])
                if wanted["shape"] == "round":
                    assert section.shape == Shape.ROUND
                    assert section.width == pytest.approx(wanted["diameter_m"])
                else:
                    assert section.shape == Shape.RECTANGULAR
                    assert section.width == pytest.approx(wanted["width_m"])
                    assert section.height == pytest.approx(wanted["height_m"])


@pytest.mark.parametrize("name", ROUTES)
def test_joints_ends_and_length(name: str) -> None:
    wanted = EXPECTED["files"][name]
    drawing = read(DATA / "routes" / name)
    topology = join(drawing, NEAR)
    assert len(topology.junctions) == wanted["junction_count"]
    places = topology.nodes[topology.junctions]
    for point in wanted["junctions_m"]:
        assert np.linalg.norm(places - np.array(point), axis=1).min() <= NEAR
    assert len(topology.free_ends) == wanted["free_end_count"]
    assert topology.component_count == wanted["component_count"]
    length = sum(run.length for run in drawing.runs)
    assert length == pytest.approx(wanted["total_length_m"], abs=NEAR)


@pytest.mark.parametrize("name", ROUTES)
def test_bends_and_the_source_and_the_transition(name: str) -> None:
    wanted = EXPECTED["files"][name]
    graph = graph_of(DATA / "routes" / name)
    assert graph.topology.nodes[graph.source.node] == pytest.approx(
        EXPECTED["source_m"], abs=NEAR
    )
    bends = sorted(
        (bend["angle_deg"], bend["radius_m"], *bend["at_m"])
        for polyline in wanted["polylines"]
        for bend in polyline["bends"]
    )
    found = sorted(
        (round(float(np.degrees(angle)), 6), round(float(radius), 6), *corner)
        for angle, radius, corner in zip(
            graph.bends.angle,
            graph.bends.radius,
            graph.bends.corner.round(6).tolist(),
            strict=True,
        )
    )
    assert np.array(found) == pytest.approx(np.array(bends), abs=NEAR)
    drawn = graph.transitions.length_basis == Basis.DRAWN
    length = wanted["physical_pieces"]["transition_length_m"]
    assert graph.transitions.length[drawn] == pytest.approx([length])


@pytest.mark.parametrize("name", ROUTES)
def test_the_beam_of_the_same_file(name: str) -> None:
    (beam,), _ = read_obstacles(DATA / "routes" / name)
    wanted = EXPECTED["files"][name]["beam"]
    low, high = beam.vertices.min(axis=0), beam.vertices.max(axis=0)
    half, depth = wanted["width_m"] / 2, wanted["depth_m"]
    begin, end = np.array(wanted["from_m"]), np.array(wanted["to_m"])
    reach = np.array([half, 0.0, depth / 2])
    assert low == pytest.approx(begin - reach, abs=NEAR)
    assert high == pytest.approx(end + reach, abs=NEAR)
    shapes = solids(graph_of(DATA / "routes" / name))
    # The maker of the file states 0.10 m between the beam and the duct below.
    assert clearances(shapes, [beam]).nearest == pytest.approx(0.1, abs=2e-3)


def test_both_schemas_and_units_give_the_same_losses() -> None:
    one, two = (analyse(graph_of(DATA / "routes" / name)) for name in ROUTES)
    assert one.path_loss == pytest.approx(two.path_loss, rel=1e-6)


def without(tmp_path: Path, *words: str) -> Path:
    path = tmp_path / "part.ifc"
    lines = MODEL.read_text().splitlines()
    kept = [line for line in lines if not any(word in line for word in words)]
    path.write_text("\n".join(kept) + "\n")
    return path


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["IFCRELCONNECTSPORTS"], "22 joints are made by position"),
        (["IFCRELCONNECTSPORTS", "IFCRELNESTS"], "22 joints are made by position"),
    ],
)
def test_without_ports_position_and_bodies_tell(
    tmp_path: Path, words: list[str], said: str
) -> None:
    whole, part = read(MODEL), read(without(tmp_path, *words))
    assert said in " ".join(notice.sentence for notice in part.notices)
    assert sorted(run.length for run in part.runs) == pytest.approx(
        sorted(run.length for run in whole.runs)
    )
    topology = join(part, NEAR)
    assert (len(topology.junctions), topology.component_count) == (3, 1)
    radii = [run.attributes.bend_radius for run in part.runs]
    assert sorted(filter(None, radii)) == pytest.approx(
        sorted(filter(None, (run.attributes.bend_radius for run in whole.runs)))
    )


def test_a_duct_of_faces_alone_is_assumed() -> None:
    """pcert_building_hvac.ifc: buildingSMART PCERT sample scene, CC BY 4.0."""
    drawing = read(DATA / "ifc/pcert_building_hvac.ifc")
    (run,) = drawing.runs
    # By the mesh: x 7.8 to 8.0, y 7.85 to 8.05, z 0.9 to 4.7 m, and a wall of 10 mm.
    assert sorted(run.points.tolist()) == [
        pytest.approx([7.9, 7.95, 0.9]),
        pytest.approx([7.9, 7.95, 4.7]),
    ]
    assert run.section is not None
    assert run.section.width == pytest.approx(0.18)
    assert drawing.section_basis[0] == Basis.ASSUMED
    said = " ".join(notice.sentence for notice in drawing.notices)
    assert "in which that stays the same, from inside" in said
    assert run.attributes.terminal == "chimney cover"


@pytest.mark.parametrize(
    ("name", "count"),
    [
        ("pcert_building_structural.ifc", 11),
        ("grid-placement.ifc", 10),
    ],
)
def test_structures_of_real_files(name: str, count: int) -> None:
    """Counted with ifcopenshell, which makes no shape of the columns on a grid."""
    found, notices = read_obstacles(DATA / "ifc" / name)
    assert len(found) == count
    if name == "grid-placement.ifc":
        assert any("25 solids cannot be made" in n.sentence for n in notices)
        low = min(solid.vertices[:, 2].min() for solid in found)
        high = max(solid.vertices[:, 2].max() for solid in found)
        assert (low, high) == pytest.approx((2.6, 2.8))  # of the beams


@pytest.mark.parametrize(
    "name",
    [
        "air-terminal-library-object.ifc",
        "extruded-solid.ifc",
        "mapped-shape-with-transformation.ifc",
        "pcert_building_structural.ifc",
        "ports_connected_minimal.ifc",
        "ports_sink_source_minimal.ifc",
    ],
)
def test_files_without_a_duct_are_refused(name: str) -> None:
    with pytest.raises(BadInput, match="no duct segment"):
        read(DATA / "ifc" / name)


def test_the_unit_option_stands_in_for_a_missing_unit() -> None:
    path = DATA / "bad/ifc_no_units.ifc"
    with pytest.raises(BadInput, match=r"no length unit.*millimetres.*--unit mm"):
        read(path)
    told, stated = read(path, unit="mm"), read(MODEL)
    assert told.points == pytest.approx(stated.points)
    (beam,), _ = read_obstacles(path, unit="mm")
    (other,), _ = read_obstacles(MODEL)
    assert beam.vertices == pytest.approx(other.vertices)


def test_a_byte_order_mark_makes_no_difference() -> None:
    marked = read(DATA / "bad/ifc_with_bom.ifc")
    assert marked.points == pytest.approx(read(MODEL).points)


def changed(tmp_path: Path, pattern: str, by: str) -> Path:
    path = tmp_path / "changed.ifc"
    text, count = re.subn(pattern, by, MODEL.read_text())
    assert count
    path.write_text(text)
    return path


def test_placements_in_a_circle_are_refused(tmp_path: Path) -> None:
    path = changed(tmp_path, r"IFCLOCALPLACEMENT\(\$", "IFCLOCALPLACEMENT(#40")
    with pytest.raises(BadInput, match="circle"):
        read(path)


def test_a_flow_in_litres_per_second(tmp_path: Path) -> None:
    litre = (
        "#17=IFCCONVERSIONBASEDUNIT($,.VOLUMEUNIT.,'LITRE',#9001);\n"
        "#9001=IFCMEASUREWITHUNIT(IFCVOLUMEMEASURE(0.001),#9002);\n"
        "#9002=IFCSIUNIT(*,.VOLUMEUNIT.,$,.CUBIC_METRE.);"
    )
    path = changed(tmp_path, r"#17=IFCSIUNIT[^;]*;", litre)
    flows = sorted(run.flow for run in read(path).runs if run.flow > 0)
    wanted = sorted(run.flow / 1000 for run in read(MODEL).runs if run.flow > 0)
    assert flows == pytest.approx(wanted)


def test_body_and_name_that_differ_are_said(tmp_path: Path) -> None:
    path = changed(tmp_path, r"NominalDiameterOrWidth',\$,(\w+)\(600", r"Other',$,\1(6")
    path.write_text(path.read_text().replace("T1.1 600x300", "T1.1 900x300"))
    drawing = read(path)
    said = " ".join(notice.sentence for notice in drawing.notices)
    assert "the body was used" in said
    run = next(run for run in drawing.runs if run.name.startswith("T1.1"))
    assert run.section is not None
    assert run.section.width == pytest.approx(0.6)


def test_hollow_profiles_count_their_inside(tmp_path: Path) -> None:
    path = changed(
        tmp_path,
        r"IFCRECTANGLEPROFILEDEF\(\.AREA\.,'600x300',(#\d+),600\.,300\.\)",
        r"IFCRECTANGLEHOLLOWPROFILEDEF(.AREA.,'600x300',\1,602.,302.,1.,$,$)",
    )
    run = next(r for r in read(path).runs if r.name.startswith("T1.1"))
    assert run.section is not None
    assert (run.section.width, run.section.height) == pytest.approx((0.6, 0.3))


def test_sides_written_the_other_way_round(tmp_path: Path) -> None:
    """Writers swap XDim and YDim: the world tells the width from the height."""
    turned = tmp_path / "turned.ifc"
    text = MODEL.read_text()
    # A profile turned by a right angle in its own plane, with its sides exchanged.
    text = text.replace(
        "#46=IFCAXIS2PLACEMENT2D(#45,$);",
        "#46=IFCAXIS2PLACEMENT2D(#45,#9001);\n#9001=IFCDIRECTION((0.,1.));",
    ).replace("'600x300',#46,600.,300.", "'600x300',#46,300.,600.")
    turned.write_text(text)
    run = next(r for r in read(turned).runs if r.name.startswith("T1.1"))
    assert run.section is not None
    assert (run.section.width, run.section.height) == pytest.approx((0.6, 0.3))
    assert run.attributes.up == (0.0, 0.0, 1.0)


def test_map_coordinates_keep_their_millimetres(tmp_path: Path) -> None:
    """A site set at 10^6 m, as files placed on a map have it."""
    path = changed(
        tmp_path,
        r"#24=IFCCARTESIANPOINT\(\(0\.,0\.,0\.\)\)",
        "#24=IFCCARTESIANPOINT((1500000000.,6000000000.,0.))",
    )
    far, near = read(path), read(MODEL)
    shift = np.array([1.5e6, 6e6, 0.0])
    assert np.abs(far.points - shift - near.points).max() < 1e-6
    losses = analyse(build(far, Schedule())).path_loss
    assert losses == pytest.approx(analyse(graph_of(MODEL)).path_loss, rel=1e-6)
    (beam,), _ = read_obstacles(path)
    gap = clearances(solids(build(far, Schedule())), [beam]).nearest
    assert gap == pytest.approx(0.1, abs=2e-3)


def test_without_ifcopenshell_one_sentence_says_what_to_install() -> None:
    code = (
        "import sys; sys.modules['ifcopenshell'] = None\n"
        "from elbowroom.viewer import main\n"
        f"sys.exit(main(['check', {str(MODEL)!r}]))"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=False
    )
    assert done.returncode == 2
    assert "pip install ifcopenshell" in done.stderr
    assert "Traceback" not in done.stderr


def test_analyse_measures_to_the_beam_of_the_model(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert main(["analyse", str(MODEL)]) == 0
    out = capsys.readouterr().out
    assert "steel beam" in out
    assert "100 mm" in out


def swept_disk(folder: Path, make: Callable[[Any], Any], *, axis: bool) -> Path:
    """A model in mm and degrees of one duct of 200 mm, swept along a curve."""
    import ifcopenshell

    model: Any = ifcopenshell.file(schema="IFC4")
    metre = model.createIfcSIUnit(None, "LENGTHUNIT", "MILLI", "METRE")
    radian = model.createIfcSIUnit(None, "PLANEANGLEUNIT", None, "RADIAN")
    ratio = model.createIfcPlaneAngleMeasure(math.pi / 180)
    size = model.createIfcMeasureWithUnit(ratio, radian)
    none = model.createIfcDimensionalExponents(0, 0, 0, 0, 0, 0, 0)
    degree = model.createIfcConversionBasedUnit(none, "PLANEANGLEUNIT", "DEGREE", size)
    units = model.createIfcUnitAssignment([metre, degree])
    here, place = (
        model.createIfcAxis2Placement3D(
            model.createIfcCartesianPoint((0.0, 0.0, height)), None, None
        )
        for height in (0.0, 3000.0)
    )
    context = model.createIfcGeometricRepresentationContext(
        None, "Model", 3, 1e-5, here, None
    )
    words = {"RepresentationContexts": [context], "UnitsInContext": units}
    model.createIfcProject("0" * 22, Name="p", **words)
    item = make(model)
    if not axis:
        item = model.createIfcSweptDiskSolid(item, 100.0, None, None, None)
    kind = ("Axis", "Curve3D") if axis else ("Body", "AdvancedSweptSolid")
    shape = model.createIfcShapeRepresentation(context, *kind, [item])
    model.createIfcDuctSegment(
        "1" * 22,
        Name="flex D200",
        ObjectPlacement=model.createIfcLocalPlacement(None, place),
        Representation=model.createIfcProductDefinitionShape(None, None, [shape]),
    )
    path = folder / "disk.ifc"
    model.write(str(path))
    return path


def polyline(model: Any, *corners: tuple[float, float]) -> Any:
    points = [model.createIfcCartesianPoint((x, y, 0.0)) for x, y in corners]
    return model.createIfcPolyline(points)


def indexed(model: Any) -> Any:
    aside = 1000 * math.sqrt(0.5)
    corners = [(0, 0), (3000, 0), (3000 + aside, 1000 - aside), (4000, 1000)]
    corners.append((4000, 3000))
    points = model.createIfcCartesianPointList3D([(x, y, 0.0) for x, y in corners])
    parts = [
        model.createIfcLineIndex((1, 2)),
        model.createIfcArcIndex((2, 3, 4)),
        model.createIfcLineIndex((4, 5)),
    ]
    return model.createIfcIndexedPolyCurve(points, parts, None)


def composite(model: Any, *, by_points: bool) -> Any:
    """Line, a quarter of a circle drawn backwards, and a trimmed line."""
    centre = model.createIfcCartesianPoint((3000.0, 1000.0, 0.0))
    place = model.createIfcAxis2Placement3D(centre, None, None)
    circle = model.createIfcCircle(place, 1000.0)
    ends = [model.createIfcParameterValue(angle) for angle in (0.0, 270.0)]
    if by_points:
        places = ((4000.0, 1000.0, 0.0), (3000.0, 0.0, 0.0))
        ends = [model.createIfcCartesianPoint(at) for at in places]
    first, last = ([end] for end in ends)
    arc = model.createIfcTrimmedCurve(circle, first, last, False, "PARAMETER")
    begin = model.createIfcCartesianPoint((4000.0, 1000.0, 0.0))
    up = model.createIfcVector(model.createIfcDirection((0.0, 1.0, 0.0)), 500.0)
    trims = [[model.createIfcParameterValue(value)] for value in (0.0, 4.0)]
    line = model.createIfcLine(begin, up)
    riser = model.createIfcTrimmedCurve(line, *trims, True, "PARAMETER")
    parts = [(polyline(model, (0, 0), (3000, 0)), True), (arc, False), (riser, True)]
    return model.createIfcCompositeCurve(
        [
            model.createIfcCompositeCurveSegment("CONTINUOUS", sense, part)
            for part, sense in parts
        ],
        False,
    )


@pytest.mark.parametrize("axis", [False, True])
@pytest.mark.parametrize(
    ("make", "length"),
    [
        (lambda model: polyline(model, (0, 0), (4000, 0), (4000, 3000)), 7.0),
        (indexed, 5.0 + math.pi / 2),
        (lambda model: composite(model, by_points=False), 5.0 + math.pi / 2),
        (lambda model: composite(model, by_points=True), 5.0 + math.pi / 2),
    ],
)
def test_a_bent_sweep_keeps_its_bends(
    make: Callable[[Any], Any], length: float, axis: bool, tmp_path: Path
) -> None:
    """Lengths by plane geometry: 3 m, a quarter of a circle of 1 m, 2 m."""
    pytest.importorskip("ifcopenshell")
    drawing = read(swept_disk(tmp_path, make, axis=axis))
    run = drawing.run(0)
    assert drawing.run_count == 1
    assert run.section is not None
    assert (run.section.shape, run.section.width) == (Shape.ROUND, 0.2)
    assert run.length == pytest.approx(length, rel=1e-3)
    ends = sorted(run.points[[0, -1]].tolist())
    assert ends[0] == pytest.approx([0, 0, 3])
    assert ends[1] == pytest.approx([4, 3, 3])
    assert not [n for n in drawing.notices if "longest side" in n.what]
    source = SourceSpec(at=(0.0, 0.0, 3.0))
    flows = {run.name: TerminalSpec(0.1)}
    graph = build(drawing, Schedule(source=source, terminals=flows))
    radius = 0.2 if length == 7.0 else 1.0  # of a corner: one diameter is assumed
    assert graph.bends.radius.tolist() == pytest.approx([radius], rel=3e-3)
    assert np.degrees(graph.bends.angle) == pytest.approx([90.0])


def with_fan(folder: Path, change: Callable[[Any], None]) -> Drawing:
    """The route with a fan at its source, and its ports changed."""
    import ifcopenshell

    model = ifcopenshell.open(str(MODEL))
    joined = {
        port
        for one in model.by_type("IfcRelConnectsPorts")
        for port in (one.RelatingPort, one.RelatedPort)
    }
    free = [p for p in model.by_type("IfcDistributionPort") if p not in joined]
    (first,) = (port for port in free if port.FlowDirection == "SINK")
    place, new = first.ObjectPlacement, ifcopenshell.guid.new
    fan = model.create_entity("IfcFan", new(), Name="fan", ObjectPlacement=place)
    port = model.create_entity("IfcDistributionPort", new(), ObjectPlacement=place)
    model.create_entity("IfcRelNests", new(), RelatingObject=fan, RelatedObjects=[port])
    model.create_entity(
        "IfcRelConnectsPorts", new(), RelatingPort=port, RelatedPort=first
    )
    change(free)
    model.write(str(folder / "fan.ifc"))
    return read(folder / "fan.ifc")


def turn_one(free: Any) -> None:
    next(p for p in free if p.FlowDirection == "SOURCE").FlowDirection = "SINK"


def silence(free: Any) -> None:
    for port in free:
        port.FlowDirection = None


@pytest.mark.parametrize(
    ("change", "is_supply", "is_mixed"),
    [
        (lambda free: None, True, False),
        (turn_one, False, True),
        (silence, False, False),
    ],
)
def test_ports_that_agree_tell_that_a_route_is_a_supply(
    change: Callable[[Any], None], is_supply: bool, is_mixed: bool, tmp_path: Path
) -> None:
    drawing = with_fan(tmp_path, change)
    assert drawing.is_supply == is_supply
    said = " ".join(notice.sentence for notice in drawing.notices)
    assert ("enters at 2 free ends and leaves at 3, not that" in said) == is_mixed
    assumed = [one.what for one in analyse(build(drawing)).assumptions]
    assert any("a supply: its air flows" in what for what in assumed) != is_supply
    back = build(drawing, Schedule(source=SourceSpec(is_return=True)))
    against = any("as in a supply" in notice.what for notice in back.notices)
    assert against == is_supply


@pytest.mark.parametrize("ending", ["glb", "obj", "dxf", "vtp"])
@pytest.mark.parametrize(("change", "is_lost"), [(silence, 0), (lambda free: None, 1)])
def test_writing_says_that_a_side_told_by_ports_is_lost(
    change: Callable[[Any], None], is_lost: int, ending: str, tmp_path: Path
) -> None:
    drawing = with_fan(tmp_path, change)
    said = write(drawing, tmp_path / f"again.{ending}")
    lost = [one for one in said if "that it is a supply" in one.what]
    assert len(lost) == is_lost
    assert all('side = "supply" under [source]' in one.remedy for one in lost)
    assert not read(tmp_path / f"again.{ending}").is_supply  # so it is to be said
