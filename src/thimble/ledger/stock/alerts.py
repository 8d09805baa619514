"""What somebody should do about stock before it is missed: reorder, use up, count, take away."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from enum import IntEnum

from thimble.clinical.stocked import Stocked
from thimble.ledger.stock.shelf import Shelf


class Sort(IntEnum):
    """What an alert is about, what presses most first."""

    NONE_LEFT = 0
    RECALLED = 1
    COUNT = 2
    EXPIRED = 3
    LOW = 4
    EXPIRES_SOON = 5


@dataclass(frozen=True, slots=True)
class Alert:
    """One thing to do about stock. `last` is the last usable day, where it is about one lot."""

    sort: Sort
    place: str
    product: str
    lot: str = ""
    there: int = 0
    minimum: int = 0
    last: date | None = None

    @property
    def key(self) -> str:
        """What makes it the same alert on another day: what it is about, not how many are there."""
        return ":".join((self.sort.name.lower(), self.place, self.product, self.lot))


def alerts(shelf: Shelf, stocked: Stocked, today: date) -> list[Alert]:
    """Everything to do about stock today.

    Below its minimum is low; a minimum of 0 says that the product need not be there. A lot that
    expires within the product's lead time is told, the last day of the lead time included; a lot
    that is used up is not.
    """
    found: list[Alert] = []
    for (place, product), minimum in shelf.levels.items():
        usable = shelf.usable(place, product, today)
        if minimum and usable < minimum:
            sort = Sort.LOW if usable else Sort.NONE_LEFT
            found.append(Alert(sort, place, product, there=usable, minimum=minimum))
    for pile in shelf.piles.values():
        kept = stocked.product(pile.product)
        last = shelf.expires(pile.product, pile.lot)
        said: Sort | None = None
        if pile.to_count:
            said = Sort.COUNT
        elif not pile.there:
            continue
        elif (pile.product, pile.lot) in shelf.recalled:
            said = Sort.RECALLED
        elif shelf.expired(pile.product, pile.lot, today):
            said = Sort.EXPIRED
        elif (
            last is not None
            and kept is not None
            and last - today <= timedelta(days=kept.expiry_lead)
        ):
            said = Sort.EXPIRES_SOON
        if said is not None:
            found.append(
                Alert(said, pile.place, pile.product, pile.lot, there=pile.there, last=last)
            )
    return sorted(found, key=lambda a: (a.sort, a.last or date.max, a.place, a.product, a.lot))
