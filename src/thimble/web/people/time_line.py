"""Evidence on a time line: a row for each disease, a mark for each dose and result, today as a line.

What is known to the month or year is a bar as long as it may have been. Everything in the picture stands in
the list below it; colours come from `people.css`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from html import escape

from thimble.clinical.saying import inside

WIDTH = 720
"""Of the drawing, in its own units; it scales with the page."""
_LEFT, _RIGHT, _TOP, _ROW = 12, 12, 26, 46
_YEARS = 7
"""At most so many years are written; between them the line is enough."""


@dataclass(frozen=True, slots=True)
class Mark:
    """One piece of evidence: the first and last day that it can have been, and whether it is a dose, a
    result or something else."""

    first: date
    last: date
    kind: str


def time_line(rows: Sequence[tuple[str, Sequence[Mark]]], today: date) -> str:
    """The drawing as markup; "" where nothing has a date.

    Args:
        rows: what each is about, in the order of the list, with its marks.
    """
    rows = [(name, marks) for name, marks in rows if marks]
    if not rows:
        return ""
    begin = date(min(mark.first for _, marks in rows for mark in marks).year, 1, 1)
    end = date(today.year + 1, 1, 1)
    height = _TOP + _ROW * len(rows) + 6
    span = (end - begin).days

    def x(day: date) -> float:
        share = (min(day, end) - begin).days / span
        return round(_LEFT + (WIDTH - _LEFT - _RIGHT) * share, 1)

    parts = [
        f'<svg class="time-line" viewBox="0 0 {WIDTH} {height}" role="img" '
        f'aria-label="{escape(_said(rows))}">'
    ]
    step = -(-(end.year - begin.year) // _YEARS)
    for year in range(begin.year, end.year, step):
        at = x(date(year, 1, 1))
        parts.append(
            f'<line class="rule" x1="{at}" x2="{at}" y1="{_TOP - 6}" y2="{height}"/>'
            f'<text class="year" x="{at + 3}" y="{_TOP - 10}">{year}</text>'
        )
    parts.append(
        f'<line class="now" x1="{x(today)}" x2="{x(today)}" y1="{_TOP - 6}" y2="{height}"/>'
    )
    for number, (name, marks) in enumerate(rows):
        top = _TOP + _ROW * number
        base = top + 34
        parts.append(f'<text x="{_LEFT + 4}" y="{top + 17}">{escape(name)}</text>')
        parts.append(
            f'<line class="rule" x1="{_LEFT}" x2="{WIDTH - _RIGHT}" y1="{base}" y2="{base}"/>'
        )
        parts += [_drawn(mark, x(mark.first), x(mark.last), base) for mark in marks]
    return "".join([*parts, "</svg>"])


def _drawn(mark: Mark, first: float, last: float, base: int) -> str:
    bar = ""
    if last > first:
        bar = f'<line class="span" x1="{first}" x2="{last}" y1="{base}" y2="{base}"/>'
    at = round((first + last) / 2, 1)
    if mark.kind == "dose":
        return f'{bar}<circle class="dose" cx="{at}" cy="{base}" r="6"/>'
    if mark.kind == "result":
        return f'{bar}<rect class="result" x="{at - 5.5}" y="{base - 5.5}" width="11" height="11"/>'
    return (
        f'{bar}<path class="other" d="M{at - 6} {base + 6}L{at} {base - 6}L{at + 6} {base + 6}Z"/>'
    )


def _said(rows: Sequence[tuple[str, Sequence[Mark]]]) -> str:
    told = []
    for name, marks in rows:
        years = (min(m.first.year for m in marks), max(m.last.year for m in marks))
        when = str(years[0]) if years[0] == years[1] else f"{years[0]} to {years[1]}"
        told.append(f"{inside(name)}: {len(marks)}, {when}")
    return f"Evidence on a time line. {'; '.join(told)}. The list below holds the same."
