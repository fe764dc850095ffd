"""Checks of warming and sweating on the way, and of the loads still carried."""

import numpy as np

from elbowroom.layout import (
    FloatArray,
    length_words,
    transmission_words,
)

from .analysis import Analysis
from .check import Check, run_of
from .pressure_checks import surface_of
from .rooms import SPECIFIC_HEAT
from .warming import OUTSIDE_FILM, surface_temperature, temperatures_in, transfer_units

_LEAST_CARRIED = 0.9  # of a load: own choice, no published source


def warmth(analysis: Analysis) -> list[Check]:
    """Warming on the way, sweating, and the loads that the air still carries."""
    spec, air = analysis.graph.schedule.checks, analysis.conditions.air
    if spec.around is None or spec.transmission is None:
        return []
    graph, state = analysis.graph, analysis.state
    surface = surface_of(analysis, graph.schedule.insulation)
    ntu = transfer_units(
        spec.transmission, surface, state.flow * air.density, SPECIFIC_HEAT
    )
    enters, leaves = temperatures_in(
        graph, ntu, state.flow, air.temperature, spec.around
    )
    if graph.is_return:
        at_fan = graph.ducts.parent < 0
        mixed = np.average(leaves[at_fan], weights=state.flow[at_fan], keepdims=True)
        to, at, changes = "fan", run_of(analysis, 0), mixed - air.temperature
    else:
        changes = leaves[graph.terminals.duct] - air.temperature
        to, at = "terminal", graph.terminals.name[int(np.argmax(np.abs(changes)))]
    found = [
        Check(
            f"change of the air's temperature up to the {to}, by the surface "
            + _surface_words(graph.schedule.insulation),
            "temperature difference",
            float(changes[np.argmax(np.abs(changes))]),
            None,
            at,
            (),
            True,
            "exponential form; ASHRAE Handbook Fundamentals",
            "cross-checked",
        )
    ]
    if not graph.is_return:
        found += _loads_carried(analysis, changes)
    if spec.dew_point is not None:
        skin = surface_temperature(enters, spec.around, spec.transmission)
        coldest = int(np.argmin(skin))
        wet = skin < spec.dew_point
        found.append(
            Check(
                "temperature of the ducts' surface against the dew point around them",
                "temperature",
                float(skin[coldest]),
                spec.dew_point,
                run_of(analysis, coldest),
                tuple(run_of(analysis, int(d)) for d in np.flatnonzero(wet)),
                not wet.any(),
                f"film of {transmission_words(OUTSIDE_FILM)} outside, from memory",
                "memory",
                "insulate more, with a closed vapour barrier" if wet.any() else "",
            )
        )
    return found


def _surface_words(insulation: float) -> str:
    """Which surface the transmission is for: outside, as the heat goes through that.

    The perimeter of the bare or the insulated duct: ASHRAE Handbook Fundamentals, from
    memory.
    """
    if insulation > 0.0:
        return f"outside {length_words(insulation)} of insulation"
    return "of the bare duct"


def _loads_carried(analysis: Analysis, change: FloatArray) -> list[Check]:
    """Whether the air still carries the loads that the airflows follow from."""
    schedule, names = analysis.graph.schedule, analysis.graph.terminals.name
    specs = schedule.terminals
    rows = [
        row
        for row, name in enumerate(names)
        if name in specs and specs[name].load is not None
    ]
    if schedule.rooms.difference is None or not rows:
        return []
    # Whatever the ducts give away or take up on the way brings the air nearer the room.
    left = 1.0 - np.abs(change[rows]) / schedule.rooms.difference
    worst = int(np.argmin(left))
    short = [
        names[row]
        for row, share in zip(rows, left.tolist(), strict=True)
        if share < _LEAST_CARRIED
    ]
    return [
        Check(
            "share of its room's load that the air brings, after its way",
            "share",
            float(left[worst]),
            _LEAST_CARRIED,
            names[rows[worst]],
            tuple(short),
            not short,
            "own choice, no published source",
            "low",
            "insulate the way, or add the loss to the load of the room"
            if short
            else "",
        )
    ]
