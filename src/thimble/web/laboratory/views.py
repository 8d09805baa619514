"""The laboratory's messages that nobody but a person can place."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date
from itertools import islice

from django.conf import settings
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_GET, require_POST

from thimble.actions import Refused, read_reference
from thimble.actions.people import NoSuchPerson
from thimble.actions.reported import look_at_results
from thimble.exchange.hl7v2.faults import Unreadable
from thimble.exchange.hl7v2.message import read_bytes
from thimble.exchange.hl7v2.model import Message
from thimble.exchange.inbox import Inbox, Received, State
from thimble.exchange.known import Sample
from thimble.people.to_see import to_see
from thimble.web import clock, log
from thimble.web.access import can, needs
from thimble.web.context import (
    get_identities,
    get_people,
    get_people_identities,
    get_protocol,
    get_site,
    get_store,
    looked,
    today,
)
from thimble.web.desk.handling import who
from thimble.web.digits import whole
from thimble.web.laboratory.page import STATES, Candidate, candidate, listed, message_page
from thimble.web.laboratory.processing import LedgerProcessor, Told
from thimble.web.laboratory.register import get_register
from thimble.web.people.forms import clean_text
from thimble.web.people.roster import roster

MOST = 200
"""How many messages of one state are listed; the oldest."""


@contextmanager
def _inbox() -> Iterator[Inbox]:
    with Inbox(settings.DATA) as opened:
        yield opened


@never_cache
@needs("resolve_results")
@require_GET
def inbox(request: HttpRequest) -> HttpResponse:
    """What is held, what is new, and how many messages found their case."""
    zone = get_site().zone
    with _inbox() as opened:
        parts = [
            listed(islice(opened.in_state(state), MOST), STATES[state], zone)
            for state in (State.HELD, State.NEW)
        ]
        counts = opened.counts()
    return render(
        request, "laboratory/inbox.html",
        {
            "parts": [part for part in parts if part.lines],
            "recorded": counts[State.MATCHED],
            "refused": counts[State.REFUSED],
            "to_see": _to_see() if can(request, "view_people") else 0,
        },
    )  # fmt: skip


def _to_see() -> int:
    """Of how many people results wait for a physician."""
    return sum(bool(to_see(person)) for person in roster().people(clock.now()))


def _received(opened: Inbox, number: int) -> Received:
    try:
        return opened.get(number)
    except KeyError:
        raise Http404("no such message") from None


def _read(received: Received) -> tuple[Message | None, str]:
    try:
        return read_bytes(received.raw), ""
    except Unreadable as fault:
        return None, str(fault)


@never_cache
@needs("resolve_results", "see_source_identity", "see_worker_identity")
@require_GET
def message(request: HttpRequest, number: int) -> HttpResponse:
    """One message: what the sender says, and why it was held."""
    with _inbox() as opened:
        return _show(request, _received(opened, number))


def _show(
    request: HttpRequest, received: Received, fault: str = "", *, doubts: bool = False
) -> HttpResponse:
    read, unread = _read(received)
    log.event("message_shown", number=received.id, account=str(request.user.pk))
    open_ = received.state in (State.NEW, State.HELD)
    may_place = can(request, "view_people") and can(request, "edit_people")
    page = message_page(
        received, read, unread, get_site().zone, fault=fault, typed=request.POST.dict(),
        local=get_site().laboratory,
        candidates=_candidates(request, read) if read and open_ and may_place else (),
    )  # fmt: skip
    context = {"page": page, "doubts": doubts, "may_place": may_place, "today": today()}
    return render(request, "laboratory/message.html", context, status=422 if fault else 200)


def _candidates(request: HttpRequest, read: Message) -> list[Candidate]:
    """Who of the register it may be about; that their names are shown is put on record first."""
    found = get_register().candidates(read)
    looked(request, found, whose="worker", where="laboratory")
    identities = get_people_identities().some_identities(found)
    return [candidate(person, identities.get(person), why) for person, why in found.items()]


@never_cache
@sensitive_post_parameters()
@needs("resolve_results", "record_facts", "see_source_identity", "see_worker_identity")
@require_POST
def assign(request: HttpRequest, number: int) -> HttpResponse:
    """A person found out whose results these are."""
    whose, reason = request.POST.get("whose", ""), request.POST.get("reason", "").strip()
    with _inbox() as opened:
        received = _received(opened, number)
        if received.state not in (State.NEW, State.HELD):
            return redirect("laboratory:message", number=number)
        read, unread = _read(received)
        if read is None:
            return _show(request, received, f"It cannot be read: {unread} Enter it by hand.")
        try:
            case = read_reference(request.POST.get("case", ""))
        except ValueError:
            return _show(request, received, "Write the reference of the case, such as K7QM-2F49.")
        if not get_store().entries(case):
            return _show(request, received, f"There is no case {case}.")
        if whose not in ("baseline", "follow_up", "source"):
            return _show(request, received, "Say whose blood it is.")
        if not reason:
            return _show(request, received, "Say how you know whose it is.")
        sample = Sample(case, "source") if whose == "source" else Sample(case, "worker", whose)
        shown = request.POST.get("doubts_shown") == "1"
        told = Told(sample, reason, shown, who(request))
        left = _processor(opened).take(received, read, told)
        if left:
            return _show(request, _received(opened, number), " ".join(left), doubts=True)
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
    with _inbox() as opened:
        received = _received(opened, number)
        if received.state not in (State.NEW, State.HELD):
            return redirect("laboratory:message", number=number)
        read, unread = _read(received)
        if read is None:
            return _show(request, received, f"It cannot be read: {unread} Enter it by hand.")
        named = get_register().named(typed) if typed else ()
        if len(named) != 1:
            return _show(request, received, _WHO if not typed else NOBODY_OR_MANY)
        if not reason:
            return _show(request, received, "Say how you know whose it is.")
        try:
            drawn = request.POST.get("drawn_on", "").strip()
            drawn_on = date.fromisoformat(drawn) if drawn else None
        except ValueError:
            return _show(request, received, "Give the day of the draw such as 2026-03-02.")
        shown = request.POST.get("doubts_shown") == "1"
        told = Told(named[0], reason, shown, who(request), drawn_on)
        left = _processor(opened).take(received, read, told)
        if left:
            return _show(request, _received(opened, number), " ".join(left), doubts=True)
    log.event("message_placed", case=named[0], number=number, account=str(request.user.pk))
    messages.success(request, f"Message {number} is recorded in this file.")
    return redirect("people:person", named[0])


_WHO = "Choose whose results these are, or write the reference or the number of the person."
NOBODY_OR_MANY = (
    "No file of the register, or more than one, has this reference or number. Write the reference of the "
    "file, such as P-K7QM-2F49."
)


def _processor(opened: Inbox) -> LedgerProcessor:
    return LedgerProcessor(
        opened, get_store(), get_identities(), get_protocol(), get_site(), clock.now, get_register()
    )


@never_cache
@needs("view_people", "decide_fitness")
@require_POST
def seen(request: HttpRequest, person: str) -> HttpResponse:
    """A physician saw what messages brought into a file, and says what was done."""
    entries = [n for each in request.POST.getlist("entry") if (n := whole(each)) is not None]
    text = clean_text(request.POST.get("text", ""))[:1000]
    try:
        look_at_results(get_people(), person, entries, text, now=clock.now(), **who(request))
    except NoSuchPerson as missing:
        raise Http404(str(missing)) from missing
    except Refused as refused:
        messages.error(request, " ".join(f"{fault}." for fault in refused.faults))
    else:
        log.event("results_seen", case=person, account=str(request.user.pk))
        messages.success(request, "It stands in the history of the file with your name.")
    return redirect("people:person", person)


@never_cache
@needs("resolve_results", "record_facts")
@require_POST
def settle(request: HttpRequest, number: int) -> HttpResponse:
    """Nothing of it is to be recorded: entered by hand, or not ours."""
    reason = request.POST.get("reason", "").strip()
    with _inbox() as opened:
        received = _received(opened, number)
        if not reason:
            return _show(request, received, "Say why nothing of it is recorded.")
        if received.state in (State.NEW, State.HELD):
            by = str(request.user.pk)
            opened.settle(number, State.DUPLICATE, f"{reason} (settled by {by})")
            log.event("message_settled", number=number, account=by)
    return redirect("laboratory:inbox")
