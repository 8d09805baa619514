"""What every part of the closing statement is told from."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import tzinfo

from thimble.documents.record import Record
from thimble.ledger.plan import Plan
from thimble.ledger.situation import Situation
from thimble.protocol.protocol import Protocol


@dataclass(frozen=True)
class Telling:
    """What every part of the sheet is told from."""

    plan: Plan
    situation: Situation
    protocol: Protocol
    zone: tzinfo
    record: Record
