"""Every word of the worker's pages, from plain values: no query, no clock."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from thimble.clinical.saying import day
from thimble.clinical.site import Site
from thimble.clinical.where_to_go import WhereToGo, where_to_go
from thimble.protocol import Item, Protocol
from thimble.web.report.choices import Choice

_IF = {"contact_lens": "If you wear a contact lens: "}
"""How a step begins that hangs on something not said yet."""


@dataclass(frozen=True, slots=True)
class Go:
    """Where to go now, until when, and where after that."""

    place: str
    where: str
    phone: str
    until: str
    then: str
    why: str

    @classmethod
    def of(cls, site: Site, now: datetime) -> Go:
        """Where this site sends somebody now."""
        to: WhereToGo = where_to_go(site, now)
        until = then = ""
        if to.until is not None and to.then is not None:
            until = _until(to.until, now.astimezone(site.zone))
            then = f"{to.then.name}, {to.then.where}"
        return cls(to.place.name, to.place.where, to.place.phone, until, then, to.why)


def _until(at: datetime, local: datetime) -> str:
    if at.date() == local.date():
        return f"today {at:%H:%M}"
    if at.date() == local.date() + timedelta(days=1):
        return f"tomorrow {at:%H:%M}"
    return f"{day(at, at.tzinfo)}, {at:%H:%M}" if at.tzinfo else ""


@dataclass(frozen=True, slots=True)
class NowPage:
    """First aid for exactly what happened, and where to go."""

    choice: Choice
    steps: tuple[str, ...]
    notes: tuple[str, ...]
    go: Go
    emergency_phone: str

    @classmethod
    def of(cls, choice: Choice, *, site: Site, protocol: Protocol, now: datetime) -> NowPage:
        """The page for one choice under the site's protocol."""
        items = protocol.evaluate(dict(choice.facts)).items.get("first_aid", ())
        steps = tuple(step for item in items if (step := _step(item)))
        return cls(choice, steps, site.first_aid_notes, Go.of(site, now), site.emergency_phone)


def _step(item: Item) -> str:
    text = item.outputs["text"]
    if item.certain:
        return text
    # A step that may not apply is shown only where a reader can tell whether it does.
    if len(item.open_facts) == 1 and item.open_facts[0] in _IF:
        return _IF[item.open_facts[0]] + text[0].lower() + text[1:]
    return ""


@dataclass(frozen=True, slots=True)
class ReportedPage:
    """What to show at the desk."""

    reference: str
    qr: str
    go: Go
    again: bool
    changed: bool
