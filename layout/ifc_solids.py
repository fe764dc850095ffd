"""Solids of the structure in an IFC file: beams, columns, slabs, walls."""

from pathlib import Path
from typing import Any

from .faults import Notice, refusal, warning
from .ifc_kernel import make_shapes
from .ifc_model import Entity, open_ifc
from .quantity_words import counted
from .sections import FloatArray, IntArray

STRUCTURE = (
    "IfcBeam",
    "IfcColumn",
    "IfcMember",
    "IfcPlate",
    "IfcSlab",
    "IfcWall",
    "IfcFooting",
    "IfcPile",
    "IfcRoof",
    "IfcStair",
    "IfcStairFlight",
    "IfcRamp",
    "IfcRampFlight",
    "IfcRailing",
)
_MOST = 100_000  # solids of one file


def ifc_solids(
    path: Path, unit: str | None
) -> tuple[list[tuple[str, FloatArray, IntArray]], list[Notice]]:
    """Read the solids of the structure in an IFC file.

    Parameters
    ----------
    path
        The file.
    unit
        Length unit where the file states none or states it wrongly.

    Returns
    -------
    solids, notices
        Name, vertices in m with Z up, and triangles of each; none where the file
        holds no structure. What has a shape that cannot be made is named.

    Raises
    ------
    BadInput
        If the file is damaged, states no length unit or is too large.
    """
    model = open_ifc(path, unit)
    wanted = {
        entity.id(): entity
        for kind in STRUCTURE
        for entity in _of_kind(model.content, kind)
        if entity.Representation is not None
    }
    if len(wanted) > _MOST:
        raise refusal(
            path.name, f"it holds more than {_MOST:,} solids", "export one storey"
        )
    if not wanted:
        return [], []
    found = []
    for number, (vertices, faces) in make_shapes(path, list(wanted)).items():
        entity = wanted.pop(number)
        name = str(entity.Name or entity.is_a())
        found.append((name, vertices * model.geometry_factor, faces))
    notices = []
    if wanted:
        names = ", ".join(
            f"'{one.Name or one.is_a()}' ({one.GlobalId})"
            for one in list(wanted.values())[:3]
        )
        notices.append(
            warning(
                path.name,
                f"the shape of {counted(len(wanted), 'solid')} cannot be "
                f"made ({names}{', ...' if len(wanted) > 3 else ''}), so nothing is "
                "measured to them",
                "export them as plain solids with places of their own",
            )
        )
    return found, notices


def _of_kind(content: Any, kind: str) -> list[Entity]:
    try:
        return list(content.by_type(kind))
    except RuntimeError:  # the schema has no such class
        return []
