"""Small IFC4 models in millimetres, invented for the tests."""

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pytest

from elbowroom.layout import Drawing, read

ifcopenshell = pytest.importorskip("ifcopenshell")
ALONG = ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0))  # axis of a duct, and its width


class Model:
    """An IFC4 model of one duct, which is written by `drawing`."""

    def __init__(self, *units: tuple[str, str | None, str]) -> None:
        self.make: Any = ifcopenshell.file(schema="IFC4").create_entity
        self.model = self.make.__self__
        said = (("LENGTHUNIT", "MILLI", "METRE"), *units)
        assignment = self.make(
            "IfcUnitAssignment", [self.make("IfcSIUnit", None, *unit) for unit in said]
        )
        self.context = self.make(
            "IfcGeometricRepresentationContext", None, "Model", 3, 1e-5, self.place()
        )
        self.make(
            "IfcProject",
            ifcopenshell.guid.new(),
            Name="p",
            RepresentationContexts=[self.context],
            UnitsInContext=assignment,
        )

    def point(self, *numbers: float) -> Any:
        return self.make("IfcCartesianPoint", [float(number) for number in numbers])

    def direction(self, *numbers: float) -> Any:
        return self.make("IfcDirection", [float(number) for number in numbers])

    def place(
        self, at: Sequence[float] = (0, 0, 0), *axes: Sequence[float] | None
    ) -> Any:
        own = [None if axis is None else self.direction(*axis) for axis in axes]
        return self.make("IfcAxis2Placement3D", self.point(*at), *own)

    def extrusion(
        self,
        width: float,
        height: float,
        length: float,
        at: Sequence[float] = (0, 0, 0),
    ) -> Any:
        """A rectangle of so many mm, swept along the duct."""
        middle = self.make("IfcAxis2Placement2D", self.point(0, 0))
        profile = self.make(
            "IfcRectangleProfileDef", "AREA", None, middle, float(width), float(height)
        )
        up = self.direction(0, 0, 1)
        position = self.place(at)
        return self.make("IfcExtrudedAreaSolid", profile, position, up, float(length))

    def duct(
        self,
        *items: Any,
        ports: bool = True,
        properties: Sequence[Any] = (),
        name: str = "duct",
        aside: float = 0.0,
        length: float = 5000.0,
    ) -> Any:
        """The duct, of what its body consists of and what is said of it."""
        shape = None
        if items:
            body = self.make(
                "IfcShapeRepresentation", self.context, "Body", "SweptSolid", items
            )
            shape = self.make("IfcProductDefinitionShape", None, None, [body])
        here = self.make(
            "IfcLocalPlacement", None, self.place((0, aside, 3000), *ALONG)
        )
        duct = self.make(
            "IfcDuctSegment",
            ifcopenshell.guid.new(),
            Name=name,
            ObjectPlacement=here,
            Representation=shape,
        )
        for at, out in ((0, -1), (length, 1)) if ports else ():
            port = self.make(
                "IfcDistributionPort",
                ifcopenshell.guid.new(),
                ObjectPlacement=self.make(
                    "IfcLocalPlacement", here, self.place((0, 0, at), (0, 0, out))
                ),
            )
            words = {"RelatingObject": duct, "RelatedObjects": [port]}
            self.make("IfcRelNests", ifcopenshell.guid.new(), **words)
        if properties:
            every = self.make(
                "IfcPropertySet",
                ifcopenshell.guid.new(),
                Name="Pset_DuctSegmentTypeCommon",
                HasProperties=properties,
            )
            self.make(
                "IfcRelDefinesByProperties",
                ifcopenshell.guid.new(),
                RelatedObjects=[duct],
                RelatingPropertyDefinition=every,
            )
        return duct

    def single(self, name: str, kind: str, value: Any) -> Any:
        return self.make(
            "IfcPropertySingleValue", name, None, self.make(kind, value), None
        )

    def sizes(self, shape: str, width: float, height: float, form: str) -> list[Any]:
        label = self.make("IfcLabel", shape)
        said: Any = [label] if form == "IfcPropertyEnumeratedValue" else label
        kind = "IfcPositiveLengthMeasure"
        return [
            self.make(form, "Shape", None, said),
            self.single("NominalDiameterOrWidth", kind, float(width)),
            self.single("NominalHeight", kind, float(height)),
        ]

    def drawing(self, folder: Path) -> Drawing:
        path = folder / "duct.ifc"
        self.model.write(str(path))
        return read(path)


def said_by(drawing: Drawing) -> str:
    return " ".join(notice.sentence for notice in drawing.notices)
