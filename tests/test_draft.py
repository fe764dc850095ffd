"""Schedules to fill in: what a drawing leaves open, and whether that is all."""

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from elbowroom.layout import (
    Attributes,
    BadInput,
    Drawing,
    Schedule,
    TerminalSpec,
    audit,
    build,
    draft_schedule,
    drawing_from_runs,
    read,
    read_schedule,
    rectangular,
    write,
)
from elbowroom.physics import analyse
from elbowroom.viewer import main

if sys.version_info >= (3, 11):
    import tomllib
else:
    import tomli as tomllib

EXAMPLES = Path(__file__).parents[1] / "examples"
CUT = rectangular(0.4, 0.25)
SOURCE = {"trunk": Attributes(source=True, source_at_end=False)}


def draft(drawing: Drawing, schedule: Schedule | None = None) -> str:
    seen = audit(drawing, schedule)
    return draft_schedule(seen.topology, seen.sections, schedule)


def filled(text: str, tmp_path: Path) -> Schedule:
    """The schedule with a value in each place, as a reader of the first line writes."""
    path = tmp_path / "filled.toml"
    section = '"250x200 mm"'
    head, found, sections = text.partition("[sections]")
    body = head.replace('= "..."', '= "120 L/s"')
    path.write_text(
        body + found + sections.replace('= "..."', f"= {section}"), encoding="utf-8"
    )
    return read_schedule(path)


@pytest.mark.parametrize(
    ("route", "schedule"),
    [
        ("reading_room/under.glb", "reading_room/schedule.toml"),
        ("hillside_house/house.glb", "hillside_house/house.schedule.toml"),
        ("hillside_house/return.glb", "hillside_house/return.schedule.toml"),
    ],
)
def test_an_example_asks_for_the_terminals_that_its_schedule_has(
    route: str, schedule: str, tmp_path: Path
) -> None:
    drawing = read(EXAMPLES / route)
    said = read_schedule(EXAMPLES / schedule)
    text = draft(drawing, replace(said, terminals={}))
    runs = {spec.run or name for name, spec in said.terminals.items()}
    assert set(tomllib.loads(text)["terminals"]) == runs
    found = filled(text, tmp_path)
    whole = replace(said, terminals=found.terminals)
    assert len(build(drawing, whole).terminals.duct) == len(said.terminals)
    assert draft(drawing, said) == ""
    one = dict(list(said.terminals.items())[1:])
    (asked,) = tomllib.loads(draft(drawing, replace(said, terminals=one)))["terminals"]
    name, spec = next(iter(said.terminals.items()))
    assert asked == (spec.run or name)


def test_every_value_left_open_is_refused_where_it_stands(tmp_path: Path) -> None:
    drawing = drawing_from_runs(
        [
            ("trunk", np.array([[0, 0, 3], [8, 0, 3]]), CUT),
            ("office", np.array([[4, 0, 3], [4, 2, 3]]), None),
        ],
        attributes=SOURCE,
    )
    text = draft(drawing)
    path = tmp_path / "open.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(BadInput) as refused:
        read_schedule(path)
    (fault,) = refused.value.faults  # two airflows and a section
    assert "3 values are still to fill in" in fault.what
    assert "[sections] office, [terminals.trunk] flow, [terminals.off" in fault.what
    schedule = filled(text, tmp_path)
    assert analyse(build(drawing, schedule)).critical_loss > 0.0


def test_ends_of_one_name_are_told_apart_by_their_places(tmp_path: Path) -> None:
    drawing = drawing_from_runs(
        [
            ("trunk", np.array([[0, 0, 3], [8, 0, 3]]), CUT),
            ("across", np.array([[4, 0, 3], [4, -2, 3]]), CUT),
            ("across", np.array([[4, 0, 3], [4, 2, 3]]), CUT),
            ("trunk 2", np.array([[6, 0, 3], [6, 2, 3]]), CUT),
        ],
        attributes=SOURCE,
    )
    schedule = filled(draft(drawing), tmp_path)
    assert set(schedule.terminals) == {"trunk", "across", "across 2", "trunk 2"}
    assert len(build(drawing, schedule).terminals.duct) == 4


def test_without_a_source_each_free_end_is_offered(tmp_path: Path) -> None:
    drawing = drawing_from_runs(
        [
            ("trunk", np.array([[0, 0, 3], [8, 0, 3]]), CUT),
            ("office", np.array([[4, 0, 3], [4, 2, 3]]), CUT),
        ]
    )
    text = draft(drawing)
    assert text.count("# at = [") == 3
    assert len(tomllib.loads(text)["terminals"]) == 3
    chosen = text.replace('# at = ["8 m"', 'at = ["8 m"', 1)
    schedule = filled(chosen, tmp_path)
    # What the draft says of the terminal at the source: it is none.
    rest = {name: t for name, t in schedule.terminals.items() if t.at != (8, 0, 3)}
    graph = build(drawing, replace(schedule, terminals=rest))
    assert graph.topology.nodes[graph.source.node].tolist() == [8, 0, 3]


def test_a_place_between_two_runs_is_offered_to_the_fan(tmp_path: Path) -> None:
    """A return of two legs that meet there: each has an end of its own."""
    drawing = drawing_from_runs(
        [
            ("left", [[0, 0, 3], [4, 0, 3], [4, 3, 3]], CUT),
            ("right", [[4, 3, 3], [9, 3, 3]], CUT),
        ]
    )
    text = draft(drawing)
    (line,) = (one for one in text.splitlines() if "between 'left' and 'right'" in one)
    place = line.removeprefix("# ").partition("  #")[0]
    with pytest.raises(BadInput) as bad:
        build(drawing)
    assert f"of a fan that stands between two runs {place}" in str(bad.value)
    said = filled(text.replace(line, place), tmp_path)
    assert sorted(build(drawing, said).terminals.name) == ["left", "right"]


@pytest.mark.parametrize("marked", [True, False])
def test_the_side_and_shut_ends_are_offered(marked: bool, tmp_path: Path) -> None:
    drawing = drawing_from_runs(
        [
            ("trunk 400x250", np.array([[0, 0, 3], [8, 0, 3]]), CUT),
            ("office", np.array([[4, 0, 3], [4, 2, 3]]), CUT),
        ],
        attributes={"trunk 400x250": SOURCE["trunk"]} if marked else {},
    )
    text = draft(drawing)
    assert text.count("[source]") == 1
    assert text.count('# side = "return"') == 1
    chosen = text.replace('# side = "return"', 'side = "return"')
    chosen = chosen.replace("# [source]", "[source]")
    chosen = chosen.replace('# at = ["0 m", "0 m"', 'at = ["0 m", "0 m"')
    schedule = filled(chosen, tmp_path)
    assert schedule.source.is_return
    assert "closed = true in place of flow" in text


def test_an_airflow_that_is_drawn_is_not_asked_for_again() -> None:
    runs = [
        ("trunk", np.array([[0.0, 0, 3], [8, 0, 3]]), CUT),
        ("office", np.array([[4.0, 0, 3], [4, 2, 3]]), CUT),
    ]
    drawing = drawing_from_runs(runs, flows={"office": 0.1}, attributes=SOURCE)
    assert list(tomllib.loads(draft(drawing))["terminals"]) == ["trunk"]
    # That of a run which others leave is its total: its own end is still open.
    drawing = drawing_from_runs(
        runs, flows={"office": 0.1, "trunk": 0.3}, attributes=SOURCE
    )
    assert list(tomllib.loads(draft(drawing))["terminals"]) == ["trunk"]
    whole = Schedule(terminals={"trunk": TerminalSpec(0.2)})
    assert draft(drawing, whole) == ""


@pytest.mark.parametrize(
    "name",
    ['24"x12" hall', "it's \"both\" 'x'", "back\\slash", "Büro\n[fan]", "a.b # c"],
)
def test_any_name_comes_back_as_it_was_drawn(name: str, tmp_path: Path) -> None:
    drawing = drawing_from_runs(
        [
            ("trunk", np.array([[0, 0, 3], [8, 0, 3]]), CUT),
            (name, np.array([[4, 0, 3], [4, 2, 3]]), None),
        ]
    )
    text = draft(drawing)
    content = tomllib.loads(text)
    assert "fan" not in content
    assert name in content["sections"]
    schedule = filled(text.replace("# at = [", "at = [", 1), tmp_path)
    rest = {k: t for k, t in schedule.terminals.items() if t.at != (0, 0, 3)}
    graph = build(drawing, replace(schedule, terminals=rest))
    assert len(graph.terminals.duct) == 2


def test_check_writes_a_draft_and_never_over_a_file(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    drawing = drawing_from_runs(
        [
            ("trunk", np.array([[0, 0, 3], [8, 0, 3]]), CUT),
            ("office", np.array([[4, 0, 3], [4, 2, 3]]), CUT),
        ],
        attributes=SOURCE,
    )
    route = tmp_path / "r.glb"
    write(drawing, route)
    path = tmp_path / "r.schedule.toml"
    assert main(["check", str(route)]) == 0
    assert f"--draft {path.name}" in capsys.readouterr().err
    assert main(["check", str(route), "--draft", str(path)]) == 0
    assert f"wrote {path}" in capsys.readouterr().err
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace('= "..."', '= "120 L/s"'), encoding="utf-8")
    assert main(["check", str(route), "--draft", str(path)]) == 2
    assert "is there already" in capsys.readouterr().err
    assert main(["analyse", str(route), "--json"]) == 0
    assert main(["check", str(route)]) == 0
    assert "--draft" not in capsys.readouterr().err
    other = tmp_path / "other.toml"
    assert main(["check", str(route), "--draft", str(other)]) == 0
    assert "nothing is left open" in capsys.readouterr().err
    assert not other.exists()
    assert main(["check", str(route), "--draft", str(tmp_path / "r.txt")]) == 2
    assert "name it NAME.toml" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("unit", "end"),
    [
        ("in", '"120 in", "0 in", "98.43 in"'),
        ("ft", '"10 ft", "0 ft", "8.202 ft"'),
        ("mm", '"3048 mm", "0 mm", "2500 mm"'),
        ("m", '"3.048 m", "0 m", "2.5 m"'),
    ],
)
def test_places_are_in_the_unit_of_the_drawing_and_read_back(
    tmp_path: Path, unit: str, end: str
) -> None:
    """So that whoever drew in inches finds them; 10 ft are 3048 mm by definition."""
    one = {"in": 1 / 0.0254, "ft": 1 / 0.3048, "mm": 1000.0, "m": 1.0}[unit]
    path = tmp_path / "a.obj"
    far, high = 3.048 * one, 2.5 * one
    path.write_text(f"o trunk D300\nv 0 0 {high!r}\nv {far!r} 0 {high!r}\nl 1 2\n")
    drawing = read(path, unit=unit)
    assert f"# at = [{end}]" in draft(drawing)
    path = tmp_path / "chosen.toml"
    terminal = '[terminals."trunk D300"]\nflow = "120 L/s"\n'
    path.write_text(f"[source]\nat = [{end}]\n{terminal}")
    graph = build(drawing, read_schedule(path))
    assert graph.nodes[graph.source.node] == pytest.approx([3.048, 0.0, 2.5])


@pytest.mark.parametrize("way", [["--draft", "d.toml"], ["--fix", "f.glb"], []])
@pytest.mark.parametrize(("run", "is_found"), [("A", True), ("Z", False), ("B", False)])
def test_a_source_by_the_name_without_its_section_is_checked(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    way: list[str],
    run: str,
    is_found: bool,
) -> None:
    """Also where no run, or more than one, goes by it: that is said, as elsewhere."""
    monkeypatch.chdir(tmp_path)
    Path("u.obj").write_text(
        "v 0 0 0\nv 5 0 0\nv 9 0 0\nv 9 4 0\no A 600x300\nl 1 2\n"
        "o B 400x300\nl 2 3\no B 300x300\nl 3 4\n"
    )
    Path("u.schedule.toml").write_text(f'[source]\nrun = "{run}"\n')
    assert main(["check", "u.obj", *way]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert (f"'{run}'" in said and "[source]" in said) != is_found
    if way[:1] == ["--draft"]:
        assert ("at = [" in Path("d.toml").read_text()) != is_found


def test_names_are_short_where_one_run_alone_goes_by_them() -> None:
    ends = np.array([[0.0, 0, 0], [9, 0, 0], [5, 4, 0], [5, -4, 0], [5, 0, 4]])
    ways = np.stack([ends, np.zeros_like(ends) + np.array([5.0, 0, 0])], axis=1)
    sizes = "A 400x250", "B 300x250", "C 300x250", "C D250", "D 250x250"
    drawing = drawing_from_runs(
        [(name, way, CUT) for name, way in zip(sizes, ways, strict=True)],
        attributes={
            "A 400x250": SOURCE["trunk"],
            "D 250x250": Attributes(terminal="hall"),
        },
    )
    asked = tomllib.loads(draft(drawing))["terminals"]
    assert list(asked) == ["B", "C 300x250", "C D250", "hall"]
    # Each of them is found, also where the drawing has other sizes by then.
    plan = Schedule(terminals={name: TerminalSpec(0.1) for name in asked})
    names = ["A 300x200", "B 250x200", "C 300x250", "C D250", "D 150x150"]
    assert draft(replace(drawing, names=names), plan) == ""


def test_the_draft_that_is_named_can_be_written_beside_a_schedule(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """What is there already is never in the way, and is to be filled in further."""
    monkeypatch.chdir(tmp_path)
    Path("a.obj").write_text("v 0 0 3\nv 5 0 3\no T1\nl 1 2\n")
    for taken, into in (
        ("", ""),
        ("a.schedule.toml", " and to copy into a.schedule.toml"),
        ("a-open.toml", " and to copy into a.schedule.toml"),
    ):
        if taken:
            Path(taken).write_text("")
        main(["check", "a.obj"])
        told = capsys.readouterr().err
        assert f" writes what is open, to fill in{into}\n" in told
        name = told.partition("--draft ")[2].split()[0]
        assert main(["check", "a.obj", "--draft", name]) == 0
        assert Path(name).read_text()
        Path(name).unlink()


DRAWN = """
unit = "m"
[[run]]
name = "trunk"
section = "400x250 mm"
points = [[0, 0, 3], [8, 0, 3]]
source = "start"
[[run]]
name = "bed 1"
section = "D150 mm"
points = [[4, 0, 3], [4, 2, 3]]
flow = "100 cfm"
flexible = true
[[run]]
name = "hall"
section = "400x250 mm"
points = [[8, 0, 3], [8, 3, 3]]
flow = "200 cfm"
"""


def test_where_nothing_is_wanting_a_draft_offers_the_rest(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """With what is drawn, as comments: as it is written it changes nothing."""
    route, path = tmp_path / "r.toml", tmp_path / "r.schedule.toml"
    route.write_text(DRAWN, encoding="utf-8")
    assert main(["check", str(route)]) == 0
    assert "--draft" not in capsys.readouterr().err
    assert main(["check", str(route), "--draft", str(path)]) == 0
    text = path.read_text(encoding="utf-8")
    assert tomllib.loads(text) == {}
    assert "47.2 L/s (100 cfm) as drawn" in text
    assert "at = [" not in text
    opened = "\n".join(
        line.removeprefix("# ")
        for line in text.splitlines()
        if " = " in line or line.startswith("# [")
    )
    for key, value in {
        "external_static_pressure": "120 Pa",
        "filter": "20 Pa",
        "temperature": "15 C",
        "altitude": "100 m",
        "use": "residential",
        "construction": "mitred",
        "material": "galvanised steel",
        "compression": "4 %",
        "loss": "10 Pa",
        "roll": "0 deg",
    }.items():
        opened = opened.replace(f'{key} = "..."', f'{key} = "{value}"')
    opened = opened.replace("[runs.NAME]", "[runs.trunk]").replace("return", "supply")
    path.write_text(opened, encoding="utf-8")
    said = read_schedule(path)
    assert said.run_compression == {"bed 1": 0.04}
    assert (said.checks.use, len(said.terminals)) == ("residential", 2)
    graph = build(read(route), said)
    assert graph.terminals.loss.tolist() == pytest.approx([10.0, 10.0])
    assert graph.terminals.flow.sum() == pytest.approx(300 * 0.3048**3 / 60)
