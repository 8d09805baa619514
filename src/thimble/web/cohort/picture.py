"""Readiness by week as bars: what is on record full, what is projected hatched, today and the first day
as lines. Everything in the picture stands in the table beside it; colours come from `cohort.css`."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import date, timedelta
from html import escape

from thimble.clinical.saying import calendar_day, month_name
from thimble.people.readiness.cohorts import WEEK, Week, monday

WIDTH, HEIGHT = 720, 230
"""Of the drawing, in its own units; it scales with the page."""

_LEFT, _RIGHT, _TOP, _FOOT = 34, 8, 26, 26


def picture(
    weeks: Sequence[Week],
    everybody: int,
    today: date,
    first_day: date | None,
    called: str = "first day",
) -> str:
    """The drawing as markup, the first day marked and named as `called`; "" where there is nobody."""
    if not weeks or not everybody:
        return ""
    wide = (WIDTH - _LEFT - _RIGHT) / len(weeks)
    base = HEIGHT - _FOOT

    def y(count: int) -> float:
        return round(base - (base - _TOP) * count / everybody, 1)

    def x(day: date) -> float:
        return round(_LEFT + wide * ((day - weeks[0].monday) / WEEK), 1)

    ready = next(w.shown for w in reversed(weeks) if w.shown is not None)
    ahead = next((w.projected for w in reversed(weeks) if w.projected is not None), ready)
    said = escape(
        f"{ready} of {everybody} ready on {calendar_day(today)}; {ahead} by "
        f"{calendar_day(weeks[-1].monday + timedelta(days=6))} if all goes as planned. "
        "The numbers stand in the table below."
    )
    parts = [
        f'<svg class="readiness" viewBox="0 0 {WIDTH} {HEIGHT}" role="img" aria-label="{said}">',
        '<defs><pattern id="hatch" width="6" height="6" patternUnits="userSpaceOnUse" '
        'patternTransform="rotate(45)"><path class="hatch" d="M0 0V6"/></pattern></defs>',
    ]
    for count in _scale(everybody):
        parts.append(
            f'<line class="rule" x1="{_LEFT}" x2="{WIDTH - _RIGHT}" y1="{y(count)}" y2="{y(count)}"/>'
            f'<text class="count" x="{_LEFT - 6}" y="{y(count) + 4}">{count}</text>'
        )
    for week in weeks:
        left, bar = x(week.monday) + wide * 0.12, round(wide * 0.76, 1)
        shown = week.shown or 0
        if week.projected is not None and week.projected > shown:
            top = y(week.projected)
            parts.append(_bar("ahead", left, top, bar, y(shown) - top))
        if shown:
            parts.append(_bar("shown", left, y(shown), bar, base - y(shown)))
    parts += _months(weeks, x, base)
    parts.append(_line("now", x(today), base, "today"))
    if first_day is not None and weeks[0].monday <= monday(first_day) <= weeks[-1].monday:
        parts.append(_line("start", x(first_day), base, called))
    return "".join([*parts, "</svg>"])


def _bar(name: str, x: float, y: float, width: float, height: float) -> str:
    return f'<rect class="{name}" x="{x:.1f}" y="{y}" width="{width}" height="{height:.1f}"/>'


def _scale(everybody: int) -> tuple[int, ...]:
    """Nothing, half and everybody; three lines are enough to read a bar by."""
    return tuple(dict.fromkeys((0, round(everybody / 2), everybody)))


def _months(weeks: Sequence[Week], place: Callable[[date], float], base: int) -> list[str]:
    found, last = [], -100.0
    for week in weeks:
        if week.monday.day <= 7 and place(week.monday) - last > 44:
            last = place(week.monday)
            # The year stands for January: the two words would run into February on a phone.
            month = week.monday.month
            name = str(week.monday.year) if month == 1 else month_name(month)
            found.append(f'<text class="month" x="{last}" y="{base + 18}">{name}</text>')
    return found


def _line(name: str, x: float, base: int, words: str) -> str:
    # Near the right edge the words stand to the left of their line.
    side, at = ("to-left", x - 4) if x > WIDTH - 120 else ("to-right", x + 4)
    height = 12 if name == "now" else 22
    return (
        f'<line class="{name}" x1="{x}" x2="{x}" y1="{height - 8}" y2="{base}"/>'
        f'<text class="{name}-word {side}" x="{at}" y="{height}">{words}</text>'
    )
