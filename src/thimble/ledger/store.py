"""The port to where entries are kept, the one rule by which they chain, and a store in memory.

Every store appends through `chain`, so a database and the memory store cannot differ in numbers,
positions or digests; `tests/ledger/store_contract.py` is run against each of them. A `Book` says what
one ledger is about; where none is named it is that of cases.
"""

from __future__ import annotations

import copy
import threading
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import Any, Generic, Protocol, runtime_checkable

from thimble.ledger.bodies import faults_of
from thimble.ledger.checks import BadBody
from thimble.ledger.entries import GENESIS, Draft, Entry, K, Kind, digest_of


@dataclass(frozen=True, slots=True)
class Book(Generic[K]):
    """One ledger: its name, what it calls that which a reference stands for, the kinds of its
    entries, and the check of their bodies (`faults_of` gives sentences)."""

    name: str
    subject: str
    kinds: type[K]
    faults_of: Callable[[K, Mapping[str, Any]], list[str]]


CASES = Book("cases", "case", Kind, faults_of)
"""The ledger of cases."""


@dataclass(frozen=True, slots=True)
class Addition(Generic[K]):
    """What is to be appended to one case; `expected_position` as in `LedgerStore.append`."""

    case: str
    drafts: Sequence[Draft[K]]
    expected_position: int | None


class Overtaken(Exception):
    """Somebody else wrote to the case first. `new_entries` is what they wrote.

    Nothing was appended: the caller still holds what was typed, and can show both.
    """

    def __init__(self, case: str, new_entries: Sequence[Entry[Any]], subject: str = "case") -> None:
        self.case = case
        self.new_entries = tuple(new_entries)
        count = len(self.new_entries)
        written = "1 entry" if count == 1 else f"{count} entries"
        super().__init__(
            f"{subject} {case} has moved on by {written} since it was read; "
            "look at what is new, then decide again"
        )


@dataclass(frozen=True, slots=True)
class Head:
    """The end of the whole ledger: what the next entry links to."""

    number: int = 0
    digest: str = GENESIS
    recorded_at: datetime | None = None


@runtime_checkable
class LedgerStore(Protocol[K]):
    """Where entries are kept. Only `actions` calls `append`.

    A store inherits from this: what it writes itself is `append_all`.
    """

    def append(
        self,
        case: str,
        drafts: Sequence[Draft[K]],
        *,
        expected_position: int | None,
        by: str,
        role: str,
        now: datetime,
    ) -> list[Entry[K]]:
        """Append all `drafts` to one case in one transaction, or none of them.

        `expected_position` is the last position of the case that the writer saw (0: the case is
        new); None appends after whatever is there.

        Raises:
            Overtaken: the case holds entries after `expected_position`.
            BadBody: a draft's body does not fit its kind.
            ValueError: an instant without offset, no drafts, or a position that never existed.
        """
        return self.append_all(
            [Addition(case, drafts, expected_position)], by=by, role=role, now=now
        )

    def append_all(
        self, additions: Sequence[Addition[K]], *, by: str, role: str, now: datetime
    ) -> list[Entry[K]]:
        """Append to many cases, each named once, in one transaction, or nothing at all.

        Raises: as `append`.
        """
        ...

    def entries(self, case: str) -> list[Entry[K]]:
        """The entries of one case by position; an unknown case has none."""
        ...

    def all_entries(self) -> Iterator[Entry[K]]:
        """Every entry by number, streamed."""
        ...

    def cases(self) -> list[str]:
        """Every case, in order of its first entry."""
        ...


def chain(
    case: str,
    drafts: Sequence[Draft[K]],
    *,
    head: Head,
    position: int,
    by: str,
    role: str,
    now: datetime,
    book: Book[K],
) -> list[Entry[K]]:
    """The entries that follow `head` for these drafts: number, position, link and digest.

    `position` is the last position of the case. `recorded_at` is `now`, or the head's own instant
    where a clock stepped back: time in the ledger never runs backwards.

    Raises:
        BadBody: a body does not fit its kind.
        ValueError: an empty list, case, writer or role, or an instant without offset.
    """
    if not drafts:
        raise ValueError("there is nothing to append: give at least one draft")
    for name, text in ((book.subject, case), ("by", by), ("role", role)):
        if not text or text != text.strip():
            raise ValueError(f"{name} must be given without spaces around it; found {text!r}")
    recorded_at = _utc("now", now)
    if head.recorded_at is not None:
        recorded_at = max(recorded_at, _utc("recorded_at", head.recorded_at))
    faults = [fault for draft in drafts for fault in book.faults_of(draft.kind, draft.body)]
    if faults:
        raise BadBody(faults)

    chained: list[Entry[K]] = []
    previous = head.digest
    for step, draft in enumerate(drafts, start=1):
        entry: Entry[K] = Entry(
            number=head.number + step,
            case=case,
            position=position + step,
            kind=draft.kind,
            happened_at=_utc("happened_at", draft.happened_at),
            recorded_at=recorded_at,
            by=by,
            role=role,
            # The writer's own mapping may change after the call; the entry must not.
            body=copy.deepcopy(dict(draft.body)),
            previous=previous,
            digest="",
        )
        entry = replace(entry, digest=digest_of(entry))
        chained.append(entry)
        previous = entry.digest
    return chained


def chain_all(
    additions: Sequence[Addition[K]],
    *,
    existing: Mapping[str, Sequence[Entry[K]]],
    head: Head,
    by: str,
    role: str,
    now: datetime,
    book: Book[K],
) -> list[Entry[K]]:
    """As `chain`, for several cases one after another.

    `existing` are the entries of each case by position, or its last few (see `check_position`).

    Raises:
        Overtaken, BadBody, ValueError: see `LedgerStore.append`; or a case is named twice.
    """
    if len({addition.case for addition in additions}) < len(additions):
        raise ValueError(f"each {book.subject} is named once in what is appended together")
    if not additions:
        raise ValueError("there is nothing to append: give at least one draft")
    chained: list[Entry[K]] = []
    for addition in additions:
        there = existing.get(addition.case, ())
        check_position(addition.case, there, addition.expected_position, book.subject)
        added = chain(
            addition.case,
            addition.drafts,
            head=head,
            position=there[-1].position if there else 0,
            by=by,
            role=role,
            now=now,
            book=book,
        )
        head = head_of(added[-1])
        chained += added
    return chained


def head_of(last: Entry[K] | None) -> Head:
    """The end of a ledger whose last entry is this one."""
    return Head() if last is None else Head(last.number, last.digest, last.recorded_at)


def check_position(
    case: str,
    existing: Sequence[Entry[K]],
    expected_position: int | None,
    subject: str = CASES.subject,
) -> None:
    """Refuse to append to a case that is not where the writer saw it.

    `existing` are the entries of the case by position, or only those after `expected_position`
    together with the last one before; positions decide, not counts.

    Raises:
        Overtaken: there are entries after `expected_position`.
        ValueError: `expected_position` was never reached.
    """
    if expected_position is None:
        return
    newer = [entry for entry in existing if entry.position > expected_position]
    if newer:
        raise Overtaken(case, newer, subject)
    last = max((entry.position for entry in existing), default=0)
    if last < expected_position:
        raise ValueError(
            f"{subject} {case} has {last} entries; position {expected_position} was never reached"
        )


def _utc(name: str, at: datetime) -> datetime:
    if at.utcoffset() is None:
        raise ValueError(f"{name} needs its offset from UTC; found {at.isoformat()}")
    return at.astimezone(UTC)


class MemoryStore(LedgerStore[K]):
    """A ledger in memory, safe between threads: for tests and measurements."""

    def __init__(self, book: Book[K] = CASES) -> None:  # type: ignore[assignment]
        self.book = book
        self._lock = threading.RLock()
        self._entries: list[Entry[K]] = []
        self._by_case: dict[str, list[Entry[K]]] = {}

    def append_all(
        self, additions: Sequence[Addition[K]], *, by: str, role: str, now: datetime
    ) -> list[Entry[K]]:
        """See `LedgerStore.append_all`."""
        with self._lock:
            chained = chain_all(
                additions,
                existing={a.case: self._by_case.get(a.case, []) for a in additions},
                head=head_of(self._entries[-1] if self._entries else None),
                by=by,
                role=role,
                now=now,
                book=self.book,
            )
            self._entries.extend(chained)
            for entry in chained:
                self._by_case.setdefault(entry.case, []).append(entry)
            return [own(entry) for entry in chained]

    def entries(self, case: str) -> list[Entry[K]]:
        """See `LedgerStore.entries`."""
        with self._lock:
            return [own(entry) for entry in self._by_case.get(case, [])]

    def all_entries(self) -> Iterator[Entry[K]]:
        """See `LedgerStore.all_entries`. The ledger as it stands at the first step."""
        with self._lock:
            entries = list(self._entries)
        for entry in entries:
            yield own(entry)

    def cases(self) -> list[str]:
        """See `LedgerStore.cases`."""
        with self._lock:
            return list(self._by_case)


def own(entry: Entry[K]) -> Entry[K]:
    """A copy whose body the reader may change without touching the ledger."""
    body: Mapping[str, object] = copy.deepcopy(dict(entry.body))
    return replace(entry, body=body)
