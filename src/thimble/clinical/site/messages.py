"""What calendars and mail to a worker may say."""

from __future__ import annotations

from thimble.clinical.neutral import is_mail_address, telling_words
from thimble.clinical.settings import Settings
from thimble.clinical.site.model import Messages


def read_messages(read: Settings) -> Messages:
    """The table `messages`, which may be left out."""
    if not read.has("messages"):
        read.allow("messages")
        return Messages()
    table = read.table("messages")
    if table is None:
        return Messages()
    found = Messages(
        appointment=table.text("appointment"),
        place=table.text("place", may_be_empty=True),
        sender=_sender(table),
        days_ahead=_days_ahead(table),
    )
    for key in ("appointment", "place", "sender"):
        text = str(getattr(found, key))
        if words := telling_words(text):
            table.fault(
                key,
                f"is seen by others and tells nothing of what a visit is for; found {words[0]!r}",
            )
        if "\n" in text or "\r" in text:
            table.fault(key, "is one line")
    table.refuse_the_rest()
    return found


def _sender(read: Settings) -> str:
    found = read.text("sender", may_be_empty=True)
    if found and not is_mail_address(found):
        read.fault("sender", f"is a mail address, such as visits@hospital.example; found {found!r}")
        return ""
    return found


def _days_ahead(read: Settings) -> int:
    if not read.has("days_ahead"):
        read.allow("days_ahead")
        return Messages().days_ahead
    found = read.take("days_ahead")
    if isinstance(found, int) and not isinstance(found, bool) and 1 <= found <= 14:
        return found
    read.fault("days_ahead", f"is a whole number of days from 1 to 14; found {found!r}")
    return Messages().days_ahead
