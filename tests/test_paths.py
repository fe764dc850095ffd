"""Paths that no file can have are refused in a sentence, by every command."""

import os
import re
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest
from routes import drawn

from elbowroom.layout import (
    BadInput,
    found_at,
    read,
    read_schedule,
    write_gltf,
)
from elbowroom.viewer import main

ROUTES = Path(__file__).parent / "data" / "routes"
LONG = "x" * 5000
# Of one name most systems take 255 letters, of a path 4096; no system takes a NUL.
TOO_LONG = [LONG, "x" * 300]
COMMANDS = (
    "analyse {bad}.glb",
    "analyse {route} --schedule {bad}.toml",
    "analyse {route} --png {bad}.png",
    "analyse {route} --csv {bad}",
    "analyse {route} --xlsx {bad}.xlsx",
    "analyse {route} --page {bad}.html",
    "analyse {route} --return {bad}.glb",
    "analyse {route} --obstacles {bad}.glb",
    "compare {route} {bad}.glb",
    "compare {route} {other} --schedule {bad}.toml",
    "compare {route} {other} --page {bad}.html",
    "check {bad}.glb",
    "check {route} --schedule {bad}.toml",
    "check {route} --png {bad}.png",
    "check {route} --fix {bad}.glb",
    "check {route} --draft {bad}.toml",
    "view {bad}.glb",
    "view {route} {bad}.glb",
    "view {route} --schedule {bad}.toml",
    "fitting round-elbow --set r_over_D=1 --draw {bad}.svg",
    "convert {bad}.glb {other}",
    "convert {route} {bad}.glb",
    "report {bad}.glb --out {other}",
    "report {route} --out {bad}.html",
    "report {route} --out {other} --remarks {bad}.json",
    "report {route} --out {other} --return {bad}.glb",
    "operate {bad}.glb",
    "proportion {bad}.glb",
    "proportion {route} --out {bad}.toml",
    "proportion {route} --return {bad}.glb",
    "improve {bad}.glb",
    "improve {route} --return {bad}.glb",
    "quantities {bad}.glb",
    "quantities {route} --csv {bad}",
)


# Where the path is that of an output.
READ_NOT = r"--(png|csv|xlsx|page|fix|draft|draw|out) \{bad\}|^convert \{route\}"


def inputs(command: str, folder: Path) -> tuple[Path, Path]:
    """A drawing, and what else a command names besides the odd path."""
    route, other = folder / "route.glb", folder / "other.glb"
    write_gltf(drawn(), route)
    if command.startswith("compare"):
        shutil.copy(route, other)
    return route, folder / "other.html" if command.startswith("report") else other


@pytest.mark.parametrize("stem", TOO_LONG, ids=["path", "name"])
@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_refuses_it(
    command: str, stem: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    route, other = inputs(command, tmp_path)
    words = [
        word.format(bad=tmp_path / stem, route=route, other=other)
        for word in command.split()
    ]
    assert main(words) == 2
    said = capsys.readouterr().err
    assert "file name too long" in said
    assert len(said) < 400


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_refuses_links_that_go_round(
    command: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    route, other = inputs(command, tmp_path)
    for ending in (".glb", ".toml", ".json", ".png", ".svg", ".html", ".xlsx", ""):
        (tmp_path / f"a{ending}").symlink_to(f"b{ending}")
        (tmp_path / f"b{ending}").symlink_to(f"a{ending}")
    words = [
        word.format(bad=tmp_path / "a", route=route, other=other)
        for word in command.split()
    ]
    assert main(words) == 2
    said = capsys.readouterr().err
    assert "no such file" in said or "levels of symbolic links" in said


PIPES = [words for words in COMMANDS if not re.search(READ_NOT, words)]


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="a system without named pipes")
@pytest.mark.parametrize("command", PIPES)
def test_every_command_refuses_to_read_a_pipe(
    command: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """It would wait for ever, or read one twice, the second time nothing."""
    route, other = inputs(command, tmp_path)
    for ending in (".glb", ".toml", ".json"):
        os.mkfifo(tmp_path / f"a{ending}")
    words = [
        word.format(bad=tmp_path / "a", route=route, other=other)
        for word in command.split()
    ]
    assert main(words) == 2
    assert "this is a pipe or a device" in capsys.readouterr().err


def test_a_pipe_with_the_name_of_the_schedule_is_not_passed_over(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    route = tmp_path / "route.glb"
    write_gltf(drawn(), route)
    os.mkfifo(tmp_path / "schedule.toml")
    assert main(["analyse", str(route)]) == 2
    assert "this is a pipe or a device" in capsys.readouterr().err


def test_a_buffer_whose_links_go_round_is_not_there(tmp_path: Path) -> None:
    path = tmp_path / "ring_loop.gltf"
    shutil.copy(ROUTES / path.name, path)
    (tmp_path / "ring_loop.bin").symlink_to("a.bin")
    (tmp_path / "a.bin").symlink_to("ring_loop.bin")
    with pytest.raises(BadInput, match="ring_loop"):
        read(path)


@pytest.mark.parametrize("stem", [*TOO_LONG, "x\0y"], ids=["path", "name", "nul"])
@pytest.mark.parametrize("ask", [found_at, read, read_schedule])
def test_so_does_whatever_reads(ask: Callable[[Path], object], stem: str) -> None:
    with pytest.raises(BadInput):
        ask(Path(stem))


def test_what_stands_there(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    (tmp_path / "round").symlink_to(tmp_path / "round")
    places = {"": "folder", "file": "file", "none": "", "file/none": "", "round": ""}
    for name, kind in places.items():
        assert found_at(tmp_path / name) == kind


def test_a_route_may_have_so_long_a_name_that_its_schedule_has_none(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Of 255 letters at most: 'NAME.glb' may go where 'NAME.schedule.toml' does not."""
    route = tmp_path / f"{'x' * 245}.glb"
    write_gltf(drawn(), route)
    assert main(["analyse", str(route)]) == 0
    assert "straight duct" in capsys.readouterr().out
