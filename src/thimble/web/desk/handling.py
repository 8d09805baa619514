"""What the screens about one case share: reading it, writing to it, and telling who came first."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cache
from typing import Any

from django.http import Http404, HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse

from thimble.actions import Refused, WorkerIdentity, read_reference
from thimble.ledger.entries import Entry
from thimble.ledger.exposed import protocol_for, saying
from thimble.ledger.linking import is_patient_case
from thimble.ledger.store import Overtaken
from thimble.web import clock, log
from thimble.web.access import can
from thimble.web.context import get_identities, get_protocol, get_site, get_store
from thimble.web.context import looked as record_look
from thimble.web.desk.changes import Written
from thimble.web.desk.questions import BadAnswer, read_moment
from thimble.web.desk.reading import Reading, actions_in_words
from thimble.web.desk.words import RuleLink
from thimble.web.models import Account, LastLook
from thimble.web.roles import CAPABILITIES

NOT_RESENT = frozenset({"csrfmiddlewaretoken", "position"})
"""Fields of a form that are made anew when it is sent again."""


@dataclass(frozen=True, slots=True)
class Resent:
    """A form that was overtaken: where it goes, what it says, as hidden fields and in words."""

    action: str
    fields: tuple[tuple[str, str], ...]
    said: tuple[tuple[str, str], ...]
    position: int
    written: tuple[Written, ...]
    case: str
    sentence: str


def canonical(ref: str) -> str:
    """A reference as it is written.

    Raises:
        Http404: it cannot be one. Nothing is said about which exist.
    """
    try:
        return read_reference(ref)
    except ValueError:
        raise Http404("no such case") from None


def read(ref: str, now: datetime | None = None) -> Reading:
    """The case as it stands.

    Raises:
        Http404: there is none.
    """
    entries = get_store().entries(ref)
    if not entries:
        raise Http404("no such case")
    moment = clock.now() if now is None else now
    # A clock that stepped back must not hide what is recorded already.
    moment = max(moment, entries[-1].recorded_at)
    return Reading.of(ref, entries, get_protocol(), get_site(), moment)


def workers_case(ref: str) -> Reading:
    """The case as it stands, for what is for workers alone: their fitness, what the register has of them.

    Raises:
        Http404: there is none, or the exposed person is a patient.
    """
    reading = read(canonical(ref))
    if is_patient_case(reading.situation):
        raise Http404("this is for workers alone; the exposed person is a patient")
    return reading


def names_of(entries: Iterable[Entry]) -> dict[str, str]:
    """The display names of those who wrote."""
    ids = {entry.by for entry in entries}
    return dict(Account.objects.filter(pk__in=ids).values_list("pk", "display_name"))


def capabilities_of(request: HttpRequest) -> frozenset[str]:
    """What this account may do."""
    return frozenset(name for name in CAPABILITIES if can(request, name))


def who(request: HttpRequest) -> dict[str, Any]:
    """The writer's account and role, as every action takes them."""
    user = request.user
    return {"by": str(user.pk), "role": str(getattr(user, "role", ""))}


def worker_of(request: HttpRequest, case: str, *, where: str) -> WorkerIdentity | None:
    """The exposed worker, for those who may know. To show the name `where` is put on record."""
    if not can(request, "see_worker_identity"):
        return None
    worker = get_identities().worker(case)
    if worker is not None and worker.name:
        record_look(request, [case], whose="worker", where=where)
    return worker


@cache
def _table_address(table: str) -> str:
    return reverse("rules:table", args=[table])


def rule_links(case: str) -> RuleLink:
    """Where a rule is shown in its table, with the case beside it."""

    def link(table: str, rule: str) -> str:
        return f"{_table_address(table)}?case={case}&rule={rule}#{rule}"

    return link


def position_of(request: HttpRequest) -> int:
    """Up to where the writer had seen the case.

    Raises:
        Refused: the form does not say.
    """
    try:
        return int(request.POST.get("position", ""))
    except ValueError:
        raise Refused("This page was not complete. Load it anew, then record it again.") from None


def since_of(request: HttpRequest) -> int | None:
    """After which position a page is to say what changed; None where its address does not say."""
    text = request.GET.get("since", "")
    return int(text) if text.isascii() and text.isdigit() and len(text) < 7 else None


def moment_of_form(request: HttpRequest, now: datetime) -> datetime | None:
    """When something happened: None for now, or the day and time that were typed.

    Raises:
        BadAnswer: see `read_moment`.
    """
    if request.POST.get("when") != "then":
        return None
    return read_moment(
        request.POST.get("day", ""), request.POST.get("clock", ""), get_site().zone, now
    )


def write(act: Callable[[], object], *, mine: Callable[[Entry], bool], by: str) -> Sequence[Entry]:
    """Do one action. An answer that this writer had sent already (a double tap) counts as done.

    Returns the entries of others that came first; none if the action was done.

    Raises:
        Refused, BadAnswer: nothing was written; the sentences say why.
    """
    try:
        act()
    except Overtaken as overtaken:
        if all(entry.by == by for entry in overtaken.new_entries) and any(
            mine(entry) for entry in overtaken.new_entries
        ):
            return ()
        return overtaken.new_entries
    except ValueError as error:
        if isinstance(error, Refused | BadAnswer):
            raise
        # A position that never existed: the form was altered on its way.
        raise Refused("This page was not complete. Load it anew, then record it again.") from error
    return ()


def overtaken_response(
    request: HttpRequest,
    reading: Reading,
    came_first: Sequence[Entry],
    said: Sequence[tuple[str, str]],
    *,
    sentence: str = "Nothing of yours is recorded yet, and nothing is lost.",
) -> HttpResponse:
    """Who wrote in between and what; what was typed stands below with one button to record it still."""
    protocol, site = protocol_for(get_protocol(), reading.situation), get_site()
    names = names_of(came_first)
    words = actions_in_words(reading.plan, protocol)
    resent = Resent(
        action=request.path,
        fields=tuple(
            (name, value)
            for name, values in request.POST.lists()
            if name not in NOT_RESENT
            for value in values
        ),
        said=tuple((name, value) for name, value in said if value),
        position=reading.position,
        written=tuple(
            Written.of(
                entry,
                protocol=protocol,
                names=names,
                actions=words,
                now=reading.plan.now,
                zone=site.zone,
                say=saying(reading.situation),
            )
            for entry in came_first
        ),
        case=reading.case,
        sentence=sentence,
    )
    log.event("overtaken", case=reading.case, account=str(request.user.pk))
    if is_htmx(request):
        return render(request, "desk/_overtaken.html", {"resent": resent})
    return render(request, "desk/overtaken.html", {"resent": resent}, status=409)


def is_htmx(request: HttpRequest) -> bool:
    """Whether only a part of the page is asked for."""
    return request.headers.get("HX-Request") == "true"


def go(request: HttpRequest, address: str) -> HttpResponse:
    """On to another page, also from a part of one."""
    if is_htmx(request):
        return HttpResponse(status=204, headers={"HX-Redirect": address})
    return HttpResponseRedirect(address)


def last_look(request: HttpRequest, case: str) -> int | None:
    """Up to which position this account has seen the case."""
    return (
        LastLook.objects.filter(account_id=request.user.pk, case=case)
        .values_list("position", flat=True)
        .first()
    )


def looked(request: HttpRequest, case: str, position: int, now: datetime) -> None:
    """This account has seen the case up to here."""
    LastLook.objects.update_or_create(
        account_id=request.user.pk, case=case, defaults={"position": position, "at": now}
    )
