"""What other systems sent, as it came, on the disk before it is acknowledged.

One SQLite file in write-ahead mode with full synchronisation: when `store` returns, the bytes have
survived a power cut. Messages are personal data; the file is readable by its own user alone.
"""

from __future__ import annotations

import json
import os
import sqlite3
import threading
from collections import deque
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import Final, Self

from thimble.exchange.stored import COLUMNS, Arrival, Received, Settled, State, Stored, received_of

__all__ = ["Arrival", "Inbox", "Received", "Settled", "State", "Stored"]

FILE: Final = "inbox.sqlite3"
"""Its name in a data folder."""
BUSY_SECONDS: Final = 30
PAGE: Final = 100

_TABLE = """
CREATE TABLE IF NOT EXISTS received (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    sender TEXT NOT NULL,
    control_id TEXT NOT NULL,
    digest TEXT NOT NULL,
    raw BLOB NOT NULL,
    received_at TEXT NOT NULL,
    state TEXT NOT NULL CHECK (state IN ('new', 'matched', 'held', 'refused', 'duplicate')),
    reason TEXT NOT NULL,
    reused INTEGER NOT NULL,
    answered BLOB NOT NULL,
    UNIQUE (sender, control_id, digest)
) STRICT;
CREATE INDEX IF NOT EXISTS received_by_state ON received (state, id);
CREATE TABLE IF NOT EXISTS unscrubbed (since TEXT NOT NULL) STRICT;
"""
_LATER_COLUMN = "ALTER TABLE received ADD COLUMN erased_at TEXT NOT NULL DEFAULT ''"
"""For inboxes of before: when the people in a message were erased, or nothing."""
# Answers are frames' contents, and this byte can stand in none of them.
_BETWEEN = b"\x1c"


class _Waiting:
    """What one thread wants stored, until it is."""

    def __init__(self, arrivals: Sequence[Arrival]) -> None:
        self.arrivals = arrivals
        self.stored: list[Stored] = []
        self.error: BaseException | None = None
        self.done = False


class Inbox:
    """The stored messages of one data folder. Its methods may be called from any thread."""

    def __init__(self, folder: Path) -> None:
        path = folder / FILE
        # Made before SQLite does, so that it is never readable by others; its journals follow it.
        os.close(os.open(path, os.O_CREAT | os.O_RDWR, 0o600))
        self._lock = threading.Lock()
        self._waiting: deque[_Waiting] = deque()
        self._database = sqlite3.connect(
            path, timeout=BUSY_SECONDS, isolation_level=None, check_same_thread=False
        )
        self._database.execute("PRAGMA journal_mode=WAL")
        self._database.execute("PRAGMA synchronous=FULL")
        self._database.executescript(_TABLE)
        columns = self._database.execute("SELECT name FROM pragma_table_info('received')")
        if ("erased_at",) not in columns.fetchall():
            self._database.execute(_LATER_COLUMN)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        with self._lock:
            self._database.close()

    @contextmanager
    def _transaction(self) -> Iterator[sqlite3.Connection]:
        """All or nothing; the lock is held."""
        self._database.execute("BEGIN IMMEDIATE")
        try:
            yield self._database
            self._database.execute("COMMIT")
        except BaseException:
            if self._database.in_transaction:
                self._database.execute("ROLLBACK")
            raise

    def store(self, arrivals: Sequence[Arrival]) -> list[Stored]:
        """Store all of them or, where this raises, none. On return they are on the disk.

        Threads that come while another one writes wait and share one write: the disk is slow, and
        takes many messages as fast as one.

        Raises:
            sqlite3.Error: they could not be stored, for example because the disk is full.
        """
        mine = _Waiting(arrivals)
        self._waiting.append(mine)
        with self._lock:
            if not mine.done:
                self._write()
        if mine.error:
            raise mine.error
        return mine.stored

    def _write(self) -> None:
        """Write all that wait in one transaction; the lock is held."""
        together: list[_Waiting] = []
        while self._waiting:
            together.append(self._waiting.popleft())
        try:
            with self._transaction() as database:
                for each in together:
                    each.stored = [_store(database, arrival) for arrival in each.arrivals]
        except BaseException as error:  # whatever it is: nobody may believe that theirs is stored
            for each in together:
                each.error = error
        finally:
            for each in together:
                each.done = True

    def settle(self, number: int, state: State, reason: str = "") -> None:
        """Say what became of a message.

        Args:
            number: its id.
            state: not `NEW`.
            reason: a sentence without anybody's identity, for the person who looks.

        Raises:
            KeyError: there is no such message.
            ValueError: the state is `NEW`.
        """
        if state is State.NEW:
            raise ValueError("a message is not settled by calling it new; name what became of it")
        with self._lock, self._transaction() as database:
            changed = database.execute(
                "UPDATE received SET state = ?, reason = ? WHERE id = ?", (state, reason, number)
            )
            if not changed.rowcount:
                raise KeyError(f"message {number} is not in the inbox")

    def settle_new(self, settled: Sequence[Settled]) -> None:
        """Say what became of messages that are still new; what a person settled meanwhile stays so.

        Not synchronised by itself, for this can be found out again: after a power cut the messages may
        be new once more, are offered once more, and say the same. The next `store` or `settle` brings
        it to the disk.
        """
        with self._lock:
            self._database.execute("PRAGMA synchronous=NORMAL")
            try:
                with self._transaction() as database:
                    database.executemany(
                        "UPDATE received SET state = ?, reason = ? WHERE id = ? AND state = 'new'",
                        [(each.state, each.reason, each.id) for each in settled],
                    )
            finally:
                self._database.execute("PRAGMA synchronous=FULL")

    def still_new(self, numbers: Sequence[int]) -> set[int]:
        """Which of these messages nobody has settled."""
        with self._lock:
            rows = self._database.execute(
                "SELECT id FROM received "
                "WHERE state = 'new' AND id IN (SELECT value FROM json_each(?))",
                (json.dumps(list(numbers)),),
            ).fetchall()
        return {number for (number,) in rows}

    def in_state(self, state: State) -> Iterator[Received]:
        """Those in this state, in order of arrival; read in pages, so settle them on the way."""
        return self._pages("state = ?", state)

    def with_people(self) -> Iterator[Received]:
        """Those in which nobody was erased yet, in order of arrival."""
        return self._pages("erased_at = ?", "")

    def _pages(self, condition: str, value: str) -> Iterator[Received]:
        after = 0
        while True:
            with self._lock:
                rows = self._database.execute(
                    f"SELECT {COLUMNS} FROM received WHERE {condition} AND id > ? "  # noqa: S608
                    "ORDER BY id LIMIT ?",
                    (value, after, PAGE),
                ).fetchall()
            if not rows:
                return
            for row in rows:
                after = row[0]
                yield received_of(row)

    def erase_people(self, left: Mapping[int, bytes], at: datetime) -> None:
        """Put what is left in place of what messages said of people, all or none, on the disk.

        Sender, control id, digest, state and answer stay: the same bytes still count as the same.
        `scrub` takes the last trace from the file.
        """
        # Overwritten, not only forgotten.
        self._database.execute("PRAGMA secure_delete=ON")
        with self._lock, self._transaction() as database:
            database.executemany(
                "UPDATE received SET raw = ?, erased_at = ? WHERE id = ?",
                [(raw, at.isoformat(), number) for number, raw in left.items()],
            )
            if left:
                database.execute("INSERT INTO unscrubbed VALUES (?)", (at.isoformat(),))

    def scrub(self) -> bool:
        """Write the file anew without what was erased, its journal included; nothing where nothing was
        erased since: messages that arrive wait while it is written.

        Returns:
            Whether no trace is left; False while somebody else reads or writes at that moment.
        """
        with self._lock:
            try:
                if not self._database.execute("SELECT 1 FROM unscrubbed LIMIT 1").fetchone():
                    return True
                self._database.execute("VACUUM")
                (busy, *_) = self._database.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()
                if not busy:
                    self._database.execute("DELETE FROM unscrubbed")
            except sqlite3.OperationalError:
                return False
        return not busy

    def unprocessed(self) -> Iterator[Received]:
        """Those that nobody has looked at, in order of arrival."""
        return self.in_state(State.NEW)

    def get(self, number: int) -> Received:
        """One message.

        Raises:
            KeyError: there is no such message.
        """
        with self._lock:
            row = self._database.execute(
                f"SELECT {COLUMNS} FROM received WHERE id = ?",  # noqa: S608 - our own columns
                (number,),
            ).fetchone()
        if row is None:
            raise KeyError(f"message {number} is not in the inbox")
        return received_of(row)

    def number_of(self, digest: str) -> int | None:
        """The number of the first message with this digest; None where there is none."""
        with self._lock:
            row = self._database.execute(
                "SELECT min(id) FROM received WHERE digest = ?", (digest,)
            ).fetchone()
        return None if row is None else row[0]

    def counts(self) -> dict[State, int]:
        """How many messages are in each state."""
        with self._lock:
            rows = self._database.execute(
                "SELECT state, count(*) FROM received GROUP BY state"
            ).fetchall()
        return dict.fromkeys(State, 0) | {State(state): count for state, count in rows}


def _store(database: sqlite3.Connection, arrival: Arrival) -> Stored:
    digest = arrival.digest
    key = (arrival.sender, arrival.control_id)
    same = database.execute(
        "SELECT id, answered, reused FROM received "
        "WHERE sender = ? AND control_id = ? AND digest = ?",
        (*key, digest),
    ).fetchone()
    if same:
        return Stored(same[0], _apart(same[1]), fresh=False, reused=bool(same[2]))
    # An empty control id names nothing that could be used again.
    reused = bool(arrival.control_id) and bool(
        database.execute(
            "SELECT 1 FROM received WHERE sender = ? AND control_id = ? LIMIT 1", key
        ).fetchone()
    )
    cursor = database.execute(
        "INSERT INTO received (sender, control_id, digest, raw, received_at, state, reason, reused, "
        "answered) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
        (
            arrival.sender,
            arrival.control_id,
            digest,
            arrival.raw,
            arrival.received_at.isoformat(),
            arrival.state,
            arrival.reason,
            reused,
            _BETWEEN.join(arrival.answers),
        ),
    )
    return Stored(int(cursor.lastrowid or 0), arrival.answers, fresh=True, reused=reused)


def _apart(answered: bytes) -> tuple[bytes, ...]:
    return tuple(part for part in answered.split(_BETWEEN) if part)
