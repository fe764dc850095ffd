"""What is particular to OBJ: marks, blanks, comments, curves.

Source: Wavefront OBJ, appendix B1 of the Advanced Visualizer's manual, from memory.
"""

from pathlib import Path

import numpy as np
import pytest

from elbowroom.layout import BadInput, read, read_obstacles

SOLID = "v 0 0 0\nv 1 0 0\nv 0 1 0\nv 0 0 1\nf 1 3 2\nf 1 2 4\nf 1 4 3\nf 2 3 4\n"
PLAIN = "v 0 0 3\no T1 600x300\nv 4 0 3\nv 4 3 3\nl 1 2 3\n"


@pytest.mark.parametrize(
    "text",
    [
        "\ufeff" + PLAIN,
        "\ufeff" + PLAIN.replace(" ", "\t"),
        PLAIN.replace("v ", "v\t").replace("o ", " o \t"),
        PLAIN.replace("l 1 2 3", "l 1 2 3 # down 2 m\n# l 3 1"),
        PLAIN.replace("l 1 2 3", "l 1 2 3#down"),
        "# C:\\out\\\n  # D:\\\n" + PLAIN.replace("4 0 3", "4 0 3 # a\\"),
        "s off # smooth \\\no T1\\\n 600x300\n" + PLAIN.replace("o T1 600x300\n", ""),
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
    for mark in ("", "\ufeff"):
        path.write_text(mark + SOLID, encoding="utf-8")
        (solid,), _ = read_obstacles(path)
        assert solid.is_closed
        assert np.ptp(solid.vertices, axis=0).tolist() == [1, 1, 1]


LINES = "v 0 0 3\nv 8 0 3\nl 1 2\n"


def test_a_name_that_is_no_utf8_is_refused_by_its_line(tmp_path: Path) -> None:
    path = tmp_path / "a.obj"
    text = f"# B\xfcro\nmtllib f\xfc.mtl\no hall D200\n{LINES}"
    path.write_bytes(text.encode("latin-1"))
    assert read(path).names == ["hall D200"]  # what is not read may be in anything
    path.write_bytes(text.replace("hall", "B\xfcro").encode("latin-1"))
    with pytest.raises(BadInput, match=r"a\.obj, line 3: .* no UTF-8; save it with"):
        read(path)
    path.write_text(text.replace("hall", "B\xfcro"), encoding="utf-8")
    assert read(path).names == ["B\xfcro D200"]


@pytest.mark.parametrize("coding", ["utf-16", "utf-16-le", "utf-16-be"])
@pytest.mark.parametrize("name", ["a.obj", "a.txt", "a.vtp"])
def test_text_in_utf16_is_called_so(coding: str, name: str, tmp_path: Path) -> None:
    path = tmp_path / name
    path.write_bytes(PLAIN.encode(coding))
    with pytest.raises(BadInput, match=r"text in UTF-16, .* save it with"):
        read(path)
    path = tmp_path / "solid.obj"
    path.write_bytes(SOLID.encode(coding))
    with pytest.raises(BadInput, match="text in UTF-16"):
        read_obstacles(path)


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_no_other_letter_ends_a_line(end: str, tmp_path: Path) -> None:
    path = tmp_path / "a.obj"
    for sign in "\v\f\x1c\x1d\x1e\x85\u2028\u2029":
        text = f"o Hall{sign}East D200\n{LINES}".replace("\n", end)
        path.write_bytes(text.encode("utf-8"))
        drawing = read(path)
        assert drawing.names == [f"Hall{sign}East D200"]
        assert drawing.width.tolist() == [0.2]


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("v 1_0 0 3", "line 4: '1_0' is no number; write plain digits"),
        ("v \uff18 0 3", "line 4: '\uff18' is no number"),
        ("v 3,5 0 3", r"'3,5' is no number \(a decimal comma\); write a decimal point"),
        ("l 1 2_0", "line 4: '2_0' is no vertex number"),
        ("l 1 \uff12", "is no vertex number"),
    ],
)
def test_numbers_are_those_of_the_format(line: str, said: str, tmp_path: Path) -> None:
    path = tmp_path / "a.obj"
    path.write_text(f"{LINES}{line}\n", encoding="utf-8")
    with pytest.raises(BadInput, match=said):
        read(path)
    path.write_text(f"{LINES}v +1.0e1 -.5 3.\n", encoding="utf-8")
    assert read(path).run_count == 1


def test_a_solid_has_the_name_that_was_written(tmp_path: Path) -> None:
    path = tmp_path / "box.obj"
    text = f"# f\xfcr\no B\xfcro\n{SOLID}"
    path.write_text(text, encoding="utf-8")
    assert read_obstacles(path)[0][0].name == "B\xfcro"
    path.write_bytes(text.encode("latin-1"))  # no guess at its encoding
    with pytest.raises(BadInput, match="a name in it is no UTF-8; save it with"):
        read_obstacles(path)
    path.write_bytes(b"# f\xfcr\n" + text.encode("utf-8"))
    assert read_obstacles(path)[0][0].name == "B\xfcro"


CORNERS = "v 0 0 0\nv 1 0 0\nv 1 1 0\nv 0 0 1\nvn 0 0 1\n"
FACES = "f 1 2 3\nf 1 2 4\nf 1 3 4\nf -3 -2 -1\n"


@pytest.mark.parametrize(
    "text",
    [
        CORNERS.replace("\n", " # corner 2 of 8\n") + FACES,
        CORNERS.replace("\n", "# corner\n") + FACES.replace("\n", "# face\n"),
        CORNERS + FACES.replace("\n", " # face 7\r\n"),
        CORNERS.replace("1 1 0", "1 1 \\\n0 # a\\") + FACES.replace("2 3", "2 \\\n3 #"),
        "# C:\\out\\\\\n" + CORNERS + " # D:\\\r\n#\\\ns off # a\\\n" + FACES,
    ],
)
def test_a_comment_behind_a_corner_or_a_face_changes_nothing(
    text: str, tmp_path: Path
) -> None:
    path = tmp_path / "a.obj"
    path.write_text(f"o beam\n{text}", newline="")
    ((beam,), _) = read_obstacles(path, unit="m")
    assert (beam.name, beam.is_closed, len(beam.faces)) == ("beam", True, 4)
    assert beam.vertices.tolist() == [[0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 0, 1]]


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ("v 1 # 0 0", "a vertex has fewer than three coordinates"),
        ("v 1 0 x # 0", "'x' is no number"),
    ],
)
def test_a_wrong_corner_before_a_comment_is_told_by_its_line(
    wrong: str, said: str, tmp_path: Path
) -> None:
    path = tmp_path / "a.obj"
    path.write_text(f"o beam\n{wrong}\n{CORNERS}{FACES}l 1 2\n")
    for attempt in (read, read_obstacles):
        with pytest.raises(BadInput, match=rf"a\.obj, line 2: {said}"):
            attempt(path)
