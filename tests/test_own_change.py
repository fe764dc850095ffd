"""A main that changes its section where a branch leaves it: where its tables end."""

from collections.abc import Callable

import numpy as np
import pytest

from elbowroom.layout import (
    Attributes,
    Basis,
    Schedule,
    Section,
    SourceSpec,
    TakeoffEntry,
    TerminalSpec,
    TransitionRule,
    build,
    drawing_from_runs,
    rectangular,
    round_section,
)
from elbowroom.physics import Analysis, Kind, Note, analyse, effects
from elbowroom.viewer import desk

SOURCE = {"main": Attributes(source=True)}
FLOW = 0.4


def found(
    before: Section,
    after: Section,
    share: float,
    rule: TransitionRule | None = None,
    is_return: bool = False,
) -> Analysis:
    """A main that goes on in another section past a branch with a share of its air."""
    runs = [
        ("main", np.array([[0.0, 0, 3], [5, 0, 3]]), before),
        ("rest", np.array([[5.0, 0, 3], [10, 0, 3]]), after),
    ]
    flows = {"rest": TerminalSpec(FLOW * (1.0 - share))}
    if share:
        branch = round_section(0.1)
        runs.append(("branch", np.array([[5.0, 0, 3], [5, 3, 3]]), branch))
        flows["branch"] = TerminalSpec(FLOW * share)
    drawing = drawing_from_runs(runs, attributes=SOURCE)
    source = SourceSpec(is_return=is_return)
    plan = Schedule(terminals=flows, transition_default=rule, source=source)
    return analyse(build(drawing, plan))


def lost(analysis: Analysis) -> float:
    """What the main's change of section, or its leg past the branch, spends, Pa."""
    elements = analysis.elements
    kinds = np.isin(elements.kind, [Kind.MAIN, Kind.TRANSITION])
    assert kinds.sum() == 1
    return float(elements.loss[kinds].sum())


SECTIONS = [
    (round_section(0.25), round_section(0.4)),
    (rectangular(0.3, 0.25), rectangular(0.6, 0.25)),
    (round_section(0.4), round_section(0.2)),
    (rectangular(0.6, 0.3), rectangular(0.2, 0.2)),
    (rectangular(0.5, 0.3), round_section(0.25)),
    (round_section(0.3), rectangular(0.3, 0.3)),  # of the same sides
]


@pytest.mark.parametrize(("before", "after"), SECTIONS)
def test_a_branch_without_air_leaves_the_change_as_it_is(
    before: Section, after: Section
) -> None:
    """In the limit the same pieces stand there, with a hole in them that is shut."""
    plain = lost(found(before, after, 0.0))
    assert plain > 0.5
    assert lost(found(before, after, 1e-6)) == pytest.approx(plain, rel=1e-4)


@pytest.mark.parametrize(("before", "after"), SECTIONS)
def test_it_changes_evenly_with_the_share_of_the_branch(
    before: Section, after: Section
) -> None:
    shares = np.linspace(1e-6, 0.6, 121)
    losses = np.array([lost(found(before, after, share)) for share in shares])
    assert np.abs(np.diff(losses)).max() < 0.06 * losses.max()


def test_a_main_that_shrinks_as_its_air_does_has_the_table_s_value() -> None:
    """Vs = Vc: the prints end with 0 there (SMACNA 1990, table 14-14, from memory)."""
    analysis = found(rectangular(0.6, 0.3), rectangular(0.45, 0.3), 0.25)
    assert lost(analysis) == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize(
    "after",
    [
        lambda part: round_section((0.4 * part / np.pi) ** 0.5),
        lambda part: rectangular(0.5, 0.2 * part),
        lambda part: rectangular(0.41, 0.1 * part / 0.41),
    ],
)
def test_a_change_of_shape_has_no_jump_where_its_area_stays(
    after: Callable[[float], Section],
) -> None:
    """Its allowance counts in full on either side, whatever the branch takes."""
    before = rectangular(0.4, 0.25)
    losses = [lost(found(before, after(part), 0.1)) for part in (0.9998, 1.0, 1.0002)]
    assert losses[1] > 0.1
    assert losses == pytest.approx([losses[1]] * 3, rel=0.01)


SAME_AREA = rectangular(0.4, 0.25), round_section((0.4 / np.pi) ** 0.5)


@pytest.mark.parametrize("is_return", [False, True])
@pytest.mark.parametrize("turned", [False, True])
def test_a_change_of_shape_at_a_junction_costs_what_it_does_without(
    is_return: bool, turned: bool
) -> None:
    """Where the branch has no air; an allowance of 0.05, no published source."""
    before, after = SAME_AREA[::-1] if turned else SAME_AREA
    plain, idle = (
        lost(found(before, after, share, is_return=is_return)) for share in (0.0, 1e-6)
    )
    pv = 0.5 * 1.2041 * (FLOW / 0.1) ** 2
    assert plain == pytest.approx(0.05 * pv, rel=1e-3)
    assert idle == pytest.approx(plain, rel=2e-3)


def test_a_return_says_that_a_change_of_shape_counts_at_a_junction() -> None:
    """Beside the same junction without one it adds 0.05 on the air of the main."""
    share = 0.2
    analysis = found(*SAME_AREA, share, is_return=True)
    kept = found(SAME_AREA[0], SAME_AREA[0], share, is_return=True)
    pv = 0.5 * 1.2041 * (FLOW / 0.1) ** 2
    added = lost(analysis) - lost(kept)
    assert added == pytest.approx(0.05 * (1.0 - share) ** 2 * pv, rel=1e-3)
    elements = analysis.elements
    (row,) = (elements.kind == Kind.MAIN).nonzero()[0]
    assert Note.RESHAPED in Note(int(elements.notes[row]))
    assert elements.credits[elements.credit[row]].confidence == "low"
    assert any("change of shape" in one.what for one in analysis.flags)
    # No length goes into it, so none of a transition is assumed.
    assert not [e for e in effects(analysis) if "transitions" in e.assumption.what]


@pytest.mark.parametrize("is_return", [False, True])
@pytest.mark.parametrize("after", [SAME_AREA[1], rectangular(0.25, 0.4)])
def test_past_a_radius_alone_a_change_of_shape_counts_too(
    after: Section, is_return: bool
) -> None:
    """The print of radius wyes has rows of other areas, all of them rectangles."""

    def past(rest: Section, *more: float) -> Analysis:
        runs = [
            ("main", np.array([[0.0, 0, 3], [5, 0, 3]]), SAME_AREA[0]),
            ("rest", np.array([[5.0, 0, 3], [10, 0, 3]]), rest),
            ("a", np.array([[5.0, 0, 3], [5, 3, 3]]), rectangular(0.1, 0.1)),
        ]
        flows = {"rest": 0.32, "a": 0.08}
        if more:
            runs.append(("b", np.array([[5.0, 0, 3], [5, -3, 3]]), round_section(0.1)))
            flows["b"] = more[0]
        plan = Schedule(
            terminals={name: TerminalSpec(flow) for name, flow in flows.items()},
            takeoff_exceptions={"a": TakeoffEntry.RADIUS},
            source=SourceSpec(is_return=is_return),
        )
        return analyse(build(drawing_from_runs(runs, attributes=SOURCE), plan))

    analysis, kept = past(after), past(SAME_AREA[0])
    pv = 0.5 * 1.2041 * (FLOW / 0.1) ** 2
    added = lost(analysis) - lost(kept)
    assert added == pytest.approx(0.05 * 0.8**2 * pv, rel=1e-3)
    elements = analysis.elements
    (row,) = (elements.kind == Kind.MAIN).nonzero()[0]
    note = Note(int(elements.notes[row]))
    assert Note.RESHAPED in note
    assert Note.CLAMPED in note  # what is said of the print still holds
    assert "allowance" in elements.credits[elements.credit[row]].table
    assert not [e for e in effects(analysis) if "transitions" in e.assumption.what]
    # Beside a plain branch without air it is the same.
    assert lost(past(after, 1e-9)) == pytest.approx(lost(analysis), rel=1e-6)


def test_a_change_of_shape_in_a_return_fades_in_with_no_jump() -> None:
    """A third leg without air changes nothing, and none makes a jump."""
    runs = [
        ("main", np.array([[0.0, 0, 3], [5, 0, 3]]), SAME_AREA[0]),
        ("rest", np.array([[5.0, 0, 3], [10, 0, 3]]), SAME_AREA[1]),
        ("a", np.array([[5.0, 0, 3], [5, 3, 3]]), round_section(0.1)),
        ("b", np.array([[5.0, 0, 3], [5, -3, 3]]), round_section(0.1)),
    ]
    drawing = drawing_from_runs(runs, attributes=SOURCE)
    source = SourceSpec(is_return=True)

    def at(share: float) -> float:
        flows = {"rest": 0.32, "a": 0.08, "b": share * FLOW}
        plan = Schedule(
            terminals={name: TerminalSpec(flow) for name, flow in flows.items()},
            source=source,
        )
        return lost(analyse(build(drawing, plan)))

    alone = lost(found(*SAME_AREA, 0.2, is_return=True))
    assert at(1e-9) == pytest.approx(alone, rel=1e-6)
    losses = np.array([at(share) for share in np.linspace(1e-9, 0.15, 31).tolist()])
    assert np.abs(np.diff(losses)).max() < 0.05 * losses.max()


@pytest.mark.parametrize("angle", [30.0, 60.0])
def test_a_main_that_grows_has_its_expansion_behind_the_branch(angle: float) -> None:
    """As the plain transition between these sections, at what is left of the air."""
    rule = TransitionRule(float(np.radians(angle)))
    sections = round_section(0.25), round_section(0.4)
    share = 0.05
    plain, with_branch = (lost(found(*sections, q, rule)) for q in (0.0, share))
    pv = 0.5 * 1.2041 * (FLOW / (np.pi / 4 * 0.25**2)) ** 2
    # The main that keeps its area: 0.4 q² (Idelchik, diagram 7-20).
    expected = plain * (1.0 - share) ** 2 + 0.4 * share**2 * pv
    assert with_branch == pytest.approx(expected, rel=1e-3)


def test_it_is_said_and_of_the_lowest_class() -> None:
    analysis = found(round_section(0.25), round_section(0.4), 0.05)
    (row,) = (analysis.elements.kind == Kind.MAIN).nonzero()[0]
    elements = analysis.elements
    note = Note(int(elements.notes[row]))
    assert Note.OWN_CHANGE in note
    assert "change of section counts as a transition" in "; ".join(note.words)
    assert elements.credits[elements.credit[row]].confidence == "low"


@pytest.mark.parametrize(
    ("branch_share", "rule", "basis"),
    [
        (0.05, None, Basis.ASSUMED),
        (0.05, TransitionRule(length=0.5), Basis.DECLARED),
        (0.8, None, Basis.DRAWN),  # shrinks no faster than its air does: not counted
    ],
)
def test_it_rests_on_the_transition_that_it_counts_as(
    branch_share: float, rule: TransitionRule | None, basis: Basis
) -> None:
    """Its length is assumed where nobody says it, and its table is named."""
    wide, narrow = rectangular(0.6, 0.3), rectangular(0.2, 0.2)
    analysis = found(wide, narrow, branch_share, rule)
    elements = analysis.elements
    (row,) = (elements.kind == Kind.MAIN).nonzero()[0]
    assert elements.basis[row] == basis
    credit = elements.credits[elements.credit[row]]
    counted = basis != Basis.DRAWN
    assert ("contraction" in credit.table) is counted
    assert ("Table 14-12 A" in credit.source) is counted
    assert "Table 14-14" in credit.source
    told = [e for e in effects(analysis) if "transitions" in e.assumption.what]
    assert [e.assumption.elements for e in told] == [1] * (basis == Basis.ASSUMED)
    if told:
        steeper = found(wide, narrow, branch_share, TransitionRule(np.pi / 3))
        change = steeper.critical_loss - analysis.critical_loss
        assert told[0].loss == pytest.approx(change)
        assert change > 0.5


@pytest.mark.parametrize(
    ("rule", "entry", "basis"),
    [
        (TransitionRule(length=0.5), None, Basis.ASSUMED),
        (None, TakeoffEntry.PLAIN, Basis.ASSUMED),
        (TransitionRule(length=0.5), TakeoffEntry.PLAIN, Basis.DECLARED),
    ],
)
def test_a_main_in_part_rests_on_the_weaker_of_its_entry_and_its_change(
    rule: TransitionRule | None, entry: TakeoffEntry | None, basis: Basis
) -> None:
    runs = [
        ("main", np.array([[0.0, 0, 3], [6, 0, 3]]), round_section(0.45)),
        ("a", np.array([[6.0, 0, 3], [6, 6, 3]]), round_section(0.3)),
        ("b", np.array([[6.0, 0, 3], [6, 0, 9]]), round_section(0.285)),
    ]
    plan = Schedule(
        terminals={"a": TerminalSpec(0.22, loss=10.0), "b": TerminalSpec(0.18)},
        transition_default=rule,
        takeoff_default=entry,
    )
    analysis = analyse(build(drawing_from_runs(runs, attributes=SOURCE), plan))
    elements = analysis.elements
    noted = (elements.notes & int(Note.OWN_CHANGE)) > 0
    assert elements.kind[noted].tolist() == [Kind.BRANCH]
    assert elements.basis[noted].tolist() == [basis]
    whats = {e.assumption.what: e.assumption.elements for e in effects(analysis)}
    counts = [
        [count for what, count in whats.items() if what.startswith(word)]
        for word in ("transitions", "branches")
    ]
    assert counts == [[1] * (rule is None), [2] * (entry is None)]


@pytest.mark.parametrize(
    ("before", "after", "kind"),
    [
        (0.45, 0.35, "contraction"),
        (0.45, 0.6, "expansion-round-conical"),
        (0.45, 0.45, ""),
        (0.45, 0.377, ""),  # shrinks as its airflow does
    ],
)
def test_the_desk_says_what_a_drawn_main_adds(
    before: float, after: float, kind: str
) -> None:
    """Its factor times the transition at the desk is what the layout has."""
    ratio = (after / before) ** 2
    said = desk.desk_result(
        "junction-round-diverging",
        [f"As_over_Ac={ratio}", "angle_deg=90"],
        {
            "diameter": f"{before} m",
            "outlet_diameter": "0.1 m",
            "flow": "0.4 m3/s",
            "branch_flow": "0.12 m3/s",
        },
    )
    words = [note for note in said["notes"] if "own change of section" in note]
    if not kind:
        assert not words
        return
    (note,) = words
    assert note.endswith(f"as {kind}")
    factor = float(note.split(" adds ")[1].split()[0])
    rule = TransitionRule(length=0.3)
    drawn = found(round_section(before), round_section(after), 0.3, rule).elements
    (main,) = np.flatnonzero(drawn.kind == Kind.MAIN)
    alone = desk.desk_result(
        kind,
        [],
        {
            "diameter": f"{before} m",
            "outlet_diameter": f"{after} m",
            "length": "0.3 m",
            "flow": "0.28 m3/s",
        },
    )
    plain = next(leg for leg in said["legs"] if leg["leg"] == "main")["coefficient"]
    # At the desk a cone counts its own friction, about a hundredth here.
    assert drawn.coefficient[main] == pytest.approx(
        plain + factor * alone["coefficient"], rel=0.02
    )
