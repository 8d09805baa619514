"""One table as people read it: every rule in words, with its source and its cases."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

from thimble.documents.words import input_in_words
from thimble.protocol import STANDINGS, Protocol
from thimble.protocol.citing import Cited, cited
from thimble.protocol.model import Rule, Table
from thimble.web.rules.cases import CasePage, case_in_words, checks
from thimble.web.rules.overview import standings
from thimble.web.rules.proof import proof_of
from thimble.web.rules.wording import (
    SENTENCES,
    column_label,
    output_label,
    output_words,
)

GRID_COLUMNS = 9
"""A COLLECT table with more columns than this says in one cell all that a rule tests."""
PAPER_COLUMNS = 11
"""More columns than this scroll inside their own frame also on a desk."""
ROOMY = 26
"""Characters; a column with a longer cell is not made narrow."""
BRIEF = 11
"""Characters, of a cell that is never broken into lines."""
NOTE_AT_ONCE = 180
"""Characters. Of a longer note the first sentence is shown, and the rest opens."""
HIT_POLICIES = {
    "UNIQUE": "Exactly one rule applies to any situation.",
    "COLLECT": "Every rule that applies counts.",
}
ROLES = {
    "decision": "Decides",
    "reasons": "Gives reasons",
    "actions": "Says what to do",
    "cautions": "Says what to keep in mind",
}


@dataclass(frozen=True, slots=True)
class Column:
    """A column's heading: the question, or what the column holds.

    `text`: it holds sentences; `roomy`: some cell of it is long.
    """

    id: str
    label: str
    text: bool = False
    roomy: bool = False


@dataclass(frozen=True, slots=True)
class Cell:
    """One cell under its heading; `any` where the rule does not look at it."""

    label: str
    words: str
    any: bool = False
    text: bool = False

    @property
    def brief(self) -> bool:
        """Whether the words are few enough to stay on one line."""
        return len(self.words) <= BRIEF


@dataclass(frozen=True, slots=True)
class RulePage:
    """One rule. `fired` says that it is the one to look at. `name` is that of its action, if any.

    `note` stands open; `rest` follows it once it is asked for.
    """

    id: str
    inputs: tuple[Cell, ...]
    outputs: tuple[Cell, ...]
    cited: tuple[Cited, ...]
    mark: str
    standing: str
    confirmed: bool
    name: str = ""
    note: str = ""
    rest: str = ""
    fired: bool = False

    @property
    def tested(self) -> tuple[Cell, ...]:
        """The cells that the rule looks at."""
        return tuple(cell for cell in self.inputs if not cell.any)


@dataclass(frozen=True, slots=True)
class TablePage:
    """One table. `same` are the outputs that no rule changes; `worded` says that what a rule tests
    stands in one cell."""

    id: str
    question: str
    policy: str
    role: str
    inputs: tuple[Column, ...]
    outputs: tuple[Column, ...]
    same: tuple[Cell, ...]
    rules: tuple[RulePage, ...]
    worded: bool
    wide: bool
    span: int
    asks: tuple[Table, ...]
    feeds: tuple[Table, ...]
    stopped_by: str
    situations: int
    monotone: bool
    unique: bool
    faults: tuple[str, ...]
    cases: tuple[CasePage, ...]
    standings: tuple[tuple[str, int], ...]

    @property
    def failing(self) -> tuple[CasePage, ...]:
        """The cases that do not come out as they say."""
        return tuple(case for case in self.cases if case.fault)


def table_page(protocol: Protocol, table: Table, fired: frozenset[str]) -> TablePage:
    """One table in words. `fired` are the rules to mark."""
    proof = proof_of(protocol)
    faults = tuple(fault.message for fault in proof.faults if fault.file == table.file)
    deciding = {decision: t for t in protocol.tables for decision in t.decides}
    asks = {deciding[c].id: deciding[c] for c in table.inputs if c in deciding}
    feeds = tuple(t for t in protocol.tables if set(table.decides) & set(t.inputs))
    whats = _whats(protocol)
    inputs, outputs, same = _shown(table)
    collects = table.hit_policy == "COLLECT"
    worded = collects and len(inputs) + len(outputs) > GRID_COLUMNS
    span = (1 if worded else len(inputs)) + len(outputs)
    first = table.rules[0].outputs if table.rules else {}
    rules = tuple(
        _rule(rule, table, protocol, rule.id in fired, whats, (inputs, outputs))
        for rule in table.rules
    )

    def roomy(place: int) -> bool:
        return any(len((*r.inputs, *r.outputs)[place].words) > ROOMY for r in rules)

    return TablePage(
        id=table.id,
        question=table.question,
        policy=HIT_POLICIES[table.hit_policy],
        role=ROLES[table.role],
        inputs=tuple(
            Column(c, column_label(c, protocol), roomy=roomy(place))
            for place, c in enumerate(inputs)
        ),
        outputs=tuple(
            Column(c, output_label(c, protocol), c in SENTENCES, roomy(place))
            for place, c in enumerate(outputs, len(inputs))
        ),
        same=tuple(_output(c, first[c], protocol, whats) for c in same),
        rules=rules,
        worded=worded,
        wide=span > PAPER_COLUMNS,
        span=span,
        asks=tuple(asks.values()),
        feeds=feeds,
        stopped_by=whats.get(table.clock_stops_with, table.clock_stops_with.replace("_", " ")),
        situations=proof.situations.get(table.id, 0),
        monotone=table.id in proof.ordered,
        unique=table.hit_policy == "UNIQUE",
        faults=faults,
        cases=tuple(
            case_in_words(case, protocol, proof) for case in protocol.cases if checks(case, table)
        ),
        standings=standings(table.rules),
    )


def _whats(protocol: Protocol) -> dict[str, str]:
    """The words of each action."""
    return {
        rule.outputs["action"]: rule.outputs["what"]
        for table in reversed(protocol.tables)
        if table.role == "actions"
        for rule in reversed(table.rules)
    }


def _shown(table: Table) -> tuple[tuple[str, ...], tuple[str, ...], tuple[str, ...]]:
    """The inputs and outputs that have a column, and the outputs that are the same in every rule.

    A table that decides shows all. One that collects leaves out an input that no rule looks at, and
    says once what no rule changes. The name of an action stands below its row.
    """
    inputs, outputs = tuple(table.inputs), tuple(table.outputs)
    if table.hit_policy != "COLLECT":
        return inputs, outputs, ()
    used = tuple(
        column
        for place, column in enumerate(inputs)
        if any(rule.cells[place].strip() != "-" for rule in table.rules)
    )
    outputs = tuple(column for column in outputs if column != "action")
    same = tuple(
        column
        for column in outputs
        if len(table.rules) > 1 and len({rule.outputs[column] for rule in table.rules}) == 1
    )
    return used, tuple(column for column in outputs if column not in same), same


def _rule(
    rule: Rule,
    table: Table,
    protocol: Protocol,
    fired: bool,
    whats: Mapping[str, str],
    shown: tuple[tuple[str, ...], tuple[str, ...]],
) -> RulePage:
    tests = dict(zip(table.inputs, rule.tests, strict=True))
    inputs, outputs = shown
    note, rest = _opening("" if rule.note.strip() == "-" else rule.note)
    return RulePage(
        id=rule.id,
        inputs=tuple(
            Cell(
                column_label(column, protocol),
                input_in_words(column, tests[column], protocol),
                tests[column].any,
            )
            for column in inputs
        ),
        outputs=tuple(_output(c, rule.outputs[c], protocol, whats) for c in outputs),
        cited=cited(rule.source, protocol.sources),
        mark=rule.standing,
        standing=STANDINGS[rule.standing],
        confirmed=rule.standing == "read",
        name=rule.outputs.get("action", ""),
        note=note,
        rest=rest,
        fired=fired,
    )


def _output(column: str, cell: str, protocol: Protocol, whats: Mapping[str, str]) -> Cell:
    return Cell(
        output_label(column, protocol),
        output_words(column, cell, protocol, whats),
        cell.strip() == "-",
        column in SENTENCES,
    )


_SENTENCE = re.compile(r"(.+?[.])\s+(.+)", re.S)


def _opening(note: str) -> tuple[str, str]:
    """A note as it stands, or its first sentence and the rest where it is long."""
    match = _SENTENCE.fullmatch(note) if len(note) > NOTE_AT_ONCE else None
    return (match[1], match[2]) if match is not None else (note, "")
