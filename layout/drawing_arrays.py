"""The arrays of a drawing as they must be, also where somebody made them by hand."""

from collections.abc import Mapping, Sequence
from numbers import Integral
from typing import Any

import numpy as np
import numpy.typing as npt

from .basis import Basis
from .sections import BoolArray, FloatArray, IntArray, Shape

_REAL = ("points", "width", "height", "flow")
_WHOLE = ("offsets", "shape", "section_basis")
_OF_RUN = ("shape", "width", "height", "flow", "section_basis")


def checked_arrays(
    file: str,
    names: Sequence[str],
    where: Sequence[str],
    attributes: Mapping[int, object],
    **given: npt.ArrayLike,
) -> dict[str, npt.NDArray[Any]]:
    """Take the arrays of a drawing as float64 and int64, if they are what they must be.

    Parameters
    ----------
    file, names, where, attributes
        Those of the drawing.
    **given
        Its `points`, `offsets`, `shape`, `width`, `height`, `flow`, `section_basis`.

    Returns
    -------
    arrays
        By name; the same objects where they have that type already.

    Raises
    ------
    ValueError
        If they do not go together, a vertex is not at a finite place, or a section or
        an airflow is none: the first fault, with its run.
    """
    arrays: dict[str, npt.NDArray[Any]] = {}
    arrays |= {name: _real(file, name, given[name]) for name in _REAL}
    arrays |= {name: _whole(file, name, given[name]) for name in _WHOLE}
    points, offsets = arrays["points"], arrays["offsets"]
    if points.ndim != 2 or points.shape[1] != 3:
        raise ValueError(f"{file}: points must have the shape (n, 3)")
    if offsets.ndim != 1 or [*offsets[:1], *offsets[-1:]] != [0, len(points)]:
        raise ValueError(
            f"{file}: offsets must go from 0 to {len(points)}, the number of vertices"
        )
    count = len(offsets) - 1
    of_run = {name: arrays[name].shape for name in _OF_RUN}
    of_run |= {"names": (len(names),), "where": (len(where),)}
    for name, shape in of_run.items():
        if shape != (count,):
            raise ValueError(
                f"{file}: {name} must be one for each of the {count} runs that "
                "offsets has"
            )
    for name, texts in (("names", names), ("where", where)):
        if not all(issubclass(kind, str) for kind in {*map(type, texts)}):
            raise ValueError(f"{file}: {name} must be texts")
    for run in attributes:
        is_whole = type(run) is int or isinstance(run, Integral)
        if not is_whole or not 0 <= int(run) < count:
            raise ValueError(
                f"{file}: attributes are of run {run!r}, but there is none; each must "
                "be of one by its number from 0"
            )
    begins, ends = offsets[:-1], offsets[1:]
    _refuse(file, names, ends <= begins, "the run has no vertex")
    finite = np.isfinite(points).all(axis=1)
    if not finite.all():
        vertex = int(finite.argmin())
        run = int(offsets.searchsorted(vertex, "right")) - 1
        at = ", ".join(f"{value:g}" for value in points[vertex])
        raise ValueError(
            f"{file}, run '{names[run]}', vertex {vertex - int(offsets[run]) + 1}: "
            f"({at}) m is no place; give it finite coordinates"
        )
    _check_sections(file, names, arrays)
    basis = arrays["section_basis"]
    known = (basis >= min(Basis)) & (basis <= max(Basis))
    must_be = f"{min(Basis):d} to {max(Basis):d}"
    _refuse(
        file, names, ~known, f"its section_basis must be a code of Basis, {must_be}"
    )
    flow = arrays["flow"]
    _refuse(
        file,
        names,
        ~np.isnan(flow) & ~((flow > 0.0) & (flow < np.inf)),
        "its airflow must be above 0 m³/s and finite, or NaN where none is written",
    )
    return arrays


def _check_sections(
    file: str, names: Sequence[str], arrays: Mapping[str, npt.NDArray[Any]]
) -> None:
    shape, width, height = arrays["shape"], arrays["width"], arrays["height"]
    _refuse(
        file,
        names,
        (shape < min(Shape)) | (shape > max(Shape)),
        f"its shape must be a code of Shape, {min(Shape):d} to {max(Shape):d}",
    )
    real = (width > 0.0) & (height > 0.0) & (width < np.inf) & (height < np.inf)
    _refuse(
        file,
        names,
        (shape != int(Shape.NONE)) & ~real,
        "the sides of its section must be above 0 m and finite",
    )
    _refuse(
        file,
        names,
        (shape == int(Shape.ROUND)) & (width != height),
        "a round section must be as wide as it is high",
    )


def _real(file: str, name: str, given: npt.ArrayLike) -> FloatArray:
    try:
        return np.asarray(given, dtype=np.float64)
    except (TypeError, ValueError):
        raise ValueError(f"{file}: {name} must be an array of numbers") from None


def _whole(file: str, name: str, given: npt.ArrayLike) -> IntArray:
    array = _real(file, name, given)
    if not (np.isfinite(array) & (array == np.trunc(array))).all():
        raise ValueError(f"{file}: {name} must be an array of whole numbers")
    return np.asarray(given, dtype=np.int64)


def _refuse(file: str, names: Sequence[str], wrong: BoolArray, what: str) -> None:
    """Refuse the first run of which something is wrong, shape (r,)."""
    if wrong.any():
        raise ValueError(f"{file}, run '{names[int(wrong.argmax())]}': {what}")
