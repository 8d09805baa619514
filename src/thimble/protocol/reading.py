"""Read a protocol folder as strictly as a compiler reads a program.

Unknown keys, columns, facts, values and units, empty cells, rule ids used twice and tables that feed
themselves are refused, each with file, row, column and what is allowed; every fault of the folder is
reported at once.
"""

from __future__ import annotations

import csv
import hashlib
import io
import re
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from pathlib import Path
from typing import Any, cast

from .citing import places
from .faults import ProtocolFaults
from .feel import FeelError, UnaryTest, parse_codes
from .finding import STANDINGS, Standing
from .model import (
    ACTION_COLUMNS,
    ACTION_FOR,
    ACTION_KINDS,
    CAUTION_COLUMNS,
    COUNTED_FROM_EXPOSURE,
    COURSE_CLOCKS,
    NOT_BEFORE,
    Manifest,
    Output,
    Rule,
    Table,
)
from .reading_rest import (
    parse_test,
    read_amounts,
    read_cases,
    read_impossible,
    read_named_actions,
    read_severity,
)
from .strict import CASES, MANIFEST, Strict
from .vocabulary import Vocabulary

OUTPUT_MARK = "→ "
LAST_COLUMNS = ("source", "standing", "note")
ROLES = ("reasons", "actions", "cautions")
NONE = "-"
DURATION = re.compile(r"PT[0-9]+[HM]|P[0-9]+[DWMY]")
IDENTIFIER = re.compile(r"[a-z][a-z0-9_]*")


def read_folder(folder: Path, vocabulary: Vocabulary) -> Manifest:
    """The protocol in `folder`.

    Raises:
        ProtocolFaults: every fault found, in file and row order.
    """
    return _Reader(folder, vocabulary).read()


@dataclass
class _TableHead:
    """A `[[tables]]` entry of the manifest, before its file is read."""

    id: str
    file: str
    hit_policy: str
    role: str
    question: str
    decides: tuple[str, ...]
    key: str
    clock_stops_with: str


@dataclass
class _Reader(Strict):
    outputs: dict[str, Output] = field(default_factory=dict)
    sources: dict[str, str] = field(default_factory=dict)
    rule_places: dict[str, str] = field(default_factory=dict)
    incomplete: set[str] = field(default_factory=set)
    """Tables with a fault in them: what else names their content is not judged by what is left."""

    # -- the folder ---------------------------------------------------------------------------

    def read(self) -> Manifest:
        raw = self.toml(MANIFEST)
        if raw is None:
            raise ProtocolFaults(self.faults)
        self.keys(
            MANIFEST, raw, "",
            required=("id", "title", "jurisdiction", "edition", "in_force_from", "sources",
                      "outputs", "tables"),
            optional=("note", "severity", "impossible", "amounts", "named_actions",
                      "share_within"),
        )  # fmt: skip
        words = {
            key: self.text(MANIFEST, raw, key)
            for key in ("id", "title", "jurisdiction", "edition", "note")
        }
        self.sources = self.texts(MANIFEST, raw.get("sources", {}), "sources")
        self._read_outputs(raw.get("outputs", {}))
        heads = self._read_heads(raw.get("tables", []))
        self._check_files(heads)
        tables = self._read_tables(heads)
        self._check_outputs(heads)
        self._check_clocks(heads, tables)
        unsure = self.incomplete | {
            d for head in heads if head.id in self.incomplete for d in head.decides
        }
        impossible = read_impossible(self, raw.get("impossible", []))
        amounts = read_amounts(self, raw.get("amounts", []), tables, unsure)
        named = read_named_actions(self, raw.get("named_actions", {}), tables, unsure)
        fact_order, outcome_order = read_severity(self, raw.get("severity", {}), self.outputs)
        cases = read_cases(self, tables, self.outputs, unsure)
        share_within = self.text(MANIFEST, raw, "share_within")
        if share_within and not DURATION.fullmatch(share_within):
            self.fault(
                MANIFEST,
                f"{share_within!r} is not a duration; write for example P7D",
                column="share_within",
            )
        in_force = raw.get("in_force_from")
        if not isinstance(in_force, date) or isinstance(in_force, datetime):
            self.fault(MANIFEST, "write a date, for example 2026-01-01", column="in_force_from")
            in_force = date.min
        if self.faults:
            raise ProtocolFaults(sorted(self.faults))
        return Manifest(
            **words,
            in_force_from=in_force,
            sources=self.sources,
            outputs=self.outputs,
            tables=tuple(tables),
            impossible=tuple(impossible),
            amounts=tuple(amounts),
            named_actions=named,
            share_within=share_within,
            fact_order=fact_order,
            outcome_order=outcome_order,
            cases=tuple(cases),
            digest=_digest(self.folder),
        )

    # -- outputs, tables' heads ---------------------------------------------------------------

    def _read_outputs(self, raw: Any) -> None:
        for id_, body in self.table(MANIFEST, raw, "outputs").items():
            where = f"outputs.{id_}"
            if id_ in self.vocabulary:
                self.fault(MANIFEST, "is the name of a fact; choose another", column=where)
            if not self.keys(
                MANIFEST, body, where, ("values",), ("label", "labels", "inner", "beside")
            ):
                continue
            values = self.list_of_texts(MANIFEST, body.get("values"), f"{where}.values")
            labels = self.texts(MANIFEST, body.get("labels", {}), f"{where}.labels")
            for value in labels:
                if value not in values:
                    self.fault(
                        MANIFEST,
                        f"labels {value!r}, which is not a value; values are {', '.join(values)}",
                        column=f"{where}.labels",
                    )
            inner = body.get("inner", False)
            if not isinstance(inner, bool):
                self.fault(MANIFEST, "write true or false", column=f"{where}.inner")
            self.outputs[id_] = Output(
                id_, values, self.text(MANIFEST, body, "label", where), labels, inner is True,
                self.text(MANIFEST, body, "beside", where),
            )  # fmt: skip

    def _read_heads(self, raw: Any) -> list[_TableHead]:
        heads: list[_TableHead] = []
        for where, body in self.tables(MANIFEST, raw, "tables"):
            if not self.keys(
                MANIFEST, body, where,
                ("id", "file", "hit_policy", "question"),
                ("decides", "role", "key", "clock_stops_with"),
            ):  # fmt: skip
                continue
            head = _TableHead(
                id=self.text(MANIFEST, body, "id", where),
                file=self.text(MANIFEST, body, "file", where),
                hit_policy=self.text(MANIFEST, body, "hit_policy", where),
                role=self.text(MANIFEST, body, "role", where) or "decision",
                question=self.text(MANIFEST, body, "question", where),
                decides=self.list_of_texts(MANIFEST, body["decides"], f"{where}.decides")
                if "decides" in body
                else (),
                key=self.text(MANIFEST, body, "key", where),
                clock_stops_with=self.text(MANIFEST, body, "clock_stops_with", where),
            )
            self._check_head(head, heads, where)
            heads.append(head)
        return heads

    def _check_head(self, head: _TableHead, earlier: list[_TableHead], where: str) -> None:
        if not IDENTIFIER.fullmatch(head.id):
            self.fault(MANIFEST, "write lower-case letters, digits and _", column=f"{where}.id")
        if head.file != Path(head.file).name or not head.file.endswith(".csv"):
            self.fault(
                MANIFEST,
                f"{head.file!r} must be the name of a CSV file in this folder",
                column=f"{where}.file",
            )
        if any(head.file == other.file for other in earlier):
            self.fault(
                MANIFEST, f"{head.file!r} holds another table already", column=f"{where}.file"
            )
        if any(head.id == other.id for other in earlier):
            self.fault(MANIFEST, f"the table {head.id!r} is declared twice", column=f"{where}.id")
        if head.hit_policy == "UNIQUE":
            if head.role != "decision":
                self.fault(
                    MANIFEST, "a UNIQUE table has no role; remove it", column=f"{where}.role"
                )
            if not head.decides:
                self.fault(
                    MANIFEST,
                    "a UNIQUE table says what it decides: decides = [output, …]",
                    column=f"{where}.decides",
                )
        elif head.hit_policy == "COLLECT":
            if head.role not in ROLES:
                self.fault(
                    MANIFEST,
                    f"a COLLECT table has one of the roles {', '.join(ROLES)}",
                    column=f"{where}.role",
                )
            if head.decides:
                self.fault(
                    MANIFEST, "only a UNIQUE table decides; remove it", column=f"{where}.decides"
                )
            if head.role == "reasons" and head.id not in self.outputs:
                self.fault(
                    MANIFEST,
                    f"declare the values of these reasons in [outputs.{head.id}]",
                    column=f"{where}.id",
                )
        else:
            self.fault(
                MANIFEST,
                f"{head.hit_policy!r} is not a hit policy here; write UNIQUE or COLLECT",
                column=f"{where}.hit_policy",
            )
        taken = {d: other.id for other in earlier for d in other.decides}
        for decision in head.decides:
            if decision not in self.outputs:
                self.fault(
                    MANIFEST,
                    f"{decision!r} is not declared; add [outputs.{decision}] with its values",
                    column=f"{where}.decides",
                )
            if decision in taken:
                self.fault(
                    MANIFEST,
                    f"{decision!r} is decided by the table {taken[decision]!r} already",
                    column=f"{where}.decides",
                )

    def _check_outputs(self, heads: list[_TableHead]) -> None:
        """Every output is decided once; a collection does not share its id with a decision."""
        decided = {decision for head in heads for decision in head.decides}
        reasons = {head.id for head in heads if head.role == "reasons"}
        for id_ in self.outputs:
            if id_ not in decided | reasons:
                self.fault(
                    MANIFEST,
                    "no table decides it; name it in `decides` of a table or remove it",
                    column=f"outputs.{id_}",
                )
        for id_, output in self.outputs.items():
            if output.beside and (output.beside not in decided or output.beside == id_):
                self.fault(
                    MANIFEST,
                    f"{output.beside!r} is no other decision of this protocol; name one or leave "
                    "`beside` out",
                    column=f"outputs.{id_}.beside",
                )
        for number, head in enumerate(heads, start=1):
            if head.hit_policy == "COLLECT" and head.id in decided:
                self.fault(
                    MANIFEST,
                    f"{head.id!r} is the name of a decision; choose another",
                    column=f"tables[{number}].id",
                )

    def _check_clocks(self, heads: list[_TableHead], tables: list[Table]) -> None:
        """A clock starts or stops with the exposure or with an action that some rule gives."""
        actions = {r.outputs["action"] for t in tables if t.role == "actions" for r in t.rules}
        if any(head.role == "actions" and head.id in self.incomplete for head in heads):
            return  # the action may stand in a row that could not be read
        for number, head in enumerate(heads, start=1):
            if head.clock_stops_with and head.clock_stops_with not in actions:
                self.fault(
                    MANIFEST,
                    f"{head.clock_stops_with!r} is no action of this protocol; "
                    f"actions are {', '.join(sorted(actions)) or 'none'}",
                    column=f"tables[{number}].clock_stops_with",
                )
        for table in tables:
            for rule in table.rules if table.role == "actions" else ():
                start = rule.outputs["counted_from"]
                if start != COUNTED_FROM_EXPOSURE and start not in (*actions, *COURSE_CLOCKS):
                    self.fault(
                        table.file,
                        f"{start!r} is no action of this protocol; write "
                        f"{COUNTED_FROM_EXPOSURE} or one of {', '.join(sorted(actions))}; "
                        f"or, of a course of prophylaxis, {', '.join(COURSE_CLOCKS)}",
                        row=rule.row,
                        column=f"{OUTPUT_MARK}counted_from",
                    )
                self._check_not_before(table, rule, actions)

    def _check_not_before(self, table: Table, rule: Rule, actions: Collection[str]) -> None:
        cell = rule.outputs.get(NOT_BEFORE, NONE)
        action, _, duration = cell.partition(" ")
        if cell != NONE and (action not in actions or not DURATION.fullmatch(duration)):
            self.fault(
                table.file,
                f"{cell!r} is not understood; write an action of this protocol and a duration, "
                "for example hbig_first_dose P6M, or -",
                row=rule.row,
                column=OUTPUT_MARK + NOT_BEFORE,
            )

    def _check_files(self, heads: list[_TableHead]) -> None:
        known = {MANIFEST, CASES} | {head.file for head in heads}
        for path in sorted(self.folder.iterdir()):
            if path.suffix in {".csv", ".toml"} and path.name not in known:
                self.fault(path.name, "belongs to no table; name it in the manifest or remove it")

    # -- tables -------------------------------------------------------------------------------

    def _read_tables(self, heads: list[_TableHead]) -> list[Table]:
        tables: list[Table] = []
        decided_by = {d: head.id for head in heads for d in head.decides}
        feeds: dict[str, set[str]] = {}
        for head in heads:
            before = len(self.faults)
            table = self._read_table(head, decided_by)
            if len(self.faults) > before:
                self.incomplete.add(head.id)
            if table is not None:
                tables.append(table)
                feeds[table.id] = {decided_by[i] for i in table.inputs if i in decided_by}
        self._check_order(tables, feeds, decided_by)
        return tables

    def _check_order(
        self, tables: list[Table], feeds: dict[str, set[str]], decided_by: Mapping[str, str]
    ) -> None:
        order = {table.id: at for at, table in enumerate(tables)}
        for table in tables:
            circle = _circle(table.id, feeds)
            if circle:
                self.fault(
                    table.file,
                    f"the table feeds itself: {' → '.join(circle)}; break the circle",
                    row=1,
                )
                continue
            for column in table.inputs:
                feeder = decided_by.get(column)
                if feeder in order and order[feeder] > order[table.id]:
                    self.fault(
                        table.file,
                        f"is decided by the table {feeder!r}, which stands later in the "
                        f"manifest; move {feeder!r} before {table.id!r}",
                        row=1,
                        column=column,
                    )

    def _read_table(self, head: _TableHead, decided_by: Mapping[str, str]) -> Table | None:
        rows = self._csv(head.file)
        if not rows:
            return None
        shape = self._header(head, rows[0][1], decided_by)
        if shape is None:
            return None
        inputs, outputs = shape
        width = 1 + len(inputs) + len(outputs) + len(LAST_COLUMNS)
        rules = []
        for line, row in rows[1:]:
            if len(row) != width:
                self.fault(
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
            self.fault(head.file, "has no rule; write at least one row", row=1)
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
            text = (self.folder / name).read_text(encoding="utf-8-sig")
        except (FileNotFoundError, IsADirectoryError):
            self.fault(name or MANIFEST, "the file of this table is missing; add it")
            return []
        except UnicodeDecodeError as error:
            self.fault(name, f"is not UTF-8 at byte {error.start}; save it as UTF-8")
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
            self.fault(name, f"is not CSV: {error}", row=reader.line_num)
            return []
        if not rows:
            self.fault(name, "is empty; write a header and at least one rule")
        return rows

    def _header(
        self, head: _TableHead, header: list[str], decided_by: Mapping[str, str]
    ) -> tuple[tuple[str, ...], tuple[str, ...]] | None:
        before = len(self.faults)
        if header[0] != "rule":
            self.fault(head.file, "the first column must be 'rule'", row=1, column=header[0])
        if tuple(header[-len(LAST_COLUMNS) :]) != LAST_COLUMNS:
            self.fault(head.file, f"the last columns must be {', '.join(LAST_COLUMNS)}", row=1)
        middle = header[1 : -len(LAST_COLUMNS)]
        inputs = tuple(c for c in middle if not c.startswith("→"))
        outputs = tuple(c.removeprefix("→").strip() for c in middle if c.startswith("→"))
        if tuple(c.startswith("→") for c in middle) != (False,) * len(inputs) + (True,) * len(
            outputs
        ):
            self.fault(head.file, "write all input columns before the outputs", row=1)
        for columns, mark in ((inputs, ""), (outputs, OUTPUT_MARK)):
            for column in columns:
                if columns.count(column) > 1:
                    self.fault(head.file, "the column stands twice", row=1, column=mark + column)
        for column in inputs:
            self.check_column(head.file, 1, column, column, tuple(decided_by))
        if not inputs:
            self.fault(head.file, "has no input column; a rule must ask something", row=1)
        self._check_output_columns(head, outputs)
        return (inputs, outputs) if len(self.faults) == before else None

    def _check_output_columns(self, head: _TableHead, outputs: tuple[str, ...]) -> None:
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
            self.fault(
                head.file,
                f"the output columns must be {', '.join(OUTPUT_MARK + c for c in expected)}; "
                f"found {', '.join(OUTPUT_MARK + c for c in outputs) or 'none'}",
                row=1,
            )
        if head.key and head.key not in outputs:
            self.fault(
                MANIFEST,
                f"the key of {head.id!r} is one of its output columns: {', '.join(outputs)}",
                column="tables.key",
            )

    def _rule(
        self,
        head: _TableHead,
        line: int,
        row: list[str],
        inputs: tuple[str, ...],
        outputs: tuple[str, ...],
    ) -> Rule | None:
        before = len(self.faults)
        names = ("rule", *inputs, *(OUTPUT_MARK + o for o in outputs), *LAST_COLUMNS)
        for name, cell in zip(names, row, strict=True):
            if not cell:
                self.fault(
                    head.file, "the cell is empty; write - for any or none", row=line, column=name
                )
        rule_id = row[0]
        if rule_id in self.rule_places:
            self.fault(
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
                self.fault(head.file, str(error), row=line, column=column)
        values = dict(zip(outputs, row[1 + len(inputs) : -len(LAST_COLUMNS)], strict=True))
        for column, cell in values.items():
            self._check_output_cell(head, line, column, cell)
        source, standing, note = row[-len(LAST_COLUMNS) :]
        self._check_source(head, line, source)
        if standing and standing not in STANDINGS:
            self.fault(
                head.file,
                f"{standing!r} is not a standing; write one of {', '.join(STANDINGS)}",
                row=line,
                column="standing",
            )
        if len(self.faults) > before:
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
        fact = self.vocabulary.get(column.partition(".")[0])
        if fact is None:
            output = self.outputs.get(column)  # absent where its own declaration is at fault
            return parse_codes(cell, output.values) if output else UnaryTest(cell, any=True)
        return parse_test(fact, cell)

    def _check_output_cell(self, head: _TableHead, line: int, column: str, cell: str) -> None:
        allowed: tuple[str, ...] | None = None
        if column in self.outputs:
            allowed = self.outputs[column].values
        elif head.role == "actions":
            allowed = {"kind": ACTION_KINDS, "for": ACTION_FOR}.get(column)
            is_duration = column in {"earliest", "target", "latest"}
            if is_duration and cell not in {"", "-"} and not DURATION.fullmatch(cell):
                self.fault(
                    head.file,
                    f"{cell!r} is not a duration; write for example PT72H, P7D, P6W, P4M, or -",
                    row=line,
                    column=OUTPUT_MARK + column,
                )
        if allowed is not None and cell and cell not in allowed:
            self.fault(
                head.file,
                f"the value {cell!r} is not known; allowed are {', '.join(allowed)}",
                row=line,
                column=OUTPUT_MARK + column,
            )

    def _check_source(self, head: _TableHead, line: int, source: str) -> None:
        for key, locator in places(source):
            if key not in self.sources:
                self.fault(
                    head.file,
                    f"{key!r} is not among the protocol's sources; write KEY: place with KEY "
                    f"one of {', '.join(self.sources)}",
                    row=line,
                    column="source",
                )
            elif not locator:
                self.fault(
                    head.file,
                    f"say where in {key} it stands; write {key}: place",
                    row=line,
                    column="source",
                )


def _circle(start: str, feeds: Mapping[str, set[str]]) -> list[str]:
    """A way from `start` back to itself along what it is fed by, or []."""
    ways = [[start]]
    seen: set[str] = set()
    while ways:
        way = ways.pop()
        for feeder in sorted(feeds.get(way[-1], ())):
            if feeder == start:
                return [*way, start]
            if feeder not in seen:
                seen.add(feeder)
                ways.append([*way, feeder])
    return []


def _digest(folder: Path) -> str:
    """SHA-256 over the names and contents of the folder's files, line ends made alike."""
    digest = hashlib.sha256()
    for path in sorted(p for p in folder.iterdir() if p.suffix in {".csv", ".toml"}):
        content = path.read_bytes().replace(b"\r\n", b"\n")
        digest.update(f"{path.name}\0{len(content)}\0".encode())
        digest.update(content)
    return digest.hexdigest()
