"""Every word of the worker's pages, from plain values: no query, no clock."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta

from thimble.clinical.saying import day, inside
from thimble.clinical.site import Site
from thimble.clinical.where_to_go import WhereToGo, where_to_go
from thimble.ledger.situation import Situation
from thimble.protocol import Item, Protocol
from thimble.protocol.vocabulary import Value, Vocabulary
from thimble.web.report.ago import ago, at_in_words
from thimble.web.report.choices import CHOICES, REACHED, Choice, Reached

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
class Part:
    """First aid for one place that blood can have reached."""

    heading: str
    steps: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class NowPage:
    """First aid for exactly what happened, and where to go.

    Where the choice does not say what happened, `parts` hold the first aid for each place that blood
    can have reached, and `steps` what holds for all of them; else there are no parts.
    """

    choice: Choice
    parts: tuple[Part, ...]
    steps: tuple[str, ...]
    notes: tuple[str, ...]
    go: Go
    emergency_phone: str

    @classmethod
    def of(cls, choice: Choice, *, site: Site, protocol: Protocol, now: datetime) -> NowPage:
        """The page for one choice under the site's protocol."""
        steps = _steps(protocol, choice.facts)
        parts = () if "route" in choice.facts else _parts(protocol, steps)
        return cls(
            choice, parts, steps, site.first_aid_notes, Go.of(site, now), site.emergency_phone
        )


def _steps(protocol: Protocol, facts: Mapping[str, Value]) -> tuple[str, ...]:
    return tuple(step for item in _items(protocol, facts) if (step := _step(item)))


def _items(protocol: Protocol, facts: Mapping[str, Value]) -> tuple[Item, ...]:
    return protocol.evaluate(dict(facts)).items.get("first_aid", ())


def _parts(protocol: Protocol, always: tuple[str, ...]) -> tuple[Part, ...]:
    """What the protocol says for each place, without what it says `always`. Places of one kind with
    the same first aid share a heading: whoever bleeds reads as little as possible."""
    found: list[tuple[str, list[str], tuple[str, ...]]] = []
    for reached in REACHED:
        steps = _part(protocol, reached, always)
        same = next((f for f in found if (f[0], f[2]) == (reached.begins, steps)), None)
        if same is not None:
            same[1].append(reached.place)
        elif steps:
            found.append((reached.begins, [reached.place], steps))
    return tuple(Part(begins + " or ".join(places), steps) for begins, places, steps in found)


def _part(protocol: Protocol, reached: Reached, always: tuple[str, ...]) -> tuple[str, ...]:
    """The steps for one place in the protocol's order; one that does not hold for every way there
    says for which it does."""
    order = [item.outputs["text"] for item in _items(protocol, {})]
    held: dict[tuple[int, str], list[str]] = {}
    for word, facts in reached.ways:
        for item in _items(protocol, facts):
            step = _step(item)
            if step and step not in always:
                held.setdefault((order.index(item.outputs["text"]), step), []).append(word)
    return tuple(
        step
        if len(words) == len(reached.ways)
        else f"{', '.join(words).capitalize()}: {inside(step)}"
        for (_, step), words in sorted(held.items())
    )


def _step(item: Item) -> str:
    text = item.outputs["text"]
    if item.certain:
        return text
    # A step that may not apply is shown only where a reader can tell whether it does.
    if len(item.open_facts) == 1 and item.open_facts[0] in _IF:
        return _IF[item.open_facts[0]] + inside(text)
    return ""


@dataclass(frozen=True, slots=True)
class Told:
    """What was recorded of a report, for its sender to look at once: nothing that says who."""

    what: str
    when: str
    ago: str
    fluid: str

    @classmethod
    def of(cls, situation: Situation, *, vocabulary: Vocabulary, site: Site, now: datetime) -> Told:
        """The report as it stands."""
        at, precision = situation.occurred_at, situation.occurred_at_precision
        what, known = _what(situation, vocabulary), situation.facts.get("fluid")
        fluid = "" if known is None else vocabulary["fluid"].label(known.value)
        if at is None:
            return cls(what, "Not known", "", fluid)
        return cls(
            what, at_in_words(at, precision, site.zone), ago(at, precision, now, site.zone), fluid
        )


def _what(situation: Situation, vocabulary: Vocabulary) -> str:
    """The door as its sender chose it; what stands otherwise, in the words of the vocabulary."""
    facts = {fact: known.value for fact, known in situation.facts.items()}
    for choice in CHOICES:
        if choice.facts and all(facts.get(fact) == value for fact, value in choice.facts.items()):
            return choice.label
    if "route" in facts:
        return vocabulary["route"].label(facts["route"])
    return "Not said"


@dataclass(frozen=True, slots=True)
class ReportedPage:
    """What to show at the desk. `told` is None once it has been shown."""

    reference: str
    qr: str
    go: Go
    again: bool
    changed: bool
    told: Told | None
