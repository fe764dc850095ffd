"""Entries that no table has: what is taken in their place, and that it is said."""

import itertools
import re

import numpy as np
import pytest

from elbowroom.layout import (
    TAKEOFF_ENTRIES,
    Attributes,
    Basis,
    Schedule,
    Section,
    Shape,
    SourceSpec,
    TakeoffEntry,
    TerminalSpec,
    build,
    drawing_from_runs,
    rectangular,
    round_section,
)
from elbowroom.physics import (
    Analysis,
    Credit,
    Kind,
    Note,
    analyse,
    junctions,
    path_bands,
    tables,
    takeoff_entries,
)

Taken = takeoff_entries.Taken

FALLBACK = int(Note.FALLBACK)
ROUND, RECT, OVAL = Shape.ROUND, Shape.RECTANGULAR, Shape.OVAL


def _branch(
    common: Shape,
    branch: Shape,
    angle: float,
    entry: TakeoffEntry = TakeoffEntry.PLAIN,
    joining: bool = False,
    q: float = 0.3,
) -> tuple[float, int, Credit]:
    """C, notes and credit of the branch of one junction, f = 0.4."""
    shared = {
        "is_branch": np.array([True]),
        "is_symmetrical": np.array([False]),
        "angle": np.radians([angle]),
        "entry": np.array([int(entry)]),
        "common_shape": np.array([int(common)]),
        "branch_shape": np.array([int(branch)]),
        "flow_ratio": np.array([q]),
        "area_ratio": np.array([0.4]),
        "main_area_ratio": np.array([1.0]),
    }
    if joining:
        found = junctions.joining_legs(
            junctions.JunctionLegs(**shared), np.array([5.0])
        )
    else:
        found = junctions.dividing_legs(junctions.JunctionLegs(**shared))
    credit = found.credits[int(found.credit[0])]
    return float(found.value[0]), int(found.notes[0]), credit


@pytest.mark.parametrize(
    ("joining", "q"), [(False, 0.3), (True, 0.3), (False, 0.95)], ids=str
)
@pytest.mark.parametrize("angle", [30.0, 60.0, 75.0, 90.0])
@pytest.mark.parametrize("entry", [e for e in TakeoffEntry if e != TakeoffEntry.PLAIN])
@pytest.mark.parametrize(
    ("common", "branch"), list(itertools.product((ROUND, RECT), repeat=2))
)
def test_what_is_said_to_be_taken_is_what_the_value_shows(
    common: Shape,
    branch: Shape,
    entry: TakeoffEntry,
    angle: float,
    joining: bool,
    q: float,
) -> None:
    """The value of an entry is told from that of a plain one, which is looked up."""
    code = takeoff_entries.taken(
        np.array([int(entry)]),
        np.array([int(common)]),
        np.array([int(branch)]),
        np.radians([angle]),
        np.zeros(1, dtype=bool),
        joining,
    )[0]
    value, notes, credit = _branch(common, branch, angle, entry, joining, q)
    plain, _, _ = _branch(common, branch, angle, joining=joining, q=q)
    eased = entry in (TakeoffEntry.CONICAL, TakeoffEntry.RADIUS) and not joining
    bounded = eased and angle == 30.0 and value == plain  # below their tables' angles
    assert bounded or (value == plain) == (code == Taken.PLAIN)
    if code == Taken.ITSELF:
        assert bool(notes & FALLBACK) == (common != branch and common == ROUND)
    else:
        assert notes & FALLBACK
        assert credit.confidence == "low"
    if code == Taken.WYE:
        right, _, of = _branch(RECT, RECT, 90.0, entry, joining, q)
        assert credit.table == of.table
        # Near a closed end it is held to a plain one that is not led there.
        assert value == (plain if bounded else right) or (q > 0.9 and value < right)
    if code == Taken.CONICAL:
        assert value == _branch(common, branch, angle, TakeoffEntry.CONICAL, q=q)[0]
    if code == Taken.WITHOUT_DAMPER:
        assert value == _branch(common, branch, angle, TakeoffEntry.ENTRY_45, True)[0]


@pytest.mark.parametrize("common", [ROUND, RECT])
def test_what_counts_as_plain_is_of_the_lowest_class_at_a_closed_end_too(
    common: Shape,
) -> None:
    entry = TakeoffEntry.PLAIN_DAMPER  # no table of it has a round branch
    value, notes, credit = _branch(common, ROUND, 90.0, entry, q=1.0)
    assert value == pytest.approx(1.2 / 0.4**2)
    assert (notes, credit.confidence) == (FALLBACK, "low")


@pytest.mark.parametrize("entry", [TakeoffEntry.EXTRACTOR, TakeoffEntry.ENTRY_45])
def test_no_degree_makes_an_entry_jump_near_a_closed_end(entry: TakeoffEntry) -> None:
    """Plain at 60 degrees, itself at a right angle: led to the end in that part."""
    angles = np.arange(50.0, 92.0, 0.5)
    found = [_branch(RECT, RECT, a, entry, q=0.97)[0] for a in angles]
    assert np.abs(np.diff(found)).max() < 0.15


def test_below_60_degrees_the_formula_that_gives_the_value_is_credited() -> None:
    # The formula is for 'round or rect' (Idelchik 2006, section 7-16, table 7-4), so
    # nothing stands in.
    value, notes, credit = _branch(RECT, RECT, 45.0)
    formula = junctions.diverging_branch(0.3, 0.4, np.pi / 4)
    assert (value, notes) == (formula.value[0], formula.notes[0])
    assert (credit.table, credit.source, credit.confidence) == (
        formula.table,
        formula.source,
        formula.confidence,
    )


@pytest.mark.parametrize("joining", [False, True])
def test_between_60_and_90_degrees_both_are_credited(joining: bool) -> None:
    _, _, low = _branch(RECT, RECT, 60.0, joining=joining)
    _, notes, both = _branch(RECT, RECT, 75.0, joining=joining)
    _, _, high = _branch(RECT, RECT, 90.0, joining=joining)
    assert low.table != high.table
    assert both.table == f"{high.table} and {low.table}"
    assert high.source in both.source
    assert low.source in both.source
    assert notes & int(Note.INTERPOLATED)
    # The rectangular table is recalled, and so the worse of the two.
    assert high.confidence == "memory"
    assert both.confidence == ("low" if joining else "memory")


def test_legs_at_several_angles_are_each_credited_to_their_own() -> None:
    angles = np.radians([45.0, 75.0, 90.0])
    several = {
        "is_branch": np.ones(3, dtype=bool),
        "is_symmetrical": np.zeros(3, dtype=bool),
        "angle": angles,
        "entry": np.zeros(3, dtype=np.int64),
        "common_shape": np.full(3, int(RECT)),
        "branch_shape": np.full(3, int(RECT)),
        "flow_ratio": np.full(3, 0.3),
        "area_ratio": np.full(3, 0.4),
        "main_area_ratio": np.ones(3),
    }
    found = junctions.dividing_legs(junctions.JunctionLegs(**several))
    alone = [_branch(RECT, RECT, float(a)) for a in np.degrees(angles)]
    assert [found.credits[i] for i in found.credit] == [c for _, _, c in alone]
    assert found.value == pytest.approx([value for value, _, _ in alone], rel=1e-12)


@pytest.mark.parametrize(
    ("common", "branch"),
    [(ROUND, RECT), (ROUND, OVAL), (RECT, OVAL), (OVAL, OVAL), (OVAL, ROUND)],
)
@pytest.mark.parametrize("joining", [False, True])
def test_shapes_without_a_table_are_noted_and_of_the_lowest_class(
    common: Shape, branch: Shape, joining: bool
) -> None:
    _, notes, credit = _branch(common, branch, 90.0, joining=joining)
    assert notes & FALLBACK
    assert credit.confidence == "low"


def _main_that_grows(
    shape: Shape, entry: TakeoffEntry = TakeoffEntry.PLAIN, grows: float = 2.0
) -> int:
    found = junctions.dividing_legs(
        junctions.JunctionLegs(
            is_branch=np.array([False]),
            is_symmetrical=np.array([False]),
            angle=np.array([np.pi / 2]),
            entry=np.array([int(entry)]),
            common_shape=np.array([int(shape)]),
            branch_shape=np.array([int(shape)]),
            flow_ratio=np.array([0.4]),
            area_ratio=np.array([0.5]),
            main_area_ratio=np.array([grows]),
        )
    )
    return int(found.notes[0])


@pytest.mark.parametrize("shape", [ROUND, RECT])
@pytest.mark.parametrize("entry", list(TakeoffEntry))
def test_a_main_that_grows_past_a_branch_is_outside_every_table(
    shape: Shape, entry: TakeoffEntry
) -> None:
    # The tables hold for As <= Ac (notes on the junction tables, section 2).
    assert _main_that_grows(shape, entry) & int(Note.EXTENDED)
    assert not _main_that_grows(shape, entry, 1.0) & int(Note.EXTENDED)


def _tee(
    main: Section,
    branch: Section,
    entry: TakeoffEntry,
    turn: float = 90.0,
    is_return: bool = False,
) -> Analysis:
    a = np.radians(turn)
    end = [4.0 + 3.0 * np.cos(a), 3.0 * np.sin(a), 5.0]
    drawing = drawing_from_runs(
        [
            ("M", np.array([[0, 0, 5], [8.0, 0, 5]]), main),
            ("B", np.array([[4.0, 0, 5], end]), branch),
        ]
    )
    plan = Schedule(
        source=SourceSpec(at=(0.0, 0.0, 5.0), is_return=is_return),
        terminals={"M": TerminalSpec(0.5), "B": TerminalSpec(0.2)},
        takeoff_exceptions={"B": entry},
    )
    return analyse(build(drawing, plan))


def _said(found: Analysis) -> list[str]:
    return [flag.sentence for flag in found.flags if "declared entry" in flag.what]


@pytest.mark.parametrize("is_return", [False, True])
def test_a_declared_entry_without_a_table_is_named_with_its_run(
    is_return: bool,
) -> None:
    main, branch = round_section(0.4), round_section(0.25)
    found = _tee(main, branch, TakeoffEntry.PLAIN_DAMPER, is_return=is_return)
    (said,) = _said(found)
    assert "run 'B'" in said
    assert "'plain with damper'" in said
    assert "a plain entry was taken" in said
    assert "[[takeoffs.exception]]" in said
    # Each entry that it names for that shape and angle raises no such warning.
    named = re.findall(r'"([a-z0-9 ]+)"', said)
    assert named == (["plain"] if is_return else ["plain", "conical"])
    for words in named:
        entry = TAKEOFF_ENTRIES[words]
        assert not _said(_tee(main, branch, entry, is_return=is_return))


@pytest.mark.parametrize("turn", [90.0, 75.0, 45.0])
@pytest.mark.parametrize("side", [rectangular(0.3, 0.15), round_section(0.25)])
def test_the_entries_that_are_named_are_those_without_a_warning(
    side: Section, turn: float
) -> None:
    main = rectangular(0.6, 0.3)
    fine = [
        entry.words
        for entry in TakeoffEntry
        if not _said(_tee(main, side, entry, turn))
    ]
    for entry in TakeoffEntry:
        for said in _said(_tee(main, side, entry, turn)):
            assert re.findall(r'"([a-z0-9 ]+)"', said) == fine


@pytest.mark.parametrize(
    ("entry", "turn", "words"),
    [
        (TakeoffEntry.EXTRACTOR, 90.0, None),
        (TakeoffEntry.EXTRACTOR, 45.0, "a plain entry"),
        (TakeoffEntry.EXTRACTOR, 75.0, "a value between"),
        (TakeoffEntry.RADIUS, 90.0, None),
        (TakeoffEntry.RADIUS, 45.0, "a rectangular wye of 90 degrees"),
        (TakeoffEntry.CONICAL, 90.0, "a plain entry"),
        (TakeoffEntry.PLAIN, 45.0, None),
    ],
)
def test_what_is_said_of_a_rectangular_branch(
    entry: TakeoffEntry, turn: float, words: str | None
) -> None:
    found = _tee(rectangular(0.6, 0.3), rectangular(0.3, 0.15), entry, turn)
    said = _said(found)
    assert len(said) == (words is not None)
    if words is not None:
        assert words in said[0]


def _row(found: Analysis) -> tuple[str, str, str, int]:
    """Words of the branch as counted and as made, and its basis; then assumptions."""
    (row,) = np.flatnonzero(found.elements.kind == Kind.BRANCH).tolist()
    listed = [a for a in found.assumptions if "declared entry" in a.what]
    basis = Basis(int(found.elements.basis[row])).name
    words = found.words(row), found.words(row, counted=False)
    return *words, basis, sum(a.elements for a in listed)


@pytest.mark.parametrize(
    ("branch", "entry", "turn", "counted"),
    [
        (ROUND, TakeoffEntry.ENTRY_45, 90.0, ", counted as plain"),
        (ROUND, TakeoffEntry.CONICAL, 90.0, ""),
        (RECT, TakeoffEntry.ENTRY_45, 90.0, ""),
        (RECT, TakeoffEntry.ENTRY_45, 75.0, ", counted between it at 90°"),
        (RECT, TakeoffEntry.ENTRY_45, 45.0, ", counted as plain"),
        (RECT, TakeoffEntry.RADIUS, 45.0, ", counted as a wye of 90°"),
    ],
)
def test_a_row_says_as_what_an_entry_without_a_table_counts(
    branch: Shape, entry: TakeoffEntry, turn: float, counted: str
) -> None:
    """And does not give the value for a declared one."""
    cut = round_section(0.2) if branch == ROUND else rectangular(0.3, 0.15)
    words, made, basis, listed = _row(_tee(rectangular(0.6, 0.3), cut, entry, turn))
    name = entry.words.removesuffix(" entry")
    assert made == f"branch at {turn:.3g}°, {name} entry"
    assert words.startswith(made + counted)
    assert (words == made) == (counted == "")
    assert (basis, listed) == (("ASSUMED", 1) if counted else ("DECLARED", 0))


def test_a_cone_of_a_rectangular_branch_is_a_plain_entry_to_whoever_makes_it() -> None:
    """Counted as plain and said so in its row; no shop can make the cone."""
    words, made, *_ = _row(
        _tee(rectangular(0.6, 0.3), rectangular(0.3, 0.15), TakeoffEntry.CONICAL)
    )
    assert words == "branch at 90°, conical entry, counted as plain"
    assert made == "branch at 90°, plain entry"
    joining = _tee(
        rectangular(0.6, 0.3), round_section(0.2), TakeoffEntry.CONICAL, is_return=True
    )
    assert _row(joining)[:2] == (words, "branch at 90°, conical entry")


def test_a_damper_that_no_table_of_joining_air_has_is_said_in_its_row() -> None:
    words, _, basis, listed = _row(
        _tee(
            rectangular(0.6, 0.3),
            rectangular(0.3, 0.15),
            TakeoffEntry.ENTRY_45_DAMPER,
            is_return=True,
        )
    )
    assert words.endswith(
        "90°, 45 degree entry with damper, counted without its damper"
    )
    assert (basis, listed) == ("ASSUMED", 1)


@pytest.mark.parametrize(
    ("entry", "turn", "words"),
    [
        (TakeoffEntry.PLAIN, 90.0, "leg of a bullhead tee, 90°"),
        (TakeoffEntry.RADIUS, 90.0, "leg of a bullhead tee, 90°, radius of 1.5 widths"),
        (
            TakeoffEntry.ENTRY_45,
            90.0,
            "leg of a bullhead tee, 90°, 45 degree entry, counted as plain",
        ),
        (
            TakeoffEntry.RADIUS,
            45.0,
            "leg of a symmetrical wye, 45°, radius entry, counted as plain",
        ),
        (
            TakeoffEntry.RADIUS,
            70.0,
            "leg of a symmetrical wye, 70°, radius of 1.5 widths, counted between "
            "radius legs at 80° and plain ones at 60°",
        ),
    ],
)
def test_legs_without_a_main_say_as_what_their_entry_counts(
    entry: TakeoffEntry, turn: float, words: str
) -> None:
    a = np.radians(turn)
    cut = rectangular(0.3, 0.3)
    ends = [[4.0 + 3.0 * np.cos(a), y * np.sin(a), 5.0] for y in (3.0, -3.0)]
    drawing = drawing_from_runs(
        [
            ("M", np.array([[0, 0, 5], [4.0, 0, 5]]), rectangular(0.5, 0.3)),
            *(
                (name, np.array([[4.0, 0, 5], end]), cut)
                for name, end in zip("AB", ends, strict=True)
            ),
        ]
    )
    plan = Schedule(
        source=SourceSpec(at=(0.0, 0.0, 5.0)),
        terminals={name: TerminalSpec(0.3) for name in "AB"},
        takeoff_default=entry,
    )
    found = analyse(build(drawing, plan))
    rows = np.flatnonzero(found.elements.kind == Kind.BRANCH).tolist()
    assert [found.words(row) for row in rows] == [words] * 2


def _radius(main: float) -> float:
    """Loss of a radius branch of 125 mm from a round duct of 315 mm, Pa."""
    drawing = drawing_from_runs(
        [
            ("A", np.array([[0, 0, 5], [4.0, 0, 5]]), round_section(0.315)),
            ("M", np.array([[4.0, 0, 5], [8.0, 0, 5]]), round_section(main)),
            ("B", np.array([[4.0, 0, 5], [4.0, 3, 5]]), round_section(0.125)),
        ],
        attributes={"A": Attributes(source=True)},
    )
    plan = Schedule(
        terminals={"M": TerminalSpec(0.3), "B": TerminalSpec(0.08)},
        takeoff_default=TakeoffEntry.RADIUS,
    )
    found = analyse(build(drawing, plan))
    assert len(_said(found)) == 1
    (row,) = np.flatnonzero(found.elements.kind == Kind.BRANCH)
    return float(found.elements.loss[row])


def test_a_main_of_just_the_area_left_makes_no_wall() -> None:
    """As + Ab = Ac at 289 mm: no drawing shows a wall, so the branch keeps its loss."""
    assert _radius(0.289) == pytest.approx(_radius(0.300), rel=1e-9)
    assert _radius(0.289) == pytest.approx(_radius(0.270), rel=1e-9)


def test_no_print_is_credited_that_gave_no_value() -> None:
    found = _tee(round_section(0.4), rectangular(0.3, 0.15), TakeoffEntry.PLAIN)
    used = {found.elements.credits[i] for i in found.elements.credit}
    assert used == set(found.elements.credits)
    assert set(tables.table_names()) >= {
        c.table for c in used if not c.table.startswith(("formula", "schedule"))
    }


def test_a_stand_in_is_less_sure_than_what_else_is_of_its_table() -> None:
    """Behind it the air of the other terminals takes the same formula, and no less."""
    drawing = drawing_from_runs(
        [
            ("M", np.array([[0, 0, 5], [12.0, 0, 5]]), round_section(0.4)),
            ("B", np.array([[4.0, 0, 5], [4.0, 3, 5]]), round_section(0.2)),
            ("C", np.array([[8.0, 0, 5], [8.0, 3, 5]]), round_section(0.2)),
        ]
    )
    bands = []
    for entry in (TakeoffEntry.PLAIN, TakeoffEntry.PLAIN_DAMPER):
        plan = Schedule(
            source=SourceSpec(at=(0.0, 0.0, 5.0)),
            terminals={name: TerminalSpec(0.2) for name in "MBC"},
            takeoff_exceptions={"C": entry},
        )
        found = analyse(build(drawing, plan))
        width = np.ptp(path_bands(found), axis=1)
        bands.append(dict(zip(found.graph.terminals.name, width, strict=True)))
    assert bands[1]["B"] == pytest.approx(bands[0]["B"], rel=1e-9)
    assert bands[1]["C"] > 1.5 * bands[0]["C"]
