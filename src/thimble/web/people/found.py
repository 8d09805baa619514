"""A person of the register for a page, and who is writing: what every view of people shares."""

from __future__ import annotations

from typing import Any

from django.http import Http404, HttpRequest

from thimble.actions import people as acts
from thimble.people.entries import THEMSELF
from thimble.people.fold import Person
from thimble.people.identity import PersonIdentity
from thimble.web import clock
from thimble.web.access import account_of
from thimble.web.context import get_people, get_people_identities, looked
from thimble.web.models import Account


def found(request: HttpRequest, person: str, where: str) -> tuple[Person, PersonIdentity | None]:
    """The person and who they are; that the name is shown is put on record first.

    Raises:
        Http404: there is no such person.
    """
    try:
        held = acts.person_of(get_people(), person, clock.now())
    except acts.NoSuchPerson as missing:
        raise Http404(str(missing)) from missing
    looked(request, [person], whose="worker", where=where[:20])
    return held, get_people_identities().identity(person)


def writer(request: HttpRequest) -> dict[str, Any]:
    """When, by whom and as what something is written."""
    account = account_of(request)
    return {"now": clock.now(), "by": account.pk, "role": account.role}


def account_names() -> dict[str, str]:
    """The display names of accounts, and what the person themself is called who wrote on their own page."""
    accounts = dict(Account.objects.values_list("pk", "display_name"))
    return accounts | {THEMSELF: "the person, on their own page"}
