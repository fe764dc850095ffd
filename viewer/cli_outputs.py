"""What the commands say, print and write."""

import errno
import json
import os
import sys
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from contextvars import ContextVar
from pathlib import Path
from typing import TYPE_CHECKING, Any

from .outlet import printable

if TYPE_CHECKING:
    from elbowroom.layout import Obstacle
    from elbowroom.physics import Analysis, Budget, Option

    from .colours import Scale
    from .display import Display
    from .gaps import Gap
    from .layout_view import By
    from .scene import Panel
    from .sheets import Tables


_MOST_FILES = 12  # named in one sentence
QUIET: ContextVar[bool] = ContextVar("quiet", default=False)


def say(sentence: str) -> None:
    """Say a sentence on standard error."""
    print(f"elbowroom: {printable(sentence, one_line=True)}", file=sys.stderr)


def tell(sentence: str) -> None:
    """Say what went well, unless nobody wants to hear it."""
    if not QUIET.get():
        say(sentence)


def wrote(path: Path, replaced: bool = False) -> None:
    """Say which file was written, or replaced."""
    tell(f"{'replaced' if replaced else 'wrote'} {path}")


@contextmanager
def written(path: Path) -> Iterator[None]:
    """Say afterwards that a file was written within, or replaced."""
    there = path.exists()
    yield
    wrote(path, replaced=there)


def watched(work: Iterable[Any]) -> Iterable[Any]:
    """Go through changes to try, with a bar on a terminal's standard error."""
    if QUIET.get() or not sys.stderr.isatty():
        return work
    from rich.console import Console
    from rich.progress import track

    console = Console(stderr=True)
    return track(list(work), "changes tried", console=console, transient=True)


def new_console() -> Any:
    """A console on standard output; it wraps lines on a terminal only."""
    from .terminal import TerminalConsole

    return TerminalConsole(highlight=False, soft_wrap=not sys.stdout.isatty())


@contextmanager
def whole_or_nothing(console: Any) -> Iterator[None]:
    """Print what is printed within only at its end: nothing if that is refused."""
    with console.capture() as kept:
        yield
    console.file.write(kept.get())
    console.file.flush()


def print_json(content: Any) -> None:
    """Print JSON on standard output."""
    # For people by lines; for programs without, which is ten times as fast.
    indent = 1 if sys.stdout.isatty() else None
    text = json.dumps(content, ensure_ascii=False, indent=indent, allow_nan=False)
    print(printable(text))  # as JSON escapes it, so that what is read is the same


def check_outputs(
    routes: Sequence[Path],
    others: Iterable[Path | None],
    *,
    png: Path | None = None,
    csv: Path | None = None,
    csv_folders: Sequence[str] = (),
    xlsx: Path | None = None,
    page: Path | None = None,
    out: Path | None = None,
) -> None:
    """Refuse to write over what is read, twice in one place, or where nobody may.

    Parameters
    ----------
    routes
        Drawings that are read, those of returns too; so may be a schedule beside them.
    others
        Whatever else is read: schedule, solids, remarks; None where it is not given.
        What a glTF among all these names is read too.
    png, csv, xlsx, page, out
        What is written; `csv` is a folder, and `out` has an ending of its own.
    csv_folders
        Folders within `csv` that tables go to besides.
    """
    from elbowroom.layout import files_beside, find_schedule, refusal

    from .sheets import workbook_library

    for file, option, noun, endings in (
        (png, "--png", "picture", (".png",)),
        (xlsx, "--xlsx", "workbook", (".xlsx",)),
        (page, "--page", "page", (".html", ".htm")),
    ):
        if file is not None and file.suffix.lower() not in endings:
            what = f"'{file.name}' is no {noun}"
            raise refusal(option, what, f"name it NAME{endings[0]}")
    found = [find_schedule(route) for route in routes]
    read = [path for path in (*routes, *others, *found) if path is not None]
    for path in list(read):
        read += files_beside(path, with_images=True)
    written: list[Path] = []
    for output in (png, csv, xlsx, page, out):
        if output is None:
            continue
        for taken, what in (
            (read, "this is an input and is not written over"),
            (written, "two outputs would be written there"),
        ):
            if _is_one_of(output, taken):
                raise refusal(str(output), what, "name another")
        written.append(output)
        can_be_written(output, folder=output is csv)
    if xlsx is not None:
        workbook_library(xlsx)  # rather than after all the work
    if csv is not None:
        _check_folders(csv, csv_folders, [*read, *written])


def _check_folders(csv: Path, names: Sequence[str], taken: Sequence[Path]) -> None:
    """Refuse a folder of tables, or one within it, that holds what is not theirs."""
    from elbowroom.layout import refusal

    for name in names:
        if name in (".", ".."):
            raise refusal(
                str(csv),
                f"the option '{name}' has no name for a folder of its own",
                "rename its drawing",
            )
    for folder in [csv, *(csv / name for name in names)]:
        for table in sorted(folder.glob("*.csv")):
            if _is_one_of(table, taken):
                what = f"'{table.name}' in it is an input or another output"
                raise refusal(str(folder), what, "name another folder")


def _is_one_of(path: Path, others: Iterable[Path]) -> bool:
    """Whether a path leads to one of these files, by whatever link."""
    from elbowroom.layout import real_path

    for other in others:
        if real_path(path) == real_path(other):
            return True
        with suppress(OSError):  # one of them is not there
            if path.samefile(other):
                return True
    return False


def can_be_written(output: Path, folder: bool = False) -> None:
    """Refuse an output that cannot be written, as far as it shows before the work."""
    from elbowroom.layout import found_at, real_path, refusal, writing

    found_at(output)  # for the refusal of a path that none can have
    with writing(output):
        there = real_path(output)
        if there.is_symlink():
            raise OSError(errno.ELOOP, os.strerror(errno.ELOOP))
        around = there.parent
        if not around.is_dir():
            raise refusal(
                str(output), "its folder is not there", "make the folder first"
            )
        if folder and output.exists() and not output.is_dir():
            raise refusal(str(output), "this is a file, not a folder", "name another")
        if not folder and output.is_dir():
            raise IsADirectoryError
        there = output if output.exists() else around
        if not os.access(there, os.W_OK | (os.X_OK if there.is_dir() else 0)):
            raise PermissionError


def sketch_file(path: Path) -> None:
    """Refuse a sketch that is no picture, or has no folder."""
    from elbowroom.layout import refusal

    if path.suffix.lower() not in (".png", ".svg"):
        raise refusal(str(path), "a sketch's name ends in .png or .svg", "name it so")
    can_be_written(path)


def write_tables(
    tables: "Tables", csv: Path | None = None, xlsx: Path | None = None
) -> None:
    """Write tables as a folder of CSV, as a workbook, or both, and say so."""
    from .sheets import write_workbook

    if csv is not None:
        write_folders({csv: tables}, csv)
    if xlsx is not None:
        with written(xlsx):
            write_workbook(tables, xlsx)


def write_folders(folders: "Mapping[Path, Tables]", csv: Path) -> None:
    """Write tables as CSV to a folder or to some within it, and say so.

    Other CSV files there may be anyone's: they stay, and which they are is said, lest
    those of an earlier run pass for tables of this one. So are other folders within it
    that hold tables of these names, as those of a comparison do.
    """
    from elbowroom.layout import some

    from .sheets import write_csv_tables

    there = {path for folder in (csv, *folders) for path in folder.glob("*.csv")}
    names = {f"{name}.csv" for tables in folders.values() for name in tables}
    beside = sorted(
        path
        for path in (csv.iterdir() if csv.is_dir() else ())
        if path not in folders and any((path / name).is_file() for name in names)
    )
    for folder, tables in folders.items():
        for path in write_csv_tables(tables, folder):
            wrote(path, replaced=path in there)
            there.discard(path)
    others: dict[Path, list[str]] = {}
    for path in sorted(there):
        others.setdefault(path.parent, []).append(path.name)
    if beside:
        others.setdefault(csv, []).extend(f"{path.name}{os.sep}" for path in beside)
    for folder, left in others.items():
        named = some(left, _MOST_FILES)
        say(f"not of this run, and left as they were in {folder}: {named}.")


def write_review_page(
    page: Path,
    options: "Sequence[Option]",
    rooms: "Sequence[Sequence[Gap]]",
    solids: "Sequence[Obstacle]",
    units: str,
    budget: "Budget | None" = None,
    returns: "Sequence[Sequence[Analysis]]" = (),
    by: "By" = "loss",
) -> None:
    """Write the review page, and say so; `returns` are those of the first options.

    With a budget, the first option is a supply and the others are its returns; without,
    several are compared.
    """
    from elbowroom.physics import compare

    from .display import DISPLAYS
    from .gaps import in_units
    from .page import page_data, write_page

    verdicts = {}
    if budget is None and len(options) > 1:
        verdicts = {
            name: compare(in_units(options, rooms, display), display.pressure).verdict
            for name, display in DISPLAYS.items()
        }
    shown = page_data(options, rooms, solids, verdicts, units, budget, returns, by)
    with written(page):
        write_page(page, shown)


def draw_picture(
    panels: "Sequence[Panel]",
    scale: "Scale",
    by: "By",
    display: "Display",
    png: Path,
    verdict: str = "",
) -> None:
    """Draw the picture, or say which packages it needs."""
    from .layout_view import bar_title
    from .scene import picture

    def draw() -> str:
        return picture(
            panels,
            scale,
            bar_title(by, display, is_compared=bool(verdict)),
            png,
            verdict=verdict,
            length_unit=display.length,
        )

    draw_if_possible(png, draw)


def draw_if_possible(png: Path, draw: Callable[[], str]) -> None:
    """Draw a picture, or say why none can be; then what `draw` says is lacking."""
    from .preflight import why_not

    problem = why_not()
    if problem is not None:
        say(problem + ".")
        return
    with written(png):
        lacking = draw()
    if lacking:
        say(f"{lacking}.")


def exit_code(strict: bool, options: "Sequence[Option]") -> int:
    """Exit code: 1 when asked to be strict and an option fails, and says why."""
    from .failings import failing_sentence

    reasons = failing_sentence(options) if strict else ""
    if reasons:
        say(reasons)
    return 1 if reasons else 0
