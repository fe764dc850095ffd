"""What a GLB or glTF file holds: its JSON, its chunks, the numbers of its accessors."""

import base64
import json
import os
import re
import struct
import urllib.parse
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeGuard

import numpy as np

from .faults import TOO_LONG, BadInput, refusal
from .paths import found_at, real_path
from .sections import FloatArray, IntArray

_DTYPES = {
    kind: np.dtype(f"<{code}")
    for kind, code in (
        (5120, "i1"),
        (5121, "u1"),
        (5122, "i2"),
        (5123, "u2"),
        (5125, "u4"),
        (5126, "f4"),
    )
}
_WIDTHS = {"SCALAR": 1, "VEC2": 2, "VEC3": 3, "VEC4": 4}
_JSON, _BIN = 0x4E4F534A, 0x004E4942
_LOOKS = ("KHR_materials_", "KHR_texture_")  # extensions that move no vertex
_LARGEST = 512_000_000  # bytes of any one file that is opened
_SCHEME = re.compile("[A-Za-z][A-Za-z0-9+.-]*:")  # RFC 3986, section 3.1


@dataclass
class GltfFile:
    """A glTF file: its JSON, its binary chunk, and the buffers opened so far."""

    path: Path
    content: dict[str, Any]
    binary: bytes | None
    buffers: dict[int, bytes]

    @property
    def name(self) -> str:
        """The file's name, for what is said of it."""
        return self.path.name

    def item(self, kind: str, index: object, owner: str) -> dict[str, Any]:
        """Item of one of the file's arrays, or a refusal that names who asked."""
        items = self.content.get(kind)
        if is_whole(index) and isinstance(items, list) and 0 <= index < len(items):
            found = items[index]
            if isinstance(found, dict):
                return found
        raise refusal(
            self.name,
            f"{owner} refers to {kind} {index}, which is not there",
            "export the file again",
        )


def open_gltf(path: Path) -> GltfFile:
    """Open a GLB by its first bytes, or else a glTF.

    Raises
    ------
    BadInput
        If it is cut short, longer than it says, no JSON, not of version 2, or needs an
        extension of more than its colours.

    References
    ----------
    Khronos glTF 2.0 specification, GLB file format.
    """
    data = path.read_bytes()
    if data[:4] == b"glTF":
        content, binary = _chunks(path.name, data)
    else:
        content, binary = data, None
    try:
        parsed = json.loads(content.decode("utf-8-sig"))
    except (ValueError, RecursionError) as problem:
        why = TOO_LONG  # Python's own limit is a plain ValueError
        if isinstance(problem, json.JSONDecodeError):
            why = f"it is damaged in line {problem.lineno}, column {problem.colno}"
        elif isinstance(problem, UnicodeDecodeError):
            why = "it is no text in UTF-8"
        elif isinstance(problem, RecursionError):
            why = "its brackets are nested too deep"
        raise refusal(
            path.name, f"its JSON part cannot be read: {why}", "export it again"
        ) from None
    if not isinstance(parsed, dict) or not isinstance(parsed.get("asset"), dict):
        raise refusal(path.name, "it is JSON but no glTF file", "give a glTF 2.0 file")
    version = str(parsed["asset"].get("version", ""))
    if not version.startswith("2"):
        raise refusal(
            path.name, f"glTF version '{version}' is not read", "export as glTF 2.0"
        )
    needed = parsed.get("extensionsRequired", [])
    if not isinstance(needed, list):
        raise refusal(path.name, "its extensionsRequired is no list", "export it again")
    for one in needed:
        if not str(one).startswith(_LOOKS):
            raise refusal(
                path.name,
                f"it needs the extension {one}, which is not read",
                "export without extensions or compression",
            )
    return GltfFile(path, parsed, binary, {})


def _chunks(name: str, data: bytes) -> tuple[bytes, bytes | None]:
    if len(data) < 20:
        raise refusal(name, "the file is cut short within its header", "copy it again")
    version, total = struct.unpack_from("<II", data, 4)
    if version != 2:
        raise refusal(name, f"GLB version {version} is not read", "export as glTF 2.0")
    if total != len(data):
        what = "cut short" if total > len(data) else "longer than it says"
        raise refusal(
            name,
            f"the file is {what}: its header says {total} bytes, it has {len(data)}",
            "ask for a complete copy",
        )
    chunks: dict[int, bytes] = {}
    at = 12
    while at + 8 <= len(data):
        length, kind = struct.unpack_from("<II", data, at)
        at += 8
        if at + length > len(data):
            part = "JSON" if kind == _JSON else "binary"
            raise refusal(
                name,
                f"its {part} chunk says {length} bytes, but {len(data) - at} are left",
                "ask for a complete copy",
            )
        chunks.setdefault(kind, data[at : at + length])
        at += length
    if _JSON not in chunks:
        raise refusal(name, "it has no JSON chunk", "export it again")
    return chunks[_JSON], chunks.get(_BIN)


def items_of(
    owner: Mapping[str, Any], key: str, file: GltfFile, label: str
) -> list[dict[str, Any]]:
    """Objects of a list in the JSON; BadInput, that names its owner, if it is none."""
    items = owner.get(key, [])
    if not isinstance(items, list) or not all(isinstance(i, dict) for i in items):
        raise refusal(file.name, f"{key} of {label} is no list", "export it again")
    return items


def is_whole(value: object) -> TypeGuard[int]:
    """Whether a value of the JSON is a whole number: true and false are none."""
    return type(value) is int


def read_accessor(file: GltfFile, index: object, label: str) -> FloatArray | IntArray:
    """Numbers of an accessor, shape (count, width), as a view where they lie plain.

    Raises
    ------
    BadInput
        If it, its view or its buffer is not there, not understood or too short.

    References
    ----------
    Khronos glTF 2.0 specification, binary data storage.
    """
    accessor = file.item("accessors", index, label)
    count, kind = accessor.get("count"), accessor.get("componentType")
    width = _WIDTHS.get(str(accessor.get("type")))
    if (
        not is_whole(count)
        or count < 0
        or not is_whole(kind)
        or kind not in _DTYPES
        or width is None
    ):
        raise refusal(file.name, f"accessor {index} is not understood", "export again")
    dtype = _DTYPES[kind]
    size = dtype.itemsize * width
    if "sparse" in accessor or "bufferView" not in accessor:
        return _sparse(file, accessor, index, count, dtype, width)
    view = file.item("bufferViews", accessor["bufferView"], f"accessor {index}")
    data = _view(file, view, accessor["bufferView"])
    offset, stride = accessor.get("byteOffset", 0), view.get("byteStride") or size
    if not is_whole(offset) or not is_whole(stride) or offset < 0:
        raise refusal(file.name, f"accessor {index} is not understood", "export again")
    needed = offset + stride * (count - 1) + size if count else 0
    if stride < size or needed > len(data):
        raise refusal(
            file.name,
            f"accessor {index} needs {needed} bytes, its buffer view has {len(data)}",
            "export it again",
        )
    if count < 2:  # no step is taken, and numpy takes none beyond all memory
        stride = size
    if not count:
        offset = 0
    return np.ndarray((count, width), dtype, data, offset, (stride, dtype.itemsize))


def _sparse(
    file: GltfFile,
    accessor: Mapping[str, Any],
    index: object,
    count: int,
    dtype: np.dtype[Any],
    width: int,
) -> FloatArray | IntArray:
    """Accessor that is zeros, or another one, but for a few values."""
    sparse = accessor.get("sparse")
    if not isinstance(sparse, dict):
        raise refusal(
            file.name,
            f"accessor {index} claims {count} values without data",
            "export it again",
        )
    few = sparse.get("count")
    if not is_whole(few) or not 0 <= few <= count or count > 10_000_000:
        raise refusal(file.name, f"accessor {index} is not understood", "export again")
    if "bufferView" in accessor:
        plain = {key: value for key, value in accessor.items() if key != "sparse"}
        values = _changed_accessor(file, plain, index).copy()
    else:
        values = np.zeros((count, width), dtype)
    place, new = sparse.get("indices"), sparse.get("values")
    if not isinstance(place, dict) or not isinstance(new, dict):
        raise refusal(file.name, f"accessor {index} is not understood", "export again")
    kinds = {"componentType": accessor["componentType"], "type": accessor["type"]}
    rows = _changed_accessor(file, {**place, "count": few, "type": "SCALAR"}, index)
    rows = rows.ravel().astype(np.int64)
    if len(rows) and (rows.min() < 0 or rows.max() >= count):
        raise refusal(
            file.name,
            f"accessor {index} changes values it does not have",
            "export again",
        )
    values[rows] = _changed_accessor(file, {**new, **kinds, "count": few}, index)
    return values


def _changed_accessor(
    file: GltfFile, accessor: dict[str, Any], index: object
) -> FloatArray | IntArray:
    content = {**file.content, "accessors": [accessor]}
    return read_accessor(
        GltfFile(file.path, content, file.binary, file.buffers), 0, f"{index}"
    )


def _view(file: GltfFile, view: Mapping[str, Any], index: object) -> memoryview:
    number = view.get("buffer")
    data = read_buffer(file, number)
    begin, length = view.get("byteOffset", 0), view.get("byteLength", 0)
    if not is_whole(begin) or not is_whole(length) or begin < 0:
        raise refusal(
            file.name, f"buffer view {index} is not understood", "export again"
        )
    if length < 0 or begin + length > len(data):
        raise refusal(
            file.name,
            f"buffer view {index} lies outside its buffer ({begin} + {length} of "
            f"{len(data)} bytes)",
            "export it again",
        )
    return memoryview(data)[begin : begin + length]


def read_buffer(file: GltfFile, number: object) -> bytes:
    """Bytes of a buffer: of the file itself, written in the JSON, or beside the file.

    Raises
    ------
    BadInput
        If it is not there, too short, or anywhere else.
    """
    if is_whole(number) and number in file.buffers:
        return file.buffers[number]
    buffer = file.item("buffers", number, "a buffer view")
    length, uri = buffer.get("byteLength", 0), buffer.get("uri")
    if uri is None and number != 0:
        raise refusal(
            file.name,
            f"buffer {number} names no file, and only buffer 0 may be the file's own",
            "export it again",
        )
    if uri is None:
        data = file.binary or b""
    elif isinstance(uri, str) and uri.startswith("data:"):
        try:
            data = base64.b64decode(uri.partition(",")[2], validate=True)
        except ValueError:  # also for letters that are not ASCII
            raise refusal(
                file.name, f"the data of buffer {number} are not base64", "export again"
            ) from None
    else:
        data = _beside(file, number, uri)
    if not is_whole(length) or length > len(data):
        raise refusal(
            file.name,
            f"buffer {number} is shorter than it says: {len(data)} of {length} bytes",
            "ask for a complete copy",
        )
    if is_whole(number):
        file.buffers[number] = data
    return data


def files_beside(path: Path, *, with_images: bool = False) -> list[Path]:
    """Files that hold the buffers of a glTF, in the order of these, each once.

    Parameters
    ----------
    path
        Any file: only a glTF that is no GLB names others.
    with_images
        Whether those of its images count too, which move no vertex.

    Returns
    -------
    files
        Those that are there. None of a file that cannot be read: who reads it says why.
    """
    found: list[Path] = []
    with suppress(BadInput, OSError):
        if found_at(path) != "file" or path.stat().st_size > _LARGEST:
            return []
        with path.open("rb") as stream:
            if stream.read(65536).removeprefix(b"\xef\xbb\xbf").lstrip()[:1] != b"{":
                return []
        file = open_gltf(path)
        for kind in ("buffers", *["images"] * with_images):
            for number, item in enumerate(items_of(file.content, kind, file, kind)):
                uri = item.get("uri")
                if isinstance(uri, str) and not uri.startswith("data:"):
                    with suppress(BadInput):
                        found.append(_path_beside(file, number, uri))
    return list(dict.fromkeys(found))


def _beside(file: GltfFile, number: object, uri: object) -> bytes:
    """Bytes of a file in the same folder; nothing else is ever opened."""
    path = _path_beside(file, number, uri)
    if path.stat().st_size > _LARGEST:
        raise refusal(file.name, f"buffer {number} is larger than 512 MB", "split it")
    return path.read_bytes()


def _path_beside(file: GltfFile, number: object, uri: object) -> Path:
    """Path of a file in the same folder or below; BadInput if it is anywhere else."""
    folder = real_path(file.path).parent
    written = str(uri)
    name = urllib.parse.unquote(written)
    inside = (
        isinstance(uri, str)
        and "\0" not in name
        and not _SCHEME.match(name)
        and not name.startswith(("/", "\\"))
        and real_path(folder / name).is_relative_to(folder)
    )
    if not inside:
        raise refusal(
            file.name,
            f"buffer {number} points outside the folder of the file "
            f"('{written[:60]}'), so nothing was opened",
            "put its data beside the file, or export as GLB",
        )
    path = folder / name
    if not os.path.isfile(path):  # Path.is_file raises where a name is too long
        raise refusal(
            file.name,
            f"buffer {number} points to '{written[:60]}', which is not beside the file",
            "copy that file too, or export as GLB",
        )
    return path
