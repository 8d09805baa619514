"""What the worker's own plan says.

It never says who the source patient is or what is known of them: nothing here reads the value of a
fact about the source, not even to give a reason; only decisions that the worker must know are shown
(`plain.toml` lists them); and what a clinician typed freely (reasons, notes) stays out, since it may
speak of the source.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import asdict, dataclass, replace
from datetime import tzinfo
from functools import cache
from importlib.resources import files
from typing import Any

from thimble.clinical.saying import minute, occurrence
from thimble.clinical.site import Site
from thimble.documents.frame import Contact, Frame, contacts, frame, mark_of, phone, unconfirmed
from thimble.documents.words import window_for_a_person
from thimble.ledger.plan import Action, Plan, Situation, State
from thimble.protocol.finding import Finding, Reason
from thimble.protocol.protocol import Protocol
from thimble.protocol.vocabulary import Vocabulary


@dataclass(frozen=True, slots=True)
class PlainWords:
    """`plain.toml`: decision → value (and `question`) → words; action → words; what a decision gives
    as a reason for another; fact → its short name."""

    decisions: Mapping[str, Mapping[str, str]]
    actions: Mapping[str, str]
    perhaps: Mapping[str, Mapping[str, str]]
    because: Mapping[str, Mapping[str, str]]
    facts: Mapping[str, str]


@cache
def plain_words() -> PlainWords:
    """The plain words, read once."""
    text = (files("thimble.documents.worker_plan") / "plain.toml").read_text(encoding="utf-8")
    read = tomllib.loads(text)
    return PlainWords(
        read["decisions"], read["actions"], read["perhaps"], read["because"], read["facts"]
    )


_SETTLED = {
    State.NO_LONGER_NEEDED: "No longer needed",
    State.DEPARTED: "Decided otherwise with you; ask your clinician",
}

_TAKE = ("first_aid", "dose")
_TESTS = ("sample",)
_ABOUT_THE_WORKER = "worker"


@dataclass(frozen=True, slots=True)
class Line:
    """A question and its answer."""

    label: str
    value: str


@dataclass(frozen=True, slots=True)
class Decided:
    """One decision in a sentence and why; `settled` is False while it is open."""

    question: str
    answer: str
    why: str
    settled: bool
    unconfirmed: bool


@dataclass(frozen=True, slots=True)
class Task:
    """One thing for the worker: what, how much, when, and where it stands."""

    what: str
    amount: str
    when: str
    done: str
    unconfirmed: bool


@dataclass(frozen=True, slots=True)
class Sentence:
    """Something to know."""

    text: str
    unconfirmed: bool


@dataclass(frozen=True, slots=True)
class WorkerPlan:
    """Every word of the sheet."""

    frame: Frame
    name: str
    happened: tuple[Line, ...]
    decided: tuple[Decided, ...]
    still_open: tuple[Decided, ...]
    take: tuple[Task, ...]
    tests: tuple[Task, ...]
    visits: tuple[Task, ...]
    perhaps: tuple[Task, ...]
    protect: tuple[Sentence, ...]
    warnings: tuple[Sentence, ...]
    contacts: tuple[Contact, ...]
    emergency_phone: str
    any_unconfirmed: bool

    def to_data(self) -> dict[str, Any]:
        """For the template."""
        return asdict(self)


def worker_plan(
    plan: Plan,
    situation: Situation,
    site: Site,
    protocol: Protocol,
    *,
    name: str = "",
) -> WorkerPlan:
    """The worker's plan as of `plan.now`.

    Args:
        name: the worker's name as they want it on their own sheet; "" leaves a line to write on.
    """
    words = _Words(plan, situation, site.zone, protocol, protocol.vocabulary)
    all_mine = [action for action in plan.actions if action.whom == _ABOUT_THE_WORKER]
    mine = [action for action in all_mine if action.certain or action.state is State.DONE]
    perhaps = words.tasks(action for action in all_mine if action not in mine)
    take = words.tasks(action for action in mine if action.kind in _TAKE)
    tests = words.tasks(action for action in mine if action.kind in _TESTS)
    visits = words.tasks(action for action in mine if action.kind not in (*_TAKE, *_TESTS))
    decided = words.decisions()
    protect, warnings = words.cautions("precautions"), words.cautions("warning_signs")
    return WorkerPlan(
        frame=frame(
            "Your plan after the exposure",
            "For you to keep. Bring it to every visit.",
            site,
            plan.now,
            mark_of(protocol),
            situation,
        ),
        name=name,
        happened=words.happened(),
        decided=tuple(item for item in decided if item.settled),
        still_open=tuple(item for item in decided if not item.settled),
        take=take,
        tests=tests,
        visits=visits,
        perhaps=perhaps,
        protect=protect,
        warnings=warnings,
        contacts=contacts(site),
        emergency_phone=phone(site.emergency_phone),
        any_unconfirmed=any(item.unconfirmed for item in decided)
        or any(task.unconfirmed for task in (*take, *tests, *visits, *perhaps))
        or any(sentence.unconfirmed for sentence in (*protect, *warnings)),
    )


@dataclass(frozen=True)
class _Words:
    plan: Plan
    situation: Situation
    zone: tzinfo
    protocol: Protocol
    vocabulary: Vocabulary

    def happened(self) -> tuple[Line, ...]:
        """When, and the answers about the event itself. Numbers that are only counted stay out."""
        lines = []
        occurred = self.situation.occurred_at
        if occurred is None:
            lines.append(Line("When", "Not known yet"))
        else:
            precision = self.situation.occurred_at_precision
            lines.append(Line("When", occurrence(occurred, precision, self.zone)))
        for id_, fact in self.vocabulary.items():
            known = self.situation.facts.get(id_)
            if known is not None and fact.about == "exposure" and fact.kind != "number":
                lines.append(Line(self._name(id_), fact.label(known.value)))
        return tuple(lines)

    def decisions(self) -> tuple[Decided, ...]:
        departed = {departure.subject for departure in self.situation.departures}
        plain = plain_words().decisions
        return tuple(
            self._decided(finding, plain[finding.decision], departed)
            for finding in self.plan.findings.values()
            if finding.decision in plain
            and (finding.value is None or finding.value in plain[finding.decision])
        )

    def _decided(self, finding: Finding, plain: Mapping[str, str], departed: set[str]) -> Decided:
        question = plain["question"]
        if finding.decision in departed:
            return Decided(
                question,
                "Decided with you otherwise than the protocol advises.",
                "The reason is in your record; ask your clinician to go through it with you.",
                settled=True,
                unconfirmed=False,
            )
        doubtful = unconfirmed(finding.because)
        if finding.value is not None:
            return Decided(question, plain[finding.value], self._why(finding), True, doubtful)
        choices = [plain[value].rstrip(".") for value in finding.possible if value in plain]
        answer = f"Not settled yet. Possible: {'; or: '.join(choices)}." if choices else "Not yet."
        return Decided(question, answer, self._waits_for(finding.open_facts), False, doubtful)

    def _why(self, finding: Finding) -> str:
        """One sentence: the worker's own answers and earlier decisions that the rule looked at."""
        parts: dict[str, None] = {}
        of_the_source = False
        for id_ in self._looked_at(finding.because):
            fact = self.vocabulary.get(id_)
            if fact is None:
                clauses = plain_words().because.get(id_, {})
                clause = clauses.get(self.plan.findings[id_].value or "")
                if clause:
                    parts[clause] = None
            elif fact.about == "source":
                of_the_source = True
            elif (known := self.situation.facts.get(id_)) is not None:
                parts[f"{_lower(self._name(id_))}: {_lower(fact.label(known.value))}"] = None
        said = "; ".join(parts)
        if of_the_source:
            rest = "what is known of the other patient, which is confidential"
            said = f"{said}; and {rest}" if said else rest
        return f"Because of: {said}." if said else "This holds for every exposure of this kind."

    def _name(self, fact: str) -> str:
        return plain_words().facts.get(fact, self.vocabulary[fact].question)

    def _looked_at(
        self, because: Iterable[Reason], seen: frozenset[str] = frozenset()
    ) -> Iterator[str]:
        """The facts and worker-facing decisions behind the rules that fired.

        An inner decision, which a worker's plan does not name, is replaced by what it rests on.
        """
        fired = {(reason.table, reason.rule) for reason in because}
        for table in self.protocol.tables:
            for rule in table.rules:
                if (table.id, rule.id) not in fired:
                    continue
                for column, cell in zip(table.inputs, rule.cells, strict=True):
                    id_ = column.partition(".")[0]
                    if cell.strip() == "-":
                        continue
                    if id_ in self.vocabulary or id_ in plain_words().decisions:
                        if id_ in self.vocabulary or id_ in self.plan.findings:
                            yield id_
                    elif id_ in self.plan.findings and id_ not in seen:
                        yield from self._looked_at(self.plan.findings[id_].because, seen | {id_})

    def _waits_for(self, open_facts: tuple[str, ...]) -> str:
        waits = [
            _lower(self._name(id_))
            for id_ in open_facts
            if id_ in self.vocabulary and self.vocabulary[id_].about != "source"
        ]
        if len(waits) < len(open_facts):
            waits.append("what we still learn of the other patient")
        return (
            f"It depends on: {'; '.join(waits)}." if waits else "Your clinician decides with you."
        )

    def tasks(self, actions: Iterable[Action]) -> tuple[Task, ...]:
        # Variants that only differ in what the laboratory runs read the same to the worker.
        merged: dict[tuple[str, str, str, str], Task] = {}
        for task in map(self._task, actions):
            same = (task.what, task.amount, task.when, task.done)
            doubtful = task.unconfirmed or (same in merged and merged[same].unconfirmed)
            merged[same] = replace(task, unconfirmed=doubtful)
        return tuple(merged.values())

    def _task(self, action: Action) -> Task:
        done = _SETTLED.get(action.state, "")
        if action.state is State.DONE:
            done = f"Done {minute(action.done_at, self.zone)}" if action.done_at else "Done"
        waits_for = self._what(action.window.waits_for) if action.window.waits_for else ""
        return Task(
            what=self._what(action.id),
            amount=action.amount,
            when=window_for_a_person(action.window, self.plan.now, self.zone, waits_for),
            done=done,
            unconfirmed=unconfirmed(action.because),
        )

    def _what(self, action_id: str) -> str:
        found = next((a.what for a in self.plan.actions if a.id == action_id), action_id)
        perhaps = plain_words().perhaps.get(action_id)
        if perhaps is not None:
            decided = self.plan.findings.get(perhaps["decision"])
            if decided is not None and decided.value != perhaps["sure"]:
                return perhaps["words"]
        return plain_words().actions.get(action_id, found)

    def cautions(self, topic: str) -> tuple[Sentence, ...]:
        """What may apply is shown like what does: a missing answer never takes a warning away."""
        return tuple(
            Sentence(caution.text, unconfirmed(caution.because))
            for caution in self.plan.cautions
            if caution.topic == topic
        )


def _lower(words: str) -> str:
    """The words inside a sentence; abbreviations and names of tests keep their capitals."""
    first = words.partition(" ")[0]
    return words if first[1:] != first[1:].lower() else words[:1].lower() + words[1:]
