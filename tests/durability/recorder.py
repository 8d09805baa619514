"""Records what waits in the inbox and dies where it is told to. Run by `test_kill_recording.py`.

`recorder.py FOLDER build` makes a hospital with two cases for each message, and the messages.
`recorder.py FOLDER MOMENT` records them and kills itself at that moment; `never` comes to its end.
"""

from __future__ import annotations

import os
import signal
import sys
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from thimble.commands.serve import migrate, open_data
from thimble.demo.hospital import SITE
from thimble.exchange.hl7v2.message import read_bytes
from thimble.exchange.inbox import Inbox
from thimble.exchange.receiving import Receiver
from thimble.exchange.recording import Recorder

MESSAGES = 40
ORDER = (
    "OBR|1|R-{n}-{part}|F-{n}-{part}|24110-9^panel^LN|||{at}|||||||||||||||{at}|||F\r"
    "OBX|1|CE|5195-3^HBsAg^LN||260385009^Negative^SCT||||||F\r"
    "SPM|1|S-{n}-{part}||119297000^Blood^SCT\r"
)


def build(folder: Path) -> None:
    """Cases whose samples are taken, and messages that are acknowledged and not recorded."""
    from thimble import actions
    from thimble.clinical.vocabulary import VOCABULARY
    from thimble.web.context import get_store

    now = datetime.now(UTC) - timedelta(hours=1)
    store = get_store()
    with store.transaction():
        for number in range(MESSAGES):
            for part in (0, 1):
                case = actions.report(
                    store, facts={"route": "percutaneous", "fluid": "blood"},
                    occurred_at=now - timedelta(hours=1), occurred_at_precision="minute",
                    vocabulary=VOCABULARY, now=now,
                ).case  # fmt: skip
                actions.sample_source(
                    store, case, action="source_hbsag_test", now=now,
                    specimen=f"S-{number}-{part}", by="u-test", role="emergency_clinician",
                )  # fmt: skip
    at = (now + timedelta(minutes=20)).strftime("%Y%m%d%H%M%S+0000")
    with Inbox(folder) as inbox:
        receiver = Receiver(inbox, control_id=lambda: "ANSWER")
        for number in range(MESSAGES):
            head = (
                rf"MSH|^~\&|LIS|INVENTED LAB|THIMBLE|INVENTED|{at}||ORU^R01^ORU_R01|M{number}|P|2.5.1"
                "\rPID|1||M-1^^^INVENTED^MR\r"
            )
            orders = (ORDER.format(n=number, part=part, at=at) for part in (0, 1))
            (answer,) = receiver.take(
                (head + "".join(orders)).encode(), datetime.now(UTC), ""
            ).answers
            assert b"\rMSA|AA|" in answer


def record(folder: Path, moment: str) -> None:
    """Record all in one write, and die at the moment."""
    from thimble.web import clock
    from thimble.web.context import get_identities, get_protocol, get_site, get_store
    from thimble.web.laboratory import processing
    from thimble.web.laboratory.register import get_register

    store = get_store()
    insert, taken = store._insert, processing.LedgerProcessor._taken
    seen: list[Any] = []

    def one(self: processing.LedgerProcessor, *args: Any) -> Any:
        seen.append(args)
        if len(seen) == MESSAGES // 2:
            die()
        return taken(self, *args)

    def half(entries: Sequence[Any]) -> None:
        insert(entries[: len(entries) // 2])
        die()

    if moment == "while the messages are read":
        processing.LedgerProcessor._taken = one  # type: ignore[method-assign]
    elif moment == "in the middle of the write":
        store._insert = half  # type: ignore[method-assign]
    elif moment == "between the ledger and the inbox":
        Inbox.settle_new = lambda *_: die()  # type: ignore[method-assign]
    with Inbox(folder) as inbox:
        processor = processing.LedgerProcessor(
            inbox, store, get_identities(), get_protocol(), get_site(), clock.now, get_register()
        )
        Recorder(inbox, processor, read=read_bytes).catch_up()


def die() -> None:
    os.kill(os.getpid(), signal.SIGKILL)


if __name__ == "__main__":
    place, what = Path(sys.argv[1]), sys.argv[2]
    (place / "site.toml").write_text(
        SITE.format(base_url="https://thimble.example"), encoding="utf-8"
    )
    open_data(place)
    if what == "build":
        migrate()
        build(place)
    else:
        record(place, what)
