"""How a worker may be reached: address and number beside the identity, agreements in the ledger."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods, require_POST

from thimble import actions
from thimble.actions.identity import WorkerIdentity
from thimble.clinical.neutral import Telling, is_mail_address
from thimble.ledger.bodies import AGREEMENTS
from thimble.ledger.exposed import say
from thimble.web import clock, log
from thimble.web.access import needs
from thimble.web.context import get_identities, get_site, get_store
from thimble.web.desk.handling import canonical, read, who, worker_of
from thimble.web.desk.reading import Reading
from thimble.web.mailing.sending import agreed_to_mail, due_mails, send_due, why_no_mail

LONGEST_PHONE = 40


@sensitive_post_parameters()
@never_cache
@needs("view_case", "record_facts", "see_worker_identity")
@require_http_methods(["GET", "POST"])
def reach(request: HttpRequest, ref: str) -> HttpResponse:
    """Telephone number, mail address, and what the worker agrees to."""
    reading = read(canonical(ref))
    known = worker_of(request, reading.case, where="reach") or WorkerIdentity(name="")
    if request.method == "GET":
        return _show(request, reading, known, reading.situation.follow_up.agreements)
    typed = replace(
        known,
        phone=request.POST.get("phone", "").strip()[:LONGEST_PHONE],
        email=request.POST.get("email", "").strip(),
    )
    wanted = {to: request.POST.get(f"agree_{to}") == "yes" for to in AGREEMENTS}
    fault = ""
    if typed.email and not is_mail_address(typed.email):
        fault = "That is no mail address. It looks like name@hospital.example."
    elif wanted["email"] and not typed.email:
        fault = "Write the mail address, or leave mail off."
    if fault:
        return _show(request, reading, typed, wanted, fault=fault)
    now, by = clock.now(), who(request)
    if typed != known:
        get_identities().save_worker(reading.case, typed, by=by["by"], now=now)
    before = reading.situation.follow_up.agreements
    for to, agreed in wanted.items():
        # What was never asked and is not agreed to now says nothing new.
        if before.get(to, False) != agreed:
            actions.worker_agrees(get_store(), reading.case, to, agreed=agreed, now=now, **by)
    log.event("reach_changed", case=reading.case, account=by["by"])
    return HttpResponseRedirect(reverse("visits:visits", args=[reading.case]))


def _show(
    request: HttpRequest,
    reading: Reading,
    worker: WorkerIdentity,
    agreed: Mapping[str, bool],
    *,
    fault: str = "",
) -> HttpResponse:
    context = {
        "case": reading.case,
        "worker": worker,
        "agreements": [(to, words, agreed.get(to, False)) for to, words in AGREEMENTS.items()],
        "no_mail": why_no_mail(get_site()),
        "subject": get_site().messages.appointment,
        "fault": fault,
    }
    return render(request, "mailing/reach.html", context, status=422 if fault else 200)


@never_cache
@needs("view_case", "record_facts")
@require_POST
def send(request: HttpRequest, ref: str) -> HttpResponse:
    """Send what is due to this worker now; 409 with the reason where nothing goes out."""
    reading = read(canonical(ref))
    now = clock.now()
    why = why_no_mail(get_site())
    if not why and not agreed_to_mail(reading.situation):
        why = say("The worker has not agreed to mail.", reading.situation)
    if not why and not any(due_mails(now, [reading.case])):
        why = "No mail is due now: it went out already, or its day has not come."
    if not why:
        try:
            done = send_due(now, [reading.case])
        except Telling as fault:
            why = f"Nothing was sent: {fault}."
        else:
            if done.no_address:
                why = "No mail address is on record."
            elif done.not_known:
                why = (
                    "It is not known whether the mail was sent: the mail server fell silent. It is not "
                    "sent again by itself; telephone instead."
                )
            elif done.failed:
                why = "The mail could not be sent. That is on record; it is tried again tomorrow."
    if why:
        return render(
            request, "mailing/not_sent.html", {"case": reading.case, "why": why}, status=409
        )
    return HttpResponseRedirect(reverse("visits:visits", args=[reading.case]))
