"""Flexible duct against its published factors."""

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from elbowroom.layout import (
    Attributes,
    BadInput,
    Basis,
    ChecksSpec,
    ElbowConstruction,
    ElbowRule,
    RunLimits,
    Schedule,
    Shape,
    SourceSpec,
    TerminalSpec,
    build,
    drawing_from_runs,
    pressure_words,
    read,
    read_schedule,
    rectangular,
    round_section,
)
from elbowroom.physics import (
    UNMET,
    Aim,
    Analysis,
    Kind,
    LookupRefused,
    Note,
    Option,
    Proportions,
    analyse,
    checks,
    duct_schedule,
    effects,
    flexible,
    proportion,
    remedies,
    tables,
    with_airflows,
)
from elbowroom.viewer import display, report, results

HOUSE = Path(__file__).parents[1] / "examples" / "hillside_house" / "house.glb"


def test_shortened_duct_has_the_factors_of_the_table() -> None:
    # ASHRAE Handbook Fundamentals 2009 (from memory), two decimals.
    diameter, percent, printed = (
        np.array([float(r[k]) for r in tables.rows("flexible_compression_factor")])
        for k in ("diameter_mm", "compression_percent", "friction_multiplier")
    )
    factor, notes = flexible.compression_factor(diameter / 1000, percent / 100)
    np.testing.assert_allclose(factor, printed, atol=0.0051)
    assert not notes.any()


def test_stretched_duct_rubs_no_more_than_its_wall_and_shortened_duct_more() -> None:
    share = np.linspace(0.0, 0.3, 20)
    factor, _ = flexible.compression_factor(0.2, share)
    assert factor[0] == 1.0
    assert (np.diff(factor) > 0).all()
    small, large = flexible.compression_factor([0.152, 0.406], 0.15)[0]
    assert small > large


def test_sizes_and_shares_that_were_not_tested_are_noted() -> None:
    extended = int(Note.EXTENDED)
    for diameter, share in ((0.1, 0.1), (0.5, 0.1), (0.2, 0.4)):
        assert flexible.compression_factor(diameter, share)[1] == extended
    for wrong in (-0.01, 0.6, np.nan):
        with pytest.raises(LookupRefused, match="stretch it, or cut it"):
            flexible.compression_factor(0.2, wrong)


def test_bend_has_the_published_multipliers() -> None:
    # Abstract of a test of stretched nonmetallic duct by ASHRAE Standard 120-2008:
    # twice the loss per length at 90 degrees, 1.25 times at 45.
    factor, notes = flexible.bend_factor(np.radians([0.0, 45.0, 90.0]))
    np.testing.assert_allclose(factor, [1.0, 1.25, 2.0])
    assert not notes.any()
    assert (np.diff(flexible.bend_factor(np.linspace(0.0, np.pi / 2))[0]) > 0).all()


def test_bend_that_was_not_tested_is_noted_or_refused() -> None:
    assert flexible.bend_factor(np.pi / 2, 0.6)[1] & int(Note.EXTENDED)
    assert not flexible.bend_factor(np.pi / 2, 1.5)[1] & int(Note.EXTENDED)
    for wrong in (2.0, -0.1, np.nan):
        with pytest.raises(LookupRefused, match="rigid elbow"):
            flexible.bend_factor(wrong)


def test_bend_adds_the_length_of_its_own_arc_at_a_right_angle() -> None:
    # Exact: a multiplier of 2 on an arc of r pi/2.
    length, notes = flexible.bend_extra_length(np.pi / 2, 0.25, 0.2)
    assert length == pytest.approx(0.25 * np.pi / 2)
    assert notes == 0
    assert flexible.bend_extra_length(0.0, 0.25, 0.2)[0] == 0.0


def _house(words: str, tmp_path: Path) -> Analysis:
    """The house with one branch of flexible duct, and more under that run."""
    text = (HOUSE.parent / "house.schedule.toml").read_text(encoding="utf-8")
    text = text.replace(
        "[elbows]",
        '[duct.runs.kitchen]\nmaterial = "flexible duct, nonmetallic with wire, fully '
        f'extended"\n{words}\n[elbows]',
        1,
    )
    plan = tmp_path / "plan.toml"
    plan.write_text(text, encoding="utf-8")
    return analyse(build(read(HOUSE), with_airflows(read_schedule(plan))[0]))


def test_compression_in_a_layout_goes_on_the_friction_of_that_run(
    tmp_path: Path,
) -> None:
    """RP-1333's formula, from memory: 10 % of a 178 mm duct multiply by 3.40."""
    tight, loose = _house("", tmp_path), _house('compression = "10 %"', tmp_path)
    names = [tight.graph.drawing.names[run] for run in tight.graph.ducts.run]
    ratio = loose.state.gradient / tight.state.gradient
    wanted = [3.398 if name == "kitchen" else 1.0 for name in names]
    np.testing.assert_allclose(ratio, wanted, rtol=1e-3)
    rows = loose.elements.kind == Kind.DUCT
    (credit,) = {
        loose.elements.credits[loose.elements.credit[row]]
        for row in np.flatnonzero(rows)
        if names[loose.elements.duct[row]] == "kitchen"
    }
    assert "flexible_compression_factor" in credit.table
    assert credit.confidence == "memory"
    check = next(c for c in checks(loose) if c.rule == "compression of flexible duct")
    assert check.failing == ("kitchen",)
    assert check.value == pytest.approx(0.1)


def test_flexible_duct_without_a_word_is_listed_as_pulled_tight(tmp_path: Path) -> None:
    analysis = _house("", tmp_path)
    effect = next(e for e in effects(analysis) if "pulled" in e.assumption.what)
    assert effect.assumption.elements == 2  # a run with one bend
    assert effect.loss is not None
    said = _house('compression = "0 %"', tmp_path)
    assert not [a for a in said.assumptions if "pulled" in a.what]
    np.testing.assert_array_equal(said.elements.loss, analysis.elements.loss)


@pytest.mark.parametrize(("pressed", "word"), [("0 %", "note"), ("30 %", "warning")])
def test_a_bend_of_flexible_duct_is_told_with_the_published_figure(
    tmp_path: Path, pressed: str, word: str
) -> None:
    """Twice the friction along a right angle of r/D 1: the arc's own length again."""
    found = _house(f'compression = "{pressed}"', tmp_path)
    (flag,) = (flag for flag in found.flags if "bends of flexible duct" in flag.what)
    bends = found.graph.bends
    (row,) = np.flatnonzero(found.conditions.is_flexible[bends.duct])
    duct = bends.duct[row]
    arc = np.pi / 2 * bends.radius[row] * found.state.gradient[duct]
    assert f"they lose {arc:.2g} Pa (" in flag.what
    assert flag.severity.value == word
    plan = read_schedule(HOUSE.parent / "house.schedule.toml")
    rigid = analyse(build(read(HOUSE), with_airflows(plan)[0]))
    assert not [flag for flag in rigid.flags if "flexible" in flag.what]


FLEXIBLE = "flexible duct, nonmetallic with wire, fully extended"
METALLIC = "flexible duct, metallic corrugated, fully extended"


def _branches(turns: dict[str, int], flow: float = 0.05) -> Analysis:
    """A trunk with branches of flexible duct, and how often each of them turns."""
    runs = [
        ("trunk", np.array([[0, 0, 0], [2.0 * len(turns), 0, 0]]), round_section(0.3))
    ]
    for row, (name, count) in enumerate(turns.items()):
        way = [[2.0 * row + 1.0, 0.0, 0.0]]
        for step in range(count + 1):
            x, y, z = way[-1]
            way.append([x, y + 1.0, z] if step % 2 == 0 else [x, y, z + 1.0])
        runs.append((name, np.array(way), round_section(0.15)))
    drawing = drawing_from_runs(
        runs, attributes={"trunk": Attributes(source=True, source_at_end=False)}
    )
    plan = Schedule(
        terminals={
            "trunk": TerminalSpec(0.1, loss=5.0),
            **{name: TerminalSpec(flow) for name in turns},
        },
        elbow_default=ElbowRule(ElbowConstruction.SEGMENTED, radius_ratio=1.5),
        run_materials=dict.fromkeys(turns, FLEXIBLE),
        run_compression=dict.fromkeys(turns, 0.0),
    )
    return analyse(build(drawing, plan))


def _bends_said(found: Analysis) -> str:
    (flag,) = (flag for flag in found.flags if "bends of flexible duct" in flag.what)
    return flag.what


def test_bends_of_branches_beside_each_other_do_not_add_up() -> None:
    found = _branches({"C": 2, "A": 1, "B": 1})
    bends = found.elements.loss[found.elements.kind == Kind.BEND]
    one = float(bends[0])
    np.testing.assert_allclose(bends, one)
    assert found.critical_terminal == "C"
    counted = f"counted as elbows, {pressure_words(2 * one)} on the critical path; by"
    assert counted in _bends_said(found)


def test_the_path_with_the_most_bends_is_told_beside_the_critical_one() -> None:
    found = _branches({"A": 1, "B": 4})
    terminals = {
        name: replace(spec, loss=200.0 if name == "A" else None)
        for name, spec in found.graph.schedule.terminals.items()
    }
    plan = replace(found.graph.schedule, terminals=terminals)
    found = analyse(build(found.graph.drawing, plan))
    assert found.critical_terminal == "A"
    one = float(found.elements.loss[found.elements.kind == Kind.BEND][0])
    assert (
        f"{pressure_words(one)} on the critical path and {pressure_words(4 * one)} on "
        "that of 'B', where it is most" in _bends_said(found)
    )
    terminals["trunk"] = replace(terminals["trunk"], loss=400.0)
    plan = replace(found.graph.schedule, terminals=terminals)
    found = analyse(build(found.graph.drawing, plan))
    assert found.critical_terminal == "trunk"
    assert (
        f"{pressure_words(4 * one)} on the path of 'B', none on the critical one"
        in _bends_said(found)
    )


def test_a_bend_of_flexible_duct_is_no_elbow_of_a_shop() -> None:
    found = _branches({"A": 3}, 0.15)
    rows = np.flatnonzero(found.elements.kind == Kind.BEND).tolist()
    assert {found.words(row) for row in rows} == {
        "bend of flexible duct, 90°, counted as a smooth radius elbow, r/D 1"
    }
    changes = [remedy.what for remedy in remedies(found)]
    assert changes
    assert not [what for what in changes if "bend" in what]
    rigid = replace(found.graph.schedule, run_materials={}, run_compression={})
    hard = analyse(build(found.graph.drawing, rigid))
    assert [one.what for one in remedies(hard) if "bend" in one.what]


@pytest.mark.parametrize(
    "rule",
    [
        ElbowRule(ElbowConstruction.MITRED, Basis.DECLARED),
        ElbowRule(ElbowConstruction.SINGLE_VANES, Basis.DECLARED),
        ElbowRule(ElbowConstruction.SEGMENTED, Basis.DECLARED, 1.5, pieces=5),
    ],
)
def test_the_rule_of_elbows_does_not_reach_bends_of_flexible_duct(
    rule: ElbowRule,
) -> None:
    """They are smooth ones of r/D 1, which is assumed, not declared."""
    plan = replace(_branches({"A": 1}).graph.schedule, elbow_default=rule)
    found = analyse(build(_branches({"A": 1}).graph.drawing, plan))
    (row,) = np.flatnonzero(found.elements.kind == Kind.BEND).tolist()
    assert found.elements.basis[row] == int(Basis.ASSUMED)
    smooth = analyse(
        build(found.graph.drawing, replace(plan, elbow_default=ElbowRule()))
    )
    np.testing.assert_array_equal(found.elements.loss, smooth.elements.loss)
    listed = [a.what for a in found.assumptions if "elbows" in a.what]
    assert [what.partition(",")[0] for what in listed] == [
        "bends of flexible duct counted as smooth elbows"
    ]
    effect = next(e for e in effects(found) if "bends of" in e.assumption.what)
    assert effect.loss is not None
    assert effect.loss > 0.0


def test_a_bend_of_flexible_duct_has_the_radius_drawn() -> None:
    turn = np.radians(np.linspace(0.0, 90.0, 7))
    arc = [[1.0, 1.0 + 0.2 * np.sin(a), 0.2 * (1 - np.cos(a))] for a in turn]
    drawing = drawing_from_runs(
        [
            ("trunk", np.array([[0, 0, 0], [2.0, 0, 0]]), round_section(0.3)),
            ("A", np.array([[1.0, 0, 0], *arc, [1.0, 1.2, 1.0]]), round_section(0.15)),
        ],
        attributes={"trunk": Attributes(source=True, source_at_end=False)},
    )
    mitred = ElbowRule(ElbowConstruction.MITRED, Basis.DECLARED)
    plan = replace(_branches({"A": 1}).graph.schedule, elbow_default=mitred)
    found = analyse(build(drawing, plan))
    (row,) = np.flatnonzero(found.elements.kind == Kind.BEND).tolist()
    assert found.words(row) == (
        "bend of flexible duct, 90°, counted as a smooth radius elbow, r/D 1.33"
    )
    assert "they lose" in _bends_said(found)
    assert not [one for one in found.graph.notices if "drawn as an arc" in one.what]
    assert "bends of flexible duct counted as smooth elbows" in {
        assumption.what for assumption in found.assumptions
    }


def test_an_exception_says_how_a_bend_of_flexible_duct_is_made(tmp_path: Path) -> None:
    """With a construction of its own; a radius alone leaves it smooth."""
    plan = tmp_path / "plan.toml"
    head = '[elbows]\nconstruction = "segmented"\nradius_ratio = 1.5\n'
    base = _branches({"A": 1}).graph
    for said, words in (
        ("radius_ratio = 1.25", "smooth radius elbow, r/D 1.25"),
        ('construction = "mitred"', "mitred elbow"),
        ('construction = "segmented"', "segmented elbow, 5 pieces, r/D 1"),
    ):
        plan.write_text(f'{head}[[elbows.exception]]\nrun = "A"\n{said}\n')
        read_rules = read_schedule(plan)
        rules = replace(
            base.schedule,
            elbow_default=read_rules.elbow_default,
            elbow_exceptions=read_rules.elbow_exceptions,
        )
        found = analyse(build(base.drawing, rules))
        (row,) = np.flatnonzero(found.elements.kind == Kind.BEND).tolist()
        assert found.words(row) == (f"bend of flexible duct, 90°, counted as a {words}")
        assert ("no factor is published" in _bends_said(found)) == ("mitred" in words)
        assert "lose 0 Pa" not in _bends_said(found)


def test_the_published_factor_is_told_within_the_radii_tested_alone() -> None:
    base = _branches({"A": 1}).graph
    for ratio, is_known in ((0.95, False), (1.0, True), (1.5, True), (1.6, False)):
        rule = ElbowRule(radius_ratio=ratio)
        plan = replace(base.schedule, elbow_exceptions={("A", 0): rule})
        said = _bends_said(analyse(build(base.drawing, plan)))
        assert ("they lose" in said) == is_known
        assert ("no factor is published" in said) != is_known
    loose = replace(base.schedule, run_compression={"A": 0.04})
    assert "as it is compressed" in _bends_said(analyse(build(base.drawing, loose)))
    tight = _bends_said(analyse(build(base.drawing, base.schedule)))
    assert "as it is compressed" not in tight


def test_flexible_duct_with_sides_is_told() -> None:
    """Also the bends of such duct are, of which nothing is published."""
    base = _branches({"A": 1, "B": 1}).graph
    for section, told in ((rectangular(0.15, 0.1), True), (round_section(0.15), False)):
        plan = replace(
            base.schedule, sections={"A": section, "trunk": rectangular(1, 1)}
        )
        graph = build(base.drawing, plan)
        said = [one for one in graph.notices if "flexible duct is round" in one.what]
        assert len(said) == told
        assert all(one.where.endswith("run 'A'") for one in said)
        bends = [flag for flag in analyse(graph).flags if "bends of flex" in flag.what]
        unknown = [flag for flag in bends if "no factor is published" in flag.what]
        assert [flag.where for flag in unknown] == ["run 'A'"] * told
        assert len(bends) == 1 + told


@pytest.mark.parametrize(
    ("words", "material", "is_told"),
    [
        ({}, FLEXIBLE, True),
        ({"material": "galvanised steel"}, FLEXIBLE, True),
        ({"run_materials": {"A": METALLIC}}, METALLIC, False),
        ({"run_materials": {"A": FLEXIBLE}}, FLEXIBLE, False),
        ({"material": METALLIC}, METALLIC, False),
        ({"run_materials": {"A": "galvanised steel"}}, "galvanised steel", False),
    ],
)
def test_a_run_drawn_flexible_is_so_and_what_it_is_of_is_told(
    words: dict[str, Any], material: str, is_told: bool
) -> None:
    base = _branches({"A": 1, "B": 1}).graph
    silent = replace(base.schedule, run_materials={}, run_compression={})
    drawing = base.drawing
    attributes = dict(drawing.attributes)
    run = list(drawing.names).index("A")
    attributes[run] = replace(attributes.get(run, Attributes()), flexible=True)
    drawing = replace(drawing, attributes=attributes)
    found = analyse(build(drawing, replace(silent, **words)))
    declared = {"run_materials": {"A": material}, **words}
    wanted = analyse(build(base.drawing, replace(silent, **declared)))
    assert (found.elements.loss == wanted.elements.loss).all()
    told = [
        one for one in found.graph.notices if "does not say the material" in one.what
    ]
    assert [one.what.split()[0] for one in told] == ["'A'"] * is_told
    assert all('[duct.runs."A"]' in one.remedy for one in told)
    listed = [e for e in effects(found) if "drawn as flexible" in e.assumption.what]
    assert [(e.loss or 0.0) > 0.0 for e in listed] == [True] * is_told  # of metal
    made = {row.material for row in duct_schedule(found) if "(assumed)" in row.material}
    assert (f"{FLEXIBLE} (assumed)" in made) == is_told


@pytest.mark.parametrize("shape", [Shape.RECTANGULAR, Shape.OVAL])
def test_flexible_duct_stays_round_whatever_shape_is_asked_for(shape: Shape) -> None:
    base = _branches({"A": 1, "B": 1}).graph
    soft = replace(
        base.schedule,
        run_materials={"A": FLEXIBLE},
        run_compression={},
        elbow_default=ElbowRule(),
    )
    aim = Aim(rate=2.0, shape=shape)
    found = proportion(base.drawing, soft, aim)
    made = {choice.run: choice.chosen.shape for choice in found.choices}
    assert made == {"trunk": shape, "A": Shape.ROUND, "B": shape}
    (said,) = (one.what for one in found.notices if "flexible" in one.what)
    assert said == "flexible duct is round, and so 'A' is, whatever shape is asked for"
    for drawn in (replace(aim, shape=None), replace(aim, shape=Shape.ROUND)):
        found = proportion(base.drawing, soft, drawn)
        assert not [one for one in found.notices if "flexible" in one.what]


def test_pulling_flexible_duct_tight_is_offered_with_what_it_wins() -> None:
    base = _branches({"A": 1, "B": 1}).graph
    plan = replace(base.schedule, run_compression={"A": 0.15, "B": 0.0})
    loose = analyse(build(base.drawing, plan))
    assert loose.critical_terminal == "A"
    (said,) = [one for one in remedies(loose) if "pull" in one.what]
    assert said.at == "A"
    assert said.what == "pull the flexible duct tight, which is 15 % compressed"
    tight = analyse(build(base.drawing, replace(plan, run_compression={"A": 0.0})))
    assert said.critical == pytest.approx(tight.critical_loss, rel=1e-12)
    assert said.won == pytest.approx(loose.critical_loss - tight.critical_loss)
    assert not [one for one in remedies(tight) if "pull" in one.what]
    # What is said of all of it is so of each; no larger section is needed for it.
    every = replace(plan, run_compression={}, compression=0.15)
    hood = replace(every, losses={"cyclone": 9.0}, source=SourceSpec(is_return=True))
    for one in (every, hood):
        found = analyse(build(base.drawing, one))
        runs = {cure.at for cure in remedies(found) if "pull" in cure.what}
        assert runs == {found.critical_terminal}


def test_a_schedule_of_ducts_says_how_much_each_is_compressed() -> None:
    base = _branches({"A": 1, "B": 1}).graph
    plan = replace(base.schedule, run_compression={"A": 0.04, "B": 0.0})
    found = analyse(build(base.drawing, plan))
    wanted = {"trunk": None, "A": 0.04, "B": 0.0}
    for row in results.ducts(found):
        assert row["compression"] == wanted[row["name"]]
    html = report.report_html(
        [[Option("a", found)]], [[()]], (), display.METRIC, {}, picture=False
    )
    assert html.count(f"M2: {FLEXIBLE}, compressed by 4 %;") == 1
    assert html.count(", compressed by") == 1
    assert html.count(">M2<") == 1  # a run with one bend: its two pieces are alike


def _collar(flow: float, limits: RunLimits, pressed: float = 0.04) -> Proportions:
    """A trunk with a collar of D200 and flexible duct behind it, sized at 2.7 Pa/m."""
    drawing = drawing_from_runs(
        [
            ("trunk", np.array([[0, 0, 3], [6.0, 0, 3]]), rectangular(0.4, 0.2)),
            ("collar", np.array([[3, 0, 3], [3, 0.6, 3]]), round_section(0.2)),
            ("soft", np.array([[3, 0.6, 3], [3, 3, 3]]), round_section(0.2)),
        ]
    )
    plan = Schedule(
        source=SourceSpec(at=(0.0, 0.0, 3.0)),
        terminals={"trunk": TerminalSpec(0.2), "soft": TerminalSpec(flow)},
        run_materials={"soft": FLEXIBLE},
        run_compression={"soft": pressed},
        limits={"collar": limits},
        checks=ChecksSpec(use="residential"),
    )
    return proportion(drawing, plan, Aim(rate=2.7))


@pytest.mark.parametrize("flow", [0.03, 0.05, 0.07])
def test_a_collar_stays_as_large_as_the_flexible_duct_behind_it_needs(
    flow: float,
) -> None:
    """Whether the rate or the velocity asks for it, one rule holds for all of them."""
    found = _collar(flow, RunLimits())
    made = {choice.run: choice for choice in found.choices}
    assert made["collar"].chosen.area >= made["soft"].chosen.area * (1 - 1e-9)
    assert made["collar"].chosen.area <= round_section(0.2).area * (1 + 1e-9)
    assert made["soft"].gradient <= 2.7
    assert made["soft"].limit not in UNMET
    assert made["collar"].limit == "the flexible duct behind it"


@pytest.mark.parametrize("flow", [0.02, 0.03])
def test_flexible_duct_behind_a_collar_that_is_held_keeps_the_size_that_serves(
    flow: float,
) -> None:
    """As drawn it keeps the rate, and no larger than its collar it would not."""
    found = _collar(flow, RunLimits(widest=0.101))
    made = {choice.run: choice for choice in found.choices}
    assert made["collar"].chosen == round_section(0.1)
    assert made["soft"].chosen == round_section(0.2)
    assert "left as it was" in made["soft"].limit
    assert made["soft"].gradient <= 2.7


def test_rigid_duct_is_not_compressed(tmp_path: Path) -> None:
    text = (HOUSE.parent / "house.schedule.toml").read_text(encoding="utf-8")
    plan = tmp_path / "plan.toml"
    plan.write_text(
        text.replace("[elbows]", '[duct.runs.bath]\ncompression = "4 %"\n[elbows]', 1),
        encoding="utf-8",
    )
    with pytest.raises(BadInput, match=r"plan.toml, \[duct.runs\] bath: .*galvanised"):
        analyse(build(read(HOUSE), with_airflows(read_schedule(plan))[0]))


@pytest.mark.parametrize("drawn", [False, True])
def test_a_run_with_a_roughness_of_its_own_is_rigid_everywhere(drawn: bool) -> None:
    """What is said of the run goes before the material of all, wherever it is asked."""
    attributes = {"a": Attributes(source=True, source_at_end=False)}
    if drawn:
        attributes["b"] = Attributes(roughness=9e-5)
    drawing = drawing_from_runs(
        [
            ("a", np.array([[0, 0, 0], [3.0, 0, 0]]), round_section(0.2)),
            ("b", np.array([[3.0, 0, 0], [9.0, 0, 0]]), round_section(0.2)),
        ],
        attributes=attributes,
    )
    plan = Schedule(
        terminals={"b": TerminalSpec(0.1)},
        material="flexible duct, nonmetallic with wire, fully extended",
        compression=0.1,
        run_roughness={} if drawn else {"b": 9e-5},
    )
    found = analyse(build(drawing, plan))
    assert found.conditions.is_flexible.tolist() == [True, False]
    steel = analyse(
        build(
            drawing,
            replace(
                plan, material=None, compression=None, roughness=9e-5, run_roughness={}
            ),
        )
    )
    assert found.state.gradient[1] == pytest.approx(steel.state.gradient[1], rel=1e-12)
    length = next(c for c in checks(found) if c.rule == "length of flexible duct")
    assert length.failing == ("a",)
    assert [row.material for row in duct_schedule(found)] == [
        plan.material,
        "roughness 0.09 mm (0.0035 in)",
    ]
