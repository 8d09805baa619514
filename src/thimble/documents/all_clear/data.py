"""The certificate that follow-up is complete, for the worker: only what is on record, in plain words.

Nothing of the source patient stands on it, nor follows from one: results are read without the source's.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import tzinfo
from typing import Any

from thimble.clinical.saying import day, minute, occurrence
from thimble.clinical.serology import Course, Result
from thimble.clinical.site import Site
from thimble.documents.closing_statement.closing import closing_of, reason_in_words
from thimble.documents.frame import Contact, Frame, contacts, frame, mark_of, unconfirmed
from thimble.documents.record import Record
from thimble.ledger.closing import ALL_CLEAR
from thimble.ledger.plan import TO_DO, Plan
from thimble.ledger.results.clearance import (
    INFECTIONS,
    OUTCOMES,
    results_awaited,
    shows_infection,
    why_not_clear,
    without_source,
)
from thimble.ledger.results.of_worker import WorkersResults
from thimble.ledger.situation import Situation
from thimble.protocol.protocol import Protocol


@dataclass(frozen=True, slots=True)
class Negative:
    """A test on record, negative."""

    infection: str
    test: str
    taken: str


@dataclass(frozen=True, slots=True)
class Meaning:
    """What the tests mean, in a sentence."""

    words: str
    unconfirmed: bool


@dataclass(frozen=True, slots=True)
class AllClear:
    """Every word of the certificate. Without `tests` it says nothing of tests."""

    frame: Frame
    name: str
    statement: str
    tests: tuple[Negative, ...]
    meanings: tuple[Meaning, ...]
    cautions: tuple[str, ...]
    closed: str
    contacts: tuple[Contact, ...]
    any_unconfirmed: bool

    def to_data(self) -> dict[str, Any]:
        """For the template."""
        return asdict(self)


def why_no_all_clear(
    plan: Plan, situation: Situation, course: Course, record: Record | None = None
) -> str:
    """Why there is no certificate, in one sentence for the department; "" where there is one."""
    if situation.closed_at is None:
        return "The case is open: an all clear is certified once it is closed as all clear."
    if situation.closed_reason != ALL_CLEAR:
        reason = reason_in_words(situation.closed_reason)
        return f"The case is closed for another reason than an all clear: {reason}."
    closing = closing_of(situation, record or Record())
    if closing is None or not closing.by:
        return "The entry that closed the case is not at hand, so nobody can be named for it."
    if any(action.state in TO_DO and not action.window.waits_for for action in plan.actions):
        return "The plan holds something that is neither done nor decided otherwise."
    if record is not None and (awaited := results_awaited(record.entries)):
        return f"A result is awaited: {'; '.join(each.words(plan.words) for each in awaited)}."
    return why_not_clear(plan, situation, course, plan.now)


def all_clear(
    plan: Plan,
    situation: Situation,
    site: Site,
    protocol: Protocol,
    course: Course,
    *,
    name: str = "",
    record: Record | None = None,
) -> AllClear:
    """The certificate as of `plan.now`.

    Args:
        course: around the worker's results (`ledger.results.recorded.course_around`).
        name: the worker's; "" leaves a line to write it on.
        record: the entries of the case: the one that closed it names who did.

    Raises:
        ValueError: there is no all clear to certify; the sentence says why.
    """
    kept, zone = record or Record(), site.zone
    if why := why_no_all_clear(plan, situation, course, kept):
        raise ValueError(why)
    closing = closing_of(situation, kept)
    if closing is None:
        raise ValueError("The case is open.")
    mine = WorkersResults.of(situation)
    read = mine.since(without_source(course), plan.now)
    results = [result for drawn in mine.counting(plan.now) for result in drawn]
    tests = _negatives(results, zone)
    meanings = tuple(
        Meaning(
            f"Your tests found no infection with {OUTCOMES[reading.decision]} from this exposure.",
            unconfirmed(reading.because),
        )
        for reading in read.readings
        if reading.decision in OUTCOMES
    )
    occurred = situation.occurred_at
    when = (
        f"of {occurrence(occurred, situation.occurred_at_precision, zone)}"
        if occurred
        else "at a time that is not known"
    )
    return AllClear(
        frame=frame(
            "All-clear certificate", "The follow-up of your exposure is complete", site, plan.now,
            mark_of(protocol), situation,
        ),
        name=name,
        statement=(
            f"The follow-up of your exposure to blood or body fluid {when} is complete. "
            "It was completed and signed on "
            f"{day(closing.at, zone)}."
        ),
        tests=tests,
        meanings=meanings if tests else (),
        cautions=(
            "This certificate is about this one exposure. A new exposure starts anew: give first aid "
            "and report it at once.",
            "If you feel ill, or notice one of the warning signs on your plan, come or ring, and say "
            "that you had an exposure.",
        ),
        closed=f"{closing.by}, {minute(closing.at, zone)}, entry {closing.entry}",
        contacts=contacts(site),
        any_unconfirmed=any(meaning.unconfirmed for meaning in meanings),
    )  # fmt: skip


def _negatives(results: Sequence[Result], zone: tzinfo) -> tuple[Negative, ...]:
    return tuple(
        Negative(
            infection,
            result.name,
            "Day not recorded" if result.taken_at is None else day(result.taken_at, zone),
        )
        for infection, analytes in INFECTIONS.items()
        for result in results
        if result.analyte in analytes and shows_infection(result.analyte)
    )
