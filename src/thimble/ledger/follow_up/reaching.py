"""What is due about a worker who was expected and did not come: the next step of the ladder.

It is an action with a window like any other, so that the one order of what is to be done holds for it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta, tzinfo

from thimble.clinical.ladder import Ladder
from thimble.clinical.saying import inside
from thimble.ledger.exposed import told
from thimble.ledger.follow_up.record import ReachingDecision
from thimble.ledger.follow_up.visiting import Expected, Kept
from thimble.ledger.plan import Action, State, Window
from thimble.ledger.situation import Situation

CAME, AGREE, DECIDE, CLOSE, AGAIN = "came", "agree", "decide", "close", "again"
"""Steps beside those of the ladder: say whether the worker came; agree new dates with a worker who was
reached; a physician decides; the case is closed as decided; try again as decided."""

_DAY = timedelta(days=1)

NOT_GONE = ("not_sent", "not_known")
"""What came of an attempt that takes no step: nobody can tell that it went out."""


@dataclass(frozen=True, slots=True)
class Rung:
    """The next step: which, as an action, on which day it is due, since which missed visit, and in which
    ways it can be taken. `last` is the physician's decision in force, if there is one."""

    step: str
    action: Action
    due: date
    missed: date
    how: tuple[str, ...] = ()
    last: ReachingDecision | None = None


def next_rung(
    situation: Situation, expected: Sequence[Expected], ladder: Ladder, zone: tzinfo
) -> Rung | None:
    """What is due next about the first agreed visit that was not kept; None where there is none.

    A visit that was neither recorded as done nor as missed asks for that first: nobody is called to
    account who came. A worker who was reached is asked for a new date, one who declines is a physician's
    to decide about at once. New dates that were agreed, and a closed case, end it.
    """
    if situation.closed_at is not None:
        return None
    missed = [each.visit.day for each in expected if each.kept is Kept.MISSED]
    unsaid = [each.visit.day for each in expected if each.kept is Kept.NOT_RECORDED]
    if unsaid and (not missed or min(unsaid) < min(missed)):
        day = min(unsaid)
        return told(rung_on(CAME, "Say whether the worker came", day, day, zone), situation)
    if not missed:
        return None
    return told(_after(situation, min(missed), ladder, zone), situation)


def _after(situation: Situation, missed: date, ladder: Ladder, zone: tzinfo) -> Rung:
    def day_of(at: datetime) -> date:
        return at.astimezone(zone).date()

    kept = situation.follow_up
    # A reminder of the next visit says nothing of the one that was missed.
    attempts = sorted(
        c for c in kept.contacts if day_of(c[0]) >= missed and c[0] not in kept.reminders
    )
    decisions = [d for d in kept.decisions if day_of(d.at) >= missed]
    last = decisions[-1] if decisions else None
    since = [a for a in attempts if last is None or a[0] > last.at]
    if since and since[-1][2] == "reached":
        on = day_of(since[-1][0])
        return rung_on(AGREE, "Agree a new date with the worker", on, missed, zone, last=last)
    if since and since[-1][2] == "declined":
        decide = ladder.steps[-1].what
        return rung_on(DECIDE, decide, day_of(since[-1][0]), missed, zone, last=last)
    if last is not None:
        return _as_decided(last, day_of((since[-1][0]) if since else last.at), missed, ladder, zone)
    tried = {how for _, how, outcome in attempts if outcome not in NOT_GONE}
    step = next(s for s in ladder.steps if s.decides or not tried & set(s.how))
    due = missed + timedelta(days=step.after_days)
    return rung_on(DECIDE if step.decides else step.id, step.what, due, missed, zone, how=step.how)


def _as_decided(
    last: ReachingDecision, tried: date, missed: date, ladder: Ladder, zone: tzinfo
) -> Rung:
    """What follows from a decision: closing; else another attempt now and then, until it is made anew."""
    if last.until is None:
        what = "Close the case, as decided"
        return rung_on(CLOSE, what, last.at.astimezone(zone).date(), missed, zone, last=last)
    again = tried + timedelta(days=ladder.again_after_days)
    if again < last.until:
        first = ladder.steps[0]
        return rung_on(
            AGAIN, f"Try again, as decided: {inside(first.what)}",
            again, missed, zone, how=first.how, last=last,
        )  # fmt: skip
    return rung_on(DECIDE, ladder.steps[-1].what, last.until, missed, zone, last=last)


def rung_on(
    step: str,
    what: str,
    due: date,
    missed: date,
    zone: tzinfo,
    *,
    how: tuple[str, ...] = (),
    last: ReachingDecision | None = None,
) -> Rung:
    """A step that is due on a day: its window is that day in `zone`."""
    opens = datetime.combine(due, time(), tzinfo=zone)
    ends = datetime.combine(due + _DAY, time(), tzinfo=zone)
    action = Action(
        id=f"reach_{step}",
        what=what,
        kind="review",
        whom="department",
        window=Window(opens, ends, None),
        state=State.OPEN,
        certain=True,
        because=(),
    )
    return Rung(step, action, due, missed, how, last)
