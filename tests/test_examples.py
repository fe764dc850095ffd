"""The walk through the hillside house: its commands run, its figures stand."""

import re
import runpy
import shutil
from pathlib import Path

import pytest

from elbowroom.viewer import main

HOUSE = Path(__file__).parents[1] / "examples" / "hillside_house"
WALK = (HOUSE / "README.md").read_text(encoding="utf-8")


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    for file in HOUSE.iterdir():
        if file.suffix in (".glb", ".toml"):
            shutil.copy(file, tmp_path)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_every_command_runs_and_every_figure_is_printed(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A figure is whatever stands in backticks after a command and is no file."""
    printed, commands = "", 0
    # Commands are indented; figures follow them up to the next command.
    for block in re.split(r"\n(?=    elbowroom )", WALK)[1:]:
        command, _, text = block.partition("\n")
        assert main(command.split()[1:]) == 0, command
        commands += 1
        printed += capsys.readouterr().out
        flat = " ".join(printed.split())
        for figure in re.findall(r"`([^`]+)`", text):
            if not figure.endswith((".glb", ".toml", ".py")):
                assert figure in flat, f"{figure} after {command}"
        # What the text has written into a copy of the schedule.
        for copy, line in re.findall(
            r"to `(\S+)` and write\n`([^`]+)` under \[fan\]", text
        ):
            plan = (folder / "house.schedule.toml").read_text(encoding="utf-8")
            assert plan.count("\n[fan]") == 1
            key = plan.index("curve = [", plan.index("\n[fan]"))
            written = f"{plan[:key]}{line}\n{plan[key:]}"
            (folder / copy).write_text(written, encoding="utf-8")
    assert commands == 10
    assert (folder / "sized.glb").exists()
    assert "5.9 Pa" in (folder / "sized.schedule.toml").read_text(encoding="utf-8")
    # Once it is written nobody asks for it again.
    capsys.readouterr()
    words = ["proportion", "sized.glb", "--return", "return.glb"]
    assert main(words) == 0
    assert "outlet_velocity_pressure" not in capsys.readouterr().out
    assert "Sheet" in (folder / "report.html").read_text(encoding="utf-8").title()


def test_the_shipped_drawings_are_what_their_script_draws(
    tmp_path: Path,
) -> None:
    shutil.copy(HOUSE / "make_route.py", tmp_path)
    runpy.run_path(str(tmp_path / "make_route.py"), run_name="__main__")
    for name in ("house.glb", "return.glb"):
        assert (tmp_path / name).read_bytes() == (HOUSE / name).read_bytes()
