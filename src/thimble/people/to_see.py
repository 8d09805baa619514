"""What a message of the laboratory brought into a file that somebody has to see, and nobody has yet.

Three things: a result that may say that an infection is there, final or not; a result that the laboratory
set right after it was on record; one that it took back. What was decided meanwhile rested on the old one.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from thimble.people.certificates.limits import rules
from thimble.people.fold import Evidence, Person

INFECTION, PRELIMINARY, SET_RIGHT, TAKEN_BACK = (
    "infection",
    "preliminary",
    "set_right",
    "taken_back",
)
WORDS = {
    INFECTION: "came with a message of the laboratory",
    PRELIMINARY: "came with a message of the laboratory and is not final yet",
    SET_RIGHT: "was set right by the laboratory",
    TAKEN_BACK: "was taken back by the laboratory",
}


@dataclass(frozen=True, slots=True)
class ToSee:
    """One of them: the position of the result, why (of `WORDS`), and since when it waits."""

    entry: int
    why: str
    since: datetime


def to_see(person: Person) -> tuple[ToSee, ...]:
    """What waits to be seen, the oldest first. A result is told once, by the last that happened to it."""
    found: dict[int, ToSee] = {}
    for each, why in (*_with(person.evidence, INFECTION), *_with(person.preliminary, PRELIMINARY)):
        if each.entry not in person.looked and _may_be_infection(each):
            found[each.entry] = ToSee(each.entry, why, each.recorded_at)
    final = {e.entry for e in person.evidence}
    waits = {e.entry for e in person.preliminary if _may_be_infection(e)}
    for change in person.changes:
        if person.looked.get(change.entry, 0) > change.position:
            continue
        if change.withdrawn or change.entry in final:
            why = TAKEN_BACK if change.withdrawn else SET_RIGHT
            found[change.entry] = ToSee(change.entry, why, change.at)
        elif change.entry in waits:
            found[change.entry] = ToSee(change.entry, PRELIMINARY, change.at)
    return tuple(sorted(found.values(), key=lambda one: (one.since, one.entry)))


def _with(results: Iterable[Evidence], why: str) -> Iterable[tuple[Evidence, str]]:
    return ((each, why) for each in results if "report" in each.body)


def _may_be_infection(evidence: Evidence) -> bool:
    body = evidence.body
    return body["test"] in rules().look_again and body["word"] != "negative"
