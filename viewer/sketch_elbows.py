"""Sketches of elbows: the width lies in the plane of the paper, 1 in the sketch."""

from collections.abc import Mapping
from typing import Any

import numpy as np

from .colours import INK, QUIET
from .sketch_parts import (
    DUCT,
    Points,
    Words,
    arrow,
    box,
    circle,
    dimension,
    note,
    on_arc,
    rotated,
)

_LEG = 1.5  # straight duct drawn before and behind a fitting, over its width


def elbow(
    making: str, main: Any, side: Any, parameters: Mapping[str, float], say: Words
) -> None:
    """Draw an elbow; `making` is how it is made: smooth, mitred, pieces ..."""
    turn = np.radians(parameters.get("angle_deg", 90.0))
    kind = say.kind
    radius = _elbow_radius(making, kind, parameters)
    is_round = kind.startswith("round") or say.metres("diameter") is not None
    pieces = 0
    if making == "pieces":
        gores = next((n for n in (3, 5, 7) if f"{n}-gore" in kind), 5)
        pieces = int(parameters.get("pieces", gores))
    wide = parameters.get("W_out_over_W_in", 1.0)
    inner = _side(turn, radius, 0.5, pieces)
    outer = _side(turn, radius, -0.5, pieces)
    if making == "heel":
        outer = _side(turn, 0.0, -0.5, 0, reach=radius)
    if wide != 1.0:  # a mitred turn of 90 degrees: the heel stays where it is
        inner[1:, 0] += 1.0 - wide
    ahead = rotated(np.array([1.0, 0.0]), turn)
    behind = parameters.get("L_after_over_W")  # of an open end
    longer = 0.0
    if behind is not None:
        behind = min(behind, 3.0)
        longer = behind - _LEG + (0.5 if radius == 0.0 else 0.0)
        for edge in (inner, outer):
            edge[-1] += longer * ahead
    main.fill(*np.concatenate([inner, outer[::-1]]).T, color=DUCT)
    for edge in (inner, outer):
        main.plot(*edge.T, color=INK, lw=1.8)
    if wide == 1.0:
        middle = _side(turn, radius, 0.0, pieces)
        middle[-1] += longer * ahead
        main.plot(*middle.T, color=QUIET, lw=0.8, ls="-.")
    if making == "splitters":
        for place in _splitters(radius, int(parameters.get("splitter_count", 1))):
            main.plot(*_side(turn, radius, place, 0, 0.0).T, color=INK, lw=1.2)
    if making == "vanes":
        apart = f"{parameters['vane_spacing_mm']:.4g} mm"
        _vanes(main, turn, f"vanes apart by\n{say.written('spacing') or apart}")
    start = inner[0] - np.array([0.0, 0.5])
    away = np.array([0.15, 0.0])
    half = np.array([0.0, 0.5])
    letter = say("D", "diameter") if is_round else say("W", "width")
    turned = (_reach(turn, radius) + _LEG + longer + 0.35) * ahead
    side_words = {"ha": "center"}
    if "W_out_over_W_in" in parameters:
        turned, side_words = outer[1] + np.array([0.2, 1.0]), {"ha": "left"}
        above = np.array([0.0, 0.15])
        words = say.or_share("W of the outlet", wide, "W", "outlet_width")
        dimension(main, inner[-1] + above, outer[-1] + above, words, "above")
    if behind:
        far = outer[-1] - 0.15 * rotated(np.array([0.0, 1.0]), turn)
        words = say.or_share("L", behind, letter[0], "length")
        dimension(main, far - behind * ahead, far, words, "right")
    dimension(main, start - away - half, start - away + half, letter, "left")
    arrow(main, start + away, start + away + np.array([0.7, 0.0]))
    if radius > 0.0:
        _radii(main, turn, radius, say)
    words = f"turn {np.degrees(turn):.4g}°"
    main.text(*turned, words, va="center", size=10, color=INK, **side_words)
    if is_round:
        circle(side, say("D", "diameter"))
    else:
        _section(side, parameters, say, is_crowded=bool(behind))


def _elbow_radius(making: str, kind: str, parameters: Mapping[str, float]) -> float:
    """Radius of the centreline over the width, as it is drawn; 0 for a sharp corner."""
    radius = parameters.get("r_over_W", parameters.get("r_over_D", 0.0))
    if "by-diameter" in kind:
        radius = 2.5 if "7-gore" in kind else 1.5
    if "throat_R_over_W" in parameters:
        radius = parameters["throat_R_over_W"] + 0.5
    if making in ("mitred", "vanes") or (radius == 0.0 and "exit" in kind):
        return 0.0
    return min(radius or 0.5, 6.0)


def _radii(axes: Any, turn: float, radius: float, say: Words) -> None:
    """Centre of a bend, and the radii from there: of the throat if that is given."""
    centre = np.array([-_reach(turn, radius), radius])
    axes.plot(*centre, "+", color=INK, ms=9)
    along = say("r", "centreline_radius")
    if along == "r" and radius > 0.5 + 1e-9:
        out = on_arc(centre, radius - 0.5, 0.25 * turn)
        dimension(axes, centre, out, say("throat R", "radius"), "start")
    out = on_arc(centre, radius, 0.7 * turn)
    dimension(axes, centre, out, along, "end" if along == "r" else "start")


def _section(
    side: Any, parameters: Mapping[str, float], say: Words, *, is_crowded: bool
) -> None:
    """Section of an elbow that is not round; its words below it if it is crowded."""
    aspect = say.ratio(("height",), ("width",))
    if aspect is None:
        aspect = parameters.get("H_over_W", parameters.get("H_over_W_in", 1.0))
    oval = say.kind.startswith("flat-oval")
    box(side, aspect, say("W", "width"), say("H", "height"), oval)
    words = "section: W lies in the plane\nof the bend, H along its axis"
    if is_crowded:  # what stands beside the open end needs the room above
        side.annotate(
            words, (min(1.0, 1.0 / aspect) / 2, -0.12), (0, -24),
            textcoords="offset points", size=9, color=QUIET,
            ha="center", va="top",
        )  # fmt: skip
    else:
        side.set_title(words, size=9, color=QUIET)


def _reach(turn: float, radius: float) -> float:
    """From the corner of the centreline to where the bend begins."""
    return float(radius * np.tan(min(turn, np.radians(170)) / 2))


def _side(
    turn: float, radius: float, offset: float, pieces: int, leg: float = _LEG,
    reach: float | None = None,
) -> Points:  # fmt: skip
    """Line at an offset from the centreline, to the inside above zero."""
    own = radius - offset
    begin = _reach(turn, radius)
    length = leg + (0.0 if reach is None else _reach(turn, reach) - begin)
    if radius == 0.0:
        # Both legs to the mitre line.
        shift = offset * np.tan(min(turn, np.radians(170)) / 2)
        corner = np.array([[-shift, offset]])
        first = np.array([[-begin - length, offset]])
        last = rotated(np.array([[begin + length, offset]]), turn)
        return np.concatenate([first, corner, last])
    centre = np.array([-begin, radius])
    if pieces:
        # Tangents in the middle of each piece, half pieces at the ends.
        cuts = (np.arange(pieces - 1) + 0.5) * turn / (pieces - 1)
        far = own / np.cos(turn / (pieces - 1) / 2)
        arc = np.stack([on_arc(centre, far, cut) for cut in cuts])
    else:
        steps = np.linspace(0.0, turn, 49)
        arc = np.stack([on_arc(centre, max(own, 0.0), step) for step in steps])
    first = np.array([[-begin - length, offset]])
    last = rotated(np.array([[begin + length, offset]]), turn)
    return np.concatenate([first, arc, last])


def _splitters(radius: float, count: int) -> list[float]:
    """Offsets of splitter vanes: radii in a constant ratio from throat to heel."""
    throat, heel = radius - 0.5, radius + 0.5
    ratio = (throat / heel) ** (1.0 / (count + 1))
    return [radius - throat / ratio ** (number + 1) for number in range(count)]


def _vanes(axes: Any, turn: float, words: str) -> None:
    """Vanes along the mitre line, with words on their distance beyond the heel."""
    ends = _side(turn, 0.0, 0.5, 0)[1], _side(turn, 0.0, -0.5, 0)[1]
    for share in np.linspace(0.12, 0.88, 7):
        at = ends[0] + share * (ends[1] - ends[0])
        steps = np.linspace(0.0, turn, 15)
        curve = 0.13 * np.stack([np.sin(steps), -np.cos(steps)], axis=1)
        curve -= curve.mean(axis=0)
        axes.plot(*(at + curve).T, color=INK, lw=1.6)
    away = 0.3 * (ends[1] - ends[0]) / np.linalg.norm(ends[1] - ends[0])
    near = ends[0] + 0.82 * (ends[1] - ends[0])  # between two of them
    axes.plot(*np.stack([near, ends[1] + away]).T, color=QUIET, lw=0.9, zorder=5)
    note(axes, ends[1] + 1.2 * away, words, "left")
