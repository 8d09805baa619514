"""Steps, results and identity of the source patient. Each look at the identity is logged."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from datetime import date
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from thimble import actions
from thimble.actions import Refused
from thimble.ledger.bodies import CALL_OUTCOMES, INFECTIONS
from thimble.ledger.chasing import SETTLE
from thimble.ledger.entries import Entry, Kind
from thimble.ledger.fold import SOURCE_STEPS
from thimble.protocol.vocabulary import Value
from thimble.web import clock, log
from thimble.web.access import can, needs
from thimble.web.context import get_identities, get_protocol, get_site, get_store, zone
from thimble.web.context import looked as record_look
from thimble.web.desk.handling import (
    canonical,
    capabilities_of,
    go,
    looked,
    moment_of_form,
    overtaken_response,
    position_of,
    read,
    since_of,
    who,
    write,
)
from thimble.web.desk.page import Typed
from thimble.web.desk.questions import BadAnswer
from thimble.web.desk.reading import Reading
from thimble.web.desk.responding import sentence
from thimble.web.source.chase import ASKED_OF, CHOICES, QUESTIONS, chase_view
from thimble.web.source.forms import IdentityForm
from thimble.web.source.page import (
    NOT_A_RESULT,
    RESULTS,
    STEPS,
    SourcePage,
    entries_of_step,
    source_tests,
)


@never_cache
@needs("view_case", "see_source")
@require_GET
def source(request: HttpRequest, ref: str) -> HttpResponse:
    """Where things stand with the source patient."""
    reading = read(canonical(ref))
    return _show(request, reading, since=since_of(request))


def _show(
    request: HttpRequest,
    reading: Reading,
    *,
    since: int | None = None,
    typed: Typed | None = None,
) -> HttpResponse:
    page = SourcePage.of(
        reading,
        protocol=get_protocol(),
        site=get_site(),
        capabilities=capabilities_of(request),
        identity_known=get_identities().source(reading.case) is not None,
        since=since,
        typed=typed,
        by=str(request.user.pk),
    )
    return render(request, "source/source.html", {"page": page}, status=422 if typed else 200)


@never_cache
@needs("view_case", "see_source", "record_facts")
@require_POST
def step(request: HttpRequest, ref: str) -> HttpResponse:
    """One step: asked, consented, refused, cannot decide now, blood taken."""
    reading = read(canonical(ref))
    name = request.POST.get("step", "")
    if name not in STEPS:
        raise Http404("no such step")
    kind = next(kind for kind, step_name in SOURCE_STEPS.items() if step_name == name)
    said = _typed(request, name)
    try:
        position = position_of(request)
        came_first = write(
            lambda: _take(request, reading, name, position),
            mine=lambda entry: entry.kind is kind,
            by=str(request.user.pk),
        )
    except (Refused, BadAnswer) as fault:
        return _faulty(request, reading, "step", name, fault)
    return _after(request, reading, position, came_first, said, f"source_{name}")


def _typed(request: HttpRequest, name: str) -> list[tuple[str, str]]:
    """What was typed of a step, in words, for whoever finds that somebody else came first."""
    post = request.POST
    said = [(STEPS[name][0], post.get("note", "") or "yes")]
    for key in ASKED_OF[name]:
        if words := CHOICES[key].get(post.get(key, "")):
            said.append((QUESTIONS[key], words))
    for key, label in (
        ("decided_by", "Who decided?"),
        ("specimen", "Specimen number"),
        ("request", "Request number"),
    ):
        if post.get(key, "").strip():
            said.append((label, post[key]))
    if post.get("when") == "then":
        said.append(("When", f"{post.get('day', '')} {post.get('clock', '')}".strip()))
    return said


def _take(request: HttpRequest, reading: Reading, name: str, position: int) -> None:
    """Record a step, completing what the plan asks for by it: one transaction."""
    store, now = get_store(), clock.now()
    common: dict[str, Any] = {
        "now": now,
        "happened_at": moment_of_form(request, now),
        "note": request.POST.get("note", "").strip(),
        **who(request),
    }
    timed = {key: value for key, value in common.items() if key != "note"}
    if name in ("asked", "consented", "refused"):
        # The plan asks for the asking; an answer says that it was done.
        ask = next(
            (a.id for a in reading.plan.actions if a.whom == "source" and a.kind == "ask"), None
        )
        actions.source_step(
            store, reading.case, name, said=_said(request, name), action=ask,
            expected_position=position, **timed,
        )  # fmt: skip
    elif name == "sampled":
        offered = {action.id for action in source_tests(reading.plan.actions)}
        chosen = [test for test in request.POST.getlist("test") if test in offered]
        if offered and not chosen and not request.POST.get("other_test"):
            raise BadAnswer("Tick what the blood was taken for.")
        with store.transaction():
            at: int | None = position
            tests: list[str | None] = [*chosen] or [None]
            for test in tests:
                written = actions.sample_source(
                    store,
                    reading.case,
                    action=test,
                    expected_position=at,
                    specimen=request.POST.get("specimen", "").strip()[:60],
                    request=request.POST.get("request", "").strip()[:60],
                    **common,
                )
                at = written[-1].position
    else:
        actions.source_step(
            store, reading.case, name, said=_said(request, name), action=None,
            expected_position=position, **timed,
        )  # fmt: skip


def _said(request: HttpRequest, name: str) -> dict[str, str]:
    """What the form says of a step, of what belongs to it."""
    said = {key: request.POST.get(key, "") for key in ASKED_OF[name]}
    said["note"] = request.POST.get("note", "").strip()
    if name == "authorised":
        said["decided_by"] = request.POST.get("decided_by", "").strip()
        if not said["decided_by"] or not said["ground"]:
            raise BadAnswer("Write who decided (the function, no name) and choose on what ground.")
    return said


@never_cache
@needs("view_case", "see_source", "record_facts")
@require_POST
def call(request: HttpRequest, ref: str) -> HttpResponse:
    """A call to the registrar on call, and what they answered."""
    reading = read(canonical(ref))
    site, now = get_site(), clock.now()
    view = chase_view(reading, site)
    answer = request.POST.get("answer", "").strip()
    outcome = request.POST.get("outcome", "")
    try:
        position = position_of(request)
        if view is None:
            raise BadAnswer("Nothing is chased any more. Nothing was recorded.")
        if outcome not in CALL_OUTCOMES:
            raise BadAnswer("Choose what came of the call: reached, or no answer.")
        about, to = view.code, request.POST.get("to", "").strip() or view.registrar
        came_first = write(
            lambda: actions.escalate(
                get_store(), reading.case, about=about, to=to, outcome=outcome, answer=answer,
                now=now, expected_position=position, **who(request),
            ),
            mine=lambda e: e.kind is Kind.ESCALATED and e.body["answer"] == answer,
            by=str(request.user.pk),
        )  # fmt: skip
    except (Refused, BadAnswer) as fault:
        return _faulty(request, reading, "call", "", fault)
    said = [("Call", to), ("What came of it", CALL_OUTCOMES.get(outcome, "")), ("Answer", answer)]
    return _after(request, reading, position, came_first, said, "source_escalated")


@never_cache
@needs("view_case", "see_source", "sign_plan")
@require_POST
def settle(request: HttpRequest, ref: str) -> HttpResponse:
    """A physician settles the plan without the source's result, in whatever state the chase is."""
    reading = read(canonical(ref))
    reason = request.POST.get("reason", "").strip()
    try:
        position = position_of(request)
        came_first = write(
            lambda: actions.settle_without(
                get_store(), reading.case, reason=reason, now=clock.now(),
                expected_position=position, **who(request),
            ),
            mine=lambda e: (
                e.kind is Kind.COUNSELLED and (e.body["action"], e.body["text"]) == (SETTLE, reason)
            ),
            by=str(request.user.pk),
        )  # fmt: skip
    except (Refused, BadAnswer) as fault:
        return _faulty(request, reading, "settle", "", fault)
    return _after(request, reading, position, came_first, [("Why", reason)], "source_settled")


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
        return _faulty(request, reading, "chart", "", fault)
    said = [("Chart", post.get("evidence", ""))]
    return _after(request, reading, position, came_first, said, "source_status_found")


TAKEN_BACK = "Recorded by mistake; taken back on the page of the source."
"""The reason that stands in the history with what was taken back."""


@never_cache
@needs("view_case", "see_source", "correct_entry")
@require_POST
def take_back(request: HttpRequest, ref: str) -> HttpResponse:
    """Withdraw a step and what it said with it: all of what one tap wrote, or nothing."""
    reading = read(canonical(ref))
    entry = request.POST.get("entry", "")
    first = int(entry) if entry.isascii() and entry.isdigit() and len(entry) < 7 else 0
    kind = next((e.kind for e in reading.entries if e.position == first), None)
    if kind is None or kind not in SOURCE_STEPS:
        raise Http404("no such step")
    wrong = entries_of_step(reading.entries, first)
    if not wrong:  # a double tap: it is taken back already
        return go(request, reverse("source:source", args=[reading.case]))
    try:
        position = position_of(request)
        came_first = write(
            lambda: _withdraw(request, reading.case, wrong, position),
            mine=lambda e: e.kind is Kind.CORRECTED and e.body["corrects"] == first,
            by=str(request.user.pk),
        )
    except (Refused, BadAnswer) as fault:
        return _faulty(request, reading, "take_back", "", fault)
    said = [("Take back", STEPS[SOURCE_STEPS[kind]][0])]
    return _after(request, reading, position, came_first, said, "source_step_taken_back")


def _withdraw(request: HttpRequest, case: str, positions: Sequence[int], seen: int) -> None:
    store, now, at = get_store(), clock.now(), seen
    with store.transaction():
        for position in positions:
            written = actions.correct(
                store,
                case,
                position,
                reason=TAKEN_BACK,
                withdrawn=True,
                vocabulary=get_protocol().vocabulary,
                now=now,
                expected_position=at,
                **who(request),
            )
            at = written[-1].position


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
        return _faulty(request, reading, "result", "", fault)
    return _after(request, reading, position, came_first, [*said, ("Text", text)], "source_result")


def _faulty(
    request: HttpRequest, reading: Reading, form: str, subject: str, fault: Exception
) -> HttpResponse:
    typed = Typed(form, subject, dict(request.POST.lists()), sentence(fault))
    return _show(request, reading, typed=typed)


def _after(
    request: HttpRequest,
    reading: Reading,
    position: int,
    came_first: Sequence[Entry],
    said: list[tuple[str, str]],
    event: str,
) -> HttpResponse:
    if came_first:
        return overtaken_response(request, read(reading.case), came_first, said)
    log.event(event, case=reading.case, account=str(request.user.pk))
    now = read(reading.case)
    looked(request, now.case, now.position, now.plan.now)
    return go(request, f"{reverse('source:source', args=[reading.case])}?since={position}")


@never_cache
@needs("view_case", "see_source", "see_source_identity")
@sensitive_post_parameters()
@require_http_methods(["GET", "POST"])
def identity(request: HttpRequest, ref: str) -> HttpResponse:
    """Who the source patient is. Each look is on record, by account and case, without the name."""
    reading = read(canonical(ref))
    identities = get_identities()
    known = identities.source(reading.case)
    if request.method == "POST":
        if not can(request, "record_facts"):
            raise Http404
        form = IdentityForm(request.POST)
        if form.is_valid():
            identities.save_source(
                reading.case, form.identity(), by=str(request.user.pk), now=clock.now()
            )
            log.event("source_identity_saved", case=reading.case, account=str(request.user.pk))
            messages.info(request, "Saved, apart from the record of the case.")
            return go(request, reverse("source:source", args=[reading.case]))
        status = 422
    else:
        form = IdentityForm(initial=asdict(known) if known is not None else None)
        if known is not None:
            record_look(request, [reading.case], whose="source", where="source")
        log.event("source_identity_viewed", case=reading.case, account=str(request.user.pk))
        status = 200
    context = {"form": form, "case": reading.case, "known": known is not None}
    return render(request, "source/identity.html", context, status=status)
