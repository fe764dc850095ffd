"""A layout as a panel of the picture: tubes, values, the largest losses labelled."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Literal

import numpy as np

from elbowroom.layout import (
    DuctGraph,
    FloatArray,
    IntArray,
    Notice,
    Obstacle,
    Solids,
    Tubes,
    solids,
    units,
    warning,
)
from elbowroom.physics import Analysis, Comparison, Kind, Option

from .display import Display
from .scene import Panel

By = Literal["loss", "per-metre"]
_LABELS = 4
_FAR = 50.0  # times the size of the largest layout
_KINDS = {
    "duct": (Kind.DUCT,),
    "bend": (Kind.BEND,),
    "transition": (Kind.TRANSITION,),
    "leg": (Kind.BRANCH, Kind.MAIN),
    "meeting": (Kind.MEETING,),
    "terminal": (Kind.EXIT, Kind.TERMINAL),
}


def pieces(analysis: Analysis, shapes: Solids) -> IntArray:
    """Element that each piece of the solids stands for, shape (p,)."""
    e = analysis.elements
    out = np.zeros(len(shapes.row), dtype=np.int64)
    kinds = np.array(shapes.kind)
    for name, codes in _KINDS.items():
        mine = np.flatnonzero(np.isin(e.kind, [int(code) for code in codes]))
        place = np.zeros(int(e.row[mine].max(initial=0)) + 1, dtype=np.int64)
        place[e.row[mine]] = mine
        of_kind = kinds == name
        if of_kind.any():
            out[of_kind] = place[shapes.row[of_kind]]
    return out


def values(analysis: Analysis, by: By, display: Display) -> FloatArray:
    """What the colours show for each element, in the unit of the display.

    'loss' is what an element spends, without declared losses of terminals; 'per-metre'
    is that over its length, for ducts, with no value for fittings.
    """
    e = analysis.elements
    if by == "loss":
        loss = np.where(e.kind == Kind.TERMINAL, np.nan, e.loss)
        return loss / units.quantity(f"1 {display.pressure}", "pressure", "")
    with np.errstate(divide="ignore", invalid="ignore"):
        rate = np.where(e.length > 0, e.loss / e.length, np.nan)
    return rate / units.quantity(f"1 {display.rate}", "friction rate", "")


def bar_title(by: By, display: Display) -> str:
    """What the colours mean, with the unit."""
    if by == "loss":
        return f"loss of total pressure in each duct and fitting, {display.pressure}"
    return f"friction along the ducts, {display.rate}; fittings in grey"


def panel(
    analysis: Analysis,
    by: By,
    display: Display,
    title: str,
    subtitle: str,
    obstacles: Sequence[Obstacle] = (),
    others: Sequence[Analysis] = (),
) -> tuple[Panel, IntArray]:
    """Make the panel of a layout, and the element of each of its pieces.

    Parameters
    ----------
    analysis
        The layout's losses.
    by
        What the colours show.
    display
        Units.
    title, subtitle
        Words above it.
    obstacles
        Solids to draw beside it.
    others
        Layouts that it is compared with: what they spend alike is labelled last.
    """
    shapes = solids(analysis.graph)
    of_piece = pieces(analysis, shapes)
    value = values(analysis, by, display)
    return (
        Panel(
            title,
            subtitle,
            seen_tubes(analysis.graph, shapes),
            value[of_piece],
            _labels(analysis, shapes, of_piece, display, others),
            _ends(analysis),
            [(o.vertices, o.faces) for o in obstacles],
        ),
        of_piece,
    )


def seen_tubes(graph: DuctGraph, shapes: Solids) -> Tubes:
    """Surfaces of a layout as they are drawn.

    Where legs lie within the duct that they leave they are a hundredth smaller, and
    branches another: of two surfaces in one plane, now one and now the other would
    be seen.
    """
    tubes, kinds = shapes.tubes, np.array(shapes.kind)
    smaller = np.zeros(len(kinds))
    for kind, legs in (("leg", graph.legs), ("meeting", graph.meetings)):
        mine = np.flatnonzero(kinds == kind)
        smaller[mine] = np.where(legs.is_branch[shapes.row[mine]], 0.02, 0.01)
    of_tube = tubes.element[tubes.offsets[:-1]]
    factor = 1.0 - np.repeat(smaller[of_tube], np.diff(tubes.offsets))
    return replace(tubes, width=tubes.width * factor, height=tubes.height * factor)


def summary(analysis: Analysis, display: Display) -> str:
    """One line under a panel's title."""
    system = analysis.system
    text = (
        f"{display.pressures(system.fitting_loss)} {display.pressure} of it in fittings"
    )
    if system.available is not None:
        spare = system.available - system.required
        word = "to spare" if spare >= 0 else "more than the fan leaves"
        text += f" · {display.pressures(abs(spare))} {display.pressure} {word}"
    return text


def far_apart(analyses: Sequence[Analysis]) -> list[Notice]:
    """Say of layouts that one picture cannot show: far apart for their sizes."""
    low = np.array([one.graph.nodes.min(axis=0) for one in analyses])
    high = np.array([one.graph.nodes.max(axis=0) for one in analyses])
    size = float(np.linalg.norm(high - low, axis=1).max())
    away = np.linalg.norm(np.maximum(low - high[0], low[0] - high).clip(0.0), axis=1)
    far = int(away.argmax())
    if away[far] <= _FAR * size:
        return []
    return [
        warning(
            analyses[far].graph.drawing.file,
            f"it lies {away[far]:.0f} m from {analyses[0].graph.drawing.file}, too far "
            "for a picture of both to show any duct",
            "draw both about the same origin, if they are options for one place",
        )
    ]


def option_words(
    option: Option, display: Display, comparison: Comparison | None = None
) -> tuple[str, str]:
    """Title of an option's panel, what it loses to where, and the line under it."""
    analysis = option.analysis
    loss = f"{display.pressures(analysis.critical_loss)} {display.pressure}"
    said = summary(analysis, display)
    if option.clearance is not None:
        said += f" · {display.gaps(option.clearance)} clear"
    if comparison is not None:
        ranked = [comparison.options[place].name for place in comparison.ranking]
        if option.name not in ranked:
            said += " · cannot be built as drawn"
    return f"{option.name}: {loss} to {analysis.critical_terminal}", said


def _labels(
    analysis: Analysis,
    shapes: Solids,
    of_piece: IntArray,
    display: Display,
    others: Sequence[Analysis],
) -> list[tuple[FloatArray, str]]:
    e, tubes = analysis.elements, shapes.tubes
    begin, end = tubes.offsets[:-1], tubes.offsets[1:] - 1
    middle = (tubes.centre[begin] + tubes.centre[end]) / 2
    inner = tubes.centre[(begin + end) // 2]
    middle = np.where((end - begin > 1)[:, None], inner, middle)
    alike = set.intersection(*map(_spent, others)) if others else set()
    spent = e.loss[of_piece].copy()
    spent[e.kind[of_piece] == Kind.TERMINAL] = -np.inf
    ranked = np.argsort(-spent, kind="stable")[:200].tolist()
    if alike:
        shared = {p: _mark(analysis, int(of_piece[p])) in alike for p in ranked}
        ranked.sort(key=lambda piece: (shared[piece], -spent[piece]))
    return [
        (
            middle[piece],
            f"{_short(analysis, int(of_piece[piece]))}\n"
            f"{display.pressures(spent[piece])} {display.pressure}",
        )
        for piece in ranked[:_LABELS]
        if spent[piece] > 0.0
    ]


def _mark(analysis: Analysis, row: int) -> tuple[str, float]:
    return analysis.name(row), round(float(analysis.elements.loss[row]), 3)


def _spent(analysis: Analysis) -> set[tuple[str, float]]:
    return {_mark(analysis, row) for row in range(len(analysis.elements.loss))}


def _short(analysis: Analysis, row: int) -> str:
    kind = Kind(analysis.elements.kind[row])
    name = analysis.name(row)
    words = {
        Kind.BRANCH: "branch ",
        Kind.MAIN: "past the branch, ",
        Kind.EXIT: "open end ",
        Kind.TERMINAL: "terminal ",
        Kind.DUCT: "duct ",
    }.get(kind, "")
    return f"{words}{name}"


def _ends(analysis: Analysis) -> list[tuple[FloatArray, str]]:
    graph = analysis.graph
    out = [(graph.nodes[graph.source.node], "source")]
    for duct, name in zip(
        graph.terminals.duct.tolist(), graph.terminals.name, strict=True
    ):
        out.append((graph.ducts.end[duct], name))
    meets = "air parts" if graph.is_return else "air meets"
    for node in np.unique(graph.ducts.finish[graph.meetings.duct]).tolist():
        out.append((graph.nodes[node], meets))
    return out if len(out) <= 25 else out[:1]
