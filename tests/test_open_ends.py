"""Open ends close behind an elbow or a widening: the print of both together."""

from typing import Any

import numpy as np
import pytest
from prints import rows_of

from elbowroom.layout import (
    ELBOW_CONSTRUCTIONS,
    Attributes,
    ComponentSpec,
    ElbowRule,
    Schedule,
    Section,
    SourceSpec,
    TerminalSpec,
    build,
    drawing_from_runs,
    flat_oval,
    rectangular,
    round_section,
)
from elbowroom.physics import Analysis, Kind, Note, analyse

SQUARE, ROUND = rectangular(0.3, 0.3), round_section(0.3)


def bent(
    straight: float,
    ratio: float = 1.0,
    section: Section = SQUARE,
    *,
    words: str = "smooth radius",
    angle: float = 90.0,
    **said: Any,
) -> Analysis:
    """An elbow of 0.3 m wide duct, so many widths before the end."""
    radius = 0.0 if words == "mitred" else ratio * 0.3
    turn = np.radians(angle)
    leg = radius * np.tan(turn / 2) + straight * 0.3
    tip = [4 + leg * np.cos(turn), leg * np.sin(turn), 0]
    drawing = drawing_from_runs(
        [("a", [[0, 0, 0], [4, 0, 0], tip], section)],
        attributes={"a": Attributes(source=True, source_at_end=False)},
    )
    rule = ElbowRule(ELBOW_CONSTRUCTIONS[words], radius_ratio=ratio or 1.0)
    said.setdefault("terminals", {"a": TerminalSpec(0.6)})
    return analyse(build(drawing, Schedule(elbow_default=rule, **said)))


def widened(
    before: Section,
    after: Section,
    degrees: float,
    stub: float = 1e-3,
    offset: float = 0.0,
    length: float | None = None,
) -> Analysis:
    """A drawn cone or flare of an included angle, a stub of duct behind it."""
    opens = max(after.width - before.width, after.height - before.height)
    far: float = 4 + (length or opens / 2 / np.tan(np.radians(degrees) / 2))
    runs: list[tuple[str, list[list[float]], Section]] = [
        ("a", [[0, 0, 0], [4, 0, 0]], before),
        ("t", [[4, 0, 0], [far, offset, 0]], before),
        ("b", [[far, offset, 0], [far + stub, offset, 0]], after),
    ]
    drawing = drawing_from_runs(
        runs,
        attributes={"a": Attributes(source=True), "t": Attributes(transition=True)},
    )
    return analyse(build(drawing, Schedule(terminals={"b": TerminalSpec(0.6)})))


def end_of(found: Analysis) -> int:
    (row,) = np.flatnonzero(found.elements.kind == int(Kind.EXIT))
    return int(row)


def together(found: Analysis) -> float:
    """What all fittings lose, in velocity pressures of the first duct."""
    fittings = found.elements.kind != int(Kind.DUCT)
    lost = found.elements.loss[fittings].sum()
    return float(lost / found.state.velocity_pressure[0])


def plain(found: Analysis) -> float:
    """The same with the velocity pressure alone for the end."""
    e, row = found.elements, end_of(found)
    end = (e.loss[row] - e.velocity_pressure[row]) / found.state.velocity_pressure[0]
    return together(found) - float(end)


def credit_of(found: Analysis) -> Any:
    return found.elements.credits[found.elements.credit[end_of(found)]]


PRINTED = [
    (float(row["r_over_W"]), float(row["L_after_over_W"]), float(row["C"]))
    for row in rows_of("exit_after_elbow_90")
]


@pytest.mark.parametrize(("ratio", "straight", "printed"), PRINTED[::3])
def test_elbow_and_end_lose_what_is_printed(
    ratio: float, straight: float, printed: float
) -> None:
    """Idelchik, discharge from a bend (from memory); no less than the plain sum."""
    words = "mitred" if ratio == 0.0 else "smooth radius"
    # A mitred elbow at the very end needs a duct to end.
    found = bent(straight or 0.004, ratio, words=words)
    sum_of_both = plain(found)
    assert together(found) == pytest.approx(max(printed, sum_of_both), rel=4e-3)
    if printed <= sum_of_both * 1.001:
        assert found.elements.coefficient[end_of(found)] == pytest.approx(1.0, abs=4e-3)
        return
    assert credit_of(found).first_table == "exit_after_elbow_90"
    assert credit_of(found).confidence == "memory"
    assert not found.elements.notes[end_of(found)] & Note.FALLBACK
    assert found.path_loss[0] == pytest.approx(found.elements.loss.sum())
    assert "adds to the elbow before it" in found.words(end_of(found))


@pytest.mark.parametrize(
    ("kind", "before", "mouths"),
    [
        ("conical", ROUND, [round_section(0.3 * r**0.5) for r in (2, 4)]),
        ("plane", SQUARE, [rectangular(0.3 * r, 0.3) for r in (2, 4)]),
        ("pyramidal", SQUARE, [rectangular(*[0.3 * r**0.5] * 2) for r in (2, 4)]),
    ],
)
def test_widening_and_end_lose_what_is_printed(
    kind: str, before: Section, mouths: list[Section]
) -> None:
    """ASHRAE Handbook Fundamentals 1977-1989; SMACNA, table 14-17 (from memory)."""
    for row in rows_of("exit_diffuser", kind=f"{kind}_diffuser"):
        mouth = {"2": 0, "4": 1}.get(row["A_out_over_A_duct"])
        if mouth is None or row["angle_deg"] not in ("14", "30", "60"):
            continue
        found = widened(before, mouths[mouth], float(row["angle_deg"]))
        assert together(found) == pytest.approx(float(row["C"]), rel=2e-3)
        assert credit_of(found).first_table == "exit_diffuser"
        assert credit_of(found).confidence == "memory"
        assert not found.elements.notes[end_of(found)] & Note.FALLBACK
        assert "adds to the widening before it" in found.words(end_of(found))


def steps(values: list[float]) -> float:
    return float(np.abs(np.diff(values)).max())


@pytest.mark.parametrize("words", ["mitred", "smooth radius"])
@pytest.mark.parametrize("section", [SQUARE, ROUND])
def test_no_straight_length_and_no_degree_makes_a_jump(
    words: str, section: Section
) -> None:
    near, far = (
        [together(bent(s, section=section, words=words)) for s in span]
        for span in (np.linspace(0.01, 2.0, 11), np.linspace(11.0, 17.0, 13))
    )
    assert steps(near) < 0.15  # 0.6 in a width is the steepest that is printed
    assert steps(far) < 0.06
    lost = bent(16.5, section=section, words=words)
    assert lost.elements.coefficient[end_of(lost)] == 1.0
    turned = [
        together(bent(1.0, section=section, words=words, angle=angle))
        for angle in np.arange(40.0, 91.0, 3.0)
    ]
    assert steps(turned) < 0.2


@pytest.mark.parametrize("mouth", [rectangular(0.5, 0.5), round_section(0.5)])
def test_a_widening_is_felt_less_the_longer_the_duct_behind_it(mouth: Section) -> None:
    spans = np.linspace(0.001, 2.6, 27)
    found = [widened(SQUARE, mouth, 30.0, stub) for stub in spans]
    lost = [together(one) for one in found]
    assert (np.diff(lost) <= 1e-12).all()
    assert steps(lost) < 0.05
    assert together(found[-1]) == pytest.approx(plain(found[-1]))


def test_no_size_of_the_mouth_makes_a_jump() -> None:
    for start, shape in ((SQUARE, rectangular), (round_section(0.3385), rectangular)):
        mouths = [shape(side, side) for side in np.linspace(0.290, 0.310, 21)]
        lost = [together(widened(start, mouth, 0.0, length=0.1)) for mouth in mouths]
        assert steps(lost) < 0.03


@pytest.mark.parametrize(
    ("section", "said"),
    [
        (ROUND, {}),
        (ROUND, {"words": "mitred"}),
        (ROUND, {"words": "segmented"}),
        (flat_oval(0.5, 0.3), {}),
        (SQUARE, {"angle": 80.0}),
    ],
)
def test_the_print_stands_in_for_other_elbows_in_the_lowest_class(
    section: Section, said: dict[str, Any]
) -> None:
    found = bent(0.5, section=section, **said)
    assert together(found) > plain(found) + 0.1
    assert credit_of(found).confidence == "low"
    assert found.elements.notes[end_of(found)] & Note.FALLBACK
    # It takes nothing away where it has less than both alone.
    far = bent(12.0, section=section, words="mitred")
    if section != SQUARE:
        assert together(far) == pytest.approx(plain(far))


def test_a_widening_to_another_shape_takes_the_pyramidal_one_in_the_lowest_class() -> (
    None
):
    found = widened(ROUND, rectangular(0.5, 0.5), 30.0)
    assert together(found) > plain(found) + 0.1
    assert credit_of(found).confidence == "low"


def test_a_drawn_offset_keeps_what_its_kinks_lose() -> None:
    found = widened(SQUARE, rectangular(0.3, 0.301), 0.2, stub=0.1, offset=0.1)
    assert found.elements.coefficient[end_of(found)] == pytest.approx(1.0, abs=0.01)


@pytest.mark.parametrize(
    "said",
    [
        {"words": "mitred with single vanes"},
        {"angle": 45.0},
        {"terminals": {"a": TerminalSpec(0.6, coefficient=1.0)}},
        {"components": (ComponentSpec("a", "grid", loss=3.0, at=(4.0, 0.35, 0.0)),)},
    ],
)
def test_what_is_not_of_the_print_counts_as_it_is(said: dict[str, Any]) -> None:
    e = bent(1.0, **said).elements
    assert e.coefficient[np.isin(e.kind, (int(Kind.EXIT), int(Kind.TERMINAL)))] == 1.0


def test_air_that_enters_feels_no_elbow_behind_its_opening() -> None:
    found = bent(0.5, source=SourceSpec(is_return=True))
    assert found.elements.coefficient[end_of(found)] == pytest.approx(0.5)


def test_a_joint_of_equal_ducts_parts_no_elbow_from_its_end() -> None:
    for after in (SQUARE, rectangular(0.3005, 0.3005)):
        runs: list[tuple[str, list[list[float]], Section]] = [
            ("a", [[0, 0, 0], [4, 0, 0], [4, 0.45, 0]], SQUARE),
            ("b", [[4, 0.45, 0], [4, 0.6, 0]], after),
        ]
        drawing = drawing_from_runs(
            runs,
            attributes={"a": Attributes(source=True, source_at_end=False)},
        )
        plan = Schedule(terminals={"b": TerminalSpec(0.6)})
        found = analyse(build(drawing, plan))
        assert together(found) == pytest.approx(1.4, rel=1e-2)


@pytest.mark.parametrize("at_corner", [True, False])
def test_no_millimetre_of_a_section_between_them_makes_a_jump(at_corner: bool) -> None:
    """A mitred elbow, the end 300 mm behind it, a change at the corner or half-way."""
    lost = []
    for width in np.linspace(0.285, 0.315, 31):
        middle = [4, 0, 0] if at_corner else [4, 0.15, 0]
        first = [[0, 0, 0], [4, 0, 0]] + ([] if at_corner else [middle])
        drawing = drawing_from_runs(
            [
                ("a", first, SQUARE),
                ("b", [middle, [4, 0.3, 0]], rectangular(float(width), 0.3)),
            ],
            attributes={"a": Attributes(source=True, source_at_end=False)},
        )
        said = Schedule(
            elbow_default=ElbowRule(ELBOW_CONSTRUCTIONS["mitred"]),
            terminals={"b": TerminalSpec(0.6)},
        )
        lost.append(analyse(build(drawing, said)).path_loss[0])
    assert np.abs(np.diff(np.log(lost))).max() < 0.06
