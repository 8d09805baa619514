"""The worker's results on record, of the case and of the register, for the form of fitness."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, time, tzinfo
from typing import Any

from thimble.clinical.fitness import vocabulary
from thimble.clinical.fitness.offering import Offered, OnRecord, offer
from thimble.clinical.saying import opening
from thimble.clinical.serology import Analyte, Quantity, Result, Status, Word, current
from thimble.ledger.results.recorded import said_of
from thimble.ledger.situation import Situation
from thimble.people.entries import Kind
from thimble.people.fold import Evidence, Person
from thimble.web.on_record.finding import OnRecord as OfTheFile
from thimble.web.people import words

CASE, FILE = "this case", "the worker's file"
ALL = "all"


@dataclass(frozen=True, slots=True)
class Row:
    """Something on record with its day: what a click takes over, or why it is not offered."""

    id: str
    said: str
    day: str
    where: str
    answers: str
    held: str
    why_not: str


def offers(
    situation: Situation, found: OfTheFile | None, now: datetime, zone: tzinfo
) -> tuple[Offered, ...]:
    """What is on record of the worker as of `now`. Of a file that may be somebody else's: nothing."""
    mine = [*_of_the_case(situation, now, zone)]
    if found is not None and not found.doubt:
        mine += _of_a_file(found.person, zone)
    return offer(mine)


def offers_of_file(person: Person, zone: tzinfo) -> tuple[Offered, ...]:
    """What is on record of somebody in the register."""
    return offer(_of_a_file(person, zone))


def _of_a_file(person: Person, zone: tzinfo) -> list[OnRecord]:
    return [one for e in person.evidence if (one := _of_the_file(e, zone)) is not None]


def taken(wanted: str, offered: Iterable[Offered]) -> tuple[dict[str, object], dict[str, date]]:
    """The facts and days that a click on an offer, or on all of them, takes over."""
    facts: dict[str, object] = {}
    days: dict[str, date] = {}
    for one in offered:
        if wanted in (ALL, one.evidence.result.analyte.value):
            facts |= one.facts
            days |= one.days
    return facts, days


def rows(
    offered: Iterable[Offered], facts: Mapping[str, object], days: Mapping[str, date]
) -> tuple[Row, ...]:
    """The offers in words, beside what the form says now."""
    return tuple(_row(one, facts, days) for one in offered)


def _row(one: Offered, facts: Mapping[str, object], days: Mapping[str, date]) -> Row:
    result = one.evidence.result
    same = all(facts.get(f) == v for f, v in one.facts.items()) and all(
        days.get(d) == v for d, v in one.days.items()
    )
    return Row(
        id=result.analyte.value,
        said=f"{opening(result.name)}: {said_of(result)}",
        day=f"taken {words.day(one.evidence.day)}",
        where=one.evidence.where,
        answers="; ".join(_answer(f, v) for f, v in one.facts.items() if v != "number"),
        held="taken over" if one.facts and same else "",
        why_not=one.why_not,
    )


def _answer(fact: str, value: str | float) -> str:
    asked = vocabulary()[fact]
    said = f"{value:g} {asked.unit}" if isinstance(value, float) else asked.label(value)
    return f"{asked.question} {said}"


def _of_the_case(situation: Situation, now: datetime, zone: tzinfo) -> Iterable[OnRecord]:
    counts = current((r.result for r in situation.results if r.result.of == "worker"), now)
    for results, doubt in (
        (counts.settled, ""),
        (counts.preliminary, "It is preliminary."),
        (counts.conflicting, "Its versions contradict each other."),
    ):
        for result in results:
            day = result.taken_at.astimezone(zone).date().isoformat() if result.taken_at else ""
            yield OnRecord(result, day, CASE, doubt)


def _of_the_file(evidence: Evidence, zone: tzinfo) -> OnRecord | None:
    body: Mapping[str, Any] = evidence.body
    if evidence.kind is not Kind.RESULT_RECORDED or body["test"] not in set(Analyte):
        return None
    number = body["number"]
    quantity = (
        None
        if number is None
        else Quantity(float(number), body.get("unit") or "", body.get("comparator") or "=")
    )
    day = body.get("when") or ""
    result = Result(
        Analyte(body["test"]),
        of="worker",
        status=Status.FINAL,
        taken_at=datetime.combine(date.fromisoformat(day), time(12), zone)
        if len(day) == 10
        else None,
        reported_at=evidence.recorded_at,
        word=Word(body["word"]) if body["word"] else None,
        quantity=quantity,
    )
    return OnRecord(result, day, FILE if evidence.vouched else f"{FILE}, not verified")
