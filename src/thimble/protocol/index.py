"""The situation index: each table, with the tables that feed it, compiled to one dense array.

A grid's axes are the facts that its outcome can depend on, directly, through feeding tables, or through
a declared impossibility. Values that no test among these can tell apart share a class, so that the 23
fluids of a table may be three classes. The array holds, for each combination of classes, which rule
fires (UNIQUE) or which rules apply (COLLECT, a bit a rule). Mixed radix turns a situation into a flat
index; one decision is then one lookup, and what is still possible is one slice.

Grids are built a question at a time, so that the product of unrelated facts is never enumerated, and
of a feeding table only what the asking rules can tell apart is kept. A table of facts alone whose grid
would still not fit is kept as boxes (`boxes.py`).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from math import prod
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .boxes import Boxes
from .faults import Fault, ProtocolFaults
from .feel import UnaryTest
from .model import Impossible, Manifest, Rule, Table
from .space import Axis, axis_for
from .vocabulary import Vocabulary

Codes = NDArray[np.int64]
Mask = NDArray[np.bool_]

IMPOSSIBLE, GAP, FED_BY_GAP = -1, -2, -3
"""Codes of cells where no rule fires: cannot be; no rule; a feeding table has no rule."""

LARGEST_GRID = 4_000_000
"""Situations in one grid at most; a table that spans more must be split (a fault says so)."""

CANNOT_FEED = (
    "is decided by a table that spans too many situations to feed another; split that table in two"
)

RULES_IN_GROUP = 60
"""Rules of a COLLECT grid at most: one bit each in a signed 64-bit code."""

FURTHER_FACTS = 3
"""An item joins a grid over so many facts more at most: fewer questions, hardly larger grids."""


@dataclass(frozen=True, slots=True)
class Grid:
    """One compiled question.

    `axes` are column ids in protocol-wide order; `classes[a][cell]` is the class of an elementary
    cell of axis `a` (-1 where the cell cannot occur); `members[a][k]` are the cells of class k.
    `codes` has one dimension an axis. `clash` marks where two rules of a UNIQUE table fire.
    """

    table: Table
    rules: tuple[Rule, ...]
    axes: tuple[str, ...]
    classes: tuple[tuple[int, ...], ...]
    members: tuple[tuple[tuple[int, ...], ...], ...]
    codes: Codes
    clash: Mask | None

    @property
    def unique(self) -> bool:
        return self.table.hit_policy == "UNIQUE"


@dataclass(frozen=True, slots=True)
class Index:
    """Every compiled question of a protocol, in table order, over one set of axes.

    `guards` hold no rule: they know the impossible situations of facts that no question rests on.
    """

    axes: Mapping[str, Axis]
    questions: tuple[Grid | Boxes, ...]
    guards: tuple[Grid, ...]
    builder: _Builder = field(repr=False, compare=False)

    @property
    def grids(self) -> tuple[Grid, ...]:
        return tuple(q for q in self.questions if isinstance(q, Grid))

    @property
    def boxes(self) -> tuple[Boxes, ...]:
        return tuple(q for q in self.questions if isinstance(q, Boxes))


def build_index(manifest: Manifest, vocabulary: Vocabulary) -> Index:
    """Compile every table.

    Raises:
        ProtocolFaults: a table spans more situations than a grid may hold and cannot be boxes.
    """
    return _Builder(manifest, vocabulary).build()


class _Builder:
    def __init__(self, manifest: Manifest, vocabulary: Vocabulary) -> None:
        self.manifest = manifest
        self.decided_by = {d: table for table in manifest.tables for d in table.decides}
        self.tests = self._tests_by_column()
        self.axes = {
            column: axis_for(column, vocabulary[column.partition(".")[0]], tests)
            for column, tests in sorted(
                self.tests.items(), key=lambda item: _column_order(vocabulary, item[0])
            )
        }
        self.grids: dict[str, Grid] = {}
        self._asked_by: dict[str, tuple[int, ...]] = {}
        self._told_apart: dict[tuple[str, tuple[int, ...]], dict[str, list[int]]] = {}

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

    def build(self) -> Index:
        questions: list[Grid | Boxes] = []
        faults: list[Fault] = []
        for table in self.manifest.tables:
            try:
                if table.hit_policy == "UNIQUE":
                    question = self.question(table, table.rules)
                    if isinstance(question, Grid):
                        self.grids[table.id] = question
                    questions.append(question)
                else:
                    questions.extend(self.question(table, rules) for rules in self._groups(table))
            except ProtocolFaults as refused:
                faults += refused.faults
        if faults:
            raise ProtocolFaults(faults)
        return Index(self.axes, tuple(questions), tuple(self._guards(questions)), self)

    def _guards(self, questions: Sequence[Grid | Boxes]) -> Iterable[Grid]:
        guarded = {column for question in questions for column in question.axes}
        for box in self.manifest.impossible:
            columns = self._closed(set(box.tests))
            if not guarded >= set(columns):
                guarded |= set(columns)
                guard = self.question(_guard_table(columns), (), columns)
                if isinstance(guard, Grid):
                    yield guard

    def _groups(self, table: Table) -> Iterable[tuple[Rule, ...]]:
        """The rules of a COLLECT table, those of one item together, items over like facts too."""
        items: dict[tuple[str, ...], list[Rule]] = {}
        for rule in table.rules:
            items.setdefault(tuple(rule.outputs.values()), []).append(rule)
        groups: list[tuple[set[str], list[Rule]]] = []
        # The widest first: what rests on a few facts fewer then joins it.
        by_width = [(set(self._columns(table, rules)), rules) for rules in items.values()]
        for columns, rules in sorted(by_width, key=lambda item: -len(item[0])):
            for wide, joined in reversed(groups):
                near = columns <= wide and len(wide) - len(columns) <= FURTHER_FACTS
                if near and len(joined) + len(rules) <= RULES_IN_GROUP:
                    joined.extend(rules)
                    break
            else:
                groups.append((columns, list(rules)))
        yield from (tuple(rules) for _, rules in groups)

    # -- one grid -----------------------------------------------------------------------------

    def _used(self, table: Table, rules: Sequence[Rule]) -> list[str]:
        """Input columns that some rule does not leave open."""
        at = {n for rule in rules for n in self._asked(rule)}
        return [table.inputs[n] for n in sorted(at)]

    def _asked(self, rule: Rule) -> tuple[int, ...]:
        """The places of the inputs that a rule does not leave open."""
        if rule.id not in self._asked_by:
            self._asked_by[rule.id] = tuple(n for n, test in enumerate(rule.tests) if not test.any)
        return self._asked_by[rule.id]

    def _columns(self, table: Table, rules: Sequence[Rule]) -> tuple[str, ...]:
        """The fact columns that decide among these rules, impossibilities followed to the end."""
        columns: set[str] = set()
        for column in self._used(table, rules):
            feeder = self.decided_by.get(column)
            if feeder is not None and feeder.id not in self.grids:
                raise ProtocolFaults([Fault(table.file, 1, column, CANNOT_FEED)])
            columns.update([column] if feeder is None else self.grids[feeder.id].axes)
        return self._closed(columns)

    def _closed(self, columns: set[str]) -> tuple[str, ...]:
        grown = True
        while grown:
            grown = False
            for box in self.manifest.impossible:
                if columns & box.tests.keys() and not columns >= box.tests.keys():
                    columns |= box.tests.keys()
                    grown = True
        return tuple(column for column in self.axes if column in columns)

    def _keys(self, table: Table, rules: Sequence[Rule], column: str) -> list[tuple[int, ...]]:
        """For each cell of an axis, what these rules and all they rest on can tell of it."""
        axis = self.axes[column]
        tests = {
            rule.tests[at].text: rule.tests[at]
            for at, used in enumerate(table.inputs)
            if used == column
            for rule in rules
        }
        judged = [axis.accepted(test) for test in tests.values()]
        judged += [
            axis.accepted(box.tests[column])
            for box in self.manifest.impossible
            if column in box.tests
        ]
        keys = [tuple(int(accepts[cell]) for accepts in judged) for cell in range(len(axis.cells))]
        for used in self._used(table, rules):
            source = self.grids.get(self.decided_by[used].id) if used in self.decided_by else None
            if source is not None and column in source.axes:
                merged = self._apart(used, self._value_classes(table, rules, used))[column]
                classes = source.classes[source.axes.index(column)]
                keys = [
                    (*key, merged[k] if k >= 0 else -1)
                    for key, k in zip(keys, classes, strict=True)
                ]
        return keys

    def _value_classes(self, table: Table, rules: Sequence[Rule], decision: str) -> tuple[int, ...]:
        """The values of an earlier decision, numbered alike where no rule tells them apart."""
        at = table.inputs.index(decision)
        tests = list({rule.tests[at].text: rule.tests[at] for rule in rules}.values())
        numbers: dict[tuple[bool, ...], int] = {}
        return tuple(
            numbers.setdefault(tuple(test.accepts_code(value) for test in tests), len(numbers))
            for value in self.manifest.outputs[decision].values
        )

    def _apart(self, decision: str, value_classes: tuple[int, ...]) -> dict[str, list[int]]:
        """For each axis of the deciding grid, its classes merged where the decision is alike."""
        key = (decision, value_classes)
        if key not in self._told_apart:
            source = self.grids[self.decided_by[decision].id]
            values = self.manifest.outputs[decision].values
            number = np.array(
                [value_classes[values.index(rule.outputs[decision])] for rule in source.rules]
            )
            told = np.where(source.codes >= 0, number[np.maximum(source.codes, 0)], source.codes)
            self._told_apart[key] = {
                column: _alike(told, at) for at, column in enumerate(source.axes)
            }
        return self._told_apart[key]

    def question(
        self, table: Table, rules: tuple[Rule, ...], columns: tuple[str, ...] | None = None
    ) -> Grid | Boxes:
        """These rules compiled, over the columns they rest on: a grid where it fits, else boxes.

        Raises:
            ProtocolFaults: neither fits.
        """
        columns = self._columns(table, rules) if columns is None else columns
        classes, members = [], []
        for column in columns:
            of_cell, of_class = _classes(self.axes[column], self._keys(table, rules, column))
            classes.append(of_cell)
            members.append(of_class)
        shape = tuple(len(m) for m in members)
        too_many_rules = table.hit_policy == "COLLECT" and len(rules) > RULES_IN_GROUP
        if prod(shape) > LARGEST_GRID or too_many_rules:
            if set(columns) == set(self._used(table, rules)) and not any(
                box.tests.keys() & set(columns) for box in self.manifest.impossible
            ):
                return self._boxes(table, rules, columns, classes, members)
            raise ProtocolFaults([Fault(table.file, 0, "", _too_large(shape, len(rules)))])
        return self._filled(
            Grid(
                table, rules, columns, tuple(classes), tuple(members),
                np.empty(shape, np.int64), None,
            )
        )  # fmt: skip

    def _boxes(
        self,
        table: Table,
        rules: tuple[Rule, ...],
        columns: tuple[str, ...],
        classes: list[tuple[int, ...]],
        members: list[tuple[tuple[int, ...], ...]],
    ) -> Boxes:
        boxes = []
        for rule in rules:
            box = []
            for column, of_class in zip(columns, members, strict=True):
                accepted = self.axes[column].accepted(rule.tests[table.inputs.index(column)])
                box.append(sum(accepted[cells[0]] << k for k, cells in enumerate(of_class)))
            boxes.append(tuple(box))
        return Boxes(table, rules, columns, tuple(classes), tuple(members), tuple(boxes))

    def _filled(self, frame: Grid) -> Grid:
        shape = frame.codes.shape
        starved = np.zeros(shape, bool)
        fed = self._fed(frame)
        for outcomes in fed.values():
            starved |= outcomes < IMPOSSIBLE
        codes: Codes = np.full(shape, GAP if frame.unique else 0, np.int64)
        hits = np.zeros(shape, np.int16)
        for number, rule in enumerate(frame.rules):
            fires = self._fires(frame, rule, fed)
            if frame.unique:
                codes[fires & (hits == 0)] = number
                hits += fires
            else:
                codes |= np.int64(1 << number) * fires
        impossible = self._impossible(frame)
        codes[starved] = FED_BY_GAP
        codes[impossible] = IMPOSSIBLE
        clash = (hits > 1) & ~impossible & ~starved if frame.unique else None
        return Grid(
            frame.table, frame.rules, frame.axes, frame.classes, frame.members, codes, clash
        )

    def _fed(self, frame: Grid) -> dict[str, Codes]:
        """The outcomes of every earlier decision that this grid asks for, on its own axes."""
        return {
            column: self._outcomes_on(frame, column)
            for column in self._used(frame.table, frame.rules)
            if column in self.decided_by
        }

    def _fires(self, frame: Grid, rule: Rule, fed: Mapping[str, Codes]) -> Mask:
        fires = np.ones(frame.codes.shape, bool)
        for column, test in zip(frame.table.inputs, rule.tests, strict=True):
            if not test.any:
                fires &= self._accepts(frame, column, test, fed)
        return fires

    def _accepts(self, frame: Grid, column: str, test: UnaryTest, fed: Mapping[str, Codes]) -> Mask:
        if column in fed:
            values = self.manifest.outputs[column].values
            accepted = np.array([test.accepts_code(value) for value in values])
            return np.asarray(accepted[np.maximum(fed[column], 0)] & (fed[column] >= 0))
        at = frame.axes.index(column)
        cells = self.axes[column].accepted(test)
        by_class = np.array([cells[members[0]] for members in frame.members[at]])
        return np.asarray(by_class.reshape(_along(at, len(frame.axes))))

    def _outcomes_on(self, frame: Grid, decision: str) -> Codes:
        """The outcome of an earlier decision, laid out on this grid's axes; codes < 0 where none."""
        source = self.grids[self.decided_by[decision].id]
        take = []
        for at, column in enumerate(source.axes):
            here = frame.axes.index(column)
            take.append([source.classes[at][members[0]] for members in frame.members[here]])
        codes = source.codes[np.ix_(*take)] if take else source.codes
        values = self.manifest.outputs[decision].values
        outcome = np.array([values.index(rule.outputs[decision]) for rule in source.rules])
        outcomes = np.where(codes >= 0, outcome[np.maximum(codes, 0)], codes)
        shape = [
            len(frame.members[at]) if column in source.axes else 1
            for at, column in enumerate(frame.axes)
        ]
        return np.broadcast_to(outcomes.reshape(shape), frame.codes.shape)

    def _impossible(self, frame: Grid) -> Mask:
        impossible = np.zeros(frame.codes.shape, bool)
        for box in self.manifest.impossible:
            if box.tests.keys() <= set(frame.axes):
                holds = np.ones(frame.codes.shape, bool)
                for column, test in box.tests.items():
                    holds &= self._accepts(frame, column, test, {})
                impossible |= holds
        return impossible


def joint_question(index: Index, table: Table, rules: Sequence[Rule]) -> Grid | Boxes:
    """Just these rules of a COLLECT table compiled, whatever items they belong to."""
    return index.builder.question(table, tuple(rules))


def rules_firing(index: Index, grid: Grid) -> list[Mask]:
    """For each rule of a grid, where it fires by itself in a situation that can be."""
    builder = index.builder
    fed = builder._fed(grid)
    can_be = grid.codes != IMPOSSIBLE
    return [builder._fires(grid, rule, fed) & can_be for rule in grid.rules]


def contradicted(
    impossible: Sequence[Impossible], axes: Mapping[str, Axis], facts: Mapping[str, Any]
) -> list[Impossible]:
    """The declared impossibilities that these facts fulfil."""
    found = []
    for box in impossible:
        ids = {column.partition(".")[0] for column in box.tests}
        if ids <= facts.keys() and all(
            axes[column].accepted(test)[axes[column].cell_of(facts[column.partition(".")[0]])]
            for column, test in box.tests.items()
        ):
            found.append(box)
    return found


def _guard_table(columns: tuple[str, ...]) -> Table:
    """A table without rules, for a grid that knows impossible situations alone."""
    return Table(
        "impossible", "protocol.toml", "COLLECT", "reasons", "", columns, (), (), (), "", ""
    )


def _classes(
    axis: Axis, keys: Sequence[tuple[int, ...]]
) -> tuple[tuple[int, ...], tuple[tuple[int, ...], ...]]:
    """Merge the cells that share a key: class of each cell (-1 where it cannot occur), cells of
    each class."""
    numbers: dict[tuple[int, ...], int] = {}
    of_cell: list[int] = []
    members: list[list[int]] = []
    for cell, key in enumerate(keys):
        if not axis.exists[cell]:
            of_cell.append(-1)
            continue
        number = numbers.setdefault(key, len(numbers))
        if number == len(members):
            members.append([])
        members[number].append(cell)
        of_cell.append(number)
    return tuple(of_cell), tuple(tuple(m) for m in members)


def _alike(told: Codes, at: int) -> list[int]:
    """The places along one axis, numbered alike where their slices are equal."""
    numbers: dict[bytes, int] = {}
    return [
        numbers.setdefault(told.take(k, axis=at).tobytes(), len(numbers))
        for k in range(told.shape[at])
    ]


def _too_large(shape: Sequence[int], rules: int) -> str:
    if prod(shape) > LARGEST_GRID:
        return (
            f"with the tables that feed it spans {prod(shape):,} situations, more than "
            f"{LARGEST_GRID:,}; split the question into two tables"
        )
    return f"has {rules} rules for one item, more than {RULES_IN_GROUP}; join some of them"


def _along(at: int, dimensions: int) -> tuple[int, ...]:
    return tuple(-1 if n == at else 1 for n in range(dimensions))


def _column_order(vocabulary: Vocabulary, column: str) -> tuple[int, int]:
    fact_id, _, member = column.partition(".")
    fact = vocabulary[fact_id]
    return list(vocabulary).index(fact_id), fact.values.index(member) if member else 0
