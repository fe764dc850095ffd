"""Tables as files: a folder of CSV, or one workbook."""

import csv
import math
import re
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

from elbowroom.layout import refusal, writing

from .short_names import numbered, told_apart

Row = Mapping[str, Any]
Tables = Mapping[str, Sequence[Row]]
# Of the table that is empty where nothing stands beside the ducts.
_ROOM = ("duct", "beside", "distance_m", "required_m", "is_kept", "x_m", "y_m", "z_m")

_NAME = 31  # letters of a sheet's name, at most
_NOT_IN_NAMES = re.compile(r"[\[\]:*?/\\\x00-\x1f\x7f]")
_WIDEST, _FROZEN = 60, 32  # letters: of a column; of one that stays in sight
# Digits behind the point that are shown. In another column they are as many as give
# the largest number four figures and the least two.
_SHOWN = {"_m": 3, "_m3_s": 4, "_m_s": 2, "_pa": 2, "_pa_m": 3, "_m2": 2, "_kg": 1}
_MOST_DIGITS = 6


def sheet_prefixes(names: Sequence[str], tables: Iterable[str]) -> list[str]:
    """What the names of the sheets of each option begin with, no two alike.

    Parameters
    ----------
    names
        Names of the options.
    tables
        Names of the tables that follow: a sheet is called 'option-table'.
    """
    room = _NAME - 1 - max(map(len, tables))
    # A sheet's name has no apostrophe at its ends.
    fit = [_NOT_IN_NAMES.sub("_", name).strip("'") or "_" for name in names]
    short = told_apart(fit, room)
    # Nor do two names of sheets differ in capitals alone.
    is_plain = len({name.casefold() for name in short}) == len(names)
    return short if is_plain else numbered(fit, room)


def write_csv_tables(tables: Tables, folder: Path) -> list[Path]:
    """Write tables as CSV files, in UTF-8 with the mark that spreadsheets look for.

    Parameters
    ----------
    tables
        Rows by name; the rows of a table have the same columns.
    folder
        Where; it is made if it is not there.

    Returns
    -------
    files
        What was written; a table without rows has its name alone as a heading, and
        that of the room around the ducts its own.

    Raises
    ------
    BadInput
        If the folder or a file in it cannot be written.
    """
    with writing(folder):
        folder.mkdir(parents=True, exist_ok=True)
    written = []
    for name, rows in tables.items():
        path = folder / f"{name}.csv"
        with (
            writing(path),
            path.open("w", newline="", encoding="utf-8-sig") as stream,
        ):
            writer = csv.DictWriter(stream, _heads(name, rows))
            writer.writeheader()
            writer.writerows(
                {key: _inert(value) for key, value in row.items()} for row in rows
            )
        written.append(path)
    return written


def _heads(name: str, rows: Sequence[Row]) -> Sequence[str]:
    """Headings of a table, of the room around the ducts also where it has no rows."""
    if rows:
        return list(rows[0])
    return _ROOM if name.split("-")[-1] == "room" else [name]


def _inert(value: Any) -> Any:
    """A text so that no spreadsheet takes it for a formula: with an apostrophe."""
    starts = isinstance(value, str) and value.startswith(
        ("=", "+", "-", "@", "\t", "\r")
    )
    return f"'{value}" if starts else value


def workbook_library(path: Path) -> Any:
    """The library that writes workbooks.

    Raises
    ------
    BadInput
        If it is not installed.
    """
    try:
        import xlsxwriter
    except ImportError:
        raise refusal(
            str(path),
            "workbooks are written with XlsxWriter, which is not installed",
            "install it with: pip install XlsxWriter",
        ) from None
    return xlsxwriter


def write_workbook(tables: Tables, path: Path) -> None:
    """Write tables as a workbook, a sheet for each; the same tables, the same bytes.

    Raises
    ------
    BadInput
        If the library that writes it is not installed, or the file cannot be written.
    """
    from datetime import datetime, timezone
    from io import BytesIO

    xlsxwriter = workbook_library(path)
    content = BytesIO()
    with xlsxwriter.Workbook(content, {"in_memory": True}) as book:
        # A fixed date, so that no clock gets into the file.
        book.set_properties({"created": datetime(2000, 1, 1, tzinfo=timezone.utc)})
        bold = book.add_format({"bold": True, "valign": "top"})
        wrapped = book.add_format({"text_wrap": True, "valign": "top"})
        formats: dict[str, Any] = {}
        for name, rows in tables.items():
            sheet = book.add_worksheet(name)
            widths = []
            for column, head in enumerate(_heads(name, rows)):
                values = [row[head] for row in rows]
                shown = _number_format(head, values)
                if shown not in formats:
                    formats[shown] = book.add_format(
                        {"num_format": shown, "valign": "top"}
                    )
                sheet.write_string(0, column, head, bold)
                for line, value in enumerate(values, 1):
                    if value is None:
                        continue
                    if isinstance(value, bool):
                        sheet.write_boolean(line, column, value, formats[shown])
                    elif isinstance(value, (int, float)):
                        sheet.write_number(line, column, value, formats[shown])
                    else:  # never as a formula
                        sheet.write_string(line, column, str(value), wrapped)
                widths.append(_width(head, values))
                sheet.set_column(column, column, widths[-1])
            # What names a row stays in sight beside many columns.
            sheet.freeze_panes(1, int(len(widths) > 1 and widths[0] <= _FROZEN))
    with writing(path):
        path.write_bytes(content.getvalue())


def _number_format(head: str, values: Sequence[Any]) -> str:
    """How the numbers of a column are shown; they keep all their digits."""
    if not any(isinstance(value, float) for value in values):
        return "General"
    digits = next(
        (_SHOWN[unit] for unit in sorted(_SHOWN, key=len)[::-1] if head.endswith(unit)),
        None,
    )
    if digits is None:
        sizes = [abs(one) for one in values if isinstance(one, (int, float)) and one]
        wanted = [(max(sizes), 4), (min(sizes), 2)] if sizes else []
        missing = [figures - 1 - math.floor(math.log10(x)) for x, figures in wanted]
        digits = min(max(1, *missing, 0), _MOST_DIGITS)
    return f"0.{'0' * digits}"


def _width(head: str, values: Sequence[Any]) -> int:
    """Width of a column in letters: of its texts, which wrap beyond the widest."""
    texts = (value for value in values if isinstance(value, str))
    lines = (len(line) for text in texts for line in text.split("\n"))
    return min(max(len(head), 8, *lines) + 2, _WIDEST)
