"""Which mails are due, sending them, and putting on record what became of each."""

from __future__ import annotations

import smtplib
from collections.abc import Collection, Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.conf import settings

from thimble import actions
from thimble.clinical.neutral import is_mail_address
from thimble.clinical.site import Site
from thimble.ledger.entries import Kind
from thimble.ledger.fold import standing
from thimble.ledger.plan import Situation
from thimble.ledger.reaching import next_rung
from thimble.ledger.visiting import Expected, Kept, expected
from thimble.web import log
from thimble.web.context import get_identities, get_ladder, get_site, get_store
from thimble.web.mailing.message import MISSED, REMINDER, message
from thimble.web.worklist.board import Standing, standings

BY = "mail"
"""Who writes, and as what, the entries of mails that went out by themselves."""

EMAIL = "email"


@dataclass(frozen=True, slots=True)
class Due:
    """A mail to send: about what, for the visit of which day."""

    case: str
    about: str
    visit: date


@dataclass(frozen=True, slots=True)
class Sent:
    """What became of the mails that were due: how many were sent, failed, or have no address."""

    sent: int = 0
    failed: int = 0
    no_address: int = 0


def why_no_mail(site: Site) -> str:
    """Why this site sends no mail, in a sentence; "" where it does."""
    if not settings.MAIL:
        return "Mail is not set up: THIMBLE_MAIL is not set. docs/deployment.md says how."
    if not site.messages.sender:
        return "Mail is not set up: site.toml names no sender under [messages]."
    return ""


def agreed_to_mail(situation: Situation) -> bool:
    """Whether the worker agreed to mail; never asked is no."""
    return situation.follow_up.agreements.get(EMAIL, False)


def due_mails(now: datetime, cases: Collection[str] | None = None) -> Iterator[Due]:
    """The mails that are due at `now`: reminders of visits within the site's days ahead, and one about a
    missed visit once the ladder's next step can be taken by mail.

    A mail that went out is not due again, and one that failed is tried again on another day.
    """
    site = get_site()
    today = now.astimezone(site.zone).date()
    for each in standings(now):
        wanted = cases is None or each.case in cases
        if wanted and each.open and agreed_to_mail(each.situation):
            done = set(_dealt_with(each, today, site))
            visits = expected(each.plan, each.situation, today)
            for due in (
                *_reminders(each, visits, today, site),
                *_missed(each, visits, today, site),
            ):
                if (due.about, due.visit) not in done:
                    yield due


def _reminders(
    each: Standing, visits: Collection[Expected], today: date, site: Site
) -> Iterator[Due]:
    last = today + timedelta(days=site.messages.days_ahead)
    for one in visits:
        if one.kept is Kept.AHEAD and one.visit.day <= last:
            yield Due(each.case, REMINDER, one.visit.day)


def _missed(each: Standing, visits: Collection[Expected], today: date, site: Site) -> Iterator[Due]:
    rung = next_rung(each.situation, list(visits), get_ladder(), site.zone)
    if rung is not None and EMAIL in rung.how and rung.due <= today:
        yield Due(each.case, MISSED, rung.missed)


def _dealt_with(each: Standing, today: date, site: Site) -> Iterator[tuple[str, date]]:
    """Mails of a case that went out, or that failed today."""
    for stands in standing(each.entries).values():
        if stands is None or stands.entry.kind is not Kind.CONTACTED:
            continue
        about, visit = stands.body.get("about"), stands.body.get("visit")
        if about is None or visit is None:
            continue
        on = stands.happened_at.astimezone(site.zone).date()
        if stands.body["outcome"] == "sent" or on == today:
            yield about, date.fromisoformat(visit)


def send_due(now: datetime, cases: Collection[str] | None = None) -> Sent:
    """Send what is due and put each on record: as an attempt to reach the worker, without the address.

    Sent first, recorded then: a machine that stops in between sends once more, which is better than not
    at all. Whoever calls this keeps two runs apart (`thimble remind` locks).

    Raises:
        ValueError: mail is not set up; the sentence says what is missing.
        Telling: the site's own words tell what the visits are for; nothing was sent.
    """
    site = get_site()
    if why := why_no_mail(site):
        raise ValueError(why)
    sent = failed = no_address = 0
    for due in list(due_mails(now, cases)):
        worker = get_identities().worker(due.case)
        to = worker.email if worker else ""
        if not is_mail_address(to):
            no_address += 1
            continue
        outcome = "sent" if _send(due, site, to) else "not_sent"
        sent += outcome == "sent"
        failed += outcome == "not_sent"
        actions.contact(
            get_store(), due.case, how=EMAIL, outcome=outcome, about=due.about, visit=due.visit,
            now=now, by=BY, role=BY,
        )  # fmt: skip
        log.event(f"mail_{outcome}", case=due.case)
    return Sent(sent, failed, no_address)


def _send(due: Due, site: Site, to: str) -> bool:
    mail = message(due.about, due.visit, site, to)
    try:
        # Whatever the server says may repeat the address: nothing of it is kept.
        return mail.send() == 1
    except (smtplib.SMTPException, OSError):
        return False
