"""What the worker's own plan says.

It never says who the source patient is or what is known of them: nothing here reads a fact about the
source, not even to give a reason. What a clinician typed freely (reasons, notes) stays out too, since
it may speak of the source.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import asdict, dataclass
from datetime import datetime, tzinfo
from typing import Any

from thimble.clinical.site import Site
from thimble.documents.frame import Contact, Frame, contacts, frame, mark_of, unconfirmed
from thimble.documents.words import day, minute, stamp, window_for_a_person
from thimble.ledger.plan import Action, Plan, Situation, State
from thimble.protocol.finding import Finding
from thimble.protocol.protocol import Protocol
from thimble.protocol.vocabulary import Vocabulary

_BARE = frozenset({"yes", "no", "unknown"})
"""Answers that say nothing without their question."""

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
    only_if: str
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
    protect: tuple[Sentence, ...]
    medicines: tuple[Sentence, ...]
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
    mine = [action for action in plan.actions if action.whom == _ABOUT_THE_WORKER]
    take = words.tasks(action for action in mine if action.kind in _TAKE)
    tests = words.tasks(action for action in mine if action.kind in _TESTS)
    visits = words.tasks(action for action in mine if action.kind not in (*_TAKE, *_TESTS))
    decided = words.decisions()
    protect, warnings = words.cautions("precautions"), words.cautions("warning_signs")
    medicines = words.cautions("medicines", without_the_source=True)
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
        protect=protect,
        medicines=medicines,
        warnings=warnings,
        contacts=contacts(site),
        emergency_phone=site.emergency_phone,
        any_unconfirmed=any(
            item.unconfirmed
            for item in (*decided, *take, *tests, *visits, *protect, *medicines, *warnings)
        ),
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
        elif self.situation.occurred_at_precision in ("date", "day"):
            lines.append(Line("When", f"{day(occurred, self.zone)} (hour not known)"))
        else:
            lines.append(Line("When", stamp(occurred, self.zone)))
        for id_, fact in self.vocabulary.items():
            known = self.situation.facts.get(id_)
            if known is not None and fact.about == "exposure" and fact.kind != "number":
                lines.append(Line(fact.question, fact.label(known.value)))
        return tuple(lines)

    def decisions(self) -> tuple[Decided, ...]:
        departed = {departure.subject for departure in self.situation.departures}
        return tuple(
            self._decided(finding, departed)
            for finding in self.plan.findings.values()
            if finding.decision in self.protocol.outputs
        )

    def _decided(self, finding: Finding, departed: set[str]) -> Decided:
        output = self.protocol.outputs[finding.decision]
        question = output.label or finding.decision.replace("_", " ")
        if finding.decision in departed:
            return Decided(
                question,
                "Decided with you otherwise than the protocol advises",
                "The reason is in your record; ask your clinician to go through it with you.",
                settled=True,
                unconfirmed=False,
            )
        if finding.value is None:
            choices = [output.words(value) for value in finding.possible]
            answer = f"Not settled yet: {', '.join(choices[:-1])} or {choices[-1]}"
            return Decided(
                question, answer, self._waits_for(finding.open_facts), settled=False,
                unconfirmed=unconfirmed(finding.because),
            )  # fmt: skip
        return Decided(
            question, output.words(finding.value), self._why(finding), settled=True,
            unconfirmed=unconfirmed(finding.because),
        )  # fmt: skip

    def _why(self, finding: Finding) -> str:
        """One sentence: the worker's own answers and earlier decisions that the rule looked at."""
        parts: dict[str, None] = {}
        of_the_source = False
        for column in self._columns_of(finding):
            id_ = column.partition(".")[0]
            fact = self.vocabulary.get(id_)
            if fact is None:
                earlier = self.plan.findings.get(id_)
                if earlier is not None and earlier.value is not None:
                    output = self.protocol.outputs[id_]
                    parts[self._said(output.label, earlier.value, output.words(earlier.value))] = (
                        None
                    )
            elif fact.about == "source":
                of_the_source = True
            elif (known := self.situation.facts.get(id_)) is not None:
                bare = known.value if isinstance(known.value, str) else ""
                parts[self._said(fact.question, bare, fact.label(known.value))] = None
        said = "; ".join(parts)
        if of_the_source:
            rest = "what is known of the other patient, which is confidential"
            said = f"{said}; and {rest}" if said else rest
        return f"Because of: {said}." if said else "So for every exposure."

    @staticmethod
    def _said(question: str, value: str, label: str) -> str:
        return f"{question} {label}" if value in _BARE and question else label

    def _columns_of(self, finding: Finding) -> Iterable[str]:
        fired = {(reason.table, reason.rule) for reason in finding.because}
        for table in self.protocol.tables:
            for rule in table.rules:
                if (table.id, rule.id) in fired:
                    for column, cell in zip(table.inputs, rule.cells, strict=True):
                        if cell.strip() != "-":
                            yield column

    def _waits_for(self, open_facts: tuple[str, ...]) -> str:
        own = [
            self.vocabulary[id_].question
            for id_ in open_facts
            if id_ in self.vocabulary and self.vocabulary[id_].about != "source"
        ]
        waits = [f"“{question}”" for question in own[:3]]
        if len(own) < len(open_facts):
            waits.append("what we still learn about the other patient")
        return f"It depends on: {'; '.join(waits)}." if waits else "Your clinician decides with you."

    def tasks(self, actions: Iterable[Action]) -> tuple[Task, ...]:
        return tuple(self._task(action) for action in sorted(actions, key=_soonest_first))

    def _task(self, action: Action) -> Task:
        done = _SETTLED.get(action.state, "")
        if action.state is State.DONE:
            done = f"Done {minute(action.done_at, self.zone)}" if action.done_at else "Done"
        what = {other.id: other.what for other in self.plan.actions}
        waits_for = what.get(action.window.waits_for, "")
        return Task(
            what=action.what,
            amount=action.amount,
            when=window_for_a_person(action.window, self.plan.now, self.zone, waits_for),
            done=done,
            only_if="" if action.certain else self._waits_for(action.open_facts),
            unconfirmed=unconfirmed(action.because),
        )

    def cautions(self, topic: str, *, without_the_source: bool = False) -> tuple[Sentence, ...]:
        """What may apply is shown like what does: a missing answer never takes a warning away."""
        return tuple(
            Sentence(caution.text, unconfirmed(caution.because))
            for caution in self.plan.cautions
            if caution.topic == topic
            and not (without_the_source and self._rests_on_the_source(caution.because))
        )

    def _rests_on_the_source(self, because: Iterable[Any]) -> bool:
        finding = Finding("", None, (), tuple(because))
        for column in self._columns_of(finding):
            fact = self.vocabulary.get(column.partition(".")[0])
            if fact is not None and fact.about == "source":
                return True
        return False


def _soonest_first(action: Action) -> tuple[bool, bool, float]:
    """Open before settled; what has a date before what waits; then by the date that presses."""
    window = action.window
    at = window.latest or window.target or window.earliest
    settled = action.state not in (State.OPEN, State.LATE)
    return (settled, at is None, at.timestamp() if at else 0.0)
