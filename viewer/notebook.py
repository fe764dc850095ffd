"""Pictures for notebooks."""

import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from elbowroom.layout import Obstacle
from elbowroom.physics import Analysis, Comparison, Option

from .colours import scale_for
from .display import DISPLAYS
from .layout_view import By, bar_title, panel, summary, values
from .preflight import why_not
from .scene import picture


@dataclass(frozen=True)
class Picture:
    """A picture that a notebook shows by itself."""

    png: bytes

    def _repr_png_(self) -> bytes:
        return self.png


def plot(
    what: Analysis | Comparison,
    *,
    by: By = "loss",
    units: str = "metric",
    obstacles: Sequence[Obstacle] = (),
    size: tuple[int, int] = (1200, 675),
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
        Width and height in pixels.

    Returns
    -------
    picture
        A notebook shows it; its `png` are the bytes.

    Raises
    ------
    RuntimeError
        If there is no OpenGL here, with what to install.
    """
    problem = why_not()
    if problem is not None:
        raise RuntimeError(problem)
    if isinstance(what, Analysis):
        options: Sequence[Option] = (Option(what.graph.drawing.file, what),)
        verdict = ""
    else:
        options, verdict = what.options, what.verdict
    display = DISPLAYS[units]
    panels = [
        panel(
            option.analysis,
            by,
            display,
            f"{option.name}: {display.pressures(option.analysis.critical_loss)} "
            f"{display.pressure} to {option.analysis.critical_terminal}",
            summary(option.analysis, display),
            obstacles,
            [other.analysis for other in options if other is not option],
        )[0]
        for option in options
    ]
    every = [values(option.analysis, by, display) for option in options]
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "picture.png"
        picture(
            panels,
            scale_for(np.concatenate(every)),
            bar_title(by, display),
            path,
            size=size,
            verdict=verdict,
            length_unit=display.length,
        )
        return Picture(path.read_bytes())
