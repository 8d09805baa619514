"""Sheets of labels as a site buys them, and how a label names somebody."""

from __future__ import annotations

from dataclasses import dataclass

from thimble.clinical.settings import Settings

A4_MM = (210, 297)
"""Width and height of a sheet (ISO 216)."""

NARROWEST_MM, LOWEST_MM = 45, 21
"""A label on which the barcode can be read, with two lines of text below it."""

NAMES = ("initials", "full", "none")
"""How a label names somebody, beside the birth date."""


@dataclass(frozen=True, slots=True)
class Labels:
    """Labels side by side on A4, in millimetres."""

    columns: int = 3
    rows: int = 8
    width_mm: float = 70
    height_mm: float = 37
    top_mm: float = 0
    left_mm: float = 0
    name: str = "initials"

    @property
    def on_a_sheet(self) -> int:
        """How many there are."""
        return self.columns * self.rows


def read_labels(read: Settings) -> Labels:
    """`labels` of a site's settings; faults are noted on `read`."""
    if not read.has("labels"):
        read.allow("labels")
        return Labels()
    table = read.table("labels")
    if table is None:
        return Labels()
    plain = Labels()
    found = Labels(
        columns=int(_number(table, "columns", plain.columns, 1, 4, whole=True)),
        rows=int(_number(table, "rows", plain.rows, 1, 18, whole=True)),
        width_mm=_number(table, "width_mm", plain.width_mm, NARROWEST_MM, A4_MM[0]),
        height_mm=_number(table, "height_mm", plain.height_mm, LOWEST_MM, A4_MM[1]),
        top_mm=_number(table, "top_mm", plain.top_mm, 0, 60),
        left_mm=_number(table, "left_mm", plain.left_mm, 0, 60),
        name=_name(table),
    )
    for key, edge, size in (
        ("width_mm", A4_MM[0], found.left_mm + found.columns * found.width_mm),
        ("height_mm", A4_MM[1], found.top_mm + found.rows * found.height_mm),
    ):
        if size > edge:
            table.fault(key, f"makes the labels end at {size:g} mm; the sheet ends at {edge} mm")
    table.refuse_the_rest()
    return found


def _number(
    table: Settings, key: str, plain: float, least: float, most: float, *, whole: bool = False
) -> float:
    if not table.has(key):
        table.allow(key)
        return plain
    found = table.take(key)
    kinds = (int,) if whole else (int, float)
    if isinstance(found, kinds) and not isinstance(found, bool) and least <= found <= most:
        return found
    table.fault(key, f"is a number from {least:g} to {most:g}; found {found!r}")
    return plain


def _name(table: Settings) -> str:
    if not table.has("name"):
        table.allow("name")
        return Labels().name
    found = table.take("name")
    if found in NAMES:
        return str(found)
    table.fault("name", f"is one of {', '.join(NAMES)}; found {found!r}")
    return Labels().name
