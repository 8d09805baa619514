"""The address at which a manager reads a decision: the physician makes and ends it, its secret opens it."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST, require_safe

from thimble.ledger.fitness import FitnessDecision
from thimble.web import clock, log
from thimble.web.access import needs, public
from thimble.web.context import get_identities, get_site
from thimble.web.desk.handling import worker_of, workers_case
from thimble.web.fitness.joined import of_case
from thimble.web.fitness.told import ASK, SHOWN, Told, told
from thimble.web.limits import over_limit
from thimble.web.models import FitnessLink
from thimble.web.qr import qr
from thimble.web.secret_links import end_link, link_of, make_link

LOOKS_PER_WINDOW = 60
"""From one address; a department may share one."""

WINDOW_SECONDS = 600


@public
@require_safe
def manager(request: HttpRequest, secret: str) -> HttpResponse:
    """The decision that this secret opens.

    Every other secret is answered alike: one never made, one revoked, one of a decision that another has
    replaced. 429 where an address asks too often.
    """
    if over_limit(request, event="fitness_link", most=LOOKS_PER_WINDOW, seconds=WINDOW_SECONDS):
        log.event("fitness_link_limited")
        answer = _plain("Asked too often; ask again later.", 429)
        answer["Retry-After"] = str(WINDOW_SECONDS)
        return answer
    link = link_of(FitnessLink, secret)
    found = _told(link) if link else None
    if found is None:
        return _plain(ASK, 404)
    return _sealed(render(request, "fitness/manager.html", {"told": found}))


@never_cache
@needs("view_case", "decide_fitness", "see_worker_identity")
@require_POST
def make(request: HttpRequest, ref: str) -> HttpResponse:
    """A new address for the decision that holds, shown this once; the one before it stops."""
    reading = workers_case(ref)
    decisions = of_case(reading.case, reading.plan.now).decisions
    shown = request.POST.get("shown", "")
    if not decisions or decisions[-1].of != reading.case or shown not in SHOWN:
        # Altered on its way: the page offers this only beside a decision.
        return HttpResponseRedirect(reverse("fitness:fitness", args=[reading.case]))
    secret = make_link(
        FitnessLink, reading.case, by=str(request.user.pk), now=clock.now(),
        entry=decisions[-1].entry, shown=shown,
    )  # fmt: skip
    log.event("fitness_link_made", case=reading.case, account=str(request.user.pk))
    address = get_site().base_url + reverse("fitness:manager", args=[secret])
    worker = worker_of(request, reading.case, where="fitness link") if shown != "none" else None
    name = worker.name if worker else ""
    today = clock.now().astimezone(get_site().zone).date()
    context = {
        "case": reading.case,
        "address": address,
        "qr": qr(address),
        "told": told(decisions[-1], get_site(), today, name=name, shown=shown),
        "no_name": shown != "none" and not name,
    }
    return render(request, "fitness/link.html", context)


@never_cache
@needs("view_case", "decide_fitness", "see_worker_identity")
@require_POST
def end(request: HttpRequest, ref: str) -> HttpResponse:
    """The address tells nothing any more."""
    case = workers_case(ref).case
    if end_link(FitnessLink, case, by=str(request.user.pk), now=clock.now()):
        log.event("fitness_link_ended", case=case, account=str(request.user.pk))
    return HttpResponseRedirect(reverse("fitness:fitness", args=[case]))


def tells(link: FitnessLink, decision: FitnessDecision) -> bool:
    """Whether an address tells this decision; one that was made elsewhere since has taken its place."""
    return (link.case, link.entry) == (decision.of, decision.entry)


def _told(link: FitnessLink) -> Told | None:
    now = clock.now()
    decisions = of_case(link.case, now).decisions
    if not decisions or not tells(link, decisions[-1]):
        return None
    worker = get_identities().worker(link.case) if link.shown != "none" else None
    today = now.astimezone(get_site().zone).date()
    name = worker.name if worker else ""
    return told(decisions[-1], get_site(), today, name=name, shown=link.shown)


def _plain(sentence: str, status: int) -> HttpResponse:
    return _sealed(
        HttpResponse(f"{sentence}\n", status=status, content_type="text/plain; charset=utf-8")
    )


def _sealed(answer: HttpResponse) -> HttpResponse:
    """Nobody keeps it, and no page that is opened from it learns the address."""
    answer["Cache-Control"] = "no-store, private"
    answer["Referrer-Policy"] = "no-referrer"
    return answer
