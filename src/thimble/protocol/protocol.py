"""A protocol that is ready to answer: read, compiled, and evaluated with explanation.

Evaluation is exact in the face of missing facts. Over every way of completing them that is not
declared impossible, it gives the set of outcomes that can come out, and the facts that still matter: a
fact matters to a decision if two completions that differ in that fact alone lead to different outcomes.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import numpy as np

from .finding import Evaluation, Finding, Item, Question, Reason
from .index import IMPOSSIBLE, Codes, Grid, Index, Mask, build_index, contradicted
from .model import Case, Impossible, Manifest, Output, Rule, Table
from .reading import read_folder
from .space import Axis
from .vocabulary import Facts, Vocabulary

REMEMBERED = 4096
"""Partly known situations remembered a grid; the cells repeat from case to case."""


@dataclass(frozen=True, slots=True)
class Contradiction:
    """Facts that cannot hold together, and why."""

    facts: tuple[str, ...]
    because: str


@dataclass(frozen=True, slots=True)
class _Answer:
    """What one grid says: findings or items, and which missing facts change which result."""

    findings: tuple[Finding, ...] = ()
    items: tuple[tuple[int, Item], ...] = ()
    changes: tuple[tuple[str, str], ...] = ()


class Protocol:
    """Clinical rules as data, compiled.

    Every attribute of the manifest is here by the same name: `id`, `title`, `edition`, `sources`,
    `tables`, `outputs`, `digest` and so on.
    """

    def __init__(self, manifest: Manifest, vocabulary: Vocabulary) -> None:
        self.manifest = manifest
        self.vocabulary = vocabulary
        self.index: Index = build_index(manifest, vocabulary)
        self._compiled = [_Compiled(grid, self.index, manifest) for grid in self.index.grids]
        self._places = _places(self.index.axes)

    @property
    def id(self) -> str:
        return self.manifest.id

    @property
    def title(self) -> str:
        return self.manifest.title

    @property
    def jurisdiction(self) -> str:
        return self.manifest.jurisdiction

    @property
    def edition(self) -> str:
        return self.manifest.edition

    @property
    def in_force_from(self) -> date:
        return self.manifest.in_force_from

    @property
    def note(self) -> str:
        return self.manifest.note

    @property
    def digest(self) -> str:
        return self.manifest.digest

    @property
    def sources(self) -> Mapping[str, str]:
        return self.manifest.sources

    @property
    def outputs(self) -> Mapping[str, Output]:
        return self.manifest.outputs

    @property
    def tables(self) -> tuple[Table, ...]:
        return self.manifest.tables

    @property
    def cases(self) -> tuple[Case, ...]:
        return self.manifest.cases

    @property
    def impossible(self) -> tuple[Impossible, ...]:
        return self.manifest.impossible

    def table(self, id_: str) -> Table:
        """The table of that id; KeyError if there is none."""
        for table in self.tables:
            if table.id == id_:
                return table
        raise KeyError(id_)

    def contradictions(self, facts: Facts) -> tuple[Contradiction, ...]:
        """Declared impossibilities that `facts` fulfil."""
        return tuple(
            Contradiction(tuple(dict.fromkeys(c.partition(".")[0] for c in box.tests)), box.because)
            for box in contradicted(self.impossible, self.index.axes, facts)
        )

    def evaluate(self, facts: Facts) -> Evaluation:
        """What every table says of `facts` (checked values), known in part or in full.

        Raises:
            ValueError: the facts cannot hold together, or no rule covers them.
        """
        cells = self._cells(facts)
        findings: dict[str, Finding] = {}
        items: dict[str, list[tuple[int, Item]]] = {
            t.id: [] for t in self.tables if t.hit_policy == "COLLECT"
        }
        changed: dict[str, dict[str, None]] = {}
        for compiled in self._compiled:
            answer = compiled.answer(cells)
            if answer is None:
                self._refuse(facts, compiled.grid)
                continue
            for finding in answer.findings:
                findings[finding.decision] = finding
            if answer.items:
                items[compiled.grid.table.id].extend(answer.items)
            for fact, result in answer.changes:
                changed.setdefault(fact, {})[result] = None
        return Evaluation(
            findings,
            {
                id_: tuple(item for _, item in sorted(found, key=_row))
                for id_, found in items.items()
            },
            tuple(Question(fact, tuple(results)) for fact, results in changed.items()),
        )

    def _cells(self, facts: Facts) -> list[int]:
        cells = [-1] * len(self.index.axes)
        for fact_id, value in facts.items():
            for at, axis in self._places.get(fact_id, ()):
                cells[at] = axis(value)
        return cells

    def _refuse(self, facts: Facts, grid: Grid) -> None:
        contradictions = self.contradictions(facts)
        if contradictions:
            told = "; ".join(f"{', '.join(c.facts)}: {c.because}" for c in contradictions)
            raise ValueError(f"These facts cannot hold together: {told}.")
        raise ValueError(
            f"{grid.table.file}: no rule covers this situation, or the facts given leave no "
            f"situation that can be: {', '.join(f'{k}={facts[k]}' for k in facts)}"
        )


def load_protocol(folder: Path | str, vocabulary: Vocabulary) -> Protocol:
    """Read and compile the protocol in `folder`.

    Raises:
        ProtocolFaults: everything that is wrong with the folder.
    """
    return Protocol(read_folder(Path(folder), vocabulary), vocabulary)


class _Compiled:
    """A grid with its lookups laid out for speed."""

    def __init__(self, grid: Grid, index: Index, manifest: Manifest) -> None:
        self.grid = grid
        order = list(index.axes)
        strides = np.array([1] * len(grid.axes), np.int64)
        for at in range(len(grid.axes) - 2, -1, -1):
            strides[at] = strides[at + 1] * grid.codes.shape[at + 1]
        self._path = [
            (order.index(column), [int(strides[at]) * k for k in grid.classes[at]])
            for at, column in enumerate(grid.axes)
        ]
        self._positions = [(order.index(c), grid.classes[at]) for at, c in enumerate(grid.axes)]
        self._facts = [column.partition(".")[0] for column in grid.axes]
        self._remembered: dict[tuple[int, ...], _Answer | None] = {}
        self._decisions = [
            (d, manifest.outputs[d].values, self._outcomes(d, manifest)) for d in grid.table.decides
        ]
        self._reasons = [grid.table.reason(rule) for rule in grid.rules]
        self._items = self._distinct_items()
        by_code: dict[int, _Answer | None] = {}
        for code in np.unique(grid.codes).tolist():
            by_code[code] = self._settled(code) if code >= 0 else None
        self._answers = [by_code[code] for code in grid.codes.ravel().tolist()]

    def _outcomes(self, decision: str, manifest: Manifest) -> Codes:
        values = manifest.outputs[decision].values
        return np.array([values.index(rule.outputs[decision]) for rule in self.grid.rules])

    def _distinct_items(self) -> list[tuple[int, int, Rule]]:
        """(first row, bits of its rules, a rule of it) for each distinct item."""
        if self.grid.unique:
            return []
        items: dict[tuple[str, ...], tuple[int, int, Rule]] = {}
        for number, rule in enumerate(self.grid.rules):
            key = tuple(rule.outputs.values())
            row, bits, first = items.get(key, (rule.row, 0, rule))
            items[key] = (row, bits | 1 << number, first)
        return list(items.values())

    def answer(self, cells: list[int]) -> _Answer | None:
        """What this grid says of a situation, or None if nothing can be said."""
        at = 0
        for position, offsets in self._path:
            cell = cells[position]
            if cell < 0:
                break
            at += offsets[cell]
        else:
            return self._answers[at]
        key = tuple(
            -1 if cells[position] < 0 else classes[cells[position]]
            for position, classes in self._positions
        )
        if key not in self._remembered:
            if len(self._remembered) >= REMEMBERED:
                self._remembered.clear()
            self._remembered[key] = self._open(key)
        return self._remembered[key]

    # -- everything known ---------------------------------------------------------------------

    def _settled(self, code: int) -> _Answer:
        if self.grid.unique:
            because = (self._reasons[code],)
            return _Answer(
                findings=tuple(
                    Finding(d, values[outcomes[code]], (values[outcomes[code]],), because)
                    for d, values, outcomes in self._decisions
                )
            )
        return _Answer(
            items=tuple(
                (row, Item(self.grid.table.id, rule.outputs, True, self._because(code & bits)))
                for row, bits, rule in self._items
                if code & bits
            )
        )

    def _because(self, bits: int) -> tuple[Reason, ...]:
        return tuple(r for number, r in enumerate(self._reasons) if bits >> number & 1)

    # -- something missing --------------------------------------------------------------------

    def _open(self, key: tuple[int, ...]) -> _Answer | None:
        part = self.grid.codes[tuple(slice(None) if k < 0 else k for k in key)]
        missing = [self._facts[at] for at, k in enumerate(key) if k < 0]
        can_be = part != IMPOSSIBLE
        codes = np.unique(part[can_be])
        if len(codes) == 0 or codes[0] < 0:
            return None
        if len(codes) == 1:
            return self._settled(int(codes[0]))
        if self.grid.unique:
            return self._open_decisions(part, can_be, codes, missing)
        return self._open_items(part, can_be, codes, missing)

    def _open_decisions(
        self, part: Codes, can_be: Mask, codes: Codes, missing: list[str]
    ) -> _Answer:
        findings, changes = [], []
        reasons = tuple(self._reasons[code] for code in codes.tolist())
        for decision, values, outcomes in self._decisions:
            possible = np.unique(outcomes[codes])
            if len(possible) == 1:
                value = values[int(possible[0])]
                findings.append(Finding(decision, value, (value,), reasons))
                continue
            facts = _that_matter(outcomes[np.maximum(part, 0)], can_be, missing)
            words = tuple(values[k] for k in possible.tolist())
            findings.append(Finding(decision, None, words, (), facts))
            changes += [(fact, decision) for fact in facts]
        return _Answer(findings=tuple(findings), changes=tuple(changes))

    def _open_items(self, part: Codes, can_be: Mask, codes: Codes, missing: list[str]) -> _Answer:
        items, changes = [], []
        for row, bits, rule in self._items:
            applies = codes & bits != 0
            if not applies.any():
                continue
            if applies.all():
                ever = int(np.bitwise_or.reduce(codes & bits))
                item = Item(self.grid.table.id, rule.outputs, True, self._because(ever))
            else:
                facts = _that_matter((part & bits != 0).astype(np.int64), can_be, missing)
                ever = int(np.bitwise_or.reduce(codes & bits))
                item = Item(self.grid.table.id, rule.outputs, False, self._because(ever), facts)
                changes += [(fact, self.grid.table.id) for fact in facts]
            items.append((row, item))
        return _Answer(items=tuple(items), changes=tuple(dict.fromkeys(changes)))


def _that_matter(outcomes: Codes, can_be: Mask, missing: list[str]) -> tuple[str, ...]:
    """The missing facts along whose axis the outcome varies, all else the same.

    A set fact stands on one axis a member, so it matters if it matters along any of them.
    """
    highest = np.where(can_be, outcomes, -1)
    lowest = np.where(can_be, outcomes, np.iinfo(np.int64).max)
    return tuple(
        dict.fromkeys(
            fact
            for at, fact in enumerate(missing)
            if bool((highest.max(axis=at) > lowest.min(axis=at)).any())
        )
    )


def _places(axes: Mapping[str, Axis]) -> dict[str, list[tuple[int, _CellOf]]]:
    places: dict[str, list[tuple[int, _CellOf]]] = {}
    for at, (column, axis) in enumerate(axes.items()):
        places.setdefault(column.partition(".")[0], []).append((at, _CellOf(axis)))
    return places


class _CellOf:
    """`Axis.cell_of` with the common case, a code, as one dictionary lookup."""

    __slots__ = ("_axis", "_by_code")

    def __init__(self, axis: Axis) -> None:
        self._axis = axis
        self._by_code = {code: at for at, code in enumerate(axis.cells)}

    def __call__(self, value: object) -> int:
        if isinstance(value, str):
            return self._by_code[value]
        return self._axis.cell_of(value)  # type: ignore[arg-type]


def _row(found: tuple[int, Item]) -> int:
    return found[0]
