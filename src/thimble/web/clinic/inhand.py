"""The vaccine in hand: what was scanned last at a session, for whoever scanned it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from django.http import HttpRequest

from thimble.clinical.saying import calendar_day
from thimble.exchange.gs1 import Scanned
from thimble.ledger.stock.movements import lot_of
from thimble.ledger.stock.shelf import fold
from thimble.people.products import Product, products
from thimble.web.context import get_stock
from thimble.web.models import ProductCode

_KEY = "clinic_in_hand"


@dataclass(frozen=True, slots=True)
class InHand:
    """A package: its number, product (None while nobody has said what the number is), lot and expiry."""

    gtin: str
    product: Product | None
    lot: str
    expires: date | None

    @property
    def words(self) -> str:
        """`Hepatitis B, adult · lot A12 · until Thu 31 Dec 2026`."""
        parts = [self.product.name if self.product else "Product not known yet"]
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


def put_away(request: HttpRequest) -> None:
    """Nothing is in hand."""
    request.session.pop(_KEY, None)


def in_hand(request: HttpRequest, session: int) -> InHand | None:
    """What is in hand at a session."""
    held = request.session.get(_KEY)
    if not isinstance(held, dict) or held["session"] != session:
        return None
    known = ProductCode.objects.filter(gtin=held["gtin"]).first()
    return InHand(
        held["gtin"],
        products().get(known.cvx) if known else None,
        held["lot"],
        date.fromisoformat(held["expires"]) if held["expires"] else None,
    )


def recalled(lot: str) -> str:
    """Why a lot may not be given, as the shelves of the site know it; "" where they know nothing.

    Shelves count by the site's own products and not by code, so a lot's number alone is compared: rather
    one look too many than a recalled lot given.
    """
    for (_, known), reason in fold(get_stock().movements()).recalled.items():
        if lot and known == lot_of(lot):
            return f"Lot {known} was recalled: {reason}"
    return ""
