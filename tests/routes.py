"""Small invented routes that several tests share."""

from collections.abc import Sequence

import numpy as np

from elbowroom.layout import (
    Attributes,
    Drawing,
    FloatArray,
    Schedule,
    Section,
    drawing_from_runs,
    rectangular,
    round_section,
)

Run = tuple[str, Sequence[Sequence[float]], Section | None]

# A trunk that steps down, drops, and turns; two side branches, one with an elbow.
ROUTE: list[Run] = [
    ("T1", [[0, 0, 3], [2, 0, 3], [5, 0, 3]], rectangular(0.6, 0.3)),
    ("T2", [[5, 0, 3], [9, 0, 3], [9, 0, 2], [12, 0, 2]], rectangular(0.4, 0.3)),
    ("T3", [[12, 0, 2], [15, 0, 2], [15, 4, 2]], rectangular(0.3, 0.25)),
    ("B1", [[5, 0, 3], [5, -3, 3], [5, -3, 2.4]], round_section(0.25)),
    ("B2", [[12, 0, 2], [12, 4, 2]], rectangular(0.3, 0.2)),
]
FLOWS = {"T3": 0.25, "B1": 0.3, "B2": 0.2}
SOURCE = {"T1": Attributes(source=True)}
NOTHING = Schedule()


def drawn(
    runs: Sequence[Run] = ROUTE,
    turn: FloatArray | None = None,
    shift: Sequence[float] = (0, 0, 0),
) -> Drawing:
    """Draw the route, turned and moved."""
    matrix = np.eye(3) if turn is None else turn
    return drawing_from_runs(
        [
            (name, np.asarray(points, dtype=float) @ matrix.T + np.asarray(shift), cut)
            for name, points, cut in runs
        ],
        flows={name: FLOWS[name] for name, _, _ in runs if name in FLOWS},
        attributes=SOURCE,
    )


def about_z(angle: float) -> FloatArray:
    """Rotation about the vertical, shape (3, 3)."""
    c, s = np.cos(angle), np.sin(angle)
    return np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])


def straight(length: float) -> tuple[float, float, int, Sequence[float]]:
    """A straight piece for `line`."""
    return length, 0.0, 1, (0, 0, 1)


def line(
    *pieces: tuple[float, float, int, Sequence[float]],
    start: Sequence[float] = (0, 0, 3),
    heading: Sequence[float] = (1, 0, 0),
    around: bool = False,
) -> FloatArray:
    """Points of a line of straights and arcs that go on along each other's tangents.

    A straight is its length; an arc is its radius, its angle in degrees, how many
    chords, and the axis about which it turns. The chords lie inside the circle or,
    with half a chord at either end, around it.
    """
    here, ahead = np.array(start, dtype=float), np.array(heading, dtype=float)
    points = [here]
    for size, degrees, count, about in pieces:
        if degrees == 0.0:
            here = here + size * ahead
            points.append(here)
            continue
        axis = np.array(about, dtype=float)
        axis -= (axis @ ahead) * ahead
        inward = np.cross(axis / np.linalg.norm(axis), ahead)
        assert np.linalg.norm(axis) > 0.1, "a line does not turn about itself"
        centre = here + size * inward
        step = np.radians(degrees) / count
        number = np.arange(count) + 0.5 if around else np.arange(1, count)
        angle = step * np.append(number, count)
        out = np.outer(np.sin(angle), ahead) - np.outer(np.cos(angle), inward)
        far = np.full(count + around, size / np.cos(step / 2) if around else size)
        far[-1] = size
        points += list(centre + far[:, None] * out)
        here = points[-1]
        turn = step * count
        ahead = np.cos(turn) * ahead + np.sin(turn) * inward
    return np.array(points)
