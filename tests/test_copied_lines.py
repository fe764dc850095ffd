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
    ],
)
def test_copies_of_which_not_both_can_be_true_are_refused(
    one: str, other: str, way: str, said: str, tmp_path: Path
) -> None:
    runs = [LINE.format("T", THERE, one), LINE.format("T2", way, other)]
    for drawn in (runs, runs[::-1]):
        with pytest.raises(BadInput, match="is the same line as run 'T") as bad:
            read(_route(tmp_path / "a.toml", *drawn, ON))
        assert f"and the two say {said}" in bad.value.faults[0].what
        assert bad.value.faults[0].remedy == "delete one of the two"
    same = one if way == THERE else 'source = "end"'
    runs[1] = LINE.format("T2", way, same)
    assert read(_route(tmp_path / "a.toml", *runs, ON)).run_count == 2
