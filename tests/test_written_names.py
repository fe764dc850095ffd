"""Names that a format of lines cannot hold, written all the same."""

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
