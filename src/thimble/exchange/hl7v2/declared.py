"""What a site declares of its laboratory, held against the tests and words that are read here."""

from __future__ import annotations

import re

from thimble.clinical.laboratory import Local, fold
from thimble.exchange.hl7v2.loinc import is_loinc, tests, words

_NUMERIC = re.compile(r"\s*[<>≤≥=0-9.,]")


def faults_of(local: Local) -> list[str]:
    """One sentence for each declaration that could never be followed or would change what a number
    says; none: it can be used."""
    faults = [
        f"codes: {code!r} of {system!r} is mapped to {loinc}, which is not among the tests that are "
        "read here. Map it to one of them, or leave it out: results under it are then held for a person."
        for (system, code), loinc in local.codes.items()
        if loinc not in tests()
    ]
    faults += [
        f"codes: {code!r} of {system!r} is mapped to {loinc}, but {system!r} names LOINC itself, whose "
        "codes mean what they are. Write the name of the laboratory's own coding system."
        for (system, code), loinc in local.codes.items()
        if is_loinc(system) and code != loinc
    ]
    faults += [
        f"passed_over: {code!r} of {system!r} is read here, and what is read is never passed over. "
        "Leave it out."
        for system, code in sorted(local.passed_over)
        if (system, code) in local.codes or (is_loinc(system) and code in tests())
    ]
    listed = {word: name for name, every in words()["words"].items() for word in every}
    faults += [
        f"words: {text!r} is declared as {meaning}, and it means {listed[fold(text)]} everywhere. "
        "Leave it out."
        for text, meaning in local.words.items()
        if listed.get(fold(text), meaning) != meaning
    ]
    faults += [
        f"words: {text!r} is declared as {meaning}, and what begins like a number is read as one: a "
        "declared word never gives a number another meaning. Leave it out."
        for text, meaning in local.words.items()
        if _NUMERIC.match(text)
    ]
    return faults
