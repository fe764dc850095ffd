"""What sketches are made of: colours, words of dimensions, lines, arrows, sections."""

from collections.abc import Callable, Mapping
from typing import Any

import numpy as np
import numpy.typing as npt

from elbowroom.layout import units

from .colours import INK, QUIET

DUCT, AIR = "#e6ebf0", "#21618c"
_SHORT = 0.3  # a dimension in which no two arrows have room, over the duct's width
DUCT_SIZES, END_SIZES = ("diameter", "width"), ("outlet_diameter", "outlet_width")
Points = npt.NDArray[np.float64]


class Words:
    """Names of dimensions with the values that were written for them."""

    def __init__(self, kind: str, written: Mapping[str, str]) -> None:
        self.kind = kind
        self._written = written

    def __call__(self, letter: str, *names: str) -> str:
        """A letter, with the first of these dimensions that is written."""
        for name in names:
            if name in self._written:
                return f"{letter} = {self._written[name]}"
        return letter

    def or_share(self, letter: str, share: float, of: str, *names: str) -> str:
        """As written; else what share it is of another dimension."""
        words = self(letter, *names)
        return f"{letter}, {share:.3g} of {of}" if words == letter else words

    def angle(self, degrees: float) -> str:
        """The included angle as written; else in degrees."""
        words = self("included angle", "angle")
        return words if "=" in words else f"{words} {degrees:.4g}°"

    def metres(self, *names: str) -> float | None:
        """The first of these dimensions that is written, m."""
        for name in names:
            if name in self._written:
                return units.quantity(self._written[name], "length", name)
        return None

    def written(self, name: str) -> str:
        """A dimension as it was written; empty where it was not."""
        return self._written.get(name, "")

    def widening(self) -> float | None:
        """How much wider or higher the outlet is than the duct, the more of both."""
        found = [
            self.ratio(END_SIZES, DUCT_SIZES),
            self.ratio(("outlet_height",), ("height",)),
        ]
        return max((ratio for ratio in found if ratio is not None), default=None)

    def ratio(self, other: tuple[str, ...], one: tuple[str, ...]) -> float | None:
        """One dimension over another, where both are written."""
        above, below = self.metres(*other), self.metres(*one)
        return None if above is None or below is None else above / below

    def across(self, outlet: bool = False) -> str:
        """Diameter or width of the duct or of the other end, in words."""
        before = "outlet_" if outlet else ""
        if f"{before}diameter" in self._written:
            return self("D", f"{before}diameter")
        width, height = f"{before}width", f"{before}height"
        if width in self._written and height in self._written:
            return f"{self('W', width)}\n{self('H', height)}"
        return self("W", width) if width in self._written else "D or W"


Draw = Callable[[Any, Any, Mapping[str, float], Words], None]


def rotated(points: Points, turn: float) -> Points:
    """Points turned to the left by an angle, rad; shape (..., 2)."""
    c, s = np.cos(turn), np.sin(turn)
    return np.asarray(points @ np.array([[c, s], [-s, c]]))


def on_arc(centre: Points, radius: float, angle: float) -> Points:
    """Where an arc that begins below its centre is after an angle, rad; shape (2,)."""
    return centre + radius * np.array([np.sin(angle), -np.cos(angle)])


def note(axes: Any, at: Points, words: str, across: str = "center") -> None:
    """Write words at a place, on white."""
    axes.text(
        *at, words, ha=across, va="center", size=9, color=INK, zorder=6,
        bbox={"facecolor": "white", "edgecolor": "none", "pad": 1},
    )  # fmt: skip
    axes.update_datalim([tuple(at)])


def straight(axes: Any, begin: float, end: float) -> None:
    """Draw a straight duct of width 1 along the x axis."""
    axes.fill_between([begin, end], -0.5, 0.5, color=DUCT)
    for y in (0.5, -0.5):
        axes.plot([begin, end], [y, y], color=INK, lw=1.8)


def box(
    axes: Any, aspect: float, width: str, height: str, is_oval: bool = False
) -> None:
    """Draw the section of a duct with sides, or of a flat oval, with its dimensions."""
    scale = 1.0 / max(1.0, aspect)
    w, h = scale, aspect * scale
    outline = np.array([[0, 0], [w, 0], [w, h], [0, h]])
    if is_oval:  # a half circle at each end of the longer side
        r = min(w, h) / 2
        turn = np.linspace(0.0, 2 * np.pi, 72, endpoint=False)
        x, y = np.cos(turn), np.sin(turn)
        middle = [w / 2, h / 2] + np.stack([np.sign(x), np.sign(y)], axis=1) * [
            w / 2 - r,
            h / 2 - r,
        ]
        outline = middle + r * np.stack([x, y], axis=1)
    axes.fill(*outline.T, facecolor=DUCT, edgecolor=INK, lw=1.8)
    low = np.array([0.0, -0.12])
    dimension(axes, low, low + np.array([w, 0.0]), width, "below")
    right = np.array([w + 0.12, 0.0])
    dimension(axes, right, right + np.array([0.0, h]), height, "right")


def circle(axes: Any, words: str) -> None:
    """Draw the section of a round duct, with its diameter."""
    from matplotlib.patches import Circle

    axes.add_patch(
        Circle((0.5, 0.5), 0.5, facecolor=DUCT, edgecolor=INK, linewidth=1.8)
    )
    axes.update_datalim([(0, 0), (1, 1)])
    ends = np.array([0.0, -0.12]), np.array([1.0, -0.12])
    dimension(axes, *ends, words, "below")


def arrow(axes: Any, start: Points, end: Points, head: str = "-|>") -> None:
    """Draw the way of the air."""
    axes.annotate(
        "", tuple(end), tuple(start), zorder=7,
        arrowprops={"arrowstyle": head, "color": AIR, "lw": 2.4},
    )  # fmt: skip
    axes.update_datalim([tuple(start), tuple(end)])


# Of the words of a dimension: from which end, points aside, and how they stand.
_BESIDE = {
    "above": (0.5, (0, 4), "center", "bottom"),
    "below": (0.5, (0, -5), "center", "top"),
    "left": (0.5, (-6, 0), "right", "center"),
    "right": (0.5, (6, 0), "left", "center"),
    "start": (0.0, (-8, 0), "right", "center"),
    "end": (1.0, (6, 6), "left", "bottom"),
}


def dimension(
    axes: Any, start: Points, end: Points, words: str, beside: str = "below"
) -> None:
    """A dimension line with its words beside it, where they cross no wall."""
    share, shift, across, upright = _BESIDE[beside]
    radial = beside in ("start", "end")
    long = float(np.linalg.norm(end - start))
    lines = [(start, end, "-|>" if radial else "<|-|>")]
    if not radial and 0.0 < long < _SHORT:  # the arrows stand outside
        out = 0.25 * (end - start) / long
        lines = [(start - out, start, "-|>"), (end + out, end, "-|>")]
    for tail, head, style in lines:
        axes.annotate(
            "",
            tuple(head),
            tuple(tail),
            zorder=7,
            arrowprops={
                "arrowstyle": style,
                "color": QUIET,
                "lw": 1.0,
                "shrinkA": 0,
                "shrinkB": 0,
            },
        )
    axes.annotate(
        words,
        tuple(start + share * (end - start)),
        xytext=shift,
        textcoords="offset points",
        size=9,
        color=INK,
        zorder=8,
        ha=across,
        va=upright,
        bbox={"facecolor": "white", "edgecolor": "none", "alpha": 0.75, "pad": 1},
    )
    axes.update_datalim([tuple(start), tuple(end)])
