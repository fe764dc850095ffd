"""Room between the ducts of a supply and those of its return, by hand."""

import json
from pathlib import Path
from typing import Any

import pytest

from elbowroom.layout import (
    DuctGraph,
    Schedule,
    SourceSpec,
    TerminalSpec,
    build,
    read,
    side_clearances,
    solids,
)
from elbowroom.viewer import main

SUPPLY = """unit = "m"
[[run]]
name = "trunk"
section = "600x300"
points = [[0, 0, 3], [8, 0, 3]]
source = "start"
terminal = "hall"
flow = "500 L/s"
"""
RETURN = """unit = "m"
[[run]]
name = "back"
section = "{section}"
points = {points}
source = "end"
terminal = "grille"
flow = "500 L/s"
"""
OVER = [[4, 3, {}], [4, -3, {}], [0, -3, {}]]


def back(folder: Path, height: float, section: str = "400x200") -> Path:
    """A return that crosses the trunk at a height, m."""
    points = str(OVER).replace("{}", str(height)).replace("'", "")
    path = folder / "back.toml"
    path.write_text(RETURN.format(section=section, points=points))
    return path


def sides(folder: Path, height: float, section: str = "400x200") -> list[DuctGraph]:
    front = folder / "front.toml"
    front.write_text(SUPPLY)
    flow = {"hall": TerminalSpec(0.5)}
    drawn = read(back(folder, height, section))
    other = Schedule(
        source=SourceSpec(is_return=True), terminals={"grille": TerminalSpec(0.5)}
    )
    return [build(read(front), Schedule(terminals=flow)), build(drawn, other)]


@pytest.mark.parametrize(
    ("height", "section", "required", "gap"),
    [
        # The trunk's top is at 3.15 m; half a return of 400x200 stands 0.1 m below its
        # centreline, half a D300 0.15 m.
        (3.35, "400x200", 0.0, None),
        (3.35, "400x200", 0.15, 0.10),
        (3.20, "400x200", 0.0, -0.05),
        (3.35, "D300", 0.10, 0.05),
        (3.25, "D300", 0.0, -0.05),
        (3.00, "D300", 0.0, -0.30),
    ],
)
def test_a_return_over_the_trunk(
    tmp_path: Path, height: float, section: str, required: float, gap: float | None
) -> None:
    one, other = sides(tmp_path, height, section)
    found = side_clearances(one, solids(one), other, solids(other), required=required)
    if gap is None:
        assert found.nearest is None
    else:
        assert found.nearest == pytest.approx(gap, abs=1e-3)
        assert found.place[0][:2] == pytest.approx([4.0, 0.0], abs=0.01)


def test_insulation_of_both_counts_and_either_may_be_asked_first(
    tmp_path: Path,
) -> None:
    one, other = sides(tmp_path, 3.35)
    shapes, others = solids(one), solids(other)
    there = side_clearances(
        one, shapes, other, others, insulation=(0.02, 0.05), required=0.05
    )
    back = side_clearances(
        other, others, one, shapes, insulation=(0.05, 0.02), required=0.05
    )
    assert there.nearest == pytest.approx(0.10 - 0.07, abs=1e-6)
    assert back.nearest == pytest.approx(there.nearest)


def test_both_may_meet_at_the_fan_and_nowhere_else(tmp_path: Path) -> None:
    one, other = sides(tmp_path, 3.6)
    ends = str([[4, -3, 3], [0, -3, 3], [0, 0, 3]])
    path = tmp_path / "back.toml"
    path.write_text(RETURN.format(section="400x200", points=ends))
    other = build(read(path), other.schedule)
    assert side_clearances(one, solids(one), other, solids(other)).nearest is None
    path.write_text(RETURN.format(section="400x200", points=[[6, 3, 3], [6, 0, 3]]))
    other = build(read(path), other.schedule)
    found = side_clearances(one, solids(one), other, solids(other))
    assert found.nearest is not None
    assert found.nearest < 0.0


def told(capsys: pytest.CaptureFixture[str], *words: object) -> tuple[int, Any]:
    code = main([str(word) for word in words])
    return code, json.loads(capsys.readouterr().out)


def test_every_command_with_a_return_says_where_it_is_in_the_way(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    sides(tmp_path, 3.2)
    (tmp_path / "front.schedule.toml").write_text(
        '[fan]\nexternal_static_pressure = "120 Pa"\n[clearance]\nrequired = "20 mm"\n'
    )
    front, behind = tmp_path / "front.toml", tmp_path / "back.toml"
    both = [front, "--return", behind]
    code, found = told(capsys, "analyse", *both, "--json", "--strict")
    (gap,) = [gap for gap in found["room"] if not gap["is_kept"]]
    assert code == 1
    assert gap["duct"] == "trunk"
    assert gap["beside"].startswith("back of back")
    assert gap["distance_m"] == pytest.approx(-0.05, abs=1e-3)
    page = tmp_path / "page.html"
    main([*map(str, ["analyse", *both, "--page", page])])
    assert "back of back" in page.read_text()
    paper = tmp_path / "paper.html"
    main([*map(str, ["report", *both, "--out", paper])])
    assert "back of back" in paper.read_text()
    capsys.readouterr()
    _, sized = told(capsys, "proportion", *both, "--json", "--max-height", "300 mm")
    said = [flag["what"] for flag in sized["flags"] if "back of back" in flag["what"]]
    assert said
    assert "with these sizes 'trunk'" in said[0]

    back(tmp_path, 3.4)
    code, found = told(capsys, "analyse", *both, "--json", "--strict")
    assert code == 0
    assert not found["room"]


@pytest.mark.parametrize("height", [3.00, 3.20, 3.25, 3.31, 3.35])
@pytest.mark.parametrize("section", ["400x200", "D300", "D100"])
def test_whether_they_overlap_is_told_without_how_deep(
    tmp_path: Path, height: float, section: str
) -> None:
    one, other = sides(tmp_path, height, section)
    shapes, others = solids(one), solids(other)
    enough = 0.02
    exact = side_clearances(one, shapes, other, others, required=0.1)
    quick = side_clearances(one, shapes, other, others, required=0.1, enough=enough)
    pairs = zip(exact.piece, exact.other, strict=True)
    deep = dict(zip(pairs, exact.distance, strict=True))
    assert len(quick.piece) == len(deep)
    for piece, beside, distance in zip(
        quick.piece, quick.other, quick.distance, strict=True
    ):
        if deep[piece, beside] < -enough:
            assert deep[piece, beside] - 1e-9 <= distance < -enough
        else:
            assert distance == deep[piece, beside]
