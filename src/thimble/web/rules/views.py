"""The protocol pages: the active protocol, the shipped ones, those used beside them, and every table."""

from __future__ import annotations

from dataclasses import dataclass

from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import NoReverseMatch, reverse
from django.views.decorators.http import require_GET

from thimble.actions.reference import read_reference
from thimble.clinical.library import folders, shipped
from thimble.clinical.library import protocol as shipped_protocol
from thimble.ledger.assess import assess
from thimble.ledger.exposed import told
from thimble.ledger.fold import fold
from thimble.ledger.situation import Situation
from thimble.protocol import Protocol
from thimble.protocol.model import Table
from thimble.web import clock
from thimble.web.access import needs
from thimble.web.context import get_protocol, get_site, get_store, zone
from thimble.web.models import Account
from thimble.web.rules.fired import fired_in, open_in
from thimble.web.rules.overview import protocol_page
from thimble.web.rules.table import table_page


@dataclass(frozen=True, slots=True)
class Applied:
    """What a table says of one case."""

    reference: str
    href: str
    fired: frozenset[str]
    open: tuple[str, ...]
    situation: Situation


@needs("view_protocols")
@require_GET
def protocol(request: HttpRequest) -> HttpResponse:
    """What the protocol is, how well its rules are known, what it rests on, what was proved."""
    chosen = _chosen(request)
    today = clock.now().astimezone(zone()).date()
    others = [shipped_protocol(name) for name in shipped()]
    context = {
        "page": protocol_page(chosen, today),
        "active": get_protocol().id,
        "others": others,
        "beside": chosen.id not in (*shipped(), get_protocol().id),
        "of": _of(chosen),
    }
    return render(request, "rules/protocol.html", context)


@needs("view_protocols")
@require_GET
def table(request: HttpRequest, table: str) -> HttpResponse:
    """One table. `?rule=` marks a rule; `?case=` marks those that apply to a case."""
    chosen = _chosen(request)
    try:
        wanted = chosen.table(table)
    except KeyError:
        raise Http404("no such table") from None
    applied = _applied(request, chosen, wanted) if "case" in request.GET else None
    asked = request.GET.get("rule", "")
    known = frozenset(rule.id for rule in wanted.rules)
    fired = applied.fired if applied else frozenset({asked}) & known
    page = table_page(chosen, wanted, fired)
    context = {
        "page": told(page, applied.situation) if applied else page,
        "protocol": chosen,
        "active": chosen.id == get_protocol().id,
        "applied": applied,
        "asked": asked if asked in known else "",
        "missing_rule": asked if asked and asked not in known else "",
        "beside": chosen.id not in (*shipped(), get_protocol().id),
        "of": _of(chosen),
    }
    return render(request, "rules/table.html", context)


def _chosen(request: HttpRequest) -> Protocol:
    """The active protocol, or the shipped folder that `?of=` names."""
    active = get_protocol()
    name = request.GET.get("of", active.id)
    if name == active.id:
        return active
    if name not in folders():
        raise Http404("no such protocol")
    return shipped_protocol(name)


def _of(chosen: Protocol) -> str:
    """What links carry so that they stay in a protocol that is not the active one."""
    return "" if chosen.id == get_protocol().id else f"?of={chosen.id}"


def _applied(request: HttpRequest, chosen: Protocol, wanted: Table) -> Applied:
    user = request.user
    if not (isinstance(user, Account) and user.has_perm("view_case")):
        raise PermissionDenied("this shows what is known of a case")
    if chosen.id not in shipped():
        raise Http404("these tables ask for facts that a case does not hold")
    try:
        reference = read_reference(request.GET["case"])
    except ValueError:
        raise Http404("no such case") from None
    entries = get_store().entries(reference)
    if not entries:
        raise Http404("no such case")
    now = clock.now()
    situation = fold(entries, now, chosen.vocabulary)
    plan = assess(situation, chosen, now, get_site())
    try:
        href = reverse("desk:case", args=[reference])
    except NoReverseMatch:
        href = ""
    return Applied(
        reference,
        href,
        fired_in(plan, wanted.id),
        told(open_in(plan, wanted, chosen), situation),
        situation,
    )
