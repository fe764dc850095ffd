"""Standard streams: closed, full, or with a reader that leaves early as `head` does."""

import os
import re
import sys
from collections.abc import Iterator
from contextlib import contextmanager, redirect_stderr, redirect_stdout
from typing import Any, TextIO

# Controls, and what parts a line or turns its direction: Unicode Standard Annex 9.
_UNPRINTED = re.compile(
    r"[\x00-\x1f\x7f-\x9f\u061c\u200e\u200f\u2028-\u202e\u2066-\u2069]"
)
_IN_LAYOUT = re.compile(rf"(?![\n\t]){_UNPRINTED.pattern}")


def printable(text: str, *, one_line: bool = False) -> str:
    r"""Text with its controls escaped as JSON and TOML do, for what is printed.

    A name comes from a file of others, and would clear the screen or turn a line round.

    Parameters
    ----------
    text
        What is to be printed.
    one_line
        Whether line breaks and tabs are escaped too.

    Examples
    --------
    >>> print(printable("\x1b[2Jhall"))
    \u001b[2Jhall
    """
    pattern = _UNPRINTED if one_line else _IN_LAYOUT
    return pattern.sub(lambda sign: f"\\u{ord(sign[0]):04x}", text)


def plain(text: str) -> str:
    """Text from a drawing, on one line: no bracket is markup, no sign a control."""
    from rich.markup import escape

    return escape(printable(text, one_line=True))


class _Outlet:
    """A stream that goes on when nobody reads it any more, or nothing fits in it."""

    def __init__(self, stream: TextIO | None) -> None:
        # Python has none for a descriptor that was closed from the start.
        self._stream = stream or open(os.devnull, "w", encoding="utf-8")  # noqa: SIM115
        self.fault = ""

    def __getattr__(self, name: str) -> Any:
        return getattr(self._stream, name)

    def write(self, text: str) -> int:
        try:
            return self._stream.write(text)
        except OSError as problem:
            self._close(problem)
            return len(text)

    def flush(self) -> None:
        try:
            self._stream.flush()
        except OSError as problem:
            self._close(problem)

    def _close(self, problem: OSError) -> None:
        if not isinstance(problem, BrokenPipeError):
            self.fault = (problem.strerror or str(problem)).lower()
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, self._stream.fileno())
        os.close(nowhere)


@contextmanager
def patient() -> Iterator[list[str]]:
    """Let the work go on to its files, whatever becomes of the standard streams.

    Yields
    ------
    lost
        Filled at the end: a sentence for each stream that could not be written. A
        reader that leaves, or a stream that was closed from the start, wants nothing.
    """
    _hold_descriptors()
    lost: list[str] = []
    output, errors = _Outlet(sys.stdout), _Outlet(sys.stderr)
    out: Any = output
    err: Any = errors
    with redirect_stdout(out), redirect_stderr(err):
        try:
            yield lost
        finally:
            for outlet, name in ((output, "output"), (errors, "error")):
                outlet.flush()
                if outlet.fault:
                    what = f"standard {name} cannot be written ({outlet.fault})"
                    lost.append(f"{what}; send it elsewhere, or make room there.")
                    errors.write(f"elbowroom: {lost[-1]}\n")
            errors.flush()


def _hold_descriptors() -> None:
    """Open what is closed of the three first descriptors, so that no file gets them."""
    number = os.open(os.devnull, os.O_RDWR)
    while number <= 2:
        number = os.open(os.devnull, os.O_RDWR)
    os.close(number)
