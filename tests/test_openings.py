"""Branches that begin with a drawn transition: how large their openings are."""

from typing import Any

import numpy as np
import pytest

from elbowroom.layout import (
    Attributes,
    Basis,
    DuctGraph,
    Schedule,
    TakeoffEntry,
    TerminalSpec,
    build,
    drawing_from_runs,
    rectangular,
    round_section,
)
from elbowroom.physics import analyse

SOURCE = Attributes(source=True, source_at_end=False)
OPENING = rectangular(0.4, 0.2)
MAIN = rectangular(0.6, 0.3)


def branched(
    piece: Any,
    opening: Any = None,
    onward: Any = ((4, 0, 3), (8, 0, 3)),
    away: Any = (0, 3, 0),
    **plan: Any,
) -> DuctGraph:
    """A main of which a D200 leaves that begins with a drawn transition."""
    piece = np.array(piece, float)
    main = [("main", np.array([[0, 0, 3], [4, 0, 3]], float), MAIN)]
    ends = {"b": TerminalSpec(0.1)}
    if onward is not None:
        main.append(("on", np.array(onward, float), rectangular(0.5, 0.3)))
        ends["on"] = TerminalSpec(0.4)
    drawing = drawing_from_runs(
        [
            *main,
            ("piece", piece, opening),
            ("b", np.array([piece[-1], piece[-1] + away]), round_section(0.2)),
        ],
        attributes={
            "main": SOURCE,
            "piece": Attributes(transition=True),
        },
    )
    return build(drawing, Schedule(terminals=ends, **plan))


def opening_of(graph: DuctGraph) -> str:
    """Section with which the duct of the piece begins."""
    names = [graph.drawing.names[run] for run in graph.ducts.run.tolist()]
    return graph.section(names.index("piece")).words


def told_of(graph: DuctGraph, words: str) -> list[str]:
    return [notice.where for notice in graph.notices if words in notice.what]


UNSAID = "nothing says how large its opening is"
ASIDE = [[4, 0, 3], [4, 0.6, 3]]


def test_a_branch_that_begins_with_a_transition_has_an_opening_of_its_own() -> None:
    """Nobody says its size: it is that of the branch, and the piece changes nothing."""
    graph = branched(ASIDE)
    assert opening_of(graph) == "Ø200 mm"
    (where,) = told_of(graph, UNSAID)
    assert "run 'piece', at (4, 0, 3) m" in where
    assert not told_of(graph, "small steps")
    # Nothing but the step of the main itself, 600 to 500, is left of transitions.
    assert len(graph.transitions.duct) == 0
    assert analyse(graph).path_loss == pytest.approx(
        analyse(
            build(
                drawing_from_runs(
                    [
                        ("main", np.array([[0, 0, 3], [4, 0, 3]]), MAIN),
                        ("on", np.array([[4, 0, 3], [8, 0, 3]]), rectangular(0.5, 0.3)),
                        ("b", np.array([[4, 0, 3], [4, 3.6, 3]]), round_section(0.2)),
                    ],
                    attributes={"main": SOURCE},
                ),
                Schedule(terminals={"b": TerminalSpec(0.1), "on": TerminalSpec(0.4)}),
            )
        ).path_loss
    )


@pytest.mark.parametrize("is_drawn", [False, True])
def test_an_opening_has_the_section_that_is_said_of_its_transition(
    is_drawn: bool,
) -> None:
    plan = {} if is_drawn else {"sections": {"piece": OPENING}}
    graph = branched(ASIDE, OPENING if is_drawn else None, **plan)
    assert opening_of(graph) == OPENING.words
    assert graph.transitions.length.tolist() == pytest.approx([0.6])
    assert graph.transitions.length_basis.tolist() == [Basis.DRAWN]
    assert not told_of(graph, UNSAID)
    assert not told_of(graph, "small steps")
    # Half of the piece rubs in either section.
    names = [graph.drawing.names[run] for run in graph.ducts.run.tolist()]
    lengths = dict(zip(names, graph.ducts.length.tolist(), strict=True))
    assert (lengths["piece"], lengths["b"]) == pytest.approx((0.3, 3.3))


@pytest.mark.parametrize(
    ("run", "remedy"),
    [
        ("b", "or name 'piece', with which its branch begins"),
        ("on", "or name the branch"),
        ("piece", None),
    ],
)
def test_an_entry_said_behind_an_opening_is_told_the_run_of_the_branch(
    run: str, remedy: str | None
) -> None:
    graph = branched(ASIDE, OPENING, takeoff_exceptions={run: TakeoffEntry.RADIUS})
    told = [n.remedy for n in graph.notices if "it is no branch" in n.what]
    assert [words.partition(", ")[2] for words in told] == ([remedy] if remedy else [])


def test_an_opening_as_large_as_its_branch_is_straight_duct() -> None:
    graph = branched(ASIDE, round_section(0.2))
    assert len(graph.transitions.duct) == 0
    assert not told_of(graph, UNSAID)


@pytest.mark.parametrize(
    ("degrees", "section", "is_told"),
    [(0.0, MAIN.words, False), (5.0, MAIN.words, False), (60.0, "Ø200 mm", True)],
)
def test_a_transition_in_which_the_main_goes_on_begins_with_its_section(
    degrees: float, section: str, is_told: bool
) -> None:
    """Beside another at 45 degrees: the one that turns less is the main."""
    a = np.radians(degrees)
    heading = np.array([np.cos(a), -np.sin(a), 0])
    start = np.array([4.0, 0, 3])
    graph = branched(
        [start, start + 0.5 * heading],
        onward=[[4, 0, 3], [6, 2, 3]],
        away=3 * heading,
    )
    assert opening_of(graph) == section
    assert bool(told_of(graph, UNSAID)) == is_told
    assert not told_of(graph, "small steps")


def test_a_tap_at_a_closed_end_has_an_opening_of_its_own() -> None:
    for is_tap in (False, True):
        graph = branched(ASIDE, onward=None, closed_ends={"piece": is_tap})
        assert opening_of(graph) == ("Ø200 mm" if is_tap else MAIN.words)
        assert bool(told_of(graph, UNSAID)) == is_tap


def test_a_transition_at_a_branch_that_bends_itself_says_so() -> None:
    turn = np.radians(np.linspace(0, 90, 7))
    arc = np.stack([4 + 1 - np.cos(turn), np.sin(turn), 3 + 0 * turn], axis=1)
    graph = branched(arc, OPENING, away=[3, 0, 0])
    assert len(told_of(graph, "turns the duct by 90 degrees")) == 0
    assert len(told_of(graph, "in small steps")) == 1


@pytest.mark.parametrize("share", [0.1, 0.4])
def test_a_branch_where_the_air_of_a_ring_meets_has_its_own_opening(
    share: float,
) -> None:
    """The ring is fed at one corner and gives all its air at another."""
    at = [8 * share, 8.0, 3.0]
    ring = [[0, 0, 3], [0, 8, 3], [8, 8, 3], [8, 0, 3], [0, 0, 3]]
    drawing = drawing_from_runs(
        [
            ("in", [[-3, 0, 3], [0, 0, 3]], MAIN),
            ("ring", ring, rectangular(0.4, 0.3)),
            ("piece", [at, [at[0], 8.6, 3]], None),
            ("b", [[at[0], 8.6, 3], [at[0], 12, 3]], round_section(0.2)),
        ],
        attributes={
            "in": SOURCE,
            "piece": Attributes(transition=True),
        },
    )
    graph = build(drawing, Schedule(terminals={"b": TerminalSpec(0.2)}))
    assert len(graph.meetings.duct) == 2
    assert opening_of(analyse(graph).graph) == "Ø200 mm"


NOT_USED = "that is written at this transition is not used"


@pytest.mark.parametrize(
    ("written", "is_told"),
    [
        (None, False),
        (rectangular(0.6, 0.3), False),  # that before it
        (rectangular(0.4, 0.3), False),  # that behind it
        (rectangular(0.5, 0.3), True),
        (round_section(0.4), True),
    ],
)
@pytest.mark.parametrize("by_schedule", [False, True])
def test_a_section_at_a_transition_in_line_that_neither_end_has_is_told(
    written: Any, is_told: bool, by_schedule: bool
) -> None:
    drawing = drawing_from_runs(
        [
            ("a", [[0, 0, 3], [4, 0, 3]], MAIN),
            ("piece", [[4, 0, 3], [5, 0, 3]], None if by_schedule else written),
            ("b", [[5, 0, 3], [9, 0, 3]], rectangular(0.4, 0.3)),
        ],
        attributes={"a": SOURCE, "piece": Attributes(transition=True)},
    )
    sections = {"piece": written} if by_schedule and written else {}
    graph = build(
        drawing, Schedule(sections=sections, terminals={"b": TerminalSpec(1)})
    )
    told = [notice for notice in graph.notices if NOT_USED in notice.what]
    assert len(told) == is_told
    if told:
        assert told[0].where.endswith("run 'piece'")
        assert "from the 600×300 mm (23.6×11.8 in) before it" in told[0].what


def test_a_section_at_a_transition_in_which_the_main_goes_on_is_told() -> None:
    piece = np.array([[4, 0, 3], [4.5, 0, 3]])
    graph = branched(piece, OPENING, onward=[[4, 0, 3], [6, 2, 3]], away=[3, 0, 0])
    assert opening_of(graph) == MAIN.words
    assert len(told_of(graph, NOT_USED)) == 1
    assert not told_of(branched(ASIDE, OPENING), NOT_USED)
