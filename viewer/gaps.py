"""Room around the ducts: what stands too near, and where."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from elbowroom.layout import (
    Clearances,
    Obstacle,
    clearances,
    duct_clearances,
    place_words,
    side_clearances,
    solids,
)
from elbowroom.physics import Analysis, Option

from .display import METRIC, TOUCH, Display
from .layout_view import pieces


@dataclass(frozen=True, slots=True)
class Gap:
    """One duct or fitting and what is next to it.

    Parameters
    ----------
    duct, beside
        Names of the piece of duct and of the obstacle or the other duct.
    distance
        m between them, less the insulation; below zero where they overlap: how far the
        duct must move to be clear.
    required
        Distance to keep, m.
    place
        Where, m.
    unit
        That the drawing is in, for the place in words.
    """

    duct: str
    beside: str
    distance: float
    required: float
    place: tuple[float, float, float]
    unit: str

    @property
    def is_kept(self) -> bool:
        """Whether the distance to keep is kept."""
        return self.distance >= max(self.required, 0.0) - TOUCH

    def sentence(self, display: Display = METRIC) -> str:
        """The gap in words, for those that are not kept."""
        return self.words(display.gaps, f" at {place_words(self.place, self.unit)}")

    def words(self, length: Callable[[float], str], where: str = "") -> str:
        """The same with lengths, m, in words of any kind, and a place or none."""
        if self.distance < -TOUCH:
            deep = length(-self.distance)
            return f"'{self.duct}' overlaps '{self.beside}' by {deep}{where}"
        room = f"passes '{self.beside}' at {length(self.distance)}"
        if self.distance <= TOUCH:
            room = f"touches '{self.beside}'"
        needed = f"{length(self.required)} are required"
        return f"'{self.duct}' {room}{where}, {needed}"


def gaps(
    analysis: Analysis, obstacles: Sequence[Obstacle], enough: float = math.inf
) -> tuple[float | None, tuple[Gap, ...]]:
    """Measure the room around the ducts of a layout.

    Parameters
    ----------
    analysis
        The layout; its schedule gives insulation and the distance to keep.
    obstacles
        What to stay clear of besides the other ducts.
    enough
        Depth of an overlap, m, beyond which it is not asked how much deeper it is.

    Returns
    -------
    nearest, gaps
        Smallest distance from an obstacle, m, None without obstacles; and every gap
        that is not kept or is the nearest, the smallest first.
    """
    schedule = analysis.graph.schedule
    shapes = solids(analysis.graph)
    names = [analysis.name(row) for row in pieces(analysis, shapes).tolist()]
    room = {
        "insulation": schedule.insulation,
        "required": schedule.clearance,
        "enough": enough,
    }
    to_solids = clearances(shapes, obstacles, **room)
    to_ducts = duct_clearances(analysis.graph, shapes, **room)
    solid_names = [obstacle.name for obstacle in obstacles]
    kept = schedule.clearance, analysis.graph.drawing.unit
    found = _named(to_solids, names, solid_names, *kept)
    for key, gap in _named(to_ducts, names, names, *kept).items():
        if key not in found or gap.distance < found[key].distance:
            found[key] = gap
    ranked = sorted(found.values(), key=lambda gap: gap.distance)
    clear = [gap for gap in ranked if gap.is_kept]
    return to_solids.nearest, (*(g for g in ranked if not g.is_kept), *clear[:1])


def clashes(room: Sequence[Gap], display: Display = METRIC) -> tuple[str, ...]:
    """What is too near, in the units of a reader."""
    return tuple(gap.sentence(display) for gap in room if not gap.is_kept)


def in_units(
    options: Sequence[Option], rooms: Sequence[Sequence[Gap]], display: Display
) -> list[Option]:
    """Options with their clashes in the units of a reader, from the gaps of each."""
    return [
        replace(option, clashes=clashes(room, display)) if room else option
        for option, room in zip(options, rooms, strict=True)
    ]


def gaps_between(
    one: Analysis, other: Analysis, other_name: str, enough: float = math.inf
) -> tuple[Gap, ...]:
    """Measure the room between the ducts of two layouts, a supply and its return say.

    Parameters
    ----------
    one, other
        The layouts; their schedules give the insulation of each, and the larger of
        their distances to keep counts.
    other_name
        What to call the other layout.
    enough
        As for `gaps`.

    Returns
    -------
    gaps
        Those that are not kept, the smallest first.
    """
    shapes, others = solids(one.graph), solids(other.graph)
    plans = one.graph.schedule, other.graph.schedule
    required = max(plan.clearance for plan in plans)
    measured = side_clearances(
        one.graph,
        shapes,
        other.graph,
        others,
        insulation=(plans[0].insulation, plans[1].insulation),
        required=required,
        enough=enough,
    )
    names = [one.name(row) for row in pieces(one, shapes).tolist()]
    beside = [
        f"{other.name(row)} of {other_name}" for row in pieces(other, others).tolist()
    ]
    found = _named(measured, names, beside, required, one.graph.drawing.unit).values()
    return tuple(sorted(found, key=lambda gap: gap.distance))


def _named(
    measured: Clearances,
    names: Sequence[str],
    others: Sequence[str],
    required: float,
    unit: str,
) -> dict[tuple[str, str], Gap]:
    """Smallest gap between two names; these are given for each piece and each other."""
    found: dict[tuple[str, str], Gap] = {}
    for piece, other, distance, place in zip(
        measured.piece.tolist(),
        measured.other.tolist(),
        measured.distance.tolist(),
        measured.place.tolist(),
        strict=True,
    ):
        key = (names[piece], others[other])
        if key not in found or distance < found[key].distance:
            x, y, z = place
            found[key] = Gap(*key, distance, required, (x, y, z), unit)
    return found
