"""What would mend a layout: changes on the critical path, each analysed in full."""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace

import numpy as np

from elbowroom.layout import (
    BadInput,
    ElbowConstruction,
    ElbowRule,
    FloatArray,
    Notice,
    RunLimits,
    Schedule,
    Section,
    Shape,
    TakeoffEntry,
    TransitionRule,
    and_more,
    branches_beyond,
    ends_within_mains,
    listed,
    mass_words,
    note,
    pressure_words,
    remade,
    round_section,
    short_length,
    some,
)

from . import sizes
from .analysis import Analysis, analyse
from .elements import Kind
from .quantities import quantities
from .sizing_notices import resized_terminals
from .takeoff_entries import tabled_entries

LEAST_WON = 0.5  # Pa: a change that wins less is not listed
_ROUNDING = 1e-6  # m
_MORE = 1.02  # side or area of a larger section over that of the one before, at least
_SHOWN = 5  # runs that a notice names
_LONG = float(np.radians(15.0))  # included angle of a long transition
_GENEROUS = 1.5  # radius of an elbow over its side


Change = tuple[str, str, Schedule]  # words, run, and the schedule that has it


@dataclass(frozen=True, eq=False)
class Remedy:
    """One change and what it does.

    Parameters
    ----------
    what
        The change, in words.
    at
        The run.
    won
        Pressure won on the critical path, Pa, less what an external static pressure
        loses of the velocity pressure at the fan.
    critical
        Critical loss with it, Pa.
    spare
        What the fan then leaves beyond what the critical path spends, Pa; below zero
        where it does not carry the layout, None without a fan.
    side_effects
        What else it does, in words; empty where nothing is worth saying.
    schedule
        The schedule that has it.
    """

    what: str
    at: str
    won: float
    critical: float
    spare: float | None
    side_effects: tuple[str, ...]
    schedule: Schedule


def remedies(
    analysis: Analysis,
    clashes: Callable[[Analysis], int] | None = None,
    series: str = "mm",
    watch: Callable[[Iterable[Change]], Iterable[Change]] = iter,
) -> list[Remedy]:
    """Try changes on the critical path.

    Parameters
    ----------
    analysis
        The layout; with what its returns spend in its schedule, where it has any (see
        `plan_with_returns`).
    clashes
        Counts what a layout overlaps or passes too near; a change after which that
        is more than before is left out. None where there is nothing to clash with.
    series
        'mm' or 'in': the ladder of larger sizes.
    watch
        Given the changes, hands them on one by one: for a bar of progress.

    Returns
    -------
    remedies
        Each analysed anew, the largest gain first. None that wins less than
        `LEAST_WON`, clashes, leaves a bend or a transition without room or a bend too
        tight, or lacking more than it did, or makes a branch reach further beyond the
        side that it leaves; nor a size that the schedule's [limits] forbid.

    Raises
    ------
    LookupRefused
        If there is no such series.
    """
    before = clashes(analysis) if clashes is not None else 0
    unbuildable = _unbuildable(analysis)
    beyond = _beyond(analysis)
    mass = sum(row.mass for row in quantities(analysis).sheet)
    found = []
    for what, at, schedule in watch(_candidates(analysis, series)):
        try:
            other = analyse(remade(analysis.graph, schedule))
        except BadInput:  # it cannot be made so in this drawing
            continue
        outlet, inlet = _at_fan(analysis, other)
        won = analysis.critical_loss - other.critical_loss - outlet + inlet
        if won < LEAST_WON or (_unbuildable(other) > unbuildable + _ROUNDING).any():
            continue
        if _beyond(other) > beyond + _ROUNDING:
            continue
        if clashes is not None and clashes(other) > before:
            continue
        effects = _side_effects(analysis, other, mass)
        critical, spare = other.critical_loss, other.system.spare
        found.append(Remedy(what, at, won, critical, spare, effects, schedule))
    return sorted(found, key=lambda remedy: -remedy.won)


def _unbuildable(analysis: Analysis) -> FloatArray:
    """How many bends, transitions and ends lack room or radius, and how much, m."""
    bends, changes = analysis.graph.bends, analysis.graph.transitions
    ends = ends_within_mains(analysis.graph)
    within = np.array([way.within - drawn for way, _, drawn in ends])
    lacking = (bends.short_by, bends.lacks_radius, changes.short_by, within)
    return np.array([[(one > 0).sum(), one.sum()] for one in lacking])


def _beyond(analysis: Analysis) -> float:
    """How far branches reach beyond the sides that they leave, in all, m."""
    graph = analysis.graph
    return sum(branches_beyond(graph.ducts, graph.legs).values())


def _at_fan(before: Analysis, after: Analysis) -> tuple[float, float]:
    """How much less velocity pressure, Pa, is at the fan's outlet and at its inlet.

    An external static pressure has the one on top and lacks the other; of any other
    fan both are 0.
    """
    one, other = before.system, after.system
    if one.fan_kind != "external static":
        return 0.0, 0.0
    return (
        one.outlet_velocity_pressure - other.outlet_velocity_pressure,
        one.inlet_velocity_pressure - other.inlet_velocity_pressure,
    )


def _side_effects(before: Analysis, after: Analysis, mass: float) -> tuple[str, ...]:
    said = []
    left = before.system.spare, after.system.spare
    if left[0] is not None and left[1] is not None and left[0] < 0.0 <= left[1]:
        said.append("the fan then carries the layout")
    if after.critical_terminal != before.critical_terminal:
        way = "from" if after.graph.is_return else "to"
        said.append(f"the path {way} '{after.critical_terminal}' is then critical")
    for less, end in zip(_at_fan(before, after), ("outlet", "inlet"), strict=True):
        if abs(less) > LEAST_WON:
            change = "less" if less > 0.0 else "more"
            at_fan = f"of velocity pressure at the fan's {end}, as counted"
            said.append(f"{pressure_words(abs(less))} {change} {at_fan}")
    heavier = sum(row.mass for row in quantities(after).sheet) - mass
    if abs(heavier) > 0.5:
        more_or_less = "more" if heavier > 0 else "less"
        said.append(f"{mass_words(abs(heavier))} {more_or_less} sheet")
    held = resized_terminals(before, after)
    if held:
        said.append(f"the coefficient of {listed(held)} is kept at another size")
    # What one path wins others may have to throttle away.
    excess = after.critical_loss - after.path_loss
    worst = int(np.argmax(excess))
    more = float(excess[worst] - (before.critical_loss - before.path_loss)[worst])
    if more > 1.0:
        name = after.graph.terminals.name[worst]
        said.append(f"'{name}' has {pressure_words(more)} more to throttle")
    return tuple(said)


def _candidates(analysis: Analysis, series: str) -> Iterator[tuple[str, str, Schedule]]:
    """Words, run and schedule of each change to try."""
    graph, schedule = analysis.graph, analysis.graph.schedule
    elements, names = analysis.elements, analysis.graph.drawing.names
    tried: set[tuple[str, str]] = set()
    way = analysis.path(analysis.critical)
    for element in way[np.argsort(-elements.loss[way], kind="stable")].tolist():
        kind, row = int(elements.kind[element]), int(elements.row[element])
        duct = int(elements.duct[element])
        run = names[int(graph.ducts.run[duct])]
        options: list[tuple[str, Schedule]] = []
        if kind == Kind.BEND and analysis.conditions.is_flexible[duct]:
            continue  # flexible duct bends itself
        if kind == Kind.BEND:
            options = list(_elbows(analysis, row, run))
        elif kind == Kind.BRANCH:
            options = list(_entries(analysis, row, run))
        elif kind == Kind.TRANSITION:
            longer = {**schedule.transition_exceptions, run: TransitionRule(_LONG)}
            options = [
                (
                    "make the transition longer, 15 degrees included",
                    replace(schedule, transition_exceptions=longer),
                )
            ]
        elif kind == Kind.DUCT:
            options = _pulled_tight(analysis, duct, run)
        if kind == Kind.DUCT and not schedule.may_carry_dust:
            found, _ = _larger(analysis, duct, run, series)
            options += [
                (
                    _larger_words(graph.section(duct), larger, series),
                    _with_section(schedule, run, larger),
                )
                for larger in found
            ]
        changes = [(what, run, other) for what, other in options]
        if kind == Kind.BEND:
            changes.extend(_turned(analysis, row, series))
        for what, at, other in changes:
            if (what, at) not in tried:
                tried.add((what, at))
                yield what, at, other


def _pulled_tight(
    analysis: Analysis, duct: int, run: str
) -> list[tuple[str, Schedule]]:
    """Flexible duct at its full length, where it is compressed."""
    schedule, pressed = analysis.graph.schedule, analysis.conditions.compression[duct]
    if not pressed > 0.0:  # so written for NaN, of rigid duct
        return []
    tight = {**schedule.run_compression, run: 0.0}
    what = f"pull the flexible duct tight, which is {100 * pressed:.3g} % compressed"
    return [(what, replace(schedule, run_compression=tight))]


def _entries(analysis: Analysis, row: int, run: str) -> Iterator[tuple[str, Schedule]]:
    """Better ways for a branch, a row of the legs, to leave its main."""
    graph, schedule = analysis.graph, analysis.graph.schedule
    legs, shape = graph.legs, graph.ducts.shape
    duct, common = legs.duct[[row]], legs.common[[row]]
    entry, words = TakeoffEntry.ENTRY_45, "a 45 degree entry"
    if shape[duct[0]] == Shape.ROUND:
        entry, words = TakeoffEntry.CONICAL, "a conical entry"
    rules = {**schedule.takeoff_exceptions, run: entry}
    yield (
        f"take the branch off by {words}",
        replace(schedule, takeoff_exceptions=rules),
    )
    (tabled,) = tabled_entries(
        shape[common],
        shape[duct],
        legs.angle[[row]],
        legs.is_symmetrical[[row]],
        joining=graph.is_return,
    )
    radius = TakeoffEntry.RADIUS
    if not tabled[list(TakeoffEntry).index(radius)] or legs.entry[row] == radius:
        return
    runs, what = [run], "take the branch off by a radius entry"
    if legs.is_symmetrical[row]:  # its legs stand back to back and are made alike
        both = legs.duct[legs.is_symmetrical & (legs.common == common[0])]
        runs = [graph.drawing.names[one] for one in graph.ducts.run[both].tolist()]
        what = "take both legs off by radius entries"
    rules = {**schedule.takeoff_exceptions, **dict.fromkeys(runs, radius)}
    yield what, replace(schedule, takeoff_exceptions=rules)


def _elbows(analysis: Analysis, row: int, run: str) -> Iterator[tuple[str, Schedule]]:
    graph, schedule = analysis.graph, analysis.graph.schedule
    bends = graph.bends
    number = int(bends.number[row])
    rule = schedule.elbow_rule(run, number)
    code = ElbowConstruction(int(bends.construction[row]))
    is_round = graph.ducts.shape[graph.bend_duct[row]] == Shape.ROUND

    def made(rule: ElbowRule) -> Schedule:
        rules = {**schedule.elbow_exceptions, (run, number): rule}
        return replace(schedule, elbow_exceptions=rules)

    if code.takes_vanes and not is_round:
        vanes = replace(rule, construction=ElbowConstruction.SINGLE_VANES)
        yield f"bend {number}: turning vanes in the mitre", made(vanes)
    generous = replace(
        rule,
        construction=ElbowConstruction.SMOOTH,
        radius_ratio=_GENEROUS,
        throat_radius=None,
        centreline_radius=None,
        own_radius=True,
    )
    tight = bends.radius[row] < 0.99 * _GENEROUS * bends.in_plane[row]
    if not code.is_vaned and (code != ElbowConstruction.SMOOTH or tight):
        what = f"bend {number}: a smooth elbow of radius {_GENEROUS:g} sides"
        yield what, made(generous)


def _turned(
    analysis: Analysis, row: int, series: str
) -> Iterator[tuple[str, str, Schedule]]:
    """Turn the run whose section the elbow has, which may be the one before its own.

    Named with every bend of that run that it eases, so that it is the same for each.
    """
    graph, bends = analysis.graph, analysis.graph.bends
    hard = bends.in_plane > 1.05 * bends.along_axis
    if not hard[row]:
        return
    duct = int(graph.bend_duct[row])
    section = graph.section(duct)
    turned = Section(section.shape, section.height, section.width)
    at = graph.drawing.names[int(graph.ducts.run[duct])]
    own = graph.schedule.limits.get(at, RunLimits())
    if own.is_kept or turned.height > (own.highest or np.inf) + 1e-9:
        return
    if turned.width > (own.widest or np.inf) + 1e-9:
        return
    runs = graph.ducts.run
    eased = []
    for other in (hard & (runs[graph.bend_duct] == runs[duct])).nonzero()[0].tolist():
        if graph.section(int(graph.bend_duct[other])) == section:
            own_run = graph.drawing.names[int(runs[bends.duct[other]])]
            of = "" if own_run == at else f" of '{own_run}'"
            eased.append(f"bend {bends.number[other]}{of}")
    named = f"{eased[0]} goes"
    if len(eased) > 1:
        shown = min(len(eased) - 1, _SHOWN)
        rest = len(eased) - shown
        last = f" and {eased[-1]}" if rest == 1 else and_more(rest)
        named = ", ".join(eased[:shown]) + f"{last} go"
    yield (
        f"turn the section on its side ({turned.words_in(series)}), so that "
        f"{named} the easy way",
        at,
        _with_section(graph.schedule, at, turned),
    )


def _larger(
    analysis: Analysis, duct: int, run: str, series: str
) -> tuple[list[Section], list[str]]:
    """Larger sections to try for a run, and what keeps others from being tried.

    Of a round duct the next two diameters; else the next two widths, the next two
    heights and the next size that is as nearly square as limits allow.
    """
    section = analysis.graph.section(duct)
    shape, w, h = section.shape, section.width, section.height
    own = analysis.graph.schedule.limits.get(run, RunLimits())
    if own.is_kept:
        return [], ["as_drawn"]
    highest, widest = own.highest or np.inf, own.widest or np.inf
    if shape == Shape.ROUND:
        ladder = sizes.diameters(series)
        ways = [[round_section(d) for d in ladder[ladder > w * _MORE][:2].tolist()]]
        kept = [] if ways[0] else ["largest of the series"]
    else:
        stands = w < h
        wider = sizes.widening(shape, h, sizes.LONGEST, series, stands)
        higher = sizes.widening(shape, w, sizes.LONGEST, series, not stands)
        squarest = sizes.squarest(shape, highest, widest, series, stands)
        ways = [
            [one for one in wider if one.width > w * _MORE][:2],
            # As if it lay on its side.
            [Section(shape, w, s.width) for s in higher if s.width > h * _MORE][:2],
            [one for one in squarest if one.area > section.area * _MORE][:1],
        ]
        kept = [
            f"none {side} within {sizes.FLATTEST:g} to 1"
            for side, way in zip(("wider", "higher"), ways[:2], strict=True)
            if not way
        ]
    every = list(dict.fromkeys(one for way in ways for one in way))
    # A limit that is broken as drawn forbids no size that breaks it no more.
    for name, over in (
        ("max_height", [one for one in every if one.height > max(highest, h) + 1e-9]),
        ("max_width", [one for one in every if one.width > max(widest, w) + 1e-9]),
    ):
        if over:
            kept.append(name)
            every = [one for one in every if one not in over]
    return every, kept


def _larger_words(section: Section, larger: Section, series: str) -> str:
    what = f"one run larger: {larger.words_in(series)}"
    more = larger.height - section.height
    if section.shape == Shape.ROUND or more <= _ROUNDING:
        return what
    return f"{what}, {short_length(more, series)} more in height"


def kept_from_trying(analysis: Analysis, series: str = "mm") -> list[Notice]:
    """Say which larger sizes of the critical path limits keep `remedies` from trying.

    Parameters
    ----------
    analysis, series
        As `remedies` has them.
    """
    graph, e = analysis.graph, analysis.elements
    if graph.schedule.may_carry_dust:
        return [
            note(
                graph.drawing.file,
                "larger sections were not tried: the ducts may carry dust, fume or "
                f"grease ({graph.schedule.dust_from})",
            )
        ]
    way = analysis.path(analysis.critical)
    said: dict[str, None] = {}
    for duct in dict.fromkeys(e.duct[way[e.kind[way] == int(Kind.DUCT)]].tolist()):
        run = graph.drawing.names[int(graph.ducts.run[duct])]
        _, kept = _larger(analysis, duct, run, series)
        if kept:
            said[f"'{run}' ({', '.join(kept)})"] = None
    if not said:
        return []
    asked = any(word in one for one in said for word in ("as_drawn", "max_"))
    return [
        note(
            graph.drawing.file,
            f"limits keep larger sizes from being tried in {some(list(said), _SHOWN)}",
            "as_drawn, max_height and max_width stand under [limits]" * asked,
        )
    ]


def _with_section(schedule: Schedule, run: str, section: Section) -> Schedule:
    return replace(schedule, sections={**schedule.sections, run: section})
