"""Sketches of entries and exits."""

from collections.abc import Mapping
from typing import Any

import numpy as np

from .colours import INK, QUIET
from .sketch_parts import DUCT, Words, arrow, dimension, note, straight


def opening(
    is_entry: bool, main: Any, side: Any, parameters: Mapping[str, float], say: Words
) -> None:
    """Draw where air enters a duct or leaves it."""
    kind = say.kind
    away = -1.0 if is_entry else 1.0  # from the duct into the room
    far = -2.6 * away
    straight(main, *sorted((0.0, far)))
    angle = parameters.get("angle_deg")
    mouth, at = 0.5, 0.0  # half height of the mouth, and where it is
    if "D_exit_over_D" in parameters:
        mouth, at = parameters["D_exit_over_D"] / 2, 0.8
        _cone(main, at, mouth)
        words = say.or_share("D", 2 * mouth, "D", "outlet_diameter")
        _mouth(main, at, mouth, f"mouth\n{words}")
    elif angle is not None and angle > 0:
        at, mouth = _conical(main, parameters, say, away)
    elif "r_over_D" in parameters:
        at, mouth = _bellmouth(main, parameters, say, away)
    elif "cap" in kind:
        at, mouth = _capped(main, parameters, say, away)
    if "t_over_D" in parameters:
        at = _wall(main, parameters, say, away)
    walled = kind in ("entry-bellmouth", "entry-conical", "entry-duct-in-wall")
    if walled:
        thick = 0.12 if kind == "entry-duct-in-wall" else -0.12 * away
        for low, high in ((mouth, mouth + 0.8), (-mouth - 0.8, -mouth)):
            main.fill_between(sorted([at, at + thick]), low, high, color=QUIET)
    begin = 2.0 if is_entry else -2.0
    step = 0.7
    arrow(main, np.array([begin - step / 2, 0.0]), np.array([begin + step / 2, 0]))
    ends = np.array([far - 0.15 * away, -0.5]), np.array([far - 0.15 * away, 0.5])
    dimension(main, *ends, say.across(), "right" if is_entry else "left")
    words = "air enters the duct" if is_entry else "air leaves the duct"
    side.set_title(words, size=9, color=QUIET)


def _conical(
    axes: Any, parameters: Mapping[str, float], say: Words, away: float
) -> tuple[float, float]:
    """A cone before the room: where its mouth is, and half the height of that."""
    angle = parameters["angle_deg"]
    half = np.radians(min(angle, 179.0)) / 2
    at = parameters.get("L_over_D", 0.7)
    ratio = say.widening()
    area = parameters.get("A_out_over_A_duct")
    if ratio is None and area is not None:
        ratio = area if "plane" in say.kind else float(np.sqrt(area))
    if ratio is not None:
        at = (ratio - 1.0) / 2 / np.tan(half)
    at = max(min(at, 1.6), 0.05)
    mouth = 0.5 + at * np.tan(half)
    if mouth > 1.3:  # drawn shorter
        at, mouth = at * 0.8 / (mouth - 0.5), 1.3
    at *= away
    _cone(axes, at, mouth)
    note(
        axes, np.array([-0.25 * away, 0.75]), say.angle(angle),
        "left" if away < 0.0 else "right",
    )  # fmt: skip
    words = say.across(outlet=True)
    if "=" not in words and area is not None:
        words = f"{area:.3g} × the area\nof the duct"
    if "=" in words or area is not None:
        _mouth(axes, at, mouth, f"mouth\n{words}")
    below = -mouth - (0.95 if say.kind == "entry-conical" else 0.25)
    axes.plot([0.0, 0.0], [-0.55, below - 0.05], color=QUIET, lw=0.7)
    axes.plot([at, at], [-mouth - 0.05, below - 0.05], color=QUIET, lw=0.7)
    share = parameters.get("L_over_D")
    words = say("L", "length")
    if share is not None:
        words = say.or_share("L", share, "D", "length")
    ends = np.array([min(at, 0.0), below]), np.array([max(at, 0.0), below])
    dimension(axes, *ends, words)
    return at, mouth


def _bellmouth(
    axes: Any, parameters: Mapping[str, float], say: Words, away: float
) -> tuple[float, float]:
    """A rounded edge; returns as `_conical` does."""
    bell = max(min(parameters["r_over_D"], 0.6), 0.03)
    steps = np.linspace(0, np.pi / 2, 20)
    x = away * bell * np.sin(steps)
    y = 0.5 + bell * (1 - np.cos(steps))
    axes.fill_between(x, -y, y, color=DUCT)
    for sign in (1, -1):
        axes.plot(x, sign * y, color=INK, lw=1.8)
    words = say.or_share("r", parameters["r_over_D"], "D", "radius")
    corner = np.array([0.25, 0.5 + bell + 0.12])
    note(axes, corner, words, "left")
    return away * bell, 0.5 + bell


def _capped(
    axes: Any, parameters: Mapping[str, float], say: Words, away: float
) -> tuple[float, float]:
    """A cap before the opening; returns as `_conical` does."""
    gap = parameters["L_over_D"]
    flare = 0.12 if "flared" in say.kind else 0.0
    at = 0.45 * away if flare else 0.0
    mouth = 0.5 + flare
    _cone(axes, at, mouth)
    hood = at + away * gap
    roof = [hood, hood + 0.25 * away, hood]
    axes.plot(roof, [1.0, 0.0, -1.0], color=INK, lw=2.4)
    ends = np.array([at, -1.15]), np.array([hood, -1.15])
    dimension(axes, *ends, say.or_share("L", gap, "D", "length"))
    return at, mouth


def _wall(axes: Any, parameters: Mapping[str, float], say: Words, away: float) -> float:
    """Dimensions of a wall that the duct ends in or stands out of: where that is."""
    at = -parameters.get("L_over_D", 0.0) * away
    at = float(np.clip(at, -1.5, 1.5))
    words = say.or_share("t", parameters["t_over_D"], "D", "thickness")
    note(axes, np.array([at - 0.06 * away, 1.45]), f"wall {words}")
    if at != 0.0:  # below the wall
        low = -1.45
        axes.plot([0.0, 0.0], [-0.55, low - 0.05], color=QUIET, lw=0.7)
        axes.plot([at, at], [-1.35, low - 0.05], color=QUIET, lw=0.7)
        ends = np.array([min(at, 0.0), low]), np.array([max(at, 0.0), low])
        share = parameters["L_over_D"]
        dimension(axes, *ends, say.or_share("L", share, "D", "length"))
    return at


def _mouth(axes: Any, at: float, mouth: float, words: str) -> None:
    """The dimension of a mouth, on the side of the room."""
    away = float(np.sign(at))
    x = at + 0.15 * away
    ends = np.array([x, -mouth]), np.array([x, mouth])
    dimension(axes, *ends, words, "right" if away > 0.0 else "left")


def _cone(axes: Any, at: float, mouth: float) -> None:
    """Sides from the duct's end to a mouth."""
    axes.fill([0, at, at, 0], [0.5, mouth, -mouth, -0.5], color=DUCT)
    for sign in (1, -1):
        axes.plot([0.0, at], [sign * 0.5, sign * mouth], color=INK, lw=1.8)
