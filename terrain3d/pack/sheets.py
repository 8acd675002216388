"""Tables as a workbook (XLSX) and as comma-separated text: numbers as numbers, names never as formulas."""

import csv
import datetime
import io
from typing import Any

from terrain3d.caution import CAUTION
from terrain3d.pack.tables import Cell, Table

#: What begins a formula in a spreadsheet that opens a text file.
_FORMULA = ("=", "+", "-", "@")
#: A day that stands for all: a workbook has to name one.
_NO_DAY = datetime.datetime(1980, 1, 1)
#: Width of a column, letters.
_LEAST_WIDTH, _MOST_WIDTH = 8, 60


def xlsx_bytes(title: str, tables: tuple[Table, ...]) -> bytes:
    """The bytes of a workbook, a sheet for each table after one that says what they are.

    Parameters
    ----------
    title : str
    tables : tuple of Table
    """
    import xlsxwriter

    stream = io.BytesIO()
    as_they_are = {"strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}
    book: Any = xlsxwriter.Workbook(stream, {"in_memory": True, **as_they_are})
    book.set_properties({"title": title, "comments": CAUTION, "created": _NO_DAY})
    bold, share = book.add_format({"bold": True}), book.add_format({"num_format": "0.0%"})
    wrapped = book.add_format({"text_wrap": True, "valign": "top"})
    about = book.add_worksheet("about")
    about.set_column(0, 0, 20)
    about.set_column(1, 1, 90)
    about.write_string(0, 0, title, bold)
    for row, table in enumerate(tables, 2):
        about.write_string(row, 0, table.name, bold)
        about.write_string(row, 1, table.about)
    about.write_string(len(tables) + 3, 0, "caution", bold)
    about.write_string(len(tables) + 3, 1, CAUTION, wrapped)
    for table in tables:
        sheet = book.add_worksheet(table.name)
        sheet.freeze_panes(1, 0)
        sheet.autofilter(0, 0, len(table.rows), len(table.headers) - 1)
        for column, header in enumerate(table.headers):
            sheet.write_string(0, column, header, bold)
            widest = max(len(_shown(value)) for value in (header, *(row[column] for row in table.rows)))
            sheet.set_column(column, column, min(max(widest + 1, _LEAST_WIDTH), _MOST_WIDTH))
        for place, values in enumerate(table.rows, 1):
            for column, value in enumerate(values):
                if isinstance(value, str):
                    sheet.write_string(place, column, value)
                elif value is not None:
                    sheet.write_number(place, column, value, share if column in table.shares else None)
    book.close()
    return stream.getvalue()


def csv_bytes(table: Table) -> bytes:
    """A table as comma-separated text (RFC 4180), UTF-8 with the mark by which spreadsheets know it.

    A name that would be taken for a formula gets an apostrophe before it.

    >>> table = Table("units", "", ("unit", "tilt (degrees)"), (("=1+1", -9.5), ("pole, north", None)))
    >>> csv_bytes(table).decode("utf-8-sig").splitlines()
    ['unit,tilt (degrees)', "'=1+1,-9.5", '"pole, north",']
    """
    stream = io.StringIO(newline="")
    rows = csv.writer(stream)
    rows.writerow([_safe(header) for header in table.headers])
    rows.writerows([_safe(value) for value in row] for row in table.rows)
    return stream.getvalue().encode("utf-8-sig")


def _safe(value: Cell) -> Cell:
    return f"'{value}" if isinstance(value, str) and value.startswith(_FORMULA) else value


def _shown(value: Cell) -> str:
    return "" if value is None else f"{value:.6g}" if isinstance(value, float) else str(value)
