"""Room around the ducts: what stands too near, and where."""

from collections.abc import Sequence
from dataclasses import dataclass

from elbowroom.layout import Obstacle, clearances, duct_clearances, solids
from elbowroom.physics import Analysis

from .display import METRIC, Display
from .layout_view import pieces


@dataclass(frozen=True, slots=True)
class Gap:
    """One duct or fitting and what is next to it.

    Parameters
    ----------
    duct, beside
        Names of the piece of duct and of the obstacle or the other duct.
    distance
        m between them, less the insulation; below zero where they overlap.
    required
        Distance to keep, m.
    place
        Where, m.
    """

    duct: str
    beside: str
    distance: float
    required: float
    place: tuple[float, float, float]

    @property
    def is_kept(self) -> bool:
        """Whether the distance to keep is kept."""
        return self.distance >= max(self.required - 1e-6, 0.0)

    def sentence(self, display: Display = METRIC) -> str:
        """The gap in words, for those that are not kept."""
        place = ", ".join(display.lengths(at) for at in self.place)
        where = f"at ({place}) {display.length}"
        if self.distance <= 0.0:
            deep = display.gaps(-self.distance)
            return f"'{self.duct}' overlaps '{self.beside}' by {deep} {where}"
        return (
            f"'{self.duct}' passes '{self.beside}' at {display.gaps(self.distance)} "
            f"{where}, {display.gaps(self.required)} are required"
        )


def gaps(
    analysis: Analysis, obstacles: Sequence[Obstacle]
) -> tuple[float | None, tuple[Gap, ...]]:
    """Measure the room around the ducts of a layout.

    Parameters
    ----------
    analysis
        The layout; its schedule gives insulation and the distance to keep.
    obstacles
        What to stay clear of besides the other ducts.

    Returns
    -------
    nearest, gaps
        Smallest distance from an obstacle, m, None without obstacles; and every gap
        that is not kept or is the nearest, the smallest first.
    """
    schedule = analysis.graph.schedule
    shapes = solids(analysis.graph)
    element = pieces(analysis, shapes).tolist()
    room = {"insulation": schedule.insulation, "required": schedule.clearance}
    to_solids = clearances(shapes, obstacles, **room)
    to_ducts = duct_clearances(analysis.graph, shapes, **room)
    found: dict[tuple[str, str], Gap] = {}
    for measured, is_duct in ((to_solids, False), (to_ducts, True)):
        for piece, other, distance, place in zip(
            measured.piece.tolist(),
            measured.other.tolist(),
            measured.distance.tolist(),
            measured.place.tolist(),
            strict=True,
        ):
            beside = analysis.name(element[other]) if is_duct else obstacles[other].name
            key = (analysis.name(element[piece]), beside)
            if key not in found or distance < found[key].distance:
                x, y, z = place
                found[key] = Gap(*key, distance, schedule.clearance, (x, y, z))
    ranked = sorted(found.values(), key=lambda gap: gap.distance)
    kept = [gap for gap in ranked if gap.is_kept]
    return to_solids.nearest, (*(g for g in ranked if not g.is_kept), *kept[:1])
