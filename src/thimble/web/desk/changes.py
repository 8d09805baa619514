"""What is different since somebody last looked, in sentences."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, tzinfo

from thimble.clinical.site import Site
from thimble.ledger.compare import diff
from thimble.ledger.entries import Entry
from thimble.ledger.exposed import protocol_for
from thimble.ledger.history import LABELS, details
from thimble.protocol.protocol import Protocol
from thimble.web.desk.reading import Reading
from thimble.web.desk.words import point

SHOWN_CHANGES = 6


@dataclass(frozen=True, slots=True)
class Change:
    """Sentences that say what is different: the first of them, and the rest folded away."""

    title: str
    first: tuple[str, ...]
    rest: tuple[str, ...]

    @property
    def count(self) -> int:
        """How many there are."""
        return len(self.first) + len(self.rest)

    @classmethod
    def of(cls, title: str, words: Sequence[str]) -> Change:
        """Sentences in the order they were given."""
        return cls(title, tuple(words[:SHOWN_CHANGES]), tuple(words[SHOWN_CHANGES:]))


@dataclass(frozen=True, slots=True)
class Written:
    """One entry as somebody else is told of it."""

    who: str
    at: str
    what: str
    details: tuple[str, ...]

    @classmethod
    def of(
        cls,
        entry: Entry,
        *,
        protocol: Protocol,
        names: Mapping[str, str],
        actions: Mapping[str, str],
        now: datetime,
        zone: tzinfo,
        say: Callable[[str], str],
    ) -> Written:
        """An entry in words; `say` puts them for who is exposed."""
        return cls(
            names.get(entry.by, say("the worker") if entry.by == "worker" else entry.by),
            point(entry.recorded_at, now, zone),
            say(LABELS[entry.kind]),
            tuple(details(entry, protocol.vocabulary, zone, actions, say)),
        )


def changed_since(
    reading: Reading, position: int, title: str, protocol: Protocol, site: Site
) -> Change | None:
    """What the entries after `position` changed in the plan; None where there are none."""
    if position >= reading.position:
        return None
    before = reading.plan_at(position, protocol, site)
    if before is None:
        return None
    outputs = protocol_for(protocol, reading.situation).outputs
    return Change.of(title, diff(before, reading.plan).words(outputs))
