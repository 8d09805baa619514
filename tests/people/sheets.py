"""Spreadsheets for tests, made with the library that people's programs use."""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import Any

from openpyxl import Workbook
from openpyxl.utils.datetime import MAC_EPOCH


def xlsx(
    *rows: Sequence[Any], merged: str = "", title: str = "People", from_1904: bool = False
) -> bytes:
    """A workbook of one sheet; `from_1904` counts its days as some old programs do."""
    book = Workbook()
    if from_1904:
        book.epoch = MAC_EPOCH
    sheet = book.active
    assert sheet is not None
    sheet.title = title
    for row in rows:
        sheet.append(list(row))
    if merged:
        sheet.merge_cells(merged)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()
