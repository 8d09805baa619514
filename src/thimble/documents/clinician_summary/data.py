"""One case on a sheet: what is known, what follows and why, what is open. By reference, never by name."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import datetime, tzinfo
from typing import Any

from thimble.clinical.saying import elapsed, minute, occurrence, opening, stamp
from thimble.clinical.site import Site
from thimble.documents.frame import Contact, Frame, all_contacts, frame, mark_of, unconfirmed
from thimble.documents.otherwise import doses_decided_otherwise
from thimble.documents.record import Given, Record
from thimble.documents.words import ABOUT, WHOM, window_in_full
from thimble.ledger.bodies import CLOSED_REASONS
from thimble.ledger.clocks import moment_of
from thimble.ledger.course_told import course_told
from thimble.ledger.exposed import protocol_for, say
from thimble.ledger.plan import Action, Caution, Departure, KnownFact, Plan, Situation, State
from thimble.ledger.signature import SignatureState, signature_of
from thimble.protocol.finding import STANDINGS, Finding, Item, Reason
from thimble.protocol.protocol import Protocol
from thimble.protocol.vocabulary import Vocabulary

_STATES = {
    State.OPEN: "Open",
    State.DONE: "Done",
    State.LATE: "Late",
    State.NO_LONGER_NEEDED: "No longer needed",
    State.DEPARTED: "Departed from",
}


_STANDING = {
    SignatureState.UNSIGNED: "No clinician has signed this plan yet.",
    SignatureState.AS_SIGNED: "",
    SignatureState.CHANGED: "The plan has changed since the last signature.",
    SignatureState.OTHER_RULES: "The protocol has changed since the last signature.",
}

_COUNTED = "Limits count from the first moment that it may have been."


@dataclass(frozen=True, slots=True)
class Known:
    """A fact, its value and where it came from."""

    question: str
    value: str
    said_by: str


@dataclass(frozen=True, slots=True)
class Group:
    """The facts about one of exposure, source and worker."""

    title: str
    known: tuple[Known, ...]


@dataclass(frozen=True, slots=True)
class Why:
    """Rules that fired and rest on one source, as shown."""

    rules: str
    source: str
    standing: str


@dataclass(frozen=True, slots=True)
class Instead:
    """What was decided in place of the advice, why, and by whom, when and in which entry."""

    decided: str
    reason: str
    by: str


@dataclass(frozen=True, slots=True)
class Decision:
    """A decision with its outcome, or the outcomes still possible and what they wait for."""

    question: str
    answer: str
    settled: bool
    because: tuple[Why, ...]
    waits_for: str
    advised: str
    departed: Instead | None
    dose_otherwise: str
    unconfirmed: bool


@dataclass(frozen=True, slots=True)
class Step:
    """An action as shown."""

    what: str
    amount: str
    whom: str
    state: str
    earliest: str
    target: str
    latest: str
    done: str
    given: tuple[str, ...]
    departed: Instead | None
    rules: str
    perhaps: bool
    waits_for: str
    unconfirmed: bool


@dataclass(frozen=True, slots=True)
class Warned:
    """A caution as shown."""

    text: str
    rules: str
    possible: bool
    unconfirmed: bool


@dataclass(frozen=True, slots=True)
class Dose:
    """A dose on record as shown."""

    what: str
    product: str
    amount: str
    batch: str
    when: str
    by: str


@dataclass(frozen=True, slots=True)
class Otherwise:
    """A departure from something that no longer stands among the decisions and actions."""

    subject: str
    departed: Instead
    advised: str


@dataclass(frozen=True, slots=True)
class Signed:
    """A signature in the ledger."""

    by: str
    at: str
    entry: int


@dataclass(frozen=True, slots=True)
class ClinicianSummary:
    """Every word of the sheet."""

    frame: Frame
    source: str
    occurred: str
    since: str
    counted: str
    reported: str
    closed: str
    contradictions: tuple[str, ...]
    decisions: tuple[Decision, ...]
    questions: tuple[Known, ...]
    unknowable: tuple[Known, ...]
    steps: tuple[Step, ...]
    given: tuple[Dose, ...]
    otherwise: tuple[Otherwise, ...]
    cautions: tuple[Warned, ...]
    groups: tuple[Group, ...]
    source_steps: tuple[Known, ...]
    computed: tuple[Known, ...]
    course: tuple[Known, ...]
    signed: tuple[Signed, ...]
    unsigned: str
    contacts: tuple[Contact, ...]
    any_unconfirmed: bool

    def to_data(self) -> dict[str, Any]:
        """For the template."""
        return asdict(self)


def clinician_summary(
    plan: Plan,
    situation: Situation,
    site: Site,
    protocol: Protocol,
    *,
    record: Record | None = None,
) -> ClinicianSummary:
    """The case as of `plan.now`, for a clinician who takes over with nothing else in hand.

    Args:
        record: the entries of the case, for the doses given and for who wrote what.
    """
    zone = site.zone
    kept = record or Record()
    protocol = protocol_for(protocol, situation)
    words = _Words(plan, situation, protocol, protocol.vocabulary, zone, kept)
    occurred = situation.occurred_at
    decisions, steps, cautions = words.decisions(), words.steps(), words.cautions()
    return ClinicianSummary(
        frame=frame(
            "Clinician’s summary",
            f"As known at {stamp(plan.now, zone)}",
            site,
            plan.now,
            mark_of(protocol),
            situation,
        ),
        source=say("the source patient", situation),
        occurred=(
            occurrence(occurred, situation.occurred_at_precision, zone)
            if occurred
            else "Time not known yet"
        ),
        since=_since(situation, plan.now, zone),
        counted=(
            _COUNTED if occurred and situation.occurred_at_precision in ("hour", "date") else ""
        ),
        reported=minute(situation.reported_at, zone) if situation.reported_at else "",
        closed=(
            f"{minute(situation.closed_at, zone)}: "
            f"{say(CLOSED_REASONS.get(situation.closed_reason, situation.closed_reason), situation)}"
            if situation.closed_at
            else ""
        ),
        contradictions=plan.contradictions,
        decisions=decisions,
        questions=tuple(
            Known(words.question(question.fact), words.decision_list(question.changes), "")
            for question in plan.questions
        ),
        unknowable=tuple(
            Known(words.question(fact), reason, "")
            for fact, reason in situation.cannot_be_known.items()
        ),
        steps=steps,
        given=words.given(),
        otherwise=words.otherwise(),
        cautions=cautions,
        groups=words.groups(),
        source_steps=tuple(
            Known(step.replace("_", " ").capitalize(), minute(at, zone), "")
            for step, at in sorted(situation.source_steps.items(), key=lambda pair: pair[1])
        ),
        computed=tuple(
            Known(name.replace("_", " ").capitalize(), value, "")
            for name, value in plan.computed.items()
        ),
        course=tuple(
            Known(label, value, "")
            for label, value in course_told(situation, protocol.id, plan.now, zone)
        ),
        signed=tuple(
            Signed(kept.who(signed.by, signed.entry), minute(signed.at, zone), signed.entry)
            for signed in situation.signed
        ),
        unsigned=_STANDING[signature_of(plan, situation, protocol, kept.as_signed)],
        contacts=all_contacts(site),
        any_unconfirmed=any(decision.unconfirmed for decision in decisions)
        or any(step.unconfirmed for step in steps)
        or any(caution.unconfirmed for caution in cautions),
    )


@dataclass(frozen=True)
class _Words:
    plan: Plan
    situation: Situation
    protocol: Protocol
    vocabulary: Vocabulary
    zone: tzinfo
    record: Record

    def question(self, fact: str) -> str:
        return self.vocabulary[fact].question if fact in self.vocabulary else fact.replace("_", " ")

    def decision_list(self, ids: Sequence[str]) -> str:
        """The decisions among what a question can change; lists follow from them."""
        outputs = self.protocol.outputs
        named = [outputs[id_].label or id_ for id_ in ids if id_ in outputs]
        return "; ".join(named) or "what is to be done or watched for"

    def decisions(self) -> tuple[Decision, ...]:
        """Every decision but the parts of a dose, which stand worked out beside the action."""
        return (
            *(
                self._decision(finding)
                for finding in self.plan.findings.values()
                if self._told(finding)
            ),
            *(self._reasons(id_, items) for id_, items in self.plan.reasons.items() if items),
        )

    def _told(self, finding: Finding) -> bool:
        return finding.decision not in self.protocol.amount_parts and not (
            finding.value is None and self.protocol.outputs[finding.decision].inner
        )

    def _reasons(self, id_: str, items: Sequence[Item]) -> Decision:
        """A decision whose answer is a list: what applies for certain, and what may apply."""
        output = self.protocol.outputs[id_]
        sure = [item for item in items if item.certain]
        perhaps = [item for item in items if not item.certain]
        told = ", ".join(output.words(item.outputs[id_]) for item in sure)
        if perhaps:
            possible = ", ".join(output.words(item.outputs[id_]) for item in perhaps)
            told = f"{told}; perhaps: {possible}" if told else f"Perhaps: {possible}"
        because = tuple(reason for item in sure for reason in item.because)
        facts = tuple(dict.fromkeys(fact for item in perhaps for fact in item.open_facts))
        return Decision(
            question=output.label or id_.replace("_", " "),
            answer=told,
            settled=not perhaps,
            because=self._whys(because),
            waits_for=self.waits_for(facts),
            advised="",
            departed=None,
            dose_otherwise="",
            unconfirmed=unconfirmed(because),
        )

    def _decision(self, finding: Finding) -> Decision:
        output = self.protocol.outputs.get(finding.decision)

        def words(value: str) -> str:
            said = output.words(value) if output else value.replace("_", " ")
            return opening(said)

        departure = self.situation.departure_from(finding.decision)
        dose = doses_decided_otherwise(self.plan, self.situation, self.protocol).get(
            finding.decision
        )
        if finding.value is not None:
            answer = words(finding.value)
        elif finding.decision in self.plan.undecidable:
            answer = f"A clinician decides among: {', '.join(map(words, finding.possible))}"
        else:
            answer = f"Open: {', '.join(map(words, finding.possible))}"
        return Decision(
            question=(output.label if output else "") or finding.decision.replace("_", " "),
            answer=answer,
            settled=finding.value is not None,
            because=self._whys(finding.because),
            waits_for=self.waits_for(
                self.plan.undecidable.get(finding.decision, ()) or finding.open_facts
            ),
            advised=words(departure.advised) if departure else "",
            departed=self._departed(departure, words(departure.decided)) if departure else None,
            dose_otherwise=(
                f"About the dose, decided: {opening(dose.decided.strip().rstrip('.'))}. "
                f"See the action, entry {dose.entry}."
                if dose
                else ""
            ),
            unconfirmed=unconfirmed(finding.because),
        )

    def _departed(self, departure: Departure, decided: str) -> Instead:
        return Instead(
            f"{decided.strip().rstrip('.')}.",
            departure.reason.strip(),
            f"{self.record.who(departure.by, departure.entry)}, "
            f"{minute(departure.at, self.zone)}, entry {departure.entry}",
        )

    def otherwise(self) -> tuple[Otherwise, ...]:
        """Departures that neither a decision nor an action of the plan carries any more."""
        carried = {
            *(id_ for id_ in self.plan.findings if self._told(self.plan.findings[id_])),
            *(action.id for action in self.plan.actions),
        }
        return tuple(
            Otherwise(
                self._subject(departure.subject),
                self._departed(departure, opening(departure.decided)),
                opening(departure.advised),
            )
            for departure in self.situation.departures
            if departure.subject not in carried
        )

    def _subject(self, id_: str) -> str:
        output = self.protocol.outputs.get(id_)
        if output is not None and output.label:
            return output.label
        return self._what(id_)

    def _what(self, action: str) -> str:
        """An action in the plan's words, or in the protocol's where the plan holds it no more."""
        found = next((a.what for a in self.plan.actions if a.id == action), "")
        return found or self.protocol.action_words(action)

    def given(self) -> tuple[Dose, ...]:
        """The doses on record, in the order in which they were given."""
        return tuple(
            Dose(
                self._what(dose.action),
                dose.product,
                dose.amount,
                dose.batch,
                f"{minute(dose.at, self.zone)}, entry {dose.entry}",
                self.record.writer(dose.entry),
            )
            for dose in self.record.doses(self.situation.as_of)
        )

    @staticmethod
    def _whys(reasons: Sequence[Reason]) -> tuple[Why, ...]:
        together: dict[tuple[str, str], list[str]] = {}
        for reason in reasons:
            key = (reason.source, STANDINGS[reason.standing])
            together.setdefault(key, []).append(reason.rule)
        return tuple(
            Why(", ".join(rules), source, standing)
            for (source, standing), rules in together.items()
        )

    def waits_for(self, facts: Sequence[str]) -> str:
        """Open facts as numbers of the list of questions; what cannot be asked any more by name."""
        asked = [question.fact for question in self.plan.questions]
        numbers = sorted(asked.index(fact) + 1 for fact in facts if fact in asked)
        named = [self.question(fact) for fact in facts if fact not in asked]
        if numbers:
            word = "question" if len(numbers) == 1 else "questions"
            named.insert(0, f"{word} {', '.join(map(str, numbers))}")
        return "; ".join(named)

    def steps(self) -> tuple[Step, ...]:
        what = {action.id: action.what for action in self.plan.actions}
        order = list(_STATES)
        order.sort(key=lambda state: (state is not State.LATE, state is not State.OPEN))
        return tuple(
            self._step(action, what)
            for action in sorted(
                self.plan.actions, key=lambda a: (order.index(a.state), not a.stands)
            )
        )

    def _step(self, action: Action, what: dict[str, str]) -> Step:
        after = what.get(action.window.waits_for, "")
        done = minute(action.done_at, self.zone) if action.done_at else ""
        if done and action.done_by_entry is not None:
            done = f"{done}, entry {action.done_by_entry}"
        departure = self.situation.departure_from(action.id)
        return Step(
            what=action.what,
            amount=action.amount,
            whom=say(WHOM.get(action.whom, action.whom), self.situation),
            state=_STATES[action.state],
            done=done,
            given=tuple(
                _dose(dose)
                for dose in self.record.doses(self.situation.as_of)
                if dose.action == action.id
            ),
            departed=self._departed(departure, opening(departure.decided)) if departure else None,
            rules=_rules(action.because),
            perhaps=not action.stands,
            waits_for="" if action.certain else self.waits_for(action.open_facts),
            unconfirmed=unconfirmed(action.because),
            **window_in_full(action.window, self.plan.now, self.zone, after),
        )

    def cautions(self) -> tuple[Warned, ...]:
        return tuple(map(self._caution, self.plan.cautions))

    @staticmethod
    def _caution(caution: Caution) -> Warned:
        return Warned(
            caution.text, _rules(caution.because), not caution.certain, unconfirmed(caution.because)
        )

    def _said_by(self, known: KnownFact) -> str:
        """Who said it; a clinician by name and role where these are known, and who wrote it down."""
        writer = self.record.writer(known.entry) if known.entry is not None else ""
        if not writer or known.said_by == "worker":
            return say(known.said_by, self.situation)
        return writer if known.said_by == "clinician" else f"{known.said_by}, recorded by {writer}"

    def groups(self) -> tuple[Group, ...]:
        groups = []
        for about, title in ABOUT.items():
            known = []
            for id_, fact in self.vocabulary.items():
                found = self.situation.facts.get(id_)
                if fact.about == about and found is not None:
                    entry = f", entry {found.entry}" if found.entry is not None else ", computed"
                    at = f", {minute(found.known_at, self.zone)}" if found.known_at else ""
                    said_by = self._said_by(found)
                    known.append(
                        Known(fact.question, fact.label(found.value), f"{said_by}{at}{entry}")
                    )
            if known:
                groups.append(Group(say(title, self.situation), tuple(known)))
        return tuple(groups)


def _dose(dose: Given) -> str:
    """A dose beside its action: "Invented vaccine, 1 mL, batch 7A"."""
    batch = f"batch {dose.batch}" if dose.batch else ""
    return ", ".join(part for part in (dose.product, dose.amount, batch) if part)


def _since(situation: Situation, now: datetime, zone: tzinfo) -> str:
    """How long ago the exposure was: at most, where it is known to the hour or the date alone."""
    moment = moment_of(situation, zone, now)
    if situation.occurred_at is None or moment.first is None:
        return ""
    at_most = "up to " if moment.first != moment.last else ""
    return f"{at_most}{elapsed(moment.first, now)}"


def _rules(reasons: Sequence[Reason]) -> str:
    return ", ".join(reason.rule for reason in reasons)
