"""Finding a case: by its reference, or by the worker's name or staff number where that may be seen."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from thimble.actions.identity import WorkerIdentity
from thimble.actions.reference import ALPHABET, LENGTH, READ_AS, read_reference
from thimble.clinical.saying import opening

LEAST = 3
"""Fewer letters than these find half the house."""


@dataclass(frozen=True, slots=True)
class Found:
    """The cases that match, and a sentence about the search where one helps."""

    cases: tuple[str, ...]
    sentence: str = ""


def find(typed: str, cases: Iterable[str], workers: Mapping[str, WorkerIdentity] | None) -> Found:
    """Cases that match what was typed, in the order given.

    `workers` is None for somebody who may not see names: then only references are looked at, and
    the sentence says so.
    """
    typed = typed.strip()
    known = list(cases)
    if not typed:
        return Found((), "Type a reference, or the first letters of it.")
    fault = ""
    try:
        reference = read_reference(typed)
    except ValueError as error:
        fault = str(error)
    else:
        if reference in known:
            return Found((reference,))
    by_reference = _begins(typed, known)
    by_name = [] if workers is None else [c for c in known if _is(typed, workers.get(c))]
    found = tuple(dict.fromkeys([*by_reference, *by_name]))
    if found:
        return Found(found)
    if len(_letters(typed)) < LEAST:
        return Found((), f"Type at least {LEAST} letters or digits.")
    if workers is None:
        return Found((), opening(fault) + "." if fault else "No case has this reference.")
    return Found(
        (), "No case matches. Look again at the reference, or try the name or staff number."
    )


def _begins(typed: str, cases: Iterable[str]) -> list[str]:
    """Cases whose reference begins so, told as they are read aloud."""
    characters = "".join(READ_AS.get(c, c) for c in typed.upper() if c.isalnum())
    if not LEAST <= len(characters) <= LENGTH or any(c not in ALPHABET for c in characters):
        return []
    return [case for case in cases if case.replace("-", "").startswith(characters)]


def _is(typed: str, worker: WorkerIdentity | None) -> bool:
    """Whether each word typed begins a word of the name, or all of it is the staff number."""
    wanted = _words(typed)
    if worker is None or len("".join(wanted)) < LEAST:
        return False
    if worker.staff_number and _letters(worker.staff_number) == _letters(typed):
        return True
    own = _words(worker.name)
    return all(any(word.startswith(part) for word in own) for part in wanted)


def _words(text: str) -> list[str]:
    plain = unicodedata.normalize("NFKD", text.casefold())
    plain = "".join(c for c in plain if not unicodedata.combining(c))
    return "".join(c if c.isalnum() else " " for c in plain).split()


def _letters(text: str) -> str:
    return "".join(_words(text))
