"""What the book of fittings says of a kind of fitting."""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from elbowroom.layout import Shape

from .coefficient import Coefficient

Values = Mapping[str, float]
Legs = dict[str, Coefficient]
# The first of these words in a name is of its duct, a later one of its branch.
_SHAPES = {
    "round": Shape.ROUND,
    "conical": Shape.ROUND,
    "rect": Shape.RECTANGULAR,
    "oval": Shape.OVAL,
}


@dataclass(frozen=True, slots=True)
class Parameter:
    """A parameter of a kind of fitting.

    Parameters
    ----------
    name
        The table's column.
    what
        What it is, in words.
    low, high
        Range within which a value is given.
    default
        Taken, and said, when it is not given; None where it must be.
    whole
        Whether it counts things.
    """

    name: str
    what: str
    low: float
    high: float
    default: float | None = None
    whole: bool = False


@dataclass(frozen=True, slots=True)
class FittingKind:
    """A kind of fitting.

    Parameters
    ----------
    name
        Its name: words with dashes.
    what
        What it is.
    parameters
        What its coefficient depends on.
    look_up
        Coefficient from parameters and the Reynolds number, which may be NaN; of a
        junction those of its legs by name.
    opens
        Whether the area grows along the air (True) or shrinks (False) in a transition;
        None for what is neither.
    """

    name: str
    what: str
    parameters: tuple[Parameter, ...]
    look_up: Callable[[Values, float], Coefficient | Legs]
    opens: bool | None = None

    @property
    def has_legs(self) -> bool:
        """Whether it is a junction, with a coefficient for each leg."""
        return self.name.startswith("junction")

    @property
    def shape(self) -> Shape:
        """Shape of its duct, as its name says it; NONE where several will do."""
        for word in self.name.split("-"):
            if word in _SHAPES:
                return _SHAPES[word]
        return Shape.NONE

    def evaluate(self, values: Values, reynolds: float) -> Legs:
        """Coefficients by leg; a fitting with two ends has the one leg ''."""
        found = self.look_up(values, reynolds)
        return {"": found} if isinstance(found, Coefficient) else found


def radians(values: Values) -> float:
    """The parameter `angle_deg`, rad."""
    return math.radians(values["angle_deg"])
