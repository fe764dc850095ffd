"""Coils, silencers and dampers that a schedule puts into single runs."""

import re
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from elbowroom.layout import (
    AirSpec,
    Attributes,
    BadInput,
    ChecksSpec,
    ComponentSpec,
    FanSpec,
    Schedule,
    SourceSpec,
    TerminalSpec,
    build,
    drawing_from_runs,
    read_schedule,
    rectangular,
    round_section,
    solids,
)
from elbowroom.physics import (
    Aim,
    Analysis,
    Effect,
    Kind,
    Option,
    analyse,
    checks,
    effects,
    operate,
    proportion,
    quantities,
    static_pressure,
    straight_after,
)
from elbowroom.viewer import display, layout_view, report, results

TRUNK, SIDE = rectangular(0.6, 0.3), round_section(0.25)
COIL = ComponentSpec("side", "reheat coil", loss=35.0)


def found(*components: ComponentSpec, ring: bool = False, **said: object) -> Analysis:
    runs = [
        ("trunk", np.array([[0.0, 0, 0], [10, 0, 0]]), TRUNK),
        ("side", np.array([[4.0, 0, 0], [4, 4, 0]]), SIDE),
    ]
    flows = {"trunk": 0.6, "side": 0.2}
    if ring:
        turns = [[0.0, 0, 0], [0, 8, 0], [10, 8, 0], [10, 0, 0]]
        runs.append(("back", np.array(turns), TRUNK))
        runs.append(("tail", np.array([[10.0, 0, 0], [14, 0, 0]]), SIDE))
        runs.insert(0, ("in", np.array([[-4.0, 0, 0], [0, 0, 0]]), TRUNK))
        flows = {"tail": 0.3, "side": 0.2}
    drawing = drawing_from_runs(
        runs,
        flows=flows,
        attributes={runs[0][0]: Attributes(source=True, source_at_end=False)},
    )
    if not ring:
        drawing.flow[0] = np.nan
        said["terminals"] = {"trunk": TerminalSpec(0.4)}
    plan = Schedule(components=components, **said)  # type: ignore[arg-type]
    return analyse(build(drawing, plan))


def of_components(analysis: Analysis) -> list[int]:
    return np.flatnonzero(analysis.elements.kind == Kind.COMPONENT).tolist()


def test_a_declared_loss_counts_on_its_branch_alone() -> None:
    plain, coil = found(), found(COIL)
    names = plain.graph.terminals.name
    more = dict(zip(names, (coil.path_loss - plain.path_loss).tolist(), strict=True))
    assert more == pytest.approx({"trunk": 0.0, "side": 35.0})
    (row,) = of_components(coil)
    assert coil.name(row) == "side"
    assert coil.words(row) == "reheat coil, as declared"
    assert coil.critical_terminal == "side"
    fittings = of_components(coil) + [r for r in coil.path(coil.critical) if r != row]
    spent = coil.elements.loss[[r for r in fittings if coil.elements.length[r] == 0.0]]
    assert coil.system.fitting_loss == pytest.approx(float(spent.sum()))


def test_a_coefficient_is_on_the_velocity_of_its_duct() -> None:
    """Loss = C rho V²/2, the definition."""
    damper = found(ComponentSpec("side", "fire damper", coefficient=0.19))
    (row,) = of_components(damper)
    area = np.pi * 0.25**2 / 4
    pv = 0.5 * damper.conditions.air.density * (0.2 / area) ** 2
    assert damper.elements.loss[row] == pytest.approx(0.19 * pv)
    assert damper.elements.coefficient[row] == pytest.approx(0.19)


def test_a_loss_at_another_airflow_goes_with_its_square() -> None:
    at = found(ComponentSpec("side", "coil", loss=20.0, airflow=0.25))
    (row,) = of_components(at)
    assert at.elements.loss[row] == pytest.approx(20.0 * (0.2 / 0.25) ** 2)


FAR = ComponentSpec("trunk", "silencer", loss=9.0, at=(9.0, 0.2, 0.0))
NEAR = ComponentSpec("trunk", "coil", loss=7.0)
FIRST = ComponentSpec("trunk", "damper", loss=2.0, at=(0.5, 0.0, 0.0))


def test_several_in_one_duct_are_a_row_each_in_the_order_of_their_places() -> None:
    analysis, plain = found(NEAR, FAR, FIRST), found()
    rows = of_components(analysis)
    assert [analysis.words(row) for row in rows] == [
        "damper at (0.5, 0, 0) m, as declared",
        "coil, as declared",
        "silencer at (9, 0.2, 0) m, as declared",
    ]
    assert [analysis.ids[row] for row in rows] == [f"component-{n}" for n in (1, 2, 3)]
    assert analysis.elements.identifier(rows[1]) == "component-2"
    assert analysis.elements.loss[rows] == pytest.approx([2.0, 7.0, 9.0])
    more = (analysis.path_loss - plain.path_loss).tolist()
    assert sorted(more) == pytest.approx([9.0, 18.0])  # the side has not the silencer
    for terminal in range(2):
        way = analysis.path(terminal)
        assert analysis.elements.loss[way].sum() == pytest.approx(
            analysis.path_loss[terminal]
        )


def test_every_component_is_ordered_and_none_is_a_fitting_to_make() -> None:
    made, plain = quantities(found(NEAR, FAR, FIRST)), quantities(found())
    counted = {row.what: row.count for row in made.fittings}
    for spec in (NEAR, FAR, FIRST):
        assert counted[f"{spec.name}, as declared"] == 1
    assert made.fitting_count == plain.fitting_count


def test_every_component_has_a_collar_at_its_place_in_the_colour_of_its_loss() -> None:
    many = [replace(FIRST, name=f"damper {n}", at=None) for n in range(30)]
    analysis = found(NEAR, FAR, FIRST, *many)
    graph, rows = analysis.graph, of_components(analysis)
    shapes = solids(graph, collars=True)
    assert "component" not in solids(graph).kind  # what clearances are measured from
    owner = layout_view.pieces(analysis, shapes)
    made = np.flatnonzero(np.array(shapes.kind) == "component")
    assert sorted(owner[made].tolist()) == rows
    tubes = shapes.tubes
    begin, end = tubes.offsets[made], tubes.offsets[made + 1]
    spans = np.stack([tubes.centre[begin, 0], tubes.centre[end - 1, 0]], axis=1)
    middle = dict(zip(owner[made].tolist(), spans.mean(axis=1).tolist(), strict=True))
    assert middle[rows[-1]] == pytest.approx(9.0)
    first = spans[:-1]  # of the duct before the branch, 4 m long
    assert (first[0, 0] >= 0.0, first[-1, 1] <= 4.0) == (True, True)
    assert (first[1:, 0] > first[:-1, 1]).all()  # none within another
    assert (tubes.width[begin + 1] > TRUNK.width).all()
    shown, of_piece = layout_view.panel(analysis, "loss", display.METRIC, "a", "")
    assert of_piece.tolist() == owner.tolist()
    assert shown.value[made] == pytest.approx(analysis.elements.loss[owner[made]])
    (label,) = (one for one in shown.labels if one.text.startswith("silencer"))
    assert of_piece[list(label.pieces)].tolist() == [rows[-1]]
    assert label.point == pytest.approx([9.0, 0.0, 0.0])
    grey, _ = layout_view.panel(analysis, "per-metre", display.METRIC, "a", "")
    assert np.isnan(grey.value[made]).all()


def test_a_collar_stands_on_a_bend_where_its_duct_is_nothing_else() -> None:
    """An arc of 2 m and no straight behind it."""
    angle = np.linspace(0.0, np.pi / 2, 40)
    arc = np.stack([np.sin(angle), 1.0 - np.cos(angle), 0 * angle], axis=1) * 2.0
    points = np.concatenate([[[-5.0, 0.0, 0.0]], arc])
    drawing = drawing_from_runs(
        [("hook", points, SIDE)],
        attributes={"hook": Attributes(source=True, source_at_end=False)},
    )
    coil = ComponentSpec("hook", "coil", loss=5.0, at=(2.0, 2.0, 0.0))
    plan = Schedule(components=(coil,), terminals={"hook": TerminalSpec(0.2)})
    shapes = solids(build(drawing, plan), collars=True)
    assert shapes.kind[-1] == "component"
    rings = shapes.tubes.centre[shapes.tubes.offsets[-2] :]
    assert np.linalg.norm(rings - [2.0, 2.0, 0.0], axis=1).max() < 0.2
    assert np.ptp(rings, axis=0).max() > 0.05


def test_standard_air_thins_a_loss_but_no_coefficient() -> None:
    """At 2438.4 m and 20 °C 0.8944 kg/m³, US Standard Atmosphere, over 1.2."""
    high = AirSpec(293.15, 2438.4, losses_at="standard air")
    (row,) = of_components(found(COIL, air=high))
    assert found(COIL, air=high).elements.loss[row] == pytest.approx(
        35.0 * 0.8944 / 1.2, rel=1e-3
    )
    damper = found(ComponentSpec("side", "x", coefficient=2.0), air=high)
    assert damper.elements.coefficient[of_components(damper)] == pytest.approx(2.0)


def test_airflows_settle_with_the_square_of_the_loss() -> None:
    plain = found(COIL)
    pressure = plain.critical_loss - plain.system.outlet_velocity_pressure
    settled = operate(
        found(COIL, fan=FanSpec(external_static_pressure=pressure)), "set"
    )
    assert settled.flow == pytest.approx(plain.graph.terminals.flow, rel=1e-6)
    doubled = operate(found(COIL, fan=FanSpec(total_pressure=400.0)))
    alone = operate(found(fan=FanSpec(total_pressure=400.0)))
    side = list(plain.graph.terminals.name).index("side")
    assert doubled.flow[side] < 0.8 * alone.flow[side]


def test_sizes_keep_what_is_declared() -> None:
    drawing = found(COIL).graph.drawing
    plan = found(COIL).graph.schedule
    sized = proportion(drawing, plan, Aim(rate=0.4)).after
    (row,) = of_components(sized)
    assert sized.elements.loss[row] == pytest.approx(35.0)


def test_in_a_ring_a_loss_needs_its_airflow() -> None:
    with pytest.raises(BadInput, match="follows from the loops"):
        found(ComponentSpec("back", "coil", loss=5.0), ring=True)
    coil = ComponentSpec("trunk", "coil", loss=30.0, airflow=0.3, at=(9.0, 0.0, 0.0))
    plain, other = found(ring=True), found(coil, ring=True)
    back = list(plain.graph.drawing.names).index("back")
    air = [
        float(one.state.flow[one.graph.ducts.run == back].max())
        for one in (plain, other)
    ]
    assert air[1] > air[0] + 0.01  # the other way round takes what the coil keeps off
    (row,) = of_components(other)
    through = float(other.elements.flow[row])
    assert other.elements.loss[row] == pytest.approx(30.0 * (through / 0.3) ** 2)


@pytest.mark.parametrize(
    ("lines", "said"),
    [
        ('run = "side"', "it says nothing of what it loses"),
        ('loss = "3 Pa"', "it needs the run that it stands in"),
        ('run = "side"\nloss = "3 Pa"\ncoefficient = 1', "are both given; delete one"),
        ('run = "side"\nloss = 3', "has no unit"),
        ('run = "side"\nloss = "-3 Pa"', "outside 0 to 100000 Pa (401.46 in.wg)"),
        ('run = "side"\ncoefficient = "1 Pa"', "is no number from 0"),
        ('run = "side"\ncoefficient = 1\nairflow = "1 L/s"', "holds at any airflow"),
        ('run = "side"\nlos = "3 Pa"', "did you mean 'loss'"),
    ],
)
def test_what_is_refused(tmp_path: Path, lines: str, said: str) -> None:
    path = tmp_path / "s.toml"
    path.write_text(f"[[component]]\n{lines}\n")
    with pytest.raises(BadInput) as caught:
        read_schedule(path)
    assert said in str(caught.value)


def test_a_component_in_no_run_is_refused_and_one_that_air_passes_by() -> None:
    with pytest.raises(BadInput, match="the drawing has no run 'sode'"):
        found(ComponentSpec("sode", "coil", loss=3.0))


def test_the_keys_are_read(tmp_path: Path) -> None:
    path = tmp_path / "s.toml"
    path.write_text(
        '[[component]]\nrun = "side"\nname = "coil"\nloss = "0.1 in.wg"\n'
        'airflow = "400 cfm"\nat = ["4 m", "1 m", "0 m"]\n'
        '[[component]]\nrun = "trunk"\ncoefficient = 0.5\n'
    )
    one, other = read_schedule(path).components
    assert (one.run, one.name, one.coefficient, one.at) == (
        "side",
        "coil",
        None,
        (4.0, 1.0, 0.0),
    )
    assert one.loss == pytest.approx(24.908891)
    assert one.airflow == pytest.approx(400 * 0.3048**3 / 60)
    assert other == ComponentSpec("trunk", "component", coefficient=0.5)


def test_a_picture_names_what_stands_in_a_duct() -> None:
    def labels(analysis: Analysis) -> list[str]:
        made, _ = layout_view.panel(analysis, "loss", display.METRIC, "a", "")
        return [label.text for label in made.labels]

    assert labels(found(COIL))[0] == "reheat coil, side\n35.0 Pa"
    assert not [text for text in labels(found()) if "coil" in text]


def test_a_component_declares_what_the_budget_asks_for() -> None:
    fan = FanSpec(external_static_pressure=150.0)
    asked = [any("coil" in flag.what for flag in one.flags if flag.where == "budget")
             for one in (found(fan=fan), found(COIL, fan=fan))]  # fmt: skip
    assert asked == [True, False]


def test_a_place_beside_its_run_is_refused() -> None:
    with pytest.raises(BadInput, match="no piece of run 'side' is there; the nearest"):
        found(ComponentSpec("side", "coil", loss=3.0, at=(4.0, 9.0, 0.0)))


def test_a_run_with_branches_asks_for_the_place() -> None:
    asked = found(ComponentSpec("trunk", "coil", loss=3.0))
    (said,) = [flag for flag in asked.flags if "has branches" in flag.what]
    assert "600 L/s (1271 cfm)" in said.what
    for spec in (COIL, ComponentSpec("trunk", "coil", loss=3.0, at=(9.0, 0.0, 0.0))):
        assert not [flag for flag in found(spec).flags if "has branches" in flag.what]


def test_what_is_assumed_of_declared_losses_counts_components() -> None:
    high = AirSpec(293.15, 2438.4)
    said = [one for one in found(COIL, air=high).assumptions if "losses" in one.what]
    assert [one.elements for one in said] == [1]


def test_beside_a_ring_a_loss_has_the_airflow_of_its_terminals() -> None:
    coil = ComponentSpec("tail", "coil", loss=12.0)
    analysis = found(coil, ring=True)
    (row,) = of_components(analysis)
    assert analysis.elements.loss[row] == pytest.approx(12.0)


@pytest.mark.parametrize(("share", "is_told"), [(1.005, False), (1.02, True)])
def test_a_loss_at_another_airflow_lists_the_square_law(
    share: float, is_told: bool
) -> None:
    """Were it laminar, it would go with the airflow itself."""
    duct = float(found(COIL).elements.flow[of_components(found(COIL))[0]])
    coil = replace(COIL, airflow=share * duct)
    analysis = found(coil)
    (row,) = of_components(analysis)
    loss = float(COIL.loss or 0.0)
    assert analysis.elements.loss[row] == pytest.approx(loss / share**2)
    told = [e for e in effects(analysis) if "by its square" in e.assumption.what]
    assert len(told) == is_told
    if is_told:
        linear = found(replace(COIL, loss=loss / share))
        assert told[0].loss == pytest.approx(
            linear.critical_loss - analysis.critical_loss
        )
        assert told[0].loss is not None
        assert told[0].loss > 0.1
    plain = (COIL, replace(COIL, loss=None, coefficient=1.0))
    for one in plain:
        words = [a.what for a in found(one).assumptions]
        assert not [what for what in words if "by its square" in what]


def test_straight_duct_behind_a_component_begins_at_its_place() -> None:
    stands = [
        ComponentSpec("side", name, loss=9.0, at=(4.0, y, 0.0))
        for name, y in (("damper", 3.0), ("coil", 1.0))
    ]
    analysis = found(*stands)
    rows = results.elements(analysis)
    after = {row["kind"].split()[0]: row["straight_after_m"] for row in rows}
    assert after["coil"] == pytest.approx(2.0)
    assert after["damper"] == pytest.approx(1.0)


def test_straight_duct_behind_what_stands_in_several_runs() -> None:
    """Up to the next fitting, in however many runs the straight is drawn."""
    cut = rectangular(0.4, 0.3)
    coil, grid = (
        ComponentSpec(run, what, loss=9.0, at=(x, 0.0, 0.0))
        for run, what, x in (("one", "coil", 2.0), ("three", "grid", 7.0))
    )

    def after(*cuts: float) -> list[float]:
        ends = [0.0, *cuts, 9.0]
        lines = [
            (name, np.array([[a, 0, 0], [b, 0, 0]]), cut)
            for name, (a, b) in zip(
                ("one", "two", "three"), pairwise(ends), strict=False
            )
        ]
        stand = replace(coil, run=lines[0][0]), replace(grid, run=lines[-1][0])
        lines += [("on", np.array([[9.0, 0, 0], [9, 4, 0], [12, 4, 0]]), cut)]
        plan = Schedule(components=stand, terminals={"on": TerminalSpec(0.4)})
        first = {"one": Attributes(source=True, source_at_end=False)}
        found = analyse(build(drawing_from_runs(lines, attributes=first), plan))
        length = straight_after(found)
        kinds = int(Kind.BEND), int(Kind.COMPONENT)
        rows = np.isin(found.elements.kind, kinds).nonzero()[0]
        return [float(length[row]) for row in rows]

    whole = after()
    assert whole[0] == pytest.approx(5.0)  # from the coil to the grid
    assert after(3.0, 5.0) == pytest.approx(whole)
    assert after(2.5, 3.0) == pytest.approx(whole)


def test_a_length_from_an_assumed_place_is_none() -> None:
    """Of a damper that nobody placed, and of a coil before it: neither is measured."""
    coil = ComponentSpec("side", "coil", loss=9.0, at=(4.0, 1.0, 0.0))
    last = ComponentSpec("side", "grid", loss=9.0, at=(4.0, 3.0, 0.0))
    rows = results.elements(
        found(coil, ComponentSpec("side", "damper", loss=9.0), last)
    )
    after = {
        row["kind"].split()[0].rstrip(","): row["straight_after_m"] for row in rows
    }
    assert after["coil"] is None
    assert after["damper"] is None
    assert after["grid"] == pytest.approx(1.0)


def test_a_place_that_nobody_says_is_listed_where_its_run_has_more_than_one() -> None:
    def listed(*specs: ComponentSpec) -> list[Effect]:
        every = effects(found(*specs))
        return [one for one in every if "first piece" in one.assumption.what]

    (said,) = listed(NEAR, FAR, COIL)  # COIL's run has one piece, FAR has its place
    assert said.assumption.elements == 1
    moved = replace(NEAR, at=(7.0, 0.0, 0.0))
    otherwise = found(moved, FAR, COIL).critical_loss
    assert said.loss == pytest.approx(otherwise - found(NEAR, FAR, COIL).critical_loss)
    assert not listed(COIL, FAR)
    middle = results.elements(found(NEAR, FAR, COIL))
    assert [row["straight_after_m"] for row in middle if "coil" in row["kind"]] == [
        None,
        None,
    ]


def test_a_place_is_not_listed_where_a_run_only_bends_or_each_way_has_its_own() -> None:
    coil = ComponentSpec("duct", "coil", loss=5.0)
    cut = rectangular(0.4, 0.3)

    def listed(*runs: tuple[str, list[list[float]]], **more: TerminalSpec) -> int:
        plan = Schedule(components=(coil,), terminals=more)
        lines = [(name, np.array(points), cut) for name, points in runs]
        first = {runs[0][0]: Attributes(source=True, source_at_end=False)}
        found = analyse(build(drawing_from_runs(lines, attributes=first), plan))
        every = effects(found)
        return sum("first piece" in one.assumption.what for one in every)

    bent = ("duct", [[0.0, 0.0, 0.0], [4.0, 0.0, 0.0], [4.0, 4.0, 0.0]])
    assert listed(bent, duct=TerminalSpec(0.4)) == 0
    # A run that a stem meets in its middle: as much air, but on another path.
    stem = ("stem", [[0.0, 0.0, 0.0], [4.0, 0.0, 0.0]])
    bar = ("duct", [[4.0, -4.0, 0.0], [4.0, 0.0, 0.0], [4.0, 4.0, 0.0]])
    ends = {
        "a": TerminalSpec(0.2, at=(4.0, -4.0, 0.0)),
        "b": TerminalSpec(0.2, at=(4.0, 4.0, 0.0)),
    }
    assert listed(stem, bar, **ends) == 1


def test_a_report_measures_from_the_places_that_are_said_alone() -> None:
    """The column is that of the JSON: behind a component it begins at its place."""
    placed = ComponentSpec("side", "damper", loss=9.0, at=(4.0, 3.0, 0.0))
    for spec, length in ((placed, "1.0"), (replace(placed, at=None), "")):
        option = Option("a", found(spec))
        html = report.report_html(
            [[option]], [[()]], (), display.METRIC, {}, picture=False
        )
        rows = [
            re.findall(r"<td[^>]*>(.*?)</td>", line, re.DOTALL)
            for line in re.findall("<tr>.*?</tr>", html, re.DOTALL)
        ]
        (cells,) = [row for row in rows if len(row) == 11 and "damper" in row[1]]
        assert cells[8] == length


def _leaking(cuts: list[float], is_return: bool, backward: bool) -> Analysis:
    """A line with a smooth bend, cut at some lengths; coils at two places of it."""
    corner, end = 6.0, 20.0  # m along the line
    stops = np.array([0.0, *cuts, end])
    runs = []
    for name, (first, last) in zip("abcdef", pairwise(stops.tolist()), strict=False):
        at = np.array([first, *([corner] if first < corner < last else []), last])
        points = np.zeros((len(at), 3))
        points[:, 0] = np.minimum(at, corner)
        points[:, 1] = np.maximum(at - corner, 0.0)
        runs.append((name, points[::-1] if backward else points, SIDE))

    def of(length: float, place: tuple[float, float, float]) -> ComponentSpec:
        name = runs[int(np.searchsorted(stops[1:], length))][0]
        return ComponentSpec(name, "coil", loss=150.0, at=place)

    plan = Schedule(
        terminals={runs[-1][0]: TerminalSpec(0.3, 20.0)},
        checks=ChecksSpec(leakage="B"),
        components=(of(16.0, (6.0, 10.0, 0.0)), of(3.0, (3.0, 0.0, 0.0))),
        source=SourceSpec(is_return=is_return),
    )
    source = {"a": Attributes(source=True, source_at_end=backward)}
    return analyse(build(drawing_from_runs(runs, attributes=source), plan))


def _leakage(analysis: Analysis) -> float:
    (found,) = (one for one in checks(analysis) if one.rule.startswith("leakage"))
    return found.value


@pytest.mark.parametrize("is_return", [False, True])
@pytest.mark.parametrize("backward", [False, True])
@pytest.mark.parametrize("cuts", [[1.0], [3.0], [4.5], [10.0], [2.0, 9.0, 17.0]])
def test_a_line_with_coils_leaks_the_same_wherever_it_is_cut(
    cuts: list[float], is_return: bool, backward: bool
) -> None:
    whole = _leaking([], is_return, backward)
    parts = _leaking(cuts, is_return, backward)
    assert _leakage(parts) == pytest.approx(_leakage(whole), rel=1e-9)
    # By the mean over all lengths too.
    means = [
        np.average(static_pressure(one), weights=one.graph.ducts.length)
        for one in (whole, parts)
    ]
    assert means[1] == pytest.approx(means[0])


def test_static_pressure_steps_where_a_coil_stands() -> None:
    """By hand: 10 m, one coil at 4 m, so that its loss counts over the first 0.4."""
    runs = [("duct", np.array([[0.0, 0, 0], [10, 0, 0]]), SIDE)]
    source = {"duct": Attributes(source=True, source_at_end=False)}

    def of(at: tuple[float, float, float] | None) -> float:
        plan = Schedule(
            terminals={"duct": TerminalSpec(0.3, 20.0)},
            components=(ComponentSpec("duct", "coil", loss=150.0, at=at),),
        )
        built = build(drawing_from_runs(runs, attributes=source), plan)
        found = analyse(built)
        rub = 10.0 * float(found.state.gradient[0])
        without = 20.0 + rub / 2 - float(found.state.velocity_pressure[0])
        return float(static_pressure(found)[0]) - without

    assert of((4.0, 0.0, 0.0)) == pytest.approx(0.4 * 150.0)
    assert of(None) == pytest.approx(0.5 * 150.0)  # the middle is assumed
