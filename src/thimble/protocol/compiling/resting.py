"""On which facts a set of rules rests: directly, through feeding tables, through impossibilities."""

from __future__ import annotations

from collections.abc import Sequence

from ..faults import Fault, ProtocolFaults
from ..feel import UnaryTest
from ..model import Manifest, Rule, Table
from ..vocabulary import Vocabulary
from .grids import Grid
from .space import axis_for

CANNOT_FEED = (
    "is decided by a table that spans too many situations to feed another; split that table in two"
)


class Resting:
    """A protocol being compiled: its axes, and the grids that later tables may be fed by so far."""

    def __init__(self, manifest: Manifest, vocabulary: Vocabulary) -> None:
        self.manifest = manifest
        self.decided_by = {d: table for table in manifest.tables for d in table.decides}
        self.axes = {
            column: axis_for(column, vocabulary[column.partition(".")[0]], tests)
            for column, tests in sorted(
                self._tests_by_column().items(),
                key=lambda item: _column_order(vocabulary, item[0]),
            )
        }
        self.grids: dict[str, Grid] = {}
        self._asked_by: dict[str, tuple[int, ...]] = {}

    def _tests_by_column(self) -> dict[str, list[UnaryTest]]:
        tests: dict[str, list[UnaryTest]] = {}
        for table in self.manifest.tables:
            for rule in table.rules:
                for column, test in zip(table.inputs, rule.tests, strict=True):
                    if column not in self.decided_by:
                        tests.setdefault(column, []).append(test)
        for box in self.manifest.impossible:
            for column, test in box.tests.items():
                tests.setdefault(column, []).append(test)
        return tests

    def feeding(self, column: str) -> Grid | None:
        """The grid that decides an input column; None where it is a fact."""
        table = self.decided_by.get(column)
        return None if table is None else self.grids.get(table.id)

    def used(self, table: Table, rules: Sequence[Rule]) -> list[str]:
        """Input columns that some rule does not leave open."""
        at = {n for rule in rules for n in self._asked(rule)}
        return [table.inputs[n] for n in sorted(at)]

    def _asked(self, rule: Rule) -> tuple[int, ...]:
        """The places of the inputs that a rule does not leave open."""
        if rule.id not in self._asked_by:
            self._asked_by[rule.id] = tuple(n for n, test in enumerate(rule.tests) if not test.any)
        return self._asked_by[rule.id]

    def columns(self, table: Table, rules: Sequence[Rule]) -> tuple[str, ...]:
        """The fact columns that decide among these rules, impossibilities followed to the end."""
        columns: set[str] = set()
        for column in self.used(table, rules):
            feeder = self.decided_by.get(column)
            if feeder is not None and feeder.id not in self.grids:
                raise ProtocolFaults([Fault(table.file, 1, column, CANNOT_FEED)])
            columns.update([column] if feeder is None else self.grids[feeder.id].axes)
        return self.closed(columns)

    def closed(self, columns: set[str]) -> tuple[str, ...]:
        """These and all that share an impossibility with them, in protocol-wide order."""
        grown = True
        while grown:
            grown = False
            for box in self.manifest.impossible:
                if columns & box.tests.keys() and not columns >= box.tests.keys():
                    columns |= box.tests.keys()
                    grown = True
        return tuple(column for column in self.axes if column in columns)


def _column_order(vocabulary: Vocabulary, column: str) -> tuple[int, int]:
    fact_id, _, member = column.partition(".")
    fact = vocabulary[fact_id]
    return list(vocabulary).index(fact_id), fact.values.index(member) if member else 0
