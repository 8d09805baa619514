"""A sheet as it is read: rows of cells, each with its text and what the file says it is."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Literal

CellKind = Literal["text", "number", "day", "formula", "error"]


class SheetFault(ValueError):
    """A file that is not read. The message is a sentence: what is wrong, and what to do."""


@dataclass(frozen=True, slots=True)
class Cell:
    """One cell: its text without spaces around it (a day as ISO 8601) and what the file says it is."""

    text: str
    kind: CellKind = "text"


NOTHING = Cell("")
DAY_ZERO = date(1899, 12, 30)
"""The day from which spreadsheets count days, unless a workbook says that it counts from 1904."""


@dataclass(frozen=True, slots=True)
class Sheet:
    """One sheet. `rows` maps the file's own row numbers, from 1, to cells; empty rows are left out.

    `note` says what was taken for granted in reading it, in a sentence, or is empty. `day_zero` is the day
    from which the file counts days, where a cell holds one as a bare number.
    """

    name: str
    rows: Mapping[int, tuple[Cell, ...]]
    note: str = ""
    day_zero: date = DAY_ZERO

    def cell(self, row: int, column: int) -> Cell:
        """A cell by row (from 1) and column (from 0); one beyond the row's end is empty."""
        cells = self.rows.get(row, ())
        return cells[column] if column < len(cells) else NOTHING

    @property
    def width(self) -> int:
        """How many columns there are."""
        return max((len(cells) for cells in self.rows.values()), default=0)


def column_name(column: int) -> str:
    """The letters of a column, counted from 0: `A`, `Z`, `AA`."""
    letters = ""
    column += 1
    while column:
        column, rest = divmod(column - 1, 26)
        letters = chr(ord("A") + rest) + letters
    return letters
