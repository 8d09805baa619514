"""Results of the laboratory: kept as they came, read by the tables, held for a person where they doubt."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime

from thimble.actions._append import Refused, append_new, existing
from thimble.clinical.serology import (
    Course,
    Read,
    Result,
    faults,
    read_source,
    read_worker_baseline,
)
from thimble.ledger.assess import Site
from thimble.ledger.bodies import facts_to_json
from thimble.ledger.entries import Entry, Kind
from thimble.ledger.fold import fold
from thimble.ledger.results.recorded import BASELINE, FOLLOW_UP, body_of, course_around
from thimble.ledger.situation import Situation
from thimble.ledger.store import LedgerStore
from thimble.protocol.protocol import Protocol
from thimble.protocol.vocabulary import Value

OPPOSITE = {"positive": "negative", "negative": "positive", "pregnant": "no"}


class Doubtful(Refused):
    """Results that cannot be right as they stand. `faults` say why; nothing was written.

    Whoever was shown this and still wants them on record says so in `looked_at`. A result that cannot
    be (out of range, of the wrong time) goes on settling nothing; one that contradicts what the record
    says then counts.
    """


def record_results(
    store: LedgerStore,
    case: str,
    results: Sequence[Result],
    *,
    protocol: Protocol,
    site: Site,
    now: datetime,
    by: str,
    role: str,
    drawn_for: str = "",
    action: str | None = None,
    text: str = "",
    laboratory: str = "",
    looked_at: str = "",
    doubts_shown: bool = True,
    message: str = "",
    expected_position: int | None = None,
) -> list[Entry]:
    """Results of one sample of one person, with what they settle for the plan.

    Args:
        drawn_for: `baseline` or `follow_up`, for a sample of the worker.
        action: the action of the plan that the sample belongs to, if it is to be named.
        looked_at: why doubtful results are recorded all the same.
        doubts_shown: whether whoever wrote `looked_at` had seen the doubts; without that it answers
            another question and silences none.
        message: the digest of the message that they came in, if they did.

    Raises:
        Doubtful: a result is out of range, of the wrong time, or contradicts what is known, and nobody
            says to have looked at it.
        Refused: no result, results of two people or two samples, a report that is still to come.
        NoSuchCase, Overtaken: as `append`.
    """
    if not results:
        raise Refused("there is no result to record; choose a word or write a number for one test")
    entries = existing(store, case)
    situation = fold(entries, now, protocol.vocabulary)
    # What the plan asks for bears on follow-up readings alone, and they settle no fact.
    course = course_around(situation, (), protocol, site.zone)
    person = results[0].of
    follow_up = person == "worker" and (drawn_for or FOLLOW_UP) == FOLLOW_UP
    earlier = [r.result for r in situation.results if r.result.of == person]
    settled: dict[str, Value] = {}
    taken_back: set[str] = set()
    if not follow_up:
        # What comes of the exposure is read, and is no fact about the worker before it.
        before = read(situation, course, now, person)
        after = _read([*_same(situation, person), *results], course, now, person)
        settled = dict(after.settled)
        taken_back = before.settled.keys() - settled.keys()
    doubts = [
        f"{result.name}: {sentence}"
        for result in results
        for sentence in faults(result, course, now, follow_up=follow_up, earlier=earlier)
    ]
    doubts += _against_the_record(settled, situation, protocol)
    if doubts and not (doubts_shown and looked_at.strip()):
        raise Doubtful(doubts)
    try:
        body = body_of(
            results,
            {**facts_to_json(settled), **dict.fromkeys(taken_back)},
            drawn_for=drawn_for,
            text=text,
            laboratory=laboratory,
            looked_at=looked_at.strip(),
        )
    except ValueError as error:
        raise Refused(str(error)) from error
    if action is not None:
        body["action"] = action
    if message:
        body["message"] = message
    return append_new(
        store, case, [(Kind.RESULT_RECEIVED, body)], now=now, by=by, role=role,
        happened_at=results[0].reported_at, expected_position=expected_position,
        vocabulary=protocol.vocabulary,
    )  # fmt: skip


def read(situation: Situation, course: Course, now: datetime, person: str) -> Read:
    """What the results of a case settle of one person: the source, or the worker at baseline."""
    return _read(_same(situation, person), course, now, person)


def _same(situation: Situation, person: str) -> list[Result]:
    return [
        r.result for r in situation.results
        if r.result.of == person and (person == "source" or r.drawn_for == BASELINE)
    ]  # fmt: skip


def _read(results: Sequence[Result], course: Course, now: datetime, person: str) -> Read:
    reader = read_source if person == "source" else read_worker_baseline
    return reader(results, course, now)


def _against_the_record(
    settled: Mapping[str, Value], situation: Situation, protocol: Protocol
) -> list[str]:
    found = []
    for fact, value in settled.items():
        known = situation.facts.get(fact)
        if known is None or known.said_by == "laboratory" or not isinstance(value, str):
            continue
        if OPPOSITE.get(value) == known.value:
            words = protocol.vocabulary[fact]
            found.append(
                f"{words.question} So far: {words.label(known.value)}. The result says: "
                f"{words.label(value)}. Find out whose blood it was and which is right."
            )
    return found
