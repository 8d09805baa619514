"""Appends without end from several processes, until they are killed. Run by `test_kill.py`.

For each line on standard input a new set of writers is forked and their process ids are printed. A
writer notes each digest in a file of its own, once `append` has returned: that is what it was promised.
"""

from __future__ import annotations

import os
import random
import sys
from datetime import UTC, datetime
from pathlib import Path

from thimble.commands.serve import migrate, open_data


def main(folder: Path, writers: int) -> None:
    open_data(folder)
    migrate()
    from django.db import connection, connections

    with connection.cursor() as cursor:
        cursor.execute("PRAGMA journal_mode")
        mode = cursor.fetchone()[0]
        cursor.execute("PRAGMA synchronous")
        print(mode, cursor.fetchone()[0], flush=True)
    connections.close_all()  # a connection is not to be shared with a child
    for _ in sys.stdin:
        children = []
        for writer in range(writers):
            child = os.fork()
            if child == 0:
                _append_for_ever(folder, writer)
            children.append(child)
        print(*children, flush=True)
        for child in children:
            os.waitpid(child, 0)
        print("ended", flush=True)


def _append_for_ever(folder: Path, writer: int) -> None:
    from thimble.ledger.entries import Draft, Kind
    from thimble.web.store import DjangoStore

    store = DjangoStore()
    promised = os.open(folder / f"promised-{writer}", os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o600)
    while True:
        now = datetime.now(UTC)
        drafts = [
            Draft(Kind.NOTED, now, {"text": "x" * random.randrange(1, 300)})
            for _ in range(random.randrange(1, 5))
        ]
        case = f"CASE-{random.randrange(5)}"
        entries = store.append(case, drafts, expected_position=None, by="u-test", role="r", now=now)
        os.write(promised, "".join(f"{entry.digest}\n" for entry in entries).encode())


if __name__ == "__main__":
    main(Path(sys.argv[1]), int(sys.argv[2]))
