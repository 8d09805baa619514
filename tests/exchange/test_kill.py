"""`kill -9` while messages pour in: what was acknowledged is in the inbox, byte for byte.

Each round kills `thimble listen` at a random moment and opens the file with SQLite alone. A killed
process is tested, not a power cut: for that there is `synchronous=FULL` (see `test_inbox.py`).
"""

from __future__ import annotations

import os
import random
import re
import signal
import sqlite3
import subprocess
import threading
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

from commands.data_folders import COMMAND, environment
from exchange.samples import obx, oru
from exchange.serving import PATIENCE, Client
from thimble.exchange.inbox import FILE

ROUNDS = 6
SENDERS = 3


@contextmanager
def listening(folder: Path) -> Iterator[tuple[subprocess.Popen[str], int]]:
    process = subprocess.Popen(
        [*COMMAND, "listen", str(folder), "--port", "0"],
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
        env=environment(),
    )
    assert process.stdout is not None
    try:
        for line in process.stdout:
            if found := re.search(r":(\d+) \(MLLP\)", line):
                yield process, int(found[1])
                return
        raise AssertionError("it did not listen")
    finally:
        process.kill()
        process.wait(PATIENCE)
        process.stdout.close()


def pour(port: int, sender: str, promised: dict[str, bytes], begun: threading.Event) -> None:
    """Send until the connection breaks; keep what was acknowledged."""
    number = 0
    with Client(port) as client:
        while True:
            control = f"{sender}-{number}"
            raw = oru(obx("Negative" if number % 2 else "Positive"), control=control)
            try:
                answer = client.send(raw)
            except OSError:
                return
            if answer is None:
                return
            assert f"\rMSA|AA|{control}\r".encode() in answer
            promised[control] = raw
            begun.set()
            number += 1


def kept(folder: Path) -> dict[str, bytes]:
    with closing(sqlite3.connect(folder / FILE, timeout=PATIENCE)) as database:
        assert database.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        return dict(database.execute("SELECT control_id, raw FROM received"))


def test_nothing_that_was_acknowledged_is_lost_in_a_kill(tmp_path: Path) -> None:
    draw = random.Random()
    promised: dict[str, bytes] = {}
    for round_ in range(ROUNDS):
        begun = threading.Event()
        with listening(tmp_path) as (process, port):
            senders = [
                threading.Thread(target=pour, args=(port, f"{round_}-{n}", promised, begun))
                for n in range(SENDERS)
            ]
            for sender in senders:
                sender.start()
            assert begun.wait(PATIENCE)
            time.sleep(draw.uniform(0, 0.3))
            os.kill(process.pid, signal.SIGKILL)
            for sender in senders:
                sender.join(PATIENCE)
        stored = kept(tmp_path)
        assert {control: stored.get(control) for control in promised} == promised
        # At most one message a sender may be stored and not acknowledged; sent again it is the same.
        assert len(stored) - len(promised) <= SENDERS * (round_ + 1)

    assert len(promised) >= ROUNDS


def test_a_message_cut_off_by_the_kill_is_taken_when_it_is_sent_again(tmp_path: Path) -> None:
    raw = oru(control="again")
    with listening(tmp_path) as (process, port), Client(port) as client:
        client.raw(b"\x0b" + raw[: len(raw) // 2])
        os.kill(process.pid, signal.SIGKILL)
        process.wait(PATIENCE)
    with listening(tmp_path) as (_, port), Client(port) as client:
        first, second = client.send(raw), client.send(raw)

    assert first == second
    assert kept(tmp_path) == {"again": raw}
