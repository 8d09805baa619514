"""Every word about the source patient, from plain values. No identity is among them. Pure."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from thimble.clinical.saying import calendar_day
from thimble.clinical.site import Site
from thimble.ledger.bodies import INFECTIONS
from thimble.ledger.entries import Entry, Kind
from thimble.ledger.exposed import protocol_for, told
from thimble.ledger.fold import SOURCE_STEPS
from thimble.ledger.linking import is_patient_case
from thimble.ledger.plan import TO_DO, Action, State
from thimble.ledger.standing import standing
from thimble.protocol.protocol import Protocol
from thimble.web.desk.changes import Change, changed_since
from thimble.web.desk.page import Typed
from thimble.web.desk.plan import Lens
from thimble.web.desk.reading import Reading
from thimble.web.desk.words import point
from thimble.web.source.chase import (
    ASKED_OF,
    CHOICES,
    QUESTIONS,
    ChaseView,
    Span,
    chase_view,
    spans,
)

STEPS: Mapping[str, tuple[str, str]] = {
    "asked": ("Asked for consent", "Asked now"),
    "consented": ("Consented", "Consented now"),
    "refused": ("Refused", "Refused now"),
    "lacks_capacity": ("Cannot decide now", "Cannot decide now"),
    "sampled": ("Blood taken", "Blood taken now"),
    "died": ("Died", "Died"),
    "discharged": ("Went home", "Went home"),
    "not_identified": ("Nobody knows who the source is", "Nobody knows who it is"),
    "authorised": ("A decision to test is on record", "Record a decision"),
}
"""Each step: its name, and the button that records it."""

RESULTS = ("source_hiv", "source_hiv_load", "source_hbsag", "source_hcv_rna", "source_anti_hcv")
"""What a laboratory says of the source patient."""

NOT_A_RESULT = frozenset({"unknown", "not_tested"})


@dataclass(frozen=True, slots=True)
class Choice:
    """One result of a test."""

    value: str
    label: str
    chosen: bool


@dataclass(frozen=True, slots=True)
class StepView:
    """One step with the source patient. `at` is "" while it has not been recorded; `again` is what was
    typed in its form, where that came back."""

    id: str
    label: str
    button: str
    at: str
    again: Mapping[str, str] = field(default_factory=dict)

    @property
    def asks(self) -> tuple[tuple[str, str, tuple[Choice, ...]], ...]:
        """What may be said of it: key, question, choices; chosen is what a form that came back had."""
        return tuple(
            (
                key,
                QUESTIONS[key],
                tuple(
                    Choice(value, label, self.again.get(key) == value)
                    for value, label in CHOICES[key].items()
                ),
            )
            for key in ASKED_OF[self.id]
        )

    @property
    def at_once(self) -> bool:
        """Whether one tap records it: what asks for nothing that must be said."""
        return self.id not in ("sampled", "authorised", "not_identified", "died", "discharged")


@dataclass(frozen=True, slots=True)
class ResultView:
    """One test: what stands now, and the results that may be entered. "Not known" is no result: it
    stands in `now`, and `known` is False."""

    fact: str
    label: str
    now: str
    known: bool
    choices: tuple[Choice, ...]

    @property
    def chosen(self) -> bool:
        """Whether a result was chosen on a form that came back."""
        return any(choice.chosen for choice in self.choices)


@dataclass(frozen=True, slots=True)
class TakeBack:
    """A step that may be taken back at once: the entry that recorded it."""

    entry: int
    label: str


@dataclass(frozen=True, slots=True)
class TestView:
    """A test of the source that the plan asks for."""

    id: str
    what: str
    certain: bool
    done: str
    ticked: bool


@dataclass(frozen=True, slots=True)
class SourcePage:
    """Where things stand with the source patient."""

    case: str
    position: int
    access: str
    refused: bool
    steps: tuple[StepView, ...]
    tests: tuple[TestView, ...]
    results: tuple[ResultView, ...]
    consent_wording: str
    laboratory_phone: str
    take_back: TakeBack | None
    may_record: bool
    may_see_identity: bool
    identity_known: bool
    recorded: Change | None
    typed: Typed | None
    today: str
    again: Mapping[str, str]
    chase: ChaseView | None = None
    may_settle: bool = False
    spans: tuple[Span, ...] = ()
    hour_not_known: bool = False
    of_patient: bool = False
    chart: tuple[str, ...] = ()

    @property
    def targets_confirmed(self) -> bool:
        """Whether every target was read in a document."""
        return all(span.confirmed for span in self.spans)

    @property
    def stays(self) -> tuple[ResultView, ...]:
        """The results that stand whether or not the source patient lets themselves be tested."""
        return tuple(result for result in self.results if result.known)

    @classmethod
    def of(
        cls,
        reading: Reading,
        *,
        protocol: Protocol,
        site: Site,
        capabilities: frozenset[str],
        identity_known: bool,
        since: int | None = None,
        typed: Typed | None = None,
        by: str = "",
    ) -> SourcePage:
        """The page at the reading's moment; the account `by` is offered its own step to take back."""
        situation, plan = reading.situation, reading.plan
        now, zone = plan.now, site.zone
        protocol = protocol_for(protocol, situation)
        lens = Lens(plan, situation, protocol, zone, {})
        access = situation.facts.get("source_access")
        refused = access is not None and access.value == "refuses"
        back = typed.values if typed is not None and typed.form == "result" else {}
        return cls(
            case=reading.case,
            position=reading.position,
            access=""
            if access is None
            else protocol.vocabulary["source_access"].label(access.value),
            refused=refused,
            steps=told(
                tuple(
                    StepView(
                        step,
                        label,
                        button,
                        point(situation.source_steps[step], now, zone)
                        if step in situation.source_steps
                        else "",
                        typed.last() if typed is not None and typed.subject == step else {},
                    )
                    for step, (label, button) in STEPS.items()
                ),
                situation,
            ),
            tests=tuple(
                TestView(
                    action.id,
                    action.what,
                    action.stands,
                    "" if action.done_at is None else point(action.done_at, now, zone),
                    typed is not None and action.id in typed.values.get("test", ()),
                )
                for action in source_tests(plan.actions)
            ),
            results=tuple(
                ResultView(
                    fact,
                    lens.question(fact),
                    protocol.vocabulary[fact].label(situation.facts[fact].value)
                    if fact in situation.facts
                    else "",
                    fact in situation.facts and situation.facts[fact].value not in NOT_A_RESULT,
                    tuple(
                        Choice(
                            value,
                            protocol.vocabulary[fact].label(value),
                            value in back.get(fact, ()),
                        )
                        for value in protocol.vocabulary[fact].values
                        if value not in NOT_A_RESULT
                    ),
                )
                for fact in RESULTS
                if fact in protocol.vocabulary
            ),
            consent_wording=site.consent_wording,
            laboratory_phone=site.laboratory_phone,
            take_back=_take_back(reading.entries, since, refused, by)
            if "correct_entry" in capabilities
            else None,
            may_record="record_facts" in capabilities,
            may_see_identity="see_source_identity" in capabilities,
            identity_known=identity_known,
            recorded=None
            if since is None
            else changed_since(reading, since, "What this changed", protocol, site),
            typed=typed,
            today=now.astimezone(zone).date().isoformat(),
            again=typed.last() if typed is not None else {},
            chase=told(chase_view(reading, site), situation),
            may_settle="sign_plan" in capabilities,
            spans=told(spans(situation, plan.findings.get("significance"), site, now), situation),
            of_patient=is_patient_case(situation),
            hour_not_known=situation.occurred_at_precision in ("hour", "date"),
            chart=tuple(
                f"{INFECTIONS[found.infection]}: {found.status}, of {calendar_day(found.evidence_on)} "
                f"({found.evidence})"
                + ("" if found.status == "positive" else ". That day's negative is no negative now")
                for found in situation.source.chart
            ),
        )


def source_tests(actions: tuple[Action, ...]) -> tuple[Action, ...]:
    """Samples of the source patient that the plan asks for, or that were taken."""
    return tuple(
        action
        for action in actions
        if action.whom == "source"
        and action.kind == "sample"
        and action.state in (*TO_DO, State.DONE)
    )


def entries_of_step(entries: Sequence[Entry], position: int) -> tuple[int, ...]:
    """The entries that one step wrote, from the one at `position` on: the step itself, and what it
    says of whether the source patient can be tested. Empty where no step stands there."""
    stand = standing(entries)
    first = next((entry for entry in entries if entry.position == position), None)
    if first is None or first.kind not in SOURCE_STEPS or stand[position] is None:
        return ()
    found = []
    for entry in sorted(entries, key=lambda entry: entry.position):
        if entry.position < position:
            continue
        says_access = entry.kind is Kind.FACT_LEARNED and set(entry.body["facts"]) == {
            "source_access"
        }
        together = (entry.recorded_at, entry.by) == (first.recorded_at, first.by)
        if not together or not (entry.kind is first.kind or says_access):
            break
        if stand[entry.position] is not None:
            found.append(entry.position)
    return tuple(found)


def _take_back(
    entries: Sequence[Entry], since: int | None, refused: bool, by: str
) -> TakeBack | None:
    """The step recorded just now; later on, a refusal while it stands: it is one tap, and changes
    what can be done for the worker."""
    stand = standing(entries)
    steps = [e for e in entries if e.kind in SOURCE_STEPS and stand[e.position] is not None]
    just_now = [e for e in steps if since is not None and e.position > since and e.by == by]
    refusals = [e for e in steps if refused and e.kind is Kind.SOURCE_REFUSED]
    entry = just_now[0] if just_now else refusals[-1] if refusals else None
    return None if entry is None else TakeBack(entry.position, STEPS[SOURCE_STEPS[entry.kind]][0])
