"""What is there now: a pure function of the movements.

For every lot: received = there + given + discarded + missing. `missing` is what counting found less
than expected (below 0: more). What is there may come out below 0: more was taken than was ever put
in, so something was not written down. That is never hidden; it asks for a count.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date

from thimble.ledger.stock.movements import Move, Movement

Lot = tuple[str, str]
"""A product's id and a lot."""


@dataclass(slots=True)
class Pile:
    """One lot at one place, in units."""

    place: str
    product: str
    lot: str
    there: int = 0
    received: int = 0
    moved_in: int = 0
    moved_out: int = 0
    given: int = 0
    discarded: int = 0
    missing: int = 0
    last: Movement | None = None

    @property
    def to_count(self) -> bool:
        """Whether the record cannot be right: more left than came."""
        return self.there < 0

    @property
    def never_came(self) -> bool:
        """Whether some were given and nobody ever put, or found, any of the lot at this place."""
        other = (self.received, self.moved_in, self.moved_out, self.discarded, self.missing)
        return self.to_count and not any(other)


@dataclass(frozen=True, slots=True)
class Shelf:
    """Everything that is there.

    Attributes:
        piles: by place, product and lot, in the order in which they first appeared.
        expiry: the last usable day of each lot, as last stated; None where nobody stated it.
        recalled: lots that are recalled, with the reason.
        levels: the minimum by place and product.
        gtins: the numbers on the packages of each lot that were scanned.
    """

    piles: Mapping[tuple[str, str, str], Pile] = field(default_factory=dict)
    expiry: Mapping[Lot, date | None] = field(default_factory=dict)
    recalled: Mapping[Lot, str] = field(default_factory=dict)
    levels: Mapping[tuple[str, str], int] = field(default_factory=dict)
    gtins: Mapping[Lot, frozenset[str]] = field(default_factory=dict)

    def expires(self, product: str, lot: str) -> date | None:
        """The last usable day of a lot, None where nobody stated it."""
        return self.expiry.get((product, lot))

    def expired(self, product: str, lot: str, today: date) -> bool:
        """Whether the last usable day has passed; on that day itself it may be used."""
        last = self.expires(product, lot)
        return last is not None and today > last

    def usable(self, place: str, product: str, today: date) -> int:
        """Units of a product at a place that may be given today. Below 0 counts as none."""
        return sum(
            max(0, pile.there)
            for pile in self.piles.values()
            if (pile.place, pile.product) == (place, product)
            and (product, pile.lot) not in self.recalled
            and not self.expired(product, pile.lot, today)
        )

    def offers(self, place: str, products: Iterable[str], today: date) -> list[Pile]:
        """The lots to give from at a place, soonest to expire first.

        Expired and recalled lots and those that are used up are left out; a lot whose expiry nobody
        stated comes last.
        """
        wanted = set(products)
        found = [
            pile
            for pile in self.piles.values()
            if pile.place == place
            and pile.product in wanted
            and pile.there > 0
            and (pile.product, pile.lot) not in self.recalled
            and not self.expired(pile.product, pile.lot, today)
        ]
        return sorted(
            found, key=lambda p: (self.expires(p.product, p.lot) or date.max, p.product, p.lot)
        )

    def against(self, product: str, lot: str, today: date) -> str:
        """Why a lot should not be given, as a sentence; "" where nothing is known against it."""
        if (product, lot) in self.recalled:
            return f"Lot {lot} was recalled: {self.recalled[product, lot]}"
        if self.expired(product, lot, today):
            last = self.expires(product, lot)
            return f"Lot {lot} could be used until {last}; that day has passed"
        return ""


def fold(movements: Iterable[Movement]) -> Shelf:
    """What is there after these movements, in their order."""
    piles: dict[tuple[str, str, str], Pile] = {}
    expiry: dict[Lot, date | None] = {}
    recalled: dict[Lot, str] = {}
    levels: dict[tuple[str, str], int] = {}
    gtins: dict[Lot, frozenset[str]] = {}

    def pile(place: str, one: Movement) -> Pile:
        key = (place, one.product, one.lot)
        found = piles.setdefault(key, Pile(*key))
        found.last = one
        return found

    for one in movements:
        lot = (one.product, one.lot)
        if one.expires is not None:
            expiry[lot] = one.expires
        if one.gtin:
            gtins[lot] = gtins.get(lot, frozenset()) | {one.gtin}
        match one.move:
            case Move.RECEIVED:
                here = pile(one.place, one)
                here.there += one.quantity
                here.received += one.quantity
            case Move.GIVEN:
                here = pile(one.place, one)
                here.there -= one.quantity
                here.given += one.quantity
            case Move.PUT_BACK:
                here = pile(one.place, one)
                here.there += one.quantity
                here.given -= one.quantity
            case Move.DISCARDED:
                here = pile(one.place, one)
                here.there -= one.quantity
                here.discarded += one.quantity
            case Move.MOVED:
                here, there = pile(one.place, one), pile(one.to_place, one)
                here.there -= one.quantity
                here.moved_out += one.quantity
                there.there += one.quantity
                there.moved_in += one.quantity
            case Move.COUNTED:
                here = pile(one.place, one)
                here.missing += here.there - one.quantity
                here.there = one.quantity
            case Move.RECALLED:
                recalled[lot] = one.reason
            case Move.CLEARED:
                recalled.pop(lot, None)
            case Move.LEVEL:
                levels[one.place, one.product] = one.quantity
            case Move.LABELLED:
                pass  # its expiry was taken above
    return Shelf(piles, expiry, recalled, levels, gtins)
