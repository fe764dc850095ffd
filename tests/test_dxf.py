"""What is particular to DXF: its curves, units, blocks and what is passed over."""

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from ezdxf.filemanagement import new

from elbowroom.layout import BadInput, read

LAYER = {"layer": "main 600x300"}


def drawn(units: int = 6) -> tuple[Any, Any]:
    """A new document and its model space."""
    document = new("R2010", units=units)
    return document, document.modelspace()


def saved(document: Any, folder: Path) -> Path:
    path = folder / "plan.dxf"
    document.saveas(path)
    return path


CONTROL = np.array([(0, 0, 3), (2, 0, 3), (4, 1, 3), (5, 3, 3), (4, 6, 3)], float)


@pytest.mark.parametrize("closed", [False, True])
def test_a_spline_with_knots_beyond_its_ends(closed: bool, tmp_path: Path) -> None:
    """The uniform cubic in its matrix form, from control points alone.

    Source: definition of the uniform cubic B-spline, from memory.
    """
    document, model = drawn()
    spline = model.add_spline(dxfattribs=LAYER)
    points = CONTROL
    if closed:
        spline.set_closed(CONTROL.tolist())
        points = np.concatenate([CONTROL, CONTROL[:3]])
    else:
        spline.set_uniform(CONTROL.tolist())
    matrix = np.array([[1, 4, 1, 0], [-3, 0, 3, 0], [3, -6, 3, 0], [-1, 3, -3, 1]]) / 6
    powers = np.linspace(0.0, 1.0, 2000)[:, None] ** np.arange(4)
    spans = [powers @ matrix @ points[i : i + 4] for i in range(len(points) - 3)]
    curve = np.concatenate(spans)
    run = read(saved(document, tmp_path)).run(0)
    length = np.linalg.norm(np.diff(curve, axis=0), axis=1).sum()
    assert run.length == pytest.approx(length, rel=1e-3)
    for wanted, found in ((curve[0], run.points[0]), (curve[-1], run.points[-1])):
        assert found == pytest.approx(wanted)
    apart = np.linalg.norm(run.points[:, None] - curve, axis=2).min(axis=1)
    assert apart.max() < 0.01


def test_a_block_in_too_many_rows_is_refused_before_it_is_built(tmp_path: Path) -> None:
    for rows, spacing, content in ((1500, 0.7, 1), (30_000, 0.0, 0), (3, 0.7, 1)):
        document, model = drawn()
        block = document.blocks.new("H")
        for _ in range(content):
            block.add_line((0, 0, 0), (0, 0, 0.5))
        grid: dict[str, Any] = {"row_count": rows, "column_count": rows}
        grid |= {"row_spacing": spacing, "column_spacing": spacing}
        model.add_blockref("H", (0, 0, 0), dxfattribs={**LAYER, **grid})
        path = saved(document, tmp_path)
        if rows > 3:
            with pytest.raises(BadInput, match="fewer rows and columns"):
                read(path)
        else:
            assert read(path).run_count == rows * rows


@pytest.mark.parametrize(
    ("code", "metres"),
    # Codes: ezdxf.units; the US survey foot, 1200/3937 m: from memory.
    [
        *[(1, 0.0254), (2, 0.3048), (4, 0.001), (5, 0.01), (6, 1), (7, 1000)],
        *[(10, 0.9144), (14, 0.1), (21, 0.304800609601), (0, 1)],
    ],
)
def test_units_of_the_header(code: int, metres: float, tmp_path: Path) -> None:
    document, model = drawn(code)
    model.add_line((0, 0, 3), (10, 0, 3), dxfattribs=LAYER)
    drawing = read(saved(document, tmp_path))
    assert drawing.run(0).length == pytest.approx(10 * metres, rel=1e-9)
    said = " ".join(notice.sentence for notice in drawing.notices)
    assert ("states no unit" in said) == (code == 0)
    assert read(tmp_path / "plan.dxf", unit="in").run(0).length == pytest.approx(0.254)


@pytest.mark.parametrize("code", [3, 8, 13, 20, 99])
def test_a_unit_that_no_duct_is_drawn_in_is_refused(code: int, tmp_path: Path) -> None:
    document, model = drawn()
    document.header["$INSUNITS"] = code
    model.add_line((0, 0, 3), (10, 0, 3), dxfattribs=LAYER)
    with pytest.raises(BadInput, match=rf"INSUNITS {code}\)"):
        read(saved(document, tmp_path))
    assert read(tmp_path / "plan.dxf", unit="m").run(0).length == 10


def test_what_is_not_read_of_the_ducts_is_said_once(tmp_path: Path) -> None:
    document, model = drawn()
    for layer, is_hidden in (("main 600x300", False), ("arm D200", True)):
        row = document.layers.add(layer)
        if is_hidden:
            row.freeze()
        model.add_line((0, 0, 3), (4, 0, 3), dxfattribs={"layer": layer})
    plain = " ".join(n.sentence for n in read(saved(document, tmp_path)).notices)
    assert "not read: 1 LINE on layer 'arm D200' (frozen or off);" in plain
    model.add_circle((4, 0, 3), 0.3, dxfattribs=LAYER)
    model.add_circle((4, 0, 3), 0.3, dxfattribs={"layer": "grid"})
    model.add_text("600x300", dxfattribs=LAYER)
    model.add_xline((0, 0, 0), (1, 0, 0), dxfattribs=LAYER)
    document.add_xref_def("level_2.dxf", "level_2")
    model.add_blockref("level_2", (0, 0, 0))
    drawing = read(saved(document, tmp_path))
    (said,) = [n for n in drawing.notices if "not read" in n.what]
    assert set(said.what.removeprefix("not read: ").split(", ")) == {
        "1 LINE on layer 'arm D200' (frozen or off)",
        "1 CIRCLE on layer 'main 600x300'",
        "1 XLINE on layer 'main 600x300'",
        "1 INSERT of 'level_2' on layer '0' (not in this file)",
    }
    assert drawing.names == ["main 600x300"]


def test_a_layer_whose_section_is_in_doubt_is_named_where_it_is_left_out(
    tmp_path: Path,
) -> None:
    document, model = drawn()
    model.add_line((0, 0, 3), (4, 0, 3), dxfattribs=LAYER)
    for layer in ("riser 24x12", "master 8in", "grid", "A-WALL 100mm", "Grid 1x5"):
        model.add_line((4, 0, 3), (9, 0, 3), dxfattribs={"layer": layer})
    drawing = read(saved(document, tmp_path))
    assert drawing.run_count == 1
    said, other = (n for n in drawing.notices if "its lines were left out" in n.what)
    assert said.where == "plan.dxf, layer 'riser 24x12'"
    assert "'24x12' was not taken" in said.what
    assert other.sentence == (
        "plan.dxf, layer 'master 8in': its lines were left out: '8in' was not taken: "
        "no D before it says that it is a diameter; write 'D8in' if it is one."
    )
    (rest,) = (n for n in drawing.notices if "without a section" in n.what)
    assert rest.what.endswith("were left out: 'grid', 'A-WALL 100mm', 'Grid 1x5'")


@pytest.mark.parametrize("layer", ["wall stack 8in", "beam duct 24x12", "stack 100mm"])
def test_a_layer_with_more_than_a_word_of_building_may_be_a_duct(
    layer: str, tmp_path: Path
) -> None:
    document, model = drawn()
    for y, one in enumerate((LAYER["layer"], layer, "wall stack 10x3.25 in")):
        model.add_line((0, y, 3), (4, y, 3), dxfattribs={"layer": one})
    drawing = read(saved(document, tmp_path))
    assert "wall stack 10x3.25 in" in drawing.names
    (said,) = (n for n in drawing.notices if "its lines were left out" in n.what)
    assert said.where == f"plan.dxf, layer '{layer}'"


def test_damage_is_told_with_its_line(tmp_path: Path) -> None:
    path = tmp_path / "plan.dxf"
    tags = "0 SECTION 2 HEADER 9 $INSUNITS 70 abc 0 ENDSEC 0 EOF"
    path.write_text(tags.replace(" ", "\n") + "\n", encoding="utf-8")
    with pytest.raises(
        BadInput, match=r"near line 8: 'abc' is out of place there; ask"
    ):
        read(path)


def test_a_key_with_two_values_is_refused(tmp_path: Path) -> None:
    document, model = drawn()
    document.appids.add("A")
    line = model.add_line((0, 0, 3), (5, 0, 3), dxfattribs=LAYER)
    said = [(1000, "flow_ls"), (1040, 100.0), (1000, "flow_ls")]
    line.set_xdata("A", [*said, (1040, 100.0)])
    assert read(saved(document, tmp_path)).flow.tolist() == [0.1]
    line.set_xdata("A", [*said, (1040, 100.04)])
    words = "main 600x300', .*flow_ls is given twice, as 100.0 and 100.04"
    with pytest.raises(BadInput, match=words):
        read(saved(document, tmp_path))
