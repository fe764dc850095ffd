"""What stands at a path, whatever the path is."""

import errno
import os
import stat
from pathlib import Path

from .faults import refusal

_SHOWN = 60  # letters of a path that is too long to be shown
_NOTHING = (errno.ENOENT, errno.ENOTDIR, errno.ELOOP)


def found_at(path: Path) -> str:
    """What stands at a path: 'file', 'folder', 'other', or '' for nothing.

    Raises
    ------
    BadInput
        If nobody can look there: the path is too long, holds a letter that none may, or
        leads through a folder without the right to it. `Path.is_file` and its likes
        raise in these cases, some in some versions of Python alone.
    """
    text = str(path)
    shown = text if len(text) <= _SHOWN else f"{text[:_SHOWN]}..."
    try:
        mode = path.stat().st_mode
    except ValueError:
        raise refusal(
            ascii(shown)[1:-1], "no path may hold that letter", "check the path"
        ) from None
    except OSError as problem:
        if problem.errno in _NOTHING:
            return ""
        why = (problem.strerror or str(problem)).lower()
        raise refusal(shown, f"it cannot be opened ({why})", "check the path") from None
    if stat.S_ISDIR(mode):
        return "folder"
    return "file" if stat.S_ISREG(mode) else "other"


def real_path(path: Path) -> Path:
    """Give a path from the root, past every link.

    Where links go round it ends at one of them: `Path.resolve` raises there in some
    versions of Python.
    """
    return Path(os.path.realpath(path))


def check_file(path: Path) -> None:
    """Refuse to read what is no file.

    Parameters
    ----------
    path
        A pipe is none: what is read from it is gone, and it may never end.

    Raises
    ------
    BadInput
        Where `found_at` does, and wherever it finds anything else than a file.
    """
    there = found_at(path)
    if there == "folder":
        raise refusal(str(path), "this is a folder", "give the path of a file in it")
    if there == "other":
        raise refusal(str(path), "this is a pipe or a device", "save it as a file")
    if not there:
        raise refusal(str(path), "there is no such file", "check the path")
