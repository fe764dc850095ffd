"""The ledger: what was taken because nobody said it."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from elbowroom.layout import Basis

if TYPE_CHECKING:
    from .analysis import Analysis


@dataclass(frozen=True, slots=True)
class Assumption:
    """Something that was taken because nobody said it.

    Parameters
    ----------
    what
        What was taken, in a sentence without a full stop.
    remedy
        How to say it.
    elements
        How many elements rest on it.
    """

    what: str
    remedy: str
    elements: int


def assumptions_of(analysis: "Analysis") -> list[Assumption]:
    """List every assumption that an analysis rests on."""
    graph, schedule = analysis.graph, analysis.graph.schedule
    bends, legs, found = graph.bends, graph.legs, []

    def assume(count: int, what: str, remedy: str) -> None:
        if count:
            found.append(Assumption(what, remedy, int(count)))

    assumed = int(Basis.ASSUMED)
    air = schedule.air
    if air.temperature is None:
        assume(1, "air at 20 °C", "write temperature under [air]")
    if air.altitude is None and air.pressure is None:
        assume(1, "the site at sea level", "write altitude under [air]")
    assume(
        int((analysis.conditions.roughness_basis == assumed).sum()),
        "ducts of galvanised steel, roughness 0.09 mm",
        "write material or roughness under [duct]",
    )
    assume(
        int((bends.construction_basis == assumed).sum()),
        "elbows with a smooth radius throat and heel",
        "write construction under [elbows], or [[elbows.exception]]",
    )
    assume(
        int((bends.radius_basis == assumed).sum()),
        "elbows with a centreline radius of 1.0 times the side in the bend's plane",
        "write radius_ratio, throat_radius or centreline_radius under [elbows]",
    )
    smooth = analysis.elements.reynolds_factor > 1.0
    assume(
        int(smooth.sum()),
        "the Reynolds factor on rectangular and mitred elbows, which editions of the "
        "handbook dispute",
        "compare C with and without it in the result",
    )
    branches = legs.is_branch & ~legs.is_symmetrical
    assume(
        int((branches & (legs.entry_basis == assumed)).sum()),
        "branches that leave their main by a plain opening, the worse kind",
        "write entry under [takeoffs]",
    )
    assume(
        int((graph.transitions.length_basis == assumed).sum()),
        "transitions with an included angle of 30 degrees",
        "write included_angle or length under [transitions], or draw them",
    )
    assume(
        int(np.isnan(graph.terminals.loss).sum()),
        "terminals that lose no more than the velocity pressure of an open end",
        "write loss at each terminal",
    )
    if graph.source.kind_is_assumed:
        assume(
            1,
            "the first duct begins at the fan's outlet, with no entry loss and no "
            "system effect",
            'write kind = "plenum" or "fan" under [source]',
        )
    drawing = graph.drawing
    if drawing.unit_origin.startswith("assumed"):
        assume(1, f"coordinates in {drawing.unit}", "say --unit")
    if drawing.up_origin.startswith("assumed"):
        assume(1, f"{drawing.up.upper()} as the axis that is up", "say --up")
    unsaid = [o for o in drawing.section_origin.values() if "millimetres" in o]
    assume(len(unsaid), "sizes in names in millimetres", "write a unit in the names")
    return found
