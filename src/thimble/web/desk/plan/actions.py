"""What is to be done, in words: grouped by when, each with its window and its reasons."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta

from thimble.clinical.saying import inside
from thimble.documents.otherwise import asked_for_by
from thimble.ledger.exposed import say
from thimble.ledger.plan import Action, State
from thimble.ledger.pressing import has_opened
from thimble.ledger.prophylaxis.course import FIRST_DOSE
from thimble.ledger.source.chasing import chases
from thimble.web.course.places import form_for
from thimble.web.desk.plan.decisions import DepartureView
from thimble.web.desk.plan.lens import Lens
from thimble.web.desk.words import (
    ReasonWords,
    WindowWords,
    point,
)

SOON = timedelta(days=7)
WHOM = {"worker": "", "source": "Source patient", "department": "Department"}
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


def groups_of(lens: Lens) -> tuple[Group, ...]:
    """The actions in their groups, what is to be done now first."""
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
    departure = lens.situation.departure_from(*subjects)
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
