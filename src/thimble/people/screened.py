"""A file's results of blood-borne viruses as screening takes them, and what it proposes."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date

from thimble.clinical.immunity import days_of
from thimble.clinical.screening import INFECTIONS, Result, Screening, screen
from thimble.people import choices
from thimble.people.entries import Kind
from thimble.people.fold import Evidence, Person

_CALENDARS_APART = 1
"""Days: the instant of an entry is of the universal calendar, the day of a result of the site's."""
LASTING = frozenset({"hepatitis_c", "hiv"})
"""Infections whose first test is an antibody that stays."""
TESTS = frozenset(test for pair in INFECTIONS.values() for test in pair)


def screened(
    person: Person, on: date, rule_set: str, supposed: Iterable[Result] = ()
) -> Screening | None:
    """What the rule set of the site proposes; None where the site has chosen none.

    `supposed` are results that are only taken in thought.
    """
    if not rule_set:
        return None
    today = on.toordinal()
    results = [r for e in person.of(Kind.RESULT_RECORDED) if (r := _result(e, today)) is not None]
    results += [
        r for e in person.of(Kind.HISTORY_RECORDED) if (r := _disease(e, today)) is not None
    ]
    return screen(
        rule_set,
        person.employment.exposure_prone,
        (*results, *supposed),
        frozenset(_refused(person, today)),
    )


def _result(evidence: Evidence, today: int) -> Result | None:
    """A result by a day. Without a date a negative one counts for nothing; any other may be the latest of
    those by the day on which it was written down."""
    body = evidence.body
    days = _days(body["when"], today)
    if body["when"] is None and body["word"] != "negative":
        days = (1, today)
    if days is not None:
        written = evidence.recorded_at.date().toordinal() + _CALENDARS_APART
        days = (days[0], max(days[0], min(days[1], written)))
    if body["test"] not in TESTS or days is None:
        return None
    below = body["number"] is not None and body["comparator"] in ("<", "<=")
    return Result(
        body["test"], body["word"], below, choices.identified_and_validated(body["sample"]), days
    )


def _disease(evidence: Evidence, today: int) -> Result | None:
    """A past disease that leaves its antibody for life: its first test was positive, whoever kept the slip.
    What somebody only told is none, and of hepatitis B the antigen may be gone."""
    body = evidence.body
    if body["disease"] not in LASTING or body["basis"] == "person":
        return None
    days = (1, today) if body["when"] is None else _days(body["when"], today)
    return days and Result(INFECTIONS[body["disease"]][0], "positive", False, False, days)


def _refused(person: Person, today: int) -> list[str]:
    """Infections whose test was refused after the last one was done."""
    found = []
    for infection, (first, _) in INFECTIONS.items():
        refusals = [
            days[0]
            for e in person.of(Kind.DECLINED)
            if e.body["disease"] == infection
            and e.body["what"] == "test"
            and (days := _days(e.body["on"], today)) is not None
        ]
        done = [
            days[1]
            for e in person.of(Kind.RESULT_RECORDED)
            if e.body["test"] == first and (days := _days(e.body["when"], today)) is not None
        ]
        if refusals and (not done or max(refusals) >= max(done)):
            found.append(infection)
    return found


def _days(when: str | None, today: int) -> tuple[int, int] | None:
    try:
        return days_of(when, None, today)
    except ValueError:
        return None
