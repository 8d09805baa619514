"""What an evaluation says: values, what is still possible, why, and what to ask next."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

Standing = Literal["read", "secondary", "memory", "derived", "unread"]
"""How well a rule is known: read in its document; in a text that cites it; from memory; derived from
other rows; or its document could not be read, so that the rule leaves the decision to a person."""

STANDINGS: Mapping[str, str] = {
    "read": "read in the source",
    "secondary": "from a text that cites the source",
    "memory": "from memory",
    "derived": "derived from other rules, not printed in the source",
    "unread": "the source could not be read; a person decides",
}


@dataclass(frozen=True, slots=True)
class Reason:
    """One rule that fired."""

    table: str
    rule: str
    source: str
    standing: Standing
    note: str = ""

    @property
    def confirmed(self) -> bool:
        """Whether the rule was read in its own document."""
        return self.standing == "read"

    @property
    def cited(self) -> str:
        """The rule with its source and its standing in words, then its note."""
        note = "" if self.note in ("", "-") else f" {self.note}"
        return f"{self.rule} ({self.source}; {STANDINGS[self.standing]}).{note}"


@dataclass(frozen=True, slots=True)
class Finding:
    """One decision of a UNIQUE table.

    `value` is None while `possible` holds more than one outcome; `because` is then empty.
    `possible` is exact: every outcome in it is reached by some completion of the missing facts.
    `open_facts` are the missing facts that can still change it.
    """

    decision: str
    value: str | None
    possible: tuple[str, ...]
    because: tuple[Reason, ...] = ()
    open_facts: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Item:
    """One entry of a COLLECT table: certain to apply, or possible while `open_facts` are missing.

    `outputs` maps each output column to its cell.
    """

    table: str
    outputs: Mapping[str, str]
    certain: bool
    because: tuple[Reason, ...] = ()
    open_facts: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Question:
    """A missing fact and the decisions and collections it can still change, most urgent first."""

    fact: str
    changes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Evaluation:
    """Everything a protocol says of one situation.

    `findings` by decision, in protocol order; `items` by COLLECT table, in row order;
    `questions` most urgent first.
    """

    findings: Mapping[str, Finding]
    items: Mapping[str, tuple[Item, ...]]
    questions: tuple[Question, ...]
