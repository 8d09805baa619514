"""A course of prophylaxis in a few lines: what to say on the telephone, and what a paper holds of it."""

from __future__ import annotations

from datetime import datetime, tzinfo

from thimble.clinical.saying import minute
from thimble.ledger.bodies import ADHERENCE, STOP_REASONS
from thimble.ledger.course import WITHOUT_DOSE, course_of
from thimble.ledger.plan import Situation


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
        why = f", {STOP_REASONS[reason]}" if reason else ""
        lines.append(("Last dose", f"{minute(course.ended, zone)}{why}"))
    elif course.covered_until is None:
        lines.append(("Tablets", "for how many days they were handed out is not on record"))
    else:
        lines.append(("Tablets", f"handed out to {minute(course.covered_until, zone)}"))
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
