"""What the worker said to an offer of support."""

from __future__ import annotations

from django.http import Http404, HttpRequest, HttpResponse, HttpResponseRedirect
from django.urls import reverse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST

from thimble import actions
from thimble.ledger.bodies import ANSWERS
from thimble.ledger.follow_up.support import due_offer
from thimble.web import clock, log
from thimble.web.access import needs
from thimble.web.context import get_store
from thimble.web.desk.handling import canonical, read, who


@never_cache
@needs("view_case", "record_facts")
@require_POST
def offered(request: HttpRequest, ref: str) -> HttpResponse:
    """Record an answer to the offer of one moment. Sent twice, it is recorded once.

    404 for a moment or an answer that there is none of.
    """
    reading = read(canonical(ref))
    moment, answer = request.POST.get("moment", ""), request.POST.get("answer", "")
    if answer not in ANSWERS:
        raise Http404("no such answer")
    answered = {action for _, action, _ in reading.situation.follow_up.answers}
    due = due_offer(reading.situation)
    if due is not None and moment == due.id:
        actions.offer(
            get_store(), reading.case, moment, answer=answer, now=clock.now(),
            text=request.POST.get("text", "").strip()[:500],
            expected_position=None, **who(request),
        )  # fmt: skip
        log.event("support_offered", case=reading.case, account=str(request.user.pk))
    elif moment not in answered:
        raise Http404("no such moment")
    return HttpResponseRedirect(reverse("visits:visits", args=[reading.case]) + "#support-title")
