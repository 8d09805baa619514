"""Which vaccine a number on a package (GTIN) is, as somebody said; what was said before stays."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from itertools import groupby

from thimble.clinical.saying import calendar_day
from thimble.people.entries import Kind
from thimble.people.fold import Person
from thimble.people.products import Product, product_name, products
from thimble.web.context import zone
from thimble.web.models import ProductCode


@dataclass(frozen=True, slots=True)
class Code:
    """A number: which product it is, who said so and when, and what was said before.

    `doses` are the files with doses that were written down with this number as another product.
    """

    gtin: str
    name: str
    said: str
    before: tuple[str, ...]
    doses: tuple[str, ...]


def product_of(gtin: str) -> Product | None:
    """The product that a number was last said to be; None where nobody said."""
    row = ProductCode.objects.filter(gtin=gtin).first() if gtin else None
    return products().get(row.cvx) if row else None


def say(gtin: str, product: Product, *, by: str, now: datetime) -> bool:
    """Put on record that a number is a product; whether that is anything new."""
    if product_of(gtin) == product:
        return False
    ProductCode.objects.create(gtin=gtin, cvx=product.cvx, said_by=by, said_at=now)
    return True


def codes(people: list[Person], names: Mapping[str, str]) -> list[Code]:
    """Every number that somebody named, in order."""
    given: dict[str, dict[str, set[str]]] = {}
    for person in people:
        for dose in person.of(Kind.DOSE_RECORDED):
            if gtin := dose.body.get("gtin"):
                of_code = given.setdefault(gtin, {})
                of_code.setdefault(str(dose.body["product"]), set()).add(person.reference)
    found = []
    rows = ProductCode.objects.order_by("gtin", "-id")
    for gtin, group in groupby(rows, key=lambda row: row.gtin):
        last, *before = group
        others = {
            person
            for cvx, persons in given.get(gtin, {}).items()
            if cvx != last.cvx
            for person in persons
        }
        found.append(
            Code(
                gtin,
                product_name(last.cvx),
                _said(last, names),
                tuple(f"{product_name(row.cvx)}, {_said(row, names)}" for row in before),
                tuple(sorted(others)),
            )
        )
    return found


def _said(row: ProductCode, names: Mapping[str, str]) -> str:
    day = calendar_day(row.said_at.astimezone(zone()).date())
    return f"said by {names.get(row.said_by, row.said_by)} on {day}"
