"""A small dimensioned sketch of a fitting, so that nobody swaps its sides."""

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from elbowroom.layout import writing

_INK, _QUIET, _DUCT, _AIR = "#1b1e23", "#5c636e", "#e6ebf0", "#21618c"
_LEG = 1.5  # straight duct drawn before and behind a fitting, over its width
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
        If the file cannot be written.
    """
    from matplotlib import rc_context
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=(8.0, 4.6), facecolor="white")
    FigureCanvasAgg(figure)
    main = figure.add_axes((0.03, 0.14, 0.64, 0.72))
    side = figure.add_axes((0.70, 0.30, 0.27, 0.50))
    for axes in (main, side):
        axes.set_aspect("equal")
        axes.axis("off")
    say = _Words(written)
    _drawing_of(result["kind"])(main, side, result["parameters"], say)
    for axes in (main, side):
        axes.autoscale_view()
        axes.margins(0.12)
    figure.text(0.03, 0.93, result["what"], size=12, weight="bold", color=_INK)
    given = ", ".join(f"{_plain(k)} {v:.4g}" for k, v in result["parameters"].items())
    total = result["coefficient"] * result["reynolds_factor"]
    line = f"C = {total:.3f} on the {result['reference_velocity']} velocity"
    figure.text(0.03, 0.075, given, size=9, color=_QUIET)
    figure.text(0.03, 0.025, line, size=10, color=_INK)
    # Without a date and chance names in it, the same fitting gives the same bytes.
    no_date = {"Date": None} if path.suffix.lower() == ".svg" else None
    with (
        rc_context({"svg.hashsalt": "elbowroom", "svg.fonttype": "none"}),
        writing(path),
    ):
        figure.savefig(path, dpi=150, metadata=no_date)


class _Words:
    """Name of a dimension with the value that was written for it."""

    def __init__(self, written: Mapping[str, str]) -> None:
        self._written = written

    def __call__(self, letter: str, *names: str) -> str:
        for name in names:
            if name in self._written:
                return f"{letter} = {self._written[name]}"
        return letter


_Draw = Callable[[Any, Any, Mapping[str, float], _Words], None]


def _plain(name: str) -> str:
    return name.replace("_over_", "/").replace("_deg", " in °").replace("_", " ")


def _drawing_of(kind: str) -> _Draw:
    for word, draw in (
        ("converging", _junction(True)),
        ("junction", _junction(False)),
        ("exit-after-elbow", _elbow("smooth")),
        ("smooth", _elbow("smooth")),
        ("square-throat", _elbow("smooth")),
        ("square-heel", _elbow("heel")),
        ("splitters", _elbow("splitters")),
        ("vanes", _elbow("vanes")),
        ("mitred", _elbow("mitred")),
        ("segmented", _elbow("pieces")),
        ("gore", _elbow("pieces")),
        ("elbow", _elbow("smooth")),
        ("contraction", _transition(False)),
        ("expansion", _transition(True)),
        ("change-of-shape", _transition(None)),
        ("damper-gate", _across("gate")),
        ("damper", _across("blade")),
        ("screen", _across("screen")),
        ("plate", _across("screen")),
        ("obstruction", _across("body")),
        ("entry", _opening(True)),
        ("exit", _opening(False)),
    ):
        if word in kind:
            return draw
    raise ValueError(f"no sketch for {kind}")


# --- elbows: the width lies in the plane of the paper, 1 in the sketch


def _elbow(making: str) -> _Draw:
    def draw(
        main: Any, side: Any, parameters: Mapping[str, float], say: _Words
    ) -> None:
        turn = np.radians(parameters.get("angle_deg", 90.0))
        radius = parameters.get("r_over_W", parameters.get("r_over_D", 0.0))
        if "throat_R_over_W" in parameters:
            radius = parameters["throat_R_over_W"] + 0.5
        if making in ("mitred", "vanes"):
            radius = 0.0
        elif radius == 0.0:
            radius = 1.5 if making == "pieces" else 0.5
        radius = min(radius, 6.0)
        is_round = "H_over_W" not in parameters and "r_over_W" not in parameters
        is_round = is_round and "vane_spacing_mm" not in parameters
        is_round = is_round and "W_out_over_W_in" not in parameters
        pieces = int(parameters.get("pieces", 5)) if making == "pieces" else 0
        inner = _side(turn, radius, 0.5, pieces)
        outer = _side(turn, radius, -0.5, pieces)
        if making == "heel":
            outer = _side(turn, 0.0, -0.5, 0, reach=radius)
        main.fill(*np.concatenate([inner, outer[::-1]]).T, color=_DUCT)
        for edge in (inner, outer):
            main.plot(*edge.T, color=_INK, lw=1.8)
        main.plot(*_side(turn, radius, 0.0, pieces).T, color=_QUIET, lw=0.8, ls="-.")
        if making == "splitters":
            for place in _splitters(radius, int(parameters.get("splitter_count", 1))):
                main.plot(*_side(turn, radius, place, 0, 0.0).T, color=_INK, lw=1.2)
        if making == "vanes":
            _vanes(main, turn)
        start = np.array([-_LEG - _reach(turn, radius), 0.0])
        _dimension(
            main, start + np.array([-0.15, -0.5]), start + np.array([-0.15, 0.5]),
            say("D", "diameter") if is_round else say("W", "width"),
        )  # fmt: skip
        _arrow(main, start - np.array([0.9, 0.0]), start - np.array([0.4, 0.0]))
        if radius > 0.0:
            centre = np.array([-_reach(turn, radius), radius])
            main.plot(*centre, "+", color=_INK, ms=9)
            if radius > 0.5 + 1e-9:
                out = _on_arc(centre, radius - 0.5, 0.25 * turn)
                _dimension(main, centre, out, say("throat R", "radius"), "-|>", "start")
            out = _on_arc(centre, radius, 0.7 * turn)
            _dimension(main, centre, out, say("r", "centreline_radius"), "-|>", "end")
        words = f"turn {np.degrees(turn):.4g}°"
        x, y = _turned(np.array([_reach(turn, radius) + _LEG + 0.3, 0.0]), turn)
        main.text(x, y, words, ha="center", va="center", size=10, color=_INK)
        aspect = parameters.get("H_over_W", parameters.get("H_over_W_in", 1.0))
        if is_round:
            _circle(side, say("D", "diameter"))
        else:
            _box(side, aspect, say("W", "width"), say("H", "height"))
            side.set_title(
                "section: W lies in the plane\nof the bend, H along its axis",
                size=9, color=_QUIET,
            )  # fmt: skip

    return draw


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


def _vanes(axes: Any, turn: float) -> None:
    ends = _side(turn, 0.0, 0.5, 0)[1], _side(turn, 0.0, -0.5, 0)[1]
    for share in np.linspace(0.12, 0.88, 7):
        at = ends[0] + share * (ends[1] - ends[0])
        steps = np.linspace(0.0, turn, 15)
        curve = 0.13 * np.stack([np.sin(steps), -np.cos(steps)], axis=1)
        curve -= curve.mean(axis=0)
        axes.plot(*(at + curve).T, color=_INK, lw=1.6)


# --- transitions, junctions, ends, things in a duct


def _transition(
    grows: bool | None,
) -> _Draw:
    def draw(
        main: Any, side: Any, parameters: Mapping[str, float], say: _Words
    ) -> None:
        ratio = parameters.get("A_large_over_A_small")
        if ratio is None:
            ratio = 1.0 / max(parameters.get("A_small_over_A_large", 0.5), 0.04)
        big = min(float(np.sqrt(ratio)), 3.0) if grows is not None else 1.0
        one, two = (1.0, big) if grows else (big, 1.0)
        angle = np.radians(parameters.get("angle_deg", 60.0))
        half = np.clip(angle / 2, np.radians(4), np.radians(90))
        run = abs(one - two) / 2 / np.tan(half) if grows is not None else 1.2
        x = np.array([-1.2, 0.0, run, run + 1.2])
        y = np.array([one, one, two, two]) / 2
        main.fill(np.append(x, x[::-1]), np.append(y, -y[::-1]), color=_DUCT)
        for sign in (1, -1):
            main.plot(x, sign * y, color=_INK, lw=1.8)
        main.plot(x[[0, -1]], [0, 0], color=_QUIET, lw=0.8, ls="-.")
        _arrow(main, np.array([-2.1, 0.0]), np.array([-1.5, 0.0]))
        _dimension(
            main, np.array([-0.9, -one / 2]), np.array([-0.9, one / 2]),
            say("inlet", "diameter", "width"),
        )  # fmt: skip
        _dimension(
            main, np.array([run + 0.9, -two / 2]), np.array([run + 0.9, two / 2]),
            say("outlet", "outlet_diameter", "outlet_width"),
        )  # fmt: skip
        low = -max(one, two) / 2 - 0.3
        _dimension(main, np.array([0.0, low]), np.array([run, low]), say("L", "length"))
        if "angle_deg" in parameters:
            words = say(f"included angle {parameters['angle_deg']:.4g}°", "angle")
            main.text(run / 2, max(one, two) / 2 + 0.2, words, ha="center", color=_INK)
        if grows is None:
            side.set_title("one shape to another\nof the same area", size=9)

    return draw


def _junction(
    joins: bool,
) -> _Draw:
    def draw(
        main: Any, side: Any, parameters: Mapping[str, float], say: _Words
    ) -> None:
        turn = np.radians(np.clip(parameters.get("angle_deg", 90.0), 20.0, 160.0))
        ratio = float(np.sqrt(np.clip(parameters.get("Ab_over_Ac", 0.5), 0.1, 2.0)))
        straight = float(np.sqrt(np.clip(parameters.get("As_over_Ac", 1.0), 0.1, 2.0)))
        branch = np.array(
            [[0.0, ratio / 2], [2.4, ratio / 2], [2.4, -ratio / 2], [0.0, -ratio / 2]]
        )
        branch = _turned(branch, turn)
        x = np.array([-2.2, 0.9, 1.1, 2.6])
        y = np.array([1.0, 1.0, straight, straight]) / 2
        main.fill(*branch.T, color=_DUCT)
        main.plot(*branch[:2].T, color=_INK, lw=1.8)
        main.plot(*branch[2:].T, color=_INK, lw=1.8)
        main.fill(np.append(x, x[::-1]), np.append(y, -y[::-1]), color=_DUCT, zorder=3)
        for sign in (1, -1):
            main.plot(x, sign * y, color=_INK, lw=1.8, zorder=4)
        head = "<|-" if joins else "-|>"
        for start, end, words in (
            ((-2.1, 0.0), (-1.3, 0.0), f"common\n{say('Qc', 'flow')}, Ac"),
            ((1.5, 0.0), (2.4, 0.0), "straight\nQs, As"),
        ):
            _arrow(main, np.array(start), np.array(end), head)
            middle = (start[0] + end[0]) / 2
            main.text(
                middle,
                -0.72,
                words,
                ha="center",
                va="top",
                size=9,
                color=_INK,
                zorder=6,
            )
        out = _turned(np.array([[1.2, 0.0], [2.2, 0.0]]), turn)
        _arrow(main, out[0], out[1], head)
        words = f"branch\n{say('Qb', 'branch_flow')}, Ab"
        at = _turned(np.array([2.9, 0.0]), turn)
        main.text(*at, words, ha="center", va="center", size=9, color=_INK)
        if "angle_deg" in parameters:
            steps = np.linspace(0.0, turn, 30)
            main.plot(
                0.75 * np.cos(steps),
                0.75 * np.sin(steps),
                color=_QUIET,
                lw=0.9,
                zorder=5,
            )
            main.text(
                0.95,
                0.62,
                f"{parameters['angle_deg']:.4g}°",
                size=9,
                color=_INK,
                zorder=6,
            )
        side.set_title(
            "Q airflow, A area:\nc common, s straight, b branch", size=9, color=_QUIET
        )

    return draw


def _across(what: str) -> _Draw:
    def draw(
        main: Any, side: Any, parameters: Mapping[str, float], say: _Words
    ) -> None:
        _straight(main, -2.0, 2.0)
        _arrow(main, np.array([-2.8, 0.0]), np.array([-2.2, 0.0]))
        name = say("D", "diameter") if "height" not in say._written else say("W")
        _dimension(main, np.array([-1.5, -0.5]), np.array([-1.5, 0.5]), name)
        if what == "blade":
            angle = np.radians(parameters.get("blade_angle_deg", 30.0))
            count = 3 if "L_over_R" in parameters else 1
            for place in (np.arange(count) - (count - 1) / 2) / count:
                tip = 0.48 / count * np.array([np.cos(angle), np.sin(angle)])
                main.plot(
                    [-tip[0], tip[0]], place + np.array([-tip[1], tip[1]]),
                    color=_INK, lw=2.6,
                )  # fmt: skip
            main.plot([0, 0.9], [0, 0], color=_QUIET, lw=0.8, ls=":")
            if "blade_angle_deg" in parameters:
                words = f"{parameters['blade_angle_deg']:.4g}°, 0 is open"
                main.text(0.55, 0.12, words, size=9, color=_INK)
        elif what == "gate":
            share = next(
                (v for k, v in parameters.items() if k.startswith("open")), 0.5
            )
            main.plot([0, 0], [-0.5 + share, 0.9], color=_INK, lw=3.0)
            _dimension(
                main, np.array([0.25, -0.5]), np.array([0.25, -0.5 + share]), "open h"
            )
        elif what == "screen":
            main.plot([0, 0], [-0.5, 0.5], color=_INK, lw=2.6, ls=(0, (1, 0.7)))
            if "free_area_ratio" in parameters:
                words = f"free area {parameters['free_area_ratio']:.3g}"
                main.text(0.0, 0.62, words, ha="center", size=9, color=_INK)
        else:
            share = min(next(iter(parameters.values()), 0.2), 0.8)
            main.add_patch(_disc(0.0, 0.0, max(share, 0.06) / 2))
            main.text(0.0, 0.62, "blocked share", ha="center", size=9, color=_INK)
        side.set_title("the velocity is that of the\nwhole duct", size=9, color=_QUIET)

    return draw


def _opening(
    is_entry: bool,
) -> _Draw:
    def draw(
        main: Any, side: Any, parameters: Mapping[str, float], say: _Words
    ) -> None:
        ends = (0.0, 2.6) if is_entry else (-2.6, 0.0)
        _straight(main, *ends)
        lead = np.array([-1.0, 0.0]) if is_entry else np.array([0.2, 0.0])
        _arrow(main, lead, lead + np.array([0.8, 0.0]))
        mouth = 0.5
        away = -1.0 if is_entry else 1.0
        angle = parameters.get("angle_deg", parameters.get("major_angle_deg"))
        if angle is not None and angle > 0:
            half = np.radians(min(angle, 150.0)) / 2
            long = min(0.7, 0.7 / max(np.tan(half), 0.4))
            mouth = 0.5 + long * np.tan(half)
            for sign in (1, -1):
                main.plot(
                    [0.0, away * long], [sign * 0.5, sign * mouth], color=_INK, lw=1.8
                )
            main.text(
                away * long, mouth + 0.12, say(f"{angle:.4g}°", "angle"), ha="center",
                size=9, color=_INK,
            )  # fmt: skip
        if "r_over_D" in parameters:
            steps = np.linspace(0, np.pi / 2, 20)
            bell = min(parameters["r_over_D"], 0.5)
            for sign in (1, -1):
                main.plot(
                    away * bell * np.sin(steps),
                    sign * (0.5 + bell * (1 - np.cos(steps))),
                    color=_INK,
                    lw=1.8,
                )
            main.text(away * bell, 0.62 + bell, "r", ha="center", size=9, color=_INK)
        middle = 1.6 if is_entry else -1.6
        _dimension(
            main, np.array([middle, -0.5]), np.array([middle, 0.5]),
            say("D", "diameter", "width"),
        )  # fmt: skip
        if "t_over_D" in parameters:
            for low, high in ((0.5, 1.3), (-1.3, -0.5)):
                main.fill_between([0.0, 0.12], low, high, color=_QUIET)
        words = "air enters the duct" if is_entry else "air leaves the duct"
        side.set_title(words, size=9, color=_QUIET)

    return draw


def _straight(axes: Any, begin: float, end: float) -> None:
    axes.fill_between([begin, end], -0.5, 0.5, color=_DUCT)
    for y in (0.5, -0.5):
        axes.plot([begin, end], [y, y], color=_INK, lw=1.8)


def _disc(x: float, y: float, radius: float) -> Any:
    from matplotlib.patches import Circle

    return Circle((x, y), radius, facecolor=_QUIET, edgecolor=_INK)


def _box(axes: Any, aspect: float, width: str, height: str) -> None:
    scale = 1.0 / max(1.0, aspect)
    w, h = scale, aspect * scale
    axes.fill([0, w, w, 0], [0, 0, h, h], facecolor=_DUCT, edgecolor=_INK, lw=1.8)
    _dimension(axes, np.array([0.0, -0.15]), np.array([w, -0.15]), width)
    _dimension(axes, np.array([w + 0.15, 0.0]), np.array([w + 0.15, h]), height)


def _circle(axes: Any, words: str) -> None:
    from matplotlib.patches import Circle

    axes.add_patch(
        Circle((0.5, 0.5), 0.5, facecolor=_DUCT, edgecolor=_INK, linewidth=1.8)
    )
    _dimension(axes, np.array([0.0, -0.15]), np.array([1.0, -0.15]), words)


def _arrow(axes: Any, start: Points, end: Points, head: str = "-|>") -> None:
    axes.annotate(
        "", tuple(end), tuple(start), zorder=7,
        arrowprops={"arrowstyle": head, "color": _AIR, "lw": 2.4},
    )  # fmt: skip
    axes.update_datalim([tuple(start), tuple(end)])


def _dimension(
    axes: Any,
    start: Points,
    end: Points,
    words: str,
    ends: str = "<|-|>",
    beside: str = "middle",
) -> None:
    """A dimension line with its words along it, or beside its start."""
    axes.annotate(
        "",
        tuple(end),
        tuple(start),
        zorder=7,
        arrowprops={
            "arrowstyle": ends,
            "color": _QUIET,
            "lw": 1.0,
            "shrinkA": 0,
            "shrinkB": 0,
        },
    )
    upright = abs(end[0] - start[0]) < 1e-6
    place, shift, across = (start + end) / 2, (0.0, 5.0), "center"
    if beside == "start":
        place, shift, across = start, (-8.0, 0.0), "right"
    elif beside == "end":
        place, shift, across = end, (6.0, 6.0), "left"
    elif upright:
        shift = (8.0, 0.0)
    axes.annotate(
        words,
        tuple(place),
        xytext=shift,
        textcoords="offset points",
        size=9,
        color=_INK,
        zorder=8,
        ha=across,
        va="center" if upright or beside == "start" else "bottom",
        rotation=90 if upright and beside == "middle" else 0,
        bbox={"facecolor": "white", "edgecolor": "none", "alpha": 0.75, "pad": 1},
    )
    axes.update_datalim([tuple(start), tuple(end)])
