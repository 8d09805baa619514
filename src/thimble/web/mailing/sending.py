"""Which mails are due, sending them, and putting on record what became of each."""

from __future__ import annotations

import contextlib
import smtplib
from collections import Counter
from collections.abc import Collection, Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.conf import settings
from django.core.mail import EmailMessage
from django.core.mail.backends.base import BaseEmailBackend

from thimble import actions
from thimble.clinical.neutral import is_mail_address
from thimble.clinical.site import Site
from thimble.ledger.entries import Kind
from thimble.ledger.follow_up.reaching import next_rung
from thimble.ledger.follow_up.visiting import Expected, Kept, expected
from thimble.ledger.situation import Situation
from thimble.ledger.standing import standing
from thimble.web import log
from thimble.web.context import get_identities, get_ladder, get_site, get_store
from thimble.web.mailing.claims import (
    GIVEN_UP,
    NOT_KNOWN,
    NOT_SENT,
    SENT,
    Due,
    claim,
    open_claims,
    settle,
    taken,
)
from thimble.web.mailing.message import MISSED, REMINDER, message
from thimble.web.models import MailClaim
from thimble.web.worklist.board import Standing, standings

BY = "mail"
"""Who writes, and as what, the entries of mails that went out by themselves."""

EMAIL = "email"


@dataclass(frozen=True, slots=True)
class Sent:
    """What became of the mails that were due: how many were sent, failed, have no address, or of how many
    it is not known whether they were sent."""

    sent: int = 0
    failed: int = 0
    no_address: int = 0
    not_known: int = 0


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

    A mail that went out, or of which that is not known, is not due again; one that failed is tried again
    on another day.
    """
    site = get_site()
    today = now.astimezone(site.zone).date()
    for each in standings(now):
        wanted = cases is None or each.case in cases
        if wanted and each.open and agreed_to_mail(each.situation):
            done = {*_dealt_with(each, today, site), *taken(each.case, today)}
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
            yield Due(each.case, REMINDER, one.visit.day, one.visit.at)


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
        if stands.body["outcome"] in (SENT, NOT_KNOWN) or on == today:
            yield about, date.fromisoformat(visit)


def send_due(now: datetime, cases: Collection[str] | None = None) -> Sent:
    """Send what is due and put each on record: as an attempt to reach the worker, without the address.

    Each is claimed before it is sent, so that whoever else runs this at the same moment leaves it alone.
    What an earlier run left between the two is put on record as not known, and not sent again.

    Raises:
        ValueError: mail is not set up; the sentence says what is missing.
        Telling: the site's own words tell what the visits are for; nothing was sent.
    """
    site = get_site()
    if why := why_no_mail(site):
        raise ValueError(why)
    today = now.astimezone(site.zone).date()
    became: Counter[str] = Counter()
    for left in open_claims(cases):
        if left.claimed_at <= now - GIVEN_UP and _record(left, NOT_KNOWN, left.claimed_at, now):
            became[NOT_KNOWN] += 1
    for due in list(due_mails(now, cases)):
        worker = get_identities().worker(due.case)
        to = worker.email if worker else ""
        if not is_mail_address(to):
            became["no_address"] += 1
            continue
        mail = message(due.about, due.visit, site, to, at=due.at)
        claimed = claim(due, today, now)
        if claimed is not None:
            outcome = hand_over(mail)
            _record(claimed, outcome, now, now)
            became[outcome] += 1
    return Sent(became[SENT], became[NOT_SENT], became["no_address"], became[NOT_KNOWN])


def _record(claimed: MailClaim, outcome: str, at: datetime, now: datetime) -> bool:
    """Put on record what became of a mail; False where somebody did already and knew no less."""
    store = get_store()
    with store.transaction():
        # A run that was taken to have stopped and sent it after all: that is what became of it.
        if not settle(claimed, outcome) and outcome == NOT_KNOWN:
            return False
        actions.contact(
            store, claimed.case, how=EMAIL, outcome=outcome, about=claimed.about,
            visit=claimed.visit, happened_at=at, now=now, by=BY, role=BY,
        )  # fmt: skip
    log.event(f"mail_{outcome}", case=claimed.case)
    return True


def hand_over(mail: EmailMessage) -> str:
    """Hand a mail to the server: `SENT`, `NOT_SENT` or `NOT_KNOWN`.

    Whatever the server says may repeat the address: nothing of it is kept.
    """
    connection = mail.get_connection()
    try:
        connection.open()
    except (smtplib.SMTPException, OSError):
        return NOT_SENT
    try:
        return SENT if connection.send_messages([mail]) == 1 else NOT_SENT
    except (smtplib.SMTPResponseException, smtplib.SMTPRecipientsRefused):
        return NOT_SENT
    except (smtplib.SMTPException, OSError):
        # The server may have taken it in before it fell silent.
        return NOT_KNOWN
    finally:
        _close(connection)


def _close(connection: BaseEmailBackend) -> None:
    # A server that hangs up at the end takes back nothing of what it took in.
    with contextlib.suppress(smtplib.SMTPException, OSError):
        connection.close()
