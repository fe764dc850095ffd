"""One outlet of the fan for options whose first ducts give it several."""

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from elbowroom.layout import Notice, pressure_words, section_words, warning

from .analysis import Analysis, analyse

if TYPE_CHECKING:
    from .compare import Option

_ROUNDING = 1e-6  # of a velocity pressure


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
        Those with another first duct analysed anew, and a notice in all of the fan; as
        they were where the outlet is declared, the first ducts are alike, the fan
        blows into a plenum or its total pressure is given.

    Notes
    -----
    The velocity pressure goes with the density and the square of the airflow, where
    options carry other air.
    """
    found = list(options)
    place_of = {id(option): place for place, option in enumerate(options)}
    open_ended = [one for one in options if _is_unsaid(one.analysis)]
    while open_ended:
        first = open_ended[0]
        alike = [one for one in open_ended if _same_fan(first.analysis, one.analysis)]
        open_ended = [one for one in open_ended if one not in alike]
        others = [one for one in alike if _has_another(first.analysis, one.analysis)]
        if not others:
            continue
        said = _notice(first, others)
        for one in alike:
            analysis = one.analysis
            if one in others:
                analysis = _with_outlet_of(first, analysis)
            notices = (*one.notices, said)
            found[place_of[id(one)]] = replace(one, analysis=analysis, notices=notices)
    return found


def _side(analysis: Analysis) -> str:
    """Side of the fan that is drawn."""
    return "inlet" if analysis.graph.is_return else "outlet"


def _taken(analysis: Analysis) -> float:
    """Velocity pressure at the fan on the side that is drawn, Pa."""
    value: float = getattr(analysis.system, f"{_side(analysis)}_velocity_pressure")
    return value


def _is_unsaid(analysis: Analysis) -> bool:
    """Whether the first duct alone says how fast the air is at the fan."""
    said = getattr(analysis.conditions, f"{_side(analysis)}_velocity_pressure")
    is_static = analysis.system.fan_kind == "external static"
    return is_static and said is None and _taken(analysis) > 0.0


def _same_fan(one: Analysis, other: Analysis) -> bool:
    fans = one.graph.schedule.fan, other.graph.schedule.fan
    return fans[0] == fans[1] and _side(one) == _side(other)


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


def _notice(first: "Option", others: Sequence["Option"]) -> Notice:
    analysis, taken = first.analysis, _taken(first.analysis)
    side, file = _side(analysis), analysis.graph.schedule.file
    ends = (analysis.graph.ducts.parent < 0).nonzero()[0].tolist()
    sections = {section_words(analysis.graph.section(end)): None for end in ends}
    names = ", ".join(f"'{one.name}'" for one in others)
    return warning(
        f"{file}, [fan]" if file else "[fan]",
        f"the fan's {side} is taken in {names} as in '{first.name}', "
        f"{' and '.join(sections)}, with a velocity pressure of "
        f"{pressure_words(taken)}; the transition between it and the duct there is not "
        "counted",
        f'write {side}_velocity_pressure = "{taken:.1f} Pa" under [fan] if so',
        effect=f"one fan has one {side}, and another there would change what it leaves",
    )
