"""The tables as one SQL query for DuckDB: a CASE a decision, a filtered list a collection."""

from __future__ import annotations

from typing import Any

import duckdb
from bench.situations import Situation, look

from thimble.protocol import Protocol
from thimble.protocol.feel import UnaryTest


class DuckPeer:
    """One protocol in DuckDB: a table of situations, answered by one query."""

    def __init__(self, protocol: Protocol, situations: list[Situation]) -> None:
        self.protocol = protocol
        self._columns = list(protocol.index.axes)
        self._db = duckdb.connect()
        self._db.execute("SET threads = 1")
        kinds = ", ".join(
            f'"{c}" {"DOUBLE" if axis.fact.kind == "number" else "VARCHAR"}'
            for c, axis in protocol.index.axes.items()
        )
        self._db.execute(f"CREATE TABLE situations (n INTEGER, {kinds})")
        marks = ", ".join("?" * (len(self._columns) + 1))
        self._db.executemany(
            f"INSERT INTO situations VALUES ({marks})",  # noqa: S608 - our own text
            [[n, *(look(s, c) for c in self._columns)] for n, s in enumerate(situations)],
        )
        self._query = _query(protocol)

    def ask(self, number: int) -> Any:
        """One whole decision."""
        return self._db.execute(self._query.replace("1 = 1", f"n = {number}")).fetchall()

    def ask_all(self) -> Any:
        """Every situation at once."""
        return self._db.execute(self._query).fetchall()

    def as_rules(self, row: Any) -> dict[str, set[str]]:
        """Table → rules that fired, for comparison; `row` follows the tables' order."""
        return {
            table.id: {cell} if isinstance(cell, str) else set(cell)
            for table, cell in zip(self.protocol.tables, row, strict=True)
        }


def _query(protocol: Protocol) -> str:
    steps = ["WITH s0 AS (SELECT * FROM situations WHERE 1 = 1)"]
    for n, table in enumerate(protocol.tables):
        conditions = [
            " AND ".join(
                _condition(column, test)
                for column, test in zip(table.inputs, rule.tests, strict=True)
                if not test.any
            )
            or "TRUE"
            for rule in table.rules
        ]
        if table.hit_policy == "UNIQUE":
            columns = [
                f'CASE {_whens(conditions, [r.outputs[d] for r in table.rules])} END AS "{d}"'
                for d in table.decides
            ]
            ids = [r.id for r in table.rules]
            columns.append(f'CASE {_whens(conditions, ids)} END AS "rules_{table.id}"')
        else:
            fired = ", ".join(
                f"CASE WHEN {c} THEN '{r.id}' END"
                for c, r in zip(conditions, table.rules, strict=True)
            )
            columns = [f'list_filter([{fired}], lambda x: x IS NOT NULL) AS "rules_{table.id}"']
        steps.append(f"s{n + 1} AS MATERIALIZED (SELECT *, {', '.join(columns)} FROM s{n})")  # noqa: S608
    wanted = ", ".join(f'"rules_{table.id}"' for table in protocol.tables)
    return f"{', '.join(steps)} SELECT {wanted} FROM s{len(protocol.tables)} ORDER BY n"  # noqa: S608


def _whens(conditions: list[str], values: list[str]) -> str:
    return " ".join(f"WHEN {c} THEN '{v}'" for c, v in zip(conditions, values, strict=True))


def _condition(column: str, test: UnaryTest) -> str:
    if test.codes:
        codes = ", ".join(f"'{code}'" for code in test.codes)
        return f'"{column}" {"NOT IN" if test.negated else "IN"} ({codes})'
    parts = []
    for i in test.intervals:
        ends = []
        if i.low is not None:
            ends.append(f'"{column}" {">=" if i.low_closed else ">"} {i.low}')
        if i.high is not None:
            ends.append(f'"{column}" {"<=" if i.high_closed else "<"} {i.high}')
        parts.append(f"({' AND '.join(ends)})")
    return f"{'NOT ' if test.negated else ''}({' OR '.join(parts)})"
