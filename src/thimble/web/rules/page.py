"""A protocol as people read it: tables, rules, sources, standing, proof. Plain values, no query."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, fields, is_dataclass
from datetime import date
from functools import lru_cache

import numpy as np

from thimble.documents.words import cell_in_words, duration_in_words
from thimble.ledger.plan import Plan
from thimble.protocol import STANDINGS, Fault, Protocol, Reason, check_protocol
from thimble.protocol.index import IMPOSSIBLE
from thimble.protocol.model import NOT_BEFORE, Case, Rule, Table

GRID_COLUMNS = 9
"""More columns than this are wide; a COLLECT table then shows in each row what it tests alone."""

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
WHOM = {"worker": "the worker", "source": "the source patient", "department": "the department"}
KINDS = {
    "first_aid": "First aid", "sample": "Blood sample", "dose": "Dose", "ask": "Ask",
    "advice": "Advice", "counsel": "Counsel", "review": "Review",
}  # fmt: skip
TOPICS = {"hiv": "HIV", "hbv": "Hepatitis B", "hcv": "Hepatitis C"}
COLUMNS = {
    "action": "Name", "what": "What to do", "kind": "Kind", "for": "For",
    "counted_from": "Counted from", "earliest": "Not before", NOT_BEFORE: "Nor before", "target": "Best by",
    "latest": "No later than", "topic": "About", "text": "What to know",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Proof:
    """What was proved of a protocol: `situations` by table id, `faults` as found."""

    faults: tuple[Fault, ...]
    situations: Mapping[str, int]
    ordered: frozenset[str]

    @property
    def total(self) -> int:
        return sum(self.situations.values())


@dataclass(frozen=True, slots=True)
class Column:
    """A column's heading: the question, or what the column holds."""

    id: str
    label: str


@dataclass(frozen=True, slots=True)
class Cell:
    """One cell under its heading; `any` where the rule does not look at it."""

    label: str
    words: str
    any: bool = False


@dataclass(frozen=True, slots=True)
class Cited:
    """A source of a row: its key, where in it, and the citation."""

    key: str
    locator: str
    citation: str


@dataclass(frozen=True, slots=True)
class RulePage:
    """One rule. `fired` says that it is the one to look at; `why` says in words why it is marked."""

    id: str
    inputs: tuple[Cell, ...]
    outputs: tuple[Cell, ...]
    cited: tuple[Cited, ...]
    standing: str
    confirmed: bool
    note: str
    fired: bool = False

    @property
    def tested(self) -> tuple[Cell, ...]:
        """The cells that the rule looks at."""
        return tuple(cell for cell in self.inputs if not cell.any)


@dataclass(frozen=True, slots=True)
class CasePage:
    """One of the protocol's own cases that checks a table."""

    name: str
    source: str
    facts: tuple[str, ...]
    expects: tuple[str, ...]
    fault: str


@dataclass(frozen=True, slots=True)
class TablePage:
    """One table."""

    id: str
    question: str
    policy: str
    role: str
    inputs: tuple[Column, ...]
    outputs: tuple[Column, ...]
    rules: tuple[RulePage, ...]
    sparse: bool
    wide: bool
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


@dataclass(frozen=True, slots=True)
class SourcePage:
    """A source with what rests on it."""

    key: str
    citation: str
    rules: int
    tables: tuple[Table, ...]


@dataclass(frozen=True, slots=True)
class TableLine:
    """A table in the list of tables."""

    table: Table
    rules: int
    unconfirmed: int
    faulty: bool


@dataclass(frozen=True, slots=True)
class ProtocolPage:
    """The protocol as a whole."""

    protocol: Protocol
    in_force: str
    tables: tuple[TableLine, ...]
    standings: tuple[tuple[str, int], ...]
    rules: int
    sources: tuple[SourcePage, ...]
    proof: Proof
    faults: tuple[str, ...]
    cases: int


@lru_cache(maxsize=8)
def proof_of(protocol: Protocol) -> Proof:
    """Prove a protocol once; it cannot change while it is loaded."""
    situations: Counter[str] = Counter()
    for grid in protocol.index.grids:
        situations[grid.table.id] += int(np.count_nonzero(grid.codes != IMPOSSIBLE))
    ordered = frozenset(
        table.id
        for table in protocol.tables
        if any(decision in protocol.manifest.outcome_order for decision in table.decides)
    )
    return Proof(check_protocol(protocol), dict(situations), ordered)


def protocol_page(protocol: Protocol, today: date) -> ProtocolPage:
    """The overview: what it says of itself, how well its rules are known, on what they rest."""
    proof = proof_of(protocol)
    begins = protocol.in_force_from
    words = f"{begins.day} {begins:%B %Y}"
    rules = [rule for table in protocol.tables for rule in table.rules]
    return ProtocolPage(
        protocol=protocol,
        in_force=f"In force since {words}" if begins <= today else f"Not in force before {words}",
        tables=tuple(
            TableLine(
                table,
                len(table.rules),
                sum(rule.standing != "read" for rule in table.rules),
                any(fault.file == table.file for fault in proof.faults),
            )
            for table in protocol.tables
        ),
        standings=standings(rules),
        rules=len(rules),
        sources=tuple(_source(key, protocol) for key in protocol.sources),
        proof=proof,
        faults=tuple(str(fault) for fault in proof.faults),
        cases=len(protocol.cases),
    )


def standings(rules: Iterable[Rule]) -> tuple[tuple[str, int], ...]:
    """How many rules have each standing, in words, best known first."""
    counted = Counter(rule.standing for rule in rules)
    return tuple((words, counted[id_]) for id_, words in STANDINGS.items() if counted[id_])


def _source(key: str, protocol: Protocol) -> SourcePage:
    resting = [
        (table, rule)
        for table in protocol.tables
        for rule in table.rules
        if any(cited.key == key for cited in cited_by(rule, protocol))
    ]
    tables = tuple({table.id: table for table, _ in resting}.values())
    return SourcePage(key, protocol.sources[key], len(resting), tables)


_KEY = re.compile(r"([A-Za-z0-9_]+): (.*)", re.S)


def cited_by(rule: Rule, protocol: Protocol) -> tuple[Cited, ...]:
    """The sources of a rule, each with its place."""
    found: list[Cited] = []
    for part in rule.source.split("; "):
        match = _KEY.fullmatch(part)
        if match is not None and match[1] in protocol.sources:
            found.append(Cited(match[1], match[2], protocol.sources[match[1]]))
        elif found:
            last = found[-1]
            found[-1] = Cited(last.key, f"{last.locator}; {part}", last.citation)
        else:
            found.append(Cited("", part, ""))
    return tuple(found)


def table_page(protocol: Protocol, table: Table, fired: frozenset[str]) -> TablePage:
    """One table in words. `fired` are the rules to mark."""
    proof = proof_of(protocol)
    faults = tuple(fault.message for fault in proof.faults if fault.file == table.file)
    deciding = {decision: t for t in protocol.tables for decision in t.decides}
    asks = {deciding[c].id: deciding[c] for c in table.inputs if c in deciding}
    feeds = tuple(t for t in protocol.tables if set(table.decides) & set(t.inputs))
    whats = _whats(protocol)
    columns = len(table.inputs) + len(table.outputs)
    return TablePage(
        id=table.id,
        question=table.question,
        policy=HIT_POLICIES[table.hit_policy],
        role=ROLES[table.role],
        inputs=tuple(Column(c, column_label(c, protocol)) for c in table.inputs),
        outputs=tuple(Column(c, output_label(c, protocol)) for c in table.outputs),
        rules=tuple(_rule(rule, table, protocol, fired, whats) for rule in table.rules),
        sparse=table.hit_policy == "COLLECT" and columns > GRID_COLUMNS,
        wide=columns > GRID_COLUMNS,
        asks=tuple(asks.values()),
        feeds=feeds,
        stopped_by=whats.get(table.clock_stops_with, table.clock_stops_with.replace("_", " ")),
        situations=proof.situations.get(table.id, 0),
        monotone=table.id in proof.ordered,
        unique=table.hit_policy == "UNIQUE",
        faults=faults,
        cases=tuple(_case(case, protocol, proof) for case in protocol.cases if checks(case, table)),
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


def _rule(
    rule: Rule,
    table: Table,
    protocol: Protocol,
    fired: frozenset[str],
    whats: Mapping[str, str],
) -> RulePage:
    inputs = tuple(
        Cell(
            column_label(column, protocol), cell_words(column, cell, protocol), cell.strip() == "-"
        )
        for column, cell in zip(table.inputs, rule.cells, strict=True)
    )
    outputs = tuple(
        Cell(output_label(column, protocol), output_words(column, cell, protocol, whats))
        for column, cell in rule.outputs.items()
    )
    return RulePage(
        id=rule.id,
        inputs=inputs,
        outputs=outputs,
        cited=cited_by(rule, protocol),
        standing=STANDINGS[rule.standing],
        confirmed=rule.standing == "read",
        note="" if rule.note.strip() == "-" else rule.note,
        fired=rule.id in fired,
    )


def column_label(column: str, protocol: Protocol) -> str:
    """An input column in words: a fact's question, a member of a set fact, or an earlier decision."""
    if column in protocol.outputs:
        return protocol.outputs[column].label or _plain(column)
    id_, _, member = column.partition(".")
    if id_ not in protocol.vocabulary:
        return _plain(column)
    fact = protocol.vocabulary[id_]
    return f"{fact.question} {fact.labels.get(member, _plain(member))}" if member else fact.question


def cell_words(column: str, cell: str, protocol: Protocol) -> str:
    """An input cell in words."""
    if column in protocol.outputs:
        return cell_in_words(cell, dict(protocol.outputs[column].labels))
    id_, _, member = column.partition(".")
    if id_ not in protocol.vocabulary or member:
        return cell_in_words(cell, {"yes": "Yes", "no": "No"})
    fact = protocol.vocabulary[id_]
    return cell_in_words(cell, dict(fact.labels), fact.unit)


def output_label(column: str, protocol: Protocol) -> str:
    """An output column in words."""
    if column in protocol.outputs:
        return protocol.outputs[column].label or _plain(column)
    return COLUMNS.get(column, _plain(column))


def output_words(column: str, cell: str, protocol: Protocol, whats: Mapping[str, str]) -> str:
    """An output cell in words."""
    if column in protocol.outputs:
        words = protocol.outputs[column].words(cell)
        return words[:1].upper() + words[1:]
    if column in ("earliest", "target", "latest"):
        return duration_in_words(cell) or "no limit"
    if column == NOT_BEFORE and cell != "-":
        action, _, duration = cell.partition(" ")
        waited = whats.get(action, _plain(action))
        return f"{duration_in_words(duration)} after this is done: {waited}"
    if column == "counted_from":
        return {"exposure": "the exposure", "-": "nothing"}.get(cell, whats.get(cell, _plain(cell)))
    if column == "for":
        return WHOM.get(cell, cell)
    if column == "kind":
        return KINDS.get(cell, _plain(cell))
    if column == "topic":
        return TOPICS.get(cell, _plain(cell).capitalize())
    return cell


def _plain(id_: str) -> str:
    return id_.replace("_", " ").replace(".", ": ")


def checks(case: Case, table: Table) -> bool:
    """Whether one of the protocol's own cases expects something of a table."""
    named = {*case.expect, *case.possible, *case.includes, *case.excludes}
    return table.id in named or bool(named & set(table.decides))


def _case(case: Case, protocol: Protocol, proof: Proof) -> CasePage:
    column = f"case {case.name!r}"
    fault = next((fault.message for fault in proof.faults if fault.column == column), "")
    facts = []
    for id_, value in case.facts.items():
        fact = protocol.vocabulary[id_]
        facts.append(f"{fact.question} {fact.label(value)}")
    expects = [
        f"{output_label(name, protocol)}: {', '.join(_values(name, value, protocol))}"
        for name, value in case.expect.items()
    ]
    expects += [
        f"{output_label(name, protocol)}: still possible {', '.join(_values(name, values, protocol))}"
        for name, values in case.possible.items()
    ]
    expects += [
        f"{_plain(name)}: {lead} {', '.join(_plain(value) for value in values)}"
        for lead, wanted in (("holds", case.includes), ("holds not", case.excludes))
        for name, values in wanted.items()
    ]
    return CasePage(case.name, case.source, tuple(facts), tuple(expects), fault)


def _values(name: str, value: str | Iterable[str], protocol: Protocol) -> list[str]:
    values = [value] if isinstance(value, str) else list(value)
    if name in protocol.outputs:
        return [protocol.outputs[name].words(each) for each in values]
    return [_plain(each) for each in values]


# -- which rules fired ----------------------------------------------------------------------------


def fired_in(plan: Plan, table: str) -> frozenset[str]:
    """The rules of a table that a plan rests on: every reason in it, wherever it stands."""
    return frozenset(reason.rule for reason in _reasons(plan) if reason.table == table)


def _reasons(value: object) -> Iterable[Reason]:
    if isinstance(value, Reason):
        yield value
    elif isinstance(value, Mapping):
        for inner in value.values():
            yield from _reasons(inner)
    elif isinstance(value, tuple | list):
        for inner in value:
            yield from _reasons(inner)
    elif is_dataclass(value) and not isinstance(value, type):
        for part in fields(value):
            yield from _reasons(getattr(value, part.name))


def open_in(plan: Plan, table: Table, protocol: Protocol) -> tuple[str, ...]:
    """What a table's decisions still can be for a case, in words; () where all is settled."""
    said = []
    for decision in table.decides:
        finding = plan.findings.get(decision)
        if finding is not None and finding.value is None:
            possible = " or ".join(_values(decision, finding.possible, protocol))
            said.append(f"{output_label(decision, protocol)} is still open: {possible}")
    return tuple(said)
