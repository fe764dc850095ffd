"""What each assumption of the ledger does, recomputed."""

from dataclasses import dataclass

from elbowroom.layout import BadInput, remade

from .analysis import Analysis, analyse
from .ledger import FAN, LEFT, Assumption


@dataclass(frozen=True, slots=True)
class Effect:
    """An assumption with what it does.

    Parameters
    ----------
    assumption
        The assumption.
    loss
        Change of what the assumption acts on, the critical loss for one, Pa, were it
        as `assumption.instead` says; None where nothing else is known, or where this
        layout cannot be made so.
    refused
        Why it cannot be so in this layout, in words; empty where it can.
    """

    assumption: Assumption
    loss: float | None
    refused: str = ""


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
    found = [_effect(analysis, a) for a in analysis.assumptions]
    return tuple(sorted(found, key=lambda e: (e.loss is None, -abs(e.loss or 0.0))))


def _effect(analysis: Analysis, assumption: Assumption) -> Effect:
    if assumption.schedule is None and assumption.conditions is None:
        return Effect(assumption, None)
    graph = analysis.graph
    try:
        if assumption.schedule is not None:
            graph = remade(graph, assumption.schedule)
        other = analyse(graph, assumption.conditions)
    except BadInput as problem:
        # Nobody asked for the alternative: it must not stop what was asked for.
        fault = problem.faults[0]
        where = f"{fault.where}: " if fault.where else ""
        return Effect(assumption, None, f"{where}{fault.what}")
    before, after = (_acted_on(one, assumption.acts_on) for one in (analysis, other))
    if before is None or after is None:
        return Effect(assumption, None)
    return Effect(assumption, after - before)


def _acted_on(analysis: Analysis, what: str) -> float | None:
    system = analysis.system
    known = {FAN: system.fan_pressure, LEFT: system.available}
    return known.get(what, system.critical_loss)
