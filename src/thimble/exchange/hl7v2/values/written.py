"""What the value of a row says, by its type."""

from __future__ import annotations

import re
from typing import Final

from thimble.clinical.laboratory import Local
from thimble.clinical.serology import Quantity, Word
from thimble.exchange.hl7v2.loinc import Kind, Test, words
from thimble.exchange.hl7v2.model import Code, Coded, Observation
from thimble.exchange.hl7v2.reading import (
    About,
)
from thimble.exchange.hl7v2.segments import NULL
from thimble.exchange.hl7v2.values.answers import answer_of, found_of, lookup
from thimble.exchange.hl7v2.values.hold import Found, Hold, shown
from thimble.exchange.hl7v2.values.units import unit_of

CODED: Final = frozenset({"CE", "CWE", "CNE"})
TEXTS: Final = frozenset({"ST", "TX", "FT", "TXT"})
NUMBERS: Final = frozenset({"NM", "NUM"})
SNOMED: Final = frozenset({"sct", "snm", "snomed", "snomed-ct", "2.16.840.1.113883.6.96"})
COMPARATORS: Final = {"<": "<", "<=": "<=", ">": ">", ">=": ">=", "≤": "<=", "≥": ">="}
LONGEST: Final = 200
"""Characters; a longer text is a report, not a value."""
_NUMBER = r"[0-9]{1,15}(?:\.[0-9]{1,15})?"
_COMMA = r"[0-9]{1,15}(?:[.,][0-9]{1,15})?"


def value_of(row: Observation, test: Test, local: Local) -> Found:
    """The value, which must be of the kind that the test is answered with."""
    if len(row.values) > 1:
        return Found(no_result="The row has several values.")
    components = row.values[0] if row.values else ()
    if not any(part.strip() for part in components):
        return Found(no_result="The row has no value.")
    if components == (NULL,):
        return Found(no_result="The row deletes the value sent before.")
    kind = row.value_type.strip()
    if kind in CODED:
        return fitting(_coded(components, local), test)
    if kind == "SN":
        return _structured(components, row, test)
    if kind not in TEXTS | NUMBERS:
        told = f"the type {shown(kind)}" if kind else "no type"
        raise Hold(f"The value has {told} in OBX-2, which no result is read from.")
    if len(components) > 1:
        raise Hold("The value has several parts, which its type does not have.")
    return _text(components[0], row, test, local)


def _coded(components: tuple[str, ...], local: Local) -> Found:
    """Every code and every text must say the same."""
    padded = (*components, *[""] * 9)
    said: dict[str, str] = {}
    for code, text, system in (padded[0:3], padded[3:6]):
        said |= _triple(Code(code.strip(), text.strip(), system.strip()), local)
    original = padded[8].strip()
    if original:
        said[original] = answer_of(original, local, names=True)
    if len(set(said.values())) > 1:
        raise Hold(
            "The codes and texts of the answer contradict each other: "
            + ", ".join(f"{shown(what)} means {answer}" for what, answer in said.items())
            + ".",
            About.CONTRADICTION,
        )
    if not said:
        raise Hold("The answer is a code alone, in no system that is read here.")
    return found_of(next(iter(said.values())), next(iter(said)))


def _triple(code: Code, local: Local) -> dict[str, str]:
    """What one triple says: its code, where it is one of SNOMED CT or a word, and its text."""
    said = {}
    if code.system.casefold() in SNOMED and code.code:
        if code.code not in words()["snomed"]:
            raise Hold(f"The answer code {shown(code.code)} of SNOMED CT is not read here.")
        said[code.code] = words()["snomed"][code.code][0]
    elif code.code and (answer := lookup(code.code, local)):
        said[code.code] = answer
    if code.text:
        said[code.text] = answer_of(code.text, local, names=True)
    return said


def _structured(components: tuple[str, ...], row: Observation, test: Test) -> Found:
    """SN: comparator, number, separator, second number."""
    comparator, number, *rest = (*(part.strip() for part in components), "", "")
    if any(rest):
        told = "a titre" if rest[0] == ":" else "no single number"
        raise Hold(f"The value is {told}; no test that is read here is reported so.")
    if comparator not in COMPARATORS and comparator not in {"", "="}:
        raise Hold(f"The comparator {shown(comparator)} gives no single number.")
    if not re.fullmatch(_NUMBER, number):
        raise Hold(f"The number {shown(number)} is not written with digits and a point.")
    unit = unit_of("", row.unit, test)
    quantity = Quantity(float(number), unit, COMPARATORS.get(comparator, "="))
    return fitting(Found(quantity=quantity), test)


def _text(text: str, row: Observation, test: Test, local: Local) -> Found:
    return fitting(said_in_text(text, row.unit, test, local), test)


def said_in_text(text: str, unit: Coded, test: Test, local: Local) -> Found:
    """A word of the closed lists, or a number with its comparator and unit."""
    text = " ".join(text.split())
    if len(text) > LONGEST:
        raise Hold("The value is a longer text; a person has to read it.")
    answer = lookup(text, local)
    if answer:
        return found_of(answer, text)
    shape = re.fullmatch(
        rf"(<=|>=|<|>|≤|≥)? ?({_COMMA if local.decimal_comma else _NUMBER})(?: ?([^0-9.,].*))?",
        text,
    )
    if shape is None:
        hint = ""
        if re.fullmatch(r"[<>≤≥= ]*[0-9]+,[0-9]+.*", text):
            hint = " The site does not declare a decimal comma."
        raise Hold(f"The value {shown(text)} is not in the closed lists.{hint}")
    comparator, number, rest = shape.groups()
    outcome, written = _word_beside(rest or "")
    if outcome and test.kind is not Kind.VIRAL_LOAD:
        raise Hold("A number with a word beside it is read for viral loads alone.")
    quantity = Quantity(
        float(number.replace(",", ".")),
        unit_of(written, unit, test),
        COMPARATORS.get(comparator, "="),
    )
    return Found(outcome, quantity)


def _word_beside(rest: str) -> tuple[Word | None, str]:
    """What follows a number: a unit, one of two words, or the unit and then the word."""
    folded = rest.casefold()
    lists = words()["beside_a_number"]
    # Longest first: "detected" ends "not detected".
    for word, outcome in sorted(
        ((word, name) for name, listed in lists.items() for word in listed),
        key=lambda each: -len(each[0]),
    ):
        if folded == word or folded.endswith(f" {word}"):
            return Word(outcome), rest[: len(rest) - len(word)].strip()
    return None, rest.strip()


def fitting(found: Found, test: Test) -> Found:
    """The answer must be of the kind that the test is answered with."""
    quantity = found.quantity
    if quantity is not None:
        _check_quantity(found, quantity, test)
    elif found.outcome and test.kind is Kind.AMOUNT and test.analyte in {"alt", "creatinine"}:
        raise Hold(f"{test.code} is an amount, and the value is a word.")
    if test.kind is Kind.WHICH and found.outcome is Word.POSITIVE:
        raise Hold(f"{test.code} says which was found, and the value says only that one was.")
    return found


def _check_quantity(found: Found, quantity: Quantity, test: Test) -> None:
    if test.kind in {Kind.PRESENCE, Kind.WHICH}:
        raise Hold(f"{test.code} is answered in words, and the value is a number.")
    below = quantity.comparator in {"<", "<="}
    if quantity.number == 0 and (below or test.kind is Kind.VIRAL_LOAD):
        raise Hold(f"The value {quantity} is no amount; ask what the laboratory means by it.")
    if test.kind is not Kind.VIRAL_LOAD:
        return
    if below and found.outcome is None:
        raise Hold(
            f"A viral load of {quantity} may mean detected but too little to count, or not "
            "detected; the laboratory has to say which."
        )
    if not below and found.outcome is Word.NEGATIVE:
        raise Hold("The value is a count and says not detected.", About.CONTRADICTION)
