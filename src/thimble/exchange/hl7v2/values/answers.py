"""What a word means: the closed lists, and what the site declared."""

from __future__ import annotations

import re
from functools import cache
from typing import Final

from thimble.clinical.laboratory import Local, fold
from thimble.clinical.serology import Word
from thimble.exchange.hl7v2.loinc import words
from thimble.exchange.hl7v2.reading import (
    About,
)
from thimble.exchange.hl7v2.values.hold import Found, Hold, shown

NO_RESULT: Final = "no_result"
_TAG = re.compile(r"\s*\((?:qualifier value|finding)\)$", re.IGNORECASE)


@cache
def answers() -> dict[str, str]:
    """Each word of the closed lists, with what it means."""
    return {word: name for name, listed in words()["words"].items() for word in listed}


@cache
def _names_of_codes() -> dict[str, str]:
    return {fold(name): answer for answer, name in words()["snomed"].values()}


def lookup(text: str, local: Local) -> str:
    """What this whole text means; empty where it is in no list."""
    folded = fold(text)
    listed = answers().get(folded, "")
    declared = next((answer for word, answer in local.words.items() if fold(word) == folded), "")
    if listed and declared and listed != declared:
        raise Hold(
            f"The site declares {shown(text)} as {declared}, and it means {listed}.",
            About.CONTRADICTION,
        )
    return listed or str(declared)


def answer_of(text: str, local: Local, *, names: bool) -> str:
    """As `lookup`; with `names` also the name of an answer code. Held where it is in no list."""
    bare = _TAG.sub("", text) if names else text
    answer = lookup(bare, local) or (_names_of_codes().get(fold(bare), "") if names else "")
    if not answer:
        raise Hold(f"The answer {shown(text)} is not in the closed lists.")
    return answer


def found_of(answer: str, text: str) -> Found:
    """What an answer of the closed lists says; `text` is how it was written."""
    if answer == NO_RESULT:
        return Found(no_result=f"The laboratory writes {shown(text)} in place of a result.")
    return Found(outcome=Word(answer))
