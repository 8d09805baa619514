"""Making and sending the letters of a run, one person after the other, each once.

The run is held by one worker at a time, for a minute from letter to letter; a worker that stops lets go of
it in that time, and whoever says so goes on. A mail is marked before it is handed over: where a machine
stops in between, nobody sends it again by itself, and the run says that it may have gone out.

Each letter adds an address of the person's own page. Those before it go on opening it until they run out or
somebody revokes them: whether a mail or a letter arrives nobody here knows.
"""

from __future__ import annotations

import json
import threading
from collections.abc import Mapping
from datetime import date, datetime, time, timedelta
from typing import Any

from django.conf import settings
from django.db import connections, transaction
from django.db.models import Q, QuerySet
from django.urls import reverse

from thimble.actions import Refused
from thimble.actions import people as acts
from thimble.clinical.neutral import is_mail_address
from thimble.clinical.offers import offer_law
from thimble.clinical.readiness import Readiness
from thimble.clinical.series.deciding import rules
from thimble.documents.frame import mark_of
from thimble.documents.letters.letter import OwnPage
from thimble.documents.letters.starter_letters import (
    PAGE_WORDS,
    TITLES,
    Session,
    offered,
    starter_letter,
)
from thimble.documents.many_letters.data import many_letters
from thimble.documents.render import Template, render
from thimble.people.identity import PersonIdentity
from thimble.web import clock, log
from thimble.web.cohort.mail import message
from thimble.web.cohort.standings import standings
from thimble.web.context import get_people, get_people_identities, get_site
from thimble.web.mailing.claims import NOT_KNOWN, SENT
from thimble.web.mailing.sending import hand_over
from thimble.web.models import LetterRun, LetterTo, PersonLink
from thimble.web.own_page.visitor import STANDS_FOR
from thimble.web.qr import qr_rows
from thimble.web.secret_links import add_link, end_one
from thimble.web.vault import Damaged, Vault

HELD_FOR = timedelta(minutes=1)
MAYBE_SENT = "It stopped while it was sent: it may have gone out"


class NotWritten(Exception):
    """Why a letter could not be made or sent, in a sentence for the list of failures."""


def start(run: str) -> None:
    """Work on a run beside the page that asked for it, unless another worker holds it. It is held before
    the page is answered, so that the page finds somebody at work."""
    if not _hold(run):
        return

    def in_thread() -> None:
        try:
            _work(run)
        finally:
            connections.close_all()

    threading.Thread(target=in_thread, name=f"letters {run}", daemon=True).start()


def work(run_id: str) -> None:
    """Take a run to its end, unless another worker holds it."""
    if _hold(run_id):
        _work(run_id)


def _work(run_id: str) -> None:
    run = LetterRun.objects.get(pk=run_id)
    letters_of(run).filter(state=LetterTo.SENDING, how="paper").update(state=LetterTo.WAITING)
    letters_of(run).filter(state=LetterTo.SENDING).update(state=LetterTo.FAILED, reason=MAYBE_SENT)
    try:
        for letter in letters_of(run).filter(state=LetterTo.WAITING):
            if (
                letters_of(run)
                .filter(pk=letter.pk, state=LetterTo.WAITING)
                .update(state=LetterTo.SENDING)
            ):
                _one(run, letter)
            LetterRun.objects.filter(pk=run_id).update(held_until=clock.now() + HELD_FOR)
        _bind(run)
    finally:
        LetterRun.objects.filter(pk=run_id).update(held_until=None)
    log.event("letters_done", case=run_id)


def letters_of(run: LetterRun) -> QuerySet[LetterTo]:
    """The letters of a run, in the order in which they are made."""
    return LetterTo.objects.filter(run=run)


def _hold(run_id: str) -> bool:
    now = clock.now()
    free = Q(held_until__isnull=True) | Q(held_until__lt=now)
    found = LetterRun.objects.filter(free, pk=run_id).update(held_until=now + HELD_FOR)
    return bool(found)


def held(run: LetterRun, now: datetime) -> bool:
    """Whether a worker is at it."""
    return run.held_until is not None and run.held_until >= now


def _one(run: LetterRun, letter: LetterTo) -> None:
    now = clock.now()
    try:
        identity = _identity(letter.person, now)
        kept = (_mail if letter.how == "mail" else _paper)(run, letter.person, identity, now)
        body: dict[str, Any] = {
            "about": run.about,
            "how": letter.how,
            "on": _today(now).isoformat(),
            "letters": run.pk,
        }
        if against := offered(run.about, _readiness(letter.person, identity, now)):
            body["offers"] = list(against)
        with transaction.atomic():
            acts.record_letter(get_people(), letter.person, body, now=now, by=run.by, role=run.role)
            _state(letter, LetterTo.SENT, "", kept)
    except NotWritten as why:
        _state(letter, LetterTo.FAILED, str(why))
    except Refused as refused:
        _state(letter, LetterTo.FAILED, "; ".join(refused.faults))


def _state(letter: LetterTo, state: str, reason: str, kept: str = "") -> None:
    LetterTo.objects.filter(pk=letter.pk).update(state=state, reason=reason[:200], letter=kept)


def _identity(person: str, now: datetime) -> PersonIdentity:
    try:
        found = acts.person_of(get_people(), person, now)
    except acts.NoSuchPerson as missing:
        raise NotWritten("There is no such file any more") from missing
    identity = get_people_identities().identity(person)
    if identity is None or not identity.name:
        raise NotWritten("The name was erased")
    if not found.employment.here_on(_today(now)):
        raise NotWritten("This person has left")
    return identity


def _secret(run: LetterRun, person: str, identity: PersonIdentity, now: datetime) -> str:
    """A further secret of the person's own page; "" without a birth date, which the page asks for."""
    if identity.birth_date is None:
        return ""
    return add_link(PersonLink, person, by=run.by, now=now, until=now + STANDS_FOR)


def _address(secret: str) -> str:
    return get_site().base_url + reverse("own_page:open", args=[secret]) if secret else ""


def _mail(run: LetterRun, person: str, identity: PersonIdentity, now: datetime) -> str:
    if not is_mail_address(identity.email):
        raise NotWritten("No mail address is on record any more")
    secret = _secret(run, person, identity, now)
    if not secret:
        raise NotWritten("The birth date is missing: without it the own page cannot be opened")
    session = session_of(run.said)
    try:
        mail = message(run.about, get_site(), identity.email, _address(secret), session)
    except ValueError as telling:
        end_one(PersonLink, secret, by=run.by, now=now)
        raise NotWritten(str(telling).rstrip(".")) from telling
    became = hand_over(mail)
    if became == NOT_KNOWN:
        raise NotWritten(MAYBE_SENT)
    if became != SENT:
        # Nobody has it.
        end_one(PersonLink, secret, by=run.by, now=now)
        raise NotWritten("The mail server did not take it")
    return ""


def _paper(run: LetterRun, person: str, identity: PersonIdentity, now: datetime) -> str:
    """The letter's data, sealed; its name in the vault."""
    data = letter_data(
        run.about, run.said, person, identity, now, _address(_secret(run, person, identity, now))
    )
    return Vault(settings.DATA).put(json.dumps(data, ensure_ascii=False).encode())


def letter_data(
    about: str, said: str, person: str, identity: PersonIdentity, now: datetime, address: str
) -> dict[str, Any]:
    """One letter as the data of its template; without an address it has no part on the own page."""
    site = get_site()
    name = " ".join(part for part in (identity.given_name, identity.family_name) if part)
    page = OwnPage(address, qr_rows(address), PAGE_WORDS) if address else OwnPage()
    mark = mark_of(rules(site.protocol))
    return starter_letter(
        about, _readiness(person, identity, now), name, site, now, mark,
        session=session_of(said), page=page, law=offer_law(site.protocol),
    ).to_data()  # fmt: skip


def _readiness(person: str, identity: PersonIdentity, now: datetime) -> Readiness:
    file = acts.person_of(get_people(), person, now)
    (member,) = standings().of([file], {person: identity}, _today(now), get_site())
    return member.readiness


def session_of(said: str) -> Session | None:
    """The session that a run's `said` holds."""
    told: Mapping[str, str] = json.loads(said)
    if not told:
        return None
    return Session(
        date.fromisoformat(told["day"]),
        time.fromisoformat(told["opens"]),
        time.fromisoformat(told["closes"]),
        told["place"],
    )


def _bind(run: LetterRun) -> None:
    """Every letter on paper in one file; made anew where more were made since."""
    names = list(
        letters_of(run)
        .filter(state=LetterTo.SENT)
        .exclude(letter="")
        .values_list("letter", flat=True)
    )
    run.refresh_from_db()
    if not names or len(names) == run.in_file:
        return
    vault, site, now = Vault(settings.DATA), get_site(), clock.now()
    fault, file = "", ""
    try:
        letters = [json.loads(vault.get(name)) for name in names]
        data = many_letters(letters, TITLES[run.about][0], site, now, mark_of(rules(site.protocol)))
        file = vault.put(render(Template.MANY_LETTERS, data, at=now))
    except Damaged:
        fault = "A letter that was made is missing or damaged: the file could not be made"
    before = run.file
    LetterRun.objects.filter(pk=run.pk).update(
        file=file or before, in_file=len(names) if file else run.in_file, fault=fault
    )
    if file and before:
        vault.delete(before)


def forget_file(run: LetterRun) -> None:
    """Delete the letters on paper for good: printed and handed out, nobody needs them here."""
    vault = Vault(settings.DATA)
    for name in letters_of(run).exclude(letter="").values_list("letter", flat=True):
        vault.delete(name)
    vault.delete(run.file)
    letters_of(run).update(letter="")
    LetterRun.objects.filter(pk=run.pk).update(file="", in_file=0)


def _today(now: datetime) -> date:
    return now.astimezone(get_site().zone).date()
