"""What each assumption of the ledger does, recomputed."""

from dataclasses import dataclass
from functools import lru_cache

from elbowroom.layout import BadInput, build

from .analysis import Analysis, analyse
from .ledger import FAN, Assumption


@dataclass(frozen=True, slots=True)
class Effect:
    """An assumption with what it does.

    Parameters
    ----------
    assumption
        The assumption.
    loss
        Change of the critical loss, or of the fan's pressure where the assumption acts
        on that, Pa, were it as `assumption.instead` says; None where nothing else is
        known.
    """

    assumption: Assumption
    loss: float | None


@lru_cache(maxsize=4)  # a command prints it and writes it
def effects(analysis: Analysis) -> tuple[Effect, ...]:
    """Analyse a layout again with each assumption otherwise.

    Parameters
    ----------
    analysis
        The analysis.

    Returns
    -------
    effects
        The largest first; those without a known effect come last.
    """
    found = [Effect(a, _change(analysis, a)) for a in analysis.assumptions]
    return tuple(sorted(found, key=lambda e: (e.loss is None, -abs(e.loss or 0.0))))


def _change(analysis: Analysis, assumption: Assumption) -> float | None:
    graph = analysis.graph
    if assumption.schedule is None and assumption.conditions is None:
        return None
    if assumption.schedule is not None:
        try:
            graph = build(
                graph.drawing,
                assumption.schedule,
                tolerance=graph.topology.tolerance,
                other_runs={run for _, run in assumption.schedule.named_runs},
            )
        except BadInput:  # it cannot be so in this drawing
            return None
    try:
        other = analyse(graph, assumption.conditions)
    except BadInput:  # nor in this air
        return None
    if assumption.acts_on == FAN:
        before, after = analysis.system.fan_pressure, other.system.fan_pressure
        return None if before is None or after is None else after - before
    return other.critical_loss - analysis.critical_loss
