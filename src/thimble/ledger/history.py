"""Entries in plain words, for the history of a case. Codes become the labels people know."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, tzinfo
from typing import Any

from thimble.clinical.saying import calendar_day, day, minute
from thimble.clinical.series import PartialDate
from thimble.ledger.bodies import (
    AGREEMENTS,
    ANSWERS,
    ASKED_WHOM,
    ASKERS,
    BLOOD_HELD,
    CALL_OUTCOMES,
    CAPACITY,
    CLOSED_REASONS,
    CONTACT_ABOUT,
    CONTACT_BY,
    CONTACT_OUTCOMES,
    FITNESS_OUTCOMES,
    FITNESS_RESTRICTIONS,
    GROUNDS,
    INFECTIONS,
    LINKS,
    REACHING_DECISIONS,
    from_json,
)
from thimble.ledger.chasing import SETTLE, SETTLED_WORDS
from thimble.ledger.course_words import OF_A_COURSE, course_words
from thimble.ledger.entries import Entry, Kind
from thimble.ledger.exposed import as_written
from thimble.ledger.fold import known_by, standing
from thimble.ledger.resulting import results_in, said_of
from thimble.protocol.vocabulary import Fact

LABELS: Mapping[Kind, str] = {
    Kind.REPORTED: "Exposure reported",
    Kind.FACT_LEARNED: "Answer recorded",
    Kind.CANNOT_BE_KNOWN: "Cannot be known",
    Kind.FIRST_AID_GIVEN: "First aid given",
    Kind.ASSESSED: "Seen by a clinician",
    Kind.SAMPLE_TAKEN: "Blood taken",
    Kind.RESULT_RECEIVED: "Result received",
    Kind.SOURCE_ASKED: "Source patient asked for consent",
    Kind.SOURCE_CONSENTED: "Source patient consented",
    Kind.SOURCE_REFUSED: "Source patient refused",
    Kind.SOURCE_LACKS_CAPACITY: "Source patient cannot decide now",
    Kind.SOURCE_SAMPLED: "Blood of the source patient taken",
    Kind.SOURCE_DIED: "Source patient died",
    Kind.SOURCE_DISCHARGED: "Source patient went home",
    Kind.SOURCE_NOT_IDENTIFIED: "Nobody knows who the source is",
    Kind.SOURCE_AUTHORISED: "Decided that the source may be tested",
    Kind.SOURCE_STATUS_FOUND: "Status of the source found in the chart",
    Kind.SOURCE_IDENTITY_PURGED: "Who the source was is erased",
    Kind.ESCALATED: "Registrar called about the source",
    Kind.DOSE_GIVEN: "Dose given",
    Kind.ADVICE_SOUGHT: "Advice sought",
    Kind.ADVICE_GIVEN: "Advice given",
    Kind.TABLETS_HANDED_OUT: "Tablets handed out",
    Kind.DOSES_MISSED: "Doses missed",
    Kind.SIDE_EFFECT: "Side effect",
    Kind.COURSE_REVIEWED: "Course reviewed",
    Kind.COURSE_CHANGED: "Medicine changed",
    Kind.COURSE_STOPPED: "Course ended",
    Kind.COURSE_RESUMED: "Course resumed",
    Kind.COUNSELLED: "Worker counselled",
    Kind.PLAN_SIGNED: "Plan signed",
    Kind.DEPARTED: "Departure from the advice",
    Kind.VISITS_AGREED: "Visits agreed",
    Kind.VISIT_MISSED: "Visit missed",
    Kind.CONTACTED: "Worker contacted",
    Kind.WORKER_AGREED: "What the worker agrees to",
    Kind.REACHING_DECIDED: "Decided about a worker not reached",
    Kind.DOSES_ON_RECORD: "Earlier doses of vaccine",
    Kind.FITNESS_DECIDED: "Fitness decided",
    Kind.LINKED: "Another case belongs to this one",
    Kind.CORRECTED: "Correction",
    Kind.NOTED: "Note",
    Kind.CLOSED: "Case closed",
    Kind.REOPENED: "Case reopened",
}
"""What each kind is called."""

SAID_BY = {
    "worker": "said by the worker",
    "clinician": "said by the clinician",
    "laboratory": "from the laboratory",
    "record": "from the record",
}


@dataclass(frozen=True, slots=True)
class Line:
    """One entry of the history.

    `details` are sentences in the words that were recorded. `happened_at` is given only where it
    was not the moment of writing. `corrected_by` are the positions of entries that set this one
    right; `withdrawn` says that it counts no more.
    """

    position: int
    kind: Kind
    label: str
    details: tuple[str, ...]
    recorded_at: datetime
    happened_at: datetime | None
    by: str
    role: str
    digest: str
    corrected_by: tuple[int, ...] = ()
    withdrawn: bool = False


def history(
    entries: Sequence[Entry],
    vocabulary: Mapping[str, Fact],
    zone: tzinfo,
    *,
    as_of: datetime | None = None,
    actions: Mapping[str, str] | None = None,
    say: Callable[[str], str] = as_written,
) -> list[Line]:
    """The entries of one case in plain words, oldest first, each as it was written.

    Args:
        entries: of one case.
        vocabulary: for the words of facts and values.
        zone: in which instants are shown.
        as_of: leave out what was recorded later.
        actions: the words for action ids (a protocol's `what`), where they are known.
        say: puts fixed words for who is exposed; what was typed stays as it is.
    """
    known = list(entries) if as_of is None else known_by(entries, as_of)
    corrected_by: dict[int, list[int]] = {}
    stands = standing(known)
    for entry in known:
        # A correction that was itself withdrawn corrects nothing.
        if entry.kind is Kind.CORRECTED and (found := stands[entry.position]) is not None:
            corrected_by.setdefault(found.body["corrects"], []).append(entry.position)
    return [
        Line(
            position=entry.position,
            kind=entry.kind,
            label=say(LABELS[entry.kind]),
            details=tuple(details(entry, vocabulary, zone, actions or {}, say)),
            recorded_at=entry.recorded_at,
            happened_at=None if entry.happened_at == entry.recorded_at else entry.happened_at,
            by=entry.by,
            role=entry.role,
            digest=entry.digest,
            corrected_by=tuple(corrected_by.get(entry.position, ())),
            withdrawn=stands[entry.position] is None,
        )
        for entry in known
    ]


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
            said.append(_when(body, zone))
            said += _labelled(body, place="Place", task="Task", account="In their words")
            said += facts(body["facts"])
            if not body["contact_left"]:
                said.append(say("No way to reach the worker was left."))
        case Kind.FACT_LEARNED:
            said += [*facts(body["facts"]), f"{say(SAID_BY[body['said_by']]).capitalize()}."]
        case Kind.CANNOT_BE_KNOWN:
            fact = body["fact"]
            said.append(vocabulary[fact].question if fact in vocabulary else fact.replace("_", " "))
            said += _labelled(body, reason="Why")
        case Kind.FIRST_AID_GIVEN:
            said += body["steps"]
            if body.get("minutes") is not None:
                said.append(f"For {body['minutes']:g} min.")
        case Kind.RESULT_RECEIVED:
            said += [
                *_results(body, zone, say),
                *facts({fact: value for fact, value in body["facts"].items() if value is not None}),
                *_labelled(body, text="Result", laboratory="Laboratory", looked_at="Looked at"),
            ]
        case Kind.DOSE_GIVEN:
            said += [
                words(body["action"]),
                *_labelled(body, product="Product", amount="Amount", batch="Batch"),
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
            said += _labelled(body, advised="Advised", decided="Decided", reason="Reason")
        case Kind.VISITS_AGREED | Kind.VISIT_MISSED | Kind.CONTACTED:
            said += _following(kind, body, words, say)
        case (
            Kind.WORKER_AGREED
            | Kind.DOSES_ON_RECORD
            | Kind.REACHING_DECIDED
            | Kind.FITNESS_DECIDED
            | Kind.LINKED
            | Kind.COUNSELLED
        ):
            said += _keeping_in_touch(kind, body, words, say)
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
                *_labelled(body, specimen="Specimen", request="Request"),
                *_of_the_source(kind, body, say),
            ]
    return [sentence for sentence in said if sentence]


def _results(body: Mapping[str, Any], zone: tzinfo, say: Callable[[str], str]) -> Iterable[str]:
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
    yield from _labelled(body, decided_by="Decided by")


def _of_the_source(kind: Kind, body: Mapping[str, Any], say: Callable[[str], str]) -> Iterable[str]:
    if kind is Kind.SOURCE_STATUS_FOUND:
        yield f"{INFECTIONS[body['infection']]}: {body['status']}."
        yield f"Evidence of {_day(body['evidence_on'])}: {body['evidence']}"
    elif kind is Kind.SOURCE_IDENTITY_PURGED:
        yield f"Kept for {body['kept']} after the case was closed on {_day(body['closed_on'])}."
        yield f"Rule: {body['rule']}"
    elif kind is Kind.ESCALATED:
        yield f"{body['to']}: {CALL_OUTCOMES[body['outcome']]}."
        yield from _labelled(body, answer="Answer")
    else:
        yield from _of_a_step(body, say)


def _following(
    kind: Kind, body: Mapping[str, Any], words: Callable[[str], str], say: Callable[[str], str]
) -> Iterable[str]:
    if kind is Kind.VISITS_AGREED:
        for visit in body["visits"]:
            hour = f", {visit['at']}" if "at" in visit else ""
            yield f"{_day(visit['day'])}{hour}: {'; '.join(map(words, visit['actions']))}."
        if not body["visits"]:
            yield "No visit is agreed any more."
        for away in body["unavailable"]:
            yield f"{say('The worker')} cannot come from {_day(away['first'])} to {_day(away['last'])}."
    elif kind is Kind.VISIT_MISSED:
        yield f"Expected on {_day(body['day'])}."
    else:
        how, outcome = CONTACT_BY[body["how"]], CONTACT_OUTCOMES[body["outcome"]]
        about = CONTACT_ABOUT.get(body.get("about", ""), "")
        told = f", {about} for {_day(body['visit'])}" if about and "visit" in body else ""
        yield f"{how.capitalize()}{told}: {outcome}."
    yield from _labelled(body, text="Note")


def _closing(
    body: Mapping[str, Any], words: Callable[[str], str], say: Callable[[str], str]
) -> Iterable[str]:
    yield f"{say(CLOSED_REASONS[body['reason']]).capitalize()}."
    yield from _labelled(body, text="Why")
    if body.get("left"):
        yield f"Left undone: {'; '.join(words(id_) for id_ in body['left'])}."


def _keeping_in_touch(
    kind: Kind, body: Mapping[str, Any], words: Callable[[str], str], say: Callable[[str], str]
) -> Iterable[str]:
    if kind is Kind.WORKER_AGREED:
        told = "Agrees to" if body["agreed"] else "Does not agree to"
        yield f"{told} {AGREEMENTS[body['to']]}."
    elif kind is Kind.DOSES_ON_RECORD:
        days = [PartialDate.parse(dose["when"]).words for dose in body["doses"]]
        yield f"Hepatitis B vaccine before: {', '.join(days)}." if days else "None on record."
    elif kind is Kind.REACHING_DECIDED:
        yield f"{say(REACHING_DECISIONS[body['decision']]).capitalize()}."
        if body["until"]:
            yield f"To be decided anew on {_day(body['until'])}."
    elif kind is Kind.FITNESS_DECIDED:
        yield from _fitness(body)
    elif kind is Kind.LINKED:
        yield f"Case {body['case']}: {LINKS[body['is']]}."
    else:
        yield words(body["action"])
        if answer := body.get("answer"):
            yield f"{ANSWERS[answer].capitalize()}."
    yield from _labelled(body, text="Note")


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
        yield _when(body["body"], zone)
    if "happened_at" in body:
        yield f"It was at {_instant(body['happened_at'], zone)}."
    for key, value in body.get("body", {}).items():
        if (
            isinstance(value, str)
            and value
            and not key.startswith("occurred_at")
            and key != "token"
        ):
            yield f"{key.replace('_', ' ').capitalize()}: {value}"


def _day(iso: str) -> str:
    return calendar_day(date.fromisoformat(iso))


def _labelled(body: Mapping[str, Any], **labels: str) -> list[str]:
    return [f"{label}: {body[key]}" for key, label in labels.items() if body.get(key)]


def _when(body: Mapping[str, Any], zone: tzinfo) -> str:
    at, precision = body["occurred_at"], body["occurred_at_precision"]
    if at is None:
        return "When it happened is not known."
    local = datetime.fromisoformat(at).astimezone(zone)
    if precision == "date":
        return f"Happened on {day(local, zone)}, at a time not known."
    if precision == "hour":
        return f"Happened on {day(local, zone)} in the hour from {local:%H}:00."
    return f"Happened on {minute(local, zone)}."


def _instant(text: str, zone: tzinfo) -> str:
    return minute(datetime.fromisoformat(text), zone)


def _fitness(body: Mapping[str, Any]) -> Iterable[str]:
    """The decision in terms of work. Its reason and facts are the physician's, on the page of fitness."""
    yield f"{FITNESS_OUTCOMES[body['outcome']].capitalize()}; {FITNESS_RESTRICTIONS[body['restriction']]}."
    if body["review_on"]:
        yield f"To be reviewed on {_day(body['review_on'])}."
    protocol = body["protocol"]
    yield f"Tables {protocol['id']}, edition {protocol['edition']}, digest {protocol['digest'][:16]}."
