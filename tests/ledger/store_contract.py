"""What every store of the ledger must do. A test class per store inherits it and gives `store`.

class TestMine(StoreContract):
    @pytest.fixture
    def store(self): ...
"""

from __future__ import annotations

import threading
from datetime import UTC, datetime, timedelta

import pytest

from thimble.ledger.checks import BadBody
from thimble.ledger.entries import GENESIS, Draft, Entry, Kind, digest_of
from thimble.ledger.store import LedgerStore, Overtaken
from thimble.ledger.verify import verify

NOW = datetime(2026, 3, 2, 1, 40, 5, 120001, tzinfo=UTC)
A, B = "K7QM-2F49", "AAAA-AAAA"


def note(text: str, at: datetime = NOW) -> Draft:
    return Draft(Kind.NOTED, at, {"text": text})


def add(
    store: LedgerStore,
    case: str,
    *texts: str,
    expected_position: int | None = None,
    now: datetime = NOW,
) -> list[Entry]:
    return store.append(
        case,
        [note(text, now) for text in texts],
        expected_position=expected_position,
        by="u1",
        role="nurse",
        now=now,
    )


class StoreContract:
    """Run against each store; `concurrent` False for a store whose test database is one connection."""

    concurrent = True

    def test_it_is_a_store(self, store: LedgerStore) -> None:
        assert isinstance(store, LedgerStore)

    def test_an_empty_ledger_has_nothing(self, store: LedgerStore) -> None:
        assert store.entries(A) == []
        assert list(store.all_entries()) == []
        assert store.cases() == []

    def test_numbers_count_over_the_ledger_and_positions_within_a_case(
        self, store: LedgerStore
    ) -> None:
        add(store, A, "one", "two")
        add(store, B, "three")
        add(store, A, "four")

        assert [(e.number, e.case, e.position) for e in store.all_entries()] == [
            (1, A, 1),
            (2, A, 2),
            (3, B, 1),
            (4, A, 3),
        ]
        assert [e.body["text"] for e in store.entries(A)] == ["one", "two", "four"]
        assert store.cases() == [A, B]

    def test_each_entry_names_the_digest_of_the_one_before(self, store: LedgerStore) -> None:
        add(store, A, "one")
        add(store, B, "two", "three")

        entries = list(store.all_entries())
        assert entries[0].previous == GENESIS
        assert [e.previous for e in entries[1:]] == [e.digest for e in entries[:-1]]
        assert verify(entries) == []

    def test_what_is_read_back_has_the_digest_it_was_written_with(self, store: LedgerStore) -> None:
        """Also for instants of another zone, whole seconds, whole numbers and words of any script."""
        zone = NOW.astimezone().tzinfo
        body = {
            "facts": {"worker_weight": 70.0, "worker_medicines": ["metformin"]},
            "said_by": "worker",
        }
        whole = NOW.replace(microsecond=0).astimezone(zone)
        written = store.append(
            A,
            [Draft(Kind.FACT_LEARNED, whole, body), note("Grüezi – 日本語 🩸\nzweite Zeile")],
            expected_position=0,
            by="u1",
            role="nurse",
            now=whole,
        )

        read = store.entries(A)
        assert read == written
        assert [digest_of(e) for e in read] == [e.digest for e in written]
        assert {e.recorded_at.utcoffset() for e in read} == {timedelta(0)}

    def test_what_the_writer_or_reader_does_with_a_body_later_changes_nothing(
        self, store: LedgerStore
    ) -> None:
        body = {"facts": {"route": "percutaneous"}, "said_by": "worker"}
        store.append(
            A,
            [Draft(Kind.FACT_LEARNED, NOW, body)],
            expected_position=None,
            by="u1",
            role="nurse",
            now=NOW,
        )
        body["facts"]["route"] = "intact_skin"  # type: ignore[index]
        store.entries(A)[0].body["facts"]["route"] = "human_bite"

        assert store.entries(A)[0].body["facts"] == {"route": "percutaneous"}

    def test_the_second_of_two_writers_is_told_what_the_first_wrote(
        self, store: LedgerStore
    ) -> None:
        add(store, A, "seen by both")
        add(store, A, "first writer", expected_position=1)

        with pytest.raises(Overtaken) as told:
            add(store, A, "second writer", expected_position=1)

        assert [e.body["text"] for e in told.value.new_entries] == ["first writer"]
        assert "1 entry" in str(told.value)
        assert [e.body["text"] for e in store.entries(A)] == ["seen by both", "first writer"]

    def test_a_new_case_is_expected_at_position_0(self, store: LedgerStore) -> None:
        add(store, A, "new", expected_position=0)

        with pytest.raises(Overtaken) as told:
            add(store, A, "also new", expected_position=0)
        assert [e.position for e in told.value.new_entries] == [1]

    def test_an_entry_of_another_case_overtakes_nobody(self, store: LedgerStore) -> None:
        add(store, A, "one")
        add(store, B, "elsewhere")
        add(store, A, "two", expected_position=1)

        assert len(store.entries(A)) == 2

    def test_a_position_that_was_never_reached_is_refused(self, store: LedgerStore) -> None:
        add(store, A, "one")
        with pytest.raises(ValueError, match="position 2 was never reached"):
            add(store, A, "two", expected_position=2)
        assert len(store.entries(A)) == 1

    def test_one_bad_draft_stops_all_of_them(self, store: LedgerStore) -> None:
        add(store, A, "one")
        with pytest.raises(BadBody, match="noted: text must say something"):
            add(store, A, "good", " ")

        assert [e.body["text"] for e in store.entries(A)] == ["one"]
        assert add(store, B, "next")[0].number == 2

    def test_recorded_time_never_runs_backwards(self, store: LedgerStore) -> None:
        """A server's clock may be set back; the order of the ledger is the order of its instants."""
        add(store, A, "one")
        back = add(store, B, "two", now=NOW - timedelta(hours=1))
        forth = add(store, A, "three", now=NOW + timedelta(microseconds=1))

        assert back[0].recorded_at == NOW
        assert back[0].happened_at == NOW - timedelta(hours=1)
        assert forth[0].recorded_at == NOW + timedelta(microseconds=1)
        assert verify(store.all_entries()) == []

    @pytest.mark.parametrize("what", ["now", "happened_at"])
    def test_an_instant_without_offset_is_refused(self, store: LedgerStore, what: str) -> None:
        naive = NOW.replace(tzinfo=None)
        with pytest.raises(ValueError, match=f"{what} needs its offset"):
            store.append(
                A,
                [note("x", naive if what == "happened_at" else NOW)],
                expected_position=None,
                by="u1",
                role="nurse",
                now=naive if what == "now" else NOW,
            )
        assert store.entries(A) == []

    def test_appending_nothing_is_refused(self, store: LedgerStore) -> None:
        with pytest.raises(ValueError, match="nothing to append"):
            add(store, A)

    @pytest.mark.parametrize("field", ["by", "role"])
    def test_nobody_in_particular_cannot_write(self, store: LedgerStore, field: str) -> None:
        who = {"by": "u1", "role": "nurse", field: ""}
        with pytest.raises(ValueError, match=f"{field} must be given"):
            store.append(A, [note("x")], expected_position=None, now=NOW, **who)

    def test_many_writers_at_once_leave_a_whole_chain(self, store: LedgerStore) -> None:
        if not self.concurrent:
            pytest.skip("one connection")
        start = threading.Barrier(4)
        lost: list[BaseException] = []

        def run(writer: int) -> None:
            try:
                start.wait()
                for step in range(10):
                    add(store, A if step % 2 else B, f"{writer}.{step}", f"{writer}.{step} more")
            except BaseException as error:
                lost.append(error)

        writers = [threading.Thread(target=run, args=(n,)) for n in range(4)]
        for writer in writers:
            writer.start()
        for writer in writers:
            writer.join()

        entries = list(store.all_entries())
        assert lost == []
        assert len(entries) == 80
        assert verify(entries) == []

    def test_of_many_writers_who_saw_the_same_exactly_one_wins(self, store: LedgerStore) -> None:
        if not self.concurrent:
            pytest.skip("one connection")
        add(store, A, "seen by all")
        start = threading.Barrier(6)
        won: list[int] = []
        told: list[Overtaken] = []

        def run(writer: int) -> None:
            start.wait()
            try:
                add(store, A, f"writer {writer}", expected_position=1)
                won.append(writer)
            except Overtaken as overtaken:
                told.append(overtaken)

        writers = [threading.Thread(target=run, args=(n,)) for n in range(6)]
        for writer in writers:
            writer.start()
        for writer in writers:
            writer.join()

        assert len(won) == 1
        assert len(told) == 5
        for overtaken in told:
            assert [e.body["text"] for e in overtaken.new_entries] == [f"writer {won[0]}"]
