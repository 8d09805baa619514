"""Rows of text to CSV and XLSX, so that no cell runs as a formula where the file is opened.

A spreadsheet takes a cell that begins with `=`, `+`, `-`, `@`, a tab or a line's end for a formula, quoted
or not (CWE-1236). In CSV such a cell gets an apostrophe before it, which `unguarded` takes away again when
the file comes back; in XLSX it is marked as text. Where the list separator is a semicolon, a spreadsheet
also begins a cell within a text that holds one: what stands there is guarded in the same way.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Sequence

from openpyxl import Workbook
from openpyxl.cell import WriteOnlyCell

from thimble.exchange.sheets.model import column_name

_RUNS = ("=", "+", "-", "@", "\t", "\r", "\n", "\0")
_WITHIN = re.compile(r"(;\s*)('*)(?=[=+\-@\t\r\n\0])")
_WIDEST = 40


def guarded(text: str) -> str:
    """A cell that no spreadsheet runs.

    >>> guarded("=1+1"), guarded("Ashgrove"), guarded("'quoted")
    ("'=1+1", 'Ashgrove', "'quoted")
    """
    text = _WITHIN.sub(r"\1\2'", text)
    return f"'{text}" if text.lstrip(" '").startswith(_RUNS) or text.startswith(_RUNS) else text


def unguarded(text: str) -> str:
    """What `guarded` was given."""
    plain = _WITHIN.sub(lambda found: found[1] + found[2][1:], text)
    if text.startswith("'") and guarded(plain[1:]) == text:
        return plain[1:]
    return plain if guarded(plain) == text else text


def write_csv(header: Sequence[str], rows: Sequence[Sequence[str]]) -> bytes:
    """UTF-8 with a mark for spreadsheets, commas, CRLF (RFC 4180)."""
    out = io.StringIO(newline="")
    writer = csv.writer(out)
    writer.writerow(header)
    writer.writerows([[guarded(text) for text in row] for row in rows])
    return out.getvalue().encode("utf-8-sig")


def write_xlsx(title: str, header: Sequence[str], rows: Sequence[Sequence[str]]) -> bytes:
    """A workbook of one sheet with a header that stays in view. Every cell is text."""
    book = Workbook(write_only=True)
    sheet = book.create_sheet(title)
    sheet.freeze_panes = "A2"
    for at, name in enumerate(header):
        widest = max([len(name), *(len(row[at]) for row in rows[:200])])
        sheet.column_dimensions[column_name(at)].width = min(widest + 2, _WIDEST)
    for row in (header, *rows):
        cells = []
        for text in row:
            cell = WriteOnlyCell(sheet, value=text)
            # openpyxl takes a text that begins with = for a formula unless it is told.
            cell.data_type = "s"
            cells.append(cell)
        sheet.append(cells)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()
