"""What the worker's own plan says.

It never says who the source patient is or what is known of them: nothing here reads the value of a
fact about the source, not even to give a reason; only decisions that the worker must know are shown
(`plain.toml` lists them); and what a clinician typed freely (reasons, notes) stays out, since it may
speak of the source. What was given, and what was decided in place of the advice, are the worker's own.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import asdict, dataclass, replace
from datetime import tzinfo
from functools import cache
from importlib.resources import files
from typing import Any

from thimble.clinical.saying import inside, minute, occurrence, opening
from thimble.clinical.site import Site
from thimble.documents.frame import Contact, Frame, contacts, frame, mark_of, phone, unconfirmed
from thimble.documents.otherwise import asked_for_by, doses_decided_otherwise
from thimble.documents.record import Record
from thimble.documents.words import window_for_a_person
from thimble.ledger.clocks import moment_of
from thimble.ledger.course import ANSWER, course_of
from thimble.ledger.course_told import not_covered_words, pack_words
from thimble.ledger.exposed import protocol_for, say
from thimble.ledger.plan import TO_DO, Action, Departure, Plan, Situation, State
from thimble.ledger.pressing import OVERDUE
from thimble.ledger.signature import SignatureState, signature_of
from thimble.ledger.telling import INSTEAD_OF_AN_ACTION
from thimble.protocol.finding import Finding, Reason
from thimble.protocol.model import PER_KILOGRAM
from thimble.protocol.protocol import Protocol
from thimble.protocol.vocabulary import Vocabulary


@dataclass(frozen=True, slots=True)
class Unsaid:
    """Phrases of precautions that are left out while a fact has one of the values."""

    fact: str
    values: tuple[str, ...]
    phrases: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class PlainWords:
    """`plain.toml`: decision → value (and `question`) → words; action → words, to do and as given; what
    a decision gives as a reason for another; fact → its short name; what is not said to whom."""

    decisions: Mapping[str, Mapping[str, str]]
    actions: Mapping[str, str]
    given: Mapping[str, str]
    unsaid: tuple[Unsaid, ...]
    perhaps: Mapping[str, Mapping[str, str]]
    because: Mapping[str, Mapping[str, str]]
    facts: Mapping[str, str]


def plain_id(action: str) -> str:
    """The id under which an action has its plain words: each expert's answer has an id of its own."""
    return ANSWER.rstrip("_") if action.startswith(ANSWER) else action


@cache
def plain_words() -> PlainWords:
    """The plain words, read once."""
    text = (files("thimble.documents.worker_plan") / "plain.toml").read_text(encoding="utf-8")
    read = tomllib.loads(text)
    return PlainWords(
        decisions=read["decisions"],
        actions=read["actions"],
        given=read["given"],
        unsaid=tuple(
            Unsaid(one["fact"], tuple(one["values"]), tuple(one["phrases"]))
            for one in read["unsaid"]
        ),
        perhaps=read["perhaps"],
        because=read["because"],
        facts=read["facts"],
    )


_SETTLED = {
    State.NO_LONGER_NEEDED: "No longer needed",
    State.DEPARTED: "Decided otherwise with you; ask your clinician",
}

_BY_WEIGHT = "the amount depends on your weight"

_LEFT_TO_A_PERSON = frozenset({"consider", "expert_decides", "clinician_decides"})
"""Values that ask a person to decide: whatever is decided then is no departure from them."""

_REASON_IN_RECORD = "The reason is in your record; ask your clinician to go through it with you."

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
    """One thing for the worker: what, how much, when, where it stands, and what was decided about it."""

    what: str
    amount: str
    when: str
    done: str
    decided: str
    unconfirmed: bool


@dataclass(frozen=True, slots=True)
class Had:
    """A dose that the worker had: against what, which product, how much, from which batch, when."""

    what: str
    product: str
    amount: str
    batch: str
    when: str


@dataclass(frozen=True, slots=True)
class Signature:
    """Whether a clinician stands behind the sheet: what must be seen, or else who signed and when."""

    warning: str
    words: str


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
    whose: str
    signature: Signature
    happened: tuple[Line, ...]
    decided: tuple[Decided, ...]
    still_open: tuple[Decided, ...]
    take: tuple[Task, ...]
    given: tuple[Had, ...]
    tablets: tuple[str, ...]
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
    record: Record | None = None,
) -> WorkerPlan:
    """The worker's plan as of `plan.now`.

    Args:
        name: the worker's name as they want it on their own sheet; "" leaves a line to write on.
        record: the entries of the case, for the doses given and for who signed.
    """
    protocol = protocol_for(protocol, situation)
    words = _Words(plan, situation, site.zone, protocol, protocol.vocabulary, record or Record())
    all_mine = [
        action
        for action in plan.actions
        if action.whom == _ABOUT_THE_WORKER and not words.too_late_for_first_aid(action)
    ]
    mine = [action for action in all_mine if action.stands or action.state is State.DONE]
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
        whose=say("the worker", situation),
        signature=words.signature(),
        happened=words.happened(),
        decided=tuple(item for item in decided if item.settled),
        still_open=tuple(item for item in decided if not item.settled),
        take=take,
        given=words.given(),
        tablets=words.tablets(),
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
    record: Record

    def signature(self) -> Signature:
        """What stands near the top: nobody has signed, or it was signed and reads otherwise now."""
        standing = signature_of(self.plan, self.situation, self.protocol, self.record.as_signed)
        if standing is SignatureState.UNSIGNED:
            return Signature(
                "Not signed yet",
                "No clinician has signed this plan yet, and it may still change. "
                "Ask a clinician to go through it with you and to sign it.",
            )
        last = self.situation.signed[-1]
        signed = f"{self.record.who(last.by, last.entry)}, {minute(last.at, self.zone)}"
        if standing is SignatureState.AS_SIGNED:
            return Signature("", f"Signed by {signed}.")
        why = (
            "The rules that it follows have changed since"
            if standing is SignatureState.OTHER_RULES
            else "What was learned or recorded since has changed it"
        )
        return Signature(
            "Changed since it was signed",
            f"This plan was signed by {signed}. {why}, and nobody has signed it as it reads now. "
            "Ask your clinician about it.",
        )

    def given(self) -> tuple[Had, ...]:
        """The doses that are on record, in the order in which they were given."""
        return tuple(
            Had(
                plain_words().given.get(dose.action, self._what(dose.action)),
                dose.product,
                dose.amount,
                dose.batch,
                minute(dose.at, self.zone),
            )
            for dose in self.record.doses(self.situation.as_of)
        )

    def tablets(self) -> tuple[str, ...]:
        """Which pack covers which days, and the days for which there are none yet."""
        course = course_of(self.situation, self.protocol.id, self.plan.now, self.zone)
        if course is None or course.ended is not None:
            return ()
        rest = not_covered_words(course, self.zone)
        return (*pack_words(course), *((f"{rest}. Fetch the next tablets before",) if rest else ()))

    def too_late_for_first_aid(self, action: Action) -> bool:
        """Whether it is first aid that was never recorded, after an exposure of more than a day ago.

        An exposure known roughly counts from the last moment that it may have been.
        """
        if action.kind != "first_aid" or action.state not in TO_DO:
            return False
        last = moment_of(self.situation, self.zone, self.plan.now).last
        return last is not None and self.plan.now - last > OVERDUE

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
        departed = self._departures()
        plain = plain_words().decisions
        return tuple(
            self._decided(finding, plain[finding.decision], departed.get(finding.decision))
            for finding in self.plan.findings.values()
            if finding.decision in plain
            and (
                finding.value is None
                or finding.value in plain[finding.decision]
                or finding.decision in departed
            )
        )

    def _departures(self) -> dict[str, Departure]:
        """Decision → the departure that stands: from itself, or from the dose that follows from it."""
        itself = {
            departure.subject: departure
            for departure in self.situation.departures
            if departure.subject in self.plan.findings
        }
        return {
            **doses_decided_otherwise(self.plan, self.situation, self.protocol),
            **itself,
        }

    def _decided(
        self, finding: Finding, plain: Mapping[str, str], departure: Departure | None
    ) -> Decided:
        question = plain["question"]
        if departure is not None:
            decided = self._instead(departure)
            advised = plain.get(finding.value or "", "")
            if finding.value is None or finding.value in _LEFT_TO_A_PERSON:
                return Decided(question, f"Decided: {decided}", _REASON_IN_RECORD, True, False)
            why = (
                f"Advised: {inside(advised)} {_REASON_IN_RECORD}" if advised else _REASON_IN_RECORD
            )
            return Decided(
                question,
                f"Decided with you otherwise than the protocol advises: {decided}",
                why,
                settled=True,
                unconfirmed=False,
            )
        doubtful = unconfirmed(finding.because)
        if finding.value is not None:
            return Decided(question, plain[finding.value], self._why(finding), True, doubtful)
        choices = [plain[value].rstrip(".") for value in finding.possible if value in plain]
        answer = f"Not settled yet. Possible: {'; or: '.join(choices)}." if choices else "Not yet."
        return Decided(question, answer, self._waits_for(finding.open_facts), False, doubtful)

    def _instead(self, departure: Departure) -> str:
        """What was decided in place of the advice, as a sentence; a value of the decision plainly.

        Words of a clinician's own are not repeated: they may say something about the source.
        """
        said = departure.decided.strip().rstrip(".")
        output = self.protocol.outputs.get(departure.subject)
        plain = plain_words().decisions.get(departure.subject, {})
        for value in output.values if output else ():
            if said.lower() in (value.lower(), output.words(value).lower() if output else ""):
                return plain.get(value, f"{inside(said)}.")
        if said in INSTEAD_OF_AN_ACTION:
            return f"{inside(said)}."
        return "as your clinician told you; ask if you are not sure."

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
                parts[f"{inside(self._name(id_))}: {inside(fact.label(known.value))}"] = None
        said = "; ".join(parts)
        if of_the_source:
            rest = say("what is known of the other patient, which is confidential", self.situation)
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
            inside(self._name(id_))
            for id_ in open_facts
            if id_ in self.vocabulary and self.vocabulary[id_].about != "source"
        ]
        if len(waits) < len(open_facts):
            waits.append(say("what we still learn of the other patient", self.situation))
        return (
            f"It depends on: {'; '.join(waits)}." if waits else "Your clinician decides with you."
        )

    def tasks(self, actions: Iterable[Action]) -> tuple[Task, ...]:
        # Variants that only differ in what the laboratory runs read the same to the worker.
        merged: dict[tuple[str, ...], Task] = {}
        for task in map(self._task, actions):
            same = (task.what, task.amount, task.when, task.done, task.decided)
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
            amount=_BY_WEIGHT if self._lacks_weight(action) else action.amount,
            when=window_for_a_person(action.window, self.plan.now, self.zone, waits_for),
            done=done,
            decided=self._decided_about(action),
            unconfirmed=unconfirmed(action.because),
        )

    def _decided_about(self, action: Action) -> str:
        """What a clinician decided about a task, or about the decision that a dose follows from.

        Only the protocol's row goes by the advice: a dose that was decided on or against still stands
        there, and the worker goes by what was decided.
        """
        departed = {departure.subject: departure for departure in self.situation.departures}
        if action.state is State.DEPARTED and action.id in departed:
            return f"Decided: {self._instead(departed[action.id])}"
        if action.kind != "dose" or action.state not in (*TO_DO, State.DEPARTED):
            return ""
        for decision in asked_for_by(action, self.plan, self.protocol):
            if decision in departed:
                return f"Decided: {self._instead(departed[decision])} Go by that."
        return ""

    def _lacks_weight(self, action: Action) -> bool:
        """Whether its amount goes by a weight that is not known: what is printed is then a request."""
        if not action.amount:
            return False
        asked = {question.fact for question in self.plan.questions}
        for amount in self.protocol.amounts:
            per = self.plan.findings.get(amount.per)
            if action.id in amount.actions and per is not None and per.value == PER_KILOGRAM:
                return amount.weight not in self.situation.facts or amount.weight in asked
        return False

    def _what(self, action_id: str) -> str:
        found = next((a.what for a in self.plan.actions if a.id == action_id), action_id)
        perhaps = plain_words().perhaps.get(action_id)
        if perhaps is not None:
            decided = self.plan.findings.get(perhaps["decision"])
            if decided is not None and decided.value != perhaps["sure"]:
                return perhaps["words"]
        return plain_words().actions.get(plain_id(action_id), found)

    def cautions(self, topic: str) -> tuple[Sentence, ...]:
        """What may apply is shown like what does: a missing answer never takes a warning away."""
        return tuple(
            Sentence(text, unconfirmed(caution.because))
            for caution in self.plan.cautions
            if caution.topic == topic and (text := self._fitting(caution.text))
        )

    def _fitting(self, text: str) -> str:
        """A precaution without the parts that are not for this worker; "" where nothing is left."""
        for unsaid in plain_words().unsaid:
            known = self.situation.facts.get(unsaid.fact)
            if known is None or known.value not in unsaid.values:
                continue
            parts = re.split(r"(?<=[.;])\s+", text)
            kept = [p for p in parts if not any(w in p.lower() for w in unsaid.phrases)]
            if len(kept) < len(parts):
                left = " ".join(kept).rstrip(";. ")
                text = f"{opening(left)}." if left else ""
        return text
