"""Stock: each movement checked, then appended; a dose from the shelf and its movement in one."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass, replace
from datetime import date, datetime
from threading import RLock
from typing import Any

from thimble.actions._append import Refused
from thimble.clinical.stocked import Stocked
from thimble.ledger.entries import Entry
from thimble.ledger.stock.movements import (
    Move,
    Movement,
    StockStore,
    faults_in,
    lot_of,
    stored,
)
from thimble.ledger.stock.shelf import Shelf, fold


class AgainstIt(Refused):
    """A lot that should not be given. Whoever gave it all the same records it by saying so."""


@dataclass(frozen=True, slots=True)
class Taken:
    """A lot that is given from: where it lies, and what the protocol's action gives of it."""

    place: str
    product: str
    lot: str


def move_stock(
    stock: StockStore,
    movement: Movement,
    *,
    stocked: Stocked,
    now: datetime,
    by: str,
    token: str = "",
) -> Movement:
    """Record one movement.

    Args:
        token: of the form; a movement sent twice with one token is recorded once.

    Raises:
        Refused: an unknown place or product, a number that cannot be, a missing lot, expiry or reason,
            or an expiry other than the one on record for the lot.
    """
    movement = replace(movement, lot=lot_of(movement.lot), reason=movement.reason.strip())
    faults = faults_in(movement)
    if stocked.product(movement.product) is None:
        faults.append("Choose one of the products of this site.")
    faults += [
        "Choose one of the places of this site."
        for place in (movement.place, movement.to_place)
        if place and stocked.place(place) is None
    ]
    if movement.move is Move.RECEIVED:
        faults += _other_expiry(fold(stock.movements()), movement)
    if faults:
        raise Refused(faults)
    return stock.append([movement], by=by, now=now, token=token)[0]


def _other_expiry(shelf: Shelf, movement: Movement) -> list[str]:
    on_record = shelf.expires(movement.product, movement.lot)
    if on_record is None or on_record == movement.expires:
        return []
    return [
        f"Lot {movement.lot} is on record with the last usable day {on_record}, not "
        f"{movement.expires}. Look at the box; if the record is wrong, set its expiry right first."
    ]


def against_lot(
    stock: StockStore, products: Sequence[str], lot: str, today: date
) -> tuple[str, ...]:
    """What is known against a lot of one of these products: sentences; none if nothing is."""
    shelf = fold(stock.movements())
    said = (shelf.against(product, lot_of(lot), today) for product in products)
    return tuple(sentence for sentence in said if sentence)


def give_from_stock(
    stock: StockStore,
    taken: Taken,
    record: Callable[[], list[Entry]],
    *,
    stocked: Stocked,
    today: date,
    now: datetime,
    by: str,
    anyway: bool = False,
) -> list[Entry]:
    """Record a dose and that a unit left the shelf: both or neither.

    What the shelf holds never stands in the way: where two desks give the last unit both doses are
    recorded, and the shelf shows one too few until somebody counts.

    Args:
        record: appends the entry that says that the unit was given.
        today: the day in the site's calendar.
        anyway: the lot was given although it is expired or recalled; it is recorded as it was.

    Raises:
        AgainstIt: the lot is expired or recalled, and `anyway` does not say that it was given.
        Refused: an unknown place or product.
        NoSuchCase, Overtaken: as `append`.
    """
    lot = lot_of(taken.lot)
    if stocked.product(taken.product) is None or stocked.place(taken.place) is None:
        raise Refused("This lot is not on the shelves of this site any more. Choose again.")
    with stock.transaction():
        if not anyway and (said := against_lot(stock, [taken.product], lot, today)):
            raise AgainstIt(
                [*said, "Give another. If it was given, say so below and record it again."]
            )
        entries = record()
        last = entries[-1]
        move_stock(
            stock,
            Movement(
                Move.GIVEN,
                taken.product,
                place=taken.place,
                lot=lot,
                quantity=1,
                case=last.case,
                entry=entries[0].position,
            ),
            stocked=stocked,
            now=now,
            by=by,
        )
    return entries


class MemoryStock:
    """Movements in memory, safe between threads: for tests and the command line."""

    def __init__(self) -> None:
        self._lock = RLock()
        self._movements: list[Movement] = []
        self._tokens: dict[str, Movement] = {}

    def movements(self) -> list[Movement]:
        """See `StockStore.movements`."""
        with self._lock:
            return list(self._movements)

    def append(
        self, drafts: Sequence[Movement], *, by: str, now: datetime, token: str = ""
    ) -> list[Movement]:
        """See `StockStore.append`."""
        with self._lock:
            if token and token in self._tokens:
                return [self._tokens[token]]
            at = len(self._movements) + 1
            kept = [stored(d, number, by=by, now=now) for number, d in enumerate(drafts, at)]
            self._movements += kept
            if token:
                self._tokens[token] = kept[0]
            return kept

    def transaction(self) -> AbstractContextManager[Any]:
        """See `StockStore.transaction`."""
        return self._lock
