"""What an entry about visits, contact, consent and fitness says."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import Any

from thimble.clinical.series import PartialDate
from thimble.ledger.bodies import (
    AGREEMENTS,
    ANSWERS,
    CONTACT_ABOUT,
    CONTACT_BY,
    CONTACT_OUTCOMES,
    FITNESS_OUTCOMES,
    FITNESS_RESTRICTIONS,
    LINKS,
    REACHING_DECISIONS,
)
from thimble.ledger.entries import Kind
from thimble.ledger.history.phrases import day_words, labelled


def visit_words(
    kind: Kind, body: Mapping[str, Any], words: Callable[[str], str], say: Callable[[str], str]
) -> Iterable[str]:
    """Visits agreed or missed, and what came of a contact."""
    if kind is Kind.VISITS_AGREED:
        for visit in body["visits"]:
            hour = f", {visit['at']}" if "at" in visit else ""
            yield f"{day_words(visit['day'])}{hour}: {'; '.join(map(words, visit['actions']))}."
        if not body["visits"]:
            yield "No visit is agreed any more."
        for away in body["unavailable"]:
            first, last = day_words(away["first"]), day_words(away["last"])
            yield f"{say('The worker')} cannot come from {first} to {last}."
    elif kind is Kind.VISIT_MISSED:
        yield f"Expected on {day_words(body['day'])}."
    else:
        how, outcome = CONTACT_BY[body["how"]], CONTACT_OUTCOMES[body["outcome"]]
        about = CONTACT_ABOUT.get(body.get("about", ""), "")
        told = f", {about} for {day_words(body['visit'])}" if about and "visit" in body else ""
        yield f"{how.capitalize()}{told}: {outcome}."
    yield from labelled(body, text="Note")


def contact_words(
    kind: Kind, body: Mapping[str, Any], words: Callable[[str], str], say: Callable[[str], str]
) -> Iterable[str]:
    """What the worker agrees to, what was decided about them, what they were told."""
    if kind is Kind.WORKER_AGREED:
        told = "Agrees to" if body["agreed"] else "Does not agree to"
        yield f"{told} {AGREEMENTS[body['to']]}."
    elif kind is Kind.DOSES_ON_RECORD:
        days = [PartialDate.parse(dose["when"]).words for dose in body["doses"]]
        yield f"Hepatitis B vaccine before: {', '.join(days)}." if days else "None on record."
    elif kind is Kind.REACHING_DECIDED:
        yield f"{say(REACHING_DECISIONS[body['decision']]).capitalize()}."
        if body["until"]:
            yield f"To be decided anew on {day_words(body['until'])}."
    elif kind is Kind.FITNESS_DECIDED:
        yield from _fitness(body)
    elif kind is Kind.LINKED:
        yield f"Case {body['case']}: {LINKS[body['is']]}."
    else:
        yield words(body["action"])
        if answer := body.get("answer"):
            yield f"{ANSWERS[answer].capitalize()}."
    yield from labelled(body, text="Note")


def _fitness(body: Mapping[str, Any]) -> Iterable[str]:
    """The decision in terms of work. Its reason and facts are the physician's, on the page of fitness."""
    yield f"{FITNESS_OUTCOMES[body['outcome']].capitalize()}; {FITNESS_RESTRICTIONS[body['restriction']]}."
    if body["review_on"]:
        yield f"To be reviewed on {day_words(body['review_on'])}."
    protocol = body["protocol"]
    yield f"Tables {protocol['id']}, edition {protocol['edition']}, digest {protocol['digest'][:16]}."
