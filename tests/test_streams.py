"""Standard streams: closed or full ones, and names that would steer a terminal."""

import json
import re
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from elbowroom.layout import read
from elbowroom.viewer import main, outlet

ROUTE = """unit = "m"
[[run]]
name = "hall"
section = "D200 mm"
points = [[0, 0, 3], [8, 0, 3]]
source = "start"
flow = "100 L/s"
"""
# Clears the screen, colours it, turns the line round, forges a line, and markup.
NAME = "\x1b[2J\x1b[31mred\u202e\n\x9b\x07[bold]<b>x</b></script>\u200f\u061c"
STEERS = re.compile(
    r"[\x00-\x09\x0b-\x1f\x7f-\x9f\u061c\u200e\u200f\u2028-\u202e\u2066-\u2069]"
)
FULL = Path("/dev/full")
needs_full = pytest.mark.skipif(not FULL.exists(), reason="no device that is full")


@pytest.fixture
def route(tmp_path: Path) -> Path:
    path = tmp_path / "route.toml"
    path.write_text(ROUTE)
    return path


def run(redirected: str, *words: object) -> "subprocess.CompletedProcess[str]":
    """The program with its streams as a shell redirects them; the last is free."""
    command = f'exec "$0" -m elbowroom "$@" {redirected}'
    return subprocess.run(
        ["sh", "-c", command, sys.executable, *map(str, words)],
        capture_output=True,
        text=True,
        check=False,
        timeout=120,
    )


@needs_full
@pytest.mark.parametrize("words", [["analyse", "--json"], ["--version"]])
def test_a_full_output_is_one_sentence(words: list[str], route: Path) -> None:
    files = [route] if words[0] == "analyse" else []
    done = run(">/dev/full", *words, *files)
    assert done.returncode == 2
    (line,) = done.stderr.splitlines()
    assert line.startswith("elbowroom: standard output cannot be written (no space")


@needs_full
def test_words_that_find_no_room_on_errors_give_code_2(route: Path) -> None:
    assert (
        run("2>/dev/full", "convert", route, route.with_suffix(".glb")).returncode == 2
    )
    assert run("2>/dev/full", "analyse", route).returncode == 0  # nothing to say


@needs_full
def test_a_full_output_costs_no_file(route: Path) -> None:
    tables = route.parent / "tables"
    assert run(">/dev/full", "analyse", route, "--csv", tables).returncode == 2
    assert (tables / "paths.csv").stat().st_size > 100


@pytest.mark.parametrize("closed", [">&-", "2>&-", "<&- >&- 2>&-"])
def test_what_is_closed_from_the_start_is_not_missed(closed: str, route: Path) -> None:
    tables = route.parent / "tables"
    done = run(closed, "analyse", route, "--csv", tables)
    assert done.returncode == 0
    assert "Traceback" not in done.stderr
    assert ("Critical path" in done.stdout) == (closed == "2>&-")
    for table in tables.glob("*.csv"):  # no stream's words went into a file
        assert "Critical path" not in table.read_text("utf-8-sig")
        assert "elbowroom:" not in table.read_text("utf-8-sig")
    assert run(closed, "analyse", route.parent / "none.toml").returncode == 2


@pytest.fixture
def hostile(tmp_path: Path) -> Path:
    path = tmp_path / "route.toml"
    # Every text of JSON is one of TOML.
    path.write_text(ROUTE.replace('"hall"', json.dumps(NAME)))
    plan = '[fan]\ntotal_pressure = "40 Pa"\n'
    (tmp_path / "route.schedule.toml").write_text(plan)
    return path


@pytest.mark.parametrize(
    "command",
    ["analyse", "check", "operate", "proportion", "improve", "quantities"],
)
def test_no_name_steers_the_terminal(
    command: str, hostile: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main([command, str(hostile)]) == 0
    out, err = capsys.readouterr()
    assert not STEERS.search(out + err)
    if command != "quantities":  # which names no run
        assert "\\u001b[2J" in out.replace("\n", "").replace(" ", "")


def test_what_is_refused_is_escaped_too(
    hostile: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    hostile.write_text(hostile.read_text().replace("100 L/s", "100 ells"))
    assert main(["analyse", str(hostile)]) == 2
    err = capsys.readouterr().err
    assert not STEERS.search(err)
    assert "red\\u202e\\u000a\\u009b\\u0007[bold]" in err
    assert all(line.startswith("elbowroom: ") for line in err.splitlines())


def test_json_and_files_keep_the_name(
    hostile: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    glb = hostile.with_suffix(".glb")
    assert main(["analyse", str(hostile), "--json"]) == 0
    out = capsys.readouterr().out
    assert not STEERS.search(out)
    found: dict[str, Any] = json.loads(out)
    assert found["system"]["critical_terminal"] == NAME
    assert main(["convert", str(hostile), str(glb)]) == 0
    assert read(glb).names == [NAME]


def test_a_report_and_a_page_hold_no_markup_of_a_name(hostile: Path) -> None:
    report, page = hostile.with_name("r.html"), hostile.with_name("p.html")
    assert main(["report", str(hostile), "--out", str(report)]) == 0
    assert main(["analyse", str(hostile), "--page", str(page)]) == 0
    for path in (report, page):
        text = path.read_text("utf-8")
        assert "<b>x" not in text
        assert "\x1b" not in text
        assert "\u202e" not in text


def test_what_is_printed_keeps_its_lines_and_letters() -> None:
    assert outlet.printable("a\n\tØ – ü ع") == "a\n\tØ – ü ع"
    assert outlet.printable("a\n\tb", one_line=True) == "a\\u000a\\u0009b"
    for before, first, last, behind in (
        ("\u061b", "\u061c", "\u061c", "\u061d"),
        ("\u200d", "\u200e", "\u200f", "\u2010"),
        ("\u2027", "\u2028", "\u202e", "\u202f"),
        ("\u2065", "\u2066", "\u2069", "\u206a"),
        ("~", "\x7f", "\x9f", "\xa0"),
    ):
        assert outlet.printable(before + behind) == before + behind
        assert (
            outlet.printable(first + last) == f"\\u{ord(first):04x}\\u{ord(last):04x}"
        )
