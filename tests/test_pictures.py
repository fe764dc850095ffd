"""Meshes, colours, pictures and the window."""

import base64
import io
import os
import re
import sys
from pathlib import Path
from typing import Any

import matplotlib.image
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from routes import drawn

from elbowroom.layout import build, solids
from elbowroom.physics import analyse
from elbowroom.viewer import (
    colours,
    display,
    layout_view,
    main,
    notebook,
    preflight,
    sweep,
    window,
)

ROOM = Path(__file__).parents[1] / "examples" / "reading_room"
needs_opengl = pytest.mark.skipif(
    preflight.why_not() is not None, reason="no OpenGL: the message is tested instead"
)


# --- colours


@given(st.lists(st.floats(-50.0, 1e4), min_size=1, max_size=30))
def test_every_value_lies_in_its_band(found: list[float]) -> None:
    scale = colours.scale_for(np.array(found))
    assert list(scale.edges) == sorted(scale.edges)
    band = scale.band(np.array(found))
    for value, place in zip(found, band.tolist(), strict=True):
        assert scale.edges[place] - 1e-9 <= value <= scale.edges[place + 1] + 1e-9


@given(st.floats(1e-3, 1e3), st.lists(st.floats(1.0, 100.0), min_size=2, max_size=30))
def test_bands_are_as_fine_in_every_unit(least: float, times: list[float]) -> None:
    """Pa/m against in.wg/100 ft, by their definitions: 249.08891 Pa over 30.48 m."""
    found = least * np.array([1.0, *times])
    metric = colours.scale_for(found)
    inch_pound = colours.scale_for(found / (249.08891 / 30.48))
    assert abs(len(metric.colours) - len(inch_pound.colours)) <= 2
    for scale, values in (
        (metric, found),
        (inch_pound, found / (249.08891 / 30.48)),
    ):
        ratios = np.divide(scale.edges[2:], scale.edges[1:-1])
        assert ratios.max() < 2.51
        if len(scale.colours) > 4:  # none of them lies beyond what is found
            assert scale.edges[1] >= values.min() * (1 - 1e-9)
            assert scale.edges[-2] <= values.max() * (1 + 1e-9)


def test_ducts_that_differ_in_one_unit_differ_in_the_other() -> None:
    """Friction of two ducts, 0.89 and 1.63 Pa/m: 0.109 and 0.200 in.wg/100 ft."""
    for values in ([0.89, 1.63], [0.109, 0.200]):
        scale = colours.scale_for(np.array(values))
        low, high = scale.band(np.array(values)).tolist()
        assert (low, high) in ((0, len(scale.colours) - 1), (1, len(scale.colours) - 1))


def test_no_value_has_no_band() -> None:
    scale = colours.Scale((0.0, 1.0, 2.0), ("#000000", "#ffffff"))
    assert scale.band(np.array([np.nan, 0.5, 1.0, 9.0])).tolist() == [-1, 0, 1, 1]


def test_lighter_is_more_at_every_step() -> None:
    """A scale that reads in grey too: luminance rises by ITU-R BT.709 weights."""
    shades = colours.scale_for(np.array([30.0])).colours
    rgb = np.array([[int(c[i : i + 2], 16) for i in (1, 3, 5)] for c in shades])
    assert (np.diff(rgb @ [0.2126, 0.7152, 0.0722]) > 5).all()


# --- meshes


def test_the_mesh_holds_every_piece_and_is_as_large_as_the_ducts() -> None:
    found = analyse(build(drawn()))
    shapes = solids(found.graph)
    mesh = sweep.sweep(shapes.tubes)
    assert set(mesh.element.tolist()) == set(
        range(len(layout_view.pieces(found, shapes)))
    )
    # Side area of the straight ducts: perimeter times length.
    low, high = mesh.points.min(axis=0), mesh.points.max(axis=0)
    assert low == pytest.approx([0.0, -3.125, 2.0 - 0.15], abs=0.13)
    assert high == pytest.approx([15.15, 4.0, 3.15], abs=0.05)


@pytest.mark.parametrize("at", [(0.0, 0.0, 0.0), (5e5, 5.4e6, 40.0)])
@pytest.mark.parametrize("section", ["rectangular", "round"])
def test_area_of_a_straight_duct(section: str, at: tuple[float, ...]) -> None:
    """Also where it is placed on a map, by its coordinates there."""
    from elbowroom.layout import (
        Attributes,
        Schedule,
        TerminalSpec,
        drawing_from_runs,
        rectangular,
        round_section,
    )

    cut = rectangular(0.6, 0.3) if section == "rectangular" else round_section(0.4)
    drawing = drawing_from_runs(
        [("a", np.array([[0, 0, 0], [3, 4, 0]]) + at, cut)],
        attributes={"a": Attributes(source=True, source_at_end=False)},
    )
    graph = build(drawing, Schedule(terminals={"a": TerminalSpec(0.5)}))
    mesh = sweep.sweep(solids(graph).tubes)
    assert mesh.points.dtype == (np.float64 if any(at) else np.float32)
    quads = mesh.points[mesh.vtk_faces.reshape(-1, 5)[:, 1:]].astype(float)
    sides = np.cross(quads[:, 2] - quads[:, 0], quads[:, 3] - quads[:, 1]) / 2
    area = np.linalg.norm(sides, axis=1).sum()
    wanted = 5.0 * (1.8 if section == "rectangular" else np.pi * 0.4)
    assert area == pytest.approx(wanted, rel=0.01)


# --- pictures


def colours_of(path: Path) -> Any:
    import pyvista as pv

    image: Any = pv.read(path)
    return image.point_data.active_scalars.reshape(-1, 3)


@needs_opengl
def test_the_picture_shows_the_ducts_in_the_colours_of_the_scale(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "room.png"
    words = ["compare", *(str(ROOM / f"{n}.glb") for n in ("under", "sidestep"))]
    words += ["--obstacles", str(ROOM / "beam.glb"), "--png", str(path)]
    assert main(words) == 0
    assert "wrote" in capsys.readouterr().err
    assert path.read_bytes()[16:24] == (1600).to_bytes(4, "big") + (900).to_bytes(
        4, "big"
    )
    pixels = colours_of(path)
    shown = np.unique(pixels // 16, axis=0)
    assert len(shown) > 60  # not blank, not one colour
    white = (pixels == 255).all(axis=1).mean()
    assert 0.5 < white < 0.97


@needs_opengl
def test_the_picture_of_a_report_is_no_higher_than_it_needs(tmp_path: Path) -> None:
    out, house = tmp_path / "house.html", ROOM.with_name("hillside_house")
    words = ["report", str(house / "house.glb"), "--return", str(house / "return.glb")]
    assert main([*words, "--out", str(out)]) == 0
    (data,) = re.findall(r"png;base64,([^\"]+)", out.read_text(encoding="utf-8"))
    image = matplotlib.image.imread(io.BytesIO(base64.b64decode(data)), format="png")
    inked = image[..., :3].min(axis=(1, 2)) < 0.9
    # On paper, 172 mm wide, its smallest letters of 8.5 points can be read.
    across = image.shape[1] / 2 / 100  # inches of a picture of the usual size
    assert 8.5 * (172 / 25.4) / across > 6.5
    # Between the ducts and the words; of a picture of 1800 rows it was 23 %.
    empty = "".join("x" if row else "." for row in inked)
    assert max(map(len, empty.split("x"))) < 0.15 * len(image)


@needs_opengl
def test_the_same_input_gives_the_same_picture(tmp_path: Path) -> None:
    for name in ("a.png", "b.png"):
        words = ["view", str(ROOM / "under.glb"), "--png", str(tmp_path / name)]
        assert main([*words, "--by", "per-metre"]) == 0
    assert (tmp_path / "a.png").read_bytes() == (tmp_path / "b.png").read_bytes()


@needs_opengl
def test_a_click_finds_the_piece_under_it() -> None:
    """Centres of pieces are projected to pixels and picked again."""
    preflight.prepare_off_screen()
    found = analyse(build(drawn()))
    metric = display.DISPLAYS["metric"]
    one, of_piece = layout_view.panel(found, "loss", metric, "one", "")
    scale = colours.scale_for(layout_view.values(found, "loss", metric))
    shown = window.staged([one, one], scale, "loss, Pa", off_screen=True)
    plotter = shown.plotter
    plotter.show(auto_close=False)
    mesh = sweep.sweep(one.tubes)
    hits = 0
    for number, renderer in enumerate(plotter.renderers):
        for piece in np.unique(mesh.element).tolist():
            faces = mesh.vtk_faces.reshape(-1, 5)[mesh.element == piece, 1:]
            centre = mesh.points[faces].reshape(-1, 3).mean(axis=0)
            renderer.SetWorldPoint(*centre.tolist(), 1.0)
            renderer.WorldToDisplay()
            x, y, _ = renderer.GetDisplayPoint()
            picked = window.piece_at(plotter, x, y)
            assert picked is not None
            assert picked[0] == number
            hits += picked[1] == piece
    # A branch may stand before the trunk's middle; most are in plain view.
    assert hits > 0.7 * 2 * len(of_piece)
    assert window.piece_at(plotter, 2, 2) is None
    # What is chosen is marked in its own panel, and the row stands there.
    plain = plotter.screenshot(return_img=True)
    window.mark(shown, 1, 3, "the row")
    marked = plotter.screenshot(return_img=True)
    middle = plain.shape[1] // 2
    changed = (plain != marked).any(axis=2)
    assert changed[:, middle:].any()
    assert not changed[:, :middle].any()
    plotter.close()


@needs_opengl
def test_a_building_on_a_map_is_drawn_as_at_home(tmp_path: Path) -> None:
    """Millions of metres from the origin: the same picture, but for a few pixels."""
    import matplotlib.image

    images = []
    for shift in ((0.0, 0.0, 0.0), (1.5e6, 6e6, 0.0)):
        analysis = analyse(build(drawn(shift=shift)))
        path = tmp_path / "one.png"
        path.write_bytes(notebook.plot(analysis, size=(800, 450)).png)
        images.append(matplotlib.image.imread(path)[..., :3])
    differs = np.abs(images[0] - images[1]).max(axis=2) > 0.1
    assert differs.mean() < 0.002


# --- machines that cannot draw


@pytest.mark.parametrize("probe", ["import os; os.abort()", "raise SystemExit(1)", ""])
def test_a_crash_of_the_probe_becomes_one_sentence(probe: str) -> None:
    assert preflight.why_not(probe) == preflight.ADVICE
    assert preflight.ADVICE.count(".") == 0
    assert "libgl1" in preflight.ADVICE


def test_without_opengl_the_main_job_runs_to_its_end(
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(preflight, "why_not", lambda: preflight.ADVICE)
    options = [str(ROOM / f"{name}.glb") for name in ("under", "flatten")]
    picture, tables = tmp_path / "a.png", tmp_path / "tables"
    words = ["compare", *options, "--png", str(picture), "--csv", str(tables)]
    assert main(words) == 0
    out, err = capsys.readouterr()
    assert "'flatten' spends least" in " ".join(out.split())
    assert preflight.ADVICE in err
    assert not picture.exists()
    folders = ["flatten", "options.csv", "under", "verdict.csv"]
    assert sorted(path.name for path in tables.iterdir()) == folders


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="asks for a display")
@pytest.mark.parametrize("screen", ["", ":7777"])
def test_a_window_without_a_screen_is_refused_in_one_sentence(
    screen: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("DISPLAY", screen)
    monkeypatch.delenv("WAYLAND_DISPLAY", raising=False)
    monkeypatch.setattr(preflight, "why_not", lambda: None)
    before = dict(os.environ)
    assert main(["view", str(ROOM / "under.glb")]) == 2
    said = capsys.readouterr().err
    assert "no window can be opened" in said
    assert "--png FILE" in said
    assert screen in said
    assert dict(os.environ) == before
