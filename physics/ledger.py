"""The ledger: what was taken because nobody said it."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from elbowroom.layout import (
    PIECES_TAKEN,
    SPLITTERS_TAKEN,
    Basis,
    ElbowConstruction,
    ElbowRule,
    Schedule,
    Shape,
    TakeoffEntry,
    TransitionRule,
    density_words,
    length_words,
    pressure_words,
    temperature_words,
)

from . import elbows
from .air import ROOM, STANDARD_DENSITY
from .coefficient import Note
from .conditions import Conditions
from .friction import GALVANISED
from .site_air import (
    LOSSES_AT,
    PRESSURE_AT,
    density_ratio,
    is_far,
    is_unsaid,
    taken_words,
)

if TYPE_CHECKING:
    from .analysis import Analysis


CRITICAL_PATH = "critical path"
FAN = "fan's pressure"
LEFT = "pressure left for the ducts"
# What else could be so: air, K, a site, m, and a duct's roughness, m.
_COOLER, _HIGHER, _ROUGHER = 283.15, 500.0, 1.5e-4
_HUMID = 0.5  # share of saturation
OTHER_FLOW = 0.01  # less is the rounding of an airflow in another unit; own choice


@dataclass(frozen=True, slots=True, eq=False)
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
    instead
        Something else that could be so, in words; empty where nothing else is known.
    schedule, conditions
        What says so: analysed in their place, they give the effect (see `effects`).
    acts_on
        What it changes: CRITICAL_PATH, FAN or LEFT.
    """

    what: str
    remedy: str
    elements: int
    instead: str = ""
    schedule: Schedule | None = None
    conditions: Conditions | None = None
    acts_on: str = CRITICAL_PATH


def assumptions_of(analysis: "Analysis") -> list[Assumption]:
    """List every assumption that an analysis rests on."""
    graph, schedule = analysis.graph, analysis.graph.schedule
    bends, legs, found = graph.bends, graph.legs, []

    def assume(
        count: int,
        what: str,
        remedy: str,
        instead: str = "",
        conditions: Conditions | None = None,
        acts_on: str = CRITICAL_PATH,
        **otherwise: Any,
    ) -> None:
        if count:
            other = replace(schedule, **otherwise) if otherwise else None
            found.append(
                Assumption(
                    what, remedy, int(count), instead, other, conditions, acts_on
                )
            )

    assumed = int(Basis.ASSUMED)
    air = schedule.air
    if air.temperature is None:
        assume(
            1,
            f"air at {temperature_words(ROOM)}",
            "write temperature under [air]",
            temperature_words(_COOLER),
            air=replace(air, temperature=_COOLER),
        )
    if air.altitude is None and air.pressure is None:
        assume(
            1,
            "the site at sea level",
            "write altitude under [air]",
            f"{length_words(_HIGHER)} above it",
            air=replace(air, altitude=_HIGHER),
        )
    assume(
        int((analysis.conditions.roughness_basis == assumed).sum()),
        f"ducts of galvanised steel, roughness {length_words(GALVANISED)}",
        "write material or roughness under [duct]",
        length_words(_ROUGHER),
        roughness=_ROUGHER,
    )
    loose = analysis.conditions.compression_basis == assumed
    assume(
        int(loose.sum()),
        "flexible duct pulled to its full length",
        "write compression under [duct], or under [duct.runs.NAME]",
        "4 % shorter, as it hangs when it is put up with care",
        compression=0.04,
    )
    assume(
        int((bends.construction_basis == assumed).sum()),
        "elbows with a smooth radius throat and heel",
        "write construction under [elbows], or [[elbows.exception]]",
        "mitred elbows",
        **_elbows(
            schedule, "construction_basis", construction=ElbowConstruction.MITRED
        ),
    )
    assume(
        int((bends.radius_basis == assumed).sum()),
        "elbows with a centreline radius of 1.0 times the side in the bend's plane",
        "write radius_ratio, throat_radius or centreline_radius under [elbows]",
        "0.75 times",
        **_elbows(schedule, "radius_basis", radius_ratio=0.75),
    )
    for construction in (
        ElbowConstruction.SINGLE_VANES,
        ElbowConstruction.DOUBLE_VANES,
    ):
        vaned = bends.construction == int(construction)
        double = construction == ElbowConstruction.DOUBLE_VANES
        closest, *_, widest = elbows.vane_spacings(double)
        assume(
            int((vaned & np.isnan(bends.vane_spacing)).sum()),
            f"{construction.words}: the vanes {length_words(closest)} apart",
            "write vane_spacing under [elbows]",
            f"{length_words(widest)}, the widest tested",
            **_parted(schedule, construction, "vane_spacing", widest),
        )
    smooth = analysis.elements.reynolds_factor > 1.0
    assume(
        int(smooth.sum()),
        "the Reynolds factor on rectangular and mitred elbows, which editions of the "
        "handbook dispute",
        "compare C with and without it in the result",
        "without it",
        replace(analysis.conditions, reynolds_factor=False),
    )
    branches = legs.is_branch & ~legs.is_symmetrical
    assume(
        int((branches & (legs.entry_basis == assumed)).sum()),
        "branches that leave their main by a plain opening, the worse kind",
        "write entry under [takeoffs]",
        "entries of 45 degrees, or conical ones where the branch is round",
        takeoff_exceptions={
            **{
                graph.drawing.names[run]: TakeoffEntry.CONICAL
                if graph.ducts.shape[duct] == Shape.ROUND
                else TakeoffEntry.ENTRY_45
                for duct, run in zip(
                    legs.duct[branches].tolist(),
                    graph.ducts.run[legs.duct[branches]].tolist(),
                    strict=True,
                )
            },
            **schedule.takeoff_exceptions,
        },
    )
    assume(
        int((graph.transitions.length_basis == assumed).sum()) + _own_changes(analysis),
        "transitions with an included angle of 30 degrees",
        "write included_angle or length under [transitions], or draw them",
        "60 degrees",
        transition_default=TransitionRule(np.pi / 3),
    )
    assume(
        int(np.isnan(graph.terminals.loss).sum()),
        "terminals that lose no more than "
        + (
            "a plain opening in a wall"
            if graph.is_return
            else "the velocity pressure of an open end"
        ),
        "write loss at each terminal",
    )
    if graph.source.kind_is_assumed:
        assume(
            1,
            "the duct ends at the fan's inlet, with no exit loss and no system effect"
            if graph.is_return
            else "the first duct begins at the fan's outlet, with no entry loss and no "
            "system effect",
            'write kind = "plenum" or "fan" under [source]',
            "a plenum",
            source=replace(schedule.source, kind="plenum"),
        )
    assume(
        graph.source.kind == "plenum",
        "a duct that opens into the plenum and loses its whole velocity pressure there"
        if graph.is_return
        else "a duct that begins flush with the wall of the plenum, with a sharp edge",
        "look up another opening with elbowroom fitting; no key of the schedule says "
        "it yet",
    )
    fan, moved = schedule.fan, analysis.conditions.air
    if is_unsaid(fan, moved):
        assume(
            1,
            taken_words(fan, moved),
            PRESSURE_AT,
            f"one in standard air of {density_words(STANDARD_DENSITY)}, times "
            f"{density_ratio(moved):.3f} here",
            acts_on=FAN,
            fan=replace(fan, pressure_at="standard air"),
        )
    assume(
        len(fan.curve) > 2,
        "a smooth curve between the points of the fan's (a monotone cubic)",
        "give more of its points about the design airflow",
        acts_on=FAN,
    )
    if is_far(moved) and air.losses_at is None:
        assume(
            len(schedule.losses)
            + sum(component.loss is not None for component in schedule.components)
            + int((~np.isnan(graph.terminals.loss)).sum()),
            "declared losses as those in the site's air of "
            f"{density_words(moved.density)}",
            LOSSES_AT,
            f"those in standard air of {density_words(STANDARD_DENSITY)}, times "
            f"{density_ratio(moved):.3f} here"
            + (
                "; those under [losses] too, which no path holds"
                * bool(schedule.losses)
            ),
            air=replace(air, losses_at="standard air"),
        )
    drawing = graph.drawing
    if drawing.unit_origin.startswith("assumed"):
        assume(1, f"coordinates in {drawing.unit}", "say --unit")
    if drawing.up_origin.startswith("assumed"):
        assume(1, f"{drawing.up.upper()} as the axis that is up", "say --up")
    unsaid = [o for o in drawing.section_origin.values() if "millimetres" in o]
    assume(len(unsaid), "sizes without a unit in millimetres", "write their unit")
    return [
        *found,
        *_dry_air(analysis),
        *_uncounted(analysis),
        *_speed_at_fan(analysis),
        *_square_law(analysis),
    ]


def _dry_air(analysis: "Analysis") -> list[Assumption]:
    """Air of which nobody says how humid it is."""
    schedule = analysis.graph.schedule
    if schedule.air.humidity is not None:
        return []
    humid = replace(schedule, air=replace(schedule.air, humidity=_HUMID))
    return [
        Assumption(
            "dry air, 0 % humid",
            "write humidity under [air]",
            1,
            f"{100 * _HUMID:g} % humid",
            humid,
        )
    ]


def _uncounted(analysis: "Analysis") -> list[Assumption]:
    """Pieces and splitters of elbows of which nobody says how many there are."""
    graph = analysis.graph
    bends, schedule, kinds = graph.bends, graph.schedule, ElbowConstruction
    found = []
    for kind, key, what, other in (
        (kinds.SEGMENTED, "pieces", f"{PIECES_TAKEN} pieces", 3),
        (kinds.SPLITTERS, "splitters", f"{SPLITTERS_TAKEN} splitter", 2),
    ):
        mine = (bends.construction == kind) & (bends.parts_basis == Basis.ASSUMED)
        if mine.any():
            found.append(
                Assumption(
                    f"elbows made {kind.words}: {what} each",
                    f"write {key} under [elbows], or [[elbows.exception]]",
                    int(mine.sum()),
                    f"{other} {key}",
                    replace(schedule, **_parted(schedule, kind, key, other)),
                )
            )
    return found


def _speed_at_fan(analysis: "Analysis") -> list[Assumption]:
    """Velocity pressure that an external static pressure has on top, or lacks."""
    graph, system, conditions = analysis.graph, analysis.system, analysis.conditions
    side = "inlet" if graph.is_return else "outlet"
    taken: float = getattr(system, f"{side}_velocity_pressure")
    if system.fan_kind != "external static" or not taken > 0.0:
        return []
    said = f"a velocity pressure of {pressure_words(taken)}"
    as_fast = f"air as fast at the fan's {side} as in the duct there: {said}"
    ways = [(side, as_fast, "still air there, as in a plenum", 0.0)]
    if graph.is_return:  # nobody drew its other side
        none = "no velocity pressure at the fan's outlet"
        ways.append(("outlet", none, f"{said}, as at its inlet", taken))
    found = []
    for where, what, instead, other in ways:
        key = f"{where}_velocity_pressure"
        if getattr(conditions, key) is None:
            changes: dict[str, Any] = {key: other}
            there = replace(conditions, **changes)
            found.append(
                Assumption(
                    what,
                    f"write {key} under [fan]",
                    1,
                    instead,
                    conditions=there,
                    acts_on=LEFT,
                )
            )
    return found


def _square_law(analysis: "Analysis") -> list[Assumption]:
    """Losses of components that were declared at another airflow than their duct's."""
    graph, conditions = analysis.graph, analysis.conditions
    share = [
        1.0
        if spec.airflow is None or spec.loss is None or flow == 0.0
        else flow / spec.airflow
        for spec, flow in zip(
            graph.schedule.components,
            analysis.state.flow[graph.component_duct].tolist(),
            strict=True,
        )
    ]
    other = np.abs(np.array(share) - 1.0) > OTHER_FLOW
    if not other.any():
        return []
    linear = conditions.components / np.where(other, share, 1.0)
    return [
        Assumption(
            "declared losses of components, taken from their airflow to that of their "
            "duct by its square",
            "write their loss at the airflow of the duct under [[component]]",
            int(other.sum()),
            "by the airflow itself, as where the flow is laminar",
            conditions=replace(conditions, components=linear),
        )
    ]


def _own_changes(analysis: "Analysis") -> int:
    """Number of mains whose change of section counts as an assumed transition."""
    elements = analysis.elements
    mains = (elements.notes & int(Note.OWN_CHANGE)) > 0
    return int((mains & (elements.basis == int(Basis.ASSUMED))).sum())


def _parted(
    schedule: Schedule, construction: ElbowConstruction, key: str, value: float
) -> dict[str, Any]:
    """Elbow rules of a construction with other parts where nobody says these."""

    def changed(rule: ElbowRule) -> ElbowRule:
        mine = rule.construction == construction and getattr(rule, key) is None
        changes: dict[str, Any] = {key: value}
        return replace(rule, **changes) if mine else rule

    return _all_elbows(schedule, changed)


def _all_elbows(
    schedule: Schedule, changed: Callable[[ElbowRule], ElbowRule]
) -> dict[str, Any]:
    return {
        "elbow_default": changed(schedule.elbow_default),
        "elbow_exceptions": {
            key: changed(rule) for key, rule in schedule.elbow_exceptions.items()
        },
    }


def _elbows(schedule: Schedule, basis: str, **changes: Any) -> dict[str, Any]:
    """Elbow rules with something else where they rest on an assumption."""

    def changed(rule: ElbowRule) -> ElbowRule:
        assumed = getattr(rule, basis) == Basis.ASSUMED
        return replace(rule, **changes) if assumed else rule

    return _all_elbows(schedule, changed)
