"""A protocol as read: tables, rules, outputs, sources. Plain values; nothing is computed here."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Any, Literal

from .feel import UnaryTest
from .finding import Reason, Standing

HitPolicy = Literal["UNIQUE", "COLLECT"]
Role = Literal["decision", "reasons", "actions", "cautions"]

ACTION_COLUMNS = (
    "action", "what", "kind", "for", "counted_from", "earliest", "target", "latest",
)  # fmt: skip
ACTION_KINDS = ("first_aid", "sample", "dose", "ask", "advice", "counsel", "review")
ACTION_FOR = ("worker", "source", "department")
COUNTED_FROM_EXPOSURE = "exposure"
COURSE_END = "course_end"
COURSE_CLOCKS = {
    "course_start": "the first dose of prophylaxis",
    COURSE_END: "the end of prophylaxis",
    "supply_end": "when the tablets handed out are used up",
    "doses_missed": "when missed doses were last told",
    "side_effects": "when a side effect was last told",
    "course_resumed": "when prophylaxis was last taken up again",
}
"""Instants of a course of prophylaxis that a window can count from, with the words for them."""
NOT_BEFORE = "not_before"
"""A further column that a table of actions may have: `ACTION DURATION`, or `-`."""
CAUTION_COLUMNS = ("topic", "text")
PER_KILOGRAM = "kg"


@dataclass(frozen=True, slots=True)
class Output:
    """A decision: the values it can take, with the words to show for them.

    An `inner` decision is a step on the way to others: nobody is asked to make it. One that stands
    `beside` another says something about that one, and nothing where that one asks for nothing.
    """

    id: str
    values: tuple[str, ...]
    label: str = ""
    labels: Mapping[str, str] = field(default_factory=dict)
    inner: bool = False
    beside: str = ""

    def words(self, value: str) -> str:
        return self.labels.get(value, value.replace("_", " "))


@dataclass(frozen=True, slots=True)
class Rule:
    """One row. `tests` and `cells` follow the table's inputs; `outputs` maps column → cell."""

    id: str
    row: int
    tests: tuple[UnaryTest, ...]
    outputs: Mapping[str, str]
    source: str
    standing: Standing
    note: str

    @property
    def cells(self) -> tuple[str, ...]:
        return tuple(test.text for test in self.tests)


@dataclass(frozen=True, slots=True)
class Table:
    """One question. `inputs` are columns: facts, set members (`fact.member`) or earlier decisions.

    `clock_stops_with` names the action after which the hours of this table's facts stand still.
    """

    id: str
    file: str
    hit_policy: HitPolicy
    role: Role
    question: str
    inputs: tuple[str, ...]
    outputs: tuple[str, ...]
    rules: tuple[Rule, ...]
    decides: tuple[str, ...]
    key: str
    clock_stops_with: str

    def reason(self, rule: Rule) -> Reason:
        return Reason(self.id, rule.id, rule.source, rule.standing, rule.note)


@dataclass(frozen=True, slots=True)
class Impossible:
    """Situations that cannot be: every column's test holds at once, and `because` says why not.

    `gives_way` names the fact that makes sense only after the others: where records contradict each
    other so, it is left out and the others stand. "" where none does.
    """

    tests: Mapping[str, UnaryTest]
    because: str
    gives_way: str = ""


@dataclass(frozen=True, slots=True)
class Amount:
    """How much the doses of `actions` are: three decisions, a route, and the fact they go by.

    `amount`, `per` and `unit` are outputs; where `per` is PER_KILOGRAM the number is multiplied by
    the number fact `weight`, in kg. `route` is shown behind it ("IM"), "" where none is said.
    """

    actions: tuple[str, ...]
    amount: str
    per: str
    unit: str
    weight: str
    route: str = ""

    @property
    def parts(self) -> tuple[str, str, str]:
        """The three decisions, which are shown as one amount."""
        return (self.amount, self.per, self.unit)


@dataclass(frozen=True, slots=True)
class Case:
    """One of the protocol's own tests; `facts` are checked, the expectations are as written."""

    name: str
    source: str
    facts: Mapping[str, Any]
    expect: Mapping[str, str | list[str]]
    possible: Mapping[str, tuple[str, ...]]
    includes: Mapping[str, tuple[str, ...]]
    excludes: Mapping[str, tuple[str, ...]]


@dataclass(frozen=True, slots=True)
class Manifest:
    """What a protocol says of itself, and its parts."""

    id: str
    title: str
    jurisdiction: str
    edition: str
    in_force_from: date
    note: str
    sources: Mapping[str, str]
    outputs: Mapping[str, Output]
    tables: tuple[Table, ...]
    impossible: tuple[Impossible, ...]
    amounts: tuple[Amount, ...]
    named_actions: Mapping[str, tuple[str, ...]]
    share_within: str
    fact_order: Mapping[str, tuple[tuple[str, ...], ...]]
    outcome_order: Mapping[str, tuple[tuple[str, ...], ...]]
    cases: tuple[Case, ...]
    digest: str
