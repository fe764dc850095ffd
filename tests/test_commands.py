"""The commands as a user gives them: results, exit codes, what is written."""

import csv
import errno
import json
import os
import re
import shutil
import subprocess
import sys
import zipfile
from collections.abc import Sequence
from dataclasses import replace
from hashlib import sha256
from html import unescape
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import trimesh
import typer
from schemas import NAMES, schema, validate

from elbowroom import viewer
from elbowroom.layout import (
    Attributes,
    BadInput,
    Notice,
    build,
    drawing_from_runs,
    read,
    rectangular,
    refusal,
    warning,
    write_gltf,
    writing,
)
from elbowroom.physics import Analysis, Option, analyse, book
from elbowroom.viewer import (
    cli,
    desk,
    failings,
    gaps,
    main,
    preflight,
    scene,
    sheets,
    sketch,
    sketch_parts,
    told_of_options,
)

EXAMPLES = Path(__file__).parents[1] / "examples"
ROOM = EXAMPLES / "reading_room"
HOUSE = EXAMPLES / "hillside_house" / "house.glb"
OPTIONS = [str(ROOM / f"{name}.glb") for name in ("under", "flatten", "sidestep")]
BEAM = str(ROOM / "beam.glb")
Captured = pytest.CaptureFixture[str]


def result(capsys: Captured, name: str, *words: str) -> dict[str, Any]:
    """Run a command with --json; its output is nothing but the JSON of a schema."""
    assert main([*words, "--json"]) == 0
    content: dict[str, Any] = json.loads(capsys.readouterr().out)
    validate(content, name)
    return content


def refused(capsys: Captured, *words: str) -> str:
    """Run a command that must be refused; what it says, without a traceback."""
    assert main([*words]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert "Traceback" not in err
    lines = err.strip().splitlines()
    said = [line for line in lines if not line.startswith("elbowroom: using")]
    assert said
    assert all(line.startswith("elbowroom: ") and line[-1] == "." for line in said)
    return err


@pytest.mark.parametrize("name", NAMES)
def test_schemas_are_closed_so_that_they_cannot_pass_anything(name: str) -> None:
    with pytest.raises(Exception, match="required"):
        validate({"schema": schema(name)["properties"]["schema"]["const"]}, name)


@pytest.mark.parametrize("route", [*OPTIONS, str(HOUSE)])
def test_analyse(route: str, capsys: Captured) -> None:
    found = result(capsys, "result", "analyse", route)
    by_id = {element["id"]: element for element in found["elements"]}
    assert len(by_id) == len(found["elements"])
    (critical,) = (path for path in found["paths"] if path["critical"])
    assert critical["loss_pa"] == found["system"]["critical_loss_pa"]
    assert critical["terminal"] == found["system"]["critical_terminal"]
    for path in found["paths"]:
        spent = sum(by_id[identifier]["loss_pa"] for identifier in path["elements"])
        assert spent == pytest.approx(path["loss_pa"])
        assert path["loss_pa"] + path["excess_pa"] == pytest.approx(critical["loss_pa"])
    for element in found["elements"]:
        if element["coefficient"] is not None:
            assert element["loss_pa"] == pytest.approx(
                element["coefficient"]
                * element["reynolds_factor"]
                * element["velocity_pressure_pa"]
            )
        assert element["source"]


def test_compare(capsys: Captured) -> None:
    found = result(capsys, "comparison", "compare", *OPTIONS, "--obstacles", BEAM)
    names = [option["name"] for option in found["options"]]
    assert names == ["under", "flatten", "sidestep"]
    # The beam's underside and face against the ducts' outer surfaces, by hand.
    gaps = [option["clearance_m"] for option in found["options"]]
    assert gaps == pytest.approx([0.1, 0.075, 0.15], abs=2e-3)
    assert [option["rank"] for option in found["options"]] == [2, 1, 3]
    assert all(not option["clashes"] for option in found["options"])
    totals = [option["totals"] for option in found["options"]]
    losses = [option["critical_loss_pa"] for option in found["options"]]
    assert [t["change_pa"] for t in totals] == pytest.approx(
        np.subtract(losses, losses[0])
    )
    assert all(
        low < loss < high
        for loss, (low, high) in zip(
            losses, (t["critical_loss_band_pa"] for t in totals), strict=True
        )
    )
    assert [t["fitting_count"] for t in totals] == [12, 10, 12]
    assert "'flatten' spends least" in found["verdict"]


def test_an_option_with_other_air_gets_no_rank(
    capsys: Captured, tmp_path: Path
) -> None:
    plan = (ROOM / "schedule.toml").read_text(encoding="utf-8")
    for name, flow in (("one", "0.36 m3/s"), ("less", "0.30 m3/s")):
        shutil.copy(OPTIONS[0], tmp_path / f"{name}.glb")
        (tmp_path / f"{name}.schedule.toml").write_text(
            plan.replace("0.36 m3/s", flow), encoding="utf-8"
        )
    routes = [str(tmp_path / "one.glb"), str(tmp_path / "less.glb")]
    found = result(capsys, "comparison", "compare", *routes)
    assert [option["rank"] for option in found["options"]] == [None, None]
    assert "so none is ranked" in found["verdict"]
    assert "spends least" not in found["verdict"]
    assert main(["compare", *routes]) == 0
    out = capsys.readouterr().out
    assert "cannot be built" not in out
    assert "no. 1" not in out


def test_the_verdict_speaks_the_units_of_its_table(capsys: Captured) -> None:
    assert main(["compare", *OPTIONS, "--units", "inch-pound"]) == 0
    out = capsys.readouterr().out
    assert "'flatten' spends least: 0.2463 in.wg" in out
    assert " Pa on its critical path" not in out


def test_check(capsys: Captured) -> None:
    found = result(capsys, "check", "check", OPTIONS[0])
    assert found["junction_count"] == 3
    flows = {run["name"]: run["flow_m3_s"] for run in found["runs"]}
    assert flows["T1"] == pytest.approx(1.08)


def test_fitting_by_dimensions_and_by_parameters_agree(capsys: Captured) -> None:
    shop = result(
        capsys, "fitting", "fitting", "rect elbow smooth",
        "--width", "12in", "--height", "9in", "--radius", "6in", "--flow", "900 cfm",
    )  # fmt: skip
    table = result(
        capsys, "fitting", "fitting", "rect_elbow_smooth",
        "--set", "r_over_W=1.0", "--set", "H_over_W=0.75", "--set", "angle_deg=90",
    )  # fmt: skip
    assert shop["coefficient"] == pytest.approx(table["coefficient"])
    # ASHRAE Handbook Fundamentals 2005, p. 35.52: r/W 1, H/W 0.75.
    assert table["coefficient"] == pytest.approx(0.22, abs=0.011)
    low, high, mean = shop["equivalent_length_window_m"]
    assert high == pytest.approx(3 * low)
    assert mean == pytest.approx((low + high) / 2)


def test_sources(capsys: Captured) -> None:
    found = result(capsys, "sources", "sources")
    tables = {table["name"]: table for table in found["tables"]}
    assert len(tables) > 60
    data = Path(__file__).parents[1] / "physics" / "data"
    for name, table in tables.items():
        content = (data / f"{name}.csv").read_bytes()
        assert table["checksum"] == sha256(content).hexdigest()
        # What is asked is no result; some lists of sizes and velocities have none.
        lists = {"standard_sizes", "velocity_limits"}
        if table["ranges"] and name not in lists:
            head = content.decode().partition("\n")[0].split(",")
            tail = head.index("reference_velocity" if "C" in head else "source")
            assert head[tail - 1] not in table["ranges"]
        told = ("factor", "multiplier", "coefficient", "exponent", "roughness", "C_")
        assert not [c for c in table["ranges"] if any(word in c for word in told)]
    assert list(tables["pair_s_bend_smooth_factor"]["ranges"]) == [
        "angle_deg",
        "L_over_D",
    ]
    smooth = tables["rect_elbow_smooth"]
    assert smooth["ranges"]["H_over_W"] == [0.25, 8.0]
    assert smooth["confidence"] == "cross-checked"
    assert main(["sources", "--materials"]) == 0
    listed = capsys.readouterr().out
    assert "galvanised steel" in listed
    for material in found["materials"]:
        assert material["name"] in listed
    assert any("vanes" in entry["what"] for entry in found["missing"])
    for words in (["sources"], ["sources", "--missing"]):
        assert main(words) == 0
        assert capsys.readouterr().out.strip()


def test_size_like_another_duct(capsys: Captured) -> None:
    """F04 of worked_examples.json: 6 x 27.4 in; 6 x 25 in rubs a fifth more."""
    found = result(
        capsys, "size", "size", "--like", "12x12in", "--max-height", "6in",
        "--series", "in", "--flow", "900 cfm",
    )  # fmt: skip
    assert found["exact"]["width_m"] / 0.0254 == pytest.approx(27.39, abs=0.01)
    by_width = {round(row["width_m"] / 0.0254): row for row in found["sizes"]}
    assert by_width[25]["friction_over_like"] == pytest.approx(1.21, abs=0.02)
    assert by_width[28]["friction_over_like"] <= 1.0
    assert any("rule of thumb" in note for note in found["notes"])
    words = ["size", "--like", "12x12in", "--max-height", "6in"]
    assert main([*words, "--units", "inch-pound"]) == 0
    out = capsys.readouterr().out
    assert "27.4×6 in" in out
    assert "25×6 in" in out
    assert "+21 %" in out
    assert main(words) == 0
    out = capsys.readouterr().out
    # Width first, in the exact size as in the table.
    assert "304.8×304.8 mm, by Huebscher's formula: 695.7×152.4 mm" in out
    assert "width × height" in out
    assert "650×152.4 mm" in out
    assert "675×152.4 mm" not in out  # no step of the series


def test_size_like_says_short_only_what_is_short(capsys: Captured) -> None:
    """9 x 6 in rubs a thousandth less than D8 in: by the formula it is too narrow."""
    words = ["size", "--like", "D8in", "--max-height", "6in", "--units", "inch-pound"]
    found = result(capsys, *words[:1], *words)
    (nine,) = (row for row in found["sizes"] if abs(row["width_m"] - 0.2286) < 1e-6)
    assert 0.99 < nine["friction_over_like"] < 1.0
    assert nine["bound_by"] == "friction rate"
    assert not any("falls short" in note for note in found["notes"])
    assert main(words) == 0
    out = capsys.readouterr().out
    assert "-0 %" not in out
    assert re.search(r"9×6 in .* 0 %", out)


def test_size_like_credits_the_formula_of_the_shape(capsys: Captured) -> None:
    for duct, credit in (
        ("20x8in oval", "by the formulas of Heyt and Diaz and of Huebscher:"),
        ("20x8in", "by Huebscher's formula:"),
    ):
        assert main(["size", "--like", duct, "--max-height", "6in"]) == 0
        assert credit in " ".join(capsys.readouterr().out.split())


def test_size_like_marks_what_is_flatter_than_4_to_1(capsys: Captured) -> None:
    words = ["size", "--like", "12x12in", "--series", "in", "--units", "inch-pound"]
    assert main([*words, "--max-height", "6in"]) == 0
    lines = capsys.readouterr().out
    assert re.search(r"24×6 in .*\+31 % *$", lines, re.MULTILINE)  # 4 to 1
    assert re.search(r"25×6 in .*\+21 %, flatter", lines)
    assert "4 of these 5 sizes are flatter than 4 to 1" in " ".join(lines.split())
    found = result(capsys, "size", *words, "--max-height", "7in")
    assert max(row["aspect"] for row in found["sizes"]) <= 4.0
    assert not any("4 to 1" in note for note in found["notes"])


def test_size_like_counts_the_sizes_that_it_shows(capsys: Captured) -> None:
    """None is wider than 3 m, which is said where all that are shown are too narrow."""
    words = ["size", "--like", "900x900mm", "--max-height", "300mm"]
    found = result(capsys, "size", *words)
    assert max(row["width_m"] for row in found["sizes"]) == pytest.approx(3.0)
    assert {row["bound_by"] for row in found["sizes"]} == {"too narrow"}
    count = len(found["sizes"])
    flat, ends = found["notes"][-2:]
    assert f"{count} of these {count} sizes are flatter" in flat
    assert "the series ends at 3 m" in ends
    enough = result(capsys, "size", *words[:3], "--max-height", "500mm")
    assert not any("series ends" in note for note in enough["notes"])


def test_no_round_size_is_offered_off_the_series(capsys: Captured) -> None:
    words = ["size", "--flow", "30 m3/s", "--rate", "0.3 Pa/m"]
    found = result(capsys, "size", *words)
    assert {row["shape"] for row in found["sizes"]} == {"rect", "oval"}
    (note,) = found["notes"]
    assert "no round duct of the series is large enough" in note
    assert "Ø1250 mm" in note


def test_the_smallest_round_size_is_bound_by_the_series(capsys: Captured) -> None:
    words = ["size", "--rate", "10 Pa/m", "--flow"]
    bound = {}
    for flow in ("1 L/s", "20 L/s"):
        found = result(capsys, "size", *words, flow)
        bound[flow] = found["sizes"][0]["words"], found["sizes"][0]["bound_by"]
    assert bound["1 L/s"] == ("Ø63 mm", "smallest of the series")
    assert bound["20 L/s"][1] == "friction rate"


def test_size_for_a_rate(capsys: Captured) -> None:
    found = result(
        capsys, "size", "size", "--flow", "500 L/s", "--rate", "0.8 Pa/m",
        "--max-height", "250 mm",
    )  # fmt: skip
    assert {row["shape"] for row in found["sizes"]} == {"rect", "oval"}
    for row in found["sizes"]:
        assert row["friction_pa_m"] <= 0.8
        assert row["height_m"] <= 0.25
    assert main(["size", "--flow", "500 L/s"]) == 0
    out = capsys.readouterr().out
    assert "friction" in out
    sized = re.findall(r"^ (?:Ø\d+|\d+×\d+)(.*)", out, re.MULTILINE)
    assert len(sized) > 5
    assert all(rest.startswith(" mm") for rest in sized)


def test_sizes_are_those_of_ducts(capsys: Captured) -> None:
    assert main(["size", "--flow", "900 cfm", "--max-velocity", "0.1 m/s"]) == 0
    out = capsys.readouterr().out
    assert "e+" not in out
    found = result(
        capsys, "size", "size", "--flow", "900 cfm", "--max-velocity", "0.1 m/s"
    )
    sides = ("width_m", "height_m", "diameter_m")
    assert max(row[side] or 0.0 for row in found["sizes"] for side in sides) <= 3.0
    said = refused(capsys, "size", "--flow", "900 cfm", "--max-velocity", "0.01 m/s")
    assert "no size of the series up to 3 m" in said


@pytest.mark.parametrize(
    ("units", "window", "other"),
    [
        ("metric", "over 1.47 Pa/m to 0.49 Pa/m", "in.wg"),
        ("inch-pound", "over 0.180 in.wg/100 ft to 0.060 in.wg/100 ft", "Pa"),
    ],
)
def test_the_desk_speaks_one_system_of_units(
    units: str, window: str, other: str, capsys: Captured
) -> None:
    words = ["round-elbow", "--diameter", "8in", "--radius", "4in", "--flow", "300 cfm"]
    words += ["--rate", "0.8 Pa/m"]
    assert main(["fitting", *words, "--units", units]) == 0
    out = capsys.readouterr().out
    assert window in out
    assert other not in out


def test_a_check_in_a_file_has_its_unit(tmp_path: Path, capsys: Captured) -> None:
    assert main(["analyse", str(HOUSE), "--csv", str(tmp_path)]) == 0
    capsys.readouterr()
    with (tmp_path / "checks.csv").open(encoding="utf-8-sig", newline="") as stream:
        units = {row["dimension"]: row["unit"] for row in csv.DictReader(stream)}
    assert units["velocity"] == "m/s"
    assert units["temperature"] == "K"
    assert units["airflow"] == "m3/s"
    assert all(units.values())


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["size"], "--flow"),
        (["size", "--flow", "500"], "no unit"),
        (["size", "--flow", "0 cfm"], "above zero"),
        (
            ["size", "--flow", "500 cfm", "--temperature", "900 C"],
            "-60 °C (-76 °F) and 150 °C (302 °F), got 900 °C (1652 °F)",
        ),
        (["size", "--flow", "500 cfm", "--altitude", "90 km"], "no unit of length"),
        (["size", "--like", "12x12"], "no unit"),
        (["size", "--like", "12x12in"], "--max-height"),
        (["size", "--like", "12x12in", "--rate", "1 Pa/m"], "does not go with"),
        (["size", "--like", "12x12in", "--max-height", "10 mm"], "20 m"),
        (
            ["size", "--like", "0.001x0.001 mm", "--max-height", "25 mm"],
            "size, --like: the friction of that duct",
        ),
        (["size", "--flow", "9 m3/s", "--max-height", "100 mm"], "limits"),
    ],
)
def test_sizes_that_cannot_be(words: list[str], said: str, capsys: Captured) -> None:
    assert said in refused(capsys, *words)


def test_a_junction_answers_for_each_leg(capsys: Captured) -> None:
    listed = result(capsys, "kinds", "fitting", "--list")
    kinds = {kind["kind"]: kind for kind in listed["kinds"]}
    kind = kinds["junction-round-diverging"]
    settings = []
    for given in kind["parameters"]:
        middle = (given["low"] + min(given["high"], 1.0)) / 2
        settings += ["--set", f"{given['name']}={middle}"]
    found = result(capsys, "fitting", "fitting", "junction round diverging", *settings)
    assert [leg["leg"] for leg in found["legs"]] == ["branch", "main"]


def test_tables_are_printed_and_files_written(tmp_path: Path, capsys: Captured) -> None:
    folder = tmp_path / "tables"
    assert (
        main(["analyse", str(HOUSE), "--units", "inch-pound", "--csv", str(folder)])
        == 0
    )
    out = capsys.readouterr().out
    assert "in.wg" in out
    assert "cfm" in out or "fpm" in out
    written = sorted(path.name for path in folder.iterdir())
    assert written
    for path in folder.iterdir():
        with path.open(encoding="utf-8", newline="") as file:
            table = list(csv.reader(file))
        assert len({len(row) for row in table}) == 1


def test_what_is_cut_of_long_tables_is_counted(
    tmp_path: Path, capsys: Captured
) -> None:
    """Of dampers those that close most stand last: what none can set is never cut."""
    route = tmp_path / "main.toml"
    route.write_text(
        'unit = "m"\n[[run]]\nname = "M"\nsection = "600x300"\n'
        'points = [[0, 0, 3], [90, 0, 3]]\nsource = "start"\n'
        '[[run]]\nname = "end"\nsection = "600x300"\nflow = "20 L/s"\n'
        "points = [[90, 0, 3], [92, 0, 3]]\n"
        + "".join(
            f'[[run]]\nname = "B{n}"\nsection = "D{160 if n > 1 else 250}"\n'
            f'flow = "{20 if n > 1 else 1} L/s"\n'
            f"points = [[{2 * n}, 0, 3], [{2 * n}, 2, 3]]\n"
            for n in range(1, 45)
        )
    )
    assert main(["analyse", str(route)]) == 0
    out = capsys.readouterr().out
    paths, balancing = out.partition("Single-blade")[0].split("Balancing, the least")
    assert "and 5 more, with --csv" in paths
    told = result(capsys, "result", "analyse", str(route))["balance"]
    assert len(told) == 45
    late = [row for row in told[40:] if row["can_be_balanced"]]
    assert 0 < len(late) < 5
    for row in told:
        assert (f" {row['terminal']} " in balancing) == (row not in late)
    assert f"and {len(late)} more, with --csv, or in the report" in balancing


def test_metric_and_inch_pound_agree(capsys: Captured) -> None:
    for units in ("metric", "inch-pound"):
        assert main(["compare", *OPTIONS, "--units", units]) == 0
    out = capsys.readouterr().out
    assert "Pa" in out
    assert "in.wg" in out


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["analyse", "nowhere.glb"], "there is no such file"),
        (["analyse", str(EXAMPLES)], "folder"),
        (["analyse", str(HOUSE), "--unit", "furlong"], "--unit: 'furlong'"),
        (["analyse", str(HOUSE), "--up", "x"], "--up: 'x'"),
        (["convert", str(HOUSE), "x.obj", "--unit", "yd"], "--unit: 'yd'"),
        (["analyse", str(HOUSE), "--tolerance", "1"], "unit"),
        (["analyse", str(HOUSE), "--tolerance", "5 m"], "0 to 1 m"),
        (["analyse", str(HOUSE), "--units", "imperial"], "imperial"),
        (["analyse", str(HOUSE), "--by", "mood"], "mood"),
        (["analyse", str(HOUSE), "--schedule", "none.toml"], "none.toml"),
        (["compare", OPTIONS[0]], "two routes"),
        (["compare", *OPTIONS, "--obstacles", "none.glb"], "none.glb"),
        (
            ["compare", *OPTIONS, "--obstacles", BEAM, "--obstacles-unit", "furlong"],
            "--obstacles-unit",
        ),
        (
            ["compare", *OPTIONS, "--obstacles", BEAM, "--obstacles-up", "x"],
            "--obstacles-up",
        ),
        (["fitting"], "--list"),
        (["fitting", "round-elbow", "--list"], "--list"),
        (["fitting", "--list", "--draw", "x.png"], "--list"),
        (["sources", "--missing", "--materials"], "--materials"),
        (["fitting", "rect elbow smoth"], "rect-elbow-smooth"),
        (["fitting", "rect-elbow-smooth", "--width", "12"], "unit"),
        (["fitting", "rect-elbow-smooth", "--set", "r_over_W"], "NAME=VALUE"),
        (["fitting", "rect-elbow-smooth", "--set", "r_over_w=1"], "r_over_W"),
        (["fitting", "rect-elbow-smooth", "--set", "angle_deg=90"], "r_over_W"),
        (["measure"], "elbowroom --help"),
        (["analyse"], "elbowroom analyse --help"),
        (["analyse", str(HOUSE), "--colour"], "elbowroom analyse --help"),
        (["compare", OPTIONS[0], OPTIONS[0]], "the same drawing is given twice"),
        (
            ["report", str(HOUSE), "--out", "r.html", "--remarks", "none.json"],
            "there is no such file",
        ),
    ],
)
def test_bad_words(words: list[str], said: str, capsys: Captured) -> None:
    assert said in refused(capsys, *words)


@pytest.mark.parametrize("both", [False, True])
def test_a_reader_that_leaves_early_costs_no_file(both: bool, tmp_path: Path) -> None:
    """As `| head -1` does: what is asked for besides is still written."""
    command = [sys.executable, "-m", "elbowroom", "analyse", str(HOUSE), "--csv"]
    with subprocess.Popen(
        [*command, str(tmp_path / "tables")],
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT if both else None,
    ) as process:
        assert process.stdout is not None
        process.stdout.close()
        assert process.wait(timeout=120) == 0
    assert list((tmp_path / "tables").glob("*.csv"))


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("[terminals.kitchen]", "[terminals.kitchn]", "did you mean 'kitchen'"),
        ('"2650 Btu/h"', '"2650"', "no unit"),
        ("load =", "laod =", "did you mean 'load'"),
        ('run = "riser"', 'run = "rizer"', "did you mean 'riser'"),
    ],
)
def test_schedules_that_do_not_fit(
    old: str, new: str, said: str, tmp_path: Path, capsys: Captured
) -> None:
    text = (HOUSE.parent / "house.schedule.toml").read_text(encoding="utf-8")
    assert old in text
    path = tmp_path / "plan.toml"
    path.write_text(text.replace(old, new, 1), encoding="utf-8")
    assert said in refused(capsys, "analyse", str(HOUSE), "--schedule", str(path))


def test_nothing_is_written_over_an_input(tmp_path: Path, capsys: Captured) -> None:
    route = tmp_path / "route.glb"
    shutil.copy(HOUSE, route)
    plan = tmp_path / "route.schedule.toml"
    shutil.copy(HOUSE.parent / "house.schedule.toml", plan)
    before = route.read_bytes(), plan.read_bytes()
    link = tmp_path / "link.png"
    link.symlink_to(route)
    for command in ("analyse", "view"):
        for output in (route, plan):
            said = refused(capsys, command, str(route), "--png", str(output))
            assert "NAME.png" in said
        said = refused(capsys, command, str(route), "--png", str(link))
        assert "not written over" in said
    said = refused(capsys, "analyse", str(route), "--csv", str(plan))
    assert "not written over" in said
    assert "folder" in refused(
        capsys, "view", str(route), "--png", str(tmp_path / "none" / "a.png")
    )
    assert (route.read_bytes(), plan.read_bytes()) == before


WRITERS: dict[str, list[Any]] = {
    "d.png": ["analyse", HOUSE, "--png"],
    "p.html": ["analyse", HOUSE, "--page"],
    "w.xlsx": ["analyse", HOUSE, "--xlsx"],
    "t": ["analyse", HOUSE, "--csv"],
    "v.png": ["view", HOUSE, "--png"],
    "r.html": ["report", HOUSE, "--out"],
    "r.pdf": ["report", HOUSE, "--out"],
    "c.dxf": ["convert", HOUSE],
    "c.glb": ["convert", HOUSE],
    "c.obj": ["convert", HOUSE],
    "c.vtp": ["convert", HOUSE],
    "f.glb": ["check", HOUSE, "--fix"],
    "o.glb": ["proportion", HOUSE, "--out"],
    "q": ["quantities", HOUSE, "--csv"],
    "q.xlsx": ["quantities", HOUSE, "--xlsx"],
    "s.svg": ["fitting", "round-elbow", "--diameter=8in", "--radius=4in", "--draw"],
}  # fmt: skip


@pytest.mark.parametrize("name", WRITERS)
def test_what_cannot_be_written_is_said_before_the_work(
    name: str, tmp_path: Path, capsys: Captured, monkeypatch: pytest.MonkeyPatch
) -> None:
    words = [*map(str, WRITERS[name]), str(tmp_path / name)]
    is_folder = "." not in name
    (tmp_path / name).touch() if is_folder else (tmp_path / name).mkdir()
    said = refused(capsys, *words)
    assert name in said
    assert "not a folder" in said if is_folder else "a folder has that name" in said
    (tmp_path / name).unlink() if is_folder else (tmp_path / name).rmdir()
    # As where a folder is read-only, which nothing is for a test run as root.
    monkeypatch.setattr("os.access", lambda _, mode: not mode & os.W_OK)
    assert "no right to write" in refused(capsys, *words)
    assert not (tmp_path / name).exists()


@pytest.mark.parametrize("name", sorted(set(WRITERS) - {"r.pdf", "v.png"}))
def test_what_fails_while_it_is_written_is_said_too(
    name: str, tmp_path: Path, capsys: Captured, monkeypatch: pytest.MonkeyPatch
) -> None:
    # Where the rights are only found to be missing when the file is made.
    monkeypatch.setattr(
        sys.modules[f"{viewer.__name__}.cli_outputs"],
        "can_be_written",
        lambda *_, **__: None,
    )
    (tmp_path / name).mkdir() if "." in name else (tmp_path / name).touch()
    if name == "d.png" and preflight.why_not() is not None:
        pytest.skip("there is no OpenGL")
    assert main([*map(str, WRITERS[name]), str(tmp_path / name)]) == 2
    err = capsys.readouterr().err
    assert "has that name" in err
    assert "Traceback" not in err


def test_a_full_disk_and_missing_rights_are_one_sentence_each() -> None:
    for problem, said in (
        (OSError(errno.ENOSPC, "No space left on device"), "no space left on device"),
        (PermissionError(), "no right to write"),
    ):
        with pytest.raises(BadInput, match=said), writing(Path("a.glb")):
            raise problem


@pytest.mark.parametrize("units", ["metric", "inch-pound"])
@pytest.mark.parametrize(
    "words",
    [
        ["analyse", OPTIONS[0]],
        ["compare", *OPTIONS],
        ["check", OPTIONS[0]],
        ["quantities", str(HOUSE)],
        ["proportion", str(HOUSE)],
        ["size", "--flow", "900 cfm"],
    ],
    ids=lambda words: words[0],
)
def test_a_narrow_terminal_cuts_no_number(
    words: list[str], units: str, capsys: Captured, monkeypatch: pytest.MonkeyPatch
) -> None:
    if words[0] != "check":
        words = [*words, "--units", units]
    numbers = []
    for columns in ("300", "60", "30"):
        monkeypatch.setenv("COLUMNS", columns)
        assert main(words) == 0
        out = capsys.readouterr().out
        assert "…" not in out
        found = re.findall(r"\d[\d.]*", out)
        # A table of options that is parted has the names of its lines in each part.
        numbers.append(sorted(set(found) if words[0] == "compare" else found))
    assert numbers[0] == numbers[1] == numbers[2]


@pytest.mark.parametrize("units", ["metric", "inch-pound"])
def test_at_80_columns_words_of_a_table_stand_side_by_side(
    units: str, capsys: Captured, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    assert main(["compare", *OPTIONS, "--units", units]) == 0
    out = capsys.readouterr().out
    assert re.search(r"no\. 3, too much *\n +for the fan *\n", out)
    assert main(["analyse", OPTIONS[0], "--units", units]) == 0
    out = capsys.readouterr().out
    assert "T1: straight duct" in out
    assert "Paths, the largest loss first, effective lengths at" in out
    assert max(map(len, out.split("Basis:")[0].splitlines()[4:])) <= 80


def test_strict_ends_with_code_1_where_the_fan_is_too_weak(
    tmp_path: Path, capsys: Captured
) -> None:
    text = (ROOM / "schedule.toml").read_text(encoding="utf-8")
    weak = tmp_path / "weak.toml"
    weak.write_text(text.replace('"150 Pa"', '"120 Pa"'), encoding="utf-8")
    words = ["analyse", OPTIONS[0], "--schedule", str(weak)]
    assert main(words) == 0
    assert main([*words, "--strict"]) == 1
    assert main(["analyse", OPTIONS[0], "--strict"]) == 0


@pytest.mark.parametrize("step", [1.0, 0.1])  # 373 mm of a transition want 187 mm
def test_what_cannot_be_built_fails_where_it_is_strict(
    step: float, tmp_path: Path, capsys: Captured
) -> None:
    route = tmp_path / "route.toml"
    route.write_text(
        f"""
        unit = "m"
        up = "z"
        [[run]]
        name = "a"
        section = "600x300 mm"
        source = "start"
        points = [[0, 0, 0], [{step}, 0, 0]]
        [[run]]
        name = "b"
        section = "400x300 mm"
        terminal = "hall"
        points = [[{step}, 0, 0], [9, 0, 0]]
        flow = "350 L/s"
        """,
        encoding="utf-8",
    )
    assert main(["analyse", str(route), "--strict"]) == (step < 0.187)
    assert main(["check", str(route), "--strict"]) == (step < 0.187)
    assert main(["check", str(route)]) == 0


@pytest.mark.parametrize("section", ["300x200 mm", "D200 mm"])  # rectangles have none
def test_an_elbow_that_has_no_table_fails_where_it_is_strict(
    section: str, tmp_path: Path, capsys: Captured
) -> None:
    route = tmp_path / "route.toml"
    route.write_text(
        f"""
        unit = "m"
        up = "z"
        [[run]]
        name = "a"
        section = "{section}"
        source = "start"
        points = [[0, 0, 0], [3, 0, 0], [3, 3, 0]]
        flow = "60 L/s"
        """,
        encoding="utf-8",
    )
    schedule = tmp_path / "route.schedule.toml"
    schedule.write_text('[elbows]\nconstruction = "segmented"\n', encoding="utf-8")
    refused = section == "300x200 mm"
    assert main(["check", str(route), "--strict"]) == refused
    said = "run 'a', bend 1: a rectangular elbow is not made segmented"
    assert (said in " ".join(capsys.readouterr().out.split())) == refused
    assert main(["analyse", str(route)]) == 2 * refused


@pytest.mark.parametrize("radius", ["299 mm", "301 mm"])  # half of the side is 300
def test_a_bend_that_is_too_tight_fails_where_it_is_strict(
    radius: str, tmp_path: Path, capsys: Captured
) -> None:
    route = tmp_path / "route.toml"
    route.write_text(
        """
        unit = "m"
        [[run]]
        name = "a"
        section = "600x300 mm"
        source = "start"
        flow = "900 L/s"
        points = [[0, 0, 3], [5, 0, 3], [5, 6, 3]]
        """,
        encoding="utf-8",
    )
    plan = tmp_path / "route.schedule.toml"
    plan.write_text(f'[elbows]\ncentreline_radius = "{radius}"\n', encoding="utf-8")
    for command in ("analyse", "check"):
        assert main([command, str(route), "--strict"]) == (radius == "299 mm")


def test_help_needs_none_of_the_heavy_libraries() -> None:
    code = (
        "import sys\n"
        "from elbowroom.viewer import main\n"
        "assert main(['--help']) == 0\n"
        "heavy = {'numpy', 'pyvista', 'vtkmodules', 'trimesh', 'scipy', 'networkx'}\n"
        "print(sorted(heavy & set(sys.modules)))\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, timeout=60
    )
    assert done.stdout.strip().endswith("[]"), done.stdout + done.stderr


def test_the_installed_command_ends_with_its_code(tmp_path: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "elbowroom", "check", "nowhere.glb"],
        capture_output=True, text=True, timeout=60, cwd=tmp_path,
    )  # fmt: skip
    assert done.returncode == 2, done.stderr
    assert done.stdout == ""


# --- the desk's sketch and comparison


def test_ways_to_make_a_turn_are_sorted_by_loss(capsys: Captured) -> None:
    found = result(
        capsys, "fitting", "fitting", "rect elbow mitred", "--versus",
        "--width", "12in", "--height", "12in", "--flow", "900 cfm",
    )  # fmt: skip
    losses = [row["loss_pa"] for row in found["versus"]]
    assert losses == sorted(losses)
    words = [row["what"] for row in found["versus"]]
    assert words[-1].startswith("mitred")
    assert {"square throat, radius heel", "smooth radius, two splitters"} < set(words)
    by_words = {row["what"]: row for row in found["versus"]}
    mitred = by_words["mitred: square throat and heel"]
    assert mitred["coefficient"] == found["coefficient"]
    # A turn for which splitters have no table says why, and comes last.
    steep = result(
        capsys, "fitting", "fitting", "rect-elbow-smooth", "--versus", "--angle",
        "120 deg", "--width", "12in", "--height", "12in", "--radius", "6in",
    )  # fmt: skip
    assert "splitter" in steep["versus"][-1]["what"]
    assert steep["versus"][-1]["why_not"]
    assert "no elbow" in refused(
        capsys, "fitting", "contraction", "--versus", "--set", "A_large_over_A_small=2"
    )


def test_an_elbow_with_its_open_end_is_not_set_beside_elbows_alone(
    capsys: Captured,
) -> None:
    said = refused(
        capsys, "fitting", "exit-after-elbow", "--versus", "--set", "r_over_W=1",
        "--set", "L_after_over_W=1",
    )  # fmt: skip
    assert "has an open end in it" in said
    assert "exit-abrupt" in said


def test_ways_to_make_a_turn_have_the_height_of_one_that_changes_its_width(
    capsys: Captured,
) -> None:
    found = result(
        capsys, "fitting", "fitting", "rect-elbow-mitred-area-change", "--versus",
        "--set", "H_over_W_in=1", "--set", "W_out_over_W_in=1",
    )  # fmt: skip
    rows = {row["what"]: row for row in found["versus"]}
    mitred = rows["mitred: square throat and heel"]
    assert mitred["coefficient"] == pytest.approx(found["coefficient"], rel=0.1)


def middle(kind: dict[str, Any]) -> list[str]:
    """Settings in the middle of a kind's ranges."""
    words = []
    for given in kind["parameters"]:
        low, high = given["low"], given["high"]
        value = (low + min(high, max(4.0 * low, 1.0) if high > 1 else high)) / 2
        if given["name"] in ("pieces", "splitter_count"):
            value = low
        words += ["--set", f"{given['name']}={value:g}"]
    return words


@pytest.mark.parametrize("suffix", ["png", "svg"])
def test_every_kind_has_a_sketch(suffix: str, tmp_path: Path, capsys: Captured) -> None:
    kinds = result(capsys, "kinds", "fitting", "--list")["kinds"]
    path = tmp_path / f"a.{suffix}"
    drawn = 0
    for kind in kinds if suffix == "svg" else kinds[:3]:
        words = ["fitting", kind["kind"], *middle(kind), "--draw", str(path)]
        if main([*words, "--json"]) == 2:  # a value that this kind refuses
            continue
        assert path.stat().st_size > 2000
        path.unlink()
        drawn += 1
    assert drawn > 0.8 * len(kinds if suffix == "svg" else kinds[:3])


def test_a_kind_without_a_sketch_is_refused_before_anything_is_printed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: Captured
) -> None:
    like = book.find_kind("exit-abrupt")
    monkeypatch.setitem(book.KINDS, "baffle", replace(like, name="baffle"))
    path = tmp_path / "baffle.png"
    said = refused(capsys, "fitting", "baffle", "--draw", str(path))
    assert "no sketch" in said
    assert "--draw" in said
    assert not path.exists()


def test_a_sketch_names_the_sides_as_they_were_written(
    tmp_path: Path, capsys: Captured
) -> None:
    path = tmp_path / "elbow.svg"
    words = ["fitting", "rect-elbow-smooth", "--width", "12in", "--height", "8in"]
    words += ["--radius", "6in", "--draw", str(path)]
    pictures = []
    for _ in range(2):
        assert main(words) == 0
        pictures.append(path.read_text(encoding="utf-8"))
    text = pictures[0]
    assert all(said in text for said in ("W = 12in", "H = 8in", "throat R = 6in"))
    assert pictures[0] == pictures[1]
    capsys.readouterr()
    assert "ends in .png" in refused(capsys, *words[:-1], str(tmp_path / "a.gif"))


def drawn(kind: str, *words: str) -> tuple[Any, Any]:
    """Axes of the fitting and of its section, as the sketch draws them."""
    from matplotlib.figure import Figure

    figure = Figure()
    main_axes, side = figure.add_subplot(1, 2, 1), figure.add_subplot(1, 2, 2)
    written = dict(word.split("=") for word in words)
    found = desk.desk_result(kind, [], written)
    say = sketch_parts.Words(kind, written)
    sketch._drawing_of(kind)(main_axes, side, found["parameters"], say)
    return main_axes, side


def outline(axes: Any) -> Any:
    """Size of the first area that is filled."""
    points = axes.patches[0].get_path().vertices
    return points.max(axis=0) - points.min(axis=0)


def test_a_sketch_has_the_proportions_of_what_was_written() -> None:
    """600 by 300 mm is twice as wide as it is high; 600 to 300 mm is two to one."""
    sides = "width=600 mm", "height=300 mm"
    _, side = drawn("rect-elbow-single-vanes", *sides)
    wide, high = outline(side)
    assert wide == pytest.approx(2 * high)
    _, oval = drawn("flat-oval-elbow-mitred", *sides)
    assert outline(oval) == pytest.approx(outline(side), rel=0.01)
    assert len(oval.patches[0].get_path().vertices) > 30  # round at its ends
    ends = "outlet_width=300 mm", "outlet_height=300 mm", "length=500 mm"
    narrows, _ = drawn("contraction", *sides, *ends)
    y = narrows.patches[0].get_path().vertices[:, 1]
    assert y.max() == pytest.approx(2 * np.abs(y).min())


def said_in(axes: Any) -> str:
    return " ".join(text.get_text() for text in axes.texts)


def test_a_sketch_of_a_junction_says_both_sizes() -> None:
    flows = "flow=600 L/s", "branch_flow=200 L/s"
    sizes = "diameter=300 mm", "outlet_diameter=200 mm"
    for kind in ("junction-round-diverging", "junction-symmetrical-wye"):
        axes, _ = drawn(kind, *sizes, *flows)
        lines = {line for text in axes.texts for line in text.get_text().split("\n")}
        assert {"D = 300 mm", "D = 200 mm"} <= lines
    # Two elbows back to back have two branches and nothing straight on.
    both, _ = drawn("junction-dovetail-diverging", *sizes, *flows)
    assert "other branch" in said_in(both)
    assert "straight" not in said_in(both)


def test_a_bellmouth_in_a_wall_is_drawn_in_one() -> None:
    sizes = "diameter=300 mm", "radius=30 mm"
    areas = [
        len(drawn(kind, *sizes)[0].collections)
        for kind in ("entry-bellmouth", "entry-bellmouth-free")
    ]
    assert areas[0] == areas[1] + 2


def test_a_sketch_says_where_its_number_is_from() -> None:
    sizes = {"diameter": "300 mm", "radius": "300 mm"}
    found = desk.desk_result("entry-bellmouth", [], sizes)
    said = [line for _, _, line in sketch.caption(found)]
    assert said[0] == "r/D 1"
    assert said[1] == "C = 0.030 on the duct velocity"
    assert said[2].startswith(f"source: {found['source'][:40]}")
    assert any(found["confidence"] in line for line in said[2:])
    assert "note: outside the table: its nearest end was taken" in said


def test_alone_it_shows_its_help_and_nothing_else(capsys: Captured) -> None:
    assert main([]) == 2
    out, err = capsys.readouterr()
    assert "analyse" in out
    assert err == ""


def test_help_lists_the_formats_and_units_that_are_read(
    tmp_path: Path, capsys: Captured, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "200")
    assert main(["analyse", "--help"]) == 0
    told = capsys.readouterr().out
    (tmp_path / "g.bin").write_text("garbage")
    said = refused(capsys, "analyse", str(tmp_path / "g.bin"))
    assert f"The drawn route: {said.rpartition(' give one of ')[2].strip()}" in told
    assert "clear of: GLB, glTF, OBJ, STL, PLY, IFC." in told
    assert "Unit of those solids: m, mm, cm, in, ft." in told


def test_every_option_has_a_help_text() -> None:
    program = typer.main.get_command(cli.app)
    assert isinstance(program, typer.core.TyperGroup)
    bare = [
        f"{name} {word.name}"
        for name, command in program.commands.items()
        for word in command.params
        if not getattr(word, "help", None)
    ]
    assert bare == []


@pytest.mark.parametrize("command", ["compare", "report", "view"])
def test_a_schedule_given_again_is_refused_and_not_taken_for_all(
    command: str, capsys: Captured
) -> None:
    plans = ["--schedule", "a.toml", "--schedule=b.toml"]
    assert refused(capsys, command, *OPTIONS[:2], *plans) == (
        "elbowroom: --schedule: it is given more than once, and one holds for every "
        "drawing; give it once, or leave it out and write the schedule of each drawing "
        "in NAME.schedule.toml beside it.\n"
    )


@pytest.mark.parametrize(
    "words",
    [
        ["analyse", str(HOUSE), "--schedule", "a.toml", "--schedule", "a.toml"],
        ["compare", *OPTIONS[:2], "--units", "metric", "--units", "inch-pound"],
        ["size", "--flow", "900 cfm", "--rate", "1 Pa/m", "--flow", "90 cfm"],
    ],
    ids=lambda words: words[0],
)
def test_an_option_that_holds_one_is_given_once(
    words: list[str], capsys: Captured
) -> None:
    said = refused(capsys, *words)
    option = words[-2]
    assert said == f"elbowroom: {option}: it is given more than once; give it once.\n"


def test_flags_and_options_of_several_may_be_given_again(
    tmp_path: Path, capsys: Captured
) -> None:
    assert main(["sources", "--json", "--json"]) == 0
    again = ["--units", "metric", "--units", "metric"]
    assert main(["analyse", "--help", *again]) == 0
    assert "--units" in capsys.readouterr().out
    block = tmp_path / "block.obj"
    block.write_text(
        "v 90 90 90\nv 91 90 90\nv 90 91 90\nv 90 90 91\n"
        "f 1 3 2\nf 1 2 4\nf 2 3 4\nf 1 4 3\n"
    )
    other = shutil.copy(block, tmp_path / "other.obj")
    solids = ["--obstacles", str(block), "--obstacles", str(other)]
    units = ["--obstacles-unit", "m", "--obstacles-up", "z"]
    assert main(["analyse", str(HOUSE), *solids, *units, "--json"]) == 0
    assert "paths" in json.loads(capsys.readouterr().out)


def test_options_of_one_stem_get_names_of_their_own(
    tmp_path: Path, capsys: Captured
) -> None:
    shutil.copy(ROOM / "schedule.toml", tmp_path)
    routes = [str(tmp_path / name) for name in ("under.glb", "under.obj")]
    shutil.copy(OPTIONS[0], routes[0])
    assert main(["convert", routes[0], str(tmp_path / "under.dxf")]) == 0
    (tmp_path / "other").mkdir()
    shutil.copy(OPTIONS[1], tmp_path / "other" / "under.glb")
    capsys.readouterr()
    for other, names in (
        ("under.dxf", ["under.glb", "under.dxf"]),
        ("other/under.glb", [f"{tmp_path.name}-under", "other-under"]),
    ):
        found = result(
            capsys, "comparison", "compare", routes[0], str(tmp_path / other),
            "--schedule", str(tmp_path / "schedule.toml"),
        )  # fmt: skip
        assert [option["name"] for option in found["options"]] == names


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("{}", "'schema' is missing"),
        ('{"schema": "elbowroom.remarks/1"}', "'remarks' is missing"),
        ('{"schema": "another/1"}', "its schema is 'another/1'"),
        (
            '{"schema": "elbowroom.remarks/1", "remarks": [{"option": "house", '
            '"element": 3, "name": "riser", "text": ""}]}',
            "something else than text",
        ),
        ("[]", "other JSON, or none"),
        ("pinned", "other JSON, or none"),
    ],
)
def test_remarks_that_are_none(
    text: str, said: str, tmp_path: Path, capsys: Captured
) -> None:
    (tmp_path / "remarks.json").write_text(text, encoding="utf-8")
    words = ["--out", str(tmp_path / "r.html"), "--remarks"]
    words.append(str(tmp_path / "remarks.json"))
    found = refused(capsys, "report", str(HOUSE), *words)
    assert said in found
    assert "Error" not in found


def test_quiet_says_only_what_went_wrong(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    words = ["analyse", str(HOUSE), "--csv", str(tmp_path / "tables")]
    assert main(["--quiet", *words]) == 0
    out, err = capsys.readouterr()
    assert err == ""
    assert "Critical path" in out
    assert main(words) == 0
    assert "replaced" in capsys.readouterr().err
    assert main(["--quiet", "analyse", str(tmp_path / "none.glb")]) == 2
    assert "no such file" in capsys.readouterr().err


SHARP_TURN = """
unit = "m"
up = "z"
[[run]]
name = "duct"
section = "D200"
points = [[0, 0, 3], [4, 0, 3], [2.5, 2.6, 3]]
source = "start"
flow = "150 L/s"
"""


def test_a_sharp_round_turn_gives_a_result_without_the_mitred_alternative(
    tmp_path: Path, capsys: Captured
) -> None:
    route = tmp_path / "sharp.toml"
    route.write_text(SHARP_TURN)
    found = result(capsys, "result", "analyse", str(route))
    (row,) = (a for a in found["assumptions"] if a["instead"] == "mitred elbows")
    assert row["effect_pa"] is None
    assert "tabled to 90 degrees" in row["refused"]
    assert main(["analyse", str(route)]) == 0
    assert "150 L/s to 1 terminal" in capsys.readouterr().out
    page = tmp_path / "report.html"
    assert main(["report", str(route), "--out", str(page)]) == 0
    assert "not known; mitred elbows: sharp.toml, run" in page.read_text("utf-8")


def test_no_result_is_printed_before_a_refusal(
    tmp_path: Path, capsys: Captured, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(*_: object) -> None:
        raise refusal("here", "this cannot be", "change it")

    route = tmp_path / "sharp.toml"
    route.write_text(SHARP_TURN)
    monkeypatch.setattr(Analysis, "checks", property(refuse))
    assert "this cannot be" in refused(capsys, "analyse", str(route))


def test_sizes_for_a_format_that_is_not_written_are_refused_at_once(
    capsys: Captured, tmp_path: Path
) -> None:
    """Nothing is sized and printed first."""
    out = tmp_path / "sized.toml"
    assert main(["proportion", str(HOUSE), "--out", str(out)]) == 2
    shown = capsys.readouterr()
    assert shown.out == ""
    assert "'.toml' is no format that is written; end the name in .glb" in shown.err


@pytest.mark.parametrize("method", ["static regain", "velocity"])
def test_a_rate_that_a_method_does_not_keep_is_refused(
    method: str, capsys: Captured
) -> None:
    words = ["--method", method, "--rate", "1 Pa/m", "--main-velocity", "6 m/s"]
    words += ["--branch-velocity", "4 m/s"]
    said = refused(capsys, "proportion", OPTIONS[0], *words)
    assert "--rate" in said
    assert f"sizing by {method} keeps no friction rate" in said


@pytest.mark.parametrize("method", ["static regain", "velocity"])
def test_a_method_takes_the_schedule_s_velocities_or_names_the_option(
    method: str, tmp_path: Path, capsys: Captured
) -> None:
    route = tmp_path / "route.toml"
    route.write_text(SHARP_TURN)
    words = ["proportion", str(route), "--method", method]
    assert "write --branch-velocity, or a use under [checks]" in refused(capsys, *words)
    (tmp_path / "route.schedule.toml").write_text('[checks]\nuse = "commercial"\n')
    assert main([*words, "--json"]) == 0
    (run,) = json.loads(capsys.readouterr().out)["runs"]
    assert 0.5 * 4.572 < run["velocity_m_s"] <= 4.572  # 900 fpm


def test_roll_and_up_of_one_run_are_refused(tmp_path: Path, capsys: Captured) -> None:
    route = tmp_path / "both.toml"
    route.write_text(SHARP_TURN + 'roll = "0 deg"\nup = [0, 0, 1]\n')
    assert "run 'duct': roll and up are both given" in refused(
        capsys, "check", str(route)
    )
    drawing = drawing_from_runs(
        [("duct", [[0, 0, 0], [4, 0, 0]], rectangular(0.4, 0.2))],
        attributes={"duct": Attributes(roll=0.1, up=(0.0, 0.0, 1.0))},
    )
    write_gltf(drawing, tmp_path / "both.glb")
    said = refused(capsys, "check", str(tmp_path / "both.glb"))
    assert "roll_deg and up are both given" in said


def test_the_band_of_the_headline_is_said_to_be_that_of_all_paths(
    tmp_path: Path, capsys: Captured
) -> None:
    """It is not the band that the list of paths has for the critical one."""
    found = result(capsys, "result", "analyse", OPTIONS[0])
    (own,) = (p["loss_band_pa"] for p in found["paths"] if p["critical"])
    every = found["system"]["critical_loss_band_pa"]
    assert every[1] >= own[1]
    assert main(["analyse", OPTIONS[0]]) == 0
    said = capsys.readouterr().out
    assert f"({every[0]:.1f} to {every[1]:.1f}, the largest of all paths, in" in said
    route = tmp_path / "sharp.toml"
    route.write_text(SHARP_TURN)
    assert main(["analyse", str(route)]) == 0
    assert "the largest of all" not in capsys.readouterr().out


@pytest.mark.parametrize("words", [
    ["analyse", "{house}", "--return", "{back}", "--xlsx", "{book}"],
    ["proportion", "{house}", "--return", "{back}", "--out", "{back}"],
    ["proportion", "{house}", "--obstacles", "{beam}", "--out", "{beam}"],
    ["report", "{house}", "--return", "{back}", "--out", "{plan}"],
    ["check", "{house}", "--fix", "{house}"],
    ["convert", "{house}", "{house}"],
])  # fmt: skip
def test_nothing_that_is_read_is_written_over(
    words: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Nor is one output written over another."""
    house = EXAMPLES / "hillside_house"
    files = {
        "house": shutil.copy(house / "house.glb", tmp_path),
        "back": shutil.copy(house / "return.glb", tmp_path),
        "beam": shutil.copy(ROOM / "beam.glb", tmp_path),
        "plan": tmp_path / "house.schedule.toml",
        "book": tmp_path / "a.xlsx",
    }
    for side in ("house", "return"):
        shutil.copy(house / f"{side}.schedule.toml", tmp_path)
    before = {path: path.read_bytes() for path in tmp_path.iterdir()}
    code = main([word.format(**files) for word in words])
    assert code == (0 if words[0] == "analyse" else 2)
    assert {path: path.read_bytes() for path in before} == before
    if code:
        assert re.search("written over|is no report", capsys.readouterr().err)
        assert set(tmp_path.iterdir()) == set(before)
        return
    twice = [*words[:4], "--png", "{book}.png", "--csv", "{book}.png"]
    assert main([word.format(**files) for word in twice]) == 2
    assert "two outputs would be written there" in capsys.readouterr().err


@pytest.mark.parametrize("words", [
    ["report", "{house}", "--out", "{hard}.html"],
    ["analyse", "{house}", "--csv", "{tables}"],
    ["analyse", "{house}", "--schedule", "{tables}/paths.csv", "--csv", "{tables}"],
    ["quantities", "{house}", "--csv", "{tables}"],
    ["analyse", "{house}", "--xlsx", "{one}.xlsx", "--page", "{one}.html"],
    ["compare", "{house}", "{up}", "--csv", "{tables}"],
    ["compare", "{house}", "{there}", "--csv", "{around}"],
])  # fmt: skip
def test_links_and_tables_lead_to_nothing_that_is_read(
    words: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A hard link, a file among the tables, a name that leads out of their folder."""
    house = Path(shutil.copy(HOUSE, tmp_path))
    plan = Path(shutil.copy(HOUSE.parent / "house.schedule.toml", tmp_path))
    tables = tmp_path / "tables"
    tables.mkdir()
    (tmp_path / "hard.html").hardlink_to(house)
    (tables / "lengths.csv").hardlink_to(house)
    (tables / "elements.csv").symlink_to(house)
    shutil.copy(plan, tables / "paths.csv")
    (tmp_path / "one.xlsx").touch()
    (tmp_path / "one.html").hardlink_to(tmp_path / "one.xlsx")
    up = shutil.copy(house, tmp_path / "...glb")
    there = shutil.copy(house, tables / "tables.glb")
    before = {path: path.read_bytes() for path in tmp_path.rglob("*.*")}
    names = {"house": house, "up": up, "there": there, "around": tmp_path}
    names |= {name: tmp_path / name for name in ("hard", "one", "tables")}
    assert main([word.format(**names) for word in words]) == 2
    said = capsys.readouterr().err
    assert re.search("not written over|two outputs|is an input|no name for", said)
    assert {path: path.read_bytes() for path in tmp_path.rglob("*.*")} == before


def test_tables_are_written_over_those_of_before(tmp_path: Path) -> None:
    for _ in range(2):
        assert main(["analyse", str(HOUSE), "--csv", str(tmp_path)]) == 0


@pytest.mark.parametrize("first", ["=", "+", "-", "@"])
def test_no_name_in_a_table_is_a_formula(first: str, tmp_path: Path) -> None:
    """CSV as a spreadsheet reads it: by its byte order mark UTF-8, no formula in it."""
    name = f'{first}HYPERLINK("there")'
    (tmp_path / "a.toml").write_text(
        'unit = "m"\n[[run]]\nsection = "D250"\npoints = [[0, 0, 3], [4, 0, 3]]\n'
        f'source = "start"\nflow = "90 L/s"\nname = \'{name}\'\n'
    )
    out = tmp_path / "out"
    assert main(["analyse", str(tmp_path / "a.toml"), "--csv", str(out)]) == 0
    content = (out / "ducts.csv").read_bytes()
    assert content.startswith(b"\xef\xbb\xbfid,")
    (row,) = csv.DictReader(content.decode("utf-8-sig").splitlines())
    assert row["name"] == f"'{name}"
    assert float(row["length_m"]) == 4.0
    for path in out.glob("*.csv"):
        with path.open(encoding="utf-8-sig", newline="") as stream:
            for line in csv.reader(stream):
                for cell in line:
                    assert not re.match(r"[=+@\t\r]|-\D", cell)


def test_a_drawing_that_was_there_is_said_to_be_replaced(
    tmp_path: Path, capsys: Captured
) -> None:
    copy = tmp_path / "copy.glb"
    for word in ("wrote", "replaced"):
        assert main(["convert", str(HOUSE), str(copy)]) == 0
        assert f"elbowroom: {word} {copy}" in capsys.readouterr().err
    for command, option in (("check", "--fix"), ("proportion", "--out")):
        assert main([command, str(HOUSE), option, str(copy)]) == 0
        assert f"elbowroom: replaced {copy}" in capsys.readouterr().err


def test_options_that_no_picture_can_hold_together_are_told(
    tmp_path: Path, capsys: Captured
) -> None:
    for name, x in (("here", 0), ("there", 4_500_000)):
        (tmp_path / f"{name}.toml").write_text(
            f'unit = "m"\n[[run]]\nname = "a"\nsection = "D250"\nflow = "90 L/s"\n'
            f'points = [[{x}, 0, 3], [{x + 4}, 0, 3]]\nsource = "start"\n'
        )
    words = ["compare", *(str(tmp_path / f"{n}.toml") for n in ("here", "there"))]
    page = str(tmp_path / "page.html")
    assert main([*words, "--page", page]) == 0
    assert (
        "there.toml: it lies 4500 km (2796 mi) from here.toml"
        in capsys.readouterr().err
    )
    if preflight.why_not() is None:
        assert main(["view", *words[1:], "--png", str(tmp_path / "v.png")]) == 0
        assert "there.toml: it lies 4500 km" in capsys.readouterr().err
    assert main(["compare", *OPTIONS, "--page", page]) == 0
    assert "too far for a picture" not in capsys.readouterr().err


def test_a_view_and_a_comparison_label_the_same(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """First what sets the options apart."""
    seen: list[list[str]] = []

    def kept(panels: Sequence[scene.Panel], *_: Any, **__: Any) -> str:
        seen.append([label.text for panel in panels for label in panel.labels])
        return ""

    monkeypatch.setattr(scene, "picture", kept)
    monkeypatch.setattr(preflight, "why_not", lambda: None)
    for command in ("compare", "view"):
        assert main([command, *OPTIONS, "--png", str(tmp_path / "a.png")]) == 0
    assert seen[0] == seen[1]


@pytest.mark.parametrize(
    ("command", "takes_solids"),
    [
        (["analyse"], True),
        (["check"], False),
        (["proportion", "--rate", "1Pa/m"], True),
        (["improve"], True),
        (["operate"], False),
    ],
)
def test_what_is_taken_of_loads_and_solids_is_said_once(
    command: list[str], takes_solids: bool, tmp_path: Path, capsys: Captured
) -> None:
    """Sizes and remedies rest on it as an analysis does."""
    route = tmp_path / "a.toml"
    route.write_text(
        'unit = "m"\n[[run]]\nname = "a"\nsection = "400x250 mm"\nsource = "start"\n'
        "points = [[0, 0, 3], [6, 0, 3]]\n"
    )
    (tmp_path / "a.schedule.toml").write_text(
        '[fan]\ntotal_pressure = "60 Pa"\n[rooms]\ntemperature_difference = "8 K"\n'
        '[terminals.a]\nload = "3000 W"\n'
    )
    words = [command[0], str(route), *command[1:]]
    if takes_solids:
        trimesh.creation.box((1.0, 1.0, 1.0)).export(tmp_path / "beam.stl")
        words += ["--obstacles", str(tmp_path / "beam.stl")]
    assert main([*words, "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    said = [flag["sentence"] for flag in found.get("flags", found.get("problems"))]
    assert sum("airflows by load" in one for one in said) == 1
    assert sum("the format states no unit" in one for one in said) == takes_solids


def test_each_schema_can_be_used_alone_and_says_the_same_as_the_others() -> None:
    """What several schemas define is the same text: copy what was changed in one."""
    defined: dict[str, Any] = {}
    for name in NAMES:
        content = schema(name)
        refs = set(re.findall(r'"\$ref": "([^"]+)"', json.dumps(content)))
        assert all(ref.startswith("#/$defs/") for ref in refs)
        assert {ref.removeprefix("#/$defs/") for ref in refs} <= set(
            content.get("$defs", {})
        )
        for key, definition in content.get("$defs", {}).items():
            assert defined.setdefault(key, definition) == definition, (name, key)


def test_a_solid_in_another_unit_puts_the_verdict_in_doubt(
    tmp_path: Path, capsys: Captured
) -> None:
    """Beams in mm read as metres are far away: said once, and in the verdict."""
    cube = trimesh.creation.box((10_000.0, 200.0, 400.0))
    cube.export(tmp_path / "beam.obj")
    words = ["compare", *OPTIONS, "--obstacles", str(tmp_path / "beam.obj")]
    assert main([*words, "--json"]) == 0
    verdict = json.loads(capsys.readouterr().out)["verdict"]
    assert "A solid is 10000 m (32808 ft) long" in verdict
    assert verdict.endswith("only because it is misread.")
    assert main(words) == 0
    printed = " ".join(capsys.readouterr().out.split())
    assert printed.count("check the unit of the file") == 1
    assert main([*words, "--obstacles-unit", "mm", "--json"]) == 0
    assert "misread" not in json.loads(capsys.readouterr().out)["verdict"]


def test_who_shows_no_gaps_measures_none(
    monkeypatch: pytest.MonkeyPatch, capsys: Captured
) -> None:
    monkeypatch.delattr(gaps, "gaps")
    house = HOUSE.parent
    back = str(house / "return.glb")
    assert main(["quantities", str(HOUSE)]) == 0
    assert main(["operate", str(HOUSE), "--return", back]) == 0
    assert "return" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("words", "missing"),
    [
        (["analyse", "--xlsx", "a.xlsx"], "xlsxwriter"),
        (["quantities", "--xlsx", "a.xlsx"], "xlsxwriter"),
        (["report", "--out", "a.pdf"], "weasyprint"),
    ],
)
def test_a_package_that_is_missing_is_told_before_any_work(
    words: list[str],
    missing: str,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setitem(sys.modules, missing, None)
    command, option, name = words
    assert main([command, str(HOUSE), option, str(tmp_path / name)]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert "pip install" in err


@pytest.mark.parametrize(
    ("content", "said"),
    [
        ('[fan]\nname = "x"\n'.encode("utf-16"), "no text in UTF-8"),
        (b"a = " + b"[" * 3000, "nested too deep"),
        (b"[elbows]\nradius_ratio = -1\n", "-1 is not within 0.5 to 20"),
        (b'[elbows]\nradius_ratio = "1"\n', "'1' is no number from 0.5 to 20"),
    ],
)
def test_what_is_no_schedule_is_told_by_what_is_wrong_with_it(
    content: bytes, said: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    plan = tmp_path / "plan.toml"
    plan.write_bytes(content)
    assert main(["analyse", str(HOUSE), "--schedule", str(plan)]) == 2
    err = capsys.readouterr().err
    assert said in err
    assert "Error" not in err


def test_a_comparison_writes_the_room_of_each_option(tmp_path: Path) -> None:
    """The shipped trunk under the beam: a clash or not, the room is told."""
    options = [str(ROOM / f"{name}.glb") for name in ("under", "flatten")]
    beam = ["--obstacles", str(ROOM / "beam.glb")]
    assert main(["compare", *options, *beam, "--csv", str(tmp_path)]) == 0
    for name in ("under", "flatten"):
        alone = tmp_path / f"{name} alone"
        assert (
            main(
                [
                    "analyse",
                    options[0].replace("under", name),
                    *beam,
                    "--csv",
                    str(alone),
                ]
            )
            == 0
        )
        found = (tmp_path / name / "room.csv").read_text("utf-8-sig")
        assert found == (alone / "room.csv").read_text("utf-8-sig")
        assert "steel beam" in found
        head = found.split()[0]
        assert head == "duct,beside,distance_m,required_m,is_kept,x_m,y_m,z_m"
    assert main(["compare", *options, "--csv", str(tmp_path)]) == 0
    bare = (tmp_path / "under" / "room.csv").read_text("utf-8-sig").split()
    assert bare == [head]


@pytest.mark.parametrize("words", [["--csv", ""], ["--csv="]])
def test_an_empty_name_is_not_the_present_folder(
    words: list[str],
    tmp_path: Path,
    capsys: Captured,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.chdir(tmp_path)
    for command in (["analyse"], ["quantities"], ["compare", OPTIONS[0]]):
        said = refused(capsys, *command, str(HOUSE), *words)
        assert "'--csv': it is empty; name a folder" in said
    assert not list(tmp_path.iterdir())


def test_a_folder_is_called_one_wherever_a_file_is_read(
    tmp_path: Path, capsys: Captured
) -> None:
    solids = tmp_path / "beams.obj"
    solids.mkdir()
    said = refused(capsys, "analyse", str(HOUSE), "--obstacles", str(solids))
    assert "beams.obj: this is a folder" in said
    route = tmp_path / "house.glb"
    shutil.copy(HOUSE, route)
    (tmp_path / "house.schedule.toml").mkdir()
    said = refused(capsys, "analyse", str(route))
    assert "house.schedule.toml: this is a folder" in said


def rows_of(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8-sig", newline="") as stream:
        return list(csv.DictReader(stream))


def sheets_of(path: Path) -> list[str]:
    with zipfile.ZipFile(path) as archive:
        text = archive.read("xl/workbook.xml").decode()
    return re.findall('<sheet name="([^"]*)"', text)


def test_a_comparison_has_a_row_for_each_option_in_its_files(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    back, out, book = HOUSE.with_name("return.glb"), tmp_path / "t", tmp_path / "t.xlsx"
    other = tmp_path / f"{'a long name ' * 3}.glb"
    shutil.copy(HOUSE, other)
    plan = ["--schedule", str(HOUSE.with_suffix(".schedule.toml"))]
    words = ["compare", str(HOUSE), str(other), "--return", str(back), *plan]
    assert main([*words, "--json", "--csv", str(out), "--xlsx", str(book)]) == 0
    result = json.loads(capsys.readouterr().out)
    rows = rows_of(out / "options.csv")
    for row, option in zip(rows, result["options"], strict=True):
        assert row["name"] == option["name"]
        assert int(row["rank"]) == option["rank"]
        for key in ("required_pa", "available_pa"):  # of supply and return
            assert float(row[key]) == option["budget"][key]
        for key in ("sheet_mass_kg", "effective_length_m"):
            assert float(row[key]) == option["totals"][key]
        assert row["declared_losses"]
        flags = rows_of(out / option["name"] / "flags.csv")
        said = [flag["sentence"] for flag in option["flags"]]
        assert {flag["sentence"] for flag in flags} <= set(said)
    (verdict,) = rows_of(out / "verdict.csv")
    assert verdict["verdict"] == result["verdict"]
    names = sheets_of(book)
    assert names[:2] == ["options", "verdict"]
    begins = sheets_begin(book)
    assert begins[0] == "house-"
    assert begins[1].startswith("a ")
    assert {f"{one}flags" for one in begins} <= set(names)
    assert f"{begins[1]}return-elements" in names
    assert max(map(len, names)) <= 31


def cells_of(path: Path, number: int) -> list[tuple[str, str, str]]:
    """Place, number format and content of each cell of a sheet, by its number."""
    with zipfile.ZipFile(path) as archive:
        sheet = archive.read(f"xl/worksheets/sheet{number}.xml").decode()
        styles = archive.read("xl/styles.xml").decode()
        words = archive.read("xl/sharedStrings.xml").decode()
    shared = [unescape(t) for t in re.findall(r"<si><t[^>]*>(.*?)</t></si>", words)]
    codes = dict(re.findall(r'numFmtId="(\d+)" formatCode="([^"]*)"', styles))
    codes |= {"0": "General", "2": "0.00"}  # built in
    formats = re.findall(r'<xf numFmtId="(\d+)"', styles.split("<cellXfs")[1])
    return [
        (at, codes[formats[int(style)]], shared[int(value)] if is_text else value)
        for at, style, is_text, value in re.findall(
            r'<c r="(\w+)" s="(\d+)"( t="s")?><v>(.*?)</v>', sheet
        )
    ]


def sheets_begin(path: Path) -> list[str]:
    """What the first sheet says that those of each option begin with."""
    cells = cells_of(path, 1)
    (column,) = [at.rstrip("1") for at, _, words in cells if words == "sheets"]
    return [words for at, _, words in cells if re.fullmatch(rf"{column}[2-9]", at)]


def test_a_workbook_can_be_handed_on(tmp_path: Path) -> None:
    """Digits that can be read, all of them kept; heads in sight; no endless column."""
    book, out = tmp_path / "t.xlsx", tmp_path / "t"
    words = ["--quiet", "analyse", OPTIONS[0], "--xlsx", str(book), "--csv", str(out)]
    assert main(words) == 0
    number = sheets_of(book).index("elements") + 1
    cells = cells_of(book, number)
    heads = {words: at.rstrip("1") for at, _, words in cells if at.endswith("1")}
    in_csv = [float(row["loss_pa"]) for row in rows_of(out / "elements.csv")]
    found = [
        (shown, float(value))
        for at, shown, value in cells
        if re.fullmatch(rf"{heads['loss_pa']}\d+", at) and value != "loss_pa"
    ]
    assert [value for _, value in found] == pytest.approx(in_csv, rel=1e-14)
    assert {shown for shown, _ in found} == {"0.00"}
    with zipfile.ZipFile(book) as archive:
        sheet = archive.read(f"xl/worksheets/sheet{number}.xml").decode()
    assert re.search(r'<pane xSplit="1" ySplit="1"[^>]*state="frozen"', sheet)
    assert max(map(float, re.findall(r'<col [^>]*width="([\d.]+)"', sheet))) < 62


def test_sheets_of_options_have_names_that_a_workbook_can_have() -> None:
    names = ["option 1: [low]", "Option 1_ _low_", "'x'", "way/2", "a" * 40, "a" * 41]
    made = sheets.sheet_prefixes(names, ["elements", "return-1-assumptions"])
    assert len({name.casefold() for name in made}) == len(names)
    for name in made:
        assert not set(name) & set("[]:*?/\\")
        assert 0 < len(name) <= 10
    assert sheets.sheet_prefixes(["under", "flatten"], ["flags"]) == [
        "under",
        "flatten",
    ]


@pytest.mark.parametrize(
    ("command", "name"),
    [("proportion", "runs"), ("operate", "terminals"), ("improve", "remedies")],
)
def test_what_designs_writes_its_tables(
    command: str, name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out, book = tmp_path / "t", tmp_path / "t.xlsx"
    words = [command, OPTIONS[0], "--json", "--csv", str(out), "--xlsx", str(book)]
    assert main(words) == 0
    result = json.loads(capsys.readouterr().out)
    rows = rows_of(out / f"{name}.csv")
    assert len(rows) == len(result[name]) > 0
    for row, wanted in zip(rows, result[name], strict=True):
        for key, value in wanted.items():
            if isinstance(value, float):
                assert float(row[key]) == value
            elif isinstance(value, dict):
                assert row[key] == value["words"]
    assert sheets_of(book) == ["summary", name, "flags"]
    assert "input" in refused(capsys, command, OPTIONS[0], "--csv", OPTIONS[0])


def test_the_help_of_check_says_what_its_own_exit_code_tells(capsys: Captured) -> None:
    """It looks at no fan and at no check of the schedule."""
    assert main(["check", "--help"]) == 0
    said = " ".join(capsys.readouterr().out.replace("│", " ").split())
    assert "an error in the drawing, or a bend, a transition or an end" in said
    assert "fan" not in said


def test_the_help_says_what_size_and_proportion_need(capsys: Captured) -> None:
    for command, words in (
        ("size", "needs --max-height, and without --flow 4.6 m/s (900 fpm)"),
        ("proportion", "need both velocities, or a use or noise among the checks"),
    ):
        assert main([command, "--help"]) == 0
        assert words in " ".join(capsys.readouterr().out.replace("│", " ").split())


def test_a_size_that_could_be_narrower_is_said_to_be_square(capsys: Captured) -> None:
    words = ["size", "--flow", "900 cfm", "--rate", "0.08 in.wg/100 ft"]
    assert main([*words, "--series", "in"]) == 0
    assert "square: a narrower one would do too" in capsys.readouterr().out


def _gltf_with_its_buffer(folder: Path) -> tuple[Path, Path]:
    """A route as glTF, and the file that holds its points."""
    routes = EXAMPLES.parent / "tests" / "data" / "routes"
    gltf = Path(shutil.copy(routes / "ring_loop.gltf", folder))
    return gltf, Path(shutil.copy(routes / "ring_loop.bin", folder))


def test_the_data_file_of_a_gltf_is_an_input(tmp_path: Path, capsys: Captured) -> None:
    """Where the output is its buffer, also by a link, as route, return or obstacle."""
    gltf, buffer = _gltf_with_its_buffer(tmp_path)
    text = gltf.read_text(encoding="utf-8")
    named = Path(shutil.copy(buffer, tmp_path / "geometry.glb"))
    other = tmp_path / "other.gltf"
    other.write_text(text.replace(buffer.name, named.name), encoding="utf-8")
    link = tmp_path / "link.png"
    link.symlink_to(buffer)
    (tmp_path / "tables").mkdir()
    (tmp_path / "tables" / "paths.csv").hardlink_to(buffer)
    before = buffer.read_bytes()
    for words in (
        ["convert", other, named],
        ["check", other, "--fix", named],
        ["check", gltf, "--png", link],
        ["analyse", HOUSE, "--return", gltf, "--png", link],
        ["analyse", HOUSE, "--obstacles", gltf, "--png", link],
        ["compare", HOUSE, gltf, "--png", link],
        ["analyse", gltf, "--csv", tmp_path / "tables"],
    ):
        said = refused(capsys, *map(str, words))
        assert re.search("is an input", said), words
    assert buffer.read_bytes() == named.read_bytes() == before


def _failing_house(folder: Path, at: float = 3.0) -> list[str]:
    """`analyse` of the house, with a beam at `at`, m, and more air than is allowed."""
    box = trimesh.creation.box((0.2, 20.0, 20.0))
    box.apply_translation((at, 0.0, 0.0))
    box.export(folder / "beam.stl")
    text = (HOUSE.parent / "house.schedule.toml").read_text(encoding="utf-8")
    plan = folder / "plan.toml"
    plan.write_text(text.replace('"840 cfm"', '"650 cfm"'), encoding="utf-8")
    words = ["analyse", str(HOUSE), "--schedule", str(plan)]
    return [*words, "--obstacles", str(folder / "beam.stl")]


def test_a_duct_through_a_beam_is_told_at_the_head_and_in_the_flags(
    tmp_path: Path, capsys: Captured
) -> None:
    words = _failing_house(tmp_path)
    assert main(words) == 0
    head = capsys.readouterr().out.partition("Pressure budget")[0]
    assert "It cannot be built as drawn: '" in head
    assert "overlaps 'beam.stl' by" in head
    told = result(capsys, "result", *words)
    (failed,) = [row["rule"] for row in told["checks"] if not row["is_kept"]]
    limited = sum(row["limit"] is not None for row in told["checks"])
    assert f"1 of {limited} checks is not kept: {failed}." in " ".join(head.split())
    clashes = [row for row in told["flags"] if "cannot be built" in row["what"]]
    beside = [row for row in told["room"] if row["distance_m"] < 0.0]
    assert len(clashes) == len(beside) > 0
    for clash, gap in zip(clashes, beside, strict=True):
        assert gap["duct"] in clash["what"]
        assert clash["place_m"] == pytest.approx(gap["place_m"], abs=1e-6)
    # Where nothing fails nothing is said.
    assert main(["analyse", OPTIONS[0]]) == 0
    head = capsys.readouterr().out.partition("Pressure budget")[0]
    assert "built" not in head
    assert "not kept" not in head


def test_what_fails_of_a_return_is_told_at_the_head_too(
    tmp_path: Path, capsys: Captured
) -> None:
    back = str(HOUSE.parent / "return.glb")
    words = _failing_house(tmp_path, -2.0)
    assert main([*words, "--return", back]) == 0
    head = capsys.readouterr().out.partition("Pressure budget")[0]
    assert "return: It cannot be built as drawn: " in head


def test_strict_says_why_it_ends_with_1(tmp_path: Path, capsys: Captured) -> None:
    """Each reason with its count, of several options by name, and nothing else."""
    words = _failing_house(tmp_path)
    room = result(capsys, "result", *words)["room"]
    count = sum(not row["is_kept"] for row in room)
    assert main(["--quiet", *words, "--json", "--strict"]) == 1
    assert capsys.readouterr().err == (
        "elbowroom: exit code 1, as --strict asks: it cannot be built as drawn, for "
        f"{count} reasons, 1 check is not kept (airflow, most of the equipment).\n"
    )
    weak = tmp_path / "weak.toml"
    text = (ROOM / "schedule.toml").read_text(encoding="utf-8")
    weak.write_text(text.replace('"150 Pa"', '"120 Pa"'), encoding="utf-8")
    words = ["compare", *OPTIONS[:2], "--schedule", str(weak), "--json", "--strict"]
    assert main(["--quiet", *words]) == 1
    said = capsys.readouterr().err
    assert "'under': the fan does not carry it" in said
    assert "'flatten': the fan does not carry it" in said
    assert main(["--quiet", "analyse", OPTIONS[0], "--strict", "--json"]) == 0
    assert capsys.readouterr().err == ""


def test_an_image_of_a_gltf_is_not_written_over(
    tmp_path: Path, capsys: Captured
) -> None:
    gltf, _ = _gltf_with_its_buffer(tmp_path)
    picture = tmp_path / "picture.png"
    picture.write_bytes(b"a picture")
    content = json.loads(gltf.read_text(encoding="utf-8"))
    content["images"] = [{"uri": picture.name}]
    gltf.write_text(json.dumps(content), encoding="utf-8")
    assert "not written over" in refused(
        capsys, "check", str(gltf), "--png", str(picture)
    )
    assert picture.read_bytes() == b"a picture"


def test_the_checksum_of_a_gltf_is_of_its_points_too(
    tmp_path: Path, capsys: Captured
) -> None:
    # Solids are easily had as glTF with a buffer beside it.
    gltf = tmp_path / "model.gltf"
    scene: Any = trimesh.Scene(trimesh.creation.box((0.1, 0.1, 0.1)))
    scene.export(gltf)

    buffers = sorted(tmp_path.glob("*.bin"))
    assert len(buffers) == 2
    words = ["analyse", str(HOUSE), "--obstacles", str(gltf)]
    (one,) = result(capsys, "result", *words)["inputs"]["obstacles"]
    every = b"".join(path.read_bytes() for path in (gltf, *buffers))
    assert one == {"file": gltf.name, "sha256": sha256(every).hexdigest()}
    glb = next(iter(result(capsys, "result", *words)["inputs"]["routes"]))
    assert glb["sha256"] == sha256(HOUSE.read_bytes()).hexdigest()


def _option(folder: Path, name: str, flow: int, *, step: float = 3.0) -> Path:
    """A route with a riser, whose width nothing says, and a transition at `step`, m."""
    route = folder / f"{name}.toml"
    route.write_text(
        f"""
        unit = "m"
        [[run]]
        name = "riser"
        section = "400x300 mm"
        source = "start"
        points = [[0, 0, 0], [0, 0, 3], [{step}, 0, 3]]
        [[run]]
        name = "end"
        section = "300x200 mm"
        terminal = "hall"
        flow = "{flow} L/s"
        points = [[{step}, 0, 3], [9, 0, 3]]
        """,
        encoding="utf-8",
    )
    (folder / f"{name}.schedule.toml").write_text(
        '[takeoffs]\nentry = "conical"\n', encoding="utf-8"
    )
    return route


def test_what_differs_by_a_file_name_is_told_of_all_options(
    tmp_path: Path, capsys: Captured
) -> None:
    """And what is of one option comes first, what has no room before all else."""
    routes = [
        _option(tmp_path, "one", 300),
        _option(tmp_path, "two", 300),
        _option(tmp_path, "tight", 300, step=0.3),
    ]
    assert main(["compare", *map(str, routes)]) == 0
    out = capsys.readouterr().out
    heads = re.findall(r"^What to know of (.*)$", out, re.MULTILINE)
    assert heads[0] == "'tight'"
    assert heads[-1] == "all options"
    told = out.partition("What to know of all options")[2]
    assert told.count("a vertical run at the source has no level side") == 1
    assert out.count("a vertical run at the source has no level side") == 1
    assert "one.toml" not in told
    own = out.partition("What to know of 'tight'")[2].splitlines()
    assert "tight.toml" in own[1]
    assert "not fit" in own[1] or "no room" in own[1]
    # The files keep every notice of every option, with its file.
    content = result(capsys, "comparison", "compare", *map(str, routes))
    for route, option in zip(routes, content["options"], strict=True):
        said = [row["sentence"] for row in option["flags"]]
        assert any(f"{route.name}, run 'riser'" in one for one in said)


def test_what_has_no_room_in_a_return_is_told_before_all_else(
    tmp_path: Path, capsys: Captured
) -> None:
    routes = [_option(tmp_path, name, 300) for name in ("one", "two")]
    back = _option(tmp_path, "back", 300, step=0.3)
    words = [*map(str, routes), "--return", str(back)]
    assert main(["compare", *words]) == 0
    out = capsys.readouterr().out
    first = out.partition("What to know of all options")[2].splitlines()[1]
    assert "back.toml" in first
    assert "not fit" in first


def test_counts_behind_lists_keep_no_notice_apart(tmp_path: Path) -> None:
    """Neither the names of files nor how many more there are; all else does."""

    def option(name: str, *said: Notice) -> Option:
        drawing = read(_option(tmp_path, name, 300))
        return Option(name, analyse(build(drawing)), notices=said)

    def of(file: str, more: int) -> tuple[Notice, ...]:
        return (
            warning(f"{file}, runs 'a' and {more} more", "they are odd"),
            warning("x", f"'b' and {more} more are odd"),
            warning("x", f"'b' and {more + 7} more are odd"),
            warning(f"a{file}", "of another file", f"write it in {file}"),
        )

    options = [option("one", *of("one.toml", 2)), option("two", *of("two.toml", 3))]
    told = dict(told_of_options.told_of(options))
    both = [said.sentence for said in told["one", "two"]]
    assert [one for one in both if "odd" in one] == [
        "runs 'a' and 2 to 3 more: they are odd.",
        "x: 'b' and 2 to 3 more are odd.",
        "x: 'b' and 9 to 10 more are odd.",
    ]
    (alone,) = [said.sentence for said in told["one",]]
    assert alone == "aone.toml: of another file; write it in one.toml."


def test_view_that_can_draw_nothing_is_refused(
    tmp_path: Path, capsys: Captured, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where the picture is all that is asked for; of `analyse` it is not."""
    monkeypatch.setattr(preflight, "why_not", lambda: "no OpenGL; install it")
    png = tmp_path / "x.png"
    assert "no OpenGL" in refused(capsys, "view", OPTIONS[0], "--png", str(png))
    assert main(["analyse", OPTIONS[0], "--png", str(png)]) == 0
    assert not png.exists()


@pytest.mark.parametrize("columns", ["0", "-3"])
def test_a_terminal_without_a_size_is_printed_to(
    columns: str, capsys: Captured, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Of 80 columns, as one of which nothing is known."""
    said = []
    for width in ("80", columns):
        monkeypatch.setenv("COLUMNS", width)
        assert main(["fitting", "--list"]) == 0
        said.append(capsys.readouterr().out)
    assert said[0] == said[1] != ""


@pytest.mark.parametrize("width", [60, 80])
def test_many_options_keep_to_the_width(
    width: int, tmp_path: Path, capsys: Captured, monkeypatch: pytest.MonkeyPatch
) -> None:
    names = [f"option-with-a-long-name-{number:02d}" for number in range(1, 10)]
    routes = [_option(tmp_path, name, 300) for name in names]
    monkeypatch.setenv("COLUMNS", str(width))
    assert main(["compare", *map(str, routes)]) == 0
    out = capsys.readouterr().out
    tables = out.partition("'option-with-a-long-name-01' (")[0].partition("\nAll ")[0]
    apart = tables.partition("What else sets them apart")[2].partition("\n\n")[0]
    assert apart
    assert max(map(len, apart.splitlines())) <= width
    # Every option has its column, in one part or another.
    folded = "".join(apart.split())
    assert apart.count("change, Pa") > 1
    for number in range(1, 10):
        assert f"{number:02d}" in folded


def test_clashes_beyond_the_gravest_are_counted() -> None:
    room = [
        gaps.Gap(f"d{n}", "beam", -0.2 + n / 100, 0.0, (n, 0.0, 0.0), "m")
        for n in range(8)
    ]
    kept = gaps.Gap("e", "f", 1.0, 0.0, (0.0, 0.0, 0.0), "m")
    *named, rest = failings.clash_flags([*room, kept], "x")
    assert [one.place for one in named] == [gap.place for gap in room[:5]]
    assert "in 3 further places too" in rest.what
    assert len(failings.clash_flags(room[:5], "x")) == 5
