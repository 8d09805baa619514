"""Spreadsheets: real files, messy files, and files made to harm."""

from __future__ import annotations

import csv
import io
import zipfile
from datetime import date, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st
from openpyxl import Workbook, load_workbook

from people.sheets import xlsx
from thimble.exchange.sheets import LARGEST_FILE, SheetFault, read_sheets, write_csv, write_xlsx
from thimble.exchange.sheets import reading as limits
from thimble.exchange.sheets.model import column_name
from thimble.exchange.sheets.writing import guarded, unguarded


def texts(content: bytes) -> dict[int, list[str]]:
    (sheet,) = read_sheets(content)
    return {number: [cell.text for cell in cells] for number, cells in sheet.rows.items()}


@pytest.mark.parametrize("mark", [",", ";", "\t", "|"])
@pytest.mark.parametrize("code", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_csv_is_read_whatever_parts_its_cells_and_lines(mark: str, code: str, end: str) -> None:
    lines = [["Nummer", "Name"], ["00421", "Müller"], ["7", "Søren"]]
    content = end.join(mark.join(line) for line in lines).encode(code)
    assert texts(content) == {1: lines[0], 2: lines[1], 3: lines[2]}
    (sheet,) = read_sheets(content)
    assert bool(sheet.note) == (code == "cp1252")


def test_quoted_cells_hold_marks_and_line_ends_and_rows_have_the_numbers_of_their_lines() -> None:
    content = b'a,b\n"x, y","two\nlines"\n\n last ,"said ""so"""\n'
    assert texts(content) == {1: ["a", "b"], 2: ["x, y", "two lines"], 5: ["last", 'said "so"']}


def test_a_workbook_keeps_text_days_numbers_and_says_what_is_a_formula() -> None:
    content = xlsx(
        ["People of spring"],
        [],
        ["Number", "Name", "Born", "Start", "Sum", "EPP"],
        # A workbook knows no time zones.
        ["00421", "  Müller\xa0", date(1999, 2, 28), datetime(2026, 4, 1, 8), "=1+1", True],  # noqa: DTZ001
        [421, "Other", 36219, 4.5, "#N/A", None],
        merged="A1:F1",
    )
    (sheet,) = read_sheets(content)

    assert sorted(sheet.rows) == [1, 3, 4, 5]
    first = [(cell.text, cell.kind) for cell in sheet.rows[4]]
    assert first == [
        ("00421", "text"),
        ("Müller", "text"),
        ("1999-02-28", "day"),
        ("2026-04-01 08:00", "day"),
        ("formula", "formula"),
        ("yes", "text"),
    ]
    second = [(cell.text, cell.kind) for cell in sheet.rows[5]]
    assert second[:4] == [
        ("421", "number"),
        ("Other", "text"),
        ("36219", "number"),
        ("4.5", "number"),
    ]
    assert second[4][1] == "error"
    assert sheet.cell(5, 40).text == ""


def test_every_visible_sheet_with_anything_in_it_is_read() -> None:
    book = Workbook()
    assert book.active is not None
    book.active.title = "Empty"
    book.create_sheet("One").append(["a"])
    hidden = book.create_sheet("Hidden")
    hidden.append(["b"])
    hidden.sheet_state = "hidden"
    book.create_sheet("Two").append(["c"])
    out = io.BytesIO()
    book.save(out)
    assert [sheet.name for sheet in read_sheets(out.getvalue())] == ["One", "Two"]


def _repacked(change: dict[str, bytes], content: bytes | None = None) -> bytes:
    out = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(content or xlsx(["a"], ["b"]))) as old,
        zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new,
    ):
        for part in old.infolist():
            if part.filename not in change:
                new.writestr(part, old.read(part))
        for name, data in change.items():
            new.writestr(name, data)
    return out.getvalue()


def _encrypted_zip() -> bytes:
    content = bytearray(_repacked({}))
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        where = archive.start_dir
    content[where + 8] |= 1
    return bytes(content)


BILLION = b"""<?xml version="1.0"?><!DOCTYPE x [<!ENTITY a "aaaaaaaaaa">
<!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;">]><worksheet>&b;</worksheet>"""


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"", "is empty"),
        (b"\0\0 \n", "is empty"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\0" * 600, "old XLS workbook, or has a password"),
        (b"PK\x03\x04 and then nothing", "is damaged"),
        (xlsx(["a"])[:900], "is damaged"),
        (_encrypted_zip(), "has a password"),
        (_repacked({"xl/worksheets/sheet1.xml": BILLION}), "XML that no spreadsheet writes"),
        (
            _repacked({"xl/worksheets/sheet1.xml": BILLION.decode().encode("utf-16")}),
            "XML that no spreadsheet writes",
        ),
        (_repacked({"xl/worksheets/sheet1.dat": BILLION}), "XML that no spreadsheet writes"),
        (_repacked({"xl/worksheets/sheet1.xml": b"<not closed"}), "is damaged"),
        (_repacked({"[Content_Types].xml": b"<x/>"}), "is damaged"),
        (_repacked({"big.bin": b"\0" * (limits.LARGEST_UNPACKED + 1)}), "far more than a list"),
        (_repacked({f"part{n}": b"" for n in range(limits.MOST_PARTS)}), "far more than a list"),
        (b"a" * (LARGEST_FILE + 1), "larger than 5 MB"),
        (b"\x7fELF\x02\x01\x01\0" + b"\0x" * 99, "bytes that no text has"),
        (b'a,b\n"never closed,1\n', "quotation mark that is not closed"),
        (b"," * 40 + b"\n" + b",,,\n", "no cell with anything"),
        (xlsx([]), "no cell with anything"),
        (b"x," * (limits.MOST_COLUMNS + 1) + b"y\n", "more than 60 columns"),
        (b"x" * (limits.LONGEST_CELL + 1), "more than 2000 characters"),
        (b"x\n" * (limits.MOST_ROWS + 1), "more than 20,000 rows"),
    ],
)  # fmt: skip
def test_a_file_that_cannot_be_read_or_could_harm_is_refused_in_a_sentence(
    content: bytes, says: str
) -> None:
    with pytest.raises(SheetFault, match=says):
        read_sheets(content)


def test_the_limits_themselves_are_still_inside() -> None:
    assert len(texts(b"x\n" * limits.MOST_ROWS)) == limits.MOST_ROWS
    wide = b",".join([b"x"] * limits.MOST_COLUMNS) + b"\n" + b",".join([b"y"] * limits.MOST_COLUMNS)
    assert len(texts(wide)[1]) == limits.MOST_COLUMNS
    assert texts(b"x" * limits.LONGEST_CELL)[1] == ["x" * limits.LONGEST_CELL]


def test_formats_down_to_the_last_row_there_is_do_not_make_a_sheet_long() -> None:
    sheet = b"""<?xml version="1.0"?><worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main">
<dimension ref="A1:B2"/><sheetData><row r="1"><c r="A1"><v>7</v></c></row>
<row r="900"><c r="A900"><v>8</v></c></row><row r="1048576"><c r="A1048576"><v>9</v></c></row>
</sheetData></worksheet>"""
    assert texts(_repacked({"xl/worksheets/sheet1.xml": sheet})) == {1: ["7"], 900: ["8"]}


@given(st.binary(max_size=400))
def test_no_bytes_break_the_reader(content: bytes) -> None:
    told = []
    for sent in (content, b"PK\x03\x04" + content):
        try:
            told += [
                cell.text for s in read_sheets(sent) for row in s.rows.values() for cell in row
            ]
        except SheetFault as fault:
            told.append(str(fault))
    assert told
    assert "\0" not in "".join(told)


DANGEROUS = ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1", "=cmd|' /C calc'!A0", " =1", "'=1"]


@pytest.mark.parametrize("text", DANGEROUS)
def test_what_would_run_in_a_spreadsheet_is_written_as_text(text: str) -> None:
    written = write_csv(["name"], [[text]]).decode("utf-8-sig")
    cell = list(csv.reader(io.StringIO(written, newline="")))[1][0]
    assert cell == f"'{text}"
    assert unguarded(cell) == text

    if text.isprintable():
        book = load_workbook(io.BytesIO(write_xlsx("People", ["name"], [[text]])))
        found = book["People"]["A2"]
        assert (found.data_type, found.value) == ("s", text)


@pytest.mark.parametrize("text", ["Foo;=cmd|'/C calc'!A0;bar", "a; +1", ";-1", "a;'=1;@x", "=1;=2"])
def test_what_would_run_where_a_semicolon_parts_cells_is_written_as_text(text: str) -> None:
    written = write_csv(["number", "name"], [["1", text]]).decode("utf-8-sig")
    for row in csv.reader(io.StringIO(written, newline=""), delimiter=";"):
        assert not any(cell.strip().startswith(("=", "+", "-", "@")) for cell in row)
    (cell,) = [row[1] for row in csv.reader(io.StringIO(written, newline="")) if row[0] == "1"]
    assert unguarded(cell) == text
    assert guarded("Ward 3; East") == "Ward 3; East"


@given(st.text(max_size=20) | st.text(alphabet="ab;'=+ -", max_size=12))
def test_a_guard_is_taken_away_again_and_nothing_else(text: str) -> None:
    assert unguarded(guarded(text)) == text
    assert not guarded(text).startswith(("=", "+", "-", "@", "\t", "\r", "\n", "\0"))


def test_what_was_written_is_read_back() -> None:
    header, rows = ["Number", "Name"], [["00421", "Müller, Änne"], ["7", 'said "so"']]
    for content in (write_csv(header, rows), write_xlsx("People", header, rows)):
        assert texts(content) == {1: header, 2: rows[0], 3: rows[1]}


def test_a_workbook_has_as_many_columns_as_it_needs() -> None:
    header = [f"Disease {n}" for n in range(40)]
    assert texts(write_xlsx("People", header, [["x"] * 40])) == {1: header, 2: ["x"] * 40}


@pytest.mark.parametrize(
    ("column", "name"), [(0, "A"), (25, "Z"), (26, "AA"), (701, "ZZ"), (702, "AAA")]
)
def test_columns_have_the_letters_of_spreadsheets(column: int, name: str) -> None:
    assert column_name(column) == name
