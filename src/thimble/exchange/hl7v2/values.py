"""The one strict rule by which a row of results becomes a reading.

1. Status; 2. which test: by code alone; 3. one value; 4. by its type; 5. a text is compared whole
with closed lists; 6. numbers in a unit that fits the code; 7. flags and codes must not contradict.
Whatever is left over is held for a person. Nothing is read from notes. A reference range says of ALT alone
whether it is raised, and is no result.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cache
from typing import Final

from thimble.clinical.laboratory import Local, fold, well_formed
from thimble.clinical.serology import Against, Quantity, Word, measures
from thimble.exchange.hl7v2.loinc import Kind, Test, is_loinc, tests, words
from thimble.exchange.hl7v2.model import Code, Coded, Observation
from thimble.exchange.hl7v2.ranges import compared_with, marked_against
from thimble.exchange.hl7v2.reading import (
    About,
    Held,
    Reading,
    Standing,
)
from thimble.exchange.hl7v2.segments import NULL

STANDINGS: Final = {
    "F": Standing.FINAL,
    "V": Standing.FINAL,
    "B": Standing.FINAL,
    "C": Standing.CORRECTED,
    "A": Standing.CORRECTED,
    "P": Standing.PROVISIONAL,
    "R": Standing.PROVISIONAL,
    "S": Standing.PROVISIONAL,
    "U": Standing.PROMOTED,
    "D": Standing.RETRACTED,
    "W": Standing.WRONG,
    "X": Standing.NOT_OBTAINABLE,
    "I": Standing.AWAITED,
    "O": Standing.AWAITED,
    "N": Standing.NOT_ASKED,
}
"""Table 0085 as it is sent in OBX-11."""

WHY_NONE: Final = {
    Standing.PROMOTED: "The preliminary value becomes final without being sent again.",
    Standing.RETRACTED: "The laboratory takes this row back.",
    Standing.WRONG: "The laboratory says that the original was posted wrongly.",
    Standing.NOT_OBTAINABLE: "The laboratory cannot obtain this result.",
    Standing.AWAITED: "The laboratory has no result yet.",
    Standing.NOT_ASKED: "The laboratory was not asked for this.",
}
CODED: Final = frozenset({"CE", "CWE", "CNE"})
TEXTS: Final = frozenset({"ST", "TX", "FT", "TXT"})
NUMBERS: Final = frozenset({"NM", "NUM"})
SNOMED: Final = frozenset({"sct", "snm", "snomed", "snomed-ct", "2.16.840.1.113883.6.96"})
COMPARATORS: Final = {"<": "<", "<=": "<=", ">": ">", ">=": ">=", "≤": "<=", "≥": ">="}
LONGEST: Final = 200
"""Characters; a longer text is a report, not a value."""

NO_RESULT: Final = "no_result"
_NUMBER = r"[0-9]{1,15}(?:\.[0-9]{1,15})?"
_COMMA = r"[0-9]{1,15}(?:[.,][0-9]{1,15})?"
_TAG = re.compile(r"\s*\((?:qualifier value|finding)\)$", re.IGNORECASE)
_WORD = re.compile(r"[^\W_]+")


class _Hold(Exception):
    def __init__(self, reason: str, about: About = About.VALUE) -> None:
        super().__init__(reason)
        self.reason, self.about = reason, about


@dataclass(frozen=True, slots=True)
class _Found:
    """What a value says: a word, a number, or that there is no result."""

    outcome: Word | None = None
    quantity: Quantity | None = None
    no_result: str = ""


NOTHING_DECLARED: Final = Local()
_BY_RANGE: Final = frozenset(analyte.value for analyte, how in measures().items() if how.by_range)


def read_value(row: Observation, local: Local = NOTHING_DECLARED) -> Reading | Held:
    """This row as a reading, or held with the reason. Never raises.

    The caller has checked that the message is for production and whose result it is.
    """
    test: Test | None = None
    try:
        standing = _standing(row)
        test = _test(row.test, local)
        if not standing.has_value:
            return Reading(test, standing, no_result=WHY_NONE[standing], words=row.words)
        found = _value(row, test, local)
        flagged = _flagged(row.flags)
        _agree(found, flagged, row.flags, test)
        against = _against_range(found.quantity, row, test)
    except _Hold as hold:
        return Held(hold.reason, hold.about, test, row.words)
    return Reading(
        test,
        standing,
        found.outcome,
        found.quantity,
        found.no_result,
        flagged,
        row.words,
        against,
    )


def read_typed(
    text: str, unit: str, test: Test, local: Local = NOTHING_DECLARED
) -> tuple[Word | None, Quantity | None]:
    """A value that somebody typed, and its unit where it stands apart, by the rules of a message's text.

    It goes to a file and not to a plan: a viral load below a limit stays what it is, neither detected nor
    not.

    Raises:
        ValueError: it is no result of this test; the sentence says why.
    """
    try:
        found = _said(text, Coded(original=unit), test, local)
        quantity = found.quantity
        if quantity and found.outcome is None and test.kind is Kind.VIRAL_LOAD and quantity.number:
            return None, quantity
        if found.no_result:
            raise _Hold(found.no_result)
        found = _checked(found, test)
    except _Hold as hold:
        raise ValueError(str(hold)) from hold
    return found.outcome, found.quantity


def _standing(row: Observation) -> Standing:
    if not row.status:
        shifted = " The row may be shifted by a separator in a text." if not row.values else ""
        raise _Hold(f"The row has no status in OBX-11: it is not final.{shifted}", About.STATUS)
    standing = STANDINGS.get(row.status)
    if standing is None:
        raise _Hold(f"The status {_shown(row.status)} is not in table 0085.", About.STATUS)
    return standing


# -- which test -----------------------------------------------------------------------------------


def _test(coded: Coded, local: Local) -> Test:
    """By code, never by name; a name that contradicts the code is held."""
    named = [code.code for code in coded.codes if is_loinc(code.system) and code.code]
    for code in named:
        if not well_formed(code):
            raise _Hold(
                f"{_shown(code)} is sent as a LOINC code and is none: such a code is digits, a hyphen "
                "and the right check digit.",
                About.TEST,
            )
    mapped = [
        local.codes[code.system, code.code]
        for code in coded.codes
        if (code.system, code.code) in local.codes
    ]
    meant = list(dict.fromkeys([*named, *mapped]))
    if not meant:
        raise _Hold(
            "No code names the test, and the site maps none of the local codes.", About.TEST
        )
    if len(meant) > 1:
        raise _Hold(f"The codes {' and '.join(meant)} name different tests.", About.CONTRADICTION)
    test = tests().get(meant[0])
    if test is None:
        raise _Hold(f"{_shown(meant[0])} is not among the tests that are read here.", About.TEST)
    _check_names(test, coded)
    if test.kind is Kind.UNSURE:
        raise _Hold(f"What {test.code} measures was not confirmed; ask the laboratory.", About.TEST)
    if test.kind is Kind.ANTIBODY_ALONE:
        raise _Hold(
            "This test looks for HIV antibody alone and has another window than the test for "
            "antigen and antibody.",
            About.TEST,
        )
    return test


def _check_names(test: Test, coded: Coded) -> None:
    contradicting = (*words()["contradicts"]["every"], *words()["contradicts"][test.analyte])
    for text in coded.texts:
        said = f" {' '.join(_WORD.findall(text.casefold()))} "
        for word in contradicting:
            if f" {word} " in said:
                raise _Hold(
                    f"The code {test.code} means {test.analyte}, but its name has the word "
                    f"“{word}”.",
                    About.CONTRADICTION,
                )


# -- the value ------------------------------------------------------------------------------------


def _value(row: Observation, test: Test, local: Local) -> _Found:
    if len(row.values) > 1:
        return _Found(no_result="The row has several values.")
    components = row.values[0] if row.values else ()
    if not any(part.strip() for part in components):
        return _Found(no_result="The row has no value.")
    if components == (NULL,):
        return _Found(no_result="The row deletes the value sent before.")
    kind = row.value_type.strip()
    if kind in CODED:
        return _checked(_coded(components, local), test)
    if kind == "SN":
        return _structured(components, row, test)
    if kind not in TEXTS | NUMBERS:
        told = f"the type {_shown(kind)}" if kind else "no type"
        raise _Hold(f"The value has {told} in OBX-2, which no result is read from.")
    if len(components) > 1:
        raise _Hold("The value has several parts, which its type does not have.")
    return _text(components[0], row, test, local)


def _coded(components: tuple[str, ...], local: Local) -> _Found:
    """Every code and every text must say the same."""
    padded = (*components, *[""] * 9)
    said: dict[str, str] = {}
    for code, text, system in (padded[0:3], padded[3:6]):
        said |= _triple(Code(code.strip(), text.strip(), system.strip()), local)
    original = padded[8].strip()
    if original:
        said[original] = _answer(original, local, names=True)
    if len(set(said.values())) > 1:
        raise _Hold(
            "The codes and texts of the answer contradict each other: "
            + ", ".join(f"{_shown(what)} means {answer}" for what, answer in said.items())
            + ".",
            About.CONTRADICTION,
        )
    if not said:
        raise _Hold("The answer is a code alone, in no system that is read here.")
    return _found(next(iter(said.values())), next(iter(said)))


def _triple(code: Code, local: Local) -> dict[str, str]:
    """What one triple says: its code, where it is one of SNOMED CT or a word, and its text."""
    said = {}
    if code.system.casefold() in SNOMED and code.code:
        if code.code not in words()["snomed"]:
            raise _Hold(f"The answer code {_shown(code.code)} of SNOMED CT is not read here.")
        said[code.code] = words()["snomed"][code.code][0]
    elif code.code and (answer := _lookup(code.code, local)):
        said[code.code] = answer
    if code.text:
        said[code.text] = _answer(code.text, local, names=True)
    return said


def _structured(components: tuple[str, ...], row: Observation, test: Test) -> _Found:
    """SN: comparator, number, separator, second number."""
    comparator, number, *rest = (*(part.strip() for part in components), "", "")
    if any(rest):
        told = "a titre" if rest[0] == ":" else "no single number"
        raise _Hold(f"The value is {told}; no test that is read here is reported so.")
    if comparator not in COMPARATORS and comparator not in {"", "="}:
        raise _Hold(f"The comparator {_shown(comparator)} gives no single number.")
    if not re.fullmatch(_NUMBER, number):
        raise _Hold(f"The number {_shown(number)} is not written with digits and a point.")
    unit = _unit("", row.unit, test)
    quantity = Quantity(float(number), unit, COMPARATORS.get(comparator, "="))
    return _checked(_Found(quantity=quantity), test)


def _text(text: str, row: Observation, test: Test, local: Local) -> _Found:
    return _checked(_said(text, row.unit, test, local), test)


def _said(text: str, unit: Coded, test: Test, local: Local) -> _Found:
    """A word of the closed lists, or a number with its comparator and unit."""
    text = " ".join(text.split())
    if len(text) > LONGEST:
        raise _Hold("The value is a longer text; a person has to read it.")
    answer = _lookup(text, local)
    if answer:
        return _found(answer, text)
    shape = re.fullmatch(
        rf"(<=|>=|<|>|≤|≥)? ?({_COMMA if local.decimal_comma else _NUMBER})(?: ?([^0-9.,].*))?",
        text,
    )
    if shape is None:
        hint = ""
        if re.fullmatch(r"[<>≤≥= ]*[0-9]+,[0-9]+.*", text):
            hint = " The site does not declare a decimal comma."
        raise _Hold(f"The value {_shown(text)} is not in the closed lists.{hint}")
    comparator, number, rest = shape.groups()
    outcome, written = _word_beside(rest or "")
    if outcome and test.kind is not Kind.VIRAL_LOAD:
        raise _Hold("A number with a word beside it is read for viral loads alone.")
    quantity = Quantity(
        float(number.replace(",", ".")),
        _unit(written, unit, test),
        COMPARATORS.get(comparator, "="),
    )
    return _Found(outcome, quantity)


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


def _checked(found: _Found, test: Test) -> _Found:
    """The answer must be of the kind that the test is answered with."""
    quantity = found.quantity
    if quantity is not None:
        _check_quantity(found, quantity, test)
    elif found.outcome and test.kind is Kind.AMOUNT and test.analyte in {"alt", "creatinine"}:
        raise _Hold(f"{test.code} is an amount, and the value is a word.")
    if test.kind is Kind.WHICH and found.outcome is Word.POSITIVE:
        raise _Hold(f"{test.code} says which was found, and the value says only that one was.")
    return found


def _check_quantity(found: _Found, quantity: Quantity, test: Test) -> None:
    if test.kind in {Kind.PRESENCE, Kind.WHICH}:
        raise _Hold(f"{test.code} is answered in words, and the value is a number.")
    below = quantity.comparator in {"<", "<="}
    if quantity.number == 0 and (below or test.kind is Kind.VIRAL_LOAD):
        raise _Hold(f"The value {quantity} is no amount; ask what the laboratory means by it.")
    if test.kind is not Kind.VIRAL_LOAD:
        return
    if below and found.outcome is None:
        raise _Hold(
            f"A viral load of {quantity} may mean detected but too little to count, or not "
            "detected; the laboratory has to say which."
        )
    if not below and found.outcome is Word.NEGATIVE:
        raise _Hold("The value is a count and says not detected.", About.CONTRADICTION)


# -- words and units ------------------------------------------------------------------------------


@cache
def _answers() -> dict[str, str]:
    return {word: name for name, listed in words()["words"].items() for word in listed}


@cache
def _names_of_codes() -> dict[str, str]:
    return {fold(name): answer for answer, name in words()["snomed"].values()}


def _lookup(text: str, local: Local) -> str:
    """What this whole text means; empty where it is in no list."""
    folded = fold(text)
    listed = _answers().get(folded, "")
    declared = next((answer for word, answer in local.words.items() if fold(word) == folded), "")
    if listed and declared and listed != declared:
        raise _Hold(
            f"The site declares {_shown(text)} as {declared}, and it means {listed}.",
            About.CONTRADICTION,
        )
    return listed or str(declared)


def _answer(text: str, local: Local, *, names: bool) -> str:
    """As `_lookup`; with `names` also the name of an answer code. Held where it is in no list."""
    bare = _TAG.sub("", text) if names else text
    answer = _lookup(bare, local) or (_names_of_codes().get(fold(bare), "") if names else "")
    if not answer:
        raise _Hold(f"The answer {_shown(text)} is not in the closed lists.")
    return answer


def _found(answer: str, text: str) -> _Found:
    if answer == NO_RESULT:
        return _Found(no_result=f"The laboratory writes {_shown(text)} in place of a result.")
    return _Found(outcome=Word(answer))


def _unit(written: str, declared: Coded, test: Test) -> str:
    """The unit in UCUM; every spelling that is given must mean the same one of the test's units."""
    if not test.units:
        return ""  # refused a little later, with the better reason
    meant = set()
    for spelling in _spellings(written, declared):
        units = {unit for unit in test.units if spelling in words()["units"][unit]}
        if not units:
            raise _Hold(
                f"The unit {_shown(spelling)} does not fit {test.code}, which is reported in "
                f"{' or '.join(test.units)}.",
                About.UNIT,
            )
        meant |= units
    if not meant:
        raise _Hold(f"The number has no unit; {test.code} needs one.", About.UNIT)
    if len(meant) > 1:
        raise _Hold(f"The number has two units: {' and '.join(sorted(meant))}.", About.UNIT)
    return meant.pop()


def _spellings(written: str, declared: Coded) -> Iterator[str]:
    """The unit in the text, and of each triple its code or else its text."""
    if written:
        yield written
    for code in declared.codes:
        if code.code or code.text:
            yield code.code or code.text
    if not declared.codes and declared.original:
        yield declared.original


# -- flags ----------------------------------------------------------------------------------------


def _flagged(flags: Iterable[str]) -> Word | None:
    """What the flags say in words, where they do."""
    listed = words()["flags"]
    said: set[Word] = set()
    for flag in flags:
        if flag in listed["resistance"]:
            raise _Hold(
                f"The flag {flag} speaks of resistance to a medicine (table 0078), not of this test.",
                About.CONTRADICTION,
            )
        answer = next((name for name in Word if flag.upper() in listed[name]), None)
        answer = answer or next((o for o in Word if _answers().get(fold(flag)) == o), None)
        if answer:
            said.add(answer)
    if len(said) > 1:
        raise _Hold("The flags contradict each other.", About.CONTRADICTION)
    return next(iter(said), None)


def _agree(found: _Found, flagged: Word | None, flags: tuple[str, ...], test: Test) -> None:
    if found.outcome and flagged and found.outcome is not flagged:
        raise _Hold(
            f"The value says {found.outcome} and the flag says {flagged}.", About.CONTRADICTION
        )
    quantity = found.quantity
    if quantity is None:
        return
    for mark in "<>":
        if mark in flags and not quantity.comparator.startswith(mark):
            raise _Hold(
                f"The flag {mark} says that the number is a limit of the measurement, and the value "
                "does not.",
                About.CONTRADICTION,
            )
    counted = test.kind is Kind.VIRAL_LOAD and found.outcome is None
    if counted and flagged in {Word.NEGATIVE, Word.INDETERMINATE}:
        raise _Hold(f"The value is a count and the flag says {flagged}.", About.CONTRADICTION)


def _against_range(quantity: Quantity | None, row: Observation, test: Test) -> Against | None:
    """What the laboratory says of a number against its own range, for a test that is read so."""
    if quantity is None or test.analyte not in _BY_RANGE:
        return None
    marked, compared = marked_against(row.flags), compared_with(quantity, row.range, row.unit)
    if marked and compared and marked is not compared:
        raise _Hold(
            f"The flag says {marked.replace('_', ' ')} the range, and the number says otherwise of the "
            f"range {_shown(row.range)}.",
            About.CONTRADICTION,
        )
    return marked or compared


def _shown(text: str) -> str:
    """The sender's text inside a sentence: short, on one line."""
    flat = " ".join(text.split())
    return f"“{flat[:60]}…”" if len(flat) > 60 else f"“{flat}”"
