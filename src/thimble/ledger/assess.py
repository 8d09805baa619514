"""From what is known to what to do: a pure function of situation, protocol, moment and site.

Nothing here knows a clinical limit: limits come from the protocol's tables. What this module knows is
time (which hours a table counts, when a window closes) and doubt (what is settled, what stays open,
what nobody can tell).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import datetime, tzinfo
from typing import Protocol as Shape

from thimble.clinical.computed import compute
from thimble.clinical.source_rules import SourceRules
from thimble.ledger.amounts import Lacking
from thimble.ledger.clocks import HOURS, Moment, either, evaluate, hours_words, moment_of
from thimble.ledger.consistent import consistent
from thimble.ledger.due import actions_of, in_order, words_of
from thimble.ledger.exposed import plan_for
from thimble.ledger.plan import Caution, Plan
from thimble.ledger.prophylaxis.course import course_of
from thimble.ledger.results.found import actions_found
from thimble.ledger.series import series_found
from thimble.ledger.situation import KnownFact, Situation
from thimble.ledger.source.chasing import chase_actions, chase_of
from thimble.protocol.finding import Evaluation, Item, Question
from thimble.protocol.protocol import Protocol
from thimble.protocol.vocabulary import Value

__all__ = ["HOURS", "Moment", "Site", "assess", "known_facts", "moment_of", "situation_of"]


class Site(Shape):
    """What `assess` needs of a site: the zone whose calendar its days and months follow.

    Its `source_patient` counts too, where it has one: without it no law is entered.
    """

    @property
    def zone(self) -> tzinfo:
        """The site's time zone."""


def assess(situation: Situation, protocol: Protocol, now: datetime, site: Site) -> Plan:
    """The plan for a situation under a protocol at a moment.

    Tables with a stopped clock (`clock_stops_with`) are answered with the hours at which that action
    was done, and whatever rests on their decisions follows them: prophylaxis begun in time stays
    indicated when the limit for beginning it has passed. An exposure known to the hour or the date is
    answered on both sides of every limit that falls within; what is not the same throughout stays
    open. Its windows count from its first possible instant, so that none closes later than shown.

    Raises:
        ValueError: `now` has no offset, or a window's text is no duration.
    """
    if now.utcoffset() is None:
        raise ValueError(f"now needs its offset from UTC; found {now.isoformat()}")
    moment = moment_of(situation, site.zone, now)
    contradictions: list[str] = []
    if moment.first is not None and moment.first > now:
        contradictions.append(
            "The exposure is recorded as later than now. Until its time is corrected, the hours "
            "since then are treated as not known."
        )
        moment = Moment(None, None)

    known = {fact: told.value for fact, told in situation.facts.items() if fact != HOURS}
    known, told = consistent(known, protocol)
    contradictions += told
    computed = compute(known)
    facts = {**known, **computed.facts}

    evaluation, more = evaluate(facts, protocol, moment, now, situation)
    contradictions += more
    findings = dict(evaluation.findings)
    course = course_of(situation, protocol.id, now, site.zone)
    series = series_found(findings, situation, protocol.id, site.zone)
    if series is not None and series.fault:
        contradictions.append(series.fault)
    actions, lacking = actions_of(
        evaluation, protocol, situation, moment, now, site.zone, facts, course, series
    )
    rules = getattr(site, "source_patient", SourceRules())
    chase = chase_of(situation, findings.get("significance"), rules, site.zone)
    if chased := chase_actions(chase, situation, actions, rules):
        actions = in_order((*actions, *chased), now)
    if found := actions_found(situation, actions, protocol, site.zone):
        ids = {action.id for action in found}
        # One that was acted on is among what was done already.
        actions = in_order((*(a for a in actions if a.id not in ids), *found), now)
    questions = _questions(evaluation.questions, computed.missing, situation, lacking)
    explanations = dict(computed.explanations)
    if moment.first is not None and moment.last is not None:
        explanations[HOURS] = hours_words(moment.first, moment.last, now)
    for fact, reason in computed.reasons.items():
        explanations.setdefault(fact, reason)
    plan = Plan(
        now=now,
        protocol_id=protocol.id,
        protocol_edition=protocol.edition,
        protocol_digest=protocol.digest,
        findings=findings,
        questions=questions,
        actions=actions,
        cautions=_cautions(evaluation, protocol),
        undecidable={
            name: stuck
            for name, finding in findings.items()
            if finding.value is None
            and (stuck := tuple(f for f in finding.open_facts if f in situation.cannot_be_known))
        },
        contradictions=tuple(dict.fromkeys(contradictions)),
        computed=explanations,
        reasons={
            table.id: evaluation.items.get(table.id, ())
            for table in protocol.tables
            if table.role == "reasons"
        },
        words=words_of(protocol),
    )
    return plan_for(plan, situation)


# -- questions and cautions -------------------------------------------------------------------------


def _questions(
    asked: Iterable[Question],
    missing: Mapping[str, tuple[str, ...]],
    situation: Situation,
    lacking: Lacking,
) -> tuple[Question, ...]:
    """The questions to ask: a computed fact whose inputs are partly known asks for the others.

    The weight that a dose waits for comes first once the dose is to be given, else last.
    """
    changes: dict[str, dict[str, None]] = {}
    lacking = {f: lack for f, lack in lacking.items() if f not in situation.cannot_be_known}
    for fact, lack in lacking.items():
        if lack.due:
            changes[fact] = {lack.amount: None}
    for question in asked:
        inputs = [f for f in missing.get(question.fact, ()) if f not in situation.cannot_be_known]
        for fact in inputs or [question.fact]:
            if fact not in situation.cannot_be_known:
                changes.setdefault(fact, {}).update(dict.fromkeys(question.changes))
    for fact, lack in lacking.items():
        changes.setdefault(fact, {})[lack.amount] = None
    return tuple(Question(fact, tuple(names)) for fact, names in changes.items())


def _cautions(evaluation: Evaluation, protocol: Protocol) -> tuple[Caution, ...]:
    merged: dict[tuple[str, str], Item] = {}
    for table in protocol.tables:
        if table.role != "cautions":
            continue
        for item in evaluation.items.get(table.id, ()):
            key = (item.outputs["topic"], item.outputs["text"])
            merged[key] = either(merged[key], item) if key in merged else item
    return tuple(
        Caution(topic, text, item.certain, item.because, item.open_facts)
        for (topic, text), item in merged.items()
    )


def known_facts(facts: Mapping[str, Value], at: datetime, said_by: str) -> dict[str, KnownFact]:
    """Facts that come from a file or a form rather than from a ledger, as a situation holds them."""
    return {fact: KnownFact(fact, value, said_by, at, None) for fact, value in facts.items()}


def situation_of(
    facts: Mapping[str, Value],
    *,
    occurred_at: datetime | None,
    now: datetime,
    said_by: str = "record",
) -> Situation:
    """A situation without a ledger: one file, one plan."""
    return Situation(
        case="",
        as_of=now,
        occurred_at=occurred_at,
        occurred_at_precision="unknown" if occurred_at is None else "minute",
        reported_at=None,
        facts=known_facts(facts, now, said_by),
        cannot_be_known={},
        done={},
        source_steps={},
        signed=(),
        departures=(),
        closed_at=None,
        closed_reason="",
        entries=0,
        last_digest="",
    )
