"""Where every story plays, and one case of it at one moment."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any

from thimble.actions import IdentityStore, MemoryStock
from thimble.clinical.site import Site
from thimble.ledger.assess import assess
from thimble.ledger.fold import fold
from thimble.ledger.plan import Plan
from thimble.ledger.situation import Situation
from thimble.ledger.stock.movements import StockStore
from thimble.ledger.store import LedgerStore
from thimble.protocol import Protocol


@dataclass(frozen=True, slots=True)
class Stage:
    """The stores, the rules, and the account of each sign-in name."""

    store: LedgerStore
    identities: IdentityStore
    protocol: Protocol
    site: Site
    accounts: Mapping[str, tuple[str, str]]
    stock: StockStore = field(default_factory=MemoryStock)


@dataclass
class Moment:
    """One case at a moment of its story. `now` moves; `who` names the demo account that acts."""

    stage: Stage
    occurred_at: datetime
    now: datetime
    case: str = ""
    who: str = "night"
    doses: dict[str, str] = field(default_factory=dict)

    @property
    def by(self) -> str:
        return self.stage.accounts[self.who][0]

    @property
    def role(self) -> str:
        return self.stage.accounts[self.who][1]

    @property
    def told(self) -> dict[str, Any]:
        """When, by whom and in which role something is recorded."""
        return {"now": self.now, "by": self.by, "role": self.role}

    @property
    def today(self) -> date:
        return self.now.astimezone(self.stage.site.zone).date()

    def situation(self) -> Situation:
        stage = self.stage
        return fold(stage.store.entries(self.case), self.now, stage.protocol.vocabulary)

    def plan(self) -> Plan:
        stage = self.stage
        return assess(self.situation(), stage.protocol, self.now, stage.site)
