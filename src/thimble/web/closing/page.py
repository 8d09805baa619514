"""What the page of the end of a case says: values in words, nothing to compute in the template."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import tzinfo

from thimble.ledger.bodies import CLOSED_REASONS
from thimble.ledger.closing import ALL_CLEAR, GOES_ON_ELSEWHERE, Remainder, remainder
from thimble.ledger.exposed import protocol_for, say, told
from thimble.ledger.plan import Action, State
from thimble.ledger.results.of_worker import waits_for
from thimble.ledger.results.recorded import course_around
from thimble.protocol.protocol import Protocol
from thimble.web.desk.reading import Reading

STATES: Mapping[State, str] = {
    State.DONE: "done",
    State.NO_LONGER_NEEDED: "no longer needed",
    State.DEPARTED: "decided otherwise",
    State.OPEN: "waits for another step that was never done",
    State.LATE: "waits for another step that was never done",
}


@dataclass(frozen=True, slots=True)
class Item:
    """An item of the plan: what, how it stands, and what decides it ("" where nothing is needed)."""

    id: str
    what: str
    state: str
    certain: bool


@dataclass(frozen=True, slots=True)
class Choice:
    """A reason to close. `why_not` says why this account cannot choose it now, else ""."""

    value: str
    words: str
    chosen: bool
    why_not: str


@dataclass(frozen=True, slots=True)
class ClosingPage:
    """The page. `left`, `open`, `awaited` and `not_clear` stand in the way of an all clear; `asks` are the
    questions whose answer could change what the results show; `settled` is all the rest."""

    case: str
    position: int
    closed: bool
    left: tuple[Item, ...]
    open: tuple[tuple[str, str], ...]
    awaited: tuple[str, ...]
    not_clear: str
    asks: tuple[tuple[str, str], ...]
    settled: tuple[Item, ...]
    choices: tuple[Choice, ...]
    may_leave: bool
    clear: bool
    text: str
    fault: str
    faults: tuple[str, ...]

    @classmethod
    def of(
        cls,
        reading: Reading,
        protocol: Protocol,
        zone: tzinfo,
        *,
        may_leave: bool,
        reason: str = "",
        text: str = "",
        faults: tuple[str, ...] = (),
    ) -> ClosingPage:
        """The page as one account sees it; `reason` and `text` are what was typed."""
        plan, situation = reading.plan, reading.situation
        protocol = protocol_for(protocol, situation)
        left = remainder(plan, situation, protocol, reading.entries, zone)
        course = course_around(situation, plan.actions, protocol, zone)
        ids = {action.id for action in left.actions}
        return cls(
            case=reading.case,
            position=reading.position,
            closed=reading.situation.closed_at is not None,
            left=tuple(_item(action, "not done") for action in left.actions),
            open=tuple((name, protocol.outputs[name].label or name) for name in left.open),
            awaited=tuple(each.words(plan.words) for each in left.awaited),
            not_clear=told(left.not_clear, situation),
            asks=tuple(
                (fact, protocol.vocabulary[fact].question)
                for fact in waits_for(situation, course, plan.now)
            ),
            settled=tuple(
                _item(action, STATES[action.state])
                for action in reading.plan.actions
                if action.id not in ids
            ),
            choices=tuple(
                Choice(
                    value, say(words, situation), value == reason, _why_not(value, left, may_leave)
                )
                for value, words in CLOSED_REASONS.items()
            ),
            may_leave=may_leave,
            clear=left.clear,
            text=text,
            fault=faults[0] if faults else "",
            faults=faults[1:],
        )


def _item(action: Action, state: str) -> Item:
    return Item(action.id, action.what, state, action.stands)


def _why_not(reason: str, left: Remainder, may_leave: bool) -> str:
    if reason == ALL_CLEAR:
        return "" if left.clear else "not while something is left, open or not clear"
    if not left.clear and not may_leave and reason not in GOES_ON_ELSEWHERE:
        return "a physician decides: something is left"
    return ""
