"""The worker's evidence of immunity with its dates; what it answers is taken over with one click."""

from __future__ import annotations

from dataclasses import dataclass

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_GET, require_POST

from thimble import actions
from thimble.actions import Refused
from thimble.clinical.diseases import DISEASES
from thimble.ledger.entries import Entry, Kind
from thimble.people.entries import Kind as Kind_
from thimble.people.fold import Evidence
from thimble.people.immunity import SHOWN, about, shown
from thimble.protocol.vocabulary import Value
from thimble.web import clock, log
from thimble.web.access import can, needs
from thimble.web.context import get_protocol, get_store, looked, today
from thimble.web.desk.handling import (
    go,
    overtaken_response,
    position_of,
    read,
    who,
    workers_case,
    write,
)
from thimble.web.desk.reading import Reading
from thimble.web.desk.words import value_words
from thimble.web.on_record.answering import doses_for, doses_to_take, offered_to
from thimble.web.on_record.finding import OnRecord, born, on_record
from thimble.web.on_record.glance import seen_already
from thimble.web.on_record.taken import put_aside, source_of
from thimble.web.people import words


@dataclass(frozen=True, slots=True)
class Answer:
    """A fact that the file answers: the question, the answer, what shows it, and what the case has."""

    fact: str
    question: str
    label: str
    shows: tuple[str, ...]
    held: str
    same: bool

    @property
    def told(self) -> str:
        """What shows it, and what the case says now."""
        shows = "; ".join(self.shows)
        return f"{shows}. The case says now: {self.held}" if self.held else shows


@never_cache
@needs("view_case", "see_worker_identity", "see_immunity")
@require_GET
def show(request: HttpRequest, ref: str) -> HttpResponse:
    """What is on record, to read and to take over."""
    return _page(request, workers_case(ref))


def _page(request: HttpRequest, reading: Reading, *, fault: str = "") -> HttpResponse:
    found = on_record(reading.case)
    if found is None:
        raise Http404("the register knows nobody with the worker's number")
    looked(request, [found.person.reference], whose="worker", where="on record")
    answers = [] if found.doubt else _answers(found, reading)
    context = {
        "case": reading.case,
        "position": reading.position,
        "name": found.identity.name,
        "born": born(found.identity),
        "doubt": found.doubt,
        "parts": [] if found.doubt else _parts(found),
        "answers": answers,
        "to_take": [answer for answer in answers if not answer.same],
        "doses": "" if found.doubt else doses_to_take(found, reading),
        "aside": seen_already(found, reading),
        "may": can(request, "record_facts") and reading.situation.closed_at is None,
        "fault": fault,
    }
    return render(request, "on_record/show.html", context, status=422 if fault else 200)


def _parts(found: OnRecord) -> list[tuple[str, list[tuple[str, str, str, str]]]]:
    evidence = sorted(shown(found.person), key=words.order)
    parts = [(DISEASES[d], [_line(e) for e in evidence if d in about(e)]) for d in SHOWN]
    return [(name, lines) for name, lines in parts if lines]


def _line(evidence: Evidence) -> tuple[str, str, str, str]:
    when = words.day(evidence.body.get("when") or evidence.body.get("on"))
    seen = "verified" if evidence.verified else "nobody has verified it"
    if evidence.kind is Kind_.COUNSELLED:
        seen = "written down by whoever was there"
    if evidence.body.get("message") and not evidence.verified:
        seen = "the laboratory's own message"
    return when, words.title(evidence), " · ".join(words.remarks(evidence)), seen


def _answers(found: OnRecord, reading: Reading) -> list[Answer]:
    vocabulary = get_protocol().vocabulary
    evidence = {e.entry: e for e in found.person.evidence}
    answers = []
    for each in offered_to(found, reading):
        fact = vocabulary.get(each.fact)
        if fact is None:
            continue
        known = reading.situation.facts.get(each.fact)
        answers.append(
            Answer(
                fact=each.fact,
                question=fact.question,
                label=value_words(fact, each.value),
                shows=tuple(
                    f"{words.title(evidence[n])}, {words.day(evidence[n].body['when'])}"
                    for n in each.entries
                ),
                held="" if known is None else value_words(fact, known.value),
                same=known is not None and known.value == each.value,
            )
        )
    return answers


@never_cache
@needs("view_case", "see_worker_identity", "see_immunity", "record_facts")
@require_POST
def take(request: HttpRequest, ref: str) -> HttpResponse:
    """Take the ticked answers over, said by the record; where they come from is noted beside them."""
    reading = workers_case(ref)
    found = on_record(reading.case)
    if found is None or found.doubt:
        raise Http404("the register knows nobody with the worker's number and name")
    chosen = set(request.POST.getlist("fact"))
    taken = [each for each in offered_to(found, reading) if each.fact in chosen]
    doses = doses_for(found, reading) if "doses" in request.POST else ()
    if not (taken or doses) or len(taken) != len(chosen):
        return _page(
            request, reading, fault="Tick what you take over. What is on record may have changed."
        )
    facts: dict[str, Value] = {each.fact: each.value for each in taken}
    entries = sorted({n for each in taken for n in each.entries})
    source = (
        f"{source_of(found.person.reference)}: "
        f"{'entry' if len(entries) == 1 else 'entries'} {', '.join(map(str, entries))}."
    )
    common = {"now": clock.now(), **who(request)}

    def mine(entry: Entry) -> bool:
        if not facts:
            return entry.kind is Kind.DOSES_ON_RECORD
        return entry.kind is Kind.FACT_LEARNED and set(entry.body["facts"]) == set(facts)

    def doing() -> object:
        store = get_store()
        with store.transaction():
            written: object = None
            if facts:
                written = actions.learn_facts(
                    store, reading.case, facts, said_by="record",
                    vocabulary=get_protocol().vocabulary, expected_position=position, **common,
                )  # fmt: skip
                actions.note(store, reading.case, source, **common)
            if doses:
                written = actions.doses_on_record(
                    store, reading.case, doses, today=today(),
                    text=f"{source_of(found.person.reference)}.",
                    expected_position=None if facts else position, **common,
                )  # fmt: skip
        return written

    try:
        position = position_of(request)
        came_first = write(doing, mine=mine, by=str(request.user.pk))
    except Refused as refused:
        return _page(request, read(reading.case), fault=str(refused))
    if came_first:
        vocabulary = get_protocol().vocabulary
        told = [(vocabulary[f].question, vocabulary[f].label(v)) for f, v in facts.items()]
        told += [("Hepatitis B vaccine before", dose.when.words) for dose in doses]
        return overtaken_response(request, read(reading.case), came_first, told)
    log.event("immunity_taken_over", case=reading.case, account=str(request.user.pk))
    return go(request, f"{reverse('desk:case', args=[reading.case])}?since={position}#recorded")


@never_cache
@needs("view_case", "see_worker_identity", "see_immunity", "record_facts")
@require_POST
def aside(request: HttpRequest, ref: str) -> HttpResponse:
    """Looked at, and nothing more of it is wanted for this case: its page does not lead to it any more."""
    reading = workers_case(ref)
    found = on_record(reading.case)
    if found is None:
        raise Http404("the register knows nobody with the worker's number")
    try:
        actions.note(
            get_store(), reading.case, put_aside(found.person.reference), now=clock.now(), **who(request)
        )  # fmt: skip
    except Refused as refused:
        return _page(request, read(reading.case), fault=str(refused))
    log.event("immunity_put_aside", case=reading.case, account=str(request.user.pk))
    return go(request, reverse("desk:case", args=[reading.case]))
