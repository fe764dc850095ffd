"""IFC files as they are: opened safely, with their units, placements and properties."""

import math
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np

from .faults import BadInput, refusal, some
from .sections import FloatArray
from .units import UNITS

_SCHEMAS = ("IFC2X3", "IFC4", "IFC4X3")
_END = b"END-ISO-10303-21;"
_BOM = b"\xef\xbb\xbf"
_TEXTS = re.compile(rb"'[^']*'")
_COMMENTS = re.compile(rb"/\*.*?\*/", re.S)
_HEADER = re.compile(
    rb"\s*(?:\xef\xbb\xbf)?\s*ISO-10303-21\s*;\s*HEADER\s*;\s*"
    rb"FILE_DESCRIPTION\s*\([^;]*\)\s*;\s*FILE_NAME\s*\([^;]*\)\s*;\s*"
    rb"FILE_SCHEMA\s*\(\s*\([^;()]*\)\s*\)\s*;\s*(?:\w+\s*\([^;]*\)\s*;\s*)*"
    rb"ENDSEC\s*;\s*DATA\s*(?:\([^;]*\)\s*)?;"
)
# An instance in full, or a statement of another kind.
_STATEMENT = re.compile(
    rb"\s*(?:#\d+\s*=\s*[A-Za-z][A-Za-z0-9_]*\s*\(.*\)\s*$|[^#\s]|$)", re.S
)
_REFERENCES = re.compile(rb"#\d+")
_LONGEST = 18  # of those; a longer one is beyond all whole numbers here
_WHOLE = re.compile(rb"(#\d+)\s*=\s*(\w+)\s*([^;]*);")
_DEEPEST = 200  # placements within placements
_PREFIXES = {
    "GIGA": 1e9, "MEGA": 1e6, "KILO": 1e3, "HECTO": 1e2, "DECA": 10.0,
    "DECI": 0.1, "CENTI": 1e-2, "MILLI": 1e-3, "MICRO": 1e-6, "NANO": 1e-9,
}  # fmt: skip
_POWERS = {"SQUARE": 2, "CUBIC": 3}
Entity = Any  # what ifcopenshell hands out; it has no types of its own

# Places of attributes, the same in every schema: asking by name costs four times more.
_RELATIVE_TO, _RELATIVE_PLACEMENT = 0, 1  # of IfcLocalPlacement
_LOCATION, _AXIS, _REF_DIRECTION = 0, 1, 2  # of IfcAxis2Placement3D
_LOCATION_2D, _REF_DIRECTION_2D = 0, 1  # of IfcAxis2Placement2D
_NUMBERS = 0  # of IfcCartesianPoint and IfcDirection


@dataclass(frozen=True, eq=False)
class IfcModel:
    """One IFC file, opened.

    Parameters
    ----------
    path
        The file.
    content
        The model as ifcopenshell holds it.
    metre, metre_origin
        One length unit of the file in metres, and who said so.
    geometry_factor
        What makes metres of the lengths that ifcopenshell's own geometry gives.
    stated
        What the file itself says of `metre`; None where it does not.
    """

    path: Path
    content: Any
    metre: float
    metre_origin: str
    geometry_factor: float
    stated: float | None

    @property
    def file(self) -> str:
        """Name of the file, for messages."""
        return self.path.name


def open_ifc(path: Path, unit: str | None) -> IfcModel:
    """Open an IFC file.

    Parameters
    ----------
    path
        The file, as STEP text.
    unit
        Length unit where the file states none or states it wrongly.

    Returns
    -------
    model
        The open file.

    Raises
    ------
    BadInput
        If ifcopenshell is missing, or the file is cut short, of a schema that is not
        known, damaged, or without a length unit.
    """
    try:
        import ifcopenshell
    except ImportError:
        raise refusal(
            path.name,
            "IFC files are read with ifcopenshell, which is not installed",
            "install it with: pip install ifcopenshell",
        ) from None
    content = path.read_bytes()
    if not content.rstrip().endswith(_END):
        raise refusal(
            path.name,
            f"the file is cut short: it does not end with {_END.decode()}",
            "ask for a complete copy",
        )
    _check_words(path.name, content)
    schema = _schema(content)
    if not re.fullmatch(rf"({'|'.join(_SCHEMAS)})(_\w+)?", schema):
        raise refusal(
            path.name,
            f"its schema '{schema}' is not known",
            f"export it as {', '.join(_SCHEMAS[:-1])} or {_SCHEMAS[-1]}",
        )
    try:
        if content.startswith(_BOM):  # the parser refuses a byte order mark
            text = content.removeprefix(_BOM).decode("utf-8", "replace")
            model = ifcopenshell.file.from_string(text)
        else:
            model = ifcopenshell.open(str(path))
        projects = model.by_type("IfcContext" if schema != "IFC2X3" else "IfcProject")
        stated = next((u for p in projects for u in _stated_length(p)), None)
        largest = 0.0
        if unit is None and stated is None:
            points = model.by_type("IfcCartesianPoint")
            largest = max((max(map(abs, p.Coordinates)) for p in points), default=0.0)
    except BadInput:
        raise
    except Exception:  # whatever a damaged file makes the library raise
        raise refusal(
            path.name,
            "it is damaged: between its first and last line it is no IFC",
            "export it again",
        ) from None
    if unit is None and stated is None:
        raise refusal(
            path.name,
            "it states no length unit"
            + ("; the numbers look like millimetres" if largest > 500.0 else ""),
            "say --unit mm, or whatever it was drawn in",
        )
    metre = UNITS[unit].factor if unit else float(stated or 1.0)
    return IfcModel(
        path,
        model,
        metre,
        "option" if unit else "the file states it",
        metre / (stated or 1.0),
        stated,
    )


def _check_words(file: str, content: bytes) -> None:
    """Refuse what is not well formed: the parser dies on some of it.

    ISO 10303-21: statements end with a semicolon, texts stand in quotes, and brackets
    close within their statement.
    """
    plain = _TEXTS.sub(b"''", _COMMENTS.sub(b"", content))
    if not _HEADER.match(plain):
        raise refusal(file, "its header is damaged", "export it again")
    well_formed = _STATEMENT.match
    for words in plain.split(b";"):
        if words.count(b"(") != words.count(b")") or not well_formed(words):
            shown = words.strip()[:40].decode("ascii", "replace")
            raise refusal(
                file, f"the statement '{shown}...' is damaged", "export it again"
            )
    # The library reads what is not there as what was never said.
    lost = _lost(plain)
    if lost:
        said = [
            f"{of.decode()} {kind.decode()} refers to {name.decode()}"
            for of, kind, words in _WHOLE.findall(plain)
            for name in _REFERENCES.findall(words)
            if len(name) > _LONGEST or int(name[1:]) in lost
        ]
        raise refusal(
            file,
            f"{some(said, 3)}, which the file does not hold",
            "export the whole model again, or mend it where it was filtered",
        )


def _lost(plain: bytes) -> set[int]:
    """Numbers that are referred to and stand before no `=`.

    Digit by digit in all places at once, as a pattern takes longer than the rest.
    """
    text = np.frombuffer(plain + b"\0", np.uint8)
    at = (text == ord("#")).nonzero()[0] + 1
    number = np.zeros(len(at), dtype=np.int64)
    while (is_digit := (digit := text[at] - ord("0")) < 10).any():  # less wraps round
        number = np.where(is_digit, 10 * number + digit, number)
        at += is_digit
    while (is_blank := np.isin(text[at], np.frombuffer(b" \t\r\n", np.uint8))).any():
        at += is_blank
    defined = number[text[at] == ord("=")]
    return set(number[~np.isin(number, defined)].tolist())


def _schema(content: bytes) -> str:
    found = re.search(rb"FILE_SCHEMA\s*\(\s*\(\s*'([^']*)'", content[:65536], re.I)
    return found[1].decode("ascii", "replace").upper() if found else ""


def _stated_length(project: Entity) -> Iterator[float]:
    assignment = project.UnitsInContext
    for unit in assignment.Units if assignment else ():
        if attribute(unit, "UnitType") == "LENGTHUNIT":
            yield unit_factor(unit)


def unit_factor(unit: Entity) -> float:
    """One of a unit in SI units.

    Parameters
    ----------
    unit
        An IfcSIUnit, IfcConversionBasedUnit or IfcDerivedUnit.

    Returns
    -------
    factor
        What makes SI units of a number in it.

    Raises
    ------
    ValueError
        If it is of another kind.
    """
    kind = unit.is_a()
    if kind == "IfcSIUnit":
        power = _POWERS.get(str(unit.Name).split("_")[0], 1)
        return float(_PREFIXES[unit.Prefix] ** power) if unit.Prefix else 1.0
    if kind == "IfcConversionBasedUnit":
        measure = unit.ConversionFactor
        value = float(measure.ValueComponent.wrappedValue)
        return value * unit_factor(measure.UnitComponent)
    if kind == "IfcDerivedUnit":
        factor = 1.0
        for element in unit.Elements:
            factor *= unit_factor(element.Unit) ** element.Exponent
        return factor
    raise ValueError(f"a unit of the kind {kind}")


def assigned_factor(model: IfcModel, kind: str) -> float | None:
    """One of a file's units of a kind in SI units; None where the file states none.

    Parameters
    ----------
    model
        The file.
    kind
        As IFC writes it: 'PLANEANGLEUNIT', 'VOLUMETRICFLOWRATEUNIT'.
    """
    for assignment in model.content.by_type("IfcUnitAssignment"):
        for unit in assignment.Units:
            if attribute(unit, "UnitType") == kind:
                return unit_factor(unit)
    return None


def attribute(entity: Entity, name: str) -> Any:
    """Attribute of an entity, or None where its class has none of that name."""
    known: bool = entity.get_attribute_category(name) == 1
    return getattr(entity, name) if known else None


class Placements:
    """World matrices of the placements of a model, each worked out once."""

    def __init__(self, model: IfcModel) -> None:
        self._file = model.file
        self.metre = model.metre
        self._radian = assigned_factor(model, "PLANEANGLEUNIT")
        self.assumed_angles = 0  # how many were read as radians without a unit
        self._world: dict[int, FloatArray] = {}
        self._axes: dict[int, FloatArray] = {}
        self._directions: dict[int, FloatArray] = {}
        self.profiles: dict[int, Any] = {}  # by number, as `ifc_bodies` makes them

    def world(self, placement: Entity | None) -> FloatArray | None:
        """Matrix of an object's placement, m, shape (4, 4); None if it has none.

        Raises
        ------
        BadInput
            If placements stand within each other in a circle.
        """
        chain: list[Entity] = []
        while placement is not None and placement.id() not in self._world:
            if len(chain) > _DEEPEST:
                raise refusal(
                    f"{self._file}, #{placement.id()}",
                    "placements stand within each other in a circle",
                    "export the file again",
                )
            if not placement.is_a("IfcLocalPlacement"):
                return None  # on a grid or along a line
            chain.append(placement)
            placement = placement.get_argument(_RELATIVE_TO)
        if placement is None and not chain:
            return None
        above = self._world[placement.id()] if placement is not None else _HERE
        for link in reversed(chain):
            above = placed(above, self.axes(link.get_argument(_RELATIVE_PLACEMENT)))
            self._world[link.id()] = above
        return above

    def axes(self, position: Entity | None) -> FloatArray:
        """Matrix of an axis placement in the plane or in space, m, shape (4, 4)."""
        if position is None:
            return _HERE
        number = position.id()
        if number in self._axes:
            return self._axes[number]
        z, x = UPWARDS, _X
        if position.is_a("IfcAxis2Placement2D"):
            location = position.get_argument(_LOCATION_2D)
            sideways = position.get_argument(_REF_DIRECTION_2D)
        else:
            location = position.get_argument(_LOCATION)
            sideways = position.get_argument(_REF_DIRECTION)
            along = position.get_argument(_AXIS)
            z = z if along is None else self.direction(along, UPWARDS)
        x = x if sideways is None else self.direction(sideways, _X)
        matrix = _turn(z.tobytes(), x.tobytes())
        origin = self.point(location).tolist()
        if any(origin):
            matrix = matrix.copy()
            matrix[:3, 3] = origin
        elif (matrix == _HERE).all():
            matrix = _HERE
        self._axes[number] = matrix
        return matrix

    def point(self, point: Entity) -> FloatArray:
        """Coordinates of a point, m, shape (3,); a point in the plane has z = 0."""
        return _three(point.get_argument(_NUMBERS)) * self.metre

    def angle(self, value: float) -> float:
        """An angle of the file in radians; counted where the file states no unit."""
        self.assumed_angles += self._radian is None
        return float(value) * (self._radian or 1.0)

    def direction(self, direction: Entity, otherwise: FloatArray) -> FloatArray:
        """Unit vector of a direction, shape (3,); `otherwise` if it has no length."""
        number = direction.id()
        if number not in self._directions:
            out = _three(direction.get_argument(_NUMBERS))
            length = math.sqrt(out @ out)
            self._directions[number] = out / length if length > 0.0 else otherwise
        return self._directions[number]

    def operator(self, operator: Entity) -> FloatArray:
        """Matrix of a mapped item's transformation, m, shape (4, 4); it may mirror.

        References
        ----------
        ISO 16739-1, IfcBaseAxis: a third axis that is not given is Z, also where the
        first two then mirror; from memory.
        """

        def axis(name: str, otherwise: FloatArray) -> FloatArray:
            own = attribute(operator, name)
            return otherwise if own is None else self.direction(own, otherwise)

        x, z = axis("Axis1", _X), axis("Axis3", UPWARDS)
        axes = _turn(z.tobytes(), x.tobytes())[:3, :3]
        in_plane = operator.is_a("IfcCartesianTransformationOperator2D")
        y = axis("Axis2", axes[:, 1] if in_plane else _Y)
        scale = 1.0 if operator.Scale is None else float(operator.Scale)
        own = [attribute(operator, key) for key in ("Scale2", "Scale3")]
        factors = np.array([scale, own[0] or scale, own[1] or scale])
        if y @ axes[:, 1] < 0.0:
            factors[1] *= -1.0
        matrix = np.eye(4)
        matrix[:3, :3] = axes * factors
        matrix[:3, 3] = self.point(operator.LocalOrigin)
        return matrix


_HERE = np.eye(4)
_X, _Y, UPWARDS = np.eye(3)


def _three(numbers: Sequence[float]) -> FloatArray:
    return np.array(numbers if len(numbers) == 3 else (*numbers, 0.0, 0.0)[:3], float)


def placed(above: FloatArray, matrix: FloatArray) -> FloatArray:
    """World matrix of what is placed within another, shape (4, 4)."""
    return above if matrix is _HERE else above @ matrix


def cross(a: FloatArray, b: FloatArray) -> FloatArray:
    """Cross product of two vectors; numpy's own takes ten times longer for a pair."""
    (a0, a1, a2), (b0, b1, b2) = a.tolist(), b.tolist()
    return np.array((a1 * b2 - a2 * b1, a2 * b0 - a0 * b2, a0 * b1 - a1 * b0))


def properties(model: IfcModel) -> dict[int, dict[str, tuple[Entity, Entity]]]:
    """Properties of one value of every element, by its number; its own come first.

    Returns
    -------
    properties
        Value and property by the property's name. Of an enumerated property, as the
        standard has the shape of a duct, the first value counts.
    """
    out: dict[int, dict[str, tuple[Entity, Entity]]] = {}

    def add(owner: Entity, sets: Any) -> None:
        own = out.setdefault(owner.id(), {})
        for one in sets:
            if one is not None and one.is_a("IfcPropertySet"):
                for item in one.HasProperties:
                    if item.is_a("IfcPropertySingleValue"):
                        value = item.NominalValue
                    elif item.is_a("IfcPropertyEnumeratedValue"):
                        value = next(iter(item.EnumerationValues or ()), None)
                    else:
                        continue
                    if value:
                        own.setdefault(item.Name, (value, item))

    for relation in model.content.by_type("IfcRelDefinesByProperties"):
        for owner in relation.RelatedObjects or ():
            add(owner, [relation.RelatingPropertyDefinition])
    for relation in model.content.by_type("IfcRelDefinesByType"):
        if relation.RelatingType is not None:
            for owner in relation.RelatedObjects or ():
                add(owner, relation.RelatingType.HasPropertySets or ())
    return out


def types(model: IfcModel) -> dict[int, Entity]:
    """Type of every element that has one, by the element's number."""
    return {
        owner.id(): relation.RelatingType
        for relation in model.content.by_type("IfcRelDefinesByType")
        for owner in relation.RelatedObjects or ()
        if relation.RelatingType is not None
    }


def is_ifc(path: Path) -> bool:
    """Whether a file is IFC, by its first words."""
    with path.open("rb") as stream:
        return stream.read(256).lstrip(_BOM + b" \t\r\n").startswith(b"ISO-10303-21")


@lru_cache(maxsize=10_000)  # most placements of a building look the same few ways
def _turn(z: bytes, x: bytes) -> FloatArray:
    """Matrix of the axes z and x, given as vectors; x need not be square to z."""
    along, sideways = np.frombuffer(z), np.frombuffer(x)
    sideways = sideways - (sideways @ along) * along
    length = math.sqrt(sideways @ sideways)
    if not length > 1e-9:
        sideways = cross(along, _Y if abs(along[1]) < 0.9 else _X)
        length = math.sqrt(sideways @ sideways)
    matrix = np.zeros((4, 4))
    matrix[:3, 0], matrix[:3, 2], matrix[3, 3] = sideways / length, along, 1.0
    matrix[:3, 1] = cross(along, sideways / length)
    return matrix
