"""Which cases are shown, and in which order: by what presses most in each."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime

from thimble.ledger.entries import Kind
from thimble.ledger.next_thing import (
    NextThing,
    next_thing,
    source_is_open,
)
from thimble.ledger.pressing import Group
from thimble.protocol.vocabulary import Fact
from thimble.web.worklist.board import Standing
from thimble.web.worklist.words import news

FILTERS = {
    "all": "All open",
    "new": "New to you",
    "unsigned": "Not signed",
    "source": "Source still open",
    "past": "Anything late",
    "closed": "Closed",
}


@dataclass(frozen=True, slots=True)
class Seen:
    """One case with what the list needs to know of it."""

    standing: Standing
    doing: NextThing
    news: str

    @property
    def reference(self) -> str:
        return self.standing.case


def order(cases: Iterable[Seen]) -> list[Seen]:
    """Cases by what presses most in each; of two alike, by reference."""
    return sorted(cases, key=lambda seen: (seen.doing.key, seen.reference))


def seen_of(
    standings: Iterable[Standing],
    looks: Mapping[str, int],
    now: datetime,
    vocabulary: Mapping[str, Fact],
) -> list[Seen]:
    """Each case with its next thing and what is new since this person last looked at it."""
    return [
        Seen(
            standing,
            next_thing(
                standing.plan, standing.situation, now, vocabulary, standing.to_do, standing.limits
            ),
            news(standing.entries, looks.get(standing.case)),
        )
        for standing in standings
    ]


CAME_AFTER_CLOSING = "Closed, and a result came since: look at it, take the case up again"


def came_after_closing(standing: Standing) -> bool:
    """Whether a result came to a case that is closed: nobody looks there by themselves."""
    if standing.open:
        return False
    for entry in reversed(standing.entries):
        if entry.kind is Kind.CLOSED:
            return False
        if entry.kind is Kind.RESULT_RECEIVED:
            return True
    return False


def passes(seen: Seen, show: str) -> bool:
    """Whether a case belongs to a filter."""
    situation = seen.standing.situation
    if show == "closed":
        return not seen.standing.open
    if not seen.standing.open:
        return show == "all" and came_after_closing(seen.standing)
    if show == "new":
        return bool(seen.news)
    if show == "unsigned":
        return not situation.signed
    if show == "source":
        return source_is_open(situation, seen.standing.plan)
    if show == "past":
        return seen.doing.late > 0 or seen.doing.group is Group.PAST
    return True
