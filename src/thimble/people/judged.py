"""A file's evidence of infections other than hepatitis B as their tables take it, and what they say."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date

from thimble.clinical.immunity import (
    JUDGED,
    Against,
    Documented,
    Given,
    Judgement,
    Past,
    Tested,
    days_of,
    judge,
    rules,
)
from thimble.people.entries import Kind
from thimble.people.fold import Evidence, Person
from thimble.people.products import is_vaccine


def judged(
    person: Person, born: date | None, on: date, protocol: str, diseases: Iterable[str] = JUDGED
) -> Mapping[str, Judgement]:
    """Of some diseases those that the tables judge; none where the protocol has no tables."""
    asked = [disease for disease in diseases if disease in JUDGED]
    try:
        rules(protocol)
    except LookupError:
        return {}
    told = documented_of(person, born, on)
    return {disease: judge(disease, told, born, on, protocol) for disease in asked}


def documented_of(person: Person, born: date | None, on: date) -> Documented:
    """What the file holds by a day. What lies before the birth or after the day is passed over."""
    told = Documented()
    first, today = born.toordinal() if born else None, on.toordinal()
    for each in person.evidence:
        try:
            _take(told, each, first, today)
        except ValueError:
            told.passed_over.append(each.entry)
    return told


def _take(told: Documented, each: Evidence, born: int | None, today: int) -> None:
    body, kind = each.body, each.kind
    if kind is Kind.DOSE_RECORDED:
        if is_vaccine(body["product"]):
            days = days_of(body["when"], born, today)
            told.doses.append(Given(each.entry, body["product"], tuple(body["diseases"]), days))
    elif kind is Kind.RESULT_RECORDED:
        days = days_of(body["when"], born, today)
        told.tests.append(Tested(each.entry, body["test"], body["word"], days))
    elif kind is Kind.HISTORY_RECORDED:
        days = days_of(body["when"], born, today)
        told.past.append(Past(each.entry, body["disease"], body["basis"], days))
    elif kind is Kind.DECLINED:
        if since := days_of(body["on"], born, today):
            told.against.append(Against(each.entry, body["disease"], body["what"], since[0]))
    elif kind is Kind.CONTRAINDICATED:
        until = days_of(body["until"], None, 3_000_000)
        if until is None or until[1] >= today:
            told.against.append(Against(each.entry, body["disease"], None, 0))
