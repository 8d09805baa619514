"""The days of a course side by side: which the tablets cover, which they do not, where today is."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, tzinfo

from thimble.ledger.prophylaxis.course import Course

CELL, HEIGHT, MOST = 22, 30, 60


@dataclass(frozen=True, slots=True)
class Cell:
    """One day. `state` is covered, uncovered, unknown, without (a dose, while the course was stopped) or
    after (the end on record)."""

    x: int
    day: int
    state: str
    today: bool
    labelled: bool


@dataclass(frozen=True, slots=True)
class Strip:
    """All days, with the words that say the same."""

    cells: tuple[Cell, ...]
    width: int
    words: str


def strip_of(course: Course, now: datetime, zone: tzinfo) -> Strip | None:
    """The strip of a course; None where no table says how long one lasts."""
    if course.days is None or course.days > MOST:
        return None
    first = course.began.astimezone(zone).date()
    covered = None if course.covered_until is None else course.covered_until.astimezone(zone).date()
    ended = None if course.ended is None else course.ended.astimezone(zone).date()
    today = (now.astimezone(zone).date() - first).days + 1
    cells = []
    for number in range(1, course.days + 1):
        day = first.toordinal() + number - 1
        state = "unknown"
        if any(day in gone for gone in course.without):
            state = "without"
        elif ended is not None and day > ended.toordinal():
            state = "after"
        elif covered is not None:
            state = "covered" if day < covered.toordinal() else "uncovered"
        labelled = number == 1 or number % 7 == 0
        cells.append(Cell((number - 1) * CELL, number, state, number == today, labelled))
    lasting = sum(cell.state == "covered" for cell in cells)
    words = f"{lasting} of {course.days} days covered by tablets handed out"
    if covered is None:
        words = f"{course.days} days; for how many tablets were handed out is not on record"
    if gone := sum(map(len, course.without)):
        words += f"; {gone} without a dose while it was stopped"
    return Strip(tuple(cells), course.days * CELL, words)
