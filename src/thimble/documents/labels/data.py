"""What is on a sheet of labels, and where each bar stands."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from itertools import groupby
from typing import Any

from barcode.codex import Code128

from thimble.clinical.labels import Labels
from thimble.clinical.saying import month_name

QUIET = 10
"""Modules that stay white before and after the bars (ISO/IEC 15417, memory)."""

WIDEST_MM = 0.33
"""Of one module: wider bars are no easier to read and need more room."""

INSET_MM = 2.0
"""What stays free at each edge, as sheets go through a printer a little askew."""


@dataclass(frozen=True, slots=True)
class Label:
    """One label: the code that is scanned, and what stands below it for people."""

    code: str
    name: str
    born: date | None
    note: str


def label_sheets(
    labels: Sequence[Label], settings: Labels, *, first: int, invented: bool
) -> dict[str, Any]:
    """The data of the template: sheets of labels, each with its bars.

    Args:
        first: where on the first sheet to begin, from 1, as sheets are used up one label at a time.

    Raises:
        ValueError: there are no labels, or `first` is not on a sheet.
    """
    count = settings.on_a_sheet
    if not labels or not 1 <= first <= count:
        raise ValueError(f"labels begin at 1 to {count} and there is at least one; found {first}")
    places: list[dict[str, Any] | None] = [None] * (first - 1)
    places += [_drawn(label, settings) for label in labels]
    sheets = [places[start : start + count] for start in range(0, len(places), count)]
    return {
        "title": "Labels",
        "columns": settings.columns,
        "width": settings.width_mm,
        "height": settings.height_mm,
        "top": settings.top_mm,
        "left": settings.left_mm,
        "inset": INSET_MM,
        "invented": invented,
        "sheets": sheets,
    }


def _drawn(label: Label, settings: Labels) -> dict[str, Any]:
    runs, modules = bars(label.code)
    module = min(WIDEST_MM, (settings.width_mm - 2 * INSET_MM) / (modules + 2 * QUIET))
    born = ""
    if label.born is not None:
        born = f"born {label.born.day} {month_name(label.born.month)} {label.born.year}"
    return {
        "code": label.code,
        "name": label.name,
        "born": born,
        "note": label.note,
        "bars": [[round(at * module, 4), round(wide * module, 4)] for at, wide in runs],
        "bars_width": round(modules * module, 4),
    }


def bars(code: str) -> tuple[list[tuple[int, int]], int]:
    """Code 128 of a text: where each bar begins and how wide it is, in modules; and how many there are."""
    (modules,) = Code128(code).build()
    found: list[tuple[int, int]] = []
    at = 0
    for dark, group in groupby(modules):
        wide = len(list(group))
        if dark == "1":
            found.append((at, wide))
        at += wide
    return found, at


def initials(given: str, family: str) -> str:
    """`I. B.`; of a name kept whole the first letter of each word.

    >>> initials("Inés María", "Brindle")
    'I. B.'
    """
    parts = (
        [given.split()[:1], family.split()[:1]] if given and family else [(given or family).split()]
    )
    return " ".join(f"{word[0].upper()}." for part in parts for word in part)
