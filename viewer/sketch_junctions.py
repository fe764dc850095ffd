"""Sketches of junctions."""

from collections.abc import Mapping
from typing import Any

import numpy as np

from .colours import INK, QUIET
from .sketch_parts import (
    DUCT,
    DUCT_SIZES,
    END_SIZES,
    Points,
    Words,
    arrow,
    note,
    on_arc,
    rotated,
)


def junction(
    joins: bool, main: Any, side: Any, parameters: Mapping[str, float], say: Words
) -> None:
    """Draw a main with a branch, or with two opposite each other."""
    kind = say.kind
    usual = 45.0 if "diverging-wye" in kind else 90.0
    turn = np.radians(np.clip(parameters.get("angle_deg", usual), 20.0, 160.0))
    ratio = float(np.sqrt(np.clip(parameters.get("Ab_over_Ac", 0.5), 0.1, 2.0)))
    drawn = say.ratio(END_SIZES, DUCT_SIZES)
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
    main.fill(np.append(x, x[::-1]), np.append(y, -y[::-1]), color=DUCT, zorder=3)
    for sign in (1, -1):
        main.plot(x, sign * y, color=INK, lw=1.8, zorder=4)
    head = "<|-" if joins else "-|>"
    common = f"common\n{say('Qc', 'flow')}, Ac\n{say.across()}"
    for start, end, words, at, across in (
        ((-2.1, 0.0), (-1.3, 0.0), common, -2.35, "right"),
        ((1.6, 0.0), (2.4, 0.0), "straight\nQs, As", 2.75, "left"),
    ):
        arrow(main, np.array(start), np.array(end), head)
        note(main, np.array([at, 0.0]), words, across)
    branch = f"branch\n{say('Qb', 'branch_flow')}, Ab\n{say.across(outlet=True)}"
    legs = [(turn, branch)]
    if "cross" in kind:
        legs.append((-turn, "other branch\nQb2, Ab2"))
    for way, words in legs:
        out = rotated(np.array([[1.2, 0.0], [2.2, 0.0]]), way)
        arrow(main, out[0], out[1], head)
        lean = float(np.cos(way))
        across = "center"
        if abs(lean) > 0.3:  # beside the end of a branch that leans
            across = "left" if lean > 0 else "right"
        far = 3.0 if across == "center" else 2.9
        note(main, rotated(np.array([far, 0.0]), way), words, across)
    if "angle_deg" in parameters:
        steps = np.linspace(0.0, turn, 30)
        x, y = np.cos(steps), np.sin(steps)
        main.plot(x, y, color=QUIET, lw=0.9, zorder=5)
        away = min(max(1.35, 0.75 / np.sin(turn / 2)), 2.2)  # clear of the main
        x, y = away * np.cos(turn / 2), away * np.sin(turn / 2)
        note(main, np.array([x, y]), f"{parameters['angle_deg']:.4g}°")
    words = "Q airflow, A area:\nc common, s straight, b branch"
    side.set_title(words, size=9, color=QUIET, x=0.85, y=-0.1)


def _branch(main: Any, ratio: float, turn: float, flare: float) -> None:
    """A branch off the middle of a main, wider at its foot if it is conical."""
    x = np.array([0.0, 0.55 + flare, 1.2 + flare, 2.5])
    y = np.array([ratio + 2 * flare, ratio + 2 * flare, ratio, ratio]) / 2
    upper, lower = (rotated(np.stack([x, sign * y], axis=1), turn) for sign in (1, -1))
    main.fill(*np.concatenate([upper, lower[::-1]]).T, color=DUCT)
    for edge in (upper, lower):
        main.plot(*edge.T, color=INK, lw=1.8)


def divided(
    joins: bool, main: Any, side: Any, parameters: Mapping[str, float], say: Words
) -> None:
    """A duct of which nothing goes straight on: two branches, one to each side."""
    back_to_back = "dovetail" in say.kind
    drawn = say.ratio(END_SIZES, DUCT_SIZES)
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
            main.fill(*foot.T, color=DUCT, zorder=1)
        shape = np.concatenate([edges[0], edges[1][::-1]])
        main.fill(*shape.T, color=DUCT, zorder=1)
        for edge in edges:
            main.plot(*edge.T, color=INK, lw=1.8, zorder=2)
        arrow(main, out, out + 0.9 * tip, head)
        words = "other branch\nQc - Qb, Ab"
        if sign > 0:
            own = say("Qb", "branch_flow")
            words = f"branch\n{own}, Ab\n{say.across(outlet=True)}"
        at = out + 1.15 * tip + np.array([0.55 + ratio / 2, 0.0])
        note(main, at, words, "left")
    if "angle_deg" in parameters:
        crotch = 0.5 * ratio / np.sin(turn)
        steps = np.linspace(0.0, turn, 30)
        arc = (crotch + 0.35) * np.stack([np.cos(steps), np.sin(steps)])
        main.plot(*arc, color=QUIET, lw=0.9, zorder=5)
        axis = [0.0, crotch + 0.45]
        main.plot(axis, [0.0, 0.0], color=QUIET, lw=0.8, ls="-.", zorder=5)
        at = np.array([crotch + 0.5, 0.0])
        note(main, at, f"{parameters['angle_deg']:.4g}°", "left")
    main.fill_between([-2.2, wall], -0.5, 0.5, color=DUCT, zorder=1)
    for sign in (1, -1):
        main.plot([-2.2, wall], [sign * 0.5] * 2, color=INK, lw=1.8, zorder=3)
    arrow(main, np.array([-2.0, 0.0]), np.array([-1.2, 0.0]), head)
    common = f"common\n{say('Qc', 'flow')}, Ac\n{say.across()}"
    note(main, np.array([-2.35, 0.0]), common, "right")
    words = "Q airflow, A area:\nc common, b branch"
    side.set_title(words, size=9, color=QUIET, x=0.85, y=-0.1)


def _curved_branch(
    ratio: float, turn: float, flip: Points
) -> tuple[list[Points], Points, Points]:
    """One of two elbows that part a duct: its walls, its end and the way out of it."""
    steps = np.linspace(0.0, turn, 30)
    centre = np.array([0.0, 0.5 + ratio])
    far = np.array([[0.0, 0.9]])
    curves = [
        np.stack([on_arc(centre, r, a) for r, a in zip(radii, steps, strict=True)])
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
        rotated(np.array([[begin, side], [2.4, side]]), turn) * flip
        for begin, side in zip(begins, (half, -half), strict=True)
    ]
    way = rotated(np.array([1.0, 0.0]), turn) * flip
    return edges, 1.3 * way, 0.9 * way
