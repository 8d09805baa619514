"""A protocol as people read it: tables, rules, sources, standing, proof. Plain values, no query."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, fields, is_dataclass
from datetime import date
from functools import lru_cache

import numpy as np

from thimble.clinical.saying import opening
from thimble.documents.words import duration_in_words, input_in_words
from thimble.ledger.plan import Plan
from thimble.protocol import STANDINGS, Fault, Protocol, Reason, check_protocol
from thimble.protocol.citing import Cited, cited, places
from thimble.protocol.compiling.grids import IMPOSSIBLE
from thimble.protocol.model import COURSE_CLOCKS, NOT_BEFORE, Case, Rule, Table

GRID_COLUMNS = 9
"""A COLLECT table with more columns than this says in one cell all that a rule tests."""
PAPER_COLUMNS = 11
"""More columns than this scroll inside their own frame also on a desk."""
SENTENCES = frozenset({"what", "text"})
"""Output columns that hold sentences."""
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
WHOM = {"worker": "the worker", "source": "the source patient", "department": "the department"}
KINDS = {
    "first_aid": "First aid", "sample": "Blood sample", "dose": "Dose", "ask": "Ask",
    "advice": "Advice", "counsel": "Counsel", "review": "Review",
}  # fmt: skip
TOPICS = {"hiv": "HIV", "hbv": "Hepatitis B", "hcv": "Hepatitis C"}
COLUMNS = {
    "action": "Name", "what": "What to do", "kind": "Kind", "for": "For",
    "counted_from": "Counted from", "earliest": "Not before", NOT_BEFORE: "Nor sooner than",
    "target": "Best by", "latest": "No later than", "topic": "About", "text": "What to know",
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
class CasePage:
    """One of the protocol's own cases that checks a table."""

    name: str
    source: str
    facts: tuple[str, ...]
    expects: tuple[str, ...]
    fault: str


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


@dataclass(frozen=True, slots=True)
class SourcePage:
    """A source with what rests on it."""

    key: str
    citation: str
    rules: int
    tables: tuple[Table, ...]


@dataclass(frozen=True, slots=True)
class Rails:
    """What a table takes and gives, drawn: a rail for each table whose answer others use.

    Pixels from the left. `through` pass, `takes` end in a dot on their rail, `begins` and `ends`
    are the rails that start and stop here, `left` is where the line to the table starts.
    """

    through: tuple[int, ...] = ()
    takes: tuple[int, ...] = ()
    begins: tuple[int, ...] = ()
    ends: tuple[int, ...] = ()
    left: int | None = None


@dataclass(frozen=True, slots=True)
class TableLine:
    """A table in the list of tables. `uses` are the numbers of the tables whose answers it uses."""

    table: Table
    rules: int
    unconfirmed: int
    faulty: bool
    uses: tuple[int, ...] = ()
    feeds: bool = False
    rails: Rails = Rails()


@dataclass(frozen=True, slots=True)
class ProtocolPage:
    """The protocol as a whole."""

    protocol: Protocol
    in_force: str
    tables: tuple[TableLine, ...]
    rails: int
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
    lines = _lines(protocol, proof)
    return ProtocolPage(
        protocol=protocol,
        in_force=f"In force since {words}" if begins <= today else f"Not in force before {words}",
        tables=lines,
        rails=RAIL * (sum(line.feeds for line in lines) + 1),
        standings=standings(rules),
        rules=len(rules),
        sources=tuple(_source(key, protocol) for key in protocol.sources),
        proof=proof,
        faults=tuple(str(fault) for fault in proof.faults),
        cases=len(protocol.cases),
    )


RAIL = 16
"""Pixels from rail to rail."""


def uses(protocol: Protocol) -> dict[str, tuple[str, ...]]:
    """By table, the tables whose answers it uses, in order. A table uses only earlier ones."""
    deciding = {decision: table.id for table in protocol.tables for decision in table.decides}
    order = [table.id for table in protocol.tables]
    return {
        table.id: tuple(
            sorted({deciding[c] for c in table.inputs if c in deciding}, key=order.index)
        )
        for table in protocol.tables
    }


def _lines(protocol: Protocol, proof: Proof) -> tuple[TableLine, ...]:
    taken = uses(protocol)
    order = [table.id for table in protocol.tables]
    last = {feeder: user for user in order for feeder in taken[user]}
    feeding = [table for table in order if table in last]
    at = {table: RAIL * place + RAIL // 2 for place, table in enumerate(feeding)}

    def rails(number: int, table: str) -> Rails:
        running = [f for f in feeding if order.index(f) < number <= order.index(last[f])]
        ends = [f for f in running if last[f] == table]
        met = [at[f] for f in (*taken[table], *([table] if table in last else []))]
        return Rails(
            through=tuple(at[f] for f in running if f not in ends),
            takes=tuple(at[f] for f in taken[table]),
            begins=(at[table],) if table in last else (),
            ends=tuple(at[f] for f in ends),
            left=min(met, default=None),
        )

    return tuple(
        TableLine(
            table,
            len(table.rules),
            sum(rule.standing != "read" for rule in table.rules),
            any(fault.file == table.file for fault in proof.faults),
            tuple(order.index(feeder) + 1 for feeder in taken[table.id]),
            table.id in last,
            rails(number, table.id),
        )
        for number, table in enumerate(protocol.tables)
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
        if any(key == named for named, _ in places(rule.source))
    ]
    tables = tuple({table.id: table for table, _ in resting}.values())
    return SourcePage(key, protocol.sources[key], len(resting), tables)


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


def column_label(column: str, protocol: Protocol) -> str:
    """An input column in words: a fact's question, a member of a set fact, or an earlier decision."""
    if column in protocol.outputs:
        return protocol.outputs[column].label or _plain(column)
    id_, _, member = column.partition(".")
    if id_ not in protocol.vocabulary:
        return _plain(column)
    fact = protocol.vocabulary[id_]
    return f"{fact.question} {fact.labels.get(member, _plain(member))}" if member else fact.question


def output_label(column: str, protocol: Protocol) -> str:
    """An output column in words."""
    if column in protocol.outputs:
        return protocol.outputs[column].label or _plain(column)
    return COLUMNS.get(column, _plain(column))


def output_words(column: str, cell: str, protocol: Protocol, whats: Mapping[str, str]) -> str:
    """An output cell in words."""
    if column in protocol.outputs:
        words = protocol.outputs[column].words(cell)
        return opening(words)
    if column in ("earliest", "target", "latest"):
        if cell == "PT0H":
            return "at once"
        return duration_in_words(cell) or "no limit"
    if column == NOT_BEFORE:
        if cell == "-":
            return "no limit"
        action, _, duration = cell.partition(" ")
        waited = whats.get(action, _plain(action))
        return f"{duration_in_words(duration)} after this is done: {waited}"
    if column == "counted_from":
        named = {"exposure": "the exposure", "-": "nothing", **COURSE_CLOCKS}
        return named.get(cell, whats.get(cell, _plain(cell)))
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
