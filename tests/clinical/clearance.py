"""Evidence for tests of clearance, in few letters."""

from __future__ import annotations

from datetime import date

from thimble.clinical.series import DoseGiven, MarkerResult, PartialDate, Person, clear
from thimble.clinical.serology import Analyte, Quantity, Word

BORN = date(1990, 1, 1)


def doses(*given, cvx="43"):
    """Doses by their dates, all of one product unless written `2020-01-01/189`."""
    found = []
    for text in given:
        day, _, own = text.partition("/")
        product = own or cvx
        found.append(DoseGiven(None if product == "unknown" else product, PartialDate.parse(day)))
    return found


def titre(value, day):
    """An anti-HBs as the laboratory writes it: 10, "<10", ">1000", "positive"."""
    text = str(value)
    sign = text[: len(text) - len(text.lstrip("<>="))]
    when = PartialDate.parse(day)
    if text in set(Word):
        return MarkerResult(Analyte.ANTI_HBS, when, Word(text))
    number = Quantity(float(text[len(sign) :]), "m[IU]/mL", sign or "=")
    return MarkerResult(Analyte.ANTI_HBS, when, None, number)


def marker(code, word, day):
    return MarkerResult(Analyte(code), PartialDate.parse(day), Word(word))


def said(*evidence, on="2026-03-02", weak="no", prone=False, protocol="us", born=BORN):
    items = [x for e in evidence for x in (e if isinstance(e, list) else [e])]
    return clear(Person(born, prone, weak), items, date.fromisoformat(on), protocol)


def short(*evidence, **about):
    """Immunity, next step and when it is due."""
    found = said(*evidence, **about)
    return found.immunity, found.next_step, found.next_due.isoformat() if found.next_due else ""
