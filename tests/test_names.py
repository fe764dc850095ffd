"""Sizes in names, names in TOML, and what is said of a size without a unit."""

import re
import sys
from pathlib import Path

import pytest

from elbowroom.layout import (
    BadInput,
    Schedule,
    Shape,
    SourceSpec,
    bare_name,
    build,
    drawing_from_runs,
    flat_oval,
    names,
    read,
    read_schedule,
    rectangular,
    section_in_name,
    toml_key,
    units,
)
from elbowroom.viewer import main

if sys.version_info >= (3, 11):
    import tomllib
else:
    import tomli as tomllib

IN = 0.0254


@pytest.mark.parametrize(
    ("name", "shape", "width", "height", "bare"),
    [
        ('T 24"x12"', Shape.RECTANGULAR, 24 * IN, 12 * IN, "T"),
        ('24" x 12"', Shape.RECTANGULAR, 24 * IN, 12 * IN, ""),
        ('T_24x12"_supply', Shape.RECTANGULAR, 24 * IN, 12 * IN, "T supply"),
        ("T 24″×12″", Shape.RECTANGULAR, 24 * IN, 12 * IN, "T"),
        ("T 24”×12”", Shape.RECTANGULAR, 24 * IN, 12 * IN, "T"),
        ("T 24inx12in", Shape.RECTANGULAR, 24 * IN, 12 * IN, "T"),
        ('T 20"x8" oval', Shape.OVAL, 20 * IN, 8 * IN, "T"),
        ('Ø8" riser', Shape.ROUND, 8 * IN, 8 * IN, "riser"),
        ('B Ø8"', Shape.ROUND, 8 * IN, 8 * IN, "B"),
        ('D6.5"', Shape.ROUND, 6.5 * IN, 6.5 * IN, ""),
        # A wall stack as the trade writes it.
        ("stack 3 1/4x12in", Shape.RECTANGULAR, 3.25 * IN, 12 * IN, "stack"),
        ("stack_3-1/4x12in", Shape.RECTANGULAR, 3.25 * IN, 12 * IN, "stack"),
        ("bed 2 3 1/4x12in", Shape.RECTANGULAR, 3.25 * IN, 12 * IN, "bed 2"),
        ('5 1/2" x 10"', Shape.RECTANGULAR, 5.5 * IN, 10 * IN, ""),
        ("e 12x3-1/4in.001", Shape.RECTANGULAR, 12 * IN, 3.25 * IN, "e"),
        ("S 12x3¼in", Shape.RECTANGULAR, 12 * IN, 3.25 * IN, "S"),
        ("S 24x8 1/2in oval", Shape.OVAL, 24 * IN, 8.5 * IN, "S"),
        ("D6-1/2in", Shape.ROUND, 6.5 * IN, 6.5 * IN, ""),
        # What is no fraction belongs to the name.
        ("A-4x12in", Shape.RECTANGULAR, 4 * IN, 12 * IN, "A-"),
        ("A-3 1/4x12in", Shape.RECTANGULAR, 3.25 * IN, 12 * IN, "A-"),
        ("AHU1/8x10in", Shape.RECTANGULAR, 8 * IN, 10 * IN, "AHU1/"),
        ("AHU1/200x300", Shape.RECTANGULAR, 0.2, 0.3, "AHU1/"),
        ("½ bath 12x8in", Shape.RECTANGULAR, 12 * IN, 8 * IN, "½ bath"),
        ("trunk 1/2 12x8in", Shape.RECTANGULAR, 12 * IN, 8 * IN, "trunk 1/2"),
        ("600x300 1/2in liner", Shape.RECTANGULAR, 0.6, 0.3, "1/2in liner"),
        ("T 600mmx300mm", Shape.RECTANGULAR, 0.6, 0.3, "T"),
        ("T 600x300", Shape.RECTANGULAR, 0.6, 0.3, "T"),
        # Units as layers, keyboards and the trade write them.
        ("SA 24X12IN", Shape.RECTANGULAR, 24 * IN, 12 * IN, "SA"),
        ("SA 60x54IN", Shape.RECTANGULAR, 60 * IN, 54 * IN, "SA"),
        ("SA 24x12 IN", Shape.RECTANGULAR, 24 * IN, 12 * IN, "SA"),
        ("SA 60x49 IN", Shape.RECTANGULAR, 60 * IN, 49 * IN, "SA"),
        ("SA 60x54 inches", Shape.RECTANGULAR, 60 * IN, 54 * IN, "SA"),
        ("T 24''x12''", Shape.RECTANGULAR, 24 * IN, 12 * IN, "T"),
        ("T 24x12 inches", Shape.RECTANGULAR, 24 * IN, 12 * IN, "T"),
        ("D6 inch riser", Shape.ROUND, 6 * IN, 6 * IN, "riser"),
        ("⌀200 riser", Shape.ROUND, 0.2, 0.2, "riser"),
        ("T 600x300 (oval)", Shape.OVAL, 0.6, 0.3, "T"),
        ("box 600x300", Shape.RECTANGULAR, 0.6, 0.3, "box"),
        # Too small for millimetres: that 'in' is a unit, whatever follows.
        ("T 24x12 in supply", Shape.RECTANGULAR, 24 * IN, 12 * IN, "T supply"),
    ],
)
def test_a_size_in_a_name(
    name: str, shape: Shape, width: float, height: float, bare: str
) -> None:
    found = section_in_name(name)
    assert found is not None
    section, _ = found
    assert section.shape == shape
    assert (section.width, section.height) == pytest.approx((width, height))
    assert bare_name(name) == bare


@pytest.mark.parametrize(
    "name",
    [
        "T 600x300 IN",
        '24"x600',
        '24"',
        'T 24"x12"x8"',
        '24x12""',
        "600mmx300",
        '24"x12"3',
    ],
)
def test_a_name_that_leaves_a_doubt_holds_no_size(name: str) -> None:
    assert section_in_name(name) is None


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("AHU 3/4x12in", "'3/4x12in' was not taken: its fraction may be read in more"),
        ("T3-1/4x12in", "'1/4x12in' was not taken"),
        ("20x3 1/4x12in", "'1/4x12in' was not taken"),
        ("3 1/3x12in", "'3 1/3x12in' was not taken"),
        ("3 1/4x12cm", "'3 1/4x12cm' was not taken"),
        ("300x200 1/2in", "'300x200 1/2in' was not taken"),
        ("D1/2in", "'D1/2in' was not taken"),
        ("stack 3 1/4x12", "'3 1/4x12' was not taken: a fraction is one of inches"),
    ],
)
def test_a_fraction_that_leaves_a_doubt_is_said(name: str, said: str) -> None:
    assert section_in_name(name) is None
    assert said in names.no_section(name)
    assert bare_name(name) == name


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("T 1,200x600", "'1,200x600' was not taken: a comma or an apostrophe within"),
        ("T 1'200x600", "'1'200x600' was not taken: a comma or an apostrophe within"),
        ("T 1,200 x 600 mm", "'1,200 x 600 mm' was not taken: a comma"),
        ("T 60x50,5 cm", "'60x50,5 cm' was not taken: a comma"),
        ("D50,5 cm", "'D50,5 cm' was not taken: a comma"),
        ("T 0,6x0,3", "'0,6x0,3' was not taken: a comma"),
        ("T 2 x 600x300", "'2 x 600x300' was not taken: it may be a number of ducts"),
        ("T 2x D200", "'2x D200' was not taken: it may be a number of ducts"),
        ("D200 in shaft", "'D200 in' was not taken: its 'in' may be inches or a word"),
        ("D200 in", "'D200 in' was not taken: its 'in' may be inches or a word"),
        ("D100 IN", "'D100 IN' was not taken: its 'IN' may be inches or a word"),
        ("SA_D50_IN", "'D50 IN' was not taken: its 'IN' may be inches or a word"),
        ("D60 IN.001", "'D60 IN' was not taken: its 'IN' may be inches or a word"),
        ("100x50 IN", "'100x50 IN' was not taken: its 'IN' may be inches or a word"),
        ("60x50 in hall", "'60x50 in' was not taken: its 'in' may be inches or a word"),
        ("bath 5 inch", "'5 inch' was not taken: no D before it says that it is a"),
        ('bath 5" round', "'5\"' was not taken: no D before it says that it is a"),
        ("0.6 x 0.3 m", "'0.6 x 0.3 m' was not taken: it is in a unit that no"),
    ],
)
def test_a_size_that_may_be_meant_otherwise_is_said(name: str, said: str) -> None:
    assert section_in_name(name) is None
    assert said in names.no_section(name)
    assert bare_name(name) == name.removesuffix(".001")


@pytest.mark.parametrize(
    ("section", "width"),
    [
        ("600x300", 0.6),
        (" 600 × 300 mm ", 0.6),
        ("600x300 flat oval", 0.6),
        ("12x8 in.", 12 * IN),
        ("60x54 in", 60 * IN),
        ("D60 IN", 60 * IN),
        ("6'' x 6''", 6 * IN),
        ("⌀200", 0.2),
        ("1,200x600", None),
        ("1 200x600", None),
        ("2 x 600x300", None),
        ("D200 600x300", None),
        ("600x300 L=1200", None),
        ("600x300.001", None),
    ],
)
def test_a_section_key_holds_nothing_but_a_section(
    section: str, width: float | None, tmp_path: Path
) -> None:
    path = tmp_path / "a.toml"
    points = "points = [[0, 0, 0], [3, 0, 0]]"
    path.write_text(
        f'unit = "m"\n[[run]]\nname = "T1"\nsection = "{section}"\n{points}\n', "utf-8"
    )
    if width is not None:
        assert read(path).width.tolist() == pytest.approx([width])
        return
    with pytest.raises(BadInput, match="run 'T1' section: "):
        read(path)


@pytest.mark.parametrize(
    ("section", "mended"),
    [("6 in", "D6 in"), ('6" round', 'D6"'), ("3 1/4 inch", "D3 1/4 inch")],
)
def test_a_diameter_alone_in_a_key_is_told_to_write_a_d(
    section: str, mended: str
) -> None:
    with pytest.raises(BadInput, match=f"write '{mended}' if it is one"):
        units.section(section, "run 'a' section")
    assert units.section(mended, "").width > 0.0
    with pytest.raises(BadInput, match="'6 rooms' is no section; write it like"):
        units.section("6 rooms", "run 'a' section")


@pytest.mark.parametrize("section", ["D250.000", "600x300.125", "8x12.125"])
def test_three_digits_that_may_be_the_number_of_a_copy_are_said_so(
    section: str,
) -> None:
    fault = names.bare_section_fault(section)
    assert fault is not None
    assert fault[0].startswith(f"'{section}' was not taken: three digits behind a ")
    mended = names.whole_section(f"{section} mm")
    assert mended is not None
    assert names.bare_section_fault(f"{section} mm") is None


@pytest.mark.parametrize(
    "name",
    [
        "T1",
        'T 24"x12"',
        "6' riser",
        "6' 8\" riser",
        "a\\b",
        "a\\'\"b",
        "tab\there",
        "Ü",
    ],
)
def test_a_name_stands_in_toml_whatever_it_holds(name: str) -> None:
    assert tomllib.loads(f"{toml_key(name)} = 1") == {name: 1}
    assert tomllib.loads(f"run = {toml_key(name)}") == {"run": name}
    assert tomllib.loads(f"[terminals.{toml_key(name)}]") == {"terminals": {name: {}}}


@pytest.mark.parametrize("name", ['Lab 2"', "6' 8\" riser", "plain"])
def test_what_a_message_says_to_write_can_be_written(name: str, tmp_path: Path) -> None:
    """The remedies for a run without a section and for an end without an airflow."""
    drawing = drawing_from_runs([(name, [[0, 0, 3], [4, 0, 3]], None)])
    plan = tmp_path / "a.schedule.toml"
    plan.write_text(f"[source]\nrun = {toml_key(name)}\n", encoding="utf-8")
    with pytest.raises(BadInput) as bad:
        build(drawing, read_schedule(plan))
    said = re.search(
        r'D200, or (.* = "600x300 mm") under', bad.value.faults[0].sentence
    )
    assert said is not None
    text = plan.read_text(encoding="utf-8") + f"[sections]\n{said[1]}\n"
    plan.write_text(text, encoding="utf-8")
    with pytest.raises(BadInput) as bad:
        build(drawing, read_schedule(plan))
    said = re.search(r"add (\[terminals\..*\]) with", bad.value.faults[0].sentence)
    assert said is not None
    plan.write_text(f'{text}{said[1]}\nflow = "0.2 m3/s"\n', encoding="utf-8")
    graph = build(drawing, read_schedule(plan))
    assert graph.ducts.width.tolist() == [0.6]


def test_a_route_drawn_in_inches_is_analysed(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "a.toml"
    path.write_text(
        'unit = "in"\nup = "z"\n[[run]]\nname = \'T 24"x12"\'\nsource = "start"\n'
        'points = [[0, 0, 0], [100, 0, 0]]\nflow = "1000 cfm"\n',
        encoding="utf-8",
    )
    assert main(["analyse", str(path), "--units", "inch-pound"]) == 0
    assert "24×12" in capsys.readouterr().out


def _said(tmp_path: Path, unit: str, runs: str, given: str | None = None) -> list[str]:
    path = tmp_path / "a.toml"
    path.write_text(f'unit = "{unit}"\nup = "z"\n{runs}', encoding="utf-8")
    return [notice.sentence for notice in read(path, unit=given).notices]


KEY = '[[run]]\nname = "a"\nsection = "600x300"\npoints = [[0, 0, 0], [9, 0, 0]]\n'
SECOND = KEY.replace('"a"', '"b"').replace("[9, 0, 0]", "[0, 9, 0]")
NAME = '[[run]]\nname = "c 600x300"\npoints = [[0, 0, 0], [0, 0, 9]]\n'


def test_where_the_route_is_in_millimetres_nothing_was_assumed(tmp_path: Path) -> None:
    assert _said(tmp_path, "mm", KEY + SECOND + NAME) == []
    (said,) = _said(tmp_path, "m", KEY + NAME, "mm")
    assert "the file says m; mm was taken from --unit" in said


def test_section_keys_without_a_unit_are_called_so(tmp_path: Path) -> None:
    one = "the section key of 1 run has no unit and was taken as millimetres"
    two = "the section keys of 2 runs have no unit and were taken as millimetres"
    name = "the sizes in 1 name have no unit and were taken as millimetres"
    (said,) = _said(tmp_path, "m", KEY)
    assert one in said
    assert 'section = "24x12 in"' in said
    (said,) = _said(tmp_path, "in", KEY + SECOND)
    assert two in said
    names, keys = _said(tmp_path, "m", KEY + NAME)
    assert name in names
    assert one in keys
    assert _said(tmp_path, "m", KEY.replace("600x300", "600x300 mm")) == []


@pytest.mark.parametrize("unit", ["m", "in", "ft", "mm"])
def test_the_unit_of_the_points_is_not_that_of_a_section(
    unit: str, tmp_path: Path
) -> None:
    path = tmp_path / "a.toml"
    path.write_text(f'unit = "{unit}"\nup = "z"\n{KEY}', encoding="utf-8")
    assert read(path).width.tolist() == [0.6]


@pytest.mark.parametrize("section", ["60x30", "0.6x0.3", "D8", "24x12"])
def test_a_bare_section_that_is_no_duct_in_millimetres(
    section: str, tmp_path: Path
) -> None:
    route = tmp_path / "route.toml"
    run = 'points = [[0, 0, 0], [3, 0, 0]]\nflow = "9 L/s"\nsource = "start"'
    for text, said in (
        (f'[[run]]\nname = "T1"\nsection = "{section}"\n{run}', "run 'T1'"),
        (f'[[run]]\nname = "T1 {section}"\n{run}', "the run has no section"),
    ):
        route.write_text(f'unit = "m"\n{text}', encoding="utf-8")
        with pytest.raises(BadInput) as caught:
            build(read(route))
        (fault,) = caught.value.faults
        assert said in fault.sentence
        assert f"'{section}' was not taken" in fault.sentence
        assert (
            "millimetres, and bare numbers must lie between 50 and 5000" in fault.what
        )
        assert f'write "{section}in" if it is in inches' in fault.remedy
        route.write_text(
            route.read_text("utf-8").replace(section, f"{section}in"), encoding="utf-8"
        )
        build(read(route))


def test_a_name_without_numbers_of_a_section_gets_the_plain_sentence() -> None:
    for name in ("level 2 office", "T9 600/300"):
        found = drawing_from_runs([(name, [[0, 0, 3], [4, 0, 3]], None)])
        with pytest.raises(BadInput, match="the run has no section; give it"):
            build(found, Schedule(source=SourceSpec(at=(0.0, 0.0, 3.0))))


def test_a_route_of_many_metres_is_said_without_an_exponent(tmp_path: Path) -> None:
    route = tmp_path / "wide.obj"
    route.write_text("o T1 600x300\nv 0 0 0\nv 13000 0 0\nl 1 2\n", encoding="utf-8")
    said = " ".join(notice.sentence for notice in read(route).notices)
    assert "the route is 13000 m (42651 ft) wide" in said


@pytest.mark.parametrize(("wide", "is_told"), [(499, False), (501, True)])
def test_a_route_wider_than_500_m_is_asked_for_its_unit(
    wide: int, is_told: bool, tmp_path: Path
) -> None:
    """Own choice: a route in millimetres or inches without a unit is far wider."""
    route = tmp_path / "wide.obj"
    route.write_text(f"o T1 600x300\nv 0 0 0\nv {wide} 0 0\nl 1 2\n", encoding="utf-8")
    said = " ".join(notice.sentence for notice in read(route).notices)
    assert ("say --unit mm" in said) == is_told


@pytest.mark.parametrize(
    "name",
    [
        "T1 600x250 oval",
        "T1 oval 600x250",
        "T1_flat_oval_600x250",
        "T1 600x250 flat oval",
        "T1 Oval 600x250mm",
    ],
)
def test_an_oval_is_said_before_or_behind_its_sides(name: str) -> None:
    found = section_in_name(name)
    assert found is not None
    assert found[0] == flat_oval(0.6, 0.25)
    assert bare_name(name) == "T1"


def test_an_oval_is_a_word_of_its_own() -> None:
    for name in ("removal 600x250", "oval room 600x250", "600x250 ovals"):
        found = section_in_name(name)
        assert found is not None
        assert found[0] == rectangular(0.6, 0.25)


@pytest.mark.parametrize(
    ("name", "two"),
    [
        ("T1 600x300 D200", True),
        ("D200 T1 600x300", True),
        ("600x300-400x300", True),
        ("T1 600x300 600x300mm", False),
        ("duct 600x300", False),
        ("T1 600x300.001", False),
    ],
)
def test_two_sections_in_one_name_are_said(
    name: str, two: bool, tmp_path: Path
) -> None:
    path = tmp_path / "a.obj"
    path.write_text(f"o {name}\nv 0 0 3\nv 4 0 3\nl 1 2\n")
    drawing = read(path)
    said = [n for n in drawing.notices if "holds two sections, 600" in n.what]
    assert len(said) == two
    assert drawing.width.tolist() == [0.6]


def route(folder: Path, name: str, *keys: str) -> Path:
    """A route of one run, with some keys more."""
    path = folder / "route.toml"
    lines = ['unit = "m"', "[[run]]", f'name = "{name}"', *keys]
    lines.append("points = [[0, 0, 3], [4, 0, 3]]")
    path.write_text("\n".join(lines), encoding="utf-8")
    return path


def test_a_route_whose_names_and_keys_differ_says_so(tmp_path: Path) -> None:
    for name, words in (
        ("T 500x300", "the name says 500×300 mm (19.7×11.8 in) and its keys say 600"),
        ("T 600x300", None),
        ("T", None),
    ):
        drawing = read(route(tmp_path, name, 'section = "600x300 mm"'))
        assert drawing.width.tolist() == [0.6]
        said = [n for n in drawing.notices if "the name says" in n.what]
        assert [words in n.what for n in said if words] == [True] * bool(words)
        assert len(said) == bool(words)
    drawing = read(route(tmp_path, "T 600x300 D200"))
    assert any("its name holds two sections" in n.what for n in drawing.notices)


@pytest.mark.parametrize(("roughness", "is_read"), [("20 mm", True), ("21 mm", False)])
def test_walls_rougher_than_any_duct_are_refused(
    roughness: str, is_read: bool, tmp_path: Path
) -> None:
    path = route(tmp_path, "T 600x300", f'roughness = "{roughness}"')
    if is_read:
        read(path)
        return
    with pytest.raises(
        BadInput, match=r"'T 600x300' roughness: the length 21 mm .* lies"
    ):
        read(path)
