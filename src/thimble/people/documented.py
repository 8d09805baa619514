"""What makes two pieces of evidence one and the same, and which day cannot be on record."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any

from thimble.people.entries import Kind


def day_of(body: Mapping[str, Any]) -> str | None:
    """The day that a piece of evidence is of, as exactly as it is known."""
    told: str | None = body.get("when", body.get("on"))
    return told


def same(body: Mapping[str, Any]) -> tuple[Any, ...]:
    """Equal for one and the same piece of evidence. A date that nobody knows is never the same."""
    when = day_of(body)
    what = (
        body.get("product", body.get("test", body.get("disease"))),
        tuple(body.get("diseases", ())),
        body.get("word"),
        body.get("number"),
    )
    return (when, *what) if when else (id(body), *what)


def named(kind: Kind, body: Mapping[str, Any]) -> str:
    """As sentences call it: `Dose recorded of 2019-03-14`."""
    return f"{kind.value.replace('_', ' ').capitalize()} of {day_of(body)}"


def outside(kind: Kind, body: Mapping[str, Any], today: date, born: date | None) -> str:
    """Why it cannot be on record yet, or cannot be of somebody born on a day; "" where nothing speaks
    against it."""
    when = day_of(body)
    if when is None:
        return ""
    # Of a partial day what is known is compared: 2026-11 does not lie ahead on 3 November.
    size = len(when)
    if when > today.isoformat()[:size]:
        return f"{named(kind, body)} lies ahead; write it down once it has happened"
    if born is not None and when < born.isoformat()[:size]:
        return f"{named(kind, body)} lies before the person's birth; look at the date again"
    return ""
