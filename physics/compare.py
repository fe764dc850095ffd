"""Comparison of layouts: which way round the beam spends less."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from elbowroom.layout import (
    DuctGraph,
    Notice,
    counted,
    short_length,
    units,
    words_apart,
)

from .analysis import Analysis
from .notebook import comparison_html, frame_of, option_rows, picture_of
from .one_outlet import with_one_outlet
from .system import USUAL_RATE
from .ties import EQUAL, decided, equal_groups, named
from .uncertainty import share_less

SURE = 0.90  # share of draws in which an option must lose less to be called better
_WORTH_SAYING = 0.01  # share of the loss
_MOST_FAULTS = 6  # of one option, in the verdict


@dataclass(frozen=True, eq=False)
class Option:
    """One layout of a comparison.

    Parameters
    ----------
    name
        Its name.
    analysis
        Its losses.
    clearance
        Smallest distance from an obstacle, m, below zero where they overlap; None
        where there is no obstacle.
    clashes
        Ducts that overlap an obstacle or come nearer than required, in words.
    notices
        What else is to be said of it.
    """

    name: str
    analysis: Analysis
    clearance: float | None = None
    clashes: tuple[str, ...] = ()
    notices: tuple[Notice, ...] = ()

    @property
    def flags(self) -> tuple[Notice, ...]:
        """All that is to be said of it."""
        return (*self.notices, *self.analysis.flags)

    @property
    def faults(self) -> tuple[str, ...]:
        """Why it cannot be built as drawn; empty if it can."""
        return self.faults_in("mm")

    def faults_in(self, unit: str) -> tuple[str, ...]:
        """The faults, with what bends and transitions lack in mm or in."""
        return (*self.clashes, *unbuildable(self.analysis.graph, unit))


def unbuildable(graph: DuctGraph, unit: str = "mm") -> tuple[str, ...]:
    """What the bends and transitions lack that have no room as drawn, or no radius."""
    bends, changes = graph.bends, graph.transitions
    numbered = [f"bend {n}" for n in bends.number.tolist()]
    return tuple(
        f"{what[row]} of '{graph.drawing.names[graph.ducts.run[duct[row]]]}' "
        f"lacks {short_length(float(short_by[row]), unit)}{of}"
        for what, duct, short_by, of in (
            (numbered, bends.duct, bends.short_by, ""),
            (numbered, bends.duct, bends.lacks_radius, " of radius"),
            (["transition"] * len(changes.duct), changes.duct, changes.short_by, ""),
        )
        for row in (short_by > 0).nonzero()[0].tolist()
    )


@dataclass(frozen=True, eq=False)
class Comparison:
    """Layouts side by side, the least loss first among those that can be built.

    Parameters
    ----------
    options
        In the order given.
    ranking
        Places of the options that can be built, by rising critical loss; of those that
        lose the same by more room around them, then less duct, then fewer fittings.
        Empty where they do not all carry the same air.
    verdict
        The outcome in a few plain sentences.
    """

    options: tuple[Option, ...]
    ranking: tuple[int, ...]
    verdict: str

    @property
    def ranks(self) -> tuple[int | None, ...]:
        """Rank of each option from 1, None where it cannot be built or none is ranked.

        Losses within 0.1 % of the least of them share a rank, and the next one counts
        them all.
        """
        losses = [option.analysis.critical_loss for option in self.options]
        found: list[int | None] = [None] * len(losses)
        before = 0
        for group in equal_groups(losses, self.ranking):
            for place in group:
                found[place] = before + 1
            before += len(group)
        return tuple(found)

    @property
    def rate(self) -> float:
        """Friction rate of the effective lengths of all options, Pa/m.

        The one left to the first option that has any left, else 0.1 in.wg/100 ft.
        """
        left = (one.analysis.system.friction_rate_available for one in self.options)
        return next((rate for rate in left if rate and rate > 0.0), USUAL_RATE)

    def to_frame(self) -> Any:
        """Every option as a pandas DataFrame, SI units; needs pandas."""
        return frame_of(option_rows(self))

    def plot(self, **how: Any) -> Any:
        """Picture of it; takes what `elbowroom.viewer.notebook.plot` takes.

        Raises
        ------
        RuntimeError
            If there is no OpenGL here, with what to install.
        """
        return picture_of(self, **how)

    def _repr_html_(self) -> str:
        return comparison_html(self)


def compare(options: Sequence[Option], unit: str = "Pa") -> Comparison:
    """Compare layouts by the loss of their critical paths.

    Parameters
    ----------
    options
        Two or more layouts.
    unit
        Of the pressures in the verdict: 'Pa' or 'in.wg'.

    Returns
    -------
    comparison
        Those that clash or do not fit are named and not ranked; none is ranked where
        they do not carry the same air. An option is called
        better only if it loses less in more than 90 % of the draws of the tables'
        errors (see `uncertainty`). A fan that they share has one outlet (see
        `with_one_outlet`). What a notice of all options does to the result ends
        the verdict.

    Raises
    ------
    ValueError
        If there are fewer than two options.
    """
    if len(options) < 2:
        raise ValueError("a comparison needs two options or more")
    options = with_one_outlet(options)
    losses = [option.analysis.critical_loss for option in options]
    sound = [place for place, option in enumerate(options) if not option.faults]
    sound.sort(key=lambda place: losses[place])
    unlike = _unlike(options, "L/s" if unit == "Pa" else "cfm")
    ranking = []
    for group in equal_groups(losses, [] if unlike else sound):
        left = sorted(group)
        while left:
            first, _ = decided(options, left, unit)
            ranking += first
            left = [place for place in left if place not in first]
    doubts = [
        f"{said.what[:1].upper()}{said.what[1:]}: {said.effect}."
        for said in options[0].notices
        if said.effect and all(said in option.notices for option in options)
    ]
    said = [*unlike, *_sentences(options, sound, ranking, unit), *doubts]
    return Comparison(tuple(options), tuple(ranking), " ".join(said))


def _sentences(
    options: Sequence[Option], sound: Sequence[int], ranking: Sequence[int], unit: str
) -> list[str]:
    """The verdict on those that can be built, of which some or none are ranked."""
    digits = 1 if unit == "Pa" else 4
    side = "mm" if unit == "Pa" else "in"

    def p(pressure: float, more: int = 0) -> str:
        return f"{units.to_unit(pressure, unit):.{digits + more}f} {unit}"

    said = []
    if not sound:
        said.append("None of the options can be built as drawn.")
    elif len(sound) == 1:
        best = options[sound[0]]
        said.append(
            f"Only '{best.name}' can be built as drawn; its critical path loses "
            f"{p(best.analysis.critical_loss)}."
        )
    elif ranking:
        said += _outcome(options, ranking, unit, p)
    for place, option in enumerate(options):
        if place not in sound:
            faults = option.faults_in(side)
            first = "; ".join(faults[:_MOST_FAULTS])
            more = len(faults) - _MOST_FAULTS
            rest = f"; and {more} more" if more > 0 else ""
            said.append(f"'{option.name}' cannot be built: {first}{rest}.")
    said += _as_pairs([options[place] for place in ranking], p)
    for place in sound:
        system = options[place].analysis.system
        if system.available is not None and system.is_short:
            needs, left = words_apart(p, system.required, system.available)
            said.append(
                f"The fan does not carry '{options[place].name}': it needs "
                f"{needs} and {left} are left."
            )
    return said


def _outcome(
    options: Sequence[Option],
    ranking: Sequence[int],
    unit: str,
    p: Callable[..., str],
) -> list[str]:
    """Say which of two options or more that can be built spends least."""
    losses = [option.analysis.critical_loss for option in options]
    equal, *rest = equal_groups(losses, ranking)
    best, least = options[equal[0]], losses[equal[0]]
    said = []
    if len(equal) > 1:
        said = [
            *_same([options[place] for place in equal], named(options, equal), p),
            *decided(options, sorted(equal), unit)[1],
        ]
    if not rest:
        return said
    other, more = options[rest[0][0]], losses[rest[0][0]]
    gap = (more - least) / abs(more) if more else 0.0
    sure = share_less(best.analysis, other.analysis)
    draws = f"{100 * sure:.0f} % of the draws of what the tables may have wrong"
    if sure <= SURE:
        said.append(
            f"'{best.name}' ({p(least)}) and '{other.name}' ({p(more)}) cannot be "
            f"told apart by their loss: '{best.name}' is the lower in {draws}."
        )
        return said
    spends = f"'{best.name}' spends least: {p(least)} on its critical path,"
    said.append(
        f"{spends if len(equal) == 1 else 'They spend'} {p(more - least)} "
        f"({100 * gap:.0f} %) less than '{other.name}', and less in {draws}."
    )
    return said


def _same(equal: Sequence[Option], names: str, p: Callable[..., str]) -> list[str]:
    """Say that options lose the same, or that no more than their critical paths do.

    Terminals are told to be the same ones by their names.
    """
    least = equal[0].analysis.critical_loss
    shown, within = p(least), f"within {100 * EQUAL:g} %"
    lost = [
        dict(zip(found.graph.terminals.name, found.path_loss.tolist(), strict=True))
        for found in (option.analysis for option in equal)
    ]
    ends = {name: [one[name] for one in lost if name in one] for name in lost[0]}
    apart = {
        name: max(every) - min(every)
        for name, every in ends.items()
        if len(every) == len(equal)
    }
    alone = all(len(one) == 1 for one in lost)  # the critical path is then all there is
    if alone or (
        all(one.keys() == apart.keys() for one in lost)
        and max(apart.values()) <= EQUAL * abs(least)
    ):
        return [f"{names} lose the same: {shown} on their critical paths, {within}."]
    said = [f"The critical paths of {names} lose the same: {shown}, {within}."]
    most = max(apart, key=lambda name: apart[name], default="")
    if most and apart[most] > EQUAL * abs(least):
        low, high = (found(ends[most]) for found in (min, max))
        less, more = (equal[ends[most].index(value)].name for value in (low, high))
        one, other = words_apart(p, low, high)
        said.append(
            f"They differ most at terminal '{most}': '{less}' loses {one} up to there, "
            f"'{more}' {other}."
        )
    return said


def _unlike(options: Sequence[Option], unit: str) -> list[str]:
    """Say that options serve more terminals than others, or with other air."""
    fed = [np.sort(option.analysis.graph.terminals.flow) for option in options]
    if all(
        len(one) == len(fed[0]) and np.allclose(one, fed[0], rtol=0.01) for one in fed
    ):
        return []
    shown = ", ".join(
        f"'{option.name}' {units.to_unit(float(one.sum()), unit):.0f} {unit} to "
        f"{counted(len(one), 'terminal')}"
        for option, one in zip(options, fed, strict=True)
    )
    return [
        f"The options do not carry the same air ({shown}): what they lose answers "
        "different questions, so none is ranked."
    ]


def _as_pairs(options: Sequence[Option], p: Callable[[float], str]) -> list[str]:
    """Say what counting close elbows as pairs does to options that can be built."""
    nominal = [option.analysis.critical_loss for option in options]
    paired = [option.analysis.critical_loss_as_pairs for option in options]
    moved = [
        abs(a - b) > _WORTH_SAYING * b for a, b in zip(paired, nominal, strict=True)
    ]
    if not any(moved):
        return []
    shown = ", ".join(
        f"'{option.name}' {p(loss)}"
        for loss, option in sorted(
            zip(paired, options, strict=True), key=lambda x: x[0]
        )
    )
    return [f"With elbows that stand close together counted as pairs: {shown}."]
