"""Accounts, settings and checks. No page here shows clinical data or a name of a patient or worker."""

from __future__ import annotations

import secrets
from collections.abc import Iterable, Iterator
from typing import Any

from django.contrib.sessions.models import Session
from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.views.decorators.http import require_http_methods, require_safe

from thimble.ledger.entries import Entry
from thimble.ledger.verify import verify
from thimble.protocol import ProtocolFaults, check_protocol
from thimble.web import clock, log
from thimble.web.access import needs
from thimble.web.administration.forms import ChangeAccountForm, NewAccountForm
from thimble.web.administration.page import Check, EventLine, SitePage
from thimble.web.context import get_people, get_protocol, get_site, get_store, zone
from thimble.web.models import Account, AccountEvent
from thimble.web.roles import CAPABILITIES, GRANTED, Role
from thimble.web.store import DjangoStore, UnreadableEntry, record_account_event

SHOWN_EVENTS = 50
_LETTERS = "23456789abcdefghjkmnpqrstuvwxyz"


def one_time_password() -> str:
    """Four groups of four, easy to read out: about 79 bits."""
    return "-".join("".join(secrets.choice(_LETTERS) for _ in range(4)) for _ in range(4))


@needs("manage_accounts")
@require_safe
def accounts(request: HttpRequest) -> HttpResponse:
    """Every account."""
    rows = Account.objects.order_by("-is_active", "role", "display_name")
    context = {"accounts": rows, "events": _events(AccountEvent.objects.all()[:SHOWN_EVENTS])}
    return render(request, "administration/accounts.html", context)


@needs("manage_accounts")
@require_http_methods(["GET", "POST"])
def new_account(request: HttpRequest) -> HttpResponse:
    """A new account, with a password that is shown once."""
    form = NewAccountForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        password = one_time_password()
        with transaction.atomic():
            made = Account.objects.create_account(
                form.cleaned_data["sign_in"],
                display_name=form.cleaned_data["display_name"],
                role=form.cleaned_data["role"],
                password=password,
            )
            _record(request, made, AccountEvent.CREATED)
        log.event("account_created", account=made.pk)
        context = {"account": made, "password": password, "done": "Account created"}
        return render(request, "administration/password.html", context)
    status = 422 if form.is_bound else 200
    return render(request, "administration/new_account.html", {"form": form}, status=status)


@needs("manage_accounts")
@require_http_methods(["GET", "POST"])
def account(request: HttpRequest, account_id: str) -> HttpResponse:
    """One account: its role, closing and reopening it, a new one-time password."""
    found = get_object_or_404(Account, pk=account_id)
    form = ChangeAccountForm(request.POST or None, initial={"role": found.role})
    said = ""
    if request.method == "POST" and form.is_valid():
        act = form.cleaned_data["act"]
        if found.pk == request.user.pk:
            said = (
                "Your own account is changed by another administrator, so that one always remains."
            )
        elif act == "password":
            return _new_password(request, found)
        else:
            said = _change(request, found, act, form.cleaned_data["role"])
            log.event(f"account_{act}", account=found.pk)
    context = {
        "account": found,
        "form": form,
        "said": said,
        "own": found.pk == request.user.pk,
        "events": _events(AccountEvent.objects.filter(account=found.pk)),
        "capabilities": [
            meaning for name, meaning in CAPABILITIES.items() if name in GRANTED[Role(found.role)]
        ],
    }
    status = 422 if form.is_bound and form.errors else 200
    return render(request, "administration/account.html", context, status=status)


def _record(request: HttpRequest, changed: Account, what: str) -> None:
    record_account_event(changed, what, by=str(request.user.pk), now=clock.now())


def _events(rows: Iterable[AccountEvent]) -> list[EventLine]:
    names = dict(Account.objects.values_list("pk", "display_name"))
    return [
        EventLine.of(row.account, row.what, row.role, row.by, row.at, names=names, zone=zone())
        for row in rows
    ]


def _change(request: HttpRequest, found: Account, act: str, role: str) -> str:
    before = (found.role, found.is_active)
    if act == "role":
        found.role = role
        said = f"The role is now: {found.role_label}."
    else:
        found.is_active = act == "open"
        said = "The account is open again." if found.is_active else "The account is closed."
    with transaction.atomic():
        found.save(update_fields=["role", "is_active"])
        if (found.role, found.is_active) != before:
            done = {"role": AccountEvent.ROLE, "open": AccountEvent.OPENED}
            _record(request, found, done.get(act, AccountEvent.CLOSED))
        _end_sessions(found)
    return said


def _new_password(request: HttpRequest, found: Account) -> HttpResponse:
    password = one_time_password()
    found.set_password(password)
    found.must_change_password = True
    with transaction.atomic():
        found.save(update_fields=["password", "must_change_password"])
        _record(request, found, AccountEvent.PASSWORD)
        _end_sessions(found)
    log.event("account_password", account=found.pk)
    context = {"account": found, "password": password, "done": "New one-time password"}
    return render(request, "administration/password.html", context)


def _end_sessions(found: Account) -> None:
    """Sign the account out wherever it is signed in."""
    for session in Session.objects.iterator():
        if session.get_decoded().get("_auth_user_id") == found.pk:
            session.delete()


@needs("view_site")
@require_safe
def site(request: HttpRequest) -> HttpResponse:
    """The settings, to read. They are changed in site.toml, by whoever runs the server."""
    return render(request, "administration/site.html", {"page": SitePage.of(get_site())})


@needs("verify_ledger")
@require_safe
def checks(request: HttpRequest) -> HttpResponse:
    """The chain of each ledger and the protocol's proofs, run now."""
    found = (_ledger_check(get_store()), _ledger_check(get_people()), _protocol_check())
    return render(request, "administration/checks.html", {"checks": found})


def _ledger_check(store: DjangoStore[Any]) -> Check:
    count = 0

    def counted() -> Iterator[Entry[Any]]:
        nonlocal count
        for entry in store.all_entries():
            count += 1
            yield entry

    try:
        faults = tuple(str(fault) for fault in verify(counted(), subject=store.book.subject))
    except UnreadableEntry as unreadable:
        faults = (str(unreadable),)
    return Check(
        f"Ledger of {store.book.name}",
        f"{count} entries read; each must carry the digest of the one before.",
        faults,
    )


def _protocol_check() -> Check:
    try:
        protocol = get_protocol()
    except ProtocolFaults as unreadable:
        return Check("Protocol", "The protocol cannot be used.", tuple(map(str, unreadable.faults)))
    return Check(
        f"Protocol {protocol.id}",
        f"{protocol.title}, edition {protocol.edition}: every table complete and unambiguous, "
        "declared orders kept, its own cases passed.",
        tuple(str(fault) for fault in check_protocol(protocol)),
    )
