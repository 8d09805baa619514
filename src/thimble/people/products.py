"""Products by CVX code, read from `products.csv`, and how they are found from what somebody types."""

from __future__ import annotations

import csv
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

from thimble.clinical.diseases import DISEASES


@dataclass(frozen=True, slots=True)
class Product:
    """A vaccine or immunoglobulin: its CVX code, name, short words, what it is against, its source."""

    cvx: str
    kind: str
    name: str
    said: str
    diseases: tuple[str, ...]
    source: str
    standing: str


@cache
def products() -> Mapping[str, Product]:
    """Every product by its code, read once.

    Raises:
        ValueError: the shipped file names a code twice or a disease that is none.
    """
    text = (files("thimble.people") / "products.csv").read_text(encoding="utf-8")
    found: dict[str, Product] = {}
    for row in csv.DictReader(text.splitlines()):
        diseases = tuple(row["diseases"].split())
        if row["cvx"] in found or not diseases or set(diseases) - set(DISEASES):
            raise ValueError(f"products.csv: look at the row of {row['cvx']}")
        found[row["cvx"]] = Product(
            row["cvx"],
            row["kind"],
            row["name"],
            row["said"],
            diseases,
            row["source"],
            row["standing"],
        )
    return found


def is_vaccine(cvx: str | None) -> bool:
    """Whether a dose teaches immunity. A product that nobody knows is taken for the vaccine that the card
    says; an immunoglobulin protects for a while and counts in no series."""
    return cvx is None or cvx not in products() or products()[cvx].kind == "vaccine"


def product_name(cvx: str | None) -> str:
    """As lists show it."""
    if cvx is None:
        return "Product not known"
    known = products().get(cvx)
    return known.name if known else f"CVX {cvx}"


def find_product(typed: str) -> tuple[Product, ...]:
    """What somebody can mean: by CVX code, by the whole name or short words, else by its beginning.

    One product: that one is meant. Several: ask. None: there is no such product.

    >>> [product.cvx for product in find_product("43")]
    ['43']
    >>> [product.name for product in find_product("mmr")]
    ['Measles, mumps, rubella (MMR)']
    """
    text = " ".join(typed.casefold().split())
    if not text:
        return ()
    if exact := named_product(text):
        return (exact,)
    if _code(text):
        return ()
    return tuple(
        p
        for p in products().values()
        if all(
            any(w.startswith(part) for w in _words(p)) for part in text.replace("-", " ").split()
        )
    )


def named_product(typed: str) -> Product | None:
    """The product that a text names whole: by its code, its name or its short words. Nothing is guessed.

    >>> named_product("8") == products()["08"], named_product("zoster")
    (True, None)
    """
    text = " ".join(typed.casefold().split())
    if code := _code(text):
        known = products()
        return known.get(code) or known.get(code.zfill(2)) or known.get(code.lstrip("0"))
    # As the list of suggestions writes it: "43 · Hepatitis B, adult".
    first, _, _ = text.partition(" · ")
    if first != text and first in products():
        return products()[first]
    return next((p for p in products().values() if text in (p.name.casefold(), p.said)), None)


def _code(text: str) -> str:
    """The digits of what can only be a code; "" for any other text."""
    code = text.removeprefix("cvx").strip()
    return code if code.isdecimal() and len(code) <= 3 else ""


def _words(product: Product) -> list[str]:
    text = f"{product.said} {product.name}".casefold()
    return "".join(c if c.isalnum() else " " for c in text).split()
