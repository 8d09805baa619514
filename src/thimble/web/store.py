"""The ledger and the identities in the database, behind the ports that `actions` knows."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Sequence
from contextlib import AbstractContextManager
from dataclasses import asdict
from datetime import date, datetime, timedelta
from typing import Any

import rfc8785
from django.db import connections, transaction

from thimble.actions import identity as person
from thimble.ledger.entries import Draft, Entry, Kind, instant
from thimble.ledger.store import Head, Overtaken, chain, check_position
from thimble.web.models import (
    Account,
    AccountEvent,
    IdentityLook,
    LedgerEntry,
    SourceIdentity,
    WorkerIdentity,
)

__all__ = [
    "DjangoIdentities",
    "DjangoStore",
    "Overtaken",
    "UnreadableEntry",
    "record_account_event",
]

ONE_LOOK = timedelta(minutes=10)
"""Within this time the same account on the same screen of the same case has looked once."""


class DjangoStore:
    """See `thimble.ledger.store.LedgerStore`. The database's triggers guard what it wrote."""

    def __init__(self, using: str = "default") -> None:
        self.using = using

    def transaction(self) -> AbstractContextManager[Any]:
        """One transaction of the database: to save a report and its identity both or neither."""
        return transaction.atomic(using=self.using)

    def append(
        self,
        case: str,
        drafts: Sequence[Draft],
        *,
        expected_position: int | None,
        by: str,
        role: str,
        now: datetime,
    ) -> list[Entry]:
        """See `LedgerStore.append`. Returns only once the entries are on the disk, unless the
        caller holds a transaction of their own open around it."""
        with transaction.atomic(using=self.using):
            self._one_writer()
            rows = LedgerEntry.objects.using(self.using)
            existing = [_entry(row) for row in rows.filter(case=case).order_by("position")]
            check_position(case, existing, expected_position)
            last = rows.order_by("-number").first()
            head = Head()
            if last is not None:
                at = datetime.fromisoformat(last.recorded_at)
                head = Head(number=last.number, digest=last.digest, recorded_at=at)
            entries = chain(
                case,
                drafts,
                head=head,
                position=existing[-1].position if existing else 0,
                by=by,
                role=role,
                now=now,
            )
            rows.bulk_create([_row(entry) for entry in entries])
        return entries

    def entries(self, case: str) -> list[Entry]:
        """See `LedgerStore.entries`."""
        rows = LedgerEntry.objects.using(self.using).filter(case=case).order_by("position")
        return [_entry(row) for row in rows]

    def all_entries(self) -> Iterator[Entry]:
        """See `LedgerStore.all_entries`."""
        rows = LedgerEntry.objects.using(self.using).order_by("number")
        for row in rows.iterator(chunk_size=2000):
            yield _entry(row)

    def since(self, number: int) -> Iterator[Entry]:
        """The entries from a number on, in order."""
        rows = LedgerEntry.objects.using(self.using).filter(number__gte=number).order_by("number")
        for row in rows.iterator(chunk_size=2000):
            yield _entry(row)

    def cases(self) -> list[str]:
        """See `LedgerStore.cases`."""
        rows = LedgerEntry.objects.using(self.using).filter(position=1).order_by("number")
        return list(rows.values_list("case", flat=True))

    def _one_writer(self) -> None:
        """Hold every other writer at the door until this transaction ends.

        SQLite does so by itself (BEGIN IMMEDIATE); PostgreSQL locks the table against writers.
        """
        connection = connections[self.using]
        if connection.vendor == "postgresql":
            with connection.cursor() as cursor:
                cursor.execute(f"LOCK TABLE {LedgerEntry._meta.db_table} IN EXCLUSIVE MODE")


def _row(entry: Entry) -> LedgerEntry:
    return LedgerEntry(
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


class UnreadableEntry(ValueError):
    """A row that no `append` wrote: something else changed the database."""


def _entry(row: LedgerEntry) -> Entry:
    try:
        return _read(row)
    except (ValueError, TypeError) as error:
        raise UnreadableEntry(
            f"entry {row.number} (case {row.case}, position {row.position}) cannot be read: its "
            "row was changed outside Thimble"
        ) from error


def _read(row: LedgerEntry) -> Entry:
    return Entry(
        number=row.number,
        case=row.case,
        position=row.position,
        kind=Kind(row.kind),
        happened_at=datetime.fromisoformat(row.happened_at),
        recorded_at=datetime.fromisoformat(row.recorded_at),
        by=row.by,
        role=row.role,
        body=json.loads(row.body),
        previous=row.previous,
        digest=row.digest,
    )


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

    def source(self, case: str) -> person.SourceIdentity | None:
        """See `IdentityStore.source`."""
        row = SourceIdentity.objects.using(self.using).filter(case=case).first()
        return None if row is None else person.SourceIdentity(**_from_json(row.body))

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
