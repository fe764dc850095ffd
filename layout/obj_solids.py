"""Text of OBJ files that hold solids, looked through before a library reads it."""

import re

import numpy as np

from .faults import BadInput, Notice, refusal
from .plain_text import AS_UTF8, utf16_refusal
from .read_obj import indices, vertex

_MARK = b"\xef\xbb\xbf"
_NAMES = re.compile(rb"^[ \t]*[og][ \t].*\n?", re.M)
_LOOSE = re.compile(rb"^(?:[ \t]+[vfog][ \t]|[vfog]\t)", re.M)
# A comment behind coordinates or corners, in which the library would look for more.
_REMARK = re.compile(
    rb"^([vf][tn]?[ \t][^#\n\\]*(?:\\\r?\n?[^#\n\\]*)*)#[^\r\n]*", re.M
)
_JOINED = re.compile(rb"\\\r?$", re.M)  # to the line behind it
# A comment that ends so; in a name '#' is a letter.
_JOINING = re.compile(
    rb"^((?![ \t]*[og][ \t])[^#\n]*#(?:[^\n]*[^\\\n])?)\\+(\r?)$", re.M
)
_WITHIN = re.compile(rb"#(?<=[^\n]#)")  # not the first sign of its line
_VERTEX = re.compile(rb"^v[ \t]", re.M)
_GAP = rb"(?:[ \t]|\\\r?\n)+"
_NUMBER = rb"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?"
_INDEX = rb"0*[1-9]\d*(?:/\d*){0,2}"  # that counts from the first vertex
_REST = rb"(?:\\\r?\n|[^\n])*"
# Any other vertex or face: one in a thousand files has some, so they alone are parsed.
_ODD = re.compile(
    rb"^(?:v(?!(?:%b%b){3}(?:\s|\\|\Z))|f(?!(?:%b%b){3,}[ \t\r]*(?:[#\n]|\Z)))[ \t]%b"
    % (_GAP, _NUMBER, _GAP, _INDEX, _REST),
    re.M,
)
_EVERY = re.compile(rb"^[vf][ \t]" + _REST, re.M)


def obj_solids(file: str, content: bytes) -> bytes:
    """Text of an OBJ file as UTF-8, its faces counting vertices from the first one.

    Parameters
    ----------
    file
        Its name, for what is said.
    content
        What it holds.

    Raises
    ------
    BadInput
        If it is in another encoding; with the line of the first vertex or face that
        cannot be read as one.
    """
    content = content.removeprefix(_MARK)
    if (wide := utf16_refusal(file, content)) is not None:
        raise wide
    if not content.isascii():  # else the library guesses an encoding, of names too
        try:
            b"".join(_NAMES.findall(content)).decode("utf-8")
        except UnicodeDecodeError:
            raise refusal(file, "a name in it is no UTF-8", AS_UTF8) from None
        content = content.decode("utf-8", "replace").encode("utf-8")
    if _LOOSE.search(content) is not None:  # the library passes over such lines
        content = re.sub(rb"^[ \t]*([vfog])[ \t]+", rb"\1 ", content, flags=re.M)
    if _JOINED.search(content) is not None:  # a comment ends with its line
        content = _JOINING.sub(rb"\1\2", content)
    if _WITHIN.search(content) is not None:
        content = _REMARK.sub(rb"\1", content)
    if _ODD.search(content) is None:
        return content
    return _parsed(file, content, _ODD)


def check_faces(file: str, content: bytes) -> None:
    """Refuse the first face of an OBJ's text that leads to no vertex of it."""
    _parsed(file, content, _EVERY)


def _parsed(file: str, content: bytes, lines: re.Pattern[bytes]) -> bytes:
    """Text with the faces among some of its lines written anew, all of them checked."""
    starts = np.array([found.start() for found in _VERTEX.finditer(content)])
    ends = np.flatnonzero(np.frombuffer(content, np.uint8) == ord("\n"))

    def parsed(line: re.Match[bytes]) -> bytes:
        number = int(np.searchsorted(ends, line.start())) + 1
        where = f"{file}, line {number}"
        text = re.sub(r"\\\r?\n", " ", line[0].decode())
        faults: list[Notice] = []
        if text[0] == "v":
            vertex(text[1:], where, faults)
            out = line[0]
        else:
            before = int(np.searchsorted(starts, line.start()))
            count = before if "-" in text else len(starts)
            corners = indices(text[1:], count, where, faults, "face")
            out = b"f " + b" ".join(b"%d" % (corner + 1) for corner in corners)
        if faults:
            raise BadInput(faults)
        return out

    return lines.sub(parsed, content)
