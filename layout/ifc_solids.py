"""Solids of the structure in an IFC file: beams, columns, slabs, walls."""

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np

from .faults import Notice, refusal, warning
from .ifc_model import Entity, open_ifc
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
    path: Path, unit: str | None = None
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
    with _quiet():
        for number, vertices, faces in _shapes(model.content, list(wanted.values())):
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
                f"the shape of {len(wanted)} solid{'s' * (len(wanted) > 1)} cannot be "
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


def _shapes(
    content: Any, entities: list[Entity]
) -> Iterator[tuple[int, FloatArray, IntArray]]:
    import ifcopenshell.geom

    geometry: Any = ifcopenshell.geom
    settings = geometry.settings()
    settings.set("use-world-coords", True)
    shapes = geometry.iterator(settings, content, os.cpu_count() or 1, include=entities)
    going = shapes.initialize()
    while going:
        shape = shapes.get()
        vertices = np.array(shape.geometry.verts, dtype=np.float64).reshape(-1, 3)
        faces = np.array(shape.geometry.faces, dtype=np.int64).reshape(-1, 3)
        if len(faces) and np.isfinite(vertices).all():
            yield shape.id, vertices, faces
        going = shapes.next()


@contextmanager
def _quiet() -> Iterator[None]:
    """Keep what the geometry kernel prints off standard output."""
    kept = os.dup(1)
    nowhere = os.open(os.devnull, os.O_WRONLY)
    try:
        os.dup2(nowhere, 1)
        yield
    finally:
        os.dup2(kept, 1)
        os.close(nowhere)
        os.close(kept)
