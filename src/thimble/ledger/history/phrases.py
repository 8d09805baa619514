"""Days, instants and labelled texts as every entry says them."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime, tzinfo
from typing import Any

from thimble.clinical.saying import calendar_day, day, minute


def day_words(iso: str) -> str:
    """A day of the calendar from its ISO form."""
    return calendar_day(date.fromisoformat(iso))


def labelled(body: Mapping[str, Any], **labels: str) -> list[str]:
    """Each text that is there, after its label."""
    return [f"{label}: {body[key]}" for key, label in labels.items() if body.get(key)]


def when_words(body: Mapping[str, Any], zone: tzinfo) -> str:
    """When the exposure was, no more exactly than it is known."""
    at, precision = body["occurred_at"], body["occurred_at_precision"]
    if at is None:
        return "When it happened is not known."
    local = datetime.fromisoformat(at).astimezone(zone)
    if precision == "date":
        return f"Happened on {day(local, zone)}, at a time not known."
    if precision == "hour":
        return f"Happened on {day(local, zone)} in the hour from {local:%H}:00."
    return f"Happened on {minute(local, zone)}."


def instant_words(text: str, zone: tzinfo) -> str:
    """An instant from its ISO form."""
    return minute(datetime.fromisoformat(text), zone)
