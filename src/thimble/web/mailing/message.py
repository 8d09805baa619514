"""What a mail says. It lies on locked screens and in shared inboxes: days, a place and a number to call."""

from __future__ import annotations

from datetime import date, time
from email.utils import make_msgid

from django.core.mail import EmailMessage

from thimble.clinical.neutral import require_neutral
from thimble.clinical.saying import calendar_day
from thimble.clinical.site import Site

REMINDER, MISSED = "reminder", "missed"
"""What a mail is about (ids of `ledger.bodies.CONTACT_ABOUT`)."""


def message(about: str, day: date, site: Site, to: str, *, at: time | None = None) -> EmailMessage:
    """The mail about a visit on `day`, and at an hour if one was agreed; addressed and not sent.

    No name is in it, not even the worker's.


    Raises:
        Telling: the site's own words tell what the visit is for.
        KeyError: there is no such mail.
    """
    place = f"\nWhere: {site.messages.place}\n" if site.messages.place else ""
    hour = "" if at is None else f" at {at:%H:%M}"
    phone = site.occupational_medicine.phone
    words = {
        REMINDER: (
            f"This is a reminder of your appointment on {calendar_day(day)}{hour}.\n{place}\n"
            f"If you cannot come, please call {phone}. We find another date.\n"
        ),
        MISSED: (
            f"We expected you on {calendar_day(day)} and did not see you.\n\n"
            f"Please call {phone}, so that we can find another date.\n"
        ),
    }[about]
    body = (
        f"Good day\n\n{words}\n{site.name}\n\n"
        "This message was sent by itself; answers to it are not read.\n"
    )
    subject = site.messages.appointment
    for text in (subject, site.messages.sender, body.replace(site.name, "")):
        require_neutral(text)
    return by_itself(subject, body, site, to)


def by_itself(subject: str, body: str, site: Site, to: str) -> EmailMessage:
    """A mail that nobody wrote, addressed and not sent: from the site's sender, marked as such."""
    return EmailMessage(
        subject=subject,
        body=body,
        from_email=site.messages.sender,
        to=[to],
        headers={
            # The machine's own name has no place in a header.
            "Message-ID": make_msgid(domain=site.messages.sender.rpartition("@")[2]),
            "Auto-Submitted": "auto-generated",
        },
    )
