"""One open shell among solids: the others keep their shape."""

from pathlib import Path
from typing import Any

import numpy as np
import pytest
import trimesh

from elbowroom.layout import read_obstacles


def boxes(holes: int) -> Any:
    """Three cubes of 1 m, 4 m apart along X, the first without a few faces."""
    cubes = [trimesh.creation.box((1, 1, 1)) for _ in range(3)]
    for place, cube in enumerate(cubes):
        cube.apply_translation((4.0 * place, 0, 0))
    cubes[0].update_faces(np.arange(12) >= holes)
    return trimesh.util.concatenate(cubes)


@pytest.mark.parametrize("suffix", ["stl", "ply"])
def test_only_the_open_shell_is_taken_by_its_hull(suffix: str, tmp_path: Path) -> None:
    path = tmp_path / f"cubes.{suffix}"
    boxes(0).export(path)
    whole, said = read_obstacles(path, unit="m")
    assert [one.is_closed for one in whole] == [True, True, True]
    assert not said
    boxes(2).export(path)
    found, said = read_obstacles(path, unit="m")
    *closed, opened = sorted(found, key=lambda one: not one.is_closed)
    assert [one.is_closed for one in closed] == [True, True]
    assert sorted(one.vertices[:, 0].min() for one in closed) == [3.5, 7.5]
    assert [len(one.faces) for one in closed] == [12, 12]
    assert (opened.vertices[:, 0].max(), len(opened.faces)) == (0.5, 10)
    assert [n.what.split(",")[0] for n in said] == ["of its 3 shells 1 is not closed"]


def test_cubes_that_share_an_edge_are_both_closed(tmp_path: Path) -> None:
    pair: Any = [trimesh.creation.box((1, 1, 1)) for _ in range(2)]
    pair[1].apply_translation((1, 1, 0))
    path = tmp_path / "pair.stl"
    both: Any = trimesh.util.concatenate(pair)
    both.export(path)
    found, said = read_obstacles(path, unit="m")
    assert [one.is_closed for one in found] == [True, True]
    assert not said


def test_loose_panels_enclose_something_together(tmp_path: Path) -> None:
    """Two sides of a room, which have no edge in common."""
    vertices = [(0, 0, 0), (0, 1, 0), (0, 0, 1), (3, 0, 0), (3, 1, 0), (3, 0, 1)]
    path = tmp_path / "panels.stl"
    trimesh.Trimesh(vertices, [[0, 1, 2], [3, 4, 5]]).export(path)
    (solid,), _ = read_obstacles(path, unit="m")
    assert not solid.is_closed
    assert np.ptp(solid.vertices, axis=0).tolist() == [3, 1, 1]


def volumes(path: Path) -> list[float]:
    found, _ = read_obstacles(path, unit="m")
    return sorted(
        trimesh.Trimesh(one.vertices, one.faces, process=False).volume for one in found
    )


def test_a_hollow_stays_in_its_body(tmp_path: Path) -> None:
    """A box of 2 m with a hollow of 1 m, and a cube of 1 m beside it: 7 and 1 m3."""
    outer, hollow, beside = (trimesh.creation.box((s, s, s)) for s in (2, 1, 1))
    hollow.invert()
    beside.apply_translation((5, 0, 0))
    path = tmp_path / "hollow.stl"
    both: Any = trimesh.util.concatenate([hollow, beside, outer])
    both.export(path)
    assert volumes(path) == pytest.approx([1.0, 7.0])


@pytest.mark.parametrize("how", ["inside out", "mixed", "mirrored"])
def test_a_body_is_solid_however_its_triangles_turn(tmp_path: Path, how: str) -> None:
    """Mirrored nodes and exporters turn them inward, some of them or all."""
    cube: Any = trimesh.creation.box((1, 1, 1))
    path = tmp_path / "cube.glb"
    scene: Any = trimesh.Scene()
    matrix = np.eye(4)
    if how == "inside out":
        cube.invert()
    elif how == "mixed":
        faces = np.array(cube.faces)
        faces[::3] = faces[::3, ::-1]
        cube = trimesh.Trimesh(cube.vertices, faces, process=False)
    else:
        matrix[0, 0] = -1.0
    scene.add_geometry(cube, transform=matrix)
    scene.export(path)
    assert volumes(path) == pytest.approx([1.0])
