"""Sizing of layouts, rooms, checks, quantities, and what would mend a layout."""

import csv
import json
import math
import re
import sys
import zipfile
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st
from routes import ROUTE, drawn
from schemas import validate

from elbowroom.layout import (
    AirSpec,
    Attributes,
    BadInput,
    ChecksSpec,
    ComponentSpec,
    Drawing,
    ElbowConstruction,
    ElbowRule,
    FanSpec,
    Notice,
    Obstacle,
    RoomsSpec,
    RunLimits,
    Schedule,
    Section,
    Shape,
    SourceSpec,
    TakeoffEntry,
    TerminalSpec,
    build,
    clearances,
    drawing_from_runs,
    rate_words,
    read,
    read_schedule,
    rectangular,
    round_section,
    solids,
    units,
    write,
)
from elbowroom.physics import (
    UNMET,
    WINDOW,
    Aim,
    Analysis,
    Check,
    Kind,
    LengthRow,
    Option,
    Proportions,
    air,
    analyse,
    balance,
    checks,
    duct_schedule,
    fan_power,
    gauges,
    kept_from_trying,
    leakage,
    noise,
    power_of,
    proportion,
    quantities,
    remedies,
    sizes,
    sizing_notices,
    static_pressure,
    surface_of,
    tables,
    terminal_static,
    velocity_checks,
    velocity_limits,
    with_airflows,
)
from elbowroom.viewer import budget as shown_budget
from elbowroom.viewer import check_words, display, main, results
from elbowroom.viewer import quantities as shown_quantities

HOUSE = Path(__file__).parents[1] / "examples" / "hillside_house" / "house.glb"


def layout(**said: Any) -> Analysis:
    return analyse(build(drawn(), Schedule(**said)))


# --- sizes


@pytest.mark.parametrize("rate", [0.4, 0.8, 1.6])
def test_equal_friction_keeps_its_rate_with_the_smallest_size(rate: float) -> None:
    found = proportion(drawn(), Schedule(), Aim(rate=rate))
    for choice in found.choices:
        assert choice.gradient <= rate * (1 + 1e-9) or "before it" in choice.limit
    assert [choice.run for choice in found.choices] == list(drawn().names)
    # The next smaller size of the ladder rubs more.
    smaller = proportion(drawn(), Schedule(), Aim(rate=rate * 8))
    for one, other in zip(found.choices, smaller.choices, strict=True):
        assert other.chosen.area <= one.chosen.area


def test_the_rate_that_the_fan_leaves_is_used_when_none_is_given() -> None:
    fan = FanSpec(total_pressure=90.0)
    found = proportion(drawn(), Schedule(fan=fan), Aim())
    left = found.after.system.friction_rate_available
    assert left is not None
    assert left > 0.0
    # The layout with its sizes is carried by the fan.
    assert found.after.system.available is not None
    assert found.after.system.required <= found.after.system.available * 1.02
    with pytest.raises(BadInput, match="no fan is declared"):
        proportion(drawn(), Schedule(), Aim())
    with pytest.raises(BadInput, match="leaves nothing"):
        proportion(drawn(), Schedule(fan=FanSpec(total_pressure=1.0)), Aim())


@pytest.mark.parametrize("rate", [None, 0.8])
@pytest.mark.parametrize("of_all", [True, False])
def test_limits_that_bind_are_what_to_relax(rate: float | None, of_all: bool) -> None:
    """Freed of them the same fan carries the same layout: they are to blame."""
    plan = Schedule(fan=FanSpec(total_pressure=90.0))
    free = proportion(drawn(), plan, Aim(rate=rate, shape=Shape.ROUND))
    assert not any("hold" in told.what for told in free.notices)
    low = Aim(rate=rate, shape=Shape.ROUND, highest=0.1 if of_all else None)
    if not of_all:
        plan = replace(plan, limits={"T1": RunLimits(highest=0.1)})
    words = "a height of at most 100 mm"
    if rate is None:
        with pytest.raises(BadInput) as refused:
            proportion(drawn(), plan, low)
        said = str(refused.value)
    else:
        found = proportion(drawn(), plan, low).notices
        (said,) = (n.sentence for n in found if "does not carry" in n.sentence)
    assert words in said
    assert "'T1'" in said
    assert "allow more height there, or" in said
    assert "also with larger ducts" not in said


def test_sizing_by_velocity_keeps_both_velocities() -> None:
    aim = Aim("velocity", main=6.0, branch=4.0)
    for choice in proportion(drawn(), Schedule(), aim).choices:
        limit = 6.0 if choice.run in ("T1", "T2") else 4.0
        assert choice.velocity <= limit * (1 + 1e-9)


def test_sizes_keep_the_velocities_that_the_checks_ask_for() -> None:
    """A fan with much to spare must not size a house to fail its own check."""
    plan = Schedule(
        fan=FanSpec(external_static_pressure=400.0),
        checks=ChecksSpec(use="residential"),
    )
    found = proportion(drawn(), plan, Aim())
    assert found.rate is not None
    limits = velocity_limits(found.after)
    assert (found.after.state.velocity <= limits * (1 + 1e-9)).all()
    assert any(choice.limit == "velocity" for choice in found.choices)
    free = proportion(drawn(), replace(plan, checks=ChecksSpec()), Aim())
    assert free.after.state.velocity.max() > limits.min()


@pytest.mark.parametrize(
    ("spec", "flow"),
    [
        # By noise, a branch with a bend ends in a last duct, at half of the limit.
        (ChecksSpec(noise="RC 25", stands="in the room"), 0.15),
        # By use, a main that goes on to a terminal ends as a branch.
        (ChecksSpec(use="commercial"), 0.06),
    ],
)
def test_one_section_keeps_the_lowest_velocity_limit_of_its_run(
    spec: ChecksSpec, flow: float
) -> None:
    drawing, plan = with_bends(flow)
    found = proportion(drawing, replace(plan, checks=spec), Aim(rate=1.5))
    assert not [c for c in found.choices if "before it" in c.limit]
    speeds = [check for check in checks(found.after) if check.dimension == "velocity"]
    assert speeds
    assert all(check.is_kept for check in speeds)
    bound = [choice for choice in found.choices if choice.limit == "velocity"]
    assert bound
    for choice in bound:  # and none is larger than that asks for
        step = replace(choice.chosen, width=choice.chosen.width - 0.05)
        less = replace(plan, sections={c.run: c.chosen for c in found.choices})
        less = replace(less, sections={**less.sections, choice.run: step}, checks=spec)
        tried = checks(analyse(build(drawing, less)))
        assert not all(check.is_kept for check in tried)


def greedy(flow: float = 0.55, side: str = "300x300mm") -> tuple[Drawing, Schedule]:
    """A main of 600 L/s and a branch that takes most of it, m³/s; commercial."""
    drawing = drawing_from_runs(
        [
            ("main", np.array([[0, 0, 3], [10, 0, 3]]), rectangular(0.5, 0.3)),
            ("b2", np.array([[5, 0, 3], [5, 4, 3]]), units.section(side, "test")),
        ]
    )
    return drawing, Schedule(
        source=SourceSpec(at=(0.0, 0.0, 3.0)),
        terminals={"main": TerminalSpec(0.6 - flow), "b2": TerminalSpec(flow)},
        checks=ChecksSpec(use="commercial"),
    )


def unmet(found: Proportions) -> list[str]:
    return [choice.run for choice in found.choices if choice.limit in UNMET]


def test_a_branch_that_needs_more_than_its_main_is_told_what_helps() -> None:
    drawing, plan = greedy()
    found = proportion(drawing, plan, Aim(rate=1.5))
    assert unmet(found) == ["b2"]
    wanting, too_fast = (
        next(n for n in found.notices if words in n.what)
        for words in ("that of the duct before", "a check is not kept")
    )
    assert wanting.what == (
        "no size up to that of the duct before keeps the largest velocity in 'b2': "
        "the largest was taken"
    )
    grow = 'write as_drawn = true under [limits."main"], or size with --may-grow'
    assert wanting.remedy == f"{grow}, or allow more velocity there"
    assert "velocity in branches, commercial: 5.2 m/s" in too_fast.what
    assert "limit 4.6 m/s (900 fpm), 'b2'" in too_fast.what
    assert too_fast.remedy == grow
    # Each of them does help, and what was said before does not.
    kept = replace(plan, limits={"main": RunLimits(is_kept=True)})
    assert unmet(proportion(drawing, kept, Aim(rate=1.5))) == []
    assert unmet(proportion(drawing, plan, Aim(rate=1.5, may_grow=True))) == []
    assert unmet(proportion(drawing, plan, Aim(rate=1.5, branch=8.0))) == []
    wide = Aim(rate=1.5, highest=0.6, widest=0.9)
    assert unmet(proportion(drawing, plan, wide)) == ["b2"]
    for aim in (Aim(rate=1.5, may_grow=True), Aim(rate=1.5, branch=5.9)):
        notices = proportion(drawing, plan, aim).notices
        fast = [n for n in notices if "a check is not kept" in n.what]
        assert len(fast) == (aim.branch is not None)
        assert all("give lower velocities" in n.remedy for n in fast)


def test_a_run_no_larger_than_the_one_before_that_misses_the_rate_is_told() -> None:
    """A flexible end of the same airflow rubs more than the rigid duct before it."""
    rigid = round_section(0.2)
    drawing = drawing_from_runs(
        [
            ("B", np.array([[0, 0, 3], [5, 0, 3]]), rigid),
            ("F", np.array([[5, 0, 3], [8, 0, 3]]), rigid),
        ]
    )
    material = "flexible duct, nonmetallic with wire, fully extended"
    plan = Schedule(
        source=SourceSpec(at=(0.0, 0.0, 3.0)),
        terminals={"F": TerminalSpec(0.15)},
        run_materials={"F": material},
        run_compression={"F": 0.1},
    )
    found = proportion(drawing, plan, Aim(rate=1.2))
    assert unmet(found) == ["F"]
    (said,) = [n for n in found.notices if "up to that of the duct before" in n.what]
    assert "keeps 1.2 Pa/m" in said.what
    assert "in 'F': the largest was taken" in said.what
    assert said.remedy == "size with --may-grow"
    assert unmet(proportion(drawing, plan, Aim(rate=1.2, may_grow=True))) == []
    # A higher rate is none: the duct before gets smaller with it.
    high = 1.001 * found.choices[1].gradient
    assert unmet(proportion(drawing, plan, Aim(rate=high))) == ["F"]


def test_limits_that_allow_no_size_are_named_with_what_helps() -> None:
    drawing, plan = one_run(rectangular(1.2, 0.2), 1.2)
    plan = replace(plan, checks=ChecksSpec(use="commercial"))
    found = proportion(drawing, plan, Aim(rate=6.0))
    (said,) = [n for n in found.notices if "allow no size" in n.what]
    assert said.what == (
        "the limits allow no size for 'trunk', within a height of at most 200 mm "
        "(7.9 in) and 4 to 1 and the largest velocity: left as drawn"
    )
    assert said.remedy == "allow more height or velocity there"
    for aim in (Aim(rate=6.0, highest=0.5), Aim(rate=6.0, branch=9.0)):
        assert unmet(proportion(drawing, plan, aim)) == []


def test_what_a_held_run_holds_down_is_mended_behind_it() -> None:
    drawing, plan = greedy(0.4)
    plan = replace(plan, checks=ChecksSpec())
    low = replace(plan, limits={"main": RunLimits(highest=0.1)})
    found = proportion(drawing, low, Aim(rate=0.6))
    assert unmet(found) == ["main", "b2"]
    (said,) = [n for n in found.notices if "the duct before" in n.what]
    assert "'b2'" in said.what
    assert said.remedy == "mend 'main' first"
    assert unmet(proportion(drawing, plan, Aim(rate=0.6))) == []


def test_transitions_that_the_sizes_leave_no_room_for_are_told() -> None:
    """A joint 0.3 m before a bend, with room for half of a transition or not."""
    cut = rectangular(0.5, 0.3)

    def told(bend: float) -> list[Notice]:
        drawing = drawing_from_runs(
            [
                ("m1", np.array([[0, 0, 3], [4, 0, 3]]), cut),
                ("m2", np.array([[4, 0, 3], [4 + bend, 0, 3], [4 + bend, 6, 3]]), cut),
                ("c", np.array([[3, 0, 3], [3, -5, 3]]), rectangular(0.3, 0.2)),
            ]
        )
        plan = Schedule(
            source=SourceSpec(at=(0.0, 0.0, 3.0)),
            terminals={"m2": TerminalSpec(0.2), "c": TerminalSpec(0.5)},
        )
        found = proportion(drawing, plan, Aim(rate=0.8))
        assert found.before is not None
        assert not (found.before.graph.transitions.short_by > 0).any()
        lacks = bool((found.after.graph.transitions.short_by > 0).any())
        said = [n for n in found.notices if "does not fit" in n.what]
        assert len(said) == lacks
        kept = replace(plan, sections={c.run: c.chosen for c in found.choices})
        again = proportion(drawing, kept, Aim(rate=0.8))
        assert not [n for n in again.notices if "does not fit" in n.what]
        return said

    (said,) = told(0.3)
    assert "with these sizes the transition does not fit: its piece of" in said.what
    assert "run 'm2'" in said.where
    assert told(1.5) == []


def with_bends(flow: float) -> tuple[Drawing, Schedule]:
    """A main that ends at a terminal, and two branches, one with a bend; m³/s."""
    main, side = rectangular(0.5, 0.3), rectangular(0.3, 0.2)
    drawing = drawing_from_runs(
        [
            ("main", np.array([[0, 0, 3], [12, 0, 3]]), main),
            ("b2", np.array([[4, 0, 3], [4, 5, 3], [7, 5, 3]]), side),
            ("b3", np.array([[8, 0, 3], [8, -5, 3]]), side),
        ]
    )
    return drawing, Schedule(
        source=SourceSpec(at=(0.0, 0.0, 3.0)),
        fan=FanSpec(total_pressure=150.0),
        terminals={
            "main": TerminalSpec(0.5 if flow < 0.1 else 0.3),
            "b2": TerminalSpec(flow),
            "b3": TerminalSpec(flow),
        },
    )


def test_static_regain_pays_for_the_next_length() -> None:
    aim = Aim("static regain", main=8.0, branch=6.0, may_grow=True)
    found = proportion(drawn(), Schedule(), aim)
    by_run = {choice.run: choice for choice in found.choices}
    assert by_run["T2"].velocity < by_run["T1"].velocity
    assert "regain" in by_run["T2"].limit or "largest" in by_run["T2"].limit


@pytest.mark.parametrize("length", [6.0, 14.0, 24.0])
def test_static_regain_takes_the_smallest_size_that_three_quarters_pay(
    length: float,
) -> None:
    """R (pv1 - pv2) = friction and fittings of the next length: the definition. R 0.75:
    from memory, out of 0.5 to 0.95."""
    main, side = rectangular(0.4, 0.3), round_section(0.2)
    far = 4 + length
    drawing = drawing_from_runs(
        [
            ("first", np.array([[0, 0, 3], [4, 0, 3]]), main),
            ("next", np.array([[4, 0, 3], [far, 0, 3]]), main),
            ("last", np.array([[far, 0, 3], [far + 4, 0, 3]]), main),
            ("one", np.array([[4, 0, 3], [4, 3, 3]]), side),
            ("two", np.array([[far, 0, 3], [far, 3, 3]]), side),
        ]
    )
    flows = {"last": 0.4, "one": 0.3, "two": 0.2}
    plan = Schedule(
        source=SourceSpec(at=(0.0, 0.0, 3.0)),
        terminals={name: TerminalSpec(flow) for name, flow in flows.items()},
    )
    aim = Aim("static regain", main=9.0, branch=7.0, may_grow=True)
    sized = proportion(drawing, plan, aim)
    chosen = {choice.run: choice.chosen for choice in sized.choices}

    def share_needed(width: float) -> float:
        sections = {**chosen, "next": rectangular(width, 0.3)}
        found = analyse(build(drawing, replace(plan, sections=sections)))
        names = [found.graph.drawing.names[run] for run in found.graph.ducts.run]
        first, after = names.index("first"), names.index("next")
        lost = float(found.elements.loss[found.elements.duct == after].sum())
        pv = found.state.velocity_pressure
        return lost / float(pv[first] - pv[after])

    width = chosen["next"].width
    assert share_needed(width) <= 0.75 < share_needed(width - 0.05)


def side_main(
    entry: TakeoffEntry, degrees: float, flow: float
) -> tuple[Drawing, Schedule]:
    """A trunk, and a main that leaves it by a branch and gives off air itself."""
    way = np.array([np.cos(np.radians(degrees)), -np.sin(np.radians(degrees)), 0.0])
    at = np.array([6.0, 0.0, 3.0])
    drawing = drawing_from_runs(
        [
            ("trunk", np.array([[0, 0, 3], [6, 0, 3]]), rectangular(0.5, 0.4)),
            ("on", np.array([[6, 0, 3], [12, 0, 3]]), rectangular(0.4, 0.4)),
            ("side", np.array([at, at + 8 * way]), rectangular(0.3, 0.3)),
            (
                "s1",
                np.array([at + 3 * way, at + 3 * way + [0, 0, 2]]),
                round_section(0.2),
            ),
        ]
    )
    flows = {"on": 1.0, "side": flow, "s1": 0.1}
    return drawing, Schedule(
        source=SourceSpec(at=(0.0, 0.0, 3.0)),
        takeoff_default=entry,
        terminals={name: TerminalSpec(one, 10.0) for name, one in flows.items()},
    )


def lacking(drawing: Drawing, plan: Schedule, chosen: dict[str, Section]) -> float:
    """What three quarters of the fall of velocity pressure do not pay of 'side', Pa."""
    found = analyse(build(drawing, replace(plan, sections=chosen)))
    names = [found.graph.drawing.names[run] for run in found.graph.ducts.run]
    pv, elements = found.state.velocity_pressure, found.elements
    mine = np.array([names[duct] == "side" for duct in elements.duct])
    mine &= elements.kind != int(Kind.TERMINAL)
    first = names.index("side")
    back = 0.75 * float(pv[found.graph.ducts.parent[first]] - pv[first])
    return float(elements.loss[mine].sum()) - back


@pytest.mark.parametrize(
    ("entry", "degrees", "flow", "main"),
    [
        (TakeoffEntry.RADIUS, 90.0, 0.2, 12.0),
        (TakeoffEntry.RADIUS, 90.0, 0.45, 12.0),
        (TakeoffEntry.ENTRY_45, 45.0, 0.3, 8.0),
        (TakeoffEntry.PLAIN, 45.0, 0.45, 8.0),
    ],
)
def test_a_main_that_leaves_by_a_branch_is_the_smallest_that_pays(
    entry: TakeoffEntry, degrees: float, flow: float, main: float
) -> None:
    """The branch's loss is on the air before it: it stays where the main is smaller."""
    drawing, plan = side_main(entry, degrees, flow)
    aim = Aim("static regain", main=main, branch=6.0, may_grow=True)
    chosen = {c.run: c.chosen for c in proportion(drawing, plan, aim).choices}
    less = replace(chosen["side"], width=chosen["side"].width - 0.05)
    assert lacking(drawing, plan, chosen) <= 0.0
    assert lacking(drawing, plan, {**chosen, "side": less}) > 0.0


def test_a_declared_loss_is_the_same_in_a_smaller_main() -> None:
    """A coil of so many Pa loses them at its airflow, whatever duct it stands in."""
    drawing, plan = side_main(TakeoffEntry.RADIUS, 90.0, 0.2)
    coil = ComponentSpec("side", "coil", loss=2.0)
    plan = replace(plan, components=(coil,))
    aim = Aim("static regain", main=12.0, branch=6.0, may_grow=True)
    chosen = {c.run: c.chosen for c in proportion(drawing, plan, aim).choices}
    less = replace(chosen["side"], width=chosen["side"].width - 0.05)
    assert lacking(drawing, plan, chosen) <= 0.0
    assert lacking(drawing, plan, {**chosen, "side": less}) > 0.0


@pytest.mark.parametrize("highest", [None, 2.0])
@pytest.mark.parametrize("may_grow", [False, True])
def test_no_larger_size_is_taken_or_advised_where_none_is_paid_for(
    highest: float | None, may_grow: bool
) -> None:
    """The branch alone loses all that comes back, and more the wider it is."""
    drawing, plan = side_main(TakeoffEntry.PLAIN, 90.0, 0.2)
    plan = replace(plan, limits={"side": RunLimits(highest=highest)})
    aim = Aim("static regain", main=12.0, branch=6.0, may_grow=may_grow)
    found = proportion(drawing, plan, aim)
    chosen = {choice.run: choice.chosen for choice in found.choices}
    widths = np.arange(0.15, 1.25, 0.05)
    if not may_grow:
        widths = widths[widths * 0.3 <= chosen["trunk"].area + 1e-9]
    lacks = [
        lacking(drawing, plan, {**chosen, "side": rectangular(width, 0.3)})
        for width in widths
    ]
    assert min(lacks) > 0.0
    pv = float(found.after.state.velocity_pressure[0])
    near = widths[np.array(lacks) <= min(lacks) + 0.05 * 0.75 * pv]
    assert chosen["side"].width == pytest.approx(near[0])
    assert chosen["side"].height == pytest.approx(0.3)
    (said,) = [n for n in found.notices if "'side'" in n.what and "regain" in n.what]
    assert said.remedy == (
        'give its branch a better entry, or size with --method "equal friction"'
    )
    assert not [n for n in found.notices if "still change" in n.what]
    mended = replace(plan, takeoff_default=TakeoffEntry.RADIUS)  # as it says
    assert "side" not in unmet(proportion(drawing, mended, aim))


@pytest.mark.parametrize("may_grow", [False, True])
def test_nor_is_it_in_a_loop(may_grow: bool) -> None:
    """There sizes are weighed with the coefficients as they are."""
    level: dict[str, list[list[float]]] = {
        "header": [[0, 0], [2, 0]],
        "north": [[2, 0], [2, 3], [8, 3], [8, 0]],
        "south": [[2, 0], [2, -2.5], [8, -2.5], [8, 0]],
        "east": [[8, 0], [10, 0]],
        "up": [[5, 3], [5, 5]],
        "down": [[5, -2.5], [5, -4.5]],
    }
    diameter = {"header": 0.315, "up": 0.2, "down": 0.2}
    drawing = drawing_from_runs(
        [
            (
                name,
                np.array([[*point, 3.0] for point in points], float),
                round_section(diameter.get(name, 0.25)),
            )
            for name, points in level.items()
        ]
    )
    plan = Schedule(
        source=SourceSpec(at=(0.0, 0.0, 3.0)),
        terminals={
            "east": TerminalSpec(0.15, 20.0),
            "up": TerminalSpec(0.1, 15.0),
            "down": TerminalSpec(0.08, 15.0),
        },
    )
    aim = Aim("static regain", main=6.0, branch=4.0, may_grow=may_grow)
    found = proportion(drawing, plan, aim)
    ring = [one for one in found.choices if one.run in ("north", "south")]
    assert {one.limit for one in ring} == {"no size is paid for by static regain"}
    assert max(one.chosen.width for one in ring) < 1.0
    (said,) = [n for n in found.notices if "regain" in n.what]
    assert said.remedy.endswith('size with --method "equal friction"')


def regaining(at: Sequence[float]) -> tuple[Drawing, Schedule]:
    """A main, drawn in runs that meet at some places, that gives off air every 4 m."""
    main, side = rectangular(0.6, 0.3), round_section(0.2)
    ends = [0.0, *at, 24.0]
    runs = [
        (f"T{first:g}", np.array([[first, 0, 3], [last, 0, 3]]), main)
        for first, last in pairwise(ends)
    ]
    branches = {4.0: 0.25, 8.0: 0.25, 12.0: 0.1, 18.0: 0.1}
    runs += [(f"B{x:g}", np.array([[x, 0, 3], [x, 2, 3]]), side) for x in branches]
    flows = {f"B{x:g}": flow for x, flow in branches.items()} | {f"T{ends[-2]:g}": 0.1}
    return drawing_from_runs(runs), Schedule(
        source=SourceSpec(at=(0.0, 0.0, 3.0)),
        terminals={name: TerminalSpec(flow) for name, flow in flows.items()},
    )


@pytest.mark.parametrize("method", ["velocity", "static regain"])
def test_a_method_without_a_rate_gives_sizes_for_a_weak_fan_too(method: str) -> None:
    drawing, plan = regaining([12.0, 18.0])
    weak = replace(plan, fan=FanSpec(total_pressure=8.0))
    aim = Aim(method, main=8.0, branch=5.0)
    chosen, strong = (
        {c.run: c.chosen for c in proportion(drawing, p, aim).choices}
        for p in (weak, plan)
    )
    assert chosen == strong
    said = [
        n for n in proportion(drawing, weak, aim).notices if "does not carry" in n.what
    ]
    assert len(said) == 1
    assert "a lower velocity" in said[0].remedy
    weaker = replace(plan, fan=FanSpec(total_pressure=2.0))
    with pytest.raises(BadInput, match="leaves nothing for straight duct"):
        proportion(drawing, weaker, Aim())


@pytest.mark.parametrize("pressure", [8.0, 12.0, 16.0])
def test_a_rate_below_the_window_is_found_where_the_fan_leaves_no_other(
    pressure: float,
) -> None:
    """It is left with the sizes it gives, and one that is 2 % higher is not."""
    drawing, plan = regaining([12.0, 18.0])
    plan = replace(plan, fan=FanSpec(total_pressure=pressure))
    found = proportion(drawing, plan, Aim())
    assert found.rate is not None
    assert found.rate < WINDOW[0]
    assert not found.after.system.is_short
    said = [n.what for n in found.notices if "leaves no rate within" in n.what]
    assert len(said) == 1
    assert f"sized at {rate_words(found.rate)}" in said[0]
    for rate, is_left in ((found.rate, True), (1.02 * found.rate, False)):
        left = proportion(drawing, plan, Aim(rate=rate)).after.system
        assert left.friction_rate_available is not None
        assert (left.friction_rate_available >= rate) == is_left


def test_no_rate_is_refused_only_where_the_largest_sizes_leave_none() -> None:
    drawing, plan = regaining([12.0, 18.0])
    weak = replace(plan, fan=FanSpec(total_pressure=2.0))
    with pytest.raises(BadInput) as refused:
        proportion(drawing, weak, Aim())
    assert (
        "where 4 to 1 at the drawn height of 300 mm (11.8 in) holds down 'T0', the fan"
    ) in str(refused.value)
    assert "rate," not in str(refused.value)  # at none are the sizes larger
    found = proportion(drawing, weak, Aim(highest=1.0))  # as it says
    assert found.rate is not None
    spent = replace(weak, losses={"filter": 3.0})
    with pytest.raises(BadInput, match=r"declared losses spend it all, and 1 Pa"):
        proportion(drawing, spent, Aim(highest=1.0))


def test_what_regains_is_the_air_at_the_end_of_the_run_before() -> None:
    aim = Aim("static regain", main=8.0, branch=5.0)
    one, three = (
        proportion(*regaining(at), aim) for at in ([12.0, 18.0], [4.0, 8.0, 12.0, 18.0])
    )
    flow = 0.3  # of 0.8 m³/s, behind two branches
    for found in (one, three):
        chosen = {choice.run: choice for choice in found.choices}
        speed = flow / chosen["T0" if found is one else "T8"].chosen.area
        assert chosen["T12"].limit == "static regain"
        assert chosen["T12"].velocity < speed
        assert not [n for n in found.notices if "static regain" in n.what]


def test_a_size_that_the_regain_does_not_pay_for_is_said() -> None:
    drawing, plan = regaining([12.0, 18.0])
    aim = Aim("static regain", main=8.0, branch=5.0)
    choices = proportion(drawing, plan, aim).choices
    sections = {choice.run: choice.chosen for choice in choices}
    sections["T12"] = rectangular(0.15, 0.3)
    narrow = analyse(build(drawing, replace(plan, sections=sections)))
    (said,) = [
        notice
        for notice in sizing_notices(narrow, choices, aim, None)
        if "static regain" in notice.what
    ]
    assert "'T12'" in said.what
    assert "'T0'" not in said.what


@pytest.mark.parametrize(
    ("aim", "mend"),
    [
        (Aim(), "give a friction rate"),
        (Aim(rate=0.5), "give another friction rate"),
        (
            Aim("static regain", main=8.0, branch=5.0),
            'size with --method "equal friction"',
        ),
    ],
)
def test_sizes_that_do_not_settle_are_told_what_their_method_allows(
    aim: Aim, mend: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    drawing, plan = regaining([12.0, 18.0])
    plan = replace(plan, fan=FanSpec(total_pressure=300.0))
    monkeypatch.setattr(sys.modules[proportion.__module__], "_ROUNDS", 1)
    (said,) = [
        n for n in proportion(drawing, plan, aim).notices if "still change" in n.what
    ]
    assert said.remedy == mend


def test_a_rate_above_the_window_is_told_with_one_within_it() -> None:
    drawing, plan = regaining([12.0, 18.0])
    strong = replace(plan, fan=FanSpec(total_pressure=300.0))
    for rate in (None, 1.0):
        found = proportion(drawing, strong, Aim(rate=rate))
        (said,) = [n for n in found.notices if "above the window" in n.what]
        assert ('size with --rate "1.47 Pa/m"' in said.remedy) == (rate is None)


def test_sizes_only_shrink_unless_asked() -> None:
    found = proportion(drawn(), Schedule(), Aim(rate=0.5, highest=0.25))
    areas = {choice.run: choice.chosen.area for choice in found.choices}
    assert areas["T1"] >= areas["T2"] >= areas["T3"]
    for choice in found.choices:
        assert choice.chosen.height <= 0.25 + 1e-9


@pytest.mark.parametrize(
    ("before", "behind", "flow", "rate"),
    [
        # Both of 6.0 in, as 1.30 (ab)^0.625 / (a + b)^0.25 has it (Huebscher 1948).
        ("D6in", "10x3.25in", "100 cfm", "0.09 in.wg/100 ft"),
        ("10x3.25in", "D6in", "100 cfm", "0.09 in.wg/100 ft"),
        ("10x5in", "D8in", "190 cfm", "0.09 in.wg/100 ft"),  # 7.6 in: 8 in is nearest
        ("22x6in", "11x12in", "763 cfm", "0.1 in.wg/100 ft"),  # of one area
    ],
)
def test_a_duct_of_another_shape_is_no_larger_that_carries_as_much(
    before: str, behind: str, flow: str, rate: str
) -> None:
    first, second = (units.section(words, "test") for words in (before, behind))
    drawing = drawing_from_runs(
        [
            ("before", np.array([[0, 0, 0], [3, 0, 0]]), first),
            ("behind", np.array([[3, 0, 0], [3, 0, 3]]), second),
        ]
    )
    plan = Schedule(
        source=SourceSpec(at=(0.0, 0.0, 0.0)),
        terminals={"behind": TerminalSpec(units.quantity(flow, "airflow", "test"))},
        limits={"before": RunLimits(is_kept=True)},
    )
    most = units.quantity(rate, "friction rate", "test")
    aim = Aim(rate=most, series="in")
    chosen = {c.run: c for c in proportion(drawing, plan, aim).choices}
    assert chosen["behind"].chosen == second
    assert chosen["behind"].limit not in UNMET
    # A step more is larger, whatever it would serve for.
    wanted = proportion(drawing, plan, replace(aim, rate=most / 4))
    assert "behind" in unmet(wanted)
    held = {c.run: c for c in wanted.choices}["behind"].chosen
    assert (held.width, held.height) == pytest.approx((second.width, second.height))


def one_run(section: Section, flow: float) -> tuple[Drawing, Schedule]:
    """A straight trunk of 20 m and its airflow, m³/s."""
    drawing = drawing_from_runs(
        [("trunk", np.array([[0, 0, 3], [20, 0, 3]]), section)],
    )
    return drawing, Schedule(
        source=SourceSpec(at=(0.0, 0.0, 3.0)), terminals={"trunk": TerminalSpec(flow)}
    )


@pytest.mark.parametrize(
    ("drawn_as", "flow", "aim", "chosen", "bound"),
    [
        # As high as drawn while a width of up to 4 to 1 does, on both sides of that ...
        ("600x200mm", 0.575, Aim(rate=0.5, highest=0.4), "800×200 mm", "friction rate"),
        ("600x200mm", 0.585, Aim(rate=0.5, highest=0.4), "400×400 mm", "friction rate"),
        # ... then as nearly square as the limit allows.
        ("600x200mm", 1.5, Aim(rate=0.5, highest=0.4), "750×400 mm", "friction rate"),
        ("600x400mm", 1.5, Aim(rate=0.5), "750×400 mm", "friction rate"),
        ("600x200mm", 1.5, Aim(rate=0.5, highest=1.0), "550×550 mm", "friction rate"),
        ("600x200mm", 1.5, Aim(rate=0.5), "800×200 mm", "largest"),
        ("600x200mm", 1.5, Aim(rate=0.5, highest=0.25), "1000×250 mm", "largest"),
        (
            "600x200mm",
            1.5,
            Aim(rate=0.5, highest=0.4, widest=0.5),
            "500×400",
            "largest",
        ),
        # An upright one only where no width is left.
        (
            "600x200mm",
            1.5,
            Aim(rate=0.5, highest=0.9, widest=0.4),
            "400×750",
            "friction",
        ),
        # A limit is no height to keep.
        ("D150mm", 0.05, Aim(rate=0.8, shape=Shape.RECTANGULAR), "150×150", "friction"),
        (
            "D150mm",
            0.05,
            Aim(rate=0.8, shape=Shape.RECTANGULAR, highest=0.4),
            "150×150 mm",
            "friction rate",
        ),
        (
            "D400mm",
            0.65,
            Aim(rate=0.8, shape=Shape.RECTANGULAR, highest=0.25),
            "550×250 mm",
            "friction rate",
        ),
        (
            "D400mm",
            0.65,
            Aim(rate=0.8, shape=Shape.OVAL),
            "450×350 mm",
            "friction rate",
        ),
        # What stands, stays so where it may be as high.
        ("250x500mm oval", 0.6, Aim(rate=0.8), "300×500 mm", "friction rate"),
        ("500x250mm oval", 0.6, Aim(rate=0.8), "550×250 mm", "friction rate"),
        ("250x500mm oval", 0.6, Aim(rate=0.8, highest=0.3), "500×300 mm", "friction"),
        # Nothing but the series and 4 to 1 holds these.
        ("400x400mm", 0.05, Aim(rate=0.8), "100×400 mm", "narrowest at its height"),
        ("D400mm", 0.002, Aim(rate=0.8), "63 mm", "smallest of the series"),
    ],
)
def test_a_height_is_kept_where_it_serves_and_else_the_squarest_is_taken(
    drawn_as: str, flow: float, aim: Aim, chosen: str, bound: str
) -> None:
    drawing, plan = one_run(units.section(drawn_as, "test"), flow)
    (choice,) = proportion(drawing, plan, aim).choices
    assert chosen in choice.chosen.words
    assert bound in choice.limit
    rate, size = aim.rate or 0.0, choice.chosen
    assert (choice.gradient > rate) == (bound == "largest")
    if "friction" in bound:  # a step less of the longer side would not do
        less = sorted([size.width, size.height])
        less[1] -= 0.05
        narrower = Section(size.shape, *less)
        assert sizes.gradient_of(narrower, flow, air()) > rate


def test_a_height_that_serves_in_the_end_is_kept_whatever_was_tried_before() -> None:
    """The first rate is low and wants 400 mm, larger ducts leave more for straight."""
    drawing, plan = one_run(rectangular(0.6, 0.2), 0.7)
    plan = replace(plan, fan=FanSpec(total_pressure=30.0))
    found = proportion(drawing, plan, Aim(highest=0.4))
    assert found.rounds > 2
    assert not [n for n in found.notices if "circle" in n.what]
    assert found.choices[0].chosen == rectangular(0.75, 0.2)


@pytest.mark.parametrize("method", ["static regain", "velocity"])
@pytest.mark.parametrize(("main", "missing"), [(None, "main"), (8.0, "branch")])
def test_sizing_by_velocities_that_nothing_says_is_refused(
    main: float | None, missing: str, method: str
) -> None:
    drawing, plan = regaining([12.0, 18.0])
    aim = Aim(method, main=main)
    with pytest.raises(BadInput, match=f"write --{missing}-velocity"):
        proportion(drawing, plan, aim)
    said = replace(plan, checks=ChecksSpec(use="residential"))
    assert proportion(drawing, said, aim).choices


def test_a_branch_with_sides_fits_the_duct_before_it() -> None:
    """It may be square in a square main, and not higher than a flat one."""
    main, side = rectangular(0.8, 0.2), round_section(0.3)
    drawing = drawing_from_runs(
        [
            ("main", np.array([[0, 0, 3], [8, 0, 3]]), main),
            ("side", np.array([[4, 0, 3], [4, 3, 3]]), side),
        ]
    )
    plan = Schedule(
        source=SourceSpec(at=(0.0, 0.0, 3.0)),
        terminals={"main": TerminalSpec(0.25), "side": TerminalSpec(0.25)},
    )
    found = proportion(drawing, plan, Aim(rate=0.6, shape=Shape.RECTANGULAR))
    chosen = {choice.run: choice.chosen for choice in found.choices}
    assert chosen["main"].height == 0.2
    assert chosen["side"].height == 0.2
    assert chosen["side"].width > 0.3
    assert not [n for n in found.notices if "larger than the side" in n.what]


def test_a_run_may_be_as_large_as_the_one_before_it_turned() -> None:
    """No other step serves it: 250x250 mm is too small, and 200x400 too large."""
    drawing = drawing_from_runs(
        [
            ("a", np.array([[0, 0, 3], [3, 0, 3]]), rectangular(0.4, 0.2)),
            ("t", np.array([[3, 0, 3], [3.6, 0.25, 3]]), None),
            ("b", np.array([[3.6, 0.25, 3], [6, 0.25, 3]]), rectangular(0.2, 0.4)),
        ],
        attributes={"t": Attributes(transition=True)},
    )
    plan = Schedule(
        source=SourceSpec(at=(0.0, 0.0, 3.0)), terminals={"b": TerminalSpec(0.3)}
    )
    found = proportion(drawing, plan, Aim(rate=5.0, branch=4.4)).choices
    assert [choice.limit for choice in found] == ["velocity", "velocity"]
    sizes_of = [choice.chosen for choice in found]
    assert sizes_of == [rectangular(0.35, 0.2), rectangular(0.2, 0.35)]
    # The limits of the run itself stand.
    low = replace(plan, limits={"b": RunLimits(highest=0.3)})
    found = proportion(drawing, low, Aim(rate=5.0, branch=4.4)).choices
    assert found[1].limit in UNMET


@pytest.mark.parametrize(
    ("aim", "limits", "more"),
    [
        (
            Aim(rate=0.5),
            "4 to 1 at the drawn height of 200 mm (7.9 in) holds",
            "height",
        ),
        (
            Aim(rate=0.5, highest=0.25, widest=3.0),
            "a height of at most 250 mm",
            "height",
        ),
        (Aim(rate=0.5, highest=3.0, widest=0.25), "a width of at most 250 mm", "width"),
        (
            Aim(rate=0.5, highest=0.3, widest=0.5),
            "a height of at most 300 mm (11.8 in) and a width of at most 500 mm",
            "height or width",
        ),
        (
            Aim(rate=0.5, highest=0.3, widest=0.5, shape=Shape.ROUND),
            "a height of at most 300 mm (11.8 in) holds",
            "height and width",
        ),
    ],
)
def test_only_a_side_that_is_held_is_what_to_relax(
    aim: Aim, limits: str, more: str
) -> None:
    drawing, plan = one_run(rectangular(0.6, 0.2), 1.5)
    plan = replace(plan, fan=FanSpec(total_pressure=5.0))
    notices = proportion(drawing, plan, aim).notices
    (said,) = [n for n in notices if "does not carry" in n.what]
    assert f"where {limits}" in said.what
    (small,) = [n for n in notices if "no size within the limits" in n.what]
    assert ("4 to 1" in small.what) == (aim.shape != Shape.ROUND)
    # At a higher rate the fan would carry it still less.
    assert small.remedy == f"allow more {more} there"
    strong = replace(plan, fan=FanSpec(total_pressure=5000.0))
    notices = proportion(drawing, strong, aim).notices
    (small,) = [n for n in notices if "no size within the limits" in n.what]
    assert small.remedy == f"allow more {more} there, or a higher rate"


def held_arm(pressure: float) -> tuple[Drawing, Schedule]:
    """A trunk that is free, and an arm that a limit of its own holds to 160 mm."""
    trunk = rectangular(0.4, 0.2)
    drawing = drawing_from_runs(
        [
            ("trunk", np.array([[0, 0, 3], [12, 0, 3]]), trunk),
            ("arm", np.array([[6, 0, 3], [6, 4, 3], [6, 4, 2]]), round_section(0.15)),
        ]
    )
    plan = Schedule(
        source=SourceSpec(at=(0.0, 0.0, 3.0)),
        fan=FanSpec(total_pressure=pressure),
        limits={"arm": RunLimits(widest=0.16)},
        terminals={"trunk": TerminalSpec(0.3), "arm": TerminalSpec(0.15)},
    )
    return drawing, plan


@pytest.mark.parametrize("pressure", [88.0, 93.0, 100.0, 120.0])
def test_free_runs_make_up_for_one_that_a_limit_holds(pressure: float) -> None:
    drawing, plan = held_arm(pressure)
    found = proportion(drawing, plan, Aim())
    assert not found.after.system.is_short
    said = " ".join(notice.sentence for notice in found.notices)
    assert "does not carry" not in said
    assert "higher rate" not in said  # the fan would not carry that
    assert found.rate is not None
    assert not proportion(drawing, plan, Aim(rate=found.rate)).after.system.is_short


def test_nothing_is_to_spare_where_something_is_lacking() -> None:
    """No size of the trunk makes up for the arm: it is sized at what is left."""
    drawing, plan = held_arm(80.0)
    found = proportion(drawing, plan, Aim())
    assert found.after.system.is_short
    said = " ".join(notice.sentence for notice in found.notices)
    assert "does not carry" in said
    assert "to spare" not in said
    assert "--rate" not in said
    strong = proportion(drawing, held_arm(150.0)[1], Aim(rate=1.0))
    assert any("to spare" in notice.sentence for notice in strong.notices)


def test_a_lower_rate_is_named_where_it_lets_the_fan_carry() -> None:
    drawing, plan = held_arm(93.0)
    found = proportion(drawing, plan, Aim(rate=4.0)).notices
    (said,) = [n for n in found if "does not carry" in n.what]
    named = re.search(r'size with --rate "([\d.]+) Pa/m"', said.remedy)
    assert named
    aim = Aim(rate=float(named.group(1)))
    assert not proportion(drawing, plan, aim).after.system.is_short
    weak = proportion(drawing, held_arm(80.0)[1], Aim(rate=4.0)).notices
    (said,) = [n for n in weak if "does not carry" in n.what]
    assert "--rate" not in said.remedy


@pytest.mark.parametrize("aim", [Aim(), Aim(rate=3.0), Aim(rate=3.0, main=9.0)])
@pytest.mark.parametrize("kind", ["grille", "kitchen hood"])
def test_ducts_that_may_carry_dust_are_not_sized_for_comfort(
    aim: Aim, kind: str
) -> None:
    drawing, plan = held_arm(150.0)
    ends = {name: replace(end, kind=kind) for name, end in plan.terminals.items()}
    plan = replace(
        plan,
        source=replace(plan.source, is_return=True),
        terminals=ends,
        checks=ChecksSpec(use="commercial"),
    )
    assert plan.may_carry_dust == (kind == "kitchen hood")
    found = proportion(drawing, plan, aim)
    by_run = {choice.run: choice for choice in found.choices}
    fast = by_run["trunk"].velocity > 7.0  # the limit is 6.6 m/s
    assert fast == plan.may_carry_dust
    said = " ".join(notice.remedy for notice in found.notices)
    advice = re.search(
        r"allow more|a larger section of|lower velocit|more height", said
    )
    assert bool(advice) != plan.may_carry_dust
    assert ("before a larger section is taken" in said) == plan.may_carry_dust


@pytest.mark.parametrize("kind", ["grille", "kitchen hood"])
@pytest.mark.parametrize("aim", [Aim(rate=0.1), Aim("velocity", main=2.0, branch=2.0)])
def test_no_duct_that_may_carry_dust_gets_larger_than_drawn(
    aim: Aim, kind: str
) -> None:
    """In a larger one air is slower, so that dust may settle, as the guide says."""
    plan = Schedule(
        source=SourceSpec(is_return=True),
        terminals={"T3": TerminalSpec(0.25, 9.0, kind)},
    )
    found = proportion(drawn(), plan, aim)
    as_drawn = {choice.run: choice.drawn for choice in found.choices}
    kept = {choice.run: choice.chosen for choice in found.choices} == as_drawn
    assert kept == plan.may_carry_dust
    told = [one for one in found.notices if "no size up to the one drawn" in one.what]
    assert len(told) == plan.may_carry_dust
    for one in told:
        assert "before a larger section is taken" in one.remedy
    assert (set(unmet(found)) == set(as_drawn)) == plan.may_carry_dust
    # A run without a section is held to none, and a smaller one is no matter.
    bare = proportion(drawn([(n, line, None) for n, line, _ in ROUTE]), plan, aim)
    assert not [one for one in bare.notices if "the one drawn" in one.what]
    fast = proportion(drawn(), plan, Aim("velocity", main=20.0, branch=20.0))
    for choice in fast.choices:
        assert choice.drawn is not None
        assert choice.chosen.area < choice.drawn.area


def test_a_fan_that_no_drawn_size_serves_is_told_what_dust_forbids() -> None:
    plan = Schedule(
        source=SourceSpec(is_return=True),
        fan=FanSpec(total_pressure=20.0),
        terminals={"T3": TerminalSpec(0.25, 9.0, "hood")},
    )
    with pytest.raises(BadInput, match="the size drawn, as dust may settle, holds"):
        proportion(drawn(), plan, Aim())


@pytest.mark.parametrize(
    ("said", "why"),
    [
        ({"components": (ComponentSpec("T2", "hood entry", 5.0),)}, "component"),
        ({"losses": {"cyclone": 9.0}}, "loss 'cyclone'"),
        ({"checks": ChecksSpec(use="industrial")}, "an industrial exhaust"),
        ({"losses": {"filter": 9.0}}, ""),
    ],
)
def test_larger_sections_that_were_not_tried_for_dust_are_told(
    said: dict[str, Any], why: str
) -> None:
    found = layout(source=SourceSpec(is_return=True), **said)
    assert any("larger" in one.what for one in remedies(found)) != bool(why)
    told = [one.what for one in kept_from_trying(found) if "may carry dust" in one.what]
    assert len(told) == bool(why)
    for one in told:
        assert one.startswith("larger sections were not tried: the ducts")
        assert f"({why}" in one


def test_a_method_without_a_velocity_for_dust_names_no_use() -> None:
    drawing, plan = held_arm(150.0)
    ends = {n: replace(end, kind="hood") for n, end in plan.terminals.items()}
    source = replace(plan.source, is_return=True)
    plan = replace(
        plan, source=source, terminals=ends, checks=ChecksSpec(use="commercial")
    )
    with pytest.raises(BadInput, match=r"write --main-velocity, as the local code"):
        proportion(drawing, plan, Aim("velocity"))


def test_remedies_of_runs_that_differ_name_their_runs() -> None:
    drawing, plan = held_arm(500.0)
    plan = replace(plan, checks=ChecksSpec(use="commercial"))
    found = proportion(drawing, plan, Aim(rate=3.0, main=12.0, branch=12.0))
    (said,) = [n for n in found.notices if "in branches" in n.what]
    assert "for 'arm', allow more width there" in said.remedy
    assert "for 'trunk', give lower velocities to size with" in said.remedy


def test_a_rate_below_the_window_that_carries_is_told() -> None:
    found = proportion(*held_arm(88.0), Aim())
    (said,) = [n for n in found.notices if "within the window" in n.what]
    assert found.rate is not None
    assert found.rate < WINDOW[0]
    assert said.what.startswith("the fan carries the layout at no rate within")
    assert said.what.endswith("the highest at which it does")


def test_each_run_is_held_by_limits_of_its_own_and_may_stay_as_drawn() -> None:
    """An invented route, flattened under a beam: 4 to 1 would narrow it by half."""
    folder = HOUSE.parents[1] / "reading_room"
    drawing, plan = (
        read(folder / "flatten.glb"),
        read_schedule(folder / "schedule.toml"),
    )
    with pytest.raises(BadInput) as refused:
        proportion(drawing, plan, Aim())
    said = str(refused.value)
    assert "4 to 1 at the drawn height of 300 mm (11.8 in) holds down 'T1', and" in said
    assert "4 to 1 at the drawn height of 150 mm (5.9 in) holds down 'flat'" in said
    assert 'write as_drawn = true under [limits."flat"], or allow more height' in said
    kept = replace(plan, limits={"flat": RunLimits(is_kept=True)})  # as it says
    assert not proportion(drawing, kept, Aim()).after.system.is_short
    # It is not said where that does not help either.
    weak = replace(plan, fan=replace(plan.fan, external_static_pressure=130.0))
    with pytest.raises(BadInput) as refused:
        proportion(drawing, weak, Aim())
    assert "as_drawn" not in str(refused.value)


def test_runs_without_a_size_have_each_its_own_limit() -> None:
    runs = [
        ("high", np.array([[0, 0, 3], [5, 0, 3]]), rectangular(1.2, 0.3)),
        ("flat", np.array([[5, 0, 3], [9, 0, 3]]), rectangular(1.2, 0.2)),
    ]
    plan = Schedule(
        source=SourceSpec(at=(0.0, 0.0, 3.0)), terminals={"flat": TerminalSpec(2.0)}
    )
    found = proportion(drawing_from_runs(runs), plan, Aim(rate=9.0, branch=2.0))
    (said,) = [n for n in found.notices if "allow no size" in n.what]
    assert "a height of its own each" in said.what


def test_limits_of_a_run_from_the_schedule(tmp_path: Path) -> None:
    path = tmp_path / "s.toml"
    path.write_text('[limits.T2]\nmax_height = "200 mm"\nmax_width = "0.5 m"\n')
    plan = read_schedule(path)
    found = proportion(drawn(), plan, Aim(rate=0.8, may_grow=True))
    by_run = {choice.run: choice.chosen for choice in found.choices}
    assert by_run["T2"].height == pytest.approx(0.2)
    assert by_run["T2"].width <= 0.5 + 1e-9
    assert by_run["T1"].height == pytest.approx(0.3)


def test_a_run_as_drawn_has_no_other_limit(tmp_path: Path) -> None:
    path = tmp_path / "s.toml"
    path.write_text('[limits.T2]\nas_drawn = true\nmax_width = "0.5 m"\n')
    with pytest.raises(BadInput, match="a run as drawn takes no other size"):
        read_schedule(path)


def test_what_no_lower_section_mends_is_said() -> None:
    middle = drawn().points[:2].mean(axis=0)
    block = trimesh.creation.box([0.4, 2.0, 2.0])
    block.apply_translation(middle)
    wall = Obstacle("wall", np.asarray(block.vertices), np.asarray(block.faces), True)
    for clearance, near in (
        (0.0, "runs into an obstacle"),
        (0.05, "comes nearer to an obstacle than 50 mm (2 in)"),
    ):
        plan = Schedule(clearance=clearance)
        found = proportion(drawn(), plan, Aim(rate=1.0), obstacles=[wall])
        (said,) = [n for n in found.notices if "an obstacle" in n.what]
        assert said.what == f"with these sizes 'T1' still {near}"
        clear = proportion(drawn(), plan, Aim(rate=1.0))
        assert not [n for n in clear.notices if "an obstacle" in n.what]


def test_a_run_may_stay_as_it_is_drawn() -> None:
    plan = Schedule(limits={"T1": RunLimits(is_kept=True)})
    found = proportion(drawn(), plan, Aim(rate=3.0))
    kept = {choice.run: choice for choice in found.choices}["T1"]
    assert kept.chosen == kept.drawn
    assert kept.limit == "as drawn, as is said"
    free = proportion(drawn(), Schedule(), Aim(rate=3.0))
    assert {c.run: c.chosen for c in free.choices}["T1"].area < kept.chosen.area
    bare = drawing_from_runs(_bare_route())
    names = [str(run[0]) for run in _bare_route()]
    plan = Schedule(limits={names[0]: RunLimits(is_kept=True)})
    with pytest.raises(BadInput, match="as drawn and has no section"):
        proportion(bare, plan, Aim(rate=1.0))


@pytest.mark.parametrize(
    "aim",
    [
        Aim(rate=1.0, shape=Shape.ROUND, highest=0.2),
        Aim(rate=1.0, shape=Shape.ROUND, widest=0.2),
    ],
)
def test_both_limits_bind_a_round_duct(aim: Aim) -> None:
    found = proportion(drawn(), Schedule(), aim)
    assert all(choice.chosen.width <= 0.2 + 1e-9 for choice in found.choices)
    over = [c.run for c in found.choices if c.gradient > 1.0]
    said = next(n.what for n in found.notices if "no size within the limits" in n.what)
    assert over
    assert all(f"'{run}'" in said for run in over)


def test_a_round_run_that_no_size_fits_is_left_and_said() -> None:
    found = proportion(drawn(), Schedule(), Aim(rate=1.0, widest=0.05))
    assert any("left as drawn" in n.what and "'B1'" in n.what for n in found.notices)


def test_a_run_under_a_beam_is_made_lower() -> None:
    """T1 lies about z = 3; a beam at 3.12 leaves 0.12 m above its middle."""
    box = trimesh.creation.box(bounds=[(3, -2, 3.12), (3.3, 2, 3.6)])
    beam = Obstacle("beam", np.asarray(box.vertices), np.asarray(box.faces), True)
    plan = Schedule(clearance=0.02)
    free = proportion(drawn(), plan, Aim(rate=0.8))
    bound = proportion(drawn(), plan, Aim(rate=0.8), obstacles=[beam])
    unbound = Aim(rate=0.8, highest=math.inf, widest=math.inf)
    alike = proportion(drawn(), plan, unbound, obstacles=[beam])
    assert [c.chosen for c in alike.choices] == [c.chosen for c in bound.choices]
    heights = [
        next(c.chosen.height for c in found.choices if c.run == "T1")
        for found in (free, bound)
    ]
    assert heights[0] == pytest.approx(0.3)
    assert heights[1] <= 0.2 + 1e-9
    gap = clearances(solids(bound.after.graph), [beam]).nearest
    assert gap is not None
    assert gap >= 0.02 - 1e-6


@pytest.mark.parametrize("shape", [Shape.ROUND, Shape.RECTANGULAR, Shape.OVAL])
def test_every_duct_takes_the_shape_that_is_asked_for(shape: Shape) -> None:
    found = proportion(drawn(), Schedule(), Aim(rate=1.0, shape=shape))
    assert {choice.chosen.shape for choice in found.choices} == {shape}


def test_a_drawing_without_sections_is_sized_too() -> None:
    bare = drawn([(name, points, cut) for name, points, cut in _bare_route()])
    found = proportion(bare, Schedule(), Aim(rate=1.0))
    assert found.before is None
    assert len(found.choices) == 2


def test_a_smaller_first_duct_makes_no_stronger_fan() -> None:
    """The fan's outlet stays as wide as it is drawn, whatever the ducts become."""
    plan = Schedule(fan=FanSpec(external_static_pressure=60.0))
    found = proportion(drawn(), plan, Aim(rate=3.0))
    before, after = found.before, found.after
    assert before is not None
    assert after.graph.section(0).area < before.graph.section(0).area
    outlet = before.system.outlet_velocity_pressure
    assert after.system.outlet_velocity_pressure == outlet
    assert after.system.available == before.system.available
    assert after.state.velocity_pressure[0] > outlet
    (said,) = [n for n in found.notices if "the fan's outlet" in n.what]
    assert f'outlet_velocity_pressure = "{outlet:.1f} Pa"' in said.remedy
    declared = Schedule(
        fan=FanSpec(external_static_pressure=60.0, outlet_velocity_pressure=outlet)
    )
    notices = proportion(drawn(), declared, Aim(rate=3.0)).notices
    assert not [n for n in notices if "the fan's outlet" in n.what]


def test_what_a_wider_first_duct_wins_is_less_by_what_the_fan_s_outlet_loses() -> None:
    plain, static = (
        {(one.what, one.at): one.won for one in remedies(layout(fan=fan))}
        for fan in (
            FanSpec(total_pressure=60.0),
            FanSpec(external_static_pressure=60.0),
        )
    )
    graph = layout().graph
    first = graph.drawing.names[int(graph.ducts.run[0])]
    wider = [key for key in plain if key[1] == first and "larger" in key[0]]
    assert wider
    for key, won in plain.items():
        if key in wider:
            assert static.get(key, 0.0) < won - 0.1
        else:
            assert static[key] == pytest.approx(won)


def test_limits_that_allow_no_size_are_said() -> None:
    found = proportion(drawn(), Schedule(), Aim(rate=1.0, highest=0.001))
    said = [n.sentence for n in found.notices if "allow no size" in n.sentence]
    assert len(said) == 1
    assert "'T1'" in said[0]
    bare = drawn([(name, points, cut) for name, points, cut in _bare_route()])
    with pytest.raises(BadInput, match="'T1', which has none drawn"):
        proportion(bare, Schedule(), Aim(rate=1.0, highest=0.001))


def _bare_route() -> Sequence[Any]:
    return [
        ("T1", [[0, 0, 3], [5, 0, 3]], None),
        ("T3", [[5, 0, 3], [5, 5, 3]], None),
    ]


@settings(max_examples=12, deadline=None, derandomize=True)
@given(st.floats(0.3, 3.0), st.floats(1.05, 2.0))
def test_a_lower_rate_never_gives_a_smaller_duct(rate: float, less: float) -> None:
    one = proportion(drawn(), Schedule(), Aim(rate=rate))
    other = proportion(drawn(), Schedule(), Aim(rate=rate / less))
    for a, b in zip(one.choices, other.choices, strict=True):
        assert b.chosen.area >= a.chosen.area * (1 - 1e-9)


# --- rooms


def test_an_airflow_from_a_load() -> None:
    """Q = load / (density x 1006 J/(kg K) x difference): sensible heat, definition."""
    plan = Schedule(
        terminals={"x": TerminalSpec(np.nan, load=2400.0)},
        rooms=RoomsSpec(difference=8.0),
    )
    ready, notices = with_airflows(plan)
    wanted = 2400.0 / (air().density * 1006.0 * 8.0)
    assert ready.terminals["x"].flow == pytest.approx(wanted)
    (said,) = notices  # one of all loads
    assert "airflows by load over 8 K (14.4 °F), in air of 1.204 kg/m³" in said.what
    assert "'x' 247.7 L/s (525 cfm) for 2400 W (8189 Btu/h)" in said.what
    # 1 cfm of standard air carries 1.08 Btu/h for each °F: common practice.
    cfm = units.to_unit(wanted, "cfm")
    assert cfm * 1.08 * 8.0 * 9 / 5 == pytest.approx(2400.0 / 0.29307107, rel=0.01)


def test_shares_of_a_total(tmp_path: Path) -> None:
    path = tmp_path / "s.toml"
    path.write_text(
        '[rooms]\ntotal_airflow = "0.5 m3/s"\ntemperature_difference = "15 F"\n'
        '[terminals.a]\nshare = "60 %"\n[terminals.b]\nload = "1000 Btu/h"\n'
    )
    ready, _ = with_airflows(read_schedule(path))
    assert ready.terminals["a"].flow == pytest.approx(0.3)
    wanted = 1000 * 0.29307107 / (air().density * 1006 * 15 * 5 / 9)
    assert ready.terminals["b"].flow == pytest.approx(wanted)


def _of_total(path: Path, drawn: dict[str, float] | None = None) -> list[str]:
    """What is said of a plan's total where its terminals are drawn, some with air."""
    plan, _ = with_airflows(read_schedule(path))
    drawn = drawn or {}
    names = [*plan.terminals, *(name for name in drawn if name not in plan.terminals)]
    runs = [
        (name, np.array([[0.0, 3.0 * row, 0], [9.0, 3.0 * row, 0]]), rectangular(1, 1))
        for row, name in enumerate(names)
    ]
    trunk = np.array([[0.0, 3.0 * row, 0] for row in range(-1, len(names))])
    drawing = drawing_from_runs(
        [("trunk", trunk, rectangular(1, 1)), *runs],
        flows=drawn,
        attributes={"trunk": Attributes(source=True, source_at_end=False)},
    )
    notices = build(drawing, plan).notices
    return [one.sentence for one in notices if "[rooms]" in one.sentence]


@pytest.mark.parametrize(
    ("others", "short"),
    [
        ('[terminals.b]\nshare = "30 %"', "47.2 L/s (100 cfm)"),
        ('[terminals.b]\nshare = "40 %"', None),
        ('[terminals.b]\nflow = "400 cfm"', None),
        (
            '[terminals.b]\nshare = "6.7 %"\n[terminals.c]\nshare = "33.3 %"',
            None,
        ),
    ],
)
def test_air_that_no_share_takes_is_missed(
    tmp_path: Path, others: str, short: str | None
) -> None:
    path = tmp_path / "s.toml"
    path.write_text(
        '[rooms]\ntotal_airflow = "1000 cfm"\n[terminals.a]\nshare = "60 %"\n' + others
    )
    said = _of_total(path)
    assert len(said) == (short is not None)
    if short is not None:
        assert "s.toml, [terminals]" in said[0]
        assert f"{short} reach none" in said[0]


def test_more_air_than_the_total_that_shares_are_of_is_said(tmp_path: Path) -> None:
    path = tmp_path / "s.toml"
    path.write_text(
        '[rooms]\ntotal_airflow = "1 m3/s"\n[terminals.a]\nshare = "100 %"\n'
        '[terminals.b]\nflow = "0.5 m3/s"\n'
    )
    (said,) = _of_total(path)
    assert "have 1500 L/s" in said
    assert "more than the total airflow of 1000 L/s" in said
    assert "by 500 L/s" in said


@pytest.mark.parametrize("is_named", [False, True])
@pytest.mark.parametrize(
    ("drawn", "words"),
    [(0.15, "450 L/s (953 cfm) reach none"), (0.6, ""), (0.7, "by 100 L/s (212 cfm)")],
)
def test_an_airflow_in_the_drawing_counts_in_the_total(
    drawn: float, words: str, is_named: bool, tmp_path: Path
) -> None:
    path = tmp_path / "s.toml"
    path.write_text(
        '[rooms]\ntotal_airflow = "1 m3/s"\n[terminals.a]\nshare = "40 %"\n'
        + '[terminals.b]\nloss = "10 Pa"\n' * is_named
    )
    said = _of_total(path, {"b": drawn})
    assert len(said) == bool(words)
    assert all(words in one for one in said)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ('[terminals.a]\nload = "1 kW"', "temperature_difference"),
        ("[terminals.a]\nshare = 0.5", "total_airflow"),
        (
            '[rooms]\ntotal_airflow = "1 m3/s"\n[terminals.a]\nshare = 0.7\n'
            "[terminals.b]\nshare = 0.6",
            "add up to 130",
        ),
        ('[terminals.a]\nshare = 0.5\nflow = "1 m3/s"', "given together"),
        ('[rooms]\ntemperature_difference = "0 K"', "above zero"),
        ("[rooms]\ntemperature_difference = 8", "no unit"),
    ],
)
def test_rooms_that_do_not_give_an_airflow(
    tmp_path: Path, text: str, said: str
) -> None:
    path = tmp_path / "s.toml"
    path.write_text(text)
    with pytest.raises(BadInput, match=said):
        with_airflows(read_schedule(path))


# --- checks


def found_check(found: Sequence[Check], words: str) -> Check:
    (one,) = [check for check in found if words in check.rule]
    return one


def test_velocities_by_use() -> None:
    """`velocity_limits.csv`: residential supply trunk 900 fpm, branch 900 fpm."""
    analysis = layout(checks=ChecksSpec(use="residential"))
    check = found_check(checks(analysis), "mains, residential")
    assert check.limit == pytest.approx(units.quantity("900 fpm", "velocity", ""), 1e-3)
    assert check.limit is not None
    assert check.is_kept == bool(analysis.state.velocity[:2].max() <= check.limit)
    assert not checks(layout())[0].rule.startswith("velocity in mains")


def test_returns_and_flexible_ducts_have_limits_of_their_own() -> None:
    """ACCA Manual D's table, from memory: returns 700 fpm, supply 900; flexible 700."""
    use = ChecksSpec(use="residential")
    fpm = 0.3048 / 60
    back = layout(checks=use, source=SourceSpec(is_return=True))
    assert velocity_limits(back) == pytest.approx(700 * fpm, rel=1e-9)
    soft = "flexible duct, nonmetallic with wire, fully extended"
    mixed = layout(checks=use, run_materials={"B1": soft})
    names = [mixed.graph.drawing.names[run] for run in mixed.graph.ducts.run]
    wanted = [(700 if name == "B1" else 900) * fpm for name in names]
    assert velocity_limits(mixed) == pytest.approx(wanted, rel=2e-3)
    # Flexible duct is no sheet, and bends by itself.
    made, rigid = quantities(mixed), quantities(layout(checks=use))
    assert [row.gauge is None for row in made.lengths].count(True) == 1
    assert sum(row.area for row in made.sheet) < sum(row.area for row in rigid.sheet)
    elbows = [
        sum(row.count for row in one.fittings if "elbow" in row.what)
        for one in (made, rigid)
    ]
    assert elbows[0] == elbows[1] - 1


def test_a_limit_is_that_of_its_source_unrounded() -> None:
    """Rows of `velocity_limits.csv`: a source in fpm has round ones, others in m/s."""
    for row in tables.rows("velocity_limits"):
        feet, metres = float(row["velocity_fpm"]), float(row["velocity_m_s"])
        limit = velocity_checks.limit_of(row)
        assert limit == pytest.approx(metres, abs=0.006)  # they say the same
        exact = metres if metres % 1.0 == 0.0 else feet * 0.3048 / 60
        assert limit == pytest.approx(exact, rel=1e-12)


def test_a_smaller_main_past_a_branch_is_ordered() -> None:
    found = quantities(layout())
    tapers = {
        row.what.removeprefix("change of size past a branch, from "): row.count
        for row in found.fittings
        if row.what.startswith("change of size")
    }
    assert tapers == {"600×300 mm": 1, "400×300 mm": 1}


def test_every_terminal_is_counted_and_sums_are_given() -> None:
    ends = build(drawn(), Schedule()).terminals
    name, *others = ends.name
    grille = TerminalSpec(float(ends.flow[0]), kind="wall grille")
    analysis = layout(terminals={name: grille})
    found = quantities(analysis)
    counted: Counter[str] = Counter()
    for row in found.fittings:
        counted[row.what] += row.count
    assert counted["wall grille"] == 1
    assert counted["terminal, kind not declared"] == len(others)
    dampers = [one for one in balance(analysis) if one.angle is not None]
    assert dampers
    assert counted["balancing damper"] == len(dampers)
    of_duct, of_sheet = shown_quantities.quantity_totals(found, display.METRIC)
    assert float(of_duct[2]) == pytest.approx(
        sum(row.length for row in found.lengths), abs=0.05
    )
    assert float(of_sheet[2]) == pytest.approx(
        sum(row.mass for row in found.sheet), abs=0.05
    )


def test_velocity_for_a_noise_criterion() -> None:
    """ASHRAE Applications, RC 25 in the room: main 950 fpm rectangular, 1700 round;
    branches 80 %, the last duct 50 % of it. One line for each class of duct."""
    spec = ChecksSpec(noise="RC 25", stands="in the room")
    analysis = layout(checks=spec)
    found = [check for check in checks(analysis) if "RC 25" in check.rule]
    share = {"mains": 1.0, "branches": 0.8, "last ducts": 0.5}
    words = [check.rule.removeprefix("velocity in ").split(",")[0] for check in found]
    assert set(words) == set(share)
    ducts = analysis.graph.ducts
    names = [analysis.graph.drawing.names[run] for run in ducts.run]
    for word, check in zip(words, found, strict=True):
        worst = names.index(check.at)
        main = "1700 fpm" if ducts.shape[worst] == Shape.ROUND else "950 fpm"
        limit = share[word] * units.quantity(main, "velocity", "")
        assert check.limit == pytest.approx(limit, rel=2e-3)


def test_square_throats_are_heard_above_800_fpm() -> None:
    """Common practice, no published source."""
    mitred = ElbowRule(ElbowConstruction.MITRED)
    check = found_check(checks(layout(elbow_default=mitred)), "square throat")
    assert check.limit == pytest.approx(units.quantity("800 fpm", "velocity", ""), 1e-2)
    assert not check.is_kept
    assert check.remedy


@pytest.mark.parametrize(("turn", "is_heard"), [(58.0, False), (62.0, True)])
def test_square_throats_of_small_turns_are_not_counted(
    turn: float, is_heard: bool
) -> None:
    """From 60 degrees: own choice, no published source."""
    a = np.radians(turn)
    away = [4 + 3 * np.cos(a), 3 * np.sin(a), 3]
    plan = Schedule(
        source=SourceSpec(at=(0.0, 0.0, 3.0), kind="fan"),
        terminals={"room": TerminalSpec(0.5, run="duct")},
        elbow_default=ElbowRule(ElbowConstruction.MITRED),
    )
    line = [("duct", np.array([[0, 0, 3], [4, 0, 3], away]), rectangular(0.3, 0.3))]
    found = checks(analyse(build(drawing_from_runs(line), plan)))
    assert any("square throat" in check.rule for check in found) == is_heard


def test_leakage_of_a_layout_adds_up_over_its_surface() -> None:
    """With terminals that spend what there is: a damper would be a step in its duct."""
    found = layout().graph.terminals
    ends = {
        name: TerminalSpec(flow, 5.0)
        for name, flow in zip(found.name, found.flow.tolist(), strict=True)
    }
    bare = layout(terminals=ends)
    for row, name in enumerate(bare.graph.terminals.name):
        spare = float(bare.critical_loss - bare.path_loss[row])
        ends[name] = replace(ends[name], loss=5.0 + spare)
    analysis = layout(checks=ChecksSpec(leakage="A"), terminals=ends)
    check = found_check(checks(analysis), "leakage")
    # In slices so thin that each has one pressure.
    rub = analysis.state.gradient * analysis.graph.ducts.length
    slices = np.linspace(-0.5, 0.5, 2001)[1:] - 0.5 / 2000
    surface, pressure = surface_of(analysis) / 2000, static_pressure(analysis)
    lost = [
        leakage.leakage("A", surface, pressure + at * rub) for at in slices.tolist()
    ]
    flow = analysis.state.flow[0]
    assert check.value == pytest.approx(float(np.sum(lost)) / float(flow), rel=1e-5)
    tight = layout(checks=ChecksSpec(leakage="C"), terminals=ends)
    tighter = found_check(checks(tight), "leakage")
    assert tighter.value == pytest.approx(check.value / 9)  # 27 to 3, EN 12237


def test_checks_of_pressure_say_what_becomes_of_what_the_fan_has_to_spare() -> None:
    """The fan leaves more than the layout needs; where that stands is another state."""
    asked = ChecksSpec(leakage="A")
    for fan, words in (
        (FanSpec(total_pressure=400.0), "one at the fan taking"),
        (FanSpec(), "no more pressure than the layout needs"),
    ):
        found = checks(layout(checks=asked, fan=fan))
        assert words in found_check(found, "leakage").rule
        assert "set where the balance has them" in found_check(found, "leakage").rule
    found = checks(layout(checks=asked, fan=FanSpec(total_pressure=400.0)))
    left = found_check(found, "total pressure that the fan leaves")
    assert "no damper taking" in left.rule
    # It is all there: 400 Pa less what is spent on the way to the worst terminal.
    analysis = layout(fan=FanSpec(total_pressure=400.0))
    assert left.value >= 400.0 - analysis.critical_loss


def test_static_pressure_falls_to_the_room() -> None:
    """At the fan: what the critical path loses, less half the duct's own friction."""
    analysis = layout()
    static = static_pressure(analysis)
    first = analysis.state
    rub = float(first.gradient[0] * analysis.graph.ducts.length[0])
    wanted = analysis.critical_loss - rub / 2 - float(first.velocity_pressure[0])
    assert static[0] == pytest.approx(wanted, abs=1e-6)


def test_static_pressure_left_at_a_terminal_by_hand() -> None:
    """Total pressure of the fan, less friction, less the velocity pressure."""
    straight = [("duct", [[0, 0, 3], [10, 0, 3]], rectangular(0.4, 0.3))]

    def with_fan(pressure: float | None) -> Analysis:
        plan = Schedule(
            fan=FanSpec(total_pressure=pressure),
            losses={"filter": 20.0},
            source=SourceSpec(at=(0.0, 0.0, 3.0), kind="fan"),
            terminals={"room": TerminalSpec(0.4, 12.0, run="duct")},
        )
        drawing = drawing_from_runs(straight)
        return analyse(build(drawing, plan))

    analysis = with_fan(60.0)
    pv = float(analysis.state.velocity_pressure[0])
    left = terminal_static(analysis)
    assert left is not None
    rub = 10.0 * float(analysis.state.gradient[0])
    np.testing.assert_allclose(left, [60.0 - 20.0 - rub - pv])
    check = found_check(checks(analysis), "total pressure that the fan leaves")
    assert check.value == pytest.approx(left[0] + pv)
    assert check.limit == pytest.approx(12.0)
    assert check.is_kept
    short = found_check(checks(with_fan(32.0)), "total pressure that the fan leaves")
    assert short.failing == ("room",)
    assert terminal_static(with_fan(None)) is None


@pytest.mark.parametrize(
    ("insulation", "around_it", "words"),
    [
        (0.0, 2 * (0.6 + 0.4), "of the bare duct"),
        (0.05, 2 * (0.7 + 0.5), "outside 50 mm (2 in) of insulation"),
    ],
)
def test_air_warms_by_the_surface_that_the_check_names(
    insulation: float, around_it: float, words: str
) -> None:
    """NTU = U P L / (m cp), the perimeter that of the bare or the insulated duct.

    ASHRAE Handbook Fundamentals, from memory. A duct of 20 m with 1.2 m³/s.
    """
    plan = Schedule(
        air=AirSpec(temperature=286.15),
        source=SourceSpec(at=(0.0, 0.0, 3.0)),
        terminals={"room": TerminalSpec(1.2, run="duct")},
        checks=ChecksSpec(around=308.15, transmission=0.7),
        insulation=insulation,
    )
    line = [("duct", np.array([[0.0, 0, 3], [20, 0, 3]]), rectangular(0.6, 0.4))]
    analysis = analyse(build(drawing_from_runs(line), plan))
    check = found_check(checks(analysis), "change of the air's temperature")
    mass_flow = 1.2 * analysis.conditions.air.density
    ntu = 0.7 * around_it * 20.0 / (mass_flow * 1006.0)
    assert check.value == pytest.approx(22.0 * (1.0 - np.exp(-ntu)), rel=1e-3)
    assert check.rule.endswith(f", by the surface {words}")


def test_a_cold_duct_sweats_below_the_dew_point() -> None:
    spec = ChecksSpec(around=305.0, transmission=3.0, dew_point=303.0)
    check = found_check(checks(layout(checks=spec)), "dew point")
    # Ta - U / h (Ta - T), h = 8 W/(m² K): 305 - 3/8 x (305 - 293.15).
    assert check.value == pytest.approx(305 - 3 / 8 * (305 - 293.15), abs=1e-6)
    assert not check.is_kept


def test_air_that_changes_on_its_way_carries_less_of_the_load() -> None:
    """By hand: what it has lost of its difference from the room, it lacks there."""
    plan = Schedule(
        air=AirSpec(temperature=287.15),
        rooms=RoomsSpec(difference=10.0),
        checks=ChecksSpec(around=308.0, transmission=2.0),
    )
    names = build(drawn(), Schedule()).terminals.name
    plan = replace(
        plan, terminals={n: TerminalSpec(np.nan, load=3000.0) for n in names}
    )
    settled, _ = with_airflows(plan)
    found = checks(
        analyse(build(replace(drawn(), flow=drawn().flow * np.nan), settled))
    )
    change = found_check(found, "change of the air's temperature").value
    carried = found_check(found, "share of its room's load")
    assert carried.value == pytest.approx(1.0 - change / 10.0)
    assert carried.is_kept == (carried.value >= 0.9)
    assert 0.0 < carried.value < 0.9
    assert carried.failing
    assert "insulate the way" in carried.remedy
    shares = Schedule(checks=ChecksSpec(around=308.0, transmission=2.0))
    assert not [
        c for c in checks(layout(checks=shares.checks)) if "room's load" in c.rule
    ]


def test_equipment_has_its_limits() -> None:
    spec = ChecksSpec(least_flow=1.0, most_flow=2.0, cooling=10e3)
    found = checks(layout(checks=spec))
    assert not found_check(found, "least of the equipment").is_kept
    assert found_check(found, "most of the equipment").is_kept
    assert found_check(found, "airflow for cooling").value == pytest.approx(0.75 / 10e3)


@pytest.mark.parametrize(
    ("per_ton", "is_kept", "limit"),
    [
        (348.0, False, 350.0), (352.0, True, 350.0), (398.0, True, 350.0),
        (402.0, True, 450.0), (448.0, True, 450.0), (452.0, False, 450.0),
    ],
)  # fmt: skip
def test_airflow_for_a_ton_of_cooling(
    per_ton: float, is_kept: bool, limit: float
) -> None:
    """350 to 450 cfm a ton, by climate and coil: from memory; the nearer is shown."""
    cfm = 0.75 / (0.3048**3 / 60)
    cooling = cfm / per_ton * 12000 * 1055.05585 / 3600  # 12 000 Btu/h to the ton
    found = checks(layout(checks=ChecksSpec(cooling=cooling)))
    check = found_check(found, "airflow for cooling")
    assert check.dimension == "airflow for cooling"
    assert units.to_unit(check.value, "cfm per ton") == pytest.approx(per_ton, rel=1e-4)
    assert check.limit is not None
    assert units.to_unit(check.limit, "cfm per ton") == pytest.approx(limit)
    assert check.is_kept == is_kept
    # 400 cfm are 188.8 L/s and 12 000 Btu/h 3.517 kW (NIST SP 811): 53.7 L/s per kW.
    metric = units.to_unit(check.value, "L/s per kW")
    assert metric == pytest.approx(per_ton / 400.0 * 53.68, rel=1e-3)
    said = re.findall(r"([\d.]+) to ([\d.]+) (L/s per kW|cfm per ton)", check.rule)
    assert {unit for *_, unit in said} == {"L/s per kW", "cfm per ton"}
    for low, high, unit in said:
        ends = [units.to_unit(many, unit) for many in (4.6969e-5, 6.0389e-5)]
        assert ends == pytest.approx([float(low), float(high)], rel=2e-3)


def one_duct(length: float, section: Section, **said: Any) -> Analysis:
    plan = Schedule(
        source=SourceSpec(at=(0.0, 0.0, 3.0), kind="fan"),
        terminals={"room": TerminalSpec(0.1, run="duct")},
        **said,
    )
    line = [("duct", np.array([[0, 0, 3], [length, 0, 3]]), section)]
    return analyse(build(drawing_from_runs(line), plan))


@pytest.mark.parametrize(
    ("length", "pressed", "failing"),
    [
        (1.48, 0.0, []),
        (1.524, 0.0, []),  # 5 ft
        (1.53, 0.0, ["length of flexible duct"]),
        (1.0, 0.038, []),
        (1.0, 0.042, ["compression of flexible duct"]),
    ],
)
def test_flexible_duct_is_short_and_pulled_tight(
    length: float, pressed: float, failing: list[str]
) -> None:
    """At most 5 ft: Uniform Mechanical Code, from memory. Within 4 % of stretched:
    common practice, no published source."""
    soft = "flexible duct, nonmetallic with wire, fully extended"
    found = one_duct(length, round_section(0.2), material=soft, compression=pressed)
    failed = [c.rule for c in checks(found) if "of flexible" in c.rule and c.failing]
    assert failed == failing


@pytest.mark.parametrize(
    ("said", "limit", "is_kept"),
    [
        ({"use": "residential"}, None, True),
        ({"use": "commercial"}, 1.524, False),
        ({"use": "residential", "flexible_length": 2.0}, 2.0, False),
        ({"flexible_length": 3.0}, 3.0, True),
    ],
)
def test_a_house_or_the_schedule_lifts_the_limit_of_flexible_duct(
    said: dict[str, Any], limit: float | None, is_kept: bool
) -> None:
    """The code of that limit excepts residences (from memory)."""
    soft = "flexible duct, nonmetallic with wire, fully extended"
    found = one_duct(
        3.0,
        round_section(0.2),
        material=soft,
        compression=0.0,
        checks=ChecksSpec(**said),
    )
    (check,) = (c for c in checks(found) if c.rule == "length of flexible duct")
    assert check.value == pytest.approx(3.0)
    assert check.limit == (None if limit is None else pytest.approx(limit))
    assert (check.is_kept, bool(check.failing)) == (is_kept, not is_kept)


def test_flexible_duct_is_measured_through_its_bends() -> None:
    """4.2 m drawn; each of two quarter turns saves (2 - pi/2) of its radius."""
    soft = "flexible duct, nonmetallic with wire, fully extended"
    hose = [[3, 0, 3], [4.4, 0, 3], [4.4, 1.4, 3], [5.8, 1.4, 3]]
    cut = round_section(0.2)
    drawing = drawing_from_runs(
        [
            ("main", np.array([[0, 0, 3], [3, 0, 3]]), cut),
            ("hose", np.array(hose), cut),
        ]
    )
    plan = Schedule(
        source=SourceSpec(at=(0.0, 0.0, 3.0), kind="fan"),
        terminals={"hall": TerminalSpec(0.1, run="hose")},
        run_materials={"hose": soft},
    )
    analysis = analyse(build(drawing, plan))
    found = {check.rule: check for check in checks(analysis)}
    length = found["length of flexible duct"]
    saved = (2.0 - np.pi / 2) * float(analysis.graph.bends.radius.sum())
    assert length.value == pytest.approx(4.2 - saved)
    assert not length.is_kept
    (row,) = (row for row in quantities(analysis).lengths if row.gauge is None)
    assert row.length == pytest.approx(length.value)
    assert found["compression of flexible duct"].at == "hose"


def test_noise_of_a_straight_duct_by_hand() -> None:
    """Lw = 10 + 50 log 5 + 10 log 0.1 dB; 15 dB for twice the velocity."""
    level = float(noise.straight_duct(5.0, 0.1))
    assert level == pytest.approx(10 + 50 * np.log10(5) - 10)
    twice = float(noise.straight_duct(10.0, 0.1))
    assert twice - level == pytest.approx(15.05, abs=0.01)


def test_noise_of_elbows_and_dampers_rises_with_velocity_and_loss() -> None:
    slow, fast = (noise.mitred_elbow(v, 0.1, 0.3) for v in (3.0, 6.0))
    assert (noise.level_sum(fast) - noise.level_sum(slow)) > 10.0
    mild, hard = (noise.damper(0.2, 0.05, 0.2, p) for p in (5.0, 50.0))
    assert noise.level_sum(hard) > noise.level_sum(mild)


def test_noise_of_a_mitred_elbow_by_hand() -> None:
    """Older ASHRAE method in a public laboratory-control guide (seen), no vanes.

    2000 ft/min through 1 ft²: a Strouhal number of 30 at 1000 Hz, 15 at 500 Hz.
    """
    foot = 0.3048
    level = noise.mitred_elbow(2000 * foot / 60, foot**2, foot)
    for band, frequency, strouhal in ((4, 1000, 30), (3, 500, 15)):
        log = np.log10(strouhal)
        k = -9.22 - 16.48 * log - 5.05 * log**2
        by_hand = k + 10 * np.log10(frequency) + 50 * np.log10(2000) - 107
        assert level[band] == pytest.approx(by_hand, abs=0.01)


def test_noise_of_a_damper_by_hand() -> None:
    """Public help page on damper regenerated noise, by bands, in SI.

    5 m/s in 0.2 x 0.2 m and C = 2.25: BF = (1.5 - 1) / (2.25 - 1) = 0.4, so 12.5 m/s in
    the gap; a Strouhal number of 128 at 8000 Hz, 16 at 1000 Hz.
    """
    loss = 2.25 * 5.0**2 / 1.67
    level = noise.damper(0.2, 0.04, 0.2, loss)
    common = -18 + 50 * np.log10(12.5) + 10 * np.log10(0.04) + 10 * np.log10(0.2)
    high = 40.2 - 35.9 * np.log10(128) + 10 * np.log10(8000) + common
    assert level[-1] == pytest.approx(high, abs=0.01)
    assert level[-1] == pytest.approx(19.5, abs=0.05)
    low = 5.0 - 10.7 * np.log10(16) + 10 * np.log10(1000) + common
    assert level[4] == pytest.approx(low, abs=0.01)


def test_power_of_the_fan_by_definition() -> None:
    fan = FanSpec(total_pressure=200.0, efficiency=0.5, drive_efficiency=0.8)
    found = power_of(layout(fan=fan))
    assert found.air == pytest.approx(0.75 * 200.0)
    assert found.electric == pytest.approx(0.75 * 200.0 / 0.4)


def test_no_power_below_zero() -> None:
    """By its definition: a negative pressure would pay a fan for running."""
    assert fan_power(0.7, -16.0, efficiency=0.5).air is None
    none = replace(power_of(layout()), air=None, total_pressure=-3.0)
    assert "gains 3 Pa" in check_words.power_sentence(none, display.METRIC)
    fan = FanSpec(
        external_static_pressure=5.0, inlet_velocity_pressure=60.0, efficiency=0.5
    )
    analysis = layout(fan=fan)
    said = check_words.power_sentence(power_of(analysis), display.METRIC)
    assert "cannot give the design airflow" in said
    assert "-" not in said
    result = results.analysis_result([(Option("a", analysis), ())], {})["fan_power"]
    assert all(v >= 0.0 for v in result.values() if isinstance(v, float))


def test_a_weaker_fan_has_no_smaller_bill() -> None:
    """By definition: airflow times what the layout needs, whatever lacks it."""
    losses = {"coil": 50.0}
    need = layout(losses=losses).critical_loss + 50.0
    ends = ((0.0, 900.0), (0.5, 800.0))
    begins = ((1.0, 900.0), (1.5, 800.0))
    for fan, basis, words in (
        (FanSpec(), "need, no fan declared", "none is declared"),
        (FanSpec(total_pressure=need / 2), "need, fan too weak", "cannot give"),
        (FanSpec(total_pressure=need / 9), "need, fan too weak", "cannot give"),
        (FanSpec(curve=ends), "need, beyond the fan's curve", "does not reach"),
        (FanSpec(curve=begins), "need, beyond the fan's curve", "does not reach"),
    ):
        analysis = layout(fan=fan, losses=losses)
        found = power_of(analysis)
        assert found.air == pytest.approx(0.75 * need)
        assert found.basis == basis
        said = check_words.power_sentence(found, display.METRIC)
        assert words in said
        assert f"from the {need:.4g} Pa" in said
        assert "that the layout needs" in said
        assert results.totals(analysis, analysis, 1.0)["fan_power_basis"] == basis
    # What the fan has to spare it spends all the same: in a damper.
    strong = power_of(layout(fan=FanSpec(total_pressure=2 * need), losses=losses))
    assert strong.air == pytest.approx(0.75 * 2 * need)
    assert strong.basis == "fan"
    said = check_words.power_sentence(strong, display.METRIC)
    assert "that it gives" in said


@pytest.mark.parametrize("flow", [0.02, 0.2, 0.4])
def test_an_effective_length_beyond_the_window_has_those_of_its_ends(
    flow: float,
) -> None:
    line = np.array([[0.0, 0, 0], [9, 0, 0], [9, 4, 0]])
    drawing = drawing_from_runs(
        [("a", line, round_section(0.25))],
        attributes={"a": Attributes(source=True, source_at_end=False)},
    )
    plan = Schedule(terminals={"a": TerminalSpec(flow)})
    analysis = analyse(build(drawing, plan))
    system, (low, high) = analysis.system, WINDOW
    lines = dict(shown_budget.rate_lines(analysis, display.METRIC))
    ends = [value for words, value in lines.items() if "practice" in words]
    assert bool(ends) == (not low <= system.rate <= high)
    if ends:
        least, most = (
            display.METRIC.lengths(system.effective_length_at(r), 1)
            for r in (high, low)
        )
        assert ends == [f"{least} to {most} m"]


@pytest.mark.parametrize("first", [0.0, 1.0])
def test_the_budget_of_a_fan_whose_curve_misses_the_design(first: float) -> None:
    """It is declared all the same, and its declared losses are there."""
    curve = ((first, 900.0), (first + 0.5, 800.0))
    analysis = layout(fan=FanSpec(curve=curve), losses={"coil": 50.0})
    lines = dict(shown_budget.pressure_lines(analysis, display.METRIC))
    assert lines["fan, its curve does not reach the design airflow"] == "not known"
    assert lines["less coil"] == "-50.0"
    assert "fan" not in lines
    assert "left for ducts and fittings" not in lines
    bare = layout(losses={"coil": 50.0})
    assert dict(shown_budget.pressure_lines(bare, display.METRIC))["fan"] == (
        "not declared"
    )


# --- quantities


def test_gauges_by_the_longest_side() -> None:
    """`gauge.csv`: rectangular to 300 mm 26, to 750 mm 24; round to 483 mm 26."""
    shape = np.array([Shape.RECTANGULAR, Shape.RECTANGULAR, Shape.ROUND, Shape.ROUND])
    side = np.array([0.3, 0.31, 0.2, 2.0])
    assert gauges(shape, side, side / 2).tolist() == [26, 24, 26, 18]


def test_inch_sizes_have_the_gauge_of_the_row_that_is_rounded_from_them() -> None:
    """300, 750 and 1200 mm of `gauge.csv` are 12, 30 and 48 in (from memory)."""
    inches = np.array([12, 30, 48])
    shape = np.full(3, int(Shape.RECTANGULAR))
    for side in (inches * 0.0254, (inches * 25.4).round() * 1e-3, inches * 0.025):
        assert gauges(shape, side, side / 2).tolist() == [26, 24, 22]
        assert gauges(shape, side / 2, side).tolist() == [26, 24, 22]
    side = inches * 0.0254 + 0.001
    assert gauges(shape, side, side / 2).tolist() == [24, 22, 20]
    # Round ones stand in inches beside their millimetres: 19 in and 20 in.
    side = np.array([19, 20, 29, 30]) * 0.0254
    shape = np.full(4, int(Shape.ROUND))
    assert gauges(shape, side, side).tolist() == [26, 24, 24, 22]


def test_quantities_add_up_to_the_layout() -> None:
    analysis = layout()
    found = quantities(analysis)
    total = sum(row.length for row in found.lengths)
    assert total == pytest.approx(float(analysis.graph.ducts.length.sum()))
    area = sum(row.area for row in found.sheet)
    assert area == pytest.approx(sum(row.surface or 0.0 for row in found.lengths))
    elbows = sum(row.count for row in found.fittings if "elbow" in row.what)
    assert elbows == len(analysis.graph.bends.duct)


def test_flexible_duct_is_bought_at_the_length_that_it_has_when_pulled_tight() -> None:
    """By hand: 15 % shorter than pulled tight, 1.2 m were 1.2 / 0.85 = 1.412 m."""
    runs: list[tuple[str, list[list[float]], Section]] = [
        ("duct", [[0, 0, 3], [10, 0, 3]], round_section(0.2)),
        ("hose", [[10, 0, 3], [11.2, 0, 3]], round_section(0.2)),
    ]
    plan = Schedule(
        source=SourceSpec(at=(0.0, 0.0, 3.0), kind="fan"),
        terminals={"room": TerminalSpec(0.1, run="hose")},
        run_materials={"hose": "flexible duct, nonmetallic with wire, fully extended"},
        run_compression={"hose": 0.15},
    )
    found = quantities(analyse(build(drawing_from_runs(runs), plan)))
    rigid, hose = sorted(found.lengths, key=lambda row: -row.length)
    assert (rigid.length, rigid.stretched) == pytest.approx((10.0, 10.0))
    assert (hose.length, hose.stretched) == pytest.approx((1.2, 1.2 / 0.85))
    # It is no sheet: 10 m of 200 mm are, in the rows and in the totals of both tables.
    cells = [
        shown_quantities.length_cells(row, display.METRIC) for row in (rigid, hose)
    ]
    of_duct, of_sheet = shown_quantities.quantity_totals(found, display.METRIC)
    assert [*(row[3] for row in cells), of_duct[3], of_sheet[1]] == [
        "6.3",
        "–",
        "6.3",
        "6.3",
    ]
    # In files too: the rows of the one table make the sum of the other.
    tables = shown_quantities.quantity_tables(found)
    surfaces = {row["gauge"]: row["surface_m2"] for row in tables["lengths"]}
    assert surfaces[None] is None
    assert [row["area_m2"] for row in tables["sheet"]] == [surfaces[rigid.gauge]]


@pytest.mark.parametrize(
    ("tight", "metric", "feet"),
    [(3.4396, "3.5 m", "11.3 ft"), (3.4, "3.4 m", "11.2 ft"), (3.401, "3.5 m", "11.2")],
)
def test_flexible_duct_to_buy_is_rounded_up(
    tight: float, metric: str, feet: str
) -> None:
    """3.4396 m are 11.285 ft, 3.4 m are 11.155 ft: less would not reach."""
    row = LengthRow(round_section(0.2), None, 3.3, 2.1, 0.0, tight)
    in_metres = shown_quantities.gauge_words(row, display.METRIC)
    assert in_metres == f"flexible, {metric} pulled tight"
    assert f"flexible, {feet}" in shown_quantities.gauge_words(row, display.INCH_POUND)


def test_joints_and_hangers_of_one_duct_by_hand() -> None:
    """Common practice, no published source: flat duct comes in pieces of 1.2 m."""
    straight = [("duct", [[0, 0, 3], [10, 0, 3]], rectangular(0.4, 0.3))]
    plan = Schedule(
        source=SourceSpec(at=(0.0, 0.0, 3.0), kind="fan"),
        terminals={"room": TerminalSpec(0.4, run="duct")},
    )
    found = quantities(analyse(build(drawing_from_runs(straight), plan)))
    assert found.joints == 9 + 1  # nine pieces, one joint more
    assert found.hangers == 5  # 2.4 m apart


LINE = rectangular(0.4, 0.3)
NARROW = rectangular(0.3, 0.3)


@pytest.mark.parametrize(
    ("runs", "joints", "hangers"),
    [
        ([([0, 8], LINE)], 7 + 1, 4),
        ([([0, 4], LINE), ([4, 8], LINE)], 7 + 1, 4),
        ([([0, 4], LINE), ([4, 8.5], NARROW)], 4 + 1 + 4 + 1, 4),
        ([([0, 4], LINE), ([4, 4.5], None), ([4.5, 8.5], NARROW)], 4 + 1 + 4 + 1, 4),
        (
            [([0, 4], LINE), ([4, 4.1, 4.2, 4.5], None), ([4.5, 8.5], NARROW)],
            4 + 1 + 4 + 1,
            4,
        ),
    ],
)
def test_joints_and_hangers_do_not_hang_on_how_a_line_is_cut(
    runs: list[tuple[list[float], Section | None]], joints: int, hangers: int
) -> None:
    """A section that is None is that of a drawn transition."""
    lines = [
        (f"run {row}", np.array([[x, 0.0, 3.0] for x in along]), section)
        for row, (along, section) in enumerate(runs)
    ]
    drawn = {
        name: Attributes(transition=True) for name, _, section in lines if not section
    }
    drawing = drawing_from_runs(
        lines,
        flows={lines[-1][0]: 0.2},
        attributes={**drawn, "run 0": Attributes(source=True)},
    )
    found = quantities(analyse(build(drawing)))
    assert (found.joints, found.hangers) == (joints, hangers)


@pytest.mark.parametrize(
    ("length", "section", "hangers"),
    [
        (9.0, rectangular(0.4, 0.3), 4),
        (9.5, rectangular(0.4, 0.3), 4),
        (9.7, rectangular(0.4, 0.3), 5),
        (8.9, round_section(0.3), 3),
        (9.1, round_section(0.3), 4),
    ],
)
def test_hangers_stand_as_far_apart_as_practice_has_them(
    length: float, section: Section, hangers: int
) -> None:
    """2.4 m, round duct 3.0 m: common practice, no published source."""
    assert quantities(one_duct(length, section)).hangers == hangers


@pytest.mark.parametrize(
    ("length", "section", "joints", "hangers"),
    [
        (4 * units.FOOT, rectangular(0.4, 0.3), 2, 1),
        (8 * units.FOOT, rectangular(0.4, 0.3), 3, 1),
        (8.1 * units.FOOT, rectangular(0.4, 0.3), 4, 2),
        (10 * units.FOOT, round_section(0.3), 2, 1),
        (10.1 * units.FOOT, round_section(0.3), 3, 2),
    ],
)
def test_inch_pound_practice_has_lengths_of_its_own(
    length: float, section: Section, joints: int, hangers: int
) -> None:
    """4, 8 and 10 ft: common practice, no published source."""
    found = quantities(one_duct(length, section), "in")
    assert (found.joints, found.hangers) == (joints, hangers)
    said = shown_quantities.joints_words(found, display.INCH_POUND)
    assert "in pieces of 4 ft and round duct of 10 ft" in said
    assert "every 8 ft and 10 ft" in said
    assert ("1 hanger," if hangers == 1 else f"{hangers} hangers,") in said
    said = shown_quantities.joints_words(found, display.METRIC)
    assert "in pieces of 1.2 m and round duct of 3 m" in said


def test_a_printed_limit_is_a_round_one_and_the_fan_is_in_units_asked_for() -> None:
    soft = "flexible duct, nonmetallic with wire, fully extended"
    found = one_duct(2.0, round_section(0.2), material=soft, compression=0.0)
    (check,) = (c for c in checks(found) if c.rule == "length of flexible duct")
    words = check_words.limit_words
    assert words(check, display.INCH_POUND) == ("6.6 ft", "5.0 ft")
    assert words(check, display.METRIC) == ("2.0 m", "1.5 m")
    close = replace(check, value=1.53)
    assert words(close, display.METRIC) == ("1.53 m", "1.52 m")
    fan = power_of(layout(fan=FanSpec(total_pressure=200.0, efficiency=0.5)))
    said = check_words.power_sentence(fan, display.INCH_POUND)
    assert "from the 0.8029 in.wg (200 Pa)" in said
    assert "0.4 hp (300 W) at the shaft" in said
    said = check_words.power_sentence(fan, display.METRIC)
    assert "from the 200 Pa (0.8029 in.wg)" in said


def test_mass_of_sheet_by_hand() -> None:
    """24 gauge is 1.156 lb/ft² (SMACNA HVAC Duct Construction Standards 1995, seen);
    15 % more for seams, joints and waste: the middle of 10 to 20 %, practice, memory.
    """
    (sheet,) = quantities(one_duct(9.0, rectangular(0.4, 0.3))).sheet
    bare = 9.0 * 1.4 * 1.156 * 0.45359237 / 0.3048**2
    assert sheet.mass == pytest.approx(1.15 * bare, rel=2e-3)


def test_the_schedule_of_ducts() -> None:
    use = ChecksSpec(use="residential", noise="RC 25", stands="above a ceiling")
    plan = {"insulation": 0.025, "run_materials": {"B1": "galvanised steel"}}
    rows = duct_schedule(layout(checks=use, **plan))
    analysis = layout(checks=use)
    assert len(rows) == len(analysis.graph.ducts.parent)
    first = rows[0]
    # Huebscher and 4A/P by hand, 600 x 300 mm.
    assert first.equivalent_diameter == pytest.approx(
        1.3 * (0.6 * 0.3) ** 0.625 / 0.9**0.25
    )
    assert first.hydraulic_diameter == pytest.approx(0.4)
    assert first.material == "galvanised steel (assumed)"
    assert {row.insulation for row in rows} == {0.025}
    # The lower of both limits: 900 fpm of the house against the ceiling's.
    limits = velocity_limits(analysis)
    for row, limit, speed in zip(rows, limits, analysis.state.velocity, strict=True):
        assert row.velocity_limit == pytest.approx(limit)
        assert row.is_kept == (speed <= limit)
    loudest = [c for c in checks(analysis) if "velocity" in c.rule and not c.is_kept]
    assert bool(loudest) == (not all(row.is_kept for row in rows))
    assert all(row.velocity_limit is None for row in duct_schedule(layout()))


def test_the_parts_of_each_path_add_up(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["analyse", str(HOUSE), "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    elements = {row["id"]: row for row in found["elements"]}
    for rank, path in enumerate(found["paths"], start=1):
        assert path["rank"] == rank
        parts = ("straight_loss_pa", "fitting_loss_pa", "terminal_loss_pa")
        assert sum(path[part] for part in parts) == pytest.approx(path["loss_pa"])
        ducts = [elements[name] for name in path["elements"] if "duct" in name]
        straight = sum(row["loss_pa"] for row in ducts)
        assert path["straight_loss_pa"] == pytest.approx(straight)
    shares = [row["share_of_critical_path"] for row in found["elements"]]
    assert sum(share for share in shares if share) == pytest.approx(1.0)
    # Between the elbow above the blower and the kitchen's takeoff, by hand: 4 ft less
    # the elbow's tangent, a throat of 4 in and half of the 8 in side.
    assert elements["elbow-1"]["straight_after_m"] == pytest.approx(
        (48 - 8) * 0.0254, abs=1e-4
    )


def test_the_workbook_and_the_tables(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    books = [tmp_path / "a.xlsx", tmp_path / "b.xlsx"]
    for book in books:
        out = ["--xlsx", str(book), "--csv", str(tmp_path / "csv")]
        assert main(["quantities", str(HOUSE), *out]) == 0
    assert books[0].read_bytes() == books[1].read_bytes()  # no clock in it
    with zipfile.ZipFile(books[0]) as archive:
        text = archive.read("xl/workbook.xml").decode()
    for sheet in ("lengths", "fittings", "sheet"):
        assert f'name="{sheet}"' in text
        with (tmp_path / "csv" / f"{sheet}.csv").open(newline="") as stream:
            assert list(csv.DictReader(stream))
    assert "kg" in capsys.readouterr().out


def test_quantities_of_a_supply_and_its_return(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The same as of each side alone, in JSON and in tables."""
    alone = []
    for side in (HOUSE, HOUSE.with_name("return.glb")):
        assert main(["quantities", str(side), "--json"]) == 0
        alone.append(json.loads(capsys.readouterr().out))
    words = ["quantities", str(HOUSE), "--return", str(HOUSE.with_name("return.glb"))]
    assert main([*words, "--json", "--csv", str(tmp_path)]) == 0
    both = json.loads(capsys.readouterr().out)
    validate(both, "quantities")
    (behind,) = both.pop("returns")
    for found, expected in zip((both, behind), alone, strict=True):
        assert found.items() <= expected.items()
    with (tmp_path / "return-lengths.csv").open(newline="", encoding="utf-8-sig") as f:
        rows = [float(row["length_m"]) for row in csv.DictReader(f)]
    assert rows == [row["length_m"] for row in behind["lengths"]]
    assert main(words) == 0
    printed = capsys.readouterr().out
    assert "Duct of house.glb" in printed
    assert "Duct of return.glb" in printed


def test_every_table_of_an_analysis_is_in_its_workbook(tmp_path: Path) -> None:
    book, folder = tmp_path / "a.xlsx", tmp_path / "csv"
    words = ["analyse", str(HOUSE), "--xlsx", str(book), "--csv", str(folder)]
    assert main(words) == 0
    with zipfile.ZipFile(book) as archive:
        text = archive.read("xl/workbook.xml").decode()
        strings = archive.read("xl/sharedStrings.xml").decode()
    names = ["system", "flags"]
    names += ["elements", "ducts", "paths", "pairs", "balance", "checks", "room"]
    names.append("assumptions")
    assert sorted(path.stem for path in folder.iterdir()) == sorted(names)
    for name in names:
        assert f'name="{name}"' in text
    assert "living room" in strings
    assert main(["analyse", str(HOUSE), "--xlsx", str(tmp_path / "a.txt")]) == 2


# --- remedies


def test_each_remedy_wins_what_it_says() -> None:
    mitred = ElbowRule(ElbowConstruction.MITRED)
    analysis = layout(elbow_default=mitred)
    found = remedies(analysis)
    assert found
    assert [r.won for r in found] == sorted((r.won for r in found), reverse=True)
    for remedy in found[:6]:
        again = analyse(build(drawn(), remedy.schedule))
        assert analysis.critical_loss - again.critical_loss == pytest.approx(remedy.won)
    words = " ".join(remedy.what for remedy in found)
    for change in ("conical entry", "radius 1.5 sides", "larger"):
        assert change in words


def test_the_generous_elbow_has_the_radius_that_it_is_said_to_have() -> None:
    """1.5 sides: own choice, no published source."""
    analysis = layout(elbow_default=ElbowRule(ElbowConstruction.MITRED))
    found = [r for r in remedies(analysis) if "a smooth elbow of radius" in r.what]
    assert found
    for remedy in found:
        assert remedy.what.endswith("radius 1.5 sides")
        bends = build(drawn(), remedy.schedule).bends
        smooth = bends.construction == ElbowConstruction.SMOOTH
        assert smooth.sum() == 1
        np.testing.assert_allclose((bends.radius / bends.in_plane)[smooth], 1.5)


def test_a_remedy_that_clashes_is_left_out() -> None:
    mitred = ElbowRule(ElbowConstruction.MITRED)
    analysis = layout(elbow_default=mitred)

    def widest(one: Analysis) -> int:
        return int((one.graph.ducts.width > 0.61).sum())

    free = {remedy.what for remedy in remedies(analysis)}
    bound = {remedy.what for remedy in remedies(analysis, widest)}
    assert any("650×300" in what or "700×300" in what for what in free)
    assert not any("650×300" in what or "700×300" in what for what in bound)


@pytest.mark.parametrize(
    ("between", "fits"), [(0.5, False), (0.84, False), (0.86, True), (1.0, True)]
)
def test_a_transition_that_would_have_no_room_is_not_offered(
    between: float, fits: bool
) -> None:
    """One that changes by 0.3 m is 0.3 / (2 tan 7.5°) = 1.139 m at 15°, 0.560 at 30°.

    Half of each lies on the run between: 0.850 m. Of 0.5 m the first ones lack 0.06.
    """
    wide, narrow = rectangular(0.6, 0.3), rectangular(0.3, 0.2)
    ends = np.cumsum([0.0, 3.0, between, 5.0])
    runs = [
        (name, np.array([[begin, 0, 3], [end, 0, 3]]), section)
        for name, section, (begin, end) in zip(
            "abc", (wide, narrow, wide), pairwise(ends), strict=True
        )
    ]
    plan = Schedule(
        source=SourceSpec(at=(0.0, 0.0, 3.0), kind="fan"),
        terminals={"room": TerminalSpec(0.7, run="c")},
    )
    analysis = analyse(build(drawing_from_runs(runs), plan))
    assert (analysis.graph.transitions.short_by > 0).any() == (between < 0.56)
    found = remedies(analysis)
    longer = [one for one in found if "make the transition longer" in one.what]
    assert bool(longer) == fits
    for one in found:
        lacking = build(drawing_from_runs(runs), one.schedule).transitions.short_by
        assert lacking.sum() <= analysis.graph.transitions.short_by.sum() + 1e-6


def straight(
    section: Section, flow: float = 0.18, **said: Any
) -> tuple[Analysis, dict[str, float]]:
    """12 m of one duct, and what each larger size of it that is offered wins, Pa."""
    runs = [("duct", [[0, 0, 3], [12, 0, 3]], section)]
    plan = Schedule(
        source=SourceSpec(at=(0.0, 0.0, 3.0), kind="fan"),
        terminals={"room": TerminalSpec(flow, run="duct", loss=10.0)},
        **said,
    )
    analysis = analyse(build(drawing_from_runs(runs), plan))
    return analysis, {
        one.what.removeprefix("one run larger: "): one.won
        for one in remedies(analysis)
        if "larger" in one.what
    }


def test_a_duct_as_flat_as_may_be_is_made_higher() -> None:
    analysis, offered = straight(rectangular(0.4, 0.1))
    assert set(offered) == {
        "400×150 mm, 50 mm more in height",
        "400×200 mm, 100 mm more in height",
        "250×200 mm, 100 mm more in height",  # the next that is nearly square
    }
    assert min(offered.values()) > 10.0
    (said,) = kept_from_trying(analysis)
    assert "in 'duct' (none wider within 4 to 1)" in said.what
    # One step below 4 to 1 it is tried wider too, and nothing is kept from being tried.
    analysis, offered = straight(rectangular(0.35, 0.1))
    assert "400×100 mm" in offered
    assert kept_from_trying(analysis) == []


def test_a_duct_flatter_than_may_be_gets_no_size_that_is() -> None:
    _, offered = straight(rectangular(0.8, 0.1))
    assert offered
    assert not any(what.startswith("800×150") for what in offered)
    assert any(what.startswith("800×200") for what in offered)


@pytest.mark.parametrize(
    ("limits", "offered", "why"),
    [
        (RunLimits(highest=0.15), {"250×150", "300×150"}, "max_height"),
        (RunLimits(highest=0.2), {"250×150", "300×150", "200×200"}, "max_height"),
        (RunLimits(widest=0.2), {"200×200", "200×250"}, "max_width"),
        (RunLimits(is_kept=True), set(), "as_drawn"),
        (RunLimits(), {"250×150", "300×150", "200×200", "200×250"}, ""),
    ],
)
def test_limits_of_a_run_hold_in_what_would_mend_it(
    limits: RunLimits, offered: set[str], why: str
) -> None:
    analysis, found = straight(rectangular(0.2, 0.15), limits={"duct": limits})
    assert {what.split(" mm")[0] for what in found} == offered
    said = [one.what for one in kept_from_trying(analysis)]
    assert len(said) == bool(why)
    assert all(f"in 'duct' ({why})" in one for one in said)


def test_the_largest_round_size_of_the_series_is_said() -> None:
    analysis, offered = straight(round_section(1.25), flow=9.0)
    assert offered == {}
    (said,) = kept_from_trying(analysis)
    assert "'duct' (largest of the series)" in said.what
    analysis, offered = straight(round_section(1.0), flow=9.0)
    assert offered
    assert kept_from_trying(analysis) == []


@pytest.mark.parametrize(
    ("entry", "angle", "offered"),
    [
        (TakeoffEntry.PLAIN, 90.0, True),
        (TakeoffEntry.ENTRY_45, 90.0, True),
        (TakeoffEntry.RADIUS, 90.0, False),
        (TakeoffEntry.PLAIN, 60.0, False),  # no table of its own
    ],
)
def test_a_radius_entry_is_offered_where_it_has_a_table(
    entry: TakeoffEntry, angle: float, offered: bool
) -> None:
    slant = 5 * np.array([np.cos(np.radians(angle)), np.sin(np.radians(angle)), 0.0])
    runs = [
        ("main", np.array([[0, 0, 3], [10, 0, 3]]), rectangular(0.4, 0.3)),
        (
            "b",
            np.array([[5, 0, 3], np.array([5, 0, 3]) + slant]),
            rectangular(0.3, 0.3),
        ),
    ]
    plan = Schedule(
        source=SourceSpec(at=(0.0, 0.0, 3.0), kind="fan"),
        terminals={
            "end": TerminalSpec(0.3, run="main"),
            "room": TerminalSpec(0.5, run="b", loss=15.0),
        },
        takeoff_exceptions={"b": entry},
    )
    analysis = analyse(build(drawing_from_runs(runs), plan))
    assert analysis.critical_terminal == "room"
    radius = [one for one in remedies(analysis) if "radius entry" in one.what]
    assert bool(radius) == offered
    for one in radius:
        assert one.schedule.takeoff_exceptions["b"] == TakeoffEntry.RADIUS


def test_both_legs_of_a_tee_get_radius_entries() -> None:
    runs = [
        ("stem", np.array([[0, 0, 3], [5, 0, 3]]), rectangular(0.4, 0.3)),
        ("left", np.array([[5, 0, 3], [5, 5, 3]]), rectangular(0.3, 0.3)),
        ("right", np.array([[5, 0, 3], [5, -5, 3]]), rectangular(0.3, 0.3)),
    ]
    plan = Schedule(
        source=SourceSpec(at=(0.0, 0.0, 3.0), kind="fan"),
        terminals={
            "l": TerminalSpec(0.4, run="left"),
            "r": TerminalSpec(0.4, run="right"),
        },
    )
    found = remedies(analyse(build(drawing_from_runs(runs), plan)))
    (both,) = (one for one in found if "radius" in one.what)
    assert both.what == "take both legs off by radius entries"
    assert set(both.schedule.takeoff_exceptions) == {"left", "right"}


def test_the_least_that_a_change_must_win_is_said(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    route = tmp_path / "wide.toml"
    route.write_text(
        'unit = "m"\n[[run]]\nname = "duct"\nsection = "600x600 mm"\n'
        'points = [[0, 0, 3], [3, 0, 3]]\nsource = "start"\nflow = "180 L/s"\n'
    )
    assert main(["improve", str(route)]) == 0
    out = " ".join(capsys.readouterr().out.split())
    assert "No single change that was tried wins 0.5 Pa (0.002 in.wg) or more" in out


# --- commands


@pytest.mark.parametrize(
    ("words", "name"),
    [
        (["operate"], "operation"),
        (["operate", "--dampers", "set"], "operation"),
        (["proportion"], "proportions"),
        (
            ["proportion", "--rate", "0.1 in.wg/100 ft", "--shape", "round"],
            "proportions",
        ),
        (["improve"], "remedies"),
        (["quantities"], "quantities"),
    ],
)
def test_json_of_the_commands(
    words: list[str], name: str, capsys: pytest.CaptureFixture[str]
) -> None:
    command, *rest = words
    assert main([command, str(HOUSE), *rest, "--json"]) == 0
    validate(json.loads(capsys.readouterr().out), name)


@pytest.mark.parametrize(
    ("command", "schema"),
    [
        ("operate", "operation"),
        ("proportion", "proportions"),
        ("improve", "remedies"),
        ("quantities", "quantities"),
    ],
)
@pytest.mark.parametrize("words", [[], ["--return", "back.toml"]])
def test_what_is_to_be_said_of_a_drawing_is_said_wherever_it_is_designed_with(
    command: str,
    schema: str,
    words: list[str],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """A branch 30 mm short of its main, and a terminal that has half of the total."""
    monkeypatch.chdir(tmp_path)
    text = """unit = "mm"
    up = "z"
    [[run]]
    name = "trunk 400x250"
    points = [[0, 0, 3200], [8000, 0, 3200]]
    flow = "250 L/s"
    source = "start"
    [[run]]
    name = "office D250"
    points = [[4000, 30, 3200], [4000, 3000, 3200]]
    flow = "150 L/s"
    """
    Path("gap.toml").write_text(text)
    Path("back.toml").write_text(text)
    Path("gap.schedule.toml").write_text(
        '[fan]\ntotal_pressure = "60 Pa"\n[rooms]\ntotal_airflow = "500 L/s"\n'
        '[terminals.trunk]\nshare = "50 %"\n'
    )
    assert main([command, "gap.toml", "--json", *words]) == 0
    result = json.loads(capsys.readouterr().out)
    validate(result, schema)
    sides = [result, *(result["returns"] if command == "quantities" else [])]
    said = [flag["sentence"] for side in sides for flag in side["flags"]]
    files = ["gap.toml", "back.toml"] if words else ["gap.toml"]
    for file in files:
        (loose,) = (one for one in said if one.startswith(f"{file}, run 'office"))
        assert "that the source does not reach" in loose
    assert any("total airflow of" in one for one in said)


def test_transitions_of_a_sized_route_have_the_sections_beside_them(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """In extras and in names; the opening of a branch stays as it is drawn."""
    monkeypatch.chdir(tmp_path)
    change = "change 500x300-400x300", "change 400x300-300x300"
    wide, mid, slim = (
        rectangular(0.5, 0.3),
        rectangular(0.4, 0.3),
        rectangular(0.3, 0.3),
    )
    runs: list[tuple[str, list[list[float]], Section]] = [
        ("trunk 500x300", [[0, 0, 3], [8, 0, 3]], wide),
        (change[0], [[8, 0, 3], [8.5, 0, 3]], mid),
        ("on 400x300", [[8.5, 0, 3], [12, 0, 3]], mid),
        (change[1], [[12, 0, 3], [12.5, 0, 3]], slim),
        ("end 300x300", [[12.5, 0, 3], [16, 0, 3]], slim),
        ("mouth 400x300", [[4, 0, 3], [4, 0.5, 3]], mid),
        ("branch 300x200", [[4, 0.5, 3], [4, 4, 3]], rectangular(0.3, 0.2)),
    ]
    words = {name: Attributes(transition=True) for name in (*change, "mouth 400x300")}
    words["trunk 500x300"] = Attributes(source=True, source_at_end=False)
    write(drawing_from_runs(runs, attributes=words), Path("a.glb"))
    plan = '[terminals]\nend.flow = "300 L/s"\nbranch.flow = "300 L/s"\n'
    Path("schedule.toml").write_text(plan)
    assert main(["proportion", "a.glb", "--rate", "3 Pa/m", "--out", "b.glb"]) == 0
    sized = read(Path("b.glb"))
    graph = build(sized, read_schedule(Path("schedule.toml")))
    said = " ".join(notice.sentence for notice in graph.notices)
    assert "the name says" not in said
    assert "not used" not in said
    sections = {run.name: run.section for run in sized.runs}
    assert sections["mouth"] == mid
    assert sections["on"] != mid
    assert {name for name in sections if "change" in name} == {
        "change -",
        "change - (2)",
    }


@pytest.mark.parametrize(
    ("branch", "advice", "words"),
    [
        (
            round_section(0.2),
            "give 'branch' a section with sides under [sections], as no smaller round",
            {"sections": {"branch": rectangular(0.3, 0.3)}},
        ),
        (
            round_section(0.2),
            "or write a larger section of 'trunk' under [sections], with as_drawn",
            {
                "sections": {"trunk": rectangular(0.5, 0.35)},
                "limits": {"trunk": RunLimits(is_kept=True)},
            },
        ),
        (
            rectangular(0.2, 0.35),
            "give 'branch' a max_width and max_height under [limits], or",
            {"limits": {"branch": RunLimits(0.3, 0.3)}},
        ),
    ],
)
def test_what_is_advised_of_a_branch_larger_than_the_side_of_its_main_helps(
    branch: Section, advice: str, words: dict[str, Any]
) -> None:
    drawing = drawing_from_runs(
        [
            ("trunk", [[0, 0, 3], [8, 0, 3]], rectangular(0.6, 0.3)),
            ("branch", [[4, 0, 3], [4, 5, 3]], branch),
        ],
        attributes={"trunk": Attributes(source=True, source_at_end=False)},
    )
    ends = {"trunk": TerminalSpec(0.45), "branch": TerminalSpec(0.35)}
    plan, aim = Schedule(terminals=ends), Aim(rate=0.8)
    said = proportion(drawing, plan, aim).notices
    (beyond,) = (one for one in said if "larger than the side" in one.what)
    assert advice in beyond.remedy
    mended = proportion(drawing, replace(plan, **words), aim)
    assert not any("larger than the side" in one.what for one in mended.notices)
    assert not any("allow no size" in one.what for one in mended.notices)


def test_the_sized_route_is_written_and_reads_as_sized(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "sized.glb"
    assert main(["proportion", str(HOUSE), "--json", "--out", str(out)]) == 0
    result = json.loads(capsys.readouterr().out)
    drawing = read(out)
    by_name = {run.name: run.section for run in drawing.runs}
    for run in result["runs"]:
        section = by_name[run["run"]]
        assert section is not None
        wide = run["chosen"].get("width_m", run["chosen"].get("diameter_m"))
        assert section.width == pytest.approx(wide, abs=1e-6)


def test_sizes_that_the_schedule_takes_back_are_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    route, plan = tmp_path / "b.toml", tmp_path / "b.schedule.toml"
    route.write_text(
        'unit = "m"\nup = "z"\n[[run]]\nname = "main 400x300"\nsource = true\n'
        "points = [[0,0,0],[4,0,0]]\n"
    )
    flows = '[terminals]\nmain.flow = "600 m3/h"\n'
    words = ["proportion", str(route), "--rate", "0.8 Pa/m", "--out"]
    plan.write_text(flows + '[sections]\nmain = "300x300mm"\n')
    assert main([*words, str(tmp_path / "one.glb")]) == 0
    told = capsys.readouterr().err
    assert "b.schedule.toml, [sections]: what it says of 'main 400x300' goes" in told
    plan.write_text(flows)
    assert main([*words, str(tmp_path / "two.glb")]) == 0
    assert "[sections]" not in capsys.readouterr().err


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["proportion", "--method", "guess"], "not known"),
        (["proportion", "--rate", "0.8"], "unit"),
        (["operate", "--dampers", "half"], "not known"),
        (["quantities", "--xlsx", "a.csv"], "NAME.xlsx"),
    ],
)
def test_commands_that_ask_for_what_is_missing(
    words: list[str], said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    command, *rest = words
    assert main([command, str(HOUSE), *rest]) == 2
    assert said in capsys.readouterr().err


def test_analyse_prints_checks_power_and_cautions(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert main(["analyse", str(HOUSE)]) == 0
    out = capsys.readouterr().out
    for words in ("Checks", "Fan at design airflow", "asbestos", "local code"):
        assert words in out


@pytest.mark.parametrize(
    ("terminals", "drawn", "said"),
    [
        ("", True, "no terminal has a share of it; their airflows add up to 250 L/s"),
        ('[terminals.a]\nflow = "100 L/s"\n', False, "add up to 100 L/s (212 cfm);"),
        ('[terminals.a]\nflow = "500 L/s"\n', False, ""),
        ('[terminals.a]\nflow = "250 L/s"\n', True, ""),
        ('[terminals.a]\nshare = "100 %"\n', False, ""),
    ],
)
def test_a_total_that_nothing_uses_is_said(
    terminals: str, drawn: bool, said: str, tmp_path: Path
) -> None:
    path = tmp_path / "plan.toml"
    path.write_text('[rooms]\ntotal_airflow = "500 L/s"\n' + terminals)
    sentences = _of_total(path, {"drawn": 0.25} if drawn else None)
    assert len(sentences) == bool(said)
    assert all(said in sentence for sentence in sentences)


def test_sizes_that_chase_the_rate_say_to_which_they_were_taken(
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Every size keeps the rate and the fan leaves it; a little higher it does not.

    Unless nothing in the circle is carried: it is the lowest then, which all keep.
    """
    circles = carried = 0
    for name in ("under", "sidestep"):
        route = str(HOUSE.parents[1] / "reading_room" / f"{name}.glb")
        for series in ("mm", "in"):
            assert main(["proportion", route, "--series", series, "--json"]) == 0
            found = json.loads(capsys.readouterr().out)
            validate(found, "proportions")
            rate = found["friction_rate_pa_m"]
            if not any("circle, between" in one["what"] for one in found["flags"]):
                continue
            circles += 1
            for run in found["runs"]:
                if run["bound_by"] == "friction rate":
                    assert run["friction_pa_m"] <= rate * (1 + 1e-9)
            (said,) = (one["what"] for one in found["flags"] if "circle" in one["what"])
            if "the highest rate that the fan leaves" not in said:
                continue
            carried += 1
            assert found["friction_rate_available_pa_m"] >= rate
            more = f"{rate * 1.0101} Pa/m"
            command = ["proportion", route, "--series", series, "--rate", more]
            assert main([*command, "--json"]) == 0
            higher = json.loads(capsys.readouterr().out)
            assert higher["friction_rate_available_pa_m"] < rate * 1.0101
    assert circles
    assert carried


@pytest.mark.parametrize("is_told", [True, False])
def test_a_coefficient_that_is_kept_on_a_duct_of_another_size_is_said(
    is_told: bool,
) -> None:
    """A grille has its own size; a hood or a nozzle that of its duct."""
    lines = [
        ("m", np.array([[0.0, 0, 3], [9, 0, 3]]), round_section(0.4)),
        ("b", np.array([[5.0, 0, 3], [5, 4, 3]]), round_section(0.12)),
    ]
    at_fan = Attributes(source=True, source_at_end=False)
    end = TerminalSpec(0.05, coefficient=5.0) if is_told else TerminalSpec(0.05, 60.0)
    graph = build(
        drawing_from_runs(lines, attributes={"m": at_fan}),
        Schedule(terminals={"m": TerminalSpec(0.05), "b": end}),
    )
    said = "the coefficient of 'b' is kept "
    effects = [
        one.side_effects for one in remedies(analyse(graph)) if "larger" in one.what
    ]
    assert effects
    assert all(any(said in one for one in some) is is_told for some in effects)
    found = proportion(graph.drawing, graph.schedule, Aim(rate=0.5))
    assert any(said in one.what for one in found.notices) is is_told
