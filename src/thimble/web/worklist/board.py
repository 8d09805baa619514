"""The present of every case, kept in memory and brought up to date by what is new in the ledger.

A list of every case would fold and assess all of them for each page. The board keeps, for each case,
its entries, the situation folded from them and the plan with the instant until which it holds. One
query asks for entries after the last one seen; only cases with news are folded anew, only plans whose
time is up are assessed anew (`Tail` says why that is safe).

Nothing of it is stored, and nothing needs it: each process has its own, filled from the ledger.
"""

from __future__ import annotations

import threading
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from functools import cache

from thimble.clinical.site import Site
from thimble.ledger.assess import assess
from thimble.ledger.entries import Entry, Kind
from thimble.ledger.fold import fold
from thimble.ledger.plan import Action, Plan
from thimble.ledger.pressing import Limits, limits_of, to_do
from thimble.ledger.situation import Situation
from thimble.protocol import Protocol
from thimble.web.context import get_protocol, get_site, get_store
from thimble.web.tail import Since, Tail
from thimble.web.worklist.validity import valid_until


@dataclass(frozen=True, slots=True)
class Standing:
    """One case as it stands: its entries by position, what is known, what follows."""

    case: str
    entries: tuple[Entry, ...]
    situation: Situation
    plan: Plan
    to_do: tuple[Action, ...]
    limits: tuple[Limits, ...] | None = None

    @property
    def position(self) -> int:
        return self.entries[-1].position

    @property
    def open(self) -> bool:
        return self.situation.closed_at is None


@dataclass(slots=True)
class _Kept:
    """What the board keeps of one case."""

    entries: list[Entry]
    situation: Situation | None = None
    plan: Plan | None = None
    to_do: tuple[Action, ...] = ()
    limits: tuple[Limits, ...] = ()
    rules: str = ""
    until: datetime | None = None


class Board:
    """The standing of every case. Safe between threads."""

    def __init__(self, since: Since[Kind]) -> None:
        self._tail = Tail(since)
        self._lock = threading.Lock()
        self._cases: dict[str, _Kept] = {}

    def standings(self, protocol: Protocol, site: Site, now: datetime) -> list[Standing]:
        """Every case that was reported by `now`, in order of its first entry."""
        with self._lock:
            self._read()
            return list(self._all(protocol, site, now))

    def _read(self) -> None:
        another, news = self._tail.read()
        if another:
            self._cases.clear()
        for entry in news:
            kept = self._cases.setdefault(entry.case, _Kept([]))
            kept.entries.append(entry)
            kept.situation = kept.plan = None

    def _all(self, protocol: Protocol, site: Site, now: datetime) -> Iterator[Standing]:
        for case, kept in self._cases.items():
            if kept.entries[-1].recorded_at > now:
                # Asked about a moment in the past: answered, not kept.
                known = [entry for entry in kept.entries if entry.recorded_at <= now]
                if known:
                    past = fold(known, now, protocol.vocabulary)
                    plan = assess(past, protocol, now, site)
                    yield Standing(case, tuple(known), past, plan, to_do(plan))
                continue
            situation, plan = self._present(kept, protocol, site, now)
            yield Standing(case, tuple(kept.entries), situation, plan, kept.to_do, kept.limits)

    def _present(
        self, kept: _Kept, protocol: Protocol, site: Site, now: datetime
    ) -> tuple[Situation, Plan]:
        # Facts are read through the protocol's vocabulary, days and months in the site's zone.
        rules = f"{protocol.digest} {site.zone}"
        if kept.situation is None or kept.rules != rules:
            kept.situation = fold(kept.entries, now, protocol.vocabulary)
            kept.plan, kept.rules = None, rules
        plan, until = kept.plan, kept.until
        if plan is not None and until is not None and plan.now <= now < until:
            return kept.situation, plan
        plan = assess(replace(kept.situation, as_of=now), protocol, now, site)
        kept.plan, kept.to_do = plan, to_do(plan)
        kept.limits = tuple(map(limits_of, kept.to_do))
        kept.until = valid_until(kept.situation, plan, protocol, site.zone)
        return kept.situation, plan


def _since(number: int) -> list[Entry]:
    return list(get_store().since(number))


@cache
def board() -> Board:
    """The board of this process, over the ledger in the database."""
    return Board(_since)


def standings(now: datetime) -> list[Standing]:
    """Every case under the site's protocol."""
    return board().standings(get_protocol(), get_site(), now.astimezone(UTC))
