"""Who was given a lot: from the entries as they stand, whether or not it came off a shelf."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from thimble.actions.people import PREFIX
from thimble.clinical.stocked import Stocked
from thimble.ledger.entries import Kind
from thimble.ledger.standing import standing
from thimble.ledger.stock.movements import Move, Movement, lot_of
from thimble.ledger.stock.shelf import Lot, Shelf
from thimble.people import entries as of_people
from thimble.people.fold import undone
from thimble.people.lots import Match, match
from thimble.people.products import product_name
from thimble.web.context import get_people, get_store
from thimble.web.models import LedgerEntry, PersonEntry

GIVES = (Kind.DOSE_GIVEN, Kind.TABLETS_HANDED_OUT)
"""The entries that say that something was handed to a worker."""

_MANY = 2000


@dataclass(frozen=True, slots=True)
class GivenLot:
    """Somebody who was given a lot: `reference` of the case, or of the file of a `person`.

    `product` is what stands there; `match` says whether it is the product asked for. `at` is when it was
    given; from a vaccination card, `on` holds as much of the day as is known, and `at` when it was written
    down. `stands` is False where the entry was withdrawn since.
    """

    reference: str
    person: bool
    product: str
    at: datetime | None
    entry: int
    match: Match
    stands: bool = True
    on: str = ""


def given_lot(
    product: str, lot: str, movements: Iterable[Movement], shelf: Shelf, stocked: Stocked
) -> list[GivenLot]:
    """Everybody who was given a lot of this number, the first one first: also where the product is not
    known, and, marked as such, where it is another.

    Args:
        product: the product's id.
        movements: those of this number, of whatever product.
    """
    wanted = lot_of(lot)
    of_lot = [one for one in movements if one.lot == wanted]
    left = _left(of_lot)
    found: dict[tuple[str, int], GivenLot] = {}
    for each in (
        *_in_cases(product, wanted, left, stocked),
        *_in_files((product, wanted), left, shelf, stocked),
    ):
        found[each.reference, each.entry] = each
    for (case, entry), one in left.items():
        if one.product == product:
            told = GivenLot(
                case, case.startswith(PREFIX), "", one.at, entry, Match.SAME, stands=False
            )
            found.setdefault((case, entry), told)
    return sorted(found.values(), key=lambda g: (g.at.timestamp() if g.at else 0.0, g.reference))


def _left(of_lot: Iterable[Movement]) -> dict[tuple[str, int], Movement]:
    """What left a shelf for an entry and was not put back, by its reference and position."""
    left: dict[tuple[str, int], Movement] = {}
    for one in of_lot:
        if one.move is Move.GIVEN:
            left[one.case, one.entry] = one
        elif one.move is Move.PUT_BACK:
            left.pop((one.case, one.entry), None)
    return left


def _in_cases(
    product: str, lot: str, left: Mapping[tuple[str, int], Movement], stocked: Stocked
) -> Iterator[GivenLot]:
    kinds = [*(kind.value for kind in GIVES), Kind.CORRECTED.value]
    rows = LedgerEntry.objects.filter(kind__in=kinds).values_list("case", "body")
    for case in _that_name(lot, rows.iterator(chunk_size=_MANY)):
        for position, one in standing(get_store().entries(case)).items():
            if one is None or one.entry.kind not in GIVES:
                continue
            if lot_of(one.body.get("batch", "")) == lot:
                off = left.get((case, position))
                sure = _of_case(product, one.body, off, stocked)
                yield GivenLot(
                    case, False, str(one.body["product"]), one.happened_at, position, sure
                )


def _of_case(
    product: str, body: Mapping[str, Any], off: Movement | None, stocked: Stocked
) -> Match:
    """Whether what a case was given is a product: by the shelf that it left; else by what is written."""
    if off is not None:
        return Match.SAME if off.product == product else Match.OTHER
    kept = stocked.product(product)
    if kept is None:
        return Match.NOT_KNOWN
    if kept.name.casefold() == str(body["product"]).strip().casefold():
        return Match.SAME
    if body.get("cvx"):
        return match(kept, frozenset(), cvx=body["cvx"])
    action = body.get("action")
    # A dose of one action of the protocol is none of a product that only others are done with.
    return Match.OTHER if action and kept.gives and action not in kept.gives else Match.NOT_KNOWN


def _in_files(
    lot: Lot, left: Mapping[tuple[str, int], Movement], shelf: Shelf, stocked: Stocked
) -> Iterator[GivenLot]:
    product, number = lot
    kinds = [of_people.Kind.DOSE_RECORDED.value, of_people.Kind.CORRECTED.value]
    rows = PersonEntry.objects.filter(kind__in=kinds).values_list("case", "body")
    kept, gtins = stocked.product(product), shelf.gtins.get(lot, frozenset())
    for person in _that_name(number, rows.iterator(chunk_size=_MANY)):
        entries = get_people().entries(person)
        taken_back = undone(entries)
        for position, one in standing(entries).items():
            if one is None or one.entry.kind is not of_people.Kind.DOSE_RECORDED:
                continue
            if lot_of(one.body["lot"]) != number or position in taken_back:
                continue
            off, cvx = left.get((person, position)), one.body["product"]
            sure = match(kept, gtins, cvx=cvx, gtin=one.body.get("gtin", ""))
            if off is not None and off.product == product:
                sure = Match.SAME
            on = "" if one.body.get("given_here") else one.body["when"] or "day not known"
            yield GivenLot(person, True, product_name(cvx), one.happened_at, position, sure, on=on)


def _that_name(lot: str, rows: Iterable[tuple[str, str]]) -> Iterable[str]:
    named: dict[str, None] = {}
    for reference, text in rows:
        body = json.loads(text)
        body = body.get("body", body)
        if lot_of(str(body.get("batch", body.get("lot", "")))) == lot:
            named[reference] = None
    return named
