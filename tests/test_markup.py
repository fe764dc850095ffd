"""Names with square brackets are shown as they are, not taken for markup."""

from pathlib import Path

import pytest

from elbowroom.viewer import main

ROUTE = """
unit = "m"
[[run]]
name = "a[red]b"
section = "600x300"
points = [[0, 0, 3], [4, 0, 3], [4, 1, 3], [5, 1, 3], [8, 1, 3]]
source = "start"
[[run]]
name = "c[bold]d"
section = "D200"
points = [[7, 1, 3], [7, 4, 3]]
flow = "50 L/s"
terminal = "e[dim]f"
"""
SCHEDULE = """
[terminals."a[red]b"]
flow = "400 L/s"
[losses]
"g[i]h" = "5 Pa"
[fan]
total_pressure = "300 Pa"
"""


@pytest.mark.parametrize(
    ("command", "names"),
    [
        ("analyse", ["x[v2].toml", "a[red]b", "e[dim]f", "g[i]h"]),
        ("quantities", ["x[v2].toml"]),
        ("check", ["x[v2].toml", "a[red]b", "c[bold]d"]),
        ("proportion", ["x[v2].toml", "a[red]b"]),
        ("improve", ["x[v2].toml"]),
        ("compare", ["x[v2]", "y[red]"]),
        ("analyse --return", ["x[v2].toml", "Checks of y[red].toml"]),
    ],
)
def test_brackets_in_names_are_shown(
    command: str,
    names: list[str],
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLUMNS", "200")
    files = ["x[v2].toml"]
    command, _, more = command.partition(" ")
    if command == "compare" or more:
        files += [*more.split(), "y[red].toml"]
    for file in ("x[v2].toml", "y[red].toml"):
        Path(file).write_text(ROUTE)
    Path("s.toml").write_text(SCHEDULE)
    if more:
        terminals = SCHEDULE.partition("[losses]")[0]
        Path("y[red].schedule.toml").write_text(terminals)
    said = [] if command == "check" else ["--schedule", "s.toml"]
    assert main([command, *files, *said]) in (0, 1)
    shown = capsys.readouterr().out
    for name in names:
        assert name in shown
    if command == "analyse":
        assert shown.startswith("x[v2].toml ")
