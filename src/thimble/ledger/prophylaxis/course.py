"""Where a course of prophylaxis stands: its day, its end, how far the tablets reach, what was missed.

Days are those of the site's calendar: day 1 is the day of the first dose, whatever the clocks do in
between. How long a course lasts comes from the tables of `clinical.prophylaxis`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, tzinfo

from thimble.clinical.durations import Duration, add, hours_between
from thimble.clinical.prophylaxis import course_days, medicine_in
from thimble.clinical.prophylaxis.tables import guideline_of
from thimble.ledger.bodies import SEVERITIES
from thimble.ledger.plan import Action
from thimble.ledger.prophylaxis.record import STOP, GivenDose, Pause
from thimble.ledger.prophylaxis.supply import Pack, supply_of
from thimble.ledger.situation import Situation
from thimble.protocol.model import COURSE_END
from thimble.protocol.vocabulary import Value

FIRST_DOSE = "hiv_pep_first_dose"
"""The action that begins a course, by the id that every protocol gives it."""


WITHOUT_DOSE = "hours_without_dose"
"""The fact of the tables of a course that grows by itself while a gap in the doses goes on."""

COURSE_ACTIONS = "course_actions"
"""The table of what is due while a course runs."""

ANSWER = "expert_answer_"
"""The id of an action that awaits an expert's answer, before the position of the entry that asked."""


def follows_from_course(action: Action) -> bool:
    """Whether an action follows from how a course goes, not from the plan that was signed."""
    return action.id.startswith(ANSWER) or any(r.table == COURSE_ACTIONS for r in action.because)


@dataclass(frozen=True, slots=True)
class Course:
    """A course that has begun.

    Attributes:
        began: the first dose.
        product: what the worker takes now, as the record names it.
        days: how long it lasts, with the days that a stop moved its end by; None where no table says.
        planned_end: where it ends if nothing comes between; None where no table says how long.
        ended: the last dose, None while the end is not on record.
        day: the day of the course, counted from 1; on the last day of its end once it has ended.
        covered_until: when the tablets handed out are used up; None where nobody wrote down for how many
            days they were. Missed doses are not added: it is never later than shown.
        uncovered: whole days on which, by the record, there were no tablets before more came.
        missed: how many doses were missed, by the record.
        supplies: what was handed out, in order.
        packs: which of it covers which days, as far as the days are on record.
        without: for each time that it was stopped and resumed the days between, as ordinals.
    """

    began: datetime
    product: str
    days: int | None
    planned_end: datetime | None
    ended: datetime | None
    day: int
    covered_until: datetime | None
    uncovered: int
    missed: int
    supplies: tuple[GivenDose, ...]
    packs: tuple[Pack, ...]
    without: tuple[range, ...]
    instants: Mapping[str, datetime]
    facts: Mapping[str, Value]

    @property
    def end(self) -> datetime | None:
        """The end that windows count from: the one on record, else the one that is planned."""
        return self.ended or self.planned_end

    def days_left(self, now: datetime, zone: tzinfo) -> int | None:
        """Days on which there are tablets, today among them: 1 says that today's are the last.

        Whether today's dose was taken already is not on record. None where nobody wrote down how many
        days there were.
        """
        if self.covered_until is None:
            return None
        gone = self.covered_until.astimezone(zone).date() - now.astimezone(zone).date()
        return max(0, gone.days)


def course_of(situation: Situation, protocol: str, now: datetime, zone: tzinfo) -> Course | None:
    """The course as of `now`; None where no first dose is on record.

    Args:
        protocol: the id of the site's protocol.
    """
    record, done = situation.course, situation.done
    first = next((g for g in record.given if g.action == FIRST_DOSE), None)
    if first is None and FIRST_DOSE not in done:
        return None
    began = done[FIRST_DOSE].at if first is None else first.at
    days = course_days(protocol)
    gone = tuple(without(pause, zone) for pause in record.pauses)
    if days is not None:
        days += sum(
            len(days_gone)
            for pause, days_gone in zip(record.pauses, gone, strict=True)
            if pause.resumed.code != "planned"
        )
    planned = None if days is None else add(began, Duration(days, "days"), zone)
    ended = record.stopped.at if record.stopped is not None else None
    if ended is None and STOP in done:
        ended = done[STOP].at
    supplies = tuple(g for g in record.given if not g.action or g.action == FIRST_DOSE)
    supply = supply_of(supplies, record.changes, record.pauses, zone)
    covered = supply.until
    latest = now if ended is None else min(now, ended)
    day = (latest.astimezone(zone).date() - began.astimezone(zone).date()).days + 1
    product = record.changes[-1].words if record.changes else ""
    product = product or (supplies[-1].product if supplies else "")
    instants = {"course_start": began}
    if (end := ended or planned) is not None:
        instants[COURSE_END] = end
    if covered is not None:
        instants["supply_end"] = covered
    if record.missed:
        instants["doses_missed"] = record.missed[-1].at
    if record.side_effects:
        instants["side_effects"] = record.side_effects[-1].at
    if record.pauses:
        instants["course_resumed"] = record.pauses[-1].resumed.at
    return Course(
        began=began,
        product=product,
        days=days,
        planned_end=planned,
        ended=ended,
        day=max(1, day),
        covered_until=covered,
        uncovered=supply.uncovered,
        missed=sum(missed.count for missed in record.missed),
        supplies=supplies,
        packs=supply.packs,
        without=gone,
        instants=instants,
        facts=_facts(situation, protocol, product, covered, planned, ended, now),
    )


def without(pause: Pause, zone: tzinfo) -> range:
    """The days between the last dose before a stop and the first one after it, as ordinals."""
    last = pause.stopped.at.astimezone(zone).date().toordinal()
    return range(last + 1, pause.resumed.at.astimezone(zone).date().toordinal())


def _facts(
    situation: Situation,
    protocol: str,
    product: str,
    covered: datetime | None,
    planned: datetime | None,
    ended: datetime | None,
    now: datetime,
) -> dict[str, Value]:
    """What the tables of a course are asked with."""
    record = situation.course
    supply = "not_known" if covered is None else "short"
    if covered is not None and planned is not None and covered >= planned:
        supply = "whole"
    worst = [s for s in SEVERITIES if any(told.code == s for told in record.side_effects)]
    facts: dict[str, Value] = {
        "guideline": guideline_of(protocol),
        "course": "running" if ended is None else "ended",
        "medicine": medicine_in(product),
        "supply": supply,
        "baseline_bloods": record.baseline_bloods,
        "side_effects": worst[-1] if worst else "none_recorded",
        "missed_doses": "recorded" if record.missed else "none_recorded",
        "resumed": "yes" if record.pauses else "no",
        "hours_stopped": min(1000.0, max(map(_hours, record.pauses), default=0.0)),
    }
    gaps = [
        hours_between(missed.last_taken, missed.taken_again or now)
        for missed in record.missed
        if missed.last_taken is not None
    ]
    # One gap whose length nobody knows leaves the longest unknown.
    if not record.missed:
        facts[WITHOUT_DOSE] = 0.0
    elif len(gaps) == len(record.missed):
        facts[WITHOUT_DOSE] = min(1000.0, max(gaps))
    return facts


def _hours(pause: Pause) -> float:
    return max(0.0, hours_between(pause.stopped.at, pause.resumed.at))
