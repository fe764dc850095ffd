"""Write the routes of the reading room: three ways past a steel beam.

An invented scenario. Supply air enters at (0, 0, 3.0) m; the trunk runs along X and
meets a beam at x = 6 m that hangs 150 mm into its way and rests on a column.
"""

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from elbowroom.layout import (
    Attributes,
    Obstacle,
    Section,
    drawing_from_runs,
    rectangular,
    round_section,
    write_gltf,
)

HERE = Path(__file__).parent
LEVEL = 3.0  # m: axis of the trunk
TRUNK = rectangular(0.6, 0.3)
FLAT = rectangular(1.2, 0.15)
Point = tuple[float, float, float]
Run = tuple[str, Sequence[Point], Section | None]


def after_the_beam() -> list[Run]:
    """What all three options share: the trunk beyond x = 9 m and its branches."""
    return [
        ("T2", [(9.0, 0, LEVEL), (10.5, 0, LEVEL)], TRUNK),
        ("B1", [(10.5, 0, LEVEL), (10.5, 3.6, LEVEL)], rectangular(0.3, 0.3)),
        ("T3", [(10.5, 0, LEVEL), (13.0, 0, LEVEL)], rectangular(0.4, 0.3)),
        ("B2", [(13.0, 0, LEVEL), (13.0, -4.0, LEVEL)], round_section(0.28)),
        ("T4", [(13.0, 0, LEVEL), (15.5, 0, LEVEL)], rectangular(0.3, 0.3)),
        (
            "B3",
            [(15.5, 0, LEVEL), (15.5, 3.0, LEVEL), (15.5, 3.0, LEVEL - 0.7)],
            round_section(0.2),
        ),
        (
            "T5",
            [(15.5, 0, LEVEL), (17.5, 0, LEVEL), (17.5, -3.0, LEVEL)],
            rectangular(0.3, 0.2),
        ),
    ]


def options() -> dict[str, list[Run]]:
    """Each option: its file name and its runs."""
    low = LEVEL - 0.25
    under: list[Run] = [
        (
            "T1",
            [
                (0.0, 0, LEVEL),
                (4.9, 0, LEVEL),
                (5.15, 0, low),
                (6.85, 0, low),
                (7.1, 0, LEVEL),
                (9.0, 0, LEVEL),
            ],
            TRUNK,
        )
    ]
    sunk = LEVEL - 0.15
    flatten: list[Run] = [
        ("T1", [(0.0, 0, LEVEL), (4.2, 0, LEVEL)], TRUNK),
        ("flattening", [(4.2, 0, LEVEL), (5.3, 0, sunk)], None),
        ("flat", [(5.3, 0, sunk), (6.7, 0, sunk)], FLAT),
        ("widening", [(6.7, 0, sunk), (7.8, 0, LEVEL)], None),
        ("T1b", [(7.8, 0, LEVEL), (9.0, 0, LEVEL)], TRUNK),
    ]
    aside: list[Run] = [
        (
            "T1",
            [
                (0.0, 0, LEVEL),
                (3.2, 0, LEVEL),
                (4.7, 1.5, LEVEL),
                (7.1, 1.5, LEVEL),
                (8.6, 0, LEVEL),
                (9.0, 0, LEVEL),
            ],
            TRUNK,
        )
    ]
    ways = {"under": under, "flatten": flatten, "sidestep": aside}
    return {name: runs + after_the_beam() for name, runs in ways.items()}


def box(name: str, low: Point, high: Point) -> Obstacle:
    """Make a solid box between two corners."""
    corners = np.array(
        [[x, y, z] for x in (0, 1) for y in (0, 1) for z in (0, 1)], dtype=np.float64
    )
    vertices = np.array(low) + corners * (np.array(high) - np.array(low))
    faces = [
        (0, 1, 3), (0, 3, 2), (4, 6, 7), (4, 7, 5), (0, 4, 5), (0, 5, 1),
        (2, 3, 7), (2, 7, 6), (0, 2, 6), (0, 6, 4), (1, 5, 7), (1, 7, 3),
    ]  # fmt: skip
    return Obstacle(name, vertices, np.array(faces), is_closed=True)


def main() -> None:
    """Write the three routes and the beam with its column."""
    said = {
        "T1": Attributes(source=True),
        "flattening": Attributes(transition=True),
        "widening": Attributes(transition=True),
    }
    for name, runs in options().items():
        write_gltf(drawing_from_runs(runs, attributes=said), HERE / f"{name}.glb")
    beam = box("steel beam", (5.88, -4.0, 3.0), (6.12, 1.05, 3.45))
    column = box("column", (5.85, 0.75, 0.0), (6.15, 1.05, 3.0))
    write_gltf(drawing_from_runs([]), HERE / "beam.glb", [beam, column])


if __name__ == "__main__":
    main()
