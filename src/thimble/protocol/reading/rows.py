"""The file of one table: its header and its rules, cell by cell."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, cast

from ..citing import places
from ..feel import FeelError, UnaryTest, parse_codes
from ..finding import STANDINGS, Standing
from ..model import (
    ACTION_COLUMNS,
    ACTION_FOR,
    ACTION_KINDS,
    CAUTION_COLUMNS,
    NOT_BEFORE,
    Output,
    Rule,
    Table,
)
from .cells import DURATION, OUTPUT_MARK, parse_test
from .heads import TableHead
from .strict import MANIFEST, Strict

LAST_COLUMNS = ("source", "standing", "note")


@dataclass
class Rows:
    """Reads the files of tables. A rule's id is its own among all rules of the folder."""

    strict: Strict
    outputs: Mapping[str, Output]
    sources: Mapping[str, str]
    decided_by: Mapping[str, str]
    """Decision → id of the table that decides it."""
    rule_places: dict[str, str] = field(default_factory=dict)

    def read(self, head: TableHead) -> Table | None:
        """One table, without the rules that have a fault; None where not even its header is understood."""
        rows = self._csv(head.file)
        if not rows:
            return None
        shape = self._header(head, rows[0][1])
        if shape is None:
            return None
        inputs, outputs = shape
        width = 1 + len(inputs) + len(outputs) + len(LAST_COLUMNS)
        rules = []
        for line, row in rows[1:]:
            if len(row) != width:
                self.strict.fault(
                    head.file,
                    f"has {len(row)} cells where the header has {width}; "
                    "put texts that hold a comma in double quotes",
                    row=line,
                )
                continue
            rule = self._rule(head, line, row, inputs, outputs)
            if rule is not None:
                rules.append(rule)
        if len(rows) == 1:
            self.strict.fault(head.file, "has no rule; write at least one row", row=1)
        return Table(
            id=head.id,
            file=head.file,
            hit_policy="UNIQUE" if head.hit_policy == "UNIQUE" else "COLLECT",
            role=cast(Any, head.role),
            question=head.question,
            inputs=inputs,
            outputs=outputs,
            rules=tuple(rules),
            decides=head.decides,
            key=head.key,
            clock_stops_with=head.clock_stops_with,
        )

    def _csv(self, name: str) -> list[tuple[int, list[str]]]:
        try:
            text = (self.strict.folder / name).read_text(encoding="utf-8-sig")
        except (FileNotFoundError, IsADirectoryError):
            self.strict.fault(name or MANIFEST, "the file of this table is missing; add it")
            return []
        except UnicodeDecodeError as error:
            self.strict.fault(name, f"is not UTF-8 at byte {error.start}; save it as UTF-8")
            return []
        rows: list[tuple[int, list[str]]] = []
        reader = csv.reader(io.StringIO(text, newline=""), strict=True)
        line = 1
        try:
            for row in reader:
                if row and any(cell.strip() for cell in row):
                    rows.append((line, [cell.strip() for cell in row]))
                line = reader.line_num + 1
        except csv.Error as error:
            self.strict.fault(name, f"is not CSV: {error}", row=reader.line_num)
            return []
        if not rows:
            self.strict.fault(name, "is empty; write a header and at least one rule")
        return rows

    def _header(
        self, head: TableHead, header: list[str]
    ) -> tuple[tuple[str, ...], tuple[str, ...]] | None:
        before = len(self.strict.faults)
        if header[0] != "rule":
            self.strict.fault(head.file, "the first column must be 'rule'", row=1, column=header[0])
        if tuple(header[-len(LAST_COLUMNS) :]) != LAST_COLUMNS:
            self.strict.fault(
                head.file, f"the last columns must be {', '.join(LAST_COLUMNS)}", row=1
            )
        middle = header[1 : -len(LAST_COLUMNS)]
        inputs = tuple(c for c in middle if not c.startswith("→"))
        outputs = tuple(c.removeprefix("→").strip() for c in middle if c.startswith("→"))
        if tuple(c.startswith("→") for c in middle) != (False,) * len(inputs) + (True,) * len(
            outputs
        ):
            self.strict.fault(head.file, "write all input columns before the outputs", row=1)
        for columns, mark in ((inputs, ""), (outputs, OUTPUT_MARK)):
            for column in columns:
                if columns.count(column) > 1:
                    self.strict.fault(
                        head.file, "the column stands twice", row=1, column=mark + column
                    )
        for column in inputs:
            self.strict.check_column(head.file, 1, column, column, tuple(self.decided_by))
        if not inputs:
            self.strict.fault(head.file, "has no input column; a rule must ask something", row=1)
        self._check_output_columns(head, outputs)
        return (inputs, outputs) if len(self.strict.faults) == before else None

    def _check_output_columns(self, head: TableHead, outputs: tuple[str, ...]) -> None:
        expected: tuple[str, ...]
        if head.role == "actions":
            expected = ACTION_COLUMNS
            if NOT_BEFORE in outputs:
                expected = (*ACTION_COLUMNS, NOT_BEFORE)
        elif head.role == "cautions":
            expected = CAUTION_COLUMNS
        elif head.role == "reasons":
            expected = (head.id,)
        else:
            expected = head.decides
        if outputs != expected:
            self.strict.fault(
                head.file,
                f"the output columns must be {', '.join(OUTPUT_MARK + c for c in expected)}; "
                f"found {', '.join(OUTPUT_MARK + c for c in outputs) or 'none'}",
                row=1,
            )
        if head.key and head.key not in outputs:
            self.strict.fault(
                MANIFEST,
                f"the key of {head.id!r} is one of its output columns: {', '.join(outputs)}",
                column="tables.key",
            )

    def _rule(
        self,
        head: TableHead,
        line: int,
        row: list[str],
        inputs: tuple[str, ...],
        outputs: tuple[str, ...],
    ) -> Rule | None:
        before = len(self.strict.faults)
        names = ("rule", *inputs, *(OUTPUT_MARK + o for o in outputs), *LAST_COLUMNS)
        for name, cell in zip(names, row, strict=True):
            if not cell:
                self.strict.fault(
                    head.file, "the cell is empty; write - for any or none", row=line, column=name
                )
        rule_id = row[0]
        if rule_id in self.rule_places:
            self.strict.fault(
                head.file,
                f"the rule id {rule_id!r} stands in {self.rule_places[rule_id]} already; "
                "give this rule its own",
                row=line,
                column="rule",
            )
        elif rule_id:
            self.rule_places[rule_id] = f"{head.file}, row {line}"
        tests = []
        for column, cell in zip(inputs, row[1 : 1 + len(inputs)], strict=True):
            if not cell:
                continue
            try:
                tests.append(self._test(column, cell))
            except FeelError as error:
                self.strict.fault(head.file, str(error), row=line, column=column)
        values = dict(zip(outputs, row[1 + len(inputs) : -len(LAST_COLUMNS)], strict=True))
        for column, cell in values.items():
            self._check_output_cell(head, line, column, cell)
        source, standing, note = row[-len(LAST_COLUMNS) :]
        self._check_source(head, line, source)
        if standing and standing not in STANDINGS:
            self.strict.fault(
                head.file,
                f"{standing!r} is not a standing; write one of {', '.join(STANDINGS)}",
                row=line,
                column="standing",
            )
        if len(self.strict.faults) > before:
            return None
        return Rule(
            id=rule_id,
            row=line,
            tests=tuple(tests),
            outputs=values,
            source=source,
            standing=cast(Standing, standing),
            note="" if note == "-" else note,
        )

    def _test(self, column: str, cell: str) -> UnaryTest:
        fact = self.strict.vocabulary.get(column.partition(".")[0])
        if fact is None:
            output = self.outputs.get(column)  # absent where its own declaration is at fault
            return parse_codes(cell, output.values) if output else UnaryTest(cell, any=True)
        return parse_test(fact, cell)

    def _check_output_cell(self, head: TableHead, line: int, column: str, cell: str) -> None:
        allowed: tuple[str, ...] | None = None
        if column in self.outputs:
            allowed = self.outputs[column].values
        elif head.role == "actions":
            allowed = {"kind": ACTION_KINDS, "for": ACTION_FOR}.get(column)
            is_duration = column in {"earliest", "target", "latest"}
            if is_duration and cell not in {"", "-"} and not DURATION.fullmatch(cell):
                self.strict.fault(
                    head.file,
                    f"{cell!r} is not a duration; write for example PT72H, P7D, P6W, P4M, or -",
                    row=line,
                    column=OUTPUT_MARK + column,
                )
        if allowed is not None and cell and cell not in allowed:
            self.strict.fault(
                head.file,
                f"the value {cell!r} is not known; allowed are {', '.join(allowed)}",
                row=line,
                column=OUTPUT_MARK + column,
            )

    def _check_source(self, head: TableHead, line: int, source: str) -> None:
        for key, locator in places(source):
            if key not in self.sources:
                self.strict.fault(
                    head.file,
                    f"{key!r} is not among the protocol's sources; write KEY: place with KEY "
                    f"one of {', '.join(self.sources)}",
                    row=line,
                    column="source",
                )
            elif not locator:
                self.strict.fault(
                    head.file,
                    f"say where in {key} it stands; write {key}: place",
                    row=line,
                    column="source",
                )
