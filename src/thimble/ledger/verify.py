"""Is the ledger what was written? Finds and names what was changed, lost, moved or slipped in.

Each entry names the digest of the one before, so every fault shows. What a chain alone cannot show is
that its end was cut off, or that everything from some entry on was written anew: an anchor, an entry's
number and digest as printed on a document, does.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from itertools import groupby
from typing import Any

from thimble.ledger.entries import GENESIS, Entry, K, digest_of
from thimble.ledger.increasing import longest_increasing


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing that is wrong: where, and a sentence that names it.

    `number` is that of the entry concerned. `case` is "" and `position` 0 where a missing entry
    left no trace of them.
    """

    number: int
    case: str
    position: int
    sentence: str

    def __str__(self) -> str:
        return self.sentence


Anchor = tuple[int, str]
"""The number of an entry and its digest, as printed on a document."""


@dataclass(slots=True)
class _Row:
    """What has to be remembered of an entry while the rest is read."""

    place: int
    number: int
    case: str
    position: int
    recorded_at: datetime
    previous: str
    stored: str
    actual: str
    entry: Entry[Any] | None  # kept only where stored and actual differ
    subject: str
    wrong: bool = False

    @property
    def name(self) -> str:
        return f"entry {self.number} ({self.subject} {self.case}, position {self.position})"


def verify(
    entries: Iterable[Entry[K]], expected_head: Anchor | None = None, *, subject: str = "case"
) -> list[Fault]:
    """Everything that is wrong with a ledger.

    Args:
        entries: the whole ledger as it is stored, in its order. It may be a stream.
        expected_head: an anchor; the ledger must hold that entry, with that digest.
        subject: what the ledger calls that which a reference stands for (see `store.Book`).

    Returns:
        One fault for each entry concerned and each thing that is wrong with it, by number; none
        for a whole ledger.
    """
    rows = [_row(place, entry, subject) for place, entry in enumerate(entries)]
    return _Check(rows, subject).run(expected_head)


def _row(place: int, entry: Entry[K], subject: str) -> _Row:
    actual = _digest(entry)
    return _Row(
        place=place,
        number=entry.number,
        case=entry.case,
        position=entry.position,
        recorded_at=entry.recorded_at,
        previous=entry.previous,
        stored=entry.digest,
        actual=actual,
        entry=None if actual == entry.digest else entry,
        subject=subject,
    )


def _digest(entry: Entry[K]) -> str:
    try:
        return digest_of(entry)
    except (ValueError, TypeError, AttributeError, RecursionError):
        # What has no canonical form was never written by a store.
        return "none: it has no canonical form"


class _Check:
    def __init__(self, rows: Sequence[_Row], subject: str) -> None:
        self.rows = list(rows)
        self.subject = subject
        self.faults: list[Fault] = []
        self.missing: list[int] = []

    def run(self, anchor: Anchor | None) -> list[Fault]:
        self._numbers()
        self._copies()
        self._order()
        self.rows.sort(key=lambda row: (row.number, row.place))
        self._repeats()
        self._changes()
        self._gaps()
        self._links()
        self._times()
        self._positions()
        if anchor is not None:
            self._anchor(*anchor)
        return sorted(self.faults, key=lambda fault: fault.number)

    def _say(self, row: _Row, what: str) -> None:
        row.wrong = True
        self.faults.append(Fault(row.number, row.case, row.position, f"{row.name} {what}"))

    def _numbers(self) -> None:
        """A changed number: the entry fits its digest again with the number of its place."""
        for row in self.rows:
            if row.entry is None:
                continue
            before = self.rows[row.place - 1].number if row.place else 0
            after = self.rows[row.place + 1].number if row.place + 1 < len(self.rows) else 0
            for number in dict.fromkeys((before + 1, after - 1, row.place + 1)):
                if _digest(replace(row.entry, number=number)) == row.stored:
                    found, row.number, row.entry = row.number, number, None
                    self._say(row, f"was changed: its number now reads {found}")
                    break

    def _copies(self) -> None:
        """The same entry stored more than once: the copy that stands in order is the true one."""
        copies: dict[tuple[int, str, str], list[_Row]] = {}
        for row in self.rows:
            copies.setdefault((row.number, row.stored, row.actual), []).append(row)
        extra: set[int] = set()
        for group in copies.values():
            if len(group) == 1:
                continue
            true = max(group, key=self._in_order)
            extra |= {row.place for row in group if row is not true}
            self._say(true, f"was duplicated: it is stored {len(group)} times")
        self.rows = [row for row in self.rows if row.place not in extra]
        for place, row in enumerate(self.rows):
            row.place = place

    def _in_order(self, row: _Row) -> tuple[bool, bool, int]:
        before = self.rows[row.place - 1].number if row.place else 0
        after = self.rows[row.place + 1].number if row.place + 1 < len(self.rows) else 0
        return (before + 1 == row.number, after - 1 == row.number, -row.place)

    def _order(self) -> None:
        in_order = sorted(self.rows, key=lambda row: (row.number, row.place))
        moved = [row for at, row in enumerate(in_order) if row.place != at]
        if len(moved) > 2:
            keep = longest_increasing([row.number for row in self.rows])
            moved = [row for row in self.rows if row.place not in keep]
        for row in moved:
            if not row.wrong:
                self._say(row, "was reordered: it does not stand in the place of its number")

    def _repeats(self) -> None:
        kept: list[_Row] = []
        groups = [list(group) for _, group in groupby(self.rows, key=lambda row: row.number)]
        for at, group in enumerate(groups):
            followers = groups[at + 1] if at + 1 < len(groups) else []
            named = {row.previous for row in followers if row.number == group[0].number + 1}
            before = {kept[-1].stored, kept[-1].actual} if kept else {GENESIS}
            # The true one is the one that the next entry follows; at the end, the one that follows.
            true = max(
                group,
                key=lambda row: (
                    bool(named & {row.stored, row.actual}),
                    row.previous in before,
                    row.entry is None,
                    -row.place,
                ),
            )
            kept.append(true)
            for row in group:
                if row is true:
                    continue
                self._say(
                    row, "was inserted: another entry has its number and its place in the chain"
                )
        self.rows = kept

    def _changes(self) -> None:
        for at, row in enumerate(self.rows):
            if row.entry is None:
                continue
            named = self.rows[at + 1].previous if at + 1 < len(self.rows) else ""
            if named == row.actual:
                self._say(row, "was changed: its stored digest is not the digest of what it says")
                continue
            before = self.rows[at - 1].stored if at else GENESIS
            if row.previous != before and (
                _digest(replace(row.entry, previous=before)) == row.stored
            ):
                row.previous = before
                self._say(row, "was changed: it names another digest before it than was written")
                continue
            self._say(row, "was changed: what it says no longer fits its digest")

    def _gaps(self) -> None:
        expected = 1
        for row in self.rows:
            self.missing += range(expected, row.number)
            expected = row.number + 1

    def _links(self) -> None:
        for at, row in enumerate(self.rows):
            if at == 0:
                if row.number == 1 and row.previous != GENESIS and not row.wrong:
                    self._say(row, "was rewritten: the first entry follows nothing, this one does")
                continue
            before = self.rows[at - 1]
            if before.number + 1 != row.number or row.previous in (before.stored, before.actual):
                continue
            if not before.wrong and not row.wrong:
                self._say(
                    before,
                    f"was rewritten: entry {row.number} follows another digest than this one has",
                )

    def _times(self) -> None:
        latest: _Row | None = None
        for row in self.rows:
            if row.wrong:
                continue
            if latest is not None and row.recorded_at < latest.recorded_at:
                self._say(
                    row, f"was recorded earlier than entry {latest.number}, which precedes it"
                )
                continue
            latest = row

    def _positions(self) -> None:
        """Positions within each case; they also tell whose entry is missing."""
        last: dict[str, tuple[int, int]] = {}
        traced: dict[int, tuple[str, int]] = {}
        wrong = [row.number for row in self.rows if row.wrong]
        for row in self.rows:
            if row.wrong and row.entry is not None:
                continue
            number, position = last.get(row.case, (0, 0))
            lost = [n for n in self.missing if number < n < row.number and n not in traced]
            doubtful = sum(number < n < row.number for n in wrong)
            gap = row.position - position - 1
            if gap > 0 and len(lost) + doubtful >= gap:
                if len(lost) == gap:
                    for step, missing in enumerate(lost, start=1):
                        traced[missing] = (row.case, position + step)
            elif gap != 0 and not row.wrong:
                self._say(
                    row, f"has the wrong position in its {self.subject}: {position + 1} comes next"
                )
            last[row.case] = (row.number, row.position)
        for number in self.missing:
            case, position = traced.get(number, ("", 0))
            whose = f" ({self.subject} {case}, position {position})" if case else ""
            self.faults.append(Fault(number, case, position, f"entry {number}{whose} is missing"))

    def _anchor(self, number: int, digest: str) -> None:
        highest = self.rows[-1].number if self.rows else 0
        if number > highest:
            self.faults.append(
                Fault(
                    highest + 1,
                    "",
                    0,
                    f"entry {highest + 1} and what followed it are missing: the ledger ends at "
                    f"entry {highest}, and a document names entry {number}",
                )
            )
            return
        for row in self.rows:
            if row.number == number and digest not in (row.stored, row.actual):
                self._say(
                    row,
                    "is not the one that the document names: it, or one before it, was rewritten",
                )
