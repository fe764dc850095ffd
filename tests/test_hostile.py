"""Damaged and harmful files: nothing but our own refusal leaves a reader."""

import base64
import contextlib
import zlib
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from elbowroom.layout import BadInput, read, read_obstacles

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


@pytest.mark.parametrize("name", SEEDS)
@FUZZ
@given(data=st.data())
def test_damaged_files(name: str, data: st.DataObject, tmp_path: Path) -> None:
    """Bytes changed, taken out, put in, and the end cut off."""
    content = bytearray((ROUTES / name).read_bytes())
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
    tried(bytes(content), tmp_path / name)


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
