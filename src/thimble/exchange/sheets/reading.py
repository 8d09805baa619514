"""CSV and XLSX bytes to sheets. Whatever could be meant to harm or cannot be read is refused.

A file's type is told by its content. Limits are checked before anything is unpacked: how large the file
is, how large it says it becomes, how many rows, columns and characters a sheet has. XML with a document
type is refused, since entities could grow without end. Formulas are never computed and never taken for
their last value: each such cell says that it is one.
"""

from __future__ import annotations

import csv
import io
import zipfile
from collections.abc import Iterable, Iterator
from datetime import date, datetime, time
from typing import Any

from openpyxl import load_workbook

from thimble.exchange.sheets.model import Cell, Sheet, SheetFault

LARGEST_FILE = 5 * 1024 * 1024
"""Bytes of a file as it is sent."""
LARGEST_UNPACKED = 80 * 1024 * 1024
"""Bytes of a workbook unpacked."""
MOST_PARTS, MOST_ROWS, MOST_COLUMNS, LONGEST_CELL = 500, 20_000, 60, 2_000
EMPTY_ROWS = 1_000
"""After so many empty rows a sheet is taken to end: formats often reach to the last row there is."""

_ZIP, _OLE = b"PK\x03\x04", b"\xd0\xcf\x11\xe0"
_FULL_WIDTH = {0xFF01 + at: 0x21 + at for at in range(94)}
_DOCTYPE = tuple("<!DOCTYPE".encode(code) for code in ("utf-8", "utf-16-le", "utf-16-be"))


def read_sheets(content: bytes) -> list[Sheet]:
    """Every sheet of a file that holds anything.

    Raises:
        SheetFault: the file is too large, is no CSV or XLSX, is locked, or could be meant to harm.
    """
    if not content.strip(b"\0 \r\n\t"):
        raise SheetFault("The file is empty.")
    if len(content) > LARGEST_FILE:
        raise SheetFault(
            f"The file is larger than {LARGEST_FILE // 2**20} MB. Send it in parts, or without pictures."
        )
    if content.startswith(_OLE):
        raise SheetFault(
            "The file is an old XLS workbook, or has a password. Save it as XLSX without a password."
        )
    found = _workbook(content) if content.startswith(_ZIP) else [_csv(content)]
    sheets = [sheet for sheet in found if sheet.rows]
    if not sheets:
        raise SheetFault("The file holds no cell with anything in it.")
    return sheets


# --- CSV ------------------------------------------------------------------------------------------


def _csv(content: bytes) -> Sheet:
    text, note = _decoded(content)
    if "\0" in text:
        raise SheetFault("The file is neither CSV nor XLSX: it holds bytes that no text has.")
    delimiter = _delimiter(text)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    try:
        rows = _kept((number, _texts(row)) for number, row in _numbered(reader))
    except csv.Error as error:
        raise SheetFault(
            f"Line {reader.line_num} of the file cannot be read as CSV ({error}). Look for a quotation "
            "mark that is not closed."
        ) from error
    return Sheet("", rows, note)


def _numbered(reader: Any) -> Iterator[tuple[int, list[str]]]:
    """Rows by the line of the file on which each begins: that is what an editor shows."""
    begins = 1
    for row in reader:
        yield begins, row
        begins = reader.line_num + 1


def _texts(row: Iterable[str]) -> list[Cell]:
    return [Cell(_text(part)) for part in row]


def _decoded(content: bytes) -> tuple[str, str]:
    try:
        if content.startswith((b"\xff\xfe", b"\xfe\xff")):
            return content.decode("utf-16"), ""
        return content.decode("utf-8-sig"), ""
    except UnicodeDecodeError:
        pass
    # Any bytes are some text in this encoding: only whoever knows the names can tell whether it is.
    text = content.decode("cp1252", errors="replace")
    return (
        text,
        "The file is not UTF-8; it was read as Windows-1252. Look at the accents in the names.",
    )


def _delimiter(text: str) -> str:
    """The mark that parts the most lines into the most equal numbers of cells."""
    lines = [line for line in text.splitlines()[:50] if line.strip()]

    def fit(mark: str) -> tuple[int, int]:
        counts = [line.count(mark) for line in lines]
        usual = max(set(counts), key=lambda n: (counts.count(n) if n else 0, n), default=0)
        return (counts.count(usual) if usual else 0, usual)

    return max(";,\t|", key=fit) if lines else ","


# --- XLSX -----------------------------------------------------------------------------------------


def _workbook(content: bytes) -> list[Sheet]:
    _refuse_harm(content)
    try:
        book = load_workbook(io.BytesIO(content), read_only=True, data_only=False, keep_links=False)
    except Exception as error:
        # openpyxl answers a damaged workbook with whatever went wrong inside.
        raise SheetFault("The workbook is damaged. Open it, save it anew and send that.") from error
    try:
        return [
            Sheet(sheet.title, _kept(_rows_of(sheet)), day_zero=book.epoch.date())
            for sheet in book.worksheets
            if sheet.sheet_state == "visible"
        ]
    except SheetFault:
        raise
    except Exception as error:
        raise SheetFault("The workbook is damaged. Open it, save it anew and send that.") from error
    finally:
        book.close()


def _refuse_harm(content: bytes) -> None:
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            parts = archive.infolist()
            # What a part says of its size also bounds what is read of it.
            if len(parts) > MOST_PARTS or sum(part.file_size for part in parts) > LARGEST_UNPACKED:
                raise SheetFault(
                    "The workbook unpacks to far more than a list of people. It was not opened."
                )
            if any(part.flag_bits & 1 for part in parts):
                raise SheetFault("The workbook has a password. Save it without one.")
            # A part is XML by what points to it, whatever its name ends with.
            for part in parts:
                text = archive.read(part)
                if any(mark in text for mark in _DOCTYPE):
                    raise SheetFault(
                        "The workbook holds XML that no spreadsheet writes. It was not opened."
                    )
    except (zipfile.BadZipFile, NotImplementedError, RuntimeError, EOFError, OSError) as error:
        raise SheetFault("The workbook is damaged. Open it, save it anew and send that.") from error


def _rows_of(sheet: Any) -> Iterator[tuple[int, list[Cell]]]:
    # What a file says of its own extent is often wrong, and could be meant to be.
    sheet.reset_dimensions()
    for number, row in enumerate(sheet.iter_rows(), start=1):
        yield number, [_cell(cell) for cell in row]


def _cell(cell: Any) -> Cell:
    value = cell.value
    if value is None:
        return Cell("")
    kind = cell.data_type
    if kind == "f":
        return Cell("formula", "formula")
    if kind == "e":
        return Cell(_text(str(value)), "error")
    if isinstance(value, datetime):
        day = value.date().isoformat()
        return Cell(day if value.time() == time(0) else f"{day} {value:%H:%M}", "day")
    if isinstance(value, date):
        return Cell(value.isoformat(), "day")
    if isinstance(value, bool):
        return Cell("yes" if value else "no")
    if isinstance(value, int | float):
        whole = isinstance(value, int) or value.is_integer()
        return Cell(str(int(value)) if whole and abs(value) < 1e15 else repr(value), "number")
    return Cell(_text(str(value)))


# --- both -----------------------------------------------------------------------------------------


def _text(text: str) -> str:
    """Without control characters, and without spaces around it, the unbreakable ones included. Full-width
    forms, as East Asian keyboards write them, become the plain letters and digits that they stand for."""
    if not text.isascii():
        text = text.translate(_FULL_WIDTH)
    plain = "".join(
        " " if c in "\r\n\t\xa0\u202f\u2007" else c
        for c in text
        if (c >= " " and c not in "\x7f\ufeff\u200b") or c in "\r\n\t"
    )
    return " ".join(plain.split())


def _kept(rows: Iterable[tuple[int, list[Cell]]]) -> dict[int, tuple[Cell, ...]]:
    kept: dict[int, tuple[Cell, ...]] = {}
    last = 0
    for number, cells in rows:
        while cells and not cells[-1].text:
            cells.pop()
        if not cells:
            if number - last > EMPTY_ROWS:
                break
            continue
        last = number
        if len(cells) > MOST_COLUMNS:
            raise SheetFault(f"Row {number} has more than {MOST_COLUMNS} columns.")
        long = next((i for i, cell in enumerate(cells) if len(cell.text) > LONGEST_CELL), None)
        if long is not None:
            raise SheetFault(f"A cell of row {number} holds more than {LONGEST_CELL} characters.")
        kept[number] = tuple(cells)
        if len(kept) > MOST_ROWS:
            raise SheetFault(f"The sheet has more than {MOST_ROWS:,} rows. Send it in parts.")
    return kept
