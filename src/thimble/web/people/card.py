"""A whole vaccination card from the keyboard: one row a dose, all of it or nothing."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

from thimble.clinical.diseases import DISEASES
from thimble.people.dates import NotADate, Order, read_date
from thimble.people.products import Product, find_product, products
from thimble.web.people.forms import clean_text

FIRST_ROWS, MORE_ROWS, MOST_ROWS = 8, 8, 32
UNKNOWN = ("?", "unknown")


@dataclass(frozen=True, slots=True)
class Line:
    """One row of the card as it was typed, and what is wrong with it."""

    number: int
    product: str = ""
    against: str = ""
    when: str = ""
    lot: str = ""
    where: str = ""
    faults: tuple[tuple[str, str], ...] = ()

    @property
    def empty(self) -> bool:
        return not (self.product or self.when or self.lot)

    def fault(self, field: str) -> str:
        return " ".join(sentence for name, sentence in self.faults if name == field)

    @property
    def product_fault(self) -> str:
        return self.fault("product")

    @property
    def when_fault(self) -> str:
        return self.fault("when")


def suggestions() -> list[str]:
    """What the product's box suggests, as it may be typed."""
    return [f"{p.cvx} · {p.name}" for p in products().values()]


def read_card(
    typed: Mapping[str, Any], rows: int, *, today: date, order: Order | None
) -> tuple[list[Line], list[dict[str, Any]]]:
    """The rows as typed, with their faults, and the bodies of the doses of those that are filled in."""
    lines: list[Line] = []
    bodies: list[dict[str, Any]] = []
    where = ""
    for number in range(1, rows + 1):
        product, against, when, lot, place = (
            clean_text(str(typed.get(f"{name}-{number}", "")))[:120]
            for name in ("product", "against", "when", "lot", "where")
        )
        line = Line(number, product, against, when, lot, place)
        if line.empty:
            lines.append(line)
            continue
        where = line.where or where
        body, faults = _dose(line, where, today, order)
        lines.append(replace(line, faults=tuple(faults)))
        bodies.append(body)
    return lines, bodies


def _dose(
    line: Line, where: str, today: date, order: Order | None
) -> tuple[dict[str, Any], list[tuple[str, str]]]:
    faults: list[tuple[str, str]] = []
    product: Product | None = None
    if line.product and line.product.casefold() not in UNKNOWN:
        found = find_product(line.product)
        if len(found) == 1:
            product = found[0]
        elif found:
            several = "; ".join(f"{p.cvx} {p.name}" for p in found[:5])
            faults.append(("product", f"Which one? {several}."))
        else:
            faults.append(("product", "There is no such product. If nobody knows it, write ?"))
    if product is None and not faults and line.against not in DISEASES:
        faults.append(("product", "Say what the unknown product is against."))
    when: str | None = None
    if line.when and line.when not in UNKNOWN:
        try:
            when = read_date(line.when, today=today, order=order)
        except NotADate as fault:
            faults.append(("when", f"{fault}."))
    diseases: Sequence[str] = product.diseases if product else (line.against,)
    body = {
        "product": product.cvx if product else None,
        "diseases": list(diseases),
        "when": when,
        "lot": line.lot,
        "where": where,
    }
    return body, faults
