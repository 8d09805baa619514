"""Laboratory messages a second, from the first byte on a socket to the answer after the disk.

The listener runs as a process of its own, as at a site; SQLite writes ahead with full synchronisation.
"""

from __future__ import annotations

import os
import re
import socket
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable
from pathlib import Path

from thimble.exchange.hl7v2.message import read_bytes
from thimble.exchange.hl7v2.values import read_value
from thimble.exchange.inbox import Inbox

ROWS = 10
MESSAGES = 600
SENDERS = (1, 4, 16)
AIM = 200
COMMAND = [sys.executable, "-c", "import sys; from thimble.cli import main; sys.exit(main())"]
HEAD = r"MSH|^~\&|LIS|INVENTED LAB|THIMBLE|INVENTED HOSPITAL|20260302040000+0100||ORU^R01^ORU_R01|"
PERSON = "PID|1||M-4711^^^INVENTED^MR||Muster^Ada^M||19800229|F|||Street 1^^Nowhere||||||||||||"
ORDER = (
    "OBR|1|REQ-1^WARD|LAB-1^LAB|SEROLOGY^Serology^L|||202603020310|||||||202603020330||||||||"
    "202603020400|||F"
)
ROW = (
    "OBX|{n}|CWE|5195-3^Hepatitis B virus surface Ag [Presence] in Serum^LN^HBSAG^HBsAg^L||"
    "260385009^Negative^SCT^NEG^Negative^L||Negative|N|||F|||202603020310|||||202603020350||||"
    "Invented Laboratory^L^^^^^XX^^^LAB-9"
)


def message(control: str) -> bytes:
    """Ten rows of results, about two and a half thousand bytes."""
    rows = (ROW.format(n=number) for number in range(1, ROWS + 1))
    return "\r".join([f"{HEAD}{control}|P|2.5.1", PERSON, ORDER, *rows, ""]).encode()


def main() -> None:
    """Print the time of each step and the rate of the whole."""
    raw = message("C")
    row = read_bytes(raw).patients[0].orders[0].observations[0]
    print(f"message of {ROWS} rows, {len(raw)} bytes")
    print(f"  reading it                 {_median(lambda: read_bytes(raw)):7.2f} ms")
    print(f"  reading one value          {_median(lambda: read_value(row)):7.3f} ms")
    with tempfile.TemporaryDirectory() as folder:
        print(f"  one synchronised write     {_median(_writer(Path(folder))):7.2f} ms")
        process = subprocess.Popen(
            [*COMMAND, "listen", folder, "--port", "0"], stdout=subprocess.PIPE, text=True
        )
        assert process.stdout is not None
        try:
            port = next(
                int(found[1])
                for line in process.stdout
                if (found := re.search(r":(\d+) \(MLLP\)", line))
            )
            for senders in SENDERS:
                rate = _rate(port, senders)
                met = "aim met" if rate >= AIM else f"below the aim of {AIM}"
                print(f"  {senders:2d} senders at once         {rate:7.0f} /s   {met}")
        finally:
            process.terminate()
            process.wait()
        with Inbox(Path(folder)) as inbox:
            stored = sum(inbox.counts().values())
    assert stored == len(SENDERS) * MESSAGES, stored


def _rate(port: int, senders: int) -> float:
    """Messages acknowledged a second, every one waited for by its sender."""
    counts = [len(range(number, MESSAGES, senders)) for number in range(senders)]
    threads = [
        threading.Thread(target=_send, args=(port, f"{senders}-{number}", count))
        for number, count in enumerate(counts)
    ]
    begun = time.perf_counter()
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return MESSAGES / (time.perf_counter() - begun)


def _send(port: int, name: str, count: int) -> None:
    with socket.create_connection(("127.0.0.1", port)) as sender:
        sender.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        for number in range(count):
            sender.sendall(b"\x0b" + message(f"{name}-{number}") + b"\x1c\r")
            answer = b""
            while not answer.endswith(b"\x1c\r"):
                answer += sender.recv(4096)
            assert b"\rMSA|AA|" in answer, answer


def _writer(folder: Path) -> Callable[[], object]:
    """The floor below which nobody gets: the same bytes appended and synchronised."""
    path = folder / "plain"

    def write() -> None:
        with path.open("ab") as file:
            file.write(message("C"))
            file.flush()
            os.fsync(file.fileno())

    return write


def _median(run: Callable[[], object]) -> float:
    times = []
    for _ in range(60):
        begun = time.perf_counter()
        run()
        times.append((time.perf_counter() - begun) * 1000)
    return statistics.median(times)
