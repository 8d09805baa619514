"""`thimble ledger verify`: are the ledgers of cases and of people whole?"""

from __future__ import annotations

import argparse
import re
from pathlib import Path
from typing import TYPE_CHECKING, Any

from thimble.commands import Commands, NotUnderstood, group
from thimble.commands.serve import open_data

if TYPE_CHECKING:
    from thimble.web.store import DjangoStore


def add_to(commands: Commands) -> None:
    """Add `thimble ledger verify` to the command line."""
    verify = group(commands, "ledger", "look after the ledger").add_parser(
        "verify", help="find an entry that was changed, taken out or moved, of cases and of people"
    )
    verify.add_argument("--data", type=Path, default=Path("data/demo"), help="the data folder")
    verify.add_argument(
        "--anchor",
        metavar="NUMBER:DIGEST",
        help="an entry's number and digest (or its first 16 digits or more) as a printed document "
        "shows them: then entries missing from the end are found too",
    )
    verify.set_defaults(run=verify_ledger)


def verify_ledger(options: argparse.Namespace) -> int:
    """Status 1 if a ledger has a fault; each is one line that names the entry.

    Documents show entries of cases, so an anchor is one of theirs.
    """
    anchor = _anchor(options.anchor) if options.anchor else None
    open_data(options.data, existing=True)
    return _verify(options.data, anchor)


def verify_all(data: Path) -> int:
    """The nightly job: as `thimble ledger verify`, without an anchor."""
    return _verify(data, None)


def _verify(data: Path, anchor: tuple[int, str] | None) -> int:
    from django.db import DatabaseError

    from thimble.ledger.store import CASES
    from thimble.people.bodies import PEOPLE
    from thimble.web.store import DjangoStore

    try:
        whole = _verified(DjangoStore(book=PEOPLE), None)
        return 0 if _verified(DjangoStore(book=CASES), anchor) and whole else 1
    except DatabaseError as error:
        print(f"{data / 'thimble.sqlite3'}: cannot be read as a ledger: {error}")
        return 1


def _verified(store: DjangoStore[Any], anchor: tuple[int, str] | None) -> bool:
    """Whether a ledger is whole; says so, or what is wrong with it."""
    from thimble.ledger.verify import verify
    from thimble.web.store import UnreadableEntry

    book = store.book
    try:
        entries = list(store.all_entries())
    except UnreadableEntry as error:
        print(f"{error}; the check ends there")
        return False
    faults = verify(entries, anchor, subject=book.subject)
    for fault in faults:
        print(fault)
    if not faults and not entries:
        print(f"The ledger of {book.name} is empty.")
    elif not faults:
        last = entries[-1]
        print(f"{book.name}: {last.number} entries, whole; the last is {last.number}:{last.digest}")
    return not faults


def _anchor(text: str) -> tuple[int, str]:
    match = re.fullmatch(r"(\d+):([0-9a-f]{16,64})", text.strip().lower())
    if match is None:
        raise NotUnderstood(
            f"--anchor: write NUMBER:DIGEST as printed, for example 42:9f86d081884c7d65; "
            f"found {text!r}."
        )
    return int(match[1]), match[2]
