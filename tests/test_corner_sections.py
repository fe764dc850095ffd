"""An elbow at whose corner the section changes has the one section everywhere."""

import json
from pathlib import Path
from typing import Any

import pytest

from elbowroom.layout import (
    ELBOW_CONSTRUCTIONS,
    Attributes,
    ElbowRule,
    Schedule,
    SourceSpec,
    build,
    drawing_from_runs,
    rectangular,
)
from elbowroom.physics import (
    Analysis,
    analyse,
    checks,
    quantities,
    remedies,
)
from elbowroom.viewer import main

NARROW, WIDE = rectangular(0.3, 0.2), rectangular(0.8, 0.6)
RUNS: list[Any] = [
    ("a", [[0, 0, 0], [4, 0, 0]], NARROW),
    ("b", [[4, 0, 0], [4, 4, 0]], WIDE),
]
MITRED = ElbowRule(construction=ELBOW_CONSTRUCTIONS["mitred"])


def corner(runs: Any = RUNS, **said: Any) -> Analysis:
    drawing = drawing_from_runs(
        runs, flows={"b": 0.6}, attributes={"a": Attributes(source=True)}
    )
    return analyse(build(drawing, Schedule(elbow_default=MITRED, **said)))


@pytest.mark.parametrize("is_return", [False, True])
def test_the_elbow_is_that_of_the_duct_nearer_to_the_source(is_return: bool) -> None:
    """By arithmetic: 0.6 m3/s in 300x200 mm is 10 m/s, in 800x600 mm 1.25 m/s."""
    found = corner(source=SourceSpec(is_return=is_return))
    row = found.ids.index("elbow-1")
    assert found.elements.velocity[row] == pytest.approx(10.0)
    assert found.section(row) == NARROW
    (elbow,) = (r for r in quantities(found).fittings if "elbow" in r.what)
    assert elbow.section == NARROW
    pytest.importorskip("pandas")
    sections = found.to_frame().set_index("id")["section"]
    assert sections["elbow-1"] == NARROW.words
    assert sections["transition-1"] == WIDE.words


def test_its_velocity_and_its_noise_are_checked_there() -> None:
    """10 m/s is above what a square throat may have (`velocity_limits.csv`)."""
    found = {one.rule: one for one in checks(corner())}
    throat = found["velocity in elbows with a square throat"]
    assert throat.value == pytest.approx(10.0)
    assert throat.failing == ("b, bend 1",)
    runs = [RUNS[0], ("b", RUNS[1][1], NARROW)]
    alike = {one.rule: one for one in checks(corner(runs))}
    rule = "noise made in mitred elbows, dB(A)"
    assert found[rule].value == pytest.approx(alike[rule].value)


def test_every_list_prints_it(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    route, report = tmp_path / "corner.toml", tmp_path / "report.html"
    route.write_text(
        'unit = "m"\n[[run]]\nname = "a"\npoints = [[0, 0, 0], [4, 0, 0]]\n'
        'section = "300x200"\nsource = true\n'
        '[[run]]\nname = "b"\npoints = [[4, 0, 0], [4, 4, 0]]\n'
        'section = "800x600"\nflow = "0.6 m3/s"\n'
    )
    (tmp_path / "schedule.toml").write_text('[elbows]\nconstruction = "mitred"\n')
    assert main(["analyse", str(route), "--json"]) == 0
    elements = json.loads(capsys.readouterr().out)["elements"]
    assert [one["section"] for one in elements if one["id"] == "elbow-1"] == [
        NARROW.words
    ]
    assert main(["analyse", str(route)]) == 0
    (line,) = (x for x in capsys.readouterr().out.splitlines() if "elbow-1" in x)
    assert "300×200" in line
    assert main(["report", str(route), "--out", str(report)]) == 0
    (row,) = (x for x in report.read_text().split("<tr>") if "elbow-1 *</td>" in x)
    assert "300×200" in row


def test_a_run_is_turned_whose_elbow_goes_the_hard_way() -> None:
    """The elbow is in `a`, so turning `b` on its side would mend nothing."""
    found = corner([("a", [[0, 0, 0], [4, 0, 0]], rectangular(0.6, 0.2)), RUNS[1]])
    (turn,) = (r for r in remedies(found) if "on its side" in r.what)
    assert turn.at == "a"
    assert "bend 1 of 'b' goes the easy way" in turn.what
    assert turn.schedule.sections["a"] == rectangular(0.2, 0.6)


def test_one_turn_of_a_run_is_told_once_with_all_that_it_eases() -> None:
    """Three elbows go the hard way: turning their section is one change, not three."""
    path, wide = [[0, 0, 0], [4, 0, 0], [4, 4, 0], [8, 4, 0]], rectangular(0.6, 0.2)
    runs = [("a", path, wide), ("b", [[8, 4, 0], [8, 8, 0]], rectangular(0.3, 0.3))]
    turns = [r.what for r in remedies(corner(runs)) if "on its side" in r.what]
    (what,) = turns
    assert what.endswith("so that bend 1, bend 2 and bend 1 of 'b' go the easy way")


def test_elbows_of_two_sections_are_no_pair() -> None:
    """The published pairs are of one section throughout."""
    path = [[4, 0, 0], [4, 1, 0], [8, 1, 0]]
    alike = corner([RUNS[0], ("b", path, NARROW)])
    assert len(alike.pairs) == 1
    assert corner([RUNS[0], ("b", path, WIDE)]).pairs == ()
