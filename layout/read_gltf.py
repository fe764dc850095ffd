"""Read centrelines from GLB and glTF files: lines, strips, loops, nested nodes."""

import base64
import binascii
import json
import os
import struct
import urllib.parse
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import Any, TypeGuard

import numpy as np

from .collected import Collected, Found, check_finite, collected_drawing, describe
from .drawing import Drawing
from .faults import TOO_LONG, BadInput, error, note, refusal, warning
from .polylines import chains
from .quantity_words import length_words
from .sections import FloatArray, IntArray
from .units import UNITS

_LINES, _LOOP, _STRIP = 1, 2, 3
_DTYPES = {5120: "i1", 5121: "u1", 5122: "i2", 5123: "u2", 5125: "u4", 5126: "f4"}
_WIDTHS = {"SCALAR": 1, "VEC2": 2, "VEC3": 3, "VEC4": 4}
_JSON, _BIN = 0x4E4F534A, 0x004E4942
_LARGEST = 512_000_000  # bytes of any one file that is opened
_MOVES = frozenset(("matrix", "rotation", "scale", "translation"))
_INSTANCES = "EXT_mesh_gpu_instancing"
_NO_INSTANCES = (
    f"it stands for several instances ({_INSTANCES}), which are not read",
    "export each as a node of its own",
)
_FAR = 5000.0  # m: a route longer than this is in another unit
# Y up to Z up: (x, y, z) becomes (x, -z, y).
_UPRIGHT = np.array([[1.0, 0, 0, 0], [0, 0, -1, 0], [0, 1, 0, 0], [0, 0, 0, 1]])


@dataclass
class _File:
    """A glTF file: its JSON, its binary chunk, and the buffers opened so far."""

    path: Path
    content: dict[str, Any]
    binary: bytes | None
    buffers: dict[int, bytes]

    @property
    def name(self) -> str:
        return self.path.name

    def item(self, kind: str, index: object, owner: str) -> dict[str, Any]:
        """Item of one of the file's arrays, or a refusal that names who asked."""
        items = self.content.get(kind, [])
        if (
            not isinstance(items, list)
            or not _is_whole(index)
            or not 0 <= index < len(items)
            or not isinstance(items[index], dict)
        ):
            raise refusal(
                self.name,
                f"{owner} refers to {kind} {index}, which is not there",
                "export the file again",
            )
        found: dict[str, Any] = items[index]
        return found


def read_gltf(path: Path, *, unit: str | None = None, up: str | None = None) -> Drawing:
    """Read the lines of a GLB or glTF file.

    Parameters
    ----------
    path
        The file; its buffers may lie in the same folder or below, nowhere else.
    unit
        Unit of its coordinates, when it is not the metre that the format prescribes.
    up
        'y' (the format's) or 'z', when the file was written otherwise.

    Returns
    -------
    drawing
        Every polyline a run, in metres with Z up.

    Raises
    ------
    BadInput
        With every fault found: what is wrong, in which node, and how to mend it.

    References
    ----------
    Khronos Group, glTF 2.0 specification, 2.0.1 of 2021.
    """
    file = _open(path)
    needed = file.content.get("extensionsRequired", [])
    if not isinstance(needed, list):
        raise refusal(file.name, "its extensionsRequired is no list", "export it again")
    if needed:
        raise refusal(
            file.name,
            f"it needs the extension {needed[0]}, which is not read",
            "export without extensions or compression",
        )
    found = Found(file.name)
    matrix = _UPRIGHT if up in (None, "y") else np.eye(4)
    factor = UNITS[unit].factor if unit else 1.0
    others = 0
    bare: list[str] = []
    worlds: list[FloatArray] = []
    placed = _placed_nodes(file, found, matrix)
    for index, world, parents in placed:
        node = file.item("nodes", index, "the scene")
        label = f"node {index}" + (f" '{node['name']}'" if node.get("name") else "")
        if "mesh" not in node:
            if not node.get("children") and "camera" not in node and node.get("name"):
                bare.append(str(node["name"]))
            continue
        mesh = file.item("meshes", node["mesh"], label)
        for number, primitive in enumerate(_list(mesh, "primitives", file, label)):
            mode = primitive.get("mode", 4)
            if mode not in (_LINES, _LOOP, _STRIP):
                others += 1
                continue
            try:
                lines = _polylines(file, primitive, mode, label)
            except BadInput as bad:
                found.faults.extend(bad.faults)
                continue
            if _is_instanced(node):
                found.faults.append(error(f"{file.name}, {label}", *_NO_INSTANCES))
            if not lines:
                found.notices.append(
                    warning(
                        f"{file.name}, {label}",
                        "lines without a length in it were left out",
                        "complete or delete them",
                    )
                )
            owners = [file.item("nodes", parent, label) for parent in parents]
            where = label + (f", primitive {number}" if number else "")
            owners = [node, mesh, *owners]
            _collect(found, file, lines, world, where, primitive, owners)
            worlds += [world] * (len(found.runs) - len(worlds))
    _place(found, worlds, factor)
    if found.faults:
        raise BadInput(found.faults)
    _check_content(found, file, others, bare, placed)
    _check_extent(found, unit)
    return collected_drawing(
        found,
        unit=unit or "m",
        unit_origin="option" if unit else "the format",
        up=up or "y",
        up_origin="option" if up else "the format",
    )


def _collect(
    found: Found,
    file: _File,
    lines: list[FloatArray],
    world: FloatArray,
    where: str,
    primitive: Mapping[str, Any],
    owners: list[dict[str, Any]],
) -> None:
    """Collect the lines of a primitive, their points as the node has them."""
    layers = [
        extras
        for owner in (primitive, *owners)
        if isinstance(extras := owner.get("extras"), dict)
    ]
    names = [str(owner["name"]) for owner in owners if owner.get("name")]
    name, section, origin, said = describe(
        found, f"{file.name}, {where}", layers, names, f"run {len(found.runs) + 1}"
    )
    if _is_uneven(world[:3, :3].tobytes()):
        found.notices.append(
            warning(
                f"{file.name}, {where}",
                "its node is scaled unevenly, so that bends are drawn out of true",
                "apply the scale before export",
            )
        )
    attributes = said.attributes
    if attributes.up is not None:
        x, y, z = world[:3, :3] @ np.array(attributes.up)
        attributes = replace(attributes, up=(float(x), float(y), float(z)))
    found.runs += [
        Collected(name, points, section, origin, where, said.flow, attributes)
        for points in lines
    ]


def _place(found: Found, worlds: list[FloatArray], factor: float) -> None:
    """Move the points of all runs from their nodes into the world at once."""
    if not found.runs:
        return
    count = [len(run.points) for run in found.runs]
    points = np.concatenate([run.points for run in found.runs])
    place = np.stack(worlds)
    turn, shift = place[:, :3, :3] * factor, place[:, :3, 3] * factor
    with np.errstate(invalid="ignore", over="ignore"):  # looked for right after
        if (place == place[0]).all():
            points = points @ turn[0].T + shift[0]
        else:
            row = np.repeat(np.arange(len(count)), count)
            points = np.einsum("ni,nji->nj", points, turn[row]) + shift[row]
    parts = np.split(points, np.cumsum(count)[:-1])
    if not check_finite(points, found.file, []):
        for run, part in zip(found.runs, parts, strict=True):
            check_finite(part, f"{found.file}, {run.where}", found.faults)
    found.runs = [
        replace(run, points=part) for run, part in zip(found.runs, parts, strict=True)
    ]


@cache
def _is_uneven(matrix: bytes) -> bool:
    """Whether a matrix scales one way more than another; most nodes share theirs."""
    stretch = np.linalg.svd(np.frombuffer(matrix).reshape(3, 3), compute_uv=False)
    return bool(stretch[0] > 1.001 * stretch[-1])


def _check_content(
    found: Found,
    file: _File,
    others: int,
    bare: list[str],
    placed: list[tuple[int, FloatArray, tuple[int, ...]]],
) -> None:
    remedy = "export the centrelines as loose edges, with their custom properties"
    if not placed:
        raise refusal(file.name, "the scene is empty: no node is in it", remedy)
    if not found.runs:
        if others:
            what = (
                "there is no line in it, only "
                f"{others} mesh{'es' * (others > 1)} of faces or points"
            )
        elif bare:
            what = f"the node '{bare[0]}' has no geometry"
            remedy = "tick loose edges and custom properties at export"
        else:
            what = "there is no line in it"
        raise refusal(file.name, what, remedy)
    if others:
        found.notices.append(
            note(file.name, f"{others} mesh(es) of faces or points were not read")
        )
    if bare:
        shown = ", ".join(f"'{name}'" for name in bare[:5])
        found.notices.append(
            warning(
                file.name,
                f"nodes without geometry: {shown}",
                "tick loose edges at export if they are ducts",
            )
        )


def _check_extent(found: Found, unit: str | None) -> None:
    points = np.concatenate([run.points for run in found.runs])
    extent = float((points.max(axis=0) - points.min(axis=0)).max())
    if extent > _FAR:
        found.notices.append(
            warning(
                found.file,
                f"the route is {length_words(extent)} wide, taken in "
                f"{unit or 'm, the unit of the format'}",
                "say --unit mm if the numbers are millimetres",
            )
        )


def _open(path: Path) -> _File:
    data = path.read_bytes()
    if data[:4] == b"glTF":
        content, binary = _chunks(path.name, data)
    else:
        content, binary = data, None
    try:
        parsed = json.loads(content.decode("utf-8-sig"))
    except (ValueError, RecursionError) as problem:
        # Python's own limit is a plain ValueError, in words that help nobody here.
        why = TOO_LONG if type(problem) is ValueError else problem
        raise refusal(
            path.name, f"its JSON part cannot be read: {why}", "export it again"
        ) from None
    if not isinstance(parsed, dict) or not isinstance(parsed.get("asset"), dict):
        raise refusal(path.name, "it is JSON but no glTF file", "give a glTF 2.0 file")
    version = str(parsed["asset"].get("version", ""))
    if not version.startswith("2"):
        raise refusal(
            path.name, f"glTF version '{version}' is not read", "export as glTF 2.0"
        )
    return _File(path, parsed, binary, {})


def _chunks(name: str, data: bytes) -> tuple[bytes, bytes | None]:
    if len(data) < 20:
        raise refusal(name, "the file is cut short within its header", "copy it again")
    version, total = struct.unpack_from("<II", data, 4)
    if version != 2:
        raise refusal(name, f"GLB version {version} is not read", "export as glTF 2.0")
    if total != len(data):
        what = "cut short" if total > len(data) else "longer than it says"
        raise refusal(
            name,
            f"the file is {what}: its header says {total} bytes, it has {len(data)}",
            "ask for a complete copy",
        )
    chunks: dict[int, bytes] = {}
    at = 12
    while at + 8 <= len(data):
        length, kind = struct.unpack_from("<II", data, at)
        at += 8
        if at + length > len(data):
            part = "JSON" if kind == _JSON else "binary"
            raise refusal(
                name,
                f"its {part} chunk says {length} bytes, but {len(data) - at} are left",
                "ask for a complete copy",
            )
        chunks.setdefault(kind, data[at : at + length])
        at += length
    if _JSON not in chunks:
        raise refusal(name, "it has no JSON chunk", "export it again")
    return chunks[_JSON], chunks.get(_BIN)


def _list(
    owner: Mapping[str, Any], key: str, file: _File, label: str
) -> list[dict[str, Any]]:
    items = owner.get(key, [])
    if not isinstance(items, list) or not all(isinstance(i, dict) for i in items):
        raise refusal(file.name, f"{key} of {label} is no list", "export it again")
    return items


def _placed_nodes(
    file: _File, found: Found, top: FloatArray
) -> list[tuple[int, FloatArray, tuple[int, ...]]]:
    """Nodes of the scene with their place in the world and the nodes above them."""
    scenes = file.content.get("scenes", [])
    nodes = file.content.get("nodes", [])
    if not isinstance(nodes, list):
        raise refusal(file.name, "its nodes are no list", "export it again")
    if scenes:
        chosen = file.content.get("scene", 0)
        roots = file.item("scenes", chosen, "the file").get("nodes", [])
        if len(scenes) > 1:
            found.notices.append(
                note(
                    file.name, f"it holds {len(scenes)} scenes; scene {chosen} was read"
                )
            )
    else:
        below = {c for n in nodes if isinstance(n, dict) for c in n.get("children", [])}
        roots = [index for index in range(len(nodes)) if index not in below]
    if not isinstance(roots, list):
        raise refusal(file.name, "its scene has no list of nodes", "export it again")
    placed: list[tuple[int, FloatArray, tuple[int, ...]]] = []
    seen: dict[int, int] = {}
    names_kept = 8  # ancestors whose names and extras still count
    stack: list[tuple[Any, FloatArray, tuple[int, ...], int]] = [
        (root, top, (), -1) for root in reversed(roots)
    ]
    on_way: dict[int, int] = {}
    while stack:
        index, above, parents, parent = stack.pop()
        node = file.item(
            "nodes", index, "the scene" if parent < 0 else f"node {parent}"
        )
        on_way[index] = parent
        if index in seen:
            way, here = [index], parent
            while here >= 0 and here != index and len(way) < 12:
                way.append(here)
                here = on_way.get(here, -1)
            if here == index:
                shown = ", ".join(map(str, sorted(way)))
                what = f"nodes {shown} are their own ancestors"
            else:
                what = f"node {index} has two parents, {seen[index]} and {parent}"
            raise refusal(file.name, what, "export it again as a tree of nodes")
        seen[index] = parent
        moves = not _MOVES.isdisjoint(node)
        world = _moved(file, above, node, index) if moves else above
        placed.append((index, world, parents))
        children = node.get("children", [])
        if not isinstance(children, list):
            raise refusal(
                file.name, f"the children of node {index} are no list", "export again"
            )
        inherited = (index, *parents)[:names_kept]
        stack.extend((child, world, inherited, index) for child in reversed(children))
    return placed


def _moved(
    file: _File, above: FloatArray, node: Mapping[str, Any], index: int
) -> FloatArray:
    """Place of a node in the world, given that of the node above it."""
    with np.errstate(all="ignore"):  # looked for right after
        world = above @ _local(node)
    if not np.isfinite(world).all():
        raise refusal(
            file.name, f"node {index} has a placement that is no matrix", "export again"
        )
    return world


def _local(node: Mapping[str, Any]) -> FloatArray:
    """Matrix of a node; NaN where it is none."""
    try:
        if "matrix" in node:
            matrix = np.array(node["matrix"], dtype=np.float64).reshape(4, 4).T
        else:
            matrix = np.eye(4)
            if "rotation" in node:
                matrix[:3, :3] = _rotation(node["rotation"])
            if "scale" in node:
                scale = np.array(node["scale"], dtype=np.float64).reshape(3)
                matrix[:3, :3] *= scale
            if "translation" in node:
                matrix[:3, 3] = np.array(node["translation"], dtype=np.float64)
    except (TypeError, ValueError, OverflowError):
        return np.full((4, 4), np.nan)
    return matrix


def _rotation(quaternion: object) -> FloatArray:
    x, y, z, w = np.array(quaternion, dtype=np.float64)
    s = 2.0 / (x * x + y * y + z * z + w * w)
    return np.array(
        [
            [1 - s * (y * y + z * z), s * (x * y - z * w), s * (x * z + y * w)],
            [s * (x * y + z * w), 1 - s * (x * x + z * z), s * (y * z - x * w)],
            [s * (x * z - y * w), s * (y * z + x * w), 1 - s * (x * x + y * y)],
        ]
    )


def _polylines(
    file: _File, primitive: Mapping[str, Any], mode: int, label: str
) -> list[FloatArray]:
    attributes = primitive.get("attributes")
    if not isinstance(attributes, dict) or "POSITION" not in attributes:
        raise refusal(file.name, f"{label} has lines without positions", "export again")
    stored = _accessor(file, attributes["POSITION"], label)
    points = stored.astype(np.float64)
    if stored.dtype.kind != "f":
        accessor = file.item("accessors", attributes["POSITION"], label)
        if accessor.get("normalized") is True:
            points = np.maximum(points / np.iinfo(stored.dtype.name).max, -1.0)
    if points.ndim != 2 or points.shape[1] != 3:
        raise refusal(file.name, f"the positions of {label} are not 3D", "export again")
    if "indices" in primitive:
        order = _accessor(file, primitive["indices"], label).ravel().astype(np.int64)
        beyond = order[(order < 0) | (order >= len(points))]
        if len(beyond):
            raise refusal(
                file.name,
                f"index {beyond[0]} in {label} is out of range, as it has "
                f"{len(points)} vertices",
                "export it again",
            )
    elif mode == _STRIP:
        return [points] if len(points) > 1 else []
    else:
        order = np.arange(len(points))
    if mode == _STRIP:
        return [points[order]] if len(order) > 1 else []
    if mode == _LOOP:
        if len(order) > 2:
            order = np.append(order, order[0])
        return [points[order]] if len(order) > 1 else []
    if len(order) % 2:
        raise refusal(
            file.name, f"{label} has an odd number of line ends", "export it again"
        )
    check = Found(file.name)
    if not check_finite(points, f"{file.name}, {label}", check.faults):
        raise BadInput(check.faults)
    place = _same_place(points)
    edges = place[order].reshape(-1, 2)
    first = np.full(len(points), 0)
    first[place[::-1]] = np.arange(len(points))[::-1]
    moving = edges[edges[:, 0] != edges[:, 1]]
    still = len(edges) - len(moving)
    lines = [points[first[chain]] for chain in chains(moving, len(points))]
    # An edge of no length stays, so that it is counted where such are left out.
    if still and lines:
        lines[0] = np.concatenate([np.repeat(lines[0][:1], still, axis=0), lines[0]])
    return lines


def _is_instanced(node: Mapping[str, Any]) -> bool:
    extensions = node.get("extensions")
    return isinstance(extensions, dict) and _INSTANCES in extensions


def _same_place(points: FloatArray) -> IntArray:
    """For each point a number that it shares with the points at the same place."""
    order = np.lexsort(points.T)
    moved = (np.diff(points[order], axis=0) != 0.0).any(axis=1)
    number = np.concatenate([[0], np.cumsum(moved)])
    place = np.empty(len(points), dtype=np.int64)
    place[order] = number[: len(points)]
    return place


def _is_whole(value: object) -> TypeGuard[int]:
    """Whether it is a whole number; true and false are ints to Python alone."""
    return isinstance(value, int) and not isinstance(value, bool)


def _accessor(file: _File, index: object, label: str) -> FloatArray | IntArray:
    accessor = file.item("accessors", index, label)
    count, kind = accessor.get("count"), accessor.get("componentType")
    width = _WIDTHS.get(str(accessor.get("type")))
    if (
        not _is_whole(count)
        or count < 0
        or not _is_whole(kind)
        or kind not in _DTYPES
        or width is None
    ):
        raise refusal(file.name, f"accessor {index} is not understood", "export again")
    dtype = np.dtype("<" + _DTYPES[kind])
    size = dtype.itemsize * width
    if "sparse" in accessor or "bufferView" not in accessor:
        return _sparse(file, accessor, index, count, dtype, width)
    view = file.item("bufferViews", accessor["bufferView"], f"accessor {index}")
    data = _view(file, view, accessor["bufferView"])
    offset, stride = accessor.get("byteOffset", 0), view.get("byteStride") or size
    if not _is_whole(offset) or not _is_whole(stride) or offset < 0:
        raise refusal(file.name, f"accessor {index} is not understood", "export again")
    needed = offset + stride * (count - 1) + size if count else 0
    if stride < size or needed > len(data):
        raise refusal(
            file.name,
            f"accessor {index} needs {needed} bytes, its buffer view has {len(data)}",
            "export it again",
        )
    if count < 2:  # no step is taken, and numpy takes none beyond all memory
        stride = size
    if not count:
        offset = 0
    return np.ndarray((count, width), dtype, data, offset, (stride, dtype.itemsize))


def _sparse(
    file: _File,
    accessor: Mapping[str, Any],
    index: object,
    count: int,
    dtype: np.dtype[Any],
    width: int,
) -> FloatArray | IntArray:
    """Accessor that is zeros, or another one, but for a few values."""
    sparse = accessor.get("sparse")
    if not isinstance(sparse, dict):
        raise refusal(
            file.name,
            f"accessor {index} claims {count} values without data",
            "export it again",
        )
    few = sparse.get("count")
    if not _is_whole(few) or not 0 <= few <= count or count > 10_000_000:
        raise refusal(file.name, f"accessor {index} is not understood", "export again")
    if "bufferView" in accessor:
        plain = {key: value for key, value in accessor.items() if key != "sparse"}
        values = _accessor_of(file, plain, index).copy()
    else:
        values = np.zeros((count, width), dtype)
    place, new = sparse.get("indices"), sparse.get("values")
    if not isinstance(place, dict) or not isinstance(new, dict):
        raise refusal(file.name, f"accessor {index} is not understood", "export again")
    kinds = {"componentType": accessor["componentType"], "type": accessor["type"]}
    rows = _accessor_of(file, {**place, "count": few, "type": "SCALAR"}, index)
    rows = rows.ravel().astype(np.int64)
    if len(rows) and (rows.min() < 0 or rows.max() >= count):
        raise refusal(
            file.name,
            f"accessor {index} changes values it does not have",
            "export again",
        )
    values[rows] = _accessor_of(file, {**new, **kinds, "count": few}, index)
    return values


def _accessor_of(
    file: _File, accessor: dict[str, Any], index: object
) -> FloatArray | IntArray:
    content = {**file.content, "accessors": [accessor]}
    return _accessor(
        _File(file.path, content, file.binary, file.buffers), 0, f"{index}"
    )


def _view(file: _File, view: Mapping[str, Any], index: object) -> memoryview:
    number = view.get("buffer")
    data = _buffer(file, number)
    begin, length = view.get("byteOffset", 0), view.get("byteLength", 0)
    if not _is_whole(begin) or not _is_whole(length) or begin < 0:
        raise refusal(
            file.name, f"buffer view {index} is not understood", "export again"
        )
    if length < 0 or begin + length > len(data):
        raise refusal(
            file.name,
            f"buffer view {index} lies outside its buffer ({begin} + {length} of "
            f"{len(data)} bytes)",
            "export it again",
        )
    return memoryview(data)[begin : begin + length]


def _buffer(file: _File, number: object) -> bytes:
    if _is_whole(number) and number in file.buffers:
        return file.buffers[number]
    buffer = file.item("buffers", number, "a buffer view")
    length, uri = buffer.get("byteLength", 0), buffer.get("uri")
    if uri is None and number != 0:
        raise refusal(
            file.name,
            f"buffer {number} names no file, and only buffer 0 may be the file's own",
            "export it again",
        )
    if uri is None:
        data = file.binary or b""
    elif isinstance(uri, str) and uri.startswith("data:"):
        try:
            data = base64.b64decode(uri.partition(",")[2], validate=True)
        except binascii.Error:
            raise refusal(
                file.name, f"the data of buffer {number} are not base64", "export again"
            ) from None
    else:
        data = _beside(file, number, uri)
    if not _is_whole(length) or length > len(data):
        raise refusal(
            file.name,
            f"buffer {number} is shorter than it says: {len(data)} of {length} bytes",
            "ask for a complete copy",
        )
    if _is_whole(number):
        file.buffers[number] = data
    return data


def _beside(file: _File, number: object, uri: object) -> bytes:
    """Bytes of a file in the same folder; nothing else is ever opened."""
    folder = file.path.resolve().parent
    written = str(uri)
    name = urllib.parse.unquote(written)
    inside = (
        isinstance(uri, str)
        and "\0" not in name
        and not urllib.parse.urlsplit(name).scheme
        and not name.startswith(("/", "\\"))
        and (folder / name).resolve().is_relative_to(folder)
    )
    if not inside:
        raise refusal(
            file.name,
            f"buffer {number} points outside the folder of the file "
            f"('{written[:60]}'), so nothing was opened",
            "put its data beside the file, or export as GLB",
        )
    path = folder / name
    if not os.path.isfile(path):  # Path.is_file raises where a name is too long
        raise refusal(
            file.name,
            f"buffer {number} points to '{written[:60]}', which is not beside the file",
            "copy that file too, or export as GLB",
        )
    if path.stat().st_size > _LARGEST:
        raise refusal(file.name, f"buffer {number} is larger than 512 MB", "split it")
    return path.read_bytes()


def check_gltf(path: Path) -> None:
    """Refuse a glTF file that is damaged or that refers to files elsewhere.

    Parameters
    ----------
    path
        The file.

    Raises
    ------
    BadInput
        With what is wrong; nothing outside the folder of the file is opened.
    """
    file = _open(path)
    for number in range(len(_list(file.content, "buffers", file, "the file"))):
        _buffer(file, number)
    for number, node in enumerate(_list(file.content, "nodes", file, "the file")):
        if _is_instanced(node):
            raise refusal(f"{file.name}, node {number}", *_NO_INSTANCES)
    accessors = _list(file.content, "accessors", file, "the file")
    for number, accessor in enumerate(accessors):
        if "bufferView" in accessor or accessor.get("count", 0) != 0:
            _accessor(file, number, f"accessor {number}")
