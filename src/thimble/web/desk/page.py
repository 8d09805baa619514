"""Every word of the case page, from plain values: no query, no clock."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, tzinfo

from thimble.actions.identity import WorkerIdentity
from thimble.actions.linking import TOUCHED
from thimble.clinical.site import Site
from thimble.ledger.bodies import CLOSED_REASONS
from thimble.ledger.compare import fingerprint
from thimble.ledger.exposed import protocol_for, say, saying
from thimble.ledger.follow_up.support import due_offer
from thimble.ledger.linking import is_patient_case
from thimble.ledger.prophylaxis.course import FIRST_DOSE
from thimble.ledger.signature import SignatureState, signature_of
from thimble.ledger.situation import Situation
from thimble.protocol.protocol import Protocol
from thimble.web.desk.changes import Change, Written, changed_since
from thimble.web.desk.known import FactGroup, known_in_words
from thimble.web.desk.plan import PlanView
from thimble.web.desk.questions import QuestionView
from thimble.web.desk.reading import Reading, actions_in_words
from thimble.web.desk.words import Clock, RuleLink, no_link, point
from thimble.web.people.words import born as birth_day


@dataclass(frozen=True, slots=True)
class Typed:
    """A form that came back: which one, what was typed, and what is wrong with it.

    `against`: it can be recorded all the same, once somebody says that it was so.
    """

    form: str
    subject: str
    values: Mapping[str, Sequence[str]]
    fault: str
    against: bool = False

    def last(self) -> dict[str, str]:
        """The last value of each field, to show again."""
        return {name: given[-1] for name, given in self.values.items() if given}


@dataclass(frozen=True, slots=True)
class SignedView:
    """Who signed, when, and whether the plan still reads as it was signed.

    `other_rules`: it was signed under another edition of the protocol, so that nothing says it does.
    """

    who: str
    at: str
    still: bool
    other_rules: bool


@dataclass(frozen=True, slots=True)
class May:
    """What this account may do here."""

    record: bool = False
    sign: bool = False
    depart: bool = False
    correct: bool = False
    close: bool = False
    print: bool = False
    source: bool = False
    fitness: bool = False

    @classmethod
    def of(cls, capabilities: frozenset[str]) -> May:
        """From the capabilities of a role."""
        return cls(
            record="record_facts" in capabilities,
            sign="sign_plan" in capabilities,
            depart="depart" in capabilities,
            correct="correct_entry" in capabilities,
            close="close_case" in capabilities,
            print="print_documents" in capabilities,
            source="see_source" in capabilities,
            fitness="decide_fitness" in capabilities,
        )


LINKED = {
    "patient_case": "The patient may have been exposed to the worker's blood, and is followed too.",
    "worker_case": "The exposed person of this case is a patient; the source is the injured worker. Rules "
    "and doses were written for adult staff: whoever treats the patient decides whether they fit.",
}
"""What a linked case means for this one."""
BLEEDS = frozenset({"percutaneous", "human_bite"})
"""Ways in which the worker may bleed where the patient is touched."""


def _ask_patient(situation: Situation) -> bool:
    """Whether the page leads to the question if the patient was exposed too."""
    route = situation.facts.get("route")
    bleeds = route is not None and route.value in BLEEDS
    return bleeds or TOUCHED in situation.facts or bool(situation.links)


@dataclass(frozen=True, slots=True)
class CasePage:
    """The page of one case."""

    case: str
    position: int
    fingerprint: str
    clock: Clock
    worker: str
    worker_more: tuple[str, ...]
    about: tuple[str, ...]
    in_their_words: str
    plan: PlanView
    question: QuestionView | None
    asked_again: bool
    others: tuple[QuestionView, ...]
    facts: tuple[FactGroup, ...]
    answered: int
    signed: SignedView | None
    closed: str
    may: May
    recorded: Change | None
    news: Change | None
    written: tuple[Written, ...]
    typed: Typed | None
    today: str
    linked: tuple[tuple[str, str], ...] = ()
    ask_patient: bool = False
    of_patient: bool = False
    ask_support: bool = False
    done_typed: Mapping[str, str] = field(default_factory=dict)
    done_ticked: frozenset[str] = frozenset()
    doing: str = ""
    on_course: bool = False

    @property
    def opens_maybe(self) -> bool:
        """Whether something that is only possible is being recorded."""
        return bool(self.doing or self.done_typed)

    @classmethod
    def of(
        cls,
        reading: Reading,
        *,
        protocol: Protocol,
        site: Site,
        capabilities: frozenset[str],
        account: str,
        names: Mapping[str, str],
        worker: WorkerIdentity | None = None,
        seen: int | None = None,
        since: int | None = None,
        ask: str = "",
        doing: str = "",
        typed: Typed | None = None,
        link: RuleLink = no_link,
    ) -> CasePage:
        """The page as one account sees it.

        Args:
            worker: who the exposed worker is; None where nobody said or this account may not know.
            seen: up to which position this account had seen the case; None if never.
            since: the position before what this account has just recorded.
            ask: a fact to put first, to answer it out of turn or anew.
            doing: an action whose form stands open.
            typed: a form that came back with a fault.
        """
        situation, plan = reading.situation, reading.plan
        protocol = protocol_for(protocol, situation)
        now, zone = plan.now, site.zone
        words = actions_in_words(plan, protocol)
        questions = _questions(reading, protocol, ask, typed)
        others_wrote = [
            entry
            for entry in reading.entries
            if seen is not None and entry.position > seen and entry.by != account
        ]
        recorded = news = None
        if since is not None:
            recorded = changed_since(reading, since, "What this changed", protocol, site)
        if others_wrote and seen is not None:
            news = changed_since(reading, seen, "Changed since your last look", protocol, site)
        report = reading.entries[0].body
        answered = known_in_words(reading, protocol, site, names)
        return cls(
            case=reading.case,
            position=reading.position,
            fingerprint=fingerprint(plan),
            clock=Clock.of(
                situation.occurred_at,
                situation.occurred_at_precision,
                now,
                zone,
                cannot_be_known="hours_since_exposure" in situation.cannot_be_known,
            ),
            worker=worker.name if worker else "",
            worker_more=_more(worker),
            about=tuple(text for text in (report.get("place", ""), report.get("task", "")) if text),
            in_their_words=str(report.get("account", "")).strip(),
            plan=PlanView.of(plan, situation, protocol=protocol, site=site, names=names, link=link),
            question=questions[0] if questions else None,
            asked_again=bool(questions)
            and questions[0].fact == ask
            and bool(questions[0].answered),
            others=tuple(questions[1:]),
            facts=answered,
            answered=sum(len(group.facts) for group in answered),
            signed=_signed(reading, protocol, site, names),
            closed=_closed(situation, now, zone),
            linked=tuple((LINKED[link.what], link.case) for link in situation.links),
            ask_patient=_ask_patient(situation),
            of_patient=is_patient_case(situation),
            ask_support=due_offer(situation) is not None,
            may=May.of(capabilities),
            recorded=recorded,
            news=news,
            written=tuple(
                Written.of(
                    entry,
                    protocol=protocol,
                    names=names,
                    actions=words,
                    now=now,
                    zone=zone,
                    say=saying(situation),
                )
                for entry in others_wrote
            ),
            typed=typed,
            today=now.astimezone(zone).date().isoformat(),
            done_typed=typed.last() if typed is not None and typed.form == "done" else {},
            done_ticked=frozenset(typed.values.get("step", ())) if typed else frozenset(),
            doing=doing,
            on_course=bool(reading.situation.course.sought) or FIRST_DOSE in reading.situation.done,
        )


def _more(worker: WorkerIdentity | None) -> tuple[str, ...]:
    if worker is None:
        return ()
    born = "" if worker.date_of_birth is None else f"born {birth_day(worker.date_of_birth)}"
    parts = (worker.phone, worker.staff_number, born, worker.occupation, worker.department)
    return tuple(part for part in parts if part)


def _questions(
    reading: Reading, protocol: Protocol, ask: str, typed: Typed | None
) -> list[QuestionView]:
    """The open questions in the plan's order; one asked for by name, or come back, stands first."""
    changes = {question.fact: question.changes for question in reading.plan.questions}
    order = list(changes)
    back = typed.subject if typed is not None and typed.form == "answer" else ""
    first = back or ask
    if first in protocol.vocabulary:
        order = [first, *(fact for fact in order if fact != first)]
    known, never = reading.situation.facts, reading.situation.cannot_be_known
    return [
        QuestionView.of(
            protocol.vocabulary[fact],
            changes.get(fact, ()),
            protocol=protocol,
            answered=known[fact].value if fact in known else None,
            never=never.get(fact) if fact not in known else None,
            error=typed.fault if typed is not None and fact == back else "",
            typed=typed.values if typed is not None and fact == back else None,
        )
        for fact in order
        if fact in protocol.vocabulary
    ]


def _signed(
    reading: Reading, protocol: Protocol, site: Site, names: Mapping[str, str]
) -> SignedView | None:
    if not reading.situation.signed:
        return None
    last = reading.situation.signed[-1]
    then = reading.plan_at(last.entry, protocol, site)
    stands = signature_of(reading.plan, reading.situation, protocol, then)
    return SignedView(
        names.get(last.by, last.by),
        point(last.at, reading.plan.now, site.zone),
        still=stands is SignatureState.AS_SIGNED,
        other_rules=stands is SignatureState.OTHER_RULES,
    )


def _closed(situation: Situation, now: datetime, zone: tzinfo) -> str:
    if situation.closed_at is None:
        return ""
    reason = CLOSED_REASONS.get(situation.closed_reason, situation.closed_reason)
    return f"{say(reason, situation)}, {point(situation.closed_at, now, zone)}"
