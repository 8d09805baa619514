"""Tables as files for a spreadsheet."""

from __future__ import annotations

from collections.abc import Sequence

from django.http import HttpResponse

from thimble.exchange.sheets import write_csv, write_xlsx

CSV = "text/csv; charset=utf-8; header=present"
XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


def csv_file(name: str, header: Sequence[str], rows: Sequence[Sequence[str]]) -> HttpResponse:
    """A table as CSV, that no spreadsheet runs anything of."""
    return _file(write_csv(header, rows), CSV, f"{name}.csv")


def xlsx_file(name: str, header: Sequence[str], rows: Sequence[Sequence[str]]) -> HttpResponse:
    """A table as a workbook; every cell is text."""
    return _file(write_xlsx(name.capitalize(), header, rows), XLSX, f"{name}.xlsx")


def _file(content: bytes, kind: str, name: str) -> HttpResponse:
    response = HttpResponse(content, content_type=kind)
    response.headers["Content-Disposition"] = f'attachment; filename="{name}"'
    return response
