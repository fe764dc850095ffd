"""Legacy VTK files, written by VTK's own writer: what comes in is what was drawn."""

import contextlib
from itertools import chain, product
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose

from elbowroom.layout import BadInput, drawing_from_runs, read, write

POINTS = [[0, 0, 0], [4, 0, 0], [4, 3, 0], [4, 3, 0.5], [9, 3, 0.5]]
LINES = [[0, 1, 2], [2, 3], [3, 4]]
NAMES = ["run one", "50% open", "x" * 70]  # blanks, signs and a long text


def _written(path: Path, binary: bool, version: int, dots: bool, norms: bool) -> Path:
    # Only the parts of VTK that need no OpenGL.
    core: Any = pytest.importorskip("vtkmodules.vtkCommonCore")
    model: Any = pytest.importorskip("vtkmodules.vtkCommonDataModel")
    legacy: Any = pytest.importorskip("vtkmodules.vtkIOLegacy")

    def array(make: Any, name: str, values: list[Any]) -> Any:
        out = make()
        out.SetName(name)
        for value in values:
            out.InsertNextValue(value)
        return out

    def cells(groups: list[list[int]]) -> Any:
        out = model.vtkCellArray()
        for group in groups:
            out.InsertNextCell(len(group), group)
        return out

    mesh, points = model.vtkPolyData(), core.vtkPoints()
    for point in POINTS:
        points.InsertNextPoint(point)
    mesh.SetPoints(points)
    mesh.SetLines(cells(LINES))
    if dots:  # vertex cells: their data come before those of the lines
        mesh.SetVerts(cells([[0], [4]]))
    lead = [9.0] * (2 * dots)
    of_cells, number = mesh.GetCellData(), core.vtkDoubleArray
    of_cells.SetScalars(array(number, "width_m", [*lead, 0.6, 0.5, 0.4]))
    of_cells.AddArray(array(number, "height_m", [*lead, 0.3, 0.25, 0.2]))
    flows = [*lead, 0.5, 0.25, 0.125]
    of_cells.AddArray(array(core.vtkFloatArray, "flow_m3s", flows))
    names = ["dot"] * len(lead) + NAMES
    of_cells.AddArray(array(core.vtkStringArray, "name", names))
    mesh.GetPointData().SetScalars(array(number, "height_m", [7.0] * len(POINTS)))
    if norms:  # VTK then writes METADATA after the arrays
        points.GetData().GetRange(-1)
        for row in range(of_cells.GetNumberOfArrays()):
            of_cells.GetAbstractArray(row).SetComponentName(0, "clear")
    writer = legacy.vtkPolyDataWriter()
    writer.SetInputData(mesh)
    writer.SetFileName(str(path))
    writer.SetFileVersion(version)
    writer.SetFileType(2 if binary else 1)
    assert writer.Write() == 1
    return path


@pytest.mark.parametrize(
    ("binary", "version", "dots", "norms"),
    list(product((False, True), (42, 51), (False, True), (False, True))),
)
def test_what_vtk_writes(
    tmp_path: Path, binary: bool, version: int, dots: bool, norms: bool
) -> None:
    # Source: VTK's own writer of legacy files, a general-purpose library.
    path = _written(tmp_path / "route.vtk", binary, version, dots, norms)
    assert (b"METADATA" in path.read_bytes()) == norms
    drawing = read(path)
    assert drawing.names == NAMES
    assert_allclose(drawing.width, [0.6, 0.5, 0.4])
    assert_allclose(drawing.height, [0.3, 0.25, 0.2])
    assert_allclose(drawing.flow, [0.5, 0.25, 0.125])
    assert_allclose(drawing.points, np.array(POINTS)[list(chain(*LINES))])


def test_cut_short_anywhere(tmp_path: Path) -> None:
    whole = _written(tmp_path / "whole.vtk", True, 51, True, True).read_bytes()
    path = tmp_path / "cut.vtk"
    for length in range(30, whole.index(b"CELL_DATA") - 1, 3):
        path.write_bytes(whole[:length])
        with pytest.raises(BadInput, match=r"cut\.vtk"):
            read(path)
    for length in range(whole.index(b"CELL_DATA"), len(whole), 3):
        path.write_bytes(whole[:length])
        with contextlib.suppress(BadInput):  # the lines are whole, and nothing else
            assert read(path).run_count == len(LINES)


def test_fewer_values_than_lines(tmp_path: Path) -> None:
    path = _written(tmp_path / "few.vtk", False, 51, False, False)
    text = path.read_text().replace(
        "height_m 1 3 double\n0.3 ", "height_m 1 2 double\n"
    )
    path.write_text(text)
    with pytest.raises(BadInput, match="'height_m' has 2 values for 3 cells"):
        read(path)


TEXT = """# vtk DataFile Version 3.0
title
ASCII
DATASET POLYDATA
POINTS 2 double
0 0 3 8 0 3
LINES 1 3
2 0 1
CELL_DATA 1
FIELD FieldData 1
name 1 1 string
hall D200
"""


def test_what_is_no_utf8_or_no_plain_number_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "a.vtk"
    for text, said in (
        ("B\xfcro", "a word in it is no UTF-8; save it with"),
        ("B%FCro", "a word in it is no UTF-8"),
    ):
        path.write_bytes(TEXT.replace("hall D200", text).encode("latin-1"))
        with pytest.raises(BadInput, match=said):
            read(path)
    for old, new in (("3 8 0 3", "3 1_0 0 3"), ("3 8", "3 \uff18"), ("1 3", "1_0 3")):
        assert old in TEXT
        path.write_text(TEXT.replace(old, new, 1), encoding="utf-8")
        with pytest.raises(BadInput, match="an underscore, or in the digits of"):
            read(path)
    path.write_bytes(TEXT.replace("title", "t\xeftle").encode("latin-1"))
    assert read(path).points.tolist() == [[0, 0, 3], [8, 0, 3]]
    for name in ("B\xfcro", "B%C3%BCro", "a\u2028b"):
        path.write_text(TEXT.replace("hall D200", name), encoding="utf-8")
        assert read(path).names == [name.replace("%C3%BC", "\xfc")]


def test_a_vtp_is_read_as_strictly(tmp_path: Path) -> None:
    path = tmp_path / "a.vtp"
    write(drawing_from_runs([("hall", [[0, 0, 3], [8, 0, 3]], None)]), path)
    text = path.read_text()
    for old, new, said in (
        (">104 97", ">252 97", "a word in it is no UTF-8"),  # a byte of Latin-1
        ("8.0", "8_0", "its data cannot be read"),
        ('NumberOfPoints="2"', 'NumberOfPoints="\uff12"', "its data cannot be read"),
    ):
        assert old in text
        path.write_text(text.replace(old, new), encoding="utf-8")
        with pytest.raises(BadInput, match=said):
            read(path)
    path.write_bytes(
        text.replace("<Points>", "<!-- \xfc --><Points>").encode("latin-1")
    )
    with pytest.raises(BadInput, match="no UTF-8"):
        read(path)
