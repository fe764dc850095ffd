"""The ledger: what was taken because nobody said it."""

from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from elbowroom.layout import (
    FLEXIBLE,
    PIECES_TAKEN,
    SPLITTERS_TAKEN,
    Basis,
    BoolArray,
    ElbowConstruction,
    ElbowRule,
    IntArray,
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
from .own_changes import own_change_lengths
from .site_air import (
    LOSSES_AT,
    PRESSURE_AT,
    density_ratio,
    is_far,
    is_unsaid,
    site_words,
    taken_words,
)
from .takeoff_entries import Taken, taken_at

if TYPE_CHECKING:
    from .analysis import Analysis


CRITICAL_PATH = "critical path"
FAN = "fan's pressure"
LEFT = "pressure left for the ducts"
# What else could be so: air, K, a site, m, and a duct's roughness, m.
_COOLER, _HIGHER, _ROUGHER = 283.15, 500.0, 1.5e-4
_ROUGHER_FLEXIBLE = "flexible duct, metallic corrugated, fully extended"
_ASSUMED = int(Basis.ASSUMED)
_HUMID = 0.5  # share of saturation
OTHER_FLOW = 0.01  # less is the rounding of an airflow in another unit; own choice
_SAME_AIR = 1e-9  # share of an airflow; the rounding of a sum


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
    return [
        *_of_site(analysis),
        *_of_ducts(analysis),
        *_of_elbows(analysis),
        *_of_branches(analysis),
        *_of_transitions(analysis),
        *_of_ends(analysis),
        *_of_fan(analysis),
        *_of_declared_losses(analysis),
        *_of_places(analysis),
        *_of_checks(analysis),
        *_of_drawing(analysis),
    ]


def _assume(
    analysis: "Analysis",
    count: int,
    what: str,
    remedy: str,
    instead: str = "",
    conditions: Conditions | None = None,
    acts_on: str = CRITICAL_PATH,
    **otherwise: Any,
) -> list[Assumption]:
    """An assumption on which `count` elements rest; none if that is 0.

    `otherwise` is what the schedule would say where something else were so.
    """
    if not count:
        return []
    schedule = analysis.graph.schedule
    other = replace(schedule, **otherwise) if otherwise else None
    return [Assumption(what, remedy, int(count), instead, other, conditions, acts_on)]


def _of_site(analysis: "Analysis") -> list[Assumption]:
    """The air's temperature and humidity, and the height of the site."""
    air = analysis.graph.schedule.air
    return [
        *_assume(
            analysis,
            air.site_of_supply,
            f"the supply's site for this return too: {site_words(air)}",
            "write altitude under [air] in the schedule of the return",
        ),
        *_assume(
            analysis,
            air.temperature is None,
            f"air at {temperature_words(ROOM)}",
            "write temperature under [air]",
            temperature_words(_COOLER),
            air=replace(air, temperature=_COOLER),
        ),
        *_assume(
            analysis,
            air.altitude is None and air.pressure is None,
            "the site at sea level",
            "write altitude under [air]",
            f"{length_words(_HIGHER)} above it",
            air=replace(air, altitude=_HIGHER),
        ),
        *_assume(
            analysis,
            air.humidity is None,
            "dry air, 0 % humid",
            "write humidity under [air]",
            f"{100 * _HUMID:g} % humid",
            air=replace(air, humidity=_HUMID),
        ),
    ]


def _of_ducts(analysis: "Analysis") -> list[Assumption]:
    """The walls of ducts, and how far flexible ones are pulled out."""
    conditions, graph = analysis.conditions, analysis.graph
    assumed = conditions.roughness_basis == _ASSUMED
    soft = assumed & conditions.is_flexible
    runs = [graph.drawing.names[run] for run in np.unique(graph.ducts.run[soft])]
    return [
        *_assume(
            analysis,
            _count(assumed & ~soft),
            f"ducts of galvanised steel, roughness {length_words(GALVANISED)}",
            "write material or roughness under [duct]",
            length_words(_ROUGHER),
            roughness=_ROUGHER,
        ),
        *_assume(
            analysis,
            _count(soft),
            f"ducts drawn as flexible of {FLEXIBLE}",
            "write material under [duct.runs.NAME]",
            _ROUGHER_FLEXIBLE,
            run_materials={
                **graph.schedule.run_materials,
                **dict.fromkeys(runs, _ROUGHER_FLEXIBLE),
            },
        ),
        *_assume(
            analysis,
            _count(conditions.compression_basis == _ASSUMED),
            "flexible duct pulled to its full length",
            "write compression under [duct], or under [duct.runs.NAME]",
            "4 % shorter, as it hangs when it is put up with care",
            compression=0.04,
        ),
    ]


def _of_elbows(analysis: "Analysis") -> list[Assumption]:
    """How elbows are made, and the factor that counts on some of them."""
    bends, schedule = analysis.graph.bends, analysis.graph.schedule
    assumed = bends.construction_basis == _ASSUMED
    soft = assumed & analysis.conditions.is_flexible[bends.duct]
    found = [
        *_assume(
            analysis,
            _count(assumed & ~soft),
            "elbows with a smooth radius throat and heel",
            "write construction under [elbows], or [[elbows.exception]]",
            "mitred elbows",
            **_elbows(
                schedule, "construction_basis", construction=ElbowConstruction.MITRED
            ),
        ),
        *_assume(
            analysis,
            _count((bends.radius_basis == _ASSUMED) & ~soft),
            "elbows with a centreline radius of 1.0 times the side in the bend's plane",
            "write radius_ratio, throat_radius or centreline_radius under [elbows]",
            "0.75 times",
            **_elbows(schedule, "radius_basis", radius_ratio=0.75),
        ),
        *_of_flexible_bends(analysis, soft),
    ]
    for construction in (
        ElbowConstruction.SINGLE_VANES,
        ElbowConstruction.DOUBLE_VANES,
    ):
        vaned = bends.construction == int(construction)
        double = construction == ElbowConstruction.DOUBLE_VANES
        closest, *_, widest = elbows.vane_spacings(double)
        found += _assume(
            analysis,
            _count(vaned & np.isnan(bends.vane_spacing)),
            f"{construction.words}: the vanes {length_words(closest)} apart",
            "write vane_spacing under [elbows]",
            f"{length_words(widest)}, the widest tested",
            **_parted(schedule, construction, "vane_spacing", widest),
        )
    for construction, key, taken, other in (
        (ElbowConstruction.SEGMENTED, "pieces", f"{PIECES_TAKEN} pieces", 3),
        (ElbowConstruction.SPLITTERS, "splitters", f"{SPLITTERS_TAKEN} splitter", 2),
    ):
        made = bends.construction == int(construction)
        found += _assume(
            analysis,
            _count(made & (bends.parts_basis == _ASSUMED)),
            f"elbows made {construction.words}: {taken} each",
            f"write {key} under [elbows], or [[elbows.exception]]",
            f"{other} {key}",
            **_parted(schedule, construction, key, other),
        )
    found += _assume(
        analysis,
        _count(analysis.elements.reynolds_factor > 1.0),
        "the Reynolds factor on rectangular and mitred elbows, which editions of the "
        "handbook dispute",
        "compare C with and without it in the result",
        "without it",
        replace(analysis.conditions, reynolds_factor=False),
    )
    return found


def _of_flexible_bends(analysis: "Analysis", soft: BoolArray) -> list[Assumption]:
    """That bends of flexible duct are smooth elbows, and the radius of those undrawn.

    `soft` has those of which nobody says how they are made, shape (b,).
    """
    graph = analysis.graph
    bends, rules = graph.bends, dict(graph.schedule.elbow_exceptions)
    undrawn = (soft & (bends.radius_basis == _ASSUMED)).nonzero()[0]
    for row in undrawn.tolist():
        run = graph.drawing.names[int(graph.ducts.run[bends.duct[row]])]
        number = int(bends.number[row])
        rules[run, number] = ElbowRule(radius_ratio=0.75)
    what = "bends of flexible duct counted as smooth elbows"
    remedy = "say how they are made under [[elbows.exception]]"
    if not len(undrawn):
        return _assume(analysis, _count(soft), what, remedy)
    return _assume(
        analysis,
        _count(soft),
        f"{what}, with a centreline radius of 1.0 times the side in the bend's plane "
        "where none is drawn",
        f"{remedy}, or draw them as arcs",
        "0.75 times",
        elbow_exceptions=rules,
    )


def _of_branches(analysis: "Analysis") -> list[Assumption]:
    """How branches leave their mains."""
    graph, legs = analysis.graph, analysis.graph.legs
    branches = legs.is_branch & ~legs.is_symmetrical
    better = {
        graph.drawing.names[run]: TakeoffEntry.CONICAL
        if graph.ducts.shape[duct] == Shape.ROUND
        else TakeoffEntry.ENTRY_45
        for duct, run in zip(
            legs.duct[branches].tolist(),
            graph.ducts.run[legs.duct[branches]].tolist(),
            strict=True,
        )
    }
    found = _assume(
        analysis,
        _count(branches & (legs.entry_basis == _ASSUMED)),
        "branches that leave their main by a plain opening, the worse kind",
        "write entry under [takeoffs]",
        "entries of 45 degrees, or conical ones where the branch is round",
        takeoff_exceptions={**better, **graph.schedule.takeoff_exceptions},
    )
    instead = Counter(
        (entry, code)
        for each, joining in (
            (legs, graph.is_return),
            (graph.meetings, not graph.is_return),
        )
        for entry, code in zip(
            each.entry.tolist(),
            taken_at(graph.ducts, each, joining).tolist(),
            strict=True,
        )
        if code != Taken.ITSELF
    )
    for (entry, code), count in sorted(instead.items()):
        found += _assume(
            analysis,
            count,
            f"branches with the declared entry '{TakeoffEntry(entry).words}', of which "
            f"no table fits them, as {Taken(code).words}",
            "declare an entry that has a table there under [[takeoffs.exception]], or "
            "what this one loses beyond that in a [[component]]",
        )
    return found


def _of_transitions(analysis: "Analysis") -> list[Assumption]:
    """How fast the section changes in transitions."""
    return _assume(
        analysis,
        _count(analysis.graph.transitions.length_basis == _ASSUMED)
        + _own_changes(analysis),
        "transitions with an included angle of 30 degrees",
        "write included_angle or length under [transitions], or draw them",
        "60 degrees",
        transition_default=TransitionRule(np.pi / 3),
    )


def _of_ends(analysis: "Analysis") -> list[Assumption]:
    """Which way the air goes, what terminals lose, and where the ducts meet the fan."""
    graph = analysis.graph
    source = graph.schedule.source
    return [
        *_assume(
            analysis,
            not (source.is_supply or source.is_return or graph.drawing.is_supply),
            "a supply: its air flows from the source to the terminals",
            'write side = "supply" or "return" under [source]',
            "a return or an exhaust: its air flows to the source",
            source=replace(source, is_return=True),
        ),
        *_assume(
            analysis,
            len(graph.terminals.bare),
            "terminals that lose no more than "
            + ("a plain opening in a wall" if graph.is_return else "an open end"),
            "write loss or coefficient at each terminal",
        ),
        *_assume(
            analysis,
            graph.source.kind_is_assumed,
            "the duct ends at the fan's inlet, with no exit loss and no system effect"
            if graph.is_return
            else "the first duct begins at the fan's outlet, with no entry loss and no "
            "system effect",
            'write kind = "plenum" or "fan" under [source]',
            "a plenum",
            source=replace(source, kind="plenum"),
        ),
        *_assume(
            analysis,
            graph.source.kind == "plenum",
            "a duct that opens into the plenum and loses its whole velocity pressure "
            "there"
            if graph.is_return
            else "a duct that begins flush with the wall of the plenum, with a sharp "
            "edge",
            "look up another opening with elbowroom fitting; no key of the schedule "
            "says it yet",
        ),
    ]


def _of_fan(analysis: "Analysis") -> list[Assumption]:
    """The air that the fan's pressure is of, and its curve between the points."""
    fan, moved = analysis.graph.schedule.fan, analysis.conditions.air
    found = []
    if is_unsaid(fan, moved):
        found += _assume(
            analysis,
            1,
            taken_words(fan, moved),
            PRESSURE_AT,
            f"one in standard air of {density_words(STANDARD_DENSITY)}, times "
            f"{density_ratio(moved):.3f} here",
            acts_on=FAN,
            fan=replace(fan, pressure_at="standard air"),
        )
    found += _assume(
        analysis,
        len(fan.curve) > 2,
        "a smooth curve between the points of the fan's (a monotone cubic)",
        "give more of its points about the design airflow",
        acts_on=FAN,
    )
    return found + _of_speed_at_fan(analysis)


def _of_speed_at_fan(analysis: "Analysis") -> list[Assumption]:
    """Velocity pressure that an external static pressure has on top, or lacks."""
    graph, system, conditions = analysis.graph, analysis.system, analysis.conditions
    side = "inlet" if graph.is_return else "outlet"
    taken: float = getattr(system, f"{side}_velocity_pressure")
    other_option = conditions.outlet_of
    is_moving = taken > 0.0
    if system.fan_kind != "external static" or not (is_moving or other_option):
        return []
    said = f"a velocity pressure of {pressure_words(taken)}"
    there = f"'{other_option}'" if other_option else "the duct there"
    as_fast = f"air as fast at the fan's {side} as in {there}: {said}"
    ways: list[tuple[str, str, str, float | None]]
    ways = [(side, as_fast, "still air there, as in a plenum", 0.0)]
    if not is_moving:  # as another option declares it
        ways = [(side, as_fast, "as in its own first duct", None)]
    elif graph.is_return:  # nobody drew its other side
        none = "no velocity pressure at the fan's outlet"
        ways.append(("outlet", none, f"{said}, as at its inlet", taken))
    found = []
    for where, what, instead, other in ways:
        key = f"{where}_velocity_pressure"
        changes: dict[str, Any] = {key: other}
        found += _assume(
            analysis,
            getattr(conditions, key) is None or (where == side and bool(other_option)),
            what,
            f"write {key} under [fan]",
            instead,
            replace(conditions, **changes),
            LEFT,
        )
    return found


def _of_declared_losses(analysis: "Analysis") -> list[Assumption]:
    """The airflows and, far from standard air, the air that losses were declared at."""
    graph, conditions = analysis.graph, analysis.conditions
    schedule, moved = graph.schedule, conditions.air
    share = np.ones(len(schedule.components))
    for row, spec in enumerate(schedule.components):
        flow = analysis.state.flow[graph.components.duct[row]]
        if spec.airflow is not None and spec.loss is not None and flow > 0.0:
            share[row] = flow / spec.airflow
    other = np.abs(share - 1.0) > OTHER_FLOW
    found = _assume(
        analysis,
        _count(other),
        "declared losses of components, taken from their airflow to that of their "
        "duct by its square",
        "write their loss at the airflow of the duct under [[component]]",
        "by the airflow itself, as where the flow is laminar",
        replace(
            conditions, components=conditions.components / np.where(other, share, 1)
        ),
    )
    if not is_far(moved) or schedule.air.losses_at is not None:
        return found
    return found + _assume(
        analysis,
        len(schedule.losses)
        + sum(component.loss is not None for component in schedule.components)
        + _count(~np.isnan(graph.terminals.loss)),
        f"declared losses as those in the site's air of {density_words(moved.density)}",
        LOSSES_AT,
        f"those in standard air of {density_words(STANDARD_DENSITY)}, times "
        f"{density_ratio(moved):.3f} here"
        + "; those under [losses] too, which no path holds"
        * bool(schedule.losses),
        air=replace(schedule.air, losses_at="standard air"),
    )


def _of_places(analysis: "Analysis") -> list[Assumption]:
    """Where components stand in runs of several pieces."""
    graph = analysis.graph
    ducts, specs = graph.ducts, graph.schedule.components
    elsewhere, count = list(specs), 0
    for row, spec in enumerate(specs):
        run = ducts.run[graph.components.duct[row]]
        (pieces,) = (ducts.run == run).nonzero()
        if spec.at is not None or _are_alike(analysis, pieces):
            continue
        last = int(pieces[-1])
        x, y, z = ((ducts.begin[last] + ducts.end[last]) / 2).tolist()
        elsewhere[row], count = replace(spec, at=(x, y, z)), count + 1
    return _assume(
        analysis,
        count,
        "components in the middle of the first piece of their run from the source on",
        "write where they stand under [[component]], at = [...]",
        "that of its last piece",
        components=tuple(elsewhere),
    )


def _are_alike(analysis: "Analysis", pieces: IntArray) -> bool:
    """Whether what stands in a run loses the same in all its pieces, on all paths.

    They follow one another with the same air and the same section, as around bends.
    """
    ducts, flow = analysis.graph.ducts, analysis.state.flow[pieces]
    in_line = set(ducts.parent[pieces[1:]].tolist()) <= set(pieces.tolist())
    same = (np.abs(flow - flow[0]) <= _SAME_AIR * flow[0]).all()
    sizes = ducts.width[pieces], ducts.height[pieces], ducts.shape[pieces]
    return bool(in_line and same and all((size == size[0]).all() for size in sizes))


def _of_checks(analysis: "Analysis") -> list[Assumption]:
    """Limits that a return has from its supply; no pressure hangs on them."""
    taken = [key.replace("_", " ") for key in analysis.graph.schedule.checks.of_supply]
    return _assume(
        analysis,
        bool(taken),
        f"the supply's limits for this return too: {', '.join(taken)}",
        "write its own under [checks] in a schedule of the return",
    )


def _of_drawing(analysis: "Analysis") -> list[Assumption]:
    """Units and the axis that is up, where the drawing does not say them."""
    drawing = analysis.graph.drawing
    unsaid = [o for o in drawing.section_origin.values() if "millimetres" in o]
    return [
        *_assume(
            analysis,
            drawing.is_unit_assumed,
            f"coordinates in {drawing.unit}",
            "say --unit",
        ),
        *_assume(
            analysis,
            drawing.is_up_assumed,
            f"{drawing.up.upper()} as the axis that is up",
            "say --up",
        ),
        *_assume(
            analysis,
            len(unsaid),
            "sizes without a unit in millimetres",
            "write their unit",
        ),
    ]


def _count(mask: BoolArray) -> int:
    return int(np.count_nonzero(mask))


def _own_changes(analysis: "Analysis") -> int:
    """Number of mains whose change of section counts as an assumed transition."""
    graph, elements = analysis.graph, analysis.elements
    mains = elements.row[(elements.notes & int(Note.OWN_CHANGE)) > 0]
    if len(mains) == 0:
        return 0
    # The element may rest on its branch's entry instead.
    legs = graph.legs
    _, basis = own_change_lengths(graph, legs.common[mains], legs.straight[mains])
    return _count(basis == _ASSUMED)


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
        # An exception that gives no radius goes on taking that of the others.
        own = rule.says_radius
        return replace(rule, own_radius=own, **changes) if assumed else rule

    return _all_elbows(schedule, changed)
