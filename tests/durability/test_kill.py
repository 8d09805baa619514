"""`kill -9` in the middle of appends: what was acknowledged is there, and the chain is whole.

Each round kills every process at a random moment and then opens the database afresh with another
library than the one that wrote. A killed process is tested, not a power cut: for that there is
`synchronous=FULL`, which is looked at below.
"""

from __future__ import annotations

import http.client
import json
import os
import random
import re
import signal
import socket
import sqlite3
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from urllib.parse import urlencode

import pytest

from commands.data_folders import COMMAND, environment
from thimble.actions.reference import new_references
from thimble.demo.hospital import SITE
from thimble.ledger.entries import Entry, Kind
from thimble.ledger.verify import verify

ROUNDS = 20
WRITERS = 3
SERVER_ROUNDS = 4
CLIENTS = 4
PATIENCE = 30.0
"""Seconds after which something that should have happened will not."""


def entries(folder: Path) -> list[Entry]:
    """The ledger as the file holds it, read without the code that wrote it."""
    with closing(sqlite3.connect(folder / "thimble.sqlite3", timeout=PATIENCE)) as database:
        assert database.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        rows = database.execute(
            'SELECT number, "case", position, kind, happened_at, recorded_at, "by", role, body, '
            "previous, digest FROM web_ledgerentry ORDER BY rowid"
        ).fetchall()
    return [
        Entry(
            number=row[0],
            case=row[1],
            position=row[2],
            kind=Kind(row[3]),
            happened_at=datetime.fromisoformat(row[4]),
            recorded_at=datetime.fromisoformat(row[5]),
            by=row[6],
            role=row[7],
            body=json.loads(row[8]),
            previous=row[9],
            digest=row[10],
        )
        for row in rows
    ]


def until(what: Callable[[], bool]) -> None:
    end = time.monotonic() + PATIENCE
    while not what():
        assert time.monotonic() < end, "waited in vain"
        time.sleep(0.002)


# -- several writers -----------------------------------------------------------------------------------


def promised(folder: Path) -> list[str]:
    """Every digest that a writer was told of. A line cut short by the kill was being written after
    the promise: it counts as far as it goes."""
    lines = [
        line for path in folder.glob("promised-*") for line in path.read_text("ascii").splitlines()
    ]
    return [line for line in lines if len(line) == 64]


@contextmanager
def writers(folder: Path) -> Iterator[subprocess.Popen[str]]:
    with subprocess.Popen(
        [sys.executable, str(Path(__file__).with_name("writers.py")), str(folder), str(WRITERS)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
        env=environment(),
    ) as process:
        yield process
        assert process.stdin is not None
        process.stdin.close()
        assert process.wait(PATIENCE) == 0


def test_entries_acknowledged_to_any_writer_survive_a_kill(tmp_path: Path) -> None:
    with writers(tmp_path) as process:
        assert process.stdin is not None
        assert process.stdout is not None
        # Write-ahead log, and synchronous 2, which is FULL: on the disk at each commit.
        assert process.stdout.readline().split() == ["wal", "2"]
        for _ in range(ROUNDS):
            before = len(promised(tmp_path))
            process.stdin.write("go\n")
            process.stdin.flush()
            children = [int(pid) for pid in process.stdout.readline().split()]
            until(lambda before=before: len(promised(tmp_path)) > before)  # type: ignore[misc]
            time.sleep(random.uniform(0, 0.04))
            random.shuffle(children)
            for child in children:
                os.kill(child, signal.SIGKILL)
            assert process.stdout.readline() == "ended\n"

            found = entries(tmp_path)
            assert verify(found) == []
            lost = set(promised(tmp_path)) - {entry.digest for entry in found}
            assert not lost
    # Each of the writers was at work, on several cases at once.
    assert len({entry.case for entry in found}) == 5
    assert all((tmp_path / f"promised-{writer}").stat().st_size for writer in range(WRITERS))
    assert len(found) > ROUNDS


# -- the server ---------------------------------------------------------------------------------------


def free_port() -> int:
    with closing(socket.socket()) as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port


@dataclass
class Served:
    """A server, and what its clients were told."""

    folder: Path
    port: int
    acknowledged: list[str] = field(default_factory=list)
    unexpected: list[str] = field(default_factory=list)
    stop: threading.Event = field(default_factory=threading.Event)

    def answers(self) -> bool:
        with suppress(OSError, http.client.HTTPException):
            connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=5)
            connection.request("GET", "/alive")
            return connection.getresponse().status == 200
        return False

    def report_for_ever(self, client: int) -> None:
        """Send report after report, as from another telephone each time, until the server dies."""
        number = 0
        while not self.stop.is_set():
            number += 1
            try:
                token, status = self.report(f"10.{client}.{number // 250}.{number % 250}")
            except (OSError, http.client.HTTPException):
                return
            if status == 302:
                self.acknowledged.append(token)
            elif status not in {500, 502, 503}:
                self.unexpected.append(f"{token}: {status}")

    def report(self, telephone: str) -> tuple[str, int]:
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=PATIENCE)
        headers = {"X-Forwarded-For": telephone}
        with closing(connection):
            connection.request("GET", SLUG, headers=headers)
            page = connection.getresponse()
            cookie = (page.getheader("Set-Cookie") or "").split(";")[0]
            text = page.read().decode()
            fields = dict(re.findall(r'name="(csrfmiddlewaretoken|once)" value="([^"]+)"', text))
            fields |= {"when": "0", "fluid": "blood", "account": fields["once"]}
            connection.request(
                "POST",
                SLUG,
                body=urlencode(fields),
                headers={
                    **headers,
                    "Cookie": cookie,
                    "Content-Type": "application/x-www-form-urlencoded",
                },
            )
            return fields["once"], connection.getresponse().status


SLUG = "/now/needle-or-sharp"


@contextmanager
def server(folder: Path) -> Iterator[Served]:
    """`thimble serve` in a process group of its own; killed outright at the end."""
    served = Served(folder, free_port())
    process = subprocess.Popen(
        [*COMMAND, "serve", "--data", str(folder), "--port", str(served.port)],
        env=environment(THIMBLE_PROXIES="1"),
        start_new_session=True,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
    )
    try:
        until(lambda: served.answers() or process.poll() is not None)
        assert process.poll() is None, (process.stderr and process.stderr.read().decode()) or ""
        yield served
    finally:
        with suppress(ProcessLookupError):
            os.killpg(process.pid, signal.SIGKILL)
        process.communicate()


def test_reports_acknowledged_by_the_server_survive_a_kill(tmp_path: Path) -> None:
    site = SITE.format(base_url="http://127.0.0.1")
    (tmp_path / "site.toml").write_text(site, encoding="utf-8")
    acknowledged: list[str] = []
    for _ in range(SERVER_ROUNDS):
        with server(tmp_path) as served:
            clients = [
                threading.Thread(target=served.report_for_ever, args=(client,))
                for client in range(CLIENTS)
            ]
            for client in clients:
                client.start()
            until(lambda served=served: len(served.acknowledged) >= 3)  # type: ignore[misc]
            time.sleep(random.uniform(0, 0.25))
        served.stop.set()
        for client in clients:
            client.join(PATIENCE)
        assert served.unexpected == []
        acknowledged += served.acknowledged

        found = entries(tmp_path)
        assert verify(found) == []
        # The reference of a report follows from the token that its form carried.
        cases = {entry.case: entry for entry in found}
        for token in acknowledged:
            entry = cases[next(new_references(token))]
            assert entry.body["account"] == token
        with closing(sqlite3.connect(tmp_path / "thimble.sqlite3")) as database:
            named = {case for (case,) in database.execute('SELECT "case" FROM web_workeridentity')}
        assert named <= set(cases), "a name without its report"
    assert len(acknowledged) >= 3 * SERVER_ROUNDS


@pytest.mark.parametrize("what", ["lost", "changed"])
def test_this_test_would_see_a_lost_or_a_changed_entry(tmp_path: Path, what: str) -> None:
    with writers(tmp_path) as process:
        assert process.stdin is not None
        assert process.stdout is not None
        process.stdout.readline()
        process.stdin.write("go\n")
        process.stdin.flush()
        children = [int(pid) for pid in process.stdout.readline().split()]
        until(lambda: len(promised(tmp_path)) > 3)
        for child in children:
            os.kill(child, signal.SIGKILL)
        process.stdout.readline()
    with closing(sqlite3.connect(tmp_path / "thimble.sqlite3")) as database:
        for (name,) in database.execute(
            "SELECT name FROM sqlite_master WHERE type = 'trigger' AND tbl_name = 'web_ledgerentry'"
        ).fetchall():
            database.execute(f"DROP TRIGGER {name}")
        if what == "lost":
            database.execute(
                "DELETE FROM web_ledgerentry WHERE digest = ?", (promised(tmp_path)[0],)
            )
        else:
            database.execute('UPDATE web_ledgerentry SET body = \'{"text":"y"}\' WHERE number = 2')
        database.commit()
    found = entries(tmp_path)

    assert verify(found) != []
    missing = set(promised(tmp_path)) - {entry.digest for entry in found}
    assert bool(missing) == (what == "lost")
