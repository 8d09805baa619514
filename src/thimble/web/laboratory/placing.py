"""A person says whose results a message brings: compared on a step of its own, then recorded."""

from __future__ import annotations

from datetime import date

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_POST

from thimble.actions import read_reference
from thimble.exchange.hl7v2.model import Message
from thimble.exchange.inbox import Inbox, Received, State
from thimble.exchange.known import Sample
from thimble.web import clock, log
from thimble.web.access import needs
from thimble.web.context import (
    get_identities,
    get_people_identities,
    get_protocol,
    get_site,
    get_store,
    looked,
)
from thimble.web.desk.handling import who
from thimble.web.laboratory.comparing import Somebody, compare
from thimble.web.laboratory.processing import LedgerProcessor, Told
from thimble.web.laboratory.register import get_register
from thimble.web.laboratory.views import open_inbox, read_of, received_of, show


@never_cache
@sensitive_post_parameters()
@needs("resolve_results", "record_facts", "see_source_identity", "see_worker_identity")
@require_POST
def assign(request: HttpRequest, number: int) -> HttpResponse:
    """A person found out whose results of a case these are."""
    whose, reason = request.POST.get("whose", ""), request.POST.get("reason", "").strip()
    with open_inbox() as opened:
        received = received_of(opened, number)
        if received.state not in (State.NEW, State.HELD):
            return redirect("laboratory:message", number=number)
        read, unread = read_of(received)
        if read is None:
            return show(request, received, f"It cannot be read: {unread} Enter it by hand.")
        try:
            case = read_reference(request.POST.get("case", ""))
        except ValueError:
            return show(request, received, "Write the reference of the case, such as K7QM-2F49.")
        if not get_store().entries(case):
            return show(request, received, f"There is no case {case}.")
        if whose not in ("baseline", "follow_up", "source"):
            return show(request, received, "Say whose blood it is.")
        if not reason:
            return show(request, received, "Say how you know whose it is.")
        sample = Sample(case, "source") if whose == "source" else Sample(case, "worker", whose)
        told = Told(sample, reason, _doubts_shown(request), who(request))
        unfinished = _recorded(request, opened, received, read, sample, told)
        if unfinished is not None:
            return unfinished
    log.event("message_assigned", case=case, number=number, account=str(request.user.pk))
    return redirect("results:results", ref=case)


@never_cache
@sensitive_post_parameters()
@needs(
    "resolve_results", "view_people", "edit_people", "see_source_identity", "see_worker_identity"
)
@require_POST
def place(request: HttpRequest, number: int) -> HttpResponse:
    """A person found out that these are results of somebody of the register."""
    reason = request.POST.get("reason", "").strip()
    typed = request.POST.get("person", "").strip() or request.POST.get("reference", "").strip()
    with open_inbox() as opened:
        received = received_of(opened, number)
        if received.state not in (State.NEW, State.HELD):
            return redirect("laboratory:message", number=number)
        read, unread = read_of(received)
        if read is None:
            return show(request, received, f"It cannot be read: {unread} Enter it by hand.")
        named = get_register().named(typed) if typed else ()
        if len(named) != 1:
            return show(request, received, _WHO if not typed else NOBODY_OR_MANY)
        if not reason:
            return show(request, received, "Say how you know whose it is.")
        try:
            drawn = request.POST.get("drawn_on", "").strip()
            drawn_on = date.fromisoformat(drawn) if drawn else None
        except ValueError:
            return show(request, received, "Give the day of the draw such as 2026-03-02.")
        told = Told(named[0], reason, _doubts_shown(request), who(request), drawn_on)
        unfinished = _recorded(request, opened, received, read, named[0], told)
        if unfinished is not None:
            return unfinished
    log.event("message_placed", case=named[0], number=number, account=str(request.user.pk))
    messages.success(request, f"Message {number} is recorded in this file.")
    return redirect("people:person", named[0])


_WHO = "Choose whose results these are, or write the reference or the number of the person."
NOBODY_OR_MANY = (
    "No file of the register, or more than one, has this reference or number. Write the reference of the "
    "file, such as P-K7QM-2F49."
)


def _doubts_shown(request: HttpRequest) -> bool:
    return request.POST.get("doubts_shown") == "1"


def _recorded(
    request: HttpRequest,
    opened: Inbox,
    received: Received,
    read: Message,
    whose: Sample | str,
    told: Told,
) -> HttpResponse | None:
    """Record it once both identities were compared; else the page that comes before it."""
    if request.POST.get("back"):
        return show(request, received)
    processor = LedgerProcessor(
        opened, get_store(), get_identities(), get_protocol(), get_site(), clock.now, get_register()
    )
    contradicted = processor.against(read, whose)
    # Whoever compared one person has not compared another.
    if not contradicted and request.POST.get("compared") == _target(whose):
        left = processor.take(received, read, told)
        if not left:
            return None
        return show(request, received_of(opened, received.id), " ".join(left), doubts=True)
    return _comparison(request, received, read, whose, contradicted)


def _target(whose: Sample | str) -> str:
    return whose if isinstance(whose, str) else f"{whose.case} {whose.of}"


def _comparison(
    request: HttpRequest,
    received: Received,
    read: Message,
    whose: Sample | str,
    contradicted: str,
) -> HttpResponse:
    """Both identities side by side; that they are shown is put on record first."""
    log.event("message_shown", number=received.id, account=str(request.user.pk))
    here = _somebody(request, whose)
    typed = {
        key: value
        for key, value in request.POST.items()
        if key not in ("csrfmiddlewaretoken", "compared", "back")
    }
    context = {
        "number": received.id,
        "comparison": compare(read, here),
        "contradicted": contradicted,
        "target": _target(whose),
        "reference": whose if isinstance(whose, str) else whose.case,
        "of_register": isinstance(whose, str),
        "whose": "" if isinstance(whose, str) else whose.of,
        "typed": typed,
    }
    status = 422 if contradicted else 200
    return render(request, "laboratory/compare.html", context, status=status)


def _somebody(request: HttpRequest, whose: Sample | str) -> Somebody:
    if isinstance(whose, str):
        looked(request, [whose], whose="worker", where="laboratory")
        known = get_people_identities().identity(whose)
        return Somebody(known.name, known.birth_date, known.number) if known else Somebody()
    looked(request, [whose.case], whose=whose.of, where="laboratory")
    if whose.of == "worker":
        worker = get_identities().worker(whose.case)
        if worker is None:
            return Somebody()
        return Somebody(worker.name, worker.date_of_birth, worker.staff_number)
    source = get_identities().source(whose.case)
    if source is None:
        return Somebody()
    return Somebody(source.name, source.date_of_birth, source.hospital_number)
