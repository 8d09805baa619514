"""Whether a lot is of the product that a shelf, or a recall, means.

A lot's number is one maker's for one product: another product may carry the same. What cannot be told
apart is never taken for another.
"""

from __future__ import annotations

from enum import StrEnum

from thimble.clinical.stocked import StockProduct
from thimble.people.products import products


class Match(StrEnum):
    """What is known of two products that carry one lot number."""

    SAME = "same"
    NOT_KNOWN = "not_known"
    OTHER = "other"


def match(
    kept: StockProduct | None,
    gtins: frozenset[str],
    *,
    cvx: str | None,
    gtin: str = "",
) -> Match:
    """Whether a dose of a vaccine is of a product of the shelves.

    Args:
        kept: the product of the shelves; None where the settings hold it no more.
        gtins: the numbers on packages of the lot that came to a shelf.
        cvx: the vaccine of the dose, None where nobody knows it.
        gtin: the number on the package that the dose came from. Another number proves nothing: carton and
            syringe carry different ones.
    """
    if gtin and gtin in gtins:
        return Match.SAME
    if kept is None or not kept.cvx or cvx is None:
        return Match.NOT_KNOWN
    if cvx in kept.cvx:
        return Match.SAME
    known = products()
    if cvx not in known or any(code not in known for code in kept.cvx):
        return Match.NOT_KNOWN
    # Codes tell formulations apart, and one of them is often "unspecified".
    against = {disease for code in kept.cvx for disease in known[code].diseases}
    return Match.NOT_KNOWN if against & set(known[cvx].diseases) else Match.OTHER
