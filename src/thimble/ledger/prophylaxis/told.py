"""A course of prophylaxis in a few lines: what to say on the telephone, and what a paper holds of it."""

from __future__ import annotations

from datetime import datetime, timedelta, tzinfo

from thimble.clinical.saying import calendar_day, counted, minute
from thimble.ledger.bodies import ADHERENCE, RESUMED_END, STOP_REASONS
from thimble.ledger.exposed import say
from thimble.ledger.prophylaxis.course import WITHOUT_DOSE, Course, course_of, without
from thimble.ledger.situation import Situation


def course_told(
    situation: Situation, protocol: str, now: datetime, zone: tzinfo
) -> tuple[tuple[str, str], ...]:
    """Lines of label and words, as of `now`; none where no first dose is on record.

    Args:
        protocol: the id of the site's protocol.
    """
    course = course_of(situation, protocol, now, zone)
    if course is None:
        return ()
    record = situation.course
    length = f" of {course.days}" if course.days is not None else ""
    lines = [
        ("Medicine", course.product or "not on record"),
        ("First dose", minute(course.began, zone)),
        ("Day of the course", f"{course.day}{length}"),
    ]
    if course.ended is not None:
        reason = record.stopped.code if record.stopped is not None else ""
        why = f", {say(STOP_REASONS[reason], situation)}" if reason else ""
        lines.append(("Last dose", f"{minute(course.ended, zone)}{why}"))
    elif course.covered_until is None:
        lines.append(("Tablets", "for how many days they were handed out is not on record"))
    else:
        lines.append(("Tablets", f"handed out to {minute(course.covered_until, zone)}"))
    lines += [("Supply", words) for words in pack_words(course)]
    if rest := not_covered_words(course, zone):
        lines.append(("Supply", rest))
    for pause in record.pauses:
        gone = len(without(pause, zone))
        lines.append(
            (
                "Stopped and resumed",
                f"last dose {minute(pause.stopped.at, zone)} "
                f"({say(STOP_REASONS[pause.stopped.code], situation)}), first "
                f"again {minute(pause.resumed.at, zone)}; {counted(gone, 'day')} without between; "
                f"end of the course {RESUMED_END[pause.resumed.code]}",
            )
        )
    if course.missed:
        gap = course.facts.get(WITHOUT_DOSE)
        longest = (
            f"; longest time without one {gap:.0f} h"
            if isinstance(gap, float)
            else "; for how long is not known"
        )
        lines.append(("Doses missed", f"{course.missed}{longest}"))
    else:
        asked = f"none on record; at the last review: {ADHERENCE[record.adherence]}"
        lines.append(("Doses missed", asked if record.reviews else "none on record, not asked yet"))
    felt = [f"{told.code}: {told.words} ({minute(told.at, zone)})" for told in record.side_effects]
    lines.append(("Side effects", "; ".join(felt) or "none on record"))
    return tuple(lines)


def pack_words(course: Course) -> tuple[str, ...]:
    """Which pack covers which days, in order; then the days to the planned end that none covers."""
    return tuple(
        f"{pack.product}, {counted(pack.days, 'day')}: covers "
        f"{calendar_day(pack.first)} to {calendar_day(pack.last)}"
        for pack in course.packs
    )


def not_covered_words(course: Course, zone: tzinfo) -> str:
    """The days to the planned end for which no tablets were handed out yet.

    "" where there are none, or where nobody can say.
    """
    if course.ended is not None or course.covered_until is None or course.planned_end is None:
        return ""
    first, end = (at.astimezone(zone).date() for at in (course.covered_until, course.planned_end))
    count = (end - first).days
    if count < 1:
        return ""
    last = end - timedelta(days=1)
    days = f"day is not covered yet: {calendar_day(first)}"
    if count > 1:
        days = f"days are not covered yet: {calendar_day(first)} to {calendar_day(last)}"
    return f"{count} {days}"
