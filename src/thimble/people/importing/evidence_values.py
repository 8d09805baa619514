"""Cells of evidence to bodies of entries, or refused with a reason. What is not said stays not known.

Words and numbers of results are read by the rules of the laboratory's messages (`exchange.hl7v2.values`),
so that a list says no more than a message would; what a test can be at all is `clinical.serology`'s.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from thimble.clinical.laboratory import Local
from thimble.clinical.serology.analytes import Analyte, measures
from thimble.exchange.hl7v2.loinc import Kind as Answered
from thimble.exchange.hl7v2.values import read_typed
from thimble.people.choices import NOT_KNOWN, SAMPLE_CHECKS
from thimble.people.entries import Kind
from thimble.people.importing.evidence_columns import (
    disease_named,
    dose_named,
    test_named,
    tested,
)
from thimble.people.importing.headers import header_key
from thimble.people.products import find_product, products

KINDS: Mapping[str, Kind] = {
    word: kind
    for kind, words in {
        Kind.DOSE_RECORDED: "dose vaccine vaccination immunisation immunization impfung vaccin "
        "vacuna vaccino",
        Kind.RESULT_RECORDED: "result test titre titer ergebnis resultat resultado risultato",
        Kind.DECLINED: "declined refused refusal abgelehnt refus rechazado rifiutato",
        Kind.CONTRAINDICATED: "contraindicated contraindication kontraindikation kontraindiziert",
    }.items()
    for word in words.split()
}
"""Words for the kinds of evidence that a list can hold."""

UNKNOWN = ("?", "unknown", "not known", "unbekannt", "inconnu")
"""A product that nobody knows."""
_EITHER = re.compile(r"(?<![\d.,])[1-9]\d{0,2}[.,]\d{3}(?!\d)")
"""1,000 and 1.000: of a text nobody can tell which is meant. No thousands begin with a zero."""
_ORIGIN = "From a list, which gives no reason"


def read_kind(text: str) -> Kind:
    """Raises ValueError: the word is none of the kinds."""
    found = KINDS.get(header_key(text))
    if found is None:
        raise ValueError(
            f"“{text}” is not read; write dose, result, declined or contraindicated. Past diseases are "
            "typed on the person's page"
        )
    return found


def read_disease(text: str) -> str:
    """Raises ValueError: the text names no disease that evidence is about."""
    found = disease_named(text)
    if found is None:
        raise ValueError(f"“{text}” is no disease that is known here")
    return found


def dose(
    what: str, when: str, *, disease: str = "", lot: str = "", where: str = ""
) -> dict[str, Any]:
    """The body of a dose.

    Args:
        what: a product's code or name, the name of a disease where only that is known, or `unknown`.
        disease: what an unknown product was against.

    Raises:
        ValueError: there is no such product, or it could be several; or nobody says what it is against.
    """
    of = disease if what.casefold() in UNKNOWN else dose_named(what)
    if of is None:
        several = "; ".join(f"{p.cvx} {p.name}" for p in find_product(what)[:4])
        if several:
            raise ValueError(f"“{what}” could be several products ({several}); write the code")
        raise ValueError(
            f"there is no product “{what}”; write its CVX code or name, or unknown and the disease"
        )
    if not of:
        raise ValueError("what the unknown product is against is missing")
    product = products().get(of)
    return {
        "product": product.cvx if product else None,
        "diseases": list(product.diseases) if product else [of],
        "when": when,
        "lot": lot,
        "where": where,
    }


def read_test(text: str) -> str:
    """Raises ValueError: no test has this name."""
    found = test_named(text)
    if found is None:
        raise ValueError(f"there is no test “{text}” that a list is read for")
    return found


def result(
    test: str,
    when: str,
    text: str,
    unit: str,
    local: Local,
    *,
    typed: bool = True,
    laboratory: str = "",
) -> dict[str, Any]:
    """The body of a result. Whether the sample was identified and validated is not known.

    Args:
        typed: the cell holds a text; of a number the spreadsheet knows where its decimal mark is.

    Raises:
        ValueError: it is no result of this test, has no unit where one matters, or cannot be.
    """
    of = tested()[test]
    if typed and _EITHER.search(text):
        raise ValueError(f"{text} can be read in two ways, as thousands or with a decimal mark")
    try:
        word, quantity = read_typed(text, unit, of, local)
    except ValueError as fault:
        number = "" if of.kind is Answered.PRESENCE else ", or a number with its unit"
        raise ValueError(f"{fault} Write positive, negative or indeterminate{number}") from fault
    if quantity and test in set(Analyte):
        measure = measures()[Analyte(test)]
        if quantity.unit in measure.units and not measure.can_be(quantity.number, quantity.unit):
            raise ValueError(f"{quantity} cannot be: look at the number and its unit")
    return {
        "test": test,
        "word": None if word is None else word.value,
        "number": None if quantity is None else quantity.number,
        "comparator": "=" if quantity is None else quantity.comparator,
        "unit": "" if quantity is None else quantity.unit,
        "when": when,
        "laboratory": laboratory,
        "as_written": f"{text} {unit}".strip(),
        "sample": dict.fromkeys(SAMPLE_CHECKS, NOT_KNOWN),
    }


def declined(disease: str, on: str) -> dict[str, Any]:
    """The body of a refusal of vaccine. That the person was informed, or signed, is not known from a list.

    Raises:
        ValueError: the day or the disease is not known.
    """
    if len(on) < 10:
        raise ValueError(f"a refusal needs its day; {on} is not one")
    return {
        "what": "vaccine",
        "disease": _named(disease),
        "on": on,
        "informed": False,
        "signed": NOT_KNOWN,
        "reason": "",
    }


def contraindicated(disease: str, on: str) -> dict[str, Any]:
    """The body of a contraindication.

    Raises:
        ValueError: the disease is not known.
    """
    return {"disease": _named(disease), "on": on, "reason": _ORIGIN, "until": None}


def _named(disease: str) -> str:
    if not disease:
        raise ValueError("of which disease is missing")
    return disease
