"""The chase for the source's result: calls, and a plan settled without it."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST

from thimble import actions
from thimble.actions import Refused
from thimble.ledger.bodies import CALL_OUTCOMES
from thimble.ledger.entries import Kind
from thimble.ledger.source.chasing import SETTLE
from thimble.web import clock
from thimble.web.access import needs
from thimble.web.context import get_site, get_store
from thimble.web.desk.handling import (
    canonical,
    position_of,
    read,
    who,
    write,
)
from thimble.web.desk.questions import BadAnswer
from thimble.web.source.chase import chase_view
from thimble.web.source.responding import after, faulty


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
        return faulty(request, reading, "call", "", fault)
    said = [("Call", to), ("What came of it", CALL_OUTCOMES.get(outcome, "")), ("Answer", answer)]
    return after(request, reading, position, came_first, said, "source_escalated")


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
        return faulty(request, reading, "settle", "", fault)
    return after(request, reading, position, came_first, [("Why", reason)], "source_settled")
