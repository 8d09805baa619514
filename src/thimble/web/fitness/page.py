"""What the page of fitness says: values in words, nothing to compute in the template."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime, tzinfo

from django.urls import reverse

from thimble.actions.people import PREFIX
from thimble.clinical.fitness import Due, Proposal, propose, tables, vocabulary
from thimble.clinical.fitness.proposing import SAYS
from thimble.clinical.saying import calendar_day, day
from thimble.ledger.bodies import FITNESS_OUTCOMES as OUTCOMES
from thimble.ledger.bodies import FITNESS_RESTRICTIONS as RESTRICTIONS
from thimble.ledger.fitness import FitnessDecision, still_held
from thimble.protocol import Fact
from thimble.web.desk.questions import BadAnswer
from thimble.web.desk.words import ReasonWords
from thimble.web.fitness.evidence import Row
from thimble.web.fitness.monitoring import tests_of
from thimble.web.fitness.told import SHOWN

DAYS = {
    "hbv_sample": ("Last sample for hepatitis B monitoring", "hbsag"),
    "hcv_treatment_end": ("End of hepatitis C treatment", "hcv_treatment"),
    "hiv_sample": ("Last sample for HIV monitoring", "hiv"),
}
"""Days that an interval is counted from: words, and the fact beside which they are asked."""

AFTER: Mapping[str, tuple[str, tuple[str, ...]]] = {
    "hbv_immunity": ("hbsag", ("negative",)),
    "hbv_dna_reported": ("hbsag", ("positive",)),
    "hbv_dna": ("hbv_dna_reported", ("number",)),
    "hbv_treatment": ("hbsag", ("positive",)),
    "months_since_hbv_treatment_end": ("hbv_treatment", ("stopped",)),
    "hbeag": ("hbsag", ("positive",)),
    "hcv_rna": ("anti_hcv", ("positive",)),
    "hcv_treatment": ("anti_hcv", ("positive",)),
    "months_since_hcv_treatment_end": ("hcv_treatment", ("ended",)),
    "hcv_load_ge": ("hcv_rna", ("detected",)),
    "hiv_treatment": ("hiv", ("positive",)),
    "hiv_load_reported": ("hiv", ("positive",)),
    "hiv_load": ("hiv_load_reported", ("number",)),
    "hiv_clearance_so_far": ("hiv", ("positive",)),
    "hiv_load_is": ("hiv_clearance_so_far", ("held",)),
    "stop_while_waiting": ("hiv_load_is", ("routine",)),
    "earlier_hiv_load": ("hiv_clearance_so_far", ("none", "stopped")),
    "weeks_between_hiv_samples": ("hiv_clearance_so_far", ("none", "stopped")),
}
"""When a question is put: only after another has this answer. The order of asking, no rule."""

ALWAYS = ("rule_set", "occasion", "exposure_prone")
EXPOSED = ("exposed_to_hiv", "exposed_to_hbv", "exposed_to_hcv")


@dataclass(frozen=True, slots=True)
class Field:
    """One question of the form. `options` are (value, words, chosen); none for a number or a day."""

    name: str
    label: str
    help: str
    kind: str
    value: str
    options: tuple[tuple[str, str, bool], ...] = ()


@dataclass(frozen=True, slots=True)
class Earlier:
    """An earlier decision in words."""

    words: str
    on: str
    review: str
    rule_set: str
    edition: str
    reason: str
    where: str
    rested: tuple[str, ...]
    tests: tuple[tuple[str, str, bool], ...]


@dataclass(frozen=True, slots=True)
class FitnessPage:
    """The page."""

    case: str
    person: str
    name: str
    position: int
    answered: tuple[Field, ...]
    questions: tuple[Field, ...]
    possible: tuple[str, ...]
    settled: bool
    held: str
    rule_set: str
    edition: str
    digest: str
    steps: tuple[tuple[str, str], ...]
    advice: tuple[str, ...]
    due: tuple[tuple[str, str, bool], ...]
    untold: tuple[tuple[str, str], ...]
    reasons: tuple[ReasonWords, ...]
    earlier: tuple[Earlier, ...]
    on_record: tuple[Row, ...]
    record_doubt: str
    link: str
    shown: tuple[tuple[str, str], ...]
    outcomes: tuple[tuple[str, str, bool], ...]
    restrictions: tuple[tuple[str, str, bool], ...]
    typed: Mapping[str, str]
    fault: str


def read_facts(typed: Mapping[str, str]) -> tuple[dict[str, object], dict[str, date]]:
    """Facts and days as typed; what is empty is not known.

    Raises:
        BadAnswer: a number or a day that cannot be read, or a value that does not fit.
    """
    facts: dict[str, object] = {}
    for fact in vocabulary().values():
        said = typed.get(fact.id, "").strip()
        if not said or fact.id in SAYS:
            continue
        try:
            facts[fact.id] = fact.check(float(said) if fact.kind == "number" else said)
        except ValueError:
            if fact.kind != "number":
                raise BadAnswer(f"{fact.question} Choose one of the answers.") from None
            raise BadAnswer(
                f"{fact.question} Give a number in {fact.unit}, for example 120; found “{said[:20]}”."
            ) from None
    days = {}
    for name, (label, _) in DAYS.items():
        if said := typed.get(name, "").strip():
            try:
                days[name] = date.fromisoformat(said)
            except ValueError:
                raise BadAnswer(
                    f"{label}: give the day as 2026-03-31; found “{said[:20]}”."
                ) from None
    return facts, days


def fitness_page(
    case: str,
    position: int,
    decisions: tuple[FitnessDecision, ...],
    facts: Mapping[str, object],
    days: Mapping[str, date],
    now: datetime,
    zone: tzinfo,
    *,
    typed: Mapping[str, str],
    on_record: tuple[Row, ...] = (),
    record_doubt: str = "",
    link: str = "",
    fault: str = "",
    person: str = "",
    name: str = "",
) -> FitnessPage:
    """The page as of `now`, with the days of `zone`.

    Of a case, or of the file `person`: then `case` is "" and `name` says who it is. `decisions` are those
    about the worker, wherever they were made.
    """
    today = now.astimezone(zone).date()
    proposal, protocol = propose(facts, days, today), tables()
    fitness, restriction = proposal.fitness, proposal.restriction
    before = still_held(decisions, facts.get("occasion"))
    words = [protocol.outputs["fitness"].words(v) for v in fitness.possible]
    if fitness.value == "fit_with_restriction":
        words = [protocol.outputs["restriction"].words(v) for v in restriction.possible]
    return FitnessPage(
        case=case,
        person=person,
        name=name,
        position=position,
        answered=tuple(_field(f, facts) for f in vocabulary().values() if f.id in facts),
        questions=(*_asked(proposal, facts), *_days(facts, days)),
        possible=tuple(words),
        settled=fitness.value is not None,
        held=before.words if before else "",
        rule_set=vocabulary()["rule_set"].label(proposal.rule_set) if proposal.rule_set else "",
        edition=protocol.edition,
        digest=protocol.digest[:16],
        steps=tuple(
            (protocol.outputs[f.decision].label, protocol.outputs[f.decision].words(f.value))
            for f in proposal.steps
            if f.value is not None
        )
        if facts.get("occasion") == "clearance" and facts.get("exposure_prone") == "yes"
        else (),
        advice=tuple(item.outputs["text"] for item in proposal.advice if item.certain),
        due=tuple((d.infection, _due(d), d.overdue(today)) for d in proposal.schedule.due),
        untold=proposal.schedule.open if facts.get("occasion") == "clearance" else (),
        reasons=tuple(ReasonWords.of(r, protocol, _rule) for r in proposal.reasons),
        earlier=tuple(_earlier(d, case or person, today, zone) for d in reversed(decisions)),
        on_record=on_record,
        record_doubt=record_doubt,
        link=link,
        shown=tuple(SHOWN.items()),
        outcomes=_options(OUTCOMES, typed.get("outcome", "")),
        restrictions=_options(RESTRICTIONS, typed.get("restriction", "")),
        typed=typed,
        fault=fault,
    )  # fmt: skip


def _due(due: Due) -> str:
    said = f"due {calendar_day(due.on)}"
    if due.opens == due.closes:
        return said
    return f"{said}; in time from {calendar_day(due.opens)} to {calendar_day(due.closes)}"


def _rule(table: str, rule: str) -> str:
    """Where a rule is shown in its table."""
    return f"{reverse('rules:table', args=[table])}?of={tables().id}&rule={rule}#{rule}"


def _asked(proposal: Proposal, facts: Mapping[str, object]) -> tuple[Field, ...]:
    first = [id_ for id_ in ALWAYS if id_ not in facts]
    wanted = [*first]
    if not first:
        extra = EXPOSED if facts["occasion"] == "after_exposure" else ()
        wanted += [id_ for id_ in (*extra, *proposal.questions) if id_ not in facts]
    fields = [_field(vocabulary()[id_], facts) for id_ in dict.fromkeys(wanted) if _now(id_, facts)]
    return tuple(fields)


def _now(id_: str, facts: Mapping[str, object]) -> bool:
    if id_ not in AFTER:
        return True
    before, answers = AFTER[id_]
    return facts.get(before) in answers


def _days(facts: Mapping[str, object], days: Mapping[str, date]) -> tuple[Field, ...]:
    if facts.get("occasion") != "clearance":
        return ()
    return tuple(
        Field(name, label, "The next test is counted from it.", "date",
              days[name].isoformat() if name in days else "")
        for name, (label, beside) in DAYS.items()
        if facts.get(beside) in ("positive", "ended")
        or (name == "hbv_sample" and facts.get("hbv_immunity") == "not_immune")
    )  # fmt: skip


def _field(fact: Fact, facts: Mapping[str, object]) -> Field:
    value = facts.get(fact.id, "")
    shown = f"{value:g}" if isinstance(value, float) else str(value)
    label = f"{fact.question}" + (f" ({fact.unit})" if fact.unit else "")
    options = tuple((v, fact.label(v), v == value) for v in fact.values)
    return Field(fact.id, label, fact.help, fact.kind, shown, options)


def _options(words: Mapping[str, str], chosen: str) -> tuple[tuple[str, str, bool], ...]:
    return tuple((id_, said.capitalize(), id_ == chosen) for id_, said in words.items())


def _earlier(decision: FitnessDecision, here: str, today: date, zone: tzinfo) -> Earlier:
    file = "on the worker's file" if decision.of.startswith(PREFIX) else f"in case {decision.of}"
    return Earlier(
        words=decision.words,
        on=day(decision.at, zone),
        review=calendar_day(decision.review_on) if decision.review_on else "",
        rule_set=vocabulary()["rule_set"].label(decision.rule_set),
        edition=decision.edition,
        reason=decision.reason,
        where="" if decision.of == here else file,
        rested=(*_rested(decision), *_sampled(decision)),
        tests=tuple((d.infection, _due(d), d.overdue(today)) for d in tests_of(decision)),
    )


def _rested(decision: FitnessDecision) -> Iterator[str]:
    """What a decision rested on, in words; what the vocabulary no longer holds stays readable."""
    for id_, value in decision.facts.items():
        asked = vocabulary().get(id_)
        if asked is None:
            yield f"{id_.replace('_', ' ')}: {value}"
        elif id_ not in ALWAYS:
            said = (
                f"{value:g} {asked.unit}".strip() if asked.kind == "number" else asked.label(value)
            )
            yield f"{asked.question} {said}"


def _sampled(decision: FitnessDecision) -> Iterator[str]:
    for name, on in decision.days.items():
        yield f"{DAYS[name][0]}: {calendar_day(on)}"
