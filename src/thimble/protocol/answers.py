"""One compiled question asked about one situation: what is settled, what is possible, what matters."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from functools import partial, reduce
from itertools import combinations
from operator import or_

import numpy as np

from .boxes import Box, Boxes, meet, that_differ, without
from .finding import Finding, Item
from .index import GAP, IMPOSSIBLE, Codes, Grid, Index, Mask
from .model import Manifest, Rule

REMEMBERED = 4096
"""Partly known situations remembered a question; the cells repeat from case to case."""

Matter = Callable[[Callable[[int], int]], tuple[str, ...]]
"""The missing facts that matter, given what outcome each code stands for."""


@dataclass(frozen=True, slots=True)
class Answer:
    """What one question says: findings or items, and which missing facts change which result."""

    findings: tuple[Finding, ...] = ()
    items: tuple[tuple[int, Item], ...] = ()
    changes: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class _Part:
    """A partly known situation: the codes that can still come, and who matters to a split of them."""

    codes: Sequence[int]
    matter: Matter


class Answering:
    """A question with its lookups laid out; one way of keeping the rules gives one subclass."""

    def __init__(self, question: Grid | Boxes, index: Index, manifest: Manifest) -> None:
        self.table = question.table
        self.rules = question.rules
        self.unique = question.unique
        self.remembered: dict[tuple[int, ...], Answer | None] = {}
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

    def answer(self, cells: list[int]) -> Answer | None:
        """What the question says of a situation, or None if nothing can be said."""
        key = tuple(
            -1 if cells[position] < 0 else classes[cells[position]]
            for position, classes in self._positions
        )
        if key not in self.remembered:
            if len(self.remembered) >= REMEMBERED:
                self.remembered.clear()
            self.remembered[key] = self._answer(key)
        return self.remembered[key]

    def _answer(self, key: tuple[int, ...]) -> Answer | None:
        part = self._part(key)
        if not part.codes or min(part.codes) < 0:
            return None
        if len(part.codes) == 1:
            return self._settled(part.codes[0])
        return self._open_decisions(part) if self.unique else self._open_items(part)

    def _part(self, key: tuple[int, ...]) -> _Part:
        raise NotImplementedError

    # -- everything known ---------------------------------------------------------------------

    def _settled(self, code: int) -> Answer:
        if self.unique:
            because = (self._reasons[code],)
            return Answer(
                findings=tuple(
                    Finding(d, values[outcomes[code]], (values[outcomes[code]],), because)
                    for d, values, outcomes in self._decisions
                )
            )
        return Answer(items=tuple((row, self._item(rule, True, code & bits)) for row, bits, rule in
                                  self._items if code & bits))  # fmt: skip

    def _item(self, rule: Rule, certain: bool, bits: int, facts: tuple[str, ...] = ()) -> Item:
        because = tuple(r for number, r in enumerate(self._reasons) if bits >> number & 1)
        return Item(self.table.id, rule.outputs, certain, because, facts)

    def _distinct_items(self) -> list[tuple[int, int, Rule]]:
        """(first row, bits of its rules, a rule of it) for each distinct item."""
        items: dict[tuple[str, ...], tuple[int, int, Rule]] = {}
        for number, rule in enumerate(self.rules):
            key = tuple(rule.outputs.values())
            row, bits, first = items.get(key, (rule.row, 0, rule))
            items[key] = (row, bits | 1 << number, first)
        return list(items.values())

    # -- something missing --------------------------------------------------------------------

    def _open_decisions(self, part: _Part) -> Answer:
        findings: list[Finding] = []
        changes: list[tuple[str, str]] = []
        reasons = tuple(self._reasons[code] for code in part.codes)
        for decision, values, outcomes in self._decisions:
            possible = sorted({outcomes[code] for code in part.codes})
            if len(possible) == 1:
                value = values[possible[0]]
                findings.append(Finding(decision, value, (value,), reasons))
                continue
            facts = part.matter(outcomes.__getitem__)
            findings.append(Finding(decision, None, tuple(values[k] for k in possible), (), facts))
            changes += [(fact, decision) for fact in facts]
        return Answer(findings=tuple(findings), changes=tuple(changes))

    def _open_items(self, part: _Part) -> Answer:
        items: list[tuple[int, Item]] = []
        changes: dict[tuple[str, str], None] = {}
        for row, bits, rule in self._items:
            ever = reduce(or_, part.codes) & bits
            if not ever:
                continue
            facts: tuple[str, ...] = ()
            certain = all(code & bits for code in part.codes)
            if not certain:
                facts = part.matter(partial(_applies, bits))
                changes.update(dict.fromkeys((fact, self.table.id) for fact in facts))
            items.append((row, self._item(rule, certain, ever, facts)))
        return Answer(items=tuple(items), changes=tuple(changes))

    def _missing(self, key: tuple[int, ...]) -> dict[str, tuple[int, ...]]:
        """Each missing fact with its axes, counted among the missing axes alone.

        The members of a set fact are missing together, and one new answer moves them together.
        """
        missing: dict[str, tuple[int, ...]] = {}
        for at, n in enumerate(n for n, k in enumerate(key) if k < 0):
            missing[self._facts[n]] = (*missing.get(self._facts[n], ()), at)
        return missing


class GridAnswering(Answering):
    """Lookups in a grid: a flat offset when all is known, a slice when not."""

    def __init__(self, grid: Grid, index: Index, manifest: Manifest) -> None:
        super().__init__(grid, index, manifest)
        shape = [grid.codes.shape[at] for at in self.kept]
        self._codes: Codes = np.ascontiguousarray(grid.codes.reshape(shape))
        self._flat = memoryview(self._codes.reshape(-1))  # type: ignore[arg-type]
        strides = [int(np.prod(shape[at + 1 :], dtype=np.int64)) for at in range(len(shape))]
        self._path = [
            (position, [stride * k for k in classes])
            for stride, (position, classes) in zip(strides, self._positions, strict=True)
        ]
        self._by_code = {
            code: self._settled(code) if code >= 0 else None
            for code in np.unique(self._codes).tolist()
        }

    def answer(self, cells: list[int]) -> Answer | None:
        at = 0
        for position, offsets in self._path:
            cell = cells[position]
            if cell < 0:
                return super().answer(cells)
            at += offsets[cell]
        return self._by_code[self._flat[at]]

    def _part(self, key: tuple[int, ...]) -> _Part:
        part = self._codes[tuple(slice(None) if k < 0 else k for k in key)]
        can_be = part != IMPOSSIBLE
        codes = np.unique(part[can_be]).tolist()
        return _Part(codes, lambda outcome: self._matter(part, can_be, codes, outcome, key))

    def _matter(
        self,
        part: Codes,
        can_be: Mask,
        codes: list[int],
        outcome: Callable[[int], int],
        key: tuple[int, ...],
    ) -> tuple[str, ...]:
        """Facts along whose axes the outcome varies, all else the same.

        Declared impossibilities can leave no single step, only one of several facts together; then
        the fewest that move together matter. So the facts that matter, once known, always settle it.
        """
        numbers = np.array([outcome(code) for code in codes])
        outcomes = numbers[np.searchsorted(codes, np.where(can_be, part, codes[0]))]
        highest = np.where(can_be, outcomes, -1)
        lowest = np.where(can_be, outcomes, np.iinfo(np.int64).max)
        missing = self._missing(key)

        def varies_along(facts: Iterable[str]) -> bool:
            axes = tuple(axis for fact in facts for axis in missing[fact])
            return bool((highest.max(axis=axes) > lowest.min(axis=axes)).any())

        matter = {fact for fact in missing if varies_along([fact])}
        rest = [fact for fact in missing if fact not in matter]
        if rest and not can_be.all() and varies_along(rest):
            together: list[set[str]] = []
            for size in range(2, len(rest) + 1):
                together += [
                    set(facts)
                    for facts in combinations(rest, size)
                    if not any(found <= set(facts) for found in together) and varies_along(facts)
                ]
            matter = matter.union(*together)
        return tuple(fact for fact in missing if fact in matter)


class BoxAnswering(Answering):
    """Bit tests on boxes; an open question is settled by what the boxes cover and touch."""

    def __init__(self, boxes: Boxes, index: Index, manifest: Manifest) -> None:
        super().__init__(boxes, index, manifest)
        self._whole = tuple(boxes.whole[at] for at in self.kept)
        self._boxes = [tuple(box[at] for at in self.kept) for box in boxes.boxes]
        self._living = [all(box) for box in boxes.boxes]
        self._firsts = [
            (n, tuple(p[at] for at in self.kept)) for n, p in boxes.firsts()
        ] if boxes.unique else []  # fmt: skip

    def _part(self, key: tuple[int, ...]) -> _Part:
        known = tuple(w if k < 0 else 1 << k for k, w in zip(key, self._whole, strict=True))
        if not self.unique:
            raise NotImplementedError  # items are judged one by one, in _answer
        pieces = [
            (n, shared) for n, piece in self._firsts if (shared := meet(piece, known)) is not None
        ]
        pieces += [(GAP, gap) for gap in without(known, [piece for _, piece in pieces])]
        codes = sorted({n for n, _ in pieces})

        def matter(outcome: Callable[[int], int]) -> tuple[str, ...]:
            by_outcome: dict[int, list[Box]] = {}
            for n, piece in pieces:
                by_outcome.setdefault(outcome(n), []).append(piece)
            return self._between(list(by_outcome.values()), key)

        return _Part(codes, matter)

    def _answer(self, key: tuple[int, ...]) -> Answer | None:
        if self.unique:
            return super()._answer(key)
        known = tuple(w if k < 0 else 1 << k for k, w in zip(key, self._whole, strict=True))
        touched = [
            meet(box, known) if alive else None
            for box, alive in zip(self._boxes, self._living, strict=True)
        ]
        items: list[tuple[int, Item]] = []
        changes: dict[tuple[str, str], None] = {}
        for row, bits, rule in self._items:
            inside = {n: b for n, b in enumerate(touched) if b is not None and bits >> n & 1}
            if not inside:
                continue
            boxes = list(inside.values())
            outside = without(known, boxes)
            facts = self._between([boxes, outside], key) if outside else ()
            changes.update(dict.fromkeys((fact, self.table.id) for fact in facts))
            ever = sum(1 << n for n in inside)
            items.append((row, self._item(rule, not outside, ever, facts)))
        return Answer(items=tuple(items), changes=tuple(changes))

    def _between(self, kinds: list[list[Box]], key: tuple[int, ...]) -> tuple[str, ...]:
        """The missing facts along which a step leads from one kind of boxes to another."""
        facts = list(dict.fromkeys(f for f, k in zip(self._facts, key, strict=True) if k < 0))
        groups = [facts.index(f) if f in facts else -1 for f in self._facts]
        found: set[int] = set()
        for at, first in enumerate(kinds):
            for second in kinds[at + 1 :]:
                found |= that_differ(first, second, groups)
        return tuple(fact for number, fact in enumerate(facts) if number in found)


def _applies(bits: int, code: int) -> int:
    return int(code & bits != 0)


def answering(question: Grid | Boxes, index: Index, manifest: Manifest) -> Answering:
    """The lookups for one compiled question."""
    if isinstance(question, Boxes):
        return BoxAnswering(question, index, manifest)
    return GridAnswering(question, index, manifest)
