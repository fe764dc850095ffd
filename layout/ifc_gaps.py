"""What an IFC file leaves out that the standard asks for, told where that matters."""

from collections.abc import Iterator
from typing import Any

from .faults import Notice, error, some
from .ifc_model import Entity, IfcModel, attribute

_ROOTS = (  # what the readers begin at; elements first, so that they are named
    "IfcDistributionElement",
    "IfcDistributionPort",
    "IfcRelNests",
    "IfcRelConnectsPorts",
    "IfcRelConnectsPortToElement",
    "IfcRelDefinesByProperties",
    "IfcRelDefinesByType",
    "IfcUnitAssignment",
)
_UNREAD = ("OwnerHistory", "ContextOfItems")  # often left out, and not missed
_MOST = 5  # elements told of


def gaps(model: IfcModel) -> list[Notice]:
    """Faults of the elements for which a required attribute is empty or of no use.

    Parameters
    ----------
    model
        A file that cannot be read.

    Returns
    -------
    faults
        One of each element, the first few of them; none where nothing is wanting.
    """
    faults: list[Notice] = []
    more, seen = 0, set[int]()
    for kind in _ROOTS:
        for root in model.content.by_type(kind):
            wanting = list(_wanting(model, root, seen))
            if wanting and len(faults) < _MOST:
                name = attribute(root, "Name")
                faults.append(
                    error(
                        f"{model.file}, #{root.id()} {root.is_a()}"
                        + (f" '{name}'" if name else ""),
                        some(wanting, 3),
                        "mend it in the model, or leave the element out of the export",
                    )
                )
            elif wanting:
                more += 1
    if more:
        what = f"{more} more elements leave out what the standard asks for"
        faults.append(error(model.file, what, "mend them in the model too"))
    return faults


def _wanting(model: IfcModel, root: Entity, seen: set[int]) -> Iterator[str]:
    """What is wanting of an entity and of all that it refers to, each told once."""
    import ifcopenshell
    from ifcopenshell.validate import ValidationError, assert_valid

    schema = ifcopenshell.schema_by_name(model.content.schema_identifier)
    for one in model.content.traverse(root):
        if one.id() == 0 or one.id() in seen:
            continue
        seen.add(one.id())
        declared: Any = schema.declaration_by_name(one.is_a()).as_entity()
        for place, asked in enumerate(declared.all_attributes()):
            name, value = asked.name(), one[place]
            if declared.derived()[place] or name in _UNREAD:
                continue
            if value is None:
                if not asked.optional():
                    yield f"#{one.id()} {one.is_a()} has no {name}"
                continue
            try:
                assert_valid(asked.type_of_attribute(), value, schema, attr=asked)
            except ValidationError:
                yield f"#{one.id()} {one.is_a()} has an unfit {name}"
