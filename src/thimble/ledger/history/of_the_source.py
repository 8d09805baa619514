"""What an entry about the source patient, or about a result, says."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from datetime import tzinfo
from typing import Any

from thimble.clinical.saying import minute
from thimble.ledger.bodies import (
    ASKED_WHOM,
    ASKERS,
    BLOOD_HELD,
    CALL_OUTCOMES,
    CAPACITY,
    GROUNDS,
    INFECTIONS,
)
from thimble.ledger.entries import Kind
from thimble.ledger.history.phrases import day_words, labelled
from thimble.ledger.results.recorded import results_in, said_of


def result_words(body: Mapping[str, Any], zone: tzinfo, say: Callable[[str], str]) -> Iterable[str]:
    """The results of an entry, whose they are and when the blood was taken."""
    found = results_in(body, 0)
    if not found:
        return
    first = found[0].result
    taken = "at a time not known" if first.taken_at is None else minute(first.taken_at, zone)
    whose = "the source patient" if first.of == "source" else "the worker"
    yield f"Blood of {say(whose)}, taken {taken}, {first.place}."
    for one in found:
        yield f"{one.result.name}: {said_of(one.result)}."


def _of_a_step(body: Mapping[str, Any], say: Callable[[str], str]) -> Iterable[str]:
    """What a step with the source says beyond its name."""
    words = (
        ("whom", "Whose answer", ASKED_WHOM),
        ("asker", "Asked by", ASKERS),
        ("capacity", "Able to decide", CAPACITY),
        ("blood_held", "Blood in the laboratory already", BLOOD_HELD),
        ("ground", "Ground", GROUNDS),
    )
    for key, label, known in words:
        if body.get(key) in known:
            yield f"{label}: {say(known[body[key]])}."
    yield from labelled(body, decided_by="Decided by")


def source_words(kind: Kind, body: Mapping[str, Any], say: Callable[[str], str]) -> Iterable[str]:
    """What an entry about the source, or about erasing who somebody was, says beyond its name."""
    if kind is Kind.SOURCE_STATUS_FOUND:
        yield f"{INFECTIONS[body['infection']]}: {body['status']}."
        yield f"Evidence of {day_words(body['evidence_on'])}: {body['evidence']}"
    elif kind is Kind.SOURCE_IDENTITY_PURGED:
        yield f"Kept for {body['kept']} after the case was closed on {day_words(body['closed_on'])}."
        yield f"Rule: {body['rule']}"
    elif kind is Kind.WORKER_IDENTITY_PURGED:
        yield f"Left on {day_words(body['left_on'])}; kept until {day_words(body['kept_until'])}."
        yield f"Rule: {body['rule']}"
    elif kind is Kind.ESCALATED:
        yield f"{body['to']}: {CALL_OUTCOMES[body['outcome']]}."
        yield from labelled(body, answer="Answer")
    else:
        yield from _of_a_step(body, say)
