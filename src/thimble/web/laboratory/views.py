"""The laboratory's messages that nobody but a person can place; see `placing` for how."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from itertools import islice

from django.conf import settings
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_GET, require_POST

from thimble.actions import Refused
from thimble.actions.people import NoSuchPerson
from thimble.actions.reported import look_at_results
from thimble.exchange.hl7v2.faults import Unreadable
from thimble.exchange.hl7v2.message import read_bytes
from thimble.exchange.hl7v2.model import Message
from thimble.exchange.inbox import Inbox, Received, State
from thimble.people.to_see import to_see
from thimble.web import clock, log
from thimble.web.access import can, needs
from thimble.web.context import (
    get_people,
    get_people_identities,
    get_site,
    get_store,
    looked,
    today,
)
from thimble.web.desk.handling import who
from thimble.web.digits import whole
from thimble.web.laboratory.page import STATES, Candidate, candidate, listed, message_page
from thimble.web.laboratory.recorded import Stands, again, places_of
from thimble.web.laboratory.register import get_register
from thimble.web.people.forms import clean_text
from thimble.web.people.roster import roster

MOST = 200
"""How many messages of one state are listed; the oldest."""


@contextmanager
def open_inbox() -> Iterator[Inbox]:
    """The stored messages of the data folder."""
    with Inbox(settings.DATA) as opened:
        yield opened


@never_cache
@needs("resolve_results")
@require_GET
def inbox(request: HttpRequest) -> HttpResponse:
    """What is held, what is new, and how many messages found their case."""
    zone = get_site().zone
    with open_inbox() as opened:
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


def received_of(opened: Inbox, number: int) -> Received:
    """That message, or the answer that there is none."""
    try:
        return opened.get(number)
    except KeyError:
        raise Http404("no such message") from None


def read_of(received: Received) -> tuple[Message | None, str]:
    """What it says, or why it cannot be read."""
    try:
        return read_bytes(received.raw), ""
    except Unreadable as fault:
        return None, str(fault)


@never_cache
@needs("resolve_results", "see_source_identity", "see_worker_identity")
@require_GET
def message(request: HttpRequest, number: int) -> HttpResponse:
    """One message: what the sender says, and why it was held."""
    with open_inbox() as opened:
        return show(request, received_of(opened, number))


def show(
    request: HttpRequest, received: Received, fault: str = "", *, doubts: bool = False
) -> HttpResponse:
    """The page of a message; `fault` says why what was typed was not done."""
    read, unread = read_of(received)
    log.event("message_shown", number=received.id, account=str(request.user.pk))
    open_ = received.state in (State.NEW, State.HELD)
    may_place = can(request, "view_people") and can(request, "edit_people")
    page = message_page(
        received, read, unread, get_site().zone, fault=fault, typed=request.POST.dict(),
        local=get_site().laboratory,
        candidates=_candidates(request, read) if read and open_ and may_place else (),
    )  # fmt: skip
    places = (
        places_of(received.digest, get_people(), get_store())
        if received.state is State.MATCHED
        else ()
    )
    context = {
        "places": places, "stands": any(each.stands is Stands.YES for each in places),
        "again": again(places) and received.erased_at is None,
        "may_see_people": can(request, "view_people"), "may_see_cases": can(request, "view_case"),
    }  # fmt: skip
    context |= {"page": page, "doubts": doubts, "may_place": may_place, "today": today()}
    return render(request, "laboratory/message.html", context, status=422 if fault else 200)


def _candidates(request: HttpRequest, read: Message) -> list[Candidate]:
    """Who of the register it may be about; that their names are shown is put on record first."""
    found = get_register().candidates(read)
    looked(request, found, whose="worker", where="laboratory")
    identities = get_people_identities().some_identities(found)
    return [candidate(person, identities.get(person), why) for person, why in found.items()]


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
    with open_inbox() as opened:
        received = received_of(opened, number)
        if not reason:
            return show(request, received, "Say why nothing of it is recorded.")
        if received.state in (State.NEW, State.HELD):
            by = str(request.user.pk)
            opened.settle(number, State.DUPLICATE, f"{reason} (settled by {by})")
            log.event("message_settled", number=number, account=by)
    return redirect("laboratory:inbox")


WITHDRAWN = "What it brought was withdrawn in {}: find out whose results these are."


@never_cache
@needs("resolve_results", "record_facts", "see_source_identity", "see_worker_identity")
@require_POST
def hold_again(request: HttpRequest, number: int) -> HttpResponse:
    """Somebody withdrew all that it brought: it waits to be placed anew. Twice is once."""
    with open_inbox() as opened:
        received = received_of(opened, number)
        places = places_of(received.digest, get_people(), get_store())
        if received.state is State.MATCHED and received.erased_at is None and again(places):
            where = ", ".join(each.reference for each in places)
            opened.settle(number, State.HELD, WITHDRAWN.format(where))
            log.event("message_held_again", number=number, account=str(request.user.pk))
    return redirect("laboratory:message", number=number)
