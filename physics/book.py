"""The book of fittings: every kind by name, its parameters, and its coefficient."""

from elbowroom.layout import nearest

from . import damper_kinds, elbow_kinds, end_kinds, junction_kinds, transition_kinds
from .coefficient import LookupRefused
from .dimensions import Dimensions as Dimensions
from .dimensions import as_drawn as as_drawn
from .dimensions import dimensions_of as dimensions_of
from .dimensions import duct_area as duct_area
from .dimensions import from_dimensions as from_dimensions
from .dimensions import reference_end as reference_end
from .dimensions import reference_share as reference_share
from .equipment import declared_only
from .kinds import FittingKind as FittingKind
from .kinds import Legs as Legs
from .kinds import Parameter as Parameter
from .kinds import Values as Values
from .second_prints import SecondPrint as SecondPrint
from .second_prints import second_prints as second_prints

KINDS: dict[str, FittingKind] = {
    kind.name: kind
    for kind in (
        *elbow_kinds.KINDS,
        *transition_kinds.KINDS,
        *end_kinds.KINDS,
        *junction_kinds.KINDS,
        *damper_kinds.KINDS,
    )
}


def find_kind(text: str) -> FittingKind:
    """Kind of a name; blanks, dashes and underscores are the same.

    Raises
    ------
    LookupRefused
        If there is none; the message names the nearest, or says that a fitting like
        it has the loss that its maker declares.
    """
    name = "-".join(text.replace("_", " ").replace("-", " ").lower().split())
    if name in KINDS:
        return KINDS[name]
    named = {word.removesuffix("s") for word in name.split("-")}
    for item in declared_only():
        if named & set(item.split("_")):
            raise LookupRefused(
                f"a {item.replace('_', ' ')} has the loss that its maker declares, "
                "and none is assumed; declare it in the schedule, under [losses] or "
                "as a [[component]]"
            )
    near = nearest(name, KINDS)
    hint = f"did you mean '{near}'" if near else "see fitting --list"
    raise LookupRefused(f"there is no kind of fitting '{text}'; {hint}")


def complete(
    kind: FittingKind, given: Values
) -> tuple[dict[str, float], tuple[str, ...]]:
    """Every parameter of a kind, checked, and the names of those that were assumed.

    Raises
    ------
    LookupRefused
        If one is missing, unknown or out of its range; the message says the range.
    """
    names = [parameter.name for parameter in kind.parameters]
    for name in given:
        if name not in names and name != "Re":
            near = nearest(name, names)
            hint = f"did you mean '{near}'" if near else f"it has {', '.join(names)}"
            raise LookupRefused(f"{kind.name} has no parameter '{name}'; {hint}")
    values: dict[str, float] = {}
    assumed = []
    for parameter in kind.parameters:
        value = given.get(parameter.name, parameter.default)
        if value is None:
            raise LookupRefused(
                f"{kind.name} needs {parameter.name}, the {parameter.what}; give it "
                f"with --set {parameter.name}=..., or dimensions that it follows from"
            )
        if parameter.name not in given:
            assumed.append(parameter.name)
        if not parameter.low <= value <= parameter.high or (
            parameter.whole and value != int(value)
        ):
            raise LookupRefused(
                f"{parameter.name} is {value:g}; {kind.name} takes "
                f"{parameter.low:g} to {parameter.high:g} for the {parameter.what}"
            )
        values[parameter.name] = float(value)
    return values, tuple(assumed)
