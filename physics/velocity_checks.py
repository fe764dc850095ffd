"""Checks of velocity and of the noise that goes with it."""

from collections.abc import Iterator, Mapping, Sequence

import numpy as np

from elbowroom.layout import (
    BoolArray,
    ElbowConstruction,
    FloatArray,
    Shape,
    units,
)

from . import noise
from .analysis import Analysis
from .check import Check, of_ducts, roles, run_of
from .tables import chosen

# Rows of `velocity_limits` by use: context, main, branch, kind.
_USES = {
    "residential": (
        "residential (Manual D)",
        "supply trunk",
        "supply branch",
        "maximum",
        "rigid",
    ),
    "commercial": (
        "commercial or institutional",
        "main duct",
        "branch duct",
        "recommended high",
        "any",
    ),
    "industrial": ("industrial", "main duct", "branch duct", "recommended high", "any"),
}
_STANDS = {
    "in the room": "main inside occupied space",
    "above a ceiling": "main above suspended acoustic ceiling",
    "in a shaft": "main in shaft or above drywall ceiling",
}
_DUSTY = (
    "ask the local code before a larger section is taken: ducts that carry dust or "
    "fume need a least velocity, which is not checked"
)
_FEET_STEP = 50.0  # fpm: sources in feet per minute name no limit between
_SHARES = {"main": 1.0, "branch": 0.8, "last duct": 0.5}


def limit_of(row: Mapping[str, str]) -> float:
    """Limit of a row of `velocity_limits`, m/s, as its source has it.

    Of its two columns the other is rounded: a source in feet per minute has round ones.
    """
    feet = float(row["velocity_fpm"])
    if feet % _FEET_STEP == 0.0:
        return feet * units.UNITS["fpm"].factor
    return float(row["velocity_m_s"])


def velocity_limits(analysis: Analysis) -> FloatArray:
    """Lowest velocity limit that the schedule's checks set for each duct, m/s.

    Shape (d,); infinite where they set none.
    """
    limit = np.full(len(analysis.graph.ducts.parent), np.inf)
    for _, mine, row in _limits_by_use(analysis):
        limit[mine] = limit_of(row)
    quiet = _limits_by_noise(analysis)
    return limit if quiet is None else np.minimum(limit, quiet[0])


def _limits_by_use(
    analysis: Analysis,
) -> Iterator[tuple[str, BoolArray, Mapping[str, str]]]:
    """Words, ducts and row of the table: mains, branches, flexible ones apart."""
    use = analysis.graph.schedule.checks.use
    if use is None:
        return
    context, main, branch, kind, shape = _USES[use]
    is_main, _ = roles(analysis)
    flexible = analysis.conditions.is_flexible
    if analysis.graph.is_return:
        main, branch = (word.replace("supply", "return") for word in (main, branch))
    if shape != "rigid":  # this use has one limit for all
        flexible[:] = False
    for words, element, mine, made in (
        ("mains", main, is_main & ~flexible, shape),
        ("branches", branch, ~is_main & ~flexible, shape),
        ("flexible mains", main, is_main & flexible, "flexible"),
        ("flexible branches", branch, ~is_main & flexible, "flexible"),
    ):
        if mine.any():
            (row,) = chosen(
                "velocity_limits",
                {"context": context, "element": element, "kind": kind, "shape": made},
            )
            side = " of the return" if analysis.graph.is_return else ""
            yield f"velocity in {words}{side}, {use}", mine, row


def _limits_by_noise(
    analysis: Analysis,
) -> tuple[FloatArray, Mapping[str, str]] | None:
    """Limit of each duct, m/s, for the room's noise criterion, and a row it is from."""
    spec = analysis.graph.schedule.checks
    if spec.noise is None or spec.stands is None:
        return None
    ducts = analysis.graph.ducts
    is_main, last = roles(analysis)
    share = np.where(is_main, _SHARES["main"], _SHARES["branch"])
    share[last] = _SHARES["last duct"]
    limit = np.zeros(len(share))
    row: Mapping[str, str] = {}
    for is_round in (True, False):
        (row,) = chosen(
            "velocity_limits",
            {
                "context": f"noise criterion {spec.noise}",
                "element": _STANDS[spec.stands],
                "shape": "round" if is_round else "rectangular",
            },
        )
        mine = (ducts.shape == Shape.ROUND) == is_round
        limit[mine] = limit_of(row) * share[mine]
    return limit, row


def velocities(analysis: Analysis) -> list[Check]:
    """Velocity in mains and branches, by the use of the building."""
    return [
        of_ducts(
            analysis,
            words,
            "velocity",
            analysis.state.velocity,
            np.where(mine, limit_of(row), np.inf),
            row["source"],
            row["confidence"],
            _DUSTY
            if analysis.graph.schedule.may_carry_dust
            else "take a larger section",
        )
        for words, mine, row in _limits_by_use(analysis)
    ]


def noise_criterion(analysis: Analysis) -> list[Check]:
    """Velocity by the noise that its room may have, of each class of duct."""
    found = _limits_by_noise(analysis)
    if found is None:
        return []
    limit, row = found
    spec = analysis.graph.schedule.checks
    is_main, is_last = roles(analysis)
    return [
        of_ducts(
            analysis,
            f"velocity in {words}, {spec.noise}, {spec.stands}",
            "velocity",
            analysis.state.velocity,
            np.where(mine, limit, np.inf),
            row["source"] + f"; branches {100 * _SHARES['branch']:g} %, last ducts "
            f"{100 * _SHARES['last duct']:g} % of it",
            row["confidence"],
            f"silence the duct; {_DUSTY}"
            if analysis.graph.schedule.may_carry_dust
            else "take a larger section, or silence the duct",
        )
        for words, mine in (
            ("mains", is_main & ~is_last),
            ("branches", ~is_main & ~is_last),
            ("last ducts", is_last),
        )
        if mine.any()
    ]


def square_throats(analysis: Analysis) -> list[Check]:
    """Elbows without a radius in the throat, which are heard."""
    bends, state = analysis.graph.bends, analysis.state
    square = np.array([made.takes_vanes for made in ElbowConstruction])
    rows = np.flatnonzero(square[bends.construction] & (bends.angle > np.radians(60.0)))
    if len(rows) == 0:
        return []
    (row,) = chosen(
        "velocity_limits", {"element": "square-throat elbow audible above about"}
    )
    limit = limit_of(row)
    velocity = state.velocity[analysis.graph.bend_duct[rows]]
    names = [
        f"{run_of(analysis, int(bends.duct[r]))}, bend {bends.number[r]}" for r in rows
    ]
    over = velocity > limit
    worst = int(np.argmax(velocity))
    return [
        Check(
            "velocity in elbows with a square throat",
            "velocity",
            float(velocity[worst]),
            limit,
            names[worst],
            tuple(name for name, bad in zip(names, over, strict=True) if bad),
            not over.any(),
            row["source"],
            row["confidence"],
            "give them a radius in the throat, or turning vanes" if over.any() else "",
        )
    ]


def made_noise(analysis: Analysis) -> list[Check]:
    """Loudest of what the air makes itself, A-weighted where there are bands."""
    graph, state = analysis.graph, analysis.state
    ducts, bends = graph.ducts, graph.bends
    source = "practice formulas, wrong by 5 dB and more; terminals are the maker's"
    moving = state.velocity > 0.1
    level = np.where(
        moving,
        noise.straight_duct(np.where(moving, state.velocity, 1.0), state.area),
        0,
    )
    found = [_loudest("noise made in straight duct, dB", level, [
        run_of(analysis, duct) for duct in range(len(level))], source)]  # fmt: skip
    boxy = ducts.shape[graph.bend_duct] == Shape.RECTANGULAR
    mitred = np.flatnonzero(
        (bends.construction == int(ElbowConstruction.MITRED)) & boxy
    )
    if len(mitred):
        duct = graph.bend_duct[mitred]
        bands = noise.mitred_elbow(
            state.velocity[duct], state.area[duct], ducts.height[duct]
        )
        names = [
            f"{run_of(analysis, int(bends.duct[r]))}, bend {bends.number[r]}"
            for r in mitred
        ]
        found.append(
            _loudest(
                "noise made in mitred elbows, dB(A)",
                noise.level_sum(bands + noise.A_WEIGHTING),
                names,
                source,
            )
        )
    dampers = analysis.blades
    order = np.argsort(dampers.excess, kind="stable")
    rows = order[dampers.is_needed[order] & (dampers.angle[order] > 0.0)]
    if len(rows):
        duct = dampers.duct[rows]
        bands = noise.damper(
            state.flow[duct],
            state.area[duct],
            np.minimum(ducts.width[duct], ducts.height[duct]),
            dampers.excess[rows],
        )
        found.append(
            _loudest(
                "noise made in balancing dampers, dB(A)",
                noise.level_sum(bands + noise.A_WEIGHTING),
                [run_of(analysis, int(d)) for d in duct],
                source,
            )
        )
    return found


def _loudest(rule: str, level: FloatArray, names: Sequence[str], source: str) -> Check:
    worst = int(np.argmax(level))
    return Check(
        rule,
        "level",
        float(level[worst]),
        None,
        names[worst],
        (),
        True,
        source,
        "memory",
    )
