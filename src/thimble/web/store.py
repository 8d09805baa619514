"""The ledger and the identities in the database, behind the ports that `actions` knows."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import AbstractContextManager, contextmanager
from dataclasses import asdict
from datetime import date, datetime, timedelta
from typing import Any

import rfc8785
from django.db import connections, transaction
from django.db.models import Model, QuerySet

from thimble.actions import identity as person
from thimble.ledger.entries import Entry, K, instant
from thimble.ledger.gathering import Gathering
from thimble.ledger.store import (
    CASES,
    Addition,
    Book,
    Head,
    LedgerStore,
    Overtaken,
    chain_all,
    head_of,
)
from thimble.web.models import (
    Account,
    AccountEvent,
    IdentityLook,
    LedgerEntry,
    PersonEntry,
    SourceIdentity,
    WorkerIdentity,
)
from thimble.web.scrubbing import to_scrub

__all__ = [
    "DjangoIdentities",
    "DjangoStore",
    "Overtaken",
    "UnreadableEntry",
    "one_writer",
    "record_account_event",
]

ONE_LOOK = timedelta(minutes=10)
"""Within this time the same account on the same screen of the same case has looked once."""


TABLES: Mapping[str, type[LedgerEntry] | type[PersonEntry]] = {
    "cases": LedgerEntry,
    "people": PersonEntry,
}
"""The table of each book."""

AT_ONCE = 5_000
"""How many cases are asked for in one query: SQLite takes at most 32,766 values."""


class DjangoStore(LedgerStore[K]):
    """See `thimble.ledger.store.LedgerStore`. The database's triggers guard what it wrote."""

    def __init__(self, using: str = "default", book: Book[K] = CASES) -> None:  # type: ignore[assignment]
        self.using = using
        self.book = book
        self.table = TABLES[book.name]

    def transaction(self) -> AbstractContextManager[Any]:
        """One transaction of the database: to save a report and its identity both or neither."""
        return transaction.atomic(using=self.using)

    @contextmanager
    def alone(self) -> Iterator[None]:
        """A transaction in which nobody else writes in this book: what is read in it stays true until
        it ends, such as that a number is not taken yet."""
        with self.transaction():
            one_writer(self.table, self.using)
            yield

    def append_all(
        self, additions: Sequence[Addition[K]], *, by: str, role: str, now: datetime
    ) -> list[Entry[K]]:
        """See `LedgerStore.append_all`. Returns only once the entries are on the disk, unless the
        caller holds a transaction of their own open around it."""
        with transaction.atomic(using=self.using):
            one_writer(self.table, self.using)
            entries = chain_all(
                additions,
                existing=self.entries_of([addition.case for addition in additions]),
                head=self._head(),
                by=by,
                role=role,
                now=now,
                book=self.book,
            )
            self._insert(entries)
        return entries

    @contextmanager
    def gathering(self) -> Iterator[Gathering[K]]:
        """A ledger whose additions are written together at the end, or none where an exception leaves.

        Other writers wait at the door meanwhile. On leaving, the additions are on the disk."""
        with transaction.atomic(using=self.using):
            one_writer(self.table, self.using)
            gathered = Gathering(self, self._head(), self.book)
            yield gathered
            self._insert(gathered.added)

    def _head(self) -> Head:
        last = self._rows.order_by("-number").first()
        return head_of(None if last is None else self._entry(last))

    def _insert(self, entries: Sequence[Entry[K]]) -> None:
        self._rows.bulk_create([self._row(entry) for entry in entries], batch_size=500)

    def entries(self, case: str) -> list[Entry[K]]:
        """See `LedgerStore.entries`."""
        return [self._entry(row) for row in self._rows.filter(case=case).order_by("position")]

    def entries_of(self, cases: Sequence[str]) -> dict[str, list[Entry[K]]]:
        """The entries of each of many cases by position; an unknown case has none."""
        found: dict[str, list[Entry[K]]] = {case: [] for case in cases}
        for start in range(0, len(cases), AT_ONCE):
            part = cases[start : start + AT_ONCE]
            for row in self._rows.filter(case__in=part).order_by("number"):
                found[row.case].append(self._entry(row))
        return found

    def brought_by(self, digest: str) -> list[str]:
        """The cases with an entry that a laboratory's message brought, whether it still stands or not."""
        rows = self._rows.filter(body__contains=f'"message":"{digest}"')
        return sorted(set(rows.values_list("case", flat=True)))

    def all_entries(self) -> Iterator[Entry[K]]:
        """See `LedgerStore.all_entries`."""
        for row in self._rows.order_by("number").iterator(chunk_size=2000):
            yield self._entry(row)

    def since(self, number: int) -> Iterator[Entry[K]]:
        """The entries from a number on, in order."""
        rows = self._rows.filter(number__gte=number).order_by("number")
        for row in rows.iterator(chunk_size=2000):
            yield self._entry(row)

    def cases(self) -> list[str]:
        """See `LedgerStore.cases`."""
        rows = self._rows.filter(position=1).order_by("number")
        return list(rows.values_list("case", flat=True))

    @property
    def _rows(self) -> QuerySet[Any]:
        return self.table._default_manager.using(self.using)

    def _row(self, entry: Entry[K]) -> LedgerEntry | PersonEntry:
        return self.table(
            number=entry.number,
            case=entry.case,
            position=entry.position,
            kind=entry.kind.value,
            happened_at=instant(entry.happened_at),
            recorded_at=instant(entry.recorded_at),
            by=entry.by,
            role=entry.role,
            body=rfc8785.dumps(dict(entry.body)).decode("utf-8"),
            previous=entry.previous,
            digest=entry.digest,
        )

    def _entry(self, row: LedgerEntry | PersonEntry) -> Entry[K]:
        try:
            return Entry(
                number=row.number,
                case=row.case,
                position=row.position,
                kind=self.book.kinds(row.kind),
                happened_at=datetime.fromisoformat(row.happened_at),
                recorded_at=datetime.fromisoformat(row.recorded_at),
                by=row.by,
                role=row.role,
                body=json.loads(row.body),
                previous=row.previous,
                digest=row.digest,
            )
        except (ValueError, TypeError) as error:
            raise UnreadableEntry(
                f"entry {row.number} ({self.book.subject} {row.case}, position {row.position}) "
                "cannot be read: its row was changed outside Thimble"
            ) from error


def one_writer(model: type[Model], using: str) -> None:
    """Hold every other writer of a table at the door until this transaction ends.

    SQLite does so by itself (BEGIN IMMEDIATE); PostgreSQL locks the table against writers.
    """
    connection = connections[using]
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute(f"LOCK TABLE {model._meta.db_table} IN EXCLUSIVE MODE")


class UnreadableEntry(ValueError):
    """A row that no `append` wrote: something else changed the database."""


class DjangoIdentities:
    """See `thimble.actions.identity.IdentityStore`. Rows are inserted; the latest one holds."""

    def __init__(self, using: str = "default") -> None:
        self.using = using

    def save_worker(
        self, case: str, identity: person.WorkerIdentity, *, by: str, now: datetime
    ) -> None:
        """See `IdentityStore.save_worker`."""
        WorkerIdentity.objects.using(self.using).create(
            case=case, recorded_at=now, recorded_by=by, body=_to_json(identity)
        )

    def save_source(
        self, case: str, identity: person.SourceIdentity, *, by: str, now: datetime
    ) -> None:
        """See `IdentityStore.save_source`."""
        SourceIdentity.objects.using(self.using).create(
            case=case, recorded_at=now, recorded_by=by, body=_to_json(identity)
        )

    def worker(self, case: str) -> person.WorkerIdentity | None:
        """See `IdentityStore.worker`."""
        row = WorkerIdentity.objects.using(self.using).filter(case=case).first()
        return None if row is None else person.WorkerIdentity(**_from_json(row.body))

    def workers(self, cases: Sequence[str]) -> dict[str, person.WorkerIdentity]:
        """The exposed workers of many cases in one query, for a list."""
        rows = WorkerIdentity.objects.using(self.using).filter(case__in=list(cases)).order_by("id")
        return {row.case: person.WorkerIdentity(**_from_json(row.body)) for row in rows}

    def cases_of_workers(self) -> dict[str, person.WorkerIdentity]:
        """The exposed worker of every case that names one."""
        rows = WorkerIdentity.objects.using(self.using).order_by("id").values_list("case", "body")
        return {case: person.WorkerIdentity(**_from_json(body)) for case, body in rows}

    def source(self, case: str) -> person.SourceIdentity | None:
        """See `IdentityStore.source`."""
        row = SourceIdentity.objects.using(self.using).filter(case=case).first()
        return None if row is None else person.SourceIdentity(**_from_json(row.body))

    def source_cases(self) -> list[str]:
        """See `IdentityStore.source_cases`."""
        rows = SourceIdentity.objects.using(self.using).order_by("case")
        return list(rows.values_list("case", flat=True).distinct())

    def erase_source(self, case: str) -> None:
        """See `IdentityStore.erase_source`. `scrubbing.scrub` takes the last trace from the file."""
        SourceIdentity.objects.using(self.using).filter(case=case).delete()
        to_scrub(SourceIdentity, self.using)

    def erase_worker(self, case: str) -> None:
        """See `IdentityStore.erase_worker`. `scrubbing.scrub` takes the last trace from the file."""
        WorkerIdentity.objects.using(self.using).filter(case=case).delete()
        to_scrub(WorkerIdentity, self.using)

    def looked(
        self, cases: Iterable[str], *, whose: person.Whose, where: str, by: str, now: datetime
    ) -> None:
        """See `IdentityStore.looked`. A look again within `ONE_LOOK` is not written again."""
        shown = dict.fromkeys(cases)
        if not shown:
            return
        looks = IdentityLook.objects.using(self.using)
        lately = looks.filter(
            case__in=shown, account=by, whose=whose, where=where, at__gt=now - ONE_LOOK, at__lte=now
        )
        known = set(lately.values_list("case", flat=True))
        looks.bulk_create(
            [
                IdentityLook(case=case, account=by, whose=whose, where=where, at=now)
                for case in shown
                if case not in known
            ]
        )


def record_account_event(account: Account, what: str, *, by: str, now: datetime) -> None:
    """Put on record what was done to an account: one of `AccountEvent.KINDS`, by an administrator's
    account, or "" for the command line. Call it in the transaction of the change itself."""
    AccountEvent(account=account.pk, what=what, role=account.role, by=by, at=now).save()


def _to_json(who: person.WorkerIdentity | person.SourceIdentity) -> str:
    return json.dumps(asdict(who), ensure_ascii=False, sort_keys=True, default=date.isoformat)


def _from_json(text: str) -> dict[str, Any]:
    fields: dict[str, Any] = json.loads(text)
    if born := fields.get("date_of_birth"):
        fields["date_of_birth"] = date.fromisoformat(born)
    return fields
