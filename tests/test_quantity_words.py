"""Quantities in words: the helpers, and what messages make of them."""

import json
import math
import re
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from both_units import NUMBER, agree, alone, pairs
from hypothesis import given, settings
from hypothesis import strategies as st
from routes import drawn

import elbowroom.layout as words
from elbowroom.layout import (
    AirSpec,
    Attributes,
    BadInput,
    ElbowConstruction,
    ElbowRule,
    FanSpec,
    Notice,
    RoomsSpec,
    Schedule,
    Section,
    SourceSpec,
    TerminalSpec,
    TransitionRule,
    audit,
    build,
    drawing_from_runs,
    flat_oval,
    join,
    mended,
    read,
    read_schedule,
    rectangular,
    round_section,
)
from elbowroom.physics import analyse, effects, operate, with_airflows
from elbowroom.viewer import audit_shown, main, preflight

Captured = pytest.CaptureFixture[str]
Said = Callable[[float], str]
HOUSE = Path(__file__).parents[1] / "examples" / "hillside_house" / "house.glb"

# By hand from 25.4 mm an inch, 0.3048 m a foot, 249.08891 Pa an inch of water,
# 0.45359237 kg a pound, 0 °C at 32 °F.
BY_HAND: list[tuple[Said, float, str]] = [
    (words.length_words, 0.3, "300 mm (11.8 in)"),  # 11.811
    (words.length_words, 0.025, "25 mm (1 in)"),  # 0.984
    (words.length_words, 0.0153, "15.3 mm (0.6 in)"),  # 0.602
    (words.length_words, 0.0032, "3.2 mm (0.13 in)"),  # 0.126
    (words.length_words, 0.00015, "0.15 mm (0.0059 in)"),  # 0.005906
    (words.length_words, -0.02, "-20 mm (-0.79 in)"),  # 0.787
    (words.length_words, 0.2999999999, "300 mm (11.8 in)"),
    (words.length_words, 0.99996, "1 m (3.3 ft)"),  # 3.281
    (words.length_words, 1.2, "1.2 m (3.9 ft)"),  # 3.937
    (words.length_words, 12.192, "12.2 m (40 ft)"),
    (words.length_words, 304.8, "305 m (1000 ft)"),
    (words.length_words, 13000.0, "13000 m (42651 ft)"),
    (words.length_words, 160934.4, "161 km (100 mi)"),
    (words.length_words, 1e15, "1e+12 km (6.21e+11 mi)"),
    (words.length_words, 4.5e9, "4500000 km (2796170 mi)"),
    (words.length_words, 0.0, "0 mm (0 in)"),
    (words.length_words, -0.0, "0 mm (0 in)"),
    (words.pressure_words, 249.08891, "249.1 Pa (1 in.wg)"),
    (words.pressure_words, 85.0, "85 Pa (0.3412 in.wg)"),
    (words.pressure_words, 0.02, "0.02 Pa (0.00008 in.wg)"),  # 0.0000803
    (words.pressure_words, -12.34, "-12.3 Pa (-0.0495 in.wg)"),
    (words.pressure_words, 2490.8891, "2490.9 Pa (10 in.wg)"),
    (words.rate_words, 249.08891 / 30.48 / 10, "0.817 Pa/m (0.1 in.wg/100 ft)"),
    (words.airflow_words, 0.3048**3 / 60 * 100, "47.2 L/s (100 cfm)"),
    (words.airflow_words, 0.6, "600 L/s (1271 cfm)"),
    (words.airflow_words, 0.001, "1 L/s (2.1 cfm)"),  # 2.119
    (words.velocity_words, 4.572, "4.6 m/s (900 fpm)"),
    (words.temperature_words, 293.15, "20 °C (68 °F)"),
    (words.temperature_words, 233.15, "-40 °C (-40 °F)"),
    (words.temperature_words, 459.67 / 1.8, "-17.8 °C (0 °F)"),
    (words.temperature_words, 273.15, "0 °C (32 °F)"),
    (words.difference_words, 10.0, "10 K (18 °F)"),
    (words.difference_words, 0.5, "0.5 K (0.9 °F)"),
    (words.density_words, 1.2, "1.2 kg/m³ (0.075 lb/ft³)"),  # 0.07491
    (words.mass_words, 0.45359237, "0.45 kg (1 lb)"),
    (words.power_words, 745.7, "746 W (1 hp)"),
    (words.heat_words, 1000.0, "1000 W (3412 Btu/h)"),
    (words.heat_capacity_words, 4186.8, "4187 J/kg·K (1 Btu/lb·°F)"),
    (words.transmission_words, 5.678263, "5.68 W/m²·K (1 Btu/h·ft²·°F)"),
]


@pytest.mark.parametrize(("helper", "value", "said"), BY_HAND)
def test_helpers_by_hand(helper: Said, value: float, said: str) -> None:
    assert helper(value) == said


@pytest.mark.parametrize(
    ("degrees", "said"),
    [
        (1.0, "1 degree"),
        (1.2, "1.2 degrees"),
        (0.1 + 0.2, "0.3 degrees"),
        (12.3, "12 degrees"),
        (180.0, "180 degrees"),
        (-45.0, "-45 degrees"),
    ],
)
def test_a_small_angle_keeps_its_second_digit(degrees: float, said: str) -> None:
    assert words.angle_words(math.radians(degrees)) == said


@pytest.mark.parametrize(
    ("section", "said"),
    [
        (rectangular(0.6, 0.3), "600×300 mm (23.6×11.8 in)"),
        (rectangular(0.508, 0.2032), "508×203.2 mm (20×8 in)"),
        (round_section(0.2), "Ø200 mm (7.87 in)"),
        (flat_oval(0.508, 0.254), "508×254 mm flat oval (20×10 in)"),
    ],
)
def test_sections_by_hand(section: Section, said: str) -> None:
    assert words.section_words(section) == said
    assert words.size_words(section.shape, section.width, section.height) == said
    (*_, last) = pairs(said)
    assert agree(*last)


@settings(max_examples=300, derandomize=True)
@given(
    st.sampled_from(sorted({case[0] for case in BY_HAND}, key=lambda f: f.__name__)),
    st.floats(-12.0, 12.0),
    st.sampled_from([1.0, -1.0]),
)
def test_both_numbers_mean_the_same_whatever_the_size(
    helper: Said, power: float, sign: float
) -> None:
    value = sign * 10.0**power
    if helper is words.temperature_words:
        value = abs(value)
    said = helper(value)
    (both,) = pairs(said)
    assert agree(*both), said
    number, _, other, _ = both
    for shown in (number, other):
        assert shown != "-0"
        assert len(shown) < 13  # no row of zeros, none of digits
        if helper is not words.temperature_words:
            assert float(shown) * sign > 0.0  # what is something is not said to be none
            assert not shown.endswith(".0")


@pytest.mark.parametrize("value", [math.nan, math.inf])
def test_what_is_no_number_is_said_all_the_same(value: float) -> None:
    assert str(value) in words.length_words(value)
    assert str(value) in words.temperature_words(value)


def test_the_reader_of_sentences_finds_what_lacks_a_unit() -> None:
    assert alone("it lacks 20 mm to the end, and 3 Pa") == ["20 mm", "3 Pa"]
    assert alone("at (1, 2, 3) m it ends 20 mm (0.79 in) short of '3 mm'") == []
    assert agree("20", "mm", "0.79", "in")
    assert not agree("20", "mm", "0.83", "in")
    assert not agree("20", "°C", "36", "°F")


# --- what is said


def line(*points: Iterable[float]) -> Any:
    return np.array([list(point) for point in points], dtype=float)


WIDE, SMALL, LARGE = rectangular(0.6, 0.3), round_section(0.3), round_section(0.5)
FIRST = Attributes(source=True, source_at_end=False)


def found_in(runs: list[tuple[str, Any, Section]], **plan: Any) -> list[Notice]:
    """Everything that `check` says of runs, of which the first begins at the fan."""
    attributes = plan.pop("attributes", {})
    tolerance = plan.pop("tolerance", 1e-3)
    attributes = {runs[0][0]: FIRST, **attributes}
    drawing = drawing_from_runs(runs, attributes=attributes)
    plan.setdefault("terminals", {runs[-1][0]: TerminalSpec(0.3)})
    return list(audit(drawing, Schedule(**plan), tolerance=tolerance).findings)


def few_chords() -> Any:
    """Two chords of 0.3 m with 35 degrees between them: their radius is 0.499 m."""
    turn = np.radians([0.0, 17.5, 52.5, 70.0])
    way = np.stack([np.cos(turn), np.sin(turn)], axis=1) * [[4.0], [0.3], [0.3], [4.0]]
    return np.column_stack([np.cumsum([[0.0, 0.0], *way], axis=0), np.zeros(5)])


def drawings() -> dict[str, list[Notice]]:
    """What is said of drawings, by words that stand in it."""
    bend = line((0, 0, 0), (3, 0, 0), (3, 0.1, 0))
    main = ("main", line((0, 0, 3), (8, 0, 3)), WIDE)
    ends = {"main": TerminalSpec(0.3), "branch": TerminalSpec(0.1)}

    def beside(*points: Iterable[float]) -> list[Notice]:
        return found_in(
            [main, ("branch", line(*points), WIDE)], terminals={"main": ends["main"]}
        )

    transition = {"t": Attributes(transition=True)}
    return {
        "the bend does not fit": found_in([("a", bend, SMALL)]),
        "the transition does not fit": found_in(
            [
                ("a", line((0, 0, 0), (4, 0, 0)), SMALL),
                ("b", line((4, 0, 0), (10, 0, 0)), LARGE),
            ],
            transition_default=TransitionRule(length=10.0),
        ),
        "short of run 'main'": beside((4, 0.04, 3), (4, 3, 3)),
        "past run 'main'": beside((4, -0.05, 3), (4, 3, 3)),
        "at the side of run 'main'": beside((4, 0.2, 3), (4, 3, 3)),
        "the nearest gap to what": beside((4, 1, 3), (4, 3, 3)),
        "separate parts": beside((4, 1, 3), (4, 3, 3)),
        "apart were joined at": beside((4, 0.002, 3), (4, 3, 3))
        + found_in(
            [
                ("a", line((0, 0, 0), (4, 0, 0)), SMALL),
                ("b", line((4, 0.002, 0), (4, 5, 0)), SMALL),
            ],
            tolerance=0.005,
        ),
        "shorter than the joining tolerance": found_in(
            [("a", line((0, 0, 0), (4, 0, 0), (4, 5e-4, 0), (4, 3, 0)), SMALL)]
        ),
        "arrives turned": found_in(
            [("a", line((0, 0, 0), (3, 0, 0), (3, 3, 3), (6, 3, 3)), WIDE)]
        ),
        "lie on one arc of radius": found_in([("a", few_chords(), round_section(0.2))]),
        "more than one with a flat side": found_in(
            [
                ("a", line((-3, 0, 0), (0, 0, 0)), SMALL),
                ("t", line((0, 0, 0), (1, 0.15, 0)), SMALL),
                ("b", line((1, 0.15, 0), (4, 0.15, 0)), LARGE),
            ],
            attributes=transition,
        ),
        "large for a duct": found_in(
            [("a", line((0, 0, 0), (30, 0, 0)), rectangular(9.144, 0.6))]
        ),
        "the section jumps from": found_in(
            [
                ("a", line((0, 0, 0), (4, 0, 0)), SMALL),
                ("b", line((4, 0, 0), (10, 0, 0)), LARGE),
            ]
        ),
        "lie on each other for": found_in(
            [main, ("on", line((7, 0, 3), (9, 0, 3)), WIDE)]
        ),
        "larger in every direction": found_in(
            [main, ("branch", line((4, 0, 3), (4, 4, 3)), rectangular(0.8, 0.5))],
            terminals=ends,
        ),
        "a bend radius of": found_in(
            [("a", line((0, 0, 0), (3, 0, 0), (3, 3, 0)), SMALL)],
            attributes={"a": Attributes(source=True, bend_radius=0.45)},
            elbow_default=ElbowRule(construction=ElbowConstruction.MITRED),
        ),
        "a straight piece is": found_in([("a", line((0, 0, 0), (8e3, 0, 0)), SMALL)]),
        "all ducts together are": found_in(
            [("a", line((0, 0, 0), (0.008, 0, 0)), SMALL)]
        ),
        "ends at that place": found_in(
            [main], terminals={"x": TerminalSpec(0.3, at=(9.0, 1.0, 3.0))}
        ),
        "there is no end of a duct there": found_in(
            [main], source=SourceSpec(at=(0.0, 2.0, 3.0))
        ),
    }


DRAWINGS = drawings()


def check_words(sentences: Iterable[str]) -> int:
    """Ask of sentences that both units are there and agree; how many do."""
    count = 0
    for sentence in sentences:
        assert alone(sentence) == [], sentence
        for both in pairs(sentence):
            assert agree(*both), (both, sentence)
            count += 1
    return count


@pytest.mark.parametrize("said", sorted(DRAWINGS))
def test_what_is_said_of_a_drawing_has_both_units(said: str) -> None:
    mine = [one for one in DRAWINGS[said] if said in one.sentence]
    assert mine
    texts = [f"{one.sentence} {one.effect}" for one in mine]
    assert check_words(texts)
    assert check_words(f"{one.sentence} {one.effect}" for one in DRAWINGS[said])


def test_what_was_mended_has_both_units() -> None:
    runs = [
        ("main", line((0, 0, 3), (8, 0, 3)), WIDE),
        ("branch", line((4, 0.04, 3), (4, 3, 3)), WIDE),
        ("next", line((8, 0.0004, 3), (8, 3, 3)), WIDE),
        ("more", line((8, 3 + 1e-9, 3), (12, 3, 3)), WIDE),
    ]
    _, changes = mended(join(drawing_from_runs(runs)))
    assert "was drawn on by 39.9 mm (1.6 in)" in " ".join(changes)
    assert "by up to 0.2 mm (0.0079 in)" in " ".join(changes)
    assert check_words(changes) == 2  # a nanometre is not told


def test_flags_and_assumptions_have_both_units() -> None:
    """Of a fan that blows too fast into a bend, high up, with vanes, and mitred."""
    runs = [
        ("a", line((0, 0, 0), (0.6, 0, 0), (0.6, 4, 0)), SMALL),
        ("b", line((0.6, 4, 0), (0.6, 9, 0), (5, 9, 0)), rectangular(0.3, 0.3)),
    ]
    plan = Schedule(
        air=AirSpec(altitude=1500.0),
        fan=FanSpec(external_static_pressure=100.0),
        losses={"filter": 5000.0},
        terminals={"b": TerminalSpec(4.0)},
        elbow_default=ElbowRule(construction=ElbowConstruction.SINGLE_VANES),
        elbow_exceptions={("a", 1): ElbowRule()},
    )
    drawing = drawing_from_runs(runs, attributes={"a": FIRST})
    found = analyse(build(drawing, plan))
    flags = [notice.sentence for notice in found.flags]
    for said in (
        "the velocity is",
        "behind the fan, whose flow is even after",
        "use up the whole pressure of the fan and",
    ):
        assert any(said in flag for flag in flags), said
    assert check_words(flags) == 6
    assumed = [effect.assumption for effect in effects(found)]
    texts = [f"{one.what}; {one.instead}; {one.remedy}" for one in assumed]
    for said in (
        "air at 20 °C (68 °F)",
        "roughness 0.09 mm (0.0035 in)",
        "the vanes 38 mm (1.5 in) apart",
        "the fan's pressure as one in the site's air of",
        "declared losses as those in the site's air of",
    ):
        assert any(said in text for text in texts), said
    assert check_words(texts) >= 8
    curve = ((0.0, 50.0), (1.0, 80.0), (2.0, 100.0), (3.0, 0.0))
    again = Schedule(fan=FanSpec(curve=curve), terminals={"b": TerminalSpec(4.0)})
    short = analyse(build(drawing, again)).flags
    assert any("does not reach the design airflow" in flag.what for flag in short)
    assert check_words(flag.sentence for flag in short)


def test_airflows_in_words_have_both_units() -> None:
    plan = Schedule(
        rooms=RoomsSpec(difference=8.0),
        terminals={"T3": TerminalSpec(math.nan, load=2400.0)},
    )
    _, notices = with_airflows(plan)
    assert check_words(notice.sentence for notice in notices) == 5
    fan = FanSpec(curve=((0.0, 50.0), (1.0, 80.0), (2.0, 100.0), (3.0, 0.0)))
    rising = operate(analyse(build(drawn(), Schedule(fan=fan))))
    assert check_words(notice.sentence for notice in rising.notices) == 1
    # Its 0.75 m³/s take 53 Pa: a curve with a dip before that is met twice for good.
    dip = ((0.0, 80.0), (0.375, 8.0), (0.675, 74.0), (1.125, 5.0))
    fan = FanSpec(curve=dip, curve_is_total=True)
    found = operate(analyse(build(drawn(), Schedule(fan=fan))))
    met = [notice.sentence for notice in found.notices]
    assert any(
        "it meets the layout at 2 airflows that may last, " in one for one in met
    )
    assert check_words(met) == 2
    short = FanSpec(curve=((0.0, 500.0), (0.2, 490.0)), curve_is_total=True)
    with pytest.raises(BadInput) as refused:
        operate(analyse(build(drawn(), Schedule(fan=short))))
    assert check_words([str(refused.value)]) == 2


@pytest.mark.parametrize(
    ("text", "count"),
    [
        ('[air]\ntemperature = "200 C"\naltitude = "9000 m"\npressure = "1 Pa"', 9),
        ('[clearance]\nrequired = "20 m"\ninsulation = "2 m"', 4),
        ('[duct]\nroughness = "1 in"', 2),
        ('[fan]\ninlet_velocity_pressure = "50 kPa"\ntotal_pressure = "1 kPa"', 2),
        ('[checks]\nheat_transmission = "90 W/m2K"\ndew_point_around = "200 C"', 5),
        ('[terminals.a]\nflow = "1 L/s"\nloss = "900 kPa"', 2),
        ('[elbows]\nthroat_radius = "90 ft"', 2),
        (
            '[elbows]\nconstruction = "mitred with single vanes"\nvane_spacing = "1 m"',
            3,
        ),
        ('[sections]\na = "50x300 ft"\nb = "1e-9x300 mm"', 2),
    ],
)
def test_ranges_of_a_schedule_have_both_units(
    text: str, count: int, tmp_path: Path
) -> None:
    path = tmp_path / "plan.toml"
    path.write_text(text, "utf-8")
    with pytest.raises(BadInput) as refused:
        read_schedule(path)
    assert check_words(fault.sentence for fault in refused.value.faults) == count


def test_what_a_reader_says_has_both_units(tmp_path: Path) -> None:
    path = tmp_path / "wide.obj"
    path.write_text(
        "o T1 600x300 D200\nv 0 0 0\nv 13000 0 0\nl 1 2\n", encoding="utf-8"
    )
    assert check_words(one.sentence for one in read(path).notices) == 4


@pytest.mark.parametrize(
    ("command", "count"),
    [
        ("size --flow 500cfm --temperature 900C", 3),
        ("size --flow 500cfm --altitude 20000m", 3),
        ("size --flow 9m3/s --max-height 100mm", 1),
        ("size --like 12x12in --max-height 10mm", 1),
        ("size --flow 1e-5cfm --max-height 1e-7in", 2),
        ("size --flow 500cfm --max-velocity 9e5fpm", 2),
        (f"check {HOUSE} --tolerance 2m", 1),
    ],
)
def test_refused_options_have_both_units(
    command: str, count: int, capsys: Captured
) -> None:
    assert main(command.split()) == 2
    assert check_words(capsys.readouterr().err.splitlines()) == count


def test_notes_of_the_desk_have_both_units(capsys: Captured) -> None:
    assert main(["size", "--like", "12x12in", "--max-height", "8in", "--json"]) == 0
    notes = json.loads(capsys.readouterr().out)["notes"]
    assert any("no airflow was given: 4.6 m/s (900 fpm)" in note for note in notes)
    assert main(["size", "--flow", "500 cfm", "--json"]) == 0
    (note,) = json.loads(capsys.readouterr().out)["notes"]
    assert note == "no friction rate was given: 0.817 Pa/m (0.1 in.wg/100 ft) was taken"


@pytest.mark.parametrize(("units", "unit"), [("metric", "m"), ("inch-pound", "ft")])
def test_the_ruler_of_a_check_follows_the_units(
    units: str, unit: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    found = {}

    def picture(*_: Any, length_unit: str = "m", **__: Any) -> str:
        found["unit"] = length_unit
        return ""

    monkeypatch.setattr(audit_shown, "picture", picture)
    monkeypatch.setattr(preflight, "why_not", lambda: None)
    out = str(tmp_path / "a.png")
    assert main(["check", str(HOUSE), "--png", out, "--units", units]) == 0
    assert found == {"unit": unit}


def test_numbers_are_read_as_they_are_written() -> None:
    """The reader of sentences would see nothing wrong in what it does not read."""
    for text in ("0.000039", "-0.79", "6.21e+11", "1e-05", "20"):
        assert re.fullmatch(NUMBER, text)
