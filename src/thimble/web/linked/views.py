"""Was the patient exposed too? One question, and one click that opens the patient's own case."""

from __future__ import annotations

from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_GET, require_POST

from thimble import actions
from thimble.actions import Refused
from thimble.actions.linking import TOUCHED
from thimble.ledger.entries import Entry, Kind
from thimble.ledger.linking import PATIENT_CASE, WORKER_CASE, linked
from thimble.ledger.store import Overtaken
from thimble.web import clock, log
from thimble.web.access import can, needs
from thimble.web.context import get_identities, get_protocol, get_store
from thimble.web.desk.handling import (
    canonical,
    go,
    overtaken_response,
    position_of,
    read,
    who,
    write,
)
from thimble.web.desk.reading import Reading


@never_cache
@needs("view_case", "see_source")
@require_GET
def patient(request: HttpRequest, ref: str) -> HttpResponse:
    """The question, its answer, and the cases that belong together."""
    return _show(request, read(canonical(ref)))


def _show(request: HttpRequest, reading: Reading, *, fault: str = "") -> HttpResponse:
    fact = get_protocol().vocabulary[TOUCHED]
    known = reading.situation.facts.get(TOUCHED)
    context = {
        "case": reading.case,
        "position": reading.position,
        "question": fact.question,
        "help": fact.help,
        "choices": [
            (v, fact.labels[v], known is not None and known.value == v) for v in fact.values
        ],
        "answered": "" if known is None else fact.label(known.value),
        "exposed": known is not None and known.value != "no",
        "patient_cases": linked(reading.situation, PATIENT_CASE),
        "worker_cases": linked(reading.situation, WORKER_CASE),
        "may": can(request, "record_facts") and reading.situation.closed_at is None,
        "fault": fault,
    }
    return render(request, "linked/patient.html", context, status=422 if fault else 200)


@never_cache
@needs("view_case", "see_source", "record_facts")
@require_POST
def answer(request: HttpRequest, ref: str) -> HttpResponse:
    """What was answered to the question."""
    reading = read(canonical(ref))
    fact = get_protocol().vocabulary[TOUCHED]
    said = request.POST.get("touched", "")
    if said not in fact.values:
        return _show(
            request, reading, fault="Choose an answer. Choose “Cannot be known” if nobody knows."
        )
    by = str(request.user.pk)

    def mine(entry: Entry) -> bool:
        return entry.kind is Kind.FACT_LEARNED and entry.body["facts"].get(TOUCHED) == said

    try:
        position = position_of(request)
        came_first = write(
            lambda: actions.learn_facts(
                get_store(), reading.case, {TOUCHED: said}, said_by="clinician",
                vocabulary=get_protocol().vocabulary, now=clock.now(),
                expected_position=position, **who(request),
            ),
            mine=mine, by=by,
        )  # fmt: skip
    except Refused as refused:
        return _show(request, read(reading.case), fault=str(refused))
    if came_first:
        told = [(fact.question, fact.labels[said])]
        return overtaken_response(request, read(reading.case), came_first, told)
    log.event("patient_touched_answered", case=reading.case, account=by)
    return go(request, reverse("linked:patient", args=[reading.case]))


@never_cache
@needs("view_case", "see_source", "see_source_identity", "record_facts")
@require_POST
def open_case(request: HttpRequest, ref: str) -> HttpResponse:
    """Open the patient's case and go there. Sent twice, it shows the one that is open."""
    reading = read(canonical(ref))
    try:
        position = position_of(request)
        with transaction.atomic():
            opened = actions.open_patient_case(
                get_store(), reading.case, identities=get_identities(),
                vocabulary=get_protocol().vocabulary, now=clock.now(),
                expected_position=position, **who(request),
            )  # fmt: skip
    except Overtaken as overtaken:
        now = read(reading.case)
        if linked(now.situation, PATIENT_CASE):
            return go(request, reverse("linked:patient", args=[reading.case]))
        return overtaken_response(
            request, now, overtaken.new_entries, [("The patient's own case", "to be opened")]
        )
    except Refused as refused:
        return _show(request, read(reading.case), fault=str(refused))
    log.event("patient_case_opened", case=opened, account=str(request.user.pk))
    return go(request, reverse("desk:case", args=[opened]))
