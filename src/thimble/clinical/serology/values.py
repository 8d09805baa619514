"""From one result to the facts that the tables ask for."""

from __future__ import annotations

from thimble.clinical.serology.vocabulary import vocabulary

from .analytes import Analyte, measures
from .results import Quantity, Result, Word

NOT_KNOWN = "not_known"
INDETERMINATE = "indeterminate"


def in_unit(result: Result) -> float | None:
    """The number in the unit that its analyte is kept in; None where there is none to be had."""
    quantity, measure = result.quantity, measures()[result.analyte]
    if quantity is None or quantity.unit not in measure.units:
        return None
    return quantity.number * measure.units[quantity.unit]


def state(result: Result | None) -> str:
    """positive, negative, indeterminate or not_known, as the marker facts have it.

    A load below a limit, without a word, is indeterminate: “<20” does not say whether anything was
    detected. A marker told by a number alone is not known: its cut-off is the laboratory's.
    """
    if result is None:
        return NOT_KNOWN
    kind = measures()[result.analyte].kind
    if result.word is not None:
        at_odds = kind == "load" and result.word is Word.NEGATIVE and _detects(result.quantity)
        return INDETERMINATE if at_odds else result.word.value
    if kind == "load":
        return "positive" if _detects(result.quantity) else INDETERMINATE
    return NOT_KNOWN


def _detects(quantity: Quantity | None) -> bool:
    return quantity is not None and quantity.number > 0 and quantity.comparator in ("=", ">=", ">")


def anti_hbs_facts(result: Result | None) -> dict[str, object]:
    """The anti-HBs as the lowest and highest value that the result allows, or as a word.

    The laboratory's “indeterminate” wins over its number.

    Raises:
        ValueError: the result is of another analyte.
    """
    if result is None:
        return {"anti_hbs_word": NOT_KNOWN}
    if result.analyte is not Analyte.ANTI_HBS:
        raise ValueError(f"expected a result of anti_hbs; found {result.analyte.value}")
    number = in_unit(result)
    if result.word is Word.INDETERMINATE:
        return {"anti_hbs_word": INDETERMINATE}
    if number is None or result.quantity is None:
        return {"anti_hbs_word": result.word.value if result.word else NOT_KNOWN}
    sign = result.quantity.comparator
    most = vocabulary()["anti_hbs_highest"].high
    number = min(number, most)
    return {
        "anti_hbs_word": "number",
        "anti_hbs_lowest": 0.0 if sign in ("<", "<=") else number,
        "anti_hbs_highest": most if sign in (">", ">=") else number,
        "anti_hbs_highest_itself": "no" if sign == "<" else "yes",
    }
