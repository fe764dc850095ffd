"""What shows itself in a notebook, and the notebook of the examples."""

import base64
import io
import json
import re
import sys
from pathlib import Path
from typing import Any

import matplotlib.image
import numpy as np
import pytest
import trimesh
from routes import drawn

from elbowroom.layout import (
    Obstacle,
    build,
    read,
    read_obstacles,
    read_schedule,
)
from elbowroom.physics import Option, analyse, compare
from elbowroom.viewer import notebook, preflight

EXAMPLES = Path(__file__).parents[1] / "examples"
NOTEBOOK = EXAMPLES / "past_a_beam.ipynb"
needs_opengl = pytest.mark.skipif(
    preflight.why_not() is not None, reason="there is no OpenGL here"
)


def test_an_analysis_shows_itself() -> None:
    analysis = analyse(build(drawn()))
    html = analysis._repr_html_()
    assert len(repr(analysis)) < 100  # without its arrays
    loss = analysis.critical_loss
    assert f"{loss:.1f} Pa ({loss / 249.089:.4f} in.wg)" in html
    assert html.count("<tr>") == 13
    frame = analysis.to_frame()
    assert len(frame) == len(analysis.elements.kind)
    assert frame.loss_pa[frame.critical].sum() == pytest.approx(analysis.critical_loss)


def test_c_of_an_analysis_that_shows_itself_gives_its_loss() -> None:
    """C times the velocity pressure by hand, with the C and velocity that it shows."""
    room = EXAMPLES / "reading_room"
    plan = read_schedule(room / "schedule.toml")
    analysis = analyse(build(read(room / "under.glb"), plan))
    html = analysis._repr_html_()
    e, density = analysis.elements, analysis.conditions.air.density
    tried = []
    for row in re.findall(r"<tr>(<td>.*?)</tr>", html):
        piece, _, _, velocity, c, loss = re.findall(r"<td>(.*?)</td>", row)
        at = analysis.ids.index(piece)
        if not piece.startswith("elbow") or not c:
            continue
        tried.append(float(e.reynolds_factor[at]))
        pressure = density * float(velocity) ** 2 / 2
        # Velocities are shown to 0.05 in about 4 m/s, losses to 0.05 Pa.
        assert float(c) * pressure == pytest.approx(float(loss), rel=0.03, abs=0.05)
    assert max(tried) > 1.2


def test_a_comparison_shows_itself() -> None:
    analysis = analyse(build(drawn()))
    both = compare([Option("a <b>", analysis, 0.1), Option("c", analysis)])
    assert "a &lt;b&gt;" in both._repr_html_()
    frame = both.to_frame()
    assert list(frame.option) == ["a <b>", "c"]
    assert frame.critical_loss_pa[0] == pytest.approx(analysis.critical_loss)


def test_without_pandas_one_sentence_says_what_to_install(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setitem(sys.modules, "pandas", None)
    with pytest.raises(ImportError, match="pip install pandas"):
        analyse(build(drawn())).to_frame()


@needs_opengl
def test_plot_gives_a_picture() -> None:
    analysis = analyse(build(drawn()))
    png = notebook.plot(analysis, size=(640, 360))._repr_png_()
    assert png.startswith(b"\x89PNG")
    assert analysis.plot(size=(640, 360)).png == png
    both = compare([Option("a", analysis), Option("b", analysis)])
    assert both.plot(size=(640, 360)).png != png


@needs_opengl
@pytest.mark.parametrize("size", [(3000, 1687), (1999, 1300)])
def test_letters_of_a_plot_grow_with_its_size(
    size: tuple[int, int],
) -> None:
    """Measured on the file: the bar's height, which is as many letters as ever."""
    analysis = analyse(build(drawn()))
    shown: list[Any] = []
    for one in ((1200, 675), size):
        png = notebook.plot(analysis, size=one).png
        image = matplotlib.image.imread(io.BytesIO(png))
        assert image.shape[:2] == one[::-1]
        below = image[-image.shape[0] // 5 :, image.shape[1] // 2, :3]
        shown.append(int((np.ptp(below, axis=1) > 0.2).sum()))
    grown = min(size[0] / 1200, size[1] / 675)
    assert shown[1] == pytest.approx(grown * shown[0], abs=3)


def test_an_option_is_measured_from_its_obstacles() -> None:
    """A solid around the first duct of the route, by its sides: it lies in it."""
    analysis = analyse(build(drawn()))
    low = analysis.graph.ducts.begin[0] - 0.5
    box: Any = trimesh.creation.box(bounds=[low, low + 1.0])
    solid = Obstacle("post", np.asarray(box.vertices), np.asarray(box.faces), True)
    found = notebook.measured("a", analysis, [solid])
    assert found.clearance is not None
    assert found.clearance < 0.0
    assert any("overlaps 'post'" in one for one in found.clashes)
    both = compare([found, Option("b", analysis)])
    assert both.ranks == (None, 1)


def test_a_plot_says_that_clearance_was_not_measured(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    said: list[str] = []

    def instead(*given: Any, verdict: str, **more: Any) -> str:
        said.append(verdict)
        given[3].write_bytes(b"")
        return ""

    monkeypatch.setattr(notebook, "picture", instead)
    monkeypatch.setattr(notebook, "why_not", lambda: None)
    analysis = analyse(build(drawn()))
    solids, _ = read_obstacles(EXAMPLES / "reading_room" / "beam.glb")
    notebook.plot(compare([Option("a", analysis), Option("b", analysis)]))
    for make in (Option, lambda name, of: notebook.measured(name, of, solids)):
        both = compare([make("a", analysis), make("b", analysis)])
        notebook.plot(both, obstacles=solids)
    words = "Clearance from the solids shown was not measured for 'a', 'b'"
    assert [words in one for one in said] == [False, True, False]


def test_without_a_viewer_one_sentence_says_so(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr("importlib.metadata.entry_points", lambda group: ())
    with pytest.raises(RuntimeError, match="install elbowroom again"):
        analyse(build(drawn())).plot()


@needs_opengl
def test_the_example_notebook_runs_and_gives_what_it_shows(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    content: dict[str, Any] = json.loads(NOTEBOOK.read_text("utf-8"))
    monkeypatch.chdir(EXAMPLES)
    space: dict[str, Any] = {}
    tried = 0
    for cell in content["cells"]:
        if cell["cell_type"] != "code":
            continue
        source = "".join(cell["source"])
        body, last = source, None
        lines = source.rstrip().splitlines()
        if re.match(r"[a-z_.]+($|[.(\[])", lines[-1]) and not lines[-1].startswith(" "):
            body, last = "\n".join(lines[:-1]), lines[-1]
        exec(body, space)
        shown: Any = None if last is None else eval(last, space)
        printed = capsys.readouterr().out
        for output in cell["outputs"]:
            data = output.get("data", {})
            if output["output_type"] == "stream":
                assert printed == "".join(output["text"])
                tried += 1
            elif "image/png" in data:
                stored = base64.b64decode("".join(data["image/png"]))
                assert stored.startswith(b"\x89PNG")
                assert shown._repr_png_().startswith(b"\x89PNG")
                tried += 1
            elif "text/html" in data and hasattr(shown, "verdict"):
                assert shown._repr_html_() == "".join(data["text/html"])
                tried += 1
    assert tried >= 3
