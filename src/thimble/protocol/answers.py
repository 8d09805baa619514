"""One compiled question asked about one situation: what is settled, what is possible, what matters."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from .boxes import Box, Boxes, bits, meet, that_differ, volume, without
from .finding import Finding, Item
from .index import IMPOSSIBLE, Codes, Grid, Index
from .model import Manifest, Rule
from .space import Axis

MARK_BITS = 62
"""Marks in one signed 64-bit word, one bit left free for the sign and one for safety."""

REMEMBERED = 4096
"""Partly known situations remembered a question; the cells repeat from case to case."""

UNKNOWN = -(1 << 36)
"""What an unknown first axis adds to an offset, far beyond the largest grid; the next axis twice that."""


@dataclass(frozen=True, slots=True)
class Answer:
    """What one question says: findings or items, and which missing facts change which result."""

    table: str
    findings: tuple[Finding, ...] = ()
    items: tuple[tuple[int, Item], ...] = ()
    changes: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class _Open:
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

    def _open(self, key: tuple[int, ...]) -> _Open | None:
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

    def _open_decisions(self, opened: _Open) -> Answer:
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

    def _open_items(self, opened: _Open) -> Answer:
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


class GridAnswering(Answering):
    """Lookups in a grid: a flat offset when all is known, a slice when not.

    Beside the code, each cell holds marks: a bit for each outcome of each decision, or two bits (applies,
    does not) for each item; none where the cell cannot be. Marks laid over each other along an axis
    then show at once which decisions and items that axis can change.
    """

    def __init__(self, grid: Grid, index: Index, manifest: Manifest) -> None:
        super().__init__(grid, index, manifest)
        self._by_offset: dict[int, Answer | None] = {}
        shape = [grid.codes.shape[at] for at in self.kept]
        self._codes: Codes = np.ascontiguousarray(grid.codes.reshape(shape))
        self._flat = memoryview(self._codes.reshape(-1))  # type: ignore[arg-type]
        strides = [int(np.prod(shape[at + 1 :], dtype=np.int64)) for at in range(len(shape))]
        self.path = [
            (position, [stride * k for k in classes], UNKNOWN << at)
            for at, (stride, (position, classes)) in enumerate(
                zip(strides, self._positions, strict=True)
            )
        ]
        self._seen, self._dense = _distinct(self._codes)
        self._fired = np.where(self._codes == IMPOSSIBLE, 0, self._codes)
        self._by_code = {c: self._settled(c) if c >= 0 else None for c in self._seen}
        self._some_cannot_be = IMPOSSIBLE in self._seen
        self._fields = self._marked()
        words = [[self._mark(code, field) for code in self._seen] for field in self._fields]
        self._marks = [np.array(word, np.int64)[self._dense] for word in words]

    def at(self, offset: int, cells: list[int]) -> Answer | None:
        if offset >= 0:
            return self._by_code[self._flat[offset]]
        if offset not in self._by_offset:
            if len(self._by_offset) >= REMEMBERED:
                self._by_offset.clear()
            self._by_offset[offset] = self._answer(self._key(cells))
        return self._by_offset[offset]

    def forget(self) -> None:
        self._by_offset.clear()

    def numbered(self, answers: list[Answer | None]) -> NDArray[np.int32]:
        """For each cell, the place of its answer in `answers`, which grows by this grid's own.

        Place 0 stands for no answer, place 1 for one that says nothing.
        """
        places = []
        for code in self._seen:
            answer = self._by_code[code]
            if answer is None or not (answer.findings or answer.items):
                places.append(0 if answer is None else 1)
            else:
                places.append(len(answers))
                answers.append(answer)
        return np.array(places, np.int32)[self._dense.reshape(-1)]

    # -- marks --------------------------------------------------------------------------------

    def _marked(self) -> list[list[tuple[int, int, int]]]:
        """(number, first bit, bits) of each decision or item, in words of 62 bits at most."""
        if self.unique:
            widths = [len(values) for _, values, _ in self._decisions]
        else:
            widths = [2] * len(self._items)
        fields: list[list[tuple[int, int, int]]] = [[]]
        used = 0
        for number, width in enumerate(widths):
            if used + width > MARK_BITS:
                fields.append([])
                used = 0
            fields[-1].append((number, used, width))
            used += width
        return fields

    def _mark(self, code: int, field: list[tuple[int, int, int]]) -> int:
        if code < 0:
            return 0
        if self.unique:
            return sum(1 << first + self._decisions[n][2][code] for n, first, _ in field)
        return sum(1 << first + int(code & self._items[n][1] == 0) for n, first, _ in field)

    # -- something missing --------------------------------------------------------------------

    def _open(self, key: tuple[int, ...]) -> _Open | None:
        part = tuple(slice(None) if k < 0 else k for k in key)
        rules = self._rules_in(part)
        if rules is None:
            return None
        certain: set[int] = set()
        matter: dict[int, tuple[str, ...]] = {}
        missing = self._missing(key)
        for field, marks in zip(self._fields, self._marks, strict=True):
            here = marks[part]
            every = int(np.bitwise_or.reduce(here, axis=None))
            wanted = []
            for number, first, width in field:
                own = every >> first & (1 << width) - 1
                if own & (own - 1):
                    wanted.append((number, first, width))
                elif own == 1:
                    certain.add(number)
            if wanted:
                matter.update(self._matter(wanted, here, missing))
        return _Open(rules, frozenset() if self.unique else frozenset(certain), matter)

    def _rules_in(self, part: tuple[int | slice, ...]) -> tuple[int, ...] | None:
        """The rules that some completion fires; None where one has no rule, or there is none."""
        if not self.unique:
            ever = int(np.bitwise_or.reduce(self._fired[part], axis=None))
            if ever < 0 or (self._some_cannot_be and ever == 0 and self._nothing_can_be(part)):
                return None
            return tuple(bits(ever))
        there = np.bincount(self._dense[part].reshape(-1), minlength=len(self._seen)).tolist()
        codes = [c for c, n in zip(self._seen, there, strict=True) if n and c != IMPOSSIBLE]
        return tuple(codes) if codes and codes[0] >= 0 else None

    def _nothing_can_be(self, part: tuple[int | slice, ...]) -> bool:
        return bool((self._codes[part] == IMPOSSIBLE).all())

    def _matter(
        self,
        wanted: list[tuple[int, int, int]],
        marks: Codes,
        missing: Mapping[str, tuple[int, ...]],
    ) -> dict[int, tuple[str, ...]]:
        """For each open decision or item, the facts along which it varies, all else the same.

        Declared impossibilities can leave no single step, only one of several facts together; then
        the fewest that move together matter. So the facts that matter, once known, always settle it.
        """
        found = {fact: _varying(wanted, marks, axes) for fact, axes in missing.items()}
        matter = {n: {fact for fact in missing if n in found[fact]} for n, _, _ in wanted}
        if self._some_cannot_be and not marks.all():
            by_rest: dict[tuple[str, ...], list[tuple[int, int, int]]] = {}
            for field in wanted:
                rest = tuple(fact for fact in missing if fact not in matter[field[0]])
                by_rest.setdefault(rest, []).append(field)
            for rest, fields in by_rest.items():
                for number, facts in _steps_together(rest, fields, marks, missing).items():
                    matter[number] |= facts
        return {n: tuple(f for f in missing if f in facts) for n, facts in matter.items()}


def _distinct(codes: Codes) -> tuple[list[int], Codes]:
    """The codes that occur, ascending, and for each cell the place of its code among them."""
    lowest, highest = int(codes.min()), int(codes.max())
    if highest - lowest >= 1 << 16:
        seen, dense = np.unique(codes, return_inverse=True)
        return seen.tolist(), dense.reshape(codes.shape)
    shifted = codes - lowest  # counting is quicker than sorting where the codes lie close together
    occurs = np.bincount(shifted.reshape(-1)) > 0
    places = np.cumsum(occurs) - 1
    return (np.flatnonzero(occurs) + lowest).tolist(), places[shifted]


def _varying(fields: list[tuple[int, int, int]], marks: Codes, axes: tuple[int, ...]) -> set[int]:
    """The decisions or items that have more than one outcome along these axes somewhere."""
    along = np.bitwise_or.reduce(marks, axis=axes)
    if fields[0][2] == 2:  # items: applies, and beside it does not
        both = int(np.bitwise_or.reduce(along & along >> 1, axis=None))
        return {n for n, first, _ in fields if both >> first & 1}
    found = set()
    for n, first, width in fields:
        own = along & ((1 << width) - 1 << first)
        if (own & (own - 1)).any():
            found.add(n)
    return found


def _steps_together(
    rest: tuple[str, ...],
    fields: list[tuple[int, int, int]],
    marks: Codes,
    missing: Mapping[str, tuple[int, ...]],
) -> dict[int, set[str]]:
    """For each field, the facts of the smallest sets of two or more that must move together."""

    def varying(facts: Iterable[str], among: list[tuple[int, int, int]]) -> set[int]:
        return _varying(among, marks, tuple(axis for fact in facts for axis in missing[fact]))

    open_still = varying(rest, fields) if len(rest) > 1 else set()
    sets: dict[int, list[set[str]]] = {n: [] for n in open_still}
    for size in range(2, len(rest) + 1 if open_still else 2):
        for facts in combinations(rest, size):
            among = [
                f for f in fields if f[0] in sets and not any(t <= set(facts) for t in sets[f[0]])
            ]
            for number in varying(facts, among) if among else ():
                sets[number].append(set(facts))
    return {n: set().union(*found) for n, found in sets.items()}


class BoxAnswering(Answering):
    """Bit tests on boxes; an open question is settled by what the boxes cover and touch."""

    def __init__(self, boxes: Boxes, index: Index, manifest: Manifest) -> None:
        super().__init__(boxes, index, manifest)
        self._by_key: dict[tuple[int, ...], Answer | None] = {}
        self._whole = tuple(boxes.whole[at] for at in self.kept)
        self._boxes = [tuple(box[at] for at in self.kept) for box in boxes.boxes]
        self._living = [all(box) for box in boxes.boxes]
        self._firsts = [
            (n, tuple(p[at] for at in self.kept)) for n, p in boxes.firsts()
        ] if boxes.unique else []  # fmt: skip

    def at(self, offset: int, cells: list[int]) -> Answer | None:  # noqa: ARG002 - boxes have none
        key = self._key(cells)
        if key not in self._by_key:
            if len(self._by_key) >= REMEMBERED:
                self._by_key.clear()
            self._by_key[key] = self._answer(key)
        return self._by_key[key]

    def forget(self) -> None:
        self._by_key.clear()

    def _open(self, key: tuple[int, ...]) -> _Open | None:
        known = tuple(w if k < 0 else 1 << k for k, w in zip(key, self._whole, strict=True))
        return self._open_rules(known, key) if self.unique else self._open_union(known, key)

    def _open_rules(self, known: Box, key: tuple[int, ...]) -> _Open | None:
        pieces = [
            (n, shared) for n, piece in self._firsts if (shared := meet(piece, known)) is not None
        ]
        if sum(volume(piece) for _, piece in pieces) < volume(known):
            return None  # some completion has no rule
        rules = tuple(sorted({n for n, _ in pieces}))
        matter = {}
        for number, (_, _, outcomes) in enumerate(self._decisions):
            by_outcome: dict[int, list[Box]] = {}
            for n, piece in pieces:
                by_outcome.setdefault(outcomes[n], []).append(piece)
            if len(by_outcome) > 1:
                matter[number] = self._between(list(by_outcome.values()), key)
        return _Open(rules, frozenset(), matter)

    def _open_union(self, known: Box, key: tuple[int, ...]) -> _Open:
        touched = {
            n: shared
            for n, (box, alive) in enumerate(zip(self._boxes, self._living, strict=True))
            if alive and (shared := meet(box, known)) is not None
        }
        certain, matter = set(), {}
        for number, (_, own, _) in enumerate(self._items):
            inside = [box for n, box in touched.items() if own >> n & 1]
            outside = without(known, inside) if inside else []
            if inside and not outside:
                certain.add(number)
            elif inside:
                matter[number] = self._between([inside, outside], key)
        return _Open(tuple(touched), frozenset(certain), matter)

    def _between(self, kinds: list[list[Box]], key: tuple[int, ...]) -> tuple[str, ...]:
        """The missing facts along which a step leads from one kind of boxes to another."""
        facts = list(dict.fromkeys(f for f, k in zip(self._facts, key, strict=True) if k < 0))
        groups = [facts.index(f) if f in facts else -1 for f in self._facts]
        found: set[int] = set()
        for at, first in enumerate(kinds):
            for second in kinds[at + 1 :]:
                found |= that_differ(first, second, groups)
        return tuple(fact for number, fact in enumerate(facts) if number in found)


def answering(question: Grid | Boxes, index: Index, manifest: Manifest) -> Answering:
    """The lookups for one compiled question."""
    if isinstance(question, Boxes):
        return BoxAnswering(question, index, manifest)
    return GridAnswering(question, index, manifest)


class Lookup:
    """Every grid's answer to one situation: one sum for the offsets, one gather for the answers."""

    def __init__(self, questions: Sequence[Answering], axes: Sequence[Axis]) -> None:
        cells = max((len(axis.cells) for axis in axes), default=0)
        self._offsets = np.zeros((len(axes) + 1, cells + 1, len(questions)), np.int64)
        self._rows = np.arange(len(axes) + 1)
        self._answers: list[Answer | None] = [None, Answer("")]
        self._bases = np.zeros(len(questions), np.int64)
        numbers: list[NDArray[np.int32]] = []
        size = 0
        for number, question in enumerate(questions):
            if not isinstance(question, GridAnswering):
                self._offsets[-1, :, number] = -1  # boxes have no offset: always asked themselves
                continue
            for position, offsets, unknown in question.path:
                self._offsets[position, : len(offsets), number] = offsets
                self._offsets[position, -1, number] = unknown
            self._bases[number] = size
            numbers.append(question.numbered(self._answers))
            size += numbers[-1].size
        self._numbers = np.concatenate(numbers) if numbers else np.zeros(0, np.int32)

    def offsets(self, cells: list[int]) -> NDArray[np.int64]:
        """One offset a question: flat where all is known, else a negative number of its own.

        A fact that is not known takes away its axis' own power of two above every flat offset.
        """
        found: NDArray[np.int64] = self._offsets[self._rows, [*cells, 0]].sum(axis=0)
        return found

    def settled(self, offsets: NDArray[np.int64]) -> list[Answer] | None:
        """The answers that say something, in order; None where some question is not settled."""
        if not len(offsets) or int(offsets.min()) < 0:
            return None
        numbers = self._numbers[self._bases + offsets]
        if not numbers.all():
            return None
        answers = self._answers
        return [answers[n] for n in numbers[numbers > 1].tolist()]
