"""Names that a format of lines cannot hold, written all the same."""

from cProfile import Profile
from pathlib import Path

import pytest

from elbowroom.layout import (
    Attributes,
    drawing_from_runs,
    read,
    rectangular,
    write,
)


@pytest.mark.parametrize("suffix", ["dxf", "obj"])
@pytest.mark.parametrize("sign", ["\n", "\r\n", "\x0b", "\u2028"])
def test_a_line_break_in_a_name_becomes_a_space(
    suffix: str, sign: str, tmp_path: Path
) -> None:
    path = tmp_path / f"a.{suffix}"
    duct = rectangular(0.6, 0.3)
    drawing = drawing_from_runs(
        [
            (f"the{sign}hall", [[0, 0, 3], [4, 0, 3]], duct),
            ("plain", [[4, 0, 3], [4, 4, 3]], duct),
        ],
        attributes={"plain": Attributes(terminal=f"far{sign}end")},
    )
    notices = write(drawing, path)
    (said,) = (n for n in notices if "line break" in n.what)
    assert "and 1 more" in said.what
    names = [run.name for run in read(path).runs]
    assert names[0].startswith("the hall")
    assert names[1].startswith("plain")
    if suffix == "dxf":
        assert [run.attributes.terminal for run in read(path).runs] == [None, "far end"]


@pytest.mark.parametrize("suffix", ["dxf", "obj"])
def test_other_names_are_written_as_they_are(suffix: str, tmp_path: Path) -> None:
    drawing = drawing_from_runs([(" a  b", [[0, 0, 3], [4, 0, 3]], None)])
    assert not any(
        "line break" in n.what for n in write(drawing, tmp_path / f"a.{suffix}")
    )


@pytest.mark.parametrize(
    "again", ["T {}x300.{:03d}", "T {}x300 ({})", "T ({1}) {0}x300"]
)
@pytest.mark.parametrize("wide", [500, 600])
def test_an_obj_of_runs_alike_takes_as_much_work_as_they_are_many(
    wide: int, again: str, tmp_path: Path
) -> None:
    """Not as their square, whether or not their names say the section they have."""
    duct = rectangular(0.6, 0.3)
    calls = []
    for count in (50, 200):
        names = [f"T {wide}x300", *(again.format(wide, i) for i in range(2, count + 1))]
        drawing = drawing_from_runs(
            [(name, [[i, 0, 3], [i + 1, 0, 3]], duct) for i, name in enumerate(names)]
        )
        profile = Profile()
        profile.runcall(write, drawing, tmp_path / "a.obj")
        calls.append(sum(entry.callcount for entry in profile.getstats()))
        assert read(tmp_path / "a.obj", unit="m").width.tolist() == [0.6] * count
    assert calls[1] < 5 * calls[0]
