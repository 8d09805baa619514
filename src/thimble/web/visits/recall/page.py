"""The words on the recall list. Pure."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, tzinfo

from thimble.web.visits.recall.standing import PARTS, Listed, in_words, next_words

MOST_ROWS = 100
"""How many rows of a part stand on one page of the recall list."""


@dataclass(frozen=True, slots=True)
class RecallRow:
    """One case on the recall list; `next_step` is what is due about a worker who did not come."""

    reference: str
    words: str
    next_step: str
    what: tuple[str, ...]
    last_contact: str
    name: str
    phone: str


@dataclass(frozen=True, slots=True)
class RecallPart:
    """One part of the list: the rows shown of `count`, the first of them the `first`, from 1.

    `before` and `after` are where the pages beside this one start, counted from 0; None without one.
    """

    id: str
    title: str
    rows: tuple[RecallRow, ...]
    count: int
    first: int
    before: int | None
    after: int | None

    @property
    def last(self) -> int:
        """The number of the last row shown, from 1."""
        return self.first + len(self.rows) - 1


def recall(
    shown: Mapping[str, Sequence[Listed]],
    counts: Mapping[str, int],
    now: datetime,
    zone: tzinfo,
    people: Mapping[str, tuple[str, str]],
    *,
    start: int = 0,
) -> tuple[RecallPart, ...]:
    """The parts with the rows to show, `start` of which come before them."""
    return tuple(
        RecallPart(
            id=part,
            title=PARTS[part],
            rows=tuple(
                RecallRow(
                    row.case,
                    in_words(row.recalled, now.astimezone(zone).date()),
                    next_words(row.recalled, zone, now),
                    row.recalled.what,
                    row.recalled.last_contact,
                    *people.get(row.case, ("", "")),
                )
                for row in rows
            ),
            count=counts[part],
            first=start + 1,
            before=max(0, start - MOST_ROWS) if start else None,
            after=start + len(rows) if rows and start + len(rows) < counts[part] else None,
        )
        for part, rows in shown.items()
    )
