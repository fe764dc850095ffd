"""Read a drawing in any format that is known: `read`."""

import gc
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from .drawing import Drawing
from .faults import refusal
from .paths import check_file
from .plain_text import utf16_refusal
from .read_dxf import read_dxf
from .read_gltf import read_gltf
from .read_ifc import read_ifc
from .read_obj import read_obj
from .read_route import read_route
from .read_vtk import read_vtk
from .units import check_frame

_LARGEST = 512_000_000  # bytes
FORMATS = "GLB, glTF, OBJ, DXF, IFC, VTP, VTU, VTK or TOML"  # as the help has them
_FOREIGN = {
    b"PK\x03\x04": "a zip archive",
    b"\x89PNG": "a PNG picture",
    b"%PDF": "a PDF document",
    b"\x1f\x8b": "a gzip archive",
    b"\x7fELF": "a program",
}


def read(
    path: Path | str, *, unit: str | None = None, up: str | None = None
) -> Drawing:
    """Read a drawing; the format is told from the content, of TOML from the suffix.

    Parameters
    ----------
    path
        The file.
    unit
        Unit of the coordinates where the file says none or says it wrongly: one of
        m, mm, cm, in, ft.
    up
        Axis that is up where the file says none or says it wrongly: 'y' or 'z'.

    Returns
    -------
    drawing
        The runs, in metres with Z up.

    Raises
    ------
    BadInput
        If the file is not there, is of no known format, or is at fault.
    """
    path = Path(path)
    with _no_collection():
        drawing = _read(path, unit, up)
    if drawing.run_count == 0:
        raise refusal(
            path.name, "no line in it has a length", "draw the ducts from end to end"
        )
    return drawing


@contextmanager
def _no_collection() -> Iterator[None]:
    """Nothing that a reader makes is garbage; looking for some takes a third more."""
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()


def _read(path: Path, unit: str | None, up: str | None) -> Drawing:
    check_frame(unit, up)
    check_file(path)
    try:
        size = path.stat().st_size
        with path.open("rb") as stream:
            head = stream.read(65536)
    except OSError as problem:
        raise refusal(
            path.name, f"it cannot be opened ({problem.strerror})", "check its rights"
        ) from None
    if size == 0:
        raise refusal(path.name, "the file is empty (0 bytes)", "export it again")
    if size > _LARGEST:
        raise refusal(path.name, "the file is larger than 512 MB", "split the drawing")
    head = head.removeprefix(b"\xef\xbb\xbf")  # a byte order mark
    text = head.lstrip()
    if head[:4] == b"glTF" or text[:1] == b"{":
        return read_gltf(path, unit=unit, up=up)
    if path.suffix.lower() == ".toml":
        return read_route(path, unit=unit, up=up)
    if (wide := utf16_refusal(path.name, head)) is not None:
        raise wide
    if b"<VTKFile" in head[:4096] or head.startswith(b"# vtk DataFile"):
        return read_vtk(path, unit=unit, up=up)
    if text.startswith(b"ISO-10303-21"):
        return read_ifc(path, unit=unit, up=up)
    if _looks_like_dxf(head):
        return read_dxf(path, unit=unit, up=up)
    for first, name in _FOREIGN.items():
        if head.startswith(first):
            raise refusal(
                path.name,
                f"this is {name}, not a drawing that is read",
                f"give one of {FORMATS}",
            )
    if path.suffix.lower() == ".obj" or _looks_like_obj(head):
        return read_obj(path, unit=unit, up=up)
    shown = head[:4].hex(" ")
    raise refusal(
        path.name,
        f"its format is not known (it begins with {shown})",
        f"give one of {FORMATS}",
    )


def _looks_like_dxf(head: bytes) -> bool:
    if head.startswith(b"AutoCAD Binary DXF"):
        return True
    words = head.split(None, 4)
    if words[:1] == [b"999"]:  # a comment stands before the first section
        return b"SECTION" in head
    return words[:2] == [b"0", b"SECTION"]


def _looks_like_obj(head: bytes) -> bool:
    if b"\0" in head:
        return False
    words = {line.split(None, 1)[0] for line in head.splitlines() if line.strip()}
    return b"v" in words and bool(words & {b"l", b"f"})
