"""Standard output whose reader may leave early, as `head` does."""

import os
from collections.abc import Iterator
from contextlib import contextmanager, redirect_stdout
from typing import Any, TextIO


class _Outlet:
    """A stream that goes on when nobody reads it any more."""

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream

    def __getattr__(self, name: str) -> Any:
        return getattr(self._stream, name)

    def write(self, text: str) -> int:
        try:
            return self._stream.write(text)
        except BrokenPipeError:
            self._close()
            return len(text)

    def flush(self) -> None:
        try:
            self._stream.flush()
        except BrokenPipeError:
            self._close()

    def _close(self) -> None:
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, self._stream.fileno())
        os.close(nowhere)


@contextmanager
def patient(stream: TextIO) -> Iterator[None]:
    """Let the work go on to its files, whatever becomes of who reads the stream."""
    outlet: Any = _Outlet(stream)
    with redirect_stdout(outlet):
        try:
            yield
        finally:
            outlet.flush()
