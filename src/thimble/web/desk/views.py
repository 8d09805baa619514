"""One case at the desk: each writing view is one call into `actions`, then the case again."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.urls import reverse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_GET, require_POST
from django.views.decorators.vary import vary_on_headers

from thimble import actions
from thimble.actions import Refused
from thimble.ledger.bodies import to_json
from thimble.ledger.clocks import HOURS
from thimble.ledger.entries import Entry
from thimble.ledger.plan import Action
from thimble.ledger.prophylaxis.course import ANSWER
from thimble.ledger.source.chasing import chases
from thimble.ledger.standing import standing_bodies
from thimble.protocol.vocabulary import Fact, Value
from thimble.web import clock
from thimble.web.access import needs
from thimble.web.context import get_protocol, get_site, get_store
from thimble.web.course.places import ON_THE_COURSE
from thimble.web.desk.handling import (
    canonical,
    go,
    is_htmx,
    looked,
    moment_of_form,
    position_of,
    read,
    since_of,
    who,
)
from thimble.web.desk.questions import UNKNOWN, BadAnswer, read_answer, read_moment, read_number
from thimble.web.desk.reading import Reading
from thimble.web.desk.responding import record, show
from thimble.web.on_record.carrying import carried
from thimble.web.stock.giving import given_in, giving

MINUTES = Fact("minutes", "number", "For how many minutes?", unit="min", low=0, high=1440)
"""How long first aid was given: a form's own field, not a fact of the vocabulary."""


@never_cache
@vary_on_headers("HX-Request")
@needs("view_case")
@require_GET
def case(request: HttpRequest, ref: str) -> HttpResponse:
    """The case: clock, next question, plan. With HX-Request only the parts that answering swaps."""
    reference = canonical(ref)
    if reference != ref:
        return go(request, reverse("desk:case", args=[reference]))
    return show(request, read(reference), since=since_of(request), ask=request.GET.get("ask", ""))


@needs("view_case", "record_facts")
@require_POST
def answer(request: HttpRequest, ref: str) -> HttpResponse:
    """An answer to a question, or that nobody can answer it."""
    protocol, site, store = get_protocol(), get_site(), get_store()
    fact_id = request.POST.get("fact", "")
    fact = protocol.vocabulary.get(fact_id)
    if fact is None:
        raise Http404("no such question")
    now = clock.now()
    common: dict[str, Any] = {"now": now, **who(request)}

    def act(
        reading: Reading, position: int
    ) -> tuple[Callable[[], object], Callable[[Entry], bool]]:
        if "unknown" in request.POST:
            reason = request.POST.get("reason", "")

            def doing() -> object:
                return actions.cannot_be_known(
                    store, reading.case, fact_id, vocabulary=protocol.vocabulary, reason=reason,
                    expected_position=position, **common,
                )  # fmt: skip

            return (
                doing,
                lambda e: (
                    e.body.get("fact") == fact_id
                    or (e.body.get("facts", {}).get(fact_id) == UNKNOWN)
                ),
            )
        if fact_id == HOURS:
            at = read_moment(
                request.POST.get("day", ""), request.POST.get("clock", ""), site.zone, now
            )
            precision = "hour" if request.POST.get("about") else "minute"
            body = {
                **(standing_bodies(reading.entries)[1] or {}),
                "occurred_at": at.isoformat(),
                "occurred_at_precision": precision,
            }
            return (
                lambda: actions.correct(
                    store,
                    reading.case,
                    1,
                    reason="The time of the exposure was asked again.",
                    body=body,
                    vocabulary=protocol.vocabulary,
                    expected_position=position,
                    **common,
                ),
                lambda e: e.body.get("body", {}).get("occurred_at") == body["occurred_at"],
            )
        value: Value = read_answer(
            fact, request.POST.getlist("value"), none=bool(request.POST.get("none"))
        )
        return (
            lambda: actions.learn_facts(
                store,
                reading.case,
                {fact_id: value},
                said_by="clinician",
                vocabulary=protocol.vocabulary,
                expected_position=position,
                **common,
            ),
            lambda e: e.body.get("facts", {}).get(fact_id) == to_json(value),
        )

    def said(_: Reading) -> list[tuple[str, str]]:
        if "unknown" in request.POST:
            return [(fact.question, f"Cannot be known. {request.POST.get('reason', '')}".strip())]
        if fact_id == HOURS:
            return [("When it happened", f"{request.POST.get('day')} {request.POST.get('clock')}")]
        values = request.POST.getlist("value")
        return [
            (fact.question, ", ".join(fact.labels.get(v, v) for v in values) or "None of these")
        ]

    return record(request, ref, act, form="answer", subject=fact_id, said=said)


@needs("view_case", "record_facts")
@require_POST
def done(request: HttpRequest, ref: str) -> HttpResponse:
    """An action was done: now, or at another time."""
    action_id = request.POST.get("action", "")

    def act(
        reading: Reading, position: int
    ) -> tuple[Callable[[], object], Callable[[Entry], bool]]:
        action = next((a for a in reading.plan.actions if a.id == action_id), None)
        if action is None:
            raise Refused("This action is not part of the plan any more. Nothing was recorded.")
        doing = _doing(request, reading, action, position)
        if action.kind == "dose":
            given = given_in(request.POST, action)
            return (
                doing,
                lambda e: (
                    (e.body.get("action"), e.body.get("product"), e.body.get("batch"))
                    == (action_id, given.product, given.batch)
                ),
            )
        return doing, lambda e: e.body.get("action") == action_id and _as_posted(e, request)

    def said(reading: Reading) -> list[tuple[str, str]]:
        named = {"product": "Product", "amount": "Amount", "batch": "Batch", "from": "From the shelf",
                 "days": "Days handed out", "of": "Asked",
                 "text": "What was said", "specimen": "Specimen", "request": "Request"}  # fmt: skip
        what = next((a.what for a in reading.plan.actions if a.id == action_id), action_id)
        when = "now"
        if request.POST.get("when") == "then":
            when = f"{request.POST.get('day')} {request.POST.get('clock')}"
        typed = [(label, request.POST.get(name, "")) for name, label in named.items()]
        return [("Done", what), ("When", when), *typed]

    return record(request, ref, act, form="done", subject=action_id, said=said)


def _as_posted(entry: Entry, request: HttpRequest) -> bool:
    """Whether an entry says just what this form says: then it is the same tap, sent twice."""
    named = {"from": "of", "advice": "text", "text": "text", "note": "text",
             "specimen": "specimen", "request": "request"}  # fmt: skip
    return all(
        entry.body[key] == request.POST.get(name, "").strip()
        for key, name in named.items()
        if key in entry.body
    )


def _doing(
    request: HttpRequest, reading: Reading, action: Action, position: int
) -> Callable[[], object]:
    """The one call that records an action as done, by its kind."""
    post, store, case_, now = request.POST, get_store(), reading.case, clock.now()
    common: dict[str, Any] = {
        "now": now,
        "happened_at": moment_of_form(request, now),
        "expected_position": position,
        **who(request),
    }
    if action.id.startswith(ANSWER) or action.id in ON_THE_COURSE:
        raise BadAnswer("This is recorded on the page of the course: it asks what belongs to it.")
    text = post.get("text", "").strip()
    # As the label of a sample has them.
    numbers: dict[str, Any] = {
        key: post.get(key, "").strip()[:60] for key in ("request", "specimen")
    }
    if chases(action.id):
        raise BadAnswer("Record what was done on the page of the source patient.")
    if action.kind == "dose":
        given = given_in(post, action)
        if not given.product:
            raise BadAnswer(
                "Choose the lot it came from, or enter what was given: the product as it stands on "
                "the box."
            )
        write_dose = lambda: actions.give_dose(  # noqa: E731
            store, case_, action.id, product=given.product, amount=given.amount,
            batch=given.batch, days=given.days, cvx=given.cvx, **common,
        )  # fmt: skip
        told = {key: common[key] for key in ("now", "happened_at", "by", "role")}
        return giving(
            request,
            given,
            action.id,
            carried(case_, action.id, write_dose, batch=given.batch, **told),
        )
    if action.kind == "first_aid":
        advised = [c.text for c in reading.plan.cautions if c.topic == "first_aid"]
        steps = [step for step in post.getlist("step") if step in advised]
        if text:
            steps.append(text)
        if not steps:
            raise BadAnswer("Tick what was done, or write it in the note.")
        typed = post.get("minutes", "").strip()
        minutes = read_number(typed, MINUTES) if typed else None
        return lambda: actions.give_first_aid(
            store, case_, steps=steps, minutes=minutes, action=action.id, **common
        )
    if action.whom == "source" and action.kind == "sample":
        return lambda: actions.sample_source(
            store, case_, action=action.id, note=text, **numbers, **common
        )
    if action.whom == "source" and action.kind == "ask":
        return lambda: actions.ask_source(store, case_, action=action.id, note=text, **common)
    if action.kind == "sample":
        return lambda: actions.take_sample(store, case_, action.id, **numbers, **common)
    asked = post.get("of", "").strip()
    if action.kind == "advice" and asked:
        return lambda: actions.seek_advice(
            store, case_, of=asked, advice=text, action=action.id, **common
        )
    return lambda: actions.counsel(store, case_, action.id, text=text, **common)


@needs("view_case")
@require_POST
def seen(request: HttpRequest, ref: str) -> HttpResponse:
    """This account has read what others wrote."""
    reading = read(canonical(ref))
    try:
        position = max(0, min(position_of(request), reading.position))
    except Refused:
        position = reading.position
    looked(request, reading.case, position, reading.plan.now)
    if is_htmx(request):
        return show(request, reading)
    return go(request, reverse("desk:case", args=[reading.case]))


@never_cache
@needs("view_case", "record_facts")
@require_POST
def note(request: HttpRequest, ref: str) -> HttpResponse:
    """Words for the record."""
    text = request.POST.get("text", "").strip()

    def act(
        reading: Reading, position: int
    ) -> tuple[Callable[[], object], Callable[[Entry], bool]]:
        if not text:
            raise BadAnswer("Write the note first.")
        return (
            lambda: actions.note(
                get_store(),
                reading.case,
                text,
                now=clock.now(),
                expected_position=position,
                **who(request),
            ),
            lambda e: e.body.get("text") == text,
        )

    return record(request, ref, act, form="note", subject="", said=lambda _: [("Note", text)])
