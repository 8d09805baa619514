"""The situation index: each table, with the tables that feed it, compiled to one dense array (`grids.py`).

Grids are built a question at a time, so that the product of unrelated facts is never enumerated. A table
of facts alone whose grid would still not fit is kept as boxes (`boxes.py`).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from math import prod
from typing import Any

import numpy as np

from ..faults import Fault, ProtocolFaults
from ..model import Impossible, Manifest, Rule, Table
from ..vocabulary import Vocabulary
from .apart import Apart
from .boxes import Boxes
from .filling import filled, firing, outcomes_fed
from .grids import IMPOSSIBLE, Grid, Mask
from .resting import Resting
from .space import Axis

LARGEST_GRID = 4_000_000
"""Situations in one grid at most; a table that spans more must be split (a fault says so)."""

RULES_IN_GROUP = 60
"""Rules of a COLLECT grid at most: one bit each in a signed 64-bit code."""

FURTHER_FACTS = 3
"""An item joins a grid over so many facts more at most: fewer questions, hardly larger grids."""


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
        self.resting = Resting(manifest, vocabulary)
        self.apart = Apart(self.resting)

    def build(self) -> Index:
        questions: list[Grid | Boxes] = []
        faults: list[Fault] = []
        for table in self.resting.manifest.tables:
            try:
                if table.hit_policy == "UNIQUE":
                    question = self.question(table, table.rules)
                    if isinstance(question, Grid):
                        self.resting.grids[table.id] = question
                    questions.append(question)
                else:
                    questions.extend(self.question(table, rules) for rules in self._groups(table))
            except ProtocolFaults as refused:
                faults += refused.faults
        if faults:
            raise ProtocolFaults(faults)
        return Index(self.resting.axes, tuple(questions), tuple(self._guards(questions)), self)

    def _guards(self, questions: Sequence[Grid | Boxes]) -> Iterable[Grid]:
        guarded = {column for question in questions for column in question.axes}
        for box in self.resting.manifest.impossible:
            columns = self.resting.closed(set(box.tests))
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
        by_width = [(set(self.resting.columns(table, rules)), rules) for rules in items.values()]
        for columns, rules in sorted(by_width, key=lambda item: -len(item[0])):
            for wide, joined in reversed(groups):
                near = columns <= wide and len(wide) - len(columns) <= FURTHER_FACTS
                if near and len(joined) + len(rules) <= RULES_IN_GROUP:
                    joined.extend(rules)
                    break
            else:
                groups.append((columns, list(rules)))
        yield from (tuple(rules) for _, rules in groups)

    def question(
        self, table: Table, rules: tuple[Rule, ...], columns: tuple[str, ...] | None = None
    ) -> Grid | Boxes:
        """These rules compiled, over the columns they rest on: a grid where it fits, else boxes.

        Raises:
            ProtocolFaults: neither fits.
        """
        columns = self.resting.columns(table, rules) if columns is None else columns
        classes, members = [], []
        for column in columns:
            of_cell, of_class = self.apart.classes(table, rules, column)
            classes.append(of_cell)
            members.append(of_class)
        shape = tuple(len(m) for m in members)
        too_many_rules = table.hit_policy == "COLLECT" and len(rules) > RULES_IN_GROUP
        if prod(shape) > LARGEST_GRID or too_many_rules:
            if set(columns) == set(self.resting.used(table, rules)) and not any(
                box.tests.keys() & set(columns) for box in self.resting.manifest.impossible
            ):
                return self._boxes(table, rules, columns, classes, members)
            raise ProtocolFaults([Fault(table.file, 0, "", _too_large(shape, len(rules)))])
        return filled(
            self.resting,
            Grid(
                table, rules, columns, tuple(classes), tuple(members),
                np.empty(shape, np.int64), None,
            ),
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
                accepted = self.resting.axes[column].accepted(
                    rule.tests[table.inputs.index(column)]
                )
                box.append(sum(accepted[cells[0]] << k for k, cells in enumerate(of_class)))
            boxes.append(tuple(box))
        return Boxes(table, rules, columns, tuple(classes), tuple(members), tuple(boxes))


def joint_question(index: Index, table: Table, rules: Sequence[Rule]) -> Grid | Boxes:
    """Just these rules of a COLLECT table compiled, whatever items they belong to."""
    return index.builder.question(table, tuple(rules))


def rules_firing(index: Index, grid: Grid) -> list[Mask]:
    """For each rule of a grid, where it fires by itself in a situation that can be."""
    resting = index.builder.resting
    fed = outcomes_fed(resting, grid)
    can_be = grid.codes != IMPOSSIBLE
    return [firing(resting, grid, rule, fed) & can_be for rule in grid.rules]


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


def _too_large(shape: Sequence[int], rules: int) -> str:
    if prod(shape) > LARGEST_GRID:
        return (
            f"with the tables that feed it spans {prod(shape):,} situations, more than "
            f"{LARGEST_GRID:,}; split the question into two tables"
        )
    return f"has {rules} rules for one item, more than {RULES_IN_GROUP}; join some of them"
