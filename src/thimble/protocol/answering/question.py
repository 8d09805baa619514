"""One compiled question asked about one situation: what is settled, what is possible, what matters."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from ..compiling.boxes import Boxes
from ..compiling.grids import Grid
from ..compiling.index import Index
from ..finding import Finding, Item
from ..model import Manifest, Rule

REMEMBERED = 4096
"""Partly known situations remembered a question; the cells repeat from case to case."""


@dataclass(frozen=True, slots=True)
class Answer:
    """What one question says: findings or items, and which missing facts change which result."""

    table: str
    findings: tuple[Finding, ...] = ()
    items: tuple[tuple[int, Item], ...] = ()
    changes: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class Open:
    """A partly known situation of one question.

    `rules` can still fire (UNIQUE: one of them; COLLECT: any). `certain` are the items, by number, that
    apply whatever is learned. `matter` are the missing facts that can change each decision or item that
    is open, by its number.
    """

    rules: tuple[int, ...]
    certain: frozenset[int]
    matter: Mapping[int, tuple[str, ...]]


class Answering:
    """A question with its lookups laid out; one way of keeping the rules gives one subclass."""

    def __init__(self, question: Grid | Boxes, index: Index, manifest: Manifest) -> None:
        self.table = question.table
        self.rules = question.rules
        self.unique = question.unique
        order = list(index.axes)
        # An axis of one class cannot tell anything apart, so nobody need look at it.
        self.kept = [at for at, members in enumerate(question.members) if len(members) > 1]
        self._positions = [
            (order.index(question.axes[at]), question.classes[at]) for at in self.kept
        ]
        self._facts = [question.axes[at].partition(".")[0] for at in self.kept]
        self._decisions = [
            (d, values, [values.index(rule.outputs[d]) for rule in self.rules])
            for d in self.table.decides
            for values in [manifest.outputs[d].values]
        ]
        self._reasons = [self.table.reason(rule) for rule in self.rules]
        self._items = [] if self.unique else self._distinct_items()

    def at(self, offset: int, cells: list[int]) -> Answer | None:
        """What the question says of a situation, or None if nothing can be said.

        `offset` is the situation's own number in this question, from `Lookup`.
        """
        raise NotImplementedError

    def forget(self) -> None:
        """Drop what was remembered of partly known situations."""
        raise NotImplementedError

    def _key(self, cells: list[int]) -> tuple[int, ...]:
        return tuple(
            -1 if cells[position] < 0 else classes[cells[position]]
            for position, classes in self._positions
        )

    def _answer(self, key: tuple[int, ...]) -> Answer | None:
        opened = self._open(key)
        if opened is None:
            return None
        return self._open_decisions(opened) if self.unique else self._open_items(opened)

    def _open(self, key: tuple[int, ...]) -> Open | None:
        """What can still come, or None if nothing can be said."""
        raise NotImplementedError

    # -- everything known ---------------------------------------------------------------------

    def _settled(self, code: int) -> Answer:
        if self.unique:
            because = (self._reasons[code],)
            return Answer(
                self.table.id,
                findings=tuple(
                    Finding(d, values[outcomes[code]], (values[outcomes[code]],), because)
                    for d, values, outcomes in self._decisions
                ),
            )
        items = [
            (row, self._item(rule, True, code & own))
            for row, own, rule in self._items
            if code & own
        ]
        return Answer(self.table.id, items=tuple(items))

    def _item(self, rule: Rule, certain: bool, fired: int, facts: tuple[str, ...] = ()) -> Item:
        because = tuple(r for number, r in enumerate(self._reasons) if fired >> number & 1)
        return Item(self.table.id, rule.outputs, certain, because, facts)

    def _distinct_items(self) -> list[tuple[int, int, Rule]]:
        """(first row, bits of its rules, a rule of it) for each distinct item."""
        items: dict[tuple[str, ...], tuple[int, int, Rule]] = {}
        for number, rule in enumerate(self.rules):
            key = tuple(rule.outputs.values())
            row, own, first = items.get(key, (rule.row, 0, rule))
            items[key] = (row, own | 1 << number, first)
        return list(items.values())

    # -- something missing --------------------------------------------------------------------

    def _open_decisions(self, opened: Open) -> Answer:
        findings: list[Finding] = []
        changes: list[tuple[str, str]] = []
        reasons = tuple(self._reasons[n] for n in opened.rules)
        for number, (decision, values, outcomes) in enumerate(self._decisions):
            possible = sorted({outcomes[n] for n in opened.rules})
            words = tuple(values[k] for k in possible)
            if len(words) == 1:
                findings.append(Finding(decision, words[0], words, reasons))
                continue
            facts = opened.matter[number]
            findings.append(Finding(decision, None, words, (), facts))
            changes += [(fact, decision) for fact in facts]
        return Answer(self.table.id, findings=tuple(findings), changes=tuple(changes))

    def _open_items(self, opened: Open) -> Answer:
        items: list[tuple[int, Item]] = []
        changes: dict[tuple[str, str], None] = {}
        ever = sum(1 << n for n in opened.rules)
        for number, (row, own, rule) in enumerate(self._items):
            if ever & own:
                facts = opened.matter.get(number, ())
                item = self._item(rule, number in opened.certain, ever & own, facts)
                changes.update(dict.fromkeys((fact, self.table.id) for fact in facts))
                items.append((row, item))
        return Answer(self.table.id, items=tuple(items), changes=tuple(changes))

    def _missing(self, key: tuple[int, ...]) -> dict[str, tuple[int, ...]]:
        """Each missing fact with its axes, counted among the missing axes alone.

        The members of a set fact are missing together, and one new answer moves them together.
        """
        missing: dict[str, tuple[int, ...]] = {}
        for at, n in enumerate(n for n, k in enumerate(key) if k < 0):
            missing[self._facts[n]] = (*missing.get(self._facts[n], ()), at)
        return missing
