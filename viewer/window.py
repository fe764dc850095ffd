"""The window: layouts side by side in 3D; a click on a duct shows its row."""

import textwrap
from collections.abc import Callable, Sequence
from typing import Any

import numpy as np

from .colours import Scale
from .projection import view_of
from .scene import INK, SIZE, Panel, aim, corners, furnish

_HELP = "click a duct for its row · drag to turn · scroll to zoom · q to close"
_SWATCH = (26, 24)  # pixels


def window(
    panels: Sequence[Panel],
    scale: Scale,
    bar_title: str,
    on_pick: Callable[[int, int], str],
) -> None:
    """Open a window and stay until it is closed.

    Parameters
    ----------
    panels, scale, bar_title
        As in `scene.picture`.
    on_pick
        Given a panel and a piece, the line to print and to show in its corner.
    """
    plotter = stage(panels, scale, bar_title)

    def clicked(place: tuple[float, float]) -> None:
        found = piece_at(plotter, *place)
        if found is None:
            return
        line = on_pick(*found)
        print(line, flush=True)
        plotter.subplot(0, found[0])
        plotter.add_text(line, position=(12, 34), font_size=9, color=INK, name="row")
        plotter.render()

    plotter.track_click_position(
        callback=lambda _: clicked(plotter.iren.get_event_position()), side="left"
    )
    plotter.show()


def stage(
    panels: Sequence[Panel], scale: Scale, bar_title: str, *, off_screen: bool = False
) -> Any:
    """Furnish a plotter with a cell for each layout, their cameras linked.

    Parameters
    ----------
    panels, scale, bar_title
        As in `scene.picture`.
    off_screen
        Without a window.

    Returns
    -------
    plotter
        Not yet shown.
    """
    import pyvista as pv

    view = view_of(np.concatenate([corners(panel) for panel in panels]))
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
        plotter.add_text(f"{panel.title}\n{panel.subtitle}", font_size=10, color=INK)
        aim(plotter, view, 0.62 * max(view.extent))
    _bar(plotter, scale, bar_title)
    plotter.subplot(0, 0)
    plotter.add_text(_HELP, position=(12, 8), font_size=8, color=INK)
    if len(panels) > 1:
        plotter.link_views()
    return plotter


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
