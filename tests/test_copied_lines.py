"""Lines drawn twice: what each of the two says counts, whichever was drawn first."""

from itertools import permutations
from pathlib import Path

import pytest

from elbowroom.layout import BadInput, DuctGraph, Severity, build, read
from elbowroom.physics import analyse

THERE, BACK = "[[0, 0, 3], [8, 0, 3]]", "[[8, 0, 3], [0, 0, 3]]"
LINE = 'name = "{}"\npoints = {}\n{}\n'
ON = LINE.format("on", "[[8, 0, 3], [8, 4, 3]]", 'section = "600x300 mm"')


def _route(path: Path, *runs: str) -> Path:
    path.write_text('unit = "m"\n' + "".join(f"[[run]]\n{run}" for run in runs))
    return path


def _built(path: Path, *runs: str) -> DuctGraph:
    return build(read(_route(path, *runs)))


@pytest.mark.parametrize("way", [THERE, BACK])
@pytest.mark.parametrize(
    ("mark", "backwards"),
    [
        ('source = "start"', 'source = "end"'),
        ("source = true", "source = true"),
        ('roughness = "1 mm"\nsource = true', 'roughness = "1 mm"\nsource = true'),
    ],
)
def test_what_a_copy_alone_says_counts_in_any_order(
    mark: str, backwards: str, way: str, tmp_path: Path
) -> None:
    """Between two free ends the mark alone tells where the air enters."""
    section = 'section = "600x300 mm"'
    plain = LINE.format("plain", THERE, section)
    said = LINE.format("marked", way, (mark if way == THERE else backwards) + "\n")
    on = ON + 'flow = "300 L/s"\n'
    wanted = analyse(
        _built(tmp_path / "a.toml", LINE.format("one", THERE, f"{section}\n{mark}"), on)
    )
    for runs in permutations([plain, said, on]):
        graph = _built(tmp_path / "b.toml", *runs)
        assert graph.nodes[graph.source.node].tolist() == [0, 0, 3]
        assert graph.source.reason.startswith("the drawing marks the run")
        assert analyse(graph).critical_loss == wanted.critical_loss


def test_a_mark_of_a_copy_is_told_and_what_to_do(tmp_path: Path) -> None:
    runs = [
        LINE.format("T", THERE, ""),
        LINE.format("T2", BACK, 'source = "end"\nterminal = "t"\nsection = "D200 mm"'),
        ON,
    ]
    drawing = read(_route(tmp_path / "a.toml", *runs))
    (told,) = [one for one in drawing.notices if "same line" in one.what]
    assert told.severity == Severity.WARNING
    assert told.where == "a.toml, run 'T2'"
    assert told.what == (
        "this run is the same line as run 'T' and was left out, but for its terminal "
        "and its mark as the source and its section, Ø200 mm (7.87 in), which counts"
    )
    assert told.remedy == "write that at run 'T', and delete the copy"
    assert drawing.attributes[0].source_at_end is False
    assert drawing.width[0] == 0.2
    _route(tmp_path / "a.toml", *runs[::-1])
    drawing = read(tmp_path / "a.toml")
    (told,) = [one for one in drawing.notices if "same line" in one.what]
    assert told.remedy == "delete the copy"  # the other says all of it


@pytest.mark.parametrize(
    ("one", "other", "way", "said"),
    [
        ('source = "start"', 'source = "end"', THERE, "the source at both of its ends"),
        ('source = "start"', 'source = "start"', BACK, "the source at both of its"),
        ('terminal = "a"', 'terminal = "b"', THERE, "the terminals '"),
        ('section = "D200 mm"', 'section = "D250 mm"', THERE, "the sections Ø2"),
        ('flow = "1 m3/s"', 'flow = "2 m3/s"', THERE, "the airflows "),
        ('roughness = "1 mm"', 'roughness = "2 mm"', THERE, "the roughnesses "),
        ('bend_radius = "1 m"', 'bend_radius = "2 m"', THERE, "the bend radii "),
        ('roll = "30 deg"', 'roll = "-30 deg"', THERE, "the rolls "),
        ("up = [0, 0, 1]", "up = [0, 1, 0]", THERE, "the directions of height ("),
        ("up = [0, 0, 1]", 'roll = "0 deg"', THERE, "a roll and a direction of its"),
        ("flexible = true", 'roughness = "1 mm"', THERE, "a roughness and that it"),
        # What reads alike to three digits is told with those that differ.
        ('flow = "100.00 L/s"', 'flow = "100.04 L/s"', THERE, "the airflows 100"),
        ('section = "D200 mm"', 'section = "D200.01 mm"', THERE, "the sections Ø200"),
        ('bend_radius = "1 m"', 'bend_radius = "1001 mm"', THERE, "the bend radii 1"),
        ('roll = "30.1 deg"', 'roll = "30.4 deg"', THERE, "the rolls 30."),
        ("up = [0, 1, 1]", "up = [0, 1, 1.001]", THERE, "the directions of height ("),
    ],
)
def test_copies_of_which_not_both_can_be_true_are_refused(
    one: str, other: str, way: str, said: str, tmp_path: Path
) -> None:
    runs = [LINE.format("T", THERE, one), LINE.format("T2", way, other)]
    for drawn in (runs, runs[::-1]):
        with pytest.raises(BadInput, match="is the same line as run 'T") as bad:
            read(_route(tmp_path / "a.toml", *drawn, ON))
        what = bad.value.faults[0].what
        assert f"and the two say {said}" in what
        first, _, second = what.rpartition(" say the ")[2].rpartition(" and ")
        assert not first.endswith(f" {second}")
        assert bad.value.faults[0].remedy == "delete one of the two"
    same = one if way == THERE else 'source = "end"'
    runs[1] = LINE.format("T2", way, same)
    assert read(_route(tmp_path / "a.toml", *runs, ON)).run_count == 2


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ('source = "start"', 'source = "end"'),
        ('section = "D200 mm"', 'section = "D250 mm"'),
        ('flow = "1 m3/s"', 'flow = "2 m3/s"'),
        ("flexible = true", 'roughness = "1 mm"'),
    ],
)
def test_of_three_copies_those_that_contradict_are_named(
    one: str, other: str, tmp_path: Path
) -> None:
    """In any order, and not the one that says neither."""
    runs = [("T", ""), ("T2", one), ("T3", other)]
    for drawn in permutations(LINE.format(name, THERE, said) for name, said in runs):
        with pytest.raises(BadInput, match=r"is the same line as run 'T[23]'") as bad:
            read(_route(tmp_path / "a.toml", *drawn, ON))
        assert bad.value.faults[0].where in ("a.toml, run 'T2'", "a.toml, run 'T3'")


@pytest.mark.parametrize("way", [THERE, BACK])
def test_the_roll_of_a_copy_is_that_along_the_air(way: str, tmp_path: Path) -> None:
    """However the copy is drawn: as of a single line that is drawn either way."""
    section = 'section = "300x200 mm"\n'
    fan = LINE.format("fan", "[[0, 0, 0], [0, 0, 3]]", section + 'source = "start"')
    on = LINE.format("on", "[[8, 0, 3], [8, 4, 3]]", section + 'flow = "300 L/s"')
    rolled = 'roll = "30 deg"'
    wanted = _built(
        tmp_path / "a.toml", fan, LINE.format("T", THERE, section + rolled), on
    ).ducts
    single = LINE.format("T", way, section + rolled)
    plain, copy = LINE.format("T", THERE, section), LINE.format("T2", way, rolled)
    for runs in ((single,), (plain, copy), (copy, plain)):
        ducts = _built(tmp_path / "b.toml", fan, *runs, on).ducts
        assert ducts.roll.tolist() == wanted.roll.tolist()
        assert ducts.across.tolist() == wanted.across.tolist()
    assert wanted.roll[1] == pytest.approx(0.5236, abs=1e-4)  # 30 degrees


def test_copies_that_say_the_same_in_other_words_are_told_as_copies(
    tmp_path: Path,
) -> None:
    runs = [
        LINE.format("T", THERE, 'section = "D10 in"\nflow = "212 cfm"\nup = [0, 0, 1]'),
        LINE.format("T2", BACK, 'section = "D254 mm"\nflow = "360.19029 m3/h"'),
        LINE.format("T3", THERE, "up = [0, 0, 3]"),
    ]
    for drawn in permutations(runs):
        drawing = read(_route(tmp_path / "a.toml", *drawn, ON))
        told = [one for one in drawing.notices if "same line" in one.what]
        assert (len(told), drawing.run_count) == (2, 2)
        assert drawing.width[0] == pytest.approx(0.254)
