"""How a course stands, in a sentence each: its day, its end, its tablets, what was missed."""

from __future__ import annotations

from datetime import datetime, tzinfo

from thimble.clinical.saying import counted
from thimble.ledger.bodies import (
    ADHERENCE,
)
from thimble.ledger.prophylaxis.course import (
    Course,
)
from thimble.ledger.prophylaxis.record import CourseRecord
from thimble.ledger.prophylaxis.told import not_covered_words
from thimble.web.course.record_words import RecordWords


def state_of(course: Course) -> str:
    """Which day of how many."""
    if course.ended is not None:
        return f"Ended on day {course.day}"
    gone = sum(map(len, course.without))
    stopped = f", {counted(gone, 'day')} of them without a dose" if gone else ""
    if course.days is None:
        return f"Day {course.day}{stopped}"
    if course.day > course.days:
        return f"Past day {course.days}: its end is not on record"
    return f"Day {course.day} of {course.days}{stopped}"


def end_of(course: Course, words: RecordWords) -> str:
    """When the last dose was, or is to be."""
    if course.ended is not None:
        return f"Last dose {words.at(course.ended)}"
    if course.planned_end is None:
        return "How long a course lasts could not be read"
    return f"Planned to {words.at(course.planned_end)}"


def left_of(course: Course, now: datetime, zone: tzinfo) -> str:
    """For how long the tablets reach."""
    days = course.days_left(now, zone)
    if course.ended is not None:
        return ""
    if days is None:
        return "For how many days tablets were handed out is not on record"
    if days <= 1:
        return "Today's tablets are the last" if days else "No tablets left"
    return f"Tablets for today and {days - 1} more day{'' if days == 2 else 's'}"


def supply_of(course: Course, words: RecordWords) -> str:
    """When the next tablets are due."""
    if course.ended is not None or course.covered_until is None:
        return ""
    if course.planned_end is not None and course.covered_until >= course.planned_end:
        return "They reach to the end of the course."
    said = f"The next are due by {words.at(course.covered_until)}."
    if rest := not_covered_words(course, words.zone):
        said = f"{rest}. {said}"
    if course.uncovered:
        said += f" On {counted(course.uncovered, 'day')} there were none."
    return said


def missed_of(course: Course, record: CourseRecord) -> str:
    """How many doses were missed."""
    if course.missed:
        return f"{counted(course.missed, 'dose')} missed, by the record"
    if record.reviews and record.adherence == "all_taken":
        return f"At the last review: {ADHERENCE[record.adherence]}"
    return (
        "No missed dose is on record; nobody has asked" if not record.reviews else "None on record"
    )
