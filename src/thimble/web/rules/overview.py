"""A protocol as a whole: its tables and which feeds which, its sources, its standing, its proof."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from thimble.protocol import STANDINGS, Protocol
from thimble.protocol.citing import places
from thimble.protocol.model import Rule, Table
from thimble.web.rules.proof import Proof, proof_of


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
    counted = Counter[str](rule.standing for rule in rules)
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
