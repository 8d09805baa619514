"""What a set of rules can tell apart: cells of an axis that they treat alike share a class.

The 23 fluids of a table may be three classes. Of a feeding table only what the asking rules can tell
apart is kept.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ..model import Rule, Table
from .grids import Codes
from .resting import Resting
from .space import Axis

Classes = tuple[tuple[int, ...], tuple[tuple[int, ...], ...]]
"""Class of each cell (-1 where it cannot occur), and the cells of each class."""


class Apart:
    """The classes of cells, for one set of rules after the other."""

    def __init__(self, resting: Resting) -> None:
        self.resting = resting
        self._told_apart: dict[tuple[str, tuple[int, ...]], dict[str, list[int]]] = {}

    def classes(self, table: Table, rules: Sequence[Rule], column: str) -> Classes:
        """The cells of one axis as these rules see them."""
        return _merged(self.resting.axes[column], self._keys(table, rules, column))

    def _keys(self, table: Table, rules: Sequence[Rule], column: str) -> list[tuple[int, ...]]:
        """For each cell of an axis, what these rules and all they rest on can tell of it."""
        axis = self.resting.axes[column]
        tests = {
            rule.tests[at].text: rule.tests[at]
            for at, used in enumerate(table.inputs)
            if used == column
            for rule in rules
        }
        judged = [axis.accepted(test) for test in tests.values()]
        judged += [
            axis.accepted(box.tests[column])
            for box in self.resting.manifest.impossible
            if column in box.tests
        ]
        keys = [tuple(int(accepts[cell]) for accepts in judged) for cell in range(len(axis.cells))]
        for used in self.resting.used(table, rules):
            source = (
                self.resting.grids.get(self.resting.decided_by[used].id)
                if used in self.resting.decided_by
                else None
            )
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
            for value in self.resting.manifest.outputs[decision].values
        )

    def _apart(self, decision: str, value_classes: tuple[int, ...]) -> dict[str, list[int]]:
        """For each axis of the deciding grid, its classes merged where the decision is alike."""
        key = (decision, value_classes)
        if key not in self._told_apart:
            source = self.resting.grids[self.resting.decided_by[decision].id]
            values = self.resting.manifest.outputs[decision].values
            number = np.array(
                [value_classes[values.index(rule.outputs[decision])] for rule in source.rules]
            )
            told = np.where(source.codes >= 0, number[np.maximum(source.codes, 0)], source.codes)
            self._told_apart[key] = {
                column: _alike(told, at) for at, column in enumerate(source.axes)
            }
        return self._told_apart[key]


def _merged(axis: Axis, keys: Sequence[tuple[int, ...]]) -> Classes:
    """The cells that share a key made one class."""
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
