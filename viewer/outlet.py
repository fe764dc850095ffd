"""Standard streams whose reader may leave early, as `head` does."""

import os
from collections.abc import Iterator
from contextlib import contextmanager, redirect_stderr, redirect_stdout
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
def patient(output: TextIO, errors: TextIO) -> Iterator[None]:
    """Let the work go on to its files, whatever becomes of who reads the streams."""
    outlets: list[Any] = [_Outlet(output), _Outlet(errors)]
    with redirect_stdout(outlets[0]), redirect_stderr(outlets[1]):
        try:
            yield
        finally:
            for outlet in outlets:
                outlet.flush()
