"""Read a protocol folder as strictly as a compiler reads a program.

Unknown keys, columns, facts, values and units, empty cells, rule ids used twice and tables that feed
themselves are refused, each with file, row, column and what is allowed; every fault of the folder is
reported at once.
"""

from __future__ import annotations

import csv
import hashlib
import re
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from pathlib import Path
from typing import Any, cast

from .faults import Fault, ProtocolFaults
from .feel import FeelError, UnaryTest, parse_codes, parse_numbers
from .finding import STANDINGS, Standing
from .model import (
    ACTION_COLUMNS,
    ACTION_FOR,
    ACTION_KINDS,
    CAUTION_COLUMNS,
    Case,
    Impossible,
    Manifest,
    Output,
    Rule,
    Table,
)
from .space import MEMBER_CELLS
from .vocabulary import Fact, Vocabulary

MANIFEST = "protocol.toml"
CASES = "cases.toml"
OUTPUT_MARK = "→ "
LAST_COLUMNS = ("source", "standing", "note")
ROLES = ("reasons", "actions", "cautions")
DURATION = re.compile(r"PT\d+[HM]|P\d+[DWMY]")
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
class _Reader:
    folder: Path
    vocabulary: Vocabulary
    faults: list[Fault] = field(default_factory=list)
    outputs: dict[str, Output] = field(default_factory=dict)
    sources: dict[str, str] = field(default_factory=dict)
    rule_places: dict[str, str] = field(default_factory=dict)

    def fault(self, file: str, message: str, row: int = 0, column: str = "") -> None:
        self.faults.append(Fault(file, row, column, message))

    # -- the folder ---------------------------------------------------------------------------

    def read(self) -> Manifest:
        raw = self._toml(MANIFEST)
        if raw is None:
            raise ProtocolFaults(self.faults)
        self._keys(
            MANIFEST, raw, "",
            required=("id", "title", "jurisdiction", "edition", "in_force_from", "sources",
                      "outputs", "tables"),
            optional=("note", "severity", "impossible"),
        )  # fmt: skip
        self.sources = self._texts(MANIFEST, raw.get("sources", {}), "sources")
        self._read_outputs(raw.get("outputs", {}))
        heads = self._read_heads(raw.get("tables", []))
        self._check_files(heads)
        tables = self._read_tables(heads)
        impossible = self._read_impossible(raw.get("impossible", []))
        fact_order, outcome_order = self._read_severity(raw.get("severity", {}))
        cases = self._read_cases(tables)
        in_force = raw.get("in_force_from")
        if not isinstance(in_force, date) or isinstance(in_force, datetime):
            self.fault(MANIFEST, "write a date, for example 2026-01-01", column="in_force_from")
            in_force = date.min
        if self.faults:
            raise ProtocolFaults(sorted(self.faults))
        return Manifest(
            id=self._text(raw, "id"),
            title=self._text(raw, "title"),
            jurisdiction=self._text(raw, "jurisdiction"),
            edition=self._text(raw, "edition"),
            in_force_from=in_force,
            note=str(raw.get("note", "")),
            sources=self.sources,
            outputs=self.outputs,
            tables=tuple(tables),
            impossible=tuple(impossible),
            fact_order=fact_order,
            outcome_order=outcome_order,
            cases=tuple(cases),
            digest=_digest(self.folder),
        )

    def _toml(self, name: str) -> dict[str, Any] | None:
        path = self.folder / name
        try:
            return tomllib.loads(path.read_text(encoding="utf-8"))
        except FileNotFoundError:
            self.fault(name, f"the file is missing from {self.folder.name}; add it")
        except UnicodeDecodeError as error:
            self.fault(name, f"is not UTF-8 at byte {error.start}; save it as UTF-8")
        except tomllib.TOMLDecodeError as error:
            self.fault(name, f"is not TOML: {error}")
        return None

    def _text(self, raw: Mapping[str, Any], key: str) -> str:
        return str(raw.get(key, ""))

    def _keys(
        self,
        file: str,
        raw: Any,
        where: str,
        required: Sequence[str],
        optional: Sequence[str] = (),
    ) -> bool:
        """Fault every key that is missing or not known; True if `raw` is a table at all."""
        if not isinstance(raw, dict):
            self.fault(file, f"{where or 'the file'} must be a table of keys and values")
            return False
        prefix = f"{where}." if where else ""
        allowed = (*required, *optional)
        for key in raw:
            if key not in allowed:
                self.fault(
                    file, f"unknown key; allowed are {', '.join(allowed)}", column=f"{prefix}{key}"
                )
        for key in required:
            if key not in raw:
                self.fault(file, "this key is missing; add it", column=f"{prefix}{key}")
            elif raw[key] in ("", [], {}):
                self.fault(file, "is empty; fill it in", column=f"{prefix}{key}")
        return True

    def _texts(self, file: str, raw: Any, where: str) -> dict[str, str]:
        if not isinstance(raw, dict):
            self.fault(file, "must be a table of texts", column=where)
            return {}
        for key, value in raw.items():
            if not isinstance(value, str) or not value.strip():
                self.fault(file, "must be a text that is not empty", column=f"{where}.{key}")
        return {key: str(value) for key, value in raw.items()}

    def _list_of_texts(self, file: str, raw: Any, where: str) -> tuple[str, ...]:
        if not isinstance(raw, list) or not all(isinstance(item, str) and item for item in raw):
            self.fault(file, "must be a list of texts", column=where)
            return ()
        if len(set(raw)) != len(raw):
            self.fault(file, "lists a value twice; list it once", column=where)
        return tuple(raw)

    # -- outputs, tables' heads ---------------------------------------------------------------

    def _read_outputs(self, raw: Any) -> None:
        if not isinstance(raw, dict):
            self.fault(MANIFEST, "must be a table", column="outputs")
            return
        for id_, body in raw.items():
            where = f"outputs.{id_}"
            if id_ in self.vocabulary:
                self.fault(MANIFEST, "is the name of a fact; choose another", column=where)
            if not self._keys(MANIFEST, body, where, ("values",), ("label", "labels")):
                continue
            values = self._list_of_texts(MANIFEST, body.get("values"), f"{where}.values")
            labels = self._texts(MANIFEST, body.get("labels", {}), f"{where}.labels")
            for value in labels:
                if value not in values:
                    self.fault(
                        MANIFEST,
                        f"labels {value!r}, which is not a value; values are {', '.join(values)}",
                        column=f"{where}.labels",
                    )
            self.outputs[id_] = Output(id_, values, str(body.get("label", "")), labels)

    def _read_heads(self, raw: Any) -> list[_TableHead]:
        heads: list[_TableHead] = []
        if not isinstance(raw, list):
            self.fault(MANIFEST, "write one [[tables]] entry a table", column="tables")
            return heads
        for number, body in enumerate(raw, start=1):
            where = f"tables[{number}]"
            if not self._keys(
                MANIFEST, body, where,
                ("id", "file", "hit_policy", "question"),
                ("decides", "role", "key", "clock_stops_with"),
            ):  # fmt: skip
                continue
            head = _TableHead(
                id=self._text(body, "id"),
                file=self._text(body, "file"),
                hit_policy=self._text(body, "hit_policy"),
                role=str(body.get("role", "decision")),
                question=self._text(body, "question"),
                decides=self._list_of_texts(MANIFEST, body["decides"], f"{where}.decides")
                if "decides" in body
                else (),
                key=str(body.get("key", "")),
                clock_stops_with=str(body.get("clock_stops_with", "")),
            )
            self._check_head(head, heads, where)
            heads.append(head)
        return heads

    def _check_head(self, head: _TableHead, earlier: list[_TableHead], where: str) -> None:
        if not IDENTIFIER.fullmatch(head.id):
            self.fault(MANIFEST, "write lower-case letters, digits and _", column=f"{where}.id")
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
            table = self._read_table(head, decided_by)
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
        reader = csv.reader(text.splitlines(keepends=True), strict=True)
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
        for column in (*inputs, *outputs):
            if (*inputs, *outputs).count(column) > 1:
                self.fault(head.file, "the column stands twice", row=1, column=column)
        for column in inputs:
            self._check_input(head, column, decided_by)
        if not inputs:
            self.fault(head.file, "has no input column; a rule must ask something", row=1)
        self._check_output_columns(head, outputs)
        return (inputs, outputs) if len(self.faults) == before else None

    def _check_input(self, head: _TableHead, column: str, decided_by: Mapping[str, str]) -> None:
        fact_id, dot, member = column.partition(".")
        fact = self.vocabulary.get(fact_id)
        if fact is None:
            if column in decided_by:
                return
            near = _nearest(fact_id, (*self.vocabulary, *decided_by))
            self.fault(
                head.file,
                f"is neither a fact nor an earlier decision{near}",
                row=1,
                column=column,
            )
        elif fact.kind == "set" and (not dot or member not in fact.values):
            self.fault(
                head.file,
                f"is a set; name one member, as in {fact_id}.{fact.values[0]}; "
                f"members are {', '.join(fact.values)}",
                row=1,
                column=column,
            )
        elif fact.kind != "set" and dot:
            self.fault(head.file, f"{fact_id} has no members", row=1, column=column)

    def _check_output_columns(self, head: _TableHead, outputs: tuple[str, ...]) -> None:
        expected: tuple[str, ...]
        if head.role == "actions":
            expected = ACTION_COLUMNS
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
            return parse_codes(cell, self.outputs[column].values)
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
        for part in filter(None, source.split("; ")):
            key = part.partition(":")[0].strip()
            if key not in self.sources:
                self.fault(
                    head.file,
                    f"{key!r} is not among the protocol's sources; write KEY: place with KEY "
                    f"one of {', '.join(self.sources)}",
                    row=line,
                    column="source",
                )

    # -- impossible situations, severity, cases -----------------------------------------------

    def _read_impossible(self, raw: Any) -> list[Impossible]:
        found = []
        for number, body in enumerate(raw if isinstance(raw, list) else [], start=1):
            where = f"impossible[{number}]"
            if not self._keys(MANIFEST, body, where, ("when", "because")):
                continue
            tests = {}
            for column, cell in body.get("when", {}).items():
                fact = self.vocabulary.get(column.partition(".")[0])
                if fact is None:
                    near = _nearest(column, tuple(self.vocabulary))
                    self.fault(MANIFEST, f"is not a fact{near}", column=f"{where}.when.{column}")
                    continue
                try:
                    tests[column] = parse_test(fact, str(cell))
                except FeelError as error:
                    self.fault(MANIFEST, str(error), column=f"{where}.when.{column}")
            found.append(Impossible(tests, str(body.get("because", ""))))
        return found

    def _read_severity(
        self, raw: Any
    ) -> tuple[dict[str, tuple[tuple[str, ...], ...]], dict[str, tuple[tuple[str, ...], ...]]]:
        if not raw or not self._keys(MANIFEST, raw, "severity", (), ("facts", "outcomes")):
            return {}, {}
        facts = {
            id_: self._order(
                f"severity.facts.{id_}",
                order,
                self.vocabulary[id_].values if id_ in self.vocabulary else None,
            )
            for id_, order in raw.get("facts", {}).items()
        }
        outcomes = {
            id_: self._order(
                f"severity.outcomes.{id_}",
                order,
                self.outputs[id_].values if id_ in self.outputs else None,
            )
            for id_, order in raw.get("outcomes", {}).items()
        }
        return facts, outcomes

    def _order(
        self, where: str, raw: Any, allowed: tuple[str, ...] | None
    ) -> tuple[tuple[str, ...], ...]:
        if allowed is None:
            self.fault(MANIFEST, "orders something that is not declared", column=where)
            return ()
        if not allowed:
            self.fault(MANIFEST, "only codes can be ordered by a list", column=where)
            return ()
        groups = [item if isinstance(item, list) else [item] for item in raw]
        for value in (value for group in groups for value in group):
            if value not in allowed:
                self.fault(
                    MANIFEST,
                    f"the value {value!r} is not known; allowed are {', '.join(allowed)}",
                    column=where,
                )
        return tuple(tuple(group) for group in groups)

    def _read_cases(self, tables: Sequence[Table]) -> list[Case]:
        raw = self._toml(CASES)
        if raw is None or not self._keys(CASES, raw, "", ("case",)):
            return []
        cases = []
        names: set[str] = set()
        collect = {t.id for t in tables if t.hit_policy == "COLLECT"}
        decisions = {d for t in tables for d in t.decides}
        for number, body in enumerate(raw.get("case", []), start=1):
            where = f"case[{number}]"
            if not self._keys(
                CASES, body, where, ("name", "source", "facts"),
                ("expect", "possible", "includes", "excludes"),
            ):  # fmt: skip
                continue
            name = str(body.get("name", ""))
            where = f"case {name!r}"
            if name in names:
                self.fault(CASES, "two cases have this name; rename one", column=where)
            names.add(name)
            facts = self._case_facts(where, body.get("facts", {}))
            for key, among in (
                ("expect", decisions | collect),
                ("possible", decisions),
                ("includes", collect),
                ("excludes", collect),
            ):
                for id_ in body.get(key, {}):
                    if id_ not in among:
                        self.fault(
                            CASES,
                            f"{id_!r} is not decided here; allowed are {', '.join(sorted(among))}",
                            column=f"{where}.{key}",
                        )
            if not any(body.get(key) for key in ("expect", "possible", "includes", "excludes")):
                self.fault(CASES, "expects nothing; say what must come out", column=where)
            cases.append(
                Case(
                    name=name,
                    source=str(body.get("source", "")),
                    facts=facts,
                    expect=body.get("expect", {}),
                    possible={k: tuple(v) for k, v in body.get("possible", {}).items()},
                    includes={k: tuple(v) for k, v in body.get("includes", {}).items()},
                    excludes={k: tuple(v) for k, v in body.get("excludes", {}).items()},
                )
            )
        return cases

    def _case_facts(self, where: str, raw: Any) -> dict[str, Any]:
        facts: dict[str, Any] = {}
        for id_, value in raw.items() if isinstance(raw, dict) else ():
            fact = self.vocabulary.get(id_)
            if fact is None:
                near = _nearest(id_, tuple(self.vocabulary))
                self.fault(CASES, f"{id_!r} is not a fact{near}", column=f"{where}.facts")
                continue
            try:
                facts[id_] = fact.check(value)
            except ValueError as error:
                self.fault(CASES, str(error), column=f"{where}.facts")
        return facts


def parse_test(fact: Fact, cell: str) -> UnaryTest:
    """A cell over `fact`; a member column of a set fact takes yes or no."""
    if fact.kind == "number":
        return parse_numbers(cell, fact.unit)
    return parse_codes(cell, fact.values if fact.kind == "code" else MEMBER_CELLS)


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


def _nearest(word: str, words: Sequence[str]) -> str:
    from difflib import get_close_matches

    near = get_close_matches(word, words, n=1)
    return f"; did you mean {near[0]!r}?" if near else "; add it to the vocabulary first"


def _digest(folder: Path) -> str:
    """SHA-256 over the names and contents of the folder's files, line ends made alike."""
    digest = hashlib.sha256()
    for path in sorted(p for p in folder.iterdir() if p.suffix in {".csv", ".toml"}):
        content = path.read_bytes().replace(b"\r\n", b"\n")
        digest.update(f"{path.name}\0{len(content)}\0".encode())
        digest.update(content)
    return digest.hexdigest()
