"""What the days to come ask of a shelf, against what can be given on those days."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date

from thimble.ledger.stock.shelf import Shelf


@dataclass(frozen=True, slots=True)
class Wanted:
    """One unit that a day asks for at a place: of one of `products`, the preferred first; never empty."""

    day: date
    place: str
    products: tuple[str, ...]


@dataclass(slots=True)
class Cover:
    """What is wanted of a product at a place, the first choice of whoever wants it.

    `covered` of `wanted` units can be given on their days; `short_from` is the first day that lacks one.
    """

    place: str
    product: str
    wanted: int = 0
    covered: int = 0
    short_from: date | None = None


@dataclass(frozen=True, slots=True)
class Outlook:
    """What becomes of a shelf if every wanted unit is given on its day.

    Attributes:
        covers: by place and product, what is wanted and how much of it is there.
        taken: units of each lot at each place that will have been given.
    """

    covers: dict[tuple[str, str], Cover] = field(default_factory=dict)
    taken: dict[tuple[str, str, str], int] = field(default_factory=dict)


def outlook(shelf: Shelf, wanted: Iterable[Wanted]) -> Outlook:
    """What is covered, day after day, giving what expires first first.

    A unit is given only on a day on which its lot may be used. Of the products that would do, the first
    with a unit left is taken; of one product no other order of giving covers more.
    """
    found = Outlook()
    for one in sorted(wanted, key=lambda w: w.day):
        first = found.covers.setdefault(
            (one.place, one.products[0]), Cover(one.place, one.products[0])
        )
        first.wanted += 1
        lot = next(
            (
                (pile.place, pile.product, pile.lot)
                for product in one.products
                for pile in shelf.offers(one.place, (product,), one.day)
                if pile.there > found.taken.get((pile.place, pile.product, pile.lot), 0)
            ),
            None,
        )
        if lot is not None:
            first.covered += 1
            found.taken[lot] = found.taken.get(lot, 0) + 1
        elif first.short_from is None:
            first.short_from = one.day
    return found
