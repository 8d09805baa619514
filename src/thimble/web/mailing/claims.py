"""Taking it on to send a mail, so that it goes out once: written down before it is sent, settled after.

Two who find the same mail due at one moment both try to write the claim; the database lets one. What
becomes of the mail is written in the transaction that settles the claim. A process that stops between
the two leaves the claim standing: whether the mail went out is then not known, it is never sent by itself
again, and after a while that is put on record for somebody to look after.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta

from django.db import IntegrityError, transaction

from thimble.web.models import MailClaim

CLAIMED, SENT, NOT_SENT, NOT_KNOWN = "claimed", "sent", "not_sent", "not_known"
STATES = (CLAIMED, SENT, NOT_SENT, NOT_KNOWN)
"""What became of a mail; all but the first are outcomes of an attempt (`CONTACT_OUTCOMES`)."""

GIVEN_UP = timedelta(minutes=10)
"""How long a claim stands before nobody is taken to be at it: the mail server is given up long before."""


@dataclass(frozen=True, slots=True)
class Due:
    """A mail to send: about what, for the visit of which day, and its hour if one was agreed."""

    case: str
    about: str
    visit: date
    at: time | None = None


def claim(due: Due, today: date, now: datetime) -> MailClaim | None:
    """The claim on a mail, committed; None where somebody else has it, or it was tried today."""
    try:
        with transaction.atomic(durable=True):
            return MailClaim.objects.create(
                case=due.case, about=due.about, visit=due.visit, day=today, state=CLAIMED,
                claimed_at=now,
            )  # fmt: skip
    except IntegrityError:
        return None


def settle(claimed: MailClaim, state: str) -> bool:
    """What became of it; whether it stood open until now. Called in the transaction that records it."""
    open_ = MailClaim.objects.filter(pk=claimed.pk, state=CLAIMED)
    return bool(open_.update(state=state))


def open_claims(cases: Iterable[str] | None = None) -> list[MailClaim]:
    """The claims that nobody has settled, of some cases or of all."""
    found = MailClaim.objects.filter(state=CLAIMED)
    return list(found if cases is None else found.filter(case__in=list(cases)))


def taken(case: str, today: date) -> set[tuple[str, date]]:
    """Mails of a case that nobody sends today: about what, for which visit."""
    found = MailClaim.objects.filter(case=case).values_list("about", "visit", "state", "day")
    return {
        (about, visit) for about, visit, state, day in found if state != NOT_SENT or day == today
    }
