"""A question kept as boxes, for the table whose grid would not fit."""

from __future__ import annotations

from ..compiling.boxes import Box, Boxes, meet, that_differ, volume, without
from ..compiling.index import Index
from ..model import Manifest
from .question import REMEMBERED, Answer, Answering, Open


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

    def _open(self, key: tuple[int, ...]) -> Open | None:
        known = tuple(w if k < 0 else 1 << k for k, w in zip(key, self._whole, strict=True))
        return self._open_rules(known, key) if self.unique else self._open_union(known, key)

    def _open_rules(self, known: Box, key: tuple[int, ...]) -> Open | None:
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
        return Open(rules, frozenset(), matter)

    def _open_union(self, known: Box, key: tuple[int, ...]) -> Open:
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
        return Open(tuple(touched), frozenset(certain), matter)

    def _between(self, kinds: list[list[Box]], key: tuple[int, ...]) -> tuple[str, ...]:
        """The missing facts along which a step leads from one kind of boxes to another."""
        facts = list(dict.fromkeys(f for f, k in zip(self._facts, key, strict=True) if k < 0))
        groups = [facts.index(f) if f in facts else -1 for f in self._facts]
        found: set[int] = set()
        for at, first in enumerate(kinds):
            for second in kinds[at + 1 :]:
                found |= that_differ(first, second, groups)
        return tuple(fact for number, fact in enumerate(facts) if number in found)
