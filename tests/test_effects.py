"""What each assumption does to the critical path."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from routes import drawn

from elbowroom.layout import (
    AirSpec,
    Attributes,
    BadInput,
    Basis,
    ElbowConstruction,
    ElbowRule,
    FanSpec,
    Schedule,
    Section,
    SourceSpec,
    TerminalSpec,
    build,
    drawing_from_runs,
    pressure_words,
    rectangular,
    round_section,
)
from elbowroom.physics import Analysis, Kind, Note, analyse, effects, elbows, quantities

HIGHER = "500 m (1640 ft) above it"


def bare() -> Analysis:
    return analyse(build(drawn()))


def test_largest_effect_first_and_the_unknown_last() -> None:
    found = effects(bare())
    losses = [effect.loss for effect in found]
    known = [abs(loss) for loss in losses if loss is not None]
    assert known == sorted(known, reverse=True)
    assert losses[len(known) :] == [None] * (len(losses) - len(known))
    assert len(known) > 5


def test_an_effect_is_what_the_change_itself_gives() -> None:
    nominal = bare()
    rule = ElbowRule(construction=ElbowConstruction.MITRED)
    mitred = analyse(build(drawn(), Schedule(elbow_default=rule)))
    (effect,) = (e for e in effects(nominal) if e.assumption.instead == "mitred elbows")
    assert effect.loss == pytest.approx(mitred.critical_loss - nominal.critical_loss)
    assert effect.loss is not None
    assert effect.loss > 1.0


def test_a_side_that_nobody_said_is_assumed_with_its_effect() -> None:
    def of_side(source: SourceSpec) -> list[float | None]:
        found = effects(analyse(build(drawn(), Schedule(source=source))))
        return [e.loss for e in found if "a supply" in e.assumption.what]

    (loss,) = of_side(SourceSpec())
    back = analyse(build(drawn(), Schedule(source=SourceSpec(is_return=True))))
    assert loss == pytest.approx(back.critical_loss - bare().critical_loss)
    assert abs(loss or 0.0) > 1.0
    assert of_side(SourceSpec(is_supply=True)) == []
    assert of_side(SourceSpec(is_return=True)) == []


def test_an_alternative_that_cannot_be_made_is_left_out_with_its_reason() -> None:
    """A mitred round elbow of 120 degrees has no table; nobody asked for one."""
    turn = np.radians(120.0)
    points = [[0, 0, 3], [4, 0, 3], [4 + 3 * np.cos(turn), 3 * np.sin(turn), 3]]
    drawing = drawing_from_runs(
        [("duct", np.array(points), round_section(0.2))],
        flows={"duct": 0.15},
        attributes={"duct": Attributes(source=True)},
    )
    found = {e.assumption.instead: e for e in effects(analyse(build(drawing)))}
    mitred = found.pop("mitred elbows")
    assert mitred.loss is None
    assert "run 'duct', bend 1: mitred round elbows" in mitred.refused
    assert not any(effect.refused for effect in found.values())
    assert found["0.75 times"].loss is not None


def test_colder_air_and_no_reynolds_factor_go_the_way_they_must() -> None:
    found = {e.assumption.instead: e.loss or 0.0 for e in effects(bare())}
    assert found["10 °C (50 °F)"] > 0  # denser
    assert found[HIGHER] < 0
    assert found["without it"] <= 0
    assert found["0.15 mm (0.0059 in)"] > 0


def test_what_is_declared_leaves_the_ledger() -> None:
    air = replace(Schedule().air, temperature=293.15, altitude=0.0)
    declared = analyse(build(drawn(), Schedule(air=air, roughness=9e-5)))
    words = {effect.assumption.instead for effect in effects(declared)}
    assert not words & {"10 °C (50 °F)", HIGHER, "0.15 mm (0.0059 in)"}
    assert declared.critical_loss == pytest.approx(bare().critical_loss)


@pytest.mark.parametrize(
    ("construction", "closest", "widest"),
    [  # C of the retest of vane rails, ASHRAE Fundamentals 1997-2009, from memory
        (ElbowConstruction.SINGLE_VANES, 0.11, 0.33),
        (ElbowConstruction.DOUBLE_VANES, 0.25, 0.41),
    ],
)
def test_vanes_of_which_nobody_says_how_far_apart_are_assumed(
    construction: ElbowConstruction, closest: float, widest: float
) -> None:
    def run(spacing: float | None) -> Analysis:
        rule = ElbowRule(construction, Basis.DECLARED, vane_spacing=spacing)
        return analyse(
            build(
                drawing_from_runs(
                    [("a", [[0, 0, 0], [5, 0, 0], [5, 5, 0]], rectangular(0.4, 0.3))],
                    attributes={"a": Attributes(source=True, source_at_end=False)},
                ),
                Schedule(elbow_default=rule, terminals={"a": TerminalSpec(0.4)}),
            )
        )

    silent, said, wide = run(None), run(0.038 if closest == 0.11 else 0.056), run(0.08)
    for found, wanted in ((silent, closest), (said, closest), (wide, widest)):
        (row,) = np.flatnonzero(found.elements.kind == Kind.BEND)
        assert found.elements.coefficient[row] == pytest.approx(wanted)
    told = [e for e in effects(silent) if "vanes" in e.assumption.what]
    assert [e.loss for e in told] == [
        pytest.approx(wide.critical_loss - silent.critical_loss)
    ]
    assert not [e for e in effects(said) if "apart" in e.assumption.what]


@pytest.mark.parametrize(
    ("construction", "section", "key", "taken", "other"),
    [  # the numbers tabled that lose least and most, or nearest to that taken
        (ElbowConstruction.SEGMENTED, round_section(0.3), "pieces", 5, 3),
        (ElbowConstruction.SPLITTERS, rectangular(0.3, 0.2), "splitters", 1, 2),
    ],
)
def test_pieces_and_splitters_that_nobody_counts_are_assumed(
    construction: ElbowConstruction, section: Section, key: str, taken: int, other: int
) -> None:
    points = [[0, 0, 3], [6, 0, 3], [6, 5, 3]]

    def run(**said: int) -> Analysis:
        rule = ElbowRule(construction, Basis.DECLARED, 1.0, radius_basis=Basis.DECLARED)
        parts: dict[str, Any] = said
        drawing = drawing_from_runs(
            [("a", np.array(points, dtype=float), section)],
            attributes={"a": Attributes(source=True, source_at_end=False)},
        )
        plan = Schedule(
            elbow_default=replace(rule, **parts), terminals={"a": TerminalSpec(0.4)}
        )
        return analyse(build(drawing, plan))

    silent, said, changed = run(), run(**{key: taken}), run(**{key: other})
    assert silent.critical_loss == said.critical_loss
    bases, words = [], []
    for found in (silent, said, changed):
        (row,) = np.flatnonzero(found.elements.kind == Kind.BEND)
        bases.append(Basis(int(found.elements.basis[row])))
        words.append(found.words(int(row)))
    assert bases == [Basis.ASSUMED, Basis.DECLARED, Basis.DECLARED]
    assert words[0] == words[1]
    assert f"{taken} {key.removesuffix('s') if taken == 1 else key}, r/" in words[0]
    assert f"{other} {key}, r/" in words[2]
    (told,) = (e for e in effects(silent) if construction.words in e.assumption.what)
    assert f"{taken} {key[:-1]}" in told.assumption.what
    assert told.assumption.instead == f"{other} {key}"
    change = changed.critical_loss - silent.critical_loss
    assert told.loss == pytest.approx(change)
    assert abs(change) > 0.1
    for found in (said, changed):
        assert not [e for e in effects(found) if key in e.assumption.remedy]
    # A shop makes each of them apart.
    both = [row.what for one in (said, changed) for row in quantities(one).fittings]
    assert len({what for what in both if "elbow" in what}) == 2


def test_the_words_of_vanes_say_how_far_apart() -> None:
    kinds = ElbowConstruction
    for rule, metric, inches in (
        (ElbowRule(kinds.SINGLE_VANES), "vanes 38 mm apart", "vanes 1.5 in apart"),
        (ElbowRule(kinds.DOUBLE_VANES, vane_spacing=0.08), "80 mm apart", "3.15 in"),
    ):
        found = analyse(
            build(
                drawing_from_runs(
                    [("a", [[0, 0, 0], [5, 0, 0], [5, 5, 0]], rectangular(0.4, 0.3))],
                    attributes={"a": Attributes(source=True, source_at_end=False)},
                ),
                Schedule(elbow_default=rule, terminals={"a": TerminalSpec(0.4)}),
            )
        )
        (row,) = np.flatnonzero(found.elements.kind == Kind.BEND).tolist()
        assert metric in found.words(row)
        assert inches in found.words(row, "in")


def test_a_drawn_arc_in_place_of_vanes_has_no_parts_to_assume() -> None:
    rule = ElbowRule(ElbowConstruction.SINGLE_VANES, Basis.DECLARED)
    turn = np.linspace(0.0, np.pi / 2, 9)
    arc = [[5 + np.sin(t), 1 - np.cos(t), 0] for t in turn.tolist()]
    drawing = drawing_from_runs(
        [("a", np.array([[0, 0, 0], *arc, [6, 5, 0]]), rectangular(0.4, 0.3))],
        attributes={"a": Attributes(source=True, source_at_end=False)},
    )
    plan = Schedule(elbow_default=rule, terminals={"a": TerminalSpec(0.4)})
    found = analyse(build(drawing, plan))
    (row,) = np.flatnonzero(found.elements.kind == Kind.BEND).tolist()
    assert found.elements.basis[row] == Basis.DRAWN
    assert "vanes" not in found.words(row)


def test_vanes_between_two_that_were_tested_are_noted() -> None:
    """Single vanes 38 mm apart lose 0.11, 80 mm apart 0.33: straight between them."""
    angle = np.radians([90.0])
    for spacing, value, note in (
        (0.02, 0.11, Note.NEAREST_ROW),
        (0.0374, 0.11, Note.NEAREST_ROW),
        (0.0376, 0.11, Note.NOTHING),  # the print has whole mm
        (0.038, 0.11, Note.NOTHING),
        (0.0381, 0.11 + 0.22 * 0.1 / 42, Note.INTERPOLATED),
        (0.0399, 0.11 + 0.22 * 1.9 / 42, Note.INTERPOLATED),
        (0.059, 0.22, Note.INTERPOLATED),
        (0.0799, 0.33 - 0.22 * 0.1 / 42, Note.INTERPOLATED),
        (0.08, 0.33, Note.NOTHING),
        (0.0804, 0.33, Note.NOTHING),
        (0.0806, 0.33, Note.NEAREST_ROW),
        (0.1, 0.33, Note.NEAREST_ROW),
    ):
        found = elbows.rect_vaned(False, spacing, angle)
        assert found.value[0] == pytest.approx(value)
        assert found.notes[0] == note
    apart = np.linspace(0.03, 0.09, 601)
    lost = [elbows.rect_vaned(False, one, angle).value[0] for one in apart]
    assert np.abs(np.diff(lost)).max() < 0.001


@pytest.mark.parametrize("celsius", [99.0, 120.0])
def test_air_that_cannot_be_is_refused_or_left_out(celsius: float) -> None:
    """99 °C and saturated is air at sea level, and all vapour 500 m above it."""
    spec = AirSpec(temperature=celsius + 273.15, humidity=1.0)
    schedule = Schedule(file="a.schedule.toml", air=spec)
    graph = build(drawn(), schedule)
    if celsius > 100.0:
        with pytest.raises(
            BadInput, match=r"a\.schedule\.toml, \[air\]: .* all vapour"
        ):
            analyse(graph)
        return
    (left_out,) = (e for e in effects(analyse(graph)) if e.assumption.instead == HIGHER)
    assert left_out.loss is None


def test_air_of_which_nobody_says_how_humid_is_taken_as_dry() -> None:
    def run(humidity: float | None) -> Analysis:
        spec = AirSpec(temperature=311.15, altitude=300.0, humidity=humidity)
        return analyse(build(drawn(), Schedule(air=spec)))

    silent, dry, humid = run(None), run(0.0), run(0.5)
    assert silent.critical_loss == dry.critical_loss
    (told,) = (e for e in effects(silent) if "dry air" in e.assumption.what)
    assert told.loss == pytest.approx(humid.critical_loss - dry.critical_loss)
    # Water over air as 18 over 29: half of 6.6 kPa of vapour in 97.8 kPa is 1.3 % less.
    assert humid.conditions.air.density / dry.conditions.air.density == pytest.approx(
        1.0 - 0.5 * 6.63 / 97.77 * (1.0 - 18.02 / 28.96), abs=1e-4
    )
    assert told.loss is not None
    assert told.loss < 0.0
    for said in (dry, humid):
        assert not [e for e in effects(said) if "dry air" in e.assumption.what]


@pytest.mark.parametrize("is_return", [False, True])
def test_the_velocity_at_the_fan_that_nobody_says_is_listed(is_return: bool) -> None:
    side = "inlet" if is_return else "outlet"

    def run(kind: str = "fan", total: bool = False, **said: Any) -> Analysis:
        pressure: dict[str, Any] = {
            "total_pressure" if total else "external_static_pressure": 120.0
        }
        plan = Schedule(
            fan=FanSpec(**pressure, **said),
            source=SourceSpec(kind=kind, is_return=is_return),
        )
        return analyse(build(drawn(), plan))

    found = run()
    (told,) = (e for e in effects(found) if f"fan's {side}" in e.assumption.what)
    (pv,) = found.state.velocity_pressure[found.graph.ducts.parent < 0]
    assert pressure_words(float(pv)) in told.assumption.what
    assert told.loss == pytest.approx(pv if is_return else -pv)
    said: dict[str, Any] = {f"{side}_velocity_pressure": 0.0}
    still = run(**said)
    change = (still.system.available or 0.0) - (found.system.available or 0.0)
    assert told.loss == pytest.approx(change)
    assert told.assumption.acts_on == "pressure left for the ducts"
    for other in (still, run("plenum"), run(total=True), bare()):
        assert not [a for a in other.assumptions if "velocity pressure" in a.remedy]
        assert not [a for a in other.assumptions if "as fast at" in a.what]


def test_another_assumed_radius_leaves_a_drawn_one_under_an_exception() -> None:
    """An exception that gives no radius does not get the one tried for the others."""
    sections = rectangular(0.3, 0.2)
    drawing = drawing_from_runs(
        [
            ("a", np.array([[0.0, 0, 3], [6, 0, 3], [6, 5, 3], [6, 9, 3]]), sections),
            ("b", np.array([[6.0, 9, 3], [6, 12, 3], [12, 12, 3]]), sections),
        ],
        attributes={"a": Attributes(source=True, bend_radius=0.6)},
    )

    def change(**said: Any) -> float | None:
        plan = Schedule(terminals={"b": TerminalSpec(0.4)}, **said)
        (told,) = (
            e
            for e in effects(analyse(build(drawing, plan)))
            if "centreline radius" in e.assumption.what
        )
        return told.loss

    rule = ElbowRule(construction_basis=Basis.DECLARED)
    assert change(elbow_exceptions={("a", 1): rule}) == change()
