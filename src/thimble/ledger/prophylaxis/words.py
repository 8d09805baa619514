"""The entries of a course of prophylaxis, and of advice about it, in the words that were recorded."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from datetime import datetime, tzinfo
from typing import Any

from thimble.clinical.saying import counted, minute, opening
from thimble.ledger.bodies import (
    ADHERENCE,
    BASELINE_BLOODS,
    RESUMED_END,
    REVIEW_DECISIONS,
    SEVERITIES,
    SOURCE_RESULT,
    STOP_REASONS,
)
from thimble.ledger.entries import Kind
from thimble.ledger.exposed import as_written

OF_A_COURSE = frozenset(
    {
        Kind.ADVICE_SOUGHT,
        Kind.ADVICE_GIVEN,
        Kind.TABLETS_HANDED_OUT,
        Kind.DOSES_MISSED,
        Kind.SIDE_EFFECT,
        Kind.COURSE_REVIEWED,
        Kind.COURSE_CHANGED,
        Kind.COURSE_STOPPED,
        Kind.COURSE_RESUMED,
    }
)


def course_words(
    kind: Kind, body: Mapping[str, Any], zone: tzinfo, say: Callable[[str], str] = as_written
) -> Iterator[str]:
    """What one entry of a course says, a piece at a time; a kind of `OF_A_COURSE`.

    `say` puts fixed words for who is exposed.
    """
    match kind:
        case Kind.ADVICE_SOUGHT | Kind.ADVICE_GIVEN:
            yield f"From: {body['from']}"
            yield f"Advice: {body['advice']}" if body["advice"].strip() else "No answer yet"
        case Kind.TABLETS_HANDED_OUT:
            yield f"{body['product']}, for {counted(body['days'], 'day')}"
            if body["batch"]:
                yield f"Batch: {body['batch']}"
        case Kind.DOSES_MISSED:
            yield f"{counted(body['count'], 'dose')} missed"
            for key, label in (("last_taken", "Last taken"), ("taken_again", "Taken again")):
                if body[key] is not None:
                    yield f"{label}: {minute(datetime.fromisoformat(body[key]), zone)}"
        case Kind.SIDE_EFFECT:
            yield f"{body['severity'].capitalize()} ({SEVERITIES[body['severity']]})"
            words = say("In the worker's words")
            yield f"{words}: {body['words']}"
            if body["done"]:
                yield f"Done about it: {body['done']}"
        case Kind.COURSE_REVIEWED:
            yield f"Doses: {ADHERENCE[body['adherence']]}"
            yield f"Baseline blood: {BASELINE_BLOODS[body['baseline_bloods']]}"
            yield f"Source's result: {SOURCE_RESULT[body['source_result']]}"
            yield f"Decided: {REVIEW_DECISIONS[body['decision']]}"
        case Kind.COURSE_CHANGED:
            yield f"Now: {body['product']}"
            yield f"Why: {body['reason']}"
        case Kind.COURSE_RESUMED:
            yield f"Why: {body['reason']}"
            yield f"On the advice of: {body['advised_by'] or 'nobody asked yet'}"
            held = body["in_hand"]
            yield f"Tablets still in hand: {'not known' if held is None else f'for {held} days'}"
            yield f"End of the course: {RESUMED_END[body['end']]}"
        case _:
            reason = say(STOP_REASONS[body["reason"]])
            yield opening(reason)
    if body.get("text"):
        yield body["text"]
