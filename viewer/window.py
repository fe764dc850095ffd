"""The window: layouts side by side in 3D; a click on a duct shows its row."""

import os
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
from .scene import SIZE, Panel, brought_near, corners, furnish
from .stage import Stage
from .sweep import sweep

_HELP = (
    "click a duct for its row · n, p: next and previous loss · s: screenshot · "
    "drag to turn · scroll to zoom · q\u00a0to\u00a0close"
)
_STEPS = 60  # losses that the slider goes through


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
    stage = staged(panels, scale, bar_title, hint=_HELP)
    plotter = stage.plotter
    steps = list(ranked)[:_STEPS]
    at, ready = [-1], False

    def choose(number: int, piece: int) -> None:
        line = on_pick(number, piece)
        print(printable(line, one_line=True), flush=True)
        mark(stage, number, piece, line)
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
        stage.slider = plotter.add_slider_widget(
            callback=slid,
            rng=(1, len(steps)),
            value=1,
            title="largest losses",
            color=INK,
            fmt="%.0f",
            interaction_event="end",
        )
        at[0], ready = -1, True  # making the slider has called it once
        stage.lay_out()
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


def mark(stage: Stage, number: int, piece: int, line: str = "") -> None:
    """Mark one piece of one panel, and write its row in that panel's corner, if any.

    Parameters
    ----------
    stage
        As `staged` furnished it.
    number, piece
        Panel, and piece of its tubes.
    line
        The row.
    """
    import pyvista as pv

    plotter = stage.plotter
    mesh = sweep(stage.panels[number].tubes)
    mine = mesh.quads[mesh.element == piece]
    cells = np.insert(mine, 0, 4, axis=1).ravel()
    for renderer in plotter.renderers:
        renderer.remove_actor("chosen", render=False)
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
    stage.write_row(number, line)


def staged(
    panels: Sequence[Panel],
    scale: Scale,
    bar_title: str,
    *,
    hint: str = "",
    off_screen: bool = False,
) -> Stage:
    """Furnish a plotter with a cell for each layout, their cameras linked.

    Parameters
    ----------
    panels, scale
        As in `scene.picture`.
    bar_title
        What the bar of colours means; empty for none.
    hint
        What to do, in the lower left corner.
    off_screen
        Without a window.

    Returns
    -------
    stage
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
    view = view_of(np.concatenate([corners(panel) for panel in panels]))
    stage = Stage(plotter, panels, scale, bar_title, view, hint)
    stage.follow()
    plotter.subplot(0, 0)
    if len(panels) > 1:
        plotter.link_views()
    return stage


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
