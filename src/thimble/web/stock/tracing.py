"""Which cases were given a lot: from the entries as they stand, whether or not it came off a shelf."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from thimble.ledger.entries import Kind
from thimble.ledger.fold import standing
from thimble.ledger.stock.movements import Move, Movement, lot_of
from thimble.web.context import get_store
from thimble.web.models import LedgerEntry

GIVES = (Kind.DOSE_GIVEN, Kind.TABLETS_HANDED_OUT)
"""The entries that say that something was handed to a worker."""


@dataclass(frozen=True, slots=True)
class GivenLot:
    """A case that was given a lot. `stands` is False where the entry was withdrawn since."""

    case: str
    product: str
    at: datetime | None
    entry: int
    stands: bool


def given_lot(product: str, lot: str, movements: Iterable[Movement]) -> list[GivenLot]:
    """Every case that was given a lot, the first one first.

    Args:
        product: the product's id; a lot that was typed by hand is listed with the words typed, as a
            number of a lot alone does not say of which product it is.
    """
    wanted = lot_of(lot)
    found: dict[tuple[str, int], GivenLot] = {}
    for case in _cases_that_name(wanted):
        for position, one in standing(get_store().entries(case)).items():
            if one is None or one.entry.kind not in GIVES:
                continue
            if lot_of(one.body.get("batch", "")) == wanted:
                found[case, position] = GivenLot(
                    case, one.body["product"], one.happened_at, position, stands=True
                )
    for movement in movements:
        if (movement.move, movement.product, movement.lot) == (Move.GIVEN, product, wanted):
            key = (movement.case, movement.entry)
            found.setdefault(
                key, GivenLot(movement.case, "", movement.at, movement.entry, stands=False)
            )
    return sorted(found.values(), key=lambda g: (g.at.timestamp() if g.at else 0.0, g.case))


def _cases_that_name(lot: str) -> Iterable[str]:
    kinds = [*(kind.value for kind in GIVES), Kind.CORRECTED.value]
    rows = LedgerEntry.objects.filter(kind__in=kinds).values_list("case", "body")
    named: dict[str, None] = {}
    for case, text in rows.iterator(chunk_size=2000):
        body = json.loads(text)
        body = body.get("body", body)
        if lot_of(str(body.get("batch", ""))) == lot:
            named[case] = None
    return named
