"""Sketches of fittings: every dimension is lettered, and no words lie on others."""

from collections.abc import Iterator
from itertools import combinations
from typing import Any

import numpy as np
import pytest
from matplotlib.text import Annotation, Text

from elbowroom.layout import BadInput, Shape
from elbowroom.physics import book
from elbowroom.viewer import desk, sketch, sketch_parts

SIZES = {
    "outlet_diameter": "420 mm", "outlet_width": "520 mm", "outlet_height": "360 mm",
    "radius": "150 mm", "centreline_radius": "450 mm", "angle": "45 deg",
    "length": "105 mm", "thickness": "6 mm", "spacing": "38 mm",
    "branch_flow": "107 L/s",
}  # fmt: skip
SMALLER = {
    "outlet_diameter": "210 mm", "outlet_width": "250 mm", "outlet_height": "200 mm"
}  # fmt: skip
NARROWS = ("contraction", "contraction-sudden", "exit-nozzle")
FLAT = ("expansion-rect-one-plane", "exit-diffuser-plane")


def written_for(kind: book.FittingKind) -> Iterator[dict[str, str]]:
    """Dimensions of a kind in a round duct, a rectangular one, and none at all."""
    used = book.dimensions_of(kind)
    yield {}
    for is_round, duct in (
        (True, {"diameter": "300 mm"}),
        (False, {"width": "400 mm", "height": "300 mm"}),
    ):
        if kind.shape in (
            (Shape.RECTANGULAR, Shape.OVAL) if is_round else (Shape.ROUND,)
        ):
            continue
        found = {**duct, **{name: SIZES[name] for name in used}}
        if kind.name in NARROWS or "split-main" in kind.name:
            found |= {name: SMALLER[name] for name in used if name in SMALLER}
        if kind.name in FLAT:
            found["outlet_height"] = "300 mm"
        if kind.name == "change-of-shape":
            found |= {"outlet_width": "600 mm", "outlet_height": "200 mm"}
            found["outlet_diameter"] = "300 mm"
        if "vanes" in kind.name:
            found["angle"] = "90 deg"
        if "outlet_diameter" in used and (is_round or "outlet_width" not in used):
            left_out = ["outlet_width", "outlet_height"]
        else:
            left_out = ["outlet_diameter"]
        if "outlet_width" in used and not kind.has_legs:
            left_out.append("length")  # with both ends it makes the angle
        if kind.has_legs:
            found["flow"] = "300 L/s"
        for radius in ("radius", "centreline_radius")[: 1 + ("radius" in used)]:
            out = {*left_out, radius}
            yield {name: text for name, text in found.items() if name not in out}


def made(kind: book.FittingKind, written: dict[str, str]) -> dict[str, Any] | None:
    """The fitting, with what its dimensions do not say set; None if it is refused."""
    usual = {
        given.name: given.low if given.default is None else given.default
        for given in kind.parameters
    }
    usual |= {
        name: value
        for name, value in {
            "A_small_over_A_large": 0.4, "A_large_over_A_small": 2.5,
            "A_out_over_A_duct": 2.5, "W_out_over_W_in": 1.4, "Ab_over_Ac": 0.5,
            "Qb_over_Qc": 0.3, "free_area_ratio": 0.6, "r_over_D": 1.0,
            "r_over_W": 1.0, "H_over_W": 1.0, "L_over_D": 0.5,
        }.items()
        if name in usual
    }  # fmt: skip
    names = list(usual)
    for count in range(len(names) + 1):
        for some in combinations(names, count):
            settings = [f"{name}={usual[name]}" for name in some]
            try:
                return desk.desk_result(kind.name, settings, written)
            except BadInput:
                continue
    return None


CASES = [
    (kind, written) for kind in book.KINDS.values() for written in written_for(kind)
]


@pytest.mark.parametrize(("kind", "written"), CASES)
def test_words_of_a_sketch(kind: book.FittingKind, written: dict[str, str]) -> None:
    found = made(kind, written)
    if found is None:
        assert written, "what is given by its parameters alone is never refused"
        return
    figure = sketch.sheet(found, written)
    renderer = figure.canvas.get_renderer()
    figure.draw(renderer)
    texts = [
        text
        for axes in figure.axes
        for text in (*axes.texts, axes.title)
        if text.get_text().strip()
    ]
    boxes = [
        # An annotation's own box has its arrow in it.
        (text.get_text(), Text.get_window_extent(text, renderer))
        for text in (*texts, *figure.texts)
    ]
    for words, box in boxes:
        assert min(box.x0, box.y0) >= 0.0, words
        assert box.x1 <= figure.bbox.width, words
        assert box.y1 <= figure.bbox.height, words
    for (one, a), (other, b) in combinations(boxes, 2):
        wide = min(a.x1, b.x1) - max(a.x0, b.x0)
        high = min(a.y1, b.y1) - max(a.y0, b.y0)
        assert min(wide, high) < 1.5, f"{one!r} lies on {other!r}"
    lettered = " ".join(text.get_text() for text in texts)
    for name, text in written.items():
        if name == "angle":
            assert text in lettered or f"{text.split()[0]}°" in lettered
        elif name not in ("flow", "branch_flow") or kind.has_legs:
            assert text in lettered, name


def test_every_kind_is_tried_with_its_dimensions() -> None:
    tried = {kind.name for kind, written in CASES if written and made(kind, written)}
    assert not set(book.KINDS) - tried


def test_a_short_dimension_has_its_arrows_outside() -> None:
    """In 0.1 of a duct's width two arrows are a blot."""
    from matplotlib.figure import Figure

    for long, count in ((0.1, 2), (1.0, 1)):
        axes = Figure().add_subplot()
        sketch_parts.dimension(axes, np.zeros(2), np.array([long, 0.0]), "L")
        arrows = [text for text in axes.texts if not text.get_text()]
        assert len(arrows) == count


def test_the_outlet_of_an_elbow_is_as_wide_as_it_is_lettered() -> None:
    """18 in. beside 12 in.: one and a half times as wide."""
    from matplotlib.figure import Figure

    figure = Figure()
    main, side = figure.add_subplot(1, 2, 1), figure.add_subplot(1, 2, 2)
    written = {"width": "12in", "height": "8in", "outlet_width": "18in"}
    found = desk.desk_result("rect-elbow-mitred-area-change", [], written)
    say = sketch_parts.Words(found["kind"], written)
    sketch._drawing_of(found["kind"])(main, side, found["parameters"], say)
    lines = [
        np.abs(np.subtract(text.xy, text.xyann)).round(6).tolist()
        for text in main.texts
        if isinstance(text, Annotation) and not text.get_text()
    ]
    assert [0.0, 1.0] in lines  # W
    assert [1.5, 0.0] in lines  # W of the outlet
