"""Solids that ducts must stay clear of: beams, columns, slabs."""

from dataclasses import dataclass
from io import BytesIO
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from .allowed import check_fields
from .collected import check_finite
from .faults import BadInput, Notice, note, refusal, warning
from .frames import z_up
from .ifc_model import is_ifc
from .ifc_solids import ifc_solids
from .obj_solids import check_faces, obj_solids
from .paths import check_file
from .quantity_words import length_words
from .read_gltf import check_gltf
from .sections import FloatArray, IntArray
from .units import UNITS, check_frame

_KINDS = (".glb", ".gltf", ".obj", ".stl", ".ply")
_LARGEST = 256_000_000  # bytes
_MOST_FACES = 5_000_000
_MOST_SHELLS = 100  # that are open, and measured to one by one
_MOST_HOLLOWS = 1000  # shells among which those that lie within others are looked for
_FARTHEST = 1e8  # m, as of a quantity of a length; far beyond, equal points differ
# Whoever called in Python has a parameter, and a command an option.
_SAY_UNIT = "say the unit of these solids (unit, or --obstacles-unit of a command)"
_FAR = 300.0  # m: a solid longer than this is in another unit


@dataclass(frozen=True, eq=False)
class Obstacle:
    """One solid.

    Parameters
    ----------
    name
        Name in its file.
    vertices, faces
        m with Z up, shape (n, 3), and triangles, shape (m, 3).
    is_closed
        Whether its surface encloses it; if not, its convex hull stands in for it
        where distances are measured.

    Raises
    ------
    ValueError
        If an array is not of its shape or holds nothing, a vertex is not finite, or a
        face names a vertex that is not there: what measures distances would read
        beyond its memory.
    """

    name: str
    vertices: FloatArray
    faces: IntArray
    is_closed: bool

    def __post_init__(self) -> None:
        """Refuse what is no solid."""
        check_fields(self, {}, name=str, is_closed=bool)
        for what, array in (("vertices", self.vertices), ("faces", self.faces)):
            kinds = "iu" if what == "faces" else "iuf"
            if np.asarray(array).dtype.kind not in kinds:
                must_be = "whole numbers" if what == "faces" else "numbers"
                raise ValueError(
                    f"Obstacle {self.name!r}: {what} are of another kind; each must be "
                    f"an array of {must_be}"
                )
            if np.ndim(array) != 2 or np.shape(array)[1] != 3 or not len(array):
                shape = np.shape(array)
                raise ValueError(
                    f"Obstacle {self.name!r}: {what} have the shape {shape}; it must "
                    "be (n, 3), n at least 1"
                )
        if not np.isfinite(self.vertices).all():
            raise ValueError(
                f"Obstacle {self.name!r}: a vertex is nowhere; every coordinate must "
                "be finite"
            )
        least, most = int(np.min(self.faces)), int(np.max(self.faces))
        last = len(self.vertices) - 1
        if least < 0 or most > last:
            wrong = least if least < 0 else most
            raise ValueError(
                f"Obstacle {self.name!r}: a face names the vertex {wrong}; it must be "
                f"0 to {last}"
            )


def read_obstacles(
    path: Path | str, *, unit: str | None = None, up: str | None = None
) -> tuple[tuple[Obstacle, ...], tuple[Notice, ...]]:
    """Read the solids of a GLB, glTF, OBJ, STL, PLY or IFC file.

    Parameters
    ----------
    path
        The file.
    unit
        Unit of its coordinates; if None what the file states (glTF, IFC), or metres,
        which is said.
    up
        'y' or 'z'; if None, Y for glTF and Z for the others.

    Returns
    -------
    obstacles, notices
        Every body with faces, and what is to be said of them.

    Raises
    ------
    BadInput
        If the file is not there, of another format, or holds no faces; if the unit
        or the axis is not known.
    """
    check_frame(unit, up)
    path = Path(path)
    check_file(path)
    if not 0 < path.stat().st_size <= _LARGEST:
        raise refusal(path.name, "the file is empty or larger than 256 MB", "check it")
    notices: list[Notice] = []
    if is_ifc(path):
        stated = True
        parts, notices = ifc_solids(path, unit)
        if not parts and not notices:
            raise refusal(
                path.name,
                "there is no beam, column, slab or wall in it",
                "give the structural model",
            )
    else:
        stated = path.suffix.lower() in (".glb", ".gltf")
        parts = _meshes(path, unit, up, notices)
        if not parts:
            raise refusal(
                path.name,
                "there is no solid in it, only lines or points",
                "export the faces of the beams, not their edges",
            )
    found = [one for part in parts for one in _obstacles(path, *part, notices)]
    if not stated and unit is None:
        notices.append(
            note(
                path.name,
                "the format states no unit; metres were taken",
                f"{_SAY_UNIT} if it is another",
            )
        )
    extent = max((float(np.ptp(o.vertices, axis=0).max()) for o in found), default=0.0)
    if extent > _FAR:
        notices.append(
            warning(
                path.name,
                f"a solid is {length_words(extent)} long",
                f"check the unit of the file; {_SAY_UNIT} if it is another",
                effect="it may be clear of the ducts only because it is misread",
            )
        )
    return tuple(found), tuple(notices)


def structure_in(
    path: Path | str, *, unit: str | None
) -> tuple[tuple[Obstacle, ...], tuple[Notice, ...]]:
    """Solids of the structure that a drawing itself holds; none unless it is IFC.

    Parameters
    ----------
    path
        The drawing, already read.
    unit
        Length unit that it was read with.

    Returns
    -------
    obstacles, notices
        As `read_obstacles` gives them.
    """
    path = Path(path)
    if not is_ifc(path):
        return (), ()
    parts, notices = ifc_solids(path, unit)
    found = [one for part in parts for one in _obstacles(path, *part, notices)]
    return tuple(found), tuple(notices)


def _obstacles(
    path: Path, name: str, vertices: FloatArray, faces: IntArray, notices: list[Notice]
) -> list[Obstacle]:
    """Each body that is closed of a solid, and each shell of it that is not."""
    import trimesh

    mesh: Any = trimesh.Trimesh(vertices, faces)  # equal vertices become one
    vertices = np.asarray(mesh.vertices)
    faces = np.asarray(mesh.faces, dtype=np.int64)
    shell, is_open = _shells(faces, np.asarray(mesh.face_adjacency))
    open_shells = np.flatnonzero(is_open)
    parts = [faces[shell == number] for number in open_shells[:_MOST_SHELLS]]
    panels = any(_is_flat(vertices[part]) for part in parts)
    if panels or len(open_shells) > _MOST_SHELLS:
        parts = [faces[is_open[shell]]]  # loose panels enclose something together
    count = len(is_open)
    if len(open_shells):
        notices.append(
            warning(
                f"{path.name}, '{name}'",
                "the solid is not closed, so its convex hull is measured to"
                if count == 1
                else f"of its {count} shells {len(open_shells)} "
                f"{'are' if len(open_shells) > 1 else 'is'} not closed, so the convex "
                f"hull of {'each' if len(parts) > 1 else 'what is not'} is measured to",
                "close it if it is hollow or bent",
            )
        )
    body = _bodies(vertices, faces, shell)
    whole = [faces[body == number] for number in np.unique(body[~is_open[shell]])]
    return [
        *(Obstacle(name, *_outward(*_used(vertices, part)), True) for part in whole),
        *(Obstacle(name, *_used(vertices, part), is_closed=False) for part in parts),
    ]


def _bodies(vertices: FloatArray, faces: IntArray, shell: IntArray) -> IntArray:
    """Body of each face: a shell with those that lie within its box, as a hollow does.

    Of very many shells none is looked for within another.
    """
    count = int(shell.max()) + 1
    if not 1 < count <= _MOST_HOLLOWS:
        return shell
    corners = vertices[faces].reshape(-1, 3)
    of = np.repeat(shell, 3)
    low, high = np.full((count, 3), np.inf), np.full((count, 3), -np.inf)
    np.minimum.at(low, of, corners)
    np.maximum.at(high, of, corners)
    within = (low[:, None] >= low).all(axis=2) & (high[:, None] <= high).all(axis=2)
    size = (high - low).sum(axis=1)
    holder = np.where(within, size, -1.0).argmax(axis=1)  # the largest, or itself
    return np.asarray(holder[shell])


def _outward(vertices: FloatArray, faces: IntArray) -> tuple[FloatArray, IntArray]:
    """A closed body with all its triangles turned outward, whoever mirrored it."""
    import trimesh

    mesh: Any = trimesh.Trimesh(vertices, faces, process=False)
    if not mesh.is_winding_consistent:
        repair: Any = trimesh.repair
        repair.fix_winding(mesh)
        faces = np.asarray(mesh.faces, dtype=np.int64)
    return vertices, faces[:, ::-1] if mesh.volume < 0.0 else faces


def _shells(
    faces: IntArray, adjacency: IntArray
) -> tuple[IntArray, npt.NDArray[np.bool_]]:
    """Shell of each face, and whether a shell has an edge without two faces."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    count = len(faces)
    links = coo_array((np.ones(len(adjacency)), adjacency.T), shape=(count, count))
    shells, shell = connected_components(links, directed=False)
    edges = np.sort(faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2), axis=1)
    _, edge = np.unique(edges @ [faces.max() + 1, 1], return_inverse=True)
    of = np.repeat(shell, 3)  # an edge counts for each shell by itself
    _, place, used = np.unique(
        of * (edge.max() + 1) + edge, return_inverse=True, return_counts=True
    )
    is_open = np.zeros(shells, dtype=np.bool_)
    is_open[of[used[place] != 2]] = True
    return shell.astype(np.int64), is_open


def _is_flat(corners: FloatArray) -> bool:
    """Whether triangles, shape (n, 3, 3), lie in one plane."""
    points = corners.reshape(-1, 3)
    spread = np.linalg.svd(points - points.mean(axis=0), compute_uv=False)
    return bool(spread[2] <= 1e-6 * spread[0])


def _used(vertices: FloatArray, faces: IntArray) -> tuple[FloatArray, IntArray]:
    """Vertices that faces use, and the faces of these."""
    kept, number = np.unique(faces, return_inverse=True)
    return vertices[kept], number.reshape(-1, 3).astype(np.int64)


def _scene(path: Path) -> Any:
    """Scene of a file, as it is."""
    import trimesh

    # Unprocessed, as the library else leaves out what is not finite, unsaid.
    if path.suffix.lower() != ".obj":
        return trimesh.load_scene(path, process=False)
    content = obj_solids(path.name, path.read_bytes())
    try:
        # Unless split, all objects of the file are one, under the name of the first.
        return trimesh.load_scene(
            BytesIO(content), file_type="obj", split_objects=True, process=False
        )
    except Exception:
        check_faces(path.name, content)
        raise


def _meshes(
    path: Path, unit: str | None, up: str | None, notices: list[Notice]
) -> list[tuple[str, FloatArray, IntArray]]:
    """Name, vertices in m with Z up, and triangles of each mesh of a file."""
    import trimesh

    if path.suffix.lower() not in _KINDS:
        raise refusal(
            path.name,
            "solids are not read from this format",
            "give a GLB, glTF, OBJ, STL, PLY or IFC file",
        )
    gltf = path.suffix.lower() in (".glb", ".gltf")
    if gltf:
        notices += check_gltf(path)
    try:
        with np.errstate(all="ignore"):  # what is not finite is refused below
            scene: Any = _scene(path)
            parts = [
                (str(name), scene.geometry[geometry], np.asarray(matrix))
                for name in scene.graph.nodes_geometry
                for matrix, geometry in [scene.graph[name]]
            ]
    except BadInput:
        raise
    except Exception:  # whatever a damaged file makes the library raise
        raise refusal(
            path.name, "its solids are damaged or cut short", "export it again"
        ) from None
    factor = UNITS[unit or "m"].factor
    found = []
    for name, mesh, matrix in parts:
        if not isinstance(mesh, trimesh.Trimesh) or len(mesh.faces) == 0:
            continue
        if len(mesh.faces) > _MOST_FACES:
            raise refusal(path.name, f"'{name}' has too many faces", "simplify it")
        where = f"{path.name}, '{name}'"
        vertices, faces = np.asarray(mesh.vertices), np.asarray(mesh.faces, np.int64)
        _check_corners(len(vertices), faces, where)
        with np.errstate(all="ignore"):
            vertices = (vertices @ matrix[:3, :3].T + matrix[:3, 3]) * factor
        if (up or ("y" if gltf else "z")) == "y":
            vertices = z_up(vertices)
        faults: list[Notice] = []
        if not check_finite(vertices, where, faults, _FARTHEST):
            raise BadInput(faults)
        found.append((name, vertices, faces))
    return found


def _check_corners(count: int, faces: IntArray, where: str) -> None:
    """Refuse a face with a corner that is none of so many vertices."""
    wrong = ((faces < 0) | (faces >= count)).any(axis=1)
    if wrong.any():
        row = int(np.argmax(wrong))
        corner = next(c for c in faces[row].tolist() if not 0 <= c < count)
        what = f"face {row + 1} leads to vertex {corner}, counted from 0, of {count}"
        raise refusal(where, what, "correct or delete it")
