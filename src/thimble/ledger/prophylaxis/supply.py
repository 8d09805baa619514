"""How far tablets reach, and which pack covers which days. Days are those of the site's calendar."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta, tzinfo

from thimble.clinical.durations import Duration, add
from thimble.ledger.prophylaxis.record import GivenDose, Pause, Told

IN_HAND = "Tablets still in hand"
"""What stands for a pack where a course was resumed with tablets that the worker had left."""
_DAY = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class Pack:
    """Tablets that were handed out, and the days that they cover: `first` and `last`, both included.

    `days` is for how many they were; fewer are covered where the medicine was changed, or the course
    stopped, before they were used up. `entry` says so.
    """

    product: str
    days: int
    first: date
    last: date
    entry: int


@dataclass(frozen=True, slots=True)
class Supply:
    """`until` is when the tablets are used up, None where nobody wrote down for how many days they were;
    `uncovered` the days on which there were none before more came, days of a stop left aside."""

    until: datetime | None
    uncovered: int
    packs: tuple[Pack, ...]


class _Counting:
    """The supply while it is counted, one event after the other."""

    def __init__(self, zone: tzinfo) -> None:
        self.zone = zone
        self.until: datetime | None = None
        self.known = True
        self.uncovered = 0
        self.packs: list[Pack] = []

    def more(self, product: str, days: int, at: datetime, entry: int) -> None:
        """Tablets for `days` days; with none written down, how far the whole reaches is not known."""
        self.known = days > 0
        if not days:
            return
        start = at
        if self.until is not None:
            self.uncovered += max(0, (self._date(at) - self._date(self.until)).days)
            start = max(self.until, at)
        self.until = add(start, Duration(days, "days"), self.zone)
        last = self._date(self.until) - _DAY
        self.packs.append(Pack(product, days, self._date(start), last, entry))

    def changed(self, at: datetime) -> None:
        """Another medicine: what was handed out before counts no more."""
        if self.until is not None:
            self.until = min(self.until, at)
        self._cut(self._date(at) - _DAY)

    def paused(self, pause: Pause) -> None:
        """The course stopped and went on: only what the worker still had reaches further."""
        at = pause.resumed.at
        self._cut(min(self._date(pause.stopped.at), self._date(at) - _DAY))
        self.until = None
        if pause.in_hand is None:
            self.known = False
        elif pause.in_hand:
            self.more(IN_HAND, pause.in_hand, at, pause.resumed.entry)
        else:
            self.until, self.known = at, True

    def _cut(self, last: date) -> None:
        cut = (replace(pack, last=min(pack.last, last)) for pack in self.packs)
        self.packs = [pack for pack in cut if pack.first <= pack.last]

    def _date(self, at: datetime) -> date:
        return at.astimezone(self.zone).date()


def supply_of(
    given: Sequence[GivenDose], changes: Sequence[Told], pauses: Sequence[Pause], zone: tzinfo
) -> Supply:
    """How far what was handed out reaches. Missed doses are not added: it is never later than said.

    What was given at the instant of a change or of a resumption belongs to what comes after it.
    """
    # At one instant a change or a resumption comes first, then what was given.
    changed = [(change.at, 0, change.entry) for change in changes]
    resumed = [(pause.resumed.at, 0, pause.resumed.entry) for pause in pauses]
    handed = [(supply.at, 1, supply.entry) for supply in given]
    by_entry = {pause.resumed.entry: pause for pause in pauses}
    packs = {supply.entry: supply for supply in given}
    counting = _Counting(zone)
    for at, _, entry in sorted((*changed, *resumed, *handed)):
        if entry in packs:
            counting.more(packs[entry].product, packs[entry].days, at, entry)
        elif entry in by_entry:
            counting.paused(by_entry[entry])
        else:
            counting.changed(at)
    until = counting.until if given and counting.known else None
    return Supply(until, counting.uncovered, tuple(counting.packs))
