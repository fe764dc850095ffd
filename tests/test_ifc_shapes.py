"""Shapes of the ducts of IFC files: profiles, faces, what is cut off or hollowed out.

The ducts are invented, drawn in millimetres, and compared with what was drawn.
"""

import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from ifc_models import Model, said_by

from elbowroom.layout import (
    Basis,
    Drawing,
    Section,
    Shape,
    flat_oval,
    rectangular,
    round_section,
)

Corners = list[tuple[float, float]]
D240, R600 = round_section(0.24), rectangular(0.6, 0.3)


def same(one: Section | None, two: Section) -> bool:
    return (
        one is not None
        and one.shape == two.shape
        and sorted((one.width, one.height))
        == pytest.approx(sorted((two.width, two.height)), rel=1e-3)
    )


# --- profiles


def middle(model: Model) -> Any:
    return model.make("IfcAxis2Placement2D", model.point(0, 0))


def circle(model: Model, radius: float = 120) -> Any:
    return model.make("IfcCircle", middle(model), float(radius))


def ellipse(model: Model, long: float = 120, short: float = 120) -> Any:
    return model.make("IfcEllipse", middle(model), float(long), float(short))


def trimmed(model: Model, basis: Any, first: float, last: float) -> Any:
    ends = [[model.make("IfcParameterValue", float(at))] for at in (first, last)]
    return model.make("IfcTrimmedCurve", basis, *ends, True, "PARAMETER")


def composite(model: Model, *curves: Any) -> Any:
    parts = [
        model.make("IfcCompositeCurveSegment", "CONTINUOUS", True, curve)
        for curve in curves
    ]
    return model.make("IfcCompositeCurve", parts, False)


def of_arcs(model: Model) -> Any:
    corners = [(120.0, 0.0), (0.0, 120.0), (-120.0, 0.0), (0.0, -120.0)]
    points = model.make("IfcCartesianPointList2D", corners)
    arcs = [model.make("IfcArcIndex", arc) for arc in ((1, 2, 3), (3, 4, 1))]
    return model.make("IfcIndexedPolyCurve", points, arcs, None)


def spline(model: Model) -> Any:
    """A circle of four quarters, as every book on splines has it."""
    ways = [(1, 0), (1, 1), (0, 1), (-1, 1), (-1, 0), (-1, -1), (0, -1), (1, -1)]
    poles = [model.point(120 * x, 120 * y) for x, y in [*ways, ways[0]]]
    weights = [1.0, math.sqrt(0.5)] * 4 + [1.0]
    knots = [0.0, 1.0, 2.0, 3.0, 4.0]
    words = (True, False, [3, 2, 2, 2, 3], knots, "UNSPECIFIED", weights)
    kind = "IfcRationalBSplineCurveWithKnots"
    return model.make(kind, 2, poles, "CIRCULAR_ARC", *words)


def polygon(model: Model, corners: Corners) -> Any:
    points = [model.point(*corner) for corner in corners]
    return model.make("IfcPolyline", [*points, points[0]])


def box(width: float, height: float) -> Corners:
    x, y = width / 2, height / 2
    return [(-x, -y), (x, -y), (x, y), (-x, y)]


def swept(model: Model, profile: Any, length: float, at: float = 0.0) -> Any:
    position, up = model.place((0, 0, at)), model.direction(0, 0, 1)
    return model.make("IfcExtrudedAreaSolid", profile, position, up, float(length))


def hollow(model: Model, outer: Any, *inner: Any) -> Any:
    kind = "IfcArbitraryProfileDefWithVoids"
    return model.make(kind, "AREA", None, outer, list(inner))


CURVES: dict[str, Callable[[Model], Any]] = {
    "circle": circle,
    "round ellipse": ellipse,
    "whole turn": lambda model: trimmed(model, circle(model), 0, 2 * math.pi),
    "halves": lambda model: composite(
        model,
        trimmed(model, circle(model), 0, math.pi),
        trimmed(model, circle(model), math.pi, 2 * math.pi),
    ),
    "halves of an ellipse": lambda model: composite(
        model,
        trimmed(model, ellipse(model), 0, math.pi),
        trimmed(model, ellipse(model), math.pi, 2 * math.pi),
    ),
    "one part": lambda model: composite(model, circle(model)),
    "arcs": of_arcs,
    "spline": spline,
}
RADIAN = ("PLANEANGLEUNIT", None, "RADIAN")


@pytest.mark.parametrize("curve", CURVES)
@pytest.mark.parametrize("ports", [False, True])
@pytest.mark.parametrize("length", [50, 5000])
def test_the_inner_curve_of_a_profile_is_the_section(
    curve: str, ports: bool, length: float, tmp_path: Path
) -> None:
    model = Model(RADIAN)
    profile = hollow(model, polygon(model, box(300, 300)), CURVES[curve](model))
    model.duct(swept(model, profile, length), ports=ports, length=length)
    drawing = model.drawing(tmp_path)
    assert same(drawing.run(0).section, D240)
    assert drawing.run(0).length == pytest.approx(length / 1000)
    assert drawing.section_basis[0] == Basis.DRAWN
    assert "its section" not in said_by(drawing)


@pytest.mark.parametrize(
    ("curve", "wanted", "said"),
    [
        (lambda model: ellipse(model, 300, 150), flat_oval(0.6, 0.3), "the flat oval"),
        (
            lambda model: polygon(
                model, [(-300, -150), (300, -150), (200, 150), (-200, 150)]
            ),
            R600,
            "the rectangle",
        ),
    ],
)
def test_a_section_of_no_known_figure_is_said(
    curve: Callable[[Model], Any], wanted: Section, said: str, tmp_path: Path
) -> None:
    model = Model()
    profile = hollow(model, polygon(model, box(900, 900)), curve(model))
    model.duct(swept(model, profile, 5000))
    drawing = model.drawing(tmp_path)
    assert same(drawing.run(0).section, wanted)
    assert f"{said} around it was taken" in said_by(drawing)
    assert drawing.section_basis[0] == Basis.ASSUMED


def test_properties_count_before_a_section_of_no_known_figure(tmp_path: Path) -> None:
    model = Model()
    profile = hollow(model, polygon(model, box(900, 900)), ellipse(model, 300, 150))
    sizes = model.sizes("FLATOVAL", 590, 290, "IfcPropertySingleValue")
    model.duct(swept(model, profile, 5000), properties=sizes)
    drawing = model.drawing(tmp_path)
    assert same(drawing.run(0).section, flat_oval(0.59, 0.29))


def test_two_openings_of_a_profile_are_said(tmp_path: Path) -> None:
    model = Model()
    halves = [
        polygon(model, [(x + shift, y) for x, y in box(width, 300)])
        for shift, width in ((-200, 200), (200, 500))
    ]
    profile = hollow(model, polygon(model, box(1000, 320)), *halves)
    model.duct(swept(model, profile, 5000))
    drawing = model.drawing(tmp_path)
    assert same(drawing.run(0).section, rectangular(0.5, 0.3))
    assert "its profile has 2 openings" in said_by(drawing)


def test_a_sweep_that_tapers_or_leans_is_said(tmp_path: Path) -> None:
    model = Model()
    straight = model.extrusion(600, 300, 5000)
    end = model.extrusion(400, 200, 5000).SweptArea
    kind, position = "IfcExtrudedAreaSolidTapered", straight.Position
    way, area = straight.ExtrudedDirection, straight.SweptArea
    model.duct(model.make(kind, area, position, way, 5000.0, end))
    drawing = model.drawing(tmp_path)
    assert "its section changes along it" in said_by(drawing)
    model = Model()
    straight = model.extrusion(600, 300, 5000)
    straight.ExtrudedDirection = model.direction(3, 0, 4)
    model.duct(straight, ports=False)
    drawing = model.drawing(tmp_path)
    assert same(drawing.run(0).section, rectangular(0.6 * 4 / 5, 0.3))
    assert "swept aslant" in said_by(drawing)


def test_a_mapped_disk_grows_with_its_map(tmp_path: Path) -> None:
    model = Model()
    line = model.make("IfcPolyline", [model.point(0, 0, 0), model.point(0, 0, 5000)])
    disk = model.make("IfcSweptDiskSolid", line, 125.0, 120.0, None, None)
    body = model.make(
        "IfcShapeRepresentation", model.context, "Body", "AdvancedSweptSolid", [disk]
    )
    source = model.make("IfcRepresentationMap", model.place(), body)
    kind = "IfcCartesianTransformationOperator3D"
    operator = model.make(kind, None, None, model.point(0, 0, 0), 2.0)
    model.duct(model.make("IfcMappedItem", source, operator), ports=False)
    run = model.drawing(tmp_path).run(0)
    assert same(run.section, round_section(0.48))
    assert run.length == pytest.approx(10.0)


def test_a_disk_along_an_endless_line(tmp_path: Path) -> None:
    model = Model()
    way = model.make("IfcVector", model.direction(0, 0, 1), 1.0)
    line = model.make("IfcLine", model.point(0, 0, 0), way)
    disk = model.make("IfcSweptDiskSolid", line, 125.0, 120.0, 0.0, 5000.0)
    model.duct(disk, ports=False)
    run = model.drawing(tmp_path).run(0)
    assert same(run.section, D240)
    assert run.length == pytest.approx(5.0)


@pytest.mark.parametrize(("length", "is_said"), [(590, True), (610, False)])
def test_a_sweep_shorter_than_wide_is_said_where_nothing_tells_its_way(
    length: float, is_said: bool, tmp_path: Path
) -> None:
    for ports, name in ((False, "duct"), (True, "duct"), (False, "duct 600x300")):
        model = Model()
        body = model.extrusion(600, 300, length)
        model.duct(body, ports=ports, name=name, length=length)
        drawing = model.drawing(tmp_path)
        assert same(drawing.run(0).section, R600)
        expected = is_said and not ports and name == "duct"
        assert ("shorter than wide" in said_by(drawing)) == expected


# --- angles


@pytest.mark.parametrize(
    ("unit", "angle"), [("degree", 90.0), ("radian", math.pi / 2), ("", math.pi / 2)]
)
def test_angles_without_a_unit_are_said(
    unit: str, angle: float, tmp_path: Path
) -> None:
    model = Model(*([RADIAN] if unit == "radian" else []))
    if unit == "degree":
        radian = model.make("IfcSIUnit", None, *RADIAN)
        size = model.make("IfcPlaneAngleMeasure", math.pi / 180)
        one = model.make("IfcMeasureWithUnit", size, radian)
        none = model.make("IfcDimensionalExponents", 0, 0, 0, 0, 0, 0, 0)
        words = ("PLANEANGLEUNIT", "DEGREE", one)
        degree = model.make("IfcConversionBasedUnit", none, *words)
        (assigned,) = model.model.by_type("IfcUnitAssignment")
        assigned.Units = [*assigned.Units, degree]
    hub = model.make("IfcAxis1Placement", model.point(400, 0, 0), None)
    hub.Axis = model.direction(0, 1, 0)
    profile = hollow(
        model,
        circle(model, 125),
        trimmed(model, circle(model), 0, 4 * angle),
    )
    kind = "IfcRevolvedAreaSolid"
    model.duct(model.make(kind, profile, model.place(), hub, angle), ports=False)
    drawing = model.drawing(tmp_path)
    (run,) = drawing.runs
    assert same(run.section, D240)
    assert run.attributes.bend_radius == pytest.approx(0.4)
    assert run.points[[0, -1], 0].tolist() == pytest.approx([0.0, 0.4])
    assert ("it states no unit of angle" in said_by(drawing)) == (not unit)


def test_a_file_without_angles_needs_no_unit_of_them(tmp_path: Path) -> None:
    model = Model()
    model.duct(model.extrusion(600, 300, 5000))
    assert "unit of angle" not in said_by(model.drawing(tmp_path))


# --- boolean results


def less(model: Model, first: Any, second: Any) -> Any:
    return model.make("IfcBooleanResult", "DIFFERENCE", first, second)


def disc(model: Model, radius: float) -> Any:
    return model.make("IfcCircleProfileDef", "AREA", None, middle(model), float(radius))


def cylinder(model: Model, radius: float, length: float) -> Any:
    kind = "IfcRightCircularCylinder"
    return model.make(kind, model.place(), float(length), float(radius))


DIFFERENCES: dict[str, tuple[Callable[[Model, float], Any], Section]] = {
    "boxes": (
        lambda m, long: less(
            m,
            m.extrusion(610, 310, long),
            m.extrusion(600, 300, long + 20, (0, 0, -10)),
        ),
        R600,
    ),
    "discs": (
        lambda m, long: less(m, swept(m, disc(m, 130), long), cylinder(m, 120, long)),
        D240,
    ),
    "cylinders": (
        lambda m, long: m.make(
            "IfcCsgSolid", less(m, cylinder(m, 130, long), cylinder(m, 120, long))
        ),
        D240,
    ),
    "a hole in the side": (
        lambda m, long: less(
            m,
            m.extrusion(600, 300, long),
            m.make(
                "IfcExtrudedAreaSolid",
                disc(m, 10),
                m.place((0, 0, long / 2)),
                m.direction(0, 1, 0),
                500.0,
            ),
        ),
        R600,
    ),
    "a collar": (
        lambda m, long: m.make(
            "IfcBooleanResult",
            "UNION",
            m.extrusion(650, 350, 10),
            m.extrusion(600, 300, long),
        ),
        R600,
    ),
}


@pytest.mark.parametrize("name", DIFFERENCES)
@pytest.mark.parametrize("ports", [False, True])
@pytest.mark.parametrize("length", [60, 5000])
def test_what_is_hollowed_out_is_the_section(
    name: str, ports: bool, length: float, tmp_path: Path
) -> None:
    make, wanted = DIFFERENCES[name]
    model = Model()
    model.duct(make(model, length), ports=ports, length=length)
    drawing = model.drawing(tmp_path)
    assert same(drawing.run(0).section, wanted)
    assert drawing.run(0).length == pytest.approx(length / 1000)
    assert "cut off" not in said_by(drawing)


@pytest.mark.parametrize("is_turned", [False, True])
def test_a_half_space_shortens_a_duct(is_turned: bool, tmp_path: Path) -> None:
    """Where the flag is true the half space is on the side its normal looks from."""
    model = Model()
    plane = model.make("IfcPlane", model.place((0, 0, 2000)))
    half = model.make("IfcHalfSpaceSolid", plane, not is_turned)
    kind = ("IfcBooleanClippingResult", "DIFFERENCE")
    cut = model.make(*kind, model.extrusion(600, 300, 5000), half)
    duct = model.duct(cut, ports=False)
    drawing = model.drawing(tmp_path)
    wanted = [0.0, 2.0] if is_turned else [2.0, 5.0]
    assert sorted(drawing.run(0).points[:, 0]) == pytest.approx(wanted)
    geom = pytest.importorskip("ifcopenshell.geom")
    settings = geom.settings()
    settings.set("use-world-coords", True)
    x = np.array(geom.create_shape(settings, duct).geometry.verts)[::3]
    assert [x.min(), x.max()] == pytest.approx(wanted)


def test_an_end_that_is_cut_off_is_said(tmp_path: Path) -> None:
    model = Model()
    cut = less(model, model.extrusion(600, 300, 5000), model.extrusion(900, 900, 1000))
    model.duct(cut, ports=False)
    assert "a part is cut off it" in said_by(model.drawing(tmp_path))


# --- insulation


@pytest.mark.parametrize("is_reversed", [False, True])
@pytest.mark.parametrize("beyond", [20, 100, 300])
def test_insulation_beyond_the_ends_is_not_the_duct(
    beyond: float, is_reversed: bool, tmp_path: Path
) -> None:
    model = Model()
    around = model.extrusion(700, 400, 2000 + 2 * beyond, (0, 0, -beyond))
    bodies = [model.extrusion(600, 300, 2000), around]
    model.duct(*(bodies[::-1] if is_reversed else bodies), ports=False)
    drawing = model.drawing(tmp_path)
    assert same(drawing.run(0).section, R600)
    assert drawing.run(0).length == pytest.approx(2.0)
    assert ("none is plainly the duct" in said_by(drawing)) == (beyond > 20)


def test_a_sleeve_within_a_duct_is_not_the_duct(tmp_path: Path) -> None:
    model = Model()
    sleeve = model.extrusion(590, 290, 200)
    model.duct(model.extrusion(600, 300, 2000), sleeve, ports=False)
    assert same(model.drawing(tmp_path).run(0).section, R600)


# --- faces

Mesh = tuple[Any, list[list[int]]]


def prism(corners: Corners, length: float, *, is_open: bool = False) -> Mesh:
    """Points and faces of a straight body along Z."""
    count = len(corners)
    points = [(*corner, at) for at in (0.0, float(length)) for corner in corners]
    sides = [
        [one, (one + 1) % count, count + (one + 1) % count, count + one]
        for one in range(count)
    ]
    lids = [list(range(count))[::-1], list(range(count, 2 * count))]
    return points, sides if is_open else sides + lids


def pipe(outer: Corners, inner: Corners, length: float) -> Mesh:
    """Points and faces of a hollow body along Z; its walls are as thick as said."""
    n = len(outer)
    points = [
        (*corner, at) for at in (0.0, float(length)) for corner in (*outer, *inner)
    ]
    faces = []
    for i in range(n):
        j = (i + 1) % n
        faces += [
            [i, j, 2 * n + j, 2 * n + i],
            [n + j, n + i, 3 * n + i, 3 * n + j],
            [j, i, n + i, n + j],
            [2 * n + i, 2 * n + j, 3 * n + j, 3 * n + i],
        ]
    return points, faces


def ring(diameter: float, count: int = 24) -> Corners:
    turns = [2 * math.pi * i / count for i in range(count)]
    return [
        (diameter / 2 * math.cos(turn), diameter / 2 * math.sin(turn)) for turn in turns
    ]


def brep(model: Model, mesh: Mesh) -> Any:
    points, faces = mesh
    spots = [model.point(*point) for point in points]
    loops = [model.make("IfcPolyLoop", [spots[i] for i in face]) for face in faces]
    bounds = [model.make("IfcFaceOuterBound", loop, True) for loop in loops]
    shell = [model.make("IfcFace", [bound]) for bound in bounds]
    return model.make("IfcFacetedBrep", model.make("IfcClosedShell", shell))


def triangles(model: Model, mesh: Mesh) -> Any:
    points, faces = mesh
    three = [
        (face[0] + 1, face[i] + 1, face[i + 1] + 1)
        for face in faces
        for i in range(1, len(face) - 1)
    ]
    listed = model.make(
        "IfcCartesianPointList3D", [tuple(map(float, p)) for p in points]
    )
    return model.make("IfcTriangulatedFaceSet", listed, None, None, three)


def polygons(model: Model, mesh: Mesh) -> Any:
    points, faces = mesh
    listed = model.make(
        "IfcCartesianPointList3D", [tuple(map(float, p)) for p in points]
    )
    one_up = [[i + 1 for i in face] for face in faces]
    shown = [model.make("IfcIndexedPolygonalFace", face) for face in one_up]
    return model.make("IfcPolygonalFaceSet", listed, None, shown)


MAKERS = [brep, triangles, polygons]
FIGURES: dict[str, tuple[Callable[[float], Mesh], Section]] = {
    "solid round": (lambda long: prism(ring(240), long), D240),
    "twelve sides": (lambda long: prism(ring(240, 12), long), D240),
    "round pipe": (lambda long: pipe(ring(260), ring(240), long), D240),
    "thick round pipe": (lambda long: pipe(ring(500), ring(240), long), D240),
    "box pipe": (lambda long: pipe(box(602, 302), box(600, 300), long), R600),
    "thick box pipe": (lambda long: pipe(box(900, 600), box(600, 300), long), R600),
    "flat box pipe": (
        lambda long: pipe(box(1010, 110), box(1000, 100), long),
        rectangular(1.0, 0.1),
    ),
}


def by_name(drawing: Drawing) -> dict[str, Any]:
    return {run.name: run for run in drawing.runs}


@pytest.mark.parametrize("ports", [False, True])
@pytest.mark.parametrize("length", [50, 240, 3000])
def test_faces_show_the_way_and_the_inside(
    length: float, ports: bool, tmp_path: Path
) -> None:
    """Whatever the length: 240 mm is that of a cylinder as long as it is thick."""
    model = Model()
    wanted = {}
    for number, (figure, (mesh, section)) in enumerate(FIGURES.items()):
        body = MAKERS[number % 3](model, mesh(length))
        model.duct(body, ports=ports, name=figure, aside=5e3 * number, length=length)
        wanted[figure] = section
    for number, is_round in enumerate((True, False)):
        corners = ring(240) if is_round else box(600, 300)
        body = triangles(model, prism(corners, length, is_open=True))
        name, aside = f"open {'round' if is_round else 'box'}", 5e3 * (9 + number)
        model.duct(body, ports=ports, name=name, aside=aside, length=length)
        wanted[name] = D240 if is_round else R600
    drawing = model.drawing(tmp_path)
    runs = by_name(drawing)
    for figure, section in wanted.items():
        assert same(runs[figure].section, section), figure
        assert runs[figure].length == pytest.approx(length / 1000), figure
        assert abs(runs[figure].points[-1, 0]) in (0.0, pytest.approx(length / 1000))
    assert set(drawing.section_basis) == {Basis.ASSUMED}
    said = said_by(drawing)
    assert ", from inside" in said
    assert ", from outside" in said
    assert ("its section was taken from its faces" in said) == ports
    assert "longest side" not in said


@pytest.mark.parametrize(
    ("ports", "name", "wanted"),
    [
        (False, "duct", rectangular(0.1, 0.3)),
        (False, "duct 600x300", R600),
        (True, "duct", R600),
    ],
)
def test_a_solid_box_shorter_than_wide(
    ports: bool, name: str, wanted: Section, tmp_path: Path
) -> None:
    """Its faces do not tell its way: its ports do, or its section, or it is said."""
    model = Model()
    body = brep(model, prism(box(600, 300), 100))
    model.duct(body, ports=ports, name=name, length=100)
    drawing = model.drawing(tmp_path)
    assert same(drawing.run(0).section, wanted)
    assert drawing.run(0).length == pytest.approx(0.1 if wanted == R600 else 0.6)
    said = "assumed along the longest side of its faces" in said_by(drawing)
    assert said == (wanted != R600)


@pytest.mark.parametrize("beyond", [-200, 100])
def test_insulation_of_faces_is_not_the_duct(beyond: float, tmp_path: Path) -> None:
    """Also where its inside touches the duct."""
    model = Model()
    points, faces = pipe(ring(340), ring(240), 2000 + 2 * beyond)
    around = [(x, y, z - beyond) for x, y, z in points], faces
    duct = brep(model, prism(ring(240), 2000))
    model.duct(duct, brep(model, around), ports=False)
    run = model.drawing(tmp_path).run(0)
    assert same(run.section, D240)
    assert run.length == pytest.approx(2.0)


def test_a_short_round_duct_with_collars(tmp_path: Path) -> None:
    model = Model()
    points, faces = pipe(ring(290), ring(242), 5)
    far = [(x, y, z + 55) for x, y, z in points], faces
    duct = triangles(model, pipe(ring(242), ring(240), 60))
    collars = [triangles(model, mesh) for mesh in ((points, faces), far)]
    model.duct(duct, *collars, ports=False)
    run = model.drawing(tmp_path).run(0)
    assert same(run.section, D240)
    assert run.length == pytest.approx(0.06)


def test_a_rod_beside_a_duct_makes_no_inside_of_it(tmp_path: Path) -> None:
    model = Model()
    points, faces = prism(box(10, 10), 900)
    rod = [(x, y + 200, z) for x, y, z in points], faces
    model.duct(brep(model, prism(ring(240), 1000)), brep(model, rod), ports=False)
    drawing = model.drawing(tmp_path)
    assert same(drawing.run(0).section, D240)
    assert ", from outside" in said_by(drawing)


def test_faces_of_a_cone_are_said(tmp_path: Path) -> None:
    model = Model()
    points, faces = prism(ring(240), 1000)
    narrow = [(x / (1 + z / 1000), y / (1 + z / 1000), z) for x, y, z in points]
    model.duct(triangles(model, (narrow, faces)), length=1000)
    drawing = model.drawing(tmp_path)
    section = drawing.run(0).section
    assert section is not None
    assert section.shape == Shape.ROUND
    assert 0.12 < section.width < 0.24
    assert "as if it were straight and of one section" in said_by(drawing)


def test_ducts_of_faces_alike_are_said_at_once(tmp_path: Path) -> None:
    model = Model()
    for number in range(5):
        body = triangles(model, prism(ring(240), 1000))
        model.duct(body, aside=5000 * number, length=1000)
    said = [n for n in model.drawing(tmp_path).notices if "faces" in n.what]
    assert len(said) == 1
    assert "and 2 more" in said[0].where
