"""Options that lose the same: which share a rank, and what decides among them."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from elbowroom.layout import short_length, units

from .quantities import quantities

if TYPE_CHECKING:
    from .compare import Option

# Of a loss: options this near the least of them lose the same. Own choice, no published
# source: coefficients are printed to two or three digits.
EQUAL = 1e-3


def equal_groups(losses: Sequence[float], places: Iterable[int]) -> list[list[int]]:
    """Places of options, those together that lose the same as the least of them.

    Parameters
    ----------
    losses
        Critical loss of every option, Pa.
    places
        Those to be ranked, by rising loss; the order within a group is kept.

    Returns
    -------
    groups
        The least loss first.
    """
    groups: list[list[int]] = []
    for place in places:
        least = min(losses[one] for one in groups[-1]) if groups else 0.0
        if groups and abs(losses[place] - least) <= EQUAL * abs(least):
            groups[-1].append(place)
        else:
            groups.append([place])
    return groups


def decided(
    options: Sequence["Option"], equal: Sequence[int], unit: str
) -> tuple[list[int], list[str]]:
    """Which of the options that lose the same go first, and what decides it.

    Parameters
    ----------
    options
        All of a comparison.
    equal
        Places of those that lose the same, in the order given.
    unit
        Of the pressures in the same text: 'Pa' or 'in.wg'.

    Returns
    -------
    first, said
        Places of those that go first, by more room around them, then by less duct,
        then by fewer fittings; and that in sentences. Several where all are alike.
    """
    left = list(equal)
    said: list[str] = []
    if len(left) < 2:
        return left, said
    alike = []
    for measure in _measures(options, left, unit):
        best = min(measure.value[place] for place in left)
        kept = [place for place in left if measure.value[place] <= best + measure.near]
        if len(kept) < len(left):
            shown = [f"'{options[one].name}' {measure.words[one]}" for one in left]
            said.append(f"{measure.rule} then: {', '.join(shown)}.")
        alike.append(measure.what)
        left = kept
        if len(left) == 1:
            return left, said
    if said:
        return left, [*said, f"{named(options, left)} stay equal."]
    *some, last = alike
    return left, [f"They have the same {', '.join(some)} and {last}: nothing decides."]


def named(options: Sequence["Option"], places: Sequence[int]) -> str:
    """Names of options in words: 'a', 'b' and 'c'."""
    *some, last = (f"'{options[place].name}'" for place in places)
    return f"{', '.join(some)} and {last}" if some else last


@dataclass(frozen=True, slots=True)
class _Measure:
    """What may decide: the least value is the best, those within `near` are alike."""

    what: str
    rule: str
    near: float
    value: dict[int, float]
    words: dict[int, str]


def _measures(
    options: Sequence["Option"], places: Sequence[int], unit: str
) -> list[_Measure]:
    is_metric = unit == "Pa"
    found = []
    room = {
        place: clear
        for place in places
        if (clear := options[place].clearance) is not None
    }
    if len(room) == len(places):  # there is something around them
        size = "mm" if is_metric else "in"
        shown = {
            place: f"{short_length(clear, size)} clear" for place, clear in room.items()
        }
        value = {place: -clear for place, clear in room.items()}
        found.append(
            _Measure("room around them", "More room decides", 1e-3, value, shown)
        )
    length = {
        place: float(options[place].analysis.graph.ducts.length.sum())
        for place in places
    }
    size, digits = ("m", 2) if is_metric else ("ft", 1)
    shown = {
        place: f"{units.to_unit(long, size):.{digits}f} {size}"
        for place, long in length.items()
    }
    found.append(_Measure("length of duct", "Less duct decides", 1e-2, length, shown))
    count = {
        place: float(quantities(options[place].analysis).fitting_count)
        for place in places
    }
    shown = {place: f"{many:.0f}" for place, many in count.items()}
    rule = "Fewer fittings decide"
    found.append(_Measure("number of fittings", rule, 0.0, count, shown))
    return found
