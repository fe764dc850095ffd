"""Write the routes of the hillside house: a basement blower, six rooms, two returns.

An invented scenario, laid out in feet. The blower blows upwards; the riser turns into
a trunk below the joists, and a round branch leaves it for each room. The return comes
down on the other side of the blower, from a grille in the hall and one on the stairs.
"""

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from elbowroom.layout import (
    Attributes,
    Section,
    drawing_from_runs,
    rectangular,
    round_section,
    write_gltf,
)

HERE = Path(__file__).parent
INCH, FOOT = 0.0254, 0.3048
JOISTS = 7.0  # ft: axis of the trunk
Point = tuple[float, float, float]
Run = tuple[str, Sequence[Point], Section]


def trunk(width: float) -> Section:
    """Trunk 8 in high, of a width in inches."""
    return rectangular(width * INCH, 8 * INCH)


def runs() -> list[Run]:
    """Every run of the supply side, in feet."""
    z = JOISTS
    branch = round_section
    return [
        ("riser", [(0, 0, 3.5), (0, 0, z), (4, 0, z)], trunk(20)),
        ("trunk 2", [(4, 0, z), (10, 0, z)], trunk(20)),
        ("trunk 3", [(10, 0, z), (16, 0, z)], trunk(14)),
        ("trunk 4", [(16, 0, z), (22, 0, z)], trunk(14)),
        ("trunk 5", [(22, 0, z), (28, 0, z)], trunk(10)),
        ("kitchen", [(4, 0, z), (4, 9, z), (4, 9, z + 1.5)], branch(7 * INCH)),
        ("study", [(10, 0, z), (10, -8, z), (10, -8, z + 1.5)], branch(6 * INCH)),
        ("living room", [(16, 0, z), (16, 10, z), (16, 10, z + 1.5)], branch(8 * INCH)),
        ("bath", [(22, 0, z), (22, -6, z), (22, -6, z + 1.5)], branch(5 * INCH)),
        ("bedroom 1", [(28, 0, z), (28, 7, z), (28, 7, z + 1.5)], branch(7 * INCH)),
        ("bedroom 2", [(28, 0, z), (28, -7, z), (28, -7, z + 1.5)], branch(7 * INCH)),
    ]


def return_runs() -> list[Run]:
    """Every run of the return side, in feet, from the blower to the grilles."""
    z = JOISTS
    wide, narrow = (rectangular(w * INCH, 10 * INCH) for w in (20, 16))
    return [
        ("return drop", [(0, 0, 1.5), (-4, 0, 1.5), (-4, 0, z), (-4, 5, z)], wide),
        ("return trunk", [(-4, 5, z), (-4, 11, z), (-4, 11, z + 1.5)], narrow),
        ("stairs", [(-4, 5, z), (-9, 5, z), (-9, 5, z + 1.5)], round_section(9 * INCH)),
    ]


def main() -> None:
    """Write both routes in metres, as the format prescribes."""
    # The broad sides of the risers lie across the ducts that they turn into.
    for file, drawn, source, up in (
        ("house.glb", runs(), "riser", (-1.0, 0.0, 0.0)),
        ("return.glb", return_runs(), "return drop", None),
    ):
        said = {source: Attributes(source=True, up=up)}
        metres = [
            (name, np.array(points, dtype=np.float64) * FOOT, section)
            for name, points, section in drawn
        ]
        write_gltf(drawing_from_runs(metres, attributes=said), HERE / file)


if __name__ == "__main__":
    main()
