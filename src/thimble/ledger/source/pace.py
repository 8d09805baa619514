"""How long each step with the source patient took, beside how long it may take.

The targets are those of `protocols/source_law` (turnaround), the same that the chase goes by; a target
counts from the step before, the first one from the report. Pure.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta, tzinfo

from thimble.clinical.durations import Duration, add
from thimble.clinical.source_law import NextStep, next_step
from thimble.clinical.source_rules import SourceRules
from thimble.ledger.situation import Situation
from thimble.ledger.source.chasing import awaited, chase_of, held_of, state_of
from thimble.ledger.source.record import SourceStep
from thimble.protocol.finding import Finding

REPORT = "report"
"""What the first stretch begins with; every other one begins with a step of the source."""
RESULTS = {
    "hiv": ("source_hiv",),
    "hbv": ("source_hbsag",),
    "hcv": ("source_hcv_rna", "source_anti_hcv"),
}
"""For each infection the facts in which the laboratory answers, most urgent first."""
_FIRST = next(iter(RESULTS))


@dataclass(frozen=True, slots=True)
class Pace:
    """One stretch: from `since` (`REPORT` or a step) to `until` (a step, or a key of `RESULTS`).

    `ended` is None while it runs, and then `until` is "" unless it is a result that is awaited. `span` is
    how long it took, or has run so far; negative where the step happened before the report.
    """

    since: str
    until: str
    began: datetime
    ended: datetime | None
    span: timedelta
    target: datetime
    step: NextStep

    @property
    def allowed(self) -> Duration:
        """How long it may take."""
        return self.step.target

    @property
    def over(self) -> bool:
        """Whether it took longer. The target is inclusive."""
        return self.began + self.span > self.target


def paces(
    situation: Situation,
    significance: Finding | None,
    rules: SourceRules,
    zone: tzinfo,
    now: datetime,
) -> tuple[Pace, ...]:
    """Each stretch from the report on, in order; then each result of the sample that was drawn last.

    What runs still is the last of them; nothing runs once nothing is chased any more. Empty where nobody
    has reported. What the source's blood is for is not asked: a result stands in its own line, by the
    laboratory's answer alone, never by what was in the chart.
    """
    if situation.reported_at is None:
        return ()
    steps = situation.source.steps
    found, began, since = [], situation.reported_at, REPORT
    for place, step in enumerate(steps):
        found.append(
            _pace(rules, steps[:place], _FIRST, since, step.step, began, step.at, now, zone)
        )
        began, since = step.at, step.step
    running = chase_of(situation, significance, rules, zone) is not None
    if since != "sampled":
        if running:
            found.append(
                _pace(rules, steps, awaited(situation)[0], since, "", began, None, now, zone)
            )
        return tuple(found)
    waits = awaited(situation) if running else ()
    for infection in RESULTS:
        told = _told(situation, infection)
        if (told is not None and told >= began) or infection in waits:
            found.append(_pace(rules, steps, infection, since, infection, began, told, now, zone))
    return tuple(found)


def _pace(
    rules: SourceRules,
    before: tuple[SourceStep, ...],
    awaits: str,
    since: str,
    until: str,
    began: datetime,
    ended: datetime | None,
    now: datetime,
    zone: tzinfo,
) -> Pace:
    step = next_step(rules.jurisdiction, state_of(before), held_of(before), awaits)
    target = add(began, step.target, zone)
    return Pace(since, until, began, ended, (ended or now) - began, target, step)


def _told(situation: Situation, infection: str) -> datetime | None:
    """When the laboratory first answered for an infection."""
    told = [
        known.known_at
        for fact in RESULTS[infection]
        if (known := situation.facts.get(fact)) is not None
        and known.said_by == "laboratory"
        and known.known_at is not None
    ]
    return min(told, default=None)
