"""A protocol that is ready to answer: read, compiled, and evaluated with explanation.

Evaluation is exact in the face of missing facts. Over every way of completing them that is not
declared impossible, it gives the set of outcomes that can come out, and the facts that still matter: a
fact matters to a decision if two completions that differ in that fact alone lead to different outcomes.
(Where impossible situations leave no step in one fact alone, the fewest facts that must differ together
matter.) Once the facts that matter are known, the decision is settled.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from copy import copy
from dataclasses import dataclass, replace
from datetime import date
from functools import cached_property
from pathlib import Path
from types import MappingProxyType
from typing import NoReturn

from .answering.lookup import Lookup, answering
from .answering.question import REMEMBERED, Answer
from .compiling.index import Index, build_index, contradicted
from .compiling.space import Axis
from .finding import Evaluation, Finding, Item, Question
from .model import Amount, Case, Impossible, Manifest, Output, Rule, Table
from .reading import read_folder
from .vocabulary import Facts, Vocabulary


@dataclass(frozen=True, slots=True)
class Contradiction:
    """Facts that cannot hold together, and why; `gives_way` is the one to leave out, or ""."""

    facts: tuple[str, ...]
    because: str
    gives_way: str = ""


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
        axes = list(self.index.axes.values())
        self._lookup = Lookup(self._answering, axes)
        self._codes, self._others = _code_places(axes), _other_places(axes)
        self._collects = tuple(t.id for t in manifest.tables if t.hit_policy == "COLLECT")
        self._nothing = [-1] * len(self.index.axes)
        self._remembered: dict[tuple[int, ...], Evaluation] = {}

    def said(self, say: Callable[[str], str]) -> Protocol:
        """The same rules, with what is shown of questions, answers and decisions put through `say`."""

        def all_said(words: Mapping[str, str]) -> dict[str, str]:
            return {key: say(word) for key, word in words.items()}

        other = copy(self)
        other.vocabulary = Vocabulary(
            {
                id_: replace(
                    fact,
                    question=say(fact.question),
                    help=say(fact.help),
                    labels=all_said(fact.labels),
                )
                for id_, fact in self.vocabulary.items()
            }
        )
        other.manifest = replace(
            self.manifest,
            outputs={
                id_: replace(output, label=say(output.label), labels=all_said(output.labels))
                for id_, output in self.outputs.items()
            },
            tables=tuple(replace(t, question=say(t.question)) for t in self.tables),
        )
        return other

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
    def amounts(self) -> tuple[Amount, ...]:
        """How much the doses are that are computed."""
        return self.manifest.amounts

    @property
    def named_actions(self) -> Mapping[str, tuple[str, ...]]:
        """What programs call some of the actions: name → ids."""
        return self.manifest.named_actions

    @property
    def share_within(self) -> str:
        """How long after its best moment an action without a last one may be put off to share a visit
        with others, as an ISO 8601 duration; "" where the protocol does not say."""
        return self.manifest.share_within

    @cached_property
    def amount_parts(self) -> frozenset[str]:
        """The decisions that are shown as an amount, not as decisions."""
        return frozenset(part for amount in self.amounts for part in amount.parts)

    @property
    def impossible(self) -> tuple[Impossible, ...]:
        return self.manifest.impossible

    def table(self, id_: str) -> Table:
        """The table of that id; KeyError if there is none."""
        for table in self.tables:
            if table.id == id_:
                return table
        raise KeyError(id_)

    def giving(self, action: str) -> Iterator[Rule]:
        """The rules that ask for an action, in order."""
        for table in self.tables:
            if table.role == "actions":
                yield from (rule for rule in table.rules if rule.outputs["action"] == action)

    def action_words(self, action: str) -> str:
        """An action's sentence as the first rule that asks for it has it; of an unknown one, its id."""
        said = (rule.outputs["what"] for rule in self.giving(action))
        return next(said, action.replace("_", " "))

    def forget(self) -> None:
        """Drop what was remembered of earlier situations; answers do not change."""
        self._remembered.clear()
        for question in self._answering:
            question.forget()

    def contradictions(self, facts: Facts) -> tuple[Contradiction, ...]:
        """Declared impossibilities that `facts` fulfil."""
        return tuple(
            Contradiction(
                tuple(dict.fromkeys(c.partition(".")[0] for c in box.tests)),
                box.because,
                box.gives_way.partition(".")[0],
            )
            for box in contradicted(self.impossible, self.index.axes, facts)
        )

    def evaluate(self, facts: Facts) -> Evaluation:
        """What every table says of `facts` (checked values), known in part or in full.

        Raises:
            ValueError: the facts cannot hold together, or no rule covers them.
        """
        cells = self._cells(facts)
        situation = tuple(cells)
        evaluation = self._remembered.get(situation)
        if evaluation is None:
            evaluation = self._evaluate(cells, facts)
            if len(self._remembered) >= REMEMBERED:
                self._remembered.clear()
            self._remembered[situation] = evaluation
        return evaluation

    def _evaluate(self, cells: list[int], facts: Facts) -> Evaluation:
        findings: dict[str, Finding] = {}
        items: dict[str, list[tuple[int, Item]]] = {id_: [] for id_ in self._collects}
        changed: dict[str, dict[str, None]] = {}
        for answer in self._answers(cells, facts):
            if answer.items:  # of a COLLECT table, which finds nothing
                items[answer.table].extend(answer.items)
            else:
                for finding in answer.findings:
                    findings[finding.decision] = finding
            for fact, result in answer.changes:
                changed.setdefault(fact, {})[result] = None
        for found in items.values():
            if len(found) > 1:
                found.sort(key=_row)
        return Evaluation(
            MappingProxyType(findings),
            MappingProxyType({t: tuple([item for _, item in found]) for t, found in items.items()}),
            tuple([Question(fact, tuple(results)) for fact, results in changed.items()]),
        )

    def _answers(self, cells: list[int], facts: Facts) -> list[Answer]:
        """What each question says, in protocol order; questions that say nothing may be left out."""
        offsets = self._lookup.offsets(cells)
        settled = self._lookup.settled(offsets)
        if settled is not None:
            return settled
        answers = []
        for question, offset in zip(self._answering, offsets.tolist(), strict=True):
            answer = question.at(offset, cells)
            if answer is None:
                self._refuse(facts, question.table)
            answers.append(answer)
        return answers

    def _cells(self, facts: Facts) -> list[int]:
        cells = self._nothing.copy()
        codes = self._codes
        for fact_id, value in facts.items():
            place = codes.get(fact_id)
            if place is not None:
                at, by_code = place
                cells[at] = by_code[value]  # type: ignore[index]
            else:
                for at, axis in self._others.get(fact_id, ()):
                    cells[at] = axis.cell_of(value)
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


def _code_places(axes: Sequence[Axis]) -> dict[str, tuple[int, Mapping[str, int]]]:
    """For each code fact, the place of its one axis and the cell of each of its values."""
    return {
        axis.fact.id: (at, {code: cell for cell, code in enumerate(axis.cells)})
        for at, axis in enumerate(axes)
        if axis.fact.kind == "code"
    }


def _other_places(axes: Sequence[Axis]) -> dict[str, tuple[tuple[int, Axis], ...]]:
    """For each number or set fact, its axes with their places."""
    found: dict[str, list[tuple[int, Axis]]] = {}
    for at, axis in enumerate(axes):
        if axis.fact.kind != "code":
            found.setdefault(axis.fact.id, []).append((at, axis))
    return {fact: tuple(own) for fact, own in found.items()}


def _row(found: tuple[int, Item]) -> int:
    return found[0]
