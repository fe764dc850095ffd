"""Elbows close together: the plain sum and the pair, found in drawings."""

import json
from html import escape
from typing import Any

import numpy as np
import pytest
from routes import about_z

from elbowroom.layout import (
    ELBOW_CONSTRUCTIONS,
    Attributes,
    ElbowRule,
    Schedule,
    Section,
    TerminalSpec,
    build,
    drawing_from_runs,
    rectangular,
    round_section,
)
from elbowroom.physics import Analysis, Note, Option, analyse, compare, interaction
from elbowroom.viewer import display, main, page, report, results, tables

SQUARE = rectangular(0.3, 0.3)


def route(
    points: Any, section: Section = SQUARE, words: str = "smooth radius", **said: Any
) -> Analysis:
    turned = np.asarray(points, dtype=float) @ about_z(0.83).T
    drawing = drawing_from_runs(
        [("a", turned, section)],
        attributes={"a": Attributes(source=True, source_at_end=False)},
    )
    rule = said.pop("rule", ElbowRule(construction=ELBOW_CONSTRUCTIONS[words]))
    said.setdefault("terminals", {"a": TerminalSpec(0.5, 0.0)})
    plan = Schedule(elbow_default=rule, **said)
    return analyse(build(drawing, plan))


def s_shape(between: float) -> list[list[float]]:
    return [[0, 0, 0], [4, 0, 0], [4, between, 0], [8, between, 0]]


def u_shape(between: float) -> list[list[float]]:
    return [[0, 0, 0], [4, 0, 0], [4, between, 0], [0, between, 0]]


def test_a_smooth_s_loses_less_than_its_elbows() -> None:
    """Idelchik, S-shaped coupled smooth bends: by the straight length between them."""
    # Radius 0.3: 0.6 m of straight duct, two diameters.
    found = route(s_shape(1.2), round_section(0.3))
    (pair,) = found.pairs
    assert (pair.arrangement, pair.confidence) == ("S", "seen")
    assert not pair.notes & Note.FALLBACK
    assert pair.spacing == pytest.approx(2.0)
    factor, _ = interaction.s_pair_factor(np.pi / 2, 2.0)
    assert pair.together == pytest.approx(pair.plain / 2 * float(factor[0]))
    assert pair.together is not None
    assert pair.together < pair.plain


@pytest.mark.parametrize(
    ("section", "words"),
    [(SQUARE, "smooth radius"), (round_section(0.3), "segmented")],
)
def test_the_print_of_a_smooth_round_s_stands_in_for_others(
    section: Section, words: str
) -> None:
    (pair,) = route(s_shape(1.2), section, words).pairs
    assert pair.together is not None
    assert pair.confidence == "low"
    assert pair.notes & Note.FALLBACK


@pytest.mark.parametrize(("radius", "is_covered"), [(0.89, False), (0.99, True)])
@pytest.mark.parametrize("section", [SQUARE, round_section(0.3)])
def test_elbows_tighter_than_the_print_of_an_s_keep_their_plain_sum(
    section: Section, radius: float, is_covered: bool
) -> None:
    """It is of r/D 1 and more; to 0.9 it counts in part, own choice."""
    rule = ElbowRule(radius_ratio=radius)
    found = route(s_shape(1.2), section, rule=rule, corrected_pairs=True)
    (pair,) = found.pairs
    assert (pair.together is not None) == is_covered
    assert bool(pair.notes & Note.TIGHT_PAIR) != is_covered
    assert (found.critical_loss < analysed_alone(found)) == is_covered


def analysed_alone(found: Analysis) -> float:
    return float(found.alone.loss.sum())


@pytest.mark.parametrize("words", ["smooth radius", "mitred"])
def test_the_second_elbow_of_a_pair_is_credited_to_its_table_too(words: str) -> None:
    between = 0.45 if words == "mitred" else 1.2
    found = route(s_shape(between), words=words, corrected_pairs=True)
    (pair,) = found.pairs
    e, alone = found.elements, found.alone
    first, second = (found.ids.index(f"elbow-{number}") for number in (1, 2))
    credit = e.credits[e.credit[second]]
    own = alone.credits[alone.credit[second]]
    assert credit.table == f"{own.table} and {pair.table}"
    assert pair.source in credit.source
    assert credit.confidence == pair.confidence != own.confidence  # the lower one
    assert e.notes[second] == alone.notes[second] | pair.notes
    assert e.credits[e.credit[first]] == alone.credits[alone.credit[first]]


def test_a_mitred_z_loses_more_than_its_elbows() -> None:
    """Idelchik, section VI (from memory): about 4 velocity pressures near L/W 1.5."""
    found = route(s_shape(0.45), words="mitred")
    (pair,) = found.pairs
    wanted = interaction.mitred_pair(1.5)
    row = next(r for r, name in enumerate(found.ids) if name == "elbow-1")
    pv = found.elements.velocity_pressure[row] * found.elements.reynolds_factor[row]
    assert pair.together == pytest.approx(float(wanted.value[0]) * pv)
    assert pair.together is not None
    assert pair.together > 1.3 * pair.plain
    assert pair.confidence == wanted.confidence


@pytest.mark.parametrize("words", ["smooth radius", "mitred"])
def test_u_pairs(words: str) -> None:
    found = route(u_shape(0.5 if words == "mitred" else 1.2), words=words)
    (pair,) = found.pairs
    assert pair.arrangement == "U"
    # No table of smooth U pairs was found: the plain sum stands, and it is listed.
    assert (pair.together is None) == (words == "smooth radius")


@pytest.mark.parametrize(("spacing", "is_told"), [(4.9, True), (5.1, False)])
def test_a_pair_without_a_table_is_told_within_five_diameters(
    spacing: float, is_told: bool
) -> None:
    """Own choice: a smooth U, its radii of 0.3 m before and behind the straight."""
    found = route(u_shape(0.6 + 0.3 * spacing))
    assert len(found.pairs) == is_told


@pytest.mark.parametrize(
    ("axes", "at", "share"),
    [(1.7, 1.7, 1.0), (1.9, 1.8, 17 / 18), (2.7, 1.8, 0.5), (3.7, None, None)],
)
def test_a_mitred_u_fades_out_from_the_end_of_its_table(
    axes: float, at: float | None, share: float | None
) -> None:
    """The table ends at axes 1.8 W apart; nothing is left at twice that, own choice."""
    (pair,) = route(u_shape(0.3 * axes), words="mitred").pairs
    if at is None or share is None:
        assert pair.together is None
        return
    found = route(u_shape(0.3 * axes), words="mitred")
    row = next(r for r, name in enumerate(found.ids) if name == "elbow-2")
    pv = found.elements.velocity_pressure[row] * found.elements.reynolds_factor[row]
    tabled = float(interaction.mitred_u_pair(at, 1.0).value[0]) * pv
    wanted = pair.plain + share * (tabled - pair.plain)
    assert pair.together == pytest.approx(wanted)


def test_a_pair_in_two_planes() -> None:
    found = route([[0, 0, 0], [4, 0, 0], [4, 0.6, 0], [4, 0.6, 4]], words="mitred")
    (pair,) = found.pairs
    assert pair.arrangement == "twisted"
    assert pair.table == interaction.mitred_pair(2.0, twisted=True).table


def test_an_offset_of_two_sharp_30_degree_elbows() -> None:
    turn = np.radians(30)
    c, s = 0.4 * np.cos(turn), 0.4 * np.sin(turn)
    points = [[0, 0, 0], [4, 0, 0], [4 + c, s, 0], [8 + c, s, 0]]
    found = route(points, round_section(0.3), words="mitred")
    (pair,) = found.pairs
    assert pair.table == interaction.offset_30(1.0, True).table


def test_elbows_far_apart_are_no_pair() -> None:
    assert route(s_shape(20.0)).pairs == ()
    assert route(u_shape(3.0)).pairs == ()


def test_no_elbow_is_in_two_pairs() -> None:
    points = [[0, 0, 0], [4, 0, 0], [4, 1, 0], [5, 1, 0], [5, 2, 0], [9, 2, 0]]
    pairs = route(points).pairs
    members = [bend for pair in pairs for bend in (pair.first, pair.second)]
    assert len(members) == len(set(members)) == 4


def test_pairs_count_only_where_that_is_asked() -> None:
    plain = route(s_shape(1.2))
    asked = route(s_shape(1.2), corrected_pairs=True)
    (pair,) = plain.pairs
    assert pair.together is not None
    change = pair.together - pair.plain
    assert asked.critical_loss == pytest.approx(plain.critical_loss + change)
    assert plain.critical_loss_as_pairs == pytest.approx(asked.critical_loss)
    assert asked.critical_loss_as_pairs == pytest.approx(asked.critical_loss)
    assert asked.pairs == plain.pairs
    e = asked.elements
    fittings = ~np.isnan(e.coefficient)
    product = e.coefficient * e.reynolds_factor * e.velocity_pressure
    assert e.loss[fittings] == pytest.approx(product[fittings])


def test_a_change_of_section_between_parts_a_pair() -> None:
    found = route(s_shape(1.2))
    assert len(found.pairs) == 1
    wide = drawing_from_runs(
        [
            ("a", np.array([[0, 0, 0], [4, 0, 0], [4, 0.6, 0]]), SQUARE),
            ("b", [[4, 0.6, 0], [4, 1.2, 0], [8, 1.2, 0]], rectangular(0.5, 0.3)),
        ],
        attributes={"a": Attributes(source=True)},
        flows={"b": 0.5},
    )
    assert analyse(build(wide)).pairs == ()


def test_the_schedule_asks_for_pairs(
    tmp_path: Any, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "route.toml").write_text(
        'unit = "m"\n[[run]]\nname = "a"\nsection = "300x300"\nsource = "start"\n'
        "points = [[0,0,0],[4,0,0],[4,1.2,0],[8,1.2,0]]\n"
    )
    totals = []
    for word in ("plain sum", "as pairs"):
        (tmp_path / "schedule.toml").write_text(
            '[terminals.a]\nflow = "0.5 m3/s"\nloss = "10 Pa"\n'
            f'[interaction]\nclose_elbows = "{word}"\n'
        )
        assert main(["analyse", str(tmp_path / "route.toml"), "--json"]) == 0
        found = json.loads(capsys.readouterr().out)
        totals.append(found["system"]["critical_loss_pa"])
        assert len(found["pairs"]) == 1
        assert main(["analyse", str(tmp_path / "route.toml")]) == 0
        assert "Elbows close together" in capsys.readouterr().out
    assert totals[1] < totals[0]


def test_the_pairs_are_in_the_tables_the_report_and_the_page() -> None:
    points = [[0, 0, 0], [4, 0, 0], [4, 1.2, 0], [8, 1.2, 0], [8, 2.4, 0], [4, 2.4, 0]]
    option = Option("a", route(points, round_section(0.3)))
    found = results.pairs(option.analysis)
    assert [pair["arrangement"] for pair in found] == ["S", "U"]
    rows = tables.flat_tables(option)["pairs"]
    assert rows == [{**pair, "notes": "; ".join(pair["notes"])} for pair in found]
    names = [f"{pair['first']}, {pair['second']}" for pair in found]
    plain, together = (
        f"{found[0]['plain_sum_pa']:.1f}",
        f"{found[0]['together_pa']:.1f}",
    )
    covered = found[0]["confidence"]
    assert found[1]["together_pa"] is None

    text = report.report_html([[option]], [[()]], (), display.METRIC, {}, picture=False)
    text = text[text.index("<h2>Elbows close together") : text.index("<h2>Ducts")]
    assert f'{names[0]} (S)</td><td class="n">2.0 D</td>' in text
    assert f'<td class="n">{plain}</td><td class="n">{together}</td>' in text
    assert escape(f"{found[0]['source']} ({covered})") in text
    assert f"{names[1]} (U)" in text
    assert "no table: the plain sum stands" in text
    assert "The plain sum counts" in text

    (shown,) = page.page_data([option], [()], ())["options"]
    one, other, counts = shown["pairs"]["metric"]
    assert one.startswith(f"{names[0]} (S), 2.0 D apart: {plain} Pa as a plain sum")
    assert one.endswith(f"{together} Pa as a pair ({covered})")
    assert other.startswith(names[1])
    assert other.endswith("no table: the plain sum stands")
    assert counts.startswith("The plain sum counts")
    assert "in.wg" in shown["pairs"]["inch-pound"][0]

    alone = Option("b", route([[0, 0, 0], [4, 0, 0], [4, 40, 0]]))
    text = report.report_html([[alone]], [[()]], (), display.METRIC, {}, picture=False)
    assert "Elbows close together" not in text
    (shown,) = page.page_data([alone], [()], ())["options"]
    assert shown["pairs"] == {"metric": [], "inch-pound": []}


@pytest.mark.parametrize(
    ("degrees", "back"), [(30.0, False), (90.0, False), (90.0, True)]
)
def test_no_spacing_of_a_pair_makes_a_jump(degrees: float, back: bool) -> None:
    """Offsets and U-turns of mitred elbows, from one side apart to far apart."""
    turn = np.radians(degrees)
    way = np.array([np.cos(turn), np.sin(turn), 0.0])
    ratio = []
    for apart in np.arange(0.5, 7.0, 0.05):
        one = np.array([4.0, 0.0, 0.0])
        two = one + apart * way
        last = two + np.array([-4.0 if back else 4.0, 0.0, 0.0])
        found = route([[0.0, 0, 0], one, two, last], words="mitred")
        together = found.pairs[0].together if found.pairs else None
        plain = found.pairs[0].plain if found.pairs else 1.0
        ratio.append(1.0 if together is None else together / plain)
    steps = np.abs(np.diff(ratio))
    assert steps.max() < 0.1


def turned_pair(first: float, second: float, out: float = 0.0) -> list[list[float]]:
    """Two corners 0.6 m apart, degrees; how far the second turns out of the plane."""
    a, b, c = np.radians([first, second, out])
    one = np.array([np.cos(a), np.sin(a), 0.0])
    aside = np.array([-np.sin(a), np.cos(a), 0.0])
    back = -aside * np.cos(c) + np.array([0.0, 0.0, np.sin(c)])
    corner = np.array([4.0, 0.0, 0.0])
    then = corner + 0.6 * one
    last = then + 4.0 * (one * np.cos(b) + back * np.sin(b))
    return [[0.0, 0.0, 0.0], *(at.tolist() for at in (corner, then, last))]


def pair_ratio(found: Analysis) -> float:
    """Loss of the pair over its plain sum."""
    (pair,) = found.pairs
    return 1.0 if pair.together is None else pair.together / pair.plain


@pytest.mark.parametrize("which", ["both", "second", "plane"])
@pytest.mark.parametrize("printed", [30.0, 90.0])
def test_no_degree_of_a_pair_makes_a_jump(printed: float, which: str) -> None:
    """Full to 3 degrees off the print, gone at 10: own choice."""
    ratio = []
    for off in np.arange(0.0, 11.01, 0.5).tolist():
        both = (printed - off * (which == "both"), printed - off * (which != "plane"))
        points = turned_pair(*both, off * (which == "plane"))
        ratio.append(pair_ratio(route(points, words="mitred")))
    assert abs(ratio[0] - 1.0) > 0.2
    assert ratio[:6] == pytest.approx([ratio[0]] * 6)
    assert ratio[-1] == 1.0
    assert np.abs(np.diff(ratio)).max() < 0.1 * abs(ratio[0] - 1.0)


def test_a_pair_off_its_print_says_so() -> None:
    """Elbows of 33 degrees count with the ratio of those of 30, not their loss."""
    printed, off = (
        route(turned_pair(turn, turn), words="mitred") for turn in (30.0, 32.9)
    )
    assert not printed.pairs[0].notes & Note.NEAREST_ROW
    assert off.pairs[0].notes & Note.NEAREST_ROW
    assert pair_ratio(off) == pytest.approx(pair_ratio(printed), rel=1e-6)


def test_no_radius_of_a_smooth_pair_makes_a_jump() -> None:
    ratio = []
    for radius in np.linspace(0.88, 1.0, 13).tolist():
        rule = ElbowRule(radius_ratio=radius)
        ratio.append(pair_ratio(route(s_shape(1.2), round_section(0.3), rule=rule)))
    assert ratio[0] == 1.0
    assert ratio[-1] < 0.8
    assert np.abs(np.diff(ratio)).max() < 0.16 * (ratio[0] - ratio[-1])


def test_an_offset_of_30_degrees_has_the_reynolds_factor_of_its_elbows() -> None:
    """Or the pair would gain on the plain sum as the air slows down."""
    between = 0.5
    points = [[0.0, 0, 0], [4, 0, 0]]
    points.append([4 + between * np.cos(np.pi / 6), between * 0.5, 0])
    points.append([9, between * 0.5, 0])
    ratios = []
    for flow in (0.02, 0.5):
        found = route(points, words="mitred", terminals={"a": TerminalSpec(flow, 0.0)})
        ratios.append((found.pairs[0].together or 0.0) / found.pairs[0].plain)
    assert ratios[0] == pytest.approx(ratios[1])


def test_of_three_elbows_the_two_that_stand_nearer_are_the_pair() -> None:
    """One far upstream, which hardly counts, takes none of them away."""
    for far in (5.9, 6.1):
        points = [[0, 0, 0], [4, 0, 0], [4, far, 0], [4.3, far, 0], [4.3, 0, 0]]
        (pair,) = [p for p in route(points, words="mitred").pairs if p.together]
        assert pair.arrangement == "U"
        assert pair.spacing < 2.0


@pytest.mark.parametrize(("share", "is_told"), [(0.009, False), (0.011, True)])
def test_what_pairs_change_is_said_from_a_hundredth_of_the_loss_on(
    share: float, is_told: bool
) -> None:
    """Own choice. Straight duct is put behind an S until its change has that share."""

    def option(more: float) -> Analysis:
        return route([*s_shape(1.2)[:-1], [8 + more, 1.2, 0]])

    near, far = option(0.0), option(10.0)
    change = abs(near.critical_loss_as_pairs - near.critical_loss)
    metre = (far.critical_loss - near.critical_loss) / 10.0
    analysis = option((change / share - near.critical_loss) / metre)
    moved = abs(analysis.critical_loss_as_pairs - analysis.critical_loss)
    assert moved == pytest.approx(share * analysis.critical_loss)
    both = [Option("one", analysis), Option("other", analysis)]
    assert ("counted as pairs" in compare(both).verdict) == is_told
