"""Tables in a terminal that never cut a number: words wrap, or lines grow longer."""

from collections.abc import Sequence
from typing import Any

from rich.box import SIMPLE_HEAD
from rich.console import Console, ConsoleOptions, RenderResult
from rich.table import Column, Table
from rich.text import Text

from .outlet import printable

_LONGEST_WORD = 16  # of a column of words; a longer one is folded, such as a name
_BETWEEN = 3  # characters beside each column


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

    def __init__(self, title: str) -> None:
        super().__init__(
            title=title,
            title_justify="left",
            title_style="bold",
            box=SIMPLE_HEAD,
            pad_edge=False,
        )

    def __rich_console__(
        self, console: Console, options: ConsoleOptions
    ) -> RenderResult:
        """Render with the widths of `column_widths`."""
        spans = [_span(column) for column in self.columns]
        beside = _BETWEEN * len(spans) + 1
        widths = column_widths(spans, options.max_width - beside)
        for column, width in zip(self.columns, widths, strict=True):
            column.width = width
            column.overflow = "fold"
        whole = max(options.max_width, sum(widths) + beside)
        yield from super().__rich_console__(console, options.update_width(whole))


def column_widths(spans: Sequence[tuple[int, int]], room: int) -> list[int]:
    """Widths of columns: the widest give way first, none goes below its least.

    Parameters
    ----------
    spans
        Least and greatest width of each, characters.
    room
        For all of them together.

    Returns
    -------
    widths
        Their sum is above the room only where the least widths need more.

    Examples
    --------
    >>> column_widths([(4, 30), (5, 5), (6, 12)], 30)
    [13, 5, 12]
    >>> column_widths([(4, 30), (5, 5), (6, 12)], 3)
    [4, 5, 6]
    """
    cap = max((greatest for _, greatest in spans), default=0)
    while True:
        widths = [max(least, min(cap, greatest)) for least, greatest in spans]
        if cap <= 0 or sum(widths) <= room:
            return widths
        cap -= 1


def _span(column: Column) -> tuple[int, int]:
    """Least and greatest width of a column: its longest word, its longest line."""
    least = greatest = 0
    for cell in (column.header, *column.cells):
        for line in Text.from_markup(printable(str(cell))).plain.split("\n"):
            greatest = max(greatest, Text(line).cell_len)
            for word in [line] if column.no_wrap else line.split():
                least = max(least, Text(word).cell_len)
    if column.justify != "right" and not column.no_wrap:
        least = min(least, _LONGEST_WORD)
    return least, max(least, greatest)
