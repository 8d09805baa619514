"""A plan in words: decisions, actions, cautions, each with its reasons. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta, tzinfo

from thimble.clinical.saying import inside, opening
from thimble.clinical.site import Site
from thimble.documents.otherwise import asked_for_by
from thimble.ledger.chasing import chases
from thimble.ledger.course import FIRST_DOSE
from thimble.ledger.exposed import protocol_for, say
from thimble.ledger.exposed import told as told_of
from thimble.ledger.next_thing import short
from thimble.ledger.plan import TO_DO, Action, Caution, Departure, Plan, Situation, State
from thimble.ledger.pressing import OVERDUE, group_of, has_opened
from thimble.ledger.pressing import Group as Pressing
from thimble.ledger.telling import ASKS_FOR_NOTHING, told
from thimble.protocol.finding import Finding, Reason
from thimble.protocol.protocol import Protocol
from thimble.web.course.places import form_for
from thimble.web.desk.words import (
    ReasonWords,
    RuleLink,
    WindowWords,
    join,
    no_link,
    point,
)

SOON = timedelta(days=7)
EXPERT_DECIDES = "expert_decides"
LEFT_TO_A_PERSON = frozenset({EXPERT_DECIDES, "clinician_decides", "consider"})
UNSAID = frozenset({"no", "unknown", "not_tested", frozenset()})
"""Answers that an expert is not told unasked."""
MOST_RINGS = 3
NEXT_STEPS = 3
WHOM = {"worker": "", "source": "Source patient", "department": "Department"}
TOPICS: Mapping[str, str] = {
    "first_aid": "First aid",
    "general": "Above all",
    "hiv": "HIV",
    "hbv": "Hepatitis B",
    "hcv": "Hepatitis C",
    "tetanus": "Tetanus",
    "medicines": "Medicines",
    "precautions": "Precautions to explain",
    "warning_signs": "Warning signs to explain",
    "reporting": "Reporting",
}
HOW_DONE: Mapping[str, str] = {
    "dose": "dose",
    "advice": "advice",
    "counsel": "text",
    "review": "text",
    "first_aid": "first_aid",
    "sample": "plain",
    "ask": "plain",
}


@dataclass(frozen=True, slots=True)
class Lens:
    """What every part of the plan is shown through: the names of things, the moment, the zone."""

    plan: Plan
    situation: Situation
    protocol: Protocol
    zone: tzinfo
    names: Mapping[str, str]
    link: RuleLink = no_link

    @property
    def now(self) -> datetime:
        """The moment of the plan."""
        return self.plan.now

    def who(self, by: str) -> str:
        """Who wrote, as shown."""
        return self.names.get(by, say("the worker", self.situation) if by == "worker" else by)

    def question(self, fact: str) -> str:
        """A fact's question; an id that the vocabulary no longer holds stays readable."""
        known = self.protocol.vocabulary.get(fact)
        return known.question if known else fact.replace("_", " ")

    def label(self, decision: str) -> str:
        """A decision's label, or an action's words where the subject is one."""
        output = self.protocol.outputs.get(decision)
        if output is not None and output.label:
            return output.label
        return self.what(decision)

    def value(self, decision: str, value: str) -> str:
        """A decision's value in words."""
        output = self.protocol.outputs.get(decision)
        said = output.words(value) if output else value.replace("_", " ")
        return opening(said)

    def what(self, action: str) -> str:
        """An action's sentence."""
        for known in self.plan.actions:
            if known.id == action:
                return known.what
        return action.replace("_", " ")

    def reasons(self, because: Iterable[Reason]) -> tuple[ReasonWords, ...]:
        """The rules behind something."""
        words = tuple(ReasonWords.of(reason, self.protocol, self.link) for reason in because)
        return told_of(words, self.situation)


@dataclass(frozen=True, slots=True)
class Waiting:
    """A fact that something waits for."""

    fact: str
    question: str


@dataclass(frozen=True, slots=True)
class DepartureView:
    """What a clinician decided otherwise."""

    decided: str
    reason: str
    by: str
    at: str
    subject: str = ""
    advised: str = ""

    @classmethod
    def of(cls, departure: Departure, lens: Lens) -> DepartureView:
        """A departure in words."""
        return cls(
            departure.decided,
            departure.reason,
            lens.who(departure.by),
            point(departure.at, lens.now, lens.zone),
            lens.label(departure.subject),
            departure.advised,
        )


@dataclass(frozen=True, slots=True)
class DecisionView:
    """One decision. `value` is "" while it is open; `possible` then lists what it can become.

    `stuck_on` are the questions that nobody can answer; the clinician then decides among `possible`,
    with the most protective first where the protocol orders them (`ordered`).
    """

    id: str
    label: str
    value: str
    quiet: bool
    possible: tuple[str, ...]
    waits_for: tuple[Waiting, ...]
    more_waits: int
    stuck_on: tuple[str, ...]
    reasons: tuple[ReasonWords, ...]
    confirmed: bool
    to_a_person: bool
    ordered: bool
    departure: DepartureView | None
    asks_expert: bool = False

    @property
    def open_words(self) -> str:
        """The possible outcomes in one line."""
        return join(self.possible)


@dataclass(frozen=True, slots=True)
class ActionView:
    """One thing to do. `form` says what its “done” asks for: plain, first_aid, text, advice or dose.

    `ready`: its window has opened; before that nothing is done by a single tap. `on_course` is the place
    on the page of the course where it is recorded, "" where it is recorded here. `begins_course`: tablets
    for days to come can be handed out with it.
    """

    id: str
    what: str
    whom: str
    form: str
    window: WindowWords
    amount: str
    certain: bool
    waits_for: tuple[str, ...]
    reasons: tuple[ReasonWords, ...]
    confirmed: bool
    state: str
    ready: bool
    done: str
    done_entry: int | None
    departure: DepartureView | None
    stuck: bool = False
    sample: bool = False
    on_course: str = ""
    begins_course: bool = False

    @property
    def stands(self) -> bool:
        """Whether it is to be done unless somebody decides otherwise."""
        return self.certain or self.stuck


@dataclass(frozen=True, slots=True)
class Group:
    """Actions that are shown together."""

    id: str
    title: str
    actions: tuple[ActionView, ...]


@dataclass(frozen=True, slots=True)
class Ring:
    """A window that closes: its share left, what closes with it, and the words."""

    share: float
    left: str
    until: str
    whats: tuple[str, ...]
    closed: bool
    if_needed: bool
    href: str


@dataclass(frozen=True, slots=True)
class CautionView:
    """One sentence to be seen."""

    text: str
    reasons: tuple[ReasonWords, ...]
    confirmed: bool


@dataclass(frozen=True, slots=True)
class Topic:
    """The cautions of one topic."""

    id: str
    title: str
    cautions: tuple[CautionView, ...]
    folded: bool


@dataclass(frozen=True, slots=True)
class ExpertReason:
    """A reason to ask an expert."""

    text: str
    certain: bool


@dataclass(frozen=True, slots=True)
class ExpertView:
    """Whom to ring, and why. Shown wherever a decision is left to an expert."""

    name: str
    number: str
    reasons: tuple[ExpertReason, ...]


@dataclass(frozen=True, slots=True)
class PlanView:
    """The whole plan as it is read on the case page, on the page to sign, and in the history."""

    protocol: str
    contradictions: tuple[str, ...]
    left_to_you: tuple[DecisionView, ...]
    settled: tuple[DecisionView, ...]
    nothing_due: tuple[DecisionView, ...]
    open: tuple[DecisionView, ...]
    undecidable: tuple[DecisionView, ...]
    groups: tuple[Group, ...]
    topics: tuple[Topic, ...]
    possible_cautions: tuple[str, ...]
    first_aid: tuple[CautionView, ...]
    first_aid_action: str
    first_aid_past: bool
    rings: tuple[Ring, ...]
    expert: ExpertView | None
    expert_for: str
    expert_reasons: str
    expert_facts: tuple[tuple[str, str], ...]
    computed: tuple[tuple[str, str], ...]
    departures: tuple[DepartureView, ...]

    @property
    def not_decided(self) -> tuple[DecisionView, ...]:
        """What is left to a person and has not been decided by one yet."""
        return tuple(d for d in (*self.left_to_you, *self.undecidable) if d.departure is None)

    @property
    def next_steps(self) -> tuple[ActionView, ...]:
        """The first of what is to be done now, in the plan's order."""
        now = next((group.actions for group in self.groups if group.id == "now"), ())
        return now[:NEXT_STEPS]

    @classmethod
    def of(
        cls,
        plan: Plan,
        situation: Situation,
        *,
        protocol: Protocol,
        site: Site,
        names: Mapping[str, str],
        link: RuleLink = no_link,
    ) -> PlanView:
        """A plan in words, at its own moment."""
        protocol = protocol_for(protocol, situation)
        lens = Lens(plan, situation, protocol, site.zone, names, link)
        decisions = _decisions(lens)
        expert = _expert(lens, site)
        certain = [caution for caution in plan.cautions if caution.certain]
        return cls(
            protocol=f"{protocol.title}, edition {plan.protocol_edition}",
            contradictions=plan.contradictions,
            left_to_you=tuple(d for d in decisions if d.value and d.to_a_person),
            settled=tuple(d for d in decisions if d.value and not d.quiet and not d.to_a_person),
            nothing_due=tuple(d for d in decisions if d.value and d.quiet),
            open=tuple(d for d in decisions if not d.value and not d.stuck_on),
            undecidable=tuple(d for d in decisions if d.stuck_on),
            groups=_groups(lens),
            topics=_topics(certain, lens),
            possible_cautions=tuple(c.text for c in plan.cautions if not c.certain),
            first_aid=tuple(_caution(c, lens) for c in certain if c.topic == "first_aid")
            if "first_aid" not in situation.done
            else (),
            first_aid_action=next((a.id for a in plan.actions if a.kind == "first_aid"), ""),
            first_aid_past=situation.occurred_at is not None
            and situation.occurred_at < plan.now - OVERDUE,
            rings=_rings(lens),
            expert=expert,
            expert_reasons=""
            if expert is None
            else "; ".join(inside(reason.text) for reason in expert.reasons if reason.certain),
            expert_for=join([inside(d.label) for d in decisions if d.asks_expert], "and"),
            expert_facts=expert_facts(situation, protocol),
            computed=tuple(
                (lens.question(fact), words)
                for fact, words in plan.computed.items()
                if fact in protocol.vocabulary and fact != "hours_since_exposure"
            ),
            departures=tuple(DepartureView.of(d, lens) for d in situation.departures),
        )


# -- decisions --------------------------------------------------------------------------------------


def _decisions(lens: Lens) -> list[DecisionView]:
    departed = {d.subject: d for d in lens.situation.departures}
    return [
        _decision(finding, departed.get(finding.decision), lens)
        for finding in told(lens.plan, lens.protocol)
    ]


def _decision(finding: Finding, departure: Departure | None, lens: Lens) -> DecisionView:
    name = finding.decision
    stuck = lens.plan.undecidable.get(name, ())
    possible = (
        protective_first(name, finding.possible, lens.protocol) if stuck else finding.possible
    )
    waits = [fact for fact in finding.open_facts if fact not in stuck]
    return DecisionView(
        id=name,
        label=lens.label(name),
        value="" if finding.value is None else lens.value(name, finding.value),
        quiet=finding.value in ASKS_FOR_NOTHING,
        possible=tuple(
            lens.value(name, v) if at == 0 else inside(lens.value(name, v))
            for at, v in enumerate(possible)
        ),
        waits_for=tuple(Waiting(fact, lens.question(fact)) for fact in waits[:3]),
        more_waits=max(0, len(waits) - 3),
        stuck_on=tuple(lens.question(fact) for fact in stuck),
        reasons=lens.reasons(finding.because),
        confirmed=all(reason.confirmed for reason in finding.because),
        to_a_person=bool(stuck) or finding.value in LEFT_TO_A_PERSON,
        ordered=name in lens.protocol.manifest.outcome_order,
        departure=None if departure is None else DepartureView.of(departure, lens),
        asks_expert=EXPERT_DECIDES in finding.possible,
    )


def protective_first(decision: str, possible: Sequence[str], protocol: Protocol) -> tuple[str, ...]:
    """Outcomes with the most protective first, by the protocol's own order of severity.

    An outcome that the order does not name (a person decides) stands before the named ones: it closes
    no door. Without an order the protocol's own sequence stands.
    """
    order = protocol.manifest.outcome_order.get(decision)
    if not order:
        return tuple(possible)
    rank = {value: at for at, tie in enumerate(order) for value in tie}
    return tuple(sorted(possible, key=lambda value: -rank.get(value, len(order))))


def _expert(lens: Lens, site: Site) -> ExpertView | None:
    reasons = [
        ExpertReason(lens.value(table, value), item.certain)
        for table, items in lens.plan.reasons.items()
        for item in items
        for value in item.outputs.values()
    ]
    to_an_expert = any(
        "expert_decides" in finding.possible for finding in lens.plan.findings.values()
    )
    if not reasons and not to_an_expert:
        return None
    certain_first = sorted(reasons, key=lambda r: not r.certain)
    return ExpertView(site.expert_phone.name, site.expert_phone.number, tuple(certain_first))


def expert_facts(situation: Situation, protocol: Protocol) -> tuple[tuple[str, str], ...]:
    """What is known of all that an expert's decision rests on: what to say on the telephone."""
    names = {
        column.partition(".")[0]
        for table in protocol.tables
        if table.role == "reasons" or any(_to_expert(d, protocol) for d in table.decides)
        for column in table.inputs
    }
    known = situation.facts
    return tuple(
        (fact.question, fact.label(known[id_].value))
        for id_, fact in protocol.vocabulary.items()
        if id_ in names and id_ in known and known[id_].value not in UNSAID
    )


def _to_expert(decision: str, protocol: Protocol) -> bool:
    return EXPERT_DECIDES in protocol.outputs[decision].values


def asks_expert(subject: str, plan: Plan, protocol: Protocol) -> bool:
    """Whether a decision, or what an action rests on, can be an expert's to make."""
    if subject in plan.findings:
        return _to_expert(subject, protocol)
    return any(
        _to_expert(decision, protocol)
        for action in plan.actions
        if action.id == subject
        for decision in asked_for_by(action, plan, protocol)
    )


# -- actions ----------------------------------------------------------------------------------------


def _groups(lens: Lens) -> tuple[Group, ...]:
    titles = {
        "now": "Now",
        "days": "In the next days",
        "later": "Later",
        "maybe": "Perhaps, depending on what is still open",
        "otherwise": "Decided otherwise",
        "not_needed": "No longer needed",
        "done": "Done",
    }
    members: dict[str, list[ActionView]] = {key: [] for key in titles}
    for action in lens.plan.actions:
        members[_group(action, lens.now)].append(_action(action, lens))
    return tuple(
        Group(key, title, tuple(members[key])) for key, title in titles.items() if members[key]
    )


def _group(action: Action, now: datetime) -> str:
    if action.state is State.DONE:
        return "done"
    if action.state is State.NO_LONGER_NEEDED:
        return "not_needed"
    if action.state is State.DEPARTED:
        return "otherwise"
    if not action.stands:
        return "maybe"
    window = action.window
    if has_opened(action, now):
        return "now"
    soon = window.earliest is not None and window.earliest - now <= SOON
    return "days" if soon else "later"


def _action(action: Action, lens: Lens) -> ActionView:
    subjects = {action.id}
    if action.state is State.DEPARTED:
        # A dose that was not departed from itself: the decision behind it was.
        subjects |= set(asked_for_by(action, lens.plan, lens.protocol))
    departure = next(
        (d for d in reversed(lens.situation.departures) if d.subject in subjects), None
    )
    done = ""
    if action.done_at is not None:
        done = f"done {point(action.done_at, lens.now, lens.zone)}"
    return ActionView(
        id=action.id,
        what=action.what,
        whom=say(WHOM.get(action.whom, action.whom), lens.situation),
        form="source" if chases(action.id) else HOW_DONE.get(action.kind, "text"),
        window=WindowWords.of(
            action.window,
            lens.now,
            lens.zone,
            since=lens.situation.occurred_at,
            waits_for=inside(lens.what(action.window.waits_for)) if action.window.waits_for else "",
        ),
        amount=action.amount,
        certain=action.certain,
        stuck=action.stuck,
        sample=action.kind == "sample",
        waits_for=tuple(lens.question(fact) for fact in action.open_facts[:3]),
        reasons=lens.reasons(action.because),
        confirmed=all(reason.confirmed for reason in action.because),
        state=action.state.value,
        ready=has_opened(action, lens.now),
        done=done,
        done_entry=action.done_by_entry,
        departure=None if departure is None else DepartureView.of(departure, lens),
        on_course=form_for(action.id, begun=FIRST_DOSE in lens.situation.done),
        begins_course=action.id == FIRST_DOSE,
    )


def _rings(lens: Lens) -> tuple[Ring, ...]:
    """The windows that press most, in the plan's order; what shares its limits shares a ring."""
    alike: dict[tuple[datetime | None, datetime | None], list[Action]] = {}
    for action in lens.plan.actions:
        window = action.window
        if action.state not in TO_DO or action.kind == "first_aid":
            continue
        if (window.target is None and window.latest is None) or not has_opened(action, lens.now):
            continue
        if group_of(action, lens.now) not in (Pressing.NOW, Pressing.PAST):
            continue
        if action.state is State.LATE and not action.stands:
            continue
        alike.setdefault((window.target, window.latest), []).append(action)
    rings = []
    for actions in list(alike.values())[:MOST_RINGS]:
        first = actions[0]
        shown = [a for a in actions if a.certain == first.certain]
        words = WindowWords.of(first.window, lens.now, lens.zone, since=lens.situation.occurred_at)
        rings.append(
            Ring(
                share=words.share if words.share is not None else 1.0,
                left=words.left,
                until=words.until,
                whats=tuple(short(a.what) for a in shown),
                closed=words.closed,
                if_needed=not first.certain,
                href=f"#action-{first.id}",
            )
        )
    return tuple(rings)


# -- cautions ---------------------------------------------------------------------------------------


def _caution(caution: Caution, lens: Lens) -> CautionView:
    return CautionView(
        caution.text,
        lens.reasons(caution.because),
        all(reason.confirmed for reason in caution.because),
    )


def _topics(cautions: Sequence[Caution], lens: Lens) -> tuple[Topic, ...]:
    by_topic: dict[str, list[CautionView]] = {}
    for caution in cautions:
        if caution.topic != "first_aid":
            by_topic.setdefault(caution.topic, []).append(_caution(caution, lens))
    known = [topic for topic in TOPICS if topic in by_topic]
    # A topic of a later protocol is never dropped.
    others = [topic for topic in by_topic if topic not in TOPICS]
    folded = {"precautions", "warning_signs", "reporting"}
    return tuple(
        Topic(topic, TOPICS.get(topic, topic.replace("_", " ").capitalize()),
              tuple(by_topic[topic]), topic in folded)
        for topic in [*known, *others]
    )  # fmt: skip
