"""Read centrelines from GLB and glTF files: lines, strips, loops, nested nodes."""

from array import array
from collections.abc import Mapping
from dataclasses import replace
from functools import cache
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np

from .collected import Collected, Found, check_finite, collected_drawing, describe
from .drawing import Drawing
from .faults import BadInput, Notice, error, listed, note, refusal, warning
from .frames import z_up
from .gltf_file import (
    GltfFile,
    is_whole,
    items_of,
    open_gltf,
    read_accessor,
    read_buffer,
)
from .polylines import chains
from .quantity_words import length_words
from .sections import FloatArray, IntArray
from .units import UNITS

_LINES, _LOOP, _STRIP = 1, 2, 3
_MOVES = frozenset(("matrix", "rotation", "scale", "translation"))
_INSTANCES = "EXT_mesh_gpu_instancing"
_NO_INSTANCES = (
    f"it stands for several instances ({_INSTANCES}), which are not read",
    "export each as a node of its own",
)
_SKIN = "a skin (armature)"
# A node and its number, its place in the world, and the nodes above it.
_Placed = tuple[int, dict[str, Any], FloatArray, tuple[int, ...]]
_FAR = 5000.0  # m: a route longer than this is in another unit
# `z_up` as the placement of a node: the columns are what becomes of the axes.
_UPRIGHT = np.eye(4)
_UPRIGHT[:3, :3] = z_up(np.eye(3)).T + 0.0  # no zero is below zero


def read_gltf(path: Path, *, unit: str | None, up: str | None) -> Drawing:
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
    file = open_gltf(path)
    found = Found(file.name)
    matrix = _UPRIGHT if up in (None, "y") else np.eye(4)
    factor = UNITS[unit].factor if unit else 1.0
    others = 0
    bare: list[str] = []
    worlds: list[FloatArray] = []
    placed = _placed_nodes(file, found, matrix)
    for index, node, world, parents in placed:
        label = _label(index, node)
        if "mesh" not in node:
            if not node.get("children") and "camera" not in node and node.get("name"):
                bare.append(str(node["name"]))
            continue
        mesh = file.item("meshes", node["mesh"], label)
        for number, primitive in enumerate(items_of(mesh, "primitives", file, label)):
            mode = primitive.get("mode", 4)
            if mode not in (_LINES, _LOOP, _STRIP):
                others += 1
                continue
            try:
                points = _positions(file, primitive, label)
                if "targets" in primitive:
                    weights = _weights(file, node, mesh, label)
                    points = _morphed(file, points, primitive, weights, label)
                lines = _polylines(file, points, primitive, mode, label)
            except BadInput as bad:
                found.faults.extend(bad.faults)
                continue
            if _is_instanced(node):
                found.faults.append(error(f"{file.name}, {label}", *_NO_INSTANCES))
            if "skin" in node:
                found.notices.append(_moved_notice(file, label, node, mesh, _SKIN))
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
        flow_key="flow_m3s in the extras of the run",
        stated=("m", "y"),
    )


def _label(index: int, node: Mapping[str, Any]) -> str:
    """A node in words, with its name."""
    return f"node {index}" + (f" '{node['name']}'" if node.get("name") else "")


def _collect(
    found: Found,
    file: GltfFile,
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
        with np.errstate(over="ignore"):
            turned = world[:3, :3] @ np.array(attributes.up)
        if not np.isfinite(turned).all() or not turned.any():
            what = "the matrix of its node leaves nothing of up"
            remedy = "apply the scale before export"
            found.faults.append(error(f"{file.name}, {where}", what, remedy))
            return
        attributes = replace(attributes, up=tuple(turned))
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
    ends = np.cumsum([0, *count]).tolist()
    parts = [points[begin:end] for begin, end in pairwise(ends)]
    if not check_finite(points, found.file, []):
        for run, part in zip(found.runs, parts, strict=True):
            check_finite(part, f"{found.file}, {run.where}", found.faults)
    found.runs = [  # `replace` would take three times as long
        Collected(
            run.name,
            part,
            run.section,
            run.origin,
            run.where,
            run.flow,
            run.attributes,
            run.basis,
        )
        for run, part in zip(found.runs, parts, strict=True)
    ]


@cache
def _is_uneven(matrix: bytes) -> bool:
    """Whether a matrix scales one way more than another; most nodes share theirs."""
    stretch = np.linalg.svd(np.frombuffer(matrix).reshape(3, 3), compute_uv=False)
    return bool(stretch[0] > 1.001 * stretch[-1])


def _check_content(
    found: Found,
    file: GltfFile,
    others: int,
    bare: list[str],
    placed: list[_Placed],
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
        found.notices.append(
            warning(
                file.name,
                f"nodes without geometry: {listed(bare)}",
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


def _placed_nodes(file: GltfFile, found: Found, top: FloatArray) -> list[_Placed]:
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
        below = {
            child
            for index, node in enumerate(nodes)
            if isinstance(node, dict)
            for child in _children(file, node, index)
            if is_whole(child)  # what else stands there is refused on the way
        }
        roots = [index for index in range(len(nodes)) if index not in below]
    if not isinstance(roots, list):
        raise refusal(file.name, "its scene has no list of nodes", "export it again")
    placed: list[_Placed] = []
    seen: dict[int, int] = {}
    names_kept = 8  # ancestors whose names and extras still count
    stack: list[tuple[Any, FloatArray, tuple[int, ...], int]] = [
        (root, top, (), -1) for root in reversed(roots)
    ]
    on_way: dict[int, int] = {}
    known: dict[object, FloatArray] = {}  # most nodes share their place
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
        world = above
        if not _MOVES.isdisjoint(node):
            moves = _moves(node)
            moved = known.get((id(above), moves))
            world = _moved(file, above, node, index) if moved is None else moved
            if moves is not None:
                known[id(above), moves] = world
        placed.append((index, node, world, parents))
        children = _children(file, node, index)
        inherited = (index, *parents)[:names_kept]
        stack.extend((child, world, inherited, index) for child in reversed(children))
    return placed


def _children(file: GltfFile, node: Mapping[str, Any], index: int) -> list[Any]:
    """What a node lists as the nodes below it."""
    children = node.get("children", [])
    if not isinstance(children, list):
        raise refusal(
            file.name, f"the children of node {index} are no list", "export again"
        )
    return children


def _moves(node: Mapping[str, Any]) -> tuple[tuple[str, bytes], ...] | None:
    """What places a node, to the last bit; None where it is no plain numbers."""
    try:
        return tuple(
            (move, array("d", node[move]).tobytes()) for move in _MOVES if move in node
        )
    except (TypeError, OverflowError):
        return None


def _moved(
    file: GltfFile, above: FloatArray, node: Mapping[str, Any], index: int
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


def _positions(file: GltfFile, primitive: Mapping[str, Any], label: str) -> FloatArray:
    """Vertices of a primitive of lines before anything moves them, shape (n, 3)."""
    attributes = primitive.get("attributes")
    if not isinstance(attributes, dict) or "POSITION" not in attributes:
        raise refusal(file.name, f"{label} has lines without positions", "export again")
    return _vectors(file, attributes["POSITION"], label)


def _vectors(file: GltfFile, index: object, label: str) -> FloatArray:
    """Positions of an accessor, or what is added to them, shape (n, 3)."""
    stored = read_accessor(file, index, label)
    points = stored.astype(np.float64)
    if stored.dtype.kind != "f":
        accessor = file.item("accessors", index, label)
        if accessor.get("normalized") is True:
            points = np.maximum(points / np.iinfo(stored.dtype.name).max, -1.0)
    if points.ndim != 2 or points.shape[1] != 3:
        raise refusal(file.name, f"the positions of {label} are not 3D", "export again")
    return points


def _weights(
    file: GltfFile, node: Mapping[str, Any], mesh: Mapping[str, Any], label: str
) -> FloatArray:
    """How far each morph target counts where nothing moves: the node's word is first.

    Shape (k,); empty where nobody says it, and then none counts.
    """
    try:
        weights = np.array(
            node.get("weights", mesh.get("weights", [])), dtype=np.float64
        )
    except (TypeError, ValueError, OverflowError):
        weights = np.array(np.nan)
    if weights.ndim != 1 or not np.isfinite(weights).all():
        raise refusal(
            f"{file.name}, {label}",
            "the weights of its morph targets are no numbers",
            "apply the morph targets (shape keys) before export",
        )
    return weights


def _morphed(
    file: GltfFile,
    points: FloatArray,
    primitive: Mapping[str, Any],
    weights: FloatArray,
    label: str,
) -> FloatArray:
    """Vertices with the morph targets of their primitive added, by their weights."""
    targets = items_of(primitive, "targets", file, label)
    if len(weights) not in (0, len(targets)) and targets:
        raise refusal(
            f"{file.name}, {label}",
            f"it has {len(targets)} morph targets and {len(weights)} weights",
            "apply the morph targets (shape keys) before export",
        )
    for target, weight in zip(targets, weights.tolist(), strict=False):
        if weight == 0.0 or "POSITION" not in target:
            continue
        added = _vectors(file, target["POSITION"], label)
        if len(added) != len(points):
            raise refusal(
                f"{file.name}, {label}",
                f"a morph target moves {len(added)} vertices, its line has "
                f"{len(points)}",
                "export it again",
            )
        points = points + weight * added
    return points


def _moved_notice(
    file: GltfFile,
    label: str,
    node: Mapping[str, Any],
    mesh: Mapping[str, Any],
    by: str,
) -> Notice:
    """Say that what moves the vertices of a mesh, in words, was not applied."""
    named = f" '{mesh['name']}'" if mesh.get("name") else ""
    return warning(
        f"{file.name}, {label}",
        f"its mesh {node['mesh']}{named} is moved by {by}, which was not applied",
        "apply it before export",
        effect="it may lie elsewhere than where a viewer shows it",
    )


def _polylines(
    file: GltfFile,
    points: FloatArray,
    primitive: Mapping[str, Any],
    mode: int,
    label: str,
) -> list[FloatArray]:
    if "indices" in primitive:
        order = (
            read_accessor(file, primitive["indices"], label).ravel().astype(np.int64)
        )
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


def check_gltf(path: Path) -> list[Notice]:
    """Refuse a glTF file that is damaged or that refers to files elsewhere.

    Parameters
    ----------
    path
        The file.

    Returns
    -------
    notices
        Which of its meshes skins or morph targets move: the reader of solids applies
        neither.

    Raises
    ------
    BadInput
        With what is wrong; nothing outside the folder of the file is opened.
    """
    file = open_gltf(path)
    for number in range(len(items_of(file.content, "buffers", file, "the file"))):
        read_buffer(file, number)
    notices = []
    for number, node in enumerate(items_of(file.content, "nodes", file, "the file")):
        if _is_instanced(node):
            raise refusal(f"{file.name}, node {number}", *_NO_INSTANCES)
        if "mesh" not in node:
            continue
        label = _label(number, node)
        mesh = file.item("meshes", node["mesh"], label)
        if "skin" in node:
            notices.append(_moved_notice(file, label, node, mesh, _SKIN))
        if _weights(file, node, mesh, label).any():
            notices.append(_moved_notice(file, label, node, mesh, "morph targets"))
    accessors = items_of(file.content, "accessors", file, "the file")
    for number, accessor in enumerate(accessors):
        if "bufferView" in accessor or accessor.get("count", 0) != 0:
            read_accessor(file, number, f"accessor {number}")
    return notices
