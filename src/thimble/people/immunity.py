"""What a file documents that answers a question of an exposure: offered with its dates, never assumed.

Only what a document shows is offered. That nothing is documented answers nothing: somebody without a card
is neither unvaccinated nor a non-responder.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from thimble.clinical.series import Cleared, PartialDate
from thimble.people.choices import TESTS
from thimble.people.entries import RESULTS, Kind
from thimble.people.fold import Evidence, Person
from thimble.people.products import is_vaccine

SHOWN = ("hepatitis_b", "tetanus")
"""Diseases whose evidence matters in the first hour after an exposure."""

TETANUS_SERIES = 3
"""The fact `worker_tetanus_doses` asks for three or more: its own words, no threshold of ours."""


@dataclass(frozen=True, slots=True)
class Offered:
    """One fact that evidence answers: its value and the entries (positions) that show it."""

    fact: str
    value: str | float
    entries: tuple[int, ...]


def shown(person: Person) -> tuple[Evidence, ...]:
    """The evidence that a case may show: of hepatitis B and tetanus, nothing else of the file."""
    return tuple(e for e in person.evidence if set(SHOWN) & set(about(e)))


def about(evidence: Evidence) -> tuple[str, ...]:
    """The diseases that a piece of evidence is about; none where it is about the person."""
    body = evidence.body
    if evidence.kind is Kind.DOSE_RECORDED:
        return tuple(body["diseases"])
    if evidence.kind in RESULTS:
        disease, _ = TESTS[body["test"]]
        return (disease,) if disease else ()
    return (body["disease"],)


def offered(person: Person, on: date) -> tuple[Offered, ...]:
    """The facts that the file answers for an exposure on a day."""
    found: list[Offered] = []
    tetanus = _doses(person, "tetanus", on)
    if certainly_different(tetanus) >= TETANUS_SERIES:
        positions = tuple(e.entry for e in tetanus)
        found.append(Offered("worker_tetanus_doses", "three_or_more", positions))
    last = _last(person, "tetanus", on)
    if last is not None and last[1].exact:
        entry, when = last
        found.append(
            Offered("worker_years_since_tetanus_dose", years_between(when.first, on), (entry,))
        )
    found += _over_a_year(person, on)
    return tuple(found)


def _over_a_year(person: Person, on: date) -> list[Offered]:
    """Whether the last dose against hepatitis B was a year ago; one within the year settles it, whatever
    else was given."""
    fact = "worker_hbv_last_dose_over_1_year"
    for each in _doses(person, "hepatitis_b", on):
        if _anniversary(PartialDate.parse(each.body["when"]).first, 1) > on:
            return [Offered(fact, "no", (each.entry,))]
    last = _last(person, "hepatitis_b", on)
    if last is not None and _anniversary(last[1].last, 1) <= on:
        return [Offered(fact, "yes", (last[0],))]
    return []


RESPONSES = {
    "responder": "responder",
    "responder_watched": "responder",
    "first_failed": "non_responder",
    "second_failed": "non_responder",
}
"""What the clearance tables call a response that a titre in time shows, in the words of an exposure."""

SERIES = {"complete": "one_complete", "two_complete": "two_complete"}
"""Only a series that is complete is offered: of an incomplete one doses may be documented elsewhere."""


def offered_by_series(person: Person, cleared: Cleared) -> tuple[Offered, ...]:
    """What the clearance tables make of the doses and titres of hepatitis B."""
    if cleared.series not in SERIES:
        return ()
    shows = tuple(
        e.entry
        for e in person.evidence
        if "hepatitis_b" in about(e)
        and e.body.get("when")
        and (e.kind is Kind.DOSE_RECORDED or e.body.get("test") == "anti_hbs")
    )
    found = [Offered("worker_hbv_series", SERIES[cleared.series], shows)]
    if response := RESPONSES.get(cleared.decision.response):
        found.append(Offered("worker_hbv_response", response, shows))
    return tuple(found)


def _doses(person: Person, disease: str, on: date) -> list[Evidence]:
    """Doses of vaccine that were certainly given by a day: those with a date."""
    return [
        e
        for e in vaccine_doses(person, disease)
        if e.body["when"] and PartialDate.parse(e.body["when"]).last <= on
    ]


def certainly_different(doses: list[Evidence]) -> int:
    """How many doses these are at least: two records that may be of one day may be of one dose."""
    told = (PartialDate.parse(e.body["when"]) for e in doses)
    count, last = 0, date.min
    for when in sorted(told, key=lambda when: when.last):
        if when.first > last:
            count, last = count + 1, when.last
    return count


def vaccine_doses(person: Person, disease: str) -> list[Evidence]:
    """Doses of vaccine against a disease, with a date or without; immunoglobulin is none."""
    return [
        e
        for e in person.of(Kind.DOSE_RECORDED)
        if disease in e.body["diseases"] and is_vaccine(e.body["product"])
    ]


def _last(person: Person, disease: str, on: date) -> tuple[int, PartialDate] | None:
    """The latest dose by a day, if it is certain which one that is: one whose date is not known, or that
    may lie on either side of the day, may have been the last."""
    dated = [(PartialDate.parse(e.body["when"]), e.entry) for e in _doses(person, disease, on)]
    if not dated:
        return None
    when, entry = max(dated, key=lambda dose: dose[0].last)
    for other in vaccine_doses(person, disease):
        told = PartialDate.parse(other.body["when"]) if other.body["when"] else None
        if other.entry != entry and (told is None or (when.first < told.last and told.first <= on)):
            return None
    return entry, when


def _anniversary(day: date, years: int) -> date:
    """The same day so many years later; of 29 February the 28th in common years."""
    try:
        return day.replace(year=day.year + years)
    except ValueError:
        return day.replace(year=day.year + years, day=28)


def years_between(start: date, end: date) -> float:
    """Years as the calendar counts them, two decimals, never rounded up.

    >>> years_between(date(2016, 3, 2), date(2026, 3, 2)), years_between(date(2016, 3, 3), date(2026, 3, 2))
    (10.0, 9.99)
    """
    whole = end.year - start.year
    if _anniversary(start, whole) > end:
        whole -= 1
    begun, following = _anniversary(start, whole), _anniversary(start, whole + 1)
    part = (end - begun).days / (following - begun).days
    return whole + int(part * 100) / 100
