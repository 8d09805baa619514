"""Whose page a visitor without an account may see: a link, then the birth date, then a while.

The link alone shows nothing: a forwarded mail opens no file. The session remembers which link opened it,
and each page looks the link up anew, so that a revoked one stops at once.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.conf import settings
from django.db.models import F
from django.http import HttpRequest

from thimble.actions import people as acts
from thimble.ledger.entries import Entry
from thimble.people.entries import Kind
from thimble.people.fold import Person, fold
from thimble.people.identity import PersonIdentity
from thimble.web import clock
from thimble.web.context import get_people, get_people_identities, get_site
from thimble.web.models import PersonLink

STANDS_FOR = timedelta(days=90)
"""How long a link opens the page, unless it is revoked or replaced before."""

MOST_WRONG = 10
"""Wrong birth dates in a row after which a link stops for good."""

STOPPED = "wrong birth dates"
"""Stands in `ended_by` of a link that stopped by itself for that reason."""

_BRINGS_BACK = frozenset({Kind.RETURNED, Kind.CHANGED, Kind.LEFT, Kind.CORRECTED})
_KEY = "own_page"


@dataclass(frozen=True, slots=True)
class Visitor:
    """Whoever opened a link that stands: their file, who they are, and whether they proved it."""

    link: PersonLink
    person: Person
    identity: PersonIdentity
    proved: bool


def whose(link: PersonLink, now: datetime) -> tuple[Person, PersonIdentity] | None:
    """The person that a link stands for; None once it is over, they left, or their name was erased.

    Who left and came back needs a new link: the old one was given for another time.
    """
    if link.ended_at is not None or now >= link.until:
        return None
    try:
        person = acts.person_of(get_people(), link.case, now)
    except acts.NoSuchPerson:
        return None
    identity = get_people_identities().identity(link.case)
    if identity is None or identity.birth_date is None:
        return None
    gone = not _here(person, now) or _was_gone(get_people().entries(link.case), link.made_at)
    return None if gone else (person, identity)


def _was_gone(entries: Sequence[Entry[Kind]], since: datetime) -> bool:
    """Whether somebody had left when a later entry brought them back."""
    return any(
        not _here(fold(entries[:number], entry.recorded_at), entry.recorded_at)
        for number, entry in enumerate(entries)
        if number and entry.recorded_at > since and entry.kind in _BRINGS_BACK
    )


def _here(person: Person, at: datetime) -> bool:
    return person.employment.here_on(at.astimezone(get_site().zone).date())


def remember(request: HttpRequest, link: PersonLink, *, proved: bool) -> None:
    """Bind this session to a link. A session that may now see more gets a new name."""
    if proved:
        request.session.cycle_key()
    request.session[_KEY] = {
        "link": link.pk,
        "proved": proved,
        "seen": clock.now().isoformat(),
    }


def forget(request: HttpRequest) -> None:
    """Nothing may be seen from this session any more."""
    request.session.pop(_KEY, None)


def visitor(request: HttpRequest) -> Visitor | None:
    """Who is here; None where no link was opened, it is over, or nobody was here for a while."""
    held = request.session.get(_KEY)
    if not isinstance(held, dict):
        return None
    now = clock.now()
    seen = datetime.fromisoformat(held["seen"])
    link = PersonLink.objects.filter(pk=held["link"]).first()
    found = whose(link, now) if link is not None else None
    if (
        link is None
        or found is None
        or now - seen > timedelta(minutes=settings.SESSION_IDLE_MINUTES)
    ):
        forget(request)
        return None
    if now - seen > timedelta(minutes=1):
        request.session[_KEY] = {**held, "seen": now.isoformat()}
    return Visitor(link, *found, proved=bool(held["proved"]))


def prove(request: HttpRequest, here: Visitor, typed: date | None) -> bool:
    """Whether this is the birth date. Each try is counted before it is compared; tries that are sent at
    once are all counted. After `MOST_WRONG` the link is stopped."""
    links = PersonLink.objects.filter(pk=here.link.pk, ended_at__isnull=True)
    if not links.filter(wrong__lt=MOST_WRONG).update(wrong=F("wrong") + 1):
        return False
    if typed is not None and typed == here.identity.birth_date:
        links.update(wrong=0)
        remember(request, here.link, proved=True)
        return True
    links.filter(wrong__gte=MOST_WRONG).update(ended_at=clock.now(), ended_by=STOPPED)
    return False
