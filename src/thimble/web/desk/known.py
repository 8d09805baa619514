"""What is known of a case, by whom and since when."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from thimble.clinical.site import Site
from thimble.ledger.exposed import protocol_for, saying
from thimble.ledger.situation import KnownFact
from thimble.protocol.protocol import Protocol
from thimble.web.desk.reading import Reading
from thimble.web.desk.words import point, value_words

SAID_BY: Mapping[str, str] = {
    "worker": "the worker",
    "clinician": "a clinician",
    "laboratory": "the laboratory",
    "record": "the record",
}
ABOUT = {"exposure": "The exposure", "source": "The source patient", "worker": "The worker"}


@dataclass(frozen=True, slots=True)
class FactView:
    """A fact that is answered, or that nobody can answer: what, who said it, when."""

    fact: str
    question: str
    value: str
    who: str
    at: str
    entry: int | None


@dataclass(frozen=True, slots=True)
class FactGroup:
    """Facts about one thing."""

    title: str
    facts: tuple[FactView, ...]


def known_in_words(
    reading: Reading, protocol: Protocol, site: Site, names: Mapping[str, str]
) -> tuple[FactGroup, ...]:
    """What is known, in the vocabulary's order, and what nobody can know."""
    situation, now, zone = reading.situation, reading.plan.now, site.zone
    protocol, words_of = protocol_for(protocol, situation), saying(situation)
    by_position = {entry.position: entry for entry in reading.entries}
    groups: dict[str, list[FactView]] = {about: [] for about in ABOUT}
    for fact, definition in protocol.vocabulary.items():
        known: KnownFact | None = situation.facts.get(fact)
        if known is not None:
            entry = None if known.entry is None else by_position.get(known.entry)
            who = words_of(SAID_BY.get(known.said_by, known.said_by))
            if entry is not None and entry.by != "worker" and known.said_by != "worker":
                who = f"{who}, recorded by {names.get(entry.by, entry.by)}"
                if known.said_by == "clinician":
                    who = names.get(entry.by, entry.by)
            value = value_words(definition, known.value)
            if known.value == frozenset():
                value = "None of these"
            groups[definition.about].append(
                FactView(
                    fact,
                    definition.question,
                    value,
                    who,
                    "" if known.known_at is None else point(known.known_at, now, zone),
                    known.entry,
                )
            )
        elif fact in situation.cannot_be_known:
            reason = situation.cannot_be_known[fact]
            value = f"Cannot be known: {reason}" if reason else "Cannot be known"
            groups[definition.about].append(
                FactView(fact, definition.question, value, "", "", None)
            )
    return tuple(
        FactGroup(words_of(ABOUT[key]), tuple(found)) for key, found in groups.items() if found
    )
