"""The page that is signed: the whole plan, what is decided with it, who signed before. Pure."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from thimble.actions import Departing
from thimble.clinical.saying import minute
from thimble.clinical.site import Site
from thimble.ledger.compare import fingerprint
from thimble.ledger.entries import Entry
from thimble.ledger.exposed import protocol_for, saying
from thimble.ledger.plan import State
from thimble.ledger.situation import Departure
from thimble.protocol.protocol import Protocol
from thimble.web.desk.changes import Change, Written
from thimble.web.desk.otherwise import advised_words
from thimble.web.desk.plan import (
    LEFT_TO_A_PERSON,
    DepartureView,
    Lens,
    PlanView,
    protective_first,
)
from thimble.web.desk.questions import BadAnswer
from thimble.web.desk.reading import Reading, actions_in_words
from thimble.web.desk.words import Clock, RuleLink, no_link


@dataclass(frozen=True, slots=True)
class ToDecide:
    """A decision that the protocol leaves to whoever signs, with what was typed for it."""

    id: str
    label: str
    advised: str
    options: tuple[str, ...]
    decided: str
    other: str
    reason: str
    earlier: DepartureView | None


@dataclass(frozen=True, slots=True)
class SignedLine:
    """A line of what is signed."""

    label: str
    value: str
    confirmed: bool
    window: str = ""
    state: str = ""
    departure: DepartureView | None = None


@dataclass(frozen=True, slots=True)
class SignPage:
    """Exactly what is signed, and what has happened if it cannot be signed as it was shown."""

    case: str
    position: int
    fingerprint: str
    clock: Clock
    protocol: str
    plan: PlanView
    decisions: tuple[SignedLine, ...]
    open: tuple[SignedLine, ...]
    actions: tuple[SignedLine, ...]
    cautions: tuple[SignedLine, ...]
    unconfirmed: int
    to_decide: tuple[ToDecide, ...]
    questions: tuple[str, ...]
    moved: tuple[Written, ...]
    change: Change | None
    time_passed: bool
    fault: str
    understood: bool

    @classmethod
    def of(
        cls,
        reading: Reading,
        *,
        protocol: Protocol,
        site: Site,
        names: Mapping[str, str],
        typed: Mapping[str, str],
        moved: Sequence[Entry] = (),
        change: Change | None = None,
        time_passed: bool = False,
        fault: str = "",
        link: RuleLink = no_link,
    ) -> SignPage:
        """The page at the reading's moment. What was typed before comes back, whatever happened."""
        plan, situation, zone = reading.plan, reading.situation, site.zone
        protocol = protocol_for(protocol, situation)
        lens = Lens(plan, situation, protocol, zone, names, link)
        view = PlanView.of(plan, situation, protocol=protocol, site=site, names=names, link=link)
        words = actions_in_words(plan, protocol)
        shown = [*view.left_to_you, *view.settled, *view.nothing_due]
        in_order = {name: at for at, name in enumerate(plan.findings)}
        shown.sort(key=lambda d: in_order[d.id])
        signed_actions = [
            action
            for action in plan.actions
            if action.stands and action.state is not State.NO_LONGER_NEEDED
        ]
        # The last word on each subject; an earlier one stands in the history.
        decided = {d.subject: DepartureView.of(d, lens) for d in situation.departures}
        lines = tuple(
            SignedLine(
                label=action.what,
                value=action.amount,
                confirmed=all(reason.confirmed for reason in action.because),
                window=", ".join(
                    f"{name} {minute(at, zone)}"
                    for name, at in (
                        ("best by", action.window.target),
                        ("no later than", action.window.latest),
                    )
                    if at is not None
                ),
                state={
                    State.DONE: "done",
                    State.LATE: "late",
                    State.DEPARTED: "decided otherwise",
                }.get(action.state, "depends on what cannot be known" if action.stuck else ""),
                departure=decided.get(action.id),
            )
            for action in signed_actions
        )
        decisions = tuple(
            SignedLine(d.label, d.value, d.confirmed, departure=d.departure) for d in shown
        )
        return cls(
            case=reading.case,
            position=reading.position,
            fingerprint=fingerprint(plan),
            clock=Clock.of(
                situation.occurred_at, situation.occurred_at_precision, plan.now, zone,
                cannot_be_known="hours_since_exposure" in situation.cannot_be_known,
            ),
            protocol=view.protocol,
            plan=view,
            decisions=decisions,
            open=tuple(
                SignedLine(d.label, d.open_words, True, departure=d.departure)
                for d in [*view.open, *view.undecidable]
            ),
            actions=lines,
            cautions=tuple(
                SignedLine(c.text, "", True, state="" if c.certain else "may apply")
                for c in plan.cautions
            ),
            unconfirmed=sum(not line.confirmed for line in [*decisions, *lines]),
            to_decide=_to_decide(reading, lens, typed),
            questions=tuple(lens.question(question.fact) for question in plan.questions),
            moved=tuple(
                Written.of(
                    entry, protocol=protocol, names=names, actions=words, now=plan.now, zone=zone,
                    say=saying(situation),
                )
                for entry in moved
            ),
            change=change,
            time_passed=time_passed,
            fault=fault,
            understood=bool(typed.get("understood")),
        )  # fmt: skip


def _to_decide(reading: Reading, lens: Lens, typed: Mapping[str, str]) -> tuple[ToDecide, ...]:
    plan = reading.plan
    departed: dict[str, Departure] = {d.subject: d for d in reading.situation.departures}
    found = []
    for name, finding in plan.findings.items():
        left = name in plan.undecidable or finding.value in LEFT_TO_A_PERSON
        if not left or name in lens.protocol.amount_parts or lens.protocol.outputs[name].inner:
            continue
        values = finding.possible if finding.value is None else lens.protocol.outputs[name].values
        order = protective_first(name, values, lens.protocol)
        earlier = departed.get(name)
        found.append(
            ToDecide(
                id=name,
                label=lens.label(name),
                advised=advised_words(finding, plan, lens),
                options=tuple(lens.value(name, v) for v in order if v not in LEFT_TO_A_PERSON),
                decided=typed.get(f"decided-{name}", ""),
                other=typed.get(f"other-{name}", ""),
                reason=typed.get(f"reason-{name}", ""),
                earlier=None if earlier is None else DepartureView.of(earlier, lens),
            )
        )
    return tuple(found)


def read_departures(
    post: Mapping[str, str], reading: Reading, protocol: Protocol
) -> list[Departing]:
    """The decisions typed on the page that is signed.

    Raises:
        BadAnswer: one without its reason, or a reason without a decision.
    """
    plan = reading.plan
    lens = Lens(plan, reading.situation, protocol, plan.now.tzinfo, {})  # type: ignore[arg-type]
    departures = []
    for name, finding in plan.findings.items():
        chosen = post.get(f"decided-{name}", "").strip()
        other = post.get(f"other-{name}", "").strip()
        decided, reason = chosen or other, post.get(f"reason-{name}", "").strip()
        if not decided and not reason:
            continue
        label = lens.label(name)
        if chosen and other:
            raise BadAnswer(
                f"{label}: you chose “{chosen}” and wrote other words as well. Leave one of the two."
            )
        if not reason:
            raise BadAnswer(f"{label}: say why you decide so.")
        if not decided:
            raise BadAnswer(f"{label}: you gave a reason; say what you decide.")
        departures.append(Departing(name, advised_words(finding, plan, lens), decided, reason))
    return departures
