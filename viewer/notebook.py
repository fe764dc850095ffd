"""Pictures for notebooks."""

import tempfile
import warnings
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import get_args

from elbowroom.layout import Obstacle
from elbowroom.physics import Analysis, Comparison, Option, compare

from .display import DISPLAYS, METRIC, Display
from .gaps import Gap, clashes, gaps, in_units
from .layout_view import By, bar_title, panels, scale_of
from .preflight import why_not
from .scene import picture

_SMALLEST, _USUAL = (320, 280), (1200, 675)  # pixels


@dataclass(frozen=True)
class Picture:
    """A picture that a notebook shows by itself."""

    png: bytes

    def _repr_png_(self) -> bytes:
        return self.png


def measured(name: str, analysis: Analysis, obstacles: Sequence[Obstacle]) -> Option:
    """Make an option of a comparison, with the room that its ducts have.

    Parameters
    ----------
    name
        Its name.
    analysis
        Its losses; its schedule gives insulation and the distance to keep.
    obstacles
        What to stay clear of besides the other ducts.

    Returns
    -------
    option
        With clearance and clashes, as the commands measure them.
    """
    clearance, room = gaps(analysis, obstacles)
    return Option(name, analysis, clearance, clashes(room))


def plot(
    what: Analysis | Comparison,
    *,
    by: By = "loss",
    units: str = "metric",
    obstacles: Sequence[Obstacle] = (),
    size: tuple[int, int] = _USUAL,
) -> Picture:
    """Draw where the pressure of a layout, or of each layout of a comparison, goes.

    Parameters
    ----------
    what
        An analysis or a comparison.
    by
        What the colours show: 'loss' or 'per-metre'.
    units
        'metric' or 'inch-pound'.
    obstacles
        Solids to draw.
    size
        Width and height in pixels. Letters grow with a size larger than the usual one.

    Returns
    -------
    picture
        A notebook shows it; its `png` are the bytes.

    Raises
    ------
    ValueError
        If `by`, `units` or `size` is none of those that there are.
    RuntimeError
        If there is no OpenGL here, with what to install.
    """
    _check(by, units, size)
    problem = why_not()
    if problem is not None:
        raise RuntimeError(problem)
    display = DISPLAYS[units]
    options: Sequence[Option] = (
        (Option(what.graph.drawing.file, what),)
        if isinstance(what, Analysis)
        else what.options
    )
    rooms = [
        gaps(option.analysis, obstacles)[1] if obstacles or option.clashes else ()
        for option in options
    ]
    verdict = ""
    if isinstance(what, Comparison):
        options, verdict = _told(what, rooms, display, with_solids=bool(obstacles))
    shown = [(option, room, ()) for option, room in zip(options, rooms, strict=True)]
    made, _ = panels(shown, options, by, display, obstacles)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "picture.png"
        lacking = picture(
            made,
            scale_of(options, by, display),
            bar_title(by, display, is_compared=len(made) > 1),
            path,
            size=size,
            density=max(1.0, min(size[0] / _USUAL[0], size[1] / _USUAL[1])),
            verdict=verdict,
            length_unit=display.length,
        )
        if lacking:
            warnings.warn(lacking, stacklevel=2)
        return Picture(path.read_bytes())


def _check(by: str, units: str, size: tuple[int, int]) -> None:
    """Refuse what `plot` does not know."""
    for name, word, words in (
        ("by", by, get_args(By)),
        ("units", units, tuple(DISPLAYS)),
    ):
        if word not in words:
            raise ValueError(
                f"{name} is {word!r}; write {' or '.join(map(repr, words))}"
            )
    if not all(
        low <= side <= 10_000 for low, side in zip(_SMALLEST, size, strict=True)
    ):
        raise ValueError(
            f"size is {size}; take {_SMALLEST} or more, and no more than 10000 pixels"
        )


def _told(
    what: Comparison,
    rooms: Sequence[Sequence[Gap]],
    display: Display,
    *,
    with_solids: bool,
) -> tuple[Sequence[Option], str]:
    """Options and their verdict in the units of the picture, and what they lack."""
    options, verdict = what.options, what.verdict
    unmeasured = [option.name for option in options if option.clearance is None]
    if display is not METRIC:
        if with_solids and not unmeasured:
            options = tuple(in_units(options, rooms, display))
        verdict = compare(options, display.pressure).verdict
    if with_solids and unmeasured:
        verdict += (
            " Clearance from the solids shown was not measured for "
            f"{', '.join(map(repr, unmeasured))}: make options with "
            "elbowroom.viewer.notebook.measured."
        )
    return options, verdict
