"""A layout as a panel of the picture: tubes, values, the largest losses labelled."""

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal

import numpy as np

from elbowroom.layout import (
    DuctGraph,
    FloatArray,
    IntArray,
    Notice,
    Obstacle,
    Solids,
    Tubes,
    length_words,
    solids,
    units,
    warning,
)
from elbowroom.physics import Analysis, Kind, Option, critical_return

from .budget import spare_words
from .colours import Scale, scale_for
from .display import TOUCH, Display
from .scene import Label, Look, Panel
from .short_names import cut_middle, told_apart
from .sweep import sweep

if TYPE_CHECKING:
    from .gaps import Gap

By = Literal["loss", "per-metre"]
_LABELS = 4
_FAR = 50.0  # times the size of the largest layout
_CLASHES = 6  # marked in one layout
_NAME = 36  # letters of a line of a label
_NAMED = 25  # terminals; of more only the critical one is named
_KINDS = {
    "duct": (Kind.DUCT,),
    "bend": (Kind.BEND,),
    "transition": (Kind.TRANSITION,),
    "leg": (Kind.BRANCH, Kind.MAIN),
    "meeting": (Kind.MEETING,),
    "terminal": (Kind.EXIT, Kind.TERMINAL),
    "component": (Kind.COMPONENT,),
}


@dataclass(frozen=True, eq=False)
class DuctSolid(Obstacle):
    """A piece of a duct that is drawn as a solid: of it all is shown."""


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
    is that over its length, for ducts, with no value for fittings and components.
    """
    unit = display.pressure if by == "loss" else display.rate
    return spent(analysis, by) * units.to_unit(1.0, unit)


def spent(analysis: Analysis, by: By) -> FloatArray:
    """The same in SI units: Pa, or Pa/m."""
    e = analysis.elements
    if by == "loss":
        return np.where(e.kind == Kind.TERMINAL, np.nan, e.loss)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(e.length > 0, e.loss / e.length, np.nan)


def scale_of(options: Sequence[Option], by: By, display: Display) -> Scale:
    """Bands that the colours of several layouts have in common."""
    every = [values(option.analysis, by, display) for option in options]
    return scale_for(np.concatenate(every))


def bar_title(by: By, display: Display, *, is_compared: bool = False) -> str:
    """What the colours mean, with the unit, and of options which labels come first."""
    if by == "loss":
        said = f"loss of total pressure in each duct and fitting, {display.pressure}"
    else:
        said = f"friction along the ducts, {display.rate}; all else in grey"
    if is_compared:
        said += "; labels: first what the options do not have alike, then the largest"
    return said


def panel(
    analysis: Analysis,
    by: By,
    display: Display,
    title: str,
    subtitle: str,
    obstacles: Sequence[Obstacle] = (),
    others: Sequence[Analysis] = (),
    room: "Sequence[Gap]" = (),
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
    room
        Gaps around its ducts, of which those that are not kept are marked.
    """
    shapes = solids(analysis.graph, collars=True)
    of_piece = pieces(analysis, shapes)
    value = values(analysis, by, display)
    return (
        Panel(
            title,
            subtitle,
            seen_tubes(analysis.graph, shapes),
            value[of_piece],
            [
                *_losses(analysis, shapes, of_piece, by, display, others),
                *_ends(analysis, of_piece),
                *_clashes(room, display),
            ],
            [(o.vertices, o.faces) for o in obstacles if not isinstance(o, DuctSolid)],
            [(o.vertices, o.faces) for o in obstacles if isinstance(o, DuctSolid)],
            title.removesuffix(_loses(analysis, display)),
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


def duct_solids(analysis: Analysis) -> list[DuctSolid]:
    """Pieces of a layout as solids, to be shown beside another layout."""
    tubes = solids(analysis.graph, collars=True).tubes
    # Swept near the origin: the mesh is in single precision.
    origin = tubes.centre.mean(axis=0)
    mesh = sweep(replace(tubes, centre=tubes.centre - origin))
    found, file = [], analysis.graph.drawing.file
    for piece in range(len(tubes.offsets) - 1):
        used, corner = np.unique(mesh.quads[mesh.element == piece], return_inverse=True)
        faces = corner.reshape(-1, 4)[:, [0, 1, 2, 0, 2, 3]].reshape(-1, 3)
        found.append(DuctSolid(file, mesh.points[used] + origin, faces, False))
    return found


def side_by_side(
    layouts: Sequence[Sequence[Option]],
    rooms: "Sequence[Sequence[Sequence[Gap]]]",
    solids_around: Sequence[Obstacle],
) -> "tuple[list[tuple[Option, Sequence[Gap], list[Analysis]]], list[Obstacle]]":
    """What has a panel of its own, with the room around it and its returns.

    Parameters
    ----------
    layouts
        Each with its returns behind it.
    rooms
        Room around every side of each.
    solids_around
        Solids to draw beside them.

    Returns
    -------
    shown
        Every side of a layout alone; of several the supplies.
    seen
        The solids, and pieces of the returns that have no panel: beside several
        options they are what stands there, the same beside each.
    """
    firsts = [
        (shown[0], around[0], [one.analysis for one in shown[1:]])
        for shown, around in zip(layouts, rooms, strict=True)
    ]
    if len(layouts) == 1:
        behind = zip(layouts[0][1:], rooms[0][1:], strict=True)
        return [*firsts, *((one, room, []) for one, room in behind)], [*solids_around]
    back = [piece for side in firsts[0][2] for piece in duct_solids(side)]
    return firsts, [*solids_around, *back]


def panels(
    shown: "Sequence[tuple[Option, Sequence[Gap], Sequence[Analysis]]]",
    compared: Sequence[Option],
    by: By,
    display: Display,
    obstacles: Sequence[Obstacle],
) -> tuple[list[Panel], list[IntArray]]:
    """Panel of each layout, and the elements of its pieces, as `panel` makes them.

    Parameters
    ----------
    shown
        Each with the room around it and its returns, as `side_by_side` has them.
    compared
        Those that are compared: what they spend alike is labelled last.
    by, display, obstacles
        As for `panel`.
    """
    made = [
        panel(
            option.analysis,
            by,
            display,
            *option_words(option, display, back),
            obstacles,
            [other.analysis for other in compared if other is not option],
            room,
        )
        for option, room, back in shown
    ]
    return [one for one, _ in made], [of_piece for _, of_piece in made]


def panel_title(name: str, analysis: Analysis, display: Display) -> str:
    """Name of a layout, and what it loses to which terminal, or from which."""
    return f"{name}{_loses(analysis, display)}"


def _loses(analysis: Analysis, display: Display) -> str:
    loss = f"{display.pressures(analysis.critical_loss)} {display.pressure}"
    return f": {loss} {analysis.critical_words}"


def summary(
    analysis: Analysis,
    display: Display,
    *,
    returns: Sequence[Analysis] = (),
    clearance: float | None = None,
    is_sound: bool = True,
) -> str:
    """One line under a panel's title.

    Parameters
    ----------
    analysis
        The layout; with returns, what `with_returns` made of it.
    display
        Units.
    returns
        Its return sides, of which the costliest counts.
    clearance
        Smallest distance from an obstacle, m; None where there is none.
    is_sound
        Whether it can be built as drawn.
    """
    system = analysis.system
    text = (
        f"{display.pressures(system.fitting_loss)} {display.pressure} of it in fittings"
    )
    if returns:
        back = returns[critical_return(returns)].critical_loss
        text += f" · return {display.pressures(back)} {display.pressure}"
    if spare := spare_words(system, display):
        text += f" · {spare}"
    if len(analysis.graph.terminals.name) > _NAMED:
        text += f" · {len(analysis.graph.terminals.name)} terminals"
    if clearance is not None:
        text += f" · {display.apart(clearance)}" + " clear" * (clearance > TOUCH)
    return text if is_sound else f"{text} · cannot be built as drawn"


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
            f"it lies {length_words(float(away[far]))} from "
            f"{analyses[0].graph.drawing.file}, too far for a picture of both to show "
            "any duct",
            "draw both about the same origin, if they are options for one place",
        )
    ]


def option_words(
    option: Option,
    display: Display,
    returns: Sequence[Analysis] = (),
) -> tuple[str, str]:
    """Title of an option's panel, what it loses to where, and the line under it."""
    said = summary(
        option.analysis,
        display,
        returns=returns,
        clearance=option.clearance,
        is_sound=not option.faults,
    )
    return panel_title(option.name, option.analysis, display), said


def _losses(
    analysis: Analysis,
    shapes: Solids,
    of_piece: IntArray,
    by: By,
    display: Display,
    others: Sequence[Analysis],
) -> list[Label]:
    """The largest of what the colours show."""
    e, tubes = analysis.elements, shapes.tubes
    begin, end = tubes.offsets[:-1], tubes.offsets[1:] - 1
    middle = (tubes.centre[begin] + tubes.centre[end]) / 2
    inner = tubes.centre[(begin + end) // 2]
    curved = end - begin > 3  # a collar has four rings, other straight pieces two
    middle = np.where(curved[:, None], inner, middle)
    # A branch begins within the main; what is seen of it is its outer end.
    branches = np.flatnonzero(e.kind[of_piece] == Kind.BRANCH)
    ducts, own = analysis.graph.ducts, e.duct[of_piece[branches]]
    along = (ducts.begin[own] + ducts.end[own]) / 2
    ends = tubes.centre[np.stack([begin, end])[:, branches]]
    near = np.linalg.norm(ends - along, axis=2).argmin(axis=0)
    outer = ends[near, np.arange(len(branches))]
    middle[branches] += 0.7 * (outer - middle[branches])
    alike = set.intersection(*map(_spent, others)) if others else set()
    spent = np.nan_to_num(values(analysis, by, display)[of_piece], nan=-np.inf)
    ranked = np.argsort(-spent, kind="stable")[:200].tolist()
    if alike:
        shared = {p: _mark(analysis, int(of_piece[p])) in alike for p in ranked}
        ranked.sort(key=lambda piece: (shared[piece], -spent[piece]))

    def words(row: int) -> str:
        if by == "loss":
            return f"{display.pressures(e.loss[row])} {display.pressure}"
        return display.rates(e.loss[row] / e.length[row])

    found: dict[int, Label] = {}  # one of all pieces of an element
    for piece in ranked:
        if spent[piece] > 0.0 and len(found) < _LABELS:
            row = int(of_piece[piece])
            text = f"{_short(analysis, row)}\n{words(row)}"
            # A duct rubs alike on both sides of a bend, which is no second news.
            if by == "per-metre" and any(text == one.text for one in found.values()):
                continue
            shown = tuple(np.flatnonzero(of_piece == row).tolist())
            found.setdefault(row, Label(middle[piece], text, pieces=shown))
    return list(found.values())


def _clashes(room: "Sequence[Gap]", display: Display) -> list[Label]:
    bad = [gap for gap in room if not gap.is_kept][:_CLASHES]
    return [Label(np.array(gap.place), _clash(gap, display), Look.CLASH) for gap in bad]


def _clash(gap: "Gap", display: Display) -> str:
    beside = cut_middle(gap.beside, _NAME)
    if abs(gap.distance) <= TOUCH:
        return f"touches {beside}"
    if gap.distance < 0.0:
        return f"overlaps {beside}\nby {display.gaps(-gap.distance)}"
    return f"{display.gaps(gap.distance)} from {beside}"


def _mark(analysis: Analysis, row: int) -> tuple[str, float]:
    return analysis.name(row), round(float(analysis.elements.loss[row]), 3)


def _spent(analysis: Analysis) -> set[tuple[str, float]]:
    return {_mark(analysis, row) for row in range(len(analysis.elements.loss))}


def _short(analysis: Analysis, row: int) -> str:
    kind = Kind(analysis.elements.kind[row])
    name, made = analysis.name(row), analysis.words(row, counted=False)
    words = {
        Kind.BRANCH: "branch ",
        Kind.MAIN: "past the branch, ",
        Kind.EXIT: "open end ",
        Kind.TERMINAL: "terminal ",
        Kind.DUCT: "duct ",
        Kind.COMPONENT: f"{made.removesuffix(', as declared')}, ",
    }.get(kind, "")
    name = name if name.startswith(words) else f"{words}{name}"
    return "\n".join(textwrap.wrap(cut_middle(name, 2 * _NAME), _NAME))


def _ends(analysis: Analysis, of_piece: IntArray) -> list[Label]:
    graph, own = analysis.graph, analysis.elements.duct[of_piece]
    start = "fan" if graph.is_return else "source"
    out = [Label(graph.nodes[graph.source.node], start, Look.END)]
    names = told_apart(graph.terminals.name, _NAME)
    for row, (duct, name) in enumerate(
        zip(graph.terminals.duct.tolist(), names, strict=True)
    ):
        look = Look.CRITICAL if row == analysis.critical else Look.END
        if look == Look.END and len(graph.terminals.name) > _NAMED:
            continue
        mine = tuple(np.flatnonzero(own == duct).tolist())
        out.append(Label(graph.ducts.end[duct], name, look, mine))
    meets = "air parts" if graph.is_return else "air meets"
    for node in np.unique(graph.ducts.finish[graph.meetings.duct]).tolist():
        out.append(Label(graph.nodes[node], meets, Look.END))
    return out
