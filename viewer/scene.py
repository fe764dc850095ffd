"""The 3D picture: ducts in their true shape, coloured by what they spend."""

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from elbowroom.layout import FloatArray, IntArray, Tubes, units, writing

from .colours import NOTHING, Scale
from .preflight import prepare_off_screen
from .projection import View, panel_grid, view_of
from .sweep import sweep

SIZE = (1600, 900)
_EDGE = "#30343a"
_SOLID = "#8a8f98"
INK = "#1b1e23"
_QUIET = "#5c636e"
_HEAD = 64  # pixels above a panel for its title and what stands under it
_FAR = 1000.0  # m from the origin
_FOOT = 112  # pixels at the bottom for the bar
_LINE = 17  # pixels of a line of the verdict below it


@dataclass(frozen=True, eq=False)
class Panel:
    """One layout to be drawn.

    Parameters
    ----------
    title, subtitle
        Words above it.
    tubes
        Its surfaces.
    value
        Value of each piece of the tubes, NaN where it has none, shape (p,).
    labels
        Points, m, and what is written at them, most important first.
    ends
        Points, m, and names of source and terminals.
    obstacles
        Vertices, m, and triangles of each solid to stay clear of.
    """

    title: str
    subtitle: str
    tubes: Tubes
    value: FloatArray
    labels: Sequence[tuple[FloatArray, str]] = ()
    ends: Sequence[tuple[FloatArray, str]] = ()
    obstacles: Sequence[tuple[FloatArray, IntArray]] = field(default_factory=tuple)


def picture(
    panels: Sequence[Panel],
    scale: Scale,
    bar_title: str,
    path: Path,
    *,
    size: tuple[int, int] = SIZE,
    density: int = 1,
    verdict: str = "",
    length_unit: str = "m",
) -> None:
    """Draw panels side by side on one scale and write them as PNG.

    Parameters
    ----------
    panels
        What to draw, one or more.
    scale
        Bands of value and their colours, shared.
    bar_title
        What the colours mean, with its unit; empty if nothing is coloured.
    path
        File to write.
    size
        Width and height in pixels.
    density
        Pixels of the file for each of those, so that small pictures print sharply.
    verdict
        Words for the panel that stays empty, or else for the foot of the picture.
    length_unit
        Unit of the ruler: m or ft.

    Notes
    -----
    All panels have the same direction of view, the same scale and the same middle.
    `preflight.why_not` must have been asked before: VTK ends the process where there
    is no OpenGL.

    Raises
    ------
    BadInput
        If the file cannot be written.
    """
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    panels = brought_near(panels)
    view = view_of(np.concatenate([corners(panel) for panel in panels]))
    width, height = size
    rows, columns = panel_grid(len(panels), view, width, height - _FOOT, _HEAD)
    lines: list[str] = []  # of the verdict, below the bar where no cell is free
    if verdict and rows * columns == len(panels):
        lines = textwrap.wrap(verdict, width // 7)
    lift = _LINE * len(lines)
    cell_w, cell_h = width // columns, (height - _FOOT - lift) // rows
    room = (cell_w, cell_h - _HEAD)
    metres = max(view.extent[0] / room[0], view.extent[1] / room[1])  # a pixel
    figure = Figure(figsize=(width / 100, height / 100), dpi=100, facecolor="white")
    FigureCanvasAgg(figure)
    for number, panel in enumerate(panels):
        row, column = divmod(number, columns)
        left, top = column * cell_w, row * cell_h
        image = _rendered(panel, scale, view, room, metres)
        axes = figure.add_axes(
            (
                left / width,
                1 - (top + cell_h) / height,
                room[0] / width,
                room[1] / height,
            )
        )
        axes.imshow(image, extent=(0, room[0], 0, room[1]), aspect="auto")
        axes.set(xlim=(0, room[0]), ylim=(0, room[1]))
        axes.axis("off")
        _write(axes, panel, view, room, metres, image)
        x, y = (left + 22) / width, 1 - (top + 14) / height
        figure.text(x, y, panel.title, size=15, weight="bold", color=INK, va="top")
        y -= 26 / height
        figure.text(x, y, panel.subtitle, size=10.5, color=_QUIET, va="top")
    if bar_title:
        _bar(figure, scale, bar_title, size, lift)
    _ruler(figure, size, metres, length_unit, lift)
    if verdict and rows * columns > len(panels):
        x, y = (
            (width - cell_w + 22) / width,
            (height - (rows - 1) * cell_h - 20) / height,
        )
        text = textwrap.fill(verdict, max(20, cell_w // 10))
        figure.text(x, y, text, size=12, color=INK, va="top", linespacing=1.5)
    elif lines:
        text, y = "\n".join(lines), 9 / height
        figure.text(0.5, y, text, size=9.5, color=INK, ha="center", va="bottom")
    with writing(path):
        figure.savefig(path, dpi=100 * density, format="png", facecolor="white")


def brought_near(panels: Sequence[Panel]) -> Sequence[Panel]:
    """Panels moved together to where single precision, which VTK draws in, is fine.

    A building placed on a map lies millions of metres from the origin.
    """
    every = np.concatenate([panel.tubes.centre for panel in panels])
    origin = every.mean(axis=0).round()
    if np.abs(origin).max() < _FAR:
        return panels

    def moved(points: Sequence[tuple[FloatArray, str]]) -> list[tuple[FloatArray, str]]:
        return [(point - origin, text) for point, text in points]

    return [
        replace(
            panel,
            tubes=replace(panel.tubes, centre=panel.tubes.centre - origin),
            labels=moved(panel.labels),
            ends=moved(panel.ends),
            obstacles=[(points - origin, faces) for points, faces in panel.obstacles],
        )
        for panel in panels
    ]


def corners(panel: Panel) -> FloatArray:
    """Points that the view must hold: rings widened by their section, and solids."""
    tubes = panel.tubes
    half = np.maximum(tubes.width, tubes.height)[:, None] / 2
    parts = [tubes.centre + half, tubes.centre - half]
    # Of a long beam no more than its stretch near the ducts is worth the room.
    low, high = parts[1].min(axis=0) - 1.0, parts[0].max(axis=0) + 1.0
    parts += [np.clip(vertices, low, high) for vertices, _ in panel.obstacles]
    return np.concatenate(parts)


def _rendered(
    panel: Panel, scale: Scale, view: View, room: tuple[int, int], metres: float
) -> npt.NDArray[np.uint8]:
    prepare_off_screen()
    import pyvista as pv

    plotter: Any = pv.Plotter(off_screen=True, window_size=[2 * room[0], 2 * room[1]])
    plotter.set_background("white")
    furnish(plotter, panel, scale)
    aim(plotter, view, room[1] * metres / 2)
    image: npt.NDArray[np.uint8] = plotter.screenshot(return_img=True)
    plotter.close()
    return image


def furnish(plotter: Any, panel: Panel, scale: Scale) -> None:
    """Put a layout and its obstacles on a plotter; only the ducts can be picked."""
    import pyvista as pv

    mesh = sweep(panel.tubes)
    surface = pv.PolyData(mesh.points, mesh.vtk_faces)
    band = scale.band(panel.value)[mesh.element]
    palette = np.array([_rgb(c) for c in (*scale.colours, NOTHING)], dtype=np.uint8)
    surface.cell_data["colour"] = palette[band]  # band -1 is the last: no value
    surface.cell_data["piece"] = mesh.element
    plotter.add_mesh(
        surface,
        scalars="colour",
        rgb=True,
        lighting=True,
        ambient=0.62,
        diffuse=0.42,
        specular=0.0,
        name="ducts",
    )
    lines = surface.extract_feature_edges(
        feature_angle=50, boundary_edges=True, non_manifold_edges=False
    )
    if lines.n_cells:
        plotter.add_mesh(
            lines, color=_EDGE, line_width=1.6, lighting=False, pickable=False
        )
    for vertices, faces in panel.obstacles:
        cells = np.column_stack([np.full(len(faces), 3), faces]).ravel()
        solid = pv.PolyData(np.asarray(vertices, dtype=np.float64), cells)
        plotter.add_mesh(
            solid, color=_SOLID, opacity=0.25, lighting=False, pickable=False
        )
        outline = solid.extract_feature_edges(feature_angle=30)
        if outline.n_cells:
            plotter.add_mesh(
                outline, color=_SOLID, line_width=2.0, lighting=False, pickable=False
            )


def aim(plotter: Any, view: View, half_height: float) -> None:
    """Point the camera of a plotter's present cell along a view."""
    camera = plotter.camera
    camera.parallel_projection = True
    distance = 4.0 * max(view.extent) + 10.0
    camera.focal_point = view.centre.tolist()
    camera.position = (view.centre + view.towards * distance).tolist()
    camera.up = view.up.tolist()
    camera.parallel_scale = half_height
    plotter.renderer.ResetCameraClippingRange()


def _rgb(colour: str) -> tuple[int, int, int]:
    return int(colour[1:3], 16), int(colour[3:5], 16), int(colour[5:7], 16)


def _write(
    axes: Any,
    panel: Panel,
    view: View,
    room: tuple[int, int],
    metres: float,
    image: npt.NDArray[np.uint8],
) -> None:
    """Write labels beside what they name: none over another, and off the ducts."""
    # How much is drawn in any rectangle, by sums over corners; y upwards.
    drawn = (image[::2, ::2].min(axis=2) < 245)[::-1].astype(np.int32)
    inked = np.zeros((drawn.shape[0] + 1, drawn.shape[1] + 1), dtype=np.int32)
    inked[1:, 1:] = drawn.cumsum(axis=0).cumsum(axis=1)
    middle = np.array(room) / 2
    taken: list[tuple[float, float, float, float]] = []
    every = [(point, text, True) for point, text in panel.labels]
    every += [(point, text, False) for point, text in panel.ends]
    for point, text, is_loss in every:
        at = view.flat(np.asarray(point)[None])[0] / metres + middle
        size = 9.5 if is_loss else 8.5
        lines = text.split("\n")
        wide = max(map(len, lines)) * size * 0.80 + 12
        tall = len(lines) * size * 1.75 + 8
        spot = _free_spot(at, (wide, tall), room, taken, is_loss, inked)
        if spot is None:
            continue
        taken.append((spot[0], spot[1], wide, tall))
        box = {
            "boxstyle": "round,pad=0.28",
            "facecolor": "white",
            "edgecolor": _EDGE if is_loss else "none",
            "linewidth": 0.7,
            "alpha": 0.94 if is_loss else 0.75,
        }
        axes.annotate(
            text,
            xy=at,
            xytext=(spot[0] + wide / 2, spot[1] + tall / 2),
            ha="center",
            va="center",
            size=size,
            color=INK if is_loss else _QUIET,
            bbox=box,
            arrowprops={"arrowstyle": "-", "color": _EDGE, "lw": 0.7}
            if is_loss
            else None,
        )


def _free_spot(
    at: FloatArray,
    size: tuple[float, float],
    room: tuple[int, int],
    taken: list[tuple[float, float, float, float]],
    far: bool,
    inked: npt.NDArray[np.int32],
) -> tuple[float, float] | None:
    """Lower left corner of the place that hides least and is nearest."""
    wide, tall = size
    angles = np.radians([60, 120, 90, 30, 150, -60, -120, -90, -30, -150, 0, 180])
    best, least = None, np.inf
    for reach in (46, 70, 100, 140, 190) if far else (18, 30, 46, 70):
        for angle in angles:
            x = at[0] + np.cos(angle) * (reach + wide / 2) - wide / 2
            y = at[1] + np.sin(angle) * (reach + tall / 2) - tall / 2
            if not (4 <= x <= room[0] - wide - 4 and 4 <= y <= room[1] - tall - 4):
                continue
            if any(
                x <= a + w + 4
                and a <= x + wide + 4
                and y <= b + h + 3
                and b <= y + tall + 3
                for a, b, w, h in taken
            ):
                continue
            left, right = int(x), min(int(x + wide), inked.shape[1] - 1)
            low, top = int(y), min(int(y + tall), inked.shape[0] - 1)
            hidden = (
                inked[top, right]
                - inked[low, right]
                - inked[top, left]
                + inked[low, left]
            )
            cost = hidden / (wide * tall) * 400 + reach
            if cost < least:
                best, least = (float(x), float(y)), cost
    return best


def _bar(
    figure: Any, scale: Scale, title: str, size: tuple[int, int], lift: int
) -> None:
    width, height = size
    long = min(0.5 * width, 900)
    left, bottom, thick = (width - long) / 2, 50 + lift, 17
    axes = figure.add_axes(
        (left / width, bottom / height, long / width, thick / height)
    )
    count = len(scale.colours)
    for place, colour in enumerate(scale.colours):
        axes.axvspan(place, place + 1, color=colour, lw=0)
    axes.set(xlim=(0, count), ylim=(0, 1), yticks=[])
    axes.set_xticks(range(count + 1), [f"{edge:g}" for edge in scale.edges])
    axes.tick_params(length=3, labelsize=9, colors=INK)
    for spine in axes.spines.values():
        spine.set(color=_EDGE, linewidth=0.8)
    figure.text(
        0.5,
        (bottom + thick + 7) / height,
        title,
        ha="center",
        va="bottom",
        size=10.5,
        color=INK,
    )


def _ruler(
    figure: Any, size: tuple[int, int], metres: float, unit: str, lift: int
) -> None:
    """A length to compare with; `metres` is what a pixel shows."""
    width, height = size
    metres = units.to_unit(metres, unit)
    wanted = 130 * metres
    rounded = 10.0 ** np.floor(np.log10(wanted))
    rounded *= max(f for f in (1.0, 2.0, 5.0) if f * rounded <= wanted)
    pixels = rounded / metres
    x, y = 30 / width, (58 + lift) / height
    ruler = figure.add_axes((x, y, pixels / width, 8 / height))
    ruler.set(xlim=(0, 1), ylim=(0, 1), xticks=[], yticks=[])
    for spine in ("top", "right", "left"):
        ruler.spines[spine].set_visible(False)
    ruler.spines["bottom"].set(color=INK, linewidth=1.6)
    figure.text(
        x,
        y + 8 / height,
        f"{rounded:g} {unit}",
        size=8.5,
        color=_QUIET,
        va="bottom",
    )
