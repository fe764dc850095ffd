"""Damaged files are refused in words of ours, not in those of a library."""

import re
from pathlib import Path

import numpy as np
import pytest
from ifc_models import Model

from elbowroom.layout import (
    Attributes,
    BadInput,
    drawing_from_runs,
    read,
    round_section,
    write,
)

# What Python, numpy, expat and the parsers of DXF and IFC say, and their classes.
FOREIGN = re.compile(
    r"[a-z]Error|Exception|codec|literal|subsection|could not convert|NoneType|None\b"
    r"|out of range|object has|unpack|[Ee]xpect|element found|well-formed|recursion"
    r"|requested size|frombuffer|ndarray|tag missing|missing END|\bchar \d"
)
LEGACY = (
    "# vtk DataFile Version 4.2\nroute\nASCII\nDATASET POLYDATA\n"
    "POINTS 2 double\n0 0 3 8 0 3\nLINES 1 3\n2 0 1\n"
    "CELL_DATA 1\nSCALARS diameter_m double\nLOOKUP_TABLE default\n0.2\n"
)


def _refused(path: Path) -> str:
    with pytest.raises(BadInput) as bad:
        read(path)
    return str(bad.value)


@pytest.mark.parametrize("ending", ["dxf", "vtp", "vtk", "gltf"])
def test_a_file_that_is_cut_or_changed_anywhere_is_refused_in_plain_words(
    ending: str, tmp_path: Path
) -> None:
    path = tmp_path / f"a.{ending}"
    if ending == "vtk":
        path.write_text(LEGACY)
    elif ending == "gltf":
        path.write_text('{"asset": {"version": "2.0"}, "nodes": [{"name": "a"}]}')
    else:
        said = {"hall": Attributes(source=True, terminal="hall")}
        run = ("hall", [[0, 0, 3], [8, 0, 3]], round_section(0.2))
        write(drawing_from_runs([run], attributes=said), path)
    whole, seen = path.read_bytes(), 0
    for place in np.linspace(20, len(whole) - 2, 60).astype(int).tolist():
        for other in (
            whole[:place],
            whole[:place] + b"x" + whole[place + 1 :],
            whole[:place] + b"\xff" + whole[place:],
            whole[:place] + whole[place + 15 :],
        ):
            path.write_bytes(other)
            try:
                read(path)
            except BadInput as bad:
                for fault in bad.faults:
                    seen += 1
                    assert not FOREIGN.search(fault.sentence), fault.sentence
    assert seen > 60


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("0 0 3 8 0 3", "0 0 3 8 zero 3", "'zero' is no number"),
        ("POINTS 2", "POINTS two", "'two' is no whole number"),
        ("LINES 1 3\n2", "LINES 2 3\n2", "its data are damaged or cut short"),
        ("0 0 3 8 0 3", "0 0 3 8 1_0 3", "a number with an underscore"),
        ("0 0 3 8 0 3", "0 0 3 8 0\x1c1 3", "a word is no number"),
        ("2 0 1", "2 0 1.5", "a number that should be whole is not"),
    ],
)
def test_a_legacy_file_is_refused_with_the_word_that_is_wrong(
    old: str, new: str, said: str, tmp_path: Path
) -> None:
    path = tmp_path / "a.vtk"
    path.write_text(LEGACY)
    assert read(path).run_count == 1
    path.write_text(LEGACY.replace(old, new))
    sentence = _refused(path)
    assert said in sentence
    assert not FOREIGN.search(sentence)


def test_a_dxf_that_is_cut_short_says_so(tmp_path: Path) -> None:
    path = tmp_path / "a.dxf"
    run = ("hall", [[0, 0, 3], [8, 0, 3]], round_section(0.2))
    write(drawing_from_runs([run]), path)
    text = path.read_text()
    path.write_text(text[: text.rindex("ENDSEC") - 5])
    assert _refused(path) == (
        "a.dxf: it is cut short: it ends within a section; ask for a complete copy, or "
        "save it again."
    )


def test_brackets_without_end_are_said(tmp_path: Path) -> None:
    path = tmp_path / "a.gltf"
    path.write_text('{"asset": ' + "[" * 100_000)
    assert "its brackets are nested too deep" in _refused(path)


def test_an_ifc_file_that_its_parser_refuses_is_refused_in_plain_words(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    ifcopenshell = pytest.importorskip("ifcopenshell")

    def fails(_: str) -> None:
        raise ifcopenshell.Error("Unable to parse IFC SPF header")

    model = Model()
    model.duct(model.extrusion(300, 200, 5000))
    model.drawing(tmp_path)
    monkeypatch.setattr(ifcopenshell, "open", fails)
    said = _refused(tmp_path / "duct.ifc")
    assert "it is damaged: between its first and last line it is no IFC" in said
    assert "Error" not in said
    assert "SPF" not in said
