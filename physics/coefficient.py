"""A loss coefficient and everything that it rests on."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from enum import IntFlag
from functools import lru_cache, reduce

import numpy as np
import numpy.typing as npt

from elbowroom.layout import BadInput, BoolArray, FloatArray, IntArray, refusal


class Note(IntFlag):
    """What was done to reach a value; a number, so that an array can hold it."""

    NOTHING = 0
    INTERPOLATED = 1  # between rows of the table
    CLAMPED = 2  # outside the table: the nearest end was taken
    EXTENDED = 4  # outside the table: the law was carried on
    FALLBACK = 8  # another fitting's value stands in
    LOW_REYNOLDS = 16  # below the range of the Reynolds factor
    SUSPECT = 32  # choking branch or nearly shut damper: nobody designs there
    SUSPECT_PRINT = 64  # it rests on a row that breaks the trend of its table
    NEAREST_ROW = 128  # its dimensions are those of no row: the nearest was taken
    OWN_CHANGE = 256  # a main's change of section counts as a fitting of its own
    TIGHT_PAIR = 512  # elbows tighter than those of the table of close pairs
    KINKS = 1024  # a transition goes to one side: its kinks count as mitred elbows
    RESHAPED = 2048  # a main changes its shape at a junction: an allowance counts
    ELBOWED = 4096  # of a takeoff and the elbow behind it one print has both

    @property
    def words(self) -> list[str]:
        """The words that reports print."""
        bits = int(self)
        return [words for note, words in _WORDS.items() if int(note) & bits]


_WORDS = {
    Note.INTERPOLATED: "between rows of the table",
    Note.CLAMPED: "outside the table: its nearest end was taken",
    Note.NEAREST_ROW: "of other dimensions than any row of the table: the nearest was "
    "taken",
    Note.EXTENDED: "outside the table: its law was carried on",
    Note.FALLBACK: "no table of its own: another fitting stands in",
    Note.OWN_CHANGE: "no table of it: the main's change of section counts as a "
    "transition behind the branch",
    Note.RESHAPED: "no table of it: the main's change of shape counts as that of a "
    "transition, by an allowance",
    Note.ELBOWED: "one print has it and the elbow behind it as one fitting: what both "
    "lose beyond that elbow counts here",
    Note.TIGHT_PAIR: "tighter than r/D 1, where the table of close pairs begins: the "
    "plain sum stands",
    Note.KINKS: "goes further to one side than a flat side explains: its kinks count "
    "as mitred elbows by our own choice",
    Note.LOW_REYNOLDS: "Reynolds number below the factor's range",
    Note.SUSPECT: "a choking branch or a nearly shut damper: choose another size",
    Note.SUSPECT_PRINT: "rests on a print that breaks the trend of its table: do not "
    "use it alone",
}

DECLARED = "declared"  # the class of what the designer wrote: nobody read a print
# From the best to the least: the class of a value is the worst that went into it.
CONFIDENCE = ("cross-checked", DECLARED, "seen", "common practice", "memory", "low")


def worst(*classes: str) -> str:
    """Lowest of several confidence classes.

    Examples
    --------
    >>> worst("seen", "memory", "cross-checked")
    'memory'
    """
    return max(classes, key=CONFIDENCE.index)


class LookupRefused(ValueError):
    """Dimensions for which no value is published, and that must not be guessed.

    Its text is a fault, or a fault and a remedy with '; ' between.
    """

    def at(self, where: str, otherwise: str) -> BadInput:
        """Make it the refusal of an input; `otherwise`: a remedy if it has none."""
        what, _, remedy = str(self).partition("; ")
        return refusal(where, what, remedy or otherwise)


def check_word(what: str, word: object, known: Iterable[str]) -> None:
    """Refuse a word that a look-up does not know, with those that it does.

    Raises
    ------
    LookupRefused
        If it is none of them.
    """
    words = tuple(known)
    if word not in words:
        *others, last = map(repr, words)
        listed = f"{', '.join(others)} or {last}" if others else last
        raise LookupRefused(f"there is no {what} {word!r}; take {listed}")


@dataclass(frozen=True, slots=True)
class Credit:
    """What a coefficient is credited to: reference velocity, table, source, class.

    `span` counts for friction alone: how often the printed range of the roughness
    doubles it, at least 1.
    """

    reference: str
    table: str
    source: str
    confidence: str
    span: float = 1.0

    @property
    def first_table(self) -> str:
        """The table that it mainly comes from."""
        return self.table.partition(_AND)[0]

    def joined(self, other: "Credit") -> "Credit":
        """Add what went into the value too: both, in the lower class.

        Examples
        --------
        >>> one = Credit("duct", "elbow", "a book; a paper", "cross-checked")
        >>> one.joined(Credit("duct", "factor", "a paper", "seen")).source
        'a book; a paper'
        """
        return Credit(
            self.reference,
            _each_once(self.table, other.table, _AND),
            _each_once(self.source, other.source, "; "),
            worst(self.confidence, other.confidence),
            max(self.span, other.span),
        )


AS_DECLARED = Credit("duct", "schedule", "declared in the schedule", DECLARED)
IN_DRAWING = Credit("duct", "drawing", "declared in the drawing", DECLARED)
_AND = " and "  # between the tables of a value that comes from several
Factors = tuple[tuple[BoolArray, Credit], ...]  # where each went into a value


@lru_cache(maxsize=1024)
def _each_once(one: str, other: str, between: str) -> str:
    return between.join(dict.fromkeys([*one.split(between), *other.split(between)]))


@dataclass(frozen=True, slots=True, eq=False)
class Coefficient:
    """Loss coefficients of one kind of fitting, n of them.

    Parameters
    ----------
    value
        Total-pressure loss over the velocity pressure at the reference section,
        without the Reynolds factor, shape (n,). Negative values are real.
    reynolds_factor
        Factor on `value`, shape (n,); 1 where none applies.
    reference
        Section whose velocity pressure the loss is on: upstream, downstream, small
        area, common, duct, fan, fan inlet, or fan outlet.
    table
        Table or equation that it came from.
    source
        Document of that table.
    confidence
        One of `CONFIDENCE`.
    notes
        `Note` bits, shape (n,).
    factors
        Tables of factors, and of which of the n each changed the value.
    """

    value: FloatArray
    reynolds_factor: FloatArray
    reference: str
    table: str
    source: str
    confidence: str
    notes: IntArray
    factors: Factors = ()

    @property
    def table_credit(self) -> Credit:
        """What it is credited to without its factors."""
        return Credit(self.reference, self.table, self.source, self.confidence)

    @property
    def credit(self) -> Credit:
        """What went into any of the n."""
        return reduce(Credit.joined, (c for _, c in self.factors), self.table_credit)


def make(
    value: FloatArray,
    notes: npt.ArrayLike,
    *,
    reference: str,
    table: str,
    source: str,
    confidence: str,
    factor: npt.ArrayLike = 1.0,
    factors: Factors = (),
) -> Coefficient:
    """Make a coefficient from parts that broadcast together."""
    shape = np.broadcast(np.atleast_1d(value), factor, notes).shape
    whole, raised, bits = np.empty(shape), np.empty(shape), np.empty(shape, np.int64)
    whole[...], raised[...], bits[...] = value, factor, notes
    return Coefficient(
        whole, raised, reference, table, source, confidence, bits, factors
    )


class Gathered:
    """Coefficients of n elements, put together kind by kind.

    Parameters
    ----------
    count
        How many elements there are.
    """

    def __init__(self, count: int) -> None:
        self.value = np.full(count, np.nan)
        self.reynolds_factor = np.ones(count)
        self.notes = np.zeros(count, dtype=np.int64)
        self.credit = np.zeros(count, dtype=np.int64)
        self.credits: list[Credit] = []
        self._place: dict[Credit, int] = {}

    def put(self, where: npt.NDArray[np.generic], found: Coefficient) -> None:
        """Enter the coefficients of some elements, given by a mask or by rows."""
        self.value[where] = found.value
        self.reynolds_factor[where] = found.reynolds_factor
        self.notes[where] = found.notes
        if not found.factors:
            self.credit[where] = self.number(found.table_credit)
            return
        mix = np.zeros(len(found.value), dtype=np.int64)  # a bit for each factor
        for bit, (changed, _) in enumerate(found.factors):
            mix |= changed.astype(np.int64) << bit
        number = np.zeros(1 << len(found.factors), dtype=np.int64)
        for each in np.bincount(mix).nonzero()[0].tolist():
            parts = [
                one for bit, (_, one) in enumerate(found.factors) if each >> bit & 1
            ]
            credit = reduce(Credit.joined, parts, found.table_credit)
            number[each] = self.number(credit)
        self.credit[where] = number[mix]

    def join(self, where: npt.NDArray[np.generic], other: Credit) -> None:
        """Say what else went into the coefficients of some elements."""
        self._recredit(where, lambda credit: credit.joined(other))

    def stand_in(self, where: npt.NDArray[np.generic]) -> None:
        """Say that the coefficients of some elements are those of another fitting.

        They are noted so, and their class is the lowest.
        """
        self.notes[where] |= int(Note.FALLBACK)
        self.doubt(where)

    def doubt(self, where: npt.NDArray[np.generic]) -> None:
        """Give the coefficients of some elements the lowest class."""
        self._recredit(where, lambda credit: replace(credit, confidence=CONFIDENCE[-1]))

    def _recredit(
        self, where: npt.NDArray[np.generic], change: Callable[[Credit], Credit]
    ) -> None:
        of = self.credit[where]
        now = of.copy()
        for credit in np.bincount(of).nonzero()[0].tolist():
            now[of == credit] = self.number(change(self.credits[credit]))
        self.credit[where] = now

    def take_over(self, rows: IntArray, found: "Gathered") -> None:
        """Enter the coefficients of some elements that were gathered apart."""
        numbers = np.zeros(len(found.credits), dtype=np.int64)
        used = np.bincount(found.credit, minlength=len(found.credits))[: len(numbers)]
        for credit in used.nonzero()[0].tolist():  # a lowered class may leave one bare
            numbers[credit] = self.number(found.credits[credit])
        self.value[rows] = found.value
        self.reynolds_factor[rows] = found.reynolds_factor
        self.notes[rows] = found.notes
        if len(rows):
            self.credit[rows] = numbers[found.credit]

    def put_between(
        self, rows: IntArray, one: "Gathered", other: "Gathered", share: FloatArray
    ) -> None:
        """Enter for some elements what lies between two readings of them.

        `share` is that of the other, 0 to 1. Where they differ they are noted so, and
        credited to both in the lowest class: which of the two it is, nobody has
        measured.
        """
        for name in ("value", "reynolds_factor"):
            first, second = getattr(one, name), getattr(other, name)
            getattr(self, name)[rows] = first + (second - first) * share
        self.notes[rows] = one.notes | other.notes
        self.credit[rows] = [self.number(one.credits[n]) for n in one.credit.tolist()]
        unlike = np.array(
            [
                one.credits[a] != other.credits[b]
                for a, b in zip(one.credit.tolist(), other.credit.tolist(), strict=True)
            ]
        )
        unlike = (unlike | (one.value != other.value)).nonzero()[0]
        self.notes[rows[unlike]] |= int(Note.FALLBACK)
        self.credit_also(rows[unlike], other.part(unlike))

    def credit_also(self, rows: IntArray, other: "Gathered") -> None:
        """Credit some elements to what others are credited to as well.

        In the lowest class; the velocity that they refer to stays theirs.
        """
        pair = self.credit[rows] * len(other.credits) + other.credit
        for number in np.bincount(pair).nonzero()[0].tolist():
            mine, also = divmod(number, len(other.credits))
            both = self.credits[mine].joined(other.credits[also])
            both = replace(both, confidence=CONFIDENCE[-1])
            self.credit[rows[pair == number]] = self.number(both)

    def part(self, rows: IntArray) -> "Gathered":
        """Coefficients of some of the elements."""
        out = Gathered(0)
        out.value, out.notes = self.value[rows], self.notes[rows]
        out.reynolds_factor = self.reynolds_factor[rows]
        out.credit, out.credits = self.credit[rows], self.credits
        out._place = self._place
        return out

    def number(self, credit: Credit) -> int:
        """Row of a credit in `credits`, which it is added to if it is new."""
        place = self._place.setdefault(credit, len(self.credits))
        if place == len(self.credits):
            self.credits.append(credit)
        return place
