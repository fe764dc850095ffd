"""The rules of the house: one way through the rooms, nothing left out of the wheel."""

import ast
import re
import shutil
import subprocess
import sys
import zipfile
from collections.abc import Iterator
from pathlib import Path

import pytest

HOUSE = Path(__file__).parents[1]
ROOMS = ("layout", "physics", "viewer")  # each may use only those before it


def imports(source: str) -> Iterator[tuple[str, int, int]]:
    """Yield (module, level, line) of each import, wherever in the source it stands.

    A string that is nothing but a dotted elbowroom name counts as an import too, so
    that `import_module` is no way round the rules.
    """
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            for alias in node.names:
                yield alias.name, 0, node.lineno
        elif isinstance(node, ast.ImportFrom) and node.module == "elbowroom":
            for alias in node.names:
                yield f"elbowroom.{alias.name}", 0, node.lineno
        elif isinstance(node, ast.ImportFrom):
            yield node.module or "", node.level, node.lineno
        elif (
            isinstance(node, ast.Constant)
            and isinstance(node.value, str)
            and re.fullmatch(r"elbowroom(\.\w+)+", node.value)
        ):
            yield node.value, 0, node.lineno


def faults(source: str, folder: str) -> list[str]:
    """Say what is wrong with the imports of a module that lives in a folder."""
    found: list[str] = []
    usable = ROOMS[: ROOMS.index(folder) + 1] if folder in ROOMS else ROOMS
    for module, level, line in imports(source):
        first, *rest = module.split(".")
        if level > 1:
            found.append(f"line {line}: import through elbowroom.<room>, not '..'")
        elif level == 1:
            continue
        elif first in ROOMS:
            found.append(f"line {line}: write elbowroom.{module}, not {module}")
        elif first == "elbowroom" and rest:
            if rest[0] in ROOMS and rest[0] not in usable:
                found.append(f"line {line}: {folder} must not use {rest[0]}")
            if len(rest) > 1:
                found.append(f"line {line}: import from elbowroom.{rest[0]} itself")
    return found


@pytest.mark.parametrize(
    "path",
    [
        pytest.param(path, id=path.relative_to(HOUSE).as_posix())
        for folder in (*ROOMS, "tests", "examples")
        for path in sorted((HOUSE / folder).rglob("*.py"))
        if path != Path(__file__)
    ],
)
def test_imports_go_one_way_and_through_the_front_door(path: Path) -> None:
    folder = path.relative_to(HOUSE).parts[0]
    assert faults(path.read_text(encoding="utf-8"), folder) == []


@pytest.mark.parametrize(
    ("source", "folder", "fault"),
    [
        ("from elbowroom.physics import density", "layout", "must not use physics"),
        ("from elbowroom import viewer", "physics", "must not use viewer"),
        ("def late():\n    import elbowroom.viewer", "layout", "must not use viewer"),
        ("import_module('elbowroom.viewer')", "physics", "must not use viewer"),
        ("import layout", "tests", "write elbowroom.layout"),
        ("from physics import air", "viewer", "write elbowroom.physics"),
        ("from ..layout import Round", "physics", "not '..'"),
        ("from elbowroom.layout.section import Round", "physics", "itself"),
    ],
)
def test_a_broken_rule_is_named(source: str, folder: str, fault: str) -> None:
    assert any(fault in found for found in faults(source, folder))


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Build the sdist, and the wheel from that sdist, as a release would."""
    # Of a copy: builds side by side would take each other's egg-info away.
    out, copy = tmp_path_factory.mktemp("dist"), tmp_path_factory.mktemp("house")
    junk = shutil.ignore_patterns("__pycache__", "*.egg-info")
    for entry in HOUSE.iterdir():
        if entry.name in {*ROOMS, "elbowroom", "tests", "examples"}:
            shutil.copytree(entry, copy / entry.name, ignore=junk)
        elif entry.is_file():
            shutil.copy(entry, copy)
    command = [sys.executable, "-m", "build", "--no-isolation", "--outdir", str(out)]
    built = subprocess.run([*command, str(copy)], capture_output=True, text=True)
    assert built.returncode == 0, built.stdout + built.stderr
    return next(out.glob("*.whl"))


def test_the_wheel_holds_every_module_and_table_and_no_more(wheel: Path) -> None:
    own = ("__init__.py", "__main__.py", "py.typed")
    expected = {f"elbowroom/{name}" for name in own} | {
        f"elbowroom/{path.relative_to(HOUSE).as_posix()}"
        for room in ROOMS
        for path in (HOUSE / room).rglob("*")
        if path.is_file() and path.parent.name != "__pycache__"
    }
    with zipfile.ZipFile(wheel) as archive:
        shipped = {name for name in archive.namelist() if ".dist-info/" not in name}
    assert sorted(expected - shipped) == [], "list the folder in pyproject.toml"
    assert sorted(shipped - expected) == []


def test_the_wheel_works_away_from_the_clone(wheel: Path, tmp_path: Path) -> None:
    script = (
        f"import sys; sys.path.insert(0, {str(wheel)!r})\n"
        f"import elbowroom; assert elbowroom.__file__.startswith({str(wheel)!r})\n"
        "from elbowroom.viewer import main\n"
        "main(['reference', 'layout/drawing.md'])\n"
        "main(['reference', 'physics/method.md'])\n"
        "sys.exit(main(['fitting', 'round-elbow-mitred', '--set', 'angle_deg=90']))"
    )
    run = subprocess.run(
        [sys.executable, "-c", script], cwd=tmp_path, capture_output=True, text=True
    )
    # SMACNA HVAC Systems Duct Design, 4th ed., table A-7 C: a round mitred elbow of
    # 90 degrees has C = 1.20.
    assert run.returncode == 0, run.stderr
    assert "1.20" in run.stdout
    for guide in (
        "# How a drawing and a schedule are read",
        "# How the numbers are made",
    ):
        assert f"{guide}\n" in run.stdout
