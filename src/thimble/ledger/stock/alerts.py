"""What somebody should do about stock before it is missed: reorder, use up, count, take away."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from enum import IntEnum

from thimble.clinical.stocked import Stocked
from thimble.ledger.stock.shelf import Pile, Shelf
from thimble.ledger.stock.wanted import Wanted, outlook


class Sort(IntEnum):
    """What an alert is about, what presses most first."""

    NONE_LEFT = 0
    RECALLED = 1
    NOT_RECEIVED = 2
    COUNT = 3
    EXPIRED = 4
    SHORT = 5
    LOW = 6
    EXPIRES_SOON = 7


@dataclass(frozen=True, slots=True)
class Alert:
    """One thing to do about stock.

    `last` is the last usable day, where it is about one lot; of `SHORT` the first day that lacks a unit.
    `wanted` is how many units of it the days to come ask for.
    """

    sort: Sort
    place: str
    product: str
    lot: str = ""
    there: int = 0
    minimum: int = 0
    last: date | None = None
    wanted: int = 0

    @property
    def key(self) -> str:
        """What makes it the same alert on another day: what it is about, not how many are there."""
        return ":".join((self.sort.name.lower(), self.place, self.product, self.lot))


def alerts(
    shelf: Shelf, stocked: Stocked, today: date, wanted: Iterable[Wanted] = ()
) -> list[Alert]:
    """Everything to do about stock today.

    Below its minimum is low; a minimum of 0 says that the product need not be there. What is `wanted` on
    the days to come and cannot be given on them is short, whatever the minimum. A lot that expires within
    the product's lead time is told, the last day of the lead time included; a lot that is used up is not.
    """
    ahead = outlook(shelf, wanted)
    found: list[Alert] = []
    for (place, product), minimum in shelf.levels.items():
        usable = shelf.usable(place, product, today)
        if minimum and usable < minimum:
            sort = Sort.LOW if usable else Sort.NONE_LEFT
            found.append(Alert(sort, place, product, there=usable, minimum=minimum))
    found += [
        Alert(
            Sort.SHORT,
            each.place,
            each.product,
            there=each.covered,
            last=each.short_from,
            wanted=each.wanted,
        )
        for each in ahead.covers.values()
        if each.short_from is not None
    ]
    for pile in shelf.piles.values():
        said = _about(pile, shelf, stocked, today)
        if said is not None:
            lot = (pile.place, pile.product, pile.lot)
            last = shelf.expires(pile.product, pile.lot)
            taken = ahead.taken.get(lot, 0)
            found.append(Alert(said, *lot, there=pile.there, last=last, wanted=taken))
    return sorted(found, key=lambda a: (a.sort, a.last or date.max, a.place, a.product, a.lot))


def _about(pile: Pile, shelf: Shelf, stocked: Stocked, today: date) -> Sort | None:
    """What is to be done about one lot at one place, if anything."""
    kept = stocked.product(pile.product)
    last = shelf.expires(pile.product, pile.lot)
    if pile.never_came:
        return Sort.NOT_RECEIVED
    if pile.to_count:
        return Sort.COUNT
    if not pile.there:
        return None
    if (pile.product, pile.lot) in shelf.recalled:
        return Sort.RECALLED
    if shelf.expired(pile.product, pile.lot, today):
        return Sort.EXPIRED
    if last is None or kept is None:
        return None
    return Sort.EXPIRES_SOON if last - today <= timedelta(days=kept.expiry_lead) else None
