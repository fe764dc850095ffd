"""Mitred corners at which a rectangular duct changes its width."""

from typing import Any

import numpy as np
import pytest
from prints import rows_of

from elbowroom.layout import (
    ELBOW_CONSTRUCTIONS,
    Attributes,
    ElbowRule,
    Schedule,
    Section,
    SourceSpec,
    TerminalSpec,
    TransitionRule,
    build,
    drawing_from_runs,
    rectangular,
    round_section,
)
from elbowroom.physics import Analysis, Kind, analyse, elbows

CORNER = "rect_elbow_mitred_area_change"
SQUARE = rectangular(0.3, 0.3)


def corner(
    before: Section,
    after: Section,
    *,
    angle: float = 90.0,
    words: str = "mitred",
    up: bool = False,
    **said: Any,
) -> Analysis:
    """One duct that turns into another, to the side or upwards."""
    turn = np.radians(angle)
    tip = np.array([4 + 5 * np.cos(turn), 5 * np.sin(turn), 0.0])
    runs: list[tuple[str, Any, Section]] = [
        ("a", [[0, 0, 0], [4, 0, 0]], before),
        ("b", [[4, 0, 0], tip[[0, 2, 1]] if up else tip], after),
    ]
    drawing = drawing_from_runs(runs, attributes={"a": Attributes(source=True)})
    rule = ElbowRule(construction=ELBOW_CONSTRUCTIONS[words])
    plan = Schedule(terminals={"b": TerminalSpec(0.6, 0.0)}, elbow_default=rule, **said)
    return analyse(build(drawing, plan))


def rows(found: Analysis) -> tuple[int, int]:
    """Rows of the elbow and of the change of section."""
    kind = found.elements.kind
    (bend,) = np.flatnonzero(kind == int(Kind.BEND))
    (change,) = np.flatnonzero(kind == int(Kind.TRANSITION))
    return int(bend), int(change)


def lost(found: Analysis) -> float:
    e = found.elements
    return float(e.loss[(e.kind == Kind.BEND) | (e.kind == Kind.TRANSITION)].sum())


@pytest.mark.parametrize("row", rows_of(CORNER, H_over_W_in="1.0"))
@pytest.mark.parametrize("up", [False, True])
def test_the_print_counts_in_the_row_of_the_elbow(row: Any, up: bool) -> None:
    """Idelchik, sharp bend with a changed outlet width (from memory)."""
    ratio = float(row["W_out_over_W_in"])
    if ratio == 1.0:
        return
    # Upwards the height of the section lies in the plane of the bend.
    after = rectangular(0.3, 0.3 * ratio) if up else rectangular(0.3 * ratio, 0.3)
    found = corner(SQUARE, after, up=up)
    e, (bend, change) = found.elements, rows(found)
    assert e.coefficient[bend] == pytest.approx(float(row["C"]))
    assert e.coefficient[change] == e.loss[change] == 0.0
    credit = e.credits[e.credit[bend]]
    assert (credit.first_table, credit.confidence) == (CORNER, "memory")
    assert e.velocity[bend] == pytest.approx(0.6 / 0.09)
    assert found.words(change).endswith("counted in its elbow")
    assert "counted" not in found.words(change, counted=False)
    assert found.path_loss[0] == pytest.approx(e.loss.sum())


def test_a_wider_outlet_loses_less() -> None:
    sides = np.linspace(0.31, 0.6, 8)
    losses = [lost(corner(SQUARE, rectangular(side, 0.3))) for side in sides]
    assert (np.diff(losses) < 0.0).all()


def test_of_a_return_the_far_duct_is_the_inlet() -> None:
    found = corner(SQUARE, rectangular(0.2, 0.3), source=SourceSpec(is_return=True))
    air = found.state.velocity_pressure[1], found.state.reynolds[1]
    printed = elbows.rect_mitred_area_change(1.5, 1.5, air[1])
    whole = printed.value[0] * printed.reynolds_factor[0] * air[0]
    assert lost(found) == pytest.approx(whole)


def test_no_millimetre_and_no_degree_makes_a_jump() -> None:
    wide = [
        lost(corner(SQUARE, rectangular(side, 0.3)))
        for side in np.linspace(0.301, 0.321, 11)
    ]
    tall = [
        lost(corner(SQUARE, rectangular(0.4, side)))
        for side in np.linspace(0.300, 0.320, 11)
    ]
    turned = [
        lost(corner(SQUARE, rectangular(0.4, 0.3), angle=angle))
        for angle in np.arange(72.0, 91.0, 2.0)
    ]
    for found in (wide, tall, turned):
        assert np.abs(np.diff(found)).max() < 0.12 * np.mean(found)


@pytest.mark.parametrize(
    ("before", "after", "said"),
    [
        (SQUARE, rectangular(0.4, 0.3), {"words": "smooth radius"}),
        (SQUARE, rectangular(0.4, 0.3), {"angle": 70.0}),
        (SQUARE, rectangular(0.4, 0.4), {}),
        (SQUARE, round_section(0.4), {}),
        (
            SQUARE,
            rectangular(0.4, 0.3),
            {"transition_default": TransitionRule(length=0.3)},
        ),
    ],
)
def test_what_is_not_of_the_print_counts_as_elbow_and_transition(
    before: Section, after: Section, said: dict[str, Any]
) -> None:
    found = corner(before, after, **said)
    e, (bend, change) = found.elements, rows(found)
    assert e.coefficient[change] > 0.0
    tables = [e.credits[e.credit[row]].table for row in (bend, change)]
    assert not any(CORNER in table for table in tables)
