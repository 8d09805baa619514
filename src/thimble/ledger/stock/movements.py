"""What can happen to a lot: it is received, given, put back, moved, discarded, counted, recalled.

Movements are never changed or deleted. A wrong one is set right by counting what is there, or by a
label that states the expiry anew.
"""

from __future__ import annotations

import re
from calendar import monthrange
from collections.abc import Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass, replace
from datetime import date, datetime
from enum import StrEnum
from typing import Any, Protocol

LARGEST = 100_000
"""More units than any cupboard holds: a number beyond it is a slip of the hand."""

_GTIN = re.compile(r"[0-9]{14}", re.A)
_EXPIRY = re.compile(r"(\d{4})-(\d{2})(?:-(\d{2}))?", re.A)
LONGEST_LOT, LONGEST_REASON = 60, 500


class Move(StrEnum):
    """What a movement says."""

    RECEIVED = "received"
    GIVEN = "given"
    PUT_BACK = "put_back"
    MOVED = "moved"
    DISCARDED = "discarded"
    COUNTED = "counted"
    LABELLED = "labelled"
    RECALLED = "recalled"
    CLEARED = "cleared"
    LEVEL = "level"


WORDS = {
    Move.RECEIVED: "Received",
    Move.GIVEN: "Given",
    Move.PUT_BACK: "Put back",
    Move.MOVED: "Moved",
    Move.DISCARDED: "Discarded",
    Move.COUNTED: "Counted",
    Move.LABELLED: "Expiry set right",
    Move.RECALLED: "Recalled",
    Move.CLEARED: "Recall lifted",
    Move.LEVEL: "Minimum set",
}


@dataclass(frozen=True, slots=True)
class Movement:
    """One movement.

    Attributes:
        number: its place in the order of all movements, from 1; 0 while it is not stored.
        place, product: ids of the site's settings; `place` is "" for what concerns a lot everywhere.
        lot: as it stands on the box, in capitals; "" for a level.
        quantity: units that moved; for `counted` what was found there, for `level` the minimum.
        expires: the last day on which the lot may be used, where the movement states it.
        to_place: where a moved lot went.
        case: the reference of the case, or of the person's file, that says that it was given.
        entry: the position of that entry.
        gtin: the product number of the package, where it was scanned; 14 digits.
        by: the pseudonymous account.
    """

    move: Move
    product: str
    place: str = ""
    lot: str = ""
    quantity: int = 0
    expires: date | None = None
    to_place: str = ""
    case: str = ""
    entry: int = 0
    reason: str = ""
    by: str = ""
    at: datetime | None = None
    number: int = 0
    gtin: str = ""


class StockStore(Protocol):
    """Where movements are kept. Only `actions` calls `append`."""

    def movements(self) -> list[Movement]:
        """Every movement, in order."""

    def append(
        self, drafts: Sequence[Movement], *, by: str, now: datetime, token: str = ""
    ) -> list[Movement]:
        """Add movements, all or none. Movements sent again with one token are those of before."""

    def transaction(self) -> AbstractContextManager[Any]:
        """One transaction, shared with the ledger where both are in one database."""


def lot_of(typed: str) -> str:
    """A lot as it is compared: capitals, single spaces."""
    return " ".join(typed.upper().split())


def read_expiry(typed: str) -> date:
    """The last usable day that a label states: a day, or a month, which means its last day.

    Raises:
        ValueError: a sentence.

    >>> read_expiry("2028-02"), read_expiry("2027-02-14")
    (datetime.date(2028, 2, 29), datetime.date(2027, 2, 14))
    """
    found = _EXPIRY.fullmatch(typed.strip())
    if found is not None:
        year, month = int(found[1]), int(found[2])
        try:
            return date(year, month, int(found[3]) if found[3] else monthrange(year, month)[1])
        except ValueError:
            pass  # no such month or day: the sentence below says what is understood
    raise ValueError(
        f"The expiry is a month such as 2027-11, meaning its last day, or a day such as 2027-11-30; "
        f"found {typed!r}"
    )


def faults_in(movement: Movement) -> list[str]:
    """Why a movement cannot be: whole sentences; none if it can."""
    faults = []
    low = 0 if movement.move in _MAY_BE_NONE else 1
    if not low <= movement.quantity <= LARGEST:
        faults.append(f"The number is whole, from {low} to {LARGEST}; found {movement.quantity}.")
    if movement.move is not Move.LEVEL and not movement.lot:
        faults.append("Enter the lot as it stands on the box.")
    if len(movement.lot) > LONGEST_LOT:
        faults.append(f"A lot has at most {LONGEST_LOT} characters.")
    if len(movement.reason) > LONGEST_REASON:
        faults.append(f"A reason has at most {LONGEST_REASON} characters.")
    if movement.move not in _EVERYWHERE and not movement.place:
        faults.append("Say at which place.")
    if movement.move is Move.MOVED and movement.to_place in ("", movement.place):
        faults.append("Say to which other place it goes.")
    if movement.move in (Move.RECEIVED, Move.LABELLED) and movement.expires is None:
        faults.append("Enter the expiry: a month such as 2027-11, or a day.")
    if movement.move in _NEEDS_REASON and not movement.reason.strip():
        faults.append("Say why.")
    if movement.move in (Move.GIVEN, Move.PUT_BACK) and not movement.case:
        faults.append("A unit is given to a case or a person: the reference is missing.")
    if movement.gtin and _GTIN.fullmatch(movement.gtin) is None:
        faults.append("The number of a package (GTIN) has 14 digits.")
    return faults


_EVERYWHERE = frozenset({Move.RECALLED, Move.CLEARED, Move.LABELLED})
_MAY_BE_NONE = frozenset({*_EVERYWHERE, Move.COUNTED, Move.LEVEL})
_NEEDS_REASON = frozenset({Move.DISCARDED, Move.RECALLED, Move.CLEARED})


def stored(draft: Movement, number: int, *, by: str, now: datetime) -> Movement:
    """A draft as every store keeps it."""
    return replace(draft, number=number, by=by, at=now)
