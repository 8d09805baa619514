"""What messages of the laboratory brought into a file and is not settled: to be seen, or not final."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import tzinfo

from thimble.clinical.saying import day
from thimble.ledger.entries import Entry
from thimble.people import to_see
from thimble.people.entries import Kind
from thimble.people.fold import Evidence, Person
from thimble.web.on_record.taken import taken_over
from thimble.web.people import words


@dataclass(frozen=True, slots=True)
class Line:
    """One result: the position of its entry, what it says or said, and what happened to it."""

    entry: int
    title: str
    told: str


@dataclass(frozen=True, slots=True)
class ByLaboratory:
    """What waits for a physician, and what is not final yet; each may be empty.

    `cases` took something over from the file: where a result changed, what was decided there is looked at.
    """

    waits: tuple[Line, ...]
    preliminary: tuple[Line, ...]
    cases: tuple[str, ...] = ()


def by_laboratory(person: Person, entries: Sequence[Entry[Kind]], zone: tzinfo) -> ByLaboratory:
    """For the person's page; `entries` are those of the file."""
    known = {each.entry: each for each in (*person.evidence, *person.preliminary)}
    waiting = to_see.to_see(person)
    seen_above = {one.entry for one in waiting}
    return ByLaboratory(
        tuple(
            _line(
                known.get(one.entry) or _first(entries, one.entry),
                f"It {to_see.WORDS[one.why]}, {day(one.since, zone)}.",
            )
            for one in waiting
        ),
        tuple(
            _line(each, "Not final yet: it counts nowhere.")
            for each in person.preliminary
            if each.entry not in seen_above
        ),
        tuple(taken_over().get(person.reference, ()))
        if any(one.why in (to_see.SET_RIGHT, to_see.TAKEN_BACK) for one in waiting)
        else (),
    )


def _first(entries: Sequence[Entry[Kind]], position: int) -> Evidence:
    """A result as it came first, where it stands no more."""
    entry = next(each for each in entries if each.position == position)
    return Evidence(entry.position, entry.kind, entry.body, entry.by, entry.recorded_at)


def _line(result: Evidence, told: str) -> Line:
    drawn = f"drawn {words.day(result.body['when'])}"
    return Line(result.entry, f"{words.title(result)}, {drawn}", told)
