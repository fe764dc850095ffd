"""Tables as files: a folder of CSV, or one workbook."""

import csv
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from elbowroom.layout import refusal, writing

Row = Mapping[str, Any]
Tables = Mapping[str, Sequence[Row]]
# Of the table that is empty where nothing stands beside the ducts.
_ROOM = ("duct", "beside", "distance_m", "required_m", "is_kept", "x_m", "y_m", "z_m")


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
        bold = book.add_format({"bold": True})
        for name, rows in tables.items():
            sheet = book.add_worksheet(name)
            for column, head in enumerate(_heads(name, rows)):
                sheet.write_string(0, column, head, bold)
                for line, row in enumerate(rows, 1):
                    value = row[head]
                    if value is None:
                        continue
                    if isinstance(value, bool):
                        sheet.write_boolean(line, column, value)
                    elif isinstance(value, (int, float)):
                        sheet.write_number(line, column, value)
                    else:  # never as a formula
                        sheet.write_string(line, column, str(value))
            sheet.autofit()
    with writing(path):
        path.write_bytes(content.getvalue())
