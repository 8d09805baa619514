"""Which test a row is of: by its code alone."""

from __future__ import annotations

import re

from thimble.clinical.laboratory import Local, well_formed
from thimble.exchange.hl7v2.loinc import Kind, Test, is_loinc, tests, words
from thimble.exchange.hl7v2.model import Coded
from thimble.exchange.hl7v2.reading import (
    About,
)
from thimble.exchange.hl7v2.values.hold import Hold, shown

_WORD = re.compile(r"[^\W_]+")


def named_test(coded: Coded, local: Local) -> Test:
    """By code, never by name; a name that contradicts the code is held."""
    named = [code.code for code in coded.codes if is_loinc(code.system) and code.code]
    for code in named:
        if not well_formed(code):
            raise Hold(
                f"{shown(code)} is sent as a LOINC code and is none: such a code is digits, a hyphen "
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
        raise Hold("No code names the test, and the site maps none of the local codes.", About.TEST)
    if len(meant) > 1:
        raise Hold(f"The codes {' and '.join(meant)} name different tests.", About.CONTRADICTION)
    test = tests().get(meant[0])
    if test is None:
        raise Hold(f"{shown(meant[0])} is not among the tests that are read here.", About.TEST)
    _check_names(test, coded)
    if test.kind is Kind.UNSURE:
        raise Hold(f"What {test.code} measures was not confirmed; ask the laboratory.", About.TEST)
    if test.kind is Kind.ANTIBODY_ALONE:
        raise Hold(
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
                raise Hold(
                    f"The code {test.code} means {test.analyte}, but its name has the word "
                    f"“{word}”.",
                    About.CONTRADICTION,
                )
