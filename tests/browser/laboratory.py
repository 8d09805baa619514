"""The laboratory's system: sends results over MLLP, as HL7 v2 has them, and reads the answer.

Nobody in these messages exists. The answer is read by hl7apy, which is not what the product reads with.
"""

from __future__ import annotations

import itertools
import re
import socket
import sqlite3
import time
from collections.abc import Iterator, Mapping
from contextlib import closing, contextmanager
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from hl7apy.parser import parse_message

from browser.conftest import running

SERVER = Path(__file__).with_name("listen_server.py")
TESTS: Mapping[str, str] = {
    "hiv_ag_ab": "56888-1^HIV 1+2 Ab+HIV1 p24 Ag [Presence]^LN",
    "hiv_rna": "20447-9^HIV 1 RNA [#/volume]^LN",
    "hbsag": "5195-3^Hepatitis B virus surface Ag [Presence]^LN",
    "anti_hbc_total": "13952-7^Hepatitis B virus core Ab [Presence]^LN",
    "anti_hbs": "5193-8^Hepatitis B virus surface Ab^LN",
    "anti_hcv": "13955-0^Hepatitis C virus Ab [Presence]^LN",
    "hcv_rna": "11259-9^Hepatitis C virus RNA [Presence]^LN",
    "alt": "1742-6^Alanine aminotransferase [Enzymatic activity/volume]^LN",
}
"""LOINC codes, from loinc.org."""
RANGES: Mapping[str, str] = {"alt": "0-45"}
"""Reference ranges of an invented laboratory."""


@dataclass
class Laboratory:
    """A sender with a running listener at the other end."""

    port: int
    numbers: Iterator[int]
    folder: Path

    def report(
        self, specimen: str, results: Mapping[str, str], *, taken: datetime, now: datetime,
        status: str = "F",
    ) -> str:  # fmt: skip
        """Send results of one specimen and wait until they were looked at; returns the acknowledgement
        code (MSA-1)."""
        number = next(self.numbers)
        rows = [
            _row(index, TESTS[test], value, status, RANGES.get(test, ""))
            for index, (test, value) in enumerate(results.items(), start=1)
        ]
        segments = [
            rf"MSH|^~\&|LIS|INVENTED LAB|THIMBLE|HOSPITAL|{_stamp(now)}||ORU^R01^ORU_R01|M{number}|P|2.5.1",
            "PID|1||M-1^^^INVENTED^MR||Invented^Person",
            f"OBR|1||L-{specimen}|VIRO^Virology^L|||{_stamp(taken)}"
            f"|||||||||||||||{_stamp(now)}|||{status}",
            *rows,
            f"SPM|1|{specimen}||119297000^Blood specimen^SCT|||||||||||||{_stamp(taken)}",
        ]
        message = "".join(f"{segment}\r" for segment in segments).encode()
        with closing(socket.create_connection(("127.0.0.1", self.port), timeout=30)) as line:
            line.sendall(b"\x0b" + message + b"\x1c\r")
            answer = b""
            while not answer.endswith(b"\x1c\r"):
                part = line.recv(65536)
                assert part, "the listener hung up"
                answer += part
        acknowledged = parse_message(answer[1:-2].decode(), find_groups=False)
        assert acknowledged.msa.msa_2.value == f"M{number}"
        self._wait_until_looked_at()
        return str(acknowledged.msa.msa_1.value)

    def _wait_until_looked_at(self) -> None:
        end = time.monotonic() + 30
        with closing(sqlite3.connect(self.folder / "inbox.sqlite3", timeout=30)) as inbox:
            while inbox.execute("SELECT 1 FROM received WHERE state = 'new'").fetchone():
                assert time.monotonic() < end, "the message was not looked at"
                time.sleep(0.01)


def _row(index: int, test: str, value: str, status: str, range_: str) -> str:
    number, _, unit = value.partition(" ")
    if re.fullmatch(r"\d+(\.\d+)?", number):
        return f"OBX|{index}|NM|{test}||{number}|{unit}|{range_}||||{status}"
    return f"OBX|{index}|ST|{test}||{value}||||||{status}"


def _stamp(at: datetime) -> str:
    return at.strftime("%Y%m%d%H%M%S%z")


@contextmanager
def open_laboratory(folder: Path) -> Iterator[Laboratory]:
    """A listener for the hospital in a folder, and a sender that speaks to it."""
    log = folder / "listen.log"
    with running([str(SERVER), str(folder), "0"], log) as listener:
        found: list[str] = []

        def ready() -> bool:
            found[:] = re.findall(r":(\d+) \(MLLP\)", listener.told())
            return bool(found)

        listener.until(ready)
        yield Laboratory(int(found[0]), itertools.count(1), folder)
