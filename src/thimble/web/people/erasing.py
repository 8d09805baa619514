"""Whose time is over in the register, and the files that go with their names."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime

from django.conf import settings
from django.db.models import Q

from thimble.actions.identity import WorkerIdentity
from thimble.actions.people_erasing import (
    CaseOf,
    PersonErasure,
    due_of,
    erase_person,
    may_be_theirs,
)
from thimble.clinical.people_rules import kept_until, retention_law
from thimble.clinical.site import Site
from thimble.clinical.vocabulary import VOCABULARY
from thimble.exchange.inbox import Inbox
from thimble.ledger.fold import fold
from thimble.people.identity import PersonIdentity
from thimble.web.cohort.sending import forget_file
from thimble.web.context import get_identities, get_people, get_people_identities, get_store
from thimble.web.laboratory.erasing_people import messages_of
from thimble.web.laboratory.register import get_register
from thimble.web.models import LetterRun
from thimble.web.people.roster import roster
from thimble.web.vault import Vault


def people_due(site: Site, now: datetime) -> Iterator[PersonErasure]:
    """Everybody whose time is over, as the site's times and the law have it."""
    rules, law, today = site.people, retention_law(site.protocol), now.astimezone(site.zone).date()
    if rules.after_leaving is None:
        return
    gone = [
        person.reference
        for person in roster().people(now)
        if (left := person.employment.ends_on) is not None
        and (kept := kept_until(rules, law, left, ())) is not None
        and kept[0] < today
    ]
    known = get_people_identities().some_identities(gone)
    workers = get_identities().cases_of_workers() if known else {}
    for reference, who in known.items():
        near = [
            _case(case, worker, site, now)
            for case, worker in workers.items()
            if may_be_theirs(who, worker)
        ]
        found = due_of(get_people(), reference, who, near, rules, law, today=today, now=now)
        if found is not None:
            yield found


def _case(case: str, worker: WorkerIdentity, site: Site, now: datetime) -> CaseOf:
    entries = get_store().entries(case)
    situation = fold(entries, now, VOCABULARY)
    exposed = situation.occurred_at or entries[0].recorded_at
    return CaseOf(
        case,
        worker,
        situation.closed_at is not None,
        exposed.astimezone(site.zone).date(),
        entries[-1].position,
    )


def erase(found: PersonErasure, now: datetime) -> None:
    """Erase one person, and them out of what the laboratory sent.

    Raises:
        Overtaken: see `erase_person`.
    """
    who = get_people_identities().identity(found.person) or PersonIdentity()
    with Inbox(settings.DATA) as inbox:
        left = messages_of(inbox, get_register(), found.person, who, _digests(found))

        def also() -> None:
            _forget_files(found.person)
            inbox.erase_people(left, now)

        erase_person(
            get_people(), get_people_identities(), get_store(), get_identities(), found,
            together=get_store().transaction(), now=now, by="command", role="retention", also=also,
        )  # fmt: skip


def _digests(found: PersonErasure) -> set[str]:
    """The messages with which results of the worker came into the cases that lose the name."""
    return {
        entry.body["message"]
        for case in found.cases
        for entry in get_store().entries(case.case)
        if entry.body.get("of") == "worker" and "message" in entry.body
    }


def _forget_files(person: str) -> None:
    """Scans as every entry names them, also those withdrawn; and letters on paper, which nobody needs that
    long, with those of the others in the same file."""
    vault = Vault(settings.DATA)
    for entry in get_people().entries(person):
        if "name" in entry.body and "digest" in entry.body:
            vault.delete(str(entry.body["name"]))
    of_person = LetterRun.objects.filter(letters__person=person)
    for run in of_person.exclude(Q(file="") & Q(letters__letter="")).distinct():
        forget_file(run)
