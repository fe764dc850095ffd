"""Dampers and shares, by hand and against a solved network."""

import importlib
import json
import re
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from rich.console import Console
from routes import drawn

from elbowroom.layout import (
    Attributes,
    ChecksSpec,
    ComponentSpec,
    FanSpec,
    Schedule,
    Section,
    SourceSpec,
    TakeoffEntry,
    TerminalSpec,
    build,
    drawing_from_runs,
    place_words,
    read,
    read_schedule,
    rectangular,
    round_section,
)
from elbowroom.physics import (
    Analysis,
    Kind,
    analyse,
    balance,
    checks,
    damper_words,
    dampers,
    open_shares,
    operate,
    quantities,
    solve_network,
    tables,
    with_airflows,
)
from elbowroom.viewer import display, main, results
from elbowroom.viewer import tables as shown
from elbowroom.viewer import terminal as printed

DATA = Path(__file__).parent / "data"


def found() -> Analysis:
    return analyse(build(drawn()))


def test_excess_is_what_a_path_has_to_spare() -> None:
    analysis = found()
    settings = {setting.terminal: setting for setting in balance(analysis)}
    for row, loss in enumerate(analysis.path_loss.tolist()):
        assert settings[row].excess == pytest.approx(analysis.critical_loss - loss)
    orders = [setting.order for setting in balance(analysis)]
    assert orders == list(range(1, len(orders) + 1))
    first = balance(analysis)[0]
    assert first.terminal == analysis.critical
    assert first.angle is None


def test_the_damper_at_its_angle_spends_the_excess() -> None:
    analysis = found()
    ducts = analysis.graph.ducts
    tried = 0
    for setting in balance(analysis):
        if setting.angle is None or setting.too_much:
            continue
        duct = setting.duct
        is_round = bool(ducts.shape[duct] == 1)
        c = float(dampers.butterfly(setting.angle, is_round).value[0])
        spent = c * float(analysis.state.velocity_pressure[duct])
        assert spent == pytest.approx(setting.excess, rel=1e-6)
        tried += 1
    assert tried > 0


def test_a_blade_angle_says_what_it_is_read_from(
    capsys: pytest.CaptureFixture[str],
) -> None:
    """SMACNA's single-blade dampers, which were recalled and not seen."""
    (print_,) = {
        (row["source"], row["confidence"])
        for row in tables.rows("damper_butterfly")
        if row["fitting"].startswith("butterfly, thin plate, r")
    }
    route = Path(__file__).parents[1] / "examples" / "reading_room" / "under.glb"
    assert main(["analyse", str(route)]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert f"The angles are those of damper_butterfly ({print_[1]})." in said
    assert main(["analyse", str(route), "--json"]) == 0
    rows = json.loads(capsys.readouterr().out)["balance"]
    angled = [row for row in rows if row["blade_angle_deg"] is not None]
    assert angled
    for row in rows:
        credit = row["table"], row["source"], row["confidence"]
        is_set = row["blade_angle_deg"] is not None
        wanted = ("damper_butterfly", *print_) if is_set else (None, None, None)
        assert credit == wanted


@pytest.mark.parametrize(("excess", "is_needed"), [(0.95, False), (1.05, True)])
def test_less_than_a_pascal_needs_no_damper(excess: float, is_needed: bool) -> None:
    """Own choice, no published source."""
    runs = [
        ("a", np.array([[0, 0, 0], [9, 0, 0]]), round_section(0.3)),
        ("b", np.array([[4, 0, 0], [4, 6, 0]]), round_section(0.2)),
    ]
    drawing = drawing_from_runs(
        runs, attributes={"a": Attributes(source=True, source_at_end=False)}
    )

    def settled(lost: float) -> Analysis:
        # So little air that an open blade would spend less than a pascal.
        flows = {"a": TerminalSpec(0.4, lost), "b": TerminalSpec(0.07, 5.0)}
        return analyse(build(drawing, Schedule(terminals=flows)))

    a, b = settled(100.0).path_loss.tolist()
    if settled(100.0).graph.terminals.name[0] != "a":
        a, b = b, a
    *_, last = balance(settled(100.0 + b - a + excess))
    assert last.excess == pytest.approx(excess)
    assert (last.angle is not None) == is_needed
    assert (last.credit is not None) == is_needed


def clinic(**plan: Any) -> Analysis:
    """A trunk that feeds 'side' on its way, and a hose at the end of a rigid branch."""
    runs = [
        ("trunk", [[0, 0, 0], [4, 0, 0], [8, 0, 0]], 0.3),
        ("side", [[4, 0, 0], [4, 3, 0]], 0.25),
        ("hose", [[4, 3, 0], [4, 5, 0]], 0.2),
    ]
    drawing = drawing_from_runs(
        [(name, np.array(way, float), round_section(d)) for name, way, d in runs],
        attributes={"trunk": Attributes(source=True, source_at_end=False)},
    )
    flows = {"trunk": TerminalSpec(0.1, 5.0), "hose": TerminalSpec(0.1, 25.0)}
    material = {"hose": "flexible duct, nonmetallic with wire, fully extended"}
    return analyse(
        build(drawing, Schedule(terminals=flows, run_materials=material, **plan))
    )


def placed(analysis: Analysis) -> dict[str, tuple[str, str, list[float]]]:
    """Run, words and middle of the piece of each terminal's damper."""
    graph, settings = analysis.graph, balance(analysis)
    middle = (graph.ducts.begin + graph.ducts.end) / 2
    return {
        graph.terminals.name[one.terminal]: (
            graph.drawing.names[graph.ducts.run[one.duct]],
            words,
            middle[one.duct].tolist(),
        )
        for one, words in zip(settings, damper_words(graph, settings), strict=True)
    }


def place_of(analysis: Analysis, terminal: str) -> list[float]:
    """Where a terminal's damper stands, m."""
    rows = {row["terminal"]: row for row in results.balancing(analysis)}
    place: list[float] = rows[terminal]["damper_place_m"]
    return place


def test_a_damper_of_a_run_that_feeds_others_stands_behind_the_last_takeoff() -> None:
    where = "behind the takeoff of 'side'"
    assert placed(clinic())["trunk"] == ("trunk", where, [6.0, 0.0, 0.0])
    _, words, _ = placed(clinic(source=SourceSpec(is_return=True)))["trunk"]
    assert words == "before 'side' joins"


def test_no_blade_turns_in_flexible_duct_where_rigid_duct_stands_before_it() -> None:
    analysis = clinic()
    # All of that run is the terminal's, so no words say where along it.
    assert placed(analysis)["hose"] == ("side", "", [4.0, 1.5, 0.0])
    for one in balance(analysis):
        pv = analysis.state.velocity_pressure[one.duct]
        assert one.coefficient * pv == pytest.approx(one.excess)


def branch_of(*pieces: tuple[str, bool]) -> Analysis:
    """A trunk, and a branch of pieces of 2 m by name, flexible or not."""
    runs = [("trunk", [[0, 0, 0], [8, 0, 0]], 0.3)]
    for row, (name, _) in enumerate(pieces):
        runs.append((name, [[4, 2 * row, 0], [4, 2 * row + 2, 0]], 0.2))
    drawing = drawing_from_runs(
        [(name, np.array(way, float), round_section(d)) for name, way, d in runs],
        attributes={"trunk": Attributes(source=True, source_at_end=False)},
    )
    ends = {"trunk": TerminalSpec(0.3, 90.0), pieces[-1][0]: TerminalSpec(0.1, 5.0)}
    hose = "flexible duct, nonmetallic with wire, fully extended"
    material = {name: hose for name, is_flexible in pieces if is_flexible}
    plan = Schedule(terminals=ends, run_materials=material)
    return analyse(build(drawing, plan))


@pytest.mark.parametrize(
    ("pieces", "where"),
    [
        ([("a", False), ("b", False)], "a"),  # and not the one before the terminal
        ([("a", False), ("b", True), ("c", False)], "a"),
        ([("a", True), ("b", False), ("c", False)], "b"),
        ([("a", False), ("b", True)], "a"),
    ],
)
def test_a_damper_stands_in_the_first_rigid_duct_of_its_branch(
    pieces: list[tuple[str, bool]], where: str
) -> None:
    analysis = branch_of(*pieces)
    run, words, middle = placed(analysis)[pieces[-1][0]]
    assert (run, words) == (where, "")
    row = [name for name, _ in pieces].index(where)
    assert middle == [4.0, 2.0 * row + 1.0, 0.0]
    assert not any(one.in_collar for one in balance(analysis))


def test_a_branch_all_of_flexible_duct_needs_a_rigid_collar() -> None:
    """Common practice, no published source."""
    analysis = branch_of(("a", True), ("b", True))
    assert placed(analysis)["b"][:2] == ("a", "in a rigid collar")
    rows = {row["terminal"]: row for row in results.balancing(analysis)}
    assert rows["b"]["damper_place_m"] == [4.0, 0.0, 0.0]  # where it takes off
    assert rows["b"]["rigid_collar"]
    assert not rows["trunk"]["rigid_collar"]  # it has no damper
    assert "rigid collar" in shown.balance_note(list(rows.values()), display.METRIC)
    rigid = results.balancing(branch_of(("a", False), ("b", True)))
    assert "rigid collar" not in shown.balance_note(rigid, display.METRIC)


HOSE = "flexible duct, nonmetallic with wire, fully extended"
Pieces = list[tuple[str, list[list[float]], Section]]


def at_end_of_a_trunk(
    *pieces: tuple[str, list[list[float]], Section], more: str = "", **plan: Any
) -> Analysis:
    """A trunk of 600 by 400 mm past a side branch, and what its rest leads on to.

    The last of the pieces is a terminal, and one more.
    """
    runs: Pieces = [
        ("trunk", [[0, 0, 0], [4, 0, 0], [8, 0, 0]], rectangular(0.6, 0.4)),
        ("side", [[4, 0, 0], [4, 3, 0]], rectangular(0.6, 0.4)),
        *pieces,
    ]
    source = {"trunk": Attributes(source=True, source_at_end=False)}
    ends = {"side": TerminalSpec(0.8, 90.0), runs[-1][0]: TerminalSpec(0.1, 5.0)}
    ends |= {more: TerminalSpec(0.1, 60.0)} if more else {}
    drawing = drawing_from_runs(runs, attributes=source)
    return analyse(build(drawing, Schedule(terminals=ends, **plan)))


@pytest.mark.parametrize("is_return", [False, True])
def test_the_damper_of_the_last_terminal_stands_in_its_own_run(is_return: bool) -> None:
    """In the rest of the main its blade is all but shut, and it is dear."""
    neck = rectangular(0.2, 0.2)
    analysis = at_end_of_a_trunk(
        ("own", [[8, 0, 0], [8, 3, 0]], neck), source=SourceSpec(is_return=is_return)
    )
    assert placed(analysis)["own"][:2] == ("own", "")
    (one,) = (one for one in balance(analysis) if one.excess > 1.0)
    pv = 0.5 * analysis.conditions.air.density * (0.1 / 0.04) ** 2
    assert one.coefficient == pytest.approx(one.excess / pv)
    assert not one.too_much
    # The table, the list to buy, and the noise mean the same damper.
    (bought,) = (row for row in quantities(analysis).fittings if "balanc" in row.what)
    assert bought.section == neck
    (row,) = (row for row in results.balancing(analysis) if row["terminal"] == "own")
    x, y, z = row["damper_place_m"]
    assert (x, z) == (8.0, 0.0)
    assert 0.3 < y < 3.0  # outside the wall of the trunk, 600 mm wide


def test_the_rest_of_a_trunk_has_its_damper_wherever_it_is_cut() -> None:
    """Middle of the 7 m behind the takeoff: a name at a joint says nothing of air."""
    size = rectangular(0.6, 0.4)
    for near, run in ((5.0, "own"), (8.0, "trunk")):
        runs: Pieces = [
            ("trunk", [[0, 0, 0], [4, 0, 0], [near, 0, 0]], size),
            ("own", [[near, 0, 0], [11, 0, 0]], size),
            ("side", [[4, 0, 0], [4, 3, 0]], size),
        ]
        drawing = drawing_from_runs(
            runs,
            attributes={"trunk": Attributes(source=True, source_at_end=False)},
        )
        ends = {"side": TerminalSpec(0.8, 90.0), "own": TerminalSpec(0.1, 5.0)}
        analysis = analyse(build(drawing, Schedule(terminals=ends)))
        assert placed(analysis)["own"][0] == run
        assert place_of(analysis, "own") == pytest.approx([7.5, 0.0, 0.0])


def test_a_cut_branch_has_its_damper_where_the_whole_one_has() -> None:
    """In pieces longer and shorter than the blade, and beside a box in any of them."""

    def tap(*cuts: float, at: float | None = None) -> list[float]:
        edges = [0.0, *cuts, 3.0]
        pieces: Pieces = [
            (f"tap{row}", [[2, near, 0], [2, far, 0]], rectangular(0.2, 0.2))
            for row, (near, far) in enumerate(pairwise(edges))
        ]
        fire = []
        if at is not None:
            row = max(row for row, edge in enumerate(edges[:-1]) if edge < at)
            where = (2.0, at, 0.0)
            fire = [ComponentSpec(f"tap{row}", "fire damper", at=where, loss=5.0)]
        analysis = at_end_of_a_trunk(
            ("far", [[8, 0, 0], [12, 0, 0]], rectangular(0.6, 0.4)),
            *pieces,
            more="far",
            components=tuple(fire),
        )
        return place_of(analysis, pieces[-1][0])

    assert tap() == pytest.approx([2.0, 1.5, 0.0])
    every = [[1.2], [1.9], [0.1, 0.4], [*np.arange(0.15, 3.0, 0.15)]]
    for cuts in every:
        assert tap(*cuts) == pytest.approx([2.0, 1.5, 0.0])
        for at in (1.01, 2.02):
            assert tap(*cuts, at=at) == pytest.approx(tap(at=at))


def test_a_joint_of_rigid_and_flexible_duct_parts_a_straight() -> None:
    analysis = branch_of(("a", False), ("b", False), ("c", True))
    assert place_of(analysis, "c") == pytest.approx([4.0, 2.0, 0.0])  # of a and b
    analysis = branch_of(("a", True), ("b", True), ("c", False))
    assert place_of(analysis, "c") == pytest.approx([4.0, 5.0, 0.0])  # of c


def test_flexible_duct_at_the_end_of_a_trunk_has_a_collar() -> None:
    """As that of the terminals before it, on the same trunk."""
    analysis = at_end_of_a_trunk(
        ("hose", [[8, 0, 0], [8, 3, 0]], round_section(0.2)),
        run_materials={"hose": HOSE},
    )
    assert placed(analysis)["hose"][:2] == ("hose", "in a rigid collar")
    (row,) = (row for row in results.balancing(analysis) if row["terminal"] == "hose")
    assert row["damper_place_m"][0] == 8.0
    # A trunk no larger than it is rigid duct as any other.
    alike = clinic()
    assert not any(one.in_collar for one in balance(alike))


@pytest.mark.parametrize(("length", "where"), [(0.1, "own"), (0.5, "neck")])
def test_a_damper_has_room_for_its_blade(length: float, where: str) -> None:
    analysis = at_end_of_a_trunk(
        ("own", [[8, 0, 0], [8, 3, 0]], rectangular(0.4, 0.3)),
        ("neck", [[8, 3, 0], [8, 3 + length, 0]], rectangular(0.2, 0.2)),
    )
    assert placed(analysis)["neck"][0] == where


def test_a_neck_without_room_is_better_than_the_rest_of_a_main() -> None:
    analysis = at_end_of_a_trunk(
        ("neck", [[8, 0, 0], [8, 0.35, 0]], rectangular(0.2, 0.2))
    )
    assert placed(analysis)["neck"][0] == "neck"


def test_a_damper_stands_clear_of_its_main_and_of_what_stands_in_its_duct() -> None:
    def along(length: float, *components: ComponentSpec) -> float:
        analysis = at_end_of_a_trunk(
            ("far", [[8, 0, 0], [12, 0, 0]], rectangular(0.6, 0.4)),
            ("tap", [[2, 0, 0], [2, length, 0]], rectangular(0.2, 0.2)),
            more="far",
            components=components,
        )
        rows = results.balancing(analysis)
        (row,) = (row for row in rows if row["terminal"] == "tap")
        return float(row["damper_place_m"][1])

    assert along(3.0) == pytest.approx(1.5)  # the middle
    assert along(0.7) == pytest.approx(0.4)  # half the blade behind the wall at 0.3
    # Beside one in the middle: of 1.2 m before it and 1.5 m behind it, the longer.
    fire = ComponentSpec("tap", "fire damper", loss=5.0)
    assert along(3.0, fire) == pytest.approx(2.25)


@pytest.mark.parametrize("is_return", [False, True])
def test_leakage_is_that_of_the_dampers_in_the_table(is_return: bool) -> None:
    """By hand: total pressure falls along a path, and by the excess at its damper."""
    analysis = at_end_of_a_trunk(
        ("far", [[8, 0, 0], [12, 0, 0]], rectangular(0.6, 0.4)),
        ("tap", [[2, 0, 0], [2, 3, 0]], rectangular(0.2, 0.2)),
        more="far",
        source=SourceSpec(is_return=is_return),
        checks=ChecksSpec(leakage="B"),
    )
    graph, e = analysis.graph, analysis.elements
    settings = {one.duct: one for one in balance(analysis)}
    lost = 0.0
    for duct in range(len(graph.ducts.parent)):
        before, way = analysis.critical_loss, int(graph.ducts.parent[duct])
        while way >= 0:
            before -= float(e.loss[e.duct == way].sum())
            before -= settings[way].excess if way in settings else 0.0
            way = int(graph.ducts.parent[way])
        begins = e.kind < int(Kind.DUCT)
        before -= float(e.loss[(e.duct == duct) & begins].sum())
        length = float(graph.ducts.length[duct])
        assert length == pytest.approx(float(graph.ducts.straight[duct]))  # no bends
        pv = float(analysis.state.velocity_pressure[duct])
        at = (np.arange(4000) + 0.5) / 4000
        total = before - at * length * float(analysis.state.gradient[duct])
        if duct in settings:
            total -= np.where(at > settings[duct].share, settings[duct].excess, 0.0)
        static = (-total if is_return else total) - pv
        around = 2 * (graph.ducts.width[duct] + graph.ducts.height[duct])
        # 0.009 L/(s m2 Pa^0.65), EN 1507 class B.
        lost += 9e-6 * float((np.abs(static) ** 0.65).mean()) * length * float(around)
    (check,) = (one for one in checks(analysis) if one.rule.startswith("leakage"))
    assert check.value == pytest.approx(lost / analysis.flow, rel=1e-4)
    assert sum(one.excess > 1.0 for one in settings.values()) == 2


@pytest.mark.parametrize("hose", [False, True])
@pytest.mark.parametrize(
    ("entry", "has_damper"),
    [
        (TakeoffEntry.PLAIN, False),
        (TakeoffEntry.PLAIN_DAMPER, True),
        (TakeoffEntry.ENTRY_45_DAMPER, True),
    ],
)
def test_the_damper_of_an_entry_is_the_one_that_is_set(
    entry: TakeoffEntry, has_damper: bool, hose: bool
) -> None:
    """A second one beside it would be ordered twice; its angles no table has."""
    # Flexible duct is round; its entry has no table then, but its damper all the same.
    branch = round_section(0.2) if hose else rectangular(0.2, 0.2)
    runs: list[tuple[str, list[list[float]], Section]] = [
        ("trunk", [[0, 0, 0], [8, 0, 0]], rectangular(0.3, 0.25)),
        ("side", [[4, 0, 0], [4, 3, 0]], branch),
    ]
    drawing = drawing_from_runs(
        runs, attributes={"trunk": Attributes(source=True, source_at_end=False)}
    )
    ends = {"trunk": TerminalSpec(0.3, 90.0), "side": TerminalSpec(0.1, 5.0)}
    flexible = {"side": "flexible duct, nonmetallic with wire, fully extended"}
    plan = Schedule(
        terminals=ends,
        takeoff_default=entry,
        run_materials=flexible if hose else {},
    )
    analysis = analyse(build(drawing, plan))
    rows = {row["terminal"]: row for row in results.balancing(analysis)}
    side, trunk = rows["side"], rows["trunk"]
    assert side["excess_pa"] > 50.0
    dampers_to_buy = [r for r in quantities(analysis).fittings if "balancing" in r.what]
    assert (side["blade_angle_deg"] is None) == (side["table"] is None) == has_damper
    assert len(dampers_to_buy) == (not has_damper)
    assert side["entry_damper"] == has_damper
    assert side["rigid_collar"] == (hose and not has_damper)
    note = shown.balance_note(list(rows.values()), display.METRIC)
    assert ("that is the one to set" in note) == has_damper
    assert (shown.blade_words(trunk), trunk["entry_damper"]) == ("none", False)
    if has_damper:
        assert side["damper_at"] == "in its entry"
        assert side["damper_place_m"] == [4.0, 0.0, 0.0]
        assert shown.damper_point(side, "m") == "(4, 0, 0) m"
        assert shown.blade_words(side) == "no table"


@pytest.mark.parametrize("end", [(4.0, 3.0), (7.0, 1.7)])  # a bullhead tee, a wye
def test_legs_without_a_main_have_no_damper_in_an_entry(
    end: tuple[float, float],
) -> None:
    """They are made without one, so that a damper is to be ordered."""
    x, y = end
    left, right = ([[4.0, 0.0, 0.0], [x, to, 0.0]] for to in (y, -y))
    runs: list[tuple[str, list[list[float]], Section]] = [
        ("trunk", [[0, 0, 0], [4, 0, 0]], rectangular(0.4, 0.25)),
        ("left", left, rectangular(0.2, 0.25)),
        ("right", right, rectangular(0.2, 0.25)),
    ]
    plan = Schedule(
        terminals={"left": TerminalSpec(0.2, 90.0), "right": TerminalSpec(0.2, 5.0)},
        takeoff_default=TakeoffEntry.PLAIN_DAMPER,
    )
    source = {"trunk": Attributes(source=True, source_at_end=False)}
    analysis = analyse(build(drawing_from_runs(runs, attributes=source), plan))
    rows = {row["terminal"]: row for row in results.balancing(analysis)}
    assert rows["right"]["excess_pa"] > 50.0
    assert not rows["right"]["entry_damper"]
    assert rows["right"]["blade_angle_deg"] > 10.0
    assert rows["right"]["damper_place_m"] != [4.0, 0.0, 0.0]
    counts = {row.what: row.count for row in quantities(analysis).fittings}
    assert counts["balancing damper"] == 1
    assert not [what for what in counts if "with damper" in what]


def test_no_blade_angle_of_another_table_is_said_of_the_damper_of_an_entry() -> None:
    """However much it has to spend: no table has its angles."""
    runs: list[tuple[str, list[list[float]], Section]] = [
        ("trunk", [[0, 0, 0], [8, 0, 0]], rectangular(0.3, 0.25)),
        ("side", [[4, 0, 0], [4, 3, 0]], rectangular(0.2, 0.2)),
    ]
    source = {"trunk": Attributes(source=True, source_at_end=False)}
    for entry, words in (
        (TakeoffEntry.PLAIN, shown.BEYOND),
        (TakeoffEntry.PLAIN_DAMPER, "no table"),
    ):
        plan = Schedule(
            terminals={
                "trunk": TerminalSpec(0.3, 3000.0),
                "side": TerminalSpec(0.02, 1.0),
            },
            takeoff_default=entry,
        )
        analysis = analyse(build(drawing_from_runs(runs, attributes=source), plan))
        rows = {row["terminal"]: row for row in results.balancing(analysis)}
        assert shown.blade_words(rows["side"]) == words
        assert rows["side"]["can_be_balanced"] == (words == "no table")


def test_at_80_columns_a_place_stands_on_two_lines_at_most(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Beside words of three lines each of its numbers had a line, for nothing."""
    analysis = found()
    (row, *_) = (r for r in results.balancing(analysis) if r["blade_angle_deg"])
    trunk, behind = "main trunk", "behind the takeoff of 'branch corridor'"
    collar = "behind the takeoff of 'branch 12', in a rigid collar"
    stands = [
        ("corridor", trunk, behind, (12.5, -2.1751, 3.2155), 2.6),
        ("store", "branch store", "", (11.0, 1.07525, 3.2155), 5.9),
        ("meeting room 2", "branch meeting room 2", "", (6.0, 1.07525, 3.2155), 16.1),
        ("open-plan office north", "trunk north", collar, (9.0, -2.1751, 3.2155), 21.6),
    ]
    keys = "terminal", "damper_in", "damper_at", "damper_place_m", "excess_pa"
    rows = [{**row, **dict(zip(keys, said, strict=True))} for said in stands]
    monkeypatch.setattr(shown, "balancing", lambda _: rows)
    shown.print_balance(analysis, display.METRIC, Console(width=80))
    table = capsys.readouterr().out.split("Single-blade")[0]
    assert max(map(len, table.splitlines())) <= 80
    for *_, place, _ in stands:
        x, y, z = (f"{number:.3f}".rstrip("0").rstrip(".") for number in place)
        assert re.search(rf"\({x}, {y},.*\n?.* {z}\) m", table), table


def test_at_80_columns_long_words_get_the_room_that_numbers_spare(
    capsys: pytest.CaptureFixture[str],
) -> None:
    """They took five lines beside numbers that stood wide below their heads."""
    trunk = "main distribution duct"
    table = printed.TerminalTable(
        "Balancing",
        "terminal",
        "damper in",
        printed.places("at"),
        *map(printed.right, ("to spend, Pa", "C", "blade", "open, of design")),
    )
    for name, stands, at in (
        ("conference room 2.14", "conference room 2.14", ""),
        (
            trunk,
            f"{trunk}, behind the takeoff of 'conference room 2.14'",
            "(27, 0, 3) m",
        ),
        ("corridor north-east", "corridor north-east", "(7.11, 3.025, 3) m"),
    ):
        table.add_row(name, stands, at, "4.0", "7.6", "38°", "116 %")
    Console(width=80).print(table)
    lines = capsys.readouterr().out.splitlines()
    assert max(map(len, lines)) <= 80
    (rule,) = (place for place, line in enumerate(lines) if "──" in line)
    assert len([line for line in lines[rule + 1 :] if line.strip()]) == 2 + 3 + 2


def test_open_dampers_favour_the_favoured() -> None:
    analysis = found()
    share = open_shares(analysis)
    rising = np.argsort(analysis.path_loss)
    assert share[rising[0]] > 1.0  # the least loss gets the most
    assert share[rising[0]] == share.max()


def test_one_terminal_gets_its_design_airflow() -> None:
    drawing = drawing_from_runs(
        [("a", np.array([[0, 0, 0], [5, 0, 0]]), round_section(0.25))],
        attributes={"a": Attributes(source=True, source_at_end=False)},
    )
    plan = Schedule(terminals={"a": TerminalSpec(0.3, 10.0)})
    assert open_shares(analyse(build(drawing, plan))) == pytest.approx(1.0)


def test_shares_agree_with_the_network_solver_at_the_losses_there() -> None:
    """Coefficients and friction of the settled airflows, as sums of C by hand."""
    runs = [
        ("a", np.array([[0, 0, 0], [9, 0, 0]]), round_section(0.3)),
        ("b", np.array([[4, 0, 0], [4, 6, 0]]), round_section(0.25)),
    ]
    drawing = drawing_from_runs(
        runs, attributes={"a": Attributes(source=True, source_at_end=False)}
    )
    flows = {"a": TerminalSpec(0.4, 40.0), "b": TerminalSpec(0.2, 40.0)}
    analysis = analyse(build(drawing, Schedule(terminals=flows)))
    share = dict(zip(analysis.graph.terminals.name, open_shares(analysis), strict=True))
    at_share = {
        name: TerminalSpec(spec.flow * share[name], 40.0 * share[name] ** 2)
        for name, spec in flows.items()
    }
    settled = analyse(build(drawing, Schedule(terminals=at_share)))
    ducts, state, e = settled.graph.ducts, settled.state, settled.elements
    own = np.bincount(e.duct, e.loss, len(ducts.parent))
    # Everything as a sum of C on the duct's own velocity, no length.
    entries = [
        {
            "id": str(row),
            "from": "source" if ducts.parent[row] < 0 else f"n{ducts.parent[row]}",
            "to": f"n{row}",
            "length_m": 0.0,
            "diameter_m": float(ducts.width[row]),
            "roughness_m": 0.0,
            "sum_C": max(float(own[row] / state.velocity_pressure[row]), 0.0),
        }
        for row in range(len(ducts.parent))
    ]
    fixed = {"source": analysis.critical_loss}
    fixed |= {f"n{row}": 0.0 for row in analysis.graph.terminals.duct.tolist()}
    solved = solve_network({"ducts": entries, "fixed_node_pressures_Pa": fixed})
    if min(own) < 0.0:
        pytest.fail("a main that regains cannot be written as a sum of C")
    ends = settled.graph.terminals
    for name, row in zip(ends.name, ends.duct.tolist(), strict=True):
        flow = solved["ducts"][str(row)]["flow_m3_s"]
        assert flow == pytest.approx(at_share[name].flow, rel=1e-5)


@pytest.mark.parametrize("is_return", [False, True])
def test_shares_are_what_operate_finds_at_a_fan_that_keeps_its_pressure(
    is_return: bool,
) -> None:
    """A small takeoff whose loss goes with the main's velocity, and not with its own.

    In the return the main's air drags it along: it gains more than it spends.
    """
    tap = rectangular(0.25, 0.15) if is_return else round_section(0.16)
    runs = [
        ("trunk", np.array([[0, 0, 3], [8, 0, 3]]), rectangular(0.5, 0.25)),
        ("study", np.array([[2, 0, 3], [2, 3, 3]]), tap),
    ]
    drawing = drawing_from_runs(runs)
    at = SourceSpec(at=(0.0, 0.0, 3.0), is_return=is_return)
    plan = Schedule(
        terminals={"trunk": TerminalSpec(0.7, 15.0), "study": TerminalSpec(0.05, 6.0)},
        source=at,
    )
    analysis = analyse(build(drawing, plan))
    flat = replace(plan, fan=FanSpec(total_pressure=analysis.critical_loss))
    air = operate(analyse(build(drawing, flat)))
    np.testing.assert_allclose(
        open_shares(analysis), air.flow / analysis.graph.terminals.flow, rtol=1e-5
    )
    assert air.steps < 60  # 400 were not enough before rounds were mixed
    shares = air.flow / analysis.graph.terminals.flow
    assert shares.max() < 3.0
    assert abs(shares - 1.0).max() > 0.1


def test_a_branch_that_the_others_leave_no_air() -> None:
    """The main goes past so fast that its velocity takes more than there is."""
    runs = [
        ("a", np.array([[0, 0, 0], [9, 0, 0]]), round_section(0.3)),
        ("b", np.array([[4, 0, 0], [4, 6, 0]]), round_section(0.2)),
    ]
    drawing = drawing_from_runs(
        runs, attributes={"a": Attributes(source=True, source_at_end=False)}
    )
    ends = {"a": TerminalSpec(0.4, 5.0), "b": TerminalSpec(0.2, 5.0)}
    analysis = analyse(build(drawing, Schedule(terminals=ends)))
    main, branch = open_shares(analysis)
    pv = 0.5 * analysis.conditions.air.density * (main * 0.4 / (np.pi * 0.0225)) ** 2
    assert pv > analysis.critical_loss
    assert branch == 0.0
    fan = FanSpec(total_pressure=analysis.critical_loss)
    air = operate(analyse(build(drawing, Schedule(terminals=ends, fan=fan))))
    assert air.flow[0] / 0.4 == pytest.approx(main, rel=1e-4)
    assert air.flow[1] < 1e-3 * air.flow[0]
    assert any("'b' gets next to no air" in said.sentence for said in air.notices)


def test_damper_coefficients_of_a_network_balanced_elsewhere() -> None:
    """BAL1 of network_reference.json: C is the excess over the last duct's pressure."""
    reference = json.loads((DATA / "network_reference.json").read_text())
    (case,) = [c for c in reference["cases"] if c["id"] == "BAL1"]
    density = reference["fluid"]["density_kg_m3"]
    last = {duct["to"]: duct for duct in case["ducts"]}
    for terminal, wanted in case["expected"]["terminals"].items():
        duct = last[terminal]
        flow = case["duct_flows_m3_s"][duct["id"]]
        pv = 0.5 * density * (flow / (np.pi / 4 * duct["diameter_m"] ** 2)) ** 2
        c = wanted["excess_pressure_Pa"] / pv
        assert c == pytest.approx(wanted["damper_C_on_last_duct_velocity_pressure"])
        if c < 0.5:
            continue
        angle, _ = dampers.butterfly_angle(c)
        assert float(dampers.butterfly(angle).value[0]) == pytest.approx(c)


def test_a_damper_drawn_in_feet_stands_at_whole_feet(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """In mm it would be 8.999 ft up."""
    route = tmp_path / "route.toml"
    route.write_text(
        'unit = "ft"\n'
        '[[run]]\nname = "a"\nsection = "D12 in"\nsource = "start"\n'
        'points = [[0, 0, 9], [24, 0, 9], [48, 0, 9]]\nterminal = "far"\n'
        '[[run]]\nname = "b"\nsection = "D8 in"\nterminal = "near"\n'
        "points = [[24, 0, 9], [24, 8, 9]]\n"
    )
    (tmp_path / "schedule.toml").write_text(
        '[terminals.far]\nflow = "900 cfm"\n[terminals.near]\nflow = "60 cfm"\n'
    )
    assert main(["analyse", str(route), "--json"]) == 0
    (near,) = (
        row
        for row in json.loads(capsys.readouterr().out)["balance"]
        if row["terminal"] == "near"
    )
    assert near["damper_place_m"] == [7.3152, 1.2192, 2.7432]
    assert place_words(near["damper_place_m"], "ft") == "(24, 4, 9) ft"


def test_no_damper_stands_where_an_open_blade_alone_spends_too_much(
    capsys: pytest.CaptureFixture[str],
) -> None:
    """With one that path would be the critical one; what a blade spends is told.

    C of an open thin plate across a round duct is about 0.2: SMACNA HVAC Systems Duct
    Design 1990, damper tables (from memory).
    """
    route = Path(__file__).parents[1] / "examples" / "reading_room" / "under.glb"
    plan = read_schedule(route.parent / "schedule.toml")
    analysis = analyse(build(read(route), plan))
    rows = {row["terminal"]: row for row in results.balancing(analysis)}
    few = rows["B2"]
    assert 1.0 < few["excess_pa"] < few["open_blade_pa"]
    (setting,) = [
        one
        for one in balance(analysis)
        if analysis.graph.terminals.name[one.terminal] == "B2"
    ]
    pv = analysis.state.velocity_pressure[setting.duct]
    assert few["open_blade_pa"] == pytest.approx(0.2 * pv, rel=1e-6)
    assert few["blade_angle_deg"] is None
    assert few["table"] is None
    assert shown.blade_words(few) == "none"
    # No place is named where nothing is to be built.
    keys = "damper_in", "damper_place_m", "damper_coefficient"
    assert [few[key] for key in keys] == [None, None, None]
    assert few["damper_at"] == shown.damper_place(few) == ""
    assert shown.damper_point(few, "m") == shown.damper_coefficient(few) == ""
    set_to = [row for row in rows.values() if row["blade_angle_deg"] is not None]
    assert set_to
    for row in set_to:
        assert row["excess_pa"] >= row["open_blade_pa"]
    bought = [r for r in quantities(analysis).fittings if "balancing" in r.what]
    assert sum(row.count for row in bought) == len(set_to)
    note = shown.balance_note(list(rows.values()), display.METRIC)
    assert f"more: {few['open_blade_pa']:.1f} Pa for 'B2'" in note
    # Where it has none it gets more air than its share, and the others theirs.
    fan = FanSpec(
        total_pressure=analysis.critical_loss + analysis.system.declared_losses
    )
    alone = analyse(build(read(route), replace(plan, fan=fan)))
    found = operate(alone, "set")
    names = alone.graph.terminals.name
    share = dict(zip(names, found.flow / alone.graph.terminals.flow, strict=True))
    assert share["B2"] == max(share.values()) > 1.001


@pytest.mark.parametrize("file", ["reading_room/under", "hillside_house/house"])
def test_settings_that_are_declared_back_balance_the_layout(file: str) -> None:
    """Each path has what it had to spare at its damper, also where a fan moves it."""
    route = Path(__file__).parents[1] / "examples" / f"{file}.glb"
    plan = read_schedule(
        next(route.parent.glob(f"{route.stem}.*toml"), route.parent / "schedule.toml")
    )
    plan, _ = with_airflows(plan)
    analysis = analyse(build(read(route), plan))
    declared = tuple(
        ComponentSpec(
            row["damper_in"],
            "damper",
            at=tuple(row["damper_place_m"]),
            coefficient=row["damper_coefficient"],
        )
        for row in results.balancing(analysis)
        if row["damper_in"] is not None
    )
    assert len(declared) > 1
    again = analyse(build(read(route), replace(plan, components=declared)))
    taken = np.zeros(len(analysis.path_loss))
    for one in balance(analysis):
        taken[one.terminal] = one.excess if one.stands else 0.0
    assert again.path_loss == pytest.approx(analysis.path_loss + taken)
    assert again.critical_loss == pytest.approx(analysis.critical_loss)
    assert not any(one.stands for one in balance(again))
    flow = operate(analysis, "set").flow
    assert operate(again, "open").flow == pytest.approx(flow, rel=1e-6)


def test_a_damper_is_as_loud_in_a_duct_that_stands_as_in_one_that_lies() -> None:
    """Its blade is as wide as the smaller side in both."""

    def level(section: Section) -> float:
        analysis = at_end_of_a_trunk(
            ("far", [[8, 0, 0], [12, 0, 0]], rectangular(0.6, 0.4)),
            ("tap", [[2, 0, 0], [2, 3, 0]], section),
            more="far",
            checks=ChecksSpec(noise="RC 25"),
        )
        (check,) = (c for c in checks(analysis) if "balancing dampers" in c.rule)
        assert check.at == "tap"
        return check.value

    standing, lying = level(rectangular(0.1, 0.4)), level(rectangular(0.4, 0.1))
    assert standing == pytest.approx(lying)


def test_no_pressure_is_taken_where_no_damper_stands() -> None:
    """An open blade in 'B2' would spend more than its path has to spare."""
    room = Path(__file__).parents[1] / "examples" / "reading_room"
    analysis = analyse(
        build(read(room / "under.glb"), read_schedule(room / "schedule.toml"))
    )
    graph = analysis.graph
    inner, pressed = (
        importlib.import_module(f"elbowroom.physics.{name}")
        for name in ("balance", "pressure_checks")
    )
    set_to, found = inner.blades(analysis), pressed.pieces_of(analysis)
    row = graph.terminals.name.index("B2")
    assert 1.0 < set_to.excess[row] < set_to.open_loss[row]
    for row, duct in enumerate(graph.terminals.duct.tolist()):
        last = int((found.duct == duct).nonzero()[0][-1])
        total = found.static[last] - found.change[last] / 2
        total += analysis.state.velocity_pressure[duct]
        # At the terminal: its own loss, and what no damper on the way has taken.
        left = 0.0 if set_to.is_needed[row] else set_to.excess[row]
        assert total == pytest.approx(analysis.terminal_loss[row] + left)
