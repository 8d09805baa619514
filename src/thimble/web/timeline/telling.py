"""What the picture says, in words: what happened, each window, and the whole in a sentence or two."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta, tzinfo

from thimble.clinical.saying import counted, minute
from thimble.clinical.windows import span_down
from thimble.ledger.exposed import say
from thimble.ledger.plan import TO_DO, Action, Plan, State
from thimble.ledger.situation import Situation
from thimble.web.timeline.scales import utc

STATES = {
    State.OPEN: "to do",
    State.DONE: "done",
    State.LATE: "past its window",
    State.NO_LONGER_NEEDED: "no longer needed",
    State.DEPARTED: "decided otherwise",
}
STEPS = {
    "asked": "Source patient asked",
    "consented": "Source patient consented",
    "refused": "Source patient refused",
    "lacks_capacity": "Source patient cannot decide now",
    "sampled": "Blood of the source patient taken",
    "died": "Source patient died",
    "discharged": "Source patient went home",
    "not_identified": "Nobody knows who the source is",
    "authorised": "Decided that the source may be tested",
}


@dataclass(frozen=True, slots=True)
class Line:
    """One line of the text: an event (with `at`) or a window (with its limits), and its state.

    `mark` is the number that the event has in the picture.
    """

    what: str
    when: str
    state: str
    mark: int | None = None


@dataclass(frozen=True, slots=True)
class Event:
    """Something that happened."""

    at: datetime
    what: str


def events_of(situation: Situation, plan: Plan) -> tuple[Event, ...]:
    """What happened, in order of time: report, steps with the source, things done, signatures."""
    found: list[Event] = []
    if situation.occurred_at is not None:
        words = {"hour": "Exposure (to the hour)", "date": "Exposure (on this day)"}
        found.append(
            Event(situation.occurred_at, words.get(situation.occurred_at_precision, "Exposure"))
        )
    if situation.reported_at is not None:
        found.append(Event(situation.reported_at, "Reported"))
    found += [
        Event(at, say(STEPS.get(step, step), situation))
        for step, at in situation.source_steps.items()
    ]
    found += [
        Event(action.done_at, f"Done: {action.what}")
        for action in plan.actions
        if action.done_at is not None
    ]
    found += [Event(signed.at, "Plan signed") for signed in situation.signed]
    found += [
        Event(departure.at, f"Decided otherwise: {departure.decided}")
        for departure in situation.departures
    ]
    if situation.closed_at is not None:
        found.append(Event(situation.closed_at, "Case closed"))
    return tuple(sorted(found, key=lambda event: utc(event.at)))


def limits(action: Action) -> tuple[datetime, ...]:
    """The instants that bound a window, or lie best in it."""
    window = action.window
    return tuple(at for at in (window.earliest, window.target, window.latest) if at is not None)


def end_of(action: Action) -> datetime | None:
    """Where a window's bar ends: its latest instant, else its target; None if it has neither."""
    return action.window.latest or action.window.target


def window_line(action: Action, plan: Plan, now: datetime, zone: tzinfo) -> Line:
    """A window with its limits and how it stands."""
    window = action.window
    said = [
        f"{word} {minute(at, zone)}"
        for word, at in (
            ("from", window.earliest),
            ("best by", window.target),
            ("no later than", window.latest),
        )
        if at is not None
    ]
    if not said:
        waits = next((a.what for a in plan.actions if a.id == window.waits_for), window.waits_for)
        said = [f"after: {waits}" if window.waits_for else "no time limit"]
    state = STATES[action.state]
    if action.state is State.DONE and action.done_at is not None:
        state = f"done {minute(action.done_at, zone)}"
    elif action.state is State.OPEN:
        state = _left(action, now)
    if not action.stands and action.done_at is None:
        state = f"may be needed; {state}"
    return Line(action.what, ", ".join(said), state)


def _left(action: Action, now: datetime) -> str:
    """An open action in few words."""
    window = action.window
    if window.earliest is not None and window.earliest > now:
        return "not yet open"
    if window.latest is not None:
        return f"to do, {span_down(max(window.latest - now, timedelta(0)))} left"
    if window.target is not None and window.target < now:
        return "to do, past its target"
    return "to do"


def summary_of(
    situation: Situation, plan: Plan, start: datetime, exact: bool, now: datetime, zone: tzinfo
) -> str:
    """The whole picture for whoever cannot see it."""
    begins = "the exposure" if exact else "the report, as the time of the exposure is not known"
    to_do = [a for a in plan.actions if a.state in TO_DO]
    done = sum(a.state is State.DONE for a in plan.actions)
    words = (
        f"The case over time, from {begins} on {minute(start, zone)}; now is {minute(now, zone)}. "
    )
    words += f"{counted(done, 'thing')} done, {counted(len(to_do), 'thing')} to do."
    closing = [(at, a) for a in to_do if (at := end_of(a)) is not None and utc(at) >= utc(now)]
    if closing:
        at, action = min(closing, key=lambda pair: utc(pair[0]))
        words += f" Next to close: {action.what}, {minute(at, zone)}."
    if situation.closed_at is not None:
        words += f" Closed on {minute(situation.closed_at, zone)}."
    return words
