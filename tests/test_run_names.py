"""A schedule goes on fitting a drawing that was converted, and says what it misses."""

import json
import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from routes import ROUTE

from elbowroom.layout import (
    Attributes,
    BadInput,
    ComponentSpec,
    Drawing,
    DuctGraph,
    ElbowConstruction,
    ElbowRule,
    RunLimits,
    RunWords,
    Schedule,
    Section,
    SourceSpec,
    TakeoffEntry,
    TerminalSpec,
    TransitionRule,
    build,
    draft_schedule,
    drawing_from_runs,
    join,
    read,
    read_schedule,
    rectangular,
    round_section,
    run_sections,
    with_sections,
    write,
)
from elbowroom.physics import Aim, analyse, proportion, remedies
from elbowroom.viewer import main

# Every place outside [terminals] in which a schedule names a run, by the bare name.
PLAN = """
[source]
run = "T1"
[sections]
T2 = "450x300 mm"
[limits.B2]
max_height = "150 mm"
[duct.runs.B1]
material = "flexible duct, nonmetallic with wire, fully extended"
compression = "10 %"
[duct.runs.T3]
roughness = "1 mm"
[[elbows.exception]]
run = "T3"
construction = "mitred"
[[elbows.exception]]
run = "T2"
bend = 2
radius_ratio = 2.0
[[takeoffs.exception]]
run = "B2"
entry = "45 degree entry"
[[transitions.exception]]
run = "T4"
length = "50 mm"
[terminals]
T4.flow = "250 L/s"
B1.flow = "300 L/s"
B2.flow = "200 L/s"
"""


def _drawing() -> Drawing:
    smaller = ("T4", [[15, 4, 2], [15, 8, 2]], rectangular(0.2, 0.2))
    return drawing_from_runs(
        [*ROUTE, smaller], attributes={"T1": Attributes(source=True)}
    )


def _sized(drawing: Drawing) -> Drawing:
    """The same with its sections in its names, as a format without extras has it."""
    names = [f"{run.name} {run.section.words}" for run in drawing.runs if run.section]
    return replace(drawing, names=names)


@pytest.fixture
def plan(tmp_path: Path) -> Path:
    path = tmp_path / "a.schedule.toml"
    path.write_text(PLAN, encoding="utf-8")
    return path


@pytest.mark.parametrize("ending", ["obj", "dxf", "vtp", "glb"])
def test_a_converted_drawing_loses_the_same_by_the_same_schedule(
    ending: str, plan: Path, tmp_path: Path
) -> None:
    drawing, said = _drawing(), read_schedule(plan)
    path = tmp_path / f"b.{ending}"
    write(drawing, path)
    before = analyse(build(drawing, said))
    unstated = {"unit": "m", "up": "z"} if ending == "obj" else {}
    after = analyse(build(read(path, **unstated), said))
    np.testing.assert_allclose(after.path_loss, before.path_loss, rtol=1e-5)
    if ending == "obj":
        assert after.graph.drawing.names[1] != "T2"


def test_a_size_in_a_name_is_not_written_twice(tmp_path: Path) -> None:
    """A name that says its section keeps it; one that says another gets the new one."""
    path = tmp_path / "b.obj"
    points = [[0, 0, 0], [4, 0, 0]], [[0, 1, 0], [4, 1, 0]]
    same = ("T1 600x300", points[0], rectangular(0.6, 0.3))
    other = ("T2 600x300", points[1], rectangular(0.4, 0.3))
    write(drawing_from_runs([same, other]), path)
    assert list(read(path, unit="m", up="z").names) == ["T1 600x300", "T2 400x300mm"]


def test_each_name_counts_without_its_section(plan: Path) -> None:
    said = read_schedule(plan)
    drawing = _drawing()
    whole = analyse(build(drawing, said))
    sized = analyse(build(_sized(drawing), said))
    np.testing.assert_array_equal(sized.elements.loss, whole.elements.loss)
    np.testing.assert_array_equal(
        sized.conditions.compression, whole.conditions.compression
    )
    # And each of them changes something, so that the test is one.
    plain = Schedule(source=said.source, terminals=said.terminals)
    bare = analyse(build(drawing, plain))
    for part in (
        "sections",
        "run_materials",
        "run_roughness",
        "elbow_exceptions",
        "takeoff_exceptions",
        "transition_exceptions",
    ):
        given: dict[str, Any] = {part: getattr(said, part)}
        other = replace(plain, **given)
        one = analyse(build(drawing, other))
        two = analyse(build(_sized(drawing), other))
        assert not np.array_equal(one.elements.loss, bare.elements.loss), part
        np.testing.assert_array_equal(two.elements.loss, one.elements.loss)


def test_a_tap_at_a_closed_end_is_known_by_its_bare_name() -> None:
    drawing = drawing_from_runs(
        [
            ("T", [[0, 0, 3], [5, 0, 3]], rectangular(0.5, 0.3)),
            ("B", [[5, 0, 3], [5, 4, 3]], round_section(0.2)),
        ],
        attributes={"T": Attributes(source=True, source_at_end=False)},
    )
    plain = Schedule(terminals={"B": TerminalSpec(0.2)})
    said = replace(plain, closed_ends={"B": True})
    bare, one, two = (
        analyse(build(drawn, plan)).critical_loss
        for drawn, plan in ((drawing, plain), (drawing, said), (_sized(drawing), said))
    )
    assert one == two > bare


def test_sizing_and_remedies_know_the_bare_names(plan: Path) -> None:
    said = read_schedule(plan)
    found = [
        proportion(drawing, said, Aim("equal friction", rate=0.8))
        for drawing in (_drawing(), _sized(_drawing()))
    ]
    chosen = [[choice.chosen for choice in one.choices] for one in found]
    assert chosen[0] == chosen[1]
    (b2,) = [c for c in found[1].choices if c.run.startswith("B2")]
    assert b2.chosen.height <= 0.15 + 1e-9
    tried = [
        remedies(analyse(build(drawing, said)), lambda _: 0, "mm", lambda work: work)
        for drawing in (_drawing(), _sized(_drawing()))
    ]
    assert [one.what for one in tried[0]] == [one.what for one in tried[1]]


def _faults(text: str, drawing: Drawing, tmp_path: Path) -> list[str]:
    path = tmp_path / "b.schedule.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(BadInput) as bad:
        build(drawing, read_schedule(path))
    return [fault.sentence for fault in bad.value.faults]


@pytest.mark.parametrize(
    ("part", "where"),
    [
        ('[source]\nrun = "T11"', "[source]"),
        ('[sections]\nT11 = "600x300 mm"', "[sections]"),
        ('[limits.T11]\nmax_height = "1 m"', "[limits]"),
        ('[duct.runs.T11]\nroughness = "1 mm"', "[duct.runs]"),
        (
            '[[elbows.exception]]\nrun = "T11"\nradius_ratio = 1.5',
            "[[elbows.exception]]",
        ),
        (
            '[[takeoffs.exception]]\nrun = "T11"\nentry = "plain"',
            "[[takeoffs.exception]]",
        ),
        (
            '[[transitions.exception]]\nrun = "T11"\nlength = "1 m"',
            "[[transitions.exception]]",
        ),
    ],
)
def test_a_name_that_no_run_goes_by_gets_the_nearest(
    part: str, where: str, tmp_path: Path
) -> None:
    said, *_ = _faults(part, _sized(_drawing()), tmp_path)
    assert f"{where}: the drawing has no run 'T11'; did you mean 'T1'" in said


def test_a_name_of_two_runs_is_not_guessed_at(tmp_path: Path) -> None:
    drawing = _sized(_drawing())
    names = ["T1 600x300", "T2 400x300", "T3 300x250", "B 250x250", "B 300x200", "T4"]
    text = '[[takeoffs.exception]]\nrun = "B"\nentry = "45 degree entry"'
    said, *_ = _faults(text, replace(drawing, names=names), tmp_path)
    assert "2 runs of the drawing go by 'B': 'B 250x250' and 'B 300x200'" in said


def test_a_run_that_is_named_twice_is_refused(tmp_path: Path) -> None:
    text = '[sections]\nT2 = "450x300 mm"\n"T2 400×300 mm" = "450x250 mm"'
    said, *_ = _faults(text, _sized(_drawing()), tmp_path)
    assert "is the same run as 'T2'; delete one of the two" in said


def test_a_shared_schedule_may_name_runs_of_the_other_route(plan: Path) -> None:
    said = read_schedule(plan)
    text = {("X9", 0): said.elbow_exceptions["T3", 0], **said.elbow_exceptions}
    shared = replace(said, elbow_exceptions=text)
    for name in ("X9", "X9 300×200 mm"):
        graph = build(_sized(_drawing()), shared, other_drawings=[{name}])
        plain = build(_sized(_drawing()), said)
        assert (graph.bends.construction == plain.bends.construction).all()


def test_a_name_with_an_old_section_finds_the_run_of_that_name(tmp_path: Path) -> None:
    """As a schedule names runs before the drawing is written with other sizes."""
    drawing = _sized(_drawing())
    path, bare = tmp_path / "a.toml", [run.name for run in _drawing().runs]
    text = PLAN
    for name in bare:
        full = f"{name} 777x333 mm"
        text = text.replace(f'"{name}"', f'"{full}"').replace(
            f".{name}]", f'."{full}"]'
        )
        text = text.replace(f"\n{name}.", f'\n"{full}".').replace(
            f"\n{name} =", f'\n"{full}" ='
        )
    path.write_text(text, encoding="utf-8")
    old, short = read_schedule(path), tmp_path / "b.toml"
    short.write_text(PLAN, encoding="utf-8")
    one, other = (
        analyse(build(drawing, old)),
        analyse(build(drawing, read_schedule(short))),
    )
    np.testing.assert_array_equal(one.elements.loss, other.elements.loss)
    # Two runs of that name leave a doubt.
    names = ["T1 600x300 mm", "T1 500x300 mm", *drawing.names[2:]]
    with pytest.raises(BadInput, match="2 runs of the drawing go by 'T1 777x333 mm'"):
        build(replace(drawing, names=names), old)


OLD, NEW, ROUND = "office D250", "office D315", round_section(0.3)
SPOKEN = Schedule(  # of the office by the name that it has in another drawing
    terminals={"trunk": TerminalSpec(0.2), "office": TerminalSpec(0.3)},
    run_roughness={OLD: 1e-3},
    takeoff_exceptions={OLD: TakeoffEntry.CONICAL},
    components=(ComponentSpec(OLD, "silencer", 15.0),),
    elbow_exceptions={(OLD, 1): ElbowRule(ElbowConstruction.MITRED)},
    file="s.toml",
)


def _office(*names: str, size: Section | None = ROUND) -> Drawing:
    """Branches of those names, each with an elbow, from a trunk with the source."""
    branches = [
        (name, [[4 + at, 0, 3], [4 + at, 3, 3], [4 + at, 3, 6]], size)
        for at, name in enumerate(names)
    ]
    trunk = ("trunk", [[0, 0, 3], [8, 0, 3]], rectangular(0.5, 0.4))
    words = {"trunk": Attributes(source=True, source_at_end=False)}
    return drawing_from_runs([trunk, *branches], attributes=words, file="b.toml")


def _notices(graph: DuctGraph) -> list[str]:
    return [said.sentence for said in graph.notices if "another" in said.sentence]


@pytest.mark.parametrize("others", [[{OLD}], [{OLD}, {NEW}]])
def test_a_name_of_another_drawing_finds_the_run_of_another_section(
    others: list[set[str]],
) -> None:
    """The losses are those that the drawing has with the schedule alone."""
    alone = analyse(build(_office(NEW), SPOKEN))
    graph = build(_office(NEW), SPOKEN, other_drawings=others)
    assert analyse(graph).path_loss.tolist() == alone.path_loss.tolist()
    assert graph.schedule.run_roughness == {NEW: 1e-3}
    (said,) = _notices(graph)
    assert f"'{OLD}' means '{NEW}'; where a run is made otherwise" in said


def test_what_a_schedule_says_of_a_run_by_its_own_name_goes_first() -> None:
    own = ComponentSpec(NEW, "silencer", 9.0)
    coil = ComponentSpec(OLD, "coil", 8.0)
    plan = replace(
        SPOKEN,
        run_roughness={OLD: 1e-3, NEW: 2e-3},
        components=(*SPOKEN.components, coil, own),
    )
    said = build(_office(NEW), plan, other_drawings=[{OLD}]).schedule
    assert said.run_roughness == {NEW: 2e-3}
    assert said.components == (replace(coil, run=NEW), own)
    assert said.takeoff_exceptions == {NEW: TakeoffEntry.CONICAL}
    # Of a name for several the one with a number, by whichever section.
    plan = replace(
        SPOKEN,
        components=(),
        run_roughness={"office": 2e-3, f"{OLD} (2)": 1e-3},
        terminals={**SPOKEN.terminals, "office (2)": TerminalSpec(0.1)},
    )
    graph = build(
        _office(NEW, f"{NEW} (2)"), plan, other_drawings=[{OLD, f"{OLD} (2)"}]
    )
    assert graph.schedule.run_roughness == {NEW: 2e-3, f"{NEW} (2)": 1e-3}


def test_a_run_that_stands_beside_it_in_another_drawing_is_not_the_same() -> None:
    graph = build(_office(NEW), SPOKEN, other_drawings=[{OLD, NEW}])
    assert (graph.schedule.run_roughness, graph.schedule.components) == ({}, ())
    assert not _notices(graph)
    # The first of several is found by its number in whichever it stands.
    plan = replace(SPOKEN, components=(), run_roughness={f"{NEW} (1)": 1e-3})
    graph = build(_office(NEW), plan, other_drawings=[{OLD, NEW}])
    assert graph.schedule.run_roughness == {NEW: 1e-3}
    assert not _notices(graph)


@pytest.mark.parametrize("both", [False, True])
def test_a_terminal_by_its_own_name_goes_before_one_of_another_drawing(
    both: bool,
) -> None:
    """Also where a third drawing has both, and in what is built from the graph."""
    ends = {"trunk": TerminalSpec(0.2), OLD: TerminalSpec(0.3), NEW: TerminalSpec(0.1)}
    plan = replace(SPOKEN, terminals=ends)
    others = [{OLD}, {OLD, NEW}] if both else [{OLD}]
    graph = build(_office(NEW), plan, other_drawings=others)
    assert sorted(graph.terminals.flow.tolist()) == [0.1, 0.2]
    assert list(graph.schedule.terminals) == ["trunk", NEW]
    said = " ".join(_notices(graph))
    assert f"left out, as it has others by the names here: '{OLD}' for '{NEW}'" in said
    # Of two that neither is its own none is guessed at.
    ends = {"trunk": ends["trunk"], OLD: ends[OLD], "office D200": ends[NEW]}
    plan = Schedule(terminals=ends)
    with pytest.raises(BadInput, match=f"say it of '{NEW}' by that name"):
        build(_office(NEW), plan, other_drawings=[{OLD}, {"office D200"}])


def test_a_name_of_another_drawing_that_may_mean_two_runs_is_left_out_and_said() -> (
    None
):
    drawing = _office(NEW, "office D200")
    ends = {"trunk": TerminalSpec(0.2), NEW: TerminalSpec(0.3)}
    ends["office D200"] = TerminalSpec(0.1)
    plan = replace(SPOKEN, terminals=ends)
    graph = build(drawing, plan, other_drawings=[{OLD}])
    assert (graph.schedule.run_roughness, graph.schedule.components) == ({}, ())
    (said,) = _notices(graph)
    assert said.startswith(
        f"b.toml: what s.toml says of '{OLD}', a run of another drawing, is left out, "
        f"as 2 runs have that name with other sections: '{NEW}' and 'office D200'; say"
    )
    # Nor is the first of three sections guessed at.
    plan = replace(
        SPOKEN, components=(), run_roughness={OLD: 1e-3, "office D200": 2e-3}
    )
    with pytest.raises(BadInput, match=f"say it of '{NEW}' by that name"):
        build(_office(NEW), plan, other_drawings=[{OLD}, {"office D200"}])


def test_a_section_of_another_drawing_overrules_none_that_is_drawn() -> None:
    plan = replace(SPOKEN, sections={OLD: round_section(0.25)})
    graph = build(_office(NEW), plan, other_drawings=[{OLD}])
    assert 0.25 not in graph.ducts.width
    assert graph.schedule.run_roughness
    said, _ = _notices(graph)
    assert f"the section that s.toml says of '{OLD}', a run of another" in said
    bare = _office(NEW, size=None)
    assert 0.25 in build(bare, plan, other_drawings=[{OLD}]).ducts.width


def test_options_are_compared_as_each_is_analysed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """By one schedule, or by copies of it, whose names are of the first drawing."""
    monkeypatch.chdir(tmp_path)
    text = (
        f'[[component]]\nrun = "{OLD}"\nname = "silencer"\nloss = "15 Pa"\n'
        '[terminals]\ntrunk.flow = "200 L/s"\noffice.flow = "300 L/s"\n'
    )
    for name, run in (("a", OLD), ("b", NEW)):
        write(_office(run), Path(f"{name}.glb"))
        Path(f"{name}.schedule.toml").write_text(text)
    alone = analyse(build(read("b.glb"), read_schedule(Path("b.schedule.toml"))))
    for given in ([], ["--schedule", "a.schedule.toml"]):
        assert main(["compare", "a.glb", "b.glb", "--json", *given]) == 0
        first, second = json.loads(capsys.readouterr().out)["options"]
        assert first["critical_loss_pa"] == second["critical_loss_pa"]
        assert second["critical_loss_pa"] == pytest.approx(alone.critical_loss)
    # One of its own may name no run of another option.
    Path("b.schedule.toml").write_text(text.replace(OLD, "hall"))
    of_hall = text.replace(OLD, "hall").replace("office.", "hall.")
    Path("a.schedule.toml").write_text(of_hall)
    write(_office("hall"), Path("a.glb"))
    assert main(["compare", "a.glb", "b.glb"]) == 2
    assert "b.schedule.toml, [[component]]: the drawing has no run 'hall'" in (
        capsys.readouterr().err
    )


def test_a_draft_survives_what_proportion_writes(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("r.obj").write_text(
        "o plenum 16x16in\nv 0 0 0\nv 0 0 40\nl 1 2\n"
        "o trunk 16x10in\nv 0 0 40\nv 200 0 40\nl 3 4\n"
        "o bath D6in\nv 100 0 40\nv 100 80 40\nl 5 6\n"
    )
    assert main(["check", "r.obj", "--unit", "in", "--draft", "r.schedule.toml"]) == 0
    plan = Path("r.schedule.toml")
    head, plenum, trunk, bath = plan.read_text().split("[terminals.")
    assert (plenum[:8], trunk[:7], bath[:6]) == ('"plenum"', '"trunk"', '"bath"')
    text = f"{head.replace('# at', 'at', 1)}[terminals.{trunk}[terminals.{bath}"
    plan.write_text(text.replace('= "..."', '= "120 cfm"', 2))
    sized = ["proportion", "r.obj", "--unit", "in", "--rate", "0.8 Pa/m"]
    assert main([*sized, "--out", "sized.glb"]) == 0
    assert main(["analyse", "sized.glb", "--schedule", "r.schedule.toml"]) == 0


COMPOSED, APART = "K\xfcche", "Ku\u0308che"  # one name, as two systems write it


@pytest.mark.parametrize(("drawn", "said"), [(APART, COMPOSED), (COMPOSED, APART)])
@pytest.mark.parametrize("ending", ["toml", "obj", "glb", ""])
def test_accents_may_be_written_in_two_ways(
    drawn: str, said: str, ending: str, tmp_path: Path
) -> None:
    path, plan = tmp_path / f"route.{ending or 'glb'}", tmp_path / "plan.toml"
    run = f"{drawn} D200"
    points = [[0.0, 0.0, 3.0], [8.0, 0.0, 3.0]]
    if ending == "toml":
        path.write_text(
            f'unit = "m"\n[[run]]\nname = "{run}"\npoints = {points}\n'
            f'source = "start"\nterminal = "b{drawn}"\n',
            encoding="utf-8",
        )
    elif ending == "obj":
        path.write_text(f"o {run}\nv 0 0 3\nv 8 0 3\nl 1 2\n", encoding="utf-8")
    else:
        words = {run: Attributes(source=True, terminal=f"b{drawn}")}
        made = drawing_from_runs([(run, points, round_section(0.2))], attributes=words)
        write(made, path)
    drawing = read(path) if ending else made
    assert drawing.names == [f"{COMPOSED} D200"]
    terminal = f"{said} D200" if ending == "obj" else f"b{said}"
    plan.write_text(
        f'[terminals."{terminal}"]\nflow = "100 L/s"\n'
        f'[source]\nrun = "{said} D200"\n[limits."{said}"]\nas_drawn = true\n',
        encoding="utf-8",
    )
    graph = build(drawing, read_schedule(plan))
    assert graph.terminals.flow.tolist() == [0.1]
    assert not any("Ku" in notice.sentence for notice in graph.notices)


def test_one_name_in_two_ways_is_one_name(tmp_path: Path) -> None:
    path = tmp_path / "a.obj"
    path.write_text(
        f"o {COMPOSED}\nv 0 0 3\nv 8 0 3\nl 1 2\no {APART}\nv 9 0 3\nv 9 4 3\nl 3 4\n",
        encoding="utf-8",
    )
    assert read(path).names == [COMPOSED, f"{COMPOSED} (2)"]
    path = tmp_path / "plan.toml"
    entry = '[terminals."{}"]\nflow = "{} L/s"\n'
    path.write_text(entry.format(COMPOSED, 100) + entry.format(APART, 50), "utf-8")
    with pytest.raises(BadInput, match=f"'{COMPOSED}' is there twice, its accents"):
        read_schedule(path)


@pytest.mark.parametrize("at_run", [False, True])
def test_a_schedule_made_in_memory_composes_its_names(at_run: bool) -> None:
    run = round_section(0.2)
    drawing = drawing_from_runs(
        [(APART, [[0, 0, 3], [8, 0, 3], [8, 4, 3]], None)], flows={COMPOSED: 0.1}
    )
    end = TerminalSpec(0.1, run=APART) if at_run else TerminalSpec(0.1)
    schedule = Schedule(
        source=SourceSpec(run=APART),
        components=(ComponentSpec(APART, "coil", loss=20.0),),
        sections={APART: run},
        run_materials={APART: "galvanised steel"},
        run_roughness={APART: 1e-3},
        run_compression={APART: 0.04},
        run_words={APART: RunWords(roll=0.0)},
        elbow_exceptions={(APART, 1): ElbowRule(radius_ratio=1.5)},
        takeoff_exceptions={APART: TakeoffEntry.RADIUS},
        closed_ends={APART: False},
        transition_exceptions={APART: TransitionRule()},
        limits={APART: RunLimits()},
        terminals={f"hall {APART}" if at_run else APART: end},
    )
    assert {name for _, name in schedule.named_runs} == {COMPOSED}
    graph = build(drawing, schedule)
    assert list(graph.terminals.name) == [f"hall {COMPOSED}" if at_run else COMPOSED]
    assert graph.bends.radius.tolist() == pytest.approx([0.3])


def test_a_schedule_that_says_one_name_in_two_ways_is_refused() -> None:
    steps = {COMPOSED: round_section(0.2), APART: round_section(0.3)}
    with pytest.raises(ValueError, match="twice, its accents in two forms"):
        Schedule(sections=steps)


def test_a_run_that_is_not_there_is_told_with_those_that_are() -> None:
    drawing = drawing_from_runs(
        [
            (
                f"piece {name}",
                np.array([[x, 0.0, 3], [x + 1, 0, 3]]),
                round_section(0.2),
            )
            for x, name in enumerate("abcdefghijk")
        ],
        flows={"piece k": 0.1},
        attributes={"piece a": Attributes(source=True)},
    )

    def said(run: str) -> str:
        with pytest.raises(BadInput) as bad:
            build(drawing, Schedule(sections={run: round_section(0.1)}))
        return bad.value.faults[0].remedy

    assert said("nothing") == (
        "its runs are "
        + ", ".join(f"'piece {name}'" for name in "abcdefgh")
        + " and 3 more"
    )
    names = [f"F{row} dia 200" for row in range(1, 12)]
    drawing = replace(drawing, names=names)
    assert said("F3") == "did you mean 'F3 dia 200'"


TRUNK = ["G1 600x300", "G1 600x300 (2)", "G1 600x300 (3)"]
LINED = 'material = "fibrous glass duct liner, spray coated"'
ENDS = """
[source]
at = ["0 m", "0 m", "0 m"]
[terminals.b]
flow = "50 L/s"
[terminals."b (2)"]
flow = "60 L/s"
[terminals.G1]
flow = "300 L/s"
"""


def _namesakes(*names: str) -> Drawing:
    """A trunk in three runs and its two branches, named as a reader numbers them."""
    trunk = [[[4 * x, 0, 0], [4 * x + 4, 0, 0]] for x in range(3)]
    branches = [[[x, 0, 0], [x, 2, 0]] for x in (4, 8)]
    sections = [rectangular(0.6, 0.3)] * 3 + [round_section(0.16)] * 2
    called = names or (*TRUNK, "b D160", "b D160 (2)")
    lines = zip(called, trunk + branches, sections, strict=True)
    return drawing_from_runs([(name, np.array(at), s) for name, at, s in lines])


def _read(text: str, tmp_path: Path) -> Schedule:
    path = tmp_path / "n.toml"
    path.write_text(text, encoding="utf-8")
    return read_schedule(path)


@pytest.mark.parametrize(
    "names",
    [
        (),
        ("G1", "G1 (2)", "G1 (3)", "b", "b (2)"),
        ("G1 600x300", "G1 600x300.001", "G1 600x300.002", "b", "b (2)"),
        ("G1.001", "G1.002", "G1.003", "b", "b (2)"),
        # As a format that has sections in names alone holds what was sized.
        (
            "G1 500x300mm",
            "G1 (2) 400x300mm",
            "G1 (3) 300x300mm",
            "b D9in",
            "b (2) D7in",
        ),
    ],
)
def test_a_name_that_several_runs_were_given_means_each(
    names: tuple[str, ...], tmp_path: Path
) -> None:
    text = f"""
[duct.runs.G1]
{LINED}
[sections]
G1 = "450x300 mm"
[limits.G1]
max_height = "200 mm"
[runs.G1]
roll = "0 deg"
[[takeoffs.exception]]
run = "b"
entry = "conical"
"""
    drawing = _namesakes(*names)
    graph = build(drawing, _read(ENDS + text, tmp_path))
    said = graph.schedule
    trunk, branches = set(drawing.names[:3]), set(drawing.names[3:])
    for part in (said.run_materials, said.sections, said.limits, said.run_words):
        assert set(part) == trunk
    assert set(said.takeoff_exceptions) == branches
    (told,) = [one for one in graph.notices if "means 3 runs" in one.what]
    assert "'G1' means 3 runs, 'b' means 2 runs" in told.what
    # What was found once is found again, and said as before.
    again = build(drawing, said)
    assert again.schedule == said
    assert again.notices == graph.notices


def test_a_name_with_its_number_wins_over_the_shared_one(tmp_path: Path) -> None:
    text = f"""
[duct.runs.G1]
{LINED}
[duct.runs."G1 (2)"]
roughness = "1 mm"
[[elbows.exception]]
run = "G1 600x300"
radius_ratio = 2.0
[[elbows.exception]]
run = "G1 600x300 (3)"
radius_ratio = 1.5
"""
    said = build(_namesakes(), _read(ENDS + text, tmp_path)).schedule
    assert set(said.run_materials) == {TRUNK[0], TRUNK[2]}
    assert said.run_roughness == {TRUNK[1]: 1e-3}
    ratios = {
        run: rule.radius_ratio for (run, _), rule in said.elbow_exceptions.items()
    }
    assert ratios == {TRUNK[0]: 2.0, TRUNK[1]: 2.0, TRUNK[2]: 1.5}


def test_two_names_for_the_same_runs_are_refused(tmp_path: Path) -> None:
    text = '[sections]\nG1 = "450x300 mm"\n"G1 600x300" = "400x300 mm"\n'
    said = _faults(ENDS + text, _namesakes(), tmp_path)
    assert "'G1 600x300' is the same run as 'G1'; delete one" in said[0]


def test_an_exception_that_one_of_several_runs_has_is_used(tmp_path: Path) -> None:
    text = '[[{}.exception]]\nrun = "G1"\n{}\n'
    odd = text.format("transitions", 'length = "1 m"')
    odd += text.format("elbows", "radius_ratio = 1.5")
    graph = build(_namesakes(), _read(ENDS + odd, tmp_path))
    told = [one for one in graph.notices if "declared for it" in one.what]
    assert len(told) == 2  # one for each exception, not for each run
    runs = [(run.name, run.points, run.section) for run in _namesakes().runs]
    name, points, section = runs[2]
    runs[2] = name, np.vstack([points, [12.0, 0.0, 3.0]]), section
    graph = build(drawing_from_runs(runs), _read(ENDS + odd, tmp_path))
    (told_now,) = [one for one in graph.notices if "declared for it" in one.what]
    assert told_now.what.startswith("a transition")


def test_a_component_stands_in_one_of_several_runs_by_its_place(tmp_path: Path) -> None:
    coil = '[[component]]\nrun = "G1"\nname = "coil"\nloss = "20 Pa"\n'
    said, *_ = _faults(ENDS + coil, _namesakes(), tmp_path)
    assert "3 runs of the drawing were given the name 'G1': 'G1 600x300' and" in said
    assert "'G1 600x300 (2)'" in said
    at = 'at = ["6 m", "0 m", "0 m"]\n'
    for text in (coil + at, coil.replace("G1", "G1 (2)")):
        graph = build(_namesakes(), _read(ENDS + text, tmp_path))
        (duct,) = graph.components.duct.tolist()
        assert graph.drawing.names[graph.ducts.run[duct]] == TRUNK[1]


def test_a_terminal_of_several_ends_of_one_name_is_not_guessed_at(
    tmp_path: Path,
) -> None:
    """Also where the others have an airflow of their own in the drawing."""
    drawing = replace(_namesakes(), flow=np.array([np.nan] * 4 + [0.06]))
    text = ENDS.replace('[terminals."b (2)"]\nflow = "60 L/s"\n', "")
    said, *_ = _faults(text, drawing, tmp_path)
    assert (
        "2 free ends of the drawing go by that name: 'b D160' and 'b D160 (2)'" in said
    )
    flows = build(drawing, _read(ENDS, tmp_path)).terminals
    assert dict(zip(flows.name, flows.flow.tolist(), strict=True)) == {
        "b": 0.05,
        "b (2)": 0.06,
        "G1": 0.3,  # the only one of three runs that has a free end
    }
    both = ENDS.replace('"b (2)"', '"b D160"')
    assert len(_faults(both, drawing, tmp_path)) == 2


def test_the_source_is_at_the_only_free_end_of_several_runs(tmp_path: Path) -> None:
    by_name = ENDS.replace('at = ["0 m", "0 m", "0 m"]', 'run = "G1"')
    said, *_ = _faults(by_name, _namesakes(), tmp_path)
    assert "3 runs of the drawing were given the name 'G1', and 2 of them" in said
    assert "'G1 600x300 (3)' at (12, 0, 0) m" in said
    told = by_name.replace("[terminals.G1]", '[terminals."G1 (3)"]')
    names = (*TRUNK[1:], "end 600x300", "b D160", "b D160 (2)")
    alone = by_name.replace("[terminals.G1]", "[terminals.end]")
    for drawing, text in (
        (_namesakes(), told.replace('"G1 (3)"', '"G1 600x300 (3)"')),
        (_namesakes(TRUNK[0], *names[1:]), alone),
    ):
        graph = build(drawing, _read(text, tmp_path))
        assert graph.nodes[graph.source.node].tolist() == [0, 0, 0]


def test_a_draft_gives_namesakes_their_places_where_a_name_is_in_doubt() -> None:
    drawing = replace(_namesakes(), flow=np.array([np.nan] * 4 + [0.06]))
    source = Schedule(source=SourceSpec(at=(0.0, 0.0, 0.0)))
    topology = join(drawing)
    text = draft_schedule(topology, run_sections(drawing, source), source)
    assert '[terminals."b"]' in text
    assert 'at = ["4 m", "2 m", "0 m"]' in text


@pytest.mark.parametrize("ending", ["glb", "dxf", "obj", "vtp"])
def test_a_shared_name_means_the_same_runs_in_what_is_written_of_them(
    ending: str, tmp_path: Path
) -> None:
    said = _read(f"{ENDS}[duct.runs.G1]\n{LINED}\n", tmp_path)
    drawing = _namesakes()
    sized = proportion(drawing, said, Aim("equal friction", rate=0.8))
    path = tmp_path / f"sized.{ending}"
    chosen = {choice.run: choice.chosen for choice in sized.choices}
    write(with_sections(drawing, chosen), path)
    unstated = {"unit": "m", "up": "z"} if ending == "obj" else {}
    after = analyse(build(read(path, **unstated), said))
    np.testing.assert_allclose(after.path_loss, sized.after.path_loss, rtol=1e-5)
    assert len(after.graph.schedule.run_materials) == 3


def test_a_change_of_one_run_is_none_of_others_of_its_name() -> None:
    lines = [[0, 0, 8, 0], [8, 0, 16, 0], [16, 0, 24, 0], [8, 0, 8, 3], [16, 0, 16, 3]]
    won = []
    for names in (["T", "T (2)", "T (3)"], ["R1", "R2", "R3"]):
        drawing = drawing_from_runs(
            [
                (name, np.array([[a, b, 3.0], [c, d, 3.0]]), cut)
                for name, (a, b, c, d), cut in zip(
                    [*names, "b1", "b2"],
                    lines,
                    [rectangular(0.3, 0.2)] * 3 + [round_section(0.2)] * 2,
                    strict=True,
                )
            ],
            flows={names[2]: 0.15, "b1": 0.15, "b2": 0.15},
            attributes={names[0]: Attributes(source=True, source_at_end=False)},
        )
        found = remedies(analyse(build(drawing)))
        won.append([(one.what, one.won, one.side_effects) for one in found])
    assert len(won[0]) > 3
    assert won[0] == won[1]


ADVISED = re.compile(r"'(\w+ (?:600x300|D160) \(\d\))'")


@pytest.mark.parametrize(
    "part",
    [
        '[[elbows.exception]]\nrun = "{}"\nconstruction = "mitred"',
        '[sections]\n"{}" = "450x300 mm"',
        '[source]\nrun = "{}"',
    ],
)
@pytest.mark.parametrize(
    "name", ["G1 600x300.007", "G1.007", "G1 (7)", "G1 (7) 500x300", "end (1)"]
)
def test_a_number_that_no_copy_has_is_none_of_another(
    name: str, part: str, tmp_path: Path
) -> None:
    text = ENDS if "[source]" not in part else ENDS.split("]\n", 2)[2]
    said, *_ = _faults(f"{part.format(name)}\n{text}", _namesakes(), tmp_path)
    assert f"the drawing has no run '{name}'; " in said
    if name.startswith("G1"):
        assert "did you mean 'G1'" in said


def test_a_terminal_with_a_number_that_no_copy_has_is_refused(tmp_path: Path) -> None:
    drawing = _namesakes("G1", "G2", "G3", "b D160", "c")
    text = ENDS.replace("terminals.G1", "terminals.G3").replace("b (2)", "c")
    assert build(drawing, _read(text, tmp_path)).terminals.name == ("b", "G3", "c")
    text = text.replace("terminals.b", 'terminals."b.007"')
    said = _faults(text, drawing, tmp_path)
    assert "has no free end 'b.007'; did you mean 'b'" in said[0]


@pytest.mark.parametrize(
    ("names", "first", "own"),
    [
        ((), "G1 (1)", TRUNK[0]),
        ((), "G1 600x300 (1)", TRUNK[0]),
        (("G1", "G1 (2)", "G1 (3)", "b", "b (2)"), "G1 (1)", "G1"),
        (
            ("G1 600x300.001", "G1 600x300", "G1 600x300 (2)", "b", "b (2)"),
            "G1 (1)",
            "G1 600x300",
        ),
        (
            ("G1 (2) 400x300mm", "G1 500x300mm", "G1 (3) 300x300", "b", "b (2)"),
            "G1 (1) 600x300",
            "G1 500x300mm",
        ),
    ],
)
def test_the_first_of_several_runs_goes_by_the_number_one(
    names: tuple[str, ...], first: str, own: str, tmp_path: Path
) -> None:
    drawing = _namesakes(*names)
    text = f'[duct.runs.G1]\n{LINED}\n[duct.runs."{first}"]\nroughness = "1 mm"\n'
    said = build(drawing, _read(ENDS + text, tmp_path)).schedule
    assert said.run_roughness == {own: 1e-3}
    assert set(said.run_materials) == set(drawing.names[:3]) - {own}
    # A drawing with one such run has no other that it may mean.
    alone = build(
        replace(drawing, names=["G1 600x300", "H", "G2", "b", "b (2)"]),
        _read(ENDS.replace("terminals.G1", "terminals.G2") + text, tmp_path),
    )
    assert alone.schedule.run_roughness == {"G1 600x300": 1e-3}


def test_a_run_that_is_drawn_with_the_number_one_is_not_the_first(
    tmp_path: Path,
) -> None:
    drawing = _namesakes("G1", "G1 (2)", "G1 (1)", "b", "b (2)")
    text = '[duct.runs."G1 (1)"]\nroughness = "1 mm"\n'
    plan = ENDS.replace("terminals.G1", 'terminals."G1 (1)"')
    assert set(build(drawing, _read(plan + text, tmp_path)).schedule.run_roughness) == {
        "G1 (1)"
    }
    coil = '[[component]]\nrun = "G1"\nname = "coil"\nloss = "20 Pa"\n'
    said, *_ = _faults(plan + coil, drawing, tmp_path)
    assert "write its name with the number, 'G1 (2)', or the place" in said


@pytest.mark.parametrize("drawn", ["G1 (1)", "G1 (1) 500x300"])
@pytest.mark.parametrize("others", [("G1 (2)", "G2"), ("G1", "G1 (2)"), ("a", "c")])
def test_a_run_drawn_with_the_number_one_is_found_by_its_old_size(
    drawn: str, others: tuple[str, str]
) -> None:
    """As any other number is, in a drawing that was written with other sizes."""
    drawing = _namesakes(drawn, *others, "b", "b2")
    ends = {
        others[1]: TerminalSpec(0.1),
        "b": TerminalSpec(0.1),
        "b2": TerminalSpec(0.1),
    }
    for name in ("G1 (1) 600x300", "G1 400x300 (1)", "G1 (1)"):
        plan = Schedule(
            source=SourceSpec(at=(0.0, 0.0, 0.0)),
            terminals=ends,
            run_roughness={name: 1e-3},
        )
        assert build(drawing, plan).schedule.run_roughness == {drawn: 1e-3}


@pytest.mark.parametrize("size", ["", "300x200", "250x200"])
@pytest.mark.parametrize("number", ["", " (1)", " (2)"])
def test_a_run_of_the_other_drawing_is_known_by_any_of_its_names(
    size: str, number: str
) -> None:
    """By those that it goes by there; any other is refused."""
    other = ("R 300x200", "R 300x200 (2)")
    ends = {name: TerminalSpec(0.1) for name in ("G3", "b", "b2")}
    source = SourceSpec(at=(0.0, 0.0, 0.0))
    drawing = _namesakes("G1", "G2", "G3", "b", "b2")
    for name in (f"R{number} {size}".strip(), f"R {size}".strip() + number):
        plan = Schedule(source=source, terminals=ends, run_roughness={name: 1e-3})
        graph = build(drawing, plan, other_drawings=[other])
        assert not graph.schedule.run_roughness
    plan = replace(plan, run_roughness={f"R (3) {size}".strip(): 1e-3})
    with pytest.raises(BadInput, match=r"the drawing has no run 'R \(3\)"):
        build(drawing, plan, other_drawings=[other])


def test_what_a_component_is_told_to_write_is_read(tmp_path: Path) -> None:
    coil = '[[component]]\nrun = "G1"\nname = "coil"\nloss = "20 Pa"\n'
    said, *_ = _faults(ENDS + coil, _namesakes(), tmp_path)
    advised = ADVISED.findall(said.split(";")[1])
    assert len(advised) == 3
    for name, run in zip(advised, TRUNK, strict=True):
        graph = build(_namesakes(), _read(ENDS + coil.replace("G1", name), tmp_path))
        (duct,) = graph.components.duct.tolist()
        assert graph.drawing.names[graph.ducts.run[duct]] == run


def test_what_a_source_is_told_to_write_is_read(tmp_path: Path) -> None:
    by_name = ENDS.replace('at = ["0 m", "0 m", "0 m"]', 'run = "G1"')
    said, *_ = _faults(by_name, _namesakes(), tmp_path)
    first, last = ADVISED.findall(said.split(";")[1])
    text = by_name.replace('run = "G1"', f'run = "{first}"')
    graph = build(_namesakes(), _read(text, tmp_path))
    assert graph.nodes[graph.source.node].tolist() == [0, 0, 0]
    text = by_name.replace('run = "G1"', f'run = "{last}"')
    text = text.replace("terminals.G1", f'terminals."{first}"')
    graph = build(_namesakes(), _read(text, tmp_path))
    assert graph.nodes[graph.source.node].tolist() == [12, 0, 0]
    assert dict(zip(graph.terminals.name, graph.terminals.flow, strict=True))[
        first
    ] == pytest.approx(0.3)


def test_runs_of_a_name_at_none_of_which_air_enters_are_not_told_apart(
    tmp_path: Path,
) -> None:
    """The name of one of them would be refused as well."""
    drawing = _namesakes("in", "G1", "G1 (2)", "b", "b (2)")
    text = ENDS.replace('at = ["0 m", "0 m", "0 m"]', 'run = "G1"')
    text = text.replace("terminals.G1", 'terminals."G1 (2)"')
    said, *_ = _faults(text, drawing, tmp_path)
    assert "the air can enter at none of them; write the name of a run whose" in said
    graph = build(drawing, _read(text.replace('run = "G1"', 'run = "in"'), tmp_path))
    assert graph.nodes[graph.source.node].tolist() == [0, 0, 0]


def test_what_a_terminal_is_told_to_write_is_read(tmp_path: Path) -> None:
    drawing = replace(_namesakes(), flow=np.array([np.nan] * 4 + [0.06]))
    text = ENDS.replace('[terminals."b (2)"]\nflow = "60 L/s"\n', "")
    said, *_ = _faults(text, drawing, tmp_path)
    first, other = ADVISED.findall(said.split("or named")[1])
    text = ENDS.replace("terminals.b]", f'terminals."{first}"]')
    text = text.replace("b (2)", other)
    flows = build(drawing, _read(text, tmp_path)).terminals
    assert dict(zip(flows.name, flows.flow.tolist(), strict=True)) == {
        first: 0.05,
        other: 0.06,
        "G1": 0.3,
    }
    # Its number is no help where it was written, but the name in full is.
    drawing = _namesakes(*TRUNK, "b (2) D160", "b (2) D150")
    said, *_ = _faults(
        ENDS.replace('[terminals.b]\nflow = "50 L/s"\n', ""), drawing, tmp_path
    )
    assert "or named 'b (2) D160' and 'b (2) D150'" in said


def test_the_source_is_the_other_end_of_one_named_by_the_number_one() -> None:
    drawing = drawing_from_runs(
        [
            ("a D200", np.array([[0.0, 0, 0], [4, 0, 0]]), round_section(0.2)),
            ("a D200 (2)", np.array([[4.0, 0, 0], [8, 0, 0]]), round_section(0.2)),
        ]
    )
    graph = build(drawing, Schedule(terminals={"a (1)": TerminalSpec(0.1)}))
    assert graph.nodes[graph.source.node].tolist() == [8, 0, 0]


def test_the_run_shown_as_one_with_a_number_has_one(tmp_path: Path) -> None:
    drawing = _namesakes("G1.001", "G1", "G2", "b", "c")
    text = ENDS.replace("terminals.G1", "terminals.G2").replace("b (2)", "c")
    graph = build(drawing, _read(f"{text}[duct.runs.G1]\n{LINED}\n", tmp_path))
    (told,) = [one for one in graph.notices if "means 2 runs" in one.what]
    assert "as 'G1.001'" in told.remedy


COPIES = [
    ("T", "T.001", "T.002", "b", "b.001"),
    ("T", "T (2)", "T (3)", "b", "b (2)"),
    ("T 500x300", "T 500x300.001", "T 500x300.002", "b D300", "b D300.001"),
    ("T 600x300", "T 600x300 (2)", "T (3) 600x300", "b D160", "b (2) D160"),
    ("T.001", "T.001 (2)", "T.002", "b.101", "b.102"),
]


@pytest.mark.parametrize("ending", ["obj", "dxf", "vtp", "glb"])
@pytest.mark.parametrize("names", COPIES)
@pytest.mark.parametrize("is_sized", [False, True])
def test_a_written_drawing_keeps_the_names_of_its_copies(
    is_sized: bool, names: tuple[str, ...], ending: str, tmp_path: Path
) -> None:
    """Each with its number goes on meaning one run, and the name without it each."""
    drawing = _namesakes(*names)
    written = drawing
    if is_sized:  # one alone, and those of the other name
        new = {names[1]: rectangular(0.45, 0.3)}
        new |= dict.fromkeys(names[3:], round_section(0.18))
        written = with_sections(drawing, new)
    path = tmp_path / f"a.{ending}"
    assert not any("is written as" in one.what for one in write(written, path))
    again = read(path, **({"unit": "m", "up": "z"} if ending == "obj" else {}))
    plan = Schedule(
        source=SourceSpec(at=(0.0, 0.0, 0.0)),
        terminals={
            name: TerminalSpec(flow)
            for name, flow in zip(names[2:], (0.3, 0.05, 0.06), strict=True)
        },
    )
    for name in (*names, "T", "b"):
        said = replace(plan, run_roughness={name: 1e-3})
        one, other = (
            analyse(build(drawn, said)) for drawn in (with_sections(written, {}), again)
        )
        assert list(map(again.names.index, other.graph.schedule.run_roughness)) == [
            *map(written.names.index, one.graph.schedule.run_roughness)
        ]
        np.testing.assert_allclose(other.path_loss, one.path_loss, rtol=1e-5)


def test_a_name_that_its_new_size_makes_another_is_told(tmp_path: Path) -> None:
    drawing = _namesakes("G1", "G2 600x300", "500x300", "b D160", "b 200x100")
    said = write(drawing, tmp_path / "a.obj")
    (told,) = [one for one in said if "is written as" in one.what]
    assert "'500x300' is written as '600x300mm' and 1 more, as OBJ has" in told.what
    new = read(tmp_path / "a.obj", unit="m", up="z").names
    assert new == ["G1 600x300mm", "G2 600x300", "600x300mm", "b D160", "b D160mm"]
    graph = build(
        replace(drawing, names=new),
        _read(
            ENDS.replace("terminals.b]", 'terminals."b D160"]')
            .replace("b (2)", "b D160mm")
            .replace("terminals.G1", 'terminals."600x300mm"'),
            tmp_path,
        ),
    )
    assert sorted(graph.terminals.flow.tolist()) == [0.05, 0.06, 0.3]


def test_a_number_behind_nothing_but_a_section_is_of_that_name_alone() -> None:
    drawing = _namesakes("G1", "G2", "500x300", "b", "D160.001")
    with pytest.raises(BadInput, match=r"the drawing has no run '500x300\.001'"):
        build(drawing, Schedule(run_roughness={"500x300.001": 1e-3}))
