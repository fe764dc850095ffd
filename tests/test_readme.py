"""What README and the guides promise: what they show can be run, and is so."""

import csv
import json
import math
import re
from pathlib import Path

import pytest

from elbowroom.viewer import main

HOUSE = Path(__file__).parents[1]
README = (HOUSE / "README.md").read_text(encoding="utf-8")
DRAWING = (HOUSE / "layout" / "drawing.md").read_text(encoding="utf-8")
METHOD = (HOUSE / "physics" / "method.md").read_text(encoding="utf-8")
GUIDES = {"layout/drawing.md": DRAWING, "physics/method.md": METHOD}
TEXTS = {
    "README.md": README,
    "viewer/reference.md": (HOUSE / "viewer" / "reference.md").read_text("utf-8"),
    **GUIDES,
}


def blocks(text: str) -> list[str]:
    """What a text shows of routes and schedules."""
    return re.findall(r"```toml\n(.*?)```", text, re.DOTALL)


def guided(*left_out: str) -> tuple[str, str]:
    """Route and schedule of the guides, without the blocks that begin so."""
    (route,) = (one for one in blocks(DRAWING) if one.startswith("unit"))
    rest = [one for text in GUIDES.values() for one in blocks(text) if one != route]
    kept = [one for one in rest if not one.startswith(left_out)]
    assert len(kept) == len(rest) - len(left_out)
    return route, "".join(kept)


@pytest.mark.parametrize("where", ["README.md", "the guides"])
def test_the_route_and_the_schedule_that_are_shown_run_together(
    where: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    route, plan = (
        blocks(README)
        if where == "README.md"
        else guided("[rooms]", "[fan]\ncurve", "[checks]")
    )
    (tmp_path / "route.toml").write_text(route, encoding="utf-8")
    (tmp_path / "schedule.toml").write_text(plan, encoding="utf-8")
    assert main(["analyse", str(tmp_path / "route.toml"), "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    flows = {path["terminal"]: path["flow_m3_s"] for path in found["paths"]}
    assert flows == pytest.approx({"office": 0.15, "hall": 600 * 0.3048**3 / 60})
    assert found["system"]["available_pa"] > 0
    assert [one for one in found["flags"] if one["severity"] != "note"] == []
    assert all(check["is_kept"] for check in found["checks"])


def test_the_rooms_the_curve_and_the_checks_of_the_guides_run_too(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    route, plan = guided("[fan]\nexternal")
    plan = plan.replace('flow = "150 L/s"', 'load = "1.5 kW"')
    plan = plan.replace('flow = "600 cfm"', 'share = "50 %"')
    (tmp_path / "route.toml").write_text(
        route.replace('flow = "150 L/s"\n', ""), encoding="utf-8"
    )
    (tmp_path / "schedule.toml").write_text(plan, encoding="utf-8")
    path = str(tmp_path / "route.toml")
    assert main(["analyse", path, "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    flows = {path["terminal"]: path["flow_m3_s"] for path in found["paths"]}
    assert flows["hall"] == pytest.approx(600 * 0.3048**3 / 60)
    rules = " ".join(check["rule"] for check in found["checks"])
    for words in (
        "residential",
        "RC 25",
        "leakage",
        "dew point",
        "airflow for cooling",
    ):
        assert words in rules
    assert found["fan_power"]["energy_kwh_per_year"] > 0
    assert main(["operate", path, "--json"]) == 0
    settled = json.loads(capsys.readouterr().out)
    assert len(settled["crossings_m3_s"]) == 1


def test_ci_runs_the_readmes_test_command_word_for_word() -> None:
    (command,) = re.findall(
        r"^    (python -m venv .* pytest -n 2)$", README, re.MULTILINE
    )
    assert command in (HOUSE / ".ci" / "run").read_text(encoding="utf-8")


def test_the_shipped_example_is_compared_by_the_first_command(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    (words,) = re.findall(r"&& elbowroom (compare .*?) --png", README)
    monkeypatch.chdir(HOUSE)
    assert main(words.split()) == 0
    assert "'flatten' spends least" in " ".join(capsys.readouterr().out.split())


def test_what_the_readme_shows_of_the_output_is_printed(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    ((words, shown),) = re.findall(
        r"^From `elbowroom (.*)` in .*\n\n```text\n(.*?)```", README, re.M | re.S
    )
    monkeypatch.setenv("COLUMNS", "92")
    monkeypatch.chdir(HOUSE / "examples" / "hillside_house")
    assert main(["--quiet", *words.split()]) == 0
    printed = [line.rstrip() for line in capsys.readouterr().out.splitlines()]
    for line in shown.splitlines():
        if line != "...":  # each below the one before
            printed = printed[printed.index(line) + 1 :]


def anchors(text: str) -> list[str]:
    """Where links may lead within a text."""
    heads = re.findall(r"^#+ (.*)$", text, re.M)
    return [re.sub(r"[^\w\- ]", "", head).lower().replace(" ", "-") for head in heads]


@pytest.mark.parametrize("name", TEXTS)
def test_every_link_of_the_readme_and_the_guides_is_there(name: str) -> None:
    for link, anchor in re.findall(r"\]\(([^)#]*)#?([^)]*)\)", TEXTS[name]):
        file = (HOUSE / name).parent / link if link else HOUSE / name
        assert file.exists(), link
        text = file.read_text(encoding="utf-8") if anchor else ""
        assert not anchor or anchor in anchors(text), (link, anchor)


@pytest.mark.parametrize("name", GUIDES)
def test_a_guide_lists_its_parts_and_links_to_what_ships_with_it(name: str) -> None:
    text = GUIDES[name]
    contents = text.split("\n## ")[0]
    title, *heads = anchors(re.sub(r"```.*?```", "", text, flags=re.DOTALL))
    assert re.findall(r"^- \[.*\]\(#(.*)\)$", contents, re.M) == heads, title
    links = set(re.findall(r"\]\(([^)#]+)", text))
    assert links <= {"../viewer/reference.md", *(f"../{one}" for one in GUIDES)}


def test_the_developers_map_names_files_that_are_there() -> None:
    text = (HOUSE / "DEVELOPERS.md").read_text(encoding="utf-8")
    for path in re.findall(r"`((?:layout|physics|viewer|tests)/[\w./*]+)`", text):
        assert list(HOUSE.glob(path.rstrip("/"))), path


def test_the_loss_is_the_product_that_the_guide_and_schemas_tell_of(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Slow air in an elbow, where the Reynolds factor is not 1, multiplied out."""
    names = ("coefficient", "reynolds_factor", "velocity_pressure_pa")
    assert all(f"`{name}`" in METHOD for name in (*names, "reference_velocity"))
    for schema in ("result", "comparison", "fitting"):
        text = (HOUSE / "viewer" / f"{schema}.schema.json").read_text(encoding="utf-8")
        assert f"loss_pa = {' × '.join(names)}" in text
    route, plan = blocks(README)
    slow = re.sub(r'flow = "\d+ (L/s|cfm)"', 'flow = "40 L/s"', route)
    turned = slow.replace("[8000, 0, 3200]", "[8000, 0, 3200], [8000, 3000, 3200]")
    assert turned != slow
    (tmp_path / "route.toml").write_text(turned, encoding="utf-8")
    plan = re.sub(r'flow = "\d+ (L/s|cfm)"', 'flow = "40 L/s"', plan)
    (tmp_path / "schedule.toml").write_text(plan, encoding="utf-8")
    out = tmp_path / "out"
    assert main(["analyse", str(tmp_path / "route.toml"), "--csv", str(out)]) == 0
    capsys.readouterr()
    with (out / "elements.csv").open(encoding="utf-8-sig", newline="") as file:
        rows = [row for row in csv.DictReader(file) if row["coefficient"]]
    assert any(float(row["reynolds_factor"]) > 1.01 for row in rows)
    for row in rows:
        product = math.prod(float(row[name]) for name in names)
        assert float(row["loss_pa"]) == pytest.approx(product)
