"""The window: layouts side by side in 3D; a click on a duct shows its row."""

import os
import textwrap
from collections.abc import Callable, Sequence
from io import BytesIO
from itertools import count
from pathlib import Path
from typing import Any

import numpy as np

from elbowroom.layout import BadInput, writing

from .cli_outputs import say
from .colours import CHOSEN, INK, Scale
from .outlet import printable
from .projection import view_of
from .scene import SIZE, Panel, aim, brought_near, corners, furnish
from .sweep import sweep

_HELP = (
    "click a duct for its row · n, p: next and previous loss · s: screenshot · "
    "drag to turn · scroll to zoom · q\u00a0to\u00a0close"
)
_HELP_ACROSS = 900  # pixels of it, with what is lost at the ends of lines
_STEPS = 60  # losses that the slider goes through
_SWATCH = (26, 24)  # pixels
_LEAST_LINE = 12  # letters
_MARGIN = 1.12  # around the layouts, of their size


def window(
    panels: Sequence[Panel],
    scale: Scale,
    bar_title: str,
    on_pick: Callable[[int, int], str],
    ranked: Sequence[tuple[int, int]],
) -> None:
    """Open a window and stay until it is closed.

    Parameters
    ----------
    panels, scale, bar_title
        As in `scene.picture`.
    on_pick
        Given a panel and a piece, the line to print and to show in its corner.
    ranked
        Panels and pieces by falling loss, to step through with keys and the slider.
    """
    panels = brought_near(panels)
    plotter = stage(panels, scale, bar_title, hint=_HELP)
    steps = list(ranked)[:_STEPS]
    at, ready = [-1], False

    def choose(number: int, piece: int) -> None:
        line = on_pick(number, piece)
        print(printable(line, one_line=True), flush=True)
        mark(plotter, panels, number, piece, line)
        plotter.render()

    def clicked(place: tuple[float, float]) -> None:
        found = piece_at(plotter, *place)
        if found is not None:
            choose(*found)

    def step(by: int) -> None:
        at[0] = min(max(at[0] + by, 0), len(steps) - 1)
        choose(*steps[at[0]])

    def slid(value: float) -> None:
        before, at[0] = at[0], round(value) - 1
        if ready and at[0] != before:
            choose(*steps[at[0]])

    keep_keys(plotter, "nps")
    plotter.add_key_event("s", lambda: shoot(plotter))
    if steps:
        plotter.add_key_event("n", lambda: step(1))
        plotter.add_key_event("p", lambda: step(-1))
        plotter.subplot(0, 0)
        plotter.add_slider_widget(
            callback=slid,
            rng=(1, len(steps)),
            value=1,
            title="largest losses",
            title_height=0.015,
            pointa=(0.02, 0.17),
            pointb=(0.22, 0.17),
            slider_width=0.014,
            tube_width=0.003,
            color=INK,
            fmt="%.0f",
            interaction_event="end",
        )
        at[0], ready = -1, True  # making the slider has called it once
    plotter.track_click_position(
        callback=lambda _: clicked(plotter.iren.get_event_position()), side="left"
    )
    plotter.show()


def keep_keys(plotter: Any, keys: str) -> None:
    """Leave some keys to us alone: VTK draws a box around all at `p`."""
    style = plotter.iren.interactor.GetInteractorStyle()

    def typed(*_: Any) -> None:
        if style.GetInteractor().GetKeyCode().lower() not in keys:
            style.OnChar()

    style.AddObserver("CharEvent", typed)


def shoot(plotter: Any) -> None:
    """Write what the window shows as a PNG in the working folder, and say so.

    It takes the next free name: nothing that is there is written over. Where it cannot
    write it says so.
    """
    content = BytesIO()
    plotter.screenshot(content)
    for number in count(1):
        path = Path("elbowroom.png" if number == 1 else f"elbowroom-{number}.png")
        if not os.path.lexists(path):  # it may be a link that leads nowhere
            break
    try:
        with writing(path), path.open("xb") as stream:
            stream.write(content.getvalue())
    except BadInput as refused:
        say(str(refused))
    else:
        print(f"wrote {path}", flush=True)


def mark(
    plotter: Any, panels: Sequence[Panel], number: int, piece: int, line: str = ""
) -> None:
    """Mark one piece of one panel, and write its row in that panel's corner, if any.

    Parameters
    ----------
    plotter
        As `stage` furnished it.
    panels
        What it shows.
    number, piece
        Panel, and piece of its tubes.
    line
        The row.
    """
    import pyvista as pv

    mesh = sweep(panels[number].tubes)
    mine = mesh.quads[mesh.element == piece]
    cells = np.insert(mine, 0, 4, axis=1).ravel()
    for other in range(len(panels)):
        plotter.subplot(0, other)
        plotter.remove_actor("chosen", reset_camera=False)
        plotter.remove_actor("row", reset_camera=False)
    plotter.subplot(0, number)
    plotter.add_mesh(
        pv.PolyData(mesh.points, cells),
        color=CHOSEN,
        style="wireframe",
        line_width=3,
        lighting=False,
        pickable=False,
        name="chosen",
        reset_camera=False,
    )
    if line:
        # Above the help, which is in the first cell, however many lines it has there.
        lines = -(-_HELP_ACROSS // _room(len(panels)))
        _write(plotter, line, len(panels), 9, (12, 20 + 17 * lines), name="row")


def stage(
    panels: Sequence[Panel],
    scale: Scale,
    bar_title: str,
    *,
    hint: str = "",
    with_bar: bool = True,
    off_screen: bool = False,
) -> Any:
    """Furnish a plotter with a cell for each layout, their cameras linked.

    Parameters
    ----------
    panels, scale, bar_title
        As in `scene.picture`.
    hint
        What to do, in the lower left corner.
    with_bar
        Whether to draw the bar of colours.
    off_screen
        Without a window.

    Returns
    -------
    plotter
        Not yet shown.
    """
    import pyvista as pv

    plotter: Any = pv.Plotter(
        shape=(1, len(panels)),
        window_size=list(SIZE),
        title="elbowroom",
        off_screen=off_screen,
        border=False,
    )
    for number, panel in enumerate(panels):
        plotter.subplot(0, number)
        plotter.set_background("white")
        furnish(plotter, panel, scale)
        words = f"{panel.title}\n{panel.subtitle}"
        _write(plotter, words, len(panels), 10)
    fit(plotter, panels, *SIZE)
    if with_bar:
        _bar(plotter, scale, bar_title)
    plotter.subplot(0, 0)
    if hint:
        _write(plotter, hint, len(panels), 8, (12, 8))
    if len(panels) > 1:
        plotter.link_views()
    return plotter


def _write(
    plotter: Any,
    words: str,
    cells: int,
    size: int,
    place: tuple[int, int] | None = None,
    name: str | None = None,
) -> None:
    """Write words in the present cell, in lines that it has room for.

    Their letters have the same size in all cells. `place` is of their lower left
    corner, pixels; without one they stand at the top, also of a window made larger.
    """
    room = _room(cells)
    at_top = place is None
    actor: Any = plotter.add_text(
        " ",
        position=(12 * cells / SIZE[0], 0.99) if place is None else place,
        viewport=at_top,
        font_size=size,
        color=INK,
        name=name,
    )
    if at_top:
        actor.prop.justification_vertical = "top"
    most = max(room // (size - 2), _LEAST_LINE)
    for letters in range(most, _LEAST_LINE - 1, -3):
        lines = [textwrap.fill(line, letters) for line in words.split("\n")]
        actor.input = _plain("\n".join(lines))
        across = [0.0, 0.0]
        actor.GetSize(plotter.renderer, across)
        if across[0] <= room:
            break


def _room(cells: int) -> int:
    """Pixels that words have across one of so many cells."""
    return SIZE[0] // cells - 24


def _plain(words: str) -> str:
    """Words of which VTK reads no part as mathematics, as between dollar signs."""
    return words.replace("$", "\\$")


def fit(plotter: Any, panels: Sequence[Panel], width: float, height: float) -> None:
    """Aim the cameras so that every layout fits in a window of a size in pixels."""
    view = view_of(np.concatenate([corners(panel) for panel in panels]))
    aspect = width / len(panels) / height
    half_height = _MARGIN * max(view.extent[1], view.extent[0] / aspect) / 2
    for number in range(len(panels)):
        plotter.subplot(0, number)
        aim(plotter, view, half_height)


def _bar(plotter: Any, scale: Scale, title: str) -> None:
    """Write the bands and their colours in the lower right corner."""
    import pyvista as pv
    from vtkmodules.vtkRenderingCore import vtkActor2D, vtkPolyDataMapper2D

    count = len(scale.colours)
    across = SIZE[0] // plotter.shape[1]
    left, low = across - 150, 44
    x = np.array([left, left + _SWATCH[0], left + _SWATCH[0], left], dtype=float)
    corners_ = [
        np.column_stack(
            [x, low + _SWATCH[1] * (number + np.array([0, 0, 1, 1])), 0 * x]
        )
        for number in range(count)
    ]
    boxes = np.insert(np.arange(4 * count).reshape(-1, 4), 0, 4, axis=1)
    swatches = pv.PolyData(np.concatenate(corners_), boxes.ravel())
    swatches.cell_data["colour"] = np.array(
        [pv.Color(colour).int_rgb for colour in scale.colours], dtype=np.uint8
    )
    swatches.cell_data.active_scalars_name = "colour"
    mapper = vtkPolyDataMapper2D()
    mapper.SetInputData(swatches)
    actor = vtkActor2D()
    actor.SetMapper(mapper)
    plotter.renderer.AddViewProp(actor)
    for number, edge in enumerate(scale.edges):
        plotter.add_text(
            f"{edge:g}",
            position=(left + _SWATCH[0] + 8, low + _SWATCH[1] * number - 8),
            font_size=8,
            color=INK,
        )
    words = textwrap.fill(title, 24)
    plotter.add_text(
        words,
        position=(left - 90, low + _SWATCH[1] * count + 14),
        font_size=8,
        color=INK,
    )


def piece_at(plotter: Any, x: float, y: float) -> tuple[int, int] | None:
    """Panel and piece of duct under a pixel of the window, counted from lower left."""
    from vtkmodules.vtkRenderingCore import vtkCellPicker

    for number, renderer in enumerate(plotter.renderers):
        if not renderer.IsInViewport(int(x), int(y)):
            continue
        picker = vtkCellPicker()
        picker.SetTolerance(5e-4)
        if not picker.Pick(x, y, 0.0, renderer):
            return None
        pieces = picker.GetDataSet().GetCellData().GetArray("piece")
        if pieces is not None:
            return number, int(pieces.GetValue(picker.GetCellId()))
    return None
