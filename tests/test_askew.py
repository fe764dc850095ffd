"""Bends that turn a flat section askew, and sections that are twisted."""

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from elbowroom.layout import (
    Attributes,
    ElbowConstruction,
    ElbowRule,
    Schedule,
    Section,
    SourceSpec,
    build,
    drawing_from_runs,
    flat_oval,
    rectangular,
)
from elbowroom.physics import Analysis, Kind, analyse

FLAT, TALL = rectangular(0.4, 0.2), rectangular(0.2, 0.4)
MITRED: dict[str, Any] = {
    "elbow_default": ElbowRule(construction=ElbowConstruction.MITRED)
}


def along(
    runs: list[Any],
    radius: float | None = None,
    roll: float | None = None,
    **plan: Any,
) -> Analysis:
    """One run or two, of which the first has bends of a radius, m."""
    said = {
        "a": Attributes(source=True, source_at_end=False, bend_radius=radius),
        "b": Attributes(roll=None if roll is None else np.radians(roll)),
    }
    names = [name for name, _, _ in runs]
    drawing = drawing_from_runs(
        runs,
        flows={names[-1]: 0.5},
        attributes={name: said[name] for name in names},
    )
    return analyse(build(drawing, Schedule(**plan)))


def riser(degrees: float, *cuts: Section, **said: Any) -> Analysis:
    """A riser whose upper end goes aside, and ends 1.5 m on."""
    turn = np.radians(degrees)
    points = [[0, 0, 3], [4, 0, 3], [4, 0, 5]]
    tip = [4 + 1.5 * np.cos(turn), 1.5 * np.sin(turn), 5]
    if len(cuts) == 1:
        return along([("a", [*points, tip], *cuts)], **said)
    parts = points, [points[-1], tip]
    return along(list(zip("ab", parts, cuts, strict=True)), **said)


def offset(degrees: float, **said: Any) -> Analysis:
    """Two elbows that make an offset to the side, upwards or between."""
    turn = np.radians(degrees)
    y, z = 0.9 * np.cos(turn), 3 + 0.9 * np.sin(turn)
    points = [[0, 0, 3], [4, 0, 3], [4, y, z], [16, y, z]]
    return along([("a", points, FLAT)], corrected_pairs=True, **said)


def twist(degrees: float, then: Section = FLAT, is_return: bool = False) -> Analysis:
    """Two runs in line."""
    runs = [("a", [[0, 0, 3], [2, 0, 3]], FLAT), ("b", [[2, 0, 3], [4, 0, 3]], then)]
    return along(runs, roll=degrees, source=SourceSpec(is_return=is_return))


ASKEW: dict[str, Callable[[float], Analysis]] = {
    "open end": lambda x: riser(x, rectangular(0.6, 0.2)),
    "open end of an oval": lambda x: riser(x, flat_oval(0.6, 0.2)),
    "open end behind a mitred elbow": lambda x: riser(x, FLAT, **MITRED),
    "corner that widens": lambda x: riser(x, FLAT, rectangular(0.4, 0.4), **MITRED),
    "corner that narrows": lambda x: riser(x, FLAT, rectangular(0.25, 0.2), **MITRED),
    "smooth pair": offset,
    "smooth pair of one radius": lambda x: offset(x, radius=0.3),
    "mitred pair": lambda x: offset(x, **MITRED),
    "twist": twist,
    "twist of a return": lambda x: twist(x, is_return=True),
    "twist of sides written across": lambda x: twist(x, TALL),
}


@pytest.mark.parametrize("what", ASKEW)
def test_no_degree_of_a_skew_or_a_twist_makes_a_jump(what: str) -> None:
    """Own rule: all goes evenly from one way of turning to the other."""
    steps = [at + off for at in (1.0, 45.0, 89.0) for off in (-0.01, 0.01)]
    degrees = np.sort([*range(0, 91, 5), *steps])
    found = np.array([ASKEW[what](x).path_loss[0] for x in degrees.tolist()])
    # A skew below 1 degree is none, which is worth sin(1)^2 of what lies between.
    most = 0.5 * np.radians(np.diff(degrees)) + 5e-4
    assert (np.abs(np.diff(found)) < most * found.min()).all()
    assert np.ptp(found) > 0.02 * found.min()


def test_what_counts_between_two_ways_has_the_lowest_class() -> None:
    end, corner, pair = (
        ASKEW[what](70.0)
        for what in ("open end of an oval", "corner that widens", "mitred pair")
    )
    for found, kind in ((end, Kind.EXIT), (corner, Kind.BEND), (pair, Kind.BEND)):
        row = np.flatnonzero(found.elements.kind == kind)[-1]
        credit = found.elements.credits[found.elements.credit[row]]
        assert (" and " in credit.table, credit.confidence) == (True, "low")
    assert pair.pairs[0].confidence == "low"
    assert ASKEW["mitred pair"](0.0).pairs[0].confidence == "memory"
