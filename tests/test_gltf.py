"""What is particular to glTF: instances, whole numbers, buffers, short lines.

Source: Khronos Group, glTF 2.0 specification, and EXT_mesh_gpu_instancing; from memory.
"""

import base64
import json
import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from elbowroom.layout import BadInput, read, read_obstacles

ROUTE = np.array([[0, 0, 0], [4, 0, 0], [4, 0, -3]], np.float32)
STRIP, LOOP, LINES, TRIANGLES = 3, 2, 1, 4


def content(points: Any, kind: int = 5126, mode: int = STRIP) -> dict[str, Any]:
    """A file of one node with one primitive."""
    data = base64.b64encode(points.tobytes()).decode()
    size = points.nbytes
    accessor = {"bufferView": 0, "componentType": kind, "count": len(points)}
    primitive = {"attributes": {"POSITION": 0}, "mode": mode}
    return {
        "asset": {"version": "2.0"},
        "buffers": [{"byteLength": size, "uri": f"data:;base64,{data}"}],
        "bufferViews": [
            {"buffer": 0, "byteLength": size, "byteStride": points.strides[0]}
        ],
        "accessors": [{**accessor, "type": "VEC3"}],
        "meshes": [{"primitives": [primitive]}],
        "nodes": [{"mesh": 0, "name": "T1 600x300"}],
        "scenes": [{"nodes": [0]}],
    }


def saved(made: dict[str, Any], folder: Path) -> Path:
    path = folder / "a.gltf"
    path.write_text(json.dumps(made))
    return path


@pytest.mark.parametrize("mode", [STRIP, TRIANGLES])
def test_instances_are_refused_by_the_name_of_their_node(
    mode: int, tmp_path: Path
) -> None:
    made = content(ROUTE, mode=mode)
    extension = {"EXT_mesh_gpu_instancing": {"attributes": {"TRANSLATION": 0}}}
    made["nodes"][0]["extensions"] = extension
    path, work = saved(made, tmp_path), read if mode == STRIP else read_obstacles
    with pytest.raises(BadInput, match="stands for several instances") as refused:
        work(path)
    assert "node 0" in str(refused.value)


@pytest.mark.parametrize(("kind", "dtype"), [(5120, "i1"), (5122, "i2"), (5123, "u2")])
def test_normalized_whole_numbers_are_shares_of_one(
    kind: int, dtype: str, tmp_path: Path
) -> None:
    most = np.iinfo(dtype).max
    stored = np.zeros((3, 4), dtype)
    stored[1:, 0] = most
    stored[2, 1] = most  # Y is up
    made = content(stored, kind)
    made["nodes"][0]["scale"] = [4, 4, 4]
    plain = read(saved(made, tmp_path)).run(0).length
    assert plain == pytest.approx(8.0 * most)
    made["accessors"][0]["normalized"] = True
    points = read(saved(made, tmp_path)).points
    assert points == pytest.approx(np.array([[0, 0, 0], [4, 0, 0], [4, 0, 4]]))


def test_the_least_whole_number_is_minus_one(tmp_path: Path) -> None:
    made = content(np.array([[-128, 0, 0, 0], [127, 0, 0, 0]], "i1"), 5120)
    made["accessors"][0]["normalized"] = True
    assert read(saved(made, tmp_path)).points[:, 0].tolist() == [-1, 1]


def test_a_second_buffer_has_no_chunk(tmp_path: Path) -> None:
    made = content(ROUTE)
    made["buffers"].append({"byteLength": 0})
    made["bufferViews"][0] |= {"buffer": 1, "byteLength": 0}
    with pytest.raises(BadInput, match="buffer 1 names no file"):
        read(saved(made, tmp_path))


def test_a_loop_of_two_is_a_line_and_what_has_no_length_is_said(
    tmp_path: Path,
) -> None:
    assert read(saved(content(ROUTE[:2], mode=LOOP), tmp_path)).run(0).length == 4
    assert read(saved(content(ROUTE, mode=LOOP), tmp_path)).run(0).length == 12
    for mode in (STRIP, LOOP):
        made = content(ROUTE)
        made["accessors"].append({**made["accessors"][0], "count": 1})
        short = {"attributes": {"POSITION": 1}, "mode": mode}
        made["meshes"][0]["primitives"].append(short)
        drawing = read(saved(made, tmp_path))
        assert drawing.run_count == 1
        assert any("lines without a length" in n.what for n in drawing.notices)


@pytest.mark.parametrize(
    ("place", "value", "what"),
    [
        ("children", 5, "the children of node 0 are no list"),
        ("children", [{}], "refers to nodes {}, which is not there"),
        ("uri", "//[foo", "points outside the folder"),
        ("uri", "http://[foo", "points outside the folder"),
        ("uri", "data:,é", "are not base64"),
    ],
)
def test_odd_words_in_a_file_without_scenes_are_refused(
    place: str, value: object, what: str, tmp_path: Path
) -> None:
    made = content(ROUTE)
    made.pop("scenes")
    owner = made["nodes" if place == "children" else "buffers"][0]
    owner[place] = value
    with pytest.raises(BadInput, match=re.escape(what)):
        read(saved(made, tmp_path))


def morphed(added: Any, weights: list[float] | None = None) -> dict[str, Any]:
    """A file whose line has a morph target, and how far that counts by its mesh."""
    made = content(np.concatenate([ROUTE, added]))
    plain = made["accessors"][0] | {"count": len(ROUTE)}
    behind = plain | {"byteOffset": ROUTE.nbytes, "count": len(added)}
    made["accessors"] = [plain, behind]
    made["meshes"][0]["primitives"][0]["targets"] = [{"POSITION": 1}]
    if weights is not None:
        made["meshes"][0]["weights"] = weights
    return made


ASIDE = np.array([[0, 0, 0], [2, 0, 0], [2, 0, 0]], np.float32)


def test_morph_targets_count_by_their_weights_where_nothing_moves(
    tmp_path: Path,
) -> None:
    # By the specification none without weights; those of the node before the mesh's.
    made = morphed(ASIDE)
    assert read(saved(made, tmp_path)).points[1].tolist() == [4, 0, 0]
    made = morphed(ASIDE, [0.5])
    assert read(saved(made, tmp_path)).points[1].tolist() == [5, 0, 0]
    made["nodes"][0]["weights"] = [-0.25]
    drawing = read(saved(made, tmp_path))
    assert drawing.points[:, 0].tolist() == [0, 3.5, 3.5]
    assert not drawing.notices[1:]  # but for the millimetres of its name
    made["meshes"][0]["primitives"][0]["targets"] = [{"NORMAL": 1}]
    assert read(saved(made, tmp_path)).points[1].tolist() == [4, 0, 0]


@pytest.mark.parametrize(
    ("added", "weights", "what"),
    [
        (ASIDE, [1, 1], "it has 1 morph targets and 2 weights"),
        (ASIDE, ["a"], "are no numbers"),
        (ASIDE, 5, "are no numbers"),
        (ASIDE[:2], [1], "a morph target moves 2 vertices, its line has 3"),
    ],
)
def test_morph_targets_that_do_not_fit_are_refused(
    added: Any, weights: Any, what: str, tmp_path: Path
) -> None:
    with pytest.raises(BadInput, match=what) as refused:
        read(saved(morphed(added, weights), tmp_path))
    assert "node 0 'T1 600x300'" in str(refused.value)


def solid() -> dict[str, Any]:
    """A file of a tetrahedron."""
    corners = np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1]], np.float32)
    return content(corners[[0, 2, 1, 0, 1, 3, 0, 3, 2, 1, 2, 3]], mode=TRIANGLES)


def test_a_skin_that_is_not_applied_is_said_of_lines_and_of_solids(
    tmp_path: Path,
) -> None:
    made = content(ROUTE)
    made["meshes"][0]["name"] = "trunk"
    made["nodes"][0]["skin"] = 0
    (said,) = [n for n in read(saved(made, tmp_path)).notices if "skin" in n.what]
    assert said.where == "a.gltf, node 0 'T1 600x300'"
    assert "its mesh 0 'trunk' is moved by a skin" in said.what
    made = solid()
    assert read_obstacles(saved(made, tmp_path))[1] == ()
    made["nodes"][0]["skin"] = 0
    made["meshes"][0]["weights"] = [0.5]
    notices = read_obstacles(saved(made, tmp_path))[1]
    assert [("skin" in n.what, "morph" in n.what) for n in notices] == [
        (True, False),
        (False, True),
    ]


@pytest.mark.parametrize(
    ("needed", "is_read"),
    [("KHR_materials_unlit", True), ("KHR_mesh_quantization", False), (5, False)],
)
def test_extensions_that_a_file_needs(
    needed: object, is_read: bool, tmp_path: Path
) -> None:
    for made, work in ((content(ROUTE), read), (solid(), read_obstacles)):
        made["extensionsRequired"] = [needed]
        path = saved(made, tmp_path)
        if is_read:
            work(path)
            continue
        with pytest.raises(BadInput, match=f"needs the extension {needed}, which"):
            work(path)


def test_a_sparse_accessor_changes_few_of_its_values(tmp_path: Path) -> None:
    made = content(np.concatenate([ROUTE, [[8, 0, 0]]]).astype(np.float32))
    made["accessors"][0]["count"] = 3
    data = base64.b64encode(bytes([1])).decode()
    made["buffers"].append({"byteLength": 1, "uri": f"data:;base64,{data}"})
    made["bufferViews"].append({"buffer": 1, "byteLength": 1})
    made["accessors"][0]["sparse"] = {
        "count": 1,
        "indices": {"bufferView": 1, "componentType": 5121},
        "values": {"bufferView": 0, "byteOffset": ROUTE.nbytes},
    }
    assert read(saved(made, tmp_path)).points[1].tolist() == [8, 0, 0]


@pytest.mark.parametrize("scale", [[1, 0, 1], [1, 1e308, 1]])
def test_a_node_that_leaves_nothing_of_up_is_refused(
    scale: list[float], tmp_path: Path
) -> None:
    made = content(ROUTE)
    made["nodes"][0] |= {"scale": scale, "extras": {"up": [0, 3.9, 0]}}
    flat = saved(made, tmp_path)
    with pytest.raises(BadInput, match="leaves nothing of up"):
        read(flat)
