"""Spreadsheets: CSV and XLSX read as rows of plain cells, and written so that nothing in them runs."""

from thimble.exchange.sheets.model import Cell, Sheet, SheetFault
from thimble.exchange.sheets.reading import LARGEST_FILE, read_sheets
from thimble.exchange.sheets.writing import write_csv, write_xlsx

__all__ = ["LARGEST_FILE", "Cell", "Sheet", "SheetFault", "read_sheets", "write_csv", "write_xlsx"]
