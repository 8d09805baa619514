"""What is to be done about stock, told once by mail to the address that a site names for it."""

from __future__ import annotations

import smtplib
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from django.core.mail import EmailMessage
from django.db import transaction

from thimble.clinical.site import Site
from thimble.ledger.stock.alerts import Alert
from thimble.web import log
from thimble.web.context import get_site, get_stock
from thimble.web.mailing.message import by_itself
from thimble.web.mailing.sending import why_no_mail
from thimble.web.models import StockAlertTold
from thimble.web.stock.telling import standing
from thimble.web.stock.words import alert_words


@dataclass(frozen=True, slots=True)
class Told:
    """What became of the alerts that stand: how many are new, how many were told before, and whether the
    mail about the new ones went out (True where there was none to send)."""

    fresh: int
    before: int
    sent: bool


def why_not_told(site: Site) -> str:
    """Why this site has nobody told of stock, in a sentence; "" where it does."""
    if not site.stocked.places:
        return "No stock is kept here."
    if not site.stocked.mail:
        return "Nobody is told of stock by mail: site.toml has no stock_mail."
    return why_no_mail(site)


def send(now: datetime) -> Told:
    """Mail the alerts that nobody was told of yet, all of them in one mail; none where there are none.

    An alert that is over is forgotten, so that it is told again when it comes back. Sent first, recorded
    then: a machine that stops in between tells once more. Whoever calls this keeps two runs apart.

    Raises:
        ValueError: mail is not set up, or nobody is named; the sentence says what is missing.
    """
    site = get_site()
    if why := why_not_told(site):
        raise ValueError(why)
    now_so = standing(get_stock().movements(), site, now)
    keys = {alert.key for alert in now_so}
    StockAlertTold.objects.exclude(alert__in=keys).delete()
    told = set(StockAlertTold.objects.values_list("alert", flat=True))
    fresh = [alert for alert in now_so if alert.key not in told]
    if not fresh:
        return Told(0, len(told), sent=True)
    if not _sent(message(fresh, site)):
        log.event("stock_mail_not_sent")
        return Told(len(fresh), len(told), sent=False)
    with transaction.atomic():
        StockAlertTold.objects.bulk_create(
            [StockAlertTold(alert=alert.key, at=now) for alert in fresh], ignore_conflicts=True
        )
    log.event("stock_mail_sent")
    return Told(len(fresh), len(told), sent=True)


def message(fresh: Sequence[Alert], site: Site) -> EmailMessage:
    """The mail about alerts: products, lots, places and numbers. No person and no case is in it."""
    count = len(fresh)
    lines = "\n".join(f"- {alert_words(alert, site.stocked)}" for alert in fresh)
    body = (
        f"Good day\n\nTo do about what is kept for exposures:\n\n{lines}\n\n"
        "Each is told once, and again only when it was put right and came back. What stands at any time "
        f"is on the page Stock.\n\n{site.name}\n\n"
        "This message was sent by itself; answers to it are not read.\n"
    )
    subject = f"Stock: {count} thing{'s' * (count != 1)} to see to"
    return by_itself(subject, body, site, site.stocked.mail)


def _sent(mail: EmailMessage) -> bool:
    try:
        # Whatever the server says may repeat the address: nothing of it is kept.
        return mail.send() == 1
    except (smtplib.SMTPException, OSError):
        return False
