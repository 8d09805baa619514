"""What cannot be right about a result of a message, held against a person's file. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, tzinfo
from typing import Any

from thimble.clinical.saying import calendar_day
from thimble.clinical.serology import Analyte, Quantity, Result, Status, Word
from thimble.clinical.serology.course import Course
from thimble.clinical.serology.faults import faults
from thimble.exchange.matching import Reported
from thimble.people.fold import Evidence
from thimble.people.reports import key_of


@dataclass(frozen=True, slots=True)
class Around:
    """What results are held against: the person's birth date, the site's day and zone, the moment."""

    born: date | None
    today: date
    zone: tzinfo
    now: datetime


def doubts_of(
    name: str,
    reported: Reported,
    body: Mapping[str, Any],
    others: Sequence[Evidence],
    around: Around,
    drawn_here: date | None,
) -> Iterable[str]:
    """Why somebody should look before a result is believed, in sentences.

    Args:
        name: of the test.
        body: of the entry that would be written; its day is exact.
        others: the other results that stand in the file.
        drawn_here: the day on which the department drew the sample, if it did.
    """
    collected = reported.collected_on
    # A later day is how many laboratories write: when the sample reached them. Earlier: another sample.
    if drawn_here is not None and collected is not None and collected < drawn_here.isoformat():
        yield (
            f"{name}: the laboratory says that the sample was taken "
            f"{calendar_day(date.fromisoformat(collected))}, and it was drawn here "
            f"{calendar_day(drawn_here)}: find out whose sample it was."
        )
    for each in others:
        if _of_one_day(each.body, body) and not agree(each.body, body):
            yield (
                f"{name}: another result of the same day is on record (entry {each.entry}), and the two "
                "differ. Find out which holds."
            )
    if body["test"] in set(Analyte):
        yield from _by_serology(name, body, reported, others, around)
    else:
        yield from _otherwise(name, body, reported, around)


def _of_one_day(one: Mapping[str, Any], other: Mapping[str, Any]) -> bool:
    same = one["test"] == other["test"] and one["when"] == other["when"]
    return same and (key_of(one) is None or key_of(one) != key_of(other))


def agree(one: Mapping[str, Any], other: Mapping[str, Any]) -> bool:
    """Whether two results of one test and day say the same, as far as both say it."""
    if (one["test"], one["when"]) != (other["test"], other["when"]):
        return False
    words = (one["word"], other["word"])
    numbers = [
        None if each["number"] is None else (each["number"], each["comparator"], each["unit"])
        for each in (one, other)
    ]
    pairs = [pair for pair in (words, tuple(numbers)) if None not in pair]
    return bool(pairs) and all(left == right for left, right in pairs)


def _by_serology(
    name: str,
    body: Mapping[str, Any],
    reported: Reported,
    others: Sequence[Evidence],
    around: Around,
) -> Iterable[str]:
    """By the rules that results of cases are held against."""
    course = Course(zone=around.zone, worker_born_on=around.born)
    result = _result(body, around.zone, reported.reported_at)
    earlier = [
        _result(each.body, around.zone, each.recorded_at)
        for each in others
        if each.body["test"] in set(Analyte) and len(each.body["when"] or "") == 10
    ]
    for sentence in faults(result, course, around.now, earlier=earlier):
        yield f"{name}: {sentence}"


def _otherwise(
    name: str, body: Mapping[str, Any], reported: Reported, around: Around
) -> Iterable[str]:
    drawn = date.fromisoformat(body["when"])
    taken = f"{name}: the sample was taken {calendar_day(drawn)}"
    if drawn > around.today:
        yield f"{taken}, which lies ahead: check the date."
    if around.born is not None and drawn < around.born:
        yield f"{taken}, before the person was born: check the date and whose blood it is."
    if drawn > reported.reported_at.astimezone(around.zone).date():
        yield f"{taken}, after it was reported: check both dates."
    if body["word"] is None:
        yield (
            f"{name}: it came as a number without positive or negative: its cut-off is the laboratory's. "
            "Ask for the word."
        )


def _result(body: Mapping[str, Any], zone: tzinfo, reported_at: datetime) -> Result:
    """A result of a file as cases have it, taken at the beginning of its day: it was no earlier."""
    number, report = body["number"], body.get("report", {})
    return Result(
        Analyte(body["test"]),
        of="worker",
        status=Status.FINAL,
        taken_at=datetime.combine(date.fromisoformat(body["when"]), time(0), zone),
        reported_at=reported_at,
        word=None if body["word"] is None else Word(body["word"]),
        quantity=None
        if number is None
        else Quantity(float(number), body["unit"], body["comparator"]),
        as_sent=body["as_written"],
        request=report.get("request", ""),
        specimen=report.get("specimen", ""),
    )
