"""Laboratory messages a second, from a socket to entries of the ledger: `python -m bench.recorded`.

Each message is of the source of another invented case. The listener, a process of its own, stores the
message, reads it, records its result in the case and answers; both databases write ahead with full
synchronisation.
"""

from __future__ import annotations

import re
import socket
import sqlite3
import subprocess
import sys
import tempfile
import time
from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path

from bench.messages import AIM, COMMAND
from bench.pages import prepare

CASES = 1000
RECORDED = "SELECT count(*) FROM web_ledgerentry WHERE kind = 'result_received'"
HEAD = r"MSH|^~\&|LIS|INVENTED LAB|THIMBLE|INVENTED HOSPITAL|{at}||ORU^R01^ORU_R01|M{n}|P|2.5.1"
REST = (
    "PID|1||M-1^^^INVENTED^MR",
    "OBR|1|R-{n}|F-{n}|24110-9^panel^LN|||{at}|||||||||||||||{at}|||F",
    "OBX|1|CE|5195-3^HBsAg^LN||260385009^Negative^SCT||||||F",
    "SPM|1|S-{n}||119297000^Blood^SCT",
    "",
)


def main() -> None:
    """Build the cases, send a message for each, one after the other, and print the rate."""
    with tempfile.TemporaryDirectory(prefix="thimble-bench-") as name:
        folder = Path(name)
        prepare(folder)
        _build()
        process = subprocess.Popen(
            [*COMMAND, "listen", name, "--port", "0"], stdout=subprocess.PIPE, text=True
        )
        assert process.stdout is not None
        try:
            found = next(f for line in process.stdout if (f := re.search(r":(\d+) \(MLLP", line)))
            answered, recorded = _send(int(found[1]), folder)
        finally:
            process.terminate()
            process.wait()
        _check()
    for what, seconds in (("answered", answered), ("recorded", recorded)):
        rate = CASES / seconds
        met = "aim met" if rate >= AIM else f"below the aim of {AIM}"
        print(f"  1 sender, {CASES} cases, {what} {rate:7.0f} /s   {met}")


def _build() -> None:
    from thimble import actions
    from thimble.clinical.vocabulary import VOCABULARY
    from thimble.web.context import get_store

    now = datetime.now(UTC) - timedelta(hours=1)
    writer = {"by": "bench", "role": "emergency_clinician"}
    store = get_store()
    with store.transaction():
        for number in range(CASES):
            case = actions.report(
                store, facts={"route": "percutaneous", "fluid": "blood"},
                occurred_at=now - timedelta(hours=1), occurred_at_precision="minute",
                vocabulary=VOCABULARY, now=now,
            ).case  # fmt: skip
            actions.sample_source(
                store, case, action="source_hbsag_test", now=now, specimen=f"S-{number}", **writer
            )


def _send(port: int, folder: Path) -> tuple[float, float]:
    """Seconds until the last message was answered, and until what it says was in the ledger."""
    at = (datetime.now(UTC) - timedelta(minutes=30)).strftime("%Y%m%d%H%M%S+0000")
    sent = ["\r".join((HEAD, *REST)).format(n=number, at=at).encode() for number in range(CASES)]
    with socket.create_connection(("127.0.0.1", port)) as sender:
        sender.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        begun = time.perf_counter()
        for each in sent:
            sender.sendall(b"\x0b" + each + b"\x1c\r")
            answer = b""
            while not answer.endswith(b"\x1c\r"):
                answer += sender.recv(4096)
            assert b"\rMSA|AA|" in answer, answer
        answered = time.perf_counter() - begun
    with closing(sqlite3.connect(folder / "thimble.sqlite3", timeout=30)) as ledger:
        # Read with SQLite alone and only now and then: looking must not slow what is looked at.
        while ledger.execute(RECORDED).fetchone()[0] < CASES:
            time.sleep(0.005)
    return answered, time.perf_counter() - begun


def _check() -> None:
    """Every message is in the ledger, or nothing was measured."""
    from thimble.ledger.entries import Kind
    from thimble.web.context import get_store

    recorded = sum(entry.kind is Kind.RESULT_RECEIVED for entry in get_store().since(1))
    assert recorded == CASES, recorded


if __name__ == "__main__":
    sys.exit(main())
