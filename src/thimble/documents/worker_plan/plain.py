"""The plain words of `plain.toml`."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

from thimble.ledger.prophylaxis.course import ANSWER


@dataclass(frozen=True, slots=True)
class Unsaid:
    """Phrases of precautions that are left out while a fact has one of the values."""

    fact: str
    values: tuple[str, ...]
    phrases: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class PlainWords:
    """`plain.toml`: decision → value (and `question`) → words; action → words, to do and as given; what
    a decision gives as a reason for another; fact → its short name; what is not said to whom."""

    decisions: Mapping[str, Mapping[str, str]]
    actions: Mapping[str, str]
    given: Mapping[str, str]
    unsaid: tuple[Unsaid, ...]
    perhaps: Mapping[str, Mapping[str, str]]
    because: Mapping[str, Mapping[str, str]]
    facts: Mapping[str, str]


def plain_id(action: str) -> str:
    """The id under which an action has its plain words: each expert's answer has an id of its own."""
    return ANSWER.rstrip("_") if action.startswith(ANSWER) else action


@cache
def plain_words() -> PlainWords:
    """The plain words, read once."""
    text = (files("thimble.documents.worker_plan") / "plain.toml").read_text(encoding="utf-8")
    read = tomllib.loads(text)
    return PlainWords(
        decisions=read["decisions"],
        actions=read["actions"],
        given=read["given"],
        unsaid=tuple(
            Unsaid(one["fact"], tuple(one["values"]), tuple(one["phrases"]))
            for one in read["unsaid"]
        ),
        perhaps=read["perhaps"],
        because=read["because"],
        facts=read["facts"],
    )
