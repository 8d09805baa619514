"""What is stored, once, and what becomes of it."""

from __future__ import annotations

import sqlite3
import threading
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest

from thimble.exchange.inbox import FILE, PAGE, Arrival, Inbox, State

AT = datetime(2026, 3, 2, 3, 0, tzinfo=UTC)
ONE = Arrival("LIS|LAB", "C1", b"MSH|1", AT, State.NEW, "", (b"MSA|CA\r", b"MSA|AA\r"))


def test_what_was_stored_is_there_after_a_new_start(tmp_path: Path) -> None:
    with Inbox(tmp_path) as inbox:
        (stored,) = inbox.store([ONE])
    with Inbox(tmp_path) as inbox:
        received = inbox.get(stored.id)

    assert (received.raw, received.received_at, received.state) == (b"MSH|1", AT, State.NEW)
    assert (received.sender, received.control_id) == ("LIS|LAB", "C1")


def test_it_is_written_ahead_and_fully_synchronised(inbox: Inbox) -> None:
    pragma = inbox._database.execute
    assert pragma("PRAGMA journal_mode").fetchone() == ("wal",)
    assert pragma("PRAGMA synchronous").fetchone() == (2,)  # FULL: on the disk at each commit


def test_nobody_else_can_read_it(tmp_path: Path) -> None:
    with Inbox(tmp_path) as inbox:
        inbox.store([ONE])
        modes = {path.stat().st_mode & 0o777 for path in tmp_path.glob(f"{FILE}*")}

    assert modes == {0o600}


def test_the_same_bytes_again_are_answered_as_before_and_stored_once(inbox: Inbox) -> None:
    (first,) = inbox.store([ONE])
    (again,) = inbox.store([replace(ONE, answers=(b"another",))])

    assert (first.fresh, again.fresh) == (True, False)
    assert (again.id, again.answers) == (first.id, ONE.answers)
    assert inbox.counts()[State.NEW] == 1


def test_the_same_bytes_twice_in_one_write_are_stored_once(inbox: Inbox) -> None:
    first, again = inbox.store([ONE, ONE])

    assert (first.fresh, again.fresh, again.id) == (True, False, first.id)


def test_other_bytes_under_the_same_control_id_are_stored_and_marked(inbox: Inbox) -> None:
    inbox.store([ONE])
    (other,) = inbox.store([replace(ONE, raw=b"MSH|2")])
    (again,) = inbox.store([replace(ONE, raw=b"MSH|2")])
    (elsewhere,) = inbox.store([replace(ONE, sender="OTHER|LAB", raw=b"MSH|3")])

    assert (other.fresh, other.reused, elsewhere.reused) == (True, True, False)
    assert (again.fresh, again.reused) == (False, True)
    assert inbox.get(other.id).reused


def test_an_empty_control_id_cannot_be_used_again(inbox: Inbox) -> None:
    inbox.store([replace(ONE, control_id="")])
    (other,) = inbox.store([replace(ONE, control_id="", raw=b"MSH|2")])

    assert not other.reused


def test_all_of_a_batch_is_stored_or_nothing(inbox: Inbox) -> None:
    broken = replace(ONE, raw=b"MSH|2", state="nonsense")

    with pytest.raises(sqlite3.IntegrityError):
        inbox.store([replace(ONE, raw=b"MSH|1"), broken])

    assert sum(inbox.counts().values()) == 0
    assert inbox.store([ONE])[0].fresh


def test_settled_messages_are_offered_no_more(inbox: Inbox) -> None:
    number = PAGE + 5
    inbox.store([replace(ONE, control_id=str(n)) for n in range(number)])

    seen = []
    for received in inbox.unprocessed():
        seen.append(received.control_id)
        inbox.settle(received.id, State.HELD, "Nobody knows this number.")

    assert seen == [str(n) for n in range(number)]
    assert list(inbox.unprocessed()) == []
    assert next(inbox.in_state(State.HELD)).reason == "Nobody knows this number."


def test_what_is_not_there_cannot_be_settled(inbox: Inbox) -> None:
    with pytest.raises(KeyError, match="message 9 is not in the inbox"):
        inbox.settle(9, State.MATCHED)
    with pytest.raises(KeyError, match="message 9 is not in the inbox"):
        inbox.get(9)
    (stored,) = inbox.store([ONE])
    with pytest.raises(ValueError, match="name what became of it"):
        inbox.settle(stored.id, State.NEW)


def test_threads_that_share_a_write_each_get_their_own(inbox: Inbox) -> None:
    told: dict[int, list[int]] = {}

    def store(thread: int) -> None:
        told[thread] = [
            inbox.store([replace(ONE, control_id=f"{thread}-{n}")])[0].id for n in range(30)
        ]

    threads = [threading.Thread(target=store, args=(n,)) for n in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()

    found = {f"{t}-{n}": number for t, ids in told.items() for n, number in enumerate(ids)}
    assert len(set(found.values())) == 240
    assert all(inbox.get(number).control_id == control for control, number in found.items())


def test_nobody_believes_stored_what_another_thread_could_not_write(inbox: Inbox) -> None:
    """A shared write that fails fails for everyone who shares it."""
    failed: list[str] = []
    inbox._lock.acquire()

    def store(arrival: Arrival) -> None:
        try:
            inbox.store([arrival])
        except sqlite3.Error:
            failed.append(arrival.control_id)

    good, bad = ONE, replace(ONE, control_id="bad", state="nonsense")
    threads = [threading.Thread(target=store, args=(each,)) for each in (good, bad)]
    for thread in threads:
        thread.start()
    while len(inbox._waiting) < 2:
        pass
    inbox._lock.release()
    for thread in threads:
        thread.join()

    assert sorted(failed) == ["C1", "bad"]
    assert sum(inbox.counts().values()) == 0
