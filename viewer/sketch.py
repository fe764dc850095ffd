"""A small dimensioned sketch of a fitting, so that nobody swaps its sides."""

import textwrap
from collections.abc import Callable, Mapping
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from elbowroom.layout import refusal, units, writing

from .lettering import lettering

_INK, _QUIET, _DUCT, _AIR = "#1b1e23", "#5c636e", "#e6ebf0", "#21618c"
_LEG = 1.5  # straight duct drawn before and behind a fitting, over its width
_SMALL_PRINT = 4  # lines
_SHORT = 0.3  # a dimension in which no two arrows have room, over the duct's width
_DUCT_SIZES, _END_SIZES = ("diameter", "width"), ("outlet_diameter", "outlet_width")
Points = npt.NDArray[np.float64]


def sketch(result: Mapping[str, Any], written: Mapping[str, str], path: Path) -> None:
    """Draw the fitting of a desk calculation.

    Parameters
    ----------
    result
        As `desk.desk_result` gives it.
    written
        Dimensions as they were written, by name.
    path
        PNG or SVG to write; one that is there is replaced.

    Raises
    ------
    BadInput
        If there is no sketch of its kind, or the file cannot be written.
    """
    # Without a date and chance names in it, the same fitting gives the same bytes.
    no_date = {"Date": None} if path.suffix.lower() == ".svg" else None
    with (
        lettering("", **{"svg.hashsalt": "elbowroom", "svg.fonttype": "none"}),
        writing(path),
    ):
        sheet(result, written).savefig(path, dpi=150, metadata=no_date)


def sheet(result: Mapping[str, Any], written: Mapping[str, str]) -> Any:
    """The figure that `sketch` writes, with the same parameters."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=(8.0, 5.0), facecolor="white")
    FigureCanvasAgg(figure)
    main = figure.add_axes((0.17, 0.25, 0.48, 0.60))
    side = figure.add_axes((0.72, 0.36, 0.13, 0.42))
    for axes in (main, side):
        axes.set_aspect("equal")
        axes.axis("off")
    words = _Words(result["kind"], written)
    _drawing_of(result["kind"])(main, side, result["parameters"], words)
    for axes in (main, side):
        axes.autoscale_view()
        axes.margins(0.10)
    head = textwrap.fill(result["what"], 74)
    figure.text(0.03, 0.97, head, size=12, weight="bold", color=_INK, va="top")
    lines = caption(result)
    for row, (size, colour, line) in enumerate(reversed(lines)):
        figure.text(0.03, 0.025 + 0.036 * row, line, size=size, color=colour)
    figure.text(0.97, 0.025, "not to scale", size=8, color=_QUIET, ha="right")
    return figure


def caption(result: Mapping[str, Any]) -> list[tuple[float, str, str]]:
    """Lines below a sketch: size of the letters, colour, words."""
    given = ", ".join(_plain(k, v) for k, v in result["parameters"].items())
    rows = result["legs"] or [result]
    found = [
        f"C{' of the ' + row['leg'] if row.get('leg') else ''} = "
        f"{row['coefficient'] * row['reynolds_factor']:.3f}"
        for row in rows
    ]
    line = f"{', '.join(found)} on the {rows[0]['reference_velocity']} velocity"
    rests = dict.fromkeys(f"{row['source']} ({row['confidence']})" for row in rows)
    noted = [*(note for row in rows for note in row["notes"]), *result["notes"]]
    notes = [said for said in dict.fromkeys(noted) if "equivalent length" not in said]
    # Those of the look-up first: that it is outside the table matters most.
    notes.sort(key=lambda said: "was not given" in said)
    shown = [f"source: {source}" for source in rests]
    shown += [f"note: {note}" for note in notes]
    small = [part for text in shown for part in textwrap.wrap(text, 118)]
    if len(small) > _SMALL_PRINT:
        small = [*small[: _SMALL_PRINT - 1], "… more in what is printed"]
    first = [(9.0, _QUIET, given)] if given else []
    return [*first, (10.0, _INK, line), *((7.5, _QUIET, text) for text in small)]


class _Words:
    """Names of dimensions with the values that were written for them."""

    def __init__(self, kind: str, written: Mapping[str, str]) -> None:
        self.kind = kind
        self._written = written

    def __call__(self, letter: str, *names: str) -> str:
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
            self.ratio(_END_SIZES, _DUCT_SIZES),
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


_Draw = Callable[[Any, Any, Mapping[str, float], _Words], None]


def _plain(name: str, value: float) -> str:
    for ending, unit in (("_deg", "°"), ("_mm", " mm"), ("_m_s", " m/s")):
        if name.endswith(ending):
            stem = name.removesuffix(ending)
            return f"{stem.replace('_', ' ')} {value:.4g}{unit}"
    return f"{name.replace('_over_', '/').replace('_', ' ')} {value:.4g}"


def _drawing_of(kind: str) -> _Draw:
    for word, draw in (
        ("dovetail-converging", partial(_divided, True)),
        ("dovetail", partial(_divided, False)),
        ("wye-converging", partial(_divided, True)),
        ("symmetrical-wye", partial(_divided, False)),
        ("converging", partial(_junction, True)),
        ("junction", partial(_junction, False)),
        ("exit-after-elbow", partial(_elbow, "smooth")),
        ("smooth", partial(_elbow, "smooth")),
        ("square-throat", partial(_elbow, "smooth")),
        ("square-heel", partial(_elbow, "heel")),
        ("splitters", partial(_elbow, "splitters")),
        ("vanes", partial(_elbow, "vanes")),
        ("mitred", partial(_elbow, "mitred")),
        ("segmented", partial(_elbow, "pieces")),
        ("gore", partial(_elbow, "pieces")),
        ("elbow", partial(_elbow, "smooth")),
        ("contraction", partial(_transition, False)),
        ("expansion", partial(_transition, True)),
        ("change-of-shape", partial(_transition, None)),
        ("damper-gate", partial(_across, "gate")),
        ("fire-curtain", partial(_across, "curtain")),
        ("damper", partial(_across, "blade")),
        ("screen", partial(_across, "screen")),
        ("plate", partial(_across, "screen")),
        ("obstruction", partial(_across, "body")),
        ("entry", partial(_opening, True)),
        ("exit", partial(_opening, False)),
    ):
        if word in kind:
            return draw
    raise refusal(kind, "no sketch is known of this kind", "leave out --draw")


# --- elbows: the width lies in the plane of the paper, 1 in the sketch


def _elbow(
    making: str, main: Any, side: Any, parameters: Mapping[str, float], say: _Words
) -> None:
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
    ahead = _turned(np.array([1.0, 0.0]), turn)
    behind = parameters.get("L_after_over_W")  # of an open end
    longer = 0.0
    if behind is not None:
        behind = min(behind, 3.0)
        longer = behind - _LEG + (0.5 if radius == 0.0 else 0.0)
        for edge in (inner, outer):
            edge[-1] += longer * ahead
    main.fill(*np.concatenate([inner, outer[::-1]]).T, color=_DUCT)
    for edge in (inner, outer):
        main.plot(*edge.T, color=_INK, lw=1.8)
    if wide == 1.0:
        middle = _side(turn, radius, 0.0, pieces)
        middle[-1] += longer * ahead
        main.plot(*middle.T, color=_QUIET, lw=0.8, ls="-.")
    if making == "splitters":
        for place in _splitters(radius, int(parameters.get("splitter_count", 1))):
            main.plot(*_side(turn, radius, place, 0, 0.0).T, color=_INK, lw=1.2)
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
        _dimension(main, inner[-1] + above, outer[-1] + above, words, "above")
    if behind:
        far = outer[-1] - 0.15 * _turned(np.array([0.0, 1.0]), turn)
        words = say.or_share("L", behind, letter[0], "length")
        _dimension(main, far - behind * ahead, far, words, "right")
    _dimension(main, start - away - half, start - away + half, letter, "left")
    _arrow(main, start + away, start + away + np.array([0.7, 0.0]))
    if radius > 0.0:
        _radii(main, turn, radius, say)
    words = f"turn {np.degrees(turn):.4g}°"
    main.text(*turned, words, va="center", size=10, color=_INK, **side_words)
    if is_round:
        _circle(side, say("D", "diameter"))
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


def _radii(axes: Any, turn: float, radius: float, say: _Words) -> None:
    """Centre of a bend, and the radii from there: of the throat if that is given."""
    centre = np.array([-_reach(turn, radius), radius])
    axes.plot(*centre, "+", color=_INK, ms=9)
    along = say("r", "centreline_radius")
    if along == "r" and radius > 0.5 + 1e-9:
        out = _on_arc(centre, radius - 0.5, 0.25 * turn)
        _dimension(axes, centre, out, say("throat R", "radius"), "start")
    out = _on_arc(centre, radius, 0.7 * turn)
    _dimension(axes, centre, out, along, "end" if along == "r" else "start")


def _section(
    side: Any, parameters: Mapping[str, float], say: _Words, *, is_crowded: bool
) -> None:
    """Section of an elbow that is not round; its words below it if it is crowded."""
    aspect = say.ratio(("height",), ("width",))
    if aspect is None:
        aspect = parameters.get("H_over_W", parameters.get("H_over_W_in", 1.0))
    oval = say.kind.startswith("flat-oval")
    _box(side, aspect, say("W", "width"), say("H", "height"), oval)
    words = "section: W lies in the plane\nof the bend, H along its axis"
    if is_crowded:  # what stands beside the open end needs the room above
        side.annotate(
            words, (min(1.0, 1.0 / aspect) / 2, -0.12), (0, -24),
            textcoords="offset points", size=9, color=_QUIET,
            ha="center", va="top",
        )  # fmt: skip
    else:
        side.set_title(words, size=9, color=_QUIET)


def _reach(turn: float, radius: float) -> float:
    """From the corner of the centreline to where the bend begins."""
    return float(radius * np.tan(min(turn, np.radians(170)) / 2))


def _turned(points: Points, turn: float) -> Points:
    c, s = np.cos(turn), np.sin(turn)
    return np.asarray(points @ np.array([[c, s], [-s, c]]))


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
        last = _turned(np.array([[begin + length, offset]]), turn)
        return np.concatenate([first, corner, last])
    centre = np.array([-begin, radius])
    if pieces:
        # Tangents in the middle of each piece, half pieces at the ends.
        cuts = (np.arange(pieces - 1) + 0.5) * turn / (pieces - 1)
        far = own / np.cos(turn / (pieces - 1) / 2)
        arc = np.stack([_on_arc(centre, far, cut) for cut in cuts])
    else:
        steps = np.linspace(0.0, turn, 49)
        arc = np.stack([_on_arc(centre, max(own, 0.0), step) for step in steps])
    first = np.array([[-begin - length, offset]])
    last = _turned(np.array([[begin + length, offset]]), turn)
    return np.concatenate([first, arc, last])


def _on_arc(centre: Points, radius: float, angle: float) -> Points:
    return centre + radius * np.array([np.sin(angle), -np.cos(angle)])


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
        axes.plot(*(at + curve).T, color=_INK, lw=1.6)
    away = 0.3 * (ends[1] - ends[0]) / np.linalg.norm(ends[1] - ends[0])
    near = ends[0] + 0.82 * (ends[1] - ends[0])  # between two of them
    axes.plot(*np.stack([near, ends[1] + away]).T, color=_QUIET, lw=0.9, zorder=5)
    _note(axes, ends[1] + 1.2 * away, words, "left")


# --- transitions, junctions, ends, things in a duct


def _transition(
    grows: bool | None,
    main: Any,
    side: Any,
    parameters: Mapping[str, float],
    say: _Words,
) -> None:
    ratio = parameters.get("A_large_over_A_small")
    if ratio is None:
        ratio = 1.0 / max(parameters.get("A_small_over_A_large", 0.5), 0.04)
    if "one-plane" not in say.kind:
        ratio = float(np.sqrt(ratio))
    drawn = say.ratio(_END_SIZES, _DUCT_SIZES)
    if drawn is not None and grows is not None:
        ratio = max(drawn, 1.0 / drawn)
    big = min(ratio, 4.0) if grows is not None else 1.0
    one, two = (1.0, big) if grows or (drawn or 0.0) > 1.0 else (big, 1.0)
    sudden = "sudden" in say.kind
    angle = np.radians(parameters.get("angle_deg", 60.0))
    half = np.clip(angle / 2, np.radians(4), np.radians(90))
    run = abs(one - two) / 2 / np.tan(half) if grows is not None else 1.2
    run = 0.0 if sudden else max(run, 0.25)
    x = np.array([-1.4, 0.0, run, run + 1.4])
    y = np.array([one, one, two, two]) / 2
    main.fill(np.append(x, x[::-1]), np.append(y, -y[::-1]), color=_DUCT)
    for sign in (1, -1):
        main.plot(x, sign * y, color=_INK, lw=1.8)
    main.plot(x[[0, -1]], [0, 0], color=_QUIET, lw=0.8, ls="-.")
    _arrow(main, np.array([-1.2, 0.0]), np.array([-0.5, 0.0]))
    for at, tall, words, beside in (
        (x[0] - 0.15, one, say.across(), "left"),
        (x[-1] + 0.15, two, say.across(outlet=True), "right"),
    ):
        ends = np.array([at, -tall / 2]), np.array([at, tall / 2])
        _dimension(main, *ends, words, beside)
    low = -max(one, two) / 2 - 0.3
    if not sudden:
        ends = np.array([0.0, low]), np.array([run, low])
        _dimension(main, *ends, say("L", "length"))
    if "angle_deg" in parameters:
        words = say.angle(parameters["angle_deg"])
        main.text(run / 2, max(one, two) / 2 + 0.2, words, ha="center", color=_INK)
    if grows is None:
        side.set_title("one shape to another\nof the same area", size=9)


def _junction(
    joins: bool, main: Any, side: Any, parameters: Mapping[str, float], say: _Words
) -> None:
    kind = say.kind
    usual = 45.0 if "diverging-wye" in kind else 90.0
    turn = np.radians(np.clip(parameters.get("angle_deg", usual), 20.0, 160.0))
    ratio = float(np.sqrt(np.clip(parameters.get("Ab_over_Ac", 0.5), 0.1, 2.0)))
    drawn = say.ratio(_END_SIZES, _DUCT_SIZES)
    ratio = ratio if drawn is None else float(np.clip(drawn, 0.1, 2.0))
    straight = float(np.sqrt(np.clip(parameters.get("As_over_Ac", 1.0), 0.1, 2.0)))
    if "split-main" in kind:  # its two parts are all of it
        straight = float(np.sqrt(1.0 - parameters["Ab_over_Ac"]))
    flare = 0.25 if "conical" in kind else 0.0
    _branch(main, ratio, turn, flare)
    if "cross" in kind:
        other = np.sqrt(np.clip(parameters.get("Ab2_over_Ac", 0.5), 0.1, 2.0))
        _branch(main, float(other), -turn, flare)
    x = np.array([-2.2, 0.9, 1.1, 2.6])
    y = np.array([1.0, 1.0, straight, straight]) / 2
    main.fill(np.append(x, x[::-1]), np.append(y, -y[::-1]), color=_DUCT, zorder=3)
    for sign in (1, -1):
        main.plot(x, sign * y, color=_INK, lw=1.8, zorder=4)
    head = "<|-" if joins else "-|>"
    common = f"common\n{say('Qc', 'flow')}, Ac\n{say.across()}"
    for start, end, words, at, across in (
        ((-2.1, 0.0), (-1.3, 0.0), common, -2.35, "right"),
        ((1.6, 0.0), (2.4, 0.0), "straight\nQs, As", 2.75, "left"),
    ):
        _arrow(main, np.array(start), np.array(end), head)
        _note(main, np.array([at, 0.0]), words, across)
    branch = f"branch\n{say('Qb', 'branch_flow')}, Ab\n{say.across(outlet=True)}"
    legs = [(turn, branch)]
    if "cross" in kind:
        legs.append((-turn, "other branch\nQb2, Ab2"))
    for way, words in legs:
        out = _turned(np.array([[1.2, 0.0], [2.2, 0.0]]), way)
        _arrow(main, out[0], out[1], head)
        lean = float(np.cos(way))
        across = "center"
        if abs(lean) > 0.3:  # beside the end of a branch that leans
            across = "left" if lean > 0 else "right"
        far = 3.0 if across == "center" else 2.9
        _note(main, _turned(np.array([far, 0.0]), way), words, across)
    if "angle_deg" in parameters:
        steps = np.linspace(0.0, turn, 30)
        x, y = np.cos(steps), np.sin(steps)
        main.plot(x, y, color=_QUIET, lw=0.9, zorder=5)
        away = min(max(1.35, 0.75 / np.sin(turn / 2)), 2.2)  # clear of the main
        x, y = away * np.cos(turn / 2), away * np.sin(turn / 2)
        _note(main, np.array([x, y]), f"{parameters['angle_deg']:.4g}°")
    words = "Q airflow, A area:\nc common, s straight, b branch"
    side.set_title(words, size=9, color=_QUIET, x=0.85, y=-0.1)


def _branch(main: Any, ratio: float, turn: float, flare: float) -> None:
    """A branch off the middle of a main, wider at its foot if it is conical."""
    x = np.array([0.0, 0.55 + flare, 1.2 + flare, 2.5])
    y = np.array([ratio + 2 * flare, ratio + 2 * flare, ratio, ratio]) / 2
    upper, lower = (_turned(np.stack([x, sign * y], axis=1), turn) for sign in (1, -1))
    main.fill(*np.concatenate([upper, lower[::-1]]).T, color=_DUCT)
    for edge in (upper, lower):
        main.plot(*edge.T, color=_INK, lw=1.8)


def _divided(
    joins: bool, main: Any, side: Any, parameters: Mapping[str, float], say: _Words
) -> None:
    """A duct of which nothing goes straight on: two branches, one to each side."""
    back_to_back = "dovetail" in say.kind
    drawn = say.ratio(_END_SIZES, _DUCT_SIZES)
    ratio = float(np.sqrt(np.clip(parameters.get("Ab_over_Ac", 0.5), 0.1, 1.5)))
    if back_to_back:  # of the same height, side by side
        ratio = float(np.clip(parameters.get("Ab_over_Ac", 0.5), 0.1, 1.5))
    elif drawn is not None:
        ratio = float(np.clip(drawn, 0.1, 1.5))
    turn = np.radians(np.clip(parameters.get("angle_deg", 90.0), 20.0, 90.0))
    head = "<|-" if joins else "-|>"
    wall = 0.0  # where the common duct's walls end
    for sign in (1, -1):
        flip = np.array([1.0, sign])
        if back_to_back:
            edges, out, tip = _curved_branch(ratio, turn, flip)
        else:
            edges, out, tip = _leaning_branch(ratio, turn, flip)
            wall = float(edges[0][0, 0])
            foot = np.stack([edges[0][0], edges[1][0], [wall, 0.0]])
            main.fill(*foot.T, color=_DUCT, zorder=1)
        shape = np.concatenate([edges[0], edges[1][::-1]])
        main.fill(*shape.T, color=_DUCT, zorder=1)
        for edge in edges:
            main.plot(*edge.T, color=_INK, lw=1.8, zorder=2)
        _arrow(main, out, out + 0.9 * tip, head)
        words = "other branch\nQc - Qb, Ab"
        if sign > 0:
            own = say("Qb", "branch_flow")
            words = f"branch\n{own}, Ab\n{say.across(outlet=True)}"
        at = out + 1.15 * tip + np.array([0.55 + ratio / 2, 0.0])
        _note(main, at, words, "left")
    if "angle_deg" in parameters:
        crotch = 0.5 * ratio / np.sin(turn)
        steps = np.linspace(0.0, turn, 30)
        arc = (crotch + 0.35) * np.stack([np.cos(steps), np.sin(steps)])
        main.plot(*arc, color=_QUIET, lw=0.9, zorder=5)
        axis = [0.0, crotch + 0.45]
        main.plot(axis, [0.0, 0.0], color=_QUIET, lw=0.8, ls="-.", zorder=5)
        at = np.array([crotch + 0.5, 0.0])
        _note(main, at, f"{parameters['angle_deg']:.4g}°", "left")
    main.fill_between([-2.2, wall], -0.5, 0.5, color=_DUCT, zorder=1)
    for sign in (1, -1):
        main.plot([-2.2, wall], [sign * 0.5] * 2, color=_INK, lw=1.8, zorder=3)
    _arrow(main, np.array([-2.0, 0.0]), np.array([-1.2, 0.0]), head)
    common = f"common\n{say('Qc', 'flow')}, Ac\n{say.across()}"
    _note(main, np.array([-2.35, 0.0]), common, "right")
    words = "Q airflow, A area:\nc common, b branch"
    side.set_title(words, size=9, color=_QUIET, x=0.85, y=-0.1)


def _curved_branch(
    ratio: float, turn: float, flip: Points
) -> tuple[list[Points], Points, Points]:
    """One of two elbows that part a duct: its walls, its end and the way out of it."""
    steps = np.linspace(0.0, turn, 30)
    centre = np.array([0.0, 0.5 + ratio])
    far = np.array([[0.0, 0.9]])
    curves = [
        np.stack([_on_arc(centre, r, a) for r, a in zip(radii, steps, strict=True)])
        for radii in (np.full(30, ratio), np.linspace(0.5 + ratio, 2 * ratio, 30))
    ]
    edges = [np.concatenate([c, c[-1:] + far]) * flip for c in curves]
    return edges, (edges[0][-2] + edges[1][-2]) / 2, far[0] * flip


def _leaning_branch(
    ratio: float, turn: float, flip: Points
) -> tuple[list[Points], Points, Points]:
    """The same of a straight branch."""
    # Walls begin where they meet those of the duct and of the other branch.
    c, s, half = np.cos(turn), np.sin(turn), ratio / 2
    begins = (0.5 - half * c) / s, half * c / s
    edges = [
        _turned(np.array([[begin, side], [2.4, side]]), turn) * flip
        for begin, side in zip(begins, (half, -half), strict=True)
    ]
    way = _turned(np.array([1.0, 0.0]), turn) * flip
    return edges, 1.3 * way, 0.9 * way


def _note(axes: Any, at: Points, words: str, across: str = "center") -> None:
    axes.text(
        *at, words, ha=across, va="center", size=9, color=_INK, zorder=6,
        bbox={"facecolor": "white", "edgecolor": "none", "pad": 1},
    )  # fmt: skip
    axes.update_datalim([tuple(at)])


def _across(
    what: str, main: Any, side: Any, parameters: Mapping[str, float], say: _Words
) -> None:
    from matplotlib.patches import Circle

    _straight(main, -2.0, 2.0)
    _arrow(main, np.array([-1.8, 0.0]), np.array([-1.1, 0.0]))
    is_round = say.metres("diameter") is not None or "round" in say.kind
    name = say("D", "diameter") if is_round else say("H", "height")
    ends = np.array([-2.15, -0.5]), np.array([-2.15, 0.5])
    _dimension(main, *ends, name, "left")
    if what == "blade":
        usual = 0.0 if "fire" in say.kind else 30.0  # they stand open
        angle = np.radians(parameters.get("blade_angle_deg", usual))
        count = 1 if "butterfly" in say.kind else 3
        for row, place in enumerate((np.arange(count) - (count - 1) / 2) / count):
            sign = -1 if "opposed" in say.kind and row % 2 else 1
            tip = 0.48 / count * np.array([np.cos(angle), sign * np.sin(angle)])
            main.plot(
                [-tip[0], tip[0]], place + np.array([-tip[1], tip[1]]),
                color=_INK, lw=2.6,
            )  # fmt: skip
        if "blade_angle_deg" in parameters:
            main.plot([0, 0.9], [0, 0], color=_QUIET, lw=0.8, ls=":")
            words = f"{parameters['blade_angle_deg']:.4g}°, 0 is open"
            main.text(0.0, 0.62, words, ha="center", size=9, color=_INK)
    elif what == "curtain":
        low = 0.3 if parameters.get("in_airstream", 1.0) > 0.5 else 0.5
        main.fill_between([-0.1, 0.1], low, low + 0.2, color=_INK)
        main.text(0.0, 0.82, "folded curtain", ha="center", size=9, color=_INK)
    elif what == "gate":
        share = next((v for k, v in parameters.items() if k.startswith("h_")), 0.5)
        main.plot([0, 0], [-0.5 + share, 0.9], color=_INK, lw=3.0)
        ends = np.array([0.25, -0.5]), np.array([0.25, -0.5 + share])
        _dimension(main, *ends, f"open, {share:.3g} of it", "right")
    elif what == "screen":
        main.plot([0, 0], [-0.5, 0.5], color=_INK, lw=2.6, ls=(0, (1, 0.7)))
        if "free_area_ratio" in parameters:
            words = f"free area {parameters['free_area_ratio']:.3g}"
            main.text(0.0, 0.62, words, ha="center", size=9, color=_INK)
    else:
        share = min(next(iter(parameters.values()), 0.2), 0.8)
        radius = max(share, 0.06) / 2
        main.add_patch(Circle((0, 0), radius, facecolor=_QUIET, edgecolor=_INK))
        words = f"blocks {share:.3g}"
        main.text(0.0, 0.62, words, ha="center", size=9, color=_INK)
    if is_round:
        _circle(side, say("D", "diameter"))
    else:
        aspect = say.ratio(("height",), ("width",)) or 1.0
        _box(side, aspect, say("W", "width"), say("H", "height"))
    side.set_title("the velocity is that of the\nwhole duct", size=9, color=_QUIET)


def _opening(
    is_entry: bool, main: Any, side: Any, parameters: Mapping[str, float], say: _Words
) -> None:
    kind = say.kind
    away = -1.0 if is_entry else 1.0  # from the duct into the room
    far = -2.6 * away
    _straight(main, *sorted((0.0, far)))
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
            main.fill_between(sorted([at, at + thick]), low, high, color=_QUIET)
    begin = 2.0 if is_entry else -2.0
    step = 0.7
    _arrow(main, np.array([begin - step / 2, 0.0]), np.array([begin + step / 2, 0]))
    ends = np.array([far - 0.15 * away, -0.5]), np.array([far - 0.15 * away, 0.5])
    _dimension(main, *ends, say.across(), "right" if is_entry else "left")
    words = "air enters the duct" if is_entry else "air leaves the duct"
    side.set_title(words, size=9, color=_QUIET)


def _conical(
    axes: Any, parameters: Mapping[str, float], say: _Words, away: float
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
    _note(
        axes, np.array([-0.25 * away, 0.75]), say.angle(angle),
        "left" if away < 0.0 else "right",
    )  # fmt: skip
    words = say.across(outlet=True)
    if "=" not in words and area is not None:
        words = f"{area:.3g} × the area\nof the duct"
    if "=" in words or area is not None:
        _mouth(axes, at, mouth, f"mouth\n{words}")
    below = -mouth - (0.95 if say.kind == "entry-conical" else 0.25)
    axes.plot([0.0, 0.0], [-0.55, below - 0.05], color=_QUIET, lw=0.7)
    axes.plot([at, at], [-mouth - 0.05, below - 0.05], color=_QUIET, lw=0.7)
    share = parameters.get("L_over_D")
    words = say("L", "length")
    if share is not None:
        words = say.or_share("L", share, "D", "length")
    ends = np.array([min(at, 0.0), below]), np.array([max(at, 0.0), below])
    _dimension(axes, *ends, words)
    return at, mouth


def _bellmouth(
    axes: Any, parameters: Mapping[str, float], say: _Words, away: float
) -> tuple[float, float]:
    """A rounded edge; returns as `_conical` does."""
    bell = max(min(parameters["r_over_D"], 0.6), 0.03)
    steps = np.linspace(0, np.pi / 2, 20)
    x = away * bell * np.sin(steps)
    y = 0.5 + bell * (1 - np.cos(steps))
    axes.fill_between(x, -y, y, color=_DUCT)
    for sign in (1, -1):
        axes.plot(x, sign * y, color=_INK, lw=1.8)
    words = say.or_share("r", parameters["r_over_D"], "D", "radius")
    corner = np.array([0.25, 0.5 + bell + 0.12])
    _note(axes, corner, words, "left")
    return away * bell, 0.5 + bell


def _capped(
    axes: Any, parameters: Mapping[str, float], say: _Words, away: float
) -> tuple[float, float]:
    """A cap before the opening; returns as `_conical` does."""
    gap = parameters["L_over_D"]
    flare = 0.12 if "flared" in say.kind else 0.0
    at = 0.45 * away if flare else 0.0
    mouth = 0.5 + flare
    _cone(axes, at, mouth)
    hood = at + away * gap
    roof = [hood, hood + 0.25 * away, hood]
    axes.plot(roof, [1.0, 0.0, -1.0], color=_INK, lw=2.4)
    ends = np.array([at, -1.15]), np.array([hood, -1.15])
    _dimension(axes, *ends, say.or_share("L", gap, "D", "length"))
    return at, mouth


def _wall(
    axes: Any, parameters: Mapping[str, float], say: _Words, away: float
) -> float:
    """Dimensions of a wall that the duct ends in or stands out of: where that is."""
    at = -parameters.get("L_over_D", 0.0) * away
    at = float(np.clip(at, -1.5, 1.5))
    words = say.or_share("t", parameters["t_over_D"], "D", "thickness")
    _note(axes, np.array([at - 0.06 * away, 1.45]), f"wall {words}")
    if at != 0.0:  # below the wall
        low = -1.45
        axes.plot([0.0, 0.0], [-0.55, low - 0.05], color=_QUIET, lw=0.7)
        axes.plot([at, at], [-1.35, low - 0.05], color=_QUIET, lw=0.7)
        ends = np.array([min(at, 0.0), low]), np.array([max(at, 0.0), low])
        share = parameters["L_over_D"]
        _dimension(axes, *ends, say.or_share("L", share, "D", "length"))
    return at


def _mouth(axes: Any, at: float, mouth: float, words: str) -> None:
    """The dimension of a mouth, on the side of the room."""
    away = float(np.sign(at))
    x = at + 0.15 * away
    ends = np.array([x, -mouth]), np.array([x, mouth])
    _dimension(axes, *ends, words, "right" if away > 0.0 else "left")


def _cone(axes: Any, at: float, mouth: float) -> None:
    """Sides from the duct's end to a mouth."""
    axes.fill([0, at, at, 0], [0.5, mouth, -mouth, -0.5], color=_DUCT)
    for sign in (1, -1):
        axes.plot([0.0, at], [sign * 0.5, sign * mouth], color=_INK, lw=1.8)


def _straight(axes: Any, begin: float, end: float) -> None:
    axes.fill_between([begin, end], -0.5, 0.5, color=_DUCT)
    for y in (0.5, -0.5):
        axes.plot([begin, end], [y, y], color=_INK, lw=1.8)


def _box(
    axes: Any, aspect: float, width: str, height: str, is_oval: bool = False
) -> None:
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
    axes.fill(*outline.T, facecolor=_DUCT, edgecolor=_INK, lw=1.8)
    low = np.array([0.0, -0.12])
    _dimension(axes, low, low + np.array([w, 0.0]), width, "below")
    right = np.array([w + 0.12, 0.0])
    _dimension(axes, right, right + np.array([0.0, h]), height, "right")


def _circle(axes: Any, words: str) -> None:
    from matplotlib.patches import Circle

    axes.add_patch(
        Circle((0.5, 0.5), 0.5, facecolor=_DUCT, edgecolor=_INK, linewidth=1.8)
    )
    axes.update_datalim([(0, 0), (1, 1)])
    ends = np.array([0.0, -0.12]), np.array([1.0, -0.12])
    _dimension(axes, *ends, words, "below")


def _arrow(axes: Any, start: Points, end: Points, head: str = "-|>") -> None:
    axes.annotate(
        "", tuple(end), tuple(start), zorder=7,
        arrowprops={"arrowstyle": head, "color": _AIR, "lw": 2.4},
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


def _dimension(
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
                "color": _QUIET,
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
        color=_INK,
        zorder=8,
        ha=across,
        va=upright,
        bbox={"facecolor": "white", "edgecolor": "none", "alpha": 0.75, "pad": 1},
    )
    axes.update_datalim([tuple(start), tuple(end)])
