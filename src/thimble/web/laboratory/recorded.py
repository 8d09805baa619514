"""Where a message of the laboratory was recorded, and whether that still stands."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from django.conf import settings

from thimble.exchange.inbox import Inbox
from thimble.ledger.entries import Entry, K, Kind
from thimble.ledger.standing import standing
from thimble.people.entries import Kind as PersonKind
from thimble.web.store import DjangoStore


class Stands(StrEnum):
    """What became of that which a message brought into one file or case."""

    YES = "yes"
    WITHDRAWN = "withdrawn"
    """By somebody here: it can have been of another person."""
    TAKEN_BACK = "taken_back"
    """By the laboratory itself: there is nothing left to place."""


@dataclass(frozen=True, slots=True)
class Place:
    """A file of the register or a case into which a message brought something."""

    reference: str
    of_register: bool
    stands: Stands


def places_of(
    digest: str, people: DjangoStore[PersonKind], cases: DjangoStore[Kind]
) -> tuple[Place, ...]:
    """Every file and case with an entry that the message with this digest brought."""
    return (*_places(digest, people, of_register=True), *_places(digest, cases, of_register=False))


def _places(digest: str, store: DjangoStore[K], *, of_register: bool) -> tuple[Place, ...]:
    return tuple(
        Place(reference, of_register, what_stands(store.entries(reference), digest))
        for reference in store.brought_by(digest)
    )


def again(places: Sequence[Place]) -> bool:
    """Whether a message can be placed anew: somebody withdrew all that it brought."""
    return bool(places) and all(each.stands is Stands.WITHDRAWN for each in places)


def what_stands(entries: Sequence[Entry[K]], digest: str) -> Stands:
    """Whether anything that a message brought stands in one file or case. One that took a result back
    stands as long as the result is gone because of it."""
    now = standing(entries)
    mine = [entry for entry in entries if entry.body.get("message") == digest]
    for entry in mine:
        target = entry.body.get("corrects", entry.position)
        if now[entry.position] is not None and (
            entry.body.get("withdrawn") or now.get(target) is not None
        ):
            return Stands.YES
    stand = {position for position, found in now.items() if found is not None}
    return Stands.TAKEN_BACK if _by_a_message(entries, mine, stand) else Stands.WITHDRAWN


def _by_a_message(entries: Sequence[Entry[K]], mine: Sequence[Entry[K]], stand: set[int]) -> bool:
    """Whether the laboratory itself took back any of these entries, or what they had set right."""
    targets = {e.position for e in mine} | {
        e.body["corrects"] for e in mine if "corrects" in e.body
    }
    return any(
        entry.position in stand
        and entry.body.get("withdrawn")
        and "message" in entry.body
        and entry.body.get("corrects") in targets
        for entry in entries
    )


def number_of(digest: str) -> int | None:
    """The number of the stored message with this digest."""
    with Inbox(settings.DATA) as opened:
        return opened.number_of(digest)
