"""Every word of the stock pages, from plain values: no query, no clock."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, tzinfo

from thimble.actions.people import PREFIX
from thimble.clinical.saying import counted
from thimble.clinical.stocked import Stocked, StockProduct
from thimble.ledger.stock.alerts import Alert
from thimble.ledger.stock.movements import WORDS, Move, Movement
from thimble.ledger.stock.shelf import Pile, Shelf, fold
from thimble.web.stock.words import (
    alert_words,
    last_day,
    place_name,
    product_name,
    unit_of,
)
from thimble.web.words import moment

LATELY = 25
MY_PLACE = "stock_place"
"""Where in a session the place stands at which somebody last handled stock."""


@dataclass(frozen=True, slots=True)
class Task:
    """One thing that can be recorded, with the fields that it needs."""

    move: Move
    label: str
    button: str
    number: str = ""
    lot: bool = True
    expiry: bool = False
    to_place: bool = False
    reason: str = ""


TASKS: Mapping[str, Task] = {
    task.move.value: task
    for task in (
        Task(Move.RECEIVED, "Receive", "Put it on the shelf", "How many came?", expiry=True),
        Task(Move.COUNTED, "Count", "Record the count", "How many are there?"),
        Task(Move.MOVED, "Move", "Record the move", "How many go?", to_place=True),
        Task(
            Move.DISCARDED, "Discard", "Record as discarded", "How many go?", reason="Why?"
        ),
        Task(
            Move.LABELLED, "Set an expiry right", "Record the expiry", expiry=True,
        ),
        Task(
            Move.LEVEL, "Set a minimum", "Set the minimum", "How many should be there at least?",
            lot=False,
        ),
    )
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Row:
    """One lot at one place."""

    place: str
    product: str
    lot: str
    name: str
    last: str
    there: str
    state: str
    strong: bool


@dataclass(frozen=True, slots=True)
class Cupboard:
    """What is at one place, and what should be."""

    id: str
    name: str
    rows: tuple[Row, ...]
    levels: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Line:
    """One movement as it is listed."""

    at: str
    what: str
    who: str
    reference: str

    @property
    def person(self) -> bool:
        """Whether the reference is of a person's file and not of a case."""
        return self.reference.startswith(PREFIX)


@dataclass(frozen=True, slots=True)
class ShelfPage:
    """The stock page."""

    alerts: tuple[str, ...]
    cupboards: tuple[Cupboard, ...]
    lately: tuple[Line, ...]
    task: Task
    lots: tuple[str, ...]

    @classmethod
    def of(
        cls,
        movements: Sequence[Movement],
        stocked: Stocked,
        *,
        alerts: Sequence[Alert],
        do: str,
        names: Mapping[str, str],
        now: datetime,
        zone: tzinfo,
    ) -> ShelfPage:
        """What is there after `movements`, as of `now`, and what `alerts` say is to be done."""
        shelf, today = fold(movements), now.astimezone(zone).date()
        places = [place.id for place in stocked.places]
        places += [p.place for p in shelf.piles.values() if p.place not in places]
        return cls(
            alerts=tuple(alert_words(a, stocked) for a in alerts),
            cupboards=tuple(
                _cupboard(place, shelf, stocked, today) for place in dict.fromkeys(places)
            ),
            lately=tuple(
                line(one, stocked, names, now, zone) for one in reversed(movements[-LATELY:])
            ),
            task=TASKS.get(do, TASKS[Move.RECEIVED.value]),
            lots=tuple(sorted({p.lot for p in shelf.piles.values()})),
        )


def _cupboard(place: str, shelf: Shelf, stocked: Stocked, today: date) -> Cupboard:
    order = {product.id: at for at, product in enumerate(stocked.products)}
    piles = [pile for pile in shelf.piles.values() if pile.place == place and pile.there]
    piles.sort(
        key=lambda p: (
            order.get(p.product, len(order)),
            shelf.expires(p.product, p.lot) or date.max,
            p.lot,
        )
    )
    levels = tuple(
        f"{product_name(product, stocked)}: at least {minimum}, "
        f"{shelf.usable(place, product, today)} usable"
        for (where, product), minimum in shelf.levels.items()
        if where == place and minimum
    )
    rows = tuple(_row(pile, shelf, stocked, today) for pile in piles)
    return Cupboard(place, place_name(place, stocked), rows, levels)


def _row(pile: Pile, shelf: Shelf, stocked: Stocked, today: date) -> Row:
    unit = unit_of(pile.product, stocked)
    last = shelf.expires(pile.product, pile.lot)
    state, strong = "", True
    if pile.never_came:
        state = f"{counted(-pile.there, unit)} given without being in stock"
    elif pile.to_count:
        state = f"to be counted: {-pile.there} more left than came"
    elif (pile.product, pile.lot) in shelf.recalled:
        state = "recalled: take it away"
    elif shelf.expired(pile.product, pile.lot, today):
        state = "expired: take it away"
    elif pile.missing:
        strong = False
        more_or_fewer = "fewer" if pile.missing > 0 else "more"
        state = f"{counted(abs(pile.missing), unit)} {more_or_fewer} counted than expected"
    return Row(
        place=pile.place,
        product=pile.product,
        lot=pile.lot,
        name=product_name(pile.product, stocked),
        last=last_day(last),
        there="none" if pile.to_count else counted(pile.there, unit),
        state=state,
        strong=strong,
    )


def line(
    one: Movement, stocked: Stocked, names: Mapping[str, str], now: datetime, zone: tzinfo
) -> Line:
    """A movement in words."""
    what = product_name(one.product, stocked)
    where = f", {place_name(one.place, stocked)}" if one.place else ""
    lot = f", lot {one.lot}" if one.lot else ""
    count = counted(one.quantity, unit_of(one.product, stocked))
    match one.move:
        case Move.LEVEL:
            said = f"at least {count} of {what}{where}"
        case Move.COUNTED:
            said = f"{count} of {what}{lot}{where}"
        case Move.MOVED:
            said = f"{count} of {what}{lot}{where} to {place_name(one.to_place, stocked)}"
        case Move.RECALLED | Move.CLEARED:
            said = f"{what}{lot}"
        case Move.LABELLED:
            said = f"{what}{lot}: {last_day(one.expires)}"
        case _:
            said = f"{count} of {what}{lot}{where}"
    if one.reason:
        said += f". {one.reason}"
    at = "" if one.at is None else moment(one.at, now, zone)
    return Line(at, f"{WORDS[one.move]}: {said}", names.get(one.by, one.by), one.case)


@dataclass(frozen=True, slots=True)
class LotOffer:
    """A lot that a dose can be given from, as the desk offers it."""

    value: str
    label: str
    product: str


@dataclass(frozen=True, slots=True)
class PlaceOffers:
    """The lots of one place, soonest to expire first."""

    place: str
    lots: tuple[LotOffer, ...]


def offers(
    shelf: Shelf,
    stocked: Stocked,
    products: Iterable[StockProduct],
    today: date,
    *,
    first: str = "",
) -> tuple[PlaceOffers, ...]:
    """What can be given from, by place; the place `first` leads."""
    wanted = [product.id for product in products]
    found = []
    for place in sorted(stocked.places, key=lambda p: p.id != first):
        lots = tuple(
            LotOffer(
                f"{pile.place}:{pile.product}:{pile.lot}",
                f"Lot {pile.lot}, {last_day(shelf.expires(pile.product, pile.lot))}, "
                f"{pile.there} there",
                product_name(pile.product, stocked),
            )
            for pile in shelf.offers(place.id, wanted, today)
        )
        if lots:
            found.append(PlaceOffers(place.name, lots))
    return tuple(found)
