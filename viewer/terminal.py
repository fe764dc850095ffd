"""Tables in a terminal that never cut a number: words wrap, or lines grow longer."""

from collections.abc import Sequence
from functools import cache
from itertools import count, permutations
from typing import Any

import numpy as np
from rich.box import SIMPLE_HEAD
from rich.cells import cell_len
from rich.console import Console, ConsoleOptions, RenderResult
from rich.table import Column, Table
from rich.text import Text

from elbowroom.layout import IntArray

from .outlet import printable

_Cell = tuple[tuple[int, ...], ...]  # lengths of the words of each line of a cell
_LONGEST_WORD = 16  # of a column of words; a longer one is folded, such as a name
_BETWEEN = 2  # characters beside each column


class TerminalConsole(Console):
    """A console that leaves a line as long as it is, if it cannot be shorter."""

    def print(self, *objects: Any, crop: bool = False, **options: Any) -> None:
        """Print as a console does, but crop nothing."""
        super().print(*objects, crop=crop, **options)

    def render_str(self, text: str, **options: Any) -> Text:
        """Render text, of a table's cells too, with its controls escaped."""
        return super().render_str(printable(text), **options)


class TerminalTable(Table):
    """A table whose columns are never narrower than their longest word.

    Cut with an ellipsis, 0.119 would read as 0.1.
    """

    def __init__(self, title: str, *heads: Column | str) -> None:
        """An empty table; `heads` are words to the left, or of `right`, `unbroken`."""
        self.heading = title  # one of rich's own wraps at the width of the table
        super().__init__(
            *heads,
            box=SIMPLE_HEAD,
            pad_edge=False,
            padding=(0, _BETWEEN - 1, 0, 0),
            show_header=any(h if isinstance(h, str) else h.header for h in heads),
        )

    @property
    def least_width(self) -> int:
        """Characters that it needs at the least."""
        spans = (_span(column, _word_lengths(column)) for column in self.columns)
        return sum(least + _BETWEEN for least, _ in spans)

    def __rich_console__(
        self, console: Console, options: ConsoleOptions
    ) -> RenderResult:
        """Render below its title with the widths of `column_widths`."""
        yield console.render_str(self.heading, style="bold")
        beside = _BETWEEN * len(self.columns)
        widths = column_widths(self.columns, options.max_width - beside)
        for column, width in zip(self.columns, widths, strict=True):
            column.width = width
            column.overflow = "fold"
        whole = max(options.max_width, sum(widths) + beside)
        yield from super().__rich_console__(console, options.update_width(whole))


def right(head: str) -> Column:
    """A column of numbers, to the right."""
    return Column(head, justify="right")


class _Places(Column):
    """A column of places: their numbers are not folded, and break once for nothing."""


def places(head: str) -> Column:
    """A column of places, which stand on two lines where words need the room."""
    return _Places(head)


def unbroken(head: str) -> Column:
    """A column whose words stay on one line."""
    return Column(head, no_wrap=True)


def column_widths(columns: Sequence[Column], room: int) -> list[int]:
    """Widths of columns that make a table of few lines.

    From the widest that each can use, the one gives way that costs the fewest lines,
    and of several the widest; then one gives to another while that saves lines. A tall
    row costs more than several that are less so. None goes below its longest word; a
    cell of numbers that breaks counts as a line more even where its row has room for
    it, and a place that breaks twice as two.

    Parameters
    ----------
    columns
        With their cells.
    room
        For all of them together, characters.

    Returns
    -------
    widths
        Their sum is above the room only where the least widths need more.

    Examples
    --------
    >>> cells = ["no. 3, too much for the fan", "no. 1"]
    >>> left = Column("left by fan", _cells=["9", "8"])
    >>> columns = [Column("rank", _cells=cells), left]
    >>> [column_widths(columns, room) for room in (40, 21, 3)]
    [[27, 11], [15, 6], [4, 4]]
    """
    cells = [_word_lengths(column) for column in columns]
    spans = [_span(column, words) for column, words in zip(columns, cells, strict=True)]

    @cache
    def lines(place: int, width: int) -> IntArray:
        return _lines(cells[place], width)

    def cost(widths: Sequence[int]) -> int:
        each = [lines(place, width) for place, width in enumerate(widths)]
        # Of squares, so that one row of five lines costs more than two of three.
        whole = int((np.max(each, axis=0) ** 2).sum())
        for column, mine, (_, most), place in zip(columns, each, spans, count()):
            still_whole = _whole(column)
            if still_whole is not None:
                least = lines(place, most).clip(still_whole)
                more = mine.clip(still_whole) ** 2 - least**2
                whole += 2 * still_whole * int(more[1:].sum())
        return whole

    widths = [greatest for _, greatest in spans]
    while sum(widths) > room:
        narrower = [
            (cost(_moved(widths, place, 1)), -widths[place], place)
            for place, (least, _) in enumerate(spans)
            if widths[place] > least
        ]
        if not narrower:
            return widths
        widths[min(narrower)[-1]] -= 1
    # What one step at a time does not find: several characters from one to another.
    found = cost(widths)
    for _ in columns:
        moves = [
            (cost(moved), moved)
            for giver, taker in permutations(range(len(columns)), 2)
            for step in range(1, widths[giver] - spans[giver][0] + 1)
            if widths[taker] + step <= spans[taker][1]
            for moved in [_moved(widths, giver, step, taker)]
        ]
        best, moved = min(moves, default=(found, widths))
        if best >= found:
            break
        found, widths = best, moved
    return widths


def _moved(
    widths: Sequence[int], giver: int, step: int, taker: int | None = None
) -> list[int]:
    """Widths after a column has given some characters, and another has taken them."""
    out = list(widths)
    out[giver] -= step
    if taker is not None:
        out[taker] += step
    return out


def _whole(column: Column) -> int | None:
    """On how many lines a cell of a column is still whole; None for words."""
    if isinstance(column, _Places):
        return 2
    return 1 if column.justify == "right" else None


def _word_lengths(column: Column) -> list[_Cell]:
    """Each cell of a column, its head first."""
    return [
        tuple(
            tuple(map(cell_len, [line] if column.no_wrap else line.split()))
            for line in Text.from_markup(printable(str(cell))).plain.split("\n")
        )
        for cell in (column.header, *column.cells)
    ]


def _span(column: Column, cells: Sequence[_Cell]) -> tuple[int, int]:
    """Least and greatest width of a column: its longest word, its longest line."""
    lines = [line for cell in cells for line in cell if line]
    head = max((max(line) for line in cells[0] if line), default=0)
    least = max((max(line) for cell in cells[1:] for line in cell if line), default=0)
    if not column.no_wrap:
        head = min(head, _LONGEST_WORD)
    if _whole(column) is None and not column.no_wrap:
        least = min(least, _LONGEST_WORD)
    least = max(least, head)
    greatest = max((sum(line) + len(line) - 1 for line in lines), default=0)
    return least, max(least, greatest)


def _lines(cells: Sequence[_Cell], width: int) -> IntArray:
    """How many lines each cell of a column takes at a width."""
    # Of many rows, few differ in this.
    taken = {cell: sum(_broken(line, width) for line in cell) for cell in set(cells)}
    return np.array([taken[cell] for cell in cells])


def _broken(words: Sequence[int], width: int) -> int:
    """How many lines words of these lengths take; one longer than a line is folded."""
    count, used = 1, 0
    for word in words:
        if used and used + 1 + word <= width:
            used += 1 + word
        else:
            folds = -(-word // max(width, 1))
            count += folds - (used == 0)
            used = word - (folds - 1) * width
    return count
