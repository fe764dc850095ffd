"""Read polylines from VTK files: VTP and VTU (XML), and legacy text or binary.

Own and checked: VTK's readers kill the process on a false count, and take an index out
of range without a word. Cell arrays named like our extras give sections and airflows.
"""

import base64
import binascii
import lzma
import math
import re
import xml.etree.ElementTree as ET
import zlib
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from urllib.parse import unquote, unquote_to_bytes

import numpy as np
import numpy.typing as npt

from .collected import (
    Collected,
    Found,
    check_finite,
    collected_drawing,
    describe,
    say_what_was_taken,
    upright,
)
from .drawing import Drawing
from .extras import KEYS, bare_quantity
from .faults import BadInput, refusal
from .frames import z_up
from .plain_text import AS_UTF8, check_digits, plain_number, plain_whole
from .polylines import chains
from .sections import FloatArray, IntArray
from .units import UNITS

_TYPES = {
    "Int8": "i1",
    "UInt8": "u1",
    "Int16": "i2",
    "UInt16": "u2",
    "Int32": "i4",
    "UInt32": "u4",
    "Int64": "i8",
    "UInt64": "u8",
    "Float32": "f4",
    "Float64": "f8",
    "String": "u1",
}
_LEGACY_TYPES = {
    "char": "i1",
    "unsigned_char": "u1",
    "short": "i2",
    "unsigned_short": "u2",
    "int": "i4",
    "unsigned_int": "u4",
    "vtkidtype": "i4",  # legacy files hold no longer ones
    "long": "i8",
    "unsigned_long": "u8",
    "vtktypeint64": "i8",
    "vtktypeuint64": "u8",
    "float": "f4",
    "double": "f8",
}
_METADATA = re.compile(rb"\nMETADATA\b.*?(?:\n\n|\Z)", re.S)
_WORD = re.compile(rb"\S+")
_SIZES = ("width", "height", "diameter", "flow")
_LINE_CELLS = (3, 4)  # VTK_LINE, VTK_POLY_LINE
# What damaged data raise where they are taken apart.
_DAMAGE = (
    ArithmeticError,
    LookupError,
    TypeError,
    ValueError,
    binascii.Error,
    zlib.error,
    lzma.LZMAError,
)
_MOST_BYTES = 256_000_000  # of one array
_NO_KIND = "no kind of numbers that is read"
_CUT = "it ends in the middle"
Array = npt.NDArray[Any]


class _Damaged(ValueError):
    """Damage that has words of ours; of any other a library speaks in its own."""


@dataclass
class _Lines:
    """Polylines of a file: points, vertices of each line, and what is said of it."""

    points: FloatArray
    connectivity: IntArray
    offsets: IntArray
    arrays: dict[str, list[object]] = field(default_factory=dict)


def read_vtk(path: Path, *, unit: str | None, up: str | None) -> Drawing:
    """Read a route from VTP, VTU or legacy VTK.

    Parameters
    ----------
    path
        The file.
    unit, up
        Unit and axis; metres and Z up if None, as the formats state neither.

    Returns
    -------
    drawing
        Every run, in metres with Z up.

    Raises
    ------
    BadInput
        If it is damaged, claims what it does not hold, or holds no line.
    """
    content = path.read_bytes().removeprefix(b"\xef\xbb\xbf")
    try:
        if content.lstrip()[:1] == b"<":
            pieces = list(_xml_pieces(content, path.name))
        else:
            pieces = [_legacy(content, path.name)]
    except UnicodeDecodeError:
        raise refusal(path.name, "a word in it is no UTF-8", AS_UTF8) from None
    except _Damaged as problem:
        raise refusal(
            path.name, f"its data cannot be read ({problem})", "write it again"
        ) from None
    except _DAMAGE:
        raise refusal(
            path.name, "its data are damaged or cut short", "write it again"
        ) from None
    found = Found(path.name)
    factor = UNITS[unit or "m"].factor
    for lines in pieces:
        _collect(lines, found, factor, up)
    if found.faults:
        raise BadInput(found.faults)
    if not found.runs:
        raise refusal(
            path.name,
            "there is no line cell in it",
            "save the centrelines as polylines, not the surface of the duct",
        )
    say_what_was_taken(found, "VTK files state", unit, up)
    return collected_drawing(
        found,
        unit=unit or "m",
        unit_origin="option" if unit else "assumed: the format has none",
        up=up or "z",
        up_origin="option" if up else "assumed: the format does not say",
        flow_key="a cell array flow_m3s",
    )


def _collect(lines: _Lines, found: Found, factor: float, up: str | None) -> None:
    count, file = len(lines.points), found.file
    offsets, connectivity = lines.offsets, lines.connectivity
    if len(offsets) == 0:
        return
    if (np.diff(offsets, prepend=0) < 0).any() or offsets[-1] > len(connectivity):
        raise refusal(
            file, "its line offsets do not fit its vertices", "write it again"
        )
    outside = (connectivity < 0) | (connectivity >= count)
    if outside.any():
        raise refusal(
            file,
            f"point {int(connectivity[outside][0])} does not exist, as it has {count}",
            "write it again",
        )
    check_finite(lines.points, file, found.faults)
    points = lines.points * factor
    if up == "y":
        points = z_up(points)
    for cell, vertices in _polylines(lines, count):
        if len(vertices) < 2:
            continue
        where = f"line {cell + 1}"
        extras = _extras(lines, cell)
        name = str(extras.pop("name", "") or "")
        name, section, origin, said = describe(
            found, f"{file}, {where}", [extras], [name] if name else [], "line"
        )
        found.runs.append(
            Collected(
                name, points[vertices], section, origin, where, said.flow,
                upright(said.attributes, up),
            )
        )  # fmt: skip


def _polylines(lines: _Lines, count: int) -> Iterator[tuple[int, IntArray]]:
    """Cell and vertices of each polyline; nameless pairs that say the same chained."""
    begins = np.concatenate([[0], lines.offsets[:-1]])
    cells = [
        lines.connectivity[a:b]
        for a, b in zip(begins.tolist(), lines.offsets.tolist(), strict=True)
    ]
    if "name" in lines.arrays or any(len(cell) != 2 for cell in cells):
        yield from enumerate(cells)
        return
    groups: dict[str, list[int]] = {}
    for cell in range(len(cells)):
        groups.setdefault(repr(sorted(_extras(lines, cell).items())), []).append(cell)
    touched = np.bincount(lines.connectivity, minlength=count)
    for members in groups.values():
        edges = np.array([cells[cell] for cell in members])
        edges = edges[edges[:, 0] != edges[:, 1]]
        own = np.bincount(edges.ravel(), minlength=count)
        for chain in chains(edges, count, np.flatnonzero(own != touched)):
            yield members[0], chain


def _extras(lines: _Lines, cell: int) -> dict[str, object]:
    """What the arrays say of a cell; NaN, no word and a size of 0 are nothing."""
    out = {}
    for key, values in lines.arrays.items():
        value = values[cell]
        if isinstance(value, float) and math.isnan(value):
            continue
        if value == "" or (value == 0.0 and key.startswith(_SIZES)):
            continue
        out[key] = value
    return out


# --- XML


def _xml_pieces(content: bytes, file: str) -> Iterator[_Lines]:
    appended, raw = b"", False
    begin = content.find(b"<AppendedData")
    if begin >= 0:
        head = content[begin : content.find(b">", begin) + 1]
        raw = b'"raw"' in head
        first = content.find(b"_", begin + len(head)) + 1
        appended = content[first : content.rfind(b"</AppendedData>")]
        content = content[:begin] + b"</VTKFile>"
    if b"<!DOCTYPE" in content or b"<!ENTITY" in content:
        raise refusal(
            file, "it declares entities, which are not read", "export it again"
        )
    try:
        root = ET.fromstring(content)
    except ET.ParseError as problem:
        content.decode("utf-8")  # refused by that, where that is what is wrong
        line, column = problem.position
        raise refusal(
            file,
            f"its XML is damaged or cut short in line {line}, column {column + 1}",
            "ask for a complete copy",
        ) from None
    kind = root.get("type")
    if root.tag != "VTKFile" or kind not in ("PolyData", "UnstructuredGrid"):
        raise refusal(
            file, f"it holds {kind or root.tag}, not lines", "save PolyData as .vtp"
        )
    codec = _Codec(root, appended, raw, file)
    for piece in root.iter("Piece"):
        points = piece.find("Points/DataArray")
        count = _count(piece.get("NumberOfPoints", "0"))
        xyz = np.zeros(0) if points is None else codec.array(points)
        if xyz.size != 3 * count:
            raise refusal(
                file,
                f"it claims {count} points and holds {xyz.size // 3}",
                "write it again",
            )
        holder = piece.find("Lines" if kind == "PolyData" else "Cells")
        by_name = {
            array.get("Name", ""): array
            for array in (holder.findall("DataArray") if holder is not None else [])
        }
        if "connectivity" not in by_name or "offsets" not in by_name:
            continue
        lines = _Lines(
            xyz.astype(np.float64).reshape(-1, 3),
            codec.array(by_name["connectivity"]).astype(np.int64),
            codec.array(by_name["offsets"]).astype(np.int64),
        )
        # The data of cells begin with those of the vertices.
        first = _count(piece.get("NumberOfVerts", "0"))
        wanted = np.arange(len(lines.offsets))
        if kind == "UnstructuredGrid":
            first, wanted = (
                0,
                np.flatnonzero(np.isin(codec.array(by_name["types"]), _LINE_CELLS)),
            )
            lines = _only(lines, wanted)
        for array in piece.findall("CellData/*"):
            key = array.get("Name", "")
            _check_unit(key, file)
            if key in KEYS:
                values = codec.values(array)
                if len(values) >= first + int(wanted.max(initial=-1)) + 1:
                    lines.arrays[key] = [values[first + cell] for cell in wanted]
        yield lines


def _only(lines: _Lines, cells: IntArray) -> _Lines:
    begins = np.concatenate([[0], lines.offsets[:-1]])
    parts = [lines.connectivity[begins[c] : lines.offsets[c]] for c in cells.tolist()]
    size = np.array([len(part) for part in parts], dtype=np.int64)
    joined = np.concatenate(parts) if parts else np.zeros(0, dtype=np.int64)
    return _Lines(lines.points, joined, np.cumsum(size))


class _Codec:
    """Decoder of the arrays of one file."""

    def __init__(self, root: ET.Element, appended: bytes, raw: bool, file: str) -> None:
        self._order = ">" if root.get("byte_order") == "BigEndian" else "<"
        self._header = self._order + _TYPES[root.get("header_type", "UInt32")]
        self._compressor = root.get("compressor", "")
        self._appended, self._raw, self._file = appended, raw, file

    def array(self, element: ET.Element) -> Array:
        """Numbers of an array; what is wrong is told with its name."""
        try:
            return self._numbers(element)
        except (zlib.error, lzma.LZMAError, binascii.Error):
            what = "its packed data are damaged or cut short"
        except _Damaged as problem:
            what = str(problem)
        except _DAMAGE:
            what = "its data are damaged or cut short"
        raise _Damaged(f"array '{element.get('Name', '')}': {what}")

    def _numbers(self, element: ET.Element) -> Array:
        kind = _TYPES.get(element.get("type", ""))
        if kind is None:
            raise _Damaged(f"{_quoted(element.get('type', ''))} is {_NO_KIND}")
        if element.get("format", "ascii") == "ascii":
            numbers = _floats((element.text or "").split(), element.text or "")
            return numbers if kind.startswith("f") else _whole(numbers)
        data = self._bytes(element)
        return np.frombuffer(data, dtype=self._order + kind)

    def values(self, element: ET.Element) -> list[object]:
        """Values of an array for each cell: numbers, or words."""
        found = self.array(element)
        if element.get("type") != "String":
            return [float(value) for value in found.tolist()]
        words = bytes(found.astype(np.uint8).tolist()).split(b"\0")
        return [word.decode("utf-8") for word in words[:-1]]

    def _bytes(self, element: ET.Element) -> bytes:
        if element.get("format") == "appended":
            start = _count(element.get("offset", "0"))
            if not 0 <= start <= len(self._appended):
                raise _Damaged("an offset outside the appended data")
            data = self._appended[start:]
            return self._decoded(data) if self._raw else self._from_text(data)
        return self._from_text((element.text or "").strip().encode("ascii", "replace"))

    def _from_text(self, text: bytes) -> bytes:
        size = np.dtype(self._header).itemsize
        if not self._compressor:
            lead = base64.b64decode(text[: _in_text(size)])
            (count,) = np.frombuffer(lead[:size], self._header).tolist()
            return self._decoded(_decode(text, size + self._bounded(count)))
        lead = base64.b64decode(text[: _in_text(size)])
        (blocks,) = np.frombuffer(lead[:size], self._header).tolist()
        head = size * (3 + self._bounded(blocks))
        header = _decode(text, head)
        sizes = np.frombuffer(header[:head], self._header)[3:]
        body = text[_in_text(head) :]
        return self._decoded(header[:head] + _decode(body, int(sizes.sum())))

    def _decoded(self, data: bytes) -> bytes:
        """Data after its header, decompressed block by block within what it claims."""
        size = np.dtype(self._header).itemsize
        (count,) = np.frombuffer(data[:size], self._header).tolist()
        self._bounded(count)
        if not self._compressor:
            return data[size : size + count]
        head = np.frombuffer(data[: size * (3 + count)], self._header).tolist()
        whole, last, sizes = head[1], head[2], head[3:]
        self._bounded(whole * count)
        out, place = [], size * (3 + count)
        for number, length in enumerate(sizes):
            full = last if number == count - 1 and last else whole
            out.append(self._block(data[place : place + length], full))
            place += length
        return b"".join(out)

    def _block(self, data: bytes, full: int) -> bytes:
        if self._compressor == "vtkZLibDataCompressor":
            return zlib.decompressobj().decompress(data, full)
        if self._compressor == "vtkLZMADataCompressor":
            return lzma.LZMADecompressor().decompress(data, full)
        raise refusal(
            self._file, f"it is compressed by {self._compressor}", "save it with zlib"
        )

    def _bounded(self, count: int) -> int:
        if not 0 <= count <= _MOST_BYTES:
            raise _Damaged(f"an array that claims {count} bytes")
        return int(count)


def _floats(words: list[str] | list[bytes], text: str) -> FloatArray:
    """Numbers of the words of a text."""
    _check_digits(text)
    try:
        return np.array(words, dtype=np.float64)
    except ValueError:
        each = (
            word if isinstance(word, str) else word.decode("utf-8", "replace")
            for word in words
        )
        wrong = next((word for word in each if not _is_number(word)), "")
        raise _Damaged(f"{_quoted(wrong)} is no number") from None


def _check_digits(text: str) -> None:
    try:
        check_digits(text)
    except ValueError as problem:  # in words of ours
        raise _Damaged(str(problem)) from None


def _quoted(word: str) -> str:
    """A word of a file, unless it is of a part in binary."""
    return f"'{word}'" if word.isprintable() and "\ufffd" not in word else "a word"


def _is_number(word: str) -> bool:
    try:
        plain_number(word)
    except ValueError:
        return False
    return True


def _count(word: str) -> int:
    """How many there are of something."""
    _check_digits(word)
    try:
        return plain_whole(word)
    except ValueError:
        raise _Damaged(f"{_quoted(word)} is no whole number") from None


def _whole(numbers: FloatArray) -> IntArray:
    """Whole numbers that were read as any."""
    whole = np.trunc(numbers) == numbers  # NaN is caught too
    if not (whole & (np.abs(numbers) < 2.0**53)).all():
        raise _Damaged("a number that should be whole is not")
    return numbers.astype(np.int64)


def _in_text(size: int) -> int:
    """Letters of base64 that hold so many bytes."""
    return -(-size // 3) * 4


def _decode(text: bytes, size: int) -> bytes:
    return base64.b64decode(text[: _in_text(size)])


# --- legacy files


def _legacy(content: bytes, file: str) -> _Lines:
    head = content.split(b"\n", 4)
    if len(head) < 5 or head[2].strip().upper() not in (b"ASCII", b"BINARY"):
        raise refusal(file, "its header is damaged", "write it again")
    if head[3].split()[:2] != [b"DATASET", b"POLYDATA"]:
        raise refusal(file, "it holds no POLYDATA", "save the lines as PolyData")
    is_text = head[2].strip().upper() == b"ASCII"
    words = _Words(head[4]) if is_text else _Octets(head[4])
    points, none = np.zeros((0, 3)), np.zeros(0, np.int64)
    lines, before = _Lines(points, none, none), 0
    arrays: dict[str, list[object]] = {}
    while words.more:
        word = words.next().upper()
        if word == "POINTS":
            count = words.count(3)
            points = words.numbers(3 * count, words.next()).reshape(-1, 3)
        elif word == "LINES":
            lines = _legacy_lines(words)
        elif word == "VERTICES":
            before = len(_legacy_lines(words).offsets)
        elif word in ("POLYGONS", "TRIANGLE_STRIPS"):
            _legacy_lines(words)
        elif word == "FIELD":
            dict(_legacy_fields(words))
        elif word == "POINT_DATA":
            dict(_legacy_arrays(words, words.count(0)))
        elif word == "CELL_DATA":
            arrays = dict(_legacy_arrays(words, words.count(0)))
    lines.points = points
    # The data of cells begin with those of the vertices.
    last = before + len(lines.offsets)
    for name, values in arrays.items():
        _check_unit(name, file)
        if len(values) < last:
            raise _Damaged(f"'{name}' has {len(values)} values for {last} cells")
    lines.arrays = {name: values[before:last] for name, values in arrays.items()}
    return lines


class _Words:
    """The words of a legacy file in text, one after another."""

    def __init__(self, content: bytes) -> None:
        self._words = _METADATA.sub(b"\n", content).split()
        self._place = 0

    @property
    def more(self) -> bool:
        return self._place < len(self._words)

    def next(self) -> str:
        if not self.more:
            raise _Damaged(_CUT)
        self._place += 1
        return self._words[self._place - 1].decode("utf-8", "replace")

    def peek(self) -> str:
        word = self._words[self._place] if self.more else b""
        return word.decode("utf-8", "replace")

    def count(self, each: int) -> int:
        """Read a count of things, which the file must be long enough for."""
        count = _count(self.next())
        if not 0 <= count * each <= len(self._words):
            raise _Damaged(f"it claims {count} things that it does not hold")
        return count

    def numbers(self, count: int, kind: str) -> FloatArray:
        """Read so many numbers of a kind, which only a binary file needs to know."""
        part = self._words[self._place : self._place + count]
        if len(part) < count:
            raise _Damaged(_CUT)
        self._place += count
        return _floats(part, b" ".join(part).decode("utf-8", "replace"))

    def texts(self, count: int) -> list[str]:
        if self._place + count > len(self._words):
            raise _Damaged(_CUT)
        self._place += count
        words = self._words[self._place - count : self._place]
        return [unquote_to_bytes(word).decode("utf-8") for word in words]


class _Octets(_Words):
    """The words of a legacy binary file, with big-endian numbers between them."""

    def __init__(self, content: bytes) -> None:
        self._content, self._place = content, 0

    @property
    def more(self) -> bool:
        return self._found() is not None

    def next(self) -> str:
        found = self._found()
        if found is None:
            raise _Damaged(_CUT)
        self._place = found.end()
        return found[0].decode("utf-8", "replace")

    def peek(self) -> str:
        found = self._found()
        return found[0].decode("utf-8", "replace") if found else ""

    def _found(self) -> re.Match[bytes] | None:
        """The next word; what stands under METADATA, up to an empty line, is none."""
        while found := _WORD.search(self._content, self._place):
            if found[0] != b"METADATA":
                break
            self._place = self._content.index(b"\n\n", self._place)
        return found

    def count(self, each: int) -> int:
        count = _count(self.next())
        if not 0 <= count * each <= len(self._content):
            raise _Damaged(f"it claims {count} things that it does not hold")
        return count

    def numbers(self, count: int, kind: str) -> FloatArray:
        if kind.lower() not in _LEGACY_TYPES:
            raise _Damaged(f"{_quoted(kind)} is {_NO_KIND}")
        dtype = np.dtype(">" + _LEGACY_TYPES[kind.lower()])
        begin = self._line()
        self._place = begin + count * dtype.itemsize
        part = self._content[begin : self._place]
        if len(part) < count * dtype.itemsize:
            raise _Damaged(_CUT)
        return np.frombuffer(part, dtype, count).astype(np.float64)

    def texts(self, count: int) -> list[str]:
        self._place = self._line()
        return [self._text() for _ in range(count)]

    def _text(self) -> str:
        # The two highest bits say how many bytes hold the length.
        size = (8, 4, 2, 1)[self._content[self._place] >> 6]
        begin = self._place + size
        length = int.from_bytes(self._content[self._place : begin], "big")
        self._place = begin + (length & ((1 << (8 * size - 2)) - 1))
        if self._place > len(self._content):
            raise _Damaged(_CUT)
        return self._content[begin : self._place].decode("utf-8")

    def _line(self) -> int:
        """Where the next line begins."""
        return self._content.index(b"\n", self._place) + 1


def _legacy_lines(words: _Words) -> _Lines:
    first, second = words.count(0), words.count(0)
    nowhere = np.zeros((0, 3))
    if words.peek().upper() != "OFFSETS":  # before version 5: count, vertices, ...
        flat = _whole(words.numbers(second, "int")).tolist()
        vertices, ends, place = [], [], 0
        for _ in range(first):
            size = flat[place]
            vertices += flat[place + 1 : place + 1 + size]
            ends.append(len(vertices))
            place += 1 + size
        return _Lines(nowhere, np.array(vertices), np.array(ends))
    words.next()
    offsets = _whole(words.numbers(first, words.next()))
    words.next()
    return _Lines(nowhere, _whole(words.numbers(second, words.next())), offsets[1:])


def _legacy_arrays(words: _Words, count: int) -> Iterator[tuple[str, list[object]]]:
    """Arrays of cells or points, as many values each, that say something of ducts."""
    while words.more and words.peek().upper() not in ("POINT_DATA", "CELL_DATA"):
        word = words.next().upper()
        if word == "SCALARS":
            name, kind, width = unquote(words.next()), words.next(), 1
            if re.fullmatch(r"\d", words.peek()):
                width = int(words.next())
            words.next(), words.next()  # LOOKUP_TABLE default
            yield from _kept(name, width, words.numbers(width * count, kind).tolist())
        elif word in ("VECTORS", "NORMALS"):
            words.next()
            words.numbers(3 * count, words.next())
        elif word == "FIELD":
            yield from _legacy_fields(words)


def _legacy_fields(words: _Words) -> Iterator[tuple[str, list[object]]]:
    words.next()  # its name
    for _ in range(words.count(1)):
        name, width = unquote(words.next()), words.count(0)
        size, kind = width * words.count(width), words.next().lower()
        if kind == "string":
            yield from _kept(name, width, list(words.texts(size)))
        else:
            yield from _kept(name, width, words.numbers(size, kind).tolist())


def _check_unit(name: str, file: str) -> None:
    """Refuse an array of cells that is a quantity without its unit."""
    if (bare := bare_quantity(name)) is not None:
        raise refusal(file, bare[0].replace("the extra", "the array of cells"), bare[1])


def _kept(
    name: str, width: int, values: list[object]
) -> Iterator[tuple[str, list[object]]]:
    if width == 1 and (name in KEYS or bare_quantity(name) is not None):
        yield name, values
