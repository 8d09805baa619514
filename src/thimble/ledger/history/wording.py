"""What an entry says, as sentences."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from datetime import tzinfo
from typing import Any

from thimble.clinical.series.schedule import vaccine_name
from thimble.ledger.bodies import (
    CLOSED_REASONS,
    from_json,
)
from thimble.ledger.entries import Entry, Kind
from thimble.ledger.exposed import as_written
from thimble.ledger.history.of_the_source import result_words, source_words
from thimble.ledger.history.of_the_worker import contact_words, visit_words
from thimble.ledger.history.phrases import instant_words, labelled, when_words
from thimble.ledger.prophylaxis.words import OF_A_COURSE, course_words
from thimble.ledger.source.chasing import SETTLE, SETTLED_WORDS
from thimble.protocol.vocabulary import Fact

SAID_BY = {
    "worker": "said by the worker",
    "clinician": "said by the clinician",
    "laboratory": "from the laboratory",
    "record": "from the record",
}


def details(
    entry: Entry,
    vocabulary: Mapping[str, Fact],
    zone: tzinfo,
    actions: Mapping[str, str],
    say: Callable[[str], str] = as_written,
) -> list[str]:
    """What an entry says, as sentences; `say` puts the fixed ones for who is exposed."""
    return _of(entry.kind, entry.body, vocabulary, zone, actions, say)


def fact_words(fact: str, given: object, vocabulary: Mapping[str, Fact]) -> str:
    """A question with its answer in words. What the vocabulary no longer holds stays as written."""
    if fact not in vocabulary:
        return f"{fact.replace('_', ' ')}: {given}"
    try:
        value = vocabulary[fact].check(from_json(given))
    except ValueError:
        return f"{vocabulary[fact].question} {given}"
    return f"{vocabulary[fact].question} {vocabulary[fact].label(value)}"


def _of(
    kind: Kind,
    body: Mapping[str, Any],
    vocabulary: Mapping[str, Fact],
    zone: tzinfo,
    actions: Mapping[str, str],
    say: Callable[[str], str],
) -> list[str]:
    def words(action: str) -> str:
        if action == SETTLE:
            return SETTLED_WORDS
        return actions.get(action, action.replace("_", " "))

    def facts(given: Mapping[str, Any]) -> list[str]:
        # In the order of the vocabulary: the canonical form has sorted them by name.
        place = {fact: at for at, fact in enumerate(vocabulary)}
        in_order = sorted(given, key=lambda fact: (place.get(fact, len(place)), fact))
        return [fact_words(fact, given[fact], vocabulary) for fact in in_order]

    said: list[str] = []
    match kind:
        case Kind.REPORTED:
            said.append(when_words(body, zone))
            said += labelled(body, place="Place", task="Task", account="In their words")
            said += facts(body["facts"])
            if not body["contact_left"]:
                said.append(say("No way to reach the worker was left."))
        case Kind.FACT_LEARNED:
            said += [*facts(body["facts"]), f"{say(SAID_BY[body['said_by']]).capitalize()}."]
        case Kind.CANNOT_BE_KNOWN:
            fact = body["fact"]
            said.append(vocabulary[fact].question if fact in vocabulary else fact.replace("_", " "))
            said += labelled(body, reason="Why")
        case Kind.FIRST_AID_GIVEN:
            said += body["steps"]
            if body.get("minutes") is not None:
                said.append(f"For {body['minutes']:g} min.")
        case Kind.RESULT_RECEIVED:
            said += [
                *result_words(body, zone, say),
                *facts({fact: value for fact, value in body["facts"].items() if value is not None}),
                *labelled(body, text="Result", laboratory="Laboratory", looked_at="Looked at"),
            ]
        case Kind.DOSE_GIVEN:
            said += [
                words(body["action"]),
                *labelled(body, product="Product", amount="Amount", batch="Batch"),
                *([f"Vaccine: {vaccine_name(body['cvx'])}."] if "cvx" in body else []),
                *([f"Handed out for {body['days']} days."] if "days" in body else []),
            ]
        case _ if kind in OF_A_COURSE:
            said += course_words(kind, body, zone, say)
        case Kind.PLAN_SIGNED:
            protocol = body["protocol"]
            settled = sum(value is not None for value in body["decisions"].values())
            said.append(f"Protocol {protocol['id']}, edition {protocol['edition']}.")
            said.append(
                f"{settled} of {len(body['decisions'])} decisions settled, "
                f"{len(body['actions'])} actions, {body['cautions_shown']} cautions shown."
            )
        case Kind.DEPARTED:
            said.append(f"About: {words(body['subject'])}")
            said += labelled(body, advised="Advised", decided="Decided", reason="Reason")
        case Kind.VISITS_AGREED | Kind.VISIT_MISSED | Kind.CONTACTED:
            said += visit_words(kind, body, words, say)
        case (
            Kind.WORKER_AGREED
            | Kind.DOSES_ON_RECORD
            | Kind.REACHING_DECIDED
            | Kind.FITNESS_DECIDED
            | Kind.LINKED
            | Kind.COUNSELLED
        ):
            said += contact_words(kind, body, words, say)
        case Kind.CORRECTED:
            said.append(f"Sets right entry {body['corrects']}.")
            said += _correction(body, vocabulary, zone)
        case Kind.CLOSED:
            said += _closing(body, words, say)
        case _:
            if "action" in body:
                said.append(words(body["action"]))
            said += [
                *(body[key] for key in ("text", "note", "reason") if body.get(key)),
                *labelled(body, specimen="Specimen", request="Request"),
                *source_words(kind, body, say),
            ]
    return [sentence for sentence in said if sentence]


def _closing(
    body: Mapping[str, Any], words: Callable[[str], str], say: Callable[[str], str]
) -> Iterable[str]:
    yield f"{say(CLOSED_REASONS[body['reason']]).capitalize()}."
    yield from labelled(body, text="Why")
    if body.get("left"):
        yield f"Left undone: {'; '.join(words(id_) for id_ in body['left'])}."


def _correction(
    body: Mapping[str, Any], vocabulary: Mapping[str, Fact], zone: tzinfo
) -> Iterable[str]:
    yield f"Reason: {body['reason']}"
    if body.get("withdrawn"):
        yield "That entry is withdrawn: it counts no more."
    for fact, value in body.get("facts", body.get("body", {}).get("facts", {})).items():
        if value is None:
            question = vocabulary[fact].question if fact in vocabulary else fact.replace("_", " ")
            yield f"{question} (answer taken back)"
        else:
            yield fact_words(fact, value, vocabulary)
    if "occurred_at" in body.get("body", {}):
        yield when_words(body["body"], zone)
    if "happened_at" in body:
        yield f"It was at {instant_words(body['happened_at'], zone)}."
    for key, value in body.get("body", {}).items():
        if (
            isinstance(value, str)
            and value
            and not key.startswith("occurred_at")
            and key != "token"
        ):
            yield f"{key.replace('_', ' ').capitalize()}: {value}"
