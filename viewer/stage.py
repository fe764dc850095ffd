"""Layouts side by side in one window, and their words, laid out by its size."""

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from .colours import INK, Scale
from .projection import View
from .scene import SIZE, Panel, aim

_LEAST_SHARE = 0.75  # of the usual size: smaller letters nobody reads
_MARGIN = 1.12  # around the layouts, of their size
_LEAST_LINE = 12  # letters
# Pixels in a window of the usual size; a smaller one has a share of them.
_SIDE = 12  # beside words
_HINT_FOOT = 8
_LINE = 17
_BAR_RIGHT, _BAR_FOOT = 150, 44
_SWATCH = (26, 24)
_LEAST_ROW = 280  # across: the longest word of a row has room
_SLIDER_MIDDLE = 153
_SLIDER_FOOT = 51  # below its middle, title and all
_LEAST_SLIDER = 80  # across


@dataclass(eq=False)
class Stage:
    """A plotter with a cell for each layout, and what is written in the cells.

    Parameters
    ----------
    plotter
        With the layouts in it, their cameras linked.
    panels, scale, bar_title
        As in `scene.picture`; the title is empty where there is no bar.
    view
        The view that shows all layouts at first.
    hint
        What to do, in the lower left corner.
    row
        A panel, and what is written in its corner.
    slider
        Widget in the first panel, if any.
    """

    plotter: Any
    panels: Sequence[Panel]
    scale: Scale
    bar_title: str
    view: View
    hint: str = ""
    row: tuple[int, str] = (0, "")
    slider: Any = None
    _size: tuple[int, int] = field(default=(0, 0), init=False)
    _slider_at: float = field(default=0.0, init=False)

    def follow(self) -> None:
        """Lay out now, and before any frame of which the window has another size."""
        self._sized()
        # Before a frame: once for all sizes that an edge has while it is dragged.
        self.plotter.render_window.AddObserver("StartEvent", self._sized)

    def lay_out(self) -> None:
        """Write all words, the bar and the slider where the window has room."""
        last, room = len(self.panels) - 1, self._across - self._px(2 * _SIDE)
        place = (self._px(_SIDE), 0.99 * self._size[1])
        for number, panel in enumerate(self.panels):
            words = f"{panel.title}\n{panel.subtitle}"
            head, _ = self._write(number, words, 10, place, "title", room, at_top=True)
        beside = self._bar(last) - self._px(2 * _SIDE) if self.bar_title else room
        lines = 0
        if self.hint:
            low = (self._px(_SIDE), self._px(_HINT_FOOT))
            _, lines = self._write(0, self.hint, 8, low, "hint", room)
            if lines > 1 and last == 0:  # not all of it is below the bar
                _, lines = self._write(0, self.hint, 8, low, "hint", beside)
        # The row has the same place in all cells, though the help is in the first; but
        # where the bar leaves it no room it stands under the title.
        below = (place[0], place[1] - head - self._px(_SIDE))
        place = (self._px(_SIDE), self._px(_HINT_FOOT + _SIDE + _LINE * lines))
        if self.row[0] != last or not self.bar_title:
            self._write_row(place, room)
        elif beside >= self._px(_LEAST_ROW):
            self._write_row(place, beside)
        else:
            self._write_row(below, room, at_top=True)

    def write_row(self, number: int, words: str) -> None:
        """Write a row in the corner of a panel, in place of the one before."""
        self.row = number, words
        self.lay_out()

    def _sized(self, *_: Any) -> None:
        width, height = self.plotter.render_window.GetSize()
        if (width, height) == self._size or not width or not height:
            return
        before = self._half_height() if self._size[0] else 0.0
        self._size, self._slider_at = (width, height), 0.0
        half_height = self._half_height()
        if before:  # what was turned and zoomed stays so; the cameras are linked
            self.plotter.renderers[0].camera.parallel_scale *= half_height / before
        else:
            for number in range(len(self.panels)):
                self.plotter.subplot(0, number)
                aim(self.plotter, self.view, half_height)
        self.lay_out()

    def _half_height(self) -> float:
        """Of what a cell shows where the layouts just fit, m."""
        across, upwards = self.view.extent
        return _MARGIN * max(upwards, across * self._size[1] / self._across) / 2

    @property
    def _across(self) -> float:
        """Pixels across a cell."""
        return max(self._size[0] // len(self.panels), 1)

    def _px(self, usual: float) -> float:
        """Pixels that are as many in a window of the usual size."""
        share = min(self._size[0] / SIZE[0], self._size[1] / SIZE[1])
        return usual * min(max(share, _LEAST_SHARE), 1.0)

    def _write_row(
        self, place: tuple[float, float], room: float, *, at_top: bool = False
    ) -> None:
        """Write the row as `_write` does, and lift the slider above it."""
        number, words = self.row
        for renderer in self.plotter.renderers:
            renderer.remove_actor("row", render=False)
        high = 0.0
        if words:
            high, _ = self._write(number, words, 9, place, "row", room, at_top=at_top)
        if self.slider is None:
            return
        is_below = number == 0 and not at_top
        clear = place[1] + high + self._px(_SLIDER_FOOT) if is_below else 0.0
        # It goes no way down before there is another size, so that it stays under the
        # mouse while it leads through rows of one line and of two.
        self._slider_at = max(self._slider_at, clear, self._px(_SLIDER_MIDDLE))
        self._place_slider()

    def _place_slider(self) -> None:
        """Put the slider at its height, as large as the words."""
        width, height = self._size
        shape = self.slider.GetRepresentation()
        long = max(0.2 * self._across, self._px(_LEAST_SLIDER))
        left, up = 0.02 * self._across / width, self._slider_at / height
        shape.GetPoint1Coordinate().SetValue(left, up)
        shape.GetPoint2Coordinate().SetValue(left + long / width, up)
        share = self._px(SIZE[1]) / height  # VTK takes parts of the height
        shape.SetTitleHeight(0.015 * share)
        shape.SetLabelHeight(0.025 * share)
        shape.SetEndCapWidth(0.05 * share)
        shape.SetSliderWidth(0.014 * share)
        shape.SetTubeWidth(0.003 * share)

    def _write(
        self,
        number: int,
        words: str,
        size: int,
        place: tuple[float, float],
        name: str,
        room: float,
        *,
        most: int | None = None,
        at_top: bool = False,
    ) -> tuple[float, int]:
        """Write words in a cell, in lines for which there are so many pixels.

        Their letters have the same size in all cells. `place` is of their lower left
        corner, pixels, or the upper one; `most` letters are in a line. How high they
        are, pixels, and how many lines.
        """
        actor = self._text(number, " ", size, place, name)
        if at_top:
            actor.prop.justification_vertical = "top"
        extent = [0.0, 0.0]
        most = max(most or int(room // self._px(size - 2)), _LEAST_LINE)
        for letters in range(most, _LEAST_LINE - 1, -3):
            lines = [textwrap.fill(line, letters) for line in words.split("\n")]
            actor.input = _plain("\n".join(lines))
            actor.GetSize(self.plotter.renderers[number], extent)
            if extent[0] <= room:
                break
        return extent[1], actor.input.count("\n") + 1

    def _text(
        self,
        number: int,
        words: str,
        size: int,
        place: tuple[float, float],
        name: str,
    ) -> Any:
        """Put words in a cell, in place of those that have their name."""
        import pyvista as pv

        actor: Any = pv.Text(words, position=place)
        actor.prop = pv.TextProperty(color=INK, font_size=int(self._px(2 * size)))
        self.plotter.renderers[number].add_actor(
            actor, name=name, pickable=False, render=False
        )
        return actor

    def _bar(self, number: int) -> float:
        """Write the bands and their colours in the lower right corner of a cell.

        Where the colours begin, pixels from the left side of the cell.
        """
        import pyvista as pv
        from vtkmodules.vtkRenderingCore import vtkActor2D, vtkPolyDataMapper2D

        count = len(self.scale.colours)
        left, low = self._across - self._px(_BAR_RIGHT), self._px(_BAR_FOOT)
        wide, high = self._px(_SWATCH[0]), self._px(_SWATCH[1])
        x = np.array([left, left + wide, left + wide, left], dtype=float)
        corners = [
            np.column_stack([x, low + high * (band + np.array([0, 0, 1, 1])), 0 * x])
            for band in range(count)
        ]
        boxes = np.insert(np.arange(4 * count).reshape(-1, 4), 0, 4, axis=1)
        swatches = pv.PolyData(np.concatenate(corners), boxes.ravel())
        swatches.cell_data["colour"] = np.array(
            [pv.Color(colour).int_rgb for colour in self.scale.colours], dtype=np.uint8
        )
        swatches.cell_data.active_scalars_name = "colour"
        mapper = vtkPolyDataMapper2D()
        mapper.SetInputData(swatches)
        actor = vtkActor2D()
        actor.SetMapper(mapper)
        self.plotter.renderers[number].add_actor(
            actor, name="bar", pickable=False, render=False
        )
        beside = left + wide + self._px(8)
        for band, edge in enumerate(self.scale.edges):
            place = (beside, low + high * band - self._px(8))
            self._text(number, f"{edge:g}", 8, place, f"edge {band}")
        top = low + high * count + self._px(14)
        start = max(left - self._px(90), self._px(_SIDE))
        room = self._across - start - self._px(_SIDE)
        place = (start, top)
        self._write(number, self.bar_title, 8, place, "bar title", room, most=24)
        return left


def _plain(words: str) -> str:
    """Words of which VTK reads no part as mathematics, as between dollar signs."""
    return words.replace("$", "\\$")
