"""The vaccine in hand: what was scanned last at a session, for whoever scanned it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from django.http import HttpRequest

from thimble.clinical.saying import calendar_day
from thimble.exchange.gs1 import Scanned
from thimble.ledger.stock.movements import lot_of
from thimble.ledger.stock.shelf import fold
from thimble.people.lots import Match, match
from thimble.people.products import Product, products
from thimble.web.clinic.codes import product_of
from thimble.web.context import get_site, get_stock
from thimble.web.stock.words import product_name

_KEY = "clinic_in_hand"


@dataclass(frozen=True, slots=True)
class InHand:
    """A package: its number, product (None while nobody has said what the number is), lot and expiry.

    A product that was typed has no number, lot or expiry.
    """

    gtin: str
    product: Product | None
    lot: str
    expires: date | None

    @property
    def words(self) -> str:
        """`Hepatitis B, adult · lot A12 · until Thu 31 Dec 2026`."""
        parts = [self.product.name if self.product else "Product not known yet"]
        if not self.gtin:
            return " · ".join([*parts, "typed, not scanned: type the lot and look at the expiry"])
        parts.append(f"lot {self.lot}" if self.lot else "no lot in the code: type it")
        parts.append(
            f"until {calendar_day(self.expires)}" if self.expires else "no expiry in the code"
        )
        return " · ".join(parts)


def take(request: HttpRequest, session: int, scanned: Scanned) -> InHand:
    """Take a scanned package in hand for a session."""
    request.session[_KEY] = {
        "session": session,
        "gtin": scanned.gtin,
        "lot": lot_of(scanned.lot),
        "expires": scanned.expires.isoformat() if scanned.expires else "",
    }
    found = in_hand(request, session)
    if found is None:
        raise ValueError("what was just taken in hand is not there")
    return found


def take_typed(request: HttpRequest, session: int, product: Product) -> None:
    """Take a product in hand that was typed."""
    request.session[_KEY] = {"session": session, "cvx": product.cvx}


def put_away(request: HttpRequest) -> None:
    """Nothing is in hand."""
    request.session.pop(_KEY, None)


def in_hand(request: HttpRequest, session: int) -> InHand | None:
    """What is in hand at a session."""
    held = request.session.get(_KEY)
    if not isinstance(held, dict) or held["session"] != session:
        return None
    if "cvx" in held:
        return InHand("", products().get(held["cvx"]), "", None)
    return InHand(
        held["gtin"],
        product_of(held["gtin"]),
        held["lot"],
        date.fromisoformat(held["expires"]) if held["expires"] else None,
    )


def recalled(lot: str, product: Product | None, gtin: str = "") -> str:
    """Why a lot may not be given, as the shelves of the site know it; "" where they know nothing.

    A recalled lot of another product is none. Where nobody can say whether it is another, it is not given:
    rather one look too many than a recalled lot given.
    """
    shelf, stocked, wanted = fold(get_stock().movements()), get_site().stocked, lot_of(lot)
    cvx = product.cvx if product else None
    unsure = ""
    for (id_, known), reason in shelf.recalled.items():
        if not wanted or known != wanted:
            continue
        gtins = shelf.gtins.get((id_, known), frozenset())
        found = match(stocked.product(id_), gtins, cvx=cvx, gtin=gtin)
        if found is Match.SAME:
            return f"Lot {known} was recalled: {reason}"
        if found is Match.NOT_KNOWN:
            unsure = (
                f"Lot {known} of {product_name(id_, stocked)} was recalled: {reason.rstrip('.')}. Nobody "
                "can say here that this is another product"
            )
    return unsure
