"""Junctions at which legs tie, or more than two leave: no order decides, none jumps."""

from itertools import pairwise, permutations
from typing import Any

import numpy as np
import pytest

from elbowroom.layout import (
    Attributes,
    Schedule,
    Section,
    SourceSpec,
    TakeoffEntry,
    build,
    drawing_from_runs,
    rectangular,
    round_section,
)
from elbowroom.physics import Analysis, Kind, Note, analyse, elbows, junctions

DEGREE = np.pi / 180
MAIN, LEG = round_section(0.4), round_section(0.3)


def leg(degrees: float, around: float = 0.0) -> Any:
    """A leg of 6 m, turned off the X axis, and that turned about it."""
    side = np.array([0.0, np.cos(around * DEGREE), np.sin(around * DEGREE)])
    tip = (
        np.cos(degrees * DEGREE) * np.array([1.0, 0, 0])
        + np.sin(degrees * DEGREE) * side
    )
    node = np.array([5.0, 0.0, 0.0])
    return np.array([node, node + 6.0 * tip])


def found(
    legs: dict[str, tuple[Any, Section, float]],
    joining: bool = False,
    main: Section = MAIN,
    entries: dict[str, TakeoffEntry] | None = None,
) -> Analysis:
    runs = [("a", np.array([[0.0, 0, 0], [5, 0, 0]]), main)]
    runs += [(name, points, cut) for name, (points, cut, _) in legs.items()]
    drawing = drawing_from_runs(
        runs,
        flows={name: flow for name, (_, _, flow) in legs.items()},
        attributes={"a": Attributes(source=True, source_at_end=False)},
    )
    source = SourceSpec(is_return=joining)
    plan = Schedule(source=source, takeoff_exceptions=entries or {})
    return analyse(build(drawing, plan))


def losses(analysis: Analysis) -> dict[str, float]:
    names = analysis.graph.terminals.name
    return dict(zip(names, analysis.path_loss.tolist(), strict=True))


@pytest.mark.parametrize(
    ("off", "share"), [(19.0, 1.0), (21.0, 0.9), (25.0, 0.5), (29.0, 0.1), (31.0, 0.0)]
)
def test_two_legs_share_a_turn_where_they_leave_to_opposite_sides(
    off: float, share: float
) -> None:
    """Own choice: in full up to 20 degrees off that, not at all from 30 on.

    The angle between legs of 45 degrees that stand `a` apart around the main follows
    from the law of cosines on the sphere.
    """
    between = (90.0 - off) * DEGREE
    around = np.arccos((np.cos(between) - 0.5) / 0.5) / DEGREE
    legs = {"b": (leg(45.0), LEG, 0.2), "c": (leg(45.0, around), LEG, 0.2)}
    assert found(legs).graph.legs.likeness == pytest.approx([share, share])


@pytest.mark.parametrize("joining", [False, True])
@pytest.mark.parametrize("cut", [LEG, rectangular(0.3, 0.25)])
@pytest.mark.parametrize(
    "ways",
    [
        [(8.0, 0.0), (8.0, 180.0)],
        [(13.0, 0.0), (13.0, 180.0)],
        [(45.0, 0.0), (45.0, 90.0)],
        [(90.0, 0.0), (90.0, 90.0)],
        [(30.0, 0.0), (30.0, 180.0), (90.0, 90.0)],
        [(90.0, 0.0), (90.0, 180.0), (90.0, 90.0)],
        [(60.0, 0.0), (60.0, 120.0), (60.0, 240.0)],
        [(90.0, 0.0), (90.0, 90.0), (90.0, 180.0), (90.0, 270.0)],
    ],
)
def test_the_order_of_drawing_does_not_tell_equal_legs_apart(
    ways: list[tuple[float, float]], cut: Section, joining: bool
) -> None:
    flows = (0.5, 0.2, 0.1, 0.15)
    legs = {
        name: (leg(*way), cut, flow)
        for name, way, flow in zip("bcde", ways, flows, strict=False)
    }
    first = losses(found(legs, joining))
    for names in list(permutations(legs))[1:7]:
        other = losses(found({name: legs[name] for name in names}, joining))
        for name, loss in other.items():
            assert loss == pytest.approx(first[name], rel=1e-9)


@pytest.mark.parametrize("joining", [False, True])
@pytest.mark.parametrize("degrees", [30.0, 90.0])
def test_a_third_leg_with_hardly_any_air_makes_no_other_junction(
    degrees: float, joining: bool
) -> None:
    pair = {name: (leg(degrees, way), LEG, 0.4) for name, way in (("b", 0), ("c", 180))}
    tap = {"d": (leg(90.0, 90.0), round_section(0.1), 8e-4)}
    two, three = losses(found(pair, joining)), losses(found(pair | tap, joining))
    assert two["b"] == pytest.approx(two["c"])
    for name in "bc":
        assert three[name] == pytest.approx(two[name], rel=0.03)
    assert three["b"] == pytest.approx(three["c"])


@pytest.mark.parametrize("joining", [False, True])
def test_two_small_taps_make_no_wye_beside_a_main_that_turns_a_little(
    joining: bool,
) -> None:
    """The leg that carries the air is the main, at 9.9 degrees as at 10.1."""
    both = []
    for degrees in (9.9, 10.1):
        tap = round_section(0.2)
        legs = {
            "b": (leg(degrees, 90.0), MAIN, 0.9),
            "c": (leg(90.0), tap, 0.1),
            "d": (leg(90.0, 180.0), tap, 0.1),
        }
        both.append(losses(found(legs, joining)))
    for name in "bcd":
        assert both[1][name] == pytest.approx(both[0][name], abs=0.05)


def test_equal_legs_that_are_no_pair_are_all_branches() -> None:
    legs = {"b": (leg(90.0), LEG, 0.3), "c": (leg(90.0, 90.0), LEG, 0.3)}
    analysis = found(legs)
    assert not (analysis.elements.kind == Kind.MAIN).any()
    assert analysis.path_loss[0] == pytest.approx(analysis.path_loss[1])


def largest_step(every: list[dict[str, float]], joining: bool) -> float:
    """Largest change from one to the next, as a part of the path's loss.

    Where air joins, of the largest path's: faster air may draw another's along, so that
    a path loses next to nothing.
    """
    loss = np.array([[one[name] for name in sorted(one)] for one in every])
    whole = loss.max(axis=1, keepdims=True) if joining else loss
    return float((np.abs(np.diff(loss, axis=0)) / whole[1:]).max())


@pytest.mark.parametrize("flows", [(0.2, 0.2), (0.3, 0.1), (0.1, 0.3)])
@pytest.mark.parametrize("joining", [False, True])
@pytest.mark.parametrize(
    ("degrees", "around"),
    [(90.0, 90.0), (90.0, 140.0), (90.0, 180.0), (60.0, 90.0), (13.0, 90.0)],
)
def test_no_tenth_of_a_degree_tells_which_of_two_legs_is_the_main(
    degrees: float, around: float, joining: bool, flows: tuple[float, float]
) -> None:
    """Coarse over the fade, and finely where it begins, ends and turns over."""

    def at(turn: float) -> dict[str, float]:
        legs = {
            "b": (leg(degrees), LEG, flows[0]),
            "c": (leg(turn, around), LEG, flows[1]),
        }
        return losses(found(legs, joining))

    coarse = [at(degrees + off) for off in np.arange(-12.0, 12.1, 1.0)]
    assert largest_step(coarse, joining) < 0.1
    for middle in (-10.0, 0.0, 10.0):
        fine = [at(degrees + middle + off) for off in (-0.15, -0.05, 0.05, 0.15)]
        assert largest_step(fine, joining) < 0.01


@pytest.mark.parametrize("cut", [LEG, rectangular(0.3, 0.25)])
@pytest.mark.parametrize("flows", [(0.2, 0.2), (0.3, 0.1)])
@pytest.mark.parametrize("joining", [False, True])
@pytest.mark.parametrize("degrees", [60.0, 90.0])
def test_no_fifth_of_a_millimetre_tells_which_of_two_legs_is_the_main(
    degrees: float, joining: bool, flows: tuple[float, float], cut: Section
) -> None:
    def at(diameter: float) -> dict[str, float]:
        other = round_section(float(diameter))
        legs = {
            "b": (leg(degrees), cut, flows[0]),
            "c": (leg(degrees, 90.0), other, flows[1]),
        }
        return losses(found(legs, joining))

    same = np.sqrt(4.0 / np.pi * cut.area)
    coarse = [at(diameter) for diameter in same * np.arange(0.86, 1.16, 0.01)]
    assert largest_step(coarse, joining) < 0.01 * 0.01 * same / 2e-4
    for middle in (np.sqrt(0.8), 1.0, np.sqrt(1.25)):
        fine = [at(middle * same + off * 2e-4) for off in (-1.5, -0.5, 0.5, 1.5)]
        assert largest_step(fine, joining) < 0.01


def test_no_tenth_of_a_degree_tells_which_of_three_legs_is_the_main() -> None:
    """One turns past both others, of which one is smaller and turns less.

    All stand beside each other: none are a pair on opposite sides.
    """

    def at(turn: float) -> dict[str, float]:
        legs = {
            "b": (leg(66.0), LEG, 0.2),
            "c": (leg(turn, 60.0), LEG, 0.15),
            "d": (leg(63.0, 120.0), round_section(0.28), 0.1),
        }
        return losses(found(legs))

    assert largest_step([at(turn) for turn in np.arange(48.0, 80.0, 0.5)], False) < 0.05
    for middle in (53.0, 63.0, 66.0, 76.0):
        fine = [at(middle + off) for off in (-0.15, -0.05, 0.05, 0.15)]
        assert largest_step(fine, False) < 0.01


@pytest.mark.parametrize("joining", [False, True])
@pytest.mark.parametrize("cut", [LEG, rectangular(0.3, 0.25)])
def test_no_tenth_of_a_degree_tells_which_of_several_legs_are_a_pair(
    cut: Section, joining: bool
) -> None:
    """By how far they are from opposite sides, and by how much less another turns."""

    def opposite(around: float) -> dict[str, float]:
        legs = {
            "b": (leg(70.0), cut, 0.2),
            "c": (leg(70.0, around), cut, 0.15),
            "d": (leg(66.0, 85.0), cut, 0.1),
            "e": (leg(80.0, 280.0), round_section(0.2), 0.05),
        }
        return losses(found(legs, joining))

    def beside(turn: float) -> dict[str, float]:
        legs = {
            "b": (leg(60.0), LEG, 0.2),
            "c": (leg(62.0, 180.0), cut, 0.15),
            "d": (leg(turn, 90.0), cut, 0.1),
        }
        return losses(found(legs, joining))

    for at, first, last in ((opposite, 120.0, 180.0), (beside, 5.0, 65.0)):
        every = [at(value) for value in np.arange(first, last, 2.0)]
        assert largest_step(every, joining) < 0.3
        steps = [largest_step(list(two), joining) for two in pairwise(every)]
        for number in np.argsort(steps)[-2:]:
            near = first + 2.0 * number
            fine = [at(near + off) for off in np.arange(0.0, 2.01, 0.2)]
            assert largest_step(fine, joining) < 0.03
            number = np.argmax([largest_step(list(f), joining) for f in pairwise(fine)])
            finest = [at(near + 0.2 * number + off) for off in (0.0, 0.01, 0.02)]
            assert largest_step(finest, joining) < 0.003


@pytest.mark.parametrize("joining", [False, True])
def test_no_fifth_of_a_millimetre_tells_which_leg_is_the_main_beside_a_pair(
    joining: bool,
) -> None:
    """Half a pair, beside a leg that turns as much and becomes the larger one."""

    def at(diameter: float) -> dict[str, float]:
        legs = {
            "b": (leg(60.0), LEG, 0.2),
            "c": (leg(60.0, 130.0), LEG, 0.15),
            "d": (leg(60.0, 65.0), round_section(float(diameter)), 0.1),
        }
        return losses(found(legs, joining))

    assert largest_step([at(d) for d in 0.3 * np.arange(0.86, 1.16, 0.01)], joining) < 1
    for middle in (np.sqrt(0.8), 1.0, np.sqrt(1.25)):
        fine = [at(middle * 0.3 + off * 2e-4) for off in (-1.5, -0.5, 0.5, 1.5)]
        assert largest_step(fine, joining) < 0.01


@pytest.mark.parametrize("radius", ["b", "c"])
def test_no_tenth_of_a_degree_tells_which_leg_an_entry_is_of(radius: str) -> None:
    """Legs of two entries and two sizes, off a rectangular main that grows narrower."""
    trunk, entries = rectangular(0.5, 0.3), {radius: TakeoffEntry.RADIUS}

    def at(turn: float) -> dict[str, float]:
        legs = {
            "b": (leg(80.0), rectangular(0.3, 0.3), 0.2),
            "c": (leg(turn, 90.0), rectangular(0.32, 0.3), 0.15),
        }
        return losses(found(legs, main=trunk, entries=entries))

    every = [at(turn) for turn in np.arange(68.0, 92.0, 0.5)]
    assert largest_step(every, False) < 0.05


@pytest.mark.parametrize(("less", "whole"), [(0.0, 0.0), (5.0, 0.5), (12.0, 1.0)])
def test_a_leg_that_turns_less_is_the_main_in_part(less: float, whole: float) -> None:
    """Own choice: evenly up to 10 degrees, but for a thousandth of rad at either end.

    A tie is of branches alone; a main at its branch is a mitred elbow besides, on its
    own velocity, in which it turns.
    """
    legs = {"b": (leg(90.0), LEG, 0.2), "c": (leg(90.0 - less, 90.0), LEG, 0.2)}
    analysis = found(legs)
    run = analysis.graph.ducts.run[analysis.elements.duct]
    is_leg = np.isin(analysis.elements.kind, (Kind.BRANCH, Kind.MAIN))
    (row,) = (is_leg & (run == 2)).nonzero()[0].tolist()
    q, f, s = (np.array([part]) for part in (0.5, 0.5625, 0.5625))
    turn = np.array([(90.0 - less) * DEGREE])
    branch = junctions.diverging_branch(q, f, turn).value
    elbow = elbows.round_mitred(turn).value * (q / s) ** 2
    main = junctions.diverging_main(1.0 - q, f, s).value + elbow
    assert analysis.elements.coefficient[row] == pytest.approx(
        branch + whole * (main - branch), abs=2e-4
    )


def leg_coefficients(analysis: Analysis) -> Any:
    """C of the legs of the one junction, in the order in which they are drawn."""
    elements = analysis.elements
    rows = np.isin(elements.kind, (Kind.BRANCH, Kind.MAIN)).nonzero()[0]
    run = analysis.graph.ducts.run[elements.duct[rows]]
    return elements.coefficient[rows[np.argsort(run)]]


@pytest.mark.parametrize("degrees", [30.0, 60.0, 90.0])
def test_air_of_two_legs_alike_joins_with_the_momentum_that_both_bring(
    degrees: float,
) -> None:
    """By hand: 1 + (q/f)² - 2 cos (q² + (1 - q)²)/f, legs as wide as the trunk.

    At a right angle the print's factor A, 0.55 of either q, counts on what its formula
    has: 1 + (q/f)² - 2 (1 - q)².
    """
    turn, flows = np.cos(degrees * DEGREE), (0.22, 0.18)
    legs = {
        name: (leg(degrees, around), LEG, flow)
        for name, around, flow in zip("bc", (0.0, 60.0), flows, strict=True)
    }
    q = np.array(flows) / sum(flows)
    by_hand = 1.0 + q**2 - 2.0 * turn * (q**2 + (1.0 - q) ** 2)
    if degrees == 90.0:
        by_hand -= 0.45 * (1.0 + q**2 - 2.0 * (1.0 - q) ** 2)
    coefficients = leg_coefficients(found(legs, joining=True, main=LEG))
    assert coefficients == pytest.approx(by_hand, abs=1e-9)


def test_small_legs_at_right_angles_bring_no_momentum_along_the_trunk() -> None:
    """By hand: C = 1 + (q/f)², as the print's factor is 1 up to f = 0.3."""
    flows = np.array([0.08, 0.07, 0.06, 0.05, 0.04])
    small = round_section(0.4 * 0.29**0.5)
    legs = {
        name: (leg(90.0, 72.0 * number), small, flow)
        for number, (name, flow) in enumerate(zip("bcdef", flows, strict=True))
    }
    by_hand = 1.0 + (flows / flows.sum() / 0.29) ** 2
    coefficients = leg_coefficients(found(legs, joining=True))
    assert coefficients == pytest.approx(by_hand, rel=1e-6)


@pytest.mark.parametrize("flows", [(0.1, 0.2, 0.2), (0.3, 0.1, 0.2)])
@pytest.mark.parametrize("turns", [(90.0, 90.0), (45.0, 45.0), (45.0, 90.0)])
def test_air_joins_a_main_with_the_momentum_that_all_legs_bring(
    turns: tuple[float, float], flows: tuple[float, float, float]
) -> None:
    """By hand: 1 + (q/f)² less the sum of 2 q² cos / f of all legs, the main's too."""
    wide, turn = np.array([0.9, 0.25, 0.25]), np.array([0.0, *turns])
    cuts = [round_section(0.4 * part**0.5) for part in wide.tolist()]
    ways = zip(turn.tolist(), (0.0, 0.0, 120.0), strict=True)
    every = zip("bcd", ways, cuts, flows, strict=True)
    legs = {name: (leg(*way), cut, flow) for name, way, cut, flow in every}
    q = np.array(flows) / sum(flows)
    brought = (2.0 * q**2 * np.cos(turn * DEGREE) / wide).sum()
    by_hand = (1.0 + (q / wide) ** 2 - brought)[1:]
    coefficients = leg_coefficients(found(legs, joining=True))[1:]
    assert coefficients == pytest.approx(by_hand, abs=1e-9)


@pytest.mark.parametrize(
    ("straight", "flow"),
    [
        (round_section(0.15), 0.06),
        (round_section(0.2), 0.11),
        (rectangular(0.2, 0.25), 0.15),
    ],
)
def test_a_small_straight_leg_lends_joining_branches_no_momentum(
    straight: Section, flow: float
) -> None:
    """By hand 1 + (q/f)² - 2 q²/s with the straight leg's own q: the print is near."""
    trunk, cut = rectangular(0.4, 0.25), rectangular(0.2, 0.25)
    legs = {"b": (leg(0.0), straight, flow)}
    legs |= {name: (leg(90.0, way), cut, 0.25) for name, way in (("c", 0), ("d", 180))}
    coefficients = leg_coefficients(found(legs, joining=True, main=trunk))
    q = np.array([flow, 0.25, 0.25]) / (flow + 0.5)
    by_hand = 1.0 + (q[1] / 0.5) ** 2 - 2.0 * q[0] ** 2 * trunk.area / straight.area
    assert coefficients[1:] == pytest.approx([by_hand] * 2, abs=0.3)
    assert q @ coefficients > 0.5


Leg = tuple[Any, Section, float]


def any_junction(
    seed: int,
) -> tuple[dict[str, Leg], bool, Section, dict[str, TakeoffEntry]]:
    """Legs, whether they join, their common duct and some entries: all by chance."""
    rng = np.random.default_rng(seed)
    joining, boxy = bool(seed % 2), bool(seed // 2 % 2)

    def cut(part: float, boxed: bool) -> Section:
        size = 0.1 * part
        return rectangular(size / 0.25, 0.25) if boxed else round_section(size**0.5)

    names = "bcdef"[: int(rng.integers(3, 6))]
    air = 0.6 * (rng.dirichlet(np.full(len(names), rng.choice([0.3, 1, 3]))) + 1e-3)
    begin, kinds = rng.uniform(0.0, 360.0), list(TakeoffEntry)
    legs, entries = {}, {}
    for number, (name, flow) in enumerate(zip(names, air.tolist(), strict=True)):
        turn = float(rng.choice([15.0, 30, 45, 60, 90, rng.uniform(5, 100)]))
        part = float(rng.uniform(0.04, 0.8))
        if number == 0 and rng.random() < 0.7:
            turn, part = float(rng.choice([0.0, rng.uniform(0.0, 20.0)])), 1.2 * part
        way = leg(turn, begin + 360.0 / len(names) * number + rng.uniform(-5, 5))
        legs[name] = (way, cut(part, boxy and rng.random() < 0.7), flow)
        if rng.random() < 0.4:
            entries[name] = kinds[int(rng.integers(len(kinds)))]
    return legs, joining, cut(1.0, boxy), entries


@pytest.mark.parametrize("seed", range(60))
def test_no_junction_of_several_legs_gives_energy(seed: int) -> None:
    """The sum of airflow times loss is what the air spends there: never below nothing.

    NaN has no place there either.
    """
    legs, joining, main, entries = any_junction(seed)
    air = np.array([flow for _, _, flow in legs.values()])
    coefficients = leg_coefficients(found(legs, joining, main, entries))
    assert air @ coefficients >= -1e-9 * (air @ np.abs(coefficients))


def test_what_would_give_energy_gives_none() -> None:
    """Of a leg at 20 degrees with most air the formulas are off by their own error."""
    legs = {
        "b": (leg(15.0), round_section(0.3315), 0.559),
        "c": (leg(15.0, 180.0), round_section(0.078), 0.035),
        "d": (leg(60.0, 90.0), round_section(0.0505), 0.006),
    }
    flows = np.array([0.559, 0.035, 0.006])
    coefficients = leg_coefficients(found(legs, True, round_section(0.3568)))
    assert flows @ coefficients == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize("seed", range(24))
def test_no_order_of_lines_tells_several_legs_apart(seed: int) -> None:
    legs, joining, main, entries = any_junction(seed)
    first = losses(found(legs, joining, main, entries))
    for names in (list(legs)[::-1], [*list(legs)[2:], *list(legs)[:2]]):
        other = losses(
            found({name: legs[name] for name in names}, joining, main, entries)
        )
        assert other == pytest.approx(first, rel=1e-9, abs=1e-9)


@pytest.mark.parametrize("seed", range(40))
def test_a_leg_without_air_leaves_the_junction_as_it_is_without_it(seed: int) -> None:
    """Whichever of them it is, whatever it turns by, however large, with any entry."""
    legs, joining, main, entries = any_junction(seed)
    idle = list(legs)[seed // 4 % len(legs)]
    others = {name: one for name, one in legs.items() if name != idle}
    kept = {name: entry for name, entry in entries.items() if name != idle}
    without = losses(found(others, joining, main, kept))
    points, cut, _ = legs[idle]
    least = losses(found(legs | {idle: (points, cut, 1e-8)}, joining, main, entries))
    whole = max(map(abs, without.values()))
    for name, loss in without.items():
        assert least[name] == pytest.approx(loss, abs=1e-4 * whole)


@pytest.mark.parametrize("seed", range(12))
def test_no_litre_of_a_leg_s_air_makes_a_jump(seed: int) -> None:
    """Coarse over all of it, and twice as fine again where it changes most."""
    legs, joining, main, entries = any_junction(seed)
    name = list(legs)[seed // 4]
    points, cut, _ = legs[name]

    def steps(first: float, last: float, count: int) -> tuple[float, float, float]:
        air = np.linspace(first, last, count)
        every = [
            found(legs | {name: (points, cut, x)}, joining, main, entries)
            for x in air.tolist()
        ]
        c = np.array([leg_coefficients(one) for one in every])
        step = (np.abs(np.diff(c, axis=0)) / (1.0 + np.abs(c[1:]))).max(axis=1)
        most = int(step.argmax())
        return float(step[most]), float(air[most]), float(air[most + 1])

    _, first, last = steps(5e-4, 0.25, 26)
    coarse, first, last = steps(first, last, 11)
    fine, _, _ = steps(first, last, 11)
    assert fine < 0.25 * coarse or fine < 1e-3


@pytest.mark.parametrize("joining", [False, True])
@pytest.mark.parametrize("degrees", [30.0, 45.0, 60.0, 90.0])
def test_an_idle_straight_leg_between_two_makes_them_no_branches(
    degrees: float, joining: bool
) -> None:
    """Those of a wye or a bullhead tee they stay, of which tables are printed."""
    cut, trunk = rectangular(0.2, 0.25), rectangular(0.4, 0.25)
    pair = {
        name: (leg(degrees, way), cut, 0.25) for name, way in (("b", 0), ("c", 180))
    }
    alone = leg_coefficients(found(pair, joining, trunk))
    tap = {"d": (leg(0.0), round_section(0.06), 1e-5)}
    beside = leg_coefficients(found(pair | tap, joining, trunk))
    assert beside[:2] == pytest.approx(alone, abs=2e-3)


@pytest.mark.parametrize("joining", [False, True])
@pytest.mark.parametrize("boxy", [False, True])
def test_a_main_past_two_entries_loses_the_mean_by_their_air(
    boxy: bool, joining: bool
) -> None:
    """Of what it loses past two of the one and past two of the other."""
    trunk = rectangular(0.4, 0.25) if boxy else round_section(0.35)
    cut = rectangular(0.2, 0.25) if boxy else round_section(0.25)
    legs = {"b": (leg(0.0), trunk, 0.3)}
    legs |= {"c": (leg(90.0), cut, 0.2), "d": (leg(90.0, 180.0), cut, 0.1)}
    radius = TakeoffEntry.RADIUS
    main = [
        leg_coefficients(found(legs, joining, trunk, dict.fromkeys(names, radius)))[0]
        for names in ("", "c", "d", "cd")
    ]
    none, one, other, both = main
    assert one == pytest.approx(none + (both - none) * 2.0 / 3.0)
    assert other == pytest.approx(none + (both - none) / 3.0)
    assert (both == none) == (joining and not boxy)  # no table of such


@pytest.mark.parametrize("boxy", [False, True])
def test_legs_nearly_alike_lose_what_lies_between_those_that_are_not(
    boxy: bool,
) -> None:
    """Where air joins at right angles, over a fifth of the area to either side."""

    def section(side: float) -> Section:
        return rectangular(side, 0.3) if boxy else round_section(side)

    def at(size: float) -> Any:
        legs = {
            "b": (leg(90.0), section(0.3), 0.22),
            "c": (leg(90.0, 90.0), section(size), 0.18),
        }
        return leg_coefficients(found(legs, joining=True, main=section(0.32)))

    sizes = 0.3 * np.linspace(0.79, 1.26, 41) ** (1.0 if boxy else 0.5)
    every = np.array([at(float(size)) for size in sizes])
    low, high = every[[0, -1]].min(axis=0), every[[0, -1]].max(axis=0)
    assert (every >= low - 1e-3).all()
    assert (every <= high + 1e-3).all()
    assert np.abs(np.diff(every, axis=0)).max() < 0.06


@pytest.mark.parametrize(
    ("turn", "diameter", "said"),
    [
        (90.0, 0.3, True),
        (90.05, 0.3, True),
        (90.07, 0.3, True),
        (99.9, 0.3, True),
        (100.1, 0.3, False),
        (90.0, 0.3 * 0.79**0.5, False),
        (90.0, 0.3 * 0.81**0.5, True),
        (95.0, 0.2, False),
        (85.0, 0.2, True),
    ],
)
def test_a_drawing_that_leaves_it_open_which_leg_is_the_main_is_told_so(
    turn: float, diameter: float, said: bool
) -> None:
    legs = {
        "b": (leg(90.0), LEG, 0.2),
        "c": (leg(turn, 90.0), round_section(diameter), 0.1),
    }
    for joining in (False, True):
        notices = found(legs, joining).graph.notices
        whats = [one.what for one in notices if "to tell which is the main" in one.what]
        assert len(whats) == said
    if said and turn == 99.9:
        assert "'b' and 'c' turn away by 90 and 99.9 degrees" in whats[0]
        assert "'b' counts as it by 99 %" in whats[0]


@pytest.mark.parametrize("joining", [False, True])
@pytest.mark.parametrize(
    ("ways", "is_printed"),
    [
        ([(90.0, 0.0), (90.0, 90.0)], False),
        ([(90.0, 0.0), (90.0, 179.0)], True),
        ([(45.0, 0.0), (45.0, 180.0)], True),
        ([(8.0, 0.0), (8.0, 180.0)], False),
        ([(60.0, 0.0), (60.0, 50.0), (60.0, 100.0)], False),
        ([(80.0, 0.0), (80.0, 120.0), (80.0, 240.0)], False),
        ([(90.0, 0.0), (90.0, 90.0), (90.0, 180.0)], True),
    ],
)
def test_legs_that_tie_are_told_as_those_beside_them(
    ways: list[tuple[float, float]], is_printed: bool, joining: bool
) -> None:
    """No table has legs alike but for those of wyes and bullhead tees."""
    legs = {name: (leg(*way), LEG, 0.2) for name, way in zip("bcd", ways, strict=False)}
    analysis = found(legs, joining)
    whats = [one.what for one in analysis.graph.notices if "the main" in one.what]
    assert len(whats) == (not is_printed)
    assert all("main: all are branches" in what for what in whats)
    if len(ways) == 2:
        notes = analysis.elements.notes[analysis.elements.kind == Kind.BRANCH]
        assert ((notes & int(Note.FALLBACK)) > 0).tolist() == [not is_printed] * 2


@pytest.mark.parametrize(
    ("turn", "around", "said"),
    [
        (69.9, 180.0, ""),
        (70.2, 180.0, "by 2 %"),
        (75.0, 180.0, "by 50 %"),
        (79.8, 180.0, "by 98 %"),
        (80.1, 180.0, ""),
        (90.0, 161.0, ""),
        (90.0, 159.0, "by 90 %"),
        (90.0, 154.0, "by 40 %"),
        (90.0, 149.0, ""),
    ],
)
def test_a_pair_of_three_legs_that_is_hardly_one_is_told_so(
    turn: float, around: float, said: str
) -> None:
    """Own choice, as of two legs: the third turns 10 to 20 degrees less than both."""
    legs = {
        "b": (leg(90.0), LEG, 0.2),
        "c": (leg(90.0, around), LEG, 0.2),
        "d": (leg(turn, 80.0), LEG, 0.1),
    }
    whats = [one.what for one in found(legs).graph.notices]
    told = [what for what in whats if "alike and opposite" in what]
    assert len(told) == bool(said)
    assert all(said in what for what in told)


@pytest.mark.parametrize(
    ("turn", "shares"),
    [
        (16.0, ["'b' counts as it by 17 %", "bullhead tee by 50 %"]),
        (12.5, ["bullhead tee by 50 %"]),
    ],
)
def test_shares_are_said_of_all_that_a_junction_counts_as(
    turn: float, shares: list[str]
) -> None:
    """Half a wye, as 12.5 degrees lie amid 10 and 15.

    Of the other half 'b' is the main by 3.5 of 10 degrees, but for the thousandth of
    rad at either end.
    """
    legs = {"b": (leg(12.5), LEG, 0.2), "c": (leg(turn, 180.0), LEG, 0.2)}
    notices = found(legs).graph.notices
    (what,) = [one.what for one in notices if "to tell which is the main" in one.what]
    assert all(share in what for share in shares)
    assert what.count(" %") == len(shares)
    assert ", and for the rest all are branches" in what


def test_a_main_that_turns_is_not_called_straight() -> None:
    def words(turn: float) -> list[str]:
        legs = {"b": (leg(turn, 180.0), MAIN, 0.5), "c": (leg(90.0), LEG, 0.2)}
        analysis = found(legs)
        rows = (analysis.elements.kind == Kind.MAIN).nonzero()[0].tolist()
        return [analysis.words(row) for row in rows]

    assert words(0.9) == ["straight leg past branch c"]
    assert words(1.1) == ["main that turns 1.1° at branch c"]
    assert words(79.0) == []  # a bullhead tee
    legs = {"b": (leg(90.0), MAIN, 0.5), "c": (leg(90.0, 90.0), LEG, 0.2)}
    analysis = found(legs)
    (row,) = (analysis.elements.kind == Kind.MAIN).nonzero()[0].tolist()
    assert analysis.words(row) == "main that turns 90° at branch c"


def test_a_main_past_several_branches_names_them() -> None:
    def words(*more: str) -> str:
        legs = {"b": (leg(0.0), MAIN, 0.5)}
        ways = zip(("c", *more), (90.0, 180.0, 0.0, 270.0), strict=False)
        legs |= {name: (leg(90.0, around), LEG, 0.2) for name, around in ways}
        analysis = found(legs)
        (row,) = (analysis.elements.kind == Kind.MAIN).nonzero()[0].tolist()
        return analysis.words(row)

    assert words() == "straight leg past branch c"
    assert words("d") == "straight leg past branches c and d"
    assert words("d", "e", "f") == "straight leg past branches c and d and 2 more"


@pytest.mark.parametrize("branch_flow", [0.3, 0.6])
@pytest.mark.parametrize("degrees", [15.0, 45.0, 69.0])
def test_air_that_joins_a_main_which_turns_meets_less_momentum(
    degrees: float, branch_flow: float
) -> None:
    """By hand: the common duct keeps axial momentum, so all legs lose

    2 (1 - q)² (1 - cos) more; the published value of the straight main stands for 0°.
    """
    flows = {"b": 1.0 - branch_flow, "c": branch_flow}
    losses_of = {}
    for turn in (0.0, degrees):
        legs = {
            "b": (leg(turn), MAIN, flows["b"]),
            "c": (leg(90, 180), LEG, flows["c"]),
        }
        analysis = found(legs, joining=True)
        kinds = analysis.elements.kind
        losses_of[turn] = [
            float(analysis.elements.coefficient[kinds == kind][0])
            for kind in (Kind.MAIN, Kind.BRANCH)
        ]
    added = 2.0 * flows["b"] ** 2 * (1.0 - np.cos(degrees * DEGREE))
    for bent, straight in zip(losses_of[degrees], losses_of[0.0], strict=True):
        assert bent - straight == pytest.approx(added, abs=1e-9)


def test_a_main_that_turns_with_no_air_joining_is_an_elbow() -> None:
    """Own rule: at q = 0 a mitred elbow of its angle, of the table of those."""
    legs = {"b": (leg(45.0), MAIN, 0.5), "c": (leg(90.0, 180.0), LEG, 1e-5)}
    analysis = found(legs, joining=True)
    row = int(np.flatnonzero(analysis.elements.kind == Kind.MAIN)[0])
    wanted = float(elbows.round_mitred(45.0 * DEGREE).value[0])
    assert analysis.elements.coefficient[row] == pytest.approx(wanted, abs=0.01)


def credits_of(analysis: Analysis, *kinds: Kind) -> list[Any]:
    e = analysis.elements
    return [e.credits[n] for n in e.credit[np.isin(e.kind, kinds)].tolist()]


@pytest.mark.parametrize("joining", [False, True])
def test_the_legs_of_a_cross_have_the_lowest_class(joining: bool) -> None:
    """No coefficients of a cross are published: those of tees stand in."""
    legs = {
        "on": (leg(0.0), MAIN, 0.3),
        "up": (leg(90.0), LEG, 0.1),
        "down": (leg(90.0, 180.0), LEG, 0.1),
    }
    analysis = found(legs, joining)
    used = credits_of(analysis, Kind.MAIN, Kind.BRANCH)
    assert [credit.confidence for credit in used] == ["low"] * 3
    tee = found({name: legs[name] for name in ("on", "up")}, joining)
    used = credits_of(tee, Kind.MAIN, Kind.BRANCH)
    assert all(credit.confidence != "low" for credit in used)


@pytest.mark.parametrize(
    ("section", "table"),
    [
        (round_section(0.4), "round_elbow_mitred"),
        (rectangular(0.4, 0.4), "rect_elbow_mitred"),
    ],
)
def test_a_main_that_bends_at_a_branch_names_the_elbow_that_stands_in(
    section: Section, table: str
) -> None:
    for off, bends in ((0.0, False), (20.0, True)):
        drawing = drawing_from_runs(
            [
                ("a", np.array([[0.0, 0, 0], [5, 0, 0]]), section),
                ("on", leg(off), section),
                ("side", leg(60.0, 180.0), LEG),
            ],
            flows={"on": 0.3, "side": 0.1},
            attributes={"a": Attributes(source=True, source_at_end=False)},
        )
        analysis = analyse(build(drawing))
        (main,) = credits_of(analysis, Kind.MAIN)
        e = analysis.elements
        noted = bool(e.notes[e.kind == Kind.MAIN][0] & int(Note.FALLBACK))
        assert noted == (main.confidence == "low") == bends
        assert (table in main.table.split(" and ")) == bends
