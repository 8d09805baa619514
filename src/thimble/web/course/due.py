"""What is to be done about a course, and where on its page."""

from __future__ import annotations

from dataclasses import dataclass

from thimble.ledger.next_thing import time_left
from thimble.ledger.plan import TO_DO, Action
from thimble.ledger.prophylaxis.course import (
    ANSWER,
    FIRST_DOSE,
    follows_from_course,
)
from thimble.ledger.prophylaxis.record import STOP
from thimble.web.course.places import RESUMED_REVIEW, REVIEW, form_for
from thimble.web.desk.reading import Reading


@dataclass(frozen=True, slots=True)
class Due:
    """One thing to do, with its time and where it is recorded. `ahead`: its window has not opened yet."""

    what: str
    left: str
    href: str
    confirmed: bool
    ahead: bool


def due_of(reading: Reading, case_href: str, *, running: bool) -> tuple[Due, ...]:
    """What is to be done about the course, in the one order of the plan."""
    found = []
    for action in reading.plan.actions:
        own = follows_from_course(action) or (
            running and action.id in (REVIEW, RESUMED_REVIEW, STOP)
        )
        if action.state not in TO_DO or not (own or action.id == FIRST_DOSE):
            continue
        found.append(
            Due(
                action.what if action.certain else f"{action.what} (may be needed)",
                time_left(action, reading.plan.now),
                _place(action, running) or f"{case_href}#action-{action.id}",
                all(reason.confirmed for reason in action.because),
                action.window.earliest is not None and action.window.earliest > reading.plan.now,
            )
        )
    return tuple(found)


def _place(action: Action, running: bool) -> str:
    """Where on this page an action is recorded; "" where only the case's page can."""
    asks = action.kind == "advice" and not action.id.startswith(ANSWER)
    if asks and follows_from_course(action):
        return f"?do=ask&about={action.id}#ask"
    return form_for(action.id, begun=running)
