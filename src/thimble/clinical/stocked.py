"""What a site keeps at hand for an exposure, and where: the settings that stock is counted by."""

from __future__ import annotations

import re
from dataclasses import dataclass

from thimble.clinical.neutral import is_mail_address
from thimble.clinical.settings import Settings

_ID = re.compile(r"[a-z][a-z0-9_]{0,39}", re.A)
_CVX = re.compile(r"[0-9]{2,3}", re.A)


@dataclass(frozen=True, slots=True)
class StockPlace:
    """A cupboard or drawer that is counted by itself."""

    id: str
    name: str


@dataclass(frozen=True, slots=True)
class StockProduct:
    """Something that is kept.

    Attributes:
        unit: what is counted, such as `pack` or `vial`.
        gives: the protocol's actions that one unit can do; a dose of one of these offers its lots.
        days: days of a course that one unit covers; 0 for a single dose.
        amount: what stands in the record as the amount of one dose, "" where it is computed or typed.
        expiry_lead: how many days before the last usable day somebody is told.
        cvx: the codes of the vaccine that a unit is; a dose of one of these at a session of the clinic
            takes a unit off the session's shelf. None where it is no vaccine, or nobody said which.
    """

    id: str
    name: str
    unit: str
    gives: tuple[str, ...]
    days: int
    amount: str
    expiry_lead: int
    cvx: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Stocked:
    """Places and products in the order of the settings; both empty where a site keeps no stock here.

    `mail` is the address that is told once of what is to be done about stock; "" where nobody is.
    """

    places: tuple[StockPlace, ...] = ()
    products: tuple[StockProduct, ...] = ()
    mail: str = ""

    def place(self, id_: str) -> StockPlace | None:
        """The place of an id."""
        return next((place for place in self.places if place.id == id_), None)

    def product(self, id_: str) -> StockProduct | None:
        """The product of an id."""
        return next((product for product in self.products if product.id == id_), None)

    def for_action(self, action: str) -> tuple[StockProduct, ...]:
        """The products that an action of the protocol can be done with."""
        return tuple(product for product in self.products if action in product.gives)

    def for_vaccine(self, cvx: str) -> tuple[StockProduct, ...]:
        """The products that a vaccine of this code is taken from."""
        return tuple(product for product in self.products if cvx in product.cvx)


def read_stocked(read: Settings) -> Stocked:
    """The `stock_places` and `stock_products` of a site's settings; faults are noted on `read`."""
    places = {one.id: one for one in map(_place, read.tables("stock_places")) if one.id}
    products = {kept.id: kept for kept in map(_product, read.tables("stock_products")) if kept.id}
    for key, count in (("stock_places", len(places)), ("stock_products", len(products))):
        if read.has(key) and count < len(read.tables(key)):
            read.fault(key, "names each id once; two entries have the same, or one has a fault")
    if bool(places) != bool(products):
        read.fault(
            "stock_products" if places else "stock_places",
            "is missing: stock is counted by place and by product, so name both or neither",
        )
    return Stocked(tuple(places.values()), tuple(products.values()), _mail(read))


def _mail(read: Settings) -> str:
    found = read.text("stock_mail", may_be_empty=True)
    if found and not is_mail_address(found):
        read.fault(
            "stock_mail", f"is a mail address, such as stock@hospital.example; found {found!r}"
        )
        return ""
    return found


def _place(table: Settings) -> StockPlace:
    place = StockPlace(_id(table), table.text("name"))
    table.refuse_the_rest()
    return place


def _product(table: Settings) -> StockProduct:
    product = StockProduct(
        id=_id(table),
        name=table.text("name"),
        unit=table.text("unit"),
        gives=table.texts("gives", may_be_empty=True),
        days=_whole(table, "days", 366),
        amount=table.text("amount", may_be_empty=True),
        expiry_lead=_whole(table, "expiry_lead_days", 3660),
        cvx=_codes(table),
    )
    table.refuse_the_rest()
    return product


def _id(table: Settings) -> str:
    found = table.text("id")
    if found and _ID.fullmatch(found) is None:
        table.fault("id", f"is small letters, digits and _, at most 40; found {found!r}")
        return ""
    return found


def _codes(table: Settings) -> tuple[str, ...]:
    found = table.texts("cvx", may_be_empty=True)
    if all(_CVX.fullmatch(code) for code in found):
        return tuple(dict.fromkeys(found))
    table.fault("cvx", f'is a list of CVX codes, such as ["43"]; found {list(found)!r}')
    return ()


def _whole(table: Settings, key: str, most: int) -> int:
    found = table.take(key) if table.has(key) or key == "expiry_lead_days" else 0
    if isinstance(found, int) and not isinstance(found, bool) and 0 <= found <= most:
        return found
    if found is not None:
        table.fault(key, f"is a whole number of days, 0 to {most}; found {found!r}")
    return 0
