"""What is particular to OBJ: marks, blanks, comments, curves.

Source: Wavefront OBJ, appendix B1 of the Advanced Visualizer's manual, from memory.
"""

from pathlib import Path

import numpy as np
import pytest

from elbowroom.layout import read, read_obstacles

PLAIN = "v 0 0 3\no T1 600x300\nv 4 0 3\nv 4 3 3\nl 1 2 3\n"


@pytest.mark.parametrize(
    "text",
    [
        "\ufeff" + PLAIN,
        "\ufeff" + PLAIN.replace(" ", "\t"),
        PLAIN.replace("v ", "v\t").replace("o ", " o \t"),
        PLAIN.replace("l 1 2 3", "l 1 2 3 # down 2 m\n# l 3 1"),
        PLAIN.replace("l 1 2 3", "l 1 2 3#down"),
    ],
)
@pytest.mark.parametrize("name", ["a.obj", "a.txt"])
def test_marks_blanks_and_comments_change_nothing(
    text: str, name: str, tmp_path: Path
) -> None:
    (tmp_path / name).write_text(text, encoding="utf-8")
    drawing = read(tmp_path / name)
    assert [word.split() for word in drawing.names] == [["T1", "600x300"]]
    assert drawing.width.tolist() == [0.6]
    assert drawing.points.tolist() == [[0, 0, 3], [4, 0, 3], [4, 3, 3]]


def test_curves_that_are_not_read_are_said(tmp_path: Path) -> None:
    path = tmp_path / "a.obj"
    curve = "cstype bezier\ndeg 2\ncurv 0 1 1 2 3\nend\n"
    for text, is_said in ((PLAIN, False), (PLAIN + curve, True)):
        path.write_text(text)
        said = " ".join(notice.sentence for notice in read(path).notices)
        assert ("curves or surfaces in it (1) were not read" in said) == is_said


def test_a_mark_takes_no_vertex_from_a_solid(tmp_path: Path) -> None:
    path = tmp_path / "box.obj"
    text = "v 0 0 0\nv 1 0 0\nv 0 1 0\nv 0 0 1\nf 1 3 2\nf 1 2 4\nf 1 4 3\nf 2 3 4\n"
    for mark in ("", "\ufeff"):
        path.write_text(mark + text, encoding="utf-8")
        (solid,), _ = read_obstacles(path)
        assert solid.is_closed
        assert np.ptp(solid.vertices, axis=0).tolist() == [1, 1, 1]
