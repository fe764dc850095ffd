"""A small dimensioned sketch of a fitting, so that nobody swaps its sides."""

import textwrap
from collections.abc import Mapping
from functools import partial
from pathlib import Path
from typing import Any

from elbowroom.layout import refusal, writing

from .colours import INK, QUIET
from .lettering import lettering
from .sketch_elbows import elbow
from .sketch_ends import opening
from .sketch_in_line import across, transition
from .sketch_junctions import divided, junction
from .sketch_parts import Draw, Words

_SMALL_PRINT = 4  # lines


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
    words = Words(result["kind"], written)
    _drawing_of(result["kind"])(main, side, result["parameters"], words)
    for axes in (main, side):
        axes.autoscale_view()
        axes.margins(0.10)
    head = textwrap.fill(result["what"], 74)
    figure.text(0.03, 0.97, head, size=12, weight="bold", color=INK, va="top")
    lines = caption(result)
    for row, (size, colour, line) in enumerate(reversed(lines)):
        figure.text(0.03, 0.025 + 0.036 * row, line, size=size, color=colour)
    figure.text(0.97, 0.025, "not to scale", size=8, color=QUIET, ha="right")
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
    first = [(9.0, QUIET, given)] if given else []
    return [*first, (10.0, INK, line), *((7.5, QUIET, text) for text in small)]


def _plain(name: str, value: float) -> str:
    for ending, unit in (("_deg", "°"), ("_mm", " mm"), ("_m_s", " m/s")):
        if name.endswith(ending):
            stem = name.removesuffix(ending)
            return f"{stem.replace('_', ' ')} {value:.4g}{unit}"
    return f"{name.replace('_over_', '/').replace('_', ' ')} {value:.4g}"


def _drawing_of(kind: str) -> Draw:
    for word, draw in (
        ("dovetail-converging", partial(divided, True)),
        ("dovetail", partial(divided, False)),
        ("wye-converging", partial(divided, True)),
        ("symmetrical-wye", partial(divided, False)),
        ("converging", partial(junction, True)),
        ("junction", partial(junction, False)),
        ("exit-after-elbow", partial(elbow, "smooth")),
        ("smooth", partial(elbow, "smooth")),
        ("square-throat", partial(elbow, "smooth")),
        ("square-heel", partial(elbow, "heel")),
        ("splitters", partial(elbow, "splitters")),
        ("vanes", partial(elbow, "vanes")),
        ("mitred", partial(elbow, "mitred")),
        ("segmented", partial(elbow, "pieces")),
        ("gore", partial(elbow, "pieces")),
        ("elbow", partial(elbow, "smooth")),
        ("contraction", partial(transition, False)),
        ("expansion", partial(transition, True)),
        ("change-of-shape", partial(transition, None)),
        ("damper-gate", partial(across, "gate")),
        ("fire-curtain", partial(across, "curtain")),
        ("damper", partial(across, "blade")),
        ("screen", partial(across, "screen")),
        ("plate", partial(across, "screen")),
        ("obstruction", partial(across, "body")),
        ("entry", partial(opening, True)),
        ("exit", partial(opening, False)),
    ):
        if word in kind:
            return draw
    raise refusal(kind, "no sketch is known of this kind", "leave out --draw")
