"""Write runs and solids as GLB, with what is said of each in its extras."""

import json
import struct
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from .drawing import Drawing
from .extras import extras_of
from .frames import y_up
from .obstacles import Obstacle
from .sections import FloatArray

_FLOAT, _INDEX = 5126, 5125
FINE = 1e-5  # m: no point that is rounded by less is worth an origin of its own


class _Binary:
    """Binary chunk that grows, with the views and accessors into it."""

    def __init__(self) -> None:
        self.data = bytearray()
        self.views: list[dict[str, Any]] = []
        self.accessors: list[dict[str, Any]] = []

    def add(self, array: np.ndarray[Any, Any], kind: int, form: str) -> int:
        raw = array.tobytes()
        self.views.append(
            {"buffer": 0, "byteOffset": len(self.data), "byteLength": len(raw)}
        )
        self.data += raw + b"\0" * (-len(raw) % 4)
        accessor = {
            "bufferView": len(self.views) - 1,
            "componentType": kind,
            "count": len(array),
            "type": form,
        }
        if form == "VEC3":
            accessor["min"] = array.min(axis=0).tolist()
            accessor["max"] = array.max(axis=0).tolist()
        self.accessors.append(accessor)
        return len(self.accessors) - 1


def write_gltf(
    drawing: Drawing, path: Path | str, obstacles: Sequence[Obstacle] = ()
) -> float:
    """Write a drawing as GLB: a node and a line strip for each run.

    Parameters
    ----------
    drawing
        The drawing; sections, airflows and attributes go into the nodes' extras.
    path
        File to write; one that is there is replaced.
    obstacles
        Solids to write as triangles beside the runs.

    Returns
    -------
    moved
        How far the farthest point is moved by rounding, m.

    Notes
    -----
    Buffers hold single precision, which far from the origin, as at map coordinates, is
    decimetres. There every node has one translation in whole metres, which JSON holds
    in full, and its points count from there.
    """
    every = [drawing.points, *(solid.vertices for solid in obstacles)]
    origin, moved = _origin(np.concatenate(every))
    binary = _Binary()
    nodes: list[dict[str, Any]] = []
    meshes: list[dict[str, Any]] = []
    for run in drawing.runs:
        points = _upright(run.points - origin).astype("<f4")
        primitive = {
            "attributes": {"POSITION": binary.add(points, _FLOAT, "VEC3")},
            "mode": 3,
        }
        extras = extras_of(run)
        if "up" in extras:
            extras["up"] = _upright(np.array([extras["up"]]))[0].tolist()
        _place(nodes, meshes, run.name, primitive, extras)
    for solid in obstacles:
        points = _upright(solid.vertices - origin).astype("<f4")
        primitive = {
            "attributes": {"POSITION": binary.add(points, _FLOAT, "VEC3")},
            "indices": binary.add(solid.faces.astype("<u4").ravel(), _INDEX, "SCALAR"),
            "mode": 4,
        }
        _place(nodes, meshes, solid.name, primitive, {})
    if origin.any():
        for node in nodes:
            node["translation"] = _upright(origin[None])[0].tolist()
    content = {
        "asset": {"version": "2.0", "generator": "elbowroom"},
        "scene": 0,
        "scenes": [{"nodes": list(range(len(nodes)))}],
        "nodes": nodes,
        "meshes": meshes,
        "accessors": binary.accessors,
        "bufferViews": binary.views,
        "buffers": [{"byteLength": len(binary.data)}],
    }
    text = json.dumps(content, ensure_ascii=False, separators=(",", ":")).encode()
    text += b" " * (-len(text) % 4)
    total = 12 + 8 + len(text) + 8 + len(binary.data)
    Path(path).write_bytes(
        struct.pack("<4sII", b"glTF", 2, total)
        + struct.pack("<I4s", len(text), b"JSON")
        + text
        + struct.pack("<I4s", len(binary.data), b"BIN\0")
        + bytes(binary.data)
    )
    return moved


def held(points: FloatArray) -> FloatArray:
    """Points as a file of them alone holds them, m, shape (n, 3)."""
    origin, _ = _origin(points)
    return np.asarray((points - origin).astype(np.float32) + origin)


def _origin(points: FloatArray) -> tuple[FloatArray, float]:
    """Where points of a buffer count from, m, and how far it then moves one of them."""
    moved = _rounding(points)
    if moved <= FINE:
        return np.zeros(3), moved
    origin = ((points.min(axis=0) + points.max(axis=0)) / 2).round()
    return origin, _rounding(points - origin)


def _rounding(points: FloatArray) -> float:
    """How far single precision moves the farthest of some points, m."""
    moved = points.astype(np.float32) - points
    return float(np.linalg.norm(moved, axis=1).max(initial=0.0))


def _upright(points: FloatArray) -> FloatArray:
    """Points as the format has them, Y up; no zero is below zero, shape (n, 3)."""
    return y_up(points) + 0.0


def _place(
    nodes: list[dict[str, Any]],
    meshes: list[dict[str, Any]],
    name: str,
    primitive: dict[str, Any],
    extras: dict[str, Any],
) -> None:
    meshes.append({"name": name, "primitives": [primitive]})
    node: dict[str, Any] = {"name": name, "mesh": len(meshes) - 1}
    if extras:
        node["extras"] = extras
    nodes.append(node)
