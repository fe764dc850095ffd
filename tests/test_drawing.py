"""Drawings made by hand: what is refused, and that lists do as well as arrays."""

import re
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from routes import NOTHING, drawn

from elbowroom.layout import Attributes, Drawing, build
from elbowroom.physics import analyse

DRAWN = drawn()


def changed(name: str, at: Any, value: float) -> Any:
    array = getattr(DRAWN, name).copy()
    array[at] = value
    return array


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({"points": DRAWN.points[:, :2]}, "points must have the shape (n, 3)"),
        ({"points": "a line"}, "points must be an array of numbers"),
        (
            {"points": changed("points", (4, 1), np.nan)},
            "run 'T2', vertex 2: (9, nan, 3) m is no place",
        ),
        (
            {"points": changed("points", (0, 2), np.inf)},
            "run 'T1', vertex 1: (0, 0, inf) m is no place",
        ),
        ({"offsets": DRAWN.offsets[:-1]}, "offsets must go from 0 to 15"),
        ({"offsets": changed("offsets", 2, 3)}, "run 'T2': the run has no vertex"),
        ({"offsets": DRAWN.offsets + 0.5}, "offsets must be an array of whole numbers"),
        ({"names": DRAWN.names[1:]}, "names must be one for each of the 5 runs"),
        ({"flow": DRAWN.flow[1:]}, "flow must be one for each of the 5 runs"),
        ({"shape": changed("shape", 1, 9)}, "run 'T2': its shape must be a code"),
        (
            {"width": changed("width", 1, -0.4)},
            "run 'T2': the sides of its section must be above 0 m",
        ),
        (
            {"height": changed("height", 1, np.nan)},
            "run 'T2': the sides of its section must be above 0 m",
        ),
        (
            {"height": changed("height", 3, 0.5)},
            "run 'B1': a round section must be as wide as it is high",
        ),
        ({"flow": changed("flow", 4, 0.0)}, "run 'B2': its airflow must be above 0"),
        ({"flow": changed("flow", 4, np.inf)}, "run 'B2': its airflow must be above 0"),
        ({"attributes": {5: Attributes()}}, "attributes are of run 5"),
    ],
)
def test_a_drawing_that_is_none_is_refused_where_it_is_made(
    fields: dict[str, Any], said: str
) -> None:
    with pytest.raises(ValueError, match=re.escape(f"{DRAWN.file}")) as bad:
        replace(DRAWN, **fields)
    assert said in str(bad.value)


@pytest.mark.parametrize("kind", [list, np.float32, np.int32])
def test_lists_and_other_numbers_are_the_same_drawing(kind: Any) -> None:
    def taken(array: Any) -> Any:
        return array.tolist() if kind is list else array.astype(kind)

    whole = np.ceil(DRAWN.points)  # of numbers that all kinds have
    plain = replace(DRAWN, points=whole)
    other = replace(DRAWN, points=taken(whole), offsets=taken(DRAWN.offsets))
    for drawing in (plain, other):
        assert drawing.points.dtype == np.float64
    losses = [analyse(build(each, NOTHING)).path_loss for each in (plain, other)]
    assert losses[0].tolist() == losses[1].tolist()


def test_arrays_are_not_copied() -> None:
    assert replace(DRAWN).points is DRAWN.points


def test_a_drawing_without_a_run_is_one() -> None:
    none: list[float] = []
    empty = Drawing(
        file="empty",
        points=np.zeros((0, 3)),
        offsets=np.array([0]),
        names=[],
        where=[],
        shape=np.array(none),
        width=np.array(none),
        height=np.array(none),
        flow=np.array(none),
        section_basis=np.array(none),
    )
    assert empty.run_count == 0


@pytest.mark.parametrize("tolerance", [np.nan, -1.0, 0.0, np.inf])
def test_a_tolerance_that_is_none_is_refused(tolerance: float) -> None:
    with pytest.raises(ValueError, match="the tolerance must be above 0 m and finite"):
        build(DRAWN, NOTHING, tolerance=tolerance)
