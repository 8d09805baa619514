"""A case read once: its entries, what they mean and what follows."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from thimble.clinical.site import Site
from thimble.ledger.assess import assess
from thimble.ledger.entries import Entry
from thimble.ledger.fold import fold
from thimble.ledger.plan import Plan
from thimble.ledger.situation import Situation
from thimble.protocol.protocol import Protocol


@dataclass(frozen=True, slots=True)
class Reading:
    """A case read once: its entries, what they mean and what follows, at a moment."""

    case: str
    entries: tuple[Entry, ...]
    situation: Situation
    plan: Plan

    @classmethod
    def of(
        cls, case: str, entries: Sequence[Entry], protocol: Protocol, site: Site, now: datetime
    ) -> Reading:
        """Fold and assess.

        Raises:
            ValueError: there is no entry by `now`.
        """
        situation = fold(entries, now, protocol.vocabulary)
        return cls(case, tuple(entries), situation, assess(situation, protocol, now, site))

    @property
    def position(self) -> int:
        """The position that a form carries: up to where its reader has seen."""
        return self.entries[-1].position

    def plan_at(self, position: int, protocol: Protocol, site: Site) -> Plan | None:
        """The plan at this moment without the entries after `position`; None before the first."""
        known = [entry for entry in self.entries if entry.position <= position]
        if not known:
            return None
        now = self.plan.now
        return assess(fold(known, now, protocol.vocabulary), protocol, now, site)


def actions_in_words(plan: Plan, protocol: Protocol) -> dict[str, str]:
    """The words for action and decision ids."""
    words = {name: output.label for name, output in protocol.outputs.items() if output.label}
    return {**words, **plan.words, **{action.id: action.what for action in plan.actions}}
