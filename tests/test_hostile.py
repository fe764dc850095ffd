"""Damaged and harmful files: nothing but our own refusal leaves a reader."""

import base64
import contextlib
import copy
import json
import random
import zlib
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import trimesh
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from elbowroom.layout import (
    BadInput,
    build,
    load_toml,
    read,
    read_obstacles,
    read_schedule,
)

ROUTES = Path(__file__).parent / "data" / "routes"
SEEDS = [
    "library_lines.glb",
    "ring_loop_datauri.gltf",
    "library_blender.obj",
    "library_r12_mm.dxf",
    "library_r2018_blocks_m.dxf",
    "library_pyvista.vtp",
    "library_ascii.vtp",
    "library_legacy_mm.vtk",
    "library_meshio.vtu",
]
FUZZ = settings(
    max_examples=60,
    deadline=None,
    derandomize=True,  # the same files in every run; fuzzing for news is by hand
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)


def tried(content: bytes, path: Path) -> None:
    """Read a file that may be anything; only a refusal may come of it."""
    path.write_bytes(content)
    try:
        drawing = read(path)
    except BadInput:
        return
    assert np.isfinite(drawing.points).all()


def damaged(whole: bytes, data: st.DataObject) -> bytes:
    """Bytes changed, taken out, put in, and the end cut off."""
    content = bytearray(whole)
    for _ in range(data.draw(st.integers(1, 6))):
        place = data.draw(st.integers(0, max(len(content) - 1, 0)))
        act = data.draw(st.sampled_from(["change", "cut", "insert", "end"]))
        if act == "change" and content:
            content[place] = data.draw(st.integers(0, 255))
        elif act == "cut":
            del content[place : place + data.draw(st.integers(1, 40))]
        elif act == "insert":
            content[place:place] = data.draw(st.binary(max_size=12))
        else:
            del content[place:]
    return bytes(content)


@pytest.mark.parametrize("name", SEEDS)
@FUZZ
@given(data=st.data())
def test_damaged_files(name: str, data: st.DataObject, tmp_path: Path) -> None:
    tried(damaged((ROUTES / name).read_bytes(), data), tmp_path / name)


@pytest.mark.parametrize("suffix", ["glb", "gltf", "obj", "dxf", "vtp", "vtk", "toml"])
@FUZZ
@given(content=st.binary(max_size=400))
def test_anything_at_all(suffix: str, content: bytes, tmp_path: Path) -> None:
    tried(content, tmp_path / f"a.{suffix}")


@FUZZ
@given(
    text=st.text(
        alphabet=st.sampled_from(list("[]=\"'{},.#\n 0123456789abenoprstuw_-")),
        max_size=200,
    )
)
def test_any_toml(text: str, tmp_path: Path) -> None:
    tried(text.encode(), tmp_path / "a.toml")


# --- VTK's XML in every encoding that its writer has


def vtp(compressor: str, mode: str, header: str, path: Path) -> None:
    import pyvista as pv
    from vtkmodules.vtkIOXML import vtkXMLPolyDataWriter

    lines = pv.PolyData(
        np.array([[0, 0, 0], [4, 0, 0], [4, 3, 0], [9, 9, 9]], dtype=float),
        lines=[3, 0, 1, 2],
    )
    lines.cell_data["diameter_m"] = np.array([0.25])
    writer = vtkXMLPolyDataWriter()
    writer.SetFileName(str(path))
    writer.SetInputData(lines)
    getattr(writer, f"SetCompressorTypeTo{compressor}")()
    if mode == "inline":
        writer.SetDataModeToBinary()
    else:
        writer.SetDataModeToAppended()
        writer.SetEncodeAppendedData(mode == "base64")
    getattr(writer, f"SetHeaderTypeTo{header}")()
    assert writer.Write() == 1


@pytest.mark.parametrize("header", ["UInt32", "UInt64"])
@pytest.mark.parametrize("mode", ["inline", "base64", "raw"])
@pytest.mark.parametrize("compressor", ["None", "ZLib", "LZMA"])
def test_every_encoding_of_a_vtp(
    compressor: str, mode: str, header: str, tmp_path: Path
) -> None:
    path = tmp_path / "a.vtp"
    vtp(compressor, mode, header, path)
    (run,) = read(path).runs
    assert run.points.tolist() == [[0, 0, 0], [4, 0, 0], [4, 3, 0]]
    assert run.section is not None
    assert run.section.width == 0.25


def test_packed_data_that_are_damaged_are_told_with_their_array(tmp_path: Path) -> None:
    path = tmp_path / "a.vtp"
    vtp("ZLib", "raw", "UInt32", path)
    data = bytearray(path.read_bytes())
    first = data.index(b"_", data.index(b"<AppendedData")) + 1
    packed = data.index(b"\x78", first + 16)  # the first byte of a zlib stream
    data[packed] ^= 0xFF
    path.write_bytes(data)
    with pytest.raises(BadInput, match=r"\(array '\w+': its packed data are damaged"):
        read(path)


def test_an_array_that_claims_more_than_it_holds_costs_nothing(tmp_path: Path) -> None:
    """A bomb of zeros: 4 GB claimed, a few kilobytes given."""
    block = zlib.compress(bytes(10_000_000), 9)
    head = np.array([400, 10_000_000, 0, *[len(block)] * 400], dtype="<u4").tobytes()
    data = base64.b64encode(head) + base64.b64encode(block * 400)
    path = tmp_path / "a.vtp"
    path.write_bytes(
        b'<VTKFile type="PolyData" byte_order="LittleEndian" header_type="UInt32" '
        b'compressor="vtkZLibDataCompressor"><PolyData><Piece NumberOfPoints="9" '
        b'NumberOfLines="1"><Points><DataArray type="Float64" NumberOfComponents="3" '
        b'format="binary">'
        + data
        + b"</DataArray></Points></Piece></PolyData></VTKFile>"
    )
    with pytest.raises(BadInput, match="claims"):
        read(path)


def test_entities_are_not_expanded(tmp_path: Path) -> None:
    path = tmp_path / "a.vtp"
    path.write_text(
        '<?xml version="1.0"?><!DOCTYPE a [<!ENTITY b SYSTEM "file:///etc/hostname">]>'
        '<VTKFile type="PolyData"><PolyData>&b;</PolyData></VTKFile>'
    )
    with pytest.raises(BadInput, match="entities"):
        read(path)


def test_a_buffer_behind_a_symbolic_link_is_not_opened(tmp_path: Path) -> None:
    secret = tmp_path / "outside.bin"
    secret.write_bytes(bytes(1000))
    folder = tmp_path / "drawing"
    folder.mkdir()
    text = (ROUTES / "ring_loop.gltf").read_text()
    (folder / "ring_loop.gltf").write_text(text)
    (folder / "ring_loop.bin").symlink_to(secret)
    with pytest.raises(BadInput, match="outside the folder"):
        read(folder / "ring_loop.gltf")


@pytest.mark.parametrize("suffix", ["glb", "obj", "stl", "ply"])
@FUZZ
@given(content=st.binary(max_size=300))
def test_any_obstacle(suffix: str, content: bytes, tmp_path: Path) -> None:
    path = tmp_path / f"a.{suffix}"
    path.write_bytes(content)
    with contextlib.suppress(BadInput):
        read_obstacles(path)


@pytest.mark.filterwarnings("error::RuntimeWarning")  # they name folders of a machine
@pytest.mark.parametrize("suffix", ["glb", "obj", "stl", "ply", "ascii.stl"])
@FUZZ
@given(data=st.data())
def test_damaged_solids(suffix: str, data: st.DataObject, tmp_path: Path) -> None:
    path = tmp_path / f"a.{suffix}"
    box: Any = trimesh.creation.box((1, 2, 3))
    how = {"file_type": "stl_ascii"} if "ascii" in suffix else {}
    box.export(path, **how)
    path.write_bytes(damaged(path.read_bytes(), data))
    with contextlib.suppress(BadInput):
        for solid in read_obstacles(path)[0]:
            assert np.isfinite(solid.vertices).all()


BOX_OBJ = """o beam
v 0 0 0
v 1 0 0
v 0 1 0
v 0 0 1
f 1 3 2
f 1 2 4
f 1 4 3
f 2 3 4
"""


@pytest.mark.filterwarnings("error")
@pytest.mark.parametrize(
    ("right", "odd", "said"),
    [
        ("v 1 0 0", "v nan 0 0", "line 3: the coordinate 'nan' is not finite"),
        ("v 1 0 0", "v 1e400 0 0", "'beam': vertex 2 is not a finite number"),
        ("v 1 0 0", "v 1e300 0 0", "'beam': vertex 2 lies out of all reach"),
        ("v 1 0 0", "v 1e11 0 0", "'beam': vertex 2 lies out of all reach"),
        ("v 1 0 0", "v 1,5 0 0", "line 3: '1,5' is no number .a decimal comma"),
        ("v 0 0 1", "v 0 1", "line 5: a vertex has fewer than three"),
        ("v 0 0 1", "v 0 1\nv 0 1 0 1", "line 5: a vertex has fewer than three"),
        ("f 2 3 4", "f 2 3 5", "line 9: vertex 5 of 4 does not exist"),
        ("f 2 3 4", "f 2 3 -5", "line 9: vertex -5 of 4 does not exist"),
        ("f 2 3 4", "f 2 3 0", "line 9: vertex 0 does not exist"),
        ("f 2 3 4", "f 2 3/1", "line 9: a face needs 3 vertices"),
    ],
)
def test_where_an_obj_of_solids_is_wrong_is_said(
    tmp_path: Path, right: str, odd: str, said: str
) -> None:
    path = tmp_path / "a.obj"
    path.write_text(BOX_OBJ)
    assert len(read_obstacles(path, unit="m")[0]) == 1
    path.write_text(BOX_OBJ.replace(right, odd))
    with pytest.raises(BadInput, match=said):
        read_obstacles(path)


@pytest.mark.filterwarnings("error")
@pytest.mark.parametrize("suffix", ["stl", "ply", "glb"])
@pytest.mark.parametrize(
    ("value", "said"),
    [
        (np.nan, "is not a finite number"),
        (np.inf, "is not a finite number"),
        (1e20, "lies out of all reach"),
    ],
)
def test_a_vertex_that_is_nowhere_is_refused_in_every_format(
    suffix: str, value: float, said: str, tmp_path: Path
) -> None:
    path = tmp_path / f"a.{suffix}"
    box: Any = trimesh.creation.box((1, 2, 3))
    mark = np.float32(0.5).tobytes()  # the X of some vertices
    box.export(path)
    whole = path.read_bytes()
    place = whole.index(mark, 84)
    path.write_bytes(whole[:place] + np.float32(value).tobytes() + whole[place + 4 :])
    with pytest.raises(BadInput, match=said):
        read_obstacles(path)


@pytest.mark.parametrize("index", ["-3", "8"])
def test_a_face_beyond_its_vertices_is_refused(index: str, tmp_path: Path) -> None:
    path = tmp_path / "a.ply"
    box: Any = trimesh.creation.box((1, 2, 3))
    box.export(path, encoding="ascii")
    lines = path.read_text().rstrip().split("\n")
    lines[-1] = " ".join([*lines[-1].split()[:-1], index])
    path.write_text("\n".join(lines) + "\n")
    with pytest.raises(BadInput, match=f"face 12 leads to vertex {index}, .* of 8"):
        read_obstacles(path)


def test_an_obj_may_count_its_vertices_backwards(tmp_path: Path) -> None:
    """As the format has it, from those before the face: also in a second object."""
    path = tmp_path / "a.obj"
    faces = "f -4 -2 -3\nf -4 -3 -1\nf -4/1 -1/2 -2/3\nf -3 -2 -1\n"
    first = BOX_OBJ[: BOX_OBJ.index("f")] + faces
    path.write_text(first + first.replace("v ", "\tv\t5"))
    one, two = sorted(read_obstacles(path)[0], key=lambda solid: solid.vertices.max())
    assert (one.vertices.max(), len(one.faces)) == (1.0, 4)
    assert (two.vertices[:, 0].tolist(), len(two.faces)) == ([50, 51, 50, 50], 4)


@pytest.mark.parametrize(
    ("name", "content", "said"),
    [
        ("dot.obj", "v 1 2 3\nv 4 5 6\nl 1 1\n", "no line in it has a length"),
        ("far.obj", "v 0 0 0\nv 1e300 0 0\nl 1 2\n", "out of all reach"),
    ],
)
def test_what_coverage_guided_fuzzing_found(
    tmp_path: Path, name: str, content: str, said: str
) -> None:
    path = tmp_path / name
    path.write_text(content)
    with pytest.raises(BadInput, match=said):
        read(path)


@pytest.mark.parametrize(
    ("end", "said"),
    [
        ((0.0, 0.0, 0.0), "no line in it has a length"),
        ((1e300, 0.0, 0.0), "out of all"),
    ],
)
def test_what_coverage_guided_fuzzing_found_in_dxf(
    tmp_path: Path, end: tuple[float, float, float], said: str
) -> None:
    from ezdxf.filemanagement import new

    document = new("R2010", units=6)
    document.modelspace().add_line((0, 0, 0), end)
    path = tmp_path / "line.dxf"
    document.saveas(path)
    with pytest.raises(BadInput, match=said):
        read(path)


# --- odd values at every place of a file that is otherwise right

HUGE = 10**400
ODD: list[object] = [
    *(None, True, False, -1, 0, 99, HUGE, -HUGE, 2**63, 1e300, float("inf")),
    *(float("nan"), -5.5, "x", "", "9" * 400, [], [1], {}, {"a": 1}, [[[1]]], ["x"]),
    *([{}], [None], [1e308] * 3, [0, 0, 0, 0], [HUGE] * 3, [HUGE] * 4, [HUGE] * 16),
]


def places(value: object, above: tuple[object, ...] = ()) -> list[tuple[object, ...]]:
    """Where something else may be put in nested lists and tables."""
    inner: list[tuple[object, object]] = []
    if isinstance(value, dict):
        inner = list(value.items())
    elif isinstance(value, list):
        inner = list(enumerate(value))
    found = [above] if above else []
    for key, part in inner:
        found += places(part, (*above, key))
    return found


def cases(right: Any, most: int) -> list[tuple[tuple[object, ...], object]]:
    """Places and what is put there, the same ones in every run."""
    every = [(place, odd) for place in places(right) for odd in ODD]
    return random.Random(7).sample(every, min(most, len(every)))


def replaced(value: Any, place: tuple[object, ...], other: object) -> Any:
    changed = copy.deepcopy(value)
    holder = changed
    for key in place[:-1]:
        holder = holder[key]
    holder[place[-1]] = other
    return changed


SCHEDULE = """
[air]
temperature = "16 C"
altitude = "400 ft"
humidity = 0.5
[fan]
curve = [["0 m3/s", "480 Pa"], ["1 m3/s", "40 Pa"]]
curve_pressure = "total"
efficiency = 0.55
hours_per_year = "3000 h"
[source]
at = ["0 m", "0 m", "3.2 m"]
[losses]
filter = "45 Pa"
[duct.runs.office]
compression = "4 %"
[elbows]
construction = "segmented"
radius_ratio = 1.0
pieces = 5
[[elbows.exception]]
run = "office"
bend = 1
construction = "mitred"
[[takeoffs.exception]]
run = "office"
closed_end = false
[terminals.office]
flow = "150 L/s"
loss = "18 Pa"
at = ["0 m", "0 m", "3.2 m"]
[terminals.hall]
share = 0.25
[rooms]
temperature_difference = "8 K"
total_airflow = "1200 cfm"
[limits.office]
max_height = "250 mm"
[sections]
hall = "400x300 mm"
[checks]
leakage_class = 8
temperature_around = "35 C"
heat_transmission = "1 W/m2K"
"""
ROUTE = """
unit = "mm"
up = "z"
[[run]]
name = "hall"
section = "400x300"
points = [[8000, 0, 3200], [9000, 0, 3200], [9000, 2000, 3200]]
source = "start"
terminal = "hall"
up = [0, 0, 1]
roughness = "0.1 mm"
bend_radius = "500 mm"
transition = false
flow = "150 L/s"
"""


def small_gltf() -> dict[str, Any]:
    points = np.array([[0, 0, 0], [4, 0, 0], [4, 0, 3]], "<f4").tobytes()
    data = points + np.array([0, 1, 1, 2], "<u2").tobytes()
    extras = {
        **{"width_m": 0.6, "height_m": 0.3, "flow_m3s": 0.5, "source": True},
        **{"terminal": "a", "up": [0, 1, 0], "bend_radius_m": 0.6},
        **{"transition": False, "role": "x", "route": "r", "shape": "oval"},
    }
    one = np.eye(4, dtype=int).ravel().tolist()
    return {
        "asset": {"version": "2.0"},
        "extensionsRequired": [],
        "scene": 0,
        "scenes": [{"nodes": [0]}],
        "nodes": [
            {
                **{"name": "T1", "mesh": 0, "children": [1], "extras": extras},
                **{"translation": [0, 0, 0], "rotation": [0, 0, 0, 1]},
                "scale": [1, 1, 1],
            },
            {"name": "b", "mesh": 0, "matrix": one},
        ],
        "meshes": [
            {
                "primitives": [
                    {"mode": 1, "attributes": {"POSITION": 0}, "indices": 1},
                    {"mode": 3, "attributes": {"POSITION": 2}},
                ]
            }
        ],
        "accessors": [
            {"bufferView": 0, "componentType": 5126, "count": 3, "type": "VEC3"},
            {"bufferView": 1, "componentType": 5123, "count": 4, "type": "SCALAR"},
            {
                **{"bufferView": 0, "componentType": 5126, "count": 3, "type": "VEC3"},
                "sparse": {
                    "count": 1,
                    "indices": {"bufferView": 1, "componentType": 5123},
                    "values": {"bufferView": 0},
                },
            },
        ],
        "bufferViews": [
            {"buffer": 0, "byteOffset": 0, "byteLength": 36},
            {"buffer": 0, "byteOffset": 36, "byteLength": 8, "byteStride": 2},
        ],
        "buffers": [
            {
                "byteLength": len(data),
                "uri": "data:;base64," + base64.b64encode(data).decode(),
            }
        ],
    }


@pytest.mark.filterwarnings("error")  # of numpy: they would be printed to the user
def test_odd_values_in_a_gltf(tmp_path: Path) -> None:
    right, path = small_gltf(), tmp_path / "a.gltf"
    path.write_text(json.dumps(right))
    assert read(path).run_count == 1  # the others are copies of it
    refused = 0
    for place, odd in cases(right, 500):
        path.write_text(json.dumps(replaced(right, place, odd)))
        try:
            tried(path.read_bytes(), path)
            read_obstacles(path)
        except BadInput:
            refused += 1
    assert refused > 100


@pytest.mark.filterwarnings("error")
@pytest.mark.parametrize(
    ("place", "odd"),
    [
        (("accessors", 0, "componentType"), [5126]),
        (("accessors", 0, "count"), True),
        (("extensionsRequired",), True),
        (("extensionsRequired",), {"a": 1}),
        (("nodes", 0, "translation", 0), HUGE),
        (("nodes", 0, "scale", 0), HUGE),
        (("nodes", 0, "rotation"), [0, 0, 0, 0]),
        (("nodes", 1, "matrix", 0), HUGE),
        (("nodes", 0, "extras", "width_m"), HUGE),
        (("nodes", 0, "extras", "up", 0), HUGE),
        (("buffers", 0, "uri"), "9" * 400),
    ],
)
def test_what_is_odd_in_a_gltf_is_refused(
    place: tuple[object, ...], odd: object, tmp_path: Path
) -> None:
    path = tmp_path / "a.gltf"
    path.write_text(json.dumps(replaced(small_gltf(), place, odd)))
    with pytest.raises(BadInput):
        read(path)


@pytest.mark.filterwarnings("error")
def test_odd_values_in_a_schedule_and_a_route(tmp_path: Path) -> None:
    path = tmp_path / "a.toml"
    for text, reader in ((SCHEDULE, read_schedule), (ROUTE, read)):
        path.write_text(text)
        right = load_toml(path)
        path.write_text(toml(right))
        reader(path)
        refused = 0
        for place, odd in cases(right, 600):
            if odd is None:  # TOML has no null
                continue
            path.write_text(toml(replaced(right, place, odd)))
            try:
                reader(path)
            except BadInput:
                refused += 1
        assert refused > 200


@pytest.mark.filterwarnings("error")
@pytest.mark.parametrize("size", [1e300, 1e-300, 3.0])
def test_the_length_of_a_direction_says_nothing(size: float, tmp_path: Path) -> None:
    path, lines, uprights = tmp_path / "a.toml", tmp_path / "a.gltf", []
    place = ("nodes", 0, "extras", "up")
    for up in ([0.0, 0.6, 0.8], [0.0, 0.6 * size, 0.8 * size]):
        path.write_text(ROUTE.replace("up = [0, 0, 1]", f"up = {up}"))
        uprights.append(build(read(path)).ducts.upright)
        lines.write_text(json.dumps(replaced(small_gltf(), place, up)))
        turned = np.array(read(lines).attributes[0].up)  # the file has Y up
        assert turned / np.linalg.norm(turned) == pytest.approx([0.0, -0.8, 0.6])
    assert uprights[1] == pytest.approx(uprights[0])


def toml(table: dict[str, Any]) -> str:
    """Nested tables as TOML, each a line of its own."""
    return "".join(f"{json.dumps(k)} = {inline(v)}\n" for k, v in table.items())


def inline(value: object) -> str:
    if isinstance(value, dict):
        inner = ", ".join(f"{json.dumps(k)} = {inline(v)}" for k, v in value.items())
        return "{" + inner + "}"
    if isinstance(value, list):
        return "[" + ", ".join(inline(v) for v in value if v is not None) + "]"
    if isinstance(value, str):
        return json.dumps(value)
    return str(value).lower()  # true, inf and nan as TOML writes them


@pytest.mark.parametrize(
    ("name", "content", "said"),
    [
        ("a.gltf", '{"asset": {"version": "2.0"}, "a": %s}', "thousands of digits"),
        ("a.toml", "unit = %s", "thousands of digits"),
        ("a.schedule.toml", "[air]\nhumidity = %s", "thousands of digits"),
    ],
)
def test_an_integer_of_thousands_of_digits(
    tmp_path: Path, name: str, content: str, said: str
) -> None:
    """Python itself refuses those, but not as the readers' parsers say they do."""
    path = tmp_path / name
    path.write_text(content % ("9" * 5000))
    reader = read_schedule if "schedule" in name else read
    with pytest.raises(BadInput, match=said) as refused:
        reader(path)
    assert "sys." not in str(refused.value)


def test_where_an_integer_is_too_large_is_said(tmp_path: Path) -> None:
    path = tmp_path / "a.schedule.toml"
    path.write_text(f"[terminals.office]\nshare = {HUGE}\n")
    with pytest.raises(
        BadInput, match=r"a\.schedule\.toml, terminals office share: .* too large"
    ):
        read_schedule(path)


@pytest.mark.filterwarnings("error")
@pytest.mark.parametrize("scale", ["1e308", "1e200"])
def test_nodes_that_no_number_reaches(tmp_path: Path, scale: str) -> None:
    """Each node's own placement is finite, what they come to together is not."""
    right = small_gltf()
    for node in right["nodes"]:
        node.pop("matrix", None)
        node["scale"] = [float(scale)] * 3
    path = tmp_path / "a.gltf"
    path.write_text(json.dumps(right))
    with pytest.raises(BadInput, match="placement that is no matrix"):
        read(path)
