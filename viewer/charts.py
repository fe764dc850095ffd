"""Charts as SVG: pressure along a path, losses by kind, options side by side."""

import io
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from html import escape
from textwrap import wrap
from typing import Any

import numpy as np

from elbowroom.physics import Analysis, Kind, Option, critical_band

from .colours import INK, QUIET
from .display import Display
from .lettering import lettering
from .short_names import told_apart

_TOTAL, _STATIC = "#1f5fa8", "#c2571a"
_NAME = 30  # letters of a line of an option's name
_KINDS = {
    "straight duct": (Kind.DUCT,),
    "elbows": (Kind.BEND,),
    "branches": (Kind.BRANCH,),
    "mains past branches": (Kind.MAIN,),
    "meetings of loops": (Kind.MEETING,),
    "transitions": (Kind.TRANSITION,),
    "components": (Kind.COMPONENT,),
    "entries and open ends": (Kind.ENTRY, Kind.EXIT),
    "terminals": (Kind.TERMINAL,),
}


def pressure_chart(analysis: Analysis, display: Display) -> str:
    """Total and static pressure along the critical path, from fan to room.

    Parameters
    ----------
    analysis
        The layout; of a return the pressures are below the room's.
    display
        Units.

    Returns
    -------
    svg
        The picture as text; the same layout gives the same text.
    """
    length, total, velocity = pressure_along(analysis)
    if analysis.graph.is_return:
        total = -total
    p = _factor(display.pressures)
    x = length * _factor(lambda value: display.lengths(value, 6))
    with _figure(7.2, 3.0) as (figure, axes):
        axes.plot(x, total * p, color=_TOTAL, lw=1.8, label="total")
        axes.plot(x, (total - velocity) * p, color=_STATIC, lw=1.5, label="static")
        axes.axhline(0.0, color=QUIET, lw=0.8)
        axes.set_xlabel(f"along the critical path, {display.length}")
        axes.set_ylabel(f"pressure against the room, {display.pressure}")
        axes.legend(frameon=False, fontsize=9)
        return _svg(figure, "Total and static pressure along the critical path")


def pressure_along(analysis: Analysis) -> tuple[Any, Any, Any]:
    """Length, total pressure and velocity pressure along the critical path.

    Returns
    -------
    length, total, velocity
        m and Pa, two points for each element of the path: before and after it. Total
        pressure ends at that of the room.
    """
    way = analysis.path(analysis.critical)
    e = analysis.elements
    at, left = 0.0, analysis.critical_loss
    length, total = [], []
    for row in way.tolist():
        for step in (0.0, 1.0):
            length.append(at + step * float(e.length[row]))
            total.append(left - step * float(e.loss[row]))
        at, left = length[-1], total[-1]
    # What begins a duct, as a junction's leg, has the air of the one before it.
    behind = analysis.state.velocity_pressure[e.duct[way]]
    before = np.where(e.kind[way] == Kind.DUCT, behind, np.r_[behind[:1], behind[:-1]])
    velocity = np.stack([before, behind], axis=1).ravel()
    velocity[-1] = 0.0  # at rest in the room
    return np.array(length), np.array(total), velocity


def kinds_chart(analysis: Analysis, display: Display) -> str:
    """Loss of each kind of piece on the critical path, as SVG."""
    way = analysis.path(analysis.critical)
    e = analysis.elements
    sums = {
        name: float(e.loss[way][np.isin(e.kind[way], [int(k) for k in kinds])].sum())
        for name, kinds in _KINDS.items()
    }
    shown = [(name, loss) for name, loss in sums.items() if abs(loss) > 0.0]
    with _figure(7.2, 0.5 + 0.36 * max(len(shown), 1)) as (figure, axes):
        place = np.arange(len(shown))
        values = [loss * _factor(display.pressures) for _, loss in shown]
        axes.barh(place, values, color=_TOTAL, height=0.62)
        axes.set_yticks(place, [name for name, _ in shown])
        axes.invert_yaxis()
        axes.set_xlabel(f"on the critical path, {display.pressure}")
        for at, (_, loss) in zip(place, shown, strict=True):
            x = max(loss, 0.0) * _factor(display.pressures)
            _beside(axes, x, float(at), display.pressures(loss))
        axes.margins(x=0.14)
        said = ", ".join(f"{name} {display.pressures(loss)}" for name, loss in shown)
        label = f"Loss on the critical path, {display.pressure}: {said}"
        return _svg(figure, label)


def options_chart(options: Sequence[Option], display: Display) -> str:
    """Critical loss of each option with its band, as SVG."""
    p = _factor(display.pressures)
    names = "".join(option.name for option in options)
    with _figure(7.2, 0.8 + 0.42 * len(options), names) as (figure, axes):
        for at, option in enumerate(options):
            band = critical_band(option.analysis)
            loss = option.analysis.critical_loss
            axes.barh(at, loss * p, color=_TOTAL, height=0.58)
            axes.plot([band.low * p, band.high * p], [at, at], color=INK, lw=1.6)
            _beside(axes, band.high * p, at, display.pressures(loss))
        # Two lines at most, so that long names leave the bars their room.
        for letters in range(2 * _NAME, _NAME - 1, -5):
            short = told_apart([option.name for option in options], letters)
            lines = [wrap(name, _NAME) for name in short]
            if max(map(len, lines)) <= 2:
                break
        shown = ["\n".join(some) for some in lines]
        axes.set_yticks(range(len(options)), shown)
        axes.invert_yaxis()
        axes.set_xlabel(
            f"loss of the critical path, {display.pressure};\n"
            "the line holds nine draws of ten"
        )
        axes.margins(x=0.14)
        said = ", ".join(
            f"{option.name} {display.pressures(option.analysis.critical_loss)}"
            for option in options
        )
        label = f"Loss of the critical path, {display.pressure}: {said}"
        return _svg(figure, label)


def _beside(axes: Any, x: float, y: float, text: str) -> None:
    """Write a value a little to the right of a point."""
    axes.annotate(
        text, (x, y), xytext=(5, 0), textcoords="offset points", va="center", size=9
    )


def _factor(words: Any) -> float:
    """What makes the shown unit of one of SI."""
    scaled: float = float(words(1e6)) / 1e6
    return scaled


@contextmanager
def _figure(width: float, height: float, names: str = "") -> Iterator[tuple[Any, Any]]:
    """A figure with one pair of axes in the look of the others."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    look: Any = {
        "svg.hashsalt": "elbowroom",
        "svg.fonttype": "none",
        "font.size": 9.5,
        "axes.unicode_minus": False,  # as everywhere else
    }
    with lettering(names, **look):
        figure: Any = Figure(figsize=(width, height), layout="constrained")
        FigureCanvasAgg(figure)
        axes = figure.add_subplot()
        for side in ("top", "right"):
            axes.spines[side].set_visible(False)
        yield figure, axes


def _svg(figure: Any, label: str) -> str:
    """The chart as one picture with a label, for those who have it read to them."""
    out = io.StringIO()
    figure.savefig(out, format="svg", metadata={"Date": None})
    text = out.getvalue()
    drawn = text[text.index("<svg") + len("<svg") :]
    return f'<svg role="img" aria-label="{escape(label)}"{drawn}'
