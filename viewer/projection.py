"""How a scene is looked at: one direction and one scale for all panels."""

from dataclasses import dataclass

import numpy as np

from elbowroom.layout import FloatArray

_ELEVATION = np.radians(34.0)
_TURN = np.radians(24.0)  # off square, so that both ends of a duct are seen
_MARGIN = 1.12


@dataclass(frozen=True, eq=False)
class View:
    """A parallel projection.

    Parameters
    ----------
    right, up, towards
        Unit vectors of the picture's axes and towards the eye, shape (3,).
    centre
        Point in the middle of each panel, m.
    extent
        Width and height of what is to be seen, m, with a margin.
    """

    right: FloatArray
    up: FloatArray
    towards: FloatArray
    centre: FloatArray
    extent: tuple[float, float]

    def flat(self, points: FloatArray) -> FloatArray:
        """Coordinates in the picture plane, m, origin in the middle, shape (n, 2)."""
        away = np.asarray(points) - self.centre
        return np.stack([away @ self.right, away @ self.up], axis=1)


def view_of(points: FloatArray) -> View:
    """View that shows a layout well: from above, its long side across the picture.

    Parameters
    ----------
    points
        Everything that must be seen, m, shape (n, 3).

    Returns
    -------
    view
        The view.
    """
    plan = points[:, :2] - points[:, :2].mean(axis=0)
    _, _, axes = np.linalg.svd(plan, full_matrices=False)
    along = axes[0]
    if along[0] < -1e-9 or (abs(along[0]) <= 1e-9 and along[1] < 0):
        along = -along
    azimuth = np.arctan2(along[1], along[0]) - _TURN
    right = np.array([np.cos(azimuth), np.sin(azimuth), 0.0])
    level = np.array([np.sin(azimuth), -np.cos(azimuth), 0.0])
    towards = level * np.cos(_ELEVATION) + np.array([0, 0, np.sin(_ELEVATION)])
    up = np.cross(towards, right)
    low, high = _bounds(points @ right), _bounds(points @ up)
    depth = points @ towards
    centre = (
        right * (low[0] + low[1]) / 2
        + up * (high[0] + high[1]) / 2
        + towards * (depth.min() + depth.max()) / 2
    )
    wide = max(low[1] - low[0], 1e-3) * _MARGIN
    tall = max(high[1] - high[0], 1e-3) * _MARGIN
    return View(right, up, towards, centre, (wide, tall))


def _bounds(values: FloatArray) -> tuple[float, float]:
    return float(values.min()), float(values.max())


def panel_grid(
    count: int, view: View, width: float, height: float, taken: float
) -> tuple[int, int]:
    """Rows and columns that show the panels largest.

    Parameters
    ----------
    count
        How many panels there are.
    view
        What each shows.
    width, height
        Size of the picture, in pixels.
    taken
        Height that each panel's title takes.
    """
    best = (1, count)
    largest = 0.0
    for rows in range(1, count + 1):
        columns = -(-count // rows)
        scale = min(
            width / columns / view.extent[0],
            max(height / rows - taken, 1.0) / view.extent[1],
        )
        if scale > largest * 1.02:
            best, largest = (rows, columns), scale
    return best
