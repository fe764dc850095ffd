"""One outlet of the fan for options whose first ducts give it several."""

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from elbowroom.layout import (
    FanSpec,
    Notice,
    Schedule,
    pressure_words,
    section_words,
    warning,
)

from .analysis import Analysis, analyse

if TYPE_CHECKING:
    from .compare import Option

_ROUNDING = 1e-6  # of a velocity pressure
_WRITTEN = 0.2  # Pa: what is written to a tenth of one is known no better


def with_one_outlet(options: Sequence["Option"]) -> list["Option"]:
    """Options with the fan's outlet as in the first of them that has the same fan.

    An external static pressure has the velocity pressure at the fan's outlet on top. A
    fan has one outlet, so an option gains nothing by a smaller first duct; the other
    way round at the inlet, of returns.

    Parameters
    ----------
    options
        Layouts side by side.

    Returns
    -------
    options
        Those with another outlet analysed anew, and a notice in all of the fan; as
        they were where the first ducts are alike, the fan blows into a plenum or its
        total pressure is given. What options declare they keep, with a notice where
        it is not the same.

    Notes
    -----
    The first that declares the outlet goes before those with a duct alone. Fans are
    the same by their pressure and its air: what else is said of them, as their
    efficiency, makes no other outlet. The velocity pressure goes with the density and
    the square of the airflow, where options carry other air.
    """
    found = _with_declared_told(options)
    place_of = {id(option): place for place, option in enumerate(options)}
    open_ended = [one for one in options if _is_unsaid(one.analysis)]
    while open_ended:
        alike = [
            one for one in open_ended if _same_fan(open_ended[0].analysis, one.analysis)
        ]
        open_ended = [one for one in open_ended if one not in alike]
        declared = [
            one
            for one in options
            if _is_declared(one.analysis) and _same_fan(alike[0].analysis, one.analysis)
        ]
        first = (declared or alike)[0]
        others = [one for one in alike if _has_another(first.analysis, one.analysis)]
        if not others:
            continue
        said = _notice(first, others, alike, is_declared=bool(declared))
        for one in (*declared, *alike):
            analysis = one.analysis
            if one in others:
                analysis = _with_outlet_of(first, analysis)
            place = place_of[id(one)]
            notices = (*found[place].notices, said)
            found[place] = replace(one, analysis=analysis, notices=notices)
    return found


def _with_declared_told(options: Sequence["Option"]) -> list["Option"]:
    """Options with a notice where some declare another outlet for one fan."""
    found, left = list(options), [one for one in options if _is_declared(one.analysis)]
    while left:
        first = left[0]
        alike = [one for one in left if _same_fan(first.analysis, one.analysis)]
        left = [one for one in left if one not in alike]
        if not any(_declares_another(first.analysis, one.analysis) for one in alike):
            continue
        said = _declared_apart(alike)
        for place, one in enumerate(found):
            of_fan = _is_static(one.analysis) and _same_fan(
                first.analysis, one.analysis
            )
            if of_fan and said not in one.notices:
                found[place] = replace(one, notices=(*one.notices, said))
    return found


def _declares_another(first: Analysis, other: Analysis) -> bool:
    """Whether what is declared differs, as written and with the other's air alike."""
    wanted = _taken(first), _through_outlet_of(first, other)
    return all(abs(one - _taken(other)) > _WRITTEN for one in wanted)


def _declared_apart(declared: Sequence["Option"]) -> Notice:
    """Say that options declare several outlets for their fan."""
    analysis = declared[0].analysis
    side, file = _side(analysis), analysis.graph.schedule.file
    each = " and ".join(
        f"as {pressure_words(_taken(one.analysis))} for '{one.name}'"
        for one in declared
    )
    return warning(
        f"{file}, [fan]",
        f"the velocity pressure at the fan's {side} is declared {each}, and each "
        "counts",
        f"write the same {side}_velocity_pressure under [fan] of each if it is one fan",
        effect=f"one fan has one {side}, and what it leaves to these differs by as "
        "much",
    )


def _side(analysis: Analysis) -> str:
    """Side of the fan that is drawn."""
    return "inlet" if analysis.graph.is_return else "outlet"


def _taken(analysis: Analysis) -> float:
    """Velocity pressure at the fan on the side that is drawn, Pa."""
    value: float = getattr(analysis.system, f"{_side(analysis)}_velocity_pressure")
    return value


def _said(analysis: Analysis) -> float | None:
    """What is said of that, Pa."""
    conditions = analysis.conditions
    value: float | None = getattr(conditions, f"{_side(analysis)}_velocity_pressure")
    return value


def _is_static(analysis: Analysis) -> bool:
    return analysis.system.fan_kind == "external static"


def _is_unsaid(analysis: Analysis) -> bool:
    """Whether the first duct alone says how fast the air is at the fan."""
    return _is_static(analysis) and _said(analysis) is None and _taken(analysis) > 0.0


def _is_declared(analysis: Analysis) -> bool:
    """Whether an option says itself how fast the air is at the fan."""
    is_said = _said(analysis) is not None and not analysis.conditions.outlet_of
    return _is_static(analysis) and is_said


def _same_fan(one: Analysis, other: Analysis) -> bool:
    fans = one.graph.schedule.fan, other.graph.schedule.fan
    return _pressure(fans[0]) == _pressure(fans[1]) and _side(one) == _side(other)


def _pressure(fan: FanSpec) -> tuple[object, ...]:
    """What makes the pressure of a fan, and in which air."""
    in_standard_air = fan.pressure_at == "standard air"
    return fan.external_static_pressure, fan.curve, fan.curve_is_total, in_standard_air


def _through_outlet_of(first: Analysis, other: Analysis) -> float:
    """Velocity pressure at the first one's outlet with the other's air, Pa."""
    share = other.flow / first.flow
    denser = other.conditions.air.density / first.conditions.air.density
    return float(_taken(first) * denser * share**2)


def _has_another(first: Analysis, other: Analysis) -> bool:
    wanted = _through_outlet_of(first, other)
    return abs(wanted - _taken(other)) > _ROUNDING * wanted


def _with_outlet_of(first: "Option", analysis: Analysis) -> Analysis:
    key = f"{_side(analysis)}_velocity_pressure"
    said: dict[str, Any] = {key: _through_outlet_of(first.analysis, analysis)}
    conditions = replace(analysis.conditions, outlet_of=first.name, **said)
    return analyse(analysis.graph, conditions)


def _notice(
    first: "Option",
    others: Sequence["Option"],
    silent: Sequence["Option"],
    *,
    is_declared: bool,
) -> Notice:
    analysis, taken = first.analysis, _taken(first.analysis)
    side = _side(analysis)
    file = silent[0].analysis.graph.schedule.file
    names = ", ".join(f"'{one.name}'" for one in others)
    as_in, order = f"as declared for '{first.name}'", ""
    if not is_declared:
        ends = (analysis.graph.ducts.parent < 0).nonzero()[0].tolist()
        sections = {section_words(analysis.graph.section(end)): None for end in ends}
        as_in = f"as in '{first.name}', {' and '.join(sections)}"
        order = f"; in another order of the options another {side} would count"
    return warning(
        f"{file}, [fan]" if file else "[fan]",
        f"the fan's {side} is taken in {names} {as_in}, with a velocity pressure of "
        f"{pressure_words(taken)}; the transition between it and the duct there is not "
        "counted",
        f"write {_lines(first, silent)} if so",
        effect=f"one fan has one {side}, and another there would change what it leaves"
        + order,
    )


def _lines(first: "Option", silent: Sequence["Option"]) -> str:
    """What to write, and in which schedules: in all that do not say it."""
    of_schedule: dict[int, Option] = {}
    for one in silent:
        of_schedule.setdefault(id(one.analysis.graph.schedule), one)
    files = [one.analysis.graph.schedule.file for one in of_schedule.values()]
    places: dict[str, list[str]] = {}
    for one, file in zip(of_schedule.values(), files, strict=True):
        value = _through_outlet_of(first.analysis, one.analysis)
        line = f'{_side(one.analysis)}_velocity_pressure = "{value:.1f} Pa"'
        place = file
        if file == Schedule().file:
            place = f"the schedule of '{one.name}'"
        elif files.count(file) > 1:
            place = f"{file} of '{one.name}'"
        places.setdefault(line, []).append(place)
    if len(files) == 1:
        return f"{next(iter(places))} under [fan]"
    return ", and ".join(
        f"{line} under [fan] in {' and in '.join(where)}"
        for line, where in places.items()
    )
