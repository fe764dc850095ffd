"""The 3D picture: ducts in their true shape, coloured by what they spend."""

import math
import textwrap
from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import Enum
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from elbowroom.layout import FloatArray, IntArray, Tubes, counted, units, writing

from .colours import ALARM, INK, NOTHING, QUIET, Scale
from .labels import NEAR, cut, in_sight, places
from .lettering import as_drawn, lettering, unwritable
from .preflight import prepare_off_screen
from .projection import View, panel_grid, view_of
from .short_names import told_apart
from .sweep import sweep

SIZE = (1600, 900)
_EDGE = "#30343a"
_VEIL = 0.12  # opacity of a solid: more would take the ducts behind to another band
_SOLID = "#8a8f98"
_HEAD = 64  # pixels above a panel for its title and what stands under it
_UNDER = 17  # of a second line of that
_FAR = 1000.0  # m from the origin
_FOOT = 112  # pixels at the bottom for the bar
_BARE_FOOT = 80  # the same without a bar, for the ruler alone
_MOST_LABELS = 60  # of a panel: more of them nobody reads
_AROUND = 130  # pixels above and below what a trimmed picture shows, for labels
_LINE = 17  # pixels of a line of the verdict below it
_VERDICT_LINES = 4  # at most, below the bar
_COLUMN = 420  # pixels of the list beside the panels
_LIST_LINE = 16
_PAD = 0.28  # of a label's box, over the size of its letters
_TITLE, _SUBTITLE = 15.0, 10.5  # points
_SMALLER = 0.8  # of the size of a title, before it is shortened
_SIDES = 34  # pixels that the words above a panel keep free beside them
_THINNEST = 3.0  # pixels across a duct, below which its colour is drawn as a line
_LEAST_NAME = 12  # letters of a name that a title keeps
_HIDDEN = ", hidden"  # behind other ducts
_LEFT_OUT = " · {} without room"


class Look(Enum):
    """How a label looks, in the order in which labels are given room."""

    CLASH = "clash"
    CRITICAL = "critical"  # the terminal that needs most
    LOSS = "loss"
    END = "end"


# Size of the letters in points, colour of letters and leader, edge, weight.
_LOOKS = {
    Look.CLASH: (9.0, ALARM, ALARM, "normal"),
    Look.CRITICAL: (9.0, INK, INK, "bold"),
    Look.LOSS: (9.5, INK, _EDGE, "normal"),
    Look.END: (8.5, QUIET, "none", "normal"),
}
_FURTHEST = {
    Look.END: 110.0,
    Look.LOSS: 280.0,
}  # pixels from what it names, before it is left out


@dataclass(frozen=True, eq=False)
class Label:
    """Words at a point.

    Parameters
    ----------
    point
        Where, m, shape (3,).
    text
        What is written.
    look
        How.
    pieces
        Pieces of the panel's tubes of which one must be seen where the label points;
        empty if it points at a place, seen or not.
    """

    point: FloatArray
    text: str
    look: Look = Look.LOSS
    pieces: tuple[int, ...] = ()


@dataclass(frozen=True, eq=False)
class Panel:
    """One layout to be drawn.

    Parameters
    ----------
    title, subtitle
        Words above it.
    name
        What the title begins with and may be shortened in it, before anything else.
    tubes
        Its surfaces.
    value
        Value of each piece of the tubes, NaN where it has none, shape (p,).
    labels
        What is named in it, most important first.
    obstacles
        Vertices, m, and triangles of each solid to stay clear of.
    beside
        The same of ducts that are no part of the layout, of which all is shown.
    """

    title: str
    subtitle: str
    tubes: Tubes
    value: FloatArray
    labels: Sequence[Label] = ()
    obstacles: Sequence[tuple[FloatArray, IntArray]] = ()
    beside: Sequence[tuple[FloatArray, IntArray]] = ()
    name: str = ""


def picture(
    panels: Sequence[Panel],
    scale: Scale,
    bar_title: str,
    path: Path,
    *,
    size: tuple[int, int] = SIZE,
    density: float = 1.0,
    is_trimmed: bool = False,
    verdict: str = "",
    beside: Sequence[str] = (),
    length_unit: str = "m",
) -> str:
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
        Width and height of the file in pixels.
    density
        How many of those are one pixel of a picture with letters of the usual size: of
        2 they are twice as large.
    is_trimmed
        Whether it is made lower where what it shows needs less.
    verdict
        Words for the panel that stays empty, or else for the foot of the picture.
    beside
        A list that stands to the right of the panels.
    length_unit
        Unit of the ruler: m or ft.

    Returns
    -------
    unwritable
        Which letters no font has, in a sentence; empty if all are written.

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
    pixels, size = size, (round(size[0] / density), round(size[1] / density))
    finer = max(2, math.ceil(density))
    width, height = size[0] - (_COLUMN if beside else 0), size[1]
    foot = _FOOT if bar_title else _BARE_FOOT
    verdict = verdict.replace(" %", "\u00a0%")  # a line ends before neither
    rows, columns = panel_grid(len(panels), view, width, height - foot, _HEAD)
    is_free = rows * columns > len(panels)  # a cell for the verdict
    lines: list[str] = []  # of the verdict, below the bar where no cell is free
    if verdict and not is_free:
        lines = _short_of(textwrap.wrap(verdict, width // 7), _VERDICT_LINES)
    lift = _LINE * len(lines)
    cell_w, cell_h = width // columns, (height - foot - lift) // rows
    figure = Figure(figsize=(size[0] / 100, height / 100), dpi=100, facecolor="white")
    FigureCanvasAgg(figure)
    words = [verdict, *beside]
    for panel in panels:
        words += [panel.title, panel.subtitle, *(label.text for label in panel.labels)]
    written = "\n".join(words)
    with lettering(written):
        head = _head(figure, panels, cell_w - _SIDES)
        titles, title_size = _titles(figure, panels, cell_w - _SIDES)
    room = (cell_w, cell_h - head)
    metres = max(view.extent[0] / room[0], view.extent[1] / room[1])  # a pixel
    spare = room[1] - int(view.extent[1] / metres) - _AROUND
    if is_trimmed and spare > 0:
        room, cell_h = (room[0], room[1] - spare), cell_h - spare
        size = size[0], height - rows * spare
        height = size[1]
        figure.set_size_inches(size[0] / 100, height / 100)
        pixels = pixels[0], round(height * density)
    with lettering(written), writing(path):
        for number, panel in enumerate(panels):
            row, column = divmod(number, columns)
            corner = column * cell_w, row * cell_h
            _draw(figure, size, panel, scale, view, corner, room, head, metres, finer)
            x, y = corner[0] + 22, corner[1] + 14
            bold = {"size": title_size, "weight": "bold"}
            _say(figure, size, x, y, titles[number], **bold)
        ruler = _ruler(figure, size, metres, length_unit, lift)
        if bar_title:
            _bar(figure, scale, bar_title, size, width, lift, ruler)
        if verdict and is_free:
            _in_cell(figure, size, verdict, (width, rows), (cell_w, cell_h))
        elif lines:
            low = {"size": 9.5, "ha": "center", "va": "bottom"}
            _say(figure, size, width / 2, height - 9, "\n".join(lines), **low)
        if beside:
            _list(figure, size, beside, width)
        dpi = 100 * density
        if density % 1:  # half a pixel more, so that rounding loses none
            figure.set_size_inches((pixels[0] + 0.5) / dpi, (pixels[1] + 0.5) / dpi)
        figure.savefig(path, dpi=dpi, format="png", facecolor="white")
    return unwritable(written)


def _say(
    figure: Any, pixels: tuple[int, int], x: float, y: float, text: str, **how: Any
) -> Any:
    """Write at pixels from the upper left of a figure that has so many."""
    how = {"color": INK, "va": "top", **how}
    return figure.text(x / pixels[0], 1 - y / pixels[1], as_drawn(text), **how)


def _in_cell(
    figure: Any,
    size: tuple[int, int],
    verdict: str,
    panels: tuple[int, int],
    cell: tuple[int, int],
) -> None:
    """Write the verdict in the last cell, which is free, of panels so wide in rows."""
    fits = _short_of(
        textwrap.wrap(verdict, max(20, cell[0] // 10)), (cell[1] - 30) // 25
    )
    x, y = panels[0] - cell[0] + 22, (panels[1] - 1) * cell[1] + 20
    _say(figure, size, x, y, "\n".join(fits), size=12, linespacing=1.5)


def _list(figure: Any, size: tuple[int, int], items: Sequence[str], left: int) -> None:
    """Write the list beside the panels, as far as the picture is high."""
    text = "\n".join(_column(items, (size[1] - _HEAD - 20) // _LIST_LINE))
    _say(figure, size, left + 10, _HEAD, text, size=8.5, linespacing=1.25)


def _head(figure: Any, panels: Sequence[Panel], room: float) -> int:
    """Height above each panel: more where the words under a title need two lines."""
    for panel in panels:
        longest = panel.subtitle
        if panel.labels:
            longest += _LEFT_OUT.format("99 more labels")
        if len(_under(figure, longest, room)) > 1:
            return _HEAD + _UNDER
    return _HEAD


def _draw(
    figure: Any,
    size: tuple[int, int],
    panel: Panel,
    scale: Scale,
    view: View,
    corner: tuple[int, int],
    room: tuple[int, int],
    head: int,
    metres: float,
    finer: int,
) -> None:
    """Draw one panel, its labels and what stands under its title.

    `corner` is its upper left in pixels, `head` the height of the words, `room` what is
    left below them, `metres` what a pixel shows, `finer` how many dots that is across.
    """
    left, top = corner
    image, seen = _rendered(panel, scale, view, room, metres, finer)
    axes = figure.add_axes(
        (
            left / size[0],
            1 - (top + head + room[1]) / size[1],
            room[0] / size[0],
            room[1] / size[1],
        )
    )
    axes.imshow(image, extent=(0, room[0], 0, room[1]), aspect="auto")
    axes.set(xlim=(0, room[0]), ylim=(0, room[1]), autoscale_on=False)
    axes.axis("off")
    lost = _write(axes, panel, view, room, metres, image[::finer, ::finer], seen)
    said = panel.subtitle
    if lost:
        said += _LEFT_OUT.format(counted(lost, "more label"))
    wide = room[0] - _SIDES
    for line, text in enumerate(_under(figure, said, wide)):
        y, small = top + 40 + _UNDER * line, {"size": _SUBTITLE, "color": QUIET}
        _fitted(_say(figure, size, left + 22, y, text, **small), text, wide)


def _titles(
    figure: Any, panels: Sequence[Panel], room: float
) -> tuple[list[str], float]:
    """Titles that each have room on one line, and the size of their letters, points.

    They are made smaller, then shorter: first the name, in which no two come out alike.
    """
    names = [panel.name for panel in panels]
    size = _TITLE
    while size > _SMALLER * _TITLE and any(
        _width(figure, panel.title, size, "bold") > room for panel in panels
    ):
        size -= 0.5
    out = []
    for at, panel in enumerate(panels):
        words, behind = panel.title, panel.title[len(panel.name) :]
        letters = len(panel.name)
        while letters > _LEAST_NAME and _width(figure, words, size, "bold") > room:
            letters = max(letters - 2, _LEAST_NAME)
            words = told_apart(names, letters)[at] + behind
        while len(words) > 4 and _width(figure, words, size, "bold") > room:
            words = cut(words, len(words) - 2)
        out.append(words)
    return out, size


def _width(figure: Any, words: str, size: float, weight: str = "normal") -> float:
    """Width of a line of words, pixels."""
    line = figure.text(0.0, 0.0, as_drawn(words), size=size, weight=weight)
    wide: float = line.get_window_extent(figure.canvas.get_renderer()).width
    line.remove()
    return wide


def _short_of(lines: list[str], most: int) -> list[str]:
    """Lines, cut to as many as there is room for."""
    if len(lines) <= most:
        return lines
    return [*lines[: most - 1], "… and more, in what is printed"]


def _column(items: Sequence[str], most: int) -> list[str]:
    """Lines of a list, each item wrapped, as many as there is room for."""
    out: list[str] = []
    for number, item in enumerate(items):
        made = textwrap.wrap(item, int(_COLUMN / 7.6), subsequent_indent="      ")
        if len(out) + len(made) >= most and number < len(items) - 1:
            return [*out, f"and {len(items) - number} more, in what is printed"]
        out += made
    return out


def _under(figure: Any, text: str, room: float) -> list[str]:
    """What stands under a title, parted into two lines if one has no room for it."""
    parts = text.split(" · ")
    for count in range(len(parts), 0, -1):
        if _width(figure, " · ".join(parts[:count]), _SUBTITLE) <= room:
            break
    return [" · ".join(some) for some in (parts[:count], parts[count:]) if some]


def _fitted(text: Any, words: str, room: float) -> None:
    """Make a line of words smaller, and in the end shorter, until it has room."""
    size = text.get_size()
    renderer = text.figure.canvas.get_renderer()

    def is_too_wide() -> bool:
        return bool(text.get_window_extent(renderer).width > room)

    while is_too_wide() and text.get_size() > 0.85 * size:
        text.set_size(text.get_size() - 0.5)
    while is_too_wide() and len(words) > 4:
        words = cut(words, len(words) - 2)
        text.set_text(as_drawn(words))


def brought_near(panels: Sequence[Panel]) -> Sequence[Panel]:
    """Panels moved together to where single precision, which VTK draws in, is fine.

    A building placed on a map lies millions of metres from the origin.
    """
    every = np.concatenate([panel.tubes.centre for panel in panels])
    origin = every.mean(axis=0).round()
    if np.abs(origin).max() < _FAR:
        return panels
    return [
        replace(
            panel,
            tubes=replace(panel.tubes, centre=panel.tubes.centre - origin),
            labels=[replace(one, point=one.point - origin) for one in panel.labels],
            obstacles=[(points - origin, faces) for points, faces in panel.obstacles],
            beside=[(points - origin, faces) for points, faces in panel.beside],
        )
        for panel in panels
    ]


def corners(panel: Panel) -> FloatArray:
    """Points that the view must hold: rings widened by their section, and solids."""
    tubes = panel.tubes
    half = np.maximum(tubes.width, tubes.height)[:, None] / 2
    parts = [tubes.centre + half, tubes.centre - half]
    parts += [vertices for vertices, _ in panel.beside]
    # Of a long beam no more than its stretch near the ducts is worth the room.
    every = np.concatenate(parts)
    low, high = every.min(axis=0) - 1.0, every.max(axis=0) + 1.0
    parts += [np.clip(vertices, low, high) for vertices, _ in panel.obstacles]
    return np.concatenate(parts)


def _rendered(
    panel: Panel,
    scale: Scale,
    view: View,
    room: tuple[int, int],
    metres: float,
    finer: int,
) -> tuple[npt.NDArray[np.uint8], IntArray]:
    """A panel so many times as large as its room; the piece seen at each pixel."""
    prepare_off_screen()
    import pyvista as pv

    plotter: Any = pv.Plotter(
        off_screen=True, window_size=[finer * room[0], finer * room[1]]
    )
    plotter.set_background("white")
    furnish(plotter, panel, scale, least=_THINNEST * metres, line=finer / 2)
    aim(plotter, view, room[1] * metres / 2)
    image: npt.NDArray[np.uint8] = plotter.screenshot(return_img=True)
    seen = pieces_seen(plotter, panel, room)
    plotter.close()
    return image, seen


def pieces_seen(plotter: Any, panel: Panel, size: tuple[int, int]) -> IntArray:
    """Piece of a panel that a plotter shows at each pixel, -1 for none.

    Its ducts are drawn once more, alone and in colours that are numbers: obstacles are
    seen through. Rows go downwards, as in an image.
    """
    surface, number = _surface(panel)
    number = number + 1
    parts = [number >> 16, number >> 8, number]  # modulo 256 each
    surface.cell_data["number"] = np.stack(parts, axis=1).astype(np.uint8)
    plotter.suppress_rendering = True  # until all is there
    plotter.clear_actors()
    plotter.add_mesh(
        surface, scalars="number", rgb=True, lighting=False, reset_camera=False
    )
    plotter.set_background("black")
    plotter.disable_anti_aliasing()
    plotter.window_size = size
    plotter.suppress_rendering = False
    plotter.render()
    red, green, blue = np.moveaxis(plotter.screenshot().astype(np.int64), 2, 0)
    return np.asarray((red << 16) + (green << 8) + blue - 1)


def _surface(panel: Panel) -> tuple[Any, IntArray]:
    """Surface of a panel's ducts, and the piece of each of its cells."""
    import pyvista as pv

    mesh = sweep(panel.tubes)
    return pv.PolyData(mesh.points, mesh.vtk_faces), mesh.element


def furnish(
    plotter: Any, panel: Panel, scale: Scale, least: float = 0.0, line: float = 1.0
) -> None:
    """Put a layout and its obstacles on a plotter; only the ducts can be picked.

    Ducts thinner than `least`, m, have no edges, which would hide their colours, and
    a line of that colour along their middle. Lines are `line` times as wide as usual.
    """
    import pyvista as pv

    surface, piece = _surface(panel)
    band = scale.band(panel.value)[piece]
    palette = np.array([_rgb(c) for c in (*scale.colours, NOTHING)], dtype=np.uint8)
    surface.cell_data["colour"] = palette[band]  # band -1 is the last: no value
    surface.cell_data["piece"] = piece
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
    is_thin = _thin(panel.tubes, least)
    if is_thin.any():
        thin = _middles(panel.tubes, is_thin)
        thin.cell_data["colour"] = palette[scale.band(panel.value)[thin["piece"]]]
        plotter.add_mesh(
            thin, scalars="colour", rgb=True, line_width=2 * line * _THINNEST,
            lighting=False, pickable=False,
        )  # fmt: skip
        if not is_thin.all():
            surface = surface.remove_cells(is_thin[piece])
    lines = surface.extract_feature_edges(
        feature_angle=50, boundary_edges=True, non_manifold_edges=False
    )
    if lines.n_cells and not is_thin.all():
        plotter.add_mesh(
            lines, color=_EDGE, line_width=1.6 * line, lighting=False, pickable=False
        )
    for vertices, faces in (*panel.obstacles, *panel.beside):
        cells = np.column_stack([np.full(len(faces), 3), faces]).ravel()
        solid = pv.PolyData(np.asarray(vertices, dtype=np.float64), cells)
        plotter.add_mesh(
            solid, color=_SOLID, opacity=_VEIL, lighting=False, pickable=False
        )
        outline = solid.extract_feature_edges(feature_angle=30)
        if outline.n_cells:
            plotter.add_mesh(
                outline,
                color=_SOLID,
                line_width=2.0 * line,
                lighting=False,
                pickable=False,
            )


def _thin(tubes: Tubes, least: float) -> npt.NDArray[np.bool_]:
    """Which pieces are nowhere as wide as `least`, m, shape (p,)."""
    wide = np.maximum(tubes.width, tubes.height)
    return np.maximum.reduceat(wide, tubes.offsets[:-1]) < least


def _middles(tubes: Tubes, wanted: npt.NDArray[np.bool_]) -> Any:
    """Lines along the middle of pieces, and the piece of each."""
    import pyvista as pv

    rows = np.flatnonzero(wanted)
    cells = [
        np.r_[end - begin, begin:end]
        for begin, end in zip(tubes.offsets[rows], tubes.offsets[rows + 1], strict=True)
    ]
    lines = pv.PolyData(tubes.centre, lines=np.concatenate(cells))
    lines.cell_data["piece"] = rows
    return lines


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
    seen: IntArray,
) -> int:
    """Write labels beside what they name; the number of those that find no room.

    What is hidden behind other ducts is said to be so.
    """
    from matplotlib.patheffects import withStroke  # leaders are seen on dark ducts too

    ranks = list(Look)
    labels = sorted(panel.labels, key=lambda label: ranks.index(label.look))
    left_out = len(labels[_MOST_LABELS:])
    labels = labels[:_MOST_LABELS]
    if not labels:
        return 0
    at = np.array([label.point for label in labels], dtype=float)
    at = view.flat(at) / metres + np.array(room) / 2
    renderer = axes.figure.canvas.get_renderer()
    texts, sizes = [], []
    for row, label in enumerate(labels):
        size, colour, edge, weight = _LOOKS[label.look]
        words = label.text
        if label.pieces:
            found = in_sight(at[row], label.pieces, seen[::-1])
            if found is not None:
                at[row] = found
            elif _is_wide(panel.tubes, label.pieces, view, metres):
                words += _HIDDEN
        text = axes.text(
            0.0, 0.0, as_drawn(words), ha="center", va="center",
            size=size, color=colour, weight=weight, zorder=4,
            bbox={
                "boxstyle": f"round,pad={_PAD}",
                "facecolor": "white",
                "edgecolor": edge,
                "linewidth": 0.7,
                "alpha": 0.94,
            },
        )  # fmt: skip
        extent = text.get_window_extent(renderer)
        pad = 2 * _PAD * size * 100 / 72
        texts.append(text)
        sizes.append((extent.width + pad, extent.height + pad))
    drawn = (image.min(axis=2) < 245)[::-1]
    least = np.array([30.0 if label.look == Look.LOSS else 14.0 for label in labels])
    most = np.array([_FURTHEST.get(label.look, np.inf) for label in labels])
    made = places(at, np.array(sizes), least, most, room, drawn)
    for label, point, text, size_, place in zip(
        labels, at, texts, sizes, made, strict=True
    ):
        if place is None:
            text.remove()
            continue
        (x, y), (w, h) = place.corner, size_
        text.set_position((x + w / 2, y + h / 2))
        if place.reach > NEAR or label.look != Look.END:
            colour = _LOOKS[label.look][1]
            axes.plot(
                [point[0], place.foot[0]], [point[1], place.foot[1]], color=colour,
                lw=0.7, marker="o", markersize=2.4, markevery=[0], zorder=3,
                path_effects=[withStroke(linewidth=1.9, foreground="white")],
            )  # fmt: skip
    return left_out + sum(place is None for place in made)


def _is_wide(tubes: Tubes, pieces: Sequence[int], view: View, metres: float) -> bool:
    """Whether pieces are large enough to be seen, were nothing before them."""
    rings = np.isin(tubes.element, pieces)
    if not rings.any():
        return False
    across = np.ptp(view.flat(tubes.centre[rings]), axis=0)
    section = max(tubes.width[rings].max(), tubes.height[rings].max())
    return bool(max(*across, section) > 2 * metres and section > metres)


def _bar(
    figure: Any,
    scale: Scale,
    title: str,
    size: tuple[int, int],
    across: int,
    lift: int,
    ruler: float,
) -> None:
    """The colours and their values, to the right of where the ruler ends."""
    width, height = size
    left = max((across - min(0.5 * across, 900)) / 2, ruler + 30)
    long = min(0.5 * across, 900, across - left - 30)
    bottom, thick = 50 + lift, 17
    axes = figure.add_axes(
        (left / width, bottom / height, long / width, thick / height)
    )
    count = len(scale.colours)
    for place, colour in enumerate(scale.colours):
        axes.axvspan(place, place + 1, color=colour, lw=0)
    axes.set(xlim=(0, count), ylim=(0, 1), yticks=[])
    axes.set_xticks(range(count + 1), [f"{edge:g}" for edge in scale.edges])
    axes.tick_params(length=3, labelsize=9 if long > 40 * count else 7, colors=INK)
    for spine in axes.spines.values():
        spine.set(color=_EDGE, linewidth=0.8)
    middle = left + long / 2
    figure.text(
        middle / width,
        (bottom + thick + 7) / height,
        textwrap.fill(title, int(2 * min(middle, across - middle) / 8)),
        ha="center",
        va="bottom",
        size=10.5,
        color=INK,
    )


def _ruler(
    figure: Any, size: tuple[int, int], metres: float, unit: str, lift: int
) -> float:
    """A length to compare with; `metres` is what a pixel shows. Where it ends, pixels.

    It is shorter in a narrow picture, so that the bar of colours has room beside it.
    """
    width, height = size
    metres = units.to_unit(metres, unit)
    wanted = min(130, 0.14 * width) * metres
    rounded = 10.0 ** np.floor(np.log10(wanted))
    rounded *= max(f for f in (1.0, 2.0, 5.0) if f * rounded <= wanted)
    pixels = float(rounded / metres)
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
        color=QUIET,
        va="bottom",
    )
    return 30 + pixels
