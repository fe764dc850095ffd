"""The shipped reference: what stands there is what the program reads and writes."""

import csv
import importlib
import re
import shutil
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Any

import pytest
import typer

from elbowroom.layout import BadInput, allowed, read, read_schedule, units
from elbowroom.physics import uncertainty
from elbowroom.viewer import cli, main

constructions, extras, ifc_elements, toml_tables = (
    importlib.import_module(f"elbowroom.layout.{module}")
    for module in ("constructions", "extras", "ifc_elements", "toml_tables")
)
HOUSE = Path(__file__).parents[1]
TEXT = (HOUSE / "viewer" / "reference.md").read_text(encoding="utf-8")
EXAMPLES = HOUSE / "examples"
CODE = re.compile(r"`([^`]+)`")
# Every table whose keys are fixed, with a name where it goes by one.
SCHEDULE = """
[duct.runs.RUN]
[runs.RUN]
[limits.RUN]
[terminals.NAME]
[[component]]
[[elbows.exception]]
[[transitions.exception]]
[[takeoffs.exception]]
"""
# Unit in which the reference writes a range, and what one of it is in SI.
RANGES: dict[str, tuple[str, Callable[[float], float]]] = {
    "pressure": ("Pa", lambda value: value),
    "temperature": ("°C", lambda value: value - 273.15),
    "share": ("%", lambda value: 100 * value),
    "time": ("h", lambda value: value / 3600),
    "angle": ("deg", lambda value: value / units.UNITS["deg"].factor),
    "heat transmission": ("W/m2K", lambda value: value),
}


def part(heading: str) -> str:
    """What stands below a heading, up to the next of its rank or above."""
    rank = len(heading) - len(heading.lstrip("#"))
    (found,) = re.findall(
        rf"^{re.escape(heading)}\n(.*?)(?=^#{{1,{rank}}} |\Z)", TEXT, re.M | re.S
    )
    return str(found)


def rows(text: str) -> dict[str, list[str]]:
    """Cells behind the first of each row, by each word in the first."""
    found: dict[str, list[str]] = {}
    for line in re.findall(r"^\| `.*$", text, re.M):
        first, *rest = (cell.strip() for cell in line.strip("|").split("|"))
        for word in CODE.findall(first):
            assert word not in found, word
            found[word] = rest
    return found


@pytest.fixture
def asked(monkeypatch: pytest.MonkeyPatch) -> dict[str, dict[str, str]]:
    """What readers ask of tables from here on: by table and key, the value's words."""
    found: dict[str, dict[str, str]] = {}
    table = toml_tables.Table

    def within(key: str, limits: allowed.Range) -> str:
        low, high = limits.low, limits.high
        if limits.dimension == "length":
            unit, factor = ("mm", 1000) if high < 1 else ("m", 1)
            return f"{low * factor:g} to {high * factor:g} {unit}"
        if limits.dimension == "share" and high == 1.0:
            return f"share{', above 0' * limits.is_above}"
        unit, change = RANGES[limits.dimension]
        return f"{change(low):.0f} to {change(high):.0f} {unit}"

    def choice(key: str, choices: Mapping[str, object]) -> str:
        if choices is constructions.ELBOW_CONSTRUCTIONS:
            return "#elbow-constructions"
        if choices is constructions.TAKEOFF_ENTRIES:
            return "#entries-of-branches"
        *most, last = (f'`"{word}"`' for word in choices)
        return f"{', '.join(most)} or {last}"

    def whole(key: str, choices: tuple[int, ...]) -> str:
        return f"{', '.join(map(str, choices[:-1]))} or {choices[-1]}"

    says: dict[str, Callable[..., str]] = {
        "within": within,
        "choice": choice,
        "whole": whole,
        "number": lambda key, limits: f"{limits.low:g} to {limits.high:.0f}",
        "count": lambda key, most: f"1 to {most}",
        "positive": lambda key, dimension, *_: f"{dimension}, above 0",
        "quantity": lambda key, dimension: dimension,
        "yes_or_no": lambda key: "`true` or `false`",
        "point": lambda key: "place",
        "text": lambda key: "text",
        "get": lambda key, read: "",
        "table": lambda key: "",
        "tables": lambda key: "",
    }

    def watched(name: str, words: Callable[..., str]) -> Callable[..., Any]:
        real = getattr(table, name)

        def method(self: Any, key: str, *rest: Any) -> Any:
            place = re.sub(r"^[^\[]*|\W*\d*$", "", self.where)
            keys = found.setdefault(place.strip("[]"), {})
            keys[key] = keys.get(key) or words(key, *rest)
            return real(self, key, *rest)

        return method

    for name, words in says.items():
        monkeypatch.setattr(table, name, watched(name, words))
    return found


def test_the_reference_has_the_keys_of_the_schedule_and_no_others(
    asked: dict[str, dict[str, str]], tmp_path: Path
) -> None:
    file = tmp_path / "s.toml"
    file.write_text(SCHEDULE, encoding="utf-8")
    with pytest.raises(BadInput, match="says nothing"):
        read_schedule(file)  # empty tables are refused when all was asked
    text = part("## The schedule")
    heads = re.findall(r"^### `(\[.*\])`$", text, re.M)
    by_name = {"losses": "NAME", "sections": "RUN"}  # keys are names there
    top = {head.strip("[]").split(".")[0] for head in heads}
    assert top == set(asked.pop(""))
    assert {head.strip("[]") for head in heads} - {*by_name} == {
        place for place, keys in asked.items() if set(keys) - {"RUN", "NAME"}
    }
    for head in heads:
        place, found = head.strip("[]"), rows(part(f"### `{head}`"))
        if place in by_name:
            assert list(found) == [by_name[place]]
            continue
        keys = {
            key: words
            for key, words in asked[place].items()
            if key not in ("exception", "runs")
        }
        assert set(found) == set(keys), head
        for key, words in keys.items():
            assert words in found[key][0], (head, key)
        assert head.startswith("[[") == (f"[[{place}]]" in SCHEDULE)


def test_the_reference_has_the_words_of_elbows_and_entries() -> None:
    elbows = rows(part("### Elbow constructions"))
    assert [word.strip('"') for word in elbows] == [*constructions.ELBOW_CONSTRUCTIONS]
    entries = rows(part("### Entries of branches"))
    assert [word.strip('"') for word in entries] == [*constructions.TAKEOFF_ENTRIES]


def test_the_reference_has_the_units_of_the_schedule() -> None:
    for line in re.findall(r"^\| (.*) \| (.*) \|$", part("## Quantities"), re.M)[2:]:
        for unit in re.findall(r"[^\s,]+(?: [^\s,]+)*", line[1].split(", or")[0]):
            assert units.UNITS[unit].dimension == line[0]


def test_the_reference_has_the_keys_of_a_route_and_no_others(
    asked: dict[str, dict[str, str]], tmp_path: Path
) -> None:
    file = tmp_path / "r.toml"
    file.write_text('unit = "m"\n[[run]]\npoints = [[0, 0, 0], [1, 0, 0]]\n')
    read(file)
    found = asked[""]
    runs = {key for key in found if key not in ("unit", "up")} - {"run"}
    # The run's own place is that of the file once its name is known.
    whole = rows(part("### TOML routes: the file"))
    assert whole.keys() == {"unit", "up", "run"}
    assert all(found[key] in whole[key][0] for key in ("unit", "up"))
    own = {**asked.get("run", {}), **{key: found[key] for key in runs}}
    table = rows(part("### TOML routes: `[[run]]`"))
    assert set(table) == {*own, "up"}
    for key, words in own.items():
        assert words in table[key][0], key


def test_the_reference_has_the_extras_and_no_others() -> None:
    assert set(rows(part("### Extras"))) == set(extras.KEYS)


def test_the_reference_has_the_properties_of_ifc_and_no_others() -> None:
    text = part("### IFC")
    lines = dict(re.findall(r"^\| (\w+) \| (.*?) \|", text, re.M))
    read = {what: tuple(CODE.findall(names)) for what, names in lines.items()}
    assert read["width"] == ifc_elements._WIDTHS
    assert read["height"] == ifc_elements._HEIGHTS
    assert read["diameter"] == ifc_elements._DIAMETERS
    flows = {name.replace(" ", "").lower() for name in read["airflow"]}
    assert flows == set(ifc_elements._FLOWS)


def test_the_reference_has_the_classes_and_how_wide_they_are() -> None:
    table = rows(part("## Confidence"))
    wide = {word: cells[0] for word, cells in table.items() if word != "declared"}
    assert wide == {
        word: f"{100 * error:.0f} %"
        for word, error in uncertainty.relative_errors().items()
    }


def options() -> Iterator[str]:
    command = typer.main.get_command(cli.app)
    for one in command.commands.values():  # type: ignore[attr-defined]
        for parameter in one.params:
            yield from (word for word in parameter.opts if word.startswith("--"))


def test_the_reference_has_the_options_and_no_others() -> None:
    assert set(rows(part("## Options of the commands"))) == {*options()} - {"--help"}


@pytest.fixture(scope="module")
def written(
    tmp_path_factory: pytest.TempPathFactory,
) -> dict[tuple[str, str], set[str]]:
    """Columns of what the commands write of the examples, by command and table."""
    place = tmp_path_factory.mktemp("tables")
    shutil.copytree(EXAMPLES, place / "examples")
    hill, room = (place / "examples" / n for n in ("hillside_house", "reading_room"))
    house = [str(hill / "house.glb"), "--return", str(hill / "return.glb")]
    under, flat = str(room / "under.glb"), str(room / "flatten.glb")
    found: dict[tuple[str, str], set[str]] = {}
    for command, words in (
        ("analyse", house),
        ("analyse", [under]),  # elbows close together
        ("compare", [under, flat, "--obstacles", str(room / "beam.glb")]),
        ("quantities", house),
        ("operate", house),
        ("proportion", house),
        ("improve", [under]),
    ):
        folder = place / f"{command} {len(found)}"
        assert main(["--quiet", command, *words, "--csv", str(folder)]) == 0
        for file in sorted(
            folder.rglob("*.csv"), key=lambda file: "return-" in file.name
        ):
            with file.open(encoding="utf-8-sig", newline="") as stream:
                heads = next(csv.reader(stream))
            if heads != [file.stem] or file.stem == "verdict":
                table = file.stem.removeprefix("return-")
                one = found.setdefault((command, table), set(heads))
                short = file.stem == "return-summary"  # the file of the return alone
                assert set(heads) == ({"file"} if short else one), (command, file)
    return found


def test_the_reference_has_the_columns_of_the_tables_and_no_others(
    written: dict[tuple[str, str], set[str]],
) -> None:
    text = part("## Tables that are written")
    left = dict(written)
    for line in re.findall(r"^### (.*)$", text, re.M):
        commands, _, table = line.rpartition(": ")
        table, columns = table.strip("`"), set(rows(part(f"### {line}")))
        if table == "options":
            columns |= set(rows(part("### `analyse` and `compare`: `system`")))
        for command in CODE.findall(commands):
            assert left.pop((command, table)) == columns, line
    flags = written["analyse", "flags"]
    for command in ("operate", "proportion", "improve", "quantities"):
        assert left.pop((command, "flags"), flags) == flags
    assert left == {}


def test_the_command_prints_what_stands_of_a_word(
    capsys: pytest.CaptureFixture[str],
) -> None:
    def said(*word: str) -> str:
        assert main(["reference", *word]) == 0
        return capsys.readouterr().out

    assert said().startswith(TEXT + "\n")
    told = said().removeprefix(TEXT + "\n")
    assert told.count("\n") == 1
    assert re.findall(r"\S+\.md", told) == ["layout/drawing.md", "physics/method.md"]
    row = next(
        line for line in TEXT.splitlines() if line.startswith("| `throat_radius")
    )
    assert said("throat_radius").startswith(
        "### `[elbows]` (viewer/reference.md)\n\n| key |"
    )
    assert row in said("throat_radius")
    assert "vane_spacing" not in said("throat_radius").split("layout/drawing.md")[0]
    # A heading gives all below it; a word is whole where there is such a one.
    assert part("### `[clearance]`").strip() in said("Clearance")
    assert part("### `[[component]]`").strip() in said("the schedule")
    assert "`flow_m3_s`" not in said("flow")
    assert main(["reference", "clearence"]) == 2
    assert "did you mean 'clearance'" in capsys.readouterr().err


def test_the_command_searches_the_guides_too_and_prints_them(
    capsys: pytest.CaptureFixture[str],
) -> None:
    def said(word: str) -> str:
        assert main(["reference", word]) == 0
        return capsys.readouterr().out

    for name, heading, word in (
        ("layout/drawing.md", "## Transitions", "kink"),
        ("physics/method.md", "## Loops", "ring main"),
    ):
        guide = (HOUSE / name).read_text(encoding="utf-8")
        title = guide.partition("\n")[0].strip("# ")
        for called in (name, name.partition("/")[2], title):
            assert said(called) == guide
        (stands,) = re.findall(rf"^{heading}\n(.*?)(?=^## |\Z)", guide, re.M | re.S)
        # A word gives its paragraph, one in a heading all of what stands there.
        found = said(word)
        assert f"{heading} ({name})\n\n" in found
        assert any(one in found for one in stands.split("\n\n") if word in one)
        assert stands.strip() in said(heading.strip("# "))
    # One word of all three, in this order.
    files = re.findall(r"^##+ .*\((\S+\.md)\)$", said("airflow"), re.M)
    assert [*dict.fromkeys(files)] == [
        "viewer/reference.md",
        "layout/drawing.md",
        "physics/method.md",
    ]


@pytest.mark.parametrize(
    "word",
    ["boot", "stack", "register", "grille", "plenum", "takeoff collar", "stack head"],
)
def test_words_of_the_trade_are_found(
    word: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["reference", word]) == 0
    assert "A boot, a stack head, a register box" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("typed", "meant"), [("lenght", "length"), ("dampre", "damper"), ("elbwo", "elbow")]
)
def test_a_word_with_two_letters_changed_over_is_known_again(
    typed: str, meant: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["reference", typed]) == 2
    assert f"did you mean '{meant}" in capsys.readouterr().err.lower()


def test_a_word_is_not_offered_another_that_only_looks_like_it(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert main(["reference", "ductless"]) == 2
    assert "give another word, or none for all of it" in capsys.readouterr().err
