"""Shapes of IFC elements, made in a process of their own.

The geometry kernel dies on some damaged shapes, and whatever calls it dies with it.
Run as a program this file makes the shapes and writes them out one by one, so that the
one that kills it is known; it imports nothing of the package.
"""

import json
import os
import struct
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

_HEAD = struct.Struct("<qqq")  # number of the element, vertices, triangles
_DEATHS = 10  # of the kernel on one file
_SECONDS = 600
_FARTHEST = 1e9  # m
Shape = tuple[npt.NDArray[np.float64], npt.NDArray[np.int64]]


def make_shapes(path: Path, numbers: Sequence[int]) -> dict[int, Shape]:
    """Make the shapes of some elements of an IFC file.

    Parameters
    ----------
    path
        The file.
    numbers
        Numbers of the elements in the file.

    Returns
    -------
    shapes
        Vertices in the file's metres, shape (n, 3), and triangles, shape (m, 3), by
        number; elements whose shape cannot be made are left out.
    """
    made: dict[int, Shape] = {}
    left = list(numbers)
    for _ in range(_DEATHS):
        if not left:
            break
        try:
            done = subprocess.run(
                [sys.executable, __file__, str(path.resolve())],
                input=json.dumps(left).encode(),
                stdout=subprocess.PIPE,
                stderr=subprocess.DEVNULL,
                timeout=_SECONDS,
                check=False,
            )
        except subprocess.TimeoutExpired:
            break
        tried = _unpack(done.stdout, made)
        if done.returncode == 0:
            break
        left = left[tried + 1 :]  # the next one killed it
    return made


def _unpack(data: bytes, made: dict[int, Shape]) -> int:
    """Read the shapes that were written; how many elements were tried."""
    at, tried = 0, 0
    while at + _HEAD.size <= len(data):
        number, points, triangles = _HEAD.unpack_from(data, at)
        at += _HEAD.size
        if at + 24 * (points + triangles) > len(data):
            break
        vertices = np.frombuffer(data, "<f8", 3 * points, at).reshape(-1, 3)
        at += 24 * points
        faces = np.frombuffer(data, "<i8", 3 * triangles, at).reshape(-1, 3)
        at += 24 * triangles
        tried += 1
        if triangles and (np.abs(vertices) < _FARTHEST).all():  # false for NaN too
            made[number] = vertices, faces
    return tried


def _main(path: str, numbers: list[int]) -> None:
    import ifcopenshell
    import ifcopenshell.geom

    out = os.fdopen(os.dup(1), "wb")
    os.dup2(os.open(os.devnull, os.O_WRONLY), 1)  # the kernel prints there
    content = Path(path).read_bytes().removeprefix(b"\xef\xbb\xbf")
    model: Any = ifcopenshell.file.from_string(content.decode("utf-8", "replace"))
    geometry: Any = ifcopenshell.geom
    settings = geometry.settings()
    settings.set("use-world-coords", True)
    for number in numbers:
        vertices, faces = np.zeros((0, 3)), np.zeros((0, 3), np.int64)
        try:
            shape = geometry.create_shape(settings, model.by_id(number))
            vertices = np.array(shape.geometry.verts, "<f8").reshape(-1, 3)
            faces = np.array(shape.geometry.faces, "<i8").reshape(-1, 3)
        except Exception:  # the kernel refuses some shapes with errors of its own
            pass
        out.write(_HEAD.pack(number, len(vertices), len(faces)))
        out.write(vertices.tobytes() + faces.tobytes())
        out.flush()


if __name__ == "__main__":
    _main(sys.argv[1], json.load(sys.stdin))
