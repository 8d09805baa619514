"""Windows as bars, visits as marks, today as a line.

Places across are shares of the width and heights are pixels, so that the words keep their size on a
phone. No style of its own: colours come from the classes of `visits.css`. Everything in the picture is
said in words beside it.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, timedelta
from html import escape

from thimble.clinical.saying import calendar_day, month_name
from thimble.clinical.visits import DayWindow, VisitPlan

HEAD, ROW, FOOT = 44, 40, 22
"""Heights: the days of the visits, one item, the months."""

NEAR = 13.0
"""Two marks nearer than this share of the width, in per cent, are named on two lines."""


class _Scale:
    """Days to shares of the width, in per cent; what lies outside stands at the edge."""

    def __init__(self, first: date, last: date) -> None:
        self.first, self.span = first, max(1, (last - first).days)

    def x(self, day: date) -> float:
        share = (day - self.first).days / self.span
        return round(2 + 96 * min(1.0, max(0.0, share)), 2)


def picture(
    planned: VisitPlan, windows: Mapping[str, DayWindow], names: Mapping[str, str], today: date
) -> str:
    """The drawing as markup; "" where there is no window to draw."""
    if not windows:
        return ""
    ends = [today, *(visit.day for visit in planned.visits)]
    ends += [d for w in windows.values() for d in (w.earliest, w.target, w.latest) if d is not None]
    scale = _Scale(today, max(ends) + timedelta(days=7))
    height = HEAD + ROW * len(windows) + FOOT
    said = escape(
        f"{len(windows)} windows and {len(planned.visits)} visits between "
        f"{calendar_day(today)} and {calendar_day(max(ends))}; in words beside it"
    )
    parts = [
        f'<svg class="windows" width="100%" height="{height}" role="img" aria-label="{said}">',
        *_months(scale, today, max(ends), height),
        *_marks(scale, planned, height),
        f'<line class="today" x1="{scale.x(today)}%" x2="{scale.x(today)}%" y1="0" y2="{height - FOOT}"/>',
    ]
    held = planned.held
    for row, (id_, window) in enumerate(_in_order(windows)):
        parts += _row(scale, HEAD + ROW * row, names.get(id_, id_), window, held.get(id_))
    return "".join([*parts, "</svg>"])


def _in_order(windows: Mapping[str, DayWindow]) -> list[tuple[str, DayWindow]]:
    far = date.max
    return sorted(
        windows.items(), key=lambda each: (each[1].latest or each[1].target or far, each[0])
    )


def _row(scale: _Scale, top: int, name: str, window: DayWindow, held: date | None) -> list[str]:
    start = 2.0 if window.earliest is None else scale.x(window.earliest)
    open_end = window.latest is None
    end = 100.0 if window.latest is None else scale.x(window.latest)
    y = top + 24
    # A name that would run out of the picture ends where its bar does.
    anchor, at = ("end", max(end, 60.0)) if start > 55 else ("start", start)
    parts = [
        f'<text class="what" x="{min(at, 98.0)}%" y="{top + 16}" text-anchor="{anchor}">'
        f"{escape(name)}</text>",
        f'<rect class="bar{" bar--open" if open_end else ""}" x="{start}%" y="{y}" '
        f'width="{max(0.6, round(end - start, 2))}%" height="8"/>',
    ]
    if window.target is not None:
        x = scale.x(window.target)
        parts.append(f'<line class="target" x1="{x}%" x2="{x}%" y1="{y - 3}" y2="{y + 11}"/>')
    if held is not None:
        parts.append(f'<circle class="held" cx="{scale.x(held)}%" cy="{y + 4}" r="6"/>')
    return parts


def _marks(scale: _Scale, planned: VisitPlan, height: int) -> list[str]:
    parts: list[str] = []
    before, low = -100.0, False
    for visit in planned.visits:
        x = scale.x(visit.day)
        low = x - before < NEAR and not low
        before = x
        anchor = "start" if x < 10 else "end" if x > 90 else "middle"
        words = f"{visit.day.day} {month_name(visit.day.month)}"
        parts += [
            f'<line class="visit" x1="{x}%" x2="{x}%" y1="{34 if low else 18}" y2="{height - FOOT}"/>',
            f'<text class="day" x="{x}%" y="{30 if low else 14}" text-anchor="{anchor}">{words}</text>',
        ]
    return parts


def _months(scale: _Scale, first: date, last: date, height: int) -> list[str]:
    parts = []
    day = date(first.year + first.month // 12, first.month % 12 + 1, 1)
    while day <= last + timedelta(days=7):
        x = scale.x(day)
        parts += [
            f'<line class="month" x1="{x}%" x2="{x}%" y1="{HEAD}" y2="{height - FOOT}"/>',
            f'<text class="month-name" x="{x}%" y="{height - 6}">{month_name(day.month)}</text>',
        ]
        day = date(day.year + day.month // 12, day.month % 12 + 1, 1)
    return parts
