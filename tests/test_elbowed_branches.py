"""Round takeoffs with an elbow right behind them: the print beside the plain sum."""

from typing import Any

import numpy as np
import pytest

from elbowroom.layout import (
    ELBOW_CONSTRUCTIONS,
    ElbowRule,
    Schedule,
    Section,
    SourceSpec,
    TakeoffEntry,
    TerminalSpec,
    build,
    drawing_from_runs,
    rectangular,
    round_section,
)
from elbowroom.physics import Analysis, Kind, analyse, book, junctions

K = 2**-0.5
MAIN, BRANCH = round_section(0.4), round_section(0.2)
# Along the takeoff and behind the elbow; the main goes along x.
WAYS = {
    "tee-90-elbow": ([0, 0, 1], [0, 1, 0]),
    "tee-45-elbow": ([0, K, K], [0, 1, 0]),
    "tee-60-elbow": ([0, K, K], [K, K, 0]),
    "wye-60-elbow": ([K, 0.5, 0.5], [0, 1, 0]),
    "wye-30-elbow": ([K, 0.5, 0.5], [K, K, 0]),
}


def route(
    fitting: str,
    gap: float = 0.05,
    lifted: float = 0.0,
    main: Section = MAIN,
    words: str = "smooth radius",
    is_return: bool = False,
) -> Analysis:
    """A branch off a main, with an elbow `gap`, m, behind the main's wall.

    `lifted` is what the duct behind the elbow rises more, degrees.
    """
    along, behind = map(np.array, WAYS[fitting.removeprefix("conical-")])
    tilt = np.radians(lifted)
    behind = behind * np.cos(tilt) + np.array([0.0, 0.0, np.sin(tilt)])
    turn = np.arccos(along @ behind)
    wall = 0.2 / np.sqrt(1.0 - along[0] ** 2)
    corner = [6.0, 0, 0] + along * (wall + gap + 0.2 * np.tan(turn / 2))
    drawing = drawing_from_runs(
        [
            ("M", np.array([[0.0, 0, 0], [12, 0, 0]]), main),
            ("B", np.array([[6.0, 0, 0], corner, corner + 3 * behind]), BRANCH),
        ]
    )
    conical = fitting.startswith("conical")
    plan = Schedule(
        source=SourceSpec(at=(0.0, 0.0, 0.0), is_return=is_return),
        terminals={"M": TerminalSpec(0.75), "B": TerminalSpec(0.25)},
        takeoff_default=TakeoffEntry.CONICAL if conical else TakeoffEntry.PLAIN,
        elbow_default=ElbowRule(construction=ELBOW_CONSTRUCTIONS[words]),
    )
    return analyse(build(drawing, plan))


def beside(found: Analysis) -> list[str]:
    """What is said of the elbow near the junction."""
    return [f.sentence for f in found.flags if f.what.startswith("an elbow")]


@pytest.mark.parametrize("fitting", junctions.ELBOWED)
def test_what_the_print_has_of_both_stands_beside_their_plain_sum(fitting: str) -> None:
    found = route(fitting)
    e = found.elements
    plain = float(e.loss[(e.kind == Kind.BRANCH) | (e.kind == Kind.BEND)].sum())
    # v = 0.25 m3/s in a quarter of the area of the main's 1 m3/s.
    value = float(junctions.round_elbowed_branch(fitting, 1.0).value[0])
    printed = value * float(found.state.velocity_pressure[0])
    (flag,) = [one for one in found.flags if "one print" in one.what]
    assert f"counts, is {plain:.3g} Pa" in flag.what
    assert f"the print has {printed:.3g} Pa" in flag.what
    assert junctions.ELBOWED[fitting] in flag.what
    assert flag.severity == ("warning" if printed > plain else "note")
    command = flag.remedy.rpartition(" ")[2]
    assert command in book.KINDS
    assert not any("no figure" in said for said in beside(found))


@pytest.mark.parametrize(
    "said",
    [
        {"gap": 0.25},
        {"lifted": 4.0},
        {"main": rectangular(0.4, 0.4)},
        {"words": "mitred"},
        {"is_return": True},
    ],
    ids=str,
)
def test_of_what_is_not_the_fitting_of_the_print_no_figure_is_published(
    said: dict[str, Any],
) -> None:
    (flag,) = beside(route("tee-45-elbow", **said))
    assert "no figure is published for these" in flag


def test_what_a_drawing_rounds_off_leaves_it_the_fitting_of_the_print() -> None:
    (flag,) = beside(route("tee-45-elbow", gap=0.19, lifted=2.0))
    assert "one print" in flag
