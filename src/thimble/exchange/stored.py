"""What is kept of one message: as it arrived, what became of it, and as it is read again."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum


class State(StrEnum):
    """Where a message stands."""

    NEW = "new"  # stored, not looked at
    MATCHED = "matched"  # what it says is in the ledger
    HELD = "held"  # a person has to look
    REFUSED = "refused"  # not taken, and the sender was told
    DUPLICATE = "duplicate"  # said again what was known


@dataclass(frozen=True, slots=True)
class Arrival:
    """A message to be stored: its bytes, what is known of it and the answers if it is new."""

    sender: str
    control_id: str
    raw: bytes
    received_at: datetime
    state: State
    reason: str
    answers: tuple[bytes, ...]

    @property
    def digest(self) -> str:
        return digest_of(self.raw)


@dataclass(frozen=True, slots=True)
class Stored:
    """What became of an arrival.

    Attributes:
        answers: those of the first time, where the same bytes came before.
        fresh: False where the same bytes came before: nothing new was stored.
        reused: the sender gave this control id to other bytes before.
    """

    id: int
    answers: tuple[bytes, ...]
    fresh: bool
    reused: bool


@dataclass(frozen=True, slots=True)
class Settled:
    """What became of the message with this id; `reason` as in `Inbox.settle`."""

    id: int
    state: State
    reason: str = ""


@dataclass(frozen=True, slots=True)
class Received:
    """One stored message.

    Attributes:
        raw: as it came; without the people in it from `erased_at` on.
        digest: of the bytes as they came: by it the ledger's entries name the message.
    """

    id: int
    sender: str
    control_id: str
    raw: bytes
    received_at: datetime
    state: State
    reason: str
    reused: bool
    digest: str
    erased_at: datetime | None = None


def digest_of(raw: bytes) -> str:
    """By which the ledger's entries name a message: SHA-256 of its bytes as they came."""
    return hashlib.sha256(raw).hexdigest()


COLUMNS = "id, sender, control_id, raw, received_at, state, reason, reused, digest, erased_at"
"""The columns of the inbox that `received_of` takes."""


def received_of(row: tuple[int, str, str, bytes, str, str, str, int, str, str]) -> Received:
    """A message from a row of `COLUMNS`."""
    number, sender, control_id, raw, at, state, reason, reused, digest, erased_at = row
    return Received(
        number,
        sender,
        control_id,
        raw,
        datetime.fromisoformat(at),
        State(state),
        reason,
        bool(reused),
        digest,
        datetime.fromisoformat(erased_at) if erased_at else None,
    )
