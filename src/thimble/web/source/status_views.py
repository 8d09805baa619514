"""What the laboratory and the chart say of the source patient."""

from __future__ import annotations

from datetime import date

from django.http import HttpRequest, HttpResponse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST

from thimble import actions
from thimble.actions import Refused
from thimble.ledger.bodies import INFECTIONS
from thimble.ledger.entries import Kind
from thimble.protocol.vocabulary import Value
from thimble.web import clock
from thimble.web.access import needs
from thimble.web.context import get_protocol, get_store, zone
from thimble.web.desk.handling import (
    canonical,
    moment_of_form,
    position_of,
    read,
    who,
    write,
)
from thimble.web.desk.questions import BadAnswer
from thimble.web.source.page import NOT_A_RESULT, RESULTS
from thimble.web.source.responding import after, faulty


@never_cache
@needs("view_case", "see_source", "record_facts")
@require_POST
def chart(request: HttpRequest, ref: str) -> HttpResponse:
    """What the chart says of the source, with the day of its evidence."""
    reading = read(canonical(ref))
    post, now = request.POST, clock.now()
    try:
        position = position_of(request)
        if post.get("infection") not in INFECTIONS or not post.get("status"):
            raise BadAnswer("Choose the infection, and what the chart says of it.")
        if not post.get("evidence", "").strip():
            raise BadAnswer("Write what in the chart says so, such as “virology report”.")
        try:
            day = date.fromisoformat(post.get("evidence_on", ""))
        except ValueError:
            raise BadAnswer("Enter the day of the evidence, for example 2026-01-17.") from None
        came_first = write(
            lambda: actions.find_status(
                get_store(), reading.case, infection=post.get("infection", ""),
                status=post.get("status", ""), evidence=post.get("evidence", "").strip(),
                evidence_on=day, today=now.astimezone(zone()).date(), now=now,
                expected_position=position, **who(request),
            ),
            mine=lambda e: e.kind is Kind.SOURCE_STATUS_FOUND,
            by=str(request.user.pk),
        )  # fmt: skip
    except (Refused, BadAnswer) as fault:
        return faulty(request, reading, "chart", "", fault)
    said = [("Chart", post.get("evidence", ""))]
    return after(request, reading, position, came_first, said, "source_status_found")


@never_cache
@needs("view_case", "see_source", "record_facts")
@require_POST
def result(request: HttpRequest, ref: str) -> HttpResponse:
    """A laboratory result of the source patient, as facts that the laboratory said."""
    protocol = get_protocol()
    reading = read(canonical(ref))
    facts: dict[str, Value] = {}
    for fact in RESULTS:
        given = request.POST.get(fact, "")
        if given and fact in protocol.vocabulary:
            facts[fact] = given
    text = request.POST.get("text", "").strip()
    said = [
        (protocol.vocabulary[fact].question, protocol.vocabulary[fact].label(value))
        for fact, value in facts.items()
    ]
    now = clock.now()
    try:
        position = position_of(request)
        if not facts and not text:
            raise BadAnswer("Choose at least one result, or write what the laboratory said.")
        if any(value in NOT_A_RESULT for value in facts.values()):
            raise BadAnswer("“Not known” is no result. Leave the test as it is.")
        when = moment_of_form(request, now)
        came_first = write(
            lambda: actions.receive_result(
                get_store(),
                reading.case,
                facts=facts,
                text=text,
                vocabulary=protocol.vocabulary,
                now=now,
                happened_at=when,
                expected_position=position,
                **who(request),
            ),
            mine=lambda entry: (
                entry.kind is Kind.RESULT_RECEIVED
                and (entry.body["facts"], entry.body["text"]) == (facts, text)
            ),
            by=str(request.user.pk),
        )
    except (Refused, BadAnswer) as fault:
        return faulty(request, reading, "result", "", fault)
    return after(request, reading, position, came_first, [*said, ("Text", text)], "source_result")
