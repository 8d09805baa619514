"""A file's evidence of hepatitis B as the clearance tables take it, and what they say of it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from thimble.clinical.series import (
    Cleared,
    Contraindicated,
    Declined,
    DoseGiven,
    Evidence,
    MarkerResult,
    PartialDate,
    clear,
)
from thimble.clinical.series import Person as Cleared_Person
from thimble.clinical.series.deciding import FACTS, VALUES
from thimble.clinical.series.documented import Immunocompromised
from thimble.clinical.series.infection import MARKERS, STATES, marker_state
from thimble.clinical.series.schedule import products
from thimble.clinical.series.walking import Verdict
from thimble.clinical.serology.analytes import Analyte
from thimble.clinical.serology.results import Quantity, Word
from thimble.people import fold
from thimble.people.entries import Kind

DISEASE = "hepatitis_b"
_ANALYTES = frozenset(Analyte)
WEAK_IMMUNITY = "weak_immunity"
"""The test of `choices.TESTS` that says whether the immune system is weakened."""
NO_PANEL = frozenset({"not_tested", "negative_so_far"})
"""Values of the fact `infection`: HBsAg and total anti-HBc are not both there."""
_CALENDARS_APART = timedelta(days=1)
"""The instant of an entry is of the universal calendar, the day asked for of the site's."""


@dataclass(frozen=True, slots=True)
class HepatitisB:
    """What the tables say; `undated` pieces of evidence, not known to lie before the day, were not given
    to them. `past` says that the disease is on file as past and no panel shows what is left of it: no table
    judges that."""

    cleared: Cleared
    undated: int
    past: bool = False


def hepatitis_b(
    person: fold.Person, born: date | None, on: date, protocol: str
) -> HepatitisB | None:
    """The answer on a day; None where the birth date is not known, something lies before it, or the
    protocol has no clearance tables. Of the immune system they are told what was asked, see `subject`."""
    if born is None:
        return None
    told, undated = evidence_of(person, on)
    try:
        cleared = clear(subject(person, born, on), told, on, protocol)
        return HepatitisB(cleared, undated, _past(person, cleared))
    except (ValueError, LookupError):
        return None


def _past(person: fold.Person, cleared: Cleared) -> bool:
    place = FACTS.index("infection")
    panel = VALUES[place][cleared.situation[place]]
    history = person.of(Kind.HISTORY_RECORDED)
    return panel in NO_PANEL and any(e.body["disease"] == DISEASE for e in history)


def doses_that_count(
    person: fold.Person, born: date | None, on: date, protocol: str
) -> tuple[DoseGiven, ...]:
    """The doses of vaccine by a day that count in the series; none where `hepatitis_b` has no answer."""
    known = hepatitis_b(person, born, on, protocol)
    if known is None:
        return ()
    counting = {d.given.high for d in known.cleared.doses if d.verdict is Verdict.COUNTS}
    told, _ = evidence_of(person, on)
    return tuple(
        each
        for each in told
        if isinstance(each, DoseGiven) and min(each.when.last, on).toordinal() in counting
    )


def subject(person: fold.Person, born: date, on: date) -> Cleared_Person:
    """Whom the tables are asked about. What was last asked about the immune system by that day counts;
    where nobody asked, it was not certain, or answers that may be the last differ, it is not known."""
    answers: dict[PartialDate, str] = {}
    for each in person.evidence:
        if each.kind is Kind.RESULT_RECORDED and each.body["test"] == WEAK_IMMUNITY:
            written = each.recorded_at.date()
            if on < written <= on + _CALENDARS_APART:
                written = on
            text = each.body["when"] or written.isoformat()
            when = PartialDate.parse(text)
            if when.first <= on:
                answers[when] = str(each.body["word"])
    since = max((when.first for when in answers), default=on)
    last = {word for when, word in answers.items() if when.last >= since}
    weak: Immunocompromised = "unknown"
    if last in ({Word.POSITIVE}, {Word.NEGATIVE}):
        weak = "yes" if Word.POSITIVE in last else "no"
    return Cleared_Person(born, person.employment.exposure_prone == "yes", weak)


def evidence_of(person: fold.Person, on: date) -> tuple[list[Evidence], int]:
    """Everything about hepatitis B that lies behind a day; and of how much that cannot be told."""
    found: list[Evidence] = []
    undated = 0
    for each in person.evidence:
        body = each.body
        text = body.get("when", body.get("on"))
        if not _concerns(each):
            continue
        if text is None and each.kind is Kind.CONTRAINDICATED:
            # It was found before anybody wrote it down, and holds whatever day that was.
            text = min(each.recorded_at.date(), on).isoformat()
        if text is None:
            found_once = _found_once(each)
            if found_once is None or each.recorded_at.date() > on + _CALENDARS_APART:
                undated += 1
            else:
                found.append(found_once)
            continue
        when = PartialDate.parse(text)
        if when.first <= on < when.last and each.recorded_at.date() > on + _CALENDARS_APART:
            undated += 1  # written down later: whether it was before that day cannot be told
        elif when.first <= on:
            found += _told(each, when, on)
    return found, undated


def _found_once(evidence: fold.Evidence) -> MarkerResult | None:
    """A marker that was positive on a day that nobody knows: whoever reads the file must not miss it."""
    if evidence.kind is not Kind.RESULT_RECORDED:
        return None
    found = _result(evidence.body, None)
    if found.analyte not in MARKERS:
        return None
    state = STATES[marker_state(found.analyte, found.word, found.quantity)]
    return found if state == "positive" else None


def before_birth(told: Iterable[Evidence], born: date) -> bool:
    """Whether something is documented that lies before the birth."""
    return any(each.when is not None and each.when.last < born for each in told)


def _concerns(evidence: fold.Evidence) -> bool:
    body = evidence.body
    if evidence.kind is Kind.DOSE_RECORDED:
        return bool(DISEASE in body["diseases"])
    if evidence.kind is Kind.RESULT_RECORDED:
        return str(body["test"]) in _ANALYTES
    if evidence.kind is Kind.DECLINED:
        return bool(body["disease"] == DISEASE and body["what"] == "vaccine")
    return evidence.kind is Kind.CONTRAINDICATED and bool(body["disease"] == DISEASE)


def _told(evidence: fold.Evidence, when: PartialDate, on: date) -> list[Evidence]:
    body = evidence.body
    if evidence.kind is Kind.DOSE_RECORDED:
        # A product that the schedules do not name counts as one that nobody knows.
        return [DoseGiven(body["product"] if body["product"] in products() else None, when)]
    if evidence.kind is Kind.DECLINED:
        return [Declined(when)]
    if evidence.kind is Kind.CONTRAINDICATED:
        until = body["until"]
        over = until is not None and PartialDate.parse(until).last < on
        return [] if over else [Contraindicated(when)]
    return [_result(body, when)]


def _result(body: Mapping[str, Any], when: PartialDate | None) -> MarkerResult:
    word = None if body["word"] is None else Word(body["word"])
    quantity = None
    if body["number"] is not None:
        quantity = Quantity(float(body["number"]), body["unit"], body["comparator"])
    return MarkerResult(Analyte(body["test"]), when, word, quantity)
