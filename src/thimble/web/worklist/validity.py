"""Until when a plan stays what it is while nobody writes.

A plan is a step function of time: it changes where the hours since the exposure, or since the last dose
of a course, meet a threshold of a table, and where a window closes. Between two such instants it may be
kept.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, datetime, timedelta, tzinfo

from thimble.clinical.prophylaxis import tables
from thimble.ledger.assess import HOURS, Moment, moment_of
from thimble.ledger.plan import Plan
from thimble.ledger.prophylaxis.course import WITHOUT_DOSE
from thimble.ledger.prophylaxis.record import CourseRecord
from thimble.ledger.situation import Situation
from thimble.protocol import Protocol

EVER = datetime.max.replace(tzinfo=UTC)
GRAIN = timedelta(milliseconds=1)
"""Instants this near to a threshold are on it (tables compare hours with a tolerance)."""


def valid_until(
    situation: Situation, plan: Plan, protocol: Protocol, zone: tzinfo
) -> datetime | None:
    """The first instant after `plan.now` at which the plan may differ, exclusive.

    Until then `assess` gives the same plan but for `now`, the words for the hours passed and the
    order of the actions, which `pressing.urgency` gives at any moment. None: it may differ at any
    later instant, so it must not be kept.
    """
    now = plan.now.astimezone(UTC)
    if situation.occurred_at is not None and situation.reported_at is None:
        # The last possible instant of the exposure is then bounded by now itself.
        return None
    told = situation.facts.get(HOURS)
    if situation.occurred_at is None and told is not None and told.known_at is None:
        return None
    moment = moment_of(situation, zone, now)
    steps = (*_steps(moment, plan, protocol), *_steps_of(situation.course))
    ahead = [at for at in steps if at > now - GRAIN]
    if any(at <= now + GRAIN for at in ahead):
        return None
    return min(ahead, default=EVER) - GRAIN


def _steps(moment: Moment, plan: Plan, protocol: Protocol) -> Iterable[datetime]:
    for action in plan.actions:
        for limit in (action.window.earliest, action.window.target, action.window.latest):
            if limit is not None:
                yield limit.astimezone(UTC)
    if moment.first is None or moment.last is None:
        return
    first, last = moment.first.astimezone(UTC), moment.last.astimezone(UTC)
    yield first
    axis = protocol.index.axes.get(HOURS)
    for cut in axis.cuts if axis else ():
        for begin in (first, last):
            yield begin + timedelta(hours=cut)


def _steps_of(course: CourseRecord) -> Iterable[datetime]:
    """Where a gap in the doses that still goes on meets a threshold."""
    axis = tables().index.axes.get(WITHOUT_DOSE)
    for missed in course.missed:
        if missed.last_taken is not None and missed.taken_again is None:
            for cut in axis.cuts if axis else ():
                yield missed.last_taken.astimezone(UTC) + timedelta(hours=cut)
