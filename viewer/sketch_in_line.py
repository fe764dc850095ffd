"""Sketches of transitions, and of what stands in a straight duct."""

from collections.abc import Mapping
from typing import Any

import numpy as np

from .colours import INK, QUIET
from .sketch_parts import (
    DUCT,
    DUCT_SIZES,
    END_SIZES,
    Words,
    arrow,
    box,
    circle,
    dimension,
    straight,
)


def transition(
    grows: bool | None,
    main: Any,
    side: Any,
    parameters: Mapping[str, float],
    say: Words,
) -> None:
    """Draw a change of section; `grows` is None for one of shape alone."""
    ratio = parameters.get("A_large_over_A_small")
    if ratio is None:
        ratio = 1.0 / max(parameters.get("A_small_over_A_large", 0.5), 0.04)
    if "one-plane" not in say.kind:
        ratio = float(np.sqrt(ratio))
    drawn = say.ratio(END_SIZES, DUCT_SIZES)
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
    main.fill(np.append(x, x[::-1]), np.append(y, -y[::-1]), color=DUCT)
    for sign in (1, -1):
        main.plot(x, sign * y, color=INK, lw=1.8)
    main.plot(x[[0, -1]], [0, 0], color=QUIET, lw=0.8, ls="-.")
    arrow(main, np.array([-1.2, 0.0]), np.array([-0.5, 0.0]))
    for at, tall, words, beside in (
        (x[0] - 0.15, one, say.across(), "left"),
        (x[-1] + 0.15, two, say.across(outlet=True), "right"),
    ):
        ends = np.array([at, -tall / 2]), np.array([at, tall / 2])
        dimension(main, *ends, words, beside)
    low = -max(one, two) / 2 - 0.3
    if not sudden:
        ends = np.array([0.0, low]), np.array([run, low])
        dimension(main, *ends, say("L", "length"))
    if "angle_deg" in parameters:
        words = say.angle(parameters["angle_deg"])
        main.text(run / 2, max(one, two) / 2 + 0.2, words, ha="center", color=INK)
    if grows is None:
        side.set_title("one shape to another\nof the same area", size=9)


def across(
    what: str, main: Any, side: Any, parameters: Mapping[str, float], say: Words
) -> None:
    """Draw what stands across a straight duct: a blade, a gate, a screen ..."""
    from matplotlib.patches import Circle

    straight(main, -2.0, 2.0)
    arrow(main, np.array([-1.8, 0.0]), np.array([-1.1, 0.0]))
    is_round = say.metres("diameter") is not None or "round" in say.kind
    name = say("D", "diameter") if is_round else say("H", "height")
    ends = np.array([-2.15, -0.5]), np.array([-2.15, 0.5])
    dimension(main, *ends, name, "left")
    if what == "blade":
        usual = 0.0 if "fire" in say.kind else 30.0  # they stand open
        angle = np.radians(parameters.get("blade_angle_deg", usual))
        count = 1 if "butterfly" in say.kind else 3
        for row, place in enumerate((np.arange(count) - (count - 1) / 2) / count):
            sign = -1 if "opposed" in say.kind and row % 2 else 1
            tip = 0.48 / count * np.array([np.cos(angle), sign * np.sin(angle)])
            main.plot(
                [-tip[0], tip[0]], place + np.array([-tip[1], tip[1]]),
                color=INK, lw=2.6,
            )  # fmt: skip
        if "blade_angle_deg" in parameters:
            main.plot([0, 0.9], [0, 0], color=QUIET, lw=0.8, ls=":")
            words = f"{parameters['blade_angle_deg']:.4g}°, 0 is open"
            main.text(0.0, 0.62, words, ha="center", size=9, color=INK)
    elif what == "curtain":
        low = 0.3 if parameters.get("in_airstream", 1.0) > 0.5 else 0.5
        main.fill_between([-0.1, 0.1], low, low + 0.2, color=INK)
        main.text(0.0, 0.82, "folded curtain", ha="center", size=9, color=INK)
    elif what == "gate":
        share = next((v for k, v in parameters.items() if k.startswith("h_")), 0.5)
        main.plot([0, 0], [-0.5 + share, 0.9], color=INK, lw=3.0)
        ends = np.array([0.25, -0.5]), np.array([0.25, -0.5 + share])
        dimension(main, *ends, f"open, {share:.3g} of it", "right")
    elif what == "screen":
        main.plot([0, 0], [-0.5, 0.5], color=INK, lw=2.6, ls=(0, (1, 0.7)))
        if "free_area_ratio" in parameters:
            words = f"free area {parameters['free_area_ratio']:.3g}"
            main.text(0.0, 0.62, words, ha="center", size=9, color=INK)
    else:
        share = min(next(iter(parameters.values()), 0.2), 0.8)
        radius = max(share, 0.06) / 2
        main.add_patch(Circle((0, 0), radius, facecolor=QUIET, edgecolor=INK))
        words = f"blocks {share:.3g}"
        main.text(0.0, 0.62, words, ha="center", size=9, color=INK)
    if is_round:
        circle(side, say("D", "diameter"))
    else:
        aspect = say.ratio(("height",), ("width",)) or 1.0
        box(side, aspect, say("W", "width"), say("H", "height"))
    side.set_title("the velocity is that of the\nwhole duct", size=9, color=QUIET)
