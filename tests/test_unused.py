"""Exceptions of a schedule that find no fitting are told, and only those."""

from typing import Any

import numpy as np
import pytest

from elbowroom.layout import (
    Attributes,
    DuctGraph,
    ElbowConstruction,
    ElbowRule,
    Schedule,
    TakeoffEntry,
    TerminalSpec,
    TransitionRule,
    build,
    drawing_from_runs,
    rectangular,
    round_section,
)

# A main with a bend at its end, a tap to one side, and a reducer on the way.
RUNS = [
    ("main", [[0, 0, 0], [4, 0, 0]], rectangular(0.4, 0.3)),
    ("on", [[4, 0, 0], [8, 0, 0]], rectangular(0.4, 0.3)),
    ("thin", [[8, 0, 0], [12, 0, 0], [12, 3, 0]], rectangular(0.3, 0.3)),
    ("tap", [[4, 0, 0], [4, 3, 0]], round_section(0.2)),
]
# A main that narrows where the tap leaves it: that counts as a transition.
NARROW = [
    RUNS[0],
    ("on", [[4, 0, 0], [8, 0, 0]], rectangular(0.2, 0.3)),
    ("thin", [[8, 0, 0], [12, 0, 0], [12, 3, 0]], rectangular(0.2, 0.3)),
    RUNS[3],
]
# A trunk whose last duct leaves it alone at a right angle, in another shape.
LAST = [
    ("main", [[0, 0, 0], [4, 0, 0]], rectangular(0.4, 0.3)),
    ("tap", [[4, 0, 0], [4, 3, 0]], round_section(0.2)),
]
MITRED = ElbowRule(ElbowConstruction.MITRED)
LONG = TransitionRule(length=0.5)


def told(runs: Any, **plan: Any) -> list[str]:
    """What is said of exceptions that find nothing."""
    drawing = drawing_from_runs(
        [(name, np.asarray(points, float), cut) for name, points, cut in runs],
        attributes={"main": Attributes(source=True, source_at_end=False)},
    )
    free = {"thin", "tap", "left", "right"} & set(drawing.names)
    ends = {name: TerminalSpec(0.1) for name in free}
    graph: DuctGraph = build(drawing, Schedule(terminals=ends, **plan))
    return [n.sentence for n in graph.notices if "declared" in n.what]


@pytest.mark.parametrize(
    ("runs", "plan"),
    [
        (RUNS, {"elbow_exceptions": {("thin", 1): MITRED}}),
        (RUNS, {"elbow_exceptions": {("thin", 0): MITRED}}),
        (RUNS, {"takeoff_exceptions": {"tap": TakeoffEntry.CONICAL}}),
        (RUNS, {"transition_exceptions": {"thin": LONG}}),
        (NARROW, {"transition_exceptions": {"on": LONG}}),
        (LAST, {"closed_ends": {"tap": True}}),
        (LAST, {"closed_ends": {"tap": False}}),
    ],
)
def test_an_exception_that_finds_its_fitting_is_not_told(runs: Any, plan: Any) -> None:
    assert not told(runs, **plan)


@pytest.mark.parametrize(
    ("runs", "plan", "said"),
    [
        (
            RUNS,
            {"elbow_exceptions": {("thin", 2): MITRED}},
            "'thin': an elbow is declared for its bend 2, but the run has bend 1 only",
        ),
        (
            RUNS,
            {"elbow_exceptions": {("tap", 0): MITRED}},
            "'tap': an elbow is declared for it, but no elbow lies in it",
        ),
        (
            RUNS,
            {"takeoff_exceptions": {"on": TakeoffEntry.CONICAL}},
            "'on': a takeoff entry is declared for it, but it is no branch",
        ),
        (
            RUNS,
            {"transition_exceptions": {"on": LONG}},
            "'on': a transition is declared for it, but no change of section",
        ),
        (RUNS, {"closed_ends": {"on": True}}, "'on': it is declared a tap at the"),
        (RUNS, {"closed_ends": {"tap": False}}, "'tap': closed_end = false is decl"),
    ],
)
def test_an_exception_that_finds_nothing_is_told(
    runs: Any, plan: Any, said: str
) -> None:
    (sentence,) = told(runs, **plan)
    assert said in sentence


def test_a_terminal_marked_where_nothing_ends_is_told() -> None:
    drawing = drawing_from_runs(
        [(name, np.asarray(points, float), cut) for name, points, cut in RUNS],
        attributes={
            "main": Attributes(source=True, source_at_end=False),
            "on": Attributes(terminal="grille"),
            "thin": Attributes(terminal="store"),
        },
    )
    ends = {"store": TerminalSpec(0.1), "tap": TerminalSpec(0.1)}
    said = [n.sentence for n in build(drawing, Schedule(terminals=ends)).notices]
    (told,) = [sentence for sentence in said if "marked" in sentence]
    assert "'on': it is marked as the terminal 'grille', but none of its ends" in told


FLEXIBLE = "flexible duct, nonmetallic with wire, fully extended"


@pytest.mark.parametrize(
    ("plan", "is_told"),
    [
        ({}, True),
        ({"material": "galvanised steel"}, True),
        ({"material": FLEXIBLE}, False),
        ({"run_materials": {"tap": FLEXIBLE}}, False),
        (
            {
                "material": FLEXIBLE,
                "run_roughness": dict.fromkeys(("main", "on", "thin", "tap"), 9e-5),
            },
            True,
        ),
    ],
)
def test_a_compression_of_no_flexible_duct_is_told(
    plan: dict[str, Any], is_told: bool
) -> None:
    found = told(RUNS, compression=0.2, **plan)
    assert len(found) == is_told
    assert all("[duct] compression: it is declared, but no run" in one for one in found)
    assert not told(RUNS, **plan)


def test_the_compression_of_a_supply_is_not_told_of_its_rigid_return() -> None:
    plan = Schedule(compression=0.2, run_materials={"tap": FLEXIBLE})
    assert plan.for_return().compression is None
    plan = Schedule(compression=0.2, material=FLEXIBLE)
    assert plan.for_return().compression == 0.2


# The main in three pieces of one name, the last with a bend, and two taps of another.
ALIKE = [
    ("main", [[0, 0, 0], [4, 0, 0]], rectangular(0.4, 0.3)),
    ("main (2)", [[4, 0, 0], [8, 0, 0]], rectangular(0.4, 0.3)),
    ("main (3)", [[8, 0, 0], [12, 0, 0], [12, 3, 0]], rectangular(0.4, 0.3)),
    ("left", [[4, 0, 0], [4, 3, 0]], round_section(0.2)),
    ("right", [[8, 0, 0], [8, 3, 0]], round_section(0.2)),
]
CONE = TakeoffEntry.CONICAL


@pytest.mark.parametrize(
    ("plan", "said"),
    [
        (
            {"elbow_exceptions": {("main", 0): MITRED, ("main (2)", 1): MITRED}},
            "run 'main (2)': an elbow is declared for its bend 1, but no elbow",
        ),
        (
            {"elbow_exceptions": {("main", 1): MITRED, ("main (2)", 2): MITRED}},
            "run 'main (2)': an elbow is declared for its bend 2, but no elbow",
        ),
        (
            {"takeoff_exceptions": {"main": CONE}, "closed_ends": {"main (2)": True}},
            "run 'main (2)': it is declared a tap at the closed end of a duct",
        ),
    ],
)
def test_what_is_declared_of_one_run_alone_is_told_of_that_one(
    plan: Any, said: str
) -> None:
    """Though the same place says something else of all the runs of its name."""
    ends = {name: TerminalSpec(0.1) for name in ("main (3)", "left", "right")}
    drawing = drawing_from_runs(
        [(name, np.asarray(points, float), cut) for name, points, cut in ALIKE],
        attributes={"main": Attributes(source=True, source_at_end=False)},
    )
    graph = build(drawing, Schedule(terminals=ends, **plan))
    assert any(said in notice.sentence for notice in graph.notices)
    whole = [n for n in graph.notices if "run 'main':" in n.sentence]
    assert not any("bend" in n.what or "closed end" in n.what for n in whole)


def test_a_missing_bend_of_runs_alike_is_told_at_one_that_has_bends() -> None:
    drawing = drawing_from_runs(
        [(name, np.asarray(points, float), cut) for name, points, cut in ALIKE],
        attributes={"main": Attributes(source=True, source_at_end=False)},
    )
    ends = {name: TerminalSpec(0.1) for name in ("main (3)", "left", "right")}
    plan = Schedule(terminals=ends, elbow_exceptions={("main", 2): MITRED})
    (told,) = [n for n in build(drawing, plan).notices if "declared" in n.what]
    assert told.where.endswith("run 'main (3)'")
    assert told.what.endswith("for its bend 2, but the run has bend 1 only")
    assert told.place == (10.0, 0.0, 0.0)
