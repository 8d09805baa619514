"""What is about to be given at a session: the product and lot in hand or typed, and what is asked first."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from django.http import HttpRequest

from thimble.ledger.stock.movements import lot_of
from thimble.ledger.stock.shelf import fold
from thimble.people.choices import YES_NO
from thimble.people.products import Product, find_product
from thimble.people.sessions import Session
from thimble.web.clinic import inhand
from thimble.web.context import get_site, get_stock
from thimble.web.people.forms import clean_text

_CONFIRMED = "clinic_lots"


@dataclass(frozen=True, slots=True)
class ToGive:
    """A product (None while nobody has said which) with its lot, the number of its package and expiry.

    `asked` is the answer to what is asked before a live vaccine, an id of `YES_NO`, "" while there is none.
    """

    product: Product | None
    lot: str
    gtin: str
    expires: date | None
    asked: str


def to_give(request: HttpRequest, session: int) -> ToGive:
    """What is typed, else what is in hand."""
    held = inhand.in_hand(request, session)
    typed = request.POST.get("product", "").strip()
    product = product_named(typed) if typed else held.product if held else None
    scanned = held if held is not None and held.product == product else None
    lot = lot_of(clean_text(request.POST.get("lot", ""))[:60]) or (scanned.lot if scanned else "")
    # The expiry and the number that were scanned are those of their own lot.
    of_lot = scanned if scanned and scanned.lot in (lot, "") else None
    asked = request.POST.get("asked", "")
    return ToGive(
        product,
        lot,
        of_lot.gtin if of_lot else "",
        of_lot.expires if of_lot else None,
        asked if asked in YES_NO else "",
    )


def product_named(typed: str) -> Product | None:
    """The one product that a code or a name is of; None where it is none or several."""
    found = find_product(typed)
    return found[0] if len(found) == 1 else None


def off_shelf(session: Session, product: Product, lot: str, today: date) -> str:
    """That a lot does not lie on the session's shelf, and which do; "" where it does or none is counted."""
    stocked, shelf = get_site().stocked, fold(get_stock().movements())
    able = {each.id for each in stocked.for_vaccine(product.cvx)}
    if not lot or not able or stocked.place(session.stock_place) is None:
        return ""
    piles = [shelf.piles.get((session.stock_place, id_, lot)) for id_ in able]
    if any(pile is not None and pile.there > 0 for pile in piles):
        return ""
    lots = sorted({pile.lot for pile in shelf.offers(session.stock_place, able, today)})
    there = f"there is {', '.join(lots)}" if lots else "there is none of it"
    return f"Lot {lot} of {product.name} is not on this shelf; {there}"


def lot_to_confirm(request: HttpRequest, session: Session, given: ToGive, today: date) -> str:
    """What `off_shelf` says of a lot, until whoever gives it has said once that it is the one."""
    if given.product is None or _key(session, given.product, given.lot) in _confirmed(request):
        return ""
    return off_shelf(session, given.product, given.lot, today)


def confirm_lot(request: HttpRequest, session: Session, product: Product, lot: str) -> None:
    """The lot is the one that is given: it is asked no more at this session."""
    request.session[_CONFIRMED] = [*_confirmed(request), _key(session, product, lot)]


def _key(session: Session, product: Product, lot: str) -> str:
    return f"{session.id} {product.cvx} {lot}"


def _confirmed(request: HttpRequest) -> list[str]:
    return list(request.session.get(_CONFIRMED, ()))
