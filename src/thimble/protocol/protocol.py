"""A protocol that is ready to answer: read, compiled, and evaluated with explanation.

Evaluation is exact in the face of missing facts. Over every way of completing them that is not
declared impossible, it gives the set of outcomes that can come out, and the facts that still matter: a
fact matters to a decision if two completions that differ in that fact alone lead to different outcomes.
(Where impossible situations leave no step in one fact alone, the fewest facts that must differ together
matter.) Once the facts that matter are known, the decision is settled.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import NoReturn

from .answers import Offsets, answering
from .finding import Evaluation, Finding, Item, Question
from .index import Index, build_index, contradicted
from .model import Case, Impossible, Manifest, Output, Table
from .reading import read_folder
from .space import Axis
from .vocabulary import Facts, Vocabulary


@dataclass(frozen=True, slots=True)
class Contradiction:
    """Facts that cannot hold together, and why."""

    facts: tuple[str, ...]
    because: str


class Protocol:
    """Clinical rules as data, compiled.

    Every attribute of the manifest is here by the same name: `id`, `title`, `edition`, `sources`,
    `tables`, `outputs`, `digest` and so on.
    """

    def __init__(self, manifest: Manifest, vocabulary: Vocabulary) -> None:
        self.manifest = manifest
        self.vocabulary = vocabulary
        self.index: Index = build_index(manifest, vocabulary)
        self._answering = [
            answering(question, self.index, manifest)
            for question in (*self.index.questions, *self.index.guards)
        ]
        self._offsets = Offsets(self._answering, list(self.index.axes.values()))
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

    def forget(self) -> None:
        """Drop what was remembered of partly known situations; answers do not change."""
        for question in self._answering:
            question.forget()

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
        for question, offset in zip(self._answering, self._offsets(cells), strict=True):
            answer = question.at(offset, cells)
            if answer is None:
                self._refuse(facts, question.table)
            for finding in answer.findings:
                findings[finding.decision] = finding
            if answer.items:
                items[question.table.id].extend(answer.items)
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

    def _refuse(self, facts: Facts, table: Table) -> NoReturn:
        contradictions = self.contradictions(facts)
        if contradictions:
            told = "; ".join(f"{', '.join(c.facts)}: {c.because}" for c in contradictions)
            raise ValueError(f"These facts cannot hold together: {told}.")
        raise ValueError(
            f"{table.file}: no rule covers this situation, or the facts given leave no "
            f"situation that can be: {', '.join(f'{k}={facts[k]}' for k in facts)}"
        )


def load_protocol(folder: Path | str, vocabulary: Vocabulary) -> Protocol:
    """Read and compile the protocol in `folder`.

    Raises:
        ProtocolFaults: everything that is wrong with the folder.
    """
    return Protocol(read_folder(Path(folder), vocabulary), vocabulary)


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
