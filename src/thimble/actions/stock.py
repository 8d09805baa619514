"""Stock: each movement checked, then appended; a dose from the shelf and its movement in one."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
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
class Unit:
    """A unit of a lot at a place; `gtin` where its package was scanned."""

    place: str
    product: str
    lot: str
    gtin: str = ""


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


def settle(
    stock: StockStore,
    reference: str,
    entry: int,
    unit: Unit | None,
    *,
    by: str,
    now: datetime,
) -> None:
    """Make the shelves say what an entry says was given, in the transaction that writes the entry.

    What left a shelf for the entry and is not what it says is put back; what it says and did not leave yet
    leaves. Nothing is refused: what was given is the truth, whatever the shelf holds.

    Args:
        reference: of the case, or of the person's file, that the entry stands in.
        entry: its position.
        unit: what it says was given from a shelf counted here; None for nothing, or from elsewhere.
    """
    left = outstanding(stock.movements(), reference, entry)
    at = None if unit is None else (unit.place, unit.product, unit.lot)
    moves = [(Move.PUT_BACK, key, n, "") for key, n in left.items() if n > 0 and key != at]
    if unit is not None and at is not None and left.get(at, 0) < 1:
        moves.append((Move.GIVEN, at, 1, unit.gtin))
    if moves:
        drafts = [
            Movement(
                move,
                product,
                place=place,
                lot=lot,
                quantity=n,
                case=reference,
                entry=entry,
                gtin=gtin,
            )
            for move, (place, product, lot), n, gtin in moves
        ]
        stock.append(drafts, by=by, now=now)


def outstanding(
    movements: Iterable[Movement], reference: str, entry: int
) -> dict[tuple[str, str, str], int]:
    """What left for an entry and was not put back: units by place, product and lot."""
    signs = {Move.GIVEN: 1, Move.PUT_BACK: -1}
    left: dict[tuple[str, str, str], int] = {}
    for one in movements:
        if one.move in signs and (one.case, one.entry) == (reference, entry):
            key = (one.place, one.product, one.lot)
            left[key] = left.get(key, 0) + signs[one.move] * one.quantity
    return {key: n for key, n in left.items() if n}


def vaccine_unit(
    stock: StockStore, stocked: Stocked, place: str, cvx: str, lot: str, gtin: str = ""
) -> Unit | None:
    """What a dose of a vaccine takes off the shelf of a place; None where it is not counted there.

    Of several products of that code the one whose lot lies there; else the first of the settings.
    """
    able = stocked.for_vaccine(cvx)
    if not able or stocked.place(place) is None:
        return None
    piles = fold(stock.movements()).piles
    lying = [p for p in able if (pile := piles.get((place, p.id, lot))) and pile.there > 0]
    return Unit(place, (lying or list(able))[0].id, lot, gtin)


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
