"""What stands in the way of an analysis is told in one go, each thing once."""

import json
from pathlib import Path

import numpy as np
import pytest

from elbowroom.layout import (
    Attributes,
    BadInput,
    Drawing,
    ElbowConstruction,
    ElbowRule,
    FloatArray,
    Schedule,
    Section,
    audit,
    build,
    drawing_from_runs,
    rectangular,
    round_section,
    write_gltf,
)
from elbowroom.physics import friction, settled_audit
from elbowroom.viewer import main

TRUNK, SMALL, WIDE = rectangular(0.5, 0.3), round_section(0.2), round_section(0.8)


def path_of(*points: list[float]) -> FloatArray:
    return np.array(points, dtype=np.float64)


def job(office: Section | None = None, gap: float = 0.0, flow: float = 0.1) -> Drawing:
    """An office without a section or a lounge without an airflow, a bend too tight."""
    return drawing_from_runs(
        [
            ("trunk", path_of([0, 0, 3], [9, 0, 3]), TRUNK),
            ("office", path_of([3, gap, 3], [3, 4, 3]), office),
            ("lounge", path_of([4, 0, 3], [4, 4, 3]), SMALL),
            ("hall", path_of([6, 0, 3], [6, -4, 3], [9, -4, 3]), WIDE),
        ],
        flows={"office": flow, "hall": 0.5},
        attributes={
            "trunk": Attributes(source=True, source_at_end=False),
            "hall": Attributes(bend_radius=0.3),
        },
        file="job.glb",
    )


def told(drawing: Drawing, schedule: Schedule | None = None) -> list[str]:
    seen, _ = settled_audit(audit(drawing, schedule))
    return [f"{one.sentence} {one.effect}" for one in seen.findings]


def once(words: str, findings: list[str]) -> str:
    (found,) = [one for one in findings if words in one]
    return found


def test_a_missing_section_hides_no_airflow_and_no_bend() -> None:
    found = told(job())
    assert "run 'office'" in once("has no section", found)
    wanting = [one for one in found if "has no airflow" in one]
    assert ["run 'lounge'" in one for one in wanting] == [True, False]
    assert "run 'hall', bend 1" in once("the bend is too tight", found)
    # Nothing is told that hangs on the section that is not known.
    assert not [one for one in found if "jumps" in one]
    with pytest.raises(BadInput) as bad:
        build(job())
    assert len(bad.value.faults) == 3


def test_a_missing_airflow_hides_no_bend_and_no_jump_of_a_section() -> None:
    found = told(job(SMALL))
    assert "run 'hall', bend 1" in once("the bend is too tight", found)
    assert once("the source is taken at", found)


def test_a_bend_behind_an_unknown_section_is_told_only_where_it_is_sure() -> None:
    """A flat duct may stand so that the same bend goes the easy way."""
    runs = [
        ("riser", path_of([0, 0, 0], [0, 0, 3]), None),
        ("flat", path_of([0, 0, 3], [0, 0, 6], [4, 0, 6]), rectangular(0.8, 0.3)),
    ]
    said = {
        "riser": Attributes(source=True, source_at_end=False),
        "flat": Attributes(bend_radius=0.25),
    }
    drawing = drawing_from_runs(runs, flows={"flat": 0.3}, attributes=said)
    assert not [one for one in told(drawing) if "too tight" in one]
    said["flat"] = Attributes(bend_radius=0.1)
    drawing = drawing_from_runs(runs, flows={"flat": 0.3}, attributes=said)
    assert once("too tight", told(drawing))


def test_a_drawn_transition_without_an_airflow_behind_it_hides_no_bend() -> None:
    """It has no section of its own, and lacks none."""
    drawing = drawing_from_runs(
        [
            ("first", path_of([0, 0, 3], [3, 0, 3], [3, 4, 3]), SMALL),
            ("piece", path_of([3, 4, 3], [3, 5, 3]), None),
            ("last", path_of([3, 5, 3], [3, 8, 3]), round_section(0.25)),
        ],
        attributes={
            "first": Attributes(source=True, source_at_end=False),
            "piece": Attributes(transition=True),
        },
    )
    heel = ElbowRule(ElbowConstruction.SQUARE_THROAT)
    found = told(drawing, Schedule(elbow_default=heel))
    assert "run 'first', bend 1" in once("is not made", found)
    assert "run 'last'" in once("has no airflow", found)


def test_a_name_that_no_run_has_hides_no_airflow() -> None:
    plan = Schedule(file="job.toml", run_roughness={"loung": 1e-3})
    found = told(job(SMALL), plan)
    assert "did you mean 'lounge'" in once("has no run 'loung'", found)
    assert sum("has no airflow" in one for one in found) == 2


def write(tmp_path: Path, drawing: Drawing, text: str = "") -> tuple[str, str]:
    route, plan = tmp_path / "job.glb", tmp_path / "job.toml"
    write_gltf(drawing, route)
    plan.write_text(text, encoding="utf-8")
    return str(route), str(plan)


def test_a_half_filled_schedule_is_told_with_what_is_wrong_in_the_drawing(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    text = (
        '[sections]\noffice = "..."\n[terminals.lounge]\nflow = "..."\n'
        '[terminals.trunk]\nflow = "200 L/s"\n[losses]\nfilter = "..."\n'
    )
    route, plan = write(tmp_path, job(), text)
    assert main(["check", route, "--schedule", plan]) == 2
    out, err = capsys.readouterr()
    printed = " ".join(out.split())
    places = "[losses] filter, [sections] office, [terminals.lounge] flow"
    what = f'job.toml: 3 values are still to fill in, as "..." stands there: {places}'
    assert printed.count(what) == 1
    # What is to be filled in is not told of the drawing again, nor asked for again.
    assert "has no section" not in printed
    assert "has no airflow" not in printed
    assert "the bend is too tight" in printed
    assert "job.toml cannot be used as it stands: see 1 error" in err
    assert "--draft" not in err
    assert main(["check", route, "--schedule", plan, "--json"]) == 2
    problems = json.loads(capsys.readouterr().out)["problems"]
    assert problems[0]["severity"] == "error"
    assert what in problems[0]["sentence"]
    # Nothing else takes such a schedule.
    assert main(["analyse", route, "--schedule", plan]) == 2
    assert what in " ".join(capsys.readouterr().err.split())


def test_bends_are_not_judged_by_a_rule_that_is_still_to_fill_in(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    route, plan = write(tmp_path, job(), '[elbows]\nconstruction = "..."\n')
    assert main(["check", route, "--schedule", plan]) == 2
    printed = capsys.readouterr().out
    assert "[elbows] construction: it is still to fill in" in " ".join(printed.split())
    assert "too tight" not in printed


def test_a_load_without_a_temperature_is_told_with_the_rest(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    route, plan = write(tmp_path, job(), '[terminals.lounge]\nload = "900 W"\n')
    assert main(["check", route, "--schedule", plan]) == 2
    printed = " ".join(capsys.readouterr().out.split())
    assert printed.count('[terminals."lounge"]') == 1
    assert "run 'office': the run has no section" in printed


def test_a_gap_is_told_once_with_what_it_parts_off() -> None:
    found = told(job(SMALL, gap=0.17))
    said = once("ends at the side of run 'trunk'", found)
    assert "it parts off run 'office' with a separate part of 3.83 m" in said
    assert sum("separate part" in one for one in found) == 2  # and how many there are


def test_a_draft_asks_for_no_airflow_at_a_gap(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    runs = [
        ("trunk", path_of([0, 0, 3], [6, 0, 3]), TRUNK),
        ("next", path_of([6.03, 0, 3], [9, 0, 3]), TRUNK),
    ]
    said = {"trunk": Attributes(source=True, source_at_end=False)}
    # The other end of 'next' has no airflow either.
    route, _ = write(tmp_path, drawing_from_runs(runs, attributes=said))
    draft = tmp_path / "draft.toml"
    assert main(["check", route, "--draft", str(draft)]) == 0
    capsys.readouterr()
    asked, commented = draft.read_text("utf-8").split("# Ends that nearly meet")
    assert "at (9, 0, 3) m" in asked
    assert "(6, 0, 3)" not in asked
    assert "(6.03, 0, 3)" not in asked
    assert "at (6, 0, 3) m, it ends 30 mm (1.2 in) short of run 'next'" in commented
    assert "at (6.03, 0, 3) m, where run 'trunk' ends 30 mm (1.2 in) off" in commented


def test_alike_notes_are_one_entry_and_the_json_has_each(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    sides = np.linspace(0.9, 0.3, 10)
    runs = [
        (f"part {at}", path_of([3 * at, 0, 3], [3 * at + 3, 0, 3]), rectangular(w, 0.3))
        for at, w in enumerate(sides.tolist())
    ]
    said = {"part 0": Attributes(source=True, source_at_end=False)}
    drawing = drawing_from_runs(runs, flows={"part 9": 0.5}, attributes=said)
    route, _ = write(tmp_path, drawing)
    assert main(["check", route]) == 0
    printed = " ".join(capsys.readouterr().out.split())
    assert printed.count("the section jumps from") == 1
    assert "8 more like it: run 'part 2', at (6, 0, 3) m; " in printed
    assert "run 'part 6', at (18, 0, 3) m and 3 more" in printed
    assert main(["check", route, "--json"]) == 0
    problems = json.loads(capsys.readouterr().out)["problems"]
    assert sum("the section jumps" in one["what"] for one in problems) == 9


def test_every_wrong_material_is_told_as_it_is_written(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    text = (
        '[duct]\nmaterial = "tin"\n[duct.runs."office"]\nmaterial = "spiral tin"\n'
        '[duct.runs.lounge]\nmaterial = "tin"\n[duct.runs.hall]\nmaterial = "rubber"\n'
    )
    route, plan = write(tmp_path, job(SMALL), text)
    main(["check", route, "--schedule", plan])
    printed = " ".join(capsys.readouterr().out.split())
    tin = """[duct] material, [duct.runs."lounge"] material: the material 'tin' is"""
    assert printed.count(tin) == 1
    assert """[duct.runs."office"] material: the material 'spiral tin' is""" in printed
    assert """[duct.runs."hall"] material: the material 'rubber' is""" in printed


@pytest.mark.parametrize(
    ("text", "best"),
    [
        ("galvanised steel, spiral", "galvanized steel spiral seam, 10 ft joints"),
        ("galvanised steel, spirall", "galvanized steel spiral seam, 10 ft joints"),
        ("galvanised stel", "galvanised steel"),
        ("coarse concret", "coarse concrete"),
    ],
)
def test_the_material_offered_has_most_of_the_words(text: str, best: str) -> None:
    with pytest.raises(ValueError, match="did you mean") as said:
        friction.material_roughness(text)
    assert f"did you mean '{best}'" in str(said.value)


def test_a_second_drawing_is_refused_with_the_options_for_further_files(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert main(["analyse", "a.glb", "b.dxf"]) == 2
    said = capsys.readouterr().err
    assert "analyse: a job is one file, and 'b.dxf' is more; " in said
    assert "--return" in said
    assert "--obstacles" in said
    assert main(["check", "a.glb", "b.dxf", "c.dxf"]) == 2
    said = capsys.readouterr().err
    assert "'b.dxf', 'c.dxf' are more; " in said
    assert "--return" not in said
