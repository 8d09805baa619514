"""A package that arrives, scanned: product, lot, expiry and number fill the form."""

from __future__ import annotations

from datetime import date

from thimble.clinical.stocked import Stocked, StockProduct
from thimble.exchange.gs1 import read_vaccine
from thimble.ledger.stock.movements import lot_of
from thimble.ledger.stock.shelf import Shelf
from thimble.web.clinic.codes import product_of


def filled(
    typed: dict[str, str], shelf: Shelf, stocked: Stocked, today: date
) -> tuple[dict[str, str], str]:
    """What the form holds after a scan, and what is still to be said, in a sentence.

    What the code does not tell stays as it was typed. A product is filled in only where one alone is
    known by that number; else none is chosen, so that somebody chooses.

    Raises:
        NotRead: the scan is no code of a product.
    """
    scanned = read_vaccine(typed["scan"].replace("\x1d", "|"), today)
    found = {**typed, "scan": "", "gtin": scanned.gtin}
    if scanned.lot:
        found["lot"] = lot_of(scanned.lot)
    if scanned.expires:
        found["expires"] = scanned.expires.isoformat()
    able = by_number(scanned.gtin, shelf, stocked)
    found["product"] = able[0].id if len(able) == 1 else ""
    missing = [
        word
        for word, there in (
            ("choose the product", found["product"]),
            ("type the lot", found.get("lot")),
            ("type the expiry", found.get("expires")),
        )
        if not there
    ]
    return found, f"Read. Now {', '.join([*missing, 'enter how many came'])}."


def by_number(gtin: str, shelf: Shelf, stocked: Stocked) -> tuple[StockProduct, ...]:
    """The products that a number on a package is known for: from what came before, else as the clinic knows
    its vaccine."""
    came = {product for (product, _), gtins in shelf.gtins.items() if gtin in gtins}
    if came:
        return tuple(product for product in stocked.products if product.id in came)
    vaccine = product_of(gtin)
    return stocked.for_vaccine(vaccine.cvx) if vaccine else ()
