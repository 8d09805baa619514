"""The database keeps the ledger's contract, and refuses to change what was written."""

from __future__ import annotations

import threading
import time
from collections.abc import Mapping
from datetime import date
from pathlib import Path

import pytest
from django.db import DatabaseError, IntegrityError, connection, transaction

from ledger.store_contract import NOW, A, StoreContract, add
from people.files import ENROLLED
from thimble.actions import Refused
from thimble.actions import people as acts
from thimble.actions.identity import IdentityStore, SourceIdentity, WorkerIdentity
from thimble.actions.people_identity import PeopleIdentities, Written
from thimble.ledger.entries import Draft
from thimble.ledger.store import Addition
from thimble.ledger.verify import verify
from thimble.people.bodies import PEOPLE
from thimble.people.entries import Kind as PersonKind
from thimble.people.identity import PersonIdentity
from thimble.web import append_only, models
from thimble.web.people_identities import DjangoPeopleIdentities
from thimble.web.store import DjangoIdentities, DjangoStore, Overtaken, UnreadableEntry

from .conftest import only_sqlite


@pytest.mark.usefixtures("append_only_db")
class TestDjangoStore(StoreContract):
    @pytest.fixture
    def store(self) -> DjangoStore:
        return DjangoStore()


def _statement(sql: str) -> None:
    # A savepoint: PostgreSQL takes nothing more from a transaction that it refused a statement of.
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(sql)


@pytest.mark.django_db
@pytest.mark.parametrize(
    "sql",
    [
        "UPDATE web_ledgerentry SET body = '{}' WHERE number = 1",
        "UPDATE web_ledgerentry SET number = 9 WHERE number = 1",
        "DELETE FROM web_ledgerentry WHERE number = 1",
        "DELETE FROM web_ledgerentry",
    ],
)
def test_the_database_refuses_to_change_or_delete_an_entry(sql: str) -> None:
    store = DjangoStore()
    before = add(store, A, "one", "two")

    with pytest.raises(DatabaseError, match="append only"):
        _statement(sql)

    assert store.entries(A) == before


@pytest.mark.django_db
def test_the_database_refuses_a_second_entry_at_one_position_and_a_fork_of_the_chain() -> None:
    add(DjangoStore(), A, "one")
    row = models.LedgerEntry.objects.values().get()

    other = row | {"number": 2, "digest": "2" * 64}
    for fault in ({"previous": "1" * 64}, {"position": 2}):
        # SQLite's triggers refuse it before its constraints do.
        said = "append only|duplicate key"
        with pytest.raises(IntegrityError, match=said), transaction.atomic():
            models.LedgerEntry.objects.create(**other | fault)

    assert models.LedgerEntry.objects.count() == 1


@pytest.mark.django_db
@pytest.mark.parametrize("vendor", ["sqlite", "postgresql"])
def test_each_database_has_a_trigger_for_each_refused_statement(vendor: str) -> None:
    for table, statements in append_only.REFUSED.items():
        created = append_only._create(vendor, table, statements)
        for statement in statements:
            assert any(f"BEFORE {statement} ON {table}" in sql for sql in created)


def test_a_database_without_triggers_of_ours_is_refused() -> None:
    with pytest.raises(NotImplementedError, match="mysql"):
        append_only._create("mysql", "t", ("UPDATE",))


@pytest.mark.usefixtures("append_only_db")
def test_two_who_write_at_once_the_second_is_told_and_both_chains_hold() -> None:
    store = DjangoStore()
    add(store, A, "reported")
    gate = threading.Barrier(2)
    written: list[str] = []
    told: list[Overtaken] = []

    def write(text: str) -> None:
        gate.wait()
        try:
            add(store, A, text, expected_position=1)
            written.append(text)
        except Overtaken as overtaken:
            told.append(overtaken)
        finally:
            connection.close()

    threads = [threading.Thread(target=write, args=(text,)) for text in ("first", "second")]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()

    assert len(written) == len(told) == 1
    assert [entry.body["text"] for entry in told[0].new_entries] == written
    assert [entry.body["text"] for entry in store.entries(A)] == ["reported", *written]
    assert verify(store.all_entries()) == []


@only_sqlite
@pytest.mark.usefixtures("append_only_db")
def test_an_erased_name_is_overwritten_in_the_file_itself() -> None:
    identities = DjangoPeopleIdentities()
    rows = [
        Written(f"P-{n}", 1, PersonIdentity(str(n), f"Quarnbeck-{n}", "Rea")) for n in range(40)
    ]
    identities.save_all(rows, by="u1", now=NOW)
    identities.erase(f"P-{n}" for n in range(40) if n % 2)
    with connection.cursor() as cursor:
        cursor.execute("PRAGMA wal_checkpoint(TRUNCATE)")

    content = Path(connection.settings_dict["NAME"]).read_bytes()
    found = {n for n in range(40) if f'"Quarnbeck-{n}"'.encode() in content}
    assert found == set(range(0, 40, 2))


class _ReadsBeforeItWrites(DjangoPeopleIdentities):
    """Leaves a second enrolment all the time in the world to look at the register as well."""

    def all_identities(self) -> Mapping[str, PersonIdentity]:
        found = super().all_identities()
        time.sleep(0.3)
        return found


@pytest.mark.usefixtures("append_only_db")
def test_of_two_who_enrol_one_number_at_once_the_second_is_refused() -> None:
    store = DjangoStore(book=PEOPLE)
    gate = threading.Barrier(2)
    came: list[str] = []

    def enrol(name: str) -> None:
        gate.wait()
        try:
            with store.alone():
                who = PersonIdentity("00421", name, "Rea")
                acts.enrol(
                    store, _ReadsBeforeItWrites(), who, ENROLLED, now=NOW, by="u1", role="nurse"
                )
            came.append("enrolled")
        except Refused as refused:
            came.append(refused.faults[0])
        finally:
            connection.close()

    threads = [threading.Thread(target=enrol, args=(name,)) for name in ("Brindle", "Corvane")]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()

    assert came == ["enrolled", "The number 00421 belongs to another person already"]


@pytest.mark.usefixtures("append_only_db")
def test_a_row_changed_behind_the_triggers_is_found_and_named() -> None:
    store = DjangoStore()
    add(store, A, "one", "two")
    append_only.remove(connection)
    _statement("""UPDATE web_ledgerentry SET body = '{"text":"other"}' WHERE number = 1""")
    append_only.install(connection)

    faults = verify(store.all_entries())
    assert [fault.number for fault in faults] == [1]

    append_only.remove(connection)
    _statement("UPDATE web_ledgerentry SET kind = 'invented' WHERE number = 2")
    with pytest.raises(UnreadableEntry, match="entry 2"):
        list(store.all_entries())


@only_sqlite
@pytest.mark.django_db
def test_sqlite_writes_ahead_and_waits_for_the_disk() -> None:
    with connection.cursor() as cursor:
        mode = cursor.execute("PRAGMA journal_mode").fetchone()[0]
        synchronous = cursor.execute("PRAGMA synchronous").fetchone()[0]
    assert (mode, synchronous) == ("wal", 2)


@pytest.mark.django_db
def test_identities_are_kept_apart_and_the_latest_holds() -> None:
    identities = DjangoIdentities()
    assert isinstance(identities, IdentityStore)
    assert identities.worker(A) is None
    first = WorkerIdentity("R. Example", phone="0123", date_of_birth=date(1990, 2, 28))
    second = WorkerIdentity("R. Example", phone="0124", date_of_birth=date(1990, 2, 28))

    identities.save_worker(A, first, by="u1", now=NOW)
    identities.save_worker(A, second, by="u1", now=NOW)
    identities.save_source(A, SourceIdentity(ward="4B"), by="u1", now=NOW)

    assert identities.worker(A) == second
    assert identities.workers([A, "none"]) == {A: second}
    assert identities.source(A) == SourceIdentity(ward="4B")
    assert models.WorkerIdentity.objects.count() == 2
    with pytest.raises(DatabaseError, match="append only"):
        _statement("UPDATE web_workeridentity SET body = '{}'")


@pytest.mark.django_db
def test_the_ledger_of_people_has_its_own_chain_and_the_same_triggers() -> None:
    store = DjangoStore(book=PEOPLE)
    add(DjangoStore(), A, "of a case")
    draft = Draft(PersonKind.NOTED, NOW, {"text": "of a person"})
    for person in ("P-1", "P-2"):
        store.append_all(
            [Addition(person, [draft, draft], 0)], by="u1", role="occupational_nurse", now=NOW
        )

    entries = list(store.all_entries())
    assert [(e.number, e.case, e.kind) for e in entries] == [
        (1, "P-1", PersonKind.NOTED),
        (2, "P-1", PersonKind.NOTED),
        (3, "P-2", PersonKind.NOTED),
        (4, "P-2", PersonKind.NOTED),
    ]
    assert verify(entries, subject="person") == []
    assert store.entries_of(["P-2", "P-9"]) == {"P-2": entries[2:], "P-9": []}
    for sql in ("UPDATE web_personentry SET body = '{}'", "DELETE FROM web_personentry"):
        with pytest.raises(DatabaseError, match="append only"):
            _statement(sql)
    assert len(list(DjangoStore().all_entries())) == 1


@pytest.mark.django_db
def test_identities_of_people_are_kept_apart_and_can_be_erased() -> None:
    identities = DjangoPeopleIdentities()
    assert isinstance(identities, PeopleIdentities)
    first = PersonIdentity("0042", "Example", "Rea", date(1990, 2, 28))
    second = PersonIdentity("0042", "Example-Berg", "Rea", date(1990, 2, 28))
    other = PersonIdentity("0043", "Other", "Una")
    identities.save_all([Written("P-1", 1, first), Written("P-2", 1, other)], by="u1", now=NOW)
    identities.save_all([Written("P-1", 4, second)], by="u1", now=NOW)

    assert identities.identity("P-1") == second
    assert identities.identity("P-9") is None
    assert identities.all_identities() == {"P-1": second, "P-2": other}
    assert identities.some_identities(["P-1"]) == {"P-1": second}
    assert identities.before({"P-1": 4, "P-2": 1}) == {"P-1": first}
    assert "Example" not in repr(identities.identity("P-1"))
    identities.erase(["P-1"])
    assert identities.all_identities() == {"P-2": other}
    with pytest.raises(DatabaseError, match="append only"):
        _statement("UPDATE web_personidentity SET body = '{}'")
