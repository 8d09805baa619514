"""What a site declares of its laboratory, held against the tests and words that are read here."""

from __future__ import annotations

from thimble.clinical.laboratory import Local, fold
from thimble.exchange.hl7v2.loinc import tests, words


def faults_of(local: Local) -> list[str]:
    """One sentence for each declaration that could never be followed; none: it can be used."""
    faults = [
        f"{code!r} of {system!r} is mapped to {loinc}, which is not among the tests that are read here."
        for (system, code), loinc in local.codes.items()
        if loinc not in tests()
    ]
    listed = {word: name for name, every in words()["words"].items() for word in every}
    faults += [
        f"{text!r} is declared as {meaning}, and it means {listed[fold(text)]} everywhere."
        for text, meaning in local.words.items()
        if listed.get(fold(text), meaning) != meaning
    ]
    return faults
