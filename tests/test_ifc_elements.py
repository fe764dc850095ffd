"""What a single duct of an IFC file says of itself: properties, placement, bodies.

The models are invented: one duct of 5 m from (0, 0, 3) m along X, in millimetres.
"""

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from ifc_models import ALONG, Model, said_by

from elbowroom.layout import (
    BadInput,
    Drawing,
    DuctGraph,
    Schedule,
    Section,
    SourceSpec,
    TerminalSpec,
    build,
    flat_oval,
    read,
    rectangular,
    round_section,
)

ifcopenshell = pytest.importorskip("ifcopenshell")


@pytest.mark.parametrize(
    "form", ["IfcPropertyEnumeratedValue", "IfcPropertySingleValue"]
)
@pytest.mark.parametrize(
    ("shape", "height", "wanted"),
    [
        ("RECTANGULAR", 300, rectangular(0.6, 0.3)),
        ("FLATOVAL", 300, flat_oval(0.6, 0.3)),
        ("ROUND", 600, round_section(0.6)),
    ],
)
def test_the_shape_that_the_standard_enumerates(
    shape: str, height: float, wanted: Section, form: str, tmp_path: Path
) -> None:
    """Shape of Pset_DuctSegmentTypeCommon, ISO 16739-1 (from memory)."""
    model = Model()
    model.duct(properties=model.sizes(shape, 600, height, form))
    assert model.drawing(tmp_path).run(0).section == wanted


def test_a_round_duct_of_two_sizes_is_refused_but_for_a_body(tmp_path: Path) -> None:
    model = Model()
    sizes = model.sizes("ROUND", 600, 300, "IfcPropertyEnumeratedValue")
    model.duct(properties=sizes)
    with pytest.raises(BadInput, match=r"'duct'.*round, with a width of 600 mm"):
        model.drawing(tmp_path)
    model = Model()
    sizes = model.sizes("ROUND", 600, 300, "IfcPropertyEnumeratedValue")
    model.duct(model.extrusion(400, 200, 5000), properties=sizes)
    assert model.drawing(tmp_path).run(0).section == rectangular(0.4, 0.2)


AXES = [
    ((-1, 0, 0), (0, 1, 0), None),
    ((0, 1, 0), (1, 0, 0), None),
    ((-1, 0, 0), None, None),
    ((1, 0, 0), (0, -1, 0), None),
    ((1, 0, 0), (0, 1, 0), (0, 0, -1)),
    ((0, 1, 0), (-1, 0, 0), (0, 0, 1)),
    ((1, 0, 0.5), (0, 1, 0), None),
    (None, None, (1, 0, 1)),
    (None, None, None),
]


@pytest.mark.parametrize("axes", AXES)
@pytest.mark.parametrize("is_bent", [False, True])
def test_a_mapped_duct_stands_where_the_kernel_has_it(
    is_bent: bool, axes: Sequence[Sequence[float] | None], tmp_path: Path
) -> None:
    """Also where the operator mirrors; a bend shows which way it turns."""
    geom = pytest.importorskip("ifcopenshell.geom")
    model = Model(("PLANEANGLEUNIT", None, "RADIAN"))
    item = model.extrusion(300, 200, 5000, (100, 200, 0))
    if is_bent:
        hub, about = model.point(900, 0, 0), model.direction(0, 1, 0)
        axle = model.make("IfcAxis1Placement", hub, about)
        item = model.make(
            "IfcRevolvedAreaSolid", item.SweptArea, item.Position, axle, np.pi / 2
        )
    body = model.make(
        "IfcShapeRepresentation", model.context, "Body", "SweptSolid", [item]
    )
    source = model.make("IfcRepresentationMap", model.place(), body)
    first, second, third = (None if a is None else model.direction(*a) for a in axes)
    operator = model.make(
        "IfcCartesianTransformationOperator3D",
        first,
        second,
        model.point(0, 0, 0),
        None,
        third,
    )
    duct = model.duct(model.make("IfcMappedItem", source, operator), ports=False)
    ends = model.drawing(tmp_path).run(0).points[[0, -1]]
    settings = geom.settings()
    settings.set("use-world-coords", True)
    corners = np.array(geom.create_shape(settings, duct).geometry.verts)
    apart = np.linalg.norm(corners.reshape(-1, 3) - ends[:, None], axis=2)
    assert apart.min(axis=1) == pytest.approx(np.hypot(0.15, 0.1), abs=1e-6)


RATE = "IfcVolumetricFlowRateMeasure"


def test_a_unit_of_airflow_that_nobody_states_is_said(tmp_path: Path) -> None:
    drawing = with_airflow(tmp_path, RATE, 0.3)
    assert drawing.run(0).flow == 0.3
    assert "the airflow of 1 element was taken as m3/s" in said_by(drawing)


def test_a_unit_of_airflow_of_the_property_itself_counts(tmp_path: Path) -> None:
    drawing = with_airflow(tmp_path, RATE, 300.0, in_litres=True)
    assert drawing.run(0).flow == pytest.approx(0.3)
    assert "m3/s" not in said_by(drawing)


@pytest.mark.parametrize(
    ("kind", "value", "is_said"),
    [
        (RATE, -0.3, True),
        (RATE, 0.0, False),  # nothing was said
        ("IfcReal", 0.3, True),
        ("IfcLabel", "300 L/s", True),
    ],
)
def test_an_airflow_that_is_left_out_is_said(
    kind: str, value: Any, is_said: bool, tmp_path: Path
) -> None:
    drawing = with_airflow(tmp_path, kind, value)
    assert np.isnan(drawing.run(0).flow)
    assert ("an airflow property of 'duct'" in said_by(drawing)) == is_said
    assert "m3/s" not in said_by(drawing)


def with_airflow(
    folder: Path, kind: str, value: Any, *, in_litres: bool = False
) -> Drawing:
    model = Model()
    unit = None
    if in_litres:
        parts = (("LENGTHUNIT", "DECI", "METRE", 3), ("TIMEUNIT", None, "SECOND", -1))
        unit = model.make(
            "IfcDerivedUnit",
            [
                model.make(
                    "IfcDerivedUnitElement",
                    model.make("IfcSIUnit", None, what, prefix, name),
                    power,
                )
                for what, prefix, name, power in parts
            ],
            "VOLUMETRICFLOWRATEUNIT",
        )
    said = model.make(
        "IfcPropertySingleValue", "AirFlowRate", None, model.make(kind, value), unit
    )
    model.duct(model.extrusion(600, 300, 5000), properties=[said])
    return model.drawing(folder)


UNSURE = "none is plainly the duct from end to end"


@pytest.mark.parametrize("is_reversed", [False, True])
@pytest.mark.parametrize("ports", [False, True])
@pytest.mark.parametrize(
    "other",
    [
        (680, 380, 10),  # a flange
        (650, 350, 5000),  # insulation
        (650, 350, 4900),  # insulation that leaves the ends bare
    ],
)
def test_the_body_from_end_to_end_is_the_duct(
    other: tuple[float, float, float], ports: bool, is_reversed: bool, tmp_path: Path
) -> None:
    drawing = of_bodies(
        tmp_path, [(600, 300, 5000), other], ports=ports, is_reversed=is_reversed
    )
    assert drawing.run(0).section == rectangular(0.6, 0.3)
    assert drawing.run(0).length == pytest.approx(5.0)
    assert UNSURE not in said_by(drawing)


@pytest.mark.parametrize("is_reversed", [False, True])
def test_the_ports_tell_a_duct_from_a_rod_beside_it(
    is_reversed: bool, tmp_path: Path
) -> None:
    bodies = [(600, 300, 5000), (10, 10, 5000, (0, 170, 0))]
    drawing = of_bodies(tmp_path, bodies, ports=True, is_reversed=is_reversed)
    assert drawing.run(0).section == rectangular(0.6, 0.3)
    assert UNSURE not in said_by(drawing)
    drawing = of_bodies(tmp_path, bodies, ports=False, is_reversed=is_reversed)
    assert UNSURE in said_by(drawing)


@pytest.mark.parametrize("is_reversed", [False, True])
@pytest.mark.parametrize("ports", [False, True])
@pytest.mark.parametrize("first", [2000, 2500])
def test_bodies_end_to_end_are_said(
    first: float, ports: bool, is_reversed: bool, tmp_path: Path
) -> None:
    bodies = [(600, 300, first), (600, 300, 5000 - first, (0, 0, first))]
    drawing = of_bodies(tmp_path, bodies, ports=ports, is_reversed=is_reversed)
    assert UNSURE in said_by(drawing)
    assert drawing.run(0).length == pytest.approx(5.0 if ports else 5.0 - first / 1000)


def test_four_plates_are_said(tmp_path: Path) -> None:
    plates: list[Any] = [(600, 1, 5000, (0, side, 0)) for side in (-150, 150)]
    plates += [(1, 300, 5000, (side, 0, 0)) for side in (-300, 300)]
    assert UNSURE in said_by(of_bodies(tmp_path, plates, ports=True))


def of_bodies(
    folder: Path, bodies: Sequence[Any], *, ports: bool, is_reversed: bool = False
) -> Drawing:
    model = Model()
    items = [model.extrusion(*body) for body in bodies]
    model.duct(*(items[::-1] if is_reversed else items), ports=ports)
    return model.drawing(folder)


@pytest.mark.parametrize("collars", [(0, 0), (150, 150), (150, 0), (400, 150)])
def test_the_body_of_an_elbow_states_its_radius(
    collars: tuple[float, float], tmp_path: Path
) -> None:
    """Ports at the ends of the collars, 300 mm the radius of the bend itself."""
    model = Model(("PLANEANGLEUNIT", None, "RADIAN"))
    first, last = collars
    model.duct(model.extrusion(200, 200, 5000))
    hub, about = model.point(300, 0, 0), model.direction(0, 1, 0)
    axle = model.make("IfcAxis1Placement", hub, about)
    straight = model.extrusion(200, 200, 100)
    items = [
        model.make(
            "IfcRevolvedAreaSolid",
            straight.SweptArea,
            model.place((0, 0, first)),
            axle,
            np.pi / 2,
        )
    ]
    if first:
        items.append(model.extrusion(200, 200, first))
    body = model.make(
        "IfcShapeRepresentation", model.context, "Body", "SweptSolid", items
    )
    here = model.make("IfcLocalPlacement", None, model.place((5000, 0, 3000), *ALONG))
    elbow = model.make(
        "IfcDuctFitting",
        ifcopenshell.guid.new(),
        Name="elbow",
        ObjectPlacement=here,
        Representation=model.make("IfcProductDefinitionShape", None, None, [body]),
    )
    ports = (
        ((0, 0, 0), (0, 0, -1), (1, 0, 0)),
        ((300 + last, 0, first + 300), (1, 0, 0), (0, 1, 0)),
    )
    for port in ports:
        place = model.make("IfcLocalPlacement", here, model.place(*port))
        own = model.make(
            "IfcDistributionPort", ifcopenshell.guid.new(), ObjectPlacement=place
        )
        words = {"RelatingObject": elbow, "RelatedObjects": [own]}
        model.make("IfcRelNests", ifcopenshell.guid.new(), **words)
    drawing = model.drawing(tmp_path)
    (run,) = drawing.runs
    assert run.attributes.bend_radius == pytest.approx(0.3)
    assert "ports alone" not in said_by(drawing)
    elbow.Representation = None
    drawing = model.drawing(tmp_path)
    (run,) = drawing.runs
    follows = first == last  # else the ports leave it open
    wanted = pytest.approx(0.3 + first / 1000) if follows else None
    assert run.attributes.bend_radius == wanted
    assert ("ports alone" in said_by(drawing)) == follows


def test_a_reference_to_nothing_is_refused_with_its_place(tmp_path: Path) -> None:
    model = Model()
    duct = model.duct(model.extrusion(300, 200, 5000))
    model.drawing(tmp_path)
    path = tmp_path / "duct.ifc"
    text = path.read_text(encoding="utf-8")
    place = f"#{duct.ObjectPlacement.id()}"
    axes = f"#{duct.ObjectPlacement.RelativePlacement.id()}"
    path.write_text(text.replace(f",{axes})", ",#999999)"), encoding="utf-8")
    wanted = f"{place} IFCLOCALPLACEMENT refers to #999999, which the file does not"
    with pytest.raises(BadInput, match=wanted):
        read(path)


@pytest.mark.parametrize(
    ("at", "value", "what"),
    [
        (2, None, "has no ExtrudedDirection"),
        (2, "place", "has an unfit ExtrudedDirection"),
    ],
)
def test_what_a_body_lacks_is_said_of_its_duct(
    at: int, value: str | None, what: str, tmp_path: Path
) -> None:
    model = Model()
    body = model.extrusion(300, 200, 5000)
    duct = model.duct(body, name="B1")
    model.drawing(tmp_path)
    path = tmp_path / "duct.ifc"
    text = path.read_text(encoding="utf-8")
    line = next(x for x in text.splitlines() if x.startswith(f"#{body.id()}="))
    old = f"#{body[at].id()},"
    new = f"#{body[1].id()}," if value else "$,"
    path.write_text(text.replace(line, line.replace(old, new)), encoding="utf-8")
    with pytest.raises(BadInput) as caught:
        read(path)
    (fault,) = caught.value.faults
    assert fault.where == f"duct.ifc, #{duct.id()} IfcDuctSegment 'B1'"
    assert fault.what.startswith(f"#{body.id()} IfcExtrudedAreaSolid {what}")


X, Y, Z = (1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0)
LEVEL = ((0, 0, 3000), X, Y, 300, 400, 5000)  # place, way, that of its first side


def line_of(folder: Path, *ducts: Any) -> DuctGraph:
    """Ducts without ports, each of a place, two axes, two sides and a length in mm."""
    model = Model()
    for number, (at, along, first, wide, high, length) in enumerate(ducts):
        body = model.make(
            "IfcShapeRepresentation",
            model.context,
            "Body",
            "SweptSolid",
            [model.extrusion(wide, high, length)],
        )
        model.make(
            "IfcDuctSegment",
            ifcopenshell.guid.new(),
            Name=f"duct {number}",
            ObjectPlacement=model.make(
                "IfcLocalPlacement", None, model.place(at, along, first)
            ),
            Representation=model.make("IfcProductDefinitionShape", None, None, [body]),
        )
    drawing = model.drawing(folder)
    x, y, z = np.array(ducts[0][0]) / 1000.0
    end = drawing.names[-1]  # a riser and the level duct beside it may be one run
    source = SourceSpec(at=(x, y, z))
    return build(drawing, Schedule(source=source, terminals={end: TerminalSpec(0.5)}))


@pytest.mark.parametrize(
    ("riser", "changes"),
    [
        ((Y, 300, 400), False),
        ((X, 400, 300), False),  # the same, its profile drawn the other way round
        ((X, 300, 400), True),
        ((Y, 400, 300), True),
    ],
)
def test_a_riser_is_compared_as_its_profile_lies(
    riser: Any, changes: bool, tmp_path: Path
) -> None:
    """Carried up from a level duct, its 300 mm lie along Y."""
    graph = line_of(tmp_path, LEVEL, ((5000, 0, 3000), Z, *riser, 6000))
    assert len(graph.transitions.duct) == changes
    assert graph.bends.in_plane.tolist() == [0.4]
    said = [one for one in graph.notices if "changes at the corner" in one.what]
    assert len(said) == changes


@pytest.mark.parametrize(
    ("sides", "changes"), [((400, 300), False), ((300, 400), True)]
)
def test_a_level_duct_behind_a_riser_stands_as_its_profile_lies(
    sides: Any, changes: bool, tmp_path: Path
) -> None:
    """Carried up and then aside, the 300 mm that lay along Y stand upright."""
    riser = ((5000, 0, 3000), Z, Y, 300, 400, 6000)
    graph = line_of(tmp_path, LEVEL, riser, ((5000, 0, 9000), Y, X, *sides, 4000))
    assert len(graph.transitions.duct) == changes
    assert abs(graph.ducts.upright[-1, 2]) == pytest.approx(1.0)
    assert not any("arrives turned" in one.what for one in graph.notices)


def test_a_riser_at_the_source_and_a_level_duct_are_no_run_with_an_idle_up(
    tmp_path: Path,
) -> None:
    riser = ((0, 0, 0), Z, X, 300, 400, 3000)
    graph = line_of(tmp_path, riser, ((0, 0, 3000), X, Y, 400, 300, 5000))
    assert len(graph.transitions.duct) == 0
    assert not any("'up' points along" in one.what for one in graph.notices)


@pytest.mark.parametrize("by_type", [False, True])
@pytest.mark.parametrize(
    ("flexible", "length"),
    [("BC", 2.7 + 0.6 + 2.7), ("C", 2.7), ("", 0.0)],  # an elbow beside rigid is rigid
)
def test_flexible_segments_are_runs_of_their_own(
    flexible: str, length: float, by_type: bool, tmp_path: Path
) -> None:
    """IfcDuctSegmentTypeEnum, of the occurrence or its type, ISO 16739-1."""
    model = Model()
    make, guid = model.make, ifcopenshell.guid.new
    kinds = {
        kind: make("IfcDuctSegmentType", guid(), PredefinedType=kind)
        for kind in ("RIGIDSEGMENT", "FLEXIBLESEGMENT")
    }
    for name, at, way, long in (
        ("A", (0, 0, 0), X, 5000),
        ("B", (5000, 0, 0), X, 2700),
        ("C", (8000, 300, 0), Y, 2700),
    ):
        kind = ("RIGIDSEGMENT", "FLEXIBLESEGMENT")[name in flexible]
        duct = model.duct(model.extrusion(200, 200, long), ports=False, name=name)
        duct.ObjectPlacement = make("IfcLocalPlacement", None, model.place(at, way, Z))
        if by_type:
            words = {"RelatedObjects": [duct], "RelatingType": kinds[kind]}
            make("IfcRelDefinesByType", guid(), **words)
        duct.PredefinedType = "NOTDEFINED" if by_type else kind
    elbow = make("IfcDuctFitting", guid(), Name="elbow", PredefinedType="BEND")
    for at, out in (((7700, 0, 0), (-1, 0, 0)), ((8000, 300, 0), Y)):
        place = make("IfcLocalPlacement", None, model.place(at, out, Z))
        port = make("IfcDistributionPort", guid(), ObjectPlacement=place)
        words = {"RelatingObject": elbow, "RelatedObjects": [port]}
        make("IfcRelNests", guid(), **words)
    drawing = model.drawing(tmp_path)
    found = {run.name: run.attributes.flexible for run in drawing.runs}
    assert found == {"A": False} | ({flexible[0]: True} if flexible else {})
    if flexible:
        assert drawing.run(1).length == pytest.approx(length)
